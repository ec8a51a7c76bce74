//! Proximal iteration: contact by a preconditioned descent.
//!
//! With the structure's stiffness K, the preconditioner M ≥ K, the residual r = f + Bᵀλ − K u and the potential φ of the
//! contact laws, each iteration finds the step
//!
//! ```text
//! d = argmin ½ dᵀM d − rᵀd + φ(B(u + d)),
//! ```
//!
//! a proximal gradient step in the metric M: a contact problem whose structure is M. By M d = r + Bᵀδ, with δ the
//! change of the contact forces, its jumps are j = B(u + M⁻¹r) + S δ, S = B M⁻¹Bᵀ ([`crate::compliance`]); so it is
//! solved exactly on the few interface points that touch ([`crate::reduced`]). Contact so opens, closes, sticks and
//! slips within the iteration, and M need never be made anew. The last iterates are mixed ([`crate::history`]).
//!
//! Rows come into the reduced problem in waves, until with the forces that it finds no other point would press; M⁻¹ is
//! half applied meanwhile.

use crate::candidates::{Ahead, candidates};
use crate::compliance::{ActivePoint, Row};
use crate::increment::{Increment, Next, Update};
use crate::law::Law;
use crate::path::PathEnd;
use crate::reduced::{self, Conditions, Constraint, Rows, Unilateral};
use crate::system::System;
use bicolumn_base::Vec3;
use bicolumn_solve::ForceBasis;

/// Waves in an iteration.
const WAVES: usize = 6;
/// Waves in each of the first iterations, which do not yet know well where things press.
const FIRST_WAVES: usize = 2;
/// Number of first iterations.
const FIRST_ITERATIONS: usize = 3;
/// Relative accuracy of the reduced problem as a share of the relative residual of equilibrium.
const REDUCED_SHARE: f64 = 1e-3;
/// Coarsest relative accuracy of the reduced problem.
const REDUCED_COARSEST: f64 = 1e-5;
/// Finest relative accuracy of the reduced problem.
const REDUCED_FINEST: f64 = 1e-12;

/// Contact forces and jumps of an iteration while its step is found.
struct Iteration {
    /// λ of each row, N.
    forces: Vec<f64>,
    /// j of each row, mm.
    jumps: Vec<f64>,
    /// Relative residual of the contact laws; infinite until the reduced problem has been solved.
    law_residual: f64,
}

impl Iteration {
    /// Iteration from the increment's iterate. `works`: B M⁻¹r, the change of each row's jump if the contact forces
    /// stayed as they are.
    fn new(system: &System<'_>, increment: &Increment<'_>, works: &[f64]) -> Self {
        let mut jumps = system.jumps(0, increment.u());
        for (j, w) in jumps.iter_mut().zip(works) {
            *j += w;
        }
        Iteration {
            forces: increment.forces().to_vec(),
            jumps,
            law_residual: f64::INFINITY,
        }
    }

    /// Takes in new rows, without force. `works`: the change of their jumps in this iteration so far.
    fn add_rows(&mut self, system: &System<'_>, increment: &mut Increment<'_>, works: &[f64]) {
        let jumps = system.jumps(self.jumps.len(), increment.u());
        self.jumps
            .extend(jumps.iter().zip(works).map(|(j, w)| j + w));
        self.forces.extend(std::iter::repeat_n(0.0, works.len()));
        increment.add_rows(works.len());
    }

    /// Solves the reduced problem; gives the change of the contact forces.
    fn solve_reduced(&mut self, system: &System<'_>, increment: &mut Increment<'_>) -> Vec<f64> {
        let points = system.interfaces.points();
        let compliance = &system.compliance;
        let path = increment.path();
        let constraints: Vec<Constraint> = compliance
            .active
            .iter()
            .flat_map(|a| constraints(a, path.law_at(&points[a.point]), points[a.point].gap))
            .collect();
        let references: Vec<f64> = compliance
            .rows
            .iter()
            .map(|row| match *row {
                Row::Section(_) => 0.0,
                Row::Point(k, along) => increment.references()[k].dot(&along),
            })
            .collect();
        let sections = system.sections.iter().zip(increment.tensions());
        let tensions: Vec<Option<(f64, f64)>> = sections
            .map(|(section, tension)| tension.map(|f| (f, section.stiffness)))
            .collect();
        let on = Conditions {
            constraints: &constraints,
            references: &references,
            tensions: &tensions,
        };
        let accuracy = match increment.iterations() {
            0 => REDUCED_COARSEST,
            _ => (REDUCED_SHARE * increment.relative_residual())
                .clamp(REDUCED_FINEST, REDUCED_COARSEST),
        };
        let before = self.forces.clone();
        self.law_residual = reduced::solve(
            &compliance.values,
            &on,
            accuracy,
            increment.active_set(),
            &mut self.forces,
            &mut self.jumps,
        );
        difference(&self.forces, &before)
    }
}

fn difference(new: &[f64], old: &[f64]) -> Vec<f64> {
    new.iter().zip(old).map(|(n, o)| n - o).collect()
}

