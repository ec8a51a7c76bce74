//! Forward and backward substitution over the supernodes, all right sides at once.
//!
//! Branches of the elimination tree are swept side by side, each on its own rows; what they owe to the top
//! is added in the order of the branches. In the top the rows of a wide column are shared out in pieces of
//! fixed size. So the sums do not depend on the threads.

use crate::cholesky::analysis::{Elimination, Supernode};
use crate::simd::columns::add;
use crate::simd::kernel::{Hot, Real, dispatch};
use crate::{NodeColumns, Team};

/// Columns swept at a time.
const PANEL: usize = 48;
/// Rows of one piece of work.
const PIECE: usize = 512;
/// Fewer numbers than this are not shared out.
const SHARED_FROM: usize = 1 << 16;

type Lanes<T, const W: usize> = [T; W];

/// Supernodes to be visited on the way up the tree and on the way down.
pub(crate) struct Visits<'a> {
    pub(crate) up: &'a [bool],
    pub(crate) down: &'a [bool],
}

/// L y = b, then Lᵀ x = y, in elimination order, in place. With `visits`, in these supernodes alone: b must be
/// zero in those not visited on the way up, and x is wrong in those not visited on the way down.
pub(crate) fn solve<T: Real, const W: usize>(
    team: &Team,
    shape: &Elimination,
    numbers: &[Vec<T>],
    x: &mut [NodeColumns<T, W>],
    visits: Option<&Visits<'_>>,
) {
    let is_up = |k: &usize| visits.is_none_or(|v| v.up[*k]);
    let is_down = |k: &usize| visits.is_none_or(|v| v.down[*k]);
    let alone = Team::new(1);
    let (low, top) = x.split_at_mut(shape.top_row());
    let mut pieces = vec![];
    let mut rest = &mut *low;
    for branch in &shape.branches {
        let (now, later) = std::mem::take(&mut rest).split_at_mut(branch.rows.len());
        pieces.push((branch, now));
        rest = later;
    }
    // What each branch owes to the rows of its root, all of them in the top.
    let owed = team.map(pieces, |(branch, own)| {
        let border = &shape.nodes[branch.nodes.end - 1].rows;
        let mut owed = vec![[[T::default(); W]; 3]; border.len()];
        let mut v = vec![];
        for k in branch.nodes.clone().filter(is_up) {
            let node = &shape.nodes[k];
            gather(
                node,
                &mut v,
                |_| [[T::default(); W]; 3],
                |row| own[row - branch.rows.start],
            );
            forward(&alone, node, &numbers[k], &mut v);
            scatter(node, &v, |row, value, is_own| {
                if is_own {
                    own[row - branch.rows.start] = value;
                } else if row < branch.rows.end {
                    add(&mut own[row - branch.rows.start], &value);
                } else {
                    let at = border.partition_point(|&r| (r as usize) < row);
                    add(&mut owed[at], &value);
                }
            });
        }
        owed
    });
    let first = shape.top_row();
    for (branch, owed) in shape.branches.iter().zip(owed) {
        let border = &shape.nodes[branch.nodes.end - 1].rows;
        for (&row, value) in border.iter().zip(&owed) {
            add(&mut top[row as usize - first], value);
        }
    }
    let mut v = vec![];
    for k in (shape.top()..shape.nodes.len()).filter(is_up) {
        let node = &shape.nodes[k];
        gather(
            node,
            &mut v,
            |_| [[T::default(); W]; 3],
            |row| top[row - first],
        );
        forward(team, node, &numbers[k], &mut v);
        scatter(node, &v, |row, value, is_own| {
            if is_own {
                top[row - first] = value;
            } else {
                add(&mut top[row - first], &value);
            }
        });
    }
    for k in (shape.top()..shape.nodes.len()).rev().filter(is_down) {
        let node = &shape.nodes[k];
        let read = |row: usize| top[row - first];
        gather(node, &mut v, read, read);
        backward(team, node, &numbers[k], &mut v);
        let columns = v[..3 * node.width()].as_chunks::<3>().0;
        let from = node.columns.start as usize - first;
        top[from..from + columns.len()].copy_from_slice(columns);
    }
    let mut pieces = vec![];
    let mut rest = &mut *low;
    for branch in &shape.branches {
        let (now, later) = std::mem::take(&mut rest).split_at_mut(branch.rows.len());
        pieces.push((branch, now));
        rest = later;
    }
    let top = &*top;
    team.each(pieces, |(branch, own)| {
        let mut v = vec![];
        for k in branch.nodes.clone().rev().filter(is_down) {
            let node = &shape.nodes[k];
            let read = |row: usize| {
                if row < branch.rows.end {
                    own[row - branch.rows.start]
                } else {
                    top[row - first]
                }
            };
            gather(node, &mut v, read, read);
            backward(&alone, node, &numbers[k], &mut v);
            let columns = v[..3 * node.width()].as_chunks::<3>().0;
            let from = node.columns.start as usize - branch.rows.start;
            own[from..from + columns.len()].copy_from_slice(columns);
        }
    });
}

