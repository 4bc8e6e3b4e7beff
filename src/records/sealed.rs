//! Lines of a ledger that end with a check of all before it, so that a line cut short, or changed by hand, is known.

use crate::source::{Fault, Ledger, sha256_hex, wrong_in_line};

/// Digits of the check.
const DIGITS: usize = 16;
/// The largest figure of a line, as the largest mass: a thousand tonnes.
const LARGEST: f64 = 1e9;

/// The check of these cells: the first digits of the SHA-256 of them, a unit separator between each two.
fn check(cells: &[String]) -> String {
    sha256_hex(cells.join("\u{1f}").as_bytes()).chars().take(DIGITS).collect()
}

/// Cells with their check behind them.
pub(super) fn sealed(mut cells: Vec<String>) -> Vec<String> {
    cells.push(check(&cells));
    cells
}

/// Whether a line lacks an end of its check.
pub(super) fn is_cut_short(cells: &[String]) -> bool {
    cells.last().is_none_or(|check| check.len() < DIGITS)
}

/// Refuses a line whose check is another than its cells have.
pub(super) fn unsealed(ledger: &Ledger, row: &[String]) -> Result<(), Fault> {
    let [cells @ .., seal] = row else { return Err("the line is empty".into()) };
    if check(cells) == *seal {
        return Ok(());
    }
    let what = format!("the line of this {} was changed after it was written: its check does not hold", ledger.what);
    Err(Fault::new(what, "put back what stood there; what is wrong in it is set right by a line of its own"))
}

/// A number from 0 on; an empty cell is none.
pub(super) fn number(name: &str, cell: &str) -> Result<Option<f64>, Fault> {
    if cell.is_empty() {
        return Ok(None);
    }
    match cell.parse::<f64>() {
        Ok(v) if (0.0..=LARGEST).contains(&v) => Ok(Some(v)),
        _ => Err(format!("{name} = \"{cell}\" is no number from 0 to {LARGEST}").into()),
    }
}

/// A text on one line: what is not, would be cut in two.
pub(super) fn one_line(name: &str, text: &str) -> Result<(), Fault> {
    if text.contains('\t') {
        return Err(Fault::new(format!("{name}: \"{}\" holds a tab", text.escape_debug()), "put a space in its place"));
    }
    if text.chars().any(char::is_control) {
        return Err(format!("{name}: \"{}\" is more than one line; write it on one", text.escape_debug()).into());
    }
    wrong_in_line(text).map_or(Ok(()), |wrong| Err(format!("{name} {wrong}").into()))
}
