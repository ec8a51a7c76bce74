//! Elastic bodies with their interfaces and preloaded slabs: forces, residual, tangent.

use crate::interfaces::Interfaces;
use crate::law::{Law, Memory, Response, respond};
use crate::preload::Slab;
use crate::stiffness::tangent;
use crate::walk::Wanted;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_solve::{Ask, InterfaceStiffness, Prepared, SolveError};
use std::cell::{Cell, RefCell};

/// Iterations for each decimal digit above which the preconditioner counts as out of date. A good one
/// takes three to five.
const STALE_ITERATIONS_A_DIGIT: f64 = 9.0;

/// What does not change from one increment to the next.
pub(crate) struct System<'a> {
    pub(crate) interfaces: &'a Interfaces,
    pub(crate) ready: RefCell<Prepared<'a>>,
    /// Is the preconditioner out of date?
    pub(crate) is_stale: Cell<bool>,
    /// How often the preconditioner was made anew.
    pub(crate) rebuilds: Cell<usize>,
    /// Interface stiffness ε of each point, MPa/mm.
    pub(crate) stiffness: Vec<f64>,
    pub(crate) slabs: Vec<Slab>,
    /// Is the node held?
    pub(crate) held: Vec<bool>,
    /// Share of ε that open points keep in the tangent, so that a loose part does not make it singular.
    pub(crate) grip: f64,
}

/// Where a construct is on its path.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct State {
    /// Displacement, mm.
    pub(crate) u: Vec<Vec3>,
    /// K u at the free nodes, N.
    pub(crate) ku: Vec<Vec3>,
    /// Memory of each point.
    pub(crate) memory: Vec<Memory>,
    /// Shrink of each slab.
    pub(crate) shrink: Vec<f64>,
}

/// What acts at the end of an increment.
#[derive(Debug, Clone)]
pub(crate) struct Load<'a> {
    /// Nodal forces, N.
    pub(crate) forces: Vec<Vec3>,
    /// Section force of each slab, N; `None`: its length is kept.
    pub(crate) pull: Vec<Option<f64>>,
    /// Law of each set.
    pub(crate) laws: &'a [Law],
}

/// Interface tractions at a displacement.
pub(crate) struct Evaluation {
    pub(crate) responses: Vec<Response>,
    /// Nodal forces of the interfaces, N.
    pub(crate) forces: Vec<Vec3>,
}

impl State {
    /// Nothing acts yet. There is no friction until a pressure is known; where parts hang on it, sides
    /// that touch are stuck until then.
    pub(crate) fn unloaded(
        nodes: usize,
        interfaces: &Interfaces,
        slabs: usize,
        hang_on_friction: bool,
    ) -> Self {
        let memory = interfaces.points().iter().map(|p| Memory {
            bound: if p.gap > 0.0 || !hang_on_friction {
                0.0
            } else {
                f64::INFINITY
            },
            ..Memory::default()
        });
        State {
            u: vec![Vec3::zeros(); nodes],
            ku: vec![Vec3::zeros(); nodes],
            memory: memory.collect(),
            shrink: vec![0.0; slabs],
        }
    }
}