/// Constraints of an active point under its law.
fn constraints(
    point: &ActivePoint,
    law: Law,
    gap: f64,
) -> impl Iterator<Item = Constraint> + use<> {
    let [normal, first, second] = point.rows;
    let unilateral = |tangential: Rows| match normal {
        Some(normal) => Constraint::Unilateral(Unilateral {
            normal,
            tangential,
            friction: law.friction(),
            gap,
        }),
        None => Constraint::Free(tangential),
    };
    let (one, other) = match law {
        Law::Apart => (Constraint::Free(Rows::present(point.rows)), None),
        Law::Bonded => (Constraint::Tied(Rows::present(point.rows)), None),
        Law::Frictional { .. } | Law::Frictionless => {
            (unilateral(Rows::present([first, second])), None)
        }
        Law::Threaded { .. } => {
            let thread = Constraint::Tied(Rows::present([first]));
            (thread, Some(unilateral(Rows::present([second]))))
        }
    };
    std::iter::once(one).chain(other)
}

/// Follows load paths from their first increments to their ends, side by side: they share every application of M⁻¹
/// and K.
pub(crate) fn follow(
    system: &mut System<'_>,
    basis: &mut ForceBasis,
    paths: Vec<Increment<'_>>,
) -> Vec<PathEnd> {
    let mut running: Vec<(usize, Increment<'_>)> = paths.into_iter().enumerate().collect();
    let mut ended = vec![];
    while !running.is_empty() {
        let found = proximal_steps(system, basis, &mut running);
        let next: Vec<_> = running.into_iter().zip(found).collect();
        running = vec![];
        for ((k, increment), update) in next {
            match increment.accept(system, update) {
                Next::Iterate(increment) => running.push((k, *increment)),
                Next::End(end) => ended.push((k, *end)),
            }
        }
    }
    ended.sort_by_key(|(k, _)| *k);
    ended.into_iter().map(|(_, end)| end).collect()
}

/// One iteration of every increment.
fn proximal_steps(
    system: &mut System<'_>,
    basis: &mut ForceBasis,
    running: &mut [(usize, Increment<'_>)],
) -> Vec<Update> {
    let (iterations, steps) = half_applied(system, basis, running);
    let products = system.prepared.apply(&steps, None);
    let increments = running.iter().map(|(_, increment)| increment);
    let found = increments
        .zip(iterations)
        .zip(steps.into_iter().zip(products));
    found
        .map(|((increment, iteration), (step, product))| {
            let change = difference(&iteration.forces, increment.forces());
            let pushed = system.nodal_forces(&change);
            let preconditioned = increment.residual().iter().zip(&pushed);
            Update {
                preconditioned: preconditioned.map(|(r, p)| r + p).collect(),
                forces: iteration.forces,
                law_residual: iteration.law_residual,
                step,
                product,
            }
        })
        .collect()
}

/// Reduced problems of all increments, grown and solved in waves between the two halves of M⁻¹; gives the steps
/// M⁻¹(r + Bᵀδ).
fn half_applied(
    system: &mut System<'_>,
    basis: &mut ForceBasis,
    running: &mut [(usize, Increment<'_>)],
) -> (Vec<Iteration>, Vec<Vec<Vec3>>) {
    let residuals: Vec<Vec<Vec3>> = running.iter().map(|(_, i)| i.residual().to_vec()).collect();
    let mut half = basis.begin(&residuals);
    let works = half.works(0);
    let mut iterations: Vec<Iteration> = running
        .iter()
        .zip(works)
        .map(|((_, increment), works)| Iteration::new(system, increment, &works))
        .collect();
    let is_first = running
        .iter()
        .any(|(_, i)| i.iterations() < FIRST_ITERATIONS);
    for wave in 0..if is_first { FIRST_WAVES } else { WAVES } {
        let ahead = running.iter().zip(&iterations);
        let ahead: Vec<Ahead<'_>> = ahead
            .zip(half.approximation())
            .map(|(((_, increment), iteration), step)| Ahead {
                path: increment.path(),
                u: increment.u().iter().zip(step).map(|(u, w)| u + w).collect(),
                forces: &iteration.forces,
            })
            .collect();
        let new = candidates(system, &ahead, wave);
        if new.is_empty() && wave > 0 {
            break;
        }
        let count = system.compliance.rows.len();
        if !new.is_empty() {
            let points = system.interfaces.points();
            system
                .compliance
                .add(&mut half, points, &system.sections, &new);
            let works = half.works(count);
            for (((_, increment), iteration), works) in
                running.iter_mut().zip(&mut iterations).zip(works)
            {
                iteration.add_rows(system, increment, &works);
            }
        }
        let changes: Vec<Vec<f64>> = running
            .iter_mut()
            .zip(&mut iterations)
            .map(|((_, increment), iteration)| iteration.solve_reduced(system, increment))
            .collect();
        half.add(&changes);
    }
    (iterations, half.finish())
}
