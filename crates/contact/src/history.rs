//! Last iterates of an increment and their mixing by Anderson acceleration.

use crate::anderson::{self, DEPTH};
use bicolumn_base::Vec3;
use nalgebra::DMatrix;

/// Iterate after its proximal step.
pub(crate) struct Iterate {
    /// Displacement, mm.
    pub(crate) u: Vec<Vec3>,
    /// Step d, mm.
    pub(crate) step: Vec<Vec3>,
    /// M d, N.
    pub(crate) preconditioned: Vec<Vec3>,
    /// Residual of equilibrium, N.
    pub(crate) residual: Vec<Vec3>,
    /// Contact force λ of each row, N.
    pub(crate) forces: Vec<f64>,
}

/// Iterate mixed from the last ones.
pub(crate) struct Mixed {
    pub(crate) u: Vec<Vec3>,
    pub(crate) residual: Vec<Vec3>,
    pub(crate) forces: Vec<f64>,
}

/// Kept iterates with the scalar products of their steps in the norm of M.
pub(crate) struct History {
    iterates: Vec<Iterate>,
    products: DMatrix<f64>,
    /// Least relative residual since the history began.
    least: f64,
}

/// Growth over the least residual from which mixing starts anew.
const WORSE: f64 = 4.0;

impl History {
    pub(crate) fn new() -> Self {
        History {
            iterates: vec![],
            products: DMatrix::zeros(0, 0),
            least: f64::INFINITY,
        }
    }

    /// Adds rows without force to all iterates.
    pub(crate) fn add_rows(&mut self, count: usize) {
        for it in &mut self.iterates {
            it.forces.extend(std::iter::repeat_n(0.0, count));
        }
    }

    /// Keeps an iterate of this relative residual and mixes the iterates: their combination, with weights of unit sum,
    /// whose step is least, or the last iterate where rounding leaves no such weights. An iterate that is much worse than
    /// the best discards those before it.
    pub(crate) fn mix(&mut self, iterate: Iterate, relative_residual: f64) -> Mixed {
        if relative_residual > WORSE * self.least {
            *self = History::new();
        }
        self.least = self.least.min(relative_residual);
        self.iterates.push(iterate);
        if self.iterates.len() > DEPTH {
            self.iterates.remove(0);
            self.products = self.products.clone().remove_row(0).remove_column(0);
        }
        let n = self.iterates.len();
        let last = &self.iterates[n - 1];
        let dot = |a: &[Vec3], b: &[Vec3]| a.iter().zip(b).map(|(a, b)| a.dot(b)).sum::<f64>();
        let old = std::mem::replace(&mut self.products, DMatrix::zeros(0, 0));
        let mut products = old.resize(n, n, 0.0);
        for (k, it) in self.iterates.iter().enumerate() {
            let value =
                0.5 * (dot(&it.step, &last.preconditioned) + dot(&last.step, &it.preconditioned));
            products[(k, n - 1)] = value;
            products[(n - 1, k)] = value;
        }
        let weights = anderson::weights(&products).unwrap_or_else(|| {
            let mut plain = vec![0.0; n];
            plain[n - 1] = 1.0;
            plain
        });
        self.products = products;
        let blend = |of: &dyn Fn(&Iterate) -> &[Vec3]| -> Vec<Vec3> {
            let mut out = vec![Vec3::zeros(); of(last).len()];
            for (it, w) in self.iterates.iter().zip(&weights) {
                for (o, v) in out.iter_mut().zip(of(it)) {
                    *o += v * *w;
                }
            }
            out
        };
        let u = blend(&|it| &it.u);
        let residual = blend(&|it| &it.residual);
        let mut forces = vec![0.0; last.forces.len()];
        for (it, w) in self.iterates.iter().zip(&weights) {
            for (o, v) in forces.iter_mut().zip(&it.forces) {
                *o += v * w;
            }
        }
        Mixed {
            u,
            residual,
            forces,
        }
    }
}
