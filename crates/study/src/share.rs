//! Share of a run in the points of its jobs: all, some by number, or one of several shards.

use std::collections::BTreeSet;
use std::fmt;
use std::str::FromStr;

/// Points that a run takes on; the others are left to other runs.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub enum Share {
    /// All of them.
    #[default]
    All,
    /// These, by number counted from 1.
    Points(BTreeSet<usize>),
    /// Points that failed before: they are tried again.
    Failed,
    /// One of several shards.
    Shard(Shard),
}

/// One of several shards of a design.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Shard {
    /// Number, counted from 1.
    number: usize,
    /// How many there are.
    count: usize,
}

impl Shard {
    /// Shard `number` of `count`; none for 0 or a number beyond the count.
    pub fn new(number: usize, count: usize) -> Option<Shard> {
        (1..=count)
            .contains(&number)
            .then_some(Shard { number, count })
    }

    /// Number of the shard, counted from 1.
    pub fn number(self) -> usize {
        self.number
    }

    /// How many there are.
    pub fn count(self) -> usize {
        self.count
    }

    /// Points of this shard, of points with these costs: the longest first, each to the shard with the least
    /// work so far (Graham 1969, SIAM J Appl Math 17:416, rule LPT; from memory). All shards together take each point
    /// once.
    pub fn of(self, seconds: &[f64]) -> BTreeSet<usize> {
        let mut order: Vec<usize> = (0..seconds.len()).collect();
        order.sort_by(|a, b| seconds[*b].total_cmp(&seconds[*a]));
        let mut load: Vec<f64> = vec![0.0; self.count];
        let mut own = BTreeSet::new();
        for point in order {
            let least = (0..self.count).min_by(|a, b| load[*a].total_cmp(&load[*b]));
            let least = least.unwrap_or_default();
            load[least] += seconds[point];
            if least + 1 == self.number {
                own.insert(point);
            }
        }
        own
    }
}

impl fmt::Display for Shard {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}/{}", self.number, self.count)
    }
}

impl FromStr for Shard {
    type Err = String;

    fn from_str(text: &str) -> Result<Shard, String> {
        let parts = text.split_once('/');
        let shard = parts.and_then(|(k, n)| Shard::new(k.parse().ok()?, n.parse().ok()?));
        shard.ok_or_else(|| "accepted: K/N with K from 1 to N, such as 2/8".to_owned())
    }
}

/// Numbers of points from a list of numbers and ranges, such as `1,3-5`.
///
/// # Errors
/// What is accepted.
pub fn point_numbers(text: &str) -> Result<BTreeSet<usize>, String> {
    let accepted = || "accepted: numbers from 1 and ranges, such as 1,3-5".to_owned();
    let mut found = BTreeSet::new();
    for item in text.split(',') {
        let (first, last) = item.split_once('-').unwrap_or((item, item));
        let number = |t: &str| t.trim().trim_start_matches('p').parse::<usize>().ok();
        match (number(first), number(last)) {
            (Some(a), Some(b)) if 1 <= a && a <= b && b <= MOST_POINTS => found.extend(a..=b),
            _ => return Err(accepted()),
        }
    }
    Ok(found)
}

/// Largest number of a point that a list may name.
const MOST_POINTS: usize = 1_000_000;

/// A list of numbers as [`point_numbers`] reads it.
pub fn numbers_in_words(numbers: &BTreeSet<usize>) -> String {
    let mut ranges: Vec<(usize, usize)> = vec![];
    for &n in numbers {
        match ranges.last_mut() {
            Some((_, last)) if *last + 1 == n => *last = n,
            _ => ranges.push((n, n)),
        }
    }
    let one = |(a, b): (usize, usize)| match a == b {
        true => a.to_string(),
        false => format!("{a}-{b}"),
    };
    let words: Vec<String> = ranges.into_iter().map(one).collect();
    words.join(",")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shards_share_all_points_evenly_and_none_twice() {
        let seconds: Vec<f64> = (0..100).map(|k| 10.0 + f64::from(k * 37 % 29)).collect();
        for count in [1, 3, 7, 8] {
            let shards: Vec<BTreeSet<usize>> = (1..=count)
                .map(|k| Shard::new(k, count).unwrap().of(&seconds))
                .collect();
            let all: Vec<usize> = shards.iter().flatten().copied().collect();
            assert_eq!(all.len(), 100);
            assert_eq!(all.into_iter().collect::<BTreeSet<_>>().len(), 100);
            let work = shards.iter().map(|s| s.iter().map(|k| seconds[*k]).sum());
            let work: Vec<f64> = work.collect();
            let most = work.iter().fold(0.0f64, |m, w| m.max(*w));
            let mean = work.iter().sum::<f64>() / count as f64;
            assert!(most < 1.1 * mean, "{count}: {work:?}");
        }
        assert!(Shard::new(1, 4).unwrap().of(&[]).is_empty());
    }

    #[test]
    fn shards_and_lists_are_read_or_refused() {
        assert_eq!("2/8".parse::<Shard>().unwrap(), Shard::new(2, 8).unwrap());
        for bad in ["0/3", "4/3", "3", "1/0", "a/b", "1/2/3"] {
            assert!(bad.parse::<Shard>().is_err(), "{bad}");
        }
        let numbers = point_numbers("1,3-5,p007").unwrap();
        assert_eq!(numbers, [1, 3, 4, 5, 7].into());
        assert_eq!(numbers_in_words(&numbers), "1,3-5,7");
        for bad in ["", "0", "5-3", "x", "1-", "1-99999999999"] {
            assert!(point_numbers(bad).is_err(), "{bad}");
        }
    }
}
