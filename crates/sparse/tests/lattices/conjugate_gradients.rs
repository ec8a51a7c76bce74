//! Preconditioned block conjugate gradients against dense algebra: many, dependent and zero right-hand sides, guesses, near-singular
//! matrices, rounding floors, refusals.
use crate::support::{Coarse, Lattice, dense, flat, load, two_level};
use bicolumn_sparse::rounding::floors;
use bicolumn_sparse::{
    AddedBlocks, Limits, NodeVector, Operator, SparseError, Team, conjugate_gradients,
};
use nalgebra::DVector;

const BLOCK: Lattice = Lattice([5, 5, 5]);

fn limits(tolerance: f64) -> Limits {
    Limits {
        tolerance,
        max_iterations: 200,
    }
}

fn relative(a: &NodeVector, exact: &DVector<f64>) -> f64 {
    (flat(a) - exact).norm() / exact.norm()
}

#[test]
fn solutions_are_those_of_the_dense_matrix_for_any_number_of_right_hand_sides() {
    let team = Team::new(2);
    for (a, most) in [(BLOCK.laplacian(), 14), (BLOCK.springs(100.0, 1.0), 14)] {
        let exact = dense(&a).cholesky().unwrap();
        for kind in [Coarse::Factored, Coarse::Aggregated] {
            let (matrix, preconditioner) = two_level(&team, BLOCK, a.clone(), kind);
            for count in [1, 2, 3, 5, 9] {
                let b: Vec<NodeVector> = (0..count).map(|k| load(BLOCK.nodes(), k)).collect();
                let operator = Operator::of(&*matrix);
                let limits = limits(1e-10);
                let (x, report) =
                    conjugate_gradients(&team, &operator, &preconditioner, &b, None, &limits)
                        .unwrap();
                assert!(report.iterations <= most, "{kind:?} {}", report.iterations);
                assert_eq!((x.len(), report.residuals.len()), (count, count));
                for (k, (x, b)) in x.iter().zip(&b).enumerate() {
                    let r = flat(b) - dense(&a) * flat(x);
                    let residual = r.norm() / flat(b).norm();
                    assert!(residual < 1.01e-10, "{residual}");
                    // Both are computed from x, each with the rounding of its sums: γ_n |A| |x| with n terms a row
                    // (Higham 2002, Accuracy and Stability, equation 3.5), 27 neighbours of three components.
                    let gamma = 81.0 * f64::EPSILON;
                    let sums = dense(&a).abs() * flat(x).abs();
                    let rounding = 2.0 * gamma * sums.norm() / flat(b).norm();
                    let off = (report.residuals[k] - residual).abs();
                    assert!(
                        off < 1e-3 * residual + rounding,
                        "{off} {residual} {rounding}"
                    );
                    assert!(relative(x, &exact.solve(&flat(b))) < 1e-8);
                }
            }
        }
    }
}

#[test]
fn dependent_and_zero_right_hand_sides_are_solved_beside_the_others() {
    let team = Team::new(1);
    let a = BLOCK.springs(100.0, 1.0);
    let exact = dense(&a).cholesky().unwrap();
    let (matrix, preconditioner) = two_level(&team, BLOCK, a, Coarse::Factored);
    let (p, q) = (load(BLOCK.nodes(), 0), load(BLOCK.nodes(), 1));
    let combined = |s: f64, t: f64| -> NodeVector {
        p.iter()
            .zip(&q)
            .map(|(p, q)| [0, 1, 2].map(|c| s * p[c] + t * q[c]))
            .collect()
    };
    // Twice the same, a combination of two, one of very different size, and none at all.
    let b = vec![
        combined(1.0, 0.0),
        combined(1.0, 0.0),
        combined(0.0, 1.0),
        combined(0.3, -2.0),
        combined(1e-9, 1e-9),
        combined(0.0, 0.0),
    ];
    let operator = Operator::of(&*matrix);
    let (x, report) =
        conjugate_gradients(&team, &operator, &preconditioner, &b, None, &limits(1e-10)).unwrap();
    for (x, b) in x.iter().zip(&b).take(5) {
        assert!(relative(x, &exact.solve(&flat(b))) < 1e-8);
    }
    assert!(x[5].iter().flatten().all(|v| *v == 0.0));
    assert_eq!((report.residuals[5], report.floors[5]), (0.0, 0.0));
    // Alone, too.
    let (x, report) = conjugate_gradients(
        &team,
        &operator,
        &preconditioner,
        &b[5..],
        None,
        &limits(1e-10),
    )
    .unwrap();
    assert!(x[0].iter().flatten().all(|v| *v == 0.0));
    assert_eq!(report.iterations, 0);
}

