//! The checks of a formula, one file each: a figure against its limit, why, how well it is known and where it comes from.

mod acid;
mod actives;
mod annexes;
mod cool_down;
mod exfoliation;
mod filling;
mod frequency;
mod guide;
mod listed;
mod market;
mod preservative;
mod safety;
mod solids;
mod soluble;
mod suspension;
mod total;
mod traces;

pub use guide::{LimitBound, Part};
pub(crate) use market::beyond_tables;

use super::content::{AcidContent, Unplanned};
use super::dissolution::InJar;
use super::parts::Kind;
use super::{Formula, Ingredient, Item, Line, OnSkin, Stated, Substance, Weighed};
use crate::band::{self, Figures, Judge};
use crate::numerics::written::trimmed;
use crate::source::{CalendarDate, Spelled};
use crate::tables::{FormulaConstants, GrainKind, Known, Origin, Status, Tables, is_mineral_colour};
use serde::Serialize;

/// What a check says, mild to hard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum CheckVerdict {
    /// Within the limit.
    Pass,
    /// Data are missing; `why` says which.
    NotJudged,
    /// Something to mind.
    Caution,
    /// Not as it stands.
    Stop,
}

impl CheckVerdict {
    /// The word of JSON and of people.
    pub fn label(self) -> &'static str {
        match self {
            Self::Pass => "pass",
            Self::NotJudged => "not judged",
            Self::Caution => "caution",
            Self::Stop => "stop",
        }
    }
}

/// A check of a formula. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Check {
    /// What is checked.
    pub key: &'static str,
    /// What it says.
    pub verdict: CheckVerdict,
    /// The figure.
    pub value: Option<f64>,
    /// The limit.
    pub limit: Option<f64>,
    /// Unit of both; empty without a figure.
    pub unit: &'static str,
    /// Why, the gravest first; what is open beside a graver verdict stands in `open` alone.
    pub why: String,
    /// What is not judged for want of data, point by point, whatever the verdict.
    pub open: Vec<String>,
    /// Where limit and figure come from.
    pub source: String,
    /// How well they are known.
    pub status: String,
    /// The same, one by one.
    pub grounds: Vec<Origin>,
}

/// One thing that a check found.
#[derive(Debug, Clone, PartialEq)]
struct Finding {
    verdict: CheckVerdict,
    why: String,
    value: Option<f64>,
    limit: Option<f64>,
    /// Unit of both, where it is not that of the check.
    unit: Option<&'static str>,
    status: Status,
    source: String,
}

/// The source of what this program chose itself.
const OWN: (Status, &str) = (Status::Convention, "this program");

impl Finding {
    fn new(verdict: CheckVerdict, why: impl Into<String>, (status, source): (Status, &str)) -> Self {
        Self { verdict, why: why.into(), value: None, limit: None, unit: None, status, source: source.to_owned() }
    }

    fn pass(why: impl Into<String>, known: (Status, &str)) -> Self {
        Self::new(CheckVerdict::Pass, why, known)
    }

    fn caution(why: impl Into<String>, known: (Status, &str)) -> Self {
        Self::new(CheckVerdict::Caution, why, known)
    }

    fn stop(why: impl Into<String>, known: (Status, &str)) -> Self {
        Self::new(CheckVerdict::Stop, why, known)
    }

    /// Data are missing; `why` says what to give.
    fn missing(why: impl Into<String>) -> Self {
        Self::new(CheckVerdict::NotJudged, why, OWN)
    }

    fn of(mut self, value: f64, limit: impl Into<Option<f64>>) -> Self {
        self.value = Some(value).filter(|v| v.is_finite());
        self.limit = limit.into().filter(|l| l.is_finite());
        self
    }

    fn unit(mut self, unit: &'static str) -> Self {
        self.unit = Some(unit);
        self
    }
}

/// Status and source of a constant.
fn known(constant: &Known) -> (Status, &str) {
    (constant.origin.status, &constant.origin.source)
}

impl Check {
    /// The gravest finding gives verdict and figure; what the others say and where they come from stands behind it.
    fn from_findings(key: &'static str, unit: &'static str, findings: Vec<Finding>) -> Self {
        Self::showing(|_| 0, key, unit, findings)
    }

    /// The same with the figure of the gravest finding that is furthest beyond its limit, where the order of findings is that of lines.
    fn of_furthest(key: &'static str, unit: &'static str, findings: Vec<Finding>) -> Self {
        Self::showing(furthest, key, unit, findings)
    }

