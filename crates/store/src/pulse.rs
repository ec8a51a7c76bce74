//! Sign of life of a run in its study's folder: for whoever looks from elsewhere.

use crate::atomic::write_atomic;
use crate::error::StoreError;
use serde::{Deserialize, Serialize};
use std::fs::remove_file;
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// A run at work, as it was at its last sign of life. Times in seconds since 1970.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Pulse {
    /// Name of its machine.
    pub host: String,
    /// Its process.
    pub pid: u32,
    /// Shard, such as `2/8`; `None`: no shard.
    pub shard: Option<String>,
    /// Its beginning.
    pub since_s: u64,
    /// This sign.
    pub at_s: u64,
    /// Points at once.
    pub at_once: usize,
    /// Points that it still has to end, those under way among them.
    pub left: usize,
    /// Points under way.
    pub under_way: Vec<PointUnderWay>,
}

/// A point that is being solved.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PointUnderWay {
    /// Id.
    pub id: String,
    /// Stage.
    pub stage: String,
    /// Beginning of the point, seconds since 1970.
    pub since_s: u64,
}

/// Beginning and end of the name of the file.
const NAME: (&str, &str) = ("at-work", ".json");

/// File of the pulse of a run of all points, or of one shard `K/N`.
fn pulse_file(folder: &Path, shard: Option<&str>) -> PathBuf {
    let of_shard = shard.map(|s| format!("-{}", s.replace('/', "-of-")));
    folder.join(format!(
        "{}{}{}",
        NAME.0,
        of_shard.unwrap_or_default(),
        NAME.1
    ))
}

/// Seconds since 1970.
pub fn now_s() -> u64 {
    let now = SystemTime::now().duration_since(UNIX_EPOCH);
    now.map_or(0, |d| d.as_secs())
}

impl Pulse {
    /// Writes a sign of life.
    ///
    /// # Errors
    /// [`StoreError`]: a file that cannot be written.
    pub fn write(&self, folder: &Path) -> Result<(), StoreError> {
        let text = serde_json::to_string_pretty(self).unwrap_or_default();
        write_atomic(&pulse_file(folder, self.shard.as_deref()), text.as_bytes())
    }

    /// Removes the file at the end of the run.
    pub fn remove(folder: &Path, shard: Option<&str>) {
        let _ = remove_file(pulse_file(folder, shard));
    }

    /// Runs at work in a folder, or that were when they last gave a sign.
    pub fn all(folder: &Path) -> Vec<Pulse> {
        let entries = std::fs::read_dir(folder).into_iter().flatten().flatten();
        let mut names: Vec<PathBuf> = entries
            .filter(|e| {
                let name = e.file_name();
                let name = name.to_string_lossy();
                name.starts_with(NAME.0) && name.ends_with(NAME.1)
            })
            .map(|e| e.path())
            .collect();
        names.sort();
        let texts = names.iter().filter_map(|n| std::fs::read_to_string(n).ok());
        texts
            .filter_map(|t| serde_json::from_str(&t).ok())
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn signs_of_shards_stand_beside_each_other_until_they_are_removed() {
        let temp = tempfile::tempdir().unwrap();
        let of = |shard: Option<&str>| Pulse {
            shard: shard.map(str::to_owned),
            pid: 7,
            ..Pulse::default()
        };
        for shard in [None, Some("1/2"), Some("2/2")] {
            of(shard).write(temp.path()).unwrap();
        }
        let all = Pulse::all(temp.path());
        assert_eq!(all.len(), 3);
        assert!(all.contains(&of(Some("2/2"))));
        assert!(temp.path().join("at-work-2-of-2.json").exists());
        Pulse::remove(temp.path(), Some("2/2"));
        std::fs::write(temp.path().join("at-work.json"), "{").unwrap();
        assert_eq!(Pulse::all(temp.path()), [of(Some("1/2"))]);
    }
}
