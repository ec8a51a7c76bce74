//! Cost model: seconds and bytes of every stage by its sizes. The one table of constants that forecasts of a linear
//! solution, of a contact solution and of a whole design point are made of.
//!
//! All constants were fitted on one machine and are fixed: the same job takes the same method, and gives the same bits,
//! everywhere. Seconds are therefore good for telling minutes from hours, no more. The evidence stands in
//! `docs/lab/`; `cargo run --release -p bicolumn-bench --example estimate_table` prints forecasts beside what came.

use bicolumn_sparse::Analysis;

/// Unknowns up to which the factor of the whole matrix is considered: beyond, ordering it takes longer than iterating.
pub(crate) const ORDERED_UP_TO: usize = 20_000;

/// Multiplications a second in a factorisation.
const MULTIPLICATIONS_A_SECOND: f64 = 9.5e9;
/// Ordering and symbolic analysis, seconds an unknown.
const ORDERING_S: f64 = 3e-6;
/// Substitution, seconds for each number of the factor and right-hand side.
const SUBSTITUTION_S: f64 = 1.4e-9;
/// Assembly of element data and load vectors, seconds an unknown.
const ASSEMBLY_S: f64 = 1.1e-6;
/// Set-up of the multigrid hierarchy, seconds an unknown.
const HIERARCHY_S: f64 = 1.9e-6;
/// One iteration of conjugate gradients, seconds an unknown, with one, two, four and eight right-hand sides together.
const ITERATION_S: [f64; 4] = [1.7e-7, 2.0e-7, 2.7e-7, 4.0e-7];
/// Iterations for each power of ten that the residual falls; it begins about a hundred times the load.
const ITERATIONS_A_DIGIT: f64 = 2.3;

/// Iterations of a contact increment, as a rule.
const CONTACT_ITERATIONS: f64 = 22.0;
/// An iteration of contact without its compliances over one of conjugate gradients: a second product with the
/// stiffness, and the vectors of mixing.
const CONTACT_ITERATION: f64 = 1.6;
/// Work on a row of the reduced contact problem, seconds for each unknown of the model.
const CONTACT_ROW_S: f64 = 4.2e-8;
/// Memory of a row of the reduced contact problem beside its compliances, bytes.
const CONTACT_ROW_BYTES: f64 = 24_000.0;
/// Rows of the reduced problem for each contact point, where bonds hold all parts; where interfaces alone hold some, as
/// of screws that are tightened or threaded; and for each point of a thread, all of which are tied.
const ROWS: f64 = 0.66;
const ROWS_FLOATING: f64 = 2.1;
const ROWS_THREADED: f64 = 2.25;

/// Unknowns of the design point that memory and time of whole points were measured at.
const POINT_AT: f64 = 1.40e6;
/// A point's solution over assembly, hierarchy and iterations of its own model: both threads of the machine were at
/// work, and the intact bone is solved besides.
const POINT_SOLVE: f64 = 1.3;
/// All other stages of a point at [`POINT_AT`], s; they grow with the size.
const POINT_OTHER_S: f64 = 12.9;
/// Peak memory of a process at [`POINT_AT`], bytes an unknown, with four different right-hand sides: 1390 with one point
/// at a time, 1290 a point with two; and its growth, measured from 1.29 to 2.17 million unknowns.
const POINT_BYTES: f64 = 1_390.0;
const POINT_BYTES_EXPONENT: f64 = 1.05;
/// Estimates of discretisation errors: bytes an unknown (two points at a time took 6.28 GB in all), and seconds at
/// [`POINT_AT`].
const ERRORS_BYTES: f64 = 850.0;
const ERRORS_S: f64 = 21.0;

/// Seconds and bytes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Cost {
    /// Time on one thread, s.
    pub seconds: f64,
    /// Memory, bytes.
    pub bytes: f64,
}

/// Seconds by the factor of the whole matrix.
pub(crate) fn direct_seconds(analysis: &Analysis, unknowns: usize, sides: usize) -> f64 {
    analysis.multiplications() / MULTIPLICATIONS_A_SECOND
        + ORDERING_S * unknowns as f64
        + SUBSTITUTION_S * analysis.values() as f64 * sides as f64
}

