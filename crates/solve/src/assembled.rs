//! The stiffness and the loads of a problem as plain sparse matrices, for use outside this engine.
//!
//! Row 3 n + c is component c of mesh node n. No support is applied: with the displacements u of a solution,
//! K u = f in free components, and K u − f is the reaction in constrained ones.

use crate::SolveError;
use crate::assembly::pattern;
use crate::element::{Element, place};
use bicolumn_model::Problem;
use bicolumn_sparse::Team;
use nalgebra_sparse::{CooMatrix, CsrMatrix};

/// Stiffness of all components of all nodes, N/mm, both halves stored; interfaces are not in it.
///
/// # Errors
/// [`SolveError::Inverted`]: the first element that is inside out.
pub fn stiffness_matrix(problem: &Problem) -> Result<CsrMatrix<f64>, SolveError> {
    let mesh = problem.mesh();
    let nodes = mesh.nodes.len();
    let blocks = pattern(&Team::new(1), nodes, mesh.tets.iter().copied());
    let mut values = vec![[[0.0; 3]; 3]; blocks.len()];
    for (t, tet) in mesh.tets.iter().enumerate() {
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        let inverted = |_| SolveError::Inverted {
            tet: t,
            part: mesh.part_of(t).to_string(),
        };
        let stiffness = element
            .stiffness_of(&problem.elasticity_of(t))
            .map_err(inverted)?;
        for (a, i) in tet.iter().enumerate() {
            let first = blocks.starts()[*i as usize];
            let columns = blocks.row(*i as usize);
            for (b, j) in tet.iter().enumerate() {
                let at = first + columns.partition_point(|column| column < j);
                let block = &stiffness[place(a.min(b), a.max(b))];
                for r in 0..3 {
                    for c in 0..3 {
                        let entry = if a <= b { block[r][c] } else { block[c][r] };
                        values[at][r][c] += entry;
                    }
                }
            }
        }
    }
    let mut starts = Vec::with_capacity(3 * nodes + 1);
    let mut columns = Vec::with_capacity(9 * blocks.len());
    let mut entries = Vec::with_capacity(9 * blocks.len());
    starts.push(0);
    for i in 0..nodes {
        let row = blocks.starts()[i]..blocks.starts()[i + 1];
        for r in 0..3 {
            for (j, block) in blocks.row(i).iter().zip(&values[row.clone()]) {
                columns.extend((0..3).map(|c| 3 * *j as usize + c));
                entries.extend(block[r]);
            }
            starts.push(columns.len());
        }
    }
    let size = 3 * nodes;
    // Columns ascend in every row by construction, so that only a fault of this function can be refused.
    CsrMatrix::try_from_csr_data(size, size, starts, columns, entries).map_err(|_| {
        SolveError::NoMemory {
            bytes: 17 * 9 * blocks.len() as u64,
        }
    })
}

/// Nodal forces, N, a column for each load case; displacements of supports are not in it.
pub fn load_matrix(problem: &Problem) -> CsrMatrix<f64> {
    let cases = problem.cases();
    let mut all = CooMatrix::new(3 * problem.mesh().nodes.len(), cases.len());
    for (k, case) in cases.iter().enumerate() {
        for (n, f) in &case.forces {
            (0..3)
                .filter(|c| f[*c] != 0.0)
                .for_each(|c| all.push(3 * *n as usize + c, k, f[c]));
        }
    }
    CsrMatrix::from(&all)
}
