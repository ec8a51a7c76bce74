//! Reading a `.vtu` file: inline base64 or ASCII arrays, or raw appended data.

use crate::data_array::{NumberType, Packing, VtuError};
use crate::grid::{CellKind, Field, Grid, Values};
use crate::xml::{Tag, find, next_tag};
use bicolumn_base::Vec3;
use std::path::Path;

/// Reads a grid from a file.
///
/// # Errors
/// [`VtuError`]; a damaged or foreign file is an error, never a panic.
pub fn read_vtu(path: &Path) -> Result<Grid, VtuError> {
    let bytes = std::fs::read(path).map_err(|source| VtuError::Io {
        path: path.to_path_buf(),
        source,
    })?;
    parse_vtu(&bytes)
}

/// Reads a grid from the bytes of a file.
///
/// # Errors
/// As [`read_vtu`].
pub fn parse_vtu(bytes: &[u8]) -> Result<Grid, VtuError> {
    let mut reader = Reader {
        bytes,
        packing: Packing {
            header_bytes: 4,
            zlib: false,
        },
        appended: None,
    };
    reader.read()
}

struct Reader<'a> {
    bytes: &'a [u8],
    packing: Packing,
    /// Where raw appended data start.
    appended: Option<usize>,
}

impl Reader<'_> {
    fn read(&mut self) -> Result<Grid, VtuError> {
        let malformed = |what: &str| VtuError::Malformed(what.to_string());
        let file = next_tag(self.bytes, 0)?
            .filter(|t| t.name == "VTKFile")
            .ok_or_else(|| malformed("it does not begin with <VTKFile>"))?;
        self.read_file_header(&file)?;
        self.find_appended()?;

        let (mut points, mut cells): (Option<Field>, Vec<Field>) = (None, Vec::new());
        let (mut point_data, mut cell_data) = (Vec::new(), Vec::new());
        let (mut point_count, mut cell_count) = (0, 0);
        let mut section = String::new();
        let (mut pieces, mut complete) = (0, false);
        let mut at = file.end;
        while let Some(tag) = next_tag(self.bytes, at)? {
            at = tag.end;
            match tag.name {
                "Piece" => {
                    pieces += 1;
                    if pieces > 1 {
                        return Err(VtuError::Unsupported("more than one piece".into()));
                    }
                    point_count = tag.number("NumberOfPoints")?;
                    cell_count = tag.number("NumberOfCells")?;
                }
                "Points" | "Cells" | "PointData" | "CellData" if !tag.closed => {
                    section = tag.name.to_string();
                }
                "/Piece" => complete = true,
                "/Points" | "/Cells" | "/PointData" | "/CellData" => section.clear(),
                "AppendedData" | "/VTKFile" => break,
                "DataArray" => {
                    let tuples = match section.as_str() {
                        "Points" | "PointData" => Some(point_count),
                        "CellData" => Some(cell_count),
                        "Cells" if tag.get("Name") != Some("connectivity") => Some(cell_count),
                        "Cells" => None,
                        _ => continue,
                    };
                    let field = self.read_array(&tag, tuples)?;
                    match section.as_str() {
                        "Points" => points = Some(field),
                        "Cells" => cells.push(field),
                        "PointData" => point_data.push(field),
                        _ => cell_data.push(field),
                    }
                }
                _ => {}
            }
        }
        if pieces == 0 {
            return Err(malformed("it holds no <Piece>"));
        }
        // A file cut between two arrays must not pass for one that has fewer of them.
        if !complete {
            return Err(malformed("it is cut off"));
        }
        let points = points.ok_or_else(|| malformed("it holds no points"))?;
        if points.components != 3 {
            return Err(malformed("its points do not have three coordinates"));
        }
        let (kinds, connectivity) = assemble_cells(&cells)?;
        let grid = Grid {
            points: points
                .values
                .to_f64()
                .chunks_exact(3)
                .map(|p| Vec3::new(p[0], p[1], p[2]))
                .collect(),
            kinds,
            connectivity,
            point_data,
            cell_data,
        };
        match grid.inconsistency() {
            None => Ok(grid),
            Some(reason) => Err(VtuError::Malformed(reason)),
        }
    }

    fn read_file_header(&mut self, file: &Tag<'_>) -> Result<(), VtuError> {
        if file.get("type") != Some("UnstructuredGrid") {
            return Err(VtuError::Unsupported(format!(
                "file type \"{}\"; it must be UnstructuredGrid",
                file.get("type").unwrap_or("")
            )));
        }
        if file.get("byte_order").is_some_and(|o| o != "LittleEndian") {
            return Err(VtuError::Unsupported("big-endian data".into()));
        }
        self.packing.header_bytes = match file.get("header_type") {
            None | Some("UInt32") => 4,
            Some("UInt64") => 8,
            Some(other) => {
                return Err(VtuError::Unsupported(format!("header type \"{other}\"")));
            }
        };
        self.packing.zlib = match file.get("compressor") {
            None | Some("") => false,
            Some("vtkZLibDataCompressor") => true,
            Some(other) => {
                return Err(VtuError::Unsupported(format!("compressor \"{other}\"")));
            }
        };
        Ok(())
    }

    fn find_appended(&mut self) -> Result<(), VtuError> {
        let Some(start) = find(self.bytes, b"<AppendedData", 0) else {
            return Ok(());
        };
        let cut = || VtuError::Malformed("its appended data have no beginning".into());
        let tag = next_tag(self.bytes, start)?.ok_or_else(cut)?;
        if tag.get("encoding") != Some("raw") {
            return Err(VtuError::Unsupported(
                "appended data in another encoding than raw".into(),
            ));
        }
        self.appended = Some(find(self.bytes, b"_", tag.end).ok_or_else(cut)? + 1);
        Ok(())
    }

    /// Reads one array; `tuples` is how many it must hold, where the piece says so.
    fn read_array(&self, tag: &Tag<'_>, tuples: Option<usize>) -> Result<Field, VtuError> {
        let name = tag.get("Name").unwrap_or("").to_string();
        let damaged = |reason: String| VtuError::Damaged {
            array: name.clone(),
            reason,
        };
        let components = match tag.get("NumberOfComponents") {
            None => 1,
            Some(_) => tag.number("NumberOfComponents")?,
        };
        let type_name = tag.get("type").unwrap_or("");
        let (number_type, unsigned_32) = match type_name {
            "UInt32" => (NumberType::Int32, true),
            "UInt64" => (NumberType::Int64, false),
            other => (
                NumberType::from_name(other).ok_or_else(|| {
                    VtuError::Unsupported(format!("array \"{name}\" of type \"{other}\""))
                })?,
                false,
            ),
        };
        // Without a count (connectivity) the bound is the largest that the file could unpack to:
        // deflate never exceeds 1032 to 1.
        let expected = match tuples {
            Some(n) => n
                .checked_mul(components)
                .and_then(|n| n.checked_mul(number_type.size()))
                .ok_or_else(|| damaged("its size overflows".into()))?,
            None => self.bytes.len().saturating_mul(1032),
        };
        let text = || {
            let end = find(self.bytes, b"<", tag.end).unwrap_or(self.bytes.len());
            std::str::from_utf8(&self.bytes[tag.end..end])
                .map_err(|_| damaged("it is not text".into()))
        };
        let values = match tag.get("format") {
            Some("ascii") => ascii_values(text()?, number_type),
            Some("binary") => {
                let bytes = self
                    .packing
                    .decode_inline(text()?, expected)
                    .map_err(damaged)?;
                Values::from_bytes(number_type, &bytes)
            }
            Some("appended") => {
                let start = self
                    .appended
                    .and_then(|a| a.checked_add(tag.number("offset").ok()?))
                    .filter(|&s| s <= self.bytes.len())
                    .ok_or_else(|| damaged("its appended data are missing".into()))?;
                let bytes = self
                    .packing
                    .decode_raw(&self.bytes[start..], expected)
                    .map_err(damaged)?;
                Values::from_bytes(number_type, &bytes)
            }
            other => {
                return Err(VtuError::Unsupported(format!(
                    "array format \"{}\"",
                    other.unwrap_or("")
                )));
            }
        };
        let mut values = values.ok_or_else(|| damaged("its numbers are cut off".into()))?;
        if let (true, Values::I32(v)) = (unsigned_32, &values) {
            values = Values::I64(v.iter().map(|&x| i64::from(x as u32)).collect());
        }
        if tuples.is_some_and(|n| values.len() != n * components) {
            return Err(damaged(format!(
                "it holds {} numbers, {} were announced",
                values.len(),
                tuples.unwrap_or(0) * components
            )));
        }
        Ok(Field {
            name,
            components,
            values,
        })
    }
}

