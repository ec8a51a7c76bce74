//! Screws as built: hole, direction, length, hold, and distances to their neighbours.

use crate::rod::Rod;
use crate::screw_limits::TIP_CLEARANCE;
use crate::{Concession, Construct, Plate, Screw, ScrewRow};
use bicolumn_base::{PlateSite, ScrewNumber, Vec3};

/// A screw as built. Its shank is the cylinder of the core from the outer face of its plate, or from the bone's surface,
/// to the tip.
#[derive(Debug, Clone, PartialEq)]
pub struct ScrewAsBuilt {
    /// The screw.
    pub number: ScrewNumber,
    /// Its hole, counted from 1 at the plate's proximal end; none without a plate.
    pub hole: Option<usize>,
    /// Distance of that hole's centre from the plate's proximal end along its centre line, mm.
    pub from_end_mm: Option<f64>,
    /// Angle between its axis and that of the hole, degrees.
    pub tilt_deg: Option<f64>,
    /// Longest length asked for, mm; none for shaft screws, which follow the bone.
    pub asked_length_mm: Option<f64>,
    /// Cortices that it was to hold in; none where nothing is asked.
    pub asked_cortices: Option<u8>,
    /// Cortices that it holds in.
    pub cortices: u8,
    /// The nearest other screw with the distance between both shanks, their ends taken as round, mm.
    pub nearest_screw: Option<(ScrewNumber, f64)>,
    /// The nearest plate that is not its own, without its holes, with the distance from the shank, mm; to 0.2 mm.
    pub nearest_plate: Option<(PlateSite, f64)>,
    /// Concessions.
    pub given_up: Vec<Concession>,
}

impl Construct {
    /// Its screws as built, in order.
    pub fn screws_as_built(&self) -> Vec<ScrewAsBuilt> {
        let rods: Vec<Rod> = self.screws.iter().map(|s| self.shank(s)).collect();
        let clouds: Vec<Cloud<'_>> = self.plates.iter().map(Cloud::of).collect();
        let screws = self.screws.iter().enumerate();
        screws
            .map(|(n, s)| {
                let plate = self.plates.iter().find(|p| Some(p.site) == s.plate);
                let hole = plate.and_then(|p| {
                    let index = p.holes.iter().position(|h| h.screw == Some(s.number))?;
                    Some((p, index, &p.holes[index]))
                });
                let others = (0..rods.len()).filter(|k| *k != n);
                let to_screw = others.map(|k| (self.screws[k].number, rods[n].clearance(&rods[k])));
                let clouds = clouds.iter().filter(|c| Some(c.plate.site) != s.plate);
                let to_plate = clouds.map(|c| (c.plate.site, c.distance_mm(&rods[n])));
                ScrewAsBuilt {
                    number: s.number,
                    hole: hole.map(|(p, index, _)| p.holes.len() - index),
                    from_end_mm: hole.map(|(p, _, h)| p.length_mm - h.along_mm),
                    tilt_deg: hole.map(|(_, _, h)| angle_deg(s.direction, h.axis)),
                    asked_length_mm: self.asked_length_mm(s),
                    asked_cortices: self.asked_cortices(s),
                    cortices: s.cortices(&self.bone),
                    nearest_screw: least(to_screw),
                    nearest_plate: least(to_plate),
                    given_up: self.given_up(s),
                }
            })
            .collect()
    }

    /// A screw's shank from the outer face of its plate.
    fn shank(&self, screw: &Screw) -> Rod {
        let plate = self.plates.iter().find(|p| Some(p.site) == screw.plate);
        let back = plate.map_or(0.0, |p| {
            let holes = p.holes.iter().find(|h| h.screw == Some(screw.number));
            let cosine = holes.map_or(1.0, |h| h.axis.dot(&screw.direction).max(0.5));
            (p.stand_off_mm + p.thickness_mm) / cosine
        });
        Rod {
            from: screw.entry - screw.direction * back,
            ..Rod::in_bone(screw)
        }
    }

