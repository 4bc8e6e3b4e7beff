//! What is to be made, as people write it: quantities with their units.

use super::batch::{Content, Units};
use crate::source::Fault;

/// What stays in the vessel and in the nozzle when nothing is said.
pub const USUAL_LOSS: &str = "3%";

/// The step of a balance when nothing is said.
pub const USUAL_STEP: &str = "0.1g";

/// Units of mass, the longer ones first, in g.
const MASSES: [(&str, f64); 3] = [("mg", 1e-3), ("kg", 1e3), ("g", 1.0)];

/// Units of volume, the longer ones first, in mL.
const VOLUMES: [(&str, f64); 2] = [("ml", 1.0), ("l", 1e3)];

/// A number before one of these units, in any case; `None` when it has another.
fn number(text: &str, units: &[(&str, f64)]) -> Option<f64> {
    let text = text.trim().to_lowercase();
    let (number, factor) = units.iter().find_map(|(unit, f)| Some((text.strip_suffix(unit)?, *f)))?;
    number.trim().parse::<f64>().ok().map(|n| n * factor)
}

/// Grams, written `0.1g`, `0.1 g`, `100mg`, `2.5kg` or `0.1`.
fn grams(text: &str) -> Option<f64> {
    number(text, &MASSES).or_else(|| text.trim().parse().ok()).filter(|g| (1e-6..=1e7).contains(g))
}

/// A step of a balance, g.
///
/// # Errors
/// How it is written.
pub fn step(text: &str) -> Result<f64, Fault> {
    // Sums are kept to the microgram.
    let whole = |g: &f64| (g * 1e6 - (g * 1e6).round()).abs() < 1e-6 * (g * 1e6);
    let step = grams(text).filter(|g| *g <= 1e6 && whole(g));
    step.ok_or_else(|| Fault::from("a step of the balance is written like 0.1g: above 0, and whole micrograms"))
}

/// A mass, g.
///
/// # Errors
/// How it is written.
pub fn mass(text: &str) -> Result<f64, Fault> {
    grams(text).ok_or_else(|| Fault::from("a mass is written like 2.5kg or 800g, and lies above 0 and below 10 t"))
}

/// A share, written `3%` or `3`, in %; below 90.
///
/// # Errors
/// How it is written.
pub fn loss(text: &str) -> Result<f64, Fault> {
    let number = text.trim().trim_end_matches('%').trim().parse::<f64>().ok();
    let loss = number.filter(|l| (0.0..90.0).contains(l));
    loss.ok_or_else(|| Fault::from("a loss is written like 3%, from 0 to below 90"))
}

/// Units to fill: `12x200mL`, `12x180g`, or `12` of what the file says.
///
/// # Errors
/// How it is written.
pub fn units(text: &str) -> Result<Units, Fault> {
    let (count, content) = match text.split_once(['x', 'X', '×']) {
        Some((count, content)) => (count, Some(content)),
        None => (text, None),
    };
    let count = count.trim().parse::<u32>().ok().filter(|c| (1..=1_000_000).contains(c));
    let content = content.map(|content| {
        let volume = number(content, &VOLUMES).map(Content::Millilitres);
        volume.or_else(|| number(content, &MASSES).map(Content::Grams))
    });
    let is_sound = |c: &Content| {
        let (Content::Grams(amount) | Content::Millilitres(amount)) = c;
        (0.01..=1e6).contains(amount)
    };
    match (count, content) {
        (Some(count), None) => Ok(Units { count, content: None }),
        (Some(count), Some(Some(content))) if is_sound(&content) => Ok(Units { count, content: Some(content) }),
        _ => Err("units are written like 12x200mL, 12x180g, or 12 where [fill] says what goes into one".into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn quantities_with_their_units() {
        for (text, grams) in
            [("0.1g", 0.1), ("5 g", 5.0), ("10mg", 0.01), ("2.5kg", 2500.0), ("0.1", 0.1), ("2.5 KG", 2500.0)]
        {
            assert!((mass(text).unwrap() - grams).abs() < 1e-12, "{text}");
        }
        for text in ["", "g", "-1g", "0", "nan", "inf", "1e9kg", "3 lb"] {
            assert!(mass(text).is_err() && step(text).is_err(), "{text}");
        }
        // A step is whole micrograms, and no more than a tonne.
        assert_eq!((step("0.000002g").unwrap(), step("1000kg").unwrap()), (2e-6, 1e6));
        for text in ["0.0000005g", "0.0000025g", "0.0001001mg", "1001kg"] {
            assert!(step(text).is_err(), "{text}");
        }
        let filled = |text: &str| units(text).unwrap();
        assert_eq!(filled("12x200mL"), Units { count: 12, content: Some(Content::Millilitres(200.0)) });
        assert_eq!(filled("3 × 0.5 L"), Units { count: 3, content: Some(Content::Millilitres(500.0)) });
        assert_eq!(filled("12x180g"), Units { count: 12, content: Some(Content::Grams(180.0)) });
        assert_eq!(filled("7"), Units { count: 7, content: None });
        for text in ["0", "x", "12x", "12x200", "1.5x200mL", "-3", "12x-1g"] {
            assert!(units(text).is_err(), "{text}");
        }
        assert_eq!((loss("3%").unwrap(), loss(USUAL_LOSS).unwrap(), step(USUAL_STEP).unwrap()), (3.0, 3.0, 0.1));
        assert!(loss("100%").is_err() && loss("-1").is_err());
    }
}
