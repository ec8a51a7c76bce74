//! Keys of `[mesh]` and `[solve]`.

use crate::declare::{Declaration, OURS, count, flag, is, mm, number, text, word};
use crate::handle::{Key, OneOf};
use crate::named_path::REGIONS;
use bicolumn_geometry::Range;
use bicolumn_mesh::Sizing;
use bicolumn_mesh::size_field::LEAST_EDGE_MM;
use bicolumn_solve::{Method, SolveOptions};

/// Keys of `[mesh]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct MeshKeys {
    pub scale: Key<f64>,
    pub finest: Key<f64>,
    pub plate_ratio: Key<f64>,
    pub fracture_ratio: Key<f64>,
    pub far_ratio: Key<f64>,
    pub wall_ratio: Key<f64>,
    pub screw_ratio: Key<f64>,
    pub riser_ratio: Key<f64>,
    pub growth: Key<f64>,
    pub pose: Key<usize>,
    pub size_field: Key<Option<String>>,
    pub region: RegionKeys,
}

/// Keys of `[mesh.regions.NAME]`, NAME standing for the name that the job gives a region.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct RegionKeys {
    pub edge: Key<Option<f64>>,
    pub around: Key<Option<String>>,
    pub within: Key<Option<f64>>,
    pub level: Key<Option<f64>>,
    pub anterior: Key<Option<f64>>,
    pub lateral: Key<Option<f64>>,
    pub radius: Key<Option<f64>>,
    pub from: Key<Option<f64>>,
    pub to: Key<Option<f64>>,
}

impl MeshKeys {
    pub(crate) fn declare(d: &mut Declaration) -> MeshKeys {
        let sizing = Sizing::default();
        let scale = d.key(
            "mesh.scale",
            number("", Range::new(0.25, 4.0)),
            is(1.0),
            "Factor on every wanted edge length: mesh.finest_mm and its multiples, the bounds by walls and screws, regions and the size field. Finer or coarser as a whole: mesh.finest_mm alone leaves walls and screws as they are, which rule most cells of a thin bone",
            OURS,
        );
        let finest = d.key(
            "mesh.finest_mm",
            mm(0.3, 3.0),
            is(sizing.finest_mm),
            "Finest lattice cell: plate ends, screws at the bone surface, hole rims",
            OURS,
        );
        let mut ratio = |name: &str, value: f64, doc: &str| {
            let accepts = number("", Range::new(0.25, 16.0));
            d.key(format!("mesh.{name}"), accepts, is(value), doc, OURS)
        };
        MeshKeys {
            scale,
            finest,
            plate_ratio: ratio(
                "plate_ratio",
                sizing.plate_ratio,
                "Cell in the plates' body, as a multiple of the finest",
            ),
            fracture_ratio: ratio(
                "fracture_ratio",
                sizing.fracture_ratio,
                "Cell at the fracture faces, as a multiple of the finest",
            ),
            far_ratio: ratio(
                "far_ratio",
                sizing.far_ratio,
                "Cell far from all hardware, as a multiple of the finest",
            ),
            wall_ratio: ratio(
                "wall_ratio",
                sizing.wall_ratio,
                "Largest cell in a cortical wall, as a multiple of the wall's thickness",
            ),
            screw_ratio: ratio(
                "screw_ratio",
                sizing.screw_ratio,
                "Largest cell at a screw, as a multiple of its radius",
            ),
            riser_ratio: ratio(
                "riser_ratio",
                sizing.riser_ratio,
                "Cell at the bone's surface round the uppermost screw of each plate, where the stress near the plate's end peaks, as a multiple of the finest",
            ),
            growth: d.key(
                "mesh.growth",
                number("", Range::new(0.05, 2.0)),
                is(sizing.growth),
                "Growth of the cell with distance, mm a mm",
                OURS,
            ),
            pose: d.key(
                "mesh.pose",
                count(0, 1023),
                is(0),
                "Pose of the mesh's lattice: 0 is the usual one, another number shifts and turns it; results differ by the mesh's own noise",
                OURS,
            ),
            size_field: d.optional(
                "mesh.size_field",
                text(),
                "A JSON file, its path counted from the job file: wanted edge lengths on a regular grid, in place of mesh.finest_mm and its multiples; walls, screws, plates and filled gaps still get the cells that a valid mesh needs. The intact bone is meshed without it",
                OURS,
            ),
            region: RegionKeys::declare(d),
        }
    }
}

impl RegionKeys {
    fn declare(d: &mut Declaration) -> RegionKeys {
        let level = || mm(-100.0, 300.0);
        let across = || mm(-100.0, 100.0);
        RegionKeys {
            edge: d.named(
                REGIONS,
                "edge_mm",
                mm(LEAST_EDGE_MM, 20.0),
                "Wanted edge in a region that the job names: finer or coarser than elsewhere; walls, screws, plates and filled gaps still get the cells that a valid mesh needs. The region is a ball, a slice or lies round a feature",
            ),
            around: d.named(
                REGIONS,
                "around",
                text(),
                "Region round a feature: plate.SITE, plate.SITE.end (its proximal end), screw.NN, fracture or split (their faces)",
            ),
            within: d.named(
                REGIONS,
                "within_mm",
                mm(0.0, 100.0),
                "How far round the feature the region reaches; without it, the feature alone",
            ),
            level: d.named(
                REGIONS,
                "level_mm",
                level(),
                "Region that is a ball: level of its centre (Y)",
            ),
            anterior: d.named(
                REGIONS,
                "anterior_mm",
                across(),
                "Region that is a ball: its centre's place, forwards (X)",
            ),
            lateral: d.named(
                REGIONS,
                "lateral_mm",
                across(),
                "Region that is a ball: its centre's place, laterally (Z)",
            ),
            radius: d.named(
                REGIONS,
                "radius_mm",
                mm(0.1, 200.0),
                "Region that is a ball: its radius",
            ),
            from: d.named(
                REGIONS,
                "from_mm",
                level(),
                "Region that is a slice: its lower level (Y)",
            ),
            to: d.named(
                REGIONS,
                "to_mm",
                level(),
                "Region that is a slice: its upper level",
            ),
        }
    }
}

/// Keys of `[solve]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct SolveKeys {
    pub method: Key<OneOf<Method>>,
    pub tolerance: Key<f64>,
    pub max_iterations: Key<usize>,
    pub error_estimate: Key<bool>,
}

impl SolveKeys {
    pub(crate) fn declare(d: &mut Declaration) -> SolveKeys {
        let solve = SolveOptions::default();
        SolveKeys {
            method: d.key(
                "solve.method",
                word(),
                is(solve.method),
                "How the linear system is solved; auto chooses by an estimate of memory and time",
                OURS,
            ),
            tolerance: d.key(
                "solve.tolerance",
                number("", Range::new(1e-13, 1e-3)),
                is(solve.tolerance),
                "Relative residual to reach",
                OURS,
            ),
            max_iterations: d.key(
                "solve.max_iterations",
                count(1, 100_000),
                is(solve.max_iterations),
                "Iterations after which the solver gives up",
                OURS,
            ),
            error_estimate: d.key(
                "solve.error_estimate",
                flag(),
                is(true),
                "Estimate the discretisation error of stiffness, motion of the fracture and plate-end hot-spots, from adjoint solutions on the same mesh; not with contact",
                OURS,
            ),
        }
    }
}
