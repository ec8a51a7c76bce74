//! The outer cortex of the shaft: where bone stress is read, and the profile along it.

use crate::ShaftProfile;
use crate::collar::in_collar;
use crate::facet_point::{FacetPoint, spread};
use crate::percentile::{weighted_mean, weighted_percentile};
use crate::recovered::Recovered;
use crate::section::{Section, SectionLoad};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_mesh::SurfaceName;

/// Largest edge of the triangle a stress sample stands for, mm: some hundred samples a band.
const SPACING_MM: f64 = 0.7;
/// The share of area below the reported high value.
pub(crate) const HIGH: f64 = 0.99;

/// Samples of the outer surface of the proximal fragment's cortex, free or under a bonded plate.
pub(crate) struct OuterCortex {
    /// The samples.
    pub(crate) points: Vec<FacetPoint>,
    /// Lies in a collar (see [`in_collar`]), by sample.
    pub(crate) collar: Vec<bool>,
    /// Above this level the shaft is an empty tube.
    pub(crate) tube_floor_mm: f64,
    /// Highest level of a sample, at the clamped face.
    top_mm: f64,
}

impl OuterCortex {
    pub(crate) fn of(model: &Recovered<'_>) -> Self {
        let mesh = model.mesh;
        let mut points = Vec::new();
        for f in mesh.facets_on(SurfaceName::BoneOuter) {
            if !model.is_shaft_cortex(f.tet as usize) {
                continue;
            }
            spread(mesh, f, SPACING_MM, &mut points);
        }
        let construct = model.solved.construct;
        let collar_at = |x: Vec3| in_collar(x, &construct.plates, &construct.screws);
        OuterCortex {
            top_mm: points.iter().map(|p| p.at.y).fold(f64::MIN, f64::max),
            collar: points.iter().map(|p| collar_at(p.at)).collect(),
            points,
            tube_floor_mm: construct.bone.spec().canal_floor_mm,
        }
    }

    /// Stress at every sample in one load case.
    pub(crate) fn stress(&self, model: &Recovered<'_>, case: usize) -> Vec<SymTensor> {
        self.points
            .iter()
            .map(|p| model.stress_at(case, p))
            .collect()
    }

    /// The shaft's section at a level; `None` where it is no empty tube.
    pub(crate) fn section(&self, model: &Recovered<'_>, level_mm: f64) -> Option<Section> {
        if level_mm < self.tube_floor_mm {
            return None;
        }
        let bone = &model.solved.construct.bone;
        let axis = bone.shaft_axis(level_mm);
        Section::tube(bone.outer(), bone.inner(), axis)
    }

    /// Nominal beam stress of the intact section at a level, MPa; `None` where it is no empty tube.
    pub(crate) fn beam_at(&self, model: &Recovered<'_>, level_mm: f64, case: usize) -> Option<f64> {
        let section = self.section(model, level_mm)?;
        Some(self.beam_stress(model, &section, case))
    }

    /// Nominal beam stress of an intact section, MPa.
    pub(crate) fn beam_stress(&self, model: &Recovered<'_>, section: &Section, case: usize) -> f64 {
        let load = SectionLoad::below(
            &model.solved.problem.cases()[case],
            &model.mesh.nodes,
            section.centroid,
        );
        section.nominal_mises(&load)
    }

    /// Bands 1 mm high at whole levels from the fracture (from the joint axis without one) up.
    pub(crate) fn bands(&self) -> Bands {
        let mut by_level: std::collections::BTreeMap<i64, Vec<usize>> = Default::default();
        for (i, p) in self.points.iter().enumerate() {
            if p.at.y >= 0.0 && !self.collar[i] {
                by_level.entry(p.at.y.floor() as i64).or_default().push(i);
            }
        }
        Bands {
            samples: by_level.into_iter().collect(),
        }
    }
}

/// Largest values of a profile, each with the index of its band.
pub(crate) struct ShaftPeaks {
    /// The largest 99th percentile.
    pub(crate) stress: Option<usize>,
    /// The largest ratio of one to its nominal beam stress.
    pub(crate) factor: Option<(usize, f64)>,
    /// First and last band that count.
    pub(crate) ends: Option<(usize, usize)>,
}

impl ShaftPeaks {
    /// Peaks of a profile over the bands below the reach of the clamp: one shaft diameter, beyond which the restraint
    /// of a section's shape has died away (Saint-Venant's principle).
    pub(crate) fn of(profile: &ShaftProfile, cortex: &OuterCortex, model: &Recovered<'_>) -> Self {
        let diameter = cortex
            .section(model, cortex.top_mm - 0.5)
            .map_or(0.0, |s| s.outer_diameter());
        let counted = |level: f64| level + 0.5 <= cortex.top_mm - diameter;
        let levels = profile.level_mm.iter();
        let bands: Vec<usize> = levels
            .enumerate()
            .filter(|(_, l)| counted(**l))
            .map(|(i, _)| i)
            .collect();
        let stress = bands.iter().copied().reduce(|a, b| {
            let is_higher = profile.high_mpa[b] > profile.high_mpa[a];
            if is_higher { b } else { a }
        });
        let factors = bands.iter().filter_map(|i| {
            let beam = profile.beam_mpa[*i].filter(|b| *b > 0.0)?;
            Some((*i, profile.high_mpa[*i] / beam))
        });
        ShaftPeaks {
            stress,
            factor: factors.reduce(|a, b| if b.1 > a.1 { b } else { a }),
            ends: bands.first().copied().zip(bands.last().copied()),
        }
    }
}

/// Samples of the outer cortex by 1 mm of level, collars left out.
pub(crate) struct Bands {
    /// (whole level at the band's lower side, samples), ascending.
    samples: Vec<(i64, Vec<usize>)>,
}

impl Bands {
    /// The sections at the bands' middles, to be used for all load cases.
    pub(crate) fn sections(
        &self,
        cortex: &OuterCortex,
        model: &Recovered<'_>,
    ) -> Vec<Option<Section>> {
        self.samples
            .iter()
            .map(|(level, _)| cortex.section(model, *level as f64 + 0.5))
            .collect()
    }

    /// The profile of one load case.
    pub(crate) fn profile(
        &self,
        cortex: &OuterCortex,
        model: &Recovered<'_>,
        sections: &[Option<Section>],
        stress: &[SymTensor],
        case: usize,
    ) -> ShaftProfile {
        let mut profile = ShaftProfile::default();
        for ((level, samples), section) in self.samples.iter().zip(sections) {
            let mut mises: Vec<(f64, f64)> = samples
                .iter()
                .map(|i| (stress[*i].von_mises(), cortex.points[*i].area_mm2))
                .collect();
            let mean = weighted_mean(mises.iter().copied());
            if let (Some(high), Some(mean)) = (weighted_percentile(&mut mises, HIGH), mean) {
                profile.level_mm.push(*level as f64 + 0.5);
                profile.high_mpa.push(high);
                profile.mean_mpa.push(mean);
                profile
                    .beam_mpa
                    .push(section.as_ref().map(|s| cortex.beam_stress(model, s, case)));
            }
        }
        profile
    }
}
