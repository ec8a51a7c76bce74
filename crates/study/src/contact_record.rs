//! The record of how contact was solved.

use bicolumn_contact::{CaseReport, Status};
use bicolumn_store::ContactRecord;

/// Record of a case's or a step's report.
pub(crate) fn contact_record(report: &CaseReport) -> ContactRecord {
    ContactRecord {
        converged: report.is_converged(),
        reason: match &report.status {
            Status::Converged => None,
            Status::NotConverged { reason } => Some(reason.clone()),
        },
        report: serde_json::to_value(report).unwrap_or(serde_json::Value::Null),
    }
}
