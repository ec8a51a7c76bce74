//! Several studies side by side: one page and one table beside their folders.

use crate::caution::CAUTION;
use crate::error::{ReportError, table_bytes};
use crate::labels::{case_words, shown_unit};
use crate::number::Decimals;
use crate::study_view::StudyView;
use crate::tables::NONE;
use bicolumn_response::{Load, Motion, ResponseId, ResponseName};
use bicolumn_store::{PointRecord, Status, StudyFolder, write_atomic};
use minijinja::value::Serde;
use minijinja::{Environment, Value, context};
use serde::Serialize;
use std::path::{Path, PathBuf};

const TEMPLATE: &str = include_str!("summary.html");
const STYLE: &str = include_str!("style.css");

/// Mean and range of a response over the points of a construct under a load case.
#[derive(Debug, Clone)]
struct Line {
    job: String,
    construct: String,
    case: String,
    response: ResponseName,
    is_headline: bool,
    unit: String,
    points: usize,
    mean: f64,
    least: f64,
    greatest: f64,
    on_edge: usize,
}

/// A study's head in the page.
#[derive(Debug, Clone, Serialize)]
struct Head {
    name: String,
    link: String,
    title: String,
    done: usize,
    failed: usize,
    left_out: usize,
    moved: usize,
    missing: usize,
    headline: String,
}

/// A row of the page: a construct of a job under a load case.
#[derive(Debug, Clone, Serialize)]
struct PageRow {
    job: String,
    construct: String,
    case: String,
    points: usize,
    cells: Vec<String>,
}

/// Writes `summary.html` and `summary.csv` into a folder that holds the folders of studies of these names: of each study,
/// by construct and load case, the response that its headline compares, stiffness and the largest motion across the
/// fracture, as mean and range over its finished points. Returns the path of the page.
///
/// # Errors
/// [`ReportError`]: a study without a readable `study.json`, or a folder that does not take writing.
pub fn write_summary(root: &Path, studies: &[&str]) -> Result<PathBuf, ReportError> {
    let mut lines = vec![];
    let mut heads = vec![];
    for name in studies {
        let view = StudyView::read(StudyFolder::new(root.join(name)))?;
        heads.push(head(name, &view));
        lines.extend(lines_of(name, &view));
    }
    write_atomic(&root.join("summary.csv"), &table(&lines)?)?;
    let page = page(&heads, &lines)?;
    let path = root.join("summary.html");
    write_atomic(&path, page.as_bytes())?;
    Ok(path)
}

/// Responses that stand beside the headline.
fn usual() -> [ResponseName; 4] {
    [
        ResponseId::from(Load::Stiffness).into(),
        ResponseId::from(Load::RotationStiffness).into(),
        ResponseId::from(Motion::AxialMax).into(),
        ResponseId::from(Motion::ShearMax).into(),
    ]
}

fn head(name: &str, view: &StudyView) -> Head {
    let count = |is: fn(&PointRecord) -> bool| view.points.iter().filter(|p| is(p)).count();
    Head {
        name: name.to_owned(),
        link: format!("{name}/report.html"),
        title: view.record.title.clone(),
        done: view.done().count(),
        failed: count(|p| matches!(p.status, Status::Failed { .. })),
        left_out: count(|p| matches!(p.status, Status::Skipped { .. })),
        moved: view.done().count() - view.at_levels().count(),
        missing: view.unread.len(),
        headline: view.lead().map_or(NONE.into(), ToString::to_string),
    }
}

fn lines_of(job: &str, view: &StudyView) -> Vec<Line> {
    let lead = view.lead().cloned();
    let others = usual().into_iter().filter(|r| Some(r) != lead.as_ref());
    let names: Vec<ResponseName> = lead.iter().cloned().chain(others).collect();
    let mut lines = vec![];
    for group in view.groups() {
        for case in view.cases() {
            for name in &names {
                let Some(cell) = view.mean_of_response(&group.points, &case, name) else {
                    continue;
                };
                let bounds = cell.values.iter();
                let (least, greatest) = bounds.fold((f64::MAX, f64::MIN), |(low, high), v| {
                    (low.min(*v), high.max(*v))
                });
                lines.push(Line {
                    job: job.to_owned(),
                    construct: group.label.clone(),
                    case: case.clone(),
                    response: name.clone(),
                    is_headline: lead.as_ref() == Some(name),
                    unit: view.unit(name).to_owned(),
                    points: cell.values.len(),
                    mean: cell.mean,
                    least,
                    greatest,
                    on_edge: cell.on_edge,
                });
            }
        }
    }
    lines
}

