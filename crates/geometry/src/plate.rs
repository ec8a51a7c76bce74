//! A plate: a band of constant thickness laid along the bone surface.

use crate::centre_line::CentreLine;
use crate::footprint::{Footprint, Widths, locate, widest};
use crate::rod::Rod;
use crate::shaft_row::Stretch;
use crate::{
    Bone, Field, Fracture, FractureQuantity, GeometryError, Member, PlateQuantity, PlateSpec,
    Subject,
};
use bicolumn_base::{PlateSite, ScrewNumber, Vec3};
use std::sync::Arc;

/// Least distance between the rim of a hole and a fracture plane, mm (judgement).
const FRACTURE_RIM: f64 = 0.8;

/// A hole of a plate.
#[derive(Debug, Clone, PartialEq)]
pub struct Hole {
    /// Arc length along the plate's centre line from its distal end, mm.
    pub along_mm: f64,
    /// Centre, on the bone surface under the hole.
    pub centre: Vec3,
    /// Axis, pointing into the bone.
    pub axis: Vec3,
    /// Unit direction along the plate, towards its proximal end.
    pub along: Vec3,
    /// How far the hole is drawn out along the plate, mm; 0 = round.
    pub slot_mm: f64,
    /// Diameter where no screw sits, mm.
    pub diameter_mm: f64,
    /// The screw that sits in it; the plate is solid round its shaft (head one with the plate).
    pub screw: Option<ScrewNumber>,
}

/// A plate laid on the bone. Its volume: stand-off < bone distance < stand-off + thickness, inside the
/// outline, outside the empty holes.
pub struct Plate {
    /// Where it lies.
    pub site: PlateSite,
    /// Width of the shaft part, mm.
    pub width_mm: f64,
    /// Width round the distal screws, mm.
    pub distal_width_mm: f64,
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Gap to the bone, mm.
    pub stand_off_mm: f64,
    /// Length along the centre line, mm.
    pub length_mm: f64,
    /// Level of the proximal end above the articular axis, mm.
    pub end_level_mm: f64,
    /// Holes, distal to proximal.
    pub holes: Vec<Hole>,
    /// A length of the row of shaft holes that is not the one asked for.
    pub(crate) row_note: Option<String>,
    bone: Arc<Bone>,
    line: CentreLine,
    footprint: Footprint,
}

impl Plate {
    /// Lays a plate on a bone and places its holes, all still empty: as many distal holes as distal
    /// screws, and a row of shaft holes between the fracture and the proximal end.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] for a value out of range, [`GeometryError::NoRoom`] where bone or
    /// plate is too short for what is asked.
    pub(crate) fn lay(
        bone: Arc<Bone>,
        spec: &PlateSpec,
        fracture: Option<&Fracture>,
    ) -> Result<Plate, GeometryError> {
        let site = PlateSite::from(spec.site);
        let no_room = |why: String, hint: String| GeometryError::NoRoom {
            member: Member::Plate(site),
            why,
            hint,
            remedies: vec![spec.subject(PlateQuantity::DistalHoleLevel)],
        };
        let rim = PlateSpec::usual_end_distance_mm(spec.distal_width());
        let lowest = (0..200)
            .map(|i| f64::from(i) * 0.25)
            .find(|hole| reaches(&bone, site, hole - rim))
            .unwrap_or(50.0);
        if spec.distal_hole_level_mm < lowest {
            return Err(no_room(
                format!(
                    "its distal end would overhang the bone with the first hole at level {:.1} mm",
                    spec.distal_hole_level_mm
                ),
                format!("set distal_hole_level_mm to {lowest:.2} or more"),
            ));
        }
        let base = spec.distal_hole_level_mm - rim;
        let Some(mut line) = CentreLine::lay(
            &bone,
            site,
            spec.width_mm.max(spec.distal_width()),
            [base, spec.end_level_mm],
        ) else {
            return Err(no_room(
                "the bone surface ends before the plate does".into(),
                "raise distal_hole_level_mm".into(),
            ));
        };
        line.restart(line.at_level(spec.distal_hole_level_mm) - rim);
        let top = spec.stand_off_mm + spec.thickness_mm;
        let widths = widths(spec, rim, line.length());
        let widest = widest(&bone, &line, &widths);
        if widest < spec.width_mm {
            return Err(GeometryError::Dimension {
                subject: spec.subject(PlateQuantity::Width),
                value: spec.width_mm,
                unit: "mm",
                accepted: format!("up to {widest:.2}: a wider plate.{site} overhangs the bone"),
            });
        }
        let footprint = Footprint::new(&bone, &line, &widths, top);
        let mut plate = Plate {
            site,
            width_mm: spec.width_mm,
            distal_width_mm: spec.distal_width(),
            thickness_mm: spec.thickness_mm,
            stand_off_mm: spec.stand_off_mm,
            length_mm: line.length(),
            end_level_mm: spec.end_level_mm,
            holes: Vec::new(),
            row_note: None,
            bone,
            line,
            footprint,
        };
        (plate.holes, plate.row_note) = plate.place_holes(spec, fracture, rim)?;
        Ok(plate)
    }

