//! A published value as the job states it and `study.json` holds it.

use bicolumn_response::ResponseName;
use serde::{Deserialize, Serialize};

/// A published value, as the job states it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PublishedRecord {
    /// Name.
    pub name: String,
    /// Response.
    pub response: ResponseName,
    /// Load case.
    pub case: String,
    /// Factors and their levels at the construct; empty: the only point.
    pub at: Vec<(String, String)>,
    /// The same of the construct whose value divides; `None`: the same construct.
    pub over: Option<Vec<(String, String)>>,
    /// Response that divides; `None`: the same response.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_response: Option<ResponseName>,
    /// Load case of the value that divides; `None`: the same case.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub over_case: Option<String>,
    /// Factors that the source does not tell: the computed value is an interval over their levels.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub untold: Vec<String>,
    /// Published mean; `None` where an order is published.
    pub value: Option<f64>,
    /// Published order of the two values that are compared.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<PublishedOrder>,
    /// Published standard deviation.
    pub sd: Option<f64>,
    /// Number of specimens.
    pub n: Option<usize>,
    /// Band about the value that the computed one must lie in, per cent.
    pub band_percent: Option<f64>,
    /// Source.
    pub source: String,
    /// Where it was read: `table`, `text`, `figure`, `memory`.
    pub read_from: String,
    /// Reason why the two cannot be compared.
    pub not_comparable: Option<String>,
}

impl PublishedRecord {
    /// Is it about two values, as a ratio or an order?
    pub fn is_of_two(&self) -> bool {
        self.over.is_some() || self.over_response.is_some() || self.over_case.is_some()
    }
}

/// Published order of two values, by their sizes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PublishedOrder {
    /// The first is the greater.
    Greater,
    /// The first is the smaller.
    Smaller,
}

impl PublishedOrder {
    /// The order in a word.
    pub fn told(self) -> &'static str {
        match self {
            PublishedOrder::Greater => "greater",
            PublishedOrder::Smaller => "smaller",
        }
    }
}
