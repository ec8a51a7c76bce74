//! An invented test scene: a tube along Y with a canal, a gap, plates as shells on the tube with
//! round ends, and screws. Written as a [`Blueprint`] of plain fields.

use crate::random::Random;
use bicolumn_base::{Aabb, Fragment, Part, PlateSite, ScrewNumber, Tissue, Vec3};
use bicolumn_geometry::Field;
use bicolumn_mesh::{Blueprint, CutStep, Label, LatticePose, SurfaceId, SurfaceName};

/// The scene's dimensions, mm.
#[derive(Debug, Clone)]
pub(crate) struct Scene {
    pub(crate) outer: f64,
    pub(crate) inner: f64,
    pub(crate) half_length: f64,
    pub(crate) gap: f64,
    pub(crate) tilt: f64,
    pub(crate) plates: Vec<Shell>,
    pub(crate) screws: Vec<Rod>,
    pub(crate) finest: f64,
    pub(crate) pose: LatticePose,
}

/// A plate: a shell of the tube.
#[derive(Debug, Clone)]
pub(crate) struct Shell {
    pub(crate) angle: f64,
    pub(crate) middle: f64,
    pub(crate) length: f64,
    pub(crate) width: f64,
    pub(crate) thickness: f64,
    pub(crate) stand_off: f64,
}

/// A screw: starts above the plate.
#[derive(Debug, Clone)]
pub(crate) struct Rod {
    pub(crate) start: Vec3,
    pub(crate) along: Vec3,
    pub(crate) length: f64,
    pub(crate) radius: f64,
}

const BONE: Label = Label(1);
const CANAL: Label = Label(2);
const GAP: Label = Label(3);
const PROXIMAL: Label = Label(4);
const SLAB: Label = Label(5);
const PLATE: u8 = 10;
const SCREW: u8 = 20;
const HEAD: u8 = 40;
const INSIDE: u8 = 0x80;

/// A field from a closure.
struct Shape<F>(F);
impl<F: Fn(Vec3) -> f64 + Send + Sync> Field for Shape<F> {
    fn value(&self, x: Vec3) -> f64 {
        (self.0)(x)
    }
}

fn radial(x: Vec3) -> f64 {
    x.x.hypot(x.z)
}

impl Rod {
    fn depth(&self, x: Vec3) -> f64 {
        (x - self.start).dot(&self.along)
    }
    fn side(&self, x: Vec3) -> f64 {
        (x - self.start - self.along * self.depth(x)).norm() - self.radius
    }
    fn bounds(&self) -> Aabb {
        Aabb::around(&[self.start, self.start + self.along * self.length])
    }
}

impl Shell {
    /// Stadium on the tube's developed surface.
    fn outline(&self, outer: f64, x: Vec3) -> f64 {
        let (s, c) = self.angle.sin_cos();
        let across = (c * x.z - s * x.x).atan2(c * x.x + s * x.z) * outer;
        let straight = 0.5 * (self.length - self.width);
        let past = ((x.y - self.middle).abs() - straight).max(0.0);
        past.hypot(across) - 0.5 * self.width
    }
    fn bounds(&self, outer: f64) -> Aabb {
        let far = outer + self.thickness + self.stand_off + 1.0;
        let half = 0.5 * self.length + 2.0;
        Aabb {
            min: Vec3::new(-far, self.middle - half, -far),
            max: Vec3::new(far, self.middle + half, far),
        }
    }
}

