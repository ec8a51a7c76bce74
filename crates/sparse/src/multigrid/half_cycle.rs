//! The two-level cycle in two halves: between them multiples of a basis' vectors can be added to the right-hand sides for little.
//!
//! After the first half the products of the basis with the finished M⁻¹ s are known: with x = S s, c = A_c⁻¹ Pᵀ (s − A x) of a
//! right-hand side s, bᵢᵀ M⁻¹ s = rᵢ·x + xᵢ·s + eᵢ·c.

use crate::matrix::product::Matrix;
use crate::multigrid::chebyshev::Workspace;
use crate::multigrid::cycle_basis::CycleBasis;
use crate::simd::columns::{dot, interleave};
use crate::{NodeColumns, NodeVector, Preconditioner, SparseVector, Team, TwoLevel};

/// Right-hand sides that go through the coarse factor together.
const GROUP: usize = 8;

/// A cycle between its halves: pre-smoothed and solved on the coarse level, not yet post-smoothed.
pub struct HalfCycle<M> {
    groups: Vec<Box<dyn Group<M>>>,
}

impl<M: Matrix> Preconditioner for TwoLevel<M> {
    type Basis = CycleBasis;
    type Half = HalfCycle<M>;

    fn extend(&self, team: &Team, basis: &mut CycleBasis, new: Vec<SparseVector>) -> Vec<Vec<f64>> {
        basis.extend(team, self, new)
    }

    fn begin(&self, team: &Team, rhs: &[NodeVector]) -> HalfCycle<M> {
        let groups = rhs.chunks(GROUP).map(|group| -> Box<dyn Group<M>> {
            match group.len() {
                1 => Box::new(GroupOf::<1>::new(team, self, group)),
                2 => Box::new(GroupOf::<2>::new(team, self, group)),
                3..=4 => Box::new(GroupOf::<4>::new(team, self, group)),
                _ => Box::new(GroupOf::<GROUP>::new(team, self, group)),
            }
        });
        HalfCycle {
            groups: groups.collect(),
        }
    }

    fn approximation(&self, half: &HalfCycle<M>) -> Vec<NodeVector> {
        let groups = half.groups.iter();
        groups.flat_map(|g| g.approximation(self)).collect()
    }

    fn products(&self, half: &HalfCycle<M>, basis: &CycleBasis, first: usize) -> Vec<Vec<f64>> {
        let groups = half.groups.iter();
        groups.flat_map(|g| g.products(basis, first)).collect()
    }

    fn add(
        &self,
        team: &Team,
        half: &mut HalfCycle<M>,
        basis: &CycleBasis,
        coefficients: &[Vec<f64>],
    ) {
        let mut rest = coefficients;
        for group in &mut half.groups {
            let (mine, later) = rest.split_at(group.count().min(rest.len()));
            rest = later;
            group.add(team, self, basis, mine);
        }
    }

    fn finish(&self, team: &Team, half: HalfCycle<M>) -> Vec<NodeVector> {
        let groups = half.groups.into_iter();
        groups.flat_map(|g| g.finish(team, self)).collect()
    }
}

/// The methods of [`Preconditioner`] for a group of right-hand sides, whatever its width.
trait Group<M> {
    fn count(&self) -> usize;
    fn approximation(&self, two_level: &TwoLevel<M>) -> Vec<NodeVector>;
    fn products(&self, basis: &CycleBasis, first: usize) -> Vec<Vec<f64>>;
    fn add(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        basis: &CycleBasis,
        coefficients: &[Vec<f64>],
    );
    fn finish(self: Box<Self>, team: &Team, two_level: &TwoLevel<M>) -> Vec<NodeVector>;
}

/// Up to `W` right-hand sides of a cycle between its halves.
struct GroupOf<const W: usize> {
    count: usize,
    /// Norms of the right-hand sides, which are scaled to one.
    norms: [f64; W],
    rhs: Vec<NodeColumns<f64, W>>,
    work: Workspace<W>,
    /// Coarse solution c.
    coarse: Vec<NodeColumns<f64, W>>,
}

impl<const W: usize> GroupOf<W> {
    fn new<M: Matrix>(team: &Team, two_level: &TwoLevel<M>, vectors: &[NodeVector]) -> Self {
        let slices: Vec<&[[f64; 3]]> = vectors.iter().map(Vec::as_slice).collect();
        let mut rhs = interleave::<W>(&slices);
        let norms = dot(team, &rhs, &rhs).map(f64::sqrt);
        let norms = norms.map(|n| if n > 0.0 { n } else { 1.0 });
        for node in rhs.iter_mut().flatten() {
            for k in 0..W {
                node[k] /= norms[k];
            }
        }
        let mut work = Workspace::new(rhs.len());
        work.load(team, &rhs);
        let mut coarse = vec![[[0.0; W]; 3]; two_level.coarse_rows()];
        team.inside(|| two_level.first_half(team, &mut work, &mut coarse));
        GroupOf {
            count: vectors.len(),
            norms,
            rhs,
            work,
            coarse,
        }
    }

