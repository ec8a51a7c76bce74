//! The level of corners that turn as well as move, which can bend where a linear one locks.
//!
//! Between corners a and b that turn by θa and θb, the middle of their edge lies at the mean of their places, moved
//! by (θa − θb) × (xb − xa) / 8: a cubic along the edge with these slopes at its ends (Allman 1988, Int J Numer Methods
//! Eng 26:2645, in the plane). A middle that lies off its chord by c goes (θa + θb) / 2 × c farther, so that rigid
//! rotations are reproduced on curved edges too. A cortex or plate one element thick bends like that, and with four
//! nodes a tetrahedron it would not.

use crate::assembly::pattern;
use crate::elements::Elements;
use crate::numbering::{NO_ROW, Numbering};
use crate::shape::EDGES;
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_model::{Elasticity, Problem};
use bicolumn_sparse::kernel::{Hot, Real, dispatch};
use bicolumn_sparse::node_matrix::NodeRows;
use bicolumn_sparse::{AddedBlocks, Follows, NodeMatrix, Prolongation, Team};

/// What binds rotations to the mean rotation of the element around: this share of its shear modulus. Without it, equal
/// rotations of all corners would cost nothing. From 0.001 to 0.1 iterations are the same.
pub const BINDING: f64 = 0.1;

/// How each row follows the corners. A held corner neither moves nor turns.
pub fn turning_corners(problem: &Problem, numbering: &Numbering) -> Prolongation {
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
        let free = of.into_iter().map(|(corner, weight, arm)| Follows {
            node: numbering.coarse_of_node[corner as usize],
            weight,
            arm: [0, 1, 2].map(|c| arm[c] as f32),
        });
        free.filter(|f| f.node != NO_ROW)
    });
    Prolongation::turning(rows, numbering.fine_of_coarse.len())
}

/// PᵀKP on the corners' displacements and rotations, and the binding of the rotations; room for what an interface adds.
pub fn turning_matrix(
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

/// A number for each unknown of an element's corners, six a corner: displacements, then rotations.
type Unknowns = [f64; 24];

/// All elements' parts of some rows, in the elements' order.
struct Assemble<'a, 'b> {
    problem: &'a Problem,
    numbering: &'a Numbering,
    elements: &'a Elements,
    prolongation: &'a Prolongation,
    rows: &'a mut NodeRows<'b, 6>,
}

impl Hot for Assemble<'_, '_> {
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
            let follows = followed(prolongation, elements.rows_of(e), &at);
            let elastic = elastic_matrix(&law);
            let mut energy = [[0.0; 24]; 24];
            for (sign, gradients) in elements.gradients(e).signed() {
                let strains = strains_of(gradients, &follows);
                add_energy::<FUSED>(&mut energy, &strains, &elastic, sign);
            }
            let corners = [0, 1, 2, 3].map(|c| problem.mesh().nodes[nodes[c] as usize]);
            bind::<FUSED>(&mut energy, &corners, law.mu);
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

/// How an element's ten nodes follow its corners: weight and arm.
type Followed = [[(f64, [f64; 3]); 4]; 10];

fn followed(prolongation: &Prolongation, rows: &[u32; 10], at: &[u32; 4]) -> Followed {
    let mut out = [[(0.0, [0.0; 3]); 4]; 10];
    for (n, row) in rows.iter().enumerate().filter(|(_, row)| **row != NO_ROW) {
        for f in prolongation.followed(*row as usize) {
            if let Some(k) = at.iter().position(|p| *p == f.node) {
                out[n][k] = (f64::from(f.weight), f.arm.map(f64::from));
            }
        }
    }
    out
}

/// Stress by strain, both xx yy zz xy yz xz, the latter three strains doubled.
fn elastic_matrix(law: &Elasticity) -> [[f64; 6]; 6] {
    std::array::from_fn(|k| {
        let mut strain = SymTensor::zeros();
        strain.0[k] = if k < 3 { 1.0 } else { 0.5 };
        law.stress(&strain).0.into()
    })
}

/// Strains, by component, that each unknown makes at a point.
#[inline(always)]
fn strains_of(gradients: &[Vec3; 10], follows: &Followed) -> [Unknowns; 6] {
    let mut out = [[0.0; 24]; 6];
    for k in 0..4 {
        // Gradient of what a unit displacement of the corner does, and the arms' products with gradients.
        let mut moved = [0.0; 3];
        let mut turned = [[0.0; 3]; 3];
        for (g, of_node) in gradients.iter().zip(follows) {
            let (weight, arm) = of_node[k];
            if weight != 0.0 {
                for c in 0..3 {
                    moved[c] += weight * g[c];
                    for r in 0..3 {
                        turned[r][c] += arm[r] * g[c];
                    }
                }
            }
        }
        for c in 0..3 {
            let (a, b) = ((c + 1) % 3, (c + 2) % 3);
            // Displacement gradients, row by row: of a unit displacement along c, and of a unit rotation about c, which
            // moves by c × arm.
            let mut slope = [[0.0; 3]; 3];
            slope[c] = moved;
            put(&mut out, 6 * k + c, &slope);
            slope[c] = [0.0; 3];
            slope[a] = turned[b].map(|v| -v);
            slope[b] = turned[a];
            put(&mut out, 6 * k + 3 + c, &slope);
        }
    }
    out
}

#[inline(always)]
fn put(strains: &mut [Unknowns; 6], at: usize, slope: &[[f64; 3]; 3]) {
    for d in 0..3 {
        strains[d][at] = slope[d][d];
    }
    strains[3][at] = slope[0][1] + slope[1][0];
    strains[4][at] = slope[1][2] + slope[2][1];
    strains[5][at] = slope[0][2] + slope[2][0];
}

/// Adds sign · strainsᵀ · elastic · strains.
#[inline(always)]
fn add_energy<const FUSED: bool>(
    energy: &mut [Unknowns; 24],
    strains: &[Unknowns; 6],
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

/// energy += Σ a bᵀ, as far as it is above the diagonal, and some more.
#[inline(always)]
fn add_products<const N: usize, const FUSED: bool>(
    energy: &mut [Unknowns; 24],
    a: &[Unknowns; N],
    b: &[Unknowns; N],
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

/// Row i of Σ a bᵀ, its last `C` columns, added to what there is; in registers.
#[inline(always)]
fn sum_of<const C: usize, const N: usize, const FUSED: bool>(
    row: &[f64; C],
    i: usize,
    a: &[Unknowns; N],
    b: &[Unknowns; N],
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

/// Adds BINDING μ V |mean of the corners' rotations − half the curl|².
#[inline(always)]
fn bind<const FUSED: bool>(energy: &mut [Unknowns; 24], corners: &[Vec3; 4], mu: f64) {
    let edges = [1, 2, 3].map(|c| corners[c] - corners[0]);
    let six_volumes = edges[0].dot(&edges[1].cross(&edges[2]));
    let slopes = [
        edges[1].cross(&edges[2]),
        edges[2].cross(&edges[0]),
        edges[0].cross(&edges[1]),
    ];
    let root = (BINDING * mu * six_volumes.abs() / 6.0).sqrt();
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
