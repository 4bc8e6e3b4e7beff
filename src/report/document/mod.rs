//! A text to keep or to print: one content, written as HTML, as Markdown or as JSON.

mod html;
mod markdown;

pub use super::layout::Align;

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
}

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

/// A table whose first column names the rows.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Grid {
    /// What it shows.
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
    /// An empty table.
    pub fn new(caption: impl Into<String>, columns: &[(&str, Align)]) -> Self {
        Self {
            caption: caption.into(),
            columns: columns.iter().map(|(title, _)| (*title).to_owned()).collect(),
            aligns: columns.iter().map(|(_, align)| *align).collect(),
            rows: Vec::new(),
        }
    }

    /// Adds a row.
    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }
}

impl Section {
    /// An empty section.
    pub fn new(key: &'static str, title: impl Into<String>) -> Self {
        Self { key, title: title.into(), blocks: Vec::new() }
    }

    /// Adds a paragraph.
    pub fn text(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Text { text: text.into() });
    }

    /// Adds a list, unless it is empty.
    pub fn list(&mut self, items: Vec<String>) {
        if !items.is_empty() {
            self.blocks.push(Block::List { items });
        }
    }

    /// Adds a picture, after what is there.
    pub fn picture(&mut self, name: impl Into<String>, title: impl Into<String>, svg: impl Into<String>) {
        self.blocks.push(Block::Picture { name: name.into(), title: title.into(), svg: svg.into() });
    }

    /// Adds a table, unless it is empty.
    pub fn table(&mut self, grid: Grid) {
        if !grid.rows.is_empty() {
            self.blocks.push(Block::Table(grid));
        }
    }
}

impl Document {
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
        let mut section = Section::new("names", name);
        section.text(name);
        section.list(vec![name.into()]);
        let mut grid = Grid::new(name, &[("", Align::Left), (name, Align::Right)]);
        grid.row(vec![name.into(), "x".repeat(10_000)]);
        section.table(grid);
        section.blocks.push(Block::Picture { name: "one".into(), title: name.into(), svg: "<svg/>\n".into() });
        Document { title: name.into(), lead: vec![name.into()], sections: vec![section] }
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
