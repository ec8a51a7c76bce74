//! Multifrontal Cholesky factors and their substitution against dense algebra on lattices.
use crate::support::{Lattice, dense, flat, load};
use bicolumn_sparse::columns::{column, interleave};
use bicolumn_sparse::refinement::refined_direct;
use bicolumn_sparse::{Analysis, BlockCholesky, Limits, NodeVector, Operator, SparseError, Team};

#[test]
fn substitution_with_many_right_hand_sides_is_that_of_the_dense_matrix() {
    let team = Team::new(2);
    for lattice in [Lattice([1, 1, 1]), Lattice([9, 1, 1]), Lattice([6, 5, 7])] {
        for a in [lattice.laplacian(), lattice.springs(1e3, 1.0)] {
            let Some(exact) = dense(&a).cholesky() else {
                // A row of springs has no stiffness across.
                assert_eq!(lattice.0[1], 1);
                continue;
            };
            let factor: BlockCholesky<f64> = Analysis::of(&a.pattern).factor(&team, &a).unwrap();
            assert_eq!(factor.rows(), lattice.nodes());
            let rhs: Vec<NodeVector> = (0..8).map(|k| load(lattice.nodes(), k)).collect();
            let slices: Vec<&[[f64; 3]]> = rhs.iter().map(Vec::as_slice).collect();
            let mut x = interleave::<8>(&slices);
            factor.solve(&team, &mut x);
            for (k, b) in rhs.iter().enumerate() {
                let error = flat(&column(&x, k)) - exact.solve(&flat(b));
                assert!(error.amax() < 1e-9, "{lattice:?} {}", error.amax());
            }
        }
    }
}

#[test]
fn refinement_recovers_the_digits_that_a_bad_condition_costs() {
    let lattice = Lattice([6, 5, 7]);
    let a = lattice.springs(1e6, 1e-3);
    let team = Team::new(1);
    let factor: BlockCholesky<f64> = Analysis::of(&a.pattern).factor(&team, &a).unwrap();
    let rhs: Vec<NodeVector> = (0..3).map(|k| load(lattice.nodes(), k)).collect();
    let limits = Limits {
        tolerance: 1e-14,
        max_iterations: 0,
    };
    let (x, report) = refined_direct(&team, &Operator::of(&a), &factor, &rhs, &limits).unwrap();
    let matrix = dense(&a);
    for (k, (x, b)) in x.iter().zip(&rhs).enumerate() {
        let (x, b) = (flat(x), flat(b));
        let residual = (&b - &matrix * &x).norm() / b.norm();
        let floor = f64::EPSILON * (matrix.abs() * x.abs() + b.abs()).norm() / b.norm();
        assert!((report.floors[k] / floor - 1.0).abs() < 1e-6);
        assert!(residual < 1.5 * floor.max(1e-14), "{residual} {floor}");
        assert_eq!(report.at_floor[k], report.residuals[k] > 1e-14);
    }
}

#[test]
fn refinement_with_the_factor_of_another_matrix_does_not_converge_and_says_so() {
    let lattice = Lattice([4, 4, 4]);
    let (a, other) = (lattice.springs(1.0, 1.0), lattice.springs(40.0, 3.0));
    let team = Team::new(1);
    let factor: BlockCholesky<f64> = Analysis::of(&other.pattern).factor(&team, &other).unwrap();
    let limits = Limits {
        tolerance: 1e-12,
        max_iterations: 0,
    };
    let rhs = [load(lattice.nodes(), 0)];
    let error = refined_direct(&team, &Operator::of(&a), &factor, &rhs, &limits).unwrap_err();
    assert!(
        matches!(&error, SparseError::NotConverged { reason, .. } if reason.contains("refinement")),
        "{error:?}"
    );
}
