//! Gauss-Legendre quadrature on panels: a density sampled on adjoining ones, with its running integral. The rule itself is the
//! kernel's.

pub use gritwise_kernel::rule::{ORDER, Rule, Values, rule};

/// A density sampled on adjoining panels of one coordinate, with its running integral and percentiles.
#[derive(Debug, Clone)]
pub struct Cumulative {
    edges: Vec<f64>,
    values: Vec<Values>,
    before: Vec<f64>,
}

impl Cumulative {
    /// From the panel edges (rising, one more than panels) and the density per unit of the coordinate at the nodes.
    pub fn new(edges: Vec<f64>, values: Vec<Values>) -> Self {
        let rule = rule();
        let mut before = Vec::with_capacity(values.len() + 1);
        let mut sum = 0.0;
        before.push(sum);
        for (edge, panel) in edges.windows(2).zip(&values) {
            sum += (edge[1] - edge[0]) * rule.integral(panel);
            before.push(sum);
        }
        Self { edges, values, before }
    }

    /// Integral over all panels.
    pub fn total(&self) -> f64 {
        self.before[self.before.len() - 1]
    }

    /// Integral below `x`.
    pub fn below(&self, x: f64) -> f64 {
        let panels = self.values.len();
        if panels == 0 || x <= self.edges[0] {
            return 0.0;
        }
        if x >= self.edges[panels] {
            return self.total();
        }
        let i = self.edges.partition_point(|&e| e <= x) - 1;
        let width = self.edges[i + 1] - self.edges[i];
        let (part, _) = rule().running(&self.values[i], (x - self.edges[i]) / width);
        self.before[i] + width * part
    }

    /// Where the share `p` (0..1) of the total lies below; `None` when there is nothing.
    pub fn quantile(&self, p: f64) -> Option<f64> {
        let total = self.total();
        if total.is_nan() || total <= 0.0 {
            return None;
        }
        let target = p * total;
        let i = self.before.partition_point(|&b| b < target).clamp(1, self.values.len()) - 1;
        let (lo, width) = (self.edges[i], self.edges[i + 1] - self.edges[i]);
        let wanted = (target - self.before[i]) / width;
        let s = super::roots::newton_bracketed(
            |s| {
                let (part, value) = rule().running(&self.values[i], s);
                (part - wanted, value)
            },
            0.0,
            1.0,
            0.5,
            1e-13,
        );
        Some(lo + width * s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn cumulative_of_an_exponential() {
        let edges: Vec<f64> = (0..=20).map(f64::from).collect();
        let values = edges.windows(2).map(|e| rule().node.map(|s| (-(e[0] + s)).exp())).collect();
        let c = Cumulative::new(edges, values);
        assert_relative_eq!(c.below(2.5), 1.0 - (-2.5_f64).exp(), max_relative = 1e-7);
        let median = c.quantile(0.5).unwrap();
        assert_relative_eq!(median, std::f64::consts::LN_2, max_relative = 1e-6);
        assert!(Cumulative::new(vec![0.0, 1.0], vec![[0.0; ORDER]]).quantile(0.5).is_none());
    }
}
