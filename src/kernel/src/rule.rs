//! Gauss-Legendre quadrature on panels, with the running integral inside a panel.
//!
//! A panel carries [`ORDER`] values of a function at the Gauss nodes of the unit interval. Six nodes integrate a
//! polynomial of degree 11 exactly; the polynomial of degree 5 through the values gives the running integral, so that
//! percentiles need no second sampling. Every integral over grain sizes goes through here.

use crate::lanes::{Lanes, Real, Simd};
use std::array::from_fn;
use std::sync::LazyLock;

/// Gauss nodes in a panel.
pub const ORDER: usize = 6;

/// The values of a function at the nodes of one panel.
pub type Values = [f64; ORDER];

/// Nodes and weights of the unit interval, and the map from node values to Legendre coefficients.
#[derive(Debug)]
pub struct Rule {
    /// Abscissas in 0..1, rising.
    pub node: Values,
    /// Weights; they sum to 1.
    pub weight: Values,
    /// `legendre[j][k]`: what the value at node `k` adds to the coefficient of the shifted Legendre polynomial `j`.
    legendre: [Values; ORDER],
    /// The same from value times weight.
    of_added: [[f32; ORDER]; ORDER],
}

static RULE: LazyLock<Rule> = LazyLock::new(Rule::new);

/// The rule in use.
#[inline]
pub fn rule() -> &'static Rule {
    &RULE
}

impl Rule {
    fn new() -> Self {
        let (mut node, mut weight) = ([0.0; ORDER], [0.0; ORDER]);
        for k in 0..ORDER {
            let (x, slope) = gauss_node(k);
            node[ORDER - 1 - k] = 0.5 * (1.0 + x);
            weight[ORDER - 1 - k] = 1.0 / ((1.0 - x * x) * slope * slope);
        }
        let mut legendre = [[0.0; ORDER]; ORDER];
        for k in 0..ORDER {
            let p = legendre_values(2.0 * node[k] - 1.0);
            for j in 0..ORDER {
                legendre[j][k] = (2 * j + 1) as f64 * weight[k] * p[j];
            }
        }
        let of_added = legendre.map(|row| from_fn(|k| (row[k] / weight[k]) as f32));
        Self { node, weight, legendre, of_added }
    }

    /// Integral over the whole unit panel.
    #[inline]
    pub fn integral(&self, values: &Values) -> f64 {
        values.iter().zip(&self.weight).map(|(v, w)| v * w).sum()
    }

    /// Integral from 0 to `s` (0..1), and the interpolated value at `s`.
    pub fn running(&self, values: &Values, s: f64) -> (f64, f64) {
        running(&self.coefficients(values), s)
    }

    /// The integral from `s` (0..1) to the end, and the interpolated value at `s`, of panels side by side; from what their nodes add
    /// to the whole integral, which is value times weight.
    #[inline(always)]
    pub fn remaining<S: Simd>(&self, added: &[Lanes<S>; ORDER], s: Lanes<S>) -> (Lanes<S>, Lanes<S>) {
        let t = s * 2.0 - 1.0;
        let (mut integral, mut value) = (s.constant(0.0), s.constant(0.0));
        let (mut before, mut p) = (s.constant(1.0), s.constant(1.0));
        for (j, row) in self.of_added.iter().enumerate() {
            let n = j as f32;
            let next = t * p * ((2.0 * n + 1.0) / (n + 1.0)) - before * (n / (n + 1.0));
            let mut coefficient = s.constant(0.0);
            for (of_added, added) in row.iter().zip(added) {
                coefficient += *added * *of_added;
            }
            // As in `running`; for the polynomial 1 the one before counts as 1.
            integral += coefficient * (before - next) * INTEGRAL_SCALE[j] as f32;
            value += coefficient * p;
            (before, p) = (p, next);
        }
        (integral, value)
    }

    /// Legendre coefficients of the polynomial through the values at the nodes.
    #[inline]
    pub fn coefficients(&self, values: &Values) -> Values {
        self.legendre.map(|row| row.iter().zip(values).map(|(m, v)| m * v).sum())
    }

    /// What the value at each node adds to the interpolated value at `s`.
    pub fn basis(&self, s: f64) -> Values {
        let p = legendre_values(2.0 * s - 1.0);
        from_fn(|k| (0..ORDER).map(|j| self.legendre[j][k] * p[j]).sum())
    }
}

