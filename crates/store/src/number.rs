//! Numbers of a solver's report that need not be finite: a case that did not converge may end with none. JSON
//! has no such number; it is stored as `null` and read back as not a number.

use serde::{Deserialize, Deserializer, Serialize, Serializer};

pub(crate) fn serialize<S: Serializer>(value: &f64, serializer: S) -> Result<S::Ok, S::Error> {
    value.serialize(serializer)
}

pub(crate) fn deserialize<'de, D: Deserializer<'de>>(deserializer: D) -> Result<f64, D::Error> {
    Ok(Option::<f64>::deserialize(deserializer)?.unwrap_or(f64::NAN))
}

/// Lists of such numbers.
pub(crate) mod list {
    use super::{Deserialize, Deserializer, Serialize, Serializer};

    pub(crate) fn serialize<S: Serializer>(
        values: &[f64],
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        values.serialize(serializer)
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Vec<f64>, D::Error> {
        let values = Vec::<Option<f64>>::deserialize(deserializer)?;
        Ok(values.into_iter().map(|v| v.unwrap_or(f64::NAN)).collect())
    }
}

#[cfg(test)]
mod tests {
    #[derive(Debug, serde::Serialize, serde::Deserialize)]
    struct Report {
        #[serde(with = "crate::number")]
        residual: f64,
        #[serde(with = "crate::number::list")]
        history: Vec<f64>,
    }

    #[test]
    fn a_number_that_is_not_finite_is_null_and_none_when_read() {
        let report = Report {
            residual: f64::INFINITY,
            history: vec![1.0, f64::NAN],
        };
        let text = serde_json::to_string(&report).unwrap();
        assert_eq!(text, r#"{"residual":null,"history":[1.0,null]}"#);
        let read: Report = serde_json::from_str(&text).unwrap();
        assert!(read.residual.is_nan() && read.history[1].is_nan());
        assert_eq!(read.history[0], 1.0);
    }
}
