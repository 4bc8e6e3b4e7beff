//! A panel's scores prepared, fitted and held against the fit.
//!
//! The power law is fitted as ln score = panellist + n ln index + deviation of the scrub + noise: each panellist has a level of their
//! own, which centres the scores within the panellist; the scrubs' deviations are random, with variances by restricted maximum
//! likelihood, so that the degrees of freedom of the exponent are scrubs less two, however many panellists there are.
//!
//! Where days are noted, every panellist has a level on every day. People use a scale anew each session (ISO 11132 has panels watched
//! for just that), so that a level for a day common to all would leave each one's own drift in the noise, and in the exponent where
//! harsh and mild scrubs came on different days. What that costs is the comparison of scrubs across a panellist's days; where a design
//! needs it to hold the scrubs together, as a Latin square of one scrub a day does, panellist and day stand side by side instead. The
//! design alone decides, not the scores.

use super::calibration::{Calibration, ScoreLaw};
use super::findings::{DayFinding, Days, Fitted, Outlier, PanellistFinding, PowerLaw, ScrubFinding};
use super::{CONFIDENCE, FEWEST_PANELLISTS, FEWEST_SCRUBS, Panel};
use crate::numerics::mixed::{MixedLayout, Observation};
use crate::numerics::ordinal::{self, CumulativeLogit, Rating};
use crate::numerics::rank::{Concordance, concordance, spearman};
use crate::numerics::student::{self, Sample};
use std::collections::BTreeMap;

/// Scores at the top from which the scale is taken to cut them off, as a share (convention).
const MUCH_AT_THE_TOP: f64 = 0.1;
/// Fewest different scores for which ratios mean anything (convention).
const FEWEST_SCORES: usize = 5;
/// Most categories of the ordinal model; more scores than this are put on so many even steps.
const MOST_CATEGORIES: usize = 20;

/// A panel prepared for analysis.
pub(super) struct Study<'a> {
    panel: &'a Panel,
    /// ln index of every scrub.
    x: Vec<f64>,
    /// Why the power law does not fit these scores.
    why_ordinal: Option<String>,
    pub layout: MixedLayout,
    cells: Vec<Observation>,
    /// Panellist and day of every cell.
    who: Vec<(usize, usize)>,
    pub days: Days,
    /// What can be compared of every cell: its value, freed from the day where days count.
    comparable: Vec<f64>,
    /// Step that scores are put on for the ordinal model; `None` where there are few enough different ones.
    step: Option<f64>,
}

/// A fit and the score that it foretells each scrub from the others, with the studentised residual.
pub(super) struct Fit {
    pub fitted: Fitted,
    pub r2: f64,
    df: f64,
    expected: Vec<f64>,
    foretold: Vec<Option<Foretold>>,
}

/// A scrub's score as the others foretell it, and the externally studentised residual with its degrees of freedom.
#[derive(Clone, Copy)]
struct Foretold {
    score: f64,
    residual: Option<(f64, f64)>,
}

impl<'a> Study<'a> {
    pub fn new(panel: &'a Panel) -> Self {
        let why_ordinal = why_ordinal(panel);
        let value = |s: f64| if why_ordinal.is_none() { s.ln() } else { s };
        let many = panel.days.len() > 1;
        // Scores of one panellist for one scrub on one day, or on days that were not noted, count as one: their mean.
        let mut sums: BTreeMap<(usize, usize, usize), (f64, f64)> = BTreeMap::new();
        for s in &panel.scores {
            let sum = sums.entry((s.panellist, if many { s.day } else { 0 }, s.scrub)).or_insert((0.0, 0.0));
            *sum = (sum.0 + value(s.score), sum.1 + 1.0);
        }
        let who: Vec<(usize, usize)> = sums.keys().map(|k| (k.0, k.1)).collect();
        let cell = |(k, (sum, n)): (&(usize, usize, usize), &(f64, f64))| Observation {
            block: k.0,
            group: k.2,
            value: sum / n,
        };
        let cells: Vec<Observation> = sums.iter().map(cell).collect();
        let (days, layout) = laid_out(panel, &cells, &who);
        let values = || cells.iter().map(|c| c.value).collect();
        let comparable = if matches!(days, Days::None | Days::WithPanellists) { values() } else { layout.freed() };
        let x = panel.scrubs.iter().map(|s| s.index.ln()).collect();
        let step = (panel.scale.top - panel.scale.low) / MOST_CATEGORIES as f64;
        let step = (distinct(panel) > MOST_CATEGORIES).then_some(step);
        Self { panel, x, why_ordinal, layout, cells, who, days, comparable, step }
    }

