//! Reactions and equilibrium.

use crate::element::{Element, forces};
use bicolumn_base::Vec3;
use bicolumn_model::{LoadCase, Problem};

/// Arm that compares forces with moments in the equilibrium error, mm.
const ARM_MM: f64 = 100.0;

/// K u of the elements that have a displaced node, N, summed in the order of the tetrahedra.
pub(crate) fn internal_forces(problem: &Problem, u: &[Vec3]) -> Vec<Vec3> {
    let mesh = problem.mesh();
    let mut all = vec![Vec3::zeros(); mesh.nodes.len()];
    for (t, tet) in mesh.tets.iter().enumerate() {
        let local = tet.map(|n| u[n as usize]);
        if local.iter().all(|v| *v == Vec3::zeros()) {
            continue;
        }
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        // Assembly has already refused inverted elements.
        let Ok(stiffness) = element.stiffness_of(&problem.elasticity_of(t)) else {
            continue;
        };
        for (&n, f) in tet.iter().zip(forces(&stiffness, &local)) {
            all[n as usize] += f;
        }
    }
    all
}

/// Reactions on the supported nodes (order of [`Problem::constraints`]) for each displacement field: K u minus the load
/// applied there, N; zero in components that are free.
pub fn reactions(problem: &Problem, displacement: &[Vec<Vec3>]) -> Vec<Vec<Vec3>> {
    let mesh = problem.mesh();
    let constraints = problem.constraints();
    let mut place = vec![u32::MAX; mesh.nodes.len()];
    for (k, c) in (0u32..).zip(constraints) {
        place[c.node as usize] = k;
    }
    let mut all = vec![vec![Vec3::zeros(); constraints.len()]; displacement.len()];
    for (t, tet) in mesh.tets.iter().enumerate() {
        if tet.iter().all(|&n| place[n as usize] == u32::MAX) {
            continue;
        }
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        // Assembly has already refused inverted elements.
        let Ok(stiffness) = element.stiffness_of(&problem.elasticity_of(t)) else {
            continue;
        };
        for (u, out) in displacement.iter().zip(&mut all) {
            let f = forces(&stiffness, &tet.map(|n| u[n as usize]));
            for (&n, f) in tet.iter().zip(f) {
                if let Some(to) = out.get_mut(place[n as usize] as usize) {
                    *to += f;
                }
            }
        }
    }
    for (case, out) in problem.cases().iter().zip(&mut all) {
        for (n, f) in &case.forces {
            if let Some(to) = out.get_mut(place[*n as usize] as usize) {
                *to -= f;
            }
        }
    }
    for (k, c) in constraints.iter().enumerate() {
        if !c.components.is_all() {
            all.iter_mut()
                .for_each(|out| out[k] = c.components.project(out[k]));
        }
    }
    all
}

/// Share of the forces' sizes below which a resultant is rounding.
const SELF_BALANCED: f64 = 1e-9;

/// Largest relative imbalance of force and moment.
///
/// Force error over max(|F|, |M| / 100 mm), moment error (about the origin) over
/// max(|M|, |F| × 100 mm). Without a load, as where supports alone are moved, the sum of the reactions' sizes stands
/// for |F|.
pub fn imbalance(problem: &Problem, case: &LoadCase, reactions: &[Vec3]) -> f64 {
    let nodes = &problem.mesh().nodes;
    let force = case.resultant_force();
    let moment = case.resultant_moment(nodes, Vec3::zeros());
    let (mut force_error, mut moment_error) = (force, moment);
    for (c, r) in problem.constraints().iter().zip(reactions) {
        force_error += r;
        moment_error += nodes[c.node as usize].cross(r);
    }
    let mut size = force.norm().max(moment.norm() / ARM_MM);
    // Forces in equilibrium with themselves have rounding for a resultant: they are measured by their own sizes.
    let each: f64 = case.forces.iter().map(|f| f.1.norm()).sum();
    if size < SELF_BALANCED * each {
        size = each;
    }
    if size == 0.0 {
        size = reactions.iter().map(Vec3::norm).sum();
    }
    if size == 0.0 {
        return 0.0;
    }
    (force_error.norm() / size).max(moment_error.norm() / (size * ARM_MM))
}
