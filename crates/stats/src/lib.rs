//! Effects of the factors of a designed experiment on a response: main effects, interactions of two factors and
//! their shares of the variation.
//!
//! Designs: [`Fraction`], [`plackett_burman`], [`definitive_screening`], [`box_behnken`], [`face_centred`], [`CentralComposite`]
//! give levels by point.
//!
//! [`random_points`], [`latin_hypercube`] and [`halton`] draw points between the ends of factors.
//!
//! Doors: [`regress`] fits a linear model to numerical factors; [`analyse`] takes a [`Design`] and the response at each of its points and gives a [`Variation`].
//!
//! Models over a [`Space`]: [`ResponseSurface`] and [`GaussianProcess`], both a [`Predictor`]; from one follow
//! [`sobol_indices`] and the [`optimum`]. [`pareto_front`] weighs several responses.
//!
//! A computed response has no sampling error: the same point gives the same number again. So there are sums of
//! squares, shares and sizes here; how large an effect must be to be more than the error of the computation is the caller's to
//! say, and probabilities there are only against the scatter of replicates on other meshes ([`pure_error`], [`f_probability`]).
//!
//! # Known limits
//! [`analyse`] takes factors by their levels, numbers too; [`regress`] is linear: no curvature.
//! Interactions of three factors and more
//! are left in the rest.
#![cfg_attr(test, allow(clippy::unwrap_used))]

mod curvature;
mod definitive;
mod design;
mod factorial;
mod fit;
mod fraction;
mod gaussian_process;
mod nelder_mead;
mod optimum;
mod pareto;
mod pure_error;
mod regression;
mod response_surface;
mod sampling;
mod screening;
mod sobol;
mod space;
mod variation;

pub use curvature::{CentralComposite, Core, box_behnken, face_centred};
pub use definitive::{DefinitiveScreening, MOST_DEFINITIVE, definitive_screening};
pub use design::{Design, DesignError};
pub use factorial::{full_factorial, one_at_a_time};
pub use fraction::{Fraction, FractionError, MOST_FACTORS};
pub use gaussian_process::{Covariance, GaussianProcess};
pub use optimum::{Optimum, optimum};
pub use pareto::pareto_front;
pub use pure_error::{f_probability, pure_error};
pub use regression::{Coefficient, Regression, regress};
pub use response_surface::{Degree, ResponseSurface};
pub use sampling::{Between, MOST_SEQUENCED, halton, latin_hypercube, random_points};
pub use screening::{MOST_SCREENED, plackett_burman};
pub use sobol::{Index, Indices, sobol_indices};
pub use space::{Axis, Prediction, Predictor, Space};
pub use variation::{Line, Rest, Term, Variation, analyse};
