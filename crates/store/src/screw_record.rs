//! A screw as it was built, beside its place.

use serde::{Deserialize, Serialize};

/// Hole, direction, length, hold and neighbours of a screw as built.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ScrewAsBuiltRecord {
    /// Hole of its plate, counted from 1 at the proximal end.
    pub hole: Option<usize>,
    /// Distance of that hole's centre from the plate's proximal end along its centre line.
    pub from_end_mm: Option<f64>,
    /// Angle between its axis and that of the hole.
    pub tilt_deg: Option<f64>,
    /// Longest length asked for; null for shaft screws.
    pub longest_asked_mm: Option<f64>,
    /// Cortices that it was to hold in; null where nothing is asked.
    pub cortices_asked: Option<u8>,
    /// How it holds.
    pub hold: String,
    /// The nearest other screw.
    pub nearest_screw: Option<NeighbourRecord>,
    /// The nearest plate that is not its own.
    pub nearest_plate: Option<NeighbourRecord>,
    /// Concessions.
    pub given_up: Vec<ConcessionRecord>,
}

/// A neighbour with its distance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct NeighbourRecord {
    /// Its name.
    pub part: String,
    /// Distance between the surfaces.
    pub distance_mm: f64,
}

/// Departure of a screw from what was asked of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ConcessionRecord {
    /// Its kind, a word.
    pub kind: String,
    /// A clause that the screw's name is the subject of.
    pub words: String,
}

impl ScrewAsBuiltRecord {
    /// Its concessions in words, one after the other; empty where there are none.
    pub fn given_up_words(&self) -> String {
        let words: Vec<&str> = self.given_up.iter().map(|g| g.words.as_str()).collect();
        words.join("; ")
    }
}
