//! Grading tables as text: the list, one table with its sources, single rows in full.

use super::layout::{Grid, WIDTH, bullets, hung, inset, row, wrap};
use crate::tables::{OriginColumns, Status, TableError, TableFile, origin_columns};

/// Columns of the materials that an overview shows; ranges and statuses stand behind their value.
const MATERIAL_COLUMNS: [&str; 8] =
    ["key", "origin", "hardness_gpa", "density_g_cm3", "roundness", "soluble_g_per_100ml", "refused_by", "flags"];

/// What the letter behind a number stands for.
const LETTERS: &str =
    "p published, m from memory, e estimate, c convention; gritwise tables materials --row KEY shows a row in full";

/// All tables, a line each.
///
/// # Errors
/// [`TableError`] when a table cannot be read.
pub fn list(files: &[TableFile]) -> Result<String, TableError> {
    let mut table = Grid::new("lrll", &["table", "rows", "from", "holds"]);
    for file in files {
        table.row(row(file.name).and(file.cells()?.1.len().to_string()).and(&file.origin).and(file.about));
    }
    Ok(table.render())
}

/// One table: its columns, ranges behind their values, and below them which row comes from where.
pub fn overview(file: &TableFile, header: &[String], rows: &[Vec<String>]) -> String {
    let mut text = hung(format!("{}: {} (from: {})", file.name, file.about, file.origin)) + "\n";
    let shown = shown_columns(file, header);
    let has_letter = |i: usize| origins_of_numbers(header).any(|(_, of)| of == header[i]);
    let numeric = |i: usize| has_letter(i) || rows.iter().all(|r| r[i].is_empty() || r[i].parse::<f64>().is_ok());
    let aligns: String = shown.iter().map(|&i| if numeric(i) { 'r' } else { 'l' }).collect();
    let heads: Vec<&String> = shown.iter().map(|&i| &header[i]).collect();
    let line = |row: &Vec<String>| {
        shown.iter().map(|&i| with_range(header, row, i) + letter(header, row, i)).collect::<Vec<_>>()
    };
    text += &Grid::new(&aligns, &heads).rows(rows.iter().map(line)).render();
    if origins_of_numbers(header).next().is_some() {
        text += &inset(LETTERS);
    }
    text + &sources(header, rows)
}

/// Rows in full, a line per column.
pub fn records(header: &[String], rows: &[Vec<String>]) -> String {
    let width = header.iter().map(|h| h.chars().count()).max().unwrap_or(0);
    let mut text = String::new();
    for row in rows {
        for (name, cell) in header.iter().zip(row) {
            let rest = " ".repeat(width + 4);
            text += &wrap(cell, WIDTH, &format!("  {name:<width$}  "), &rest);
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

/// The numbers of a row that have a status and a source of their own: where these stand, and the column of the number.
fn origins_of_numbers(header: &[String]) -> impl Iterator<Item = (OriginColumns, &str)> {
    origin_columns(header).into_iter().filter_map(|columns| {
        let stem = header[columns.source].strip_suffix("_source")?;
        // The number's name goes on with its unit.
        let number = header.iter().find(|h| *h == stem || h.strip_prefix(stem).is_some_and(has_unit))?;
        Some((columns, number.as_str()))
    })
}

/// Whether what follows the stem of a column is a unit.
fn has_unit(rest: &str) -> bool {
    rest.starts_with('_') && !["_low", "_high", "_status", "_source"].contains(&rest)
}

/// The letter of a number's status, when it has one of its own.
fn letter(header: &[String], row: &[String], i: usize) -> &'static str {
    let own = origins_of_numbers(header).find(|(_, number)| *number == header[i]);
    match own.and_then(|(columns, _)| Status::of(&row[columns.status])) {
        Some(Status::Published) => " p",
        Some(Status::FromMemory) => " m",
        Some(Status::Estimate) => " e",
        Some(Status::Convention) => " c",
        None => "",
    }
}

/// Every source once, with the rows that rest on it; where each number has its own, with what it tells of.
fn sources(header: &[String], rows: &[Vec<String>]) -> String {
    let mut grouped: Vec<(String, Vec<&str>)> = Vec::new();
    for columns in origin_columns(header) {
        for row in rows.iter().filter(|row| !row[columns.source].is_empty()) {
            let source = &row[columns.source];
            let told = match header[columns.source].strip_suffix("_source") {
                Some(number) => format!("{number}, {}: {source}", row[columns.status]),
                None => source.clone(),
            };
            let key = row[0].as_str();
            match grouped.iter_mut().find(|g| g.0 == told) {
                Some((_, keys)) if keys.last() != Some(&key) => keys.push(key),
                Some(_) => {}
                None => grouped.push((told, vec![key])),
            }
        }
    }
    let whose = |keys: Vec<&str>| if keys.len() == rows.len() { "all rows".to_owned() } else { keys.join(", ") };
    let said = bullets(grouped.into_iter().map(|(source, keys)| format!("{source} [{}]", whose(keys))));
    format!("\nSources\n{said}")
}
