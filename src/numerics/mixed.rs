//! A two-way layout with a trend over groups: value = block + slope · x(group) + deviation of the group + noise; or with two crossed
//! factors in place of the blocks, value = block + day + ….
//!
//! Blocks and days are fixed, which centres every value within its block. Deviations of the groups are random, so that many values of
//! one group do not count as much as values of many groups. The two variances are found by restricted maximum likelihood
//! (H. D. Patterson and R. Thompson, *Biometrika* 58 (1971) 545). Layouts need not be full.
//!
//! With blocks swept out, the groups' sums have the matrix A = Zᵀ M Z. Along its eigenvectors the data fall into independent
//! contrasts z of variance σ² (1 + θ λ), θ being the variance of the groups over that of the noise, σ²; everything else is a
//! sum over them (C. R. Henderson's mixed-model equations, *Biometrics* 31 (1975) 423, in that basis).

use super::eigen;
use super::minimise::golden_section;
use super::sweep::Sweep;
use ndarray::{Array1, Array2};

/// One value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observation {
    /// Its block, from 0.
    pub block: usize,
    /// Its group, from 0.
    pub group: usize,
    /// The value.
    pub value: f64,
}

/// A layout with its contrasts.
#[derive(Debug, Clone)]
pub struct MixedLayout {
    cells: Vec<Observation>,
    sweep: Sweep,
    /// Sum of the values by column of what is swept out.
    swept_sums: Array1<f64>,
    /// Values by column of what is swept out (rows) and group.
    counts: Array2<f64>,
    /// Eigenvectors as columns, all groups.
    vectors: Array2<f64>,
    lambda: Vec<f64>,
    /// Contrast along each vector, 0 where there is none.
    z: Vec<f64>,
    /// Sum of squares that blocks and groups leave, and its degrees of freedom.
    sse: f64,
    sse_df: f64,
}

/// The fitted trend.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Rise per unit of x.
    pub slope: f64,
    /// Its standard error.
    pub slope_se: f64,
    /// Degrees of freedom: contrasts between groups less one.
    pub df: f64,
    /// Variance of the groups' own deviations.
    pub group_var: f64,
    /// Variance of the noise.
    pub noise_var: f64,
    /// Where the line is known best, and its height there for the mean of all blocks; the two estimates, height and slope,
    /// are independent.
    pub centre: (f64, f64),
    /// Variance of that height.
    pub centre_var: f64,
    /// Share of the sum of squares between groups that the line explains.
    pub r2: f64,
}

/// What a group shows against the line through all others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OffLine {
    /// Value of the group less what the others foretell.
    pub off: f64,
    /// Standard error of that; over it the shift is an externally studentised residual.
    pub se: f64,
    /// Degrees of freedom.
    pub df: f64,
}

/// A column of a fit: its part along every contrast.
type AlongContrasts = Vec<f64>;

/// The variance ratio and what follows from it.
struct Reml {
    theta: f64,
    noise_var: f64,
    coefficients: Vec<f64>,
    covariance: Array2<f64>,
    df: f64,
}

/// An eigenvalue below this share of the largest is none.
const NO_CONTRAST: f64 = 1e-10;

impl MixedLayout {
    /// Lays out values. Blocks and groups are counted from 0; one without a value is let be.
    pub fn new(cells: Vec<Observation>, blocks: usize, groups: usize) -> Self {
        Self::crossed(cells, &[], blocks, groups)
    }

