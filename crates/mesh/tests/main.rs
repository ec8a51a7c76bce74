//! The mesher's tests, in one program.
#![allow(clippy::unwrap_used, clippy::print_stdout, clippy::print_stderr)]

#[path = "support/coarse.rs"]
#[allow(dead_code)] // the measuring programs use all of it
mod coarse;
#[path = "support/designs.rs"]
#[allow(dead_code)] // the measuring programs use all of it
mod designs;
#[path = "support/figures.rs"]
#[allow(dead_code)] // the measuring programs use all of it
mod figures;
mod fractures;
mod hundred_designs;
mod imported;
#[path = "support/random.rs"]
#[allow(dead_code)] // the measuring programs use all of it
mod random;
mod random_designs;
mod screws;
mod sizes;
mod tube;
#[path = "support/tube_scene.rs"]
#[allow(dead_code)] // the measuring programs use all of it
mod tube_scene;
#[path = "support/volumes.rs"]
#[allow(dead_code)] // the measuring programs use all of it
mod volumes;
