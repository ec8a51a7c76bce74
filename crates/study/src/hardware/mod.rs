//! Bench tests of hardware alone: plates in four-point bending, screws in cantilever and torsion, pull-out.
//!
//! The computed values come from meshes of the specimens alone by the mesher and the solver of the constructs; beam theory and
//! a published formula stand beside them.

mod bodies;
mod plate_bending;
mod screw_bending;

pub use bodies::StraightPlate;
pub use plate_bending::PlateBending;
pub use screw_bending::{ScrewBench, Thread};

use bicolumn_geometry::PlateSpec;
use bicolumn_job::PointInputs;
use bicolumn_mesh::{MeshError, TetMesh};
use bicolumn_model::{LoadCase, Material, Problem, ProblemError, Support};
use bicolumn_solve::{Solution, SolveError, SolveOptions, solve};
use std::sync::Arc;
use thiserror::Error;

/// Relative residual that the specimens are solved to.
const TOLERANCE: f64 = 1e-9;
/// Cell of the coarser mesh over that of the finer.
const COARSER: f64 = 1.4;

/// A bench test that could not be computed.
#[derive(Debug, Error)]
pub enum HardwareError {
    /// The specimen could not be meshed.
    #[error(transparent)]
    Mesh(#[from] MeshError),
    /// The test could not be posed.
    #[error(transparent)]
    Problem(#[from] ProblemError),
    /// It could not be solved.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// The rollers do not lie on the plate.
    #[error(
        "the spans take {needed_mm} mm and the plate is {length_mm} mm long: give shorter spans or more holes"
    )]
    #[allow(missing_docs)]
    Spans { needed_mm: f64, length_mm: f64 },
    /// A thread no wider than the screw's core.
    #[error(
        "a thread of {major_mm} mm major diameter has no core of {core_mm} mm: give the major diameter of the shaft screws"
    )]
    #[allow(missing_docs)]
    Thread { major_mm: f64, core_mm: f64 },
}

/// A specimen whose test could not be computed.
#[derive(Debug, Error)]
#[error("{specimen}: {fault}")]
pub struct SpecimenError {
    /// Its name.
    pub specimen: String,
    /// Why.
    #[source]
    pub fault: Box<HardwareError>,
}

/// One quantity of a bench test.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Row {
    /// Quantity.
    pub quantity: &'static str,
    /// Unit.
    pub unit: &'static str,
    /// Value by finite elements; `None`: by formula alone.
    pub computed: Option<f64>,
    /// The same on a mesh 1.4 times as coarse.
    pub coarser: Option<f64>,
    /// Value by beam theory or formula.
    pub theory: Option<f64>,
    /// Definition, and the theory.
    pub by: &'static str,
}

/// Test set-up that no job key gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bench {
    /// Loading span of the plates' bend, mm.
    pub loading_span_mm: f64,
    /// Centre span, mm.
    pub centre_span_mm: f64,
    /// Holes of the straight plate.
    pub holes: usize,
    /// Yield stress of the plates, MPa.
    pub yield_mpa: f64,
    /// Free length of the screws, mm.
    pub screw_length_mm: f64,
    /// Thread of the shaft screws and its host.
    pub thread: Thread,
}

/// A specimen with its rows.
#[derive(Debug, Clone, PartialEq)]
pub struct Specimen {
    /// Name, with its dimensions.
    pub name: String,
    /// Rows.
    pub rows: Vec<Row>,
}

/// Tests the plates and screws of a design point, each size once.
///
/// Plates are straight ones of the shaft part's section, with round holes at its pitch.
///
/// # Errors
/// [`SpecimenError`] of the first test that could not be computed.
pub fn bench_hardware(
    inputs: &PointInputs,
    bench: &Bench,
    threads: usize,
) -> Result<Vec<Specimen>, SpecimenError> {
    let mut specimens: Vec<Specimen> = Vec::new();
    let plates = &inputs.construct.plates;
    for plate in plates {
        let section = StraightPlate::of(plate, bench.holes);
        let name = format!(
            "plate {} x {} mm, {} holes of {} mm every {} mm",
            section.width_mm,
            section.thickness_mm,
            bench.holes,
            section.hole_mm,
            plate.hole_pitch_mm
        );
        let test = PlateBending {
            plate: section,
            loading_span_mm: bench.loading_span_mm,
            centre_span_mm: bench.centre_span_mm,
            material: inputs.materials.plate.clone(),
            yield_mpa: bench.yield_mpa,
        };
        add(&mut specimens, name, || test.rows(threads))?;
    }
    // The thread is that of the shaft screws.
    let shaft = plates
        .iter()
        .map(|p| (p.shaft_screw_diameter_mm, Some(bench.thread)));
    let distal = plates.iter().map(|p| (p.distal_screw_diameter_mm, None));
    for (core_mm, thread) in shaft.chain(distal) {
        let test = ScrewBench {
            core_mm,
            length_mm: bench.screw_length_mm,
            material: inputs.materials.screw.clone(),
            thread,
        };
        let name = format!(
            "screw of {core_mm} mm core, {} mm free",
            bench.screw_length_mm
        );
        add(&mut specimens, name, || test.rows(threads))?;
    }
    Ok(specimens)
}

