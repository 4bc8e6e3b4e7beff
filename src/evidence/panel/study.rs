//! A panel's scores prepared, fitted and held against the fit.
//!
//! The power law is fitted as ln score = taster + n ln index + deviation of the scrub + noise: each taster has a level of their
//! own, which centres the scores within the taster; the scrubs' deviations are random, with variances by restricted maximum
//! likelihood, so that the degrees of freedom of the exponent are scrubs less two, however many tasters there are.

use super::analysis::{Fitted, Outlier, PowerLaw, ScrubFinding, TasterFinding};
use super::calibration::{Calibration, Law};
use super::{CONFIDENCE, FEWEST_SCRUBS, FEWEST_TASTERS, Panel};
use crate::numerics::mixed::{Cell, Layout};
use crate::numerics::ordinal::{self, CumulativeLogit, Rating};
use crate::numerics::rank::{Concordance, concordance, spearman};
use crate::numerics::student::{self, Sample};

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
    pub layout: Layout,
    cells: Vec<Cell>,
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
        let mut cells: Vec<Cell> = Vec::new();
        // Scores of one taster for one scrub on several days count as one: their mean.
        let (scrubs, tasters) = (panel.scrubs.len(), panel.tasters.len());
        let mut sums = vec![(0.0, 0.0); scrubs * tasters];
        for s in &panel.scores {
            let sum = &mut sums[s.taster * scrubs + s.scrub];
            *sum = (sum.0 + value(s.score), sum.1 + 1.0);
        }
        for (i, (sum, n)) in sums.iter().enumerate().filter(|(_, s)| s.1 > 0.0) {
            cells.push(Cell { block: i / scrubs, group: i % scrubs, value: sum / n });
        }
        let layout = Layout::new(cells.clone(), tasters, scrubs);
        let x = panel.scrubs.iter().map(|s| s.index.ln()).collect();
        let step = (panel.scale.top - panel.scale.low) / MOST_CATEGORIES as f64;
        let step = (distinct(panel) > MOST_CATEGORIES).then_some(step);
        Self { panel, x, why_ordinal, layout, cells, step }
    }

    pub fn is_power(&self) -> bool {
        self.why_ordinal.is_none()
    }

    /// What there is too little of.
    pub fn too_few(&self) -> Vec<String> {
        let mut indices = self.x.clone();
        indices.sort_by(f64::total_cmp);
        indices.dedup_by(|a, b| (*a - *b).abs() < 1e-9);
        let scored = |t: usize| self.cells.iter().filter(|c| c.block == t).count();
        let tasters = (0..self.panel.tasters.len()).filter(|t| scored(*t) > 1).count();
        let mut reasons = Vec::new();
        if indices.len() < FEWEST_SCRUBS {
            let n = indices.len();
            reasons.push(format!("scrubs of different index: {n}, at least {FEWEST_SCRUBS} needed"));
        }
        if tasters < FEWEST_TASTERS {
            reasons.push(format!("tasters who scored two scrubs or more: {tasters}, at least {FEWEST_TASTERS} needed"));
        }
        if distinct(self.panel) == 1 {
            reasons.push("all scores are the same".to_owned());
        }
        if reasons.is_empty() && !self.layout.is_connected() {
            reasons.push(
                "some scrubs share no taster with the others, so that their scores cannot be compared".to_owned(),
            );
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
            Rating { block: s.taster, x: self.x[s.scrub], category }
        };
        (kept.iter().map(rating).collect(), scores)
    }

    /// Whether the tasters who scored both of two scrubs tell them apart: paired t, for one of `pairs` comparisons.
    pub fn tells_apart(&self, (a, b): (usize, usize), pairs: usize) -> bool {
        let own = |taster: usize, scrub: usize| self.cells.iter().find(|c| c.block == taster && c.group == scrub);
        let steps = (0..self.panel.tasters.len()).filter_map(|t| Some(own(t, a)?.value - own(t, b)?.value));
        let steps = Sample::of(&steps.collect::<Vec<_>>());
        let confidence = 1.0 - (1.0 - CONFIDENCE) / pairs as f64;
        steps.half_width(confidence).is_some_and(|half| steps.mean.abs() > half)
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

    pub fn taster_findings(&self, means: &[f64], concluded: bool) -> Vec<TasterFinding> {
        let one = |t: usize| {
            let own: Vec<&Cell> = self.cells.iter().filter(|c| c.block == t).collect();
            let off = own.iter().map(|c| c.value - means[c.group]).sum::<f64>() / own.len().max(1) as f64;
            let (x, y): (Vec<f64>, Vec<f64>) = own.iter().map(|c| (self.x[c.group], c.value)).unzip();
            TasterFinding {
                scores: self.panel.scores.iter().filter(|s| s.taster == t).count(),
                level: concluded.then(|| if self.is_power() { off.exp() } else { off }),
                rho: spearman(&x, &y).filter(|_| concluded).map(|r| r.value),
            }
        };
        (0..self.panel.tasters.len()).map(one).collect()
    }

    pub fn concordance(&self) -> Option<(Concordance, usize)> {
        let n = self.x.len();
        // Cells stand by taster, and within one by scrub.
        let full = self.cells.chunk_by(|a, b| a.block == b.block).filter(|row| row.len() == n);
        let rows: Vec<Vec<f64>> = full.map(|row| row.iter().map(|c| c.value).collect()).collect();
        concordance(&rows).map(|w| (w, rows.len()))
    }

    pub fn outliers(&self) -> Vec<Outlier> {
        let Some((residuals, df)) = self.layout.studentised() else { return Vec::new() };
        let n = residuals.len();
        let apart = self.cells.iter().zip(residuals).filter(|(_, t)| stands_apart(*t, df, n));
        apart
            .map(|(c, studentised)| Outlier {
                scrub: c.group,
                taster: c.block,
                score: if self.is_power() { c.value.exp() } else { c.value },
                studentised,
            })
            .collect()
    }

    pub fn calibration(&self, fit: &Fit, error_points: f64, source: &str) -> Calibration {
        let ends = |f: fn(f64, f64) -> f64, from: f64| self.panel.scrubs.iter().map(|s| s.index).fold(from, f);
        let tasters = self.panel.tasters.len();
        let law = match &fit.fitted {
            Fitted::Power(PowerLaw { trend, .. }) => Law::Power {
                exponent: trend.slope,
                exponent_se: trend.slope_se,
                centre_index: trend.centre.0.exp(),
                centre_score: trend.centre.1.exp(),
                level_sd: trend.centre_var.sqrt(),
                scrub_sd: (trend.group_var + trend.noise_var / tasters as f64).sqrt(),
            },
            Fitted::Ordinal { model, scores, .. } => {
                Law::Ordinal { model: model.clone(), scores: scores.clone(), error_points }
            }
        };
        Calibration {
            source: source.to_owned(),
            scale: self.panel.scale,
            index_range: (ends(f64::min, f64::INFINITY), ends(f64::max, 0.0)),
            scrubs: self.panel.scrubs.len(),
            tasters,
            df: fit.df,
            law,
        }
    }
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
pub(super) fn power_layout(panel: &Panel) -> Option<Layout> {
    let study = Study::new(panel);
    (study.is_power() && study.too_few().is_empty()).then_some(study.layout)
}
