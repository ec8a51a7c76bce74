//! The interface's tangent as blocks between nodes.

use crate::interfaces::Point;
use bicolumn_base::Mat3;
use bicolumn_mesh::FacetPair;
use bicolumn_solve::InterfaceStiffness;

/// Σ_q w Bᵀ D B over the points of each pair, B the jump operator: blocks (b,b) and (a,a) with plus,
/// (a,b) with minus. `slopes` holds D of each point.
pub(crate) fn tangent(
    pairs: &[FacetPair],
    points: &[Point],
    slopes: &[Mat3],
) -> InterfaceStiffness {
    let mut blocks = vec![];
    let runs = points.chunk_by(|p, q| p.pair == q.pair);
    let mut from = 0;
    for run in runs {
        let slopes = &slopes[from..from + run.len()];
        from += run.len();
        if slopes.iter().all(|s| *s == Mat3::zeros()) {
            continue;
        }
        let pair = &pairs[run[0].pair as usize];
        for i in 0..6 {
            for j in i..6 {
                // A node that both sides share has no jump.
                if pair.a[i] == pair.b[i] || pair.a[j] == pair.b[j] {
                    continue;
                }
                let m: Mat3 = run
                    .iter()
                    .zip(slopes)
                    .map(|(p, s)| s * (p.area * p.shape[i] * p.shape[j]))
                    .sum();
                blocks.push((pair.b[i], pair.b[j], m));
                blocks.push((pair.a[i], pair.a[j], m));
                blocks.push((pair.a[i], pair.b[j], -m));
                if i != j {
                    blocks.push((pair.b[i], pair.a[j], -m));
                }
            }
        }
    }
    InterfaceStiffness { blocks }
}
