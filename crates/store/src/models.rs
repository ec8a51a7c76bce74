//! Fitted models of a study: `models.json`.

use crate::record::FactorValue;
use bicolumn_response::ResponseName;
use serde::{Deserialize, Serialize};

/// `models.json`: models of the headline response over the factors, one a load case.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelsRecord {
    /// Layout of the file.
    pub schema: u32,
    /// Version of the program that computed the points.
    pub engine_version: String,
    /// Response.
    pub response: ResponseName,
    /// Its unit.
    pub unit: String,
    /// Factors, in the order of the points' coordinates.
    pub factors: Vec<ModelFactor>,
    /// Models.
    pub models: Vec<ModelRecord>,
}

/// Factor of the models.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelFactor {
    /// Key of the job.
    pub key: String,
    /// Range, or levels.
    pub over: ModelRange,
}

/// Values of a factor that the models hold for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ModelRange {
    /// Lower and upper end of a number.
    Between([f64; 2]),
    /// Levels of what is no number; coordinates are their places in this list, counted from 0.
    Levels(Vec<FactorValue>),
}

/// Form of a model.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ModelForm {
    /// Least squares, each factor by itself.
    Linear,
    /// Least squares with squares and products of two factors.
    Quadratic,
    /// Gaussian process.
    GaussianProcess {
        /// By factor: reach of a number in parts of its range, correlation between levels of a word.
        reach: Vec<f64>,
        /// Variance of what differs from mesh to mesh, over that of the function.
        nugget: f64,
    },
}

/// Model of a load case: that form which predicts points left out best, and the points that it is fitted to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ModelRecord {
    /// Load case.
    pub case: String,
    /// Form.
    pub form: ModelForm,
    /// Share of the variation that it predicts at points left out, Q².
    pub q2: f64,
    /// Ids of the points.
    pub ids: Vec<String>,
    /// Coordinates of the points by factor.
    pub points: Vec<Vec<f64>>,
    /// Response at the points.
    pub values: Vec<f64>,
}
