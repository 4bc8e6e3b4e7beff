//! What a search for a blend keeps to where an aim says nothing.

use super::named::named_constants;
use super::{TableError, TableFile};

named_constants! {
    /// What a search for a blend keeps to; the names are the rows of the table.
    AimLimits: "the search for a blend";
    /// No powder of a blend is less of the scrub than this, % w/w.
    least_share_pct,
    /// Nor fewer steps of the balance than this, where a balance is named.
    least_steps,
    /// How close `like` and a single score hold the index, %.
    like_within_pct,
    /// Batch where an aim names none, g.
    batch_g,
}

/// The largest that each may be; beyond it no blend could be found, or the word would mean nothing.
const MOST: [(&str, f64); 3] = [("least_share_pct", 10.0), ("least_steps", 1000.0), ("like_within_pct", 50.0)];

impl AimLimits {
    pub(super) fn checked(file: &TableFile) -> Result<Self, TableError> {
        let limits = Self::read(file)?;
        let values = [limits.least_share_pct, limits.least_steps, limits.like_within_pct];
        match MOST.iter().zip(values).find(|((_, most), value)| value > most) {
            Some(((name, most), value)) => Err(file.error(1, format!("{name} = {value} must be {most} at most"))),
            None => Ok(limits),
        }
    }
}