    /// Place of a screw among those independent of plates.
    fn index(&self, screw: &Screw) -> Option<usize> {
        let mut independent = self.screws.iter().filter(|s| s.plate.is_none());
        independent.position(|s| s.number == screw.number)
    }

    fn asked_length_mm(&self, screw: &Screw) -> Option<f64> {
        match screw.row {
            ScrewRow::Shaft => None,
            ScrewRow::Distal => Some(self.plate_spec(screw)?.distal_screw_length_mm),
            ScrewRow::Independent => {
                let asked = self.spec.independent.get(self.index(screw)?)?;
                Some(asked.length_mm)
            }
        }
    }

    fn asked_cortices(&self, screw: &Screw) -> Option<u8> {
        (screw.row == ScrewRow::Shaft).then(|| {
            Some(if self.plate_spec(screw)?.bicortical {
                2
            } else {
                1
            })
        })?
    }

    fn plate_spec(&self, screw: &Screw) -> Option<&crate::PlateSpec> {
        let mut plates = self.spec.plates.iter();
        plates.find(|p| Some(p.site.into()) == screw.plate)
    }

    fn given_up(&self, screw: &Screw) -> Vec<Concession> {
        let laid = self.concessions.get(&screw.number).into_iter().flatten();
        laid.copied().chain(self.shortened(screw)).collect()
    }

    /// Reason why a screw independent of plates is shorter than asked.
    fn shortened(&self, screw: &Screw) -> Option<Concession> {
        /// Step that such a screw is shortened by, mm.
        const STEP: f64 = 0.5;
        let asked = (screw.row == ScrewRow::Independent)
            .then(|| self.asked_length_mm(screw))
            .flatten()?;
        if screw.length_mm > asked - 0.01 {
            return None;
        }
        let longer = screw.entry + screw.direction * (screw.length_mm + STEP);
        let keep = 0.5 * screw.diameter_mm + TIP_CLEARANCE;
        Some(match self.bone.inner().value(longer) > -keep {
            true => Concession::ShorterInBone,
            false => Concession::ShorterAtFracture,
        })
    }
}

fn least<K>(distances: impl Iterator<Item = (K, f64)>) -> Option<(K, f64)> {
    distances.min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Angle between two unit vectors, degrees.
pub(crate) fn angle_deg(a: Vec3, b: Vec3) -> f64 {
    a.cross(&b).norm().atan2(a.dot(&b)).to_degrees()
}

/// Points of a plate's volume without its holes, on a cubic lattice.
struct Cloud<'a> {
    plate: &'a Plate,
    points: Vec<Vec3>,
}

/// Spacing of the lattice, mm.
const SPACING: f64 = 0.7;
/// Least step by which a point is moved, mm.
const LEAST_STEP: f64 = 0.02;