    pub fn is_power(&self) -> bool {
        self.why_ordinal.is_none()
    }

    /// What there is too little of.
    pub fn too_few(&self) -> Vec<String> {
        let mut indices = self.x.clone();
        indices.sort_by(f64::total_cmp);
        indices.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
        let scored = |t: usize| (0..self.x.len()).filter(|s| self.own(t, *s).is_some()).count();
        let panellists = (0..self.panel.panellists.len()).filter(|t| scored(*t) > 1).count();
        let mut reasons = Vec::new();
        if indices.len() < FEWEST_SCRUBS {
            let n = indices.len();
            reasons.push(format!("scrubs of different index: {n}, at least {FEWEST_SCRUBS} needed"));
        }
        if panellists < FEWEST_PANELLISTS {
            reasons.push(format!(
                "tasters who scored two scrubs or more: {panellists}, at least {FEWEST_PANELLISTS} needed"
            ));
        }
        if distinct(self.panel) == 1 {
            reasons.push("all scores are the same".to_owned());
        }
        if reasons.is_empty() && !self.layout.is_connected() {
            let (panellists, scrubs) = (self.panel.panellists.len(), self.panel.scrubs.len());
            let apart = !MixedLayout::new(self.cells.clone(), panellists, scrubs).is_connected();
            let reason = if apart {
                "some scrubs share no taster with the others, so that their scores cannot be compared"
            } else {
                "some scrubs came on days of their own, so that a day cannot be told from its scrubs; give one scrub at \
                     least on every day"
            };
            reasons.push(reason.to_owned());
        }
        reasons
    }

    pub fn fit(&self) -> Option<Fit> {
        match &self.why_ordinal {
            None => self.fit_power(),
            Some(why) => self.fit_ordinal(why),
        }
    }

    fn fit_power(&self) -> Option<Fit> {
        let trend = self.layout.trend(&self.x)?;
        let reach = student::quantile(0.5 + 0.5 * CONFIDENCE, trend.df) * trend.slope_se;
        let interval = (trend.slope - reach, trend.slope + reach);
        let means = self.layout.group_means();
        let foretold = (0..self.x.len()).map(|i| {
            let shift = self.layout.shift(&self.x, i)?;
            let score = (means[i] - shift.off).exp().min(self.panel.scale.top);
            Some(Foretold { score, residual: (shift.se > 0.0).then(|| (shift.off / shift.se, shift.df)) })
        });
        Some(Fit {
            fitted: Fitted::Power(PowerLaw { trend, interval }),
            r2: trend.r2,
            df: trend.df,
            expected: self.x.iter().map(|x| trend.at(*x).exp().min(self.panel.scale.top)).collect(),
            foretold: foretold.collect(),
        })
    }

    fn fit_ordinal(&self, why: &str) -> Option<Fit> {
        let (ratings, scores) = self.ratings_without(None);
        let model = ordinal::fit(&ratings)?;
        let foretold = self.x.iter().enumerate().map(|(i, x)| {
            let (ratings, scores) = self.ratings_without(Some(i));
            Some(Foretold { score: mean_score(&ordinal::fit(&ratings)?, &scores, *x), residual: None })
        });
        Some(Fit {
            expected: self.x.iter().map(|x| mean_score(&model, &scores, *x)).collect(),
            foretold: foretold.collect(),
            r2: 0.0,
            df: self.x.len() as f64 - 2.0,
            fitted: Fitted::Ordinal {
                prior_holds: ordinal::prior_holds(&ratings, &model),
                model,
                scores,
                why: why.to_owned(),
            },
        })
    }

    /// The ratings without those of one scrub, and the score of each category.
    fn ratings_without(&self, left_out: Option<usize>) -> (Vec<Rating>, Vec<f64>) {
        let kept: Vec<_> = self.panel.scores.iter().filter(|s| Some(s.scrub) != left_out).collect();
        let mut scores: Vec<f64> = kept.iter().map(|s| self.on_steps(s.score)).collect();
        scores.sort_by(f64::total_cmp);
        scores.dedup();
        let rating = |s: &&super::Score| {
            let category = scores.partition_point(|c| *c < self.on_steps(s.score));
            let day = if matches!(self.days, Days::WithinPanellists | Days::BesidePanellists) { s.day } else { 0 };
            // A panellist's days are blocks of their own where the layout has them so.
            let session = if self.days == Days::WithinPanellists { s.day } else { 0 };
            let block = s.panellist * self.panel.days.len().max(1) + session;
            Rating { block, day, x: self.x[s.scrub], category }
        };
        (kept.iter().map(rating).collect(), scores)
    }

