//! One design point on several meshes: a series of sizes, and one size in several lattice poses.
//!
//! The series tells how far a number is from its limit; the poses tell how much of it is the mesh's
//! own: the noise floor below which two designs cannot be told apart.

use crate::bones::BoneCache;
use crate::grid_convergence::{GridConvergence, Level, grid_convergence, variation};
use crate::model_build::{build_construct, build_mesh, build_problem};
use crate::stage::{PointError, Stage};
use bicolumn_job::PointInputs;
use bicolumn_measure::{RecoveredStress, measure_recovered};
use bicolumn_mesh::{Sizing, TetMesh};
use bicolumn_response::ResponseId;
use serde::Serialize;
use std::sync::Arc;
use std::time::Instant;

/// Meshes of a convergence study: sizes and poses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeshSeries {
    /// Poses of the lattice at the job's own size, the usual one among them; at least 1.
    pub poses: usize,
    /// Ratio of edge lengths asked for from mesh to mesh of the series, above 1.
    pub ratio: f64,
    /// Place of the job's own mesh in the series of three, from coarse to fine: 1 with a finer one, 2 with two
    /// coarser ones.
    pub own: usize,
}

/// Meshes of the series.
const LEVELS: usize = 3;
/// A mesh of a series is coarser than the next by at least the ratio asked for to this power: the mesher makes cells
/// finer than asked where it finds no sound mesh, and a smaller step tells noise from convergence no more (judgement).
const LEAST_STEP: f64 = 0.5;
/// Steps beyond the one wanted that are tried before a series is refused.
const FURTHER_STEPS: i32 = 3;

/// Relative standard error of a standard deviation from so many normally scattered values, 1/√(2(n − 1)) (a textbook
/// formula, from memory); infinite for one value.
pub fn noise_uncertainty(poses: usize) -> f64 {
    (2.0 * (poses as f64 - 1.0)).powf(-0.5)
}

/// One mesh and its results.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Replicate {
    /// Its name: `step +1`, `pose 2`, ...
    pub name: String,
    /// Finest cell asked for, mm.
    pub finest_mm: f64,
    /// Mean size as meshed: cube root of the mean volume of a tetrahedron, mm.
    pub size_mm: f64,
    /// Tetrahedra.
    pub tets: usize,
    /// Unknowns.
    pub unknowns: usize,
    /// Seconds of mesh, solution and measures.
    pub seconds: f64,
}

/// One response under one load case over all meshes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConvergedResponse {
    /// Load case.
    pub case: String,
    /// Response, as in `columns.json`.
    pub response: ResponseId,
    /// Value on each mesh, in the order of [`Convergence::replicates`].
    pub values: Vec<Option<f64>>,
    /// Convergence over the series of sizes.
    pub series: Option<GridConvergence>,
    /// Relative change from the job's own mesh to the next finer one of the series.
    pub to_finer: Option<f64>,
    /// Coefficient of variation over the poses (1 = 100 %).
    pub noise: Option<f64>,
}

/// The whole outcome.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Convergence {
    /// Poses that the noise is the variation over.
    pub poses: usize,
    /// The meshes: the series, coarse to fine, then the poses other than the usual one.
    pub replicates: Vec<Replicate>,
    /// The responses.
    pub responses: Vec<ConvergedResponse>,
}

/// Runs a point on all meshes of a series. `tell` hears the name of each mesh before it is made.
///
/// # Errors
/// [`PointError`] of the first mesh that fails, its name in the message; at [`Stage::Mesh`], before anything is
/// solved, where no series of meshes is found whose sizes fall.
pub fn converge(
    inputs: &PointInputs,
    series: &MeshSeries,
    threads: usize,
    tell: &mut dyn FnMut(&str),
) -> Result<Convergence, PointError> {
    let bones = BoneCache::default();
    let mut meshed = |step: i32| {
        let name = format!("step {step:+}");
        tell(&name);
        let sizing = inputs.sizing.scaled(series.ratio.powi(step));
        Meshed::make(inputs, &bones, sizing, name)
    };
    let mut meshes = falling_series(series, &mut meshed, |m: &Meshed| m.size_mm())?;
    for pose in 1..series.poses {
        let name = format!("pose {}", pose + 1);
        tell(&name);
        meshes.push(Meshed::make(
            inputs,
            &bones,
            inputs.sizing.posed(pose),
            name,
        )?);
    }
    let (mut replicates, mut tables) = (Vec::new(), Vec::new());
    for mesh in meshes {
        tell(&format!("{}, solved", mesh.name));
        let (replicate, table) = mesh.solve(&bones, threads)?;
        replicates.push(replicate);
        tables.push(table);
    }
    let responses = responses(series, &replicates, &tables);
    Ok(Convergence {
        poses: series.poses,
        replicates,
        responses,
    })
}

