//! Forces and moments in the shanks of screws, from the equilibrium of what lies beyond a cut.

use crate::nodal_forces::{NodalForces, Resultant};
use crate::recovered::Recovered;
use crate::touching::{Touching, key};
use bicolumn_base::{BodySide, Part, ScrewNumber, Vec3};
use bicolumn_geometry::{Head, Plate, Screw};
use serde::{Deserialize, Serialize};

/// Where a shank is cut.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ScrewCut {
    /// At the underside of a plate that stands off the bone.
    PlateUnderside,
    /// Where the shank enters the bone under its head or plate.
    BoneSurface,
    /// At the middle plane of the fracture, for a screw that crosses it.
    Fracture,
    /// At the middle plane of the sagittal split, for a screw that crosses it.
    Split,
}

impl ScrewCut {
    /// Its name in files.
    pub fn name(self) -> &'static str {
        match self {
            ScrewCut::PlateUnderside => "plate_underside",
            ScrewCut::BoneSurface => "bone_surface",
            ScrewCut::Fracture => "fracture",
            ScrewCut::Split => "split",
        }
    }
}

/// Section force and moment of a screw at a cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScrewForce {
    /// The screw.
    pub screw: ScrewNumber,
    /// Where it is cut.
    pub cut: ScrewCut,
    /// The point of its axis that moments are about, mm.
    pub at: Vec3,
    /// Force of what lies around on the part beyond the cut (the tip's side), N. The head's side answers
    /// it across the cut.
    pub force_n: Vec3,
    /// Its moment about `at`, N·mm.
    pub moment_nmm: Vec3,
    /// Unit axis of the screw, towards the tip.
    pub axis: Vec3,
    /// Side of the body: torques of a left bone have the sign of the mirror image.
    pub side: BodySide,
}

impl ScrewForce {
    /// Axial force, N; tension positive.
    pub fn axial_n(&self) -> f64 {
        self.force_n.dot(&self.axis)
    }

    /// Size of the shear force, N.
    pub fn shear_n(&self) -> f64 {
        (self.force_n - self.axis * self.axial_n()).norm()
    }

    /// Torque about the screw's axis, N·mm, on the part beyond; right-hand rule towards the tip on a right bone, that of
    /// its mirror image on a left one.
    pub fn torque_nmm(&self) -> f64 {
        self.moment_nmm.dot(&self.axis) * self.side.handedness()
    }

    /// Size of the bending moment, N·mm.
    pub fn bending_nmm(&self) -> f64 {
        (self.moment_nmm - self.axis * self.moment_nmm.dot(&self.axis)).norm()
    }
}

/// A cut through a screw: which of its part-nodes lie beyond.
pub(crate) struct CutScrew {
    screw: ScrewNumber,
    cut: ScrewCut,
    at: Vec3,
    axis: Vec3,
    side: BodySide,
    /// Part-nodes beyond, with their places.
    beyond: Vec<(u32, Vec3)>,
}

impl CutScrew {
    /// Section force and moment of the screw there.
    pub(crate) fn force(&self, forces: &NodalForces, case: usize) -> ScrewForce {
        let f = forces.of_case(case);
        let mut sum = Resultant::ZERO;
        for (i, x) in &self.beyond {
            sum.add(*x, f[*i as usize]);
        }
        ScrewForce {
            screw: self.screw,
            cut: self.cut,
            at: self.at,
            axis: self.axis,
            side: self.side,
            force_n: sum.force,
            moment_nmm: sum.moment_about(self.at),
        }
    }
}

