//! The figures a mesh of a construct has to reach, measured from the outside: from nodes, elements,
//! facets and the construct's own surfaces, not from the mesher's tables where that can be helped.

use crate::volumes::{FOR_BONE, FOR_PLATES, bone_volume, plate_volume};
use bicolumn_base::{Part, Vec3};
use bicolumn_geometry::{Construct, Field, Head, Plate, Screw};
use bicolumn_mesh::{PairKind, SplitMesh, SurfaceName, TetMesh, split_kinds};

/// Figures measured on a mesh.
#[derive(Debug, Clone, Default)]
pub(crate) struct Figures {
    /// Elements of no or negative volume, faces of more than two elements, facets missing or too many.
    pub(crate) invalid: usize,
    pub(crate) unclassified: usize,
    pub(crate) pinched: usize,
    pub(crate) hinged: usize,
    /// Parts that are not one piece, or absent; the whole construct under "all".
    pub(crate) broken: Vec<String>,
    pub(crate) least_deg: f64,
    pub(crate) largest_deg: f64,
    pub(crate) radius_ratio: f64,
    /// Distance of facet corners from their surface, mm.
    pub(crate) vertex_off_mm: f64,
    /// Distance of the middles of curved facets from their surface within 3 mm of hardware, and
    /// farther away, mm.
    pub(crate) near_off_mm: f64,
    pub(crate) far_off_mm: f64,
    /// Share of the facets near hardware whose middle is off by more than 0.05 mm.
    pub(crate) near_off_share: f64,
    /// Surface and place of the worst of either.
    pub(crate) worst_off: [String; 2],
    /// Screws with a midside node of their side more than [`NEAR_OFF_MM`] off the cylinder, and the worst, mm.
    pub(crate) screws_off: usize,
    pub(crate) side_off_mm: f64,
    /// Facets of screws named after bone, fracture or another plate.
    pub(crate) screw_facets_misnamed: usize,
    /// Worst relative error of the length of a screw tip's circle; infinite where one is not closed.
    pub(crate) circle_error: f64,
    /// Worst relative error of a part's volume in the quality table, against a sum over quadrature points here.
    pub(crate) table_volume_error: f64,
    /// Worst relative error of a screw's volume, with curved sides.
    pub(crate) screw_volume_error: f64,
    /// The same of all bone together, and of the worst plate; positive where the mesh has more.
    pub(crate) bone_volume_error: f64,
    pub(crate) plate_volume_error: f64,
    /// Share of elements with curved sides that had them flattened.
    pub(crate) straightened: f64,
    /// Least det J over 11 points of every element, as a share of the straight element's.
    pub(crate) det_share: f64,
    /// Digest of nodes, elements, parts and facets.
    pub(crate) digest: u64,
}

/// The middle of a curved facet near hardware may be off by so much, mm.
const NEAR_OFF_MM: f64 = 0.05;

/// Local corners of the faces, and the local edge nodes between corners.
const FACES: [[usize; 3]; 4] = [[1, 2, 3], [0, 3, 2], [0, 1, 3], [0, 2, 1]];
const EDGES: [[usize; 2]; 6] = [[0, 1], [1, 2], [2, 0], [0, 3], [1, 3], [2, 3]];

impl Figures {
    pub(crate) fn of(construct: &Construct, mesh: &TetMesh) -> Figures {
        let mut f = Figures {
            unclassified: mesh.quality.unclassified_facets,
            straightened: mesh.quality.straightened_share,
            digest: digest(mesh),
            ..Figures::default()
        };
        f.validity_and_pieces(construct, mesh);
        f.shapes(mesh);
        f.edges(mesh);
        f.surfaces(construct, mesh);
        f.screws(construct, mesh);
        f.sides_of_screws(construct, mesh);
        f.bone_and_plates(construct, mesh);
        f.table(mesh);
        f
    }

