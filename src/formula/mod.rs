//! The rest of the scrub: its phases and ingredients, and the checks that say whether it will work in the jar and on the skin.
//!
//! The physics and chemistry are in [`balance`], [`dissolution`], [`packing`] and [`settling`]; a file of `check/` holds each
//! of them against its limits.

pub(crate) mod allergens;
pub mod balance;
mod bases;
pub mod batch;
mod by_name;
mod check;
mod compare;
mod content;
pub mod dissolution;
mod misfit;
mod on_skin;
pub mod packing;
mod parts;
pub mod quantity;
pub mod settling;
mod substance;

pub use check::{Check, CheckVerdict, Checked, LimitBound, Part, checks};
pub(crate) use check::{beyond_tables, checks_at};
pub use compare::{WholeDifference, whole_differences};
pub use content::{AcidContent, AfterPhase, Reckoned};
pub(crate) use content::{handles_acid_or_lye, holds_acid};
pub use dissolution::InJar;
pub use misfit::{misfits, misfits_of, misfits_of_powder, too_full};
pub use on_skin::{NothingLeft, OnSkin, OverTheRub, Weighed, dissolves};
pub(crate) use parts::is_water_name;
pub use parts::{
    AcidPlan, Base, BeadTest, DeclaredAllergen, Fill, Function, Ingredient, Kind, LabelFacts, PartOfBlend, Phase,
    PowderPlace, SlumpTest, Stated, Use,
};
pub use substance::Substance;

use crate::blend::{Component, Scrub};
use crate::source::Spelled;
use crate::units::{PercentOfScrub, Ph};

/// What can be wrong with a formula.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum FormulaError {
    /// Two ingredients are to take what is left.
    #[error("\"{first}\" and \"{second}\" both have fill = true; one ingredient takes what is left")]
    TwoFills {
        /// The one that comes first.
        first: String,
        /// The other.
        second: String,
    },
    /// More than 100 %.
    #[error("the formula sums to {sum} %, powders included; it can hold 100 % at most")]
    Over {
        /// The sum, %.
        sum: f64,
    },
    /// Nothing left for the ingredient that takes what is left.
    #[error("nothing is left for \"{name}\" (fill = true): the others sum to {sum} %, powders included")]
    NothingLeft {
        /// The ingredient.
        name: String,
        /// Sum of the others, %.
        sum: f64,
    },
}

/// A whole scrub.
#[derive(Debug, Clone, PartialEq)]
pub struct Formula {
    scrub: Scrub,
    phases: Vec<Phase>,
    places: Vec<PowderPlace>,
    /// The scrub without its powders.
    pub base: Base,
    /// The acid exfoliant.
    pub acid: Option<AcidPlan>,
    /// The container.
    pub fill: Fill,
    /// The use.
    pub usage: Use,
    /// What the label says beside.
    pub label: LabelFacts,
}

/// What a line of the formula is.
#[derive(Debug, Clone, Copy)]
pub enum Item<'f> {
    /// An ingredient.
    Ingredient(&'f Ingredient),
    /// A powder of the blend, and its place among the powders.
    Powder(&'f Component, usize),
}

/// A line of the formula.
#[derive(Debug, Clone, Copy)]
pub struct Line<'f> {
    /// Place of its phase; `None` for a powder that names none.
    pub phase: Option<usize>,
    /// % w/w of the scrub.
    pub pct: f64,
    /// What it is.
    pub item: Item<'f>,
}

