//! Hold of a run on a study's folder: one run at a time.

use crate::atomic::temporary_in;
use crate::error::StoreError;
use serde::{Deserialize, Serialize};
use std::ffi::OsStr;
use std::fs::{read_to_string, remove_file};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};
use std::time::{SystemTime, UNIX_EPOCH};

/// A run that holds a folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Holder {
    /// Name of its machine.
    pub host: String,
    /// Its process.
    pub pid: u32,
    /// When that process began, in the machine's own count: another process may get its number later.
    began: Option<u64>,
    /// When it took the folder, seconds since 1970.
    pub since_s: u64,
    /// Task of a batch scheduler that it is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    task: Option<String>,
    /// Name of the file that says so.
    #[serde(skip)]
    pub file: String,
}

/// A folder held by this process until the value is dropped.
#[derive(Debug)]
pub struct Hold {
    path: PathBuf,
}

/// Outcome of asking for a folder.
#[derive(Debug)]
pub enum Asked {
    /// It is ours.
    Taken(Hold),
    /// A run that lives, or one of another machine, has it.
    HeldBy(Holder),
}

/// File of a run that has the whole folder.
const WHOLE: &str = "held.json";
/// Beginning and end of the file of a shard.
const SHARD: (&str, &str) = ("held-", ".json");

impl Hold {
    /// Takes a folder by a file in it: `held.json` for the whole, `held-K-of-N.json` for shard K of N, which may be held
    /// beside the other shards of N and nothing else. One left behind by a process of this machine that is no more is
    /// taken over.
    ///
    /// # Errors
    /// [`StoreError`], when the file can neither be made nor read.
    pub fn take(folder: &Path, shard: Option<(usize, usize)>) -> Result<Asked, StoreError> {
        let name = match shard {
            None => WHOLE.to_owned(),
            Some((k, n)) => format!("{}{k}-of-{n}{}", SHARD.0, SHARD.1),
        };
        let own = match Self::take_file(folder, &name)? {
            Asked::Taken(own) => own,
            other => return Ok(other),
        };
        let beside = shard.map(|(_, n)| format!("-of-{n}{}", SHARD.1));
        let entries = std::fs::read_dir(folder).map_err(|source| StoreError::Unreadable {
            path: folder.to_path_buf(),
            source,
        })?;
        for entry in entries.flatten() {
            let other = entry.file_name();
            let text = other.to_string_lossy();
            let may_be_there = *text == *name || beside.as_ref().is_some_and(|b| text.ends_with(b));
            if !Self::is_file_name(&other) || may_be_there {
                continue;
            }
            // Asked for and let go at once: a dead holder's file goes with it.
            if let Asked::HeldBy(holder) = Self::take_file(folder, &text)? {
                return Ok(Asked::HeldBy(holder));
            }
        }
        Ok(Asked::Taken(own))
    }

    /// Is it the name of a file by which a run holds a folder?
    pub fn is_file_name(name: &OsStr) -> bool {
        let name = name.to_string_lossy();
        name == WHOLE || (name.starts_with(SHARD.0) && name.ends_with(SHARD.1))
    }

    fn take_file(folder: &Path, name: &str) -> Result<Asked, StoreError> {
        let path = folder.join(name);
        let own = Holder::this();
        let restarted = restarted_task(&|name| std::env::var(name).ok());
        // Twice: what was left behind is removed once, and somebody may be quicker.
        for _ in 0..2 {
            // Whole or not there: a run that asks at the same moment reads a name.
            let mut file = temporary_in(folder).map_err(|e| StoreError::writing(&path, e))?;
            let text = serde_json::to_string(&own).unwrap_or_default();
            file.write_all(text.as_bytes())
                .map_err(|e| StoreError::writing(&path, e))?;
            match file.persist_noclobber(&path) {
                Ok(_) => return Ok(Asked::Taken(Hold { path })),
                Err(e) if e.error.kind() == ErrorKind::AlreadyExists => {}
                Err(e) => return Err(StoreError::writing(&path, e.error)),
            }
            let text = match read_to_string(&path) {
                Ok(text) => text,
                Err(e) if e.kind() == ErrorKind::NotFound => continue,
                Err(source) => return Err(StoreError::Unreadable { path, source }),
            };
            match serde_json::from_str::<Holder>(&text) {
                Ok(holder) if holder.may_live(&own) && !holder.is_before(restarted.as_deref()) => {
                    let file = name.to_owned();
                    return Ok(Asked::HeldBy(Holder { file, ..holder }));
                }
                // Its process is gone, or it is nobody's name.
                _ => remove_file(&path).map_err(|e| StoreError::writing(&path, e))?,
            }
        }
        Err(StoreError::Unwritable {
            path,
            source: ErrorKind::AlreadyExists.into(),
        })
    }
}

