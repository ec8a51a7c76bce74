//! Mean von Mises stress over small balls of material: the hot-spot measure.
//!
//! The ball has the radius [`RADIUS_MM`]: centred on a flat free surface, its inner half holds
//! exactly 1 mm³ of material. It is filled with a fixed cubic pattern of points, 0.2 mm apart and
//! fixed to the bone frame; the points that lie in a tetrahedron of the asked part carry equal
//! volumes, the others (void, other parts) carry none. The mean is over the former, so the volume
//! averaged over is the ball's content of that part, and does not depend on the size of the
//! tetrahedra. Balls that hold less than [`LEAST_VOLUME_MM3`] are not counted.

use crate::locator::Locator;
use bicolumn_base::Vec3;
use bicolumn_solve::{PartNodes, StressField};

/// Radius of the ball: (3 / 2π)^⅓ mm.
pub(crate) const RADIUS_MM: f64 = 0.781_592_641_796_772;
/// A ball with less material than this, mm³, says nothing.
pub(crate) const LEAST_VOLUME_MM3: f64 = 0.25;
/// Spacing of the points in the ball, mm.
const SPACING_MM: f64 = 0.2;

/// A value, MPa or a ratio, and the place where it was found.
pub(crate) type Found = (f64, Vec3);

/// What one ball holds.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct BallMean {
    /// Volume of the part inside the ball, mm³.
    pub(crate) volume_mm3: f64,
    /// Mean von Mises stress by load case, MPa; `None` where the ball holds too little.
    pub(crate) mises_mpa: Option<Vec<f64>>,
}

/// The points that fill a ball, relative to its centre, in fixed order.
pub(crate) fn pattern() -> Vec<Vec3> {
    let reach = (RADIUS_MM / SPACING_MM).ceil() as i32;
    let mut points = Vec::new();
    for i in -reach..reach {
        for j in -reach..reach {
            for k in -reach..reach {
                let p = Vec3::new(f64::from(i), f64::from(j), f64::from(k)).add_scalar(0.5);
                let p = p * SPACING_MM;
                if p.norm() < RADIUS_MM {
                    points.push(p);
                }
            }
        }
    }
    points
}

/// Means over the balls round `centres`, in order, for all stress fields.
///
/// Costs about 250 point locations a ball and one interpolation for each point and field.
pub(crate) fn ball_means(
    locator: &mut Locator<'_>,
    part_nodes: &PartNodes,
    fields: &[StressField],
    centres: impl Iterator<Item = Vec3>,
) -> Vec<BallMean> {
    let pattern = pattern();
    let point_volume = 4.0 / 3.0 * std::f64::consts::PI * RADIUS_MM.powi(3) / pattern.len() as f64;
    let mut inside: Vec<(usize, [f64; 4])> = Vec::with_capacity(pattern.len());
    centres
        .map(|centre| {
            inside.clear();
            locator.open(centre, RADIUS_MM);
            for p in &pattern {
                inside.extend(locator.find(centre + p));
            }
            let volume_mm3 = inside.len() as f64 * point_volume;
            let mises_mpa = (volume_mm3 >= LEAST_VOLUME_MM3).then(|| {
                let mean = |field: &StressField| {
                    let sum: f64 = inside
                        .iter()
                        .map(|(tet, l)| field.at(part_nodes, *tet, *l).von_mises())
                        .sum();
                    sum / inside.len() as f64
                };
                fields.iter().map(mean).collect()
            });
            BallMean {
                volume_mm3,
                mises_mpa,
            }
        })
        .collect()
}

/// Index and value of the ball with the largest mean in one load case, of those `counted` accepts.
/// The first wins a tie.
pub(crate) fn hottest(
    balls: &[BallMean],
    case: usize,
    counted: impl Fn(usize) -> bool,
) -> Option<(usize, f64)> {
    let mut best: Option<(usize, f64)> = None;
    for (i, ball) in balls.iter().enumerate() {
        if let Some(m) = &ball.mises_mpa
            && counted(i)
            && best.is_none_or(|b| m[case] > b.1)
        {
            best = Some((i, m[case]));
        }
    }
    best
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_the_ball_is_one_cubic_millimetre() {
        let volume = 4.0 / 3.0 * std::f64::consts::PI * RADIUS_MM.powi(3);
        assert!((volume - 2.0).abs() < 1e-12);
        let pattern = pattern();
        // The pattern is symmetric, so a plane through the centre halves it.
        let above = pattern.iter().filter(|p| p.y > 0.0).count();
        assert_eq!(2 * above, pattern.len());
        assert!(pattern.len() > 200, "{}", pattern.len());
    }

    #[test]
    fn hottest_takes_the_largest_counted_ball() {
        let ball = |m: Option<f64>| BallMean {
            volume_mm3: 1.0,
            mises_mpa: m.map(|m| vec![m]),
        };
        let balls = [
            ball(Some(1.0)),
            ball(Some(5.0)),
            ball(None),
            ball(Some(3.0)),
        ];
        assert_eq!(hottest(&balls, 0, |_| true), Some((1, 5.0)));
        assert_eq!(hottest(&balls, 0, |i| i != 1), Some((3, 3.0)));
        assert_eq!(hottest(&balls, 0, |i| i == 2), None);
    }
}
