//! Points solved in processes of their own: one that aborts, is killed or takes too much costs its point and nothing else.

use crate::free_memory::resident_bytes;
use crate::stage::{PointError, Stage};
use crate::wire::{FromWorker, Order, ToWorker};
use bicolumn_job::ENGINE_VERSION;
use bicolumn_store::{PointRecord, Record, StopRecord};
use std::collections::BTreeSet;
use std::ffi::OsString;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, ExitStatus, Stdio};
use std::sync::mpsc::{self, Receiver, RecvTimeoutError};
use std::sync::{Condvar, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// How to start a process that solves points.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorkerProgram {
    /// Program.
    pub program: PathBuf,
    /// Its arguments; it then calls [`solve_orders`](crate::solve_orders).
    pub arguments: Vec<OsString>,
}

/// Limits of a point that is solved in a process of its own.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PointLimits {
    /// Time, s; `None`: no limit.
    pub seconds: Option<f64>,
    /// Resident memory of the process, bytes; `None`: no limit but the machine's.
    pub memory_bytes: Option<f64>,
}

/// Way in which a point that was ordered ended.
pub(crate) enum End {
    Done(Box<PointRecord>),
    /// Failed, by a limit or without one.
    Failed(PointError, Option<StopRecord>),
    /// The time of the run was up: it is left to the next.
    BrokenOff,
}

/// All that the processes of a run have in common.
pub(crate) struct WorkerPool<'a> {
    pub(crate) program: &'a WorkerProgram,
    pub(crate) limits: PointLimits,
    /// Memory that there was for a point without a limit of its own, bytes.
    pub(crate) all_memory_bytes: f64,
    /// Moment by which the run is to be over.
    pub(crate) until: Option<Instant>,
    pub(crate) turns: IntactTurns,
}

/// Time between two looks at a process that says nothing.
const TICK: Duration = Duration::from_millis(100);
/// Time in which a process has to begin.
const BEGIN: Duration = Duration::from_secs(60);
/// Longest last words of a process that are kept, bytes.
const LAST_WORDS: usize = 2000;

/// A process that solves points, one after the other.
pub(crate) struct WorkerProcess {
    child: Child,
    input: ChildStdin,
    heard: Receiver<FromWorker>,
    /// End of its standard error.
    said: Option<JoinHandle<String>>,
}

