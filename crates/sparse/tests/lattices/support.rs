//! Lattices of nodes with known stiffness, their Galerkin hierarchies, and their dense counterparts in nalgebra.

use bicolumn_sparse::{
    Analysis, Block, CoarseMatrix, Epilogue, Local, Magnitudes, Matrix, NodeBlocks, NodeColumns,
    NodeMatrix, NodeVector, Order, Pattern, Product, Prolongation, SymmetricBlocks, Team, TwoLevel,
};
use nalgebra::{DMatrix, DVector};
use std::collections::BTreeMap;
use std::sync::Arc;

/// A box of nodes at integer coordinates, the first coordinate fastest.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Lattice(pub [usize; 3]);

impl Lattice {
    /// Number of nodes.
    pub(crate) fn nodes(self) -> usize {
        self.0.iter().product()
    }

    /// Integer coordinates of a node.
    pub(crate) fn coordinates(self, node: usize) -> [usize; 3] {
        let [x, y, _] = self.0;
        [node % x, node / x % y, node / x / y]
    }

    /// Coordinates of all nodes, mm.
    pub(crate) fn places(self) -> Vec<[f64; 3]> {
        (0..self.nodes())
            .map(|n| self.coordinates(n).map(|c| c as f64))
            .collect()
    }

    /// Pairs i < j of nodes whose coordinates differ by at most one.
    fn pairs(self) -> impl Iterator<Item = (usize, usize, [f64; 3])> {
        let places = self.places();
        (0..self.nodes()).flat_map(move |i| {
            let places = places.clone();
            (i + 1..self.nodes()).filter_map(move |j| {
                let d = [0, 1, 2].map(|c| places[j][c] - places[i][c]);
                d.iter().all(|d| d.abs() < 1.5).then_some((i, j, d))
            })
        })
    }

    /// The block Laplacian of the axis neighbours, plus a unit block at each node of the face x = 0.
    pub(crate) fn laplacian(self) -> SymmetricBlocks {
        let bonds = self.pairs().filter(|(_, _, d)| length_squared(*d) == 1.0);
        self.assemble(bonds.map(|(i, j, _)| (i, j, scaled_unit(1.0))), 1.0)
    }

    /// Springs k d dᵀ / |d|² between all near nodes, `stiff` times stiffer where both nodes have y = 1; each node of the face
    /// x = 0 has `support` to the ground.
    pub(crate) fn springs(self, stiff: f64, support: f64) -> SymmetricBlocks {
        let bonds = self.pairs().map(|(i, j, d)| {
            let is_stiff = self.coordinates(i)[1] == 1 && self.coordinates(j)[1] == 1;
            let k = if is_stiff { stiff } else { 1.0 } / length_squared(d);
            (i, j, [0, 1, 2].map(|r| [0, 1, 2].map(|c| k * d[r] * d[c])))
        });
        self.assemble(bonds, support)
    }

    fn assemble(
        self,
        bonds: impl Iterator<Item = (usize, usize, Block<f64>)>,
        support: f64,
    ) -> SymmetricBlocks {
        let mut blocks = BTreeMap::new();
        for n in 0..self.nodes() {
            let k = if self.coordinates(n)[0] == 0 {
                support
            } else {
                0.0
            };
            blocks.insert((n as u32, n as u32), scaled_unit(k));
        }
        for (i, j, k) in bonds {
            let (i, j) = (i as u32, j as u32);
            add(blocks.entry((i, i)).or_default(), &k, 1.0);
            add(blocks.entry((j, j)).or_default(), &k, 1.0);
            add(blocks.entry((i, j)).or_default(), &k, -1.0);
        }
        from_upper(self.nodes(), &blocks)
    }

    /// Trilinear interpolation from the nodes with even coordinates; all sizes must be odd.
    pub(crate) fn interpolation(self) -> (Prolongation, Lattice) {
        let coarse = Lattice(self.0.map(|n| n / 2 + 1));
        let rows = (0..self.nodes()).map(|n| {
            let at = self.coordinates(n);
            let of_axis = |c: usize| {
                let half = at[c] / 2;
                if at[c].is_multiple_of(2) {
                    vec![(half, 1.0f32)]
                } else {
                    vec![(half, 0.5), (half + 1, 0.5)]
                }
            };
            let mut row = vec![];
            for (z, wz) in of_axis(2) {
                for (y, wy) in of_axis(1) {
                    for (x, wx) in of_axis(0) {
                        let node = (z * coarse.0[1] + y) * coarse.0[0] + x;
                        row.push((node as u32, wx * wy * wz));
                    }
                }
            }
            row
        });
        (
            Prolongation::translational(rows.collect::<Vec<_>>(), coarse.nodes()),
            coarse,
        )
    }
}

