//! `gritwise tables`

use super::{YesNo, output};
use crate::report::table_text;
use crate::tables::{TableFile, Tables};
use anyhow::Result;
use clap::Args;
use serde_json::{Map, Value, json};

/// List the grading tables in force, or show one with its sources
///
/// Every constant of the program is in these tables, each row with its value, range, status (published, from memory,
/// estimate, convention) and source. To change one, write it to a folder with --csv, edit it, and pass --tables DIR.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise tables\n  gritwise tables materials\n  gritwise tables materials --row olive-stone\n  \
                        gritwise tables bands --csv > my-tables/bands.csv"
)]
pub(super) struct TablesCommand {
    /// The table to show; without it, the list of tables
    name: Option<String>,

    /// Only the rows whose first column is this, in full
    #[arg(long, requires = "name", value_name = "KEY")]
    row: Option<String>,

    /// Print as JSON
    #[arg(long, conflicts_with = "csv")]
    json: bool,

    /// Print as CSV, just as it is in force
    #[arg(long, requires = "name", conflicts_with = "row")]
    csv: bool,
}

impl TablesCommand {
    pub(super) fn run(&self, tables: &Tables) -> Result<YesNo> {
        match &self.name {
            None if self.json => output::print_json(&tables.files())?,
            None => output::print(&table_text::list(tables.files())?)?,
            Some(name) => self.show(tables.file(name)?)?,
        }
        Ok(YesNo::Yes)
    }

    fn show(&self, file: &TableFile) -> Result<()> {
        if self.csv {
            return output::print(&file.text);
        }
        let (header, rows) = file.cells()?;
        let wanted = |row: &[String]| self.row.as_ref().is_none_or(|key| row.first() == Some(key));
        let rows: Vec<Vec<String>> = rows.into_iter().map(|(_, row)| row).filter(|row| wanted(row)).collect();
        if rows.is_empty() {
            let key = self.row.as_deref().unwrap_or_default();
            anyhow::bail!("table {} has no row \"{key}\"; gritwise tables {} lists them", file.name, file.name);
        }
        if self.json {
            return output::print_json(&as_json(file, &header, &rows));
        }
        let text = match self.row {
            Some(_) => table_text::records(&header, &rows),
            None => table_text::overview(file, &header, &rows),
        };
        output::print(&text)
    }
}

fn as_json(file: &TableFile, header: &[String], rows: &[Vec<String>]) -> Value {
    let cell = |text: &String| match text.parse::<f64>() {
        Ok(number) if number.is_finite() => json!(number),
        _ => json!(text),
    };
    let row = |row: &Vec<String>| header.iter().cloned().zip(row.iter().map(cell)).collect::<Map<String, Value>>();
    json!({
        "name": file.name,
        "about": file.about,
        "origin": file.origin,
        "rows": rows.iter().map(row).collect::<Vec<_>>(),
    })
}
