//! The door: steps that prepare a construct, then every load case from the prepared state.

use crate::compliance::Compliance;
use crate::descent::{Descent, Path, follow};
use crate::forecast::forecast;
use crate::interfaces::{Interfaces, Point};
use crate::law::Law;
use crate::preload::{Preload, Slab};
use crate::report::{CaseReport, Status, Traction};
use crate::stiffness::tangent;
use crate::system::{State, System};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::Problem;
use bicolumn_solve::balance::{imbalance, reactions};
use bicolumn_solve::{
    Forecast, InterfaceStiffness, Prepared, Solution, SolveError, SolveOptions, SolveReport, held,
};
use std::time::Instant;
use thiserror::Error;

/// Options of [`solve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ContactOptions {
    /// Relative residual of equilibrium to reach.
    pub tolerance: f64,
    /// Increments of each load case; more where the path matters.
    pub increments: usize,
    /// Iterations of an increment after which it is given up.
    pub max_iterations: usize,
    /// The linear solver.
    pub linear: SolveOptions,
}

impl Default for ContactOptions {
    fn default() -> Self {
        ContactOptions {
            tolerance: 1e-6,
            increments: 1,
            max_iterations: 200,
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
    /// Screws tightened to their preload in this step, as indices; their length is kept afterwards.
    pub pull: Vec<usize>,
    /// Increments.
    pub increments: usize,
}

/// Displacements of all load cases with contact.
#[derive(Debug, Clone, PartialEq)]
pub struct ContactSolution {
    /// Displacement of each node in the prepared state, mm.
    pub prepared: Vec<Vec3>,
    /// What the corners of the interfaces carry in the prepared state.
    pub prepared_tractions: Vec<Traction>,
    /// Displacement and reactions at the end of each load case, preparation included. Stress recovered
    /// from it is right everywhere but in the tetrahedra that a preload cuts.
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
    /// One interface with threads along two axes, its own and a step's.
    #[error("{0} is threaded along two axes")]
    TwoAxes(String),
    /// A cut through nothing.
    #[error("the preload of {0} cuts no tetrahedron")]
    NothingCut(String),
}

/// As [`solve_told`], with nobody listening.
///
/// # Errors
/// As [`solve_told`].
pub fn solve<'a>(
    problem: &'a Problem,
    interfaces: &'a Interfaces,
    preloads: &[Preload],
    steps: &'a [Step],
    options: &ContactOptions,
) -> Result<ContactSolution, ContactError> {
    solve_told(problem, interfaces, preloads, steps, options, &|_| {})
}

/// Solves all load cases of a problem whose mesh is split at `interfaces`. `tell` hears what it will cost once
/// the preconditioner is there, before the costly part.
///
/// `preloads` are screws that steps may tighten. Each load case starts from the state that the steps
/// leave, with the interfaces' own laws. A case that does not converge is marked in its report; the
/// others go on.
///
/// # Errors
/// [`ContactError`]: a matrix that cannot be factored, a step of preparation that does not converge, laws of one
/// interface that contradict each other.
pub fn solve_told<'a>(
    problem: &'a Problem,
    interfaces: &'a Interfaces,
    preloads: &[Preload],
    steps: &'a [Step],
    options: &ContactOptions,
    tell: &dyn Fn(&Forecast),
) -> Result<ContactSolution, ContactError> {
    let started = Instant::now();
    let frames = frames(interfaces, steps)?;
    if let Some(p) = preloads
        .iter()
        .find(|p| p.tets.is_empty() || p.pulled.is_empty())
    {
        return Err(ContactError::NothingCut(p.name.clone()));
    }
    let slabs = preloads
        .iter()
        .map(|p| Slab::new(problem, p))
        .collect::<Result<Vec<Slab>, SolveError>>()?;
    let nodes = problem.mesh().nodes.len();
    let mut is_held = vec![false; nodes];
    problem
        .fixed()
        .iter()
        .for_each(|n| is_held[*n as usize] = true);
    // Parts that only the interfaces hold, wholly or, in a screw that is being tightened, along its axis.
    let loose = held::check(problem).is_err() || !slabs.is_empty();
    let springs = loose.then(|| springs(interfaces, problem));
    let ready = Prepared::with_interface(problem, &options.linear, springs.as_ref())?;
    let points = interfaces.points();
    tell(&forecast(ready.report(), interfaces, steps, options));
    let mut state = State::unloaded(nodes, points.len(), slabs.len());
    let mut system = System {
        compliance: Compliance::new(&ready, points, &slabs, frames),
        interfaces,
        ready,
        slabs,
        held: is_held,
        is_loose: loose,
        farthest_mm: extent(problem),
    };
    let mut report = system.ready.report().clone();
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
        state.change_laws(points, &laws, mine);
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
            max_iterations: options.max_iterations,
        };
        acting = path.forces.clone();
        if step.lasting {
            lasting.clone_from(&acting);
        }
        let mut descents = [Descent::new(&system, state, path)];
        follow(&mut system, &mut descents);
        let [descent] = descents;
        let report;
        (state, report) = descent.into_parts();
        if let Status::NotConverged { reason } = &report.status {
            return Err(ContactError::Preparation(step.name.clone(), reason.clone()));
        }
        done.push(report);
    }
    state.change_laws(points, &laws, interfaces.laws());
    let prepared = state.u.clone();
    let prepared_tractions = system.tractions(&state);
    let path_of = |case: &'a bicolumn_model::LoadCase| Path {
        name: &case.name,
        before: lasting.clone(),
        forces: added(&lasting, &case.forces),
        pull: vec![None; preloads.len()],
        laws: interfaces.laws(),
        increments: options.increments.max(1),
        tolerance: options.tolerance,
        max_iterations: options.max_iterations,
    };
    let mut parts = vec![];
    for group in problem.cases().chunks(TOGETHER) {
        let mut descents: Vec<Descent<'_>> = group
            .iter()
            .map(|case| Descent::new(&system, state.clone(), path_of(case)))
            .collect();
        follow(&mut system, &mut descents);
        parts.extend(descents.into_iter().map(Descent::into_parts));
    }
    let (mut displacement, mut cases, mut tractions) = (vec![], vec![], vec![]);
    for (state, report) in parts {
        tractions.push(system.tractions(&state));
        displacement.push(state.u);
        cases.push(report);
    }
    report.iterations = cases.iter().map(|c| c.iterations).sum();
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
        prepared_tractions,
        steps: done,
        cases,
        tractions,
    })
}

