//! The result of `gritwise panel`, and the score that a calibration expects.

mod text;

use super::cautions::of_dissolving;
use crate::blend::Scrub;
use crate::formula::OverTheRub;
use crate::numerics::rank::{Concordance, RankTest};
use crate::panel::{
    CONFIDENCE, Calibration, DayFinding, Days, Findings, Fitted, LEAST_INDEX, Outlier, Panel, PanellistFinding,
    Posterior, PowerLaw, Prior, ScrubFinding, Standing, Tested, Wanted,
};
use crate::tables::Tables;
use serde::Serialize;

/// A panel held against the index. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PanelReport {
    /// `calibrated`, `unrelated` (the scores do not rise with the index beyond doubt), `falling` or `too-few`.
    pub status: &'static str,
    /// Why nothing can be concluded; empty otherwise.
    pub too_few: Vec<String>,
    /// `power` or `ordinal`; absent with too few data.
    pub law: Option<&'static str>,
    /// Why the power law does not fit these scores, when it does not.
    pub why_ordinal: Option<String>,
    /// The exponent of the power law.
    pub exponent: Option<IntervalPart>,
    /// The rise of the logit per unit of ln index, of the ordinal law.
    pub ordinal_slope: Option<OrdinalPart>,
    /// Degrees of freedom of the exponent.
    pub degrees_of_freedom: Option<f64>,
    /// Standard deviation of the scrubs about the power law, and of single scores, of ln score.
    pub spread: Option<SpreadPart>,
    /// Share of the scatter between scrubs that the fit explains.
    pub r2: Option<f64>,
    /// Spearman's rank correlation of index and panel score.
    pub spearman: Option<SpearmanPart>,
    /// Kendall's.
    pub kendall: Option<KendallPart>,
    /// How far the panel's score lies from what the other scrubs foretell, root mean square, points of the scale.
    pub left_out_error: Option<f64>,
    /// Whether the panel ranks the scrubs as the index does, none level with another.
    pub same_order: bool,
    /// Pairs that the panel ranks the other way round, beyond noise.
    pub swapped: Vec<SwapPart>,
    /// Pairs that stand the other way round by no more than noise, or have one score.
    pub level: Vec<LevelPart>,
    /// How far the panellists agree.
    pub agreement: Option<AgreementPart>,
    /// The scale of the scores.
    pub scale: [f64; 2],
    /// Number of scores.
    pub scores: usize,
    /// Every scrub, by rising index.
    pub scrubs: Vec<PanelScrub>,
    /// Every panellist.
    #[serde(rename = "tasters")]
    pub panellists: Vec<Named<PanellistFinding>>,
    /// How days were taken out: `within-tasters` (each panellist has a level on each day), `beside-tasters` (each panellist has a level, and
    /// each day) or `with-tasters` (every panellist came on one day only); absent where no days were noted, or one.
    pub days_taken_out: Option<Days>,
    /// Every day that was noted.
    pub days: Vec<Named<DayFinding>>,
    /// Scores that stand apart.
    pub outliers: Vec<OutlierPart>,
    /// Quantities of the model, estimated.
    pub estimates: Vec<EstimatePart>,
    /// What this is and is not.
    pub note: &'static str,
    /// Cautions for panels of people.
    pub cautions: Vec<String>,
}

/// A value with its interval.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct IntervalPart {
    /// The value.
    pub value: f64,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Confidence of the interval, 0..1.
    pub confidence: f64,
}

/// The slope of the ordinal law.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OrdinalPart {
    /// Rise of the logit per unit of ln index.
    pub value: f64,
    /// Whether the scores separate the scrubs so well that the prior alone keeps it finite.
    pub held_by_prior: bool,
}

/// Spread of the scores about the power law.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpreadPart {
    /// Of the scrubs.
    pub scrub_sd_ln: f64,
    /// Of single scores.
    pub score_sd_ln: f64,
}

/// Spearman's rho.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SpearmanPart {
    /// Coefficient.
    pub rho: f64,
    /// Two-sided p-value.
    pub p: f64,
    /// Whether it counts all orders.
    pub exact: bool,
}

/// Kendall's tau-b.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct KendallPart {
    /// Coefficient.
    pub tau: f64,
    /// Two-sided p-value.
    pub p: f64,
    /// Whether it counts all orders.
    pub exact: bool,
}

