//! Gathering all points into `results.csv`, the same as `results.parquet`, `columns.json` and `screws.csv`.

use crate::as_built::{AS_BUILT, AsBuilt, load_line_mm};
use crate::atomic::write_atomic;
use crate::error::StoreError;
use crate::evidence::MeshRecord;
use crate::layout::StudyFolder;
use crate::published_table::published_table;
use crate::record::{CaseRecord, FactorValue, MeshNoise, PointRecord, Status, StudyRecord};
use crate::record_file::read_record;
use crate::screw_table::screw_table;
use crate::sensitivity_table::sensitivity_table;
use crate::table_columns::other_tables;
use bicolumn_base::shown::one_line;
use bicolumn_base::{Unit, Word};
use bicolumn_formats::{ColumnCells, write_parquet};
use bicolumn_response::{Place, ResponseName};
use serde_json::json;
use std::collections::BTreeSet;

/// Records found by [`gather`].
#[derive(Debug)]
pub struct Gathered {
    /// Study record, common to all points.
    pub study: StudyRecord,
    /// Records that could be read, in the study's order.
    pub points: Vec<PointRecord>,
    /// Points without a valid record: id and reason, paths told from the study's folder.
    pub unread: Vec<(String, String)>,
    /// Other files that are there and cannot be used, with the reason, told likewise.
    pub faults: Vec<String>,
}

impl Gathered {
    /// Reads the study's record and every point's record.
    ///
    /// # Errors
    /// Only when `study.json` itself is missing or damaged; a point's damage is listed in `unread`, that of the mesh noise in
    /// `faults`.
    pub fn read(folder: &StudyFolder) -> Result<Gathered, StoreError> {
        let mut study: StudyRecord = read_record(&folder.study_file())?;
        check_points(&study, folder)?;
        let mut faults = Vec::new();
        match read_record::<MeshNoise>(&folder.mesh_noise_file()) {
            Ok(noise) => {
                study.mesh_noise = noise.by_response;
                study.mesh_noise_poses = noise.poses;
            }
            Err(StoreError::Missing { .. }) => {}
            Err(e) => faults.push(format!(
                "{} (no difference is called unresolved by it)",
                e.within(folder.root())
            )),
        }
        let (mut points, mut unread) = (Vec::new(), Vec::new());
        for (n, id) in study.points.iter().enumerate() {
            let digest = study.digests.get(n).map(String::as_str);
            let record = read_record::<PointRecord>(&folder.record_file(id));
            let own = |record| belongs(record, &study, folder, (id, digest));
            match record.and_then(own) {
                Ok(record) => points.push(record),
                Err(error) => unread.push((id.clone(), error.within(folder.root()))),
            }
        }
        Ok(Gathered {
            study,
            points,
            unread,
            faults,
        })
    }
}

/// Refuses a study whose points are not names of folders, each once, with a digest each or none at all.
fn check_points(study: &StudyRecord, folder: &StudyFolder) -> Result<(), StoreError> {
    let is_name = |id: &str| {
        let fits = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        !id.is_empty() && id.len() <= 64 && id.chars().all(fits)
    };
    let unique: BTreeSet<&String> = study.points.iter().collect();
    let wrong = study.points.iter().find(|id| !is_name(id));
    let reason = if let Some(id) = wrong {
        format!("a point is called {}", one_line(&format!("{id:?}"), 80))
    } else if unique.len() != study.points.len() {
        "a point is there twice".to_string()
    } else if !study.digests.is_empty() && study.digests.len() != study.points.len() {
        "its points and their digests differ in number".to_string()
    } else {
        return Ok(());
    };
    Err(StoreError::Damaged {
        path: folder.study_file(),
        reason,
    })
}

/// A record, where it is this point's, with the factors and the version of the study.
fn belongs(
    record: PointRecord,
    study: &StudyRecord,
    folder: &StudyFolder,
    (id, digest): (&str, Option<&str>),
) -> Result<PointRecord, StoreError> {
    let is_other = record.id != id || digest.is_some_and(|d| d != record.digest);
    let has_level = |(name, levels): &(String, Vec<FactorValue>)| {
        record.factors.get(name).is_some_and(|l| levels.contains(l))
    };
    let has_factors =
        record.factors.len() == study.factors.len() && study.factors.iter().all(has_level);
    let reason = if !is_other && record.engine_version != study.engine_version {
        format!(
            "results of version {}, the study's is {}",
            record.engine_version, study.engine_version
        )
    } else if !is_other && !has_factors {
        "its factors or their levels are not the study's".into()
    } else if is_other {
        format!(
            "results of another point or study (it calls itself {})",
            record.id
        )
    } else {
        return Ok(record);
    };
    Err(StoreError::Damaged {
        path: folder.record_file(id),
        reason,
    })
}

