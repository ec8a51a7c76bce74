//! The door: steps that prepare a construct, then every load case from the prepared state.

use crate::interfaces::Interfaces;
use crate::law::{Law, Memory};
use crate::preload::{Preload, Slab};
use crate::report::{CaseReport, Status, Traction};
use crate::system::{State, System};
use crate::descent::{self, Descent, Shared};
use crate::walk::{Path, Walk, follow};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::Problem;
use bicolumn_solve::balance::{imbalance, reactions};
use bicolumn_solve::{
    InterfaceStiffness, Method, Prepared, Solution, SolveError, SolveOptions, SolveReport, held,
};
use std::cell::{Cell, RefCell};
use std::time::Instant;
use thiserror::Error;

/// Options of [`solve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContactOptions {
    /// Relative residual of equilibrium and relative change of the interface tractions to reach.
    pub tolerance: f64,
    /// Increments of each load case; more where the path matters.
    pub increments: usize,
    /// Outer iterations of an increment after which it is given up.
    pub max_outer: usize,
    /// Interface stiffness as a multiple of modulus over facet size; it moves the cost, not the result.
    /// `None`: high for the direct method, moderate for the iterative one.
    pub stiffness: Option<f64>,
    /// The linear solver.
    pub linear: SolveOptions,
}

impl Default for ContactOptions {
    fn default() -> Self {
        ContactOptions {
            tolerance: 1e-6,
            increments: 1,
            max_outer: 200,
            stiffness: None,
            linear: SolveOptions::default(),
        }
    }
}

/// One step of preparation. Unless they last, its forces are taken off again in the step that follows
/// (or, after the last step, before the load cases).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Step {
    /// Name: `preload`, `clamp`.
    pub name: String,
    /// Nodal forces at the end of the step, N.
    pub forces: Vec<(u32, Vec3)>,
    /// Do the forces act on, under all later steps and load cases?
    pub lasting: bool,
    /// Laws while it lasts, by set; `None`: those of the interfaces.
    pub laws: Option<Vec<Law>>,
    /// Slabs pulled to their preload in this step, as indices; their length is kept afterwards.
    pub pull: Vec<usize>,
    /// Increments.
    pub increments: usize,
}

/// Displacements of all load cases with contact.
#[derive(Debug, Clone, PartialEq)]
pub struct ContactSolution {
    /// Displacement of each node in the prepared state, mm.
    pub prepared: Vec<Vec3>,
    /// Displacement and reactions at the end of each load case, preparation included. Stress recovered
    /// from it is right everywhere but in preloaded slabs.
    pub total: Solution,
    /// What each load case adds to the prepared state: what a test machine would see.
    pub by_load: Solution,
    /// Steps of preparation.
    pub steps: Vec<CaseReport>,
    /// Load cases.
    pub cases: Vec<CaseReport>,
    /// What the corners of the interfaces carry at the end of each load case.
    pub tractions: Vec<Vec<Traction>>,
}

/// Why there is no contact solution at all.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ContactError {
    /// The linear system could not be set up.
    #[error(transparent)]
    Linear(#[from] SolveError),
    /// A step of preparation that did not converge; no load case was tried.
    #[error("step {0} did not converge: {1}")]
    Preparation(String, String),
    /// A slab without volume.
    #[error("the preload of {0} names no tetrahedron")]
    EmptySlab(String),
}

