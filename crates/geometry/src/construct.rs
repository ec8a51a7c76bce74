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
    pub fn build(spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        Construct::on_bone(Arc::new(Bone::build(&spec.bone)?), spec)
    }

    /// Builds and checks a construct on a bone already built from `spec.bone`: the bone takes the time.
    ///
    /// # Errors
    /// As [`Construct::build`].
    pub fn on_bone(bone: Arc<Bone>, spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        if !spec.plates.is_empty() || spec.fracture.is_some() {
            todo!()
        }
        Ok(Construct {
            bone,
            fracture: None,
            plates: Vec::new(),
            screws: Vec::new(),
            notes: Vec::new(),
        })
    }
}
