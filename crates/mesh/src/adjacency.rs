//! Adjacency: tetrahedra that share a face, edges that tetrahedra share.
//!
//! Both tables are built by putting every face (edge) into the bucket of its lowest vertex and
//! sorting the small buckets: linear time, and an order that depends on the numbering alone.

use crate::tet::{EDGES, face};

/// No tetrahedron there.
pub(crate) const NONE: u32 = u32::MAX;

/// Neighbours across the four faces of every tetrahedron.
pub(crate) struct FaceTable {
    /// Tetrahedron beyond face `i`, or [`NONE`].
    pub(crate) beyond: Vec<[u32; 4]>,
    /// A face that more than two tetrahedra claim, if there is one.
    pub(crate) overfull: Option<[u32; 3]>,
}

/// Finds the neighbours of all tetrahedra.
pub(crate) fn face_table(vertex_count: usize, tets: &[[u32; 4]]) -> FaceTable {
    let mut buckets = Buckets::count(
        vertex_count,
        tets.iter()
            .flat_map(|t| (0..4).map(move |i| lowest(&face(t, i)))),
    );
    for (t, tet) in tets.iter().enumerate() {
        for i in 0..4 {
            let [a, b, c] = sorted3(face(tet, i));
            let key = (u64::from(b) << 32) | u64::from(c);
            buckets.put(a, (key, (t * 4 + i) as u32));
        }
    }
    let mut beyond = vec![[NONE; 4]; tets.len()];
    let mut overfull = None;
    for (a, bucket) in buckets.sorted() {
        for run in bucket.chunk_by(|x, y| x.0 == y.0) {
            match run {
                [(_, x), (_, y)] => {
                    beyond[*x as usize / 4][*x as usize % 4] = y / 4;
                    beyond[*y as usize / 4][*y as usize % 4] = x / 4;
                }
                [_] => {}
                [(key, _), ..] => {
                    overfull.get_or_insert([a, (key >> 32) as u32, *key as u32]);
                }
                [] => {}
            }
        }
    }
    FaceTable { beyond, overfull }
}

/// Numbers of the six edges of every tetrahedron, and the ends of every edge (lower vertex first),
/// edges sorted by their ends.
pub(crate) fn edge_table(vertex_count: usize, tets: &[[u32; 4]]) -> (Vec<[u32; 6]>, Vec<[u32; 2]>) {
    let ends = |t: &[u32; 4], e: usize| {
        let [a, b] = EDGES[e].map(|k| t[k]);
        [a.min(b), a.max(b)]
    };
    let mut buckets = Buckets::count(
        vertex_count,
        tets.iter().flat_map(|t| (0..6).map(move |e| ends(t, e)[0])),
    );
    for (t, tet) in tets.iter().enumerate() {
        for e in 0..6 {
            let [a, b] = ends(tet, e);
            buckets.put(a, (u64::from(b), (t * 6 + e) as u32));
        }
    }
    let mut of_tet = vec![[0; 6]; tets.len()];
    let mut edges = Vec::new();
    for (a, bucket) in buckets.sorted() {
        for run in bucket.chunk_by(|x, y| x.0 == y.0) {
            for (_, slot) in run {
                of_tet[*slot as usize / 6][*slot as usize % 6] = edges.len() as u32;
            }
            edges.push([a, run[0].0 as u32]);
        }
    }
    (of_tet, edges)
}

/// A counting sort by vertex.
struct Buckets {
    start: Vec<u32>,
    fill: Vec<u32>,
    entries: Vec<(u64, u32)>,
}

impl Buckets {
    fn count(vertex_count: usize, lowest: impl Iterator<Item = u32>) -> Self {
        let mut start = vec![0u32; vertex_count + 1];
        for v in lowest {
            start[v as usize + 1] += 1;
        }
        for v in 0..vertex_count {
            start[v + 1] += start[v];
        }
        Buckets {
            fill: start[..vertex_count].to_vec(),
            entries: vec![(0, 0); start[vertex_count] as usize],
            start,
        }
    }

    fn put(&mut self, vertex: u32, entry: (u64, u32)) {
        let at = &mut self.fill[vertex as usize];
        self.entries[*at as usize] = entry;
        *at += 1;
    }

    /// The buckets, each sorted, with their vertex.
    fn sorted(&mut self) -> impl Iterator<Item = (u32, &[(u64, u32)])> {
        for w in self.start.windows(2) {
            self.entries[w[0] as usize..w[1] as usize].sort_unstable();
        }
        self.start
            .windows(2)
            .enumerate()
            .map(|(v, w)| (v as u32, &self.entries[w[0] as usize..w[1] as usize]))
    }
}

fn lowest(f: &[u32; 3]) -> u32 {
    f[0].min(f[1]).min(f[2])
}

/// Three vertices in ascending order.
pub(crate) fn sorted3(mut f: [u32; 3]) -> [u32; 3] {
    f.sort_unstable();
    f
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_tets_share_one_face_and_nine_edges() {
        let tets = [[0, 1, 2, 3], [1, 2, 3, 4]];
        let faces = face_table(5, &tets);
        assert_eq!(faces.beyond[0], [1, NONE, NONE, NONE]);
        assert_eq!(faces.beyond[1], [NONE, NONE, NONE, 0]);
        assert_eq!(faces.overfull, None);
        let (of_tet, edges) = edge_table(5, &tets);
        assert_eq!(edges.len(), 9);
        assert_eq!(edges[of_tet[0][1] as usize], [1, 2]);
        assert_eq!(edges[of_tet[1][5] as usize], [3, 4]);
        assert_eq!(of_tet[0][1], of_tet[1][0]);
    }

    #[test]
    fn a_face_of_three_tets_is_reported() {
        let tets = [[0, 1, 2, 3], [0, 1, 2, 4], [0, 1, 2, 5]];
        assert_eq!(face_table(6, &tets).overfull, Some([0, 1, 2]));
    }
}
