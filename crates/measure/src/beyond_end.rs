//! Bone stress beyond the proximal end of a plate, screws' neighbourhoods apart: what the end itself does.

use crate::ball::{BallFiller, Found};
use crate::collar::{COLLAR_MM, from_bonded_edge_mm, from_wall_mm};
use crate::facet_point::spread;
use crate::hot_stress::HotStress;
use crate::hottest_ball::{hottest_places, hottest_places_above};
use crate::last_screw::wall_mm;
use crate::locator::Locator;
use crate::percentile::weighted_percentile;
use crate::recovered::Recovered;
use crate::severity::Severity;
use crate::shaft::{HIGH, OuterCortex};
use bicolumn_base::{SymTensor, Vec3};
use bicolumn_geometry::{Construct, Plate};
use bicolumn_mesh::SurfaceName;
use bicolumn_response::{Choice, Edge};

/// The band reaches this far beyond the plate's width in all, mm.
const MARGIN_MM: f64 = 5.0;
/// Largest edge of the triangle of outer cortex that a centre stands for, mm: much finer than the facets, so that a
/// maximum does not hop from facet to facet with the mesh.
const CENTRE_SPACING_MM: f64 = 0.25;
/// A centre this near to the region's edge lies on it, mm: two spacings of the centres.
const ON_EDGE_MM: f64 = 2.0 * CENTRE_SPACING_MM;

/// Region of the outer cortex beyond a plate's end.
struct Region<'a> {
    construct: &'a Construct,
    plate: &'a Plate,
    /// Height above the end: one shaft diameter, mm.
    height_mm: f64,
    /// Width of the neighbourhood of a screw's wall: the thickness of the cortex, mm.
    from_screw_mm: f64,
}

/// Where a point lies in the band beyond the end.
struct InBand {
    above_end_mm: f64,
    /// Distance across from the centre line, without sign.
    across_mm: f64,
    /// On the plate's side of the shaft's axis, distance from it.
    out_mm: f64,
    from_screw_mm: f64,
    from_bonded_edge_mm: f64,
}

/// Choices of the region: width across, and clearance in multiples of the neighbourhoods.
#[derive(Clone, Copy, PartialEq, PartialOrd)]
struct Limits {
    across_mm: f64,
    clearance: f64,
}

impl Region<'_> {
    /// `None` below the end, above the region, or on the far side of the shaft.
    fn locate(&self, x: Vec3) -> Option<InBand> {
        let above_end_mm = x.y - self.plate.end_level_mm;
        if !(0.0..=self.height_mm).contains(&above_end_mm) {
            return None;
        }
        let (end, tangent, normal) = self.plate.centre_line(self.plate.length_mm);
        let out_mm = (x - self.construct.bone.shaft_axis(x.y)).dot(&normal);
        if out_mm <= 0.0 {
            return None;
        }
        let walls = self.construct.screws.iter().map(|s| from_wall_mm(x, s));
        Some(InBand {
            above_end_mm,
            across_mm: (x - end).dot(&tangent.cross(&normal)).abs(),
            out_mm,
            from_screw_mm: walls.fold(f64::INFINITY, f64::min),
            from_bonded_edge_mm: from_bonded_edge_mm(x, &self.construct.plates, 3.0 * COLLAR_MM),
        })
    }

    fn limits(&self) -> Limits {
        Limits {
            across_mm: 0.5 * (self.plate.width_mm + MARGIN_MM),
            clearance: 1.0,
        }
    }

    fn holds(&self, b: &InBand, limits: Limits) -> bool {
        b.across_mm <= limits.across_mm
            && b.from_screw_mm >= limits.clearance * self.from_screw_mm
            && b.from_bonded_edge_mm >= limits.clearance * COLLAR_MM
    }

    /// The edge that a point of the region lies on.
    fn edge(&self, b: &InBand) -> Option<Edge> {
        let limits = self.limits();
        let off = [
            (b.above_end_mm, Edge::PlateEnd),
            (self.height_mm - b.above_end_mm, Edge::Proximal),
            (b.from_screw_mm - self.from_screw_mm, Edge::Screw),
            (b.from_bonded_edge_mm - COLLAR_MM, Edge::BondedEdge),
            (limits.across_mm - b.across_mm, Edge::Across),
            (b.out_mm, Edge::Across),
        ];
        off.into_iter()
            .find(|(mm, _)| *mm <= ON_EDGE_MM)
            .map(|(_, edge)| edge)
    }
}

/// Stress beyond a plate's end, for all load cases.
pub(crate) struct BeyondEnd {
    /// Found stress by load case; `None` where no ball holds enough bone.
    pub(crate) hot: Vec<Option<HotStress>>,
    /// Largest ball mean of the intact bone over the same centres.
    pub(crate) intact: Vec<Option<Found>>,
    /// Samples of [`OuterCortex`] in the region.
    samples: Vec<usize>,
}

