//! Bone, fracture, plates and screws together, checked against each other.

use crate::seat::{Placed, Seat};
use crate::spec::within;
use crate::{
    Bone, ConstructSpec, Fracture, GeometryError, Plate, Screw, ScrewRow, clash, distal_screws,
    shaft_screws,
};
use std::sync::Arc;

/// A whole construct, free of clashes.
pub struct Construct {
    /// The bone.
    pub bone: Arc<Bone>,
    /// The fracture, if any.
    pub fracture: Option<Fracture>,
    /// The plates.
    pub plates: Vec<Plate>,
    /// The screws, numbered from 1: plate by plate, from the proximal end down.
    pub screws: Vec<Screw>,
    /// Things worth telling the user: a screw shortened to clear something, potting close to a plate.
    pub notes: Vec<String>,
}

impl Construct {
    /// Builds and checks a construct.
    ///
    /// # Errors
    /// The first thing at fault, with the parts and numbers: see [`GeometryError`].
    pub fn build(spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        check(spec)?;
        Construct::on_bone(Arc::new(Bone::build(&spec.bone)?), spec)
    }

    /// Builds and checks a construct on a bone already built from `spec.bone`: the bone takes most of
    /// the time, and points of a study share it.
    ///
    /// # Errors
    /// As [`Construct::build`].
    pub fn on_bone(bone: Arc<Bone>, spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        check(spec)?;
        let fracture = spec
            .fracture
            .as_ref()
            .map(|f| Fracture::place(&bone, f))
            .transpose()?;
        let plates = spec
            .plates
            .iter()
            .map(|p| Plate::lay(bone.clone(), p, fracture.as_ref()))
            .collect::<Result<Vec<_>, _>>()?;
        let mut construct = Construct {
            bone,
            fracture,
            plates,
            screws: Vec::new(),
            notes: Vec::new(),
        };
        construct.place_screws(spec)?;
        construct.note_potting();
        clash::check(&construct, spec.clearance_mm)?;
        Ok(construct)
    }

    fn place_screws(&mut self, spec: &ConstructSpec) -> Result<(), GeometryError> {
        let (mut shaft, mut distal) = (Vec::new(), Vec::new());
        let mut number = 0;
        for (plate, of) in self.plates.iter().zip(&spec.plates) {
            for hole in plate.filled_shaft_holes(of.distal_screws, of.shaft_screws) {
                number += 1;
                let diameter = of.shaft_screw_diameter_mm;
                let seat = Seat::new(plate, hole, ScrewRow::Shaft, diameter, number);
                shaft.push((seat, of.bicortical));
            }
            for hole in (0..of.distal_screws).rev() {
                number += 1;
                let diameter = of.distal_screw_diameter_mm;
                let seat = Seat::new(plate, hole, ScrewRow::Distal, diameter, number);
                distal.push((seat, of.distal_screw_length_mm));
            }
        }
        let clearance = spec.clearance_mm;
        let fracture = self.fracture.as_ref();
        let mut placed = shaft_screws::place(&self.bone, fracture, &self.plates, shaft, clearance)?;
        let rods: Vec<_> = placed.iter().map(Placed::rod).collect();
        placed.extend(distal_screws::place(
            &self.bone, fracture, distal, &rods, clearance,
        )?);
        placed.sort_by_key(|p| p.seat.number);
        for p in placed {
            if let Some(plate) = self
                .plates
                .iter_mut()
                .find(|plate| plate.site == p.seat.plate)
            {
                plate.holes[p.seat.hole].screw = Some(p.seat.number);
            }
            self.notes.extend(p.note);
            self.screws.push(Screw {
                number: p.seat.number,
                plate: p.seat.plate,
                row: p.seat.row,
                entry: p.seat.entry,
                direction: p.direction,
                length_mm: p.length,
                diameter_mm: 2.0 * p.seat.radius,
            });
        }
        Ok(())
    }

    /// A potting closer than two shaft diameters disturbs the stress at the plate's end (Saint-Venant).
    fn note_potting(&mut self) {
        let bone = self.bone.spec();
        let free = 2.0 * bone.shaft_diameter_mm;
        let ends = self.plates.iter().map(|p| p.end_level_mm);
        let highest = ends.fold(f64::MIN, f64::max);
        if highest > bone.potting_level_mm - free {
            self.notes.push(format!(
                "the potting at level {:.1} mm is closer than two shaft diameters ({free:.1} mm) to the highest plate end at {highest:.1} mm",
                bone.potting_level_mm
            ));
        }
    }
}

/// Checks of plain numbers, before anything is built.
fn check(spec: &ConstructSpec) -> Result<(), GeometryError> {
    within(
        "construct.clearance_mm".into(),
        spec.clearance_mm,
        "mm",
        0.8,
        3.0,
    )?;
    for (i, plate) in spec.plates.iter().enumerate() {
        plate.check()?;
        if spec.plates[..i].iter().any(|p| p.site == plate.site) {
            return Err(GeometryError::NoRoom {
                what: format!("plate.{}", bicolumn_base::PlateSite::from(plate.site)),
                why: "two plates are asked for at one site".into(),
                hint: "give each plate its own site".into(),
            });
        }
    }
    Ok(())
}