fn table(lines: &[Line]) -> Result<Vec<u8>, ReportError> {
    let mut writer = csv::Writer::from_writer(vec![]);
    writer.write_record([
        "job",
        "construct",
        "case",
        "response",
        "is_headline",
        "unit",
        "points",
        "mean",
        "least",
        "greatest",
        "on_edge",
    ])?;
    for l in lines {
        writer.write_record([
            l.job.clone(),
            l.construct.clone(),
            l.case.clone(),
            l.response.to_string(),
            l.is_headline.to_string(),
            l.unit.clone(),
            l.points.to_string(),
            l.mean.to_string(),
            l.least.to_string(),
            l.greatest.to_string(),
            l.on_edge.to_string(),
        ])?;
    }
    table_bytes(writer)
}

fn page(heads: &[Head], lines: &[Line]) -> Result<String, ReportError> {
    let mut columns: Vec<(&ResponseName, &str)> = vec![];
    for l in lines {
        if !columns.iter().any(|(name, _)| *name == &l.response) {
            columns.push((&l.response, &l.unit));
        }
    }
    let of_row = |l: &Line| (l.job.clone(), l.construct.clone(), l.case.clone());
    let mut keys = vec![];
    for l in lines {
        if !keys.contains(&of_row(l)) {
            keys.push(of_row(l));
        }
    }
    let rows = keys.into_iter().map(|key| {
        let own: Vec<&Line> = lines.iter().filter(|l| of_row(l) == key).collect();
        let cell = |(name, _): &(&ResponseName, &str)| {
            let line = own.iter().find(|l| &l.response == *name);
            let alike = lines.iter().filter(|l| &l.response == *name);
            let decimals = Decimals::of(alike.map(|l| l.greatest));
            line.map_or(NONE.into(), |l| spread(l, decimals))
        };
        let cells = columns.iter().map(cell).collect();
        let points = own.iter().map(|l| l.points).max().unwrap_or(0);
        let (job, construct, case) = key;
        PageRow {
            job,
            construct,
            case: case_words(&case),
            points,
            cells,
        }
    });
    let rows: Vec<PageRow> = rows.collect();
    let columns: Vec<String> = columns
        .iter()
        .map(|(name, unit)| match shown_unit(unit) {
            unit if unit.is_empty() => name.to_string(),
            unit => format!("{name}, {unit}"),
        })
        .collect();
    let mut environment = Environment::new();
    environment.add_template("summary.html", TEMPLATE)?;
    let page = environment.get_template("summary.html")?.render(context! {
        style => STYLE,
        caution => CAUTION,
        heads => Value::from(Serde(heads.to_vec())),
        rows => Value::from(Serde(rows)),
        columns,
    })?;
    Ok(page)
}

/// Mean with the range over the points, where it is one.
fn spread(l: &Line, decimals: Decimals) -> String {
    let [mean, least, greatest] = [l.mean, l.least, l.greatest].map(|v| decimals.show(v));
    let spread = match least == greatest {
        true => mean,
        false => format!("{mean} ({least} to {greatest})"),
    };
    match l.on_edge {
        0 => spread,
        n => format!("{spread}, {n} on an edge"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::synthetic::write_study;

    #[test]
    fn two_studies_stand_side_by_side_with_means_that_their_records_give() {
        let temp = tempfile::tempdir().unwrap();
        let studies = ["one", "two"];
        for name in studies {
            std::fs::create_dir(temp.path().join(name)).unwrap();
            write_study(&StudyFolder::new(temp.path().join(name)));
        }
        let path = write_summary(temp.path(), &studies).unwrap();
        let page = std::fs::read_to_string(path).unwrap();
        assert!(page.contains("href=\"two&#x2f;report.html\"") && page.contains(CAUTION));
        let bytes = std::fs::read(temp.path().join("summary.csv")).unwrap();
        let mut reader = csv::Reader::from_reader(bytes.as_slice());
        let rows: Vec<csv::StringRecord> = reader.records().map(|r| r.unwrap()).collect();
        let view = StudyView::read(StudyFolder::new(temp.path().join("two"))).unwrap();
        let headline = view.lead().unwrap().to_string();
        let mut compared = 0;
        for row in rows.iter().filter(|r| &r[0] == "two" && r[3] == headline) {
            let values: Vec<f64> = view
                .done()
                .filter(|p| {
                    row[1]
                        .to_lowercase()
                        .contains(&p.factors["construct.layout"].to_string())
                })
                .flat_map(|p| &p.cases)
                .filter(|c| c.name == row[2])
                .filter_map(|c| c.response(view.lead().unwrap())?.value)
                .collect();
            let mean = values.iter().sum::<f64>() / values.len() as f64;
            assert_eq!(row[6].parse::<usize>().unwrap(), values.len());
            assert!((row[7].parse::<f64>().unwrap() / mean - 1.0).abs() < 1e-12);
            compared += 1;
        }
        assert!(compared > 1, "{rows:?}");
    }
}
