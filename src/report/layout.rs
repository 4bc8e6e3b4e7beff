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

    /// The table, each line indented by two spaces. Where it would pass the width of running text, heads and words are broken into
    /// lines of their own, the widest column first; numbers never.
    pub fn render(&self) -> String {
        let columns = self.align.len();
        let natural: Vec<usize> = (0..columns).map(|i| self.widest(i, |_, cell| cell.chars().count())).collect();
        let least: Vec<usize> =
            (0..columns).map(|i| self.widest(i, |row, cell| self.narrowest(row, i, cell))).collect();
        let mut widths = natural;
        while widths.iter().sum::<usize>() + 2 * columns > WIDTH {
            let breakable = (0..columns).filter(|i| widths[*i] > least[*i]);
            let Some(widest) = breakable.max_by_key(|i| widths[*i]) else { break };
            widths[widest] -= 1;
        }
        self.rows.iter().enumerate().map(|(row, cells)| self.lines(row, cells, &widths)).collect()
    }

    fn widest(&self, column: usize, width: impl Fn(usize, &str) -> usize) -> usize {
        self.rows
            .iter()
            .enumerate()
            .map(|(row, cells)| cells.get(column).map_or(0, |c| width(row, c)))
            .max()
            .unwrap_or(0)
    }

    /// How narrow a cell can be made: heads and words at their spaces.
    fn narrowest(&self, row: usize, column: usize, cell: &str) -> usize {
        match row == 0 || self.align[column] == Align::Left {
            true => cell.split_whitespace().map(|word| word.chars().count()).max().unwrap_or(0),
            false => cell.chars().count(),
        }
    }

    /// A row, on as many lines as its cells need.
    fn lines(&self, row: usize, cells: &[String], widths: &[usize]) -> String {
        let broken: Vec<Vec<String>> = cells
            .iter()
            .zip(widths)
            .map(|(cell, width)| match cell.chars().count() > *width {
                true => wrap(cell, *width, "", "").lines().map(str::to_owned).collect(),
                false => vec![cell.clone()],
            })
            .collect();
        let most = broken.iter().map(Vec::len).max().unwrap_or(1);
        let mut text = String::new();
        for i in 0..most {
            let mut line = String::from(" ");
            for ((cell, width), align) in broken.iter().zip(widths).zip(&self.align) {
                // Heads stand on the line above their column.
                let part =
                    if row == 0 { (i + cell.len()).checked_sub(most).and_then(|i| cell.get(i)) } else { cell.get(i) };
                let part = part.map_or("", String::as_str);
                let pad = " ".repeat(width.saturating_sub(part.chars().count()));
                match align {
                    Align::Left => line += &format!(" {part}{pad} "),
                    Align::Right => line += &format!(" {pad}{part} "),
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

/// What a figure is off by; what is next to nothing is said to be.
pub(super) fn off_by(value: f64, digits: i32) -> String {
    if value.abs() < 0.005 { "0".to_owned() } else { significant(value, digits) }
}

/// A number with its sign; what is next to nothing is none.
pub(super) fn signed(value: f64) -> String {
    let text = if value.abs() < 1e-6 { "0".to_owned() } else { significant(value, 3) };
    if value > 1e-6 { format!("+{text}") } else { text }
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
