//! Keys of a job given on the command line: `--set key=value`, written into the job's text.

use toml_edit::{DocumentMut, Item, Key, Table, TableLike, Value};

/// A key and its value.
#[derive(Debug, Clone)]
pub struct SetKey {
    path: Vec<Key>,
    value: Value,
    /// As it was typed.
    pub(crate) typed: String,
}

/// Reads `key=value`. A value that is no TOML but a word is that word.
///
/// # Errors
/// What is accepted.
pub(crate) fn set_key(text: &str) -> Result<SetKey, String> {
    let accepted = || "accepted: KEY=VALUE as in a job file, such as mesh.finest_mm=2.5".to_owned();
    let (key, value) = text.split_once('=').ok_or_else(accepted)?;
    let path = Key::parse(key.trim()).map_err(|_| accepted())?;
    let value = value.trim();
    let is_word = |c: char| c.is_alphanumeric() || "_-./".contains(c);
    let read = match value.parse::<Value>() {
        Ok(read) => read,
        Err(_) if !value.is_empty() && value.chars().all(is_word) => Value::from(value),
        Err(_) => return Err(accepted()),
    };
    Ok(SetKey {
        path,
        value: read,
        typed: text.to_owned(),
    })
}

/// The text of a job with keys set, which the job's own reader then judges as if they stood in the file.
///
/// # Errors
/// A text that is no TOML, a key within something that is no section, a section in place of a value.
pub(crate) fn with_set(text: &str, keys: &[SetKey]) -> Result<String, String> {
    if keys.is_empty() {
        return Ok(text.to_owned());
    }
    let mut document: DocumentMut = text.parse().map_err(|e| format!("{e}"))?;
    for key in keys {
        put(document.as_table_mut(), &key.path, &key.value)
            .map_err(|reason| format!("--set {}: {reason}", key.typed))?;
    }
    let mut out = document.to_string();
    if !out.ends_with('\n') {
        out.push('\n');
    }
    for key in keys {
        // One line each, whatever was typed.
        let typed = key.typed.replace(['\n', '\r'], " ");
        out.push_str(&format!("# set on the command line: {typed}\n"));
    }
    Ok(out)
}

fn put(table: &mut dyn TableLike, path: &[Key], value: &Value) -> Result<(), String> {
    let Some((first, rest)) = path.split_first() else {
        return Ok(());
    };
    if rest.is_empty() {
        match table.get_mut(first) {
            Some(Item::Value(there)) => {
                // The comments round it stay.
                let decor = there.decor().clone();
                *there = value.clone();
                *there.decor_mut() = decor;
            }
            Some(there) if there.is_table_like() => {
                return Err(format!("{} is a section, not a key", first.get()));
            }
            _ => {
                table.insert(first.get(), Item::Value(value.clone()));
            }
        }
        return Ok(());
    }
    let section = table.entry_format(first).or_insert_with(|| {
        let mut section = Table::new();
        section.set_implicit(true);
        Item::Table(section)
    });
    let Some(inner) = section.as_table_like_mut() else {
        return Err(format!("{} is a key, not a section", first.get()));
    };
    put(inner, rest, value)
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_job::{Job, Plan};
    use std::path::Path;

    fn set(text: &str, typed: &[&str]) -> Result<String, String> {
        let keys: Vec<SetKey> = typed.iter().map(|t| set_key(t).unwrap()).collect();
        with_set(text, &keys)
    }

    #[test]
    fn a_key_set_is_that_key_in_the_file() {
        let text = "# mine\nconstruct.layout = \"medial_only\" # why\n[mesh]\nfinest_mm = 3.0\n[factors]\nplates.end_level_mm = [85, 90]\n";
        let typed = [
            "mesh.finest_mm=2.5",
            "mesh.growth = 1.5",
            "construct.layout=parallel",
            "run.title=\"a = b\"",
            "factors.plates.end_level_mm=[80, 85, 90]",
        ];
        let changed = set(text, &typed).unwrap();
        let job = Job::parse(Path::new("x.toml"), &changed).unwrap();
        let plain = "run.title = \"a = b\"\nconstruct.layout = \"parallel\"\n[mesh]\nfinest_mm = 2.5\ngrowth = 1.5\n[factors]\nplates.end_level_mm = [80, 85, 90]\n";
        let same = Job::parse(Path::new("x.toml"), plain).unwrap();
        let digests = |job: &Job| -> Vec<String> {
            let plan = Plan::of(job).unwrap();
            let points = plan.points.iter();
            points
                .map(|p| bicolumn_job::resolve(job, p).digest)
                .collect()
        };
        assert_eq!(digests(&job), digests(&same));
        assert_eq!(digests(&job).len(), 3);
        let head = "# mine\nconstruct.layout = \"parallel\" # why\n";
        assert!(changed.starts_with(head), "{changed}");
        assert!(changed.contains("# set on the command line: mesh.finest_mm=2.5\n"));
        assert_eq!(set(text, &[]).unwrap(), text);
    }

    #[test]
    fn what_is_no_key_or_value_is_refused() {
        for bad in ["mesh.finest_mm", "=3", "a..b=3", "a=[1", "a=", "a=b c"] {
            assert!(set_key(bad).is_err(), "{bad}");
        }
        let text = "[mesh]\nfinest_mm = 3.0\n";
        for bad in ["mesh=3", "mesh.finest_mm.x=3"] {
            let told = set(text, &[bad]).unwrap_err();
            assert!(told.starts_with(&format!("--set {bad}: ")), "{told}");
        }
        // What is wrong with the value, the job's own reader tells.
        let job = set(text, &["mesh.finest_mm=-1"]).unwrap();
        assert!(Job::parse(Path::new("x.toml"), &job).is_err());
    }
}