    /// The outline extended along the bone normal: negative inside the footprint.
    pub fn outline(&self) -> &dyn Field {
        &self.footprint
    }

    /// Point on the bone surface under the centre line and the local frame there: (point, unit
    /// tangent towards proximal, unit outward normal).
    pub fn centre_line(&self, along_mm: f64) -> (Vec3, Vec3, Vec3) {
        let (mut p, tangent, normal) = self.line.frame(along_mm);
        let outer = self.bone.outer();
        for _ in 0..3 {
            p -= normal * (outer.value(p) / outer.gradient(p).dot(&normal).max(0.2));
        }
        (p, tangent, normal)
    }

    /// Footprint coordinates of a point: (along, across), mm. Along counts from the distal tip; across
    /// is the distance, in the tangent plane of the centre line, of the bone surface under the point.
    pub fn locate(&self, x: Vec3) -> (f64, f64) {
        locate(&self.bone, &self.line, x)
    }

    /// Signed distance to the plate without its holes, mm; exact to first order beside one face.
    pub fn value(&self, x: Vec3) -> f64 {
        let d = self.bone.outer().value(x);
        let top = self.stand_off_mm + self.thickness_mm;
        self.footprint
            .value(x)
            .max(d - top)
            .max(self.stand_off_mm - d)
    }

    /// Distance of a rod's surface to the plate and the place, mm: along its side, and from its end face.
    pub(crate) fn gap(&self, rod: &Rod) -> (f64, Vec3) {
        let axis = (rod.to - rod.from).normalize();
        let side = Rod {
            to: rod.to - axis * rod.radius.min(rod.length()),
            ..*rod
        };
        let along = side.axis_points().map(|x| (self.value(x) - rod.radius, x));
        let tip = rod.tip_face().map(|x| (self.value(x), x));
        along
            .chain(tip)
            .fold((f64::MAX, rod.to), |a, b| if b.0 < a.0 { b } else { a })
    }

    /// A point lifted or lowered to a height above the bone.
    pub(crate) fn over(&self, mut x: Vec3, height: f64) -> Vec3 {
        let outer = self.bone.outer();
        for _ in 0..3 {
            x += outer.gradient(x) * (height - outer.value(x));
        }
        x
    }

    fn hole(&self, along_mm: f64, diameter_mm: f64, slot_mm: f64) -> Hole {
        let (centre, along, normal) = self.centre_line(along_mm);
        Hole {
            along_mm,
            centre,
            axis: -normal,
            along,
            slot_mm,
            diameter_mm,
            screw: None,
        }
    }

