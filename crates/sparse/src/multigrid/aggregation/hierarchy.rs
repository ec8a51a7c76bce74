//! Smoothed aggregation: a hierarchy for the coarse level of the two-level method, where its Cholesky factor would not fit.
//!
//! Nodes that translate (3 degrees of freedom) or translate and rotate (6) form aggregates; with the smoothed prolongator
//! P = (I − ω D⁻¹A) T, whose tentative part T interpolates the six rigid-body modes (Vaněk, Mandel and Brezina 1996, Computing
//! 56:179), the coarse operator is A_c = Pᵀ A P. Aggregates are aggregated again until few are left, whose matrix is factored.
//!
//! One V-cycle on every level, for A with unit diagonal blocks, S the Chebyshev smoother:
//!
//! - x ← S b, r ← b − A x (pre-smoothing from zero)
//! - x ← x + P M_c⁻¹ Pᵀ r (coarse correction by the same cycle one level down)
//! - x ← S(x, b) (post-smoothing)
//!
//! Pre- and post-smoothing are the same polynomial in D⁻¹A, so the cycle M⁻¹ is symmetric. The degrees of freedom of every
//! node are scaled by L⁻¹, A_ii = L Lᵀ, which makes D the identity.

use crate::matrix::node_matrix::{NodeMatrix, Square};
use crate::multigrid::aggregation::aggregates::{Aggregates, RigidBodyModes};
use crate::multigrid::aggregation::level::{CoarseProblem, Level, not_positive};
use crate::multigrid::chebyshev::{self, Workspace};
use crate::simd::columns::CHUNK;
use crate::simd::kernel::{Kernel, Real, dispatch};
use crate::{Analysis, BlockCholesky, ConstrainedRows, NodeColumns, SparseError, Team};
use std::sync::Arc;

/// Degree of the smoother on the finest level (docs/performance.md).
const FINEST_DEGREE: usize = 3;
/// Degree of the smoothers below nodes that only translate (docs/performance.md).
const DEGREE_BELOW_TRANSLATIONAL: usize = 5;
/// Degree of the smoothers below nodes that also rotate (docs/performance.md).
const DEGREE_BELOW_ROTATIONAL: usize = 2;
/// Size of an aggregate of nodes that only translate; left-over nodes may join beyond. Larger aggregates make a smaller next
/// level, but miss more of the slow modes (docs/performance.md).
const TRANSLATIONAL_SIZE: usize = 14;
/// Size of an aggregate of nodes that also rotate (docs/performance.md).
const ROTATIONAL_SIZE: usize = 8;
/// Most nodes of a level whose matrix is factored.
const FACTORED: usize = 600;

/// The aggregation hierarchy.
#[derive(Debug)]
pub(crate) struct Aggregation {
    finest: Finest,
    /// Levels of aggregates, and of aggregates of aggregates.
    levels: Vec<Level<6>>,
    /// Cholesky factor of the coarsest operator.
    coarsest: BlockCholesky<f32>,
}

/// The finest level of the hierarchy.
#[derive(Debug)]
enum Finest {
    /// Nodes with three displacements.
    Translational(ScaledLevel<3>),
    /// Nodes with three displacements and three rotations.
    Rotational(ScaledLevel<6>),
}

/// A level with the scaling that gives its matrix unit diagonal blocks.
#[derive(Debug)]
struct ScaledLevel<const R: usize> {
    level: Level<R>,
    /// L⁻¹ of each node's diagonal block L Lᵀ.
    inverse_roots: Vec<[[f32; R]; R]>,
}

impl Aggregation {
    /// A hierarchy for nodes that only translate; `places`: their coordinates, mm; `held`: their constrained
    /// displacements, whose rows of the matrix are diagonal.
    ///
    /// # Errors
    /// [`SparseError::NotPositiveDefinite`], with row 0 when it is not the finest level that meets it.
    pub(crate) fn translational(
        team: &Team,
        matrix: NodeMatrix<3>,
        places: Vec<[f64; 3]>,
        held: &ConstrainedRows,
    ) -> Result<Self, SparseError> {
        let (finest, coarse) = ScaledLevel::new(team, matrix, places, held, TRANSLATIONAL_SIZE)?;
        let finest = Finest::Translational(finest);
        Self::coarsen(team, finest, coarse, DEGREE_BELOW_TRANSLATIONAL)
    }

