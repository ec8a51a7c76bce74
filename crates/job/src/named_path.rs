//! Paths of keys in tables under names that a job gives: `[mesh.regions.NAME]`, `[loads.case.NAME]`,
//! `[sensors.NAME]`, `[published.NAME]`, `[hypothesis.NAME]`.

/// Beginning of the keys of regions; a name that the job gives follows.
pub(crate) const REGIONS: &str = "mesh.regions.";
/// Beginning of the keys of load cases.
pub(crate) const CASES: &str = "loads.case.";

/// Beginning of the keys of sensors.
pub(crate) const SENSORS: &str = "sensors.";

/// Beginning of the keys of published values.
pub(crate) const PUBLISHED: &str = "published.";

/// Beginning of the keys of hypotheses under names.
pub(crate) const HYPOTHESES: &str = "hypothesis.";

/// Tables whose names the job gives.
const TABLES: [&str; 5] = [REGIONS, CASES, SENSORS, PUBLISHED, HYPOTHESES];

/// Stands for the name in the list of keys.
pub(crate) const ANY: &str = "NAME";

/// Is a path one of such a table, under whatever name?
pub(crate) fn is_named(path: &str) -> bool {
    TABLES.iter().any(|t| path.starts_with(t))
}

/// Is a path that of such tables, of one of them, or of an action or a marker in one?
pub(crate) fn is_table(path: &str) -> bool {
    let inside = |t: &&str| match path.strip_prefix(*t) {
        Some(name) => {
            let mut parts = name.split('.');
            parts.clone().count() <= most_parts(t) && parts.all(is_name)
        }
        None => t.strip_suffix('.') == Some(path),
    };
    TABLES.iter().any(inside)
}

/// Most parts of a name in a table: a load case has actions, a sensor two markers.
fn most_parts(table: &str) -> usize {
    match table {
        REGIONS | PUBLISHED | HYPOTHESES => 1,
        _ => 2,
    }
}

/// The listed key that stands for a named one: `mesh.regions.NAME.edge_mm` for `mesh.regions.rim.edge_mm`.
pub(crate) fn listed_as(path: &str) -> Option<String> {
    let (table, _, leaf) = split(path)?;
    Some(format!("{table}{ANY}.{leaf}"))
}

/// The path of a listed key under a name of its table.
pub(crate) fn under(listed: &str, name: &str) -> String {
    listed.replacen(&format!(".{ANY}."), &format!(".{name}."), 1)
}

/// The listed key under the name of another key of the same table.
pub(crate) fn named_as(listed: &str, like: &str) -> String {
    match split(like) {
        Some((_, name, _)) => under(listed, name),
        None => listed.to_string(),
    }
}

/// Table, name and last part of a named key. The name of a further action of a load case, or of a marker of a sensor, holds
/// its table's: `lift.muscle` of `loads.case.lift.muscle.force_n`.
pub(crate) fn split(path: &str) -> Option<(&'static str, &str, &str)> {
    let table = TABLES.into_iter().find(|t| path.starts_with(t))?;
    let (name, leaf) = path.strip_prefix(table)?.rsplit_once('.')?;
    let parts = name.split('.');
    let most = most_parts(table);
    (parts.clone().count() <= most && parts.into_iter().all(is_name)).then_some((table, name, leaf))
}

/// Is a text a name that a table may have: letters, digits, `_` and `-`?
pub(crate) fn is_name(name: &str) -> bool {
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    !name.is_empty() && name.chars().all(fits)
}
