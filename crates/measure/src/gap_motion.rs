//! Interfragmentary motion: how the two fracture faces move against each other.
//!
//! Samples: points of the distal face, each standing for at most about 0.5 mm², matched with the
//! point of the proximal face that lies straight across the gap along the fracture normal; points
//! without a partner are left out. With the best-fit rigid motion (t, ω) of the proximal face,
//! the relative displacement of a pair is
//!
//! ```text
//! d = u(x_distal) − u(x_proximal) − ω × (x_distal − x_proximal)
//! ```
//!
//! so that neither translation nor rotation of the proximal fragment counts as motion. In the
//! fracture frame, axial = −d·n (n points proximally; closing is negative), shear = |d − (d·n) n|.
//!
//! ```text
//!            anterior quarter
//!          ┌─────────────────┐
//!   medial │▒▒▒         ▒▒▒▒▒│ lateral      quarters of the matched face's extent
//!  quarter │▒▒▒         ▒▒▒▒▒│ quarter      along the lateral and the anterior axis
//!          └─────────────────┘
//!            posterior quarter
//! ```

use crate::facet_point::{FacetPoint, spread};
use crate::percentile::weighted_mean;
use crate::rigid::{Spread, best_rotation};
use crate::shape::{push_at, vector_at};
use bicolumn_base::{BodySide, Fragment, Part, Vec3};
use bicolumn_mesh::{SurfaceName, TetMesh};

/// Largest edge of the triangle a sample stands for, mm.
const SPACING_MM: f64 = 1.0;

/// Axes of the fracture plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct FractureFrame {
    /// Unit normal, pointing proximally.
    pub(crate) normal: Vec3,
    /// Unit axis in the plane, pointing laterally.
    pub(crate) lateral: Vec3,
    /// Unit axis in the plane, pointing anteriorly.
    pub(crate) anterior: Vec3,
    /// Side of the body.
    pub(crate) side: BodySide,
}

impl FractureFrame {
    /// The frame of a plane: lateral is Z (−Z in a left bone) laid into the plane, anterior the
    /// direction in the plane normal to it on the side of +X.
    pub(crate) fn new(normal: Vec3, side: BodySide) -> Self {
        let z = side.vector(Vec3::z());
        let lateral = (z - normal * z.dot(&normal)).normalize();
        let across = normal.cross(&lateral);
        FractureFrame {
            normal,
            lateral,
            anterior: across * across.x.signum(),
            side,
        }
    }
}

/// A point of the distal face and its partner.
struct Pair {
    distal: FacetPoint,
    proximal: FacetPoint,
    lateral_mm: f64,
    anterior_mm: f64,
}

/// The matched faces of a fracture; geometry only, serves all load cases.
pub(crate) struct GapFaces {
    frame: FractureFrame,
    pairs: Vec<Pair>,
    proximal_face: Vec<FacetPoint>,
    distal_face: Vec<FacetPoint>,
    /// Extent of the matched points: lateral least and largest, anterior least and largest.
    extent: [f64; 4],
}

/// Motion of one region of the face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RegionMotion {
    /// Area-weighted mean axial motion, mm; closing negative.
    pub(crate) axial_mm: f64,
    /// Area-weighted mean shear, mm.
    pub(crate) shear_mm: f64,
}

/// Motion of one load case.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct GapMotion {
    /// Medial quarter, lateral quarter, anterior quarter, posterior quarter, whole face.
    pub(crate) regions: [Option<RegionMotion>; 5],
    /// Axial motion of largest size, signed, and where.
    pub(crate) axial_peak: (f64, Vec3),
    /// Largest shear and where.
    pub(crate) shear_peak: (f64, Vec3),
    /// Rotation of the distal face against the proximal one about normal, lateral and anterior
    /// axis, degree: right-hand rule on a right bone, its mirror image on a left one.
    pub(crate) rotation_deg: Option<[f64; 3]>,
}

