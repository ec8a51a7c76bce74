//! The prepared system (K + C) u = f: operator, numbering and preconditioner, kept for further right-hand sides.
//!
//! K is the stiffness of the free nodes, ∫ ε(v) : σ(u) dV of the weak form; supported nodes (Dirichlet) are eliminated. C is the
//! stiffness of interfaces. The example of the crate shows both ways to ask it.

use crate::assembly::{InvertedTet, coarse_matrix, fine_matrix};
use crate::balance::{imbalance, reactions};
use crate::cost::{ORDERED_UP_TO, direct_seconds, iterative_seconds};
use crate::elements::Elements;
use crate::force_basis::ForceBasis;
use crate::forecast::Forecast;
use crate::load_vectors::LoadVectors;
use crate::numbering::Numbering;
use crate::rotational::{rotational_matrix, rotational_prolongation};
use crate::stiffness::Stiffness;
use crate::{InterfaceStiffness, Method, Solution, SolveError, SolveOptions, SolveReport, support};
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_sparse::chebyshev;
use bicolumn_sparse::columns::{column, interleave};
use bicolumn_sparse::conjugate_gradients::vector_bytes;
use bicolumn_sparse::refinement::refined_direct;
use bicolumn_sparse::two_level::CoarseNumber;
use bicolumn_sparse::{
    AddedBlocks, Analysis, BlockCholesky, CoarseMatrix, Convergence, Limits, Matrix, NodeMatrix,
    NodeVector, Operator, Order, Prolongation, SparseError, SymmetricBlocks, Team, TwoLevel,
    conjugate_gradients,
};
use std::sync::Arc;
use std::time::Instant;

/// Largest size of a linear level that is factored; beyond, it is aggregated. Fixed numbers, so that the same job
/// gives the same bits on a larger machine.
#[derive(Debug, Clone, Copy)]
struct FactorUpTo {
    /// Bytes of the factor.
    bytes: u64,
    /// Rows of the linear level beyond which its factor is never that small, which saves ordering it: 15,800
    /// rows gave 86 MB, 61,000 gave 790 MB.
    rows: usize,
}

/// Aggregates take less time and memory in all, from 0.1 million unknowns on (docs/performance.md).
const PLAIN: FactorUpTo = FactorUpTo {
    bytes: 16 << 20,
    rows: 8_000,
};
/// With interfaces, compliances of few nodes take but a part of the factor, whereas aggregates are always gone
/// through whole.
const WITH_INTERFACES: FactorUpTo = FactorUpTo {
    bytes: 256 << 20,
    rows: 60_000,
};
/// Most corners that an aggregated level gives rotational degrees of freedom: so few make cells as wide as walls are thick, which
/// then could not bend otherwise. With more it takes as many seconds or more, and half as much memory again
/// (docs/performance.md).
const ROTATIONAL_UP_TO: usize = 30_000;
/// Degree of the smoother of the quadratic level (docs/performance.md).
const SMOOTHER_DEGREE: usize = 3;
/// Degree of that smoother above a rotational level (docs/performance.md).
const DEGREE_ABOVE_ROTATIONAL: usize = 2;

/// A prepared system.
#[derive(Debug)]
pub struct Prepared<'a> {
    problem: &'a Problem,
    options: SolveOptions,
    team: Arc<Team>,
    numbering: Arc<Numbering>,
    stiffness: Arc<Stiffness>,
    engine: Engine,
    loads: LoadVectors,
    report: SolveReport,
}

#[derive(Debug)]
enum Engine {
    Direct(Arc<BlockCholesky<f64>>),
    Multigrid(Arc<TwoLevel<Stiffness>>),
}

/// Options of one solution of a prepared system.
#[derive(Debug, Clone, Copy, Default)]
pub struct Ask<'a> {
    /// Displacements to start from, one field for each right-hand side; none: from zero. The direct method
    /// needs none and ignores it.
    pub guess: Option<&'a [Vec<Vec3>]>,
    /// Another relative residual than the options ask for.
    pub tolerance: Option<f64>,
}

/// Displacements for given nodal forces.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Displacement of each mesh node, by right-hand side, mm; zero in constrained components.
    pub displacement: Vec<Vec<Vec3>>,
    /// Iterations, residuals, rounding floors.
    pub convergence: Convergence,
    /// Seconds it took.
    pub seconds: f64,
}

