//! Slips of units that read as values: asked about with both readings, and taken where the file says that they are meant.

use super::ScrubFileError;
use super::reader::TomlSection;
use crate::numerics::written::three;
use crate::powder::Hardness;
use crate::size::SizeRecord;
use crate::tables::{Known, Material};
use crate::units::{Gigapascals, GramsPerCm3, LoadPercent};

/// Keys that say so, of a powder.
pub(super) const MEANT_KEYS: [&str; 3] = ["size_is_meant", "density_is_meant", "hardness_is_meant"];
/// And of a scrub.
pub(super) const LOAD_IS_MEANT: &str = "load_is_meant";

/// A load under this is taken for a fraction, %.
pub(super) const LEAST_LOAD_PCT: f64 = 0.1;
/// A powder all but wholly finer than this does not scrub, µm: its sizes are taken for mm.
const LEAST_D99_UM: f64 = 5.0;
/// No powder of a scrub is coarser than this by half, µm: its sizes were multiplied once too often.
const MOST_D50_UM: f64 = 5_000.0;
/// Nor has it hundredths coarser than this, µm: it is too wide.
const MOST_D99_UM: f64 = 20_000.0;
/// What no grain of a scrub is harder than, GPa: silicon carbide has 25 to 30.
const HARDEST_GPA: f64 = 30.0;
/// How far beyond the range of its material a hardness may lie, as a factor.
const HARDER: f64 = 10.0;

/// Refuses at a key unless its second key says that it is meant.
fn asked(section: &TomlSection, key: &str, meant: &str, what: String) -> Result<(), ScrubFileError> {
    if section.flag(meant)? == Some(true) {
        return Ok(());
    }
    Err(section.error_at(section.offset_of(key), format!("{what}; if it is meant, write {meant} = true beside it")))
}

/// A load that may be a fraction.
pub(super) fn load(head: &TomlSection, load: LoadPercent) -> Result<(), ScrubFileError> {
    if load.get() >= LEAST_LOAD_PCT {
        return Ok(());
    }
    let said = plain(load.get());
    let percent = plain(100.0 * load.get());
    let what = format!("powder_load_pct = {said} is {said} % of the scrub: if a fraction is meant, write {percent}");
    asked(head, "powder_load_pct", LOAD_IS_MEANT, what)
}

/// Sizes that may be in mm, or not.
pub(super) fn size(powder: &TomlSection, size: &SizeRecord) -> Result<(), ScrubFileError> {
    let [d50, d99] = [0.5, 0.99].map(|share| size.distribution.quantile(share));
    if d50 > MOST_D50_UM {
        let mm = three(d50 / 1000.0);
        let what = format!("size: half of the powder would be coarser than {mm} mm, which is gravel: {mm} µm, not mm?");
        return asked(powder, "size", "size_is_meant", what);
    }
    if d99 > MOST_D99_UM {
        let mm = three(d99 / 1000.0);
        let what = format!("size: a hundredth of the powder would be coarser than {mm} mm: is the spread too wide?");
        return asked(powder, "size", "size_is_meant", what);
    }
    if d99 >= LEAST_D99_UM {
        return Ok(());
    }
    let what = format!(
        "size: all but 1 % of the powder would be finer than {} µm, which does not scrub: µm, not mm? 0.3 mm is 300, 0.7 mm is 700",
        three(d99)
    );
    asked(powder, "size", "size_is_meant", what)
}

/// A density that may be that of the heap, or in kg/m³.
pub(super) fn density(
    powder: &TomlSection,
    given: Option<GramsPerCm3>,
    material: Option<&Material>,
) -> Result<(), ScrubFileError> {
    let (Some(given), Some(m)) = (given, material) else { return Ok(()) };
    let Known { low, high, .. } = m.density_g_cm3;
    if (low..=high).contains(&given.get()) {
        return Ok(());
    }
    let hint = if given.get() < low { " (a bulk density counts the air between the grains)" } else { "" };
    let what = format!(
        "density_g_cm3 = {} is not that of grains of {}, {low} to {high}{hint}; give the density of a grain, or leave it out",
        plain(given.get()),
        m.name
    );
    asked(powder, "density_g_cm3", "density_is_meant", what)
}

/// A hardness that may be in MPa.
pub(super) fn hardness(
    powder: &TomlSection,
    given: Option<Hardness>,
    material: Option<&Material>,
) -> Result<(), ScrubFileError> {
    let Some(Hardness::Indentation(given)) = given else { return Ok(()) };
    let most = material.map_or(HARDEST_GPA, |m| (HARDER * m.hardness_gpa.high).min(HARDEST_GPA));
    if given.get() <= most {
        return Ok(());
    }
    let gpa = Gigapascals::get(given);
    let whose = material.map_or("any grain of a scrub".to_owned(), |m| {
        format!("{}, {} to {}", m.name, m.hardness_gpa.low, m.hardness_gpa.high)
    });
    let what = format!(
        "hardness_gpa = {} is far above that of {whose}: in MPa? {} MPa is {}",
        plain(gpa),
        plain(gpa),
        plain(gpa / 1000.0)
    );
    asked(powder, "hardness_gpa", "hardness_is_meant", what)
}

/// A number as it would be typed.
fn plain(value: f64) -> String {
    crate::units::plain(crate::units::three_digits(value))
}