impl GapFaces {
    /// Matches the faces; `None` when the mesh has no fracture faces or nothing lies opposite.
    pub(crate) fn find(mesh: &TetMesh, frame: FractureFrame) -> Option<Self> {
        let face = |surface, distal: bool| {
            let mut points = Vec::new();
            for f in mesh.facets_on(surface) {
                if matches!(mesh.part_of(f.tet as usize), Part::Bone(x, _) if x.is_distal() == distal)
                {
                    spread(mesh, f, SPACING_MM, &mut points);
                }
            }
            points
        };
        let proximal_face = face(SurfaceName::FractureProximal, false);
        let distal_face = face(SurfaceName::FractureDistal, true);
        let partners = Partners::new(mesh, frame);
        let plane = |x: Vec3| (x.dot(&frame.lateral), x.dot(&frame.anterior));
        let mut pairs = Vec::new();
        let mut extent = [
            f64::INFINITY,
            f64::NEG_INFINITY,
            f64::INFINITY,
            f64::NEG_INFINITY,
        ];
        for distal in &distal_face {
            let (l, a) = plane(distal.at);
            if let Some(proximal) = partners.across(mesh, l, a) {
                extent = [
                    extent[0].min(l),
                    extent[1].max(l),
                    extent[2].min(a),
                    extent[3].max(a),
                ];
                pairs.push(Pair {
                    distal: distal.clone(),
                    proximal,
                    lateral_mm: l,
                    anterior_mm: a,
                });
            }
        }
        (!pairs.is_empty()).then_some(GapFaces {
            frame,
            pairs,
            proximal_face,
            distal_face,
            extent,
        })
    }

    /// Motion in one displacement field; `None` when a face is too small to define a rotation.
    pub(crate) fn motion(&self, mesh: &TetMesh, u: &[Vec3]) -> Option<GapMotion> {
        let n = self.frame.normal;
        let proximal = self.rotation(mesh, u, &self.proximal_face)?;
        let motions: Vec<(f64, f64)> = self
            .relative(mesh, u)?
            .iter()
            .map(|d| {
                let axial = -d.dot(&n);
                (axial, (d + n * axial).norm())
            })
            .collect();
        let region = |inside: &dyn Fn(&Pair) -> bool| {
            let mean = |which: &dyn Fn(&(f64, f64)) -> f64| {
                weighted_mean(
                    self.pairs
                        .iter()
                        .zip(&motions)
                        .filter(|(p, _)| inside(p))
                        .map(|(p, m)| (which(m), p.distal.area_mm2)),
                )
            };
            Some(RegionMotion {
                axial_mm: mean(&|m| m.0)?,
                shear_mm: mean(&|m| m.1)?,
            })
        };
        let (axial, shear) = peaks(motions.iter().copied());
        let distal = self.rotation(mesh, u, &self.distal_face);
        let rotation_deg = distal.map(|distal| {
            let w = (distal - proximal) * self.frame.side.handedness();
            self.axes().map(|axis| w.dot(&axis).to_degrees())
        });
        Some(GapMotion {
            regions: self.in_regions(region),
            axial_peak: (motions[axial].0, self.pairs[axial].distal.at),
            shear_peak: (motions[shear].1, self.pairs[shear].distal.at),
            rotation_deg,
        })
    }

    /// The relative displacement d of each pair.
    fn relative(&self, mesh: &TetMesh, u: &[Vec3]) -> Option<Vec<Vec3>> {
        let moved = |p: &FacetPoint| vector_at(mesh, u, p.tet, p.barycentric);
        let proximal = self.rotation(mesh, u, &self.proximal_face)?;
        let of_pair = |p: &Pair| {
            let lever = p.distal.at - p.proximal.at;
            moved(&p.distal) - moved(&p.proximal) - proximal.cross(&lever)
        };
        Some(self.pairs.iter().map(of_pair).collect())
    }

    /// Best-fit rotation of a face, rad.
    fn rotation(&self, mesh: &TetMesh, u: &[Vec3], face: &[FacetPoint]) -> Option<Vec3> {
        let moved = |p: &FacetPoint| vector_at(mesh, u, p.tet, p.barycentric);
        let data: Vec<_> = face.iter().map(|p| (p.area_mm2, p.at, moved(p))).collect();
        best_rotation(&data)
    }

