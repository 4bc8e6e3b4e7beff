//! The register of lots: a CSV file that only ever grows, one line for each lot that was judged.
//!
//! A line is added with one write under an exclusive lock and brought to the disk before the caller goes on. A crash can only
//! cut the last line short; it then lacks its line feed. The next writer closes such a line with the word `torn`, and readers
//! pass over it. Nothing that stands in the file is ever changed or removed. A line that starts with `#` is a remark.

use super::lot::LotVerdict;
use crate::source::{CalendarDate, Fault, Located, Place, ReadError, did_you_mean, read_bounded};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{ErrorKind, Write};
use std::path::Path;
use std::time::Duration;

/// The columns.
const COLUMNS: [&str; 13] = [
    "date",
    "powder",
    "lot",
    "scrub",
    "verdict",
    "d10_um",
    "d50_um",
    "d90_um",
    "over_top_pct",
    "index_with_lot",
    "band_with_lot",
    "tables",
    "sha256",
];
/// What closes a line that was cut short.
const TORN: &str = ",torn";
/// A cell that starts with one of these is a formula to a spreadsheet.
pub(crate) const FORMULA: [char; 5] = ['=', '+', '-', '@', '\t'];
/// How often a lock is tried for, and the wait between two tries: three seconds in all, far longer than any line takes.
const TRIES: u32 = 61;
const WAIT: Duration = Duration::from_millis(50);
/// Longest lot code.
const LONGEST_CODE: usize = 64;

/// A lot as it was judged.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// When.
    pub date: CalendarDate,
    /// The powder.
    pub powder: String,
    /// The supplier's code of the lot.
    pub lot: LotCode,
    /// The scrub that it was judged in.
    pub scrub: String,
    /// The verdict.
    pub verdict: LotVerdict,
    /// D10, D50 and D90, µm.
    pub percentiles_um: [f64; 3],
    /// Above the top size, % by volume.
    pub over_top_pct: f64,
    /// Index of the scrub made with the lot.
    pub index_with_lot: f64,
    /// Its band.
    pub band_with_lot: String,
    /// SHA-256 of every table, in hexadecimal.
    pub sha256: Vec<String>,
}

/// What can be wrong with a register.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RegisterError {
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
    /// This very table of this lot is in it already.
    #[error("{place}: lot {lot} of {powder} stands here already with the same table; nothing was added")]
    Repeated {
        /// File and line.
        place: Place,
        /// The lot.
        lot: String,
        /// The powder.
        powder: String,
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

/// A supplier's code: 1 to 64 characters on one line, none that a spreadsheet would calculate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LotCode(String);

impl LotCode {
    /// Takes a code if it can be one.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn new(text: &str) -> Result<Self, Fault> {
        let code = text.trim();
        if code.is_empty() || code.chars().count() > LONGEST_CODE || code.chars().any(char::is_control) {
            return Err(format!("a lot code has 1 to {LONGEST_CODE} characters on one line").into());
        }
        if code.starts_with(FORMULA) {
            let lead: String = code.chars().take(1).collect();
            return Err(format!(
                "\"{code}\" begins with {lead}, so a spreadsheet would take it for a formula; put a letter in front, \
                 such as \"lot {code}\""
            )
            .into());
        }
        if code.starts_with('\'') {
            return Err(
                format!("\"{code}\" begins with an apostrophe, which spreadsheets swallow; leave it out").into()
            );
        }
        Ok(Self(code.to_owned()))
    }

    /// The code.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

/// A register as it was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Register {
    /// Lots with their lines, in the order of the file.
    pub entries: Vec<(usize, Entry)>,
    /// Lines that were cut short by a crash.
    pub torn: Vec<usize>,
}

/// What the last bytes of a register are.
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

/// Reads a register under a shared lock.
///
/// # Errors
/// [`RegisterError`]: not there, locked, or a damaged line.
pub fn read(path: &Path) -> Result<Register, RegisterError> {
    let file = path.display().to_string();
    refuse_no_file(path, &file)?;
    let open = File::open(path).map_err(|cause| match cause.kind() {
        ErrorKind::NotFound => ReadError::Missing { file: file.clone() },
        _ => ReadError::Io { file: file.clone(), cause },
    })?;
    locked(|| open.try_lock_shared(), &file)?;
    parse(&read_bounded(&open, &file)?, &file).map(|(register, _)| register)
}