    /// Distal holes, then shaft holes, distal to proximal, with what is to be told of the latter.
    fn place_holes(
        &self,
        spec: &PlateSpec,
        fracture: Option<&Fracture>,
        rim: f64,
    ) -> Result<(Vec<Hole>, Option<String>), GeometryError> {
        let no_room = |why: String, hint: &str, remedies: Vec<Subject>| GeometryError::NoRoom {
            member: Member::Plate(self.site),
            why,
            hint: hint.into(),
            remedies,
        };
        let distal_rim = 0.5 * spec.distal_screw_diameter_mm + FRACTURE_RIM;
        let mut holes: Vec<Hole> = Vec::new();
        for i in 0..spec.distal_screws {
            let hole = self.hole(
                rim + spec.distal_hole_pitch_mm * i as f64,
                spec.hole_diameter_mm,
                0.0,
            );
            if let Some(f) = fracture
                && f.below(hole.centre) < distal_rim
            {
                return Err(no_room(
                    format!(
                        "only {i} of {} distal screws fit below the fracture",
                        spec.distal_screws
                    ),
                    "ask for fewer distal screws, a smaller distal_hole_pitch_mm or a higher fracture",
                    vec![
                        spec.subject(PlateQuantity::DistalHolePitch),
                        spec.subject(PlateQuantity::DistalScrews),
                        Subject::Fracture(FractureQuantity::Level),
                    ],
                ));
            }
            holes.push(hole);
        }
        let centre = |along: f64| self.centre_line(along).0;
        let stretch = Stretch {
            fracture,
            centre: &centre,
            last_distal_mm: holes.last().map_or(0.0, |h| h.along_mm),
            length_mm: self.length_mm,
        };
        let row = stretch.lay_out(spec)?;
        let shaft = row.along_mm.iter().rev();
        holes.extend(shaft.map(|along| self.hole(*along, spec.hole_diameter_mm, spec.slot_mm)));
        Ok((holes, row.note))
    }

    /// Shaft holes that take screws, most proximal first.
    pub(crate) fn filled_shaft_holes(&self, spec: &PlateSpec) -> Vec<usize> {
        let last = self.holes.len() - 1;
        let row = self.holes.len() - spec.distal_screws;
        let filled = spec.shaft_pattern.filled(row, spec.shaft_screws);
        filled.into_iter().map(|k| last - k).collect()
    }
}

/// Widths of a plate so long: that of the distal end up to the last distal screw, then over one width into the other.
fn widths(spec: &PlateSpec, rim: f64, length: f64) -> Widths {
    let last = rim + spec.distal_hole_pitch_mm * spec.distal_screws.saturating_sub(1) as f64;
    let widest = spec.width_mm.max(spec.distal_width());
    let to = (last + 1.5 * widest).min(length - 0.5 * spec.width_mm);
    Widths {
        shaft_mm: spec.width_mm,
        distal_mm: spec.distal_width(),
        change_mm: [(last + 0.5 * widest).min(to - 0.5 * widest), to],
    }
}

