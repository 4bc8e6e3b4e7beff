//! What a search for a blend keeps to where an aim says nothing.

use super::named::named_constants;

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
