//! A document as one HTML file: pictures within, nothing fetched, no script; it prints on A4.

use super::{Align, Block, Document, Grid, JPEG_DATA, Section};
use crate::source::legible;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// A table of so many rows at most is kept on one page.
const MOST_TOGETHER: usize = 12;

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
                    meta http-equiv="Content-Security-Policy" content=(self.policy());
                    title { (title) }
                    style { (PreEscaped(STYLE.lines().collect::<String>() + &running(&title))) }
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
                    main { @for s in &self.sections { (self.section(s)) } }
                }
            }
        };
        page.into_string() + "\n"
    }

    /// What a browser may load for it: its style, and photographs that stand in it.
    fn policy(&self) -> &'static str {
        if self.pictures().any(|(_, svg)| svg.contains(JPEG_DATA)) {
            "default-src 'none'; style-src 'unsafe-inline'; img-src data:"
        } else {
            "default-src 'none'; style-src 'unsafe-inline'"
        }
    }

    fn section(&self, section: &Section) -> Markup {
        html! {
            section id=(section.key) {
                h2 { (legible(&self.heading(section))) }
                @for block in &section.blocks {
                    @match block {
                        Block::Heading { text } => h3 { (legible(text)) },
                        Block::Text { text } => p { (legible(text)) },
                        Block::List { items } => ul { @for item in items { li { (legible(item)) } } },
                        Block::Table(grid) => (table(grid, &[])),
                        Block::Guide { grid, sections, nowhere } => {
                            (table(&self.guide(grid, sections, nowhere), &self.links(sections)))
                        }
                        Block::Picture { name, title, svg } => (picture(name, title, svg)),
                    }
                }
            }
        }
    }

    /// The last cell of each row of a guide; `None` where it leads nowhere.
    fn links(&self, sections: &[Vec<&str>]) -> Vec<Option<Markup>> {
        let link =
            |key: &&str| Some((*key, self.number_of(key)?)).map(|(k, n)| html! { a href=(format!("#{k}")) { (n) } });
        let of_row = |keys: &Vec<&str>| {
            let links: Vec<Markup> = keys.iter().filter_map(&link).collect();
            let joined = html! { @for (i, link) in links.iter().enumerate() { @if i > 0 { ", " } (link) } };
            (!links.is_empty()).then_some(joined)
        };
        sections.iter().map(of_row).collect()
    }
}

/// Longest running title, characters.
const RUNNING: usize = 70;

/// What stands in the margins of every printed page: the title, and the page of how many. All but letters, digits and spaces is written
/// as its number (CSS Syntax, section 4.3.7), so that no name ends the string or the style.
fn running(title: &str) -> String {
    let cut = if title.chars().count() > RUNNING { "…" } else { "" };
    let plain = |c: char| c.is_alphanumeric() || c == ' ';
    let written = |c| if plain(c) { String::from(c) } else { format!("\\{:x} ", u32::from(c)) };
    let title: String = title.chars().take(RUNNING).chain(cut.chars()).map(written).collect();
    format!("@page{{@top-left{{content:\"{title}\"}}@bottom-right{{content:counter(page) \" / \" counter(pages)}}}}")
}

fn picture(name: &str, title: &str, svg: &str) -> Markup {
    // On a narrow screen a picture scrolls rather than shrink its words out of sight.
    html! {
        figure {
            div class="scroll" tabindex="0" role="region" aria-label=(legible(title)) { (PreEscaped(inlined(svg, name))) }
            figcaption { (legible(title)) }
        }
    }
}

/// A table; `links` stand in the last cell of their row in place of its text.
fn table(grid: &Grid, links: &[Option<Markup>]) -> Markup {
    let class = |i: usize| match grid.aligns[i] {
        Align::Left => None,
        Align::Right => Some("n"),
        Align::Write => Some("hand"),
    };
    let last = grid.columns.len() - 1;
    let is_guide = |i: usize| i == last && !links.is_empty();
    // A hash may break anywhere; a word of the language not.
    let long = |cell: &str| match cell {
        _ if cell.split_whitespace().any(|w| w.chars().count() > LONG_WORD) => Some("long"),
        _ if cell.chars().count() > MUCH_TEXT => Some("much"),
        _ => None,
    };
    // A column to write into is wide enough for a hand.
    let blank = |i: usize| grid.rows.iter().filter(|r| r[i].is_empty()).count() * 2 > grid.rows.len();
    let head = |i: usize| class(i).or(blank(i).then_some("write"));
    // One that has its place on a page is not torn in print.
    let short = (grid.rows.len() <= MOST_TOGETHER).then_some("short");
    // A wide table scrolls on a narrow screen, by keyboard too.
    html! {
        div class="scroll" tabindex="0" role="region" aria-label=(legible(&grid.caption)) {
            table class=[short] {
                caption { span { (legible(&grid.caption)) } }
                thead {
                    tr {
                        @for (i, title) in grid.columns.iter().enumerate() {
                            @if title.is_empty() { td class=[class(i)] {} }
                            @else { th scope="col" class=[head(i)] { (legible(title)) } }
                        }
                    }
                }
                tbody {
                    @for (at, row) in grid.rows.iter().enumerate() {
                        tr {
                            @for (i, cell) in row.iter().enumerate() {
                                @if i == 0 { th scope="row" class=[class(i).or(long(cell))] { (legible(cell)) } }
                                @else if is_guide(i) {
                                    td class="go" { @if let Some(Some(links)) = links.get(at) { (links) } @else { (legible(cell)) } }
                                }
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
