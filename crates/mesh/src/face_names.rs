//! Names of faces that the cuts could not tell apart: two plates on one shell, with the caps of their locking screws;
//! the two sides of a reduced fracture.

use crate::{Facet, SurfaceName, TetMesh};
use bicolumn_base::{Fragment, Part, PlateSite};
use bicolumn_geometry::Screw;

/// Gives every facet the name that suits the part it bounds.
pub(crate) fn settle(mesh: &mut TetMesh, screws: &[Screw]) {
    for i in 0..mesh.facets.len() {
        let name = name_of(mesh, &mesh.facets[i], screws);
        let known = mesh.surfaces.iter().position(|s| *s == name);
        let surface = known.unwrap_or_else(|| {
            mesh.surfaces.push(name);
            mesh.surfaces.len() - 1
        });
        mesh.facets[i].surface = surface as u8;
    }
}

/// Plate that a part is or belongs to.
fn plate_of(part: Part, screws: &[Screw]) -> Option<PlateSite> {
    match part {
        Part::Plate(site) => Some(site),
        Part::Screw(number) => screws.iter().find(|s| s.number == number)?.plate,
        _ => None,
    }
}

fn name_of(mesh: &TetMesh, f: &Facet, screws: &[Screw]) -> SurfaceName {
    let own = mesh.part_of(f.tet as usize);
    let beyond = f.beyond.map(|t| mesh.part_of(t as usize));
    let name = mesh.surfaces[f.surface as usize];
    let plate = [Some(own), beyond]
        .into_iter()
        .flatten()
        .find_map(|p| plate_of(p, screws));
    match (name, own, plate) {
        (SurfaceName::PlateTop(_), _, Some(site)) => SurfaceName::PlateTop(site),
        (SurfaceName::PlateUnderside(_), _, Some(site)) => SurfaceName::PlateUnderside(site),
        (SurfaceName::FractureProximal | SurfaceName::FractureDistal, Part::Bone(side, _), _) => {
            if side.is_distal() {
                SurfaceName::FractureDistal
            } else {
                SurfaceName::FractureProximal
            }
        }
        (SurfaceName::SplitMedial | SurfaceName::SplitLateral, Part::Bone(side, _), _) => {
            match side {
                Fragment::DistalMedial => SurfaceName::SplitMedial,
                Fragment::DistalLateral => SurfaceName::SplitLateral,
                _ => name,
            }
        }
        _ => name,
    }
}
