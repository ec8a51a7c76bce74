//! Presets: bone cards, bone qualities, metals; every number with its source.

use bicolumn_geometry::BoneSpec;

/// Bone cards.
pub const BONES: [&str; 3] = ["mean_adult", "small_adult", "large_adult"];

/// Bone qualities.
pub const BONE_QUALITIES: [&str; 2] = ["normal", "osteoporotic"];

/// Metals of plates and screws.
pub const METALS: [&str; 3] = ["steel_316l", "titanium_ti6al4v", "titanium_cp"];

/// Value and source of a key in the preset `word` of the key `by` (`bone.preset`, `materials.bone`,
/// `materials.implant`); `None` if that preset says nothing about it.
pub fn lookup(by: &str, word: &str, path: &str) -> Option<(f64, String)> {
    let leaf = path.rsplit('.').next()?;
    match by {
        "bone.preset" => {
            let spec = bone(word)?;
            let value = serde_json::to_value(&spec).ok()?.get(leaf)?.as_f64()?;
            let source = match BoneSpec::card().into_iter().find(|r| r.key == leaf) {
                Some(row) => row.source,
                None => POTTING,
            };
            Some((value, source.to_string()))
        }
        "materials.bone" | "materials.implant" => {
            let part = path.strip_prefix("materials.")?.split('.').next()?;
            let row = MATERIALS.iter().find(|m| {
                m.preset == word
                    && (m.part == part || (by == "materials.implant" && m.part.is_empty()))
            })?;
            match leaf {
                "young_mpa" => Some((row.young_mpa, row.young_source.to_string())),
                "poisson" => Some((row.poisson, row.poisson_source.to_string())),
                "density_g_per_cm3" => DENSITIES
                    .iter()
                    .find(|d| d.0 == word)
                    .map(|d| (d.1, d.2.to_string())),
                _ => None,
            }
        }
        _ => None,
    }
}

fn bone(word: &str) -> Option<BoneSpec> {
    match word {
        "mean_adult" => Some(BoneSpec::mean_adult()),
        "small_adult" => Some(BoneSpec::small_adult()),
        "large_adult" => Some(BoneSpec::large_adult()),
        _ => None,
    }
}

const POTTING: &str =
    "at least two shaft diameters above the higher plate end; common practice, no source";

struct MaterialRow {
    preset: &'static str,
    /// `cortical`, `cancellous`; empty: plates and screws alike.
    part: &'static str,
    young_mpa: f64,
    young_source: &'static str,
    poisson: f64,
    poisson_source: &'static str,
}

const POISSON_BONE: &str = "isotropic choice of plating models; from memory";
const POLIKEIT_CORTICAL: &str =
    "normal less 33 %: Polikeit et al. 2004, J Biomech 37:1061; from memory";
const POLIKEIT_CANCELLOUS: &str =
    "normal less 66 %: Polikeit et al. 2004, J Biomech 37:1061; from memory";

/// Apparent density of cancellous bone by quality, g/cm³.
const DENSITIES: [(&str, f64, &str); 2] = [
    (
        "normal",
        0.23,
        "gives about this quality's modulus (600 MPa) by the pooled law; no measured value for this site found",
    ),
    (
        "osteoporotic",
        0.127,
        "gives about this quality's modulus (204 MPa) by the pooled law; no measured value for this site found",
    ),
];

const MATERIALS: [MaterialRow; 7] = [
    MaterialRow {
        preset: "normal",
        part: "cortical",
        young_mpa: 17_000.0,
        young_source: "longitudinal modulus: Reilly and Burstein 1975, J Biomech 8:393; used for all directions; from memory",
        poisson: 0.3,
        poisson_source: POISSON_BONE,
    },
    MaterialRow {
        preset: "normal",
        part: "cancellous",
        young_mpa: 600.0,
        young_source: "middle of 200, 600, 1000 MPa: Inzana et al. 2016 (abstract); no value for this site found",
        poisson: 0.3,
        poisson_source: POISSON_BONE,
    },
    MaterialRow {
        preset: "osteoporotic",
        part: "cortical",
        young_mpa: 11_390.0,
        young_source: POLIKEIT_CORTICAL,
        poisson: 0.3,
        poisson_source: POISSON_BONE,
    },
    MaterialRow {
        preset: "osteoporotic",
        part: "cancellous",
        young_mpa: 204.0,
        young_source: POLIKEIT_CANCELLOUS,
        poisson: 0.3,
        poisson_source: POISSON_BONE,
    },
    MaterialRow {
        preset: "steel_316l",
        part: "",
        young_mpa: 193_000.0,
        young_source: "316L, 186 to 200 GPa in tables; from memory",
        poisson: 0.3,
        poisson_source: "316L; from memory",
    },
    MaterialRow {
        preset: "titanium_ti6al4v",
        part: "",
        young_mpa: 114_000.0,
        young_source: "finite-element study in J Orthop Surg Res 2021, doi 10.1186/s13018-021-02836-1 (abstract)",
        poisson: 0.34,
        poisson_source: "ASTM F136 alloy; from memory",
    },
    MaterialRow {
        preset: "titanium_cp",
        part: "",
        young_mpa: 104_000.0,
        young_source: "commercially pure titanium, 103 to 105 GPa; from memory",
        poisson: 0.34,
        poisson_source: "as the alloy; from memory",
    },
];
