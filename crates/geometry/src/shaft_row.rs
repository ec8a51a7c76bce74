//! Row of holes over the shaft: their places between the fracture and the plate's proximal end, and those that
//! take screws.
//!
//! Between the fracture and the plate's end lie the innermost screw's distance from the fracture (which sets the
//! working length), a number of pitches, and the end distance. Two of the three are kept as the end moves.

use crate::fault::Fault;
use crate::head::HEAD_OVER_CORE;
use crate::limits::{HEAD_WEB, HOLE_WEB, head_over_core};
use crate::shaft_screws::LEAST_SCREWS;
use crate::spec::ScrewHold;
use crate::{Fracture, FractureQuantity, GeometryError, Member, PlateQuantity, PlateSpec, Subject};
use bicolumn_base::Vec3;
use serde::{Deserialize, Serialize};

/// Choice of the shaft holes that take screws.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ShaftPattern {
    /// The two ends of the row, then evenly between.
    Even,
    /// The holes nearest the fracture.
    NearFracture,
    /// Half of the screws at each end of the row, one more beside the fracture where their number is odd.
    BothEnds,
}

bicolumn_base::words! { ShaftPattern {
    Even = "even": "the two ends of the row, then evenly between",
    NearFracture = "near_fracture": "the holes nearest the fracture",
    BothEnds = "both_ends": "half of the screws at each end of the row, one more beside the fracture where their number is odd",
} }

/// Length that gives way as a plate's end moves; the other two are kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TakenUpBy {
    /// The working length: holes are counted down from the plate's end.
    WorkingLength,
    /// The pitch of the holes over the shaft: it is drawn out or in.
    HolePitch,
    /// The end distance: holes are counted up from the innermost one.
    EndDistance,
}

bicolumn_base::words! { TakenUpBy {
    WorkingLength = "working_length": "holes are counted down from the end, and the working length gives way",
    HolePitch = "hole_pitch": "the pitch of the shaft holes is drawn out or in; working length and end distance are kept",
    EndDistance = "end_distance": "holes are counted up from the innermost one, and the distance of the last screw to the end gives way",
} }

impl ShaftPattern {
    /// Holes that take screws, counted from the most proximal one, which is 0.
    pub(crate) fn filled(self, holes: usize, screws: usize) -> Vec<usize> {
        match self {
            ShaftPattern::Even => {
                let share = |k: usize| k as f64 / (screws.max(2) - 1) as f64;
                let place = |k| (share(k) * (holes - 1) as f64).round() as usize;
                (0..screws).map(place).collect()
            }
            ShaftPattern::NearFracture => (holes - screws..holes).collect(),
            ShaftPattern::BothEnds => {
                let upper = screws / 2;
                (0..upper).chain(holes - (screws - upper)..holes).collect()
            }
        }
    }
}

/// A row of shaft holes as laid out.
pub(crate) struct ShaftRow {
    /// Places along the plate's centre line, most proximal first, mm.
    pub(crate) along_mm: Vec<f64>,
    /// A length that is not the one asked for, since the others are kept.
    pub(crate) note: Option<String>,
}

/// Free stretch of a plate over the shaft, in arc length of its centre line.
pub(crate) struct Stretch<'a> {
    pub(crate) fracture: Option<&'a Fracture>,
    /// Point of the bone under a place of the centre line.
    pub(crate) centre: &'a dyn Fn(f64) -> Vec3,
    /// Place of the uppermost distal hole, mm.
    pub(crate) last_distal_mm: f64,
    /// Length of the plate, mm.
    pub(crate) length_mm: f64,
}

