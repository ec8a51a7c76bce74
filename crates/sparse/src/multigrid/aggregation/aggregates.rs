//! Aggregates of strongly coupled nodes, and the tentative prolongator: piecewise rigid interpolation T from them.
//!
//! The rigid-body modes B of the nodes are the near null space. On each aggregate, B = T R with orthonormal columns of T (QR);
//! R, the modes in the aggregate's own six degrees of freedom, is the near null space of the next level (Vaněk, Mandel and
//! Brezina 1996, Computing 56:179).

use crate::Team;
use crate::matrix::node_matrix::{NodeMatrix, Square};

/// Nodes or aggregates that a thread takes up together.
pub(crate) const TOGETHER: usize = 128;

/// Coupling, as a share of the geometric mean of two diagonal blocks, above which it counts as strong.
const STRONG: f64 = 0.04;

/// The degrees of freedom of a node in terms of the six modes of an aggregate: a block of T or P.
pub(crate) type ModeBlock<const R: usize> = [[f64; 6]; R];

/// A partition of the nodes into aggregates.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Aggregates {
    /// Aggregate of each node.
    pub(crate) of_node: Vec<u32>,
    /// Number of aggregates.
    pub(crate) count: usize,
}

const NONE: u32 = u32::MAX;

impl Aggregates {
    /// Greedy aggregation by strength of coupling (after Vaněk et al. 1996): first each node with those free neighbours that it
    /// is strongly coupled to, strongest first, if there are enough; then every left-over node joins the aggregate of the
    /// neighbour it is coupled to most. The strength of a coupling is the Frobenius norm of its translational part. An aggregate
    /// has at most `size` nodes, the left-over ones not counted.
    pub(crate) fn form<const R: usize>(matrix: &NodeMatrix<R>, size: usize) -> Self {
        let nodes = matrix.nodes();
        let strengths: Vec<f64> = matrix.csr().values().iter().map(strength).collect();
        let couplings = |i: usize| {
            let range = matrix.csr().range(i);
            let columns = matrix.csr().columns_of(i).iter().copied();
            columns.zip(strengths[range].iter().copied())
        };
        let own: Vec<f64> = (0..nodes)
            .map(|i| {
                let of = couplings(i).find(|(j, _)| *j as usize == i);
                of.map_or(0.0, |(_, s)| s)
            })
            .collect();
        let mut of_node = vec![NONE; nodes];
        let mut count = 0;
        let mut free: Vec<(f64, u32)> = vec![];
        for i in 0..nodes {
            if of_node[i] != NONE {
                continue;
            }
            free.clear();
            free.extend(couplings(i).filter_map(|(j, s)| {
                let share = s / (own[i] * own[j as usize]).sqrt();
                let counts = j as usize != i && share > STRONG && of_node[j as usize] == NONE;
                counts.then_some((share, j))
            }));
            if free.len() >= size / 2 {
                free.sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
                of_node[i] = count;
                for (_, j) in free.iter().take(size - 1) {
                    of_node[*j as usize] = count;
                }
                count += 1;
            }
        }
        // Left-over nodes: to the aggregate of the strongest neighbour, a weak one too where no other has one.
        let first: Vec<u32> = of_node.clone();
        for i in (0..nodes).filter(|i| first[*i] == NONE) {
            let aggregated = couplings(i).filter(|(j, _)| first[*j as usize] != NONE);
            let best = aggregated.reduce(|a, b| if b.1 > a.1 { b } else { a });
            if let Some((j, _)) = best {
                of_node[i] = first[j as usize];
            }
        }
        for i in 0..nodes {
            if of_node[i] == NONE {
                of_node[i] = count;
                let near = couplings(i).map(|(j, _)| j as usize);
                let rest: Vec<usize> = near.filter(|j| of_node[*j] == NONE).collect();
                rest.into_iter().for_each(|j| of_node[j] = count);
                count += 1;
            }
        }
        Aggregates {
            of_node,
            count: count as usize,
        }
    }

