//! Wanted edge lengths of a construct's mesh.

use crate::{LatticePose, SizeField, SizeRegion};
use serde::{Deserialize, Serialize};

/// Wanted edge lengths by feature.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sizing {
    /// Finest lattice cell, mm: proximal plate ends, screws, hole rims.
    pub finest_mm: f64,
    /// Body of the plates, as a multiple of `finest_mm`.
    pub plate_ratio: f64,
    /// Fracture faces, as a multiple.
    pub fracture_ratio: f64,
    /// Far from all hardware, as a multiple.
    pub far_ratio: f64,
    /// Largest cell in a wall, as a multiple of the wall's own thickness.
    pub wall_ratio: f64,
    /// Largest cell at a screw, as a multiple of its radius.
    pub screw_ratio: f64,
    /// At the bone's surface round the uppermost screw of each plate, where the stress near its end peaks, as a
    /// multiple of `finest_mm`.
    pub riser_ratio: f64,
    /// Growth of the size with distance, mm per mm.
    pub growth: f64,
    /// Where the lattice lies: another pose gives another mesh of the same fineness.
    pub pose: LatticePose,
    /// In place of the sizes by feature; must cover [`material_box`](crate::program::material_box).
    pub size_field: Option<SizeField>,
    /// Regions with a size of their own.
    pub regions: Vec<SizeRegion>,
}

impl Default for Sizing {
    fn default() -> Self {
        Sizing {
            finest_mm: 1.25,
            plate_ratio: 1.7,
            fracture_ratio: 1.7,
            far_ratio: 4.0,
            wall_ratio: 1.5,
            screw_ratio: 1.2,
            riser_ratio: 0.5,
            growth: 0.35,
            pose: LatticePose::default(),
            size_field: None,
            regions: Vec::new(),
        }
    }
}

impl Sizing {
    /// All edge lengths by one factor, those that follow walls and screws and those of fields and regions too.
    pub fn scaled(&self, factor: f64) -> Sizing {
        Sizing {
            finest_mm: self.finest_mm * factor,
            wall_ratio: self.wall_ratio * factor,
            screw_ratio: self.screw_ratio * factor,
            size_field: self.size_field.as_ref().map(|f| f.scaled(factor)),
            regions: self.regions.iter().map(|r| r.scaled(factor)).collect(),
            ..self.clone()
        }
    }

    /// The same sizes on a lattice shifted and turned: pose `n` of a fixed sequence that fills cell and angles evenly.
    ///
    /// Additive recurrence with the reciprocal powers of the root of x⁷ = x + 1 (Roberts 2018, "R-sequence",
    /// from memory); six coordinates: three shifts within one cell, three turns within ± 0.6 rad.
    pub fn posed(&self, n: usize) -> Sizing {
        const ROOT: f64 = 1.112_775_684_278_705_5;
        let part = |k: i32| (0.5 + n as f64 * ROOT.powi(-k)).fract();
        let mut posed = self.clone();
        for k in 0..3 {
            posed.pose.shift_mm[k] += self.finest_mm * part(k as i32 + 1);
            posed.pose.rotation_rad[k] += 1.2 * (part(k as i32 + 4) - 0.5);
        }
        posed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_factor_scales_every_edge() {
        let sizing = Sizing::default();
        let double = sizing.scaled(2.0);
        for (edge, twice) in [
            (sizing.finest_mm, double.finest_mm),
            (
                sizing.far_ratio * sizing.finest_mm,
                double.far_ratio * double.finest_mm,
            ),
            (sizing.wall_ratio, double.wall_ratio),
            (sizing.screw_ratio, double.screw_ratio),
        ] {
            assert!((twice - 2.0 * edge).abs() < 1e-15, "{edge} became {twice}");
        }
        assert_eq!(sizing.scaled(1.0), sizing);
    }

    #[test]
    fn poses_differ_and_stay_within_a_cell() {
        let sizing = Sizing::default();
        let mut seen = Vec::new();
        for n in 1..9 {
            let p = sizing.posed(n).pose;
            for k in 0..3 {
                let shift = p.shift_mm[k] - sizing.pose.shift_mm[k];
                assert!((0.0..sizing.finest_mm).contains(&shift));
                assert!((p.rotation_rad[k] - sizing.pose.rotation_rad[k]).abs() <= 0.6);
            }
            assert!(!seen.contains(&p));
            seen.push(p);
        }
        // The root that the recurrence rests on.
        let x: f64 = 1.112_775_684_278_705_5;
        assert!((x.powi(7) - x - 1.0).abs() < 1e-12);
    }
}
