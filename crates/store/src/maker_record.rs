//! Maker of a record, and the limit that a failed point was stopped by.

use serde::{Deserialize, Serialize};

/// Maker of a record: the same inputs give the same results, whoever solves them, and this is who did.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct MakerRecord {
    /// Version of the program.
    pub version: String,
    /// Digest of its lock file: of the versions of all libraries.
    pub lock_digest: String,
    /// Name of the machine.
    pub host: String,
    /// Threads within the point.
    pub threads: usize,
    /// End of its solution, seconds since 1970.
    pub ended_s: u64,
}

/// Limit that a point was stopped by.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(tag = "limit", rename_all = "snake_case")]
pub enum StopRecord {
    /// Its time.
    Time {
        /// Limit, s.
        seconds: f64,
    },
    /// Its memory.
    Memory {
        /// Limit, or all that there was, bytes.
        bytes: f64,
    },
    /// Its process ended by itself or was ended from outside.
    Process,
}

impl StopRecord {
    /// Has the cause gone, where a point now has this time (s) and this memory (bytes); `None`: no limit? A process that
    /// ended may end again: its cause is not known to have gone.
    pub fn has_gone(self, seconds: Option<f64>, memory_bytes: Option<f64>) -> bool {
        /// Free memory varies from hour to hour: so much more counts as more.
        const MORE: f64 = 1.25;
        match self {
            StopRecord::Time { seconds: before } => seconds.is_none_or(|now| now > before),
            StopRecord::Memory { bytes } => memory_bytes.is_none_or(|now| now > MORE * bytes),
            StopRecord::Process => false,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cause_has_gone_where_its_limit_is_wider_now() {
        let time = StopRecord::Time { seconds: 60.0 };
        assert!(time.has_gone(Some(61.0), None) && time.has_gone(None, None));
        assert!(!time.has_gone(Some(60.0), None));
        let memory = StopRecord::Memory { bytes: 1e9 };
        assert!(memory.has_gone(None, Some(2e9)) && memory.has_gone(None, None));
        assert!(!memory.has_gone(None, Some(1.1e9)));
        assert!(!StopRecord::Process.has_gone(None, None));
    }
}