impl<'a> Prepared<'a> {
    /// Assembles, chooses the method, factors or sets up the hierarchy.
    ///
    /// # Errors
    /// [`SolveError`]: a loose part, an inverted element, a matrix that is not positive definite, no memory.
    pub fn new(problem: &'a Problem, options: &SolveOptions) -> Result<Self, SolveError> {
        Self::with_forecast(problem, options, &|_| {})
    }

    /// As [`Prepared::new`]; `on_forecast` receives the forecast of time and memory before the costly part.
    ///
    /// # Errors
    /// As [`Prepared::new`].
    pub fn with_forecast(
        problem: &'a Problem,
        options: &SolveOptions,
        on_forecast: &dyn Fn(&Forecast),
    ) -> Result<Self, SolveError> {
        support::check(problem)?;
        Self::build(problem, options, None, PLAIN, on_forecast)
    }

    /// As [`Prepared::new`] for the system K + C with the stiffness C of interfaces.
    ///
    /// Parts may hang on the interface alone; that no part is loose is then the caller's to see to. A loose part shows as a
    /// matrix that is not positive definite.
    ///
    /// # Errors
    /// As [`Prepared::new`], except that loose parts are not looked for.
    pub fn with_interface(
        problem: &'a Problem,
        options: &SolveOptions,
        interface: Option<&InterfaceStiffness>,
    ) -> Result<Self, SolveError> {
        Self::build(problem, options, interface, WITH_INTERFACES, &|_| {})
    }

    fn build(
        problem: &'a Problem,
        options: &SolveOptions,
        interface: Option<&InterfaceStiffness>,
        factor_up_to: FactorUpTo,
        on_forecast: &dyn Fn(&Forecast),
    ) -> Result<Self, SolveError> {
        let team = Team::new(options.threads);
        let mut report = SolveReport::default();
        let start = Instant::now();
        let numbering = Numbering::new(problem);
        let elements = Elements::new(&team, problem, &numbering).map_err(|InvertedTet(t)| {
            SolveError::Inverted {
                tet: t,
                part: problem.mesh().part_of(t).to_string(),
            }
        })?;
        let loads = LoadVectors::new(problem, interface, &numbering);
        report.assemble_s = start.elapsed().as_secs_f64();
        report.unknowns = 3 * numbering.rows();
        report.right_sides = loads.distinct.len();
        let stiffness = Arc::new(Stiffness {
            elements,
            interface: interface.map_or_else(AddedBlocks::default, |i| i.on_rows(&numbering)),
        });
        let start = Instant::now();
        let engine = engine(
            &team,
            &stiffness,
            &Levels {
                problem,
                numbering: &numbering,
                options,
                factor_up_to,
            },
            &mut report,
            on_forecast,
        )
        .map_err(|e| translate(problem, &numbering, e))?;
        report.setup_s = start.elapsed().as_secs_f64();
        Ok(Prepared {
            problem,
            options: *options,
            team: Arc::new(team),
            numbering: Arc::new(numbering),
            stiffness,
            engine,
            loads,
            report,
        })
    }

    /// Sizes, method, seconds and bytes of the preparation.
    pub fn report(&self) -> &SolveReport {
        &self.report
    }

    /// An empty basis of nodal forces for products and solutions with the preconditioner.
    pub fn force_basis(&self) -> ForceBasis {
        let (numbering, team) = (Arc::clone(&self.numbering), Arc::clone(&self.team));
        match &self.engine {
            Engine::Multigrid(two_level) => ForceBasis::new(numbering, team, Arc::clone(two_level)),
            Engine::Direct(factor) => ForceBasis::new(numbering, team, Arc::clone(factor)),
        }
    }

    /// (K + C) u in the free components, N; zero in the constrained ones, whose displacement counts as zero.
    pub fn apply(
        &self,
        displacement: &[Vec<Vec3>],
        interface: Option<&InterfaceStiffness>,
    ) -> Vec<Vec<Vec3>> {
        let added = interface.map(|i| i.on_rows(&self.numbering));
        let operator = Operator {
            matrix: &self.stiffness.elements,
            added: added.as_ref(),
        };
        let mut forces = vec![];
        let mut scratch = vec![];
        for group in displacement.chunks(4) {
            let rows: Vec<NodeVector> = group.iter().map(|u| self.numbering.on_rows(u)).collect();
            let vectors: Vec<&[[f64; 3]]> = rows.iter().map(Vec::as_slice).collect();
            let x = interleave::<4>(&vectors);
            let mut y = vec![[[0.0; 4]; 3]; x.len()];
            operator.multiply(&self.team, &x, &mut scratch, &mut y);
            forces.extend((0..group.len()).map(|k| self.numbering.on_nodes(&column(&y, k))));
        }
        forces
    }

