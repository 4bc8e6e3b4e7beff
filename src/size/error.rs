//! What can be wrong with sizes.

use crate::numerics::pchip::PchipError;
use crate::source::Located;
use crate::units::{UnitError, plain};

/// What can be wrong with a size.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum SizeError {
    /// A size out of range.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// A parameter of a law out of range.
    #[error("{name} must be {allowed}, not {}", plain(*.given))]
    Parameter {
        /// The parameter.
        name: &'static str,
        /// What would be right.
        allowed: &'static str,
        /// What was given.
        given: f64,
    },
    /// Percentiles that fall, repeat, or are too few.
    #[error("{0}")]
    Percentiles(String),
    /// A range with no width, or the wrong way round.
    #[error("{0}")]
    Range(String),
    /// A mesh that the sieve standard does not hold.
    #[error("there is no {mesh} mesh sieve in {series}; {hint}")]
    Mesh {
        /// The mesh as written.
        mesh: String,
        /// The sieve series asked.
        series: &'static str,
        /// The nearest that exists.
        hint: String,
    },
    /// A grit that is in neither series.
    #[error("unknown grit \"{grit}\"; {hint}")]
    Grit {
        /// The grit as written.
        grit: String,
        /// The nearest that exists.
        hint: String,
    },
    /// A text that names no size.
    #[error("{0}")]
    Grade(String),
    /// A measured table that cannot be read.
    #[error(transparent)]
    Table(#[from] Located),
    /// Knots that make no curve.
    #[error("the size curve cannot be drawn through its points: {0}")]
    Curve(#[from] PchipError),
}
