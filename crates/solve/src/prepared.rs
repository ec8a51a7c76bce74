//! A problem made ready to be solved many times: matrix, numbering and preconditioner are kept.
//!
//! ```text
//! let mut ready = Prepared::new(&problem, &options)?;
//! let solution = ready.solve_cases()?;             // the problem's own load cases
//! let again = ready.solve_for(&forces, &Ask {      // other forces, a guess
//!     guess: Some(&last), ..Ask::default() })?;
//! ```

use crate::assembly::{InvertedTet, coarse_matrix, fine_matrix};
use crate::balance::{imbalance, reactions};
use crate::cost::{ORDERED_UP_TO, direct_seconds, iterative_seconds};
use crate::elements::Elements;
use crate::forecast::Forecast;
use crate::load_vectors::LoadVectors;
use crate::numbering::{NO_ROW, Numbering};
use crate::stiffness::Stiffness;
use crate::turning::{turning_corners, turning_matrix};
use crate::{InterfaceStiffness, Method, Solution, SolveError, SolveOptions, SolveReport, held};
use bicolumn_base::Vec3;
use bicolumn_model::Problem;
use bicolumn_sparse::chebyshev;
use bicolumn_sparse::columns::{column, interleave};
use bicolumn_sparse::conjugate_gradients::vector_bytes;
use bicolumn_sparse::refinement::refined_direct;
use bicolumn_sparse::two_level::CoarseNumber;
use bicolumn_sparse::{
    AddedBlocks, Analysis, BlockCholesky, CoarseMatrix, Convergence, CycleProducts, Limits, Matrix,
    NodeMatrix, NodeVector, OpenCycle, Operator, Order, Prolongation, SparseError, SparseVector,
    SymmetricBlocks, Team, TwoLevel, conjugate_gradients,
};
use std::sync::Arc;
use std::time::Instant;

/// Up to what size the linear level is factored; beyond, it is aggregated. Fixed numbers, so that the same job
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
/// Up to so many corners an aggregated level lets them turn: there cells are as wide as walls are thick, which need it to
/// bend. With more it takes as many seconds or more, and half as much memory again (docs/performance.md).
const TURNING_UP_TO: usize = 30_000;
/// Degree of the smoother, and where corners turn (docs/performance.md).
const SMOOTHER_DEGREE: usize = 3;
const DEGREE_ABOVE_TURNING: usize = 2;

/// A system ready to be solved.
#[derive(Debug)]
pub struct Prepared<'a> {
    problem: &'a Problem,
    options: SolveOptions,
    team: Team,
    numbering: Numbering,
    stiffness: Arc<Stiffness>,
    engine: Engine,
    loads: LoadVectors,
    report: SolveReport,
}

#[derive(Debug)]
enum Engine {
    Direct(Box<BlockCholesky<f64>>),
    Multigrid(Box<TwoLevel<Stiffness>>),
}

/// What else to heed when a prepared system is solved.
#[derive(Debug, Clone, Copy, Default)]
pub struct Ask<'a> {
    /// Displacements to start from, one field for each right side; none: from zero. The direct method
    /// needs none and ignores it.
    pub guess: Option<&'a [Vec<Vec3>]>,
    /// Another relative residual than the options ask for.
    pub tolerance: Option<f64>,
}

/// Forces on few nodes whose compliances are wanted, see [`Prepared::add_products`].
#[derive(Debug, Default)]
pub struct ForceProducts {
    by_cycle: CycleProducts,
    vectors: Vec<SparseVector>,
}

/// A preconditioning that is half done, see [`Prepared::open`].
pub struct OpenPrecondition(Open);

enum Open {
    Cycle(OpenCycle<Stiffness>),
    Solved(Vec<NodeVector>),
}

