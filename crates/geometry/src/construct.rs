//! Bone, fracture, plates and screws together, checked against each other.

use crate::fault::{Fault, Stage};
use crate::head::HEAD_OVER_CORE;
use crate::limits::head_over_core;
use crate::rod::Rod;
use crate::row_choice::RowChoice;
use crate::seat::{Placed, Seat};
use crate::shaft_screws::Plated;
use crate::spec::ScrewHold;
use crate::{
    Bone, BoneDimension, BoneSpec, CanalFloor, Concession, ConstructSpec, Fracture, GeometryError,
    Head, Member, Moved, Plate, PlateSpec, Screw, ScrewRow, Subject, canal, clash, distal_screws,
    fit, fracture_edges, independent, shaft_screws,
};
use bicolumn_base::ScrewNumber;
use std::collections::BTreeMap;
use std::sync::Arc;

/// A whole construct, free of clashes.
pub struct Construct {
    /// The bone.
    pub bone: Arc<Bone>,
    /// The fracture, if any.
    pub fracture: Option<Fracture>,
    /// The plates.
    pub plates: Vec<Plate>,
    /// The screws, numbered from 1: plate by plate, from the proximal end down; then those without a
    /// plate.
    pub screws: Vec<Screw>,
    /// Floor of the medullary canal; `None` where the proximal fragment's canal ends at the fracture.
    pub canal_floor: Option<CanalFloor>,
    /// Largest distance by which that floor was bent out of the way of screws, mm.
    pub canal_floor_bent_mm: f64,
    /// Things worth telling the user: a screw shortened to clear something, potting close to a plate.
    pub notes: Vec<String>,
    /// Concessions of its screws, as they were laid out.
    pub(crate) concessions: BTreeMap<ScrewNumber, Vec<Concession>>,
    /// Its specification as built.
    pub spec: ConstructSpec,
    /// Quantities that were moved so that it could be built.
    pub moved: Vec<Moved>,
}

impl Construct {
    /// Builds and checks a construct.
    ///
    /// # Errors
    /// The first thing at fault, with the parts and numbers: see [`GeometryError`].
    pub fn build(spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        Construct::on_bones(spec, &|bone| Bone::build(bone).map(Arc::new))
    }

    /// Builds and checks a construct on a bone already built from `spec.bone`: the bone takes most of
    /// the time, and points of a study share it.
    ///
    /// # Errors
    /// As [`Construct::build`].
    pub fn on_bone(bone: Arc<Bone>, spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        Construct::on_bones(spec, &|asked| match *asked == spec.bone {
            true => Ok(bone.clone()),
            false => Bone::build(asked).map(Arc::new),
        })
    }

    /// Builds and checks the construct nearest to a specification that its freedom to move quantities allows, on bones
    /// that are built, or kept, elsewhere.
    ///
    /// # Errors
    /// As [`Construct::build`].
    pub fn on_bones(
        spec: &ConstructSpec,
        bones: &dyn Fn(&BoneSpec) -> Result<Arc<Bone>, GeometryError>,
    ) -> Result<Construct, GeometryError> {
        let build = |spec: &ConstructSpec| {
            let bone =
                bones(&spec.bone).map_err(|error| of_bone(error, &spec.bone).at(Stage::Bone))?;
            Construct::exactly(bone, spec)
        };
        let (mut construct, moved) = fit::nearest(spec, &build).map_err(|fault| *fault.error)?;
        construct
            .notes
            .extend(moved.iter().map(ToString::to_string));
        construct.moved = moved;
        Ok(construct)
    }

