//! Right-hand sides: load cases that are multiples of one another are solved once.

use crate::numbering::{NO_ROW, Numbering};
use bicolumn_model::LoadCase;
use bicolumn_sparse::NodeVector;

/// Relative difference up to which two load vectors are multiples of each other: rounding, no more.
const SAME: f64 = 1e-13;

/// The distinct right-hand sides, and each case as a multiple of one of them.
#[derive(Debug, Clone, PartialEq)]
pub struct LoadVectors {
    /// Right-hand sides on the free rows.
    pub distinct: Vec<NodeVector>,
    /// For each case: index in `distinct` and factor; `None` for a case without load on free nodes.
    pub of_case: Vec<Option<(usize, f64)>>,
}

impl LoadVectors {
    /// The right-hand sides of load cases.
    pub fn new(cases: &[LoadCase], numbering: &Numbering) -> Self {
        let mut distinct: Vec<NodeVector> = vec![];
        let mut of_case = vec![];
        for case in cases {
            let mut vector = vec![[0.0; 3]; numbering.rows()];
            for (n, f) in &case.forces {
                let row = numbering.row_of_node[*n as usize];
                if row != NO_ROW {
                    for c in 0..3 {
                        vector[row as usize][c] += f[c];
                    }
                }
            }
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
        LoadVectors { distinct, of_case }
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
