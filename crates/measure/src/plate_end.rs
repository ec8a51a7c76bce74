//! Bone stress at the proximal end of a plate, and how much the plate raises it.

use crate::ball::{BallFiller, Found};
use crate::collar::in_collar;
use crate::facet_point::spread;
use crate::hottest_ball::hottest_balls;
use crate::locator::Locator;
use crate::percentile::weighted_percentile;
use crate::recovered::Recovered;
use crate::shaft::{HIGH, OuterCortex};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_geometry::{Bone, Plate};
use bicolumn_mesh::SurfaceName;

/// The band reaches this far beyond the plate's width in all, mm.
const MARGIN_MM: f64 = 5.0;

/// Largest edge of the triangle of outer cortex that a hot-spot centre stands for, mm.
///
/// Much finer than the facets: the stress rises steeply towards the collars, where centres end, so that with
/// facet corners for centres each mesh stopped at another distance from a collar, and the hot-spot
/// moved by 4 to 5 % from one pose of the lattice to the next.
const CENTRE_SPACING_MM: f64 = 0.25;

/// The outer cortex round a plate's end: from one shaft diameter above the end's level to half a
/// diameter below it, at most (width + 5 mm)/2 across from the centre line, on the plate's side of
/// the shaft axis.
pub(crate) struct PlateEnd {
    /// Samples of [`OuterCortex`] in the band.
    samples: Vec<usize>,
    /// The hottest ball by load case, centres in collars left out.
    hotspot: Vec<Option<Found>>,
    /// The same with collars.
    hotspot_collar: Vec<Option<Found>>,
    /// In the intact bone: the ball of `hotspot`, and the hottest one over the same centres.
    intact: Vec<Option<f64>>,
    intact_band: Vec<Option<Found>>,
}

/// Stress measures at a plate's end in one load case; `None` where no node qualifies.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct PlateEndStress {
    /// 99th percentile by area of von Mises, collars left out, MPa.
    pub(crate) p99_mises: Option<f64>,
    /// The same of the largest principal stress.
    pub(crate) p99_principal: Option<f64>,
    /// 99th percentile of von Mises over the collars alone.
    pub(crate) p99_mises_collar: Option<f64>,
    /// Largest ball mean and its centre, centres in collars left out.
    pub(crate) hotspot: Option<Found>,
    /// The same with collars.
    pub(crate) hotspot_collar: Option<Found>,
    /// The ball of `hotspot` in the intact bone.
    pub(crate) intact: Option<f64>,
    /// Largest ball mean of the intact bone over the same centres.
    pub(crate) intact_band: Option<Found>,
    /// Nominal beam stress of the section through `hotspot`.
    pub(crate) beam: Option<f64>,
}

impl PlateEnd {
    /// Finds the band of a plate and the content of its balls.
    pub(crate) fn of(
        plate: &Plate,
        cortex: &OuterCortex,
        model: &Recovered<'_>,
        locator: &mut Locator<'_>,
        intact: Option<(&Recovered<'_>, &mut Locator<'_>)>,
    ) -> Option<Self> {
        let bone = &model.solved.construct.bone;
        let diameter = cortex
            .section(model, plate.end_level_mm)
            .or_else(|| cortex.section(model, plate.end_level_mm + 0.5 * plate.width_mm))?
            .outer_diameter();
        let inside = |x: Vec3| in_band(x, plate, bone, diameter);
        let samples = (0..cortex.points.len())
            .filter(|i| inside(cortex.points[*i].at))
            .collect();
        let (clear, in_collars) = centres(model, plate, diameter, &inside);
        let found = |hot: Vec<Option<(usize, f64)>>, at: &[Vec3]| -> Vec<Option<Found>> {
            hot.into_iter()
                .map(|h| h.map(|(i, v)| (v, at[i])))
                .collect()
        };
        let hotspot = found(hottest_balls(locator, model.stress, &clear), &clear);
        let collar = found(
            hottest_balls(locator, model.stress, &in_collars),
            &in_collars,
        );
        let hotspot_collar = hotspot.iter().zip(collar).map(|(a, b)| hotter(*a, b));
        let hotspot_collar = hotspot_collar.collect();
        let (intact, intact_band) = intact.map_or_else(
            || (vec![None; hotspot.len()], vec![None; hotspot.len()]),
            |(m, l)| {
                let band = found(hottest_balls(l, m.stress, &clear), &clear);
                let mut filler = BallFiller::new(l, m.stress);
                let mut there = |(case, hot): (usize, &Option<Found>)| {
                    let ball = filler.mean((*hot)?.1);
                    ball.mises_mpa?.get(case).copied()
                };
                (hotspot.iter().enumerate().map(&mut there).collect(), band)
            },
        );
        Some(PlateEnd {
            samples,
            hotspot,
            hotspot_collar,
            intact,
            intact_band,
        })
    }

