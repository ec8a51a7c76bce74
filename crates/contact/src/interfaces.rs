//! Facet pairs with their laws and initial gaps.

use crate::Law;
use bicolumn_base::Vec3;
use bicolumn_mesh::{FacetPair, PairKind, PairSet, SplitMesh, TetMesh};
use bicolumn_model::Problem;
use bicolumn_model::facet::facet_points;
use std::collections::BTreeMap;

/// The interfaces of a split mesh.
#[derive(Debug, Clone)]
pub struct Interfaces {
    sets: Vec<PairSet>,
    laws: Vec<Law>,
    pairs: Vec<FacetPair>,
    points: Vec<Point>,
}

/// A quadrature point of a facet pair.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    /// Index of the pair.
    pub(crate) pair: u32,
    /// Place on side a, mm.
    pub(crate) position: Vec3,
    /// Unit normal from a to b.
    pub(crate) normal: Vec3,
    /// Area, mm².
    pub(crate) area: f64,
    /// Shape functions of the six nodes.
    pub(crate) shape: [f64; 6],
    /// Gap before loading, mm; negative: the sides overlap and press when closed.
    pub(crate) gap: f64,
}

impl Interfaces {
    /// All interfaces of a mesh under one law, at the gaps of the mesh.
    pub fn new(split: &SplitMesh, law: Law) -> Self {
        Self::with_laws(split, |_| law)
    }

    /// All interfaces of a mesh, each set under the law chosen for it.
    pub fn with_laws(split: &SplitMesh, law_of: impl Fn(&PairSet) -> Law) -> Self {
        let nodes = &split.mesh.nodes;
        let mut points = Vec::with_capacity(7 * split.pairs.len());
        for (k, pair) in (0u32..).zip(&split.pairs) {
            for p in facet_points(&pair.a.map(|n| nodes[n as usize])) {
                let gap = p.shape.iter().zip(pair.gap_mm).map(|(s, g)| s * g).sum();
                points.push(Point {
                    pair: k,
                    position: p.position,
                    normal: p.normal,
                    area: p.area,
                    shape: p.shape,
                    gap,
                });
            }
        }
        Interfaces {
            laws: split.sets.iter().map(law_of).collect(),
            sets: split.sets.clone(),
            pairs: split.pairs.clone(),
            points,
        }
    }

    /// Adds to the initial gap of the sets that `of` accepts, by place on side a: a stand-off, an
    /// interference (negative), a profile.
    pub fn add_gap(&mut self, of: impl Fn(&PairSet) -> bool, gap_mm: impl Fn(Vec3) -> f64) {
        for p in &mut self.points {
            let set = self.pairs[p.pair as usize].set;
            if of(&self.sets[set as usize]) {
                p.gap += gap_mm(p.position);
            }
        }
    }

    /// The sets.
    pub fn sets(&self) -> &[PairSet] {
        &self.sets
    }

    /// Law of each set.
    pub fn laws(&self) -> &[Law] {
        &self.laws
    }

    /// The laws with those of one kind replaced, for a step.
    pub fn laws_with(&self, kind: PairKind, law: Law) -> Vec<Law> {
        self.sets
            .iter()
            .zip(&self.laws)
            .map(|(s, l)| if s.kind == kind { law } else { *l })
            .collect()
    }

    pub(crate) fn pairs(&self) -> &[FacetPair] {
        &self.pairs
    }

    pub(crate) fn points(&self) -> &[Point] {
        &self.points
    }

    /// Set of a point.
    pub(crate) fn set_of(&self, p: &Point) -> usize {
        usize::from(self.pairs[p.pair as usize].set)
    }

    /// Interface stiffness ε of each pair, MPa/mm: `multiple` of the softer side's modulus over the size
    /// of a facet. One value for each set and pair of materials: tractions then stay continuous from
    /// facet to facet, as displacements are.
    pub(crate) fn stiffnesses(&self, problem: &Problem, multiple: f64) -> Vec<f64> {
        let mesh: &TetMesh = &problem.mesh;
        let part = |facet: u32| mesh.part[mesh.facets[facet as usize].tet as usize];
        let key = |p: &FacetPair| (p.set, part(p.facets[0]), part(p.facets[1]));
        let mut sizes: BTreeMap<_, (f64, f64)> = BTreeMap::new();
        for p in &self.pairs {
            let sum = sizes.entry(key(p)).or_default();
            *sum = (sum.0 + p.area_mm2, sum.1 + 1.0);
        }
        self.pairs
            .iter()
            .map(|p| {
                let (area, count) = sizes[&key(p)];
                let young = |facet| problem.materials[part(facet) as usize].young_mpa;
                let softer = young(p.facets[0]).min(young(p.facets[1]));
                multiple * softer / (area / count).sqrt()
            })
            .collect()
    }
}

impl Point {
    /// Jump of a nodal field over a point, u_b − u_a.
    pub(crate) fn jump(&self, pair: &FacetPair, u: &[Vec3]) -> Vec3 {
        let mut jump = Vec3::zeros();
        for k in 0..6 {
            let (a, b) = (pair.a[k] as usize, pair.b[k] as usize);
            jump += (u[b] - u[a]) * self.shape[k];
        }
        jump
    }

    /// Adds a force on side b, and its opposite on side a, to nodal forces.
    pub(crate) fn push(&self, pair: &FacetPair, force: Vec3, nodal: &mut [Vec3]) {
        for k in 0..6 {
            let f = force * self.shape[k];
            nodal[pair.b[k] as usize] += f;
            nodal[pair.a[k] as usize] -= f;
        }
    }
}
