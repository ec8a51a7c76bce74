//! `[published.NAME]` of a job: published values to set beside the computed ones.

use crate::catalogue::keys;
use crate::handle::{Key, KeyType};
use crate::job::Job;
use crate::job_error::{Fault, Spot};
use crate::named_elsewhere::{self, Wrong, by_path, wrong};
use crate::named_path::PUBLISHED;
use crate::named_table::{NamedTable, WrongTable, names};
use crate::words::Order;
use bicolumn_base::Word;
use bicolumn_response::ResponseName;
use bicolumn_store::{PublishedOrder, PublishedRecord};

/// Published values of a job, by name, and their faults.
pub(crate) fn read(
    job: &Job,
    tables: &[(String, Spot)],
) -> (Vec<PublishedRecord>, Vec<WrongTable>) {
    let (mut rows, mut faults) = (Vec::new(), Vec::new());
    for (name, spot) in names(PUBLISHED, &job.given, tables) {
        let table = NamedTable {
            kind: PUBLISHED,
            name,
            given: &job.given,
        };
        match (Reader { job, table }).row() {
            Ok(row) => rows.push(row),
            Err((key, why, hint)) => {
                faults.push(table.wrong(key, spot, Fault::Conflict { why, hint }));
            }
        }
    }
    (rows, faults)
}

struct Reader<'a> {
    job: &'a Job,
    table: NamedTable<'a>,
}

impl Reader<'_> {
    fn needed<T: KeyType>(&self, key: Key<Option<T>>) -> Result<T::Out, Wrong> {
        self.table.value(key).ok_or_else(|| {
            let hint = "a published value has response, case, value, source, read_from, and sd or band_percent";
            wrong(None, format!("needs {}", self.table.leaf(key)), hint)
        })
    }

    fn row(&self) -> Result<PublishedRecord, Wrong> {
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
    fn check_rule(&self, row: &PublishedRecord) -> Result<(), Wrong> {
        let k = &keys().published;
        if row.order.is_none() {
            self.needed(k.value)?;
            if row.sd.is_none() && row.band_percent.is_none() && row.not_comparable.is_none() {
                let why = "nothing says how near the computed value must come";
                let hint = "give sd, or band_percent, or not_comparable_because";
                return Err(wrong(None, why, hint));
            }
            return Ok(());
        }
        if !row.is_of_two() {
            let why = "an order is one of two values";
            let hint = "say by over, over_response or over_case which is the other";
            return Err(wrong(k.order.id(), why, hint));
        }
        let of_a_value = [k.value.id(), k.sd.id(), k.band.id()];
        match of_a_value
            .into_iter()
            .find(|key| self.table.given(*key).is_some())
        {
            None => Ok(()),
            Some(key) => {
                let hint = "leave it out, or leave order out";
                Err(wrong(key, "has no effect beside order", hint))
            }
        }
    }

    fn response(&self, key: Key<Option<String>>, name: String) -> Result<ResponseName, Wrong> {
        named_elsewhere::response(self.job, key.id(), &name)
    }

    fn case(&self, key: Key<Option<String>>, name: String) -> Result<String, Wrong> {
        named_elsewhere::load_case(self.job, key.id(), name)
    }

    /// Factors that the source does not tell.
    fn untold(&self) -> Result<Vec<String>, Wrong> {
        let key = keys().published.untold;
        let Some(text) = self.table.value(key) else {
            return Ok(vec![]);
        };
        let factor = |name: &str| {
            let hint = "name factors of this job, joined by \";\"";
            let found = named_elsewhere::factor(self.job, key.id(), name.trim(), hint)?;
            Ok(found.path().to_string())
        };
        text.split(';').map(factor).collect()
    }

    /// Levels of factors that single out a design point.
    fn levels(&self, key: Key<Option<String>>) -> Result<Vec<(String, String)>, Wrong> {
        let Some(text) = self.table.value(key) else {
            return Ok(vec![]);
        };
        named_elsewhere::levels(self.job, key.id(), &text).map(by_path)
    }
}
