//! Transfer between the quadratic and the linear level of one mesh.

pub mod prolongation;