    /// Nodes of each aggregate.
    fn members(&self) -> Vec<Vec<u32>> {
        let mut members: Vec<Vec<u32>> = vec![vec![]; self.count];
        for (i, g) in (0u32..).zip(&self.of_node) {
            members[*g as usize].push(i);
        }
        members
    }
}

/// Frobenius norm of a coupling's translational part.
fn strength<const R: usize>(b: &Square<R>) -> f64 {
    let sum: f64 = b[..3]
        .iter()
        .map(|r| r[0] * r[0] + r[1] * r[1] + r[2] * r[2])
        .sum();
    sum.sqrt()
}

/// The near null space: rigid-body modes in the degrees of freedom of each node. Columns of a block are the node's values for
/// unit translations of the body along the axes, then for unit rotations about axes through the node's own place.
#[derive(Debug, Clone)]
pub(crate) struct RigidBodyModes<const R: usize> {
    /// Coordinates of each node, mm.
    pub(crate) places: Vec<[f64; 3]>,
    /// Modes of each node.
    pub(crate) modes: Vec<ModeBlock<R>>,
}

/// The tentative prolongator T, one block a node (the column is its aggregate), and the modes of the aggregates.
pub(crate) fn tentative_prolongator<const R: usize>(
    team: &Team,
    aggregates: &Aggregates,
    fine: &RigidBodyModes<R>,
) -> (Vec<ModeBlock<R>>, RigidBodyModes<6>) {
    let mut tentative = vec![[[0.0; 6]; R]; fine.places.len()];
    let mut coarse = RigidBodyModes {
        places: Vec::with_capacity(aggregates.count),
        modes: Vec::with_capacity(aggregates.count),
    };
    let members = aggregates.members();
    let found = team.collect(members.len().div_ceil(TOGETHER), |chunk| {
        let of_chunk = members.iter().skip(chunk * TOGETHER).take(TOGETHER);
        of_chunk
            .map(|nodes| orthonormal_modes(nodes, fine))
            .collect::<Vec<_>>()
    });
    for (nodes, (q, centre, r)) in members.iter().zip(found.into_iter().flatten()) {
        for (k, i) in nodes.iter().enumerate() {
            for (m, column) in q.iter().enumerate() {
                for r in 0..R {
                    tentative[*i as usize][r][m] = column[R * k + r];
                }
            }
        }
        coarse.places.push(centre);
        coarse.modes.push(r);
    }
    (tentative, coarse)
}

/// Q by column, R values for each node; the aggregate's centre, mm; the triangular factor of Q R.
type Orthonormal = (Vec<Vec<f64>>, [f64; 3], Square<6>);

/// QR decomposition of an aggregate's rigid-body modes about its centre.
fn orthonormal_modes<const R: usize>(nodes: &[u32], fine: &RigidBodyModes<R>) -> Orthonormal {
    let centre = [0, 1, 2].map(|c| {
        let sum: f64 = nodes.iter().map(|i| fine.places[*i as usize][c]).sum();
        sum / nodes.len() as f64
    });
    let mut columns = vec![vec![0.0; R * nodes.len()]; 6];
    for (k, i) in nodes.iter().enumerate() {
        let i = *i as usize;
        let x = [0, 1, 2].map(|c| fine.places[i][c] - centre[c]);
        for r in 0..R {
            let own = &fine.modes[i][r];
            for c in 0..3 {
                // A unit rotation about axis c through the centre moves the node by c × x.
                let (a, b) = ((c + 1) % 3, (c + 2) % 3);
                columns[c][R * k + r] = own[c];
                columns[3 + c][R * k + r] = own[3 + c] - own[a] * x[b] + own[b] * x[a];
            }
        }
    }
    let triangle = orthonormalise(&mut columns);
    (columns, centre, triangle)
}

