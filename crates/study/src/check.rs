//! A look at a job without solving: every point's construct is built and its size guessed.

use crate::bones::BoneCache;
use crate::contact_model::refusal;
use crate::draws::{Replaced, settle};
use crate::estimate::{Estimate, tetrahedra};
use crate::joint_support;
use crate::record::moved;
use crate::{rollers, sensors};
use bicolumn_geometry::Fit;
use bicolumn_job::{
    DesignPoint, Job, Plan, PointInputs, explain, explain_refusal, explain_sizes, resolve,
};
use bicolumn_store::MovedRecord;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Names of the threads that work on points begin with this.
pub const WORKER: &str = "point-worker-";

/// Findings about one point.
pub struct CheckedPoint {
    /// Id and levels.
    pub point: DesignPoint,
    /// Resolved inputs.
    pub inputs: PointInputs,
    /// Model built, or the reason why not, in full.
    pub built: Result<BuiltPoint, String>,
    /// Is it left out, since its construct cannot be built and the job says so, or another draw takes its place?
    pub is_skipped: bool,
    /// Can its construct not be built?
    pub(crate) is_unbuildable: bool,
}

/// Construct and mesh estimate of a point that can be built.
pub struct BuiltPoint {
    /// Notes of the layout.
    pub notes: Vec<String>,
    /// Keys whose values were moved.
    pub moved: Vec<MovedRecord>,
    /// Size, memory, time.
    pub estimate: Estimate,
}

/// Findings about the points of a job.
pub struct CheckedDesign {
    /// The points, draws in the place of others among them.
    pub points: Vec<CheckedPoint>,
    /// Draws that cannot be built.
    pub replaced: Replaced,
}

/// Builds the construct of every point of a design, each once, and of the draws that take the place of some, on so many threads.
/// `tell` hears how many are done.
pub fn check_job(
    job: &Job,
    plan: &Plan,
    bones: &BoneCache,
    threads: usize,
    tell: &(dyn Fn(usize) + Sync),
) -> CheckedDesign {
    let build =
        |job: &Job, points: Vec<&DesignPoint>| check_points(job, &points, bones, threads, tell);
    let settled = settle(job, plan, &|_, _| None, &build);
    let points = match settled.checked.is_empty() {
        true => build(job, plan.points.iter().collect()),
        false => settled.checked.into_values().collect(),
    };
    CheckedDesign {
        points,
        replaced: settled.replaced,
    }
}

/// Builds the constructs of some points, on so many threads. `tell` hears how many are done.
pub(crate) fn check_points(
    job: &Job,
    points: &[&DesignPoint],
    bones: &BoneCache,
    threads: usize,
    tell: &(dyn Fn(usize) + Sync),
) -> Vec<CheckedPoint> {
    let next = AtomicUsize::new(0);
    let done = AtomicUsize::new(0);
    let slots: Vec<Mutex<Option<CheckedPoint>>> = points.iter().map(|_| Mutex::new(None)).collect();
    let work = || {
        loop {
            let n = next.fetch_add(1, Ordering::Relaxed);
            let Some(point) = points.get(n) else {
                break;
            };
            let checked = check_point(job, point, bones);
            if let Ok(mut slot) = slots[n].lock() {
                *slot = Some(checked);
            }
            tell(done.fetch_add(1, Ordering::Relaxed) + 1);
        }
    };
    std::thread::scope(|scope| {
        for n in 0..threads.clamp(1, points.len().max(1)) {
            let named = std::thread::Builder::new().name(format!("{WORKER}{n}"));
            if named.spawn_scoped(scope, work).is_err() {
                work();
            }
        }
    });
    slots
        .into_iter()
        .filter_map(|s| s.into_inner().ok().flatten())
        .collect()
}

fn check_point(job: &Job, point: &DesignPoint, bones: &BoneCache) -> CheckedPoint {
    let inputs = resolve(job, point);
    // One point's slip must not end the batch.
    let built = catch_unwind(AssertUnwindSafe(|| build(job, point, &inputs, bones)));
    let built = built.unwrap_or_else(|panic| {
        Err(Refused::Otherwise(format!(
            "geometry: {}",
            panic_text(&*panic)
        )))
    });
    let may_skip = inputs.construct.freedom.fit == Fit::Skip;
    let is_unbuildable = matches!(built, Err(Refused::Construct(_)));
    CheckedPoint {
        point: point.clone(),
        inputs,
        is_skipped: may_skip && is_unbuildable,
        is_unbuildable,
        built: built.map_err(|refused| match refused {
            Refused::Construct(reason) | Refused::Otherwise(reason) => reason,
        }),
    }
}

/// Reason why a point cannot be solved.
enum Refused {
    /// Its construct cannot be built.
    Construct(String),
    /// Its interfaces or sizes cannot be had, or the program slipped.
    Otherwise(String),
}

fn build(
    job: &Job,
    point: &DesignPoint,
    inputs: &PointInputs,
    bones: &BoneCache,
) -> Result<BuiltPoint, Refused> {
    let construct = bones
        .construct(&inputs.construct)
        .map_err(|e| Refused::Construct(explain(&e, job, point)))?;
    if let Some(refusal) = refusal(&construct, &inputs.interfaces) {
        let reason = explain_refusal(&refusal, job, point);
        return Err(Refused::Otherwise(reason));
    }
    if let Some(refusal) = joint_support::refusal(&construct, inputs) {
        let reason = explain_refusal(&refusal, job, point);
        return Err(Refused::Otherwise(reason));
    }
    rollers::check(&construct, inputs).map_err(|e| Refused::Otherwise(e.told(job)))?;
    sensors::sites(&construct.bone, &inputs.sensors)
        .map_err(|e| Refused::Otherwise(e.told(job)))?;
    let tets = tetrahedra(&construct, &inputs.sizing)
        .map_err(|e| Refused::Otherwise(explain_sizes(&e, job, point)))?;
    let cases = inputs.loads.len();
    let estimate = Estimate::new(tets, cases, inputs.solve.tolerance, inputs.error_estimate);
    Ok(BuiltPoint {
        moved: moved(&construct, inputs),
        notes: construct.notes,
        estimate,
    })
}

/// Message of a panic.
pub(crate) fn panic_text(panic: &(dyn std::any::Any + Send)) -> String {
    let said = panic
        .downcast_ref::<&str>()
        .map(|s| (*s).to_string())
        .or_else(|| panic.downcast_ref::<String>().cloned());
    match said {
        Some(s) => format!("internal error: {s}"),
        None => "internal error".to_string(),
    }
}
