//! Contact interfaces: facet pairs with their laws and initial gaps, gathered at contact points.

use crate::Law;
use crate::patches;
use crate::point::Point;
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
    corners: Vec<Corner>,
}

/// A corner of an interface's facets.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Corner {
    /// Place on side a, mm.
    pub(crate) at: Vec3,
    /// ∫ ψ_k dA, mm².
    pub(crate) area: f64,
    /// Point whose hat functions include this corner's.
    pub(crate) point: u32,
}

/// Running sums of a point.
#[derive(Default)]
struct Sums {
    area: f64,
    places: Vec<(Vec3, f64)>,
    normal: Vec3,
    gap: f64,
    stencil: BTreeMap<(u32, u32), f64>,
    around: BTreeMap<u32, f64>,
}

impl Interfaces {
    /// All interfaces of a mesh under one law, at the gaps of the mesh.
    pub fn new(split: &SplitMesh, law: Law) -> Self {
        Self::with_laws(split, |_| law)
    }

    /// All interfaces of a mesh, each set under the law chosen for it.
    pub fn with_laws(split: &SplitMesh, law_of: impl Fn(&PairSet) -> Law) -> Self {
        let nodes = &split.mesh.nodes;
        let mut sums: BTreeMap<(u16, u32, u32), Sums> = BTreeMap::new();
        for (k, pair) in (0u32..).zip(&split.pairs) {
            for p in facet_points(&pair.a.map(|n| nodes[n as usize])) {
                let n = p.shape;
                let hats = [
                    n[0] + 0.5 * (n[3] + n[5]),
                    n[1] + 0.5 * (n[3] + n[4]),
                    n[2] + 0.5 * (n[4] + n[5]),
                ];
                let gap: f64 = n.iter().zip(pair.gap_mm).map(|(s, g)| s * g).sum();
                for (c, hat) in hats.into_iter().enumerate() {
                    let w = hat * p.area;
                    let to = sums.entry((pair.set, pair.a[c], pair.b[c])).or_default();
                    to.area += w;
                    to.places.push((p.position, w));
                    to.normal += p.normal * w;
                    to.gap += gap * w;
                    *to.around.entry(k).or_default() += w;
                    for m in (0..6).filter(|m| pair.a[*m] != pair.b[*m]) {
                        *to.stencil.entry((pair.a[m], pair.b[m])).or_default() += w * n[m];
                    }
                }
            }
        }
        let corners = (0u32..).zip(&sums).map(|(k, ((_, a, _), s))| Corner {
            at: nodes[*a as usize],
            area: s.area,
            point: k,
        });
        let corners = corners.collect();
        let points = sums.into_iter().map(|((set, _, _), s)| Point {
            set: usize::from(set),
            places: s.places.iter().map(|(x, w)| (*x, w / s.area)).collect(),
            normal: s.normal.normalize(),
            mean_normal: s.normal / s.area,
            area: s.area,
            gap: s.gap / s.area,
            stencil: s
                .stencil
                .into_iter()
                .map(|((a, b), w)| (a, b, w / s.area))
                .collect(),
            around: s.around.into_iter().map(|(k, w)| (k, w / s.area)).collect(),
        });
        Interfaces {
            laws: split.sets.iter().map(law_of).collect(),
            sets: split.sets.clone(),
            pairs: split.pairs.clone(),
            points: points.collect(),
            corners,
        }
    }

    /// Coarsened interfaces: corners are gathered into patches of at least the area given for their set and place, wherever
    /// sides that face about the same way allow it: laws then hold for the mean over a patch, and pressure and
    /// shear are even in it.
    ///
    /// Facets that the shape of a small part made small resolve more than the displacements around them
    /// can use, and each of their corners costs as much as any other.
    #[must_use]
    pub fn coarsened(mut self, least_area_mm2: impl Fn(&PairSet, Vec3) -> f64) -> Self {
        let sets = &self.sets;
        let patch_of = patches::gather(&self.points, |set, at| least_area_mm2(&sets[set], at));
        let mut members: Vec<Vec<Point>> = vec![];
        for (point, patch) in self.points.into_iter().zip(&patch_of) {
            let patch = *patch as usize;
            members.resize(members.len().max(patch + 1), vec![]);
            members[patch].push(point);
        }
        for corner in &mut self.corners {
            corner.point = patch_of[corner.point as usize];
        }
        self.points = members.iter().map(|m| Point::joined(m)).collect();
        self
    }

    /// Adds to the initial gap of the sets that `of` accepts, by place on side a: a stand-off, an
    /// interference (negative), a profile.
    pub fn add_gap(&mut self, of: impl Fn(&PairSet) -> bool, gap_mm: impl Fn(Vec3) -> f64) {
        for p in &mut self.points {
            if of(&self.sets[p.set]) {
                p.gap += p.places.iter().map(|(x, w)| gap_mm(*x) * w).sum::<f64>();
            }
        }
    }

    /// Interface sets.
    pub fn sets(&self) -> &[PairSet] {
        &self.sets
    }

    /// Laws by set.
    pub fn laws(&self) -> &[Law] {
        &self.laws
    }

    /// Laws by set, with one kind of interface under another law, for a step.
    pub fn laws_with(&self, kind: PairKind, law: Law) -> Vec<Law> {
        self.sets
            .iter()
            .zip(&self.laws)
            .map(|(s, l)| if s.kind == kind { law } else { *l })
            .collect()
    }

    pub(crate) fn corners(&self) -> &[Corner] {
        &self.corners
    }

    pub(crate) fn points(&self) -> &[Point] {
        &self.points
    }

    /// Interface stiffness ε of each point, MPa/mm: `multiple` of the softer side's modulus over the size
    /// of the facets around.
    pub(crate) fn stiffnesses(&self, problem: &Problem, multiple: f64) -> Vec<f64> {
        let mesh: &TetMesh = problem.mesh();
        let young = |facet: u32| {
            let tet = mesh.facets[facet as usize].tet;
            problem.material_of(tet as usize).young_mpa
        };
        let of_pair = |k: u32| {
            let p = &self.pairs[k as usize];
            young(p.facets[0]).min(young(p.facets[1])) / p.area_mm2.sqrt()
        };
        self.points
            .iter()
            .map(|p| {
                let mean: f64 = p.around.iter().map(|(k, share)| of_pair(*k) * share).sum();
                multiple * mean
            })
            .collect()
    }
}
