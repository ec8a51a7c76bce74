//! Patches: agglomeration of contact points up to a least area.

use crate::point::Point;
use bicolumn_base::Vec3;
use std::collections::{BTreeMap, BTreeSet};

/// Least cosine of the angle between normals within a patch: 30 degrees.
const ALIKE: f64 = 0.866;

/// Patch while it grows.
struct Patch {
    members: Vec<u32>,
    area: f64,
    /// Least area that it should have.
    least: f64,
    centre: Vec3,
    /// Sum of the members' normals by area.
    normal: Vec3,
    neighbours: BTreeSet<u32>,
}

/// The patch of each point, numbered as their first points are. The smallest patch joins the nearest of
/// its neighbours, until all are large enough or have no neighbour that faces about the same way.
pub(crate) fn gather(points: &[Point], least_mm2: impl Fn(usize, Vec3) -> f64) -> Vec<u32> {
    let mut on_pair: BTreeMap<(usize, u32), Vec<u32>> = BTreeMap::new();
    for (k, p) in (0u32..).zip(points) {
        for (pair, _) in &p.around {
            on_pair.entry((p.set, *pair)).or_default().push(k);
        }
    }
    let of_point = |p: &Point, k: u32| Patch {
        members: vec![k],
        area: p.area,
        least: least_mm2(p.set, p.centre()),
        centre: p.centre(),
        normal: p.mean_normal * p.area,
        neighbours: BTreeSet::new(),
    };
    let numbered = (0u32..).zip(points);
    let mut patches: BTreeMap<u32, Patch> = numbered.map(|(k, p)| (k, of_point(p, k))).collect();
    for around in on_pair.values() {
        for k in around {
            if let Some(patch) = patches.get_mut(k) {
                patch.neighbours.extend(around.iter().filter(|j| *j != k));
            }
        }
    }
    let key = |p: &Patch, k: u32| (p.area.to_bits(), k);
    let is_small = |p: &Patch| p.area < p.least;
    let mut small: BTreeSet<(u64, u32)> = patches
        .iter()
        .filter(|(_, p)| is_small(p))
        .map(|(k, p)| key(p, *k))
        .collect();
    while let Some((_, k)) = small.pop_first() {
        let Some(mine) = patches.remove(&k) else {
            continue;
        };
        let mut nearest: Option<(f64, u32)> = None;
        for j in &mine.neighbours {
            let Some(other) = patches.get(j) else {
                continue;
            };
            let cosine = other.normal.normalize().dot(&mine.normal.normalize());
            let distance = (other.centre - mine.centre).norm();
            if cosine > ALIKE && nearest.is_none_or(|(least, _)| distance < least) {
                nearest = Some((distance, *j));
            }
        }
        let Some((_, j)) = nearest else {
            // Alone for good: it is left as it is, and others may still join it.
            patches.insert(k, mine);
            continue;
        };
        for neighbour in &mine.neighbours {
            if let Some(other) = patches.get_mut(neighbour) {
                other.neighbours.remove(&k);
                if *neighbour != j {
                    other.neighbours.insert(j);
                }
            }
        }
        if let Some(other) = patches.get_mut(&j) {
            small.remove(&key(other, j));
            let area = other.area + mine.area;
            other.centre = (other.centre * other.area + mine.centre * mine.area) / area;
            other.area = area;
            other.least = other.least.max(mine.least);
            other.normal += mine.normal;
            other.members.extend(mine.members);
            other
                .neighbours
                .extend(mine.neighbours.iter().filter(|b| **b != j));
            if is_small(other) {
                small.insert(key(other, j));
            }
        }
    }
    let mut order: Vec<&Patch> = patches.values().collect();
    order.sort_by_key(|p| p.members.iter().min().copied());
    let mut out = vec![0; points.len()];
    for (number, patch) in (0u32..).zip(order) {
        for k in &patch.members {
            out[*k as usize] = number;
        }
    }
    out
}
