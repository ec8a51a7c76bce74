//! Cutting the complex along one surface: snap, split, relabel.
//!
//! The edges that a surface crosses are made to end on it. Where the crossing is close to a vertex,
//! the vertex is moved onto the surface, keeping the surfaces it is on already; every other crossing
//! becomes a new vertex, one edge at a time, which cuts the tetrahedra round that edge in two. So no
//! table of cases is needed and the mesh conforms after every single step.

use crate::CutStep;
use crate::Label;
use crate::adjacency::FaceTable;
use crate::complex::Complex;
use crate::lattice::Lattice;
use crate::surfaces::Surfaces;
use crate::tet::{EDGES, centroid};
use bicolumn_base::{Aabb, Vec3};

/// A crossing closer to a vertex than this share of the edge asks for a snap.
const SNAP_SHARE: f64 = 0.45;

/// A vertex this near a surface is taken to be on it when it cannot be moved, mm.
const COINCIDENT_MM: f64 = 0.004;

/// Least shape that a snap may leave, by how close the crossing is: a nearby crossing would leave a
/// worse sliver if it were split instead.
fn snap_floor(share: f64) -> f64 {
    match share {
        s if s < 0.1 => 0.12,
        s if s < 0.25 => 0.25,
        _ => 0.38,
    }
}

/// Counts of the cuts of a mesh.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
pub(crate) struct CutCount {
    pub(crate) snapped: usize,
    pub(crate) split: usize,
    /// Tetrahedra left on both sides of a cut: must be 0.
    pub(crate) astride: usize,
}

/// A complex being cut, with its tetrahedra in blocks so that a small surface costs little.
pub(crate) struct Cutter<'m, 'a> {
    mesh: &'m mut Complex,
    surfaces: &'m Surfaces<'a>,
    block: Vec<u32>,
    blocks: Vec<Block>,
    /// Value of the current surface at a vertex, valid where `seen` holds the current step.
    value: Vec<f64>,
    seen: Vec<u32>,
    step: u32,
    active: Vec<bool>,
    pub(crate) count: CutCount,
}

struct Block {
    /// Holds every vertex of the tetrahedra, also after moves.
    bounds: Aabb,
    tets: Vec<u32>,
}

impl<'m, 'a> Cutter<'m, 'a> {
    /// A cutter of the complex that was made from `lattice`.
    pub(crate) fn new(
        mesh: &'m mut Complex,
        surfaces: &'m Surfaces<'a>,
        lattice: &Lattice,
    ) -> Self {
        let count = lattice.block.iter().max().map_or(0, |b| *b as usize + 1);
        let mut blocks: Vec<Block> = (0..count)
            .map(|_| Block {
                bounds: Aabb::EMPTY,
                tets: Vec::new(),
            })
            .collect();
        for (t, b) in lattice.block.iter().enumerate() {
            let block = &mut blocks[*b as usize];
            block.tets.push(t as u32);
            for v in mesh.tets[t] {
                block.bounds = block.bounds.including(mesh.position[v as usize]);
            }
        }
        Cutter {
            value: vec![0.0; mesh.position.len()],
            seen: vec![0; mesh.position.len()],
            active: vec![false; mesh.tets.len()],
            block: lattice.block.clone(),
            blocks,
            mesh,
            surfaces,
            step: 0,
            count: CutCount::default(),
        }
    }

    /// Carries out one step.
    pub(crate) fn cut(&mut self, step: &CutStep<'_>) {
        self.step += 1;
        let surface = step.surface.0 as usize;
        let mut tets = self.select(step);
        self.evaluate(surface, &tets);
        self.snap(surface, &tets);
        self.split(surface, &mut tets);
        let changed = self.relabel(surface, step, &tets);
        self.forget_surfaces(&changed);
        for t in tets {
            self.active[t as usize] = false;
        }
    }

    /// Tetrahedra that the step may cut, ascending.
    fn select(&mut self, step: &CutStep<'_>) -> Vec<u32> {
        let mut tets = Vec::new();
        for block in &self.blocks {
            if !overlap(&block.bounds, &step.bounds) {
                continue;
            }
            let all_inside = encloses(&step.bounds, &block.bounds);
            for t in &block.tets {
                let p = self.mesh.points(&self.mesh.tets[*t as usize]);
                if (all_inside || touches(&p, &step.bounds))
                    && (step.within)(Label(self.mesh.label[*t as usize]), centroid(&p))
                {
                    tets.push(*t);
                }
            }
        }
        tets.sort_unstable();
        for t in &tets {
            self.active[*t as usize] = true;
        }
        tets
    }

