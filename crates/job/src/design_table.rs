//! The points of a design read from a table: one column a key, one row a point.

use crate::catalogue::keys;
use crate::job::{Factor, Job, convert};
use crate::job_error::{Fault, JobError, Spot};
use crate::raw::RawValue;
use crate::text_file::text_of;
use bicolumn_formats::read_parquet;
use std::collections::HashMap;
use std::fs::File;
use std::path::Path;

/// Longest table, bytes.
const MOST_BYTES: u64 = 64 << 20;

/// Factors and points of a table, and its text.
pub(crate) struct DesignTable {
    /// Factors, in the order of the columns; their levels in the order of their first row.
    pub(crate) factors: Vec<Factor>,
    /// Index of the level of each factor, by row.
    pub(crate) points: Vec<Vec<usize>>,
    /// The file's text.
    pub(crate) text: String,
}

/// Reads the table that `design.table` names; its path counts from the job file's folder.
///
/// # Errors
/// The faults of the table with their lines in it, or the one of the key at the place given.
pub(crate) fn read(job: &Job, name: &str, spot: Spot) -> Result<DesignTable, Vec<JobError>> {
    let file = job.file.parent().unwrap_or(Path::new("")).join(name);
    let of_key = |why: String, hint: &str| {
        let fault = Fault::Conflict {
            why,
            hint: hint.into(),
        };
        let key = keys().path(keys().run.table);
        vec![job.error(Some(spot), key, format!("{name:?}"), fault)]
    };
    let is_parquet = file
        .extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("parquet"));
    let read = match is_parquet {
        true => text_of_parquet(&file),
        false => text_of(&file, MOST_BYTES).map_err(|e| e.to_string()),
    };
    let text = read.map_err(|e| {
        let why = format!("{} cannot be read: {e}", file.display());
        of_key(
            why,
            "a CSV file in UTF-8, or a Parquet file called *.parquet; the path counts from the folder of the job file",
        )
    })?;
    let mut reader = csv::ReaderBuilder::new()
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let no_csv = |e: csv::Error| of_key(format!("{} is no CSV table: {e}", file.display()), "");
    let head = reader.headers().map_err(no_csv)?.clone();

    let mut errors = Vec::new();
    let tell = |line: usize, column: usize, key: &str, value: &str, fault| JobError {
        file: file.clone(),
        spot: Some(Spot { line, column }),
        key: key.to_string(),
        value: value.to_string(),
        fault,
    };
    let mut columns: Vec<Factor> = Vec::new();
    for (c, key) in head.iter().enumerate() {
        let twice = columns.iter().any(|f| f.path() == key);
        match keys().find(key) {
            _ if twice => errors.push(tell(
                1,
                c + 1,
                key,
                "",
                conflict("this key has two columns"),
            )),
            Some(id) if keys().row(id).may_be_factor() => columns.push(Factor {
                key: id,
                levels: Vec::new(),
                spot,
            }),
            Some(_) => errors.push(tell(
                1,
                c + 1,
                key,
                "",
                conflict("this key cannot be a factor"),
            )),
            None => errors.push(tell(1, c + 1, key, "", job.unknown(key))),
        }
    }
    if !errors.is_empty() {
        return Err(errors);
    }
    let mut known: Vec<HashMap<String, usize>> = vec![HashMap::new(); columns.len()];
    let mut points = Vec::new();
    for (r, row) in reader.records().enumerate() {
        let row = row.map_err(no_csv)?;
        let line = row.position().map_or(r + 2, |p| p.line() as usize);
        let mut point = Vec::with_capacity(columns.len());
        for (c, (factor, cell)) in columns.iter_mut().zip(&row).enumerate() {
            match convert(&raw(cell), keys().row(factor.key)) {
                Ok(value) => {
                    let count = factor.levels.len();
                    let level = *known[c].entry(value.to_string()).or_insert(count);
                    if level == count {
                        factor.levels.push(value);
                    }
                    point.push(level);
                }
                Err(fault) => errors.push(tell(line, c + 1, factor.path(), cell, fault)),
            }
        }
        points.push(point);
    }
    if points.is_empty() && errors.is_empty() {
        return Err(of_key(
            format!("{} has no row of a point", file.display()),
            "a line of keys, then a line of their values for each point",
        ));
    }
    match errors.is_empty() {
        true => Ok(DesignTable {
            factors: columns,
            points,
            text,
        }),
        false => Err(errors),
    }
}

/// A Parquet table as the CSV text of the same cells.
///
/// # Errors
/// The reason why it cannot be read.
fn text_of_parquet(file: &Path) -> Result<String, String> {
    let told = |e: &dyn std::fmt::Display| e.to_string();
    let file = File::open(file).map_err(|e| told(&e))?;
    let about = file.metadata().map_err(|e| told(&e))?;
    if !about.is_file() || about.len() > MOST_BYTES {
        return Err(format!(
            "it is no file, or longer than {} MB",
            MOST_BYTES >> 20
        ));
    }
    let (head, rows) = read_parquet(file)?;
    let mut writer = csv::Writer::from_writer(Vec::new());
    for row in std::iter::once(&head).chain(&rows) {
        writer.write_record(row).map_err(|e| told(&e))?;
    }
    let bytes = writer.into_inner().map_err(|e| told(&e))?;
    String::from_utf8(bytes).map_err(|e| told(&e))
}

