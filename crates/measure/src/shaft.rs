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

    /// Nominal beam stress of the intact section at a level, MPa.
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