/// Puts the values of a supernode's columns and rows side by side.
fn gather<T: Real, const W: usize>(
    node: &Supernode,
    v: &mut Vec<Lanes<T, W>>,
    of_row: impl Fn(usize) -> NodeColumns<T, W>,
    of_column: impl Fn(usize) -> NodeColumns<T, W>,
) {
    v.clear();
    v.extend(node.columns.clone().flat_map(|c| of_column(c as usize)));
    v.extend(node.rows.iter().flat_map(|&r| of_row(r as usize)));
}

/// Hands the values back: (block row, value, is it a column of the supernode).
fn scatter<T: Real, const W: usize>(
    node: &Supernode,
    v: &[Lanes<T, W>],
    mut put: impl FnMut(usize, NodeColumns<T, W>, bool),
) {
    let mut values = v.as_chunks::<3>().0.iter();
    for (c, value) in node.columns.clone().zip(&mut values) {
        put(c as usize, *value, true);
    }
    for (&r, value) in node.rows.iter().zip(values) {
        put(r as usize, *value, false);
    }
}

/// Divides the columns' values by the factor's columns and takes them off the values below.
fn forward<T: Real, const W: usize>(
    team: &Team,
    node: &Supernode,
    numbers: &[T],
    v: &mut [Lanes<T, W>],
) {
    let (columns, height) = (3 * node.width(), 3 * node.height());
    let mut at = 0;
    while at < columns {
        let width = PANEL.min(columns - at);
        let panel = &numbers[at * height..(at + width) * height];
        let (head, tail) = v[at..].split_at_mut(width);
        dispatch(Corner {
            panel,
            height,
            at,
            head: &mut *head,
            transposed: false,
        });
        let share = tail.len() * width >= SHARED_FROM;
        let pieces: Vec<_> = tail.chunks_mut(PIECE).enumerate().collect();
        let head = &*head;
        team.each_if(share, pieces, |(k, tail)| {
            dispatch(TakeOff {
                panel,
                height,
                from: at + width + k * PIECE,
                head,
                tail,
            });
        });
        at += width;
    }
}

/// Solves for the columns' values, those below being known.
fn backward<T: Real, const W: usize>(
    team: &Team,
    node: &Supernode,
    numbers: &[T],
    v: &mut [Lanes<T, W>],
) {
    let (columns, height) = (3 * node.width(), 3 * node.height());
    let panels = columns.div_ceil(PANEL);
    for at in (0..panels).rev().map(|p| p * PANEL) {
        let width = PANEL.min(columns - at);
        let panel = &numbers[at * height..(at + width) * height];
        let (head, tail) = v[at..].split_at_mut(width);
        let share = tail.len() * width >= SHARED_FROM;
        let tail = &*tail;
        let pieces: Vec<usize> = (0..tail.len().div_ceil(PIECE)).collect();
        let sums = team.map_if(share, pieces, |k| {
            let mut sums = [[T::default(); W]; PANEL];
            dispatch(Dots {
                panel,
                height,
                from: at + width + k * PIECE,
                tail: &tail[k * PIECE..((k + 1) * PIECE).min(tail.len())],
                sums: &mut sums,
            });
            sums
        });
        for sum in sums {
            for (to, sum) in head.iter_mut().zip(&sum) {
                for k in 0..W {
                    to[k] = to[k] - sum[k];
                }
            }
        }
        dispatch(Corner {
            panel,
            height,
            at,
            head,
            transposed: true,
        });
    }
}

/// The triangle of a panel.
struct Corner<'a, T, const W: usize> {
    panel: &'a [T],
    height: usize,
    at: usize,
    head: &'a mut [Lanes<T, W>],
    transposed: bool,
}

