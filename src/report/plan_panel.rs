//! The results of `gritwise plan panel` and of `gritwise panel --paired` and `--triangle`.

use super::document::{Block, Document, Grid, Section};
use super::layout::{bullets, hung, par, row};
use crate::numerics::written::{three, trimmed};
use crate::panel::discrimination::{Answers, ForcedChoice};
use crate::panel::plan::{Serving, Sought};
use crate::tables::Tables;
use serde::Serialize;

/// A panel before it is held. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PanelPlanReport {
    /// `scores`, `paired` or `triangle`.
    pub test: &'static str,
    /// Scrubs.
    pub scrubs: usize,
    /// Probability of finding what is not there.
    pub alpha: f64,
    /// Probability wanted of finding what is there.
    pub power_wanted: f64,
    /// Difference of scores to find; of a test of scores.
    pub difference: Option<f64>,
    /// Standard deviation of a taster's scores around their own level; of a test of scores.
    pub sd: Option<f64>,
    /// Share of tasters who can tell, %; of the other tests.
    pub distinguish_pct: Option<f64>,
    /// Tasters that the power needs.
    pub needed: usize,
    /// Tasters of this plan.
    pub tasters: usize,
    /// Orders that make a whole round.
    pub round: usize,
    /// Power with the tasters of this plan.
    pub power: f64,
    /// Right answers that are needed of so many tasters; of the other tests.
    pub least_right: Option<u32>,
    /// Seed of orders and codes.
    pub seed: u64,
    /// What each taster gets, in order.
    pub servings: Vec<TasterPart>,
    /// How it was worked out, and by what.
    pub method: String,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// What a taster gets.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TasterPart {
    /// Number, from 1.
    pub taster: usize,
    /// In order.
    pub served: Vec<ServedPart>,
}

/// A sample.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ServedPart {
    /// Letter of the scrub.
    pub scrub: String,
    /// Code on the cup.
    pub code: u32,
}

/// What is planned.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Design {
    /// Scores of scrubs.
    Scores(Sought),
    /// Two scrubs told apart: the test, alpha, and the share of tasters who can tell.
    Choice(ForcedChoice, f64, f64),
}

/// A letter for a scrub.
fn letter(scrub: usize) -> String {
    char::from_u32('A' as u32 + scrub as u32).unwrap_or('?').to_string()
}

impl PanelPlanReport {
    /// Reports a plan.
    pub fn new(
        design: Design,
        power_wanted: f64,
        needed: usize,
        round: usize,
        servings: &[Serving],
        seed: u64,
        tables: &Tables,
    ) -> Self {
        let tasters = servings.len();
        let choice = match design {
            Design::Choice(test, alpha, distinguish) => Some((test, alpha, distinguish)),
            Design::Scores(_) => None,
        };
        let sought = match design {
            Design::Scores(sought) => Some(sought),
            Design::Choice(..) => None,
        };
        let power = match design {
            Design::Scores(sought) => sought.power(tasters.max(2)),
            Design::Choice(test, alpha, distinguish) => test.power(tasters as u32, alpha, distinguish),
        };
        let served = |serving: &Serving| {
            serving.iter().map(|(scrub, code)| ServedPart { scrub: letter(*scrub), code: *code }).collect()
        };
        let parts = servings.iter().enumerate().map(|(i, s)| TasterPart { taster: i + 1, served: served(s) });
        let cautions = tables.cautions.iter().filter(|c| c.trigger == "panel");
        Self {
            test: choice.map_or("scores", |(test, ..)| test.key()),
            scrubs: sought.map_or(2, |s| s.scrubs),
            alpha: choice.map_or_else(|| sought.map_or(0.0, |s| s.alpha), |(_, alpha, _)| alpha),
            power_wanted,
            difference: sought.map(|s| s.difference),
            sd: sought.map(|s| s.sd),
            distinguish_pct: choice.map(|(_, _, d)| 100.0 * d),
            needed,
            tasters,
            round,
            power,
            least_right: choice.map(|(test, alpha, _)| test.least_right(tasters as u32, alpha)),
            seed,
            servings: parts.collect(),
            method: method(design),
            cautions: cautions.map(|c| c.text.clone()).collect(),
        }
    }

    /// Whether the tasters of this plan have the power wanted.
    pub fn is_enough(&self) -> bool {
        self.power >= self.power_wanted
    }

