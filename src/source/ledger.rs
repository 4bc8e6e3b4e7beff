//! A CSV file that only ever grows, one line for each thing that happened.
//!
//! A line is added with one write under an exclusive lock and brought to the disk before the caller goes on. A crash can only
//! cut the last line short; it then lacks its line feed. The next writer closes such a line with the word `torn`, and readers
//! pass over it. Nothing that stands in the file is ever changed or removed. A line that starts with `#` is a remark.

use super::{Fault, Located, Place, ReadError, read_bounded};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Write};
use std::path::Path;
use std::time::Duration;

/// What closes a line that was cut short.
const TORN: &str = ",torn";
/// A cell that starts with one of these is a formula to a spreadsheet.
pub(crate) const FORMULA: [char; 5] = ['=', '+', '-', '@', '\t'];
/// How often a lock is tried for, and the wait between two tries: three seconds in all, far longer than any line takes.
const TRIES: u32 = 61;
const WAIT: Duration = Duration::from_millis(50);

/// The form of such a file.
#[derive(Debug, Clone, Copy)]
pub struct Ledger {
    /// What it is, in errors: `register of lots`.
    pub what: &'static str,
    /// Its columns.
    pub columns: &'static [&'static str],
    /// Whether a line with all its cells, but without its line feed, was cut short within the last of them.
    pub is_cut_short: fn(&[String]) -> bool,
}

/// Such a file as it was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Lines {
    /// Cells of each line that is whole, with its number.
    pub rows: Vec<(usize, Vec<String>)>,
    /// Lines that were cut short by a crash.
    pub torn: Vec<usize>,
}

/// What can be wrong with such a file.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LedgerError {
    /// It cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A line that was damaged.
    #[error("{0}; nothing was changed: mend the line, or put # in front of it to have it passed over")]
    Line(Located),
    /// It is a folder, a pipe or a device.
    #[error("{file}: a register is a plain file; this is none")]
    NoFile {
        /// The path.
        file: String,
    },
    /// Another program holds it.
    #[error("{file}: another program has the register locked; nothing was changed: try again when it is done")]
    Locked {
        /// The register.
        file: String,
    },
    /// The system refused.
    #[error("{file}: the register cannot be written: {cause}")]
    Write {
        /// The register.
        file: String,
        /// What the system said.
        cause: std::io::Error,
    },
}

impl LedgerError {
    /// A line that was damaged.
    pub fn line(file: &str, line: usize, fault: impl Into<Fault>) -> Self {
        Self::Line(Located::new(Place::line(file, line), fault))
    }
}

/// What the last bytes of a file are.
enum Tail {
    /// Every line is whole.
    Whole,
    /// Only the last line feed is missing.
    Unended,
    /// The last line was cut short; an open quotation mark is in it or not.
    Torn { quoted: bool },
    /// The file ends within the first line.
    Headless { has: usize },
}

impl Ledger {
    /// Reads a file under a shared lock.
    ///
    /// # Errors
    /// [`LedgerError`]: not there, locked, or a damaged line.
    pub fn read(&self, path: &Path) -> Result<Lines, LedgerError> {
        let file = path.display().to_string();
        refuse_no_file(path, &file)?;
        let open = File::open(path).map_err(|cause| match cause.kind() {
            ErrorKind::NotFound => ReadError::Missing { file: file.clone() },
            _ => ReadError::Io { file: file.clone(), cause },
        })?;
        locked(|| open.try_lock_shared(), &file)?;
        self.parse(&read_bounded(&open, &file)?, &file).map(|(lines, _)| lines)
    }

    /// Adds a line to a file, which is made if it is not there; returns the line of an earlier one that a crash had cut short.
    /// `cells` looks at what stands there already, under the lock, and gives the cells of the line, or nothing to add.
    ///
    /// # Errors
    /// [`LedgerError`]: locked, damaged or not writable; and what `cells` says. The file is then as it was.
    pub fn append<E: From<LedgerError>>(
        &self,
        path: &Path,
        cells: impl FnOnce(&Lines) -> Result<Option<Vec<String>>, E>,
    ) -> Result<Option<usize>, E> {
        let file = path.display().to_string();
        let cannot = |cause| LedgerError::Write { file: file.clone(), cause };
        refuse_no_file(path, &file)?;
        let mut open = OpenOptions::new().read(true).append(true).create(true).open(path).map_err(cannot)?;
        locked(|| open.try_lock(), &file)?;
        let bytes = read_bounded(&open, &file).map_err(LedgerError::from)?;
        let (lines, tail) = self.parse(&bytes, &file)?;
        let Some(cells) = cells(&lines)? else { return Ok(None) };
        let closing = match tail {
            Tail::Whole => String::new(),
            Tail::Unended => "\n".to_owned(),
            Tail::Torn { quoted } => format!("{}{TORN}\n", if quoted { "\"" } else { "" }),
            Tail::Headless { has } => self.header()[has..].to_owned(),
        };
        let text = closing + &line_of(&cells).map_err(cannot)?;
        open.write_all(text.as_bytes()).and_then(|()| open.sync_all()).map_err(cannot)?;
        if bytes.is_empty() {
            sync_folder(path).map_err(cannot)?;
        }
        Ok(matches!(tail, Tail::Torn { .. }).then(|| lines.torn.last().copied()).flatten())
    }

    fn header(&self) -> String {
        self.columns.join(",") + "\n"
    }

