//! One powder described by measured tables of it.

use crate::lots::lot::{LotError, LotTable};
use crate::lots::repeats::Repeats;
use crate::report::MeasuredTablesPart;
use crate::size::SizeRecord;
use crate::tables::Tables;

/// The mean of tables that are repeats of each other, and how well it is known. `sieve_mm` is the frame of the sieves; the acceptance
/// table's where it is not said.
///
/// # Errors
/// [`LotError`] without a table, or when the tables make no mean curve.
pub fn measured(
    tables_of_it: &[LotTable],
    sieve_mm: Option<f64>,
    tables: &Tables,
) -> Result<(SizeRecord, MeasuredTablesPart), LotError> {
    let repeats = Repeats::of(tables_of_it, sieve_mm, tables)?;
    let measurement = MeasuredTablesPart::new(tables_of_it, &repeats, tables);
    Ok((repeats.mean, measurement))
}
