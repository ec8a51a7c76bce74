//! Symbolic factorisation: elimination tree, supernodes and their rows, and a cut of the tree for parallel work.
//!
//! Works on block rows (three degrees of freedom each). Elimination tree by Liu 1990 (SIAM J Matrix Anal Appl 11:134); maximal
//! supernodes, then relaxed: merged with their parent where that adds few zeros (Ashcraft and Grimes 1989, ACM Trans Math Softw
//! 15:291). The tree is cut into independent *subtrees* and the *top* that joins them. The cut depends on the pattern alone, so
//! that the values do not depend on the threads.

use crate::Pattern;
use std::ops::Range;

/// The parent of a root.
pub(crate) const NONE: u32 = u32::MAX;

/// Largest share of all multiplications in one subtree: there are then enough of them to keep many threads busy.
const SUBTREE_SHARE: f64 = 1.0 / 24.0;

/// Relaxation: a supernode is merged with its parent when they have at most so many columns together and zeros make up less than
/// this share of the merged columns.
const RELAXATION: [(usize, f64); 4] = [(2, 1.0), (6, 0.6), (16, 0.12), (usize::MAX, 0.05)];

/// A supernode: neighbouring columns with the same rows below, eliminated together in one frontal matrix.
#[derive(Debug, Clone)]
pub(crate) struct Supernode {
    /// Columns, in elimination order.
    pub(crate) columns: Range<u32>,
    /// Rows below the columns, sorted.
    pub(crate) rows: Vec<u32>,
    /// Place of each of `rows` in the front (columns, then rows) of the parent.
    pub(crate) in_parent: Vec<u32>,
    /// Supernodes whose parent this one is, in order.
    pub(crate) children: Vec<u32>,
    parent: u32,
}

impl Supernode {
    /// Number of columns.
    pub(crate) fn width(&self) -> usize {
        self.columns.len()
    }

    /// Order of the frontal matrix: columns and rows.
    pub(crate) fn height(&self) -> usize {
        self.columns.len() + self.rows.len()
    }

    /// Number of multiplications of the elimination.
    pub(crate) fn work(&self) -> f64 {
        let (w, h) = (3.0 * self.width() as f64, 3.0 * self.height() as f64);
        // ∑ (h − k)² / 2 over the columns k.
        (h * h * w - h * w * w + w * w * w / 3.0) / 2.0
    }

    /// Number of stored values: full columns.
    pub(crate) fn values(&self) -> usize {
        9 * self.width() * self.height()
    }
}

/// A subtree of the elimination tree that can be eliminated by itself.
#[derive(Debug, Clone)]
pub(crate) struct Subtree {
    /// Supernodes; the last is the root.
    pub(crate) supernodes: Range<usize>,
    /// Block rows.
    pub(crate) rows: Range<usize>,
}

/// Elimination order, supernodes and subtrees of a factor.
#[derive(Debug, Clone)]
pub(crate) struct SymbolicFactor {
    /// Block row eliminated k-th.
    pub(crate) order: Vec<u32>,
    /// Place of each block row in the elimination order.
    pub(crate) position: Vec<u32>,
    /// Supernodes, children before parents: all subtrees, then the top.
    pub(crate) supernodes: Vec<Supernode>,
    /// The independent subtrees.
    pub(crate) subtrees: Vec<Subtree>,
}

impl SymbolicFactor {
    /// The symbolic factor of a pattern in a fill-reducing order.
    pub(crate) fn new(pattern: &Pattern, order: &[u32]) -> Self {
        let position = inverse(order);
        let parent = tree(pattern, order, &position);
        let post = postorder(&parent);
        let order: Vec<u32> = post.iter().map(|&k| order[k as usize]).collect();
        let renumber = inverse(&post);
        let parent: Vec<u32> = post
            .iter()
            .map(|&k| match parent[k as usize] {
                NONE => NONE,
                p => renumber[p as usize],
            })
            .collect();
        let position = inverse(&order);
        let nodes = supernodes(pattern, &order, &position, &parent);
        Self::cut(order, nodes)
    }

    /// First supernode of the top.
    pub(crate) fn top(&self) -> usize {
        self.subtrees.last().map_or(0, |b| b.supernodes.end)
    }

