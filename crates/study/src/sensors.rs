//! Sensors of a job: their sites on the bone's own surface, and their readings of a solved model.

use crate::model_build::{BuiltModel, ModelSolution};
use crate::stage::{PointError, Stage};
use bicolumn_base::Vec3;
use bicolumn_geometry::Bone;
use bicolumn_job::Job;
use bicolumn_measure::{CaseMeasures, PlacedSensor};
use bicolumn_model::{Reading, Sensor, Site, SitePlace};
use bicolumn_store::ResponseRecord;
use thiserror::Error;

/// Farthest that the coordinates of a site may lie from the surface, mm.
const OFF_BONE_MM: f64 = 3.0;
/// Half the width that the bone's outline is looked for in, mm.
const REACH_MM: f64 = 60.0;
/// Spacing of that look, mm.
const STEP_MM: f64 = 1.0;

/// A site that is none: the key that says so, in full, and why.
#[derive(Debug, Clone, PartialEq, Error)]
#[error("{path}: {why}")]
pub(crate) struct NoSite {
    pub(crate) path: String,
    pub(crate) why: String,
}

impl NoSite {
    /// With the job's file and line.
    pub(crate) fn told(&self, job: &Job) -> String {
        let line = job.line_of(&self.path);
        let line = line.map_or(String::new(), |l| format!(":{l}"));
        format!("{}{line}: {self}", job.file.display())
    }
}

/// Sites of each sensor on the bone's surface, mm.
///
/// # Errors
/// The first site off the bone.
pub(crate) fn sites(bone: &Bone, sensors: &[Sensor]) -> Result<Vec<Vec<Vec3>>, NoSite> {
    let of_sensor = |s: &Sensor| match &s.reads {
        Reading::Gauge { site, .. } => Ok(vec![place(bone, &s.name, "", site)?]),
        Reading::Markers { from, to, .. } => Ok(vec![
            place(bone, &s.name, ".from", from)?,
            place(bone, &s.name, ".to", to)?,
        ]),
    };
    sensors.iter().map(of_sensor).collect()
}

fn place(bone: &Bone, sensor: &str, end: &str, site: &Site) -> Result<Vec3, NoSite> {
    let no_site = |why| NoSite {
        path: format!("sensors.{sensor}{end}.level_mm"),
        why,
    };
    let level = site.level_mm;
    let potting = bone.spec().potting_level_mm;
    if level >= potting {
        return Err(no_site(format!(
            "{level} mm lies in the potting, which begins at {potting} mm; set the sensor lower, or raise bone.potting_level_mm"
        )));
    }
    match site.place {
        SitePlace::Outermost(aspect) => {
            let towards = bone.side().vector(aspect.outward());
            outermost(bone, level, towards)
                .ok_or_else(|| no_site(format!("{level} mm: there is no bone at that level")))
        }
        SitePlace::Beside {
            anterior_mm,
            lateral_mm,
        } => {
            let offset = bone.side().vector(Vec3::new(anterior_mm, 0.0, lateral_mm));
            let at = bone.shaft_axis(level) + offset;
            let on = on_surface(bone, at);
            let off = (on - at).norm();
            let is_on = bone.outer().value(on).abs() < 0.05 && off <= OFF_BONE_MM;
            match is_on {
                true => Ok(on),
                false => Err(no_site(format!(
                    "{level} mm with anterior_mm = {anterior_mm} and lateral_mm = {lateral_mm} is no place on the bone: its \
                     surface is more than {OFF_BONE_MM} mm away ({:.1} mm {}); give coordinates nearer to it, or a side",
                    bone.outer().value(at).abs(),
                    if bone.outer().value(at) > 0.0 {
                        "inside of it"
                    } else {
                        "outside of it"
                    },
                ))),
            }
        }
    }
}

/// The point of the outer surface near a place, by Newton steps along the gradient.
fn on_surface(bone: &Bone, at: Vec3) -> Vec3 {
    let mut x = at;
    for _ in 0..30 {
        let (value, slope) = (bone.outer().value(x), bone.outer().gradient(x));
        x -= slope * (value / slope.norm_squared().max(1e-6));
    }
    x
}

