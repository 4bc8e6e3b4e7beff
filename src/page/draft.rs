//! A scrub that is being worked on: the text of its file, with size tables that are not on disk yet.

use super::answer::Refusal;
use super::server::Page;
use crate::band::Assessment;
use crate::blend::Scrub;
use crate::plot::{SizeCharts, blend_series};
use crate::report::{BlendReport, ScaleReport};
use crate::scrubfile::edit::{Edit, definition, edited};
use crate::scrubfile::{STARTER_SCRUB, STARTER_SIEVE, parse_beside};
use crate::size::SaidAs;
use crate::size::spec::SizeSpec;
use crate::source::{Beside, Files, ReadError, text_of};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::path::Path;

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Draft {
    pub file: String,
    pub text: String,
    #[serde(default)]
    pub tables: Vec<TableText>,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TableText {
    pub name: String,
    pub text: String,
}

/// What is asked about a draft.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AssessRequest {
    pub draft: Draft,
    #[serde(default)]
    pub edits: Vec<Edit>,
    pub restate: Option<Restate>,
    #[serde(default)]
    pub kept: Vec<Draft>,
}

/// The size of a powder in another form, as near as that form comes.
#[derive(Debug, Clone, Copy, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Restate {
    pub powder: usize,
    pub form: SaidAs,
}

/// All that the page shows of a draft.
#[derive(Debug, Serialize)]
pub(super) struct AssessAnswer {
    draft: Draft,
    definition: Json,
    /// How each powder's size is stated.
    forms: Vec<&'static str>,
    report: BlendReport,
    scale: ScaleReport,
    charts: SizeCharts,
}

/// More scrubs than this laid over each other are a tangle.
const MOST_KEPT: usize = 5;

impl Draft {
    /// A new scrub.
    pub fn start() -> Self {
        let sieve = TableText { name: "sieve.csv".to_owned(), text: STARTER_SIEVE.to_owned() };
        Self { file: "scrub.toml".to_owned(), text: STARTER_SCRUB.to_owned(), tables: vec![sieve] }
    }

    /// The scrub that it says.
    pub fn scrub(&self, page: &Page) -> Result<Scrub, Refusal> {
        let files = InHand { draft: self, page };
        // Read as a file is, so that an empty text is refused in the same words.
        let text = text_of(self.text.as_bytes(), self.file.clone())?;
        Ok(parse_beside(&text, &self.file, Beside { folder: Path::new(""), files: &files }, &page.tables)?)
    }
}

/// The tables and the text of a draft before the files of the folder.
pub(super) struct InHand<'a> {
    pub draft: &'a Draft,
    pub page: &'a Page,
}

impl Files for InHand<'_> {
    fn read(&self, path: &Path) -> Result<String, ReadError> {
        let own = [(&self.draft.file, &self.draft.text)].into_iter();
        let mut texts = own.chain(self.draft.tables.iter().map(|t| (&t.name, &t.text)));
        match texts.find(|(name, _)| Path::new(name) == path) {
            Some((name, text)) => text_of(text.as_bytes(), name.clone()),
            None => self.page.workshop.read(path),
        }
    }
}

/// Makes the edits and assesses what comes of them.
pub(super) fn assess(page: &Page, request: AssessRequest) -> Result<AssessAnswer, Refusal> {
    let AssessRequest { mut draft, edits, restate, kept } = request;
    if kept.len() > MOST_KEPT {
        return Err(Refusal::wrong(format!("{} scrubs are kept; {MOST_KEPT} at most", kept.len())));
    }
    if let Some(restate) = restate {
        let edit = restated(page, &draft, restate)?;
        draft.text = edited(&draft.text, &draft.file, &[edit])?;
    }
    if !edits.is_empty() {
        draft.text = edited(&draft.text, &draft.file, &edits)?;
    }
    let (scrub, assessment) = judged(page, &draft)?;
    let kept = kept.iter().map(|k| judged(page, k)).collect::<Result<Vec<_>, _>>()?;
    let definition = definition(&draft.text, &draft.file)?;
    let forms =
        definition["powder"].as_array().map_or_else(Vec::new, |all| all.iter().map(|p| form(&p["size"])).collect());
    Ok(AssessAnswer {
        definition,
        forms,
        report: BlendReport::new(&scrub, &assessment, &page.judge, &page.tables),
        scale: ScaleReport::new(&assessment, &page.judge),
        charts: blend_series(&scrub, &assessment, &page.judge, &kept),
        draft,
    })
}

fn judged(page: &Page, draft: &Draft) -> Result<(Scrub, Assessment), Refusal> {
    let scrub = draft.scrub(page)?;
    let assessment = page.judge.assess(&scrub);
    Ok((scrub, assessment))
}

fn restated(page: &Page, draft: &Draft, Restate { powder, form }: Restate) -> Result<Edit, Refusal> {
    let scrub = draft.scrub(page)?;
    let component = scrub.blend.components().get(powder);
    let component =
        component.ok_or_else(|| Refusal::wrong(format!("there is no powder at position {powder} (from 0)")))?;
    let spec = SizeSpec::nearest(form, &component.powder.size.distribution, &page.tables.standards);
    let name = &component.powder.name;
    let spec = spec.ok_or_else(|| Refusal::wrong(format!("the sizes of {name} cannot be said in this form")))?;
    let written = |(key, value)| Some((key, serde_json::to_value(value).ok()?));
    let size: Map<String, Json> = spec.written().into_iter().filter_map(written).collect();
    Ok(Edit::Powder { powder, values: Map::from_iter([("size".to_owned(), Json::Object(size))]) })
}

/// How a size is stated, by its keys.
fn form(size: &Json) -> &'static str {
    let has = |key: &str| size.get(key).is_some();
    let first = |keys: &[(&str, &'static str)]| keys.iter().find(|(key, _)| has(key)).map(|(_, form)| *form);
    if size.is_string() {
        return "words";
    }
    let keys = [
        ("sieve", "table"),
        ("laser", "table"),
        ("counts", "table"),
        ("mesh", "mesh"),
        ("range_um", "range"),
        ("grit", "grit"),
        ("rr_size_um", "rosin-rammler"),
        ("ggs_size_um", "gates-gaudin-schuhmann"),
        ("gsd", "log-normal"),
    ];
    first(&keys).unwrap_or("percentiles")
}
