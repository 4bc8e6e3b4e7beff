//! What a rub does with grains that have lost layers. It hangs on the losses and on how corners round, not on the time, so it
//! is worked out once at a few losses and serves every course of the rub.

use super::{Dissolving, DissolvingScrub, GONE, roundness_after};
use crate::numerics::pchip::Pchip;
use crate::rub::{Grains, Partition, Population, RubModel, SiteRub};
use crate::size::SizeDistribution;

/// Steps of loss in each piece at which the rub is solved, and for what serves the interval alone.
const KNOTS: usize = 20;
const FEWER_KNOTS: usize = 8;

/// Halvings by which the end of a grain-borne rub is found: to a ten-thousandth of the way.
const HALVINGS: usize = 13;

/// Losses at which what a powder does takes a turn, µm, rising: the rub is no longer grain-borne and the corners are round, in either
/// order; last, next to no grain is wider than the gap.
pub(super) type Turns = [f64; 3];

/// Volume coarser than the size at which a powder is taken to have stopped to rub.
const NO_MORE: f64 = 1e-6;

/// Depth-weighted removal at the reference rub, of what is left of a scrub.
pub(in crate::formula) struct Severities<'s> {
    scrub: &'s DissolvingScrub<'s>,
    model: &'s RubModel,
    /// The loss of each powder at which the rub that its grains bear becomes a shared one; where there is none, that of the jar.
    borne_until_um: Vec<f64>,
    way: RubWay,
}

enum RubWay {
    /// The powders of a shared rub add up, and so do one that dissolves and all that do not: what does not change, and what
    /// each powder that dissolves brings.
    Curves(f64, Vec<Option<Curves>>),
    /// Several powders that dissolve in a grain-borne rub: each sets the gap for the others.
    Joint,
    /// The same told along one path alone.
    Path(Path, Curves),
}

/// All powders dissolving at their first rates, as if the water never filled up.
struct Path {
    /// Loss at the start, µm, loss a second, µm/s, 0 for what does not dissolve, and weight of each powder.
    powders: Vec<(f64, f64, f64)>,
}

impl Path {
    /// Losses after so many seconds.
    fn losses(&self, seconds: f64) -> Vec<f64> {
        self.powders.iter().map(|(start, rate, _)| start + rate * seconds).collect()
    }

    /// The place on the path that is nearest to losses, s.
    fn nearest(&self, losses: &[f64]) -> f64 {
        let seconds = |((start, rate, weight), loss): (&(f64, f64, f64), &f64)| {
            if *rate > 0.0 { weight * (loss - start) / rate } else { 0.0 }
        };
        self.powders.iter().zip(losses).map(seconds).sum()
    }
}

/// What one powder brings over its loss, µm², for some growths of corners, rising.
struct Curves {
    growths: Vec<f64>,
    of_growth: Vec<GrowthCurve>,
}

/// The same for one growth, in pieces between its turns.
struct GrowthCurve {
    start_um: f64,
    turns_um: Turns,
    /// Each evenly in the root of the loss from its start; without a width there is none.
    over_root: [Option<Pchip>; 3],
    last: f64,
}

impl<'s> Severities<'s> {
    /// For the growths of corners that will be asked for, rising; between them what the rub does is taken as a line.
    pub fn new(scrub: &'s DissolvingScrub<'s>, model: &'s RubModel, growths: &[f64]) -> Self {
        let start: Vec<f64> = scrub.powders.iter().map(|p| p.jar.loss_um).collect();
        let mut found = Self { scrub, model, borne_until_um: start.clone(), way: RubWay::Joint };
        let growth = growths[0];
        let soluble = scrub.powders.iter().filter(|p| p.left.is_some()).count();
        let first = found.rub(&start, growth, |_| true);
        if first.partition == Partition::Shared {
            // Grains that shrink carry less: what is shared at the start is shared to the end.
            let kept = found.rub(&start, growth, |k| scrub.powders[k].left.is_none());
            found.way = RubWay::Curves(kept.total_severity(), found.curves(&start, growths, true));
        } else if soluble <= 1 {
            found.borne_until_um = (0..start.len()).map(|i| found.borne_until(i, &start, growth)).collect();
            found.way = RubWay::Curves(0.0, found.curves(&start, growths, false));
        }
        found
    }

