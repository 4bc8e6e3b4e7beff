//! The result of `gritwise aim`.

use super::cautions::{of_dissolving_as_weighed, of_weighing_and_label};
use super::layout::{Grid, WIDTH, bullets, par, part, row, wrap};
use super::on_skin::figure;
use super::wording::{INDEX_NOTE, band_said, how_sure, index_with_range, is_at_least};
use crate::aim::{Aim, AimSolution, BandAim, Conflict, Found, Goal, Likely, Price, Rounding, ScoreAim, Target, Wider};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{SURE, Sampling, Sure, sure};
use crate::formula::{OverTheRub, Weighed};
use crate::numerics::written::{four, off_by, three, two};
use crate::panel::CONFIDENCE;
use crate::rub::Partition;
use crate::tables::Tables;
use serde::Serialize;

/// Blends that meet the targets, or why there is none. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct AimReport {
    /// `found`, `none` (proven), or `stopped`: the time was up before a blend was found or proven impossible.
    pub status: &'static str,
    /// Whether it is proven that no blend is better than the first, or that there is none.
    pub proven: bool,
    /// When the search was stopped: no blend can come below this, in what `objective` counts (cost, powders, deviation, change).
    pub at_best: Option<f64>,
    /// Name of the aim.
    pub name: String,
    /// What makes one blend better than another.
    pub goal: &'static str,
    /// Everything asked for, in words.
    pub targets: Vec<String>,
    /// The blends, best first.
    pub blends: Vec<FoundPart>,
    /// Targets that cannot hold together: let one go, and the others can be met. Empty when there is a blend.
    pub conflicts: Vec<ConflictPart>,
    /// The blend that comes nearest, when none meets all targets.
    pub nearest: Option<NearestPart>,
    /// What the first blend pays for its targets, the dearest first: what a wider limit would save.
    pub prices: Vec<PricePart>,
    /// What the index is and is not.
    pub index_note: &'static str,
    /// Where the search was not exact.
    pub remarks: Vec<String>,
}

/// A blend.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FoundPart {
    /// Rank, from 1.
    pub rank: usize,
    /// Name of the scrub.
    pub name: String,
    /// What the goal makes least: cost per kg, number of powders, mean deviation of the curve in percentage points, or sum
    /// of changes in % of the scrub.
    pub objective: Option<f64>,
    /// What the powders in a kilogram of scrub cost, if every price is known.
    pub cost_per_kg: Option<f64>,
    /// All powders, % w/w of the scrub.
    pub load_pct: f64,
    /// Abrasiveness index.
    pub index: f64,
    /// Of its draws, 5 % are lower and 5 % higher; absent where it was not drawn.
    pub index_p5: Option<f64>,
    /// See above.
    pub index_p95: Option<f64>,
    /// Index over the whole rub, where a powder dissolves.
    pub over_the_rub: Option<OverTheRub>,
    /// Band.
    pub band: String,
    /// Whether that band hangs on an assumed top size.
    pub at_least: bool,
    /// Of 100 draws, how many fall into the band or a milder one, never rounded up; absent where it was not drawn.
    pub sure_pct: Option<f64>,
    /// The mildest band that nine in ten draws meet.
    pub nine_in_ten: Option<String>,
    /// Of 100 draws, how many fall into the band that was asked for or a milder one.
    pub asked_sure_pct: Option<f64>,
    /// The band that was asked for.
    #[serde(skip)]
    asked: Option<String>,
    /// D99 by volume, µm.
    pub d99_um: f64,
    /// Who carries the rub where the targets look: `shared` or `grain-borne`.
    pub rub: Partition,
    /// Batch that grams are given for, g.
    pub batch_g: f64,
    /// Step of the balance that the grams were rounded to with all targets met, g; absent when they were not rounded.
    pub resolution_g: Option<f64>,
    /// The powders.
    pub powders: Vec<SharePart>,
    /// What the maker and the label have to mind of these powders: dust, silica, allergens.
    pub mind: Vec<String>,
    /// What would go wrong with them in the whole scrub that they go into; absent where none is named, or nothing would.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub wrong_here: Vec<String>,
}

/// One powder of a blend.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SharePart {
    /// Name.
    pub name: String,
    /// Share, % w/w of the scrub.
    pub pct_of_scrub: f64,
    /// Grams of it in the batch.
    pub grams: f64,
}