/// Adds a lot to a register, which is made if it is not there; returns the line of an earlier one that a crash had cut short.
///
/// # Errors
/// [`RegisterError`]: locked, damaged, the same table of the same lot again, or not writable. The file is then as it was.
pub fn append(path: &Path, entry: &Entry) -> Result<Option<usize>, RegisterError> {
    let file = path.display().to_string();
    let cannot = |cause| RegisterError::Write { file: file.clone(), cause };
    refuse_no_file(path, &file)?;
    let mut open = OpenOptions::new().read(true).append(true).create(true).open(path).map_err(cannot)?;
    locked(|| open.try_lock(), &file)?;
    let bytes = read_bounded(&open, &file)?;
    let (register, tail) = parse(&bytes, &file)?;
    let again = |(_, e): &&(usize, Entry)| {
        e.powder == entry.powder && e.lot == entry.lot && e.scrub == entry.scrub && e.sha256 == entry.sha256
    };
    if let Some((line, e)) = register.entries.iter().find(again) {
        let (lot, powder) = (e.lot.0.clone(), e.powder.clone());
        return Err(RegisterError::Repeated { place: Place::line(file, *line), lot, powder });
    }
    let closing = match tail {
        Tail::Whole => String::new(),
        Tail::Unended => "\n".to_owned(),
        Tail::Torn { quoted } => format!("{}{TORN}\n", if quoted { "\"" } else { "" }),
        Tail::Headless { has } => header()[has..].to_owned(),
    };
    let text = closing + &line_of(entry).map_err(cannot)?;
    open.write_all(text.as_bytes()).and_then(|()| open.sync_all()).map_err(cannot)?;
    if bytes.is_empty() {
        sync_folder(path).map_err(cannot)?;
    }
    Ok(matches!(tail, Tail::Torn { .. }).then(|| register.torn.last().copied()).flatten())
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
fn refuse_no_file(path: &Path, file: &str) -> Result<(), RegisterError> {
    let is_other = std::fs::metadata(path).is_ok_and(|m| !m.is_file());
    if is_other { Err(RegisterError::NoFile { file: file.to_owned() }) } else { Ok(()) }
}

/// Tries for a lock until it is had or another program has held it for too long.
fn locked(attempt: impl Fn() -> Result<(), TryLockError>, file: &str) -> Result<(), RegisterError> {
    let mut tried = attempt();
    for _ in 1..TRIES {
        if !matches!(tried, Err(TryLockError::WouldBlock)) {
            break;
        }
        std::thread::sleep(WAIT);
        tried = attempt();
    }
    tried.map_err(|e| match e {
        TryLockError::WouldBlock => RegisterError::Locked { file: file.to_owned() },
        TryLockError::Error(cause) => RegisterError::Read(ReadError::Io { file: file.to_owned(), cause }),
    })
}

fn header() -> String {
    COLUMNS.join(",") + "\n"
}

fn parse(bytes: &[u8], file: &str) -> Result<(Register, Tail), RegisterError> {
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    let mut register = Register::default();
    if header().as_bytes().starts_with(bytes) && bytes.len() < header().len() {
        return Ok((register, Tail::Headless { has: bytes.len() }));
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
            headed = is_header(line, file, number)?;
        } else if line.ends_with(TORN.as_bytes()) {
            register.torn.push(number);
        } else if !ended && is_cut_short(line) {
            register.torn.push(number);
            tail = Tail::Torn { quoted: line.iter().filter(|b| **b == b'"').count() % 2 == 1 };
        } else {
            let located = |fault| RegisterError::Line(Located::new(Place::line(file, number), fault));
            register.entries.push((number, entry_of(line).map_err(located)?));
            tail = if ended { Tail::Whole } else { Tail::Unended };
        }
    }
    Ok((register, tail))
}

