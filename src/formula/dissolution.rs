//! Soluble grains: what is gone in the jar, and how the rest shrinks in the rub.
//!
//! Hixson and Crowell's cube-root law (Ind. Eng. Chem. 23, 923, 1931): every grain loses a layer of the same thickness,
//! however large it is, so diameters fall by dδ/dt = 2 k (Cs − C) / ρ, k being the mass-transfer coefficient, Cs the
//! saturated concentration and C that of the water around. The grains of a size x become x − δ and keep (1 − δ/x)³ of
//! their mass. C follows from what has dissolved into the water that is there, so the mass in it never passes Cs.
//! k = Sh D / d by Sh = 2 + 0.6 Re^(1/2) Sc^(1/3) (W. E. Ranz and W. R. Marshall, Chem. Eng. Prog. 48, 1952) at the median.
//!
//! Dissolving grains lose their edges first. Where diffusion limits the rate, a corner of radius r recedes (1 + λ/r) times
//! as fast as a face, λ = D/k being the boundary layer; for r near λ its radius then grows by about the layer that the
//! faces lose (an estimate; a table constant). So the roundness of what is left rises from R to (R x + δ)/(x − δ), at most 1.
//!
//! The index of a rub is the mean over its duration: severities add up over the time, AI = 100 √(mean S / S_ref).

use crate::blend::{Blend, BlendError, Scrub};
use crate::numerics::roots::brent;
use crate::powder::Powder;
use crate::rub::{Population, RubModel};
use crate::size::{SizeDistribution, SizePanels};
use crate::units::{LoadPercent, Micrometres, Parts, Roundness};

/// A shrunk distribution is built from so many sizes, and from so many to each panel of the whole one.
const KNOTS: usize = 120;
const PARTS: usize = 8;

/// Share of the volume that is left out at the coarse end of a law without end.
const TAIL: f64 = 1e-9;

/// Below this share of its mass a powder is gone.
const GONE: f64 = 1e-6;

/// Losses of diameter at which the course of a powder is worked out.
const LOSSES: usize = 400;

/// Steps over the duration of a rub; the index is the mean of the rubs at their middles.
const STEPS: usize = 16;

/// What a soluble powder needs to dissolve.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Solubility {
    /// Grams that 100 g of water take in the jar, at 25 °C.
    pub jar_g_per_100g: f64,
    /// Grams in a litre of saturated solution at skin warmth.
    pub rub_g_per_l: f64,
    /// Mass-transfer coefficient in the rub, µm/s.
    pub transfer_um_s: f64,
}

/// The rub as far as it dissolves grains.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RubConditions {
    /// Duration, s.
    pub seconds: f64,
    /// Water that wet skin brings, g per g of scrub.
    pub skin_water: f64,
    /// Water in the scrub itself, g per g.
    pub own_water: f64,
    /// Growth of a corner's radius over the layer dissolved.
    pub corner_growth: f64,
}

/// Mass-transfer coefficient of a grain in water, µm/s (Ranz and Marshall 1952): diameter in µm, diffusivity in 1e-9 m²/s,
/// speed against the water in m/s, viscosity in mPa·s, which for water is the kinematic one in 1e-6 m²/s as well.
pub fn mass_transfer_um_s(diameter_um: f64, diffusivity_1e9: f64, speed_m_s: f64, viscosity_mpa_s: f64) -> f64 {
    let reynolds = speed_m_s * diameter_um / viscosity_mpa_s;
    let schmidt = 1000.0 * viscosity_mpa_s / diffusivity_1e9;
    let sherwood = 2.0 + 0.6 * reynolds.sqrt() * schmidt.cbrt();
    1000.0 * sherwood * diffusivity_1e9 / diameter_um
}

/// Grains as they are, to be shrunk by layers.
pub struct Shrinking<'a> {
    distribution: &'a SizeDistribution,
    panels: SizePanels,
    largest_um: f64,
}

impl<'a> Shrinking<'a> {
    /// Lays out the grains.
    pub fn new(distribution: &'a SizeDistribution) -> Self {
        let largest = distribution.quantile(1.0);
        let largest_um = if largest.is_finite() { largest } else { distribution.quantile(1.0 - TAIL) };
        Self { distribution, panels: distribution.panels_above(0.0), largest_um }
    }

    /// Share of the mass that is left when diameters have fallen by `loss_um`, 0..1.
    pub fn left(&self, loss_um: f64) -> f64 {
        self.panels.integrate(|x| (1.0 - loss_um / x).max(0.0).powi(3)).min(1.0)
    }

