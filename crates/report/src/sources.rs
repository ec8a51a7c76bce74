//! Inputs counted by where their values come from.

use crate::study_view::StudyView;
use bicolumn_store::InputRecord;

/// Grounds of a value that nobody gave, weakest first: a mark in its source, and words.
const GROUNDS: [(&str, &str); 4] = [
    ("from memory", "on values recalled from memory"),
    ("no measured value", "on no measured value"),
    ("no source", "on common practice without a source"),
    ("choice of this program", "on a choice of this program"),
];

fn ground(input: &InputRecord) -> Option<usize> {
    let nobodys = !matches!(&*input.origin, "given" | "factor" | "moved") && input.is_default;
    let source = input.source.as_str();
    GROUNDS
        .iter()
        .position(|(mark, _)| nobodys && source.contains(mark))
}

/// How many inputs the job gives, and how many rest on what, in a sentence; `None` where none is on record.
pub(crate) fn sources_sentence(view: &StudyView) -> Option<String> {
    let inputs = &view.record.inputs;
    if inputs.is_empty() {
        return None;
    }
    let counts: Vec<usize> = (0..GROUNDS.len())
        .map(|n| inputs.iter().filter(|i| ground(i) == Some(n)).count())
        .collect();
    let given = inputs.iter().filter(|i| !i.is_default).count();
    let parts = GROUNDS.iter().zip(&counts).filter(|(_, n)| **n > 0);
    let parts: Vec<String> = parts
        .map(|((_, words), n)| format!("{n} {words}"))
        .collect();
    let rest = inputs.len() - given - counts.iter().sum::<usize>();
    let weak = match parts.is_empty() {
        true => String::new(),
        false => format!("{}, ", parts.join(", ")),
    };
    Some(format!(
        "Of {} inputs {given} are given or varied by the job; the others rest: {weak}{rest} on a source or on other inputs.",
        inputs.len(),
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;

    #[test]
    fn every_input_is_counted_once() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let model = view.record.inputs[0].clone();
        let input = |is_default, source: &str| InputRecord {
            is_default,
            source: source.into(),
            ..model.clone()
        };
        view.record.inputs = vec![
            input(false, ""),
            input(true, "Somebody 1999, from memory"),
            input(true, "Somebody 2001, table 2"),
            input(true, "common practice, no source"),
            input(true, "common practice, no source"),
            input(true, "choice of this program"),
        ];
        assert_eq!(
            sources_sentence(&view).unwrap(),
            "Of 6 inputs 1 are given or varied by the job; the others rest: 1 on values recalled from memory, 2 on common \
             practice without a source, 1 on a choice of this program, 1 on a source or on other inputs."
        );
    }
}
