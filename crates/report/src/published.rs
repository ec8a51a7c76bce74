//! Published values beside the computed ones.

use crate::labels::shown_unit;
use crate::number::Decimals;
use crate::study_view::StudyView;
use crate::tables::{Row, Table};
use bicolumn_store::{Comparison, compare_published, levels_in_words};

/// The table; `None` where the job sets no published value beside its own.
pub(crate) fn published_table(view: &StudyView) -> Option<Table> {
    let all = compare_published(&view.record, &view.points);
    if all.is_empty() {
        return None;
    }
    Some(Table {
        caption: "Predicted beside published. A value holds if it lies, with all of its estimated discretisation error (behind \
                  ±), inside the band that the job states: two standard deviations about the published mean, or a share of it. A \
                  ratio adds the relative errors of both values; an order holds if the ratio of sizes lies on its side of 1. Where the \
                  job names factors that the source does not tell, the least and the greatest value over them follow, and a verdict \
                  is given only if it is the same at all. What else is not told is in the table of inputs, as default. The file published.csv holds the same with full digits."
            .into(),
        heads: [
            "published value",
            "construct",
            "unit",
            "verdict",
            "published",
            "band",
            "predicted",
            "difference, %",
            "source",
        ]
        .map(String::from)
        .to_vec(),
        rows: all.iter().map(row).collect(),
        words: 4,
    })
}

fn row(c: &Comparison) -> Row {
    let p = &c.published;
    let scale = p.value.or(c.computed).unwrap_or(1.0);
    let decimals = Decimals::of([scale].into_iter());
    let none = || "–".to_string();
    let over = [
        p.over.as_deref().map(levels_in_words),
        p.over_response.as_ref().map(|r| r.words()),
        p.over_case.as_ref().map(|c| c.replace('_', " ")),
    ];
    let over: Vec<String> = over.into_iter().flatten().collect();
    let construct = match over.is_empty() {
        true => levels_in_words(&p.at),
        false => format!("{}, over {}", levels_in_words(&p.at), over.join(", ")),
    };
    let published = match (p.value, p.sd, p.order) {
        (Some(value), Some(sd), _) => {
            format!("{} (SD {})", decimals.show(value), decimals.show(sd))
        }
        (Some(value), None, _) => decimals.show(value),
        (None, _, order) => order.map_or_else(none, |o| o.told().to_string()),
    };
    let published = match p.n {
        Some(n) => format!("{published}, n {n}"),
        None => published,
    };
    let predicted = c.computed.map_or_else(none, |x| match c.error {
        Some(e) => decimals.show_with(x, e),
        None => decimals.show(x),
    });
    let predicted = match &c.interval {
        Some(i) => format!(
            "{predicted}; {} at {} to {} at {}",
            decimals.show(i.low),
            levels_in_words(&i.low_at),
            decimals.show(i.high),
            levels_in_words(&i.high_at)
        ),
        None => predicted,
    };
    let whole = Decimals::of([100.0].into_iter());
    Row {
        cells: vec![
            format!(
                "{}: {}, {}",
                p.name.replace('_', " "),
                p.response.words(),
                p.case.replace('_', " ")
            ),
            construct,
            shown_unit(&c.unit),
            c.verdict.told(),
            published,
            c.band
                .map_or_else(none, |band| match (band.low, band.high) {
                    (Some(low), Some(high)) => {
                        format!("{} to {}", decimals.show(low), decimals.show(high))
                    }
                    (Some(low), None) => format!("above {}", decimals.show(low)),
                    (None, Some(high)) => format!("below {}", decimals.show(high)),
                    (None, None) => none(),
                }),
            predicted,
            c.difference_percent().map_or_else(none, |d| whole.show(d)),
            format!("{} ({})", p.source, p.read_from),
        ],
        ..Row::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::synthetic_study;
    use bicolumn_response::Load;
    use bicolumn_store::PublishedRecord;

    #[test]
    fn a_published_value_stands_beside_the_point_that_it_names() {
        let (_temp, folder) = synthetic_study();
        let mut view = StudyView::read(folder).unwrap();
        assert!(published_table(&view).is_none());
        let point = &mut view.points[0];
        let at: Vec<(String, String)> = point
            .factors
            .iter()
            .map(|(k, v)| (k.clone(), v.to_string()))
            .collect();
        let case = point.cases[0].name.clone();
        let name = bicolumn_response::ResponseName::from(Load::Stiffness);
        let r = point.cases[0]
            .responses
            .iter_mut()
            .find(|r| r.name == name)
            .unwrap();
        (r.value, r.error_estimate) = (Some(260.0), Some(4.0));
        view.record.published = vec![PublishedRecord {
            name: "bench".into(),
            response: Load::Stiffness.into(),
            case,
            at,
            over: None,
            over_response: None,
            over_case: None,
            untold: vec![],
            value: Some(272.0),
            order: None,
            sd: Some(10.0),
            n: None,
            band_percent: None,
            source: "invented".into(),
            read_from: "table".into(),
            not_comparable: None,
        }];
        let table = published_table(&view).unwrap();
        let cells = table.rows[0].cells.join("|");
        assert!(
            cells.contains("|holds|272 (SD 10)|252 to 292|260 ± 4|"),
            "{cells}"
        );
    }
}
