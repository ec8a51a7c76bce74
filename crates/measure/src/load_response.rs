//! Construct stiffness: how far, and by which angle, a load moves the bone under it.

use crate::facet_point::{FacetPoint, spread};
use crate::recovered::Recovered;
use crate::rigid::best_rotation;
use crate::shape::vector_at;
use bicolumn_base::Vec3;
use bicolumn_mesh::TetMesh;
use bicolumn_model::{LoadCase, Patch, SeriesCompliance};

/// A resultant below this share of the summed nodal forces is a couple's rounding, not a force.
const COUPLE_SHARE: f64 = 1e-6;

/// Displacement, rotation and stiffness of one load case.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(crate) struct LoadResponse {
    /// Work-conjugate displacement f·u/|F|, mm.
    pub(crate) displacement_mm: Option<f64>,
    /// |F| over that displacement, N/mm.
    pub(crate) stiffness_n_per_mm: Option<f64>,
    /// Rotation of the loaded block about the moment's axis, degree.
    pub(crate) rotation_deg: Option<f64>,
    /// Moment over that rotation, N·mm/degree.
    pub(crate) rotation_stiffness_nmm_per_deg: Option<f64>,
    /// Flexural rigidity of the uniform beam that a four-point bend finds as stiff, N·mm².
    pub(crate) bending_rigidity_nmm2: Option<f64>,
}

/// Responses of a load case. `block` is the rotation (rad) of the loaded patches, `about` the point
/// that moments of transverse forces are taken about.
///
/// Force: with nodal forces f summing to F, the displacement that does the load's work is f·u/|F|;
/// the stiffness is |F|²/(f·u). Moment: M of a couple, or of a mainly transverse force about
/// `about`, over the block's rotation about the axis of M. A force along the shaft (within 30
/// degrees of Y) has no rotational stiffness: its lever is an accident of the joint's offset. F and M are
/// of the applied forces; those of a support at the joint do no work. The compliance in series adds F and M times itself
/// to displacement and rotation. A four-point bend has the force of its noses for |F|, and no moment.
pub(crate) fn load_response(
    case: &LoadCase,
    nodes: &[Vec3],
    u: &[Vec3],
    block: Option<Vec3>,
    about: Vec3,
    series: SeriesCompliance,
) -> LoadResponse {
    let force = case.applied_force();
    let summed: f64 = case.forces.iter().map(|f| f.1.norm()).sum();
    let size = case.size_n();
    let is_force = case.bend.is_some() || size > COUPLE_SHARE * summed;
    let mut response = LoadResponse::default();
    if is_force {
        let work = case.work(u) + size * size * series.mm_per_n;
        response.displacement_mm = Some(work / size);
        response.stiffness_n_per_mm = (work > 0.0).then(|| size * size / work);
    }
    if let Some(bend) = case.bend {
        let per_stiffness = bend.rigidity_per_stiffness_mm3();
        response.bending_rigidity_nmm2 = response.stiffness_n_per_mm.map(|k| k * per_stiffness);
        return response;
    }
    let transverse = force.x.hypot(force.z) > 0.5 * size;
    if !is_force || transverse {
        let moment = case.applied_moment(nodes, about);
        let m = moment.norm();
        if let Some(block) = block
            && m > 0.0
        {
            let angle = block.dot(&(moment / m)).to_degrees() + m * series.deg_per_nmm;
            response.rotation_deg = Some(angle);
            response.rotation_stiffness_nmm_per_deg = (angle > 0.0).then(|| m / angle);
        }
    }
    response
}

/// Area-weighted rigid rotation, rad, of the patches that a load case acts on.
pub(crate) fn loaded_block(
    mesh: &TetMesh,
    patches: &[Patch],
    case: &LoadCase,
    u: &[Vec3],
) -> Option<Vec3> {
    let points = loaded_points(mesh, patches, case)?;
    let data: Vec<_> = points
        .iter()
        .map(|p| (p.area_mm2, p.at, vector_at(mesh, u, p.tet, p.barycentric)))
        .collect();
    best_rotation(&data)
}

/// Points spread over the patches that a load case acts on; `None` when a patch names a facet that the mesh
/// does not have.
pub(crate) fn loaded_points(
    mesh: &TetMesh,
    patches: &[Patch],
    case: &LoadCase,
) -> Option<Vec<FacetPoint>> {
    let applied = case.applied();
    let loaded = |node: u32| applied.binary_search_by_key(&node, |f| f.0).is_ok();
    // Patches may overlap (a joint and its two surfaces): each facet counts once.
    let mut facets: Vec<u32> = patches.iter().flat_map(|p| &p.facets).copied().collect();
    facets.sort_unstable();
    facets.dedup();
    let mut points: Vec<FacetPoint> = Vec::new();
    for f in facets {
        let facet = mesh.facets.get(f as usize)?;
        if facet.nodes.iter().all(|n| loaded(*n)) {
            spread(mesh, facet, 2.0, &mut points);
        }
    }
    Some(points)
}

/// The moment of a load case about where moments of transverse forces are taken about, N·mm.
pub(crate) fn moment_of(model: &Recovered<'_>, case: &LoadCase) -> Vec3 {
    case.applied_moment(&model.mesh.nodes, moment_centre(model))
}

