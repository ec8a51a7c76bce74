//! Named regions with a wanted edge length of their own.

use crate::size_field::LEAST_EDGE_MM;
use bicolumn_base::{Part, PlateSite, ScrewNumber, Vec3};
use bicolumn_geometry::Construct;
use serde::{Deserialize, Serialize};
use std::fmt;
use std::str::FromStr;

/// A part of space with a wanted edge length of its own, finer or coarser than what the features or the
/// size field ask for there.
///
/// The needs of a valid mesh bind here as with a [`crate::SizeField`]. The size grows by
/// [`crate::Sizing::growth`] away from a fine region; in a coarse one it grows from what is wanted at its
/// boundary inwards, so that a small coarse region hardly shows. Where regions overlap, the finest holds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SizeRegion {
    /// Name, for errors.
    pub name: String,
    /// Where it is.
    pub place: RegionPlace,
    /// Wanted edge, mm.
    pub edge_mm: f64,
}

impl SizeRegion {
    /// Its edge by a factor, but not below [`LEAST_EDGE_MM`].
    pub fn scaled(&self, factor: f64) -> SizeRegion {
        SizeRegion {
            edge_mm: (self.edge_mm * factor).max(LEAST_EDGE_MM),
            ..self.clone()
        }
    }
}

/// Where a region is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub enum RegionPlace {
    /// A ball.
    Ball {
        /// Its centre in the bone frame, mm.
        centre_mm: [f64; 3],
        /// Its radius, mm.
        radius_mm: f64,
    },
    /// All between two levels (Y).
    Levels {
        /// The lower, mm.
        from_mm: f64,
        /// The upper, mm.
        to_mm: f64,
    },
    /// All within a distance of a feature.
    Around {
        /// The feature.
        feature: RegionFeature,
        /// The distance, mm.
        within_mm: f64,
    },
}

/// Feature of the construct round which a region can lie.
///
/// ```
/// use bicolumn_base::{PlateSite, ScrewNumber};
/// use bicolumn_mesh::RegionFeature;
/// assert_eq!("plate.medial.end".parse(), Ok(RegionFeature::PlateEnd(PlateSite::Medial)));
/// assert_eq!(RegionFeature::Screw(ScrewNumber(3)).to_string(), "screw.03");
/// assert!("plate.dorsal".parse::<RegionFeature>().is_err());
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub enum RegionFeature {
    /// A plate.
    Plate(PlateSite),
    /// The proximal end of a plate.
    PlateEnd(PlateSite),
    /// A screw with its head.
    Screw(ScrewNumber),
    /// The faces of the supracondylar fracture.
    Fracture,
    /// The faces of the split in the articular block.
    Split,
}

impl fmt::Display for RegionFeature {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            RegionFeature::Plate(site) => write!(f, "{}", Part::Plate(*site)),
            RegionFeature::PlateEnd(site) => write!(f, "{}.end", Part::Plate(*site)),
            RegionFeature::Screw(number) => write!(f, "{number}"),
            RegionFeature::Fracture => f.write_str("fracture"),
            RegionFeature::Split => f.write_str("split"),
        }
    }
}

/// Names that features can have, for messages.
pub const FEATURE_NAMES: &str = "plate.SITE, plate.SITE.end (SITE: medial, lateral, posterolateral), screw.NN (two digits), fracture, split";

impl FromStr for RegionFeature {
    type Err = String;

    fn from_str(name: &str) -> Result<RegionFeature, String> {
        let plates = [
            PlateSite::Medial,
            PlateSite::Lateral,
            PlateSite::Posterolateral,
        ];
        let of_plates = plates
            .into_iter()
            .flat_map(|p| [RegionFeature::Plate(p), RegionFeature::PlateEnd(p)]);
        let of_screws = (1..=u8::MAX).map(|n| RegionFeature::Screw(ScrewNumber(n)));
        of_plates
            .chain([RegionFeature::Fracture, RegionFeature::Split])
            .chain(of_screws)
            .find(|f| f.to_string() == name)
            .ok_or_else(|| format!("no feature is called {name:?}; features: {FEATURE_NAMES}"))
    }
}

impl TryFrom<String> for RegionFeature {
    type Error = String;

    fn try_from(name: String) -> Result<RegionFeature, String> {
        name.parse()
    }
}

impl From<RegionFeature> for String {
    fn from(feature: RegionFeature) -> String {
        feature.to_string()
    }
}

impl RegionFeature {
    /// The features of a construct.
    pub fn all_of(construct: &Construct) -> Vec<RegionFeature> {
        let plates = construct.plates.iter();
        let of_plates = plates.flat_map(|p| {
            [
                RegionFeature::Plate(p.site),
                RegionFeature::PlateEnd(p.site),
            ]
        });
        let screws = construct.screws.iter();
        let mut all: Vec<_> = of_plates
            .chain(screws.map(|s| RegionFeature::Screw(s.number)))
            .collect();
        if let Some(fracture) = &construct.fracture {
            all.push(RegionFeature::Fracture);
            all.extend(fracture.split.as_ref().map(|_| RegionFeature::Split));
        }
        all
    }
}

/// Signed distance to a region (negative inside), mm; `to_feature` gives that to a feature, 0 or less in it.
pub(crate) fn distance(
    place: &RegionPlace,
    x: Vec3,
    to_feature: impl Fn(RegionFeature) -> f64,
) -> f64 {
    match place {
        RegionPlace::Ball {
            centre_mm,
            radius_mm,
        } => (x - Vec3::from(*centre_mm)).norm() - radius_mm,
        RegionPlace::Levels { from_mm, to_mm } => (from_mm - x.y).max(x.y - to_mm),
        RegionPlace::Around { feature, within_mm } => to_feature(*feature) - within_mm,
    }
}