fn length_squared(d: [f64; 3]) -> f64 {
    d.iter().map(|d| d * d).sum()
}

fn scaled_unit(k: f64) -> Block<f64> {
    [[k, 0.0, 0.0], [0.0, k, 0.0], [0.0, 0.0, k]]
}

fn add(to: &mut Block<f64>, b: &Block<f64>, factor: f64) {
    for r in 0..3 {
        for c in 0..3 {
            to[r][c] += factor * b[r][c];
        }
    }
}

/// A symmetric matrix from its blocks on and above the diagonal.
pub(crate) fn from_upper(
    rows: usize,
    blocks: &BTreeMap<(u32, u32), Block<f64>>,
) -> SymmetricBlocks {
    let mut of_row = vec![vec![]; rows];
    for &(i, j) in blocks.keys() {
        of_row[i as usize].push(j);
        if i != j {
            of_row[j as usize].push(i);
        }
    }
    let mut starts = vec![0];
    let mut columns = vec![];
    for mut row in of_row {
        row.sort_unstable();
        columns.extend(row);
        starts.push(columns.len());
    }
    let mut a = SymmetricBlocks::zeros(Arc::new(Pattern::new(starts, columns)));
    for (&(i, j), b) in blocks {
        let at = a.pattern.upper_at(i as usize, j as usize).unwrap();
        a.upper[at] = *b;
    }
    a
}

/// PᵀAP block by block.
pub(crate) fn galerkin(a: &SymmetricBlocks, p: &Prolongation) -> SymmetricBlocks {
    let mut blocks: BTreeMap<(u32, u32), Block<f64>> = BTreeMap::new();
    let mut visit = |i: usize, j: usize, b: &dyn Fn(usize, usize) -> f64| {
        for (k, pk) in p.row(i) {
            for (l, pl) in p.row(j).filter(|(l, _)| *l >= k) {
                let to = blocks.entry((k, l)).or_default();
                for r in 0..3 {
                    for c in 0..3 {
                        for x in 0..9 {
                            to[r][c] += pk[x / 3][r] * b(x / 3, x % 3) * pl[x % 3][c];
                        }
                    }
                }
            }
        }
    };
    for i in 0..a.rows() {
        for (&j, at) in a
            .pattern
            .upper_row(i)
            .iter()
            .zip(a.pattern.upper_starts()[i]..)
        {
            let (b, j) = (a.upper[at], j as usize);
            visit(i, j, &|r, c| b[r][c]);
            if j != i {
                visit(j, i, &|r, c| b[c][r]);
            }
        }
    }
    // Symmetric to the last bit, as assembled matrices are.
    for k in 0..p.coarse_rows() as u32 {
        let own = blocks.entry((k, k)).or_default();
        for (r, c) in [(1, 0), (2, 0), (2, 1)] {
            own[r][c] = own[c][r];
        }
    }
    from_upper(p.coarse_rows(), &blocks)
}

/// The dense matrix.
pub(crate) fn dense(a: &SymmetricBlocks) -> DMatrix<f64> {
    let n = 3 * a.rows();
    let mut out = DMatrix::zeros(n, n);
    for i in 0..a.rows() {
        for (&j, at) in a
            .pattern
            .upper_row(i)
            .iter()
            .zip(a.pattern.upper_starts()[i]..)
        {
            for x in 0..9 {
                let (r, c, v) = (
                    3 * i + x / 3,
                    3 * j as usize + x % 3,
                    a.upper[at][x / 3][x % 3],
                );
                out[(r, c)] = v;
                out[(c, r)] = v;
            }
        }
    }
    out
}

/// The dense matrix of an interpolation.
pub(crate) fn dense_interpolation(p: &Prolongation) -> DMatrix<f64> {
    let mut out = DMatrix::zeros(3 * p.fine_rows(), 3 * p.coarse_rows());
    for i in 0..p.fine_rows() {
        for (j, b) in p.row(i) {
            for x in 0..9 {
                out[(3 * i + x / 3, 3 * j as usize + x % 3)] += b[x / 3][x % 3];
            }
        }
    }
    out
}

/// A vector with all frequencies in it, different for each `seed`.
pub(crate) fn load(nodes: usize, seed: usize) -> NodeVector {
    let value = |k: usize| ((k * k * 7 + k * (13 + 6 * seed) + 5 * seed) % 31) as f64 / 31.0 - 0.5;
    (0..nodes)
        .map(|n| [0, 1, 2].map(|c| value(3 * n + c)))
        .collect()
}

