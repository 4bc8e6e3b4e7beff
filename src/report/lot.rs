//! The result of `gritwise lot`.

use super::layout::{Grid, bullets, inset, par, part, row};
use super::lot_parts::{PartsPart, parts};
use super::lot_words::{how_sure, reasons, warnings, without_options};
use super::on_skin::figure;
use super::sieve_off::{SieveOffPart, none_does};
use super::wording::{ASSESSOR_NOTE, BANDS_NOTE, INDEX_NOTE, band_said, is_at_least, open_top_note};
use crate::formula::{OnSkin, OverTheRub};
use crate::lots::Sureness;
use crate::lots::lot::{HeldFigure, LotCase, LotJudged, LotTable, LotVerdict};
use crate::numerics::written::{Keyed, four, percent, signed, three, two};
use crate::size::SieveSet;
use serde::Serialize;

/// A lot judged. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotReport {
    /// `accept`, `accept with new parts` or `refuse`.
    pub verdict: LotVerdict,
    /// Whether too few draws of the measurement agree with it.
    pub unsure: bool,
    /// Share of the draws that agree with it, %.
    pub verdict_sure_pct: f64,
    /// Share of the draws with each verdict.
    pub verdict_shares: Vec<VerdictShare>,
    /// How many draws.
    pub verdict_draws: usize,
    /// How D50 strays from draw to draw, standard deviation, %.
    pub repeatability_d50_pct: f64,
    /// How D10 and D90 do.
    pub repeatability_d10_d90_pct: f64,
    /// How sure the verdict is, in words.
    #[serde(skip)]
    pub how_sure: Vec<String>,
    /// Why, in words.
    pub reasons: Vec<String>,
    /// What to mind about the measurement.
    pub warnings: Vec<String>,
    /// The powder.
    pub powder: String,
    /// The scrub.
    pub scrub: String,
    /// The tables of the lot.
    pub tables: Vec<TablePart>,
    /// How far the lot lies from the grade: D10, D50 and D90, %, and what is above the top size, percentage points. What no sieve told is
    /// absent.
    pub deviation: Keyed<Option<f64>>,
    /// D10, D50 and D90 with tolerances and repeatability.
    pub figures: Vec<LotFigure>,
    /// The top size, µm.
    pub top_um: f64,
    /// Above it, % by volume; null where it lies beyond the coarsest sieve with powder on it, or below the finest.
    pub over_top_pct: Option<f64>,
    /// The most that may lie above it then.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_top_most_pct: Option<f64>,
    /// Above it in the grade; null as that of the lot.
    pub over_top_grade_pct: Option<f64>,
    /// The most that may be; null where the spec names no top size and the grade does not tell its own.
    pub over_top_limit_pct: Option<f64>,
    /// Least mass of a sample by Gy's formula, g.
    pub least_sample_g: f64,
    /// What that mass is good for.
    #[serde(skip)]
    pub sample_note: String,
    /// Index of the scrub as designed, its grains as they reach the skin.
    pub index: f64,
    /// Index of the scrub made with the lot.
    pub index_with_lot: f64,
    /// Index of the scrub as designed over the whole rub, as grains dissolve; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRub>,
    /// The same of the scrub made with the lot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_with_lot_over_the_rub: Option<OverTheRub>,
    /// Coefficient of variation of the index over the tables, %.
    pub index_with_lot_cv_pct: Option<f64>,
    /// Change of the index that is let pass, %.
    pub index_limit_pct: f64,
    /// Band of the scrub as designed.
    pub band: String,
    /// Band of the scrub made with the lot.
    pub band_with_lot: String,
    /// Whether the band as designed, and the one with the lot, hang on an assumed top size.
    pub at_least: bool,
    /// See above.
    pub at_least_with_lot: bool,
    /// Parts that make up for the lot; absent when none do, and for a lot that is refused.
    pub rebalanced_parts: Option<Vec<PartsPart>>,
    /// Powder load with them, % of the scrub.
    pub rebalanced_load_pct: Option<f64>,
    /// Index with them.
    pub index_rebalanced: Option<f64>,
    /// Band with them.
    pub band_rebalanced: Option<String>,
    /// The lot through the coarsest sieve that brings verdict and band back, where coarse grains are in the way; absent when none does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub sieve_it_off: Option<SieveOffPart>,
    /// The same in words, or that no sieve does.
    #[serde(skip)]
    pub sieving: Vec<String>,
    /// What the verdict is and is not.
    pub note: String,
}