impl<T: Real, const W: usize> Hot for Corner<'_, T, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let width = self.head.len();
        for step in 0..width {
            let j = if self.transposed {
                width - 1 - step
            } else {
                step
            };
            let column = &self.panel[j * self.height + self.at..][..width];
            let pivot = T::from_f64(1.0 / column[j].to_f64());
            let (done, rest) = self.head.split_at_mut(j + 1);
            let own = &mut done[j];
            if self.transposed {
                for (v, a) in rest.iter().zip(&column[j + 1..]) {
                    minus::<T, W, FUSED>(own, *a, v);
                }
                *own = own.map(|v| v * pivot);
            } else {
                *own = own.map(|v| v * pivot);
                for (v, a) in rest.iter_mut().zip(&column[j + 1..]) {
                    minus::<T, W, FUSED>(v, *a, own);
                }
            }
        }
    }
}

/// tail ← tail − L head, for rows from `from` on.
struct TakeOff<'a, T, const W: usize> {
    panel: &'a [T],
    height: usize,
    from: usize,
    head: &'a [Lanes<T, W>],
    tail: &'a mut [Lanes<T, W>],
}

impl<T: Real, const W: usize> Hot for TakeOff<'_, T, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let rows = self.tail.len();
        let column = |j: usize| &self.panel[j * self.height + self.from..][..rows];
        // Four columns a pass, so that the values below are read and written a quarter as often.
        let (quads, rest) = self.head.as_chunks::<4>();
        for (q, t) in quads.iter().enumerate() {
            let [a, b, c, d] = [0, 1, 2, 3].map(|i| column(4 * q + i));
            let four = a.iter().zip(b).zip(c.iter().zip(d));
            for (v, ((a, b), (c, d))) in self.tail.iter_mut().zip(four) {
                minus::<T, W, FUSED>(v, *a, &t[0]);
                minus::<T, W, FUSED>(v, *b, &t[1]);
                minus::<T, W, FUSED>(v, *c, &t[2]);
                minus::<T, W, FUSED>(v, *d, &t[3]);
            }
        }
        for (j, t) in (4 * quads.len()..).zip(rest) {
            for (v, a) in self.tail.iter_mut().zip(column(j)) {
                minus::<T, W, FUSED>(v, *a, t);
            }
        }
    }
}

/// sums ← Lᵀ tail, for rows from `from` on.
struct Dots<'a, T, const W: usize> {
    panel: &'a [T],
    height: usize,
    from: usize,
    tail: &'a [Lanes<T, W>],
    sums: &'a mut [Lanes<T, W>; PANEL],
}

impl<T: Real, const W: usize> Hot for Dots<'_, T, W> {
    #[inline(always)]
    fn run<const FUSED: bool>(self) {
        let rows = self.tail.len();
        let width = self.panel.len() / self.height;
        let column = |j: usize| &self.panel[j * self.height + self.from..][..rows];
        for q in 0..width / 4 {
            let [a, b, c, d] = [0, 1, 2, 3].map(|i| column(4 * q + i));
            let mut s = [[T::default(); W]; 4];
            let four = a.iter().zip(b).zip(c.iter().zip(d));
            for (v, ((a, b), (c, d))) in self.tail.iter().zip(four) {
                minus::<T, W, FUSED>(&mut s[0], T::default() - *a, v);
                minus::<T, W, FUSED>(&mut s[1], T::default() - *b, v);
                minus::<T, W, FUSED>(&mut s[2], T::default() - *c, v);
                minus::<T, W, FUSED>(&mut s[3], T::default() - *d, v);
            }
            self.sums[4 * q..4 * q + 4].copy_from_slice(&s);
        }
        for j in width / 4 * 4..width {
            for (v, a) in self.tail.iter().zip(column(j)) {
                minus::<T, W, FUSED>(&mut self.sums[j], T::default() - *a, v);
            }
        }
    }
}

/// a ← a − l b, lane by lane.
#[inline(always)]
fn minus<T: Real, const W: usize, const FUSED: bool>(a: &mut Lanes<T, W>, l: T, b: &Lanes<T, W>) {
    let l = T::default() - l;
    for k in 0..W {
        a[k] = l.times_plus::<FUSED>(b[k], a[k]);
    }
}
