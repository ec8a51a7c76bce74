//! The stiffness as products element by element, against the matrix with entries.
#![allow(clippy::unwrap_used)]

use crate::support::{SOFT, STIFF, box_mesh, held_box, material};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::{Elasticity, Problem, TransverseIsotropy};
use bicolumn_solve::assembly::{coarse_matrix, fine_matrix};
use bicolumn_solve::elements::Elements;
use bicolumn_solve::numbering::{NO_ROW, Numbering};
use bicolumn_solve::rotational::{DRILLING_PENALTY, rotational_matrix, rotational_prolongation};
use bicolumn_sparse::{
    Local, Magnitudes, Matrix, NodeColumns, Order, Product, Prolongation, SymmetricBlocks, Team,
};
use std::sync::Arc;

/// Two materials, one of them with an axis, edges bent by `bend`; many chunks of tetrahedra.
fn model(bend: f64) -> Problem {
    let half = |x: Vec3| if x.x < 1.5 { SOFT } else { STIFF };
    let mut mesh = box_mesh([6, 20, 6], Vec3::new(3.0, 9.0, 3.0), 0.3, half);
    for (k, x) in mesh.nodes.iter_mut().enumerate().skip(mesh.vertex_count) {
        // In one half, so that there are straight and curved elements.
        let bend = |d: f64| {
            if x.y < 4.5 {
                0.0
            } else {
                bend * (k as f64 * d).sin()
            }
        };
        let off = Vec3::new(bend(1.0), bend(1.7), bend(2.3));
        *x += off;
    }
    let problem = held_box(
        mesh,
        vec![material(1000.0, 0.3), material(1.0, 0.3)],
        &[(Vec3::x(), Vec3::zeros())],
    );
    let bone = TransverseIsotropy::cortical().along(Vec3::new(0.3, 1.0, -0.2));
    let soft = Elasticity::isotropic(300.0, 0.25);
    problem
        .with_elasticity(|_, _, centroid| if centroid.x < 1.5 { soft } else { bone })
        .unwrap()
}

struct Both {
    elements: Elements,
    stored: SymmetricBlocks,
    numbering: Numbering,
    problem: Problem,
}

fn both(team: &Team, bend: f64) -> Both {
    let problem = model(bend);
    let numbering = Numbering::new(&problem);
    let elements = Elements::new(team, &problem, &numbering).unwrap();
    let stored = fine_matrix(team, &problem, &numbering, &elements);
    Both {
        elements,
        stored,
        numbering,
        problem,
    }
}

fn random<const W: usize>(rows: usize) -> Vec<NodeColumns<f64, W>> {
    let value = |k: usize| ((k * k % 1013) as f64 / 1013.0 - 0.5) * (1.0 + (k % 7) as f64);
    (0..rows)
        .map(|i| [0, 1, 2].map(|c| std::array::from_fn(|k| value(W * (3 * i + c) + k))))
        .collect()
}

fn largest_difference<const W: usize>(a: &[NodeColumns<f64, W>], b: &[NodeColumns<f64, W>]) -> f64 {
    let flat = |v: &[NodeColumns<f64, W>]| v.as_flattened().as_flattened().to_vec();
    let (a, b) = (flat(a), flat(b));
    let size = a.iter().map(|v| v.abs()).fold(0.0, f64::max);
    a.iter()
        .zip(&b)
        .map(|(a, b)| (a - b).abs())
        .fold(0.0, f64::max)
        / size
}

fn check<const W: usize>(both: &Both, team: &Team) {
    let x = random::<W>(both.stored.rows());
    let (mut a, mut b) = (x.clone(), x.clone());
    both.stored.multiply(team, &x, &mut vec![], &mut a);
    Product::<f64>::multiply(&both.elements, team, &x, &mut vec![], &mut b);
    let off = largest_difference(&a, &b);
    assert!(off < 1e-13, "{off}");
}