/// Meshes from coarse to fine, each coarser than the next by [`LEAST_STEP`] of the ratio at least. A step whose mesh is
/// not is skipped for the next one further out.
fn falling_series<M>(
    series: &MeshSeries,
    mesh: &mut dyn FnMut(i32) -> Result<M, PointError>,
    size_mm: impl Fn(&M) -> f64,
) -> Result<Vec<M>, PointError> {
    let least = series.ratio.powf(LEAST_STEP);
    let mut meshes = vec![mesh(0)?];
    for (count, outward) in [(series.own, 1), (LEVELS - 1 - series.own, -1)] {
        let mut step = 0;
        for nth in 1..=count as i32 {
            let neighbour = match outward {
                1 => size_mm(&meshes[0]),
                _ => size_mm(&meshes[meshes.len() - 1]),
            };
            let mut tried = Vec::new();
            let found = loop {
                step += 1;
                if step > nth + FURTHER_STEPS {
                    break None;
                }
                let next = mesh(outward * step)?;
                let size = size_mm(&next);
                let falls = match outward {
                    1 => size / neighbour,
                    _ => neighbour / size,
                };
                if falls >= least {
                    break Some(next);
                }
                tried.push(format!("step {:+} gave {size:.3} mm", outward * step));
            };
            match found {
                Some(next) if outward == 1 => meshes.insert(0, next),
                Some(next) => meshes.push(next),
                None => {
                    let (side, other) = match outward {
                        1 => (
                            "coarser",
                            "a smaller mesh.finest_mm, so that the coarser meshes are sound",
                        ),
                        _ => ("finer", "--coarser"),
                    };
                    return Err(PointError {
                        stage: Stage::Mesh,
                        message: format!(
                            "no mesh is {side} than one of mean size {neighbour:.3} mm by a factor of {least:.2} \
                             ({}): no order or uncertainty can be told from such a series; try {other}",
                            tried.join(", ")
                        ),
                    });
                }
            }
        }
    }
    Ok(meshes)
}

/// (load case, response, value) in a fixed order.
type Table = Vec<(String, ResponseId, Option<f64>)>;

/// A mesh of the point, not yet solved.
struct Meshed {
    name: String,
    inputs: PointInputs,
    mesh: Arc<TetMesh>,
    seconds: f64,
}

impl Meshed {
    fn make(
        inputs: &PointInputs,
        bones: &BoneCache,
        sizing: Sizing,
        name: String,
    ) -> Result<Self, PointError> {
        let begin = Instant::now();
        let inputs = PointInputs {
            sizing,
            ..inputs.clone()
        };
        let mesh = build_construct(&inputs.construct, bones)
            .and_then(|construct| build_mesh(&construct, &inputs.sizing))
            .map_err(|e| of_mesh(&name, e))?;
        Ok(Meshed {
            name,
            inputs,
            mesh: Arc::new(mesh),
            seconds: begin.elapsed().as_secs_f64(),
        })
    }

    /// Cube root of the mean volume of a tetrahedron, mm.
    fn size_mm(&self) -> f64 {
        let count = self.mesh.tets.len();
        let volume: f64 = (0..count).map(|t| self.mesh.volume(t)).sum();
        (volume / count as f64).cbrt()
    }

    fn solve(self, bones: &BoneCache, threads: usize) -> Result<(Replicate, Table), PointError> {
        let begin = Instant::now();
        let (size_mm, tets) = (self.size_mm(), self.mesh.tets.len());
        let Meshed {
            name,
            inputs,
            mesh,
            seconds,
        } = self;
        let solved = || {
            let construct = build_construct(&inputs.construct, bones)?;
            let model = build_problem(construct, mesh, &inputs)?;
            let solution = model.solve(&inputs, threads, &|_| {})?;
            Ok((model, solution))
        };
        let (model, solution) = solved().map_err(|e| of_mesh(&name, e))?;
        let stress = RecoveredStress::of(&model.problem, solution.total());
        let measures = measure_recovered((&model.solved(&solution), &stress), None);
        let mut table = Table::new();
        for case in measures {
            for r in case.responses {
                table.push((case.case.clone(), r.id, r.value));
            }
        }
        let replicate = Replicate {
            name,
            finest_mm: inputs.sizing.finest_mm,
            size_mm,
            tets,
            unknowns: solution.by_load.report.unknowns,
            seconds: seconds + begin.elapsed().as_secs_f64(),
        };
        Ok((replicate, table))
    }
}

fn of_mesh(name: &str, e: PointError) -> PointError {
    PointError {
        message: format!("mesh \"{name}\": {}", e.message),
        ..e
    }
}

