//! `construct.json`: plates, screws, fracture and named surfaces of a construct, as measures refer to them.

use bicolumn_base::{BodySide, Part, Vec3, Word};
use bicolumn_geometry::{Construct, Fracture, Head, Hole, Plate, Screw};
use bicolumn_mesh::{Facet, TetMesh};
use serde_json::{Map, Value, json};

/// Largest spacing of the points of a plate's centre line, mm.
const SPACING_MM: f64 = 1.0;

/// Geometry that the responses of a construct are defined by, with the facets of its mesh by surface.
pub fn construct_json(construct: &Construct, mesh: &TetMesh) -> Value {
    let axis_at = construct.bone.shaft_axis(0.0);
    json!({
        "side": match construct.bone.side() {
            BodySide::Right => "right",
            BodySide::Left => "left",
        },
        "parts": parts(mesh),
        "shaft_axis_at": vector(axis_at),
        "shaft_axis": vector(construct.bone.shaft_axis(1.0) - axis_at),
        "canal_floor_mm": construct.bone.spec().canal_floor_mm,
        "plates": construct.plates.iter().map(plate).collect::<Vec<_>>(),
        "screws": construct.screws.iter().map(screw).collect::<Vec<_>>(),
        "fracture": construct.fracture.as_ref().map(fracture),
        "surfaces": surfaces(mesh),
    })
}

fn vector(v: Vec3) -> Value {
    json!([v.x, v.y, v.z])
}

/// Part names by the number in the cell data `material`.
fn parts(mesh: &TetMesh) -> Map<String, Value> {
    let numbered = mesh.parts.iter().enumerate();
    numbered
        .map(|(i, part)| ((i + 1).to_string(), part.to_string().into()))
        .collect()
}

fn plate(p: &Plate) -> Value {
    let (end, tangent, normal) = p.centre_line(p.length_mm);
    let steps = (p.length_mm / SPACING_MM).ceil().max(1.0) as usize;
    let line = (0..=steps).map(|k| {
        // The last is the length to the bit.
        let along = p.length_mm * (k as f64 / steps as f64);
        let (at, tangent, normal) = p.centre_line(along);
        json!([
            along, at.x, at.y, at.z, tangent.x, tangent.y, tangent.z, normal.x, normal.y, normal.z
        ])
    });
    json!({
        "name": Part::Plate(p.site).to_string(),
        "width_mm": p.width_mm,
        "distal_width_mm": p.distal_width_mm,
        "thickness_mm": p.thickness_mm,
        "stand_off_mm": p.stand_off_mm,
        "length_mm": p.length_mm,
        "end_level_mm": p.end_level_mm,
        "end": vector(end),
        "tangent": vector(tangent),
        "normal": vector(normal),
        "centre_line": line.collect::<Vec<_>>(),
        "holes": p.holes.iter().map(hole).collect::<Vec<_>>(),
    })
}

fn hole(h: &Hole) -> Value {
    json!({
        "along_mm": h.along_mm,
        "centre": vector(h.centre),
        "axis": vector(h.axis),
        "diameter_mm": h.diameter_mm,
        "slot_mm": h.slot_mm,
        "screw": h.screw.map(|n| n.to_string()),
    })
}

fn screw(s: &Screw) -> Value {
    let head = match s.head {
        Head::Locked => "locked",
        Head::Seated { .. } => "seated",
        Head::OnBone { .. } => "on_bone",
    };
    json!({
        "name": s.number.to_string(),
        "plate": s.plate.map(|site| Part::Plate(site).to_string()),
        "row": s.row.word(),
        "hold": s.hold.word(),
        "head": head,
        "entry": vector(s.entry),
        "direction": vector(s.direction),
        "length_mm": s.length_mm,
        "diameter_mm": s.diameter_mm,
    })
}

fn fracture(f: &Fracture) -> Value {
    let plane = |at: Vec3, normal: Vec3| json!({ "at": vector(at), "normal": vector(normal) });
    json!({
        "centre": vector(f.centre),
        "normal": vector(f.normal),
        "gap_mm": f.spec.gap_mm,
        "step": f.step.map(|s| plane(s.point, s.touching)),
        "split": f.split.as_ref().map(|s| plane(s.centre, s.normal)),
    })
}

