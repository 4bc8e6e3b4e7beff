//! The result of `gritwise confidence`.

use super::blend::ScrubPart;
use super::cautions::of_dissolving;
use super::layout::{Grid, bullets, hung, joined, par, part, row};
use super::on_skin::{in_the_jar, over_the_rub};
use super::wording::{self, band_said, is_at_least};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::confidence::{
    Bought, Confidence, FoundValue, Interval, Measurand, Measurement, Outcome, RoundnessHeld, SURE, Share, Sure,
};
use crate::formula::{Check, CheckVerdict, OnSkin, OverTheRub};
use crate::numerics::sensitivity::Estimate;
use crate::numerics::written::{significant, three, trimmed, two};
use crate::tables::Tables;
use serde::{Serialize, Serializer};

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
    pub variance: Vec<Share>,
    /// The share of all powders together.
    pub variance_of_powders: Share,
    /// Share of the variance of the band's rank that goes once all powders are known exactly, 0..1.
    pub band_from_powders: f64,
    /// Standard error of it.
    pub band_from_powders_error: f64,
    /// What measuring would find.
    pub measurements: Vec<MeasurementPart>,
    /// What measuring a roundness has done already, where the scrub's file gives its source.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub bought: Vec<BoughtPart>,
    /// What stands beside the verdict in the checks of the whole scrub; absent where the file lists powders alone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub whole_scrub: Option<WholeScrub>,
    /// What follows.
    pub advice: Vec<String>,
    /// What to mind about the powders.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub cautions: Vec<String>,
    /// How it was drawn, and what the index is and is not.
    pub notes: Vec<String>,
}

/// Checks of the whole scrub that do not pass, by key: what no draw of grains, skin and model knows of.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WholeScrub {
    /// Not as it stands.
    pub stop: Vec<&'static str>,
    /// Something to mind.
    pub caution: Vec<&'static str>,
    /// Open, in whole or in part.
    pub open: Vec<&'static str>,
}

impl WholeScrub {
    fn of(checks: &[Check]) -> Self {
        let keys = |wanted: &dyn Fn(&Check) -> bool| checks.iter().filter(|c| wanted(c)).map(|c| c.key).collect();
        Self {
            stop: keys(&|c| c.verdict == CheckVerdict::Stop),
            caution: keys(&|c| c.verdict == CheckVerdict::Caution),
            open: keys(&|c| c.verdict == CheckVerdict::NotJudged || !c.open.is_empty()),
        }
    }

    /// One sentence; none where nothing stops and nothing is open.
    fn said(&self) -> Option<String> {
        let told = |what: &str, keys: &[&str]| (!keys.is_empty()).then(|| format!("{what} {}", keys.join(", ")));
        let parts: Vec<String> = [told("stop", &self.stop), told("open", &self.open)].into_iter().flatten().collect();
        (!parts.is_empty()).then(|| {
            format!(
                "The draws are of the grains on skin and say nothing of the rest of the scrub, whose checks tell: {} (gritwise formula)",
                parts.join("; ")
            )
        })
    }
}

/// What the draws come to.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutcomePart {
    /// Abrasiveness index.
    pub index: IndexSpread,
    /// Groove ratio at each site.
    pub sites: Vec<SiteSpread>,
    /// Probability of each band.
    pub bands: Vec<BandChance>,
}

/// Quantiles of the index.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IndexSpread {
    /// `p5`, `p50` and `p95` of the draws, then their standard errors, `p5_error` and so on.
    #[serde(flatten)]
    pub of: Interval,
    /// Over the whole rub, as grains dissolve, its interval by the constants of dissolution alone; only with all that is stated, and
    /// absent when no grain dissolves.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_the_rub: Option<OverTheRub>,
}

/// Quantiles of the groove ratio at a site.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SiteSpread {
    /// Site.
    pub site: String,
    /// The same, with `ratio_` before each key.
    #[serde(flatten, serialize_with = "ratio")]
    pub ratio: Interval,
}

fn ratio<S: Serializer>(ratio: &Interval, serializer: S) -> Result<S::Ok, S::Error> {
    ratio.keyed("ratio_", serializer)
}

