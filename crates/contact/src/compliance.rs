//! Compliance of the active rows, as the preconditioner sees it.

use crate::dense::Symmetric;
use crate::point::Point;
use crate::preload::Section;
use bicolumn_base::Vec3;
use bicolumn_solve::{ForceBasis, HalfPreconditioned, NodalForces};
use std::collections::BTreeMap;

/// Row of the jump operator B, or unit force of the reduced problem: its transpose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Row {
    /// Eigenstrain force of a preload section.
    Section(usize),
    /// Pair of forces on the two sides of a point, along a unit vector.
    Point(usize, Vec3),
}

/// Normal component of a point's rows.
pub(crate) const NORMAL: usize = 0;
/// First tangential component; at a thread along the screw.
pub(crate) const AXIAL: usize = 1;
/// Second tangential component; at a thread round the screw.
pub(crate) const CIRCUMFERENTIAL: usize = 2;

/// Interface point in the reduced problem.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct ActivePoint {
    /// Index of the point.
    pub(crate) point: usize,
    /// Row of each component; `None` where it has not been needed.
    pub(crate) rows: [Option<usize>; 3],
}

/// S = B M⁻¹ Bᵀ with M the preconditioner and B the rows: sections first, then points as they become active.
#[derive(Debug, Default)]
pub(crate) struct Compliance {
    pub(crate) rows: Vec<Row>,
    pub(crate) active: Vec<ActivePoint>,
    /// Directions of the rows of each point.
    frames: Vec<[Vec3; 3]>,
    /// Index in `active` of each point.
    index_of: Vec<Option<u32>>,
    /// S.
    pub(crate) values: Symmetric,
}

impl Compliance {
    /// Compliance with the rows of the sections alone, whose unit forces are the first of the basis. `frames`: directions of the
    /// rows of each point.
    pub(crate) fn new(
        basis: &mut ForceBasis,
        points: &[Point],
        sections: &[Section],
        frames: Vec<[Vec3; 3]>,
    ) -> Self {
        let mut out = Compliance {
            index_of: vec![None; points.len()],
            frames,
            ..Compliance::default()
        };
        let rows = (0..sections.len()).map(Row::Section).collect();
        out.grow(points, sections, rows, |forces| basis.extend(forces));
        out
    }

    /// Does the reduced problem have this component of a point?
    pub(crate) fn has(&self, point: usize, component: usize) -> bool {
        let active = self.index_of[point].map(|s| &self.active[s as usize]);
        active.is_some_and(|s| s.rows[component].is_some())
    }

    /// Takes in components of points, given as (point, component), none of which it has.
    pub(crate) fn add(
        &mut self,
        half: &mut HalfPreconditioned<'_>,
        points: &[Point],
        sections: &[Section],
        candidates: &[(usize, usize)],
    ) {
        let first = self.rows.len();
        let mut rows = vec![];
        for &(k, component) in candidates {
            let active = *self.index_of[k].get_or_insert_with(|| {
                self.active.push(ActivePoint {
                    point: k,
                    rows: [None; 3],
                });
                self.active.len() as u32 - 1
            });
            self.active[active as usize].rows[component] = Some(first + rows.len());
            rows.push(Row::Point(k, self.frames[k][component]));
        }
        self.grow(points, sections, rows, |forces| half.extend(forces));
    }

    fn grow(
        &mut self,
        points: &[Point],
        sections: &[Section],
        new: Vec<Row>,
        extend: impl FnOnce(Vec<NodalForces>) -> Vec<Vec<f64>>,
    ) {
        let old = self.rows.len();
        self.rows.extend(new);
        let rows = self.rows[old..].iter();
        let forces = rows.map(|row| row.unit_force(points, sections)).collect();
        // The preconditioner is symmetric but for rounding; the reduced problem is so exactly.
        self.values.grow(extend(forces));
    }
}

impl Row {
    /// Unit force of this row on the nodes that it touches: a column of Bᵀ.
    fn unit_force(&self, points: &[Point], sections: &[Section]) -> NodalForces {
        match *self {
            Row::Section(k) => sections[k].force.clone(),
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

    /// Adds Bᵀ λ of this row to nodal forces.
    pub(crate) fn add_force(
        &self,
        points: &[Point],
        sections: &[Section],
        lambda: f64,
        nodal: &mut [Vec3],
    ) {
        match *self {
            Row::Section(k) => {
                for (n, f) in &sections[k].force {
                    nodal[*n as usize] += f * lambda;
                }
            }
            Row::Point(k, along) => points[k].add_force(along * lambda, nodal),
        }
    }

    /// Jump of this row, B u.
    pub(crate) fn jump(&self, points: &[Point], sections: &[Section], u: &[Vec3]) -> f64 {
        match *self {
            Row::Section(k) => sections[k].work(u),
            Row::Point(k, along) => points[k].jump(u).dot(&along),
        }
    }
}