impl Drop for Hold {
    fn drop(&mut self) {
        // Where it cannot be removed, its process is gone soon, and the next run takes it over.
        let _ = remove_file(&self.path);
    }
}

impl Holder {
    fn this() -> Holder {
        let pid = std::process::id();
        let now = SystemTime::now().duration_since(UNIX_EPOCH);
        Holder {
            host: host_name(),
            pid,
            began: began(pid),
            since_s: now.map_or(0, |d| d.as_secs()),
            task: std::env::var(TASK).ok(),
            file: String::new(),
        }
    }

    /// May its process still be at work? One of another machine may; one of this machine may if there is such a process,
    /// begun at the same moment.
    fn may_live(&self, own: &Holder) -> bool {
        self.host != own.host || self.began.is_none() || began(self.pid) == self.began
    }

    /// Is it an earlier attempt of a task that the scheduler has restarted, on whatever machine? Should it live on unseen, its
    /// results are the same and each file of them is whole.
    fn is_before(&self, restarted: Option<&str>) -> bool {
        restarted.is_some_and(|task| self.task.as_deref() == Some(task))
    }

    /// Time since it took the folder, s.
    pub fn seconds(&self) -> u64 {
        let now = SystemTime::now().duration_since(UNIX_EPOCH);
        now.map_or(0, |d| d.as_secs().saturating_sub(self.since_s))
    }
}

/// Variable with the number of a task of Slurm.
const TASK: &str = "SLURM_JOB_ID";

/// Task of Slurm that this process is a further attempt of: its node was lost, or it was put back into the queue.
fn restarted_task(environment: &dyn Fn(&str) -> Option<String>) -> Option<String> {
    let attempts: u32 = environment("SLURM_RESTART_COUNT")?.trim().parse().ok()?;
    environment(TASK).filter(|_| attempts > 0)
}

/// Name of this machine; empty where the system does not tell it.
pub fn host_name() -> String {
    let name = read_to_string("/proc/sys/kernel/hostname").unwrap_or_default();
    name.trim().to_owned()
}

