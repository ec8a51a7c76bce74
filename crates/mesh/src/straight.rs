//! A ten-node mesh from given four-node tetrahedra: for structured meshes of tests and checks.

use crate::adjacency::{NONE, face_table};
use crate::promote::{StraightFacet, StraightMesh, promote};
use crate::tet::{centroid, face, six_volumes};
use crate::{GateFault, MeshError, SurfaceName, TetMesh};
use bicolumn_base::{Part, Vec3};

impl TetMesh {
    /// Promotes straight tetrahedra to ten-node ones and lists their boundary and interface facets.
    ///
    /// Vertices and tetrahedra keep their numbers; a tetrahedron given inside out has its last two
    /// corners swapped. `part_of` names the part of a tetrahedron by its index. `surface_of` names
    /// the surface of a boundary or interface facet from its centroid and outward unit normal; an
    /// interface facet is asked for from either side. `curve` moves the midside node of a facet edge
    /// from the chord's middle onto a surface (return it unchanged for straight edges); where two
    /// surfaces meet along an edge it is asked for both in turn, in the order of [`SurfaceName`].
    /// Where a move would leave less than a fifth of an element's straight det J, sides on no surface
    /// bend to make room; if that is not enough it is made in part (in eighths) or not at all:
    /// `quality.curved_share` is then below 1.
    ///
    /// # Errors
    /// [`MeshError::Gate`] for a flat tetrahedron, a face of more than two tetrahedra, or a vertex
    /// that no tetrahedron uses; [`MeshError::TooManySurfaces`] above 128 surfaces.
    ///
    /// ```
    /// use bicolumn_base::{Fragment, Part, Tissue, Vec3};
    /// use bicolumn_mesh::{SurfaceName, TetMesh};
    /// let mesh = TetMesh::from_straight_tets(
    ///     vec![Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()],
    ///     &[[0, 1, 2, 3]],
    ///     |_| Part::Bone(Fragment::Proximal, Tissue::Cortical),
    ///     |_, normal| SurfaceName::Other(u8::from(normal.z < -0.9)),
    ///     |middle, _| middle,
    /// )?;
    /// assert_eq!(mesh.nodes.len(), 10);
    /// assert_eq!(mesh.facets_on(SurfaceName::Other(1)).count(), 1);
    /// # Ok::<(), bicolumn_mesh::MeshError>(())
    /// ```
    pub fn from_straight_tets(
        vertices: Vec<Vec3>,
        tets: &[[u32; 4]],
        part_of: impl Fn(usize) -> Part,
        surface_of: impl Fn(Vec3, Vec3) -> SurfaceName,
        curve: impl Fn(Vec3, SurfaceName) -> Vec3,
    ) -> Result<TetMesh, MeshError> {
        let tets = oriented(&vertices, tets)?;
        let table = face_table(vertices.len(), &tets);
        if let Some(face) = table.overfull {
            return Err(MeshError::Gate(GateFault::OverfullFace {
                vertices: face,
                at: centroid(&face.map(|v| vertices[v as usize])).into(),
            }));
        }
        let names: Vec<Part> = (0..tets.len()).map(part_of).collect();
        let mut parts = names.clone();
        parts.sort_unstable();
        parts.dedup();
        let part = names
            .iter()
            .map(|n| parts.partition_point(|p| p < n) as u16)
            .collect();

        let mut found = Vec::new();
        for (t, tet) in tets.iter().enumerate() {
            for i in 0..4 {
                let beyond = table.beyond[t][i];
                if beyond != NONE && names[beyond as usize] == names[t] {
                    continue;
                }
                let p = face(tet, i).map(|v| vertices[v as usize]);
                let normal = (p[1] - p[0]).cross(&(p[2] - p[0])).normalize();
                found.push((t as u32, i as u8, beyond, surface_of(centroid(&p), normal)));
            }
        }
        let mut surfaces: Vec<SurfaceName> = found.iter().map(|f| f.3).collect();
        surfaces.sort_unstable();
        surfaces.dedup();
        if surfaces.len() > 128 {
            return Err(MeshError::TooManySurfaces {
                found: surfaces.len(),
                limit: 128,
            });
        }
        let facets = found
            .iter()
            .map(|(tet, local_face, beyond, name)| StraightFacet {
                tet: *tet,
                local_face: *local_face,
                beyond: *beyond,
                surface: surfaces.partition_point(|s| s < name) as u8,
            })
            .collect();
        let names = surfaces.clone();
        let straight = StraightMesh {
            vertices,
            tets,
            part,
            parts,
            facets,
            surfaces,
        };
        Ok(promote(
            straight,
            |ends, mask| {
                let middle = 0.5 * (ends[0] + ends[1]);
                Some(
                    (0..names.len())
                        .filter(|s| mask >> s & 1 == 1)
                        .fold(middle, |m, s| curve(m, names[s])),
                )
            },
            None,
        ))
    }
}

