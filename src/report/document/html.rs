//! A document as one HTML file: pictures within, nothing fetched, no script; it prints on A4.

use super::{Align, Block, Document, Grid, Section};
use crate::source::legible;
use maud::{DOCTYPE, Markup, PreEscaped, html};

/// A word of more characters may be broken within.
const LONG_WORD: usize = 30;

/// A cell of more characters wants room.
const MUCH_TEXT: usize = 40;

/// Colours have a contrast of at least 4.5 on their ground (WCAG 2.1, level AA).
const STYLE: &str = "\
:root{color-scheme:light}\
body{font:1rem/1.5 Georgia,'DejaVu Serif',serif;color:#222;background:#fff;max-width:60rem;margin:0 auto;padding:1.5rem 1rem;overflow-wrap:break-word}\
h1{font-size:1.7rem;line-height:1.25;margin:0 0 .75rem}\
h2{font-size:1.25rem;margin:2.25rem 0 .5rem;padding-top:.5rem;border-top:2px solid #1d5c6b}\
h3{font-size:1.05rem;margin:1.25rem 0 .25rem}\
nav ol{columns:2 18rem;padding-left:1.5rem;margin:.5rem 0}\
a{color:#1d5c6b}\
.lead{border-left:4px solid #1d5c6b;background:#f1f6f7;padding:.5rem 1rem;margin:1rem 0}\
.scroll{overflow-x:auto;margin:.75rem 0}\
table{border-collapse:collapse;font:.85rem/1.4 'DejaVu Sans',Verdana,sans-serif;width:100%}\
caption{text-align:left;font-weight:bold;padding:.25rem 0}\
th,td{text-align:left;vertical-align:top;padding:.2rem .5rem;border-bottom:1px solid #c9d2d4;font-weight:normal}\
thead th{border-bottom:1px solid #222;font-weight:bold}\
.n{text-align:right;font-variant-numeric:tabular-nums}td.n{white-space:nowrap}.long{overflow-wrap:anywhere}.much{min-width:10rem}.write{min-width:5rem}\
figure{margin:1rem 0}figure svg{max-width:100%;height:auto}\
figcaption{font-size:.85rem;color:#444}\
@page{size:A4;margin:18mm 15mm}\
@media print{body{max-width:none;padding:0;font-size:10pt}table{font-size:8pt}.scroll{overflow:visible}\
h2,h3,h3+p,h3+p+p,caption,thead{break-after:avoid}tr,figure,li{break-inside:avoid}nav{display:none}a{color:inherit;text-decoration:none}}";

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
                    style { (PreEscaped(STYLE)) }
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
