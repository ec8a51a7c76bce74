//! The rotational level: a coarse space of corners with displacements u and rotations θ, which bends where linear tetrahedra lock.
//!
//! The midside node between corners a and b, at c from the middle of its chord, follows its masters by
//!
//! ```text
//! u_ab  =  (u_a + u_b)/2 + (θ_a − θ_b) × (x_b − x_a)/8 + (θ_a + θ_b)/2 × c
//! ```
//!
//! that is, a cubic along the edge with rotational degrees of freedom at its ends (Allman 1988, Int J Numer Methods Eng 26:2645,
//! in the plane); the last term reproduces rigid rotations on curved edges too. So a cortex or plate one element thick bends,
//! which it would not with four nodes a tetrahedron. The coarse operator is PᵀKP plus a drilling penalty,
//! γ μ V |mean θ − ½ curl u|² of each element (Hughes and Brezzi 1989, Comput Methods Appl Mech Eng 72:105, from memory), since
//! equal rotations of all corners would otherwise cost nothing.

use crate::assembly::{held_components, pattern};
use crate::elements::Elements;
use crate::numbering::{NO_ROW, Numbering};
use crate::shape::EDGES;
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_model::{Elasticity, Problem};
use bicolumn_sparse::kernel::{Kernel, Real, dispatch};
use bicolumn_sparse::node_matrix::NodeRows;
use bicolumn_sparse::{AddedBlocks, Master, NodeMatrix, Prolongation, Team};

/// Drilling penalty γ, a share of the element's shear modulus. From 0.001 to 0.1 iterations are the same.
pub const DRILLING_PENALTY: f64 = 0.1;

/// The prolongation from corners with rotations: the masters of each row. A supported corner neither translates nor rotates; one
/// that is supported in some components rotates all the same.
pub fn rotational_prolongation(problem: &Problem, numbering: &Numbering) -> Prolongation {
    let nodes = &problem.mesh().nodes;
    let mut ends = vec![None; nodes.len()];
    for tet in &problem.mesh().tets {
        for (k, [i, j]) in EDGES.into_iter().enumerate() {
            ends[tet[4 + k] as usize] = Some([tet[i], tet[j]]);
        }
    }
    let rows = numbering.node_of_row.iter().map(|&n| {
        let x = nodes[n as usize];
        let of: Vec<(u32, f32, Vec3)> = match ends[n as usize] {
            None => vec![(n, 1.0, Vec3::zeros())],
            Some([a, b]) => {
                let (xa, xb) = (nodes[a as usize], nodes[b as usize]);
                let (along, off) = ((xb - xa) / 8.0, (x - 0.5 * (xa + xb)) / 2.0);
                vec![(a, 0.5, off + along), (b, 0.5, off - along)]
            }
        };
        let masters = of.into_iter().map(|(corner, weight, arm)| Master {
            node: numbering.coarse_of_node[corner as usize],
            weight,
            arm: [0, 1, 2].map(|c| arm[c] as f32),
        });
        masters.filter(|m| m.node != NO_ROW)
    });
    Prolongation::rotational(rows, numbering.fine_of_coarse.len()).constrained(
        numbering.constrained.clone(),
        numbering.coarse_constrained.clone(),
    )
}

/// The coarse operator PᵀKP on the corners' displacements and rotations, with the drilling penalty and the interface term PᵀCP.
pub fn rotational_matrix(
    team: &Team,
    problem: &Problem,
    numbering: &Numbering,
    elements: &Elements,
    prolongation: &Prolongation,
    interface: Option<&AddedBlocks>,
) -> NodeMatrix<6> {
    let term = interface.map(|added| added.coarsened(prolongation));
    let corners = |t: &[u32; 10]| [0, 1, 2, 3].map(|c| numbering.coarse_of_node[t[c] as usize]);
    let of_tets = problem.mesh().tets.iter().map(corners);
    let of_term = term.iter().flat_map(|t| t.entries());
    let of_term: Vec<[u32; 4]> = of_term
        .map(|(i, j, _)| [i / 2, j / 2, NO_ROW, NO_ROW])
        .collect();
    let couplings = of_tets.chain(of_term.iter().copied());
    let pattern = pattern(team, numbering.fine_of_coarse.len(), couplings);
    let mut matrix = NodeMatrix::assembled(team, &pattern, |rows| {
        dispatch(Assemble {
            problem,
            numbering,
            elements,
            prolongation,
            rows,
        });
    });
    if let Some(term) = &term {
        matrix.add_blocks(term);
    }
    matrix
}