    /// Solves (K + C) u = f for nodal forces (one vector over all mesh nodes for each right-hand side; forces
    /// in constrained components are left to the support), with every prescribed displacement zero.
    ///
    /// # Errors
    /// [`SolveError::NotConverged`], [`SolveError::NotPositiveDefinite`], [`SolveError::NoMemory`].
    pub fn solve_for(&self, forces: &[Vec<Vec3>], ask: &Ask<'_>) -> Result<Answer, SolveError> {
        let start = Instant::now();
        let rhs: Vec<NodeVector> = forces.iter().map(|f| self.numbering.on_rows(f)).collect();
        let guess: Option<Vec<NodeVector>> = ask
            .guess
            .map(|g| g.iter().map(|u| self.numbering.on_rows(u)).collect());
        let tolerance = ask.tolerance.unwrap_or(self.options.tolerance);
        let (columns, convergence) = self.solve_rows(&rhs, guess.as_deref(), tolerance)?;
        Ok(Answer {
            displacement: columns.iter().map(|c| self.numbering.on_nodes(c)).collect(),
            convergence,
            seconds: start.elapsed().as_secs_f64(),
        })
    }

    fn solve_rows(
        &self,
        rhs: &[NodeVector],
        guess: Option<&[NodeVector]>,
        tolerance: f64,
    ) -> Result<(Vec<NodeVector>, Convergence), SolveError> {
        let operator = Operator::of(&*self.stiffness);
        let limits = Limits {
            tolerance,
            max_iterations: self.options.max_iterations,
        };
        match &self.engine {
            Engine::Multigrid(two_level) => {
                conjugate_gradients(&self.team, &operator, two_level, rhs, guess, &limits)
            }
            Engine::Direct(factor) => refined_direct(&self.team, &operator, factor, rhs, &limits),
        }
        .map_err(|e| translate(self.problem, &self.numbering, e))
    }

    /// Solves the problem's own load cases; those that are multiples of one another once.
    ///
    /// # Errors
    /// As [`Prepared::solve_for`].
    pub fn solve_cases(&self) -> Result<Solution, SolveError> {
        let mut report = self.report.clone();
        let start = Instant::now();
        let of_case = &self.loads.of_case;
        let (columns, convergence) = if self.loads.distinct.is_empty() {
            (vec![], Convergence::default())
        } else {
            self.solve_rows(&self.loads.distinct, None, self.options.tolerance)?
        };
        report.solve_s = start.elapsed().as_secs_f64();
        report.iterations = convergence.iterations;
        report.history = convergence.history;
        let each = |values: &[f64]| -> Vec<f64> {
            let of = of_case.iter().map(|c| c.map_or(0.0, |(k, _)| values[k]));
            of.collect()
        };
        report.residuals = each(&convergence.residuals);
        report.rounding_floors = each(&convergence.floors);
        report.stopped_at_floor = of_case
            .iter()
            .map(|c| c.is_some_and(|(k, _)| convergence.at_floor[k]))
            .collect();
        let displacement: Vec<Vec<Vec3>> = of_case
            .iter()
            .zip(&self.loads.prescribed)
            .map(|(case, prescribed)| {
                let mut u = match *case {
                    None => vec![Vec3::zeros(); self.problem.mesh().nodes.len()],
                    Some((k, factor)) => {
                        let mut u = self.numbering.on_nodes(&columns[k]);
                        u.iter_mut().for_each(|v| *v *= factor);
                        u
                    }
                };
                prescribed
                    .iter()
                    .for_each(|(n, value)| u[*n as usize] += value);
                u
            })
            .collect();
        let reactions = reactions(self.problem, &displacement);
        report.equilibrium = self
            .problem
            .cases()
            .iter()
            .zip(&reactions)
            .map(|(case, r)| imbalance(self.problem, case, r))
            .collect();
        Ok(Solution {
            displacement,
            reactions,
            report,
        })
    }
}

/// Inputs of the hierarchy.
struct Levels<'a> {
    problem: &'a Problem,
    numbering: &'a Numbering,
    /// The options given.
    options: &'a SolveOptions,
    factor_up_to: FactorUpTo,
}