    /// Lays out values of which each has a day too, from 0, in the order of the cells; an empty `days` is none.
    pub fn crossed(cells: Vec<Observation>, days: &[usize], blocks: usize, groups: usize) -> Self {
        let sweep = Sweep::new(&cells.iter().map(|c| c.block).collect::<Vec<_>>(), days, blocks);
        let mut counts = Array2::zeros((sweep.columns(), groups));
        let mut swept_sums = Array1::zeros(sweep.columns());
        let mut a = Array2::zeros((groups, groups));
        for (i, c) in cells.iter().enumerate() {
            a[[c.group, c.group]] += 1.0;
            for &k in sweep.row(i) {
                counts[[k, c.group]] += 1.0;
                swept_sums[k] += c.value;
            }
        }
        for j in 0..groups {
            let swept = counts.t().dot(&sweep.solve(&counts.column(j).to_owned()));
            (0..groups).for_each(|i| a[[i, j]] -= swept[i]);
        }
        let levels = sweep.solve(&swept_sums);
        let mut sums = Array1::zeros(groups);
        let mut total = 0.0;
        for (i, c) in cells.iter().enumerate() {
            let centred = c.value - sweep.row(i).iter().map(|k| levels[*k]).sum::<f64>();
            sums[c.group] += centred;
            total += centred * centred;
        }
        let (mut lambda, vectors) = eigen::symmetric(&a);
        let largest = lambda.iter().fold(0.0, |m: f64, l| m.max(*l));
        lambda.iter_mut().for_each(|l| *l = if *l > NO_CONTRAST * largest { *l } else { 0.0 });
        let along = vectors.t().dot(&sums);
        let z: Vec<f64> = lambda.iter().zip(&along).map(|(l, v)| if *l > 0.0 { v / l.sqrt() } else { 0.0 }).collect();
        let rank = lambda.iter().filter(|l| **l > 0.0).count();
        let sse_df = cells.len() as f64 - (sweep.rank() + rank) as f64;
        let sse = if sse_df > 0.0 { (total - z.iter().map(|v| v * v).sum::<f64>()).max(0.0) } else { 0.0 };
        Self { cells, sweep, swept_sums, counts, vectors, lambda, z, sse, sse_df }
    }

    /// Whether any two groups can be compared through blocks that they share.
    pub fn is_connected(&self) -> bool {
        self.contrasts() + 1.0 >= self.lambda.len() as f64
    }

    /// Degrees of freedom that blocks and groups leave for the noise.
    pub fn noise_df(&self) -> f64 {
        self.sse_df
    }

    /// The trend over `x`, one value per group. `None` when it is not determined, or no degree of freedom is left.
    pub fn trend(&self, x: &[f64]) -> Option<Trend> {
        let column = self.column(x);
        let fit = self.reml(std::slice::from_ref(&column))?;
        let (theta, slope_var) = (fit.theta, fit.covariance[[0, 0]]);
        let slope = fit.coefficients[0];
        // The mean of the levels that were swept out holds this share of each group.
        let mean_row = self.sweep.mean_row();
        let solved = self.sweep.solve(&mean_row);
        let weights = self.counts.t().dot(&solved);
        let along = self.vectors.t().dot(&weights);
        let x_along = self.vectors.t().dot(&Array1::from(x.to_vec()));
        let shrunk = |l: f64| theta * l / (1.0 + theta * l);
        let sum = |f: &dyn Fn(usize) -> f64| (0..x.len()).map(f).sum::<f64>();
        let centre_x =
            weights.dot(&Array1::from(x.to_vec())) - sum(&|k| along[k] * x_along[k] * shrunk(self.lambda[k]));
        // Height there: the mean of the levels less the predicted deviations of the groups in it.
        let observed = |k: usize| if self.lambda[k] > 0.0 { self.z[k] / self.lambda[k].sqrt() } else { 0.0 };
        let centre_y = solved.dot(&self.swept_sums) - sum(&|k| along[k] * observed(k) * shrunk(self.lambda[k]));
        let level = mean_row.dot(&solved);
        let groups = sum(&|k| along[k] * along[k] * theta / (1.0 + theta * self.lambda[k]));
        let between: f64 = self.z.iter().map(|v| v * v).sum();
        let explained = dot(&column, &self.z).powi(2) / dot(&column, &column);
        Some(Trend {
            slope,
            slope_se: slope_var.sqrt(),
            df: fit.df,
            group_var: theta * fit.noise_var,
            noise_var: fit.noise_var,
            centre: (centre_x, centre_y),
            centre_var: fit.noise_var * (level + groups),
            r2: if between > 0.0 { (explained / between).min(1.0) } else { 0.0 },
        })
    }

    /// A group held against the trend through all others, variances found anew. `None` when that is not determined.
    pub fn shift(&self, x: &[f64], group: usize) -> Option<OffLine> {
        let alone: Vec<f64> = (0..x.len()).map(|i| f64::from(u8::from(i == group))).collect();
        let fit = self.reml(&[self.column(x), self.column(&alone)])?;
        Some(OffLine { off: fit.coefficients[1], se: fit.covariance[[1, 1]].sqrt(), df: fit.df })
    }

