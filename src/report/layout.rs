//! How results are laid out for people: tables, lists and running text of one width.

use crate::numerics::written;
use serde::Serialize;

/// Which way a column leans.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// To the left: words.
    Left,
    /// To the right: numbers.
    Right,
    /// Room to write into by hand.
    Write,
}

/// A table whose first column names the rows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Grid {
    /// What it shows; empty where that is said elsewhere.
    pub caption: String,
    /// Head of each column.
    pub columns: Vec<String>,
    /// How each column is set.
    #[serde(skip)]
    pub aligns: Vec<Align>,
    /// Cells, as many in each row as there are columns.
    pub rows: Vec<Vec<String>>,
}

impl Grid {
    /// An empty table. `aligns` has a letter for each column: `r` for numbers, to the right, `w` for room to write by hand, any other for
    /// words.
    pub fn new(aligns: &str, columns: &[impl AsRef<str>]) -> Self {
        let align = |letter| match letter {
            'r' => Align::Right,
            'w' => Align::Write,
            _ => Align::Left,
        };
        let columns = columns.iter().map(|c| c.as_ref().to_owned()).collect();
        Self { caption: String::new(), columns, aligns: aligns.chars().map(align).collect(), rows: Vec::new() }
    }

    /// With what it shows.
    pub fn captioned(self, caption: impl Into<String>) -> Self {
        Self { caption: caption.into(), ..self }
    }

    /// With further rows.
    pub fn rows(mut self, rows: impl IntoIterator<Item: Into<Vec<String>>>) -> Self {
        self.rows.extend(rows.into_iter().map(Into::into));
        self
    }

    /// Adds a row.
    pub fn row(&mut self, cells: impl Into<Vec<String>>) {
        self.rows.push(cells.into());
    }

    /// As text, each line indented by two spaces. A cell of over 120 characters is cut, so that one endless name does not widen every
    /// row. Where it would pass the width of running text, heads and words are broken into lines of their own, the widest column first;
    /// numbers never. What is too wide even so goes on below, under the first column once more.
    pub fn render(&self) -> String {
        let heads = self.columns.iter().map(|c| shortened(c)).collect();
        let rows = self.rows.iter().map(|row| row.iter().map(|c| shortened(c)).collect());
        let rows: Vec<Vec<String>> = std::iter::once(heads).chain(rows).collect();
        let widest = |column: usize, width: &dyn Fn(usize, &str) -> usize| {
            let cells = rows.iter().enumerate().filter_map(|(row, cells)| Some(width(row, cells.get(column)?)));
            cells.max().unwrap_or(0)
        };
        let columns = self.aligns.len();
        let mut widths: Vec<usize> = (0..columns).map(|i| widest(i, &|_, cell| cell.chars().count())).collect();
        let least: Vec<usize> = (0..columns).map(|i| widest(i, &|row, cell| self.narrowest(row, i, cell))).collect();
        let blocks = blocks(&least);
        for block in &blocks {
            narrow(block, &mut widths, &least);
        }
        let block = |shown: &Vec<usize>| -> String {
            rows.iter().enumerate().map(|(row, cells)| self.lines(row, cells, shown, &widths)).collect()
        };
        blocks.iter().map(block).collect::<Vec<_>>().join("\n")
    }

    /// How narrow a cell can be made: heads and words at their spaces.
    fn narrowest(&self, row: usize, column: usize, cell: &str) -> usize {
        if row > 0 && self.aligns[column] == Align::Right {
            return cell.chars().count();
        }
        cell.split_whitespace().map(|word| word.chars().count()).max().unwrap_or(0)
    }

    /// The columns shown of a row, on as many lines as their cells need.
    fn lines(&self, row: usize, cells: &[String], shown: &[usize], widths: &[usize]) -> String {
        let shown = shown.iter().filter(|&&i| i < cells.len());
        let broken = |i: usize| {
            let fits = cells[i].chars().count() <= widths[i];
            let text = if fits { cells[i].clone() } else { wrap(&cells[i], widths[i], "", "") };
            if fits { vec![text] } else { text.lines().map(str::to_owned).collect() }
        };
        let broken: Vec<(usize, Vec<String>)> = shown.map(|&i| (i, broken(i))).collect();
        let most = broken.iter().map(|(_, cell)| cell.len()).max().unwrap_or(1);
        let mut text = String::new();
        for i in 0..most {
            let mut line = String::from(" ");
            for (column, cell) in &broken {
                // Heads stand on the line above their column.
                let place = if row == 0 { (i + cell.len()).checked_sub(most) } else { Some(i) };
                let part = place.and_then(|i| cell.get(i)).map_or("", String::as_str);
                let pad = " ".repeat(widths[*column].saturating_sub(part.chars().count()));
                let right = self.aligns[*column] == Align::Right;
                line += &if right { format!(" {pad}{part} ") } else { format!(" {part}{pad} ") };
            }
            text += line.trim_end();
            text.push('\n');
        }
        text
    }
}