/// Values at the degrees of freedom of an element's corners, six a corner: displacements, then rotations.
type Dofs = [f64; 24];

/// Assembly of all elements into a range of rows, in the elements' order.
struct Assemble<'a, 'b> {
    problem: &'a Problem,
    numbering: &'a Numbering,
    elements: &'a Elements,
    prolongation: &'a Prolongation,
    rows: &'a mut NodeRows<'b, 6>,
}

impl Kernel for Assemble<'_, '_> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let Assemble {
            problem,
            numbering,
            elements,
            prolongation,
            rows,
        } = self;
        for e in elements.each() {
            let tet = elements.tet(e);
            let nodes = &problem.mesh().tets[tet];
            let at = [0, 1, 2, 3].map(|c| numbering.coarse_of_node[nodes[c] as usize]);
            let is_mine = at.map(|p| p != NO_ROW && rows.contains(p));
            if is_mine == [false; 4] {
                continue;
            }
            let law = problem.elasticity_of(tet);
            let masters = masters_of(prolongation, elements.rows_of(e), &at);
            let elastic = elastic_matrix(&law);
            let mut energy = [[0.0; 24]; 24];
            let held = held_components(&numbering.constrained, elements.rows_of(e));
            for (sign, gradients) in elements.gradients(e).signed() {
                let strains = match &held {
                    None => strains_of(gradients, &masters),
                    Some(held) => constrained_strains(gradients, &masters, held),
                };
                add_energy::<FUSED>(&mut energy, &strains, &elastic, sign);
            }
            let corners = [0, 1, 2, 3].map(|c| problem.mesh().nodes[nodes[c] as usize]);
            add_drilling_penalty::<FUSED>(&mut energy, &corners, law.mu);
            if held.is_some() {
                uncouple(&mut energy, &at.map(|p| numbering.coarse_constrained.of(p)));
            }
            for i in (0..4).filter(|i| is_mine[*i]) {
                for j in (0..4).filter(|j| at[*j] != NO_ROW) {
                    let Some(to) = rows.block(at[i], at[j]) else {
                        continue;
                    };
                    // One triangle counts for both, so that the sum is symmetric to the last bit.
                    for r in 0..6 {
                        for c in 0..6 {
                            let is_upper = i < j || (i == j && r <= c);
                            to[r][c] += if is_upper {
                                energy[6 * i + r][6 * j + c]
                            } else {
                                energy[6 * j + c][6 * i + r]
                            };
                        }
                    }
                }
            }
        }
    }
}

/// Weight and lever arm of each corner for the ten nodes of an element.
type Masters = [[(f64, [f64; 3]); 4]; 10];

fn masters_of(prolongation: &Prolongation, rows: &[u32; 10], at: &[u32; 4]) -> Masters {
    let mut out = [[(0.0, [0.0; 3]); 4]; 10];
    for (n, row) in rows.iter().enumerate().filter(|(_, row)| **row != NO_ROW) {
        for f in prolongation.masters(*row as usize) {
            if let Some(k) = at.iter().position(|p| *p == f.node) {
                out[n][k] = (f64::from(f.weight), f.arm.map(f64::from));
            }
        }
    }
    out
}

/// Elasticity matrix in Voigt notation, components xx yy zz xy yz xz with engineering shear strains; the law's matrix is
/// symmetric.
fn elastic_matrix(law: &Elasticity) -> [[f64; 6]; 6] {
    std::array::from_fn(|k| {
        let mut strain = SymTensor::zeros();
        strain.0[k] = if k < 3 { 1.0 } else { 0.5 };
        law.stress(&strain).0.into()
    })
}

