//! The stiffness operator K = Σ_e Aᵀ_e K_e A_e, element by element: products without an assembled matrix (A_e gathers the nodes of
//! element e, K_e is its kernel).
//!
//! Bytes read by a product beside its vectors: 64 an element in single precision, 108 in double, with gently curved
//! edges 208 and 396, with strongly curved ones 316 and 612; the assembled matrix takes some 1,700 in either. So it is
//! arithmetic that bounds a product, not the memory.
//!
//! Elements go in chunks. A chunk works on its own copy of its nodes' values and hands the rows that no
//! other chunk touches on at once; its contributions to the others wait until all chunks are done and are summed
//! in their order, so that every value is the same sum whatever the number of threads.

use crate::assembly::InvertedTet;
use crate::element::{Inverted, Stiffness, block_of, place, stiffness_from};
use crate::element_kernel::{self, Axis, Curvature, Gradients, KernelData};
use crate::numbering::{NO_ROW, Numbering};
use bicolumn_base::Vec3;
use bicolumn_model::{Elasticity, Problem};
use bicolumn_sparse::columns::add;
use bicolumn_sparse::kernel::{Kernel, Real, dispatch};
use bicolumn_sparse::lanes::{InLanes, Laned, Lanes};
use bicolumn_sparse::{
    AddedBlocks, Aligned, Block, ConstrainedRows, Csr, Epilogue, Local, Magnitudes, Matrix,
    NodeColumns, Order, Product, Team, projected_diagonal,
};
use std::ops::Range;

/// Chunks whose sums are held at a time.
const TOGETHER: usize = 16;

/// Number of which element counts are multiples, so that they fill any lanes.
const FILL: usize = 8;

/// All elements of a model.
#[derive(Debug)]
pub struct Elements {
    rows: usize,
    chunks: Vec<Chunk>,
    /// Tetrahedron of each element; [`NO_TET`] for none.
    tets: Vec<u32>,
    /// Places of each element's nodes among those of its chunk.
    places: Vec<[u16; 10]>,
    /// Rows of each element's nodes, or [`NO_ROW`].
    rows_of: Vec<[u32; 10]>,
    /// Kernel data and curvature class of each element.
    entries: Vec<Entry>,
    double: Shapes<f64>,
    single: Shapes<f32>,
    /// Constrained components by row.
    constrained: Vec<Constrained>,
    /// Elements around each row.
    around: Csr<()>,
    /// Slots of the chunks' contributions to each border row.
    waiting: Csr<()>,
    slots: usize,
}

/// Constrained components of a row, at a place among the rows of a chunk, a region or all.
#[derive(Debug, Clone, Copy)]
struct Constrained {
    place: u32,
    components: [bool; 3],
    /// Diagonal of the stiffness, which the constrained components keep, N/mm.
    diagonal: [f64; 3],
}

impl Constrained {
    fn indices(&self) -> impl Iterator<Item = usize> + use<> {
        let components = self.components;
        (0..3).filter(move |c| components[*c])
    }

    /// M x at its place.
    fn project<T: Real, const W: usize>(&self, x: &mut [Aligned<T, W>]) {
        let to = &mut x[self.place as usize].0;
        self.indices().for_each(|c| to[c] = [T::default(); W]);
    }

    /// D x in its components of a product.
    fn restore<T: Real, const W: usize>(&self, x: &NodeColumns<T, W>, y: &mut NodeColumns<T, W>) {
        for c in self.indices() {
            let d = T::from_f64(self.diagonal[c]);
            y[c] = x[c].map(|v| d * v);
        }
    }
}

/// Constrained components at places of a range.
fn within(all: &[Constrained], places: Range<usize>) -> &[Constrained] {
    let at = |end: usize| all.partition_point(|c| (c.place as usize) < end);
    &all[at(places.start)..at(places.end)]
}

/// Fills the lanes where elements are missing.
const NO_TET: u32 = u32::MAX;

/// Elements that go together: curvature class, and whether they have an axis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Kind {
    curvature: Curvature,
    has_axes: bool,
}

/// Indices of an element's kernel data.
#[derive(Debug, Clone, Copy)]
struct Entry {
    curvature: Curvature,
    /// Index among the elements of that curvature.
    shape: u32,
    /// Index among the axes.
    axis: Option<u32>,
}

impl Entry {
    fn kind(&self) -> Kind {
        Kind {
            curvature: self.curvature,
            has_axes: self.axis.is_some(),
        }
    }
}

/// Elements of one kind, one after another.
#[derive(Debug)]
pub(crate) struct Segment {
    elements: Range<usize>,
    curvature: Curvature,
    first_shape: usize,
    first_axis: Option<usize>,
}

