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

/// An interface point that takes part in the reduced problem.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Spot {
    pub(crate) point: usize,
    /// Its row along the normal.
    pub(crate) normal: usize,
    /// The first of its two rows across, if it has got any.
    pub(crate) across: Option<usize>,
}

impl Spot {
    /// Its rows, the one along the normal first.
    pub(crate) fn rows(&self) -> impl Iterator<Item = usize> + use<> {
        let across = self.across.into_iter().flat_map(|t| [t, t + 1]);
        std::iter::once(self.normal).chain(across)
    }
}

/// What the reduced problem lacks.
#[derive(Debug, Default)]
pub(crate) struct Lack {
    /// Points, each with whether it needs rows across at once.
    pub(crate) points: Vec<(usize, bool)>,
    /// Spots that have come to need theirs.
    pub(crate) across: Vec<usize>,
}

impl Lack {
    pub(crate) fn is_empty(&self) -> bool {
        self.points.is_empty() && self.across.is_empty()
    }
}

/// S = B M⁻¹ Bᵀ with M the preconditioner and B the rows: slabs first, then points as they are needed.
#[derive(Debug, Default)]
pub(crate) struct Compliance {
    pub(crate) rows: Vec<Row>,
    pub(crate) spots: Vec<Spot>,
    /// Spot of each point.
    pub(crate) of_point: Vec<Option<u32>>,
    /// The unit forces, as the preconditioner keeps them.
    pub(crate) products: ForceProducts,
    /// S, row by row.
    pub(crate) values: Vec<Vec<f64>>,
}

impl Compliance {
    /// With the rows of the slabs alone.
    pub(crate) fn new(ready: &Prepared<'_>, points: &[Point], slabs: &[Slab]) -> Self {
        let mut out = Compliance {
            of_point: vec![None; points.len()],
            ..Compliance::default()
        };
        let rows = (0..slabs.len()).map(Row::Slab).collect();
        out.grow(ready, points, slabs, rows);
        out
    }

    /// Takes in what is lacking.
    pub(crate) fn add(
        &mut self,
        ready: &Prepared<'_>,
        points: &[Point],
        slabs: &[Slab],
        lack: &Lack,
    ) {
        let mut rows = vec![];
        let first = self.rows.len();
        let across = |k: usize| tangents(points[k].normal).map(|t| Row::Point(k, t));
        for &(k, needs_across) in &lack.points {
            let normal = first + rows.len();
            rows.push(Row::Point(k, points[k].normal));
            if needs_across {
                rows.extend(across(k));
            }
            self.of_point[k] = Some(self.spots.len() as u32);
            self.spots.push(Spot {
                point: k,
                normal,
                across: needs_across.then_some(normal + 1),
            });
        }
        for &spot in &lack.across {
            self.spots[spot].across = Some(first + rows.len());
            rows.extend(across(self.spots[spot].point));
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

/// Two unit vectors across a normal and each other.
fn tangents(normal: Vec3) -> [Vec3; 2] {
    let axis = if normal.x.abs() < 0.6 {
        Vec3::x()
    } else {
        Vec3::y()
    };
    let s = normal.cross(&axis).normalize();
    [s, normal.cross(&s)]
}
