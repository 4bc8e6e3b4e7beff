//! Measured tables in CSV: a stack of sieves, a laser or other size-class table, or counts per class.
//!
//! | kind | size columns | one amount column |
//! |---|---|---|
//! | sieve, coarse to fine, last row `pan` or 0 | `opening_um`, `mesh` or `tyler_mesh` | `retained_g`, `retained_pct`, `cum_retained_pct`, `cum_passing_pct` |
//! | laser, fine to coarse | `lower_um`, `upper_um` | `volume_pct` |
//! | laser, fine to coarse | `size_um` | `cum_volume_pct` |
//! | counts, fine to coarse | `lower_um`, `upper_um` | `count` |
//!
//! Lines that start with `#` are comments, but `#100` in the mesh column is a sieve. Columns may be separated by commas,
//! semicolons or tabs; with semicolons or tabs a comma is taken as the decimal mark. A column `note` is passed over.
//!
//! A table in another form, as people keep it in a spreadsheet, is brought into this one by `understood`, and what was taken for what is
//! said in [`SizeRecord::understood`].

use super::standards::{FINEST_SIEVE_UM, MeshSeries, Standards};
use super::understood::{has_head, understood};
use super::{Measured, SizeError, SizeRecord};
use crate::source::{Located, Place, Row, Sheet, TableContent, Tabular, words};
use crate::units::{LARGEST_UM, Micrometres};
use std::path::Path;

words! {
    /// What a table holds, by the key of scrub files.
    pub enum TableKind {
        /// Masses on a stack of sieves. Within one powder of one density mass per cent is volume per cent.
        Sieve = "sieve",
        /// Volume per class.
        Laser = "laser",
        /// Number of grains per class.
        Counts = "counts",
    }
}

impl TableKind {
    /// As people write it.
    pub fn label(self) -> &'static str {
        match self {
            Self::Sieve => "sieve table",
            Self::Laser => "laser table",
            Self::Counts => "table of counts",
        }
    }
}

const KNOWN_COLUMNS: [&str; 14] = [
    "note",
    "opening_um",
    "mesh",
    "tyler_mesh",
    "retained_g",
    "retained_pct",
    "cum_retained_pct",
    "cum_passing_pct",
    "lower_um",
    "upper_um",
    "volume_pct",
    "size_um",
    "cum_volume_pct",
    "count",
];

const FORMS: &str = "a sieve table has opening_um or mesh with retained_g, retained_pct, cum_retained_pct or \
     cum_passing_pct; a laser table has lower_um,upper_um,volume_pct or size_um,cum_volume_pct; a table of counts has \
     lower_um,upper_um,count";

/// Sizes that follow each other differ by this share at least.
pub(super) const CLOSEST: f64 = 1e-6;

/// A laser has a hundred classes; of more than these nobody reads the curve.
const MOST_CLASSES: usize = 2_000;

/// How far percentages may sum from 100.
const SUM_TOLERANCE_PCT: f64 = 1.0;

/// Reads a table. `wanted` is the kind that the caller's key promises; `None` takes any. `file` names it in errors.
///
/// # Errors
/// [`SizeError::Table`] with file, line, what is wrong and what would be right; all wrong cells at once.
pub fn read(text: &str, file: &str, wanted: Option<TableKind>, standards: &Standards) -> Result<SizeRecord, SizeError> {
    of_sheet(headed(text, file, standards).0, file, wanted, standards)
}

/// The sheet of a text, and whether a row of it can be the head of a size table.
fn headed(text: &str, file: &str, standards: &Standards) -> (Sheet, bool) {
    let sheet = Sheet::read(text, file, is_comment).without_empty_columns();
    if is_own(&sheet) || has_head(&sheet, standards) {
        return (sheet, true);
    }
    // A title above the table may hold no separator, or another.
    let other = |delimiter| Sheet::separated(text, file, delimiter, is_comment).without_empty_columns();
    let apart = [';', '\t', ','].into_iter().map(other).find(|sheet| has_head(sheet, standards));
    apart.map_or((sheet, false), |sheet| (sheet, true))
}

/// Lines among which a table has its head, for who asks of many tables what they are.
const HEAD_LINES: usize = 200;

