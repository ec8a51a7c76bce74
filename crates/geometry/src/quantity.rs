//! Quantities of a construct: name, unit and accepted range of every number that a specification holds.
//!
//! The ranges are those of one quantity by itself. Bounds that follow from the other dimensions are checked
//! where the construct is built, and are never wider, but for the upper end of a plate: see
//! [`PlateQuantity::EndLevel`].

use crate::Range;

/// An enumeration of quantities with their field, unit and range.
macro_rules! quantities {
    (
        $(#[$about:meta])* $name:ident {
            $( $(#[$doc:meta])* $variant:ident = $field:ident, $unit:literal, $range:expr; )*
        }
    ) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name {
            $( $(#[$doc])* $variant, )*
        }

        impl $name {
            /// All of them, in the order of the specification.
            pub const ALL: &'static [$name] = &[ $( $name::$variant, )* ];

            /// Name of its field in the specification; it ends in the unit.
            pub const fn name(self) -> &'static str {
                match self { $( $name::$variant => stringify!($field), )* }
            }

            /// Unit: `mm`, `deg`, or none.
            pub const fn unit(self) -> &'static str {
                match self { $( $name::$variant => $unit, )* }
            }

            /// Accepted range, in its unit.
            pub const fn range(self) -> Range {
                match self { $( $name::$variant => $range, )* }
            }
        }
    };
}
pub(crate) use quantities;

quantities! {
    /// Quantities of a [`FractureSpec`](crate::FractureSpec) and of its split.
    FractureQuantity {
        /// Level of the gap's middle on the shaft axis.
        Level = level_mm, "mm", Range::new(20.0, 60.0);
        /// Height of an open gap; zero, beside the range, is a reduced fracture.
        Gap = gap_mm, "mm", Range::new(1.0, 15.0);
        /// Inclination in the coronal plane.
        Inclination = inclination_deg, "deg", Range::about_zero(45.0);
        /// Bone missing at an open split; zero, beside the range, is a split in contact.
        SplitGap = split_gap_mm, "mm", Range::new(1.0, 6.0);
        /// Distance from the trochlear groove at which the split crosses the flexion axis.
        SplitOffset = split_offset_mm, "mm", Range::about_zero(6.0);
        /// Inclination of the split in the coronal plane.
        SplitInclination = split_inclination_deg, "deg", Range::about_zero(30.0);
    }
}

quantities! {
    /// Quantities of a [`PlateSpec`](crate::PlateSpec): of the plate and of its screws.
    PlateQuantity {
        /// Width of the shaft part.
        Width = width_mm, "mm", Range::new(6.0, 13.0);
        /// Width of the distal end.
        DistalWidth = distal_width_mm, "mm", Range::new(6.0, 15.0);
        /// Thickness.
        Thickness = thickness_mm, "mm", Range::new(1.0, 5.0);
        /// Distance between hole centres over the shaft.
        HolePitch = hole_pitch_mm, "mm", Range::new(6.0, 30.0);
        /// Distance between hole centres at the distal end.
        DistalHolePitch = distal_hole_pitch_mm, "mm", Range::new(4.0, 20.0);
        /// Diameter of an empty hole.
        HoleDiameter = hole_diameter_mm, "mm", Range::new(2.0, 8.0);
        /// Gap between plate and bone where they are apart; zero, beside the range, is a plate that touches.
        /// A thinner slit than the range allows cannot be meshed well.
        StandOff = stand_off_mm, "mm", Range::new(0.3, 3.0);
        /// Level of the proximal end. Two plates that are staggered about a mean level within the range may
        /// end above it, as long as they end below the potting.
        EndLevel = end_level_mm, "mm", Range::new(45.0, 250.0);
        /// Level of the most distal screw hole.
        DistalHoleLevel = distal_hole_level_mm, "mm", Range::new(0.0, 40.0);
        /// Screws in the proximal fragment.
        ShaftScrews = shaft_screws, "", Range::new(1.0, 8.0);
        /// Screws in the distal fragment.
        DistalScrews = distal_screws, "", Range::new(1.0, 6.0);
        /// Core diameter of the shaft screws.
        ShaftScrewDiameter = shaft_screw_diameter_mm, "mm", Range::new(1.5, 4.5);
        /// Core diameter of the distal screws.
        DistalScrewDiameter = distal_screw_diameter_mm, "mm", Range::new(1.5, 4.0);
        /// Longest distal screw.
        DistalScrewLength = distal_screw_length_mm, "mm", Range::new(10.0, 80.0);
        /// Length that an empty shaft hole is drawn out by; zero is a round hole.
        Slot = slot_mm, "mm", Range::new(0.0, 5.0);
        /// Distance of the uppermost shaft hole's centre from the proximal end.
        EndDistance = end_distance_mm, "mm", Range::new(4.0, 40.0);
        /// Distance of the innermost shaft hole's centre from the fracture's upper face.
        FractureDistance = fracture_distance_mm, "mm", Range::new(2.0, 60.0);
        /// Angle of the shaft screws to their holes' axes.
        ShaftScrewTilt = shaft_screw_tilt_deg, "deg", Range::about_zero(15.0);
    }
}

quantities! {
    /// Quantities of an [`IndependentScrewSpec`](crate::IndependentScrewSpec).
    IndependentQuantity {
        /// Level at which the axis crosses the sagittal plane of the origin.
        Level = level_mm, "mm", Range::new(-15.0, 60.0);
        /// Distance in front of the articular axis at which it crosses that plane.
        Anterior = anterior_mm, "mm", Range::new(-30.0, 15.0);
        /// Inclination in the coronal plane.
        Inclination = inclination_deg, "deg", Range::about_zero(70.0);
        /// Turn in the transverse plane.
        Turn = turn_deg, "deg", Range::about_zero(45.0);
        /// Core diameter.
        Diameter = diameter_mm, "mm", Range::new(1.5, 4.5);
        /// Longest length.
        Length = length_mm, "mm", Range::new(10.0, 80.0);
    }
}

/// Accepted clearance between screws, mm. The least is what the mesher takes well.
pub const CLEARANCE_MM: Range = Range::new(0.8, 3.0);

#[cfg(test)]
mod tests {
    use super::*;
    use crate::BoneDimension;

    #[test]
    fn every_name_ends_in_its_unit_and_no_range_is_empty() {
        let told = |name: &str, unit: &str, range: Range| {
            let last = name.rsplit('_').next().unwrap();
            assert_eq!(["mm", "deg"].contains(&last), !unit.is_empty(), "{name}");
            assert!(unit.is_empty() || unit == last, "{name}");
            assert!(!range.is_empty(), "{name}");
        };
        for q in BoneDimension::ALL {
            told(q.name(), q.unit(), q.range());
        }
        for q in FractureQuantity::ALL {
            told(q.name(), q.unit(), q.range());
        }
        for q in PlateQuantity::ALL {
            told(q.name(), q.unit(), q.range());
        }
        for q in IndependentQuantity::ALL {
            told(q.name(), q.unit(), q.range());
        }
    }
}
