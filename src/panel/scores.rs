//! The table of scores: CSV with the columns `scrub`, `taster`, `score` and, if wanted, `day`, `date` and `note`. The day is
//! any name of a session; where there is no such column, the dates are the days if every line has one.
//!
//! Columns may be separated by commas, semicolons or tabs; with the last two a comma is taken as the decimal mark. Lines that
//! start with `#` are comments.

use super::Scale;
use crate::source::{Place, did_you_mean};
use std::collections::{HashMap, HashSet};

/// A row of the table.
#[derive(Debug, Clone, PartialEq)]
pub struct ScoreRow {
    /// Where the name of the scrub file stands.
    pub place: Place,
    /// The scrub file as written.
    pub scrub: String,
    /// The panellist.
    pub panellist: String,
    /// The score.
    pub score: f64,
    /// The session, if the table has a column for it.
    pub day: Option<String>,
    /// The calendar day, if it was noted.
    pub date: Option<String>,
}

/// What is wrong with a table of scores.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {problem}")]
pub struct ScoreError {
    /// File, line and column.
    pub place: Place,
    /// What is wrong and what would be right.
    pub problem: String,
}

const COLUMNS: [&str; 6] = ["scrub", "taster", "score", "day", "date", "note"];
const FORM: &str = "a table of scores has the columns scrub,taster,score and may have day, date and note";

/// More scores than this are no panel.
const MOST_SCORES: usize = 5_000;
/// More scrubs than this, too.
const MOST_SCRUBS: usize = 200;
/// More days than this, too.
const MOST_DAYS: usize = 50;

/// Reads a table of scores. `file` names it in errors.
///
/// # Errors
/// [`ScoreError`] with file, line and column: unknown or missing columns, empty cells, a score that is no number or lies off
/// the scale, a date that is none, more days than a panel has, and a panellist who scored a scrub twice on the same day.
pub fn read_scores(text: &str, file: &str, scale: Scale) -> Result<Vec<ScoreRow>, ScoreError> {
    let sheet = Sheet::new(text, file);
    let columns = sheet.columns()?;
    let mut rows: Vec<ScoreRow> = Vec::new();
    let (mut spelt, mut seen) = (HashMap::new(), HashMap::new());
    let (mut scrubs, mut days) = (HashSet::new(), HashSet::new());
    for line in sheet.lines.iter().skip(1) {
        let row = sheet.row(line, &columns, scale)?;
        scrubs.insert(row.scrub.clone());
        if rows.len() == MOST_SCORES || scrubs.len() > MOST_SCRUBS {
            let problem =
                format!("more than {MOST_SCORES} scores or {MOST_SCRUBS} scrubs; this is no panel of tasters");
            return Err(sheet.error(line, 0, problem));
        }
        days.extend(row.day.as_ref().or(row.date.as_ref()).cloned());
        if days.len() > MOST_DAYS {
            let problem = format!("more than {MOST_DAYS} days; put the scores of one session together under one day");
            return Err(sheet.error(line, columns[3].min(columns[4]), problem));
        }
        for (what, name, column) in
            [("taster", Some(&row.panellist), columns[1]), ("day", row.day.as_ref(), columns[3])]
        {
            let Some(name) = name else { continue };
            let (other, first) = spelt.entry((what, name.to_lowercase())).or_insert((name.clone(), line.number));
            if other != name {
                let problem = format!("{what} \"{name}\" is \"{other}\" in line {first}; write a name one way");
                return Err(sheet.error(line, column, problem));
            }
        }
        let key = (row.scrub.clone(), row.panellist.clone(), row.day.clone(), row.date.clone());
        if let Some(first) = seen.insert(key, line.number) {
            return Err(sheet.error(line, columns[0], said_twice(&row, first)));
        }
        rows.push(row);
    }
    match rows.is_empty() {
        true => Err(sheet.error_at(1, 1, format!("there are no scores; {FORM}"))),
        false => Ok(rows),
    }
}

fn said_twice(row: &ScoreRow, first: usize) -> String {
    let day = match row.date.as_ref().or(row.day.as_ref()) {
        Some(day) => format!(" on {day}"),
        None => ", and no date tells the two apart".to_owned(),
    };
    let (panellist, scrub) = (&row.panellist, &row.scrub);
    format!("{panellist} scored {scrub} twice{day} (line {first} too); keep one, or give each its date")
}