/// Whether a file has the head of a size table, whatever is wrong below it: a register or a list of scores has none.
pub fn has_sizes(tabular: &Tabular, standards: &Standards) -> bool {
    match &tabular.held {
        TableContent::Text(text) => {
            let head: String = text.split_inclusive('\n').take(HEAD_LINES).collect();
            headed(&head, &tabular.file, standards).1
        }
        TableContent::Sheets(sheets) => {
            let mut sheets = sheets.iter().map(|sheet| sheet.clone().without_empty_columns());
            sheets.any(|sheet| is_own(&sheet) || has_head(&sheet, standards))
        }
    }
}

/// Reads the table of a file: its text, or the one sheet of a workbook that holds a size table.
///
/// # Errors
/// As [`read`]; also where no sheet of a workbook holds a size table, or several do.
pub fn read_tabular(
    tabular: &Tabular,
    wanted: Option<TableKind>,
    standards: &Standards,
) -> Result<SizeRecord, SizeError> {
    match &tabular.held {
        TableContent::Text(text) => read(text, &tabular.file, wanted, standards),
        TableContent::Sheets(sheets) => {
            of_sheet(with_sizes(sheets, &tabular.file, standards)?, &tabular.file, wanted, standards)
        }
    }
}

/// The table of a file as a text that [`read`] reads: that of a workbook as CSV.
///
/// # Errors
/// As [`read_tabular`] where it looks for the sheet.
pub fn to_text(tabular: &Tabular, standards: &Standards) -> Result<String, SizeError> {
    match &tabular.held {
        TableContent::Text(text) => Ok(text.clone()),
        TableContent::Sheets(sheets) => {
            let sheet = with_sizes(sheets, &tabular.file, standards)?;
            sheet.to_csv().map_err(|e| Located::new(Place::file(tabular.file.as_str()), e.to_string()).into())
        }
    }
}

/// The one sheet of a workbook that holds a size table.
fn with_sizes(sheets: &[Sheet], file: &str, standards: &Standards) -> Result<Sheet, SizeError> {
    let sheets: Vec<Sheet> = sheets.iter().map(|sheet| sheet.clone().without_empty_columns()).collect();
    let with_head: Vec<&Sheet> = sheets.iter().filter(|s| is_own(s) || has_head(s, standards)).collect();
    let names = |sheets: &[&Sheet]| {
        sheets.iter().filter_map(|s| s.name()).map(|name| format!("\"{name}\"")).collect::<Vec<_>>().join(", ")
    };
    match (with_head.as_slice(), sheets.as_slice()) {
        ([one], _) => Ok((*one).clone()),
        ([], [only]) => Ok(only.clone()),
        ([], _) => {
            let problem =
                format!("none of the sheets {} holds a size table; {FORMS}", names(&sheets.iter().collect::<Vec<_>>()));
            Err(Located::new(Place::file(file), problem).into())
        }
        (several, _) => {
            let first = several[0].name().unwrap_or_default();
            let problem = format!(
                "the sheets {} all hold size tables; write \"{file}#{first}\" to take that one",
                names(several)
            );
            Err(Located::new(Place::file(file), problem).into())
        }
    }
}

/// Whether the columns have the names of this program.
fn is_own(sheet: &Sheet) -> bool {
    sheet.header.iter().all(|name| KNOWN_COLUMNS.contains(&name.as_str()))
}

