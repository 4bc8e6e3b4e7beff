//! Scalar roots inside a bracket. Both solvers only ever shrink the bracket they are given, so they end.

/// Why a root could not be found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum RootError {
    /// The function has the same sign at both ends, or is not a number there.
    #[error("no sign change between {lo} and {hi}")]
    NoSignChange {
        /// Lower end of the bracket.
        lo: f64,
        /// Upper end of the bracket.
        hi: f64,
    },
}

const MAX_STEPS: usize = 200;

/// Root of `f` in `[lo, hi]` by Brent's method (R. P. Brent, *Algorithms for Minimization without Derivatives*, 1973,
/// chapter 4). The answer lies within `tol` (absolute, in the unit of the argument) of a sign change, or within a few
/// roundings of one where `tol` is smaller than that.
///
/// # Errors
/// [`RootError::NoSignChange`] when `f(lo)` and `f(hi)` do not have opposite signs.
pub fn brent(mut f: impl FnMut(f64) -> f64, lo: f64, hi: f64, tol: f64) -> Result<f64, RootError> {
    let (mut a, mut b) = (lo, hi);
    let (mut fa, mut fb) = (f(a), f(b));
    if fa == 0.0 {
        return Ok(a);
    }
    if fb == 0.0 {
        return Ok(b);
    }
    if fa.is_nan() || fb.is_nan() || (fa > 0.0) == (fb > 0.0) {
        return Err(RootError::NoSignChange { lo, hi });
    }
    let (mut c, mut fc) = (a, fa);
    let mut step = b - a;
    let mut last_step = step;
    for _ in 0..MAX_STEPS {
        if (fb > 0.0) == (fc > 0.0) {
            (c, fc) = (a, fa);
            step = b - a;
            last_step = step;
        }
        if fc.abs() < fb.abs() {
            (a, b, c) = (b, c, b);
            (fa, fb, fc) = (fb, fc, fb);
        }
        let tol1 = 2.0 * f64::EPSILON * b.abs() + 0.5 * tol;
        let half = 0.5 * (c - b);
        if half.abs() <= tol1 || fb == 0.0 {
            break;
        }
        let interpolated = if last_step.abs() >= tol1 && fa.abs() > fb.abs() {
            interpolate(a, b, c, fa, fb, fc, half, tol1, last_step)
        } else {
            None
        };
        last_step = if interpolated.is_some() { step } else { half };
        step = interpolated.unwrap_or(half);
        (a, fa) = (b, fb);
        b += if step.abs() > tol1 { step } else { tol1.copysign(half) };
        fb = f(b);
    }
    Ok(b)
}

/// Brent's inverse quadratic (or secant) step, if it falls well inside the bracket and shrinks fast enough.
#[allow(clippy::too_many_arguments, reason = "the three points of the method and its tolerances")]
fn interpolate(a: f64, b: f64, c: f64, fa: f64, fb: f64, fc: f64, half: f64, tol1: f64, last_step: f64) -> Option<f64> {
    let s = fb / fa;
    let (mut p, mut q) = if a == c {
        (2.0 * half * s, 1.0 - s)
    } else {
        let (q, r) = (fa / fc, fb / fc);
        (s * (2.0 * half * q * (q - r) - (b - a) * (r - 1.0)), (q - 1.0) * (r - 1.0) * (s - 1.0))
    };
    if p > 0.0 {
        q = -q;
    } else {
        p = -p;
    }
    let bound = (3.0 * half * q - (tol1 * q).abs()).min((last_step * q).abs());
    (2.0 * p < bound).then(|| p / q)
}

/// Root of an increasing function given with its slope, by Newton's method kept inside a shrinking bracket.
///
/// `f` returns value and slope. The start is `guess`; a Newton step that leaves the bracket, or that the slope makes
/// useless, is replaced by bisection. Ends when a step is below `tol` relative to the argument, or the bracket is.
/// If `f` has no sign change in `[lo, hi]` the nearer end is returned.
pub fn newton_bracketed(mut f: impl FnMut(f64) -> (f64, f64), mut lo: f64, mut hi: f64, guess: f64, tol: f64) -> f64 {
    let mut x = if guess > lo && guess < hi { guess } else { 0.5 * (lo + hi) };
    for _ in 0..MAX_STEPS {
        let (value, slope) = f(x);
        if value == 0.0 {
            return x;
        }
        if value > 0.0 {
            hi = x;
        } else {
            lo = x;
        }
        let newton = x - value / slope;
        let next = if newton > lo && newton < hi { newton } else { 0.5 * (lo + hi) };
        let moved = (next - x).abs();
        x = next;
        let scale = tol * x.abs();
        if moved <= scale || hi - lo <= scale {
            break;
        }
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn brent_finds_textbook_roots() {
        // Brent 1973 and every numerical text since: x^3 - 2x - 5 has the root 2.0945514815423265 (Wallis).
        let x = brent(|x| x * x * x - 2.0 * x - 5.0, 2.0, 3.0, 1e-14).unwrap();
        assert_relative_eq!(x, 2.094_551_481_542_326_5, max_relative = 1e-13);
        let x = brent(|x| x.cos() - x, 0.0, 1.0, 1e-14).unwrap();
        assert_relative_eq!(x, 0.739_085_133_215_160_6, max_relative = 1e-13);
        // A flat triple root: bisection has to carry it.
        let x = brent(|x: f64| (x - 0.3).powi(3), -4.0, 1.0, 1e-9).unwrap();
        assert!((x - 0.3).abs() < 1e-4);
    }

    #[test]
    fn brent_refuses_a_bracket_without_sign_change() {
        assert!(brent(|x| x * x + 1.0, -1.0, 1.0, 1e-9).is_err());
        assert!(brent(|_| f64::NAN, -1.0, 1.0, 1e-9).is_err());
    }

    #[test]
    fn newton_survives_a_step_function_and_a_bad_guess() {
        let x = newton_bracketed(|x: f64| (x.atan() - 1.0, 1.0 / (1.0 + x * x)), -50.0, 50.0, -40.0, 1e-13);
        assert_relative_eq!(x, 1.0_f64.tan(), max_relative = 1e-10);
        let x = newton_bracketed(|x| (if x < 0.25 { -1.0 } else { 1.0 }, 0.0), 0.0, 1.0, 0.9, 1e-12);
        assert_relative_eq!(x, 0.25, max_relative = 1e-9);
    }
}
