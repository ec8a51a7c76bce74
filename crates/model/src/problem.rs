//! The discrete problem: find u with a(u, v) = f(v) for all v that vanish where u is prescribed.
//!
//! [`Problem`] is sealed: its fields are private and every way to build or change one checks the whole, so that a solver
//! can rely on it.

use crate::support::constraints;
use crate::{Constraint, Elasticity, LoadCase, Material, Support};
use bicolumn_base::Vec3;
use bicolumn_mesh::{SurfaceName, TetMesh};
use std::collections::BTreeSet;
use std::sync::Arc;
use thiserror::Error;

/// A problem that cannot be posed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ProblemError {
    /// No support at all.
    #[error("nothing holds the model: it has no support")]
    NoSupport,
    /// A support without nodes.
    #[error("nothing holds the model there: the support {0} has no node")]
    EmptySupport(String),
    /// A support without components.
    #[error("the support {0} constrains no component")]
    NoComponent(String),
    /// Two supports that prescribe different values of one component.
    #[error(
        "node {node} is prescribed twice along {component}: {first_mm} mm by the support {first}, {second_mm} mm by the support {second}"
    )]
    #[allow(missing_docs)]
    Contradiction {
        node: u32,
        component: &'static str,
        first: String,
        first_mm: f64,
        second: String,
        second_mm: f64,
    },
    /// A node that the mesh does not have.
    #[error("{subject} names node {node}, and the mesh has {node_count} nodes")]
    #[allow(missing_docs)]
    NoSuchNode {
        subject: String,
        node: u32,
        node_count: usize,
    },
    /// A force or displacement that is not finite.
    #[error("{subject} gives node {node} a value that is not finite")]
    #[allow(missing_docs)]
    NotFinite { subject: String, node: u32 },
    /// Two load cases of one name.
    #[error("two load cases are called {0}")]
    TwoCases(String),
    /// A displacement prescribed by a load case in a component that no support constrains.
    #[error(
        "the load case {case} prescribes node {node} along {component}, which no support constrains"
    )]
    #[allow(missing_docs)]
    NotConstrained {
        case: String,
        node: u32,
        component: &'static str,
    },
    /// A mesh with indices out of range.
    #[error("tetrahedron {tet} names {what} {index}, and there are {count}")]
    #[allow(missing_docs)]
    BadMesh {
        tet: usize,
        what: &'static str,
        index: u32,
        count: usize,
    },
    /// A part without material.
    #[error("part {0} has no material")]
    NoMaterial(String),
    /// A material that is not positive definite.
    #[error(
        "the material of {part} is impossible: Young's modulus {young_mpa} MPa must be positive, Poisson's ratio {poisson} between -1 and 0.5"
    )]
    BadMaterial {
        /// Part name.
        part: String,
        /// Modulus given.
        young_mpa: f64,
        /// Ratio given.
        poisson: f64,
    },
    /// An elasticity of a tetrahedron that is not positive definite.
    #[error("the elasticity given for tetrahedron {tet} of {part} is not positive definite")]
    BadElasticity {
        /// Index of the tetrahedron.
        tet: usize,
        /// Part name.
        part: String,
    },
    /// A load patch with no facet.
    #[error("the load patch {0} has no facet on the bone surface")]
    EmptyPatch(String),
}

/// Compliance in series with the loads: springs of a rig that the mesh does not hold, whose travel adds to that of the
/// loaded joint.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct SeriesCompliance {
    /// Travel by force, mm/N.
    pub mm_per_n: f64,
    /// Rotation by moment, degree/(N·mm).
    pub deg_per_nmm: f64,
}

/// Mesh, materials, supports and load cases.
#[derive(Debug, Clone)]
pub struct Problem {
    mesh: Arc<TetMesh>,
    materials: Vec<Material>,
    supports: Vec<Support>,
    constraints: Vec<Constraint>,
    fixed: Vec<u32>,
    cases: Vec<LoadCase>,
    elasticities: Option<Vec<Elasticity>>,
    series: SeriesCompliance,
}

impl Problem {
    /// Poses a problem: one material a part in the order of `mesh.parts`.
    ///
    /// # Errors
    /// [`ProblemError`]: the first thing that makes it impossible, by name.
    pub fn new(
        mesh: Arc<TetMesh>,
        materials: Vec<Material>,
        supports: impl IntoIterator<Item = Support>,
        cases: Vec<LoadCase>,
    ) -> Result<Self, ProblemError> {
        Problem {
            mesh,
            materials,
            supports: supports.into_iter().collect(),
            constraints: vec![],
            fixed: vec![],
            cases,
            elasticities: None,
            series: SeriesCompliance::default(),
        }
        .checked()
    }

