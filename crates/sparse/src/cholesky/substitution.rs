//! Forward and backward substitution over the supernodes, L y = b and Lᵀ x = y, all right-hand sides at once.
//!
//! For a supernode with columns J and rows R below: y_J = L_JJ⁻¹ b_J and b_R ← b_R − L_RJ y_J on the way up the tree,
//! x_J = L_JJ⁻ᵀ (y_J − L_RJᵀ x_R) on the way down. Subtrees are swept side by side, each on its own rows; their contributions to the
//! top are added in the order of the subtrees. In the top the rows of a wide supernode are shared out in pieces of fixed size. So
//! the sums do not depend on the threads.

use crate::cholesky::analysis::{Subtree, Supernode, SymbolicFactor};
use crate::simd::columns::add;
use crate::simd::kernel::{Kernel, Real, dispatch};
use crate::{NodeColumns, Team};

/// Columns swept at a time.
const PANEL: usize = 48;
/// Rows of one piece of work.
const PIECE: usize = 512;
/// Number of values of L from which the work on them is shared out.
const SHARED_FROM: usize = 1 << 16;

/// One degree of freedom, all right-hand sides.
type Entry<T, const W: usize> = [T; W];

/// Supernodes that take part in forward (`up`) and in backward substitution (`down`).
pub(crate) struct Reach<'a> {
    pub(crate) up: &'a [bool],
    pub(crate) down: &'a [bool],
}

/// L y = b, then Lᵀ x = y, in elimination order, in place. With `reach`, in these supernodes alone: b must be zero in those not
/// reached on the way up, and x is wrong in those not reached on the way down.
pub(crate) fn solve<T: Real, const W: usize>(
    team: &Team,
    symbolic: &SymbolicFactor,
    values: &[Vec<T>],
    x: &mut [NodeColumns<T, W>],
    reach: Option<&Reach<'_>>,
) {
    let is_up = |k: &usize| reach.is_none_or(|v| v.up[*k]);
    let is_down = |k: &usize| reach.is_none_or(|v| v.down[*k]);
    let alone = Team::new(1);
    let (low, top) = x.split_at_mut(symbolic.top_row());
    let pieces = rows_of_subtrees(&symbolic.subtrees, low);
    // The contribution of each subtree to the rows below its root, all of them in the top.
    let contributions = team.map(pieces, |(subtree, own)| {
        let border = &symbolic.supernodes[subtree.supernodes.end - 1].rows;
        let mut contribution = vec![[[T::default(); W]; 3]; border.len()];
        let mut v = vec![];
        for k in subtree.supernodes.clone().filter(is_up) {
            let node = &symbolic.supernodes[k];
            gather(
                node,
                &mut v,
                |_| [[T::default(); W]; 3],
                |row| own[row - subtree.rows.start],
            );
            forward(&alone, node, &values[k], &mut v);
            scatter(node, &v, |row, value, is_own| {
                if is_own {
                    own[row - subtree.rows.start] = value;
                } else if row < subtree.rows.end {
                    add(&mut own[row - subtree.rows.start], &value);
                } else {
                    let at = border.partition_point(|&r| (r as usize) < row);
                    add(&mut contribution[at], &value);
                }
            });
        }
        contribution
    });
    let first = symbolic.top_row();
    for (subtree, contribution) in symbolic.subtrees.iter().zip(contributions) {
        let border = &symbolic.supernodes[subtree.supernodes.end - 1].rows;
        for (&row, value) in border.iter().zip(&contribution) {
            add(&mut top[row as usize - first], value);
        }
    }
    let mut v = vec![];
    for k in (symbolic.top()..symbolic.supernodes.len()).filter(is_up) {
        let node = &symbolic.supernodes[k];
        gather(
            node,
            &mut v,
            |_| [[T::default(); W]; 3],
            |row| top[row - first],
        );
        forward(team, node, &values[k], &mut v);
        scatter(node, &v, |row, value, is_own| {
            if is_own {
                top[row - first] = value;
            } else {
                add(&mut top[row - first], &value);
            }
        });
    }
    for k in (symbolic.top()..symbolic.supernodes.len())
        .rev()
        .filter(is_down)
    {
        let node = &symbolic.supernodes[k];
        let read = |row: usize| top[row - first];
        gather(node, &mut v, read, read);
        backward(team, node, &values[k], &mut v);
        let columns = v[..3 * node.width()].as_chunks::<3>().0;
        let from = node.columns.start as usize - first;
        top[from..from + columns.len()].copy_from_slice(columns);
    }
    let pieces = rows_of_subtrees(&symbolic.subtrees, low);
    let top = &*top;
    team.each(pieces, |(subtree, own)| {
        let mut v = vec![];
        for k in subtree.supernodes.clone().rev().filter(is_down) {
            let node = &symbolic.supernodes[k];
            let read = |row: usize| {
                if row < subtree.rows.end {
                    own[row - subtree.rows.start]
                } else {
                    top[row - first]
                }
            };
            gather(node, &mut v, read, read);
            backward(&alone, node, &values[k], &mut v);
            let columns = v[..3 * node.width()].as_chunks::<3>().0;
            let from = node.columns.start as usize - subtree.rows.start;
            own[from..from + columns.len()].copy_from_slice(columns);
        }
    });
}

/// The rows of each subtree.
fn rows_of_subtrees<'a, X>(
    subtrees: &'a [Subtree],
    rows: &'a mut [X],
) -> Vec<(&'a Subtree, &'a mut [X])> {
    let mut rest = rows;
    let each = subtrees.iter().map(|subtree| {
        let (own, later) = std::mem::take(&mut rest).split_at_mut(subtree.rows.len());
        rest = later;
        (subtree, own)
    });
    each.collect()
}

