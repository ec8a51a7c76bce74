//! The examples print what their headers promise.

#![allow(clippy::unwrap_used, dead_code)]

#[path = "../examples/bar_in_tension.rs"]
mod bar_in_tension;
#[path = "../examples/one_construct.rs"]
mod one_construct;
#[path = "../examples/one_study.rs"]
mod one_study;
#[path = "../examples/plate_with_hole.rs"]
mod plate_with_hole;
#[path = "../examples/sphere_on_flat.rs"]
mod sphere_on_flat;

fn is_within(found: f64, exact: f64, share: f64) -> bool {
    (found - exact).abs() <= share * exact.abs()
}

/// The field is linear: off by the solver's tolerance only.
#[test]
fn a_bar_stretches_by_stress_times_length_over_modulus() {
    let e = bar_in_tension::elongation().unwrap();
    assert!(
        is_within(e.computed_mm, e.exact_mm, 1e-6),
        "{}",
        e.computed_mm
    );
}

/// 2 %, as in `tests/published/kirsch_1898_hole.rs`: recovery is one-sided at the hole.
#[test]
fn a_hole_triples_the_stress_beside_it() {
    let f = plate_with_hole::factor().unwrap();
    assert!(is_within(f.computed, f.exact, 0.02), "{}", f.computed);
}

/// 4 %, as in `tests/published/hertz_1882_sphere_and_cylinder.rs`: three to four facets a radius.
#[test]
fn a_sphere_touches_over_hertz_s_radius() {
    let r = sphere_on_flat::radius().unwrap();
    assert!(
        is_within(r.computed_mm, r.exact_mm, 0.04),
        "{}",
        r.computed_mm
    );
}

/// Statics, to the solver's tolerance.
#[test]
fn a_construct_is_in_equilibrium() {
    let n = one_construct::numbers().unwrap();
    assert!(is_within(n.reaction_n, n.load_n, 1e-6), "{}", n.reaction_n);
    assert!(is_within(n.shares, 1.0, 1e-6), "{}", n.shares);
    assert!(n.share_of_bone.abs() < 1e-6, "{}", n.share_of_bone);
}

/// Linearity, to the solver's tolerance.
#[test]
fn twice_the_load_moves_the_joint_twice_as_far() {
    let folder = tempfile::tempdir().unwrap();
    let t = one_study::table(folder.path()).unwrap();
    let ratio = t.displacement_mm[1] / t.displacement_mm[0];
    assert!(is_within(ratio, 2.0, 1e-6), "{ratio}");
    let ratio = t.stiffness_n_per_mm[1] / t.stiffness_n_per_mm[0];
    assert!(is_within(ratio, 1.0, 1e-6), "{ratio}");
}
