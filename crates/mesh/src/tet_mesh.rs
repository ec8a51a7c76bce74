//! The mesh that leaves this crate.

use bicolumn_base::{Part, PlateSite, ScrewNumber, Vec3};
use serde::{Deserialize, Serialize};

/// What a surface of the construct is.
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

    /// Least dihedral angle of a tetrahedron, from its corners, degree.
    pub fn least_dihedral_deg(&self, tet: usize) -> f64 {
        crate::quality::dihedral_cosines(&self.corners(tet))
            .into_iter()
            .fold(-1.0, f64::max)
            .acos()
            .to_degrees()
    }
}

/// The quality table of a mesh, over straight-sided tetrahedra.
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
    /// (part name, tetrahedra, volume mm³).
    pub parts: Vec<(String, usize, f64)>,
    /// Share of the curved-surface midside nodes that sit on the true surface.
    pub curved_share: f64,
    /// Share of the elements with a curved side for whose sake a midside node was drawn back.
    #[serde(default)]
    pub straightened_share: f64,
    /// Least det J of a curved element anywhere in it (lower bound), over that of the straight element.
    #[serde(default)]
    pub min_jacobian_share: f64,
    /// Facets that no surface claims.
    pub unclassified_facets: usize,
    /// Pieces that share no face with each other.
    pub components: usize,
    /// Edges at which a part touches itself in more than one wedge.
    pub pinched_edges: usize,
    /// Edges at which the material as a whole does so: a hinge in the model.
    pub hinged_edges: usize,
    /// Largest distance of a facet's corner from the facet's surface, mm.
    pub surface_error_mm: f64,
    /// Centroid and level of the worst tetrahedron, mm.
    pub worst_at: [f64; 3],
    /// Which fallback was needed: 0 none, 1 a shifted lattice, 2 a finer lattice.
    pub fallback: u8,
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
