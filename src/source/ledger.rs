//! A CSV file that only ever grows, one line for each thing that happened.
//!
//! A line is added with one write under an exclusive lock and brought to the disk before the caller goes on. A crash can only
//! cut the last line short; it then lacks its line feed. The next writer closes such a line with the word `torn`, and readers
//! pass over it. Nothing that stands in the file is ever changed or removed; what the disk had no room for is taken off again. A line
//! that starts with `#` is a remark, and a header that stands once more is passed over: two copies of a file may be joined.

use super::{Fault, Located, Place, ReadError, read_most};
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
/// The most that is read of one: some hundred thousand lines.
const MAX_BYTES: u64 = 64 << 20;
/// Above this a new one is worth beginning: every call reads the whole file.
const LONG_BYTES: u64 = 8 << 20;

/// The form of such a file.
#[derive(Debug, Clone, Copy)]
pub struct Ledger {
    /// What it is, in errors: `register of lots`.
    pub what: &'static str,
    /// Its columns.
    pub columns: &'static [&'static str],
    /// Columns that it had in earlier versions, the latest first: some of those of now, in the same order. A file that begins with them
    /// goes on with them, and what they lack is empty.
    pub earlier: &'static [&'static [&'static str]],
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
    /// More than a register may have, 64 MiB.
    #[error(
        "{file}: the register is larger than {} MiB; nothing was changed: keep it as it is, and begin a new one under another name",
        MAX_BYTES >> 20
    )]
    TooLarge {
        /// The register.
        file: String,
    },
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

/// What became of a line that was to be added.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Added {
    /// An earlier line that a crash had cut short, now marked so.
    pub torn: Option<usize>,
    /// The file has grown so long that a new one is worth beginning.
    pub is_long: bool,
}

impl Added {
    /// What whoever added to this file is to be told.
    pub fn remarks(&self, file: &Path) -> Vec<String> {
        let file = file.display();
        let torn = self.torn.map(|line| {
            format!("{file}:{line}: this line was cut short, by a crash it seems; it is kept, marked torn")
        });
        let long = self.is_long.then(|| {
            let [long, most] = [LONG_BYTES, MAX_BYTES].map(|b| b >> 20);
            format!(
                "{file}: larger than {long} MiB, of {most} MiB at most; begin a new one under another name, and keep this one"
            )
        });
        torn.into_iter().chain(long).collect()
    }
}

/// What the last bytes of a file are.
enum LastBytes {
    /// Every line is whole.
    Whole,
    /// Only the last line feed is missing.
    Unended,
    /// The last line was cut short; an open quotation mark is in it or not.
    Torn { quoted: bool },
    /// The file ends within the header of these columns, of which it has so many bytes.
    Header { columns: &'static [&'static str], has: usize },
}

