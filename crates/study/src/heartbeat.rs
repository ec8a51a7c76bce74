//! Heartbeat that a run writes in the folders of its studies.

use crate::runner::Event;
use bicolumn_store::{PointUnderWay, Pulse, host_name, now_s};
use std::path::PathBuf;
use std::sync::Mutex;
use std::sync::mpsc::{self, RecvTimeoutError};
use std::time::Duration;

/// Time between two signs.
const EVERY: Duration = Duration::from_secs(5);

/// Heartbeat of a run, a file for each study.
pub(crate) struct Heartbeat {
    studies: Mutex<Vec<Study>>,
}

struct Study {
    /// Name before the ids of its points in events.
    name: String,
    folder: PathBuf,
    pulse: Pulse,
}

impl Heartbeat {
    /// Heartbeat of studies by name, folder and number of points to be solved; `shard` as in `2/8`.
    pub(crate) fn of(studies: &[(&str, PathBuf, usize)], shard: Option<&str>) -> Heartbeat {
        let now = now_s();
        let study = |(name, folder, left): &(&str, PathBuf, usize)| Study {
            name: (*name).to_owned(),
            folder: folder.clone(),
            pulse: Pulse {
                host: host_name(),
                pid: std::process::id(),
                shard: shard.map(str::to_owned),
                since_s: now,
                at_s: now,
                at_once: 0,
                left: *left,
                under_way: vec![],
            },
        };
        Heartbeat {
            studies: Mutex::new(studies.iter().map(study).collect()),
        }
    }

    /// Takes note of an event.
    pub(crate) fn hear(&self, event: &Event<'_>) {
        let Ok(mut studies) = self.studies.lock() else {
            return;
        };
        match event {
            Event::Planned { at_once, .. } => {
                for study in studies.iter_mut() {
                    study.pulse.at_once = *at_once;
                }
            }
            Event::Stage { id, stage } => {
                if let Some((pulse, id)) = of_point(&mut studies, id) {
                    let before = pulse.under_way.iter_mut().find(|p| p.id == id);
                    match before {
                        Some(point) => point.stage = stage.name().to_owned(),
                        None => pulse.under_way.push(PointUnderWay {
                            id: id.to_owned(),
                            stage: stage.name().to_owned(),
                            since_s: now_s(),
                        }),
                    }
                }
            }
            Event::Done { id, .. }
            | Event::Copied { id, .. }
            | Event::Failed { id, .. }
            | Event::BrokenOff { id } => {
                if let Some((pulse, id)) = of_point(&mut studies, id) {
                    pulse.under_way.retain(|p| p.id != id);
                    pulse.left = pulse.left.saturating_sub(1);
                }
            }
            _ => {}
        }
    }

    /// Does some work; signs are given until it ends, then their files are removed.
    pub(crate) fn during<T>(&self, work: impl FnOnce() -> T) -> T {
        let (at_work, ended) = mpsc::channel::<()>();
        let result = std::thread::scope(|scope| {
            scope.spawn(move || {
                self.give();
                while ended.recv_timeout(EVERY) == Err(RecvTimeoutError::Timeout) {
                    self.give();
                }
            });
            let _at_work = at_work;
            work()
        });
        for study in self.studies.lock().iter().flat_map(|s| s.iter()) {
            Pulse::remove(&study.folder, study.pulse.shard.as_deref());
        }
        result
    }

    fn give(&self) {
        let pulses: Vec<(PathBuf, Pulse)> = match self.studies.lock() {
            Ok(mut studies) => {
                let now = now_s();
                let signed = studies.iter_mut().map(|s| {
                    s.pulse.at_s = now;
                    (s.folder.clone(), s.pulse.clone())
                });
                signed.collect()
            }
            Err(_) => return,
        };
        for (folder, pulse) in pulses {
            // A sign that cannot be given is missed by who looks, not by the run.
            let _ = pulse.write(&folder);
        }
    }
}

/// Pulse of the study that a point of an event belongs to, and the point's id there.
fn of_point<'s, 'i>(studies: &'s mut [Study], label: &'i str) -> Option<(&'s mut Pulse, &'i str)> {
    let (name, id) = label.rsplit_once('/').unwrap_or(("", label));
    let study = studies.iter_mut().find(|s| s.name == name)?;
    Some((&mut study.pulse, id))
}
