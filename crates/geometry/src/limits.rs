//! Limits between quantities of a specification: faults that plain numbers show before a bone is built.
//!
//! Every limit stands in the table of `docs/concepts/fracture-and-hardware.md`.

use crate::error::{within, within_given};
use crate::fault::Fault;
use crate::head::{HEAD_OVER_CORE, LEAST_HEAD_OVER_CORE};
use crate::{
    BoneDimension, CLEARANCE_MM, ConstructSpec, GeometryError, Member, PlateQuantity, PlateSpec,
    Range, ScrewHold, Subject, TakenUpBy,
};

/// Plate left beside a hole, both sides together, mm (judgement).
const BESIDE_HOLE: f64 = 3.0;
/// Web between two holes, mm (judgement).
pub(crate) const HOLE_WEB: f64 = 2.0;
/// Web between two distal screws, mm (judgement).
pub(crate) const DISTAL_WEB: f64 = 2.5;
/// Plate left beside a head, both sides together, mm (judgement).
const BESIDE_HEAD: f64 = 2.0;
/// Web between two heads, mm (judgement).
pub(crate) const HEAD_WEB: f64 = 1.2;
/// Thinnest plate with seats, mm (judgement).
const THINNEST_WITH_SEATS: f64 = 1.5;
/// Distance a plate's end keeps from the potting, mm (judgement).
const BELOW_POTTING: f64 = 5.0;

/// Diameter of a seated head in a plate of a width over its core: the common one, or what leaves a web beside it.
pub(crate) fn head_over_core(width_mm: f64, core_mm: f64) -> f64 {
    HEAD_OVER_CORE.min((width_mm - BESIDE_HEAD) / core_mm)
}

impl ConstructSpec {
    /// Checks of plain numbers: what can be refused before a bone is built.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] or [`GeometryError::NoRoom`]; [`GeometryError::Several`] where more than one is at
    /// fault.
    pub fn check(&self) -> Result<(), GeometryError> {
        match together(self.faults()) {
            Some(fault) => Err(*fault.error),
            None => Ok(()),
        }
    }

    /// All that plain numbers show to be wrong.
    pub(crate) fn faults(&self) -> Vec<Fault> {
        let mut faults = Vec::new();
        let clearance = within(Subject::Clearance, self.clearance_mm, CLEARANCE_MM);
        faults.extend(clearance.err().map(Fault::from));
        for (i, plate) in self.plates.iter().enumerate() {
            faults.extend(plate.faults());
            faults.extend(self.above_potting(plate));
            if self.plates[..i].iter().any(|p| p.site == plate.site) {
                faults.push(Fault::from(GeometryError::NoRoom {
                    member: Member::Plate(plate.site.into()),
                    why: "two plates are asked for at one site".into(),
                    hint: "give each plate its own site".into(),
                    remedies: vec![],
                }));
            }
        }
        faults
    }

    /// The fault of a plate longer than the shaft model.
    fn above_potting(&self, plate: &PlateSpec) -> Option<Fault> {
        let potting = self.bone.potting_level_mm;
        let highest = potting - BELOW_POTTING;
        if plate.end_level_mm <= highest {
            return None;
        }
        let remedies = vec![
            plate.subject(PlateQuantity::EndLevel),
            Subject::Bone(BoneDimension::PottingLevel),
        ];
        let fault = Fault::from(GeometryError::NoRoom {
            member: Member::Plate(plate.site.into()),
            why: format!(
                "its proximal end at level {:.1} mm is longer than the shaft model, potted at {potting:.1} mm",
                plate.end_level_mm
            ),
            hint: format!(
                "end it at {highest:.1} mm or below, or set potting_level_mm to {:.1} or more",
                plate.end_level_mm + BELOW_POTTING
            ),
            remedies,
        });
        // Two shaft diameters of free shaft (Saint-Venant), to whole centimetres.
        let free = plate.end_level_mm + 2.0 * self.bone.shaft_diameter_mm;
        Some(fault.or_by([
            (
                Subject::Bone(BoneDimension::PottingLevel),
                10.0 * (0.1 * free).ceil(),
            ),
            (plate.subject(PlateQuantity::EndLevel), highest),
        ]))
    }
}