    /// Whether the panellists who scored both of two scrubs tell them apart: paired t, for one of `pairs` comparisons.
    pub fn tells_apart(&self, (a, b): (usize, usize), pairs: usize) -> bool {
        let steps = (0..self.panel.panellists.len()).filter_map(|t| Some(self.own(t, a)? - self.own(t, b)?));
        let steps = Sample::of(&steps.collect::<Vec<_>>());
        let confidence = 1.0 - (1.0 - CONFIDENCE) / pairs as f64;
        steps.half_width(confidence).is_some_and(|half| steps.mean.abs() > half)
    }

    /// What a panellist thinks of a scrub, the mean over days.
    fn own(&self, panellist: usize, scrub: usize) -> Option<f64> {
        let of = |i: &usize| self.who[*i].0 == panellist && self.cells[*i].group == scrub;
        let values: Vec<f64> = (0..self.cells.len()).filter(of).map(|i| self.comparable[i]).collect();
        (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
    }

    /// Every day's level against the mean of all days, panellists and scrubs swept out; `None` where that cannot be told.
    fn day_levels(&self) -> Option<Vec<f64>> {
        let count = self.panel.days.len();
        let days = self.cells.iter().zip(&self.who).map(|(c, w)| Observation { group: w.1, ..*c });
        let scrubs: Vec<usize> = self.cells.iter().map(|c| c.group).collect();
        (count > 1)
            .then(|| MixedLayout::crossed(days.collect(), &scrubs, self.panel.panellists.len(), count).effects())?
    }

    /// A difference of values, as a factor for the power law.
    fn told(&self, off: f64) -> f64 {
        if self.is_power() { off.exp() } else { off }
    }

    pub fn day_findings(&self, concluded: bool) -> Vec<DayFinding> {
        let levels = self.day_levels().filter(|_| concluded);
        let one = |d: usize| DayFinding {
            scores: self.panel.scores.iter().filter(|s| s.day == d).count(),
            level: levels.as_ref().map(|levels| self.told(levels[d])),
        };
        (0..self.panel.days.len()).map(one).collect()
    }

    /// A score, put on even steps when there are too many different ones.
    fn on_steps(&self, score: f64) -> f64 {
        let low = self.panel.scale.low;
        self.step.map_or(score, |step| low + ((score - low) / step).round() * step)
    }

    pub fn scrub_findings(&self, scores: &[f64], fit: Option<&Fit>) -> Vec<ScrubFinding> {
        let n = scores.len();
        let one = |i: usize| {
            let foretold = fit.and_then(|f| f.foretold[i]);
            let residual = foretold.and_then(|f| f.residual);
            ScrubFinding {
                scores: self.panel.scores.iter().filter(|s| s.scrub == i).count(),
                score: scores[i],
                expected: fit.map(|f| f.expected[i]),
                foretold: foretold.map(|f| f.score),
                studentised: residual.map(|r| r.0),
                outlying: residual.is_some_and(|(t, df)| stands_apart(t, df, n)),
            }
        };
        (0..n).map(one).collect()
    }

    pub fn panellist_findings(&self, means: &[f64], concluded: bool) -> Vec<PanellistFinding> {
        let days = self.day_levels();
        let day = |i: usize| days.as_ref().map_or(0.0, |levels| levels[self.who[i].1]);
        let one = |t: usize| {
            let own: Vec<usize> = (0..self.cells.len()).filter(|i| self.who[*i].0 == t).collect();
            let off = own.iter().map(|&i| self.cells[i].value - day(i) - means[self.cells[i].group]).sum::<f64>();
            let felt = (0..self.x.len()).filter_map(|s| Some((self.x[s], self.own(t, s)?)));
            let (x, y): (Vec<f64>, Vec<f64>) = felt.unzip();
            PanellistFinding {
                scores: self.panel.scores.iter().filter(|s| s.panellist == t).count(),
                level: concluded.then(|| self.told(off / own.len().max(1) as f64)),
                rho: spearman(&x, &y).filter(|_| concluded).map(|r| r.value),
            }
        };
        (0..self.panel.panellists.len()).map(one).collect()
    }

    pub fn concordance(&self) -> Option<(Concordance, usize)> {
        let row = |t: usize| (0..self.x.len()).map(|s| self.own(t, s)).collect::<Option<Vec<f64>>>();
        let rows: Vec<Vec<f64>> = (0..self.panel.panellists.len()).filter_map(row).collect();
        concordance(&rows).map(|w| (w, rows.len()))
    }

    pub fn outliers(&self) -> Vec<Outlier> {
        let Some((residuals, df)) = self.layout.studentised() else { return Vec::new() };
        let n = residuals.len();
        let apart = residuals.into_iter().enumerate().filter(|(_, t)| stands_apart(*t, df, n));
        let one = |(i, studentised): (usize, f64)| Outlier {
            scrub: self.cells[i].group,
            panellist: self.who[i].0,
            score: self.told(self.cells[i].value),
            studentised,
        };
        apart.map(one).collect()
    }

    pub fn calibration(&self, fit: &Fit, error_points: f64, source: &str) -> Calibration {
        let ends = |f: fn(f64, f64) -> f64, from: f64| self.panel.scrubs.iter().map(|s| s.index).fold(from, f);
        let panellists = self.panel.panellists.len();
        let law = match &fit.fitted {
            Fitted::Power(PowerLaw { trend, .. }) => ScoreLaw::Power {
                exponent: trend.slope,
                exponent_se: trend.slope_se,
                centre_index: trend.centre.0.exp(),
                centre_score: trend.centre.1.exp(),
                level_sd: trend.centre_var.sqrt(),
                scrub_sd: (trend.group_var + trend.noise_var / panellists as f64).sqrt(),
            },
            Fitted::Ordinal { model, scores, .. } => {
                ScoreLaw::Ordinal { model: model.clone(), scores: scores.clone(), error_points }
            }
        };
        Calibration {
            source: source.to_owned(),
            scale: self.panel.scale,
            index_range: (ends(f64::min, f64::INFINITY), ends(f64::max, 0.0)),
            scrubs: self.panel.scrubs.len(),
            panellists,
            df: fit.df,
            law,
        }
    }
}

/// The layout of the cells, with days taken out where there are any.
fn laid_out(panel: &Panel, cells: &[Observation], who: &[(usize, usize)]) -> (Days, MixedLayout) {
    let (panellists, scrubs) = (panel.panellists.len(), panel.scrubs.len());
    if panel.days.len() < 2 {
        return (Days::None, MixedLayout::new(cells.to_vec(), panellists, scrubs));
    }
    let mut sessions = who.to_vec();
    sessions.dedup();
    let block = |w: &(usize, usize)| sessions.partition_point(|s| s < w);
    let apart = cells.iter().zip(who).map(|(c, w)| Observation { block: block(w), ..*c });
    let within = MixedLayout::new(apart.collect(), sessions.len(), scrubs);
    if sessions.len() == panellists {
        return (Days::WithPanellists, within);
    }
    if within.is_connected() && within.noise_df() > 0.0 {
        return (Days::WithinPanellists, within);
    }
    let days: Vec<usize> = who.iter().map(|w| w.1).collect();
    (Days::BesidePanellists, MixedLayout::crossed(cells.to_vec(), &days, panellists, scrubs))
}

/// Why scores cannot go by a power law, if they cannot.
fn why_ordinal(panel: &Panel) -> Option<String> {
    let (scale, scores) = (panel.scale, &panel.scores);
    let count = |is: &dyn Fn(f64) -> bool| scores.iter().filter(|s| is(s.score)).count();
    let (zeros, tops) = (count(&|s| s <= 0.0), count(&|s| s >= scale.top));
    if scale.low != 0.0 {
        return Some(format!("the scale begins at {}, not at 0, so ratios of scores mean nothing", scale.low));
    }
    if zeros > 0 {
        return Some(format!("{zeros} of {} scores are 0, which no power law reaches", scores.len()));
    }
    if tops as f64 > MUCH_AT_THE_TOP * scores.len() as f64 {
        return Some(format!("{tops} of {} scores stand at the top of the scale, which cuts them off", scores.len()));
    }
    let different = distinct(panel);
    (different < FEWEST_SCORES).then(|| format!("there are only {different} different scores"))
}

fn distinct(panel: &Panel) -> usize {
    let mut scores: Vec<f64> = panel.scores.iter().map(|s| s.score).collect();
    scores.sort_by(f64::total_cmp);
    scores.dedup();
    scores.len()
}

fn mean_score(model: &CumulativeLogit, scores: &[f64], x: f64) -> f64 {
    model.chances(x).iter().zip(scores).map(|(p, s)| p * s).sum()
}

/// Whether a studentised residual is beyond chance when there are `n` of them (Bonferroni).
fn stands_apart(t: f64, df: f64, n: usize) -> bool {
    student::two_sided(t, df) * n as f64 <= 1.0 - CONFIDENCE
}

/// The layout of ln score, if the scores can go by a power law.
pub(super) fn power_layout(panel: &Panel) -> Option<MixedLayout> {
    let study = Study::new(panel);
    (study.is_power() && study.too_few().is_empty()).then_some(study.layout)
}
