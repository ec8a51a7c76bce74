//! Other things that change with the headline's factor, as built: end levels, screws, working length.

use crate::labels::{capital, factor_words};
use crate::study_view::{Group, StudyView};
use bicolumn_store::{PlateMark, PointRecord, ScrewMark};

/// Least change that is told, mm.
const LEAST_MM: f64 = 0.05;

/// A quantity of a construct as built.
struct AsBuilt {
    words: String,
    unit: &'static str,
    value: f64,
}

/// Least and largest value of a quantity over the points of a block.
struct Span {
    words: String,
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
        for AsBuilt { words, unit, value } in of_block.flat_map(|p| as_built(p)) {
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

fn as_built(point: &PointRecord) -> Vec<AsBuilt> {
    let mut all = Vec::new();
    let mut add = |words: String, unit, value: Option<f64>| {
        all.extend(value.map(|value| AsBuilt { words, unit, value }));
    };
    for plate in &point.plates {
        let site = &plate.site;
        add(
            format!("{site} plate's end"),
            "mm",
            Some(plate.end_level_mm),
        );
        let lowest = innermost_shaft_screw(point, plate);
        add(format!("{site} innermost shaft screw"), "mm", lowest);
        add(
            format!("{site} working length"),
            "mm",
            working_length_mm(point, plate),
        );
    }
    let shaft = || point.screws.iter().filter(|s| s.row == "shaft");
    let shortest = shaft().map(|s| s.length_mm).reduce(f64::min);
    add("shortest shaft screw".into(), "mm", shortest);
    let one_cortex = crate::credit::one_cortex_screws(point).map(|n| n as f64);
    add(
        "shaft screws that hold in one cortex".into(),
        "",
        one_cortex,
    );
    all
}

fn of_row<'a>(
    point: &'a PointRecord,
    plate: &'a PlateMark,
    row: &'a str,
) -> impl Iterator<Item = &'a ScrewMark> {
    let screws = point.screws.iter();
    screws.filter(move |s| s.plate == plate.site && s.row == row)
}

/// Level of a plate's lowest shaft screw where it enters the bone, mm.
fn innermost_shaft_screw(point: &PointRecord, plate: &PlateMark) -> Option<f64> {
    let levels = of_row(point, plate, "shaft").map(|s| s.entry_level_mm);
    levels.reduce(f64::min)
}

/// Working length: levels between a plate's lowest shaft screw and its uppermost distal screw, mm.
fn working_length_mm(point: &PointRecord, plate: &PlateMark) -> Option<f64> {
    let distal = of_row(point, plate, "distal").map(|s| s.entry_level_mm);
    Some(innermost_shaft_screw(point, plate)? - distal.reduce(f64::max)?)
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
