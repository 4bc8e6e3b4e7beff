//! The result of `gritwise plan stability`: pulls and tests drawn from the open points of a formula and from what is in it.

use super::document::{Document, Grid, Section};
use super::layout::row;
use crate::formula::{Check, CheckVerdict, Checked, Formula, Function, Kind, holds_acid};
use crate::source::CalendarDate;
use crate::tables::{AcidKind, Origin, PullKind, StabilityTest, Tables};
use serde::Serialize;

/// A stability plan. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StabilityReport {
    /// Name of the scrub.
    pub name: String,
    /// The day of its start.
    pub start: Option<CalendarDate>,
    /// The tests.
    pub tests: Vec<TestPart>,
    /// The pulls, in order of time.
    pub pulls: Vec<PullPart>,
    /// Packs to set aside.
    pub packs: usize,
    /// Open points of the checks that no test of this plan closes: key, verdict and why.
    pub left_open: Vec<String>,
    /// What it is and is not.
    pub note: &'static str,
}

/// A test.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TestPart {
    /// Its number in the pulls.
    pub number: usize,
    /// What is done.
    pub test: String,
    /// What is to come out.
    pub limit: String,
    /// At which pulls.
    pub kind: PullKind,
    /// What calls for it.
    pub because: Vec<String>,
    /// Status and source.
    #[serde(flatten)]
    pub origin: Origin,
}

/// A pull.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PullPart {
    /// Weeks after the start.
    pub week: u32,
    /// Its day, where that of the start is known.
    pub date: Option<CalendarDate>,
    /// Where the pack stood.
    pub condition: String,
    /// Numbers of the tests.
    pub tests: Vec<usize>,
}

const NOTE: &str = "A plan for an assessor to look over: limits are the maker's to set, times and temperatures are common practice. It \
     replaces no safety assessment; local rules decide. Take packs of one batch, in the container that is sold.";

/// Packs beside those of the pulls.
const SPARE: usize = 2;

impl StabilityReport {
    /// Plans the test of a checked formula; `None` when its dates reach beyond the calendar.
    pub fn new(formula: &Formula, checked: &Checked, start: Option<CalendarDate>, tables: &Tables) -> Option<Self> {
        let mut tests: Vec<TestPart> = Vec::new();
        for test in &tables.papers.tests {
            let because: Vec<String> =
                test.trigger.split_whitespace().filter_map(|t| called_for(t, formula, checked, tables)).collect();
            if !because.is_empty() {
                tests.push(TestPart::of(test, tests.len() + 1, because));
            }
        }
        let pulls = pulls(&tests, start, tables)?;
        let has_test = |check: &Check| {
            tables.papers.tests.iter().any(|t| t.trigger.split_whitespace().any(|trigger| trigger == check.key))
        };
        let left = checked.checks.iter().filter(|c| c.verdict != CheckVerdict::Pass && !has_test(c));
        let left_open = left.map(|c| format!("{}, {}: {}", c.key, c.verdict.label(), c.why)).collect();
        let packs = pulls.len() + SPARE;
        Some(Self { name: formula.scrub().name.clone(), start, tests, pulls, packs, left_open, note: NOTE })
    }

    /// To keep and to print.
    pub fn to_document(&self) -> Document {
        let test = |t: &TestPart| row(t.number.to_string()).and(&t.test).and(&t.limit).and(t.because.join("; "));
        let tests = Grid::new("rlll", &["No.", "Test", "Wanted", "Because of"]).rows(self.tests.iter().map(test));
        let pull = |p: &PullPart| {
            let numbers: Vec<String> = p.tests.iter().map(usize::to_string).collect();
            let day = p.date.map_or_else(String::new, |d| d.to_string());
            row(p.week.to_string()).and(day).and(&p.condition).and(numbers.join(", ")).and("").and("")
        };
        let heads = ["Week", "Day", "Stood at", "Tests", "Found", "By"];
        let pulls = Grid::new("rlllll", &heads).rows(self.pulls.iter().map(pull));
        let mut sources: Vec<String> = Vec::new();
        for t in &self.tests {
            let of = self.tests.iter().filter(|o| o.origin == t.origin).map(|o| o.number.to_string());
            let line =
                format!("{} ({}): tests {}", t.origin.source, t.origin.status.key(), of.collect::<Vec<_>>().join(", "));
            if !sources.contains(&line) {
                sources.push(line);
            }
        }
        let aside = format!("Set aside {} packs: one for each pull, {SPARE} spare ones.", self.packs);
        let mut sections = vec![
            Section::new("tests", "Tests").table(tests),
            Section::new("pulls", "Pulls").text(aside).table(pulls),
            Section::new("left-open", "Open points that no test here closes").list(self.left_open.clone()),
            Section::new("sources", "Where the tests come from").list(sources),
        ];
        sections.retain(|s| !s.blocks.is_empty());
        Document {
            title: format!("{}: stability plan", self.name),
            lead: vec![NOTE.to_owned()],
            sections,
            numbered: false,
        }
    }
}