    fn evaluate(&mut self, surface: usize, tets: &[u32]) {
        for t in tets {
            for v in self.mesh.tets[*t as usize] {
                let v = v as usize;
                if self.seen[v] != self.step {
                    self.seen[v] = self.step;
                    self.value[v] = if self.mesh.on[v] >> surface & 1 == 1 {
                        0.0
                    } else {
                        self.surfaces.value(surface, self.mesh.position[v])
                    };
                }
            }
        }
    }

    /// How close to a vertex, as a share of the edge, the surface crosses an edge of an active
    /// tetrahedron there; above 1 if it does not.
    fn nearest_crossing(&self, v: u32) -> f64 {
        let f = self.value[v as usize];
        let mut share = 2.0f64;
        for t in &self.mesh.star[v as usize] {
            if self.active[*t as usize] {
                for w in self.mesh.tets[*t as usize] {
                    let g = self.value[w as usize];
                    if f * g < 0.0 {
                        share = share.min(f.abs() / (f.abs() + g.abs()));
                    }
                }
            }
        }
        share
    }

    /// [`Self::nearest_crossing`] of every vertex next to a crossing, tetrahedron by tetrahedron.
    fn crossings(&self, tets: &[u32]) -> Vec<(f64, u32)> {
        let mut found: Vec<(u32, f64)> = Vec::new();
        for t in tets {
            let tet = self.mesh.tets[*t as usize];
            let f = tet.map(|v| self.value[v as usize]);
            if f.iter().all(|v| *v >= 0.0) || f.iter().all(|v| *v <= 0.0) {
                continue;
            }
            for [i, j] in EDGES {
                if f[i] * f[j] < 0.0 {
                    let length = f[i].abs() + f[j].abs();
                    found.push((tet[i], f[i].abs() / length));
                    found.push((tet[j], f[j].abs() / length));
                }
            }
        }
        found.sort_unstable_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
        found.dedup_by_key(|f| f.0);
        found.into_iter().map(|(v, share)| (share, v)).collect()
    }

    fn snap(&mut self, surface: usize, tets: &[u32]) {
        let mut wanted: Vec<(f64, u32)> = self
            .crossings(tets)
            .into_iter()
            .filter(|(share, _)| *share < SNAP_SHARE)
            .collect();
        wanted.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        for (_, v) in wanted {
            let share = self.nearest_crossing(v); // a neighbour may have snapped since
            if share >= SNAP_SHARE {
                continue;
            }
            let i = v as usize;
            let on = self.mesh.on[i] | 1 << surface;
            let moved = on.count_ones() <= 3
                && self
                    .surfaces
                    .project(on, self.mesh.position[i])
                    .is_some_and(|p| {
                        self.mesh.try_move(v, p, |before, after| {
                            after >= snap_floor(share) || after >= before
                        })
                    });
            if moved {
                self.keep_in_blocks(v);
            }
            if moved || self.value[i].abs() < COINCIDENT_MM {
                self.mesh.on[i] = on;
                self.value[i] = 0.0;
                self.count.snapped += 1;
            }
        }
    }

    fn split(&mut self, surface: usize, tets: &mut Vec<u32>) {
        let mut crossed: Vec<[u32; 2]> = Vec::new();
        for t in tets.iter() {
            let tet = self.mesh.tets[*t as usize];
            for e in EDGES {
                let [a, b] = e.map(|k| tet[k]);
                if self.value[a as usize] * self.value[b as usize] < 0.0 {
                    crossed.push([a.min(b), a.max(b)]);
                }
            }
        }
        crossed.sort_unstable();
        crossed.dedup();
        for [a, b] in crossed {
            self.split_edge(surface, a, b, tets);
        }
    }

    fn split_edge(&mut self, surface: usize, a: u32, b: u32, tets: &mut Vec<u32>) {
        let at = self.crossing(surface, a, b);
        let ring = self.mesh.ring(a, b);
        let inherited = self.inherited(a, b, &ring, at);
        let on = inherited | 1 << surface;
        let (active, block, blocks) = (&mut self.active, &mut self.block, &mut self.blocks);
        let n = self.mesh.split_edge(a, b, &ring, at, on, |parent, child| {
            let is_active = active[parent as usize];
            active.push(is_active);
            if is_active {
                tets.push(child);
            }
            let home = block[parent as usize];
            block.push(home);
            blocks[home as usize].tets.push(child);
        });
        self.value.push(0.0);
        self.seen.push(self.step);
        self.count.split += 1;
        if inherited != 0 {
            let reach = 0.3 * self.mesh.distance(a, b);
            if let Some(p) = self.surfaces.project(on, at)
                && (p - at).norm() < reach
                && self.mesh.try_move(n, p, |_, after| after >= 0.05)
            {
                self.keep_in_blocks(n);
            }
        }
    }