    /// With an elasticity for each tetrahedron, from its index, its part's material and its centroid.
    ///
    /// # Errors
    /// [`ProblemError::BadElasticity`]: the first that is not positive definite.
    pub fn with_elasticity(
        mut self,
        of: impl Fn(usize, &Material, Vec3) -> Elasticity,
    ) -> Result<Self, ProblemError> {
        let mut field = Vec::with_capacity(self.mesh.tets.len());
        for tet in 0..self.mesh.tets.len() {
            let centroid = self.mesh.corners(tet).iter().sum::<Vec3>() / 4.0;
            let elasticity = of(tet, self.material_of(tet), centroid);
            if !elasticity.is_admissible() {
                return Err(ProblemError::BadElasticity {
                    tet,
                    part: self.mesh.part_of(tet).to_string(),
                });
            }
            field.push(elasticity);
        }
        self.elasticities = Some(field);
        Ok(self)
    }

    /// With a compliance in series with the loads.
    #[must_use]
    pub fn with_series(mut self, series: SeriesCompliance) -> Self {
        self.series = series;
        self
    }

    /// Compliance in series with the loads; none unless given.
    pub fn series(&self) -> SeriesCompliance {
        self.series
    }

    /// With other load cases.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn with_cases(mut self, cases: Vec<LoadCase>) -> Result<Self, ProblemError> {
        self.cases = cases;
        self.checked()
    }

    /// With other materials; elasticities by tetrahedron are dropped.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn with_materials(mut self, materials: Vec<Material>) -> Result<Self, ProblemError> {
        self.materials = materials;
        self.elasticities = None;
        self.checked()
    }

    /// On another mesh with the same numbers of nodes: moved nodes, other element order. Elasticities by tetrahedron
    /// stay if there are as many tetrahedra, else they are dropped.
    ///
    /// # Errors
    /// As [`Problem::new`].
    pub fn with_mesh(mut self, mesh: Arc<TetMesh>) -> Result<Self, ProblemError> {
        let count = mesh.tets.len();
        self.elasticities = self.elasticities.filter(|e| e.len() == count);
        self.mesh = mesh;
        self.checked()
    }

    fn checked(mut self) -> Result<Self, ProblemError> {
        check_mesh(&self.mesh)?;
        check_materials(&self.mesh, &self.materials)?;
        if self.supports.is_empty() {
            return Err(ProblemError::NoSupport);
        }
        self.constraints = constraints(&self.supports, self.mesh.nodes.len())?;
        let clamped = self.constraints.iter().filter(|c| c.components.is_all());
        self.fixed = clamped.map(|c| c.node).collect();
        let mut names = BTreeSet::new();
        for case in &self.cases {
            if !names.insert(case.name.as_str()) {
                return Err(ProblemError::TwoCases(case.name.clone()));
            }
            self.check_case(case)?;
        }
        Ok(self)
    }

    fn check_case(&self, case: &LoadCase) -> Result<(), ProblemError> {
        let subject = || format!("the load case {}", case.name);
        let node_count = self.mesh.nodes.len();
        let forces = case.forces.iter().map(|(n, f)| (*n, *f));
        let moved = case.prescribed.iter().map(|p| (p.node, p.value_mm));
        for (node, value) in forces.chain(moved) {
            if node as usize >= node_count {
                return Err(ProblemError::NoSuchNode {
                    subject: subject(),
                    node,
                    node_count,
                });
            }
            if !value.iter().all(|v| v.is_finite()) {
                return Err(ProblemError::NotFinite {
                    subject: subject(),
                    node,
                });
            }
        }
        for p in &case.prescribed {
            let own = self.constraint_of(p.node);
            let has = |c: usize| own.is_some_and(|k| k.components.contains(c));
            if let Some(c) = p.components.indices().find(|c| !has(*c)) {
                return Err(ProblemError::NotConstrained {
                    case: case.name.clone(),
                    node: p.node,
                    component: ["X", "Y", "Z"][c],
                });
            }
        }
        Ok(())
    }

    /// The mesh.
    pub fn mesh(&self) -> &TetMesh {
        &self.mesh
    }

    /// The mesh, to be shared.
    pub fn shared_mesh(&self) -> &Arc<TetMesh> {
        &self.mesh
    }

    /// Material of each part, in the order of `mesh.parts`.
    pub fn materials(&self) -> &[Material] {
        &self.materials
    }

    /// The supports, as given.
    pub fn supports(&self) -> &[Support] {
        &self.supports
    }

    /// Nodes with constrained components, sorted by node: the Dirichlet boundary.
    pub fn constraints(&self) -> &[Constraint] {
        &self.constraints
    }

    /// Nodes with all three components constrained, sorted.
    pub fn fixed(&self) -> &[u32] {
        &self.fixed
    }

    /// Constraint of a node, if it has one.
    pub fn constraint_of(&self, node: u32) -> Option<&Constraint> {
        let at = self.constraints.binary_search_by_key(&node, |c| c.node);
        at.ok().map(|k| &self.constraints[k])
    }

    /// Load cases.
    pub fn cases(&self) -> &[LoadCase] {
        &self.cases
    }

    /// Prescribed displacements of a load case that are not zero, by node, mm: the supports' own values, or those
    /// that the case gives instead.
    pub fn prescribed(&self, case: usize) -> Vec<(u32, Vec3)> {
        let mut values: Vec<(u32, Vec3)> = self
            .constraints
            .iter()
            .map(|c| (c.node, c.value_mm))
            .collect();
        for p in self.cases.get(case).iter().flat_map(|c| &c.prescribed) {
            if let Ok(k) = values.binary_search_by_key(&p.node, |v| v.0) {
                p.components
                    .indices()
                    .for_each(|c| values[k].1[c] = p.value_mm[c]);
            }
        }
        values.retain(|(_, v)| *v != Vec3::zeros());
        values
    }

    /// Elasticity of each tetrahedron where it is not that of its part's material alone: local axes, moduli from
    /// density.
    pub fn elasticities(&self) -> Option<&[Elasticity]> {
        self.elasticities.as_deref()
    }

    /// Elasticity of a tetrahedron.
    pub fn elasticity_of(&self, tet: usize) -> Elasticity {
        match &self.elasticities {
            Some(field) => field[tet],
            None => self.material_of(tet).elasticity(),
        }
    }

    /// Material of a tetrahedron.
    pub fn material_of(&self, tet: usize) -> &Material {
        &self.materials[self.mesh.part[tet] as usize]
    }
}

