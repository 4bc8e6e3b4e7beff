//! The integral over grain sizes. It is written here once; statistics, rub and pictures use it.

use super::SizeDistribution;
use crate::numerics::panel::{self, Cumulative, ORDER, Values};

/// Panels wider than this on the ln x axis are halved until they are not: the powers of x that are integrated grow
/// e^4-fold over a unit of ln x, which six nodes still resolve to about 1e-7.
const WIDEST_PANEL: f64 = 1.2;

/// Gauss nodes of a distribution by volume: sizes, and the volume share each stands for.
#[derive(Debug, Clone, Default)]
pub struct SizePanels {
    /// Panel edges, ln µm, rising; one more than panels.
    pub edges_ln: Vec<f64>,
    /// Node sizes, µm, [`ORDER`] per panel, rising.
    pub size_um: Vec<f64>,
    /// Volume share of each node; all shares sum to 1, less what lies below the floor.
    pub share: Vec<f64>,
}

impl SizePanels {
    /// Panels of `distribution`, without those that lie wholly below `floor_um` (0 keeps all).
    pub(super) fn above(distribution: &SizeDistribution, floor_um: f64) -> Self {
        let mut panels = Self { edges_ln: edges_above(distribution, floor_um.ln()), ..Self::default() };
        let rule = panel::rule();
        let count = panels.edges_ln.len().saturating_sub(1) * ORDER;
        panels.size_um.reserve(count);
        panels.share.reserve(count);
        for edge in panels.edges_ln.windows(2) {
            let width = edge[1] - edge[0];
            for (s, w) in rule.node.iter().zip(&rule.weight) {
                let ln_x = edge[0] + width * s;
                panels.size_um.push(ln_x.exp());
                panels.share.push(width * w * distribution.density_ln(ln_x));
            }
        }
        panels
    }

    /// ∫ f(x) dQ3.
    pub fn integrate(&self, f: impl Fn(f64) -> f64) -> f64 {
        self.size_um.iter().zip(&self.share).map(|(&x, v)| v * f(x)).sum()
    }

    /// The running integral of f(x) dQ3 over ln x.
    pub fn cumulative(&self, f: impl Fn(f64) -> f64) -> Cumulative {
        let weight = panel::rule().weight;
        let values = self
            .edges_ln
            .windows(2)
            .enumerate()
            .map(|(i, edge)| {
                let width = edge[1] - edge[0];
                std::array::from_fn::<f64, ORDER, _>(|k| {
                    let node = i * ORDER + k;
                    self.share[node] * f(self.size_um[node]) / (width * weight[k])
                })
            })
            .collect::<Vec<Values>>();
        Cumulative::new(self.edges_ln.clone(), values)
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
