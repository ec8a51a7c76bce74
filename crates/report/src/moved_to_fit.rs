//! Quantities that were moved so that constructs could be built: list, factors that do not hold, and keys that differ
//! between points without being factors.

use crate::labels::shown_unit;
use crate::study_view::StudyView;
use crate::tables::{Row, Table, cells};
use crate::words::listed;
use bicolumn_store::PointRecord;

/// Most rows of the list; results.csv holds all.
const MOST: usize = 60;

/// A row for each point and key moved; `None` where nothing was.
pub(crate) fn moved_table(view: &StudyView) -> Option<Table> {
    let moved: Vec<Row> = view
        .done()
        .flat_map(|p| p.moved.iter().map(move |m| (p, m)))
        .map(|(point, m)| {
            cells(vec![
                point.id.clone(),
                m.key.clone(),
                match m.is_derived {
                    true => "not stated".into(),
                    false => "stated".into(),
                },
                match m.is_derived {
                    true => String::new(),
                    false => m.factors.join(", "),
                },
                shown(m.stated),
                shown(m.built),
                shown_unit(&m.unit),
            ])
        })
        .collect();
    if moved.is_empty() {
        return None;
    }
    let left_out = match moved.len() > MOST {
        true => format!(" Shown: the first {MOST} of {}.", moved.len()),
        false => String::new(),
    };
    let mut rows = moved;
    rows.truncate(MOST);
    Some(Table {
        caption: format!(
            "Moved to fit. A value that was not stated is the default's, and what was built follows from the rest; one \
             that was stated was moved by construct.fit. Factor: the factor that stated it, at whose level the point is \
             not. The file results.csv holds both values of every point.{left_out}"
        ),
        heads: ["point", "key", "origin", "factor", "value", "built", "unit"]
            .map(String::from)
            .to_vec(),
        rows,
        words: 4,
    })
}

/// Sentences on points whose factors were moved, and on keys that differ between the others although they are no
/// factors.
pub(crate) fn moved_to_fit_sentences(view: &StudyView) -> Vec<String> {
    let mut sentences = Vec::new();
    let off: Vec<&PointRecord> = view
        .done()
        .filter(|p| !p.moved_factors().is_empty())
        .collect();
    if !off.is_empty() {
        let told: Vec<String> = off
            .iter()
            .map(|p| format!("{} ({})", p.id, p.moved_factors().join(", ")))
            .collect();
        sentences.push(format!(
            "Factors were moved so that the construct could be built at {}: such a point is not at its level and counts in no comparison.",
            listed(&told)
        ));
    }
    let differing: Vec<String> = confounded(view)
        .into_iter()
        .map(|(key, unit, [low, high])| {
            let unit = shown_unit(&unit);
            let space = if unit.is_empty() { "" } else { "\u{a0}" };
            format!("{key} {} to {}{space}{unit}", shown(low), shown(high))
        })
        .collect();
    if !differing.is_empty() {
        sentences.push(format!(
            "Built differently at different points although no factor: {}. A difference between such points may come from it, not from the factors (confounded); state a value that all of them can be built with.",
            differing.join(", ")
        ));
    }
    sentences
}

/// Keys that are no factor and were moved by different amounts at the points that stand at their levels: least and greatest
/// value as built.
fn confounded(view: &StudyView) -> Vec<(String, String, [f64; 2])> {
    let mut found: Vec<(String, String, [f64; 2])> = Vec::new();
    for m in view.at_levels().flat_map(|p| &p.moved) {
        let is_factor = view.record.factors.iter().any(|(key, _)| *key == m.key);
        if is_factor || found.iter().any(|(key, ..)| *key == m.key) {
            continue;
        }
        let span = |of: &dyn Fn(&PointRecord) -> Option<f64>| {
            view.at_levels()
                .filter_map(of)
                .fold([f64::MAX, f64::MIN], |[low, high], x| {
                    [low.min(x), high.max(x)]
                })
        };
        let [least, most] = span(&|p| Some(p.built_value(&m.key)? - p.stated_value(&m.key)?));
        let built = span(&|p| p.built_value(&m.key));
        if most - least > 1e-6 {
            found.push((m.key.clone(), m.unit.clone(), built));
        }
    }
    found
}

