//! Points that no other point betters: low headline stress, small motion across the fracture, high stiffness, weighed together.

use crate::error::{ReportError, table_bytes};
use crate::study_view::{StudyView, response, value_of};
use crate::tables::{Row, Table, cells};
use bicolumn_response::{Load, Motion, ResponseId, ResponseName};
use bicolumn_stats::pareto_front;
use bicolumn_store::table_columns::PARETO;
use bicolumn_store::{PointRecord, REPLICATE};

/// Least number of points: of fewer, nearly all are on the front.
const LEAST_POINTS: usize = 5;

/// Responses that are weighed, with the sign that makes the smaller better.
fn weighed(view: &StudyView, case: &str) -> Vec<(ResponseName, f64)> {
    let stiffness = [Load::Stiffness, Load::RotationStiffness];
    let mut all: Vec<(ResponseName, f64)> = vec![];
    all.extend(view.lead().map(|name| (name.clone(), 1.0)));
    for motion in [Motion::AxialMax, Motion::ShearMax] {
        all.push((ResponseId::from(motion).into(), 1.0));
    }
    all.extend(stiffness.map(|s| (ResponseId::from(s).into(), -1.0)));
    // A case has a stiffness against a force or against a moment; bone without a fracture has no motion across one.
    let mut kept: Vec<(ResponseName, f64)> = vec![];
    for (name, sign) in all {
        let has_value =
            |p: &PointRecord| response(p, case, &name).is_some_and(|r| r.value.is_some());
        if view.at_levels().any(has_value) && !kept.iter().any(|(k, _)| *k == name) {
            kept.push((name, sign));
        }
    }
    kept
}

/// Responses weighed under a load case, the points with their values and a mark for those on the front; `None` where there
/// are too few points, or one response alone.
struct Weighed<'a> {
    names: Vec<(ResponseName, f64)>,
    points: Vec<(&'a PointRecord, Vec<f64>)>,
    front: Vec<bool>,
}

impl<'a> Weighed<'a> {
    fn of(view: &'a StudyView, case: &str) -> Option<Weighed<'a>> {
        let names = weighed(view, case);
        let value = |p: &PointRecord, name| response(p, case, name)?.value;
        let points: Vec<(&PointRecord, Vec<f64>)> = view
            .at_levels()
            // Of replicates the first mesh stands for the point.
            .filter(|p| value_of(p, REPLICATE).is_none_or(|pose| pose.as_number() == Some(0.0)))
            .filter_map(|p| {
                let values = names.iter().map(|(name, _)| value(p, name));
                Some((p, values.collect::<Option<Vec<f64>>>()?))
            })
            .collect();
        if points.len() < LEAST_POINTS || names.len() < 2 {
            return None;
        }
        let signed = |(_, values): &(&PointRecord, Vec<f64>)| -> Vec<f64> {
            // A motion has a sign of its own; its size is weighed.
            let pairs = values.iter().zip(&names);
            pairs.map(|(v, (_, sign))| sign * v.abs()).collect()
        };
        let rows: Vec<Vec<f64>> = points.iter().map(signed).collect();
        Some(Weighed {
            front: pareto_front(&rows),
            names,
            points,
        })
    }

    fn on_front(&self) -> impl Iterator<Item = &PointRecord> {
        let all = self.points.iter().zip(&self.front);
        all.filter(|(_, front)| **front).map(|(p, _)| p.0)
    }
}

/// Table of the points on the front by load case; `None` where none has one.
pub(crate) fn pareto_table(view: &StudyView) -> Option<Table> {
    let name = view.lead()?;
    let mut rows = vec![];
    for case in view.distinct_cases(&[name]) {
        let Some(weighed) = Weighed::of(view, &case.name) else {
            continue;
        };
        let named = weighed.names.iter().map(|(name, sign)| {
            let better = if *sign > 0.0 { "low" } else { "high" };
            format!("{better} {}", name.words())
        });
        let ids: Vec<&str> = weighed.on_front().map(|p| p.id.as_str()).collect();
        let named: Vec<String> = named.collect();
        rows.push(Row {
            section: format!("{}: {}", case.words(), named.join(", ")),
            ..Row::default()
        });
        rows.push(cells(vec![
            format!("{} of {}", ids.len(), weighed.points.len()),
            ids.join(", "),
        ]));
    }
    (!rows.is_empty()).then(|| Table {
        caption: "Points that no other point betters".into(),
        heads: vec!["how many".into(), "points".into()],
        rows,
        words: 2,
    })
}

/// The table `pareto.csv`: a row per load case, point and response weighed; `None` where nothing is weighed.
///
/// # Errors
/// [`ReportError`], if the rows cannot be written.
pub(crate) fn pareto_csv(view: &StudyView) -> Result<Option<Vec<u8>>, ReportError> {
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record(PARETO.map(|c| c.name))?;
    let mut rows = 0;
    for case in view.cases() {
        let Some(weighed) = Weighed::of(view, &case) else {
            continue;
        };
        for ((point, values), front) in weighed.points.iter().zip(&weighed.front) {
            for (value, (name, sign)) in values.iter().zip(&weighed.names) {
                rows += 1;
                writer.write_record([
                    case.clone(),
                    point.id.clone(),
                    name.to_string(),
                    if *sign > 0.0 { "lower" } else { "higher" }.into(),
                    value.to_string(),
                    front.to_string(),
                ])?;
            }
        }
    }
    let bytes = table_bytes(writer)?;
    Ok((rows > 0).then_some(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::{HEADLINE, synthetic_study};

    #[test]
    fn points_on_the_front_are_those_of_the_file_and_none_is_bettered() {
        let (_temp, folder) = synthetic_study();
        let view = StudyView::read(folder).unwrap();
        let table = pareto_table(&view).unwrap();
        let bytes = pareto_csv(&view).unwrap().unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
        let axial = |front: &str| {
            let own = rows.iter().filter(|r| &r[0] == "axial" && &r[5] == front);
            own.map(|r| {
                (
                    r[1].to_string(),
                    r[2].to_string(),
                    r[4].parse::<f64>().unwrap(),
                )
            })
            .collect::<Vec<_>>()
        };
        let mut ids: Vec<String> = axial("true").into_iter().map(|r| r.0).collect();
        ids.dedup();
        let at = table
            .rows
            .iter()
            .position(|r| r.section.starts_with("axial: low "));
        let row = &table.rows[at.unwrap() + 1];
        assert_eq!(row.cells, [format!("{} of 6", ids.len()), ids.join(", ")]);
        // The point of the least headline stress is never bettered.
        let least = axial("true")
            .into_iter()
            .chain(axial("false"))
            .filter(|r| r.1 == HEADLINE.to_string())
            .min_by(|a, b| a.2.total_cmp(&b.2))
            .unwrap();
        assert!(ids.contains(&least.0), "{least:?} {ids:?}");
    }
}
