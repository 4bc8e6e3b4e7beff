//! Fits of the three laws to measured points, two ways, each named: non-linear least squares on Q3, and the classic
//! straight line on transformed axes. They differ (the transform weighs the tails), so a fit without its method says
//! little. A fit is an output beside the data, never in its place.

use super::law::{Law, LawName};
use crate::numerics::least_squares::{TwoParameterCurve, levenberg_marquardt, line};
use crate::numerics::normal;
use serde::Serialize;

/// How a law was fitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Method {
    /// Unweighted non-linear least squares on Q3.
    #[serde(rename = "non-linear-least-squares")]
    NonLinear,
    /// Ordinary least squares of the straightened ordinate on ln x (probit Q3; ln(−ln(1−Q3)); ln Q3). Points at 0 or
    /// 100 % have no place on those axes and are left out.
    Linearised,
}

impl Method {
    /// As people write it.
    pub fn label(self) -> &'static str {
        match self {
            Self::NonLinear => "non-linear least squares on Q3",
            Self::Linearised => "straight line on transformed axes",
        }
    }
}

/// A fitted law.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LawFit {
    /// The law with the parameters found.
    pub law: Law,
    /// How they were found.
    pub method: Method,
    /// 1 − SSE / SST on Q3, about its mean.
    pub r2: f64,
    /// Root mean square residual on Q3, percent.
    pub rmse_pct: f64,
}

/// Fits every law both ways to points `(µm, Q3 in 0..1)`. Laws that the points cannot carry (fewer than two points inside
/// 0..100 %) are left out, and so are fits whose parameters no powder has: points on a cliff or on a plateau fit as well as
/// you like with an exponent of a million or a size of a nanometre's millionth.
pub fn fit_all(points: &[(f64, f64)]) -> Vec<LawFit> {
    let points: Vec<(f64, f64)> = points.iter().map(|&(x, q)| (x.ln(), q)).collect();
    let mut fits = Vec::new();
    for name in LawName::ALL {
        let Some(straight) = linearised(name, &points) else { continue };
        fits.extend(judged(non_linear(name, &points, straight), Method::NonLinear, &points));
        fits.extend(judged(Some(straight), Method::Linearised, &points));
    }
    fits
}

fn linearised(name: LawName, points: &[(f64, f64)]) -> Option<Law> {
    let straightened: Vec<(f64, f64)> = points
        .iter()
        .filter(|p| p.1 > 0.0 && p.1 < 1.0)
        .map(|&(x, q)| {
            let y = match name {
                LawName::LogNormal => normal::quantile(q),
                LawName::RosinRammler => (-(-q).ln_1p()).ln(),
                LawName::GatesGaudinSchuhmann => q.ln(),
            };
            (x, y)
        })
        .collect();
    let l = line(&straightened)?;
    Law::from_location_and_slope(name, -l.intercept / l.slope, l.slope)
}

/// Least squares on Q3 over the location and the logarithm of the slope, so that the slope stays positive. The capped
/// law has kinks, hence several starts; the best one counts.
fn non_linear(name: LawName, points: &[(f64, f64)], start: Law) -> Option<Law> {
    let law_at = |p: [f64; 2]| Law::from_location_and_slope(name, p[0], p[1].exp());
    let curve = TwoParameterCurve {
        value: &|p, x| law_at(p).map_or(f64::NAN, |law| law.undersize_ln(x)),
        slopes: &|p, x| law_at(p).map_or([0.0; 2], |law| [-law.density_ln(x), law.density_ln(x) * (x - p[0])]),
    };
    let (location, slope) = start.location_and_slope();
    let mut starts = vec![[location, slope.ln()]];
    if name == LawName::GatesGaudinSchuhmann {
        let reached = |q: f64| points.iter().find(|p| p.1 >= q).or(points.last());
        starts.extend([0.7, 1.0].into_iter().filter_map(reached).map(|p| [p.0, slope.ln()]));
    }
    starts
        .into_iter()
        .map(|s| levenberg_marquardt(points, s, curve))
        .min_by(|a, b| a.sse.total_cmp(&b.sse))
        .and_then(|fit| law_at(fit.parameters))
}

fn judged(law: Option<Law>, method: Method, points: &[(f64, f64)]) -> Option<LawFit> {
    let law = law.filter(Law::is_of_a_powder)?;
    let n = points.len() as f64;
    let mean = points.iter().map(|p| p.1).sum::<f64>() / n;
    let sst: f64 = points.iter().map(|p| (p.1 - mean).powi(2)).sum();
    let sse: f64 = points.iter().map(|&(x, q)| (q - law.undersize_ln(x)).powi(2)).sum();
    let r2 = 1.0 - sse / sst;
    (r2.is_finite()).then(|| LawFit { law, method, r2, rmse_pct: 100.0 * (sse / n).sqrt() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Micrometres;
    use approx::assert_relative_eq;

    #[test]
    fn exact_data_give_back_their_law_both_ways() {
        let um = |v| Micrometres::new(v).unwrap();
        let laws = [
            Law::log_normal(um(80.0), 1.6).unwrap(),
            Law::rosin_rammler(um(150.0), 1.3).unwrap(),
            Law::gates_gaudin_schuhmann(um(400.0), 0.7).unwrap(),
        ];
        for law in laws {
            let points: Vec<_> = [20.0, 40.0, 63.0, 90.0, 125.0, 180.0, 250.0]
                .iter()
                .map(|&x: &f64| (x, law.undersize_ln(x.ln())))
                .collect();
            let fits: Vec<_> = fit_all(&points).into_iter().filter(|f| f.law.name() == law.name()).collect();
            assert_eq!(fits.len(), 2);
            for fit in fits {
                assert_relative_eq!(fit.law.size_um(), law.size_um(), max_relative = 1e-6);
                assert_relative_eq!(fit.r2, 1.0, max_relative = 1e-9);
            }
        }
    }

    #[test]
    fn too_few_points_give_no_fit() {
        assert!(fit_all(&[(50.0, 0.0), (100.0, 1.0)]).is_empty());
        assert!(fit_all(&[]).is_empty());
    }

    #[test]
    fn fits_that_are_no_powder_are_left_out() {
        let cliff = [(124.999_99, 0.25), (125.0, 0.5), (125.000_01, 0.75)];
        assert!(fit_all(&cliff).is_empty());
        let plateau = [(100.0, 0.499_999), (200.0, 0.5), (400.0, 0.500_001), (500.0, 1.0)];
        for fit in fit_all(&plateau) {
            let width = fit.law.gsd().or(fit.law.exponent()).unwrap();
            assert!((0.05..=100.0).contains(&width) && fit.law.size_um() < 1e6, "{fit:?}");
        }
    }
}