/// Is there bone under the plate's distal tip at a level?
fn reaches(bone: &Bone, site: PlateSite, level: f64) -> bool {
    let (centre, radius) = bone.column(site == PlateSite::Medial, level);
    // The column's end is round: deeper than this share of its radius the surface turns under.
    bone.outer().value(centre) < -0.6 * radius && bone.outer().value(centre) < -2.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use crate::spec::PlateSiteName;
    use crate::{BoneSpec, PlateSpec};

    /// Largest distance by which the underside within a plate's last `reach` mm stands farther off the bone than
    /// asked, looked at square to the plate, mm.
    fn overhang(plate: &Plate, reach: f64) -> f64 {
        let outer = plate.bone.outer();
        let mut worst: f64 = 0.0;
        for i in 0..40 {
            for k in -15..=15 {
                let along = reach * f64::from(i) / 40.0;
                let aside = 0.5 * plate.width_mm * f64::from(k) / 15.0;
                let (p, tangent, normal) = plate.line.frame(along);
                let top = p + tangent.cross(&normal) * aside + normal * 6.0;
                let below = |height: f64| {
                    (0..600)
                        .map(|j| 0.05 * f64::from(j))
                        .find(|t| outer.value(top - normal * *t) < height)
                };
                let Some(shell) = below(plate.stand_off_mm + 0.01) else {
                    continue;
                };
                if plate.outline().value(top - normal * shell) < 0.0 {
                    let bone = below(0.0).unwrap_or(30.0);
                    worst = worst.max(bone - shell - plate.stand_off_mm);
                }
            }
        }
        worst
    }

    fn lay(bone: &Arc<Bone>, site: PlateSiteName, width_mm: f64) -> Result<Plate, GeometryError> {
        let spec = PlateSpec {
            width_mm,
            stand_off_mm: 0.5,
            distal_hole_level_mm: PlateSpec::new(site).distal_hole_level_mm
                + 0.5 * (width_mm - 10.0),
            ..PlateSpec::new(site)
        };
        Plate::lay(bone.clone(), &spec, None)
    }

    #[test]
    fn the_distal_end_of_a_plate_stands_nowhere_a_millimetre_farther_off_than_asked() {
        let bone = mean_bone();
        for (site, width) in [
            (PlateSiteName::Medial, 11.0),
            (PlateSiteName::Lateral, 12.0),
            (PlateSiteName::Posterolateral, 12.0),
        ] {
            let plate = lay(&bone, site, width).unwrap();
            let off = overhang(&plate, 14.0);
            assert!((0.0..1.0).contains(&off), "{site:?}: {off}");
        }
    }

    #[test]
    fn a_plate_has_its_distal_width_round_the_distal_screws_and_its_own_over_the_shaft() {
        let bone = mean_bone();
        for distal in [8.0, 11.0] {
            let spec = PlateSpec {
                width_mm: 9.5,
                distal_width_mm: Some(distal),
                distal_hole_level_mm: 11.0,
                ..PlateSpec::new(PlateSiteName::Lateral)
            };
            let plate = Plate::lay(bone.clone(), &spec, None).unwrap();
            let last = &plate.holes[spec.distal_screws - 1];
            // Where the outline is met across the plate, on the bone.
            let width = |along: f64| {
                let edge = |sign: f64| {
                    let (p, tangent, normal) = plate.centre_line(along);
                    let side = tangent.cross(&normal) * sign;
                    let steps = (0..1800).map(|i| 0.01 * f64::from(i));
                    let outside = |t: &f64| {
                        let x = plate.over(p + side * *t, 0.5);
                        plate.outline().value(x) > 0.0
                    };
                    let (_, across) =
                        plate.locate(p + side * steps.into_iter().find(outside).unwrap());
                    across.abs()
                };
                edge(1.0) + edge(-1.0)
            };
            // The end is a half circle.
            let h = 0.5 * distal;
            for along in [0.5, 1.0, 2.0] {
                let round = 2.0 * (h * h - (h - along).powi(2)).sqrt();
                assert!((width(along) - round).abs() < 0.1, "{distal}, {along}");
            }
            let found = [width(last.along_mm), width(plate.length_mm - 10.0)];
            assert!((found[0] - distal).abs() < 0.3, "{distal}: {found:?}");
            assert!((found[1] - 9.5).abs() < 0.3, "{distal}: {found:?}");
        }
    }

    #[test]
    fn a_medial_column_at_the_end_of_its_range_carries_a_plate_whose_holes_are_over_bone() {
        let bone = Arc::new(
            Bone::build(&BoneSpec {
                medial_column_angle_deg: 52.0,
                ..BoneSpec::mean_adult()
            })
            .unwrap(),
        );
        let plate = lay(&bone, PlateSiteName::Medial, 10.0).unwrap();
        for hole in &plate.holes {
            // A bore of 2 mm radius finds bone all round it, no fossa.
            let aside = hole.axis.cross(&hole.along);
            for k in 0..12 {
                let turn = std::f64::consts::TAU * f64::from(k) / 12.0;
                let rim = hole.centre + (hole.along * turn.cos() + aside * turn.sin()) * 2.0;
                let deep = bone.outer().value(rim + hole.axis * 2.0);
                assert!(deep < -0.5, "hole at {:.1}: {deep}", hole.along_mm);
            }
        }
    }
}