/// Displacements for given nodal forces.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Displacement of each mesh node, by right side, mm; zero at held nodes.
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
        Self::told(problem, options, &|_| {})
    }

    /// As [`Prepared::new`]; `tell` hears what it will cost once that is known, before the costly part.
    ///
    /// # Errors
    /// As [`Prepared::new`].
    pub fn told(
        problem: &'a Problem,
        options: &SolveOptions,
        tell: &dyn Fn(&Forecast),
    ) -> Result<Self, SolveError> {
        held::check(problem)?;
        Self::build(problem, options, None, PLAIN, tell)
    }

    /// As [`Prepared::new`] for the system K + C with the stiffness C of interfaces.
    ///
    /// Parts may hang on the interface alone; that all is held is then the caller's to see to. What is
    /// not shows as a matrix that is not positive definite.
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
        tell: &dyn Fn(&Forecast),
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
        let loads = LoadVectors::new(problem.cases(), &numbering);
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
            tell,
        )
        .map_err(|e| translate(problem, &numbering, e))?;
        report.setup_s = start.elapsed().as_secs_f64();
        Ok(Prepared {
            problem,
            options: *options,
            team,
            numbering,
            stiffness,
            engine,
            loads,
            report,
        })
    }

    /// What has been done so far: sizes, method, seconds, bytes.
    pub fn report(&self) -> &SolveReport {
        &self.report
    }

    /// Begins to apply the preconditioner in hand to nodal forces, so that multiples of the forces of a
    /// [`ForceProducts`] can be added on the way. In the end, [`Prepared::close`], come displacements near
    /// (K + C)⁻¹ f; by the direct method the solution itself.
    ///
    /// Symmetric and positive definite, but for rounding.
    pub fn open(&self, forces: &[Vec<Vec3>]) -> OpenPrecondition {
        let sides: Vec<NodeVector> = forces.iter().map(|f| self.on_rows(f)).collect();
        OpenPrecondition(match &self.engine {
            Engine::Multigrid(two_level) => Open::Cycle(two_level.open(&self.team, &sides)),
            Engine::Direct(_) => {
                Open::Solved(sides.iter().map(|s| self.solve_directly(s)).collect())
            }
        })
    }

    /// Displacements near those that will come out.
    pub fn rough(&self, open: &OpenPrecondition) -> Vec<Vec<Vec3>> {
        match (&open.0, &self.engine) {
            (Open::Cycle(cycle), Engine::Multigrid(two_level)) => {
                let columns = cycle.rough(two_level);
                columns.iter().map(|c| self.on_nodes(c)).collect()
            }
            (Open::Solved(columns), _) => columns.iter().map(|c| self.on_nodes(c)).collect(),
            _ => vec![],
        }
    }

    /// Work of the forces of `products` from the `first` on, on the displacements that will come out, by
    /// right side, N·mm.
    pub fn works(
        &self,
        open: &OpenPrecondition,
        products: &ForceProducts,
        first: usize,
    ) -> Vec<Vec<f64>> {
        match &open.0 {
            Open::Cycle(cycle) => cycle.products(&products.by_cycle, first),
            Open::Solved(columns) => columns
                .iter()
                .map(|x| {
                    let all = products.vectors[first..].iter();
                    all.map(|b| work(b, x)).collect()
                })
                .collect(),
        }
    }

    /// Adds so much of each force of `products` to each right side.
    pub fn push(&self, open: &mut OpenPrecondition, products: &ForceProducts, shares: &[Vec<f64>]) {
        match (&mut open.0, &self.engine) {
            (Open::Cycle(cycle), Engine::Multigrid(two_level)) => {
                cycle.push(&self.team, two_level, &products.by_cycle, shares);
            }
            (Open::Solved(columns), _) => {
                for (x, shares) in columns.iter_mut().zip(shares) {
                    let mut side = vec![[0.0; 3]; self.numbering.rows()];
                    for (b, share) in products.vectors.iter().zip(shares) {
                        for (row, v) in b {
                            (0..3).for_each(|c| side[*row as usize][c] += v[c] * share);
                        }
                    }
                    for (x, more) in x.iter_mut().zip(self.solve_directly(&side)) {
                        (0..3).for_each(|c| x[c] += more[c]);
                    }
                }
            }
            _ => {}
        }
    }

    /// Ends it.
    pub fn close(&self, open: OpenPrecondition) -> Vec<Vec<Vec3>> {
        let columns = match (open.0, &self.engine) {
            (Open::Cycle(cycle), Engine::Multigrid(two_level)) => {
                cycle.close(&self.team, two_level)
            }
            (Open::Solved(columns), _) => columns,
            _ => vec![],
        };
        columns.iter().map(|c| self.on_nodes(c)).collect()
    }

    /// By the factor of the direct method; nothing without one.
    fn solve_directly(&self, side: &NodeVector) -> NodeVector {
        let mut x = interleave::<1>(&[side]);
        if let Engine::Direct(factor) = &self.engine {
            factor.solve(&self.team, &mut x);
        }
        column(&x, 0)
    }

    /// Adds nodal forces on few nodes to `products`; for each its product with what the preconditioner
    /// makes of every one so far, new ones included: a compliance matrix, N·mm for the forces given.
    pub fn add_products(
        &self,
        products: &mut ForceProducts,
        new: Vec<Vec<(u32, Vec3)>>,
    ) -> Vec<Vec<f64>> {
        let rows = new.iter().map(|force| {
            let on_row = |(n, f): &(u32, Vec3)| {
                let row = self.numbering.row_of_node[*n as usize];
                (row != NO_ROW).then(|| (row, (*f).into()))
            };
            force.iter().filter_map(on_row).collect()
        });
        let rows: Vec<SparseVector> = rows.collect();
        match &self.engine {
            Engine::Multigrid(two_level) => products.by_cycle.add(&self.team, two_level, rows),
            Engine::Direct(_) => {
                products.vectors.extend(rows.iter().cloned());
                let solved = rows.iter().map(|side| {
                    let mut all = vec![[0.0; 3]; self.numbering.rows()];
                    for (row, v) in side {
                        all[*row as usize] = *v;
                    }
                    let x = self.solve_directly(&all);
                    products.vectors.iter().map(|b| work(b, &x)).collect()
                });
                solved.collect()
            }
        }
    }

    /// (K + C) u at the free nodes, N; zero at the held ones, whose own motion is not looked at.
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
            let rows: Vec<NodeVector> = group.iter().map(|u| self.on_rows(u)).collect();
            let vectors: Vec<&[[f64; 3]]> = rows.iter().map(Vec::as_slice).collect();
            let x = interleave::<4>(&vectors);
            let mut y = vec![[[0.0; 4]; 3]; x.len()];
            operator.multiply(&self.team, &x, &mut scratch, &mut y);
            forces.extend((0..group.len()).map(|k| self.on_nodes(&column(&y, k))));
        }
        forces
    }

    /// Solves (K + C) u = f for nodal forces (one vector over all mesh nodes for each right side; forces
    /// at held nodes are left to the support).
    ///
    /// # Errors
    /// [`SolveError::NotConverged`], [`SolveError::NotPositiveDefinite`], [`SolveError::NoMemory`].
    pub fn solve_for(&self, forces: &[Vec<Vec3>], ask: &Ask<'_>) -> Result<Answer, SolveError> {
        let start = Instant::now();
        let sides: Vec<NodeVector> = forces.iter().map(|f| self.on_rows(f)).collect();
        let guess: Option<Vec<NodeVector>> = ask
            .guess
            .map(|g| g.iter().map(|u| self.on_rows(u)).collect());
        let tolerance = ask.tolerance.unwrap_or(self.options.tolerance);
        let (columns, convergence) = self.solve_rows(&sides, guess.as_deref(), tolerance)?;
        Ok(Answer {
            displacement: columns.iter().map(|c| self.on_nodes(c)).collect(),
            convergence,
            seconds: start.elapsed().as_secs_f64(),
        })
    }

    fn solve_rows(
        &self,
        sides: &[NodeVector],
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
                conjugate_gradients(&self.team, &operator, two_level, sides, guess, &limits)
            }
            Engine::Direct(factor) => refined_direct(&self.team, &operator, factor, sides, &limits),
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
            .map(|case| {
                let Some((k, factor)) = *case else {
                    return vec![Vec3::zeros(); self.problem.mesh().nodes.len()];
                };
                let mut u = self.on_nodes(&columns[k]);
                u.iter_mut().for_each(|v| *v *= factor);
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

    fn on_rows(&self, nodal: &[Vec3]) -> NodeVector {
        let nodes = self.numbering.node_of_row.iter();
        nodes.map(|&n| nodal[n as usize].into()).collect()
    }

    fn on_nodes(&self, rows: &NodeVector) -> Vec<Vec3> {
        let of_node = self.numbering.row_of_node.iter();
        of_node
            .map(|&r| {
                if r == NO_ROW {
                    Vec3::zeros()
                } else {
                    Vec3::from(rows[r as usize])
                }
            })
            .collect()
    }
}

/// b·x.
fn work(b: &SparseVector, x: &NodeVector) -> f64 {
    b.iter()
        .map(|(row, v)| (0..3).map(|c| v[c] * x[*row as usize][c]).sum::<f64>())
        .sum()
}

/// What the levels hang on.
struct Levels<'a> {
    problem: &'a Problem,
    numbering: &'a Numbering,
    /// What was asked for.
    options: &'a SolveOptions,
    factor_up_to: FactorUpTo,
}