    /// First block row of the top.
    pub(crate) fn top_row(&self) -> usize {
        self.subtrees.last().map_or(0, |b| b.rows.end)
    }

    /// Cuts the tree into subtrees and moves the top behind them.
    fn cut(order: Vec<u32>, nodes: Vec<Supernode>) -> Self {
        let mut work: Vec<f64> = nodes.iter().map(Supernode::work).collect();
        let mut first: Vec<usize> = (0..nodes.len()).collect();
        for k in 0..nodes.len() {
            for &c in &nodes[k].children {
                work[k] += work[c as usize];
                first[k] = first[k].min(first[c as usize]);
            }
        }
        let roots = (0..nodes.len()).filter(|&k| nodes[k].parent == NONE);
        let total: f64 = roots.clone().map(|k| work[k]).sum();
        let mut in_top = vec![false; nodes.len()];
        let mut waiting: Vec<usize> = roots.collect();
        let mut chosen = vec![];
        while let Some(k) = waiting.pop() {
            if work[k] > SUBTREE_SHARE * total && !nodes[k].children.is_empty() {
                in_top[k] = true;
                waiting.extend(nodes[k].children.iter().map(|&c| c as usize));
            } else {
                chosen.push(k);
            }
        }
        chosen.sort_unstable();
        let mut sequence: Vec<usize> = vec![];
        let mut subtrees = vec![];
        let mut rows = 0;
        for root in chosen {
            let start = (sequence.len(), rows);
            for k in first[root]..=root {
                sequence.push(k);
                rows += nodes[k].width();
            }
            subtrees.push(Subtree {
                supernodes: start.0..sequence.len(),
                rows: start.1..rows,
            });
        }
        sequence.extend((0..nodes.len()).filter(|&k| in_top[k]));
        // Moving the top behind keeps the order along every path to the root, so rows stay sorted.
        let mut new_row = vec![0u32; order.len()];
        let mut new_order = Vec::with_capacity(order.len());
        let mut new_node = vec![0u32; nodes.len()];
        for (at, &k) in sequence.iter().enumerate() {
            new_node[k] = at as u32;
            for row in nodes[k].columns.clone() {
                new_row[row as usize] = new_order.len() as u32;
                new_order.push(order[row as usize]);
            }
        }
        let mut moved: Vec<Supernode> = vec![];
        for &k in &sequence {
            let old = &nodes[k];
            let start = new_row[old.columns.start as usize];
            moved.push(Supernode {
                columns: start..start + old.width() as u32,
                rows: old.rows.iter().map(|&r| new_row[r as usize]).collect(),
                in_parent: vec![],
                children: old.children.iter().map(|&c| new_node[c as usize]).collect(),
                parent: match old.parent {
                    NONE => NONE,
                    p => new_node[p as usize],
                },
            });
        }
        for k in 0..moved.len() {
            let Some(parent) = moved.get(moved[k].parent as usize) else {
                continue;
            };
            let (start, width) = (parent.columns.start, parent.width() as u32);
            let place = |&row: &u32| {
                if row < start + width {
                    row - start
                } else {
                    width + parent.rows.partition_point(|&r| r < row) as u32
                }
            };
            moved[k].in_parent = moved[k].rows.iter().map(place).collect();
        }
        SymbolicFactor {
            position: inverse(&new_order),
            order: new_order,
            supernodes: moved,
            subtrees,
        }
    }
}

impl SymbolicFactor {
    /// Marks the supernodes that right-hand sides on some block rows reach: their own and all ancestors.
    pub(crate) fn reach(&self, rows: impl Iterator<Item = u32>) -> Vec<bool> {
        let mut reached = vec![false; self.supernodes.len()];
        for row in rows {
            let at = self.position[row as usize];
            reached[self.supernodes.partition_point(|n| n.columns.end <= at)] = true;
        }
        for (k, node) in self.supernodes.iter().enumerate() {
            reached[k] |= node.children.iter().any(|&c| reached[c as usize]);
        }
        reached
    }
}

/// Inverse of a permutation.
fn inverse(order: &[u32]) -> Vec<u32> {
    let mut position = vec![0; order.len()];
    for (k, &o) in (0u32..).zip(order) {
        position[o as usize] = k;
    }
    position
}