/// A table in the form of this module, or else in any that can be understood.
fn of_sheet(
    sheet: Sheet,
    file: &str,
    wanted: Option<TableKind>,
    standards: &Standards,
) -> Result<SizeRecord, SizeError> {
    if let Some(row) = sheet.rows.get(MOST_CLASSES) {
        let (found, at) = (sheet.rows.len(), row.line);
        let problem =
            format!("{found} rows; a size table has at most {MOST_CLASSES} classes: group them, or take every tenth");
        return Err(sheet.error_at(at, problem).into());
    }
    let own = is_own(&sheet);
    let refused = match SizeSheet::new(sheet.clone()).and_then(|own| own.record(file, wanted, standards)) {
        Ok(record) => return Ok(record),
        Err(refused) => refused,
    };
    let other = match understood(&sheet, standards) {
        None if !sheet.header.iter().any(|name| KNOWN_COLUMNS.contains(&name.as_str())) => {
            let problem = format!(
                "no row names a column of sizes and one of amounts; write headings such as \"Sieve (µm)\" and \"Retained (g)\", or those \
                 of this program: {FORMS}"
            );
            return Err(sheet.error_at(sheet.head.line, problem).into());
        }
        None => return Err(refused),
        Some(Err(wrong)) => wrong.into(),
        Some(Ok(found)) => {
            let sheet = SizeSheet::new(found.sheet).map(|sheet| SizeSheet { names: found.names, ..sheet });
            match sheet.and_then(|sheet| sheet.record(file, wanted, standards)) {
                Ok(record) => {
                    let measured = record.measured.map(|m| Measured { lost_g: found.lost_g, ..m });
                    return Ok(SizeRecord { understood: Some(found.said), measured, ..record });
                }
                Err(wrong) => wrong,
            }
        }
    };
    // What keeps to the form is told in its words, unless units or decimal marks in its cells are all that those find wrong.
    let count = |e: &SizeError| if let SizeError::Table(all) = e { all.also.len() } else { 0 };
    Err(if own && count(&refused) <= count(&other) { refused } else { other })
}

/// A sheet that holds sizes.
struct SizeSheet {
    sheet: Sheet,
    /// Its columns as errors name them.
    names: Vec<String>,
}

impl std::ops::Deref for SizeSheet {
    type Target = Sheet;

    fn deref(&self) -> &Sheet {
        &self.sheet
    }
}

/// "#100" names a sieve; "# 100 g" and "#lot 7" are remarks.
fn is_comment(line: &str) -> bool {
    let rest = line.trim_start().strip_prefix('#');
    rest.is_some_and(|r| !r.starts_with(|c: char| c.is_ascii_digit()) || !r.contains([',', ';', '\t']))
}

impl SizeSheet {
    fn new(sheet: Sheet) -> Result<Self, SizeError> {
        let sheet = Self { names: sheet.header.clone(), sheet };
        sheet
            .check_columns(&KNOWN_COLUMNS, &format!(" {FORMS}"))
            .map_err(|e| sheet.error_at(sheet.head.line, e.fault))?;
        if sheet.rows.is_empty() {
            return Err(sheet
                .error_at(sheet.head.line, format!("the table has no rows below its header; {FORMS}"))
                .into());
        }
        let short = |row: &Row| {
            let (found, wanted, names) = (row.cells.len(), sheet.header.len(), sheet.header.join(","));
            let problem = format!("{found} cells, but the header names {wanted} columns ({names})");
            (found != wanted).then(|| sheet.error_at(row.line, problem))
        };
        match Located::all(sheet.rows.iter().filter_map(short)) {
            Some(all) => Err(all.into()),
            None => Ok(sheet),
        }
    }

    /// The sizes that the table holds.
    fn record(&self, file: &str, wanted: Option<TableKind>, standards: &Standards) -> Result<SizeRecord, SizeError> {
        let kind = self.kind()?;
        if let Some(wanted) = wanted.filter(|w| *w != kind) {
            let problem = format!("this is a {}, but a {} was asked for; {FORMS}", kind.label(), wanted.label());
            return Err(self.error_at(self.head.line, problem).into());
        }
        if let Some(all) = Located::all(self.wrong_cells(standards)) {
            return Err(all.into());
        }
        let points = match kind {
            TableKind::Sieve => sieve_points(self, standards)?,
            TableKind::Laser if self.has("size_um") => cumulative_points(self)?,
            TableKind::Laser => class_points(self, "volume_pct", |_, _| 1.0)?,
            TableKind::Counts => class_points(self, "count", mean_cube)?,
        };
        // Where the file lies is no property of the powder: the same lot reads the same from any folder.
        let name = Path::new(file).file_name().map_or(file.into(), |name| name.to_string_lossy());
        let basis = format!("{} {name}, {} points", kind.label(), points.len());
        let weighed_g = self.has("retained_g").then(|| self.sum("retained_g")).transpose()?;
        let record =
            SizeRecord::from_points(&points, kind, basis, standards).map_err(|e| self.beyond_ends(kind, &e))?;
        Ok(SizeRecord { measured: Some(Measured { kind, weighed_g, lost_g: None }), ..record })
    }

