//! The register of lots: a CSV file that only ever grows, one line for each lot that was judged.
//!
//! How it is kept is told in [`Ledger`].

use super::lot::LotVerdict;
use crate::source::{
    Added, CalendarDate, FORMULA, Fault, Ledger, LedgerError, Lines, Place, acts, did_you_mean, guarded, legible,
    same_word, unguarded, wrong_in_line,
};
use crate::units::LARGEST_UM;
use std::hash::{Hash, Hasher};
use std::path::Path;

/// The columns.
const COLUMNS: [&str; 15] = [
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
    "unsure",
    "new_parts",
    "tables",
    "sha256",
];
/// Registers of earlier versions lack whether a verdict was unsure, and the new parts.
const WITHOUT_PARTS: [&str; 13] = [
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
const LEDGER: Ledger = Ledger { what: "register of lots", columns: &COLUMNS, earlier: &[&WITHOUT_PARTS], is_cut_short };
/// Longest lot code.
const LONGEST_CODE: usize = 64;
/// The most parts of a powder that a line may hold.
const MOST_PARTS: f64 = 1e6;
/// The largest index that a line may hold: far beyond any scrub's, and near enough for a chart to have steps.
const LARGEST_INDEX: f64 = 1e9;

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
    /// D10, D50 and D90, µm; `None` for one that lies where no sieve told it.
    pub percentiles_um: [Option<f64>; 3],
    /// Above the top size, % by volume; `None` where no sieve tells it.
    pub over_top_pct: Option<f64>,
    /// Index of the scrub made with the lot.
    pub index_with_lot: f64,
    /// Its band.
    pub band_with_lot: String,
    /// Whether the verdict was unsure; `None` where the register has no column for it.
    pub unsure: Option<bool>,
    /// Parts of the powder that bring the index back, if any; registers of earlier versions have no column for them.
    pub new_parts: Option<f64>,
    /// SHA-256 of every table, in hexadecimal.
    pub sha256: Vec<String>,
}

/// What can be wrong with a register.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum RegisterError {
    /// It cannot be read or written, or a line was damaged.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// This very table of this lot is in it already, with the same verdict and figures.
    #[error("{place}: lot {lot} of {powder} stands here already with the same table and verdict; nothing was added")]
    Repeated {
        /// File and line.
        place: Place,
        /// The lot.
        lot: String,
        /// The powder.
        powder: String,
    },
}

/// A supplier's code: 1 to 64 characters on one line, none that a spreadsheet would calculate. Typed in small letters it is the same code.
#[derive(Debug, Clone)]
pub struct LotCode(String);

impl PartialEq for LotCode {
    fn eq(&self, other: &Self) -> bool {
        same_word(&self.0, &other.0)
    }
}

impl Eq for LotCode {}

impl Hash for LotCode {
    fn hash<H: Hasher>(&self, state: &mut H) {
        self.0.to_ascii_lowercase().hash(state);
    }
}

