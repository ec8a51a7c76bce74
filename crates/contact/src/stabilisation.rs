//! Stiffness of springs between the sides of interfaces, which stabilises the preconditioner of parts that nothing but
//! interfaces holds.

use crate::point::Point;
use bicolumn_base::Mat3;
use bicolumn_solve::InterfaceStiffness;

/// Interface stiffness Σ_k A_k Bᵀ D B over the points, B the jump operator: blocks (b,b) and (a,a) with plus, (a,b) with
/// minus. `stiffnesses` holds D of each point.
pub(crate) fn stiffness_of_springs(points: &[Point], stiffnesses: &[Mat3]) -> InterfaceStiffness {
    let mut blocks = vec![];
    for (p, stiffness) in points.iter().zip(stiffnesses) {
        if *stiffness == Mat3::zeros() {
            continue;
        }
        for (i, (a, b, w)) in p.stencil.iter().enumerate() {
            for (j, (c, d, v)) in p.stencil.iter().enumerate().skip(i) {
                let m = stiffness * (p.area * w * v);
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
