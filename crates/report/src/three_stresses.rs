//! Bone stress at the last screw, beyond the plate's end and along the shaft, side by side.

use crate::by_level::{Member, table_by_level};
use crate::distinct_cases::DistinctCase;
use crate::labels::{capital, factor_words};
use crate::number::Decimals;
use crate::peak_places::edge_words;
use crate::study_view::{Group, StudyView, response};
use crate::tables::{NONE, Table};
use bicolumn_response::{LargestOfPlates, LastScrew, PlateColumn, ResponseId, ResponseName, Shaft};
use bicolumn_store::PointRecord;

/// One of the three: the stress, its ratio to the nominal stress, and a head.
struct Question {
    stress: ResponseId,
    factor: ResponseId,
    head: &'static str,
}

const QUESTIONS: [Question; 3] = [
    Question {
        stress: ResponseId::LargestOfPlates(LargestOfPlates::LastScrew),
        factor: ResponseId::LargestOfPlates(LargestOfPlates::LastScrewFactor),
        head: "at the last screw",
    },
    Question {
        stress: ResponseId::LargestOfPlates(LargestOfPlates::BeyondEnd),
        factor: ResponseId::LargestOfPlates(LargestOfPlates::BeyondEndFactor),
        head: "beyond the end",
    },
    Question {
        stress: ResponseId::Shaft(Shaft::Peak),
        factor: ResponseId::Shaft(Shaft::Factor),
        head: "along the shaft",
    },
];

fn names() -> [ResponseName; 3] {
    QUESTIONS.each_ref().map(|q| q.stress.into())
}

/// Is any of the three on record?
fn is_told(view: &StudyView) -> bool {
    let mut cases = view.done().flat_map(|p| &p.cases);
    cases.any(|c| {
        let mut told = names().into_iter().filter_map(|n| c.response(&n)?.value);
        told.next().is_some()
    })
}

/// A table a construct: a row a load case and level, the three stresses with their ratio to nominal and the edge that a
/// value lies on.
pub(crate) fn three_stress_tables(view: &StudyView) -> Vec<Table> {
    if !is_told(view) {
        return Vec::new();
    }
    let own = names();
    let distinct = view.distinct_cases(&own.each_ref());
    let decimals = Decimals::of(view.done().flat_map(|p| &p.cases).flat_map(|c| {
        let values = own.iter().filter_map(|n| c.response(n)?.value);
        values.collect::<Vec<f64>>()
    }));
    let groups = view.groups();
    let heads = QUESTIONS.iter().map(|q| q.head);
    let heads = heads
        .chain(["of yield at the last screw, %"])
        .map(String::from);
    let heads: Vec<String> = heads.collect();
    let table = |group: &Group<'_>| {
        let caption = format!(
            "{}: bone stress, MPa (in brackets its ratio to the nominal beam stress of the intact section there; means \
             where a row stands for several points)",
            capital(&group.label)
        );
        table_by_level(
            view,
            group,
            &distinct,
            caption,
            heads.clone(),
            |case, member| {
                let points = |name: &ResponseName| member.points(view, group, case, name);
                let of_question =
                    |q: &Question| cell(view, &points(&q.stress.into()), case, q, decimals);
                let stresses = QUESTIONS.iter().map(of_question);
                let yielding = of_yield(&points(&own[0]), case);
                Some(stresses.chain([yielding]).collect())
            },
        )
    };
    groups.iter().map(table).collect()
}

fn cell(
    view: &StudyView,
    points: &[&PointRecord],
    case: &DistinctCase,
    question: &Question,
    decimals: Decimals,
) -> String {
    let name = question.stress.into();
    let Some(found) = view.mean_of_response(points, &case.name, &name) else {
        return NONE.into();
    };
    let factor = view.mean_of_response(points, &case.name, &question.factor.into());
    let factor = factor.map_or(String::new(), |f| format!(" ({:.2})", f.mean));
    let edge = |p: &&PointRecord| response(p, &case.name, &name)?.place?.edge;
    let edge = match points.iter().find_map(edge) {
        Some(edge) => format!(", {}", edge_words(edge)),
        None => String::new(),
    };
    format!("{}{factor}{edge}", decimals.show(found.mean))
}

/// Largest part of yield at the last screws of some points, over a load case and its reverse: bone yields sooner in
/// tension.
fn of_yield(points: &[&PointRecord], case: &DistinctCase) -> String {
    let names = PlateColumn::ALL.map(|p| LastScrew::OfYield.of(p).into());
    let cases = [Some(&case.name), case.reverse.as_ref()];
    let values = points.iter().flat_map(|p| {
        let of_case = |c: &String| names.each_ref().map(|n| response(p, c, n)?.value);
        let all = cases.into_iter().flatten().flat_map(of_case).flatten();
        all.collect::<Vec<f64>>()
    });
    let largest = values.reduce(f64::max);
    largest.map_or(NONE.into(), |v| format!("{v:.0}"))
}