/// Elimination tree: parent of each column, in elimination order.
fn tree(pattern: &Pattern, order: &[u32], position: &[u32]) -> Vec<u32> {
    let mut parent = vec![NONE; order.len()];
    let mut ancestor = vec![NONE; order.len()];
    for (j, &row) in (0u32..).zip(order) {
        for &neighbour in pattern.row(row as usize) {
            let mut k = position[neighbour as usize];
            // Climb from k to j, pointing all on the way at j.
            while k < j {
                let next = std::mem::replace(&mut ancestor[k as usize], j);
                if next == NONE {
                    parent[k as usize] = j;
                    break;
                }
                k = next;
            }
        }
    }
    parent
}

/// Postorder of a tree: every child before its parent, every subtree in one piece.
fn postorder(parent: &[u32]) -> Vec<u32> {
    let n = parent.len();
    let mut first_child = vec![NONE; n];
    let mut sibling = vec![NONE; n];
    let mut roots = vec![];
    for k in (0..n as u32).rev() {
        match parent[k as usize] {
            NONE => roots.push(k),
            p => {
                sibling[k as usize] = first_child[p as usize];
                first_child[p as usize] = k;
            }
        }
    }
    roots.reverse();
    let mut out = Vec::with_capacity(n);
    for root in roots {
        let mut path = vec![root];
        while let Some(&k) = path.last() {
            let child = first_child[k as usize];
            if child == NONE {
                out.push(k);
                path.pop();
            } else {
                first_child[k as usize] = sibling[child as usize];
                path.push(child);
            }
        }
    }
    out
}

/// Relaxed supernodes of a postordered elimination tree.
fn supernodes(
    pattern: &Pattern,
    order: &[u32],
    position: &[u32],
    parent: &[u32],
) -> Vec<Supernode> {
    let n = order.len();
    let mut children: Vec<Vec<u32>> = vec![vec![]; n];
    for k in 0..n {
        if parent[k] != NONE {
            children[parent[k] as usize].push(k as u32);
        }
    }
    let mut below: Vec<Vec<u32>> = vec![vec![]; n];
    let mut mark = vec![NONE; n];
    // Supernodes so far, the last ones still open to merging: (columns, rows, zero blocks).
    let mut done: Vec<(Range<u32>, Vec<u32>, usize)> = vec![];
    for j in 0..n as u32 {
        let mut rows: Vec<u32> = vec![];
        mark[j as usize] = j;
        let mut own = true;
        for (k, &child) in children[j as usize].iter().rev().enumerate() {
            let from = std::mem::take(&mut below[child as usize]);
            if k == 0 {
                // The last child, j − 1: its rows, but for j itself, are a good start.
                rows = from;
                rows.retain(|&r| r != j);
                rows.iter().for_each(|&r| mark[r as usize] = j);
                own = false;
                continue;
            }
            for r in from {
                if mark[r as usize] != j {
                    mark[r as usize] = j;
                    rows.push(r);
                    own = true;
                }
            }
        }
        let before = rows.len();
        for &neighbour in pattern.row(order[j as usize] as usize) {
            let r = position[neighbour as usize];
            if r > j && mark[r as usize] != j {
                mark[r as usize] = j;
                rows.push(r);
            }
        }
        let grown = own || rows.len() > before;
        if grown {
            rows.sort_unstable();
        }
        let joins = match done.last() {
            Some((columns, old, _)) => {
                columns.end == j && parent[j as usize - 1] == j && old.len() == rows.len() + 1
            }
            None => false,
        };
        below[j as usize].clone_from(&rows);
        if joins {
            if let Some(last) = done.last_mut() {
                last.0.end = j + 1;
                last.1 = rows;
            }
            continue;
        }
        done.push((j..j + 1, rows, 0));
        // The supernodes before the one just opened are complete.
        merge(&mut done, true);
    }
    merge(&mut done, false);
    link(done)
}