    /// Every cell that is no number, size or sieve.
    fn wrong_cells(&self, standards: &Standards) -> Vec<Located> {
        let of = |row: &Row, column: &str| match column {
            "note" => None,
            "mesh" | "tyler_mesh" | "opening_um" if is_pan(&self.cell(row, column)) => None,
            "mesh" | "tyler_mesh" | "opening_um" => self.opening(row, standards).err(),
            "lower_um" | "upper_um" | "size_um" => self.size(row, column).err(),
            _ => self.number(row, column).err(),
        };
        let of_row = |row: &Row| self.header.iter().filter_map(|column| of(row, column)).collect::<Vec<_>>();
        self.rows.iter().flat_map(of_row).collect()
    }

    /// The name of a column in errors.
    fn named<'a>(&'a self, column: &'a str) -> &'a str {
        self.position(column).and_then(|place| self.names.get(place)).map_or(column, String::as_str)
    }

    /// The opening of a sieve, µm.
    fn opening(&self, row: &Row, standards: &Standards) -> Result<f64, Located> {
        let series = if self.has("mesh") { Some(("mesh", MeshSeries::AstmE11)) } else { None };
        let series = series.or(self.has("tyler_mesh").then_some(("tyler_mesh", MeshSeries::Tyler)));
        let Some((column, series)) = series else { return self.size(row, "opening_um") };
        standards.opening_um(series, &self.cell(row, column)).map_err(|e| self.error_at(row.line, e.to_string()))
    }

    fn kind(&self) -> Result<TableKind, SizeError> {
        let sieve = ["opening_um", "mesh", "tyler_mesh"].iter().filter(|c| self.has(c)).count();
        let amounts: Vec<&String> =
            self.header.iter().filter(|c| c.contains("retained") || c.contains("passing")).collect();
        let bounds = self.has("lower_um") && self.has("upper_um");
        match (sieve, amounts.len(), self.header.iter().filter(|h| *h != "note").count()) {
            (1, 1, 2) => Ok(TableKind::Sieve),
            (0, 0, 3) if bounds && self.has("volume_pct") => Ok(TableKind::Laser),
            (0, 0, 2) if self.has("size_um") && self.has("cum_volume_pct") => Ok(TableKind::Laser),
            (0, 0, 3) if bounds && self.has("count") => Ok(TableKind::Counts),
            _ => {
                let problem = format!("the columns {} do not make a size table; {FORMS}", self.header.join(","));
                Err(self.error_at(self.head.line, problem).into())
            }
        }
    }

    fn has(&self, column: &str) -> bool {
        self.position(column).is_some()
    }

    /// A cell of a row by column name; the kind of table has made sure that the column is there.
    fn cell(&self, row: &Row, column: &str) -> String {
        self.position(column).map_or_else(String::new, |i| self.decimal(&row.cells[i].1))
    }

    fn number(&self, row: &Row, column: &str) -> Result<f64, Located> {
        let (cell, column) = (self.cell(row, column), self.named(column));
        match cell.parse::<f64>() {
            Ok(v) if v.is_finite() && v >= 0.0 => Ok(v),
            Ok(v) if v < 0.0 => {
                Err(self.error_at(row.line, format!("{column} = {cell} is negative; it must be 0 or more")))
            }
            _ => Err(self.error_at(row.line, format!("{column} = \"{cell}\" is not a number; write it like 12.5"))),
        }
    }

    fn sum(&self, column: &str) -> Result<f64, Located> {
        self.rows.iter().map(|row| self.number(row, column)).sum()
    }

    /// A grain size or an opening, µm.
    fn size(&self, row: &Row, column: &str) -> Result<f64, Located> {
        let size = self.number(row, column)?;
        if size > 0.0 {
            Micrometres::new(size).map_err(|e| self.error_at(row.line, format!("{}: {e}", self.named(column))))?;
        }
        Ok(size)
    }

