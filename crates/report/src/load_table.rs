//! Resultants of the load cases, and the lines that forces act along.

use crate::labels::case_words;
use crate::number::Decimals;
use crate::study_view::StudyView;
use crate::tables::{Row, Table};
use bicolumn_store::{CaseRecord, load_line_mm, off_shaft_mm};

/// The load cases of the first finished point; `None` without one.
pub(crate) fn load_table(view: &StudyView) -> Option<Table> {
    let point = view.done().find(|p| !p.cases.is_empty())?;
    let decimals = Decimals::of([100.0].into_iter());
    let vector = |v: [f64; 3]| v.map(|x| decimals.show(x)).join(", ");
    let coordinate = |v: [f64; 3]| {
        v.map(|x| Decimals::of([1.0].into_iter()).show(x))
            .join(", ")
    };
    let is_held = point.cases.iter().any(|c| c.joint_reaction_n.is_some());
    let rows = point.cases.iter().map(|case| {
        let line = load_line_mm(case);
        let off = off_shaft_mm(point, case).map_or(String::new(), |off| {
            let one = Decimals::of([10.0].into_iter());
            let side = |value: f64, plus: &str, minus: &str| match value < 0.0 {
                true => format!("{} mm {minus}", one.show(-value)),
                false => format!("{} mm {plus}", one.show(value)),
            };
            format!(
                "{}, {} of the shaft's axis",
                side(off[0], "in front", "behind"),
                side(off[1], "lateral", "medial")
            )
        });
        let couple = match line {
            Some(_) => along(case).map_or("–".into(), vector),
            None => vector(case.moment_nmm),
        };
        let reaction = case.joint_reaction_n.map_or("–".into(), vector);
        let force = case
            .four_point
            .clone()
            .or(line.map(|_| vector(case.force_n)));
        let couple = match case.four_point {
            Some(_) => "–".into(),
            None => couple,
        };
        Row {
            cells: vec![
                case_words(&case.name),
                force.unwrap_or("–".into()),
                line.map_or("–".into(), coordinate),
                couple,
                off,
            ]
            .into_iter()
            .chain(is_held.then_some(reaction))
            .collect(),
            ..Row::default()
        }
    });
    Some(Table {
        caption: format!(
            "Resultants of the loads on the joint at {}: X anterior, Y proximal, Z lateral of a right bone (medial of a \
             left one); a force acts along the line through the point given, the one nearest to the middle of the \
             flexion axis. The other points bear the same loads unless a factor changes bone or loads.",
            point.id
        ),
        heads: [
            "load case",
            "force, N",
            "line through, mm",
            "couple, N·mm",
            "off the shaft",
        ]
        .into_iter()
        .chain(is_held.then_some("joint's support, N"))
        .map(String::from)
        .collect(),
        rows: rows.collect(),
        words: if is_held { 6 } else { 5 },
    })
}

/// Couple about the line of a force: the part of the moment that no place of the line makes up for, N·mm.
fn along(case: &CaseRecord) -> Option<[f64; 3]> {
    let (force, moment) = (case.force_n, case.moment_nmm);
    let dot = |a: [f64; 3], b: [f64; 3]| a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
    let per = dot(force, moment) / dot(force, force);
    let couple = force.map(|f| f * per);
    let is_rounding = dot(couple, couple) <= 1e-12 * dot(moment, moment);
    (!is_rounding).then_some(couple)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;

    #[test]
    fn the_line_of_an_axial_force_stands_in_the_table() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let point = &mut view.points[0];
        point.shaft_axis_mm = Some([-9.2, 0.0, 0.0]);
        point.cases[0].force_n = [0.0, 200.0, 0.0];
        point.cases[0].moment_nmm = [-360.0, 0.0, 1360.0];
        assert_eq!(along(&point.cases[0]), None);
        let mut twisted = point.cases[0].clone();
        twisted.moment_nmm[1] = 500.0;
        assert_eq!(along(&twisted), Some([0.0, 500.0, 0.0]));
        point.cases[1].force_n = [0.0; 3];
        point.cases[1].moment_nmm = [0.0, 7500.0, 0.0];
        let table = load_table(&view).unwrap();
        let row = &table.rows[0].cells;
        assert_eq!(row[1], "0, 200, 0");
        assert_eq!(row[2], "6.80, 0.00, 1.80");
        assert_eq!(
            row[4],
            "16.0 mm in front, 1.8 mm lateral of the shaft's axis"
        );
        let row = &table.rows[1].cells;
        assert_eq!((row[1].as_str(), row[3].as_str()), ("–", "0, 7500, 0"));
    }
}
