//! How far a solution is from that of an infinitely fine mesh, from one mesh.
//!
//! The stress of the elements is compared with a smoother one, fitted to it over patches of elements of
//! one part ([`Smoothing`]): the difference stands for the error of the stress. Its energy
//! ([`Defects::energy`]) is the classical estimate; its product with the like difference of an adjoint
//! solution ([`Defects::products`]) is the error of the response that the adjoint belongs to:
//!
//! ```text
//! J(u) − J(uₕ) = a(u − uₕ, z − zₕ) ≈ Σ ∫ (σ*_u − σ_u) : C⁻¹ : (σ*_z − σ_z) dV
//! ```
//!
//! Sources: Zienkiewicz and Zhu 1987, Int J Numer Methods Eng 24:337; 1992, 33:1331 and 33:1365 (smoothing
//! and energy); Prudhomme and Oden 1999, Comput Methods Appl Mech Eng 176:313; Becker and Rannacher 2001,
//! Acta Numerica 10:1 (responses); all from memory.
//!
//! # Known limits
//! What the mesh changes of the shape of the body is not seen. Near edges and corners where the exact
//! stress is infinite the smoothed stress is no better than the element's, and the estimate is too small.
//! Linear problems only.

#![cfg_attr(test, allow(clippy::unwrap_used))]

mod adjoint;
mod defects;
mod distinct;
mod smoothing;

pub use adjoint::{TOLERANCE, adjoints};
pub use defects::{Defects, Pair, Product};
pub use distinct::Distinct;
pub use smoothing::Smoothing;