    fn facts(&self) -> Vec<String> {
        let pct = |share: f64| trimmed(100.0 * share, 3);
        let (wanted, alpha) = (pct(self.power_wanted), trimmed(self.alpha, 3));
        let sought = match (self.difference, self.sd, self.distinguish_pct) {
            (Some(d), Some(sd), _) => format!(
                "To find a difference of {} on the scale of scores in {wanted} of 100 panels, where a taster's scores stray by {} \
                 (standard deviation around their own level): {} tasters at least",
                trimmed(d, 4),
                trimmed(sd, 4),
                self.needed
            ),
            (_, _, told) => format!(
                "To find it in {wanted} of 100 panels where {} % of the tasters can tell: {} tasters at least",
                trimmed(told.unwrap_or(0.0), 3),
                self.needed
            ),
        };
        let rounds = format!(
            "This plan: {} tasters, power {} % (alpha {alpha}); {} orders make a whole round",
            self.tasters,
            pct(self.power),
            self.round
        );
        let short = (!self.is_enough()).then(|| {
            "Fewer than needed: a panel of this size finds such a difference too seldom to say \"none\" when it finds none".to_owned()
        });
        let right = self.least_right.map(|least| match (self.test, least as usize > self.tasters) {
            (_, true) => "No number of right answers is rare enough by chance: take more tasters".to_owned(),
            ("paired", _) => {
                format!("At least {least} of {} for the one that was said beforehand to be milder", self.tasters)
            }
            _ => format!("At least {least} right answers of {}", self.tasters),
        });
        let uneven = (!self.tasters.is_multiple_of(self.round))
            .then(|| format!("{} tasters are no whole rounds: some orders come up once more", self.tasters));
        [Some(sought), Some(rounds), short, right, uneven].into_iter().flatten().collect()
    }

    /// To print: with the score sheets, or without.
    pub fn to_document(&self, with_sheets: bool) -> Document {
        let title = format!("Plan of a panel: {} scrubs, {} tasters", self.scrubs, self.tasters);
        let size = Section::new("size", "How many").list(self.facts()).text(self.method.clone());
        let most = self.servings.iter().map(|t| t.served.len()).max().unwrap_or(0);
        let heads: Vec<String> =
            std::iter::once("Taster".to_owned()).chain((1..=most).map(|i| format!("cup {i}"))).collect();
        let cups = |t: &TasterPart| {
            row(t.taster.to_string()).all(t.served.iter().map(|s| format!("{} ({})", s.code, s.scrub)))
        };
        let aligns = "r".repeat(most + 1);
        let grid = Grid::new(&aligns, &heads).rows(self.servings.iter().map(cups));
        let key = "For whoever fills the cups, and for nobody who tastes or serves: the code on the cup, and the scrub in brackets. Fix \
                   beforehand which scrub is A, B and so on.";
        let orders = Section::new("orders", "Orders and codes").text(key).table(grid);
        let mut sections = vec![size, orders];
        if with_sheets {
            sections.push(self.sheets());
        }
        sections.push(Section::new("cautions", "Cautions").list(self.cautions.clone()));
        Document { title, lead: Vec::new(), sections, numbered: false }
    }

    fn sheets(&self) -> Section {
        let ask = match self.test {
            "paired" => {
                "Rub both, in this order, each on its own forearm, for the same time. Which one feels milder? Mark one, even if you \
                         have to guess."
            }
            "triangle" => {
                "Rub all three, in this order, each on skin of its own. Two are the same. Which one differs? Mark one, even if you \
                           have to guess."
            }
            _ => {
                "Rub each in this order, on skin of its own, for the same time. How rough does it feel, from 0 (nothing) to 10 (as rough as \
                  can be)?"
            }
        };
        let column = if self.test == "scores" { "Score" } else { "Mark one" };
        let mut section = Section::new("sheets", "Score sheets");
        for taster in &self.servings {
            let line =
                |(i, s): (usize, &ServedPart)| row((i + 1).to_string()).and(s.code.to_string()).and("").and("").and("");
            let heads = ["Cup", "Code", column, "Redness before, after", "Remarks"];
            let grid = Grid::new("rrlll", &heads)
                .captioned("Name, day, time:")
                .rows(taster.served.iter().enumerate().map(line));
            section = section.block(Block::Heading { text: format!("Taster {}", taster.taster) }).text(ask).table(grid);
        }
        section
    }
}

fn method(design: Design) -> String {
    match design {
        Design::Scores(sought) => {
            let share = if sought.pairs() > 1 {
                format!(", alpha shared by {} pairs (Bonferroni)", sought.pairs())
            } else {
                String::new()
            };
            format!(
                "Two-sided t-test of the differences within tasters, (n - 1)(k - 1) degrees of freedom, noncentrality D √(n/2) / s{share}; power \
                 by the noncentral t (J. Cohen, Statistical Power Analysis for the Behavioral Sciences, 1988). Orders by a Williams square: \
                 each scrub follows each other equally often (E. J. Williams, Aust. J. Sci. Res. A 2 (1949) 149)."
            )
        }
        Design::Choice(test, ..) => format!(
            "Forced choice by the binomial law: right by chance {}, those who can tell always right ({}; its tables from memory). Orders by \
             turns, each equally often.",
            if test == ForcedChoice::Paired { "1 in 2" } else { "1 in 3" },
            test.standard()
        ),
    }
}

