//! Preconditioners that can be applied in two halves.

use crate::{NodeVector, Team};

/// A vector with values at few rows, each row once.
pub type SparseVector = Vec<(u32, [f64; 3])>;

/// A symmetric positive definite M⁻¹ ≈ A⁻¹ whose application can be halted, so that multiples of a basis of sparse vectors are
/// added to the right-hand side on the way.
///
/// Contact needs it so: λ, the forces of the interface rows B, follow from S = B M⁻¹ Bᵀ and the products B M⁻¹ f, both at hand
/// before M⁻¹ (f + Bᵀ λ) is finished. The types of basis and half belong to the preconditioner: those of another one do not compile,
/// and a half that is finished is gone.
pub trait Preconditioner {
    /// Sparse vectors bᵢ with the quantities that make their products cheap.
    type Basis: Default;
    /// The application of M⁻¹ to some right-hand sides, half done.
    type Half;

    /// Adds vectors bⱼ to a basis; for each its products bᵢᵀ M⁻¹ bⱼ with all vectors so far, new ones included.
    fn extend(&self, team: &Team, basis: &mut Self::Basis, new: Vec<SparseVector>)
    -> Vec<Vec<f64>>;

    /// The first half of M⁻¹ s for some right-hand sides s.
    fn begin(&self, team: &Team, rhs: &[NodeVector]) -> Self::Half;

    /// An approximation of M⁻¹ s as far as the first half knows it.
    fn approximation(&self, half: &Self::Half) -> Vec<NodeVector>;

    /// The products bᵢᵀ M⁻¹ s with the vectors of a basis from the `first` on, by right-hand side.
    fn products(&self, half: &Self::Half, basis: &Self::Basis, first: usize) -> Vec<Vec<f64>>;

    /// s ← s + Σ bᵢ cᵢ, with one list of coefficients c for each right-hand side.
    fn add(
        &self,
        team: &Team,
        half: &mut Self::Half,
        basis: &Self::Basis,
        coefficients: &[Vec<f64>],
    );

    /// The second half: M⁻¹ s.
    fn finish(&self, team: &Team, half: Self::Half) -> Vec<NodeVector>;
}
