//! The check that supports hold every part against rigid-body modes, from the mesh alone, before any matrix is assembled.
//!
//! Tetrahedra that share faces form bodies, which can only move rigidly without strain. A body is held
//! when the nodes it shares with the support or with held bodies are not all on one line. Bodies that this
//! simple spread does not reach are settled by the rank of the rigid-motion constraints.

use crate::SolveError;
use bicolumn_base::{Mat3, Vec3};
use bicolumn_mesh::TetMesh;
use bicolumn_model::Problem;
use nalgebra::DMatrix;
use std::collections::{BTreeMap, BTreeSet};

/// Points nearer to one line than this share of their spread count as on it.
const ON_A_LINE: f64 = 1e-6;
/// More bodies than this are not examined together.
const MOST_BODIES: usize = 60;

/// Checks that nothing can move without strain.
///
/// # Errors
/// [`SolveError::NotHeld`], naming the parts of the first loose body and its motion.
pub fn check(problem: &Problem) -> Result<(), SolveError> {
    let mesh = problem.mesh();
    let body = bodies(mesh);
    let count = body.iter().max().map_or(0, |b| b + 1);
    // Nodes that matter: supported ones, and those of more than one body.
    let mut bodies_of_node: BTreeMap<u32, BTreeSet<usize>> = BTreeMap::new();
    let held_nodes: BTreeSet<u32> = problem.fixed().iter().copied().collect();
    let in_part: BTreeMap<u32, [bool; 3]> = problem
        .constraints()
        .iter()
        .filter(|c| !c.components.is_all())
        .map(|c| (c.node, c.components.flags()))
        .collect();
    let mut first_body = vec![usize::MAX; mesh.nodes.len()];
    for (tet, &b) in mesh.tets.iter().zip(&body) {
        for &n in tet {
            let first = &mut first_body[n as usize];
            if *first == usize::MAX {
                *first = b;
            }
            if *first != b || held_nodes.contains(&n) || in_part.contains_key(&n) {
                bodies_of_node.entry(n).or_default().extend([*first, b]);
            }
        }
    }
    let mut held = vec![false; count];
    loop {
        let loose: Vec<usize> = (0..count).filter(|&b| !held[b]).collect();
        let mut grips: BTreeMap<usize, Vec<Vec3>> = loose.iter().map(|&b| (b, vec![])).collect();
        for (n, around) in &bodies_of_node {
            let anchored = held_nodes.contains(n) || around.iter().any(|&b| held[b]);
            for b in around.iter().filter(|_| anchored) {
                if let Some(points) = grips.get_mut(b) {
                    points.push(mesh.nodes[*n as usize]);
                }
            }
        }
        let newly: Vec<usize> = grips
            .iter()
            .filter(|(_, points)| matches!(freedom(points), Freedom::None))
            .map(|(&b, _)| b)
            .collect();
        if !newly.is_empty() {
            newly.into_iter().for_each(|b| held[b] = true);
            continue;
        }
        let Some((&worst, points)) = grips.iter().next() else {
            return Ok(());
        };
        let joints = Joints {
            mesh,
            held: &held,
            held_nodes: &held_nodes,
            in_part: &in_part,
            bodies_of_node: &bodies_of_node,
        };
        // Held by rollers and the like, each body by itself.
        let newly: Vec<usize> = loose
            .iter()
            .copied()
            .filter(|b| !in_part.is_empty() && joints.hold(&[*b]))
            .collect();
        if !newly.is_empty() {
            newly.into_iter().for_each(|b| held[b] = true);
            continue;
        }
        if joints.hold(&loose) {
            return Ok(());
        }
        let motion = if in_part.is_empty() {
            freedom(points).to_string()
        } else {
            joints.motion(worst)
        };
        return Err(SolveError::NotHeld {
            part: names(mesh, &body, worst),
            motion,
        });
    }
}