/// Probability of a band.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BandChance {
    /// Band.
    pub name: String,
    /// Share of the draws that land in it, 0..1.
    pub probability: f64,
    /// Standard error of it.
    pub error: f64,
}

/// What a measurement would find, and what of the band then.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MeasurementPart {
    /// The powder.
    pub powder: String,
    /// `size`, `hardness`, `roundness` or `density`.
    pub property: Measurand,
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

/// What measuring the roundness of a powder bought.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BoughtPart {
    /// The powder.
    pub powder: String,
    /// How its roundness was found, as its file says.
    pub source: String,
    /// As the materials table has it.
    pub before: HeldPart,
    /// As it was measured.
    pub after: HeldPart,
}

/// A roundness with its range, and what it holds of the variance.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HeldPart {
    /// The value.
    pub roundness: f64,
    /// Low end.
    pub roundness_low: f64,
    /// High end.
    pub roundness_high: f64,
    /// What it holds, with the keys of `variance`.
    #[serde(flatten)]
    pub share: Share,
}

impl HeldPart {
    fn new(held: &RoundnessHeld) -> Self {
        let RoundnessHeld { roundness, range, share } = held.clone();
        Self { roundness, roundness_low: range.low, roundness_high: range.high, share }
    }

    /// "0.2 (0.08 to 0.35), which held 9 % of the variance of the band and 57 % of that of ln index".
    fn said(&self, holds: &str) -> String {
        format!(
            "{} ({} to {}), which {holds} {} % of the variance of the band and {} % of that of ln index",
            three(self.roundness),
            three(self.roundness_low),
            three(self.roundness_high),
            whole_pct(self.share.of_band.total.value),
            whole_pct(self.share.of_index.total.value)
        )
    }
}

impl BoughtPart {
    fn new(bought: &Bought, scrub: &Scrub) -> Self {
        let powder = &scrub.blend.components()[bought.powder].powder;
        Self {
            powder: powder.name.clone(),
            source: powder.roundness_source.clone().unwrap_or_default(),
            before: HeldPart::new(&bought.before),
            after: HeldPart::new(&bought.after),
        }
    }