/// Reads all records of a study and writes `results.csv`, the same table as `results.parquet`, `columns.json` and, where
/// there are screws, `screws.csv`; where stress responses were read under other choices, `sensitivity.csv`; where the job gives published
/// values, `published.csv`.
///
/// `results.csv` is tidy: a row per point and load case, a column per factor and response; a failed
/// point has one row without a load case. Stress responses have columns for the place they were found at and for
/// the edge of their region that it may lie on (`NAME__edge`). `NAME__error` columns stand only beside responses for which
/// some point carries an estimate. An empty cell means: does not apply, or not computed.
///
/// # Errors
/// When `study.json` cannot be read or the tables cannot be written.
pub fn gather(folder: &StudyFolder) -> Result<Gathered, StoreError> {
    let gathered = Gathered::read(folder)?;
    let columns = columns(&gathered);
    let rows = rows(&gathered, &columns);
    let csv_path = folder.results_csv();
    let csv = csv_table(&columns, &rows).map_err(|e| StoreError::NotStorable {
        path: csv_path.clone(),
        reason: e.to_string(),
    })?;
    write_atomic(&csv_path, &csv)?;
    let parquet_path = folder.results_parquet();
    let parquet = parquet_table(&gathered.study, &columns, &rows);
    let parquet = parquet.map_err(|reason| StoreError::NotStorable {
        path: parquet_path.clone(),
        reason,
    })?;
    write_atomic(&parquet_path, &parquet)?;
    let own = columns.iter().map(Column::told);
    let factors: Vec<String> = gathered.study.factors.iter().map(|f| f.0.clone()).collect();
    let definitions: Vec<_> = own.chain(other_tables(&factors)).collect();
    let text = format!("{:#}\n", serde_json::Value::from(definitions));
    write_atomic(&folder.columns_json(), text.as_bytes())?;
    let screws_path = folder.screws_csv();
    if let Some(table) = screw_table(&gathered, &screws_path)? {
        write_atomic(&screws_path, &table)?;
    }
    let published_path = folder.published_csv();
    if let Some(table) = published_table(&gathered, &published_path)? {
        write_atomic(&published_path, &table)?;
    }
    let sensitivity_path = folder.sensitivity_csv();
    if let Some(table) = sensitivity_table(&gathered, &sensitivity_path)? {
        write_atomic(&sensitivity_path, &table)?;
    }
    Ok(gathered)
}

/// Part of a response's place that has a column of its own.
#[derive(Clone, Copy)]
struct PlaceColumn {
    /// Ending of the column's name, after the response's and two underscores.
    ending: &'static str,
    unit: &'static str,
    definition: &'static str,
    cell: fn(&Place) -> String,
}

const PLACE: [PlaceColumn; 5] = [
    PlaceColumn {
        ending: "level_mm",
        unit: "mm",
        definition: "Level above the flexion axis at which {} was found.",
        cell: |p| p.level_mm.to_string(),
    },
    PlaceColumn {
        ending: "from_end_mm",
        unit: "mm",
        definition: "The same, above the proximal end of the plate that {} is of; negative below it.",
        cell: |p| cell_of(p.from_end_mm),
    },
    PlaceColumn {
        ending: "from_wall_mm",
        unit: "mm",
        definition: "Distance from there to the nearest wall of a screw's cylinder.",
        cell: |p| cell_of(p.from_wall_mm),
    },
    PlaceColumn {
        ending: "side",
        unit: "",
        definition: "Side of the bone on which {} was found, seen from the shaft's axis: anterior, posterior, medial or lateral.",
        cell: |p| p.aspect.word().to_string(),
    },
    PlaceColumn {
        ending: "edge",
        unit: "",
        definition: "Edge of the region of its definition that {} lies on (plate_end, proximal, distal, across, screw, bonded_edge, ring): such a largest value is set by where the region ends. Empty: inside the region, a peak of its own.",
        cell: |p| p.edge.map_or(String::new(), |e| e.word().to_string()),
    },
];

