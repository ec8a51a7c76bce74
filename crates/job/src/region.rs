//! `[mesh.regions.NAME]` of a job: regions with a cell size of their own, under names that the job gives.

use crate::catalogue::{RegionKeys, keys};
use crate::given::{AllGiven, Given};
use crate::handle::{Key, KeyId, KeyType};
use crate::job_error::{Fault, Spot};
use crate::named_path::{REGIONS, split, under};
use bicolumn_mesh::region::FEATURE_NAMES;
use bicolumn_mesh::{RegionPlace, SizeRegion};
use std::collections::BTreeMap;

/// A fault of a region or of one of its keys.
pub(crate) struct WrongRegion {
    pub(crate) path: String,
    pub(crate) value: String,
    pub(crate) spot: Spot,
    pub(crate) fault: Fault,
}

/// The regions of a job, by name, and their faults. `tables` are those of the file: an empty one is a region
/// without anything.
pub(crate) fn read(
    given: &AllGiven,
    tables: &[(String, Spot)],
) -> (Vec<SizeRegion>, Vec<WrongRegion>) {
    let mut spots: BTreeMap<&str, Spot> = BTreeMap::new();
    for (table, spot) in tables {
        if let Some(name) = table.strip_prefix(REGIONS).filter(|n| !n.contains('.')) {
            spots.entry(name).or_insert(*spot);
        }
    }
    for (path, given) in given {
        if let Some((REGIONS, name, _)) = split(path) {
            spots.entry(name).or_insert(given.spot);
        }
    }
    let (mut regions, mut wrong) = (Vec::new(), Vec::new());
    for (name, spot) in spots {
        let reader = Reader { given, name };
        match reader.region() {
            Ok(region) => regions.push(region),
            Err((None, fault)) => wrong.push(WrongRegion {
                path: format!("{REGIONS}{name}"),
                value: String::new(),
                spot,
                fault,
            }),
            Err((Some(key), fault)) => {
                let given = reader.given(key);
                wrong.push(WrongRegion {
                    path: reader.path(key),
                    value: given.map(|g| g.value.to_string()).unwrap_or_default(),
                    spot: given.map_or(spot, |g| g.spot),
                    fault,
                });
            }
        }
    }
    (regions, wrong)
}

struct Reader<'a> {
    given: &'a AllGiven,
    name: &'a str,
}

/// The key at fault, or none for the region as a whole, and its fault.
type Wrong = (Option<KeyId>, Fault);

const SHAPES: &str = "a region is a ball (level_mm, anterior_mm, lateral_mm, radius_mm), a slice (from_mm, to_mm) \
                      or lies round a feature (around, within_mm)";

fn wrong(key: Option<KeyId>, why: impl Into<String>) -> Wrong {
    let (why, hint) = (why.into(), SHAPES.to_string());
    (key, Fault::Conflict { why, hint })
}

/// Shapes of regions, each with its keys.
#[derive(Clone, Copy)]
enum Shape {
    Around,
    Ball,
    Slice,
}

impl Shape {
    const ALL: [Shape; 3] = [Shape::Around, Shape::Ball, Shape::Slice];

    fn keys(self, k: &RegionKeys) -> Vec<KeyId> {
        match self {
            Shape::Around => vec![k.around.id(), k.within.id()],
            Shape::Ball => [k.level, k.anterior, k.lateral, k.radius]
                .map(Key::id)
                .into(),
            Shape::Slice => vec![k.from.id(), k.to.id()],
        }
    }
}

impl Reader<'_> {
    fn path(&self, key: impl Into<KeyId>) -> String {
        under(keys().path(key), self.name)
    }

    fn given(&self, key: impl Into<KeyId>) -> Option<&Given> {
        self.given.get(&self.path(key))
    }

    fn value<T: KeyType>(&self, key: Key<Option<T>>) -> Option<T::Out> {
        T::read(self.given(key).map(|g| &g.value))
    }

    fn needed<T: KeyType>(&self, key: Key<Option<T>>) -> Result<T::Out, Wrong> {
        self.value(key).ok_or_else(|| {
            let path = keys().path(key);
            let leaf = split(path).map_or(path, |(_, _, leaf)| leaf);
            wrong(None, format!("the region needs {leaf}"))
        })
    }

    fn region(&self) -> Result<SizeRegion, Wrong> {
        let k = &keys().mesh.region;
        let edge_mm = self.needed(k.edge)?;
        let mut found = Shape::ALL.into_iter().filter_map(|shape| {
            let mut keys = shape.keys(k).into_iter();
            Some((shape, keys.find(|key| self.given(*key).is_some())?))
        });
        let (shape, _) = found
            .next()
            .ok_or_else(|| wrong(None, "nothing says where the region is"))?;
        if let Some((_, other)) = found.next() {
            return Err(wrong(
                Some(other),
                "belongs to another shape than the region's other keys",
            ));
        }
        let place = match shape {
            Shape::Around => {
                let feature = self.needed(k.around)?.parse().map_err(|_| {
                    let accepted = format!("name a feature: {FEATURE_NAMES}");
                    let nearest = None;
                    (
                        Some(k.around.id()),
                        Fault::NotAccepted { accepted, nearest },
                    )
                })?;
                RegionPlace::Around {
                    feature,
                    within_mm: self.value(k.within).unwrap_or(0.0),
                }
            }
            Shape::Ball => {
                let [level, anterior, lateral, radius_mm] = [
                    self.needed(k.level)?,
                    self.needed(k.anterior)?,
                    self.needed(k.lateral)?,
                    self.needed(k.radius)?,
                ];
                RegionPlace::Ball {
                    centre_mm: [anterior, level, lateral],
                    radius_mm,
                }
            }
            Shape::Slice => {
                let (from_mm, to_mm) = (self.needed(k.from)?, self.needed(k.to)?);
                if to_mm <= from_mm {
                    return Err(wrong(Some(k.to.id()), "must lie above from_mm"));
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