/// The days of a panel, in the order of their first line, and the place of each row's: those of the column `day`, or else the dates
/// where every row has one. Without either all rows stand at 0 and there are no names.
pub fn days_of(rows: &[ScoreRow]) -> (Vec<String>, Vec<usize>) {
    let all = |of: fn(&ScoreRow) -> Option<&String>| rows.iter().map(of).collect::<Option<Vec<&String>>>();
    let Some(noted) = all(|r| r.day.as_ref()).or_else(|| all(|r| r.date.as_ref())) else {
        return (Vec::new(), vec![0; rows.len()]);
    };
    let mut names: Vec<String> = Vec::new();
    let place = |day: &&String| {
        names.iter().position(|n| n == *day).unwrap_or_else(|| {
            names.push((*day).clone());
            names.len() - 1
        })
    };
    let places = noted.iter().map(place).collect();
    (names, places)
}

/// A line that is no comment, with its cells.
struct Line {
    number: usize,
    /// Column in characters, from 1, and text of each cell.
    cells: Vec<(usize, String)>,
}

struct Sheet<'a> {
    file: &'a str,
    separator: char,
    lines: Vec<Line>,
}

impl<'a> Sheet<'a> {
    fn new(text: &str, file: &'a str) -> Self {
        let written =
            text.lines().enumerate().filter(|(_, l)| !l.trim().is_empty() && !l.trim_start().starts_with('#'));
        let written: Vec<(usize, &str)> = written.collect();
        let first = written.first().map_or("", |l| l.1);
        let separator = [';', '\t'].into_iter().find(|d| first.contains(*d)).unwrap_or(',');
        let line = |&(i, text): &(usize, &str)| Line { number: i + 1, cells: cells(text, separator) };
        Self { file, separator, lines: written.iter().map(line).collect() }
    }

    /// Places of scrub, panellist, score, day and date among the cells; the last two may be missing.
    fn columns(&self) -> Result<[usize; 5], ScoreError> {
        let Some(header) = self.lines.first() else {
            return Err(self.error_at(1, 1, format!("the table is empty; {FORM}")));
        };
        let names: Vec<String> = header.cells.iter().map(|c| c.1.to_lowercase()).collect();
        for (i, name) in names.iter().enumerate() {
            if !COLUMNS.contains(&name.as_str()) {
                let problem = format!("unknown column \"{name}\"; {}; {FORM}", did_you_mean(name, COLUMNS));
                return Err(self.error(header, i, problem));
            }
            if names[..i].contains(name) {
                return Err(self.error(header, i, format!("column \"{name}\" stands twice; keep one")));
            }
        }
        let place = |name: &str| names.iter().position(|n| n == name);
        let need = |name: &str| {
            place(name).ok_or_else(|| self.error(header, 0, format!("the column {name} is missing; {FORM}")))
        };
        let maybe = |name: &str| place(name).unwrap_or(usize::MAX);
        Ok([need("scrub")?, need("taster")?, need("score")?, maybe("day"), maybe("date")])
    }

    fn row(&self, line: &Line, columns: &[usize; 5], scale: Scale) -> Result<ScoreRow, ScoreError> {
        let (found, wanted) = (line.cells.len(), self.lines[0].cells.len());
        if found != wanted {
            let problem = format!("{found} cells, but the header names {wanted} columns");
            return Err(self.error(line, found.min(wanted).saturating_sub(1), problem));
        }
        let [scrub, panellist, score, day, date] = *columns;
        let text = |i: usize| line.cells[i].1.as_str();
        let named = [(scrub, "the scrub file"), (panellist, "the taster"), (score, "the score"), (day, "the day")];
        for (i, what) in named.into_iter().filter(|(i, _)| *i < found) {
            if text(i).is_empty() {
                return Err(self.error(line, i, format!("{what} is empty; name it, or take the line out")));
            }
            if text(i).chars().any(char::is_control) {
                return Err(self.error(line, i, format!("{what} holds control characters; keep to plain text")));
            }
        }
        let written = if self.separator == ',' { text(score).to_owned() } else { text(score).replace(',', ".") };
        let value = match written.parse::<f64>() {
            Ok(v) if v.is_finite() => v,
            _ => {
                let problem = format!("score = \"{}\" is not a number; write it like 3.5", text(score));
                return Err(self.error(line, score, problem));
            }
        };
        if !scale.holds(value) {
            let problem = format!(
                "score = {} lies off the scale {}..{} (--scale LOW..HIGH says another)",
                text(score),
                scale.low,
                scale.top
            );
            return Err(self.error(line, score, problem));
        }
        let date = line.cells.get(date).map(|c| c.1.clone()).filter(|d| !d.is_empty());
        if let Some(wrong) = date.as_ref().filter(|d| !is_date(d)) {
            return Err(self.error(line, columns[4], format!("date \"{wrong}\" is no day; write it like 2026-03-31")));
        }
        let place = Place { file: self.file.to_owned(), line: Some(line.number), column: Some(line.cells[scrub].0) };
        let day = line.cells.get(day).map(|c| c.1.clone());
        Ok(ScoreRow {
            place,
            scrub: text(scrub).to_owned(),
            panellist: text(panellist).to_owned(),
            score: value,
            day,
            date,
        })
    }

