//! Shape measures of straight tetrahedra.

use crate::tet::six_volumes;
use bicolumn_base::Vec3;

/// The measure that improvement raises: the least sine of a dihedral angle, or twice the radius
/// ratio where that is smaller; -1 when the tetrahedron is flat or turned over.
///
/// The sine at edge ij is 3/2 V l_ij / (A_k A_l), with the areas of the two faces that meet there.
#[inline]
pub(crate) fn shape(p: &[Vec3; 4]) -> f64 {
    let e01 = p[1] - p[0];
    let e02 = p[2] - p[0];
    let e03 = p[3] - p[0];
    let n3 = e01.cross(&e02);
    let v = n3.dot(&e03); // six volumes
    if v <= 0.0 {
        return -1.0;
    }
    let n1 = e02.cross(&e03);
    let n2 = e03.cross(&e01);
    let n0 = n1 + n2 + n3; // closed surface: the fourth face's normal is minus the sum
    let area2 = [
        n0.norm_squared(),
        n1.norm_squared(),
        n2.norm_squared(),
        n3.norm_squared(),
    ];
    let inverse = area2.map(|a| 1.0 / a);
    let (l01, l02, l03) = (e01.norm_squared(), e02.norm_squared(), e03.norm_squared());
    let l12 = (p[2] - p[1]).norm_squared();
    let l13 = (p[3] - p[1]).norm_squared();
    let l23 = (p[3] - p[2]).norm_squared();
    let least = (l01 * inverse[2] * inverse[3])
        .min(l02 * inverse[1] * inverse[3])
        .min(l03 * inverse[1] * inverse[2])
        .min(l12 * inverse[0] * inverse[3])
        .min(l13 * inverse[0] * inverse[2])
        .min(l23 * inverse[0] * inverse[1]);
    let area = area2[0].sqrt() + area2[1].sqrt() + area2[2].sqrt() + area2[3].sqrt();
    let to_circumcentre = n1 * l01 + n2 * l02 + n3 * l03; // 2 v × circumcentre from corner 0
    let radius_ratio = 6.0 * v * v / (area * to_circumcentre.norm());
    (v * least.sqrt()).min(2.0 * radius_ratio)
}

/// Cosines of the six dihedral angles.
///
/// The angle at the edge where faces k and l meet has the cosine -n_k·n_l of their outward normals.
pub(crate) fn dihedral_cosines(p: &[Vec3; 4]) -> [f64; 6] {
    let a = p[1] - p[0];
    let b = p[2] - p[0];
    let c = p[3] - p[0];
    let inward = [b.cross(&c), c.cross(&a), a.cross(&b)];
    let n = [
        -(inward[0] + inward[1] + inward[2]),
        inward[0],
        inward[1],
        inward[2],
    ];
    let inverse = n.map(|v| 1.0 / v.norm());
    let at = |k: usize, l: usize| (-n[k].dot(&n[l]) * inverse[k] * inverse[l]).clamp(-1.0, 1.0);
    [at(0, 1), at(0, 2), at(0, 3), at(1, 2), at(1, 3), at(2, 3)]
}

/// Three inradii over the circumradius: 1 for the regular tetrahedron, 0 for a flat one.
pub(crate) fn radius_ratio(p: &[Vec3; 4]) -> f64 {
    let a = p[1] - p[0];
    let b = p[2] - p[0];
    let c = p[3] - p[0];
    let v = six_volumes(p);
    let to_centre = b.cross(&c) * a.norm_squared()
        + c.cross(&a) * b.norm_squared()
        + a.cross(&b) * c.norm_squared();
    let twice_area = a.cross(&b).norm()
        + b.cross(&c).norm()
        + c.cross(&a).norm()
        + (p[2] - p[1]).cross(&(p[3] - p[1])).norm();
    6.0 * v * v / (twice_area * to_centre.norm())
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// Dihedral angles, rad, by turning two faces about their common edge.
    fn angles(p: &[Vec3; 4]) -> [f64; 6] {
        let at = |i: usize, j: usize, k: usize, l: usize| {
            let e = (p[j] - p[i]).normalize();
            let across = |v: Vec3| v - e * v.dot(&e);
            across(p[k] - p[i]).angle(&across(p[l] - p[i]))
        };
        [
            at(0, 1, 2, 3),
            at(0, 2, 1, 3),
            at(0, 3, 1, 2),
            at(1, 2, 0, 3),
            at(1, 3, 0, 2),
            at(2, 3, 0, 1),
        ]
    }

    #[test]
    fn regular_tetrahedron() {
        let p = [
            Vec3::new(1.0, 1.0, 1.0),
            Vec3::new(-1.0, 1.0, -1.0),
            Vec3::new(1.0, -1.0, -1.0),
            Vec3::new(-1.0, -1.0, 1.0),
        ];
        assert!((radius_ratio(&p) - 1.0).abs() < 1e-12);
        for c in dihedral_cosines(&p) {
            assert!((c - 1.0 / 3.0).abs() < 1e-12);
        }
        assert!(six_volumes(&p) > 0.0);
        assert!((shape(&p) - (8.0f64 / 9.0).sqrt()).abs() < 1e-12);
        assert_eq!(shape(&[p[1], p[0], p[2], p[3]]), -1.0);
    }

    proptest! {
        #[test]
        fn shape_agrees_with_the_angles(c in prop::array::uniform12(-1.0..1.0f64)) {
            let mut p: [Vec3; 4] =
                std::array::from_fn(|i| Vec3::new(c[3 * i], c[3 * i + 1], c[3 * i + 2]));
            prop_assume!(six_volumes(&p).abs() > 1e-3);
            if six_volumes(&p) < 0.0 {
                p.swap(0, 1);
            }
            let sine = angles(&p).iter().fold(1.0f64, |m, d| m.min(d.sin()));
            let mut cosines = angles(&p).map(f64::cos);
            let mut ours = dihedral_cosines(&p);
            cosines.sort_by(f64::total_cmp);
            ours.sort_by(f64::total_cmp);
            for (a, b) in ours.iter().zip(cosines) {
                prop_assert!((a - b).abs() < 1e-9);
            }
            let expected = sine.min(2.0 * radius_ratio(&p));
            prop_assert!((shape(&p) - expected).abs() < 1e-9);
        }
    }
}
