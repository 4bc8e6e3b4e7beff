//! A file that holds a table: text, or the sheets of a workbook.

use super::{Files, ReadError, Sheet, sha256_hex, table_text};
use std::path::{Path, PathBuf};

/// What a table's file holds.
#[derive(Debug, Clone)]
pub enum TableContent {
    /// A text with cells in it.
    Text(String),
    /// The sheets of a workbook that are to be looked at.
    Sheets(Vec<Sheet>),
}

/// A file that holds a table, read.
#[derive(Debug, Clone)]
pub struct Tabular {
    /// What it is called in errors.
    pub file: String,
    /// What it holds.
    pub held: TableContent,
    /// SHA-256 of its bytes, in hexadecimal.
    pub sha256: String,
}

/// How every zip file starts, a workbook too.
const ZIP: &[u8] = b"PK\x03\x04";
/// How the workbooks of old start.
const COMPOUND: &[u8] = &[0xd0, 0xcf, 0x11, 0xe0];

/// The file of a name such as `lot.xlsx#Sheet 2`, and the sheet that it asks for.
pub fn sheet_of(name: &Path) -> (PathBuf, Option<String>) {
    let text = name.to_string_lossy();
    match text.to_lowercase().rfind(".xlsx#").and_then(|at| text.split_at_checked(at + ".xlsx".len())) {
        Some((file, sheet)) => (PathBuf::from(file), Some(sheet[1..].to_owned())),
        None => (name.to_owned(), None),
    }
}

impl Tabular {
    /// Reads a file, of whose sheets one may be named: `lot.xlsx#Sheet 2`.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn read(path: &Path, files: &dyn Files) -> Result<Self, ReadError> {
        let (file, sheet) = sheet_of(path);
        Self::of(&files.bytes(&file)?, &file.display().to_string(), sheet.as_deref())
    }

    /// From the bytes of a file that goes by the name `file`; `sheet` is the one wanted of a workbook.
    ///
    /// # Errors
    /// [`ReadError`].
    pub fn of(bytes: &[u8], file: &str, sheet: Option<&str>) -> Result<Self, ReadError> {
        let held = if bytes.starts_with(ZIP) {
            TableContent::Sheets(sheets(bytes, file, sheet)?)
        } else if bytes.starts_with(COMPOUND) {
            let why = "a workbook of the old kind (.xls), or one with a password; save it as .xlsx without one, or the sheet as CSV".to_owned();
            return Err(ReadError::Workbook { file: file.to_owned(), why });
        } else {
            TableContent::Text(table_text(bytes, file)?)
        };
        Ok(Self { file: file.to_owned(), held, sha256: sha256_hex(bytes) })
    }
}

#[cfg(feature = "xlsx")]
fn sheets(bytes: &[u8], file: &str, wanted: Option<&str>) -> Result<Vec<Sheet>, ReadError> {
    super::workbook::sheets(bytes, file, wanted)
}

#[cfg(not(feature = "xlsx"))]
fn sheets(_: &[u8], file: &str, _: Option<&str>) -> Result<Vec<Sheet>, ReadError> {
    let why = "a workbook, which this build does not read (feature xlsx); save the sheet as CSV".to_owned();
    Err(ReadError::Workbook { file: file.to_owned(), why })
}
