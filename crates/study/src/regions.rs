//! `[mesh.regions.NAME]` of a job: regions with a cell size of their own, under names that the job gives.

use crate::job::Job;
use crate::job_error::{Fault, JobError, Spot};
use bicolumn_mesh::region::FEATURE_NAMES;
use bicolumn_mesh::{RegionPlace, SizeRegion};
use std::collections::BTreeMap;

/// What all keys of regions begin with; a name follows.
pub(crate) const PREFIX: &str = "mesh.regions.";

/// Stands for the name in the list of keys.
const ANY: &str = "NAME";

/// The listed key that stands for a region's: `mesh.regions.NAME.edge_mm` for `mesh.regions.rim.edge_mm`.
pub(crate) fn listed_as(path: &str) -> Option<String> {
    let (_, leaf) = split(path)?;
    Some(format!("{PREFIX}{ANY}.{leaf}"))
}

/// The listed key again under the name of another of the region's keys.
pub(crate) fn named_as(listed: &str, like: &str) -> String {
    match split(like) {
        Some((name, _)) => listed.replace(&format!("{PREFIX}{ANY}."), &format!("{PREFIX}{name}.")),
        None => listed.to_string(),
    }
}

/// Name and last part of a region's key.
fn split(path: &str) -> Option<(&str, &str)> {
    let (name, leaf) = path.strip_prefix(PREFIX)?.split_once('.')?;
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    (!name.is_empty() && name.chars().all(fits) && !leaf.contains('.')).then_some((name, leaf))
}

/// The regions of a job, by name; what is wrong with them is told. `tables` are those of the file: an
/// empty one is a region without anything.
pub(crate) fn read(
    job: &Job,
    tables: &[(String, Spot)],
    errors: &mut Vec<JobError>,
) -> Vec<SizeRegion> {
    let mut spots: BTreeMap<&str, Spot> = BTreeMap::new();
    for (table, spot) in tables {
        if let Some(name) = table.strip_prefix(PREFIX).filter(|n| !n.contains('.')) {
            spots.entry(name).or_insert(*spot);
        }
    }
    for (path, given) in &job.given {
        if let Some((name, _)) = split(path) {
            spots.entry(name).or_insert(given.spot);
        }
    }
    let mut regions = Vec::new();
    for (name, spot) in spots {
        let reader = Reader { job, name };
        match reader.region() {
            Ok(region) => regions.push(region),
            Err((leaf, fault)) => {
                let path = format!(
                    "{PREFIX}{name}{}{leaf}",
                    if leaf.is_empty() { "" } else { "." }
                );
                let given = job.given.get(&path);
                let value = given.map(|g| g.value.to_string()).unwrap_or_default();
                let at = given.map_or(spot, |g| g.spot);
                errors.push(job.error(Some(at), &path, value, fault));
            }
        }
    }
    regions
}

struct Reader<'a> {
    job: &'a Job,
    name: &'a str,
}