    /// Lets the boxes of the blocks at a vertex that has moved hold it again.
    fn keep_in_blocks(&mut self, v: u32) {
        let at = self.mesh.position[v as usize];
        for t in &self.mesh.star[v as usize] {
            let bounds = &mut self.blocks[self.block[*t as usize] as usize].bounds;
            *bounds = bounds.including(at);
        }
    }

    /// Where the surface crosses an edge, by false position with the Illinois step (Dowell and Jarratt
    /// 1971, BIT 11:168).
    fn crossing(&self, surface: usize, a: u32, b: u32) -> Vec3 {
        let [xa, xb] = [a, b].map(|v| self.mesh.position[v as usize]);
        let [mut fa, mut fb] = [a, b].map(|v| self.value[v as usize]);
        let (mut sa, mut sb) = (0.0, 1.0);
        let mut s = 0.5;
        for _ in 0..40 {
            s = (sa * fb - sb * fa) / (fb - fa);
            let f = self.surfaces.value(surface, xa + (xb - xa) * s);
            if f.abs() < 1e-10 {
                break;
            }
            if f * fb < 0.0 {
                (sa, fa) = (sb, fb);
            } else {
                fa *= 0.5;
            }
            (sb, fb) = (s, f);
        }
        xa + (xb - xa) * s.clamp(1e-4, 1.0 - 1e-4)
    }

    /// Surfaces that a vertex put into an edge takes over: those of the interface facets it halves.
    fn inherited(&self, a: u32, b: u32, ring: &[u32], at: Vec3) -> u128 {
        let common = self.mesh.shared([a, b]);
        if common == 0 {
            return 0;
        }
        let mut inherited = 0;
        for f in self.mesh.faces_around(a, b, ring) {
            // A face of one tetrahedron bounds the lattice, not the material.
            if f.is_interface() && f.labels[1] != crate::complex::REMOVED {
                let shared = common & self.mesh.on[f.apex as usize];
                if let Some(k) = self.surfaces.claim(shared, || at) {
                    inherited |= 1 << k;
                }
            }
        }
        inherited
    }

    /// Gives every tetrahedron its new label; returns those whose label has changed.
    fn relabel(&mut self, surface: usize, step: &CutStep<'_>, tets: &[u32]) -> Vec<u32> {
        let mut changed = Vec::new();
        for t in tets {
            let tet = self.mesh.tets[*t as usize];
            let c = self.mesh.centroid(*t);
            let positive = tet.iter().any(|v| self.value[*v as usize] > 0.0);
            let negative = tet.iter().any(|v| self.value[*v as usize] < 0.0);
            self.count.astride += usize::from(positive && negative);
            let side = if positive == negative {
                self.surfaces.value(surface, c) > 0.0
            } else {
                positive
            };
            let label = &mut self.mesh.label[*t as usize];
            let before = std::mem::replace(label, (step.relabel)(Label(*label), side, c).0);
            if before != *label {
                changed.push(*t);
            }
        }
        changed
    }

    /// Clears the surfaces that no interface at a vertex lies on any more: where a screw's cylinder goes on
    /// beyond its tip the host has its label back, and later cuts must not be bound to the cylinder.
    fn forget_surfaces(&mut self, changed: &[u32]) {
        let mut vertices: Vec<u32> = changed
            .iter()
            .flat_map(|t| self.mesh.tets[*t as usize])
            .filter(|v| self.mesh.on[*v as usize] != 0)
            .collect();
        vertices.sort_unstable();
        vertices.dedup();
        let kept: Vec<u128> = vertices.iter().map(|v| self.interfaces_at(*v)).collect();
        for (v, on) in vertices.into_iter().zip(kept) {
            self.mesh.on[v as usize] = on;
        }
    }

    /// The surfaces of the facets between two labels at a vertex.
    fn interfaces_at(&self, v: u32) -> u128 {
        let mesh = &*self.mesh;
        let mut on = 0;
        for (corners, t) in mesh.interface_faces(v) {
            // A face of one tetrahedron bounds the lattice, not the material.
            if mesh.across(corners, t).is_some() {
                let middle = || centroid(&corners.map(|c| mesh.position[c as usize]));
                if let Some(k) = self.surfaces.claim(mesh.shared(corners), middle) {
                    on |= 1 << k;
                }
            }
        }
        on
    }
}

fn overlap(a: &Aabb, b: &Aabb) -> bool {
    (0..3).all(|i| a.min[i] <= b.max[i] && b.min[i] <= a.max[i])
}

