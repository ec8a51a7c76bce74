//! The background mesh: a graded body-centred cubic lattice in a balanced octree.
//!
//! Tetrahedra after Labelle and Shewchuk 2007 (ACM Trans Graph 26:57): between two cells of one
//! size, four round the segment of their centres (eight where edges are halved by smaller cells);
//! between unequal cells, the face of the smaller is cut in two from the centre of the larger's
//! face, and each triangle is joined to both cell centres.
//!
//! Cells sit at whole multiples of half the finest cell in a frame that depends on the pose alone,
//! so two designs share every cell away from their differences, bit for bit.

use crate::LatticePose;
use crate::tet::six_volumes;
use bicolumn_base::{Aabb, Vec3};
use nalgebra::Rotation3;
use std::collections::HashMap;
use std::hash::{BuildHasherDefault, Hasher};

/// Region that the lattice must cover, and its size field.
pub(crate) struct LatticeTask<'a> {
    pub(crate) bounds: Aabb,
    /// Estimated distance to the material, mm.
    pub(crate) material: &'a dyn Fn(Vec3) -> f64,
    /// Wanted edge length, mm.
    pub(crate) size: &'a dyn Fn(Vec3) -> f64,
    pub(crate) finest_mm: f64,
    /// Doublings from the finest to the coarsest cell.
    pub(crate) levels: u32,
    pub(crate) pose: LatticePose,
}

/// The lattice near the material.
pub(crate) struct Lattice {
    pub(crate) vertices: Vec<Vec3>,
    pub(crate) tets: Vec<[u32; 4]>,
    /// Block (coarsest cell) of every tetrahedron.
    pub(crate) block: Vec<u32>,
    /// Side of a block, mm.
    pub(crate) block_mm: f64,
}

/// Lattice coordinates in units of half the finest cell.
type Place = [i32; 3];

/// A cell: doublings above the finest, and its lower corner.
#[derive(Clone, Copy, PartialEq, Eq)]
struct Cell {
    doublings: u32,
    corner: Place,
}

impl Cell {
    fn side(self) -> i32 {
        2 << self.doublings
    }

    fn centre(self) -> Place {
        self.corner.map(|c| c + self.side() / 2)
    }

    fn child(self, k: i32) -> Cell {
        let half = self.side() / 2;
        let [x, y, z] = self.corner;
        Cell {
            doublings: self.doublings - 1,
            corner: [
                x + (k & 1) * half,
                y + ((k >> 1) & 1) * half,
                z + ((k >> 2) & 1) * half,
            ],
        }
    }

    /// The cell of the given size that holds a place.
    fn holding(place: Place, doublings: u32) -> Cell {
        let side = 2 << doublings;
        Cell {
            doublings,
            corner: place.map(|c| c.div_euclid(side) * side),
        }
    }

    fn key(self) -> u64 {
        (u64::from(self.doublings) << 60) | place_key(self.corner)
    }

    /// Sorts by level along the last axis first.
    fn order(self) -> (i32, i32, i32, u32) {
        (
            self.corner[2],
            self.corner[1],
            self.corner[0],
            self.doublings,
        )
    }
}

fn place_key(p: Place) -> u64 {
    const HALF: i32 = 1 << 19;
    p.iter().fold(0, |k, c| {
        (k << 20) | u64::from((c + HALF) as u32 & 0xf_ffff)
    })
}

/// Hashes the packed keys by multiplication: the maps are only asked, never walked.
#[derive(Default)]
pub(crate) struct KeyHasher(u64);

impl Hasher for KeyHasher {
    fn write(&mut self, bytes: &[u8]) {
        for b in bytes {
            self.write_u64(u64::from(*b));
        }
    }
    fn write_u64(&mut self, k: u64) {
        let m = (self.0.rotate_left(5) ^ k).wrapping_mul(0x9E37_79B9_7F4A_7C15);
        self.0 = m ^ (m >> 29);
    }
    fn finish(&self) -> u64 {
        self.0
    }
}

type KeyMap<T> = HashMap<u64, T, BuildHasherDefault<KeyHasher>>;

