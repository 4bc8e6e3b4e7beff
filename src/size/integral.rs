//! The integral over grain sizes. It is written here once; statistics, rub and pictures use it.

use super::SizeDistribution;
use crate::numerics::panel::{self, Cumulative, ORDER, Values};
use std::array::from_fn;

/// Panels wider than this on the ln x axis are halved until they are not: the powers of x that are integrated grow
/// e^4-fold over a unit of ln x, which six nodes still resolve to about 1e-7.
const WIDEST_PANEL: f64 = 1.2;

/// Share of the volume above the floor under which a coarse panel is dropped; at the most it is weighted by x once more.
const NEGLIGIBLE: f64 = 2e-9;

/// Gauss nodes of a distribution by volume: sizes, and the volume share each stands for.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct SizePanels {
    /// Panel edges, ln µm, rising; one more than panels.
    pub edges_ln: Vec<f64>,
    /// Node sizes of each panel, µm, rising.
    pub size_um: Vec<Values>,
    /// Volume share of each node; all shares sum to 1, less what lies below the floor.
    pub share: Vec<Values>,
}

impl SizePanels {
    /// Panels of `distribution`, without those that lie wholly below `floor_um` (0 keeps all).
    pub(super) fn above(distribution: &SizeDistribution, floor_um: f64) -> Self {
        let rule = panel::rule();
        let edges_ln = edges_above(distribution, floor_um.ln());
        let edge_um: Vec<f64> = edges_ln.iter().map(|e| e.exp()).collect();
        let share = edges_ln.windows(2).map(|edge| {
            let width = edge[1] - edge[0];
            from_fn(|k| width * rule.weight[k] * distribution.density_ln(edge[0] + width * rule.node[k]))
        });
        let share = share.collect();
        let mut panels = Self { edges_ln, size_um: Vec::with_capacity(edge_um.len()), share };
        panels.lay_sizes(&edge_um);
        if floor_um > 0.0 {
            panels.drop_empty_top();
        }
        panels
    }

    /// Adds the sizes of the nodes of every panel; `edge_um` are the edges in µm.
    pub(crate) fn lay_sizes(&mut self, edge_um: &[f64]) {
        let rule = panel::rule();
        // Panels of a law are mostly of one width, and so are the steps of size within them.
        let (mut last_width, mut steps) = (0.0_f64, [1.0; ORDER]);
        for (edge, start) in self.edges_ln.windows(2).zip(edge_um) {
            let width = edge[1] - edge[0];
            if (width - last_width).abs() > 1e-13 {
                (last_width, steps) = (width, rule.node.map(|s| (width * s).exp()));
            }
            self.size_um.push(steps.map(|step| start * step));
        }
    }

    /// Drops coarse panels that hold next to nothing: a law goes on for ever, its grains do not.
    pub(crate) fn drop_empty_top(&mut self) {
        let sum = |panel: &Values| panel.iter().sum::<f64>();
        let total: f64 = self.share.iter().map(sum).sum();
        while self.share.len() > 1 && self.share.last().map_or(total, sum) <= NEGLIGIBLE * total {
            self.share.pop();
            self.size_um.pop();
            self.edges_ln.pop();
        }
    }

    /// ∫ f(x) dQ3.
    pub fn integrate(&self, f: impl Fn(f64) -> f64) -> f64 {
        let nodes = self.size_um.iter().zip(&self.share);
        nodes.map(|(size, share)| size.iter().zip(share).map(|(&x, v)| v * f(x)).sum::<f64>()).sum()
    }

    /// The running integral of f(x) dQ3 over ln x.
    pub fn cumulative(&self, f: impl Fn(f64) -> f64) -> Cumulative {
        let weight = panel::rule().weight;
        let values = self.edges_ln.windows(2).zip(self.size_um.iter().zip(&self.share)).map(|(edge, (size, share))| {
            let width = edge[1] - edge[0];
            from_fn(|k| share[k] * f(size[k]) / (width * weight[k]))
        });
        Cumulative::new(self.edges_ln.clone(), values.collect())
    }
}

fn edges_above(distribution: &SizeDistribution, floor_ln: f64) -> Vec<f64> {
    let coarse = distribution.edges_ln();
    let first = coarse.iter().skip(1).position(|&hi| hi > floor_ln);
    let Some(first) = first else { return Vec::new() };
    let mut edges = vec![coarse[first]];
    for pair in coarse[first..].windows(2) {
        let pieces = ((pair[1] - pair[0]) / WIDEST_PANEL).ceil().max(1.0);
        let mut i = 1.0;
        while i <= pieces {
            let edge = if i == pieces { pair[1] } else { pair[0] + (pair[1] - pair[0]) * i / pieces };
            if edge <= floor_ln {
                edges[0] = edge;
            } else {
                edges.push(edge);
            }
            i += 1.0;
        }
    }
    edges
}
