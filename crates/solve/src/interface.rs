//! Stiffness that an interface adds between mesh nodes: contact, friction, springs.

use crate::numbering::{NO_ROW, Numbering};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_sparse::{AddedBlocks, projected};

/// A symmetric stiffness term on few nodes, N/mm.
///
/// Made of blocks (i, j, B) of node pairs: B couples the force at i with the motion of j; for i ≠ j the
/// transpose at (j, i) is understood. A spring k along n between two nodes is the three blocks
/// (i, i, k n nᵀ), (j, j, k n nᵀ), (i, j, −k n nᵀ).
#[derive(Debug, Clone, Default, PartialEq)]
pub struct InterfaceStiffness {
    /// Blocks (node, node, stiffness); several at one place add up.
    pub blocks: Vec<(u32, u32, Mat3)>,
}

impl InterfaceStiffness {
    /// Adds C u to nodal forces, N.
    pub(crate) fn add_forces(&self, u: &[Vec3], forces: &mut [Vec3]) {
        for (i, j, b) in &self.blocks {
            forces[*i as usize] += b * u[*j as usize];
            if i != j {
                forces[*j as usize] += b.transpose() * u[*i as usize];
            }
        }
    }

    /// The blocks on the rows of a system, projected onto the free components; those of supported nodes drop out.
    pub(crate) fn on_rows(&self, numbering: &Numbering) -> AddedBlocks {
        let row = |n: u32| numbering.row_of_node.get(n as usize).copied();
        AddedBlocks::new(self.blocks.iter().filter_map(|(i, j, b)| {
            let (i, j) = (row(*i)?, row(*j)?);
            let b = [0, 1, 2].map(|r| [0, 1, 2].map(|c| b[(r, c)]));
            (i != NO_ROW && j != NO_ROW).then(|| {
                let held = &numbering.constrained;
                (i, j, projected(&b, held.of(i), held.of(j)))
            })
        }))
    }
}
