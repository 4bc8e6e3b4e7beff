//! The powders a maker has.

use super::Powder;
use crate::source::same_word;

/// A powder on the maker's shelf: what it is, what there is of it, and how it may be used.
#[derive(Debug, Clone, PartialEq)]
pub struct ShelfPowder {
    /// The powder.
    pub powder: Powder,
    /// Grams in stock, of what is kept where the maker sieves it; unlimited when not said.
    pub stock_g: Option<f64>,
    /// Least share of the scrub, % w/w, when the powder is used at all.
    pub min_pct: f64,
    /// Largest share of the scrub, % w/w.
    pub max_pct: f64,
    /// The maker's own words for it, such as `nut` or `mineral`.
    pub tags: Vec<String>,
    /// Its keys and values as the file has them (TOML), the price among them: what a scrub file written from the shelf
    /// repeats.
    pub definition: Vec<(String, String)>,
    /// The size table that the definition names, as a path that can be opened; absent when the size needs none.
    pub size_table: Option<std::path::PathBuf>,
}

impl ShelfPowder {
    /// Whether a word names this powder: its name, its material's key or origin, or one of its tags or flags, in any case.
    pub fn answers_to(&self, word: &str) -> bool {
        let same = |other: &str| same_word(other, word);
        let material = self.powder.material.as_ref();
        same(&self.powder.name) || self.tags.iter().any(|t| same(t)) || material.is_some_and(|m| m.answers_to(word))
    }
}
