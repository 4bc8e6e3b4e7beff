//! Monotone piecewise cubic interpolation (PCHIP): F. N. Fritsch and J. Butland, *SIAM J. Sci. Stat. Comput.* 5 (1984)
//! 300; end slopes by the three-point formula that C. Moler gives in *Numerical Computing with MATLAB*, chapter 3.
//! The interpolant never overshoots its data, which is what a cumulative curve needs.

/// A monotone cubic through knots `(x, y)`.
#[derive(Debug, Clone, PartialEq)]
pub struct Pchip {
    x: Vec<f64>,
    y: Vec<f64>,
    slope: Vec<f64>,
}

/// Why knots do not make an interpolant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
pub enum PchipError {
    /// Fewer than two knots, or lists of different lengths.
    #[error("an interpolated curve needs at least two knots, each with one value")]
    TooFew,
    /// The abscissas do not rise strictly, or something is not finite.
    #[error("knots must be finite and rise strictly")]
    NotRising,
}

impl Pchip {
    /// Builds the interpolant with the standard end slopes.
    ///
    /// # Errors
    /// [`PchipError`] when there are fewer than two knots, or `x` does not rise strictly, or a value is not finite.
    pub fn new(x: Vec<f64>, y: Vec<f64>) -> Result<Self, PchipError> {
        Self::check(&x, &y)?;
        let slope = slopes(&x, &y);
        Ok(Self { x, y, slope })
    }

    /// Builds the interpolant with the chord of the first and last interval as end slopes, so that straight tails join
    /// it smoothly.
    ///
    /// # Errors
    /// As [`Pchip::new`].
    pub fn with_chord_ends(x: Vec<f64>, y: Vec<f64>) -> Result<Self, PchipError> {
        let mut curve = Self::new(x, y)?;
        let n = curve.x.len();
        curve.slope[0] = chord(&curve.x, &curve.y, 0);
        curve.slope[n - 1] = chord(&curve.x, &curve.y, n - 2);
        Ok(curve)
    }

    fn check(x: &[f64], y: &[f64]) -> Result<(), PchipError> {
        if x.len() < 2 || x.len() != y.len() {
            return Err(PchipError::TooFew);
        }
        let finite = x.iter().chain(y).all(|v| v.is_finite());
        if !finite || x.windows(2).any(|w| w[0] >= w[1]) {
            return Err(PchipError::NotRising);
        }
        Ok(())
    }

    /// The same curve moved along the abscissa.
    pub fn shifted(&self, shift: f64) -> Self {
        Self { x: self.x.iter().map(|x| x + shift).collect(), ..self.clone() }
    }

    /// The knots' abscissas.
    pub fn knots(&self) -> &[f64] {
        &self.x
    }

    /// The knots' ordinates.
    pub fn values(&self) -> &[f64] {
        &self.y
    }

    /// First and last slope.
    pub fn end_slopes(&self) -> (f64, f64) {
        (self.slope[0], self.slope[self.slope.len() - 1])
    }

    /// Value and slope at `x`; outside the knots, those of the nearest end.
    #[inline]
    pub fn at(&self, x: f64) -> (f64, f64) {
        let last = self.x.len() - 1;
        if x >= self.x[last] {
            return (self.y[last], self.slope[last]);
        }
        let x = x.max(self.x[0]);
        let i = self.x.partition_point(|&k| k <= x).clamp(1, last) - 1;
        let h = self.x[i + 1] - self.x[i];
        let t = (x - self.x[i]) / h;
        let (y0, y1, d0, d1) = (self.y[i], self.y[i + 1], self.slope[i], self.slope[i + 1]);
        let delta = (y1 - y0) / h;
        let c = 3.0 * delta - 2.0 * d0 - d1;
        let b = d0 + d1 - 2.0 * delta;
        // Rounding alone could carry the value past a knot; a cumulative curve must not pass 1.
        let value = (y0 + h * t * (d0 + t * (c + t * b))).clamp(y0.min(y1), y0.max(y1));
        let slope = d0 + t * (2.0 * c + 3.0 * t * b);
        (value, slope)
    }

