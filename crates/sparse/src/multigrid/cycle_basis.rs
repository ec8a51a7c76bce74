//! A growing basis of sparse vectors b_j and their products bᵢᵀ M⁻¹ bⱼ, M⁻¹ one cycle of the two-level preconditioner.
//!
//! A vector that touches few nodes is smoothed where it is; only the coarse solution spans the mesh. With S the smoother from zero,
//! x = S b, r = b − A x and e = Pᵀ r, the cycle is
//!
//! bᵢᵀ M⁻¹ bⱼ = bᵢ·xⱼ + xᵢ·rⱼ + eᵢ·A_c⁻¹ eⱼ,
//!
//! since S is symmetric. That is much cheaper than a cycle for each vector.

use crate::matrix::product::Matrix;
use crate::{NodeColumns, SparseVector, Team, TwoLevel};

/// New vectors that go through the coarse factor together.
const NEW: usize = 16;

/// A basis of sparse vectors b with x, r and e of each. Lists by fine row hold pairs (vector, values), vectors in order.
#[derive(Debug, Default)]
pub struct CycleBasis {
    pub(super) vectors: Vec<SparseVector>,
    /// b of all vectors, by fine row.
    by_row: Vec<Vec<(u32, [f64; 3])>>,
    /// x = S b of all vectors, by fine row.
    pub(super) smoothed: Vec<Vec<(u32, [f32; 3])>>,
    /// r = b − A x of all vectors, by fine row.
    pub(super) residual: Vec<Vec<(u32, [f32; 3])>>,
    /// e = Pᵀ r of each vector, by coarse row.
    pub(super) restricted: Vec<Vec<(u32, [f32; 3])>>,
}

/// One vector smoothed: x, r and e by row.
struct Smoothed {
    x: Vec<(u32, [f32; 3])>,
    r: Vec<(u32, [f64; 3])>,
    e: Vec<(u32, [f32; 3])>,
}

impl CycleBasis {
    /// Adds vectors bⱼ; for each of them its products bᵢᵀ M⁻¹ bⱼ with every vector so far, new ones included.
    pub(super) fn extend<M: Matrix>(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        new: Vec<SparseVector>,
    ) -> Vec<Vec<f64>> {
        let first = self.vectors.len();
        self.by_row.resize(two_level.rows(), vec![]);
        self.smoothed.resize(two_level.rows(), vec![]);
        self.residual.resize(two_level.rows(), vec![]);
        let groups: Vec<&[SparseVector]> = new.chunks(NEW).collect();
        let smoothed = team.collect(groups.len(), |g| {
            let mut index = vec![u32::MAX; two_level.rows()];
            let of = groups[g].iter();
            of.map(|b| two_level.smooth_sparse(b, &mut index))
                .collect::<Vec<_>>()
        });
        let mut residuals = vec![];
        let mut own = vec![];
        for (k, (s, b)) in (first..).zip(smoothed.into_iter().flatten().zip(&new)) {
            for (row, v) in b {
                self.by_row[*row as usize].push((k as u32, *v));
            }
            for (row, v) in &s.x {
                self.smoothed[*row as usize].push((k as u32, *v));
            }
            own.push(s.x);
            for (row, r) in &s.r {
                let single = r.map(|v| v as f32);
                self.residual[*row as usize].push((k as u32, single));
            }
            self.restricted.push(s.e);
            residuals.push(s.r);
        }
        self.vectors.extend(new);
        let count = residuals.len();
        let coarse_rows = two_level.coarse_rows();
        let rows_of = |e: &Vec<(u32, [f32; 3])>| e.iter().map(|(row, _)| *row).collect::<Vec<_>>();
        let down = two_level.coarse_reach(self.restricted.iter().flat_map(rows_of));
        let mut out = Vec::with_capacity(count);
        for group in (0..count).step_by(NEW) {
            let members = group..(group + NEW).min(count);
            let mut coarse: Vec<NodeColumns<f64, NEW>> = vec![[[0.0; NEW]; 3]; coarse_rows];
            for (k, j) in members.clone().enumerate() {
                for (row, v) in &self.restricted[first + j] {
                    for c in 0..3 {
                        coarse[*row as usize][c][k] = f64::from(v[c]);
                    }
                }
            }
            let mine = &self.restricted[first + members.start..first + members.end];
            let up = two_level.coarse_reach(mine.iter().flat_map(rows_of));
            team.inside(|| two_level.solve_coarse_between(team, &mut coarse, &up, &down));
            // eᵢ·A_c⁻¹ eⱼ for the whole group in one reading.
            let through = team.collect(self.vectors.len(), |i| {
                let mut sum = [0.0; NEW];
                for (row, v) in &self.restricted[i] {
                    let c = &coarse[*row as usize];
                    for d in 0..3 {
                        for k in 0..NEW {
                            sum[k] += f64::from(v[d]) * c[d][k];
                        }
                    }
                }
                sum
            });
            out.extend(team.collect(members.len(), |k| {
                let j = group + k;
                let mut products: Vec<f64> = through.iter().map(|t| t[k]).collect();
                for (row, r) in &residuals[j] {
                    for (i, x) in &self.smoothed[*row as usize] {
                        products[*i as usize] += dot(r, x);
                    }
                }
                for (row, x) in &own[j] {
                    for (i, b) in &self.by_row[*row as usize] {
                        products[*i as usize] += dot(b, x);
                    }
                }
                products
            }));
        }
        out
    }
}

fn dot(a: &[f64; 3], b: &[f32; 3]) -> f64 {
    (0..3).map(|c| a[c] * f64::from(b[c])).sum()
}

impl<M: Matrix> TwoLevel<M> {
    /// x = S b, r = b − A x and e = Pᵀ r. `index` must be `u32::MAX` in every row, and is left so.
    fn smooth_sparse(&self, b: &SparseVector, index: &mut [u32]) -> Smoothed {
        let smoother = self.smoother();
        let mut region: Vec<u32> = vec![];
        for (row, _) in b {
            index[*row as usize] = 0;
            region.push(*row);
        }
        let mut ring = 0..region.len();
        for _ in 0..smoother.degree() {
            for k in ring.clone() {
                for j in smoother.matrix().neighbours(region[k]) {
                    if index[j as usize] == u32::MAX {
                        index[j as usize] = 0;
                        region.push(j);
                    }
                }
            }
            ring = ring.end..region.len();
        }
        region.sort_unstable();
        for (k, row) in region.iter().enumerate() {
            index[*row as usize] = k as u32;
        }
        let mut r = vec![[0.0; 3]; region.len()];
        for (row, v) in b {
            r[index[*row as usize] as usize] = *v;
        }
        let x = smoother.smooth_region(&region, index, &mut r);
        let mut e = std::collections::BTreeMap::<u32, [f64; 3]>::new();
        for (row, r) in region.iter().zip(&r) {
            for (p, block) in self.prolongation().row(*row as usize) {
                let to = e.entry(p).or_insert([0.0; 3]);
                for c in 0..3 {
                    to[c] += (0..3).map(|k| block[k][c] * r[k]).sum::<f64>();
                }
            }
        }
        for row in &region {
            index[*row as usize] = u32::MAX;
        }
        let single = |v: [f64; 3]| v.map(|v| v as f32);
        Smoothed {
            x: region.iter().zip(x).map(|(i, v)| (*i, single(v))).collect(),
            r: region.into_iter().zip(r).collect(),
            e: e.into_iter().map(|(i, v)| (i, single(v))).collect(),
        }
    }
}