    /// Acceptance figures that the mesh misses, by name.
    pub(crate) fn misses(&self) -> Vec<String> {
        let mut out = Vec::new();
        let mut miss = |bad: bool, what: String| {
            if bad {
                out.push(what);
            }
        };
        miss(self.invalid > 0, format!("A1 invalid {}", self.invalid));
        miss(
            self.unclassified > 0,
            format!("A1 unclassified {}", self.unclassified),
        );
        miss(self.pinched > 0, format!("A1 pinched {}", self.pinched));
        miss(self.hinged > 0, format!("A1 hinged {}", self.hinged));
        miss(
            !self.broken.is_empty(),
            format!("A1 pieces {}", self.broken.join(" ")),
        );
        miss(
            self.least_deg < 10.0,
            format!("A3 least angle {:.1}", self.least_deg),
        );
        miss(
            self.largest_deg > 160.0,
            format!("A3 largest angle {:.1}", self.largest_deg),
        );
        miss(
            self.radius_ratio < 0.1,
            format!("A3 radius ratio {:.3}", self.radius_ratio),
        );
        miss(
            self.vertex_off_mm > 1e-6,
            format!("A5 vertex off {:.1e}", self.vertex_off_mm),
        );
        miss(
            self.near_off_mm > NEAR_OFF_MM,
            format!("A5 near off {:.3}", self.near_off_mm),
        );
        miss(
            self.far_off_mm > 0.45,
            format!("A5 far off {:.3}", self.far_off_mm),
        );
        miss(
            self.circle_error > 0.01,
            format!("A5 circle {:.3}", self.circle_error),
        );
        miss(
            self.table_volume_error > 1e-9,
            format!("A4 volume in the table {:.1e}", self.table_volume_error),
        );
        miss(
            self.screw_volume_error > 0.003,
            format!("A4 screw volume {:.4}", self.screw_volume_error),
        );
        miss(
            self.bone_volume_error.abs() > 0.003,
            format!("A4 bone volume {:.4}", self.bone_volume_error),
        );
        miss(
            self.plate_volume_error.abs() > 0.003,
            format!("A4 plate volume {:.4}", self.plate_volume_error),
        );
        miss(
            self.screw_facets_misnamed > 0,
            format!(
                "A2 facets of screws misnamed {}",
                self.screw_facets_misnamed
            ),
        );
        miss(
            self.det_share <= 0.0,
            format!("A11 det {:.3}", self.det_share),
        );
        miss(
            self.straightened > 0.005,
            format!("A11 straightened {:.4}", self.straightened),
        );
        out
    }

    fn validity_and_pieces(&mut self, construct: &Construct, mesh: &TetMesh) {
        let mut faces: Vec<([u32; 3], usize)> = Vec::with_capacity(4 * mesh.tets.len());
        for (t, tet) in mesh.tets.iter().enumerate() {
            let v = mesh.volume(t);
            self.invalid += usize::from(v.is_nan() || v <= 0.0);
            for corners in FACES {
                let mut f = corners.map(|k| tet[k]);
                f.sort_unstable();
                faces.push((f, t));
            }
        }
        faces.sort_unstable();
        let mut whole = Pieces::new(mesh.tets.len());
        let mut parts = Pieces::new(mesh.tets.len());
        let group: Vec<String> = mesh.parts.iter().map(|p| body(*p)).collect();
        let mut facets = 0usize;
        for sides in faces.chunk_by(|x, y| x.0 == y.0) {
            match sides {
                [_] => facets += 1,
                [(_, a), (_, b)] => {
                    whole.join(*a, *b);
                    let [p, q] = [*a, *b].map(|t| mesh.part[t] as usize);
                    if group[p] == group[q] {
                        parts.join(*a, *b);
                    }
                    facets += if p == q { 0 } else { 2 };
                }
                _ => self.invalid += 1,
            }
        }
        self.invalid += facets.abs_diff(mesh.facets.len());
        let mut count: Vec<(String, usize)> = expected_bodies(construct)
            .into_iter()
            .map(|b| (b, 0))
            .collect();
        count.push(("all".into(), 0));
        for t in 0..mesh.tets.len() {
            if whole.first(t) == t
                && let Some(c) = count.last_mut()
            {
                c.1 += 1;
            }
            if parts.first(t) == t {
                let own = &group[mesh.part[t] as usize];
                match count.iter_mut().find(|c| c.0 == *own) {
                    Some(c) => c.1 += 1,
                    None => count.push((own.clone(), 99)),
                }
            }
        }
        self.broken = count
            .into_iter()
            .filter(|c| c.1 != 1)
            .map(|c| format!("{}:{}", c.0, c.1))
            .collect();
    }