    /// An error of the curve: what has no place in it lies beyond one of the ends, where a bound is assumed.
    fn beyond_ends(&self, kind: TableKind, error: &SizeError) -> Located {
        let too_large = matches!(error, SizeError::Unit(e) if e.given > LARGEST_UM);
        let first = self.rows.first().map_or(self.head.line, |r| r.line);
        // Sieves stand coarse to fine, classes fine to coarse.
        let line = if too_large == (kind == TableKind::Sieve) { first } else { self.last_line() };
        self.error_at(line, format!("powder beyond the outermost size has no place: {error}"))
    }

    fn last_line(&self) -> usize {
        self.rows.last().map_or(self.head.line, |r| r.line)
    }
}

/// Whether a cell of the sieve column is the pan's.
fn is_pan(cell: &str) -> bool {
    cell.eq_ignore_ascii_case("pan") || cell.parse::<f64>() == Ok(0.0)
}

/// Points of a sieve table, fine to coarse.
fn sieve_points(sheet: &SizeSheet, standards: &Standards) -> Result<Vec<(f64, f64)>, Located> {
    let openings = sieve_openings(sheet, standards)?;
    let column = sheet.header.iter().find(|h| h.contains("retained") || h.contains("passing"));
    let column = column.map_or("retained_g", String::as_str);
    let mut amounts = Vec::new();
    for row in &sheet.rows {
        amounts.push(sheet.number(row, column)?);
    }
    let has_pan = openings.last() == Some(&0.0);
    if column.starts_with("retained") && !has_pan {
        let problem = "the last row must be the pan (write pan or 0 in the sieve column), so that what passed the \
                       finest sieve is counted; put 0 there if nothing did";
        return Err(sheet.error_at(sheet.last_line(), problem));
    }
    let passing = match column {
        "retained_g" | "retained_pct" => passing_from_retained(sheet, &amounts, column)?,
        "cum_retained_pct" => {
            let passing: Vec<f64> = amounts.iter().map(|r| 100.0 - r).collect();
            check_cumulative(sheet, &passing, column, has_pan)?
        }
        _ => {
            refuse_fractions(sheet, &amounts, column)?;
            check_cumulative(sheet, &amounts, column, has_pan)?
        }
    };
    let mut points: Vec<(f64, f64)> = openings.iter().copied().zip(passing).filter(|p| p.0 > 0.0).collect();
    points.reverse();
    if points.is_empty() {
        return Err(sheet.error_at(sheet.last_line(), "the table has a pan but no sieve above it"));
    }
    Ok(points)
}

/// Refuses a column in which even the coarsest sieve lets no more than 1 % through: shares of 1, not of 100.
fn refuse_fractions(sheet: &SizeSheet, passing_pct: &[f64], column: &str) -> Result<(), Located> {
    let most = passing_pct.iter().copied().fold(0.0, f64::max);
    if most == 0.0 || most > 1.0 {
        return Ok(());
    }
    let (column, percent) = (sheet.named(column), crate::units::plain(100.0 * most));
    let problem = format!(
        "{column}: the most is {most}, so all but {most} % would stay on the coarsest sieve: if {most} means {percent} %, write {percent}, and \
         so all others; if it is meant, add a coarser sieve"
    );
    Err(sheet.error_at(sheet.rows.first().map_or(1, |row| row.line), problem))
}