/// Whether the three stresses are least at the same level, construct by construct and load case by load case; `None`
/// where nothing is compared.
pub(crate) fn ranking_sentence(view: &StudyView) -> Option<String> {
    let over = view.over()?;
    let own = names();
    let distinct = view.distinct_cases(&own.each_ref());
    let (mut alike, mut differing) = (0, Vec::new());
    for group in view.groups() {
        let mut cases = Vec::new();
        for case in &distinct {
            // Means over unequal partners rank nothing.
            let common = |name| view.has_common_partners(&group, &case.name, name);
            let least = own.each_ref().map(|name| {
                let members = Member::all(view, &group).into_iter();
                let values = members.filter(|_| common(name)).filter_map(|member| {
                    let points = member.points(view, &group, case, name);
                    let cell = view.mean_of_response(&points, &case.name, name)?;
                    Some((member.words(view), cell.mean))
                });
                let values: Vec<(String, f64)> = values.collect();
                let is_compared = values.len() > 1;
                let least = values.into_iter().min_by(|a, b| a.1.total_cmp(&b.1));
                least.filter(|_| is_compared).map(|l| l.0)
            });
            let told: Vec<&String> = least.iter().flatten().collect();
            if told.len() < 2 {
                continue;
            }
            match told.iter().all(|l| *l == told[0]) {
                true => alike += 1,
                false => cases.push(case.words()),
            }
        }
        if !cases.is_empty() {
            differing.push(format!("{} under {}", group.label, cases.join(", ")));
        }
    }
    if alike == 0 && differing.is_empty() {
        return None;
    }
    let over = factor_words(over);
    Some(match differing.is_empty() {
        true => format!(
            "Stress at the last screw, beyond the plate's end and along the shaft is least at the same {over} under every \
             load case."
        ),
        false => format!(
            "Stress at the last screw, beyond the plate's end and along the shaft is not least at the same {over}: {}. \
             Which construct is the better one there depends on which of the three is asked for; they stand side by side \
             in a table below.",
            capital(&differing.join("; "))
        ),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{place_at, synthetic_study};
    use bicolumn_response::Edge;
    use bicolumn_store::ResponseRecord;

    /// The invented study with a stress beyond the end that falls as the stress at the last screw rises.
    fn view(opposed: bool) -> StudyView {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        let lead = view.lead().unwrap().clone();
        for case in view.points.iter_mut().flat_map(|p| &mut p.cases) {
            let own = case.response(&lead).unwrap().clone();
            let value = own.value.unwrap();
            case.responses.push(ResponseRecord {
                name: LargestOfPlates::BeyondEnd.into(),
                value: Some(if opposed { 100.0 - value } else { 0.5 * value }),
                place: Some(place_at(95.0, Some(Edge::PlateEnd))),
                ..own
            });
        }
        view
    }

    #[test]
    fn a_ranking_that_differs_is_told_and_one_that_agrees_too() {
        let text = ranking_sentence(&view(false)).unwrap();
        assert!(
            text.contains("is least at the same stagger under every load case"),
            "{text}"
        );
        let text = ranking_sentence(&view(true)).unwrap();
        assert!(
            text.contains("is not least at the same stagger: Parallel under axial"),
            "{text}"
        );
    }

    #[test]
    fn unequal_partners_are_not_ranked() {
        let mut view = view(true);
        assert!(ranking_sentence(&view).is_some());
        // A second factor of which every level of stagger has a level of its own.
        let key = "plates.thickness_mm".to_string();
        for point in &mut view.points {
            let own = point.factors["plates.stagger_mm"].clone();
            point.factors.insert(key.clone(), own);
        }
        view.record.factors.push((key, Vec::new()));
        assert_eq!(ranking_sentence(&view), None);
    }

    #[test]
    fn the_table_shows_the_values_their_ratio_and_their_edge() {
        let view = view(false);
        let tables = three_stress_tables(&view);
        assert_eq!(tables.len(), 2);
        let hot = crate::synthetic::hot_spot("parallel", -20.0, "axial");
        let row = &tables[0].rows[1].cells;
        assert_eq!(row[0], "stagger \u{2212}20\u{a0}mm");
        assert_eq!(row[1], format!("{hot:.1} ({:.2})", 1.0 + hot / 40.0));
        assert_eq!(
            row[2],
            format!("{:.1}, at the level of the plate's end", 0.5 * hot)
        );
        assert_eq!(row[3..], [NONE, NONE]);
    }
}
