//! The bytes of a VTK data array: little-endian numbers in zlib blocks behind a block table.
//!
//! Layout (VTK XML formats, "vtkZLibDataCompressor"): `[blocks, block size, last block size,
//! compressed size of each block]` as unsigned integers of the file's header type, then the blocks.
//! A last block size of zero means that the last block is a full one. Inline, the table and the
//! blocks are base64-encoded separately.

use crate::grid::Values;
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;
use std::io::{Read, Write};
use std::path::PathBuf;
use thiserror::Error;

/// Bytes of a block before compression.
const BLOCK_BYTES: usize = 1 << 18;

/// Why a grid could not be written or read.
#[derive(Debug, Error)]
pub enum VtuError {
    /// The file system refused.
    #[error("{path}: {source}", path = path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The system's reason.
        source: std::io::Error,
    },
    /// The sink refused while writing.
    #[error("writing the grid: {0}")]
    Write(std::io::Error),
    /// The grid to be written contradicts itself.
    #[error("the grid cannot be written: {0}")]
    Inconsistent(String),
    /// The text is not the XML that a `.vtu` file should hold.
    #[error("not a readable VTK unstructured grid: {0}")]
    Malformed(String),
    /// A data array does not hold what its header promises.
    #[error("data array \"{array}\" is damaged: {reason}")]
    Damaged {
        /// Name of the array.
        array: String,
        /// Reason of the refusal.
        reason: String,
    },
    /// Valid VTK, but beyond what this reader takes.
    #[error("not supported: {0}")]
    Unsupported(String),
}

/// Number types of VTK arrays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
#[allow(missing_docs)]
pub enum NumberType {
    Float64,
    Float32,
    Int32,
    Int64,
    UInt8,
}

impl NumberType {
    /// VTK's word for it.
    pub fn name(self) -> &'static str {
        match self {
            NumberType::Float64 => "Float64",
            NumberType::Float32 => "Float32",
            NumberType::Int32 => "Int32",
            NumberType::Int64 => "Int64",
            NumberType::UInt8 => "UInt8",
        }
    }

    /// The type of that name. `UInt32` and `UInt64` are taken as `Int64` by the reader.
    pub fn from_name(name: &str) -> Option<NumberType> {
        [
            NumberType::Float64,
            NumberType::Float32,
            NumberType::Int32,
            NumberType::Int64,
            NumberType::UInt8,
        ]
        .into_iter()
        .find(|t| t.name() == name)
    }

    /// Bytes of one number.
    pub fn size(self) -> usize {
        match self {
            NumberType::Float64 | NumberType::Int64 => 8,
            NumberType::Float32 | NumberType::Int32 => 4,
            NumberType::UInt8 => 1,
        }
    }
}

impl Values {
    /// VTK's number type of these values.
    pub fn number_type(&self) -> NumberType {
        match self {
            Values::F64(_) => NumberType::Float64,
            Values::F32(_) => NumberType::Float32,
            Values::I32(_) => NumberType::Int32,
            Values::I64(_) => NumberType::Int64,
            Values::U8(_) => NumberType::UInt8,
        }
    }

    /// Little-endian bytes.
    pub(crate) fn to_bytes(&self) -> Vec<u8> {
        match self {
            Values::F64(v) => v.iter().flat_map(|x| x.to_le_bytes()).collect(),
            Values::F32(v) => v.iter().flat_map(|x| x.to_le_bytes()).collect(),
            Values::I32(v) => v.iter().flat_map(|x| x.to_le_bytes()).collect(),
            Values::I64(v) => v.iter().flat_map(|x| x.to_le_bytes()).collect(),
            Values::U8(v) => v.clone(),
        }
    }

    /// Values from little-endian bytes; `None` if the length is no multiple of the number's size.
    pub(crate) fn from_bytes(kind: NumberType, bytes: &[u8]) -> Option<Values> {
        fn numbers<const N: usize, T>(bytes: &[u8], one: fn([u8; N]) -> T) -> Option<Vec<T>> {
            let (chunks, rest) = bytes.as_chunks::<N>();
            rest.is_empty()
                .then(|| chunks.iter().map(|c| one(*c)).collect())
        }
        Some(match kind {
            NumberType::Float64 => Values::F64(numbers(bytes, f64::from_le_bytes)?),
            NumberType::Float32 => Values::F32(numbers(bytes, f32::from_le_bytes)?),
            NumberType::Int32 => Values::I32(numbers(bytes, i32::from_le_bytes)?),
            NumberType::Int64 => Values::I64(numbers(bytes, i64::from_le_bytes)?),
            NumberType::UInt8 => Values::U8(bytes.to_vec()),
        })
    }
}

/// Compresses bytes into the text of an inline array (64-bit block table).
///
/// # Errors
/// Only if the compressor fails, which in memory it does not.
pub fn encode_inline(bytes: &[u8]) -> std::io::Result<String> {
    let mut table: Vec<u64> = vec![
        bytes.len().div_ceil(BLOCK_BYTES) as u64,
        BLOCK_BYTES as u64,
        (bytes.len() % BLOCK_BYTES) as u64,
    ];
    let mut blocks = Vec::new();
    for block in bytes.chunks(BLOCK_BYTES) {
        let before = blocks.len();
        let mut encoder = ZlibEncoder::new(&mut blocks, Compression::new(5));
        encoder.write_all(block)?;
        encoder.finish()?;
        table.push((blocks.len() - before) as u64);
    }
    let table_bytes: Vec<u8> = table.iter().flat_map(|n| n.to_le_bytes()).collect();
    Ok(STANDARD.encode(table_bytes) + &STANDARD.encode(blocks))
}