    /// What each powder that dissolves does, by itself or with all others as they start.
    fn curves(&self, start: &[f64], growths: &[f64], alone: bool) -> Vec<Option<Curves>> {
        let powders = self.scrub.powders.iter().enumerate().map(|(i, p)| {
            let of = |loss: f64, growth: f64| {
                let mut losses = start.to_vec();
                losses[i] = loss;
                self.rub(&losses, growth, |k| !alone || k == i).total_severity()
            };
            let stated = self.scrub.conditions.corner_growth;
            p.left.as_ref().map(|_| Curves::new(p.jar.loss_um, growths, stated, |growth| self.turns_of(i, growth), of))
        });
        powders.collect()
    }

    /// What is near enough for many draws, where each would have to be rubbed anew: `None` where it would not.
    pub fn along_a_path(&self, growths: &[f64]) -> Option<Self> {
        if !matches!(self.way, RubWay::Joint) {
            return None;
        }
        let stated = self.scrub.conditions.corner_growth;
        let start: Vec<f64> = self.scrub.powders.iter().map(|p| p.jar.loss_um).collect();
        let rate = |p: &Dissolving| {
            let solubility = p.solubility.filter(|_| p.jar.solid_pct > 0.0);
            solubility.map_or(0.0, |s| 2.0 * s.transfer_um_s * s.rub_g_per_l / 1000.0 / p.powder.density.get())
        };
        let severity = |i: usize| self.rub(&start, stated, |k| k == i).total_severity();
        let mut powders: Vec<(f64, f64, f64)> =
            self.scrub.powders.iter().map(|p| (p.jar.loss_um, rate(p), 0.0)).collect();
        for (i, powder) in powders.iter_mut().enumerate().filter(|(_, p)| p.1 > 0.0) {
            powder.2 = severity(i);
        }
        let all: f64 = powders.iter().map(|p| p.2).sum();
        powders.iter_mut().for_each(|p| p.2 /= all.max(f64::MIN_POSITIVE));
        let gap_um = self.model.reference_site().gap_um;
        let seconds = |(p, (start, rate, _)): (&Dissolving, &(f64, f64, f64))| {
            if *rate > 0.0 { (end_um(p, gap_um) - start) / rate } else { 0.0 }
        };
        let end = self.scrub.powders.iter().zip(&powders).map(seconds).fold(0.0, f64::max);
        let path = Path { powders };
        let of = |seconds: f64, growth: f64| self.rub(&path.losses(seconds), growth, |_| true).total_severity();
        let curves = Curves::new(0.0, growths, stated, |_| [end / 16.0, end / 4.0, end], of);
        let borne_until_um = self.borne_until_um.clone();
        Some(Self { scrub: self.scrub, model: self.model, borne_until_um, way: RubWay::Path(path, curves) })
    }

    /// Depth-weighted removal with losses of diameter, µm, and a growth of corners.
    pub fn at(&self, losses: &[f64], growth: f64) -> f64 {
        match &self.way {
            RubWay::Curves(kept, curves) => {
                let parts = curves.iter().zip(losses).filter_map(|(c, loss)| Some(c.as_ref()?.at(*loss, growth)));
                kept + parts.sum::<f64>()
            }
            RubWay::Joint => self.rub(losses, growth, |_| true).total_severity(),
            RubWay::Path(path, curves) => curves.at(path.nearest(losses), growth),
        }
    }

    /// Losses at which what each powder does takes a turn, µm, rising.
    pub fn turns_um(&self, growth: f64) -> Vec<Turns> {
        (0..self.scrub.powders.len()).map(|i| self.turns_of(i, growth)).collect()
    }