#[derive(Debug)]
struct Chunk {
    segments: Vec<Segment>,
    /// Rows that only it touches, and those it owns but others touch, too.
    inner: Range<usize>,
    border: Range<usize>,
    /// Rows of other chunks that it touches.
    foreign: Vec<u32>,
    /// Constrained components by place: its own rows, then the others'.
    constrained: Vec<Constrained>,
    /// Slots of its contributions to border rows: its own, then the others'.
    slots: Range<usize>,
    /// The first of its border rows in the order of `waiting`.
    first_border: usize,
}

impl Chunk {
    /// Nodes with a row.
    fn nodes(&self) -> usize {
        self.border.end - self.inner.start + self.foreign.len()
    }
}

/// Kernel data of all elements by curvature, and axes. Fewer points with curved edges, in the smoother alone, were tried:
/// 45 iterations for 30.
#[derive(Debug)]
pub(crate) struct Shapes<T> {
    straight: KernelData<T>,
    gentle: KernelData<T>,
    strong: KernelData<T>,
    axes: Vec<Axis<T>>,
}

impl<T> Default for Shapes<T> {
    fn default() -> Self {
        Shapes {
            straight: KernelData::new(Curvature::Straight),
            gentle: KernelData::new(Curvature::Gentle),
            strong: KernelData::new(Curvature::Strong),
            axes: vec![],
        }
    }
}

impl<T> Shapes<T> {
    fn of(&self, curvature: Curvature) -> &KernelData<T> {
        match curvature {
            Curvature::Straight => &self.straight,
            Curvature::Gentle => &self.gentle,
            Curvature::Strong => &self.strong,
        }
    }

    fn of_mut(&mut self, curvature: Curvature) -> &mut KernelData<T> {
        match curvature {
            Curvature::Straight => &mut self.straight,
            Curvature::Gentle => &mut self.gentle,
            Curvature::Strong => &mut self.strong,
        }
    }

    /// Numbers for which memory is held.
    fn numbers_held(&self) -> usize {
        let of = |curvature| self.of(curvature).numbers_held();
        CURVATURES.map(of).iter().sum::<usize>() + 6 * self.axes.capacity()
    }

    /// Number of elements so curved.
    fn count(&self, curvature: Curvature) -> usize {
        self.of(curvature).len()
    }

    /// Adds empty elements of a kind up to `count`.
    fn fill(&mut self, kind: Kind, count: usize)
    where
        T: Real,
    {
        if kind.has_axes {
            self.axes.resize(count, Axis::default());
        }
        self.of_mut(kind.curvature).fill(count);
    }

    fn append(&mut self, mut other: Self) {
        for curvature in CURVATURES {
            self.of_mut(curvature).append(other.of_mut(curvature));
        }
        self.axes.append(&mut other.axes);
    }

    fn shrink_to_fit(&mut self) {
        for curvature in CURVATURES {
            self.of_mut(curvature).shrink_to_fit();
        }
        self.axes.shrink_to_fit();
    }
}

/// All curvatures.
const CURVATURES: [Curvature; 3] = [Curvature::Straight, Curvature::Gentle, Curvature::Strong];

impl Shapes<f64> {
    /// Adds an element.
    fn push(
        &mut self,
        curvature: Curvature,
        nodes: &[Vec3; 10],
        law: &Elasticity,
    ) -> Result<(), Inverted> {
        self.of_mut(curvature).push(nodes, law)?;
        self.axes.extend(law.along.as_ref().map(Axis::new));
        Ok(())
    }

    /// Adds an element of `all`.
    fn push_from(&mut self, all: &Self, entry: Entry) {
        let from = all.of(entry.curvature);
        self.of_mut(entry.curvature)
            .push_from(from, entry.shape as usize);
        self.axes.extend(entry.axis.map(|a| all.axes[a as usize]));
    }

    fn single(&self) -> Shapes<f32> {
        Shapes {
            straight: self.straight.single(),
            gentle: self.gentle.single(),
            strong: self.strong.single(),
            axes: self.axes.iter().map(Axis::single).collect(),
        }
    }
}

/// Lists of indices in compressed rows, from (list, index) pairs; indices of a list in the order given.
fn index_lists(count: usize, pairs: impl Iterator<Item = (usize, u32)> + Clone) -> Csr<()> {
    Csr::from_triplets(count, pairs.map(|(list, index)| (list, index, ())))
}

/// Elements of one chunk while they are gathered.
struct Gathered {
    groups: Vec<Group>,
    foreign: Vec<u32>,
}

/// Elements of one kind.
struct Group {
    kind: Kind,
    tets: Vec<u32>,
    places: Vec<[u16; 10]>,
    shapes: Shapes<f64>,
}

