//! What is missing of this product: open points of its checks, and numbers of its powders that rest on an estimate or an assumption.

use super::{Subject, grains, product};
use crate::powder::Powder;
use crate::report::FormulaReport;
use crate::report::document::{Grid, Section};
use crate::report::layout::{listed, row};
use crate::tables::{Known, ModelConstants, Site, Status, Tables};
use serde::Serialize;

/// Something that somebody has to find out, and sign for. The field names are keys of the dossier's JSON.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Gap {
    /// The check or the powder that it belongs to.
    pub of: String,
    /// What is missing.
    pub what: String,
}

pub fn found(subject: &Subject, whole: &FormulaReport) -> Vec<Gap> {
    let gap = |of: &str, what: String| Gap { of: of.to_owned(), what };
    let intended = product::intended(subject).is_none();
    let intended = intended.then(|| gap("intended use", "for which skin it is intended (--require)".to_owned()));
    let open = whole.checks.iter().flat_map(|c| c.open.iter().map(|point| gap(c.key, point.clone())));
    let powders = subject.formula.scrub().blend.components().iter().map(|c| &c.powder);
    let powders = powders.flat_map(|p| of_powder(p).into_iter().map(|what| gap(&p.name, what)));
    intended.into_iter().chain(open).chain(powders).collect()
}

fn of_powder(powder: &Powder) -> Vec<String> {
    let estimated = powder.estimates().into_iter().map(|property| {
        let (value, range) = grains::value_and_range(powder, property);
        format!(
            "{}: {value} ({range}) is an estimate: measure it, or have the supplier state it",
            grains::label(property)
        )
    });
    let assumed = powder.size.assumptions.iter().map(|what| format!("sizes rest on an assumption: {what}"));
    let lot = powder.stock.lot.is_none().then(|| "the lot in use".to_owned());
    let inci = powder.inci().is_none().then(|| "its INCI name".to_owned());
    inci.into_iter().chain(lot).chain(estimated).chain(assumed).collect()
}

pub fn section(gaps: &[Gap], tables: &Tables) -> Section {
    let lines =
        gaps.iter().enumerate().map(|(i, gap)| row((i + 1).to_string()).and(&gap.of).and(&gap.what).and("").and(""));
    let heads = ["No.", "Of", "What is missing", "Answer", "Name, date, signature"];
    let signed = ["Filled in by the maker", "Gone through by the assessor"].map(|who| row(who).and("").and("").and(""));
    let section = Section::new("gaps", "Gaps of this product").text(
        "Open points of the checks of this formula, and numbers of its powders that are estimates or rest on an assumption. Each has room \
         for the answer, and for who gives it.",
    );
    let section = match gaps {
        [] => section.text("None was found."),
        _ => section.table(Grid::new("lllww", &heads).captioned("To fill in").rows(lines)),
    };
    section
        .text(of_the_model(tables))
        .table(Grid::new("lwww", &["", "Name", "Date", "Signature"]).captioned("Signed").rows(signed))
}

/// The numbers of the model that no measurement of this product replaces.
fn of_the_model(tables: &Tables) -> String {
    let is_estimate = |known: Option<&Known>| known.is_some_and(|k| k.origin.status == Status::Estimate);
    let constants = ModelConstants::NAMES.iter().filter(|name| is_estimate(tables.constants.get(name)));
    let sites = Site::NAMES.iter().filter(|name| tables.sites.iter().any(|site| is_estimate(site.get(name))));
    let names: Vec<&str> = sites.chain(constants).copied().collect();
    if names.is_empty() {
        return "No number of the rub model is an estimate.".to_owned();
    }
    format!(
        "Of the rub model {} are estimates too, which no measurement of this product replaces; how sure the verdict is takes their ranges \
         into account.",
        listed(&names)
    )
}
