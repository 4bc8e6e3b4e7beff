//! Ordered categories that move with x: the cumulative logit model (P. McCullagh, *J. R. Statist. Soc. B* 42 (1980) 109) with
//! a normal random effect per block,
//!
//! ```text
//! P(category ≤ k) = 1 / (1 + exp(slope · x + day + u − threshold_k)),   u ~ N(0, σ²) for each block
//! ```
//!
//! fitted by maximum likelihood, u integrated out. Days are fixed, where there are any. Weak normal priors on slope · (spread of x),
//! on every day and on σ keep all finite when the categories separate perfectly.

use super::minimise::bfgs;
use super::normal;

/// One rating.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rating {
    /// Its block, from 0.
    pub block: usize,
    /// The day, from 0; 0 for all where days do not count.
    pub day: usize,
    /// Where it was given.
    pub x: f64,
    /// The category, from 0.
    pub category: usize,
}

/// The fitted model.
#[derive(Debug, Clone, PartialEq)]
pub struct CumulativeLogit {
    /// One fewer than categories, rising; for the mean of all days.
    pub thresholds: Vec<f64>,
    /// Rise of the logit per unit of x.
    pub slope: f64,
    /// Standard deviation of the blocks, in logits.
    pub block_sd: f64,
    /// Log-likelihood, without the priors.
    pub log_likelihood: f64,
}

/// Standard deviation of the prior on the slope per standard deviation of x and on a day less the first, and of that on σ (convention:
/// wide).
const SLOPE_PRIOR: f64 = 5.0;
const BLOCK_PRIOR: f64 = 3.0;

/// Values of the standard normal over which a random effect is summed. The trapezoidal rule converges faster than any power
/// on such an integrand; at this step it is exact to twelve digits for σ below 3.
const STEP: f64 = 0.25;
const HALF_STEPS: i32 = 26;

fn nodes() -> impl Iterator<Item = (f64, f64)> {
    (-HALF_STEPS..=HALF_STEPS).map(|i| {
        let z = STEP * f64::from(i);
        (z, STEP * normal::pdf(z))
    })
}

fn logistic(v: f64) -> f64 {
    1.0 / (1.0 + (-v).exp())
}

/// By how much the slope moves, as a share, when all priors are made so many times as wide, from which on they hold it
/// (convention).
const HELD: f64 = 0.1;
const WIDER: f64 = 2.0;

/// Fits the model; every category from 0 to the highest must be there. `None` with fewer than two categories or when x does
/// not vary.
pub fn fit(ratings: &[Rating]) -> Option<CumulativeLogit> {
    fit_with(ratings, 1.0)
}

/// Whether nothing but the priors keeps the slope of a fit finite, or nearly so: the categories separate along x.
pub fn prior_holds(ratings: &[Rating], fit: &CumulativeLogit) -> bool {
    fit_with(ratings, WIDER).is_some_and(|wider| (wider.slope / fit.slope - 1.0).abs() > HELD)
}

fn fit_with(ratings: &[Rating], width: f64) -> Option<CumulativeLogit> {
    let categories = ratings.iter().map(|r| r.category).max()? + 1;
    let n = ratings.len() as f64;
    let mean = ratings.iter().map(|r| r.x).sum::<f64>() / n;
    let spread = (ratings.iter().map(|r| (r.x - mean).powi(2)).sum::<f64>() / n).sqrt();
    if categories < 2 || spread <= 1e-12 * (1.0 + mean.abs()) {
        return None;
    }
    let mut scaled: Vec<Rating> = ratings.iter().map(|r| Rating { x: (r.x - mean) / spread, ..*r }).collect();
    scaled.sort_by_key(|r| r.block);
    // Thresholds from the shares in all, slope 0, σ 1.
    let below = |k: usize| (ratings.iter().filter(|r| r.category <= k).count() as f64 + 0.25) / (n + 0.5);
    let logits: Vec<f64> = (0..categories - 1).map(|k| (below(k) / (1.0 - below(k))).ln()).collect();
    let gaps = logits.windows(2).map(|w| (w[1] - w[0]).max(1e-3).ln());
    let later = ratings.iter().map(|r| r.day).max()?;
    let start: Vec<f64> = [logits[0]].into_iter().chain(gaps).chain([0.0, 1.0]).chain(vec![0.0; later]).collect();
    let (at, _) = bfgs(&start, |p| penalised(&scaled, p, categories - 1, width));
    let fitted = Parameters::new(&at, categories - 1);
    let (log_likelihood, _) = likelihood(&scaled, &fitted);
    let mean_day = fitted.later.iter().sum::<f64>() / (later + 1) as f64;
    let thresholds = fitted.thresholds.iter().map(|t| t + fitted.slope * mean / spread - mean_day).collect();
    Some(CumulativeLogit { thresholds, slope: fitted.slope / spread, block_sd: fitted.sd.abs(), log_likelihood })
}

