//! Numbering: mesh nodes and rows of the linear system.

use crate::curve::position;
use crate::masters::master_corners;
use crate::partition::{ChunkRows, Partition};
use bicolumn_base::{Aabb, Vec3};
use bicolumn_model::Problem;
use bicolumn_sparse::{ConstrainedRows, NodeVector, Prolongation};
use std::sync::Arc;

/// Row of a node that is supported in all components (Dirichlet) or belongs to no tetrahedron.
pub const NO_ROW: u32 = u32::MAX;

/// Row numbers of the free nodes, fine (all nodes) and coarse (corners).
///
/// Rows follow the chunks of tetrahedra, and those a space-filling curve, so that neighbours lie near each other in
/// memory: this is what keeps the vectors of a product in cache.
#[derive(Debug, Clone, PartialEq)]
pub struct Numbering {
    /// Fine row of each mesh node.
    pub row_of_node: Vec<u32>,
    /// Mesh node of each fine row.
    pub node_of_row: Vec<u32>,
    /// Coarse row of each corner node.
    pub coarse_of_node: Vec<u32>,
    /// Fine row of each coarse row, increasing.
    pub fine_of_coarse: Vec<u32>,
    /// Constrained components of the fine rows: nodes that supports hold in part.
    pub constrained: ConstrainedRows,
    /// Constrained displacements of the coarse rows.
    pub coarse_constrained: ConstrainedRows,
    /// The coarse rows that each fine row follows.
    pub prolongation: Arc<Prolongation>,
    /// Tetrahedra, chunk by chunk.
    pub partition: Partition,
    /// Rows of each chunk, one after another.
    pub chunks: Vec<ChunkRows>,
}

impl Numbering {
    /// Numbers the free nodes of a problem's mesh.
    pub fn new(problem: &Problem) -> Self {
        let mesh = problem.mesh();
        let mut free = vec![false; mesh.nodes.len()];
        let mut corner = vec![false; mesh.nodes.len()];
        for tet in &mesh.tets {
            for &n in tet {
                free[n as usize] = true;
            }
            for &n in &tet[..4] {
                corner[n as usize] = true;
            }
        }
        for &n in problem.fixed() {
            if let Some(f) = free.get_mut(n as usize) {
                *f = false;
            }
        }
        let partition = Partition::new(mesh);
        // The first chunk that touches a node owns it; does another one touch it, too?
        let mut owner = vec![(NO_ROW, false); mesh.nodes.len()];
        for (chunk, tets) in (0u32..).zip(partition.chunks()) {
            for &n in tets.iter().flat_map(|t| &mesh.tets[*t as usize]) {
                let (first, border) = &mut owner[n as usize];
                if *first == NO_ROW {
                    *first = chunk;
                }
                *border |= *first != chunk;
            }
        }
        let bounds = Aabb::around(&mesh.nodes);
        let mut order: Vec<(u32, bool, u64, u32)> = (0u32..)
            .zip(&mesh.nodes)
            .filter(|(n, _)| free[*n as usize])
            .map(|(n, x)| {
                let (chunk, border) = owner[n as usize];
                (chunk, border, position(&bounds, *x), n)
            })
            .collect();
        order.sort_unstable();
        let first_after = |key: (u32, bool)| order.partition_point(|o| (o.0, o.1) <= key);
        let chunks = (0..partition.len() as u32)
            .map(|chunk| {
                let [inner, end] = [false, true].map(|border| first_after((chunk, border)));
                let start = order.partition_point(|o| o.0 < chunk);
                ChunkRows {
                    inner: start..inner,
                    border: inner..end,
                }
            })
            .collect();
        let node_of_row: Vec<u32> = order.into_iter().map(|o| o.3).collect();
        let mut row_of_node = vec![NO_ROW; mesh.nodes.len()];
        let mut coarse_of_node = vec![NO_ROW; mesh.nodes.len()];
        let mut fine_of_coarse = vec![];
        for (row, &n) in (0u32..).zip(&node_of_row) {
            row_of_node[n as usize] = row;
            if corner[n as usize] {
                coarse_of_node[n as usize] = fine_of_coarse.len() as u32;
                fine_of_coarse.push(row);
            }
        }
        let in_part = problem
            .constraints()
            .iter()
            .filter(|c| row_of_node[c.node as usize] != NO_ROW);
        let on = |rows: &[u32]| {
            let of = in_part
                .clone()
                .map(|c| (rows[c.node as usize], c.components.flags()));
            ConstrainedRows::new(of.filter(|(row, _)| *row != NO_ROW))
        };
        let (constrained, coarse_constrained) = (on(&row_of_node), on(&coarse_of_node));
        let masters = master_corners(problem);
        let of_row = node_of_row.iter().map(|&n| {
            let corners = masters[n as usize].into_iter();
            corners
                .filter(|(corner, _)| *corner != NO_ROW)
                .map(|(corner, weight)| (coarse_of_node[corner as usize], weight))
                .filter(|(row, _)| *row != NO_ROW)
        });
        let prolongation = Prolongation::translational(of_row, fine_of_coarse.len())
            .constrained(constrained.clone(), coarse_constrained.clone());
        let prolongation = Arc::new(prolongation);
        Numbering {
            row_of_node,
            node_of_row,
            coarse_of_node,
            fine_of_coarse,
            constrained,
            coarse_constrained,
            prolongation,
            partition,
            chunks,
        }
    }

    /// Fine rows of a tetrahedron's nodes.
    pub fn rows_of(&self, tet: &[u32; 10]) -> [u32; 10] {
        tet.map(|n| self.row_of_node[n as usize])
    }

    /// Nodal values by row, zero in constrained components; those of supported nodes are left out.
    pub(crate) fn on_rows(&self, nodal: &[Vec3]) -> NodeVector {
        let nodes = self.node_of_row.iter();
        let mut rows: NodeVector = nodes.map(|&n| nodal[n as usize].into()).collect();
        self.constrained.project(&mut rows);
        rows
    }

    /// Nodal values from those by row; zero at supported nodes.
    pub(crate) fn on_nodes(&self, rows: &NodeVector) -> Vec<Vec3> {
        let of_node = self.row_of_node.iter();
        of_node
            .map(|&r| {
                if r == NO_ROW {
                    Vec3::zeros()
                } else {
                    Vec3::from(rows[r as usize])
                }
            })
            .collect()
    }

    /// Number of free nodes.
    pub fn rows(&self) -> usize {
        self.node_of_row.len()
    }
}
