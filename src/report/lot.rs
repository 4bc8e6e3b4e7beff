//! The result of `gritwise lot`.

use super::layout::{Align, TextTable, WIDTH, percent, signed, significant, wrap};
use super::lot_words::{PartsRange, how_sure, reasons, warnings};
use super::on_skin::OverTheRubPart;
use super::wording::{ASSESSOR_NOTE, BANDS_NOTE, INDEX_NOTE, band_said, is_at_least, open_top_note};
use crate::blend::{Component, Scrub};
use crate::formula::{OnSkin, Weighed};
use crate::lots::Sureness;
use crate::lots::lot::{HeldFigure, LotCase, LotJudged, LotTable, LotVerdict};
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
    pub verdict_shares: Vec<SharePart>,
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
    /// How far the lot lies from the grade.
    pub deviation: Deviation,
    /// D10, D50 and D90 with tolerances and repeatability.
    pub figures: Vec<FigurePart>,
    /// The top size, µm.
    pub top_um: f64,
    /// Above it, % by volume.
    pub over_top_pct: f64,
    /// Above it in the grade.
    pub over_top_grade_pct: f64,
    /// The most that may be.
    pub over_top_limit_pct: f64,
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
    pub index_over_the_rub: Option<OverTheRubPart>,
    /// The same of the scrub made with the lot.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_with_lot_over_the_rub: Option<OverTheRubPart>,
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
    /// What the verdict is and is not.
    pub note: String,
}

/// A verdict, and how often it was drawn.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SharePart {
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
}

/// Deviations of the lot from the grade.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Deviation {
    /// Of D10, %.
    pub d10_pct: f64,
    /// Of D50, %.
    pub d50_pct: f64,
    /// Of D90, %.
    pub d90_pct: f64,
    /// Of what is above the top size, percentage points.
    pub over_top_points: f64,
}

/// A percentile.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FigurePart {
    /// `D10`, `D50` or `D90`.
    pub figure: &'static str,
    /// Of the grade, µm.
    pub grade_um: f64,
    /// Of the lot, mean of its tables, µm.
    pub lot_um: f64,
    /// How far it is off, %.
    pub deviation_pct: f64,
    /// How far it may be off, %.
    pub tolerance_pct: f64,
    /// `spec` or `convention`.
    pub tolerance_from: &'static str,
    /// Within it.
    pub within: bool,
    /// Coefficient of variation of repeats, %.
    pub cv_pct: Option<f64>,
    /// Low end of the interval of the mean (Student's t), µm, not below 0.
    pub low_um: Option<f64>,
    /// High end.
    pub high_um: Option<f64>,
}

/// A powder's parts.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PartsPart {
    /// The powder.
    pub name: String,
    /// Parts as designed.
    pub parts_now: f64,
    /// New parts.
    pub parts: f64,
    /// In a kilogram of scrub as designed, g.
    pub g_per_kg_now: f64,
    /// In a kilogram with the new parts, g.
    pub g_per_kg: f64,
    /// For the powder of the lot: new parts that 5 % of the draws stay below.
    pub parts_low: Option<f64>,
    /// New parts that 95 % of the draws stay below.
    pub parts_high: Option<f64>,
    /// The same in a kilogram of scrub, g.
    pub g_per_kg_low: Option<f64>,
    /// The same in a kilogram of scrub, g.
    pub g_per_kg_high: Option<f64>,
}

impl PartsPart {
    fn range(&self) -> Option<PartsRange> {
        Some(PartsRange {
            parts: (self.parts_low?, self.parts_high?),
            g_per_kg: (self.g_per_kg_low?, self.g_per_kg_high?),
        })
    }
}

