//! Loads: resultants spread over surface patches as consistent nodal forces.

use crate::facet::{FacetPoint, facet_points};
use crate::{Components, FourPointBend, ProblemError};
use bicolumn_base::{Mat3, Vec3};
use bicolumn_mesh::{Facet, SurfaceName, TetMesh};
use std::collections::BTreeMap;

/// Facets that share a load.
#[derive(Debug, Clone, PartialEq)]
pub struct Patch {
    /// Name: `capitellum`, `trochlea`.
    pub name: String,
    /// Indices into the mesh's facet list.
    pub facets: Vec<u32>,
}

impl Patch {
    /// The free facets that a predicate accepts; it sees the facet, its centroid and its outward normal.
    ///
    /// # Errors
    /// [`ProblemError::EmptyPatch`] when it accepts none.
    pub fn of_free_facets(
        mesh: &TetMesh,
        name: &str,
        accept: impl Fn(&Facet, Vec3, Vec3) -> bool,
    ) -> Result<Self, ProblemError> {
        let facets: Vec<u32> = (0u32..)
            .zip(&mesh.facets)
            .filter(|(_, f)| {
                let [a, b, c] = [0, 1, 2].map(|k| mesh.nodes[f.nodes[k] as usize]);
                f.beyond.is_none()
                    && accept(f, (a + b + c) / 3.0, (b - a).cross(&(c - a)).normalize())
            })
            .map(|(i, _)| i)
            .collect();
        Self::from_facets(name, facets)
    }

    /// All facets of a named surface.
    ///
    /// # Errors
    /// [`ProblemError::EmptyPatch`] when the mesh has none.
    pub fn on(mesh: &TetMesh, surface: SurfaceName) -> Result<Self, ProblemError> {
        let facets = (0u32..).zip(&mesh.facets);
        let facets = facets.filter(|(_, f)| mesh.surfaces[f.surface as usize] == surface);
        Self::from_facets(&surface.to_string(), facets.map(|(i, _)| i).collect())
    }

    /// From facet indices.
    ///
    /// # Errors
    /// [`ProblemError::EmptyPatch`] when there is none.
    pub fn from_facets(name: &str, facets: Vec<u32>) -> Result<Self, ProblemError> {
        if facets.is_empty() {
            return Err(ProblemError::EmptyPatch(name.to_owned()));
        }
        Ok(Patch {
            name: name.to_owned(),
            facets,
        })
    }

    /// Both patches as one; facets of both are counted once.
    pub fn union(&self, other: &Patch, name: &str) -> Self {
        let mut facets = [self.facets.as_slice(), &other.facets].concat();
        facets.sort_unstable();
        facets.dedup();
        Patch {
            name: name.to_owned(),
            facets,
        }
    }

    /// Nodes of its facets, sorted.
    pub fn nodes(&self, mesh: &TetMesh) -> Vec<u32> {
        let of = |f: &u32| mesh.facets[*f as usize].nodes;
        let mut nodes: Vec<u32> = self.facets.iter().flat_map(of).collect();
        nodes.sort_unstable();
        nodes.dedup();
        nodes
    }

    /// Area, mm², over the possibly curved facets.
    pub fn area(&self, mesh: &TetMesh) -> f64 {
        self.points(mesh).map(|(_, p)| p.area).sum()
    }

    /// Centroid of the area, mm.
    pub fn centroid(&self, mesh: &TetMesh) -> Vec3 {
        let (moment, area) = self
            .points(mesh)
            .fold((Vec3::zeros(), 0.0), |(m, a), (_, p)| {
                (m + p.position * p.area, a + p.area)
            });
        moment / area
    }

    fn points<'a>(
        &'a self,
        mesh: &'a TetMesh,
    ) -> impl Iterator<Item = (&'a [u32; 6], FacetPoint)> + 'a {
        self.facets.iter().flat_map(|&f| {
            let nodes = &mesh.facets[f as usize].nodes;
            let positions = nodes.map(|n| mesh.nodes[n as usize]);
            facet_points(&positions).map(|p| (nodes, p))
        })
    }
}

/// A force and a moment to be spread over a patch.
#[derive(Debug, Clone, PartialEq)]
pub struct PatchLoad {
    /// Index of the patch.
    pub patch: usize,
    /// Resultant force, N.
    pub force_n: Vec3,
    /// Point that the resultant force passes, mm; `None`: the centroid of the patch as meshed.
    pub through_mm: Option<Vec3>,
    /// Couple besides, N·mm.
    pub moment_nmm: Vec3,
}

