//! Ranges beside values: `KEY_low` and `KEY_high`.

use super::ScrubFileError;
use super::reader::TomlSection;
use crate::powder::{Powder, Range, SizeRange, from_mohs};
use crate::source::{Fault, folded};
use crate::tables::Tables;
use crate::units::{Gigapascals, GramsPerCm3, Micrometres, Mohs, Roundness};

/// Keys of the ranges of a powder's properties.
pub(super) const RANGE_KEYS: [&str; 8] = [
    "density_g_cm3_low",
    "density_g_cm3_high",
    "hardness_gpa_low",
    "hardness_gpa_high",
    "mohs_low",
    "mohs_high",
    "roundness_low",
    "roundness_high",
];

/// The key that a range key is about.
pub(super) fn ranged_key(key: &str) -> Option<&str> {
    key.strip_suffix("_low").or_else(|| key.strip_suffix("_high"))
}

/// The range beside a value: both ends or neither, with the value between them.
pub(super) fn range<T, E: ToString>(
    section: &TomlSection,
    key: &str,
    value: Option<f64>,
    new: impl Fn(f64) -> Result<T, E>,
) -> Result<Option<Range>, ScrubFileError> {
    let (low_key, high_key) = (format!("{key}_low"), format!("{key}_high"));
    let (low, high) = match (section.number(&low_key)?, section.number(&high_key)?) {
        (None, None) => return Ok(None),
        (Some(low), Some(high)) => (low, high),
        (Some(at), None) => return Err(section.error_at(at.offset, format!("{low_key} needs {high_key} beside it"))),
        (None, Some(at)) => return Err(section.error_at(at.offset, format!("{high_key} needs {low_key} beside it"))),
    };
    let Some(value) = value else {
        let problem = format!("{low_key} and {high_key} are a range around {key}, which is missing; add it");
        return Err(section.error_at(low.offset, problem));
    };
    for (end, name) in [(low, &low_key), (high, &high_key)] {
        new(end.value).map_err(|e| section.error_at(end.offset, format!("{name}: {}", e.to_string())))?;
    }
    let outside = |at: usize, name: &str, end: f64, side: &str| {
        Err(section.error_at(at, format!("{name} = {end} is {side} {key} = {value}; a range holds its value")))
    };
    if low.value > value {
        return outside(low.offset, &low_key, low.value, "above");
    }
    if high.value < value {
        return outside(high.offset, &high_key, high.value, "below");
    }
    Ok(Some(Range { low: low.value, high: high.value }))
}

/// Reads the ranges of a powder's properties. `roundness_class` gives the bounds of the class where no range stands.
pub(super) fn read_ranges(section: &TomlSection, powder: &mut Powder, tables: &Tables) -> Result<(), ScrubFileError> {
    // A range may also stand around the value of the material: whoever knows the range need not repeat the table.
    let mohs = range(section, "mohs", powder.mohs, Mohs::new)?;
    let to_gpa = |m: f64| Mohs::new(m).map_or(0.0, |m| from_mohs(&tables.mohs, m));
    let class = section.text("roundness_class")?.map(|c| folded(&c.value));
    let class = class.and_then(|c| tables.roundness.iter().find(|r| r.class == c));
    let (density, hardness, roundness) = (powder.density.get(), powder.hardness.get(), powder.roundness.get());
    powder.density.range = range(section, "density_g_cm3", Some(density), GramsPerCm3::new)?;
    powder.hardness.range = range(section, "hardness_gpa", Some(hardness), Gigapascals::new)?
        .or(mohs.map(|m| Range { low: to_gpa(m.low), high: to_gpa(m.high) }));
    powder.roundness.range = range(section, "roundness", Some(roundness), Roundness::new)?
        .or(class.map(|c| Range { low: c.low, high: c.high }));
    if let Some(Ok(size)) = section.section_or_text("size")? {
        powder.size_ranges = of_size(&size)?;
    }
    Ok(())
}

/// The ranges of the numbers of a size.
fn of_size(size: &TomlSection) -> Result<Vec<SizeRange>, ScrubFileError> {
    let mut ranges: Vec<SizeRange> = Vec::new();
    for key in size.keys_where(|key| ranged_key(key).is_some()) {
        let key = ranged_key(&key).unwrap_or_default();
        if ranges.iter().any(|r| r.key == key) {
            continue;
        }
        let value = size.number(key)?.map(|v| v.value);
        if let (Some(value), Some(range)) = (value, range(size, key, value, |v| fits(key, v))?) {
            ranges.push(SizeRange { key: key.to_owned(), value, range });
        }
    }
    Ok(ranges)
}

/// Whether a number can be that of a size key.
fn fits(key: &str, value: f64) -> Result<(), Fault> {
    let (least, most) = match key {
        "gsd" => (1.000_001, 20.0),
        "rr_exponent" | "ggs_exponent" => (0.05, 100.0),
        "undersize_pct" | "oversize_pct" => (0.1, 40.0),
        _ => return Micrometres::new(value).map(|_| ()).map_err(|e| e.to_string().into()),
    };
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(format!("must lie between {least} and {most}, not {value}").into())
    }
}
