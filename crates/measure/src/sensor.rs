//! Readings of sensors on the bone's surface: relative motion of markers, mean strain of gauges.
//!
//! Both are linear in the displacement, but for the size of a motion: sums of nodal displacements with fixed weights, and
//! of their gradients.

use crate::facet_point::FacetPoint;
use crate::shape::{gradients, vector_at};
use bicolumn_base::{BodySide, Vec3};
use bicolumn_mesh::{Facet, SurfaceName, TetMesh};
use bicolumn_model::{MarkerMotion, Reading, Sensor};

/// Farthest that a site on the bone's own surface may lie from the meshed one, mm.
const OFF_MESH_MM: f64 = 1.0;
/// Spacing of a gauge's samples, mm.
const SPACING_MM: f64 = 0.25;
/// Most samples of a gauge along an edge.
const MOST_SAMPLES: f64 = 40.0;

/// A sensor on a meshed bone.
#[derive(Debug, Clone)]
pub struct PlacedSensor {
    /// Column that it fills.
    column: String,
    on: Placed,
}

#[derive(Debug, Clone)]
enum Placed {
    Markers {
        from: FacetPoint,
        to: FacetPoint,
        along: MarkerMotion,
        side: BodySide,
    },
    /// Samples, each with its direction.
    Gauge(Vec<(FacetPoint, Vec3)>),
}

/// The free outer surface of bone, to find sites on.
struct Surface<'a> {
    mesh: &'a TetMesh,
    facets: Vec<&'a Facet>,
}

impl<'a> Surface<'a> {
    fn of(mesh: &'a TetMesh) -> Self {
        let is_outer = |f: &&Facet| {
            mesh.surfaces[f.surface as usize] == SurfaceName::BoneOuter
                && f.beyond.is_none()
                && mesh.part_of(f.tet as usize).is_bone()
        };
        Surface {
            mesh,
            facets: mesh.facets.iter().filter(is_outer).collect(),
        }
    }

    /// The part of the surface that a ball reaches.
    fn near(&self, at: Vec3, radius_mm: f64) -> Surface<'a> {
        let reaches = |f: &&&Facet| {
            let corners = [0, 1, 2].map(|k| self.mesh.nodes[f.nodes[k] as usize]);
            let middle = corners.iter().sum::<Vec3>() / 3.0;
            let own = corners.iter().map(|c| (c - middle).norm());
            (middle - at).norm() <= radius_mm + own.fold(0.0, f64::max)
        };
        Surface {
            mesh: self.mesh,
            facets: self.facets.iter().filter(reaches).copied().collect(),
        }
    }

    /// The point nearest to a place; facets are taken as plane between their corners, and the point on the curved one
    /// has the same coordinates.
    fn nearest(&self, at: Vec3) -> Option<FacetPoint> {
        let mut best: Option<(f64, &Facet, [f64; 2])> = None;
        for facet in &self.facets {
            let corners = [0, 1, 2].map(|k| self.mesh.nodes[facet.nodes[k] as usize]);
            let l = nearest_in_triangle(corners, at);
            let x = corners[0] * (1.0 - l[0] - l[1]) + corners[1] * l[0] + corners[2] * l[1];
            let distance = (x - at).norm_squared();
            if best.as_ref().is_none_or(|b| distance < b.0) {
                best = Some((distance, facet, l));
            }
        }
        let (_, facet, [l1, l2]) = best?;
        Some(FacetPoint::on(self.mesh, facet, l1, l2))
    }
}

/// Barycentric coordinates λ₁, λ₂ of the point of a triangle nearest to a place (Ericson 2005, section 5.1.5).
fn nearest_in_triangle([a, b, c]: [Vec3; 3], p: Vec3) -> [f64; 2] {
    let (ab, ac, ap) = (b - a, c - a, p - a);
    let (d1, d2) = (ab.dot(&ap), ac.dot(&ap));
    if d1 <= 0.0 && d2 <= 0.0 {
        return [0.0, 0.0];
    }
    let bp = p - b;
    let (d3, d4) = (ab.dot(&bp), ac.dot(&bp));
    if d3 >= 0.0 && d4 <= d3 {
        return [1.0, 0.0];
    }
    let cp = p - c;
    let (d5, d6) = (ab.dot(&cp), ac.dot(&cp));
    if d6 >= 0.0 && d5 <= d6 {
        return [0.0, 1.0];
    }
    let vc = d1 * d4 - d3 * d2;
    if vc <= 0.0 && d1 >= 0.0 && d3 <= 0.0 {
        return [d1 / (d1 - d3), 0.0];
    }
    let vb = d5 * d2 - d1 * d6;
    if vb <= 0.0 && d2 >= 0.0 && d6 <= 0.0 {
        return [0.0, d2 / (d2 - d6)];
    }
    let va = d3 * d6 - d5 * d4;
    if va <= 0.0 && d4 >= d3 && d5 >= d6 {
        let w = (d4 - d3) / ((d4 - d3) + (d5 - d6));
        return [1.0 - w, w];
    }
    let sum = va + vb + vc;
    [vb / sum, vc / sum]
}