impl System<'_> {
    /// Response of each point.
    pub(crate) fn respond(&self, memory: &[Memory], u: &[Vec3], laws: &[Law]) -> Vec<Response> {
        let points = self.interfaces.points().iter();
        points
            .zip(memory)
            .zip(&self.stiffness)
            .map(|((p, m), epsilon)| respond(laws[p.set], m, *epsilon, p.normal, p.gap, p.jump(u)))
            .collect()
    }

    /// Responses and their nodal forces.
    pub(crate) fn evaluate(&self, memory: &[Memory], u: &[Vec3], laws: &[Law]) -> Evaluation {
        let responses = self.respond(memory, u, laws);
        let mut forces = vec![Vec3::zeros(); u.len()];
        for (p, r) in self.interfaces.points().iter().zip(&responses) {
            let force = r.traction(p.normal) * p.area;
            if force != Vec3::zeros() {
                p.push(force, &mut forces);
            }
        }
        Evaluation { responses, forces }
    }

    /// Shrink of each slab: kept, or what its force asks for at this displacement.
    pub(crate) fn shrinks(&self, state: &State, u: &[Vec3], load: &Load<'_>) -> Vec<f64> {
        let all = self.slabs.iter().zip(&state.shrink).zip(&load.pull);
        all.map(|((slab, kept), pull)| pull.map_or(*kept, |f| slab.shrink(u, f)))
            .collect()
    }

    /// Residual at the free nodes and the size of the forces in it, N.
    pub(crate) fn residual(
        &self,
        state: &State,
        load: &Load<'_>,
        interface: &Evaluation,
    ) -> (Vec<Vec3>, f64) {
        let mut inner = vec![Vec3::zeros(); state.u.len()];
        for (slab, s) in self.slabs.iter().zip(self.shrinks(state, &state.u, load)) {
            for (n, f) in &slab.force {
                inner[*n as usize] -= f * s;
            }
        }
        let mut sizes = [0.0; 3];
        let residual = (0..state.u.len())
            .map(|n| {
                if self.held[n] {
                    return Vec3::zeros();
                }
                let terms = [load.forces[n], interface.forces[n], inner[n]];
                for (s, t) in sizes.iter_mut().zip(&terms) {
                    *s += t.norm_squared();
                }
                terms[0] + terms[1] + terms[2] - state.ku[n]
            })
            .collect();
        (residual, sizes.into_iter().fold(0.0, f64::max).sqrt())
    }

    /// Slope of the residual's interface and slab terms, to be added to K.
    pub(crate) fn slope(&self, responses: &[Response], load: &Load<'_>) -> InterfaceStiffness {
        let points = self.interfaces.points();
        let slopes: Vec<Mat3> = points
            .iter()
            .zip(responses)
            .zip(&self.stiffness)
            .map(|((p, r), epsilon)| {
                let is_there = load.laws[p.set] != Law::Apart;
                let grip = if is_there { self.grip } else { 0.0 };
                r.slope + Mat3::identity() * (grip * epsilon)
            })
            .collect();
        let mut all = tangent(points, &slopes);
        for (slab, pull) in self.slabs.iter().zip(&load.pull) {
            if pull.is_none() {
                continue;
            }
            for (k, (i, f)) in slab.force.iter().enumerate() {
                for (j, g) in &slab.force[k..] {
                    let block = f * g.transpose() * (-1.0 / slab.stiffness);
                    all.blocks.push((*i, *j, block));
                }
            }
        }
        all
    }

    /// Solves each system; gives d and the iterations it took.
    ///
    /// The preconditioner stays as long as it serves: a solve that takes many iterations means that the
    /// interface has changed since it was made, and it is made anew for the next one.
    pub(crate) fn solve(&self, wanted: &[Wanted]) -> Vec<Result<(Vec<Vec3>, usize), SolveError>> {
        wanted.iter().map(|w| self.solve_one(w)).collect()
    }

    fn solve_one(&self, w: &Wanted) -> Result<(Vec<Vec3>, usize), SolveError> {
        let ask = Ask {
            interface: Some(&w.slope),
            tolerance: Some(w.tolerance),
            ..Ask::default()
        };
        let solve = || {
            let ready = self.ready.borrow();
            ready.solve_for(std::slice::from_ref(&w.residual), &ask)
        };
        let rebuild = || {
            self.rebuilds.set(self.rebuilds.get() + 1);
            self.ready.borrow_mut().rebuild(Some(&w.slope))
        };
        let is_stale = self.is_stale.replace(false);
        if is_stale {
            rebuild()?;
        }
        let answer = match solve() {
            Err(SolveError::NotConverged { .. }) if !is_stale => {
                rebuild()?;
                solve()?
            }
            other => other?,
        };
        let iterations = answer.convergence.iterations;
        let digits = -w.tolerance.log10();
        self.is_stale
            .set(iterations as f64 > STALE_ITERATIONS_A_DIGIT * digits);
        let step = answer.displacement.into_iter().next().unwrap_or_default();
        Ok((step, iterations))
    }

    /// K d of each field.
    pub(crate) fn products(&self, fields: &[Vec<Vec3>]) -> Vec<Vec<Vec3>> {
        self.ready.borrow().apply(fields, None)
    }

    /// Residual times the step at u + t·step: the slope of the energy along the step, negated.
    pub(crate) fn pull_along(
        &self,
        state: &State,
        load: &Load<'_>,
        (step, product): (&[Vec3], &[Vec3]),
        t: f64,
    ) -> f64 {
        let moved: Vec<Vec3> = state.u.iter().zip(step).map(|(u, d)| u + d * t).collect();
        let mut sum = 0.0;
        for n in 0..moved.len() {
            sum += (load.forces[n] - state.ku[n] - product[n] * t).dot(&step[n]);
        }
        for (slab, s) in self.slabs.iter().zip(self.shrinks(state, &moved, load)) {
            sum -= s * slab.work(step);
        }
        let responses = self.respond(&state.memory, &moved, load.laws);
        for (p, r) in self.interfaces.points().iter().zip(&responses) {
            sum += r.traction(p.normal).dot(&p.jump(step)) * p.area;
        }
        sum
    }
}