/// A lot judged in several scrubs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotReports {
    /// In each scrub, in the order they were named.
    pub lots: Vec<LotReport>,
}

impl LotReports {
    /// For a terminal.
    pub fn to_text(&self) -> String {
        self.lots.iter().map(LotReport::to_text).collect::<Vec<_>>().join("\n")
    }
}

/// A verdict, and how often it was drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct VerdictShare {
    /// The verdict.
    pub verdict: LotVerdict,
    /// Share of the draws, %.
    pub pct: f64,
}

/// A table of the lot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TablePart {
    /// The file.
    pub file: String,
    /// SHA-256 of it.
    pub sha256: String,
    /// 10 % finer, µm.
    pub d10_um: f64,
    /// Median, µm.
    pub d50_um: f64,
    /// 90 % finer, µm.
    pub d90_um: f64,
    /// Those of them that it does not tell: they lie in a class with but one bound, or follow from an assumed spread.
    pub not_measured: Vec<&'static str>,
}

/// A percentile.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LotFigure {
    /// `D10`, `D50` or `D90`.
    pub figure: &'static str,
    /// Of the grade, µm.
    pub grade_um: Option<f64>,
    /// Of the lot, mean of its tables, µm; absent where it lies beyond the coarsest sieve, or below the finest.
    pub lot_um: Option<f64>,
    /// How far it is off, %.
    pub deviation_pct: Option<f64>,
    /// How far it may be off, %.
    pub tolerance_pct: f64,
    /// `spec` or `convention`.
    pub tolerance_from: &'static str,
    /// Within it; absent where that is not known.
    pub within: Option<bool>,
    /// Coefficient of variation of repeats, %.
    pub cv_pct: Option<f64>,
    /// Low end of the interval of the mean (Student's t), µm, not below 0.
    pub low_um: Option<f64>,
    /// High end.
    pub high_um: Option<f64>,
}

impl LotReport {
    /// Reports what became of a lot.
    /// `on_skin` is the scrub as designed.
    pub fn new(case: &LotCase, lot: &[LotTable], judged: &LotJudged, sure: &Sureness, on_skin: &OnSkin) -> Self {
        let with_lot = on_skin.weighed.with(judged.scrub.clone());
        let with_lot = with_lot.on_skin(case.tables, case.judge.model());
        let component = &case.scrub.blend.components()[case.place];
        let limits = &case.tables.acceptance;
        let confidence = limits.interval_pct / 100.0;
        let band = |rank: usize| case.judge.band_name(rank).to_owned();
        let held = |(i, f): (usize, &HeldFigure)| {
            let half = f.lot.half_width(confidence).filter(|_| f.known);
            LotFigure {
                figure: f.name,
                grade_um: f.grade_known.then_some(f.grade_um),
                lot_um: f.known.then_some(f.lot.mean),
                deviation_pct: f.is_held().then(|| f.deviation_pct()),
                tolerance_pct: f.tolerance_pct(),
                tolerance_from: if component.powder.stock.accept.percentiles[i].is_some() {
                    "spec"
                } else {
                    "convention"
                },
                within: f.is_within(),
                cv_pct: f.lot.cv_pct().filter(|_| f.known),
                low_um: half.map(|h| (f.lot.mean - h).max(0.0)),
                high_um: half.map(|h| f.lot.mean + h),
            }
        };
        let deviation = |f: &HeldFigure| f.is_held().then(|| f.deviation_pct());
        let percentiles = judged.figures.iter().map(|f| (format!("{}_pct", f.name.to_lowercase()), deviation(f)));
        let over_top_pct = judged.top.lot.map(|over| over.mean);
        let over_top_points = over_top_pct.zip(judged.top.grade_pct).map(|(lot, grade)| lot - grade);
        let new = judged.rebalanced.as_ref().map(|new| (new, parts(case, &new.scrub, sure)));
        Self {
            verdict: judged.verdict,
            unsure: sure.is_unsure(judged.verdict),
            verdict_sure_pct: sure.pct(judged.verdict),
            verdict_shares: LotVerdict::ALL.map(|verdict| VerdictShare { verdict, pct: sure.pct(verdict) }).to_vec(),
            verdict_draws: sure.draws,
            repeatability_d50_pct: sure.repeatability_pct[0],
            repeatability_d10_d90_pct: sure.repeatability_pct[1],
            how_sure: how_sure(lot, judged, sure, new.as_ref().and_then(|(_, parts)| parts[case.place].ends())),
            reasons: reasons(case, judged),
            warnings: warnings(lot, judged, limits),
            powder: component.powder.name.clone(),
            scrub: case.scrub.name.clone(),
            tables: lot.iter().map(table_part).collect(),
            deviation: Keyed(percentiles.chain([("over_top_points".to_owned(), over_top_points)]).collect()),
            figures: judged.figures.iter().enumerate().map(held).collect(),
            top_um: judged.top.um,
            over_top_pct,
            over_top_most_pct: judged.top.lot.is_none().then_some(judged.top.lot_pct[1]),
            over_top_grade_pct: judged.top.grade_pct,
            over_top_limit_pct: judged.top.limit_pct,
            least_sample_g: judged.least_sample_g,
            sample_note: format!(
                "A well-mixed sample of {} g tells the share of the coarsest tenth to {} % (Gy's formula, {} % confidence).",
                two(judged.least_sample_g),
                limits.gy_error_pct,
                limits.gy_confidence_pct
            ),
            index: judged.before.figures.index,
            index_with_lot: judged.with_lot.figures.index,
            index_over_the_rub: on_skin.over_the_rub,
            index_with_lot_over_the_rub: with_lot.over_the_rub,
            index_with_lot_cv_pct: judged.indices.cv_pct(),
            index_limit_pct: judged.index_limit_pct,
            band: band(judged.before.verdict.rank),
            band_with_lot: band(judged.with_lot.verdict.rank),
            at_least: is_at_least(case.scrub, judged.before.verdict.rank, case.judge, case.tables),
            at_least_with_lot: is_at_least(&judged.scrub, judged.with_lot.verdict.rank, case.judge, case.tables),
            rebalanced_load_pct: new.as_ref().map(|(r, _)| r.scrub.load.get()),
            index_rebalanced: new.as_ref().map(|(r, _)| r.assessment.figures.index),
            band_rebalanced: new.as_ref().map(|(r, _)| band(r.assessment.verdict.rank)),
            sieve_it_off: None,
            sieving: Vec::new(),
            note: note(new.is_some(), open_top_note(&judged.scrub, case.tables)),
            rebalanced_parts: new.map(|(_, parts)| parts),
        }
    }

