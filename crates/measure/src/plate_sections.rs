//! The greatest section forces of each plate.

use crate::ball::Found;
use crate::nodal_forces::{NodalForces, Resultant};
use crate::recovered::Recovered;
use crate::screw_forces::nodes_of;
use crate::touching::Touching;
use bicolumn_base::{Part, Vec3};
use bicolumn_geometry::Plate;

/// Sections of a plate square to its length, a millimetre apart.
pub(crate) struct PlateSections {
    /// Part-nodes where something acts on the plate, by their place along it: (along, part-node, place).
    nodes: Vec<(f64, u32, Vec3)>,
    /// (along, middle of the plate's thickness on its centre line, tangent towards proximal).
    stations: Vec<(f64, Vec3, Vec3)>,
    /// Sign of torques on this side of the body.
    handedness: f64,
}

/// Largest section forces of a plate.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct PlateExtremes {
    /// Axial force of largest size, N, tension positive.
    pub(crate) axial: Option<Found>,
    /// Largest bending moment, N·mm.
    pub(crate) bending: Option<Found>,
    /// Torque of largest size, N·mm.
    pub(crate) torque: Option<Found>,
}

impl PlateSections {
    pub(crate) fn of(model: &Recovered<'_>, plate: &Plate, touching: &Touching) -> Self {
        let screws: Vec<Part> = (model.solved.construct.screws.iter())
            .map(|s| Part::Screw(s.number))
            .collect();
        // Forces act where the plate meets bone or a screw.
        let mut on_screws: Vec<[u64; 3]> = Vec::new();
        for f in &model.mesh.facets {
            if screws.contains(&model.mesh.part_of(f.tet as usize)) {
                let of_node = |n: u32| crate::touching::key(model.mesh.nodes[n as usize]);
                on_screws.extend(f.nodes.map(of_node));
            }
        }
        on_screws.sort_unstable();
        let acted_on = |x: Vec3| {
            touching.is_on_bone(x) || on_screws.binary_search(&crate::touching::key(x)).is_ok()
        };
        let mut nodes: Vec<(f64, u32, Vec3)> = nodes_of(model, Part::Plate(plate.site))
            .into_iter()
            .filter(|(_, x)| acted_on(*x))
            .map(|(i, x)| (plate.locate(x).0, i, x))
            .collect();
        nodes.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        let middle = plate.stand_off_mm + 0.5 * plate.thickness_mm;
        let stations = (1..plate.length_mm as usize)
            .map(|s| {
                let along = s as f64;
                let (p, tangent, normal) = plate.centre_line(along);
                (along, p + normal * middle, tangent)
            })
            .collect();
        PlateSections {
            nodes,
            stations,
            handedness: model.solved.construct.bone.side().handedness(),
        }
    }

    pub(crate) fn extremes(&self, forces: &NodalForces, case: usize) -> PlateExtremes {
        let f = forces.of_case(case);
        let mut sum = Resultant::ZERO;
        let mut next = self.nodes.iter().peekable();
        let mut most = PlateExtremes::default();
        let keep = |best: &mut Option<Found>, value: f64, at: Vec3| {
            if best.is_none_or(|b| value.abs() > b.0.abs()) {
                *best = Some((value, at));
            }
        };
        for (along, at, tangent) in &self.stations {
            while let Some((_, i, x)) = next.next_if(|n| n.0 < *along) {
                sum.add(*x, f[*i as usize]);
            }
            // What lies proximally answers −sum on what lies distally: a pull towards proximal is tension.
            let moment = sum.moment_about(*at);
            let torque = moment.dot(tangent);
            keep(&mut most.axial, -sum.force.dot(tangent), *at);
            keep(&mut most.bending, (moment - tangent * torque).norm(), *at);
            keep(&mut most.torque, torque * self.handedness, *at);
        }
        most
    }
}
