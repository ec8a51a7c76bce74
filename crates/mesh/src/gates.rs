//! The gates a finished complex passes before it is handed out, and its classified facets.

use crate::adjacency::{FaceTable, NONE, face_table};
use crate::pinch::pinched_edges;
use crate::promote::{StraightFacet, StraightMesh};
use crate::surfaces::Surfaces;
use crate::tet::{centroid, face, six_volumes};
use crate::{MeshError, Quality};
use bicolumn_base::{Part, Vec3};

/// Labelled tetrahedra with provenance, ready to be checked.
pub(crate) struct Candidate {
    pub(crate) position: Vec<Vec3>,
    /// Surfaces of each vertex.
    pub(crate) on: Vec<u128>,
    pub(crate) tets: Vec<[u32; 4]>,
    pub(crate) part: Vec<Part>,
}

/// Counts that only the gates know.
#[derive(Debug, Default, Clone, Copy, PartialEq)]
pub(crate) struct Findings {
    pub(crate) unclassified_facets: usize,
    pub(crate) components: usize,
    pub(crate) pinched_edges: usize,
    pub(crate) hinged_edges: usize,
    pub(crate) surface_error_mm: f64,
}

impl Findings {
    pub(crate) fn write_to(self, q: &mut Quality) {
        q.unclassified_facets = self.unclassified_facets;
        q.components = self.components;
        q.pinched_edges = self.pinched_edges;
        q.hinged_edges = self.hinged_edges;
        q.surface_error_mm = self.surface_error_mm;
    }
}

/// Checks orientation and conformity, which must hold, and gathers facets and findings.
pub(crate) fn pass(
    c: Candidate,
    surfaces: &Surfaces<'_>,
) -> Result<(StraightMesh, Findings), MeshError> {
    if c.tets.is_empty() {
        return Err(MeshError::Gate {
            gate: "material",
            detail: "no tetrahedron has a part: the blueprint's cuts leave nothing".into(),
        });
    }
    for tet in &c.tets {
        let p = tet.map(|v| c.position[v as usize]);
        let v = six_volumes(&p);
        if v.is_nan() || v <= 0.0 {
            return Err(at_fault("orientation", "volume not positive", centroid(&p)));
        }
    }
    let table = face_table(c.position.len(), &c.tets);
    if let Some(f) = table.overfull {
        let place = centroid(&f.map(|v| c.position[v as usize]));
        return Err(at_fault("conformity", "face of three tetrahedra", place));
    }
    let mut parts = c.part.clone();
    parts.sort_unstable();
    parts.dedup();
    let part: Vec<u16> = c
        .part
        .iter()
        .map(|p| parts.partition_point(|q| q < p) as u16)
        .collect();
    let mut findings = Findings {
        components: components(&table),
        pinched_edges: pinched_edges(&c.tets, &part, &table).len(),
        hinged_edges: pinched_edges(&c.tets, &vec![0; part.len()], &table).len(),
        ..Findings::default()
    };
    let facets = facets(&c, &part, &table, surfaces, &mut findings);
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

fn at_fault(gate: &'static str, what: &str, at: Vec3) -> MeshError {
    MeshError::Gate {
        gate,
        detail: format!("{what} at ({:.2}, {:.2}, {:.2}) mm", at.x, at.y, at.z),
    }
}

/// Boundary facets and interface facets between parts, each with its surface.
fn facets(
    c: &Candidate,
    part: &[u16],
    table: &FaceTable,
    surfaces: &Surfaces<'_>,
    findings: &mut Findings,
) -> Vec<StraightFacet> {
    let mut out = Vec::new();
    for (t, tet) in c.tets.iter().enumerate() {
        for (i, beyond) in table.beyond[t].iter().enumerate() {
            if *beyond != NONE && part[*beyond as usize] == part[t] {
                continue;
            }
            let f = face(tet, i);
            let p = f.map(|v| c.position[v as usize]);
            let on = f.map(|v| c.on[v as usize]);
            let surface = match surfaces.claim(on[0] & on[1] & on[2], || centroid(&p)) {
                Some(k) => {
                    let error = p
                        .iter()
                        .map(|x| surfaces.value(k, *x).abs())
                        .fold(0.0, f64::max);
                    findings.surface_error_mm = findings.surface_error_mm.max(error);
                    k
                }
                None => {
                    findings.unclassified_facets += 1;
                    let any = on[0] | on[1] | on[2];
                    surfaces.nearest(any, centroid(&p)).map_or(0, |n| n.0)
                }
            };
            out.push(StraightFacet {
                tet: t as u32,
                local_face: i as u8,
                beyond: *beyond,
                surface: surface as u8,
            });
        }
    }
    out
}

/// Pieces of tetrahedra joined through faces.
fn components(table: &FaceTable) -> usize {
    let mut seen = vec![false; table.beyond.len()];
    let mut count = 0;
    for start in 0..seen.len() {
        if seen[start] {
            continue;
        }
        count += 1;
        seen[start] = true;
        let mut open = vec![start];
        while let Some(t) = open.pop() {
            for b in table.beyond[t].iter().filter(|b| **b != NONE) {
                if !std::mem::replace(&mut seen[*b as usize], true) {
                    open.push(*b as usize);
                }
            }
        }
    }
    count
}