/// Two scrubs that the panel ranks the other way round.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SwapPart {
    /// The harsher by the index.
    pub harsher_by_index: String,
    /// The harsher by the panel.
    pub harsher_by_panel: String,
}

/// Two scrubs that the panel does not tell apart.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LevelPart {
    /// The milder by the index.
    pub milder_by_index: String,
    /// The harsher by the index.
    pub harsher_by_index: String,
}

/// Kendall's coefficient of concordance.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct AgreementPart {
    /// W, and its p-value against no agreement.
    #[serde(flatten)]
    pub of: Concordance,
    /// Panellists who scored every scrub.
    #[serde(rename = "tasters")]
    pub panellists: usize,
}

/// One scrub.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PanelScrub {
    /// Name and abrasiveness index.
    #[serde(flatten)]
    pub tested: Tested,
    /// What was found of it.
    #[serde(flatten)]
    pub found: ScrubFinding,
    /// Index over the whole rub, as grains dissolve; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub over_the_rub: Option<OverTheRub>,
}

/// A panellist or a day, by name.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Named<T> {
    /// Name.
    pub name: String,
    /// What was found.
    #[serde(flatten)]
    pub found: T,
}

impl<T: Clone> Named<T> {
    fn all(names: &[String], found: &[T]) -> Vec<Self> {
        let both = names.iter().cloned().zip(found.iter().cloned());
        both.map(|(name, found)| Self { name, found }).collect()
    }
}

/// A score that stands apart.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OutlierPart {
    /// The panellist.
    #[serde(rename = "taster")]
    pub panellist: String,
    /// The scrub.
    pub scrub: String,
    /// The score.
    pub score: f64,
    /// Externally studentised residual.
    pub studentised: f64,
}

/// A quantity of the model.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EstimatePart {
    /// `edge_ratio` or `roundness`.
    pub quantity: &'static str,
    /// The powder, if it is about one.
    pub powder: Option<String>,
    /// Value in force, and its range.
    pub prior: [f64; 3],
    /// Posterior mean.
    pub value: f64,
    /// 5 % of the posterior lies below.
    pub p5: f64,
    /// 95 %.
    pub p95: f64,
    /// Likeliest value.
    pub likeliest: f64,
    /// Width of the posterior over that of the prior.
    pub narrowed: f64,
    /// Whether the panel says anything that the range did not.
    pub moved: bool,
}

/// The score that a calibration expects of a scrub.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ExpectedScore {
    /// The panel's score.
    #[serde(flatten)]
    pub score: IntervalPart,
    /// Low end of the scale.
    pub scale_low: f64,
    /// Top of the scale.
    pub scale_top: f64,
    /// Whether the index lies outside what the panel scored.
    pub beyond: bool,
    /// Whether next to no grain touches, so that there is nothing to score.
    pub nothing_touches: bool,
    /// Where it comes from.
    pub note: String,
}

const NOTE: &str = "The index is a model, not a clinical measure, and a score is a feel on a scale: neither measures harm. What \
     this panel found holds for its tasters, its scale and its way of rubbing.";

impl IntervalPart {
    fn new(value: f64, (low, high): (f64, f64)) -> Self {
        Self { value, low, high, confidence: CONFIDENCE }
    }
}

impl ExpectedScore {
    /// Of a scrub of this index.
    pub fn new(calibration: &Calibration, index: f64) -> Self {
        let expected = calibration.expected(index);
        let Calibration { panellists, scrubs, source, index_range: (least, most), .. } = calibration;
        let reach =
            expected.beyond.then(|| format!("; the index lies beyond the {least:.3} to {most:.3} that were scored"));
        Self {
            score: IntervalPart::new(expected.score, (expected.low, expected.high)),
            scale_low: calibration.scale.low,
            scale_top: calibration.scale.top,
            beyond: expected.beyond,
            nothing_touches: index < LEAST_INDEX,
            note: format!(
                "mean of {panellists} tasters who scored {scrubs} scrubs ({source}){}",
                reach.unwrap_or_default()
            ),
        }
    }
}

