//! What a formula holds, substance by substance: the one list that checks, charge balance and label look at. A line is one substance,
//! but for a blend whose supplier states its parts: of it each part is one, and its own name is not asked any more.

use super::parts::{PartOfBlend, is_water_name};
use super::{Formula, Function, Ingredient, Item, Line};
use crate::source::{Spelled, same_word, without_brackets};
use std::borrow::Cow;

/// A substance of the scrub: a line, or a part of one.
#[derive(Debug, Clone, Copy)]
pub struct Substance<'f> {
    /// The line that brings it.
    pub line: Line<'f>,
    /// The part of the line that it is.
    pub part: Option<&'f PartOfBlend>,
}

impl<'f> Substance<'f> {
    /// Name of the line; of a part, with its INCI name.
    pub fn name(&self) -> Cow<'f, str> {
        match self.part {
            Some(part) => Cow::Owned(format!("{} ({})", self.line.name(), part.inci.trim())),
            None => Cow::Borrowed(self.line.name()),
        }
    }

    /// INCI name, if it is known.
    pub fn inci(&self) -> Option<&'f str> {
        self.part.map(|part| part.inci.as_str()).or_else(|| self.line.inci())
    }

    /// Whether its INCI name is this one, in any case, with or without a common name in brackets.
    pub fn is_inci(&self, name: &str) -> bool {
        let is_bare = |inci: &str| inci.contains('(') && same_word(&without_brackets(inci), name);
        self.inci().is_some_and(|inci| same_word(inci, name) || is_bare(inci))
    }

    /// The words by which it is known: of a line those of its name too.
    pub fn spelled(&self) -> Spelled {
        self.part.map_or_else(|| self.line.spelled(), |part| Spelled::new(&part.inci))
    }

    /// How much of it is in the scrub without its solvent, % w/w. Parts are all of a blend, water and all.
    pub fn pct(&self) -> f64 {
        self.part.map_or_else(|| self.line.active_pct(), |part| self.line.pct * part.pct.get() / 100.0)
    }

    /// Whether it is there for something as a line of its own; what a blend is for says nothing of each part.
    pub fn is(&self, function: Function) -> bool {
        self.part.is_none() && self.line.is(function)
    }

    /// The ingredient that brings it; powders are none.
    pub fn ingredient(&self) -> Option<&'f Ingredient> {
        match self.line.item {
            Item::Ingredient(ingredient) => Some(ingredient),
            Item::Powder(..) => None,
        }
    }

    /// Whether it is water.
    pub fn is_water(&self) -> bool {
        match self.part {
            Some(part) => is_water_name(&part.inci),
            None => self.ingredient().is_some_and(Ingredient::is_water),
        }
    }
}

impl<'f> Line<'f> {
    /// What it is made of: its parts, or itself.
    pub fn substances(self) -> impl Iterator<Item = Substance<'f>> {
        let parts: &'f [PartOfBlend] = match self.item {
            Item::Ingredient(ingredient) => &ingredient.parts,
            Item::Powder(..) => &[],
        };
        let whole = parts.is_empty().then_some(Substance { line: self, part: None });
        let parts = parts.iter().filter(|part| part.pct.get() > 0.0);
        whole.into_iter().chain(parts.map(move |part| Substance { line: self, part: Some(part) }))
    }
}

impl Formula {
    /// Every substance of the ingredients, in the order of the lines.
    pub fn substances(&self) -> impl Iterator<Item = Substance<'_>> {
        self.lines().into_iter().flat_map(Line::substances).filter(|s| s.ingredient().is_some())
    }
}
