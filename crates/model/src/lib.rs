//! Materials, supports and loads on a mesh: the discrete problem, unsolved.
//!
//! Door: [`Problem`]. A [`Support`] prescribes displacement components at nodes (Dirichlet conditions). A [`LoadCase`]
//! holds consistent nodal forces (Neumann conditions) and displacements of supports; [`PatchLoad`] makes it from a
//! resultant on a surface patch, [`JointPatches`] from a [`JointLoad`], which a name or a job gives; a [`FourPointBend`]
//! presses on the shaft by rollers.
//!
//! # Known limits
//! Linear elasticity, isotropic or transversely isotropic, constant in each element. Loads keep their directions
//! (no follower loads), no body forces, no thermal or initial strain. Supports are rigid; a [`JointSupport`] holds means of the joint.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod density;
pub mod elasticity;
pub mod facet;
pub mod four_point;
pub mod joint_load;
pub mod joint_support;
pub mod load;
pub mod material;
pub mod named_load;
pub mod problem;
pub mod sensor;
pub mod support;

pub use density::{DensityLaw, GradedDensity};
pub use elasticity::{Along, Compliance, Constants, Elasticity, TransverseIsotropy};
pub use four_point::{FourPointBend, Roller};
pub use joint_load::{Action, JointFrame, JointLoad, JointPatches, JointSurface, LoadLine, Wrench};
pub use joint_support::{JointSupport, SupportFault};
pub use load::{LoadCase, Patch, PatchLoad, Prescribed};
pub use material::Material;
pub use named_load::{LoadSizes, NamedLoad};
pub use problem::{Problem, ProblemError, SeriesCompliance, nodes_on, nodes_where};
pub use sensor::{MarkerMotion, Reading, Sensor, Site, SitePlace};
pub use support::{Components, Constraint, Support};