impl<'a> Cloud<'a> {
    fn of(plate: &'a Plate) -> Cloud<'a> {
        let reach = 0.7 * plate.width_mm.max(plate.distal_width_mm)
            + plate.stand_off_mm
            + plate.thickness_mm;
        let places = 0..=(plate.length_mm / 3.0).ceil() as i32;
        let line = places.map(|i| {
            plate
                .centre_line((3.0 * f64::from(i)).min(plate.length_mm))
                .0
        });
        let (low, high) = line.fold(
            (Vec3::repeat(f64::MAX), Vec3::repeat(f64::MIN)),
            |(low, high), p| (low.inf(&p), high.sup(&p)),
        );
        let steps = (high - low + Vec3::repeat(2.0 * reach)) / SPACING;
        let mut points = Vec::new();
        for i in 0..=steps.x.ceil() as i32 {
            for j in 0..=steps.y.ceil() as i32 {
                for k in 0..=steps.z.ceil() as i32 {
                    let at = Vec3::new(f64::from(i), f64::from(j), f64::from(k));
                    let x = low - Vec3::repeat(reach) + at * SPACING;
                    if plate.is_inside(x) {
                        points.push(x);
                    }
                }
            }
        }
        Cloud { plate, points }
    }

    /// Distance of a rod's surface to the plate, mm: from the nearest point of the cloud, moved within the plate while
    /// that brings it nearer.
    fn distance_mm(&self, rod: &Rod) -> f64 {
        let nearest = self.points.iter().map(|x| (*x, off_cylinder(rod, *x)));
        let Some((mut at, mut best)) = least(nearest) else {
            return f64::INFINITY;
        };
        let sides = [-1.0, 0.0, 1.0];
        let around = || {
            sides.into_iter().flat_map(move |i| {
                let beside = move |j| sides.map(|k| Vec3::new(i, j, k));
                sides.into_iter().flat_map(beside)
            })
        };
        let mut step = SPACING;
        while step > LEAST_STEP {
            let moved = around().map(|by| at + by * step);
            let nearer = moved.map(|x| (x, off_cylinder(rod, x)));
            let mut nearer: Vec<(Vec3, f64)> = nearer.filter(|(_, d)| *d < best - 1e-9).collect();
            nearer.sort_by(|a, b| a.1.total_cmp(&b.1));
            match nearer.into_iter().find(|(x, _)| self.plate.is_inside(*x)) {
                Some(found) => (at, best) = found,
                None => step *= 0.5,
            }
        }
        best
    }
}

/// Distance of a point outside a rod, a cylinder with flat ends, from its surface, mm.
fn off_cylinder(rod: &Rod, x: Vec3) -> f64 {
    let axis = (rod.to - rod.from).normalize();
    let along = (x - rod.from).dot(&axis);
    let beside = (x - rod.from - axis * along).norm() - rod.radius;
    let beyond = (along - rod.length()).max(-along);
    beside.max(0.0).hypot(beyond.max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bone::tests::mean_bone;
    use crate::{ConstructSpec, IndependentScrewSpec};

    /// Ends and radius of a screw's shank, laid out anew: its axis from the plate's outer face to the tip.
    fn shank(c: &Construct, s: &Screw) -> (Vec3, Vec3, f64) {
        let plate = c.plates.iter().find(|p| Some(p.site) == s.plate);
        let back = plate.map_or(0.0, |p| {
            let top = p.stand_off_mm + p.thickness_mm;
            let hole = p.holes.iter().find(|h| h.screw == Some(s.number)).unwrap();
            top / hole.axis.dot(&s.direction)
        });
        (s.entry - s.direction * back, s.tip(), 0.5 * s.diameter_mm)
    }

    fn samples((from, to, _): (Vec3, Vec3, f64), n: usize) -> Vec<Vec3> {
        let at = |i: usize| from + (to - from) * (i as f64 / n as f64);
        (0..=n).map(at).collect()
    }

    fn with_independent() -> Construct {
        let mut spec = ConstructSpec::orthogonal();
        spec.independent.push(IndependentScrewSpec {
            hold: crate::ScrewHold::Positional,
            ..IndependentScrewSpec::default()
        });
        Construct::on_bone(mean_bone(), &spec).unwrap()
    }

    #[test]
    fn distances_to_the_nearest_screw_are_those_of_densely_sampled_axes() {
        for c in [
            Construct::on_bone(mean_bone(), &ConstructSpec::parallel()).unwrap(),
            with_independent(),
        ] {
            let built = c.screws_as_built();
            for (n, s) in c.screws.iter().enumerate() {
                let mut nearest = (f64::MAX, s.number);
                for other in c.screws.iter().filter(|o| o.number != s.number) {
                    let (a, b) = (shank(&c, s), shank(&c, other));
                    let of_b = samples(b, 600);
                    for p in samples(a, 600) {
                        for q in &of_b {
                            let gap = (p - q).norm() - a.2 - b.2;
                            if gap < nearest.0 {
                                nearest = (gap, other.number);
                            }
                        }
                    }
                }
                let (number, gap) = built[n].nearest_screw.unwrap();
                assert!((gap - nearest.0).abs() < 0.01, "{gap} {nearest:?}");
                // Two may be alike near; the distance decides.
                assert!(number == nearest.1 || gap >= nearest.0 - 0.01);
                assert!(gap >= c.spec.clearance_mm - 0.03);
            }
        }
    }

    #[test]
    fn no_plate_lies_within_the_distance_told_and_one_does_a_little_beyond() {
        let slack = 0.2;
        for spec in [ConstructSpec::parallel(), ConstructSpec::orthogonal()] {
            let c = Construct::on_bone(mean_bone(), &spec).unwrap();
            for (s, built) in c.screws.iter().zip(c.screws_as_built()) {
                let (site, gap) = built.nearest_plate.unwrap();
                assert!(Some(site) != s.plate && gap >= spec.clearance_mm - slack);
                let plate = c.plates.iter().find(|p| p.site == site).unwrap();
                // Does the shank, grown by a distance all round, reach into the plate?
                let reaches = |by: f64| {
                    let (from, to, radius) = shank(&c, s);
                    let axis = (to - from).normalize();
                    let (a, b) = crate::rod::across(axis);
                    // Points a quarter of a millimetre apart at most.
                    let around = (std::f64::consts::TAU * (radius + by) / 0.25).ceil();
                    let turns = (0..around as i32).map(|k| f64::from(k) / around);
                    let turns = turns.map(|t| (std::f64::consts::TAU * t).sin_cos());
                    let ring: Vec<Vec3> =
                        turns.map(|(sine, cosine)| a * cosine + b * sine).collect();
                    let n = ((to - from).norm() / 0.1) as usize;
                    let mut circles: Vec<(Vec3, f64)> = samples((from, to, radius), n)
                        .into_iter()
                        .map(|p| (p, radius + by))
                        .collect();
                    for (end, out) in [(from, -axis), (to, axis)] {
                        for k in 0..=40 {
                            let share = f64::from(k) / 40.0;
                            circles.push((end + out * by, share * radius));
                            let (sine, cosine) = (std::f64::consts::FRAC_PI_2 * share).sin_cos();
                            circles.push((end + out * (by * sine), radius + by * cosine));
                        }
                    }
                    let mut points = circles
                        .iter()
                        .flat_map(|(p, r)| ring.iter().map(move |d| p + d * *r));
                    points.any(|x| plate.value(x) < 0.0)
                };
                assert!(!reaches(gap - slack), "{} {gap} too far", s.number);
                // A corner of the plate is sharper than the points are dense.
                let corner = 0.5;
                assert!(reaches(gap + corner), "{} {gap} too near", s.number);
            }
        }
    }

    #[test]
    fn holes_tilts_and_concessions_are_those_of_the_construct() {
        let c = Construct::on_bone(mean_bone(), &ConstructSpec::parallel()).unwrap();
        for (s, built) in c.screws.iter().zip(c.screws_as_built()) {
            let plate = c.plates.iter().find(|p| Some(p.site) == s.plate).unwrap();
            let hole = plate.holes.iter().rev().nth(built.hole.unwrap() - 1);
            assert_eq!(hole.unwrap().screw, Some(s.number));
            let from_end = plate.length_mm - hole.unwrap().along_mm;
            assert!((built.from_end_mm.unwrap() - from_end).abs() < 1e-12);
            let cosine = hole.unwrap().axis.dot(&s.direction);
            assert!((built.tilt_deg.unwrap().to_radians().cos() - cosine).abs() < 1e-9);
            assert_eq!(built.asked_cortices.is_some(), s.row == ScrewRow::Shaft);
            let is_short = built
                .asked_length_mm
                .is_some_and(|l| s.length_mm < l - 0.01);
            let is_told = built
                .given_up
                .iter()
                .any(|g| g.kind().starts_with("shorter"));
            assert_eq!(is_short, is_told, "{}: {:?}", s.number, built.given_up);
            if built
                .asked_cortices
                .is_some_and(|asked| asked > built.cortices)
            {
                assert!(built.given_up.iter().any(|g| g.lacks_a_cortex()));
            }
        }
    }
}
