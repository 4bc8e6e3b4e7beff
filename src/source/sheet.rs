//! Tables that people keep in a spreadsheet: CSV with a header, each cell with its place.
//!
//! Columns may be separated by commas, semicolons or tabs; with the last two a comma is taken as the decimal mark. A cell in double quotes
//! may hold the separator and line ends, and `""` for a quotation mark (RFC 4180). Blank rows are passed over.

use super::{Fault, Located, Place, did_you_mean};
use csv_core::{ReadFieldResult, Reader, ReaderBuilder};

/// A table as it was read.
#[derive(Debug, Clone)]
pub struct Sheet {
    file: String,
    decimal_comma: bool,
    /// The names of the columns, in lower case; empty when the text holds nothing.
    pub header: Vec<String>,
    /// Where they stand.
    pub head: Row,
    /// The rows below them.
    pub rows: Vec<Row>,
}

/// A row with its line.
#[derive(Debug, Clone, Default)]
pub struct Row {
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1, and text of each cell, white space around it left out.
    pub cells: Vec<(usize, String)>,
}

impl Sheet {
    /// Reads a text. `file` names it in errors; `is_comment` tells lines to pass over.
    pub fn read(text: &str, file: &str, is_comment: impl Fn(&str) -> bool) -> Self {
        let first = text.lines().find(|l| !l.trim().is_empty() && !is_comment(l)).unwrap_or("");
        let delimiter = [';', '\t'].into_iter().find(|d| first.contains(*d)).unwrap_or(',');
        let mut rows = Rows::new(text, delimiter).collect(is_comment).into_iter();
        let head = rows.next().unwrap_or_else(|| Row { line: 1, cells: Vec::new() });
        let header = head.cells.iter().map(|c| c.1.to_lowercase()).collect();
        Self { file: file.to_owned(), decimal_comma: delimiter != ',', header, head, rows: rows.collect() }
    }

    /// Refuses columns that are not known, and one that stands twice. `form` goes behind the hint.
    ///
    /// # Errors
    /// [`Located`] at the first such column.
    pub fn check_columns(&self, known: &[&str], form: &str) -> Result<(), Located> {
        for (i, name) in self.header.iter().enumerate() {
            if !known.contains(&name.as_str()) {
                let hint = did_you_mean(name, known.iter().copied()) + form;
                return Err(self.error(&self.head, i, Fault::new(format!("unknown column \"{name}\""), hint)));
            }
            if self.header[..i].contains(name) {
                return Err(self.error(&self.head, i, format!("column \"{name}\" stands twice; keep one")));
            }
        }
        Ok(())
    }

    /// The place of a column in a row.
    pub fn position(&self, column: &str) -> Option<usize> {
        self.header.iter().position(|h| h == column)
    }

    /// A number as it is written, with a point as the decimal mark.
    pub fn decimal(&self, cell: &str) -> String {
        if self.decimal_comma { cell.replace(',', ".") } else { cell.to_owned() }
    }

    /// Where a cell of a row stands; the start of the row where there is no such cell.
    pub fn place(&self, row: &Row, cell: usize) -> Place {
        let column = row.cells.get(cell).map_or(1, |c| c.0);
        Place { file: self.file.clone(), line: Some(row.line), column: Some(column) }
    }

    /// An error at a cell.
    pub fn error(&self, row: &Row, cell: usize, fault: impl Into<Fault>) -> Located {
        Located::new(self.place(row, cell), fault)
    }

    /// An error at a line.
    pub fn error_at(&self, line: usize, fault: impl Into<Fault>) -> Located {
        Located::new(Place::line(&self.file, line), fault)
    }
}

/// A text being cut into rows.
struct Rows<'t> {
    text: &'t str,
    reader: Reader,
    delimiter: char,
    at: usize,
    line: usize,
    line_start: usize,
}

impl<'t> Rows<'t> {
    fn new(text: &'t str, delimiter: char) -> Self {
        let reader = ReaderBuilder::new().delimiter(delimiter as u8).build();
        Self { text, reader, delimiter, at: 0, line: 1, line_start: 0 }
    }

    fn collect(mut self, is_comment: impl Fn(&str) -> bool) -> Vec<Row> {
        let mut rows = Vec::new();
        let mut cell = vec![0; self.text.len()];
        while self.at < self.text.len() {
            let line = self.text[self.at..].lines().next().unwrap_or("");
            if line.trim().is_empty() || is_comment(line) {
                let ended = self.text[self.at..].find('\n').map_or(self.text.len() - self.at, |end| end + 1);
                self.pass(ended);
                continue;
            }
            let row = self.row(&mut cell);
            if row.cells.iter().any(|c| !c.1.is_empty()) {
                rows.push(row);
            }
        }
        rows
    }

    fn row(&mut self, cell: &mut [u8]) -> Row {
        let mut row = Row { line: self.line, cells: Vec::new() };
        loop {
            let rest = &self.text[self.at..];
            let is_space = |c: char| c.is_whitespace() && !['\n', '\r', self.delimiter].contains(&c);
            self.at += rest.len() - rest.trim_start_matches(is_space).len();
            let column = self.text[self.line_start..self.at].chars().count() + 1;
            let (result, read, written) = self.reader.read_field(&self.text.as_bytes()[self.at..], cell);
            row.cells.push((column, String::from_utf8_lossy(&cell[..written]).trim().to_owned()));
            self.pass(read);
            match result {
                ReadFieldResult::Field { record_end: false } => {}
                _ => break,
            }
        }
        // What is left of a line end is no row of its own.
        if self.text[self.at..].starts_with('\n') {
            self.pass(1);
        }
        row
    }

    /// Goes on by so many bytes.
    fn pass(&mut self, bytes: usize) {
        let passed = &self.text[self.at..self.at + bytes];
        self.line += passed.matches('\n').count();
        if let Some(end) = passed.rfind('\n') {
            self.line_start = self.at + end + 1;
        }
        self.at += bytes;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn cells(text: &str) -> Vec<(usize, String)> {
        Sheet::read(text, "s.csv", |line| line.starts_with('#')).head.cells
    }

    #[test]
    fn cells_know_their_columns_and_quotes() {
        assert_eq!(cells("a, b,c"), [(1, "a".into()), (4, "b".into()), (6, "c".into())]);
        assert_eq!(cells("\"a, \"\"x\"\"\",2"), [(1, "a, \"x\"".into()), (12, "2".into())]);
        assert_eq!(cells("µ;1,5;"), [(1, "µ".into()), (3, "1,5".into()), (7, String::new())]);
        assert_eq!(cells(" \"a\" ,b\r\n"), [(2, "a".into()), (7, "b".into())]);
    }

    #[test]
    fn rows_know_their_lines() {
        let text = "# head\r\n\r\na,b\r\n,\r\n# between\r\n\"1\n2\",3\r\nx,y\r\n\"open";
        let sheet = Sheet::read(text, "s.csv", |line| line.starts_with('#'));
        let lines: Vec<(usize, usize)> = sheet.rows.iter().map(|r| (r.line, r.cells.len())).collect();
        assert_eq!((sheet.head.line, lines), (3, vec![(6, 2), (8, 2), (9, 1)]));
        assert_eq!(sheet.rows[0].cells[1], (4, "3".into()));
        assert_eq!(sheet.rows[2].cells[0], (1, "open".into()));
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "[a\",;\t\n\r# µ]{0,40}") {
            let _ = Sheet::read(&text, "s.csv", |line| line.starts_with('#'));
        }
    }
}