impl Scene {
    pub(crate) fn base() -> Scene {
        let mut s = Scene {
            outer: 10.0,
            inner: 5.0,
            half_length: 40.0,
            gap: 5.0,
            tilt: 0.1,
            plates: vec![Shell {
                angle: 0.0,
                middle: 1.0,
                length: 62.0,
                width: 10.5,
                thickness: 3.0,
                stand_off: 0.0,
            }],
            screws: Vec::new(),
            finest: 1.0,
            pose: LatticePose::default(),
        };
        for (level, length, tilt) in [
            (-22.0, 26.0, 0.1),
            (-11.0, 11.0, -0.05),
            (12.0, 12.0, 0.1),
            (23.0, 26.0, 0.15),
        ] {
            let along = Vec3::new(-1.0, tilt, 0.07).normalize();
            s.screws.push(Rod {
                start: Vec3::new(s.outer, level, 0.0) - along * 4.0,
                along,
                length,
                radius: 1.5,
            });
        }
        s
    }

    fn level(&self, x: Vec3) -> f64 {
        (x.y + self.tilt * x.x) / (1.0 + self.tilt * self.tilt).sqrt()
    }

    fn plate(&self, p: &Shell, x: Vec3) -> f64 {
        let d = radial(x) - self.outer - p.stand_off;
        (d - p.thickness).max(-d).max(p.outline(self.outer, x))
    }

    fn screw(&self, r: &Rod, x: Vec3) -> f64 {
        r.side(x).max(r.depth(x) - r.length).max(-r.depth(x))
    }

    fn material(&self, x: Vec3) -> f64 {
        let r = radial(x);
        let bone = (r - self.outer)
            .max(self.inner - r)
            .max(x.y.abs() - self.half_length);
        let plates = self.plates.iter().map(|p| self.plate(p, x));
        let screws = self.screws.iter().map(|r| self.screw(r, x));
        plates.chain(screws).fold(bone, f64::min)
    }

    fn size(&self, x: Vec3) -> f64 {
        const GROWTH: f64 = 0.35;
        let h = self.finest;
        let mut size = 4.0 * h;
        for p in &self.plates {
            let beside = p.outline(self.outer, x);
            size = size.min(1.7 * h + GROWTH * self.plate(p, x).max(0.0));
            let from_end = 0.5 * p.length - (x.y - p.middle).abs();
            let d = radial(x) - self.outer;
            let end = from_end.max(0.0).max(beside.abs()).max(d.abs() - 0.5);
            size = size.min(h + GROWTH * end);
        }
        for r in &self.screws {
            let past = (r.depth(x) - r.length).max(-r.depth(x)).max(0.0);
            size = size.min(h + GROWTH * r.side(x).abs().hypot(past));
        }
        let face = (self.level(x).abs() - 0.5 * self.gap).abs();
        size.min(1.7 * h + GROWTH * face)
    }

