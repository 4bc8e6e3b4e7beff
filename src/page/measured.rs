//! Measured tables of sizes: checked before a scrub takes them.

use super::answer::Refusal;
use super::draft::TableText;
use super::folder::{READ_ENDINGS, check_here, check_name, free_name};
use super::held::Page;
use crate::lots::lot::LotTable;
use crate::report::SizeReport;
use crate::size::table;
use crate::source::{Tabular, read_bounded};
use crate::tasks;
use serde::{Deserialize, Serialize};
use std::path::Path;

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TableRequest {
    name: String,
    /// A new table; absent for one of the folder or of `tables`.
    text: Option<String>,
    /// A new table as the bytes of its file, in place of `text`.
    bytes: Option<Vec<u8>>,
    /// Those that are in hand.
    #[serde(default)]
    tables: Vec<TableText>,
    /// What was put onto the sieves, g, to be told what was lost.
    charge_g: Option<f64>,
}

#[derive(Debug, Serialize)]
pub(super) struct TableAnswer {
    /// The name to save it by.
    name: String,
    /// `sieve`, `laser` or `counts`.
    kind: &'static str,
    report: SizeReport,
    /// What it holds, for one that is not on disk.
    text: Option<String>,
    /// How much less was weighed on the sieves than was put onto them, %; absent without a charge.
    loss_pct: Option<f64>,
}

pub(super) fn check_table(page: &Page, request: TableRequest) -> Result<TableAnswer, Refusal> {
    let TableRequest { name, text, bytes, tables, charge_g } = request;
    let new = bytes.or(text.map(String::into_bytes));
    match new {
        Some(_) => check_name(&name, &READ_ENDINGS, "lot-7.csv")?,
        None => check_here(&name, &READ_ENDINGS)?,
    }
    let in_hand = tables.iter().find(|t| t.name == name).map(|t| t.text.as_bytes());
    let held = new.as_deref().or(in_hand);
    let bytes = match held {
        Some(bytes) => read_bounded(bytes, &name)?,
        None => page.folder.bytes(Path::new(&name))?,
    };
    let table = Tabular::of(&bytes, &name, None)?;
    let measured = measured(page, &name, &table, charge_g)?;
    let kind = measured.record.measured.as_ref().map_or("", |m| m.kind.key());
    let (record, measurement) =
        tasks::measured(&[measured], None, &page.tables).map_err(|e| Refusal::wrong(e.to_string()))?;
    let loss_pct = measurement.losses.first().map(|loss| loss.loss_pct);
    let described = SizeReport::new(&name, &record, None, &[], &page.tables);
    let report = SizeReport { measurement: Some(measurement), ..described };
    // What is not on disk is kept as text, a workbook as that of its table.
    let text = held.map(|_| table::to_text(&table, &page.tables.standards)).transpose()?;
    let name = match new {
        Some(_) => free_name(&*page.folder, &as_text(name), text.as_deref(), &tables)?,
        None => name,
    };
    Ok(TableAnswer { name, kind, report, text, loss_pct })
}

/// The name under which the table of a file is kept as text.
fn as_text(name: String) -> String {
    match name.rsplit_once('.') {
        Some((stem, ending)) if ending.eq_ignore_ascii_case("xlsx") => format!("{stem}.csv"),
        _ => name,
    }
}

/// A table as a lot has it. `charge_g` was put onto the sieves: nothing is known of a loss without it.
pub(super) fn measured(page: &Page, name: &str, table: &Tabular, charge_g: Option<f64>) -> Result<LotTable, Refusal> {
    let record = table::read_tabular(table, None, &page.tables.standards)?;
    let charged_g = charge_g.filter(|g| *g > 0.0);
    Ok(LotTable::new(name.to_owned(), record, table.sha256.clone(), charged_g))
}
