//! Strain energy by part.

use crate::shape::EDGES;
use bicolumn_base::{Mat3, SymTensor, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::{Elasticity, Problem};
use bicolumn_solve::element::{Element, forces};

/// Strain energy of each part of the mesh (order of `mesh.parts`) by displacement field, N·mm.
///
/// A straight-sided ten-node tetrahedron has linear strain, so with the strains ε_k at its corners
/// ∫ ½ ε:C:ε = V/40 Σ_k Σ_l ε_k:C:ε_l (1 + δ_kl), exactly. A curved one gives ½ uᵀ K u with the stiffness
/// it was solved with.
pub(crate) fn energy_by_part(problem: &Problem, displacement: &[Vec<Vec3>]) -> Vec<Vec<f64>> {
    let mesh = problem.mesh();
    let mut energy = vec![vec![0.0; mesh.parts.len()]; displacement.len()];
    for t in 0..mesh.tets.len() {
        let part = mesh.part[t] as usize;
        let element = Element::new(mesh.tets[t].map(|n| mesh.nodes[n as usize]));
        let elasticity = problem.elasticity_of(t);
        let stiffness = if element.is_straight() {
            None
        } else {
            // A solved mesh has no inverted element: each gave its stiffness to the solver.
            element.stiffness_of(&elasticity).ok()
        };
        for (u, energy) in displacement.iter().zip(&mut energy) {
            energy[part] += match &stiffness {
                Some(k) => {
                    let local = mesh.tets[t].map(|n| u[n as usize]);
                    let f = forces(k, &local);
                    0.5 * (0..10).map(|a| f[a].dot(&local[a])).sum::<f64>()
                }
                None => straight_energy(mesh, &elasticity, t, u),
            };
        }
    }
    energy
}

fn straight_energy(mesh: &TetMesh, elasticity: &Elasticity, t: usize, u: &[Vec3]) -> f64 {
    let strain = corner_strains(mesh, t, u);
    let stress = strain.map(|e| elasticity.stress(&e));
    let mut sum = 0.0;
    for k in 0..4 {
        for l in 0..4 {
            sum += double_dot(&stress[k], &strain[l]) * if k == l { 2.0 } else { 1.0 };
        }
    }
    mesh.volume(t) / 40.0 * sum
}

/// Strain at the four corners.
fn corner_strains(mesh: &TetMesh, t: usize, u: &[Vec3]) -> [SymTensor; 4] {
    let [a, b, c, d] = mesh.corners(t);
    let (e1, e2, e3) = (b - a, c - a, d - a);
    let det = e1.dot(&e2.cross(&e3));
    let (g1, g2, g3) = (
        e2.cross(&e3) / det,
        e3.cross(&e1) / det,
        e1.cross(&e2) / det,
    );
    let grad = [-(g1 + g2 + g3), g1, g2, g3];
    let v = mesh.tets[t].map(|n| u[n as usize]);
    [0, 1, 2, 3].map(|k| {
        let mut h = Mat3::zeros();
        for i in 0..4 {
            // ∇[λᵢ(2λᵢ − 1)] = (4λᵢ − 1)∇λᵢ
            h += v[i] * grad[i].transpose() * if i == k { 3.0 } else { -1.0 };
        }
        for (e, [i, j]) in EDGES.into_iter().enumerate() {
            // ∇[4λᵢλⱼ] = 4(λᵢ∇λⱼ + λⱼ∇λᵢ)
            if i == k {
                h += v[4 + e] * grad[j].transpose() * 4.0;
            } else if j == k {
                h += v[4 + e] * grad[i].transpose() * 4.0;
            }
        }
        SymTensor::from_matrix(&h)
    })
}

fn double_dot(a: &SymTensor, b: &SymTensor) -> f64 {
    let d = a.0.component_mul(&b.0);
    d[0] + d[1] + d[2] + 2.0 * (d[3] + d[4] + d[5])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::one_tet;
    use bicolumn_model::{Material, Support};
    use std::sync::Arc;

    #[test]
    fn bending_energy_of_a_tetrahedron_agrees_with_the_integral() {
        // u = (xy, 0, 0): ε_xx = y, ε_xy = x/2. ½∫ε:C:ε over the unit tetrahedron with
        // ∫x² = ∫y² = 1/60: ½[(λ + 2μ)/60 + μ/60].
        let mesh = one_tet();
        let u: Vec<Vec3> = mesh.nodes.iter().map(|x| Vec3::x() * x.x * x.y).collect();
        let material = Material {
            name: "test".into(),
            young_mpa: 100.0,
            poisson: 0.25,
            source: String::new(),
        };
        let support = Support::clamp("corner", [0]);
        let problem = Problem::new(Arc::new(mesh), vec![material], [support], vec![]).unwrap();
        let (lambda, mu) = (40.0, 40.0);
        let exact = 0.5 * ((lambda + 2.0 * mu) / 60.0 + mu / 60.0);
        let found = energy_by_part(&problem, &[u])[0][0];
        assert!((found - exact).abs() < 1e-14, "{found} {exact}");
    }
}