    /// Mean of every group as if every block held all groups, for the mean of all blocks (least squares without a trend).
    pub fn group_means(&self) -> Vec<f64> {
        let effects = self.group_effects();
        let mean = self.sweep.mean_row().dot(&self.levels(&effects));
        effects.iter().map(|e| mean + e).collect()
    }

    /// The effects of the groups, least squares without a trend, their mean 0. `None` where some cannot be told apart.
    pub fn effects(&self) -> Option<Vec<f64>> {
        let effects = self.group_effects();
        let mean = effects.sum() / effects.len() as f64;
        self.is_connected().then(|| effects.iter().map(|e| e - mean).collect())
    }

    /// Every value less the level of its block and day (least squares without a trend), so that what is left is comparable, about 0.
    pub fn freed(&self) -> Vec<f64> {
        let levels = self.levels(&self.group_effects());
        let level = |i: usize| self.sweep.row(i).iter().map(|k| levels[*k]).sum::<f64>();
        self.cells.iter().enumerate().map(|(i, c)| c.value - level(i)).collect()
    }

    /// Every value's externally studentised residual from blocks and groups (R. D. Cook and S. Weisberg, *Residuals and
    /// Influence in Regression*, 1982, section 2.2.1), and their degrees of freedom. A value that determines its own fit
    /// has 0. `None` when no degree of freedom is left.
    pub fn studentised(&self) -> Option<(Vec<f64>, f64)> {
        let df = self.sse_df - 1.0;
        if df < 1.0 {
            return None;
        }
        let effects = self.group_effects();
        let freed = self.freed();
        let one = |(i, c): (usize, &Observation)| {
            let mut row = Array1::zeros(self.sweep.columns());
            self.sweep.row(i).iter().for_each(|k| row[*k] = 1.0);
            let solved = self.sweep.solve(&row);
            let mut part = Array1::zeros(effects.len());
            for (k, share) in solved.iter().enumerate().filter(|(_, share)| **share != 0.0) {
                part.scaled_add(-share, &self.counts.row(k));
            }
            part[c.group] += 1.0;
            let along = self.vectors.t().dot(&part);
            let kept = self.lambda.iter().zip(&along).filter(|(l, _)| **l > 0.0);
            let free = 1.0 - row.dot(&solved) - kept.map(|(l, v)| v * v / l).sum::<f64>();
            let off = freed[i] - effects[c.group];
            let others = (self.sse - off * off / free) / df;
            if free < 1e-9 || others <= 1e-12 * self.sse { 0.0 } else { off / (others * free).sqrt() }
        };
        Some((self.cells.iter().enumerate().map(one).collect(), df))
    }

    /// Log-likelihood of the trend over `x`, up to a constant, at the best slope, levels and variances (of the values with
    /// blocks swept out, so that different x can be held against each other). `None` when it is not determined.
    pub fn log_likelihood(&self, x: &[f64]) -> Option<f64> {
        let column = self.column(x);
        let count = self.contrasts() + self.sse_df;
        let value = |theta: f64| {
            let (rss, _, _) = self.weighted(std::slice::from_ref(&column), theta)?;
            Some(-count * rss.ln() - self.log_spread(theta))
        };
        let (_, best) = self.best_theta(&|theta| value(theta).map(|v| -v))?;
        Some(-0.5 * best)
    }

    fn contrasts(&self) -> f64 {
        self.lambda.iter().filter(|l| **l > 0.0).count() as f64
    }

    /// Levels of what is swept out, given the effects of the groups.
    fn levels(&self, effects: &Array1<f64>) -> Array1<f64> {
        self.sweep.solve(&(&self.swept_sums - &self.counts.dot(effects)))
    }

    fn group_effects(&self) -> Array1<f64> {
        let along = self.lambda.iter().zip(&self.z).map(|(l, z)| if *l > 0.0 { z / l.sqrt() } else { 0.0 });
        self.vectors.dot(&along.collect::<Array1<f64>>())
    }

    fn column(&self, x: &[f64]) -> AlongContrasts {
        let along = self.vectors.t().dot(&Array1::from(x.to_vec()));
        self.lambda.iter().zip(&along).map(|(l, v)| l.sqrt() * v).collect()
    }

    /// ln det of the contrasts' covariance over the noise variance.
    fn log_spread(&self, theta: f64) -> f64 {
        self.lambda.iter().map(|l| (theta * l).ln_1p()).sum()
    }

