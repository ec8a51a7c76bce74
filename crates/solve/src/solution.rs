//! Displacements of all load cases, and how they were found.

use crate::assembly::{Assembled, InvertedTet, assemble};
use crate::balance::{imbalance, reactions};
use crate::held;
use crate::load_vectors::LoadVectors;
use crate::numbering::Numbering;
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_sparse::chebyshev::Chebyshev;
use bicolumn_sparse::conjugate_gradients::vector_bytes;
use bicolumn_sparse::{
    Analysis, BlockCholesky, Limits, NodeColumns, NodeVector, Prolongation, SparseError,
    SymmetricBlocks, Team, TwoLevel, conjugate_gradients,
};
use serde::{Deserialize, Serialize};
use std::time::Instant;
use thiserror::Error;

/// How to solve the linear system.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, Default)]
#[serde(rename_all = "snake_case")]
pub enum Method {
    /// By an estimate of memory and time.
    #[default]
    Auto,
    /// Conjugate gradients with the two-level preconditioner.
    Multigrid,
    /// Sparse Cholesky.
    Direct,
}

/// Options of [`solve`].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SolveOptions {
    /// Method.
    pub method: Method,
    /// Relative residual to reach.
    pub tolerance: f64,
    /// Iterations after which stagnation is declared.
    pub max_iterations: usize,
    /// Threads to use inside this solve. The result does not depend on it.
    pub threads: usize,
}

impl Default for SolveOptions {
    fn default() -> Self {
        SolveOptions {
            method: Method::Auto,
            tolerance: 1e-7,
            max_iterations: 200,
            threads: 1,
        }
    }
}

/// What the solver did.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[allow(missing_docs)]
pub struct SolveReport {
    pub method: Method,
    pub unknowns: usize,
    /// Load cases actually solved; the others are multiples of one of them.
    pub right_sides: usize,
    pub iterations: usize,
    /// Relative residual of each load case at the end, ‖b − K u‖ / ‖b‖.
    pub residuals: Vec<f64>,
    /// Largest residual over the load cases, by iteration.
    pub history: Vec<f64>,
    pub assemble_s: f64,
    pub setup_s: f64,
    pub solve_s: f64,
    /// Estimated and measured bytes of matrices, factors and vectors.
    pub estimated_bytes: u64,
    pub used_bytes: u64,
    /// |sum of reactions + sum of loads| / |sum of loads| by load case (force balance), largest of force
    /// and moment (moment about the origin, over the largest of load moment and force × 100 mm).
    pub equilibrium: Vec<f64>,
}

/// Displacements.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// Displacement of each node, by load case, mm.
    pub displacement: Vec<Vec<Vec3>>,
    /// Reaction of each held node (order of `Problem::fixed`), by load case, N.
    pub reactions: Vec<Vec<Vec3>>,
    /// How it was found.
    pub report: SolveReport,
}

/// Why there is no solution.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum SolveError {
    /// A part that nothing holds.
    #[error("{part} is not held: {motion}")]
    NotHeld {
        /// Part name.
        part: String,
        /// What it can do.
        motion: String,
    },
    /// The iteration did not converge.
    #[error(
        "the iteration stopped at a relative residual of {residual:.1e} after {iterations} iterations: {reason}"
    )]
    NotConverged {
        /// Residual reached.
        residual: f64,
        /// Iterations done.
        iterations: usize,
        /// Why it is thought to have stopped.
        reason: String,
    },
    /// The matrix is not positive definite.
    #[error("the stiffness matrix is not positive definite near node {node} of {part}")]
    NotPositiveDefinite {
        /// Node.
        node: u32,
        /// Part name.
        part: String,
    },
    /// A tetrahedron turned inside out.
    #[error("tetrahedron {tet} of {part} is inverted")]
    Inverted {
        /// Its index.
        tet: usize,
        /// Part name.
        part: String,
    },
    /// The factor does not fit in memory.
    #[error("no memory for a factor of {bytes} bytes: coarsen the mesh")]
    NoMemory {
        /// Bytes asked for.
        bytes: u64,
    },
}

/// Unknowns up to which Cholesky on the full matrix is the quicker way.
const DIRECT_UP_TO: usize = 10_000;
/// Degree of the smoother.
const SMOOTHER_DEGREE: usize = 3;
/// Refinement steps after a direct solution.
const REFINEMENTS: usize = 3;