/// When a process began, in clock ticks since the machine did; `None` where there is none, where it has ended and only its
/// parent has not asked for its status yet, or where the system does not say.
fn began(pid: u32) -> Option<u64> {
    let stat = read_to_string(format!("/proc/{pid}/stat")).ok()?;
    // The name of the program, in brackets, may hold anything; the state follows it, and the 19th field after that is
    // the time.
    let mut after_name = stat.rsplit_once(')')?.1.split_whitespace();
    let has_ended = matches!(after_name.next()?, "Z" | "X" | "x");
    let time = after_name.nth(18)?.parse().ok()?;
    (!has_ended).then_some(time)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_is_held_by_one_until_it_is_let_go() {
        let temp = tempfile::tempdir().unwrap();
        let Asked::Taken(hold) = Hold::take(temp.path(), None).unwrap() else {
            panic!("nobody holds it");
        };
        match Hold::take(temp.path(), None).unwrap() {
            Asked::HeldBy(holder) => assert_eq!(holder.pid, std::process::id()),
            Asked::Taken(_) => panic!("it is held"),
        }
        drop(hold);
        assert!(!temp.path().join("held.json").exists());
        assert!(matches!(
            Hold::take(temp.path(), None).unwrap(),
            Asked::Taken(_)
        ));
    }

    #[test]
    fn shards_of_one_count_stand_beside_each_other_and_nothing_else_does() {
        let temp = tempfile::tempdir().unwrap();
        let take = |shard| Hold::take(temp.path(), shard).unwrap();
        let Asked::Taken(first) = take(Some((1, 3))) else {
            panic!("nobody holds it");
        };
        let Asked::Taken(second) = take(Some((2, 3))) else {
            panic!("another shard of three");
        };
        for refused in [None, Some((1, 3)), Some((1, 2))] {
            match take(refused) {
                Asked::HeldBy(holder) => assert!(holder.file.ends_with("-of-3.json")),
                Asked::Taken(_) => panic!("{refused:?} was let in"),
            }
        }
        drop((first, second));
        assert!(matches!(take(None), Asked::Taken(_)));
        assert_eq!(std::fs::read_dir(temp.path()).unwrap().count(), 0);
    }

    #[test]
    fn a_restarted_task_takes_over_from_its_earlier_attempt_and_from_nobody_else() {
        let with = |count: Option<&str>| {
            restarted_task(&|name| match name {
                "SLURM_JOB_ID" => Some("17".to_owned()),
                "SLURM_RESTART_COUNT" => count.map(str::to_owned),
                _ => None,
            })
        };
        assert_eq!(with(Some("1")).as_deref(), Some("17"));
        assert_eq!(with(None), None, "two runs within one task");
        assert_eq!(with(Some("0")), None);
        let of = |task: Option<&str>| Holder {
            host: "lost".into(),
            task: task.map(str::to_owned),
            ..Holder::this()
        };
        assert!(of(Some("17")).is_before(Some("17")));
        assert!(!of(Some("16")).is_before(Some("17")));
        assert!(!of(None).is_before(Some("17")) && !of(Some("17")).is_before(None));
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_process_that_has_ended_but_was_not_waited_for_holds_nothing() {
        let temp = tempfile::tempdir().unwrap();
        let mut child = std::process::Command::new("sleep")
            .arg("60")
            .spawn()
            .unwrap();
        let pid = child.id();
        let left = Holder {
            pid,
            began: began(pid),
            ..Holder::this()
        };
        assert!(left.began.is_some());
        let path = temp.path().join(WHOLE);
        std::fs::write(&path, serde_json::to_string(&left).unwrap()).unwrap();
        assert!(matches!(
            Hold::take(temp.path(), None).unwrap(),
            Asked::HeldBy(_)
        ));
        child.kill().unwrap();
        // Until it is waited for, its number and its beginning stay on the system's list.
        while began(pid).is_some() {
            std::thread::yield_now();
        }
        assert!(Path::new(&format!("/proc/{pid}/stat")).exists());
        assert!(matches!(
            Hold::take(temp.path(), None).unwrap(),
            Asked::Taken(_)
        ));
        child.wait().unwrap();
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn what_a_dead_process_left_is_taken_over_and_another_machines_is_not() {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("held.json");
        let own = Holder::this();
        let mut left = own.clone();
        // This very number, but of a process that began at another moment.
        left.began = own.began.map(|b| b + 1);
        std::fs::write(&path, serde_json::to_string(&left).unwrap()).unwrap();
        assert!(matches!(
            Hold::take(temp.path(), None).unwrap(),
            Asked::Taken(_)
        ));

        left.host = "elsewhere".into();
        std::fs::write(&path, serde_json::to_string(&left).unwrap()).unwrap();
        match Hold::take(temp.path(), None).unwrap() {
            Asked::HeldBy(holder) => assert_eq!((holder.pid, holder.host), (left.pid, left.host)),
            Asked::Taken(_) => panic!("nobody can tell whether it lives"),
        }

        // A process killed before it wrote its name.
        std::fs::write(&path, "").unwrap();
        assert!(matches!(
            Hold::take(temp.path(), None).unwrap(),
            Asked::Taken(_)
        ));
    }
}