    /// With what sieves at hand make of a lot that is too coarse.
    #[must_use]
    pub fn with_sieves(mut self, case: &LotCase, lot: &[LotTable], judged: &LotJudged, sieves: &SieveSet) -> Self {
        let found = case.sieved_off(lot, judged, sieves);
        self.sieve_it_off = found.map(|f| SieveOffPart::new(case, &f, &case.how_sure(&f.lot, &f.judged), sieves));
        self.sieving = match &self.sieve_it_off {
            Some(part) => part.sentences(),
            None => judged.is_too_coarse().then(|| none_does(sieves)).into_iter().collect(),
        };
        self
    }

    /// The same in words that name no option of the command line.
    #[must_use]
    pub fn for_a_page(mut self) -> Self {
        for text in self.how_sure.iter_mut().chain(&mut self.warnings) {
            *text = without_options(text);
        }
        self
    }

    /// Parts of the powder that bring the index back, where the lot is accepted with these.
    pub fn new_parts(&self) -> Option<f64> {
        let own = self.rebalanced_parts.iter().flatten().find(|p| p.name == self.powder);
        own.map(|p| p.parts).filter(|_| self.verdict == LotVerdict::AcceptWithNewParts)
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let unsure = if self.unsure { "unsure, " } else { "" };
        let varies = self
            .index_with_lot_cv_pct
            .map(|cv| format!("  The index varies over the tables, coefficient of variation {} %.\n", two(cv)));
        [
            format!("{} for {}: {unsure}{}\n", self.powder, self.scrub, self.verdict.key()),
            part("Why", bullets(&self.reasons)),
            part("Sieve it off", bullets(&self.sieving)),
            part("How sure", bullets(&self.how_sure)),
            part("The measurement", bullets(&self.warnings)),
            part("The lot against the grade", self.figures_text() + &inset(&self.sample_note)),
            part("The scrub", self.scrub_text() + &varies.unwrap_or_default()),
            format!("\n{}", par(&self.note)),
        ]
        .concat()
    }

