//! Presets of bone and metal; every number with its source.

use crate::words::{BoneQuality, Metal};
use bicolumn_geometry::{BoneDimension, BonePreset, BoneSpec};

/// A number with its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Sourced {
    /// Value.
    pub value: f64,
    /// Source.
    pub source: &'static str,
}

const fn sourced(value: f64, source: &'static str) -> Sourced {
    Sourced { value, source }
}

/// A dimension of a bone of the card.
pub(crate) fn bone(preset: BonePreset, dimension: BoneDimension) -> Sourced {
    sourced(BoneSpec::preset(preset)[dimension], dimension.row().source)
}

/// Young's modulus of cortical bone, MPa.
pub(crate) fn cortical_young(quality: BoneQuality) -> Sourced {
    match quality {
        BoneQuality::Normal => sourced(
            17_000.0,
            "longitudinal modulus: Reilly and Burstein 1975, J Biomech 8:393; used for all directions; from memory",
        ),
        BoneQuality::Osteoporotic => sourced(
            11_390.0,
            "normal less 33 %: Polikeit et al. 2004, J Biomech 37:1061; from memory",
        ),
        BoneQuality::Composite => sourced(
            16_000.0,
            "short-fibre-filled epoxy along the bone, tension (across 10 000; compression 16 700); from memory",
        ),
    }
}

/// Young's modulus of cancellous bone, MPa.
pub(crate) fn cancellous_young(quality: BoneQuality) -> Sourced {
    match quality {
        BoneQuality::Normal => sourced(
            600.0,
            "middle of 200, 600, 1000 MPa: Inzana et al. 2016 (abstract); no value for this site found",
        ),
        BoneQuality::Osteoporotic => sourced(
            204.0,
            "normal less 66 %: Polikeit et al. 2004, J Biomech 37:1061; from memory",
        ),
        BoneQuality::Composite => sourced(155.0, "foam of 0.27 g/cm3; from memory"),
    }
}

/// Poisson's ratio of bone.
pub(crate) fn bone_poisson(quality: BoneQuality) -> Sourced {
    match quality {
        BoneQuality::Normal | BoneQuality::Osteoporotic => {
            sourced(0.3, "isotropic choice of plating models; from memory")
        }
        BoneQuality::Composite => sourced(0.3, "filled epoxy, 0.26 to 0.3; from memory"),
    }
}

/// Apparent density of cancellous bone, g/cm³.
pub(crate) fn cancellous_density(quality: BoneQuality) -> Sourced {
    match quality {
        BoneQuality::Normal => sourced(
            0.23,
            "gives about this quality's modulus (600 MPa) by the pooled law; no measured value for this site found",
        ),
        BoneQuality::Osteoporotic => sourced(
            0.127,
            "gives about this quality's modulus (204 MPa) by the pooled law; no measured value for this site found",
        ),
        BoneQuality::Composite => sourced(0.27, "foam; the laws are those of bone; from memory"),
    }
}

/// Young's modulus of a metal, MPa.
pub(crate) fn metal_young(metal: Metal) -> Sourced {
    match metal {
        Metal::Steel316l => sourced(193_000.0, "316L, 186 to 200 GPa in tables; from memory"),
        Metal::TitaniumTi6al4v => sourced(
            114_000.0,
            "finite-element study in J Orthop Surg Res 2021, doi 10.1186/s13018-021-02836-1 (abstract)",
        ),
        Metal::TitaniumCp => sourced(
            104_000.0,
            "commercially pure titanium, 103 to 105 GPa; from memory",
        ),
    }
}

/// Poisson's ratio of a metal.
pub(crate) fn metal_poisson(metal: Metal) -> Sourced {
    match metal {
        Metal::Steel316l => sourced(0.3, "316L; from memory"),
        Metal::TitaniumTi6al4v => sourced(0.34, "ASTM F136 alloy; from memory"),
        Metal::TitaniumCp => sourced(0.34, "as the alloy; from memory"),
    }
}
