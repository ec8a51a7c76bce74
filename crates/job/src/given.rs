//! Values that a job gives.

use crate::job_error::Spot;
use crate::value::Value;
use std::collections::BTreeMap;

/// A value that the job gives.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Given {
    /// The value.
    pub value: Value,
    /// Place of its key.
    pub spot: Spot,
}

/// Given values, by the paths of their keys.
pub(crate) type AllGiven = BTreeMap<String, Given>;
