//! `published.csv`.

use crate::error::StoreError;
use crate::published::{Comparison, compare_published, levels_in_words};
use crate::results::Gathered;
use crate::table_columns::PUBLISHED;
use std::path::Path;

/// The table as text, a row for each published value; `None` where the job has none.
///
/// # Errors
/// [`StoreError::NotStorable`] at `path`.
pub(crate) fn published_table(
    gathered: &Gathered,
    path: &Path,
) -> Result<Option<Vec<u8>>, StoreError> {
    let all = compare_published(&gathered.study, &gathered.points);
    if all.is_empty() {
        return Ok(None);
    }
    let written = rows(&all).map_err(|e| StoreError::NotStorable {
        path: path.to_path_buf(),
        reason: e.to_string(),
    })?;
    Ok(Some(written))
}

fn rows(all: &[Comparison]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(PUBLISHED.map(|c| c.name))?;
    let number = |n: Option<f64>| n.map_or(String::new(), |n| n.to_string());
    for c in all {
        let p = &c.published;
        writer.write_record([
            p.name.clone(),
            p.response.to_string(),
            p.case.clone(),
            levels_in_words(&p.at),
            p.over.as_deref().map_or(String::new(), levels_in_words),
            p.over_response
                .as_ref()
                .map_or(String::new(), ToString::to_string),
            p.over_case.clone().unwrap_or_default(),
            c.unit.clone(),
            number(p.value),
            p.order.map_or(String::new(), |o| o.told().into()),
            number(p.sd),
            p.n.map_or(String::new(), |n| n.to_string()),
            number(c.band.and_then(|b| b.low)),
            number(c.band.and_then(|b| b.high)),
            number(c.computed),
            number(c.error),
            number(c.interval.as_ref().map(|i| i.low)),
            c.interval
                .as_ref()
                .map_or(String::new(), |i| levels_in_words(&i.low_at)),
            number(c.interval.as_ref().map(|i| i.high)),
            c.interval
                .as_ref()
                .map_or(String::new(), |i| levels_in_words(&i.high_at)),
            number(c.difference_percent()),
            c.verdict.told(),
            p.read_from.clone(),
            p.source.clone(),
        ])?;
    }
    writer.into_inner().map_err(|e| e.into_error().into())
}
