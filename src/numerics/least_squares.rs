//! Least squares: a straight line, and a curve of two parameters by the Levenberg-Marquardt method (D. W. Marquardt,
//! *J. SIAM* 11 (1963) 431).

use ndarray::{Array1, Array2};

/// A straight line `y = intercept + slope x`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StraightLine {
    /// Value at zero.
    pub intercept: f64,
    /// Rise per unit.
    pub slope: f64,
}

/// The least-squares line through `points`; `None` with fewer than two different abscissas.
pub fn line(points: &[(f64, f64)]) -> Option<StraightLine> {
    let n = points.len() as f64;
    let (mx, my) = points.iter().fold((0.0, 0.0), |(a, b), (x, y)| (a + x / n, b + y / n));
    let (sxx, sxy) =
        points.iter().fold((0.0, 0.0), |(a, b), (x, y)| (a + (x - mx) * (x - mx), b + (x - mx) * (y - my)));
    let slope = sxy / sxx;
    (points.len() >= 2 && slope.is_finite()).then_some(StraightLine { intercept: my - slope * mx, slope })
}

/// Parameters found and the sum of squared residuals they leave.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CurveFit {
    /// The two parameters.
    pub parameters: [f64; 2],
    /// Sum of squared residuals.
    pub sse: f64,
}

/// A curve of two parameters.
#[derive(Clone, Copy)]
pub struct TwoParameterCurve<'a> {
    /// Value at an abscissa.
    pub value: &'a dyn Fn([f64; 2], f64) -> f64,
    /// Derivative by each parameter at an abscissa.
    pub slopes: &'a dyn Fn([f64; 2], f64) -> [f64; 2],
}

const MAX_STEPS: usize = 100;

/// Fits `curve` to `points` from `start`. The damping follows Marquardt: tenfold down on a better step, tenfold up on a
/// worse one; ends when a step moves no parameter by more than 1e-9 of one plus itself, or when no damping finds a better
/// point.
pub fn levenberg_marquardt(points: &[(f64, f64)], start: [f64; 2], curve: TwoParameterCurve) -> CurveFit {
    let mut best = CurveFit { parameters: start, sse: sum_of_squares(points, start, curve) };
    let mut damping = 1e-3;
    for _ in 0..MAX_STEPS {
        let (normal, gradient) = normal_equations(points, best.parameters, curve);
        let Some((step, trial)) = (0..14).find_map(|_| {
            let step = damped_step(&normal, &gradient, damping)?;
            let parameters = [best.parameters[0] + step[0], best.parameters[1] + step[1]];
            let sse = sum_of_squares(points, parameters, curve);
            if sse <= best.sse {
                damping = (damping * 0.1).max(1e-12);
                Some((step, CurveFit { parameters, sse }))
            } else {
                damping *= 10.0;
                None
            }
        }) else {
            break;
        };
        best = trial;
        let still = step.iter().zip(best.parameters).all(|(s, p)| s.abs() <= 1e-9 * (1.0 + p.abs()));
        if still {
            break;
        }
    }
    best
}

fn sum_of_squares(points: &[(f64, f64)], parameters: [f64; 2], curve: TwoParameterCurve) -> f64 {
    let sse: f64 = points.iter().map(|&(x, y)| (y - (curve.value)(parameters, x)).powi(2)).sum();
    if sse.is_finite() { sse } else { f64::INFINITY }
}

fn normal_equations(
    points: &[(f64, f64)],
    parameters: [f64; 2],
    curve: TwoParameterCurve,
) -> (Array2<f64>, Array1<f64>) {
    let mut jacobian = Array2::zeros((points.len(), 2));
    let mut residual = Array1::zeros(points.len());
    for (i, &(x, y)) in points.iter().enumerate() {
        let slope = (curve.slopes)(parameters, x);
        residual[i] = y - (curve.value)(parameters, x);
        jacobian[[i, 0]] = slope[0];
        jacobian[[i, 1]] = slope[1];
    }
    (jacobian.t().dot(&jacobian), jacobian.t().dot(&residual))
}

/// Solves `(N + damping diag N) step = g`; `None` when the matrix is singular.
fn damped_step(normal: &Array2<f64>, gradient: &Array1<f64>, damping: f64) -> Option<[f64; 2]> {
    let a = normal[[0, 0]] * (1.0 + damping);
    let d = normal[[1, 1]] * (1.0 + damping);
    let b = normal[[0, 1]];
    let det = a * d - b * b;
    let step = [(d * gradient[0] - b * gradient[1]) / det, (a * gradient[1] - b * gradient[0]) / det];
    step.iter().all(|s| s.is_finite()).then_some(step)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn line_through_exact_points() {
        let l = line(&[(0.0, 1.0), (1.0, 3.0), (2.0, 5.0)]).unwrap();
        assert_relative_eq!(l.slope, 2.0);
        assert_relative_eq!(l.intercept, 1.0);
        assert!(line(&[(1.0, 1.0), (1.0, 2.0)]).is_none());
    }

    /// NIST StRD, nonlinear regression, data set Misra1a (lower difficulty), certified b1 = 238.94212918,
    /// b2 = 5.5015643181E-04, residual sum of squares 0.12455138894.
    #[test]
    fn nist_misra1a() {
        let y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];
        let x = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        let points: Vec<_> = x.into_iter().zip(y).collect();
        let curve = TwoParameterCurve {
            value: &|[b1, b2], x| b1 * (1.0 - (-b2 * x).exp()),
            slopes: &|[b1, b2], x| [1.0 - (-b2 * x).exp(), b1 * x * (-b2 * x).exp()],
        };
        let fit = levenberg_marquardt(&points, [250.0, 5e-4], curve);
        assert_relative_eq!(fit.parameters[0], 238.942_129_18, max_relative = 1e-7);
        assert_relative_eq!(fit.parameters[1], 5.501_564_318_1e-4, max_relative = 1e-7);
        assert_relative_eq!(fit.sse, 0.124_551_388_94, max_relative = 1e-8);
    }
}
