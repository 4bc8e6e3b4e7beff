//! Powers' roundness classes to a Wadell roundness.

use super::PowderError;
use crate::source::{did_you_mean, folded};
use crate::tables::RoundnessRow;
use crate::units::Roundness;

/// The roundness that stands for a class (the geometric mean of its bounds, as Powers 1953 has it).
///
/// # Errors
/// [`PowderError::Class`], naming the nearest class.
pub fn of_class(classes: &[RoundnessRow], class: &str) -> Result<Roundness, PowderError> {
    let wanted = folded(class);
    let unknown = || PowderError::Class {
        class: class.to_owned(),
        hint: did_you_mean(&wanted, classes.iter().map(|c| c.class.as_str())),
    };
    let row = classes.iter().find(|c| c.class == wanted).ok_or_else(unknown)?;
    Roundness::new(row.roundness).map_err(|_| unknown())
}
