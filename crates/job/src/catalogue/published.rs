//! Keys of `[published.NAME]`.

use crate::declare::{Accepts, Declaration, OURS, count, number, text, word};
use crate::handle::{Key, KeyType, OneOf};
use crate::named_path::{ANY, PUBLISHED};
use crate::words::HowRead;
use bicolumn_geometry::Range;

/// Keys of `[published.NAME]`.
#[derive(Debug)]
#[allow(missing_docs)] // each is defined by its declaration
pub struct PublishedKeys {
    pub response: Key<Option<String>>,
    pub case: Key<Option<String>>,
    pub at: Key<Option<String>>,
    pub over: Key<Option<String>>,
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
        fn key<T: KeyType>(
            d: &mut Declaration,
            name: &str,
            accepts: Accepts<T>,
            doc: &str,
        ) -> Key<Option<T>> {
            d.optional(format!("{PUBLISHED}{ANY}.{name}"), accepts, doc, OURS)
        }
        PublishedKeys {
            response: key(
                d,
                "response",
                text(),
                "Published value that the job sets beside the computed one: the response, a column of results.csv. Compared in published.csv and in the report; no result depends on it",
            ),
            case: key(d, "case", text(), "Its load case"),
            at: key(
                d,
                "at",
                text(),
                "The construct: levels of factors that single out one design point, as \"construct.layout = orthogonal\", several joined by \";\"; without it, the job's only point",
            ),
            over: key(
                d,
                "over",
                text(),
                "Another construct, in the same words: the value is the ratio of the response at the first to that at this one",
            ),
            value: key(
                d,
                "value",
                number("", Range::new(-1e9, 1e9)),
                "Published mean, in the unit of the response; a pure number for a ratio",
            ),
            sd: key(
                d,
                "sd",
                number("", Range::new(1e-9, 1e9)),
                "Published standard deviation: without band_percent the computed value must lie within two of the mean",
            ),
            n: key(d, "n", count(1, 10_000), "Number of specimens"),
            band: key(
                d,
                "band_percent",
                number("percent", Range::new(0.1, 900.0)),
                "Band about the published value that the computed one must lie in, per cent of it, stated before the result",
            ),
            source: key(
                d,
                "source",
                text(),
                "Authors, year, journal; table or figure",
            ),
            read_from: key(
                d,
                "read_from",
                word(),
                "Where the value was read; one from memory is shown and decides nothing",
            ),
            not_comparable: key(
                d,
                "not_comparable_because",
                text(),
                "Reason why the two cannot be compared; they are shown, and no verdict is given",
            ),
        }
    }
}