    /// A hierarchy for nodes that translate and rotate; `places`: their coordinates, mm; `held`: their constrained
    /// displacements, whose rows of the matrix are diagonal.
    ///
    /// # Errors
    /// As [`Aggregation::translational`].
    pub(crate) fn rotational(
        team: &Team,
        matrix: NodeMatrix<6>,
        places: Vec<[f64; 3]>,
        held: &ConstrainedRows,
    ) -> Result<Self, SparseError> {
        let (finest, coarse) = ScaledLevel::new(team, matrix, places, held, ROTATIONAL_SIZE)?;
        let finest = Finest::Rotational(finest);
        Self::coarsen(team, finest, coarse, DEGREE_BELOW_ROTATIONAL)
    }

    /// Aggregates of aggregates, until few are left.
    fn coarsen(
        team: &Team,
        finest: Finest,
        mut coarse: CoarseProblem,
        degree: usize,
    ) -> Result<Self, SparseError> {
        let mut levels = vec![];
        while coarse.operator.nodes() > FACTORED {
            let CoarseProblem {
                operator,
                aggregates,
                modes,
            } = &coarse;
            let (level, next) = Level::new(team, operator, aggregates, modes, degree)?;
            // Aggregates that do not become fewer would go on for ever.
            if next.operator.nodes() == coarse.operator.nodes() {
                break;
            }
            levels.push(level);
            coarse = next;
        }
        let pattern = Arc::new(coarse.operator.pattern());
        let coarsest = Analysis::of(&pattern)
            .factor(team, &coarse.operator.blocks(&pattern))
            .map_err(|e| match e {
                SparseError::NotPositiveDefinite { .. } => not_positive(0),
                other => other,
            })?;
        Ok(Aggregation {
            finest,
            levels,
            coarsest,
        })
    }

    /// Bytes held.
    pub(crate) fn bytes(&self) -> u64 {
        let finest = match &self.finest {
            Finest::Translational(finest) => finest.bytes(),
            Finest::Rotational(finest) => finest.bytes(),
        };
        finest + self.levels.iter().map(Level::bytes).sum::<u64>() + self.coarsest.bytes()
    }

    /// Bytes of a hierarchy for so many nodes with `R` degrees of freedom and so many couplings: an estimate, since the aggregates
    /// are not known yet.
    pub(crate) fn bytes_for<const R: usize>(nodes: usize, couplings: usize) -> u64 {
        /// Aggregates in a node's row of P, and the share of the coarser levels, as measured on the demo constructs.
        const AGGREGATES_NEAR: usize = 5;
        let coarser = if R == 3 { 2.0 } else { 1.7 };
        let prolongator = 2 * (R / 3) * nodes * AGGREGATES_NEAR * 76;
        let finest = chebyshev::bytes_for(R / 3 * nodes)
            + (prolongator + (4 * R * R + 4) * couplings) as u64;
        (4 * R * R * nodes) as u64 + (coarser * finest as f64) as u64
    }

    /// x ← M⁻¹ x by one V-cycle.
    pub(crate) fn solve<const W: usize>(&self, team: &Team, x: &mut [NodeColumns<f64, W>]) {
        match &self.finest {
            Finest::Translational(finest) => self.solve_from(team, finest, x),
            Finest::Rotational(finest) => self.solve_from(team, finest, x),
        }
    }

    fn solve_from<const R: usize, const W: usize>(
        &self,
        team: &Team,
        finest: &ScaledLevel<R>,
        x: &mut [NodeColumns<f64, W>],
    ) {
        let mut work = Workspace::new(x.len());
        finest.scale(team, x, &mut work.rhs, false);
        self.v_cycle(team, &finest.level, &self.levels, &mut work);
        finest.scale(team, &work.solution, x, true);
    }

    /// One V-cycle from a level down, on `work.rhs`; the result is `work.solution`.
    fn v_cycle<const R: usize, const W: usize>(
        &self,
        team: &Team,
        level: &Level<R>,
        coarser: &[Level<6>],
        work: &mut Workspace<W>,
    ) {
        level.smoother.smooth_from_zero(team, work);
        let mut coarse = Workspace::new(level.coarse_rows());
        level.restrict(team, &work.residual, &mut coarse.rhs);
        if let Some((next, coarser)) = coarser.split_first() {
            self.v_cycle(team, next, coarser, &mut coarse);
        } else {
            let widened = |v: &NodeColumns<f32, W>| v.map(|r| r.map(f64::from));
            let mut x: Vec<_> = coarse.rhs.iter().map(widened).collect();
            self.coarsest.solve(team, &mut x);
            for (to, x) in coarse.solution.iter_mut().zip(&x) {
                *to = x.map(|r| r.map(|v| v as f32));
            }
        }
        level.prolong(team, &coarse.solution, &mut work.solution);
        level.smoother.smooth_on(team, work);
    }
}

