//! Supports of a job on a posed model: the joint's reactions become part of its load cases.

use crate::model_build::BuiltModel;
use crate::stage::{PointError, Stage};
use bicolumn_base::Vec3;
use bicolumn_geometry::{ArticularSurface, Construct};
use bicolumn_job::{DistalSupport, PointInputs, ProximalSupport, Refusal, SupportInputs, keys};
use bicolumn_model::{JointFrame, JointSupport, JointSurface, LoadCase, SupportFault};
use nalgebra::{DMatrix, DVector};

/// A support at the joint that statics alone do not solve: unit reactions and displacements of the clamped model under
/// them.
pub(crate) struct HeldJoint {
    support: JointSupport,
    unit: Vec<LoadCase>,
    fields: Vec<Vec<Vec3>>,
    flexibility: DMatrix<f64>,
}

impl HeldJoint {
    /// Reactions, N, under nodal forces of a moment about the block's centre.
    fn reactions(&self, works: DVector<f64>, moment_nmm: Vec3) -> Option<Vec<f64>> {
        let elastic = (&self.flexibility, &works);
        self.support.reactions(moment_nmm, Some(elastic))
    }

    /// Adds to the nodal forces of a goal the reactions of the joint's support, so that the clamped model's solution
    /// under them is the adjoint one of the supported model. A goal reads displacements seen from the block: with the
    /// block's own force it has no moment.
    pub(crate) fn close(&self, load: &mut [Vec3]) {
        let works = self.fields.iter().map(|u| {
            let terms = load.iter().zip(u);
            terms.map(|(f, u)| f.dot(u)).sum::<f64>()
        });
        let works = DVector::from_iterator(self.fields.len(), works);
        let Some(reactions) = self.reactions(works, Vec3::zeros()) else {
            return;
        };
        for (case, size) in self.unit.iter().zip(reactions) {
            for (n, f) in &case.forces {
                load[*n as usize] += f * size;
            }
        }
    }
}

fn surface(supports: &SupportInputs) -> JointSurface {
    JointSurface::Both {
        capitellum_share: supports.capitellum_share,
    }
}

fn frame(construct: &Construct) -> JointFrame {
    let bone = &construct.bone;
    JointFrame {
        side: bone.side(),
        bearing_mm: [ArticularSurface::Capitellum, ArticularSurface::Trochlea]
            .map(|s| bone.bearing_point(s)),
        axis_mm: bone.shaft_axis(0.0),
    }
}

/// The support, unless the shaft is potted and the joint free.
fn support(construct: &Construct, supports: &SupportInputs) -> Option<JointSupport> {
    let (x, y, z) = (Vec3::x(), Vec3::y(), Vec3::z());
    let held = match supports.distal {
        DistalSupport::Free => vec![],
        DistalSupport::Guided => vec![x, z],
        DistalSupport::BallJoint => vec![x, y, z],
    };
    let released = match supports.proximal {
        ProximalSupport::Potted => vec![],
        ProximalSupport::UniversalJoint => vec![x, z],
        ProximalSupport::BallJoint => vec![x, y, z],
        ProximalSupport::Swivel => vec![y],
    };
    if held.is_empty() && released.is_empty() {
        return None;
    }
    let at = frame(construct).middle(surface(supports));
    let potting = construct.bone.spec().potting_level_mm;
    let level = supports.centre_level_mm.unwrap_or(potting);
    let centre = construct.bone.shaft_axis(level);
    Some(JointSupport::new(&held, at, &released, centre))
}