/// Body of each tetrahedron, numbered in order of first appearance.
fn bodies(mesh: &TetMesh) -> Vec<usize> {
    let mut faces: Vec<([u32; 3], u32)> = Vec::with_capacity(4 * mesh.tets.len());
    for (t, tet) in (0u32..).zip(&mesh.tets) {
        for skip in 0..4 {
            let mut face = [
                tet[(skip + 1) % 4],
                tet[(skip + 2) % 4],
                tet[(skip + 3) % 4],
            ];
            face.sort_unstable();
            faces.push((face, t));
        }
    }
    faces.sort_unstable();
    let mut root: Vec<u32> = (0..mesh.tets.len() as u32).collect();
    for pair in faces.windows(2).filter(|w| w[0].0 == w[1].0) {
        let (a, b) = (find(&mut root, pair[0].1), find(&mut root, pair[1].1));
        root[a.max(b) as usize] = a.min(b);
    }
    let mut number = BTreeMap::new();
    (0..mesh.tets.len() as u32)
        .map(|t| {
            let next = number.len();
            *number.entry(find(&mut root, t)).or_insert(next)
        })
        .collect()
}

fn find(root: &mut [u32], mut t: u32) -> u32 {
    while root[t as usize] != t {
        root[t as usize] = root[root[t as usize] as usize];
        t = root[t as usize];
    }
    t
}

/// Rigid-body modes that supported points leave free.
enum Freedom {
    None,
    Turn { at: Vec3, along: Vec3 },
    Pivot { at: Vec3 },
    All,
}

fn freedom(points: &[Vec3]) -> Freedom {
    let Some(&first) = points.first() else {
        return Freedom::All;
    };
    let at: Vec3 = points.iter().sum::<Vec3>() / points.len() as f64;
    let scatter: Mat3 = points.iter().map(|p| (p - at) * (p - at).transpose()).sum();
    let eigen = scatter.symmetric_eigen();
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| eigen.eigenvalues[b].total_cmp(&eigen.eigenvalues[a]));
    let spread = order.map(|k| eigen.eigenvalues[k].max(0.0).sqrt());
    if spread[0] <= 1e-12 * first.norm().max(1.0) {
        Freedom::Pivot { at }
    } else if spread[1] <= ON_A_LINE * spread[0] {
        let along = eigen.eigenvectors.column(order[0]).into_owned();
        Freedom::Turn { at, along }
    } else {
        Freedom::None
    }
}

impl std::fmt::Display for Freedom {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let at = |p: &Vec3| format!("({:.2}, {:.2}, {:.2}) mm", p.x, p.y, p.z);
        match self {
            Freedom::None => f.write_str("held together with others only in part"),
            Freedom::Turn { at: p, along } => write!(
                f,
                "it hangs on one line of nodes and can turn about it, through {} along ({:.3}, {:.3}, {:.3})",
                at(p),
                along.x,
                along.y,
                along.z
            ),
            Freedom::Pivot { at: p } => {
                write!(
                    f,
                    "it hangs on one node and can turn about it, at {}",
                    at(p)
                )
            }
            Freedom::All => f.write_str("it touches nothing that is held and can move freely"),
        }
    }
}

/// Names of the parts in a body.
fn names(mesh: &TetMesh, body: &[usize], wanted: usize) -> String {
    let parts: BTreeSet<u16> = (0..body.len())
        .filter(|&t| body[t] == wanted)
        .map(|t| mesh.part[t])
        .collect();
    let names: Vec<String> = parts
        .into_iter()
        .map(|p| mesh.parts[p as usize].to_string())
        .collect();
    names.join(" with ")
}

/// Nodes at which bodies are held or meet.
struct Joints<'a> {
    mesh: &'a TetMesh,
    /// Bodies that are held.
    held: &'a [bool],
    held_nodes: &'a BTreeSet<u32>,
    /// Constrained components of the nodes that are held in part.
    in_part: &'a BTreeMap<u32, [bool; 3]>,
    bodies_of_node: &'a BTreeMap<u32, BTreeSet<usize>>,
}

/// Eigenvalues below this share of the largest count as zero.
const SINGULAR: f64 = 1e-12;

