//! The dossier: why a scrub suits its use, as a document for the product file.

mod fingerprint;
mod first;
mod gaps;
mod grains;
mod grounds;
mod misuse;
mod product;
mod verdict;
mod verification;
mod whole;

pub use fingerprint::{Call, Fingerprint, HashedFile, HashedTable, INPUTS, NINE_IN_TEN, TABLES};
pub use gaps::Gap;
pub use misuse::{MisusePart, UsePart};
pub use verification::Verification;

use super::document::{Block, Document};
use super::layout::{hung, par};
use super::{BlendReport, ConfidenceReport, FormulaReport, wording};
use crate::band::{Assessment, Judge};
use crate::confidence::{Confidence, Sure, sure as sure_of};
use crate::formula::{Checked, Formula};
use crate::tables::{TableError, Tables};
use serde::Serialize;

/// Draws for how sure a verdict is, when a dossier is not asked for more.
pub const DEFAULT_DRAWS: u64 = 4_096;

/// What a dossier is made of.
#[derive(Debug)]
pub struct Subject<'a> {
    /// The whole scrub, powders and what else its file says.
    pub formula: &'a Formula,
    /// Its checks.
    pub checked: &'a Checked,
    /// The scrub rubbed and judged, its grains as they reach the skin (as they are weighed in where none do).
    pub assessment: &'a Assessment,
    /// Bands and model.
    pub judge: &'a Judge,
    /// Tables in force.
    pub tables: &'a Tables,
    /// How sure it is.
    pub confidence: &'a Confidence,
    /// Rank of the band that it has to meet, when one is asked for.
    pub required: Option<usize>,
    /// Share of the draws that have to meet it, 0..1.
    pub sure: f64,
}

impl Subject<'_> {
    /// Share of the draws in a band or a milder one, whole %.
    fn drawn_pct(&self, rank: usize) -> f64 {
        Sure::pct(self.confidence.all.at_most.get(rank).map_or(1.0, |e| e.value))
    }

    /// Whether as many draws as are asked for fall into a band or a milder one.
    fn is_sure_of(&self, rank: usize) -> bool {
        self.drawn_pct(rank) >= 100.0 * self.sure
    }
}

/// The section that a picture of a blend goes into, by the end of its file name, and what it shows.
fn place_of(picture: &str) -> (&'static str, &str) {
    match picture {
        "frequency" => ("sizes", "How much of each size, by volume: the blend and its powders"),
        "undersize" => ("sizes", "How much is finer than a size"),
        "confidence" => ("confidence", "Where the draws of the index fall among the bands (model)"),
        "work" => ("index", "Which grains do the work (model): by volume, by load, by index"),
        other => ("sizes", other),
    }
}

/// A dossier. The field names are the keys of its JSON.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Dossier {
    /// What it was made from.
    pub fingerprint: Fingerprint,
    /// Whether the scrub meets the band asked for; absent when none was.
    pub meets_required: Option<bool>,
    /// The scrub, with the keys of `blend --json`.
    pub blend: BlendReport,
    /// How sure it is, with the keys of `confidence --json`.
    pub confidence: ConfidenceReport,
    /// The whole scrub with its checks, with the keys of `formula --json`.
    pub formula: FormulaReport,
    /// The scrub used otherwise than it is meant.
    pub misuse: MisusePart,
    /// What is missing of it.
    pub gaps: Vec<Gap>,
    /// The text, the same as in HTML and Markdown.
    pub document: Document,
}

impl Dossier {
    /// Writes the dossier of a scrub. `pictures`, names and SVG documents, go where their names say: `frequency` and `undersize` to the blend, `work` to
    /// the index, `confidence` to the section of that name.
    ///
    /// # Errors
    /// [`TableError`] when a table in force is damaged.
    pub fn new(subject: &Subject, pictures: Vec<(&str, String)>, fingerprint: Fingerprint) -> Result<Self, TableError> {
        let Subject { formula, checked, assessment, judge, tables, confidence, required, .. } = *subject;
        let scrub = formula.scrub();
        let drawn = sure_of(checked.on_skin.scrub_or_weighed(), judge, tables, confidence.sampling);
        let blend = BlendReport::new(&checked.on_skin, assessment, judge, tables).with_sure(&drawn, judge);
        let whole = FormulaReport::new(formula, checked, judge, tables);
        let sure = ConfidenceReport::new(&checked.on_skin, judge, confidence, tables);
        let meets_required =
            required.map(|rank| assessment.verdict.rank <= rank && !checked.stops() && subject.is_sure_of(rank));
        let said = whole::all_cautions(&blend, &whole);
        let misuse = MisusePart::new(subject);
        let gaps = gaps::found(subject, &whole);
        let mut sections = vec![
            first::first(subject, &blend, &whole, &gaps, &fingerprint),
            product::product(subject, &blend),
            whole::formula(&whole),
            grains::powders(scrub, &blend),
            grains::sizes(&blend),
            whole::checks(&whole),
            verdict::index(&blend),
            verdict::sites(judge, &blend),
            misuse::horn(subject, &blend, &misuse),
            verdict::band(subject, &blend),
            verdict::confidence(&sure),
            misuse::section(subject, &misuse),
            whole::cautions(&said),
            gaps::section(&gaps, tables),
            grounds::open_points(tables),
            grounds::assumptions(tables)?,
            grounds::sources(scrub, &whole, &said, tables)?,
            grounds::fingerprint(&fingerprint),
        ];
        if let Some(found) = grains::roundness_found(scrub, &sure) {
            let after_powders = sections.iter().position(|s| s.key == "sizes").unwrap_or(sections.len());
            sections.insert(after_powders, found);
        }
        for (name, svg) in pictures {
            let (key, title) = place_of(name);
            let picture = Block::Picture { name: name.to_owned(), title: title.to_owned(), svg };
            sections.iter_mut().filter(|s| s.key == key).for_each(|s| s.blocks.push(picture.clone()));
        }
        let title = format!("{}: suitability dossier", scrub.name);
        let lead = vec![wording::DOSSIER_NOTE.to_owned()];
        Ok(Self {
            fingerprint,
            meets_required,
            blend,
            confidence: sure,
            formula: whole,
            misuse,
            gaps,
            document: Document { title, lead, sections, numbered: true },
        })
    }

    /// For a terminal: what page one says of the product.
    pub fn to_text(&self) -> String {
        let tables =
            self.document.sections.first().into_iter().flat_map(|s| &s.blocks).filter_map(|block| match block {
                Block::Table(grid) => Some(grid),
                _ => None,
            });
        let facts: String = tables.flat_map(|grid| &grid.rows).map(|row| hung(row.join(": "))).collect();
        let note: String = self.document.lead.iter().map(par).collect();
        format!("{}\n\n{facts}\n{note}", self.document.title)
    }

    /// Its files: names with `/` between, and texts.
    ///
    /// # Errors
    /// When a number in it cannot be written as JSON.
    pub fn files(&self) -> Result<Vec<(String, String)>, serde_json::Error> {
        let mut files = vec![
            ("dossier.html".to_owned(), self.document.to_html()),
            ("dossier.md".to_owned(), self.document.to_markdown()),
            ("dossier.json".to_owned(), serde_json::to_string_pretty(self)? + "\n"),
        ];
        let picture = |(name, svg): (&str, &str)| (format!("pictures/{name}.svg"), svg.to_owned());
        files.extend(self.document.pictures().map(picture));
        Ok(files)
    }
}