impl<const R: usize> ScaledLevel<R> {
    /// Scales a matrix and sets up its level with aggregates of `size` nodes.
    fn new(
        team: &Team,
        mut matrix: NodeMatrix<R>,
        places: Vec<[f64; 3]>,
        held: &ConstrainedRows,
        size: usize,
    ) -> Result<(Self, CoarseProblem), SparseError> {
        let aggregates = Aggregates::form(&matrix, size);
        let roots = matrix
            .normalise(team)
            .map_err(|i| not_positive(R / 3 * i))?;
        // In the scaled degrees of freedom, Lᵀ times the node's own modes; a node that does not rotate has no rotations.
        let scaled_modes = |l: &Square<R>| {
            let mut of = [[0.0; 6]; R];
            for r in 0..R {
                for c in 0..R {
                    of[r][c] = l[c][r];
                }
            }
            of
        };
        let mut modes = RigidBodyModes {
            places,
            modes: roots.roots.iter().map(scaled_modes).collect(),
        };
        // A constrained component is coupled to nothing, so it is a scaled degree of freedom by itself.
        for (node, components) in held.iter() {
            for c in (0..3).filter(|c| components[*c]) {
                modes.modes[node as usize][c] = [0.0; 6];
            }
        }
        let (level, coarse) = Level::new(team, &matrix, &aggregates, &modes, FINEST_DEGREE)?;
        let single = |l: &Square<R>| l.map(|r| r.map(|v| v as f32));
        let inverse_roots = roots.inverses.iter().map(single).collect();
        let scaled = ScaledLevel {
            level,
            inverse_roots,
        };
        Ok((scaled, coarse))
    }

    /// to = L⁻¹ from or, `transposed`, L⁻ᵀ from.
    fn scale<T: Real, U: Real, const W: usize>(
        &self,
        team: &Team,
        from: &[NodeColumns<T, W>],
        to: &mut [NodeColumns<U, W>],
        transposed: bool,
    ) {
        let jobs: Vec<_> = to
            .chunks_mut(R / 3 * CHUNK)
            .zip(from.chunks(R / 3 * CHUNK))
            .zip(self.inverse_roots.chunks(CHUNK))
            .collect();
        team.each(jobs, |((to, from), inverse_roots)| {
            dispatch(Scale {
                to,
                from,
                inverse_roots,
                transposed,
            });
        });
    }

    fn bytes(&self) -> u64 {
        self.level.bytes() + (4 * R * R * self.inverse_roots.capacity()) as u64
    }
}

/// L⁻¹ x or L⁻ᵀ x, node by node.
struct Scale<'a, T, U, const R: usize, const W: usize> {
    to: &'a mut [NodeColumns<U, W>],
    from: &'a [NodeColumns<T, W>],
    inverse_roots: &'a [[[f32; R]; R]],
    transposed: bool,
}

