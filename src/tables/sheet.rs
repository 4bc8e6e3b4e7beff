//! One table file: its text, where it came from, and its rows with their lines.

use super::{Status, TableError};
use crate::source::{Fault, Located, Place, did_you_mean};
use csv_core::ReadRecordResult;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::cell::RefCell;

/// The header of a table, and its rows, each with its line.
pub type Cells = (Vec<String>, Vec<(usize, Vec<String>)>);

/// A table as text, built in or the user's.
#[derive(Debug, Clone, Serialize)]
pub struct TableFile {
    /// Its name, which is the file's stem.
    pub name: &'static str,
    /// What it holds, for people.
    pub about: &'static str,
    /// `built in`, or the path of the user's file.
    pub origin: String,
    /// The CSV.
    #[serde(skip)]
    pub text: String,
}

impl TableFile {
    /// The names of its columns.
    pub fn header(&self) -> Vec<String> {
        words_of(&self.split().0)
    }

    /// The header and all rows, each row with its line.
    ///
    /// # Errors
    /// [`TableError::Row`] at the first line that is not CSV of the header's width, or has no known status or no source.
    pub fn cells(&self) -> Result<Cells, TableError> {
        let (header, rows) = self.records()?;
        Ok((words_of(&header), rows.iter().map(|(line, row)| (*line, words_of(row))).collect()))
    }

    fn records(&self) -> Result<Records, TableError> {
        let (header, rows) = self.split();
        let names = words_of(&header);
        let origins = origin_columns(&names);
        if origins.is_empty() {
            return Err(self.error(1, "every table needs the columns status and source, of a row or of each number"));
        }
        for (line, row) in &rows {
            if row.len() != header.len() {
                let problem = format!("{} cells, but the header has {} columns", row.len(), header.len());
                return Err(self.error(*line, problem));
            }
            for of in &origins {
                of.check(&names, row).map_err(|problem| self.error(*line, problem))?;
            }
        }
        if rows.is_empty() {
            return Err(self.error(1, "the table has no rows"));
        }
        Ok((header, rows))
    }

    /// The header, empty where the text is, and the rows below it.
    fn split(&self) -> Records {
        let mut rows = split(&self.text).into_iter();
        (rows.next().map(|(_, header)| header).unwrap_or_default(), rows.collect())
    }

    /// All rows as `T`, each with its line. Unknown and missing columns are errors.
    ///
    /// # Errors
    /// As [`TableFile::cells`], and when a cell does not fit its column.
    pub fn rows<T: DeserializeOwned>(&self) -> Result<Vec<(usize, T)>, TableError> {
        let (header, rows) = self.records()?;
        let read = |(line, record): LineRow| match record.deserialize(Some(&header)) {
            Ok(row) => Ok((line, row)),
            Err(e) => Err(self.error(line, plain(&e, &header))),
        };
        rows.into_iter().map(read).collect()
    }

    /// Refuses a number in another unit than the built-in table has for what its row names.
    pub(super) fn in_units_of(&self, built_in: &Self) -> Result<(), TableError> {
        let ((header, rows), (known_header, known)) = (self.cells()?, built_in.cells()?);
        let columns = |header: &[String]| {
            let place = |name: &str| header.iter().position(|h| h == name);
            Some((place("value")?.checked_sub(1)?, place("unit")?))
        };
        let Some(((name, unit), (known_name, known_unit))) = columns(&header).zip(columns(&known_header)) else {
            return Ok(());
        };
        for (line, row) in &rows {
            let mut of_name = known.iter().filter(|(_, known)| known[known_name] == row[name]).peekable();
            let Some((_, first)) = of_name.peek() else { continue };
            let wanted = &first[known_unit];
            if !of_name.any(|(_, known)| known[known_unit] == row[unit]) {
                let what = format!("{} in the unit \"{}\"", row[name], row[unit]);
                return Err(self.error(*line, Fault::new(what, format!("write it in {wanted}"))));
            }
        }
        Ok(())
    }

    /// An error at a line of this table.
    pub fn error(&self, line: usize, fault: impl Into<Fault>) -> TableError {
        TableError::Row(Located::new(Place::line(self.file_label(), line), fault))
    }

    /// Refuses a word that is none of those known.
    pub(super) fn known<'k>(
        &self,
        line: usize,
        what: &str,
        word: &str,
        known: impl IntoIterator<Item = &'k str> + Clone,
    ) -> Result<(), TableError> {
        if known.clone().into_iter().any(|k| k == word) {
            return Ok(());
        }
        Err(self.error(line, format!("there is no {what} \"{word}\"; {}", did_you_mean(word, known))))
    }

    fn file_label(&self) -> String {
        if self.origin == BUILT_IN { format!("{}.csv ({BUILT_IN})", self.name) } else { self.origin.clone() }
    }
}