impl Elements {
    /// Makes the elements of a problem ready.
    ///
    /// # Errors
    /// [`InvertedTet`]: one of them, the same for any number of threads.
    pub fn new(team: &Team, problem: &Problem, numbering: &Numbering) -> Result<Self, InvertedTet> {
        let lists: Vec<&[u32]> = numbering.partition.chunks().collect();
        let gathered = team.collect(lists.len(), |c| gather(problem, numbering, c, lists[c]));
        let mut all = Elements {
            rows: numbering.rows(),
            chunks: vec![],
            tets: vec![],
            places: vec![],
            rows_of: vec![],
            entries: vec![],
            constrained: vec![],
            double: Shapes::default(),
            single: Shapes::default(),
            around: Csr::default(),
            waiting: Csr::default(),
            slots: 0,
        };
        let mut inverted = None;
        let mut borders = 0;
        for (gathered, rows) in gathered.into_iter().zip(&numbering.chunks) {
            let g = match gathered {
                Ok(gathered) => gathered,
                Err(InvertedTet(t)) => {
                    inverted = Some(inverted.map_or(t, |first: usize| first.min(t)));
                    continue;
                }
            };
            let slots = all.slots;
            all.slots += rows.border.len() + g.foreign.len();
            let groups = g.groups.into_iter();
            let segments = groups.map(|group| all.take(group, problem, numbering));
            let segments = segments.collect();
            all.chunks.push(Chunk {
                segments,
                inner: rows.inner.clone(),
                border: rows.border.clone(),
                foreign: g.foreign,
                constrained: vec![],
                slots: slots..all.slots,
                first_border: borders,
            });
            borders += rows.border.len();
        }
        if let Some(t) = inverted {
            return Err(InvertedTet(t));
        }
        all.rows_of.shrink_to_fit();
        all.places.shrink_to_fit();
        all.double.shrink_to_fit();
        all.single = all.double.single();
        let rows_of = (0u32..).zip(&all.rows_of);
        let around = rows_of.flat_map(|(e, rows)| rows.iter().map(move |r| (*r, e)));
        let around = around.filter(|(r, _)| *r != NO_ROW);
        all.around = index_lists(all.rows, around.map(|(r, e)| (r as usize, e)));
        all.waiting = waiting(&all.chunks, all.rows, borders);
        all.constrain(team, &numbering.constrained);
        Ok(all)
    }

    /// Turns K into M K M + D (I − M), D its own diagonal.
    fn constrain(&mut self, team: &Team, rows: &ConstrainedRows) {
        if rows.is_empty() {
            return;
        }
        let diagonal = self.diagonal(team);
        let of = |(place, components): (u32, [bool; 3])| {
            let block = &diagonal[place as usize];
            Constrained {
                place,
                components,
                diagonal: [0, 1, 2].map(|c| block[c][c]),
            }
        };
        self.constrained = rows.iter().map(of).collect();
        for chunk in &mut self.chunks {
            let (first, count) = (
                chunk.inner.start as u32,
                chunk.border.end - chunk.inner.start,
            );
            let own = chunk.inner.start..chunk.border.end;
            let mine = within(&self.constrained, own).iter().map(|c| Constrained {
                place: c.place - first,
                ..*c
            });
            let others = (count as u32..)
                .zip(&chunk.foreign)
                .flat_map(|(place, row)| {
                    let row = *row as usize;
                    let here = within(&self.constrained, row..row + 1).iter();
                    here.map(move |c| Constrained { place, ..*c })
                });
            chunk.constrained = mine.chain(others).collect();
        }
    }

    fn take(&mut self, group: Group, problem: &Problem, numbering: &Numbering) -> Segment {
        let first = self.tets.len();
        let Kind {
            curvature,
            has_axes,
        } = group.kind;
        let first_shape = self.double.count(curvature);
        let first_axis = has_axes.then_some(self.double.axes.len());
        self.entries.extend((0..group.tets.len()).map(|k| Entry {
            shape: (first_shape + k) as u32,
            curvature,
            axis: first_axis.map(|axis| (axis + k) as u32),
        }));
        self.rows_of.extend(group.tets.iter().map(|&t| {
            let tet = problem.mesh().tets.get(t as usize);
            tet.map_or([NO_ROW; 10], |tet| numbering.rows_of(tet))
        }));
        self.tets.extend(group.tets);
        self.places.extend(group.places);
        self.double.append(group.shapes);
        Segment {
            elements: first..self.tets.len(),
            curvature,
            first_shape,
            first_axis,
        }
    }

    /// Number of elements, with those that fill the lanes.
    pub fn count(&self) -> usize {
        self.tets.len()
    }

