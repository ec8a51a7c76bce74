//! The door: steps that prepare a construct, then every load case from the prepared state.

use crate::compliance::Compliance;
use crate::forecast::forecast;
use crate::increment::Increment;
use crate::interfaces::Interfaces;
use crate::iteration::follow;
use crate::law::Law;
use crate::options::{ContactOptions, Step};
use crate::path::{LoadPath, PathEnd};
use crate::point::Point;
use crate::preload::{Preload, Section};
use crate::report::{CaseReport, Status, Traction};
use crate::stabilisation::stiffness_of_springs;
use crate::state::State;
use crate::system::System;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::{Components, LoadCase, Problem};
use bicolumn_solve::balance::{imbalance, reactions};
use bicolumn_solve::{
    ForceBasis, Forecast, InterfaceStiffness, Prepared, Solution, SolveError, SolveReport, support,
};
use std::time::Instant;
use thiserror::Error;

/// Displacements of all load cases with contact.
#[derive(Debug, Clone, PartialEq)]
pub struct ContactSolution {
    /// Displacement of each node in the prepared state, mm.
    pub prepared: Vec<Vec3>,
    /// Tractions at the corners of the interfaces in the prepared state.
    pub prepared_tractions: Vec<Traction>,
    /// Displacement and reactions at the end of each load case, preparation included. Stress recovered
    /// from it is right everywhere but in the tetrahedra that a preload cuts.
    pub total: Solution,
    /// Displacement and reactions that each load case adds to the prepared state, as a test machine would see them.
    pub by_load: Solution,
    /// Reports of the steps of preparation.
    pub steps: Vec<CaseReport>,
    /// Reports of the load cases.
    pub cases: Vec<CaseReport>,
    /// Tractions at the corners of the interfaces at the end of each load case.
    pub tractions: Vec<Vec<Traction>>,
}

/// Error without any contact solution.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ContactError {
    /// The linear system could not be set up.
    #[error(transparent)]
    Linear(#[from] SolveError),
    /// A step of preparation that did not converge; no load case was tried.
    #[error("step {step} did not converge: {reason}")]
    Preparation {
        /// Name of the step.
        step: String,
        /// Increment and residuals at which it stopped.
        reason: String,
    },
    /// One interface with threads along two axes, its own and a step's.
    #[error("{0} is threaded along two axes")]
    TwoAxes(String),
    /// A load case that displaces supports.
    #[error("load case {0} displaces supports, which is not solved together with interfaces")]
    MovedSupport(String),
    /// A cut through nothing.
    #[error("the preload of {0} cuts no tetrahedron")]
    NothingCut(String),
}

/// Solution as by [`solve_with_forecast`], without a forecast.
///
/// # Errors
/// As [`solve_with_forecast`].
pub fn solve<'a>(
    problem: &'a Problem,
    interfaces: &'a Interfaces,
    preloads: &'a [Preload],
    steps: &'a [Step],
    options: &ContactOptions,
) -> Result<ContactSolution, ContactError> {
    solve_with_forecast(problem, interfaces, preloads, steps, options, &|_| {})
}

/// Solves all load cases of a problem whose mesh is split at `interfaces`. `on_forecast` receives the forecast of time
/// and memory once the preconditioner is there, before the costly part.
///
/// `preloads` are screws that steps may tighten. Each load case starts from the state that the steps
/// leave, with the interfaces' own laws. A case that does not converge is marked in its report; the
/// others go on.
///
/// # Errors
/// [`ContactError`]: a matrix that cannot be factored, a step of preparation that does not converge, laws of one
/// interface that contradict each other.
pub fn solve_with_forecast<'a>(
    problem: &'a Problem,
    interfaces: &'a Interfaces,
    preloads: &'a [Preload],
    steps: &'a [Step],
    options: &ContactOptions,
    on_forecast: &dyn Fn(&Forecast),
) -> Result<ContactSolution, ContactError> {
    let started = Instant::now();
    let task = Task {
        problem,
        interfaces,
        preloads,
        steps,
        options,
    };
    let (mut system, mut basis) = task.prepare()?;
    on_forecast(&forecast(
        system.prepared.report(),
        interfaces,
        steps,
        options,
    ));
    let prepared = task.run_steps(&mut system, &mut basis)?;
    let cases = task.run_cases(&mut system, &mut basis, &prepared);
    Ok(task.gather(&system, prepared, cases, started))
}