/// Openings in µm, coarse to fine; 0 for the pan.
fn sieve_openings(sheet: &SizeSheet, standards: &Standards) -> Result<Vec<f64>, Located> {
    let mut openings: Vec<f64> = Vec::new();
    let last = sheet.rows.len() - 1;
    for (i, row) in sheet.rows.iter().enumerate() {
        let cell = ["mesh", "tyler_mesh", "opening_um"].into_iter().find(|c| sheet.has(c)).map(|c| sheet.cell(row, c));
        let cell = cell.unwrap_or_default();
        let opening = match is_pan(&cell) {
            true if i == last => 0.0,
            true => return Err(sheet.error_at(row.line, "the pan must be the last row, below the finest sieve")),
            false => sheet.opening(row, standards)?,
        };
        match openings.last() {
            Some(&above) if (above - opening).abs() <= CLOSEST * above => {
                return Err(sheet.error_at(row.line, format!("sieve {cell} stands twice; give each sieve one row")));
            }
            Some(&above) if above < opening => {
                let problem = format!("sieve {cell} is out of order; list sieves from coarse to fine, the pan last");
                return Err(sheet.error_at(row.line, problem));
            }
            _ => openings.push(opening),
        }
    }
    if openings.first().is_some_and(|o| *o > 0.0 && *o < FINEST_SIEVE_UM) {
        let problem =
            "every opening is below 5 µm, finer than any test sieve; opening_um is in micrometres (0.3 mm is 300)";
        return Err(sheet.error_at(sheet.rows[0].line, problem));
    }
    Ok(openings)
}

/// Fractions passing each row's sieve, from what each row retained.
fn passing_from_retained(sheet: &SizeSheet, retained: &[f64], column: &str) -> Result<Vec<f64>, Located> {
    let sum: f64 = retained.iter().sum();
    check_sum(sheet, sum, column, column == "retained_pct")?;
    let mut below = sum;
    let mut passing: Vec<f64> = Vec::with_capacity(retained.len());
    for (i, amount) in retained.iter().enumerate() {
        below -= amount;
        let nothing_left = retained[i + 1..].iter().all(|&r| r == 0.0);
        passing.push(if nothing_left { 0.0 } else { (below / sum).clamp(0.0, 1.0) });
    }
    // Rounding must not make the top of the curve 0.999…: nothing retained so far is exactly all passing.
    for (p, _) in passing.iter_mut().zip(retained).take_while(|(_, r)| **r == 0.0) {
        *p = 1.0;
    }
    Ok(passing)
}

fn check_sum(sheet: &SizeSheet, sum: f64, column: &str, percent: bool) -> Result<(), Located> {
    let is_cumulative = column.starts_with("cum");
    let column = sheet.named(column);
    if sum <= 0.0 || !sum.is_finite() {
        let problem = format!("the {column} column sums to {sum}; a table must hold some powder");
        return Err(sheet.error_at(sheet.last_line(), problem));
    }
    if percent && (sum - 100.0).abs() > SUM_TOLERANCE_PCT {
        let (is, must) = if is_cumulative { ("ends at", "end at") } else { ("sums to", "sum to") };
        let problem = format!("the {column} column {is} {sum:.3} %; it must {must} 100 % within 1 %");
        return Err(sheet.error_at(sheet.last_line(), problem));
    }
    Ok(())
}

/// Checks passing percentages listed coarse to fine, and returns fractions.
fn check_cumulative(sheet: &SizeSheet, passing: &[f64], column: &str, has_pan: bool) -> Result<Vec<f64>, Located> {
    let retained = column == "cum_retained_pct";
    let column = sheet.named(column);
    // As stated; what is retained in all may round to more than 100 % as well.
    let stated = |p: f64| if retained { 100.0 - p } else { p };
    for (row, p) in sheet.rows.iter().zip(passing) {
        if !(-1e-9..=100.0 + SUM_TOLERANCE_PCT).contains(&stated(*p)) {
            return Err(sheet.error_at(row.line, format!("{column} must lie between 0 and 100 %")));
        }
    }
    if let Some(i) = passing.windows(2).position(|w| w[1] > w[0]) {
        let direction = if retained { "rise" } else { "fall" };
        let problem =
            format!("{column} must {direction} (or stay) from coarse to fine sieves; this row goes the other way");
        return Err(sheet.error_at(sheet.rows[i + 1].line, problem));
    }
    if has_pan && passing.last().is_some_and(|p| p.abs() > SUM_TOLERANCE_PCT) {
        let wanted = if retained { 100 } else { 0 };
        let problem = format!("at the pan {column} must be {wanted} % within 1 %, so that all adds up to 100 %");
        return Err(sheet.error_at(sheet.last_line(), problem));
    }
    if passing.iter().all(|p| *p <= 0.0) {
        return Err(sheet.error_at(sheet.last_line(), format!("{column} holds no powder below the top sieve")));
    }
    Ok(passing.iter().map(|p| (p / 100.0).clamp(0.0, 1.0)).collect())
}

