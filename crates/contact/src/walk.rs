//! One load case on its way: increments, outer iterations, Newton steps.
//!
//! A walk says which linear system it wants solved next and takes the solution; who drives it can so
//! solve the systems of many cases in one sweep.

use crate::law::{Contact, Law};
use crate::report::{CaseReport, Status};
use crate::system::{Evaluation, Load, State, System};
use bicolumn_base::Vec3;
use bicolumn_solve::InterfaceStiffness;

/// Newton steps within one outer iteration.
const MOST_STEPS: usize = 25;
/// Trials of a line search.
const MOST_TRIALS: usize = 12;
/// Least relative accuracy asked of a Newton step's linear system, and the best.
const LOOSEST: f64 = 0.01;
const FINEST: f64 = 1e-9;
/// Residual at which the first multipliers are taken.
const FIRST_GOAL: f64 = 1e-2;

/// A way from one state to the next.
#[derive(Debug, Clone)]
pub(crate) struct Path<'a> {
    pub(crate) name: &'a str,
    /// Nodal forces at the start, N.
    pub(crate) before: Vec<Vec3>,
    /// Nodal forces at the end, N.
    pub(crate) forces: Vec<Vec3>,
    /// Section force of each slab at the end, N; `None`: its length is kept.
    pub(crate) pull: Vec<Option<f64>>,
    /// Law of each set.
    pub(crate) laws: &'a [Law],
    pub(crate) increments: usize,
    /// Relative residual of equilibrium and relative change of the tractions to reach.
    pub(crate) tolerance: f64,
    pub(crate) max_outer: usize,
}

/// A linear system (K + C) d = r that a walk wants solved.
pub(crate) struct Wanted {
    pub(crate) residual: Vec<Vec3>,
    pub(crate) slope: InterfaceStiffness,
    /// Relative residual that will do.
    pub(crate) tolerance: f64,
}

/// A path being followed.
pub(crate) struct Walk<'a> {
    pub(crate) state: State,
    path: Path<'a>,
    report: CaseReport,
    /// Displacement at the start of the path.
    first: Vec<Vec3>,
    load: Load<'a>,
    /// Nodal forces of the interfaces at the last outer iteration, N.
    last_forces: Vec<Vec3>,
    /// Relative residual at which Newton steps stop for now.
    goal: f64,
    steps: usize,
    outer: usize,
    is_done: bool,
}

impl<'a> Walk<'a> {
    pub(crate) fn new(system: &System<'_>, state: State, path: Path<'a>) -> Self {
        let load = Load {
            forces: vec![],
            pull: vec![],
            laws: path.laws,
        };
        let mut walk = Walk {
            first: state.u.clone(),
            state,
            report: CaseReport::new(path.name),
            load,
            last_forces: vec![],
            goal: 0.0,
            steps: 0,
            outer: 0,
            is_done: false,
            path,
        };
        walk.begin(system);
        walk
    }

    /// Starts the next increment. Its slip counts from where it begins.
    fn begin(&mut self, system: &System<'_>) {
        self.report.increments += 1;
        self.report.history.clear();
        let t = self.report.increments as f64 / self.path.increments as f64;
        let forces = self.path.before.iter().zip(&self.path.forces);
        self.load.forces = forces.map(|(b, f)| b + (f - b) * t).collect();
        let pull = self.path.pull.iter();
        self.load.pull = pull.map(|p| p.map(|f| f * t)).collect();
        self.last_forces = vec![Vec3::zeros(); self.state.u.len()];
        self.goal = FIRST_GOAL.max(self.path.tolerance);
        (self.steps, self.outer) = (0, 0);
        let points = system.interfaces.points().iter();
        for (p, m) in points.zip(&mut self.state.memory) {
            if matches!(self.path.laws[p.set], Law::Frictional { .. }) {
                m.start = p.jump(&self.state.u);
            }
        }
    }