    /// Bytes that a product reads beside the vectors, in numbers of so many bytes.
    pub fn bytes_read(&self, number: usize) -> u64 {
        let of = |c| KernelData::<f64>::numbers(c, self.double.count(c));
        let numbers = CURVATURES.map(of).iter().sum::<usize>() + 6 * self.double.axes.len();
        (number * numbers + 20 * self.tets.len() + 4 * self.waiting.len()) as u64
    }

    /// Shares of the elements whose edges are curved gently and strongly.
    pub fn curved(&self) -> [f64; 2] {
        let share = |curvature| self.double.count(curvature) as f64 / self.tets.len().max(1) as f64;
        [Curvature::Gentle, Curvature::Strong].map(share)
    }

    /// All elements.
    pub(crate) fn each(&self) -> impl Iterator<Item = usize> {
        (0..self.tets.len()).filter(|e| self.tets[*e] != NO_TET)
    }

    fn of_chunk(&self, chunk: &Chunk) -> impl Iterator<Item = usize> {
        let all = chunk.segments.iter().flat_map(|s| s.elements.clone());
        all.filter(|e| self.tets[*e] != NO_TET)
    }

    /// Tetrahedron of an element.
    pub(crate) fn tet(&self, e: usize) -> usize {
        self.tets[e] as usize
    }

    /// Rows of an element's nodes, [`NO_ROW`] where there is none.
    pub(crate) fn rows_of(&self, e: usize) -> &[u32; 10] {
        &self.rows_of[e]
    }

    /// Gradients of an element's shape functions at its quadrature points.
    pub(crate) fn gradients(&self, e: usize) -> Gradients {
        let entry = self.entries[e];
        self.double
            .of(entry.curvature)
            .gradients(entry.shape as usize)
    }

    /// Contributions of the elements to their nodes, chunk by chunk; summed in the order of chunks.
    fn summed<const W: usize>(
        &self,
        team: &Team,
        of_chunk: impl Fn(&Chunk, &mut [NodeColumns<f64, W>]) + Sync + Send,
    ) -> Vec<NodeColumns<f64, W>> {
        let zero = [[0.0; W]; 3];
        let mut all = vec![zero; self.rows];
        for chunks in self.chunks.chunks(TOGETHER) {
            let parts = team.collect(chunks.len(), |c| {
                let mut sums = vec![zero; chunks[c].nodes() + 1];
                of_chunk(&chunks[c], &mut sums);
                sums
            });
            for (chunk, part) in chunks.iter().zip(parts) {
                let own = chunk.inner.start..chunk.border.end;
                let rows = own.chain(chunk.foreign.iter().map(|r| *r as usize));
                for (row, value) in rows.zip(&part) {
                    add(&mut all[row], value);
                }
            }
        }
        all
    }

    fn elasticity(&self, e: usize) -> Elasticity {
        let entry = self.entries[e];
        let axis = entry.axis.map(|a| &self.double.axes[a as usize]);
        let along = axis.map(Axis::along);
        let data = self.double.of(entry.curvature);
        data.elasticity(entry.shape as usize, along)
    }
}

fn gather(
    problem: &Problem,
    numbering: &Numbering,
    chunk: usize,
    tets: &[u32],
) -> Result<Gathered, InvertedTet> {
    let mesh = problem.mesh();
    let rows = &numbering.chunks[chunk];
    let own = rows.inner.start..rows.border.end;
    let mut foreign: Vec<u32> = tets
        .iter()
        .flat_map(|t| numbering.rows_of(&mesh.tets[*t as usize]))
        .filter(|r| *r != NO_ROW && !own.contains(&(*r as usize)))
        .collect();
    foreign.sort_unstable();
    foreign.dedup();
    let nothing = (own.len() + foreign.len()) as u16;
    let place_of = |row: u32| {
        if row == NO_ROW {
            nothing
        } else if own.contains(&(row as usize)) {
            (row as usize - own.start) as u16
        } else {
            (own.len() + foreign.partition_point(|r| *r < row)) as u16
        }
    };
    let nodes = |t: u32| mesh.tets[t as usize].map(|n| mesh.nodes[n as usize]);
    let kind = |t: &u32| Kind {
        curvature: Curvature::of(&nodes(*t)),
        has_axes: problem.elasticity_of(*t as usize).along.is_some(),
    };
    let mut kinds: Vec<(Kind, u32)> = tets.iter().map(|t| (kind(t), *t)).collect();
    // Stable: within a kind in their order along the curve.
    kinds.sort_by_key(|(kind, _)| *kind);
    let mut groups = vec![];
    for of_kind in kinds.chunk_by(|a, b| a.0 == b.0) {
        let kind = of_kind[0].0;
        let mut group = Group {
            kind,
            tets: of_kind.iter().map(|(_, t)| *t).collect(),
            places: vec![],
            shapes: Shapes::default(),
        };
        for &t in &group.tets {
            let law = problem.elasticity_of(t as usize);
            let pushed = group.shapes.push(kind.curvature, &nodes(t), &law);
            pushed.map_err(|Inverted| InvertedTet(t as usize))?;
            let rows = numbering.rows_of(&mesh.tets[t as usize]);
            group.places.push(rows.map(place_of));
        }
        let full = group.tets.len().next_multiple_of(FILL);
        group.tets.resize(full, NO_TET);
        group.places.resize(full, [nothing; 10]);
        group.shapes.fill(kind, full);
        groups.push(group);
    }
    Ok(Gathered { groups, foreign })
}