    fn shapes(&mut self, mesh: &TetMesh) {
        (self.least_deg, self.radius_ratio, self.det_share) = (180.0, 1.0, 1.0);
        for t in 0..mesh.tets.len() {
            let p = mesh.corners(t);
            let six = 6.0 * mesh.volume(t);
            let normal = FACES.map(|[a, b, c]| (p[b] - p[a]).cross(&(p[c] - p[a])));
            for i in 0..4 {
                for j in i + 1..4 {
                    // Interior angle between two faces: pi minus that between outward normals.
                    let deg = 180.0 - normal[i].angle(&normal[j]).to_degrees();
                    self.least_deg = self.least_deg.min(deg);
                    self.largest_deg = self.largest_deg.max(deg);
                }
            }
            let area: f64 = normal.iter().map(|n| 0.5 * n.norm()).sum();
            let inradius = 0.5 * six / area;
            self.radius_ratio = self.radius_ratio.min(3.0 * inradius / circumradius(&p));
            let x = mesh.tets[t].map(|n| mesh.nodes[n as usize]);
            let middle = |i: usize, j: usize| {
                std::array::from_fn(|k| if k == i || k == j { 0.5 } else { 0.0 })
            };
            let corner = |i: usize| std::array::from_fn(|k| f64::from(u8::from(k == i)));
            let places = (0..4)
                .map(corner)
                .chain(EDGES.iter().map(|[i, j]| middle(*i, *j)))
                .chain([[0.25; 4]]);
            for l in places {
                self.det_share = self.det_share.min(det(&x, l) / six);
            }
        }
    }

    /// Pinches and hinges, from facets alone: round an edge, two facets of a part are its skin there.
    fn edges(&mut self, mesh: &TetMesh) {
        let mut skin: Vec<([u32; 2], u16)> = Vec::new();
        let mut free: Vec<[u32; 2]> = Vec::new();
        for f in &mesh.facets {
            for k in 0..3 {
                let (a, b) = (f.nodes[k], f.nodes[(k + 1) % 3]);
                let edge = [a.min(b), a.max(b)];
                skin.push((edge, mesh.part[f.tet as usize]));
                if f.beyond.is_none() {
                    free.push(edge);
                }
            }
        }
        skin.sort_unstable();
        free.sort_unstable();
        let mut pinched: Vec<[u32; 2]> = skin
            .chunk_by(|x, y| x == y)
            .filter(|same| same.len() != 2)
            .map(|same| same[0].0)
            .collect();
        pinched.dedup();
        self.pinched = pinched.len();
        self.hinged = free
            .chunk_by(|x, y| x == y)
            .filter(|s| s.len() != 2)
            .count();
    }

    fn surfaces(&mut self, construct: &Construct, mesh: &TetMesh) {
        let (mut near, mut near_off) = (0usize, 0usize);
        for f in &mesh.facets {
            let name = mesh.surfaces[f.surface as usize];
            let x = f.nodes.map(|n| mesh.nodes[n as usize]);
            for corner in &x[..3] {
                let off = distance(construct, name, *corner).abs();
                self.vertex_off_mm = self.vertex_off_mm.max(off);
            }
            // Middle of a six-node triangle: -1/9 of each corner, 4/9 of each midside node.
            let corners: Vec3 = x[..3].iter().sum();
            let middles: Vec3 = x[3..].iter().sum();
            let middle = (middles * 4.0 - corners) / 9.0;
            let off = distance(construct, name, middle).abs();
            let far = usize::from(!near_hardware(construct, middle));
            near += 1 - far;
            near_off += usize::from(far == 0 && off > NEAR_OFF_MM);
            let worst = [&mut self.near_off_mm, &mut self.far_off_mm];
            if off > *worst[far] {
                *worst[far] = off;
                self.worst_off[far] =
                    format!("{name:?} {:.1} {:.1} {:.1}", middle.x, middle.y, middle.z);
            }
        }
        self.near_off_share = near_off as f64 / near.max(1) as f64;
    }

