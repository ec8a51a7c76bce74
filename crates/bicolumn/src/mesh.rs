//! `bicolumn mesh`: the mesh of one design point, its quality, a VTK file, pictures.

use crate::args::MeshArgs;
use crate::console::Console;
use crate::mesh_picture::{self, Section, View};
use crate::point_of_job::{point_of_job, told, writable_folder, write_file, write_grid};
use crate::{ALL_WELL, CANNOT_RUN};
use bicolumn_base::{Part, Vec3};
use bicolumn_formats::{CellKind, Field, Grid, Values};
use bicolumn_mesh::{Facet, TetMesh};
use bicolumn_store::create_folder;
use bicolumn_study::mesh_point;
use std::path::{Path, PathBuf};

pub(crate) fn mesh(args: &MeshArgs, console: &mut Console<'_>) -> u8 {
    let Some((job, point)) = point_of_job(&args.job, &args.point, console) else {
        return CANNOT_RUN;
    };
    let Some(dir) = writable_folder(args.out.as_ref(), &args.job, "mesh", &point.id, console)
    else {
        return CANNOT_RUN;
    };
    let result = mesh_point(&job, &point, &mut |stage| {
        console.say(&format!("{}: {stage}", point.id));
    });
    let (construct, mesh) = match result {
        Ok(built) => built,
        Err(e) => {
            console.error(&told(&e, &job, &point));
            return CANNOT_RUN;
        }
    };
    for line in quality_table(&mesh) {
        console.data(&line);
    }
    let mut views = vec![
        ("outside.png".to_string(), View::Whole),
        ("cut.png".to_string(), View::Posterior),
        (
            "worst_element.png".to_string(),
            View::CloseUp(Section::of_worst(&mesh)),
        ),
    ];
    views.extend(construct.plates.iter().map(|p| {
        let (under, tangent, outward) = p.centre_line(p.length_mm - 0.5 * p.width_mm);
        // Along the plate and through its thickness.
        let across = tangent.cross(&outward).try_normalize(1e-9);
        let section = Section {
            at: under + outward * (p.stand_off_mm + 0.5 * p.thickness_mm),
            towards_eye: across.unwrap_or_else(Vec3::x),
            reach_mm: PLATE_END_REACH_MM,
            marked: None,
        };
        (
            format!("{}.end.png", Part::Plate(p.site)),
            View::CloseUp(section),
        )
    }));
    match write(&mesh, &views, &dir) {
        Ok(paths) => {
            for path in paths {
                console.data(&path.display().to_string());
            }
            ALL_WELL
        }
        Err(e) => {
            console.error(&e);
            CANNOT_RUN
        }
    }
}

/// How much round a plate's end is drawn: two holes and the wall under them, mm.
const PLATE_END_REACH_MM: f64 = 11.0;

fn write(mesh: &TetMesh, views: &[(String, View)], dir: &Path) -> Result<Vec<PathBuf>, String> {
    create_folder(dir).map_err(|e| e.to_string())?;
    let path = |name: &str| dir.join(name);
    write_grid(&path("mesh.vtu"), &grid(mesh))?;
    write_grid(&path("facets.vtu"), &facets(mesh))?;
    let sets = serde_json::to_vec_pretty(&Sets::of(mesh)).map_err(|e| e.to_string())?;
    write_file(&path("sets.json"), &sets)?;
    let quality = serde_json::to_vec_pretty(&mesh.quality).map_err(|e| e.to_string())?;
    write_file(&path("quality.json"), &quality)?;
    for (name, view) in views {
        write_file(&path(name), &mesh_picture::png(mesh, *view)?)?;
    }
    let data = ["mesh.vtu", "facets.vtu", "sets.json", "quality.json"];
    let pictures = views.iter().map(|v| v.0.as_str());
    Ok(data.into_iter().chain(pictures).map(path).collect())
}

/// The names behind the numbers in the VTK files: number n is the n-th name.
#[derive(serde::Serialize)]
struct Sets {
    parts: Vec<String>,
    surfaces: Vec<String>,
}

impl Sets {
    fn of(mesh: &TetMesh) -> Sets {
        Sets {
            parts: mesh.parts.iter().map(ToString::to_string).collect(),
            surfaces: mesh.surfaces.iter().map(ToString::to_string).collect(),
        }
    }
}

/// Boundary and interface facets, six nodes each: number of their surface, of the part they bound and
/// of the part beyond (0 = none), from 1. Those between two parts are listed from either side.
fn facets(mesh: &TetMesh) -> Grid {
    let nodes: Vec<[u32; 6]> = mesh.facets.iter().map(|f| f.nodes).collect();
    let part = |tet: u32| i32::from(mesh.part[tet as usize]) + 1;
    let each =
        |number: &dyn Fn(&Facet) -> i32| Values::I32(mesh.facets.iter().map(number).collect());
    let mut grid = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTriangle, &nodes);
    grid.cell_data = vec![
        Field::scalar("surface", each(&|f| i32::from(f.surface) + 1)),
        Field::scalar("part", each(&|f| part(f.tet))),
        Field::scalar("beyond", each(&|f| f.beyond.map_or(0, part))),
    ];
    grid
}