/// Chooses the method, hands out the forecast, factors or sets up the hierarchy.
fn engine(
    team: &Team,
    stiffness: &Arc<Stiffness>,
    levels: &Levels<'_>,
    report: &mut SolveReport,
    on_forecast: &dyn Fn(&Forecast),
) -> Result<Engine, SparseError> {
    let (elements, added) = (&stiffness.elements, stiffness.added());
    let unknowns = 3 * elements.rows();
    let sides = report.right_sides;
    let asked = levels.options.method;
    let iterative = iterative_seconds(unknowns, sides, levels.options.tolerance);
    let looked_at = match asked {
        Method::Direct => true,
        Method::Auto => unknowns <= ORDERED_UP_TO,
        Method::FactoredCoarse | Method::AggregatedCoarse => false,
    };
    let factor = looked_at.then(|| {
        let matrix = fine_matrix(team, levels.problem, levels.numbering, elements);
        let matrix = with_interface(matrix, added);
        let analysis = Analysis::of(&matrix.pattern);
        (direct_seconds(&analysis, unknowns, sides), analysis, matrix)
    });
    let factor = factor.filter(|f| asked == Method::Direct || f.0 <= iterative);
    let seconds = factor.as_ref().map_or(iterative, |f| f.0);
    let on_forecast = |report: &SolveReport| {
        on_forecast(&Forecast {
            method: report.method,
            unknowns,
            right_sides: sides,
            bytes: report.estimated_bytes,
            seconds,
        });
    };
    match factor {
        Some((_, analysis, matrix)) => {
            direct(team, elements, &matrix, analysis, report, &on_forecast)
        }
        None => multigrid(team, stiffness, levels, report, &on_forecast),
    }
}

/// A matrix with the interface term in it.
fn with_interface(matrix: SymmetricBlocks, added: Option<&AddedBlocks>) -> SymmetricBlocks {
    if added.is_none() {
        return matrix;
    }
    Operator {
        matrix: &matrix,
        added,
    }
    .merged()
}

fn direct(
    team: &Team,
    elements: &Elements,
    matrix: &SymmetricBlocks,
    analysis: Analysis,
    report: &mut SolveReport,
    on_forecast: &dyn Fn(&SolveReport),
) -> Result<Engine, SparseError> {
    let matrix_bytes = elements.bytes() + matrix.bytes() + matrix.pattern.bytes();
    let vectors = (elements.rows() * report.right_sides * 24 * 4) as u64;
    let scratch = analysis.scratch_bytes(team.threads());
    report.method = Method::Direct;
    report.estimated_bytes = matrix_bytes + analysis.factor_bytes::<f64>() + scratch + vectors;
    on_forecast(report);
    let factor = analysis.factor(team, matrix)?;
    report.used_bytes = matrix_bytes + factor.bytes() + scratch + vectors;
    Ok(Engine::Direct(Arc::new(factor)))
}

fn multigrid(
    team: &Team,
    stiffness: &Arc<Stiffness>,
    levels: &Levels<'_>,
    report: &mut SolveReport,
    on_forecast: &dyn Fn(&SolveReport),
) -> Result<Engine, SparseError> {
    let elements = &stiffness.elements;
    let start = Instant::now();
    let level = factored_level(team, stiffness, levels)
        .unwrap_or_else(|| aggregated_level(team, stiffness, levels));
    report.assemble_s += start.elapsed().as_secs_f64();
    report.method = level.method;
    let prolongation = level.prolongation;
    let vectors = vector_bytes(&**stiffness, prolongation.coarse_rows(), report.right_sides);
    let at_once = level.scratch_bytes.max(vectors);
    let assembled_bytes = elements.bytes() + level.matrix_bytes;
    report.estimated_bytes = assembled_bytes
        + chebyshev::bytes_for(elements.rows())
        + prolongation.bytes()
        + level.solver_bytes
        + at_once;
    on_forecast(report);
    let degree = if prolongation.has_rotations() {
        DEGREE_ABOVE_ROTATIONAL
    } else {
        SMOOTHER_DEGREE
    };
    let fine = Arc::clone(stiffness);
    let two_level = TwoLevel::new(team, fine, level.matrix, prolongation, degree)?;
    report.used_bytes = assembled_bytes + two_level.bytes() + at_once;
    Ok(Engine::Multigrid(Arc::new(two_level)))
}

/// The coarse level, assembled but not yet factored or aggregated.
struct CoarseLevel {
    method: Method,
    matrix: CoarseMatrix,
    prolongation: Arc<Prolongation>,
    /// Bytes of the matrix as assembled.
    matrix_bytes: u64,
    /// Bytes of its solver: an estimate.
    solver_bytes: u64,
    /// Working memory of the set-up, bytes.
    scratch_bytes: u64,
}