impl PanelReport {
    /// Reports what was found of the scores of these scrubs, each with its index over the rub.
    pub fn new(
        panel: &Panel,
        scrubs: &[Scrub],
        over_the_rub: &[Option<OverTheRub>],
        found: &Findings,
        estimates: &[(&Wanted, Prior, Posterior)],
        tables: &Tables,
    ) -> Self {
        let of_panels = tables.cautions.iter().filter(|c| c.trigger == "panel").map(|c| c.text.clone());
        let scrub = |i: usize| PanelScrub {
            tested: panel.scrubs[i].clone(),
            found: found.scrubs[i].clone(),
            over_the_rub: over_the_rub[i],
        };
        let (status, too_few) = match &found.standing {
            Standing::TooFew(reasons) => ("too-few", reasons.clone()),
            Standing::Unrelated => ("unrelated", Vec::new()),
            Standing::Falling => ("falling", Vec::new()),
            Standing::Calibrated => ("calibrated", Vec::new()),
        };
        let (law, power, ordinal) = match &found.fitted {
            None => (None, None, None),
            Some(Fitted::Power(p)) => (Some("power"), Some(p), None),
            Some(Fitted::Ordinal { model, prior_holds, why, .. }) => {
                let slope = OrdinalPart { value: model.slope, held_by_prior: *prior_holds };
                (Some("ordinal"), None, Some((slope, why.clone())))
            }
        };
        let spread =
            |p: &PowerLaw| SpreadPart { scrub_sd_ln: p.trend.group_var.sqrt(), score_sd_ln: p.trend.noise_var.sqrt() };
        let name = |i: usize| panel.scrubs[i].name.clone();
        let swap = |&(i, j): &(usize, usize)| SwapPart { harsher_by_index: name(j), harsher_by_panel: name(i) };
        let outlier = |o: &Outlier| OutlierPart {
            panellist: panel.panellists[o.panellist].clone(),
            scrub: name(o.scrub),
            score: o.score,
            studentised: o.studentised,
        };
        let level = |&(i, j): &(usize, usize)| LevelPart { milder_by_index: name(i), harsher_by_index: name(j) };
        let mut order: Vec<usize> = (0..panel.scrubs.len()).collect();
        order.sort_by(|a, b| panel.scrubs[*a].index.total_cmp(&panel.scrubs[*b].index));
        Self {
            status,
            too_few,
            law,
            why_ordinal: ordinal.as_ref().map(|(_, why)| why.clone()),
            exponent: power.map(|p| IntervalPart::new(p.trend.slope, p.interval)),
            ordinal_slope: ordinal.map(|(slope, _)| slope),
            degrees_of_freedom: power.map(|p| p.trend.df),
            spread: power.map(spread),
            r2: found.r2,
            spearman: found.spearman.map(|RankTest { value, p, exact }| SpearmanPart { rho: value, p, exact }),
            kendall: found.kendall.map(|RankTest { value, p, exact }| KendallPart { tau: value, p, exact }),
            left_out_error: found.left_out_error,
            same_order: found.swapped.is_empty() && found.level.is_empty(),
            swapped: found.swapped.iter().map(swap).collect(),
            level: found.level.iter().map(level).collect(),
            agreement: found.concordance.map(|(of, panellists)| AgreementPart { of, panellists }),
            scale: [panel.scale.low, panel.scale.top],
            scores: panel.scores.len(),
            scrubs: order.into_iter().map(scrub).collect(),
            panellists: Named::all(&panel.panellists, &found.panellists),
            days_taken_out: Some(found.taken_out).filter(|days| *days != Days::None),
            days: Named::all(&panel.days, &found.days),
            outliers: found.outliers.iter().map(outlier).collect(),
            estimates: estimates.iter().map(|(w, p, e)| estimate_part(w, p, e)).collect(),
            note: NOTE,
            cautions: of_dissolving(scrubs, tables).into_iter().chain(of_panels).collect(),
        }
    }
}

fn estimate_part(wanted: &Wanted, prior: &Prior, e: &Posterior) -> EstimatePart {
    let (quantity, powder) = match wanted {
        Wanted::EdgeRatio => ("edge_ratio", None),
        Wanted::Roundness(name) => ("roundness", Some(name.clone())),
    };
    EstimatePart {
        quantity,
        powder,
        prior: [prior.value, prior.low, prior.high],
        value: e.mean,
        p5: e.low,
        p95: e.high,
        likeliest: e.mode,
        narrowed: e.narrowed,
        moved: e.speaks(),
    }
}
