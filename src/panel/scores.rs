//! The table of scores: CSV with the columns `scrub`, `taster`, `score` and, if wanted, `day`, `date` and `note`. The day is
//! any name of a session; where there is no such column, the dates are the days if every line has one.
//!
//! Columns may be separated by commas, semicolons or tabs; with the last two a comma is taken as the decimal mark. Lines that
//! start with `#` are comments.

use super::ScoreScale;
use crate::source::{CalendarDate, Located, Place, Row, Sheet, wrong_in_name};
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
/// [`Located`] with file, line and column: unknown or missing columns, empty cells, a score that is no number or lies off
/// the scale, a date that is none, more days than a panel has, and a taster who scored a scrub twice on the same day.
pub fn read_scores(text: &str, file: &str, scale: ScoreScale) -> Result<Vec<ScoreRow>, Located> {
    let sheet = Sheet::read(text, file, |line| line.trim_start().starts_with('#'));
    let columns = columns(&sheet)?;
    let mut rows: Vec<ScoreRow> = Vec::new();
    let (mut spelt, mut seen) = (HashMap::new(), HashMap::new());
    let (mut scrubs, mut days) = (HashSet::new(), HashSet::new());
    for line in &sheet.rows {
        let row = read_row(&sheet, line, &columns, scale)?;
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
            let (other, first) = spelt.entry((what, name.to_lowercase())).or_insert((name.clone(), line.line));
            if other != name {
                let problem = format!("{what} \"{name}\" is \"{other}\" in line {first}; write a name one way");
                return Err(sheet.error(line, column, problem));
            }
        }
        let key = (row.scrub.clone(), row.panellist.clone(), row.day.clone(), row.date.clone());
        if let Some(first) = seen.insert(key, line.line) {
            return Err(sheet.error(line, columns[0], said_twice(&row, first)));
        }
        rows.push(row);
    }
    if rows.is_empty() {
        let start = Place { file: file.to_owned(), line: Some(1), column: Some(1) };
        return Err(Located::new(start, format!("there are no scores; {FORM}")));
    }
    Ok(rows)
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

/// Places of scrub, taster, score, day and date among the cells; the last two may be missing.
fn columns(sheet: &Sheet) -> Result<[usize; 5], Located> {
    if sheet.header.is_empty() {
        return Err(sheet.error(&sheet.head, 0, format!("the table is empty; {FORM}")));
    }
    sheet.check_columns(&COLUMNS, &format!("; {FORM}"))?;
    let need = |name: &str| {
        let missing = || sheet.error(&sheet.head, 0, format!("the column {name} is missing; {FORM}"));
        sheet.position(name).ok_or_else(missing)
    };
    let maybe = |name: &str| sheet.position(name).unwrap_or(usize::MAX);
    Ok([need("scrub")?, need("taster")?, need("score")?, maybe("day"), maybe("date")])
}

fn read_row(sheet: &Sheet, line: &Row, columns: &[usize; 5], scale: ScoreScale) -> Result<ScoreRow, Located> {
    let (found, wanted) = (line.cells.len(), sheet.header.len());
    if found != wanted {
        let problem = format!("{found} cells, but the header names {wanted} columns");
        return Err(sheet.error(line, found.min(wanted).saturating_sub(1), problem));
    }
    let [scrub, panellist, score, day, date] = *columns;
    let text = |i: usize| line.cells[i].1.as_str();
    let named = [(scrub, "the scrub file"), (panellist, "the taster"), (score, "the score"), (day, "the day")];
    for (i, what) in named.into_iter().filter(|(i, _)| *i < found) {
        if text(i).is_empty() {
            return Err(sheet.error(line, i, format!("{what} is empty; name it, or take the line out")));
        }
        if let Some(wrong) = wrong_in_name(text(i)) {
            return Err(sheet.error(line, i, format!("{what} {wrong}")));
        }
    }
    let value = match sheet.decimal(text(score)).parse::<f64>() {
        Ok(v) if v.is_finite() => v,
        _ => {
            let problem = format!("score = \"{}\" is not a number; write it like 3.5", text(score));
            return Err(sheet.error(line, score, problem));
        }
    };
    if !scale.holds(value) {
        let problem = format!(
            "score = {} lies off the scale {}..{} (--scale LOW..HIGH says another)",
            text(score),
            scale.low,
            scale.top
        );
        return Err(sheet.error(line, score, problem));
    }
    let date = line.cells.get(date).map(|c| c.1.clone()).filter(|d| !d.is_empty());
    if let Some(wrong) = date.as_ref().filter(|d| d.parse::<CalendarDate>().is_err()) {
        return Err(sheet.error(line, columns[4], format!("date \"{wrong}\" is no day; write it like 2026-03-31")));
    }
    let place = sheet.place(line, scrub);
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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn decimal_commas_go_with_semicolons() {
        let scale = ScoreScale::new(0.0, 10.0).unwrap();
        let rows = read_scores("# ours\nscrub;taster;score\na.toml;Ada;3,5\n", "s.csv", scale).unwrap();
        assert_eq!((rows[0].score, rows[0].place.line), (3.5, Some(3)));
    }
}
