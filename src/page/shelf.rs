//! The powders of a shelf, to be put into a scrub.

use super::answer::Refusal;
use super::folder::{SCRUB_ENDINGS, check_here};
use super::held::Page;
use crate::files::edit::definition;
use crate::files::read_shelf;
use crate::powder::ShelfPowder;
use crate::source::Source;
use serde::Serialize;
use serde_json::Value as Json;
use std::path::Path;

#[derive(Debug, Serialize)]
pub(super) struct OnShelf {
    name: String,
    material: Option<String>,
    d50_um: f64,
    stock_g: Option<f64>,
    price_per_kg: Option<f64>,
    tags: Vec<String>,
    /// What a scrub file says of it, but for its parts.
    values: Json,
}

pub(super) fn shelf(page: &Page, file: &str) -> Result<Vec<OnShelf>, Refusal> {
    check_here(file, &SCRUB_ENDINGS)?;
    on_shelf(Source::of(Path::new(file), &*page.folder), page)
}

/// The powders of a shelf, from the folder or in hand.
pub(super) fn on_shelf(source: Source, page: &Page) -> Result<Vec<OnShelf>, Refusal> {
    let file = source.name();
    let on_shelf = |entry: ShelfPowder| {
        let written: Vec<String> = entry.definition.iter().map(|(key, value)| format!("{key} = {value}\n")).collect();
        Ok(OnShelf {
            d50_um: entry.powder.size.distribution.quantile(0.5),
            stock_g: entry.stock_g,
            price_per_kg: entry.powder.stock.price_per_kg,
            tags: entry.tags,
            values: definition(&written.concat(), &file)?,
            material: entry.powder.material.map(|m| m.key),
            name: entry.powder.name,
        })
    };
    read_shelf(source, &page.tables)?.into_iter().map(on_shelf).collect()
}
