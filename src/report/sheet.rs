//! Rows for other programs: CSV, and a spreadsheet.

use crate::source::FORMULA;
use crate::source::legible;

/// A cell of a sheet.
#[derive(Debug, Clone, PartialEq)]
pub enum Cell {
    /// A text.
    Text(String),
    /// A number.
    Number(f64),
}

/// A header and rows as wide as it.
#[derive(Debug, Clone, PartialEq)]
pub struct Spreadsheet {
    /// Name of the sheet within a spreadsheet.
    pub name: &'static str,
    /// Head of each column.
    pub header: Vec<&'static str>,
    /// Rows.
    pub rows: Vec<Vec<Cell>>,
}

/// Why a sheet could not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum SheetError {
    /// The CSV writer refused.
    #[error("the CSV cannot be written: {0}")]
    Csv(#[from] csv::Error),
    /// The spreadsheet writer refused.
    #[error("the spreadsheet cannot be written: {0}")]
    Xlsx(String),
}

impl Spreadsheet {
    /// As CSV (RFC 4180), UTF-8.
    ///
    /// # Errors
    /// [`SheetError::Csv`].
    pub fn to_csv(&self) -> Result<Vec<u8>, SheetError> {
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(&self.header)?;
        for row in &self.rows {
            let cells = row.iter().map(|cell| match cell {
                Cell::Text(text) => guarded(&legible(text)),
                Cell::Number(number) => number.to_string(),
            });
            writer.write_record(cells)?;
        }
        Ok(writer.into_inner().map_err(|e| csv::Error::from(e.into_error()))?)
    }

    /// As a spreadsheet (Office Open XML, ISO/IEC 29500). It carries no date, so that the same sheet gives the same bytes.
    ///
    /// # Errors
    /// [`SheetError::Xlsx`].
    #[cfg(feature = "xlsx")]
    pub fn to_xlsx(&self) -> Result<Vec<u8>, SheetError> {
        use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, XlsxError};
        let write = || -> Result<Vec<u8>, XlsxError> {
            let mut book = Workbook::new();
            let fixed = ExcelDateTime::from_ymd(2000, 1, 1)?;
            book.set_properties(&DocProperties::new().set_creation_datetime(&fixed));
            let sheet = book.add_worksheet();
            sheet.set_name(self.name)?;
            let bold = Format::new().set_bold();
            for (column, head) in (0_u16..).zip(&self.header) {
                sheet.write_string_with_format(0, column, *head, &bold)?;
            }
            for (line, row) in (1_u32..).zip(&self.rows) {
                for (column, cell) in (0_u16..).zip(row) {
                    match cell {
                        // A cell holds 32 767 characters.
                        Cell::Text(text) => {
                            sheet.write_string(line, column, text.chars().take(32_767).collect::<String>())?
                        }
                        Cell::Number(number) => sheet.write_number(line, column, *number)?,
                    };
                }
            }
            sheet.set_freeze_panes(1, 0)?;
            sheet.autofit();
            book.save_to_buffer()
        };
        write().map_err(|e| SheetError::Xlsx(e.to_string()))
    }
}

/// A text that no spreadsheet takes for a formula. Nothing reads a sheet back; the register of lots, which is read back, has
/// to tell a guard from an apostrophe of the text's own and guards that too.
fn guarded(text: &str) -> String {
    if text.starts_with(FORMULA) { format!("'{text}") } else { text.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet() -> Spreadsheet {
        let rows = vec![vec![Cell::Text("=1+1, \"x\"".into()), Cell::Number(0.1)]];
        Spreadsheet { name: "Batch", header: vec!["name", "grams"], rows }
    }

    #[test]
    fn a_name_is_no_formula() {
        assert_eq!(String::from_utf8(sheet().to_csv().unwrap()).unwrap(), "name,grams\n\"'=1+1, \"\"x\"\"\",0.1\n");
    }

    #[cfg(feature = "xlsx")]
    #[test]
    fn the_same_sheet_gives_the_same_bytes() {
        assert_eq!(sheet().to_xlsx().unwrap(), sheet().to_xlsx().unwrap());
    }
}
