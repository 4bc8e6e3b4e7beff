//! A text to keep or to print: one content, written as HTML, as Markdown or as JSON.

mod html;
mod markdown;
mod text;

pub use super::layout::{Align, Grid};

use serde::Serialize;

/// A titled text in sections.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Document {
    /// What it is and of what.
    pub title: String,
    /// What to know before reading on.
    pub lead: Vec<String>,
    /// Its parts, in order.
    pub sections: Vec<Section>,
    /// Whether the sections are numbered from 1, so that one can be referred to.
    #[serde(skip)]
    pub numbered: bool,
}

/// What a JPEG within a picture begins with.
pub const JPEG_DATA: &str = "data:image/jpeg;base64,";

/// Head of the column of a guide that holds the sections.
const SECTIONS: &str = "Section";

/// One part of a document.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Section {
    /// Name in links and in JSON: lower case and hyphens.
    pub key: &'static str,
    /// Heading.
    pub title: String,
    /// What stands under it.
    pub blocks: Vec<Block>,
}

/// A piece of a section.
#[derive(Debug, Clone, PartialEq, Serialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Block {
    /// A heading within the section.
    Heading {
        /// It.
        text: String,
    },
    /// A paragraph.
    Text {
        /// It.
        text: String,
    },
    /// Items with a dot before each.
    List {
        /// Them.
        items: Vec<String>,
    },
    /// A table.
    Table(Grid),
    /// A table of which each row leads to sections of the document.
    Guide {
        /// What stands before the sections.
        grid: Grid,
        /// Of each row, the keys of its sections; where there are none, `nowhere` is said.
        sections: Vec<Vec<&'static str>>,
        /// What is said of a row without sections.
        nowhere: &'static str,
    },
    /// A picture: within the HTML, a file of its own beside the Markdown.
    Picture {
        /// File name without folder and ending.
        name: String,
        /// What it shows.
        title: String,
        /// The SVG document.
        #[serde(skip)]
        svg: String,
    },
}

impl Section {
    /// An empty section.
    pub fn new(key: &'static str, title: impl Into<String>) -> Self {
        Self { key, title: title.into(), blocks: Vec::new() }
    }

    /// With a further block.
    #[must_use]
    pub fn block(mut self, block: Block) -> Self {
        self.blocks.push(block);
        self
    }

    /// With a paragraph.
    #[must_use]
    pub fn text(self, text: impl Into<String>) -> Self {
        self.block(Block::Text { text: text.into() })
    }

    /// With a paragraph for each of these texts.
    #[must_use]
    pub fn texts(self, texts: impl IntoIterator<Item: Into<String>>) -> Self {
        texts.into_iter().fold(self, Self::text)
    }

    /// With a list, unless it is empty.
    #[must_use]
    pub fn list(self, items: Vec<String>) -> Self {
        if items.is_empty() { self } else { self.block(Block::List { items }) }
    }

    /// With a table, unless it is empty.
    #[must_use]
    pub fn table(self, grid: Grid) -> Self {
        if grid.rows.is_empty() { self } else { self.block(Block::Table(grid)) }
    }
}

impl Document {
    /// The number of a section.
    fn number_of(&self, key: &str) -> Option<usize> {
        self.sections.iter().position(|s| s.key == key).map(|i| i + 1)
    }

    /// The heading of a section.
    fn heading(&self, section: &Section) -> String {
        match self.number_of(section.key).filter(|_| self.numbered) {
            Some(number) => format!("{number}. {}", section.title),
            None => section.title.clone(),
        }
    }

    /// A guide as a plain table: the numbers of the sections in the last column.
    fn guide(&self, grid: &Grid, sections: &[Vec<&str>], nowhere: &str) -> Grid {
        let mut plain = grid.clone();
        plain.columns.push(SECTIONS.to_owned());
        plain.aligns.push(Align::Left);
        for (row, keys) in plain.rows.iter_mut().zip(sections) {
            let numbers: Vec<String> = keys.iter().filter_map(|k| self.number_of(k)).map(|n| n.to_string()).collect();
            row.push(if numbers.is_empty() { nowhere.to_owned() } else { numbers.join(", ") });
        }
        plain
    }

    /// All pictures: name and SVG document.
    pub fn pictures(&self) -> impl Iterator<Item = (&str, &str)> {
        self.sections.iter().flat_map(|s| &s.blocks).filter_map(|block| match block {
            Block::Picture { name, svg, .. } => Some((name.as_str(), svg.as_str())),
            _ => None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hostile() -> Document {
        let name = "<script>alert(1)</script> \"'&| `x` *b* _i_ [l](u) #1 \u{202e}gnp.exe";
        let mut grid = Grid::new("lr", &["", name]).captioned(name);
        grid.row([name.into(), "x".repeat(10_000)]);
        let picture = Block::Picture { name: "one".into(), title: name.into(), svg: "<svg/>\n".into() };
        let section = Section::new("names", name).text(name).list(vec![name.into()]).table(grid).block(picture);
        Document { title: name.into(), lead: vec![name.into()], sections: vec![section], numbered: false }
    }

    #[test]
    fn hostile_text_stays_text_everywhere() {
        let html = hostile().to_html();
        assert!(!html.contains("<script") && html.contains("&lt;script&gt;") && !html.contains('\u{202e}'));
        let markdown = hostile().to_markdown();
        assert!(!markdown.contains("<script") && markdown.contains("&lt;script&gt;") && !markdown.contains('\u{202e}'));
        // A bar in a cell does not open another one.
        let row = markdown.lines().find(|l| l.contains("xxx")).unwrap();
        assert_eq!(row.replace("\\|", "").matches('|').count(), 3);
    }
}