    fn showing(
        place: impl FnOnce(&[Finding]) -> usize,
        key: &'static str,
        unit: &'static str,
        mut findings: Vec<Finding>,
    ) -> Self {
        // Stable, so that findings of one verdict keep their order.
        findings.sort_by_key(|f| std::cmp::Reverse(f.verdict));
        if findings.is_empty() {
            findings.push(Finding::missing("nothing to go by"));
        }
        let is_open = |f: &Finding| f.verdict == CheckVerdict::NotJudged;
        let graver = findings[0].verdict > CheckVerdict::NotJudged;
        let open = distinct(findings.iter().filter(|f| is_open(f)).map(|f| f.why.as_str()));
        let open = open.into_iter().map(str::to_owned).collect();
        let said = findings.iter().filter(|f| !(graver && is_open(f)));
        let why = distinct(said.map(|f| f.why.as_str())).join("; ");
        let told = told(&findings);
        let (status, source) = in_words(&told);
        let grounds = told.iter().map(|f| Origin { status: f.status, source: f.source.clone() }).collect();
        let Finding { verdict, value, limit, unit: own, .. } = findings.swap_remove(place(&findings));
        let unit = if value.is_some() { own.unwrap_or(unit) } else { "" };
        Self { key, verdict, value, limit, unit, why, open, source, status, grounds }
    }

    /// The same with more that is open: what passed has not, then.
    fn and_open(mut self, points: impl IntoIterator<Item = String>) -> Self {
        for point in points.into_iter().filter(|p| !self.open.contains(p)).collect::<Vec<_>>() {
            if self.verdict <= CheckVerdict::NotJudged {
                self.verdict = CheckVerdict::NotJudged;
                self.why = format!("{point}; {}", self.why);
            }
            self.open.push(point);
        }
        self
    }

    /// The open points beside a graver verdict, which `why` does not tell.
    pub fn beside(&self) -> &[String] {
        if self.verdict > CheckVerdict::NotJudged { &self.open } else { &[] }
    }
}

/// Which finding has the figure that the check shows: of the gravest, sorted to the front, the one furthest beyond its limit, so that the
/// order of lines decides nothing; the first where nothing is wrong, or the first is no matter of a figure.
fn furthest(findings: &[Finding]) -> usize {
    let beyond = |f: &Finding| match (f.value, f.limit) {
        (Some(value), Some(limit)) if value > 0.0 && limit > 0.0 => (value / limit).ln().abs(),
        _ => 0.0,
    };
    if findings[0].verdict <= CheckVerdict::NotJudged || findings[0].value.is_none() {
        return 0;
    }
    let gravest = findings.iter().take_while(|f| f.verdict == findings[0].verdict).count();
    // Of equals the last that is looked at counts: the first of them.
    (0..gravest).rev().max_by(|&a, &b| beyond(&findings[a]).total_cmp(&beyond(&findings[b]))).unwrap_or(0)
}

/// Each text once, in order.
fn distinct<'a>(texts: impl Iterator<Item = &'a str>) -> Vec<&'a str> {
    let mut all = Vec::new();
    for text in texts {
        if !all.contains(&text) {
            all.push(text);
        }
    }
    all
}

/// The findings whose grounds are told: what this program chose itself is named only where nothing else is.
fn told(findings: &[Finding]) -> Vec<&Finding> {
    let outside = |f: &&Finding| (f.status, f.source.as_str()) != OWN;
    let mut told: Vec<&Finding> = findings.iter().filter(outside).collect();
    if told.is_empty() {
        told.extend(findings.first());
    }
    told
}

/// Status and source of findings; with several statuses each source says its own.
fn in_words(told: &[&Finding]) -> (String, String) {
    let statuses = distinct(told.iter().map(|f| f.status.key()));
    let one = |f: &&Finding| match statuses.len() {
        1 => f.source.clone(),
        _ => format!("{} ({})", f.source, f.status.key()),
    };
    let sources: Vec<String> = told.iter().map(one).collect();
    (statuses.join("; "), distinct(sources.iter().map(String::as_str)).join("; "))
}

/// A substance with what its names say.
struct NamedSubstance<'a> {
    is: Substance<'a>,
    /// The words of name and INCI name.
    words: Spelled,
    /// Which natural grains it is, if it is.
    grain: Option<GrainKind>,
}