/// Why the supports asked for cannot bear a load case; `None` where they can.
pub(crate) fn refusal(construct: &Construct, inputs: &PointInputs) -> Option<Refusal> {
    let support = support(construct, &inputs.supports)?;
    let frame = frame(construct);
    // A four-point bend is in equilibrium with itself: no support bears any of it.
    let mut borne = inputs.loads.iter().filter(|load| load.bend.is_none());
    borne.find_map(|load| {
        let (force, moment) = load.resultant(&frame, support.centre_mm());
        let k = &keys().supports;
        let (reason, keys) = match support.fault(force, moment)? {
            SupportFault::Mechanism { axis, moment_nmm } => {
                let reason = format!(
                    "a mechanism: nothing holds the bone against turning about ({:.2}, {:.2}, {:.2}), and the load case {} \
                     has a moment of {:.0} N mm about it; hold the joint (supports.distal = \"guided\"), pot the shaft \
                     (supports.proximal = \"potted\"), or leave the case out of loads.cases",
                    axis.x,
                    axis.y,
                    axis.z,
                    load.name,
                    moment_nmm.abs()
                );
                (reason, [k.proximal.id(), k.distal.id()])
            }
            SupportFault::BorneByJoint => {
                let reason = format!(
                    "the joint's own support bears the load case {} whole, and the bone nothing: leave the case out of \
                     loads.cases, give it a couple or a load line, or free the joint",
                    load.name
                );
                (reason, [k.distal.id(), k.proximal.id()])
            }
        };
        let keys = keys.into();
        Some(Refusal { reason, keys })
    })
}

