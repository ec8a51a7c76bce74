//! The plate-free, unbroken bone under the same loads, solved once for each bone and shared by points.

/// Intact solutions by digest of what they depend on.
#[derive(Default)]
pub struct IntactCache {}