/// Does the box round the points overlap another?
#[inline]
fn touches(p: &[Vec3; 4], b: &Aabb) -> bool {
    (0..3).all(|i| {
        let least = p[0][i].min(p[1][i]).min(p[2][i].min(p[3][i]));
        let most = p[0][i].max(p[1][i]).max(p[2][i].max(p[3][i]));
        least <= b.max[i] && most >= b.min[i]
    })
}

fn encloses(outer: &Aabb, inner: &Aabb) -> bool {
    outer.contains(inner.min) && outer.contains(inner.max)
}

/// Clears the surfaces that no interface facet at a vertex lies on any more, and pins the vertices
/// of facets that no surface claims. Returns how many such facets there are.
pub(crate) fn settle_provenance(
    mesh: &mut Complex,
    surfaces: &Surfaces<'_>,
    table: &FaceTable,
) -> usize {
    let mut on = vec![0u128; mesh.position.len()];
    let mut unclaimed = 0;
    for (t, tet) in mesh.tets.iter().enumerate() {
        for (i, beyond) in table.beyond[t].iter().enumerate() {
            let beyond = *beyond as usize;
            if beyond < t || mesh.label.get(beyond) == Some(&mesh.label[t]) {
                continue;
            }
            let f = crate::tet::face(tet, i);
            let shared = mesh.shared(f);
            let claim = surfaces.claim(shared, || centroid(&f.map(|v| mesh.position[v as usize])));
            let bit = match claim {
                Some(k) => 1 << k,
                None => {
                    unclaimed += 1;
                    crate::surfaces::PINNED
                }
            };
            for v in f {
                on[v as usize] |= bit;
            }
        }
    }
    mesh.on = on;
    unclaimed
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lattice::{LatticeTask, lattice};
    use crate::{LatticePose, SurfaceId, SurfaceName};
    use bicolumn_geometry::Field;

    const RADIUS: f64 = 1.5;
    const TIP: f64 = 1.0;

    /// The side of an endless rod along X.
    struct Side;
    impl Field for Side {
        fn value(&self, x: Vec3) -> f64 {
            x.y.hypot(x.z) - RADIUS
        }
    }

    /// The plane that a rod ends in.
    struct Tip;
    impl Field for Tip {
        fn value(&self, x: Vec3) -> f64 {
            x.x - TIP
        }
    }

    /// A rod that ends in the middle of a block: an endless one is cut out of it, then the block has back what
    /// lies beyond the tip.
    #[test]
    fn beyond_its_tip_nothing_is_bound_to_the_side_of_a_rod() {
        const ROD: Label = Label(1);
        let lattice = lattice(&LatticeTask {
            bounds: Aabb {
                min: Vec3::repeat(-5.0),
                max: Vec3::repeat(5.0),
            },
            material: &|_| -1.0,
            size: &|_| 1.0,
            finest_mm: 1.0,
            levels: 0,
            pose: LatticePose::default(),
        });
        let fields: Vec<(SurfaceName, Box<dyn Field>)> = vec![
            (SurfaceName::Other(0), Box::new(Side)),
            (SurfaceName::Other(1), Box::new(Tip)),
        ];
        let surfaces = Surfaces::new(&fields).unwrap();
        let mut mesh = Complex::new(lattice.vertices.clone(), lattice.tets.clone());
        let mut cutter = Cutter::new(&mut mesh, &surfaces, &lattice);
        cutter.cut(&CutStep {
            surface: SurfaceId(0),
            bounds: Aabb::EVERYWHERE,
            within: Box::new(|_, _| true),
            relabel: Box::new(|l, outside, _| if outside { l } else { ROD }),
        });
        cutter.cut(&CutStep {
            surface: SurfaceId(1),
            bounds: Aabb::EVERYWHERE,
            within: Box::new(|l, _| l == ROD),
            relabel: Box::new(|l, beyond, _| if beyond { Label::VOID } else { l }),
        });
        assert_eq!(cutter.count.astride, 0);
        let bound = |beyond: bool| {
            let at = mesh.position.iter().zip(&mesh.on);
            at.filter(|(x, on)| **on & 1 != 0 && (x.x > TIP + 1e-9) == beyond)
                .count()
        };
        assert!(bound(false) > 50, "{}", bound(false));
        assert_eq!(bound(true), 0);
        // The tip itself is bound to its plane, and only inside the side.
        let on_tip: Vec<&Vec3> = mesh
            .position
            .iter()
            .zip(&mesh.on)
            .filter_map(|(x, on)| (on & 2 != 0).then_some(x))
            .collect();
        assert!(on_tip.len() > 5);
        assert!(on_tip.iter().all(|x| Side.value(**x) < 1e-9));
    }
}
