//! Products bᵢᵀ M⁻¹ bⱼ of sparse vectors with one cycle M⁻¹ of the two-level preconditioner.
//!
//! A vector that touches few nodes is smoothed where it is; only the coarse solve spans the mesh. With Q the
//! smoother, x = Q b, r = b − A x and e the restriction of r, the cycle is
//! bᵢᵀ M⁻¹ bⱼ = bᵢ·xⱼ + xᵢ·rⱼ + eᵢ·A_c⁻¹ eⱼ, since Q is symmetric. Much cheaper than a cycle for each vector.

use crate::matrix::product::Matrix;
use crate::multigrid::chebyshev::Workspace;
use crate::simd::columns::{dot as dot_columns, interleave};
use crate::{NodeColumns, NodeVector, Team, TwoLevel};

/// Values at few rows, each row once.
pub type SparseVector = Vec<(u32, [f64; 3])>;

/// Right sides of an open cycle that go through the coarse factor together.
const GROUP: usize = 8;
/// New vectors that do.
const NEW: usize = 16;

/// Vectors with what is kept of each.
#[derive(Debug, Default)]
pub struct CycleProducts {
    vectors: Vec<SparseVector>,
    /// All vectors, by fine row.
    on_row: Vec<Vec<(u32, [f64; 3])>>,
    /// x = Q b of all vectors, by fine row.
    smoothed: Vec<Vec<(u32, [f32; 3])>>,
    /// r = b − A x of all vectors, by fine row.
    residual: Vec<Vec<(u32, [f32; 3])>>,
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
    pub fn add<M: Matrix>(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        new: Vec<SparseVector>,
    ) -> Vec<Vec<f64>> {
        let first = self.vectors.len();
        self.on_row.resize(two_level.rows(), vec![]);
        self.smoothed.resize(two_level.rows(), vec![]);
        self.residual.resize(two_level.rows(), vec![]);
        let groups: Vec<&[SparseVector]> = new.chunks(NEW).collect();
        let smoothed = team.collect(groups.len(), |g| {
            let mut places = vec![u32::MAX; two_level.rows()];
            let of = groups[g].iter();
            of.map(|b| two_level.smooth_sparse(b, &mut places))
                .collect::<Vec<_>>()
        });
        let mut residuals = vec![];
        let mut own = vec![];
        for (k, (s, b)) in (first..).zip(smoothed.into_iter().flatten().zip(&new)) {
            for (row, v) in b {
                self.on_row[*row as usize].push((k as u32, *v));
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
        let down = two_level.reach_coarse(self.restricted.iter().flat_map(rows_of));
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
            let up = two_level.reach_coarse(mine.iter().flat_map(rows_of));
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
                    for (i, b) in &self.on_row[*row as usize] {
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

/// A cycle on some vectors that is half done: smoothed and solved on the coarse level, not yet smoothed again.
///
/// What the whole cycle will do to the vectors of a [`CycleProducts`] is known then already, and multiples of
/// those may still be added for little.
pub struct OpenCycle<M> {
    groups: Vec<Box<dyn Half<M>>>,
}

impl<M: Matrix> TwoLevel<M> {
    /// Begins a cycle.
    pub fn open(&self, team: &Team, vectors: &[NodeVector]) -> OpenCycle<M> {
        let groups = vectors.chunks(GROUP).map(|group| -> Box<dyn Half<M>> {
            match group.len() {
                1 => Box::new(HalfOf::<1>::new(team, self, group)),
                2 => Box::new(HalfOf::<2>::new(team, self, group)),
                3..=4 => Box::new(HalfOf::<4>::new(team, self, group)),
                _ => Box::new(HalfOf::<GROUP>::new(team, self, group)),
            }
        });
        OpenCycle {
            groups: groups.collect(),
        }
    }
}

impl<M: Matrix> OpenCycle<M> {
    /// What the cycle makes of each vector, without the last smoothing.
    pub fn rough(&self, two_level: &TwoLevel<M>) -> Vec<NodeVector> {
        let groups = self.groups.iter();
        groups.flat_map(|g| g.rough(two_level)).collect()
    }

    /// Products of the whole cycle's result with the vectors of `products` from the `first` on, by right
    /// side.
    pub fn products(&self, products: &CycleProducts, first: usize) -> Vec<Vec<f64>> {
        let groups = self.groups.iter();
        groups.flat_map(|g| g.products(products, first)).collect()
    }

    /// Adds so much of each vector of `products` to each right side.
    pub fn push(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        products: &CycleProducts,
        shares: &[Vec<f64>],
    ) {
        let mut rest = shares;
        for group in &mut self.groups {
            let (mine, later) = rest.split_at(group.count().min(rest.len()));
            rest = later;
            group.push(team, two_level, products, mine);
        }
    }

    /// Ends the cycle.
    pub fn close(self, team: &Team, two_level: &TwoLevel<M>) -> Vec<NodeVector> {
        let groups = self.groups.into_iter();
        groups.flat_map(|g| g.close(team, two_level)).collect()
    }
}

/// Some right sides of an open cycle, whatever their number.
trait Half<M> {
    fn count(&self) -> usize;
    fn rough(&self, two_level: &TwoLevel<M>) -> Vec<NodeVector>;
    fn products(&self, products: &CycleProducts, first: usize) -> Vec<Vec<f64>>;
    fn push(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        products: &CycleProducts,
        shares: &[Vec<f64>],
    );
    fn close(self: Box<Self>, team: &Team, two_level: &TwoLevel<M>) -> Vec<NodeVector>;
}

struct HalfOf<const W: usize> {
    count: usize,
    /// Sizes of the right sides; all is kept for unit ones.
    sizes: [f64; W],
    sides: Vec<NodeColumns<f64, W>>,
    work: Workspace<W>,
    coarse: Vec<NodeColumns<f64, W>>,
}

impl<const W: usize> HalfOf<W> {
    fn new<M: Matrix>(team: &Team, two_level: &TwoLevel<M>, vectors: &[NodeVector]) -> Self {
        let slices: Vec<&[[f64; 3]]> = vectors.iter().map(Vec::as_slice).collect();
        let mut sides = interleave::<W>(&slices);
        let norms = dot_columns(team, &sides, &sides).map(f64::sqrt);
        let sizes = norms.map(|n| if n > 0.0 { n } else { 1.0 });
        for node in sides.iter_mut().flatten() {
            for k in 0..W {
                node[k] /= sizes[k];
            }
        }
        let mut work = Workspace::new(sides.len());
        work.load(team, &sides);
        let mut coarse = vec![[[0.0; W]; 3]; two_level.coarse_rows()];
        team.inside(|| two_level.open_on(team, &mut work, &mut coarse));
        HalfOf {
            count: vectors.len(),
            sizes,
            sides,
            work,
            coarse,
        }
    }

    fn columns(&self, value: impl Fn(usize) -> [[f64; W]; 3]) -> Vec<NodeVector> {
        let mut out = vec![Vec::with_capacity(self.sides.len()); self.count];
        for row in 0..self.sides.len() {
            let v = value(row);
            for (k, to) in out.iter_mut().enumerate() {
                to.push([0, 1, 2].map(|c| v[c][k] * self.sizes[k]));
            }
        }
        out
    }
}

impl<M: Matrix, const W: usize> Half<M> for HalfOf<W> {
    fn count(&self) -> usize {
        self.count
    }

    fn rough(&self, two_level: &TwoLevel<M>) -> Vec<NodeVector> {
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

    fn products(&self, products: &CycleProducts, first: usize) -> Vec<Vec<f64>> {
        // b·M⁻¹ s = x·s + r·(Q s) + e·c, as for two vectors.
        let mut sums = vec![[0.0; W]; products.vectors.len() - first];
        let mut add = |i: usize, v: &[f32; 3], with: &[[f64; W]; 3]| {
            for c in 0..3 {
                for k in 0..W {
                    sums[i - first][k] += f64::from(v[c]) * with[c][k];
                }
            }
        };
        for (row, here) in products.smoothed.iter().enumerate() {
            for (i, x) in from(here, first) {
                add(*i as usize, x, &self.sides[row]);
            }
        }
        for (row, here) in products.residual.iter().enumerate() {
            let here = from(here, first);
            if !here.is_empty() {
                let x = self.work.solution[row].map(|r| r.map(f64::from));
                for (i, r) in here {
                    add(*i as usize, r, &x);
                }
            }
        }
        for (i, e) in products.restricted.iter().enumerate().skip(first) {
            for (row, v) in e {
                add(i, v, &self.coarse[*row as usize]);
            }
        }
        let of_side = |k: usize| sums.iter().map(|s| s[k] * self.sizes[k]).collect();
        (0..self.count).map(of_side).collect()
    }

    fn push(
        &mut self,
        team: &Team,
        two_level: &TwoLevel<M>,
        products: &CycleProducts,
        shares: &[Vec<f64>],
    ) {
        let mut factors = vec![[0.0; W]; products.vectors.len()];
        for (k, of_side) in shares.iter().enumerate() {
            for (f, share) in factors.iter_mut().zip(of_side) {
                f[k] = share / self.sizes[k];
            }
        }
        let spread = |here: &[(u32, [f32; 3])], to: &mut [[f32; W]; 3]| {
            for (i, v) in here {
                let f = &factors[*i as usize];
                for c in 0..3 {
                    for k in 0..W {
                        to[c][k] += (f64::from(v[c]) * f[k]) as f32;
                    }
                }
            }
        };
        for (to, here) in self.work.solution.iter_mut().zip(&products.smoothed) {
            spread(here, to);
        }
        let mut more = vec![[[0.0; W]; 3]; self.coarse.len()];
        for (f, e) in factors.iter().zip(&products.restricted) {
            for (row, v) in e {
                for c in 0..3 {
                    for k in 0..W {
                        more[*row as usize][c][k] += f64::from(v[c]) * f[k];
                    }
                }
            }
        }
        for (f, b) in factors.iter().zip(&products.vectors) {
            for (row, v) in b {
                let row = *row as usize;
                for c in 0..3 {
                    for k in 0..W {
                        self.sides[row][c][k] += v[c] * f[k];
                    }
                }
                self.work.side[row] = self.sides[row].map(|c| c.map(|v| v as f32));
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

    fn close(mut self: Box<Self>, team: &Team, two_level: &TwoLevel<M>) -> Vec<NodeVector> {
        team.inside(|| two_level.close_on(team, &self.coarse, &mut self.work));
        self.columns(|row| self.work.solution[row].map(|r| r.map(f64::from)))
    }
}

/// The entries of vectors from the `first` on.
fn from(here: &[(u32, [f32; 3])], first: usize) -> &[(u32, [f32; 3])] {
    &here[here.partition_point(|(i, _)| (*i as usize) < first)..]
}

impl<M: Matrix> TwoLevel<M> {
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
                for j in smoother.matrix().neighbours(region[k]) {
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
            for (p, block) in self.prolongation().row(*row as usize) {
                let to = e.entry(p).or_insert([0.0; 3]);
                for c in 0..3 {
                    to[c] += (0..3).map(|k| block[k][c] * r[k]).sum::<f64>();
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