    /// The next linear system; `None` when the path is done or given up.
    pub(crate) fn next(&mut self, system: &System<'_>) -> Option<Wanted> {
        while !self.is_done {
            let interface = system.evaluate(&self.state.memory, &self.state.u, self.load.laws);
            let (residual, size) = system.residual(&self.state, &self.load, &interface);
            let norm = residual.iter().map(Vec3::norm_squared).sum::<f64>().sqrt();
            self.report.residual = if size > 0.0 { norm / size } else { 0.0 };
            // Multipliers must not be updated twice from one displacement: at least one step each time.
            let must = self.steps == 0 && self.report.residual > 1e-3 * self.path.tolerance;
            if must || (self.report.residual > self.goal && self.steps < MOST_STEPS) {
                let wanted = 0.3 * (self.goal / self.report.residual).min(1.0);
                return Some(Wanted {
                    residual,
                    slope: system.slope(&interface.responses, &self.load),
                    tolerance: wanted.clamp(FINEST, LOOSEST),
                });
            }
            self.finish_outer(system, &interface);
        }
        None
    }

    /// Takes the solution d of the last system, and K d.
    pub(crate) fn take(
        &mut self,
        system: &System<'_>,
        step: &[Vec3],
        product: &[Vec3],
        iterations: usize,
    ) {
        self.steps += 1;
        self.report.newton_steps += 1;
        self.report.linear_iterations += iterations;
        let t = self.length(system, (step, product));
        for (u, d) in self.state.u.iter_mut().zip(step) {
            *u += d * t;
        }
        for (ku, d) in self.state.ku.iter_mut().zip(product) {
            *ku += d * t;
        }
    }

    /// Gives up.
    pub(crate) fn fail(&mut self, system: &System<'_>, reason: &str) {
        self.report.status = Status::NotConverged {
            reason: format!(
                "increment {} of {}: {reason}",
                self.report.increments, self.path.increments
            ),
        };
        self.end(system);
    }

    fn end(&mut self, system: &System<'_>) {
        self.is_done = true;
        self.state.shrink = system.shrinks(&self.state, &self.state.u, &self.load);
        self.report.sets = system.look(&self.state, &self.first, self.path.laws);
        self.report.section_forces_n = system
            .slabs
            .iter()
            .zip(&self.state.shrink)
            .map(|(slab, s)| slab.section_force(&self.state.u, *s))
            .collect();
    }

    /// The state and the report of a path that is done.
    pub(crate) fn into_parts(self) -> (State, CaseReport) {
        (self.state, self.report)
    }

    /// Updates the multipliers once Newton's steps have settled; ends the increment when that changes
    /// nothing any more.
    fn finish_outer(&mut self, system: &System<'_>, interface: &Evaluation) {
        let tolerance = self.path.tolerance;
        let settled = self.report.residual <= tolerance;
        let stalled = self.steps == MOST_STEPS && self.report.residual > self.goal;
        self.outer += 1;
        self.report.outer_iterations += 1;
        let dissipated = system.dissipation(&self.state, &self.load);
        let were_known = update(system, &mut self.state, self.load.laws, interface);
        let change = if were_known {
            self.change(system, &interface.forces)
        } else {
            1.0
        };
        self.last_forces.clone_from(&interface.forces);
        self.report.traction_change = change;
        self.report.history.push(change);
        if settled && change <= tolerance {
            self.report.dissipation_nmm += dissipated;
            if self.report.increments == self.path.increments {
                self.end(system);
            } else {
                self.state.shrink = system.shrinks(&self.state, &self.state.u, &self.load);
                self.begin(system);
            }
        } else if stalled {
            let reason = format!(
                "residual {:.1e} after {MOST_STEPS} Newton steps",
                self.report.residual
            );
            self.fail(system, &reason);
        } else if self.outer == self.path.max_outer {
            let reason = format!(
                "tractions still change by {change:.1e}, residual {:.1e}, after {} outer iterations",
                self.report.residual, self.outer
            );
            self.fail(system, &reason);
        } else {
            self.goal = (0.1 * change).clamp(tolerance, self.goal);
            self.steps = 0;
        }
    }

