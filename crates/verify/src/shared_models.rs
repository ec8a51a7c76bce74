//! The small models that are kept in the folder `meshes/`: posed problems with exact answers, and broken ones.
//!
//! [`files`] makes all of them anew, byte for byte; the example `write_meshes` writes them, a test compares.

use crate::coarse_construct::coarse_construct;
use crate::exact::linear_field::LinearField;
use crate::humerus_surface::humerus_surface;
use crate::meshes::Block;
use crate::meshes::block::{bar, irregular_box, side};
use crate::meshes::elliptic_quarter::{
    ON_X_AXIS, ON_Y_AXIS, OUTER, OUTSIDE, UPPER, elliptic_quarter,
};
use crate::meshes::tube::at_radius;
use bicolumn_base::{Fragment, Mat3, Part, Tissue, Vec3};
use bicolumn_bundle::{mesh_grid, model_json};
use bicolumn_formats::{Grid, VtuError, write_vtu};
use bicolumn_geometry::{Bone, BoneSpec, GeometryError};
use bicolumn_mesh::{MeshError, SplitMesh, TetMesh, split};
use bicolumn_model::{
    Components, LoadCase, Material, Patch, Problem, ProblemError, Support, nodes_on, nodes_where,
};
use serde_json::{Value, json};
use std::path::PathBuf;
use std::sync::Arc;
use thiserror::Error;