/// Slots by border row.
fn waiting(chunks: &[Chunk], rows: usize, borders: usize) -> Csr<()> {
    let mut border_of_row = vec![NO_ROW; rows];
    for chunk in chunks {
        for (k, row) in chunk.border.clone().enumerate() {
            border_of_row[row] = (chunk.first_border + k) as u32;
        }
    }
    let pairs = chunks.iter().flat_map(|chunk| {
        let rows = chunk
            .border
            .clone()
            .chain(chunk.foreign.iter().map(|r| *r as usize));
        rows.zip(chunk.slots.clone())
            .map(|(row, slot)| (border_of_row[row] as usize, slot as u32))
    });
    index_lists(borders, pairs)
}

/// A precision in which kernel data are kept.
pub(crate) trait Precision: Laned {
    fn shapes(elements: &Elements) -> &Shapes<Self>;
}

impl Precision for f32 {
    fn shapes(elements: &Elements) -> &Shapes<f32> {
        &elements.single
    }
}

impl Precision for f64 {
    fn shapes(elements: &Elements) -> &Shapes<f64> {
        &elements.double
    }
}

impl<T: Real> Shapes<T> {
    /// y += K x of some elements of one curvature: `which` of its kernel data, with the `axes` if they have such.
    #[inline(always)]
    fn add_products<L: Lanes<T>, P: Into<u32> + Copy, const W: usize>(
        &self,
        l: L,
        which: (Curvature, Range<usize>),
        axes: Option<Range<usize>>,
        places: &[[P; 10]],
        x: &[Aligned<T, W>],
        y: &mut [Aligned<T, W>],
    ) {
        let axes = axes.map(|range| &self.axes[range]);
        let (curvature, range) = which;
        element_kernel::add_products(l, self.of(curvature), range, axes, places, x, y);
    }
}

impl Order for Elements {
    fn rows(&self) -> usize {
        self.rows
    }
}

impl<T: Precision> Product<T> for Elements {
    fn multiply_with<const W: usize, R: Epilogue<T, W>>(
        &self,
        team: &Team,
        x: &[NodeColumns<T, W>],
        scratch: &mut Vec<NodeColumns<T, W>>,
        rows: R,
    ) {
        self.for_rows_and(&AddedBlocks::default(), team, x, scratch, rows);
    }
}

impl Elements {
    /// As [`Product::multiply_with`] for K + C.
    pub(crate) fn for_rows_and<T: Precision, const W: usize, R: Epilogue<T, W>>(
        &self,
        added: &AddedBlocks,
        team: &Team,
        x: &[NodeColumns<T, W>],
        scratch: &mut Vec<NodeColumns<T, W>>,
        rows: R,
    ) {
        scratch.resize(self.slots, [[T::default(); W]; 3]);
        let mut jobs = vec![];
        let mut borders = vec![];
        let (mut rest, mut slots) = (rows, scratch.as_mut_slice());
        for chunk in &self.chunks {
            let (inner, later) = rest.split_at(chunk.inner.len());
            let (border, later) = later.split_at(chunk.border.len());
            rest = later;
            let (now, later) = slots.split_at_mut(chunk.slots.len());
            slots = later;
            jobs.push(ChunkProduct {
                elements: self,
                added,
                chunk,
                x,
                rows: inner,
                slots: now,
            });
            borders.push((chunk, border));
        }
        team.each(jobs, ChunkProduct::run);
        let slots = scratch.as_slice();
        team.each(borders, |(chunk, rows)| {
            dispatch(BorderSums {
                waiting: &self.waiting,
                added,
                chunk,
                x,
                slots,
                rows,
            });
        });
    }
}

struct ChunkProduct<'a, T, R, const W: usize> {
    elements: &'a Elements,
    added: &'a AddedBlocks,
    chunk: &'a Chunk,
    x: &'a [NodeColumns<T, W>],
    rows: R,
    slots: &'a mut [NodeColumns<T, W>],
}

