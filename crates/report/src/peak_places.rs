//! Places of the headline peaks.

use crate::credit::{LEAST_RISER, is_no_riser};
use crate::study_view::{StudyView, response};
use bicolumn_store::{PlateMark, PointRecord, ScrewMark};

/// A peak this near the edge of a screw's hole belongs to the screw.
const NEAR_MM: f64 = 3.0;

/// Places of the peaks of the headline response, counted over points and load cases; those of two load cases that are
/// each other's reverse count once, and peaks that are no stress riser apart.
///
/// `None` when the headline has no places, or the records no screw positions.
pub(crate) fn peak_sentence(view: &StudyView) -> Option<String> {
    let name = view.lead()?;
    let (mut all, mut intact, mut at_screw, mut above) = (0, 0, 0, 0);
    for point in view.done() {
        for case in view.distinct_cases(&[name]) {
            let place = response(point, &case.name, name)
                .filter(|r| r.value.is_some())
                .and_then(|r| r.at_mm);
            let Some(at) = place else { continue };
            all += 1;
            if is_no_riser(point, &case.name, name) == Some(true) {
                intact += 1;
            } else if near_uppermost_screw(point, at)? {
                at_screw += 1;
            } else if nearest_end(point, at)?.end_level_mm < at[1] {
                above += 1;
            }
        }
    }
    if all == 0 {
        return None;
    }
    let no_riser = match intact {
        0 => String::new(),
        n => format!(
            "; no stress riser, on the upper rim of the band in which peaks are sought or above the intact bone's peak \
             there by less than {:.0}\u{a0}%: {n}",
            100.0 * (LEAST_RISER - 1.0)
        ),
    };
    Some(format!(
        "Of these {all} peaks (one a point and load case), {at_screw} lie within {NEAR_MM:.0}\u{a0}mm of \
         the hole of a plate's uppermost screw and {above} above the plate's end{no_riser}."
    ))
}

/// Is a place within reach of the hole of the uppermost screw of any plate? Measured in space from
/// the point where the screw's axis enters the bone.
fn near_uppermost_screw(point: &PointRecord, at: [f64; 3]) -> Option<bool> {
    let mut near = false;
    for plate in &point.plates {
        let own = point.screws.iter().filter(|s| s.plate == plate.site);
        let uppermost = own.max_by(|a, b| a.entry_level_mm.total_cmp(&b.entry_level_mm));
        if let Some(screw) = uppermost {
            near |= distance_to_hole(screw, at)? <= NEAR_MM;
        }
    }
    Some(near)
}

fn distance_to_hole(screw: &ScrewMark, at: [f64; 3]) -> Option<f64> {
    let entry = screw.entry_mm?;
    let squares = (0..3).map(|k| (at[k] - entry[k]).powi(2));
    Some(squares.sum::<f64>().sqrt() - 0.5 * screw.diameter_mm)
}

/// The plate whose end is nearest in level.
fn nearest_end(point: &PointRecord, at: [f64; 3]) -> Option<&PlateMark> {
    let off = |p: &PlateMark| (p.end_level_mm - at[1]).abs();
    point.plates.iter().min_by(|a, b| off(a).total_cmp(&off(b)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;

    fn view() -> StudyView {
        let (_temp, folder) = synthetic_study();
        StudyView::read(folder).unwrap()
    }

    #[test]
    fn peaks_are_counted_by_place() {
        let mut view = view();
        let name = view.lead().unwrap().clone();
        let mut count = 0;
        for point in view.points.iter_mut() {
            let Some(top) = point.plates.first().map(|p| p.end_level_mm) else {
                continue;
            };
            for screw in &mut point.screws {
                screw.entry_mm = Some([0.0, screw.entry_level_mm, 10.0]);
            }
            for (i, case) in point.cases.iter_mut().enumerate() {
                count += 1;
                let highest = point
                    .screws
                    .iter()
                    .filter(|s| s.plate == point.plates[0].site);
                let highest = highest.map(|s| s.entry_level_mm).fold(0.0, f64::max);
                for r in case.responses.iter_mut().filter(|r| r.name == name) {
                    // The first load case beside the screw, the others far above the end.
                    r.at_mm = Some(match i {
                        0 => [0.0, highest + 2.0, 10.0],
                        _ => [0.0, top + 500.0, 10.0],
                    });
                }
            }
        }
        let points = view.done().count();
        let text = peak_sentence(&view).unwrap();
        assert!(text.contains(&format!("Of these {count} peaks")), "{text}");
        assert!(text.contains(&format!("{points} lie within")), "{text}");
        assert!(
            text.contains(&format!("and {} above", count - points)),
            "{text}"
        );
    }
}