fn is_header(line: &[u8], file: &str, number: usize) -> Result<bool, RegisterError> {
    if line == header().trim_end().as_bytes() {
        return Ok(true);
    }
    let problem = format!("this is no register of lots, whose first line is {}", header().trim_end());
    Err(RegisterError::Line(Located::new(Place::line(file, number), problem)))
}

fn cells(line: &[u8]) -> Vec<Vec<u8>> {
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(line);
    let mut record = csv::ByteRecord::new();
    // Reading from memory cannot fail.
    let _ = reader.read_byte_record(&mut record);
    record.iter().map(<[u8]>::to_vec).collect()
}

/// The hashes of so many tables.
fn hashes(tables: &str, text: &str) -> Option<Vec<String>> {
    let is_hash = |t: &str| t.len() == 64 && t.bytes().all(|b| b.is_ascii_hexdigit());
    let all: Vec<String> = text.split(' ').map(str::to_owned).collect();
    (all.len().to_string() == tables && all.iter().all(|h| is_hash(h))).then_some(all)
}

/// A line is written from its start: one that lacks cells, or hashes of the last cell, was cut short.
fn is_cut_short(line: &[u8]) -> bool {
    let cells: Vec<String> = cells(line).iter().map(|c| String::from_utf8_lossy(c).into_owned()).collect();
    match &cells[..] {
        [.., tables, sha256] if cells.len() == COLUMNS.len() => hashes(tables, sha256).is_none(),
        _ => cells.len() < COLUMNS.len(),
    }
}

fn entry_of(line: &[u8]) -> Result<Entry, Fault> {
    let cells: Result<Vec<String>, _> = cells(line).into_iter().map(String::from_utf8).collect();
    let cells = cells.map_err(|_| Fault::from("the line is not UTF-8 text"))?;
    if cells.len() != COLUMNS.len() {
        return Err(format!("{} cells, but a register has {} columns", cells.len(), COLUMNS.len()).into());
    }
    let cell = |name: &str| COLUMNS.iter().position(|c| *c == name).map_or("", |i| cells[i].trim());
    let text = |name: &str| match unguarded(cell(name)) {
        "" => Err(Fault::from(format!("{name} is empty"))),
        text => Ok(text.to_owned()),
    };
    let number = |name: &str| match cell(name).parse::<f64>() {
        Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
        _ => Err(Fault::from(format!("{name} = \"{}\" is no number of 0 or more", cell(name)))),
    };
    let percentiles_um = [number("d10_um")?, number("d50_um")?, number("d90_um")?];
    if percentiles_um[0] <= 0.0 || percentiles_um.windows(2).any(|w| w[1] < w[0]) {
        return Err("d10_um, d50_um and d90_um must be above 0 and rise".into());
    }
    let verdicts = LotVerdict::ALL.map(LotVerdict::key);
    let verdict = cell("verdict");
    let unknown = || Fault::new(format!("unknown verdict \"{verdict}\""), did_you_mean(verdict, verdicts));
    let sha256 = hashes(cell("tables"), cell("sha256"))
        .ok_or("sha256 must be 64 hexadecimal digits for each of the tables, with a space between")?;
    Ok(Entry {
        date: cell("date").parse()?,
        powder: text("powder")?,
        lot: LotCode::new(cell("lot"))?,
        scrub: text("scrub")?,
        verdict: LotVerdict::of(verdict).ok_or_else(unknown)?,
        percentiles_um,
        over_top_pct: number("over_top_pct")?,
        index_with_lot: number("index_with_lot")?,
        band_with_lot: text("band_with_lot")?,
        sha256,
    })
}

fn line_of(entry: &Entry) -> std::io::Result<String> {
    let mut writer = csv::WriterBuilder::new().from_writer(Vec::new());
    let number = |v: f64| format!("{v:.3}");
    let [d10, d50, d90] = entry.percentiles_um.map(number);
    let cells = [
        entry.date.to_string(),
        guarded(&entry.powder),
        entry.lot.0.clone(),
        guarded(&entry.scrub),
        entry.verdict.key().to_owned(),
        d10,
        d50,
        d90,
        number(entry.over_top_pct),
        number(entry.index_with_lot),
        guarded(&entry.band_with_lot),
        entry.sha256.len().to_string(),
        entry.sha256.join(" "),
    ];
    writer.write_record(cells)?;
    let bytes = writer.into_inner().map_err(|e| e.into_error())?;
    String::from_utf8(bytes).map_err(|e| std::io::Error::new(ErrorKind::InvalidData, e))
}