impl<'f> Line<'f> {
    /// Name.
    pub fn name(&self) -> &'f str {
        match self.item {
            Item::Ingredient(i) => &i.name,
            Item::Powder(c, _) => &c.powder.name,
        }
    }

    /// INCI name, if it is known.
    pub fn inci(&self) -> Option<&'f str> {
        match self.item {
            Item::Ingredient(i) => i.inci.as_deref(),
            Item::Powder(c, _) => c.powder.inci(),
        }
    }

    /// The words of its name and INCI name.
    pub fn spelled(&self) -> Spelled {
        Spelled::new(&format!("{}. {}", self.name(), self.inci().unwrap_or_default()))
    }

    /// What of it is not solvent, % w/w of the scrub.
    pub fn active_pct(&self) -> f64 {
        match self.item {
            Item::Ingredient(i) => i.active_pct(),
            Item::Powder(..) => self.pct,
        }
    }

    /// Whether it has a function; powders have none.
    pub fn is(&self, function: Function) -> bool {
        matches!(self.item, Item::Ingredient(i) if i.is(function))
    }

    /// Lot at hand.
    pub fn lot(&self) -> Option<&'f str> {
        match self.item {
            Item::Ingredient(i) => i.lot.as_deref(),
            Item::Powder(c, _) => c.powder.stock.lot.as_deref(),
        }
    }

    /// What a kilogram costs, in the user's currency.
    pub fn price_per_kg(&self) -> Option<f64> {
        match self.item {
            Item::Ingredient(i) => i.price_per_kg,
            Item::Powder(c, _) => c.powder.stock.price_per_kg,
        }
    }
}

/// How far a sum may be above 100 % by rounding alone.
const ROUNDING_PCT: f64 = 0.01;

impl Formula {
    /// Puts a formula together; `places` has an entry for every powder. The ingredient with `fill` gets what is left.
    ///
    /// # Errors
    /// [`FormulaError`] when two ingredients are to take what is left, or the sum is beyond 100 %.
    pub fn new(scrub: Scrub, mut phases: Vec<Phase>, places: Vec<PowderPlace>) -> Result<Self, FormulaError> {
        let given = phases.iter().flat_map(|p| &p.ingredients).filter(|i| !i.fill).map(|i| i.pct.get());
        let sum: f64 = given.sum::<f64>() + if phases.is_empty() { 0.0 } else { scrub.load.get() };
        let mut fills = phases.iter_mut().flat_map(|p| &mut p.ingredients).filter(|i| i.fill);
        let (fill, second) = (fills.next(), fills.next());
        if let (Some(first), Some(second)) = (&fill, second) {
            return Err(FormulaError::TwoFills { first: first.name.clone(), second: second.name.clone() });
        }
        if sum > 100.0 + ROUNDING_PCT {
            return Err(FormulaError::Over { sum: rounded(sum) });
        }
        if let Some(fill) = fill {
            let nothing = || FormulaError::NothingLeft { name: fill.name.clone(), sum: rounded(sum) };
            fill.pct = PercentOfScrub::new(100.0 - sum).ok().filter(|p| p.get() > 1e-9).ok_or_else(nothing)?;
        }
        let (base, fill, usage) = (Base::default(), Fill::default(), Use::default());
        Ok(Self { scrub, phases, places, base, acid: None, fill, usage, label: LabelFacts::default() })
    }

    /// The powders and their load.
    pub fn scrub(&self) -> &Scrub {
        &self.scrub
    }

    /// The phases, in order.
    pub fn phases(&self) -> &[Phase] {
        &self.phases
    }

    /// How each powder stands in the formula, in the blend's order.
    pub fn places(&self) -> &[PowderPlace] {
        &self.places
    }

    /// Every ingredient, with the place of its phase.
    pub fn ingredients(&self) -> impl Iterator<Item = (usize, &Ingredient)> {
        self.phases.iter().enumerate().flat_map(|(i, p)| p.ingredients.iter().map(move |one| (i, one)))
    }

    /// Every powder with its share of the scrub, % w/w.
    pub fn powders(&self) -> impl Iterator<Item = (&Component, f64)> {
        self.scrub.blend.components().iter().map(|c| (c, c.mass * self.scrub.load.get()))
    }

