//! Tables that people keep in a spreadsheet: CSV with a header, each cell with its place.
//!
//! Columns may be separated by commas, semicolons or tabs; with the last two a comma is taken as the decimal mark. A first line such as
//! `sep=;` names the separator, as spreadsheets write it. A cell in double quotes may hold the separator and line ends, and `""` for a
//! quotation mark (RFC 4180). Blank rows are passed over. The sheets of a workbook are such tables too, with the names of their cells.

use super::{Fault, Located, Place, did_you_mean};
use csv_core::{ReadFieldResult, Reader, ReaderBuilder};

/// A table as it was read.
#[derive(Debug, Clone)]
pub struct Sheet {
    file: String,
    origin: CellOrigin,
    /// The names of the columns, in lower case; empty when the text holds nothing.
    pub header: Vec<String>,
    /// Where they stand.
    pub head: Row,
    /// The rows below them.
    pub rows: Vec<Row>,
}

/// Where the cells of a table come from, which decides how they are named and what a comma in them may be.
#[derive(Debug, Clone, PartialEq, Eq)]
enum CellOrigin {
    /// A text, its columns separated by this.
    Text {
        /// Comma, semicolon or tab.
        delimiter: char,
        /// A line of its own says so, which is written in every language.
        stated: bool,
    },
    /// A sheet of a workbook.
    #[cfg_attr(not(feature = "xlsx"), allow(dead_code, reason = "only the feature xlsx reads workbooks"))]
    Workbook {
        /// Its name.
        sheet: String,
    },
}

