//! Interfaces split into two sides, so that contact can act there.
//!
//! A mesh shares its nodes between parts. Where two parts shall be able to part or slide, the nodes
//! of the interface are doubled: around each of its nodes the tetrahedra fall into pieces once the
//! interface's facets are taken away, and every piece gets a node of its own. A node at the rim of an
//! interface, around which the tetrahedra still hang together, stays one node; so does one where a
//! screw bonded to both sides joins them.

use crate::adjacency::{FaceTable, NONE, face_table};
use crate::tet::{EDGE_BETWEEN, EDGES, FACES, centroid};
use crate::{Facet, GateFault, MeshError, PairFault, SurfaceName, TetMesh};
use bicolumn_base::{Part, Vec3};
use std::collections::BTreeMap;

/// Kind of interface, by the two parts that meet there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum PairKind {
    /// Underside of a plate on bone.
    PlateOnBone,
    /// A screw in its hole in bone.
    ScrewInBone,
    /// A screw in its hole in a plate.
    ScrewInPlate,
    /// The two faces of a fracture.
    FractureFaces,
}

impl PairKind {
    /// All kinds.
    pub const ALL: [PairKind; 4] = [
        PairKind::PlateOnBone,
        PairKind::ScrewInBone,
        PairKind::ScrewInPlate,
        PairKind::FractureFaces,
    ];

    /// The kind of interface two parts form, in either order; `None` for parts that are never
    /// separated (tissues of one fragment, gap tissue).
    pub fn between(a: Part, b: Part) -> Option<Self> {
        match (a.min(b), a.max(b)) {
            (Part::Bone(..), Part::Plate(_)) => Some(PairKind::PlateOnBone),
            (Part::Bone(..), Part::Screw(_)) => Some(PairKind::ScrewInBone),
            (Part::Plate(_), Part::Screw(_)) => Some(PairKind::ScrewInPlate),
            (Part::Bone(f, _), Part::Bone(g, _)) if f != g => Some(PairKind::FractureFaces),
            _ => None,
        }
    }
}

/// A facet between two parts, as the choice of what to split sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interface {
    /// The part that comes first in order: bone before plate before screw, proximal before distal.
    pub a: Part,
    /// The other part.
    pub b: Part,
    /// Kind of interface.
    pub kind: PairKind,
    /// Centroid of the corners, mm.
    pub centroid: Vec3,
    /// Unit normal out of `a`.
    pub normal: Vec3,
}

/// Facet pairs of one interface, such as all of one plate on bone.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct PairSet {
    /// Kind of interface.
    pub kind: PairKind,
    /// Name: `plate.medial-bone`, `screw.03-bone`, `screw.03-plate.medial`, `fracture`.
    pub name: String,
}

impl PairSet {
    /// The usual set of an interface: one for each pair of parts, tissues of a fragment taken together.
    pub fn of(i: &Interface) -> Self {
        let name = match i.kind {
            PairKind::PlateOnBone | PairKind::ScrewInBone => format!("{}-bone", i.b),
            PairKind::ScrewInPlate => format!("{}-{}", i.b, i.a),
            PairKind::FractureFaces => "fracture".to_string(),
        };
        PairSet { kind: i.kind, name }
    }
}

/// Two facets that lie face to face with matching nodes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FacetPair {
    /// Nodes on side `a`: three corners then the midside nodes 01, 12, 20; turning about the normal.
    pub a: [u32; 6],
    /// The node of side `b` over each of them. Equal to it at a rim that stayed one node.
    pub b: [u32; 6],
    /// Index in [`TetMesh::facets`] of either side's facet.
    pub facets: [u32; 2],
    /// Mean unit normal, from `a` to `b`.
    pub normal: Vec3,
    /// Distance of `b` from `a` along the normal at each node before loading, mm.
    pub gap_mm: [f64; 6],
    /// Area of side `a` by its corners, mm².
    pub area_mm2: f64,
    /// Index in [`SplitMesh::sets`].
    pub set: u16,
}

