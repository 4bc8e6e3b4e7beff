//! A draft read, edited and assessed.

use super::answer::Refusal;
use super::differences::{DraftDifference, differences};
use super::draft::{Draft, TableText};
use super::folder::free_name;
use super::held::Page;
use super::whole::{Whole, whole};
use crate::band::BandScale;
use crate::blend::Scrub;
use crate::files::edit::{Edit, definition, edited, has_formula};
use crate::files::{
    NEW_SCRUB, STARTER_SCRUB, STARTER_SIEVE, STARTER_SIEVE_NAME, ScrubFileError, read_formula, read_scrub,
};
use crate::formula::{self, Formula, Weighed};
use crate::plot::{SizeCharts, blend_series};
use crate::report::formula::{Level, Remark};
use crate::report::{BlendReport, Caution, FormulaReport};
use crate::size::SaidAs;
use crate::size::spec::SizeSpec;
use crate::source::{Beside, Files, Located, Place, ReadError, Source, read_bounded, sha256_hex, text_of};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value as Json};
use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// What is asked about a draft.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct AssessRequest {
    pub draft: Draft,
    #[serde(default)]
    pub edits: Vec<Edit>,
    pub restate: Option<Restate>,
    /// Sizes that the curves must reach, µm: those of scrubs that are laid over them.
    pub range_um: Option<(f64, f64)>,
    /// What the file holds on disk, to be told what is not saved.
    pub base: Option<String>,
    /// The text before this step, to be told what the step did.
    pub since: Option<String>,
    /// `tables_read` of the answer before.
    #[serde(default)]
    pub tables_read: BTreeMap<String, String>,
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
    scale: BandScale,
    charts: SizeCharts,
    /// What the checks of its formula say, where it has one.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    formula: Vec<Remark>,
    /// Its ingredients and all checks, where it has a formula that can be read.
    #[serde(skip_serializing_if = "Option::is_none")]
    whole: Option<Whole>,
    /// What differs from `base`.
    unsaved: Vec<DraftDifference>,
    /// What differs from `since`.
    step: Vec<DraftDifference>,
    /// Tables of the folder that it was made from: name and SHA-256.
    tables_read: BTreeMap<String, String>,
    /// Those that hold something else than they did before, in words.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    changed: Vec<String>,
}

/// Sizes that curves may be asked to reach, µm.
const REACH_UM: std::ops::RangeInclusive<f64> = 1e-4..=1e6;

impl Draft {
    /// A new scrub, with a name that the folder has free.
    pub fn start(page: &Page) -> Result<Self, Refusal> {
        let file = free_name(&*page.folder, "scrub.toml", None, &[])?;
        Ok(Self { file, text: NEW_SCRUB.to_owned(), tables: Vec::new() })
    }

    /// The example that `gritwise start` writes, with names that the folder has free.
    pub fn example(page: &Page) -> Result<Self, Refusal> {
        let free = |name, text| free_name(&*page.folder, name, text, &[]);
        let sieve = free(STARTER_SIEVE_NAME, Some(STARTER_SIEVE))?;
        let text = STARTER_SCRUB.replace(&format!("\"{STARTER_SIEVE_NAME}\""), &format!("\"{sieve}\""));
        let file = free("scrub.toml", None)?;
        Ok(Self { file, text, tables: vec![TableText { name: sieve, text: STARTER_SIEVE.to_owned() }] })
    }

    /// The scrub that it says.
    pub fn scrub(&self, page: &Page) -> Result<Scrub, Refusal> {
        Ok(read_scrub(self.source(&InHand::new(self, page))?, &page.tables)?)
    }

    /// Its powders, with what is known of the water in the jar, and the whole scrub or why that cannot be read.
    fn as_far_as_read(&self, page: &Page, files: &InHand) -> Result<(Weighed, Result<Formula, Refusal>), Refusal> {
        match read_formula(self.source(files)?, &page.tables) {
            Ok(formula) => Ok((Weighed::from(&formula), Ok(formula))),
            Err(unread) => {
                let scrub = read_scrub(self.source(files)?, &page.tables)?;
                Ok((Weighed::new(scrub, None), Err(unread.into())))
            }
        }
    }

    /// The whole scrub that it says, with its phases where it has them.
    pub fn whole(&self, page: &Page) -> Result<Formula, Refusal> {
        Ok(read_formula(self.source(&InHand::new(self, page))?, &page.tables)?)
    }

    /// Its text and the tables in hand as a task takes them.
    pub fn source<'a>(&'a self, files: &'a InHand<'a>) -> Result<Source<'a>, Refusal> {
        let names = || self.tables.iter().map(|t| &t.name);
        if let Some(name) = names().enumerate().find_map(|(i, n)| names().take(i).any(|o| o == n).then_some(n)) {
            let problem = "two tables of this name are in hand; give one of them another".to_owned();
            return Err(ScrubFileError::from(Located::new(Place::file(name), problem)).into());
        }
        // As a file is, so that an empty text is refused in the same words.
        text_of(self.text.as_bytes(), self.file.clone())?;
        let beside = Beside { folder: Path::new(""), files };
        Ok(Source::Text { text: &self.text, name: &self.file, beside })
    }
}

