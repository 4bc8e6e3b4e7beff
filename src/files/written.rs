//! A scrub file written from the shelf.

use super::ScrubFileError;
use super::reader::TomlDocument;
use super::slips::{LEAST_LOAD_PCT, LOAD_IS_MEANT};
use crate::powder::ShelfPowder;
use crate::source::sheet_of;
use std::path::{Path, PathBuf};
use toml::de::DeValue;

/// A scrub file's text, and the size tables to be copied beside it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WrittenScrub {
    /// TOML.
    pub text: String,
    /// Table on the shelf, and the name it goes by beside the scrub file.
    pub tables: Vec<(PathBuf, String)>,
}

/// Writes a scrub of shelf powders; `shares` are % w/w of the scrub and become the parts. `note` stands above it as a
/// comment; `prefix` comes before the names of size tables, so that those of several scrubs can lie in one folder.
///
/// # Errors
/// [`ScrubFileError`] when a definition cannot be repeated.
pub fn write_scrub(
    name: &str,
    note: &str,
    shares: &[(&ShelfPowder, f64)],
    prefix: &str,
) -> Result<WrittenScrub, ScrubFileError> {
    let mut written = WrittenScrub { text: String::new(), tables: Vec::new() };
    for line in note.lines() {
        written.text += &format!("# {line}\n");
    }
    let load: f64 = shares.iter().map(|s| s.1).sum();
    written.text += &format!("\n[scrub]\nname = {}\npowder_load_pct = {}\n", quoted(name), number(load));
    if load < LEAST_LOAD_PCT {
        written.text += &format!("{LOAD_IS_MEANT} = true\n");
    }
    for (powder, pct) in shares {
        written.text += &format!("\n[[powder]]\nparts = {}\n", number(*pct));
        for (key, value) in &powder.definition {
            let value = match &powder.size_table {
                Some(table) if key == "size" => with_table(value, &written.name_of(table, prefix))?,
                _ => value.clone(),
            };
            written.text += &format!("{key} = {value}\n");
        }
    }
    Ok(written)
}

impl WrittenScrub {
    /// The name a table goes by: its own, with a number where another table has that already. The sheet of a workbook stands behind it.
    fn name_of(&mut self, table: &Path, prefix: &str) -> String {
        let (file, sheet) = sheet_of(table);
        let name = self.file_name_of(&file, prefix);
        sheet.map_or(name.clone(), |sheet| format!("{name}#{sheet}"))
    }

    fn file_name_of(&mut self, table: &Path, prefix: &str) -> String {
        if let Some((_, name)) = self.tables.iter().find(|(t, _)| t == table) {
            return name.clone();
        }
        let own = table.file_name().map_or("sizes.csv".into(), |n| n.to_string_lossy().into_owned());
        let taken = |name: &str| self.tables.iter().any(|(_, n)| n == name);
        let numbered = (2..).map(|i| format!("{prefix}{i}-{own}"));
        let name = std::iter::once(format!("{prefix}{own}")).chain(numbered).find(|n| !taken(n)).unwrap_or(own);
        self.tables.push((table.to_owned(), name.clone()));
        name
    }
}

/// A size with the table it names replaced by another name.
fn with_table(size: &str, table: &str) -> Result<String, ScrubFileError> {
    let text = format!("size = {size}");
    let document = TomlDocument::new("the shelf", &text);
    let root = document.parse()?;
    let value = root.get_ref().iter().find(|(k, _)| k.get_ref() == "size").map(|(_, v)| v.get_ref());
    let Some(DeValue::Table(size)) = value else { return Ok(text) };
    let named = size.iter().find(|(k, _)| ["sieve", "laser", "counts"].contains(&k.get_ref().as_ref()));
    let Some((_, named)) = named else { return Ok(text) };
    let span = named.span();
    let replaced = format!("{}{}{}", &text[..span.start], quoted(table), &text[span.end..]);
    Ok(replaced.trim_start_matches("size = ").to_owned())
}

/// A TOML string.
fn quoted(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}

/// The shortest decimal that reads back as the same number.
fn number(value: f64) -> String {
    format!("{value:?}")
}

#[cfg(test)]
mod tests {
    use super::with_table;

    #[test]
    fn a_table_is_renamed_wherever_it_stands() {
        let renamed = with_table("{ mesh_series = \"tyler\", sieve = 'a/b \"c\".csv' }", "lot.csv").unwrap();
        assert_eq!(renamed, "{ mesh_series = \"tyler\", sieve = \"lot.csv\" }");
    }
}