    /// The first `x` at which a rising interpolant reaches `y`; an end when `y` lies beyond it.
    pub fn inverse(&self, y: f64) -> f64 {
        let last = self.x.len() - 1;
        if y <= self.y[0] {
            return self.x[0];
        }
        if y >= self.y[last] {
            // The first knot at full height, not the last: a flat top holds nothing.
            let i = self.y.partition_point(|&v| v < self.y[last]);
            return self.x[i];
        }
        let i = self.y.partition_point(|&v| v < y).clamp(1, last) - 1;
        let (lo, hi) = (self.x[i], self.x[i + 1]);
        let guess = lo + (hi - lo) * (y - self.y[i]) / (self.y[i + 1] - self.y[i]);
        super::roots::newton_bracketed(
            |x| {
                let (value, slope) = self.at(x);
                (value - y, slope)
            },
            lo,
            hi,
            guess,
            1e-14,
        )
    }
}

fn chord(x: &[f64], y: &[f64], i: usize) -> f64 {
    (y[i + 1] - y[i]) / (x[i + 1] - x[i])
}

/// Interior slopes: weighted harmonic mean of the neighbouring chords, zero at a turn or a flat.
fn slopes(x: &[f64], y: &[f64]) -> Vec<f64> {
    let n = x.len();
    if n == 2 {
        return vec![chord(x, y, 0); 2];
    }
    let mut slope = vec![0.0; n];
    for i in 1..n - 1 {
        let (h0, h1) = (x[i] - x[i - 1], x[i + 1] - x[i]);
        let (d0, d1) = (chord(x, y, i - 1), chord(x, y, i));
        if d0 * d1 > 0.0 {
            let (w0, w1) = (2.0 * h1 + h0, h1 + 2.0 * h0);
            slope[i] = (w0 + w1) / (w0 / d0 + w1 / d1);
        }
    }
    slope[0] = end_slope(x[1] - x[0], x[2] - x[1], chord(x, y, 0), chord(x, y, 1));
    slope[n - 1] = end_slope(x[n - 1] - x[n - 2], x[n - 2] - x[n - 3], chord(x, y, n - 2), chord(x, y, n - 3));
    slope
}

fn end_slope(h0: f64, h1: f64, d0: f64, d1: f64) -> f64 {
    let s = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if s * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && s.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        s
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn keeps_knots_and_stays_between_them() {
        let curve = Pchip::new(vec![0.0, 1.0, 1.5, 4.0], vec![0.0, 0.1, 0.1, 1.0]).unwrap();
        for (x, y) in [(0.0, 0.0), (1.0, 0.1), (1.5, 0.1), (4.0, 1.0)] {
            assert_relative_eq!(curve.at(x).0, y, epsilon = 1e-15);
        }
        assert_relative_eq!(curve.at(1.2).0, 0.1, max_relative = 1e-15);
        assert_eq!(curve.at(-3.0).0, 0.0);
        assert_eq!(curve.at(9.0).0, 1.0);
    }

    #[test]
    fn inverse_inverts_and_takes_the_start_of_a_flat() {
        let curve = Pchip::new(vec![0.0, 1.0, 1.5, 4.0], vec![0.0, 0.1, 0.1, 1.0]).unwrap();
        for y in [0.01, 0.05, 0.3, 0.77, 0.999] {
            assert_relative_eq!(curve.at(curve.inverse(y)).0, y, max_relative = 1e-12);
        }
        // The slope vanishes at the flat, so half the digits of y carry over to x.
        assert_relative_eq!(curve.inverse(0.1), 1.0, max_relative = 1e-7);
    }

    #[test]
    fn refuses_knots_that_do_not_rise() {
        assert_eq!(Pchip::new(vec![1.0], vec![1.0]), Err(PchipError::TooFew));
        assert_eq!(Pchip::new(vec![1.0, 1.0], vec![0.0, 1.0]), Err(PchipError::NotRising));
        assert_eq!(Pchip::new(vec![1.0, f64::NAN], vec![0.0, 1.0]), Err(PchipError::NotRising));
    }
}