/// A mesh with two-sided interfaces.
#[derive(Debug, Clone, PartialEq)]
pub struct SplitMesh {
    /// The mesh. Tetrahedra and facets keep their numbers; facets of a split interface have nothing
    /// beyond, those of a plate on bone lie on the plate's underside.
    pub mesh: TetMesh,
    /// The interfaces, sorted.
    pub sets: Vec<PairSet>,
    /// Facet pairs in the order of their facets on side `a`.
    pub pairs: Vec<FacetPair>,
    /// The node of the given mesh that each node is (a copy of).
    pub origin: Vec<u32>,
}

/// Splits the interfaces that `choose` accepts.
///
/// # Errors
/// [`MeshError::Gate`] when the mesh breaks an audit afterwards, see [`SplitMesh::audit`].
pub fn split(mesh: &TetMesh, choose: impl Fn(&Interface) -> bool) -> Result<SplitMesh, MeshError> {
    split_into(mesh, |i| choose(i).then(|| PairSet::of(i)))
}

/// Splits the interfaces that `set_of` names a set for, into those sets. All facets of a set must lie
/// between parts of the kind that it states.
///
/// # Errors
/// As [`split`].
pub fn split_into(
    mesh: &TetMesh,
    set_of: impl Fn(&Interface) -> Option<PairSet>,
) -> Result<SplitMesh, MeshError> {
    let corners: Vec<[u32; 4]> = mesh.tets.iter().map(|t| [t[0], t[1], t[2], t[3]]).collect();
    let table = face_table(mesh.vertex_count, &corners);
    let chosen = chosen_facets(mesh, set_of);
    let mut is_cut = vec![[false; 4]; mesh.tets.len()];
    for c in &chosen {
        for f in c.facets {
            let f = &mesh.facets[f as usize];
            is_cut[f.tet as usize][local_face(mesh, f)] = true;
        }
    }
    let copies = copies(mesh, &table, &is_cut);
    let (mut out, origin) = renumbered(mesh, &copies);
    let mut sets: Vec<PairSet> = chosen.iter().map(|c| c.set.clone()).collect();
    sets.sort_unstable();
    sets.dedup();
    let mut pairs = Vec::with_capacity(chosen.len());
    for c in &chosen {
        let [fa, fb] = c.facets.map(|f| out.facets[f as usize]);
        let a = fa.nodes;
        let over = |n: u32| {
            let same = |m: &u32| origin[*m as usize] == origin[n as usize];
            fb.nodes.into_iter().find(same).unwrap_or(n)
        };
        let b = a.map(over);
        if a == b {
            // A lone facet whose whole rim is held together: there is nothing to part.
            continue;
        }
        let x = a.map(|n| out.nodes[n as usize]);
        let cross = (x[1] - x[0]).cross(&(x[2] - x[0]));
        let normal = cross.normalize();
        let mut gap_mm = [0.0; 6];
        for k in 0..6 {
            gap_mm[k] = (out.nodes[b[k] as usize] - x[k]).dot(&normal);
        }
        pairs.push(FacetPair {
            a,
            b,
            facets: c.facets,
            normal,
            gap_mm,
            area_mm2: 0.5 * cross.norm(),
            set: sets.partition_point(|s| *s < c.set) as u16,
        });
        for f in c.facets {
            out.facets[f as usize].beyond = None;
        }
        if let (PairKind::PlateOnBone, Part::Plate(site)) = (c.interface.kind, c.interface.b) {
            let name = SurfaceName::PlateUnderside(site);
            let known = out.surfaces.iter().position(|s| *s == name);
            let surface = known.unwrap_or_else(|| {
                out.surfaces.push(name);
                out.surfaces.len() - 1
            });
            out.facets[c.facets[1] as usize].surface = surface as u8;
        }
    }
    out.quality.components = components(&table, &is_cut);
    let split = SplitMesh {
        mesh: out,
        sets,
        pairs,
        origin,
    };
    split.audit()?;
    Ok(split)
}

