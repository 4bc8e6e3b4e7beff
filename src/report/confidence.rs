//! The result of `gritwise confidence`.

use super::blend::ScrubPart;
use super::cautions::of_dissolving;
use super::layout::{Align, TextTable, WIDTH, significant, wrap};
use super::on_skin::{OverTheRubPart, in_the_jar};
use super::wording;
use super::wording::{band_said, is_at_least};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{Confidence, Interval, Measurand, Measurement, Outcome, SURE, Share, Sure};
use crate::formula::OnSkin;
use crate::tables::Tables;
use serde::Serialize;

/// Shares of the variance under this are not worth a line of the table.
const WORTH_A_LINE: f64 = 0.005;
/// Draws in which the powders alone make a scrub harsher that are worth a word.
const WORTH_A_WORD: f64 = 0.05;
/// How far apart outcomes of a measurement lie, in draws of 100, that make it worth the work (convention).
const WORTH_MEASURING_PCT: f64 = 10.0;
/// Share of the variance of the band under which measuring the powders does little for it (convention).
const WORTH_FOR_THE_BAND: f64 = 0.2;

/// How sure a verdict is. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ConfidenceReport {
    /// The scrub as it stands.
    pub scrub: ScrubPart,
    /// Its band as it stands.
    pub band: String,
    /// Whether that band hangs on an assumed top size.
    pub at_least: bool,
    /// Its index as it stands.
    pub index_as_stated: f64,
    /// Draws with everything drawn.
    pub draws: u64,
    /// Seed of the sequence.
    pub seed: u64,
    /// With everything drawn.
    #[serde(flatten)]
    pub all: OutcomePart,
    /// With the powders drawn alone: what a maker can measure.
    pub powders_alone: OutcomePart,
    /// With skin and model drawn alone: what nobody knows.
    pub skin_and_model_alone: OutcomePart,
    /// On the skin of different people, against the limits as stated; powders and model as stated.
    pub skins_alone: OutcomePart,
    /// Share of the draws in the band as it stands or a milder one, whole %.
    pub sure_pct: f64,
    /// The mildest band that nine in ten draws meet.
    pub nine_in_ten: String,
    /// What each input holds of the variance, first what holds most of the band's.
    pub variance: Vec<SharePart>,
    /// The share of all powders together.
    pub variance_of_powders: SharePart,
    /// Share of the variance of the band's rank that goes once all powders are known exactly, 0..1.
    pub band_from_powders: f64,
    /// Standard error of it.
    pub band_from_powders_error: f64,
    /// What measuring would find.
    pub measurements: Vec<MeasurementPart>,
    /// What follows.
    pub advice: Vec<String>,
    /// What to mind about the powders.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// How it was drawn, and what the index is and is not.
    pub notes: Vec<String>,
}

/// What the draws come to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutcomePart {
    /// Abrasiveness index.
    pub index: IndexPart,
    /// Groove ratio at each site.
    pub sites: Vec<SitePart>,
    /// Probability of each band.
    pub bands: Vec<BandPart>,
}

/// Quantiles of the index.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IndexPart {
    /// 5 % of the draws are lower.
    pub p5: f64,
    /// Half of the draws are lower.
    pub p50: f64,
    /// 5 % of the draws are higher.
    pub p95: f64,
    /// Standard error of p5.
    pub p5_error: f64,
    /// Standard error of p50.
    pub p50_error: f64,
    /// Standard error of p95.
    pub p95_error: f64,
    /// Over the whole rub, as grains dissolve, its interval by the constants of dissolution alone; only with all that is stated, and
    /// absent when no grain dissolves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_the_rub: Option<OverTheRubPart>,
}

/// Quantiles of the groove ratio at a site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SitePart {
    /// Site.
    pub site: String,
    /// 5 % of the draws are lower.
    pub ratio_p5: f64,
    /// Half of the draws are lower.
    pub ratio_p50: f64,
    /// 5 % of the draws are higher.
    pub ratio_p95: f64,
    /// Standard error of ratio_p5.
    pub ratio_p5_error: f64,
    /// Standard error of ratio_p50.
    pub ratio_p50_error: f64,
    /// Standard error of ratio_p95.
    pub ratio_p95_error: f64,
}

