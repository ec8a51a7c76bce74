//! Is every fragment, plate and screw in one piece, and as large as it should be?

use crate::adjacency::{FaceTable, NONE};
use crate::candidate::Candidate;
use crate::tet::{centroid, six_volumes};
use crate::{Body, GateFault};
use bicolumn_base::Vec3;

/// Least volume of a body's straight-sided mesh over that of its shape: a polygon of six corners has 0.83 of its
/// circle.
const LEAST_VOLUME: f64 = 0.75;
/// Largest volume of a body's straight-sided mesh over that of its shape.
const MOST_VOLUME: f64 = 1.15;

/// Connected components of tetrahedra, joined through faces that `joins` accepts (both tetrahedra given), in order
/// of their first.
pub(crate) fn pieces(table: &FaceTable, joins: impl Fn(usize, usize) -> bool) -> Vec<Vec<u32>> {
    let mut seen = vec![false; table.beyond.len()];
    let mut out = Vec::new();
    for start in 0..seen.len() {
        if std::mem::replace(&mut seen[start], true) {
            continue;
        }
        let mut piece = vec![start as u32];
        let mut next = 0;
        while next < piece.len() {
            let t = piece[next] as usize;
            next += 1;
            for b in table.beyond[t].iter().filter(|b| **b != NONE) {
                if !seen[*b as usize] && joins(t, *b as usize) {
                    seen[*b as usize] = true;
                    piece.push(*b);
                }
            }
        }
        out.push(piece);
    }
    out
}

/// Is every body one piece?
///
/// # Errors
/// The first body that is missing or broken, with the place of its smallest piece.
pub(crate) fn whole(c: &Candidate, table: &FaceTable, bodies: &[Body]) -> Result<(), GateFault> {
    let owner = owners(c, bodies);
    let found = pieces(table, |a, b| owner[a] == owner[b]);
    for (i, body) in bodies.iter().enumerate() {
        let own = found.iter().filter(|p| owner[p[0] as usize] == Some(i));
        let bulks: Vec<(f64, Vec3)> = own
            .map(|p| bulk(c, p.iter().map(|t| *t as usize)))
            .collect();
        let Some((volume, middle)) = bulks.iter().min_by(|a, b| a.0.total_cmp(&b.0)) else {
            return Err(GateFault::MissingBody {
                body: body.name.clone(),
            });
        };
        if bulks.len() > 1 {
            return Err(GateFault::BrokenBody {
                body: body.name.clone(),
                pieces: bulks.len(),
                smallest_mm3: *volume,
                at: (*middle).into(),
            });
        }
    }
    Ok(())
}

/// Has every body about its volume?
///
/// # Errors
/// The first body that has not, with its centroid.
pub(crate) fn full(c: &Candidate, bodies: &[Body]) -> Result<(), GateFault> {
    let owner = owners(c, bodies);
    for (i, body) in bodies.iter().enumerate() {
        let Some(expected) = body.volume_mm3 else {
            continue;
        };
        let (volume, middle) = bulk(c, (0..owner.len()).filter(|t| owner[*t] == Some(i)));
        let share = volume / expected;
        if !(LEAST_VOLUME..=MOST_VOLUME).contains(&share) {
            return Err(GateFault::Volume {
                body: body.name.clone(),
                share,
                at: middle.into(),
            });
        }
    }
    Ok(())
}

/// Index of the body of every tetrahedron.
fn owners(c: &Candidate, bodies: &[Body]) -> Vec<Option<usize>> {
    let owner = |p: &bicolumn_base::Part| bodies.iter().position(|b| b.parts.contains(p));
    c.part.iter().map(owner).collect()
}

/// Volume and centroid of tetrahedra.
fn bulk(c: &Candidate, tets: impl Iterator<Item = usize>) -> (f64, Vec3) {
    let (mut volume, mut moment) = (0.0, Vec3::zeros());
    for t in tets {
        let p = c.corners(t);
        let v = six_volumes(&p) / 6.0;
        volume += v;
        moment += centroid(&p) * v;
    }
    (volume, moment / volume.max(f64::MIN_POSITIVE))
}
