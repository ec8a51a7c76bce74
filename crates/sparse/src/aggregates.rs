//! Groups of neighbouring nodes and the rigid motions they make together.

use crate::{Block, FullBlocks};

/// Share of the geometric mean of two diagonal blocks above which a coupling counts as strong.
const STRONG: f64 = 0.04;

/// Which group each row belongs to.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Aggregates {
    pub(crate) of_row: Vec<u32>,
    pub(crate) count: usize,
}

const NONE: u32 = u32::MAX;

impl Aggregates {
    /// Groups rows by strong coupling (Vaněk, Mandel and Brezina 1996, Computing 56:179): whole
    /// neighbourhoods first, then what is left joins the neighbour it is coupled to most.
    pub(crate) fn form(matrix: &FullBlocks<f64>) -> Self {
        let pattern = &matrix.pattern;
        let rows = pattern.rows();
        let couplings = |i: usize| {
            let from = pattern.starts()[i];
            let values = &matrix.values[from..];
            pattern
                .row(i)
                .iter()
                .zip(values)
                .map(|(j, b)| (*j, size(b)))
        };
        let own: Vec<f64> = (0..rows)
            .map(|i| {
                let of = couplings(i).find(|(j, _)| *j as usize == i);
                of.map_or(0.0, |(_, s)| s)
            })
            .collect();
        let strong = |i: usize| {
            couplings(i).filter(move |(j, _)| *j as usize != i).filter({
                let own = &own;
                move |(j, s)| *s > STRONG * (own[i] * own[*j as usize]).sqrt()
            })
        };
        let mut of_row = vec![NONE; rows];
        let mut count = 0;
        for i in 0..rows {
            let free = |j: usize| of_row[j] == NONE;
            if free(i) && strong(i).all(|(j, _)| free(j as usize)) && strong(i).next().is_some() {
                let members: Vec<u32> = strong(i).map(|(j, _)| j).collect();
                of_row[i] = count;
                members.into_iter().for_each(|j| of_row[j as usize] = count);
                count += 1;
            }
        }
        // The rest: to the group of the strongest neighbour, weak ones too where no other has one.
        let first: Vec<u32> = of_row.clone();
        for i in (0..rows).filter(|i| first[*i] == NONE) {
            let grouped = couplings(i).filter(|(j, _)| first[*j as usize] != NONE);
            let best = grouped.reduce(|a, b| if b.1 > a.1 { b } else { a });
            if let Some((j, _)) = best {
                of_row[i] = first[j as usize];
            }
        }
        for i in 0..rows {
            if of_row[i] == NONE {
                of_row[i] = count;
                let alone = couplings(i).map(|(j, _)| j as usize);
                let members: Vec<usize> = alone.filter(|j| of_row[*j] == NONE).collect();
                members.into_iter().for_each(|j| of_row[j] = count);
                count += 1;
            }
        }
        Aggregates {
            of_row,
            count: count as usize,
        }
    }
}

fn size(b: &Block<f64>) -> f64 {
    b.iter().flatten().map(|v| v * v).sum::<f64>().sqrt()
}

/// A node's displacement under six motions of its group: two blocks of three columns.
pub(crate) type Motions = [Block<f64>; 2];

/// The six rigid motions of each group, made orthonormal over its nodes; motions that a small group
/// cannot tell apart are nought.
pub(crate) fn rigid_motions(aggregates: &Aggregates, places: &[[f64; 3]]) -> Vec<Motions> {
    let mut members: Vec<Vec<u32>> = vec![vec![]; aggregates.count];
    for (i, g) in (0u32..).zip(&aggregates.of_row) {
        members[*g as usize].push(i);
    }
    let mut motions = vec![[[[0.0; 3]; 3]; 2]; places.len()];
    for group in members {
        let centre = [0, 1, 2].map(|c| {
            let sum: f64 = group.iter().map(|i| places[*i as usize][c]).sum();
            sum / group.len() as f64
        });
        // Six columns of 3 m numbers.
        let mut columns = vec![vec![0.0; 3 * group.len()]; 6];
        for (k, i) in group.iter().enumerate() {
            let x = [0, 1, 2].map(|c| places[*i as usize][c] - centre[c]);
            for c in 0..3 {
                columns[c][3 * k + c] = 1.0;
                // Unit rotation about axis c.
                let (a, b) = ((c + 1) % 3, (c + 2) % 3);
                columns[3 + c][3 * k + a] = -x[b];
                columns[3 + c][3 * k + b] = x[a];
            }
        }
        orthonormalise(&mut columns);
        for (k, i) in group.iter().enumerate() {
            for (m, column) in columns.iter().enumerate() {
                for c in 0..3 {
                    motions[*i as usize][m / 3][c][m % 3] = column[3 * k + c];
                }
            }
        }
    }
    motions
}

/// Modified Gram-Schmidt, twice; dependent columns become nought.
fn orthonormalise(columns: &mut [Vec<f64>]) {
    /// Part of a column that must be left for it to count as independent.
    const INDEPENDENT: f64 = 1e-4;
    let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
    for k in 0..columns.len() {
        let (done, rest) = columns.split_at_mut(k);
        let column = &mut rest[0];
        let before = dot(column, column).sqrt();
        for _ in 0..2 {
            for d in done.iter() {
                let along = dot(d, column);
                column.iter_mut().zip(d).for_each(|(c, d)| *c -= along * d);
            }
        }
        let after = dot(column, column).sqrt();
        let scale = if after > INDEPENDENT * before {
            1.0 / after
        } else {
            0.0
        };
        column.iter_mut().for_each(|c| *c *= scale);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn motions_of_a_group_are_orthonormal_and_rigid() {
        let places: Vec<[f64; 3]> = (0..5)
            .map(|i| [f64::from(i * i), 1.0 - f64::from(i), f64::from(i % 2) * 3.0])
            .collect();
        let aggregates = Aggregates {
            of_row: vec![0, 0, 0, 0, 1],
            count: 2,
        };
        let motions = rigid_motions(&aggregates, &places);
        let column = |m: usize| -> Vec<f64> {
            let of = motions[..4].iter();
            of.flat_map(|b| [0, 1, 2].map(|c| b[m / 3][c][m % 3]))
                .collect()
        };
        for m in 0..6 {
            for n in 0..6 {
                let dot: f64 = column(m).iter().zip(column(n)).map(|(a, b)| a * b).sum();
                assert!((dot - f64::from(u8::from(m == n))).abs() < 1e-12);
            }
            // Rigid: distances do not change to first order.
            let u = column(m);
            for i in 0..4 {
                for j in 0..i {
                    let change: f64 = (0..3)
                        .map(|c| (places[i][c] - places[j][c]) * (u[3 * i + c] - u[3 * j + c]))
                        .sum();
                    assert!(change.abs() < 1e-12);
                }
            }
        }
        // A single node only translates.
        assert_eq!(motions[4][1], [[0.0; 3]; 3]);
        assert_eq!(
            motions[4][0],
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]]
        );
    }
}