/// Probability of a band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandPart {
    /// Band.
    pub name: String,
    /// Share of the draws that land in it, 0..1.
    pub probability: f64,
    /// Standard error of it.
    pub error: f64,
}

/// What an input holds of the variance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SharePart {
    /// The input.
    pub input: String,
    /// By itself, 0..1.
    pub first_order: f64,
    /// Standard error of it.
    pub first_order_error: f64,
    /// With all its interactions, 0..1.
    pub total: f64,
    /// Standard error of it.
    pub total_error: f64,
    /// Of the band (of its rank), by itself.
    pub band_first_order: f64,
    /// Standard error of it.
    pub band_first_order_error: f64,
    /// Of the band with all its interactions.
    pub band_total: f64,
    /// Standard error of it.
    pub band_total_error: f64,
    /// Whether a maker can measure it.
    pub measurable: bool,
}

/// What a measurement would find, and what of the band then.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasurementPart {
    /// The powder.
    pub powder: String,
    /// `size`, `hardness`, `roundness` or `density`.
    pub property: &'static str,
    /// It was measured already.
    pub made: bool,
    /// Its sizes have no top.
    pub open_top: bool,
    /// Outcomes, the value as stated first.
    pub findings: Vec<FindingPart>,
}

/// One outcome of a measurement.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FindingPart {
    /// What is found: GPa, µm (the median) or a plain number.
    pub value: f64,
    /// The band then.
    pub band: String,
    /// Share of the draws in it or a milder one, whole %.
    pub sure_pct: f64,
    /// The mildest band that nine in ten draws meet then.
    pub nine_in_ten: String,
}

impl ConfidenceReport {
    /// Reports the confidence in a scrub's verdict, drawn about its grains as they reach the skin.
    pub fn new(on_skin: &OnSkin, judge: &Judge, confidence: &Confidence, tables: &Tables) -> Self {
        let grains = on_skin.scrub_or_weighed();
        let assessment = judge.assess(grains);
        let rank = assessment.verdict.rank;
        let sure = Sure::of(&confidence.all, confidence.sampling.draws());
        let measurements: Vec<MeasurementPart> =
            confidence.measurements.iter().map(|m| measurement_part(m, grains, judge)).collect();
        let mut all = outcome_part(judge, &confidence.all);
        all.index.over_the_rub = OverTheRubPart::of(on_skin);
        Self {
            scrub: ScrubPart::new(&on_skin.weighed.scrub),
            band: judge.band_name(assessment.verdict.rank).to_owned(),
            at_least: is_at_least(grains, rank, judge, tables),
            index_as_stated: assessment.figures.index,
            draws: confidence.sampling.draws(),
            seed: confidence.sampling.seed(),
            all,
            powders_alone: outcome_part(judge, &confidence.powders),
            skin_and_model_alone: outcome_part(judge, &confidence.skin_and_model),
            skins_alone: outcome_part(judge, &confidence.skins),
            sure_pct: Sure::pct(sure.share(rank)),
            nine_in_ten: judge.band_name(sure.rank_met_by(SURE)).to_owned(),
            variance: confidence.variance.iter().map(|s| share_part(s, s.measures.is_some())).collect(),
            variance_of_powders: share_part(&confidence.variance_of_powders, true),
            band_from_powders: confidence.variance_of_powders.of_band.first_order.value,
            band_from_powders_error: confidence.variance_of_powders.of_band.first_order.error,
            advice: advice(judge, rank, confidence, &measurements),
            measurements,
            cautions: of_dissolving([grains], tables),
            notes: notes(on_skin, confidence),
        }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let stated = format!(
            "{}: {} as stated, index {}; {:.0} of 100 draws fall into it or a milder band, nine in ten into {} or a milder one",
            self.scrub.name,
            band_said(&self.band, self.at_least),
            significant(self.index_as_stated, 3),
            self.sure_pct,
            self.nine_in_ten
        );
        let mut out = wrap(&stated, WIDTH, "", "  ");
        if let Some(over_the_rub) = &self.all.index.over_the_rub {
            out += &format!("{}\n", over_the_rub.sentence());
        }
        out += &format!("\nProbability of each band\n{}", self.band_table());
        out += &format!("\n5, 50 and 95 % of the draws: index, and groove ratio at each site\n{}", self.figure_table());
        if !self.variance.is_empty() {
            out += &format!("\nWhat holds the variance of the band and of the index\n{}", self.variance_table());
        }
        out += "\nWhat follows\n";
        for line in &self.advice {
            out += &wrap(line, WIDTH, "  - ", "    ");
        }
        if !self.cautions.is_empty() {
            out += "\nCautions\n";
            self.cautions.iter().for_each(|c| out += &wrap(c, WIDTH, "  - ", "    "));
        }
        out.push('\n');
        for note in &self.notes {
            out += &wrap(note, WIDTH, "", "");
        }
        out
    }

