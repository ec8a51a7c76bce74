//! Islands: connected sets of tetrahedra of one label, smaller than the lattice resolves.
//!
//! Where two surfaces come closer than a cell, or one ends within a cell, cutting can leave an island. It
//! carries no load worth the name but forces sharp corners on the mesh, so it takes the label of the neighbour with
//! which it shares the largest area.

use crate::adjacency::{FaceTable, NONE, face_table};
use crate::complex::{Complex, REMOVED};
use crate::tet::{face, six_volumes};

/// Relabels islands below `volume_mm3` as their neighbours, removes islands that border most on empty space.
/// Returns the face adjacency afterwards.
pub(crate) fn remove_islands(mesh: &mut Complex, volume_mm3: f64) -> FaceTable {
    let table = face_table(mesh.position.len(), &mesh.tets);
    let islands = islands(mesh, &table.beyond);
    let mut relabelled = 0;
    for island in islands {
        let volume: f64 = island
            .iter()
            .map(|t| six_volumes(&mesh.points(&mesh.tets[*t as usize])) / 6.0)
            .sum();
        if volume >= volume_mm3 {
            continue;
        }
        // Area shared with each neighbouring label, REMOVED standing for empty space.
        let own = mesh.label[island[0] as usize];
        let mut area: Vec<(u8, f64)> = Vec::new();
        for t in &island {
            for (i, beyond) in table.beyond[*t as usize].iter().enumerate() {
                let label = match *beyond {
                    NONE => REMOVED,
                    b => mesh.label[b as usize],
                };
                if label == own {
                    continue;
                }
                let [a, b, c] = face(&mesh.tets[*t as usize], i).map(|v| mesh.position[v as usize]);
                let size = (b - a).cross(&(c - a)).norm();
                match area.iter_mut().find(|e| e.0 == label) {
                    Some(e) => e.1 += size,
                    None => area.push((label, size)),
                }
            }
        }
        let winner = area
            .iter()
            .max_by(|x, y| x.1.total_cmp(&y.1).then(y.0.cmp(&x.0)));
        if let Some((label, _)) = winner {
            for t in &island {
                mesh.label[*t as usize] = *label;
            }
            relabelled += 1;
        }
    }
    if relabelled == 0 {
        return table;
    }
    mesh.compact();
    face_table(mesh.position.len(), &mesh.tets)
}

/// Connected components of equal label, joined through faces, in order of their first tetrahedron.
fn islands(mesh: &Complex, beyond: &[[u32; 4]]) -> Vec<Vec<u32>> {
    let mut seen = vec![false; mesh.tets.len()];
    let mut out = Vec::new();
    for start in 0..mesh.tets.len() {
        if seen[start] {
            continue;
        }
        seen[start] = true;
        let mut island = vec![start as u32];
        let mut next = 0;
        while next < island.len() {
            let t = island[next] as usize;
            next += 1;
            for b in beyond[t] {
                if b != NONE && !seen[b as usize] && mesh.label[b as usize] == mesh.label[t] {
                    seen[b as usize] = true;
                    island.push(b);
                }
            }
        }
        out.push(island);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_base::Vec3;

    #[test]
    fn an_island_goes_to_the_neighbour_with_the_larger_face() {
        let position = vec![
            Vec3::zeros(),
            Vec3::x(),
            Vec3::y(),
            Vec3::z(),
            Vec3::new(1.0, 1.0, 1.0),
            Vec3::new(-3.0, 0.2, 0.2),
        ];
        let tets = vec![[0, 1, 2, 3], [1, 2, 3, 4], [0, 2, 3, 5]];
        let tets = tets
            .into_iter()
            .map(|mut t: [u32; 4]| {
                if six_volumes(&t.map(|v| position[v as usize])) < 0.0 {
                    t.swap(2, 3);
                }
                t
            })
            .collect();
        let mut c = Complex::new(position, tets);
        c.label = vec![1, 2, 3];
        let table = remove_islands(&mut c, 0.1);
        assert_eq!(c.label, vec![1, 2, 3], "all islands are larger");
        assert_eq!(table.beyond.len(), 3);
        let table = remove_islands(&mut c, 0.2);
        assert_eq!(table.beyond.len(), 2);
        // Free faces win (area 1 + 1 of the right angles), so the first tetrahedron is gone.
        assert_eq!(c.label, vec![2, 3]);
    }
}
