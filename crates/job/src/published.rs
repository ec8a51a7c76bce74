//! `[published.NAME]` of a job: published values to set beside the computed ones.

use crate::catalogue::keys;
use crate::handle::{Key, KeyId, KeyType};
use crate::job::Job;
use crate::job_error::{Fault, Spot};
use crate::named_path::PUBLISHED;
use crate::named_table::{NamedTable, WrongTable, names};
use bicolumn_base::Word;
use bicolumn_model::{NamedLoad, Sensor};
use bicolumn_response::ResponseId;
use bicolumn_store::PublishedRecord;

/// Published values of a job, by name, and their faults.
pub(crate) fn read(
    job: &Job,
    tables: &[(String, Spot)],
) -> (Vec<PublishedRecord>, Vec<WrongTable>) {
    let (mut rows, mut wrong) = (Vec::new(), Vec::new());
    for (name, spot) in names(PUBLISHED, &job.given, tables) {
        let table = NamedTable {
            kind: PUBLISHED,
            name,
            given: &job.given,
        };
        match (Reader { job, table }).row() {
            Ok(row) => rows.push(row),
            Err((key, why, hint)) => {
                wrong.push(table.wrong(key, spot, Fault::Conflict { why, hint }));
            }
        }
    }
    (rows, wrong)
}

/// The key at fault, or none for the table as a whole; why; remedy.
type WrongRow = (Option<KeyId>, String, String);

struct Reader<'a> {
    job: &'a Job,
    table: NamedTable<'a>,
}

impl Reader<'_> {
    fn needed<T: KeyType>(&self, key: Key<Option<T>>) -> Result<T::Out, WrongRow> {
        self.table.value(key).ok_or_else(|| {
            let hint = "a published value has response, case, value, source, read_from, and sd or band_percent";
            (None, format!("needs {}", self.table.leaf(key)), hint.into())
        })
    }

    fn row(&self) -> Result<PublishedRecord, WrongRow> {
        let k = &keys().published;
        let response = self.needed(k.response)?;
        let mut sensors = self.job.sensors().iter().map(Sensor::column);
        if ResponseId::from_name(&response).is_none() && !sensors.any(|s| s == response) {
            let hint = "name a column of columns.json, or of a sensor of this job";
            return Err((
                Some(k.response.id()),
                "no such response".into(),
                hint.into(),
            ));
        }
        let case = self.needed(k.case)?;
        let mut own = self.job.load_cases.iter();
        if NamedLoad::from_word(&case).is_none() && !own.any(|c| c.name() == case) {
            let hint = "name a load case of the program or of [loads.case.NAME]";
            return Err((Some(k.case.id()), "no such load case".into(), hint.into()));
        }
        let over = match self.table.given(k.over) {
            Some(_) => Some(self.levels(k.over)?),
            None => None,
        };
        let (sd, band_percent) = (self.table.value(k.sd), self.table.value(k.band));
        let not_comparable = self.table.value(k.not_comparable);
        if sd.is_none() && band_percent.is_none() && not_comparable.is_none() {
            let why = "nothing says how near the computed value must come";
            let hint = "give sd, or band_percent, or not_comparable_because";
            return Err((None, why.into(), hint.into()));
        }
        Ok(PublishedRecord {
            name: self.table.name.to_string(),
            response: response.as_str().into(),
            case,
            at: self.levels(k.at)?,
            over,
            value: self.needed(k.value)?,
            sd,
            n: self.table.value(k.n),
            band_percent,
            source: self.needed(k.source)?,
            read_from: self.needed(k.read_from)?.word().to_string(),
            not_comparable,
        })
    }

    /// Levels of factors that single out a design point.
    fn levels(&self, key: Key<Option<String>>) -> Result<Vec<(String, String)>, WrongRow> {
        let Some(text) = self.table.value(key) else {
            return Ok(vec![]);
        };
        let wrong = |why: String| {
            let hint = "write \"construct.layout = orthogonal\", a factor of this job and one of its levels";
            (Some(key.id()), why, hint.to_string())
        };
        let mut all = Vec::new();
        for part in text.split(';') {
            let Some((factor, level)) = part.split_once('=') else {
                return Err(wrong("is no list of factors and levels".into()));
            };
            let (factor, level) = (factor.trim(), level.trim());
            let Some(found) = self.job.factors.iter().find(|f| f.path() == factor) else {
                return Err(wrong(format!("{factor} is no factor of this job")));
            };
            if !found.levels.iter().any(|l| l.to_string() == level) {
                return Err(wrong(format!("{level} is no level of {factor}")));
            }
            all.push((factor.to_string(), level.to_string()));
        }
        Ok(all)
    }
}
