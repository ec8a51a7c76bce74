//! Cross-sections of the shaft and their nominal beam stress.

use bicolumn_base::Vec3;
use bicolumn_geometry::Field;
use bicolumn_model::LoadCase;

/// Rays of a section. The integrals below are periodic trapezoid sums, spectrally accurate for
/// smooth outlines; 96 rays resolve the shaft to rounding for an ellipse.
const RAYS: usize = 96;
/// No cross-section of a humerus reaches farther than this from the shaft axis, mm.
const REACH_MM: f64 = 60.0;

/// A tubular section normal to Y. In-plane coordinates (x, z) are taken from the centroid.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Section {
    /// Centroid of the bone area.
    pub(crate) centroid: Vec3,
    /// Bone area A, mm².
    pub(crate) area: f64,
    /// ∫x² dA, ∫z² dA, ∫xz dA about the centroid, mm⁴.
    pub(crate) second_moments: [f64; 3],
    /// Area inside the outer outline, mm².
    pub(crate) outer_area: f64,
    /// Points of the outer outline.
    pub(crate) outline: Vec<Vec3>,
}

impl Section {
    /// The section through `centre` (a point of the canal) normal to Y, from the real outer and
    /// inner surface: A = ½∮(r_o² − r_i²)dφ, first moments ⅓∮r³, second moments ¼∮r⁴.
    ///
    /// `None` where the section is no tube about `centre`.
    pub(crate) fn tube(outer: &dyn Field, inner: &dyn Field, centre: Vec3) -> Option<Self> {
        let dphi = std::f64::consts::TAU / RAYS as f64;
        let (mut area, mut outer_area) = (0.0, 0.0);
        let (mut first_x, mut first_z) = (0.0, 0.0);
        let (mut xx, mut zz, mut xz) = (0.0, 0.0, 0.0);
        let mut outline = Vec::with_capacity(RAYS);
        for k in 0..RAYS {
            let (s, c) = (k as f64 * dphi).sin_cos();
            let ray = Vec3::new(c, 0.0, s);
            let o = first_exit(outer, centre, ray)?;
            let i = first_exit(inner, centre, ray)?;
            if i >= o {
                return None;
            }
            outer_area += 0.5 * o.powi(2) * dphi;
            area += 0.5 * (o.powi(2) - i.powi(2)) * dphi;
            let third = (o.powi(3) - i.powi(3)) / 3.0 * dphi;
            first_x += third * c;
            first_z += third * s;
            let fourth = (o.powi(4) - i.powi(4)) / 4.0 * dphi;
            xx += fourth * c * c;
            zz += fourth * s * s;
            xz += fourth * c * s;
            outline.push(centre + ray * o);
        }
        let (x, z) = (first_x / area, first_z / area);
        Some(Section {
            centroid: centre + Vec3::new(x, 0.0, z),
            area,
            second_moments: [xx - area * x * x, zz - area * z * z, xz - area * x * z],
            outer_area,
            outline,
        })
    }

    /// Mean thickness of the wall: outer less inner radius of the circles of the same areas, mm.
    pub(crate) fn wall_mm(&self) -> f64 {
        let radius = |area: f64| (area / std::f64::consts::PI).sqrt();
        radius(self.outer_area) - radius(self.outer_area - self.area)
    }

    /// Diameter of the circle of the same outer area, mm.
    pub(crate) fn outer_diameter(&self) -> f64 {
        2.0 * (self.outer_area / std::f64::consts::PI).sqrt()
    }

    /// Largest nominal von Mises stress on the outline, MPa, under the forces that act below the
    /// section.
    ///
    /// σ = N/A + a x + b z with unsymmetric bending (Timoshenko and Goodier, Theory of Elasticity,
    /// from memory), τ = T r/J with J = ∫(x² + z²)dA (exact for a circular tube), combined as
    /// √(σ² + 3τ²). Transverse shear is not counted: it vanishes where bending is largest.
    pub(crate) fn nominal_mises(&self, load: &SectionLoad) -> f64 {
        let [xx, zz, xz] = self.second_moments;
        // Equilibrium of the part below: ∫σ dA = −F_y, ∫xσ dA = −M_z, ∫zσ dA = M_x.
        let (mx, mz) = (load.moment_nmm.x, load.moment_nmm.z);
        let det = xx * zz - xz * xz;
        let a = (-mz * zz - mx * xz) / det;
        let b = (mx * xx + mz * xz) / det;
        let polar = xx + zz;
        self.outline
            .iter()
            .map(|p| {
                let r = p - self.centroid;
                let sigma = -load.force_n.y / self.area + a * r.x + b * r.z;
                let tau = load.moment_nmm.y * r.norm() / polar;
                (sigma * sigma + 3.0 * tau * tau).sqrt()
            })
            .fold(0.0, f64::max)
    }
}

/// Resultant of all forces that act below a section, moment about the section's centroid.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SectionLoad {
    /// Force, N.
    pub(crate) force_n: Vec3,
    /// Moment, N·mm.
    pub(crate) moment_nmm: Vec3,
}

impl SectionLoad {
    /// Sums the nodal forces of a load case whose nodes lie below `about`.
    pub(crate) fn below(case: &LoadCase, nodes: &[Vec3], about: Vec3) -> Self {
        let mut load = SectionLoad {
            force_n: Vec3::zeros(),
            moment_nmm: Vec3::zeros(),
        };
        for (n, f) in &case.forces {
            let x = nodes[*n as usize];
            if x.y < about.y {
                load.force_n += f;
                load.moment_nmm += (x - about).cross(f);
            }
        }
        load
    }
}