    /// Builds and checks a construct as its specification stands.
    fn exactly(bone: Arc<Bone>, spec: &ConstructSpec) -> Result<Construct, Fault> {
        let fracture = spec
            .fracture
            .as_ref()
            .map(|f| Fracture::place(&bone, f))
            .transpose()
            .map_err(|error| Fault::from(error).at(Stage::Fracture))?;
        if let Some(fracture) = &fracture {
            fracture_edges::check(&bone, fracture).map_err(|f| f.at(Stage::Fracture))?;
        }
        let plates = spec
            .plates
            .iter()
            .enumerate()
            .map(|(n, p)| {
                let laid = Plate::lay(bone.clone(), p, fracture.as_ref());
                laid.map_err(|fault| Fault { plate: n, ..fault })
            })
            .collect::<Result<Vec<_>, _>>()?;
        let mut construct = Construct {
            canal_floor: canal::floor(&bone, fracture.as_ref()),
            canal_floor_bent_mm: 0.0,
            notes: bone.notes().to_vec(),
            bone,
            fracture,
            plates,
            screws: Vec::new(),
            concessions: BTreeMap::new(),
            spec: spec.clone(),
            moved: Vec::new(),
        };
        construct.place_screws(spec)?;
        construct.settle_canal_floor();
        construct.note_potting();
        construct.note_screws(spec);
        let solids = clash::Solids {
            bone: &construct.bone,
            fracture: construct.fracture.as_ref(),
            plates: &construct.plates,
            screws: &construct.screws,
        };
        clash::check(&solids, spec.clearance_mm)
            .map_err(|error| Fault::from(error).at(Stage::Clash))?;
        Ok(construct)
    }

    fn place_screws(&mut self, spec: &ConstructSpec) -> Result<(), Fault> {
        let clearance = spec.clearance_mm;
        let fracture = self.fracture.as_ref();
        let mut number = 0;
        let mut firsts = Vec::new();
        for of in &spec.plates {
            firsts.push(number + 1);
            number += (of.shaft_screws + of.distal_screws) as u8;
        }
        let mut independent = Vec::new();
        for (i, of) in spec.independent.iter().enumerate() {
            number += 1;
            let placed = independent::place(&self.bone, fracture, of, i + 1, number);
            independent.push(placed.map_err(|f| f.at(Stage::Independent))?);
        }
        let plated: Vec<Plated<'_>> = (self.plates.iter().zip(&spec.plates).zip(&firsts))
            .map(|((plate, spec), first)| Plated {
                plate,
                spec,
                first_number: *first,
            })
            .collect();
        let plan = shaft_screws::place(&self.bone, fracture, &plated, clearance)
            .map_err(|f| f.at(Stage::ShaftScrews))?;
        let mut distal = Vec::new();
        for Plated {
            plate,
            spec: of,
            first_number,
        } in &plated
        {
            for (k, hole) in (0..of.distal_screws).rev().enumerate() {
                let number = first_number + (of.shaft_screws + k) as u8;
                let diameter = of.distal_screw_diameter_mm;
                let at = (hole, &plate.holes[hole]);
                let seat = Seat::new(plate, at, ScrewRow::Distal, diameter, 0.0, number);
                distal.push((seat, of.distal_screw_length_mm));
            }
        }
        let mut placed = plan.placed;
        let of_seat = |p: &Placed| (p.seat.member(), p.rod());
        let mut others: Vec<_> = placed.iter().map(of_seat).collect();
        others.extend(independent.iter().enumerate().map(|(i, s)| {
            let (number, index) = (s.number, i + 1);
            (Member::Independent { number, index }, Rod::in_bone(s))
        }));
        let distal =
            distal_screws::place(&self.bone, fracture, distal, &plated, &others, clearance);
        placed.extend(distal.map_err(|f| f.at(Stage::DistalScrews))?);
        let of_plates = self.plates.iter_mut().zip(&spec.plates).zip(&firsts);
        for (((plate, of), first), row) in of_plates.zip(plan.rows) {
            plate.take_row(of, row);
            let conceded = row_concessions(of, &plate.rows[row]);
            let numbers = (*first..).map(ScrewNumber);
            self.concessions.extend(numbers.zip(conceded));
            self.notes.extend(plate.rows[row].note.clone());
            self.notes.extend(row_note(plate, row));
        }
        placed.sort_by_key(|p| p.seat.number);
        for p in placed {
            let mut of_plates = self.plates.iter_mut().zip(&spec.plates);
            let Some((plate, of)) = of_plates.find(|(plate, _)| plate.site == p.seat.plate) else {
                continue;
            };
            plate.holes[p.seat.hole].screw = Some(p.seat.number);
            let hold = match p.seat.row {
                ScrewRow::Shaft => of.shaft_hold,
                _ => of.distal_hold,
            };
            let given_up = self.concessions.entry(p.seat.number).or_default();
            given_up.splice(0..0, p.given_up);
            let notes = given_up.iter().filter_map(|g| g.note(p.seat.number));
            self.notes.extend(notes);
            self.screws.push(Screw {
                number: p.seat.number,
                plate: Some(p.seat.plate),
                row: p.seat.row,
                hold,
                head: match hold {
                    ScrewHold::NonLocking => {
                        p.seat.seated_head(p.direction, plate, self.bone.outer())
                    }
                    _ => Head::Locked,
                },
                glides_in: None,
                entry: p.seat.entry,
                direction: p.direction,
                length_mm: p.length,
                diameter_mm: 2.0 * p.seat.radius,
            });
        }
        let seats = independent.iter();
        self.notes
            .extend(seats.filter_map(|s| independent::seat_note(&self.bone, s)));
        self.screws.extend(independent);
        Ok(())
    }

