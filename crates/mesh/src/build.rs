//! From blueprint to mesh: lattice, cuts, improvement, gates, ten nodes; with a ladder of retries.

use crate::axes::snap_to_axes;
use crate::candidate::Candidate;
use crate::complex::{Complex, REMOVED};
use crate::curved_edges::{split_after_improvement, split_before_improvement};
use crate::cut::{Cutter, settle_provenance};
use crate::gates::pass;
use crate::improve::improve;
use crate::islands::remove_islands;
use crate::lattice::{LatticeTask, lattice};
use crate::manifold::repair_non_manifold;
use crate::order::renumber;
use crate::promote::promote;
use crate::surfaces::Surfaces;
use crate::{
    Blueprint, Fallback, GateFault, Label, LatticePose, MeshError, MeshStages, Quality, TetMesh,
};
use bicolumn_base::{Part, Vec3};
use std::cmp::Reverse;
use std::time::Instant;

/// Least dihedral angle below which another lattice is tried.
const GOOD_DIHEDRAL_DEG: f64 = 20.0;

/// Lattices of the size asked for that are tried before a finer one.
const OWN_SIZE_ATTEMPTS: usize = 4;

/// Quality of a sound mesh.
const LEAST_DIHEDRAL_DEG: f64 = 10.0;
const LEAST_RADIUS_RATIO: f64 = 0.1;
const WORST_SURFACE_ERROR_MM: f64 = 1e-6;

/// Islands below this share of a finest cell's volume are crumbs.
const ISLAND_SHARE: f64 = 0.4;

/// A midside node is not moved farther than this share of its edge.
const LARGEST_SAGITTA_SHARE: f64 = 0.5;

/// One rung of the ladder.
struct Attempt {
    fallback: Fallback,
    pose: LatticePose,
    /// Factor on all sizes.
    scale: f64,
}

/// Meshes a blueprint.
///
/// When a gate fails or a dihedral angle is below 20 degrees, tries again with the lattice shifted by
/// once, twice, three times (0.31, 0.17, 0.43) finest cells and takes the best. When none is sound (least
/// angle 10 degrees, radius ratio 0.1, no pinched edge, corners on their surfaces), tries with all sizes
/// times 0.8. `quality.fallback` says which was taken. If none is sound the mesh that passed all gates with
/// fewest pinched edges, corners on their surfaces and the largest least angle is returned: its quality table shows what is wrong
/// with it. The result depends on the blueprint alone, bit for bit.
///
/// # Errors
/// [`MeshError::Gate`] when no attempt gave a valid mesh (the first one's reason),
/// [`MeshError::TooManySurfaces`] above 127 surfaces.
pub fn build(blueprint: &Blueprint<'_>) -> Result<TetMesh, MeshError> {
    let surfaces = Surfaces::new(&blueprint.surfaces)?;
    let start = blueprint.pose.shift_mm;
    let shifted = |times: usize| {
        let shares = [0.31, 0.17, 0.43].map(|s| s * times as f64 * blueprint.finest_mm);
        [0, 1, 2].map(|i| start[i] + shares[i])
    };
    let own_size = |times: usize| Attempt {
        fallback: match times {
            0 => Fallback::None,
            _ => Fallback::ShiftedLattice,
        },
        pose: LatticePose {
            shift_mm: shifted(times),
            ..blueprint.pose
        },
        scale: 1.0,
    };
    let finer = Attempt {
        fallback: Fallback::FinerLattice,
        pose: blueprint.pose,
        scale: 0.8,
    };
    let mut best = own_size(0).mesh(blueprint, &surfaces);
    if best.as_ref().is_ok_and(|m| is_good(&m.quality)) {
        return best;
    }
    let shifted = (1..OWN_SIZE_ATTEMPTS).map(own_size);
    for (attempt, made) in shifted.chain([finer]).zip(2..) {
        if let Ok(mesh) = attempt.mesh(blueprint, &surfaces) {
            if is_good(&mesh.quality) {
                return Ok(mesh);
            }
            if best.as_ref().map_or(true, |b| rank(&mesh) > rank(b)) {
                best = Ok(mesh);
            }
        }
        if made >= OWN_SIZE_ATTEMPTS && best.as_ref().is_ok_and(|b| is_sound(&b.quality)) {
            break;
        }
    }
    best
}