impl<T: Precision, R: Epilogue<T, W>, const W: usize> ChunkProduct<'_, T, R, W> {
    fn run(self) {
        let chunk = self.chunk;
        let zero = Aligned([[T::default(); W]; 3]);
        // The place after the last is that of nodes without a row.
        let mut x = Vec::with_capacity(chunk.nodes() + 1);
        let own = &self.x[chunk.inner.start..chunk.border.end];
        x.extend(own.iter().map(|x| Aligned(*x)));
        x.extend(chunk.foreign.iter().map(|r| Aligned(self.x[*r as usize])));
        x.push(zero);
        chunk.constrained.iter().for_each(|c| c.project(&mut x));
        // Known zeros would be written by the C library, in a way that is slower here.
        let mut y = vec![std::hint::black_box(zero); chunk.nodes() + 1];
        T::in_lanes::<W>(ChunkForces {
            elements: self.elements,
            chunk,
            x: &x,
            y: &mut y,
        });
        let (inner, border) = y.split_at_mut(chunk.inner.len());
        self.added.add_rows(chunk.inner.clone(), self.x, inner);
        for c in within(&chunk.constrained, 0..inner.len()) {
            let place = c.place as usize;
            c.restore(&self.x[chunk.inner.start + place], &mut inner[place].0);
        }
        dispatch(Take {
            rows: self.rows,
            product: inner,
        });
        for (to, from) in self.slots.iter_mut().zip(border) {
            *to = from.0;
        }
    }
}

struct ChunkForces<'a, T, const W: usize> {
    elements: &'a Elements,
    chunk: &'a Chunk,
    x: &'a [Aligned<T, W>],
    y: &'a mut [Aligned<T, W>],
}

impl<T: Precision, const W: usize> InLanes<T> for ChunkForces<'_, T, W> {
    #[inline(always)]
    fn run<L: Lanes<T>>(self, l: L) {
        for segment in &self.chunk.segments {
            let elements = segment.elements.clone();
            let from = |first: usize| first..first + elements.len();
            T::shapes(self.elements).add_products(
                l,
                (segment.curvature, from(segment.first_shape)),
                segment.first_axis.map(from),
                &self.elements.places[elements.clone()],
                self.x,
                self.y,
            );
        }
    }
}

struct Take<'a, T, R, const W: usize> {
    rows: R,
    product: &'a [Aligned<T, W>],
}

impl<T: Real, R: Epilogue<T, W>, const W: usize> Kernel for Take<'_, T, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        self.rows.apply::<FUSED>(self.product);
    }
}

/// Rows whose sums stay in the nearest cache until the epilogue is applied.
const STRIP: usize = 64;

struct BorderSums<'a, T, R, const W: usize> {
    waiting: &'a Csr<()>,
    added: &'a AddedBlocks,
    chunk: &'a Chunk,
    x: &'a [NodeColumns<T, W>],
    slots: &'a [NodeColumns<T, W>],
    rows: R,
}

impl<T: Real, R: Epilogue<T, W>, const W: usize> Kernel for BorderSums<'_, T, R, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let mut strip = [Aligned([[T::default(); W]; 3]); STRIP];
        let mut rest = self.rows;
        let first = self.chunk.first_border;
        let borders = first..first + self.chunk.border.len();
        for start in borders.clone().step_by(STRIP) {
            let range = start..(start + STRIP).min(borders.end);
            for (to, border) in strip.iter_mut().zip(range.clone()) {
                let mut sum = [[T::default(); W]; 3];
                for slot in self.waiting.columns_of(border) {
                    add(&mut sum, &self.slots[*slot as usize]);
                }
                to.0 = sum;
            }
            let row = self.chunk.border.start + start - first;
            let strip = &mut strip[..range.len()];
            self.added.add_rows(row..row + range.len(), self.x, strip);
            let own = row - self.chunk.inner.start;
            for c in within(&self.chunk.constrained, own..own + range.len()) {
                let place = c.place as usize - own;
                c.restore(&self.x[row + place], &mut strip[place].0);
            }
            let (now, later) = rest.split_at(range.len());
            now.apply::<FUSED>(strip);
            rest = later;
        }
    }
}

