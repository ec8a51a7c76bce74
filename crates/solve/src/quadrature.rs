//! Quadrature on tetrahedra: barycentric points and weights of unit sum.

/// A quadrature point and its weight, a share of the volume.
pub type Point = ([f64; 4], f64);

/// An orbit of four points, one towards each corner: `other` is their coordinate of every other corner.
const fn towards_corners(other: f64, weight: f64) -> [Point; 4] {
    let near = 1.0 - 3.0 * other;
    [
        ([near, other, other, other], weight),
        ([other, near, other, other], weight),
        ([other, other, near, other], weight),
        ([other, other, other, near], weight),
    ]
}

/// The coordinate of the other corners in [`FOUR`], in [`FIVE`], and in the two fours of [`EIGHT`].
pub(crate) const OTHER_OF_FOUR: f64 = 0.138_196_601_125_010_5;
pub(crate) const OTHER_OF_FIVE: f64 = 1.0 / 6.0;
pub(crate) const OTHERS_OF_EIGHT: [f64; 2] = [0.079_343_532_369_297_39, 0.328];

/// Four points, exact to degree 2: all that a straight-sided element's stiffness needs (Hammer, Marlowe
/// and Stroud 1956).
pub const FOUR: [Point; 4] = towards_corners(OTHER_OF_FOUR, 0.25);

/// Five points, exact to degree 3, the one in the middle with a negative weight; as in Stroud 1971, Approximate
/// Calculation of Multiple Integrals (from memory). For the stiffness of elements with gently curved edges: ∇N det J is
/// a cubic there, so that a constant stress is in equilibrium whatever the edges. With strongly curved ones the
/// stiffness would not be positive.
pub const FIVE: [Point; 5] = {
    let [a, b, c, d] = towards_corners(OTHER_OF_FIVE, 9.0 / 20.0);
    [a, b, c, d, ([0.25; 4], -0.8)]
};

/// Eight points, exact to degree 3, all weights positive: for the stiffness of elements with strongly curved edges.
/// Two such orbits make a family of rules, one for every place of the second orbit; in this one all points lie inside.
pub const EIGHT: [Point; 8] = {
    let [a, b, c, d] = towards_corners(OTHERS_OF_EIGHT[0], 0.069_619_173_740_442_55);
    let [e, f, g, h] = towards_corners(OTHERS_OF_EIGHT[1], 0.180_380_826_259_557_45);
    [a, b, c, d, e, f, g, h]
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
        assert!(is_exact(&FIVE, 3) && !is_exact(&FIVE, 4));
        assert!(is_exact(&EIGHT, 3) && !is_exact(&EIGHT, 4));
        assert!(is_exact(&FOURTEEN, 5) && !is_exact(&FOURTEEN, 6));
    }
}