    /// Bends the canal's floor out of the way of screws, and tells of it: also of a canal without floor, and
    /// of screws that it could not give way to.
    fn settle_canal_floor(&mut self) {
        let level = self.bone.spec().canal_floor_mm;
        let Some(floor) = &mut self.canal_floor else {
            self.notes.push(format!(
                "the canal of the proximal fragment opens into the fracture: its floor at level {level:.1} mm would leave a plug of bone too thin to mesh"
            ));
            return;
        };
        let rods: Vec<Rod> = self.screws.iter().map(Rod::in_bone).collect();
        let bent = floor.give_way(&self.bone, self.fracture.as_ref(), &rods);
        self.canal_floor_bent_mm = bent.iter().copied().fold(0.0, f64::max);
        for ((s, rod), bent) in self.screws.iter().zip(&rods).zip(bent) {
            let beside = canal::beside_floor_mm(&self.bone, Some(floor), rod);
            if bent > 0.0 {
                self.notes.push(format!(
                    "the canal's floor at level {level:.1} mm is bent by up to {bent:.1} mm where {} runs along it",
                    s.number
                ));
            } else if beside > 0.0 {
                self.notes.push(format!(
                    "{} runs beside the canal's floor at level {level:.1} mm for {beside:.1} mm: the mesh is poorer there",
                    s.number
                ));
            }
        }
    }