/// The octree: leaves, each with whether material may be near.
struct Tree<'t, 'a> {
    task: &'t LatticeTask<'a>,
    axes: Rotation3<f64>,
    leaves: KeyMap<bool>,
}

impl Tree<'_, '_> {
    fn position(&self, p: Place) -> Vec3 {
        let unit = 0.5 * self.task.finest_mm;
        self.axes * (Vec3::new(p[0].into(), p[1].into(), p[2].into()) * unit)
            + Vec3::from(self.task.pose.shift_mm)
    }

    fn width(&self, cell: Cell) -> f64 {
        0.5 * self.task.finest_mm * f64::from(cell.side())
    }

    fn near(&self, cell: Cell) -> bool {
        (self.task.material)(self.position(cell.centre())) < self.width(cell) + 0.3
    }

    /// Is a smaller size wanted at the centre, near the corners or near the faces of a cell?
    fn is_too_wide(&self, cell: Cell) -> bool {
        // The wanted size falls slowly away from a point: where it is this much larger than the cell at
        // the centre, it is not smaller anywhere else in the cell.
        const AMPLE: f64 = 1.6;
        let width = self.width(cell);
        let centre = cell.centre();
        let size_at = |p: Place| (self.task.size)(self.position(p));
        let too_wide = |size: f64| width > 1.01 * size;
        let in_middle = size_at(centre);
        if too_wide(in_middle) || in_middle > AMPLE * width {
            return too_wide(in_middle);
        }
        let reach = cell.side() / 3;
        (0..27i32)
            .map(|k| [k % 3 - 1, k / 3 % 3 - 1, k / 9 - 1])
            .filter(|d| matches!(d.iter().map(|c| c.abs()).sum::<i32>(), 1 | 3))
            .any(|d| too_wide(size_at(std::array::from_fn(|i| centre[i] + d[i] * reach))))
    }

    fn refine(&mut self, roots: impl Iterator<Item = Cell>) {
        let mut open: Vec<Cell> = roots.collect();
        while let Some(cell) = open.pop() {
            let near = self.near(cell);
            if near && cell.doublings > 0 && self.is_too_wide(cell) {
                open.extend((0..8).map(|k| cell.child(k)));
            } else {
                self.leaves.insert(cell.key(), near);
            }
        }
    }

    /// The leaf of the given size or larger that holds a place.
    fn leaf_at(&self, place: Place, smallest: u32) -> Option<(Cell, bool)> {
        (smallest..=self.task.levels).find_map(|d| {
            let cell = Cell::holding(place, d);
            self.leaves.get(&cell.key()).map(|near| (cell, *near))
        })
    }

    /// Splits leaves until no two that touch differ by more than one doubling.
    fn balance(&mut self, mut open: Vec<Cell>) {
        while let Some(cell) = open.pop() {
            if !self.leaves.contains_key(&cell.key()) {
                continue;
            }
            let side = cell.side();
            for d in 0..27 {
                let step = [d % 3 - 1, d / 3 % 3 - 1, d / 9 - 1];
                let place: Place = std::array::from_fn(|i| cell.corner[i] + step[i] * side);
                while let Some((large, _)) = self.leaf_at(place, cell.doublings) {
                    if large.doublings <= cell.doublings + 1 {
                        break;
                    }
                    self.leaves.remove(&large.key());
                    for child in (0..8).map(|k| large.child(k)) {
                        let near = self.near(child);
                        self.leaves.insert(child.key(), near);
                        open.push(child);
                    }
                }
            }
        }
    }

    /// All leaves in order.
    fn sorted(&self) -> Vec<Cell> {
        let mut cells: Vec<Cell> = self
            .leaves
            .keys()
            .map(|k| {
                let axis = |shift: u32| ((k >> shift) & 0xf_ffff) as i32 - (1 << 19);
                Cell {
                    doublings: (k >> 60) as u32,
                    corner: [axis(40), axis(20), axis(0)],
                }
            })
            .collect();
        cells.sort_unstable_by_key(|c| c.order());
        cells
    }
}