impl<T: Real, U: Real, const R: usize, const W: usize> Kernel for Scale<'_, T, U, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let nodes = self.to.chunks_mut(R / 3).zip(self.from.chunks(R / 3));
        for ((to, from), root) in nodes.zip(self.inverse_roots) {
            let mut out = [[0.0f32; W]; R];
            for r in 0..R {
                for c in 0..R {
                    let factor = if self.transposed {
                        root[c][r]
                    } else {
                        root[r][c]
                    };
                    for k in 0..W {
                        let x = from[c / 3][c % 3][k].to_f64() as f32;
                        out[r][k] = factor.times_plus::<FUSED>(x, out[r][k]);
                    }
                }
            }
            for r in 0..R {
                to[r / 3][r % 3] = out[r].map(|v| U::from_f64(f64::from(v)));
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::matrix::node_matrix::unit;
    use crate::matrix::product::Order;
    use crate::multigrid::aggregation::aggregates::tentative_prolongator;
    use crate::multigrid::aggregation::galerkin::coarse_operator;
    use crate::multigrid::aggregation::prolongator::smoothed_prolongator;
    use crate::{Pattern, SymmetricBlocks};
    use nalgebra::{DMatrix, DVector};

    /// A lattice of beams, supported at one end: its matrix and the coordinates of its nodes.
    fn lattice() -> (NodeMatrix<6>, Vec<[f64; 3]>) {
        let size = [8, 5, 4];
        let places: Vec<[f64; 3]> = (0..size[0] * size[1] * size[2])
            .map(|n| [n % size[0], n / size[0] % size[1], n / size[0] / size[1]].map(|i| i as f64))
            .collect();
        let apart = |i: usize, j: usize| [0, 1, 2].map(|c| places[j][c] - places[i][c]);
        let near = |i: usize, j: usize| apart(i, j).iter().all(|d| d.abs() < 1.5);
        let mut starts = vec![0];
        let mut columns = vec![];
        for i in 0..places.len() {
            let row = (0..places.len()).filter(|j| near(i, *j));
            columns.extend(row.map(|j| j as u32));
            starts.push(columns.len());
        }
        let pattern = Pattern::new(starts, columns);
        let matrix = NodeMatrix::assembled(&Team::new(2), &pattern, |rows| {
            for i in 0..places.len() {
                if i % size[0] == 0 && rows.contains(i as u32) {
                    let own = rows.block(i as u32, i as u32).unwrap();
                    (0..6).for_each(|c| own[c][c] += 1.0);
                }
                for j in pattern.upper_row(i).iter().map(|j| *j as usize).skip(1) {
                    let d = apart(i, j);
                    // A row of stiff beams among soft ones.
                    let is_stiff = places[i][1] == 2.0 && places[j][1] == 2.0;
                    let k = if is_stiff { 100.0 } else { 1.0 };
                    // Strains: u_j − u_i − (θ_i + θ_j)/2 × d, and θ_j − θ_i.
                    let mut strains = DMatrix::zeros(6, 12);
                    for c in 0..3 {
                        let (x, y) = ((c + 1) % 3, (c + 2) % 3);
                        for (node, sign) in [(0, -1.0), (1, 1.0)] {
                            strains[(c, 6 * node + c)] = sign;
                            strains[(c, 6 * node + 3 + x)] = -d[y] / 2.0;
                            strains[(c, 6 * node + 3 + y)] = d[x] / 2.0;
                            strains[(3 + c, 6 * node + 3 + c)] = 0.3 * sign;
                        }
                    }
                    let own = strains.transpose() * &strains * k;
                    for (r, row) in [i, j].into_iter().enumerate() {
                        for (c, column) in [i, j].into_iter().enumerate() {
                            if rows.contains(row as u32) {
                                let to = rows.block(row as u32, column as u32).unwrap();
                                for x in 0..36 {
                                    to[x / 6][x % 6] += own[(6 * r + x / 6, 6 * c + x % 6)];
                                }
                            }
                        }
                    }
                }
            }
        });
        (matrix, places)
    }

    fn dense(a: &SymmetricBlocks) -> DMatrix<f64> {
        let n = a.rows();
        DMatrix::from_fn(3 * n, 3 * n, |r, c| {
            let (i, j) = (r / 3, c / 3);
            let (low, high) = (i.min(j), i.max(j));
            let b = a.pattern.upper_at(low, high).map(|at| &a.upper[at]);
            b.map_or(0.0, |b| {
                if i <= j {
                    b[r % 3][c % 3]
                } else {
                    b[c % 3][r % 3]
                }
            })
        })
    }

    fn dense_nodes<const R: usize>(a: &NodeMatrix<R>) -> DMatrix<f64> {
        let mut out = DMatrix::zeros(R * a.nodes(), R * a.nodes());
        for i in 0..a.nodes() {
            for (j, b) in a.row(i) {
                for x in 0..R * R {
                    out[(R * i + x / R, R * j as usize + x % R)] = b[x / R][x % R];
                }
            }
        }
        out
    }

    #[test]
    fn the_coarse_operator_is_the_galerkin_projection_of_the_dense_matrix() {
        let (a, places) = lattice();
        let team = Team::new(2);
        let blocks = a.blocks(&Arc::new(a.pattern()));
        assert_eq!(dense_nodes(&a), dense(&blocks));
        let mut nodes = a.clone();
        let roots = nodes.normalise(&team).unwrap();
        let l = {
            let mut l = DMatrix::zeros(6 * places.len(), 6 * places.len());
            for (i, root) in roots.roots.iter().enumerate() {
                for x in 0..36 {
                    l[(6 * i + x / 6, 6 * i + x % 6)] = root[x / 6][x % 6];
                }
            }
            l
        };
        let back = &l * dense_nodes(&nodes) * l.transpose();
        assert!((back - dense_nodes(&a)).amax() < 1e-12 * dense_nodes(&a).amax());
        let aggregates = Aggregates::form(&nodes, 8);
        assert!((5..50).contains(&aggregates.count), "{}", aggregates.count);
        let modes = RigidBodyModes {
            modes: vec![unit::<6>(); places.len()],
            places,
        };
        let (tentative, _) = tentative_prolongator(&team, &aggregates, &modes);
        let smoothed = smoothed_prolongator(&team, &nodes, &aggregates, &tentative, 0.7);
        let transposed = smoothed.transposed_pattern(aggregates.count);
        let coarse = dense_nodes(&coarse_operator(&team, &nodes, &smoothed, &transposed));
        let wide = |value: &dyn Fn(usize) -> Vec<(u32, Square<6>)>| {
            let mut p = DMatrix::zeros(6 * tentative.len(), 6 * aggregates.count);
            for i in 0..tentative.len() {
                for (g, m) in value(i) {
                    for x in 0..36 {
                        p[(6 * i + x / 6, 6 * g as usize + x % 6)] = m[x / 6][x % 6];
                    }
                }
            }
            p
        };
        let t = wide(&|i| vec![(aggregates.of_node[i], tentative[i])]);
        let p = wide(&|i| smoothed.row(i).map(|(g, m)| (g, *m)).collect());
        let expected = &t - dense_nodes(&nodes) * &t * 0.7;
        assert!((&p - expected).amax() < 1e-12);
        let projected = p.transpose() * dense_nodes(&nodes) * &p;
        assert!((&projected - coarse).amax() < 1e-10 * projected.amax());
    }

    #[test]
    fn aggregates_of_aggregates_move_rigidly_too() {
        let (nodes, places) = lattice();
        let modes = RigidBodyModes {
            modes: vec![unit::<6>(); places.len()],
            places: places.clone(),
        };
        let first = Aggregates::form(&nodes, 8);
        let (tentative, coarse) = tentative_prolongator(&Team::new(1), &first, &modes);
        // All aggregates as one: its orthonormal modes, brought down to the nodes, are rigid, too.
        let all = Aggregates {
            of_node: vec![0; first.count],
            count: 1,
        };
        let (of_aggregates, whole) = tentative_prolongator(&Team::new(1), &all, &coarse);
        let centre = whole.places[0];
        for (i, x) in places.iter().enumerate() {
            let g = first.of_node[i] as usize;
            let turn = DVector::from_vec(vec![0.2, -0.1, 0.3]);
            let slide = [1.0, 2.0, -0.5];
            let asked = DVector::from_fn(6, |k, _| if k < 3 { slide[k] } else { turn[k - 3] });
            let matrix = |m: &Square<6>| DMatrix::from_fn(6, 6, |r, c| m[r][c]);
            let got =
                matrix(&tentative[i]) * matrix(&of_aggregates[g]) * matrix(&whole.modes[0]) * asked;
            for c in 0..3 {
                let (p, q) = ((c + 1) % 3, (c + 2) % 3);
                let d = [0, 1, 2].map(|k| x[k] - centre[k]);
                let expected = slide[c] + turn[p] * d[q] - turn[q] * d[p];
                assert!((got[c] - expected).abs() < 1e-10, "{i} {c}");
                assert!((got[3 + c] - turn[c]).abs() < 1e-10);
            }
        }
    }

    /// A lattice of springs, supported at one end: nodes that only translate.
    fn springs() -> (NodeMatrix<3>, Vec<[f64; 3]>) {
        let (beams, places) = lattice();
        let mut matrix = SymmetricBlocks::zeros(Arc::new(pattern_of(&beams)));
        let pattern = Arc::clone(&matrix.pattern);
        for i in 0..places.len() {
            let support = if places[i][0] == 0.0 { 1.0 } else { 0.0 };
            (0..3).for_each(|c| matrix.upper[pattern.upper_starts()[i]][c][c] += support);
            for j in pattern.upper_row(i).iter().map(|j| *j as usize).skip(1) {
                let d = [0, 1, 2].map(|c| places[j][c] - places[i][c]);
                let length: f64 = d.iter().map(|d| d * d).sum();
                let is_stiff = places[i][1] == 2.0 && places[j][1] == 2.0;
                let k = if is_stiff { 100.0 } else { 1.0 } / length;
                for x in 0..9 {
                    let (r, c) = (x / 3, x % 3);
                    matrix.upper[pattern.upper_starts()[i]][r][c] += k * d[r] * d[c];
                    matrix.upper[pattern.upper_starts()[j]][r][c] += k * d[r] * d[c];
                    let at = pattern.upper_at(i, j).unwrap();
                    matrix.upper[at][r][c] -= k * d[r] * d[c];
                }
            }
        }
        (NodeMatrix::of(&Team::new(2), &matrix), places)
    }

    fn pattern_of<const R: usize>(a: &NodeMatrix<R>) -> Pattern {
        Pattern::new(a.csr().starts().to_vec(), a.csr().columns().to_vec())
    }

    fn check_cycle<const R: usize>(a: &NodeMatrix<R>, level: &Aggregation, least_allowed: f64) {
        let n = R * a.nodes();
        let mut cycle = DMatrix::zeros(n, n);
        for k in 0..n {
            let mut x = vec![[[0.0; 1]; 3]; n / 3];
            x[k / 3][k % 3][0] = 1.0;
            level.solve(&Team::new(1), &mut x);
            for r in 0..n {
                cycle[(r, k)] = x[r / 3][r % 3][0];
            }
        }
        let off = (&cycle - cycle.transpose()).amax() / cycle.amax();
        assert!(off < 1e-4, "{off}");
        // Eigenvalues of M⁻¹A by those of LᵀM⁻¹L, A = L Lᵀ.
        let l = dense_nodes(a).cholesky().unwrap().l();
        let symmetric = (&cycle + cycle.transpose()) * 0.5;
        let eigenvalues = (l.transpose() * symmetric * l).symmetric_eigenvalues();
        let (least, most) = (eigenvalues.min(), eigenvalues.max());
        assert!(least > least_allowed && most < 1.05, "{least} {most}");
    }

    /// Rows and columns of constrained displacements cleared, but for the diagonal.
    fn constrained<const R: usize>(a: NodeMatrix<R>, held: &ConstrainedRows) -> NodeMatrix<R> {
        let mut blocks = a.csr().clone();
        let (starts, columns, values) = blocks.split_mut();
        for i in 0..a.nodes() {
            for at in starts[i]..starts[i + 1] {
                let j = columns[at];
                let (rows, columns) = (held.of(i as u32), held.of(j));
                for r in 0..R {
                    for c in 0..R {
                        let is_held = (r < 3 && rows[r]) || (c < 3 && columns[c]);
                        if is_held && !(i == j as usize && r == c) {
                            values[at][r][c] = 0.0;
                        }
                    }
                }
            }
        }
        NodeMatrix::from_csr(blocks)
    }

    #[test]
    fn the_cycle_is_symmetric_positive_and_contracts() {
        let team = Team::new(1);
        let free = ConstrainedRows::default();
        let (a, places) = lattice();
        let level = Aggregation::rotational(&team, a.clone(), places, &free).unwrap();
        check_cycle(&a, &level, 0.2);
        let (a, places) = springs();
        let level = Aggregation::translational(&team, a.clone(), places, &free).unwrap();
        check_cycle(&a, &level, 0.2);
    }

    #[test]
    fn constrained_displacements_stay_zero_and_do_not_spoil_the_cycle() {
        let team = Team::new(1);
        let (a, places) = lattice();
        // A plane of symmetry, and nodes that move along one line only.
        let of_place = |(i, x): (usize, &[f64; 3])| {
            let components = [x[0] == 0.0, x[1] == 2.0 && x[0] < 3.0, x[1] == 2.0];
            (i as u32, components)
        };
        let held = ConstrainedRows::new(places.iter().enumerate().map(of_place));
        assert!(held.iter().count() > 10);
        let still = |level: &Aggregation, halves: usize, nodes: usize| {
            let mut x: Vec<NodeColumns<f64, 1>> = (0..halves * nodes)
                .map(|i| [0, 1, 2].map(|c| [((7 * i + 3 * c) as f64).sin()]))
                .collect();
            held.project_columns(halves, &mut x);
            level.solve(&team, &mut x);
            for (row, components) in held.iter() {
                for c in (0..3).filter(|c| components[*c]) {
                    assert_eq!(x[halves * row as usize][c], [0.0]);
                }
            }
        };
        let a = constrained(a, &held);
        let level = Aggregation::rotational(&team, a.clone(), places.clone(), &held).unwrap();
        check_cycle(&a, &level, 0.2);
        still(&level, 2, a.nodes());
        let (a, _) = springs();
        let a = constrained(a, &held);
        let level = Aggregation::translational(&team, a.clone(), places, &held).unwrap();
        check_cycle(&a, &level, 0.2);
        still(&level, 1, a.nodes());
    }
}
