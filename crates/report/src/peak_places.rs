//! Places of the headline values, and the edges that they lie on.

use crate::credit::{LEAST_RISER, is_no_riser};
use crate::study_view::{StudyView, response};
use bicolumn_response::Edge;

/// Places of the headline values, counted over points and load cases (two load cases that are each other's reverse
/// count once): how many lie on an edge of the region in which they were sought, and how many are no stress riser.
///
/// `None` when no headline value has a place on record.
pub(crate) fn peak_sentence(view: &StudyView) -> Option<String> {
    let name = view.lead()?;
    let (mut all, mut no_riser) = (0, 0);
    let mut on_edge: Vec<(Edge, usize)> = Vec::new();
    for point in view.done() {
        for case in view.distinct_cases(&[name]) {
            let found = response(point, &case.name, name).filter(|r| r.value.is_some());
            let Some(place) = found.and_then(|r| r.place) else {
                continue;
            };
            all += 1;
            if is_no_riser(point, &case.name, name) == Some(true) {
                no_riser += 1;
            }
            if let Some(edge) = place.edge {
                match on_edge.iter_mut().find(|(e, _)| *e == edge) {
                    Some((_, n)) => *n += 1,
                    None => on_edge.push((edge, 1)),
                }
            }
        }
    }
    if all == 0 {
        return None;
    }
    let total: usize = on_edge.iter().map(|(_, n)| n).sum();
    let edges = match total {
        0 => "none lies on an edge of the region in which it was sought".to_string(),
        n => {
            let parts = on_edge
                .iter()
                .map(|(e, n)| format!("{}: {n}", edge_words(*e)));
            format!(
                "{n} {} on an edge of the region of the definition, where the number is set by where the region ends ({})",
                if n == 1 { "lies" } else { "lie" },
                parts.collect::<Vec<_>>().join("; ")
            )
        }
    };
    let low = match no_riser {
        0 => String::new(),
        n => format!(
            "; no stress riser, below {LEAST_RISER} times the nominal stress of its section or on the region's proximal edge: {n}"
        ),
    };
    Some(format!(
        "Of these {all} values (one a point and load case), {edges}{low}."
    ))
}

/// An edge in words.
pub(crate) fn edge_words(edge: Edge) -> &'static str {
    match edge {
        Edge::PlateEnd => "at the level of the plate's end",
        Edge::Proximal => "at the proximal limit",
        Edge::Distal => "at the distal limit",
        Edge::Across => "at the side of the band",
        Edge::Screw => "at a screw's neighbourhood",
        Edge::BondedEdge => "at a bonded plate's edge",
        Edge::Ring => "beside a direction in which another screw is",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{place_at, synthetic_study};

    #[test]
    fn values_are_counted_by_edge() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let name = view.lead().unwrap().clone();
        let put = |view: &mut StudyView, edge_of: &dyn Fn(usize) -> Option<Edge>| {
            let mut count = 0;
            for point in view.points.iter_mut() {
                for (i, case) in point.cases.iter_mut().enumerate() {
                    for r in case.responses.iter_mut().filter(|r| r.name == name) {
                        r.place = Some(place_at(90.0, edge_of(i)));
                        count += 1;
                    }
                }
            }
            count
        };
        let count = put(&mut view, &|_| None);
        let text = peak_sentence(&view).unwrap();
        let wanted =
            format!("Of these {count} values (one a point and load case), none lies on an edge");
        assert!(text.starts_with(&wanted), "{text}");

        put(&mut view, &|i| (i == 0).then_some(Edge::Screw));
        let points = view.done().count();
        let text = peak_sentence(&view).unwrap();
        let wanted = format!("), {points} lie on an edge");
        assert!(text.contains(&wanted), "{text}");
        assert!(
            text.contains(&format!("at a screw's neighbourhood: {points})")),
            "{text}"
        );
    }

    #[test]
    fn records_without_places_say_nothing() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        assert_eq!(peak_sentence(&view), None);
    }
}
