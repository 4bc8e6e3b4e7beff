//! A quantity of the model estimated from a panel: its range in the tables as a prior, the panel's likelihood on top.
//!
//! The prior is log-normal about the value in force; the width of its range is taken as that of 90 %. For every value the index
//! of all scrubs is worked out anew and the power law fitted anew (profile likelihood), so that only what the quantity does to
//! the *relative* indices can speak for it. Mean and interval are sums over a grid in the logarithm.

use super::{Panel, study};

/// What is known of a quantity beforehand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Prior {
    /// Value in force.
    pub value: f64,
    /// Low end of its range.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Largest value that it can have.
    pub most: f64,
}

/// What the panel makes of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Posterior {
    /// Posterior mean (of the logarithm, so the geometric one).
    pub mean: f64,
    /// 5 % of the posterior lies below.
    pub low: f64,
    /// 95 %.
    pub high: f64,
    /// Posterior over prior standard deviation, of the logarithm.
    pub narrowed: f64,
    /// Posterior mean less the prior's, in prior standard deviations.
    pub moved: f64,
    /// The likeliest value.
    pub mode: f64,
}

/// Index of every scrub at given values of all quantities.
pub type Profile<'a> = &'a dyn Fn(&[f64]) -> Vec<f64>;

/// 95th percentile of the standard normal: what half a range of 90 % is in standard deviations.
const HALF_RANGE: f64 = 1.644_853_626_951_472_2;
/// Standard deviations on either side that the grid reaches.
const REACH: f64 = 4.0;
/// Points of the grid on each side, for one quantity and for each of two.
const STEPS: [i32; 2] = [60, 16];

impl Prior {
    fn sd(&self) -> f64 {
        (self.high / self.low).ln() / (2.0 * HALF_RANGE)
    }

    /// Values to try, each with its standard normal deviate.
    fn grid(&self, steps: i32) -> Vec<(f64, f64)> {
        let z = (-steps..=steps).map(|i| REACH * f64::from(i) / f64::from(steps));
        z.map(|z| (self.value * (self.sd() * z).exp(), z)).filter(|(v, _)| *v <= self.most).collect()
    }
}

/// Estimates one or two quantities together. `None` when the panel does not go by a power law, or a range has no width.
pub fn estimate(panel: &Panel, priors: &[Prior], indices: Profile) -> Option<Vec<Posterior>> {
    let steps = *STEPS.get(priors.len().checked_sub(1)?)?;
    if priors.iter().any(|p| p.sd() <= 0.0) {
        return None;
    }
    let layout = study::power_layout(panel)?;
    let grids: Vec<Vec<(f64, f64)>> = priors.iter().map(|p| p.grid(steps)).collect();
    let mut points: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    for grid in &grids {
        let longer =
            |p: &Vec<(f64, f64)>| grid.iter().map(|g| p.iter().copied().chain([*g]).collect()).collect::<Vec<_>>();
        points = points.iter().flat_map(longer).collect();
    }
    let posterior = points.iter().filter_map(|point| {
        let values: Vec<f64> = point.iter().map(|p| p.0).collect();
        let x: Vec<f64> = indices(&values).iter().map(|i| i.ln()).collect();
        if x.len() != panel.scrubs.len() || x.iter().any(|x| !x.is_finite()) {
            return None;
        }
        let likelihood = layout.log_likelihood(&x)?;
        let prior: f64 = point.iter().map(|p| -0.5 * p.1 * p.1).sum();
        Some((point, likelihood + prior))
    });
    let posterior: Vec<(&Vec<(f64, f64)>, f64)> = posterior.collect();
    let highest = posterior.iter().map(|p| p.1).fold(f64::NEG_INFINITY, f64::max);
    let weighted: Vec<(&Vec<(f64, f64)>, f64)> = posterior.iter().map(|(p, l)| (*p, (l - highest).exp())).collect();
    (!weighted.is_empty()).then(|| (0..priors.len()).map(|k| summary(&priors[k], &grids[k], k, &weighted)).collect())
}

/// Mean and interval of the k-th quantity.
fn summary(prior: &Prior, grid: &[(f64, f64)], k: usize, weighted: &[(&Vec<(f64, f64)>, f64)]) -> Posterior {
    let mass = |z: f64| weighted.iter().filter(|(p, _)| p[k].1 == z).map(|w| w.1).sum::<f64>();
    let marginal: Vec<(f64, f64)> = grid.iter().map(|(_, z)| (*z, mass(*z))).collect();
    let total: f64 = marginal.iter().map(|m| m.1).sum();
    let mean = |of: &dyn Fn(f64) -> f64| marginal.iter().map(|(z, m)| of(*z) * m).sum::<f64>() / total;
    let z_mean = mean(&|z| z);
    let sd = mean(&|z| (z - z_mean).powi(2)).sqrt();
    // What a grid of this prior alone gives, cut at the largest value.
    let alone: Vec<(f64, f64)> = grid.iter().map(|(_, z)| (*z, (-0.5 * z * z).exp())).collect();
    let all: f64 = alone.iter().map(|m| m.1).sum();
    let prior_mean = alone.iter().map(|(z, m)| z * m).sum::<f64>() / all;
    let prior_sd = (alone.iter().map(|(z, m)| (z - prior_mean).powi(2) * m).sum::<f64>() / all).sqrt();
    let value = |z: f64| prior.value * (prior.sd() * z).exp();
    let mode = marginal.iter().max_by(|a, b| a.1.total_cmp(&b.1)).map_or(0.0, |m| m.0);
    Posterior {
        mean: value(z_mean),
        low: value(quantile(&marginal, 0.05 * total)),
        high: value(quantile(&marginal, 0.95 * total)),
        narrowed: sd / prior_sd,
        moved: (z_mean - prior_mean) / prior_sd,
        mode: value(mode),
    }
}

/// Where the running sum of masses, each spread evenly about its place, reaches `wanted`.
fn quantile(marginal: &[(f64, f64)], wanted: f64) -> f64 {
    let step = marginal.windows(2).next().map_or(0.0, |w| w[1].0 - w[0].0);
    let mut sum = 0.0;
    for (z, mass) in marginal {
        if sum + mass >= wanted && *mass > 0.0 {
            return z - 0.5 * step + step * (wanted - sum) / mass;
        }
        sum += mass;
    }
    marginal.last().map_or(0.0, |m| m.0)
}

impl Posterior {
    /// Whether the panel says anything that the range did not (convention: a tenth narrower, or a quarter of a standard
    /// deviation off).
    pub fn speaks(&self) -> bool {
        self.narrowed < 0.9 || self.moved.abs() > 0.25
    }
}