fn responses(
    series: &MeshSeries,
    replicates: &[Replicate],
    tables: &[Table],
) -> Vec<ConvergedResponse> {
    let Some(first) = tables.first() else {
        return Vec::new();
    };
    let own = series.own;
    let finer = Some(own + 1).filter(|k| *k < LEVELS);
    let mut rows = Vec::new();
    for (i, (case, response, _)) in first.iter().enumerate() {
        let values: Vec<Option<f64>> = tables.iter().map(|t| t.get(i).and_then(|r| r.2)).collect();
        let level = |k: usize| {
            values[k].map(|value| Level {
                size: replicates[k].size_mm,
                value,
            })
        };
        let poses = std::iter::once(own).chain(LEVELS..values.len());
        let noise: Option<Vec<f64>> = poses.map(|k| values[k]).collect();
        let noise = noise.and_then(|v| variation(&v));
        let three = match (level(0), level(1), level(2)) {
            (Some(a), Some(b), Some(c)) => grid_convergence([a, b, c], noise),
            _ => None,
        };
        let to_finer = finer.and_then(|finer| {
            let (own, finer) = (values[own]?, values[finer]?);
            (own != 0.0).then(|| (finer - own) / own.abs())
        });
        rows.push(ConvergedResponse {
            case: case.clone(),
            response: *response,
            series: three,
            to_finer,
            noise,
            values,
        });
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;
    use bicolumn_response::Load;

    #[test]
    fn a_table_of_invented_values_gives_series_and_noise() {
        let series = MeshSeries {
            poses: 3,
            ratio: 1.25,
            own: 1,
        };
        let sizes = [1.25, 1.0, 0.8, 1.0, 1.0];
        let replicates: Vec<Replicate> = sizes
            .iter()
            .map(|&size_mm| Replicate {
                name: String::new(),
                // The size asked for tells nothing: the coarsest fell back.
                finest_mm: 1.0,
                size_mm,
                tets: 1,
                unknowns: 1,
                seconds: 0.0,
            })
            .collect();
        let value = [2.0 + 1.25f64.powi(2), 3.0, 2.0 + 0.8f64.powi(2), 3.03, 2.97];
        let tables: Vec<Table> = value
            .iter()
            .map(|v| {
                vec![
                    ("axial".into(), Load::Stiffness.into(), Some(*v)),
                    ("axial".into(), Load::Rotation.into(), None),
                ]
            })
            .collect();
        let rows = responses(&series, &replicates, &tables);
        let g = rows[0].series.unwrap();
        assert!(
            (g.order.unwrap() - 2.0).abs() < 1e-9 && (g.extrapolated.unwrap() - 2.0).abs() < 1e-9
        );
        assert!((rows[0].to_finer.unwrap() - (0.64 - 1.0) / 3.0).abs() < 1e-12);
        // 3.0, 3.03, 2.97: deviation 0.03 over a mean of 3.
        assert!((rows[0].noise.unwrap() - 0.01).abs() < 1e-12);
        assert_eq!(
            (rows[1].series, rows[1].noise, rows[1].to_finer),
            (None, None, None)
        );
    }

    /// A mesher that gives the size asked for, but for steps whose sizes are given.
    fn series_of(own: usize, odd: &[(i32, f64)]) -> Result<Vec<(i32, f64)>, PointError> {
        let series = MeshSeries {
            poses: 1,
            ratio: 1.25,
            own,
        };
        let mut mesh = |step: i32| {
            let size = odd.iter().find(|o| o.0 == step);
            Ok((step, size.map_or(1.25f64.powi(step), |o| o.1)))
        };
        falling_series(&series, &mut mesh, |m: &(i32, f64)| m.1)
    }

    #[test]
    fn a_series_runs_from_coarse_to_fine_about_the_own_mesh() {
        let steps = |own, odd: &[(i32, f64)]| -> Vec<i32> {
            series_of(own, odd).unwrap().iter().map(|m| m.0).collect()
        };
        assert_eq!(steps(1, &[]), [1, 0, -1]);
        assert_eq!(steps(2, &[]), [2, 1, 0]);
        // The first coarser mesh fell back to finer cells than the own: the next one out takes its place.
        assert_eq!(steps(1, &[(1, 0.81)]), [2, 0, -1]);
        assert_eq!(steps(2, &[(1, 1.02)]), [3, 2, 0]);
        assert_eq!(steps(1, &[(-1, 0.98)]), [1, 0, -2]);
    }

    #[test]
    fn a_series_whose_sizes_do_not_fall_is_refused() {
        let odd = [(1, 0.81), (2, 0.9), (3, 1.0), (4, 1.05)];
        let e = series_of(1, &odd).unwrap_err().to_string();
        assert!(
            e.contains("no mesh is coarser than one of mean size 1.000 mm"),
            "{e}"
        );
        assert!(
            e.contains("step +1 gave 0.810 mm") && e.contains("mesh.finest_mm"),
            "{e}"
        );
    }

    #[test]
    fn the_noise_of_eight_poses_is_known_to_a_quarter() {
        assert!((noise_uncertainty(2) - 0.5f64.sqrt()).abs() < 1e-12);
        assert!((noise_uncertainty(8) - 0.267).abs() < 1e-3);
        assert!(noise_uncertainty(1).is_infinite());
    }
}
