//! Right-hand sides: load cases that are multiples of one another are solved once.

use crate::InterfaceStiffness;
use crate::balance::internal_forces;
use crate::numbering::{NO_ROW, Numbering};
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_sparse::NodeVector;

/// Relative difference up to which two load vectors are multiples of each other: rounding, no more.
const SAME: f64 = 1e-13;

/// The distinct right-hand sides, and each case as a multiple of one of them.
///
/// A case with prescribed displacements ū is solved for v = u − ū, which vanishes where u is prescribed:
/// K v = f − K ū on the free components.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadVectors {
    /// Right-hand sides on the free rows.
    pub distinct: Vec<NodeVector>,
    /// For each case: index in `distinct` and factor; `None` for a case without load on free nodes.
    pub of_case: Vec<Option<(usize, f64)>>,
    /// Prescribed displacements of each case that are not zero, by node, mm.
    pub prescribed: Vec<Vec<(u32, Vec3)>>,
}

impl LoadVectors {
    /// The right-hand sides of the load cases of a problem, for the system K + C.
    pub fn new(
        problem: &Problem,
        interface: Option<&InterfaceStiffness>,
        numbering: &Numbering,
    ) -> Self {
        let mut distinct: Vec<NodeVector> = vec![];
        let mut of_case = vec![];
        let mut prescribed = vec![];
        for (k, case) in problem.cases().iter().enumerate() {
            let mut vector = vec![[0.0; 3]; numbering.rows()];
            for (n, f) in &case.forces {
                let row = numbering.row_of_node[*n as usize];
                if row != NO_ROW {
                    for c in 0..3 {
                        vector[row as usize][c] += f[c];
                    }
                }
            }
            let moved = problem.prescribed(k);
            if !moved.is_empty() {
                let mut u = vec![Vec3::zeros(); problem.mesh().nodes.len()];
                moved.iter().for_each(|(n, v)| u[*n as usize] = *v);
                let mut forces = internal_forces(problem, &u);
                if let Some(interface) = interface {
                    interface.add_forces(&u, &mut forces);
                }
                for (to, n) in vector.iter_mut().zip(&numbering.node_of_row) {
                    (0..3).for_each(|c| to[c] -= forces[*n as usize][c]);
                }
            }
            prescribed.push(moved);
            numbering.constrained.project(&mut vector);
            if vector.iter().flatten().all(|&v| v == 0.0) {
                of_case.push(None);
                continue;
            }
            let found = (0..distinct.len())
                .find_map(|k| multiple(&distinct[k], &vector).map(|factor| (k, factor)));
            of_case.push(Some(found.unwrap_or_else(|| {
                distinct.push(vector);
                (distinct.len() - 1, 1.0)
            })));
        }
        LoadVectors {
            distinct,
            of_case,
            prescribed,
        }
    }
}

/// The factor with b = factor · a, if there is one.
fn multiple(a: &NodeVector, b: &NodeVector) -> Option<f64> {
    let (a, b) = (a.as_flattened(), b.as_flattened());
    let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
    for (x, y) in a.iter().zip(b) {
        ab += x * y;
        aa += x * x;
        bb += y * y;
    }
    let factor = ab / aa;
    let rest: f64 = a.iter().zip(b).map(|(x, y)| (y - factor * x).powi(2)).sum();
    // An exact sign or scale is kept exact: −1 must not become −1 ± ε.
    let rounded = factor.round();
    let factor = if (factor - rounded).abs() < SAME {
        rounded
    } else {
        factor
    };
    (rest <= SAME * SAME * bb).then_some(factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn multiples_are_found_and_others_are_not() {
        let a: NodeVector = vec![[1.0, 2.0, -3.0], [0.1, 0.0, 0.7]];
        let scaled: NodeVector = a.iter().map(|n| n.map(|v| -2.5 * v)).collect();
        assert!((multiple(&a, &scaled).unwrap() + 2.5).abs() < 1e-15);
        let opposite: NodeVector = a.iter().map(|n| n.map(|v| -v)).collect();
        assert_eq!(multiple(&a, &opposite), Some(-1.0));
        let mut other = scaled;
        other[1][1] = 1e-9;
        assert_eq!(multiple(&a, &other), None);
    }
}
