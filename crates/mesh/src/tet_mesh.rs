//! The mesh that leaves this crate.

use bicolumn_base::{Part, PlateSite, ScrewNumber, Vec3};
use serde::{Deserialize, Serialize};
use std::fmt;
use thiserror::Error;

/// Name of a surface of the construct.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[allow(missing_docs)]
pub enum SurfaceName {
    BoneOuter,
    BoneInner,
    CanalFloor,
    /// The potting plane.
    ProximalEnd,
    /// Face of the proximal fragment on the fracture.
    FractureProximal,
    /// Face of the distal fragment on the fracture.
    FractureDistal,
    /// Wall between the column in contact and the gap.
    FractureStep,
    /// Face of the medial distal fragment on the sagittal split.
    SplitMedial,
    /// Face of the lateral distal fragment on the sagittal split.
    SplitLateral,
    PlateTop(PlateSite),
    PlateUnderside(PlateSite),
    PlateSide(PlateSite),
    /// Wall of a hole that is empty or a screw's bore, counted from the distal end.
    HoleWall(PlateSite, u8),
    ScrewSide(ScrewNumber),
    ScrewTip(ScrewNumber),
    /// Ball of a head in its seat: seat and underside of the head.
    HeadSeat(ScrewNumber),
    /// Top and rim of a head that rests on bone.
    HeadTop(ScrewNumber),
    HeadRim(ScrewNumber),
    /// For meshes that are no construct (tests): a number.
    Other(u8),
}

impl std::fmt::Display for SurfaceName {
    /// Its name in files, such as `plate.medial.underside` or `screw.03.tip`.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let plate = |site: &PlateSite| Part::Plate(*site);
        match self {
            SurfaceName::BoneOuter => f.write_str("bone.outer"),
            SurfaceName::BoneInner => f.write_str("bone.inner"),
            SurfaceName::CanalFloor => f.write_str("canal.floor"),
            SurfaceName::ProximalEnd => f.write_str("end.proximal"),
            SurfaceName::FractureProximal => f.write_str("fracture.proximal"),
            SurfaceName::FractureDistal => f.write_str("fracture.distal"),
            SurfaceName::FractureStep => f.write_str("fracture.step"),
            SurfaceName::SplitMedial => f.write_str("split.medial"),
            SurfaceName::SplitLateral => f.write_str("split.lateral"),
            SurfaceName::PlateTop(site) => write!(f, "{}.top", plate(site)),
            SurfaceName::PlateUnderside(site) => write!(f, "{}.underside", plate(site)),
            SurfaceName::PlateSide(site) => write!(f, "{}.side", plate(site)),
            SurfaceName::HoleWall(site, n) => write!(f, "{}.hole.{n:02}", plate(site)),
            SurfaceName::ScrewSide(n) => write!(f, "{n}.side"),
            SurfaceName::ScrewTip(n) => write!(f, "{n}.tip"),
            SurfaceName::HeadSeat(n) => write!(f, "{n}.head.seat"),
            SurfaceName::HeadTop(n) => write!(f, "{n}.head.top"),
            SurfaceName::HeadRim(n) => write!(f, "{n}.head.rim"),
            SurfaceName::Other(n) => write!(f, "surface.{n}"),
        }
    }
}

/// A boundary or interface facet.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Facet {
    /// Three corners then the three midside nodes (01, 12, 20); the normal by the right-hand rule
    /// points out of `tet`.
    pub nodes: [u32; 6],
    /// The tetrahedron it bounds.
    pub tet: u32,
    /// The tetrahedron of another part beyond it; `None` on a free surface.
    pub beyond: Option<u32>,
    /// Index in [`TetMesh::surfaces`] of the surface it lies on.
    pub surface: u8,
}

/// A ten-node tetrahedral mesh of a whole construct.
///
/// Local node order is VTK's quadratic tetrahedron: corners 0-3, then the edges 01, 12, 20, 03, 13, 23.
/// Midside nodes on facets sit on the surface; those inside sit in the middle of their edge, except
/// beside curved facets, where some give way.
/// Between two parts that share nodes each interface facet is listed twice, once from either side.
#[derive(Debug, Clone, PartialEq)]
pub struct TetMesh {
    /// Node positions, mm; the corners of tetrahedra come first.
    pub nodes: Vec<Vec3>,
    /// How many of the nodes are corners.
    pub vertex_count: usize,
    /// Tetrahedra.
    pub tets: Vec<[u32; 10]>,
    /// Part of each tetrahedron: index in `parts`.
    pub part: Vec<u16>,
    /// The parts present, sorted.
    pub parts: Vec<Part>,
    /// Boundary and interface facets, sorted by (tet, local face).
    pub facets: Vec<Facet>,
    /// The surfaces that facets name.
    pub surfaces: Vec<SurfaceName>,
    /// Quality.
    pub quality: Quality,
    /// Where the time went.
    pub stages: MeshStages,
}

