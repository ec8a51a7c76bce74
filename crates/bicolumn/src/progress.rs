//! Progress of a run: bars on a terminal, one line a point elsewhere, JSON for machines.

use crate::console::{Console, Streams};
use bicolumn_base::shown::printable;
use bicolumn_study::Event;
use indicatif::{MultiProgress, ProgressBar, ProgressState, ProgressStyle};
use std::collections::BTreeMap;
use std::fmt;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{self, RecvTimeoutError};
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

/// Hears a run and shows it.
pub(crate) struct Progress<'c, 'a> {
    state: Mutex<State<'c, 'a>>,
}

struct State<'c, 'a> {
    streams: Streams<'c, 'a>,
    total: usize,
    ended: usize,
    quiet: bool,
    json: bool,
    bars: Option<Bars>,
}

struct Bars {
    all: MultiProgress,
    points: ProgressBar,
    running: BTreeMap<String, ProgressBar>,
    /// When the first point began, and how many had ended then: the time left counts from there.
    begin: Option<(Instant, usize)>,
    /// When the last point is expected to end, once a point has; read whenever the bar is drawn.
    expected: Arc<Mutex<Option<Instant>>>,
}

impl<'c, 'a> Progress<'c, 'a> {
    pub(crate) fn new(
        console: &'c mut Console<'a>,
        total: usize,
        quiet: bool,
        json: bool,
    ) -> Progress<'c, 'a> {
        let draw = console.terminal && !quiet && !json;
        Progress {
            state: Mutex::new(State {
                streams: console.split(),
                total,
                ended: 0,
                quiet,
                json,
                bars: draw.then(|| Bars::new(total)),
            }),
        }
    }

    /// One event, from any thread.
    pub(crate) fn hear(&self, event: Event<'_>) {
        if let Ok(mut state) = self.state.lock() {
            state.hear(event);
        }
    }

    /// Does some work; as soon as `flag` is set, a line is told that stays on the screen.
    pub(crate) fn with_notice<T>(
        &self,
        flag: &AtomicBool,
        line: &str,
        work: impl FnOnce() -> T,
    ) -> T {
        // Dropped when the work ends, also where it panics: nobody waits for a watcher that goes on watching.
        let (at_work, ended) = mpsc::channel::<()>();
        std::thread::scope(|scope| {
            scope.spawn(move || {
                let tick = Duration::from_millis(50);
                while ended.recv_timeout(tick) == Err(RecvTimeoutError::Timeout) {
                    if flag.load(Ordering::Relaxed) {
                        if let Ok(mut state) = self.state.lock() {
                            state.tell(line);
                        }
                        return;
                    }
                }
            });
            let _at_work = at_work;
            work()
        })
    }

    /// Clears the bars.
    pub(crate) fn end(self) {
        if let Ok(State {
            bars: Some(bars), ..
        }) = self.state.into_inner()
        {
            for bar in bars.running.values() {
                bar.finish_and_clear();
            }
            bars.points.finish_and_clear();
        }
    }
}

impl State<'_, '_> {
    fn hear(&mut self, event: Event<'_>) {
        if matches!(
            event,
            Event::Kept { .. }
                | Event::Taken { .. }
                | Event::Done { .. }
                | Event::Copied { .. }
                | Event::Failed { .. }
                | Event::FailedBefore { .. }
                | Event::Skipped { .. }
        ) {
            self.ended += 1;
        }
        if let Event::Planned { points, .. } = event {
            // A part of a job counts its own points only.
            self.total = self.ended + points;
        }
        if self.json
            && let Some(line) = json_line(&event)
        {
            self.streams.out.json(&line);
        }
        if let Some(bars) = &mut self.bars {
            bars.hear(&event, self.ended);
        }
        if let Some(line) = self.line(&event) {
            self.tell(&line);
        }
    }

    fn tell(&mut self, line: &str) {
        match &self.bars {
            Some(bars) => {
                let _ = bars.all.println(printable(line));
            }
            None => {
                let _ = writeln!(self.streams.err, "{}", printable(line));
            }
        }
    }