    fn sides_of_screws(&mut self, construct: &Construct, mesh: &TetMesh) {
        let mut worst = vec![0.0f64; construct.screws.len()];
        for f in &mesh.facets {
            let Part::Screw(number) = mesh.part_of(f.tet as usize) else {
                continue;
            };
            let Some(i) = construct.screws.iter().position(|s| s.number == number) else {
                continue;
            };
            let s = &construct.screws[i];
            let name = mesh.surfaces[f.surface as usize];
            let x = f.nodes.map(|n| mesh.nodes[n as usize]);
            if name == SurfaceName::ScrewSide(number) {
                for m in &x[3..] {
                    let off = (m - s.entry).cross(&s.direction).norm() - 0.5 * s.diameter_mm;
                    worst[i] = worst[i].max(off.abs());
                }
            }
            // Another screw's side is possible where less than a cell of bone is between the two.
            let own = match name {
                SurfaceName::ScrewSide(_) | SurfaceName::ScrewTip(_) | SurfaceName::HeadSeat(_) => {
                    true
                }
                SurfaceName::HeadTop(_) | SurfaceName::HeadRim(_) => true,
                SurfaceName::PlateTop(site) | SurfaceName::PlateUnderside(site) => {
                    s.plate == Some(site)
                }
                SurfaceName::BoneOuter => s.head != Head::Locked && s.plate.is_none(),
                _ => false,
            };
            self.screw_facets_misnamed += usize::from(!own);
        }
        self.screws_off = worst.iter().filter(|w| **w > NEAR_OFF_MM).count();
        self.side_off_mm = worst.into_iter().fold(0.0, f64::max);
    }

    fn table(&mut self, mesh: &TetMesh) {
        for (part, (name, _, listed)) in mesh.parts.iter().zip(&mesh.quality.parts) {
            assert_eq!(*name, part.to_string());
            let error = listed / volume_of(mesh, |p| p == *part) - 1.0;
            self.table_volume_error = self.table_volume_error.max(error.abs());
        }
    }

    fn bone_and_plates(&mut self, construct: &Construct, mesh: &TetMesh) {
        let bone = volume_of(mesh, Part::is_bone);
        self.bone_volume_error = bone / bone_volume(construct, FOR_BONE) - 1.0;
        for p in &construct.plates {
            let volume = volume_of(mesh, |part| part == Part::Plate(p.site));
            let error = volume / plate_volume(construct, p, FOR_PLATES) - 1.0;
            if error.abs() > self.plate_volume_error.abs() {
                self.plate_volume_error = error;
            }
        }
    }

    fn screws(&mut self, construct: &Construct, mesh: &TetMesh) {
        let mut volume = vec![0.0; construct.screws.len()];
        for t in 0..mesh.tets.len() {
            if let Part::Screw(n) = mesh.part_of(t)
                && let Some(i) = construct.screws.iter().position(|s| s.number == n)
            {
                volume[i] += curved_volume(&mesh.tets[t].map(|n| mesh.nodes[n as usize]));
            }
        }
        for (s, volume) in construct.screws.iter().zip(volume) {
            let error = volume / expected_volume(construct, s) - 1.0;
            self.screw_volume_error = self.screw_volume_error.max(error.abs());
            let circle = tip_circle(mesh, s);
            let round = std::f64::consts::PI * s.diameter_mm;
            let error = circle.map_or(f64::INFINITY, |length| (length / round - 1.0).abs());
            self.circle_error = self.circle_error.max(error);
        }
    }
}

/// Curved volume of the elements of some parts, mm³.
fn volume_of(mesh: &TetMesh, is_asked: impl Fn(Part) -> bool) -> f64 {
    let asked = (0..mesh.tets.len()).filter(|t| is_asked(mesh.part_of(*t)));
    asked
        .map(|t| curved_volume(&mesh.tets[t].map(|n| mesh.nodes[n as usize])))
        .sum()
}

/// Share of the elements that two meshes have in common, bit for bit: part and four corners; of the
/// larger mesh.
pub(crate) fn common_share(a: &TetMesh, b: &TetMesh) -> f64 {
    let keys = |mesh: &TetMesh| {
        let key = |t: usize| {
            let mut corners = mesh.corners(t).map(|x| [x.x, x.y, x.z].map(f64::to_bits));
            corners.sort_unstable();
            (corners, mesh.part_of(t))
        };
        let mut all: Vec<_> = (0..mesh.tets.len()).map(key).collect();
        all.sort_unstable();
        all
    };
    let (a, b) = (keys(a), keys(b));
    let common = b.iter().filter(|k| a.binary_search(k).is_ok()).count();
    common as f64 / a.len().max(b.len()) as f64
}

/// Figures of an interface whose nodes were doubled.
#[derive(Debug, Clone, Default)]
pub(crate) struct PairFigures {
    pub(crate) pairs: usize,
    /// Largest distance between two nodes that face each other, mm.
    pub(crate) off_mm: f64,
    /// Largest length of the sum of two unit normals, by corners and by midside nodes.
    pub(crate) normals: f64,
    /// Facets of the interface that are in no pair, or whose pair is not a facet of each side.
    pub(crate) odd: usize,
}

