//! Damaged inputs for readers: seeds changed at random places, the same for the same number, and a run over many of them.
//!
//! A reader must take or refuse whatever it is given: no panic, no endless loop. The sequence of inputs depends on the
//! number of the input alone, so that one that fails can be made again.

use serde_json::Value;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

/// Pseudo-random numbers by SplitMix64 (Steele, Lea, Flood 2014, OOPSLA, figure 17).
#[derive(Debug, Clone)]
pub struct Numbers(u64);

impl Numbers {
    /// The sequence of a seed.
    pub fn of(seed: u64) -> Numbers {
        Numbers(seed)
    }

    /// The next number.
    pub fn draw(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// A number below `n`, which is not zero.
    pub fn below(&mut self, n: usize) -> usize {
        (self.draw() % n.max(1) as u64) as usize
    }

    /// One of some things.
    pub fn one_of<'a, T>(&mut self, some: &'a [T]) -> Option<&'a T> {
        some.get(self.below(some.len()))
    }
}

/// Texts that upset readers of numbers and of structure.
const TOKENS: &[&str] = &[
    "0",
    "-0.0",
    "1",
    "-1",
    "1e999",
    "-1e308",
    "nan",
    "inf",
    "1e-300",
    "4294967295",
    "4294967296",
    "9223372036854775807",
    "18446744073709551616",
    "99999999999999999999999999",
    "null",
    "true",
    "{}",
    "[]",
    "\"\"",
    "{",
    "}",
    "[",
    "]",
    "<",
    ">",
    "\"",
    "'",
    "\n",
    "=",
    ".",
    ",",
    ";",
    "#",
    "\u{1b}[2J",
    "\u{202e}",
    "\u{feff}",
    "é",
    "../..",
    "/dev/null",
    "a.a.a.a",
];

/// Values that upset readers of binary numbers, little-endian.
const WORDS: &[u64] = &[
    0,
    1,
    u64::MAX,
    0x7fff_ffff,
    0x8000_0000,
    0xffff_ffff,
    0x7f80_0000, // infinity of single precision
    0x7fc0_0000, // not a number
    0x7f7f_ffff, // its largest
    0x7ff0_0000_0000_0000,
    0x7ff8_0000_0000_0000,
    1 << 40,
];

/// The `number`th damaged input made of some seeds. `words` are further texts to be put in, such as the names of keys.
pub fn mutated(seeds: &[Vec<u8>], words: &[String], number: u64) -> Vec<u8> {
    let mut numbers = Numbers::of(number);
    let mut bytes = numbers.one_of(seeds).cloned().unwrap_or_default();
    for _ in 0..=numbers.below(6) {
        change(&mut bytes, seeds, words, &mut numbers);
    }
    bytes
}

fn change(bytes: &mut Vec<u8>, seeds: &[Vec<u8>], words: &[String], numbers: &mut Numbers) {
    let length = bytes.len();
    let at = numbers.below(length + 1);
    let reach = 1 << numbers.below(9);
    let end = (at + numbers.below(reach) + 1).min(length);
    match numbers.below(11) {
        0 if at < length => bytes[at] ^= 1 << numbers.below(8),
        1 if at < length => bytes[at] = numbers.draw() as u8,
        2 if at < end => drop(bytes.drain(at..end)),
        3 if at < end => {
            let part = bytes[at..end].to_vec();
            let to = numbers.below(length + 1);
            bytes.splice(to..to, part);
        }
        4 => bytes.truncate(at),
        5 => {
            if let Some(other) = numbers.one_of(seeds) {
                let from = numbers.below(other.len() + 1);
                let to = (from + numbers.below(400)).min(other.len());
                bytes.splice(at..at, other[from..to].iter().copied());
            }
        }
        6 => {
            if let Some(word) = numbers.one_of(WORDS) {
                let width = [4, 8][numbers.below(2)];
                let end = (at + width).min(length);
                bytes.splice(at..end, word.to_le_bytes().into_iter().take(width));
            }
        }
        7 => swap_lines(bytes, numbers),
        8 => replace_number(bytes, at, numbers),
        9 => {
            if let Some(word) = numbers.one_of(words) {
                bytes.splice(at..at, word.bytes());
            }
        }
        _ => {
            if let Some(token) = numbers.one_of(TOKENS) {
                bytes.splice(at..at, token.bytes());
            }
        }
    }
}

/// The `number`th damaged value made of a JSON value: another leaf, a list or an object shorter, longer or empty.
pub fn mutated_json(seed: &Value, number: u64) -> Value {
    let mut numbers = Numbers::of(number);
    let mut value = seed.clone();
    for _ in 0..=numbers.below(3) {
        let mut left = numbers.below(nodes(&value));
        change_node(&mut value, &mut left, &mut numbers);
    }
    value
}

/// Values in a value, itself among them.
fn nodes(value: &Value) -> usize {
    1 + match value {
        Value::Array(items) => items.iter().map(nodes).sum(),
        Value::Object(map) => map.values().map(nodes).sum(),
        _ => 0usize,
    }
}