    /// Something of each region, see [`GapMotion::regions`].
    fn in_regions<T>(&self, of: impl Fn(&dyn Fn(&Pair) -> bool) -> T) -> [T; 5] {
        let [l0, l1, a0, a1] = self.extent;
        let (dl, da) = (0.25 * (l1 - l0), 0.25 * (a1 - a0));
        [
            of(&|p| p.lateral_mm <= l0 + dl),
            of(&|p| p.lateral_mm >= l1 - dl),
            of(&|p| p.anterior_mm >= a1 - da),
            of(&|p| p.anterior_mm <= a0 + da),
            of(&|_| true),
        ]
    }
}

/// Where the axial motion of largest size and the largest shear are; the first wins a tie.
fn peaks(motions: impl Iterator<Item = (f64, f64)>) -> (usize, usize) {
    let (mut axial, mut shear) = ((0, f64::MIN), (0, f64::MIN));
    for (i, m) in motions.enumerate() {
        if m.0.abs() > axial.1 {
            axial = (i, m.0.abs());
        }
        if m.1 > shear.1 {
            shear = (i, m.1);
        }
    }
    (axial.0, shear.0)
}

/// One component of the relative rigid motion of the two faces.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum RelativeMotion {
    /// Mean of d over the matched face, along a direction.
    Shift(Vec3),
    /// Rotation of the distal face against the proximal one about a direction, rad.
    Turn(Vec3),
}

/// How a reading of the gap changes with the relative rigid motion: with a shift t at the matched face's
/// centre and a turn ω by shift·t + turn·ω.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct RigidShare {
    pub(crate) shift: Vec3,
    pub(crate) turn: Vec3,
}

/// The readings of [`GapMotion`], each with its share.
pub(crate) struct RigidShares {
    /// Axial and shear of each region.
    pub(crate) regions: [Option<[RigidShare; 2]>; 5],
    pub(crate) axial_peak: RigidShare,
    pub(crate) shear_peak: RigidShare,
}

impl GapFaces {
    /// Axes that shifts and turns are taken along: normal, lateral, anterior.
    pub(crate) fn axes(&self) -> [Vec3; 3] {
        let f = &self.frame;
        [f.normal, f.lateral, f.anterior]
    }

    /// Nodal forces whose work on a displacement field is a component of the relative motion in it;
    /// `None` where [`GapFaces::motion`] gives none.
    pub(crate) fn load_of(&self, mesh: &TetMesh, component: RelativeMotion) -> Option<Vec<Vec3>> {
        let spread_of = |face: &[FacetPoint]| Spread::of(face.iter().map(|p| (p.area_mm2, p.at)));
        let proximal = spread_of(&self.proximal_face)?;
        let mut forces = vec![Vec3::zeros(); mesh.nodes.len()];
        let mut push = |p: &FacetPoint, force| {
            push_at(mesh, &mut forces, p.tet, p.barycentric, force);
        };
        // What the removed rotation of the proximal face takes off: −ω · moment.
        let moment = match component {
            RelativeMotion::Shift(along) => {
                let area: f64 = self.pairs.iter().map(|p| p.distal.area_mm2).sum();
                let mut moment = Vec3::zeros();
                for p in &self.pairs {
                    let force = along * (p.distal.area_mm2 / area);
                    push(&p.distal, force);
                    push(&p.proximal, -force);
                    moment += (p.distal.at - p.proximal.at).cross(&force);
                }
                moment
            }
            RelativeMotion::Turn(about) => {
                let lever = spread_of(&self.distal_face)?.lever(about);
                for p in &self.distal_face {
                    push(p, lever(p.at) * p.area_mm2);
                }
                about
            }
        };
        let lever = proximal.lever(moment);
        for p in &self.proximal_face {
            push(p, lever(p.at) * -p.area_mm2);
        }
        Some(forces)
    }

