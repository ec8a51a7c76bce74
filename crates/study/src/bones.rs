//! Bones, built once for each set of dimensions and shared by the points of a study.

use crate::shared::Shared;
use bicolumn_geometry::{Bone, BoneSpec, Construct, ConstructSpec, GeometryError};
use std::sync::Arc;

/// Bones kept at a time: some 15 MB each.
const MOST_KEPT: usize = 16;

/// Built bones by their dimensions.
pub struct BoneCache(Shared<Result<Arc<Bone>, GeometryError>>);

impl Default for BoneCache {
    fn default() -> Self {
        BoneCache(Shared::keeping(MOST_KEPT))
    }
}

impl BoneCache {
    /// The bone of these dimensions: built by the first that asks, waited for by the others.
    ///
    /// # Errors
    /// As [`Bone::build`].
    pub fn of(&self, spec: &BoneSpec) -> Result<Arc<Bone>, GeometryError> {
        // The debug form holds every dimension with all its digits.
        self.0
            .get(format!("{spec:?}"), || Bone::build(spec).map(Arc::new))
    }

    /// The construct of a specification, as near as its freedom allows, on its shared bone.
    ///
    /// # Errors
    /// As [`Construct::build`].
    pub fn construct(&self, spec: &ConstructSpec) -> Result<Construct, GeometryError> {
        Construct::on_bones(spec, &|bone| self.of(bone))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn points_share_a_bone_and_other_dimensions_give_another() {
        let bones = BoneCache::default();
        let mut spec = ConstructSpec::intact();
        let first = bones.construct(&spec).unwrap();
        let second = bones.construct(&spec).unwrap();
        assert!(Arc::ptr_eq(&first.bone, &second.bone));
        spec.bone.septum_thickness_mm = f64::NAN;
        assert!(bones.construct(&spec).is_err());
        assert!(bones.of(&spec.bone).is_err());
    }
}