impl TetMesh {
    /// Part of a tetrahedron.
    pub fn part_of(&self, tet: usize) -> Part {
        self.parts[self.part[tet] as usize]
    }

    /// Facets on the given surface, in order.
    pub fn facets_on(&self, surface: SurfaceName) -> impl Iterator<Item = &Facet> {
        self.facets
            .iter()
            .filter(move |f| self.surfaces[f.surface as usize] == surface)
    }

    /// Free facets of one part, in order.
    pub fn free_facets(&self) -> impl Iterator<Item = &Facet> {
        self.facets.iter().filter(|f| f.beyond.is_none())
    }

    /// Interface facets seen from the parts that `own` accepts, with those that `other` accepts
    /// beyond; normals point out of `own`. In order; empty where the two do not touch.
    ///
    /// ```
    /// # use bicolumn_mesh::TetMesh;
    /// # use bicolumn_base::Part;
    /// /// Area-bearing facets between plates and bone, seen from the plates.
    /// fn under_plates(mesh: &TetMesh) -> usize {
    ///     mesh.between(|p| matches!(p, Part::Plate(_)), Part::is_bone).count()
    /// }
    /// ```
    pub fn between(
        &self,
        own: impl Fn(Part) -> bool,
        other: impl Fn(Part) -> bool,
    ) -> impl Iterator<Item = &Facet> {
        self.facets.iter().filter(move |f| {
            f.beyond.is_some_and(|b| other(self.part_of(b as usize)))
                && own(self.part_of(f.tet as usize))
        })
    }

    /// Corner positions of a tetrahedron.
    pub fn corners(&self, tet: usize) -> [Vec3; 4] {
        let t = &self.tets[tet];
        [0, 1, 2, 3].map(|i| self.nodes[t[i] as usize])
    }

    /// Volume of a tetrahedron from its corners, mm³.
    pub fn volume(&self, tet: usize) -> f64 {
        let [a, b, c, d] = self.corners(tet);
        (b - a).dot(&(c - a).cross(&(d - a))) / 6.0
    }

    /// Volume of a tetrahedron with its curved edges and faces, mm³.
    pub fn curved_volume(&self, tet: usize) -> f64 {
        crate::curved::volume(&self.tets[tet].map(|n| self.nodes[n as usize]))
    }

    /// Least dihedral angle of a tetrahedron, from its corners, degree.
    pub fn least_dihedral_deg(&self, tet: usize) -> f64 {
        crate::quality::dihedral_cosines(&self.corners(tet))
            .into_iter()
            .fold(-1.0, f64::max)
            .acos()
            .to_degrees()
    }
}

/// The quality table of a mesh: angles and ratios of straight-sided tetrahedra, volumes of curved ones.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct Quality {
    pub tets: usize,
    pub vertices: usize,
    pub nodes: usize,
    pub min_dihedral_deg: f64,
    pub max_dihedral_deg: f64,
    /// Least 3·inradius/circumradius (1 for the regular tetrahedron).
    pub min_radius_ratio: f64,
    /// Share of tetrahedra whose least dihedral angle is below 10, 18 and 20 degrees.
    pub share_below_10_deg: f64,
    pub share_below_18_deg: f64,
    pub share_below_20_deg: f64,
    /// (part name, tetrahedra, volume mm³ of the curved elements).
    pub parts: Vec<(String, usize, f64)>,
    /// Share of the curved-surface midside nodes that sit on the true surface.
    pub curved_share: f64,
    /// Share of the elements with a curved edge for whose sake a midside node was drawn back.
    #[serde(default)]
    pub straightened_share: f64,
    /// Least det J of a curved element anywhere in it (lower bound), over that of the straight element.
    #[serde(default)]
    pub min_jacobian_share: f64,
    /// Facets that no surface claims. None in a mesh from [`crate::build`], whose gates refuse them.
    pub unclassified_facets: usize,
    /// Connected components: pieces that share no face with each other.
    pub components: usize,
    /// Non-manifold edges of single parts: a part touches itself there in more than one wedge.
    #[serde(rename = "pinched_edges")]
    pub non_manifold_edges: usize,
    /// Non-manifold edges of all material: hinges of the model. None in a mesh from [`crate::build`], whose gates
    /// refuse them.
    pub hinged_edges: usize,
    /// Largest distance of a facet's corner from the facet's surface, mm.
    pub surface_error_mm: f64,
    /// Centroid and level of the worst tetrahedron, mm.
    pub worst_at: [f64; 3],
    /// Fallback that was needed.
    pub fallback: Fallback,
}

