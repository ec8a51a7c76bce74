//! Increments of a load path: proximal iterations under fixed loads until equilibrium and laws are met.

use crate::compliance::Row;
use crate::history::{History, Iterate};
use crate::law::Law;
use crate::path::{Failure, LoadPath, PathEnd, Progress};
use crate::reduced::ActiveSet;
use crate::state::State;
use crate::system::System;
use bicolumn_base::Vec3;

/// Iterations after the last new row in which no part counts as lost.
const EARLY: usize = 10;

/// Increment of a load path while it is iterated.
pub(crate) struct Increment<'a> {
    progress: Progress<'a>,
    /// Nodal forces at the end of the increment, N.
    loads: Vec<Vec3>,
    /// Tension of each section at the end of the increment, N; `None`: its length is kept.
    tensions: Vec<Option<f64>>,
    /// Contact force λ of each row, N.
    forces: Vec<f64>,
    /// Residual of equilibrium r = f + Bᵀλ − K u, zero at supported nodes, N.
    residual: Vec<Vec3>,
    history: History,
    iterations: usize,
    /// Iteration at which the reduced problem last grew.
    last_new: usize,
}

/// Update of an iterate by one iteration.
pub(crate) struct Update {
    /// Contact force λ of each row after the step, N.
    pub(crate) forces: Vec<f64>,
    /// Relative residual of the contact laws.
    pub(crate) law_residual: f64,
    /// d, mm.
    pub(crate) step: Vec<Vec3>,
    /// M d, N.
    pub(crate) preconditioned: Vec<Vec3>,
    /// K d, N.
    pub(crate) product: Vec<Vec3>,
}

/// Outcome of an iteration.
pub(crate) enum Next<'a> {
    /// Another iteration, of this increment or the next.
    Iterate(Box<Increment<'a>>),
    /// The end of the load path.
    End(Box<PathEnd>),
}

impl<'a> Increment<'a> {
    /// First increment of a load path.
    pub(crate) fn first(system: &System<'_>, state: State, path: LoadPath<'a>) -> Self {
        Self::next(system, Progress::new(state, path))
    }

    /// Next increment. Its slip counts from where it begins.
    fn next(system: &System<'_>, mut progress: Progress<'a>) -> Self {
        let Progress {
            path,
            state,
            report,
            ..
        } = &mut progress;
        report.increments += 1;
        report.history.clear();
        let t = report.increments as f64 / path.increments as f64;
        let loads = path.before.iter().zip(&path.forces);
        let loads: Vec<Vec3> = loads.map(|(b, f)| b + (f - b) * t).collect();
        let tensions = path.tensions.iter().map(|p| p.map(|f| f * t)).collect();
        let points = system.interfaces.points();
        for (p, reference) in points.iter().zip(&mut state.reference) {
            match path.law_at(p) {
                Law::Frictional { .. } => *reference = p.jump(&state.u),
                law @ Law::Threaded { .. } => {
                    let [along, _] = law.tangents(p.normal);
                    let jump = p.jump(&state.u);
                    *reference = jump + along * along.dot(&(*reference - jump));
                }
                Law::Bonded | Law::Frictionless | Law::Apart => {}
            }
        }
        let rows = system.compliance.rows.iter();
        let forces: Vec<f64> = rows
            .map(|row| match *row {
                Row::Section(k) => -state.shortening[k],
                Row::Point(k, along) => state.force[k].dot(&along),
            })
            .collect();
        let inner = system.nodal_forces(&forces);
        let residual = (0..inner.len())
            .map(|n| system.supported[n].clear(loads[n] + inner[n] - state.ku[n]))
            .collect();
        Increment {
            progress,
            loads,
            tensions,
            forces,
            residual,
            history: History::new(),
            iterations: 0,
            last_new: 0,
        }
    }