/// A target of the conflict.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConflictPart {
    /// The target in words.
    pub target: String,
    /// Of a conflict: whether all other targets can be met when it goes. Absent where that is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub enough: Option<bool>,
    /// By how much it alone would have to give way; absent where that is no number, or not enough.
    pub off_by: Option<f64>,
    /// Unit of that.
    pub unit: &'static str,
}

/// What a target costs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PricePart {
    /// The target in words.
    pub target: String,
    /// What it would be instead, and what that would save.
    pub words: String,
    /// How much smaller the goal's figure would be, % of it.
    pub saves_pct: f64,
}

/// The blend that comes nearest, and what it misses.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct NearestPart {
    /// The blend.
    pub blend: FoundPart,
    /// Every target that it misses, and by how much.
    pub misses: Vec<ConflictPart>,
}

impl AimReport {
    /// Reports the answer to an aim.
    pub fn new(aim: &Aim, likely: &Likely, judge: &Judge, tables: &Tables) -> Self {
        let answer = &likely.answer;
        let aim = &Aim { least_pct: answer.least_pct, ..aim.clone() };
        let parts = FoundParts { aim, judge, tables };
        let conflict = answer.conflict.as_ref();
        let of_set = |c: &Conflict| {
            c.set
                .iter()
                .map(|c| ConflictPart { enough: c.is_enough, ..conflict_part(aim, c.target, c.off_by, judge) })
                .collect::<Vec<_>>()
        };
        let mut remarks = answer.remarks.clone();
        remarks.extend(how_far(aim, likely));
        remarks.extend(aim.index.as_ref().and_then(|i| i.score.as_ref()).into_iter().flat_map(score_remarks));
        remarks.extend(answer.blends.iter().filter_map(not_rounded));
        let all = answer.blends.iter().chain(conflict.and_then(|c| c.nearest.as_ref()));
        remarks.extend(of_dissolving_as_weighed(all.map(|f| &f.scrub)));
        let blends = answer.blends.iter().zip(&likely.sure).enumerate();
        Self {
            status: match (answer.blends.is_empty(), answer.stopped_at) {
                (false, _) => "found",
                (true, None) => "none",
                (true, Some(_)) => "stopped",
            },
            proven: proven(likely),
            at_best: answer.stopped_at.filter(|bound| bound.is_finite()),
            name: aim.name.clone(),
            goal: aim.goal.key(),
            targets: aim.targets().into_iter().map(|t| target_words(aim, t, judge)).collect(),
            blends: blends.map(|(i, (found, sure))| parts.part(found, i + 1, Some(sure))).collect(),
            conflicts: conflict.map_or_else(Vec::new, of_set),
            nearest: conflict.and_then(|c| parts.nearest(c)),
            prices: Vec::new(),
            index_note: INDEX_NOTE,
            remarks,
        }
    }

    /// With what its targets cost the first blend.
    #[must_use]
    pub fn with_prices(mut self, aim: &Aim, prices: &[Price], judge: &Judge) -> Self {
        let part = |p: &Price| PricePart {
            target: target_words(aim, p.target, judge),
            words: price_words(aim, p, judge),
            saves_pct: p.saves_pct,
        };
        self.prices = prices.iter().map(part).collect();
        self
    }

