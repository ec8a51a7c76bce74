//! Differences that are not credited to the factor that is compared, and why.

use crate::study_view::response;
use bicolumn_base::Word;
use bicolumn_response::{
    BeyondEnd, Choice, Edge, LargestOfPlates, LastScrew, PlateColumn, ResponseId, ResponseName,
};
use bicolumn_store::{PointRecord, ResponseRecord, one_cortex_screws};

/// Reason that a difference is not credited to a factor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Withheld {
    /// A value lies on the edge of the region in which it was sought: it is set by where the region ends.
    OnEdge(Edge),
    /// With one choice of the response's definition changed the difference has the other sign.
    NotDecided(Choice),
    /// The plate raises no stress there: the peak is the intact bone's own bending or torsion.
    NoRiser,
    /// Shaft screws that end before the far cortex, at the baseline and at the level.
    OneCortex {
        /// At the baseline, over its points.
        baseline: usize,
        /// At the level.
        level: usize,
    },
}

/// Concentration factor below which a bone stress counts as no stress riser (judgement: some three times the mesh
/// noise of such a ratio).
pub(crate) const LEAST_RISER: f64 = 1.05;

/// Reason that the difference of a response between points at a level and their partners at the baseline is not
/// credited to the factor `over`; `None` where it may be.
pub(crate) fn withheld(
    over: &str,
    name: &ResponseName,
    case: &str,
    points: &[&PointRecord],
    partners: &[&PointRecord],
) -> Option<Withheld> {
    // Where one side has a riser and the other none, the difference is a riser's, and real.
    let mut both = points.iter().chain(partners);
    if both.all(|p| is_no_riser(p, case, name) == Some(true)) {
        return Some(Withheld::NoRiser);
    }
    let mut both = points.iter().chain(partners);
    let edge_of = |p: &&PointRecord| response(p, case, name)?.place?.edge;
    if let Some(edge) = both.find_map(edge_of) {
        return Some(Withheld::OnEdge(edge));
    }
    if over.ends_with("bicortical") {
        return None;
    }
    let count = |points: &[&PointRecord]| -> Option<usize> {
        points.iter().map(|p| one_cortex_screws(p)).sum()
    };
    let (level, baseline) = (count(points)?, count(partners)?);
    (level != baseline).then_some(Withheld::OneCortex { baseline, level })
}

/// Choice of a response's definition with which a difference between points and their partners has the other sign
/// than `difference`; `None` where all choices on record agree.
pub(crate) fn reversing_choice(
    name: &ResponseName,
    case: &str,
    points: &[&PointRecord],
    partners: &[&PointRecord],
    difference: f64,
) -> Option<Choice> {
    Choice::ALL.iter().copied().find(|choice| {
        let of = |points| mean_under(points, case, name, *choice);
        let both = of(points).zip(of(partners));
        both.is_some_and(|(a, b)| (a - b) * difference < 0.0)
    })
}

/// Mean over points of a response with one choice of its definition changed; `None` unless all have it.
pub(crate) fn mean_under(
    points: &[&PointRecord],
    case: &str,
    name: &ResponseName,
    choice: Choice,
) -> Option<f64> {
    let of = |p: &&PointRecord| {
        let under = &response(p, case, name)?.under;
        under.iter().find(|u| u.choice == choice)?.value
    };
    let values: Option<Vec<f64>> = points.iter().map(of).collect();
    let values = values.filter(|v| !v.is_empty())?;
    Some(values.iter().sum::<f64>() / values.len() as f64)
}

