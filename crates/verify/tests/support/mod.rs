//! Constructs of the bone model as problems, as the engine poses them.
#![allow(dead_code)]

use bicolumn_base::{Part, Tissue};
use bicolumn_geometry::{ArticularSurface, Construct, ConstructSpec};
use bicolumn_measure::Solved;
use bicolumn_mesh::{Sizing, SurfaceName, TetMesh, mesh_construct};
use bicolumn_model::{
    JointPatches, LoadSizes, Material, NamedLoad, Patch, Problem, Support, nodes_on,
};
use bicolumn_solve::Solution;
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, OnceLock};

/// A construct with its problem.
pub(crate) struct Model {
    pub(crate) construct: Arc<Construct>,
    pub(crate) problem: Problem,
    pub(crate) joint: JointPatches,
}

impl Model {
    /// With a solution, as the measures read it.
    pub(crate) fn solved<'a>(&'a self, solution: &'a Solution) -> Solved<'a> {
        Solved {
            construct: &self.construct,
            problem: &self.problem,
            patches: self.joint.patches(),
            solution,
            total: &solution.displacement,
            tightened: &[],
            contact: None,
        }
    }
}

/// Materials by what they are used for.
#[derive(Clone, Copy)]
pub(crate) struct Moduli {
    pub(crate) cortical: f64,
    pub(crate) cancellous: f64,
    pub(crate) implant: f64,
}

/// Steel in healthy bone.
pub(crate) const HEALTHY: Moduli = Moduli {
    cortical: 17_000.0,
    cancellous: 600.0,
    implant: 193_000.0,
};

impl Moduli {
    /// The material of each part.
    pub(crate) fn of(&self, mesh: &TetMesh) -> Vec<Material> {
        let material = |p: &Part| {
            let young = match p {
                Part::Bone(_, Tissue::Cortical) => self.cortical,
                Part::Bone(_, Tissue::Cancellous) | Part::GapTissue | Part::Numbered(_) => {
                    self.cancellous
                }
                Part::Plate(_) | Part::Screw(_) => self.implant,
            };
            Material::new("test", young, 0.3, "verification")
        };
        mesh.parts.iter().map(material).collect()
    }
}

/// A construct and its mesh, made once for all tests that ask for it.
fn meshed(spec: &ConstructSpec, sizing: &Sizing) -> (Arc<Construct>, Arc<TetMesh>) {
    type Made = Arc<OnceLock<(Arc<Construct>, Arc<TetMesh>)>>;
    static ALL: Mutex<BTreeMap<String, Made>> = Mutex::new(BTreeMap::new());
    let made = {
        let mut all = ALL.lock().unwrap();
        all.entry(format!("{spec:?} {sizing:?}"))
            .or_default()
            .clone()
    };
    made.get_or_init(|| {
        let construct = Construct::build(spec).unwrap();
        let mesh = mesh_construct(&construct, sizing).unwrap();
        (Arc::new(construct), Arc::new(mesh))
    })
    .clone()
}

/// Meshes a construct and poses its problem: shaft potted, loads on the joint.
pub(crate) fn model(
    spec: &ConstructSpec,
    sizing: &Sizing,
    moduli: &Moduli,
    loads: &[NamedLoad],
) -> Model {
    let (construct, mesh) = meshed(spec, sizing);
    let patch = |name, surface| {
        Patch::of_free_facets(&mesh, name, |f, x, n| {
            mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
                && construct.bone.articular(x, n) == Some(surface)
        })
        .unwrap()
    };
    let joint = JointPatches::new(
        patch("capitellum", ArticularSurface::Capitellum),
        patch("trochlea", ArticularSurface::Trochlea),
        construct.bone.side(),
    )
    .bearing_at(
        [ArticularSurface::Capitellum, ArticularSurface::Trochlea]
            .map(|surface| construct.bone.bearing_point(surface)),
    );
    let cases = loads
        .iter()
        .map(|l| joint.case(&mesh, &l.of_sizes(&LoadSizes::default())))
        .collect();
    let materials = moduli.of(&mesh);
    let fixed = Support::clamp("potting", nodes_on(&mesh, SurfaceName::ProximalEnd));
    let problem = Problem::new(mesh, materials, [fixed], cases).unwrap();
    Model {
        construct,
        problem,
        joint,
    }
}