impl LotReport {
    /// Reports what became of a lot.
    /// `on_skin` is the scrub as designed.
    pub fn new(case: &LotCase, lot: &[LotTable], judged: &LotJudged, sure: &Sureness, on_skin: &OnSkin) -> Self {
        let with_lot = Weighed { scrub: judged.scrub.clone(), water_pct: on_skin.weighed.water_pct };
        let with_lot = with_lot.on_skin(case.tables, case.judge.model());
        let component = &case.scrub.blend.components()[case.place];
        let limits = &case.tables.acceptance;
        let confidence = limits.interval_pct / 100.0;
        let band = |rank: usize| case.judge.band_name(rank).to_owned();
        let figure = |(i, f): (usize, &HeldFigure)| {
            let half = f.lot.half_width(confidence);
            FigurePart {
                figure: f.name,
                grade_um: f.grade_um,
                lot_um: f.lot.mean,
                deviation_pct: f.deviation_pct(),
                tolerance_pct: f.tolerance_pct(),
                tolerance_from: if component.powder.stock.accept.percentiles[i].is_some() {
                    "spec"
                } else {
                    "convention"
                },
                within: f.tolerances_off() <= 1.0 + 1e-9,
                cv_pct: f.lot.cv_pct(),
                low_um: half.map(|h| (f.lot.mean - h).max(0.0)),
                high_um: half.map(|h| f.lot.mean + h),
            }
        };
        let [d10_pct, d50_pct, d90_pct] = [0, 1, 2].map(|i| judged.figures[i].deviation_pct());
        let new = judged.rebalanced.as_ref().map(|new| (new, parts(case, &new.scrub, sure)));
        Self {
            verdict: judged.verdict,
            unsure: sure.is_unsure(judged.verdict),
            verdict_sure_pct: sure.pct(judged.verdict),
            verdict_shares: LotVerdict::ALL.map(|verdict| SharePart { verdict, pct: sure.pct(verdict) }).to_vec(),
            verdict_draws: sure.draws,
            repeatability_d50_pct: sure.repeatability_pct[0],
            repeatability_d10_d90_pct: sure.repeatability_pct[1],
            how_sure: how_sure(lot, judged, sure, new.as_ref().and_then(|(_, parts)| parts[case.place].range())),
            reasons: reasons(case, judged),
            warnings: warnings(lot, judged, limits),
            powder: component.powder.name.clone(),
            scrub: case.scrub.name.clone(),
            tables: lot.iter().map(table_part).collect(),
            deviation: Deviation {
                d10_pct,
                d50_pct,
                d90_pct,
                over_top_points: judged.over_top.mean - judged.over_top_grade_pct,
            },
            figures: judged.figures.iter().enumerate().map(figure).collect(),
            top_um: judged.top_um,
            over_top_pct: judged.over_top.mean,
            over_top_grade_pct: judged.over_top_grade_pct,
            over_top_limit_pct: judged.over_top_limit_pct,
            least_sample_g: judged.least_sample_g,
            sample_note: format!(
                "A well-mixed sample of {} g tells the share of the coarsest tenth to {} % (Gy's formula, {} % confidence).",
                significant(judged.least_sample_g, 2),
                limits.gy_error_pct,
                limits.gy_confidence_pct
            ),
            index: judged.before.figures.index,
            index_with_lot: judged.with_lot.figures.index,
            index_over_the_rub: OverTheRubPart::of(on_skin),
            index_with_lot_over_the_rub: OverTheRubPart::of(&with_lot),
            index_with_lot_cv_pct: judged.indices.cv_pct(),
            index_limit_pct: judged.index_limit_pct,
            band: band(judged.before.verdict.rank),
            band_with_lot: band(judged.with_lot.verdict.rank),
            at_least: is_at_least(case.scrub, judged.before.verdict.rank, case.judge, case.tables),
            at_least_with_lot: is_at_least(&judged.scrub, judged.with_lot.verdict.rank, case.judge, case.tables),
            rebalanced_load_pct: new.as_ref().map(|(r, _)| r.scrub.load.get()),
            index_rebalanced: new.as_ref().map(|(r, _)| r.assessment.figures.index),
            band_rebalanced: new.as_ref().map(|(r, _)| band(r.assessment.verdict.rank)),
            note: note(new.is_some(), open_top_note(&judged.scrub, case.tables)),
            rebalanced_parts: new.map(|(_, parts)| parts),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let unsure = if self.unsure { "unsure, " } else { "" };
        let mut out = format!("{} for {}: {unsure}{}\n\nWhy\n", self.powder, self.scrub, self.verdict.key());
        out += &bullets(&self.reasons);
        out += "\nHow sure\n";
        out += &bullets(&self.how_sure);
        if !self.warnings.is_empty() {
            out += "\nThe measurement\n";
            out += &bullets(&self.warnings);
        }
        out += "\nThe lot against the grade\n";
        out += &self.figures_text();
        out += &wrap(&self.sample_note, WIDTH, "  ", "  ");
        out += "\nThe scrub\n";
        out += &self.scrub_text();
        if let Some(cv) = self.index_with_lot_cv_pct {
            out += &format!("  The index varies over the tables, coefficient of variation {} %.\n", significant(cv, 2));
        }
        out += "\n";
        out += &wrap(&self.note, WIDTH, "", "");
        out
    }

    fn figures_text(&self) -> String {
        let repeated = self.tables.len() > 1;
        let mut columns = vec![
            ("", Align::Left),
            ("grade", Align::Right),
            ("lot", Align::Right),
            ("off by", Align::Right),
            ("tolerance", Align::Left),
        ];
        if repeated {
            columns.extend([("CV", Align::Right), ("interval of the mean", Align::Right)]);
        }
        let mut table = TextTable::new(&columns);
        for f in &self.figures {
            let mut row = vec![
                format!("{}, µm", f.figure),
                significant(f.grade_um, 3),
                significant(f.lot_um, 3),
                format!("{} %", signed(f.deviation_pct)),
                format!("±{} % ({})", significant(f.tolerance_pct, 3), f.tolerance_from),
            ];
            let interval = |low, high| format!("{} to {}", significant(low, 4), significant(high, 4));
            if let (Some(cv), Some(low), Some(high)) = (f.cv_pct, f.low_um, f.high_um) {
                row.extend([format!("{} %", significant(cv, 2)), interval(low, high)]);
            }
            table.row(row);
        }
        table.row(vec![
            format!("above {} µm, %", significant(self.top_um, 3)),
            percent(self.over_top_grade_pct),
            percent(self.over_top_pct),
            format!("{} points", signed(self.deviation.over_top_points)),
            format!("at most {} %", significant(self.over_top_limit_pct, 3)),
        ]);
        table.render()
    }

    fn scrub_text(&self) -> String {
        let new = self.rebalanced_parts.as_ref();
        let mut columns = vec![("", Align::Left), ("as designed", Align::Right), ("with this lot", Align::Right)];
        columns.extend(new.map(|_| ("with new parts", Align::Right)));
        let mut table = TextTable::new(&columns);
        let mut row = |name: &str, [now, lot]: [String; 2], new: Option<String>| {
            table.row([name.to_owned(), now, lot].into_iter().chain(new).collect());
        };
        let [now, lot] = [self.index, self.index_with_lot].map(|i| significant(i, 3));
        row("abrasiveness index", [now, lot], self.index_rebalanced.map(|i| significant(i, 3)));
        if let (Some(now), Some(lot)) = (&self.index_over_the_rub, &self.index_with_lot_over_the_rub) {
            let new = new.map(|_| "not worked out".to_owned());
            row("over the whole rub", [now.figure(), lot.figure()], new);
        }
        let with_lot = |band: &String| band_said(band, self.at_least_with_lot);
        let bands = [band_said(&self.band, self.at_least), with_lot(&self.band_with_lot)];
        row("band", bands, self.band_rebalanced.as_ref().map(with_lot));
        for part in new.into_iter().flatten().filter(|p| p.name == self.powder) {
            let [now, parts] = [part.parts_now, part.parts].map(|p| significant(p, 4));
            row(&format!("parts of {}", part.name), [now.clone(), now], Some(parts));
            let [now, g] = [part.g_per_kg_now, part.g_per_kg].map(|g| significant(g, 4));
            row("g of it in 1 kg of scrub", [now.clone(), now], Some(g));
        }
        if let (Some(load), Some(parts)) = (self.rebalanced_load_pct, new) {
            let now = significant(parts.iter().map(|p| p.g_per_kg_now).sum::<f64>() / 10.0, 4);
            row("powder load, %", [now.clone(), now], Some(significant(load, 4)));
        }
        table.render()
    }
}

fn note(new_parts: bool, open_top: Option<String>) -> String {
    let open_top = open_top.map_or(String::new(), |said| format!("{said}. "));
    let parts = match new_parts {
        true => {
            "New parts change this powder alone: every other powder keeps its grams in a kilogram of scrub, and the load follows \
             (convention). "
        }
        false => "",
    };
    format!(
        "{parts}{open_top}Tolerances marked convention are this program's; [powder.accept] in the scrub file sets others. The index is \
         {INDEX_NOTE}; {BANDS_NOTE}. Size is not all: microbes, moisture and identity of a lot are for its papers and your own \
         tests. {ASSESSOR_NOTE}."
    )
}

fn bullets(texts: &[String]) -> String {
    texts.iter().map(|t| wrap(t, WIDTH, "  - ", "    ")).collect()
}

fn table_part(table: &LotTable) -> TablePart {
    let [d10_um, d50_um, d90_um] = [0.1, 0.5, 0.9].map(|p| table.record.distribution.quantile(p));
    TablePart { file: table.file.clone(), sha256: table.sha256.clone(), d10_um, d50_um, d90_um }
}

fn parts(case: &LotCase, new: &Scrub, sure: &Sureness) -> Vec<PartsPart> {
    let now = case.scrub;
    let both = now.blend.components().iter().zip(new.blend.components()).enumerate();
    let part = |(i, (a, b)): (usize, (&Component, &Component))| {
        let [g_per_kg_now, g_per_kg] = [10.0 * now.load.get() * a.mass, 10.0 * new.load.get() * b.mass];
        // Grams go with the parts, and all parts may have been scaled together.
        let grams = sure.parts_factor.filter(|_| i == case.place).map(|ends| ends.map(|factor| factor * g_per_kg_now));
        let end = |side: usize| grams.map(|ends| ends[side]);
        PartsPart {
            name: a.powder.name.clone(),
            parts_now: a.parts.get(),
            parts: b.parts.get(),
            g_per_kg_now,
            g_per_kg,
            parts_low: end(0).map(|g| b.parts.get() * g / g_per_kg),
            parts_high: end(1).map(|g| b.parts.get() * g / g_per_kg),
            g_per_kg_low: end(0),
            g_per_kg_high: end(1),
        }
    };
    both.map(part).collect()
}
