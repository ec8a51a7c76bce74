//! A plate: a band of constant thickness laid along the bone surface.

use crate::fault::{Fault, Stage};
use crate::footprint::locate;
use crate::laid::Laid;
use crate::limits::{DISTAL_WEB, head_over_core};
use crate::rod::Rod;
use crate::row_choice::RowChoice;
use crate::shaft_row::Stretch;
use crate::{
    Bone, Field, Fracture, FractureQuantity, GeometryError, Member, PlateQuantity, PlateSpec,
    ScrewRow, Subject,
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
    /// Rows of shaft holes and their holes that take screws, the one asked for first.
    pub(crate) rows: Vec<RowChoice>,
    bone: Arc<Bone>,
    laid: Arc<Laid>,
}

impl Plate {
    /// Diameter of the seated head of a non-locking screw of a row over its core.
    pub(crate) fn head_over_core(&self, row: ScrewRow, core_mm: f64) -> f64 {
        let width = match row {
            ScrewRow::Distal => self.distal_width_mm,
            ScrewRow::Shaft | ScrewRow::Independent => self.width_mm,
        };
        head_over_core(width, core_mm)
    }

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
    ) -> Result<Plate, Fault> {
        let laid = Laid::on(&bone, spec).map_err(|f| f.at(Stage::Line))?;
        let mut plate = Plate {
            site: PlateSite::from(spec.site),
            width_mm: spec.width_mm,
            distal_width_mm: spec.distal_width(),
            thickness_mm: spec.thickness_mm,
            stand_off_mm: spec.stand_off_mm,
            length_mm: laid.line.length(),
            end_level_mm: spec.end_level_mm,
            holes: Vec::new(),
            rows: Vec::new(),
            bone,
            laid,
        };
        plate
            .place_distal_holes(spec, fracture)
            .map_err(|f| f.at(Stage::DistalHoles))?;
        let centre = |along: f64| plate.centre_line(along).0;
        let stretch = Stretch {
            fracture,
            centre: &centre,
            last_distal_mm: plate.holes.last().map_or(0.0, |h| h.along_mm),
            length_mm: plate.length_mm,
        };
        let rows = stretch.choices(spec).map_err(|f| f.at(Stage::ShaftHoles))?;
        plate.rows = rows;
        plate.take_row(spec, 0);
        Ok(plate)
    }

    /// The outline extended along the bone normal: negative inside the footprint.
    pub fn outline(&self) -> &dyn Field {
        self.laid.footprint(&self.bone)
    }

    /// Point on the bone surface under the centre line and the local frame there: (point, unit
    /// tangent towards proximal, unit outward normal).
    pub fn centre_line(&self, along_mm: f64) -> (Vec3, Vec3, Vec3) {
        let (mut p, tangent, normal) = self.laid.line.frame(along_mm);
        let outer = self.bone.outer();
        for _ in 0..3 {
            p -= normal * (outer.value(p) / outer.gradient(p).dot(&normal).max(0.2));
        }
        (p, tangent, normal)
    }

    /// Footprint coordinates of a point: (along, across), mm. Along counts from the distal tip; across
    /// is the distance, in the tangent plane of the centre line, of the bone surface under the point.
    pub fn locate(&self, x: Vec3) -> (f64, f64) {
        locate(&self.bone, &self.laid.line, x)
    }

    /// Signed distance to the plate without its holes, mm; exact to first order beside one face.
    pub fn value(&self, x: Vec3) -> f64 {
        let d = self.bone.outer().value(x);
        let top = self.stand_off_mm + self.thickness_mm;
        let across = (d - top).max(self.stand_off_mm - d);
        self.outline().value(x).max(across)
    }

    /// The same, or a lower bound of it above `limit`: the outline is not looked at far above or below the plate.
    fn value_below(&self, x: Vec3, limit: f64) -> f64 {
        let d = self.bone.outer().value(x);
        let top = self.stand_off_mm + self.thickness_mm;
        let across = (d - top).max(self.stand_off_mm - d);
        if across > limit {
            return across;
        }
        self.outline().value(x).max(across)
    }

    /// Does a point lie in the plate, its holes taken as filled?
    pub(crate) fn is_inside(&self, x: Vec3) -> bool {
        self.value_below(x, 0.0) <= 0.0
    }

    /// Distance of a rod's surface to the plate and the place, mm: along its side, and from its end face. Exact
    /// where it is below `limit`, else a lower bound.
    pub(crate) fn gap(&self, rod: &Rod, limit: f64) -> (f64, Vec3) {
        let axis = (rod.to - rod.from).normalize();
        let side = Rod {
            to: rod.to - axis * rod.radius.min(rod.length()),
            ..*rod
        };
        let along = side.axis_points().map(|x| {
            let value = self.value_below(x, limit + rod.radius);
            (value - rod.radius, x)
        });
        let tip = rod.tip_face().map(|x| (self.value_below(x, limit), x));
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

    pub(crate) fn hole(&self, along_mm: f64, diameter_mm: f64, slot_mm: f64) -> Hole {
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

    /// Places the distal holes.
    fn place_distal_holes(
        &mut self,
        spec: &PlateSpec,
        fracture: Option<&Fracture>,
    ) -> Result<(), Fault> {
        let rim = PlateSpec::usual_end_distance_mm(spec.distal_width());
        let distal_rim = 0.5 * spec.distal_screw_diameter_mm + FRACTURE_RIM;
        // Room of the i-th hole below the fracture with a pitch.
        let room = |i: usize, pitch: f64| {
            let centre = self.centre_line(rim + pitch * i as f64).0;
            fracture.map_or(f64::INFINITY, |f| f.below(centre) - distal_rim)
        };
        let (screws, pitch) = (spec.distal_screws, spec.distal_hole_pitch_mm);
        if let Some(i) = (0..screws).find(|i| room(*i, pitch) < 0.0) {
            let least = spec.distal_screw_diameter_mm + DISTAL_WEB;
            let narrower = (1..200)
                .map(|k| ((10.0 * pitch).floor() - f64::from(k)) / 10.0)
                .take_while(|p| *p >= least)
                .find(|p| (0..screws).all(|i| room(i, *p) >= 0.0));
            let lacking = -room(screws - 1, pitch).min(room(i, pitch));
            let [pitch, count, level] = [
                spec.subject(PlateQuantity::DistalHolePitch),
                spec.subject(PlateQuantity::DistalScrews),
                Subject::Fracture(FractureQuantity::Level),
            ];
            let hint = match i {
                0 => "raise the fracture's level_mm, or lower distal_hole_level_mm",
                _ => {
                    "ask for fewer distal screws, a smaller distal_hole_pitch_mm or a higher fracture"
                }
            };
            let mut remedies = vec![level];
            match i {
                0 => remedies.push(spec.subject(PlateQuantity::DistalHoleLevel)),
                _ => remedies.extend([pitch, count]),
            }
            let fault = Fault::from(GeometryError::NoRoom {
                member: Member::Plate(self.site),
                why: format!("only {i} of {screws} distal screws fit below the fracture"),
                hint: hint.into(),
                remedies,
            });
            let fewer = (i > 0).then_some((count, i as f64));
            let raised = fracture.map(|f| {
                let lacking = lacking / f.normal.y.max(0.1);
                (level, (10.0 * (f.spec.level_mm + lacking)).ceil() / 10.0)
            });
            let narrower = narrower.map(|p| (pitch, p));
            return Err(fault.or_by(narrower.into_iter().chain(raised).chain(fewer)));
        }
        self.holes = (0..screws)
            .map(|i| self.hole(rim + pitch * i as f64, spec.hole_diameter_mm, 0.0))
            .collect();
        Ok(())
    }

    /// Takes one of the rows of shaft holes: all holes empty again, distal to proximal.
    pub(crate) fn take_row(&mut self, spec: &PlateSpec, row: usize) {
        self.holes.truncate(spec.distal_screws);
        let along = self.rows[row].along_mm.iter().rev();
        let shaft: Vec<Hole> = along
            .map(|along| self.hole(*along, spec.hole_diameter_mm, spec.slot_mm))
            .collect();
        self.holes.extend(shaft);
    }
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
                let (p, tangent, normal) = plate.laid.line.frame(along);
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

    fn lay(bone: &Arc<Bone>, site: PlateSiteName, width_mm: f64) -> Result<Plate, Fault> {
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
