//! Bone stress at the proximal end of a plate, and how much the plate raises it.

use crate::ball::{BallMean, Found, ball_means, hottest};
use crate::locator::Locator;
use crate::percentile::weighted_percentile;
use crate::recovered::Recovered;
use crate::shaft::{HIGH, OuterCortex};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_geometry::{Bone, Plate};

/// The band reaches this far beyond the plate's width in all, mm.
const MARGIN_MM: f64 = 5.0;

/// The outer cortex round a plate's end: from one shaft diameter above the end's level to half a
/// diameter below it, at most (width + 5 mm)/2 across from the centre line, on the plate's side of
/// the shaft axis.
pub(crate) struct PlateEnd {
    /// Samples of [`OuterCortex`] in the band.
    samples: Vec<usize>,
    /// Hot-spot centres in the band, their collars and balls.
    centres: Vec<Vec3>,
    collar: Vec<bool>,
    balls: Vec<BallMean>,
    /// The same balls in the intact bone.
    intact: Option<Vec<BallMean>>,
}

/// What is measured at a plate's end in one load case; `None` where nothing qualifies.
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
        let chosen: Vec<usize> = (0..cortex.centres.len())
            .filter(|i| inside(cortex.centres[*i]))
            .collect();
        let centres: Vec<Vec3> = chosen.iter().map(|i| cortex.centres[*i]).collect();
        let collar = chosen.iter().map(|i| cortex.centre_collar[*i]).collect();
        let at = || centres.iter().copied();
        let balls = ball_means(locator, model.stress, at());
        let intact = intact.map(|(m, l)| ball_means(l, m.stress, at()));
        Some(PlateEnd {
            samples,
            centres,
            collar,
            balls,
            intact,
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
        let clear = |i: usize| !self.collar[i];
        let place = |hot: (usize, f64)| (hot.1, self.centres[hot.0]);
        let hot = hottest(&self.balls, case, clear);
        let intact = self.intact.as_ref();
        PlateEndStress {
            p99_mises: p99(false, SymTensor::von_mises),
            p99_principal: p99(false, |s| s.principal()[0]),
            p99_mises_collar: p99(true, SymTensor::von_mises),
            hotspot: hot.map(place),
            hotspot_collar: hottest(&self.balls, case, |_| true).map(place),
            intact: hot.and_then(|(i, _)| {
                let ball = &intact?[i];
                ball.mises_mpa.as_ref()?.get(case).copied()
            }),
            intact_band: intact.and_then(|b| hottest(b, case, clear)).map(place),
            beam: hot.and_then(|(i, _)| {
                let section = cortex.section(model, self.centres[i].y)?;
                Some(cortex.beam_stress(model, &section, case))
            }),
        }
    }
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