impl PatchLoad {
    /// Consistent nodal forces (node, N) of the traction a + b × (x − centroid) with exactly this
    /// resultant, whatever the facets of the patch.
    ///
    /// a = F / A; b from J b = M with J = ∫ (|r|² I − r rᵀ) dA and M the moment about the centroid: of all tractions with
    /// that resultant the one of least ∫ |t|² dA. Nodal forces are ∫ N t dA; since the
    /// facet's geometry is interpolated by the same N, their moment equals that of the traction at
    /// whatever quadrature.
    pub fn nodal_forces(&self, mesh: &TetMesh, patch: &Patch) -> Vec<(u32, Vec3)> {
        let area = patch.area(mesh);
        let centroid = patch.centroid(mesh);
        let inertia = patch.points(mesh).fold(Mat3::zeros(), |j, (_, p)| {
            let r = p.position - centroid;
            j + (Mat3::identity() * r.norm_squared() - r * r.transpose()) * p.area
        });
        let uniform = self.force_n / area;
        let lever = self.through_mm.map_or_else(Vec3::zeros, |x| x - centroid);
        let moment = self.moment_nmm + lever.cross(&self.force_n);
        let spin = inertia
            .cholesky()
            .map_or_else(Vec3::zeros, |c| c.solve(&moment));
        let mut forces: BTreeMap<u32, Vec3> = BTreeMap::new();
        for (nodes, p) in patch.points(mesh) {
            let traction = uniform + spin.cross(&(p.position - centroid));
            for (&n, shape) in nodes.iter().zip(p.shape) {
                *forces.entry(n).or_insert_with(Vec3::zeros) += traction * (shape * p.area);
            }
        }
        forces.into_iter().collect()
    }
}

/// A displacement that a load case prescribes in constrained components of a node.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prescribed {
    /// The node.
    pub node: u32,
    /// Components, which supports constrain.
    pub components: Components,
    /// Displacement, mm; the other components are left out of account.
    pub value_mm: Vec3,
}

/// One load case: nodal forces, the discrete right-hand side f(v), and displacements of supports.
///
/// ```
/// use bicolumn_base::Vec3;
/// use bicolumn_model::{Components, LoadCase};
/// let case = LoadCase::new("pull", [(4, Vec3::z()), (2, Vec3::x()), (4, Vec3::z())])
///     .with_displacement([7], Components::Y, Vec3::y() * 0.01);
/// assert_eq!(case.forces, [(2, Vec3::x()), (4, Vec3::z() * 2.0)]);
/// assert_eq!(case.prescribed.len(), 1);
/// ```
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LoadCase {
    /// Name: `axial`, `posterior_bending`, ...
    pub name: String,
    /// Nodal forces (node, N), sorted by node, one entry a node: the right-hand side.
    pub forces: Vec<(u32, Vec3)>,
    /// The part of them that the machine applies, where supports that are no Dirichlet condition exert the rest; empty:
    /// all of them.
    pub applied: Vec<(u32, Vec3)>,
    /// Four-point bend that the forces are, where they are one: in equilibrium with themselves, they have no resultant to
    /// measure a travel by.
    pub bend: Option<FourPointBend>,
    /// Displacements of constrained components in this case, in place of the supports' own; the last one given for a
    /// component counts.
    pub prescribed: Vec<Prescribed>,
}

impl LoadCase {
    /// From nodal forces, N; several at one node add up.
    pub fn new(name: &str, forces: impl IntoIterator<Item = (u32, Vec3)>) -> Self {
        let case = LoadCase {
            name: name.to_owned(),
            ..LoadCase::default()
        };
        case.with_forces(forces)
    }

    /// With nodal forces more, N.
    #[must_use]
    pub fn with_forces(mut self, forces: impl IntoIterator<Item = (u32, Vec3)>) -> Self {
        let mut all: BTreeMap<u32, Vec3> = BTreeMap::new();
        for (n, f) in std::mem::take(&mut self.forces).into_iter().chain(forces) {
            *all.entry(n).or_insert_with(Vec3::zeros) += f;
        }
        self.forces = all.into_iter().collect();
        self
    }

