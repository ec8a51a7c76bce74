//! Reads a triangle surface from STL, binary or ascii.
//!
//! The binary layout: 80 bytes of header, a count (u32), then 50 bytes a triangle: normal, three
//! corners (twelve f32, little-endian) and two bytes without meaning here. STL has no unit; the
//! bone's specification tells it and the frame.

use super::surface_error::SurfaceError;
use bicolumn_base::Vec3;
use bicolumn_base::shown::one_line;
use std::collections::BTreeMap;
use std::io::Read;
use std::path::Path;

/// Largest file of a surface, bytes: some ten million triangles.
const MOST_BYTES: u64 = 500 << 20;
/// Longest part of a line of a file that a message shows.
const MOST_OF_LINE: usize = 60;

/// Bytes of a surface's file.
///
/// # Errors
/// [`SurfaceError::Unreadable`]: no such file, or a larger one than any surface has.
pub fn surface_bytes(file: &Path) -> Result<Vec<u8>, SurfaceError> {
    let wrong = |why: String| unreadable(format!("{}: {why}", file.display()));
    let mut bytes = Vec::new();
    // A device has no end.
    std::fs::File::open(file)
        .and_then(|f| f.take(MOST_BYTES + 1).read_to_end(&mut bytes))
        .map_err(|e| wrong(e.to_string()))?;
    match bytes.len() as u64 > MOST_BYTES {
        true => Err(wrong(format!("it is longer than {} MB", MOST_BYTES >> 20))),
        false => Ok(bytes),
    }
}

/// Triangles with shared corners.
#[derive(Debug, Clone, PartialEq)]
pub struct TriangleSurface {
    /// Corner positions, in the unit and the frame of the file or in mm in the bone frame.
    pub vertices: Vec<Vec3>,
    /// Corners of each triangle, anticlockwise seen from outside.
    pub triangles: Vec<[u32; 3]>,
}

impl TriangleSurface {
    /// The mirror image in the plane Z = 0.
    pub(crate) fn mirrored(&self) -> TriangleSurface {
        TriangleSurface {
            vertices: self
                .vertices
                .iter()
                .map(|v| Vec3::new(v.x, v.y, -v.z))
                .collect(),
            triangles: self
                .triangles
                .iter()
                .map(|[a, b, c]| [*a, *c, *b])
                .collect(),
        }
    }

    /// Corner positions of a triangle.
    pub(crate) fn corners(&self, triangle: usize) -> [Vec3; 3] {
        self.triangles[triangle].map(|v| self.vertices[v as usize])
    }
}

/// Reads an STL file's bytes; corners at equal positions become one.
///
/// # Errors
/// [`SurfaceError::Unreadable`] with the place: a byte or a line.
pub fn read_stl(bytes: &[u8]) -> Result<TriangleSurface, SurfaceError> {
    let corners = if is_binary(bytes) {
        binary(bytes)?
    } else {
        ascii(bytes)?
    };
    if corners.is_empty() {
        return Err(unreadable("it holds no triangle".into()));
    }
    Ok(joined(&corners))
}

/// A binary file has the length that its count asks for; some begin with `solid` all the same.
fn is_binary(bytes: &[u8]) -> bool {
    let count = bytes.get(80..84).and_then(|b| b.try_into().ok());
    let Some(count) = count.map(u32::from_le_bytes) else {
        return false;
    };
    let expected = 84 + 50 * u64::from(count);
    expected == bytes.len() as u64 || !bytes.trim_ascii_start().starts_with(b"solid")
}

fn binary(bytes: &[u8]) -> Result<Vec<[[f32; 3]; 3]>, SurfaceError> {
    let (body, rest) = bytes[84..].as_chunks::<50>();
    let count = u32::from_le_bytes([bytes[80], bytes[81], bytes[82], bytes[83]]) as usize;
    if body.len() < count {
        return Err(unreadable(format!(
            "its count says {count} triangles, but it ends after {} bytes, in triangle {}",
            bytes.len(),
            body.len() + 1
        )));
    }
    if body.len() > count || !rest.is_empty() {
        return Err(unreadable(format!(
            "{} bytes follow after the {count} triangles that its count says",
            bytes.len() - 84 - 50 * count
        )));
    }
    body.iter()
        .enumerate()
        .map(|(t, record)| {
            let mut corners = [[0.0; 3]; 3];
            for (i, number) in record[12..48].as_chunks::<4>().0.iter().enumerate() {
                corners[i / 3][i % 3] = f32::from_le_bytes(*number);
            }
            finite(corners, || format!("triangle {}", t + 1))
        })
        .collect()
}