fn cell_of(n: Option<f64>) -> String {
    n.map_or(String::new(), |n| n.to_string())
}

/// Source of a column's cells: an entry of the row's point or case.
enum Source {
    Id,
    Factor(String),
    Case,
    Response(ResponseName),
    ErrorOf(ResponseName),
    Place(ResponseName, PlaceColumn),
    MeshCount(fn(&MeshRecord) -> usize),
    AsBuilt(AsBuilt),
    Stated(String),
    Built(String),
    MovedFactors,
    Residual,
    Equilibrium,
    Seconds,
    Status,
    Reason,
    Warnings,
}

impl Source {
    /// Kind of the column, and when its cells are empty.
    fn kind(&self) -> (&'static str, &'static str) {
        let of_point = "the point has no result";
        match self {
            Source::Id => ("identity", ""),
            Source::Factor(_) => ("factor", "the point has no valid record"),
            Source::Case => ("identity", of_point),
            Source::Response(_) => (
                "response",
                "it does not apply to the load case or the construct, or there is no result",
            ),
            Source::ErrorOf(_) => ("error", "not estimated, or the response is empty"),
            Source::Place(_, part) if part.ending == "edge" => (
                "place",
                "inside the region, a peak of its own; or the response is empty",
            ),
            Source::Place(..) => ("place", "the response is empty, or its place is not told"),
            Source::MeshCount(_) | Source::Residual | Source::Equilibrium => ("evidence", of_point),
            Source::Seconds => ("evidence", "the point has no valid record"),
            Source::AsBuilt(_) => (
                "construct",
                "it does not apply to the construct or the load case, or there is no result",
            ),
            Source::Stated(_) | Source::Built(_) => ("construct", of_point),
            Source::MovedFactors => ("construct", "no factor was moved"),
            Source::Status => ("status", ""),
            Source::Reason => ("status", "there is a result"),
            Source::Warnings => ("status", "there is none"),
        }
    }
}

impl Source {
    /// Does the column hold numbers?
    fn is_number(&self, study: &StudyRecord) -> bool {
        match self {
            Source::Factor(name) => {
                let mut factors = study.factors.iter();
                let levels = factors.find(|(of, _)| of == name).map(|(_, levels)| levels);
                levels.is_some_and(|levels| {
                    levels.iter().all(|l| matches!(l, FactorValue::Number(_)))
                })
            }
            Source::Place(_, part) => !part.unit.is_empty(),
            Source::Response(_)
            | Source::ErrorOf(_)
            | Source::MeshCount(_)
            | Source::AsBuilt(_)
            | Source::Stated(_)
            | Source::Built(_)
            | Source::Residual
            | Source::Equilibrium
            | Source::Seconds => true,
            Source::Id
            | Source::Case
            | Source::MovedFactors
            | Source::Status
            | Source::Reason
            | Source::Warnings => false,
        }
    }
}

struct Column {
    name: String,
    unit: String,
    definition: String,
    source: Source,
}

impl Column {
    /// Row of `columns.json`.
    fn told(&self) -> serde_json::Value {
        let (kind, empty) = self.source.kind();
        json!({
            "file": "results.csv",
            "name": self.name,
            "kind": kind,
            "unit": self.unit,
            "definition": self.definition,
            "empty": empty,
        })
    }
}

/// Symbol of a factor's unit, read from the ending of its key; empty where it has none.
pub fn unit_of_key(key: &str) -> &'static str {
    Unit::of_name(key).map_or("", Unit::symbol)
}