fn check_mesh(mesh: &TetMesh) -> Result<(), ProblemError> {
    let node_count = mesh.nodes.len();
    for (tet, nodes) in mesh.tets.iter().enumerate() {
        if let Some(n) = nodes.iter().find(|n| **n as usize >= node_count) {
            return Err(ProblemError::BadMesh {
                tet,
                what: "node",
                index: *n,
                count: node_count,
            });
        }
        let part = mesh.part.get(tet).copied().unwrap_or(u16::MAX);
        if usize::from(part) >= mesh.parts.len() {
            return Err(ProblemError::BadMesh {
                tet,
                what: "part",
                index: u32::from(part),
                count: mesh.parts.len(),
            });
        }
    }
    Ok(())
}

fn check_materials(mesh: &TetMesh, materials: &[Material]) -> Result<(), ProblemError> {
    for (k, part) in mesh.parts.iter().enumerate() {
        let Some(material) = materials.get(k) else {
            return Err(ProblemError::NoMaterial(part.to_string()));
        };
        if !material.is_admissible() {
            return Err(ProblemError::BadMaterial {
                part: part.to_string(),
                young_mpa: material.young_mpa,
                poisson: material.poisson,
            });
        }
    }
    Ok(())
}

/// Nodes of all facets on a surface, sorted; for [`SurfaceName::ProximalEnd`], the potted nodes.
pub fn nodes_on(mesh: &TetMesh, surface: SurfaceName) -> Vec<u32> {
    let nodes: BTreeSet<u32> = mesh.facets_on(surface).flat_map(|f| f.nodes).collect();
    nodes.into_iter().collect()
}

/// Nodes at places that a predicate accepts, ascending: a plane, a line, a region given by a formula.
pub fn nodes_where(mesh: &TetMesh, accept: impl Fn(Vec3) -> bool) -> Vec<u32> {
    let nodes = (0u32..).zip(&mesh.nodes);
    nodes.filter(|(_, x)| accept(**x)).map(|(n, _)| n).collect()
}