/// All cuts of all screws, in the screws' order.
pub(crate) fn cuts(model: &Recovered<'_>, touching: &Touching) -> Vec<CutScrew> {
    let construct = model.solved.construct;
    let mut all = Vec::new();
    for screw in &construct.screws {
        let nodes = nodes_of(model, Part::Screw(screw.number));
        let cut = |cut, at, beyond: &dyn Fn(Vec3) -> bool| CutScrew {
            screw: screw.number,
            cut,
            at,
            axis: screw.direction,
            side: construct.bone.side(),
            beyond: nodes.iter().filter(|n| beyond(n.1)).copied().collect(),
        };
        let head = HeadSide::of(model, screw, touching);
        let plate = construct
            .plates
            .iter()
            .find(|p| Some(p.site) == screw.plate);
        if let Some(stand_off) = plate.map(|p: &Plate| p.stand_off_mm).filter(|s| *s > 0.0) {
            // Nothing acts between plate and bone: the same forces, about another point.
            let at = screw.entry - screw.direction * stand_off;
            all.push(cut(ScrewCut::PlateUnderside, at, &|x| !head.has(x)));
        }
        all.push(cut(ScrewCut::BoneSurface, screw.entry, &|x| !head.has(x)));
        let Some(fracture) = &construct.fracture else {
            continue;
        };
        let planes = [
            Some((ScrewCut::Fracture, fracture.centre, fracture.normal)),
            fracture
                .split
                .as_ref()
                .map(|s| (ScrewCut::Split, s.centre, s.normal)),
        ];
        for (place, centre, normal) in planes.into_iter().flatten() {
            let side = |x: Vec3| (x - centre).dot(&normal);
            let (head, tip) = (side(screw.entry), side(screw.tip()));
            if head * tip >= 0.0 {
                continue;
            }
            let at = screw.entry + (screw.tip() - screw.entry) * (head / (head - tip));
            if place == ScrewCut::Split && fracture.above(at) > 0.0 {
                // The plane goes on above the fracture, the split does not.
                continue;
            }
            all.push(cut(place, at, &|x| side(x) * tip > 0.0));
        }
    }
    all
}

/// Part-nodes of a part, with their places.
pub(crate) fn nodes_of(model: &Recovered<'_>, part: Part) -> Vec<(u32, Vec3)> {
    let nodes = &model.stress.part_nodes;
    let Some(wanted) = model.mesh.parts.iter().position(|p| *p == part) else {
        return Vec::new();
    };
    (0u32..)
        .zip(nodes.node.iter().zip(&nodes.part))
        .filter(|(_, (_, p))| usize::from(**p) == wanted)
        .map(|(i, (n, _))| (i, model.mesh.nodes[*n as usize]))
        .collect()
}

/// Nodes of a screw on the head's side of the bone's surface: those in the plate or of the head.
/// Not by a plane: the surface is curved and oblique to the screw, and the bone takes hold of it on one side
/// first.
struct HeadSide<'a> {
    screw: &'a Screw,
    touching: &'a Touching,
    /// Places on facets of a head that rests on bone.
    on_head: Vec<[u64; 3]>,
}

/// Nodes of the shank lie this near to its cylinder at most, mm.
const ROUND_MM: f64 = 0.01;

impl<'a> HeadSide<'a> {
    fn of(model: &Recovered<'_>, screw: &'a Screw, touching: &'a Touching) -> Self {
        let mut on_head = Vec::new();
        if let Head::OnBone { .. } = screw.head {
            let mesh = model.mesh;
            for f in &mesh.facets {
                let corners = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
                let middle = corners.iter().sum::<Vec3>() / 3.0;
                if mesh.part_of(f.tet as usize) == Part::Screw(screw.number)
                    && off_axis(screw, middle) > 0.5 * screw.diameter_mm + ROUND_MM
                {
                    on_head.extend(f.nodes.map(|n| key(mesh.nodes[n as usize])));
                }
            }
            on_head.sort_unstable();
        }
        HeadSide {
            screw,
            touching,
            on_head,
        }
    }

    fn has(&self, x: Vec3) -> bool {
        if off_axis(self.screw, x) > 0.5 * self.screw.diameter_mm + ROUND_MM
            || self.on_head.binary_search(&key(x)).is_ok()
        {
            return true;
        }
        if self.touching.is_on_bone(x) {
            return false;
        }
        self.touching.is_on_plate(x) || (x - self.screw.entry).dot(&self.screw.direction) < 0.0
    }
}

fn off_axis(screw: &Screw, x: Vec3) -> f64 {
    let r = x - screw.entry;
    (r - screw.direction * r.dot(&screw.direction)).norm()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_resultant_is_resolved_along_and_across_the_axis() {
        let f = ScrewForce {
            screw: ScrewNumber(1),
            cut: ScrewCut::BoneSurface,
            at: Vec3::zeros(),
            axis: Vec3::z(),
            side: BodySide::Right,
            force_n: Vec3::new(3.0, -4.0, 7.0),
            moment_nmm: Vec3::new(-5.0, 12.0, -2.0),
        };
        assert_eq!(f.axial_n(), 7.0);
        assert_eq!(f.shear_n(), 5.0);
        assert_eq!(f.bending_nmm(), 13.0);
        assert_eq!(f.torque_nmm(), -2.0);
        let left = ScrewForce {
            side: BodySide::Left,
            ..f
        };
        assert_eq!(left.torque_nmm(), 2.0);
        assert_eq!(left.bending_nmm(), 13.0);
    }
}
