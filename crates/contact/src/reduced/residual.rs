//! Residual of the contact laws.

use crate::reduced::iterate::{Iterate, project_onto_disk};
use crate::reduced::laws::{Conditions, Constraint};

/// Sum of squares of the lengths that one projection onto the laws would take off, mm²: |min(g, c_n λ_n)| for the normal
/// law, c_t |P(λ_t − s/c_t; μ λ_n) − λ_t| for the tangential one, |s| of ties. Zero exactly where all laws hold.
pub(super) fn residual(on: &Conditions<'_>, x: &Iterate<'_>) -> f64 {
    let mut sum = 0.0;
    let slip = |r: usize| x.jumps[r] - on.references[r];
    for constraint in on.constraints {
        match constraint {
            Constraint::Free(_) => {}
            Constraint::Tied(rows) => {
                let slips = rows.list().iter().map(|r| slip(*r));
                sum += slips.map(|s| s * s).sum::<f64>();
            }
            Constraint::Unilateral(p) => {
                let n = p.normal;
                // A gap counts only as far as the force on it could open it.
                sum += x.gap(p).min(x.forces[n] * x.s.diagonal(n)).powi(2);
                let own = x.tangential_compliance(&p.tangential);
                let mut to = p.tangential.pair(|r| x.forces[r] - slip(r) / own);
                project_onto_disk(&mut to, p.friction * x.forces[n]);
                for (row, to) in p.tangential.list().iter().zip(to) {
                    sum += ((to - x.forces[*row]) * own).powi(2);
                }
            }
        }
    }
    sum
}
