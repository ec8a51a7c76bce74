//! Forces through cuts of a real construct against the statics of its free bodies.
//!
//! Two plates stand off the bone over an open gap, so that screws alone join bone and plates:
//!
//! ```text
//!   proximal fragment ──shaft screws── plates ──distal screws── distal fragment ── load
//! ```
//!
//! Statics asks, whatever the mesh: the distal screws together carry the load into the plates (force and
//! moment), the shaft screws carry it out again, the gap's section has nothing of bone in it, and at every
//! level bone, plates and screws together carry the load that acts below. Accepted: 1e-8 of the load, the
//! residual of the solution being 1e-10.
#![allow(clippy::unwrap_used, clippy::print_stdout)]

use crate::support::{HEALTHY, Model, model};
use bicolumn_base::Vec3;
use bicolumn_geometry::{BoneSpec, ConstructSpec, PlateSpec, ScrewRow};
use bicolumn_measure::{CaseMeasures, ScrewCut, measure};
use bicolumn_mesh::Sizing;
use bicolumn_model::{LoadCase, NamedLoad};
use bicolumn_response::{Carrier, PlateColumn, PlateForce, ScrewForce, Share};
use bicolumn_solve::{SolveOptions, solve};

const ACCEPTED: f64 = 1e-8;
/// Arm that compares forces with moments, mm.
const ARM_MM: f64 = 100.0;

fn made() -> Model {
    let base = ConstructSpec::orthogonal();
    let plates = base.plates.into_iter().map(|p| PlateSpec {
        thickness_mm: 3.0,
        stand_off_mm: 0.5,
        shaft_screws: 2,
        distal_screws: 1,
        shaft_screw_diameter_mm: 4.0,
        distal_screw_diameter_mm: 4.0,
        ..p
    });
    let spec = ConstructSpec {
        bone: BoneSpec {
            septum_thickness_mm: 3.5,
            ..base.bone
        },
        plates: plates.collect(),
        ..base
    };
    let sizing = Sizing {
        finest_mm: 2.4,
        growth: 1.5,
        wall_ratio: 3.0,
        ..Sizing::default()
    };
    let loads = [
        NamedLoad::Axial,
        NamedLoad::PosteriorBending,
        NamedLoad::Varus,
        NamedLoad::InternalTorsion,
    ];
    model(&spec, &sizing, &HEALTHY, &loads)
}

/// Force and moment about the origin of a load below a level, and what errors are told against.
struct Load {
    force: Vec3,
    moment: Vec3,
    size: f64,
}

impl Load {
    fn below(case: &LoadCase, nodes: &[Vec3], level: f64) -> Self {
        let (mut force, mut moment) = (Vec3::zeros(), Vec3::zeros());
        for (n, f) in &case.forces {
            let x = nodes[*n as usize];
            if x.y < level {
                force += f;
                moment += x.cross(f);
            }
        }
        let whole = case.resultant_moment(nodes, Vec3::zeros()).norm() / ARM_MM;
        Load {
            force,
            moment,
            size: case.resultant_force().norm().max(whole),
        }
    }

    fn off(&self, force: Vec3, moment: Vec3) -> f64 {
        let moment = (moment - self.moment).norm() / ARM_MM;
        (force - self.force).norm().max(moment) / self.size
    }
}

/// Resultant on the screws of a row beyond the bone's surface, moment about the origin.
fn by_screws(made: &Model, case: &CaseMeasures, row: ScrewRow) -> (Vec3, Vec3) {
    let (mut force, mut moment) = (Vec3::zeros(), Vec3::zeros());
    for s in case
        .screws
        .iter()
        .filter(|s| s.cut == ScrewCut::BoneSurface)
    {
        let screw = made.construct.screws.iter().find(|x| x.number == s.screw);
        if screw.unwrap().row == row {
            force += s.force_n;
            moment += s.moment_nmm + s.at.cross(&s.force_n);
        }
    }
    (force, moment)
}

#[test]
fn cuts_of_screws_plates_and_bone_balance_the_load() {
    let made = made();
    let options = SolveOptions {
        tolerance: 1e-10,
        ..SolveOptions::default()
    };
    let solution = solve(&made.problem, &options).unwrap();
    let measured = measure(&made.solved(&solution), None);
    let nodes = &made.problem.mesh().nodes;
    let gap = made.construct.fracture.as_ref().unwrap().centre.y;
    for (case, load) in measured.iter().zip(made.problem.cases()) {
        let whole = Load::below(load, nodes, f64::INFINITY);
        let (force, moment) = by_screws(&made, case, ScrewRow::Distal);
        let into = whole.off(force, moment);
        let (force, moment) = by_screws(&made, case, ScrewRow::Shaft);
        let out = whole.off(-force, -moment);

        let sharing = case.sharing.as_ref().unwrap();
        let (mut balance, mut across): (f64, f64) = (0.0, 0.0);
        for (k, level) in sharing.level_mm.iter().enumerate() {
            let axis = made.construct.bone.shaft_axis(*level);
            let (mut force, mut moment) = (Vec3::zeros(), Vec3::zeros());
            for c in &sharing.carried {
                let f = Vec3::from(c.force_n[k]);
                force += f;
                moment += Vec3::from(c.moment_nmm[k]) + axis.cross(&f);
            }
            let below = Load::below(load, nodes, *level);
            balance = balance.max(below.off(force, moment));
            if *level == gap {
                // All the load acts below the gap, and no bone is there.
                let bone = Vec3::from(sharing.carried[0].force_n[k]);
                across = bone.norm() / whole.size;
                assert!((below.force - whole.force).norm() < 1e-12 * whole.size);
            }
        }
        println!(
            "{}: distal screws {into:.1e}, shaft screws {out:.1e}, all levels {balance:.1e}, bone in the gap {across:.1e}",
            case.case
        );
        for off in [into, out, balance, across] {
            assert!(off < ACCEPTED, "{}: {off:.1e}", case.case);
        }
        assert!(sharing.level_mm.contains(&gap));

        let medial = Share::AxialGap.of(Carrier::PlateMedial);
        let (what, share) = match case.value(medial) {
            Some(_) => ("axial", Share::AxialGap),
            None => ("moment", Share::MomentGap),
        };
        let shares = Carrier::ALL.map(|c| case.value(share.of(c)).unwrap());
        println!("    {what} shares in the gap: {shares:.3?}");
        assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        assert!(shares[0].abs() < 1e-7, "no bone in the gap");
        let bending = case.response(ScrewForce::Bending).unwrap();
        let of_screw = case
            .screws
            .iter()
            .filter(|s| Some(s.screw.to_string()) == bending.part);
        let largest = of_screw.map(|s| s.bending_nmm()).fold(0.0, f64::max);
        assert_eq!(bending.value, Some(largest));
        let of_plate = PlateForce::Bending.of(PlateColumn::Medial);
        assert!(case.value(of_plate).unwrap() > 10.0);
    }
}