    /// With what would go wrong with each blend in a whole scrub, `of` saying what with the powders of one. Ranks stay: they are proven
    /// for what was asked, which this was not.
    #[must_use]
    pub fn with_wrong_in(mut self, name: &str, likely: &Likely, of: impl Fn(&Scrub) -> Vec<String>) -> Self {
        let blends = self.blends.iter_mut().zip(&likely.answer.blends);
        blends.for_each(|(part, found)| part.wrong_here = of(&found.scrub));
        let nearest = likely.answer.conflict.as_ref().and_then(|c| c.nearest.as_ref());
        if let (Some(part), Some(found)) = (&mut self.nearest, nearest) {
            part.blend.wrong_here = of(&found.scrub);
        }
        let wrong =
            self.blends.iter().chain(self.nearest.iter().map(|n| &n.blend)).filter(|b| !b.wrong_here.is_empty());
        if wrong.count() > 0 {
            self.remarks.push(format!(
                "blends marked \"wrong here\" would not do in {name} as it is; avoid_wrong = true in [aim] leaves such powders out"
            ));
        }
        self
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let (name, goal) = (&self.name, self.goal);
        let opening = match self.blends.len() {
            0 if self.status == "stopped" => format!("{name}: no blend was found in the time given\n"),
            0 => format!("{name}: no blend of the shelf meets all targets\n"),
            1 => format!("{name}: one blend meets all targets (goal: {goal})\n"),
            n => format!("{name}: the best {n} blends that meet all targets (goal: {goal})\n"),
        };
        let note = format!(
            "Every figure is the full model's. The index is {}. Band limits are a convention of this program. Try a blend \
             before you sell it; gritwise blend says what to mind.",
            self.index_note
        );
        [
            opening,
            self.blends.iter().map(|b| format!("\n{}", b.text(&format!("{}. ", b.rank), goal))).collect(),
            if self.status == "none" { self.conflict_text() } else { String::new() },
            part("Targets", bullets(&self.targets)),
            part("What the first blend pays for its targets", bullets(self.prices.iter().map(|p| &p.words))),
            self.remarks.iter().map(|remark| wrap(remark, WIDTH, "Note: ", "  ")).collect(),
            format!("\n{}", par(note)),
        ]
        .concat()
    }

    fn conflict_text(&self) -> String {
        let (title, ends) = if self.proven {
            let title = match self.conflicts.iter().all(|c| c.enough == Some(true)) {
                true => "These cannot hold together; let any one of them go, and the others can be met",
                false => "These cannot hold together",
            };
            (title, ["alone it would have to give way by", ""])
        } else {
            ("In the way, as far as was found", ["missed by", " at least, as far as was found"])
        };
        let conflict = |c: &ConflictPart| {
            let by = c.off_by.map(|by| format!("; {} {} {}{}", ends[0], three(by), c.unit, ends[1]));
            let not_enough = c.enough == Some(false);
            let besides = if not_enough { "; to let it go is not enough: others clash besides" } else { "" };
            format!("{}{}{besides}", c.target, by.unwrap_or_default())
        };
        let miss = |m: &ConflictPart| format!("misses {}: by {} {}", m.target, three(m.off_by.unwrap_or(0.0)), m.unit);
        let nearest = self
            .nearest
            .as_ref()
            .map(|n| format!("\n{}{}", n.blend.text("Nearest blend: ", self.goal), bullets(n.misses.iter().map(miss))));
        format!("\n{title}\n{}{}", bullets(self.conflicts.iter().map(conflict)), nearest.unwrap_or_default())
    }
}

impl FoundPart {
    fn text(&self, lead: &str, goal: &str) -> String {
        let opening = format!("Band {}. {}.", self.band_and_how_sure(), self.index_said());
        let objective = self.objective.map(|o| off_by(o, 3)).and_then(|o| match goal {
            "closest-curve" => Some(format!("Curve off by {o} percentage points on average. ")),
            "least-change" => Some(format!("{o} % of the scrub changed. ")),
            _ => None,
        });
        let cost = self.cost_per_kg.map(|c| format!("Powders cost {} per kg of scrub. ", three(c)));
        let [objective, cost] = [objective, cost].map(Option::unwrap_or_default);
        let [load, d99] = [self.load_pct, self.d99_um].map(three);
        let figures = format!("{objective}{cost}Load {load} %, D99 {d99} µm, {} rub.", self.rub.label());
        let step = self.resolution_g.map(|step| format!(", weighed to {step} g"));
        let grams = format!("g in {} g{}", self.batch_g, step.unwrap_or_default());
        let decimals = self.resolution_g.map_or(2, |r| (-r.log10()).ceil().clamp(0.0, 6.0) as usize);
        let line = |p: &SharePart| row(&p.name).percent([p.pct_of_scrub]).and(format!("{:.decimals$}", p.grams));
        [
            wrap(&opening, WIDTH, lead, "   "),
            wrap(&figures, WIDTH, "   ", "   "),
            Grid::new("lrr", &["", "% of the scrub", &grams]).rows(self.powders.iter().map(line)).render(),
            self.wrong_here.iter().map(|text| wrap(text, WIDTH, "   Wrong here: ", "     ")).collect(),
            self.mind.iter().map(|text| wrap(text, WIDTH, "   Mind: ", "     ")).collect(),
        ]
        .concat()
    }