/// Order of meshes by quality: sound first, then fewest non-manifold edges, corners on their surfaces, the largest
/// least angle.
fn rank(mesh: &TetMesh) -> (bool, Reverse<usize>, bool, f64) {
    let q = &mesh.quality;
    (
        is_sound(q),
        Reverse(q.non_manifold_edges),
        q.surface_error_mm <= WORST_SURFACE_ERROR_MM,
        q.min_dihedral_deg,
    )
}

/// Worth no further try.
fn is_good(q: &Quality) -> bool {
    is_sound(q) && q.min_dihedral_deg >= GOOD_DIHEDRAL_DEG
}

/// Fit for use.
fn is_sound(q: &Quality) -> bool {
    q.min_dihedral_deg >= LEAST_DIHEDRAL_DEG
        && q.min_radius_ratio >= LEAST_RADIUS_RATIO
        && q.non_manifold_edges == 0
        && q.surface_error_mm <= WORST_SURFACE_ERROR_MM
}

impl Attempt {
    fn mesh(&self, plan: &Blueprint<'_>, surfaces: &Surfaces<'_>) -> Result<TetMesh, MeshError> {
        let mut stages = MeshStages::default();
        let mut clock = Instant::now();
        let mut lap = || {
            let now = Instant::now();
            (now - std::mem::replace(&mut clock, now)).as_secs_f64()
        };

        let finest_mm = plan.finest_mm * self.scale;
        let lattice = lattice(&LatticeTask {
            bounds: plan.bounds,
            material: &*plan.material,
            size: &|x| (plan.size)(x) * self.scale,
            finest_mm,
            levels: plan.levels,
            pose: self.pose,
        });
        let mut mesh = Complex::new(lattice.vertices.clone(), lattice.tets.clone());
        snap_to_axes(&mut mesh, &plan.axes, finest_mm);
        stages.lattice_s = lap();

        let mut cutter = Cutter::new(&mut mesh, surfaces, &lattice);
        for step in &plan.steps {
            cutter.cut(step);
        }
        if cutter.count.astride > 0 {
            return Err(MeshError::Gate(GateFault::Straddling {
                tets: cutter.count.astride,
            }));
        }
        let part_of = |label: u8| plan.parts.get(label as usize).copied().flatten();
        replace_labels(&mut mesh, |l| part_of(l).is_none(), Label::VOID.0);
        repair_non_manifold(&mut mesh);
        replace_labels(&mut mesh, |l| l == Label::VOID.0, REMOVED);
        mesh.compact();
        let table = remove_islands(&mut mesh, ISLAND_SHARE * finest_mm.powi(3));
        settle_provenance(&mut mesh, surfaces, &table);
        stages.cut_s = lap();

        split_before_improvement(&mut mesh, surfaces);
        improve(&mut mesh, surfaces, finest_mm, lattice.block_mm);
        split_after_improvement(&mut mesh, surfaces);
        mesh.compact();
        stages.improve_s = lap();

        let (straight, findings) = pass(
            candidate(mesh, part_of),
            surfaces,
            &plan.bodies,
            &*plan.may_bound,
        )?;
        let mut out = promote(
            straight,
            |ends, on| sagitta(surfaces, ends, on),
            Some(&|on, x| surfaces.project(on, x)),
        );
        findings.write_to(&mut out.quality);
        out.quality.fallback = self.fallback;
        stages.promote_s = lap();
        out.stages = stages;
        Ok(out)
    }
}

fn replace_labels(mesh: &mut Complex, is_dropped: impl Fn(u8) -> bool, to: u8) {
    for label in mesh.label.iter_mut().filter(|l| is_dropped(**l)) {
        *label = to;
    }
}

/// The improved complex, numbered for locality, with parts for labels.
fn candidate(mesh: Complex, part_of: impl Fn(u8) -> Option<Part>) -> Candidate {
    let Complex {
        mut position,
        mut on,
        mut tets,
        mut label,
        ..
    } = mesh;
    renumber(&mut position, &mut on, &mut tets, &mut label);
    // Labels without a part were removed before improvement.
    let part = label.iter().filter_map(|l| part_of(*l)).collect();
    Candidate {
        position,
        on,
        tets,
        part,
    }
}

/// Where the midside node of an edge belongs that lies on the given surfaces.
fn sagitta(surfaces: &Surfaces<'_>, ends: [Vec3; 2], on: u128) -> Option<Vec3> {
    let middle = 0.5 * (ends[0] + ends[1]);
    let place = surfaces.project(on, middle)?;
    let near = (place - middle).norm() < LARGEST_SAGITTA_SHARE * (ends[1] - ends[0]).norm();
    near.then_some(place)
}
