//! Matrices of nodes with three or six degrees of freedom against their dense counterparts.
use crate::support::{Lattice, dense, flat, load};
use bicolumn_sparse::columns::interleave;
use bicolumn_sparse::{AddedBlocks, NodeBlocks, NodeMatrix, NodeVector, Pattern, Product, Team};
use nalgebra::DMatrix;

const BLOCK: Lattice = Lattice([3, 4, 3]);

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
fn both_halves_of_a_block_matrix_are_stored_and_multiplied_with() {
    let team = Team::new(2);
    let a = BLOCK.springs(10.0, 1.0);
    let nodes = NodeMatrix::of(&team, &a);
    assert_eq!(dense_nodes(&nodes), dense(&a));
    assert_eq!(nodes.len(), a.pattern.len());
    let rounded = NodeBlocks::rounded(&team, &nodes);
    let vectors: Vec<NodeVector> = (0..4).map(|k| load(BLOCK.nodes(), k)).collect();
    let slices: Vec<&[[f64; 3]]> = vectors.iter().map(Vec::as_slice).collect();
    let x: Vec<_> = interleave::<4>(&slices)
        .iter()
        .map(|v| v.map(|r| r.map(|v| v as f32)))
        .collect();
    let mut y = x.clone();
    rounded.multiply(&team, &x, &mut vec![], &mut y);
    for (k, v) in vectors.iter().enumerate() {
        let exact = dense(&a) * flat(v);
        for (r, e) in exact.iter().enumerate() {
            assert!((f64::from(y[r / 3][r % 3][k]) - e).abs() < 1e-5 * exact.amax());
        }
    }
}

#[test]
fn assembly_by_rows_is_that_of_the_dense_matrix_for_any_number_of_threads() {
    // A chain of nodes with six degrees of freedom, its blocks symmetric by formula.
    let n = 40;
    let mut starts = vec![0];
    let mut columns = vec![];
    for i in 0usize..n {
        columns.extend((i.saturating_sub(1)..(i + 2).min(n)).map(|j| j as u32));
        starts.push(columns.len());
    }
    let pattern = Pattern::new(starts, columns);
    let value = |i: usize, j: usize| ((i + j) * (i * j + 1) % 17) as f64;
    let run = |threads| {
        NodeMatrix::<6>::assembled(&Team::new(threads), &pattern, |rows| {
            for i in 0..n as u32 {
                if !rows.contains(i) {
                    continue;
                }
                for j in i.saturating_sub(1)..(i + 2).min(n as u32) {
                    let to = rows.block(i, j).unwrap();
                    for x in 0..36 {
                        to[x / 6][x % 6] += value(6 * i as usize + x / 6, 6 * j as usize + x % 6);
                    }
                }
            }
        })
    };
    let mut a = run(1);
    assert_eq!(dense_nodes(&a), dense_nodes(&run(3)));
    let exact = DMatrix::from_fn(6 * n, 6 * n, |r, c| {
        if (r / 6).abs_diff(c / 6) < 2 {
            value(r, c)
        } else {
            0.0
        }
    });
    assert_eq!(dense_nodes(&a), exact);
    // Blocks of three by three are added where they belong; those outside the pattern are left out.
    let b = [[1.0, 2.0, 3.0], [4.0, 5.0, 6.0], [7.0, 8.0, 9.0]];
    a.add_blocks(&AddedBlocks::new([(3, 4, b), (0, 50, b)]));
    let mut added = exact;
    for x in 0..9 {
        added[(9 + x / 3, 12 + x % 3)] += b[x / 3][x % 3];
        added[(12 + x % 3, 9 + x / 3)] += b[x / 3][x % 3];
    }
    assert_eq!(dense_nodes(&a), added);
}