impl Magnitudes for Elements {
    fn magnitudes<const W: usize>(
        &self,
        team: &Team,
        x: &[NodeColumns<f64, W>],
    ) -> Vec<NodeColumns<f64, W>> {
        let mut free = vec![];
        if !self.constrained.is_empty() {
            free = x.to_vec();
            for c in &self.constrained {
                let to = &mut free[c.place as usize];
                c.indices().for_each(|c| to[c] = [0.0; W]);
            }
        }
        let sizes = |chunk: &Chunk, sums: &mut [NodeColumns<f64, W>]| {
            dispatch(ChunkMagnitudes {
                elements: self,
                chunk,
                x: if free.is_empty() { x } else { &free },
                sums,
            });
        };
        let mut all = self.summed(team, sizes);
        for c in &self.constrained {
            let at = c.place as usize;
            c.restore(&x[at].map(|x| x.map(f64::abs)), &mut all[at]);
        }
        all
    }
}

struct ChunkMagnitudes<'a, const W: usize> {
    elements: &'a Elements,
    chunk: &'a Chunk,
    x: &'a [NodeColumns<f64, W>],
    sums: &'a mut [NodeColumns<f64, W>],
}

impl<const W: usize> Kernel for ChunkMagnitudes<'_, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let elements = self.elements;
        for e in elements.of_chunk(self.chunk) {
            let law = elements.elasticity(e);
            let gradients = elements.gradients(e);
            let sizes = if law.along.is_none() {
                isotropic_sizes(&gradients, law.lambda as f32, law.mu as f32)
            } else {
                sizes_of(&stiffness_from(&gradients, &law))
            };
            let x = elements.rows_of[e].map(|r| {
                let x = self.x.get(r as usize);
                x.map_or([[0.0; W]; 3], |x| x.map(|c| c.map(|v| v.abs() as f32)))
            });
            let mut sums = [[[0.0f32; W]; 3]; 10];
            for (row, sum) in sizes.iter().zip(sums.as_flattened_mut()) {
                let mut total = [0.0; W];
                for (node, x) in x.iter().enumerate() {
                    for c in 0..3 {
                        for k in 0..W {
                            total[k] = row[c][node].times_plus::<FUSED>(x[c][k], total[k]);
                        }
                    }
                }
                *sum = total;
            }
            for (place, sum) in elements.places[e].iter().zip(&sums) {
                let sum = sum.map(|c| c.map(f64::from));
                add(&mut self.sums[*place as usize], &sum);
            }
        }
    }
}

/// Sizes of an element matrix's entries: 30 rows, each by component and node, padded. In single precision, which is
/// enough for how large an error may be.
type Sizes = [[[f32; 16]; 3]; 30];

/// Sizes for an isotropic law, in loops long enough for the processor's vectors.
#[inline(always)]
fn isotropic_sizes(gradients: &Gradients, lambda: f32, mu: f32) -> Sizes {
    // h = Σ ± g ⊗ g.
    let mut h: Sizes = [[[0.0; 16]; 3]; 30];
    for (sign, from) in gradients.signed() {
        let mut g = [[0.0f32; 16]; 3];
        for (node, v) in from.iter().enumerate() {
            for c in 0..3 {
                g[c][node] = v[c] as f32;
            }
        }
        for (row, h) in h.iter_mut().enumerate() {
            let own = sign as f32 * g[row % 3][row / 3];
            for c in 0..3 {
                for k in 0..16 {
                    h[c][k] += own * g[c][k];
                }
            }
        }
    }
    let mut out: Sizes = [[[0.0; 16]; 3]; 30];
    for (out, h) in out
        .as_chunks_mut::<3>()
        .0
        .iter_mut()
        .zip(h.as_chunks::<3>().0)
    {
        let mut shear = [0.0; 16];
        for k in 0..16 {
            shear[k] = mu * (h[0][0][k] + h[1][1][k] + h[2][2][k]);
        }
        for r in 0..3 {
            for c in 0..3 {
                for k in 0..16 {
                    let own = if r == c { shear[k] } else { 0.0 };
                    out[r][c][k] = (lambda * h[r][c][k] + mu * h[c][r][k] + own).abs();
                }
            }
        }
    }
    out
}

fn sizes_of(stiffness: &Stiffness) -> Sizes {
    let mut out: Sizes = [[[0.0; 16]; 3]; 30];
    for a in 0..10 {
        for b in a..10 {
            let block = &stiffness[place(a, b)];
            for r in 0..3 {
                for c in 0..3 {
                    let size = block[r][c].abs() as f32;
                    out[3 * a + r][c][b] = size;
                    out[3 * b + c][r][a] = size;
                }
            }
        }
    }
    out
}

/// Elements within a region, kind by kind.
#[derive(Debug)]
pub struct Within {
    rows: usize,
    constrained: Vec<Constrained>,
    kinds: Vec<(Kind, Vec<[u32; 10]>, Shapes<f64>)>,
}

impl Local for Elements {
    type Part = Within;

