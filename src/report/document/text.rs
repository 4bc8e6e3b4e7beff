//! A document as plain text, for a terminal or a mail.

use super::super::layout::{WIDTH, bullets, par, wrap};
use super::{Block, Document, Grid};
use crate::source::legible;

fn table(grid: &Grid) -> String {
    let caption = if grid.caption.is_empty() { String::new() } else { wrap(&grid.caption, WIDTH, "  ", "  ") };
    caption + &grid.render()
}

impl Document {
    /// As plain text; of pictures only the titles.
    pub fn to_text(&self) -> String {
        let mut out = format!("{}\n", self.title);
        for text in &self.lead {
            out += &format!("\n{}", par(text));
        }
        for section in &self.sections {
            out += &format!("\n{}\n", self.heading(section));
            for block in &section.blocks {
                out += &match block {
                    Block::Heading { text } => format!("  {text}\n"),
                    Block::Text { text } => wrap(text, WIDTH, "  ", "  "),
                    Block::List { items } => bullets(items),
                    Block::Table(grid) => table(grid),
                    Block::Guide { grid, sections, nowhere } => table(&self.guide(grid, sections, nowhere)),
                    Block::Picture { title, .. } => wrap(title, WIDTH, "  ", "  "),
                };
            }
        }
        legible(&out).into_owned()
    }
}