/// Distance from `start` (inside) along `ray` to where the field first turns positive.
fn first_exit(field: &dyn Field, start: Vec3, ray: Vec3) -> Option<f64> {
    first_root(|r| field.value(start + ray * r), REACH_MM)
}

/// Distance from `start` (outside) along `ray` to where the field first turns negative, at most `reach_mm`.
pub(crate) fn first_entry(field: &dyn Field, start: Vec3, ray: Vec3, reach_mm: f64) -> Option<f64> {
    first_root(|r| -field.value(start + ray * r), reach_mm)
}

/// Where a function that is negative at zero and changes no faster than its argument first turns positive.
fn first_root(value: impl Fn(f64) -> f64, reach_mm: f64) -> Option<f64> {
    let (mut low, mut f_low) = (0.0, value(0.0));
    if f_low >= 0.0 {
        return None;
    }
    // March by most of the distance the field promises, so that no thin wall is jumped over.
    let (mut high, mut f_high) = loop {
        let r: f64 = low + (0.9 * f_low.abs()).max(0.25);
        if r > reach_mm {
            return None;
        }
        let f = value(r);
        if f >= 0.0 {
            break (r, f);
        }
        (low, f_low) = (r, f);
    };
    // Regula falsi with the Illinois weight (Dowell and Jarratt 1971, BIT 11:168).
    let mut side = 0;
    for _ in 0..60 {
        let r = (low * f_high - high * f_low) / (f_high - f_low);
        let f = value(r);
        if f.abs() < 1e-10 || high - low < 1e-10 {
            return Some(r);
        }
        if f < 0.0 {
            (low, f_low) = (r, f);
            if side == -1 {
                f_high *= 0.5;
            }
            side = -1;
        } else {
            (high, f_high) = (r, f);
            if side == 1 {
                f_low *= 0.5;
            }
            side = 1;
        }
    }
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    /// An elliptic cylinder along Y with semi-axes (a, b), shifted.
    struct Ellipse(f64, f64, f64, f64);
    impl Field for Ellipse {
        fn value(&self, x: Vec3) -> f64 {
            let q = (((x.x - self.2) / self.0).powi(2) + ((x.z - self.3) / self.1).powi(2)).sqrt();
            (q - 1.0) * self.0.min(self.1)
        }
    }

    fn load(force: Vec3, moment: Vec3) -> SectionLoad {
        SectionLoad {
            force_n: force,
            moment_nmm: moment,
        }
    }

    #[test]
    fn round_tube_has_the_hand_values_of_the_design_notes() {
        // OD 19.3, ID 12.1: A 177.6 mm², I 5759 mm⁴; 200 N gives 1.13 MPa, 3 N·m bending 5.03 MPa.
        let (o, i) = (9.65, 6.05);
        let s = Section::tube(
            &Ellipse(o, o, 0.0, 0.0),
            &Ellipse(i, i, 0.0, 0.0),
            Vec3::y() * 80.0,
        )
        .unwrap();
        assert!((s.area - PI * (o * o - i * i)).abs() < 1e-8);
        assert!((s.second_moments[0] - PI / 4.0 * (o.powi(4) - i.powi(4))).abs() < 1e-5);
        assert!((s.outer_diameter() - 19.3).abs() < 1e-9);
        assert!((s.wall_mm() - 3.6).abs() < 1e-9);
        let axial = s.nominal_mises(&load(Vec3::y() * 200.0, Vec3::zeros()));
        assert!((axial - 200.0 / s.area).abs() < 1e-9 && (axial - 1.13).abs() < 0.005);
        let bending = s.nominal_mises(&load(Vec3::zeros(), Vec3::x() * 3000.0));
        assert!((bending - 5.03).abs() < 0.005);
        let torsion = s.nominal_mises(&load(Vec3::zeros(), Vec3::y() * 7500.0));
        let shear = 7500.0 * o / (PI / 2.0 * (o.powi(4) - i.powi(4)));
        assert!((torsion / 3f64.sqrt() - shear).abs() < 1e-6);
    }

    #[test]
    fn off_centre_ellipse_agrees_with_the_closed_form() {
        // Centred at (1, −0.5), semi-axes 9 and 7, round concentric canal of radius 4.
        let s = Section::tube(
            &Ellipse(9.0, 7.0, 1.0, -0.5),
            &Ellipse(4.0, 4.0, 1.0, -0.5),
            Vec3::zeros(),
        )
        .unwrap();
        let xx = PI / 4.0 * (9f64.powi(3) * 7.0 - 4f64.powi(4));
        let zz = PI / 4.0 * (9.0 * 7f64.powi(3) - 4f64.powi(4));
        assert!((s.centroid - Vec3::new(1.0, 0.0, -0.5)).norm() < 1e-8);
        assert!((s.second_moments[0] / xx - 1.0).abs() < 1e-8);
        assert!((s.second_moments[1] / zz - 1.0).abs() < 1e-8);
        assert!(s.second_moments[2].abs() < 1e-6 * xx);
        // Bending about the z axis: σ = M c / I with c the semi-axis along x; the rays pass the tip
        // at up to 1/192 of a turn, which costs (2π/192)²/2 of c at most.
        let b = s.nominal_mises(&load(Vec3::zeros(), Vec3::z() * 3000.0));
        assert!((b / (3000.0 * 9.0 / xx) - 1.0).abs() < 6e-4);
    }

    #[test]
    fn section_outside_the_canal_is_no_tube() {
        let o = Ellipse(9.0, 9.0, 0.0, 0.0);
        let i = Ellipse(4.0, 4.0, 0.0, 0.0);
        assert_eq!(Section::tube(&o, &i, Vec3::x() * 6.0), None);
        assert_eq!(Section::tube(&i, &o, Vec3::zeros()), None);
    }
}
