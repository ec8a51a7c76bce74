//! Keys of `[published.NAME]`.

use crate::declare::{Declaration, count, number, text, word};
use crate::handle::{Key, OneOf};
use crate::named_path::PUBLISHED;
use crate::words::{HowRead, Order};
use bicolumn_geometry::Range;

/// Keys of `[published.NAME]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct PublishedKeys {
    pub response: Key<Option<String>>,
    pub case: Key<Option<String>>,
    pub at: Key<Option<String>>,
    pub over: Key<Option<String>>,
    pub over_response: Key<Option<String>>,
    pub over_case: Key<Option<String>>,
    pub order: Key<Option<OneOf<Order>>>,
    pub untold: Key<Option<String>>,
    pub value: Key<Option<f64>>,
    pub sd: Key<Option<f64>>,
    pub n: Key<Option<usize>>,
    pub band: Key<Option<f64>>,
    pub source: Key<Option<String>>,
    pub read_from: Key<Option<OneOf<HowRead>>>,
    pub not_comparable: Key<Option<String>>,
}

impl PublishedKeys {
    pub(crate) fn declare(d: &mut Declaration) -> PublishedKeys {
        PublishedKeys {
            response: d.named(
                PUBLISHED,
                "response",
                text(),
                "Published value that the job sets beside the computed one: the response, a column of results.csv. Compared in published.csv and in the report; no result depends on it",
            ),
            case: d.named(
                PUBLISHED,
                "case",
                text(),
                "Its load case",
            ),
            at: d.named(
                PUBLISHED,
                "at",
                text(),
                "The construct: levels of factors that single out one design point, as \"construct.layout = orthogonal\", several joined by \";\"; without it, the job's only point",
            ),
            over: d.named(
                PUBLISHED,
                "over",
                text(),
                "Another construct, in the same words: the value is the ratio of the response at the first to that at this one",
            ),
            over_response: d.named(
                PUBLISHED,
                "over_response",
                text(),
                "Another response that divides, of the construct at over or, without it, of the same one",
            ),
            over_case: d.named(
                PUBLISHED,
                "over_case",
                text(),
                "Load case of the value that divides; without it, the same case",
            ),
            order: d.named(
                PUBLISHED,
                "order",
                word(),
                "Published order of the two values by their sizes, in place of value: it holds if the ratio lies on that side of 1 with all of its estimated error",
            ),
            untold: d.named(
                PUBLISHED,
                "untold",
                text(),
                "Factors that the source does not tell, joined by \";\": the computed value is an interval over their levels in the design, and the verdict is given where it is the same at all of them",
            ),
            value: d.named(
                PUBLISHED,
                "value",
                number("", Range::new(-1e9, 1e9)),
                "Published mean, in the unit of the response; a pure number for a ratio",
            ),
            sd: d.named(
                PUBLISHED,
                "sd",
                number("", Range::new(1e-9, 1e9)),
                "Published standard deviation: without band_percent the computed value must lie within two of the mean",
            ),
            n: d.named(
                PUBLISHED,
                "n",
                count(1, 10_000),
                "Number of specimens",
            ),
            band: d.named(
                PUBLISHED,
                "band_percent",
                number("percent", Range::new(0.1, 900.0)),
                "Band about the published value that the computed one must lie in, per cent of it, stated before the result",
            ),
            source: d.named(
                PUBLISHED,
                "source",
                text(),
                "Authors, year, journal; table or figure",
            ),
            read_from: d.named(
                PUBLISHED,
                "read_from",
                word(),
                "Where the value was read; one from memory is shown and decides nothing",
            ),
            not_comparable: d.named(
                PUBLISHED,
                "not_comparable_because",
                text(),
                "Reason why the two cannot be compared; they are shown, and no verdict is given",
            ),
        }
    }
}