impl LotCode {
    /// Takes a code if it can be one.
    ///
    /// # Errors
    /// What is wrong with it.
    pub fn new(text: &str) -> Result<Self, Fault> {
        let code = text.trim();
        if code.is_empty() || code.chars().count() > LONGEST_CODE || wrong_in_line(code).is_some() {
            return Err(format!("a lot code has 1 to {LONGEST_CODE} characters on one line").into());
        }
        if let Some(hidden) = code.chars().find(|c| acts(*c)) {
            let what = format!(
                "\"{}\" holds U+{:04X}, which nobody sees: type the code anew",
                legible(code),
                u32::from(hidden)
            );
            return Err(what.into());
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

/// Reads a register under a shared lock.
///
/// # Errors
/// [`RegisterError`]: not there, locked, or a damaged line.
pub fn read(path: &Path) -> Result<Register, RegisterError> {
    register_of(&LEDGER.read(path)?, &path.display().to_string())
}

/// What became of a lot that was added.
#[derive(Debug, Clone, PartialEq)]
pub struct Registered {
    /// What became of its line.
    pub added: Added,
    /// Another lot of which one of its tables stands in the register already, and the line: two lots do not measure alike to the last digit.
    pub twin: Option<(usize, Entry)>,
}

/// Adds a lot to a register, which is made if it is not there. The same table judged anew is a line of its own where verdict or figures
/// are others than those that hold.
///
/// # Errors
/// [`RegisterError`]: locked, damaged, the same verdict on the same table of the same lot again, or not writable. The file is then as it
/// was.
pub fn append(path: &Path, entry: &Entry) -> Result<Registered, RegisterError> {
    let file = path.display().to_string();
    let mut twin = None;
    let added = LEDGER.append(path, |lines| {
        let register = register_of(lines, &file)?;
        let own = |(_, e): &&(usize, Entry)| e.is_of(&entry.powder, entry.lot.as_str()) && e.scrub == entry.scrub;
        if let Some((line, e)) = last_of(register.entries.iter().filter(own)).filter(|(_, e)| says_the_same(e, entry)) {
            let (lot, powder) = (e.lot.0.clone(), e.powder.clone());
            return Err(RegisterError::Repeated { place: Place::line(&file, *line), lot, powder });
        }
        let other = |(_, e): &&(usize, Entry)| !e.is_of(&entry.powder, entry.lot.as_str());
        let shares = |(_, e): &&(usize, Entry)| e.sha256.iter().any(|hash| entry.sha256.contains(hash));
        twin = register.entries.iter().filter(other).find(shares).cloned();
        Ok::<_, RegisterError>(Some(cells_of(entry)))
    })?;
    Ok(Registered { added, twin })
}

/// The verdict that holds: that of the latest date, of one date that of the lowest line.
pub fn last_of<'a>(entries: impl Iterator<Item = &'a (usize, Entry)>) -> Option<&'a (usize, Entry)> {
    entries.max_by_key(|(line, e)| (e.date, *line))
}

/// Whether two verdicts on one lot in one scrub, whatever their days, are the same, as far as the register kept the earlier one.
fn says_the_same(earlier: &Entry, now: &Entry) -> bool {
    let (unsure, new_parts) = earlier.unsure.map_or((now.unsure, now.new_parts), |u| (Some(u), earlier.new_parts));
    let (lot, powder) = (now.lot.clone(), now.powder.clone());
    let earlier = Entry { date: now.date, lot, powder, unsure, new_parts, ..earlier.clone() };
    cells_of(&earlier) == cells_of(now)
}

impl Entry {
    /// Whether it is of a lot: that code of that powder. Typed in small letters both are the same.
    pub fn is_of(&self, powder: &str, lot: &str) -> bool {
        same_word(&self.powder, powder) && same_word(self.lot.as_str(), lot)
    }
}

fn register_of(lines: &Lines, file: &str) -> Result<Register, RegisterError> {
    let entry = |(line, row): &(usize, Vec<String>)| match entry_of(row) {
        Ok(entry) => Ok((*line, entry)),
        Err(fault) => Err(LedgerError::line(file, *line, fault)),
    };
    let entries = lines.rows.iter().map(entry).collect::<Result<_, _>>()?;
    Ok(Register { entries, torn: lines.torn.clone() })
}

/// The hashes of so many tables.
fn hashes(tables: &str, text: &str) -> Option<Vec<String>> {
    let is_hash = |t: &str| t.len() == 64 && t.bytes().all(|b| b.is_ascii_hexdigit());
    let all: Vec<String> = text.split(' ').map(str::to_owned).collect();
    (all.len().to_string() == tables && all.iter().all(|h| is_hash(h))).then_some(all)
}

/// Whether hashes are missing at the end of a line.
fn is_cut_short(cells: &[String]) -> bool {
    !matches!(cells, [.., tables, sha256] if hashes(tables, sha256).is_some())
}

fn entry_of(row: &[String]) -> Result<Entry, Fault> {
    let cell = |name: &str| LEDGER.cell(row, name);
    let text = |name: &str| match unguarded(cell(name)) {
        "" => Err(Fault::from(format!("{name} is empty"))),
        text => Ok(text.to_owned()),
    };
    let number = |name: &str, most: f64| match cell(name).parse::<f64>() {
        Ok(v) if (0.0..=most).contains(&v) => Ok(v),
        _ => Err(Fault::from(format!("{name} = \"{}\" is no number from 0 to {most}", cell(name)))),
    };
    let known = |name: &str, most: f64| if cell(name).is_empty() { Ok(None) } else { number(name, most).map(Some) };
    let size = |name: &str| known(name, LARGEST_UM);
    let percentiles_um = [size("d10_um")?, size("d50_um")?, size("d90_um")?];
    let sizes: Vec<f64> = percentiles_um.into_iter().flatten().collect();
    if sizes.first().is_some_and(|least| *least <= 0.0) || sizes.windows(2).any(|w| w[1] < w[0]) {
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
        over_top_pct: known("over_top_pct", 100.0)?,
        index_with_lot: number("index_with_lot", LARGEST_INDEX)?,
        band_with_lot: text("band_with_lot")?,
        unsure: match cell("unsure") {
            "" => None,
            "yes" => Some(true),
            "no" => Some(false),
            other => return Err(Fault::from(format!("unsure = \"{other}\" is neither yes nor no"))),
        },
        new_parts: known("new_parts", MOST_PARTS)?,
        sha256,
    })
}