    fn error(&self, line: &Line, cell: usize, problem: String) -> ScoreError {
        self.error_at(line.number, line.cells.get(cell).map_or(1, |c| c.0), problem)
    }

    fn error_at(&self, line: usize, column: usize, problem: String) -> ScoreError {
        ScoreError { place: Place { file: self.file.to_owned(), line: Some(line), column: Some(column) }, problem }
    }
}

/// Cells of a line with their columns. A cell in double quotes may hold the separator, and `""` for a quote (RFC 4180).
fn cells(line: &str, separator: char) -> Vec<(usize, String)> {
    let mut cells = vec![(1, String::new())];
    let (mut quoted, mut was_quote) = (false, false);
    for (i, c) in line.chars().enumerate() {
        let Some((start, cell)) = cells.last_mut() else { break };
        match c {
            '"' if quoted => (quoted, was_quote) = (false, true),
            '"' if was_quote => {
                cell.push('"');
                (quoted, was_quote) = (true, false);
            }
            '"' if cell.is_empty() => quoted = true,
            _ if c == separator && !quoted => {
                was_quote = false;
                cells.push((i + 2, String::new()));
            }
            c if c.is_whitespace() && cell.is_empty() => *start = i + 2,
            _ => {
                was_quote = false;
                cell.push(c);
            }
        }
    }
    cells.into_iter().map(|(start, text)| (start, text.trim().to_owned())).collect()
}

/// A calendar day of ISO 8601: year, month, day.
fn is_date(text: &str) -> bool {
    let parts: Vec<&str> = text.split('-').collect();
    let number = |s: &str, digits: usize| (s.len() == digits).then(|| s.parse::<u32>().ok()).flatten();
    let [year, month, day] = parts.as_slice() else { return false };
    let (Some(year), Some(month), Some(day)) = (number(year, 4), number(month, 2), number(day, 2)) else {
        return false;
    };
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let most = match month {
        2 if leap => 29,
        2 => 28,
        4 | 6 | 9 | 11 => 30,
        1..=12 => 31,
        _ => 0,
    };
    (1..=most).contains(&day)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn cells_know_their_columns_and_quotes() {
        assert_eq!(cells("a, b,c", ','), [(1, "a".into()), (4, "b".into()), (6, "c".into())]);
        assert_eq!(cells("\"a, \"\"x\"\"\",2", ','), [(1, "a, \"x\"".into()), (12, "2".into())]);
        assert_eq!(cells("µ;1,5;", ';'), [(1, "µ".into()), (3, "1,5".into()), (7, String::new())]);
    }

    #[test]
    fn days_are_calendar_days() {
        assert!(is_date("2024-02-29") && !is_date("2023-02-29") && !is_date("2026-3-31") && !is_date("31.03.2026"));
    }

    #[test]
    fn decimal_commas_go_with_semicolons() {
        let scale = Scale::new(0.0, 10.0).unwrap();
        let rows = read_scores("# ours\nscrub;taster;score\na.toml;Ada;3,5\n", "s.csv", scale).unwrap();
        assert_eq!((rows[0].score, rows[0].place.line), (3.5, Some(3)));
    }
}
