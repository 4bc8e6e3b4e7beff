//! What a check is called, which part of the scrub it is about, whether its limit is a floor or a ceiling, and what would mend it:
//! for whoever shows the checks beside the scrub. The findings themselves say why.

use super::{Check, CheckVerdict};
use serde::Serialize;

/// A part of a scrub file.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Part {
    /// The phases with their ingredients.
    Phases,
    /// The powders.
    Powders,
    /// `[acid]`.
    Acid,
    /// `[base]`.
    Base,
    /// `[fill]`.
    Fill,
    /// `[use]`.
    Use,
}

/// How a figure has to stand to its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LimitBound {
    /// The limit is a floor.
    AtLeast,
    /// The limit is a ceiling.
    AtMost,
    /// The figure is to be the limit.
    Exactly,
}

struct Guide {
    key: &'static str,
    name: &'static str,
    part: Part,
    /// Absent where the limit of the key is now a floor, now a ceiling.
    bound: Option<LimitBound>,
    mend: &'static str,
}

#[rustfmt::skip]
const GUIDES: [Guide; 18] = [
    Guide { key: "total", name: "Adds up to 100 %", part: Part::Phases, bound: Some(LimitBound::Exactly),
            mend: "let one ingredient take what is left, or weigh in what is missing" },
    Guide { key: "acid-active", name: "How much acid", part: Part::Phases, bound: Some(LimitBound::AtMost),
            mend: "less of the acid, or of its solution" },
    Guide { key: "acid-free", name: "Free acid and the pH it comes to", part: Part::Acid, bound: Some(LimitBound::AtMost),
            mend: "another pH, less of the acid, or an amount of base that fits the pH stated" },
    Guide { key: "ph-window", name: "pH in its window", part: Part::Acid, bound: None,
            mend: "bring the pH within the limits with more or less base, and measure it" },
    Guide { key: "preservative", name: "Preservation", part: Part::Phases, bound: None,
            mend: "a preservative that works at this pH and is dosed as usual, or another pH; then a challenge test" },
    Guide { key: "cool-down", name: "What must go in cool", part: Part::Phases, bound: Some(LimitBound::AtMost),
            mend: "move it to a cooler phase, or lower the temperature of its phase" },
    Guide { key: "soluble", name: "Grains that dissolve in the jar", part: Part::Powders, bound: Some(LimitBound::AtMost),
            mend: "less water in the scrub, more of these grains, or grains that do not dissolve" },
    Guide { key: "suspension", name: "Grains stay where they are", part: Part::Base, bound: None,
            mend: "a base with more yield stress (more of its thickener), or finer or lighter grains" },
    Guide { key: "solids", name: "It still flows", part: Part::Powders, bound: Some(LimitBound::AtMost),
            mend: "a lower powder load, or a thinner base" },
    Guide { key: "filling", name: "Container and opening", part: Part::Fill, bound: None,
            mend: "a wider opening or a jar, a larger container, or finer grains" },
    Guide { key: "silica-dust", name: "Dust of crystalline silica", part: Part::Powders, bound: None,
            mend: "another powder, or the certificate of the lot and a mask and extraction at the scale" },
    Guide { key: "allergens", name: "Allergens to name on the label", part: Part::Phases, bound: Some(LimitBound::AtMost),
            mend: "name them on the label, or less of the fragrance; give the allergens of each fragrance" },
    Guide { key: "microbes", name: "Microbes", part: Part::Powders, bound: Some(LimitBound::AtMost),
            mend: "powder of a lot with a lower count, or treated; give the counts of the certificates" },
    Guide { key: "microbeads", name: "Plastic grains", part: Part::Powders, bound: None,
            mend: "grains that are no plastic" },
    Guide { key: "double-exfoliation", name: "Acid and grains together", part: Part::Acid, bound: None,
            mend: "less acid or milder grains; else directions on the label" },
    Guide { key: "annexes", name: "Substances that the law limits", part: Part::Phases, bound: None,
            mend: "less of the substance, or another in its place" },
    Guide { key: "traces", name: "Metals in mineral grains", part: Part::Powders, bound: None,
            mend: "have the lot measured, and say so" },
    Guide { key: "frequency", name: "How often it is used", part: Part::Use, bound: Some(LimitBound::AtMost),
            mend: "fewer uses a week, or a milder scrub" },
];

impl Check {
    fn guide(&self) -> Option<&'static Guide> {
        GUIDES.iter().find(|g| g.key == self.key)
    }

    /// What it is called.
    pub fn name(&self) -> &'static str {
        self.guide().map_or(self.key, |g| g.name)
    }

    /// Which part of the scrub it is about.
    pub fn part(&self) -> Part {
        self.guide().map_or(Part::Phases, |g| g.part)
    }

    /// How its figure has to stand to its limit; nothing without both.
    pub fn bound(&self) -> Option<LimitBound> {
        let (value, limit) = (self.value?, self.limit?);
        let fixed = self.guide().and_then(|g| g.bound);
        let is_short = match self.verdict {
            CheckVerdict::Pass => value > limit,
            CheckVerdict::NotJudged => return fixed,
            CheckVerdict::Caution | CheckVerdict::Stop => value < limit,
        };
        fixed.or(Some(if is_short { LimitBound::AtLeast } else { LimitBound::AtMost }))
    }

    /// What would mend it, in words; nothing for what passes, and for what is not judged: `why` says what to give.
    pub fn mend(&self) -> Option<&'static str> {
        let is_wrong = self.verdict > CheckVerdict::NotJudged;
        self.guide().filter(|_| is_wrong).map(|g| g.mend)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::band::Judge;
    use crate::files::read_formula;
    use crate::formula::checks;
    use crate::tables::Tables;

    #[test]
    fn every_check_has_a_name_in_words() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/millrace-acid-polish.toml");
        let formula = read_formula(std::path::Path::new(file), &tables).unwrap();
        let checked = checks(&formula, &tables, &judge);
        assert_eq!(checked.checks.len(), GUIDES.len());
        for check in &checked.checks {
            assert!(check.guide().is_some(), "{}", check.key);
            assert_eq!(check.bound().is_some(), check.value.is_some() && check.limit.is_some(), "{}", check.key);
        }
        let of = |key: &str| checked.checks.iter().find(|c| c.key == key).unwrap();
        assert_eq!(of("total").bound(), Some(LimitBound::Exactly));
        // Yield stress against what the grains need, and free acid: a floor and a ceiling.
        assert_eq!(of("suspension").bound(), Some(LimitBound::AtLeast));
        assert_eq!(of("frequency").bound(), Some(LimitBound::AtMost));
    }
}