/// Builds the lattice.
pub(crate) fn lattice(task: &LatticeTask<'_>) -> Lattice {
    let mut tree = Tree {
        task,
        axes: Rotation3::from_scaled_axis(Vec3::from(task.pose.rotation_rad)),
        leaves: KeyMap::default(),
    };
    let roots = roots_over(task, &tree.axes);
    tree.refine(roots.into_iter());
    let start = tree.sorted();
    tree.balance(start);
    Tetrahedra::between(&tree).finish(&tree)
}

/// Coarsest cells that cover the bounds, with one more all round.
fn roots_over(task: &LatticeTask<'_>, axes: &Rotation3<f64>) -> Vec<Cell> {
    let unit = 0.5 * task.finest_mm;
    let mut in_lattice = Aabb::EMPTY;
    for k in 0..8 {
        let corner = Vec3::from_fn(|i, _| {
            if k >> i & 1 == 0 {
                task.bounds.min[i]
            } else {
                task.bounds.max[i]
            }
        });
        in_lattice =
            in_lattice.including(axes.inverse() * (corner - Vec3::from(task.pose.shift_mm)) / unit);
    }
    let side = 2 << task.levels;
    let range = |i: usize| {
        let first = (in_lattice.min[i] / f64::from(side)).floor() as i32 - 1;
        let last = (in_lattice.max[i] / f64::from(side)).floor() as i32 + 1;
        first..=last
    };
    let mut roots = Vec::new();
    for z in range(2) {
        for y in range(1) {
            for x in range(0) {
                roots.push(Cell {
                    doublings: task.levels,
                    corner: [x * side, y * side, z * side],
                });
            }
        }
    }
    roots
}

/// The tetrahedra being laid between the leaves.
struct Tetrahedra {
    vertices: Vec<Vec3>,
    corner_number: KeyMap<u32>,
    centre_number: KeyMap<u32>,
    block_number: KeyMap<u32>,
    tets: Vec<[u32; 4]>,
    block: Vec<u32>,
}

impl Tetrahedra {
    fn between(tree: &Tree<'_, '_>) -> Self {
        let mut out = Tetrahedra {
            vertices: Vec::new(),
            corner_number: KeyMap::default(),
            centre_number: KeyMap::default(),
            block_number: KeyMap::default(),
            tets: Vec::new(),
            block: Vec::new(),
        };
        let kept: Vec<Cell> = tree
            .sorted()
            .into_iter()
            .filter(|c| tree.leaves[&c.key()])
            .collect();
        for cell in &kept {
            for k in 0..8 {
                let place: Place =
                    std::array::from_fn(|i| cell.corner[i] + (k >> i & 1) * cell.side());
                if let std::collections::hash_map::Entry::Vacant(e) =
                    out.corner_number.entry(place_key(place))
                {
                    e.insert(out.vertices.len() as u32);
                    out.vertices.push(tree.position(place));
                }
            }
            out.centre_number
                .insert(cell.key(), out.vertices.len() as u32);
            out.vertices.push(tree.position(cell.centre()));
        }
        for cell in kept {
            for face in 0..6 {
                out.across_face(tree, cell, face / 2, face % 2 == 0);
            }
        }
        out
    }