fn columns(gathered: &Gathered) -> Vec<Column> {
    let column = |name: &str, unit: &str, definition: &str, source| Column {
        name: name.to_string(),
        unit: unit.to_string(),
        definition: definition.to_string(),
        source,
    };
    let mut list = vec![column("point", "", "Design point.", Source::Id)];
    for (factor, _) in &gathered.study.factors {
        let text = format!("Factor of the design: job key {factor}.");
        let source = Source::Factor(factor.clone());
        list.push(column(factor, unit_of_key(factor), &text, source));
    }
    list.push(column("case", "", &case_definition(gathered), Source::Case));

    let responses = || {
        let cases = gathered.points.iter().flat_map(|p| &p.cases);
        cases.flat_map(|c| &c.responses)
    };
    let mut definitions = gathered.study.columns.clone();
    for response in responses() {
        if !definitions.iter().any(|(name, ..)| *name == response.name) {
            let text = "No definition was recorded.".to_string();
            definitions.push((response.name.clone(), String::new(), text));
        }
    }
    for (name, unit, definition) in definitions {
        let estimated = responses().any(|r| r.name == name && r.error_estimate.is_some());
        list.push(column(
            &name.to_string(),
            &unit,
            &definition,
            Source::Response(name.clone()),
        ));
        if estimated {
            let text = format!(
                "Estimated size of the discretisation error of {name}, the elements' shares added without their signs."
            );
            let head = format!("{name}__error");
            list.push(column(&head, &unit, &text, Source::ErrorOf(name.clone())));
        }
        if responses().any(|r| r.name == name && r.place.is_some()) {
            for part in PLACE {
                let head = format!("{name}__{}", part.ending);
                let text = part.definition.replace("{}", &name.to_string());
                let source = Source::Place(name.clone(), part);
                list.push(column(&head, part.unit, &text, source));
            }
        }
    }
    for quantity in AS_BUILT {
        let source = Source::AsBuilt(quantity);
        list.push(column(
            quantity.name,
            quantity.unit,
            quantity.definition,
            source,
        ));
    }
    list.extend(moved_columns(gathered));
    list.extend([
        column(
            "tets",
            "",
            "Tetrahedra of the mesh.",
            Source::MeshCount(|m| m.tets),
        ),
        column(
            "nodes",
            "",
            "Nodes of the mesh.",
            Source::MeshCount(|m| m.nodes),
        ),
        column(
            "residual",
            "",
            "Relative residual of the linear system, |b - K u| / |b|.",
            Source::Residual,
        ),
        column(
            "equilibrium",
            "",
            "Imbalance of reactions and loads, relative to the load.",
            Source::Equilibrium,
        ),
        column(
            "seconds",
            "s",
            "Time of all stages of the point, all load cases together.",
            Source::Seconds,
        ),
        column(
            "status",
            "",
            "done, not_converged (the contact of this load case), failed (the point), skipped (left out, for its construct cannot be built) or unread.",
            Source::Status,
        ),
        column(
            "reason",
            "",
            "Why a point or a load case has no result.",
            Source::Reason,
        ),
        column(
            "warnings",
            "",
            "Warnings of the point, joined by semicolons, as they stand in its record.",
            Source::Warnings,
        ),
    ]);
    list
}

/// Columns of the keys that were moved at any point: values stated and built, and the factors moved; none where nothing
/// was.
fn moved_columns(gathered: &Gathered) -> Vec<Column> {
    let mut list: Vec<Column> = Vec::new();
    for moved in gathered.points.iter().flat_map(|p| &p.moved) {
        let key = &moved.key;
        let name = format!("built_{key}");
        if list.iter().any(|c| c.name == name) {
            continue;
        }
        list.push(Column {
            name: format!("stated_{key}"),
            unit: moved.unit.clone(),
            definition: format!(
                "Value of the job key {key} as stated, or taken by default. Only for keys that were moved at a point so that its construct could be built."
            ),
            source: Source::Stated(key.clone()),
        });
        list.push(Column {
            name,
            unit: moved.unit.clone(),
            definition: format!("Value of {key} that was built."),
            source: Source::Built(key.clone()),
        });
    }
    if !list.is_empty() {
        list.push(Column {
            name: "moved_factors".into(),
            unit: String::new(),
            definition: "Factors whose level is not what was built: the point counts in no comparison of levels. Empty: none.".into(),
            source: Source::MovedFactors,
        });
    }
    list
}

