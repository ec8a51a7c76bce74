//! Interfaces that press, slide and lift: unilateral contact with Coulomb friction, screw preload.
//!
//! Door: [`solve`] takes a problem on a split mesh, the laws of its interfaces and the steps that
//! prepare it (preload, clamp), and gives the displacement of every load case from the prepared state.
//!
//! Method: augmented Lagrangian (Alart and Curnier 1991, Comput Methods Appl Mech Eng 92:353; Simo and
//! Laursen 1992, Comput Struct 42:97) on facet pairs whose nodes match, one law at each corner, spread by
//! the corner's linear hat and integrated at seven points a facet. Within
//! one outer iteration the multipliers and the friction bound are fixed; what is left is convex, so its
//! Newton steps have a symmetric positive definite matrix and a line search that cannot fail. Outer
//! iterations then set the multipliers to the tractions found and the bound to μ times the pressure.
//!
//! # Known limits
//! Small sliding: facet pairs and normals stay those of the mesh. One coefficient of friction. Pressures at
//! single corners swing about their mean with the pattern of the facets; areas and resultants do not. The
//! iterative solver makes its preconditioner anew when the contact has changed much, which is dear: on a
//! construct with plates that touch the bone everywhere a frictional case costs many bonded ones.
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod compliance;
mod descent;
pub mod interfaces;
pub mod law;
mod mixing;
pub mod preload;
mod reduced;
pub mod report;
pub mod solution;
mod stiffness;
mod system;
mod walk;

pub use interfaces::Interfaces;
pub use law::Law;
pub use preload::Preload;
pub use report::{CaseReport, SetReport, Status, Traction};
pub use solution::{ContactError, ContactOptions, ContactSolution, Step, solve};