    fn outcomes(&self) -> [&OutcomePart; 4] {
        [&self.all, &self.powders_alone, &self.skin_and_model_alone, &self.skins_alone]
    }

    fn band_table(&self) -> String {
        let mut table = heads("band");
        for (i, band) in self.all.bands.iter().enumerate() {
            // Whole per cent of this band or a milder one, less those of the milder ones: what stands here adds up to what stands above.
            let at_most = |o: &OutcomePart, end: usize| Sure::pct(o.bands[..end].iter().map(|b| b.probability).sum());
            let cell = |o: &OutcomePart| format!("{:.0} %", at_most(o, i + 1) - at_most(o, i));
            table.row(std::iter::once(band.name.clone()).chain(self.outcomes().map(cell)).collect());
        }
        table.render()
    }

    fn figure_table(&self) -> String {
        let mut table = heads("");
        let said = |values: [f64; 3], digits| values.map(|v| significant(v, digits)).join(" ");
        let index = |o: &OutcomePart| said([o.index.p5, o.index.p50, o.index.p95], 3);
        table.row(std::iter::once("index".to_owned()).chain(self.outcomes().map(index)).collect());
        for (i, site) in self.all.sites.iter().enumerate() {
            let ratio = |o: &OutcomePart| {
                let s = &o.sites[i];
                said([s.ratio_p5, s.ratio_p50, s.ratio_p95], 2)
            };
            let label = format!("grooves, {}", site.site);
            table.row(std::iter::once(label).chain(self.outcomes().map(ratio)).collect());
        }
        table.render()
    }

    fn variance_table(&self) -> String {
        let columns = [
            ("input", Align::Left),
            ("of the band, with all it acts with", Align::Right),
            ("of ln index, likewise", Align::Right),
            ("who can know it", Align::Left),
        ];
        let mut table = TextTable::new(&columns);
        let cell = |value: f64, error: f64| match value < 0.005 {
            true => "<1 %".to_owned(),
            false => format!("{} ± {} %", whole_pct(value), significant((100.0 * error).max(0.1), 1)),
        };
        let mut line = |s: &SharePart| {
            table.row(vec![
                s.input.clone(),
                cell(s.band_total, s.band_total_error),
                cell(s.total, s.total_error),
                if s.measurable { "you, by measuring" } else { "nobody" }.to_owned(),
            ]);
        };
        self.variance.iter().filter(|s| s.total.max(s.band_total) >= WORTH_A_LINE).for_each(&mut line);
        line(&self.variance_of_powders);
        table.render()
    }
}

fn heads(first: &str) -> TextTable {
    let right = ["all drawn", "powders alone", "skin and model", "people's skins"].map(|c| (c, Align::Right));
    TextTable::new(&[&[(first, Align::Left)][..], &right].concat())
}

fn outcome_part(judge: &Judge, outcome: &Outcome) -> OutcomePart {
    let i = &outcome.index;
    let site = |(site, r): (&crate::tables::Site, &Interval)| SitePart {
        site: site.name.clone(),
        ratio_p5: r.p5.value,
        ratio_p50: r.p50.value,
        ratio_p95: r.p95.value,
        ratio_p5_error: r.p5.error,
        ratio_p50_error: r.p50.error,
        ratio_p95_error: r.p95.error,
    };
    let band = |(rank, p): (usize, &crate::numerics::sensitivity::Estimate)| BandPart {
        name: judge.band_name(rank).to_owned(),
        probability: p.value,
        error: p.error,
    };
    OutcomePart {
        index: IndexPart {
            p5: i.p5.value,
            p50: i.p50.value,
            p95: i.p95.value,
            p5_error: i.p5.error,
            p50_error: i.p50.error,
            p95_error: i.p95.error,
            over_the_rub: None,
        },
        sites: judge.model().sites().iter().zip(&outcome.ratios).map(site).collect(),
        bands: outcome.bands.iter().enumerate().map(band).collect(),
    }
}