/// The columns that stand beside each other, given how narrow each can be made: all, or as many as running text is wide, the first column
/// in each block.
fn blocks(least: &[usize]) -> Vec<Vec<usize>> {
    let mut blocks: Vec<Vec<usize>> = vec![Vec::new()];
    for column in 0..least.len() {
        let block = &blocks[blocks.len() - 1];
        let wide = taken(block.iter().map(|i| least[*i])) + least[column] + 2 > WIDTH;
        if wide && block.len() > 1 {
            blocks.push(vec![0]);
        }
        let last = blocks.len() - 1;
        blocks[last].push(column);
    }
    blocks
}

/// How wide columns of these widths are together.
fn taken(widths: impl Iterator<Item = usize>) -> usize {
    widths.map(|width| width + 2).sum()
}

/// Makes columns narrower until they fit beside each other, the widest first, none under its least.
fn narrow(block: &[usize], widths: &mut [usize], least: &[usize]) {
    while taken(block.iter().map(|i| widths[*i])) > WIDTH {
        let breakable = block.iter().filter(|&&i| widths[i] > least[i]);
        let Some(&widest) = breakable.max_by_key(|&&i| widths[i]) else { break };
        widths[widest] -= 1;
    }
}

/// The cells of a row, one after another.
#[derive(Debug, Clone)]
pub struct LaidRow(Vec<String>);

/// A row that begins with this cell.
pub fn row(first: impl Into<String>) -> LaidRow {
    LaidRow(vec![first.into()])
}

impl LaidRow {
    /// And a cell.
    pub fn and(self, cell: impl Into<String>) -> Self {
        self.all([cell.into()])
    }

    /// And these cells.
    pub fn all(mut self, cells: impl IntoIterator<Item = String>) -> Self {
        self.0.extend(cells);
        self
    }

    /// And numbers of two significant digits.
    pub fn two(self, values: impl IntoIterator<Item = f64>) -> Self {
        self.all(values.into_iter().map(written::two))
    }

    /// And numbers of three significant digits.
    pub fn three(self, values: impl IntoIterator<Item = f64>) -> Self {
        self.all(values.into_iter().map(written::three))
    }

    /// And numbers of four significant digits.
    pub fn four(self, values: impl IntoIterator<Item = f64>) -> Self {
        self.all(values.into_iter().map(written::four))
    }

    /// And shares in percent.
    pub fn percent(self, values: impl IntoIterator<Item = f64>) -> Self {
        self.all(values.into_iter().map(written::percent))
    }
}

impl From<LaidRow> for Vec<String> {
    fn from(row: LaidRow) -> Self {
        row.0
    }
}

/// A number that may be missing.
pub fn or_dash(value: Option<f64>, digits: i32) -> String {
    value.map_or("-".to_owned(), |v| written::significant(v, digits))
}

/// Longest cell of a table.
const WIDEST_CELL: usize = 120;

fn shortened(cell: &str) -> String {
    match cell.char_indices().nth(WIDEST_CELL) {
        Some((end, _)) => format!("{}…", &cell[..end]),
        None => cell.to_owned(),
    }
}

/// Width of running text.
pub(super) const WIDTH: usize = 100;

/// "a", "a and b", "a, b and c".
pub(super) fn listed(words: &[&str]) -> String {
    match words {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// "a; b; c" of whatever is there.
pub(super) fn joined(items: impl IntoIterator<Item = String>, between: &str) -> String {
    items.into_iter().collect::<Vec<_>>().join(between)
}

/// A paragraph.
pub(super) fn par(text: impl AsRef<str>) -> String {
    wrap(text.as_ref(), WIDTH, "", "")
}

/// A paragraph whose further lines are indented.
pub(super) fn hung(text: impl AsRef<str>) -> String {
    wrap(text.as_ref(), WIDTH, "", "  ")
}

/// An indented paragraph.
pub(super) fn inset(text: impl AsRef<str>) -> String {
    wrap(text.as_ref(), WIDTH, "  ", "  ")
}

/// An indented paragraph whose further lines are indented more.
pub(super) fn inset_hung(text: impl AsRef<str>) -> String {
    wrap(text.as_ref(), WIDTH, "  ", "    ")
}

/// Items with a dash before each.
pub(super) fn bullets(items: impl IntoIterator<Item: AsRef<str>>) -> String {
    items.into_iter().map(|item| wrap(item.as_ref(), WIDTH, "  - ", "    ")).collect()
}

/// A part of a report under its title; nothing where there is nothing in it.
pub(super) fn part(title: impl std::fmt::Display, body: impl AsRef<str>) -> String {
    let body = body.as_ref();
    if body.is_empty() { String::new() } else { format!("\n{title}\n{body}") }
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
    fn tables_align_by_characters_not_bytes() {
        let table = Grid::new("lr", &["size", "µm"]).rows([["D50".into(), "45.0".into()]]);
        assert_eq!(table.render(), "  size    µm\n  D50   45.0\n");
    }
}