/// Gathers the values at a supernode's columns and rows.
fn gather<T: Real, const W: usize>(
    node: &Supernode,
    v: &mut Vec<Entry<T, W>>,
    of_row: impl Fn(usize) -> NodeColumns<T, W>,
    of_column: impl Fn(usize) -> NodeColumns<T, W>,
) {
    v.clear();
    v.extend(node.columns.clone().flat_map(|c| of_column(c as usize)));
    v.extend(node.rows.iter().flat_map(|&r| of_row(r as usize)));
}

/// Scatters the values again: (block row, value, is it a column of the supernode).
fn scatter<T: Real, const W: usize>(
    node: &Supernode,
    v: &[Entry<T, W>],
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

/// y_J = L_JJ⁻¹ b_J and b_R ← b_R − L_RJ y_J, panel by panel.
fn forward<T: Real, const W: usize>(
    team: &Team,
    node: &Supernode,
    values: &[T],
    v: &mut [Entry<T, W>],
) {
    let (columns, height) = (3 * node.width(), 3 * node.height());
    let mut at = 0;
    while at < columns {
        let width = PANEL.min(columns - at);
        let panel = &values[at * height..(at + width) * height];
        let (head, tail) = v[at..].split_at_mut(width);
        dispatch(Triangle {
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
            dispatch(SubtractProduct {
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

/// x_J = L_JJ⁻ᵀ (y_J − L_RJᵀ x_R), panel by panel.
fn backward<T: Real, const W: usize>(
    team: &Team,
    node: &Supernode,
    values: &[T],
    v: &mut [Entry<T, W>],
) {
    let (columns, height) = (3 * node.width(), 3 * node.height());
    let panels = columns.div_ceil(PANEL);
    for at in (0..panels).rev().map(|p| p * PANEL) {
        let width = PANEL.min(columns - at);
        let panel = &values[at * height..(at + width) * height];
        let (head, tail) = v[at..].split_at_mut(width);
        let share = tail.len() * width >= SHARED_FROM;
        let tail = &*tail;
        let pieces: Vec<usize> = (0..tail.len().div_ceil(PIECE)).collect();
        let sums = team.map_if(share, pieces, |k| {
            let mut sums = [[T::default(); W]; PANEL];
            dispatch(TransposedProduct {
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
        dispatch(Triangle {
            panel,
            height,
            at,
            head,
            transposed: true,
        });
    }
}

/// Substitution with the triangle of a panel.
struct Triangle<'a, T, const W: usize> {
    panel: &'a [T],
    height: usize,
    at: usize,
    head: &'a mut [Entry<T, W>],
    transposed: bool,
}

impl<T: Real, const W: usize> Kernel for Triangle<'_, T, W> {
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
                    subtract_scaled::<T, W, FUSED>(own, *a, v);
                }
                *own = own.map(|v| v * pivot);
            } else {
                *own = own.map(|v| v * pivot);
                for (v, a) in rest.iter_mut().zip(&column[j + 1..]) {
                    subtract_scaled::<T, W, FUSED>(v, *a, own);
                }
            }
        }
    }
}

/// tail ← tail − L head, for rows from `from` on.
struct SubtractProduct<'a, T, const W: usize> {
    panel: &'a [T],
    height: usize,
    from: usize,
    head: &'a [Entry<T, W>],
    tail: &'a mut [Entry<T, W>],
}

impl<T: Real, const W: usize> Kernel for SubtractProduct<'_, T, W> {
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
                subtract_scaled::<T, W, FUSED>(v, *a, &t[0]);
                subtract_scaled::<T, W, FUSED>(v, *b, &t[1]);
                subtract_scaled::<T, W, FUSED>(v, *c, &t[2]);
                subtract_scaled::<T, W, FUSED>(v, *d, &t[3]);
            }
        }
        for (j, t) in (4 * quads.len()..).zip(rest) {
            for (v, a) in self.tail.iter_mut().zip(column(j)) {
                subtract_scaled::<T, W, FUSED>(v, *a, t);
            }
        }
    }
}

/// sums ← Lᵀ tail, for rows from `from` on.
struct TransposedProduct<'a, T, const W: usize> {
    panel: &'a [T],
    height: usize,
    from: usize,
    tail: &'a [Entry<T, W>],
    sums: &'a mut [Entry<T, W>; PANEL],
}

impl<T: Real, const W: usize> Kernel for TransposedProduct<'_, T, W> {
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
                subtract_scaled::<T, W, FUSED>(&mut s[0], T::default() - *a, v);
                subtract_scaled::<T, W, FUSED>(&mut s[1], T::default() - *b, v);
                subtract_scaled::<T, W, FUSED>(&mut s[2], T::default() - *c, v);
                subtract_scaled::<T, W, FUSED>(&mut s[3], T::default() - *d, v);
            }
            self.sums[4 * q..4 * q + 4].copy_from_slice(&s);
        }
        for j in width / 4 * 4..width {
            for (v, a) in self.tail.iter().zip(column(j)) {
                subtract_scaled::<T, W, FUSED>(&mut self.sums[j], T::default() - *a, v);
            }
        }
    }
}

/// a ← a − l b for all right-hand sides.
#[inline(always)]
fn subtract_scaled<T: Real, const W: usize, const FUSED: bool>(
    a: &mut Entry<T, W>,
    l: T,
    b: &Entry<T, W>,
) {
    let l = T::default() - l;
    for k in 0..W {
        a[k] = l.times_plus::<FUSED>(b[k], a[k]);
    }
}