    /// How each reading of a displacement field changes with a further rigid motion of the faces against
    /// each other; the directions of shear are those of the field.
    pub(crate) fn rigid_shares(&self, mesh: &TetMesh, u: &[Vec3]) -> Option<RigidShares> {
        let motions = self.relative(mesh, u)?;
        let n = self.frame.normal;
        let area = |p: &Pair| p.distal.area_mm2;
        let total: f64 = self.pairs.iter().map(area).sum();
        let centre = self.pairs.iter().map(|p| p.distal.at * area(p));
        let centre = centre.sum::<Vec3>() / total;
        let share_at = |p: &Pair, along: Vec3| RigidShare {
            shift: along,
            turn: (p.distal.at - centre).cross(&along),
        };
        let shares: Vec<[RigidShare; 2]> = self
            .pairs
            .iter()
            .zip(&motions)
            .map(|(p, d)| {
                let in_plane = d - n * d.dot(&n);
                let direction = in_plane.try_normalize(0.0).unwrap_or_default();
                [share_at(p, -n), share_at(p, direction)]
            })
            .collect();
        let mean = |inside: &dyn Fn(&Pair) -> bool| {
            let mut sum = [RigidShare {
                shift: Vec3::zeros(),
                turn: Vec3::zeros(),
            }; 2];
            let mut weight = 0.0;
            for (p, shares) in self.pairs.iter().zip(&shares).filter(|(p, _)| inside(p)) {
                weight += area(p);
                for (sum, s) in sum.iter_mut().zip(shares) {
                    sum.shift += s.shift * area(p);
                    sum.turn += s.turn * area(p);
                }
            }
            (weight > 0.0).then(|| {
                sum.map(|s| RigidShare {
                    shift: s.shift / weight,
                    turn: s.turn / weight,
                })
            })
        };
        let size = |d: &Vec3| (d.dot(&n), (d - n * d.dot(&n)).norm());
        let (axial, shear) = peaks(motions.iter().map(size));
        Some(RigidShares {
            regions: self.in_regions(mean),
            axial_peak: shares[axial][0],
            shear_peak: shares[shear][1],
        })
    }
}

/// Facets of the proximal face in the plane, in strips 1 mm wide along the lateral axis.
struct Partners {
    first: f64,
    strips: Vec<Vec<usize>>,
    triangles: Vec<Triangle>,
}

struct Triangle {
    facet: usize,
    corners: [[f64; 2]; 3],
}

impl Partners {
    fn new(mesh: &TetMesh, frame: FractureFrame) -> Self {
        let mut triangles = Vec::new();
        for (i, f) in mesh.facets.iter().enumerate() {
            let bone = matches!(
                mesh.part_of(f.tet as usize),
                Part::Bone(Fragment::Proximal, _)
            );
            if bone && mesh.surfaces[f.surface as usize] == SurfaceName::FractureProximal {
                let corners = [0, 1, 2].map(|k| {
                    let x = mesh.nodes[f.nodes[k] as usize];
                    [x.dot(&frame.lateral), x.dot(&frame.anterior)]
                });
                triangles.push(Triangle { facet: i, corners });
            }
        }
        let least = |t: &Triangle| t.corners.iter().map(|c| c[0]).fold(f64::INFINITY, f64::min);
        let largest = |t: &Triangle| {
            let all = t.corners.iter().map(|c| c[0]);
            all.fold(f64::NEG_INFINITY, f64::max)
        };
        let first = triangles.iter().map(least).fold(f64::INFINITY, f64::min);
        let mut strips: Vec<Vec<usize>> = Vec::new();
        for (i, t) in triangles.iter().enumerate() {
            let (low, high) = ((least(t) - first) as usize, (largest(t) - first) as usize);
            if strips.len() <= high {
                strips.resize_with(high + 1, Vec::new);
            }
            for strip in &mut strips[low..=high] {
                strip.push(i);
            }
        }
        Partners {
            first,
            strips,
            triangles,
        }
    }

