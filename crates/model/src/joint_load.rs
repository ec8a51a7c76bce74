//! Loads on the joint of a humerus held at its shaft: actions of force and couple on its articular surfaces.

use crate::{FourPointBend, LoadCase, Patch, PatchLoad};
use bicolumn_base::{BodySide, Vec3};
use bicolumn_mesh::TetMesh;

/// One load case as data: its name, and the actions that it adds up.
///
/// Vectors are those of a right humerus (X anterior, Y proximal, Z lateral); a left one bears the mirror image.
#[derive(Debug, Clone, PartialEq)]
pub struct JointLoad {
    /// Name of the case in records, tables and charts.
    pub name: String,
    /// Actions on the joint.
    pub actions: Vec<Action>,
    /// Four-point bend of the shaft, in place of them.
    pub bend: Option<FourPointBend>,
}

/// A force or a couple on articular surfaces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Action {
    /// Surfaces that bear it.
    pub on: JointSurface,
    /// Its size.
    pub what: Wrench,
}

/// Force, couple, or both.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Wrench {
    /// A force along a line.
    Force {
        /// Force, N.
        force_n: Vec3,
        /// Line of action; `None`: through the bearing points of the surfaces, in their shares.
        line: Option<LoadLine>,
    },
    /// A couple, N·mm.
    Couple(Vec3),
}

/// Articular surfaces that bear an action.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum JointSurface {
    /// Capitellum alone.
    Capitellum,
    /// Trochlea alone.
    Trochlea,
    /// Both, with the part of every force that acts on the capitellum.
    Both {
        /// Share of the capitellum, 0 to 1.
        capitellum_share: f64,
    },
}

/// Places that a joint's loads count from, fixed by the bone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointFrame {
    /// Side of the body.
    pub side: BodySide,
    /// Bearing points of capitellum and trochlea, mm.
    pub bearing_mm: [Vec3; 2],
    /// Point of the shaft's axis at the level of the flexion axis, mm.
    pub axis_mm: Vec3,
}

impl JointFrame {
    /// Point that a force runs through, mm.
    fn passes(&self, on: JointSurface, line: Option<LoadLine>) -> Vec3 {
        match line {
            Some(line) => line.point(self.axis_mm, self.side),
            None => self.middle(on),
        }
    }

    /// Bearing point of surfaces, in their shares, mm.
    pub fn middle(&self, on: JointSurface) -> Vec3 {
        let [capitellum, trochlea] = self.bearing_mm;
        match on {
            JointSurface::Capitellum => capitellum,
            JointSurface::Trochlea => trochlea,
            JointSurface::Both { capitellum_share } => {
                capitellum * capitellum_share + trochlea * (1.0 - capitellum_share)
            }
        }
    }
}

impl JointLoad {
    /// Resultant force, N, and moment about a point, N·mm.
    pub fn resultant(&self, frame: &JointFrame, about: Vec3) -> (Vec3, Vec3) {
        let none = (Vec3::zeros(), Vec3::zeros());
        self.actions
            .iter()
            .fold(none, |(force, moment), action| match action.what {
                Wrench::Couple(couple) => (force, moment + frame.side.pseudovector(couple)),
                Wrench::Force { force_n, line } => {
                    let own = frame.side.vector(force_n);
                    let lever = frame.passes(action.on, line) - about;
                    (force + own, moment + lever.cross(&own))
                }
            })
    }
}

/// A point that the line of action of a force passes, by its place beside the shaft's axis, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LoadLine {
    /// In front of the shaft's axis.
    pub anterior_mm: f64,
    /// Lateral of the shaft's axis.
    pub lateral_mm: f64,
    /// Level of the point; of no account for a force along the shaft.
    pub level_mm: f64,
}

impl LoadLine {
    /// The point on a humerus of a side whose shaft's axis runs through a point, mm.
    fn point(&self, axis_mm: Vec3, side: BodySide) -> Vec3 {
        axis_mm + side.vector(Vec3::new(self.anterior_mm, self.level_mm, self.lateral_mm))
    }
}

