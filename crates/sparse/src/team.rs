//! Threads as an argument: work split in fixed chunks, sums taken in fixed order.

use rayon::prelude::*;
use std::ops::Range;

/// A piece of work whose type is erased: the scheduler is compiled once for all of them, not once for each of the
/// thousand kinds of job that widths and precisions make.
type Task<'a> = Box<dyn FnOnce() + Send + 'a>;

fn task<'a>(work: impl FnOnce() + Send + 'a) -> Task<'a> {
    Box::new(work)
}

/// Runs tasks on the threads of a pool; returns when all are done.
fn run_all(pool: &rayon::ThreadPool, tasks: Vec<Task<'_>>) {
    pool.install(|| {
        let tasks = tasks.into_par_iter().with_max_len(1);
        tasks.for_each(|task| task());
    });
}

/// A team of threads that share one solution.
///
/// One thread means the caller's own: no pool, no overhead.
#[derive(Debug)]
pub struct Team {
    pool: Option<rayon::ThreadPool>,
    threads: usize,
}

impl Team {
    /// A team of `threads` (0 counts as 1). Falls back to one thread if the system refuses more.
    pub fn new(threads: usize) -> Self {
        let pool = (threads > 1)
            .then(|| rayon::ThreadPoolBuilder::new().num_threads(threads).build())
            .and_then(Result::ok);
        let threads = if pool.is_some() { threads } else { 1 };
        Team { pool, threads }
    }

    /// Number of threads.
    pub fn threads(&self) -> usize {
        self.threads
    }

    /// Runs each job once, in any order.
    pub fn each<J: Send>(&self, jobs: Vec<J>, work: impl Fn(J) + Sync + Send) {
        self.each_if(true, jobs, work);
    }

    /// Runs each job once, on the caller's thread alone unless `share`.
    pub fn each_if<J: Send>(&self, share: bool, jobs: Vec<J>, work: impl Fn(J) + Sync + Send) {
        match &self.pool {
            Some(pool) if share => {
                let work = &work;
                let tasks = jobs.into_iter().map(|job| task(move || work(job)));
                run_all(pool, tasks.collect());
            }
            _ => jobs.into_iter().for_each(work),
        }
    }

    /// Runs each job once and gives the results in the order of the jobs.
    pub fn map<J: Send, R: Send>(
        &self,
        jobs: Vec<J>,
        work: impl Fn(J) -> R + Sync + Send,
    ) -> Vec<R> {
        self.map_if(true, jobs, work)
    }

    /// As [`Team::map`], on the caller's thread alone unless `share`.
    pub fn map_if<J: Send, R: Send>(
        &self,
        share: bool,
        jobs: Vec<J>,
        work: impl Fn(J) -> R + Sync + Send,
    ) -> Vec<R> {
        match &self.pool {
            Some(pool) if share => {
                let mut results: Vec<Option<R>> = jobs.iter().map(|_| None).collect();
                let work = &work;
                let places = jobs.into_iter().zip(&mut results);
                let tasks = places.map(|(job, result)| task(move || *result = Some(work(job))));
                run_all(pool, tasks.collect());
                results.into_iter().flatten().collect()
            }
            _ => jobs.into_iter().map(work).collect(),
        }
    }

    /// Runs work on one of the team's threads: jobs shared out from there start quicker.
    pub fn inside<R: Send>(&self, work: impl FnOnce() -> R + Send) -> R {
        match &self.pool {
            None => work(),
            Some(pool) => {
                let mut result = None;
                run_all(pool, vec![task(|| result = Some(work()))]);
                // A panic of the work has gone on to the caller by now.
                result.unwrap_or_else(|| unreachable!("the one task has run"))
            }
        }
    }

    /// Runs two jobs side by side and gives both results.
    pub fn join<A: Send, B: Send>(
        &self,
        a: impl FnOnce() -> A + Send,
        b: impl FnOnce() -> B + Send,
    ) -> (A, B) {
        match &self.pool {
            None => (a(), b()),
            Some(pool) => {
                let (mut first, mut second) = (None, None);
                let tasks = vec![task(|| first = Some(a())), task(|| second = Some(b()))];
                run_all(pool, tasks);
                match (first, second) {
                    (Some(a), Some(b)) => (a, b),
                    _ => unreachable!("both tasks have run"),
                }
            }
        }
    }

    /// Fills `count` results by index.
    pub fn collect<R: Send>(
        &self,
        count: usize,
        work: impl Fn(usize) -> R + Sync + Send,
    ) -> Vec<R> {
        self.map((0..count).collect(), work)
    }

    /// Rows dealt out to the threads, about as many entries to each; row i has the entries from `starts[i]` on.
    pub fn deal(&self, starts: &[usize]) -> Vec<Range<usize>> {
        let rows = starts.len() - 1;
        let mut first = 0;
        let part = |k| {
            let end = if k == self.threads {
                rows
            } else {
                let target = starts[rows] * k / self.threads;
                starts.partition_point(|&s| s < target).clamp(first, rows)
            };
            std::mem::replace(&mut first, end)..end
        };
        (1..=self.threads).map(part).collect()
    }

    /// Sum over chunks, added in order of the chunks whatever the number of threads.
    pub fn sum<const W: usize>(
        &self,
        chunks: usize,
        part: impl Fn(usize) -> [f64; W] + Sync + Send,
    ) -> [f64; W] {
        self.collect(chunks, part)
            .into_iter()
            .fold([0.0; W], |mut s, p| {
                for k in 0..W {
                    s[k] += p[k];
                }
                s
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_are_dealt_out_without_gaps() {
        let starts = [0, 5, 5, 20, 21, 22];
        assert_eq!(Team::new(1).deal(&starts), vec![0..5]);
        assert_eq!(Team::new(2).deal(&starts), vec![0..3, 3..5]);
        assert_eq!(Team::new(2).deal(&[0]), vec![0..0, 0..0]);
    }

    #[test]
    fn sums_have_the_same_bits_for_any_number_of_threads() {
        let part = |c: usize| [1.0 / (c as f64 + 0.3), (c as f64).sin()];
        let one = Team::new(1).sum(1000, part);
        let three = Team::new(3).sum(1000, part);
        assert_eq!(one.map(f64::to_bits), three.map(f64::to_bits));
    }
}
