//! A reduction clamp: the fracture is squeezed before the plates are locked to the shaft.
//!
//! The plates hold the distal fragment already; along the shaft they are still free to slide. So the step of
//! the clamp lets each plate slide across a cut between the fracture and its shaft screws, with no force along
//! it (bending and shear pass). Then that length is kept, free of strain as squeezed, and the clamp is taken
//! off: bone and plates share what they spring back. Common practice, no source.

use crate::role::Role;
use crate::slab::slab;
use bicolumn_base::{Fragment, Part, PlateSite, Vec3};
use bicolumn_contact::{Preload, Step, Traction};
use bicolumn_geometry::{Construct, Fracture, Plate, ScrewRow};
use bicolumn_job::{InterfaceInputs, Refusal, keys};
use bicolumn_mesh::{SurfaceName, TetMesh};
use bicolumn_model::{LoadCase, Patch, PatchLoad, ProblemError};
use std::collections::BTreeSet;

/// The jaws grip the bone from so far off the fracture to so far, mm, and so far to a column's side of the
/// shaft axis. Common practice, no source.
const NEAREST: f64 = 4.0;
const FARTHEST: f64 = 20.0;
const ASIDE: f64 = 4.0;
/// Stretch of a plate that tells its direction at the cut, mm to either side.
const STRETCH: f64 = 4.0;

/// The two columns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Column {
    Medial,
    Lateral,
}

impl Column {
    pub(crate) const BOTH: [Column; 2] = [Column::Medial, Column::Lateral];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Column::Medial => "medial",
            Column::Lateral => "lateral",
        }
    }

    /// How far to this column's side of the shaft axis a point lies, mm.
    fn aside(self, construct: &Construct, fracture: &Fracture, x: Vec3) -> f64 {
        let lateral = construct.bone.side().vector(x - fracture.centre).z;
        match self {
            Column::Medial => -lateral,
            Column::Lateral => lateral,
        }
    }
}

/// Why a construct cannot be clamped as asked; `None` where it can, or where nothing is asked.
pub(crate) fn refusal(construct: &Construct, inputs: &InterfaceInputs) -> Option<Refusal> {
    if inputs.clamp_n == [0.0; 2] {
        return None;
    }
    let (gap, faces, plates) = (
        keys().fracture.gap.id(),
        keys().interfaces.fracture_faces.meeting.id(),
        keys().interfaces.plate_bone.meeting.id(),
    );
    let path = |key| keys().path(key);
    let (reason, causes) = match &construct.fracture {
        None => ("there is no fracture".to_owned(), vec![]),
        Some(f) if !f.is_reduced() => (
            format!(
                "the fracture's gap of {} mm is open, and nothing presses before it closes; {} must be 0",
                f.spec.gap_mm,
                path(gap)
            ),
            vec![gap],
        ),
        Some(_) if inputs.fracture_faces.meeting.is_fixed() => {
            let path = path(faces);
            let why = format!(
                "the fracture's faces are bonded; {path} must be frictional or frictionless"
            );
            (why, vec![faces])
        }
        Some(f) => {
            let touching = construct.plates.iter().find(|p| p.stand_off_mm == 0.0);
            let cramped = construct
                .plates
                .iter()
                .find(|p| cut_level(construct, f, p).is_none());
            match (touching, cramped) {
                (Some(_), _) if inputs.plate_bone.meeting.is_fixed() => {
                    let path = path(plates);
                    let why = format!(
                        "a plate bonded to the bone cannot slide on it; {path} must not be bonded"
                    );
                    (why, vec![plates])
                }
                (_, Some(p)) => (
                    format!("{} has no shaft screw to be locked", Part::Plate(p.site)),
                    vec![],
                ),
                _ => return None,
            }
        }
    };
    Some(Refusal {
        reason: format!("the fracture cannot be clamped: {reason}"),
        keys: causes,
    })
}

/// Level of a plate's cut: half-way from the fracture to the lowest shaft screw.
fn cut_level(construct: &Construct, fracture: &Fracture, plate: &Plate) -> Option<f64> {
    let of_plate = construct
        .screws
        .iter()
        .filter(|s| s.plate == Some(plate.site));
    let shaft = of_plate.filter(|s| s.row == ScrewRow::Shaft);
    let lowest = shaft
        .map(|s| s.entry.y - 0.5 * s.diameter_mm)
        .fold(f64::INFINITY, f64::min);
    (lowest.is_finite() && lowest > fracture.centre.y).then(|| 0.5 * (lowest + fracture.centre.y))
}