    /// The line that stays on the screen, if the event is worth one. Failures are told even when quiet.
    fn line(&self, event: &Event<'_>) -> Option<String> {
        let (ended, total) = (self.ended, self.total);
        match event {
            Event::Failed { id, stage, reason } => Some(format!(
                "{id} failed at {stage} ({ended}/{total}): {reason}"
            )),
            Event::Skipped { id, reason } if !self.json => Some(format!(
                "{id} left out, cannot be built ({ended}/{total}): {reason}"
            )),
            _ if self.quiet || self.json => None,
            Event::FailedBefore { id, reason, .. } => Some(format!(
                "{id} failed before and is not tried again ({ended}/{total}): {reason}"
            )),
            Event::BrokenOff { id } => {
                Some(format!("{id} is broken off: the time of the run is up"))
            }
            Event::Planned {
                at_once,
                threads_each,
                ..
            } => Some(format!(
                "{at_once} {} at once, {threads_each} {} each",
                plural(*at_once, "point"),
                plural(*threads_each, "thread")
            )),
            Event::Damaged { id, reason } => Some(format!(
                "{id} is solved again, its stored result is unusable: {reason}"
            )),
            Event::Moved { id, before } => Some(format!(
                "{id} was {before} before the job changed: its results are kept"
            )),
            Event::SetAside { count, folder } => Some(format!(
                "{count} finished {} of the job no more; kept in {}",
                match count {
                    1 => "point is",
                    _ => "points are",
                },
                folder.display()
            )),
            Event::Kept { id } => Some(format!("{id} kept from before ({ended}/{total})")),
            Event::Taken { id } => Some(format!("{id} taken from the cache ({ended}/{total})")),
            Event::Forecast { id, forecast } => Some(format!("{id}: {forecast}")),
            Event::Copied { id, from } => Some(format!(
                "{id} has the inputs of {from}, whose results are copied ({ended}/{total})"
            )),
            Event::Done { id, seconds } => Some(format!(
                "{id} done in {} ({ended}/{total})",
                clock(*seconds)
            )),
            _ => None,
        }
    }
}

impl Bars {
    fn new(total: usize) -> Bars {
        let all = MultiProgress::new();
        let points = all.add(ProgressBar::new(total as u64));
        let expected: Arc<Mutex<Option<Instant>>> = Arc::default();
        if let Ok(style) = ProgressStyle::with_template("{bar:30} {pos}/{len} points  {msg}{left}")
        {
            let drawn = Arc::clone(&expected);
            points.set_style(style.with_key(
                "left",
                move |_: &ProgressState, out: &mut dyn fmt::Write| {
                    let until = drawn.lock().ok().and_then(|e| *e);
                    let _ = out.write_str(&time_left(until, Instant::now()));
                },
            ));
        }
        points.set_message("building constructs");
        points.enable_steady_tick(Duration::from_millis(250));
        Bars {
            all,
            points,
            running: BTreeMap::new(),
            begin: None,
            expected,
        }
    }

    fn hear(&mut self, event: &Event<'_>, ended: usize) {
        match event {
            Event::Checked { done, total } => {
                self.points
                    .set_message(format!("building constructs {done}/{total}"));
            }
            Event::Planned { points, .. } => {
                self.points.set_length((ended + points) as u64);
                self.points.set_message("");
            }
            Event::Damaged { .. }
            | Event::Forecast { .. }
            | Event::Moved { .. }
            | Event::SetAside { .. } => {}
            Event::Stage { id, stage } => {
                self.begin.get_or_insert((Instant::now(), ended));
                let bar = self.running.entry((*id).to_string()).or_insert_with(|| {
                    let bar = self.all.add(ProgressBar::new_spinner());
                    bar.enable_steady_tick(Duration::from_millis(250));
                    bar
                });
                bar.set_message(printable(&format!("{id}  {stage}")).into_owned());
            }
            Event::Kept { id }
            | Event::Taken { id }
            | Event::Done { id, .. }
            | Event::Copied { id, .. }
            | Event::Failed { id, .. }
            | Event::FailedBefore { id, .. }
            | Event::BrokenOff { id }
            | Event::Skipped { id, .. } => {
                if let Some(bar) = self.running.remove(*id) {
                    bar.finish_and_clear();
                }
                self.points.set_position(ended as u64);
                let total = self.points.length().unwrap_or(0) as usize;
                let now = Instant::now();
                if let Ok(mut expected) = self.expected.lock() {
                    *expected = self
                        .begin
                        .and_then(|begin| expected_end(begin, ended, total, now));
                }
            }
        }
    }
}

/// When the last point is expected to end, at the pace of those that have ended since the first began; `None` before
/// one has, and after the last.
fn expected_end(
    (begin, before): (Instant, usize),
    ended: usize,
    total: usize,
    now: Instant,
) -> Option<Instant> {
    let done = ended.checked_sub(before).filter(|done| *done > 0)?;
    let left = total.checked_sub(ended).filter(|left| *left > 0)?;
    let each = (now - begin).div_f64(done as f64);
    now.checked_add(each.mul_f64(left as f64))
}

