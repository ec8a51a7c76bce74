//! Pictures of a mesh: every facet flat-shaded in the colour of its part, whole, cut open along
//! tetrahedra, or a place close up.

use bicolumn_base::{Part, PlateSite, Tissue, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_report::{Camera, Rgb, Triangle, draw};

/// Part of the mesh that is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum View {
    /// All of it.
    Whole,
    /// The bone's posterior half, hardware whole.
    Posterior,
    /// Everything round a place, cut open there.
    CloseUp(Section),
}

/// A cut through everything near a place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Section {
    /// The place, mm.
    pub(crate) at: Vec3,
    /// Unit normal of the cut, towards the eye; what lies on that side is taken away.
    pub(crate) towards_eye: Vec3,
    /// Distance from the place within which facets are drawn, mm.
    pub(crate) reach_mm: f64,
    /// An element that is drawn in red and never taken away.
    pub(crate) marked: Option<usize>,
}

impl Section {
    /// The element with the least dihedral angle and its neighbourhood.
    pub(crate) fn of_worst(mesh: &TetMesh) -> Section {
        let at = Vec3::from(mesh.quality.worst_at);
        let off = |tet: usize| (centre(mesh, tet) - at).norm();
        let marked = (0..mesh.tets.len()).min_by(|a, b| off(*a).total_cmp(&off(*b)));
        Section {
            at,
            towards_eye: Camera::upright(40.0, 20.0).towards_eye,
            reach_mm: 4.0,
            marked,
        }
    }
}

const PIXELS_HIGH: usize = 1400;
const MARK: Rgb = [0.85, 0.12, 0.10];

/// The picture as a PNG file.
pub(crate) fn png(mesh: &TetMesh, view: View) -> Result<Vec<u8>, String> {
    let middle = middle(mesh);
    let shown = |tet: usize| match view {
        View::Whole => true,
        View::Posterior => mesh.part_of(tet).is_implant() || centre(mesh, tet).x < middle,
        View::CloseUp(section) => {
            let off = centre(mesh, tet) - section.at;
            let is_left = off.dot(&section.towards_eye) <= 0.0 && off.norm() < section.reach_mm;
            is_left || section.marked == Some(tet)
        }
    };
    let marked = match view {
        View::CloseUp(section) => section.marked,
        View::Whole | View::Posterior => None,
    };
    let triangles = skin(mesh, &shown, marked);
    let camera = match view {
        View::Whole => Camera::upright(140.0, 12.0).framed(mesh.nodes.iter().copied(), 3.0),
        View::Posterior => Camera::upright(15.0, 12.0).framed(mesh.nodes.iter().copied(), 3.0),
        View::CloseUp(section) => {
            let eye = section.towards_eye;
            let azimuth_deg = eye.z.atan2(eye.x).to_degrees();
            let elevation_deg = eye.y.clamp(-1.0, 1.0).asin().to_degrees();
            Camera {
                middle: section.at,
                height_mm: 2.0 * section.reach_mm,
                width_mm: 2.0 * section.reach_mm,
                ..Camera::upright(azimuth_deg, elevation_deg)
            }
        }
    };
    draw(&camera, &triangles, &[], PIXELS_HIGH)
        .to_png()
        .map_err(|e| e.to_string())
}

fn centre(mesh: &TetMesh, tet: usize) -> Vec3 {
    let c = mesh.corners(tet);
    0.25 * (c[0] + c[1] + c[2] + c[3])
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
fn skin(mesh: &TetMesh, shown: &dyn Fn(usize) -> bool, marked: Option<usize>) -> Vec<Triangle> {
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
        let own = if marked == Some(tet) {
            MARK
        } else {
            colour(mesh.part_of(tet))
        };
        let colour = own.map(|c| c * tone);
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
        Part::Screw(_) | Part::Numbered(_) => [0.62, 0.64, 0.70],
    }
}