/// Gram-Schmidt orthonormalisation, twice for accuracy; a column that depends on earlier ones becomes zero. Gives the triangular
/// factor R of the columns Q R.
fn orthonormalise(columns: &mut [Vec<f64>]) -> Square<6> {
    /// Shortest rest of a column that still counts as independent, as a share of its length.
    const INDEPENDENT: f64 = 1e-4;
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut triangle = [[0.0; 6]; 6];
    for k in 0..columns.len() {
        let (done, rest) = columns.split_at_mut(k);
        let column = &mut rest[0];
        let before = dot(column, column).sqrt();
        for _ in 0..2 {
            for (d, row) in done.iter().zip(&mut triangle) {
                let along = dot(d, column);
                row[k] += along;
                column.iter_mut().zip(d).for_each(|(c, d)| *c -= along * d);
            }
        }
        let after = dot(column, column).sqrt();
        let scale = if after > INDEPENDENT * before {
            triangle[k][k] = after;
            1.0 / after
        } else {
            0.0
        };
        column.iter_mut().for_each(|c| *c *= scale);
    }
    triangle
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::matrix::node_matrix::unit;

    #[test]
    fn modes_of_an_aggregate_are_orthonormal_and_rigid() {
        let places: Vec<[f64; 3]> = (0..5)
            .map(|i| [f64::from(i * i), 1.0 - f64::from(i), f64::from(i % 2) * 3.0])
            .collect();
        let aggregates = Aggregates {
            of_node: vec![0, 0, 0, 0, 1],
            count: 2,
        };
        let fine = RigidBodyModes {
            modes: vec![unit::<6>(); 5],
            places: places.clone(),
        };
        let (tentative, coarse) = tentative_prolongator(&Team::new(1), &aggregates, &fine);
        let column = |m: usize| -> Vec<f64> {
            let of = tentative[..4].iter();
            of.flat_map(|b| (0..6).map(|r| b[r][m]).collect::<Vec<_>>())
                .collect()
        };
        for m in 0..6 {
            for n in 0..6 {
                let dot: f64 = column(m).iter().zip(column(n)).map(|(a, b)| a * b).sum();
                assert!((dot - f64::from(u8::from(m == n))).abs() < 1e-12);
            }
            // Rigid: each node turns like the others and moves as that rotation asks.
            let u = column(m);
            let turn = |i: usize| [0, 1, 2].map(|c| u[6 * i + 3 + c]);
            for i in 0..4 {
                let w = turn(i);
                for j in 0..4 {
                    let d = [0, 1, 2].map(|c| places[j][c] - places[i][c]);
                    for c in 0..3 {
                        let (a, b) = ((c + 1) % 3, (c + 2) % 3);
                        let moved = u[6 * i + c] + w[a] * d[b] - w[b] * d[a];
                        assert!((moved - u[6 * j + c]).abs() < 1e-12);
                        assert!((turn(j)[c] - w[c]).abs() < 1e-12);
                    }
                }
            }
        }
        // A unit motion about the aggregate's centre comes back from its degrees of freedom.
        for i in 0..4 {
            let x = [0, 1, 2].map(|c| places[i][c] - coarse.places[0][c]);
            for m in 0..6 {
                let back = |r: usize| -> f64 {
                    (0..6)
                        .map(|k| tentative[i][r][k] * coarse.modes[0][k][m])
                        .sum()
                };
                for r in 0..6 {
                    let mut expected = f64::from(u8::from(r == m));
                    if r < 3 && m >= 3 {
                        let axis = m - 3;
                        if r == (axis + 1) % 3 {
                            expected = -x[(axis + 2) % 3];
                        } else if r == (axis + 2) % 3 {
                            expected = x[(axis + 1) % 3];
                        }
                    }
                    assert!((back(r) - expected).abs() < 1e-12, "{i} {r} {m}");
                }
            }
        }
    }
}
