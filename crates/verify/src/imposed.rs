//! A body with supports and tractions, posed and solved as any construct is.

use bicolumn_base::{SymTensor, Vec3};
use bicolumn_mesh::{Facet, SurfaceName, TetMesh};
use bicolumn_model::facet::facet_points;
use bicolumn_model::{Components, LoadCase, Material, Problem, ProblemError, Support};
use bicolumn_solve::element::{Element, Inverted, forces};
use bicolumn_solve::quadrature::FOURTEEN;
use bicolumn_solve::shape::values;
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

/// Directions held at a node: X, Y, Z.
pub type Held = [bool; 3];

/// A body under way.
pub struct Body {
    mesh: Arc<TetMesh>,
    material: Material,
    imposed: BTreeMap<u32, Vec3>,
    rollers: BTreeMap<u32, Held>,
    applied: BTreeMap<u32, Vec3>,
}

/// Its solution.
pub struct Equilibrium {
    /// The discrete problem that was solved.
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
            rollers: BTreeMap::new(),
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

    /// Imposes a displacement on the whole outer boundary.
    pub fn impose_on_boundary(mut self, displacement: impl Fn(Vec3) -> Vec3) -> Self {
        let mesh = Arc::clone(&self.mesh);
        for n in mesh.free_facets().flat_map(|f| f.nodes) {
            self.imposed.insert(n, displacement(mesh.nodes[n as usize]));
        }
        self
    }

    /// Holds the given directions (X, Y, Z) at all nodes of a surface, beside those held already.
    pub fn roll(self, surface: SurfaceName, directions: Held) -> Self {
        let nodes: Vec<u32> = self.mesh.facets_on(surface).flat_map(|f| f.nodes).collect();
        self.hold(nodes, directions)
    }

    /// Holds the given directions at all nodes that `at` accepts.
    pub fn roll_where(self, at: impl Fn(Vec3) -> bool, directions: Held) -> Self {
        let nodes: Vec<u32> = (0..)
            .zip(&self.mesh.nodes)
            .filter(|(_, x)| at(**x))
            .map(|(n, _)| n)
            .collect();
        self.hold(nodes, directions)
    }

    fn hold(mut self, nodes: Vec<u32>, directions: Held) -> Self {
        for n in nodes {
            let held = self.rollers.entry(n).or_default();
            for c in 0..3 {
                held[c] |= directions[c];
            }
        }
        self
    }

    /// Applies a force by volume (N/mm³) as consistent nodal forces, by a rule exact to degree 5.
    pub fn body_force(mut self, force: impl Fn(Vec3) -> Vec3) -> Self {
        let mesh = Arc::clone(&self.mesh);
        for tet in &mesh.tets {
            let element = Element::new(tet.map(|n| mesh.nodes[n as usize]));
            for (l, weight) in FOURTEEN {
                let share = force(element.position(l)) * (weight * element.gradients(l).1 / 6.0);
                for (n, shape) in tet.iter().zip(values(l)) {
                    *self.applied.entry(*n).or_insert_with(Vec3::zeros) += share * shape;
                }
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

    /// Solves.
    ///
    /// # Errors
    /// [`ImposedError`].
    pub fn solve(self, options: &SolveOptions) -> Result<Equilibrium, ImposedError> {
        let imposed = (!self.imposed.is_empty()).then(|| {
            let values = self.imposed.iter().map(|(n, u)| (*n, *u));
            Support::prescribed("imposed", Components::ALL, values)
        });
        let rollers = self
            .rollers
            .iter()
            .filter(|(n, _)| !self.imposed.contains_key(n))
            .map(|(n, held)| Support::roller("roller", Components::of(*held), [*n]));
        let supports: Vec<Support> = imposed.into_iter().chain(rollers).collect();
        let case = LoadCase::new("verification", self.applied);
        let materials = vec![self.material.clone(); self.mesh.parts.len()];
        let problem = Problem::new(Arc::clone(&self.mesh), materials, supports, vec![case])?;
        let displacement = solve(&problem, options)?.displacement.swap_remove(0);
        let nodal_forces = internal_forces(&self.mesh, &self.material, &displacement)?;
        let part_nodes = PartNodes::of(&self.mesh);
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
        let nodes = &self.problem.mesh().nodes;
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
        let mesh = self.problem.mesh();
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