/// A name that a spreadsheet would calculate, or that starts with an apostrophe of its own, gets an apostrophe in front.
fn guarded(name: &str) -> String {
    let risky = name.starts_with(FORMULA) || name.starts_with('\'');
    if risky { format!("'{name}") } else { name.to_owned() }
}

fn unguarded(cell: &str) -> &str {
    cell.strip_prefix('\'').unwrap_or(cell)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;
    use tempfile::TempDir;

    fn entry(lot: &str) -> Entry {
        Entry {
            date: "2026-11-20".parse().unwrap(),
            powder: "Olive stone, \"sieved\"".into(),
            lot: LotCode::new(lot).unwrap(),
            scrub: "=Räucher polish".into(),
            verdict: LotVerdict::AcceptWithNewParts,
            percentiles_um: [118.25, 165.5, 216.125],
            over_top_pct: 1.5,
            index_with_lot: 53.75,
            band_with_lot: "delicate face".into(),
            sha256: vec![crate::source::sha256_hex(lot.as_bytes()); 2],
        }
    }

    #[test]
    fn a_crash_at_any_byte_costs_the_last_line_only() {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("lots.csv");
        append(&path, &entry("OS-1")).unwrap();
        let one = fs::read(&path).unwrap();
        append(&path, &entry("OS-2")).unwrap();
        let two = fs::read(&path).unwrap();
        assert!(two.starts_with(&one));
        // Every byte near an end of a line or of a hash, and some of all others: each costs a trip to the disk.
        let ends = [header().len(), one.len() - 65, one.len(), two.len() - 65, two.len()];
        let near = |end: &usize| end.is_multiple_of(9) || ends.iter().any(|e| end.abs_diff(*e) < 3);
        for end in (0..=two.len()).filter(near) {
            fs::write(&path, &two[..end]).unwrap();
            let kept = if end < one.len() - 1 { 0 } else { 1 + usize::from(end >= two.len() - 1) };
            assert_eq!(read(&path).unwrap().entries.len(), kept, "cut at {end}");
            let torn = append(&path, &entry("OS-3")).unwrap();
            let after = fs::read(&path).unwrap();
            assert!(after.starts_with(&two[..end]), "cut at {end}: bytes were changed");
            let register = read(&path).unwrap();
            assert_eq!(register.entries.len(), kept + 1, "cut at {end}");
            assert_eq!(register.entries.last().unwrap().1, entry("OS-3"));
            assert_eq!(register.torn, torn.into_iter().collect::<Vec<_>>(), "cut at {end}");
        }
    }

    #[test]
    fn names_that_look_like_formulas_come_back_as_they_were() {
        let line = line_of(&entry("OS-1")).unwrap();
        assert!(line.contains(",'=Räucher polish,"), "{line}");
        assert_eq!(entry_of(line.trim_end().as_bytes()).unwrap(), entry("OS-1"));
        for bad in ["=1+1", "+OS", "-1", "@SUM(A1)", " =1", "", "a\nb", "'=1"] {
            assert!(LotCode::new(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn many_writers_lose_nothing() {
        let folder = TempDir::new().unwrap();
        let path = folder.path().join("lots.csv");
        std::thread::scope(|scope| {
            for thread in 0..4 {
                let path = &path;
                scope.spawn(move || {
                    for i in 0..10 {
                        let entry = entry(&format!("OS-{thread}-{i}"));
                        // Each waits for the others.
                        append(path, &entry).unwrap();
                    }
                });
            }
        });
        let register = read(&path).unwrap();
        assert_eq!((register.entries.len(), register.torn.len()), (40, 0));
    }
    proptest::proptest! {
        #[test]
        fn no_bytes_make_it_panic(line in proptest::collection::vec(proptest::prelude::any::<u8>(), 0..300)) {
            let text = [header().as_bytes(), &line].concat();
            let _ = parse(&text, "lots.csv");
            let _ = parse(&line, "lots.csv");
        }
    }
}
