//! The register of batches: what went into each, and what came of it. It only ever grows ([`Ledger`]); a line ends with a check of all
//! before it.

use super::sealed::{is_cut_short, number, one_line, sealed, unsealed};
use crate::lots::register::LotCode;
use crate::numerics::written::trimmed;
use crate::source::{
    Added, CalendarDate, Fault, Ledger, LedgerError, Lines, Place, guarded, same_word, unguarded, words,
};
use crate::units::Grams;
use serde::{Deserialize, Serialize};
use std::collections::{HashMap, HashSet};
use std::path::Path;

/// The columns.
const COLUMNS: [&str; 17] = [
    "event",
    "batch",
    "date",
    "product",
    "sha256",
    "total_g",
    "units",
    "unit_g",
    "unit_ml",
    "lines",
    "ph",
    "viscosity_pa_s",
    "yield_g",
    "fill_g",
    "retained",
    "note",
    "check",
];

const LEDGER: Ledger = Ledger { what: "register of batches", columns: &COLUMNS, earlier: &[], is_cut_short };

words! {
    /// What a line tells of.
    pub enum Event {
        /// What was weighed in.
        Weighed = "weighed",
        /// What came of it.
        Made = "made",
    }
}

/// What was weighed in of an ingredient or powder. The field names are keys of the register and of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Used {
    /// Its name.
    pub name: String,
    /// Code of its lot; absent where none was noted.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lot: Option<String>,
    /// As weighed, g.
    pub grams: f64,
}

impl Used {
    /// Whether it is of a lot: a code typed in small letters is the same code.
    pub fn is_of(&self, lot: &str) -> bool {
        self.lot.as_deref().is_some_and(|own| same_word(own, lot))
    }
}

/// A batch as it was weighed in.
#[derive(Debug, Clone, PartialEq)]
pub struct WeighedBatch {
    /// Its code.
    pub batch: LotCode,
    /// When.
    pub date: CalendarDate,
    /// Name of the scrub.
    pub product: String,
    /// SHA-256 of the formula file, in hexadecimal.
    pub sha256: String,
    /// All that was weighed in, g.
    pub total_g: f64,
    /// Units that it is to fill.
    pub units: Option<u32>,
    /// Nominal content of a unit, g.
    pub unit_g: Option<f64>,
    /// The same, mL, where it is stated by volume.
    pub unit_ml: Option<f64>,
    /// What went in.
    pub used: Vec<Used>,
}

/// What came of a batch; each part may be told in a line of its own.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct BatchOutcome {
    /// When.
    pub date: Option<CalendarDate>,
    /// Measured pH.
    pub ph: Option<f64>,
    /// Measured viscosity, Pa s.
    pub viscosity_pa_s: Option<f64>,
    /// What was had of it, g.
    pub yield_g: Option<f64>,
    /// Content of each unit that was weighed, g.
    pub fill_g: Vec<f64>,
    /// Units that were filled.
    pub units: Option<u32>,
    /// What was kept back.
    pub retained: Option<String>,
    /// Deviations, and anything else.
    pub note: Option<String>,
    /// What was weighed in other than by the sheet, in grams or of another lot.
    pub corrected: Vec<Used>,
}

/// A batch with all that is known of it.
#[derive(Debug, Clone, PartialEq)]
pub struct BatchRecord {
    /// Line of the register.
    pub line: usize,
    /// What went in.
    pub weighed: WeighedBatch,
    /// What came of it, in the order of the lines.
    pub outcomes: Vec<(usize, BatchOutcome)>,
}

/// A register as it was read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Batches {
    /// Batches, in the order of the file.
    pub records: Vec<BatchRecord>,
    /// Lines that were cut short by a crash.
    pub torn: Vec<usize>,
}

/// What can be wrong with a register of batches.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BatchesError {
    /// It cannot be read or written, or a line was damaged.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
    /// The batch is in it already.
    #[error("{place}: batch {batch} stands here already; nothing was added: give the new one a code of its own")]
    Repeated {
        /// File and line.
        place: Place,
        /// The batch.
        batch: String,
    },
    /// This very word on a batch is in it already.
    #[error(
        "{place}: just this stands here already of batch {batch}; nothing was added: a second weighing that found the same is told \
         apart by its --date or a --note"
    )]
    Told {
        /// File and line.
        place: Place,
        /// The batch.
        batch: String,
    },
    /// The batch is not in it.
    #[error("{file}: there is no batch {batch}; nothing was added: {hint}")]
    Unknown {
        /// The register.
        file: String,
        /// The batch.
        batch: String,
        /// The nearest one.
        hint: String,
    },
    /// What is to be noted cannot be.
    #[error("{0}")]
    Wrong(Fault),
}