/// Solves all load cases of a problem whose mesh is split at `interfaces`.
///
/// `preloads` are slabs that steps may pull on. Each load case starts from the state that the steps
/// leave, with the interfaces' own laws. A case that does not converge is marked in its report; the
/// others go on.
///
/// # Errors
/// [`ContactError`]: a matrix that cannot be factored, a step of preparation that does not converge.
pub fn solve<'a>(
    problem: &'a Problem,
    interfaces: &'a Interfaces,
    preloads: &[Preload],
    steps: &'a [Step],
    options: &ContactOptions,
) -> Result<ContactSolution, ContactError> {
    let started = Instant::now();
    if let Some(p) = preloads.iter().find(|p| p.tets.is_empty()) {
        return Err(ContactError::EmptySlab(p.name.clone()));
    }
    let slabs: Vec<Slab> = preloads.iter().map(|p| Slab::new(problem, p)).collect();
    let nodes = problem.mesh.nodes.len();
    let mut is_held = vec![false; nodes];
    problem
        .fixed
        .iter()
        .for_each(|n| is_held[*n as usize] = true);
    // Parts that only the interfaces hold: open points keep a trace of stiffness in the tangent.
    let loose = held::check(problem).is_err();
    let multiple = options.stiffness.unwrap_or(match options.linear.method {
        Method::Direct => STIFF,
        _ => MODERATE,
    });
    let stiffness = interfaces.stiffnesses(problem, multiple);
    let mut state = State::unloaded(nodes, interfaces, slabs.len(), loose);
    let by_descent = true;
    let start = if by_descent {
        base_term(interfaces, problem, loose || !slabs.is_empty())
    } else {
        start_term(interfaces, &stiffness, loose)
    };
    let linear = SolveOptions {
        max_iterations: options.linear.max_iterations.min(MOST_ITERATIONS),
        ..options.linear
    };
    let ready = Prepared::with_interface(problem, &linear, Some(&start))?;
    let system = System {
        interfaces,
        ready: RefCell::new(ready),
        is_stale: Cell::new(false),
        rebuilds: Cell::new(0),
        stiffness,
        slabs,
        held: is_held,
        grip: if loose { LOOSE_GRIP } else { 0.0 },
    };
    let mut report = system.ready.borrow().report().clone();
    let mut shared = by_descent.then(|| {
        let all_laws = || {
            let of_steps = steps.iter().filter_map(|s| s.laws.as_deref());
            std::iter::once(interfaces.laws()).chain(of_steps)
        };
        let has_shear = (0..interfaces.sets().len())
            .map(|k| all_laws().any(|l| l[k] == Law::Bonded || l[k].friction() > 0.0))
            .collect();
        Shared {
            compliance: crate::compliance::Compliance::new(
                &system.ready.borrow(),
                interfaces.points(),
                &system.slabs,
            ),
            system: &system,
            farthest_mm: extent(problem),
            has_shear,
        }
    });
    let mut done = vec![];
    let mut laws = interfaces.laws().to_vec();
    let mut acting = vec![Vec3::zeros(); nodes];
    // Forces of the last step are taken off before the load cases.
    let mut lasting = acting.clone();
    let last = steps.last().filter(|s| !s.lasting && !s.forces.is_empty());
    let release = last.map(|_| Step {
        name: "release".to_owned(),
        ..Step::default()
    });
    for step in steps.iter().chain(&release) {
        let mine = step.laws.as_deref().unwrap_or(interfaces.laws());
        system.change_laws(&mut state, &laws, mine);
        laws = mine.to_vec();
        let mut pull = vec![None; preloads.len()];
        for &k in &step.pull {
            if let (Some(to), Some(p)) = (pull.get_mut(k), preloads.get(k)) {
                *to = Some(p.force_n);
            }
        }
        let path = Path {
            name: &step.name,
            before: acting,
            forces: added(&lasting, &step.forces),
            pull,
            laws: mine,
            increments: step.increments.max(1),
            tolerance: options.tolerance,
            max_outer: options.max_outer,
        };
        acting = path.forces.clone();
        if step.lasting {
            lasting.clone_from(&acting);
        }
        let report;
        if let Some(shared) = &mut shared {
            let mut descents = [Descent::new(shared, state, path)];
            descent::follow(shared, &mut descents);
            let [descent] = descents;
            (state, report) = descent.into_parts();
        } else {
            let mut walks = [Walk::new(&system, state, path)];
            follow(&system, &mut walks);
            let [walk] = walks;
            (state, report) = walk.into_parts();
        }
        if let Status::NotConverged { reason } = &report.status {
            return Err(ContactError::Preparation(step.name.clone(), reason.clone()));
        }
        done.push(report);
    }
    system.change_laws(&mut state, &laws, interfaces.laws());
    let prepared = state.u.clone();
    let path_of = |case: &'a bicolumn_model::LoadCase| Path {
        name: &case.name,
        before: lasting.clone(),
        forces: added(&lasting, &case.forces),
        pull: vec![None; preloads.len()],
        laws: interfaces.laws(),
        increments: options.increments.max(1),
        tolerance: options.tolerance,
        max_outer: options.max_outer,
    };
    let mut parts = vec![];
    if let Some(shared) = &mut shared {
        for group in problem.cases.chunks(8) {
            let mut descents: Vec<Descent<'_>> = group
                .iter()
                .map(|case| Descent::new(shared, state.clone(), path_of(case)))
                .collect();
            descent::follow(shared, &mut descents);
            parts.extend(descents.into_iter().map(Descent::into_parts));
        }
    } else {
        // One after the other: each case keeps the factor fitted to its own contact.
        for case in &problem.cases {
            let mut walks = [Walk::new(&system, state.clone(), path_of(case))];
            follow(&system, &mut walks);
            parts.extend(walks.into_iter().map(Walk::into_parts));
        }
    }
    let (mut displacement, mut cases, mut tractions) = (vec![], vec![], vec![]);
    for (state, report) in parts {
        tractions.push(system.tractions(&state, interfaces.laws()));
        displacement.push(state.u);
        cases.push(report);
    }
    report.iterations = cases.iter().map(|c| c.linear_iterations).sum();
    report.residuals = cases.iter().map(|c| c.residual).collect();
    report.solve_s = started.elapsed().as_secs_f64() - report.assemble_s - report.setup_s;
    let by_load: Vec<Vec<Vec3>> = displacement
        .iter()
        .map(|u| u.iter().zip(&prepared).map(|(u, p)| u - p).collect())
        .collect();
    Ok(ContactSolution {
        total: with_reactions(problem, displacement, &report),
        by_load: with_reactions(problem, by_load, &report),
        prepared,
        steps: done,
        cases,
        tractions,
    })
}