/// Solves a problem.
///
/// Held nodes are eliminated; load vectors that are multiples of each other are solved once. The result
/// has the same bits for any number of threads.
///
/// # Errors
/// [`SolveError`], with the part or the residual at fault.
pub fn solve(problem: &Problem, options: &SolveOptions) -> Result<Solution, SolveError> {
    held::check(problem)?;
    let team = Team::new(options.threads);
    let mut report = SolveReport::default();
    let start = Instant::now();
    let numbering = Numbering::new(&problem.mesh, &problem.fixed);
    let assembled =
        assemble(&team, problem, &numbering).map_err(|InvertedTet(t)| SolveError::Inverted {
            tet: t,
            part: problem.mesh.part_of(t).to_string(),
        })?;
    let loads = LoadVectors::new(&problem.cases, &numbering);
    report.assemble_s = start.elapsed().as_secs_f64();
    report.unknowns = 3 * numbering.rows();
    report.right_sides = loads.distinct.len();
    report.method = match options.method {
        Method::Auto if report.unknowns <= DIRECT_UP_TO => Method::Direct,
        Method::Auto => Method::Multigrid,
        forced => forced,
    };
    let columns = if loads.distinct.is_empty() {
        vec![]
    } else {
        let system = System {
            team: &team,
            numbering: &numbering,
            loads: &loads,
            options,
        };
        match report.method {
            Method::Direct => system.direct(assembled, &mut report),
            _ => system.multigrid(assembled, &mut report),
        }
        .map_err(|e| translate(problem, &numbering, e))?
    };
    let displacement: Vec<Vec<Vec3>> = loads
        .of_case
        .iter()
        .map(|case| {
            let mut u = vec![Vec3::zeros(); problem.mesh.nodes.len()];
            if let Some((k, factor)) = *case {
                for (&n, v) in numbering.node_of_row.iter().zip(&columns[k]) {
                    u[n as usize] = Vec3::from(*v) * factor;
                }
            }
            u
        })
        .collect();
    report.residuals = loads
        .of_case
        .iter()
        .map(|case| case.map_or(0.0, |(k, _)| report.residuals[k]))
        .collect();
    let reactions = reactions(problem, &displacement);
    report.equilibrium = problem
        .cases
        .iter()
        .zip(&reactions)
        .map(|(case, r)| imbalance(problem, case, r))
        .collect();
    Ok(Solution {
        displacement,
        reactions,
        report,
    })
}

/// Names the part and node of a row.
fn translate(problem: &Problem, numbering: &Numbering, error: SparseError) -> SolveError {
    match error {
        SparseError::NotPositiveDefinite { row } => {
            let node = numbering.node_of_row.get(row).copied().unwrap_or(0);
            let tet = problem.mesh.tets.iter().position(|t| t.contains(&node));
            SolveError::NotPositiveDefinite {
                node,
                part: tet.map_or_else(String::new, |t| problem.mesh.part_of(t).to_string()),
            }
        }
        SparseError::NotConverged {
            residual,
            iterations,
            reason,
        } => SolveError::NotConverged {
            residual,
            iterations,
            reason,
        },
        SparseError::NoMemory { bytes } => SolveError::NoMemory { bytes },
    }
}

/// An assembled system about to be solved.
struct System<'a> {
    team: &'a Team,
    numbering: &'a Numbering,
    loads: &'a LoadVectors,
    options: &'a SolveOptions,
}