/// Reads a register under a shared lock.
///
/// # Errors
/// [`BatchesError`].
pub fn read(path: &Path) -> Result<Batches, BatchesError> {
    batches_of(&LEDGER.read(path)?, &path.display().to_string())
}

/// Adds a batch; the register is made if it is not there.
///
/// # Errors
/// [`BatchesError`]; the file is then as it was.
pub fn append(path: &Path, weighed: &WeighedBatch) -> Result<Added, BatchesError> {
    let file = path.display().to_string();
    one_line("product", &weighed.product).map_err(BatchesError::Wrong)?;
    LEDGER.append(path, |lines| {
        let batches = batches_of(lines, &file)?;
        match batches.find(weighed.batch.as_str()) {
            Some(earlier) => Err(BatchesError::Repeated {
                place: Place::line(&file, earlier.line),
                batch: weighed.batch.as_str().to_owned(),
            }),
            None => Ok(Some(weighed_cells(weighed))),
        }
    })
}

/// Adds what came of a batch, and gives the batch with all that is known of it. `lots` are those that went in other than the register
/// says, by the name of what they are of.
///
/// # Errors
/// [`BatchesError`]; the file is then as it was.
pub fn append_outcome(
    path: &Path,
    batch: &LotCode,
    outcome: &BatchOutcome,
    lots: &[(String, LotCode)],
) -> Result<(BatchRecord, Added), BatchesError> {
    let file = path.display().to_string();
    if outcome.units == Some(0) && outcome.note.is_none() {
        return Err(BatchesError::Wrong(Fault::new("no unit was filled", "say with --note what became of the batch")));
    }
    for (name, text) in [("retained", &outcome.retained), ("note", &outcome.note)] {
        one_line(name, text.as_deref().unwrap_or("")).map_err(BatchesError::Wrong)?;
        if text.as_deref().is_some_and(|text| text.trim().is_empty()) {
            return Err(BatchesError::Wrong(Fault::new(format!("{name} is empty"), "leave it out, or say what it is")));
        }
    }
    // Opening a file to add to it makes it: a register that is not there holds no batch.
    LEDGER.read(path)?;
    let mut found = None;
    let added = LEDGER.append(path, |lines| {
        let batches = batches_of(lines, &file)?;
        let Some(record) = batches.find(batch.as_str()) else {
            let known = batches.records.iter().map(|r| r.weighed.batch.as_str());
            let hint = crate::source::did_you_mean(batch.as_str(), known);
            return Err(BatchesError::Unknown { file: file.clone(), batch: batch.as_str().to_owned(), hint });
        };
        let outcome = &with_lots(record, outcome, lots);
        let names = || record.weighed.used.iter().map(|u| u.name.as_str());
        if let Some(strange) = outcome.corrected.iter().find(|c| !names().any(|n| n == c.name)) {
            let hint = crate::source::did_you_mean(&strange.name, names());
            let what = format!("batch {} holds nothing named \"{}\"", batch.as_str(), strange.name);
            return Err(BatchesError::Wrong(Fault::new(what, hint)));
        }
        if let Some(twice) = outcome.corrected.iter().find(|c| names().filter(|n| *n == c.name).count() > 1) {
            let what = format!("batch {} holds \"{}\" in more than one place", batch.as_str(), twice.name);
            return Err(BatchesError::Wrong(Fault::new(what, "say in a note which of them is meant")));
        }
        let mut told = record.clone();
        told.outcomes.push((0, outcome.clone()));
        cannot_be(&told, outcome).map_err(BatchesError::Wrong)?;
        let cells = outcome_cells(&record.weighed.batch, outcome);
        if let Some((line, _)) = lines.rows.iter().find(|(_, row)| *row == cells) {
            let batch = record.weighed.batch.as_str().to_owned();
            return Err(BatchesError::Told { place: Place::line(&file, *line), batch });
        }
        found = Some(told);
        Ok(Some(cells))
    })?;
    let record = found.ok_or_else(|| BatchesError::Wrong("the batch was not found".into()))?;
    Ok((record, added))
}