/// Merges the newest complete supernode with its last child as long as the relaxation allows. With `open`, the last one is still
/// growing and left alone.
fn merge(done: &mut Vec<(Range<u32>, Vec<u32>, usize)>, open: bool) {
    let last = if open { done.pop() } else { None };
    while let [.., child, node] = done.as_slice() {
        let is_child = child
            .1
            .first()
            .is_some_and(|r| node.0.contains(r) && child.0.end == node.0.start);
        if !is_child {
            break;
        }
        let width = child.0.len() + node.0.len();
        let height = width + node.1.len();
        let missing = child.0.len() * (node.0.len() + node.1.len() - child.1.len());
        let zeros = child.2 + node.2 + missing;
        let size = width * height - width * (width - 1) / 2;
        let share = zeros as f64 / size as f64;
        if !RELAXATION
            .iter()
            .any(|&(w, z)| width <= w && share < z + f64::EPSILON)
        {
            break;
        }
        let start = child.0.start;
        if let (Some(mut node), Some(_)) = (done.pop(), done.pop()) {
            node.0.start = start;
            node.2 = zeros;
            done.push(node);
        }
    }
    done.extend(last);
}

/// Supernodes linked to parents and children.
fn link(done: Vec<(Range<u32>, Vec<u32>, usize)>) -> Vec<Supernode> {
    let n = done.last().map_or(0, |d| d.0.end as usize);
    let mut node_of = vec![0u32; n];
    for (k, (columns, ..)) in (0u32..).zip(&done) {
        node_of[columns.start as usize..columns.end as usize].fill(k);
    }
    let mut nodes: Vec<Supernode> = done
        .into_iter()
        .map(|(columns, rows, _)| Supernode {
            parent: rows.first().map_or(NONE, |&r| node_of[r as usize]),
            columns,
            rows,
            in_parent: vec![],
            children: vec![],
        })
        .collect();
    for k in 0..nodes.len() {
        let parent = nodes[k].parent as usize;
        if let Some(parent) = nodes.get_mut(parent) {
            parent.children.push(k as u32);
        }
    }
    nodes
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;

    /// Fill by eliminating vertex after vertex from the graph.
    fn fill(pattern: &Pattern, order: &[u32]) -> Vec<BTreeSet<u32>> {
        let position = inverse(order);
        let mut rows: Vec<BTreeSet<u32>> = order
            .iter()
            .map(|&o| {
                let r = pattern.row(o as usize).iter();
                r.map(|&c| position[c as usize]).collect()
            })
            .collect();
        for j in 0..order.len() {
            let later: Vec<u32> = rows[j].iter().copied().filter(|&r| r > j as u32).collect();
            for &a in &later {
                for &b in &later {
                    rows[a as usize].insert(b);
                }
            }
            rows[j] = later.into_iter().collect();
        }
        rows
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(60))]
        #[test]
        fn every_entry_of_the_fill_has_its_place(
            n in 1usize..40,
            pairs in prop::collection::vec((0usize..40, 0usize..40), 0..90),
            shuffle in prop::collection::vec(0u64..1000, 40),
        ) {
            let pattern = Pattern::of_pairs(n, &pairs);
            let mut order: Vec<u32> = (0..n as u32).collect();
            order.sort_by_key(|&k| shuffle[k as usize]);
            let e = SymbolicFactor::new(&pattern, &order);
            prop_assert_eq!(inverse(&e.order), e.position.clone());
            let fill = fill(&pattern, &e.order);
            let mut next = 0;
            for (k, node) in e.supernodes.iter().enumerate() {
                prop_assert_eq!(node.columns.start, next);
                next = node.columns.end;
                prop_assert!(node.rows.is_sorted());
                for j in node.columns.clone() {
                    for &r in &fill[j as usize] {
                        prop_assert!(node.columns.contains(&r) || node.rows.contains(&r));
                    }
                }
                // Children before parents; a child's rows are found where they are said to be.
                for &c in &node.children {
                    prop_assert!((c as usize) < k);
                    let child = &e.supernodes[c as usize];
                    let front: Vec<u32> = node.columns.clone().chain(node.rows.iter().copied()).collect();
                    for (&r, &at) in child.rows.iter().zip(&child.in_parent) {
                        prop_assert_eq!(front[at as usize], r);
                    }
                }
                // A subtree's rows lead into the subtree itself or into the top.
                for b in &e.subtrees {
                    if b.supernodes.contains(&k) {
                        for &r in &node.rows {
                            prop_assert!(b.rows.contains(&(r as usize)) || r as usize >= e.top_row());
                        }
                    }
                }
            }
            prop_assert_eq!(next as usize, n);
        }
    }
}