/// In single precision.
fn single_product<const W: usize>(
    both: &Both,
    team: &Team,
    x: &[NodeColumns<f64, W>],
) -> Vec<NodeColumns<f64, W>> {
    let x: Vec<NodeColumns<f32, W>> = x.iter().map(|v| v.map(|c| c.map(|v| v as f32))).collect();
    let mut y = x.clone();
    Product::<f32>::multiply(&both.elements, team, &x, &mut vec![], &mut y);
    y.iter().map(|v| v.map(|c| c.map(f64::from))).collect()
}

fn check_single<const W: usize>(both: &Both, team: &Team, tolerance: f64) {
    let x = random::<W>(both.stored.rows());
    let mut a = x.clone();
    both.stored.multiply(team, &x, &mut vec![], &mut a);
    let off = largest_difference(&a, &single_product(both, team, &x));
    assert!(off < tolerance, "{off}");
}

#[test]
fn products_in_single_precision_are_rounded_ones() {
    let team = Team::new(2);
    let straight = both(&team, 0.0);
    assert!(straight.elements.curved() == [0.0; 2]);
    check_single::<1>(&straight, &team, 1e-5);
    check_single::<2>(&straight, &team, 1e-5);
    check_single::<4>(&straight, &team, 1e-5);
    check_single::<8>(&straight, &team, 1e-5);
    let curved = both(&team, 0.02);
    let [gentle, strong] = curved.elements.curved();
    assert!(gentle > 0.1 && strong > 0.1 && gentle + strong < 0.999);
    check_single::<4>(&curved, &team, 1e-5);
}

#[test]
fn products_are_those_of_the_matrix_with_entries() {
    let team = Team::new(2);
    let both = both(&team, 0.01);
    assert!(both.numbering.partition.len() > 1);
    check::<1>(&both, &team);
    check::<2>(&both, &team);
    check::<4>(&both, &team);
    check::<8>(&both, &team);
}

#[test]
fn products_have_the_same_bits_for_any_number_of_threads() {
    let of = |threads| {
        let team = Team::new(threads);
        let both = both(&team, 0.01);
        let x = random::<4>(both.stored.rows());
        let mut y = x.clone();
        Product::<f64>::multiply(&both.elements, &team, &x, &mut vec![], &mut y);
        let bits = |v: &NodeColumns<f64, 4>| v.map(|c| c.map(f64::to_bits));
        y.iter().map(bits).collect::<Vec<_>>()
    };
    assert!(of(1) == of(3));
}

#[test]
fn diagonal_and_sizes_are_those_of_the_entries() {
    let team = Team::new(2);
    let both = both(&team, 0.01);
    for (row, block) in both.elements.diagonal(&team).iter().enumerate() {
        let exact = both.stored.diagonal(row);
        let size = exact
            .as_flattened()
            .iter()
            .fold(0.0f64, |m, v| m.max(v.abs()));
        let pairs = block.as_flattened().iter().zip(exact.as_flattened());
        pairs.for_each(|(a, b)| assert!((a - b).abs() < 1e-13 * size));
    }
    // Sizes of the entries of all elements add up to no less than those of their sums; on the whole the signs within
    // a row of elements agree, and it is not much more.
    let x = random::<2>(both.stored.rows());
    let sum = |v: Vec<NodeColumns<f64, 2>>| {
        v.iter()
            .flatten()
            .flatten()
            .map(|v| v * v)
            .sum::<f64>()
            .sqrt()
    };
    let by_elements = both.elements.magnitudes(&team, &x);
    let stored = both.stored.magnitudes(&team, &x);
    for (a, b) in by_elements
        .iter()
        .flatten()
        .flatten()
        .zip(stored.iter().flatten().flatten())
    {
        // Summed in single precision: what rounding costs need not be known better.
        assert!(*a >= b * (1.0 - 1e-5));
    }
    let ratio = sum(by_elements) / sum(stored);
    assert!(ratio < 1.6, "{ratio}");
}

