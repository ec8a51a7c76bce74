//! Keys of `[hypothesis]` and `[hypothesis.NAME]`.

use crate::declare::{Declaration, OURS, is, number, text, word};
use crate::handle::{Key, OneOf};
use crate::named_path::HYPOTHESES;
use crate::words::Direction;
use bicolumn_geometry::Range;

/// Keys of `[hypothesis]`: one claim about the headline; `named`: claims under names.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct HypothesisKeys {
    pub baseline_is: Key<Option<OneOf<Direction>>>,
    pub least_distance: Key<f64>,
    pub least_difference: Key<f64>,
    pub named: NamedHypothesisKeys,
}

/// Keys of `[hypothesis.NAME]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct NamedHypothesisKeys {
    pub response: Key<Option<String>>,
    pub baseline_is: Key<Option<OneOf<Direction>>>,
    pub over: Key<Option<String>>,
    pub by: Key<Option<String>>,
    pub at: Key<Option<String>>,
    pub case: Key<Option<String>>,
    pub least_distance: Key<Option<f64>>,
    pub least_difference: Key<Option<f64>>,
}

/// The smallest difference that matters where the job names none, per cent.
pub(crate) const LEAST_DIFFERENCE_PERCENT: f64 = 10.0;

impl HypothesisKeys {
    pub(crate) fn declare(d: &mut Declaration) -> HypothesisKeys {
        HypothesisKeys {
            baseline_is: d.optional(
                "hypothesis.baseline_is",
                word(),
                "The hypothesis: the headline is higher, or lower, at the baseline of run.over (zero, otherwise the first level) than at each level that counts; the report opens with its verdict. Several hypotheses: [hypothesis.NAME]",
                OURS,
            ),
            least_distance: d.key(
                "hypothesis.least_distance",
                number("", Range::new(0.0, 1e4)),
                is(0.0),
                "Levels of run.over nearer than this to the baseline do not count; in the factor's own unit",
                OURS,
            ),
            least_difference: d.key(
                "hypothesis.least_difference_percent",
                number("percent", Range::new(0.0, 1000.0)),
                is(LEAST_DIFFERENCE_PERCENT),
                "The smallest difference that matters, in per cent of the headline's value at the baseline",
                "choice of this program: some ten times the mesh noise of the stresses",
            ),
            named: NamedHypothesisKeys::declare(d),
        }
    }
}

impl NamedHypothesisKeys {
    fn declare(d: &mut Declaration) -> NamedHypothesisKeys {
        NamedHypothesisKeys {
            baseline_is: d.named(
                HYPOTHESES,
                "baseline_is",
                word(),
                "Hypothesis that the job names, one of several: at the baseline of a factor (zero, otherwise its first level) the response is higher, or lower, than at each level that counts; the report opens with the verdicts of all",
            ),
            response: d.named(
                HYPOTHESES,
                "response",
                text(),
                "Its response, a column of results.csv; without it, run.headline",
            ),
            over: d.named(
                HYPOTHESES,
                "over",
                text(),
                "Factor whose levels it compares at equal other factors; without it, that of the headline. \"construct.layout\" compares constructs",
            ),
            by: d.named(
                HYPOTHESES,
                "by",
                text(),
                "Factor at each of whose levels it is judged apart; without it, that of the headline, where this is another than over",
            ),
            at: d.named(
                HYPOTHESES,
                "at",
                text(),
                "Points that it is about: levels of factors, as \"construct.layout = orthogonal\", several joined by \";\"; without it, all",
            ),
            case: d.named(
                HYPOTHESES,
                "case",
                text(),
                "Load case that it is about; without it, each",
            ),
            least_distance: d.named(
                HYPOTHESES,
                "least_distance",
                number("", Range::new(0.0, 1e4)),
                "Levels nearer than this to the baseline do not count; in the factor's own unit. Without it, every other level counts",
            ),
            least_difference: d.named(
                HYPOTHESES,
                "least_difference_percent",
                number("percent", Range::new(0.0, 1000.0)),
                "The smallest difference that matters, in per cent of the response's value at the baseline; without it, 10",
            ),
        }
    }
}