    /// Loss of diameter that leaves the share `left` (0..1) of the mass, µm.
    pub fn loss_leaving(&self, left: f64) -> f64 {
        if left >= 1.0 {
            return 0.0;
        }
        brent(|loss| self.left(loss) - left, 0.0, self.largest_um, 1e-9).unwrap_or(self.largest_um)
    }

    /// Sizes, less the loss, at which the shrunk distribution is taken: evenly in ln, and densely where there are grains.
    fn knots_um(&self, loss_um: f64) -> Vec<f64> {
        let largest = self.largest_um - loss_um;
        let smallest = (1e-3 * largest).max(2e-3);
        let step = (largest / smallest).ln() / (KNOTS - 1) as f64;
        let mut sizes: Vec<f64> = (0..KNOTS - 1).map(|i| smallest * (step * i as f64).exp()).collect();
        for edge in self.panels.edges_ln.windows(2) {
            let part = |k: usize| (edge[0] + (edge[1] - edge[0]) * k as f64 / PARTS as f64).exp() - loss_um;
            sizes.extend((0..PARTS).map(part).filter(|y| (smallest..largest).contains(y)));
        }
        sizes.push(largest);
        sizes.sort_by(f64::total_cmp);
        sizes.dedup_by(|a, b| *a - *b < 1e-9 * *a);
        sizes
    }

    /// The distribution of what is left; `None` when all but nothing is gone.
    pub fn shrunk(&self, loss_um: f64) -> Option<SizeDistribution> {
        if loss_um <= 0.0 {
            return Some(self.distribution.clone());
        }
        if self.left(loss_um) < GONE {
            return None;
        }
        let cumulative = self.panels.cumulative(|x| (1.0 - loss_um / x).max(0.0).powi(3));
        let total = cumulative.total();
        let sizes = self.knots_um(loss_um);
        let mut knots: Vec<(Micrometres, f64)> = Vec::with_capacity(sizes.len());
        for (i, size) in sizes.iter().enumerate() {
            let share = match i {
                0 => 0.0,
                i if i + 1 == sizes.len() => 1.0,
                _ => (cumulative.below((size + loss_um).ln()) / total).clamp(0.0, 1.0),
            };
            // The running integral may lose a last digit.
            let share = knots.last().map_or(share, |k| share.max(k.1));
            knots.push((Micrometres::new(*size).ok()?, share));
        }
        SizeDistribution::measured(&knots).ok()
    }
}

/// What the water of the jar leaves of a powder.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InJar {
    /// % w/w of the scrub that dissolves.
    pub dissolved_pct: f64,
    /// % w/w of the scrub that stays solid.
    pub solid_pct: f64,
    /// Loss of diameter, µm.
    pub loss_um: f64,
}

/// What water, % w/w of the scrub, leaves of `pct` % w/w of a powder.
pub fn in_jar(powder: &Powder, pct: f64, solubility: Option<Solubility>, water_pct: f64) -> InJar {
    let taken = solubility.map_or(0.0, |s| s.jar_g_per_100g / 100.0 * water_pct);
    let dissolved_pct = taken.min(pct);
    let solid_pct = pct - dissolved_pct;
    let loss_um = match dissolved_pct > 0.0 {
        true => Shrinking::new(&powder.size.distribution).loss_leaving(solid_pct / pct),
        false => 0.0,
    };
    InJar { dissolved_pct, solid_pct, loss_um }
}

/// A scrub as it is rubbed: what of each powder is solid at the start, and what dissolves as it goes.
pub struct DissolvingScrub<'a> {
    powders: Vec<Dissolving<'a>>,
    conditions: RubConditions,
}

struct Dissolving<'a> {
    powder: &'a Powder,
    grains: Shrinking<'a>,
    /// % w/w of the scrub before any water.
    pct: f64,
    jar: InJar,
    solubility: Option<Solubility>,
    /// Time, s, and loss of diameter, µm, both rising.
    course: Vec<(f64, f64)>,
}

impl<'a> DissolvingScrub<'a> {
    /// From a scrub; `solubilities` has an entry for every powder, `None` for what does not dissolve.
    pub fn new(scrub: &'a Scrub, solubilities: &[Option<Solubility>], conditions: RubConditions) -> Self {
        let load = scrub.load.get();
        let powders = scrub.blend.components().iter().zip(solubilities).map(|(c, solubility)| {
            let pct = c.mass * load;
            let mut dissolving = Dissolving {
                powder: &c.powder,
                grains: Shrinking::new(&c.powder.size.distribution),
                pct,
                jar: in_jar(&c.powder, pct, *solubility, 100.0 * conditions.own_water),
                solubility: *solubility,
                course: Vec::new(),
            };
            dissolving.lay_course(&conditions);
            dissolving
        });
        Self { powders: powders.collect(), conditions }
    }