    fn turns_of(&self, i: usize, growth: f64) -> Turns {
        let powder = &self.scrub.powders[i];
        let (start_um, end_um) = (powder.jar.loss_um, end_um(powder, self.model.reference_site().gap_um));
        // (R x + c δ) / (x − δ) is 1.
        let round_um = powder.median_um * (1.0 - powder.powder.roundness.get()) / (1.0 + growth);
        let (round_um, borne_um) = (round_um.clamp(start_um, end_um), self.borne_until_um[i].clamp(start_um, end_um));
        [round_um.min(borne_um), round_um.max(borne_um), end_um]
    }

    /// Where a powder that dissolves no longer bears the rub alone with what does not, by halving.
    fn borne_until(&self, i: usize, start: &[f64], growth: f64) -> f64 {
        let powder = &self.scrub.powders[i];
        if powder.left.is_none() {
            return start[i];
        }
        let (mut borne, mut shared) = (start[i], end_um(powder, self.model.reference_site().gap_um));
        for _ in 0..HALVINGS {
            let middle = 0.5 * (borne + shared);
            let mut losses = start.to_vec();
            losses[i] = middle;
            match self.rub(&losses, growth, |_| true).partition {
                Partition::GrainBorne => borne = middle,
                Partition::Shared => shared = middle,
            }
        }
        shared
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
        let population = Population::from_iter(grains);
        let volumes: Vec<f64> = left.iter().map(|l| l.2).collect();
        self.model.rub_at(self.model.reference_position(), &population, &volumes)
    }
}

/// The loss at which next to no grain of a powder is wider than the gap, µm.
fn end_um(powder: &Dissolving, gap_um: f64) -> f64 {
    let coarsest = powder.grains.distribution.quantile(1.0 - NO_MORE).min(powder.grains.largest_um);
    (coarsest - gap_um).max(powder.jar.loss_um)
}

impl Curves {
    /// `stated` is the growth of which the figure itself is told.
    fn new(
        start_um: f64,
        growths: &[f64],
        stated: f64,
        turns_um: impl Fn(f64) -> Turns,
        of: impl Fn(f64, f64) -> f64,
    ) -> Self {
        let curve = |growth: &f64| {
            let knots = if *growth == stated { KNOTS } else { FEWER_KNOTS };
            GrowthCurve::new(start_um, turns_um(*growth), knots, |loss| of(loss, *growth))
        };
        Self { growths: growths.to_vec(), of_growth: growths.iter().map(curve).collect() }
    }

    fn at(&self, loss: f64, growth: f64) -> f64 {
        let above = self.growths.partition_point(|g| *g < growth).min(self.growths.len() - 1);
        let below = above.saturating_sub(1);
        let (low, high) = (self.growths[below], self.growths[above]);
        if growth >= high {
            return self.of_growth[above].at(loss);
        }
        let part = if high > low { ((growth - low) / (high - low)).max(0.0) } else { 1.0 };
        self.of_growth[below].at(loss) * (1.0 - part) + self.of_growth[above].at(loss) * part
    }
}

impl GrowthCurve {
    fn new(start_um: f64, turns_um: Turns, knots: usize, of: impl Fn(f64) -> f64) -> Self {
        let piece = |from: f64, to: f64| {
            // Close steps at the start: the coarsest grains of a wide powder are few, and go last.
            let roots: Vec<f64> = (0..=knots).map(|j| (to - from).max(0.0).sqrt() * j as f64 / knots as f64).collect();
            let wide = to - from > 1e-9 * to;
            let values = || roots.iter().map(|root| of(from + root * root)).collect();
            wide.then(|| Pchip::new(roots.clone(), values()).ok()).flatten()
        };
        let [first, second, end] = turns_um;
        let over_root = [piece(start_um, first), piece(first, second), piece(second, end)];
        Self { start_um, turns_um, over_root, last: of(end) }
    }

    fn at(&self, loss: f64) -> f64 {
        let piece = self.turns_um.partition_point(|turn| *turn <= loss);
        let from = if piece == 0 { self.start_um } else { self.turns_um[piece - 1] };
        match self.over_root.get(piece) {
            Some(Some(curve)) => curve.at((loss - from).max(0.0).sqrt()).0,
            _ => self.last,
        }
    }
}