#[test]
fn an_exact_guess_takes_no_iteration_and_a_near_one_few() {
    let team = Team::new(1);
    let a = BLOCK.springs(10.0, 1.0);
    let exact = dense(&a).cholesky().unwrap();
    let (matrix, preconditioner) = two_level(&team, BLOCK, a, Coarse::Factored);
    let b = vec![load(BLOCK.nodes(), 3)];
    let operator = Operator::of(&*matrix);
    let run = |guess: Option<&[NodeVector]>| {
        conjugate_gradients(&team, &operator, &preconditioner, &b, guess, &limits(1e-9)).unwrap()
    };
    let (_, from_zero) = run(None);
    let solution = crate::support::by_node(&exact.solve(&flat(&b[0])));
    let (x, at_once) = run(Some(std::slice::from_ref(&solution)));
    assert_eq!(at_once.iterations, 0);
    assert!(
        x[0].iter()
            .flatten()
            .zip(solution.iter().flatten())
            .all(|(a, b)| (a - b).abs() < 1e-12)
    );
    let near: NodeVector = solution
        .iter()
        .map(|v| v.map(|v| v * (1.0 + 1e-5)))
        .collect();
    let (_, few) = run(Some(&[near]));
    assert!(
        few.iterations < from_zero.iterations,
        "{} {}",
        few.iterations,
        from_zero.iterations
    );
}

#[test]
fn a_term_of_few_blocks_is_solved_with_the_preconditioner_of_the_matrix_alone() {
    let team = Team::new(1);
    let a = BLOCK.springs(10.0, 1.0);
    let spring = [[4.0, 1.0, 0.0], [1.0, 3.0, 0.0], [0.0, 0.0, 2.0]];
    let minus = spring.map(|r: [f64; 3]| r.map(|v| -v));
    let added = AddedBlocks::new([(7, 7, spring), (90, 90, spring), (7, 90, minus)]);
    let mut all = dense(&a);
    for (i, j, b) in added.entries() {
        for x in 0..9 {
            all[(3 * i as usize + x / 3, 3 * j as usize + x % 3)] += b[x / 3][x % 3];
        }
    }
    let (matrix, preconditioner) = two_level(&team, BLOCK, a, Coarse::Factored);
    let b = vec![load(BLOCK.nodes(), 0), load(BLOCK.nodes(), 1)];
    let operator = Operator {
        matrix: &*matrix,
        added: Some(&added),
    };
    let (x, _) =
        conjugate_gradients(&team, &operator, &preconditioner, &b, None, &limits(1e-10)).unwrap();
    let exact = all.cholesky().unwrap();
    for (x, b) in x.iter().zip(&b) {
        assert!(relative(x, &exact.solve(&flat(b))) < 1e-8);
    }
}