/// A file taken apart.
struct Parsed {
    lines: Lines,
    tail: LastBytes,
    /// The columns that its header names, once it was seen.
    headed: Option<&'static [&'static str]>,
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
        self.parse(&read_whole(&open, &file)?, &file).map(|parsed| parsed.lines)
    }

    /// Adds a line to a file, which is made if it is not there. `cells` looks at what stands there already, under the lock, and gives
    /// the cells of the line, or nothing to add; of a file that is not there it is asked once before it is made.
    ///
    /// # Errors
    /// [`LedgerError`]: locked, damaged or not writable; and what `cells` says. The file is then as it was.
    pub fn append<E: From<LedgerError>>(
        &self,
        path: &Path,
        mut cells: impl FnMut(&Lines) -> Result<Option<Vec<String>>, E>,
    ) -> Result<Added, E> {
        let file = path.display().to_string();
        let cannot = |cause| LedgerError::Write { file: file.clone(), cause };
        refuse_no_file(path, &file)?;
        if !path.exists() && cells(&Lines::default())?.is_none() {
            return Ok(Added::default());
        }
        let mut open = OpenOptions::new().read(true).append(true).create(true).open(path).map_err(cannot)?;
        locked(|| open.try_lock(), &file)?;
        let bytes = read_whole(&open, &file)?;
        let parsed = self.parse(&bytes, &file)?;
        let Some(cells) = cells(&parsed.lines)? else { return Ok(Added::default()) };
        let begun = match parsed.tail {
            LastBytes::Header { columns, .. } => Some(columns),
            _ => parsed.headed,
        };
        let cells = self.fitted(&cells, begun.unwrap_or(self.columns));
        let text = self.closing(&parsed) + &line_of(&cells).map_err(cannot)?;
        let length = bytes.len() as u64;
        if length + text.len() as u64 > MAX_BYTES {
            return Err(LedgerError::TooLarge { file }.into());
        }
        if let Err(cause) = open.write_all(text.as_bytes()).and_then(|()| open.sync_all()) {
            // Where even that is refused, readers know a line that was cut short.
            let _ = open.set_len(length);
            return Err(cannot(cause).into());
        }
        if bytes.is_empty() {
            sync_folder(path).map_err(cannot)?;
        }
        let is_torn = matches!(parsed.tail, LastBytes::Torn { .. });
        Ok(Added { torn: parsed.lines.torn.last().copied().filter(|_| is_torn), is_long: length > LONG_BYTES })
    }

    /// What has to stand before the next line.
    fn closing(&self, parsed: &Parsed) -> String {
        let ended = match &parsed.tail {
            LastBytes::Whole => String::new(),
            LastBytes::Unended => "\n".to_owned(),
            LastBytes::Torn { quoted } => format!("{}{TORN}\n", if *quoted { "\"" } else { "" }),
            LastBytes::Header { columns, has } => return header_of(columns)[*has..].to_owned(),
        };
        if parsed.headed.is_some() { ended } else { ended + &header_of(self.columns) }
    }

    /// The columns of now and those of earlier versions.
    fn forms(&self) -> impl Iterator<Item = &'static [&'static str]> {
        std::iter::once(self.columns).chain(self.earlier.iter().copied())
    }

    /// The cells of a line of now as columns of an earlier version have them.
    fn fitted(&self, cells: &[String], columns: &[&str]) -> Vec<String> {
        columns.iter().map(|c| self.cell(cells, c).to_owned()).collect()
    }

    fn parse(&self, bytes: &[u8], file: &str) -> Result<Parsed, LedgerError> {
        let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
        let mut lines = Lines::default();
        let (mut tail, mut headed): (_, Option<&'static [&'static str]>) = (LastBytes::Whole, None);
        for (i, written) in bytes.split_inclusive(|b| *b == b'\n').enumerate() {
            let number = i + 1;
            let ended = written.ends_with(b"\n");
            let line = written.trim_ascii();
            let begun = self.forms().find(|columns| header_of(columns).as_bytes().starts_with(written));
            if let Some(columns) = begun.filter(|_| headed.is_none() && !ended) {
                tail = LastBytes::Header { columns, has: written.len() };
                break;
            }
            tail = if ended { LastBytes::Whole } else { LastBytes::Unended };
            if line.is_empty() || line.starts_with(b"#") {
                continue;
            }
            // A copy that was joined on may be of another version.
            let header = self.forms().find(|columns| line == header_of(columns).trim_end().as_bytes());
            let Some(columns) = header.or(headed) else { return Err(self.no_header(file, number)) };
            headed = Some(columns);
            if header.is_some() {
                continue;
            }
            if line.ends_with(TORN.as_bytes()) {
                lines.torn.push(number);
            } else if !ended && self.was_cut_short(line, columns) {
                lines.torn.push(number);
                tail = LastBytes::Torn { quoted: line.iter().filter(|b| **b == b'"').count() % 2 == 1 };
            } else {
                let cells = whole(line, columns).map_err(|fault| LedgerError::line(file, number, fault))?;
                lines.rows.push((number, self.widened(cells, columns)));
            }
        }
        Ok(Parsed { lines, tail, headed })
    }

    fn no_header(&self, file: &str, number: usize) -> LedgerError {
        let header = header_of(self.columns);
        let problem = format!("this is no {}, whose first line is {}", self.what, header.trim_end());
        LedgerError::line(file, number, problem)
    }

    /// A line is written from its start: one that lacks cells, or an end of the last, was cut short.
    fn was_cut_short(&self, line: &[u8], columns: &[&str]) -> bool {
        let cells: Vec<String> = cells(line).iter().map(|c| String::from_utf8_lossy(c).into_owned()).collect();
        cells.len() < columns.len() || cells.len() == columns.len() && (self.is_cut_short)(&cells)
    }

    /// The cells of a line by the columns of now; empty, where its own columns lack one.
    fn widened(&self, cells: Vec<String>, columns: &[&str]) -> Vec<String> {
        let own = |column: &&str| columns.iter().position(|c| c == column).and_then(|i| cells.get(i).cloned());
        self.columns.iter().map(|column| own(column).unwrap_or_default()).collect()
    }

    /// A cell of a line by its column.
    pub fn cell<'r>(&self, row: &'r [String], column: &str) -> &'r str {
        self.columns.iter().position(|c| *c == column).and_then(|i| row.get(i)).map_or("", String::as_str)
    }
}

fn header_of(columns: &[&str]) -> String {
    columns.join(",") + "\n"
}