/// Inputs of a contact solution.
struct Task<'a> {
    problem: &'a Problem,
    interfaces: &'a Interfaces,
    preloads: &'a [Preload],
    steps: &'a [Step],
    options: &'a ContactOptions,
}

/// Construct after the steps of preparation.
struct PreparedState {
    state: State,
    /// Nodal forces that act on under the load cases, N.
    lasting: Vec<Vec3>,
    reports: Vec<CaseReport>,
}

impl<'a> Task<'a> {
    /// Checks the inputs and sets up stiffness, preconditioner and the compliance of the preload sections; with the unit forces of
    /// the compliance's rows.
    fn prepare(&self) -> Result<(System<'a>, ForceBasis), ContactError> {
        let problem = self.problem;
        let frames = frames(self.interfaces, self.steps)?;
        if let Some(p) = self
            .preloads
            .iter()
            .find(|p| p.tets.is_empty() || p.pulled.is_empty())
        {
            return Err(ContactError::NothingCut(p.name.clone()));
        }
        let sections = self
            .preloads
            .iter()
            .map(|p| Section::new(problem, p))
            .collect::<Result<Vec<Section>, SolveError>>()?;
        if let Some(case) = (0..problem.cases().len()).find(|k| !problem.prescribed(*k).is_empty())
        {
            return Err(ContactError::MovedSupport(
                problem.cases()[case].name.clone(),
            ));
        }
        let mut supported = vec![Components::NONE; problem.mesh().nodes.len()];
        for c in problem.constraints() {
            supported[c.node as usize] = c.components;
        }
        // Parts that only the interfaces hold, wholly or, in a screw that is being tightened, along its axis.
        let has_floating_parts = support::check(problem).is_err() || !sections.is_empty();
        let springs = has_floating_parts.then(|| springs(self.interfaces, problem));
        let prepared = Prepared::with_interface(problem, &self.options.linear, springs.as_ref())?;
        let mut basis = prepared.force_basis();
        let points = self.interfaces.points();
        let system = System {
            compliance: Compliance::new(&mut basis, points, &sections, frames),
            interfaces: self.interfaces,
            prepared,
            sections,
            supported,
            has_floating_parts,
            largest_displacement_mm: extent(problem),
        };
        Ok((system, basis))
    }

    /// Follows the steps of preparation one after the other; forces of the last step are taken off at the end.
    fn run_steps(
        &self,
        system: &mut System<'_>,
        basis: &mut ForceBasis,
    ) -> Result<PreparedState, ContactError> {
        let points = self.interfaces.points();
        let nodes = self.problem.mesh().nodes.len();
        let mut state = State::unloaded(nodes, points.len(), self.preloads.len());
        let mut reports = vec![];
        let mut laws = self.interfaces.laws().to_vec();
        let mut acting = vec![Vec3::zeros(); nodes];
        let mut lasting = acting.clone();
        let last = self.steps.last();
        let release = last.filter(|s| !s.lasting && !s.forces.is_empty());
        let release = release.map(|_| Step {
            name: "release".to_owned(),
            ..Step::default()
        });
        for step in self.steps.iter().chain(&release) {
            let mine = step.laws.as_deref().unwrap_or(self.interfaces.laws());
            state.change_laws(points, &laws, mine);
            laws = mine.to_vec();
            let path = LoadPath {
                name: &step.name,
                before: acting,
                forces: added(&lasting, &step.forces),
                tensions: self.tensions(step),
                laws: mine,
                increments: step.increments.max(1),
                tolerance: self.options.tolerance,
                max_iterations: self.options.max_iterations,
            };
            acting = path.forces.clone();
            if step.lasting {
                lasting.clone_from(&acting);
            }
            let first = Increment::first(system, state.clone(), path);
            for end in follow(system, basis, vec![first]) {
                if let Status::NotConverged { reason } = &end.report.status {
                    return Err(ContactError::Preparation {
                        step: step.name.clone(),
                        reason: reason.clone(),
                    });
                }
                state = end.state;
                reports.push(end.report);
            }
        }
        state.change_laws(points, &laws, self.interfaces.laws());
        Ok(PreparedState {
            state,
            lasting,
            reports,
        })
    }

