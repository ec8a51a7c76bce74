//! Parquet tables of numbers and text, written and read.
//!
//! Apache Parquet's own crate does both; compressed pages are read where they are snappy or gzip.

use parquet::basic::{Compression, LogicalType, Repetition, Type as Physical};
use parquet::data_type::{ByteArray, ByteArrayType, DoubleType};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::reader::{FileReader, SerializedFileReader};
use parquet::file::writer::SerializedFileWriter;
use parquet::record::Field;
use parquet::schema::types::Type;
use std::fs::File;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

/// Cells of a column; an empty one is null in the file.
#[derive(Debug, Clone, PartialEq)]
pub enum ColumnCells {
    /// Numbers, stored in double precision.
    Numbers(Vec<Option<f64>>),
    /// Text, stored as UTF-8.
    Text(Vec<Option<String>>),
}

/// A Parquet file of columns of equal length, one row group, in memory.
///
/// # Errors
/// Columns of unequal length.
pub fn write_parquet(columns: &[(&str, ColumnCells)]) -> Result<Vec<u8>, ParquetError> {
    let fields = columns.iter().map(|(name, cells)| {
        let of = match cells {
            ColumnCells::Numbers(_) => Type::primitive_type_builder(name, Physical::DOUBLE),
            ColumnCells::Text(_) => Type::primitive_type_builder(name, Physical::BYTE_ARRAY)
                .with_logical_type(Some(LogicalType::String)),
        };
        of.with_repetition(Repetition::OPTIONAL)
            .build()
            .map(Arc::new)
    });
    let fields = fields.collect::<Result<Vec<_>, _>>()?;
    let schema = Type::group_type_builder("table")
        .with_fields(fields)
        .build()?;
    let properties = WriterProperties::builder()
        .set_compression(Compression::SNAPPY)
        .build();
    let mut writer = SerializedFileWriter::new(Vec::new(), Arc::new(schema), Arc::new(properties))?;
    let mut group = writer.next_row_group()?;
    for (_, cells) in columns {
        let Some(mut column) = group.next_column()? else {
            break;
        };
        // A definition level of 1 is a value, 0 a null.
        match cells {
            ColumnCells::Numbers(cells) => {
                let levels: Vec<i16> = cells.iter().map(|c| i16::from(c.is_some())).collect();
                let values: Vec<f64> = cells.iter().flatten().copied().collect();
                let typed = column.typed::<DoubleType>();
                typed.write_batch(&values, Some(&levels), None)?;
            }
            ColumnCells::Text(cells) => {
                let levels: Vec<i16> = cells.iter().map(|c| i16::from(c.is_some())).collect();
                let cells = cells.iter().flatten();
                let values: Vec<ByteArray> = cells.map(|c| c.as_str().into()).collect();
                let typed = column.typed::<ByteArrayType>();
                typed.write_batch(&values, Some(&levels), None)?;
            }
        }
        column.close()?;
    }
    group.close()?;
    writer.into_inner()
}

/// Names of the columns of a Parquet file, and its rows: each cell as CSV would have it, a null as an empty one.
///
/// # Errors
/// The reason, for what is no Parquet file, a damaged one, or a column that holds neither numbers, text nor flags.
pub fn read_parquet(file: File) -> Result<(Vec<String>, Vec<Vec<String>>), String> {
    // The crate panics on some damaged files.
    catch_unwind(AssertUnwindSafe(|| rows_of(file)))
        .unwrap_or_else(|_| Err("it is damaged".to_owned()))
}

fn rows_of(file: File) -> Result<(Vec<String>, Vec<Vec<String>>), String> {
    let told = |e: ParquetError| e.to_string();
    let reader = SerializedFileReader::new(file).map_err(told)?;
    let schema = reader.metadata().file_metadata().schema_descr();
    let head: Vec<String> = (0..schema.num_columns())
        .map(|c| schema.column(c).path().parts().join("."))
        .collect();
    let mut rows = Vec::new();
    for row in reader.get_row_iter(None).map_err(told)? {
        let row = row.map_err(told)?;
        let cells = row.get_column_iter().map(|(name, field)| {
            cell(field).ok_or_else(|| {
                format!("its column {name} holds neither numbers, text nor true and false")
            })
        });
        rows.push(cells.collect::<Result<Vec<_>, _>>()?);
    }
    Ok((head, rows))
}

fn cell(field: &Field) -> Option<String> {
    Some(match field {
        Field::Null => String::new(),
        Field::Bool(b) => b.to_string(),
        Field::Byte(n) => n.to_string(),
        Field::Short(n) => n.to_string(),
        Field::Int(n) => n.to_string(),
        Field::Long(n) => n.to_string(),
        Field::UByte(n) => n.to_string(),
        Field::UShort(n) => n.to_string(),
        Field::UInt(n) => n.to_string(),
        Field::ULong(n) => n.to_string(),
        Field::Float(x) => x.to_string(),
        Field::Double(x) => x.to_string(),
        Field::Str(s) => s.clone(),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    fn read(bytes: &[u8]) -> Result<(Vec<String>, Vec<Vec<String>>), String> {
        let mut file = tempfile::tempfile().unwrap();
        file.write_all(bytes).unwrap();
        read_parquet(file)
    }

    fn table() -> Vec<u8> {
        let text = |s: &str| Some(s.to_owned());
        let columns = [
            (
                "point",
                ColumnCells::Text(vec![text("p001"), text("p002"), None]),
            ),
            (
                "plates.stagger_mm",
                ColumnCells::Numbers(vec![Some(-26.0), None, Some(1.0 / 3.0)]),
            ),
        ];
        write_parquet(&columns).unwrap()
    }

    #[test]
    fn a_table_comes_back_with_its_nulls() {
        let (head, rows) = read(&table()).unwrap();
        assert_eq!(head, ["point", "plates.stagger_mm"]);
        let third = (1.0_f64 / 3.0).to_string();
        assert_eq!(rows, [["p001", "-26"], ["p002", ""], ["", third.as_str()]]);
    }

    #[test]
    fn the_same_table_gives_the_same_bytes() {
        assert_eq!(table(), table());
    }

    #[test]
    fn cut_and_changed_files_are_refused_or_read() {
        let good = table();
        let mut refused = 0;
        for n in 0..good.len() {
            let mut bad = good.clone();
            bad[n] ^= 0x55;
            refused += usize::from(read(&bad).is_err()) + usize::from(read(&good[..n]).is_err());
        }
        assert!(refused > good.len(), "{refused} of {}", 2 * good.len());
        assert!(read(b"point,case\n").is_err());
    }

    #[test]
    fn columns_of_unequal_length_are_refused() {
        let one = ColumnCells::Numbers(vec![Some(1.0)]);
        let two = ColumnCells::Numbers(vec![Some(1.0), Some(2.0)]);
        assert!(write_parquet(&[("a", one), ("b", two)]).is_err());
    }
}