fn ascii(bytes: &[u8]) -> Result<Vec<[[f32; 3]; 3]>, SurfaceError> {
    let text = std::str::from_utf8(bytes).map_err(|e| {
        let count = bytes.get(80..84).and_then(|b| b.try_into().ok());
        let count = u64::from(count.map_or(0, u32::from_le_bytes));
        unreadable(format!(
            "byte {} is no text, and as a binary file of {count} triangles, as its count says, it would have {} bytes; it has {}",
            e.valid_up_to() + 1,
            84 + 50 * count,
            bytes.len()
        ))
    })?;
    let mut triangles = Vec::new();
    let mut corners: Vec<[f32; 3]> = Vec::new();
    for (n, line) in text.lines().enumerate() {
        let at = || format!("line {}", n + 1);
        let mut words = line.split_whitespace();
        match words.next() {
            Some("vertex") => {
                let numbers: Vec<f32> = words.map_while(|w| w.parse().ok()).collect();
                let Ok(corner) = <[f32; 3]>::try_from(numbers) else {
                    return Err(unreadable(format!(
                        "{}: a vertex needs three numbers: \"{}\"",
                        at(),
                        one_line(line.trim(), MOST_OF_LINE)
                    )));
                };
                corners.push(corner);
            }
            Some("endloop") => {
                let Ok(three) = <[[f32; 3]; 3]>::try_from(std::mem::take(&mut corners)) else {
                    return Err(unreadable(format!(
                        "{}: a facet needs three vertices",
                        at()
                    )));
                };
                triangles.push(finite(three, at)?);
            }
            Some("solid" | "facet" | "outer" | "endfacet" | "endsolid") | None => {}
            Some(word) => {
                let word = one_line(word, MOST_OF_LINE);
                return Err(unreadable(format!(
                    "{}: \"{word}\" is no word of STL",
                    at()
                )));
            }
        }
    }
    if !corners.is_empty() {
        return Err(unreadable("it ends within a facet".into()));
    }
    Ok(triangles)
}

fn finite(corners: [[f32; 3]; 3], at: impl Fn() -> String) -> Result<[[f32; 3]; 3], SurfaceError> {
    if corners.iter().flatten().all(|x| x.is_finite()) {
        Ok(corners)
    } else {
        Err(unreadable(format!("{}: a coordinate is no number", at())))
    }
}

fn unreadable(why: String) -> SurfaceError {
    SurfaceError::Unreadable { why }
}

fn joined(corners: &[[[f32; 3]; 3]]) -> TriangleSurface {
    let mut number: BTreeMap<[u32; 3], u32> = BTreeMap::new();
    let mut vertices = Vec::new();
    let triangles = corners
        .iter()
        .map(|t| {
            t.map(|p| {
                // Zero has two bit patterns.
                let key = p.map(|x| (x + 0.0).to_bits());
                *number.entry(key).or_insert_with(|| {
                    vertices.push(Vec3::from_fn(|i, _| f64::from(p[i])));
                    vertices.len() as u32 - 1
                })
            })
        })
        .collect();
    TriangleSurface {
        vertices,
        triangles,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ASCII: &str = "solid a
 facet normal 0 0 -1
  outer loop
   vertex 0 0 0
   vertex 0 1e0 -0
   vertex 1 0 0
  endloop
 endfacet
 facet normal 0 0 0
  outer loop
   vertex 0 0 0
   vertex 1 0 0
   vertex 0 0 2.5
  endloop
 endfacet
endsolid a
";

    /// The same triangles in the binary layout.
    fn binary_file() -> Vec<u8> {
        let mut bytes = b"solid in the header".to_vec();
        bytes.resize(80, b' ');
        bytes.extend(2u32.to_le_bytes());
        for t in [
            [[0.0f32, 0.0, 0.0], [0.0, 1.0, 0.0], [1.0, 0.0, 0.0]],
            [[0.0, 0.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 2.5]],
        ] {
            bytes.extend([0u8; 12]);
            for x in t.iter().flatten() {
                bytes.extend(x.to_le_bytes());
            }
            bytes.extend([7, 7]);
        }
        bytes
    }

    #[test]
    fn both_layouts_give_the_same_surface_with_shared_corners() {
        let surface = read_stl(ASCII.as_bytes()).unwrap();
        assert_eq!(surface.vertices.len(), 4);
        assert_eq!(surface.triangles, vec![[0, 1, 2], [0, 2, 3]]);
        assert_eq!(surface.vertices[3], Vec3::new(0.0, 0.0, 2.5));
        assert_eq!(read_stl(&binary_file()).unwrap(), surface);
    }

    #[test]
    fn what_cannot_be_read_is_named_with_its_place() {
        let told = |bytes: &[u8]| read_stl(bytes).unwrap_err().to_string();
        let binary = binary_file();
        assert!(told(&ASCII.as_bytes()[..60]).contains("within a facet"));
        assert!(told(&ASCII.replace("1e0", "x").into_bytes()).contains("line 5"));
        assert!(told(&ASCII.replace("outer", "inner").into_bytes()).contains("\"inner\""));
        let mut headless = binary.clone();
        headless[0] = b'x';
        assert!(told(&headless[..150]).contains("in triangle 2"));
        let mut nan = binary;
        nan[96..100].copy_from_slice(&f32::NAN.to_le_bytes());
        assert!(told(&nan).contains("triangle 1"));
        assert!(told(b"").contains("no triangle"));
    }
}