/// Facets by surface: tetrahedron and its corner opposite to the facet.
fn surfaces(mesh: &TetMesh) -> Map<String, Value> {
    let mut rows: Vec<Vec<Value>> = vec![vec![]; mesh.surfaces.len()];
    for f in &mesh.facets {
        if let (Some(of_surface), Some(corner)) =
            (rows.get_mut(usize::from(f.surface)), opposite(mesh, f))
        {
            of_surface.push(json!([f.tet, corner]));
        }
    }
    let named = mesh.surfaces.iter().zip(rows);
    named
        .filter(|(_, rows)| !rows.is_empty())
        .map(|(name, rows)| (name.to_string(), rows.into()))
        .collect()
}

/// Corner of the facet's tetrahedron that the facet does not have, 0 to 3.
fn opposite(mesh: &TetMesh, facet: &Facet) -> Option<usize> {
    let tet = mesh.tets.get(facet.tet as usize)?;
    tet[..4].iter().position(|n| !facet.nodes[..3].contains(n))
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_geometry::ConstructSpec;
    use bicolumn_mesh::{Quality, SurfaceName};

    fn numbers(v: &Value) -> Vec<f64> {
        let items = v.as_array().unwrap().iter();
        items.map(|x| x.as_f64().unwrap()).collect()
    }

    /// One tetrahedron with all four faces on the outside of the bone.
    fn one_tetrahedron() -> TetMesh {
        let corners = [
            [0.0, 0.0, 0.0],
            [1.0, 0.0, 0.0],
            [0.0, 1.0, 0.0],
            [0.0, 0.0, 1.0],
        ];
        let mut nodes: Vec<Vec3> = corners.map(Vec3::from).to_vec();
        for [a, b] in [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]] {
            nodes.push((nodes[a] + nodes[b]) / 2.0);
        }
        let faces = [[1, 2, 3, 5, 9, 8], [0, 1, 2, 4, 5, 6]];
        TetMesh {
            nodes,
            vertex_count: 4,
            tets: vec![std::array::from_fn(|k| k as u32)],
            part: vec![0],
            parts: vec![Part::GapTissue],
            facets: faces
                .map(|nodes| Facet {
                    nodes,
                    tet: 0,
                    beyond: None,
                    surface: 1,
                })
                .to_vec(),
            surfaces: vec![SurfaceName::BoneInner, SurfaceName::BoneOuter],
            quality: Quality::default(),
            stages: Default::default(),
        }
    }

    #[test]
    fn facets_are_told_by_the_corner_they_lack_and_empty_surfaces_not_at_all() {
        let mesh = one_tetrahedron();
        let surfaces = Value::from(surfaces(&mesh));
        assert_eq!(surfaces, json!({ "bone.outer": [[0, 0], [0, 3]] }));
        assert_eq!(Value::from(parts(&mesh)), json!({ "1": "gap_tissue" }));
    }

    #[test]
    fn ends_lie_at_their_levels_and_screws_point_into_the_bone() {
        let spec = ConstructSpec::default();
        let construct = Construct::build(&spec).unwrap();
        let told = construct_json(&construct, &one_tetrahedron());
        let plates = told["plates"].as_array().unwrap();
        assert_eq!(plates.len(), spec.plates.len());
        let outer = construct.bone.outer();
        for p in plates {
            let end = Vec3::from_vec(numbers(&p["end"]));
            assert!((end.y - p["end_level_mm"].as_f64().unwrap()).abs() < 0.2);
            assert!(outer.value(end).abs() < 1e-2);
            let last = numbers(p["centre_line"].as_array().unwrap().last().unwrap());
            assert_eq!(last[0], p["length_mm"].as_f64().unwrap());
            assert_eq!(&last[1..4], end.as_slice());
        }
        let screws = told["screws"].as_array().unwrap();
        assert_eq!(screws.len(), construct.screws.len());
        for s in screws {
            let [entry, direction] = ["entry", "direction"].map(|k| Vec3::from_vec(numbers(&s[k])));
            assert!((direction.norm() - 1.0).abs() < 1e-12);
            assert!(outer.value(entry + direction * 2.0) < outer.value(entry - direction * 2.0));
            assert_eq!(s["hold"], "locking");
        }
        let f = &told["fracture"];
        assert!(numbers(&f["normal"])[1] > 0.0 && f["split"].is_null());
    }
}
