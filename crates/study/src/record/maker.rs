//! Maker of a record: this program on this machine.

use bicolumn_job::ENGINE_VERSION;
use bicolumn_store::{MakerRecord, digest_text, host_name, now_s};
use std::sync::OnceLock;

/// Digest of the lock file that this program was built by: of the versions of all its libraries.
pub(crate) fn lock_digest() -> &'static str {
    static DIGEST: OnceLock<String> = OnceLock::new();
    DIGEST.get_or_init(|| digest_text(include_bytes!("../../../../Cargo.lock")))
}

/// This program, on this machine, now.
pub(crate) fn maker(threads: usize) -> MakerRecord {
    MakerRecord {
        version: ENGINE_VERSION.to_owned(),
        lock_digest: lock_digest().to_owned(),
        host: host_name(),
        threads,
        ended_s: now_s(),
    }
}
