//! A circular hole in a plate under tension.

use bicolumn_base::{SymTensor, Vec3};

/// A hole in an infinite body under uniaxial tension along X at infinity, plane strain in (x, y)
/// (Kirsch 1898, Z VDI 42:797; Timoshenko and Goodier, Theory of Elasticity, section 35; from memory).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KirschHole {
    /// Radius of the hole.
    pub radius_mm: f64,
    /// Tension at infinity.
    pub tension_mpa: f64,
    /// Young's modulus.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
}

impl KirschHole {
    /// Stress at a point, MPa; σ_zz = ν (σ_xx + σ_yy).
    ///
    /// ```
    /// use bicolumn_base::Vec3;
    /// use bicolumn_verify::exact::circular_hole::KirschHole;
    /// let hole = KirschHole { radius_mm: 2.0, tension_mpa: 1.0, young_mpa: 1.0, poisson: 0.3 };
    /// // Three times the tension beside the hole, minus once at its poles.
    /// assert!((hole.stress_mpa(Vec3::y() * 2.0).0[0] - 3.0).abs() < 1e-12);
    /// assert!((hole.stress_mpa(Vec3::x() * 2.0).0[1] + 1.0).abs() < 1e-12);
    /// ```
    pub fn stress_mpa(&self, x: Vec3) -> SymTensor {
        let (r, t) = (x.x.hypot(x.y), x.y.atan2(x.x));
        let q = (self.radius_mm / r).powi(2);
        let half = 0.5 * self.tension_mpa;
        let (c2, s2) = ((2.0 * t).cos(), (2.0 * t).sin());
        let radial = half * ((1.0 - q) + (1.0 - 4.0 * q + 3.0 * q * q) * c2);
        let hoop = half * ((1.0 + q) - (1.0 + 3.0 * q * q) * c2);
        let shear = -half * (1.0 + 2.0 * q - 3.0 * q * q) * s2;
        let (c, s) = (t.cos(), t.sin());
        SymTensor::new(
            radial * c * c + hoop * s * s - 2.0 * shear * c * s,
            radial * s * s + hoop * c * c + 2.0 * shear * c * s,
            self.poisson * (radial + hoop),
            (radial - hoop) * c * s + shear * (c * c - s * s),
            0.0,
            0.0,
        )
    }

    /// Displacement in plane strain, mm, with k = 3 − 4ν and G the shear modulus:
    ///
    /// u_r = σ/8G { r [k − 1 + 2 cos 2θ] + 2 a²/r [1 + (k + 1 − a²/r²) cos 2θ] },
    /// u_θ = σ/8G { −2 r sin 2θ − 2 a²/r [k − 1 + a²/r²] sin 2θ }.
    pub fn displacement_mm(&self, x: Vec3) -> Vec3 {
        let (r, t) = (x.x.hypot(x.y), x.y.atan2(x.x));
        let a2 = self.radius_mm.powi(2);
        let q = a2 / (r * r);
        let k = 3.0 - 4.0 * self.poisson;
        let shear_modulus = self.young_mpa / (2.0 * (1.0 + self.poisson));
        let f = self.tension_mpa / (8.0 * shear_modulus);
        let (c2, s2) = ((2.0 * t).cos(), (2.0 * t).sin());
        let radial = f * (r * (k - 1.0 + 2.0 * c2) + 2.0 * a2 / r * (1.0 + (k + 1.0 - q) * c2));
        let hoop = f * (-2.0 * r * s2 - 2.0 * a2 / r * (k - 1.0 + q) * s2);
        let (c, s) = (t.cos(), t.sin());
        Vec3::new(radial * c - hoop * s, radial * s + hoop * c, 0.0)
    }
}

/// Net-section concentration factor of a central hole of diameter d in a strip of width w under
/// tension: 2 + 0.284 x − 0.600 x² + 1.32 x³ with x = 1 − d/w, a fit to the solution of Howland 1930
/// (Phil Trans R Soc A 229:49) as given with Peterson's chart 4.1 (from memory).
///
/// ```
/// use bicolumn_verify::exact::circular_hole::strip_net_factor;
/// assert!((strip_net_factor(0.5) - 2.16).abs() < 0.005);
/// assert!((strip_net_factor(0.0) - 3.0).abs() < 0.005);
/// ```
pub fn strip_net_factor(d_over_w: f64) -> f64 {
    let x = 1.0 - d_over_w;
    2.0 + 0.284 * x - 0.600 * x * x + 1.32 * x.powi(3)
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Mat3;

    #[test]
    fn displacement_differentiates_to_the_stress() {
        let hole = KirschHole {
            radius_mm: 2.0,
            tension_mpa: 3.0,
            young_mpa: 1000.0,
            poisson: 0.3,
        };
        for x in [
            Vec3::new(2.5, 0.7, 0.0),
            Vec3::new(-1.0, 3.0, 0.0),
            Vec3::new(0.1, -2.2, 0.0),
        ] {
            let h = 1e-5;
            let mut gradient = Mat3::zeros();
            for i in 0..3 {
                let mut step = Vec3::zeros();
                step[i] = h;
                let d = hole.displacement_mm(x + step) - hole.displacement_mm(x - step);
                gradient.set_column(i, &(d / (2.0 * h)));
            }
            let field = super::super::linear_field::LinearField {
                gradient,
                origin: Vec3::zeros(),
            };
            let difference = field.stress(1000.0, 0.3) - hole.stress_mpa(x);
            assert!(difference.0.norm() < 1e-5, "{difference:?}");
        }
    }
}