/// What came of a batch, with lots set right: each stands beside the grams that were weighed in of it, and no grams are changed.
fn with_lots(record: &BatchRecord, outcome: &BatchOutcome, lots: &[(String, LotCode)]) -> BatchOutcome {
    let mut told = outcome.clone();
    for (name, lot) in lots {
        let lot = Some(lot.as_str().to_owned());
        match told.corrected.iter_mut().find(|c| c.name == *name) {
            Some(correct) => correct.lot = lot,
            None => {
                let grams = record.used().iter().find(|u| u.name == *name).map_or(0.0, |u| u.grams);
                told.corrected.push(Used { name: name.clone(), lot, grams });
            }
        }
    }
    told
}

/// How much more than was weighed in may be had of a batch: water that it drew, and the error of two balances.
const MOST_YIELD: f64 = 1.05;
/// How many times what the sheet says somebody may weigh in without a slip of the decimal point.
const MOST_CORRECTED: f64 = 5.0;

/// How many times its nominal content a unit holds at most.
const MOST_FILL: f64 = 2.0;

/// Refuses what cannot have come of a batch, with which `outcome` is told already: a slip that the register would keep for good.
fn cannot_be(record: &BatchRecord, outcome: &BatchOutcome) -> Result<(), Fault> {
    let weighed = &record.weighed;
    if let Some(date) = outcome.date.filter(|date| *date < weighed.date) {
        return Err(Fault::new(
            format!("the batch was weighed in on {}", weighed.date),
            format!("{date} is before that"),
        ));
    }
    for now in &outcome.corrected {
        let planned = weighed.used.iter().find(|u| u.name == now.name).map_or(0.0, |u| u.grams);
        if planned > 0.0 && now.grams > MOST_CORRECTED * planned {
            let what = format!("{}: {} g in place of the {planned} g of the sheet", now.name, now.grams);
            return Err(Fault::new(what, "look at the decimal point; a batch made anew is a batch of its own"));
        }
    }
    let total_g = record.total_g();
    let most = MOST_YIELD * total_g;
    let whole = record.outcome();
    // Less that was weighed in makes what was noted before impossible; any other word leaves that as it stands.
    let is_touched = |own: bool| own || !outcome.corrected.is_empty();
    let yield_g = whole.yield_g.filter(|_| is_touched(outcome.yield_g.is_some()));
    let units = whole.units.filter(|_| is_touched(outcome.units.is_some()));
    let filled = units.zip(weighed.unit_g).map(|(units, unit_g)| f64::from(units) * unit_g);
    let fills = &whole.fill_g;
    // A batch that was thrown away may have been weighed before.
    let units = outcome.units.or(record.units()).filter(|units| *units > 0);
    if let Some(units) = units.filter(|units| fills.len() > *units as usize) {
        let what = format!("{} fill weights, of {units} units", fills.len());
        return Err(Fault::new(what, "each unit is weighed once; say with --units how many were filled"));
    }
    if let Some((fill, unit_g)) =
        weighed.unit_g.and_then(|unit_g| Some((fills.iter().find(|f| **f > MOST_FILL * unit_g)?, unit_g)))
    {
        let what = format!("a fill weight of {fill} g, where {unit_g} g are wanted");
        return Err(Fault::new(what, "look at the decimal point; write the content alone, without its container"));
    }
    let contents: f64 = fills.iter().sum();
    if let Some(all) = whole.yield_g.filter(|all| contents > MOST_YIELD * all) {
        let what = format!("the fill weights sum to {contents} g, the yield is {all} g");
        return Err(Fault::new(what, "write what came of this batch alone, in g"));
    }
    let contents = Some(contents);
    let sums = [("the yield", yield_g), ("what the units hold", filled), ("the sum of the fill weights", contents)];
    for (what, grams) in sums {
        if let Some(grams) = grams.filter(|grams| *grams > most) {
            let what =
                format!("{what}, {} g, is more than was weighed in, {} g", trimmed(grams, 7), trimmed(total_g, 7));
            return Err(Fault::new(what, "write what came of this batch alone, in g"));
        }
    }
    Ok(())
}

impl Batches {
    /// A batch by its code, in whatever case it is typed.
    pub fn find(&self, batch: &str) -> Option<&BatchRecord> {
        self.records.iter().find(|r| same_word(r.weighed.batch.as_str(), batch))
    }