/// A cut through each plate; none where no clamp is asked for.
pub(crate) fn cuts(
    construct: &Construct,
    mesh: &TetMesh,
    inputs: &InterfaceInputs,
) -> Vec<Preload> {
    let Some(fracture) = construct
        .fracture
        .as_ref()
        .filter(|_| inputs.clamp_n != [0.0; 2])
    else {
        return vec![];
    };
    let plates = construct.plates.iter();
    plates
        .filter_map(|p| cut(mesh, p.site, cut_level(construct, fracture, p)?))
        .collect()
}

fn cut(mesh: &TetMesh, site: PlateSite, level: f64) -> Option<Preload> {
    let of_plate = |t: &usize| mesh.part_of(*t) == Part::Plate(site);
    let tets = (0..mesh.tets.len()).filter(of_plate);
    let nodes: BTreeSet<u32> = tets.flat_map(|t| mesh.tets[t]).collect();
    let mean = |from: f64, to: f64| {
        let places = nodes.iter().map(|n| mesh.nodes[*n as usize]);
        let near: Vec<Vec3> = places
            .filter(|x| (from..to).contains(&(x.y - level)))
            .collect();
        (!near.is_empty()).then(|| near.iter().sum::<Vec3>() / near.len() as f64)
    };
    let (below, above) = (mean(-STRETCH, 0.0)?, mean(0.0, STRETCH)?);
    let (middle, axis) = (0.5 * (below + above), (above - below).normalize());
    let is_pulled = |x: Vec3| (x - middle).dot(&axis) > 0.0;
    let (tets, pulled) = slab(mesh, Part::Plate(site), is_pulled);
    Some(Preload {
        name: Part::Plate(site).to_string(),
        force_n: 0.0,
        axis: axis.into(),
        tets,
        pulled,
    })
}

/// The step of the clamp, with the plates free across their cuts, given as indices; none where no clamp is
/// asked for.
///
/// # Errors
/// [`ProblemError::EmptyPatch`] where the jaws find no bone.
pub(crate) fn step(
    construct: &Construct,
    mesh: &TetMesh,
    inputs: &InterfaceInputs,
    cuts: Vec<usize>,
) -> Result<Option<Step>, ProblemError> {
    let Some(fracture) = &construct.fracture else {
        return Ok(None);
    };
    let (mut jaws, mut loads) = (vec![], vec![]);
    for (column, force) in Column::BOTH.into_iter().zip(inputs.clamp_n) {
        if force == 0.0 {
            continue;
        }
        let jaw = |is_distal: bool| {
            Patch::of_free_facets(mesh, &format!("clamp {}", column.name()), |f, x, _| {
                let off = if is_distal {
                    fracture.below(x)
                } else {
                    fracture.above(x)
                };
                mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
                    && matches!(mesh.part_of(f.tet as usize), Part::Bone(of, _)
                        if (of != Fragment::Proximal) == is_distal)
                    && (NEAREST..FARTHEST).contains(&off)
                    && column.aside(construct, fracture, x) > ASIDE
            })
        };
        let (distal, proximal) = (jaw(true)?, jaw(false)?);
        // Along the line that joins the jaws, so that the two forces balance.
        let along = (proximal.centroid(mesh) - distal.centroid(mesh)).normalize();
        for (patch, force_n) in [(distal, along * force), (proximal, -along * force)] {
            loads.push(PatchLoad {
                patch: jaws.len(),
                force_n,
                through_mm: None,
                moment_nmm: Vec3::zeros(),
            });
            jaws.push(patch);
        }
    }
    Ok((!loads.is_empty()).then(|| Step {
        name: "clamp".to_owned(),
        forces: LoadCase::combine("clamp", mesh, &jaws, &loads).forces,
        tightened: cuts,
        increments: 1,
        ..Step::default()
    }))
}

/// Compression across the supracondylar fracture in each column, N; `roles` of the interfaces' sets.
pub(crate) fn compression(
    construct: &Construct,
    roles: &[Role],
    tractions: &[Traction],
) -> [f64; 2] {
    let Some(fracture) = &construct.fracture else {
        return [0.0; 2];
    };
    Column::BOTH.map(|column| {
        let of_column = tractions.iter().filter(|t| {
            roles[t.set] == Role::Fracture && column.aside(construct, fracture, t.at) > 0.0
        });
        of_column.map(|t| t.pressure_mpa * t.area_mm2).sum()
    })
}
