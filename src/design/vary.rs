//! What a ladder varies, as people write it: `olive-stone.parts=0..3`, `"Rice bran, fine.d50=40..90"`, `load=2..10`.

use super::place::place_of;
use crate::band::Quantity;
use crate::blend::Scrub;
use crate::source::{Fault, did_you_mean, nearest};
use crate::units::{LoadPercent, Micrometres, UnitError};

/// Why something cannot be varied.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("\"{given}\": {fault}")]
pub struct VaryError {
    /// As written.
    pub given: String,
    /// What is wrong and what would be right.
    pub fault: Fault,
}

/// A quantity and the range that it is walked through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Varied {
    /// What is varied.
    pub quantity: Quantity,
    /// From here, in the unit of the quantity (parts, % of the scrub, µm).
    pub low: f64,
    /// To here.
    pub high: f64,
}

const FORM: &str = "write NAME.parts=LOW..HIGH, NAME.d50=LOW..HIGH or load=LOW..HIGH, for example load=2..10";
/// Most parts of a powder.
const MOST_PARTS: f64 = 100.0;
/// Least parts or load above 0: below it no balance weighs.
const LEAST: f64 = 1e-6;
/// Least width of a range, relative.
const NARROWEST: f64 = 1e-6;

impl Varied {
    /// Reads what is varied in a scrub, one or two quantities, each as `SPEC=LOW..HIGH`.
    ///
    /// # Errors
    /// [`VaryError`] with what would be right: another form, the nearest powder, the bounds that are allowed.
    pub fn read(texts: &[String], scrub: &Scrub) -> Result<Vec<Self>, VaryError> {
        let wrong = |problem: &str| VaryError { given: texts.join("\" and \""), fault: problem.into() };
        if texts.is_empty() || texts.len() > 2 {
            return Err(wrong("one quantity makes a ladder and two make a map; give one or two"));
        }
        let varied = texts.iter().map(|text| Self::read_one(text, scrub)).collect::<Result<Vec<_>, _>>()?;
        if varied.len() == 2 && varied[0].quantity == varied[1].quantity {
            return Err(wrong("both are the same quantity; vary two different ones"));
        }
        let gone = |place: usize| varied.iter().any(|v| v.quantity == Quantity::Parts(place) && v.low == 0.0);
        if (0..scrub.blend.components().len()).all(gone) {
            return Err(wrong("at 0 parts no powder would be left; start above 0"));
        }
        Ok(varied)
    }

    fn read_one(text: &str, scrub: &Scrub) -> Result<Self, VaryError> {
        let wrong = |fault: Fault| VaryError { given: text.to_owned(), fault };
        // A name may hold either sign; the range cannot.
        let (what, range) = text.rsplit_once('=').ok_or_else(|| wrong(FORM.into()))?;
        let quantity = quantity(what.trim(), scrub).map_err(wrong)?;
        let (low, high) = range.split_once("..").ok_or_else(|| wrong(FORM.into()))?;
        let (low, high) = (number(low).map_err(wrong)?, number(high).map_err(wrong)?);
        if low >= high {
            return Err(wrong(format!("the range must rise, but {low} is not below {high}").into()));
        }
        if high - low < NARROWEST * high.abs() {
            return Err(wrong(
                format!("the range is too narrow to walk: {low} and {high} are as good as the same").into(),
            ));
        }
        for bound in [low, high] {
            allowed(quantity, bound).map_err(wrong)?;
        }
        Ok(Self { quantity, low, high })
    }

    /// What is varied, in words with its unit: the label of an axis.
    pub fn label(&self, scrub: &Scrub) -> String {
        let name = |i: usize| &scrub.blend.components()[i].powder.name;
        match self.quantity {
            Quantity::Parts(i) => format!("parts of {}", name(i)),
            Quantity::Load => "powder load, % of the scrub".to_owned(),
            Quantity::Median(i) => format!("D50 of {}, µm", name(i)),
        }
    }

    /// Equal steps from one end to the other, both included; at least two.
    pub fn values(&self, count: usize) -> Vec<f64> {
        let last = count.max(2) - 1;
        let step = |i: usize| self.low + (self.high - self.low) * i as f64 / last as f64;
        (0..last).map(step).chain([self.high]).collect()
    }
}

fn number(text: &str) -> Result<f64, Fault> {
    match text.trim().parse::<f64>() {
        Ok(value) if value.is_finite() => Ok(value),
        _ => Err(format!("\"{}\" is not a number; {FORM}", text.trim()).into()),
    }
}

fn allowed(quantity: Quantity, bound: f64) -> Result<(), Fault> {
    let said = |e: UnitError| e.to_string().into();
    let weighed = !matches!(quantity, Quantity::Median(_));
    if weighed && bound > 0.0 && bound < LEAST {
        return Err(format!("{bound:e} is less than any balance weighs; the least is {LEAST}").into());
    }
    match quantity {
        Quantity::Parts(_) if (0.0..=MOST_PARTS).contains(&bound) => Ok(()),
        Quantity::Parts(_) => Err(format!("parts run from 0 (left out) to {MOST_PARTS}, not {bound}").into()),
        Quantity::Load => LoadPercent::new(bound).map(|_| ()).map_err(said),
        Quantity::Median(_) => Micrometres::new(bound).map(|_| ()).map_err(said),
    }
}

fn quantity(what: &str, scrub: &Scrub) -> Result<Quantity, Fault> {
    if what.eq_ignore_ascii_case("load") {
        return Ok(Quantity::Load);
    }
    let Some((name, kind)) = what.rsplit_once('.') else {
        let names = scrub.blend.components().iter().map(|c| c.powder.name.as_str());
        let likely = match nearest(what, names.chain(["load"])) {
            Some("load") => "did you mean \"load\"?".to_owned(),
            Some(name) => format!("did you mean \"{name}.parts\" or \"{name}.d50\"?"),
            None => FORM.to_owned(),
        };
        return Err(format!("\"{what}\" is nothing that can be varied; {likely}").into());
    };
    let of: fn(usize) -> Quantity = match kind.trim().to_lowercase().as_str() {
        "parts" => Quantity::Parts,
        "d50" => Quantity::Median,
        other => {
            let hint = did_you_mean(other, ["parts", "d50"]);
            return Err(format!("of a powder, parts or d50 can be varied, not \"{other}\"; {hint}").into());
        }
    };
    place_of(scrub, name).map(of).map_err(|e| e.to_string().into())
}
