//! Load cases, those that are each other's reverse taken as one.

use crate::labels::case_words;
use crate::study_view::{StudyView, response};
use bicolumn_response::ResponseName;
use bicolumn_store::{CaseRecord, PointRecord};

/// Largest relative difference between the sizes of two values that are each other's reverse.
const SAME: f64 = 1e-9;

/// A load case, with the one that is its reverse.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct DistinctCase {
    /// The first of the two in the study's order.
    pub(crate) name: String,
    /// The other.
    pub(crate) reverse: Option<String>,
}

impl DistinctCase {
    /// In words: "varus or valgus".
    pub(crate) fn words(&self) -> String {
        match &self.reverse {
            Some(reverse) => format!("{} or {}", case_words(&self.name), case_words(reverse)),
            None => case_words(&self.name),
        }
    }
}

impl StudyView {
    /// Load cases for some responses: two of opposite resultants that give each the same size at every point, as a
    /// linear model does, count once.
    pub(crate) fn distinct_cases(&self, responses: &[&ResponseName]) -> Vec<DistinctCase> {
        let mut distinct: Vec<DistinctCase> = Vec::new();
        for name in self.cases() {
            let of = distinct
                .iter_mut()
                .find(|d| d.reverse.is_none() && self.are_reverse(&d.name, &name, responses));
            match of {
                Some(first) => first.reverse = Some(name),
                None => distinct.push(DistinctCase {
                    name,
                    reverse: None,
                }),
            }
        }
        distinct
    }

    fn are_reverse(&self, first: &str, second: &str, responses: &[&ResponseName]) -> bool {
        self.done().all(|p| {
            let find = |name: &str| p.cases.iter().find(|c| c.name == name);
            let opposite =
                matches!((find(first), find(second)), (Some(a), Some(b)) if is_reverse(a, b));
            let mut names = responses.iter();
            opposite && names.all(|name| same_size(p, first, second, name))
        })
    }
}

/// Equal and opposite resultants, without contact.
fn is_reverse(a: &CaseRecord, b: &CaseRecord) -> bool {
    let opposite = |x: [f64; 3], y: [f64; 3], scale: f64| {
        x.iter().zip(y).all(|(x, y)| (x + y).abs() <= 1e-9 * scale)
    };
    let size = |x: [f64; 3]| x.iter().map(|v| v.abs()).fold(0.0, f64::max);
    let (force, moment) = (size(a.force_n), size(a.moment_nmm));
    // A couple's force is rounding: it is measured by the moment over a lever of a millimetre.
    let is_linear = a.contact.is_none() && b.contact.is_none();
    is_linear
        && force.max(moment) > 0.0
        && opposite(a.force_n, b.force_n, force.max(moment))
        && opposite(a.moment_nmm, b.moment_nmm, moment)
}

fn same_size(point: &PointRecord, first: &str, second: &str, name: &ResponseName) -> bool {
    let value = |case: &str| response(point, case, name).and_then(|r| r.value);
    match (value(first), value(second)) {
        (Some(a), Some(b)) => (a.abs() - b.abs()).abs() <= SAME * a.abs().max(b.abs()),
        (a, b) => a.is_none() && b.is_none(),
    }
}

/// Pairs of load cases that count once, in words; nothing where there are none.
pub(crate) fn reverse_sentence(view: &StudyView) -> Option<String> {
    let distinct = view.distinct_cases(&[view.lead()?]);
    let pairs = distinct.iter().filter(|d| d.reverse.is_some());
    let pairs: Vec<String> = pairs.map(DistinctCase::words).collect();
    (!pairs.is_empty()).then(|| {
        format!(
            "Load cases that are each other's reverse ({}) count once: the model is linear, so they give the same \
             stress, and motion of opposite sign.",
            pairs.join("; ")
        )
    })
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::synthetic::{HEADLINE, synthetic_study};

    /// The invented study with its second and third load case made each other's reverse.
    pub(crate) fn with_a_reversed_pair() -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        for point in &mut view.points {
            let Some(first) = point.cases.get(1).cloned() else {
                continue;
            };
            let second = &mut point.cases[2];
            second.force_n = first.force_n.map(|v| -v);
            second.moment_nmm = first.moment_nmm.map(|v| -v);
            second.responses.clone_from(&first.responses);
        }
        view
    }

    #[test]
    fn reversed_loads_of_equal_sizes_count_once() {
        let view = with_a_reversed_pair();
        let names: Vec<String> = view
            .distinct_cases(&[&HEADLINE])
            .iter()
            .map(DistinctCase::words)
            .collect();
        assert_eq!(
            names[..2],
            ["axial", "posterior bending or anterior bending"]
        );
        assert_eq!(names.len() + 1, view.cases().len());
        let text = reverse_sentence(&view).unwrap();
        assert!(
            text.contains("(posterior bending or anterior bending)"),
            "{text}"
        );
    }

    #[test]
    fn reversed_loads_whose_values_differ_count_twice() {
        let mut view = with_a_reversed_pair();
        let last = view.points[0].cases[2].responses.iter_mut();
        for r in last {
            r.value = r.value.map(|v| 1.01 * v);
        }
        let all = view.cases().len();
        assert_eq!(view.distinct_cases(&[&HEADLINE]).len(), all);
        assert_eq!(reverse_sentence(&view), None);
    }
}
