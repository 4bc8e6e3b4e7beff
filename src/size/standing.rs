//! A distribution on a few panels of its ln x axis that stand still while its sizes are warped and gaps move: the same nodes and
//! volumes for every draw.

use super::SizeDistribution;
use crate::numerics::panel::{self, ORDER, Values};
use std::array::from_fn;

/// Volume, and volume weighted by x³, left out at the fine and at the coarse end.
const LEFT_OUT: f64 = 1e-5;
/// A hard end this near to where that would be is kept as the end.
const NEAR_END: f64 = 0.3;
/// Fewest panels, and the widest one.
const FEWEST_PANELS: f64 = 8.0;
const WIDEST: f64 = 0.6;

/// Nodes of a distribution.
#[derive(Debug, Clone)]
pub struct StandingPanels {
    /// Panel edges, ln µm, rising; one more than panels.
    edges_ln: Vec<f64>,
    /// The edge at which a warp may change its stretch.
    knee_ln: Option<f64>,
    /// Volume share of each node of each panel.
    share: Vec<Values>,
    /// Legendre coefficients of the density per unit of ln x in each panel.
    density: Vec<Values>,
}

impl StandingPanels {
    /// Panels of `distribution` above `floor_um`, with an edge at `knee_ln` if that lies between them.
    pub fn new(distribution: &SizeDistribution, floor_um: f64, knee_ln: Option<f64>) -> Self {
        let fine = distribution.panels_above(0.0);
        let (first, last) = (fine.edges_ln[0], fine.edges_ln[fine.edges_ln.len() - 1]);
        let low = fine.cumulative(|_| 1.0).quantile(LEFT_OUT).unwrap_or(first).max(floor_um.ln());
        let high = fine.cumulative(|x| x.powi(3)).quantile(1.0 - LEFT_OUT).unwrap_or(last);
        let low = if low - first < NEAR_END { first } else { low.min(high - NEAR_END) };
        let high = if last - high < NEAR_END { last } else { high };
        let edges_ln = edges(low, high, knee_ln);
        let share: Vec<Values> = edges_ln.windows(2).map(|e| projected(distribution, &fine.edges_ln, e)).collect();
        let rule = panel::rule();
        let density = edges_ln
            .windows(2)
            .zip(&share)
            .map(|(e, share)| rule.coefficients(&from_fn(|k| share[k] / (rule.weight[k] * (e[1] - e[0])))));
        let density = density.collect();
        Self { edges_ln, knee_ln, share, density }
    }

    /// Panel edges, ln µm.
    pub(crate) fn edges_ln(&self) -> &[f64] {
        &self.edges_ln
    }

    /// Whether a warp may change its stretch at an edge.
    pub(crate) fn is_knee(&self, edge_ln: f64) -> bool {
        self.knee_ln == Some(edge_ln)
    }

    /// Volume share of each node.
    pub(crate) fn share(&self) -> &[Values] {
        &self.share
    }

    /// Panel in which a size lies, the nearest if none, and where in it (0..1 inside).
    #[inline]
    pub(crate) fn place(&self, ln_x: f64) -> (usize, f64) {
        let last = self.share.len() - 1;
        let inner = &self.edges_ln[1..=last];
        let panel = inner.iter().map(|e| usize::from(*e <= ln_x)).sum::<usize>();
        let (lower, upper) = (self.edges_ln[panel], self.edges_ln[panel + 1]);
        (panel, (ln_x - lower) / (upper - lower))
    }

    /// Density per unit of ln x at a place of a panel.
    #[inline]
    pub(crate) fn density(&self, panel: usize, part: f64) -> f64 {
        panel::value(&self.density[panel], part)
    }
}

/// Panels of equal width from `low` to `high`, or from one of them to the knee.
fn edges(low: f64, high: f64, knee_ln: Option<f64>) -> Vec<f64> {
    let width = ((high - low) / FEWEST_PANELS).min(WIDEST);
    let mut edges = vec![low];
    let mut start = low;
    for end in knee_ln.into_iter().filter(|k| *k > low && *k < high).chain([high]) {
        let pieces = ((end - start) / width * (1.0 - 1e-9)).ceil().max(1.0);
        edges.extend((1..pieces as usize).map(|i| start + (end - start) * i as f64 / pieces));
        edges.push(end);
        start = end;
    }
    edges
}

/// Shares of the nodes of one panel that integrate every polynomial of degree 5 over the distribution exactly, kinks and steps of its
/// density included: what a value at the node adds to the polynomial through all of them, integrated on the fine panels.
fn projected(distribution: &SizeDistribution, fine: &[f64], edge: &[f64]) -> Values {
    let rule = panel::rule();
    let mut cuts = vec![edge[0]];
    cuts.extend(fine.iter().filter(|e| **e > edge[0] && **e < edge[1]));
    cuts.push(edge[1]);
    let mut share = [0.0; ORDER];
    for cut in cuts.windows(2) {
        let half = 0.5 * (cut[1] - cut[0]);
        for start in [cut[0], cut[0] + half] {
            for (node, weight) in rule.node.iter().zip(&rule.weight) {
                let ln_x = start + half * node;
                let volume = half * weight * distribution.density_ln(ln_x);
                let basis = rule.basis((ln_x - edge[0]) / (edge[1] - edge[0]));
                share.iter_mut().zip(basis).for_each(|(s, b)| *s += volume * b);
            }
        }
    }
    share
}
