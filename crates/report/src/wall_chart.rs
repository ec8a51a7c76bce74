//! Bone stress at the last screw by distance from the screw's wall, and its extrapolation to the wall.

use crate::chart::{Axis, Chart, Marker, Stroke};
use crate::distinct_cases::DistinctCase;
use crate::labels::capital;
use crate::line_styles::{Line, lines};
use crate::number::plain;
use crate::study_view::{Group, StudyView};
use bicolumn_response::{LargestOfPlates, LastScrew, PlateColumn, ResponseName};
use bicolumn_store::{CaseRecord, WallProfileRecord};

const SIZE: [f64; 2] = [340.0, 240.0];

/// A row of panels a load case, a panel a construct: a line a level of the headline's factor, of the plate with the
/// larger stress.
pub(crate) fn wall_charts(view: &StudyView) -> Vec<Vec<String>> {
    let groups = view.groups();
    let name = ResponseName::from(LargestOfPlates::LastScrew);
    let rows = view.distinct_cases(&[&name]).into_iter().map(|case| {
        let drawn: Vec<Vec<Drawn<'_>>> = groups.iter().map(|g| drawn(view, g, &case)).collect();
        let largest = drawn.iter().flatten().flat_map(|d| {
            let read = d.profile.stress_mpa.iter().flatten();
            read.copied().chain([d.at_wall]).collect::<Vec<f64>>()
        });
        let y = Axis::from_zero(largest.fold(0.0, f64::max));
        let panels = groups.iter().zip(&drawn).filter(|(_, d)| !d.is_empty());
        panels.map(|(g, d)| panel(g, &case, d, y)).collect()
    });
    rows.filter(|panels: &Vec<String>| !panels.is_empty())
        .collect()
}

struct Drawn<'a> {
    line: Line<'a>,
    profile: &'a WallProfileRecord,
    /// Value extrapolated to the wall, MPa.
    at_wall: f64,
}

fn drawn<'a>(view: &'a StudyView, group: &Group<'a>, case: &DistinctCase) -> Vec<Drawn<'a>> {
    let of = |line: Line<'a>| {
        let case = line.point.cases.iter().find(|c| c.name == case.name)?;
        let (profile, at_wall) = governing(case)?;
        Some(Drawn {
            line,
            profile,
            at_wall,
        })
    };
    lines(view, group).into_iter().filter_map(of).collect()
}

/// Profile of the plate with the larger stress at its last screw, and that stress.
fn governing(case: &CaseRecord) -> Option<(&WallProfileRecord, f64)> {
    let column = |site: &str| match site {
        "medial" => PlateColumn::Medial,
        _ => PlateColumn::Other,
    };
    let profiles = case.wall_profiles.iter().filter_map(|p| {
        let name = LastScrew::Structural.of(column(&p.plate)).into();
        Some((p, case.response(&name)?.value?))
    });
    profiles.reduce(|a, b| if b.1 > a.1 { b } else { a })
}

fn panel(group: &Group<'_>, case: &DistinctCase, drawn: &[Drawn<'_>], y: Axis) -> String {
    let label = capital(&group.label);
    let title = format!(
        "Bone stress by distance from the last screw's wall, {label}, {}",
        case.words()
    );
    let distances = drawn
        .iter()
        .flat_map(|d| d.profile.distance_mm.iter().copied());
    let x = Axis::between(0.0, distances.fold(1.0, f64::max));
    let mut chart = Chart::new(&title, SIZE, 52.0, 40.0, x, y);
    chart.heading(&format!("{label}, {}", case.words()));
    chart.y_axis("von Mises, MPa");
    for d in drawn {
        let values = d.profile.stress_mpa.iter().copied();
        let points: Vec<_> = d.profile.distance_mm.iter().copied().zip(values).collect();
        let stroke = Stroke {
            colour: d.line.colour.to_string(),
            width: 1.7,
            dash: "",
        };
        chart.line(&points, &stroke);
        let at = [chart.at_x(0.0), chart.at_y(d.at_wall)];
        let tip = format!(
            "{}, extrapolated to the wall: {}",
            d.line.label,
            plain(d.at_wall)
        );
        chart.marker(at, Marker::Ring, d.line.colour, 4.0, &tip);
    }
    chart.x_axis("distance from the screw's wall, mm", 4.0);
    chart.finish()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;
    use bicolumn_store::ResponseRecord;

    #[test]
    fn a_line_a_level_is_drawn_of_the_plate_with_the_larger_stress() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert!(wall_charts(&view).is_empty());
        let largest = ResponseName::from(LargestOfPlates::LastScrew);
        for case in view.points.iter_mut().flat_map(|p| &mut p.cases) {
            let own = case.response(&largest).unwrap().clone();
            for (plate, site, share) in [
                (PlateColumn::Medial, "medial", 1.0),
                (PlateColumn::Other, "lateral", 0.5),
            ] {
                case.responses.push(ResponseRecord {
                    name: LastScrew::Structural.of(plate).into(),
                    value: own.value.map(|v| v * share),
                    ..own.clone()
                });
                case.wall_profiles.push(WallProfileRecord {
                    plate: site.into(),
                    screw: "screw.01".into(),
                    distance_mm: vec![1.0, 2.0],
                    stress_mpa: vec![own.value.map(|v| v * share), None],
                });
            }
            let (profile, at_wall) = governing(case).unwrap();
            assert_eq!(
                (profile.plate.as_str(), Some(at_wall)),
                ("medial", own.value)
            );
        }
        let rows = wall_charts(&view);
        assert_eq!(rows.len(), view.distinct_cases(&[&largest]).len());
        assert_eq!(rows[0].len(), 2);
        // A ring a level, at its value.
        let drawn = rows[0][0].split("</metadata>").nth(1).unwrap();
        assert_eq!(drawn.matches("extrapolated to the wall").count(), 3);
    }
}
