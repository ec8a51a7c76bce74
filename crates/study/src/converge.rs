//! One design point on several meshes: a series of sizes, and one size in several lattice poses.
//!
//! The series tells how far a number is from its limit; the poses tell how much of it is the mesh's
//! own: the noise floor below which two designs cannot be told apart.

use crate::bones::BoneCache;
use crate::contact_record::put_interfaces;
use crate::grid_convergence::{GridConvergence, Level, grid_convergence, variation};
use crate::inputs::{PointError, PointInputs};
use crate::model_build::build_model;
use bicolumn_measure::{RecoveredStress, measure_recovered};
use bicolumn_mesh::Sizing;
use serde::Serialize;

/// Which meshes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MeshSeries {
    /// Poses of the lattice at the job's own size, the usual one among them; at least 1.
    pub poses: usize,
    /// Ratio of edge lengths from mesh to mesh of the series, above 1.
    pub ratio: f64,
    /// Exponents of the ratio, one a mesh: 0 is the job's own size, 1 coarser, -1 finer.
    pub steps: [i32; 3],
}

/// One mesh and what it gave.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Replicate {
    /// What it is: `step +1`, `pose 2`, ...
    pub name: String,
    /// Finest cell, mm.
    pub finest_mm: f64,
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
    pub response: String,
    /// Value on each mesh, in the order of [`Convergence::replicates`].
    pub values: Vec<Option<f64>>,
    /// What the series of sizes says.
    pub series: Option<GridConvergence>,
    /// Relative change from the job's own mesh to the next finer one of the series.
    pub to_finer: Option<f64>,
    /// Coefficient of variation over the poses (1 = 100 %).
    pub noise: Option<f64>,
}

/// The whole outcome.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Convergence {
    /// The meshes: the series, coarse to fine, then the poses other than the usual one.
    pub replicates: Vec<Replicate>,
    /// The responses.
    pub responses: Vec<ConvergedResponse>,
}

/// Runs a point on all meshes of a series. `tell` hears the name of each mesh before it is made.
///
/// # Errors
/// [`PointError`] of the first mesh that fails, its name in the message.
pub fn converge(
    inputs: &PointInputs,
    series: &MeshSeries,
    threads: usize,
    tell: &mut dyn FnMut(&str),
) -> Result<Convergence, PointError> {
    let bones = BoneCache::default();
    let mut replicates = Vec::new();
    let mut tables: Vec<Table> = Vec::new();
    let mut run = |name: String, sizing: Sizing| -> Result<(), PointError> {
        tell(&name);
        let (replicate, table) =
            replicate(inputs, &bones, sizing, threads, &name).map_err(|e| PointError {
                message: format!("mesh \"{name}\": {}", e.message),
                ..e
            })?;
        replicates.push(replicate);
        tables.push(table);
        Ok(())
    };
    for step in series.steps {
        let factor = series.ratio.powi(step);
        run(format!("step {step:+}"), scaled(&inputs.sizing, factor))?;
    }
    for pose in 1..series.poses {
        run(format!("pose {}", pose + 1), posed(&inputs.sizing, pose))?;
    }
    let responses = responses(series, &replicates, &tables);
    Ok(Convergence {
        replicates,
        responses,
    })
}

/// (load case, response, value) in a fixed order.
type Table = Vec<(String, String, Option<f64>)>;

fn replicate(
    inputs: &PointInputs,
    bones: &BoneCache,
    sizing: Sizing,
    threads: usize,
    name: &str,
) -> Result<(Replicate, Table), PointError> {
    let begin = std::time::Instant::now();
    let inputs = PointInputs {
        sizing,
        ..inputs.clone()
    };
    let model = build_model(&inputs, bones)?;
    let solution = model.solve(&inputs, threads, &|_| {})?;
    let mut table = Table::new();
    let stress = RecoveredStress::of(&model.problem, solution.total());
    let mut measures = measure_recovered((&model.solved(&solution), &stress), None);
    put_interfaces(&mut measures, &model, &solution);
    for case in measures {
        for r in case.responses {
            table.push((case.case.clone(), r.name, r.value));
        }
    }
    let replicate = Replicate {
        name: name.to_string(),
        finest_mm: inputs.sizing.finest_mm,
        tets: model.problem.mesh().tets.len(),
        unknowns: solution.by_load.report.unknowns,
        seconds: begin.elapsed().as_secs_f64(),
    };
    Ok((replicate, table))
}

/// All edge lengths by one factor, those that follow walls and screws too.
fn scaled(sizing: &Sizing, factor: f64) -> Sizing {
    Sizing {
        finest_mm: sizing.finest_mm * factor,
        wall_ratio: sizing.wall_ratio * factor,
        screw_ratio: sizing.screw_ratio * factor,
        size_field: sizing.size_field.as_ref().map(|f| f.scaled(factor)),
        regions: sizing.regions.iter().map(|r| r.scaled(factor)).collect(),
        ..sizing.clone()
    }
}