/// Seconds of one iteration for each unknown; right-hand sides go eight at a time.
fn iteration_s(sides: usize) -> f64 {
    let rest = match sides % 8 {
        0 => 0.0,
        1 => ITERATION_S[0],
        2 => ITERATION_S[1],
        3..=4 => ITERATION_S[2],
        _ => ITERATION_S[3],
    };
    (sides / 8) as f64 * ITERATION_S[3] + rest
}

/// Seconds of hierarchy and iterations to a relative residual.
pub(crate) fn iterative_seconds(unknowns: usize, sides: usize, tolerance: f64) -> f64 {
    let digits = 2.0 - tolerance.log10();
    let iterations = ITERATIONS_A_DIGIT * digits;
    (HIERARCHY_S + iterations * iteration_s(sides)) * unknowns as f64
}

/// Sizes of a contact solution.
#[derive(Debug, Clone, Copy)]
pub struct ContactSize {
    /// Unknowns of the model.
    pub unknowns: usize,
    /// Points that can press or are bonded by an interface.
    pub pressing: usize,
    /// Points of threads.
    pub threaded: usize,
    /// Whether interfaces alone hold some parts.
    pub has_floating_parts: bool,
    /// Increments of preload in all steps.
    pub preload_increments: usize,
    /// Increments of the load cases, and the number of cases that are no multiples of each other.
    pub increments: usize,
    /// Load cases.
    pub cases: usize,
}

/// Cost of a contact solution beside the set-up of its preconditioner.
pub fn contact(size: &ContactSize) -> Cost {
    let a_point = if size.has_floating_parts {
        ROWS_FLOATING
    } else {
        ROWS
    };
    let rows = ROWS_THREADED * size.threaded as f64 + a_point * size.pressing as f64;
    let unknowns = size.unknowns as f64;
    let cycles = size.preload_increments as f64 * iteration_s(1)
        + size.increments as f64 * iteration_s(size.cases);
    // The compliances and, for each load case, a factor.
    let dense = 8.0 * rows * rows * (1.0 + size.cases as f64);
    Cost {
        seconds: unknowns
            * (CONTACT_ITERATIONS * CONTACT_ITERATION * cycles + CONTACT_ROW_S * rows),
        bytes: dense + CONTACT_ROW_BYTES * rows,
    }
}

/// Cost of a whole design point whose interfaces neither open nor slide: all stages from geometry to record, for load
/// cases of which `sides` are no multiples of each other, to a relative residual.
pub fn point(unknowns: f64, sides: usize, tolerance: f64) -> Cost {
    let size = unknowns / POINT_AT;
    let solve = ASSEMBLY_S * unknowns + iterative_seconds(unknowns as usize, sides, tolerance);
    Cost {
        seconds: POINT_OTHER_S * size + POINT_SOLVE * solve,
        bytes: POINT_BYTES * POINT_AT * size.powf(POINT_BYTES_EXPONENT),
    }
}

/// Further cost of a point's estimates of its discretisation errors.
pub fn error_estimates(unknowns: f64) -> Cost {
    Cost {
        seconds: ERRORS_S * unknowns / POINT_AT,
        bytes: ERRORS_BYTES * unknowns,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn right_hand_sides_beyond_eight_cost_another_group() {
        let of = |sides| iterative_seconds(1000, sides, 1e-8) - iterative_seconds(1000, 0, 1e-8);
        assert!((of(9) - of(8) - of(1)).abs() < 1e-12);
        assert!((of(16) - 2.0 * of(8)).abs() < 1e-12);
        assert!(of(5) == of(8) && of(2) < of(4));
    }

    #[test]
    fn a_tighter_tolerance_takes_longer_by_the_digits() {
        let of = |tolerance| iterative_seconds(1000, 1, tolerance) - HIERARCHY_S * 1000.0;
        // From a hundred down to 1e-6 are eight digits, to 1e-10 twelve.
        assert!((of(1e-10) / of(1e-6) - 1.5).abs() < 1e-12);
    }

    #[test]
    fn contact_costs_more_than_a_bonded_solution_and_grows_with_its_rows() {
        let size = ContactSize {
            unknowns: 400_000,
            pressing: 1_000,
            threaded: 0,
            has_floating_parts: false,
            preload_increments: 0,
            increments: 1,
            cases: 2,
        };
        let few = contact(&size);
        let more = contact(&ContactSize {
            has_floating_parts: true,
            ..size
        });
        assert!(few.seconds > iterative_seconds(400_000, 2, 1e-7));
        assert!(more.seconds > few.seconds && more.bytes > few.bytes);
    }
}
