//! Other things that change with the headline's factor, as built: end levels, screws, working length.

use crate::labels::{capital, factor_words};
use crate::study_view::{Group, StudyView};
use bicolumn_store::{AS_BUILT, AsBuilt, PointRecord};

/// Least change that is told, mm.
const LEAST_MM: f64 = 0.05;

/// Value of a quantity of a construct as built.
struct AsBuiltValue {
    words: &'static str,
    unit: &'static str,
    value: f64,
}

/// Least and largest value of a quantity over the points of a block.
struct Span {
    words: &'static str,
    unit: &'static str,
    ends: [f64; 2],
}

impl Span {
    fn size(&self) -> f64 {
        self.ends[1] - self.ends[0]
    }
}

/// Sentences "Moved with stagger: …", one a construct; none where nothing else moves.
pub(crate) fn moved_sentences(view: &StudyView) -> Vec<String> {
    let Some(over) = view.over() else {
        return Vec::new();
    };
    let mut sentences = Vec::new();
    for group in view.groups() {
        let moved: Vec<String> = widest_spans(view, &group)
            .iter()
            .filter(|span| span.size() > LEAST_MM)
            .map(
                |Span {
                     words,
                     unit,
                     ends: [low, high],
                 }| match *unit {
                    "" => format!("{words} {low:.0} to {high:.0}"),
                    unit => format!("{words} {low:.1} to {high:.1}\u{a0}{unit}"),
                },
            )
            .collect();
        if !moved.is_empty() {
            let head = match view.groups().len() {
                1 => format!("Moved with {}", factor_words(over)),
                _ => format!(
                    "{}, moved with {}",
                    capital(&group.label),
                    factor_words(over)
                ),
            };
            sentences.push(format!("{head}: {}.", moved.join(", ")));
        }
    }
    sentences
}

/// Each quantity's widest span over points that differ in the headline's factor alone.
fn widest_spans(view: &StudyView, group: &Group<'_>) -> Vec<Span> {
    let mut widest: Vec<Span> = Vec::new();
    let mut seen = Vec::new();
    for point in &group.points {
        let block = view.block_of(point);
        if seen.contains(&block) {
            continue;
        }
        let of_block = group.points.iter().filter(|p| view.block_of(p) == block);
        let mut spans: Vec<Span> = Vec::new();
        for AsBuiltValue { words, unit, value } in of_block.flat_map(|p| as_built(p)) {
            match spans.iter_mut().find(|s| s.words == words) {
                Some(s) => s.ends = [s.ends[0].min(value), s.ends[1].max(value)],
                None => spans.push(Span {
                    words,
                    unit,
                    ends: [value; 2],
                }),
            }
        }
        for span in spans {
            match widest.iter_mut().find(|w| w.words == span.words) {
                Some(w) if w.size() >= span.size() => {}
                Some(w) => *w = span,
                None => widest.push(span),
            }
        }
        seen.push(block);
    }
    widest
}

/// Quantities of a point as built.
fn as_built(point: &PointRecord) -> Vec<AsBuiltValue> {
    let all = AS_BUILT.iter();
    let value = |q: &AsBuilt| {
        Some(AsBuiltValue {
            words: q.words,
            unit: q.unit,
            value: q.of_point(point)?,
        })
    };
    all.filter_map(value).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;

    #[test]
    fn what_moves_with_the_factor_is_listed_and_what_stays_is_not() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        // The medial end moves from 85 to 105 mm in the invented study, its screws with it.
        let text = moved_sentences(&view).join(" ");
        assert!(
            text.starts_with("Parallel, moved with stagger: medial plate's end 85.0 to 105.0"),
            "{text}"
        );
        assert!(
            !text.contains("shortest shaft screw") && !text.contains("one cortex"),
            "{text}"
        );
        for point in &mut view.points {
            let stagger = point.factors["plates.stagger_mm"].as_number().unwrap();
            for s in &mut point.screws {
                s.length_mm = 20.0 + stagger.abs() / 4.0;
                s.cortices = Some(if stagger == 0.0 { 1 } else { 2 });
            }
            for p in &mut point.plates {
                p.end_level_mm = 95.0;
            }
        }
        let text = moved_sentences(&view).join(" ");
        assert!(!text.contains("plate's end"), "{text}");
        assert!(
            text.contains("shortest shaft screw 20.0 to 25.0\u{a0}mm"),
            "{text}"
        );
        let all = view.points[0].screws.len();
        assert!(
            text.contains(&format!("hold in one cortex 0 to {all}")),
            "{text}"
        );
    }
}