/// Adds the reactions of the joint's support to the load cases of a posed model.
///
/// # Errors
/// [`PointError`] at [`Stage::Geometry`]: reactions that statics do not give, on a model with contact; at
/// [`Stage::Solve`]: the model could not be solved under unit reactions.
pub(crate) fn hold(mut model: BuiltModel, inputs: &PointInputs) -> Result<BuiltModel, PointError> {
    let Some(support) = support(&model.construct, &inputs.supports) else {
        return Ok(model);
    };
    let failed = |stage, message: String| PointError { stage, message };
    let of_mesh = |e: &dyn std::fmt::Display| failed(Stage::Mesh, e.to_string());
    let mesh = model.problem.shared_mesh().clone();
    let side = model.construct.bone.side();
    let unit = support.unit_loads(surface(&inputs.supports), side);
    let unit: Vec<LoadCase> = unit.iter().map(|l| model.patches.case(&mesh, l)).collect();
    if !support.is_determinate() {
        if model.contact.is_some() {
            let message = "supports.distal: with a shaft whose block does not turn the joint's reactions depend on the \
                           construct, and with interfaces that press, slide or lift on their state, which is not solved \
                           for: let the block turn (supports.proximal = \"universal_joint\"), free the joint, or bond \
                           the interfaces";
            return Err(failed(Stage::Geometry, message.into()));
        }
        let solved = model.problem.clone().with_cases(unit.clone());
        let solved = solved.map_err(|e| of_mesh(&e))?;
        let fields = bicolumn_solve::solve(&solved, &inputs.solve);
        let fields = fields.map_err(|e| failed(Stage::Solve, e.to_string()))?;
        let fields = fields.displacement;
        let work = |i: usize, j: usize| unit[i].work(&fields[j]);
        // Symmetric but for the solver's residual.
        let flexibility = DMatrix::from_fn(unit.len(), unit.len(), |i, j| {
            0.5 * (work(i, j) + work(j, i))
        });
        model.held = Some(HeldJoint {
            support: support.clone(),
            unit: unit.clone(),
            fields,
            flexibility,
        });
    }
    let mut cases = Vec::new();
    for case in model.problem.cases() {
        let moment = case.resultant_moment(&mesh.nodes, support.centre_mm());
        let reactions = match &model.held {
            None => support.reactions(moment, None),
            Some(held) => {
                let works = held.fields.iter().map(|u| case.work(u));
                held.reactions(DVector::from_iterator(unit.len(), works), moment)
            }
        };
        let reactions = reactions.ok_or_else(|| {
            let message = format!(
                "the reactions at the joint under {} have no solution",
                case.name
            );
            failed(Stage::Solve, message)
        })?;
        let mut forces = Vec::new();
        for (unit, size) in unit.iter().zip(reactions) {
            forces.extend(unit.forces.iter().map(|(n, f)| (*n, f * size)));
        }
        cases.push(case.clone().with_reactions(forces));
    }
    model.problem = model.problem.with_cases(cases).map_err(|e| of_mesh(&e))?;
    Ok(model)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bones::BoneCache;
    use crate::model_build::build_model;
    use bicolumn_job::{Job, Plan, resolve};
    use bicolumn_mesh::SurfaceName;
    use bicolumn_model::nodes_on;
    use bicolumn_solve::Prepared;
    use std::collections::BTreeSet;
    use std::path::Path;

    const BONE: &str = "construct.layout = \"bare_bone\"\nbone.potting_level_mm = 84\nsolve.tolerance = 1e-11\n\
        loads.cases = [\"axial\", \"internal_torsion\", \"beside\"]\nloads.case.beside.force_n = 100\n\
        loads.case.beside.line_lateral_mm = 12\nmesh.finest_mm = 3\nmesh.growth = 2\nmesh.wall_ratio = 16\nmesh.far_ratio = 16\n";

    fn inputs(text: &str) -> PointInputs {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        resolve(&job, &Plan::of(&job).unwrap().points[0])
    }

    /// A coarse bone, held as asked, with its displacements.
    fn solved(supports: &str) -> (BuiltModel, Vec<Vec<Vec3>>) {
        let inputs = inputs(&format!("{BONE}{supports}"));
        let model = build_model(&inputs, &BoneCache::default()).unwrap();
        let u = model.solve(&inputs, 2, &|_| {}).unwrap();
        (model, u.by_load.displacement)
    }

    fn units(model: &BuiltModel, supports: &str) -> (JointSupport, Vec<LoadCase>) {
        let supports = inputs(&format!("{BONE}{supports}")).supports;
        let support = support(&model.construct, &supports).unwrap();
        let side = model.construct.bone.side();
        let unit = support.unit_loads(surface(&supports), side);
        let unit = unit
            .iter()
            .map(|l| model.patches.case(model.problem.mesh(), l));
        (support, unit.collect())
    }

    #[test]
    fn bone_inside_the_potting_is_held_outside_and_little_softer_than_its_cut_face() {
        let (cut, u) = solved("");
        let (potted, v) = solved("supports.potted_length_mm = 12\n");
        let top = |model: &BuiltModel| {
            let nodes = &model.problem.mesh().nodes;
            nodes.iter().map(|x| x.y).fold(0.0, f64::max)
        };
        assert!((top(&cut) - 84.0).abs() < 1e-6 && (top(&potted) - 96.0).abs() < 1e-6);
        let mesh = potted.problem.mesh();
        let held: BTreeSet<u32> = potted
            .problem
            .constraints()
            .iter()
            .map(|c| c.node)
            .collect();
        let below = held.iter().filter(|n| mesh.nodes[**n as usize].y < 84.0);
        assert_eq!(below.count(), 0);
        let outer = nodes_on(mesh, SurfaceName::BoneOuter);
        let inside = outer.iter().filter(|n| mesh.nodes[**n as usize].y >= 84.0);
        assert!(inside.clone().count() > 20 && inside.clone().all(|n| held.contains(n)));
        for (k, case) in cut.problem.cases().iter().enumerate() {
            // The canal's wall gives way inside the potting, a little.
            let stiff = case.work(&u[k]);
            let soft = potted.problem.cases()[k].work(&v[k]);
            assert!(
                soft > 0.99 * stiff && soft < 1.06 * stiff,
                "{k}: {soft} {stiff}"
            );
        }
    }

    #[test]
    fn a_guided_joint_of_a_potted_bone_does_not_move_across_the_shaft() {
        let guided = "supports.distal = \"guided\"\n";
        let (model, u) = solved(guided);
        let (_, unit) = units(&model, guided);
        let (free, v) = solved("");
        for (k, case) in model.problem.cases().iter().enumerate() {
            let own = |field: &[Vec3]| unit.iter().map(|g| g.work(field).abs()).fold(0.0, f64::max);
            assert!(
                own(&u[k]) < 1e-7 * own(&v[k]),
                "{} {}",
                own(&u[k]),
                own(&v[k])
            );
            // By Clapeyron the support takes work from the load: the joint is stiffer.
            let travel = |case: &LoadCase, field: &[Vec3]| {
                let applied = case.applied().iter();
                applied
                    .map(|(n, f)| f.dot(&field[*n as usize]))
                    .sum::<f64>()
            };
            let (held, free) = (travel(case, &u[k]), travel(&free.problem.cases()[k], &v[k]));
            assert!(held > 0.0 && held < free, "{held} {free}");
            assert_eq!(case.applied_force(), free_force(&model, k));
        }

        // The adjoint of a held model: q of u under f is f of the field under q, with its own reactions.
        let held = model.held.as_ref().unwrap();
        let mut q = vec![Vec3::zeros(); u[0].len()];
        for (n, f) in &free.problem.cases()[1].forces {
            q[*n as usize] += *f + Vec3::new(0.3, 0.1, -0.2) * f.norm();
        }
        let own: f64 = q.iter().zip(&u[2]).map(|(q, u)| q.dot(u)).sum();
        held.close(&mut q);
        let forces = q.iter().enumerate().filter(|f| *f.1 != Vec3::zeros());
        let adjoint = LoadCase::new("q", forces.map(|(n, f)| (n as u32, *f)));
        let problem = model.problem.clone().with_cases(vec![adjoint]).unwrap();
        let options = inputs(BONE).solve;
        let z = Prepared::new(&problem, &options)
            .unwrap()
            .solve_cases()
            .unwrap();
        let by_adjoint = free.problem.cases()[2].work(&z.displacement[0]);
        assert!((own / by_adjoint - 1.0).abs() < 1e-7, "{own} {by_adjoint}");
    }

    /// Applied force of a case, from the job alone.
    fn free_force(model: &BuiltModel, k: usize) -> Vec3 {
        let load = &inputs(BONE).loads[k];
        model
            .patches
            .case(model.problem.mesh(), load)
            .resultant_force()
    }

    #[test]
    fn a_block_on_a_universal_joint_bears_no_moment_about_its_centre() {
        for distal in ["guided", "ball_joint"] {
            let text = format!(
                "supports.proximal = \"universal_joint\"\nsupports.proximal_centre_level_mm = 120\n\
                 supports.distal = \"{distal}\"\nloads.cases = [\"beside\", \"internal_torsion\"]\n"
            );
            let base = BONE.replace(
                "loads.cases = [\"axial\", \"internal_torsion\", \"beside\"]\n",
                "",
            );
            let inputs = inputs(&format!("{base}{text}"));
            let model = build_model(&inputs, &BoneCache::default()).unwrap();
            let solution = model.solve(&inputs, 2, &|_| {}).unwrap().by_load;
            assert_eq!(model.held.is_none(), distal == "guided");
            let centre = model.construct.bone.shaft_axis(120.0);
            let nodes = &model.problem.mesh().nodes;
            let constraints = model.problem.constraints();
            let mut driven = 0.0_f64;
            for (case, held) in model.problem.cases().iter().zip(&solution.reactions) {
                let all = constraints.iter().zip(held);
                let moment: Vec3 = all
                    .map(|(c, f)| (nodes[c.node as usize] - centre).cross(f))
                    .sum();
                let load = case.applied_moment(nodes, centre);
                assert!(
                    moment.x.abs().max(moment.z.abs()) < 1e-5 * load.norm(),
                    "{moment} {load}"
                );
                driven = driven.max(load.x.hypot(load.z));
            }
            assert!(driven > 1000.0);
        }
    }

    #[test]
    fn a_rig_that_cannot_stand_is_refused_before_it_is_meshed() {
        let told = |text: &str| {
            let inputs = inputs(text);
            let construct = Construct::build(&inputs.construct).unwrap();
            refusal(&construct, &inputs).map(|r| {
                let path = keys().path(r.keys[0]).to_string();
                (path, r.reason)
            })
        };
        assert_eq!(told(""), None);
        assert_eq!(
            told("loads.cases = [\"internal_torsion\"]\nsupports.distal = \"guided\"\n"),
            None
        );
        let (key, why) = told("supports.proximal = \"universal_joint\"\n").unwrap();
        assert_eq!(key, "supports.proximal");
        assert!(
            why.starts_with("a mechanism: ") && why.contains("load case axial"),
            "{why}"
        );
        let balls = "loads.cases = [\"internal_torsion\"]\nsupports.proximal = \"ball_joint\"\nsupports.distal = \"guided\"\n";
        let (_, why) = told(balls).unwrap();
        assert!(why.contains("a mechanism"), "{why}");
        let (key, why) = told("loads.cases = [\"varus\"]\nsupports.distal = \"guided\"\n").unwrap();
        assert_eq!(key, "supports.distal");
        assert!(why.contains("bears the load case varus whole"), "{why}");
    }
}
