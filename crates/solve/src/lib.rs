//! Linear elasticity by ten-node tetrahedra: elements, assembly, linear solution, stress recovery.
//!
//! The weak form: find u with u = ū on the supports (Dirichlet) such that for all v that vanish there
//!
//! ```text
//! ∫ ε(v) : σ(u) dV  =  ∫ v·t dA + Σ v·F,      ε = (∇u + ∇uᵀ)/2,   σ = λ tr(ε) I + 2 μ ε
//! ```
//!
//! With shape functions N_a it becomes K u = f, K_ab = ∫ ∇N_a : D : ∇N_b dV. Interfaces add C, solved is (K + C) u = f.
//!
//! Doors: [`solve`] gives displacements of all load cases; [`Prepared`] keeps a system for further right-hand sides;
//! [`ForceBasis`] gives compliances of interface forces through its preconditioner; [`StressField::recover`] gives the stress.
//!
//! # Example
//! A cube of 10 mm in tension, E = 1000 MPa and ν = 0: with 2 MPa on its upper face it grows by σ L / E = 0.02 mm.
//!
//! ```
//! use bicolumn_base::{Fragment, Part, Tissue, Vec3};
//! use bicolumn_mesh::{SurfaceName, TetMesh};
//! use bicolumn_model::{LoadCase, Material, Patch, Problem, Support, nodes_on};
//! use bicolumn_solve::{Ask, Prepared, SolveOptions};
//! use std::sync::Arc;
//!
//! // Six tetrahedra about the cube's diagonal; surface 1 is y = 0, surface 2 is y = 10.
//! let bit = |i: u32, k: u32| f64::from(i >> k & 1);
//! let corners = (0..8).map(|i| 10.0 * Vec3::new(bit(i, 0), bit(i, 1), bit(i, 2))).collect();
//! let tets = [[0, 1, 3, 7], [0, 3, 2, 7], [0, 2, 6, 7], [0, 6, 4, 7], [0, 4, 5, 7], [0, 5, 1, 7]];
//! let mesh = TetMesh::from_straight_tets(
//!     corners,
//!     &tets,
//!     |_| Part::Bone(Fragment::Proximal, Tissue::Cortical),
//!     |_, normal| SurfaceName::Other((1.5 * normal.y.abs() + 0.5 * normal.y).round() as u8),
//!     |middle, _| middle,
//! )?;
//!
//! let material = Material::new("demo", 1000.0, 0.0, "invented for this example");
//! let support = Support::clamp("lower face", nodes_on(&mesh, SurfaceName::Other(1)));
//! let face = Patch::on(&mesh, SurfaceName::Other(2))?;
//! let pull = LoadCase::new("tension", []).with_traction(&mesh, &face, |_, n| 2.0 * n);
//! let problem = Problem::new(Arc::new(mesh), vec![material], [support], vec![pull])?;
//!
//! let prepared = Prepared::new(&problem, &SolveOptions::default())?;
//! let solution = prepared.solve_cases()?;
//! for (x, u) in problem.mesh().nodes.iter().zip(&solution.displacement[0]) {
//!     assert!((u - Vec3::new(0.0, 0.002 * x.y, 0.0)).norm() < 1e-8);
//! }
//!
//! // The same system for other nodal forces, from a guess.
//! let mut forces = vec![Vec3::zeros(); problem.mesh().nodes.len()];
//! for (node, force) in &problem.cases()[0].forces {
//!     forces[*node as usize] = 3.0 * force;
//! }
//! let ask = Ask {
//!     guess: Some(&solution.displacement),
//!     ..Ask::default()
//! };
//! let thrice = prepared.solve_for(&[forces], &ask)?.displacement;
//! for (u, v) in solution.displacement[0].iter().zip(&thrice[0]) {
//!     assert!((3.0 * u - v).norm() < 1e-8);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! # Known limits
//! Small strains; linear materials, isotropic or transversely isotropic; bonded interfaces but for what
//! [`InterfaceStiffness`] adds. Poisson's ratios near 1/2 slow the iteration.
#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod assembled;
pub mod assembly;
pub mod balance;
pub mod cost;
mod curve;
pub mod element;
mod element_kernel;
pub mod elements;
pub mod force_basis;
pub mod forecast;
pub mod interface;
pub mod load_vectors;
mod masters;
pub mod numbering;
pub mod partition;
pub mod prepared;
pub mod quadrature;
pub mod rotational;
pub mod shape;
pub mod solution;
mod stiffness;
pub mod stress;
pub mod support;

pub use element::stress_of;
pub use force_basis::{ForceBasis, HalfPreconditioned, NodalForces};
pub use forecast::Forecast;
pub use interface::InterfaceStiffness;
pub use prepared::{Answer, Ask, Prepared};
pub use solution::{Method, Solution, SolveError, SolveOptions, SolveReport, solve};
pub use stress::{PartNodes, StressField, element_stress};
