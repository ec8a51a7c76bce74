//! Quantities that were moved so that a construct could be built, under their job keys.

use bicolumn_geometry::{Construct, Moved};
use bicolumn_job::PointInputs;
use bicolumn_store::MovedRecord;

/// Moved quantities of a construct; one without a job key has none to be told under.
pub(crate) fn moved(construct: &Construct, inputs: &PointInputs) -> Vec<MovedRecord> {
    // To a millionth: values that were added up carry rounding.
    let rounded = |x: f64| (1e6 * x).round() / 1e6;
    let record = |m: &Moved| {
        let key = inputs.quantity_keys.get(&m.subject)?;
        Some(MovedRecord {
            key: key.path.clone(),
            unit: m.subject.unit().into(),
            stated: rounded(m.asked),
            built: rounded(m.built),
            is_derived: m.is_derived,
            factors: key.factors.clone(),
        })
    };
    construct.moved.iter().filter_map(record).collect()
}