/// What is fitted. As one list: first threshold, logarithms of the gaps, slope, σ, days less the first.
struct Parameters<'p> {
    thresholds: Vec<f64>,
    slope: f64,
    sd: f64,
    later: &'p [f64],
}

impl<'p> Parameters<'p> {
    fn new(p: &'p [f64], k: usize) -> Self {
        let mut thresholds = vec![p[0]];
        for gap in &p[1..k] {
            thresholds.push(thresholds[thresholds.len() - 1] + gap.exp());
        }
        Self { thresholds, slope: p[k], sd: p[k + 1], later: &p[k + 2..] }
    }
}

/// What is minimised, and its gradient, with `k` thresholds and priors so many times as wide.
fn penalised(ratings: &[Rating], p: &[f64], k: usize, width: f64) -> (f64, Vec<f64>) {
    let at = Parameters::new(p, k);
    let (slope, sd) = (at.slope, at.sd);
    let (log, mut gradient) = likelihood(ratings, &at);
    let [slope_prior, block_prior] = [SLOPE_PRIOR, BLOCK_PRIOR].map(|sd| width * sd);
    // A gap moves all thresholds above it.
    for j in (1..k).rev() {
        let above: f64 = gradient[j];
        gradient[j - 1] += above;
        gradient[j] = above * p[j].exp();
    }
    gradient[k] -= slope / (slope_prior * slope_prior);
    gradient[k + 1] -= sd / (block_prior * block_prior);
    let mut prior = 0.5 * ((slope / slope_prior).powi(2) + (sd / block_prior).powi(2));
    for (gradient, day) in gradient[k + 2..].iter_mut().zip(at.later) {
        *gradient -= day / (slope_prior * slope_prior);
        prior += 0.5 * (day / slope_prior).powi(2);
    }
    (prior - log, gradient.iter().map(|g| -g).collect())
}

/// Log-likelihood and its gradient by every threshold, the slope, σ and the days. Ratings of a block stand together.
fn likelihood(ratings: &[Rating], at: &Parameters) -> (f64, Vec<f64>) {
    let count = at.thresholds.len() + 2 + at.later.len();
    let (mut total, mut gradient) = (0.0, vec![0.0; count]);
    for block in ratings.chunk_by(|a, b| a.block == b.block) {
        let parts: Vec<(f64, f64, Vec<f64>)> = nodes()
            .map(|(z, weight)| {
                let mut part = vec![0.0; count];
                let log = block.iter().map(|r| one(r, at, z, &mut part)).sum::<f64>();
                (z, weight.ln() + log, part)
            })
            .collect();
        let highest = parts.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
        let sum: f64 = parts.iter().map(|p| (p.1 - highest).exp()).sum();
        total += highest + sum.ln();
        for (_, log, part) in &parts {
            let share = (log - highest).exp() / sum;
            gradient.iter_mut().zip(part).for_each(|(g, d)| *g += share * d);
        }
    }
    (total, gradient)
}

/// ln P of one rating at a value of the random effect; its gradient is added to `part`.
fn one(r: &Rating, at: &Parameters, z: f64, part: &mut [f64]) -> f64 {
    let (thresholds, k) = (&at.thresholds, at.thresholds.len());
    let later = r.day.checked_sub(1);
    let shift = at.slope * r.x + later.map_or(0.0, |d| at.later[d]) + at.sd * z;
    let upper = thresholds.get(r.category).map(|t| logistic(t - shift));
    let lower = r.category.checked_sub(1).map(|i| logistic(thresholds[i] - shift));
    let chance = (upper.unwrap_or(1.0) - lower.unwrap_or(0.0)).max(1e-300);
    let steep = |f: Option<f64>| f.map_or(0.0, |f| f * (1.0 - f)) / chance;
    let (up, down) = (steep(upper), steep(lower));
    if r.category < k {
        part[r.category] += up;
    }
    if r.category > 0 {
        part[r.category - 1] -= down;
    }
    part[k] -= (up - down) * r.x;
    part[k + 1] -= (up - down) * z;
    if let Some(d) = later {
        part[k + 2 + d] -= up - down;
    }
    chance.ln()
}

impl CumulativeLogit {
    /// Chance of every category at `x`, over all blocks that there might be.
    pub fn chances(&self, x: f64) -> Vec<f64> {
        let below = |t: f64| nodes().map(|(z, w)| w * logistic(t - self.slope * x - self.block_sd * z)).sum::<f64>();
        let cumulative: Vec<f64> = self.thresholds.iter().map(|t| below(*t)).chain([1.0]).collect();
        let steps = cumulative.iter().scan(0.0, |last, c| Some(c - std::mem::replace(last, *c)));
        steps.map(|p| p.max(0.0)).collect()
    }
}
