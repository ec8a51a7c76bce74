//! The two halves of a preconditioner against its dense matrix: products of a growing basis, and vectors added on the way.
use crate::support::{Coarse, Lattice, flat, load, two_level};
use bicolumn_sparse::{Analysis, NodeVector, Preconditioner, SparseVector, Team};
use nalgebra::DMatrix;

const BLOCK: Lattice = Lattice([7, 5, 5]);

fn sparse(count: usize) -> Vec<SparseVector> {
    let n = BLOCK.nodes() as u32;
    let vector = |k: u32| {
        let (i, j) = (7 * k % n, (11 * k + 3) % n);
        let size = f64::from(1 + k);
        vec![(i, [size, -0.5, 2.0]), (j, [0.25, 1.0, -size])]
    };
    (0..count as u32).map(vector).collect()
}

fn full(b: &SparseVector) -> NodeVector {
    let mut all = vec![[0.0; 3]; BLOCK.nodes()];
    b.iter().for_each(|(row, v)| all[*row as usize] = *v);
    all
}

/// Largest difference over the largest entry.
fn difference(a: &DMatrix<f64>, b: &DMatrix<f64>) -> f64 {
    (a - b).amax() / b.amax()
}

fn check<P: Preconditioner>(preconditioner: &P, accuracy: f64) {
    let team = Team::new(2);
    let vectors = sparse(21);
    let count = vectors.len();
    let apply = |rhs: &[NodeVector]| preconditioner.finish(&team, preconditioner.begin(&team, rhs));
    let basis_columns: Vec<NodeVector> = vectors.iter().map(full).collect();
    let b = DMatrix::from_columns(&basis_columns.iter().map(|v| flat(v)).collect::<Vec<_>>());
    let images = apply(&basis_columns);
    let images = DMatrix::from_columns(&images.iter().map(|v| flat(v)).collect::<Vec<_>>());
    let exact = b.transpose() * &images;

    // The basis in two parts, the second longer than a group of right-hand sides.
    let mut basis = P::Basis::default();
    let mut rows = preconditioner.extend(&team, &mut basis, vectors[..4].to_vec());
    rows.extend(preconditioner.extend(&team, &mut basis, vectors[4..].to_vec()));
    assert!(
        rows.iter()
            .enumerate()
            .all(|(j, r)| r.len() == if j < 4 { 4 } else { count })
    );
    let products = DMatrix::from_fn(count, count, |i, j| {
        let (low, high) = (i.min(j), i.max(j));
        rows[high][low]
    });
    assert!(difference(&products, &exact) < accuracy);

    // Right-hand sides in two groups, and the same with vectors of the basis added between the halves.
    let rhs: Vec<NodeVector> = (0..11).map(|k| load(BLOCK.nodes(), k)).collect();
    let mut half = preconditioner.begin(&team, &rhs);
    let plain = apply(&rhs);
    let plain = DMatrix::from_columns(&plain.iter().map(|v| flat(v)).collect::<Vec<_>>());
    let first = 3;
    let found = preconditioner.products(&half, &basis, first);
    let found = DMatrix::from_fn(count - first, rhs.len(), |i, k| found[k][i]);
    let expected = (b.transpose() * &plain)
        .rows(first, count - first)
        .into_owned();
    assert!(difference(&found, &expected) < accuracy);
    let coefficients = DMatrix::from_fn(count, rhs.len(), |i, k| (k as f64 - i as f64) / 9.0);
    let lists: Vec<Vec<f64>> = (0..rhs.len())
        .map(|k| coefficients.column(k).iter().copied().collect())
        .collect();
    preconditioner.add(&team, &mut half, &basis, &lists);
    let rough = preconditioner.approximation(&half);
    let whole = preconditioner.finish(&team, half);
    let whole = DMatrix::from_columns(&whole.iter().map(|v| flat(v)).collect::<Vec<_>>());
    let expected = plain + images * coefficients;
    assert!(difference(&whole, &expected) < accuracy);
    // Post-smoothing is all that the approximation lacks.
    let rough = DMatrix::from_columns(&rough.iter().map(|v| flat(v)).collect::<Vec<_>>());
    assert!(difference(&rough, &expected) < 0.2);
}

#[test]
fn products_and_additions_are_those_of_the_whole_two_level_cycle() {
    let team = Team::new(1);
    for kind in [Coarse::Factored, Coarse::Aggregated] {
        let (_, preconditioner) = two_level(&team, BLOCK, BLOCK.springs(10.0, 1.0), kind);
        check(&preconditioner, 1e-5);
    }
}

#[test]
fn products_and_additions_are_those_of_a_factor() {
    let a = BLOCK.springs(10.0, 1.0);
    let factor = Analysis::of(&a.pattern)
        .factor::<f64>(&Team::new(1), &a)
        .unwrap();
    check(&factor, 1e-11);
}
