//! Validity and volume of a curved ten-node tetrahedron.
//!
//! In Bernstein form the map has control points p_i at the corners and q_ij = 2 m_ij - (p_i + p_j)/2
//! on the edges (m = midside node). Its derivative along ξ_k is 2 Σ_m λ_m (q_km - q_0m) with
//! q_mm = p_m, so det J is a cubic whose 20 Bernstein coefficients bound it from below (Johnen,
//! Remacle, Geuzaine 2013, J Comput Phys 233:359, section 3). For straight edges all are 6 V.

use crate::tet::EDGE_BETWEEN;
use bicolumn_base::Vec3;

/// Number of Bernstein coefficients of a cubic over a tetrahedron.
const COEFFICIENTS: f64 = 20.0;

/// The least Bernstein coefficient of det J over a ten-node tetrahedron, mm³.
///
/// Positive means that the element turns over nowhere.
pub(crate) fn least_jacobian(x: &[Vec3; 10]) -> f64 {
    fold_jacobian(x, f64::INFINITY, f64::min)
}

/// Volume of a ten-node tetrahedron, mm³: ∫ det J over the unit tetrahedron, whose volume is 1/6; each Bernstein
/// polynomial of one degree has the same integral, so the mean of det J is the mean of its coefficients.
pub(crate) fn volume(x: &[Vec3; 10]) -> f64 {
    fold_jacobian(x, 0.0, |sum, c| sum + c) / (6.0 * COEFFICIENTS)
}

