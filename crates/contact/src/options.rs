//! Options and steps of preparation of a contact solution.

use crate::law::Law;
use bicolumn_base::Vec3;
use bicolumn_solve::SolveOptions;

/// Options of [`crate::solve`].
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
    /// Nodal forces at the end of the step: (node, N).
    pub forces: Vec<(u32, Vec3)>,
    /// Do the forces act on, under all later steps and load cases?
    pub lasting: bool,
    /// Laws while it lasts, by set; `None`: those of the interfaces.
    pub laws: Option<Vec<Law>>,
    /// Screws tightened to their preload in this step, as indices; their length is kept afterwards.
    pub tightened: Vec<usize>,
    /// Increments.
    pub increments: usize,
}