impl<'a> NamedSubstance<'a> {
    fn new(substance: Substance<'a>, tables: &Tables) -> Self {
        let words = substance.spelled();
        let rows = &tables.substances.grains;
        // By its INCI name, or by its name where it has none.
        let inci = substance.inci().map(Spelled::new);
        let row = match &inci {
            Some(inci) => rows.iter().find(|row| row.is(inci)),
            None => rows.iter().find(|row| row.is_called(&words)),
        };
        let colour = is_mineral_colour(&words).then_some(GrainKind::Pigment);
        Self { is: substance, grain: row.map(|row| row.kind).or(colour), words }
    }

    /// The ingredient that brings it; powders are none.
    fn ingredient(&self) -> Option<&'a Ingredient> {
        self.is.ingredient()
    }
}

/// Names of what `wanted` holds for, each once, with commas.
fn names_of<'a>(
    all: impl IntoIterator<Item = &'a NamedSubstance<'a>>,
    wanted: impl Fn(&NamedSubstance) -> bool,
) -> String {
    let names: Vec<_> = all.into_iter().filter(|n| wanted(n)).map(|n| n.is.name()).collect();
    distinct(names.iter().map(AsRef::as_ref)).join(", ")
}

/// What the checks go by.
struct Setting<'a> {
    formula: &'a Formula,
    /// Every substance of ingredients and powders, with what its names say.
    substances: Vec<NamedSubstance<'a>>,
    /// The acid of the formula; an error says what the checks lack.
    acid: Result<Option<AcidContent<'a>>, String>,
    /// What takes or gives protons where no acid is planned.
    unplanned: Option<Unplanned<'a>>,
    tables: &'a Tables,
    judge: &'a Judge,
    /// The band of the grains as they reach the skin; where none do, as they are weighed in.
    band: band::Verdict,
    /// What the jar leaves of each powder.
    jar: Vec<InJar>,
    /// The grains as they lie in it.
    bed: Option<solids::Bed>,
    /// Whether any powder dissolves at all.
    soluble: bool,
}

impl Setting<'_> {
    fn constants(&self) -> &FormulaConstants<Known> {
        &self.tables.formula.constants
    }

    /// Whether the file lists what is in the scrub beside its powders.
    fn has_phases(&self) -> bool {
        !self.formula.phases().is_empty()
    }

    /// Whether a pH means nothing, there being no water.
    fn is_dry(&self) -> bool {
        self.formula.water_pct() <= 0.0
    }

    /// What it is, where it is made without water, and nothing is listed that is water or may hold any.
    fn free_of_water(&self) -> Option<Kind> {
        let is_free = |kind: &Kind| kind.is_free_of_water() && self.is_dry() && self.untold_water().is_none();
        self.formula.usage.kind.filter(is_free)
    }

    /// That the file gives what it calls dry, or a balm, what makes it flow.
    fn is_no_solid(&self) -> Option<Finding> {
        let kind = self.formula.usage.kind.filter(|kind| matches!(kind, Kind::Dry | Kind::Balm))?;
        let water =
            Some(self.formula.water_pct()).filter(|pct| *pct > 0.0).map(|pct| format!("{} % water", number(pct)));
        let flows = self.formula.base.viscosity.map(|v| format!("a viscosity of {} Pa·s", number(v.get())));
        let what: Vec<String> = water.into_iter().chain(flows).collect();
        (!what.is_empty()).then(|| {
            Finding::missing(format!(
                "kind = \"{}\" says that it is solid at rest, but the file gives it {}: leave out what does not hold",
                kind.key(),
                what.join(" and ")
            ))
        })
    }

    /// That nothing is said of the water in an ingredient, where no other water is there.
    fn untold_water(&self) -> Option<Finding> {
        let watery = if self.is_dry() { self.formula.may_bring_water() } else { Vec::new() };
        (!watery.is_empty()).then(|| {
            Finding::missing(format!(
                "whether {} holds water is not known: give functions = [\"water\"], strength_pct or its parts",
                watery.join(", ")
            ))
        })
    }

    /// That nothing is said about a pH, and why.
    fn no_ph(&self) -> Finding {
        Finding::missing(self.free_of_water().map_or_else(
            || super::content::NO_WATER.to_owned(),
            |kind| {
                format!(
                    "a {} scrub has no pH of its own; on wet skin it has that of what dissolves: give it into nine parts of water and measure \
                     that",
                    kind.key()
                )
            },
        ))
    }

    /// When it is placed on the market, if that is stated.
    fn day(&self) -> Option<CalendarDate> {
        self.formula.usage.on_market
    }

    /// Whether it is said to be rinsed off.
    fn is_rinsed(&self) -> bool {
        self.formula.usage.rinse_off == Some(true)
    }

    /// What its maker states of a line.
    fn stated(&self, line: &Line) -> Stated {
        match line.item {
            Item::Ingredient(i) => i.stated,
            Item::Powder(_, place) => self.formula.places()[place].stated,
        }
    }

    /// Solid powder in the jar, % w/w of the scrub, by powder.
    fn solids_pct(&self) -> Vec<f64> {
        self.jar.iter().map(|j| j.solid_pct).collect()
    }

    /// Names of the powders for which `wanted` holds, with commas.
    fn named(&self, wanted: impl Fn(&crate::powder::Powder) -> bool) -> Option<String> {
        let powders = self.formula.scrub().blend.components().iter().map(|c| &c.powder);
        let names: Vec<&str> = powders.filter(|p| wanted(p)).map(|p| p.name.as_str()).collect();
        (!names.is_empty()).then(|| names.join(", "))
    }
}