/// The tables and the text of a draft before the files of the folder.
pub(super) struct InHand<'a> {
    draft: &'a Draft,
    page: &'a Page,
    /// Name and SHA-256 of what was taken from the folder.
    taken: Mutex<BTreeMap<String, String>>,
}

impl<'a> InHand<'a> {
    pub fn new(draft: &'a Draft, page: &'a Page) -> Self {
        Self { draft, page, taken: Mutex::default() }
    }

    /// What was taken from the folder so far.
    pub fn taken(self) -> BTreeMap<String, String> {
        self.taken.into_inner().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Files for InHand<'_> {
    fn bytes(&self, path: &Path) -> Result<Vec<u8>, ReadError> {
        let own = [(&self.draft.file, &self.draft.text)].into_iter();
        let mut texts = own.chain(self.draft.tables.iter().map(|t| (&t.name, &t.text)));
        match texts.find(|(name, _)| Path::new(name) == path) {
            Some((name, text)) => read_bounded(text.as_bytes(), name),
            None => {
                let bytes = self.page.folder.bytes(path)?;
                let mut taken = self.taken.lock().unwrap_or_else(PoisonError::into_inner);
                taken.insert(path.display().to_string(), sha256_hex(&bytes));
                Ok(bytes)
            }
        }
    }
}

/// Makes the edits and assesses what comes of them.
pub(super) fn assess(page: &Page, request: AssessRequest) -> Result<AssessAnswer, Refusal> {
    let AssessRequest { mut draft, edits, restate, range_um, base, since, tables_read: before } = request;
    if range_um.is_some_and(|(lo, hi)| !(REACH_UM.contains(&lo) && REACH_UM.contains(&hi) && lo < hi)) {
        let (low, high) = (REACH_UM.start(), REACH_UM.end());
        return Err(Refusal::wrong(format!("range_um: two sizes from {low} to {high} µm are wanted, the finer first")));
    }
    // One that no file may be is refused before it is edited.
    text_of(draft.text.as_bytes(), draft.file.clone())?;
    let unedited = draft.clone();
    if let Some(restate) = restate {
        let edit = restated(page, &draft, restate)?;
        draft.text = edited(&draft.text, &draft.file, &[edit])?;
    }
    if !edits.is_empty() {
        draft.text = edited(&draft.text, &draft.file, &edits)?;
    }
    let files = InHand::new(&draft, page);
    let (weighed, whole) = draft.as_far_as_read(page, &files)?;
    let tables_read = files.taken();
    let on_skin = weighed.on_skin(&page.tables, page.judge.model());
    let scrub = on_skin.scrub_or_weighed();
    let assessment = page.judge.assess(scrub);
    let definition = definition(&draft.text, &draft.file)?;
    let forms =
        definition["powder"].as_array().map_or_else(Vec::new, |all| all.iter().map(|p| form(&p["size"])).collect());
    let drawn = page.drawn(scrub);
    let report = BlendReport::new(&on_skin, &assessment, &page.judge, &page.tables).with_sure(&drawn, &page.judge);
    let (formula, whole) = match has_formula(&definition).then_some(whole) {
        None => (Vec::new(), None),
        Some(Ok(formula)) => checked(page, &formula, &report.cautions),
        // An edit that makes a formula unreadable is refused where it is made.
        Some(Err(refusal)) if draft.text != unedited.text && unedited.whole(page).is_ok() => return Err(refusal),
        // The powders alone can be read, and are shown all the same.
        Some(Err(refusal)) => (vec![Remark { level: Level::Stop, text: refusal.to_string() }], None),
    };
    let materials = &page.tables.materials;
    let against =
        |text: Option<String>| text.map_or(Ok(Vec::new()), |t| differences(&t, &draft.text, &draft.file, materials));
    // What cannot be read on disk is mended here.
    let unsaved = against(base).unwrap_or_else(|_| vec![DraftDifference::of_unreadable()]);
    Ok(AssessAnswer {
        formula,
        whole,
        unsaved,
        step: against(since)?,
        changed: changed(&before, &tables_read),
        tables_read,
        definition,
        forms,
        report,
        scale: BandScale::new(&assessment, &page.judge),
        charts: blend_series(scrub, &assessment, &page.judge, range_um),
        draft,
    })
}

/// What the checks of a formula say.
fn checked(page: &Page, formula: &Formula, said: &[Caution]) -> (Vec<Remark>, Option<Whole>) {
    let checked = formula::checks(formula, &page.tables, &page.judge);
    let report = FormulaReport::new(formula, &checked, &page.judge, &page.tables);
    (report.remarks(said), Some(whole(report)))
}

fn changed(before: &BTreeMap<String, String>, now: &BTreeMap<String, String>) -> Vec<String> {
    let other = now.iter().filter(|(name, hash)| before.get(*name).is_some_and(|old| old != *hash));
    let said = |name| format!("{name} changed on disk: what is shown is of what it holds now");
    other.map(|(name, _)| said(name)).collect()
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
