//! Minimum of a function of one number by golden sections, and of a smooth one of several by the BFGS method (J. Nocedal and S. J. Wright, *Numerical
//! Optimization*, 2nd ed., algorithm 6.1, with a backtracking line search).

use ndarray::{Array1, Array2};

const MOST_STEPS: usize = 300;

/// The shorter part of a stretch cut in the golden ratio is to the longer as that is to the whole.
const GOLDEN: f64 = 0.618_033_988_749_894_8;

/// The middle of what golden sections leave of `low..high` around a minimum of `f`, after narrowing it so many times (J. Kiefer, *Sequential
/// minimax search for a maximum*, Proc. Amer. Math. Soc. 4, 1953); each narrowing costs one value. `None` as soon as `f` gives none.
pub fn golden_section(
    mut f: impl FnMut(f64) -> Option<f64>,
    mut low: f64,
    mut high: f64,
    narrowings: usize,
) -> Option<f64> {
    // One of the two inner points of a stretch is one of the stretch before.
    let (mut at_left, mut at_right) = (None, None);
    for _ in 0..narrowings {
        let width = GOLDEN * (high - low);
        let (left, right) = (high - width, low + width);
        let value_left = at_left.map_or_else(|| f(left), Some)?;
        let value_right = at_right.map_or_else(|| f(right), Some)?;
        if value_left <= value_right {
            (high, at_left, at_right) = (right, None, Some(value_left));
        } else {
            (low, at_left, at_right) = (left, Some(value_right), None);
        }
    }
    Some(0.5 * (low + high))
}

/// The minimum near `start` of a function that gives its value and gradient. Ends when the gradient has vanished
/// (1e-8 of one plus the value) or no step goes down any more.
pub fn bfgs(start: &[f64], of: impl Fn(&[f64]) -> (f64, Vec<f64>)) -> (Vec<f64>, f64) {
    let n = start.len();
    let mut x = Array1::from(start.to_vec());
    let evaluate = |x: &Array1<f64>| {
        let (value, gradient) = of(&x.to_vec());
        (if value.is_finite() { value } else { f64::INFINITY }, Array1::from(gradient))
    };
    let (mut value, mut gradient) = evaluate(&x);
    let mut inverse: Array2<f64> = Array2::eye(n);
    for _ in 0..MOST_STEPS {
        if gradient.iter().all(|g| g.abs() <= 1e-8 * (1.0 + value.abs())) {
            break;
        }
        let mut direction = -inverse.dot(&gradient);
        let mut fall = direction.dot(&gradient);
        if fall >= 0.0 {
            inverse = Array2::eye(n);
            direction = -&gradient;
            fall = direction.dot(&gradient);
        }
        let trial = (0..50).find_map(|halvings| {
            let step = 0.5f64.powi(halvings);
            let to = &x + &(&direction * step);
            let (next, slope) = evaluate(&to);
            (next <= value + 1e-4 * step * fall).then_some((to, next, slope))
        });
        let Some((to, next, slope)) = trial else { break };
        let (s, y) = (&to - &x, &slope - &gradient);
        let sy = s.dot(&y);
        if sy > 1e-14 * s.dot(&s).sqrt() * y.dot(&y).sqrt() {
            let hy = inverse.dot(&y);
            let more = (sy + y.dot(&hy)) / (sy * sy);
            for i in 0..n {
                for j in 0..n {
                    inverse[[i, j]] += more * s[i] * s[j] - (hy[i] * s[j] + s[i] * hy[j]) / sy;
                }
            }
        }
        (x, value, gradient) = (to, next, slope);
    }
    (x.to_vec(), value)
}

#[cfg(test)]
mod tests {
    use super::bfgs;
    use approx::assert_relative_eq;

    #[test]
    fn rosenbrock() {
        // H. H. Rosenbrock, Computer Journal 3 (1960) 175: minimum 0 at (1, 1), from (−1.2, 1).
        let (at, value) = bfgs(&[-1.2, 1.0], |x| {
            let (a, b) = (1.0 - x[0], x[1] - x[0] * x[0]);
            (a * a + 100.0 * b * b, vec![-2.0 * a - 400.0 * x[0] * b, 200.0 * b])
        });
        assert_relative_eq!(at[0], 1.0, epsilon = 1e-6);
        assert_relative_eq!(at[1], 1.0, epsilon = 1e-6);
        assert!(value < 1e-12);
    }
}