    /// Tetrahedra between a kept cell and its neighbour of equal or larger size across one face.
    /// Smaller neighbours see to it from their side, equal ones from the lower side.
    fn across_face(&mut self, tree: &Tree<'_, '_>, cell: Cell, axis: usize, up: bool) {
        let side = cell.side();
        let (b1, b2) = ((axis + 1) % 3, (axis + 2) % 3);
        let mut beyond = cell.corner;
        beyond[axis] += if up { side } else { -side };
        let Some((other, other_kept)) = tree.leaf_at(beyond, cell.doublings) else {
            return;
        };
        let mut base = cell.corner;
        if up {
            base[axis] += side;
        }
        let square = [(0, 0), (1, 0), (1, 1), (0, 1)].map(|(u, v)| {
            let mut p = base;
            p[b1] += u * side;
            p[b2] += v * side;
            p
        });
        let centre = self.centre_number[&cell.key()];
        let block = self.block_of(cell, tree.task.levels);
        if other.doublings == cell.doublings {
            if !up || !other_kept {
                return;
            }
            let other_centre = self.centre_number[&other.key()];
            for i in 0..4 {
                let (a, b) = (square[i], square[(i + 1) % 4]);
                let middle: Place = std::array::from_fn(|k| (a[k] + b[k]) / 2);
                let [ia, ib] = [a, b].map(|p| self.corner_number[&place_key(p)]);
                // The middle of a finest edge is no lattice place.
                let halved = (side > 2)
                    .then(|| self.corner_number.get(&place_key(middle)).copied())
                    .flatten();
                match halved {
                    Some(m) => {
                        self.lay([centre, other_centre, ia, m], block);
                        self.lay([centre, other_centre, m, ib], block);
                    }
                    None => self.lay([centre, other_centre, ia, ib], block),
                }
            }
        } else {
            let mut hub = other.corner;
            hub[axis] = base[axis];
            hub[b1] += side;
            hub[b2] += side;
            let Some(at) = square.iter().position(|p| *p == hub) else {
                return;
            };
            let turn = |k: usize| self.corner_number[&place_key(square[(at + k) % 4])];
            let [hub, a, b, c] = [turn(0), turn(1), turn(2), turn(3)];
            for [p, q] in [[a, b], [b, c]] {
                self.lay([centre, hub, p, q], block);
                if other_kept {
                    self.lay([self.centre_number[&other.key()], hub, p, q], block);
                }
            }
        }
    }

    fn block_of(&mut self, cell: Cell, levels: u32) -> u32 {
        let next = self.block_number.len() as u32;
        *self
            .block_number
            .entry(Cell::holding(cell.corner, levels).key())
            .or_insert(next)
    }

    fn lay(&mut self, mut tet: [u32; 4], block: u32) {
        if six_volumes(&tet.map(|v| self.vertices[v as usize])) < 0.0 {
            tet.swap(2, 3);
        }
        self.tets.push(tet);
        self.block.push(block);
    }

    fn finish(self, tree: &Tree<'_, '_>) -> Lattice {
        Lattice {
            block_mm: tree.task.finest_mm * f64::from(1 << tree.task.levels),
            vertices: self.vertices,
            tets: self.tets,
            block: self.block,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adjacency::{NONE, face_table};
    use crate::quality::dihedral_cosines;

    fn ball(pose: LatticePose) -> Lattice {
        lattice(&LatticeTask {
            bounds: Aabb::around(&[Vec3::repeat(-6.0), Vec3::repeat(6.0)]),
            material: &|x: Vec3| x.norm() - 6.0,
            size: &|x: Vec3| 0.5 + 0.4 * (x - Vec3::x() * 5.0).norm(),
            finest_mm: 0.5,
            levels: 3,
            pose,
        })
    }

    #[test]
    fn graded_lattice_is_conforming_well_shaped_and_covers_the_material() {
        let l = ball(LatticePose::default());
        let table = face_table(l.vertices.len(), &l.tets);
        assert_eq!(table.overfull, None);
        let mut smallest = f64::INFINITY;
        let mut largest = 0.0f64;
        let mut volume = 0.0;
        for (t, tet) in l.tets.iter().enumerate() {
            let p = tet.map(|v| l.vertices[v as usize]);
            let v = six_volumes(&p) / 6.0;
            assert!(v > 0.0);
            volume += v;
            smallest = smallest.min(v);
            largest = largest.max(v);
            for a in dihedral_cosines(&p).map(|c| c.acos().to_degrees()) {
                assert!((44.9..120.1).contains(&a), "{a}");
            }
            for (i, beyond) in table.beyond[t].iter().enumerate() {
                if *beyond == NONE {
                    for v in crate::tet::face(tet, i) {
                        assert!(l.vertices[v as usize].norm() > 6.0, "hole in the lattice");
                    }
                }
            }
        }
        assert!(largest / smallest > 60.0, "graded: {}", largest / smallest);
        assert!(volume > 4.0 / 3.0 * std::f64::consts::PI * 216.0);
        assert_eq!(l.block.len(), l.tets.len());
    }

    #[test]
    fn same_pose_gives_the_same_bits() {
        let (a, b) = (ball(LatticePose::default()), ball(LatticePose::default()));
        assert_eq!(a.vertices, b.vertices);
        assert_eq!(a.tets, b.tets);
    }
}