/// Definition of the column of load cases: the resultant of each, with the line of a force, at the first point.
fn case_definition(gathered: &Gathered) -> String {
    let mut text = "Load case.".to_string();
    let Some(point) = gathered.points.iter().find(|p| !p.cases.is_empty()) else {
        return text;
    };
    let vector = |v: [f64; 3]| {
        let shown = v.map(|x| format!("{:.2}", if x.abs() < 0.005 { 0.0 } else { x }));
        format!("({})", shown.join(", "))
    };
    let told = point.cases.iter().map(|c| match load_line_mm(c) {
        Some(line) => format!(
            "{}, force {} N along the line through {} mm",
            c.name,
            vector(c.force_n),
            vector(line)
        ),
        None => format!("{}, couple {} N.mm", c.name, vector(c.moment_nmm)),
    });
    let told = told.collect::<Vec<_>>().join("; ");
    text += &format!(
        " Resultants on the joint at {}, X anterior, Y proximal, Z lateral of a right bone: {told}.",
        point.id
    );
    text
}

/// Cells of the table by row.
fn rows(gathered: &Gathered, columns: &[Column]) -> Vec<Vec<String>> {
    let mut rows = Vec::new();
    for id in &gathered.study.points {
        let Some(point) = gathered.points.iter().find(|p| p.id == *id) else {
            let reason = gathered.unread.iter().find(|(unread, _)| unread == id);
            let cells = columns.iter().map(|column| match column.source {
                Source::Id => id.clone(),
                Source::Status => "unread".into(),
                Source::Reason => reason.map_or(String::new(), |(_, reason)| reason.clone()),
                _ => String::new(),
            });
            rows.push(cells.collect());
            continue;
        };
        let mut cases: Vec<Option<&CaseRecord>> = point.cases.iter().map(Some).collect();
        if cases.is_empty() {
            cases.push(None);
        }
        for case in cases {
            rows.push(
                columns
                    .iter()
                    .map(|c| cell(&c.source, point, case))
                    .collect(),
            );
        }
    }
    rows
}