    /// The point of the proximal face at in-plane coordinates (lateral, anterior).
    fn across(&self, mesh: &TetMesh, l: f64, a: f64) -> Option<FacetPoint> {
        let strip = l - self.first;
        if strip < 0.0 {
            return None;
        }
        let members = self.strips.get(strip as usize)?;
        members.iter().find_map(|i| {
            let t = &self.triangles[*i];
            let [p, q, r] = t.corners;
            let det = (q[0] - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (q[1] - p[1]);
            let l1 = ((l - p[0]) * (r[1] - p[1]) - (r[0] - p[0]) * (a - p[1])) / det;
            let l2 = ((q[0] - p[0]) * (a - p[1]) - (l - p[0]) * (q[1] - p[1])) / det;
            let inside = l1 >= -1e-9 && l2 >= -1e-9 && l1 + l2 <= 1.0 + 1e-9;
            inside.then(|| FacetPoint::on(mesh, &mesh.facets[t.facet], l1, l2))
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::gap_of_boxes;
    use proptest::prelude::*;

    const FRAME: FractureFrame = FractureFrame {
        normal: Vec3::new(0.0, 1.0, 0.0),
        lateral: Vec3::new(0.0, 0.0, 1.0),
        anterior: Vec3::new(1.0, 0.0, 0.0),
        side: BodySide::Right,
    };

    #[test]
    fn frame_of_a_level_fracture_is_the_bone_frame() {
        assert_eq!(FractureFrame::new(Vec3::y(), BodySide::Right), FRAME);
        let left = FractureFrame::new(Vec3::y(), BodySide::Left);
        assert_eq!((left.lateral, left.anterior), (-Vec3::z(), Vec3::x()));
    }

    #[test]
    fn closing_is_negative_and_columns_are_told_apart() {
        // Distal block tilts about X: the lateral side (z = 4) closes by 0.04, the medial opens.
        let mesh = gap_of_boxes(5.0);
        let faces = GapFaces::find(&mesh, FRAME).unwrap();
        let u: Vec<Vec3> = mesh
            .nodes
            .iter()
            .map(|x| {
                if x.y < 2.5 {
                    Vec3::y() * 0.01 * x.z
                } else {
                    Vec3::zeros()
                }
            })
            .collect();
        let m = faces.motion(&mesh, &u).unwrap();
        let [medial, lateral, anterior, posterior, whole] = m.regions.map(|r| r.unwrap());
        // Quarters of the sampled extent, which ends just inside the edges z = ±4.
        assert!(lateral.axial_mm < -0.025 && lateral.axial_mm > -0.035);
        assert!((medial.axial_mm + lateral.axial_mm).abs() < 1e-9);
        // Means over z, short of zero by the samples' lopsided share of a quarter.
        assert!(anterior.axial_mm.abs() < 1e-3 && posterior.axial_mm.abs() < 1e-3);
        assert!(whole.axial_mm.abs() < 1e-9 && whole.shear_mm < 1e-9);
        // u_y = 0.01 z is the rotation −0.01 about X, the anterior axis.
        let [normal, lateral, anterior] = m.rotation_deg.unwrap();
        assert!((anterior + 0.01f64.to_degrees()).abs() < 1e-6, "{anterior}");
        assert!(normal.abs() < 1e-9 && lateral.abs() < 1e-9);
    }

    /// A field without any symmetry.
    fn bent(mesh: &TetMesh) -> Vec<Vec3> {
        let at = |x: &Vec3| {
            let twist = Vec3::new(x.z * x.x, 0.3 * x.x - x.y * x.z, x.x * x.y + 0.2 * x.z);
            (twist + Vec3::new(0.4, -0.2, 0.7)) * if x.y < 2.5 { 0.01 } else { -0.004 }
        };
        mesh.nodes.iter().map(at).collect()
    }

    #[test]
    fn loads_do_the_work_of_the_motion_that_they_stand_for() {
        let mesh = gap_of_boxes(5.0);
        let faces = GapFaces::find(&mesh, FRAME).unwrap();
        let u = bent(&mesh);
        let work = |component| -> f64 {
            let load = faces.load_of(&mesh, component).unwrap();
            load.iter().zip(&u).map(|(f, u)| f.dot(u)).sum()
        };
        let motion = faces.motion(&mesh, &u).unwrap();
        let mean = motion.regions[4].unwrap().axial_mm;
        let shift = work(RelativeMotion::Shift(FRAME.normal));
        assert!((shift + mean).abs() < 1e-12, "{shift} {mean}");
        for (axis, wanted) in faces.axes().into_iter().zip(motion.rotation_deg.unwrap()) {
            let turn = work(RelativeMotion::Turn(axis)).to_degrees();
            assert!((turn - wanted).abs() < 1e-10, "{turn} {wanted}");
        }
    }

    #[test]
    fn readings_change_with_a_rigid_motion_as_their_shares_say() {
        let mesh = gap_of_boxes(5.0);
        let faces = GapFaces::find(&mesh, FRAME).unwrap();
        let u = bent(&mesh);
        let shares = faces.rigid_shares(&mesh, &u).unwrap();
        let (t, w) = (
            Vec3::new(2.0, -1.0, 3.0) * 1e-6,
            Vec3::new(-3.0, 2.0, 1.0) * 1e-6,
        );
        // Turned about the centre of the matched face, which is that of the distal one: (0, 0, 0).
        let moved: Vec<Vec3> = u
            .iter()
            .zip(&mesh.nodes)
            .map(|(u, x)| if x.y < 2.5 { u + t + w.cross(x) } else { *u })
            .collect();
        let grown = |s: &RigidShare| s.shift.dot(&t) + s.turn.dot(&w);
        let (a, b) = (faces.motion(&mesh, &u), faces.motion(&mesh, &moved));
        let (a, b) = (a.unwrap(), b.unwrap());
        for k in 0..5 {
            let (before, after) = (a.regions[k].unwrap(), b.regions[k].unwrap());
            let [axial, shear] = shares.regions[k].unwrap();
            let off = after.axial_mm - before.axial_mm - grown(&axial);
            assert!(off.abs() < 1e-12, "{k}: {off}");
            // Shear is linearised.
            let off = after.shear_mm - before.shear_mm - grown(&shear);
            assert!(off.abs() < 1e-9, "{k}: {off}");
        }
        let off = b.axial_peak.0 - a.axial_peak.0 - grown(&shares.axial_peak);
        assert!(off.abs() < 1e-12, "{off}");
    }

    proptest! {
        #[test]
        fn moving_everything_rigidly_is_no_motion(
            t in prop::array::uniform3(-1.0..1.0f64),
            w in prop::array::uniform3(-0.1..0.1f64),
        ) {
            let (t, w) = (Vec3::from(t), Vec3::from(w));
            let mesh = gap_of_boxes(5.0);
            let faces = GapFaces::find(&mesh, FRAME).unwrap();
            let u: Vec<Vec3> = mesh.nodes.iter().map(|x| t + w.cross(x)).collect();
            let m = faces.motion(&mesh, &u).unwrap();
            prop_assert!(m.axial_peak.0.abs() < 1e-12);
            prop_assert!(m.shear_peak.0 < 1e-12);
            for r in m.rotation_deg.unwrap() {
                prop_assert!(r.abs() < 1e-10);
            }
        }

        #[test]
        fn shear_and_axial_of_a_shifted_block(s in prop::array::uniform3(-1.0..1.0f64)) {
            let s = Vec3::from(s);
            let mesh = gap_of_boxes(5.0);
            let faces = GapFaces::find(&mesh, FRAME).unwrap();
            let u: Vec<Vec3> = mesh
                .nodes
                .iter()
                .map(|x| if x.y < 2.5 { s } else { Vec3::zeros() })
                .collect();
            let m = faces.motion(&mesh, &u).unwrap();
            let whole = m.regions[4].unwrap();
            prop_assert!((whole.axial_mm + s.y).abs() < 1e-12);
            prop_assert!((whole.shear_mm - s.x.hypot(s.z)).abs() < 1e-12);
        }
    }
}
