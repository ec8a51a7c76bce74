//! Signals to a run, and the time that a batch scheduler gives it.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, LazyLock};
use std::time::{Duration, Instant, SystemTime, UNIX_EPOCH};

/// Set by Ctrl-C, by the signals that end a session or a batch job (SIGTERM, SIGHUP), and by a scheduler's warning
/// (SIGUSR1).
static STOP: LazyLock<Arc<AtomicBool>> = LazyLock::new(Arc::default);
/// Set by the first of them that asks for an end: the next one means at once.
static ASKED: AtomicBool = AtomicBool::new(false);
/// Line that stays on the screen once a run is to stop.
pub(crate) const STOPPING: &str =
    "stopping after the points under way; Ctrl-C or SIGTERM once more to stop at once";

/// The first Ctrl-C, SIGTERM or SIGHUP lets the points under way finish; the second ends at once, which costs only
/// these. SIGUSR1 lets them finish however often it comes.
pub(crate) fn listen() -> &'static AtomicBool {
    // Fails only where a handler is set already: one run after another in the same process.
    let _ = ctrlc::set_handler(|| {
        STOP.store(true, Ordering::Relaxed);
        if ASKED.swap(true, Ordering::Relaxed) {
            #[allow(clippy::exit)] // nothing is half written at any moment
            std::process::exit(130);
        }
    });
    warned_by(&STOP);
    &STOP
}

/// Lets all these signals pass without effect.
pub(crate) fn ignore() {
    let _ = ctrlc::set_handler(|| {});
    warned_by(&Arc::default());
}

/// Sets a flag at a scheduler's warning.
#[cfg(unix)]
fn warned_by(flag: &Arc<AtomicBool>) {
    let _ = signal_hook::flag::register(signal_hook::consts::SIGUSR1, Arc::clone(flag));
}

#[cfg(not(unix))]
fn warned_by(_: &Arc<AtomicBool>) {}

/// Time that is kept at the end for tables and the report.
const FOR_TABLES: Duration = Duration::from_secs(20);

/// Moment by which points have to end: after so many minutes, else as the scheduler's environment says; `None`: no limit.
pub(crate) fn until(minutes: Option<f64>) -> Option<Instant> {
    let end = |name: &str| std::env::var(name).ok();
    let left = match minutes {
        Some(minutes) => Duration::try_from_secs_f64(60.0 * minutes).ok()?,
        None => time_left(end("SLURM_JOB_END_TIME").as_deref(), SystemTime::now())?,
    };
    Instant::now().checked_add(left)
}

/// Time until the end of a job of Slurm, less what tables and report take: its end is told in seconds since 1970.
fn time_left(end: Option<&str>, now: SystemTime) -> Option<Duration> {
    let end = Duration::from_secs(end?.trim().parse().ok()?);
    let now = now.duration_since(UNIX_EPOCH).ok()?;
    Some(end.saturating_sub(now).saturating_sub(FOR_TABLES))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_left_is_that_of_the_scheduler_less_some_for_the_tables() {
        let now = UNIX_EPOCH + Duration::from_secs(1000);
        let left = |end| time_left(end, now).map(|d| d.as_secs());
        assert_eq!(left(Some("4620")), Some(3600));
        assert_eq!(left(Some("900")), Some(0));
        assert_eq!(left(Some("soon")), None);
        assert_eq!(left(None), None);
    }
}
