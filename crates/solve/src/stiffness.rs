//! The stiffness of a model, its interfaces included: what is solved with.

use crate::elements::{Elements, Precision, Within};
use bicolumn_sparse::columns::add;
use bicolumn_sparse::{
    AddedBlocks, Block, Epilogue, Local, Magnitudes, Matrix, NodeColumns, Operator, Order, Product,
    Team,
};

/// K + C, of elements and interfaces.
#[derive(Debug)]
pub(crate) struct Stiffness {
    pub(crate) elements: Elements,
    /// C; empty: no interface.
    pub(crate) interface: AddedBlocks,
}

impl Stiffness {
    /// The interface term, if there is one.
    pub(crate) fn added(&self) -> Option<&AddedBlocks> {
        (!self.interface.is_empty()).then_some(&self.interface)
    }
}

impl Order for Stiffness {
    fn rows(&self) -> usize {
        self.elements.rows()
    }
}

impl<T: Precision> Product<T> for Stiffness {
    fn multiply_with<const W: usize, R: Epilogue<T, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<T, W>],
        scratch: &mut Vec<NodeColumns<T, W>>,
        rows: R,
    ) {
        self.elements
            .for_rows_and(&self.interface, team, x, scratch, rows);
    }
}

impl Magnitudes for Stiffness {
    fn magnitudes<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
    ) -> Vec<NodeColumns<f64, W>> {
        Operator {
            matrix: &self.elements,
            added: self.added(),
        }
        .magnitudes(team, x)
    }
}

/// Elements and interface blocks within a region.
#[derive(Debug)]
pub(crate) struct Region {
    elements: Within,
    blocks: Vec<(u32, u32, Block<f64>)>,
}

impl Local for Stiffness {
    type Part = Region;

    fn neighbours(&self, row: u32) -> impl Iterator<Item = u32> {
        let near = self.elements.neighbours(row);
        near.chain(self.interface.row(row).map(|(column, _)| column))
    }

    fn part(&self, region: &[u32], places: &[u32]) -> Region {
        let mut blocks = vec![];
        for (k, row) in (0u32..).zip(region) {
            let inside = |j: &u32| places.get(*j as usize).copied();
            let of_row = self.interface.row(*row);
            blocks.extend(of_row.filter_map(|(j, b)| {
                let place = inside(&j).filter(|p| (*p as usize) < region.len())?;
                Some((k, place, *b))
            }));
        }
        Region {
            elements: self.elements.part(region, places),
            blocks,
        }
    }

    fn subtract(&self, part: &Region, x: &[[f64; 3]], r: &mut [[f64; 3]]) {
        self.elements.subtract(&part.elements, x, r);
        for (i, j, b) in &part.blocks {
            let (to, from) = (&mut r[*i as usize], &x[*j as usize]);
            for c in 0..3 {
                to[c] -= (0..3).map(|k| b[c][k] * from[k]).sum::<f64>();
            }
        }
    }
}

impl Matrix for Stiffness {
    fn diagonal(&self, team: &Team) -> Vec<Block<f64>> {
        let mut blocks = self.elements.diagonal(team);
        for (i, _, b) in self.interface.entries().filter(|(i, j, _)| i == j) {
            add(&mut blocks[i as usize], b);
        }
        blocks
    }

    fn bytes(&self) -> u64 {
        self.elements.bytes()
    }

    fn scratch_bytes(&self, width: usize, number: usize) -> u64 {
        self.elements.scratch_bytes(width, number)
    }
}
