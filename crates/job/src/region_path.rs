//! Paths of the keys of `[mesh.regions.NAME]`, under names that a job gives.

/// Beginning of the keys of regions; a name that the job gives follows.
pub(crate) const REGIONS: &str = "mesh.regions.";

/// Stands for the name in the list of keys.
pub(crate) const ANY: &str = "NAME";

/// The listed key that stands for a region's: `mesh.regions.NAME.edge_mm` for `mesh.regions.rim.edge_mm`.
pub(crate) fn listed_as(path: &str) -> Option<String> {
    let (_, leaf) = split(path)?;
    Some(format!("{REGIONS}{ANY}.{leaf}"))
}

/// The path of a listed key under the name of a region.
pub(crate) fn under(listed: &str, name: &str) -> String {
    listed.replace(&format!("{REGIONS}{ANY}."), &format!("{REGIONS}{name}."))
}

/// The listed key under the name of another of the region's keys.
pub(crate) fn named_as(listed: &str, like: &str) -> String {
    match split(like) {
        Some((name, _)) => under(listed, name),
        None => listed.to_string(),
    }
}

/// Name and last part of a region's key.
pub(crate) fn split(path: &str) -> Option<(&str, &str)> {
    let (name, leaf) = path.strip_prefix(REGIONS)?.split_once('.')?;
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    (!name.is_empty() && name.chars().all(fits) && !leaf.contains('.')).then_some((name, leaf))
}
