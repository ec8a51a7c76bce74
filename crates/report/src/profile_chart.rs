//! Cortical stress along the shaft: the picture that shows a stress riser.
//!
//! ```text
//!  MPa |      /\  intact (dashes), beam (dots)
//!      |  ___/  \____   one line per level of the headline's factor
//!      |gap   |   |     thin verticals: plate ends in the line's colour
//!      +-------------- level above the articular axis, mm
//!  -20 mm  ====|=|=|    medial plate, ticks: screws
//!          ----|-|      other plate
//! ```

use crate::chart::{Axis, Chart, Stroke};
use crate::distinct_cases::DistinctCase;
use crate::labels::capital;
use crate::line_styles::{Line, lines};
use crate::study_view::{Group, StudyView};
use bicolumn_response::Shaft;
use bicolumn_store::{CaseRecord, PointRecord, ProfileRecord};

const SIZE_WIDTH: f64 = 520.0;
const PLOT_HEIGHT: f64 = 190.0;
/// Height of one line's plates under the plot.
const STRIP: f64 = 15.0;
/// Colours of the intact bone and of beam theory.
const INTACT: &str = "#777";

/// One row of panels per load case, one panel per construct; rows in the study's case order.
pub(crate) fn profile_charts(view: &StudyView) -> Vec<(String, Vec<String>)> {
    let groups = view.groups();
    let strips = groups
        .iter()
        .map(|g| lines(view, g).len())
        .max()
        .unwrap_or(0);
    view.distinct_cases(&[&Shaft::Peak.into()])
        .into_iter()
        .map(|case| {
            let y = Axis::from_zero(largest(view, &groups, &case.name));
            let panels = groups
                .iter()
                .filter_map(|group| panel(view, group, &case, y, strips))
                .collect();
            (capital(&case.words()), panels)
        })
        .filter(|(_, panels): &(String, Vec<String>)| !panels.is_empty())
        .collect()
}

fn case_of<'a>(point: &'a PointRecord, name: &str) -> Option<&'a CaseRecord> {
    let case = point.cases.iter().find(|c| c.name == name)?;
    (!case.profile.level_mm.is_empty()).then_some(case)
}

/// The largest stress of all panels of a row, so that constructs share one scale.
fn largest(view: &StudyView, groups: &[Group<'_>], case: &str) -> f64 {
    let drawn = groups.iter().flat_map(|g| lines(view, g));
    let cases = drawn.filter_map(|line| case_of(line.point, case));
    let values = cases.flat_map(|c| {
        let intact = c.intact_profile.iter().flat_map(|p| p.high_mpa.clone());
        c.profile.high_mpa.clone().into_iter().chain(intact)
    });
    values.filter(|v| v.is_finite()).fold(0.0, f64::max)
}

fn panel(
    view: &StudyView,
    group: &Group<'_>,
    case: &DistinctCase,
    y: Axis,
    strips: usize,
) -> Option<String> {
    let drawn: Vec<(Line<'_>, &CaseRecord)> = lines(view, group)
        .into_iter()
        .filter_map(|line| {
            let case = case_of(line.point, &case.name)?;
            Some((line, case))
        })
        .collect();
    let levels = || {
        drawn
            .iter()
            .flat_map(|(_, c)| c.profile.level_mm.iter().copied())
    };
    let (first, first_case) = drawn.first()?;
    let lowest = levels().fold(f64::INFINITY, f64::min).floor();
    // The gap is shown with the profile that begins at it.
    let low = first
        .point
        .fracture_levels_mm
        .map_or(lowest, |gap| lowest.min(gap[0] - 4.0));
    let high = levels().fold(f64::NEG_INFINITY, f64::max).ceil();
    let x = Axis::between(low, high);
    let label = capital(&group.label);
    let title = format!(
        "Cortical von Mises stress along the shaft, {label}, {}",
        case.words()
    );
    let below = STRIP * strips as f64 + 4.0;
    let foot = below + 36.0;
    let mut chart = Chart::new(&title, [SIZE_WIDTH, PLOT_HEIGHT + foot], 62.0, foot, x, y);
    if let Some([low, high]) = first.point.fracture_levels_mm
        && high > x.low
    {
        chart.x_band(low, high, "#ece7dc");
    }
    chart.heading(&format!("{label}, {}", case.words()));
    chart.y_axis("von Mises, MPa");
    for (line, _) in &drawn {
        for plate in &line.point.plates {
            let stroke = stroke(line.colour, 0.8, "2 2");
            chart.x_line(plate.end_level_mm, &stroke);
        }
    }
    if let Some(intact) = &first_case.intact_profile {
        chart.line(&high_line(intact), &stroke(INTACT, 1.2, "6 3"));
    }
    let beam = &first_case.profile;
    let beam: Vec<_> = beam
        .level_mm
        .iter()
        .copied()
        .zip(beam.beam_mpa.iter().copied())
        .collect();
    chart.line(&beam, &stroke(INTACT, 1.2, "1.5 2.5"));
    for (line, case) in &drawn {
        chart.line(&high_line(&case.profile), &stroke(line.colour, 1.7, ""));
    }
    for (row, (line, _)) in drawn.iter().enumerate() {
        plates_strip(&mut chart, line, row);
    }
    chart.x_axis("level above the articular axis, mm", below);
    Some(chart.finish())
}

fn high_line(profile: &ProfileRecord) -> Vec<(f64, Option<f64>)> {
    let values = profile.high_mpa.iter().map(|&v| Some(v));
    profile.level_mm.iter().copied().zip(values).collect()
}

fn stroke(colour: &str, width: f64, dash: &'static str) -> Stroke {
    Stroke {
        colour: colour.to_string(),
        width,
        dash,
    }
}

/// The plates of one line as bars with their screws as ticks; plates beyond the second share its bar.
fn plates_strip(chart: &mut Chart, line: &Line<'_>, row: usize) {
    let top = chart.floor() + 7.0 + STRIP * row as f64;
    chart.text(chart.left() - 6.0, top + 8.0, "end", "t", &line.label);
    for (i, plate) in line.point.plates.iter().enumerate() {
        let y = top + if i == 0 { 0.0 } else { 6.0 };
        let (a, b) = (
            chart.at_x(plate.distal_level_mm),
            chart.at_x(plate.end_level_mm),
        );
        let fill = if i == 0 { line.colour } else { "#fff" };
        chart.bar([a, y], [(b - a).max(0.5), 4.0], fill, line.colour);
        for screw in line.point.screws.iter().filter(|s| s.plate == plate.site) {
            if screw.entry_level_mm > chart.x.low {
                let x = chart.at_x(screw.entry_level_mm);
                let colour = if i == 0 { "#fff" } else { line.colour };
                chart.segment([x, y], [x, y + 4.0], &stroke(colour, 1.3, ""));
            }
        }
    }
}
