//! `sensitivity.csv`: stress responses with one choice of their definition changed, from the same solutions.

use crate::error::StoreError;
use crate::results::Gathered;
use crate::table_columns::SENSITIVITY;
use bicolumn_base::Word;
use std::path::Path;

/// Word for the value by the response's own definition.
const AS_DEFINED: &str = "as_defined";

/// The table as text: a row per point, load case, response and choice; point and factors lead. `None` where no
/// response has a value under other choices.
///
/// # Errors
/// [`StoreError::NotStorable`] at `path`.
pub(crate) fn sensitivity_table(
    gathered: &Gathered,
    path: &Path,
) -> Result<Option<Vec<u8>>, StoreError> {
    let cases = gathered.points.iter().flat_map(|p| &p.cases);
    let mut responses = cases.flat_map(|c| &c.responses);
    if !responses.any(|r| !r.under.is_empty()) {
        return Ok(None);
    }
    let written = rows(gathered).map_err(|e| StoreError::NotStorable {
        path: path.to_path_buf(),
        reason: e.to_string(),
    })?;
    Ok(Some(written))
}

fn rows(gathered: &Gathered) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    let factors = gathered.study.factors.iter().map(|f| f.0.as_str());
    let factors: Vec<&str> = factors.collect();
    let lead = std::iter::once("point").chain(factors.iter().copied());
    writer.write_record(lead.chain(SENSITIVITY.map(|c| c.name)))?;
    let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
    for point in &gathered.points {
        let level = |f: &&str| {
            let value = point.factors.get(*f);
            value.map_or(String::new(), |v| v.to_string())
        };
        for case in &point.cases {
            for r in case.responses.iter().filter(|r| !r.under.is_empty()) {
                let own = [(AS_DEFINED, r.value)].into_iter();
                let changed = r.under.iter().map(|u| (u.choice.word(), u.value));
                for (choice, value) in own.chain(changed) {
                    let mut row = vec![point.id.clone()];
                    row.extend(factors.iter().map(level));
                    row.extend([case.name.clone(), r.name.to_string(), choice.to_string()]);
                    row.push(number(value));
                    writer.write_record(&row)?;
                }
            }
        }
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}
