//! Free torsion of a rectangular bar, after Saint-Venant.

use std::f64::consts::PI;

/// Terms of the series: the warping's terms fall as n⁻³ at worst, at the corners.
const TERMS: i32 = 60;

/// A bar along Z, twisted by `rate_per_mm` (rad/mm), section |x| ≤ a/2, |y| ≤ b/2.
///
/// Series solution (Saint-Venant 1855; Timoshenko and Goodier, Theory of Elasticity, section 109;
/// from memory): warping w = θ' [ x y − (8a²/π³) Σ_{n odd} (−1)^{(n−1)/2} / n³ · sin(nπx/a) ·
/// sinh(nπy/a) / cosh(nπb/2a) ].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RectangleTorsion {
    /// Side along x.
    pub a_mm: f64,
    /// Side along y.
    pub b_mm: f64,
    /// Rotation per length.
    pub rate_per_mm: f64,
    /// Shear modulus.
    pub shear_mpa: f64,
}

impl RectangleTorsion {
    /// Displacement (−θ'z y, θ'z x, w), mm.
    pub fn displacement_mm(&self, x: bicolumn_base::Vec3) -> bicolumn_base::Vec3 {
        let a = self.a_mm;
        let mut sum = 0.0;
        for k in 0..TERMS {
            let n = f64::from(2 * k + 1);
            let sign = if k % 2 == 0 { 1.0 } else { -1.0 };
            let (p, h) = (n * PI / a, n * PI * self.b_mm / (2.0 * a));
            // sinh(p y) / cosh(h) without overflow.
            let ratio = ((p * x.y - h).exp() - (-p * x.y - h).exp()) / (1.0 + (-2.0 * h).exp());
            sum += sign / n.powi(3) * (p * x.x).sin() * ratio;
        }
        let w = x.x * x.y - 8.0 * a * a / PI.powi(3) * sum;
        bicolumn_base::Vec3::new(-x.z * x.y, x.z * x.x, w) * self.rate_per_mm
    }

    /// Torque G θ' a³b/3 [1 − (192 a / π⁵ b) Σ tanh(nπb/2a) / n⁵], N·mm.
    pub fn torque_nmm(&self) -> f64 {
        let (a, b) = (self.a_mm, self.b_mm);
        let sum: f64 = (0..TERMS)
            .map(|k| {
                let n = f64::from(2 * k + 1);
                (n * PI * b / (2.0 * a)).tanh() / n.powi(5)
            })
            .sum();
        let j = a.powi(3) * b / 3.0 * (1.0 - 192.0 * a / (PI.powi(5) * b) * sum);
        self.shear_mpa * self.rate_per_mm * j
    }

    /// Largest shear stress, at the middle of the longer side (x = ±a/2, for a ≤ b):
    /// G θ' a [1 − (8/π²) Σ 1 / (n² cosh(nπb/2a))], MPa.
    pub fn largest_shear_mpa(&self) -> f64 {
        let (a, b) = (self.a_mm, self.b_mm);
        let sum: f64 = (0..TERMS)
            .map(|k| {
                let n = f64::from(2 * k + 1);
                1.0 / (n * n * (n * PI * b / (2.0 * a)).cosh())
            })
            .sum();
        self.shear_mpa * self.rate_per_mm * a * (1.0 - 8.0 / PI.powi(2) * sum)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn series_agrees_with_the_tabulated_coefficients() {
        // J = β b a³, τ = T / (α b a²) for b ≥ a (Roark; Timoshenko; from memory).
        let table = [
            (1.0, 0.14058, 0.20817),
            (1.5, 0.19576, 0.23097),
            (2.0, 0.22868, 0.24588),
            (3.0, 0.26332, 0.26721),
            (5.0, 0.29132, 0.29150),
            (10.0, 0.31233, 0.31233),
        ];
        for (ratio, beta, alpha) in table {
            let bar = RectangleTorsion {
                a_mm: 2.0,
                b_mm: 2.0 * ratio,
                rate_per_mm: 1e-3,
                shear_mpa: 1000.0,
            };
            let found = bar.torque_nmm() / (1.0 * bar.b_mm * 8.0);
            assert!((found - beta).abs() < 1e-5, "{ratio} {found}");
            let found = bar.torque_nmm() / (bar.largest_shear_mpa() * bar.b_mm * 4.0);
            assert!((found - alpha).abs() < 1e-5, "{ratio} {found}");
        }
    }

    #[test]
    fn warping_differentiates_to_the_largest_shear() {
        let bar = RectangleTorsion {
            a_mm: 2.0,
            b_mm: 3.0,
            rate_per_mm: 1e-3,
            shear_mpa: 1000.0,
        };
        // τ_yz = G (∂w/∂y + ∂u_y/∂z) at x = a/2, y = 0; the truncated series costs some 1e-4 there.
        let h = 1e-4;
        let w = |y: f64| bar.displacement_mm(bicolumn_base::Vec3::new(1.0, y, 0.0)).z;
        let shear = 1000.0 * ((w(h) - w(-h)) / (2.0 * h) + 1e-3 * 1.0);
        assert!((shear / bar.largest_shear_mpa() - 1.0).abs() < 1e-3);
    }
}