    /// Relative change of the interface's nodal forces since the last outer iteration. Forces much
    /// smaller than the load are measured against the load.
    fn change(&self, system: &System<'_>, forces: &[Vec3]) -> f64 {
        let (mut changed, mut total, mut loads) = (0.0, 0.0, 0.0);
        for n in 0..forces.len() {
            if !system.held[n] {
                changed += (forces[n] - self.last_forces[n]).norm_squared();
                total += forces[n].norm_squared();
                loads += self.load.forces[n].norm_squared();
            }
        }
        let reference = f64::max(total, 1e-4 * loads);
        if reference > 0.0 {
            (changed / reference).sqrt()
        } else {
            0.0
        }
    }

    /// How far to go along a step: the whole of it, or to the least energy before its end.
    fn length(&self, system: &System<'_>, along: (&[Vec3], &[Vec3])) -> f64 {
        let at = |t: f64| system.pull_along(&self.state, &self.load, along, t);
        let (start, end) = (at(0.0), at(1.0));
        if end >= -0.5 * start.abs() {
            return 1.0;
        }
        // The pull falls along the step, since the energy is convex: a bracketed secant (Illinois).
        let (mut low, mut high) = ((0.0, start), (1.0, end));
        for _ in 0..MOST_TRIALS {
            let t = (low.0 * high.1 - high.0 * low.1) / (high.1 - low.1);
            let value = at(t);
            if value.abs() <= 0.1 * start.abs() {
                return t;
            }
            if value > 0.0 {
                low = (t, value);
                high.1 *= 0.5;
            } else {
                high = (t, value);
                low.1 *= 0.5;
            }
        }
        low.0.max(0.1 * high.0)
    }
}

/// A point that slips farther than this many elastic slips (bound over ε) needs no shear multiplier: the
/// direction of its slip alone gives its traction. With one, that direction would only creep into place.
const CLEAR_SLIP: f64 = 10.0;

/// Sets multipliers to the tractions and friction bounds to μ times the pressure. True when every bound
/// was known before.
fn update(system: &System<'_>, state: &mut State, laws: &[Law], interface: &Evaluation) -> bool {
    let mut were_known = true;
    let points = system.interfaces.points().iter();
    for (((p, m), r), epsilon) in points
        .zip(&mut state.memory)
        .zip(&interface.responses)
        .zip(&system.stiffness)
    {
        let law = laws[p.set];
        m.pressure = r.pressure;
        m.shear = r.shear;
        if let Law::Frictional { mu } = law {
            were_known &= r.contact == Contact::Open || m.bound.is_finite();
            m.bound = mu * r.pressure;
            let moved = p.jump(&state.u) - m.start;
            let slip = (moved - p.normal * p.normal.dot(&moved)).norm();
            if r.contact == Contact::Slipping && epsilon * slip > CLEAR_SLIP * m.bound {
                m.shear = Vec3::zeros();
            }
        }
    }
    were_known
}

/// Follows walks to their ends, solving their linear systems side by side.
pub(crate) fn follow(system: &System<'_>, walks: &mut [Walk<'_>]) {
    loop {
        let mut at = vec![];
        let mut wanted = vec![];
        for (k, walk) in walks.iter_mut().enumerate() {
            if let Some(w) = walk.next(system) {
                at.push(k);
                wanted.push(w);
            }
        }
        if at.is_empty() {
            return;
        }
        let steps = system.solve(&wanted);
        let mut taken = vec![];
        let mut solutions = vec![];
        for (k, step) in at.into_iter().zip(steps) {
            match step {
                Ok((step, iterations)) => {
                    taken.push((k, iterations));
                    solutions.push(step);
                }
                Err(e) => walks[k].fail(system, &e.to_string()),
            }
        }
        let products = system.products(&solutions);
        for (((k, iterations), step), product) in taken.into_iter().zip(&solutions).zip(&products) {
            walks[k].take(system, step, product, iterations);
        }
    }
}