impl WorkerPool<'_> {
    /// Solves a point in `process`, or in a new one where there is none; one that ends is let go. `tell` hears
    /// of stages and forecasts.
    ///
    /// # Errors
    /// Why there is no process that solves points: no fault of the point.
    pub(crate) fn solve(
        &self,
        process: &mut Option<WorkerProcess>,
        order: &Order,
        tell: &dyn Fn(&FromWorker),
    ) -> Result<End, String> {
        let mut own = match process.take() {
            Some(own) => own,
            None => self.start()?,
        };
        let mut held = BTreeSet::new();
        let end = self.attend(&mut own, order, &mut held, tell);
        for key in &held {
            self.turns.ended(key);
        }
        match end {
            Watched::Ended(end) => {
                *process = Some(own);
                Ok(end)
            }
            Watched::Stopped(end) => Ok(end),
            Watched::Gone(stage) => {
                let (status, words) = own.reap();
                let (message, stop) = cause(status, &words, self.memory());
                Ok(End::Failed(PointError { stage, message }, Some(stop)))
            }
        }
    }

    /// Memory that a point has, bytes.
    fn memory(&self) -> f64 {
        self.limits.memory_bytes.unwrap_or(self.all_memory_bytes)
    }

    /// Starts a process and waits until it says that it has begun.
    fn start(&self) -> Result<WorkerProcess, String> {
        let mut command = Command::new(&self.program.program);
        #[cfg(unix)]
        std::os::unix::process::CommandExt::arg0(&mut command, "bicolumn");
        let mut child = command
            .args(&self.program.arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|e| format!("{}: {e}", self.program.program.display()))?;
        let pipes = (child.stdin.take(), child.stdout.take(), child.stderr.take());
        let (Some(input), Some(output), Some(errors)) = pipes else {
            let _ = child.kill();
            return Err("it has no standard streams".to_owned());
        };
        let (tell, heard) = mpsc::channel();
        std::thread::spawn(move || {
            for line in BufReader::new(output).lines().map_while(Result::ok) {
                // What a library prints is no message.
                if let Ok(message) = serde_json::from_str(&line)
                    && tell.send(message).is_err()
                {
                    break;
                }
            }
        });
        let mut process = WorkerProcess {
            child,
            input,
            heard,
            said: Some(std::thread::spawn(move || last_words(errors))),
        };
        process.say(&ToWorker::Begin {
            intact: self.turns.folder.clone(),
        });
        match process.heard.recv_timeout(BEGIN) {
            Ok(FromWorker::Ready { version }) if version == ENGINE_VERSION => Ok(process),
            Ok(FromWorker::Ready { version }) => {
                Err(format!("the program is of version {version} now"))
            }
            _ => {
                let (status, words) = process.reap();
                Err(format!("{}: {}", ended(status), words.trim()))
            }
        }
    }

    /// Orders a point and hears of it until it ends or has to be ended. `held`: intact solutions that are its turn.
    fn attend(
        &self,
        process: &mut WorkerProcess,
        order: &Order,
        held: &mut BTreeSet<String>,
        tell: &dyn Fn(&FromWorker),
    ) -> Watched {
        let mut stage = Stage::Geometry;
        let mut begin = Instant::now();
        process.say(&ToWorker::Solve(order.clone()));
        loop {
            match process.heard.recv_timeout(TICK) {
                Ok(message) => match message {
                    FromWorker::Stage { stage: s } => {
                        stage = s;
                        tell(&message);
                    }
                    FromWorker::Forecast(_) => tell(&message),
                    FromWorker::IntactWanted { key } => {
                        let asked = Instant::now();
                        let Some(solve) = self.turns.turn(&key, self.until) else {
                            return Watched::Stopped(End::BrokenOff);
                        };
                        // The time that another takes is not this point's.
                        begin += asked.elapsed();
                        if solve {
                            held.insert(key);
                        }
                        process.say(&ToWorker::Intact { solve });
                    }
                    FromWorker::IntactEnded { key } => {
                        held.remove(&key);
                        self.turns.ended(&key);
                    }
                    FromWorker::Done { record } => return Watched::Ended(read(&record)),
                    FromWorker::Failed { stage, message } => {
                        return Watched::Ended(End::Failed(PointError { stage, message }, None));
                    }
                    FromWorker::Ready { .. } => {}
                },
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => return Watched::Gone(stage),
            }
            if self.until.is_some_and(|until| Instant::now() >= until) {
                return Watched::Stopped(End::BrokenOff);
            }
            if let Some((message, stop)) = self.broken_limit(process.child.id(), begin) {
                let error = PointError { stage, message };
                return Watched::Stopped(End::Failed(error, Some(stop)));
            }
        }
    }

    /// Limit that a point has exceeded, in words.
    fn broken_limit(&self, pid: u32, begin: Instant) -> Option<(String, StopRecord)> {
        let PointLimits {
            seconds,
            memory_bytes,
        } = self.limits;
        if let Some(limit) = seconds.filter(|s| begin.elapsed().as_secs_f64() > *s) {
            let message = format!("it took more than its {} min", limit / 60.0);
            return Some((message, StopRecord::Time { seconds: limit }));
        }
        let limit = memory_bytes?;
        let used = resident_bytes(pid)?;
        (used > limit).then(|| {
            let message = format!("it took more than its {:.2} GiB of memory", gib(limit));
            (message, StopRecord::Memory { bytes: limit })
        })
    }
}

fn gib(bytes: f64) -> f64 {
    bytes / 1024f64.powi(3)
}

/// State of a process that was attended to.
enum Watched {
    /// The point ended, and the process can take the next.
    Ended(End),
    /// The point is to be ended with its process.
    Stopped(End),
    /// The process ended in this stage.
    Gone(Stage),
}

/// Record that a process told; a number that JSON cannot hold is not storable.
fn read(record: &str) -> End {
    let value = serde_json::from_str(record);
    match value.and_then(PointRecord::from_json) {
        Ok(record) => End::Done(Box::new(record)),
        Err(e) => {
            let error = PointError {
                stage: Stage::Store,
                message: format!("a number is not finite, or {e}"),
            };
            End::Failed(error, None)
        }
    }
}