/// The faults as one, as the user is told; the cures are those of the first.
pub(crate) fn together(mut faults: Vec<Fault>) -> Option<Fault> {
    match faults.len() {
        0 => None,
        1 => faults.pop(),
        _ => {
            let first = faults[0].clone();
            let error = GeometryError::Several(faults.into_iter().map(|f| *f.error).collect());
            Some(Fault {
                error: Box::new(error),
                ..first
            })
        }
    }
}

impl PlateSpec {
    /// Faults of dimensions that make no plate.
    fn faults(&self) -> Vec<Fault> {
        use PlateQuantity as Q;
        let mut faults = Vec::new();
        let mut accept = |q: Q, value: f64, range: Range, others: &[(Q, f64)]| {
            let others = others.iter().map(|(q, value)| (self.subject(*q), *value));
            let fault = within(self.subject(q), value, range).err().map(Fault::from);
            faults.extend(fault.map(|f| f.or_by(others)));
        };
        let (width, hole, pitch) = (self.width_mm, self.hole_diameter_mm, self.hole_pitch_mm);
        accept(Q::Width, width, Q::Width.range(), &[]);
        let least = self.distal_screw_diameter_mm + BESIDE_HOLE;
        let range = Q::DistalWidth.range().from(least);
        accept(Q::DistalWidth, self.distal_width(), range, &[]);
        accept(Q::Thickness, self.thickness_mm, Q::Thickness.range(), &[]);
        accept(
            Q::HoleDiameter,
            hole,
            Q::HoleDiameter.range().up_to(width - BESIDE_HOLE),
            &[(Q::Width, hole + BESIDE_HOLE)],
        );
        accept(
            Q::HolePitch,
            pitch,
            Q::HolePitch.range().from(hole + HOLE_WEB),
            &[(Q::HoleDiameter, pitch - HOLE_WEB)],
        );
        let core = self.shaft_screw_diameter_mm;
        accept(
            Q::ShaftScrewDiameter,
            core,
            Q::ShaftScrewDiameter.range(),
            &[],
        );
        let core = self.distal_screw_diameter_mm;
        accept(
            Q::DistalScrewDiameter,
            core,
            Q::DistalScrewDiameter.range(),
            &[],
        );
        accept(
            Q::DistalHolePitch,
            self.distal_hole_pitch_mm,
            Q::DistalHolePitch.range().from(core + DISTAL_WEB),
            &[(
                Q::DistalScrewDiameter,
                self.distal_hole_pitch_mm - DISTAL_WEB,
            )],
        );
        let length = self.distal_screw_length_mm;
        accept(
            Q::DistalScrewLength,
            length,
            Q::DistalScrewLength.range(),
            &[],
        );
        let lowest = self.distal_hole_level_mm;
        accept(Q::DistalHoleLevel, lowest, Q::DistalHoleLevel.range(), &[]);
        let slot = Q::Slot.range();
        let most = (pitch - hole - HOLE_WEB).min(slot.most);
        // Without room for a slot the pitch is at fault, which is told by itself.
        if most >= 0.0 {
            accept(
                Q::Slot,
                self.slot_mm,
                slot.up_to(most),
                &[(Q::HolePitch, self.slot_mm + hole + HOLE_WEB)],
            );
        }
        let least = Self::usual_end_distance_mm(width);
        let range = Q::EndDistance.range().from(least);
        accept(Q::EndDistance, self.end_distance(), range, &[]);
        let least = self.fracture_distance_for(TakenUpBy::WorkingLength);
        let range = Q::FractureDistance.range().from(least);
        accept(Q::FractureDistance, self.fracture_distance(), range, &[]);
        let tilt = self.shaft_screw_tilt_deg;
        accept(Q::ShaftScrewTilt, tilt, Q::ShaftScrewTilt.range(), &[]);
        // Staggered plates may end above the range of the mean level: any potting bounds them.
        let highest = BoneDimension::PottingLevel.range().most;
        let range = Range::new(lowest + 2.0 * width, highest);
        accept(Q::EndLevel, self.end_level_mm, range, &[]);
        let count = self.shaft_screws as f64;
        accept(Q::ShaftScrews, count, Q::ShaftScrews.range(), &[]);
        let count = self.distal_screws as f64;
        accept(Q::DistalScrews, count, Q::DistalScrews.range(), &[]);
        faults.extend(self.stand_off_fault());
        faults.extend(self.seat_faults());
        faults
    }

