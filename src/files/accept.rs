//! `[powder.accept]`: what lots of the powder are held to.

use super::ScrubFileError;
use super::faults::Faults;
use super::reader::TomlSection;
use super::reader::unit;
use crate::powder::{LotSpec, Tolerance};
use crate::units::Micrometres;

const KEYS: [&str; 10] =
    ["d10_pct", "d10_um", "d50_pct", "d50_um", "d90_pct", "d90_um", "top_um", "over_top_pct", "index_pct", "loss_pct"];

/// Reads what a powder's section says of its lots.
pub(super) fn lot_spec(powder: &TomlSection) -> Result<LotSpec, ScrubFileError> {
    let Some(section) = powder.section("accept")? else { return Ok(LotSpec::default()) };
    let mut faults = Faults::default();
    let d10 = faults.keep(tolerance(&section, "d10_pct", "d10_um"));
    let d50 = faults.keep(tolerance(&section, "d50_pct", "d50_um"));
    let d90 = faults.keep(tolerance(&section, "d90_pct", "d90_um"));
    let top = faults.keep(unit(&section, "top_um", Micrometres::new));
    let over_top = faults.keep(percent(&section, "over_top_pct", true));
    let index = faults.keep(percent(&section, "index_pct", false));
    let loss = faults.keep(percent(&section, "loss_pct", true));
    faults.mistyped(section.only(&KEYS, |_| false), &section);
    let read = || {
        Some(LotSpec {
            percentiles: [d10?, d50?, d90?],
            top_um: top?.map(Micrometres::get),
            over_top_pct: over_top?,
            index_pct: index?,
            loss_pct: loss?,
        })
    };
    faults.end_with(read())
}

fn tolerance(section: &TomlSection, pct: &'static str, um: &'static str) -> Result<Option<Tolerance>, ScrubFileError> {
    section.not_both(pct, um)?;
    let size = unit(section, um, Micrometres::new)?.map(|s| Tolerance::Micrometres(s.get()));
    Ok(percent(section, pct, false)?.map(Tolerance::Percent).or(size))
}

fn percent(section: &TomlSection, key: &'static str, zero: bool) -> Result<Option<f64>, ScrubFileError> {
    let Some(number) = section.number(key)? else { return Ok(None) };
    let fits = number.value.is_finite() && number.value <= 100.0 && (number.value > 0.0 || zero && number.value == 0.0);
    if fits {
        return Ok(Some(number.value));
    }
    let from = if zero { "0" } else { "above 0" };
    Err(section.error_at(number.offset, format!("{key} must be {from} to 100 %, not {}", number.value)))
}