impl System<'_> {
    fn direct(
        &self,
        assembled: Assembled,
        report: &mut SolveReport,
    ) -> Result<Vec<NodeVector>, SparseError> {
        let Assembled { fine, .. } = assembled;
        let start = Instant::now();
        let matrix_bytes = fine.bytes() + fine.pattern.bytes();
        let analysis = Analysis::of(&fine.pattern)?;
        let rows = fine.rows();
        let vectors = (rows * self.loads.distinct.len() * 24 * 4) as u64;
        report.estimated_bytes =
            matrix_bytes + analysis.factor_bytes() + analysis.scratch_bytes() + vectors;
        let scratch = analysis.scratch_bytes();
        let factor = analysis.factor(&fine)?;
        report.used_bytes = matrix_bytes + factor.bytes() + scratch + vectors;
        report.setup_s = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let mut solutions = vec![];
        for b in &self.loads.distinct {
            let (x, history) = self.refined(&fine, &factor, b)?;
            report.iterations = report.iterations.max(history.len() - 1);
            report.residuals.push(history[history.len() - 1]);
            for (k, &h) in history.iter().enumerate() {
                match report.history.get_mut(k) {
                    Some(old) => *old = old.max(h),
                    None => report.history.push(h),
                }
            }
            solutions.push(x);
        }
        report.solve_s = start.elapsed().as_secs_f64();
        Ok(solutions)
    }

    /// One right side by the factor, refined until its residual meets the tolerance.
    fn refined(
        &self,
        matrix: &SymmetricBlocks,
        factor: &BlockCholesky,
        b: &NodeVector,
    ) -> Result<(NodeVector, Vec<f64>), SparseError> {
        let norm = |v: &[NodeColumns<f64, 1>]| {
            v.iter()
                .flatten()
                .flatten()
                .map(|a| a * a)
                .sum::<f64>()
                .sqrt()
        };
        let b: Vec<NodeColumns<f64, 1>> = b.iter().map(|n| n.map(|v| [v])).collect();
        let mut x = vec![[[0.0]; 3]; b.len()];
        let mut product = x.clone();
        let mut residual = b.clone();
        let mut history = vec![];
        for _ in 0..=REFINEMENTS {
            factor.solve(&mut residual);
            for (x, d) in x
                .iter_mut()
                .flatten()
                .flatten()
                .zip(residual.as_flattened().as_flattened())
            {
                *x += d;
            }
            matrix.multiply(self.team, &x, &mut product);
            let rest = residual.iter_mut().flatten().flatten();
            let difference = b
                .as_flattened()
                .as_flattened()
                .iter()
                .zip(product.as_flattened().as_flattened());
            for (r, (b, q)) in rest.zip(difference) {
                *r = b - q;
            }
            history.push(norm(&residual) / norm(&b));
            if history[history.len() - 1] <= self.options.tolerance {
                return Ok((x.iter().map(|n| n.map(|v| v[0])).collect(), history));
            }
        }
        Err(SparseError::NotConverged {
            residual: history[history.len() - 1],
            iterations: REFINEMENTS,
            reason: "rounding: refinement of the direct solution stays above the tolerance"
                .to_owned(),
        })
    }

    fn multigrid(
        &self,
        assembled: Assembled,
        report: &mut SolveReport,
    ) -> Result<Vec<NodeVector>, SparseError> {
        let Assembled { fine, coarse } = assembled;
        let start = Instant::now();
        let prolongation = Prolongation::new(
            self.numbering.parents.clone(),
            self.numbering.fine_of_coarse.len(),
        );
        let analysis = Analysis::of(&coarse.pattern)?;
        let vectors = vector_bytes(fine.rows(), coarse.rows(), self.loads.distinct.len());
        let assembled_bytes =
            fine.bytes() + fine.pattern.bytes() + coarse.bytes() + coarse.pattern.bytes();
        report.estimated_bytes = assembled_bytes
            + Chebyshev::bytes_for(fine.rows(), fine.pattern.len())
            + prolongation.bytes()
            + analysis.factor_bytes()
            + analysis.scratch_bytes().max(vectors);
        let scratch = analysis.scratch_bytes();
        let two_level = TwoLevel::new(
            self.team,
            &fine,
            &coarse,
            analysis,
            prolongation,
            SMOOTHER_DEGREE,
        )?;
        drop(coarse);
        report.used_bytes = assembled_bytes + two_level.bytes() + scratch.max(vectors);
        report.setup_s = start.elapsed().as_secs_f64();
        let start = Instant::now();
        let limits = Limits {
            tolerance: self.options.tolerance,
            max_iterations: self.options.max_iterations,
        };
        let (solutions, convergence) =
            conjugate_gradients(self.team, &fine, &two_level, &self.loads.distinct, &limits)?;
        report.solve_s = start.elapsed().as_secs_f64();
        report.iterations = convergence.iterations;
        report.residuals = convergence.residuals;
        report.history = convergence.history;
        Ok(solutions)
    }
}
