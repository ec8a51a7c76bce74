//! Multifrontal Cholesky factorisation: ordering, symbolic analysis, frontal matrices, triangular substitution.

mod analysis;
pub mod exact;
pub mod factor;
mod front;
pub mod ordering;
mod substitution;
