//! A document as plain text, for a terminal or a mail.

use super::super::layout::{WIDTH, bullets, par, wrap};
use super::{Block, Document};
use crate::source::legible;

impl Document {
    /// As plain text; of pictures only the titles.
    pub fn to_text(&self) -> String {
        let mut out = format!("{}\n", self.title);
        for text in &self.lead {
            out += &format!("\n{}", par(text));
        }
        for section in &self.sections {
            out += &format!("\n{}\n", section.title);
            for block in &section.blocks {
                out += &match block {
                    Block::Heading { text } => format!("  {text}\n"),
                    Block::Text { text } => wrap(text, WIDTH, "  ", "  "),
                    Block::List { items } => bullets(items),
                    Block::Table(grid) if grid.caption.is_empty() => grid.render(),
                    Block::Table(grid) => wrap(&grid.caption, WIDTH, "  ", "  ") + &grid.render(),
                    Block::Picture { title, .. } => wrap(title, WIDTH, "  ", "  "),
                };
            }
        }
        legible(&out).into_owned()
    }
}
