//! The gates a finished complex passes before it is handed out, and its classified facets.
//!
//! Each gate is a function of its own, so that a test can feed it a broken mesh. A fault names its body or part and
//! its place. det J > 0 of curved elements is not checked here: promotion makes it so ([`crate::promote`]).

use crate::adjacency::{FaceTable, NONE, face_table};
use crate::blueprint::MayBound;
use crate::bodies;
use crate::candidate::Candidate;
use crate::manifold::non_manifold_edges;
use crate::promote::{StraightFacet, StraightMesh};
use crate::surfaces::{PINNED, Surfaces, bits};
use crate::tet::{centroid, face, six_volumes};
use crate::{Body, GateFault, MeshError, Quality};
use bicolumn_base::Part;

/// Numbers of the quality table that only the gates know.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
pub(crate) struct Findings {
    pub(crate) components: usize,
    pub(crate) non_manifold_edges: usize,
    pub(crate) surface_error_mm: f64,
}

impl Findings {
    pub(crate) fn write_to(self, q: &mut Quality) {
        q.components = self.components;
        q.non_manifold_edges = self.non_manifold_edges;
        q.surface_error_mm = self.surface_error_mm;
    }
}

/// Sends a candidate through all gates and gathers facets and findings.
///
/// # Errors
/// [`MeshError::Gate`] of the first gate that fails.
pub(crate) fn pass(
    c: Candidate,
    surfaces: &Surfaces<'_>,
    wanted: &[Body],
    may_bound: &MayBound<'_>,
) -> Result<(StraightMesh, Findings), MeshError> {
    material(&c)?;
    orientation(&c)?;
    let table = face_table(c.position.len(), &c.tets);
    conformity(&c, &table)?;
    bodies::whole(&c, &table, wanted)?;
    bodies::full(&c, wanted)?;
    hinges(&c, &table)?;
    let mut parts = c.part.clone();
    parts.sort_unstable();
    parts.dedup();
    let part: Vec<u16> = c
        .part
        .iter()
        .map(|p| parts.partition_point(|q| q < p) as u16)
        .collect();
    let (facets, surface_error_mm) = classified(&c, &part, &table, surfaces, may_bound)?;
    let findings = Findings {
        components: bodies::pieces(&table, |_, _| true).len(),
        non_manifold_edges: non_manifold_edges(&c.tets, &part, &table).len(),
        surface_error_mm,
    };
    let mesh = StraightMesh {
        vertices: c.position,
        tets: c.tets,
        part,
        parts,
        facets,
        surfaces: surfaces.names(),
    };
    Ok((mesh, findings))
}

/// Is there any material?
fn material(c: &Candidate) -> Result<(), GateFault> {
    match c.tets.is_empty() {
        true => Err(GateFault::NoMaterial),
        false => Ok(()),
    }
}

/// Has every tetrahedron a positive volume?
fn orientation(c: &Candidate) -> Result<(), GateFault> {
    for t in 0..c.tets.len() {
        let p = c.corners(t);
        let v = six_volumes(&p);
        if v.is_nan() || v <= 0.0 {
            return Err(GateFault::NotPositive {
                part: c.part[t],
                at: centroid(&p).into(),
            });
        }
    }
    Ok(())
}

/// Has every face at most two tetrahedra?
fn conformity(c: &Candidate, table: &FaceTable) -> Result<(), GateFault> {
    match table.overfull {
        None => Ok(()),
        Some(vertices) => Err(GateFault::OverfullFace {
            vertices,
            at: centroid(&vertices.map(|v| c.position[v as usize])).into(),
        }),
    }
}

/// Is the material free of non-manifold edges, at which it would turn like a hinge?
fn hinges(c: &Candidate, table: &FaceTable) -> Result<(), GateFault> {
    let hinges = non_manifold_edges(&c.tets, &vec![0; c.tets.len()], table);
    let Some(first) = hinges.first() else {
        return Ok(());
    };
    let at = first.map(|v| c.position[v as usize]);
    let mut parts: Vec<Part> = (0..c.tets.len())
        .filter(|t| first.iter().all(|v| c.tets[*t].contains(v)))
        .map(|t| c.part[t])
        .collect();
    parts.sort_unstable();
    parts.dedup();
    Err(GateFault::Hinged {
        parts,
        edges: hinges.len(),
        at: (0.5 * (at[0] + at[1])).into(),
    })
}