impl PairFigures {
    /// Splits all interfaces of one kind and measures the pairs.
    pub(crate) fn of(mesh: &TetMesh, kind: PairKind) -> PairFigures {
        let is_of_kind = |f: &bicolumn_mesh::Facet| {
            f.beyond.is_some_and(|b| {
                let [p, q] = [f.tet, b].map(|t| mesh.part_of(t as usize));
                PairKind::between(p, q) == Some(kind)
            })
        };
        if !mesh.facets.iter().any(is_of_kind) {
            return PairFigures::default();
        }
        match split_kinds(mesh, &[kind]) {
            Ok(split) => PairFigures::measured(&split, kind),
            Err(_) => PairFigures {
                odd: usize::MAX,
                ..PairFigures::default()
            },
        }
    }

    pub(crate) fn measured(split: &SplitMesh, kind: PairKind) -> PairFigures {
        let mesh = &split.mesh;
        let mut f = PairFigures {
            pairs: split.pairs.len(),
            ..PairFigures::default()
        };
        let at = |n: u32| mesh.nodes[n as usize];
        let normal = |n: [u32; 3]| {
            let [a, b, c] = n.map(at);
            (b - a).cross(&(c - a)).normalize()
        };
        for p in &split.pairs {
            for (a, b) in p.a.iter().zip(&p.b) {
                f.off_mm = f.off_mm.max((at(*b) - at(*a)).norm());
            }
            let [fa, fb] = p.facets.map(|i| &mesh.facets[i as usize]);
            let faces = |f: &bicolumn_mesh::Facet, own: &[u32; 6]| {
                let mut own = *own;
                own.sort_unstable();
                let mut all = f.nodes;
                all.sort_unstable();
                own == all && f.beyond.is_none()
            };
            f.odd += usize::from(!faces(fa, &p.a) || !faces(fb, &p.b));
            // Side b turns the other way about: as its own facet lists its nodes.
            for k in [[0, 1, 2], [3, 4, 5]] {
                let [na, nb] = [fa, fb].map(|f| normal(k.map(|i| f.nodes[i])));
                f.normals = f.normals.max((na + nb).norm());
            }
        }
        let is_left = |f: &&bicolumn_mesh::Facet| {
            f.beyond.is_some_and(|b| {
                let parts = [f.tet, b].map(|t| mesh.part_of(t as usize));
                PairKind::between(parts[0], parts[1]) == Some(kind)
            })
        };
        f.odd += mesh.facets.iter().filter(is_left).count();
        f
    }

    /// Acceptance figure that is missed.
    pub(crate) fn miss(&self, kind: PairKind) -> Option<String> {
        let good = self.off_mm <= 1e-6 && self.normals <= 1e-9 && self.odd == 0;
        (!good).then(|| {
            format!(
                "A10 {kind:?}: {} pairs, off {:.1e} mm, normals {:.1e}, odd {}",
                self.pairs, self.off_mm, self.normals, self.odd
            )
        })
    }
}

/// Plate, screw or fragment: what must hang together.
fn body(part: Part) -> String {
    match part {
        Part::Bone(fragment, _) => format!("{fragment:?}").to_lowercase(),
        other => other.to_string(),
    }
}

fn expected_bodies(c: &Construct) -> Vec<String> {
    let mut out = vec!["proximal".to_string()];
    match &c.fracture {
        Some(f) if f.split.is_some() => {
            out.extend(["distalmedial", "distallateral"].map(String::from));
        }
        Some(_) => out.push("distal".into()),
        None => {}
    }
    out.extend(c.plates.iter().map(|p| body(Part::Plate(p.site))));
    out.extend(c.screws.iter().map(|s| body(Part::Screw(s.number))));
    out
}

/// Disjoint sets of elements.
struct Pieces(Vec<usize>);

impl Pieces {
    fn new(n: usize) -> Self {
        Pieces((0..n).collect())
    }
    fn first(&mut self, mut i: usize) -> usize {
        while self.0[i] != i {
            self.0[i] = self.0[self.0[i]];
            i = self.0[i];
        }
        i
    }
    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (self.first(a), self.first(b));
        self.0[a.max(b)] = a.min(b);
    }
}