    /// Batches that hold a lot, whatever ingredient it is of.
    pub fn holding(&self, lot: &str) -> Vec<&BatchRecord> {
        let holds = |r: &&BatchRecord| r.used().iter().any(|u| u.is_of(lot));
        self.records.iter().filter(holds).collect()
    }

    /// Every code of a batch or a lot.
    pub fn codes(&self) -> Vec<String> {
        let of = |r: &BatchRecord| {
            let lots = r.used().into_iter().filter_map(|u| u.lot);
            std::iter::once(r.weighed.batch.as_str().to_owned()).chain(lots).collect::<Vec<_>>()
        };
        let mut all: Vec<String> = self.records.iter().flat_map(of).collect();
        all.sort();
        all.dedup();
        all
    }
}

impl BatchRecord {
    /// What went in, with what was set right afterwards.
    pub fn used(&self) -> Vec<Used> {
        let mut used = self.weighed.used.clone();
        for (_, outcome) in &self.outcomes {
            for correct in &outcome.corrected {
                if let Some(own) = used.iter_mut().find(|u| u.name == correct.name) {
                    own.grams = correct.grams;
                    own.lot = correct.lot.clone().or(own.lot.take());
                }
            }
        }
        used
    }

    /// All that was weighed in, with what was set right afterwards, g.
    pub fn total_g(&self) -> f64 {
        let by_sheet = self.weighed.used.iter().map(|u| u.grams).sum::<f64>();
        let change = self.used().iter().map(|u| u.grams).sum::<f64>() - by_sheet;
        // Sums of tenths stray in their last digits.
        let total = self.weighed.total_g + (change * 1e6).round() / 1e6;
        (total * 1e6).round() / 1e6
    }

    /// What came of it: of each part what was told last, fill weights and notes all of them.
    pub fn outcome(&self) -> BatchOutcome {
        let mut whole = BatchOutcome::default();
        for (_, o) in &self.outcomes {
            whole.date = o.date.or(whole.date);
            whole.ph = o.ph.or(whole.ph);
            whole.viscosity_pa_s = o.viscosity_pa_s.or(whole.viscosity_pa_s);
            whole.yield_g = o.yield_g.or(whole.yield_g);
            whole.units = o.units.or(whole.units);
            whole.fill_g.extend(&o.fill_g);
            whole.retained = o.retained.clone().or(whole.retained.take());
            let note = |a: String, b: &String| format!("{a}; {b}");
            whole.note = match (whole.note.take(), &o.note) {
                (Some(a), Some(b)) => Some(note(a, b)),
                (a, b) => a.or(b.clone()),
            };
            whole.corrected.extend(o.corrected.iter().cloned());
        }
        whole
    }

    /// Units that it filled, or was to fill.
    pub fn units(&self) -> Option<u32> {
        self.outcome().units.or(self.weighed.units)
    }
}

/// Of a line that stands twice, as where two copies of a register were joined, the first counts.
fn batches_of(lines: &Lines, file: &str) -> Result<Batches, BatchesError> {
    let mut batches = Batches { records: Vec::new(), torn: lines.torn.clone() };
    let (mut seen, mut places) = (HashSet::new(), HashMap::new());
    for (line, row) in lines.rows.iter().filter(|(_, row)| seen.insert(row)) {
        let wrong = |fault: Fault| LedgerError::line(file, *line, fault);
        unsealed(&LEDGER, row).map_err(wrong)?;
        let code = LotCode::new(LEDGER.cell(row, "batch")).map_err(wrong)?;
        let earlier = places.get(&code).and_then(|place: &usize| batches.records.get_mut(*place));
        match (Event::of(LEDGER.cell(row, "event")), earlier) {
            (Some(Event::Weighed), None) => {
                let weighed = weighed_of(row, code.clone()).map_err(wrong)?;
                places.insert(code, batches.records.len());
                batches.records.push(BatchRecord { line: *line, weighed, outcomes: Vec::new() });
            }
            (Some(Event::Weighed), Some(earlier)) => {
                let what =
                    format!("batch {} stands in line {} already, and other than here", code.as_str(), earlier.line);
                return Err(wrong(Fault::new(what, "only one of the two can be right")).into());
            }
            (Some(Event::Made), Some(earlier)) => earlier.outcomes.push((*line, outcome_of(row).map_err(wrong)?)),
            (Some(Event::Made), None) => {
                return Err(wrong(format!("batch {} was not weighed in above", code.as_str()).into()).into());
            }
            (None, _) => return Err(wrong("event must be weighed or made".into()).into()),
        }
    }
    Ok(batches)
}

