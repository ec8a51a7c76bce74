//! Writing a `.vtu` file.

use crate::data_array::{VtuError, encode_inline};
use crate::grid::{Field, Grid, Values};
use crate::xml::escape;
use std::io::Write;

/// Writes a grid as a VTK XML unstructured grid, file version 1.0, inline base64, zlib blocks.
///
/// The same grid gives the same bytes. To write a file so that a reader never sees half of it, write
/// to memory first and store the bytes atomically.
///
/// # Errors
/// [`VtuError::Inconsistent`] when lengths or node numbers do not fit, [`VtuError::Write`] when
/// `out` refuses.
pub fn write_vtu(out: &mut impl Write, grid: &Grid) -> Result<(), VtuError> {
    if let Some(reason) = grid.inconsistency() {
        return Err(VtuError::Inconsistent(reason));
    }
    write_all(out, grid).map_err(VtuError::Write)
}

fn write_all(out: &mut impl Write, grid: &Grid) -> std::io::Result<()> {
    writeln!(out, "<?xml version=\"1.0\"?>")?;
    writeln!(
        out,
        "<VTKFile type=\"UnstructuredGrid\" version=\"1.0\" byte_order=\"LittleEndian\" \
         header_type=\"UInt64\" compressor=\"vtkZLibDataCompressor\">"
    )?;
    writeln!(out, "<UnstructuredGrid>")?;
    writeln!(
        out,
        "<Piece NumberOfPoints=\"{}\" NumberOfCells=\"{}\">",
        grid.points.len(),
        grid.kinds.len()
    )?;

    writeln!(out, "<Points>")?;
    write_array(out, &Field::vectors("Points", &grid.points))?;
    writeln!(out, "</Points>")?;

    writeln!(out, "<Cells>")?;
    let connectivity = grid.connectivity.iter().map(|&n| i64::from(n)).collect();
    write_array(
        out,
        &Field::scalar("connectivity", Values::I64(connectivity)),
    )?;
    let offsets = grid
        .kinds
        .iter()
        .scan(0, |end, kind| {
            *end += kind.node_count() as i64;
            Some(*end)
        })
        .collect();
    write_array(out, &Field::scalar("offsets", Values::I64(offsets)))?;
    let types = grid.kinds.iter().map(|k| k.vtk_type()).collect();
    write_array(out, &Field::scalar("types", Values::U8(types)))?;
    writeln!(out, "</Cells>")?;

    for (element, fields) in [
        ("PointData", &grid.point_data),
        ("CellData", &grid.cell_data),
    ] {
        if !fields.is_empty() {
            writeln!(out, "<{element}>")?;
            for field in fields {
                write_array(out, field)?;
            }
            writeln!(out, "</{element}>")?;
        }
    }
    writeln!(out, "</Piece>\n</UnstructuredGrid>\n</VTKFile>")
}

fn write_array(out: &mut impl Write, field: &Field) -> std::io::Result<()> {
    write!(
        out,
        "<DataArray type=\"{}\" Name=\"{}\"",
        field.values.number_type().name(),
        escape(&field.name),
    )?;
    // Readers turn "1" into a column matrix; without it a scalar is a plain list.
    if field.components > 1 {
        write!(out, " NumberOfComponents=\"{}\"", field.components)?;
    }
    writeln!(out, " format=\"binary\">")?;
    writeln!(out, "{}", encode_inline(&field.values.to_bytes())?)?;
    writeln!(out, "</DataArray>")
}