    fn neighbours(&self, row: u32) -> impl Iterator<Item = u32> {
        let around = self.around.columns_of(row as usize).iter();
        around
            .flat_map(|e| self.rows_of[*e as usize])
            .filter(|r| *r != NO_ROW)
    }

    /// Only elements that lie within the region whole: it must reach as far as what is to be multiplied, and one
    /// row farther.
    fn part(&self, region: &[u32], places: &[u32]) -> Within {
        let mut elements: Vec<u32> = region
            .iter()
            .flat_map(|r| self.around.columns_of(*r as usize))
            .copied()
            .filter(|e| {
                let mut rows = self.rows_of[*e as usize].iter();
                rows.all(|r| *r == NO_ROW || (places[*r as usize] as usize) < region.len())
            })
            .collect();
        elements.sort_unstable();
        elements.dedup();
        let place_of = |r: u32| places.get(r as usize).copied();
        let nothing = region.len() as u32;
        let kind_of = |e: &u32| self.entries[*e as usize].kind();
        elements.sort_by_key(kind_of);
        let of_kinds = elements.chunk_by(|a, b| kind_of(a) == kind_of(b));
        let kinds = of_kinds.map(|of_kind| {
            let mut places = vec![];
            let mut shapes = Shapes::default();
            let kind = kind_of(&of_kind[0]);
            for &e in of_kind {
                let rows = self.rows_of[e as usize];
                places.push(rows.map(|r| place_of(r).unwrap_or(nothing)));
                shapes.push_from(&self.double, self.entries[e as usize]);
            }
            let full = places.len().next_multiple_of(FILL);
            places.resize(full, [nothing; 10]);
            shapes.fill(kind, full);
            (kind, places, shapes)
        });
        let constrained = (0u32..).zip(region).flat_map(|(place, row)| {
            let row = *row as usize;
            let here = within(&self.constrained, row..row + 1).iter();
            here.map(move |c| Constrained { place, ..*c })
        });
        Within {
            rows: region.len(),
            constrained: constrained.collect(),
            kinds: kinds.collect(),
        }
    }

    fn subtract(&self, part: &Within, given: &[[f64; 3]], r: &mut [[f64; 3]]) {
        let zero = Aligned([[0.0]; 3]);
        let mut x: Vec<Aligned<f64, 1>> = given.iter().map(|x| Aligned(x.map(|v| [v]))).collect();
        x.push(zero);
        part.constrained.iter().for_each(|c| c.project(&mut x));
        let mut y = vec![zero; part.rows + 1];
        f64::in_lanes::<1>(WithinProduct {
            part,
            x: &x,
            y: &mut y,
        });
        for c in &part.constrained {
            let at = c.place as usize;
            c.restore(&given[at].map(|v| [v]), &mut y[at].0);
        }
        for (r, y) in r.iter_mut().zip(&y) {
            for c in 0..3 {
                r[c] -= y.0[c][0];
            }
        }
    }
}

struct WithinProduct<'a> {
    part: &'a Within,
    x: &'a [Aligned<f64, 1>],
    y: &'a mut [Aligned<f64, 1>],
}

impl InLanes<f64> for WithinProduct<'_> {
    #[inline(always)]
    fn run<L: Lanes<f64>>(self, l: L) {
        for (kind, places, shapes) in &self.part.kinds {
            let count = places.len();
            let axes = kind.has_axes.then_some(0..count);
            shapes.add_products(l, (kind.curvature, 0..count), axes, places, self.x, self.y);
        }
    }
}

impl Matrix for Elements {
    fn diagonal(&self, team: &Team) -> Vec<Block<f64>> {
        let blocks = |chunk: &Chunk, sums: &mut [Block<f64>]| {
            for e in self.of_chunk(chunk) {
                let law = self.elasticity(e);
                let gradients = self.gradients(e);
                for a in 0..10 {
                    let own = block_of(gradients.pairs(a, a), &law);
                    add(&mut sums[self.places[e][a] as usize], &own);
                }
            }
        };
        let mut all = self.summed(team, blocks);
        for c in &self.constrained {
            let block = &mut all[c.place as usize];
            *block = projected_diagonal(block, c.components);
        }
        all
    }

    fn bytes(&self) -> u64 {
        let lists = self.around.bytes() + self.waiting.bytes();
        let places = 4 * self.tets.capacity()
            + 20 * self.places.capacity()
            + 40 * self.rows_of.capacity()
            + std::mem::size_of::<Entry>() * self.entries.capacity();
        lists + (8 * self.double.numbers_held() + 4 * self.single.numbers_held() + places) as u64
    }

    fn scratch_bytes(&self, width: usize, number: usize) -> u64 {
        (3 * self.slots * width * number) as u64
    }
}