    /// The index with the range of its draws, and that over the rub where grains dissolve.
    fn index_said(&self) -> String {
        let rub = self.over_the_rub.map(|o| format!("; over the whole rub, as grains dissolve: {}", figure(o)));
        let index = index_with_range(self.index, self.index_p5.zip(self.index_p95));
        format!("Index {index}{}", rub.unwrap_or_default())
    }

    /// "face; 93 of 100 draws fall into it or a milder one", and how many fall into the band asked for where that is another.
    fn band_and_how_sure(&self) -> String {
        let band = band_said(&self.band, self.at_least);
        let (Some(sure), Some(nine)) = (self.sure_pct, self.nine_in_ten.as_deref()) else { return band };
        let asked = self.asked_sure_pct.zip(self.asked.as_ref()).filter(|(_, asked)| **asked != self.band);
        let asked = asked.map(|(pct, asked)| format!(". As asked for, {asked} or milder: {pct:.0} of 100 draws"));
        format!("{}{}", how_sure(&band, sure, nine), asked.unwrap_or_default())
    }
}

/// Makes parts of what was found.
struct FoundParts<'a> {
    aim: &'a Aim,
    judge: &'a Judge,
    tables: &'a Tables,
}

impl FoundParts<'_> {
    fn part(&self, found: &Found, rank: usize, sure: Option<&Sure>) -> FoundPart {
        let (aim, judge) = (self.aim, self.judge);
        let share = |&(place, pct): &(usize, f64)| SharePart {
            name: aim.shelf[place].powder.name.clone(),
            pct_of_scrub: pct,
            grams: pct / 100.0 * aim.batch_g,
        };
        let weighed = Weighed::new(found.scrub.clone(), None);
        let stated = found.assessment.verdict.rank;
        FoundPart {
            rank,
            name: found.scrub.name.clone(),
            objective: found.objective,
            cost_per_kg: found.scrub.cost_per_kg(),
            load_pct: found.scrub.load.get(),
            index: found.assessment.figures.index,
            index_p5: sure.map(|s| s.index[0]),
            index_p95: sure.map(|s| s.index[1]),
            over_the_rub: weighed.on_skin(self.tables, judge.model()).over_the_rub,
            band: judge.band_name(stated).to_owned(),
            at_least: is_at_least(&found.scrub, stated, judge, self.tables),
            sure_pct: sure.map(|s| Sure::pct(s.share(stated))),
            nine_in_ten: sure.map(|s| judge.band_name(s.rank_met_by(SURE)).to_owned()),
            asked_sure_pct: sure.zip(aim.band).map(|(s, band)| Sure::pct(s.share(band.rank()))),
            asked: aim.band.map(|band| judge.band_name(band.rank()).to_owned()),
            d99_um: found.assessment.figures.d99_um,
            rub: found.partition(judge),
            batch_g: aim.batch_g,
            resolution_g: match found.rounding {
                Rounding::To(resolution_g) => Some(resolution_g),
                Rounding::No | Rounding::Impossible(_) => None,
            },
            powders: found.shares.iter().map(share).collect(),
            mind: of_weighing_and_label(&found.scrub, self.tables),
            wrong_here: Vec::new(),
        }
    }

    fn nearest(&self, conflict: &Conflict) -> Option<NearestPart> {
        let nearest = conflict.nearest.as_ref()?;
        let miss = |&(target, by): &(Target, f64)| conflict_part(self.aim, target, Some(by), self.judge);
        let sure = sure(&nearest.scrub, self.judge, self.tables, Sampling::VERDICT);
        Some(NearestPart {
            blend: self.part(nearest, 1, Some(&sure)),
            misses: conflict.misses.iter().map(miss).collect(),
        })
    }
}

fn conflict_part(aim: &Aim, target: Target, off_by: Option<f64>, judge: &Judge) -> ConflictPart {
    ConflictPart { target: target_words(aim, target, judge), enough: None, off_by, unit: target.unit() }
}

