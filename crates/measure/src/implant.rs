//! The most stressed 1 mm³ of each plate and of the screws.

use crate::ball::Found;
use crate::facet_point::FacetPoint;
use crate::hottest_ball::hottest_places;
use crate::locator::Locator;
use crate::recovered::Recovered;
use bicolumn_base::{Part, Vec3};

/// Largest ball mean over the material of one part, by load case, with its centre: centres are the
/// middles of all facets of the part, free or bonded; only that part's material is counted.
pub(crate) fn hotspot_of_part(model: &Recovered<'_>, part: Part) -> Vec<Option<Found>> {
    let mesh = model.mesh;
    let mut locator = Locator::new(mesh, |t| mesh.part_of(t) == part);
    let centres: Vec<Vec3> = mesh
        .facets
        .iter()
        .filter(|f| mesh.part_of(f.tet as usize) == part)
        .map(|f| FacetPoint::middle(mesh, f).at)
        .collect();
    hottest_places(&mut locator, model.stress, &centres, 1.0)
}

/// The larger of two hot-spots; the first wins a tie.
pub(crate) fn larger(a: Option<Found>, b: Option<Found>) -> Option<Found> {
    match (a, b) {
        (Some(a), Some(b)) => Some(if b.0 > a.0 { b } else { a }),
        (a, b) => a.or(b),
    }
}