/// Circumradius from the centre equidistant to all corners (three linear equations).
fn circumradius(p: &[Vec3; 4]) -> f64 {
    let e = [p[1] - p[0], p[2] - p[0], p[3] - p[0]];
    let m = nalgebra::Matrix3::from_rows(&e.map(|v| v.transpose()));
    let right = Vec3::from_fn(|i, _| 0.5 * e[i].norm_squared());
    m.lu().solve(&right).map_or(f64::INFINITY, |c| c.norm())
}

/// det J of the ten-node tetrahedron at barycentric coordinates.
fn det(x: &[Vec3; 10], l: [f64; 4]) -> f64 {
    let along = |k: usize| -> Vec3 {
        let corners = x[k] * (4.0 * l[k] - 1.0) - x[0] * (4.0 * l[0] - 1.0);
        let sides = EDGES.iter().enumerate().map(|(e, [a, b])| {
            let d = |i: usize| f64::from(u8::from(i == k)) - f64::from(u8::from(i == 0));
            x[4 + e] * (4.0 * (d(*a) * l[*b] + l[*a] * d(*b)))
        });
        corners + sides.sum::<Vec3>()
    };
    along(1).dot(&along(2).cross(&along(3)))
}

/// By Keast's five-point rule, exact for a cubic det J.
fn curved_volume(x: &[Vec3; 10]) -> f64 {
    let off_centre: f64 = (0..4)
        .map(|i| {
            det(
                x,
                std::array::from_fn(|k| if k == i { 0.5 } else { 1.0 / 6.0 }),
            )
        })
        .sum();
    (-0.8 * det(x, [0.25; 4]) + 0.45 * off_centre) / 6.0
}

fn plate_at(c: &Construct, site: bicolumn_base::PlateSite) -> &Plate {
    c.plates.iter().find(|p| p.site == site).unwrap()
}

fn screw_of(c: &Construct, n: bicolumn_base::ScrewNumber) -> &Screw {
    c.screws.iter().find(|s| s.number == n).unwrap()
}

/// Signed distance of a point from a surface of the construct, written anew from the construct.
pub(crate) fn distance(c: &Construct, name: SurfaceName, x: Vec3) -> f64 {
    let bone = &c.bone;
    match name {
        SurfaceName::BoneOuter => bone.outer().value(x),
        SurfaceName::BoneInner => bone.inner().value(x),
        SurfaceName::CanalFloor => {
            let floor = c.canal_floor.as_ref().unwrap();
            (x.y - floor.level_at(x)) / floor.gradient(x).norm()
        }
        SurfaceName::ProximalEnd => x.y - bone.spec().potting_level_mm,
        SurfaceName::FractureProximal | SurfaceName::FractureDistal => {
            // A column in contact puts a proximal face on the lower plane.
            let f = c.fracture.as_ref().unwrap();
            f.above(x).abs().min(f.below(x).abs())
        }
        SurfaceName::FractureStep => {
            let step = c.fracture.as_ref().unwrap().step.unwrap();
            (x - step.point).dot(&step.touching)
        }
        SurfaceName::SplitMedial | SurfaceName::SplitLateral => {
            let split = c.fracture.as_ref().unwrap().split.as_ref().unwrap();
            split.lateral_of(x).abs() - 0.5 * split.spec.gap_mm
        }
        SurfaceName::PlateTop(site) => {
            let p = plate_at(c, site);
            bone.outer().value(x) - p.stand_off_mm - p.thickness_mm
        }
        SurfaceName::PlateUnderside(site) => bone.outer().value(x) - plate_at(c, site).stand_off_mm,
        SurfaceName::PlateSide(site) => plate_at(c, site).outline().value(x),
        SurfaceName::HoleWall(site, n) => {
            let h = &plate_at(c, site).holes[usize::from(n) - 1];
            if let Some(n) = h.screw {
                let s = screw_of(c, n);
                let Head::Seated { bore_mm, .. } = s.head else {
                    panic!("no bore")
                };
                return (x - s.entry).cross(&s.direction).norm() - 0.5 * bore_mm;
            }
            let v = x - h.centre;
            let half = 0.5 * h.slot_mm;
            let along = (h.along - h.axis * h.along.dot(&h.axis)).normalize();
            let v = v - along * v.dot(&along).clamp(-half, half);
            v.cross(&h.axis).norm() - 0.5 * h.diameter_mm
        }
        SurfaceName::ScrewSide(n) => {
            let s = screw_of(c, n);
            (x - s.entry).cross(&s.direction).norm() - 0.5 * s.diameter_mm
        }
        SurfaceName::ScrewTip(n) => {
            let s = screw_of(c, n);
            (x - s.tip()).dot(&s.direction)
        }
        SurfaceName::HeadSeat(n) => match screw_of(c, n).head {
            Head::Seated {
                centre, radius_mm, ..
            } => (x - centre).norm() - radius_mm,
            other => panic!("{other:?} has no seat"),
        },
        SurfaceName::HeadTop(n) | SurfaceName::HeadRim(n) => {
            let s = screw_of(c, n);
            let Head::OnBone {
                diameter_mm,
                height_mm,
            } = s.head
            else {
                panic!("no head on bone")
            };
            match name {
                // Beside a wall of bone, a plane across the axis.
                SurfaceName::HeadTop(_) => {
                    let shell = bone.outer().value(x) - height_mm;
                    let plane = (s.entry - x).dot(&s.direction) - head_reach(c, s);
                    shell.abs().min(plane.abs())
                }
                _ => (x - s.entry).cross(&s.direction).norm() - 0.5 * diameter_mm,
            }
        }
        SurfaceName::Other(_) => 0.0,
    }
}