/// Normal and ways across of each point, along the threads that the interfaces or any of the steps give it.
fn frames(interfaces: &Interfaces, steps: &[Step]) -> Result<Vec<[Vec3; 3]>, ContactError> {
    let mut laws = interfaces.laws().to_vec();
    for mine in steps.iter().filter_map(|s| s.laws.as_ref()) {
        for ((own, other), set) in laws.iter_mut().zip(mine).zip(interfaces.sets()) {
            match (&own, other) {
                (Law::Threaded { axis, .. }, Law::Threaded { axis: another, .. })
                    if axis != another =>
                {
                    return Err(ContactError::TwoAxes(set.name.clone()));
                }
                (_, Law::Threaded { .. }) => *own = *other,
                _ => {}
            }
        }
    }
    let points = interfaces.points().iter();
    let frame = |p: &Point| {
        let [first, second] = laws[p.set].across(p.normal);
        [p.normal, first, second]
    };
    Ok(points.map(frame).collect())
}

/// Load cases that share every sweep over the matrix.
const TOGETHER: usize = 8;

/// Springs inside the preconditioner alone, for parts that only the interfaces hold: they slow the way to
/// the solution and do not change it.
fn springs(interfaces: &Interfaces, problem: &Problem) -> InterfaceStiffness {
    let points = interfaces.points();
    let slopes: Vec<Mat3> = points
        .iter()
        .zip(interfaces.stiffnesses(problem, SPRING))
        .map(|(p, s)| match interfaces.laws()[p.set] {
            Law::Apart => Mat3::zeros(),
            _ => Mat3::identity() * s,
        })
        .collect();
    tangent(points, &slopes)
}

/// Their stiffness over modulus per facet size: soft beside what presses, stiff beside nothing.
const SPRING: f64 = 0.002;

/// Diagonal of the box around all nodes, mm.
fn extent(problem: &Problem) -> f64 {
    let nodes = &problem.mesh().nodes;
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
    let pairs = problem.cases().iter().zip(&reactions);
    report.equilibrium = pairs.map(|(c, r)| imbalance(problem, c, r)).collect();
    Solution {
        displacement,
        reactions,
        report,
    }
}