fn share_part(share: &Share, measurable: bool) -> SharePart {
    SharePart {
        input: share.input.clone(),
        first_order: share.of_index.first_order.value,
        first_order_error: share.of_index.first_order.error,
        total: share.of_index.total.value,
        total_error: share.of_index.total.error,
        band_first_order: share.of_band.first_order.value,
        band_first_order_error: share.of_band.first_order.error,
        band_total: share.of_band.total.value,
        band_total_error: share.of_band.total.error,
        measurable,
    }
}

/// A share as whole per cent; what is there but less than one is told as such.
fn whole_pct(share: f64) -> String {
    match 100.0 * share {
        none if none <= 0.0 => "0".to_owned(),
        little if little < 0.5 => "<1".to_owned(),
        pct => format!("{pct:.0}"),
    }
}

fn measurement_part(measurement: &Measurement, scrub: &Scrub, judge: &Judge) -> MeasurementPart {
    MeasurementPart {
        powder: scrub.blend.components()[measurement.powder].powder.name.clone(),
        property: match measurement.property {
            Measurand::Size => "size",
            Measurand::Hardness => "hardness",
            Measurand::Roundness => "roundness",
            Measurand::Density => "density",
        },
        made: measurement.made,
        open_top: measurement.open_top,
        findings: measurement
            .findings
            .iter()
            .map(|f| FindingPart {
                value: f.value,
                band: judge.band_name(f.rank).to_owned(),
                sure_pct: Sure::pct(f.sure),
                nine_in_ten: judge.band_name(f.nine_in_ten).to_owned(),
            })
            .collect(),
    }
}

impl MeasurementPart {
    /// Whether its outcomes differ enough to be worth the work.
    fn tells(&self) -> bool {
        let sure = || self.findings.iter().map(|f| f.sure_pct);
        let spread = sure().fold(0.0, f64::max) - sure().fold(100.0, f64::min);
        spread >= WORTH_MEASURING_PCT || self.findings.windows(2).any(|f| f[0].band != f[1].band)
    }

    /// What to measure, and what the band would be with each outcome.
    fn sentence(&self) -> String {
        let name = &self.powder;
        let (what, confirm, unit) = match (self.property, self.made) {
            ("size", false) => (format!("measure the sieve curve of {name}"), "it confirms a D50 of", " µm"),
            ("size", true) if self.open_top => {
                (format!("sieve {name} again with a coarser sieve on top"), "it confirms a D50 of", " µm")
            }
            ("size", true) => (format!("repeat the size measurement of {name}"), "it confirms a D50 of", " µm"),
            ("hardness", _) => (format!("have the grains of {name} indented"), "they confirm", " GPa"),
            (_, false) => (format!("judge the roundness of {name} under a microscope"), "fifty grains confirm", ""),
            (_, true) => (format!("judge the roundness of {name} on more grains than were judged"), "they confirm", ""),
        };
        let outcomes = self.findings.iter().enumerate().map(|(i, f)| {
            let value = significant(f.value, 2);
            let verdict = format!("{}, {:.0} of 100 sure", f.band, f.sure_pct);
            if i == 0 {
                format!("if {confirm} {value}{unit}: {verdict}")
            } else {
                format!("if {value}{unit}: {verdict}")
            }
        });
        format!("{what}: {}", outcomes.collect::<Vec<_>>().join("; "))
    }
}