    /// A thinner slit than the range of the stand-off cannot be meshed well; zero is a plate that touches.
    fn stand_off_fault(&self) -> Option<Fault> {
        let range = PlateQuantity::StandOff.range();
        if self.stand_off_mm == 0.0 || range.contains(self.stand_off_mm) {
            return None;
        }
        let subject = self.subject(PlateQuantity::StandOff);
        Some(Fault::from(GeometryError::Dimension {
            subject,
            value: self.stand_off_mm,
            unit: subject.unit(),
            accepted: format!("0, or {range}"),
            bounds: Some(range),
        }))
    }

    /// Faults of heads that the plate has no room for.
    fn seat_faults(&self) -> Vec<Fault> {
        use PlateQuantity as Q;
        let mut faults = Vec::new();
        let rows = [
            (
                "shaft",
                self.shaft_hold,
                Q::ShaftScrewDiameter,
                self.shaft_screw_diameter_mm,
                (Q::Width, self.width_mm),
                (Q::HolePitch, self.hole_pitch_mm),
            ),
            (
                "distal",
                self.distal_hold,
                Q::DistalScrewDiameter,
                self.distal_screw_diameter_mm,
                (Q::DistalWidth, self.distal_width()),
                (Q::DistalHolePitch, self.distal_hole_pitch_mm),
            ),
        ];
        for (row, hold, diameter, core, (width_of, width), (pitch, between)) in rows {
            match hold {
                ScrewHold::Locking => continue,
                ScrewHold::NonLocking => {}
                ScrewHold::Lag | ScrewHold::Positional => {
                    faults.push(Fault::from(GeometryError::NoRoom {
                        member: Member::Plate(self.site.into()),
                        why: format!("its {row} screws cannot be {hold:?}: those have no plate"),
                        hint: "take locking or non-locking screws".into(),
                        remedies: vec![],
                    }));
                    continue;
                }
            }
            let thickness = Q::Thickness;
            let range = thickness.range().from(THINNEST_WITH_SEATS);
            let told = "mm with non-locking screws";
            let of_thickness =
                within_given(self.subject(thickness), self.thickness_mm, told, range);
            faults.extend(of_thickness.err().map(Fault::from));
            // Between two heads, and between a head and the plate's edge, a web remains.
            let (in_width, in_pitch) = (width - BESIDE_HEAD, between - HEAD_WEB);
            let head = head_over_core(width, core) * core;
            // A head that the width narrows is no wider beside the next one.
            let most_by_pitch = match in_width <= in_pitch {
                true => f64::INFINITY,
                false => in_pitch / HEAD_OVER_CORE,
            };
            for (most, other, needed, told) in [
                (
                    in_width / LEAST_HEAD_OVER_CORE,
                    width_of,
                    LEAST_HEAD_OVER_CORE * core + BESIDE_HEAD,
                    "mm with non-locking screws, whose heads are at least twice as wide and 2 mm narrower than the plate",
                ),
                (
                    most_by_pitch,
                    pitch,
                    head + HEAD_WEB,
                    "mm with non-locking screws, whose heads are 2.5 times as wide, in a narrow plate less, and 1.2 mm narrower than the hole pitch",
                ),
            ] {
                let range = diameter.range().up_to(most);
                let fault = within_given(self.subject(diameter), core, told, range);
                let fault = fault.err().map(Fault::from);
                // Upwards to a tenth.
                let needed = (10.0 * needed - 1e-6).ceil() / 10.0;
                faults.extend(fault.map(|f| f.or_by([(self.subject(other), needed)])));
            }
        }
        faults
    }
}
