//! What can go wrong in the mesher.

use crate::RegionFeature;
use thiserror::Error;

/// A mesh that did not pass a gate.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum MeshError {
    /// A gate failed on every try.
    #[error("no valid mesh: {gate}: {detail}")]
    Gate {
        /// Which gate.
        gate: &'static str,
        /// What was found, with a place in mm.
        detail: String,
    },
    /// More surfaces than the provenance word can hold.
    #[error("the construct has {found} surfaces, the mesher takes {limit}")]
    TooManySurfaces {
        /// How many there are.
        found: usize,
        /// How many fit.
        limit: usize,
    },
    /// A region round a feature that the construct does not have.
    #[error(
        "region {region}: this construct has no {feature}; it has {}",
        listed(exist)
    )]
    NoSuchFeature {
        /// The region's name.
        region: String,
        /// What it lies round.
        feature: RegionFeature,
        /// The features that there are.
        exist: Vec<RegionFeature>,
    },
    /// A size field that leaves out a part of the construct.
    #[error(
        "the size field covers {} mm, the construct reaches {} mm",
        between(covered_mm),
        between(needed_mm)
    )]
    SizeFieldTooSmall {
        /// Lower and upper corner of the field's grid.
        covered_mm: [[f64; 3]; 2],
        /// Those of the box that it must cover.
        needed_mm: [[f64; 3]; 2],
    },
}

fn listed(features: &[RegionFeature]) -> String {
    if features.is_empty() {
        return "none".into();
    }
    let names: Vec<String> = features.iter().map(ToString::to_string).collect();
    names.join(", ")
}

fn between(corners: &[[f64; 3]; 2]) -> String {
    let [from, to] = corners.map(|c| format!("({:.1}, {:.1}, {:.1})", c[0], c[1], c[2]));
    format!("from {from} to {to}")
}