    /// One sentence.
    pub(super) fn sentence(&self) -> String {
        format!(
            "what measuring the roundness of {} has bought: by the materials table it was {}; as measured it is {}",
            self.powder,
            self.before.said("held"),
            self.after.said("holds")
        )
    }
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
        let bought: Vec<BoughtPart> = confidence.bought.iter().map(|b| BoughtPart::new(b, grains)).collect();
        let mut all = outcome_part(judge, &confidence.all);
        all.index.over_the_rub = on_skin.over_the_rub;
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
            variance: confidence.variance.clone(),
            variance_of_powders: confidence.variance_of_powders.clone(),
            band_from_powders: confidence.variance_of_powders.of_band.first_order.value,
            band_from_powders_error: confidence.variance_of_powders.of_band.first_order.error,
            whole_scrub: None,
            advice: advice(judge, rank, confidence, &measurements, &bought),
            bought,
            measurements,
            cautions: of_dissolving([grains], tables),
            notes: notes(on_skin, confidence, tables),
        }
    }

    /// With the checks of the whole scrub beside.
    pub fn beside(self, checks: &[Check]) -> Self {
        Self { whole_scrub: Some(WholeScrub::of(checks)), ..self }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let stated = format!(
            "{}: {} as stated, index {}; {:.0} of 100 draws fall into it or a milder band, nine in ten into {} or a milder one",
            self.scrub.name,
            band_said(&self.band, self.at_least),
            three(self.index_as_stated),
            self.sure_pct,
            self.nine_in_ten
        );
        let over = self.all.index.over_the_rub.map(|o| over_the_rub(o) + "\n");
        let beside = self.whole_scrub.as_ref().and_then(WholeScrub::said).map(|said| par(&said));
        [
            hung(stated),
            over.unwrap_or_default(),
            beside.unwrap_or_default(),
            part("Probability of each band", self.band_table()),
            part("5, 50 and 95 % of the draws: index, and groove ratio at each site", self.figure_table()),
            part("What holds the variance of the band and of the index", self.variance_table()),
            part("What follows", bullets(&self.advice)),
            part("Cautions", bullets(&self.cautions)),
            "\n".to_owned(),
            self.notes.iter().map(par).collect(),
        ]
        .concat()
    }

    /// Everything drawn, and each part alone.
    pub(super) fn outcomes(&self) -> [&OutcomePart; 4] {
        [&self.all, &self.powders_alone, &self.skin_and_model_alone, &self.skins_alone]
    }

    fn band_table(&self) -> String {
        // Whole per cent of this band or a milder one, less those of the milder ones: what stands here adds up to what stands above.
        let at_most = |o: &OutcomePart, end: usize| Sure::pct(o.bands[..end].iter().map(|b| b.probability).sum());
        let line = |(i, band): (usize, &BandChance)| {
            let cell = |o: &OutcomePart| format!("{:.0} %", at_most(o, i + 1) - at_most(o, i));
            row(&band.name).all(self.outcomes().map(cell))
        };
        heads("band").rows(self.all.bands.iter().enumerate().map(line)).render()
    }

    fn figure_table(&self) -> String {
        let said = |of: Interval, digits| of.values().map(|v| significant(v, digits)).join(" ");
        let index = row("index").all(self.outcomes().map(|o| said(o.index.of, 3)));
        let line = |(i, site): (usize, &SiteSpread)| {
            row(format!("grooves, {}", site.site)).all(self.outcomes().map(|o| said(o.sites[i].ratio, 2)))
        };
        heads("").rows([index]).rows(self.all.sites.iter().enumerate().map(line)).render()
    }

    fn variance_table(&self) -> String {
        if self.variance.is_empty() {
            return String::new();
        }
        let heads = ["input", "of the band, with all it acts with", "of ln index, likewise", "who can know it"];
        let worth = self.variance.iter().filter(|s| most(s) >= WORTH_A_LINE).chain([&self.variance_of_powders]);
        let line = |s: &Share| {
            let who = if s.measurable { "you, by measuring" } else { "nobody" };
            row(&s.input).all([s.of_band.total, s.of_index.total].map(with_error)).and(who)
        };
        Grid::new("lrrl", &heads).rows(worth.map(line)).render()
    }
}

/// The larger of what an input holds of the variance of index and band, with all that it acts with.
pub(super) fn most(share: &Share) -> f64 {
    share.of_index.total.value.max(share.of_band.total.value)
}

/// "12 ± 0.3 %".
fn with_error(Estimate { value, error }: Estimate) -> String {
    if value < 0.005 {
        return "<1 %".to_owned();
    }
    format!("{} ± {} %", whole_pct(value), significant((100.0 * error).max(0.1), 1))
}

fn heads(first: &str) -> Grid {
    Grid::new("lrrrr", &[first, "all drawn", "powders alone", "skin and model", "people's skins"])
}

fn outcome_part(judge: &Judge, outcome: &Outcome) -> OutcomePart {
    let sites = judge.model().sites().iter().zip(&outcome.ratios);
    let band = |(rank, p): (usize, &Estimate)| BandChance {
        name: judge.band_name(rank).to_owned(),
        probability: p.value,
        error: p.error,
    };
    OutcomePart {
        index: IndexSpread { of: outcome.index, over_the_rub: None },
        sites: sites.map(|(site, ratio)| SiteSpread { site: site.name.clone(), ratio: *ratio }).collect(),
        bands: outcome.bands.iter().enumerate().map(band).collect(),
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
    let Measurement { powder, property, made, open_top, ref findings } = *measurement;
    let finding = |f: &FoundValue| FindingPart {
        value: f.value,
        band: judge.band_name(f.rank).to_owned(),
        sure_pct: Sure::pct(f.sure),
        nine_in_ten: judge.band_name(f.nine_in_ten).to_owned(),
    };
    let powder = scrub.blend.components()[powder].powder.name.clone();
    MeasurementPart { powder, property, made, open_top, findings: findings.iter().map(finding).collect() }
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
        let grains = |what: &str| (format!("{what} {name}"), "it confirms a D50 of", " µm");
        let (what, confirm, unit) = match (self.property, self.made) {
            (Measurand::Size, false) => grains("measure the sieve curve of"),
            (Measurand::Size, true) if self.open_top => {
                (format!("sieve {name} again with a coarser sieve on top"), "it confirms a D50 of", " µm")
            }
            (Measurand::Size, true) => grains("repeat the size measurement of"),
            (Measurand::Hardness, _) => (format!("have the grains of {name} indented"), "they confirm", " GPa"),
            (_, false) => (format!("judge the roundness of {name} under a microscope"), "fifty grains confirm", ""),
            (_, true) => (format!("judge the roundness of {name} on more grains than were judged"), "they confirm", ""),
        };
        let outcomes = self.findings.iter().enumerate().map(|(i, f)| {
            let confirm = if i == 0 { format!("{confirm} ") } else { String::new() };
            format!("if {confirm}{}{unit}: {}, {:.0} of 100 sure", two(f.value), f.band, f.sure_pct)
        });
        format!("{what}: {}", joined(outcomes, "; "))
    }
}

