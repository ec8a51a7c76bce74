//! The vocabulary that every bicolumn crate shares: vectors, symmetric tensors, part names.
//!
//! # Units, everywhere
//! millimetre, newton, megapascal (= N/mm²), degree; moments N·mm. No other unit enters a function,
//! a file or a message; a quantity's name in a file ends in its unit (`gap_mm`, `torque_nmm`).
//!
//! # Frame, everywhere
//! Right humerus, axes after the ISB humerus convention (Wu et al. 2005, J Biomech 38:981, section
//! 2.3.4): **Y** proximal along the shaft, **X** anterior, **Z** lateral. Origin: midpoint of the
//! flexion axis between the capitellum's centre and the centre of the trochlear groove.
//!
//! ```
//! use bicolumn_base::{SymTensor, Vec3};
//! // 100 MPa of uniaxial tension along the shaft: von Mises equals the stress itself.
//! let s = SymTensor::uniaxial(100.0, Vec3::y());
//! assert!((s.von_mises() - 100.0).abs() < 1e-12);
//! ```

pub mod aabb;
pub mod part;
pub mod shown;
pub mod side;
pub mod tensor;
pub mod unit;
pub mod word;

pub use aabb::Aabb;
pub use part::{Fragment, Part, PlateSite, ScrewNumber, Tissue};
pub use side::BodySide;
pub use tensor::SymTensor;
pub use unit::Unit;
pub use word::Word;

/// A position or a free vector in the bone frame, mm.
pub type Vec3 = nalgebra::Vector3<f64>;

/// A direction.
pub type UnitVec3 = nalgebra::Unit<Vec3>;

/// A 3×3 matrix.
pub type Mat3 = nalgebra::Matrix3<f64>;
