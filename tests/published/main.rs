//! Published cases, one file each, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

mod bolted_joint_stiffness;
mod cattaneo_1938_partial_slip;
mod cook_1974_membrane;
mod cowper_1966_cantilever;
mod hertz_1882_sphere_and_cylinder;
mod hollow_shaft_beam_theory;
mod howland_1930_strip_with_hole;
mod kirsch_1898_hole;
mod lame_1852_press_fit;
mod lame_1852_thick_cylinder;
mod macneal_harder_1985_patch;
mod manufactured_solution;
mod nafems_le10_thick_plate;
mod nafems_le1_elliptic_membrane;
mod saint_venant_1855_rectangle;
#[path = "../../crates/contact/tests/support/mod.rs"]
mod support;