/// Retry of the mesher that gave the mesh; in files its number, 0 to 2.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize,
)]
#[serde(into = "u8", try_from = "u8")]
pub enum Fallback {
    /// The lattice asked for.
    #[default]
    None,
    /// A lattice of the size asked for, shifted by part of a cell.
    ShiftedLattice,
    /// A lattice with all sizes times 0.8.
    FinerLattice,
}

impl Fallback {
    /// Consequence for the numbers found on the mesh, in a sentence; `None` without a fallback.
    pub fn consequence(self) -> Option<&'static str> {
        match self {
            Fallback::None => None,
            Fallback::ShiftedLattice => Some(
                "meshed on a shifted lattice, since the first one failed a check or left a dihedral angle below 20 \
                 degrees: element sizes are as asked for, and the shift moves results as another lattice pose \
                 does, by mesh noise",
            ),
            Fallback::FinerLattice => Some(
                "meshed with all sizes times 0.8, since no lattice of the size asked for gave a sound mesh: the \
                 discretisation error is that of the smaller size, so compare with other points only beyond it",
            ),
        }
    }
}

impl From<Fallback> for u8 {
    fn from(fallback: Fallback) -> u8 {
        match fallback {
            Fallback::None => 0,
            Fallback::ShiftedLattice => 1,
            Fallback::FinerLattice => 2,
        }
    }
}

impl TryFrom<u8> for Fallback {
    type Error = UnknownFallback;

    fn try_from(number: u8) -> Result<Self, UnknownFallback> {
        match number {
            0 => Ok(Fallback::None),
            1 => Ok(Fallback::ShiftedLattice),
            2 => Ok(Fallback::FinerLattice),
            _ => Err(UnknownFallback(number)),
        }
    }
}

/// Number that names no [`Fallback`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, Error)]
#[error("fallback {0}: 0, 1 or 2 is known")]
pub struct UnknownFallback(pub u8);

impl fmt::Display for Fallback {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Fallback::None => "none",
            Fallback::ShiftedLattice => "a shifted lattice of the size asked for",
            Fallback::FinerLattice => "a lattice with all sizes times 0.8",
        })
    }
}

/// Seconds by stage.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct MeshStages {
    pub lattice_s: f64,
    pub cut_s: f64,
    pub improve_s: f64,
    pub promote_s: f64,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_fallback_is_its_number_in_files_and_a_sentence_for_readers() {
        for (number, fallback) in [
            (0, Fallback::None),
            (1, Fallback::ShiftedLattice),
            (2, Fallback::FinerLattice),
        ] {
            assert_eq!(u8::from(fallback), number);
            assert_eq!(Fallback::try_from(number), Ok(fallback));
            assert_eq!(fallback.consequence().is_none(), number == 0);
        }
        assert_eq!(Fallback::try_from(3), Err(UnknownFallback(3)));
    }

    #[test]
    fn surfaces_are_named_after_their_parts() {
        let names = [
            SurfaceName::PlateUnderside(PlateSite::Posterolateral),
            SurfaceName::HoleWall(PlateSite::Medial, 4),
            SurfaceName::ScrewTip(ScrewNumber(3)),
            SurfaceName::HeadSeat(ScrewNumber(11)),
            SurfaceName::FractureProximal,
        ]
        .map(|n| n.to_string());
        assert_eq!(
            names,
            [
                "plate.posterolateral.underside",
                "plate.medial.hole.04",
                "screw.03.tip",
                "screw.11.head.seat",
                "fracture.proximal",
            ]
        );
    }
}