    fn figures_text(&self) -> String {
        let (mut aligns, mut heads) = ("lrrrl".to_owned(), vec!["", "grade", "lot", "off by", "tolerance"]);
        if self.tables.len() > 1 {
            aligns += "rr";
            heads.extend(["CV", "interval of the mean"]);
        }
        let line = |f: &LotFigure| {
            let lot = row(format!("{}, µm", f.figure)).all([f.grade_um, f.lot_um].map(|um| or_not_known(um, three)));
            let tolerance = format!("±{} % ({})", three(f.tolerance_pct), f.tolerance_from);
            let off = f.deviation_pct.map_or_else(|| "-".to_owned(), |off| format!("{} %", signed(off)));
            let lot = lot.and(off).and(tolerance);
            match (f.cv_pct, f.low_um, f.high_um) {
                (Some(cv), Some(low), Some(high)) => {
                    lot.and(format!("{} %", two(cv))).and(format!("{} to {}", four(low), four(high)))
                }
                _ => lot,
            }
        };
        let points = self.over_top_pct.zip(self.over_top_grade_pct).map(|(lot, grade)| lot - grade);
        let at_most =
            self.over_top_most_pct.filter(|most| *most < 100.0).map(|most| format!("at most {}", three(most)));
        let over = row(format!("above {} µm, %", three(self.top_um)))
            .and(or_not_known(self.over_top_grade_pct, percent))
            .and(at_most.unwrap_or_else(|| or_not_known(self.over_top_pct, percent)))
            .and(points.map_or_else(|| "-".to_owned(), |points| format!("{} points", signed(points))))
            .and(
                self.over_top_limit_pct
                    .map_or_else(|| "not held".to_owned(), |limit| format!("at most {} %", three(limit))),
            );
        Grid::new(&aligns, &heads).rows(self.figures.iter().map(line)).rows([over]).render()
    }

    fn scrub_text(&self) -> String {
        let new = self.rebalanced_parts.as_ref();
        let heads = ["", "as designed", "with this lot", "with new parts"];
        let heads = if new.is_some() { &heads[..] } else { &heads[..3] };
        let line = |name: &str, both: [String; 2], new: Option<String>| row(name).all(both).all(new);
        let both = |now: f64, new: f64| ([four(now), four(now)], Some(four(new)));
        let mut table = Grid::new("lrrr", heads);
        let indices = [self.index, self.index_with_lot].map(three);
        table.row(line("abrasiveness index", indices, self.index_rebalanced.map(three)));
        if let (Some(now), Some(lot)) = (self.index_over_the_rub, self.index_with_lot_over_the_rub) {
            let new = new.map(|_| "not worked out".to_owned());
            table.row(line("over the whole rub", [now, lot].map(figure), new));
        }
        let with_lot = |band: &String| band_said(band, self.at_least_with_lot);
        let bands = [band_said(&self.band, self.at_least), with_lot(&self.band_with_lot)];
        table.row(line("band", bands, self.band_rebalanced.as_ref().map(with_lot)));
        for own in new.into_iter().flatten().filter(|p| p.name == self.powder) {
            let (parts, new) = both(own.parts_now, own.parts);
            table.row(line(&format!("parts of {}", own.name), parts, new));
            let (grams, new) = both(own.g_per_kg_now, own.g_per_kg);
            table.row(line("g of it in 1 kg of scrub", grams, new));
        }
        if let (Some(load), Some(parts)) = (self.rebalanced_load_pct, new) {
            let (now, new) = both(parts.iter().map(|p| p.g_per_kg_now).sum::<f64>() / 10.0, load);
            table.row(line("powder load, %", now, new));
        }
        table.render()
    }
}

fn or_not_known(value: Option<f64>, written: fn(f64) -> String) -> String {
    value.map_or_else(|| "not known".to_owned(), written)
}

fn note(new_parts: bool, open_top: Option<String>) -> String {
    let open_top = open_top.map_or(String::new(), |said| format!("{said}. "));
    let parts = if new_parts {
        "New parts change this powder alone: every other powder keeps its grams in a kilogram of scrub, and the load follows \
         (convention). "
    } else {
        ""
    };
    format!(
        "{parts}{open_top}Tolerances marked convention are this program's; [powder.accept] in the scrub file sets others. The index is \
         {INDEX_NOTE}; {BANDS_NOTE}. Size is not all: microbes, moisture and identity of a lot are for its papers and your own \
         tests. {ASSESSOR_NOTE}."
    )
}

pub(super) fn table_part(table: &LotTable) -> TablePart {
    let [d10_um, d50_um, d90_um] = [0.1, 0.5, 0.9].map(|p| table.record.distribution.quantile(p));
    let (file, sha256) = (table.file.clone(), table.sha256.clone());
    TablePart { file, sha256, d10_um, d50_um, d90_um, not_measured: table.not_told() }
}