/// Strain-displacement matrix B at a point: strain components by degree of freedom of the corners.
#[inline(always)]
fn strains_of(gradients: &[Vec3; 10], masters: &Masters) -> [Dofs; 6] {
    let mut out = [[0.0; 24]; 6];
    for k in 0..4 {
        // Σ w ∇N and Σ v ⊗ ∇N of the corner's weights w and lever arms v.
        let mut by_weight = [0.0; 3];
        let mut by_arm = [[0.0; 3]; 3];
        for (g, of_node) in gradients.iter().zip(masters) {
            let (weight, arm) = of_node[k];
            if weight != 0.0 {
                for c in 0..3 {
                    by_weight[c] += weight * g[c];
                    for r in 0..3 {
                        by_arm[r][c] += arm[r] * g[c];
                    }
                }
            }
        }
        for c in 0..3 {
            let (a, b) = ((c + 1) % 3, (c + 2) % 3);
            // Displacement gradients, row by row: of a unit displacement along c, and of a unit rotation about c, which
            // moves by c × arm.
            let mut slope = [[0.0; 3]; 3];
            slope[c] = by_weight;
            put(&mut out, 6 * k + c, &slope);
            slope[c] = [0.0; 3];
            slope[a] = by_arm[b].map(|v| -v);
            slope[b] = by_arm[a];
            put(&mut out, 6 * k + 3 + c, &slope);
        }
    }
    out
}

/// Strain-displacement matrix as by [`strains_of`], the constrained components of the nodes kept at zero.
fn constrained_strains(
    gradients: &[Vec3; 10],
    masters: &Masters,
    held: &[[bool; 3]; 10],
) -> [Dofs; 6] {
    let mut out = [[0.0; 24]; 6];
    // Displacement component by component, only the nodes that are free along it count.
    for component in 0..3 {
        let free: [Vec3; 10] = std::array::from_fn(|n| {
            if held[n][component] {
                Vec3::zeros()
            } else {
                gradients[n]
            }
        });
        let mut all = [[0.0; 24]; 6];
        for k in 0..4 {
            let (mut moved, mut turned) = (Vec3::zeros(), [Vec3::zeros(); 3]);
            for (g, of_node) in free.iter().zip(masters) {
                let (weight, arm) = of_node[k];
                moved += g * weight;
                (0..3).for_each(|r| turned[r] += g * arm[r]);
            }
            let mut slope = [[0.0; 3]; 3];
            slope[component] = moved.into();
            put(&mut all, 6 * k + component, &slope);
            // A unit rotation about c moves along a by −arm_b and along b by arm_a, (c, a, b) cyclic.
            for c in 0..3 {
                let (a, b) = ((c + 1) % 3, (c + 2) % 3);
                let mut slope = [[0.0; 3]; 3];
                if component == a {
                    slope[a] = (-turned[b]).into();
                } else if component == b {
                    slope[b] = turned[a].into();
                } else {
                    continue;
                }
                put(&mut all, 6 * k + 3 + c, &slope);
            }
        }
        for (out, all) in out.iter_mut().zip(&all) {
            out.iter_mut().zip(all).for_each(|(o, a)| *o += a);
        }
    }
    out
}

/// Rows and columns of the corners' constrained displacements cleared, but for the diagonal.
///
/// The diagonal left there comes from free nodes that follow the corner and from the drilling penalty; where it is
/// nothing, the scaling of the level puts a unit.
fn uncouple(energy: &mut [Dofs; 24], held: &[[bool; 3]; 4]) {
    for (corner, components) in held.iter().enumerate() {
        for c in (0..3).filter(|c| components[*c]) {
            let at = 6 * corner + c;
            let own = energy[at][at];
            energy[at] = [0.0; 24];
            energy.iter_mut().for_each(|row| row[at] = 0.0);
            energy[at][at] = own;
        }
    }
}

