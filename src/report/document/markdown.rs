//! A document as Markdown (CommonMark, tables as in its GitHub dialect).

use super::{Align, Block, Document, Grid};
use crate::source::legible;

impl Document {
    /// As Markdown; pictures are taken from the folder `pictures`.
    pub fn to_markdown(&self) -> String {
        let mut out = format!("# {}\n", escaped(&self.title));
        for text in &self.lead {
            out += &format!("\n> {}\n", escaped(text));
        }
        for section in &self.sections {
            out += &format!("\n## {}\n", escaped(&self.heading(section)));
            for block in &section.blocks {
                out.push('\n');
                out += &match block {
                    Block::Heading { text } => format!("### {}\n", escaped(text)),
                    Block::Text { text } => format!("{}\n", escaped(text)),
                    Block::List { items } => items.iter().map(|i| format!("- {}\n", escaped(i))).collect(),
                    Block::Table(grid) => table(grid),
                    Block::Guide { grid, sections, nowhere } => table(&self.guide(grid, sections, nowhere)),
                    Block::Picture { name, title, .. } => format!("![{}](pictures/{name}.svg)\n", escaped(title)),
                };
            }
        }
        out
    }
}

/// A line to write on by hand.
const TO_WRITE: &str = "\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_\\_";

fn table(grid: &Grid) -> String {
    let line = |cells: &[String]| format!("| {} |\n", cells.iter().map(|c| escaped(c)).collect::<Vec<_>>().join(" | "));
    let filled = |(cell, align): (&String, &Align)| match (cell.is_empty(), align) {
        (true, Align::Write) => TO_WRITE.to_owned(),
        _ => escaped(cell),
    };
    let body = |cells: &[String]| cells.iter().zip(&grid.aligns).map(filled).collect::<Vec<_>>().join(" | ");
    let rule: Vec<&str> = grid.aligns.iter().map(|a| if *a == Align::Right { "--:" } else { "---" }).collect();
    let rows: String = grid.rows.iter().map(|r| format!("| {} |\n", body(r))).collect();
    format!("{}\n\n{}| {} |\n{rows}", escaped(&grid.caption), line(&grid.columns), rule.join(" | "))
}

/// Text with what Markdown would read as its own signs escaped.
fn escaped(text: &str) -> String {
    let mut out = String::with_capacity(text.len());
    for c in legible(text).chars() {
        match c {
            '<' => out.push_str("&lt;"),
            '>' => out.push_str("&gt;"),
            '&' => out.push_str("&amp;"),
            '\\' | '`' | '*' | '_' | '[' | ']' | '|' | '#' | '~' | '$' => out.extend(['\\', c]),
            c if c.is_control() => out.push(' '),
            c => out.push(c),
        }
    }
    // A line must not begin as a list or a heading does.
    if out.starts_with(['-', '+', '=']) {
        return format!("\\{out}");
    }
    let after_digits = out.trim_start_matches(|c: char| c.is_ascii_digit());
    let is_item = [".", ")"]
        .iter()
        .any(|d| after_digits.strip_prefix(d).is_some_and(|rest| rest.is_empty() || rest.starts_with(' ')));
    if after_digits.len() < out.len() && is_item {
        out.insert(out.len() - after_digits.len(), '\\');
    }
    out
}