    fn columns(&self, value: impl Fn(usize) -> [[f64; W]; 3]) -> Vec<NodeVector> {
        let mut out = vec![Vec::with_capacity(self.rhs.len()); self.count];
        for row in 0..self.rhs.len() {
            let v = value(row);
            for (k, to) in out.iter_mut().enumerate() {
                to.push([0, 1, 2].map(|c| v[c][k] * self.norms[k]));
            }
        }
        out
    }
}

impl<M: Matrix, const W: usize> Group<M> for GroupOf<W> {
    fn count(&self) -> usize {
        self.count
    }

    fn approximation(&self, two_level: &TwoLevel<M>) -> Vec<NodeVector> {
        self.columns(|row| {
            let mut v = self.work.solution[row].map(|r| r.map(f64::from));
            for (p, block) in two_level.prolongation().row(row) {
                let from = &self.coarse[p as usize];
                for r in 0..3 {
                    for c in 0..3 {
                        for k in 0..W {
                            v[r][k] += block[r][c] * from[c][k];
                        }
                    }
                }
            }
            v
        })
    }

    fn products(&self, basis: &CycleBasis, first: usize) -> Vec<Vec<f64>> {
        // b·M⁻¹ s = x·s + r·(S s) + e·c for a right-hand side s, as for two vectors of the basis.
        let mut sums = vec![[0.0; W]; basis.vectors.len() - first];
        let mut add = |i: usize, v: &[f32; 3], with: &[[f64; W]; 3]| {
            for c in 0..3 {
                for k in 0..W {
                    sums[i - first][k] += f64::from(v[c]) * with[c][k];
                }
            }
        };
        for (row, here) in basis.smoothed.iter().enumerate() {
            for (i, x) in since(here, first) {
                add(*i as usize, x, &self.rhs[row]);
            }
        }
        for (row, here) in basis.residual.iter().enumerate() {
            let here = since(here, first);
            if !here.is_empty() {
                let x = self.work.solution[row].map(|r| r.map(f64::from));
                for (i, r) in here {
                    add(*i as usize, r, &x);
                }
            }
        }
        for (i, e) in basis.restricted.iter().enumerate().skip(first) {
            for (row, v) in e {
                add(i, v, &self.coarse[*row as usize]);
            }
        }
        let of_column = |k: usize| sums.iter().map(|s| s[k] * self.norms[k]).collect();
        (0..self.count).map(of_column).collect()
    }

    fn add(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        basis: &CycleBasis,
        coefficients: &[Vec<f64>],
    ) {
        let mut factors = vec![[0.0; W]; basis.vectors.len()];
        for (k, of_column) in coefficients.iter().enumerate() {
            for (f, v) in factors.iter_mut().zip(of_column) {
                f[k] = v / self.norms[k];
            }
        }
        let add_multiples = |here: &[(u32, [f32; 3])], to: &mut [[f32; W]; 3]| {
            for (i, v) in here {
                let f = &factors[*i as usize];
                for c in 0..3 {
                    for k in 0..W {
                        to[c][k] += (f64::from(v[c]) * f[k]) as f32;
                    }
                }
            }
        };
        for (to, here) in self.work.solution.iter_mut().zip(&basis.smoothed) {
            add_multiples(here, to);
        }
        let mut more = vec![[[0.0; W]; 3]; self.coarse.len()];
        for (f, e) in factors.iter().zip(&basis.restricted) {
            for (row, v) in e {
                for c in 0..3 {
                    for k in 0..W {
                        more[*row as usize][c][k] += f64::from(v[c]) * f[k];
                    }
                }
            }
        }
        for (f, b) in factors.iter().zip(&basis.vectors) {
            for (row, v) in b {
                let row = *row as usize;
                for c in 0..3 {
                    for k in 0..W {
                        self.rhs[row][c][k] += v[c] * f[k];
                    }
                }
                self.work.rhs[row] = self.rhs[row].map(|c| c.map(|v| v as f32));
            }
        }
        team.inside(|| two_level.solve_coarse(team, &mut more));
        for (to, from) in self.coarse.iter_mut().zip(&more) {
            for c in 0..3 {
                for k in 0..W {
                    to[c][k] += from[c][k];
                }
            }
        }
    }

    fn finish(mut self: Box<Self>, team: &Team, two_level: &TwoLevel<M>) -> Vec<NodeVector> {
        team.inside(|| two_level.second_half(team, &self.coarse, &mut self.work));
        self.columns(|row| self.work.solution[row].map(|r| r.map(f64::from)))
    }
}

/// The entries of vectors from the `first` on.
fn since(of_row: &[(u32, [f32; 3])], first: usize) -> &[(u32, [f32; 3])] {
    &of_row[of_row.partition_point(|(i, _)| (*i as usize) < first)..]
}
