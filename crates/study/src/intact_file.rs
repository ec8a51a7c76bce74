//! Solution of an intact bone in a file, for the processes of a run and for later runs: a line of JSON, then the numbers
//! as they are in memory (64 bits, little-endian), then a digest of it all.

use bicolumn_base::Vec3;
use bicolumn_mesh::TetMesh;
use bicolumn_solve::{Solution, SolveReport};
use bicolumn_store::{StoreError, create_folder, digest_text, write_atomic};
use serde::{Deserialize, Serialize};
use std::path::Path;

/// First line of the file.
#[derive(Serialize, Deserialize)]
struct Head {
    /// Digest of the mesh that the numbers are of.
    mesh: String,
    /// Nodes with a displacement, by load case.
    displacement: Vec<usize>,
    /// Nodes with a reaction, by load case.
    reactions: Vec<usize>,
    report: SolveReport,
}

/// Length of a digest in the file.
const DIGEST: usize = 64;

/// Writes a solution on a mesh.
///
/// # Errors
/// [`StoreError`]: a file that cannot be written.
pub(crate) fn write(path: &Path, mesh: &TetMesh, solution: &Solution) -> Result<(), StoreError> {
    if let Some(folder) = path.parent() {
        create_folder(folder)?;
    }
    let head = Head {
        mesh: digest_of(mesh),
        displacement: lengths(&solution.displacement),
        reactions: lengths(&solution.reactions),
        report: solution.report.clone(),
    };
    let not_storable = |e: serde_json::Error| StoreError::NotStorable {
        path: path.to_path_buf(),
        reason: e.to_string(),
    };
    let mut bytes = serde_json::to_vec(&head).map_err(not_storable)?;
    bytes.push(b'\n');
    for vectors in solution.displacement.iter().chain(&solution.reactions) {
        put(&mut bytes, vectors);
    }
    let digest = digest_text(&bytes);
    bytes.extend_from_slice(digest.as_bytes());
    write_atomic(path, &bytes)
}

/// Reads a solution on this very mesh, bit by bit as it was written.
///
/// # Errors
/// What is wrong with the file.
pub(crate) fn read(path: &Path, mesh: &TetMesh) -> Result<Solution, String> {
    let bytes = std::fs::read(path).map_err(|e| e.to_string())?;
    let at = bytes.len().checked_sub(DIGEST).ok_or("it is too short")?;
    let (body, digest) = bytes.split_at(at);
    if digest_text(body).as_bytes() != digest {
        return Err("its content does not match its digest".into());
    }
    let end = body.iter().position(|b| *b == b'\n');
    let end = end.ok_or("it has no first line")?;
    let head: Head = serde_json::from_slice(&body[..end]).map_err(|e| e.to_string())?;
    if head.mesh != digest_of(mesh) {
        return Err("it is of another mesh".into());
    }
    let mut rest = &body[end + 1..];
    let mut of = |lengths: &[usize]| -> Option<Vec<Vec<Vec3>>> {
        lengths.iter().map(|n| take(&mut rest, *n)).collect()
    };
    let displacement = of(&head.displacement).ok_or("it is too short")?;
    let reactions = of(&head.reactions).ok_or("it is too short")?;
    Ok(Solution {
        displacement,
        reactions,
        report: head.report,
    })
}

fn lengths(fields: &[Vec<Vec3>]) -> Vec<usize> {
    fields.iter().map(Vec::len).collect()
}

fn put(bytes: &mut Vec<u8>, vectors: &[Vec3]) {
    for number in vectors.iter().flat_map(|v| v.iter()) {
        bytes.extend_from_slice(&number.to_le_bytes());
    }
}

/// The next `n` vectors of some bytes.
fn take(rest: &mut &[u8], n: usize) -> Option<Vec<Vec3>> {
    let (own, after) = rest.split_at_checked(n.checked_mul(24)?)?;
    *rest = after;
    let number = |b: &[u8]| b.try_into().ok().map(f64::from_le_bytes);
    let vector = |v: &[u8]| {
        Some(Vec3::new(
            number(&v[..8])?,
            number(&v[8..16])?,
            number(&v[16..])?,
        ))
    };
    own.chunks_exact(24).map(vector).collect()
}

/// Digest of a mesh: of its nodes and tetrahedra.
fn digest_of(mesh: &TetMesh) -> String {
    let mut bytes = vec![];
    put(&mut bytes, &mesh.nodes);
    for node in mesh.tets.iter().flatten() {
        bytes.extend_from_slice(&node.to_le_bytes());
    }
    digest_text(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn mesh() -> TetMesh {
        TetMesh {
            nodes: vec![Vec3::new(0.1 + 0.2, -0.0, 1e-310); 10],
            vertex_count: 4,
            tets: vec![[0, 1, 2, 3, 4, 5, 6, 7, 8, 9]],
            part: vec![0],
            parts: vec![],
            facets: vec![],
            surfaces: vec![],
            quality: Default::default(),
            stages: Default::default(),
        }
    }

    #[test]
    fn a_solution_comes_back_bit_by_bit_and_a_changed_bit_does_not() {
        let temp = tempfile::tempdir().unwrap();
        let path = temp.path().join("intact/key.bin");
        let numbers = [0.1 + 0.2, -0.0, f64::MIN_POSITIVE / 3.0];
        let solution = Solution {
            displacement: vec![vec![Vec3::from(numbers); 10]; 2],
            reactions: vec![vec![Vec3::from(numbers)], vec![]],
            report: SolveReport {
                residuals: vec![1.0 / 3.0],
                ..SolveReport::default()
            },
        };
        write(&path, &mesh(), &solution).unwrap();
        let back = read(&path, &mesh()).unwrap();
        let bits = |s: &Solution| -> Vec<u64> {
            let all = s.displacement.iter().chain(&s.reactions).flatten();
            all.flat_map(|v| v.iter().map(|x| x.to_bits())).collect()
        };
        assert_eq!(bits(&back), bits(&solution));
        assert_eq!(back, solution);

        let mut other = mesh();
        other.nodes[3].x += 1e-12;
        assert!(read(&path, &other).unwrap_err().contains("another mesh"));
        let mut bytes = std::fs::read(&path).unwrap();
        let middle = bytes.len() / 2;
        bytes[middle] ^= 1;
        std::fs::write(&path, bytes).unwrap();
        assert!(read(&path, &mesh()).unwrap_err().contains("digest"));
        std::fs::write(&path, "short").unwrap();
        assert!(read(&path, &mesh()).is_err());
    }
}