    /// Weighted least squares of the contrasts at a variance ratio: residual sum of squares, coefficients, normal matrix
    /// inverted (one or two columns).
    fn weighted(&self, columns: &[AlongContrasts], theta: f64) -> Option<(f64, Vec<f64>, Array2<f64>)> {
        let weight: Vec<f64> = self.lambda.iter().map(|l| 1.0 / (1.0 + theta * l)).collect();
        let product = |a: &[f64], b: &[f64]| a.iter().zip(b).zip(&weight).map(|((a, b), w)| a * b * w).sum::<f64>();
        let inverse = match columns {
            [a] => Array2::from_elem((1, 1), 1.0 / product(a, a)),
            [a, b] => {
                let (aa, ab, bb) = (product(a, a), product(a, b), product(b, b));
                let det = aa * bb - ab * ab;
                if det <= 1e-10 * aa * bb {
                    return None;
                }
                ndarray::array![[bb / det, -ab / det], [-ab / det, aa / det]]
            }
            _ => return None,
        };
        let right: Array1<f64> = columns.iter().map(|c| product(c, &self.z)).collect();
        let coefficients = inverse.dot(&right);
        if coefficients.iter().any(|c| !c.is_finite()) {
            return None;
        }
        let left = |k: usize| self.z[k] - columns.iter().zip(&coefficients).map(|(c, b)| c[k] * b).sum::<f64>();
        let rss = (0..self.z.len()).map(|k| left(k).powi(2) * weight[k]).sum::<f64>() + self.sse;
        // A perfect fit leaves rounding only; its logarithm must not decide.
        let floor = 1e-24 * (product(&self.z, &self.z) + self.sse) + f64::MIN_POSITIVE;
        Some((rss.max(floor), coefficients.to_vec(), inverse))
    }

    fn reml(&self, columns: &[AlongContrasts]) -> Option<Reml> {
        let (between, k) = (self.contrasts(), columns.len() as f64);
        if between <= k || columns.iter().any(|c| dot(c, c) <= 1e-18) {
            return None;
        }
        let count = between + self.sse_df - k;
        let deviance = |theta: f64| {
            let (rss, _, inverse) = self.weighted(columns, theta)?;
            let det = if columns.len() == 1 { inverse[[0, 0]] } else { determinant(&inverse) };
            Some(count * rss.ln() + self.log_spread(theta) - det.ln())
        };
        // Without values to spare the two variances cannot be told apart; one then stands for both.
        let theta = if self.sse_df > 0.0 { self.best_theta(&deviance)?.0 } else { 0.0 };
        let (rss, coefficients, inverse) = self.weighted(columns, theta)?;
        let noise_var = rss / count;
        Some(Reml { theta, noise_var, coefficients, covariance: inverse * noise_var, df: between - k })
    }

    /// The variance ratio at which `deviance` is least: a scan over ten decades either way, then golden sections.
    fn best_theta(&self, deviance: &dyn Fn(f64) -> Option<f64>) -> Option<(f64, f64)> {
        let scale = 1.0 / (self.lambda.iter().sum::<f64>() / self.contrasts());
        let at = |t: f64| deviance(scale * t.exp());
        let zero = deviance(0.0)?;
        let (step, ends) = (0.5, 23.0);
        let steps = (2.0 * ends / step) as i32;
        let scan = (0..=steps).filter_map(|i| {
            let t = -ends + step * f64::from(i);
            at(t).map(|d| (t, d))
        });
        let (t, least) = scan.min_by(|a, b| a.1.total_cmp(&b.1))?;
        if least >= zero {
            return Some((0.0, zero));
        }
        let t = golden_section(at, t - step, t + step, 50)?;
        Some((scale * t.exp(), at(t)?))
    }
}

impl Trend {
    /// Height of the line at `x` for the mean of all blocks, or of all days of blocks.
    pub fn at(&self, x: f64) -> f64 {
        self.centre.1 + self.slope * (x - self.centre.0)
    }

    /// Variance of that height.
    pub fn var_at(&self, x: f64) -> f64 {
        self.centre_var + (self.slope_se * (x - self.centre.0)).powi(2)
    }
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn determinant(m: &Array2<f64>) -> f64 {
    m[[0, 0]] * m[[1, 1]] - m[[0, 1]] * m[[1, 0]]
}