/// The outermost point of the bone's outline at a level towards a direction across the shaft.
pub(crate) fn outermost(bone: &Bone, level: f64, towards: Vec3) -> Option<Vec3> {
    let across = towards.cross(&Vec3::y());
    let origin = bone.shaft_axis(level);
    let is_in = |s: f64, t: f64| bone.outer().value(origin + towards * s + across * t) <= 0.0;
    let steps = (2.0 * REACH_MM / STEP_MM) as i32;
    let grid = |k: i32| -REACH_MM + STEP_MM * f64::from(k);
    // How far the bone reaches along a line; `from` lies in it.
    let edge = |t: f64, from: f64| {
        let (mut inside, mut outside) = (from, from + STEP_MM);
        while is_in(outside, t) && outside < REACH_MM {
            (inside, outside) = (outside, outside + STEP_MM);
        }
        for _ in 0..40 {
            let middle = 0.5 * (inside + outside);
            match is_in(middle, t) {
                true => inside = middle,
                false => outside = middle,
            }
        }
        inside
    };
    let mut best: Option<(f64, f64)> = None;
    for i in (0..=steps).rev() {
        for j in 0..=steps {
            if is_in(grid(i), grid(j)) {
                let reach = edge(grid(j), grid(i));
                if best.is_none_or(|b| reach > b.0) {
                    best = Some((reach, grid(j)));
                }
            }
        }
        if best.is_some_and(|b| grid(i) < b.0 - 2.0 * STEP_MM) {
            break;
        }
    }
    let (mut reach, mut t) = best?;
    let mut step = 0.5 * STEP_MM;
    while step > 1e-4 {
        let next = [t - step, t + step].map(|n| {
            let from = reach - STEP_MM;
            (is_in(from, n).then(|| edge(n, from)), n)
        });
        let better = next
            .into_iter()
            .filter_map(|(r, n)| r.filter(|r| *r > reach).map(|r| (r, n)));
        match better.reduce(|a, b| if b.0 > a.0 { b } else { a }) {
            Some((r, n)) => (reach, t) = (r, n),
            None => step *= 0.5,
        }
    }
    Some(origin + towards * reach + across * t)
}

/// Sensors on the meshed bone of a model, at their sites.
///
/// # Errors
/// [`PointError`] at [`Stage::Mesh`]: the mesh has no free surface at a site.
pub(crate) fn placed(
    model: &BuiltModel,
    sensors: &[Sensor],
    sites: &[Vec<Vec3>],
) -> Result<Vec<PlacedSensor>, PointError> {
    let (mesh, side) = (model.problem.mesh(), model.construct.bone.side());
    let placed = sensors.iter().zip(sites);
    let placed = placed.map(|(s, at)| PlacedSensor::new(mesh, side, s, at));
    placed
        .collect::<Result<_, _>>()
        .map_err(|message| PointError {
            stage: Stage::Mesh,
            message,
        })
}