/// The two articular surfaces, and both as one.
#[derive(Debug, Clone, PartialEq)]
pub struct JointPatches {
    patches: [Patch; 3],
    side: BodySide,
    /// Points that resultants on capitellum and trochlea pass, mm.
    bearing_mm: Option<[Vec3; 2]>,
    /// Point of the shaft's axis at the level of the flexion axis, mm.
    axis_mm: Vec3,
}

const CAPITELLUM: usize = 0;
const TROCHLEA: usize = 1;
const JOINT: usize = 2;

impl JointPatches {
    /// From the two surfaces of a humerus of a side.
    pub fn new(capitellum: Patch, trochlea: Patch, side: BodySide) -> Self {
        let joint = capitellum.union(&trochlea, "joint");
        JointPatches {
            patches: [capitellum, trochlea, joint],
            side,
            bearing_mm: None,
            axis_mm: Vec3::zeros(),
        }
    }

    /// With the points that the resultants of forces on capitellum and trochlea pass, mm: fixed lines of action whatever
    /// the mesh. Without, they pass the centroids of the patches as meshed.
    #[must_use]
    pub fn bearing_at(mut self, bearing_mm: [Vec3; 2]) -> Self {
        self.bearing_mm = Some(bearing_mm);
        self
    }

    /// With a point of the shaft's axis, mm, that offsets of load lines count from; without, the frame's Y axis.
    #[must_use]
    pub fn shaft_axis_at(mut self, axis_mm: Vec3) -> Self {
        self.axis_mm = axis_mm;
        self
    }

    /// Capitellum, trochlea and their union, in this order.
    pub fn patches(&self) -> &[Patch; 3] {
        &self.patches
    }

    /// The load case of a definition. Forces act at the bearing points of the surfaces in their shares; a stated line of
    /// action adds the couple that moves the resultant onto it, spread over the same surfaces as a traction linear in
    /// position. Couples are spread over the surfaces together. On a left humerus all are mirrored: varus stays varus.
    pub fn case(&self, mesh: &TetMesh, load: &JointLoad) -> LoadCase {
        let actions = load.actions.iter();
        let loads: Vec<PatchLoad> = actions.flat_map(|a| self.patch_loads(mesh, a)).collect();
        LoadCase::combine(&load.name, mesh, &self.patches, &loads)
    }

    fn patch_loads(&self, mesh: &TetMesh, action: &Action) -> Vec<PatchLoad> {
        let (shares, whole) = match action.on {
            JointSurface::Capitellum => (vec![(CAPITELLUM, 1.0)], CAPITELLUM),
            JointSurface::Trochlea => (vec![(TROCHLEA, 1.0)], TROCHLEA),
            JointSurface::Both {
                capitellum_share: share,
            } => (vec![(CAPITELLUM, share), (TROCHLEA, 1.0 - share)], JOINT),
        };
        let couple = |moment_nmm| PatchLoad {
            patch: whole,
            force_n: Vec3::zeros(),
            through_mm: None,
            moment_nmm,
        };
        match action.what {
            Wrench::Couple(moment_nmm) => vec![couple(self.side.pseudovector(moment_nmm))],
            Wrench::Force { force_n, line } => {
                let on = |(patch, share): &(usize, f64)| PatchLoad {
                    patch: *patch,
                    force_n: self.side.vector(force_n * *share),
                    through_mm: self.bearing_mm.map(|points| points[*patch]),
                    moment_nmm: Vec3::zeros(),
                };
                let mut loads: Vec<PatchLoad> = shares.iter().map(on).collect();
                if let Some(line) = line {
                    let at = shares.iter().map(|(patch, share)| {
                        let own = || self.patches[*patch].centroid(mesh);
                        self.bearing_mm.map_or_else(own, |points| points[*patch]) * *share
                    });
                    let lever = line.point(self.axis_mm, self.side) - at.sum::<Vec3>();
                    loads.push(couple(lever.cross(&self.side.vector(force_n))));
                }
                loads
            }
        }
    }
}