    pub(crate) fn path(&self) -> &LoadPath<'a> {
        &self.progress.path
    }

    /// Displacement of the iterate, mm.
    pub(crate) fn u(&self) -> &[Vec3] {
        &self.progress.state.u
    }

    /// Reference jumps of the points, mm.
    pub(crate) fn references(&self) -> &[Vec3] {
        &self.progress.state.reference
    }

    pub(crate) fn forces(&self) -> &[f64] {
        &self.forces
    }

    pub(crate) fn residual(&self) -> &[Vec3] {
        &self.residual
    }

    pub(crate) fn tensions(&self) -> &[Option<f64>] {
        &self.tensions
    }

    /// Iterations done.
    pub(crate) fn iterations(&self) -> usize {
        self.iterations
    }

    /// Relative residual of equilibrium after the last iteration.
    pub(crate) fn relative_residual(&self) -> f64 {
        self.progress.report.residual
    }

    /// Active set with the factors of the last Newton step.
    pub(crate) fn active_set(&mut self) -> &mut ActiveSet {
        &mut self.progress.active
    }

    /// Takes in rows without force.
    pub(crate) fn add_rows(&mut self, count: usize) {
        self.last_new = self.iterations;
        self.forces.extend(std::iter::repeat_n(0.0, count));
        self.history.add_rows(count);
    }

    /// Size of the forces that the residual is measured against, N: that of the loads, or of the contact forces where
    /// there is no load.
    fn force_scale(&self, system: &System<'_>) -> f64 {
        let sum = |v: &[Vec3]| -> f64 {
            let free = v.iter().zip(&system.supported);
            free.map(|(f, s)| s.clear(*f).norm_squared()).sum::<f64>()
        };
        let loads = sum(&self.loads);
        if loads > 0.0 {
            return loads.sqrt();
        }
        // The forces inside a section are much larger than its tension and say nothing.
        let tension = self.tensions.iter().flatten().map(|f| f * f).sum::<f64>();
        let rows = system.compliance.rows.iter().zip(&self.forces);
        let of_points: Vec<f64> = rows
            .map(|(row, f)| match row {
                Row::Section(_) => 0.0,
                Row::Point(..) => *f,
            })
            .collect();
        sum(&system.nodal_forces(&of_points)).max(tension).sqrt()
    }

    /// Takes the step of an iteration and decides: another iteration, the next increment or the end.
    pub(crate) fn accept(mut self, system: &System<'_>, update: Update) -> Next<'a> {
        let Update {
            forces,
            law_residual,
            step,
            preconditioned,
            product,
        } = update;
        let tolerance = self.progress.path.tolerance;
        self.iterations += 1;
        let report = &mut self.progress.report;
        report.iterations += 1;
        let u: Vec<Vec3> = self.u_plus(&step);
        let ku: Vec<Vec3> = self
            .progress
            .state
            .ku
            .iter()
            .zip(&product)
            .map(|(k, d)| k + d)
            .collect();
        let residual: Vec<Vec3> = preconditioned
            .iter()
            .zip(&product)
            .map(|(q, k)| q - k)
            .collect();
        let change = relative_change(&forces, &self.forces);
        self.forces.clone_from(&forces);
        let size = self.force_scale(system);
        let norm = residual.iter().map(Vec3::norm_squared).sum::<f64>().sqrt();
        let relative = if size > 0.0 { norm / size } else { 0.0 };
        let report = &mut self.progress.report;
        report.residual = relative;
        report.traction_change = change;
        report.history.push(relative);
        // While points come in, an iterate may be far off without harm.
        let ran_away = self.iterations > self.last_new + EARLY
            && !u.iter().all(|u| u.norm() <= system.largest_displacement_mm);
        let converged = !ran_away
            && relative <= tolerance
            && law_residual <= tolerance
            && self.path().is_complete(system, &u, &forces);
        if converged || ran_away || self.iterations == self.progress.path.max_iterations {
            let failure = match (converged, ran_away) {
                (true, _) => None,
                (false, true) => Some(Failure::RunsAway),
                (false, false) => Some(Failure::Iterations {
                    residual: relative,
                    law_residual,
                    iterations: self.iterations,
                }),
            };
            return self.finish(system, (u, ku), failure);
        }
        let mixed = self.history.mix(
            Iterate {
                u,
                step,
                preconditioned,
                residual,
                forces,
            },
            relative,
        );
        self.progress.state.u = mixed.u;
        self.residual = mixed.residual;
        self.forces = mixed.forces;
        // K u of the mixed displacement, by the residual that was mixed with it.
        let inner = system.nodal_forces(&self.forces);
        for n in 0..inner.len() {
            let held = system.supported[n];
            if !held.is_all() {
                let ku = self.loads[n] + inner[n] - self.residual[n];
                self.progress.state.ku[n] = held.clear(ku);
            }
        }
        Next::Iterate(Box::new(self))
    }

    fn u_plus(&self, step: &[Vec3]) -> Vec<Vec3> {
        self.u().iter().zip(step).map(|(u, d)| u + d).collect()
    }

    /// Ends the increment at the displacement u with its K u.
    fn finish(
        self,
        system: &System<'_>,
        (u, ku): (Vec<Vec3>, Vec<Vec3>),
        failure: Option<Failure>,
    ) -> Next<'a> {
        let mut progress = self.progress;
        let state = &mut progress.state;
        (state.u, state.ku) = (u, ku);
        state.force.fill(Vec3::zeros());
        for (row, f) in system.compliance.rows.iter().zip(&self.forces) {
            match *row {
                Row::Section(k) => state.shortening[k] = -f,
                Row::Point(k, along) => state.force[k] += along * *f,
            }
        }
        if failure.is_some() {
            return Next::End(Box::new(progress.end(system, failure.as_ref())));
        }
        let points = system.interfaces.points();
        progress.report.dissipation_nmm += progress.state.dissipation(points, progress.path.laws);
        if progress.report.increments == progress.path.increments {
            Next::End(Box::new(progress.end(system, None)))
        } else {
            Next::Iterate(Box::new(Self::next(system, progress)))
        }
    }
}

/// Relative change of the contact forces; rows that have come since count from zero.
fn relative_change(new: &[f64], old: &[f64]) -> f64 {
    let (mut changed, mut size) = (0.0, 0.0);
    for (k, n) in new.iter().enumerate() {
        let o = old.get(k).copied().unwrap_or(0.0);
        changed += (n - o).powi(2);
        size += n.powi(2);
    }
    if size > 0.0 {
        (changed / size).sqrt()
    } else {
        0.0
    }
}