/// A row with its line.
type LineRow = (usize, csv::StringRecord);
/// The header and the rows below it.
type Records = (csv::StringRecord, Vec<LineRow>);

thread_local! {
    /// Making a reader's automaton takes longer than reading a table with it: all tables go through one.
    static READER: RefCell<csv_core::Reader> =
        RefCell::new(csv_core::ReaderBuilder::new().comment(Some(b'#')).build());
}

/// Cuts a CSV into rows, lines that begin with `#` left out, and white space around cells.
fn split(text: &str) -> Vec<LineRow> {
    READER.with_borrow_mut(|reader| {
        reader.reset();
        split_by(reader, text)
    })
}

fn split_by(reader: &mut csv_core::Reader, text: &str) -> Vec<LineRow> {
    let (mut cells, mut ends) = (vec![0; text.len()], vec![0; 64]);
    let (mut at, mut filled, mut count) = (0, 0, 0);
    let (mut line, mut rows) = (1, Vec::new());
    loop {
        let (found, read, written, ended) =
            reader.read_record(&text.as_bytes()[at..], &mut cells[filled..], &mut ends[count..]);
        (at, filled, count) = (at + read, filled + written, count + ended);
        match found {
            ReadRecordResult::InputEmpty => {}
            ReadRecordResult::OutputFull => cells.resize(2 * cells.len() + 1, 0),
            ReadRecordResult::OutputEndsFull => ends.resize(2 * ends.len(), 0),
            ReadRecordResult::Record => {
                rows.push((line, record(&cells[..filled], &ends[..count])));
                (filled, count, line) = (0, 0, reader.line() as usize);
            }
            ReadRecordResult::End => return rows,
        }
    }
}

/// A row of cells that stand one behind the other, from where each ends.
fn record(cells: &[u8], ends: &[usize]) -> csv::StringRecord {
    let mut row = csv::StringRecord::with_capacity(cells.len(), ends.len());
    let cells = std::str::from_utf8(cells).unwrap_or_default();
    let starts = std::iter::once(&0).chain(ends);
    starts.zip(ends).for_each(|(start, end)| row.push_field(cells.get(*start..*end).unwrap_or_default().trim()));
    row
}

fn words_of(record: &csv::StringRecord) -> Vec<String> {
    record.iter().map(str::to_owned).collect()
}

/// Where a header tells how well something is known and where it comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OriginColumns {
    /// Position of the status.
    pub status: usize,
    /// Position of the source.
    pub source: usize,
}

impl OriginColumns {
    fn check(self, header: &[String], row: &csv::StringRecord) -> Result<(), Fault> {
        let (status, source) = (&row[self.status], &row[self.source]);
        let (of_status, of_source) = (&header[self.status], &header[self.source]);
        let of_one_number = of_status != "status";
        if of_one_number && status.is_empty() && source.is_empty() {
            // A number that is not there has none; its reader knows whether it is.
            return Ok(());
        }
        if Status::of(status).is_none() {
            let words = Status::ALL.map(Status::key).join(", ");
            return Err(format!("{of_status} \"{status}\" must be one of: {words}").into());
        }
        if source.is_empty() {
            return Err(Fault::new(format!("the {of_source} is empty"), "say where the value comes from"));
        }
        Ok(())
    }
}

/// `status` and `source` of the whole row, and `X_status` and `X_source` of single numbers.
pub fn origin_columns(header: &[String]) -> Vec<OriginColumns> {
    let position = |name: &str| header.iter().position(|h| h == name);
    let of = |(i, name): (usize, &String)| {
        let stem = name.strip_suffix("source").filter(|stem| stem.is_empty() || stem.ends_with('_'))?;
        Some(OriginColumns { status: position(&format!("{stem}status"))?, source: i })
    };
    header.iter().enumerate().filter_map(of).collect()
}

/// The origin of an embedded table.
pub const BUILT_IN: &str = "built in";

/// What `csv` says, without its own position (a row built from cells has none) and with the column's name.
fn plain(e: &csv::Error, header: &csv::StringRecord) -> String {
    match e.kind() {
        csv::ErrorKind::Deserialize { err, .. } => {
            let column = err.field().and_then(|i| header.get(i as usize)).unwrap_or("this row");
            let said = err.kind().to_string();
            let said = match said.as_str() {
                s if s.contains("from empty string") => "a number is missing".to_owned(),
                s if s.contains("invalid float literal") || s.contains("invalid digit") => {
                    "a number is wanted".to_owned()
                }
                _ => said,
            };
            // An unknown word is quoted right behind the column.
            if said.starts_with('"') { format!("{column} {said}") } else { format!("{column}: {said}") }
        }
        other => format!("{other:?}"),
    }
}
