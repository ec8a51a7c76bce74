//! How bone, plates and screws share the load at levels along the shaft.

use crate::nodal_forces::{NodalForces, Resultant};
use crate::recovered::Recovered;
use bicolumn_base::{Part, PlateSite, Vec3};
use bicolumn_geometry::Construct;
use bicolumn_response::Carrier;

/// Place of a part's carrier in [`Carrier::ALL`].
fn carrier_of(part: Part) -> usize {
    match part {
        Part::Bone(..) | Part::GapTissue | Part::Numbered(_) => 0,
        Part::Plate(PlateSite::Medial) => 1,
        Part::Plate(_) => 2,
        Part::Screw(_) => 3,
    }
}

/// Forces and moments through horizontal sections, by carrier. At every level the carriers' sum is the
/// load that acts below.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LoadSharing {
    /// Level of each section above the articular axis, mm.
    pub level_mm: Vec<f64>,
    /// One for each of [`Carrier::ALL`].
    pub carried: Vec<Carried>,
}

/// Force and moment of one carrier, level by level.
#[derive(Debug, Clone, PartialEq)]
pub struct Carried {
    /// Carrier.
    pub carrier: Carrier,
    /// Force on its part below the section by all around it, N, in the bone frame. Its second component
    /// is axial: positive presses.
    pub force_n: Vec<[f64; 3]>,
    /// Moment of that about the shaft's axis at the level, N·mm, in the bone frame.
    pub moment_nmm: Vec<[f64; 3]>,
}

impl LoadSharing {
    fn at(&self, carrier: usize, level: usize) -> (Vec3, Vec3) {
        let c = &self.carried[carrier];
        (c.force_n[level].into(), c.moment_nmm[level].into())
    }

    /// Share of each carrier in the axial force and in the moment at a level of the table: (axial,
    /// moment), each adding up to 1. One of the two is `None`: the axial force is shared where the load
    /// below acts within 30 degrees of the shaft; where it does not, or is a couple, the moment is, along
    /// its own direction. The moment of an axial force follows its small lever arm and says little.
    pub(crate) fn shares(&self, level: usize) -> [Option<[f64; 4]>; 2] {
        let each = [0, 1, 2, 3].map(|c| self.at(c, level));
        let force: Vec3 = each.iter().map(|e| e.0).sum();
        let moment: Vec3 = each.iter().map(|e| e.1).sum();
        // A couple's forces cancel but for rounding and residual.
        let is_force = force.norm() * FARTHEST_MM > 1e-3 * moment.norm();
        if is_force && force.y.abs() > 0.75_f64.sqrt() * force.norm() {
            return [Some(each.map(|e| e.0.y / force.y)), None];
        }
        let square = moment.norm_squared();
        if square == 0.0 {
            return [None, None];
        }
        [None, Some(each.map(|e| e.1.dot(&moment) / square))]
    }
}

/// Longest lever arm of a load on this bone, for scale, mm.
const FARTHEST_MM: f64 = 300.0;

/// The levels that shares are reported at.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct SharedLevels {
    /// Middle of the fracture.
    pub(crate) gap_mm: Option<f64>,
    /// Half-way from there to the lower of the plates' proximal ends.
    pub(crate) shaft_mm: Option<f64>,
}

impl SharedLevels {
    pub(crate) fn of(construct: &Construct) -> Self {
        let ends = construct.plates.iter().map(|p| p.end_level_mm);
        let lower = ends.fold(f64::INFINITY, f64::min);
        let gap_mm = construct
            .fracture
            .as_ref()
            .filter(|_| lower.is_finite())
            .map(|f| f.centre.y);
        SharedLevels {
            gap_mm,
            shaft_mm: gap_mm.map(|gap| 0.5 * (gap + lower)),
        }
    }
}