/// Folds the Bernstein coefficients of det J, in a fixed order.
#[inline]
fn fold_jacobian(x: &[Vec3; 10], start: f64, fold: impl Fn(f64, f64) -> f64) -> f64 {
    let control = |i: usize, j: usize| {
        if i == j {
            x[i]
        } else {
            2.0 * x[4 + EDGE_BETWEEN[i][j]] - 0.5 * (x[i] + x[j])
        }
    };
    // d[k][m]: derivative along ξ_(k+1), coefficient of λ_m.
    let d: [[Vec3; 4]; 3] =
        std::array::from_fn(|k| std::array::from_fn(|m| 2.0 * (control(k + 1, m) - control(0, m))));
    let cross: [[Vec3; 4]; 4] =
        std::array::from_fn(|m| std::array::from_fn(|n| d[1][m].cross(&d[2][n])));
    let mut folded = start;
    for l in 0..4 {
        for m in l..4 {
            for n in m..4 {
                // Mean over all orders; repeated orders of equal indices do not change the mean.
                let six = d[0][l].dot(&(cross[m][n] + cross[n][m]))
                    + d[0][m].dot(&(cross[l][n] + cross[n][l]))
                    + d[0][n].dot(&(cross[l][m] + cross[m][l]));
                folded = fold(folded, six / 6.0);
            }
        }
    }
    folded
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tet::{EDGES, six_volumes};
    use proptest::prelude::*;

    fn straight(p: [Vec3; 4]) -> [Vec3; 10] {
        std::array::from_fn(|i| {
            if i < 4 {
                p[i]
            } else {
                let [a, b] = EDGES[i - 4];
                0.5 * (p[a] + p[b])
            }
        })
    }

    /// det J from the textbook quadratic shape functions by finite differences.
    fn det_at(x: &[Vec3; 10], l: [f64; 4]) -> f64 {
        let place = |l: [f64; 4]| -> Vec3 {
            let corner: Vec3 = (0..4).map(|i| x[i] * (l[i] * (2.0 * l[i] - 1.0))).sum();
            let side: Vec3 = (0..6)
                .map(|e| x[4 + e] * (4.0 * l[EDGES[e][0]] * l[EDGES[e][1]]))
                .sum();
            corner + side
        };
        let h = 1e-5;
        let along = |k: usize| {
            let (mut a, mut b) = (l, l);
            a[k] += h;
            a[0] -= h;
            b[k] -= h;
            b[0] += h;
            (place(a) - place(b)) / (2.0 * h)
        };
        along(1).dot(&along(2).cross(&along(3)))
    }

    #[test]
    fn straight_element_has_six_volumes() {
        let p = [
            Vec3::new(0.1, 0.2, 0.0),
            Vec3::new(1.3, 0.1, 0.2),
            Vec3::new(0.0, 1.1, 0.3),
            Vec3::new(0.2, 0.1, 0.9),
        ];
        assert!((least_jacobian(&straight(p)) - six_volumes(&p)).abs() < 1e-12);
        assert!((volume(&straight(p)) - six_volumes(&p) / 6.0).abs() < 1e-12);
    }

    /// ∫ x·n dA / 3 over the curved faces (Gauss 1813), each a six-node triangle, by a rule of degree 5 that the
    /// integrand, of degree 6 at most, is cut into 16 for.
    fn volume_by_divergence(x: &[Vec3; 10]) -> f64 {
        // Dunavant 1985, degree 5, seven points.
        let root = 15f64.sqrt();
        let (a, b) = ((6.0 - root) / 21.0, (6.0 + root) / 21.0);
        let (wa, wb) = ((155.0 - root) / 1200.0, (155.0 + root) / 1200.0);
        let mut points = vec![([1.0 / 3.0; 3], 9.0 / 40.0)];
        for (c, w) in [(a, wa), (b, wb)] {
            for k in 0..3 {
                let l: [f64; 3] = std::array::from_fn(|i| if i == k { 1.0 - 2.0 * c } else { c });
                points.push((l, w));
            }
        }
        let cuts = 4;
        let mut triangles: Vec<[[f64; 2]; 3]> = Vec::new();
        let at = |i: usize, j: usize| [i as f64 / cuts as f64, j as f64 / cuts as f64];
        for i in 0..cuts {
            for j in 0..cuts - i {
                triangles.push([at(i, j), at(i + 1, j), at(i, j + 1)]);
                if i + j + 1 < cuts {
                    triangles.push([at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)]);
                }
            }
        }
        let mut sum = 0.0;
        for [i, j, k] in crate::tet::FACES {
            let corner = [i, j, k].map(|c| x[c]);
            let middle = [[i, j], [j, k], [k, i]].map(|[p, q]| x[4 + EDGE_BETWEEN[p][q]]);
            let place = |u: f64, v: f64| {
                let l = [1.0 - u - v, u, v];
                let corners: Vec3 = (0..3)
                    .map(|c| corner[c] * (l[c] * (2.0 * l[c] - 1.0)))
                    .sum();
                let edges: Vec3 = (0..3)
                    .map(|c| middle[c] * (4.0 * l[c] * l[(c + 1) % 3]))
                    .sum();
                corners + edges
            };
            for t in &triangles {
                for (l, w) in &points {
                    let [u, v] = [0, 1].map(|d| (0..3).map(|c| l[c] * t[c][d]).sum::<f64>());
                    let h = 1e-5;
                    let along_u = (place(u + h, v) - place(u - h, v)) / (2.0 * h);
                    let along_v = (place(u, v + h) - place(u, v - h)) / (2.0 * h);
                    let area = 0.5 / (cuts * cuts) as f64;
                    sum += w * area * place(u, v).dot(&along_u.cross(&along_v)) / 3.0;
                }
            }
        }
        sum
    }

    proptest! {
        #[test]
        fn bound_is_below_every_sample(bend in prop::array::uniform18(-0.2..0.2f64)) {
            let mut x = straight([Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()]);
            for e in 0..6 {
                x[4 + e] += Vec3::new(bend[3 * e], bend[3 * e + 1], bend[3 * e + 2]);
            }
            let bound = least_jacobian(&x);
            let n = 6;
            for i in 0..=n {
                for j in 0..=n - i {
                    for k in 0..=n - i - j {
                        let l = [i, j, k].map(|v| v as f64 / n as f64);
                        let at = [1.0 - l[0] - l[1] - l[2], l[0], l[1], l[2]];
                        prop_assert!(det_at(&x, at) >= bound - 1e-7);
                    }
                }
            }
        }

        #[test]
        fn volume_is_the_flux_of_a_third_of_the_position(bend in prop::array::uniform18(-0.2..0.2f64)) {
            let mut x = straight([Vec3::new(0.1, 0.0, 0.2), Vec3::x(), Vec3::y() * 1.2, Vec3::z()]);
            for e in 0..6 {
                x[4 + e] += Vec3::new(bend[3 * e], bend[3 * e + 1], bend[3 * e + 2]);
            }
            let flux = volume_by_divergence(&x);
            prop_assert!((volume(&x) - flux).abs() < 1e-6, "{} {flux}", volume(&x));
        }
    }
}
