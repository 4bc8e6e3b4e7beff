//! New parts of a scrub, as `gritwise lot` gives them.

use crate::blend::{Component, Scrub};
use crate::lots::Sureness;
use crate::lots::lot::LotCase;
use serde::Serialize;

/// A powder's parts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartsPart {
    /// The powder.
    pub name: String,
    /// Parts as designed.
    pub parts_now: f64,
    /// New parts.
    pub parts: f64,
    /// In a kilogram of scrub as designed, g.
    pub g_per_kg_now: f64,
    /// In a kilogram with the new parts, g.
    pub g_per_kg: f64,
    /// For the powder of the lot: new parts that 5 % of the draws stay below.
    pub parts_low: Option<f64>,
    /// New parts that 95 % of the draws stay below.
    pub parts_high: Option<f64>,
    /// The same in a kilogram of scrub, g.
    pub g_per_kg_low: Option<f64>,
    /// The same in a kilogram of scrub, g.
    pub g_per_kg_high: Option<f64>,
}

impl PartsPart {
    /// Ends of the parts, then in a kilogram of scrub, g.
    pub(super) fn ends(&self) -> Option<[f64; 4]> {
        Some([self.parts_low?, self.parts_high?, self.g_per_kg_low?, self.g_per_kg_high?])
    }
}

/// The powders of a scrub as designed and with new parts.
pub(super) fn parts(case: &LotCase, new: &Scrub, sure: &Sureness) -> Vec<PartsPart> {
    let now = case.scrub;
    let both = now.blend.components().iter().zip(new.blend.components()).enumerate();
    let part = |(i, (a, b)): (usize, (&Component, &Component))| {
        let [g_per_kg_now, g_per_kg] = [10.0 * now.load.get() * a.mass, 10.0 * new.load.get() * b.mass];
        // Grams go with the parts, and all parts may have been scaled together.
        let grams = sure.parts_factor.filter(|_| i == case.place).map(|ends| ends.map(|factor| factor * g_per_kg_now));
        let end = |side: usize| grams.map(|ends| ends[side]);
        PartsPart {
            name: a.powder.name.clone(),
            parts_now: a.parts.get(),
            parts: b.parts.get(),
            g_per_kg_now,
            g_per_kg,
            parts_low: end(0).map(|g| b.parts.get() * g / g_per_kg),
            parts_high: end(1).map(|g| b.parts.get() * g / g_per_kg),
            g_per_kg_low: end(0),
            g_per_kg_high: end(1),
        }
    };
    both.map(part).collect()
}