/// Splits all interfaces of the given kinds.
///
/// # Errors
/// As [`split`].
pub fn split_kinds(mesh: &TetMesh, kinds: &[PairKind]) -> Result<SplitMesh, MeshError> {
    split(mesh, |i| kinds.contains(&i.kind))
}

impl SplitMesh {
    /// Checks the pairs: corners and midside nodes match, facets face each other, no facet is in two
    /// pairs or faces itself, and no facet outside a pair has lost its neighbour's nodes.
    ///
    /// # Errors
    /// [`MeshError::Gate`] with the place of the first fault.
    pub fn audit(&self) -> Result<(), MeshError> {
        let mesh = &self.mesh;
        let fault = |fault: PairFault, at: Vec3| {
            let at = at.into();
            MeshError::Gate(GateFault::Pairs { fault, at })
        };
        let mut taken = vec![false; mesh.facets.len()];
        for pair in &self.pairs {
            let at = mesh.nodes[pair.a[0] as usize];
            for f in pair.facets {
                if std::mem::replace(&mut taken[f as usize], true) {
                    return Err(fault(PairFault::InTwoPairs, at));
                }
            }
            let [fa, fb] = pair.facets.map(|f| mesh.facets[f as usize]);
            let (mut over, mut own) = (pair.b, fb.nodes);
            over.sort_unstable();
            own.sort_unstable();
            if fa.nodes != pair.a || over != own || fa.tet == fb.tet {
                return Err(fault(PairFault::OtherNodes, at));
            }
            if pair.a == pair.b {
                return Err(fault(PairFault::NotSplit, at));
            }
            let normal = |f: &Facet| {
                let [a, b, c] = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
                (b - a).cross(&(c - a)).normalize()
            };
            if normal(&fa).dot(&normal(&fb)) > -0.999 {
                return Err(fault(PairFault::NotFacing, at));
            }
            for (a, b) in pair.a.iter().zip(&pair.b) {
                if self.origin[*a as usize] != self.origin[*b as usize] {
                    return Err(fault(PairFault::NotMatching, at));
                }
            }
        }
        // Facets with a neighbour still share its nodes.
        for f in &mesh.facets {
            let Some(beyond) = f.beyond else { continue };
            let across = &mesh.tets[beyond as usize];
            if !f.nodes.iter().all(|n| across.contains(n)) {
                let at = mesh.nodes[f.nodes[0] as usize];
                return Err(fault(PairFault::LostNeighbour, at));
            }
        }
        Ok(())
    }

    /// Pairs of one set.
    pub fn pairs_of(&self, set: usize) -> impl Iterator<Item = &FacetPair> {
        self.pairs.iter().filter(move |p| usize::from(p.set) == set)
    }
}

struct Chosen {
    interface: Interface,
    set: PairSet,
    facets: [u32; 2],
}

/// The facets to be split, each once, with its twin.
fn chosen_facets(mesh: &TetMesh, set_of: impl Fn(&Interface) -> Option<PairSet>) -> Vec<Chosen> {
    let mut twin: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    for (i, f) in (0u32..).zip(&mesh.facets) {
        if let Some(beyond) = f.beyond {
            twin.insert((f.tet, beyond), i);
        }
    }
    let mut out = vec![];
    for (i, f) in (0u32..).zip(&mesh.facets) {
        let Some(beyond) = f.beyond else { continue };
        let (a, b) = (mesh.part_of(f.tet as usize), mesh.part_of(beyond as usize));
        if a >= b {
            continue;
        }
        let (Some(kind), Some(other)) = (PairKind::between(a, b), twin.get(&(beyond, f.tet)))
        else {
            continue;
        };
        let p = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
        let interface = Interface {
            a,
            b,
            kind,
            centroid: centroid(&p),
            normal: (p[1] - p[0]).cross(&(p[2] - p[0])).normalize(),
        };
        if let Some(set) = set_of(&interface) {
            out.push(Chosen {
                interface,
                set,
                facets: [i, *other],
            });
        }
    }
    out
}

/// Local face of its tetrahedron that a facet is.
fn local_face(mesh: &TetMesh, f: &Facet) -> usize {
    let t = &mesh.tets[f.tet as usize];
    (0..4).find(|i| !f.nodes[..3].contains(&t[*i])).unwrap_or(0)
}

