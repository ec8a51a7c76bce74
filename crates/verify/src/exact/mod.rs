//! Closed-form solutions of linear elasticity, each with its source.

pub mod cantilever;
pub mod circular_hole;
pub mod hollow_shaft;
pub mod linear_field;
pub mod plane_waves;
pub mod rectangle_torsion;
pub mod thick_cylinder;
