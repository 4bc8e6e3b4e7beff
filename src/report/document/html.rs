//! A document as one HTML file: pictures within, nothing fetched, no script; it prints on A4.

use super::{Align, Block, Document, Grid, Section};
use crate::source::legible;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// A word of more characters may be broken within.
const LONG_WORD: usize = 30;

/// A cell of more characters wants room.
const MUCH_TEXT: usize = 40;

/// Colours have a contrast of at least 4.5 on their ground (WCAG 2.1, level AA).
const STYLE: &str = include_str!("style.css");

impl Document {
    /// As one HTML document.
    pub fn to_html(&self) -> String {
        let title = legible(&self.title);
        let page = html! {
            (DOCTYPE)
            html lang="en" {
                head {
                    meta charset="utf-8";
                    meta name="viewport" content="width=device-width, initial-scale=1";
                    meta http-equiv="Content-Security-Policy" content="default-src 'none'; style-src 'unsafe-inline'";
                    title { (title) }
                    style { (PreEscaped(STYLE.lines().collect::<String>())) }
                }
                body {
                    header {
                        h1 { (title) }
                        @if !self.lead.is_empty() {
                            div class="lead" { @for text in &self.lead { p { (legible(text)) } } }
                        }
                    }
                    nav aria-label="Contents" {
                        ol { @for s in &self.sections { li { a href=(format!("#{}", s.key)) { (legible(&s.title)) } } } }
                    }
                    main { @for s in &self.sections { (section(s)) } }
                }
            }
        };
        page.into_string() + "\n"
    }
}

fn section(section: &Section) -> Markup {
    html! {
        section id=(section.key) {
            h2 { (legible(&section.title)) }
            @for block in &section.blocks {
                @match block {
                    Block::Heading { text } => h3 { (legible(text)) },
                    Block::Text { text } => p { (legible(text)) },
                    Block::List { items } => ul { @for item in items { li { (legible(item)) } } },
                    Block::Table(grid) => (table(grid)),
                    Block::Picture { name, title, svg } => figure {
                        (PreEscaped(inlined(svg, name)))
                        figcaption { (legible(title)) }
                    },
                }
            }
        }
    }
}

fn table(grid: &Grid) -> Markup {
    let class = |i: usize| (grid.aligns[i] == Align::Right).then_some("n");
    // A hash may break anywhere; a word of the language not.
    let long = |cell: &str| match cell {
        _ if cell.split_whitespace().any(|w| w.chars().count() > LONG_WORD) => Some("long"),
        _ if cell.chars().count() > MUCH_TEXT => Some("much"),
        _ => None,
    };
    // A column to write into is wide enough for a hand.
    let blank = |i: usize| grid.rows.iter().filter(|r| r[i].is_empty()).count() * 2 > grid.rows.len();
    let head = |i: usize| class(i).or(blank(i).then_some("write"));
    // A wide table scrolls on a narrow screen, by keyboard too.
    html! {
        div class="scroll" tabindex="0" role="region" aria-label=(legible(&grid.caption)) {
            table {
                caption { (legible(&grid.caption)) }
                thead {
                    tr {
                        @for (i, title) in grid.columns.iter().enumerate() {
                            @if title.is_empty() { td class=[class(i)] {} }
                            @else { th scope="col" class=[head(i)] { (legible(title)) } }
                        }
                    }
                }
                tbody {
                    @for row in &grid.rows {
                        tr {
                            @for (i, cell) in row.iter().enumerate() {
                                @if i == 0 { th scope="row" class=[class(i).or(long(cell))] { (legible(cell)) } }
                                @else { td class=[class(i).or(long(cell))] { (legible(cell)) } }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// A picture to stand in a page with others: the names that its title and description go by are made its own. Text in a
/// picture has its quotes escaped, so nothing else matches.
fn inlined(svg: &str, name: &str) -> String {
    svg.replacen("aria-labelledby=\"title desc\"", &format!("aria-labelledby=\"{name}-title {name}-desc\""), 1)
        .replacen("id=\"title\"", &format!("id=\"{name}-title\""), 1)
        .replacen("id=\"desc\"", &format!("id=\"{name}-desc\""), 1)
}