/// Integral from 0 to `s` (0..1) of a polynomial given by its coefficients, and its value at `s`.
#[inline]
fn running(coefficients: &Values, s: f64) -> (f64, f64) {
    let p = legendre_values(2.0 * s - 1.0);
    let mut integral = coefficients[0] * s;
    for j in 1..ORDER {
        // The integral of P_j from -1 to t is (P_{j+1}(t) - P_{j-1}(t)) / (2j + 1); half of it on 0..1.
        integral += coefficients[j] * (p[j + 1] - p[j - 1]) * INTEGRAL_SCALE[j];
    }
    (integral, coefficients.iter().zip(p).map(|(c, p)| c * p).sum())
}

/// 1 / (2 (2j + 1)).
const INTEGRAL_SCALE: Values = [0.5, 1.0 / 6.0, 0.1, 1.0 / 14.0, 1.0 / 18.0, 1.0 / 22.0];

/// Legendre polynomials of degree 0 to [`ORDER`] at `t` in -1..1.
#[inline]
fn legendre_values(t: f64) -> [f64; ORDER + 1] {
    let mut p = [1.0; ORDER + 1];
    p[1] = t;
    for j in 1..ORDER {
        let n = j as f64;
        // Products of constants once the loop is unrolled: no division.
        p[j + 1] = ((2.0 * n + 1.0) / (n + 1.0)) * t * p[j] - (n / (n + 1.0)) * p[j - 1];
    }
    p
}

/// The `k`-th root of the Legendre polynomial of degree [`ORDER`], counted from the right, and its slope there.
fn gauss_node(k: usize) -> (f64, f64) {
    let n = ORDER as f64;
    let mut x = (std::f64::consts::PI * (k as f64 + 0.75) / (n + 0.5)).cos();
    let mut slope = 1.0;
    for _ in 0..20 {
        let p = legendre_values(x);
        slope = n * (x * p[ORDER] - p[ORDER - 1]) / (x * x - 1.0);
        x -= p[ORDER] / slope;
    }
    (x, slope)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lanes::{Level, on_registers};
    use approx::assert_relative_eq;
    use fearless_simd::prelude::*;

    #[test]
    fn nodes_and_weights_match_the_handbook() {
        // Abramowitz and Stegun, Handbook of Mathematical Functions, table 25.4, n = 6 (here on 0..1, weights halved).
        let rule = rule();
        assert_relative_eq!(2.0 * rule.node[5] - 1.0, 0.932_469_514_203_152, max_relative = 1e-14);
        assert_relative_eq!(2.0 * rule.node[3] - 1.0, 0.238_619_186_083_197, max_relative = 1e-14);
        assert_relative_eq!(2.0 * rule.weight[5], 0.171_324_492_379_170, max_relative = 1e-13);
        assert_relative_eq!(2.0 * rule.weight[2], 0.467_913_934_572_691, max_relative = 1e-13);
        assert_relative_eq!(rule.weight.iter().sum::<f64>(), 1.0, max_relative = 1e-14);
    }

    #[test]
    fn integrates_degree_eleven_and_runs_exactly_on_degree_five() {
        let rule = rule();
        let eleven = rule.node.map(|s| s.powi(11));
        assert_relative_eq!(rule.integral(&eleven), 1.0 / 12.0, max_relative = 1e-13);
        let five = rule.node.map(|s| 1.0 - 2.0 * s + s.powi(5));
        let s = 0.37_f64;
        let (integral, value) = rule.running(&five, s);
        assert_relative_eq!(integral, s - s * s + s.powi(6) / 6.0, max_relative = 1e-12);
        assert_relative_eq!(value, 1.0 - 2.0 * s + s.powi(5), max_relative = 1e-12);
        let [beyond, values] = on_registers!(Level::new(), simd => {
            let added = from_fn(|k| Lanes::splat(simd, (five[k] * rule.weight[k]) as f32));
            let (beyond, values) = rule.remaining(&added, [s as f32, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 1.0].simd_into(simd));
            [beyond.to_array(), values.to_array()]
        });
        let whole = rule.integral(&five);
        for (found, wanted) in [(beyond[0], whole - integral), (beyond[1], whole), (values[0], value), (values[1], 1.0)]
        {
            assert!((f64::from(found) - wanted).abs() < 1e-6, "{found} {wanted}");
        }
    }
}