/// Why a model could not be made.
#[derive(Debug, Error)]
#[allow(missing_docs)]
pub enum SharedModelError {
    #[error(transparent)]
    Mesh(#[from] MeshError),
    #[error(transparent)]
    Problem(#[from] ProblemError),
    #[error(transparent)]
    File(#[from] VtuError),
    #[error(transparent)]
    Bone(#[from] GeometryError),
    #[error("{0}")]
    Job(String),
}

/// A model by the name of its folder.
pub struct SharedModel {
    /// Folder under `meshes/`.
    pub name: &'static str,
    /// Mesh file.
    pub mesh: Grid,
    /// Model file.
    pub model: Value,
}

impl SharedModel {
    fn of(name: &'static str, problem: &Problem) -> Self {
        SharedModel {
            name,
            mesh: mesh_grid(problem),
            model: model_json(problem),
        }
    }
}

/// The linear field of the patch test.
pub fn patch_field() -> LinearField {
    LinearField {
        gradient: Mat3::new(1.0, 0.5, -0.3, 0.2, -0.7, 0.4, 0.6, -0.1, 0.9) * 1e-3,
        origin: Vec3::new(0.3, -0.2, 0.1),
    }
}

/// Young's moduli of the beam's two halves, MPa, half its length, mm, and the stress at its end, MPa.
pub const BEAM: ([f64; 2], f64, f64) = ([17_000.0, 600.0], 8.0, 3.0);

/// Radii of the thick cylinder, mm, pressure in its bore, Young's modulus, MPa, Poisson's ratio.
pub const CYLINDER: ([f64; 2], f64, f64, f64) = ([10.0, 20.0], 10.0, 17_000.0, 0.3);

/// Edge of each of the two blocks, mm, pressure on the upper one, shear on it, Young's modulus, MPa, coefficient of
/// friction.
pub const BLOCKS: (f64, f64, f64, f64, f64) = (4.0, 2.0, 0.1, 1000.0, 0.3);

/// All models that can be solved.
///
/// # Errors
/// [`SharedModelError`].
pub fn shared_models() -> Result<Vec<SharedModel>, SharedModelError> {
    Ok(vec![
        patch("patch_distorted", irregular_box(3, 10.0, 0.2)?)?,
        beam()?,
        cylinder()?,
        plate()?,
        blocks()?,
        patch("slivers", slivers()?)?,
        SharedModel::of("coarse_construct", &coarse_construct()?),
    ])
}

/// Every boundary node moves as the linear field says.
fn patch(name: &'static str, mesh: TetMesh) -> Result<SharedModel, SharedModelError> {
    let field = patch_field();
    let mut nodes: Vec<u32> = mesh.free_facets().flat_map(|f| f.nodes).collect();
    nodes.sort_unstable();
    nodes.dedup();
    let values = nodes.into_iter();
    let values = values.map(|n| (n, field.displacement(mesh.nodes[n as usize])));
    let support = Support::prescribed("boundary", Components::ALL, values);
    let materials = vec![Material::new("test body", 17_000.0, 0.3, "invented")];
    let cases = vec![LoadCase::new("linear", [])];
    let problem = Problem::new(Arc::new(mesh), materials, [support], cases)?;
    Ok(SharedModel::of(name, &problem))
}

/// A box whose layers are a thousandth of its height thin: dihedral angles down to a fraction of a degree.
fn slivers() -> Result<TetMesh, MeshError> {
    let levels = [0.0, 0.001, 0.4, 0.401, 1.0];
    Block {
        cells: [3, 3, 4],
        ring: false,
        map: &|g| {
            Vec3::new(
                10.0 * g[0],
                10.0 * g[1],
                10.0 * levels[(4.0 * g[2]).round() as usize],
            )
        },
        curve: &|m, _| m,
    }
    .mesh()
}

/// Rollers on the three planes of the coordinates.
fn planes(mesh: &TetMesh) -> [Support; 3] {
    let names = ["plane x = 0", "plane y = 0", "plane z = 0"];
    let components = [Components::X, Components::Y, Components::Z];
    [0, 1, 2].map(|a| {
        let nodes = nodes_where(mesh, |x| x[a].abs() < 1e-9);
        Support::roller(names[a], components[a], nodes)
    })
}

/// Two halves in series, pulled; without lateral contraction the stress is even.
fn beam() -> Result<SharedModel, SharedModelError> {
    let (young, half, stress) = BEAM;
    let mut mesh = bar([2, 6, 2], Vec3::zeros(), Vec3::new(4.0, 2.0 * half, 4.0))?;
    let bone = |tissue| Part::Bone(Fragment::Proximal, tissue);
    mesh.parts = vec![bone(Tissue::Cortical), bone(Tissue::Cancellous)];
    for t in 0..mesh.tets.len() {
        let middle = mesh.corners(t).iter().sum::<Vec3>() / 4.0;
        mesh.part[t] = u16::from(middle.y > half);
    }
    let end = Patch::on(&mesh, side(1, true))?;
    let case = LoadCase::new("pull", []).with_traction(&mesh, &end, |_, n| n * stress);
    let materials = young.map(|e| Material::new("test body", e, 0.0, "invented"));
    let supports = planes(&mesh);
    let problem = Problem::new(Arc::new(mesh), materials.to_vec(), supports, vec![case])?;
    Ok(SharedModel::of("beam_two_materials", &problem))
}

/// A quarter of a tube with curved edges in plane strain, pressed from within.
fn cylinder() -> Result<SharedModel, SharedModelError> {
    let ([inner, outer], pressure, young, poisson) = CYLINDER;
    let mesh = Block {
        cells: [8, 5, 1],
        ring: false,
        map: &|[round, wall, along]| {
            let r = inner + (outer - inner) * wall;
            let (s, c) = (round * std::f64::consts::FRAC_PI_2).sin_cos();
            // Exactly on the planes of symmetry at both ends.
            let (s, c) = match round {
                0.0 => (0.0, 1.0),
                1.0 => (1.0, 0.0),
                _ => (s, c),
            };
            // Round about −Y, as the tube.
            Vec3::new(r * c, 3.0 * along, r * s)
        },
        curve: &|m, surface| match surface {
            s if s == side(1, false) => at_radius(m, inner),
            s if s == side(1, true) => at_radius(m, outer),
            _ => m,
        },
    }
    .mesh()?;
    let bore = Patch::on(&mesh, side(1, false))?;
    let case = LoadCase::new("pressure", []).with_pressure(&mesh, &bore, pressure);
    let mut supports = planes(&mesh).to_vec();
    let upper = nodes_on(&mesh, side(2, true));
    supports.push(Support::roller("plane y = 3", Components::Y, upper));
    let materials = vec![Material::new("test body", young, poisson, "invented")];
    let problem = Problem::new(Arc::new(mesh), materials, supports, vec![case])?;
    Ok(SharedModel::of("thick_cylinder_curved", &problem))
}

/// NAFEMS LE10 on a coarse mesh.
fn plate() -> Result<SharedModel, SharedModelError> {
    const THICKNESS: f64 = 0.6;
    let mesh = elliptic_quarter([10, 8, 4], THICKNESS, 0.1)?;
    let middle = nodes_where(&mesh, |x| {
        let outside = (x.x / OUTER[0]).hypot(x.y / OUTER[1]) - 1.0;
        outside.abs() < 1e-9 && (x.z - 0.5 * THICKNESS).abs() < 1e-9
    });
    let on = |surface| nodes_on(&mesh, surface);
    let outer = Components::of([true, true, false]);
    let supports = [
        Support::roller("x = 0", Components::X, on(ON_Y_AXIS)),
        Support::roller("y = 0", Components::Y, on(ON_X_AXIS)),
        Support::roller("outer face", outer, on(OUTSIDE)),
        Support::roller("middle line", Components::Z, middle),
    ];
    let upper = Patch::on(&mesh, UPPER)?;
    let case = LoadCase::new("pressure", []).with_pressure(&mesh, &upper, 1.0);
    let materials = vec![Material::new("steel", 210_000.0, 0.3, "NAFEMS LE10")];
    let problem = Problem::new(Arc::new(mesh), materials, supports, vec![case])?;
    Ok(SharedModel::of("le10_plate", &problem))
}

/// Two blocks on each other with friction: pressed, and pressed and sheared.
fn blocks() -> Result<SharedModel, SharedModelError> {
    let (edge, pressure, shear, young, mu) = BLOCKS;
    let mut mesh = bar([2, 4, 2], Vec3::zeros(), Vec3::new(edge, 2.0 * edge, edge))?;
    let part = |upper: bool| {
        let fragment = if upper {
            Fragment::Proximal
        } else {
            Fragment::Distal
        };
        Part::Bone(fragment, Tissue::Cortical)
    };
    let corners: Vec<[u32; 4]> = mesh.tets.iter().map(|t| [t[0], t[1], t[2], t[3]]).collect();
    let is_upper = |t: usize| {
        let y: f64 = mesh.corners(t).iter().map(|x| x.y).sum();
        y > 4.0 * edge
    };
    let vertices = mesh.nodes[..mesh.vertex_count].to_vec();
    let surface = |x: Vec3, _: Vec3| {
        let at = |y: f64| (x.y - y).abs() < 1e-9;
        bicolumn_mesh::SurfaceName::Other(if at(2.0 * edge) {
            1
        } else {
            u8::from(at(edge)) * 2
        })
    };
    mesh =
        TetMesh::from_straight_tets(vertices, &corners, |t| part(is_upper(t)), surface, |m, _| m)?;
    let SplitMesh {
        mesh, pairs, sets, ..
    } = split(&mesh, |_| true)?;
    let top = Patch::on(&mesh, bicolumn_mesh::SurfaceName::Other(1))?;
    let base = nodes_where(&mesh, |x| x.y.abs() < 1e-9);
    let press = LoadCase::new("press", []).with_pressure(&mesh, &top, pressure);
    let both = press
        .clone()
        .with_traction(&mesh, &top, |_, _| Vec3::x() * shear);
    let both = LoadCase {
        name: "press_and_shear".to_owned(),
        ..both
    };
    let materials = vec![Material::new("test body", young, 0.0, "invented"); 2];
    let support = Support::clamp("base", base);
    let problem = Problem::new(Arc::new(mesh), materials, [support], vec![press, both])?;
    let mut model = SharedModel::of("two_blocks_contact", &problem);
    let rows = pairs.iter().map(|p| [p.a, p.b].concat());
    model.model["interfaces"] = json!([{
        "name": sets.first().map_or("joint", |s| s.name.as_str()),
        "law": "frictional",
        "friction": mu,
        "pairs": rows.collect::<Vec<_>>(),
    }]);
    Ok(model)
}

/// One cell of six tetrahedra, clamped and pulled, from which the broken models are made.
fn small() -> Result<SharedModel, SharedModelError> {
    let mesh = bar([1, 1, 1], Vec3::zeros(), Vec3::new(2.0, 2.0, 2.0))?;
    let end = Patch::on(&mesh, side(1, true))?;
    let case = LoadCase::new("pull", []).with_traction(&mesh, &end, |_, n| n);
    let support = Support::clamp("base", nodes_on(&mesh, side(1, false)));
    let materials = vec![Material::new("test body", 1000.0, 0.3, "invented")];
    let problem = Problem::new(Arc::new(mesh), materials, [support], vec![case])?;
    Ok(SharedModel::of("small", &problem))
}

/// Level at which the humerus's surface ends, and its triangles' edges, mm.
const STL_TOP_MM: f64 = 165.0;
const STL_EDGE_MM: f64 = 1.5;

/// Three of a tetrahedron's four faces, as binary STL.
fn open_tetrahedron() -> Vec<u8> {
    let corners: [[f32; 3]; 4] = [[0.0; 3], [1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]];
    let mut bytes = b"a surface with a hole; invented".to_vec();
    bytes.resize(80, b' ');
    bytes.extend(3u32.to_le_bytes());
    for face in [[0, 2, 1], [0, 1, 3], [0, 3, 2]] {
        bytes.extend([0; 12]);
        let numbers = face.iter().flat_map(|c: &usize| corners[*c]);
        numbers.for_each(|v| bytes.extend(v.to_le_bytes()));
        bytes.extend([0; 2]);
    }
    bytes
}

/// All files under `meshes/` that are made by program, by their path there.
///
/// # Errors
/// [`SharedModelError`].
pub fn files() -> Result<Vec<(PathBuf, Vec<u8>)>, SharedModelError> {
    let mut all = vec![];
    let vtu = |grid: &Grid| {
        let mut bytes = vec![];
        write_vtu(&mut bytes, grid).map(|()| bytes)
    };
    let mut add = |folder: &str, mesh: Vec<u8>, model: &Value| {
        let folder = PathBuf::from(folder);
        all.push((folder.join("mesh.vtu"), mesh));
        all.push((folder.join("model.json"), format!("{model}\n").into_bytes()));
    };
    for model in shared_models()? {
        add(model.name, vtu(&model.mesh)?, &model.model);
    }
    let good = small()?;
    let bytes = vtu(&good.mesh)?;
    let with_nodes = |swap: [usize; 2]| {
        let mut grid = good.mesh.clone();
        grid.connectivity.swap(swap[0], swap[1]);
        vtu(&grid)
    };
    add("broken/inverted", with_nodes([30, 31])?, &good.model);
    add("broken/node_order", with_nodes([24, 29])?, &good.model);
    add(
        "broken/cut_off",
        bytes[..bytes.len() / 2].to_vec(),
        &good.model,
    );
    let mut bare = good.mesh.clone();
    bare.cell_data.clear();
    add("broken/no_material", vtu(&bare)?, &good.model);
    let changed = |change: &dyn Fn(&mut Value)| {
        let mut model = good.model.clone();
        change(&mut model);
        model
    };
    let model = changed(&|m| m["fixed"][0]["dofs"] = json!([0, 1, 3]));
    add("broken/component", bytes.clone(), &model);
    let model = changed(&|m| m["fixed"] = json!([]));
    add("broken/no_support", bytes.clone(), &model);
    let model = changed(&|m| m["materials"] = json!({}));
    add("broken/material_missing", bytes.clone(), &model);
    let model = changed(&|m| m["loads"][0]["force"] = json!([]));
    add("broken/unknown_key", bytes.clone(), &model);
    let model = changed(&|m| m["loads"][0]["forces"][0][0] = json!(1000));
    add("broken/node_number", bytes.clone(), &model);
    let model =
        changed(&|m| m["interfaces"] = json!([{"name": "joint", "law": "glued", "pairs": []}]));
    add("broken/law", bytes.clone(), &model);
    let model = changed(&|m| m["fixed"][0]["dofs"] = json!([1]));
    add("broken/loose", bytes, &model);
    let bone = Bone::build(&BoneSpec::mean_adult())?;
    let surface = humerus_surface(&bone, STL_TOP_MM, STL_EDGE_MM)?;
    all.push((PathBuf::from("humerus_outer.stl"), surface));
    all.push((PathBuf::from("broken/open.stl"), open_tetrahedron()));
    Ok(all)
}