fn near_hardware(c: &Construct, x: Vec3) -> bool {
    let by_screw = c.screws.iter().any(|s| {
        let v = x - s.entry;
        let t = v.dot(&s.direction).clamp(0.0, s.length_mm);
        (v - s.direction * t).norm() < 0.5 * s.diameter_mm + 3.0
    });
    // The box is asked first: the plate itself takes long to answer.
    let mut plates = c.plates.iter();
    by_screw || plates.any(|p| p.outline().bounds().distance(x) < 3.0 && p.value(x) < 3.0)
}

/// How far up its axis the head of a screw on bone reaches at most.
fn head_reach(c: &Construct, s: &Screw) -> f64 {
    let Head::OnBone {
        diameter_mm,
        height_mm,
    } = s.head
    else {
        panic!("no head on bone")
    };
    let tilt = c.bone.outer().gradient(s.entry).angle(&-s.direction);
    height_mm / tilt.cos() + 0.5 * diameter_mm * (tilt.tan() + 0.6)
}

/// Volume of a screw with its head. Integrated over lines along the axis, midpoint rule in rings of
/// equal area and sectors; on each line from where it leaves the shells that end plate and head.
fn expected_volume(c: &Construct, s: &Screw) -> f64 {
    let plate = s.plate.map(|site| plate_at(c, site));
    let [under, top] = plate.map_or([0.0; 2], |p| {
        [p.stand_off_mm, p.stand_off_mm + p.thickness_mm]
    });
    let a = s.direction.cross(&Vec3::new(0.37, 0.21, 0.9)).normalize();
    let b = s.direction.cross(&a);
    let shank = 0.5 * s.diameter_mm;
    let (rings, sectors) = (12, 24);
    let over = |inner: f64, outer: f64, on_line: &dyn Fn(Vec3, f64) -> f64| {
        let mut mean = 0.0;
        for i in 0..rings {
            let share = (f64::from(i) + 0.5) / f64::from(rings);
            let r = (inner * inner + (outer * outer - inner * inner) * share).sqrt();
            for j in 0..sectors {
                let angle = std::f64::consts::TAU * f64::from(j) / f64::from(sectors);
                let foot = s.entry + (a * angle.cos() + b * angle.sin()) * r;
                mean += on_line(foot, r) / f64::from(rings * sectors);
            }
        }
        mean * std::f64::consts::PI * (outer * outer - inner * inner)
    };
    // Where a line coming out of the bone crosses the shell at a height above it, from its foot.
    let crossing = |foot: Vec3, height: f64| {
        let above = |t: f64| c.bone.outer().value(foot + s.direction * t) > height;
        let mut steps = (0..100).map(|i| 3.0 - 0.2 * f64::from(i));
        let mut low = steps.find(|t| above(*t)).unwrap_or(3.0);
        let mut high = low + 0.2;
        for _ in 0..40 {
            let middle = 0.5 * (low + high);
            if above(middle) {
                low = middle
            } else {
                high = middle
            }
        }
        low
    };
    match s.head {
        Head::Locked => over(0.0, shank, &|foot, _| s.length_mm - crossing(foot, top)),
        Head::Seated {
            centre, radius_mm, ..
        } => {
            let middle = (centre - s.entry).dot(&s.direction);
            // The ball between the plate's faces, and the shank from its outer face on.
            let ball = |foot: Vec3| {
                let off = (foot - centre).cross(&s.direction).norm();
                let half = (radius_mm * radius_mm - off * off).max(0.0).sqrt();
                let from = crossing(foot, top).max(middle - half);
                [from, crossing(foot, under).min(middle + half).max(from)]
            };
            let inner = over(0.0, shank, &|foot, _| s.length_mm - crossing(foot, top));
            let outer = over(shank, radius_mm, &|foot, _| {
                let [from, to] = ball(foot);
                to - from
            });
            inner + outer
        }
        Head::OnBone {
            diameter_mm,
            height_mm,
        } => {
            // Length of a line, from the head's reach to below its footing, on which the distance from
            // the bone is below the height and above a limit; linear between samples.
            let reach = head_reach(c, s);
            let within = |foot: Vec3, least: f64| {
                let count = 200;
                let step = 2.0 * reach / f64::from(count);
                let at = |i: i32| {
                    let t = f64::from(i) * step - reach;
                    c.bone.outer().value(foot + s.direction * t)
                };
                let share = |from: f64, to: f64| {
                    let (low, high) = (from.min(to), from.max(to));
                    let inside = (high.min(height_mm) - low.max(least)).max(0.0);
                    (inside / (high - low).max(1e-12)).min(1.0)
                };
                (0..count)
                    .map(|i| step * share(at(i), at(i + 1)))
                    .sum::<f64>()
            };
            let inner = over(0.0, shank, &|foot, _| {
                s.length_mm - reach + within(foot, f64::MIN)
            });
            let outer = over(shank, 0.5 * diameter_mm, &|foot, _| within(foot, 0.0));
            inner + outer
        }
    }
}

