//! Rows of shaft holes to choose among, and the holes of each that may take the screws.

use crate::fault::Fault;
use crate::shaft_row::Stretch;
use crate::{PlateSpec, TakenUpBy};

/// Step between offsets of a row, mm.
const STEP: f64 = 1.0;
/// Cost of moving a row by a millimetre (judgement).
const OFFSET_COST: f64 = 0.3;
/// Cost of an inner screw one hole away from where its pattern puts it (judgement).
const SHIFT_COST: f64 = 0.8;
/// Cost of leaving the hole nearest the fracture empty: the working length grows by a pitch (judgement).
const INNERMOST_COST: f64 = 1.0;
/// The same where the working length is to be kept, and of the uppermost hole: the last screw moves from the plate's
/// end.
const KEPT_COST: f64 = 3.0;
/// Choices kept of a plate.
const MOST: usize = 40;

/// A row of shaft holes with those that take screws.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RowChoice {
    /// Places along the plate's centre line, most proximal first, mm.
    pub(crate) along_mm: Vec<f64>,
    /// Holes that take screws, counted from the most proximal one.
    pub(crate) filled: Vec<usize>,
    /// How far the row lies below where its end distance puts it, mm.
    pub(crate) offset_mm: f64,
    /// Are the filled holes those of the pattern?
    pub(crate) is_pattern: bool,
    /// Distance from what is asked for.
    pub(crate) cost: f64,
    /// A length of the row that is not the one asked for, since others are kept.
    pub(crate) note: Option<String>,
}

impl Stretch<'_> {
    /// Choices for a plate, the row and the pattern asked for first, then by what they give up.
    ///
    /// # Errors
    /// As [`Stretch::lay_out`].
    pub(crate) fn choices(&self, spec: &PlateSpec) -> Result<Vec<RowChoice>, Fault> {
        let first = self.lay_out(spec)?;
        let mut rows = vec![(0.0, first)];
        if spec.taken_up_by == TakenUpBy::WorkingLength {
            let steps = (0.5 * spec.hole_pitch_mm / STEP) as usize;
            for offset in (1..=steps).map(|k| STEP * k as f64) {
                let lower = PlateSpec {
                    end_distance_mm: Some(spec.end_distance() + offset),
                    ..spec.clone()
                };
                rows.extend(self.lay_out(&lower).ok().map(|row| (offset, row)));
            }
        }
        let innermost = match spec.taken_up_by {
            TakenUpBy::WorkingLength => INNERMOST_COST,
            TakenUpBy::HolePitch | TakenUpBy::EndDistance => KEPT_COST,
        };
        let mut choices = Vec::new();
        for (offset_mm, row) in rows {
            let holes = row.along_mm.len();
            for (filled, given_up) in fillings(spec, holes, innermost) {
                choices.push(RowChoice {
                    along_mm: row.along_mm.clone(),
                    is_pattern: given_up == 0.0,
                    filled,
                    offset_mm,
                    cost: OFFSET_COST * offset_mm + given_up,
                    note: row.note.clone(),
                });
            }
        }
        choices.sort_by(|a, b| a.cost.total_cmp(&b.cost));
        choices.truncate(MOST);
        Ok(choices)
    }
}

/// Holes that screws may fill, with what each choice gives up; the pattern's own first, each choice once.
fn fillings(spec: &PlateSpec, holes: usize, innermost: f64) -> Vec<(Vec<usize>, f64)> {
    let (pattern, screws) = (spec.shaft_pattern, spec.shaft_screws);
    let mut all: Vec<(Vec<usize>, f64)> = Vec::new();
    let mut put = |filled: Vec<usize>, cost: f64| {
        if all.iter().all(|(known, _)| *known != filled) {
            all.push((filled, cost));
        }
    };
    let asked = pattern.filled(holes, screws);
    put(asked.clone(), 0.0);
    // One inner screw a hole further.
    for k in 1..screws.saturating_sub(1) {
        for hole in [asked[k] + 1, asked[k] - 1] {
            let mut shifted = asked.clone();
            shifted[k] = hole;
            if shifted.windows(2).all(|w| w[0] < w[1]) {
                put(shifted, SHIFT_COST);
            }
        }
    }
    // The pattern over fewer holes.
    for left_out in 1..=(holes - screws).min(3) {
        for above in 0..=left_out.min(1) {
            let filled = pattern.filled(holes - left_out, screws);
            let below = (left_out - above) as f64;
            put(
                filled.iter().map(|k| k + above).collect(),
                innermost * below + KEPT_COST * above as f64,
            );
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::PlateSiteName;
    use bicolumn_base::Vec3;

    #[test]
    fn what_is_asked_comes_first_and_every_choice_holds_the_screws_in_order() {
        let centre = |along: f64| Vec3::y() * along;
        let stretch = Stretch {
            fracture: None,
            centre: &centre,
            last_distal_mm: 20.0,
            length_mm: 100.0,
        };
        for taken_up_by in [
            TakenUpBy::WorkingLength,
            TakenUpBy::HolePitch,
            TakenUpBy::EndDistance,
        ] {
            let spec = PlateSpec {
                taken_up_by,
                ..PlateSpec::new(PlateSiteName::Medial)
            };
            let choices = stretch.choices(&spec).unwrap();
            let asked = stretch.lay_out(&spec).unwrap().along_mm;
            assert_eq!(choices[0].along_mm, asked);
            assert!(choices[0].is_pattern && choices[0].cost == 0.0);
            assert!(choices.len() > 3);
            for c in &choices {
                assert_eq!(c.filled.len(), 3);
                assert!(c.filled.windows(2).all(|w| w[0] < w[1]));
                assert!(c.filled[2] < c.along_mm.len());
                assert!(c.offset_mm <= 0.5 * spec.hole_pitch_mm);
            }
            let offsets = choices.iter().any(|c| c.offset_mm > 0.0);
            assert_eq!(offsets, taken_up_by == TakenUpBy::WorkingLength);
        }
    }
}