/// The vector in nalgebra.
pub(crate) fn flat(v: &[[f64; 3]]) -> DVector<f64> {
    DVector::from_column_slice(v.as_flattened())
}

/// The vector by node.
pub(crate) fn by_node(v: &DVector<f64>) -> NodeVector {
    v.as_slice().as_chunks::<3>().0.to_vec()
}

/// An assembled matrix with what the solvers ask of one: its products in single precision are those of its rounded entries.
#[derive(Debug)]
pub(crate) struct Assembled {
    pub(crate) blocks: SymmetricBlocks,
    rounded: NodeBlocks<3>,
}

impl Assembled {
    pub(crate) fn new(blocks: SymmetricBlocks) -> Self {
        let team = Team::new(1);
        let rounded = NodeBlocks::rounded(&team, &NodeMatrix::of(&team, &blocks));
        Assembled { blocks, rounded }
    }
}

impl Order for Assembled {
    fn rows(&self) -> usize {
        self.blocks.rows()
    }
}

impl Product<f64> for Assembled {
    fn multiply_with<const W: usize, R: Epilogue<f64, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
        scratch: &mut Vec<NodeColumns<f64, W>>,
        rows: R,
    ) {
        self.blocks.multiply_with(team, x, scratch, rows);
    }
}

impl Product<f32> for Assembled {
    fn multiply_with<const W: usize, R: Epilogue<f32, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<f32, W>],
        scratch: &mut Vec<NodeColumns<f32, W>>,
        rows: R,
    ) {
        self.rounded.multiply_with(team, x, scratch, rows);
    }
}

impl Magnitudes for Assembled {
    fn magnitudes<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
    ) -> Vec<NodeColumns<f64, W>> {
        self.blocks.magnitudes(team, x)
    }
}

impl Local for Assembled {
    type Part = Vec<(usize, usize, Block<f64>)>;

    fn neighbours(&self, row: u32) -> impl Iterator<Item = u32> {
        self.blocks.pattern.row(row as usize).iter().copied()
    }

    fn part(&self, region: &[u32], places: &[u32]) -> Self::Part {
        let mut part = vec![];
        for (k, &i) in region.iter().enumerate() {
            for &j in self.blocks.pattern.row(i as usize) {
                let place = places[j as usize] as usize;
                if place >= region.len() {
                    continue;
                }
                let (low, high) = (i.min(j) as usize, i.max(j) as usize);
                let b = self.blocks.upper[self.blocks.pattern.upper_at(low, high).unwrap()];
                let own = if i <= j {
                    b
                } else {
                    [0, 1, 2].map(|r| [0, 1, 2].map(|c| b[c][r]))
                };
                part.push((k, place, own));
            }
        }
        part
    }

    fn subtract(&self, part: &Self::Part, x: &[[f64; 3]], r: &mut [[f64; 3]]) {
        for (i, j, b) in part {
            for c in 0..3 {
                r[*i][c] -= (0..3).map(|k| b[c][k] * x[*j][k]).sum::<f64>();
            }
        }
    }
}

impl Matrix for Assembled {
    fn diagonal(&self, _: &Team) -> Vec<Block<f64>> {
        (0..self.rows()).map(|i| *self.blocks.diagonal(i)).collect()
    }

    fn bytes(&self) -> u64 {
        self.blocks.bytes()
    }

    fn scratch_bytes(&self, _: usize, _: usize) -> u64 {
        0
    }
}

/// Solution of the coarse level by a factor, or by smoothed aggregation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Coarse {
    Factored,
    Aggregated,
}

/// The two-level preconditioner of a lattice's matrix, and the matrix.
pub(crate) fn two_level(
    team: &Team,
    lattice: Lattice,
    blocks: SymmetricBlocks,
    kind: Coarse,
) -> (Arc<Assembled>, TwoLevel<Assembled>) {
    let (prolongation, coarse) = lattice.interpolation();
    let between = galerkin(&blocks, &prolongation);
    let matrix = match kind {
        Coarse::Factored => {
            let analysis = Analysis::of(&between.pattern);
            CoarseMatrix::Factored(Box::new(between), analysis)
        }
        Coarse::Aggregated => {
            CoarseMatrix::Translational(NodeMatrix::of(team, &between), coarse.places())
        }
    };
    let fine = Arc::new(Assembled::new(blocks));
    let two_level =
        TwoLevel::new(team, Arc::clone(&fine), matrix, Arc::new(prolongation), 3).unwrap();
    (fine, two_level)
}
