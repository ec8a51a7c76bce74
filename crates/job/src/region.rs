//! `[mesh.regions.NAME]` of a job: regions with a cell size of their own, under names that the job gives.

use crate::catalogue::{RegionKeys, keys};
use crate::given::AllGiven;
use crate::handle::{Key, KeyId, KeyType};
use crate::job_error::{Fault, Spot};
use crate::named_path::REGIONS;
use crate::named_table::{NamedTable, WrongTable, names};
use bicolumn_mesh::region::FEATURE_NAMES;
use bicolumn_mesh::{RegionPlace, SizeRegion};

/// The regions of a job, by name, and their faults. `tables` are those of the file: an empty one is a region
/// without anything.
pub(crate) fn read(
    given: &AllGiven,
    tables: &[(String, Spot)],
) -> (Vec<SizeRegion>, Vec<WrongTable>) {
    let (mut regions, mut wrong) = (Vec::new(), Vec::new());
    let names = names(REGIONS, given, tables).into_iter();
    for (name, spot) in names.filter(|(name, _)| !name.contains('.')) {
        let table = NamedTable {
            kind: REGIONS,
            name,
            given,
        };
        match Reader(table).region() {
            Ok(region) => regions.push(region),
            Err((key, fault)) => wrong.push(table.wrong(key, spot, fault)),
        }
    }
    (regions, wrong)
}

struct Reader<'a>(NamedTable<'a>);

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
    fn needed<T: KeyType>(&self, key: Key<Option<T>>) -> Result<T::Out, Wrong> {
        self.0
            .value(key)
            .ok_or_else(|| wrong(None, format!("the region needs {}", self.0.leaf(key))))
    }

    fn region(&self) -> Result<SizeRegion, Wrong> {
        let k = &keys().mesh.region;
        let edge_mm = self.needed(k.edge)?;
        let mut found = Shape::ALL.into_iter().filter_map(|shape| {
            let mut keys = shape.keys(k).into_iter();
            Some((shape, keys.find(|key| self.0.given(*key).is_some())?))
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
                    within_mm: self.0.value(k.within).unwrap_or(0.0),
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
            name: self.0.name.to_string(),
            place,
            edge_mm,
        })
    }
}
