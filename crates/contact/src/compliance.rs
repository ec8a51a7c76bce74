//! How interface forces move interface points, as the preconditioner sees it.

use crate::interfaces::Point;
use crate::preload::Slab;
use bicolumn_base::Vec3;
use bicolumn_solve::{ForceProducts, Prepared};
use std::collections::BTreeMap;

/// A unit force of the reduced problem.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Row {
    /// The eigenstrain force of a slab.
    Slab(usize),
    /// A pair of forces on the two sides of a point, along a unit vector.
    Point(usize, Vec3),
}

/// Rows of a point: along its normal, then two across it. At a thread the second is the way along the screw,
/// the third that round it.
pub(crate) const NORMAL: usize = 0;
pub(crate) const AXIAL: usize = 1;
pub(crate) const ROUND: usize = 2;

/// An interface point that takes part in the reduced problem.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    pub(crate) point: usize,
    /// Those of its rows that have been needed.
    pub(crate) rows: [Option<usize>; 3],
}

/// S = B M⁻¹ Bᵀ with M the preconditioner and B the rows: slabs first, then points as they are needed.
#[derive(Debug, Default)]
pub(crate) struct Compliance {
    pub(crate) rows: Vec<Row>,
    pub(crate) spots: Vec<Spot>,
    /// Directions of the rows of each point.
    frames: Vec<[Vec3; 3]>,
    /// Spot of each point.
    pub(crate) of_point: Vec<Option<u32>>,
    /// The unit forces, as the preconditioner keeps them.
    pub(crate) products: ForceProducts,
    /// S, row by row.
    pub(crate) values: Vec<Vec<f64>>,
}

impl Compliance {
    /// With the rows of the slabs alone. `frames`: directions of the rows of each point.
    pub(crate) fn new(
        ready: &Prepared<'_>,
        points: &[Point],
        slabs: &[Slab],
        frames: Vec<[Vec3; 3]>,
    ) -> Self {
        let mut out = Compliance {
            of_point: vec![None; points.len()],
            frames,
            ..Compliance::default()
        };
        let rows = (0..slabs.len()).map(Row::Slab).collect();
        out.grow(ready, points, slabs, rows);
        out
    }

    /// Does the reduced problem have this row of a point?
    pub(crate) fn has(&self, point: usize, which: usize) -> bool {
        let spot = self.of_point[point].map(|s| &self.spots[s as usize]);
        spot.is_some_and(|s| s.rows[which].is_some())
    }

    /// Takes in rows of points, none of which it has.
    pub(crate) fn add(
        &mut self,
        ready: &Prepared<'_>,
        points: &[Point],
        slabs: &[Slab],
        lack: &[(usize, usize)],
    ) {
        let first = self.rows.len();
        let mut rows = vec![];
        for &(k, which) in lack {
            let spot = *self.of_point[k].get_or_insert_with(|| {
                self.spots.push(Spot {
                    point: k,
                    rows: [None; 3],
                });
                self.spots.len() as u32 - 1
            });
            self.spots[spot as usize].rows[which] = Some(first + rows.len());
            rows.push(Row::Point(k, self.frames[k][which]));
        }
        self.grow(ready, points, slabs, rows);
    }

    fn grow(&mut self, ready: &Prepared<'_>, points: &[Point], slabs: &[Slab], new: Vec<Row>) {
        let old = self.rows.len();
        self.rows.extend(new);
        let all = self.rows.len();
        let forces = self.rows[old..].iter().map(|row| row.force(points, slabs));
        let columns = ready.add_products(&mut self.products, forces.collect());
        self.values.extend(columns);
        // The preconditioner is symmetric but for rounding; the reduced problem is so exactly.
        for i in 0..all {
            if i < old {
                let tail: Vec<f64> = (old..all).map(|j| self.values[j][i]).collect();
                self.values[i].extend(tail);
            } else {
                for j in old..i {
                    let mean = 0.5 * (self.values[i][j] + self.values[j][i]);
                    self.values[i][j] = mean;
                    self.values[j][i] = mean;
                }
            }
        }
    }
}

impl Row {
    /// This row's unit force on the nodes that it touches.
    fn force(&self, points: &[Point], slabs: &[Slab]) -> Vec<(u32, Vec3)> {
        match *self {
            Row::Slab(k) => slabs[k].force.clone(),
            Row::Point(k, along) => {
                let mut nodal = BTreeMap::<u32, Vec3>::new();
                for (a, b, w) in &points[k].stencil {
                    *nodal.entry(*b).or_default() += along * *w;
                    *nodal.entry(*a).or_default() -= along * *w;
                }
                nodal.into_iter().collect()
            }
        }
    }

    /// Adds so many units of this row's force to nodal forces.
    pub(crate) fn push(&self, points: &[Point], slabs: &[Slab], size: f64, nodal: &mut [Vec3]) {
        match *self {
            Row::Slab(k) => {
                for (n, f) in &slabs[k].force {
                    nodal[*n as usize] += f * size;
                }
            }
            Row::Point(k, along) => points[k].push(along * size, nodal),
        }
    }

    /// The motion that this row's force does its work on.
    pub(crate) fn motion(&self, points: &[Point], slabs: &[Slab], u: &[Vec3]) -> f64 {
        match *self {
            Row::Slab(k) => slabs[k].work(u),
            Row::Point(k, along) => points[k].jump(u).dot(&along),
        }
    }
}