/// A column of B from the displacement gradient of a unit degree of freedom.
#[inline(always)]
fn put(strains: &mut [Dofs; 6], at: usize, slope: &[[f64; 3]; 3]) {
    for d in 0..3 {
        strains[d][at] = slope[d][d];
    }
    strains[3][at] = slope[0][1] + slope[1][0];
    strains[4][at] = slope[1][2] + slope[2][1];
    strains[5][at] = slope[0][2] + slope[2][0];
}

/// energy += sign · Bᵀ D B with the elasticity matrix D.
#[inline(always)]
fn add_energy<const FUSED: bool>(
    energy: &mut [Dofs; 24],
    strains: &[Dofs; 6],
    elastic: &[[f64; 6]; 6],
    sign: f64,
) {
    let mut stresses = [[0.0; 24]; 6];
    for s in 0..6 {
        for t in 0..6 {
            let factor = sign * elastic[t][s];
            if factor != 0.0 {
                for u in 0..24 {
                    stresses[s][u] = factor.times_plus::<FUSED>(strains[t][u], stresses[s][u]);
                }
            }
        }
    }
    add_products::<6, FUSED>(energy, strains, &stresses);
}

/// energy += Σ a bᵀ in the blocks on and above the diagonal.
#[inline(always)]
fn add_products<const N: usize, const FUSED: bool>(
    energy: &mut [Dofs; 24],
    a: &[Dofs; N],
    b: &[Dofs; N],
) {
    let (upper, lower) = energy.split_at_mut(12);
    for (i, row) in upper.iter_mut().enumerate() {
        *row = sum_of::<24, N, FUSED>(row, i, a, b);
    }
    for (i, row) in (12..).zip(lower) {
        // Columns 12 and on.
        let Some(last) = row.last_chunk_mut::<12>() else {
            continue;
        };
        *last = sum_of::<12, N, FUSED>(last, i, a, b);
    }
}

/// The last `C` columns of row i of Σ a bᵀ, added to `row` in registers.
#[inline(always)]
fn sum_of<const C: usize, const N: usize, const FUSED: bool>(
    row: &[f64; C],
    i: usize,
    a: &[Dofs; N],
    b: &[Dofs; N],
) -> [f64; C] {
    let mut sum = *row;
    for s in 0..N {
        let factor = a[s][i];
        for u in 0..C {
            sum[u] = factor.times_plus::<FUSED>(b[s][24 - C + u], sum[u]);
        }
    }
    sum
}

/// Adds the drilling penalty γ μ V |mean θ − ½ curl u|².
#[inline(always)]
fn add_drilling_penalty<const FUSED: bool>(energy: &mut [Dofs; 24], corners: &[Vec3; 4], mu: f64) {
    let edges = [1, 2, 3].map(|c| corners[c] - corners[0]);
    let six_volumes = edges[0].dot(&edges[1].cross(&edges[2]));
    let slopes = [
        edges[1].cross(&edges[2]),
        edges[2].cross(&edges[0]),
        edges[0].cross(&edges[1]),
    ];
    let root = (DRILLING_PENALTY * mu * six_volumes.abs() / 6.0).sqrt();
    let inverse = root / six_volumes;
    if !inverse.is_finite() {
        // Corners in a plane have no curl; the element's own energy is bounded all the same.
        return;
    }
    let mut apart = [[0.0; 24]; 3];
    for k in 0..4 {
        let slope = match k {
            0 => -(slopes[0] + slopes[1] + slopes[2]),
            k => slopes[k - 1],
        };
        for c in 0..3 {
            let (a, b) = ((c + 1) % 3, (c + 2) % 3);
            // Half the curl is half the gradient × displacement.
            apart[c][6 * k + b] = -0.5 * inverse * slope[a];
            apart[c][6 * k + a] = 0.5 * inverse * slope[b];
            apart[c][6 * k + 3 + c] = 0.25 * root;
        }
    }
    add_products::<3, FUSED>(energy, &apart, &apart);
}
