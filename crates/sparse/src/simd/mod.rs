//! Arithmetic in the processor's vectors: kernels of small blocks, lanes, vectors of all right-hand sides side by side.

pub mod columns;
pub mod kernel;
pub mod lanes;