/// Ten-node tetrahedra with the number of their part (row of the quality table, from 1) and their
/// least dihedral angle.
fn grid(mesh: &TetMesh) -> Grid {
    let mut grid = Grid::uniform(mesh.nodes.clone(), CellKind::QuadraticTetra, &mesh.tets);
    let part = mesh.part.iter().map(|p| i32::from(*p) + 1).collect();
    let angle = (0..mesh.tets.len())
        .map(|t| mesh.least_dihedral_deg(t) as f32)
        .collect();
    grid.cell_data
        .push(Field::scalar("part", Values::I32(part)));
    grid.cell_data
        .push(Field::scalar("least_dihedral_deg", Values::F32(angle)));
    grid
}

/// The quality table, line by line.
fn quality_table(mesh: &TetMesh) -> Vec<String> {
    let q = &mesh.quality;
    let share = |x: f64| format!("{:.4} %", 100.0 * x);
    let at = q.worst_at;
    let mut lines: Vec<String> = [
        ("tetrahedra", q.tets.to_string()),
        ("nodes", q.nodes.to_string()),
        (
            "least dihedral angle",
            format!(
                "{:.2} deg, at ({:.1}, {:.1}, {:.1}) mm",
                q.min_dihedral_deg, at[0], at[1], at[2]
            ),
        ),
        (
            "greatest dihedral angle",
            format!("{:.2} deg", q.max_dihedral_deg),
        ),
        ("least radius ratio", format!("{:.4}", q.min_radius_ratio)),
        ("below 10 deg", share(q.share_below_10_deg)),
        ("below 18 deg", share(q.share_below_18_deg)),
        ("below 20 deg", share(q.share_below_20_deg)),
        (
            "curved midside nodes on their surface",
            share(q.curved_share),
        ),
        (
            "greatest distance of a corner from its surface",
            format!("{:.1e} mm", q.surface_error_mm),
        ),
        (
            "facets without a surface",
            q.unclassified_facets.to_string(),
        ),
        (
            "non-manifold edges of a part",
            q.non_manifold_edges.to_string(),
        ),
        ("components", q.components.to_string()),
        ("fallback", q.fallback.to_string()),
    ]
    .iter()
    .map(|(name, value)| format!("{name:<48}{value}"))
    .collect();
    lines.push(format!(
        "{:<6}{:<28}{:>12}{:>16}",
        "part", "", "tetrahedra", "volume, mm3"
    ));
    for (i, (name, tets, volume)) in q.parts.iter().enumerate() {
        lines.push(format!("{:<6}{name:<28}{tets:>12}{volume:>16.1}", i + 1));
    }
    let s = &mesh.stages;
    lines.push(format!(
        "seconds: lattice {:.2}, cut {:.2}, improve {:.2}, promote {:.2}",
        s.lattice_s, s.cut_s, s.improve_s, s.promote_s
    ));
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::{Fragment, PlateSite, Tissue};
    use bicolumn_mesh::SurfaceName;

    #[test]
    fn facets_and_sets_tell_surface_and_parts() {
        let corners = vec![
            Vec3::zeros(),
            Vec3::x(),
            Vec3::y(),
            Vec3::z(),
            Vec3::new(1.0, 1.0, 1.0),
        ];
        let parts = [
            Part::Bone(Fragment::Proximal, Tissue::Cortical),
            Part::Plate(PlateSite::Medial),
        ];
        let between = |x: Vec3| (x.x + x.y + x.z - 1.0).abs() < 1e-9;
        let mesh = TetMesh::from_straight_tets(
            corners,
            &[[0, 1, 2, 3], [1, 2, 3, 4]],
            |t| parts[t],
            |x, _| {
                if between(x) {
                    SurfaceName::PlateUnderside(PlateSite::Medial)
                } else {
                    SurfaceName::BoneOuter
                }
            },
            |x, _| x,
        )
        .unwrap();
        let sets = Sets::of(&mesh);
        assert_eq!(sets.parts, ["bone.proximal.cortical", "plate.medial"]);
        assert_eq!(sets.surfaces, ["bone.outer", "plate.medial.underside"]);
        let grid = facets(&mesh);
        let column = |name: &str| {
            let field = grid.cell_data.iter().find(|f| f.name == name).unwrap();
            match &field.values {
                Values::I32(v) => v.clone(),
                other => panic!("{other:?}"),
            }
        };
        let (surface, part, beyond) = (column("surface"), column("part"), column("beyond"));
        assert_eq!(surface.len(), 8);
        for i in 0..8 {
            match surface[i] {
                2 => assert_eq!(part[i] + beyond[i], 3),
                _ => assert_eq!(beyond[i], 0),
            }
        }
        assert_eq!(surface.iter().filter(|s| **s == 2).count(), 2);
    }
}
