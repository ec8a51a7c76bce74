//! `[published.NAME]` of a job: published values to set beside the computed ones.

use crate::catalogue::keys;
use crate::handle::{Key, KeyId, KeyType};
use crate::job::Job;
use crate::job_error::{Fault, Spot};
use crate::named_path::PUBLISHED;
use crate::named_table::{NamedTable, WrongTable, names};
use crate::words::Order;
use bicolumn_base::Word;
use bicolumn_model::{NamedLoad, Sensor};
use bicolumn_response::{ResponseId, ResponseName};
use bicolumn_store::{PublishedOrder, PublishedRecord};

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
        let response = self.response(k.response, self.needed(k.response)?)?;
        let case = self.case(k.case, self.needed(k.case)?)?;
        let over = match self.table.given(k.over) {
            Some(_) => Some(self.levels(k.over)?),
            None => None,
        };
        let over_response = self.table.value(k.over_response);
        let over_case = self.table.value(k.over_case);
        let row = PublishedRecord {
            name: self.table.name.to_string(),
            response,
            case,
            at: self.levels(k.at)?,
            over,
            over_response: match over_response {
                Some(name) => Some(self.response(k.over_response, name)?),
                None => None,
            },
            over_case: match over_case {
                Some(name) => Some(self.case(k.over_case, name)?),
                None => None,
            },
            untold: self.untold()?,
            value: self.table.value(k.value),
            order: self.table.value(k.order).map(|order| match order {
                Order::Greater => PublishedOrder::Greater,
                Order::Smaller => PublishedOrder::Smaller,
            }),
            sd: self.table.value(k.sd),
            n: self.table.value(k.n),
            band_percent: self.table.value(k.band),
            source: self.needed(k.source)?,
            read_from: self.needed(k.read_from)?.word().to_string(),
            not_comparable: self.table.value(k.not_comparable),
        };
        self.check_rule(&row)?;
        Ok(row)
    }

    /// Refuses a row whose verdict has no rule, or two.
    fn check_rule(&self, row: &PublishedRecord) -> Result<(), WrongRow> {
        let k = &keys().published;
        if row.order.is_none() {
            self.needed(k.value)?;
            if row.sd.is_none() && row.band_percent.is_none() && row.not_comparable.is_none() {
                let why = "nothing says how near the computed value must come";
                let hint = "give sd, or band_percent, or not_comparable_because";
                return Err((None, why.into(), hint.into()));
            }
            return Ok(());
        }
        if !row.is_of_two() {
            let why = "an order is one of two values";
            let hint = "say by over, over_response or over_case which is the other";
            return Err((Some(k.order.id()), why.into(), hint.into()));
        }
        let of_a_value = [k.value.id(), k.sd.id(), k.band.id()];
        match of_a_value
            .into_iter()
            .find(|key| self.table.given(*key).is_some())
        {
            None => Ok(()),
            Some(key) => {
                let hint = "leave it out, or leave order out";
                Err((Some(key), "has no effect beside order".into(), hint.into()))
            }
        }
    }

    fn response(&self, key: Key<Option<String>>, name: String) -> Result<ResponseName, WrongRow> {
        let mut sensors = self.job.sensors().iter().map(Sensor::column);
        if ResponseId::from_name(&name).is_none() && !sensors.any(|s| s == name) {
            let hint = "name a column of columns.json, or of a sensor of this job";
            return Err((Some(key.id()), "no such response".into(), hint.into()));
        }
        Ok(name.as_str().into())
    }

    fn case(&self, key: Key<Option<String>>, name: String) -> Result<String, WrongRow> {
        let mut own = self.job.load_cases.iter();
        if NamedLoad::from_word(&name).is_none() && !own.any(|c| c.name() == name) {
            let hint = "name a load case of the program or of [loads.case.NAME]";
            return Err((Some(key.id()), "no such load case".into(), hint.into()));
        }
        Ok(name)
    }

    /// Factors that the source does not tell.
    fn untold(&self) -> Result<Vec<String>, WrongRow> {
        let key = keys().published.untold;
        let Some(text) = self.table.value(key) else {
            return Ok(vec![]);
        };
        let factor = |name: &str| {
            let name = name.trim();
            if self.job.factors.iter().any(|f| f.path() == name) {
                return Ok(name.to_string());
            }
            let hint = "name factors of this job, joined by \";\"";
            Err((
                Some(key.id()),
                format!("{name} is no factor of this job"),
                hint.into(),
            ))
        };
        text.split(';').map(factor).collect()
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