#[test]
fn a_nearly_singular_matrix_is_solved_to_its_rounding_floor_and_says_so() {
    let team = Team::new(2);
    // The whole lattice hangs on springs of 1e-7: rigid motion strains nothing, yet its rounding does.
    let a = BLOCK.springs(1e3, 1e-7);
    let (matrix, preconditioner) = two_level(&team, BLOCK, a.clone(), Coarse::Factored);
    let mut pull = vec![[0.0; 3]; BLOCK.nodes()];
    pull[BLOCK.nodes() - 1] = [1.0, -0.5, 0.25];
    let b = vec![pull];
    let operator = Operator::of(&*matrix);
    let (x, report) =
        conjugate_gradients(&team, &operator, &preconditioner, &b, None, &limits(1e-12)).unwrap();
    assert!(report.at_floor[0] && report.floors[0] > 1e-12, "{report:?}");
    assert!(report.residuals[0] <= report.floors[0]);
    // The true residual, computed by nalgebra, and the floor written out: 2 u ‖|A||x| + |b|‖ / ‖b‖.
    let (a, x, b) = (dense(&a), flat(&x[0]), flat(&b[0]));
    let residual = (&b - &a * &x).norm() / b.norm();
    let floor = f64::EPSILON * (a.abs() * x.abs() + b.abs()).norm() / b.norm();
    assert!(residual <= 1.5 * floor, "{residual} {floor}");
    assert!((report.floors[0] / floor - 1.0).abs() < 1e-3);
}

#[test]
fn floors_do_not_depend_on_the_threads_and_are_zero_without_a_load() {
    let (matrix, _) = two_level(&Team::new(1), BLOCK, BLOCK.laplacian(), Coarse::Factored);
    let vectors = [load(BLOCK.nodes(), 0), vec![[0.0; 3]; BLOCK.nodes()]];
    let slices: Vec<&[[f64; 3]]> = vectors.iter().map(Vec::as_slice).collect();
    let x = bicolumn_sparse::columns::interleave::<2>(&slices);
    let operator = Operator::of(&*matrix);
    let [one, three] = [1, 3].map(|t| floors(&Team::new(t), &operator, &x, &x));
    assert_eq!(one.map(f64::to_bits), three.map(f64::to_bits));
    assert!(one[0] > 0.0 && one[1] == 0.0);
}

#[test]
fn an_indefinite_matrix_and_too_few_iterations_are_refused_with_the_reason() {
    let team = Team::new(1);
    let (matrix, preconditioner) = two_level(&team, BLOCK, BLOCK.laplacian(), Coarse::Factored);
    let b = vec![load(BLOCK.nodes(), 0)];
    let minus = [[-60.0, 0.0, 0.0], [0.0, -60.0, 0.0], [0.0, 0.0, -60.0]];
    let added = AddedBlocks::new([(62, 62, minus)]);
    let operator = Operator {
        matrix: &*matrix,
        added: Some(&added),
    };
    let refused = |operator: &Operator<'_, _>, limits: &Limits| match conjugate_gradients(
        &team,
        operator,
        &preconditioner,
        &b,
        None,
        limits,
    ) {
        Err(SparseError::NotConverged { reason, .. }) => reason,
        other => panic!("{other:?}"),
    };
    let reason = refused(&operator, &limits(1e-10));
    assert!(reason.contains("not positive definite"), "{reason}");
    let few = Limits {
        tolerance: 1e-10,
        max_iterations: 3,
    };
    let reason = refused(&Operator::of(&*matrix), &few);
    assert!(reason.contains("allowed number of iterations"), "{reason}");
}

#[test]
fn same_bits_for_any_number_of_threads() {
    // More nodes than a chunk of parallel work.
    let lattice = Lattice([17, 13, 11]);
    let a = lattice.springs(100.0, 1.0);
    for kind in [Coarse::Factored, Coarse::Aggregated] {
        let run = |threads| {
            let team = Team::new(threads);
            let (matrix, preconditioner) = two_level(&team, lattice, a.clone(), kind);
            let b: Vec<NodeVector> = (0..3).map(|k| load(lattice.nodes(), k)).collect();
            let operator = Operator::of(&*matrix);
            conjugate_gradients(&team, &operator, &preconditioner, &b, None, &limits(1e-9)).unwrap()
        };
        let one = run(1);
        assert!(one == run(2) && one == run(3));
    }
}
