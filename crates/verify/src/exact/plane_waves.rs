//! A manufactured field: a sum of plane waves of displacement, and the body force that holds it.

use bicolumn_base::{Mat3, SymTensor, Vec3};

/// u(x) = Σ d sin(k·x + φ).
#[derive(Debug, Clone, PartialEq)]
pub struct PlaneWaves {
    /// (amplitude d in mm, wave vector k in 1/mm, phase φ) of each wave.
    pub waves: Vec<(Vec3, Vec3, f64)>,
    /// Young's modulus, MPa.
    pub young_mpa: f64,
    /// Poisson's ratio.
    pub poisson: f64,
}

impl PlaneWaves {
    /// Three waves in no special directions, wave lengths 3.5 to 6 mm.
    pub fn three(young_mpa: f64, poisson: f64) -> Self {
        let wave = |d: [f64; 3], k: [f64; 3], phase| (Vec3::from(d) * 1e-3, Vec3::from(k), phase);
        PlaneWaves {
            waves: vec![
                wave([1.0, -0.4, 0.3], [1.3, 0.4, -0.2], 0.3),
                wave([0.2, 0.9, -0.5], [-0.3, 1.1, 0.9], 1.1),
                wave([-0.6, 0.3, 0.8], [0.5, -0.7, 1.5], 2.0),
            ],
            young_mpa,
            poisson,
        }
    }

    fn lame(&self) -> (f64, f64) {
        let (e, nu) = (self.young_mpa, self.poisson);
        (
            e * nu / ((1.0 + nu) * (1.0 - 2.0 * nu)),
            e / (2.0 * (1.0 + nu)),
        )
    }

    /// Displacement, mm.
    pub fn displacement_mm(&self, x: Vec3) -> Vec3 {
        let terms = self.waves.iter();
        terms.map(|(d, k, p)| d * (k.dot(&x) + p).sin()).sum()
    }

    /// Stress λ tr ε I + 2 μ ε, MPa.
    pub fn stress_mpa(&self, x: Vec3) -> SymTensor {
        let slope: Mat3 = self
            .waves
            .iter()
            .map(|(d, k, p)| d * k.transpose() * (k.dot(&x) + p).cos())
            .sum();
        let (lambda, mu) = self.lame();
        let strain = SymTensor::from_matrix(&slope);
        let pressure = lambda * strain.trace();
        strain * (2.0 * mu) + SymTensor::new(pressure, pressure, pressure, 0.0, 0.0, 0.0)
    }

    /// The body force −div σ, N/mm³: Σ [(λ + μ) k (k·d) + μ |k|² d] sin(k·x + φ), from Navier's
    /// equation (λ + μ) ∇ div u + μ Δu + f = 0.
    pub fn body_force(&self, x: Vec3) -> Vec3 {
        let (lambda, mu) = self.lame();
        let force = |(d, k, p): &(Vec3, Vec3, f64)| {
            let wave = (k.dot(&x) + p).sin();
            (k * (k.dot(d) * (lambda + mu)) + d * (mu * k.norm_squared())) * wave
        };
        self.waves.iter().map(force).sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn stress_and_force_are_the_derivatives() {
        let field = PlaneWaves::three(1000.0, 0.3);
        let (lambda, mu) = field.lame();
        let x = Vec3::new(0.3, -0.7, 1.1);
        const H: f64 = 1e-4;
        let step = |axis: usize| Vec3::ith(axis, H);
        let mut slope = Mat3::zeros();
        let mut divergence = Vec3::zeros();
        for axis in 0..3 {
            let (a, b) = (x + step(axis), x - step(axis));
            let column = (field.displacement_mm(a) - field.displacement_mm(b)) / (2.0 * H);
            slope.set_column(axis, &column);
            let along = Vec3::ith(axis, 1.0);
            let tractions =
                field.stress_mpa(a).traction(along) - field.stress_mpa(b).traction(along);
            divergence += tractions / (2.0 * H);
        }
        let strain = (slope + slope.transpose()) * 0.5;
        let stress = Mat3::identity() * (lambda * strain.trace()) + strain * (2.0 * mu);
        assert!((stress - field.stress_mpa(x).to_matrix()).norm() < 1e-6 * stress.norm());
        let force = field.body_force(x);
        assert!((divergence + force).norm() < 1e-6 * force.norm());
    }
}