/// That a blend could not be rounded.
fn not_rounded(found: &Found) -> Option<String> {
    let Rounding::Impossible(resolution_g) = found.rounding else { return None };
    let name = &found.scrub.name;
    Some(format!(
        "{name}: no weighing in steps of {resolution_g} g near it meets all targets; its shares are not rounded"
    ))
}

/// How far a score asked for can be relied on.
fn score_remarks(score: &ScoreAim) -> impl Iterator<Item = String> {
    let ([low, high], percent) = ([score.interval.0, score.interval.1].map(two), 100.0 * CONFIDENCE);
    let between = format!(
        "the panel would score such a scrub between {low} and {high} ({percent:.0} %): a feel on its scale, not a clinical measure"
    );
    let beyond = score.beyond.map(|(least, most)| {
        let [least, most] = [least, most].map(three);
        format!(
            "the index asked for lies beyond the {least} to {most} that the panel scored; have the blend scored too"
        )
    });
    std::iter::once(between).chain(beyond)
}

/// Whether what is reported first is proven.
fn proven(likely: &Likely) -> bool {
    let is_rounded = likely.answer.blends.iter().any(|b| b.rounding != Rounding::No);
    !likely.drawn_in && !is_rounded && proven_as_stated(&likely.answer)
}

fn proven_as_stated(answer: &AimSolution) -> bool {
    let Some(bound) = answer.stopped_at else {
        return answer.conflict.as_ref().is_none_or(|c| c.is_proven) && answer.doubtful == 0;
    };
    answer.blends.first().and_then(|b| b.objective).is_some_and(|best| bound >= best * (1.0 - PROVEN))
}

/// Objectives closer than this, as a share, are told as the same.
const PROVEN: f64 = 1e-5;

/// What a search that was stopped leaves open, and what a conflict does.
fn how_far(aim: &Aim, likely: &Likely) -> Vec<String> {
    let answer = &likely.answer;
    let (drawn_in, none) = (likely.drawn_in, answer.blends.is_empty());
    let conflict = |is: &dyn Fn(&Conflict) -> bool| answer.conflict.as_ref().is_some_and(is);
    let told = [
        (
            drawn_in && !none,
            "the limits of the bands were drawn in, together and one by one, until the draws agree: the best blends met on the \
             way are given; that none as sure is better is not proven",
        ),
        (
            drawn_in && none,
            "the limits of the bands were drawn in step by step: no blend that was found is so sure; that there is none is not \
             proven. A measured size table, hardness or roundness narrows the draws (gritwise confidence says which)",
        ),
        (
            answer.blends.iter().any(|b| matches!(b.rounding, Rounding::To(_))),
            "the blends were proven the best as solved, then rounded, those that can be weighed first; that no other one rounds better is \
             not proven",
        ),
        (
            !drawn_in && conflict(&|c| !c.is_proven),
            "the search for what conflicts was stopped before its end: a target may be named that is no part of the conflict, and a \
             smaller miss may do",
        ),
        (
            conflict(&|c| c.is_proven && c.nearest.is_some()),
            "no blend misses less than the nearest one, to a five-hundredth of the limits",
        ),
    ];
    let told = told.into_iter().filter(|(holds, _)| *holds).map(|(_, text)| text.to_owned());
    answer.stopped_at.map(|bound| stopped(aim, answer, bound)).into_iter().chain(told).collect()
}

/// What a search leaves open that was stopped, when no blend can come below the bound.
fn stopped(aim: &Aim, answer: &AimSolution, bound: f64) -> String {
    let left = match answer.blends.first().and_then(|b| b.objective) {
        None => "nothing says yet whether a blend meets the targets; give it more time (--seconds)".to_owned(),
        Some(_) if proven_as_stated(answer) => {
            "no blend is better than the first, but one may come before the others".to_owned()
        }
        Some(best) => {
            let gap = if best > 0.0 && bound.is_finite() { 100.0 * (1.0 - bound.max(0.0) / best) } else { 100.0 };
            let (gap, goal) = (two(gap), aim.goal.key());
            format!(
                "the first blend is the best so far, and no blend can be more than {gap} % better by the goal ({goal})"
            )
        }
    };
    format!("the search was stopped before its end: {left}")
}