#[test]
fn a_region_is_multiplied_as_the_whole() {
    let team = Team::new(1);
    let both = both(&team, 0.01);
    let rows = both.elements.rows();
    // A row, what it is coupled to, and what that is coupled to.
    let mut region = vec![rows as u32 / 2];
    for _ in 0..2 {
        let near: Vec<u32> = region
            .iter()
            .flat_map(|r| both.elements.neighbours(*r))
            .collect();
        region.extend(near);
        region.sort_unstable();
        region.dedup();
    }
    let inner: Vec<u32> = both.elements.neighbours(rows as u32 / 2).collect();
    let mut places = vec![u32::MAX; rows];
    for (k, r) in region.iter().enumerate() {
        places[*r as usize] = k as u32;
    }
    let mut x = vec![[0.0; 3]; region.len()];
    let mut whole = vec![[[0.0; 1]; 3]; rows];
    for r in &inner {
        let value = [1.0, -0.3, 0.1 * f64::from(*r % 5)];
        x[places[*r as usize] as usize] = value;
        whole[*r as usize] = value.map(|v| [v]);
    }
    let mut y = whole.clone();
    both.stored.multiply(&team, &whole, &mut vec![], &mut y);
    let part = both.elements.part(&region, &places);
    let mut r = vec![[0.0; 3]; region.len()];
    both.elements.subtract(&part, &x, &mut r);
    let size = y
        .as_flattened()
        .as_flattened()
        .iter()
        .fold(0.0f64, |m, v| m.max(v.abs()));
    for (row, y) in y.iter().enumerate() {
        let got = r.get(places[row] as usize).copied().unwrap_or([0.0; 3]);
        (0..3).for_each(|c| assert!((got[c] + y[c][0]).abs() < 1e-12 * size));
    }
}

#[test]
fn the_coarse_matrix_has_the_energy_of_interpolated_motions() {
    let team = Team::new(2);
    let both = both(&team, 0.01);
    let coarse = coarse_matrix(&team, &both.problem, &both.numbering, &both.elements);
    let x = random::<1>(coarse.rows());
    let mut fine = vec![[[0.0; 1]; 3]; both.stored.rows()];
    for (row, to) in fine.iter_mut().enumerate() {
        for f in both.numbering.prolongation.masters(row) {
            (0..3).for_each(|c| to[c][0] += f64::from(f.weight) * x[f.node as usize][c][0]);
        }
    }
    let energy = |a: &SymmetricBlocks, x: &[NodeColumns<f64, 1>]| {
        let mut y = x.to_vec();
        a.multiply(&team, x, &mut vec![], &mut y);
        let pairs = x.iter().flatten().zip(y.iter().flatten());
        pairs.map(|(x, y)| x[0] * y[0]).sum::<f64>()
    };
    let ratio = energy(&coarse, &x) / energy(&both.stored, &fine);
    assert!((ratio - 1.0).abs() < 1e-12, "{ratio}");
}

/// P times a coarse vector.
fn interpolated(
    both: &Both,
    p: &Prolongation,
    x: &[NodeColumns<f64, 1>],
) -> Vec<NodeColumns<f64, 1>> {
    let mut fine = vec![[[0.0; 1]; 3]; both.stored.rows()];
    for (row, to) in fine.iter_mut().enumerate() {
        for (at, block) in p.row(row) {
            for k in 0..9 {
                to[k / 3][0] += block[k / 3][k % 3] * x[at as usize][k % 3][0];
            }
        }
    }
    fine
}

