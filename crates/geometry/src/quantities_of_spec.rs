//! Quantities of a specification, read and set by what they are.

use crate::{
    ConstructSpec, FractureQuantity, FractureSpec, IndependentQuantity, IndependentScrewSpec,
    PlateQuantity, PlateSpec, Subject,
};

/// A number of a specification, whatever type it is held in.
enum Slot<'a> {
    Length(&'a mut f64),
    Optional(&'a mut Option<f64>, f64),
    Count(&'a mut usize),
}

impl ConstructSpec {
    /// Value of a quantity; none where the construct has no such part.
    pub fn value(&self, subject: Subject) -> Option<f64> {
        Some(match self.clone().slot(subject)? {
            Slot::Length(x) => *x,
            Slot::Optional(x, usual) => x.unwrap_or(usual),
            Slot::Count(n) => *n as f64,
        })
    }

    /// Sets a quantity; counts to the nearest whole number.
    pub(crate) fn set(&mut self, subject: Subject, value: f64) {
        match self.slot(subject) {
            Some(Slot::Length(x)) => *x = value,
            Some(Slot::Optional(x, _)) => *x = Some(value),
            Some(Slot::Count(n)) => *n = value.round().max(0.0) as usize,
            None => {}
        }
    }

    fn slot(&mut self, subject: Subject) -> Option<Slot<'_>> {
        match subject {
            Subject::Bone(d) => Some(Slot::Length(&mut self.bone[d])),
            Subject::Fracture(q) => of_fracture(self.fracture.as_mut()?, q),
            Subject::Plate(site, q) => {
                let mut plates = self.plates.iter_mut();
                Some(of_plate(
                    plates.find(|p| bicolumn_base::PlateSite::from(p.site) == site)?,
                    q,
                ))
            }
            Subject::Independent(n, q) => {
                let screw = self.independent.get_mut(n.checked_sub(1)?)?;
                Some(Slot::Length(of_independent(screw, q)))
            }
            Subject::Clearance => Some(Slot::Length(&mut self.clearance_mm)),
            Subject::IndependentHold(_) => None,
        }
    }
}

fn of_fracture(f: &mut FractureSpec, quantity: FractureQuantity) -> Option<Slot<'_>> {
    use FractureQuantity as Q;
    Some(Slot::Length(match quantity {
        Q::Level => &mut f.level_mm,
        Q::Gap => &mut f.gap_mm,
        Q::Inclination => &mut f.inclination_deg,
        Q::SplitGap => &mut f.split.as_mut()?.gap_mm,
        Q::SplitOffset => &mut f.split.as_mut()?.offset_mm,
        Q::SplitInclination => &mut f.split.as_mut()?.inclination_deg,
    }))
}

fn of_plate(p: &mut PlateSpec, quantity: PlateQuantity) -> Slot<'_> {
    use PlateQuantity as Q;
    let (end, fracture, distal) = (p.end_distance(), p.fracture_distance(), p.distal_width());
    Slot::Length(match quantity {
        Q::Width => &mut p.width_mm,
        Q::DistalWidth => return Slot::Optional(&mut p.distal_width_mm, distal),
        Q::Thickness => &mut p.thickness_mm,
        Q::HolePitch => &mut p.hole_pitch_mm,
        Q::DistalHolePitch => &mut p.distal_hole_pitch_mm,
        Q::HoleDiameter => &mut p.hole_diameter_mm,
        Q::StandOff => &mut p.stand_off_mm,
        Q::EndLevel => &mut p.end_level_mm,
        Q::DistalHoleLevel => &mut p.distal_hole_level_mm,
        Q::ShaftScrews => return Slot::Count(&mut p.shaft_screws),
        Q::DistalScrews => return Slot::Count(&mut p.distal_screws),
        Q::ShaftScrewDiameter => &mut p.shaft_screw_diameter_mm,
        Q::DistalScrewDiameter => &mut p.distal_screw_diameter_mm,
        Q::DistalScrewLength => &mut p.distal_screw_length_mm,
        Q::Slot => &mut p.slot_mm,
        Q::EndDistance => return Slot::Optional(&mut p.end_distance_mm, end),
        Q::FractureDistance => return Slot::Optional(&mut p.fracture_distance_mm, fracture),
        Q::ShaftScrewTilt => &mut p.shaft_screw_tilt_deg,
    })
}

fn of_independent(s: &mut IndependentScrewSpec, quantity: IndependentQuantity) -> &mut f64 {
    use IndependentQuantity as Q;
    match quantity {
        Q::Level => &mut s.level_mm,
        Q::Anterior => &mut s.anterior_mm,
        Q::Inclination => &mut s.inclination_deg,
        Q::Turn => &mut s.turn_deg,
        Q::Diameter => &mut s.diameter_mm,
        Q::Length => &mut s.length_mm,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{BoneDimension, SplitSpec};

    #[test]
    fn every_quantity_is_set_and_read_by_its_subject() {
        let mut spec = ConstructSpec::parallel();
        spec.fracture.as_mut().unwrap().split = Some(SplitSpec::default());
        spec.independent.push(IndependentScrewSpec::default());
        let site = spec.plates[1].site.into();
        let bone = BoneDimension::ALL.iter().map(|q| Subject::Bone(*q));
        let fracture = FractureQuantity::ALL.iter().map(|q| Subject::Fracture(*q));
        let plate = PlateQuantity::ALL.iter().map(|q| Subject::Plate(site, *q));
        let own = IndependentQuantity::ALL.iter();
        let own = own.map(|q| Subject::Independent(1, *q));
        for (n, subject) in bone.chain(fracture).chain(plate).chain(own).enumerate() {
            let before = spec.clone();
            spec.set(subject, 3.0 + n as f64);
            assert_eq!(spec.value(subject), Some(3.0 + n as f64), "{subject}");
            assert_ne!(before, spec, "{subject}");
            // Nothing else moved but what follows from it.
            spec.set(subject, before.value(subject).unwrap());
            assert_eq!(before.value(subject), spec.value(subject));
        }
        assert_eq!(spec.value(Subject::IndependentHold(1)), None);
    }
}