/// What the maker can do, the most useful first, and what nobody can.
fn advice(judge: &Judge, stated: usize, confidence: &Confidence, measurements: &[MeasurementPart]) -> Vec<String> {
    let mut advice = Vec::new();
    let likeliest = confidence.all.bands.iter().enumerate().max_by(|a, b| a.1.value.total_cmp(&b.1.value));
    if let Some((rank, p)) = likeliest.filter(|(rank, _)| *rank != stated) {
        advice.push(format!(
            "more draws land in {} ({} %) than in {}, where the stated values put it",
            judge.band_name(rank),
            whole_pct(p.value),
            judge.band_name(stated)
        ));
    }
    let harsher: f64 = confidence.powders.bands[stated + 1..].iter().map(|b| b.value).sum();
    if harsher > WORTH_A_WORD {
        advice.push(format!(
            "with skin and model as stated, the powders alone may make it harsher than {}: {} % of the draws",
            judge.band_name(stated),
            whole_pct(harsher)
        ));
    }
    let on_skins: f64 = confidence.skins.bands[stated + 1..].iter().map(|b| b.value).sum();
    if on_skins > WORTH_A_WORD {
        advice.push(format!(
            "on skin softer or thinner than stated, or rubbed harder, it goes beyond what {} allows: {} % of the skins drawn; as every \
             scrub of the trade does there, this is no part of how sure the band is",
            judge.band_name(stated),
            whole_pct(on_skins)
        ));
    }
    if confidence.hardly_rubs() {
        advice.push("next to no draw has a grain that touches: there is nothing to measure more closely".to_owned());
        return advice;
    }
    let worth: Vec<String> = measurements.iter().filter(|m| m.tells()).map(MeasurementPart::sentence).collect();
    if worth.is_empty() {
        advice.push("no single property of a powder is worth measuring more closely for the band".to_owned());
    }
    advice.extend(worth);
    let powders = &confidence.variance_of_powders;
    advice.push(format!(
        "all that can be measured of the powders holds {} % of the variance of ln index; the rest is skin and model, which no \
         measurement of the powders makes smaller",
        whole_pct(powders.of_index.total.value)
    ));
    advice.push(of_the_band(powders.of_band.first_order.value));
    advice
}

/// What measuring the powders does for the band, which hangs on the groove ratio too.
fn of_the_band(from_powders: f64) -> String {
    let share = format!("{:.0} %", 100.0 * from_powders.clamp(0.0, 1.0));
    match from_powders {
        little if little < WORTH_FOR_THE_BAND => format!(
            "no measurement of the powders makes the band much surer: they hold {share} of its variance (of its rank), the \
             rest lies in how skin and model set groove ratio and index"
        ),
        _ => format!(
            "knowing the powders exactly would take away {share} of the variance of the band (of its rank); the rest stays with skin \
             and model"
        ),
    }
}

fn notes(on_skin: &OnSkin, confidence: &Confidence) -> Vec<String> {
    let sampling = confidence.sampling;
    let drawn = if on_skin.jar_dissolves() { "; what the jar dissolves is not drawn" } else { "" };
    let jar = in_the_jar(on_skin).into_iter().map(|said| format!("{said}{drawn}."));
    let general = vec![
        format!(
            "{} draws (a quarter as many in the other columns), seed {}; ± is the standard error from 16 independent scrambles (of the \
             others: the JSON gives it). Where skin or model is drawn, groove limits move along with the reference scrub, as they were set \
             by what is sold for the same skin; people's skins are held against the limits as they stand. Half of the draws of a value lie on either side of it. What \
             was published or measured is log-normal with 5 % beyond either end of its range, what is estimated log-uniform within it \
             (convention). Band limits are not drawn.",
            sampling.draws(),
            sampling.seed()
        ),
        format!("Abrasiveness index: {}; {}. {}.", wording::INDEX_NOTE, wording::BANDS_NOTE, wording::ASSESSOR_NOTE),
    ];
    jar.chain(general).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_measuring_does_for_the_band_is_said_plainly() {
        let little = of_the_band(0.06);
        assert!(
            little.starts_with("no measurement of the powders makes the band much surer: they hold 6 %"),
            "{little}"
        );
        assert!(of_the_band(0.26).contains("would take away 26 % of the variance of the band"));
        // An estimate of next to nothing may come out below 0.
        assert!(of_the_band(-0.01).contains("they hold 0 %"));
    }
}