/// Length of the closed curve where a screw's side and tip meet; `None` if it is not one closed curve.
/// Curved edges count by the two chords over their midside node plus a third of the gain over one
/// (Richardson).
fn tip_circle(mesh: &TetMesh, s: &Screw) -> Option<f64> {
    let part = Part::Screw(s.number);
    let mut edges: Vec<([u32; 3], bool)> = Vec::new();
    for f in mesh
        .facets
        .iter()
        .filter(|f| mesh.part_of(f.tet as usize) == part)
    {
        let is_tip = match mesh.surfaces[f.surface as usize] {
            SurfaceName::ScrewTip(n) if n == s.number => true,
            SurfaceName::ScrewSide(n) if n == s.number => false,
            _ => continue,
        };
        for k in 0..3 {
            let (a, b) = (f.nodes[k], f.nodes[(k + 1) % 3]);
            edges.push(([a.min(b), a.max(b), f.nodes[3 + k]], is_tip));
        }
    }
    edges.sort_unstable();
    let rim: Vec<[u32; 3]> = edges
        .windows(2)
        .filter(|w| w[0].0 == w[1].0 && w[0].1 != w[1].1)
        .map(|w| w[0].0)
        .collect();
    let mut ends: Vec<u32> = rim.iter().flat_map(|e| [e[0], e[1]]).collect();
    ends.sort_unstable();
    if rim.is_empty() || ends.chunk_by(|x, y| x == y).any(|same| same.len() != 2) {
        return None;
    }
    let length = rim
        .iter()
        .map(|e| {
            let [a, b, m] = e.map(|n| mesh.nodes[n as usize]);
            let (one, two) = ((b - a).norm(), (m - a).norm() + (b - m).norm());
            two + (two - one) / 3.0
        })
        .sum();
    Some(length)
}

/// FNV-1a (Fowler, Noll, Vo) of everything the solver reads.
fn digest(mesh: &TetMesh) -> u64 {
    let mut h = 0xcbf2_9ce4_8422_2325u64;
    let mut eat = |word: u64| {
        for byte in word.to_le_bytes() {
            h = (h ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
        }
    };
    for x in mesh.nodes.iter().flatten() {
        eat(x.to_bits());
    }
    for n in mesh.tets.iter().flatten() {
        eat(u64::from(*n));
    }
    for p in &mesh.part {
        eat(u64::from(*p));
    }
    for f in &mesh.facets {
        eat(u64::from(f.surface) << 32 | u64::from(f.tet));
    }
    h
}
