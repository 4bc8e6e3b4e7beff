//! What a scrub's index is like: the scrubs of the trade (`grading-tables/landmarks.csv`) on the same scale, worked out when asked for.

use super::Judge;
use crate::blend::{Blend, Scrub};
use crate::powder::{GrainProperties, Powder};
use crate::rub::Population;
use crate::size::spec::{SizeSpec, Tails};
use crate::tables::{Landmark, LandmarkPowder, LandmarkSizes, Tables};
use crate::units::{LoadPercent, Parts};
use serde::Serialize;

/// A scrub of the trade beside another scrub.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Like {
    /// What it is.
    pub scrub: String,
    /// Its index.
    pub index: f64,
    /// `milder` or `rougher` than the scrub that it stands beside.
    pub is: Side,
}

/// Which side of a scrub another one is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// Its index is lower.
    Milder,
    /// Its index is higher.
    Rougher,
}

/// Further off than this, as a factor, a scrub is no comparison any more.
const FAR: f64 = 8.0;

/// The nearest scrub of the trade on either side of an index.
pub fn like(index: f64, judge: &Judge, tables: &Tables) -> Vec<Like> {
    let known: Vec<(f64, &str)> = tables
        .landmarks
        .iter()
        .filter_map(|landmark| {
            let scrub = scrub(landmark, tables)?;
            Some((judge.index(&scrub), landmark.name.as_str()))
        })
        .collect();
    let of = |is: Side, &(index, name): &(f64, &str)| Like { scrub: name.to_owned(), index, is };
    let milder = known.iter().filter(|k| k.0 <= index && k.0 * FAR > index).max_by(|a, b| a.0.total_cmp(&b.0));
    let rougher = known.iter().filter(|k| k.0 > index && k.0 < index * FAR).min_by(|a, b| a.0.total_cmp(&b.0));
    milder.map(|k| of(Side::Milder, k)).into_iter().chain(rougher.map(|k| of(Side::Rougher, k))).collect()
}

/// A landmark as a scrub; `None` if the tables in force make none of it.
pub fn scrub(landmark: &Landmark, tables: &Tables) -> Option<Scrub> {
    let powders = landmark.powders.iter().map(|p| Some((powder(p, tables)?, Parts::new(p.parts).ok()?)));
    let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
    let load = LoadPercent::new(landmark.load_pct).ok()?;
    Some(Scrub { name: landmark.name.clone(), load, load_range: None, blend })
}

fn powder(powder: &LandmarkPowder, tables: &Tables) -> Option<Powder> {
    let spec = match powder.sizes {
        LandmarkSizes::LogNormal { d50_um, gsd } => SizeSpec::LogNormal { d50_um, gsd },
        LandmarkSizes::Range(lower_um, upper_um) => SizeSpec::Range { lower_um, upper_um },
    };
    let pct = tables.constants.range_tail_pct;
    let tails = Tails { undersize_pct: pct, oversize_pct: pct, stated: false };
    let sizes = spec.resolve(&tables.standards, tails).ok()?;
    let material = tables.material(&powder.material)?;
    Powder::new(material.name.clone(), Some(material), &GrainProperties::default(), sizes, tables).ok()
}

impl Judge {
    /// Index of a scrub, without its band.
    pub fn index(&self, scrub: &Scrub) -> f64 {
        let population = Population::new(&scrub.blend, self.model().reference_site().gap_um);
        let volumes = population.volumes(&scrub.blend.mass_shares(), scrub.load.fraction());
        let reference = self.model().reference_position();
        self.model().index(&self.model().rub_at(reference, &population, &volumes))
    }
}