/// Chooses, tells what it will cost, factors or sets up the hierarchy.
fn engine(
    team: &Team,
    stiffness: &Arc<Stiffness>,
    levels: &Levels<'_>,
    report: &mut SolveReport,
    tell: &dyn Fn(&Forecast),
) -> Result<Engine, SparseError> {
    let (elements, added) = (&stiffness.elements, stiffness.added());
    let unknowns = 3 * elements.rows();
    let sides = report.right_sides;
    let asked = levels.options.method;
    let iterative = iterative_seconds(unknowns, sides, levels.options.tolerance);
    let looked_at = match asked {
        Method::Direct => true,
        Method::Auto => unknowns <= ORDERED_UP_TO,
        Method::Multigrid | Method::Aggregation => false,
    };
    let factor = looked_at.then(|| {
        let matrix = fine_matrix(team, levels.problem, levels.numbering, elements);
        let matrix = with_interface(matrix, added);
        let analysis = Analysis::of(&matrix.pattern);
        (direct_seconds(&analysis, unknowns, sides), analysis, matrix)
    });
    let factor = factor.filter(|f| asked == Method::Direct || f.0 <= iterative);
    let seconds = factor.as_ref().map_or(iterative, |f| f.0);
    let tell = |report: &SolveReport| {
        tell(&Forecast {
            method: report.method,
            unknowns,
            right_sides: sides,
            bytes: report.estimated_bytes,
            seconds,
        });
    };
    match factor {
        Some((_, analysis, matrix)) => direct(team, elements, &matrix, analysis, report, &tell),
        None => multigrid(team, stiffness, levels, report, &tell),
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
    tell: &dyn Fn(&SolveReport),
) -> Result<Engine, SparseError> {
    let matrix_bytes = elements.bytes() + matrix.bytes() + matrix.pattern.bytes();
    let vectors = (elements.rows() * report.right_sides * 24 * 4) as u64;
    let scratch = analysis.scratch_bytes(team.threads());
    report.method = Method::Direct;
    report.estimated_bytes = matrix_bytes + analysis.factor_bytes::<f64>() + scratch + vectors;
    tell(report);
    let factor = analysis.factor(team, matrix)?;
    report.used_bytes = matrix_bytes + factor.bytes() + scratch + vectors;
    Ok(Engine::Direct(Box::new(factor)))
}

fn multigrid(
    team: &Team,
    stiffness: &Arc<Stiffness>,
    levels: &Levels<'_>,
    report: &mut SolveReport,
    tell: &dyn Fn(&SolveReport),
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
    tell(report);
    let degree = if prolongation.turns() {
        DEGREE_ABOVE_TURNING
    } else {
        SMOOTHER_DEGREE
    };
    let fine = Arc::clone(stiffness);
    let two_level = TwoLevel::new(team, fine, level.matrix, prolongation, degree)?;
    report.used_bytes = assembled_bytes + two_level.bytes() + at_once;
    Ok(Engine::Multigrid(Box::new(two_level)))
}

/// The coarse level, assembled but not yet set up to be solved.
struct CoarseLevel {
    method: Method,
    matrix: CoarseMatrix,
    prolongation: Arc<Prolongation>,
    /// Of the matrix as assembled.
    matrix_bytes: u64,
    /// Of what solves it, about.
    solver_bytes: u64,
    /// For a while, during set-up.
    scratch_bytes: u64,
}

/// Corners that move, for a factor, if that is what was asked for or is small enough.
fn factored_level(team: &Team, stiffness: &Stiffness, levels: &Levels<'_>) -> Option<CoarseLevel> {
    if !might_be_factored(levels) {
        return None;
    }
    let matrix = linear_matrix(team, stiffness, levels);
    let analysis = affordable_factor(levels, &matrix, team.threads())?;
    Some(CoarseLevel {
        method: Method::Multigrid,
        prolongation: Arc::clone(&levels.numbering.prolongation),
        matrix_bytes: matrix.bytes() + matrix.pattern.bytes(),
        solver_bytes: analysis.factor_bytes::<CoarseNumber>(),
        scratch_bytes: analysis.scratch_bytes(team.threads()),
        matrix: CoarseMatrix::Factored(Box::new(matrix), analysis),
    })
}

/// Corners that turn, where they are few, or else only move, for aggregation.
fn aggregated_level(team: &Team, stiffness: &Stiffness, levels: &Levels<'_>) -> CoarseLevel {
    let (problem, numbering) = (levels.problem, levels.numbering);
    let node = |row: &u32| numbering.node_of_row[*row as usize] as usize;
    let rows = numbering.fine_of_coarse.iter();
    let places = rows.map(|r| problem.mesh().nodes[node(r)].into()).collect();
    let (matrix, prolongation, matrix_bytes, solver_bytes);
    if numbering.fine_of_coarse.len() <= TURNING_UP_TO {
        let (elements, added) = (&stiffness.elements, stiffness.added());
        prolongation = Arc::new(turning_corners(problem, numbering));
        let nodes = turning_matrix(team, problem, numbering, elements, &prolongation, added);
        matrix_bytes = nodes.bytes();
        solver_bytes = TwoLevel::<Stiffness>::aggregated_bytes::<6>(nodes.nodes(), nodes.len());
        matrix = CoarseMatrix::Turning(nodes, places);
    } else {
        prolongation = Arc::clone(&numbering.prolongation);
        let nodes = NodeMatrix::of(team, &linear_matrix(team, stiffness, levels));
        matrix_bytes = nodes.bytes();
        solver_bytes = TwoLevel::<Stiffness>::aggregated_bytes::<3>(nodes.nodes(), nodes.len());
        matrix = CoarseMatrix::Moving(nodes, places);
    }
    CoarseLevel {
        method: Method::Aggregation,
        matrix,
        prolongation,
        matrix_bytes,
        solver_bytes,
        scratch_bytes: 0,
    }
}

/// The matrix of corners that only move, with the interface term in it.
fn linear_matrix(team: &Team, stiffness: &Stiffness, levels: &Levels<'_>) -> SymmetricBlocks {
    let numbering = levels.numbering;
    let coarse = coarse_matrix(team, levels.problem, numbering, &stiffness.elements);
    let term = stiffness
        .added()
        .map(|added| added.coarsened(&numbering.prolongation));
    with_interface(coarse, term.as_ref())
}

/// Can the linear level's factor be what was asked for, or small enough?
fn might_be_factored(levels: &Levels<'_>) -> bool {
    let rows = levels.numbering.fine_of_coarse.len();
    match levels.options.method {
        Method::Aggregation => false,
        Method::Multigrid => true,
        Method::Auto | Method::Direct => rows <= levels.factor_up_to.rows,
    }
}

/// The ordering of the linear level's factor, if that is what was asked for or is small enough.
fn affordable_factor(
    levels: &Levels<'_>,
    coarse: &SymmetricBlocks,
    threads: usize,
) -> Option<Analysis> {
    let analysis = Analysis::of(&coarse.pattern);
    let bytes = analysis.factor_bytes::<CoarseNumber>() + analysis.scratch_bytes(threads);
    let is_asked_for = levels.options.method == Method::Multigrid;
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