/// A value to a thousandth at most.
fn shown(x: f64) -> String {
    let rounded = (1000.0 * x).round() / 1000.0;
    format!("{rounded}").replace('-', "−")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::page::render;
    use crate::synthetic::synthetic_study;

    use bicolumn_store::{FactorValue, MovedRecord};

    const POTTING: &str = "bone.potting_level_mm";

    fn study() -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        for point in &mut view.points {
            let level = FactorValue::Number(145.0);
            point.inputs.insert(POTTING.into(), level);
        }
        view
    }

    fn moved(key: &str, built: f64, factor: Option<&str>) -> MovedRecord {
        MovedRecord {
            key: key.into(),
            unit: "mm".into(),
            stated: 145.0,
            built,
            is_derived: factor.is_none(),
            factors: factor.map(String::from).into_iter().collect(),
        }
    }

    #[test]
    fn nothing_is_said_where_nothing_moved() {
        let view = study();
        assert!(moved_table(&view).is_none());
        assert!(moved_to_fit_sentences(&view).is_empty());
    }

    #[test]
    fn an_unstated_key_that_differs_between_points_is_said_to_confound_and_one_that_does_not_is_not()
     {
        let mut view = study();
        view.points[1].moved = vec![moved(POTTING, 158.25, None)];
        let told = moved_to_fit_sentences(&view).join(" ");
        let words = "bone.potting_level_mm 145 to 158.25\u{a0}mm";
        assert!(
            told.contains(words) && told.contains("confounded"),
            "{told}"
        );
        assert!(crate::words::told(&view).contains(&told));
        let table = moved_table(&view).unwrap();
        assert_eq!(table.rows.len(), 1);
        let row = ["p002", POTTING, "not stated", "", "145", "158.25", "mm"];
        assert_eq!(table.rows[0].cells, row);
        // All points count: the levels hold.
        assert_eq!(view.at_levels().count(), view.done().count());
        for point in &mut view.points {
            point.moved = vec![moved(POTTING, 158.25, None)];
        }
        assert!(moved_to_fit_sentences(&view).is_empty());
        let page = render(&view, None).unwrap();
        assert!(page.html.contains("Moved to fit"));
    }

    #[test]
    fn a_point_whose_factor_was_moved_counts_in_no_comparison() {
        let mut view = study();
        let level = FactorValue::Number(20.0);
        let of_level = |view: &StudyView| {
            let groups = view.groups();
            let all = groups.iter().flat_map(|g| g.points.iter());
            all.filter(|p| p.factors["plates.stagger_mm"] == level)
                .count()
        };
        assert_eq!(of_level(&view), 2);
        for point in &mut view.points {
            if point.factors["plates.stagger_mm"] == level {
                point.moved = vec![moved(
                    "plates.medial.end_level_mm",
                    101.0,
                    Some("plates.stagger_mm"),
                )];
            }
        }
        assert_eq!(of_level(&view), 0);
        assert!(!view.levels().contains(&level));
        let told = moved_to_fit_sentences(&view).join(" ");
        assert!(told.contains("counts in no comparison"), "{told}");
        assert!(told.contains("(plates.stagger_mm)"), "{told}");
        assert!(!told.contains("confounded"), "{told}");
        // The page stands, also where no point is at its levels.
        render(&view, None).unwrap();
        for point in &mut view.points {
            let key = "plates.medial.end_level_mm";
            point.moved = vec![moved(key, 101.0, Some("plates.stagger_mm"))];
        }
        render(&view, None).unwrap();
    }
}