/// Is a bone stress at a plate no stress riser: does it exceed the nominal stress of its section by less than
/// [`LEAST_RISER`], or lie on the proximal edge of its region, where it is the shaft's own bending or torsion? `None` for
/// other responses, and where neither is on record.
pub(crate) fn is_no_riser(point: &PointRecord, case: &str, name: &ResponseName) -> Option<bool> {
    let id = name.id()?;
    let of_plates = [LargestOfPlates::LastScrew, LargestOfPlates::BeyondEnd];
    let factor = |largest: LargestOfPlates| match largest {
        LargestOfPlates::LastScrew => |p| LastScrew::Factor.of(p).into(),
        _ => |p| -> ResponseId { BeyondEnd::Factor.of(p).into() },
    };
    let is_of = |largest: &LargestOfPlates| {
        let own = PlateColumn::ALL.map(|p| largest.of_one_plate(p));
        id == (*largest).into() || own.contains(&id)
    };
    let largest = of_plates.into_iter().find(is_of)?;
    let found = response(point, case, name)?;
    let (value, at) = (found.value?, found.at_mm);
    // The larger of two plates' values is that plate's own.
    let plate = PlateColumn::ALL.into_iter().find(|plate| {
        let own = response(point, case, &largest.of_one_plate(*plate).into());
        own.is_some_and(|r: &ResponseRecord| r.value == Some(value) && r.at_mm == at)
    });
    let factor = plate.and_then(|p| response(point, case, &factor(largest)(p).into())?.value);
    let is_low = factor.map(|f| f < LEAST_RISER);
    let is_at_rim = found.place.map(|p| p.edge == Some(Edge::Proximal));
    match (is_low, is_at_rim) {
        (None, None) => None,
        (low, rim) => Some(low == Some(true) || rim == Some(true)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::study_view::StudyView;
    use crate::synthetic::{HEADLINE, place_at, synthetic_study};
    use bicolumn_response::Load;

    /// A point whose medial plate governs, its stress so many times the nominal one, on an edge or not.
    fn point(edge: Option<Edge>, factor: f64) -> PointRecord {
        let (_temp, folder) = synthetic_study();
        let mut point = StudyView::read(folder).unwrap().points[1].clone();
        for case in &mut point.cases {
            let mut largest = case
                .responses
                .iter()
                .find(|r| r.name == HEADLINE)
                .unwrap()
                .clone();
            largest.place = Some(place_at(90.0, edge));
            case.responses.retain(|r| r.name != HEADLINE);
            let own = ResponseRecord {
                name: LastScrew::Structural.of(PlateColumn::Medial).into(),
                ..largest.clone()
            };
            let ratio = ResponseRecord {
                name: LastScrew::Factor.of(PlateColumn::Medial).into(),
                value: Some(factor),
                ..own.clone()
            };
            case.responses.extend([largest, own, ratio]);
        }
        point
    }

    #[test]
    fn a_stress_at_the_proximal_edge_or_as_high_as_nominal_is_no_riser() {
        let clear = point(None, 1.3);
        for (edge, factor, expected) in [
            (Some(Edge::Proximal), 1.00, true),
            (Some(Edge::Proximal), 1.30, true),
            (None, 1.00, true),
            (None, 1.30, false),
            (None, 1.06, false),
        ] {
            let p = point(edge, factor);
            assert_eq!(
                is_no_riser(&p, "axial", &HEADLINE),
                Some(expected),
                "{edge:?} {factor}"
            );
            let against = |partner: &PointRecord| {
                withheld("plates.stagger_mm", &HEADLINE, "axial", &[&p], &[partner])
            };
            // No riser on either side: the change is the region's. A riser on one side alone is a difference, unless
            // the other lies on an edge.
            assert_eq!(against(&p) == Some(Withheld::NoRiser), expected);
            let on_edge = edge.map(Withheld::OnEdge);
            assert_eq!(against(&clear), on_edge);
        }
        let on_screw = point(Some(Edge::Screw), 1.3);
        let found = withheld(
            "plates.stagger_mm",
            &HEADLINE,
            "axial",
            &[&on_screw],
            &[&clear],
        );
        assert_eq!(found, Some(Withheld::OnEdge(Edge::Screw)));
        assert_eq!(
            is_no_riser(&point(None, 1.0), "axial", &Load::Stiffness.into()),
            None
        );
    }

    #[test]
    fn a_level_whose_screws_miss_the_far_cortex_is_not_credited() {
        let with = |cortices: u8| {
            let mut p = point(None, 1.3);
            for s in &mut p.screws {
                s.cortices = Some(cortices);
            }
            p
        };
        let (level, staggered) = (with(1), with(2));
        let all = level.screws.len();
        let of = |over| withheld(over, &HEADLINE, "axial", &[&staggered], &[&level]);
        let wanted = Withheld::OneCortex {
            baseline: all,
            level: 0,
        };
        assert_eq!(of("plates.stagger_mm"), Some(wanted));
        // Where the cortices are the factor, they are what is compared.
        assert_eq!(of("screws.bicortical"), None);
        assert_eq!(
            withheld(
                "plates.stagger_mm",
                &HEADLINE,
                "axial",
                &[&level],
                &[&level]
            ),
            None
        );
    }
}