    /// With nodal forces, N, that a support exerts beside the applied ones.
    #[must_use]
    pub fn with_reactions(mut self, reactions: impl IntoIterator<Item = (u32, Vec3)>) -> Self {
        if self.applied.is_empty() {
            self.applied.clone_from(&self.forces);
        }
        self.with_forces(reactions)
    }

    /// Nodal forces that the machine applies, sorted by node.
    pub fn applied(&self) -> &[(u32, Vec3)] {
        match self.applied.is_empty() {
            true => &self.forces,
            false => &self.applied,
        }
    }

    /// With a traction, MPa, on a patch, by position and outward unit normal: consistent nodal forces
    /// ∫ N t dA by the seven-point rule.
    #[must_use]
    pub fn with_traction(
        self,
        mesh: &TetMesh,
        patch: &Patch,
        traction_mpa: impl Fn(Vec3, Vec3) -> Vec3,
    ) -> Self {
        let forces: Vec<(u32, Vec3)> = patch
            .points(mesh)
            .flat_map(|(nodes, p)| {
                let force = traction_mpa(p.position, p.normal) * p.area;
                let share = move |k: usize| (nodes[k], force * p.shape[k]);
                (0..6).map(share)
            })
            .collect();
        self.with_forces(forces)
    }

    /// With a pressure, MPa, on a patch; positive pushes against the outward normal. The load keeps its direction
    /// when the body deforms.
    #[must_use]
    pub fn with_pressure(self, mesh: &TetMesh, patch: &Patch, pressure_mpa: f64) -> Self {
        self.with_traction(mesh, patch, |_, normal| normal * -pressure_mpa)
    }

    /// With a displacement of constrained components of some nodes, mm, in place of their supports' own.
    #[must_use]
    pub fn with_displacement(
        mut self,
        nodes: impl IntoIterator<Item = u32>,
        components: Components,
        value_mm: Vec3,
    ) -> Self {
        self.prescribed
            .extend(nodes.into_iter().map(|node| Prescribed {
                node,
                components,
                value_mm,
            }));
        self
    }

    /// Adds up several patch loads; `PatchLoad::patch` indexes `patches`.
    pub fn combine(name: &str, mesh: &TetMesh, patches: &[Patch], loads: &[PatchLoad]) -> Self {
        let mut forces: BTreeMap<u32, Vec3> = BTreeMap::new();
        for load in loads {
            for (n, f) in load.nodal_forces(mesh, &patches[load.patch]) {
                *forces.entry(n).or_insert_with(Vec3::zeros) += f;
            }
        }
        LoadCase {
            name: name.to_owned(),
            forces: forces.into_iter().collect(),
            ..LoadCase::default()
        }
    }

    /// Sum of the forces, N.
    pub fn resultant_force(&self) -> Vec3 {
        sum(&self.forces)
    }

    /// Moment of the forces about a point, N·mm.
    pub fn resultant_moment(&self, nodes: &[Vec3], about: Vec3) -> Vec3 {
        moment(&self.forces, nodes, about)
    }

    /// Sum of the applied forces, N.
    pub fn applied_force(&self) -> Vec3 {
        sum(self.applied())
    }

    /// Work of the forces on a displacement of the mesh's nodes, N·mm.
    pub fn work(&self, displacement: &[Vec3]) -> f64 {
        let forces = self.forces.iter();
        forces.map(|(n, f)| f.dot(&displacement[*n as usize])).sum()
    }

    /// Size of the force that stiffness and travel are measured by, N: of the resultant, or of a bend's noses.
    pub fn size_n(&self) -> f64 {
        match self.bend {
            Some(bend) => bend.force_n,
            None => self.applied_force().norm(),
        }
    }

    /// Moment of the applied forces about a point, N·mm.
    pub fn applied_moment(&self, nodes: &[Vec3], about: Vec3) -> Vec3 {
        moment(self.applied(), nodes, about)
    }
}

fn sum(forces: &[(u32, Vec3)]) -> Vec3 {
    forces.iter().map(|f| f.1).sum()
}

fn moment(forces: &[(u32, Vec3)], nodes: &[Vec3], about: Vec3) -> Vec3 {
    forces
        .iter()
        .map(|(n, f)| (nodes[*n as usize] - about).cross(f))
        .sum()
}
