//! Threads as an argument: work split in fixed chunks, sums taken in fixed order.

use rayon::prelude::*;

/// So many threads to share one solve.
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

    /// How many threads there are.
    pub fn threads(&self) -> usize {
        self.threads
    }

    /// Runs each job once, in any order.
    pub fn each<J: Send>(&self, jobs: Vec<J>, work: impl Fn(J) + Sync + Send) {
        match &self.pool {
            None => jobs.into_iter().for_each(work),
            Some(pool) => pool.install(|| jobs.into_par_iter().with_max_len(1).for_each(work)),
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
            Some(pool) => pool.install(|| rayon::join(a, b)),
        }
    }

    /// Fills `count` results by index.
    pub fn collect<R: Send>(
        &self,
        count: usize,
        work: impl Fn(usize) -> R + Sync + Send,
    ) -> Vec<R> {
        match &self.pool {
            None => (0..count).map(work).collect(),
            Some(pool) => pool.install(|| {
                (0..count)
                    .into_par_iter()
                    .with_max_len(1)
                    .map(work)
                    .collect()
            }),
        }
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
    fn sums_have_the_same_bits_for_any_number_of_threads() {
        let part = |c: usize| [1.0 / (c as f64 + 0.3), (c as f64).sin()];
        let one = Team::new(1).sum(1000, part);
        let three = Team::new(3).sum(1000, part);
        assert_eq!(one.map(f64::to_bits), three.map(f64::to_bits));
    }
}
