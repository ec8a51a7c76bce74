//! Groups of neighbouring nodes and the rigid motions they make together.

use crate::Team;
use crate::matrix::node_matrix::{NodeMatrix, Square};
use crate::multigrid::aggregation::coupling::{Moves, TOGETHER};

/// Share of the geometric mean of two diagonal blocks above which a coupling counts as strong.
const STRONG: f64 = 0.04;

/// Which group each node belongs to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Aggregates {
    pub(crate) of_node: Vec<u32>,
    pub(crate) count: usize,
}

const NONE: u32 = u32::MAX;

impl Aggregates {
    /// Groups nodes by strong coupling (after Vaněk, Mandel and Brezina 1996, Computing 56:179): each node with
    /// those free neighbours that it is coupled to most, if there are enough; then what is left joins the neighbour it
    /// is coupled to most. Couplings are measured by the displacements' part. A group has at most `members`, those
    /// that join not counted.
    pub(crate) fn form<const R: usize>(matrix: &NodeMatrix<R>, members: usize) -> Self {
        let nodes = matrix.nodes();
        let sizes: Vec<f64> = matrix.values.iter().map(size).collect();
        let couplings = |i: usize| {
            let range = matrix.starts[i]..matrix.starts[i + 1];
            let columns = matrix.columns[range.clone()].iter().copied();
            columns.zip(sizes[range].iter().copied())
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
            if free.len() >= members / 2 {
                free.sort_unstable_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
                of_node[i] = count;
                for (_, j) in free.iter().take(members - 1) {
                    of_node[*j as usize] = count;
                }
                count += 1;
            }
        }
        // The rest: to the group of the strongest neighbour, weak ones too where no other has one.
        let first: Vec<u32> = of_node.clone();
        for i in (0..nodes).filter(|i| first[*i] == NONE) {
            let grouped = couplings(i).filter(|(j, _)| first[*j as usize] != NONE);
            let best = grouped.reduce(|a, b| if b.1 > a.1 { b } else { a });
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

    /// Nodes of each group.
    fn members(&self) -> Vec<Vec<u32>> {
        let mut members: Vec<Vec<u32>> = vec![vec![]; self.count];
        for (i, g) in (0u32..).zip(&self.of_node) {
            members[*g as usize].push(i);
        }
        members
    }
}

fn size<const R: usize>(b: &Square<R>) -> f64 {
    let sum: f64 = b[..3]
        .iter()
        .map(|r| r[0] * r[0] + r[1] * r[1] + r[2] * r[2])
        .sum();
    sum.sqrt()
}

/// The rigid motions of a body in the unknowns of some nodes: what each node does when the body moves by unit
/// amounts along the axes and turns by unit amounts about axes through the node's own place.
#[derive(Debug, Clone)]
pub(crate) struct RigidMotions<const R: usize> {
    pub(crate) places: Vec<[f64; 3]>,
    pub(crate) of_node: Vec<Moves<R>>,
}

/// Orthonormal motions of each node's group, and the rigid motions in the groups' own unknowns.
pub(crate) fn group_motions<const R: usize>(
    team: &Team,
    aggregates: &Aggregates,
    rigid: &RigidMotions<R>,
) -> (Vec<Moves<R>>, RigidMotions<6>) {
    let mut motions = vec![[[0.0; 6]; R]; rigid.places.len()];
    let mut of_groups = RigidMotions {
        places: Vec::with_capacity(aggregates.count),
        of_node: Vec::with_capacity(aggregates.count),
    };
    let members = aggregates.members();
    let found = team.collect(members.len().div_ceil(TOGETHER), |chunk| {
        let groups = members.iter().skip(chunk * TOGETHER).take(TOGETHER);
        groups
            .map(|group| motions_of(group, rigid))
            .collect::<Vec<_>>()
    });
    for (group, (columns, centre, left)) in members.iter().zip(found.into_iter().flatten()) {
        for (k, i) in group.iter().enumerate() {
            for (m, column) in columns.iter().enumerate() {
                for r in 0..R {
                    motions[*i as usize][r][m] = column[R * k + r];
                }
            }
        }
        of_groups.places.push(centre);
        of_groups.of_node.push(left);
    }
    (motions, of_groups)
}

/// A group's six orthonormal motions, R numbers for each node; its centre; R of the orthonormalisation.
type OfGroup = (Vec<Vec<f64>>, [f64; 3], Square<6>);

fn motions_of<const R: usize>(group: &[u32], rigid: &RigidMotions<R>) -> OfGroup {
    let centre = [0, 1, 2].map(|c| {
        let sum: f64 = group.iter().map(|i| rigid.places[*i as usize][c]).sum();
        sum / group.len() as f64
    });
    // Six columns of R m numbers.
    let mut columns = vec![vec![0.0; R * group.len()]; 6];
    for (k, i) in group.iter().enumerate() {
        let i = *i as usize;
        let x = [0, 1, 2].map(|c| rigid.places[i][c] - centre[c]);
        for r in 0..R {
            let own = &rigid.of_node[i][r];
            for c in 0..3 {
                // A unit rotation about axis c through the centre moves the node by c × x.
                let (a, b) = ((c + 1) % 3, (c + 2) % 3);
                columns[c][R * k + r] = own[c];
                columns[3 + c][R * k + r] = own[3 + c] - own[a] * x[b] + own[b] * x[a];
            }
        }
    }
    let left = orthonormalise(&mut columns);
    (columns, centre, left)
}

/// Gram and Schmidt, twice for accuracy; a column that depends on earlier ones becomes zero. Gives R of the columns
/// Q R that there were.
fn orthonormalise(columns: &mut [Vec<f64>]) -> Square<6> {
    /// Shortest rest of a column that still counts as independent.
    const INDEPENDENT: f64 = 1e-4;
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    let mut left = [[0.0; 6]; 6];
    for k in 0..columns.len() {
        let (done, rest) = columns.split_at_mut(k);
        let column = &mut rest[0];
        let before = dot(column, column).sqrt();
        for _ in 0..2 {
            for (d, left) in done.iter().zip(&mut left) {
                let along = dot(d, column);
                left[k] += along;
                column.iter_mut().zip(d).for_each(|(c, d)| *c -= along * d);
            }
        }
        let after = dot(column, column).sqrt();
        let scale = if after > INDEPENDENT * before {
            left[k][k] = after;
            1.0 / after
        } else {
            0.0
        };
        column.iter_mut().for_each(|c| *c *= scale);
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::matrix::node_matrix::unit;

    #[test]
    fn motions_of_a_group_are_orthonormal_and_rigid() {
        let places: Vec<[f64; 3]> = (0..5)
            .map(|i| [f64::from(i * i), 1.0 - f64::from(i), f64::from(i % 2) * 3.0])
            .collect();
        let aggregates = Aggregates {
            of_node: vec![0, 0, 0, 0, 1],
            count: 2,
        };
        let rigid = RigidMotions {
            of_node: vec![unit::<6>(); 5],
            places: places.clone(),
        };
        let (motions, of_groups) = group_motions(&Team::new(1), &aggregates, &rigid);
        let column = |m: usize| -> Vec<f64> {
            let of = motions[..4].iter();
            of.flat_map(|b| (0..6).map(|r| b[r][m]).collect::<Vec<_>>())
                .collect()
        };
        for m in 0..6 {
            for n in 0..6 {
                let dot: f64 = column(m).iter().zip(column(n)).map(|(a, b)| a * b).sum();
                assert!((dot - f64::from(u8::from(m == n))).abs() < 1e-12);
            }
            // Rigid: each node turns like the others and moves as that turning asks.
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
        // A unit motion about the group's centre comes back from the group's unknowns.
        for i in 0..4 {
            let x = [0, 1, 2].map(|c| places[i][c] - of_groups.places[0][c]);
            for m in 0..6 {
                let back = |r: usize| -> f64 {
                    (0..6)
                        .map(|k| motions[i][r][k] * of_groups.of_node[0][k][m])
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