/// A target in a maker's words.
fn target_words(aim: &Aim, target: Target, judge: &Judge) -> String {
    let from_to = |low: f64, high: f64| if low == high { low.to_string() } else { format!("{low} to {high}") };
    let words = match target {
        Target::Index => aim.index.as_ref().map(|i| {
            let (low, high) = (four(i.low), four(i.high));
            match (&i.like, &i.score) {
                (Some(name), _) => format!("index like {name}: {low} to {high}"),
                (None, Some(s)) => {
                    let score = from_to(s.low, s.high);
                    format!("score {score} of {} by {}, which is index {low} to {high}", s.top, s.calibration)
                }
                (None, None) => format!("index {}", from_to(i.low, i.high)),
            }
        }),
        Target::Band => aim.band.map(|b| match b {
            BandAim::NoHarsher(rank) => format!("band {} or milder", judge.band_name(rank)),
            BandAim::Exactly(rank) => format!("band {}, no milder one", judge.band_name(rank)),
        }),
        Target::Sure => aim.sure_pct.map(|sure| format!("that band or a milder one in at least {sure} of 100 draws")),
        Target::LeastShare => Some(format!("no powder below {} % of the scrub", three(aim.least_pct))),
        Target::Load => aim.load_pct.map(|[low, high]| format!("powder load {} % of the scrub", from_to(low, high))),
        Target::D99 => aim.d99_um.map(|um| format!("D99 by volume at most {um} µm")),
        Target::Passing(i) => {
            let limit = &aim.passing[i];
            let range = match (limit.min > 0.0, limit.max < 100.0) {
                (true, false) => format!("at least {}", limit.min),
                (false, true) => format!("at most {}", limit.max),
                _ => from_to(limit.min, limit.max),
            };
            Some(format!("finer than {} µm: {range} % by mass", limit.um))
        }
        Target::MaxPowders if aim.max_powders == Some(1) => Some("one powder".to_owned()),
        Target::MaxPowders => Some(format!("at most {} powders", aim.max_powders.unwrap_or_default())),
        Target::Without => Some(format!("without {}", aim.without.join(", "))),
        Target::Shelf => Some(format!("stock for {} g, and the shelf's largest shares", aim.batch_g)),
    };
    words.unwrap_or_default()
}

/// "D99 at 440 µm instead of 400 would save 12 %".
fn price_words(aim: &Aim, price: &Price, judge: &Judge) -> String {
    let unit = match price.target {
        Target::D99 => " µm",
        Target::Load | Target::Passing(_) => " %",
        _ => "",
    };
    let limit = match price.wider {
        Wider::Least { from, to } => format!("at least {to}{unit} instead of {from}"),
        Wider::Most { from, to } => format!("at most {to}{unit} instead of {from}"),
        Wider::Band(rank) => format!("{} or milder", judge.band_name(rank)),
    };
    let what = match price.target {
        Target::Index => "index".to_owned(),
        Target::Band => "band".to_owned(),
        Target::Load => "powder load".to_owned(),
        Target::D99 => "D99 by volume".to_owned(),
        Target::Passing(i) => format!("finer than {} µm", aim.passing[i].um),
        Target::MaxPowders => "powders".to_owned(),
        Target::Sure | Target::Without | Target::Shelf | Target::LeastShare => String::new(),
    };
    let by = two(price.saves_pct);
    let brings = match aim.goal {
        Goal::Cheapest | Goal::FewestPowders => format!("would save {by} %"),
        Goal::ClosestCurve(_) => format!("would bring the curve {by} % closer"),
        Goal::LeastChange(_) => format!("would need {by} % less change"),
    };
    format!("{what} {limit} {brings}")
}

impl AimReport {
    /// What stands above a scrub file written for a blend.
    pub fn note(&self, blend: &FoundPart, goal: &Goal) -> String {
        let rounded = blend.resolution_g.map(|r| format!(", weighed to {r} g in {} g", blend.batch_g));
        let rounded = rounded.unwrap_or_default();
        format!(
            "{}: blend {} found by gritwise aim (goal: {}{rounded}).\nBand {}.\n{}: {}.\nParts are % of the scrub.",
            plain(&self.name),
            blend.rank,
            goal.key(),
            blend.band_and_how_sure(),
            blend.index_said(),
            INDEX_NOTE
        )
    }
}

/// A name that keeps to one line.
fn plain(name: &str) -> String {
    name.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
