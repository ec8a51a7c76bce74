//! Pictures of a mesh: every facet flat-shaded in the colour of its part, whole or cut open along
//! tetrahedra.

use bicolumn_base::{Part, PlateSite, Tissue, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_report::colour::Rgb;
use bicolumn_report::picture::{Camera, Triangle, draw};

/// What of the mesh is drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Half {
    /// All of it.
    Whole,
    /// The bone's posterior half, hardware whole.
    Posterior,
}

const PIXELS_HIGH: usize = 1400;

/// The picture as a PNG file.
pub(crate) fn png(mesh: &TetMesh, half: Half) -> Result<Vec<u8>, String> {
    let middle = middle(mesh);
    let shown = |tet: usize| {
        let c = mesh.corners(tet);
        half == Half::Whole
            || mesh.part_of(tet).is_implant()
            || 0.25 * (c[0].x + c[1].x + c[2].x + c[3].x) < middle
    };
    let triangles = skin(mesh, &shown);
    let camera = match half {
        Half::Whole => Camera::upright(140.0, 12.0),
        Half::Posterior => Camera::upright(15.0, 12.0),
    }
    .framed(mesh.nodes.iter().copied(), 3.0);
    draw(&camera, &triangles, &[], PIXELS_HIGH)
        .to_png()
        .map_err(|e| e.to_string())
}

/// Anterior-posterior middle of the shaft's top, where the cut passes.
fn middle(mesh: &TetMesh) -> f64 {
    let top = mesh
        .nodes
        .iter()
        .map(|n| n.y)
        .fold(f64::NEG_INFINITY, f64::max);
    let (mut sum, mut count) = (0.0, 0.0);
    for n in mesh.nodes.iter().filter(|n| n.y > top - 1e-6) {
        sum += n.x;
        count += 1.0;
    }
    if count > 0.0 { sum / count } else { 0.0 }
}

/// Faces that bound the shown tetrahedra: those that belong to just one of them.
fn skin(mesh: &TetMesh, shown: &dyn Fn(usize) -> bool) -> Vec<Triangle> {
    /// Corners of the face opposite each corner, seen from outside.
    const FACES: [[usize; 3]; 4] = [[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]];
    let mut faces: Vec<([u32; 3], u32, u8)> = Vec::new();
    for tet in (0..mesh.tets.len()).filter(|t| shown(*t)) {
        for (f, corners) in FACES.iter().enumerate() {
            let mut key = corners.map(|c| mesh.tets[tet][c]);
            key.sort_unstable();
            faces.push((key, tet as u32, f as u8));
        }
    }
    faces.sort_unstable();
    let mut triangles = Vec::new();
    for (i, (key, tet, f)) in faces.iter().enumerate() {
        let same = |j: Option<usize>| j.and_then(|j| faces.get(j)).is_some_and(|o| o.0 == *key);
        if same(i.checked_sub(1)) || same(Some(i + 1)) {
            continue;
        }
        let tet = *tet as usize;
        let all = mesh.corners(tet);
        let corners = FACES[usize::from(*f)].map(|c| all[c]);
        let normal = (corners[1] - corners[0])
            .cross(&(corners[2] - corners[0]))
            .try_normalize(0.0)
            .unwrap_or_else(Vec3::y);
        // Neighbours differ a little, so that facets show on flat ground too.
        let tone = 0.86 + 0.14 * ((tet * 37 % 11) as f64 / 10.0);
        let colour = colour(mesh.part_of(tet)).map(|c| c * tone);
        triangles.push(Triangle {
            corners,
            normals: [normal; 3],
            colours: [colour; 3],
            is_scale: false,
            translucent: false,
        });
    }
    triangles
}

fn colour(part: Part) -> Rgb {
    match part {
        Part::Bone(_, Tissue::Cortical) => [0.93, 0.89, 0.80],
        Part::Bone(_, Tissue::Cancellous) => [0.86, 0.68, 0.55],
        Part::GapTissue => [0.80, 0.55, 0.60],
        Part::Plate(PlateSite::Medial) => [0.35, 0.55, 0.78],
        Part::Plate(_) => [0.30, 0.66, 0.55],
        Part::Screw(_) => [0.62, 0.64, 0.70],
    }
}