    /// Measures one load case; `stress` is that of [`OuterCortex::stress`].
    pub(crate) fn measure(
        &self,
        cortex: &OuterCortex,
        model: &Recovered<'_>,
        stress: &[SymTensor],
        case: usize,
    ) -> PlateEndStress {
        let p99 = |in_collar: bool, value: fn(&SymTensor) -> f64| {
            let mut values: Vec<(f64, f64)> = self
                .samples
                .iter()
                .filter(|i| cortex.collar[**i] == in_collar)
                .map(|i| (value(&stress[*i]), cortex.points[*i].area_mm2))
                .collect();
            weighted_percentile(&mut values, HIGH)
        };
        let hotspot = self.hotspot.get(case).copied().flatten();
        PlateEndStress {
            p99_mises: p99(false, SymTensor::von_mises),
            p99_principal: p99(false, |s| s.principal()[0]),
            p99_mises_collar: p99(true, SymTensor::von_mises),
            hotspot,
            hotspot_collar: self.hotspot_collar.get(case).copied().flatten(),
            intact: self.intact.get(case).copied().flatten(),
            intact_band: self.intact_band.get(case).copied().flatten(),
            beam: hotspot.and_then(|(_, at)| {
                let section = cortex.section(model, at.y)?;
                Some(cortex.beam_stress(model, &section, case))
            }),
        }
    }
}

/// The larger of two; the first wins a tie.
fn hotter(a: Option<Found>, b: Option<Found>) -> Option<Found> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.0 > a.0 { b } else { a }),
        (a, b) => a.or(b),
    }
}

/// Hot-spot centres in a plate's band, outside the collars and in them.
fn centres(
    model: &Recovered<'_>,
    plate: &Plate,
    diameter: f64,
    inside: &dyn Fn(Vec3) -> bool,
) -> (Vec<Vec3>, Vec<Vec3>) {
    let construct = model.solved.construct;
    let mut points = vec![];
    for f in model.mesh.facets_on(SurfaceName::BoneOuter) {
        let corners = f.nodes[..3].iter().map(|n| model.mesh.nodes[*n as usize].y);
        let above = corners.map(|y| y - plate.end_level_mm);
        let (low, high) = above.fold((f64::MAX, f64::MIN), |(l, h), y| (l.min(y), h.max(y)));
        if low <= diameter && high >= -0.5 * diameter && model.is_shaft_cortex(f.tet as usize) {
            spread(model.mesh, f, CENTRE_SPACING_MM, &mut points);
        }
    }
    let points = points.iter().map(|p| p.at).filter(|x| inside(*x));
    points.partition(|x| !in_collar(*x, &construct.plates, &construct.screws))
}

fn in_band(x: Vec3, plate: &Plate, bone: &Bone, diameter: f64) -> bool {
    let above_end = x.y - plate.end_level_mm;
    if above_end > diameter || above_end < -0.5 * diameter {
        return false;
    }
    let (end, tangent, normal) = plate.centre_line(plate.length_mm);
    if (x - bone.shaft_axis(x.y)).dot(&normal) <= 0.0 {
        return false;
    }
    // Beyond the end the centre line goes on straight; below it the plate's own coordinates hold.
    let across = if (x - end).dot(&tangent) > 0.0 {
        (x - end).dot(&tangent.cross(&normal))
    } else {
        plate.locate(x).1
    };
    across.abs() <= 0.5 * (plate.width_mm + MARGIN_MM)
}