fn cells_of(entry: &Entry) -> Vec<String> {
    let number = |v: f64| format!("{v:.3}");
    let known = |v: Option<f64>| v.map_or_else(String::new, number);
    let [d10, d50, d90] = entry.percentiles_um.map(known);
    vec![
        entry.date.to_string(),
        guarded(&entry.powder),
        entry.lot.0.clone(),
        guarded(&entry.scrub),
        entry.verdict.key().to_owned(),
        d10,
        d50,
        d90,
        known(entry.over_top_pct),
        number(entry.index_with_lot),
        guarded(&entry.band_with_lot),
        entry.unsure.map_or("", |unsure| if unsure { "yes" } else { "no" }).to_owned(),
        entry.new_parts.map_or_else(String::new, |parts| format!("{parts:.4}")),
        entry.sha256.len().to_string(),
        entry.sha256.join(" "),
    ]
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
            percentiles_um: [118.25, 165.5, 216.125].map(Some),
            over_top_pct: Some(1.5),
            index_with_lot: 53.75,
            band_with_lot: "delicate face".into(),
            unsure: Some(true),
            new_parts: Some(1.5),
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
        let header = COLUMNS.join(",").len() + 1;
        let ends = [header, one.len() - 65, one.len(), two.len() - 65, two.len()];
        let near = |end: &usize| end.is_multiple_of(9) || ends.iter().any(|e| end.abs_diff(*e) < 3);
        for end in (0..=two.len()).filter(near) {
            fs::write(&path, &two[..end]).unwrap();
            let kept = if end < one.len() - 1 { 0 } else { 1 + usize::from(end >= two.len() - 1) };
            assert_eq!(read(&path).unwrap().entries.len(), kept, "cut at {end}");
            let torn = append(&path, &entry("OS-3")).unwrap().added;
            let after = fs::read(&path).unwrap();
            assert!(after.starts_with(&two[..end]), "cut at {end}: bytes were changed");
            let register = read(&path).unwrap();
            assert_eq!(register.entries.len(), kept + 1, "cut at {end}");
            assert_eq!(register.entries.last().unwrap().1, entry("OS-3"));
            assert_eq!(register.torn, torn.torn.into_iter().collect::<Vec<_>>(), "cut at {end}");
        }
    }

    #[test]
    fn names_that_look_like_formulas_come_back_as_they_were() {
        let cells = cells_of(&entry("OS-1"));
        assert_eq!(cells[3], "'=Räucher polish");
        assert_eq!(entry_of(&cells).unwrap(), entry("OS-1"));
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
}