/// Interface stiffness over modulus per facet size: few outer iterations where the linear solver does not
/// mind.
const STIFF: f64 = 1000.0;
/// The same where the linear solver does.
const MODERATE: f64 = 20.0;
/// Iterations after which a Newton step's linear system asks for a new preconditioner.
const MOST_ITERATIONS: usize = 60;
/// Share of the interface stiffness that open points keep while parts hang on interfaces alone.
const LOOSE_GRIP: f64 = 1e-6;

/// The interface term that the preconditioner is built with: points that touch at the start, stuck where
/// there is friction.
fn start_term(interfaces: &Interfaces, stiffness: &[f64], loose: bool) -> InterfaceStiffness {
    let slopes: Vec<Mat3> = interfaces
        .points()
        .iter()
        .zip(stiffness)
        .map(|(p, epsilon)| {
            let across = p.normal * p.normal.transpose();
            let unit = match interfaces.laws()[p.set] {
                Law::Apart => Mat3::zeros(),
                _ if p.gap > 0.0 && !loose => Mat3::zeros(),
                Law::Frictionless if !loose => across,
                _ => Mat3::identity(),
            };
            unit * *epsilon
        })
        .collect();
    crate::stiffness::tangent(interfaces.points(), &slopes)
}

/// Springs that hold parts which only the interfaces hold, inside the preconditioner alone.
fn base_term(interfaces: &Interfaces, problem: &Problem, loose: bool) -> InterfaceStiffness {
    if !loose {
        return InterfaceStiffness::default();
    }
    let stiffness = interfaces.stiffnesses(problem, BASE);
    let points = interfaces.points();
    let slopes: Vec<Mat3> = points
        .iter()
        .zip(&stiffness)
        .map(|(p, s)| match interfaces.laws()[p.set] {
            Law::Apart => Mat3::zeros(),
            _ => Mat3::identity() * *s,
        })
        .collect();
    crate::stiffness::tangent(points, &slopes)
}

/// Their stiffness over modulus per facet size.
const BASE: f64 = 0.002;

/// Diagonal of the box around all nodes, mm.
fn extent(problem: &Problem) -> f64 {
    let nodes = &problem.mesh.nodes;
    let first = nodes.first().copied().unwrap_or_default();
    let low = nodes.iter().fold(first, |a, b| a.inf(b));
    let high = nodes.iter().fold(first, |a, b| a.sup(b));
    (high - low).norm()
}

fn added(lasting: &[Vec3], forces: &[(u32, Vec3)]) -> Vec<Vec3> {
    let mut all = lasting.to_vec();
    for (n, f) in forces {
        all[*n as usize] += f;
    }
    all
}

fn with_reactions(
    problem: &Problem,
    displacement: Vec<Vec<Vec3>>,
    report: &SolveReport,
) -> Solution {
    let reactions = reactions(problem, &displacement);
    let mut report = report.clone();
    let pairs = problem.cases.iter().zip(&reactions);
    report.equilibrium = pairs.map(|(c, r)| imbalance(problem, c, r)).collect();
    Solution {
        displacement,
        reactions,
        report,
    }
}

impl System<'_> {
    /// Forgets the tractions of sets whose law changes; a bond made now holds the jump it finds.
    fn change_laws(&self, state: &mut State, old: &[Law], new: &[Law]) {
        for (p, m) in self.interfaces.points().iter().zip(&mut state.memory) {
            if old[p.set] != new[p.set] {
                *m = Memory {
                    start: p.jump(&state.u),
                    ..Memory::default()
                };
            }
        }
    }
}

/// The direct method, for small meshes and checks.
pub fn direct() -> SolveOptions {
    SolveOptions {
        method: Method::Direct,
        ..SolveOptions::default()
    }
}
