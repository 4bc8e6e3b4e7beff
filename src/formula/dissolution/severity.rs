//! What a rub does with grains that have lost layers. It hangs on the losses and on how corners round, not on the time, so it
//! is worked out once at a few losses and serves every course of the rub.

use super::{Dissolving, DissolvingScrub, GONE, roundness_after};
use crate::numerics::pchip::Pchip;
use crate::rub::{Grains, Partition, Population, RubModel, SiteRub};
use crate::size::SizeDistribution;

/// Losses at which the rub is solved.
const KNOTS: usize = 40;

/// Volume coarser than the size at which a powder is taken to have stopped to rub.
const NO_MORE: f64 = 1e-6;

/// Depth-weighted removal at the reference rub, of what is left of a scrub.
pub(in crate::formula) struct Severities<'s> {
    scrub: &'s DissolvingScrub<'s>,
    model: &'s RubModel,
    way: Way,
}

enum Way {
    /// The powders of a shared rub add up, and so do one that dissolves and all that do not: what does not change, and what
    /// each powder that dissolves brings.
    Curves(f64, Vec<Option<Curves>>),
    /// Several powders that dissolve in a grain-borne rub: each sets the gap for the others.
    Joint,
}

/// What one powder brings over its loss, µm², for some growths of corners, rising.
struct Curves {
    end_um: f64,
    growths: Vec<f64>,
    /// Evenly in the root of the loss.
    over_root: Vec<Pchip>,
    start_um: f64,
}

impl<'s> Severities<'s> {
    /// For the growths of corners that will be asked for, rising; between them what the rub does is taken as a line.
    pub fn new(scrub: &'s DissolvingScrub<'s>, model: &'s RubModel, growths: &[f64]) -> Self {
        let mut found = Self { scrub, model, way: Way::Joint };
        let start: Vec<f64> = scrub.powders.iter().map(|p| p.jar.loss_um).collect();
        let growth = growths[0];
        let soluble = scrub.powders.iter().filter(|p| p.left.is_some()).count();
        let first = found.rub(&start, growth, |_| true);
        let curves = |alone: bool| {
            let powders = scrub.powders.iter().enumerate().map(|(i, p)| {
                let of = |loss: f64, growth: f64| {
                    let mut losses = start.clone();
                    losses[i] = loss;
                    found.rub(&losses, growth, |k| !alone || k == i).total_severity()
                };
                p.left.as_ref().map(|_| Curves::new(p, model.reference_site().gap_um, growths, of))
            });
            powders.collect::<Vec<_>>()
        };
        if first.partition == Partition::Shared {
            // Grains that shrink carry less: what is shared at the start is shared to the end.
            let kept = found.rub(&start, growth, |k| scrub.powders[k].left.is_none());
            found.way = Way::Curves(kept.total_severity(), curves(true));
        } else if soluble <= 1 {
            found.way = Way::Curves(0.0, curves(false));
        }
        found
    }

    /// Depth-weighted removal with losses of diameter, µm, and a growth of corners.
    pub fn at(&self, losses: &[f64], growth: f64) -> f64 {
        match &self.way {
            Way::Curves(kept, curves) => {
                let parts = curves.iter().zip(losses).filter_map(|(c, loss)| Some(c.as_ref()?.at(*loss, growth)));
                kept + parts.sum::<f64>()
            }
            Way::Joint => self.rub(losses, growth, |_| true).total_severity(),
        }
    }

    /// Losses beyond which each powder no longer rubs, µm.
    pub fn ends_um(&self) -> Vec<f64> {
        let gap_um = self.model.reference_site().gap_um;
        self.scrub.powders.iter().map(|p| end_um(p, gap_um)).collect()
    }

    /// The index that a mean severity makes.
    pub fn index(&self, severity: f64) -> f64 {
        100.0 * (severity / self.model.severity_at(100.0)).sqrt()
    }

    /// The reference rub of the powders that `takes` names by their places.
    fn rub(&self, losses: &[f64], growth: f64, takes: impl Fn(usize) -> bool) -> SiteRub {
        let mut left: Vec<(&Dissolving, SizeDistribution, f64, f64)> = Vec::new();
        let powders = self.scrub.powders.iter().zip(losses).enumerate().filter(|(i, _)| takes(*i));
        for (_, (p, loss)) in powders {
            let share = if p.left.is_some() { p.grains.left(*loss) } else { 1.0 };
            if let Some(distribution) = p.grains.shrunk(*loss).filter(|_| share > GONE) {
                let roundness = roundness_after(p.powder, p.median_um, *loss, growth).get();
                left.push((p, distribution, share * p.pct / 100.0 / p.powder.density.get(), roundness));
            }
        }
        let floor_um = self.model.reference_site().gap_um;
        let grains = left.iter().map(|(p, distribution, _, roundness)| {
            let powder = p.powder;
            Grains::new(distribution, powder.density.get(), powder.hardness.get(), *roundness, floor_um)
        });
        let population = Population { grains: grains.collect() };
        let volumes: Vec<f64> = left.iter().map(|l| l.2).collect();
        self.model.rub_at(self.model.reference_position(), &population, &volumes)
    }
}

/// The loss at which next to no grain of a powder is left that is wider than the gap, µm.
fn end_um(powder: &Dissolving, gap_um: f64) -> f64 {
    let coarsest = powder.grains.distribution.quantile(1.0 - NO_MORE).min(powder.grains.largest_um);
    (coarsest - gap_um).max(powder.jar.loss_um)
}

impl Curves {
    fn new(powder: &Dissolving, gap_um: f64, growths: &[f64], of: impl Fn(f64, f64) -> f64) -> Self {
        let (start_um, end_um) = (powder.jar.loss_um, end_um(powder, gap_um));
        // Close steps at the start: the coarsest grains of a wide powder are few, and go last.
        let roots: Vec<f64> =
            (0..=KNOTS).map(|j| ((end_um - start_um).max(1e-9)).sqrt() * j as f64 / KNOTS as f64).collect();
        let curve = |growth: &f64| {
            let values = roots.iter().map(|root| of(start_um + root * root, *growth)).collect();
            Pchip::new(roots.clone(), values).ok()
        };
        let over_root = growths.iter().filter_map(curve).collect();
        Self { end_um, growths: growths.to_vec(), over_root, start_um }
    }

    fn at(&self, loss: f64, growth: f64) -> f64 {
        let root = (loss.min(self.end_um) - self.start_um).max(0.0).sqrt();
        let value = |k: usize| self.over_root.get(k).map_or(0.0, |c| c.at(root).0);
        let above = self.growths.partition_point(|g| *g < growth).min(self.growths.len() - 1);
        let below = above.saturating_sub(1);
        let (low, high) = (self.growths[below], self.growths[above]);
        let part = if high > low { ((growth - low) / (high - low)).clamp(0.0, 1.0) } else { 1.0 };
        value(below) * (1.0 - part) + value(above) * part
    }
}