/// Changes the value that `left` values lie before; `true`: it lay in this one.
fn change_node(value: &mut Value, left: &mut usize, numbers: &mut Numbers) -> bool {
    if *left == 0 {
        change_value(value, numbers);
        return true;
    }
    *left -= 1;
    match value {
        Value::Array(items) => items.iter_mut().any(|v| change_node(v, left, numbers)),
        Value::Object(map) => map.values_mut().any(|v| change_node(v, left, numbers)),
        _ => false,
    }
}

fn change_value(value: &mut Value, numbers: &mut Numbers) {
    let n = numbers.below(6);
    match value {
        Value::Array(items) if n == 0 => items.clear(),
        Value::Array(items) if n < 3 => drop(items.pop()),
        Value::Array(items) => items.extend(items.first().cloned()),
        Value::Object(map) if n < 3 => {
            let key = map.keys().nth(numbers.below(map.len())).cloned();
            key.and_then(|key| map.remove(&key));
        }
        Value::Object(map) => drop(map.insert("other".into(), Value::Null)),
        Value::Number(_) => {
            const ODD: [f64; 10] = [0.0, -0.0, 1.0, -1.0, 1e308, -1e308, 5e-324, 0.5, 1e15, 3.0];
            *value = ODD[numbers.below(ODD.len())].into();
            if n == 0 {
                *value = (numbers.draw() >> numbers.below(64)).into();
            }
        }
        Value::String(text) if n < 4 => {
            let token = numbers.one_of(TOKENS).copied().unwrap_or_default();
            let at = numbers.below(text.chars().count() + 1);
            let place = text.char_indices().nth(at).map_or(text.len(), |(i, _)| i);
            text.insert_str(place, token);
        }
        _ => {
            let odd = [
                Value::Null,
                true.into(),
                "".into(),
                "<b>&\u{7}".into(),
                Value::Array(vec![]),
            ];
            *value = odd[numbers.below(odd.len())].clone();
        }
    }
}

fn swap_lines(bytes: &mut Vec<u8>, numbers: &mut Numbers) {
    let mut lines: Vec<Vec<u8>> = bytes.split(|b| *b == b'\n').map(<[u8]>::to_vec).collect();
    let (a, b) = (numbers.below(lines.len()), numbers.below(lines.len()));
    lines.swap(a, b);
    *bytes = lines.join(&b'\n');
}

/// Puts another text in the place of the first number after a place.
fn replace_number(bytes: &mut Vec<u8>, at: usize, numbers: &mut Numbers) {
    let is_of_number = |b: &u8| b.is_ascii_digit() || matches!(b, b'.' | b'-' | b'e');
    let Some(start) = bytes.iter().skip(at).position(|b| b.is_ascii_digit()) else {
        return;
    };
    let start = at + start;
    let length = bytes[start..]
        .iter()
        .take_while(|b| is_of_number(b))
        .count();
    if let Some(token) = numbers.one_of(TOKENS) {
        bytes.splice(start..start + length, token.bytes());
    }
}

/// End of a run over damaged inputs.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tally {
    /// Inputs that the reader took.
    pub taken: usize,
    /// Inputs that it refused.
    pub refused: usize,
    /// Numbers of the inputs that it panicked at, or that took longer than allowed.
    pub failed: Vec<u64>,
    /// Longest time of one input.
    pub longest: Duration,
}

/// Longest time that a reader may take for one input of the size of a seed, on a machine under load.
pub const MOST_TIME: Duration = Duration::from_secs(20);

/// Reads inputs by number; the reader tells whether it took the input.
pub fn survey(count: u64, input: impl Fn(u64) -> Vec<u8>, read: impl Fn(&[u8]) -> bool) -> Tally {
    let mut tally = Tally::default();
    for number in 0..count {
        let bytes = input(number);
        let begin = Instant::now();
        let outcome = catch_unwind(AssertUnwindSafe(|| read(&bytes)));
        let took = begin.elapsed();
        tally.longest = tally.longest.max(took);
        match outcome {
            Ok(true) => tally.taken += 1,
            Ok(false) => tally.refused += 1,
            Err(_) => tally.failed.push(number),
        }
        if took > MOST_TIME {
            tally.failed.push(number);
        }
    }
    tally
}

/// Inputs of a survey: `usual`, or as many as the environment variable `BICOLUMN_FUZZ` asks for.
pub fn inputs(usual: u64) -> u64 {
    let asked = std::env::var("BICOLUMN_FUZZ").ok();
    asked.and_then(|n| n.parse().ok()).unwrap_or(usual)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_input_is_the_same_for_its_number_and_differs_from_its_seed() {
        let seeds = [b"a = 1\nb = 2\n".to_vec()];
        let words = ["key".to_string()];
        let all: Vec<Vec<u8>> = (0..200).map(|n| mutated(&seeds, &words, n)).collect();
        assert_eq!(all[7], mutated(&seeds, &words, 7));
        let changed = all.iter().filter(|b| **b != seeds[0]).count();
        assert!(changed > 180, "{changed}");
        let tally = survey(
            200,
            |n| mutated(&seeds, &words, n),
            |bytes| {
                assert!(!bytes.starts_with(b"b"), "a reader that panics");
                !bytes.is_empty()
            },
        );
        let panicked = all.iter().filter(|b| b.starts_with(b"b")).count();
        assert_eq!(tally.failed.len(), panicked);
        assert_eq!(tally.taken + tally.refused + panicked, 200);
    }
}