/// Boundary facets and interface facets between parts, each with its surface, and the largest distance
/// of a corner from it.
fn classified(
    c: &Candidate,
    part: &[u16],
    table: &FaceTable,
    surfaces: &Surfaces<'_>,
    may_bound: &MayBound<'_>,
) -> Result<(Vec<StraightFacet>, f64), GateFault> {
    let names = surfaces.names();
    let mut out = Vec::new();
    let mut error = 0.0f64;
    for (t, tet) in c.tets.iter().enumerate() {
        for (i, beyond) in table.beyond[t].iter().enumerate() {
            if *beyond != NONE && part[*beyond as usize] == part[t] {
                continue;
            }
            let f = face(tet, i);
            let p = f.map(|v| c.position[v as usize]);
            let on = f.map(|v| c.on[v as usize]);
            let mut shared = on[0] & on[1] & on[2] & !PINNED;
            if shared.count_ones() > 1 {
                let at = centroid(&p);
                let sides = [t as u32, *beyond].into_iter().filter(|t| *t != NONE);
                let parts: Vec<Part> = sides.map(|t| c.part[t as usize]).collect();
                let may = bits(shared)
                    .filter(|k| parts.iter().all(|part| may_bound(names[*k], *part, at)))
                    .fold(0, |mask, k| mask | 1 << k);
                // With none left, the nearest of all is the best there is.
                shared = if may == 0 { shared } else { may };
            }
            let claim = surfaces.claim(shared, || centroid(&p));
            let Some(surface) = claim else {
                return Err(GateFault::Unclassified {
                    part: c.part[t],
                    at: centroid(&p).into(),
                });
            };
            for x in p {
                error = error.max(surfaces.value(surface, x).abs());
            }
            out.push(StraightFacet {
                tet: t as u32,
                local_face: i as u8,
                beyond: *beyond,
                surface: surface as u8,
            });
        }
    }
    Ok((out, error))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::SurfaceName;
    use bicolumn_base::{Fragment, ScrewNumber, Tissue, Vec3};
    use bicolumn_geometry::Field;

    const BONE: Part = Part::Bone(Fragment::Proximal, Tissue::Cortical);
    const SCREW: Part = Part::Screw(ScrewNumber(7));

    /// Level set whose zero set is all space.
    struct Everywhere;
    impl Field for Everywhere {
        fn value(&self, _: Vec3) -> f64 {
            0.0
        }
    }

    /// Two tetrahedra on one face, of bone and screw.
    fn two() -> Candidate {
        Candidate {
            position: vec![
                Vec3::new(0.0, 0.0, -1.0),
                Vec3::x(),
                Vec3::y(),
                Vec3::zeros(),
                Vec3::new(0.0, 0.0, 1.0),
            ],
            on: vec![1; 5],
            tets: vec![[0, 1, 2, 3], [3, 1, 2, 4]],
            part: vec![BONE, SCREW],
        }
    }

    fn bodies(screw_mm3: f64) -> Vec<Body> {
        let body = |name: &str, part, volume_mm3| Body {
            name: name.into(),
            parts: vec![part],
            volume_mm3,
        };
        vec![
            body("bone", BONE, None),
            body("screw.07", SCREW, Some(screw_mm3)),
        ]
    }

    fn fault(c: Candidate, bodies: &[Body]) -> String {
        let fields: Vec<(SurfaceName, Box<dyn Field>)> =
            vec![(SurfaceName::Other(0), Box::new(Everywhere))];
        let surfaces = Surfaces::new(&fields).unwrap();
        let result = pass(c, &surfaces, bodies, &|_, _, _| true);
        result.err().map(|e| e.to_string()).unwrap_or_default()
    }

    fn says(message: String, words: &[&str]) {
        for w in words {
            assert!(message.contains(w), "{message:?} lacks {w:?}");
        }
    }

    #[test]
    fn a_sound_mesh_passes() {
        assert_eq!(fault(two(), &bodies(1.0 / 6.0)), "");
    }

    #[test]
    fn nothing_is_refused() {
        let mut c = two();
        c.tets.clear();
        c.part.clear();
        says(fault(c, &[]), &["material"]);
    }

    #[test]
    fn a_tetrahedron_inside_out_is_named_with_its_place() {
        let mut c = two();
        c.tets[1].swap(0, 1);
        says(
            fault(c, &bodies(1.0 / 6.0)),
            &["orientation", "screw.07", "(0.25, 0.25, 0.25)"],
        );
    }

    #[test]
    fn a_face_of_three_tetrahedra_is_named_with_its_place() {
        let mut c = two();
        c.tets.push([3, 1, 2, 4]);
        c.part.push(SCREW);
        says(
            fault(c, &bodies(1.0 / 6.0)),
            &["conformity", "more than two tetrahedra", "(0.33"],
        );
    }

    #[test]
    fn a_screw_in_two_pieces_is_named_with_the_smaller() {
        let mut c = two();
        let from = c.position.len() as u32;
        for p in [Vec3::zeros(), Vec3::x(), Vec3::y(), Vec3::z()] {
            c.position.push(Vec3::new(8.0, 0.0, 0.0) + p * 0.5);
            c.on.push(1);
        }
        c.tets.push([from, from + 1, from + 2, from + 3]);
        c.part.push(SCREW);
        says(
            fault(c, &bodies(1.0 / 6.0)),
            &["pieces", "screw.07", "2 pieces", "(8.12, 0.12, 0.12)"],
        );
    }

    #[test]
    fn a_missing_or_meagre_screw_is_named() {
        let mut c = two();
        c.part[1] = BONE;
        says(fault(c, &bodies(1.0)), &["pieces", "screw.07", "missing"]);
        says(
            fault(two(), &bodies(1.0)),
            &["volume", "screw.07", "17 %", "(0.25, 0.25, 0.25)"],
        );
        says(fault(two(), &bodies(0.05)), &["volume", "333 %"]);
    }

    #[test]
    fn a_hinge_is_named_with_its_parts() {
        // A second pair of tetrahedra that shares only the edge 3-4 with the first.
        let mut c = two();
        c.position.extend([-Vec3::x(), -Vec3::y()]);
        c.on.extend([1, 1]);
        c.tets.push([3, 5, 6, 4]);
        c.part.push(BONE);
        let body = Body {
            name: "bone".into(),
            parts: vec![SCREW],
            volume_mm3: None,
        };
        says(
            fault(c, &[body]),
            &["hinges", "screw.07", "(0.00, 0.00, 0.50)"],
        );
    }

    #[test]
    fn a_facet_takes_the_surface_that_may_bound_its_parts() {
        let mut c = two();
        c.on = vec![0b11; 5];
        let fields: Vec<(SurfaceName, Box<dyn Field>)> = vec![
            (SurfaceName::BoneOuter, Box::new(Everywhere)),
            (SurfaceName::ScrewSide(ScrewNumber(7)), Box::new(Everywhere)),
        ];
        let surfaces = Surfaces::new(&fields).unwrap();
        let may = |name, part, _| part != SCREW || name != SurfaceName::BoneOuter;
        let (mesh, _) = pass(c, &surfaces, &bodies(1.0 / 6.0), &may).unwrap();
        for f in &mesh.facets {
            let at_screw = f.tet == 1 || f.beyond == 1;
            assert_eq!(f.surface, u8::from(at_screw), "tetrahedron {}", f.tet);
        }
    }

    #[test]
    fn a_facet_without_a_surface_is_named_with_its_place() {
        let mut c = two();
        c.on[4] = 0;
        says(fault(c, &bodies(1.0 / 6.0)), &["facets", "screw.07"]);
    }
}