impl PlacedSensor {
    /// A sensor at sites on the bone's own surface, mm: two of a pair of markers, one of a gauge.
    ///
    /// # Errors
    /// Why it cannot be there, in words: the meshed surface does not come near a site.
    pub fn new(
        mesh: &TetMesh,
        side: BodySide,
        sensor: &Sensor,
        sites: &[Vec3],
    ) -> Result<Self, String> {
        let surface = Surface::of(mesh);
        let place = |k: usize| {
            let at = sites.get(k).copied().unwrap_or_else(Vec3::zeros);
            let found = surface.nearest(at).map(|p| ((p.at - at).norm(), p));
            match found {
                Some((off, point)) if off <= OFF_MESH_MM => Ok(point),
                Some((off, _)) => Err(format!(
                    "sensors.{}: no free surface of bone at ({:.1}, {:.1}, {:.1}) mm; the nearest is {off:.1} mm away: the site lies \
                     in the fracture's gap or under a bonded plate; move it",
                    sensor.name, at.x, at.y, at.z
                )),
                None => Err(format!(
                    "sensors.{}: the mesh has no free bone",
                    sensor.name
                )),
            }
        };
        let on = match &sensor.reads {
            Reading::Markers { along, .. } => Placed::Markers {
                from: place(0)?,
                to: place(1)?,
                along: *along,
                side,
            },
            Reading::Gauge {
                length_mm,
                width_mm,
                angle_deg,
                ..
            } => {
                let middle = place(0)?;
                let reach = 0.5 * length_mm.hypot(*width_mm) + 2.0;
                let near = surface.near(middle.at, reach);
                let turned = angle_deg.to_radians() * side.handedness();
                Placed::Gauge(samples(&near, &middle, (*length_mm, *width_mm), turned))
            }
        };
        Ok(PlacedSensor {
            column: sensor.column(),
            on,
        })
    }

    /// Column that it fills.
    pub fn column(&self) -> &str {
        &self.column
    }

    /// Reading under a displacement field, mm or 10⁻⁶; `None` where a gauge has no sample.
    pub fn read(&self, mesh: &TetMesh, u: &[Vec3]) -> Option<f64> {
        match &self.on {
            Placed::Markers {
                from,
                to,
                along,
                side,
            } => {
                let at = |p: &FacetPoint| vector_at(mesh, u, p.tet, p.barycentric);
                let motion = at(to) - at(from);
                Some(match along {
                    MarkerMotion::Distance => motion.dot(&(to.at - from.at).normalize()),
                    MarkerMotion::Proximal => motion.y,
                    MarkerMotion::Anterior => motion.x,
                    MarkerMotion::Lateral => side.vector(motion).z,
                    MarkerMotion::Size => motion.norm(),
                })
            }
            Placed::Gauge(samples) => {
                let strains = samples.iter().filter_map(|(p, d)| {
                    let slopes = gradients(mesh, p.tet, p.barycentric)?;
                    let nodes = &mesh.tets[p.tet as usize];
                    let terms = slopes.iter().zip(nodes);
                    let along = |(slope, n): (&Vec3, &u32)| u[*n as usize].dot(d) * slope.dot(d);
                    Some(terms.map(along).sum::<f64>())
                });
                let strains: Vec<f64> = strains.collect();
                let mean = strains.iter().sum::<f64>() / strains.len() as f64;
                (!strains.is_empty()).then_some(mean * 1e6)
            }
        }
    }
}

