//! Products bᵢᵀ M⁻¹ bⱼ of sparse vectors with one cycle M⁻¹ of the two-level preconditioner.
//!
//! A vector that touches few nodes is smoothed where it is; only the coarse solve spans the mesh. With Q the
//! smoother, x = Q b, r = b − A x and e the restriction of r, the cycle is
//! bᵢᵀ M⁻¹ bⱼ = bᵢ·xⱼ + xᵢ·rⱼ + eᵢ·A_c⁻¹ eⱼ, since Q is symmetric. Much cheaper than a cycle for each vector.

use crate::{NodeColumns, Team, TwoLevel};

/// Values at few rows, each row once.
pub type SparseVector = Vec<(u32, [f64; 3])>;

/// Vectors that go through the coarse factor together.
const GROUP: usize = 8;

/// Vectors with what is kept of each.
#[derive(Debug, Default)]
pub struct CycleProducts {
    vectors: Vec<SparseVector>,
    /// x = Q b of all vectors, by fine row.
    smoothed: Vec<Vec<(u32, [f32; 3])>>,
    /// e of each vector.
    restricted: Vec<Vec<(u32, [f32; 3])>>,
}

/// What smoothing makes of one vector.
struct Smoothed {
    x: Vec<(u32, [f32; 3])>,
    r: Vec<(u32, [f64; 3])>,
    e: Vec<(u32, [f32; 3])>,
}

impl CycleProducts {
    /// Adds vectors; for each of them its product with every vector so far, new ones included.
    ///
    /// The preconditioner must be the same in all calls.
    pub fn add(
        &mut self,
        team: &Team,
        two_level: &TwoLevel,
        new: Vec<SparseVector>,
    ) -> Vec<Vec<f64>> {
        let first = self.vectors.len();
        self.smoothed.resize(two_level.rows(), vec![]);
        let groups: Vec<&[SparseVector]> = new.chunks(GROUP).collect();
        let smoothed = team.collect(groups.len(), |g| {
            let mut places = vec![u32::MAX; two_level.rows()];
            let of = groups[g].iter();
            of.map(|b| two_level.smooth_sparse(b, &mut places))
                .collect::<Vec<_>>()
        });
        let mut residuals = vec![];
        for (k, s) in (first..).zip(smoothed.into_iter().flatten()) {
            for (row, v) in s.x {
                self.smoothed[row as usize].push((k as u32, v));
            }
            self.restricted.push(s.e);
            residuals.push(s.r);
        }
        self.vectors.extend(new);
        let count = residuals.len();
        let coarse_rows = two_level.coarse_rows();
        let mut out = Vec::with_capacity(count);
        for group in (0..count).step_by(GROUP) {
            let members = group..(group + GROUP).min(count);
            let mut coarse: Vec<NodeColumns<f64, GROUP>> = vec![[[0.0; GROUP]; 3]; coarse_rows];
            for (k, j) in members.clone().enumerate() {
                for (row, v) in &self.restricted[first + j] {
                    for c in 0..3 {
                        coarse[*row as usize][c][k] = f64::from(v[c]);
                    }
                }
            }
            team.inside(|| two_level.solve_coarse(team, &mut coarse));
            // eᵢ·A_c⁻¹ eⱼ for the whole group in one reading.
            let through = team.collect(self.vectors.len(), |i| {
                let mut sum = [0.0; GROUP];
                for (row, v) in &self.restricted[i] {
                    let c = &coarse[*row as usize];
                    for d in 0..3 {
                        for k in 0..GROUP {
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
                let own = (first + j) as u32;
                for (product, b) in products.iter_mut().zip(&self.vectors) {
                    for (row, v) in b {
                        let here = &self.smoothed[*row as usize];
                        if let Ok(at) = here.binary_search_by_key(&own, |(i, _)| *i) {
                            *product += dot(v, &here[at].1);
                        }
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

impl TwoLevel {
    /// x = Q b, r = b − A x and the restriction of r. `places`: all `u32::MAX`, and left so.
    fn smooth_sparse(&self, b: &SparseVector, places: &mut [u32]) -> Smoothed {
        let smoother = self.smoother();
        let mut region: Vec<u32> = vec![];
        for (row, _) in b {
            places[*row as usize] = 0;
            region.push(*row);
        }
        let mut ring = 0..region.len();
        for _ in 0..smoother.degree() {
            for k in ring.clone() {
                for &j in smoother.neighbours(region[k] as usize) {
                    if places[j as usize] == u32::MAX {
                        places[j as usize] = 0;
                        region.push(j);
                    }
                }
            }
            ring = ring.end..region.len();
        }
        region.sort_unstable();
        for (k, row) in region.iter().enumerate() {
            places[*row as usize] = k as u32;
        }
        let mut r = vec![[0.0; 3]; region.len()];
        for (row, v) in b {
            r[places[*row as usize] as usize] = *v;
        }
        let x = smoother.smooth_region(&region, places, &mut r);
        let mut e = std::collections::BTreeMap::<u32, [f64; 3]>::new();
        for (row, r) in region.iter().zip(&r) {
            for (p, weight) in self.followed(*row as usize) {
                let to = e.entry(p).or_insert([0.0; 3]);
                for c in 0..3 {
                    to[c] += weight * r[c];
                }
            }
        }
        for row in &region {
            places[*row as usize] = u32::MAX;
        }
        let single = |v: [f64; 3]| v.map(|v| v as f32);
        Smoothed {
            x: region.iter().zip(x).map(|(i, v)| (*i, single(v))).collect(),
            r: region.into_iter().zip(r).collect(),
            e: e.into_iter().map(|(i, v)| (i, single(v))).collect(),
        }
    }
}
