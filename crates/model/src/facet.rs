//! Integrals over six-node facets, flat or curved.

use bicolumn_base::Vec3;

/// Barycentric coordinates and weights (of unit sum) of the seven-point rule on a triangle, exact to
/// degree 5 (Radon 1948; Strang and Fix 1973, table 4.1).
const RULE: [([f64; 3], f64); 7] = {
    const A: f64 = 0.059_715_871_789_769_82;
    const B: f64 = 0.470_142_064_105_115_1;
    const C: f64 = 0.797_426_985_353_087_3;
    const D: f64 = 0.101_286_507_323_456_33;
    const W: f64 = 0.132_394_152_788_506_2;
    const V: f64 = 0.125_939_180_544_827_14;
    const T: f64 = 1.0 / 3.0;
    [
        ([T, T, T], 0.225),
        ([A, B, B], W),
        ([B, A, B], W),
        ([B, B, A], W),
        ([C, D, D], V),
        ([D, C, D], V),
        ([D, D, C], V),
    ]
};

/// One quadrature point of a facet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FacetPoint {
    /// Position, mm.
    pub position: Vec3,
    /// Area that belongs to the point, mm².
    pub area: f64,
    /// Unit normal, by the right-hand rule over the corners.
    pub normal: Vec3,
    /// Value of the six shape functions.
    pub shape: [f64; 6],
}

/// Shape functions of the six-node triangle: corners, then midsides 01, 12, 20.
fn shape(l: [f64; 3]) -> [f64; 6] {
    [
        l[0] * (2.0 * l[0] - 1.0),
        l[1] * (2.0 * l[1] - 1.0),
        l[2] * (2.0 * l[2] - 1.0),
        4.0 * l[0] * l[1],
        4.0 * l[1] * l[2],
        4.0 * l[2] * l[0],
    ]
}

/// The quadrature points of a facet given by its six node positions.
pub fn facet_points(nodes: &[Vec3; 6]) -> [FacetPoint; 7] {
    RULE.map(|(l, weight)| {
        let shape = shape(l);
        // Derivatives by the first and second barycentric coordinate, the third being 1 − both.
        let by_first = [
            4.0 * l[0] - 1.0,
            0.0,
            1.0 - 4.0 * l[2],
            4.0 * l[1],
            -4.0 * l[1],
            4.0 * (l[2] - l[0]),
        ];
        let by_second = [
            0.0,
            4.0 * l[1] - 1.0,
            1.0 - 4.0 * l[2],
            4.0 * l[0],
            4.0 * (l[2] - l[1]),
            -4.0 * l[0],
        ];
        let sum = |f: &[f64; 6]| nodes.iter().zip(f).map(|(x, v)| x * *v).sum::<Vec3>();
        let cross = sum(&by_first).cross(&sum(&by_second));
        let size = cross.norm();
        FacetPoint {
            position: sum(&shape),
            area: 0.5 * size * weight,
            normal: cross / size,
            shape,
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(corners: [Vec3; 3]) -> [Vec3; 6] {
        let [a, b, c] = corners;
        [a, b, c, (a + b) / 2.0, (b + c) / 2.0, (c + a) / 2.0]
    }

    #[test]
    fn rule_is_exact_to_degree_five() {
        // ∫ x^i y^j over the unit right triangle is i! j! / (i+j+2)!.
        let factorial = |n: u32| (1..=n).map(f64::from).product::<f64>();
        for i in 0..=5u32 {
            for j in 0..=5 - i {
                let sum: f64 = RULE
                    .iter()
                    .map(|(l, w)| 0.5 * w * l[1].powi(i as i32) * l[2].powi(j as i32))
                    .sum();
                let exact = factorial(i) * factorial(j) / factorial(i + j + 2);
                assert!((sum - exact).abs() < 1e-15, "{i} {j}");
            }
        }
    }

    #[test]
    fn flat_facet_has_its_area_and_normal() {
        let nodes = flat([
            Vec3::zeros(),
            Vec3::new(2.0, 0.0, 0.0),
            Vec3::new(0.0, 3.0, 0.0),
        ]);
        let points = facet_points(&nodes);
        let area: f64 = points.iter().map(|p| p.area).sum();
        assert!((area - 3.0).abs() < 1e-14);
        assert!(points.iter().all(|p| (p.normal - Vec3::z()).norm() < 1e-14));
    }

    #[test]
    fn curved_facet_comes_near_the_sphere() {
        // A twentieth-radian triangle on the unit sphere with midside nodes on it.
        let on = |x: f64, y: f64| Vec3::new(x, y, 1.0).normalize();
        let [a, b, c] = [on(0.0, 0.0), on(0.05, 0.0), on(0.0, 0.05)];
        let mid = |p: Vec3, q: Vec3| (p + q).normalize();
        let points = facet_points(&[a, b, c, mid(a, b), mid(b, c), mid(c, a)]);
        let area: f64 = points.iter().map(|p| p.area).sum();
        // Spherical excess by l'Huilier would do; by the solid angle formula of Van Oosterom and
        // Strackee (1983): tan(Ω/2) = a·(b×c) / (1 + a·b + b·c + c·a).
        let exact = 2.0 * (a.dot(&b.cross(&c)) / (1.0 + a.dot(&b) + b.dot(&c) + c.dot(&a))).atan();
        assert!((area / exact - 1.0).abs() < 1e-6, "{area} {exact}");
    }
}