impl Stretch<'_> {
    /// Lays out the shaft holes of a plate.
    ///
    /// # Errors
    /// [`GeometryError::NoRoom`] where there are fewer holes than screws, or where a length that is to be kept
    /// cannot be.
    pub(crate) fn lay_out(&self, spec: &PlateSpec) -> Result<ShaftRow, Fault> {
        let row = match spec.taken_up_by {
            TakenUpBy::WorkingLength => self.row_from_the_end(spec),
            TakenUpBy::HolePitch => self.drawn_out(spec)?,
            TakenUpBy::EndDistance => self.row_from_the_fracture(spec)?,
        };
        let holes = row.along_mm.len();
        if holes >= spec.shaft_screws {
            return Ok(row);
        }
        let mut remedies = vec![
            spec.subject(PlateQuantity::EndLevel),
            spec.subject(PlateQuantity::HolePitch),
        ];
        let fewer = if holes > 0 {
            "ask for fewer shaft screws, "
        } else {
            ""
        };
        if holes > 0 {
            remedies.insert(1, spec.subject(PlateQuantity::ShaftScrews));
        }
        let hint = match spec.taken_up_by {
            TakenUpBy::WorkingLength => {
                format!(
                    "raise its end level (less stagger), {fewer}or take a smaller hole_pitch_mm"
                )
            }
            TakenUpBy::HolePitch | TakenUpBy::EndDistance => {
                remedies.push(spec.subject(PlateQuantity::FractureDistance));
                format!(
                    "raise its end level (less stagger), {fewer}or take a smaller hole_pitch_mm or fracture_distance_mm"
                )
            }
        };
        let why = format!(
            "its end level of {:.1} mm leaves {holes} shaft holes for {} shaft screws",
            spec.end_level_mm, spec.shaft_screws
        );
        let fault = no_room(spec, why, &hint, remedies);
        Err(fault.or_by(self.more_holes(spec, holes)))
    }

    /// Changes that give a plate as many shaft holes as screws.
    fn more_holes(&self, spec: &PlateSpec, holes: usize) -> Vec<(Subject, f64)> {
        use PlateQuantity as Q;
        let subject = |q| spec.subject(q);
        let mut cures = Vec::new();
        let gaps = spec.shaft_screws.saturating_sub(1).max(1) as f64;
        let top = self.length_mm - spec.end_distance();
        let distance = spec.fracture_distance();
        let closest = self.above_fracture(distance).max(self.least_mm(&PlateSpec {
            hole_pitch_mm: least_pitch(spec),
            ..spec.clone()
        }));
        let room = top - closest;
        let downwards = |x: f64| (10.0 * x + 1e-6).floor() / 10.0;
        let pitch = downwards(room / gaps);
        let least = least_pitch(spec);
        if pitch >= least {
            cures.push((subject(Q::HolePitch), pitch));
        } else {
            let upwards = (10.0 * least - 1e-6).ceil() / 10.0;
            if upwards < spec.hole_pitch_mm {
                cures.push((subject(Q::HolePitch), upwards));
            }
            // Smaller holes lie closer.
            let hole = downwards(pitch - HOLE_WEB);
            if spec.slot_mm > 0.0 {
                cures.push((subject(Q::Slot), 0.0));
            } else if hole < spec.hole_diameter_mm && hole >= Q::HoleDiameter.range().least {
                cures.push((subject(Q::HoleDiameter), hole));
            }
            if spec.shaft_hold == ScrewHold::NonLocking {
                let core = downwards((pitch - HEAD_WEB) / HEAD_OVER_CORE);
                if core >= Q::ShaftScrewDiameter.range().least {
                    cures.push((subject(Q::ShaftScrewDiameter), core));
                }
            }
        }
        let nearest = spec.fracture_distance_for(TakenUpBy::WorkingLength);
        if nearest < distance {
            cures.push((subject(Q::FractureDistance), nearest));
        }
        let lacking = spec.hole_pitch_mm * gaps - room;
        let raised = (2.0 * (spec.end_level_mm + lacking)).ceil() / 2.0;
        cures.push((subject(Q::EndLevel), raised));
        if holes >= LEAST_SCREWS {
            cures.push((subject(Q::ShaftScrews), holes as f64));
        }
        cures
    }

    /// Least place of a shaft hole: clear of the uppermost distal one.
    fn least_mm(&self, spec: &PlateSpec) -> f64 {
        self.last_distal_mm + spec.hole_pitch_mm.min(0.5 * spec.hole_diameter_mm + 6.0)
    }

    fn row_from_the_end(&self, spec: &PlateSpec) -> ShaftRow {
        let least = self.least_mm(spec);
        let mut along_mm: Vec<f64> = Vec::new();
        loop {
            let along =
                self.length_mm - spec.end_distance() - spec.hole_pitch_mm * along_mm.len() as f64;
            let beside_fracture = self
                .fracture
                .is_some_and(|f| f.above((self.centre)(along)) < spec.fracture_distance());
            if along < least || beside_fracture {
                return ShaftRow {
                    along_mm,
                    note: None,
                };
            }
            along_mm.push(along);
        }
    }

    fn drawn_out(&self, spec: &PlateSpec) -> Result<ShaftRow, Fault> {
        let screws = spec.shaft_screws;
        if screws < 2 {
            return Err(no_room(
                spec,
                "a single shaft screw cannot keep its distance from the fracture and from the plate's end".into(),
                "ask for two shaft screws or more, or let another length be taken up",
                vec![spec.subject(PlateQuantity::ShaftScrews)],
            )
            .or_by([(spec.subject(PlateQuantity::ShaftScrews), 2.0)]));
        }
        let innermost = self.innermost_mm(spec)?;
        let top = self.length_mm - spec.end_distance();
        // Screws lie evenly where their gaps are as many pitches each.
        let unit = match spec.shaft_pattern {
            ShaftPattern::Even => screws - 1,
            ShaftPattern::NearFracture | ShaftPattern::BothEnds => 1,
        } as f64;
        let span = (top - innermost).max(0.0);
        let wanted = (span / (spec.hole_pitch_mm * unit)).round().max(1.0);
        let most = (span / (least_pitch(spec) * unit)).floor();
        let gaps = unit * wanted.min(most);
        if gaps < (screws - 1) as f64 {
            let holes = 1 + (span / least_pitch(spec)).floor() as usize;
            // Fewer holes than screws: told by the caller.
            let along_mm = vec![top; holes.min(screws - 1)];
            return Ok(ShaftRow {
                along_mm,
                note: None,
            });
        }
        let pitch = span / gaps;
        let along_mm = (0..=gaps as usize).map(|k| top - pitch * k as f64);
        let drawn = (pitch - spec.hole_pitch_mm).abs() > 0.05;
        Ok(ShaftRow {
            along_mm: along_mm.collect(),
            note: drawn.then(|| {
                format!(
                    "the shaft holes of plate.{} lie {pitch:.1} mm apart instead of {:.1}: its working length and end distance are kept",
                    site(spec), spec.hole_pitch_mm
                )
            }),
        })
    }

    fn row_from_the_fracture(&self, spec: &PlateSpec) -> Result<ShaftRow, Fault> {
        let innermost = self.innermost_mm(spec)?;
        let top = self.length_mm - spec.end_distance();
        let place = |k: usize| innermost + spec.hole_pitch_mm * k as f64;
        let mut along_mm: Vec<f64> = (0..)
            .map(place)
            .take_while(|along| *along <= top + 1e-9)
            .collect();
        along_mm.reverse();
        let beyond = along_mm.first().map(|along| self.length_mm - along);
        let beyond = beyond.filter(|b| b - spec.end_distance() > 0.05);
        Ok(ShaftRow {
            note: beyond.map(|beyond| {
                format!(
                    "plate.{} ends {beyond:.1} mm beyond the centre of its uppermost shaft hole instead of {:.1}: its working length and hole pitch are kept",
                    site(spec), spec.end_distance()
                )
            }),
            along_mm,
        })
    }

    /// Lowest place of the centre line at a distance above the fracture; in a whole bone, above the uppermost distal
    /// hole.
    fn above_fracture(&self, distance: f64) -> f64 {
        const STEP: f64 = 0.5;
        let Some(fracture) = self.fracture else {
            return self.last_distal_mm + distance;
        };
        let reached = |along: f64| fracture.above((self.centre)(along)) >= distance;
        let steps = (self.length_mm / STEP).ceil() as usize;
        let above = (0..=steps)
            .map(|i| self.last_distal_mm + STEP * i as f64)
            .find(|along| reached(*along))
            .unwrap_or(self.length_mm);
        let (mut low, mut high) = (above - STEP, above);
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if reached(middle) {
                high = middle;
            } else {
                low = middle;
            }
        }
        high
    }

    /// Place of the innermost shaft hole at its distance from the fracture's upper face; of a whole bone, at that
    /// distance from the uppermost distal hole.
    fn innermost_mm(&self, spec: &PlateSpec) -> Result<f64, Fault> {
        let distance = spec.fracture_distance();
        let place = self.above_fracture(distance);
        let least = self.least_mm(spec);
        if place >= least {
            return Ok(place);
        }
        let lacking = (10.0 * (least - place)).ceil() / 10.0;
        let further = spec.subject(PlateQuantity::FractureDistance);
        let higher = Subject::Fracture(FractureQuantity::Level);
        let fault = no_room(
            spec,
            format!(
                "its innermost shaft hole, {distance:.1} mm from the fracture, would lie {:.1} mm from the uppermost distal hole",
                place - self.last_distal_mm
            ),
            "raise fracture_distance_mm, or ask for fewer distal screws or a smaller distal_hole_pitch_mm",
            vec![
                further,
                spec.subject(PlateQuantity::DistalScrews),
                spec.subject(PlateQuantity::DistalHolePitch),
                higher,
            ],
        );
        let level = self.fracture.map(|f| (higher, f.spec.level_mm + lacking));
        Err(fault.or_by([(further, distance + lacking)].into_iter().chain(level)))
    }
}