/// Sections every two millimetres from the joint up to half a diameter (10 mm) above the higher plate end, and at
/// the levels that shares are reported at.
pub(crate) fn levels(construct: &Construct, shared: &SharedLevels) -> Vec<f64> {
    let ends = construct.plates.iter().map(|p| p.end_level_mm);
    let top = ends.fold(0.0, f64::max) + 10.0;
    let mut levels: Vec<f64> = (0..=top as usize / 2).map(|l| 2.0 * l as f64).collect();
    levels.extend(shared.gap_mm);
    levels.extend(shared.shaft_mm);
    levels.sort_by(f64::total_cmp);
    levels.dedup();
    levels
}

/// Part-nodes by level, lowest first, with places and carriers.
pub(crate) struct ByLevel(Vec<(u32, Vec3, usize)>);

impl ByLevel {
    pub(crate) fn of(model: &Recovered<'_>) -> Self {
        let nodes = &model.stress.part_nodes;
        let mut all: Vec<(u32, Vec3, usize)> = (0u32..)
            .zip(nodes.node.iter().zip(&nodes.part))
            .map(|(i, (n, p))| {
                let carrier = carrier_of(model.mesh.parts[usize::from(*p)]);
                (i, model.mesh.nodes[*n as usize], carrier)
            })
            .collect();
        all.sort_by(|a, b| a.1.y.total_cmp(&b.1.y).then(a.0.cmp(&b.0)));
        ByLevel(all)
    }

    /// Sums what acts below each level.
    pub(crate) fn sharing(
        &self,
        construct: &Construct,
        forces: &NodalForces,
        case: usize,
        levels: &[f64],
    ) -> LoadSharing {
        let f = forces.of_case(case);
        let mut sums = [Resultant::ZERO; 4];
        let mut carried = Carrier::ALL.map(|carrier| Carried {
            carrier,
            force_n: Vec::with_capacity(levels.len()),
            moment_nmm: Vec::with_capacity(levels.len()),
        });
        let mut next = self.0.iter().peekable();
        for level in levels {
            while let Some((i, x, carrier)) = next.next_if(|n| n.1.y < *level) {
                sums[*carrier].add(*x, f[*i as usize]);
            }
            let axis = construct.bone.shaft_axis(*level);
            for (sum, c) in sums.iter().zip(&mut carried) {
                c.force_n.push(sum.force.into());
                c.moment_nmm.push(sum.moment_about(axis).into());
            }
        }
        LoadSharing {
            level_mm: levels.to_vec(),
            carried: carried.to_vec(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sharing(force: [[f64; 3]; 4], moment: [[f64; 3]; 4]) -> LoadSharing {
        LoadSharing {
            level_mm: vec![40.0],
            carried: (0..4)
                .map(|c| Carried {
                    carrier: Carrier::ALL[c],
                    force_n: vec![force[c]],
                    moment_nmm: vec![moment[c]],
                })
                .collect(),
        }
    }

    #[test]
    fn shares_add_up_to_one_and_are_of_force_or_of_moment() {
        let axial = |y: f64| [0.1 * y, y, 0.0];
        let s = sharing([0.0, 150.0, 60.0, -10.0].map(axial), [[1.0, 0.0, 0.0]; 4]);
        let [Some(shares), None] = s.shares(0) else {
            panic!("{:?}", s.shares(0))
        };
        assert_eq!(shares, [0.0, 0.75, 0.3, -0.05]);
        let m = [100.0, 300.0, -50.0, 50.0].map(|z| [0.0, 7.0, z]);
        for force in [[0.0; 3], [30.0, 5.0, 0.0]] {
            let [None, Some(shares)] = sharing([force; 4], m).shares(0) else {
                panic!("a couple or a transverse force")
            };
            assert!((shares.iter().sum::<f64>() - 1.0).abs() < 1e-14);
            // Along the total (0, 28, 400).
            let expected = (7.0 * 28.0 + 300.0 * 400.0) / (28.0 * 28.0 + 400.0 * 400.0);
            assert!((shares[1] - expected).abs() < 1e-14);
        }
    }
}