/// The key at fault (its last part; empty for the region as a whole) and what is wrong.
type Wrong = (&'static str, Fault);

const SHAPES: &str = "a region is a ball (level_mm, anterior_mm, lateral_mm, radius_mm), a slice (from_mm, to_mm) \
                      or lies round a feature (around, within_mm)";

fn wrong(leaf: &'static str, why: impl Into<String>) -> Wrong {
    let (why, hint) = (why.into(), SHAPES.to_string());
    (leaf, Fault::Conflict { why, hint })
}

impl Reader<'_> {
    fn has(&self, leaf: &str) -> bool {
        let path = format!("{PREFIX}{}.{leaf}", self.name);
        self.job.given.contains_key(&path)
    }

    fn number(&self, leaf: &str) -> Option<f64> {
        let path = format!("{PREFIX}{}.{leaf}", self.name);
        self.job.given.get(&path)?.value.number()
    }

    fn needed(&self, leaf: &'static str) -> Result<f64, Wrong> {
        self.number(leaf)
            .ok_or_else(|| wrong("", format!("the region needs {leaf}")))
    }

    fn region(&self) -> Result<SizeRegion, Wrong> {
        let edge_mm = self.needed("edge_mm")?;
        let families: [&[&'static str]; 3] = [
            &["around", "within_mm"],
            &["level_mm", "anterior_mm", "lateral_mm", "radius_mm"],
            &["from_mm", "to_mm"],
        ];
        let given = |leaves: &[&'static str]| leaves.iter().copied().find(|l| self.has(l));
        let mut found = families
            .iter()
            .enumerate()
            .filter_map(|(k, f)| Some((k, given(f)?)));
        let (family, _) = found
            .next()
            .ok_or_else(|| wrong("", "nothing says where the region is"))?;
        if let Some((_, other)) = found.next() {
            return Err(wrong(
                other,
                "belongs to another shape than the region's other keys",
            ));
        }
        let place = match family {
            0 => {
                let path = format!("{PREFIX}{}.around", self.name);
                let Some(around) = self.job.given.get(&path) else {
                    return Err(wrong("", "the region needs around"));
                };
                let text = around.value.text().unwrap_or_default();
                let feature = text.parse().map_err(|_| {
                    let accepted = format!("name a feature: {FEATURE_NAMES}");
                    let nearest = None;
                    ("around", Fault::NotAccepted { accepted, nearest })
                })?;
                RegionPlace::Around {
                    feature,
                    within_mm: self.number("within_mm").unwrap_or(0.0),
                }
            }
            1 => RegionPlace::Ball {
                centre_mm: [
                    self.needed("anterior_mm")?,
                    self.needed("level_mm")?,
                    self.needed("lateral_mm")?,
                ],
                radius_mm: self.needed("radius_mm")?,
            },
            _ => {
                let (from_mm, to_mm) = (self.needed("from_mm")?, self.needed("to_mm")?);
                if to_mm <= from_mm {
                    return Err(wrong("to_mm", "must lie above from_mm"));
                }
                RegionPlace::Levels { from_mm, to_mm }
            }
        };
        Ok(SizeRegion {
            name: self.name.to_string(),
            place,
            edge_mm,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plan::Plan;
    use crate::resolve::resolve;
    use bicolumn_base::PlateSite;
    use bicolumn_mesh::RegionFeature;
    use bicolumn_store::FactorValue;
    use std::path::Path;

    fn regions(text: &str) -> Result<Vec<SizeRegion>, String> {
        let job = Job::parse(Path::new("x.toml"), text).map_err(|e| e.to_string())?;
        Ok(job.regions)
    }

    #[test]
    fn each_shape_reaches_the_mesher_and_the_record() {
        let text = "[mesh.regions.rim]\nlevel_mm = 25\nanterior_mm = -13\nlateral_mm = -15.5\nradius_mm = 4\nedge_mm = 0.6\n\
                    [mesh.regions.shaft]\nfrom_mm = 70\nto_mm = 100\nedge_mm = 3\n\
                    [mesh]\nregions.end.around = \"plate.medial.end\"\nregions.end.edge_mm = 0.8\n";
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        let point = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        let places: Vec<_> = point
            .sizing
            .regions
            .iter()
            .map(|r| r.place.clone())
            .collect();
        assert_eq!(
            places,
            [
                RegionPlace::Around {
                    feature: RegionFeature::PlateEnd(PlateSite::Medial),
                    within_mm: 0.0
                },
                RegionPlace::Ball {
                    centre_mm: [-13.0, 25.0, -15.5],
                    radius_mm: 4.0
                },
                RegionPlace::Levels {
                    from_mm: 70.0,
                    to_mm: 100.0
                },
            ]
        );
        let recorded = &point.inputs["mesh.regions.rim.lateral_mm"];
        assert_eq!(*recorded, FactorValue::Number(-15.5));
        let other = text.replace("radius_mm = 4", "radius_mm = 5");
        let job = Job::parse(Path::new("x.toml"), &other).unwrap();
        let other = resolve(&job, &Plan::of(&job).unwrap().points[0]);
        assert_ne!(point.digest, other.digest);
    }

    #[test]
    fn what_is_no_region_is_told_with_its_line() {
        let told = |text: &str| regions(text).unwrap_err();
        for (text, want) in [
            (
                "[mesh.regions.a]\n",
                "x.toml:1: mesh.regions.a: the region needs edge_mm",
            ),
            (
                "[mesh.regions.a]\nedge_mm = 1\n",
                "x.toml:1: mesh.regions.a: nothing says where the region is",
            ),
            (
                "[mesh.regions.a]\nedge_mm = 1\nlevel_mm = 3\n",
                "x.toml:1: mesh.regions.a: the region needs anterior_mm",
            ),
            (
                "[mesh.regions.a]\nedge_mm = 1\nfrom_mm = 3\nto_mm = 2\n",
                "x.toml:4: mesh.regions.a.to_mm = 2: must lie above from_mm",
            ),
            (
                "[mesh.regions.a]\nedge_mm = 1\nfrom_mm = 3\nto_mm = 5\nradius_mm = 2\n",
                "mesh.regions.a.from_mm = 3: belongs to another shape",
            ),
            (
                "[mesh.regions.a]\nedge_mm = 1\naround = \"screw.3\"\n",
                "x.toml:3: mesh.regions.a.around = screw.3: must name a feature: plate.SITE,",
            ),
            (
                "[mesh.regions.a]\nedge_mm = 0.01\naround = \"fracture\"\n",
                "x.toml:2: mesh.regions.a.edge_mm = 0.01: must lie between 0.1 and",
            ),
            (
                "[mesh.regions.a]\negde_mm = 1\n",
                "did you mean mesh.regions.a.edge_mm?",
            ),
            (
                "[factors]\n\"mesh.regions.a.edge_mm\" = [1, 2]\n",
                "cannot be a factor",
            ),
        ] {
            let told = told(text);
            assert!(told.contains(want), "{told}");
        }
    }
}
