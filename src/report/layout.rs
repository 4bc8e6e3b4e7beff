//! Text tables and numbers for people.

/// Which way a column leans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// To the left: words.
    Left,
    /// To the right: numbers.
    Right,
}

/// A table of aligned columns.
#[derive(Debug, Clone)]
pub struct TextTable {
    align: Vec<Align>,
    rows: Vec<Vec<String>>,
}

impl TextTable {
    /// Starts a table with its header.
    pub fn new(columns: &[(&str, Align)]) -> Self {
        let header = columns.iter().map(|c| c.0.to_owned()).collect();
        Self { align: columns.iter().map(|c| c.1).collect(), rows: vec![header] }
    }

    /// Adds a row. A cell of over 120 characters is cut, so that one endless name does not widen every row.
    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells.into_iter().map(shortened).collect());
    }

    /// The table, each line indented by two spaces.
    pub fn render(&self) -> String {
        let width = |i: usize| self.rows.iter().map(|r| r.get(i).map_or(0, |c| c.chars().count())).max().unwrap_or(0);
        let widths: Vec<usize> = (0..self.align.len()).map(width).collect();
        let mut text = String::new();
        for row in &self.rows {
            let mut line = String::from(" ");
            for ((cell, width), align) in row.iter().zip(&widths).zip(&self.align) {
                let pad = " ".repeat(width - cell.chars().count());
                match align {
                    Align::Left => line += &format!(" {cell}{pad} "),
                    Align::Right => line += &format!(" {pad}{cell} "),
                }
            }
            text += line.trim_end();
            text.push('\n');
        }
        text
    }
}

/// Longest cell of a table.
const WIDEST_CELL: usize = 120;

fn shortened(cell: String) -> String {
    match cell.char_indices().nth(WIDEST_CELL) {
        Some((end, _)) => format!("{}…", &cell[..end]),
        None => cell,
    }
}

/// Numbers from here to there are written without an exponent.
const PLAIN: std::ops::Range<f64> = 1e-6..1e15;

/// A number with `digits` significant digits, without an exponent unless it is next to nothing or beyond counting.
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_owned() } else { "-".to_owned() };
    }
    if !PLAIN.contains(&value.abs()) {
        return format!("{value:.*e}", (digits - 1).max(0) as usize);
    }
    let magnitude = value.abs().log10().floor() as i32;
    let decimals = (digits - 1 - magnitude).max(0) as usize;
    let text = format!("{value:.decimals$}");
    // 9.996 with three digits is 10.0, one digit too many.
    let grown = text.trim_start_matches('-').parse::<f64>().is_ok_and(|v| v.log10().floor() as i32 > magnitude);
    if grown && decimals > 0 { format!("{value:.*}", decimals - 1) } else { text }
}

/// Width of running text.
pub(super) const WIDTH: usize = 100;

/// A share in percent with three significant digits; what is next to nothing is said to be.
pub(crate) fn percent(value: f64) -> String {
    if value > 0.0 && value < 0.01 { "<0.01".to_owned() } else { significant(value, 3) }
}

/// "a", "a and b", "a, b and c".
pub(super) fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// Breaks a text into lines of at most `width` characters, the first after `first`, the others after `rest`.
pub(super) fn wrap(text: &str, width: usize, first: &str, rest: &str) -> String {
    let mut out = String::new();
    let mut line = first.to_owned();
    let mut empty = true;
    for word in text.split_whitespace() {
        if !empty && line.chars().count() + 1 + word.chars().count() > width {
            out += line.trim_end();
            out.push('\n');
            line = rest.to_owned();
            empty = true;
        }
        if !empty {
            line.push(' ');
        }
        line += word;
        empty = false;
    }
    out += line.trim_end();
    out.push('\n');
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn significant_digits() {
        for (value, text) in
            [(1234.5, "1234"), (12.345, "12.3"), (0.001_234, "0.00123"), (9.996, "10.0"), (0.0, "0"), (-0.5, "-0.500")]
        {
            assert_eq!(significant(value, 3), text);
        }
        assert_eq!(significant(f64::INFINITY, 3), "-");
        assert_eq!([significant(4.4e-16, 2), significant(-1e300, 3)], ["4.4e-16", "-1.00e300"]);
    }

    #[test]
    fn tables_align_by_characters_not_bytes() {
        let mut table = TextTable::new(&[("size", Align::Left), ("µm", Align::Right)]);
        table.row(vec!["D50".into(), "45.0".into()]);
        assert_eq!(table.render(), "  size    µm\n  D50   45.0\n");
    }
}
