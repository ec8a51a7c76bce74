//! Bone, fracture, plates and screws together, checked against each other.

use crate::{Bone, ConstructSpec, FractureSpec, GeometryError, Plate, Screw};
use bicolumn_base::Vec3;
use std::sync::Arc;

/// The two planes of a supracondylar gap.
#[derive(Debug, Clone, PartialEq)]
pub struct Fracture {
    /// What was asked for.
    pub spec: FractureSpec,
    /// Middle of the gap on the shaft axis.
    pub centre: Vec3,
    /// Unit normal, pointing proximally.
    pub normal: Vec3,
}

/// A whole construct, free of clashes.
pub struct Construct {
    /// The bone.
    pub bone: Arc<Bone>,
    /// The fracture, if any.
    pub fracture: Option<Fracture>,
    /// The plates.
    pub plates: Vec<Plate>,
    /// The screws, numbered from 1 in order.
    pub screws: Vec<Screw>,
    /// Things worth telling the user: a screw shortened to clear something, potting close to a plate.
    pub notes: Vec<String>,
}

impl Construct {
    /// Builds and checks a construct.
    ///
    /// # Errors
    /// The first thing at fault, with the parts and numbers: see [`GeometryError`].
    pub fn build(_spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        todo!()
    }
}
