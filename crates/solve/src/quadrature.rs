//! Quadrature on tetrahedra: barycentric points and weights of unit sum.

/// A point and its share of the volume.
pub type Point = ([f64; 4], f64);

/// The near coordinate of [`FOUR`].
pub(crate) const A: f64 = 0.585_410_196_624_968_5;
/// The other three.
pub(crate) const B: f64 = 0.138_196_601_125_010_5;

/// Four points, exact to degree 2: all that a straight-sided element's stiffness needs (Hammer, Marlowe
/// and Stroud 1956).
pub const FOUR: [Point; 4] = [
    ([A, B, B, B], 0.25),
    ([B, A, B, B], 0.25),
    ([B, B, A, B], 0.25),
    ([B, B, B, A], 0.25),
];

/// Eight points, exact to degree 3, all weights positive; as in Stroud 1971,
/// Approximate Calculation of Multiple Integrals (from memory): the corners and the middles of the faces opposite them. For the stiffness of elements with curved edges:
/// ∇N det J is a cubic there, so that a constant stress is in equilibrium whatever the edges.
pub const EIGHT: [Point; 8] = {
    const T: f64 = 1.0 / 3.0;
    const C: f64 = 1.0 / 40.0;
    const F: f64 = 9.0 / 40.0;
    [
        ([1.0, 0.0, 0.0, 0.0], C),
        ([0.0, 1.0, 0.0, 0.0], C),
        ([0.0, 0.0, 1.0, 0.0], C),
        ([0.0, 0.0, 0.0, 1.0], C),
        ([0.0, T, T, T], F),
        ([T, 0.0, T, T], F),
        ([T, T, 0.0, T], F),
        ([T, T, T, 0.0], F),
    ]
};

/// Fourteen points, exact to degree 5, all weights positive (Walkington 2000, Quadrature on simplices of
/// arbitrary dimension): for integrals over elements with curved edges other than the stiffness.
pub const FOURTEEN: [Point; 14] = {
    const P: f64 = 0.310_885_919_263_300_6;
    const P3: f64 = 1.0 - 3.0 * P;
    const U: f64 = 6.0 * 0.018_781_320_953_002_64;
    const Q: f64 = 0.092_735_250_310_891_23;
    const Q3: f64 = 1.0 - 3.0 * Q;
    const V: f64 = 6.0 * 0.012_248_840_519_393_658;
    const R: f64 = 0.045_503_704_125_649_65;
    const S: f64 = 0.5 - R;
    const W: f64 = 6.0 * 0.007_091_003_462_846_911;
    [
        ([P3, P, P, P], U),
        ([P, P3, P, P], U),
        ([P, P, P3, P], U),
        ([P, P, P, P3], U),
        ([Q3, Q, Q, Q], V),
        ([Q, Q3, Q, Q], V),
        ([Q, Q, Q3, Q], V),
        ([Q, Q, Q, Q3], V),
        ([R, R, S, S], W),
        ([R, S, R, S], W),
        ([R, S, S, R], W),
        ([S, R, R, S], W),
        ([S, R, S, R], W),
        ([S, S, R, R], W),
    ]
};

#[cfg(test)]
mod tests {
    use super::*;

    /// ∫ l₁^i l₂^j l₃^k over a tetrahedron of unit volume is 3! i! j! k! / (i+j+k+3)!.
    fn is_exact(rule: &[Point], degree: i32) -> bool {
        let factorial = |n: i32| (1..=n).map(f64::from).product::<f64>();
        let mut exact = true;
        for i in 0..=degree {
            for j in 0..=degree - i {
                for k in 0..=degree - i - j {
                    let sum: f64 = rule
                        .iter()
                        .map(|(l, w)| w * l[1].powi(i) * l[2].powi(j) * l[3].powi(k))
                        .sum();
                    let integral =
                        6.0 * factorial(i) * factorial(j) * factorial(k) / factorial(i + j + k + 3);
                    exact &= (sum - integral).abs() < 1e-14;
                }
            }
        }
        exact
    }

    #[test]
    fn rules_are_exact_to_their_degree_and_no_further() {
        assert!(is_exact(&FOUR, 2) && !is_exact(&FOUR, 3));
        assert!(is_exact(&EIGHT, 3) && !is_exact(&EIGHT, 4));
        assert!(is_exact(&FOURTEEN, 5) && !is_exact(&FOURTEEN, 6));
    }
}