/// The lattice shifted and turned: pose `n` of a fixed sequence that fills cell and angles evenly.
///
/// Additive recurrence with the reciprocal powers of the root of x⁷ = x + 1 (Roberts 2018, "R-sequence",
/// from memory); six coordinates: three shifts within one cell, three turns within ± 0.6 rad.
fn posed(sizing: &Sizing, n: usize) -> Sizing {
    const ROOT: f64 = 1.112_775_684_278_705_5;
    let part = |k: i32| (0.5 + n as f64 * ROOT.powi(-k)).fract();
    let mut posed = sizing.clone();
    for k in 0..3 {
        posed.pose.shift_mm[k] += sizing.finest_mm * part(k as i32 + 1);
        posed.pose.rotation_rad[k] += 1.2 * (part(k as i32 + 4) - 0.5);
    }
    posed
}

fn responses(
    series: &MeshSeries,
    replicates: &[Replicate],
    tables: &[Table],
) -> Vec<ConvergedResponse> {
    let Some(first) = tables.first() else {
        return Vec::new();
    };
    let own = series.steps.iter().position(|s| *s == 0);
    let finer = series.steps.iter().position(|s| *s == -1);
    // Edge length that stands for a mesh: the wanted size follows the same factor everywhere.
    let size = |k: usize| replicates[k].finest_mm;
    let mut rows = Vec::new();
    for (i, (case, response, _)) in first.iter().enumerate() {
        let values: Vec<Option<f64>> = tables.iter().map(|t| t.get(i).and_then(|r| r.2)).collect();
        let level = |k: usize| {
            values[k].map(|value| Level {
                size: size(k),
                value,
            })
        };
        let three = match (level(0), level(1), level(2)) {
            (Some(a), Some(b), Some(c)) => grid_convergence([a, b, c]),
            _ => None,
        };
        let to_finer = own.zip(finer).and_then(|(own, finer)| {
            let (own, finer) = (values[own]?, values[finer]?);
            (own != 0.0).then(|| (finer - own) / own.abs())
        });
        let poses = own.into_iter().chain(series.steps.len()..values.len());
        let noise: Option<Vec<f64>> = poses.map(|k| values[k]).collect();
        rows.push(ConvergedResponse {
            case: case.clone(),
            response: response.clone(),
            series: three,
            to_finer,
            noise: noise.and_then(|v| variation(&v)),
            values,
        });
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn poses_differ_and_stay_within_a_cell() {
        let sizing = Sizing::default();
        let mut seen = Vec::new();
        for n in 1..9 {
            let p = posed(&sizing, n).pose;
            for k in 0..3 {
                let shift = p.shift_mm[k] - sizing.pose.shift_mm[k];
                assert!((0.0..sizing.finest_mm).contains(&shift));
                assert!((p.rotation_rad[k] - sizing.pose.rotation_rad[k]).abs() <= 0.6);
            }
            assert!(!seen.contains(&p));
            seen.push(p);
        }
        // The root that the recurrence rests on.
        let x: f64 = 1.112_775_684_278_705_5;
        assert!((x.powi(7) - x - 1.0).abs() < 1e-12);
    }

    #[test]
    fn a_table_of_invented_values_gives_series_and_noise() {
        let series = MeshSeries {
            poses: 3,
            ratio: 1.25,
            steps: [1, 0, -1],
        };
        let sizes = [1.25, 1.0, 0.8, 1.0, 1.0];
        let replicates: Vec<Replicate> = sizes
            .iter()
            .map(|&finest_mm| Replicate {
                name: String::new(),
                finest_mm,
                tets: 1,
                unknowns: 1,
                seconds: 0.0,
            })
            .collect();
        let value = [2.0 + 1.25f64.powi(2), 3.0, 2.0 + 0.8f64.powi(2), 3.3, 2.7];
        let tables: Vec<Table> = value
            .iter()
            .map(|v| {
                vec![
                    ("axial".into(), "a_mpa".into(), Some(*v)),
                    ("axial".into(), "b".into(), None),
                ]
            })
            .collect();
        let rows = responses(&series, &replicates, &tables);
        let g = rows[0].series.unwrap();
        assert!(
            (g.order.unwrap() - 2.0).abs() < 1e-9 && (g.extrapolated.unwrap() - 2.0).abs() < 1e-9
        );
        assert!((rows[0].to_finer.unwrap() - (0.64 - 1.0) / 3.0).abs() < 1e-12);
        // 3.0, 3.3, 2.7: deviation 0.3 over a mean of 3.
        assert!((rows[0].noise.unwrap() - 0.1).abs() < 1e-12);
        assert_eq!(
            (rows[1].series, rows[1].noise, rows[1].to_finer),
            (None, None, None)
        );
    }
}