impl Joints<'_> {
    /// Do loose bodies hold each other, as the bars of a frame do? By the rank of their joint constraints.
    fn hold(&self, loose: &[usize]) -> bool {
        if loose.len() > MOST_BODIES {
            return false;
        }
        let values = self.normal(loose).symmetric_eigenvalues();
        values.min() > SINGULAR * values.max()
    }

    /// Length that rotations are scaled by, mm.
    fn size(&self) -> f64 {
        self.mesh
            .nodes
            .iter()
            .map(Vec3::amax)
            .fold(1e-300, f64::max)
    }

    /// Normal matrix of the constraints on the rigid motions of bodies: three translations, then three rotations times
    /// [`Joints::size`], a body.
    fn normal(&self, loose: &[usize]) -> DMatrix<f64> {
        let size = self.size();
        let mut normal = DMatrix::<f64>::zeros(6 * loose.len(), 6 * loose.len());
        let mut add = |a: usize, b: Option<usize>, x: Vec3, components: [bool; 3]| {
            // Rigid motion: translation plus rotation × x, lengths scaled to one.
            let cross = (x / size).cross_matrix() * -1.0;
            for r in (0..3).filter(|r| components[*r]) {
                let mut row = vec![];
                for (body, sign) in [(Some(a), 1.0), (b, -1.0)] {
                    let Some(k) = body else { continue };
                    row.push((6 * k + r, sign));
                    row.extend((0..3).map(|c| (6 * k + 3 + c, sign * cross[(r, c)])));
                }
                for &(i, u) in &row {
                    for &(j, v) in &row {
                        normal[(i, j)] += u * v;
                    }
                }
            }
        };
        let index = |b: &usize| loose.binary_search(b).ok();
        for (n, around) in self.bodies_of_node {
            let x = self.mesh.nodes[*n as usize];
            let here: Vec<usize> = around.iter().filter_map(index).collect();
            let anchored = self.held_nodes.contains(n) || around.iter().any(|&b| self.held[b]);
            match here.as_slice() {
                [] => continue,
                all if anchored => all.iter().for_each(|&k| add(k, None, x, [true; 3])),
                [first, rest @ ..] => rest
                    .iter()
                    .for_each(|&k| add(*first, Some(k), x, [true; 3])),
            }
            if let (false, Some(components)) = (anchored, self.in_part.get(n)) {
                add(here[0], None, x, *components);
            }
        }
        normal
    }

    /// A rigid motion that supports in some components leave to a body, in words.
    fn motion(&self, body: usize) -> String {
        let eigen = self.normal(&[body]).symmetric_eigen();
        let limit = SINGULAR * eigen.eigenvalues.max();
        let free: Vec<[Vec3; 2]> = (0..6)
            .filter(|k| eigen.eigenvalues[*k] <= limit)
            .map(|k| {
                let v = eigen.eigenvectors.column(k);
                [Vec3::new(v[0], v[1], v[2]), Vec3::new(v[3], v[4], v[5])]
            })
            .collect();
        if free.is_empty() {
            return Freedom::None.to_string();
        }
        // A combination without rotation, if there is one: the least eigenvector of the rotations' Gram matrix.
        let gram = DMatrix::from_fn(free.len(), free.len(), |i, j| free[i][1].dot(&free[j][1]));
        let gram = gram.symmetric_eigen();
        let (least, value) = gram.eigenvalues.argmin();
        let combined = |which: usize, half: usize| -> Vec3 {
            let share = gram.eigenvectors.column(which);
            free.iter()
                .zip(share.iter())
                .map(|(m, s)| m[half] * *s)
                .sum()
        };
        let direction = |v: Vec3| {
            let along = v.normalize();
            // The first component that counts is shown positive.
            let first = along
                .iter()
                .find(|c| c.abs() > 1e-6)
                .copied()
                .unwrap_or(1.0);
            let along = (along * first.signum()).map(|c| if c.abs() < 5e-4 { 0.0 } else { c });
            format!("({:.3}, {:.3}, {:.3})", along.x, along.y, along.z)
        };
        if value < 1e-9 {
            let along = combined(least, 0);
            return format!("its supports let it slide along {}", direction(along));
        }
        let turn = combined(least, 1) / self.size();
        // Rounded here, so that no zero is shown as -0.00.
        let at = turn.cross(&combined(least, 0)) / turn.norm_squared();
        let at = at.map(|v| (v * 100.0).round() / 100.0 + 0.0);
        format!(
            "its supports let it turn about the axis through ({:.2}, {:.2}, {:.2}) mm along {}",
            at.x,
            at.y,
            at.z,
            direction(turn)
        )
    }
}