    /// Every line, phase by phase: its ingredients, then its powders; last the powders that name no phase.
    pub fn lines(&self) -> Vec<Line<'_>> {
        let powders = |phase: Option<usize>| {
            let all = self.powders().zip(&self.places).enumerate();
            let of_phase = all.filter(move |(_, (_, place))| place.phase == phase);
            of_phase.map(move |(i, ((c, pct), _))| Line { phase, pct, item: Item::Powder(c, i) })
        };
        let mut lines = Vec::new();
        for (i, phase) in self.phases.iter().enumerate() {
            let ingredients = phase.ingredients.iter();
            lines.extend(ingredients.map(|one| Line {
                phase: Some(i),
                pct: one.pct.get(),
                item: Item::Ingredient(one),
            }));
            lines.extend(powders(Some(i)));
        }
        lines.extend(powders(None));
        lines
    }

    /// Sum of all lines, % w/w.
    pub fn total_pct(&self) -> f64 {
        self.lines().iter().map(|l| l.pct).sum()
    }

    /// Water in the scrub, that of solutions included, % w/w.
    pub fn water_pct(&self) -> f64 {
        self.ingredients().map(|(_, i)| i.water_pct()).sum()
    }

    /// What may bring water that nobody has told of: made without water it is only what is of water by its name.
    pub(crate) fn may_bring_water(&self) -> Vec<&str> {
        let is_free = self.usage.kind.is_some_and(Kind::is_free_of_water);
        let all = self.ingredients().map(|(_, i)| i);
        all.filter(|i| i.may_be_watery(is_free)).map(|i| i.name.as_str()).collect()
    }

    /// pH of the finished scrub, where one is stated.
    pub fn ph(&self) -> Option<f64> {
        self.acid.as_ref().and_then(|a| a.final_ph).or(self.base.ph).map(Ph::get)
    }

    /// What a kilogram costs; `None` unless every line has a price.
    pub fn cost_per_kg(&self) -> Option<f64> {
        let lines = self.lines();
        let cost: Option<f64> = lines.iter().map(|l| Some(l.pct / 100.0 * l.price_per_kg()?)).sum();
        cost.filter(|_| !self.phases.is_empty())
    }

    /// Density of the scrub without its powders, g/cm³: the one stated, or what the ingredients come to when every one has
    /// a density (volumes add up); `None` otherwise.
    pub fn base_density_g_cm3(&self) -> Option<f64> {
        if let Some(density) = self.base.density {
            return Some(density.get());
        }
        let volumes: Option<Vec<f64>> = self.ingredients().map(|(_, i)| Some(i.pct.get() / i.density?.get())).collect();
        let volume: f64 = volumes?.iter().sum();
        let mass: f64 = self.ingredients().map(|(_, i)| i.pct.get()).sum();
        (volume > 0.0).then(|| mass / volume)
    }

    /// Density of the scrub, g/cm³; `None` without that of the base. Air that was stirred in is not counted.
    pub fn density_g_cm3(&self) -> Option<f64> {
        let base = self.base_density_g_cm3()?;
        let grains: f64 = self.powders().map(|(c, pct)| pct / c.powder.density.get()).sum();
        Some(100.0 / (grains + (100.0 - self.scrub.load.get()) / base))
    }

    /// Share of the scrub's volume that grains take when `solids` holds each powder's % w/w (0..1); `None` without the
    /// density of the base.
    pub fn solids_share(&self, solids: &[f64]) -> Option<f64> {
        let base = self.base_density_g_cm3()?;
        Some(volume_share(self.powders().map(|(c, _)| c).zip(solids.iter().copied()), base))
    }
}

/// Share of the volume (0..1) that powders of so many % w/w take in a base of this density, g/cm³.
fn volume_share<'p>(powders: impl Iterator<Item = (&'p Component, f64)>, base: f64) -> f64 {
    let (grains, pct) = powders.fold((0.0, 0.0), |(ml, sum), (c, pct)| (ml + pct / c.powder.density.get(), sum + pct));
    grains / (grains + (100.0 - pct).max(0.0) / base)
}

/// To the digits that a message needs.
fn rounded(pct: f64) -> f64 {
    (pct * 1e4).round() / 1e4
}
