//! VTK unstructured-grid files (`.vtu`) and Parquet tables, written and read.
//!
//! Door: [`Grid`], [`write_vtu`], [`read_vtu`]. The writer makes inline base64 with zlib blocks, which
//! every VTK reader opens; the reader also takes ASCII and appended raw data, so that a grid that
//! came back from another tool can be compared. Tables: [`write_parquet`], [`read_parquet`].
//!
//! # Known limits
//! Four cell types (three-node and six-node triangle, four-node and ten-node tetrahedron), one piece
//! per file, little-endian data.

#![cfg_attr(test, allow(clippy::unwrap_used))]

pub mod data_array;
pub mod grid;
pub mod parquet_table;
pub mod vtu_read;
pub mod vtu_write;
pub mod xml;

pub use data_array::VtuError;
pub use grid::{CellKind, Field, Grid, Values};
pub use parquet_table::{ColumnCells, read_parquet, write_parquet};
pub use vtu_read::{parse_vtu, read_vtu};
pub use vtu_write::write_vtu;
