//! State of mesh improvement, shared by its operations.

use crate::complex::Complex;
use crate::surfaces::Surfaces;

/// Complex while it is improved.
pub(crate) struct Improver<'m, 'a> {
    pub(crate) mesh: &'m mut Complex,
    pub(crate) surfaces: &'m Surfaces<'a>,
    /// Finest lattice cell, mm.
    pub(crate) finest: f64,
    /// Longest edge that a collapse may make, mm.
    pub(crate) longest: f64,
}