impl BeyondEnd {
    /// Searches the region beyond a plate's end; `None` where the shaft is no empty tube there.
    pub(crate) fn of(
        plate: &Plate,
        cortex: &OuterCortex,
        model: &Recovered<'_>,
        locator: &mut Locator,
        intact: Option<(&Recovered<'_>, &mut Locator)>,
    ) -> Option<Self> {
        let level = plate.end_level_mm;
        let section = cortex
            .section(model, level)
            .or_else(|| cortex.section(model, level + 0.5 * plate.width_mm))?;
        let region = Region {
            construct: model.solved.construct,
            plate,
            height_mm: section.outer_diameter(),
            from_screw_mm: wall_mm(cortex, model, level)?,
        };
        let standard = region.limits();
        let with = |across_mm: f64, clearance: f64| Limits {
            across_mm,
            clearance,
        };
        let half = 0.5 * plate.width_mm;
        let wide = with(half + MARGIN_MM, 1.0);
        let variants = [
            (Choice::HalfClearance, with(standard.across_mm, 0.5)),
            (Choice::DoubleClearance, with(standard.across_mm, 2.0)),
            (Choice::NarrowBand, with(half, 1.0)),
            (Choice::WideBand, wide),
        ];
        let points = centres(model, &region, wide.across_mm);
        // Centres that are in the same of all these regions are searched together, each once.
        let membership = |b: &InBand| {
            let all = variants.iter().map(|v| v.1).chain([standard]);
            all.map(|l| region.holds(b, l)).collect::<Vec<bool>>()
        };
        let mut classes: Vec<(Vec<bool>, Vec<Vec3>)> = Vec::new();
        for (x, b) in &points {
            let of = membership(b);
            if !of.contains(&true) {
                continue;
            }
            match classes.iter_mut().find(|c| c.0 == of) {
                Some(class) => class.1.push(*x),
                None => classes.push((of, vec![*x])),
            }
        }
        let cases = model.solved.problem.cases().len();
        let mut found: Vec<Vec<Option<Found>>> = Vec::new();
        for (class, at) in &classes {
            // What does not exceed the best of each of its regions is of no use.
            let floor = |case: usize| {
                let places = (0..class.len()).filter(|p| class[*p]);
                let best = places.map(|place| {
                    let same = classes.iter().zip(&found).filter(|(c, _)| c.0[place]);
                    let values = same.filter_map(|(_, f)| f[case]).map(|f| f.0);
                    values.fold(0.0, f64::max)
                });
                best.fold(f64::INFINITY, f64::min)
            };
            let floors: Vec<f64> = (0..cases).map(floor).collect();
            let stress = model.stress;
            found.push(hottest_places_above(locator, stress, at, 1.0, &floors));
        }
        let mut search = |at: &[Vec3], scale: f64| hottest_places(locator, model.stress, at, scale);
        let over = |place: usize, case: usize| -> Option<Found> {
            let of = classes.iter().zip(&found).filter(|(c, _)| c.0[place]);
            of.filter_map(|(_, f)| f[case])
                .reduce(|a, b| if b.0 > a.0 { b } else { a })
        };
        let own: Vec<Vec3> = points
            .iter()
            .filter(|(_, b)| region.holds(b, standard))
            .map(|(x, _)| *x)
            .collect();
        let small = search(&own, 0.5);
        let large = search(&own, 2.0);
        let mut filler = BallFiller::new(locator, model.stress);
        let hot = (0..cases).map(|case| {
            let (value, at) = over(variants.len(), case)?;
            let (tensor, tet) = filler.tensor(at, case)?;
            let mut under: Vec<(Choice, Option<f64>)> = variants
                .iter()
                .enumerate()
                .map(|(i, (choice, _))| (*choice, over(i, case).map(|f| f.0)))
                .collect();
            under.push((Choice::HalfBall, small[case].map(|f| f.0)));
            under.push((Choice::DoubleBall, large[case].map(|f| f.0)));
            under.sort_by_key(|u| u.0);
            let elasticity = model.solved.problem.elasticity_of(tet);
            Some(HotStress {
                value_mpa: value,
                at,
                edge: region.locate(at).and_then(|b| region.edge(&b)),
                beam_mpa: cortex.beam_at(model, at.y, case),
                severity: Severity::of(&tensor, &elasticity),
                balls: vec![(1.0, at)],
                under,
            })
        });
        let hot = hot.collect();
        let intact = intact.map_or_else(
            || vec![None; cases],
            |(m, l)| hottest_places(l, m.stress, &own, 1.0),
        );
        let in_region = |x: Vec3| {
            let band = region.locate(x);
            band.is_some_and(|b| region.holds(&b, standard))
        };
        Some(BeyondEnd {
            hot,
            intact,
            samples: (0..cortex.points.len())
                .filter(|i| in_region(cortex.points[*i].at))
                .collect(),
        })
    }

    /// 99th percentile by area of von Mises in the region; `stress` is that of [`OuterCortex::stress`].
    pub(crate) fn p99(&self, cortex: &OuterCortex, stress: &[SymTensor]) -> Option<f64> {
        let samples = self.samples.iter();
        let mut values: Vec<(f64, f64)> = samples
            .map(|i| (stress[*i].von_mises(), cortex.points[*i].area_mm2))
            .collect();
        weighted_percentile(&mut values, HIGH)
    }
}

/// Centres in the band, up to a distance across, whatever their clearance.
fn centres(model: &Recovered<'_>, region: &Region<'_>, across_mm: f64) -> Vec<(Vec3, InBand)> {
    let mut points = vec![];
    for f in model.mesh.facets_on(SurfaceName::BoneOuter) {
        let corners = f.nodes[..3].iter().map(|n| model.mesh.nodes[*n as usize].y);
        let above = corners.map(|y| y - region.plate.end_level_mm);
        let (low, high) = above.fold((f64::MAX, f64::MIN), |(l, h), y| (l.min(y), h.max(y)));
        if low <= region.height_mm && high >= 0.0 && model.is_shaft_cortex(f.tet as usize) {
            spread(model.mesh, f, CENTRE_SPACING_MM, &mut points);
        }
    }
    let points = points.iter().map(|p| p.at);
    points
        .filter_map(|x| Some((x, region.locate(x)?)))
        .filter(|(_, b)| b.across_mm <= across_mm)
        .collect()
}