/// What the maker can do, the most useful first, and what nobody can.
fn advice(
    judge: &Judge,
    stated: usize,
    confidence: &Confidence,
    measurements: &[MeasurementPart],
    bought: &[BoughtPart],
) -> Vec<String> {
    let mut advice = Vec::new();
    let band = judge.band_name(stated);
    let likeliest = confidence.all.bands.iter().enumerate().max_by(|a, b| a.1.value.total_cmp(&b.1.value));
    if let Some((rank, p)) = likeliest.filter(|(rank, _)| *rank != stated) {
        let (likely, pct) = (judge.band_name(rank), whole_pct(p.value));
        advice.push(format!("more draws land in {likely} ({pct} %) than in {band}, where the stated values put it"));
    }
    let harsher = |of: &Outcome| of.bands[stated + 1..].iter().map(|b| b.value).sum::<f64>();
    let [of_powders, on_skins] = [&confidence.powders, &confidence.skins].map(harsher);
    if of_powders > WORTH_A_WORD {
        let pct = whole_pct(of_powders);
        advice.push(format!(
            "with skin and model as stated, the powders alone may make it harsher than {band}: {pct} % of the draws"
        ));
    }
    if on_skins > WORTH_A_WORD {
        advice.push(format!(
            "on skin softer or thinner than stated, or rubbed harder, it goes beyond what {band} allows: {} % of the skins drawn; as every \
             scrub of the trade does there, this is no part of how sure the band is",
            whole_pct(on_skins)
        ));
    }
    if confidence.hardly_rubs() {
        advice.push("next to no draw has a grain that touches: there is nothing to measure more closely".to_owned());
        return advice;
    }
    advice.extend(bought.iter().map(BoughtPart::sentence));
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
    if from_powders < WORTH_FOR_THE_BAND {
        return format!(
            "no measurement of the powders makes the band much surer: they hold {share} of its variance (of its rank), the \
             rest lies in how skin and model set groove ratio and index"
        );
    }
    format!(
        "knowing the powders exactly would take away {share} of the variance of the band (of its rank); the rest stays with skin \
         and model"
    )
}

/// How the maker's own sieves are drawn.
fn sieved_note(tables: &Tables) -> String {
    format!(
        "A powder that you sieve is drawn as it was before; each sieve is taken to cut sharply at a size between {} % of its opening \
         (near-mesh grains that stay on it) and the largest opening that ISO 3310-1 lets it have (gritwise tables sieving).",
        trimmed(100.0 * tables.sieving.near_mesh_least.min(1.0), 3)
    )
}

fn notes(on_skin: &OnSkin, confidence: &Confidence, tables: &Tables) -> Vec<String> {
    let sampling = confidence.sampling;
    let drawn = if on_skin.jar_dissolves() { "; what the jar dissolves is not drawn" } else { "" };
    let jar = in_the_jar(on_skin).into_iter().map(|said| format!("{said}{drawn}."));
    let weighed = on_skin.weighed.scrub.blend.components();
    let sieved = weighed.iter().any(|c| c.powder.size.sieved.is_some()).then(|| sieved_note(tables));
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
    jar.chain(sieved).chain(general).collect()
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