/// Least distance between two shaft holes, mm: a web remains between the holes, drawn out as they are, and between
/// the heads.
fn least_pitch(spec: &PlateSpec) -> f64 {
    let holes = spec.hole_diameter_mm + HOLE_WEB + spec.slot_mm;
    match spec.shaft_hold {
        ScrewHold::NonLocking => {
            let core = spec.shaft_screw_diameter_mm;
            holes.max(head_over_core(spec.width_mm, core) * core + HEAD_WEB)
        }
        ScrewHold::Locking | ScrewHold::Lag | ScrewHold::Positional => holes,
    }
}

fn site(spec: &PlateSpec) -> bicolumn_base::PlateSite {
    spec.site.into()
}

fn no_room(spec: &PlateSpec, why: String, hint: &str, remedies: Vec<Subject>) -> Fault {
    Fault::from(GeometryError::NoRoom {
        member: Member::Plate(site(spec)),
        why,
        hint: hint.into(),
        remedies,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spec::PlateSiteName;
    use proptest::prelude::*;

    /// A straight plate on a whole bone, its uppermost distal hole at 20 mm.
    fn row(spec: &PlateSpec, length_mm: f64) -> Result<ShaftRow, Fault> {
        let centre = |along: f64| Vec3::y() * along;
        let stretch = Stretch {
            fracture: None,
            centre: &centre,
            last_distal_mm: 20.0,
            length_mm,
        };
        stretch.lay_out(spec)
    }

    fn spec(taken_up_by: TakenUpBy) -> PlateSpec {
        PlateSpec {
            taken_up_by,
            ..PlateSpec::new(PlateSiteName::Medial)
        }
    }

    #[test]
    fn patterns_fill_the_holes_that_they_name() {
        use ShaftPattern::*;
        for (pattern, holes, screws, expected) in [
            (Even, 5, 3, vec![0, 2, 4]),
            (Even, 4, 1, vec![0]),
            (NearFracture, 5, 3, vec![2, 3, 4]),
            (BothEnds, 6, 4, vec![0, 1, 4, 5]),
            (BothEnds, 6, 3, vec![0, 4, 5]),
            (BothEnds, 3, 1, vec![2]),
        ] {
            assert_eq!(pattern.filled(holes, screws), expected, "{pattern:?}");
        }
    }

    #[test]
    fn a_single_screw_cannot_keep_two_distances() {
        let one = PlateSpec {
            shaft_screws: 1,
            ..spec(TakenUpBy::HolePitch)
        };
        let told = row(&one, 80.0).err().unwrap().error.to_string();
        assert!(told.contains("a single shaft screw"), "{told}");
    }

    #[test]
    fn too_short_a_plate_is_refused_with_the_number_of_its_holes() {
        for taken_up_by in [TakenUpBy::HolePitch, TakenUpBy::EndDistance] {
            // From 30 to 39 mm: two holes at the least.
            let told = row(&spec(taken_up_by), 45.0)
                .err()
                .unwrap()
                .error
                .to_string();
            let holes = match taken_up_by {
                TakenUpBy::HolePitch => "leaves 2 shaft holes for 3",
                _ => "leaves 1 shaft holes for 3",
            };
            assert!(told.contains(holes), "{told}");
        }
        let near = PlateSpec {
            fracture_distance_mm: Some(5.0),
            ..spec(TakenUpBy::EndDistance)
        };
        let told = row(&near, 90.0).err().unwrap().error.to_string();
        assert!(
            told.contains("5.0 mm from the uppermost distal hole"),
            "{told}"
        );
    }

    proptest! {
        #[test]
        fn two_of_the_three_lengths_are_kept(length in 50.0..140.0f64, screws in 2usize..6,
                                             pitch in 8.0..16.0f64, distance in 9.0..20.0f64) {
            for taken_up_by in [TakenUpBy::WorkingLength, TakenUpBy::HolePitch, TakenUpBy::EndDistance] {
                let spec = PlateSpec {
                    shaft_screws: screws,
                    hole_pitch_mm: pitch,
                    fracture_distance_mm: Some(distance),
                    end_distance_mm: Some(7.0),
                    ..spec(taken_up_by)
                };
                let Ok(row) = row(&spec, length) else { continue };
                let row = row.along_mm;
                let (top, innermost) = (row[0], row[row.len() - 1]);
                let pitches: Vec<f64> = row.windows(2).map(|w| w[0] - w[1]).collect();
                prop_assert!(pitches.iter().all(|p| (p - pitches[0]).abs() < 1e-9 && *p >= 6.5));
                let kept = [
                    (innermost - 20.0 - distance).abs() < 1e-9,
                    pitches.iter().all(|p| (p - pitch).abs() < 1e-9),
                    (length - top - 7.0).abs() < 1e-9,
                ];
                match taken_up_by {
                    TakenUpBy::WorkingLength => prop_assert!(kept[1] && kept[2]),
                    TakenUpBy::HolePitch => prop_assert!(kept[0] && kept[2]),
                    TakenUpBy::EndDistance => {
                        prop_assert!(kept[0] && kept[1]);
                        prop_assert!(length - top >= 7.0 - 1e-9 && length - top < 7.0 + pitch);
                    }
                }
                if taken_up_by == TakenUpBy::HolePitch {
                    let filled = ShaftPattern::Even.filled(row.len(), screws);
                    let gaps: Vec<usize> = filled.windows(2).map(|w| w[1] - w[0]).collect();
                    prop_assert!(gaps.iter().all(|g| *g == gaps[0]), "{gaps:?}");
                }
            }
        }
    }
}