fn add(
    specimens: &mut Vec<Specimen>,
    name: String,
    rows: impl FnOnce() -> Result<Vec<Row>, HardwareError>,
) -> Result<(), SpecimenError> {
    if specimens.iter().any(|s| s.name == name) {
        return Ok(());
    }
    match rows() {
        Ok(rows) => specimens.push(Specimen { name, rows }),
        Err(fault) => {
            return Err(SpecimenError {
                specimen: name,
                fault: Box::new(fault),
            });
        }
    }
    Ok(())
}

/// Solution of a specimen of one material.
fn solved(
    mesh: &Arc<TetMesh>,
    material: &Material,
    supports: impl IntoIterator<Item = Support>,
    cases: Vec<LoadCase>,
    threads: usize,
) -> Result<(Problem, Solution), HardwareError> {
    let problem = Problem::new(Arc::clone(mesh), vec![material.clone()], supports, cases)?;
    let options = SolveOptions {
        threads,
        tolerance: TOLERANCE,
        ..SolveOptions::default()
    };
    let solution = solve(&problem, &options)?;
    Ok((problem, solution))
}

impl StraightPlate {
    /// Straight plate of a plate's shaft part: so many holes about its middle, and half a pitch beyond the last ones.
    pub fn of(plate: &PlateSpec, holes: usize) -> StraightPlate {
        let pitch = plate.hole_pitch_mm;
        let middle = 0.5 * (holes as f64 - 1.0);
        StraightPlate {
            length_mm: pitch * holes as f64,
            width_mm: plate.width_mm,
            thickness_mm: plate.thickness_mm,
            hole_mm: plate.hole_diameter_mm,
            holes_mm: (0..holes).map(|k| pitch * (k as f64 - middle)).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_model::Material;

    fn bending(holes: usize) -> PlateBending {
        PlateBending {
            plate: StraightPlate {
                length_mm: 96.0,
                width_mm: 10.0,
                thickness_mm: 3.0,
                hole_mm: 4.5,
                holes_mm: (0..holes).map(|k| 12.0 * (k as f64 - 2.5)).collect(),
            },
            loading_span_mm: 30.0,
            centre_span_mm: 30.0,
            material: Material::new("steel", 193e3, 0.3, "test"),
            yield_mpa: 690.0,
        }
    }

    #[test]
    fn a_solid_plate_bends_as_its_section_within_a_per_cent() {
        let rows = bending(0).rows(2).unwrap();
        let rigidity = rows[1].computed.unwrap();
        let section = 193e3 * 10.0 * 27.0 / 12.0;
        // Beam theory with shear, and without.
        assert!(
            (rigidity / rows[1].theory.unwrap() - 1.0).abs() < 0.01,
            "{rows:?}"
        );
        assert!(
            (rigidity / section - 1.0).abs() < 0.02,
            "{rigidity} {section}"
        );
        // Yield at the outer fibre: a plate restrains its own anticlastic bend by little.
        let moment = rows[2].computed.unwrap();
        assert!(
            (moment / (690.0 * 10.0 * 9.0 / 6.0) - 1.0).abs() < 0.04,
            "{moment}"
        );
    }

    #[test]
    fn holes_make_a_plate_softer_than_its_net_section_tells_and_yield_earlier() {
        let (solid, holed) = (bending(0).rows(2).unwrap(), bending(6).rows(2).unwrap());
        let value = |rows: &[Row], k: usize| rows[k].computed.unwrap();
        assert!(value(&holed, 0) < 0.95 * value(&solid, 0));
        // Stress does not follow the outline at once: the solid strips beside a hole bear less than beam theory gives them.
        let share = value(&holed, 0) / holed[0].theory.unwrap();
        assert!((0.85..1.0).contains(&share), "{share}");
        assert!(value(&holed, 2) < holed[2].theory.unwrap());
    }

    #[test]
    fn a_screw_bends_and_turns_as_its_core() {
        let screw = ScrewBench {
            core_mm: 2.4,
            length_mm: 20.0,
            material: Material::new("steel", 193e3, 0.3, "test"),
            thread: None,
        };
        for row in &screw.rows(2).unwrap()[..2] {
            let off = row.computed.unwrap() / row.theory.unwrap() - 1.0;
            assert!(off.abs() < 0.01, "{row:?}");
        }
    }

    #[test]
    fn rollers_beyond_the_plate_are_refused() {
        let long = PlateBending {
            centre_span_mm: 40.0,
            ..bending(0)
        };
        let told = long.rows(1).unwrap_err().to_string();
        assert!(
            told.starts_with("the spans take 102 mm and the plate is 96 mm long"),
            "{told}"
        );
    }
}
