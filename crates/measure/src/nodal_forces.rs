//! Nodal forces on each part from the rest of the model.

use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_solve::PartNodes;
use bicolumn_solve::element::{Element, forces};

/// A screw tightened across a cut of its shank: the elements at the cut see a shortening beside the
/// displacement, so that displacements alone do not tell their forces.
#[derive(Debug, Clone, PartialEq)]
pub struct Tightened {
    /// Tetrahedra with nodes on both sides of the cut.
    pub tets: Vec<u32>,
    /// Their nodes on the pulled side.
    pub pulled: Vec<u32>,
    /// Unit axis towards the pulled side.
    pub axis: Vec3,
    /// Tension across the cut by load case, N.
    pub tension_n: Vec<f64>,
}

/// Force on each part-node by load case, N: Σ Kₑuₑ over the elements of that part alone.
///
/// By equilibrium it is what other parts, supports and loads do to the part there; it vanishes (to the
/// solution's residual) inside a part and on its free surface. Rigid motions are in the null space of every
/// Kₑ, so the forces on a part balance exactly, in force and in moment: the resultant over the nodes on
/// one side of a cut is the section's, however the elements lie across it.
pub(crate) struct NodalForces {
    by_case: Vec<Vec<Vec3>>,
}

impl NodalForces {
    /// Sums the elements' forces in mesh order.
    pub(crate) fn of(
        problem: &Problem,
        part_nodes: &PartNodes,
        displacement: &[Vec<Vec3>],
        tightened: &[Tightened],
    ) -> Self {
        let mesh = problem.mesh();
        let mut by_case = vec![vec![Vec3::zeros(); part_nodes.node.len()]; displacement.len()];
        for (t, tet) in mesh.tets.iter().enumerate() {
            let Some(stiffness) = stiffness(problem, t) else {
                continue;
            };
            for (u, out) in displacement.iter().zip(&mut by_case) {
                let f = forces(&stiffness, &tet.map(|n| u[n as usize]));
                for (to, f) in part_nodes.of_tet[t].iter().zip(f) {
                    out[*to as usize] += f;
                }
            }
        }
        let mut all = NodalForces { by_case };
        for screw in tightened {
            all.add_shortening(problem, part_nodes, displacement, screw);
        }
        all
    }

    /// The forces of a load case.
    pub(crate) fn of_case(&self, case: usize) -> &[Vec3] {
        &self.by_case[case]
    }

    /// Adds s K φa.
    fn add_shortening(
        &mut self,
        problem: &Problem,
        part_nodes: &PartNodes,
        displacement: &[Vec<Vec3>],
        screw: &Tightened,
    ) {
        let cut = Cut::of(problem, screw);
        for (case, (u, out)) in displacement.iter().zip(&mut self.by_case).enumerate() {
            let Some(shortening) = cut.shortening(screw, u, case) else {
                continue;
            };
            for (t, _, f) in &cut.of_unit {
                for (to, f) in part_nodes.of_tet[*t as usize].iter().zip(f) {
                    out[*to as usize] += f * shortening;
                }
            }
        }
    }
}

impl Tightened {
    /// By how much the elements at the cut are shorter than the displacement `u` of a load case says, mm:
    /// the pulled nodes seem to them moved so far along the axis.
    pub fn shortening_mm(&self, problem: &Problem, u: &[Vec3], case: usize) -> f64 {
        let cut = Cut::of(problem, self);
        cut.shortening(self, u, case).unwrap_or(0.0)
    }
}

/// The elements at a cut under a shortening of 1 mm.
struct Cut {
    /// Tetrahedron, its nodes, K φa.
    of_unit: Vec<(u32, [u32; 10], [Vec3; 10])>,
    /// φa·K φa, N/mm.
    unit_tension: f64,
}

impl Cut {
    fn of(problem: &Problem, screw: &Tightened) -> Self {
        let pull = |n: u32| match screw.pulled.contains(&n) {
            true => screw.axis,
            false => Vec3::zeros(),
        };
        let mut cut = Cut {
            of_unit: Vec::with_capacity(screw.tets.len()),
            unit_tension: 0.0,
        };
        for &t in &screw.tets {
            let Some(stiffness) = stiffness(problem, t as usize) else {
                continue;
            };
            let nodes = problem.mesh().tets[t as usize];
            let phi = nodes.map(pull);
            let f = forces(&stiffness, &phi);
            cut.unit_tension += phi.iter().zip(&f).map(|(p, f)| p.dot(f)).sum::<f64>();
            cut.of_unit.push((t, nodes, f));
        }
        cut
    }

    /// The shortening s from the tension N = φa·K u + s φa·K φa (φ: 1 on the pulled nodes).
    fn shortening(&self, screw: &Tightened, u: &[Vec3], case: usize) -> Option<f64> {
        let tension = screw.tension_n.get(case)?;
        let of_motion: f64 = self
            .of_unit
            .iter()
            .flat_map(|(_, nodes, f)| nodes.iter().zip(f))
            .map(|(n, f)| f.dot(&u[*n as usize]))
            .sum();
        (self.unit_tension > 0.0).then(|| (tension - of_motion) / self.unit_tension)
    }
}

