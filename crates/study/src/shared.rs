//! Things that many points want and that take long to build: each built once, the others wait for it.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock};

/// Built things by what they are built from. The last few are kept.
///
/// Cache of values that depend on their key alone: then it makes no difference to any result who builds
/// it, or whether it is built again after it was let go.
pub(crate) struct Shared<T> {
    most: usize,
    slots: Mutex<Slots<T>>,
}

struct Slots<T> {
    /// Counts requests, to tell which slot was asked for longest ago.
    requests: u64,
    of: BTreeMap<String, (u64, Arc<OnceLock<T>>)>,
}

impl<T: Clone> Shared<T> {
    /// Keeps at most so many things; what is in use elsewhere lives on there.
    pub(crate) fn keeping(most: usize) -> Shared<T> {
        Shared {
            most: most.max(1),
            slots: Mutex::new(Slots {
                requests: 0,
                of: BTreeMap::new(),
            }),
        }
    }

    /// The thing of a key: built by the first that asks, waited for by the others.
    pub(crate) fn get(&self, key: String, build: impl FnOnce() -> T) -> T {
        let slot = {
            // A panic elsewhere leaves no slot half made.
            let mut slots = self.slots.lock().unwrap_or_else(|p| p.into_inner());
            slots.requests += 1;
            let now = slots.requests;
            let entry = slots.of.entry(key).or_default();
            entry.0 = now;
            let slot = entry.1.clone();
            while slots.of.len() > self.most {
                let oldest = slots.of.iter().min_by_key(|(_, (at, _))| *at);
                let Some(oldest) = oldest.map(|(key, _)| key.clone()) else {
                    break;
                };
                slots.of.remove(&oldest);
            }
            slot
        };
        slot.get_or_init(build).clone()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::atomic::{AtomicUsize, Ordering};

    #[test]
    fn many_ask_at_once_and_one_builds() {
        let shared = Shared::keeping(2);
        let built = AtomicUsize::new(0);
        let ask = || {
            shared.get("bone".into(), || {
                std::thread::sleep(std::time::Duration::from_millis(20));
                built.fetch_add(1, Ordering::Relaxed)
            })
        };
        let found: Vec<usize> = std::thread::scope(|scope| {
            let threads: Vec<_> = (0..6).map(|_| scope.spawn(ask)).collect();
            threads.into_iter().map(|t| t.join().unwrap()).collect()
        });
        assert_eq!(found, [0; 6]);
        assert_eq!(built.load(Ordering::Relaxed), 1);
    }

    #[test]
    fn what_was_asked_for_longest_ago_is_let_go() {
        let shared = Shared::keeping(2);
        let built = AtomicUsize::new(0);
        let ask = |key: &str| {
            let before = built.load(Ordering::Relaxed);
            shared.get(key.into(), || built.fetch_add(1, Ordering::Relaxed));
            built.load(Ordering::Relaxed) > before
        };
        assert!(ask("a") && ask("b") && !ask("a"));
        assert!(ask("c"), "new");
        assert!(!ask("a"), "asked for lately");
        assert!(ask("b"), "let go for c");
    }

    #[test]
    fn a_build_that_panics_can_be_tried_again() {
        let shared: Shared<usize> = Shared::keeping(1);
        let slip = std::panic::AssertUnwindSafe(|| shared.get("a".into(), || panic!("slip")));
        assert!(std::panic::catch_unwind(slip).is_err());
        assert_eq!(shared.get("a".into(), || 3), 3);
    }
}