/// How a file packs its arrays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Packing {
    /// Bytes of a header integer: 4 (`UInt32`) or 8 (`UInt64`).
    pub header_bytes: usize,
    /// zlib blocks, or plain bytes behind their length?
    pub zlib: bool,
}

impl Packing {
    fn header_number(&self, bytes: &[u8], index: usize) -> Option<u64> {
        let part = bytes.get(index * self.header_bytes..(index + 1) * self.header_bytes)?;
        let mut wide = [0; 8];
        wide[..part.len()].copy_from_slice(part);
        Some(u64::from_le_bytes(wide))
    }

    /// Unpacks an inline base64 array. `expected` bounds the memory a damaged table can ask for.
    ///
    /// # Errors
    /// The reason, in words.
    pub fn decode_inline(&self, text: &str, expected: usize) -> Result<Vec<u8>, String> {
        let text: String = text.split_ascii_whitespace().collect();
        let decode = |t: &str| STANDARD.decode(t).map_err(|e| format!("base64: {e}"));
        if !self.zlib {
            return self.decode_raw(&decode(&text)?, expected);
        }
        // The table's own length is in its first number: decode just enough of it first.
        let first = text
            .get(..self.header_bytes.div_ceil(3) * 4)
            .ok_or("too short")?;
        let blocks = self
            .header_number(&decode(&first.replace('=', "A"))?, 0)
            .ok_or("too short")?;
        let table_text = usize::try_from(blocks)
            .ok()
            .and_then(|b| b.checked_add(3))
            .and_then(|n| n.checked_mul(self.header_bytes))
            .and_then(|bytes| bytes.div_ceil(3).checked_mul(4))
            .ok_or("its block table is impossibly long")?;
        if table_text > text.len() || !text.is_char_boundary(table_text) {
            return Err("its block table is cut off".into());
        }
        let mut packed = decode(&text[..table_text])?;
        packed.extend(decode(&text[table_text..])?);
        self.decode_raw(&packed, expected)
    }

    /// Unpacks an array from raw bytes that start at its header.
    ///
    /// # Errors
    /// The reason, in words.
    pub fn decode_raw(&self, bytes: &[u8], expected: usize) -> Result<Vec<u8>, String> {
        let number = |i| {
            self.header_number(bytes, i)
                .and_then(|n| usize::try_from(n).ok())
                .ok_or_else(|| "its header is cut off".to_string())
        };
        if !self.zlib {
            let length = number(0)?;
            return bytes[self.header_bytes..]
                .get(..length)
                .map(<[u8]>::to_vec)
                .ok_or_else(|| format!("{length} bytes promised, fewer present"));
        }
        let blocks = number(0)?;
        let mut at = blocks
            .checked_add(3)
            .and_then(|n| n.checked_mul(self.header_bytes))
            .filter(|&n| n <= bytes.len())
            .ok_or("its block table is cut off")?;
        let (full, last) = (number(1)?, number(2)?);
        let mut out = Vec::new();
        for block in 0..blocks {
            let wanted = if block + 1 == blocks && last > 0 {
                last
            } else {
                full
            };
            if out.len().saturating_add(wanted) > expected {
                return Err(format!("it holds more than the {expected} bytes it should"));
            }
            let packed = number(3 + block)?;
            let source = at
                .checked_add(packed)
                .and_then(|end| bytes.get(at..end))
                .ok_or_else(|| format!("block {} of {blocks} is cut off", block + 1))?;
            let before = out.len();
            ZlibDecoder::new(source)
                .take(wanted as u64 + 1)
                .read_to_end(&mut out)
                .map_err(|e| format!("block {} of {blocks}: {e}", block + 1))?;
            if out.len() - before != wanted {
                return Err(format!(
                    "block {} of {blocks} has the wrong length",
                    block + 1
                ));
            }
            at += packed;
        }
        Ok(out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PACKING: Packing = Packing {
        header_bytes: 8,
        zlib: true,
    };

    #[test]
    fn several_blocks_survive_the_round_trip() {
        for length in [
            0,
            1,
            BLOCK_BYTES - 1,
            BLOCK_BYTES,
            BLOCK_BYTES + 7,
            3 * BLOCK_BYTES,
        ] {
            let bytes: Vec<u8> = (0..length).map(|i| (i * i % 251) as u8).collect();
            let text = encode_inline(&bytes).unwrap();
            assert_eq!(PACKING.decode_inline(&text, length).unwrap(), bytes);
        }
    }

    #[test]
    fn a_lying_block_table_is_refused_before_it_takes_memory() {
        let table: Vec<u8> = [1u64, 1 << 40, 0, 20]
            .iter()
            .flat_map(|n| n.to_le_bytes())
            .collect();
        assert!(
            PACKING
                .decode_raw(&table, 100)
                .unwrap_err()
                .contains("more than")
        );
        let endless: Vec<u8> = [u64::MAX, 1, 1]
            .iter()
            .flat_map(|n| n.to_le_bytes())
            .collect();
        assert!(
            PACKING
                .decode_raw(&endless, 100)
                .unwrap_err()
                .contains("cut off")
        );
        // Its bytes can be counted, the characters that encode them cannot.
        let long = STANDARD.encode((u64::MAX / 9).to_le_bytes());
        let told = PACKING.decode_inline(&long, 100).unwrap_err();
        assert!(told.contains("impossibly long"), "{told}");
    }
}