/// Samples of a rectangle about a point, each with the direction laid into its facet.
fn samples(
    surface: &Surface<'_>,
    middle: &FacetPoint,
    (length, width): (f64, f64),
    turned: f64,
) -> Vec<(FacetPoint, Vec3)> {
    let n = middle.normal;
    let in_plane = |v: Vec3, n: Vec3| v - n * n.dot(&v);
    // Of a surface square to the shaft, forwards stands for proximally.
    let up = in_plane(Vec3::y(), n);
    let up = match up.norm() > 1e-3 {
        true => up.normalize(),
        false => in_plane(Vec3::x(), n).normalize(),
    };
    let along = up * turned.cos() + n.cross(&up) * turned.sin();
    let across = n.cross(&along);
    let count = |size: f64| (size / SPACING_MM).ceil().clamp(1.0, MOST_SAMPLES) as usize;
    let (rows, columns) = (count(length), count(width));
    let mut all = Vec::new();
    for i in 0..rows {
        for j in 0..columns {
            let part = |k: usize, of: usize| (k as f64 + 0.5) / of as f64 - 0.5;
            let at =
                middle.at + along * (part(i, rows) * length) + across * (part(j, columns) * width);
            if let Some(point) = surface.nearest(at) {
                let own = in_plane(along, point.normal);
                if own.norm() > 0.5 {
                    let direction = own.normalize();
                    all.push((point, direction));
                }
            }
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::test_mesh::gap_of_boxes;
    use bicolumn_base::Mat3;
    use bicolumn_model::{Site, SitePlace};

    fn site() -> Site {
        Site {
            level_mm: 0.0,
            place: SitePlace::Beside {
                anterior_mm: 0.0,
                lateral_mm: 0.0,
            },
        }
    }

    fn markers(along: MarkerMotion) -> Sensor {
        Sensor {
            name: "gap".into(),
            reads: Reading::Markers {
                from: site(),
                to: site(),
                along,
            },
        }
    }

    fn gauge(angle_deg: f64) -> Sensor {
        Sensor {
            name: "strain".into(),
            reads: Reading::Gauge {
                site: site(),
                length_mm: 1.2,
                width_mm: 0.8,
                angle_deg,
            },
        }
    }

    /// A linear field, which ten-node tetrahedra hold exactly.
    fn field(mesh: &TetMesh, slope: Mat3) -> Vec<Vec3> {
        let at = |x: &Vec3| slope * x + Vec3::new(0.3, -0.1, 0.2);
        mesh.nodes.iter().map(at).collect()
    }

    const SLOPE: Mat3 = Mat3::new(
        1e-3, 4e-4, -2e-4, //
        -5e-4, 2e-3, 3e-4, //
        6e-4, -1e-4, -7e-4,
    );

    #[test]
    fn a_gauge_reads_the_normal_strain_of_a_linear_field_in_every_direction() {
        let mesh = gap_of_boxes(1.0);
        let u = field(&mesh, SLOPE);
        let strain = (SLOPE + SLOPE.transpose()) * 0.5;
        // In the middle of the faces x = 3 and z = -4 of the upper block.
        for (at, n) in [
            (Vec3::new(3.0, 2.0, 0.4), Vec3::x()),
            (Vec3::new(0.5, 2.0, -4.0), -Vec3::z()),
        ] {
            for angle in [0.0_f64, 90.0, 30.0, -60.0] {
                let placed = PlacedSensor::new(&mesh, BodySide::Right, &gauge(angle), &[at]);
                let read = placed.unwrap().read(&mesh, &u).unwrap();
                let (s, c) = angle.to_radians().sin_cos();
                let d = Vec3::y() * c + n.cross(&Vec3::y()) * s;
                let exact = 1e6 * d.dot(&(strain * d));
                assert!((read - exact).abs() < 1e-6, "{angle} {read} {exact}");
            }
        }
    }

    #[test]
    fn markers_read_their_relative_motion() {
        let mesh = gap_of_boxes(1.0);
        let u = field(&mesh, SLOPE);
        let (a, b) = (Vec3::new(3.0, -1.1, 0.4), Vec3::new(3.0, 2.3, -1.7));
        let motion = SLOPE * (b - a);
        for (along, exact) in [
            (MarkerMotion::Distance, motion.dot(&(b - a).normalize())),
            (MarkerMotion::Proximal, motion.y),
            (MarkerMotion::Anterior, motion.x),
            (MarkerMotion::Lateral, motion.z),
            (MarkerMotion::Size, motion.norm()),
        ] {
            let placed = PlacedSensor::new(&mesh, BodySide::Right, &markers(along), &[a, b]);
            let read = placed.unwrap().read(&mesh, &u).unwrap();
            assert!((read - exact).abs() < 1e-14, "{along:?} {read} {exact}");
        }
        // A rigid motion leaves the distance as it is.
        let turn = Mat3::new(0.0, -1e-3, 2e-3, 1e-3, 0.0, 5e-4, -2e-3, -5e-4, 0.0);
        let u = field(&mesh, turn);
        let placed = PlacedSensor::new(
            &mesh,
            BodySide::Right,
            &markers(MarkerMotion::Distance),
            &[a, b],
        );
        assert!(placed.unwrap().read(&mesh, &u).unwrap().abs() < 1e-15);
    }

    #[test]
    fn a_site_in_the_gap_is_refused() {
        let mesh = gap_of_boxes(6.0);
        let at = [Vec3::new(3.0, 3.0, 0.4)];
        let told = PlacedSensor::new(&mesh, BodySide::Right, &gauge(0.0), &at).unwrap_err();
        assert!(
            told.contains("sensors.strain: no free surface of bone at (3.0, 3.0, 0.4)"),
            "{told}"
        );
    }

    #[test]
    fn the_nearest_point_of_a_triangle_is_that_of_a_dense_sampling() {
        let corners = [
            Vec3::zeros(),
            Vec3::new(2.0, 0.0, 0.3),
            Vec3::new(0.4, 1.5, -0.2),
        ];
        let of =
            |l: [f64; 2]| corners[0] * (1.0 - l[0] - l[1]) + corners[1] * l[0] + corners[2] * l[1];
        for k in 0..200 {
            let t = f64::from(k);
            let p = Vec3::new(
                (t * 0.7).sin() * 3.0,
                (t * 1.3).cos() * 3.0,
                (t * 0.37).sin(),
            );
            let found = (of(nearest_in_triangle(corners, p)) - p).norm();
            let mut least = f64::INFINITY;
            for i in 0..=100 {
                for j in 0..=100 - i {
                    let x = of([f64::from(i) / 100.0, f64::from(j) / 100.0]);
                    least = least.min((x - p).norm());
                }
            }
            assert!(
                found <= least + 1e-12 && found > least - 0.03,
                "{found} {least}"
            );
        }
    }
}
