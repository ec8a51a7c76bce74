//! The interface's tangent as blocks between nodes.

use crate::interfaces::Point;
use bicolumn_base::Mat3;
use bicolumn_solve::InterfaceStiffness;

/// Σ_k A_k Bᵀ D B over the points, B the jump operator: blocks (b,b) and (a,a) with plus, (a,b) with
/// minus. `slopes` holds D of each point.
pub(crate) fn tangent(points: &[Point], slopes: &[Mat3]) -> InterfaceStiffness {
    let mut blocks = vec![];
    for (p, slope) in points.iter().zip(slopes) {
        if *slope == Mat3::zeros() {
            continue;
        }
        for (i, (a, b, w)) in p.stencil.iter().enumerate() {
            for (j, (c, d, v)) in p.stencil.iter().enumerate().skip(i) {
                let m = slope * (p.area * w * v);
                blocks.push((*b, *d, m));
                blocks.push((*a, *c, m));
                blocks.push((*a, *d, -m));
                if i != j {
                    blocks.push((*b, *c, -m));
                }
            }
        }
    }
    InterfaceStiffness { blocks }
}
