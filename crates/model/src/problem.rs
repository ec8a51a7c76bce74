//! The sealed discrete problem.

use crate::{Elasticity, LoadCase, Material};
use bicolumn_base::Vec3;
use bicolumn_mesh::{SurfaceName, TetMesh};
use std::collections::BTreeSet;
use std::sync::Arc;
use thiserror::Error;

/// A problem that cannot be posed.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ProblemError {
    /// No node is held.
    #[error("nothing holds the model: no facet lies on the potting plane")]
    NoSupport,
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

/// Mesh, materials, supports and load cases.
#[derive(Debug, Clone)]
pub struct Problem {
    /// The mesh.
    pub mesh: Arc<TetMesh>,
    /// Material of each part, in the order of `mesh.parts`.
    pub materials: Vec<Material>,
    /// Nodes held in all three directions, sorted.
    pub fixed: Vec<u32>,
    /// Load cases.
    pub cases: Vec<LoadCase>,
    /// Elasticity of each tetrahedron where it is not that of its part's material alone: local axes,
    /// moduli from density. Set by [`Problem::with_elasticity`].
    pub field: Option<Vec<Elasticity>>,
}

impl Problem {
    /// Poses a problem; `fixed` is sorted and made distinct.
    ///
    /// # Errors
    /// [`ProblemError`] when a part has no or an impossible material or no node is held.
    pub fn new(
        mesh: Arc<TetMesh>,
        materials: Vec<Material>,
        fixed: impl IntoIterator<Item = u32>,
        cases: Vec<LoadCase>,
    ) -> Result<Self, ProblemError> {
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
        let fixed: BTreeSet<u32> = fixed.into_iter().collect();
        if fixed.is_empty() {
            return Err(ProblemError::NoSupport);
        }
        Ok(Problem {
            mesh,
            materials,
            fixed: fixed.into_iter().collect(),
            cases,
            field: None,
        })
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
        self.field = Some(field);
        Ok(self)
    }

    /// Elasticity of a tetrahedron.
    pub fn elasticity_of(&self, tet: usize) -> Elasticity {
        match &self.field {
            Some(field) => field[tet],
            None => self.material_of(tet).elasticity(),
        }
    }

    /// Material of a tetrahedron.
    pub fn material_of(&self, tet: usize) -> &Material {
        &self.materials[self.mesh.part[tet] as usize]
    }
}

/// The nodes of all facets on a surface, sorted; for [`SurfaceName::ProximalEnd`], the potted nodes.
pub fn nodes_on(mesh: &TetMesh, surface: SurfaceName) -> Vec<u32> {
    let nodes: BTreeSet<u32> = mesh.facets_on(surface).flat_map(|f| f.nodes).collect();
    nodes.into_iter().collect()
}
