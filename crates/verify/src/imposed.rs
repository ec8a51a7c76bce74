//! A body with imposed displacements and tractions, solved through the door of any construct.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_mesh::{Facet, SurfaceName, TetMesh};
use bicolumn_model::facet::facet_points;
use bicolumn_model::{LoadCase, Material, Problem, ProblemError};
use bicolumn_solve::element::{Element, Inverted, forces};
use bicolumn_solve::{PartNodes, SolveError, SolveOptions, StressField, solve};
use std::collections::BTreeMap;
use std::sync::Arc;
use thiserror::Error;

/// Why a body could not be solved.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ImposedError {
    /// The problem cannot be posed.
    #[error(transparent)]
    Problem(#[from] ProblemError),
    /// It has no solution.
    #[error(transparent)]
    Solve(#[from] SolveError),
    /// An element is inside out.
    #[error("element {0} is inside out")]
    Inverted(usize),
}

/// A body under way.
pub struct Body {
    mesh: Arc<TetMesh>,
    material: Material,
    imposed: BTreeMap<u32, Vec3>,
    applied: BTreeMap<u32, Vec3>,
}

/// Its solution.
pub struct Equilibrium {
    /// The discrete problem that was solved, displacements imposed as zero.
    pub problem: Problem,
    /// Displacement of each node, mm.
    pub displacement: Vec<Vec3>,
    /// Force of each node on the body, N: loads at free nodes, reactions at imposed ones.
    pub nodal_forces: Vec<Vec3>,
    /// Numbering of the stress.
    pub part_nodes: PartNodes,
    /// Recovered stress.
    pub stress: StressField,
}

impl Body {
    /// A body of one material.
    pub fn new(mesh: TetMesh, young_mpa: f64, poisson: f64) -> Self {
        Body {
            mesh: Arc::new(mesh),
            material: Material::new("test body", young_mpa, poisson, "verification"),
            imposed: BTreeMap::new(),
            applied: BTreeMap::new(),
        }
    }

    /// The mesh.
    pub fn mesh(&self) -> &TetMesh {
        &self.mesh
    }

    /// Imposes a displacement on all nodes of the facets of a surface.
    pub fn impose(mut self, surface: SurfaceName, displacement: impl Fn(Vec3) -> Vec3) -> Self {
        for f in self.mesh.facets_on(surface) {
            for n in f.nodes {
                self.imposed
                    .insert(n, displacement(self.mesh.nodes[n as usize]));
            }
        }
        self
    }

    /// Imposes a displacement on all nodes that `at` accepts.
    pub fn impose_where(
        mut self,
        at: impl Fn(Vec3) -> bool,
        displacement: impl Fn(Vec3) -> Vec3,
    ) -> Self {
        for (n, x) in (0..).zip(&self.mesh.nodes) {
            if at(*x) {
                self.imposed.insert(n, displacement(*x));
            }
        }
        self
    }

    /// Applies a traction (MPa, from position and outward unit normal) to the free facets that
    /// `on` accepts, as consistent nodal forces.
    pub fn pull(
        mut self,
        on: impl Fn(SurfaceName) -> bool,
        traction: impl Fn(Vec3, Vec3) -> Vec3,
    ) -> Self {
        let mesh = Arc::clone(&self.mesh);
        let facets = mesh
            .free_facets()
            .filter(|f: &&Facet| on(mesh.surfaces[f.surface as usize]));
        for f in facets {
            let positions = f.nodes.map(|n| mesh.nodes[n as usize]);
            for p in facet_points(&positions) {
                let force = traction(p.position, p.normal) * p.area;
                for (n, shape) in f.nodes.iter().zip(p.shape) {
                    *self.applied.entry(*n).or_insert_with(Vec3::zeros) += force * shape;
                }
            }
        }
        self
    }

    /// Applies nodal forces.
    pub fn load(mut self, forces: &[(u32, Vec3)]) -> Self {
        for (n, f) in forces {
            *self.applied.entry(*n).or_insert_with(Vec3::zeros) += f;
        }
        self
    }

    /// Solves: with u = ū + v, ū the imposed values at their nodes and zero elsewhere, v = 0 at
    /// those nodes and K v = f − K ū at the others.
    ///
    /// # Errors
    /// [`ImposedError`].
    pub fn solve(self, options: &SolveOptions) -> Result<Equilibrium, ImposedError> {
        let mesh = &*self.mesh;
        let mut lift = vec![Vec3::zeros(); mesh.nodes.len()];
        for (n, u) in &self.imposed {
            lift[*n as usize] = *u;
        }
        let lifted = internal_forces(mesh, &self.material, &lift)?;
        let forces = (0..mesh.nodes.len() as u32)
            .filter(|n| !self.imposed.contains_key(n))
            .filter_map(|n| {
                let f = self.applied.get(&n).copied().unwrap_or_default() - lifted[n as usize];
                (f != Vec3::zeros()).then_some((n, f))
            })
            .collect();
        let case = LoadCase {
            name: "verification".to_string(),
            forces,
        };
        let problem = Problem::new(
            Arc::clone(&self.mesh),
            vec![self.material.clone(); mesh.parts.len()],
            self.imposed.keys().copied(),
            vec![case],
        )?;
        let solution = solve(&problem, options)?;
        let displacement: Vec<Vec3> = solution.displacement[0]
            .iter()
            .zip(&lift)
            .map(|(v, u)| v + u)
            .collect();
        let nodal_forces = internal_forces(mesh, &self.material, &displacement)?;
        let part_nodes = PartNodes::of(mesh);
        let stress = StressField::recover(&problem, &part_nodes, &displacement);
        Ok(Equilibrium {
            problem,
            displacement,
            nodal_forces,
            part_nodes,
            stress,
        })
    }
}

impl Equilibrium {
    /// Recovered stress at the node nearest to a point, and that node's position.
    pub fn stress_near(&self, x: Vec3) -> (SymTensor, Vec3) {
        let nodes = &self.problem.mesh.nodes;
        let far = |k: usize| (nodes[self.part_nodes.node[k] as usize] - x).norm_squared();
        let mut best = 0;
        for k in 1..self.part_nodes.node.len() {
            if far(k) < far(best) {
                best = k;
            }
        }
        let at = nodes[self.part_nodes.node[best] as usize];
        (self.stress.values[best], at)
    }

    /// Resultant force (N) and moment about a point (N·mm) of the nodal forces on a surface.
    pub fn resultant(&self, surface: SurfaceName, about: Vec3) -> (Vec3, Vec3) {
        let mesh = &self.problem.mesh;
        let mut nodes: Vec<u32> = mesh.facets_on(surface).flat_map(|f| f.nodes).collect();
        nodes.sort_unstable();
        nodes.dedup();
        let (mut force, mut moment) = (Vec3::zeros(), Vec3::zeros());
        for n in nodes {
            let f = self.nodal_forces[n as usize];
            force += f;
            moment += (mesh.nodes[n as usize] - about).cross(&f);
        }
        (force, moment)
    }
}

/// K u, node by node.
fn internal_forces(
    mesh: &TetMesh,
    material: &Material,
    u: &[Vec3],
) -> Result<Vec<Vec3>, ImposedError> {
    let (lambda, mu) = material.lame();
    let mut all = vec![Vec3::zeros(); mesh.nodes.len()];
    for (t, tet) in mesh.tets.iter().enumerate() {
        let local = tet.map(|n| u[n as usize]);
        if local.iter().all(|v| *v == Vec3::zeros()) {
            continue;
        }
        let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
        let k = element
            .stiffness(lambda, mu)
            .map_err(|Inverted| ImposedError::Inverted(t))?;
        for (n, f) in tet.iter().zip(forces(&k, &local)) {
            all[*n as usize] += f;
        }
    }
    Ok(all)
}