fn ascii_values(text: &str, kind: NumberType) -> Option<Values> {
    fn all<T: std::str::FromStr>(text: &str) -> Option<Vec<T>> {
        text.split_ascii_whitespace()
            .map(|t| t.parse().ok())
            .collect()
    }
    Some(match kind {
        NumberType::Float64 => Values::F64(all(text)?),
        NumberType::Float32 => Values::F32(all(text)?),
        NumberType::Int32 => Values::I32(all(text)?),
        NumberType::Int64 => Values::I64(all(text)?),
        NumberType::UInt8 => Values::U8(all(text)?),
    })
}

fn assemble_cells(arrays: &[Field]) -> Result<(Vec<CellKind>, Vec<u32>), VtuError> {
    let integers = |name: &str| {
        arrays
            .iter()
            .find(|f| f.name == name)
            .and_then(|f| f.values.to_i64())
            .ok_or_else(|| VtuError::Malformed(format!("its cells lack the integers \"{name}\"")))
    };
    let (connectivity, offsets, types) = (
        integers("connectivity")?,
        integers("offsets")?,
        integers("types")?,
    );
    if types.len() != offsets.len() {
        return Err(VtuError::Malformed(
            "its cells have unequal numbers of types and offsets".into(),
        ));
    }
    let kinds = types
        .iter()
        .map(|&t| {
            u8::try_from(t)
                .ok()
                .and_then(CellKind::from_vtk_type)
                .ok_or_else(|| VtuError::Unsupported(format!("cell type {t}")))
        })
        .collect::<Result<Vec<_>, _>>()?;
    let mut end = 0;
    for (cell, (kind, &offset)) in kinds.iter().zip(&offsets).enumerate() {
        end += kind.node_count() as i64;
        if offset != end {
            return Err(VtuError::Malformed(format!(
                "cell {cell} ends at node entry {offset}, its type asks for {end}"
            )));
        }
    }
    let connectivity = connectivity
        .iter()
        .map(|&n| {
            u32::try_from(n)
                .map_err(|_| VtuError::Malformed(format!("{n} is no possible node number")))
        })
        .collect::<Result<Vec<_>, _>>()?;
    Ok((kinds, connectivity))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::vtu_write::write_vtu;

    fn sample() -> Grid {
        // One ten-node tetrahedron with straight edges and one triangle on its base.
        let corners = [
            Vec3::zeros(),
            Vec3::x(),
            Vec3::y(),
            Vec3::z() * 1.0e-7 + Vec3::z(),
        ];
        let mut points = corners.to_vec();
        for (a, b) in [(0, 1), (1, 2), (2, 0), (0, 3), (1, 3), (2, 3)] {
            points.push((corners[a] + corners[b]) / 2.0);
        }
        let mut grid = Grid::uniform(
            points,
            CellKind::QuadraticTetra,
            &[[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]],
        );
        grid.kinds.push(CellKind::Triangle);
        grid.connectivity.extend([0, 2, 1]);
        grid.cell_data = vec![
            Field::scalar("material", Values::I32(vec![1, -2])),
            Field::scalar("long", Values::I64(vec![i64::MAX, -1])),
        ];
        grid.point_data = vec![
            Field::vectors("displacement_<axial> & more", &grid.points.clone()),
            Field::scalar(
                "mises",
                Values::F32((0..10).map(|i| i as f32 / 3.0).collect()),
            ),
        ];
        grid
    }

    fn written(grid: &Grid) -> Vec<u8> {
        let mut bytes = Vec::new();
        write_vtu(&mut bytes, grid).unwrap();
        bytes
    }

    #[test]
    fn what_is_written_is_read_back_bit_for_bit() {
        let grid = sample();
        assert_eq!(parse_vtu(&written(&grid)).unwrap(), grid);
        assert_eq!(written(&grid), written(&grid));
    }

    #[test]
    fn an_empty_grid_is_a_grid() {
        let grid = Grid::default();
        assert_eq!(parse_vtu(&written(&grid)).unwrap(), grid);
    }

    #[test]
    fn ascii_and_raw_appended_arrays_are_read() {
        let ascii = br#"<VTKFile type="UnstructuredGrid" version="0.1"><UnstructuredGrid>
            <Piece NumberOfPoints="3" NumberOfCells="1">
            <Points><DataArray type="Float32" Name="p" NumberOfComponents="3" format="ascii">
              0 0 0  1 0 0  0 1.5 0</DataArray></Points>
            <Cells><DataArray type="UInt32" Name="connectivity" format="ascii">0 1 2</DataArray>
            <DataArray type="Int32" Name="offsets" format="ascii">3</DataArray>
            <DataArray type="UInt8" Name="types" format="ascii">5</DataArray></Cells>
            </Piece></UnstructuredGrid></VTKFile>"#;
        let grid = parse_vtu(ascii).unwrap();
        assert_eq!(grid.points[2].y, 1.5);
        assert_eq!(grid.connectivity, [0, 1, 2]);

        let mut raw = br#"<VTKFile type="UnstructuredGrid" byte_order="LittleEndian"><UnstructuredGrid>
            <Piece NumberOfPoints="1" NumberOfCells="0">
            <Points><DataArray type="Float64" NumberOfComponents="3" format="appended" offset="0"/></Points>
            <Cells><DataArray type="Int32" Name="connectivity" format="ascii"></DataArray>
            <DataArray type="Int32" Name="offsets" format="ascii"></DataArray>
            <DataArray type="UInt8" Name="types" format="ascii"></DataArray></Cells>
            </Piece></UnstructuredGrid><AppendedData encoding="raw">_"#
            .to_vec();
        raw.extend(24u32.to_le_bytes());
        raw.extend([1.0f64, 2.0, 3.0].iter().flat_map(|x| x.to_le_bytes()));
        raw.extend(b"</AppendedData></VTKFile>");
        assert_eq!(parse_vtu(&raw).unwrap().points, [Vec3::new(1.0, 2.0, 3.0)]);
    }

    #[test]
    fn an_inconsistent_grid_is_not_written() {
        let mut grid = sample();
        grid.connectivity[3] = 99;
        let error = write_vtu(&mut Vec::new(), &grid).unwrap_err().to_string();
        assert!(error.contains("node 99"), "{error}");
        let mut grid = sample();
        grid.point_data[1].components = 2;
        let error = write_vtu(&mut Vec::new(), &grid).unwrap_err().to_string();
        assert!(error.contains("\"mises\""), "{error}");
    }

    #[test]
    fn damage_anywhere_is_an_error_or_a_grid_but_never_a_panic() {
        let good = written(&sample());
        for cut in 0..good.len() {
            if parse_vtu(&good[..cut]).is_ok() {
                // Only the closing tags may be missing.
                assert!(
                    find(&good, b"</Piece>", 0).unwrap() < cut + 12,
                    "cut at {cut}"
                );
            }
        }
        for at in 0..good.len() {
            for flip in [0x01, 0x20, 0x80] {
                let mut bad = good.clone();
                bad[at] ^= flip;
                let _ = parse_vtu(&bad);
            }
        }
    }
}