fn whole(line: &[u8], columns: &[&str]) -> Result<Vec<String>, Fault> {
    let cells: Result<Vec<String>, _> = cells(line).into_iter().map(String::from_utf8).collect();
    let cells = cells.map_err(|_| Fault::from("the line is not UTF-8 text"))?;
    match cells.len() == columns.len() {
        true => Ok(cells.iter().map(|c| c.trim().to_owned()).collect()),
        false => Err(format!("{} cells, but a register has {} columns", cells.len(), columns.len()).into()),
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

fn read_whole(open: &File, file: &str) -> Result<Vec<u8>, LedgerError> {
    read_most(open, file, MAX_BYTES, |file| LedgerError::TooLarge { file })
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

/// A name that a spreadsheet would calculate, or that starts with an apostrophe of its own, gets an apostrophe in front. White space
/// around it is taken off, as it is from every cell that is read.
pub fn guarded(name: &str) -> String {
    let name = name.trim();
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

    const FORM: Ledger =
        Ledger { what: "list", columns: &["name", "end"], earlier: &[], is_cut_short: |cells| cells[1] != "x" };

    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(line in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
            let text = [header_of(FORM.columns).as_bytes(), &line].concat();
            let _ = FORM.parse(&text, "list.csv");
            let _ = FORM.parse(&line, "list.csv");
        }
    }

    #[test]
    fn the_header_is_written_whenever_none_was_seen() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("list.csv");
        let row = || vec!["a".to_owned(), "x".to_owned()];
        for begun in
            ["", "\n\n", "# mine", "# mine\n", "\u{feff}", "# mine\nname,e", "name,end", "# mine\nname,end", " \n"]
        {
            std::fs::write(&path, begun).unwrap();
            FORM.append(&path, |_| Ok::<_, LedgerError>(Some(row()))).unwrap();
            let text = std::fs::read_to_string(&path).unwrap();
            assert!(text.starts_with(begun) && text.ends_with("name,end\na,x\n"), "{begun:?}: {text:?}");
            FORM.append(&path, |_| Ok::<_, LedgerError>(Some(row()))).unwrap();
            assert_eq!(FORM.read(&path).unwrap().rows.len(), 2, "{begun:?}");
        }
    }

    #[test]
    fn a_file_of_an_earlier_version_goes_on_as_it_is() {
        const NEWER: Ledger = Ledger {
            columns: &["name", "more", "end"],
            earlier: &[&["name", "end"]],
            is_cut_short: |cells| cells.last().is_none_or(|end| end != "x"),
            ..FORM
        };
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("list.csv");
        let row = || ["b", "7", "x"].map(str::to_owned).to_vec();
        let add = || NEWER.append(&path, |_| Ok::<_, LedgerError>(Some(row()))).unwrap();
        // The file keeps its columns, whether its header was whole or was cut short; what it lacks is empty.
        for (begun, text) in [
            ("name,end\na,x\n", "name,end\na,x\nb,x\n"),
            ("name,e", "name,end\nb,x\n"),
            ("name,end\na", "name,end\na,torn\nb,x\n"),
            ("name,", "name,more,end\nb,7,x\n"),
            ("", "name,more,end\nb,7,x\n"),
        ] {
            std::fs::write(&path, begun).unwrap();
            add();
            assert_eq!(std::fs::read_to_string(&path).unwrap(), text);
        }
        // A copy of another version may be joined on.
        std::fs::write(&path, "name,end\na,x\nname,more,end\nb,7,x\n").unwrap();
        let rows: Vec<Vec<String>> = NEWER.read(&path).unwrap().rows.into_iter().map(|(_, row)| row).collect();
        assert_eq!(rows, [["a", "", "x"], ["b", "7", "x"]]);
    }

    #[test]
    fn what_is_refused_makes_no_file_and_a_long_one_is_told() {
        let folder = tempfile::TempDir::new().unwrap();
        let path = folder.path().join("list.csv");
        FORM.append(&path, |_| Ok::<_, LedgerError>(None)).unwrap();
        assert!(!path.exists());
        let row = || Ok::<_, LedgerError>(Some(vec!["a".to_owned(), "x".to_owned()]));
        let remark = format!("#{}\n", "x".repeat((1 << 20) - 2));
        std::fs::write(&path, remark.repeat(8)).unwrap();
        assert_eq!(FORM.append(&path, |_| row()).unwrap(), Added::default());
        let long = FORM.append(&path, |_| row()).unwrap();
        assert!(long.is_long && long.remarks(&path)[0].contains("begin a new one under another name"));
        std::fs::write(&path, remark.repeat(64)).unwrap();
        let refused = FORM.append(&path, |_| row()).unwrap_err().to_string();
        assert!(refused.contains("larger than 64 MiB; nothing was changed"), "{refused}");
        assert_eq!(std::fs::metadata(&path).unwrap().len(), 64 << 20);
    }
}