    /// Heads narrower than common, and a plate held by a single screw on one side of the fracture, are told.
    fn note_screws(&mut self, spec: &ConstructSpec) {
        for of in &spec.plates {
            let (shaft, distal) = (of.shaft_screw_diameter_mm, of.distal_screw_diameter_mm);
            for (row, hold, width, core) in [
                ("shaft", of.shaft_hold, of.width_mm, shaft),
                ("distal", of.distal_hold, of.distal_width(), distal),
            ] {
                let (head, usual) = (head_over_core(width, core), HEAD_OVER_CORE);
                if hold == ScrewHold::NonLocking && head < usual {
                    self.notes.push(format!(
                        "the heads of the {row} screws of plate.{} are {:.1} mm wide instead of {:.1}: the plate is {width:.1} mm wide",
                        bicolumn_base::PlateSite::from(of.site),
                        head * core,
                        usual * core
                    ));
                }
            }
            for (count, row) in [(of.shaft_screws, "shaft"), (of.distal_screws, "distal")] {
                if count < shaft_screws::LEAST_SCREWS {
                    self.notes.push(format!(
                        "plate.{} has a single {row} screw; two or better three on each side are common practice",
                        bicolumn_base::PlateSite::from(of.site)
                    ));
                }
            }
        }
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

/// The fault of a bone; a fossa that leaves too little of a column is made narrower by a millimetre at a time.
fn of_bone(error: GeometryError, spec: &BoneSpec) -> Fault {
    let fossa = Subject::Bone(BoneDimension::FossaWidth);
    let is_fossa = matches!(&error, GeometryError::Dimension { subject, .. } if *subject == fossa);
    let narrower = is_fossa.then_some((fossa, spec.fossa_width_mm - 1.0));
    Fault::from(error).or_by(narrower)
}

/// Concessions of the screws of a row, from its first screw on.
fn row_concessions(of: &PlateSpec, row: &RowChoice) -> Vec<Vec<Concession>> {
    let pattern = of.shaft_pattern.filled(row.along_mm.len(), of.shaft_screws);
    let lower = (row.offset_mm > 0.0).then_some(Concession::RowLower(row.offset_mm));
    let of_screw = |(hole, asked): (&usize, usize)| {
        let other = (*hole != asked).then_some(Concession::OtherHole(asked + 1));
        other.into_iter().chain(lower).collect()
    };
    row.filled.iter().zip(pattern).map(of_screw).collect()
}

/// Row of shaft holes and holes filled that are not those asked for, in a sentence.
fn row_note(plate: &Plate, row: usize) -> Option<String> {
    let choice = &plate.rows[row];
    let moved = match choice.offset_mm > 0.0 {
        true => Some(format!("lies {:.0} mm lower", choice.offset_mm)),
        false => None,
    };
    let filled = match choice.is_pattern {
        true => None,
        false => {
            let holes: Vec<String> = choice.filled.iter().map(|k| (k + 1).to_string()).collect();
            Some(format!(
                "has its screws in the holes {} of {} from the proximal end instead of its pattern's",
                holes.join(", "),
                choice.along_mm.len()
            ))
        }
    };
    let what: Vec<String> = moved.into_iter().chain(filled).collect();
    (!what.is_empty()).then(|| {
        format!(
            "the row of shaft holes of plate.{} {}, so that as many screws hold as asked as was found possible",
            plate.site,
            what.join(" and ")
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use crate::{BoneSpec, FractureSpec};
    use bicolumn_base::Vec3;
    use proptest::prelude::*;

    fn on_mean(spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        Construct::on_bone(mean_bone(), spec)
    }

    fn staggered(mut spec: ConstructSpec, stagger: f64) -> ConstructSpec {
        spec.plates[0].end_level_mm += 0.5 * stagger;
        spec.plates[1].end_level_mm -= 0.5 * stagger;
        spec
    }

    /// Points of a screw's side and tip face, below the bone's surface.
    fn surface_points(s: &Screw) -> Vec<Vec3> {
        let a = s.direction.cross(&Vec3::new(0.3, 0.9, -0.2)).normalize();
        let b = s.direction.cross(&a);
        let mut points = vec![s.tip()];
        for i in 0..=60 {
            let t = s.length_mm * f64::from(i) / 60.0;
            for k in 0..12 {
                let angle = std::f64::consts::TAU * f64::from(k) / 12.0;
                let side = (a * angle.cos() + b * angle.sin()) * (0.5 * s.diameter_mm);
                points.push(s.entry + s.direction * t + side);
            }
        }
        points
    }

    /// Checks a construct by points on its parts, without the code that laid it out.
    fn audit(c: &Construct, clearance: f64) {
        let slack = 0.1;
        for (i, s) in c.screws.iter().enumerate() {
            let points = surface_points(s);
            for other in c.screws.iter().filter(|o| o.number > s.number) {
                for p in &points {
                    let v = p - other.entry;
                    let t = v.dot(&other.direction).clamp(0.0, other.length_mm);
                    let gap = (v - other.direction * t).norm() - 0.5 * other.diameter_mm;
                    assert!(
                        gap > clearance - slack,
                        "{} {}: {gap}",
                        s.number,
                        other.number
                    );
                }
            }
            for plate in c.plates.iter().filter(|p| Some(p.site) != s.plate) {
                let top = plate.stand_off_mm + plate.thickness_mm;
                for p in &points {
                    let d = c.bone.outer().value(*p);
                    let under = plate.outline().value(*p) < 0.0;
                    assert!(
                        !(under && d > plate.stand_off_mm && d < top),
                        "{} in a plate",
                        s.number
                    );
                }
            }
            if let Some(f) = &c.fracture {
                for p in &points {
                    let off = if s.row == ScrewRow::Shaft {
                        f.above(*p)
                    } else {
                        f.below(*p)
                    };
                    assert!(off > 0.5, "{} reaches the fracture: {off}", s.number);
                }
            }
            if s.row == ScrewRow::Shaft {
                for p in points.iter().filter(|p| c.bone.outer().value(**p) > 0.3) {
                    let opens = c.bone.opens_into_fossa(*p, 0.0);
                    assert!(!opens, "{} in a fossa at {p:?}", s.number);
                }
            }
            if s.row == ScrewRow::Distal {
                // Clear of fossae and joint: deep in bone from a little below the surface on.
                for p in points
                    .iter()
                    .filter(|p| (**p - s.entry).dot(&s.direction) > 6.0)
                {
                    let d = c.bone.outer().value(*p);
                    assert!(d < -0.8, "{} at {p:?}: {d}", s.number);
                }
            }
            let plate = c.plates.iter().find(|p| Some(p.site) == s.plate).unwrap();
            let hole = plate
                .holes
                .iter()
                .find(|h| h.screw == Some(s.number))
                .unwrap();
            assert!((hole.centre - s.entry).norm() < 1e-9 && s.direction.dot(&hole.axis) > 0.92);
            assert!(c.bone.outer().value(s.entry).abs() < 0.02);
            assert_eq!(s.number.0 as usize, i + 1);
        }
        for plate in &c.plates {
            let (tip, _, _) = plate.centre_line(plate.length_mm);
            assert!((tip.y - plate.end_level_mm).abs() < 0.01, "{}", tip.y);
            assert!(plate.outline().value(tip).abs() < 0.02);
            let middle = plate.centre_line(0.5 * plate.length_mm).0;
            let half = 0.5 * plate.width_mm;
            assert!((plate.outline().value(middle) + half).abs() < 0.35 * half);
            let (along, across) = plate.locate(middle);
            assert!((along - 0.5 * plate.length_mm).abs() < 0.1 && across.abs() < 0.1);
        }
    }

    #[test]
    fn both_layouts_build_level_and_staggered() {
        for layout in [ConstructSpec::parallel(), ConstructSpec::orthogonal()] {
            for stagger in [0.0, -26.0, 13.0] {
                let c = on_mean(&staggered(layout.clone(), stagger)).unwrap();
                assert_eq!(c.screws.len(), 12);
                audit(&c, layout.clearance_mm);
            }
        }
    }

    #[test]
    fn a_narrow_plate_gets_narrower_heads_and_too_narrow_a_one_is_refused() {
        let narrow = |width_mm: f64| {
            let mut spec = ConstructSpec::orthogonal();
            for plate in &mut spec.plates {
                plate.width_mm = width_mm;
                plate.hole_diameter_mm = 3.0;
                plate.shaft_hold = ScrewHold::NonLocking;
                plate.shaft_screw_diameter_mm = 2.7;
            }
            on_mean(&spec)
        };
        let c = narrow(8.0).unwrap();
        let told = "shaft screws of plate.medial are 6.0 mm wide instead of 6.8";
        assert!(c.notes.iter().any(|n| n.contains(told)), "{:?}", c.notes);
        let mut seated = 0;
        for screw in c.screws.iter().filter(|s| s.row == ScrewRow::Shaft) {
            let Head::Seated { bore_mm, .. } = screw.head else {
                panic!("{:?}", screw.head);
            };
            // Midway between core and head.
            assert!((bore_mm - 4.35).abs() < 1e-12, "{bore_mm}");
            seated += 1;
        }
        assert_eq!(seated, 6);
        assert!(
            narrow(10.0)
                .unwrap()
                .notes
                .iter()
                .all(|n| !n.contains("heads"))
        );
        let refused = narrow(7.3).map(|_| ()).unwrap_err().to_string();
        assert!(refused.contains("at least twice as wide"), "{refused}");
    }

    /// Long rows on a bone with a wide fossa and no fracture: the way of the lowest screw leads through the fossa.
    #[test]
    fn no_shaft_screw_comes_out_into_a_fossa() {
        let mut spec = ConstructSpec::orthogonal();
        spec.fracture = None;
        spec.bone = BoneSpec {
            shaft_diameter_mm: 22.6,
            canal_diameter_mm: 11.0,
            epicondylar_width_mm: 62.1,
            medial_column_angle_deg: 33.9,
            lateral_column_angle_deg: 14.9,
            articular_valgus_deg: 0.0,
            anterior_tilt_deg: 36.2,
            capitellum_radius_mm: 11.1,
            capitellum_width_mm: 15.3,
            trochlea_groove_diameter_mm: 15.2,
            trochlea_medial_diameter_mm: 25.0,
            trochlea_lateral_diameter_mm: 21.9,
            trochlea_width_mm: 22.5,
            fossa_length_mm: 21.9,
            fossa_width_mm: 30.1,
            column_depth_mm: 15.2,
            column_cortex_mm: 1.8,
            canal_floor_mm: 45.9,
            septum_thickness_mm: 3.1,
            ..spec.bone
        };
        for (plate, end, distal) in [(0, 119.5, 8.0), (1, 141.9, 11.2)] {
            let plate = &mut spec.plates[plate];
            plate.end_level_mm = end;
            plate.distal_hole_level_mm = distal;
            plate.width_mm = 8.3;
            plate.thickness_mm = 3.2;
            plate.stand_off_mm = 1.1;
            plate.shaft_screws = 5;
            plate.hole_pitch_mm = 9.8;
            plate.distal_hole_pitch_mm = 9.5;
            plate.hole_diameter_mm = 3.5;
            plate.slot_mm = 3.4;
            plate.shaft_screw_diameter_mm = 2.5;
            plate.distal_screw_diameter_mm = 3.0;
            plate.shaft_screw_tilt_deg = -6.6;
            plate.shaft_hold = crate::ScrewHold::NonLocking;
            plate.shaft_pattern = crate::ShaftPattern::BothEnds;
        }
        spec.plates[1].distal_screws = 2;
        let construct = Construct::build(&spec).unwrap();
        audit(&construct, spec.clearance_mm);
    }

    #[test]
    fn cortices_as_built_are_those_that_the_axis_passes() {
        let shaft_cortices = |bicortical| {
            let mut spec = ConstructSpec::orthogonal();
            for plate in &mut spec.plates {
                plate.bicortical = bicortical;
            }
            let c = on_mean(&spec).unwrap();
            let shaft = c.screws.iter().filter(|s| s.row == ScrewRow::Shaft);
            let counts = shaft.map(|s| {
                // Oracle: the axis leaves the bone, or ends between the walls.
                let leaves = c.bone.outer().value(s.tip()) > 0.0;
                let ends_inside = c.bone.inner().value(s.tip()) < 0.0;
                (s.cortices(&c.bone), leaves, ends_inside)
            });
            counts.collect::<Vec<_>>()
        };
        let asked_for_both = shaft_cortices(true);
        assert!(asked_for_both.iter().any(|c| c.0 == 2));
        for (cortices, leaves, ends_inside) in
            asked_for_both.into_iter().chain(shaft_cortices(false))
        {
            if leaves {
                assert_eq!(cortices, 2);
            }
            if ends_inside {
                assert_eq!(cortices, 1);
            }
        }
        assert!(shaft_cortices(false).iter().all(|c| c.0 == 1));
    }

    #[test]
    fn opposite_distal_screws_pass_into_the_other_column() {
        let c = on_mean(&ConstructSpec::parallel()).unwrap();
        for side in [1.0, -1.0] {
            let far = c
                .screws
                .iter()
                .filter(|s| s.row == ScrewRow::Distal && s.entry.z * side < 0.0)
                .map(|s| s.tip().z * side)
                .fold(f64::MIN, f64::max);
            assert!(far > 8.0, "{far}");
        }
    }

    #[test]
    fn a_left_construct_is_the_mirror_image() {
        let mut spec = ConstructSpec::orthogonal();
        let right = on_mean(&spec).unwrap();
        spec.bone.left = true;
        let left = Construct::build(&spec).unwrap();
        audit(&left, spec.clearance_mm);
        for (l, r) in left.plates.iter().zip(&right.plates) {
            assert!((l.length_mm - r.length_mm).abs() < 1e-6);
            let (p, q) = (l.centre_line(40.0).0, r.centre_line(40.0).0);
            assert!((p - Vec3::new(q.x, q.y, -q.z)).norm() < 1e-6);
        }
    }

    #[test]
    fn faults_are_named_with_their_parts() {
        let message = |change: &dyn Fn(&mut ConstructSpec)| {
            let mut spec = ConstructSpec::parallel();
            change(&mut spec);
            on_mean(&spec)
                .err()
                .map(|e| e.to_string())
                .unwrap_or_default()
        };
        let says = |m: String, words: &[&str]| {
            for w in words {
                assert!(m.contains(w), "{m:?} lacks {w:?}");
            }
        };
        says(
            message(&|s| s.plates[0].thickness_mm = -1.0),
            &["plate.medial thickness_mm", "-1"],
        );
        says(
            message(&|s| s.plates[1].end_level_mm = 148.0),
            &["plate.lateral", "longer than"],
        );
        says(
            message(&|s| s.plates[0].end_level_mm = 58.0),
            &["plate.medial", "shaft holes"],
        );
        says(
            message(&|s| s.plates[0].distal_hole_level_mm = 1.0),
            &["overhang"],
        );
        says(
            message(&|s| s.plates[0].distal_screws = 6),
            &["distal screws fit"],
        );
        says(
            message(&|s| s.plates[1].site = s.plates[0].site),
            &["one site"],
        );
        let gap = |level_mm| {
            Some(FractureSpec {
                level_mm,
                ..FractureSpec::default()
            })
        };
        says(
            message(&|s| s.fracture = gap(12.0)),
            &["fracture level_mm", "12"],
        );
        let thick = message(&|s| {
            for p in &mut s.plates {
                p.shaft_screw_diameter_mm = 4.5;
                p.shaft_screws = 6;
                p.hole_pitch_mm = 7.0;
            }
            s.clearance_mm = 3.0;
        });
        says(thick, &["screw.", "clash", "mm inside the clearance"]);
        let lone = Construct::on_bone(mean_bone(), &ConstructSpec::intact()).unwrap();
        assert!(lone.plates.is_empty() && lone.screws.is_empty() && lone.fracture.is_none());
    }

    #[test]
    fn the_other_presets_carry_both_layouts() {
        for bone in [BoneSpec::small_adult(), BoneSpec::large_adult()] {
            let solid = Arc::new(Bone::build(&bone).unwrap());
            for mut spec in [ConstructSpec::parallel(), ConstructSpec::orthogonal()] {
                spec.bone = bone.clone();
                spec.fracture = Some(FractureSpec {
                    level_mm: 36.0,
                    ..FractureSpec::default()
                });
                audit(
                    &Construct::on_bone(solid.clone(), &spec).unwrap(),
                    spec.clearance_mm,
                );
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig { cases: 10, failure_persistence: None, ..ProptestConfig::default() })]

        #[test]
        fn random_specs_build_clear_or_are_refused(
            parallel in any::<bool>(),
            ends in prop::array::uniform2(65.0..115.0f64),
            counts in prop::array::uniform4(1usize..5),
            width in 8.0..12.0f64,
            diameters in prop::array::uniform2(1.8..3.2f64),
            level in 31.0..40.0f64,
            tilt in -12.0..12.0f64,
            bicortical in any::<bool>(),
            stand_off in prop::sample::select(vec![0.0, 0.3, 1.0]),
        ) {
            let mut spec =
                if parallel { ConstructSpec::parallel() } else { ConstructSpec::orthogonal() };
            spec.fracture = Some(FractureSpec { level_mm: level, gap_mm: 4.0, inclination_deg: tilt, ..FractureSpec::default() });
            for (i, p) in spec.plates.iter_mut().enumerate() {
                p.end_level_mm = ends[i];
                p.shaft_screws = counts[2 * i];
                p.distal_screws = counts[2 * i + 1];
                p.width_mm = width;
                p.shaft_screw_diameter_mm = diameters[0];
                p.distal_screw_diameter_mm = diameters[1];
                p.bicortical = bicortical;
                p.stand_off_mm = stand_off;
            }
            match on_mean(&spec) {
                Ok(c) => audit(&c, spec.clearance_mm),
                Err(e) => prop_assert!(!e.to_string().is_empty()),
            }
        }
    }
}