/// Readings of all sensors, by load case; a case without a solution has none.
pub(crate) fn read(
    model: &BuiltModel,
    solution: &ModelSolution,
    measures: &[CaseMeasures],
) -> Vec<Vec<ResponseRecord>> {
    let mesh = model.problem.mesh();
    let of_case = |(u, m): (&Vec<Vec3>, &CaseMeasures)| {
        let is_solved = m.responses.iter().any(|r| r.value.is_some());
        let reading = |s: &PlacedSensor| ResponseRecord {
            name: s.column().into(),
            value: s.read(mesh, u).filter(|_| is_solved),
            at_mm: None,
            part: None,
            error_estimate: None,
            place: None,
            under: Vec::new(),
        };
        model.sensors.iter().map(reading).collect()
    };
    let fields = solution.by_load.displacement.iter();
    fields.zip(measures).map(of_case).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bones::BoneCache;
    use crate::model_build::build_model;
    use bicolumn_base::BodySide;
    use bicolumn_geometry::BoneSpec;
    use bicolumn_job::{Plan, PointInputs, resolve};
    use bicolumn_measure::measure;
    use bicolumn_response::Aspect;
    use bicolumn_response::{Check, Load};
    use std::path::Path;

    const BENT: &str = "construct.layout = \"bare_bone\"\nbone.potting_level_mm = 150\nmaterials.cortical.symmetry = \"isotropic\"\nsolve.tolerance = 1e-10\n\
        loads.case.bent.anterior_bending_nmm = 3000\nloads.case.pushed.proximal_n = 150\n\
        mesh.finest_mm = 2.4\nmesh.growth = 2\nmesh.wall_ratio = 3\nmesh.far_ratio = 16\n\
        [sensors.behind]\nlevel_mm = 108\nside = \"posterior\"\ngauge_length_mm = 8\ngauge_width_mm = 3\n\
        [sensors.across]\nlevel_mm = 108\nside = \"posterior\"\ngauge_length_mm = 3\ngauge_angle_deg = 90\n\
        [sensors.neutral]\nlevel_mm = 108\nside = \"lateral\"\ngauge_length_mm = 8\ngauge_width_mm = 1\n\
        [sensors.rod.from]\nlevel_mm = 95\nside = \"anterior\"\n[sensors.rod.to]\nlevel_mm = 120\nside = \"anterior\"\n";

    fn inputs(text: &str) -> PointInputs {
        let job = Job::parse(Path::new("x.toml"), text).unwrap();
        resolve(&job, &Plan::of(&job).unwrap().points[0])
    }

    #[test]
    fn sensors_on_a_bent_shaft_read_beam_theory_and_travel_is_twice_the_energy() {
        let inputs = inputs(BENT);
        let model = build_model(&inputs, &BoneCache::default()).unwrap();
        let solution = model.solve(&inputs, 2, &|_| {}).unwrap();
        let measures = measure(&model.solved(&solution), None);
        let readings = read(&model, &solution, &measures);
        let of = |name: &str| {
            let found = readings[0].iter().find(|r| r.name.to_string() == name);
            found.unwrap().value.unwrap()
        };
        // M c / (E I) of the tube, c outwards: a force forwards on the joint stretches the back.
        let spec = model.construct.bone.spec();
        let (outer, inner) = (spec.shaft_diameter_mm, spec.canal_diameter_mm);
        let second_moment = std::f64::consts::PI / 64.0 * (outer.powi(4) - inner.powi(4));
        let young = inputs.materials.cortical.young_mpa;
        let strain = 1e6 * 3000.0 * 0.5 * outer / (young * second_moment);
        let near = |value: f64, exact: f64, share: f64| {
            assert!(
                (value - exact).abs() < share * strain.abs(),
                "{value} {exact}"
            );
        };
        near(of("sensor_behind_microstrain"), strain, 0.02);
        near(of("sensor_neutral_microstrain"), 0.0, 0.02);
        let poisson = inputs.materials.cortical.poisson;
        near(of("sensor_across_microstrain"), -poisson * strain, 0.02);
        near(1e6 * of("sensor_rod_mm") / 25.0, -strain, 0.02);
        // Clapeyron: the load's travel times its size is twice the strain energy.
        let pushed = &measures[1];
        let travel = pushed.value(Load::Displacement).unwrap();
        let energy = pushed.value(Check::EnergyTotal).unwrap();
        assert!((travel * 150.0 / (2.0 * energy) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn sites_lie_on_the_surface_and_a_left_bone_has_their_mirror_image() {
        let spec = BoneSpec::mean_adult();
        let right = Bone::build(&spec).unwrap();
        let left = Bone::build(&BoneSpec { left: true, ..spec }).unwrap();
        for level in [-5.0, 12.0, 45.0, 110.0] {
            for side in [
                Aspect::Anterior,
                Aspect::Posterior,
                Aspect::Medial,
                Aspect::Lateral,
            ] {
                let site = Site {
                    level_mm: level,
                    place: SitePlace::Outermost(side),
                };
                let [r, l] = [&right, &left].map(|b| place(b, "a", "", &site).unwrap());
                assert!(right.outer().value(r).abs() < 1e-3, "{level} {side:?}");
                assert!((BodySide::Left.vector(r) - l).norm() < 1e-3, "{r} {l}");
            }
        }
        // The tube of the shaft: half its diameter off the axis.
        let site = Site {
            level_mm: 110.0,
            place: SitePlace::Outermost(Aspect::Lateral),
        };
        let at = place(&right, "a", "", &site).unwrap() - right.shaft_axis(110.0);
        assert!(
            (at.z - 0.5 * right.spec().shaft_diameter_mm).abs() < 0.02,
            "{at}"
        );
    }

    #[test]
    fn a_site_off_the_bone_is_told_with_its_line_and_the_remedy() {
        let told = |text: &str| {
            let job = Job::parse(Path::new("x.toml"), text).unwrap();
            let bone = Bone::build(&BoneSpec::mean_adult()).unwrap();
            sites(&bone, job.sensors()).unwrap_err().told(&job)
        };
        let gauge = "[sensors.g]\ngauge_length_mm = 2\n";
        let text = told(&format!(
            "{gauge}level_mm = 100\nanterior_mm = 30\nlateral_mm = 0\n"
        ));
        assert!(
            text.starts_with("x.toml:3: sensors.g.level_mm: 100 mm with anterior_mm = 30"),
            "{text}"
        );
        let text = told(&format!("{gauge}level_mm = -50\nside = \"medial\"\n"));
        assert!(text.contains("no bone at that level"), "{text}");
        let text = told(
            "[sensors.m.from]\nlevel_mm = 40\nside = \"medial\"\n[sensors.m.to]\nlevel_mm = 290\nside = \"medial\"\n",
        );
        assert!(
            text.starts_with("x.toml:5: sensors.m.to.level_mm: 290 mm lies in the potting"),
            "{text}"
        );
    }
}
