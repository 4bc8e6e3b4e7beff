//! One table file: its text, where it came from, and its rows with their lines.

use super::{Status, TableError};
use crate::source::{Fault, Located, Place, did_you_mean};
use serde::Serialize;
use serde::de::DeserializeOwned;

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
    ///
    /// # Errors
    /// [`TableError::Row`] when the first line is no CSV.
    pub fn header(&self) -> Result<Vec<String>, TableError> {
        match self.reader().headers() {
            Ok(h) => Ok(h.iter().map(str::to_owned).collect()),
            Err(e) => Err(self.csv_error(&e)),
        }
    }

    /// The header and all rows, each row with its line.
    ///
    /// # Errors
    /// [`TableError::Row`] at the first line that is not CSV of the header's width, or has no known status or no source.
    pub fn cells(&self) -> Result<Cells, TableError> {
        let (header, rows) = self.records()?;
        let words = |record: &csv::StringRecord| record.iter().map(str::to_owned).collect();
        Ok((words(&header), rows.iter().map(|(line, row)| (*line, words(row))).collect()))
    }

    fn records(&self) -> Result<(csv::StringRecord, Vec<(usize, csv::StringRecord)>), TableError> {
        let mut reader = self.reader();
        let header = reader.headers().map_err(|e| self.csv_error(&e))?.clone();
        let names: Vec<String> = header.iter().map(str::to_owned).collect();
        let origins = origin_columns(&names);
        if origins.is_empty() {
            return Err(self.error(1, "every table needs the columns status and source, of a row or of each number"));
        }
        let mut rows = Vec::new();
        for record in reader.into_records() {
            let record = record.map_err(|e| self.csv_error(&e))?;
            let line = record.position().map_or(1, |p| p.line() as usize);
            for of in &origins {
                of.check(&names, &record).map_err(|problem| self.error(line, problem))?;
            }
            rows.push((line, record));
        }
        if rows.is_empty() {
            return Err(self.error(1, "the table has no rows"));
        }
        Ok((header, rows))
    }

    /// All rows as `T`, each with its line. Unknown and missing columns are errors.
    ///
    /// # Errors
    /// As [`TableFile::cells`], and when a cell does not fit its column.
    pub fn rows<T: DeserializeOwned>(&self) -> Result<Vec<(usize, T)>, TableError> {
        let (header, rows) = self.records()?;
        let read = |(line, record): (usize, csv::StringRecord)| match record.deserialize(Some(&header)) {
            Ok(row) => Ok((line, row)),
            Err(e) => Err(self.error(line, plain(&e, &header))),
        };
        rows.into_iter().map(read).collect()
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

    fn reader(&self) -> csv::Reader<&[u8]> {
        csv::ReaderBuilder::new().comment(Some(b'#')).trim(csv::Trim::All).from_reader(self.text.as_bytes())
    }

    fn csv_error(&self, e: &csv::Error) -> TableError {
        let line = e.position().map_or(1, |p| p.line() as usize);
        self.error(line, plain(e, &csv::StringRecord::new()))
    }
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
            // An unknown word is quoted right behind the column.
            if said.starts_with('"') { format!("{column} {said}") } else { format!("{column}: {said}") }
        }
        csv::ErrorKind::UnequalLengths { expected_len, len, .. } => {
            format!("{len} cells, but the header has {expected_len} columns")
        }
        csv::ErrorKind::Utf8 { .. } => "not UTF-8 text".to_owned(),
        other => format!("{other:?}"),
    }
}
