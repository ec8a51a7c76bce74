//! The distal humerus as an implicit solid.

use crate::{BoneSpec, Field, GeometryError};
use bicolumn_base::Vec3;

/// The joint surface that a load may act on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ArticularSurface {
    /// The lateral, spherical part, facing the radius.
    Capitellum,
    /// The medial spool, facing the ulna.
    Trochlea,
}

/// The built solid.
pub struct Bone {
    spec: BoneSpec,
}

/// Dimensions measured back from the built solid.
#[derive(Debug, Clone, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Landmarks {
    /// (name, what the card asked for, what the solid has, unit), in card order.
    pub rows: Vec<(String, f64, f64, String)>,
}

impl Bone {
    /// Builds the solid.
    ///
    /// # Errors
    /// [`GeometryError::Dimension`] for an implausible value or combination, with its bound.
    pub fn build(_spec: &BoneSpec) -> Result<Bone, GeometryError> {
        todo!()
    }

    /// What it was built from.
    pub fn spec(&self) -> &BoneSpec {
        &self.spec
    }

    /// The outer surface: negative in bone.
    pub fn outer(&self) -> &dyn Field {
        todo!()
    }

    /// The inner (endosteal) surface: negative in cancellous bone and in the canal.
    pub fn inner(&self) -> &dyn Field {
        todo!()
    }

    /// Which joint surface, if any, a point of the outer surface belongs to, given the outward normal.
    pub fn articular(&self, _x: Vec3, _normal: Vec3) -> Option<ArticularSurface> {
        todo!()
    }

    /// Centre of a joint surface: where its load's resultant passes.
    pub fn articular_centre(&self, _surface: ArticularSurface) -> Vec3 {
        todo!()
    }

    /// Point of the shaft axis at a level above the articular axis.
    pub fn shaft_axis(&self, _level_mm: f64) -> Vec3 {
        todo!()
    }

    /// Dimensions measured back from the solid.
    pub fn landmarks(&self) -> Landmarks {
        todo!()
    }
}