/// The linear level, for a factor, if the factor is asked for or is small enough.
fn factored_level(team: &Team, stiffness: &Stiffness, levels: &Levels<'_>) -> Option<CoarseLevel> {
    if !might_be_factored(levels) {
        return None;
    }
    let matrix = linear_matrix(team, stiffness, levels);
    let analysis = affordable_factor(levels, &matrix, team.threads())?;
    Some(CoarseLevel {
        method: Method::FactoredCoarse,
        prolongation: Arc::clone(&levels.numbering.prolongation),
        matrix_bytes: matrix.bytes() + matrix.pattern.bytes(),
        solver_bytes: analysis.factor_bytes::<CoarseNumber>(),
        scratch_bytes: analysis.scratch_bytes(team.threads()),
        matrix: CoarseMatrix::Factored(Box::new(matrix), analysis),
    })
}

/// The rotational level, where corners are few, or else the linear one, for aggregation.
fn aggregated_level(team: &Team, stiffness: &Stiffness, levels: &Levels<'_>) -> CoarseLevel {
    let (problem, numbering) = (levels.problem, levels.numbering);
    let node = |row: &u32| numbering.node_of_row[*row as usize] as usize;
    let rows = numbering.fine_of_coarse.iter();
    let places = rows.map(|r| problem.mesh().nodes[node(r)].into()).collect();
    let (matrix, prolongation, matrix_bytes, solver_bytes);
    if numbering.fine_of_coarse.len() <= ROTATIONAL_UP_TO {
        let (elements, added) = (&stiffness.elements, stiffness.added());
        prolongation = Arc::new(rotational_prolongation(problem, numbering));
        let nodes = rotational_matrix(team, problem, numbering, elements, &prolongation, added);
        matrix_bytes = nodes.bytes();
        solver_bytes = TwoLevel::<Stiffness>::aggregated_bytes::<6>(nodes.nodes(), nodes.len());
        matrix = CoarseMatrix::Rotational(nodes, places);
    } else {
        prolongation = Arc::clone(&numbering.prolongation);
        let nodes = NodeMatrix::of(team, &linear_matrix(team, stiffness, levels));
        matrix_bytes = nodes.bytes();
        solver_bytes = TwoLevel::<Stiffness>::aggregated_bytes::<3>(nodes.nodes(), nodes.len());
        matrix = CoarseMatrix::Translational(nodes, places);
    }
    CoarseLevel {
        method: Method::AggregatedCoarse,
        matrix,
        prolongation,
        matrix_bytes,
        solver_bytes,
        scratch_bytes: 0,
    }
}

/// The matrix of the linear level, with the interface term in it.
fn linear_matrix(team: &Team, stiffness: &Stiffness, levels: &Levels<'_>) -> SymmetricBlocks {
    let numbering = levels.numbering;
    let coarse = coarse_matrix(team, levels.problem, numbering, &stiffness.elements);
    let term = stiffness
        .added()
        .map(|added| added.coarsened(&numbering.prolongation));
    with_interface(coarse, term.as_ref())
}

/// Is the linear level's factor asked for, or perhaps small enough?
fn might_be_factored(levels: &Levels<'_>) -> bool {
    let rows = levels.numbering.fine_of_coarse.len();
    match levels.options.method {
        Method::AggregatedCoarse => false,
        Method::FactoredCoarse => true,
        Method::Auto | Method::Direct => rows <= levels.factor_up_to.rows,
    }
}

/// The analysis of the linear level's factor, if the factor is asked for or is small enough.
fn affordable_factor(
    levels: &Levels<'_>,
    coarse: &SymmetricBlocks,
    threads: usize,
) -> Option<Analysis> {
    let analysis = Analysis::of(&coarse.pattern);
    let bytes = analysis.factor_bytes::<CoarseNumber>() + analysis.scratch_bytes(threads);
    let is_asked_for = levels.options.method == Method::FactoredCoarse;
    (is_asked_for || bytes <= levels.factor_up_to.bytes).then_some(analysis)
}

/// Names the part and node of a row.
fn translate(problem: &Problem, numbering: &Numbering, error: SparseError) -> SolveError {
    match error {
        SparseError::NotPositiveDefinite { row } => {
            let node = numbering.node_of_row.get(row).copied().unwrap_or(0);
            let tet = problem.mesh().tets.iter().position(|t| t.contains(&node));
            SolveError::NotPositiveDefinite {
                node,
                part: tet.map_or_else(String::new, |t| problem.mesh().part_of(t).to_string()),
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