/// One piece of the tetrahedra around a node that gets a copy of the node: (tetrahedron, place of the
/// node in it).
struct Copy {
    node: u32,
    places: Vec<(u32, u8)>,
}

/// The pieces beyond the first around each node of the split facets, by node.
fn copies(mesh: &TetMesh, table: &FaceTable, is_cut: &[[bool; 4]]) -> Vec<Copy> {
    let mut touched = vec![false; mesh.nodes.len()];
    for (t, cut) in is_cut.iter().enumerate() {
        for (i, _) in cut.iter().enumerate().filter(|(_, c)| **c) {
            let [a, b, c] = FACES[i];
            for k in [a, b, c] {
                touched[mesh.tets[t][k] as usize] = true;
            }
            for [p, q] in [[a, b], [b, c], [c, a]] {
                touched[mesh.tets[t][4 + EDGE_BETWEEN[p][q]] as usize] = true;
            }
        }
    }
    let mut around: BTreeMap<u32, Vec<(u32, u8)>> = BTreeMap::new();
    for (t, tet) in (0u32..).zip(&mesh.tets) {
        for (k, n) in (0u8..).zip(tet) {
            if touched[*n as usize] {
                around.entry(*n).or_default().push((t, k));
            }
        }
    }
    let mut out = vec![];
    for (node, star) in around {
        let mut piece = vec![usize::MAX; star.len()];
        let mut count = 0;
        for start in 0..star.len() {
            if piece[start] != usize::MAX {
                continue;
            }
            piece[start] = count;
            let mut open = vec![start];
            while let Some(s) = open.pop() {
                let (t, k) = star[s];
                for i in faces_around(k) {
                    let beyond = table.beyond[t as usize][i];
                    if beyond == NONE || is_cut[t as usize][i] {
                        continue;
                    }
                    // Tetrahedra of a star are sorted.
                    if let Ok(next) = star.binary_search_by_key(&beyond, |p| p.0)
                        && piece[next] == usize::MAX
                    {
                        piece[next] = count;
                        open.push(next);
                    }
                }
            }
            count += 1;
        }
        for c in 1..count {
            let places = star
                .iter()
                .zip(&piece)
                .filter(|(_, p)| **p == c)
                .map(|(s, _)| *s)
                .collect();
            out.push(Copy { node, places });
        }
    }
    out
}

/// The faces of a tetrahedron that hold its local node.
fn faces_around(local: u8) -> impl Iterator<Item = usize> {
    let ends = match local {
        0..4 => [local as usize; 2],
        _ => EDGES[local as usize - 4],
    };
    (0..4).filter(move |i| !ends.contains(i))
}

/// The mesh with the copies put in, corners first, and the old node of each new one.
fn renumbered(mesh: &TetMesh, copies: &[Copy]) -> (TetMesh, Vec<u32>) {
    let old_corners = mesh.vertex_count;
    let new_corners = copies
        .iter()
        .filter(|c| (c.node as usize) < old_corners)
        .count();
    let shift = |n: u32| {
        if (n as usize) < old_corners {
            n
        } else {
            n + new_corners as u32
        }
    };
    // Copies are sorted by node, so those of corners come first.
    let (corner_copies, side_copies) = copies.split_at(new_corners);
    let mut origin: Vec<u32> = (0..old_corners as u32).collect();
    origin.extend(corner_copies.iter().map(|c| c.node));
    origin.extend(old_corners as u32..mesh.nodes.len() as u32);
    origin.extend(side_copies.iter().map(|c| c.node));
    let mut tets: Vec<[u32; 10]> = mesh.tets.iter().map(|t| t.map(shift)).collect();
    let first_side_copy = (mesh.nodes.len() + new_corners) as u32;
    let numbers = (old_corners as u32..).zip(corner_copies);
    for (number, copy) in numbers.chain((first_side_copy..).zip(side_copies)) {
        for (t, k) in &copy.places {
            tets[*t as usize][*k as usize] = number;
        }
    }
    let facets = mesh
        .facets
        .iter()
        .map(|f| {
            let old = &mesh.tets[f.tet as usize];
            let nodes = f.nodes.map(|n| {
                let k = old.iter().position(|m| *m == n).unwrap_or(0);
                tets[f.tet as usize][k]
            });
            Facet { nodes, ..*f }
        })
        .collect();
    let mut quality = mesh.quality.clone();
    quality.vertices = old_corners + new_corners;
    quality.nodes = origin.len();
    let out = TetMesh {
        nodes: origin.iter().map(|n| mesh.nodes[*n as usize]).collect(),
        vertex_count: old_corners + new_corners,
        tets,
        part: mesh.part.clone(),
        parts: mesh.parts.clone(),
        facets,
        surfaces: mesh.surfaces.clone(),
        quality,
        stages: mesh.stages,
    };
    (out, origin)
}

