//! Responses of the fracture's motion: relative displacement of its faces.

use crate::row::ErrorEstimation::RelativeMotion;
use crate::row::family;

/// Region of the matched fracture faces that a motion is averaged over.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum FaceRegion {
    /// Medial quarter of the width.
    Medial,
    /// Lateral quarter of the width.
    Lateral,
    /// Anterior quarter of the depth.
    Anterior,
    /// Posterior quarter of the depth.
    Posterior,
    /// Whole matched face.
    Whole,
}

impl FaceRegion {
    /// All regions, in column order.
    pub const ALL: [FaceRegion; 5] = [
        FaceRegion::Medial,
        FaceRegion::Lateral,
        FaceRegion::Anterior,
        FaceRegion::Posterior,
        FaceRegion::Whole,
    ];
}

/// Axis of a relative rotation of the fracture faces.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum MotionAxis {
    /// Fracture normal.
    Axial,
    /// Lateral axis in the fracture plane.
    Sagittal,
    /// Anterior axis in the fracture plane.
    Coronal,
}

impl MotionAxis {
    /// All axes, in column order.
    pub const ALL: [MotionAxis; 3] = [MotionAxis::Axial, MotionAxis::Sagittal, MotionAxis::Coronal];
}

family! {
    /// Interfragmentary motion and strain.
    Motion {
        AxialMedial: "motion_axial_medial_mm", Mm,
            "Interfragmentary axial motion at the medial column: relative displacement of the fracture faces along the fracture normal, closing negative, rigid motion (translation and rotation) of the proximal face removed; points of the distal face matched straight across the gap; area-weighted mean over the medial quarter of the matched face's width.",
            words("axial motion, medial"), head("axial, medial"), estimated_by(RelativeMotion);
        AxialLateral: "motion_axial_lateral_mm", Mm,
            "As motion_axial_medial_mm, over the lateral quarter.",
            words("axial motion, lateral"), head("axial, lateral"), estimated_by(RelativeMotion);
        AxialAnterior: "motion_axial_anterior_mm", Mm,
            "As motion_axial_medial_mm, over the anterior quarter of the matched face's depth.",
            estimated_by(RelativeMotion);
        AxialPosterior: "motion_axial_posterior_mm", Mm,
            "As motion_axial_medial_mm, over the posterior quarter of the matched face's depth.",
            estimated_by(RelativeMotion);
        AxialMean: "motion_axial_mean_mm", Mm,
            "As motion_axial_medial_mm, over the whole matched face.",
            estimated_by(RelativeMotion);
        AxialMax: "motion_axial_max_mm", Mm,
            "Axial motion of largest size over the matched face, with its sign.",
            estimated_by(RelativeMotion);
        ShearMedial: "motion_shear_medial_mm", Mm,
            "Interfragmentary shear at the medial column: size of the relative displacement in the fracture plane, matched and averaged as motion_axial_medial_mm.",
            words("shear motion, medial"), head("shear, medial"), estimated_by(RelativeMotion);
        ShearLateral: "motion_shear_lateral_mm", Mm,
            "As motion_shear_medial_mm, over the lateral quarter.",
            words("shear motion, lateral"), head("shear, lateral"), estimated_by(RelativeMotion);
        ShearAnterior: "motion_shear_anterior_mm", Mm,
            "As motion_shear_medial_mm, over the anterior quarter.",
            estimated_by(RelativeMotion);
        ShearPosterior: "motion_shear_posterior_mm", Mm,
            "As motion_shear_medial_mm, over the posterior quarter.",
            estimated_by(RelativeMotion);
        ShearMean: "motion_shear_mean_mm", Mm,
            "As motion_shear_medial_mm, over the whole matched face.",
            estimated_by(RelativeMotion);
        ShearMax: "motion_shear_max_mm", Mm,
            "Largest shear over the matched face.",
            estimated_by(RelativeMotion);
        RotationAxial: "motion_rotation_axial_deg", Deg,
            "Rotation of the distal fracture face against the proximal one (difference of the two best-fit rigid rotations) about the fracture normal, which points proximally; right-hand rule on a right bone, its mirror image on a left one.",
            estimated_by(RelativeMotion);
        RotationSagittal: "motion_rotation_sagittal_deg", Deg,
            "The same about the lateral axis in the fracture plane (flexion and extension).",
            estimated_by(RelativeMotion);
        RotationCoronal: "motion_rotation_coronal_deg", Deg,
            "The same about the anterior axis in the fracture plane (varus and valgus).",
            estimated_by(RelativeMotion);
        StrainMedial: "strain_axial_medial_percent", Percent,
            "Interfragmentary strain: 100 * motion_axial_medial_mm / gap height; closing negative.",
            estimated_by(RelativeMotion);
        StrainLateral: "strain_axial_lateral_percent", Percent,
            "100 * motion_axial_lateral_mm / gap height.",
            estimated_by(RelativeMotion);
        StrainMean: "strain_axial_mean_percent", Percent,
            "100 * motion_axial_mean_mm / gap height.",
            estimated_by(RelativeMotion);
    }
}

impl Motion {
    /// Mean axial motion over a region.
    pub const fn axial(region: FaceRegion) -> Motion {
        match region {
            FaceRegion::Medial => Motion::AxialMedial,
            FaceRegion::Lateral => Motion::AxialLateral,
            FaceRegion::Anterior => Motion::AxialAnterior,
            FaceRegion::Posterior => Motion::AxialPosterior,
            FaceRegion::Whole => Motion::AxialMean,
        }
    }

    /// Mean shear over a region.
    pub const fn shear(region: FaceRegion) -> Motion {
        match region {
            FaceRegion::Medial => Motion::ShearMedial,
            FaceRegion::Lateral => Motion::ShearLateral,
            FaceRegion::Anterior => Motion::ShearAnterior,
            FaceRegion::Posterior => Motion::ShearPosterior,
            FaceRegion::Whole => Motion::ShearMean,
        }
    }

    /// Mean axial strain over a region; `None` for a region across the bone's depth, which has no column.
    pub const fn strain(region: FaceRegion) -> Option<Motion> {
        match region {
            FaceRegion::Medial => Some(Motion::StrainMedial),
            FaceRegion::Lateral => Some(Motion::StrainLateral),
            FaceRegion::Anterior | FaceRegion::Posterior => None,
            FaceRegion::Whole => Some(Motion::StrainMean),
        }
    }

    /// Relative rotation about an axis.
    pub const fn rotation(axis: MotionAxis) -> Motion {
        match axis {
            MotionAxis::Axial => Motion::RotationAxial,
            MotionAxis::Sagittal => Motion::RotationSagittal,
            MotionAxis::Coronal => Motion::RotationCoronal,
        }
    }
}