/// What stands behind a formula in its cell that no spreadsheet has worked out.
pub(crate) const NEVER_WORKED_OUT: &str = "(a formula that was never worked out: open the workbook and save it)";

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
        let mut lines = text.lines().filter(|l| !l.trim().is_empty() && !is_comment(l));
        let first = lines.next().unwrap_or("");
        let stated = stated_delimiter(first);
        let delimiter = stated.unwrap_or_else(|| [';', '\t'].into_iter().find(|d| first.contains(*d)).unwrap_or(','));
        let mut rows = Rows::new(text, delimiter).collect(is_comment);
        if stated.is_some() && !rows.is_empty() {
            rows.remove(0);
        }
        Self::with_head(file, CellOrigin::Text { delimiter, stated: stated.is_some() }, rows)
    }

    /// Reads a text whose columns are separated so, whatever its first line holds.
    pub fn separated(text: &str, file: &str, delimiter: char, is_comment: impl Fn(&str) -> bool) -> Self {
        Self::with_head(
            file,
            CellOrigin::Text { delimiter, stated: false },
            Rows::new(text, delimiter).collect(is_comment),
        )
    }

    /// A sheet of a workbook.
    #[cfg(feature = "xlsx")]
    pub(super) fn of_cells(file: &str, sheet: &str, rows: Vec<Row>) -> Self {
        Self::with_head(&format!("{file}#{sheet}"), CellOrigin::Workbook { sheet: sheet.to_owned() }, rows)
    }

    fn with_head(file: &str, origin: CellOrigin, rows: Vec<Row>) -> Self {
        let mut rows = rows.into_iter();
        let head = rows.next().unwrap_or_else(|| Row { line: 1, cells: Vec::new() });
        let header = head.cells.iter().map(|c| c.1.to_lowercase()).collect();
        Self { file: file.to_owned(), origin, header, head, rows: rows.collect() }
    }

    /// The same table with other rows: what was made of it is still told by its places.
    pub fn rebuilt(&self, head: Row, rows: Vec<Row>) -> Self {
        let header = head.cells.iter().map(|c| c.1.to_lowercase()).collect();
        let origin = match &self.origin {
            CellOrigin::Text { .. } => CellOrigin::Text { delimiter: ',', stated: true },
            workbook => workbook.clone(),
        };
        Self { file: self.file.clone(), origin, header, head, rows }
    }

    /// The same cells as CSV.
    ///
    /// # Errors
    /// None is known: what is written to is memory.
    pub fn to_csv(&self) -> csv::Result<String> {
        let mut writer = csv::WriterBuilder::new().flexible(true).from_writer(Vec::new());
        for row in std::iter::once(&self.head).chain(&self.rows) {
            writer.write_record(row.cells.iter().map(|cell| cell.1.as_str()))?;
        }
        let bytes = writer.into_inner().map_err(|e| csv::Error::from(e.into_error()))?;
        Ok(String::from_utf8_lossy(&bytes).into_owned())
    }

    /// The sheet's name, where it is of a workbook.
    pub fn name(&self) -> Option<&str> {
        match &self.origin {
            CellOrigin::Workbook { sheet } => Some(sheet),
            CellOrigin::Text { .. } => None,
        }
    }

    /// Whether a comma is the decimal mark: spreadsheets separate columns by semicolons where it is.
    pub fn is_of_decimal_commas(&self) -> bool {
        self.origin == CellOrigin::Text { delimiter: ';', stated: false }
    }

    /// Leaves out columns at the right end that hold nothing at all.
    pub fn without_empty_columns(mut self) -> Self {
        let width = |row: &Row| row.cells.iter().rposition(|c| !c.1.is_empty()).map_or(0, |last| last + 1);
        let used = self.rows.iter().map(width).chain([width(&self.head)]).max().unwrap_or(0);
        self.header.truncate(used);
        self.head.cells.truncate(used);
        self.rows.iter_mut().for_each(|row| row.cells.truncate(used));
        self
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
        match self.origin {
            CellOrigin::Text { delimiter: ';' | '\t', .. } => cell.replace(',', "."),
            _ => cell.to_owned(),
        }
    }

    /// Where a cell of a row stands; the start of the row where there is no such cell.
    pub fn place(&self, row: &Row, cell: usize) -> Place {
        let column = row.cells.get(cell).map_or(1, |c| c.0);
        Place { column: Some(column), ..Place::line(&self.file, row.line) }
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

/// `sep=;`, with which spreadsheets begin a text.
fn stated_delimiter(line: &str) -> Option<char> {
    let stated = line.trim_start_matches('\u{feff}').trim_matches(['"', ' ', '\r']).to_lowercase();
    let mut rest = stated.strip_prefix("sep=")?.chars();
    rest.next().filter(|c| [',', ';', '\t'].contains(c) && rest.next().is_none())
}

/// The letters that spreadsheets give a column, counted from 1.
pub(super) fn column_letters(column: usize) -> String {
    let mut letters = Vec::new();
    let mut left = column;
    while left > 0 {
        letters.push(char::from(b'A' + ((left - 1) % 26) as u8));
        left = (left - 1) / 26;
    }
    letters.iter().rev().collect()
}

/// A text being cut into rows.
struct Rows<'t> {
    text: &'t str,
    reader: Reader,
    delimiter: char,
    at: usize,
    line: usize,
    /// Characters of the line before `counted`.
    column: usize,
    counted: usize,
}

impl<'t> Rows<'t> {
    fn new(text: &'t str, delimiter: char) -> Self {
        let reader = ReaderBuilder::new().delimiter(delimiter as u8).build();
        Self { text, reader, delimiter, at: 0, line: 1, column: 0, counted: 0 }
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
            // Counted on from the last cell: a line of millions of cells is gone through once.
            self.column += self.text[self.counted..self.at].chars().count();
            self.counted = self.at;
            let column = self.column + 1;
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
            (self.column, self.counted) = (0, self.at + end + 1);
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
    fn a_first_line_may_name_the_separator() {
        for text in ["sep=;\na;b,c\n", "\"sep=;\"\na;b,c\n"] {
            assert_eq!(cells(text), [(1, "a".into()), (3, "b,c".into())]);
        }
        assert_eq!(cells("sep=\t\r\na\tb\n").len(), 2);
        assert_eq!(cells("sep=x,b\n")[0].1, "sep=x");
    }

    #[test]
    fn columns_have_the_letters_of_spreadsheets() {
        assert_eq!([1, 26, 27, 52, 53, 702, 703].map(column_letters), ["A", "Z", "AA", "AZ", "BA", "ZZ", "AAA"]);
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