/// Turns tetrahedra the right way out; refuses flat ones and idle vertices.
fn oriented(vertices: &[Vec3], tets: &[[u32; 4]]) -> Result<Vec<[u32; 4]>, GateFault> {
    let mut used = vec![false; vertices.len()];
    let mut out = Vec::with_capacity(tets.len());
    for (i, tet) in tets.iter().enumerate() {
        let mut tet = *tet;
        if let Some(v) = tet.iter().find(|v| **v as usize >= vertices.len()) {
            return Err(GateFault::UnknownVertex {
                tet: i,
                vertex: *v,
                vertices: vertices.len(),
            });
        }
        let p = tet.map(|v| vertices[v as usize]);
        let v = six_volumes(&p);
        let size = (p[1] - p[0]).norm().max((p[2] - p[0]).norm());
        if v.abs() <= 1e-12 * size.powi(3) || !v.is_finite() {
            return Err(GateFault::Flat {
                tet: i,
                at: centroid(&p).into(),
            });
        }
        if v < 0.0 {
            tet.swap(2, 3);
        }
        tet.iter().for_each(|v| used[*v as usize] = true);
        out.push(tet);
    }
    match used.iter().position(|u| !u) {
        Some(vertex) => Err(GateFault::UnusedVertex { vertex }),
        None => Ok(out),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_cubes::cubes;
    use crate::tet::EDGES;
    use bicolumn_base::{Fragment, PlateSite, Tissue};

    const BONE: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);
    const PLATE: Part = Part::Plate(PlateSite::Medial);

    /// Six tetrahedra round the diagonal of a unit cube, twice: [0,2]x[0,1]x[0,1].
    fn two_cubes() -> (Vec<Vec3>, Vec<[u32; 4]>) {
        let (vertices, tets, _) = cubes([2, 1, 1]);
        (vertices, tets)
    }

    #[test]
    fn interface_facets_are_listed_from_both_sides() {
        let (vertices, tets) = two_cubes();
        let mesh = TetMesh::from_straight_tets(
            vertices,
            &tets,
            |t| if t < 6 { PLATE } else { BONE },
            |c, _| SurfaceName::Other(u8::from((c.x - 1.0).abs() < 1e-9)),
            |m, _| m,
        )
        .unwrap();
        assert_eq!(mesh.parts, vec![BONE, PLATE]);
        assert_eq!(mesh.part_of(0), PLATE);
        let between: Vec<_> = mesh.facets_on(SurfaceName::Other(1)).collect();
        assert_eq!(between.len(), 4);
        for f in &between {
            let beyond = f.beyond.unwrap();
            assert_ne!(mesh.part[beyond as usize], mesh.part[f.tet as usize]);
            let twin = between.iter().find(|g| g.tet == beyond).unwrap();
            assert_eq!(twin.beyond, Some(f.tet));
        }
        assert_eq!(mesh.free_facets().count(), 20);
        let volume: f64 = (0..mesh.tets.len()).map(|t| mesh.volume(t)).sum();
        assert!((volume - 2.0).abs() < 1e-12);
        assert_eq!(mesh.quality.curved_share, 1.0);
        // Facet nodes: midsides between the corners they claim, normal out of the tetrahedron.
        for f in &mesh.facets {
            let x = f.nodes.map(|n| mesh.nodes[n as usize]);
            for (m, [a, b]) in [(3, [0, 1]), (4, [1, 2]), (5, [2, 0])] {
                assert!((x[m] - 0.5 * (x[a] + x[b])).norm() < 1e-15);
            }
            let inside = centroid(&mesh.corners(f.tet as usize));
            assert!((x[1] - x[0]).cross(&(x[2] - x[0])).dot(&(inside - x[0])) < 0.0);
        }
        for t in &mesh.tets {
            for (e, [a, b]) in EDGES.iter().enumerate() {
                let [m, a, b] = [t[4 + e], t[*a], t[*b]].map(|n| mesh.nodes[n as usize]);
                assert!((m - 0.5 * (a + b)).norm() < 1e-15);
            }
        }
    }

    #[test]
    fn midside_nodes_follow_the_curve_where_elements_allow_it() {
        let (vertices, tets) = two_cubes();
        let sagitta = |height: f64| {
            TetMesh::from_straight_tets(
                vertices.clone(),
                &tets,
                |_| BONE,
                |_, n| SurfaceName::Other(u8::from(n.z > 0.9)),
                move |m, s| {
                    if s == SurfaceName::Other(1) {
                        m + Vec3::z() * height
                    } else {
                        m
                    }
                },
            )
            .unwrap()
        };
        let gentle = sagitta(0.05);
        assert_eq!(gentle.quality.curved_share, 1.0);
        assert!(gentle.nodes.iter().any(|n| n.z > 1.04));
        let wild = sagitta(-0.9);
        assert_eq!(wild.quality.curved_share, 0.0);
        assert!(wild.quality.straightened_share > 0.0);
        assert!(wild.quality.min_jacobian_share >= 0.2);
    }

    #[test]
    fn bad_input_is_refused() {
        let (vertices, tets) = two_cubes();
        let build = |vertices: Vec<Vec3>, tets: &[[u32; 4]]| {
            TetMesh::from_straight_tets(
                vertices,
                tets,
                |_| BONE,
                |_, _| SurfaceName::Other(0),
                |m, _| m,
            )
        };
        assert!(
            build(vertices.clone(), &tets[..6]).is_err(),
            "idle vertices"
        );
        assert!(build(vertices.clone(), &[[0, 0, 1, 2]]).is_err(), "flat");
        assert!(
            build(vertices.clone(), &[[0, 1, 2, 99]]).is_err(),
            "no such vertex"
        );
        let mut thrice = tets.clone();
        thrice.push(tets[0]);
        assert!(build(vertices, &thrice).is_err(), "two tets in one place");
    }
}