impl TestPart {
    fn of(row: &StabilityTest, number: usize, because: Vec<String>) -> Self {
        let StabilityTest { test, limit, kind, .. } = row.clone();
        Self { number, test, limit, kind, because, origin: row.origin() }
    }
}

/// The pulls in order of time. Tests of start and end are made where samples stand first in the table.
fn pulls(tests: &[TestPart], start: Option<CalendarDate>, tables: &Tables) -> Option<Vec<PullPart>> {
    let first = tables.papers.pulls.first().map(|p| p.condition.as_str());
    let mut all = Vec::new();
    for pull in &tables.papers.pulls {
        let ends = [pull.weeks.first(), pull.weeks.last()];
        for week in &pull.weeks {
            let at_end = first == Some(pull.condition.as_str()) && ends.contains(&Some(week));
            let is_made = |t: &&TestPart| match t.kind {
                PullKind::All => pull.test == PullKind::All,
                PullKind::Look => true,
                PullKind::End => at_end,
            };
            let always = |t: &&TestPart| t.kind == PullKind::All && t.because.iter().any(|b| b == ALWAYS);
            let made = tests.iter().filter(|t| is_made(t) || always(t)).map(|t| t.number).collect();
            let date = match start {
                None => None,
                Some(start) => Some(start.plus_days(week.checked_mul(7)?)?),
            };
            all.push(PullPart { week: *week, date, condition: pull.condition.clone(), tests: made });
        }
    }
    all.sort_by_key(|p| p.week);
    Some(all)
}

/// What calls for a test of every scrub.
const ALWAYS: &str = "every scrub";

/// What calls for a test, in words.
fn called_for(trigger: &str, formula: &Formula, checked: &Checked, tables: &Tables) -> Option<String> {
    let has_phases = !formula.phases().is_empty();
    let is_wet = formula.water_pct() > 0.0;
    let is_dry = formula.usage.kind == Some(Kind::Dry) && !is_wet;
    let called_acid = || formula.ingredients().any(|(_, i)| i.is(Function::Acid));
    let holds_acid = || holds_acid(formula, &tables.formula, &AcidKind::ALL) || called_acid();
    match trigger {
        "always" => return Some(ALWAYS.to_owned()),
        // Nobody knows of a file of powders alone that there is no water.
        "water" => {
            return (is_wet || !has_phases)
                .then(|| if is_wet { "water" } else { "a base that the file does not list" }.to_owned());
        }
        "no-water" => return (has_phases && !is_wet && !is_dry).then(|| "no water".to_owned()),
        "dry" => return is_dry.then(|| "a dry scrub".to_owned()),
        // Without an acid there is none to titrate, whatever else the check lacks.
        "acid-active" | "acid-free" if !holds_acid() => return None,
        _ => {}
    }
    if let Some(check) = checked.checks.iter().find(|c| c.key == trigger) {
        return (check.verdict != CheckVerdict::Pass)
            .then(|| format!("check {}: {}", check.key, check.verdict.label()));
    }
    if let Some(function) = Function::of(trigger) {
        let of = formula.ingredients().filter(|(_, i)| i.is(function)).map(|(_, i)| i.name.as_str());
        let names: Vec<&str> = of.collect();
        return (!names.is_empty()).then(|| names.join(", "));
    }
    let flagged = formula.scrub().blend.components().iter().filter(|c| c.powder.is_flagged(trigger));
    let names: Vec<&str> = flagged.map(|c| c.powder.name.as_str()).collect();
    (!names.is_empty()).then(|| names.join(", "))
}
