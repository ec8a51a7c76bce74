//! Forces of interfaces through the preconditioner: the compliances S = B M⁻¹ Bᵀ of a basis of nodal forces, and M⁻¹ f in two
//! halves.
//!
//! A [`ForceBasis`] is bound to the preconditioner M⁻¹ of one prepared system, a [`HalfPreconditioned`] to its basis: there is no
//! way to use one with the other's counterpart, nor one that is finished.

use crate::numbering::{NO_ROW, Numbering};
use bicolumn_base::Vec3;
use bicolumn_sparse::{NodeVector, Preconditioner, SparseVector, Team};
use std::sync::Arc;

/// Forces on few nodes, N.
pub type NodalForces = Vec<(u32, Vec3)>;

/// A growing basis of nodal forces bᵢ, the rows of B, bound to a preconditioner.
pub struct ForceBasis {
    numbering: Arc<Numbering>,
    bound: Box<dyn BoundBasis>,
}

/// M⁻¹ f under way for some right-hand sides f: the first half is done, multiples of the basis can still be added.
pub struct HalfPreconditioned<'b> {
    numbering: &'b Numbering,
    bound: Box<dyn BoundHalf + 'b>,
}

impl ForceBasis {
    pub(crate) fn new<P: Preconditioner + 'static>(
        numbering: Arc<Numbering>,
        team: Arc<Team>,
        preconditioner: Arc<P>,
    ) -> Self {
        ForceBasis {
            numbering,
            bound: Box::new(OfPreconditioner {
                team,
                preconditioner,
                basis: P::Basis::default(),
            }),
        }
    }

    /// Adds nodal forces bⱼ; for each its row of S, the products bᵢᵀ M⁻¹ bⱼ with all forces so far, new ones included: N·mm for
    /// the forces given.
    pub fn extend(&mut self, forces: Vec<NodalForces>) -> Vec<Vec<f64>> {
        self.bound.extend(on_rows(&self.numbering, &forces))
    }

    /// The first half of M⁻¹ f for nodal forces f, N, one vector over all mesh nodes for each right-hand side. M⁻¹ is symmetric and
    /// positive definite but for rounding and near (K + C)⁻¹; by the direct method it is the inverse itself.
    pub fn begin(&mut self, forces: &[Vec<Vec3>]) -> HalfPreconditioned<'_> {
        let rhs: Vec<NodeVector> = forces.iter().map(|f| self.numbering.on_rows(f)).collect();
        HalfPreconditioned {
            numbering: &self.numbering,
            bound: self.bound.begin(&rhs),
        }
    }
}

impl HalfPreconditioned<'_> {
    /// As [`ForceBasis::extend`].
    pub fn extend(&mut self, forces: Vec<NodalForces>) -> Vec<Vec<f64>> {
        self.bound.extend(on_rows(self.numbering, &forces))
    }

    /// Displacements M⁻¹ f as far as the first half knows them, mm.
    pub fn approximation(&self) -> Vec<Vec<Vec3>> {
        on_nodes(self.numbering, &self.bound.approximation())
    }

    /// Work bᵢᵀ M⁻¹ f of the basis' forces from the `first` on, by right-hand side, N·mm.
    pub fn works(&self, first: usize) -> Vec<Vec<f64>> {
        self.bound.products(first)
    }

    /// f ← f + Σ bᵢ cᵢ, with one list of coefficients c for each right-hand side.
    pub fn add(&mut self, coefficients: &[Vec<f64>]) {
        self.bound.add(coefficients);
    }

    /// The second half: displacements M⁻¹ f, mm.
    pub fn finish(self) -> Vec<Vec<Vec3>> {
        on_nodes(self.numbering, &self.bound.finish())
    }
}

fn on_rows(numbering: &Numbering, forces: &[NodalForces]) -> Vec<SparseVector> {
    let on_row = |(n, f): &(u32, Vec3)| {
        let row = numbering.row_of_node[*n as usize];
        (row != NO_ROW).then(|| {
            let held = numbering.constrained.of(row);
            (row, [0, 1, 2].map(|c| if held[c] { 0.0 } else { f[c] }))
        })
    };
    let of_force = |force: &NodalForces| force.iter().filter_map(on_row).collect();
    forces.iter().map(of_force).collect()
}

fn on_nodes(numbering: &Numbering, columns: &[NodeVector]) -> Vec<Vec<Vec3>> {
    columns.iter().map(|c| numbering.on_nodes(c)).collect()
}

/// A basis with its preconditioner, whichever that is.
trait BoundBasis {
    fn extend(&mut self, new: Vec<SparseVector>) -> Vec<Vec<f64>>;
    fn begin(&mut self, rhs: &[NodeVector]) -> Box<dyn BoundHalf + '_>;
}

/// A half with its basis and preconditioner, whichever that is.
trait BoundHalf {
    fn extend(&mut self, new: Vec<SparseVector>) -> Vec<Vec<f64>>;
    fn approximation(&self) -> Vec<NodeVector>;
    fn products(&self, first: usize) -> Vec<Vec<f64>>;
    fn add(&mut self, coefficients: &[Vec<f64>]);
    fn finish(self: Box<Self>) -> Vec<NodeVector>;
}

struct OfPreconditioner<P: Preconditioner> {
    team: Arc<Team>,
    preconditioner: Arc<P>,
    basis: P::Basis,
}

impl<P: Preconditioner> BoundBasis for OfPreconditioner<P> {
    fn extend(&mut self, new: Vec<SparseVector>) -> Vec<Vec<f64>> {
        self.preconditioner.extend(&self.team, &mut self.basis, new)
    }

    fn begin(&mut self, rhs: &[NodeVector]) -> Box<dyn BoundHalf + '_> {
        let half = self.preconditioner.begin(&self.team, rhs);
        Box::new(HalfOf { of: self, half })
    }
}

struct HalfOf<'b, P: Preconditioner> {
    of: &'b mut OfPreconditioner<P>,
    half: P::Half,
}

impl<P: Preconditioner> BoundHalf for HalfOf<'_, P> {
    fn extend(&mut self, new: Vec<SparseVector>) -> Vec<Vec<f64>> {
        self.of.extend(new)
    }

    fn approximation(&self) -> Vec<NodeVector> {
        self.of.preconditioner.approximation(&self.half)
    }

    fn products(&self, first: usize) -> Vec<Vec<f64>> {
        let OfPreconditioner {
            preconditioner,
            basis,
            ..
        } = &*self.of;
        preconditioner.products(&self.half, basis, first)
    }

    fn add(&mut self, coefficients: &[Vec<f64>]) {
        let OfPreconditioner {
            team,
            preconditioner,
            basis,
        } = &*self.of;
        preconditioner.add(team, &mut self.half, basis, coefficients);
    }

    fn finish(self: Box<Self>) -> Vec<NodeVector> {
        self.of.preconditioner.finish(&self.of.team, self.half)
    }
}