#[test]
fn the_rotational_matrix_has_the_energy_of_interpolated_displacements_and_of_the_drilling_penalty()
{
    let team = Team::new(2);
    let both = both(&team, 0.01);
    let p = rotational_prolongation(&both.problem, &both.numbering);
    let matrix = rotational_matrix(
        &team,
        &both.problem,
        &both.numbering,
        &both.elements,
        &p,
        None,
    );
    let x = random::<1>(p.coarse_rows());
    let unknown = |n: usize, k: usize| x[2 * n + k / 3][k % 3][0];
    let mut coarse = 0.0;
    for n in 0..matrix.nodes() {
        for (m, block) in matrix.row(n) {
            for k in 0..36 {
                coarse += unknown(n, k / 6) * block[k / 6][k % 6] * unknown(m as usize, k % 6);
            }
        }
    }
    // |mean rotation − half the curl|², from the formula alone.
    let mut penalty = 0.0;
    let mesh = both.problem.mesh();
    for (t, tet) in mesh.tets.iter().enumerate() {
        let corners = [0, 1, 2, 3].map(|c| mesh.nodes[tet[c] as usize]);
        let edges = Mat3::from_columns(&[1, 2, 3].map(|c| corners[c] - corners[0]));
        let slopes = edges.try_inverse().unwrap();
        let mut apart = Vec3::zeros();
        for c in 0..4 {
            let node = both.numbering.coarse_of_node[tet[c] as usize];
            if node != NO_ROW {
                let slope = match c {
                    0 => -(0..3).map(|k| slopes.row(k).transpose()).sum::<Vec3>(),
                    c => slopes.row(c - 1).transpose(),
                };
                let of = |k: usize| unknown(node as usize, k);
                let (u, turn) = (
                    Vec3::new(of(0), of(1), of(2)),
                    Vec3::new(of(3), of(4), of(5)),
                );
                apart += 0.25 * turn - 0.5 * slope.cross(&u);
            }
        }
        let volume = edges.determinant() / 6.0;
        let mu = both.problem.elasticity_of(t).mu;
        penalty += DRILLING_PENALTY * mu * volume * apart.norm_squared();
    }
    let fine = interpolated(&both, &p, &x);
    let mut y = fine.clone();
    both.stored.multiply(&team, &fine, &mut vec![], &mut y);
    let pairs = fine.iter().flatten().zip(y.iter().flatten());
    let energy: f64 = pairs.map(|(x, y)| x[0] * y[0]).sum();
    assert!(penalty > 1e-4 * energy, "{penalty} {energy}");
    let ratio = coarse / (energy + penalty);
    assert!((ratio - 1.0).abs() < 1e-11, "{ratio}");
}

#[test]
fn corners_that_turn_rigidly_or_bend_carry_the_middles_exactly() {
    let both = both(&Team::new(1), 0.01);
    let p = rotational_prolongation(&both.problem, &both.numbering);
    let nodes = &both.problem.mesh().nodes;
    let turn = Vec3::new(0.3, -0.2, 0.5);
    let node_of = |row: u32| nodes[both.numbering.node_of_row[row as usize] as usize];
    let columns = |v: Vec3| [[v.x], [v.y], [v.z]];
    let places = both.numbering.fine_of_coarse.iter().map(|r| node_of(*r));
    let rigid: Vec<_> = places
        .clone()
        .flat_map(|x| [columns(turn.cross(&x)), columns(turn)])
        .collect();
    // Pure bending of the middles' straight half: w = y² / 2 along z turns by y about x.
    let bent: Vec<_> = places
        .flat_map(|x| {
            [
                columns(Vec3::new(0.0, 0.0, 0.5 * x.y * x.y)),
                columns(Vec3::new(x.y, 0.0, 0.0)),
            ]
        })
        .collect();
    let (rigid, bent) = (
        interpolated(&both, &p, &rigid),
        interpolated(&both, &p, &bent),
    );
    let mut straight = 0;
    for row in 0..both.stored.rows() {
        if p.masters(row).map(|f| f64::from(f.weight)).sum::<f64>() < 0.9 {
            continue; // One of its corners is held.
        }
        let x = node_of(row as u32);
        let expected = turn.cross(&x);
        for c in 0..3 {
            assert!((rigid[row][c][0] - expected[c]).abs() < 1e-5, "{x:?}");
        }
        if x.y < 4.0 {
            straight += 1;
            assert!((bent[row][2][0] - 0.5 * x.y * x.y).abs() < 1e-5, "{x:?}");
        }
    }
    assert!(straight > 100);
}

#[test]
fn an_inverted_tetrahedron_is_named() {
    let problem = model(0.01);
    let mut mesh = (*problem.mesh()).clone();
    mesh.tets[77].swap(0, 1);
    let problem = problem.with_mesh(Arc::new(mesh)).unwrap();
    let numbering = Numbering::new(&problem);
    let refused = Elements::new(&Team::new(2), &problem, &numbering);
    assert_eq!(refused.unwrap_err().0, 77);
}
