//! Measured tables of one powder, and what was charged for each, as they are named on the command line.

use crate::lots::lot::LotTable;
use crate::source::sheet_of;
use crate::tables::Tables;
use crate::units::Grams;
use anyhow::{Result, bail, ensure};
use std::path::Path;

/// Reads tables that are repeats of each other. `charged_g` has a mass for each of them, or none.
pub(super) fn tables(paths: &[&Path], charged_g: &[f64], tables: &Tables) -> Result<Vec<LotTable>> {
    for (i, path) in paths.iter().enumerate() {
        ensure!(
            !paths[..i].contains(path),
            "{}: the table is named twice; a repeat is another measurement",
            path.display()
        );
    }
    ensure!(
        charged_g.is_empty() || charged_g.len() == paths.len(),
        "--charged-g: masses {}, tables {}; give one for each table, in their order",
        charged_g.len(),
        paths.len()
    );
    // Two sheets of one workbook are two measurements.
    let sheet = |table: &LotTable| sheet_of(Path::new(&table.file)).1;
    let mut read: Vec<LotTable> = Vec::new();
    for (i, path) in paths.iter().enumerate() {
        let mut table = LotTable::read(path, tables)?;
        table.charged_g = charged_g.get(i).copied().or(table.charged_g);
        let weighed = table.record.measured.is_some_and(|m| m.weighed_g.is_some());
        ensure!(
            table.charged_g.is_none() || weighed,
            "--charged-g: {} has no column retained_g to hold it against",
            table.file
        );
        if let Some(same) = read.iter().find(|t| t.sha256 == table.sha256 && sheet(t) == sheet(&table)) {
            bail!(
                "{}: the same bytes as {}; a repeat is another measurement, not a copy of the table",
                table.file,
                same.file
            );
        }
        read.push(table);
    }
    Ok(read)
}

pub(super) fn grams(text: &str) -> Result<f64> {
    let grams = Grams::new(text.parse()?)?.get();
    ensure!(grams > 0.0, "a mass must be above 0");
    Ok(grams)
}

pub(super) fn millimetres(text: &str) -> Result<f64> {
    let mm: f64 = text.parse()?;
    ensure!((20.0..=1000.0).contains(&mm), "a sieve frame has 20 to 1000 mm, not {mm}");
    Ok(mm)
}