/// Stiffness of a tetrahedron. A solved mesh has no inverted one: each gave its stiffness to the solver.
fn stiffness(problem: &Problem, tet: usize) -> Option<bicolumn_solve::element::Stiffness> {
    let mesh = problem.mesh();
    let element = Element::new(mesh.tets[tet].map(|n| mesh.nodes[n as usize]));
    element.stiffness_of(&problem.elasticity_of(tet)).ok()
}

/// Resultant of forces, its moment about the origin.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Resultant {
    /// Force, N.
    pub(crate) force: Vec3,
    /// Moment about the origin, N·mm.
    pub(crate) moment: Vec3,
}

impl Resultant {
    pub(crate) const ZERO: Resultant = Resultant {
        force: Vec3::new(0.0, 0.0, 0.0),
        moment: Vec3::new(0.0, 0.0, 0.0),
    };

    /// Adds a force at a place.
    pub(crate) fn add(&mut self, at: Vec3, force: Vec3) {
        self.force += force;
        self.moment += at.cross(&force);
    }

    /// Moment about another point, N·mm.
    pub(crate) fn moment_about(&self, point: Vec3) -> Vec3 {
        self.moment - point.cross(&self.force)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::{Bar, bars};
    use bicolumn_base::{Part, PlateSite, ScrewNumber};

    const SCREW: Part = Part::Screw(ScrewNumber(1));

    /// Resultant on the nodes of a part that a test accepts.
    fn on(bars: &Bar, part: Part, case: usize, beyond: impl Fn(Vec3) -> bool) -> Resultant {
        let mesh = bars.problem.mesh();
        let nodes = PartNodes::of(mesh);
        let forces = NodalForces::of(&bars.problem, &nodes, &bars.displacement, &[]);
        let mut sum = Resultant::ZERO;
        for (i, f) in forces.of_case(case).iter().enumerate() {
            let x = mesh.nodes[nodes.node[i] as usize];
            if mesh.parts[nodes.part[i] as usize] == part && beyond(x) {
                sum.add(x, *f);
            }
        }
        sum
    }

    #[test]
    fn every_cut_of_a_bar_carries_the_load_beyond_it() {
        // A bar along y, held at y = 0, loaded at its end at y = 12: force and couple.
        let bar = bars(&[(0.0, SCREW)], 0.0);
        let case = &bar.problem.cases()[0];
        let (force, moment) = (
            case.resultant_force(),
            case.resultant_moment(&bar.problem.mesh().nodes, Vec3::zeros()),
        );
        assert!(force.norm() > 50.0 && moment.norm() > 100.0);
        for level in [2.1, 3.1, 6.0, 9.4, 11.8] {
            // A plane square to the bar, and one as oblique as elements lie.
            for slope in [0.0, 0.8] {
                let sum = on(&bar, SCREW, 0, |x| x.y + slope * x.x > level);
                let off = (sum.force - force).norm() / force.norm();
                assert!(off < 1e-8, "{level}: {off:.1e}");
                let off = (sum.moment - moment).norm() / moment.norm();
                assert!(off < 1e-8, "{level}: {off:.1e}");
            }
        }
    }

    #[test]
    fn two_bars_joined_at_their_ends_share_the_load_and_lose_nothing() {
        let plate = Part::Plate(PlateSite::Medial);
        let bar = bars(&[(0.0, SCREW), (3.0, plate)], 2.0);
        let case = &bar.problem.cases()[0];
        let (force, moment) = (
            case.resultant_force(),
            case.resultant_moment(&bar.problem.mesh().nodes, Vec3::zeros()),
        );
        for level in [3.3, 5.0, 7.7] {
            let [a, b] = [SCREW, plate].map(|p| on(&bar, p, 0, |x| x.y > level));
            let off = (a.force + b.force - force).norm() / force.norm();
            assert!(off < 1e-8, "{level}: {off:.1e}");
            let off = (a.moment + b.moment - moment).norm() / moment.norm();
            assert!(off < 1e-8, "{level}: {off:.1e}");
            // Neither is idle: the couple of their axial forces carries most of the bending.
            assert!(a.force.norm() > 1.0 && b.force.norm() > 1.0);
        }
    }

    #[test]
    fn a_tightened_bar_carries_its_tension_where_the_mesh_does_not_move() {
        let bar = bars(&[(0.0, SCREW)], 0.0);
        let mesh = bar.problem.mesh();
        let nodes = PartNodes::of(mesh);
        let is_pulled = |n: &u32| mesh.nodes[*n as usize].y > 5.3;
        let cut = |t: &u32| {
            let tet = &mesh.tets[*t as usize];
            tet.iter().any(is_pulled) && !tet.iter().all(is_pulled)
        };
        let tets: Vec<u32> = (0..mesh.tets.len() as u32).filter(cut).collect();
        let still = vec![vec![Vec3::zeros(); mesh.nodes.len()]];
        let pulled = (0..mesh.nodes.len() as u32).filter(is_pulled).collect();
        let screw = Tightened {
            tets,
            pulled,
            axis: Vec3::y(),
            tension_n: vec![150.0],
        };
        let forces = NodalForces::of(&bar.problem, &nodes, &still, &[screw]);
        let mut sum = Resultant::ZERO;
        for (i, f) in forces.of_case(0).iter().enumerate() {
            let x = mesh.nodes[nodes.node[i] as usize];
            if x.y > 5.3 {
                sum.add(x, *f);
            }
        }
        assert!((sum.force - Vec3::y() * 150.0).y.abs() < 1e-9);
    }
}