/// Where moments of transverse forces are taken about.
pub(crate) fn moment_centre(model: &Recovered<'_>) -> Vec3 {
    let construct = model.solved.construct;
    if let Some(fracture) = &construct.fracture {
        return fracture.centre;
    }
    let fixed = model.solved.problem.fixed().iter();
    let potting = fixed
        .map(|n| model.mesh.nodes[*n as usize].y)
        .fold(f64::INFINITY, f64::min);
    construct.bone.shaft_axis(potting)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn case(forces: Vec<(u32, Vec3)>) -> LoadCase {
        LoadCase::new("test", forces)
    }

    #[test]
    fn force_shared_unevenly_moves_its_weighted_mean() {
        // 30 N on a node that moves 0.1, 10 N on one that moves 0.3: mean 0.15 mm, 40/0.15 N/mm.
        let c = case(vec![(0, Vec3::y() * 30.0), (1, Vec3::y() * 10.0)]);
        let u = [Vec3::new(9.0, 0.1, 0.0), Vec3::y() * 0.3];
        let rigid = SeriesCompliance::default();
        let r = load_response(&c, &[Vec3::zeros(); 2], &u, None, Vec3::zeros(), rigid);
        assert!((r.displacement_mm.unwrap() - 0.15).abs() < 1e-15);
        assert!((r.stiffness_n_per_mm.unwrap() - 40.0 / 0.15).abs() < 1e-9);
        assert_eq!(r.rotation_deg, None);
    }

    #[test]
    fn couple_has_only_a_rotational_stiffness() {
        // ±10 N, 5 mm apart: 50 N·mm about Y.
        let nodes = [Vec3::z() * 2.5, Vec3::z() * -2.5];
        let c = case(vec![(0, Vec3::x() * 10.0), (1, Vec3::x() * -10.0)]);
        let block = Vec3::y() * 0.02;
        let rigid = SeriesCompliance::default();
        let at = Vec3::zeros();
        let r = load_response(&c, &nodes, &[Vec3::zeros(); 2], Some(block), at, rigid);
        assert_eq!(r.stiffness_n_per_mm, None);
        let expected = 50.0 / 0.02f64.to_degrees();
        assert!((r.rotation_stiffness_nmm_per_deg.unwrap() - expected).abs() < 1e-9);
    }

    #[test]
    fn a_rig_in_series_adds_its_travel_and_its_turn() {
        let series = SeriesCompliance {
            mm_per_n: 1.0 / 400.0,
            deg_per_nmm: 1.0 / 5000.0,
        };
        // 40 N that move 0.15 mm: 0.25 mm with the rig, springs of 40 / 0.15 and 400 N/mm in series.
        let c = case(vec![(0, Vec3::y() * 40.0)]);
        let at = Vec3::zeros();
        let r = load_response(&c, &[at], &[Vec3::y() * 0.15], None, at, series);
        assert!((r.displacement_mm.unwrap() - 0.25).abs() < 1e-15);
        let springs = 1.0 / (0.15 / 40.0 + 1.0 / 400.0);
        assert!((r.stiffness_n_per_mm.unwrap() / springs - 1.0).abs() < 1e-14);
        let nodes = [Vec3::z() * 2.5, Vec3::z() * -2.5];
        let c = case(vec![(0, Vec3::x() * 10.0), (1, Vec3::x() * -10.0)]);
        let block = Some(Vec3::y() * 0.02);
        let r = load_response(&c, &nodes, &[at; 2], block, at, series);
        let turn = 0.02f64.to_degrees() + 50.0 / 5000.0;
        assert!((r.rotation_deg.unwrap() - turn).abs() < 1e-14);
    }

    #[test]
    fn a_four_point_bend_travels_as_its_noses_seen_from_its_supports() {
        // Noses of 10 N move 0.3 and 0.5 mm down, the supports give way by 0.1: 0.3 mm, whatever the whole moves by.
        let down = |f: f64| -Vec3::x() * f;
        let forces = [10.0, 10.0, -10.0, -10.0];
        let forces = (0..4).map(|n| (n as u32, down(forces[n])));
        let bend = bicolumn_model::FourPointBend {
            force_n: 20.0,
            noses_on: bicolumn_response::Aspect::Anterior,
            noses_mm: [60.0, 140.0],
            supports_mm: [0.0, 200.0],
            contact_mm: 4.0,
        };
        let c = LoadCase {
            bend: Some(bend),
            ..case(forces.collect())
        };
        let u = [0.3, 0.5, 0.1, 0.1].map(|d| down(d + 7.0));
        let at = Vec3::zeros();
        let r = load_response(&c, &[at; 4], &u, Some(at), at, SeriesCompliance::default());
        assert!((r.displacement_mm.unwrap() - 0.3).abs() < 1e-13);
        let formula = 20.0 / 0.3 * 60.0 * 60.0 * (120.0 + 240.0) / 12.0;
        assert!((r.bending_rigidity_nmm2.unwrap() / formula - 1.0).abs() < 1e-13);
        assert_eq!(r.rotation_deg, None);
    }

    #[test]
    fn the_force_of_a_support_at_the_joint_is_no_load() {
        // 10 N applied at a node that moves 0.2 mm, a reaction at one that the support holds.
        let c = case(vec![(0, Vec3::y() * 10.0)]).with_reactions([(1, Vec3::x() * 7.0)]);
        let u = [Vec3::y() * 0.2, Vec3::zeros()];
        let at = Vec3::zeros();
        let r = load_response(&c, &[at; 2], &u, None, at, SeriesCompliance::default());
        assert!((r.stiffness_n_per_mm.unwrap() - 50.0).abs() < 1e-12);
    }
}