/// Nothing but powders is known.
fn no_phases() -> Finding {
    Finding::missing("the file lists no ingredients; add [[phase]] with its [[phase.ingredient]]")
}

/// A formula with its checks.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// Every check, in a fixed order.
    pub checks: Vec<Check>,
    /// The scrub as its grains reach the skin.
    pub on_skin: OnSkin,
    /// What the bands look at, of these grains; `None` when every grain dissolves in the jar.
    pub figures: Option<Figures>,
    /// The band of these figures.
    pub band: Option<band::Verdict>,
    /// Index and band of the grains as they are weighed in.
    pub undissolved: (f64, band::Verdict),
}

impl Checked {
    /// Whether any check says stop.
    pub fn stops(&self) -> bool {
        self.checks.iter().any(|c| c.verdict == CheckVerdict::Stop)
    }
}

/// Runs all checks.
pub fn checks(formula: &Formula, tables: &Tables, judge: &Judge) -> Checked {
    let undissolved = judge.assess(formula.scrub());
    let on_skin = Weighed::from(formula).on_skin(tables, judge.model());
    // Most scrubs lose nothing to the jar.
    let same = on_skin.grains.as_ref() == Some(formula.scrub());
    let judged =
        if same { Some(undissolved.clone()) } else { on_skin.grains.as_ref().map(|grains| judge.assess(grains)) };
    let band = judged.as_ref().map_or_else(|| undissolved.verdict.clone(), |a| a.verdict.clone());
    Checked {
        checks: checks_at(formula, &on_skin, band, tables, judge),
        figures: judged.as_ref().map(|a| a.figures.clone()),
        band: judged.map(|a| a.verdict),
        undissolved: (undissolved.figures.index, undissolved.verdict),
        on_skin,
    }
}

/// The checks of a formula whose grains on the skin and whose band are known: of one as it is weighed, they are as good as those
/// of the formula itself.
pub(crate) fn checks_at(
    formula: &Formula,
    on_skin: &OnSkin,
    band: band::Verdict,
    tables: &Tables,
    judge: &Judge,
) -> Vec<Check> {
    let setting = Setting {
        formula,
        substances: formula
            .lines()
            .into_iter()
            .flat_map(Line::substances)
            .map(|s| NamedSubstance::new(s, tables))
            .collect(),
        acid: acid::content(formula, tables),
        unplanned: formula.acid.is_none().then(|| Unplanned::new(formula, &tables.formula)),
        tables,
        bed: solids::Bed::new(&formula.scrub().blend, &on_skin.jar, &tables.formula.constants),
        jar: on_skin.jar.clone(),
        soluble: on_skin.dissolves,
        band,
        judge,
    };
    let acids = || actives::unreckoned(&setting);
    vec![
        total::check(&setting),
        acid::active(&setting).and_open(acids()).and_open(market::acids(&setting)),
        acid::free(&setting).and_open(acids()),
        acid::window(&setting).and_open(acids()).and_open(market::acids(&setting)),
        preservative::check(&setting).and_open(market::preservatives(&setting)),
        cool_down::check(&setting),
        soluble::check(&setting, on_skin.over_the_rub),
        suspension::check(&setting),
        solids::check(&setting),
        filling::check(&setting),
        safety::silica_dust(&setting),
        safety::allergens(&setting).and_open(market::allergens(&setting)),
        safety::microbes(&setting),
        safety::microbeads(&setting).and_open(market::plastics(&setting)),
        exfoliation::check(&setting),
        annexes::check(&setting),
        traces::check(&setting),
        frequency::check(&setting),
    ]
}

/// A number in a sentence: three digits, no trailing zeros.
fn number(value: f64) -> String {
    if value.is_finite() { trimmed(value, 3) } else { "beyond measure".to_owned() }
}