/// Pieces joined through faces that are not split.
fn components(table: &FaceTable, is_cut: &[[bool; 4]]) -> usize {
    let mut seen = vec![false; is_cut.len()];
    let mut count = 0;
    for start in 0..seen.len() {
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        count += 1;
        let mut open = vec![start];
        while let Some(t) = open.pop() {
            for i in 0..4 {
                let beyond = table.beyond[t][i];
                if beyond != NONE
                    && !is_cut[t][i]
                    && !std::mem::replace(&mut seen[beyond as usize], true)
                {
                    open.push(beyond as usize);
                }
            }
        }
    }
    count
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_cubes::cubes;
    use bicolumn_base::{Fragment, PlateSite, ScrewNumber, Tissue};

    const BONE: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);
    const PLATE: Part = Part::Plate(PlateSite::Medial);
    const SCREW: Part = Part::Screw(ScrewNumber(1));

    /// A grid of unit cubes, six tetrahedra each, parts by cube, the top face of z = 1 bulged.
    fn grid(n: [usize; 3], part: impl Fn([usize; 3]) -> Part, sagitta: f64) -> TetMesh {
        let (vertices, tets, cube) = cubes(n);
        let parts: Vec<Part> = cube.into_iter().map(part).collect();
        TetMesh::from_straight_tets(
            vertices,
            &tets,
            |t| parts[t],
            |c, n| SurfaceName::Other(u8::from((c.z - 1.0).abs() < 0.2 && n.z.abs() > 0.9)),
            |m, s| {
                if s == SurfaceName::Other(1) {
                    m + Vec3::z() * sagitta
                } else {
                    m
                }
            },
        )
        .unwrap()
    }

    fn same_shape(before: &TetMesh, after: &SplitMesh) {
        assert_eq!(before.tets.len(), after.mesh.tets.len());
        for (old, new) in before.tets.iter().zip(&after.mesh.tets) {
            for (o, n) in old.iter().zip(new) {
                assert_eq!(after.origin[*n as usize], *o);
                assert_eq!(before.nodes[*o as usize], after.mesh.nodes[*n as usize]);
            }
            for corner in &new[..4] {
                assert!((*corner as usize) < after.mesh.vertex_count);
            }
            for side in &new[4..] {
                assert!((*side as usize) >= after.mesh.vertex_count);
            }
        }
    }

    #[test]
    fn a_layered_box_falls_in_two() {
        for sagitta in [0.0, 0.02] {
            let part = |c: [usize; 3]| if c[2] == 0 { BONE } else { PLATE };
            let mesh = grid([3, 2, 2], part, sagitta);
            let cut = split_kinds(&mesh, &[PairKind::PlateOnBone]).unwrap();
            same_shape(&mesh, &cut);
            // 4 x 3 corners and the edges between them: all twice now.
            assert_eq!(cut.mesh.vertex_count - mesh.vertex_count, 12);
            let edges = 3 * 3 + 4 * 2 + 3 * 2;
            assert_eq!(cut.mesh.nodes.len() - mesh.nodes.len(), 12 + edges);
            assert_eq!(cut.pairs.len(), 12);
            assert_eq!(cut.mesh.quality.components, 2);
            assert_eq!(cut.sets[0].name, "plate.medial-bone");
            let area: f64 = cut.pairs.iter().map(|p| p.area_mm2).sum();
            assert!((area - 6.0).abs() < 1e-12);
            for p in &cut.pairs {
                assert!((p.normal - Vec3::z()).norm() < 1e-12);
                assert_eq!(p.gap_mm, [0.0; 6]);
                assert!(p.a.iter().zip(&p.b).all(|(a, b)| a != b));
                let [fa, fb] = p.facets.map(|f| cut.mesh.facets[f as usize]);
                assert_eq!(cut.mesh.part_of(fa.tet as usize), BONE);
                assert_eq!(cut.mesh.part_of(fb.tet as usize), PLATE);
                assert!(fa.beyond.is_none() && fb.beyond.is_none());
                let name = cut.mesh.surfaces[fb.surface as usize];
                assert_eq!(name, SurfaceName::PlateUnderside(PlateSite::Medial));
            }
        }
    }

    #[test]
    fn the_rim_of_a_bonded_screw_stays_tied() {
        // A screw through plate and bone in the middle cell of a 3 x 3 layer.
        let part = |c: [usize; 3]| match c {
            [1, 1, _] => SCREW,
            [_, _, 0] => BONE,
            _ => PLATE,
        };
        let mesh = grid([3, 3, 2], part, 0.0);
        let cut = split_kinds(&mesh, &[PairKind::PlateOnBone]).unwrap();
        same_shape(&mesh, &cut);
        assert_eq!(cut.pairs.len(), 16);
        assert_eq!(cut.mesh.quality.components, 1);
        // The four corners and four edges of the screw's square stay single.
        assert_eq!(cut.mesh.vertex_count - mesh.vertex_count, 16 - 4);
        let tied: usize = cut
            .pairs
            .iter()
            .flat_map(|p| p.a.iter().zip(&p.b))
            .filter(|(a, b)| a == b)
            .count();
        assert!(tied > 0);
        // With the screw released too, everything falls apart into three.
        let all = split_kinds(&mesh, &PairKind::ALL).unwrap();
        assert_eq!(all.mesh.quality.components, 3);
        let names: Vec<&str> = all.sets.iter().map(|s| s.name.as_str()).collect();
        assert_eq!(
            names,
            [
                "plate.medial-bone",
                "screw.01-bone",
                "screw.01-plate.medial"
            ]
        );
        assert_eq!(all.mesh.vertex_count - mesh.vertex_count, 12 + 4 + 4 + 8);
    }

    #[test]
    fn an_interface_within_a_body_keeps_its_front() {
        // Only half of the interface is split: the front line stays single.
        let part = |c: [usize; 3]| if c[2] == 0 { BONE } else { PLATE };
        let mesh = grid([4, 2, 2], part, 0.0);
        let cut = split(&mesh, |i| i.centroid.x < 2.0).unwrap();
        same_shape(&mesh, &cut);
        assert_eq!(cut.mesh.quality.components, 1);
        assert_eq!(cut.mesh.vertex_count - mesh.vertex_count, 2 * 3);
        assert_eq!(cut.pairs.len(), 8);
    }

    #[test]
    fn a_broken_pair_fails_the_audit() {
        let part = |c: [usize; 3]| if c[2] == 0 { BONE } else { PLATE };
        let mesh = grid([2, 2, 2], part, 0.0);
        let good = split_kinds(&mesh, &[PairKind::PlateOnBone]).unwrap();
        let mut twice = good.clone();
        twice.pairs.push(twice.pairs[0]);
        assert!(twice.audit().is_err());
        let mut crossed = good.clone();
        crossed.pairs[0].b.swap(0, 1);
        assert!(crossed.audit().is_err());
        let mut torn = good;
        let inner = torn.mesh.facets.iter().position(|f| f.beyond.is_none());
        torn.mesh.facets[inner.unwrap()].beyond = Some(torn.mesh.tets.len() as u32 - 1);
        assert!(torn.audit().is_err());
    }
}