/// Points of `size_um,cum_volume_pct`, fine to coarse.
fn cumulative_points(sheet: &SizeSheet) -> Result<Vec<(f64, f64)>, Located> {
    let mut points: Vec<(f64, f64)> = Vec::new();
    for row in &sheet.rows {
        let size = sheet.size(row, "size_um")?;
        let cumulative = sheet.number(row, "cum_volume_pct")?;
        if size == 0.0 {
            return Err(sheet.error_at(row.line, "size_um must be above 0"));
        }
        if let Some(&(below, volume)) = points.last() {
            check_rising(sheet, row.line, "size_um", below, size)?;
            if cumulative < volume {
                let problem = format!("cum_volume_pct falls from {volume} to {cumulative}; it must rise with size");
                return Err(sheet.error_at(row.line, problem));
            }
        }
        points.push((size, cumulative));
    }
    let top = points.last().map_or(0.0, |p| p.1);
    check_sum(sheet, top, "cum_volume_pct", true)?;
    Ok(points.into_iter().map(|(x, q)| (x, q / top)).collect())
}

/// Points of classes with bounds, fine to coarse. `weight` turns an amount into volume from the class bounds.
fn class_points(sheet: &SizeSheet, column: &str, weight: impl Fn(f64, f64) -> f64) -> Result<Vec<(f64, f64)>, Located> {
    let mut sum_as_given = 0.0;
    let mut running: Vec<(f64, f64)> = Vec::new();
    let mut volume = 0.0;
    for row in &sheet.rows {
        let lower = sheet.size(row, "lower_um")?;
        let upper = sheet.size(row, "upper_um")?;
        // A class that starts within a rounding of the end of the last one starts at it.
        let meets = |below: &f64| (lower - below).abs() <= CLOSEST * below;
        let lower = running.last().map(|r| r.0).filter(meets).unwrap_or(lower);
        if lower * (1.0 + CLOSEST) >= upper {
            let problem = format!("lower_um = {lower} is not below upper_um = {upper} (by a millionth at least)");
            return Err(sheet.error_at(row.line, problem));
        }
        match running.last() {
            Some(&(below, _)) if lower < below => {
                let problem = format!(
                    "this class starts at {lower} µm, inside or below the one above it, which ends at {below} µm; \
                     list classes from fine to coarse without overlap"
                );
                return Err(sheet.error_at(row.line, problem));
            }
            Some(&(below, _)) if lower > below => running.push((lower, volume)),
            None if lower > 0.0 => running.push((lower, 0.0)),
            _ => {}
        }
        let amount = sheet.number(row, column)?;
        sum_as_given += amount;
        // A class from 0 has no width on a logarithmic axis; it is taken as open downwards.
        volume += amount * weight(if lower > 0.0 { lower } else { upper / 2.0 }, upper);
        running.push((upper, volume));
    }
    check_sum(sheet, sum_as_given, column, column == "volume_pct")?;
    let mut points: Vec<(f64, f64)> = running.into_iter().map(|(x, v)| (x, v / volume)).collect();
    // The sum of rounded parts may miss 1 by a rounding; the top of the curve is exactly all of it.
    for p in points.iter_mut().rev().take_while(|p| p.1 > 1.0 - 1e-12) {
        p.1 = 1.0;
    }
    Ok(points)
}

fn check_rising(sheet: &SizeSheet, line: usize, column: &str, below: f64, size: f64) -> Result<(), Located> {
    if (size - below).abs() <= CLOSEST * below {
        return Err(sheet.error_at(line, format!("{column} = {size} stands twice; give each size one row")));
    }
    if size < below {
        return Err(sheet.error_at(line, format!("{column} = {size} is out of order; list sizes from fine to coarse")));
    }
    Ok(())
}

/// Mean of x³ over a class in which grains are spread evenly by number (ISO 9276-2, moments from a histogram).
fn mean_cube(lower: f64, upper: f64) -> f64 {
    (upper.powi(4) - lower.powi(4)) / (4.0 * (upper - lower))
}
