//! Grains that have lost a layer: every diameter is less by the same loss, and a grain keeps (1 − loss / x)³ of its volume.

use super::{SizeDistribution, SizePanels};
use crate::numerics::panel::Cumulative;
use std::sync::OnceLock;

/// Where the finest panel starts, of the finest whole one or the largest grain: the density falls as the fourth power below.
const FINEST: f64 = 1e-3;

/// A distribution less a layer. Only what is asked for is worked out: the rub needs densities alone.
#[derive(Debug, Clone)]
pub(super) struct Worn {
    of: SizeDistribution,
    loss_um: f64,
    /// Share of the volume that is left, 0..1.
    left: f64,
    /// The volume left over ln x of the grains as they were.
    running: OnceLock<Cumulative>,
}

impl PartialEq for Worn {
    fn eq(&self, other: &Self) -> bool {
        self.of == other.of && self.loss_um == other.loss_um
    }
}

/// Share of its volume that a grain of a size keeps.
fn kept(size_um: f64, loss_um: f64) -> f64 {
    (1.0 - loss_um / size_um).max(0.0).powi(3)
}

impl Worn {
    /// `panels` are those of `of`, above 0; `None` when less than the share `least` of the volume is left.
    pub fn new(of: &SizeDistribution, panels: &SizePanels, loss_um: f64, least: f64) -> Option<Self> {
        let left = panels.integrate(|x| kept(x, loss_um));
        let some = left > least && loss_um > 0.0;
        some.then(|| Self { of: of.clone(), loss_um, left, running: OnceLock::new() })
    }

    fn running(&self) -> &Cumulative {
        // On the panels of what is left, so that no panel straddles the size at which grains are gone.
        self.running.get_or_init(|| {
            let worn = SizeDistribution::from(self.clone());
            worn.panels_above(0.0).cumulative(|_| 1.0)
        })
    }

    pub fn undersize_ln(&self, ln_x: f64) -> f64 {
        let running = self.running();
        (running.below(ln_x) / running.total()).clamp(0.0, 1.0)
    }

    pub fn density_ln(&self, ln_x: f64) -> f64 {
        let now = ln_x.exp();
        let before = now + self.loss_um;
        // d ln before / d ln now is now / before, and the volume kept its cube.
        self.of.density_ln(before.ln()) * (now / before).powi(4) / self.left
    }

    pub fn quantile(&self, p: f64) -> f64 {
        match p {
            p if p <= 0.0 => (self.of.quantile(0.0) - self.loss_um).max(0.0),
            p if p >= 1.0 => self.of.quantile(1.0) - self.loss_um,
            p => self.running().quantile(p).map_or(0.0, f64::exp),
        }
    }

    pub fn scaled(&self, factor: f64) -> Self {
        let of = self.of.scaled(factor);
        Self { of, loss_um: self.loss_um * factor, left: self.left, running: OnceLock::new() }
    }

    /// The edges of the grains as they were, moved by the loss, with a start under the finest.
    pub fn edges_ln(&self) -> Vec<f64> {
        let before: Vec<f64> = self.of.edges_ln().into_iter().map(f64::exp).collect();
        let mut edges: Vec<f64> = before.iter().map(|x| x - self.loss_um).filter(|y| *y > 0.0).collect();
        let whole = before.first().is_some_and(|x| *x > self.loss_um);
        if let (false, Some(first), Some(last)) = (whole, edges.first().copied(), edges.last().copied()) {
            edges.insert(0, FINEST * first.min(self.loss_um).min(last));
        }
        edges.into_iter().map(f64::ln).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::law::Law;
    use crate::units::Micrometres;
    use approx::assert_relative_eq;

    fn um(v: f64) -> Micrometres {
        Micrometres::new(v).unwrap()
    }

    /// The share of the volume in grains finer than `y` after the loss, by summing over many slices of the grains before.
    fn summed(of: &SizeDistribution, loss: f64, y: f64) -> f64 {
        let (low, high) = (of.quantile(1e-9).max(1e-3).ln(), of.quantile(1.0 - 1e-12).ln());
        let count = 200_000;
        let (mut finer, mut all) = (0.0, 0.0);
        for i in 0..count {
            let ln_x = low + (high - low) * (f64::from(i) + 0.5) / f64::from(count);
            let volume = of.density_ln(ln_x) * kept(ln_x.exp(), loss);
            all += volume;
            finer += if ln_x.exp() - loss < y { volume } else { 0.0 };
        }
        finer / all
    }

    #[test]
    fn what_is_left_is_what_slices_sum_to() {
        let shapes = [
            SizeDistribution::from(Law::log_normal(um(143.0), 1.5).unwrap()),
            SizeDistribution::from(Law::log_normal(um(400.0), 1.02).unwrap()),
            SizeDistribution::from(Law::rosin_rammler(um(300.0), 1.8).unwrap()),
            SizeDistribution::percentiles(&[(10.0, um(120.0)), (50.0, um(245.0)), (90.0, um(390.0))]).unwrap(),
            SizeDistribution::measured(&[(um(20.0), 0.0), (um(200.0), 0.4), (um(210.0), 0.4), (um(900.0), 1.0)])
                .unwrap(),
        ];
        for of in shapes {
            for part in [0.02, 0.3, 0.9, 1.5] {
                let loss = part * of.quantile(0.5);
                let Some(worn) = Worn::new(&of, &of.panels_above(0.0), loss, 1e-6) else { continue };
                let left = worn.left;
                let worn = SizeDistribution::from(worn);
                // The share that is left is summed over panels of which one straddles the size at which grains are gone; the
                // mass left is told by the same sum, so that it cancels from the number of grains. Of the volume before:
                let whole = worn.panels_above(0.0).integrate(|_| 1.0);
                assert_relative_eq!(left * whole, left, epsilon = 5e-6);
                for p in [0.05, 0.5, 0.95, 0.99] {
                    let y = worn.quantile(p);
                    assert_relative_eq!(worn.undersize(y), p, max_relative = 1e-6);
                    assert_relative_eq!(summed(&of, loss, y), p, epsilon = 2e-4);
                }
                let twice = worn.scaled(2.0);
                assert_relative_eq!(twice.quantile(0.5), 2.0 * worn.quantile(0.5), max_relative = 1e-6);
                assert!(worn.quantile(1.0) <= of.quantile(1.0) - loss);
            }
        }
    }
}
