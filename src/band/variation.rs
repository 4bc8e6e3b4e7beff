//! A scrub with one or more of its quantities set to other values, judged again and again: what the nearest change, a ladder
//! and a map are solved with.
//!
//! # How a change of band is found
//! Every change of a scrub goes through `band::Variation`: the nearest change of `blend`, the ladder and the map ask it for the
//! scrub with quantities set to other values. What is solved is the excess over a band's limits (the worst figure over its
//! limit, less 1), which is continuous, not the band, which is not. `ladder` follows the excess of every band, and how near each
//! site is to a grain-borne rub, on some 500 points; where one of them changes sides it cuts finer, where one dips towards 0 it
//! goes down to the bottom, and every change of side is solved to 1e-11. A map does this on the edges of a grid and joins the
//! roots by `numerics::contour`. `tests/ladder.rs` builds the scrub anew a millionth before and after every crossing.

use super::{Assessment, Judge};
use crate::blend::{Blend, Scrub};
use crate::rub::Population;
use crate::units::{LoadPercent, Parts};
use std::borrow::Cow;

/// A quantity of a scrub that can be changed by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Quantity {
    /// Parts by mass of the powder at this place in the blend, all else kept.
    Parts(usize),
    /// The powder load, % of the scrub.
    Load,
    /// The median of the powder at this place, µm: the same grading, finer or coarser as a whole.
    Median(usize),
}

impl Quantity {
    /// The key of JSON, with its unit: `parts`, `load_pct` or `d50_um`.
    pub fn key(self) -> &'static str {
        match self {
            Self::Parts(_) => "parts",
            Self::Load => "load_pct",
            Self::Median(_) => "d50_um",
        }
    }

    /// Place of the powder that it is about, if it is about one.
    pub fn powder(self) -> Option<usize> {
        match self {
            Self::Parts(i) | Self::Median(i) => Some(i),
            Self::Load => None,
        }
    }
}

/// Quantities and the values they are set to; what is not named stays as it is.
pub(crate) type Settings<'s> = &'s [(Quantity, f64)];

/// What becomes of a scrub on its way to the skin; nothing where none of its grains arrive.
pub type Arrival<'a> = &'a (dyn Fn(&Scrub) -> Option<Scrub> + Sync);

/// Load, as a mass fraction, and sizes, as a factor, of a scrub none of whose grains arrive.
const NOTHING: f64 = 1e-12;
const DUST: f64 = 1e-4;

/// Part of the powders that one is taken to be that is left out.
const LEFT_OUT: f64 = 1e-9;

/// A scrub with its grains laid out once, to be judged with quantities changed.
pub(crate) struct Variation<'a> {
    judge: &'a Judge,
    blend: &'a Blend,
    population: Population,
    parts: Vec<f64>,
    load_pct: f64,
    /// Where it changes on its way: grains are then laid out anew for all settings.
    arrives: Option<Arrival<'a>>,
}

impl<'a> Variation<'a> {
    /// Lays out the grains of a scrub.
    pub fn new(judge: &'a Judge, scrub: &'a Scrub) -> Self {
        Self::of_grains(judge, scrub, Population::new(&scrub.blend, judge.model().floor_um()))
    }

    /// The same with the scrub's grains as they were laid out before.
    pub fn of_grains(judge: &'a Judge, scrub: &'a Scrub, population: Population) -> Self {
        Self {
            judge,
            blend: &scrub.blend,
            population,
            parts: scrub.blend.components().iter().map(|c| c.parts.get()).collect(),
            load_pct: scrub.load.get(),
            arrives: None,
        }
    }

    /// Of a scrub as it is weighed in, judged by what arrives of it.
    pub fn on_its_way(judge: &'a Judge, weighed: &'a Scrub, arrives: Option<Arrival<'a>>) -> Self {
        Self { arrives, ..Self::new(judge, weighed) }
    }

    /// Who judges.
    pub fn judge(&self) -> &'a Judge {
        self.judge
    }

    /// Where a quantity stands in the scrub itself.
    pub fn stands(&self, quantity: Quantity) -> f64 {
        match quantity {
            Quantity::Parts(i) => self.parts[i],
            Quantity::Load => self.load_pct,
            Quantity::Median(i) => self.blend.components()[i].powder.size.distribution.quantile(0.5),
        }
    }

    /// Mass shares of the blend under settings. Parts may be 0 as long as some powder is left.
    pub fn shares(&self, settings: Settings) -> Vec<f64> {
        let mut parts = self.parts.clone();
        for (quantity, value) in settings {
            if let Quantity::Parts(i) = quantity {
                parts[*i] = *value;
            }
        }
        let sum: f64 = parts.iter().sum();
        parts.iter().map(|p| p / sum).collect()
    }

    /// The scrub under settings, rubbed and judged.
    pub fn assess(&self, settings: Settings) -> Assessment {
        self.under(settings, |blend, population, shares, load| {
            self.judge.assess_grains(blend, population, shares, load)
        })
    }

    /// How far beyond the limits of band `rank` the scrub is under settings, as a share of the limit.
    pub fn excess(&self, settings: Settings, rank: usize) -> f64 {
        self.under(settings, |blend, population, shares, load| self.judge.excess(rank, blend, population, shares, load))
    }

    /// Whether any of the scrub arrives under settings.
    pub fn arrives(&self, settings: Settings) -> bool {
        self.arrives.is_none() || self.under(settings, |_, _, _, load| load > NOTHING)
    }

    /// Hands blend, grains, mass shares and load (mass fraction of the scrub) under settings to `judged`.
    fn under<T>(&self, settings: Settings, judged: impl FnOnce(&Blend, &Population, &[f64], f64) -> T) -> T {
        let (mut blend, mut population) = (Cow::Borrowed(self.blend), Cow::Borrowed(&self.population));
        let mut load_pct = self.load_pct;
        for &(quantity, value) in settings {
            match quantity {
                Quantity::Parts(_) => {}
                Quantity::Load => load_pct = value,
                Quantity::Median(i) => {
                    let scaled = blend.with_powder_scaled(i, value / self.stands(quantity));
                    let powder = &scaled.components()[i].powder;
                    population = Cow::Owned(population.with_powder(i, powder, self.judge.model().floor_um()));
                    blend = Cow::Owned(scaled);
                }
            }
        }
        let (shares, load) = (self.shares(settings), load_pct / 100.0);
        let Some(arrives) = self.arrives else { return judged(&blend, &population, &shares, load) };
        match weighed(&blend, &shares, load_pct).and_then(|scrub| arrives(&scrub)) {
            Some(Scrub { blend, load, .. }) => {
                let population = Population::new(&blend, self.judge.model().floor_um());
                judged(&blend, &population, &blend.mass_shares(), load.fraction())
            }
            None => {
                let count = blend.components().len();
                let dust = (0..count).fold(blend.into_owned(), |blend, i| blend.with_powder_scaled(i, DUST));
                let population = Population::new(&dust, self.judge.model().floor_um());
                judged(&dust, &population, &shares, NOTHING)
            }
        }
    }
}

/// A scrub with these shares of its powders.
fn weighed(blend: &Blend, shares: &[f64], load_pct: f64) -> Option<Scrub> {
    let part = |share: f64| Parts::new(100.0 * share.max(LEFT_OUT)).ok();
    let powders = blend.components().iter().zip(shares).map(|(c, share)| Some((c.powder.clone(), part(*share)?)));
    let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
    Some(Scrub { name: String::new(), load: LoadPercent::new(load_pct).ok()?, load_range: None, blend })
}