    /// Tension of each section at the end of a step; `None` where its length is kept.
    fn tensions(&self, step: &Step) -> Vec<Option<f64>> {
        let mut out = vec![None; self.preloads.len()];
        for &k in &step.tightened {
            if let (Some(to), Some(p)) = (out.get_mut(k), self.preloads.get(k)) {
                *to = Some(p.force_n);
            }
        }
        out
    }

    /// Follows the load cases from the prepared state, [`TOGETHER`] at a time.
    fn run_cases(
        &self,
        system: &mut System<'_>,
        basis: &mut ForceBasis,
        from: &PreparedState,
    ) -> Vec<PathEnd> {
        let path_of = |case: &'a LoadCase| LoadPath {
            name: &case.name,
            before: from.lasting.clone(),
            forces: added(&from.lasting, &case.forces),
            tensions: vec![None; self.preloads.len()],
            laws: self.interfaces.laws(),
            increments: self.options.increments.max(1),
            tolerance: self.options.tolerance,
            max_iterations: self.options.max_iterations,
        };
        let mut ends = vec![];
        for group in self.problem.cases().chunks(TOGETHER) {
            let first = group
                .iter()
                .map(|case| Increment::first(system, from.state.clone(), path_of(case)))
                .collect();
            ends.extend(follow(system, basis, first));
        }
        ends
    }

    /// Displacements, reactions, tractions and reports of all paths.
    fn gather(
        &self,
        system: &System<'_>,
        prepared: PreparedState,
        ends: Vec<PathEnd>,
        started: Instant,
    ) -> ContactSolution {
        let (mut displacement, mut cases, mut tractions) = (vec![], vec![], vec![]);
        for PathEnd { state, report } in ends {
            tractions.push(system.tractions(&state));
            displacement.push(state.u);
            cases.push(report);
        }
        let mut report = system.prepared.report().clone();
        report.iterations = cases.iter().map(|c| c.iterations).sum();
        report.residuals = cases.iter().map(|c| c.residual).collect();
        report.solve_s = started.elapsed().as_secs_f64() - report.assemble_s - report.setup_s;
        let prepared_tractions = system.tractions(&prepared.state);
        let prepared_u = prepared.state.u;
        let by_load: Vec<Vec<Vec3>> = displacement
            .iter()
            .map(|u| u.iter().zip(&prepared_u).map(|(u, p)| u - p).collect())
            .collect();
        ContactSolution {
            total: with_reactions(self.problem, displacement, &report),
            by_load: with_reactions(self.problem, by_load, &report),
            prepared: prepared_u,
            prepared_tractions,
            steps: prepared.reports,
            cases,
            tractions,
        }
    }
}

/// Normal and tangents of each point, the first along the threads that the interfaces or any of the steps give it.
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
        let [first, second] = laws[p.set].tangents(p.normal);
        [p.normal, first, second]
    };
    Ok(points.map(frame).collect())
}

/// Load cases that share every sweep over the matrix.
const TOGETHER: usize = 8;

/// Springs inside the preconditioner alone, for parts that only the interfaces hold: they slow convergence and do not
/// change the solution.
fn springs(interfaces: &Interfaces, problem: &Problem) -> InterfaceStiffness {
    let points = interfaces.points();
    let stiffnesses: Vec<Mat3> = points
        .iter()
        .zip(interfaces.stiffnesses(problem, SPRING))
        .map(|(p, s)| match interfaces.laws()[p.set] {
            Law::Apart => Mat3::zeros(),
            _ => Mat3::identity() * s,
        })
        .collect();
    stiffness_of_springs(points, &stiffnesses)
}

/// Stiffness of these springs over modulus per facet size: soft beside contact, stiff beside nothing.
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