fn weighed_of(row: &[String], batch: LotCode) -> Result<WeighedBatch, Fault> {
    let cell = |name: &str| LEDGER.cell(row, name);
    let figure = |name: &str| number(name, cell(name));
    Ok(WeighedBatch {
        batch,
        date: cell("date").parse()?,
        product: unguarded(cell("product")).to_owned(),
        sha256: cell("sha256").to_owned(),
        total_g: figure("total_g")?.ok_or("total_g is empty")?,
        units: whole(cell("units"))?,
        unit_g: figure("unit_g")?,
        unit_ml: figure("unit_ml")?,
        used: used_of(cell("lines"))?,
    })
}

fn outcome_of(row: &[String]) -> Result<BatchOutcome, Fault> {
    let cell = |name: &str| LEDGER.cell(row, name);
    let figure = |name: &str| number(name, cell(name));
    let text = |name: &str| Some(unguarded(cell(name)).to_owned()).filter(|t| !t.is_empty());
    let fill = |word: &str| number("fill_g", word)?.ok_or(Fault::from("fill_g is empty"));
    Ok(BatchOutcome {
        date: Some(cell("date")).filter(|d| !d.is_empty()).map(str::parse).transpose()?,
        ph: figure("ph")?,
        viscosity_pa_s: figure("viscosity_pa_s")?,
        yield_g: figure("yield_g")?,
        fill_g: cell("fill_g").split_whitespace().map(fill).collect::<Result<_, _>>()?,
        units: whole(cell("units"))?,
        retained: text("retained"),
        note: text("note"),
        corrected: used_of(cell("lines"))?,
    })
}

fn whole(cell: &str) -> Result<Option<u32>, Fault> {
    let wrong = || Fault::from(format!("units = \"{cell}\" is no whole number"));
    if cell.is_empty() { Ok(None) } else { cell.parse().map(Some).map_err(|_| wrong()) }
}

/// What went in, as JSON: a name may hold any sign.
pub(super) fn used_of(cell: &str) -> Result<Vec<Used>, Fault> {
    if cell.is_empty() {
        return Ok(Vec::new());
    }
    let wrong = |what: String| Fault::from(format!("lines: {what}"));
    let used: Vec<Used> = serde_json::from_str(cell).map_err(|e| wrong(e.to_string()))?;
    used.iter().try_for_each(|u| Grams::new(u.grams).map(drop)).map_err(|e| wrong(e.to_string()))?;
    Ok(used)
}

fn used_cell(used: &[Used]) -> String {
    if used.is_empty() { String::new() } else { serde_json::to_string(used).unwrap_or_default() }
}

fn or_empty(value: Option<impl ToString>) -> String {
    value.map_or_else(String::new, |v| v.to_string())
}

fn weighed_cells(w: &WeighedBatch) -> Vec<String> {
    let [unit_g, unit_ml] = [w.unit_g, w.unit_ml].map(or_empty);
    let named = [Event::Weighed.key().to_owned(), w.batch.as_str().to_owned(), w.date.to_string(), guarded(&w.product)];
    let figures = [w.sha256.clone(), w.total_g.to_string(), or_empty(w.units), unit_g, unit_ml, used_cell(&w.used)];
    let empty = std::iter::repeat_n(String::new(), COLUMNS.len() - 1 - named.len() - figures.len());
    sealed(named.into_iter().chain(figures).chain(empty).collect())
}

fn outcome_cells(batch: &LotCode, o: &BatchOutcome) -> Vec<String> {
    let text = |text: &Option<String>| text.as_deref().map_or_else(String::new, guarded);
    let fills = o.fill_g.iter().map(f64::to_string).collect::<Vec<_>>().join(" ");
    let empty = String::new;
    sealed(vec![
        Event::Made.key().to_owned(),
        batch.as_str().to_owned(),
        or_empty(o.date),
        empty(),
        empty(),
        empty(),
        or_empty(o.units),
        empty(),
        empty(),
        used_cell(&o.corrected),
        or_empty(o.ph),
        or_empty(o.viscosity_pa_s),
        or_empty(o.yield_g),
        fills,
        text(&o.retained),
        text(&o.note),
    ])
}
