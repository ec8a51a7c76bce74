//! The named load cases of a distal humerus held at its shaft and loaded at the joint.

use crate::joint_load::{Action, JointLoad, JointSurface, Wrench};
use bicolumn_base::{Vec3, Word};
use serde::{Deserialize, Serialize};

/// Named load case.
///
/// Signs are for a right humerus in the project's frame (X anterior, Y proximal, Z lateral), potted
/// proximally; a left one bears the mirror image. The force or couple acts on the distal fragment, at the joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NamedLoad {
    /// Force proximally along the shaft, +Y: closes the gap.
    Axial,
    /// Force backwards, −X: the joint moves posteriorly.
    PosteriorBending,
    /// Force forwards, +X.
    AnteriorBending,
    /// Force towards the midline, −Z: the joint moves medially.
    Varus,
    /// Force away from the midline, +Z.
    Valgus,
    /// Couple +Y: the lateral side of the joint turns forwards.
    InternalTorsion,
    /// Couple −Y.
    ExternalTorsion,
    /// Axial force on the capitellum alone: the lateral column's load.
    LateralColumn,
    /// Axial force on the trochlea alone: the medial column's load.
    MedialColumn,
}

impl NamedLoad {
    /// All of them, in the order of the documentation.
    pub const ALL: [NamedLoad; 9] = [
        NamedLoad::Axial,
        NamedLoad::PosteriorBending,
        NamedLoad::AnteriorBending,
        NamedLoad::Varus,
        NamedLoad::Valgus,
        NamedLoad::InternalTorsion,
        NamedLoad::ExternalTorsion,
        NamedLoad::LateralColumn,
        NamedLoad::MedialColumn,
    ];

    /// Key in files.
    pub fn key(self) -> &'static str {
        match self {
            NamedLoad::Axial => "axial",
            NamedLoad::PosteriorBending => "posterior_bending",
            NamedLoad::AnteriorBending => "anterior_bending",
            NamedLoad::Varus => "varus",
            NamedLoad::Valgus => "valgus",
            NamedLoad::InternalTorsion => "internal_torsion",
            NamedLoad::ExternalTorsion => "external_torsion",
            NamedLoad::LateralColumn => "lateral_column",
            NamedLoad::MedialColumn => "medial_column",
        }
    }

    /// The case as data, at given sizes.
    pub fn of_sizes(self, sizes: &LoadSizes) -> JointLoad {
        let both = JointSurface::Both {
            capitellum_share: sizes.capitellum_share,
        };
        let force = |on, force_n| Action {
            on,
            what: Wrench::Force {
                force_n,
                line: None,
            },
        };
        let couple = |moment_nmm| Action {
            on: both,
            what: Wrench::Couple(moment_nmm),
        };
        let action = match self {
            NamedLoad::Axial => force(both, Vec3::y() * sizes.axial_n),
            NamedLoad::PosteriorBending => force(both, Vec3::x() * -sizes.bending_n),
            NamedLoad::AnteriorBending => force(both, Vec3::x() * sizes.bending_n),
            NamedLoad::Varus => force(both, Vec3::z() * -sizes.frontal_n),
            NamedLoad::Valgus => force(both, Vec3::z() * sizes.frontal_n),
            NamedLoad::InternalTorsion => couple(Vec3::y() * sizes.torque_nmm),
            NamedLoad::ExternalTorsion => couple(Vec3::y() * -sizes.torque_nmm),
            NamedLoad::LateralColumn => force(JointSurface::Capitellum, Vec3::y() * sizes.column_n),
            NamedLoad::MedialColumn => force(JointSurface::Trochlea, Vec3::y() * sizes.column_n),
        };
        JointLoad {
            name: self.key().to_owned(),
            actions: vec![action],
            bend: None,
        }
    }
}

impl Word for NamedLoad {
    const ALL: &'static [NamedLoad] = &NamedLoad::ALL;

    fn word(self) -> &'static str {
        self.key()
    }

    fn doc(self) -> &'static str {
        match self {
            NamedLoad::Axial => "force proximally along the shaft: closes the gap",
            NamedLoad::PosteriorBending => "force backwards on the joint",
            NamedLoad::AnteriorBending => "force forwards on the joint",
            NamedLoad::Varus => "force towards the midline on the joint",
            NamedLoad::Valgus => "force away from the midline on the joint",
            NamedLoad::InternalTorsion => {
                "couple about the shaft: the lateral side of the joint turns forwards"
            }
            NamedLoad::ExternalTorsion => "the same couple reversed",
            NamedLoad::LateralColumn => "axial force on the capitellum alone",
            NamedLoad::MedialColumn => "axial force on the trochlea alone",
        }
    }
}

/// Sizes of the named loads.
///
/// Defaults: axial 200 N, bending 30 N, couple 7500 N·mm as in J Orthop Surg Res 2021, doi
/// 10.1186/s13018-021-02836-1 (abstract); share of the capitellum 0.58 after Smithson et al., 57.8 ± 4.6 %
/// at 100 N (abstract). The column load of 100 N is common practice, no source.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct LoadSizes {
    /// Axial force, N.
    pub axial_n: f64,
    /// Sagittal bending force, N.
    pub bending_n: f64,
    /// Frontal-plane bending force, N.
    pub frontal_n: f64,
    /// Torque, N·mm.
    pub torque_nmm: f64,
    /// Force on one column, N.
    pub column_n: f64,
    /// Part of every force that acts on the capitellum; the rest acts on the trochlea.
    pub capitellum_share: f64,
}

impl LoadSizes {
    /// Frontal-plane force where none is given, N: as the sagittal one, so that the directions compare.
    pub const FRONTAL_FORCE_N: f64 = 30.0;
}

impl Default for LoadSizes {
    fn default() -> Self {
        LoadSizes {
            axial_n: 200.0,
            bending_n: 30.0,
            frontal_n: LoadSizes::FRONTAL_FORCE_N,
            torque_nmm: 7500.0,
            column_n: 100.0,
            capitellum_share: 0.58,
        }
    }
}