    fn parse(&self, bytes: &[u8], file: &str) -> Result<(Lines, Tail), LedgerError> {
        let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
        let header = self.header();
        let mut lines = Lines::default();
        if header.as_bytes().starts_with(bytes) && bytes.len() < header.len() {
            return Ok((lines, Tail::Headless { has: bytes.len() }));
        }
        let mut tail = Tail::Whole;
        let mut headed = false;
        for (i, line) in bytes.split_inclusive(|b| *b == b'\n').enumerate() {
            let number = i + 1;
            let ended = line.ends_with(b"\n");
            let line = line.trim_ascii();
            if line.is_empty() || line.starts_with(b"#") {
                tail = if ended { Tail::Whole } else { Tail::Unended };
            } else if !headed {
                headed = self.is_header(line, file, number)?;
            } else if line.ends_with(TORN.as_bytes()) {
                lines.torn.push(number);
            } else if !ended && self.was_cut_short(line) {
                lines.torn.push(number);
                tail = Tail::Torn { quoted: line.iter().filter(|b| **b == b'"').count() % 2 == 1 };
            } else {
                lines.rows.push((number, self.whole(line).map_err(|fault| LedgerError::line(file, number, fault))?));
                tail = if ended { Tail::Whole } else { Tail::Unended };
            }
        }
        Ok((lines, tail))
    }

    fn is_header(&self, line: &[u8], file: &str, number: usize) -> Result<bool, LedgerError> {
        let header = self.header();
        if line == header.trim_end().as_bytes() {
            return Ok(true);
        }
        let problem = format!("this is no {}, whose first line is {}", self.what, header.trim_end());
        Err(LedgerError::line(file, number, problem))
    }

    /// A line is written from its start: one that lacks cells, or an end of the last, was cut short.
    fn was_cut_short(&self, line: &[u8]) -> bool {
        let cells: Vec<String> = cells(line).iter().map(|c| String::from_utf8_lossy(c).into_owned()).collect();
        cells.len() < self.columns.len() || cells.len() == self.columns.len() && (self.is_cut_short)(&cells)
    }

    fn whole(&self, line: &[u8]) -> Result<Vec<String>, Fault> {
        let cells: Result<Vec<String>, _> = cells(line).into_iter().map(String::from_utf8).collect();
        let cells = cells.map_err(|_| Fault::from("the line is not UTF-8 text"))?;
        match cells.len() == self.columns.len() {
            true => Ok(cells.iter().map(|c| c.trim().to_owned()).collect()),
            false => Err(format!("{} cells, but a register has {} columns", cells.len(), self.columns.len()).into()),
        }
    }

    /// A cell of a line by its column.
    pub fn cell<'r>(&self, row: &'r [String], column: &str) -> &'r str {
        self.columns.iter().position(|c| *c == column).and_then(|i| row.get(i)).map_or("", String::as_str)
    }
}

/// A file is new to the disk only when its folder is.
#[cfg(unix)]
fn sync_folder(path: &Path) -> std::io::Result<()> {
    let folder = path.parent().filter(|f| !f.as_os_str().is_empty()).unwrap_or(Path::new("."));
    File::open(folder)?.sync_all()
}

#[cfg(not(unix))]
fn sync_folder(_: &Path) -> std::io::Result<()> {
    Ok(())
}

/// A pipe would be waited for without end.
fn refuse_no_file(path: &Path, file: &str) -> Result<(), LedgerError> {
    let is_other = std::fs::metadata(path).is_ok_and(|m| !m.is_file());
    if is_other { Err(LedgerError::NoFile { file: file.to_owned() }) } else { Ok(()) }
}

/// Tries for a lock until it is had or another program has held it for too long.
fn locked(attempt: impl Fn() -> Result<(), TryLockError>, file: &str) -> Result<(), LedgerError> {
    let mut tried = attempt();
    for _ in 1..TRIES {
        if !matches!(tried, Err(TryLockError::WouldBlock)) {
            break;
        }
        std::thread::sleep(WAIT);
        tried = attempt();
    }
    tried.map_err(|e| match e {
        TryLockError::WouldBlock => LedgerError::Locked { file: file.to_owned() },
        TryLockError::Error(cause) => LedgerError::Read(ReadError::Io { file: file.to_owned(), cause }),
    })
}

fn cells(line: &[u8]) -> Vec<Vec<u8>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(line);
    let mut record = csv::ByteRecord::new();
    // Reading from memory cannot fail.
    let _ = reader.read_byte_record(&mut record);
    record.iter().map(<[u8]>::to_vec).collect()
}

fn line_of(cells: &[String]) -> std::io::Result<String> {
    let mut writer = csv::WriterBuilder::new().from_writer(Vec::new());
    writer.write_record(cells)?;
    let bytes = writer.into_inner().map_err(|e| e.into_error())?;
    String::from_utf8(bytes).map_err(|e| std::io::Error::new(ErrorKind::InvalidData, e))
}

/// A name that a spreadsheet would calculate, or that starts with an apostrophe of its own, gets an apostrophe in front.
pub fn guarded(name: &str) -> String {
    let risky = name.starts_with(FORMULA) || name.starts_with('\'');
    if risky { format!("'{name}") } else { name.to_owned() }
}

/// A name as it was before it was guarded.
pub fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FORM: Ledger = Ledger { what: "list", columns: &["name", "end"], is_cut_short: |cells| cells[1] != "x" };

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(line in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
            let text = [FORM.header().as_bytes(), &line].concat();
            let _ = FORM.parse(&text, "list.csv");
            let _ = FORM.parse(&line, "list.csv");
        }
    }
}