    /// What the jar leaves of each powder.
    pub fn in_jar(&self) -> Vec<InJar> {
        self.powders.iter().map(|p| p.jar).collect()
    }

    /// The grains that are left after a time of rubbing, as a scrub; `None` when all are gone.
    pub fn at(&self, seconds: f64) -> Option<Scrub> {
        let mut left: Vec<(Powder, f64)> = Vec::new();
        for p in &self.powders {
            let loss = p.loss_at(seconds);
            let pct = p.pct * p.grains.left(loss);
            if let Some(distribution) = p.grains.shrunk(loss).filter(|_| pct > GONE * p.pct) {
                let mut powder = p.powder.clone();
                powder.size.distribution = distribution;
                powder.roundness = p.roundness_after(loss, self.conditions.corner_growth);
                left.push((powder, pct));
            }
        }
        scrub_of(left).ok().flatten()
    }

    /// Index of the whole rub.
    pub fn index(&self, model: &RubModel) -> f64 {
        let step = self.conditions.seconds / STEPS as f64;
        let squares = (0..STEPS).map(|i| {
            let scrub = self.at(step * (i as f64 + 0.5));
            scrub.map_or(0.0, |s| index(model, &s).powi(2))
        });
        (squares.sum::<f64>() / STEPS as f64).sqrt()
    }
}

impl Dissolving<'_> {
    /// Times, s, by which the rub has taken losses of diameter, µm. The rate hangs on the loss alone, so the time is its
    /// integral over the loss; the last loss is the one at which the water is full, or the grains are gone.
    fn lay_course(&mut self, conditions: &RubConditions) {
        self.course = vec![(0.0, self.jar.loss_um)];
        let Some(solubility) = self.solubility else { return };
        let density = self.powder.density.get();
        // Grams of water over grams of scrub; what the jar has dissolved is in it from the start. Volumes of water and of
        // what dissolves in it are taken to add up.
        let water = conditions.own_water + conditions.skin_water;
        let saturated = solubility.rub_g_per_l / 1000.0;
        let most = saturated * water / (1.0 - saturated / density).max(1e-9);
        let last = self.grains.loss_leaving((1.0 - 100.0 * most / self.pct).max(0.0));
        let step = (last - self.jar.loss_um) / LOSSES as f64;
        if conditions.skin_water <= 0.0 || step <= 0.0 {
            return;
        }
        let mut seconds = 0.0;
        for i in 0..LOSSES {
            let loss = self.jar.loss_um + step * (i as f64 + 0.5);
            let dissolved = self.pct / 100.0 * (1.0 - self.grains.left(loss));
            let around = dissolved / (water + dissolved / density);
            let rate = 2.0 * solubility.transfer_um_s * (saturated - around).max(0.0) / density;
            seconds += step / rate;
            self.course.push((seconds, loss + 0.5 * step));
        }
    }

    /// Loss of diameter after a time of rubbing, that in the jar included, µm.
    fn loss_at(&self, seconds: f64) -> f64 {
        let next = self.course.partition_point(|c| c.0 <= seconds);
        let before = self.course[next.saturating_sub(1)];
        match self.course.get(next) {
            Some(after) => before.1 + (after.1 - before.1) * (seconds - before.0) / (after.0 - before.0),
            None => before.1,
        }
    }

    /// Roundness of what is left, that of the grains of median size.
    fn roundness_after(&self, loss: f64, corner_growth: f64) -> Roundness {
        let size = self.grains.distribution.quantile(0.5);
        let grown = (self.powder.roundness.get() * size + corner_growth * loss) / (size - loss).max(1e-9);
        Roundness::new(grown.min(1.0)).unwrap_or(self.powder.roundness)
    }
}

fn index(model: &RubModel, scrub: &Scrub) -> f64 {
    let population = Population::new(&scrub.blend, model.floor_um());
    model.evaluate(&population, &scrub.blend.mass_shares(), scrub.load.fraction()).index
}

/// A scrub of powders at % w/w; `None` without any.
fn scrub_of(powders: Vec<(Powder, f64)>) -> Result<Option<Scrub>, BlendError> {
    let load: f64 = powders.iter().map(|p| p.1).sum();
    let (Ok(load), false) = (LoadPercent::new(load), powders.is_empty()) else { return Ok(None) };
    let parts = |pct: f64| Parts::new(pct).ok();
    let powders: Vec<(Powder, Parts)> = powders.into_iter().filter_map(|(p, pct)| Some((p, parts(pct)?))).collect();
    Ok(Some(Scrub { name: String::new(), load, load_range: None, blend: Blend::new(powders)? }))
}