fn csv_table(columns: &[Column], rows: &[Vec<String>]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(columns.iter().map(|c| &c.name))?;
    for row in rows {
        writer.write_record(row)?;
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}

/// The table as Parquet: the same cells, empty ones as nulls.
fn parquet_table(
    study: &StudyRecord,
    columns: &[Column],
    rows: &[Vec<String>],
) -> Result<Vec<u8>, String> {
    let number = |cell: &String| {
        cell.parse::<f64>()
            .map_err(|_| format!("{cell} is no number"))
    };
    let mut table = Vec::with_capacity(columns.len());
    for (c, column) in columns.iter().enumerate() {
        let cells = rows
            .iter()
            .map(|row| Some(&row[c]).filter(|cell| !cell.is_empty()));
        let of_column = match column.source.is_number(study) {
            true => {
                let numbers = cells.map(|cell| cell.map(number).transpose());
                ColumnCells::Numbers(numbers.collect::<Result<_, _>>()?)
            }
            false => ColumnCells::Text(cells.map(Option::<&String>::cloned).collect()),
        };
        table.push((column.name.as_str(), of_column));
    }
    write_parquet(&table).map_err(|e| e.to_string())
}

/// Why a load case has no result although its point has.
fn stopped(case: Option<&CaseRecord>) -> Option<String> {
    let contact = case?.contact.as_ref().filter(|c| !c.converged)?;
    Some(contact.reason.clone().unwrap_or_default())
}

fn cell(source: &Source, point: &PointRecord, case: Option<&CaseRecord>) -> String {
    let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
    let response = |name| case?.response(name);
    match source {
        Source::Id => point.id.clone(),
        Source::Factor(name) => point
            .factors
            .get(name)
            .map_or(String::new(), |v| v.to_string()),
        Source::Case => case.map_or(String::new(), |c| c.name.clone()),
        Source::Response(name) => number(response(name).and_then(|r| r.value)),
        Source::ErrorOf(name) => number(response(name).and_then(|r| r.error_estimate)),
        Source::Place(name, part) => {
            let place = response(name).and_then(|r| r.place.as_ref());
            place.map_or(String::new(), part.cell)
        }
        Source::MeshCount(of) => {
            let count = point.mesh.as_ref().map(of);
            count.map_or(String::new(), |n| n.to_string())
        }
        Source::AsBuilt(quantity) => number(case.and_then(|c| quantity.value(point, c))),
        Source::Stated(key) => number(point.stated_value(key)),
        Source::Built(key) => number(point.built_value(key)),
        Source::MovedFactors => point.moved_factors().join("; "),
        Source::Residual => number(case.map(|c| c.residual)),
        Source::Equilibrium => number(case.map(|c| c.equilibrium)),
        Source::Seconds => {
            let seconds: f64 = point.stages.iter().map(|s| s.seconds).sum();
            format!("{seconds:.2}")
        }
        Source::Warnings => point.warnings.join("; "),
        Source::Status => match point.status {
            Status::Done if stopped(case).is_some() => "not_converged".into(),
            Status::Done => "done".into(),
            Status::Failed { .. } => "failed".into(),
            Status::Skipped { .. } => "skipped".into(),
        },
        Source::Reason => match &point.status {
            Status::Done => stopped(case).unwrap_or_default(),
            Status::Failed { stage, reason } => format!("{stage}: {reason}"),
            Status::Skipped { reason } => reason.clone(),
        },
    }
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::moved_record::MovedRecord;
    use crate::record::tests::sample_point;
    use crate::record::{FactorValue, SCHEMA, ScrewMark};
    use crate::{create_folder, write_record};
    use std::collections::BTreeMap;

    fn folder_with(points: &[PointRecord], ids: &[&str]) -> (tempfile::TempDir, StudyFolder) {
        let temp = tempfile::tempdir().unwrap();
        let folder = StudyFolder::new(temp.path());
        let study = StudyRecord {
            points: ids.iter().map(|s| s.to_string()).collect(),
            ..sample_study()
        };
        write_record(&folder.study_file(), &study).unwrap();
        for point in points {
            create_folder(&folder.point_folder(&point.id)).unwrap();
            write_record(&folder.record_file(&point.id), point).unwrap();
        }
        (temp, folder)
    }

    /// An invented study without points.
    pub(crate) fn sample_study() -> StudyRecord {
        StudyRecord {
            schema: SCHEMA,
            engine_version: "0".into(),
            title: "invented".into(),
            question: String::new(),
            job_text: String::new(),
            factors: vec![(
                "plates.stagger_mm".into(),
                [-20.0, 0.0, 20.0].map(FactorValue::Number).to_vec(),
            )],
            points: Vec::new(),
            digests: Vec::new(),
            inputs: Vec::new(),
            columns: vec![(
                ResponseName::from("stiffness_n_per_mm"),
                "N/mm".into(),
                "load / travel".into(),
            )],
            lead_response: None,
            headline: None,
            landmarks: Vec::new(),
            mesh_noise: BTreeMap::new(),
            aliases: vec![],
            drawn: None,
            hypotheses: Vec::new(),
            distributions: Vec::new(),
            mesh_noise_poses: 0,
            published: Vec::new(),
        }
    }

    fn rows(folder: &StudyFolder) -> Vec<BTreeMap<String, String>> {
        let mut reader = csv::Reader::from_path(folder.results_csv()).unwrap();
        reader.deserialize().map(|r| r.unwrap()).collect()
    }

    #[test]
    fn the_parquet_table_has_the_cells_of_the_csv_table() {
        let good = sample_point("p001", -20.0);
        let (_temp, folder) = folder_with(&[good], &["p001", "p002"]);
        gather(&folder).unwrap();
        let file = std::fs::File::open(folder.results_parquet()).unwrap();
        let (head, cells) = bicolumn_formats::read_parquet(file).unwrap();
        let rows = rows(&folder);
        assert_eq!((head.len(), cells.len()), (rows[0].len(), rows.len()));
        for (row, cells) in rows.iter().zip(&cells) {
            for (name, cell) in head.iter().zip(cells) {
                let told = &row[name];
                let is_same =
                    told == cell || told.parse::<f64>().is_ok_and(|x| cell.parse() == Ok(x));
                assert!(is_same, "{name}: {told}, {cell}");
            }
        }
    }

    #[test]
    fn a_row_per_point_and_case_with_failed_and_unread_points_named() {
        let good = sample_point("p001", -20.0);
        let mut failed = sample_point("p002", 20.0);
        failed.cases.clear();
        failed.status = Status::Failed {
            stage: "geometry".into(),
            reason: "screw.03 misses the bone, \"badly\"".into(),
        };
        let (_temp, folder) = folder_with(&[good, failed], &["p001", "p002", "p003"]);
        let gathered = gather(&folder).unwrap();
        assert_eq!(gathered.points.len(), 2);
        assert_eq!(gathered.unread.len(), 1);

        let rows = rows(&folder);
        assert_eq!(rows.len(), 4);
        assert_eq!(rows[0]["case"], "axial");
        assert_eq!(rows[0]["stiffness_n_per_mm"], "500");
        assert_eq!(rows[1]["stiffness_n_per_mm"], "20");
        assert_eq!(rows[1]["plates.stagger_mm"], "-20");
        assert_eq!(rows[0]["last_screw_max_mpa"], "");
        assert_eq!(rows[0]["tets"], "1000");
        assert_eq!(rows[0]["seconds"], "3.50");
        assert!(!rows[0].contains_key("stiffness_n_per_mm__error"));
        assert_eq!(rows[2]["status"], "failed");
        assert_eq!(
            rows[2]["reason"],
            "geometry: screw.03 misses the bone, \"badly\""
        );
        assert_eq!(rows[3]["status"], "unread");
        // The folder's own path is nobody's business.
        assert_eq!(rows[3]["reason"], "points/p003/record.json: no such file");

        let text = std::fs::read_to_string(folder.columns_json()).unwrap();
        let columns: Vec<BTreeMap<String, String>> = serde_json::from_str(&text).unwrap();
        // Of every table each column once, with its kind.
        let all: Vec<_> = columns.iter().map(|c| (&c["file"], &c["name"])).collect();
        for (n, own) in all.iter().enumerate() {
            assert!(!all[..n].contains(own), "{own:?} twice");
        }
        assert!(
            columns
                .iter()
                .all(|c| !c["kind"].is_empty() && !c["definition"].is_empty())
        );
        let columns = columns.into_iter().filter(|c| c["file"] == "results.csv");
        let columns: Vec<_> = columns.collect();
        let names: Vec<_> = columns.iter().map(|c| c["name"].as_str()).collect();
        let header: Vec<_> = rows[0].keys().map(String::as_str).collect();
        let mut sorted = names.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, header);
        assert_eq!(columns[1]["unit"], "mm");
    }

    #[test]
    fn moved_keys_have_columns_of_stated_and_built_values_at_all_points() {
        let moved = |key: &str, factors: &[&str], is_derived| MovedRecord {
            key: key.into(),
            unit: "mm".into(),
            stated: 90.0,
            built: 93.5,
            is_derived,
            factors: factors.iter().map(ToString::to_string).collect(),
        };
        let with_plate = |id: &str| {
            let mut point = sample_point(id, 0.0);
            let level = FactorValue::Number(90.0);
            point.inputs = [
                ("plates.medial.end_level_mm".to_string(), level.clone()),
                ("plates.other.end_level_mm".to_string(), level.clone()),
                ("fracture.level_mm".to_string(), level),
            ]
            .into();
            point.plates = vec![crate::PlateMark {
                site: "medial".into(),
                end_level_mm: 93.5,
                distal_level_mm: 6.0,
                length_mm: 90.0,
                thickness_mm: 3.0,
            }];
            point
        };
        let mut one = with_plate("p001");
        one.moved = vec![
            moved("plates.medial.end_level_mm", &["plates.stagger_mm"], false),
            moved("fracture.level_mm", &["plates.stagger_mm"], true),
        ];
        let mut skipped = sample_point("p003", 20.0);
        skipped.cases.clear();
        skipped.status = Status::Skipped {
            reason: "no room".into(),
        };
        let points = [one, with_plate("p002"), skipped];
        let (_temp, folder) = folder_with(&points, &["p001", "p002", "p003"]);
        gather(&folder).unwrap();
        let rows = rows(&folder);
        let end =
            |kind: &str, row: usize| &*rows[row][&format!("{kind}_plates.medial.end_level_mm")];
        assert_eq!((end("stated", 0), end("built", 0)), ("90", "93.5"));
        assert_eq!((end("stated", 2), end("built", 2)), ("90", "90"));
        assert_eq!(rows[0]["moved_factors"], "plates.stagger_mm");
        assert_eq!(rows[2]["moved_factors"], "");
        assert_eq!(points_without_plate(&points[1]), None);
        let last = rows.last().unwrap();
        assert_eq!((&*last["status"], &*last["reason"]), ("skipped", "no room"));
        // A study in which nothing moved has no such columns.
        let (_temp, folder) = folder_with(&[sample_point("p001", 0.0)], &["p001"]);
        gather(&folder).unwrap();
        assert!(
            !super::tests::rows(&folder)[0]
                .keys()
                .any(|k| k.starts_with("built_"))
        );
    }

    fn points_without_plate(point: &PointRecord) -> Option<f64> {
        point.built_value("plates.other.end_level_mm")
    }

    #[test]
    fn every_screw_and_cut_has_its_row() {
        let mut point = sample_point("p001", -20.0);
        point.cases[1].screws[0].axial_n = 40.0;
        let (_temp, folder) = folder_with(&[point], &["p001"]);
        gather(&folder).unwrap();
        let mut reader = csv::Reader::from_path(folder.screws_csv()).unwrap();
        let rows: Vec<BTreeMap<String, String>> =
            reader.deserialize().map(|r| r.unwrap()).collect();
        assert_eq!(rows.len(), 2);
        assert_eq!(rows[0]["plates.stagger_mm"], "-20");
        assert_eq!(
            (&*rows[0]["screw"], &*rows[0]["cut"]),
            ("screw.02", "bone_surface")
        );
        assert_eq!((&*rows[0]["axial_n"], &*rows[0]["y_mm"]), ("-12.5", "60"));
        assert_eq!((&*rows[1]["case"], &*rows[1]["axial_n"]), ("torsion", "40"));
        assert_eq!(rows[0]["given_up"], "", "a record that does not tell");
    }

    #[test]
    fn a_screw_as_built_stands_in_each_of_its_rows() {
        use crate::screw_record::{ConcessionRecord, NeighbourRecord, ScrewAsBuiltRecord};
        let mut point = sample_point("p001", 0.0);
        point.screws = vec![ScrewMark {
            name: "screw.02".into(),
            plate: "medial".into(),
            row: "shaft".into(),
            entry_mm: None,
            entry_level_mm: 60.0,
            tip_level_mm: 61.0,
            length_mm: 21.5,
            diameter_mm: 2.7,
            cortices: Some(1),
            as_built: Some(ScrewAsBuiltRecord {
                hole: Some(4),
                from_end_mm: Some(41.0),
                tilt_deg: Some(5.0),
                longest_asked_mm: None,
                cortices_asked: Some(2),
                hold: "locking".into(),
                nearest_screw: Some(NeighbourRecord {
                    part: "screw.07".into(),
                    distance_mm: 1.25,
                }),
                nearest_plate: None,
                given_up: vec![ConcessionRecord {
                    kind: "before_screw".into(),
                    words: "ends before the far cortex".into(),
                }],
            }),
        }];
        let (_temp, folder) = folder_with(&[point], &["p001"]);
        gather(&folder).unwrap();
        let mut reader = csv::Reader::from_path(folder.screws_csv()).unwrap();
        let rows: Vec<BTreeMap<String, String>> =
            reader.deserialize().map(|r| r.unwrap()).collect();
        for row in &rows {
            for (column, cell) in [
                ("hole", "4"),
                ("from_end_mm", "41"),
                ("tilt_deg", "5"),
                ("longest_asked_mm", ""),
                ("length_mm", "21.5"),
                ("cortices_asked", "2"),
                ("cortices", "1"),
                ("diameter_mm", "2.7"),
                ("hold", "locking"),
                ("nearest_screw", "screw.07"),
                ("to_nearest_screw_mm", "1.25"),
                ("nearest_plate", ""),
                ("to_nearest_plate_mm", ""),
                ("given_up", "ends before the far cortex"),
            ] {
                assert_eq!(row[column], cell, "{column}");
            }
        }
    }

    #[test]
    fn error_columns_appear_only_where_something_is_estimated() {
        let mut point = sample_point("p001", 0.0);
        point.cases[1].responses[0].error_estimate = Some(0.25);
        let (_temp, folder) = folder_with(&[point], &["p001"]);
        gather(&folder).unwrap();
        let rows = rows(&folder);
        assert_eq!(rows[0]["stiffness_n_per_mm__error"], "");
        assert_eq!(rows[1]["stiffness_n_per_mm__error"], "0.25");
        assert!(!rows[0].contains_key("last_screw_max_mpa__error"));
    }
}