/// Words for the time left at the moment of drawing; nothing where none is expected.
fn time_left(expected: Option<Instant>, now: Instant) -> String {
    match expected.map(|e| e.saturating_duration_since(now)) {
        None => String::new(),
        Some(Duration::ZERO) => "ending soon".into(),
        Some(left) => format!("about {} left", clock(left.as_secs_f64())),
    }
}

fn json_line(event: &Event<'_>) -> Option<String> {
    let value = match event {
        Event::Checked { .. } => return None,
        Event::Planned {
            points,
            at_once,
            threads_each,
        } => serde_json::json!({
            "event": "planned",
            "points": points,
            "at_once": at_once,
            "threads_each": threads_each,
        }),
        Event::Moved { id, before } => {
            serde_json::json!({"event": "moved", "point": id, "before": before})
        }
        Event::SetAside { count, folder } => {
            serde_json::json!({"event": "set_aside", "count": count, "folder": folder})
        }
        Event::Taken { id } => serde_json::json!({"event": "taken", "point": id}),
        Event::Kept { id } => serde_json::json!({"event": "kept", "point": id}),
        Event::Damaged { id, reason } => {
            serde_json::json!({"event": "damaged", "point": id, "reason": reason})
        }
        Event::Stage { id, stage } => {
            serde_json::json!({"event": "stage", "point": id, "stage": stage.name()})
        }
        Event::Forecast { id, forecast } => serde_json::json!({
            "event": "forecast",
            "point": id,
            "method": forecast.method,
            "unknowns": forecast.unknowns,
            "right_sides": forecast.right_sides,
            "bytes": forecast.bytes,
            "seconds": forecast.seconds,
        }),
        Event::Copied { id, from } => {
            serde_json::json!({"event": "copied", "point": id, "from": from})
        }
        Event::Done { id, seconds } => {
            serde_json::json!({"event": "done", "point": id, "seconds": seconds})
        }
        Event::Failed { id, stage, reason } => {
            serde_json::json!({"event": "failed", "point": id, "stage": stage, "reason": reason})
        }
        Event::FailedBefore { id, stage, reason } => {
            serde_json::json!({"event": "failed_before", "point": id, "stage": stage, "reason": reason})
        }
        Event::BrokenOff { id } => serde_json::json!({"event": "broken_off", "point": id}),
        Event::Skipped { id, reason } => {
            serde_json::json!({"event": "skipped", "point": id, "reason": reason})
        }
    };
    Some(value.to_string())
}

pub(crate) fn plural(n: usize, word: &str) -> String {
    if n == 1 {
        word.to_string()
    } else {
        format!("{word}s")
    }
}

/// `0.4 s`, `42 s`, `3 min 20 s`, `2 h 5 min`.
pub(crate) fn clock(seconds: f64) -> String {
    if seconds < 10.0 {
        return format!("{seconds:.1} s");
    }
    let s = seconds.round() as u64;
    match s {
        0..60 => format!("{s} s"),
        60..3600 => format!("{} min {} s", s / 60, s % 60),
        _ => format!("{} h {} min", s / 3600, s % 3600 / 60),
    }
}

#[cfg(test)]
mod tests {
    use super::{clock, expected_end, time_left};
    use std::time::{Duration, Instant};

    #[test]
    fn the_time_left_counts_down_and_ends_with_the_last_point() {
        let begin = Instant::now();
        let at = |s| begin + Duration::from_secs(s);
        // One of four points kept from before; the first solved one took 60 s: two are left.
        let expected = expected_end((begin, 1), 2, 4, at(60));
        assert_eq!(expected, Some(at(180)));
        assert_eq!(time_left(expected, at(60)), "about 2 min 0 s left");
        assert_eq!(time_left(expected, at(135)), "about 45 s left");
        assert_eq!(time_left(expected, at(200)), "ending soon");
        assert_eq!(expected_end((begin, 1), 4, 4, at(190)), None);
        assert_eq!(expected_end((begin, 1), 1, 4, at(5)), None);
        assert_eq!(time_left(None, at(0)), "");
    }

    #[test]
    fn times_read_well() {
        assert_eq!(clock(0.44), "0.4 s");
        assert_eq!(clock(59.4), "59 s");
        assert_eq!(clock(200.0), "3 min 20 s");
        assert_eq!(clock(7500.0), "2 h 5 min");
    }
}