/// Two scrubs told apart, or not. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ChoiceReport {
    /// `paired` or `triangle`.
    pub test: &'static str,
    /// Right answers, or those for B.
    pub right: u32,
    /// All.
    pub all: u32,
    /// Probability of finding what is not there.
    pub alpha: f64,
    /// Probability of so many right answers or more by chance.
    pub p_one_sided: f64,
    /// The same either way; of a paired comparison.
    pub p_two_sided: Option<f64>,
    /// Right answers that are needed; absent where all of so few tasters being right is not rare enough by chance.
    pub needed: Option<u32>,
    /// Whether there are so many.
    pub yes: bool,
    /// Share of tasters who can tell, as the answers point at, %; absent where fewer are right than by chance beyond doubt, as with its
    /// two ends.
    pub distinguish_pct: Option<f64>,
    /// Low end of it, 95 % within.
    pub distinguish_low_pct: Option<f64>,
    /// High end of it.
    pub distinguish_high_pct: Option<f64>,
    /// The answer, and what it means.
    pub answer: String,
    /// What it does not mean.
    pub notes: Vec<String>,
}

impl ChoiceReport {
    /// Reports the answers of a test.
    pub fn new(answers: Answers, alpha: f64) -> Self {
        let told = answers.told(alpha);
        let Answers { test, right, all } = answers;
        let yes = right >= told.needed;
        let percent = |share: f64| (!told.below_chance).then_some(100.0 * share);
        let [low, high] = told.distinguish_95.map(percent);
        let what = match (test, yes) {
            (ForcedChoice::Paired, true) => "Yes: they feel B as milder",
            (ForcedChoice::Paired, false) => "No: that they feel B as milder is not shown",
            (ForcedChoice::Triangle, true) => "Yes: they tell the two apart",
            (ForcedChoice::Triangle, false) => "No: that they tell the two apart is not shown",
        };
        let p = three(told.p_one_sided);
        let needed = Some(told.needed).filter(|needed| *needed <= all);
        let needs = match (needed, test.least_assessors(alpha)) {
            (Some(needed), _) => format!("{needed} are needed"),
            (None, Some(least)) => {
                format!("no number of right answers is enough of so few: ask {least} tasters or more")
            }
            (None, None) => "no number of right answers is enough".to_owned(),
        };
        let turned = told.below_chance.then(|| turned_said(&answers));
        let answer = format!(
            "{what}. {right} of {all}; {needs}. Chance alone gives so many or more with a probability of {p}.{}",
            turned.unwrap_or_default()
        );
        let two_sided = told.p_two_sided.map(|p| {
            format!(
                "One-sided: it was said beforehand that B is the milder one. If it was not, go by the probability either way, {}",
                three(p)
            )
        });
        let similar = high.filter(|_| !yes).map(|high| {
            format!(
                "That a difference is not shown does not mean that there is none: up to {} % of people may tell (95 %)",
                trimmed(high, 2)
            )
        });
        let each = "It counts one answer of each taster; answers of one taster twice are no two answers".to_owned();
        let way = (test == ForcedChoice::Triangle).then(|| {
            "A triangle test says that they differ, not which is milder; ask that by a paired comparison".to_owned()
        });
        let feel = "A feel is not harm: a milder feel is no safety assessment".to_owned();
        Self {
            test: test.key(),
            right,
            all,
            alpha,
            p_one_sided: told.p_one_sided,
            p_two_sided: told.p_two_sided,
            needed,
            yes,
            distinguish_pct: percent(told.distinguish),
            distinguish_low_pct: low,
            distinguish_high_pct: high,
            answer,
            notes: [two_sided, similar, way, Some(each), Some(feel)].into_iter().flatten().collect(),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let standard = if self.test == "paired" { ForcedChoice::Paired } else { ForcedChoice::Triangle }.standard();
        let shares = self.distinguish_pct.zip(self.distinguish_low_pct.zip(self.distinguish_high_pct));
        let shares = shares.map(|(share, (low, high))| {
            // No more right than by chance does not say that nobody can tell.
            let is_told = share > 0.0;
            let [share, low, high] = [share, low, high].map(|v| trimmed(v, 3));
            par(if is_told {
                format!("Of people {share} % can tell, as far as these answers say ({low} to {high} %, 95 % of the time).")
            } else {
                format!("No more are right than by chance: of people up to {high} % may tell all the same (95 % of the time).")
            })
        });
        let head = format!(
            "{} test, {standard}, alpha {}",
            if self.test == "paired" { "Paired" } else { "Triangle" },
            trimmed(self.alpha, 3)
        );
        hung(head) + "\n" + &par(&self.answer) + &shares.unwrap_or_default() + "\n" + &bullets(&self.notes)
    }
}

/// What answers say of which fewer are right than by chance.
fn turned_said(answers: &Answers) -> String {
    let Answers { test, right, all } = answers;
    match test {
        ForcedChoice::Paired => format!(
            " The answers point to the other: {} of {all} felt it as milder than B. If B was coded right, B is the rougher one.",
            all - right
        ),
        ForcedChoice::Triangle => {
            " That is far fewer right answers than chance alone gives: were codes swapped, or right answers \
                                   counted as wrong? Look before you go by it."
                .to_owned()
        }
    }
}
