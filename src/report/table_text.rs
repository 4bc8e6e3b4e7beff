//! Grading tables as text: the list, one table with its sources, single rows in full.

use super::layout::{Align, TextTable, wrap};
use crate::tables::{TableError, TableFile};

/// Columns that an overview leaves out: long texts, and the ends of ranges, which stand behind their value.
const MATERIAL_COLUMNS: [&str; 8] =
    ["key", "origin", "hardness_gpa", "density_g_cm3", "roundness", "refused_by", "flags", "status"];

/// All tables, a line each.
///
/// # Errors
/// [`TableError`] when a table cannot be read.
pub fn list(files: &[TableFile]) -> Result<String, TableError> {
    let mut table = TextTable::new(&[
        ("table", Align::Left),
        ("rows", Align::Right),
        ("from", Align::Left),
        ("holds", Align::Left),
    ]);
    for file in files {
        let rows = file.cells()?.1.len().to_string();
        table.row(vec![file.name.to_owned(), rows, file.origin.clone(), file.about.to_owned()]);
    }
    Ok(table.render())
}

/// One table: its columns, ranges behind their values, and below them which row comes from where.
pub fn overview(file: &TableFile, header: &[String], rows: &[Vec<String>]) -> String {
    let mut text = format!("{}: {} (from: {})\n\n", file.name, file.about, file.origin);
    let shown = shown_columns(file, header);
    let numeric = |i: usize| rows.iter().all(|r| r[i].is_empty() || r[i].parse::<f64>().is_ok());
    let columns: Vec<(&str, Align)> =
        shown.iter().map(|&i| (header[i].as_str(), if numeric(i) { Align::Right } else { Align::Left })).collect();
    let mut table = TextTable::new(&columns);
    for row in rows {
        table.row(shown.iter().map(|&i| with_range(header, row, i)).collect());
    }
    text += &table.render();
    text + &sources(header, rows)
}

/// Rows in full, a line per column.
pub fn records(header: &[String], rows: &[Vec<String>]) -> String {
    let width = header.iter().map(|h| h.chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    for row in rows {
        for (name, cell) in header.iter().zip(row) {
            let rest = " ".repeat(width + 4);
            text += &wrap(cell, 100, &format!("  {name:<width$}  "), &rest);
        }
        text.push('\n');
    }
    text
}

fn shown_columns(file: &TableFile, header: &[String]) -> Vec<usize> {
    let is_range_end = |name: &str| match name {
        "low" | "high" => header.iter().any(|h| is_value(h)),
        _ => ["_low", "_high"].iter().any(|end| name.strip_suffix(end).is_some_and(|b| header.iter().any(|h| h == b))),
    };
    (0..header.len())
        .filter(|&i| {
            let name = header[i].as_str();
            match file.name {
                "materials" => MATERIAL_COLUMNS.contains(&name),
                _ => !is_range_end(name) && name != "source" && name != "note",
            }
        })
        .collect()
}

/// Columns whose range is in plain `low` and `high`.
fn is_value(name: &str) -> bool {
    ["value", "hardness_gpa", "roundness"].contains(&name)
}

fn with_range(header: &[String], row: &[String], i: usize) -> String {
    let get = |name: &str| header.iter().position(|h| h == name).map(|j| row[j].as_str());
    let name = header[i].as_str();
    let ends = match (get(&format!("{name}_low")), get(&format!("{name}_high"))) {
        (Some(low), Some(high)) => Some((low, high)),
        _ if is_value(name) => get("low").zip(get("high")),
        _ => None,
    };
    match ends {
        Some((low, high)) if low != high => format!("{} ({low} to {high})", row[i]),
        _ => row[i].clone(),
    }
}

/// Every source once, with the rows that rest on it.
fn sources(header: &[String], rows: &[Vec<String>]) -> String {
    let Some(column) = header.iter().position(|h| h == "source") else { return String::new() };
    let mut grouped: Vec<(&str, Vec<&str>)> = Vec::new();
    for row in rows {
        let key = row[0].as_str();
        match grouped.iter_mut().find(|g| g.0 == row[column]) {
            Some((_, keys)) if keys.last() != Some(&key) => keys.push(key),
            Some(_) => {}
            None => grouped.push((&row[column], vec![key])),
        }
    }
    let mut text = String::from("\nSources\n");
    for (source, keys) in grouped {
        let all = keys.len() == rows.len();
        let whose = if all { "all rows".to_owned() } else { keys.join(", ") };
        text += &wrap(&format!("{source} [{whose}]"), 100, "  - ", "    ");
    }
    text
}
