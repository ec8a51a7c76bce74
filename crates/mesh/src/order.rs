//! Numbering for locality: vertices along a space-filling curve, tetrahedra by their vertices.
//!
//! Cutting appends vertices far from their neighbours; a solver that walks the mesh in order wants
//! them together. The Z-order curve (Morton 1966) is enough.

use bicolumn_base::{Aabb, Vec3};

/// Renumbers vertices (with their surfaces) and tetrahedra (with their labels) in place.
pub(crate) fn renumber(
    position: &mut Vec<Vec3>,
    on: &mut Vec<u128>,
    tets: &mut Vec<[u32; 4]>,
    label: &mut Vec<u8>,
) {
    let bounds = Aabb::around(position.iter());
    let extent = (bounds.max - bounds.min).max();
    let scale = if extent > 0.0 {
        2_097_151.0 / extent
    } else {
        0.0
    };
    let mut order: Vec<(u64, u32)> = position
        .iter()
        .enumerate()
        .map(|(v, p)| (morton((p - bounds.min) * scale), v as u32))
        .collect();
    order.sort_unstable();
    let mut number = vec![0u32; position.len()];
    for (new, (_, old)) in order.iter().enumerate() {
        number[*old as usize] = new as u32;
    }
    *position = order.iter().map(|(_, v)| position[*v as usize]).collect();
    *on = order.iter().map(|(_, v)| on[*v as usize]).collect();

    let mut sorted: Vec<([u32; 4], [u32; 4], u8)> = tets
        .iter()
        .zip(label.iter())
        .map(|(t, l)| {
            let t = t.map(|v| number[v as usize]);
            let mut key = t;
            key.sort_unstable();
            (key, t, *l)
        })
        .collect();
    sorted.sort_unstable();
    *tets = sorted.iter().map(|t| t.1).collect();
    *label = sorted.iter().map(|t| t.2).collect();
}

/// Interleaves the bits of three coordinates below 2²¹.
fn morton(p: Vec3) -> u64 {
    let spread = |c: f64| {
        let mut x = (c as u64) & 0x1f_ffff;
        x = (x | x << 32) & 0x001f_0000_0000_ffff;
        x = (x | x << 16) & 0x001f_0000_ff00_00ff;
        x = (x | x << 8) & 0x100f_00f0_0f00_f00f;
        x = (x | x << 4) & 0x10c3_0c30_c30c_30c3;
        (x | x << 2) & 0x1249_2492_4924_9249
    };
    spread(p.x) | spread(p.y) << 1 | spread(p.z) << 2
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn morton_interleaves() {
        assert_eq!(morton(Vec3::new(1.0, 0.0, 0.0)), 1);
        assert_eq!(morton(Vec3::new(0.0, 1.0, 0.0)), 2);
        assert_eq!(morton(Vec3::new(3.0, 0.0, 1.0)), 0b1101);
        assert_eq!(morton(Vec3::repeat(2_097_151.0)), (1 << 63) - 1);
    }

    #[test]
    fn the_mesh_stays_the_same_mesh() {
        let mut position = vec![
            Vec3::z() * 9.0,
            Vec3::x(),
            Vec3::y(),
            Vec3::z(),
            Vec3::zeros(),
        ];
        let mut tets = vec![[0, 1, 2, 3], [4, 1, 2, 3]];
        let mut label = vec![7, 8];
        let before: Vec<[Vec3; 4]> = tets
            .iter()
            .map(|t| t.map(|v| position[v as usize]))
            .collect();
        let mut on = vec![1, 2, 3, 4, 5];
        renumber(&mut position, &mut on, &mut tets, &mut label);
        for (t, l) in tets.iter().zip(&label) {
            let p = t.map(|v| position[v as usize]);
            assert_eq!(p, before[usize::from(*l) - 7]);
        }
        assert_eq!(label[0], 8, "the one at the origin comes first");
    }
}
