//! Structured ten-node meshes of simple bodies.

pub mod block;
pub mod elliptic_quarter;
pub mod holed_plate;
pub mod tube;

pub use block::Block;
