//! The level of corners that turn as well as move, which can bend where a linear one locks.
//!
//! Between corners a and b that turn by θa and θb, the middle of their edge lies at the mean of their places, moved
//! by (θa − θb) × (xb − xa) / 8: a cubic along the edge with these slopes at its ends (Allman 1988, Int J Numer Methods
//! Eng 26:2645, in the plane). A middle that lies off its chord by c goes (θa + θb) / 2 × c farther, so that rigid
//! rotations are reproduced on curved edges too. A cortex or plate one element thick bends like that, and with four
//! nodes a tetrahedron it would not.

use crate::assembly::{Rows, assembled, pattern};
use crate::element::{place, stiffness_from};
use crate::elements::Elements;
use crate::numbering::{NO_ROW, Numbering};
use crate::shape::EDGES;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_model::Problem;
use bicolumn_sparse::{Block, Follows, Pattern, Prolongation, SymmetricBlocks, Team};

/// What binds rotations to the mean rotation of the element around: this share of its shear modulus. Without it, equal
/// rotations of all corners would cost nothing. From 0.001 to 0.1 iterations are the same.
const BINDING: f64 = 0.1;

/// How each row follows the corners. A held corner neither moves nor turns.
pub fn turning_corners(problem: &Problem, numbering: &Numbering) -> Prolongation {
    let nodes = &problem.mesh.nodes;
    let mut ends = vec![None; nodes.len()];
    for tet in &problem.mesh.tets {
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

/// PᵀKP on the corners' displacements and rotations, two block rows each, and the binding of the rotations.
pub fn turning_matrix(
    team: &Team,
    problem: &Problem,
    numbering: &Numbering,
    elements: &Elements,
    prolongation: &Prolongation,
) -> SymmetricBlocks {
    let corners = |t: &[u32; 10]| [0, 1, 2, 3].map(|c| numbering.coarse_of_node[t[c] as usize]);
    let tets = problem.mesh.tets.iter().map(corners);
    let single = pattern(team, numbering.fine_of_coarse.len(), tets);
    assembled(team, doubled(&single), |job| {
        for e in elements.each() {
            let nodes = &problem.mesh.tets[elements.tet(e)];
            let at = corners(nodes);
            let mut free = at.iter().filter(|p| **p != NO_ROW);
            if free.any(|p| job.contains(2 * p) || job.contains(2 * p + 1)) {
                let local = Local::new(problem, elements, prolongation, e, &at);
                local.add_to(job);
            }
        }
    })
}

/// Two rows and two columns for each.
fn doubled(single: &Pattern) -> Pattern {
    let mut starts = Vec::with_capacity(2 * single.rows() + 1);
    let mut columns = Vec::with_capacity(4 * single.len());
    starts.push(0);
    for i in 0..single.rows() {
        for _ in 0..2 {
            columns.extend(single.row(i).iter().flat_map(|j| [2 * j, 2 * j + 1]));
            starts.push(columns.len());
        }
    }
    Pattern::new(starts, columns)
}

/// One element's part.
struct Local {
    /// Corners' coarse nodes.
    at: [u32; 4],
    /// Blocks (a, b) for unknowns 2 k, displacement of corner k, and 2 k + 1, its rotation; a ≤ b.
    blocks: [[Mat3; 8]; 8],
}

impl Local {
    fn new(
        problem: &Problem,
        elements: &Elements,
        prolongation: &Prolongation,
        e: usize,
        at: &[u32; 4],
    ) -> Self {
        let law = problem.elasticity_of(elements.tet(e));
        let stiffness = stiffness_from(&elements.gradients(e), &law);
        let block = |a: usize, b: usize| {
            // `Mat3::from` reads columns: the transpose of the row-wise block.
            if a <= b {
                Mat3::from(stiffness[place(a, b)]).transpose()
            } else {
                Mat3::from(stiffness[place(b, a)])
            }
        };
        let rows = elements.rows_of(e);
        // What each node does with each unknown, few of them.
        let mut moves: [Vec<(usize, Mat3)>; 8] = Default::default();
        for (n, row) in rows.iter().enumerate().filter(|(_, row)| **row != NO_ROW) {
            for f in prolongation.followed(*row as usize) {
                let Some(k) = at.iter().position(|p| *p == f.node) else {
                    continue;
                };
                moves[2 * k].push((n, Mat3::identity() * f64::from(f.weight)));
                if n >= 4 {
                    let arm = Vec3::from(f.arm.map(f64::from));
                    // θ × v.
                    moves[2 * k + 1].push((n, -arm.cross_matrix()));
                }
            }
        }
        let mut blocks = [[Mat3::zeros(); 8]; 8];
        for b in 0..8 {
            let forces: [Mat3; 10] = std::array::from_fn(|n| {
                let all = moves[b].iter();
                all.map(|(m, does)| block(n, *m) * does).sum()
            });
            for a in 0..=b {
                let all = moves[a].iter();
                blocks[a][b] = all.map(|(n, does)| does.tr_mul(&forces[*n])).sum();
            }
        }
        let mut local = Local { at: *at, blocks };
        local.bind(problem, elements.tet(e), law.mu);
        local
    }

    /// Adds BINDING μ V |mean of the corners' rotations − half the curl|².
    fn bind(&mut self, problem: &Problem, tet: usize, mu: f64) {
        let corners = [0, 1, 2, 3].map(|c| {
            let node = problem.mesh.tets[tet][c];
            problem.mesh.nodes[node as usize]
        });
        let edges = [1, 2, 3].map(|c| corners[c] - corners[0]);
        let six_volumes = edges[0].dot(&edges[1].cross(&edges[2]));
        let gradients = [
            edges[1].cross(&edges[2]) / six_volumes,
            edges[2].cross(&edges[0]) / six_volumes,
            edges[0].cross(&edges[1]) / six_volumes,
        ];
        let scale = BINDING * mu * six_volumes.abs() / 6.0;
        if !scale.is_finite() || gradients.iter().any(|g| !g.norm().is_finite()) {
            return;
        }
        let of: [Mat3; 8] = std::array::from_fn(|a| {
            let gradient = match a / 2 {
                0 => -(gradients[0] + gradients[1] + gradients[2]),
                k => gradients[k - 1],
            };
            if a % 2 == 0 {
                -0.5 * gradient.cross_matrix()
            } else {
                0.25 * Mat3::identity()
            }
        });
        for a in 0..8 {
            for b in a..8 {
                self.blocks[a][b] += of[a].tr_mul(&of[b]) * scale;
            }
        }
    }

    fn add_to(&self, rows: &mut Rows<'_>) {
        let row = |a: usize| match self.at[a / 2] {
            NO_ROW => NO_ROW,
            p => 2 * p + (a % 2) as u32,
        };
        for a in 0..8 {
            for b in a..8 {
                let m = &self.blocks[a][b];
                let block: Block<f64> = [0, 1, 2].map(|r| [0, 1, 2].map(|c| m[(r, c)]));
                rows.add(row(a), row(b), &block);
            }
        }
    }
}
