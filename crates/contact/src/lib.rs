//! Interfaces that press, slide and lift: unilateral contact with Coulomb friction, threads, screw preload.
//!
//! Door: [`solve`] takes a problem on a split mesh, the laws of its interfaces and the steps that
//! prepare it (preload, clamp), and gives the displacement of every load case from the prepared state.
//!
//! Method: laws act at the corners of facet pairs whose nodes match, weighted by the corner's linear hat function and
//! integrated at seven points a facet. Every iteration solves the contact exactly, friction included, with the
//! preconditioner in place of the structure's stiffness (module `iteration`; the reduced problem with its semismooth
//! Newton steps: module `reduced`). Opening, closing, sticking and slipping so cost no new preconditioner, and all load
//! cases share the sweeps over the matrix.
//!
//! # Known limits
//! Small sliding: facet pairs and normals stay those of the mesh. One coefficient of friction. Pressures at
//! single corners swing about their mean with the pattern of the facets; areas and resultants do not. The
//! compliances between the points that press, and all those of threads, fill a dense matrix: thousands of points
//! cost memory and time. A stiff part with friction that next to nothing else holds may not converge; the report
//! then says so.
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod anderson;
mod candidates;
mod compliance;
mod condensed;
mod dense;
mod forecast;
mod history;
mod increment;
pub mod interfaces;
mod iteration;
pub mod law;
mod patches;
mod path;
pub mod preload;
mod reduced;
pub mod report;
pub mod solution;
mod stabilisation;
mod state;
mod system;

pub use interfaces::Interfaces;
pub use law::Law;
pub use preload::Preload;
pub use report::{CaseReport, SetReport, Status, Traction};
pub use solution::{
    ContactError, ContactOptions, ContactSolution, Step, solve, solve_with_forecast,
};