fn conflict(why: &str) -> Fault {
    Fault::Conflict {
        why: why.into(),
        hint: "the first line of a table names one key a column, as in [factors]".into(),
    }
}

/// A cell as if it stood in a job file.
fn raw(cell: &str) -> RawValue {
    match (cell, cell.parse::<i64>(), cell.parse::<f64>()) {
        ("true", ..) => RawValue::Flag(true),
        ("false", ..) => RawValue::Flag(false),
        (_, Ok(i), _) => RawValue::Integer(i),
        (_, _, Ok(x)) if x.is_finite() => RawValue::Float(x),
        _ => RawValue::Text(cell.to_string()),
    }
}

#[cfg(test)]
mod tests {
    use crate::{Job, Plan, Value};

    fn of_table(table: &str, more: &str) -> Result<Plan, String> {
        let folder = tempfile::tempdir().unwrap();
        std::fs::write(folder.path().join("points.csv"), table).unwrap();
        let text = format!("{more}\n[design]\nkind = \"table\"\ntable = \"points.csv\"\n");
        let job = Job::parse(&folder.path().join("job.toml"), &text).map_err(|e| e.to_string())?;
        assert!(job.text.contains("# points.csv: "), "{}", job.text);
        Plan::of(&job).map_err(|e| e.to_string())
    }

    #[test]
    fn a_parquet_table_gives_the_points_of_the_same_csv_table() {
        use bicolumn_formats::{ColumnCells, write_parquet};
        let layouts = ["parallel", "orthogonal"].map(|l| Some(l.to_owned()));
        let columns = [
            (
                "plates.stagger_mm",
                ColumnCells::Numbers(vec![Some(0.0), Some(-7.25)]),
            ),
            ("construct.layout", ColumnCells::Text(layouts.to_vec())),
        ];
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("points.parquet");
        std::fs::write(&path, write_parquet(&columns).unwrap()).unwrap();
        let text = "[design]\nkind = \"table\"\ntable = \"points.parquet\"\n";
        let plan = |text: &str| {
            let job = Job::parse(&folder.path().join("job.toml"), text);
            job.map_err(|e| e.to_string())
                .and_then(|job| Plan::of(&job).map_err(|e| e.to_string()))
        };
        let csv = "plates.stagger_mm,construct.layout\n0,parallel\n-7.25,orthogonal\n";
        assert_eq!(
            plan(text).unwrap().points,
            of_table(csv, "").unwrap().points
        );
        std::fs::write(&path, "point,case\n").unwrap();
        let refused = plan(text).unwrap_err();
        assert!(
            refused.contains("points.parquet cannot be read"),
            "{refused}"
        );
    }

    #[test]
    fn rows_are_points_and_columns_are_factors() {
        let table = "plates.stagger_mm,construct.layout,screws.bicortical\n0,parallel,true\n-7.25, orthogonal ,false\n0,orthogonal,true\n";
        let plan = of_table(table, "").unwrap();
        assert_eq!(plan.points.len(), 3);
        let second = &plan.points[1].levels;
        assert_eq!(second["plates.stagger_mm"], Value::Number(-7.25));
        assert_eq!(second["construct.layout"], Value::Word("orthogonal".into()));
        assert_eq!(second["screws.bicortical"], Value::Flag(false));
        assert_eq!(
            plan.points[2].levels["plates.stagger_mm"],
            Value::Number(0.0)
        );
    }

    #[test]
    fn a_wrong_cell_is_told_with_line_key_and_accepted_values_and_all_of_them_together() {
        let told = of_table(
            "plates.stagger_mm,construct.layout\n0,paralel\nfar,parallel\n",
            "",
        )
        .unwrap_err();
        assert!(
            told.contains("points.csv:2: construct.layout = paralel"),
            "{told}"
        );
        assert!(
            told.contains("points.csv:3: plates.stagger_mm = far"),
            "{told}"
        );
        let told = of_table("plates.stager_mm\n0\n", "").unwrap_err();
        assert!(told.contains("did you mean plates.stagger_mm?"), "{told}");
        let told = of_table("run.title\nx\n", "").unwrap_err();
        assert!(told.contains("cannot be a factor"), "{told}");
        let told = of_table(
            "plates.stagger_mm\n0\n",
            "[factors]\nfracture.gap_mm = [2, 5]\n",
        );
        assert!(told.unwrap_err().contains("the table holds the factors"));
        let told = of_table("plates.stagger_mm\n", "").unwrap_err();
        assert!(told.contains("has no row of a point"), "{told}");
    }

    #[test]
    fn ten_thousand_rows_are_planned() {
        let rows = (0..10_000).map(|i| format!("{}\n", -20.0 + 0.004 * f64::from(i)));
        let table = format!("plates.stagger_mm\n{}", rows.collect::<String>());
        assert_eq!(of_table(&table, "").unwrap().points.len(), 10_000);
    }
}
