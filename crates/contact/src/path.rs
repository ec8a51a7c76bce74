//! Load paths: the way from one state of a construct to the next.

use crate::law::Law;
use crate::point::Point;
use crate::reduced::ActiveSet;
use crate::report::{CaseReport, Status};
use crate::state::State;
use crate::system::System;
use bicolumn_base::Vec3;

/// Way from one state to the next: forces, tensions and laws.
#[derive(Debug, Clone)]
pub(crate) struct LoadPath<'a> {
    pub(crate) name: &'a str,
    /// Nodal forces at the start, N.
    pub(crate) before: Vec<Vec3>,
    /// Nodal forces at the end, N.
    pub(crate) forces: Vec<Vec3>,
    /// Tension of each preload section at the end, N; `None`: its length is kept.
    pub(crate) tensions: Vec<Option<f64>>,
    /// Law of each set.
    pub(crate) laws: &'a [Law],
    pub(crate) increments: usize,
    /// Relative residual of equilibrium to reach.
    pub(crate) tolerance: f64,
    /// Most iterations of an increment.
    pub(crate) max_iterations: usize,
}

impl LoadPath<'_> {
    /// Law that acts at a point.
    pub(crate) fn law_at(&self, point: &Point) -> Law {
        self.laws[point.set].at(point.normal)
    }
}

/// Cause why an increment was given up.
pub(crate) enum Failure {
    /// A displacement larger than the construct.
    RunsAway,
    /// Iterations used up: relative residuals of equilibrium and of the laws.
    Iterations {
        residual: f64,
        law_residual: f64,
        iterations: usize,
    },
}

impl std::fmt::Display for Failure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Failure::RunsAway => f.write_str("a part runs away: nothing holds it against its load"),
            Failure::Iterations {
                residual,
                law_residual,
                iterations,
            } => write!(
                f,
                "residual {residual:.1e}, laws of the interfaces to {law_residual:.1e}, after {iterations} iterations"
            ),
        }
    }
}

/// Load path being followed, between its increments.
pub(crate) struct Progress<'a> {
    pub(crate) path: LoadPath<'a>,
    pub(crate) state: State,
    pub(crate) report: CaseReport,
    /// Displacement at the start of the path.
    first: Vec<Vec3>,
    /// Active set with its factors, which serve from one increment to the next.
    pub(crate) active: ActiveSet,
}

/// State and report at the end of a load path.
pub(crate) struct PathEnd {
    pub(crate) state: State,
    pub(crate) report: CaseReport,
}

impl<'a> Progress<'a> {
    pub(crate) fn new(state: State, path: LoadPath<'a>) -> Self {
        Progress {
            first: state.u.clone(),
            report: CaseReport::new(path.name),
            active: ActiveSet::default(),
            state,
            path,
        }
    }

    /// Ends the path with the state as it is; with a failure the report says where and why.
    pub(crate) fn end(mut self, system: &System<'_>, failure: Option<&Failure>) -> PathEnd {
        if let Some(failure) = failure {
            self.report.status = Status::NotConverged {
                reason: format!(
                    "increment {} of {}: {failure}",
                    self.report.increments, self.path.increments
                ),
            };
        }
        self.report.sets = system.set_reports(&self.state, &self.first, self.path.laws);
        self.report.section_forces_n = system
            .sections
            .iter()
            .zip(&self.state.shortening)
            .map(|(section, s)| section.section_force(&self.state.u, *s))
            .collect();
        PathEnd {
            state: self.state,
            report: self.report,
        }
    }
}
