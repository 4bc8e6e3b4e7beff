//! What a scrub's index is like: the scrubs of the trade (`grading-tables/landmarks.csv`) on the same scale, worked out when asked for.

use super::Judge;
use crate::blend::{Blend, Scrub};
use crate::powder::{GrainProperties, Powder};
use crate::rub::Population;
use crate::size::spec::Tails;
use crate::tables::{Landmark, LandmarkPowder, Tables};
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

/// A landmark as a scrub; `None` if the tables in force make none of it.
pub fn scrub(landmark: &Landmark, tables: &Tables) -> Option<Scrub> {
    let powders = landmark.powders.iter().map(|p| Some((powder(p, tables)?, Parts::new(p.parts).ok()?)));
    let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
    let load = LoadPercent::new(landmark.load_pct).ok()?;
    Some(Scrub { name: landmark.name.clone(), load, load_range: None, blend })
}

fn powder(powder: &LandmarkPowder, tables: &Tables) -> Option<Powder> {
    let tails = Tails::assumed(tables.constants.range_tail_pct.value);
    let sizes = powder.sizes.resolve(&tables.standards, tails).ok()?;
    let material = tables.material(&powder.material)?;
    Powder::new(material.name.clone(), Some(material), &GrainProperties::default(), sizes, tables).ok()
}

impl Judge {
    /// The nearest scrub of the trade on either side of an index, the milder one first. `tables` are those that the judge was made from.
    pub fn like(&self, index: f64, tables: &Tables) -> Vec<Like> {
        let known = self.landmarks.get_or_init(|| {
            let scrubs = tables.landmarks.iter().filter_map(|l| scrub(l, tables));
            scrubs.map(|s| (s.name.clone(), self.index(&s))).collect()
        });
        let milder = known.iter().filter(|k| k.1 <= index && k.1 * FAR > index).max_by(|a, b| a.1.total_cmp(&b.1));
        let rougher = known.iter().filter(|k| k.1 > index && k.1 < index * FAR).min_by(|a, b| a.1.total_cmp(&b.1));
        let of = |is, (name, index): &(String, f64)| Like { scrub: name.clone(), index: *index, is };
        milder.map(|k| of(Side::Milder, k)).into_iter().chain(rougher.map(|k| of(Side::Rougher, k))).collect()
    }

    /// Index of a scrub, without its band.
    pub fn index(&self, scrub: &Scrub) -> f64 {
        let population = Population::new(&scrub.blend, self.model.reference_site().gap_um);
        let volumes = population.volumes(&scrub.blend.mass_shares(), scrub.load.fraction());
        let reference = self.model.reference_position();
        self.model.index(&self.model.rub_at(reference, &population, &volumes))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_scrubs_of_the_trade_on_either_side_are_told_unless_they_are_far() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        // Worked out by judging each in full, and ordered.
        let scrubs = tables.landmarks.iter().filter_map(|l| scrub(l, &tables));
        let mut known: Vec<(String, f64)> = scrubs.map(|s| (s.name.clone(), judge.assess(&s).figures.index)).collect();
        known.sort_by(|a, b| a.1.total_cmp(&b.1));
        let told = |index: f64| -> Vec<(String, Side)> {
            judge.like(index, &tables).into_iter().map(|like| (like.scrub, like.is)).collect()
        };
        for pair in known.windows(2).filter(|pair| pair[1].1 / pair[0].1 > 1.001) {
            let middle = (pair[0].1 * pair[1].1).sqrt();
            let wanted = [(pair[0].0.clone(), Side::Milder), (pair[1].0.clone(), Side::Rougher)];
            // Between these two neither is eight times as harsh, or as mild.
            assert!(pair[1].1 / middle < 8.0, "{pair:?}");
            assert_eq!(told(middle), wanted, "{middle}");
        }
        let (mildest, roughest) = (&known[0], &known[known.len() - 1]);
        assert_eq!(told(mildest.1 / 7.9), [(mildest.0.clone(), Side::Rougher)]);
        assert_eq!(told(roughest.1 * 7.9), [(roughest.0.clone(), Side::Milder)]);
        assert!(told(mildest.1 / 8.1).is_empty() && told(roughest.1 * 8.1).is_empty());
    }
}
