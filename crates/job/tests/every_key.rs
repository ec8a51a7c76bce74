//! Every key of the list: values that no key takes are refused at their place, printed bounds are accepted.

use bicolumn_job::{Job, JobError, JobErrors, KeyRow, Value, keys};
use std::collections::BTreeMap;
use std::path::Path;

/// Paths of all keys, those of tables under names of the job with a name.
fn every_key() -> impl Iterator<Item = (String, &'static KeyRow)> {
    let rows = keys().rows().map(|(_, row)| row);
    rows.map(|row| (row.path.replace("NAME", "x"), row))
}

/// Faults of values by key, of a job that gives a line to each key: its lines, then the first fault of each.
fn faults(values: &[(String, String)]) -> BTreeMap<String, JobError> {
    let lines = values
        .iter()
        .map(|(key, value)| format!("{key} = {value}\n"));
    let text: String = lines.collect();
    let errors = Job::parse(Path::new("x.toml"), &text).err();
    let JobErrors(all) = errors.unwrap_or(JobErrors(vec![]));
    let mut by_key = BTreeMap::new();
    for e in all
        .into_iter()
        .filter(|e| e.to_string().contains(": must "))
    {
        by_key.entry(e.key.clone()).or_insert(e);
    }
    by_key
}

#[test]
fn no_key_takes_a_table_a_list_a_flag_an_empty_text_or_a_number_that_is_none() {
    let huge = format!("\"{}\"", "h".repeat(11_000));
    let mut seen = 0;
    for value in [
        "{}",
        "{ a = 1 }",
        "[]",
        "[{}]",
        "true",
        "\"\"",
        "\"\\u001b[31m\"",
        "1e999",
        "-inf",
        "nan",
        "1979-05-27",
        "99999999999999999999",
        huge.as_str(),
    ] {
        let is_taken = |row: &KeyRow| match value {
            "true" => row.accepts(&Value::Flag(true)),
            "\"\"" => row.accepts(&Value::Text(String::new())),
            _ => false,
        };
        let (taken, refused): (Vec<_>, Vec<_>) = every_key().partition(|(_, row)| is_taken(row));
        let lines: Vec<(String, String)> = refused
            .iter()
            .map(|(path, _)| (path.clone(), value.to_string()))
            .collect();
        let faults = faults(&lines);
        for (n, (path, _)) in refused.iter().enumerate() {
            let Some(fault) = faults.get(path) else {
                panic!("{path} = {value} is taken");
            };
            let told = fault.to_string();
            let start = format!("x.toml:{}: {path} = ", n + 1);
            assert!(told.starts_with(&start), "{told}");
            assert!(!fault.value.is_empty() && told.len() < 2_000, "{told}");
            seen += 1;
        }
        assert!(taken.len() < 25, "{value} is taken by {taken:?}");
    }
    assert!(seen > 2_000, "{seen}");
}

/// Numbers of a text, as they stand in it.
fn numbers(text: &str) -> Vec<&str> {
    let of_number = |c: char| c.is_ascii_digit() || matches!(c, '.' | '-' | '+' | 'e');
    let words = text.split(|c: char| !of_number(c));
    words.filter(|w| w.parse::<f64>().is_ok()).collect()
}

/// Least and greatest value as the message prints them, and whether they are whole; `None` of a key without a range.
fn printed_bounds(accepted: &str) -> Option<(&str, &str, bool)> {
    let (before, range) = accepted.split_once("between ")?;
    match numbers(range)[..] {
        [least, most, ..] if !before.contains("list") => {
            Some((least, most, before.contains("whole")))
        }
        _ => None,
    }
}

#[test]
fn printed_bounds_are_accepted_and_the_next_number_beyond_is_not() {
    let beyond = |bound: &str, is_whole: bool, up: bool| match is_whole {
        true => (bound.parse::<i64>().unwrap() + if up { 1 } else { -1 }).to_string(),
        false => {
            let x: f64 = bound.parse().unwrap();
            format!("{:?}", if up { x.next_up() } else { x.next_down() })
        }
    };
    let mut lists: [Vec<(String, String)>; 5] = Default::default();
    for (path, row) in every_key() {
        let accepted = row.accepted();
        let Some((least, most, is_whole)) = printed_bounds(&accepted) else {
            continue;
        };
        let [low, high, zero, below, above] = &mut lists;
        low.push((path.clone(), least.to_string()));
        high.push((path.clone(), most.to_string()));
        below.push((path.clone(), beyond(least, is_whole, false)));
        above.push((path.clone(), beyond(most, is_whole, true)));
        if accepted.contains("be 0 (") {
            zero.push((path, "0".to_string()));
        }
    }
    let [low, high, zero, below, above] = &lists;
    assert!(low.len() > 150 && zero.len() > 3, "{}", low.len());
    for list in [low, high, zero] {
        let faults = faults(list);
        assert!(faults.is_empty(), "{faults:?}");
    }
    for list in [below, above] {
        let faults = faults(list);
        for (path, value) in list {
            assert!(faults.contains_key(path), "{path} = {value} is taken");
        }
    }
}