impl WorkerProcess {
    /// A process that is gone hears nothing, and the end of its output says so.
    fn say(&mut self, message: &ToWorker) {
        let line = serde_json::to_string(message).unwrap_or_default();
        let _ = writeln!(self.input, "{line}");
        let _ = self.input.flush();
    }

    /// Ends the process, if it has not ended: its status and last words.
    fn reap(mut self) -> (Option<ExitStatus>, String) {
        // Its output has ended, and so will it: it is given the time to leave a status of its own.
        let begin = Instant::now();
        let mut status = self.child.try_wait().ok().flatten();
        while status.is_none() && begin.elapsed() < Duration::from_secs(5) {
            std::thread::sleep(Duration::from_millis(5));
            status = self.child.try_wait().ok().flatten();
        }
        if status.is_none() {
            let _ = self.child.kill();
        }
        let said = self.said.take().and_then(|s| s.join().ok());
        (status, said.unwrap_or_default())
    }
}

impl Drop for WorkerProcess {
    fn drop(&mut self) {
        // Idle, or its point is given up.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// End of a stream.
fn last_words(mut stream: impl Read) -> String {
    let mut kept = vec![];
    let mut buffer = [0; 1024];
    while let Ok(n) = stream.read(&mut buffer) {
        if n == 0 {
            break;
        }
        kept.extend_from_slice(&buffer[..n]);
        let over = kept.len().saturating_sub(LAST_WORDS);
        kept.drain(..over);
    }
    String::from_utf8_lossy(&kept).into_owned()
}

/// Cause of a process's end, in words, and the limit that it met.
fn cause(status: Option<ExitStatus>, words: &str, memory: f64) -> (String, StopRecord) {
    let words = words.trim();
    let last = words.lines().last().unwrap_or_default();
    if words.contains("memory allocation of") {
        let line = words.lines().find(|l| l.contains("memory allocation of"));
        let message = format!(
            "memory ran out in the process that solved it: {}",
            line.unwrap_or(last)
        );
        return (message, StopRecord::Memory { bytes: memory });
    }
    let mut message = format!("the process that solved it {}", ended(status));
    if signal(status) == Some(9) {
        message.push_str(": memory ran out on the machine, or somebody ended it");
    } else if !last.is_empty() {
        message.push_str(&format!(": {last}"));
    }
    (message, StopRecord::Process)
}

/// The way a process ended, in words.
fn ended(status: Option<ExitStatus>) -> String {
    match (signal(status), status.and_then(|s| s.code())) {
        (Some(signal), _) => format!("was ended by signal {signal}"),
        (None, Some(code)) => format!("ended with status {code}"),
        (None, None) => "did not answer".to_owned(),
    }
}

/// Signal that ended a process.
fn signal(status: Option<ExitStatus>) -> Option<i32> {
    #[cfg(unix)]
    {
        use std::os::unix::process::ExitStatusExt;
        status?.signal()
    }
    #[cfg(not(unix))]
    {
        let _ = status;
        None
    }
}

/// Turns at intact solutions: each is solved by one process and read from its file by the others.
pub(crate) struct IntactTurns {
    folder: PathBuf,
    /// Solutions that are being solved.
    under_way: Mutex<BTreeSet<String>>,
    one_ended: Condvar,
}

impl IntactTurns {
    /// Solutions in a folder, which need not be there yet.
    pub(crate) fn in_folder(folder: PathBuf) -> IntactTurns {
        IntactTurns {
            folder,
            under_way: Mutex::default(),
            one_ended: Condvar::new(),
        }
    }

    /// Is it this one's turn to solve (`true`), or is it there to be read? Waits while another solves it; `None` where the
    /// time was up first.
    fn turn(&self, key: &str, until: Option<Instant>) -> Option<bool> {
        let mut under_way = self
            .under_way
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        loop {
            if self.folder.join(format!("{key}.bin")).exists() {
                return Some(false);
            }
            if !under_way.contains(key) {
                under_way.insert(key.to_owned());
                return Some(true);
            }
            if until.is_some_and(|until| Instant::now() >= until) {
                return None;
            }
            let waited = self.one_ended.wait_timeout(under_way, TICK);
            under_way = waited.unwrap_or_else(PoisonError::into_inner).0;
        }
    }

    fn ended(&self, key: &str) {
        let mut under_way = self
            .under_way
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        under_way.remove(key);
        self.one_ended.notify_all();
    }
}