    /// Surfaces in bit order: outer, inner, lower end, upper end, two gap faces, then per plate top,
    /// underside, outline, then per screw side and tip.
    pub(crate) fn blueprint(&self) -> Blueprint<'_> {
        type Surface<'a> = (SurfaceName, Box<dyn Field + 'a>);
        fn surface<'a>(
            name: SurfaceName,
            f: impl Fn(Vec3) -> f64 + Send + Sync + 'a,
        ) -> Surface<'a> {
            (name, Box::new(Shape(f)))
        }
        let sites = [PlateSite::Medial, PlateSite::Lateral];
        let mut surfaces = vec![
            surface(SurfaceName::BoneOuter, |x| radial(x) - self.outer),
            surface(SurfaceName::BoneInner, |x| radial(x) - self.inner),
            surface(SurfaceName::Other(0), |x| -self.half_length - x.y),
            surface(SurfaceName::ProximalEnd, |x| x.y - self.half_length),
            surface(SurfaceName::FractureDistal, |x| {
                self.level(x) + 0.5 * self.gap
            }),
            surface(SurfaceName::FractureProximal, |x| {
                self.level(x) - 0.5 * self.gap
            }),
        ];
        let keep = |l: Label, outside: bool, then: Label| if outside { l } else { then };
        let mut steps: Vec<CutStep> = vec![
            step(
                0,
                Aabb::EVERYWHERE,
                |_, _| true,
                move |l, out, _| keep(l, out, BONE),
            ),
            step(
                2,
                Aabb::EVERYWHERE,
                |l, _| l == BONE,
                |l, out, _| if out { Label::VOID } else { l },
            ),
            step(
                3,
                Aabb::EVERYWHERE,
                |l, _| l == BONE,
                |l, out, _| if out { Label::VOID } else { l },
            ),
            step(
                1,
                Aabb::EVERYWHERE,
                |l, _| l == BONE,
                move |l, out, _| keep(l, out, CANAL),
            ),
        ];
        for (i, p) in self.plates.iter().enumerate() {
            let k = surfaces.len() as u8;
            let site = sites[i];
            let outer = self.outer;
            surfaces.push(surface(SurfaceName::PlateTop(site), move |x| {
                radial(x) - outer - p.stand_off - p.thickness
            }));
            surfaces.push(surface(SurfaceName::PlateUnderside(site), move |x| {
                radial(x) - outer - p.stand_off
            }));
            surfaces.push(surface(SurfaceName::PlateSide(site), move |x| {
                p.outline(outer, x)
            }));
            let near = move |x: Vec3| p.outline(outer, x) < 4.0;
            let bounds = p.bounds(outer);
            steps.push(step(
                k,
                bounds,
                move |l, x| l == Label::VOID && near(x) && radial(x) > outer - 0.5,
                move |l, out, _| keep(l, out, SLAB),
            ));
            if p.stand_off > 0.0 {
                steps.push(step(
                    k + 1,
                    bounds,
                    |l, _| l == SLAB,
                    |l, out, _| if out { l } else { Label::VOID },
                ));
            }
            steps.push(step(
                k + 2,
                bounds,
                |l, _| l == SLAB,
                move |_, out, _| {
                    if out {
                        Label::VOID
                    } else {
                        Label(PLATE + i as u8)
                    }
                },
            ));
        }
        for (i, r) in self.screws.iter().enumerate() {
            let k = surfaces.len() as u8;
            let number = ScrewNumber(i as u8 + 1);
            surfaces.push(surface(SurfaceName::ScrewSide(number), move |x| r.side(x)));
            surfaces.push(surface(SurfaceName::ScrewTip(number), move |x| {
                r.depth(x) - r.length
            }));
            let plate = |l: Label| (PLATE..SCREW).contains(&l.0);
            let near =
                move |x: Vec3| r.side(x) < 3.0 && r.depth(x) > -4.0 && r.depth(x) < r.length + 3.0;
            let outer = self.outer;
            let within = move |l: Label, x: Vec3| {
                let beyond = l == Label::VOID && (r.depth(x) > 6.0 || radial(x) < outer + 0.6);
                near(x) && (l == BONE || l == CANAL || plate(l) || beyond)
            };
            steps.push(step(k, r.bounds().grown(6.0), within, |l, out, _| {
                if out { l } else { Label(l.0 | INSIDE) }
            }));
            steps.push(step(
                k + 1,
                Aabb::EVERYWHERE,
                |l, _| l.0 & INSIDE != 0,
                move |l, out, _| {
                    let host = Label(l.0 & !INSIDE);
                    match (out, plate(host)) {
                        (true, _) => host,
                        (false, true) => Label(HEAD + i as u8),
                        (false, false) => Label(SCREW + i as u8),
                    }
                },
            ));
        }
        steps.push(step(
            4,
            Aabb::EVERYWHERE,
            |l, _| l == BONE,
            |l, above, _| if above { PROXIMAL } else { l },
        ));
        steps.push(step(
            5,
            Aabb::EVERYWHERE,
            |l, _| l == PROXIMAL,
            |l, above, _| if above { l } else { GAP },
        ));

        let mut parts = vec![None; 60];
        parts[BONE.0 as usize] = Some(Part::Bone(Fragment::Distal, Tissue::Cortical));
        parts[PROXIMAL.0 as usize] = Some(Part::Bone(Fragment::Proximal, Tissue::Cortical));
        for (i, site) in sites.iter().take(self.plates.len()).enumerate() {
            parts[PLATE as usize + i] = Some(Part::Plate(*site));
        }
        for i in 0..self.screws.len() {
            let part = Some(Part::Screw(ScrewNumber(i as u8 + 1)));
            parts[SCREW as usize + i] = part;
            parts[HEAD as usize + i] = part;
        }
        let reach = self.outer + 4.0;
        let tube = Aabb {
            min: Vec3::new(-reach, -self.half_length, -reach),
            max: Vec3::new(reach, self.half_length, reach),
        };
        let bounds = self.screws.iter().fold(tube, |b, r| {
            let s = r.bounds();
            b.including(s.min).including(s.max)
        });
        Blueprint {
            surfaces,
            steps,
            parts,
            bodies: Vec::new(),
            may_bound: Box::new(|_, _, _| true),
            axes: Vec::new(),
            bounds: bounds.grown(1.0),
            material: Box::new(|x| self.material(x)),
            size: Box::new(|x| self.size(x)),
            finest_mm: self.finest,
            levels: 2,
            pose: self.pose,
        }
    }

    /// Volumes of bone (two fragments), plates and screws by stratified sampling on a grid of `h` mm.
    pub(crate) fn sampled_volumes(&self, h: f64, random: &mut Random) -> [f64; 3] {
        let b = self.blueprint().bounds;
        let n = ((b.max - b.min) / h).map(|v| v.ceil() as usize);
        let mut sum = [0.0; 3];
        for i in 0..n.x {
            for j in 0..n.y {
                for k in 0..n.z {
                    let at = Vec3::new(i as f64, j as f64, k as f64)
                        + Vec3::new(random.unit(), random.unit(), random.unit());
                    let x = b.min + at * h;
                    if let Some(kind) = self.kind(x) {
                        sum[kind] += h * h * h;
                    }
                }
            }
        }
        sum
    }

    /// 0 bone, 1 plate, 2 screw.
    fn kind(&self, x: Vec3) -> Option<usize> {
        let r = radial(x);
        let in_plate = self.plates.iter().any(|p| self.plate(p, x) < 0.0);
        if self.screws.iter().any(|s| {
            self.screw(s, x) < 0.0 && (in_plate || r < self.outer + 0.6 || s.depth(x) > 6.0)
        }) {
            return Some(2);
        }
        if in_plate {
            return Some(1);
        }
        let bone = r < self.outer
            && r > self.inner
            && x.y.abs() < self.half_length
            && self.level(x).abs() > 0.5 * self.gap;
        bone.then_some(0)
    }

    /// A random scene whose screws keep a clearance from everything they could graze.
    pub(crate) fn random(seed: u64) -> Scene {
        let mut r = Random::new(seed);
        let outer = r.between(9.0, 11.5);
        let mut s = Scene {
            outer,
            inner: outer * r.between(0.4, 0.6),
            half_length: 45.0,
            gap: r.between(5.0, 10.0),
            tilt: r.between(-0.3, 0.3),
            plates: Vec::new(),
            screws: Vec::new(),
            finest: 1.0,
            pose: LatticePose {
                shift_mm: std::array::from_fn(|_| r.between(-1.0, 1.0)),
                rotation_rad: std::array::from_fn(|_| r.between(-0.8, 0.8)),
            },
        };
        let plates = 1 + (r.unit() * 2.0) as usize;
        for i in 0..plates {
            s.plates.push(Shell {
                angle: i as f64 * std::f64::consts::PI * r.between(0.85, 1.0),
                middle: r.between(-4.0, 4.0),
                length: r.between(62.0, 74.0),
                width: r.between(10.0, 11.0),
                thickness: r.between(2.6, 3.2),
                stand_off: [0.0, 0.5][(r.unit() * 2.0) as usize],
            });
        }
        for i in 0..plates {
            for share in [-0.38, -0.2, 0.2, 0.38] {
                for _ in 0..3000 {
                    let p = &s.plates[i];
                    let (sin, cos) = p.angle.sin_cos();
                    let level = p.middle + share * p.length + r.between(-1.5, 1.5);
                    let (t1, t2) = (r.between(-0.2, 0.2), r.between(-0.2, 0.2));
                    let along = Vec3::new(-cos - t1 * sin, t2, -sin + t1 * cos).normalize();
                    let radius = [1.2, 1.35, 1.75][(r.unit() * 3.0) as usize];
                    let start = Vec3::new(cos * outer, level, sin * outer)
                        - along * (p.thickness + p.stand_off + 1.0);
                    let length = if plates == 1 && r.unit() < 0.5 {
                        2.0 * outer + p.thickness + 1.0 + r.between(1.5, 4.0)
                    } else {
                        r.between(9.5, 22.0)
                    };
                    let rod = Rod {
                        start,
                        along,
                        length,
                        radius,
                    };
                    if s.clears(&rod, i) {
                        s.screws.push(rod);
                        break;
                    }
                }
            }
        }
        s
    }

    fn clears(&self, rod: &Rod, own: usize) -> bool {
        const CLEAR: f64 = 0.8;
        let at = |r: &Rod, t: f64| r.start + r.along * t;
        let steps = |n: usize| (0..=n).map(move |i| i as f64 / n as f64);
        let clear_of_screws = self.screws.iter().all(|o| {
            steps(40).all(|t| {
                let a = at(rod, t * rod.length);
                let b = at(o, o.depth(a).clamp(0.0, o.length));
                (a - b).norm() > rod.radius + o.radius + CLEAR
            })
        });
        let clear_of_plates = self.plates.iter().enumerate().all(|(i, p)| {
            i == own
                || steps(60).all(|t| self.plate(p, at(rod, t * rod.length)) > rod.radius + CLEAR)
        });
        let tip = at(rod, rod.length);
        let side = rod.along.cross(&Vec3::y()).normalize();
        let other = rod.along.cross(&side);
        let rim = || {
            (0..16).map(|i| {
                let (s, c) = (f64::from(i) * std::f64::consts::PI / 8.0).sin_cos();
                tip + (side * c + other * s) * rod.radius
            })
        };
        let tip_clear = [self.outer, self.inner].iter().all(|wall| {
            let d: Vec<f64> = rim().chain([tip]).map(|x| radial(x) - wall).collect();
            d.iter().all(|v| *v > CLEAR) || d.iter().all(|v| *v < -CLEAR)
        });
        let gap_clear = steps(20).all(|t| {
            let x = at(rod, t * rod.length);
            radial(x) > self.outer + 0.5
                || (self.level(x).abs() - 0.5 * self.gap).abs() > rod.radius + CLEAR
        });
        let p = &self.plates[own];
        let rim_clear = steps(10).all(|t| {
            let x = at(rod, t * (p.thickness + 2.0));
            p.outline(self.outer, x) < -rod.radius - 1.0
        });
        let nearest = steps(60)
            .map(|t| radial(at(rod, t * rod.length)) - self.inner)
            .fold(f64::INFINITY, f64::min);
        let no_graze = nearest < -rod.radius - 0.5 || nearest > rod.radius + 0.5;
        clear_of_screws && clear_of_plates && tip_clear && gap_clear && rim_clear && no_graze
    }
}

fn step<'a>(
    surface: u8,
    bounds: Aabb,
    within: impl Fn(Label, Vec3) -> bool + Sync + 'a,
    relabel: impl Fn(Label, bool, Vec3) -> Label + Sync + 'a,
) -> CutStep<'a> {
    CutStep {
        surface: SurfaceId(surface),
        bounds,
        within: Box::new(within),
        relabel: Box::new(relabel),
    }
}
