//! Which quantities of the model a panel can be asked about, what is known of them, and the indices that they give.

use super::estimate::{Posterior, Prior, estimate};
use super::{FEWEST_SCRUBS, Panel};
use crate::blend::Scrub;
use crate::design::place_of;
use crate::rub::{Grains, Population, RubModel};
use crate::source::did_you_mean;
use crate::tables::{Known, Property, Tables};

/// A quantity to be estimated.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wanted {
    /// How many times harder than the horny layer a grain is that keeps half its edge.
    EdgeRatio,
    /// Roundness of the powder of this name.
    Roundness(String),
}

/// Why a quantity cannot be estimated.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum WantedError {
    /// It is none that can be asked for.
    #[error("\"{given}\" is nothing that a panel can tell; write edge-ratio or roundness:POWDER")]
    Unknown {
        /// As written.
        given: String,
    },
    /// A quantity of the model's first edition.
    #[error("h-half is no more: edge keeping is relative to the horny layer now; write edge-ratio")]
    Replaced,
    /// No scrub holds the powder.
    #[error("no scrub of the panel holds the powder \"{word}\"; {hint}")]
    NoPowder {
        /// As written.
        word: String,
        /// Powders that there are.
        hint: String,
    },
    /// Several powders answer to the word.
    #[error("\"{word}\" could be any of {names}; write the whole name")]
    Several {
        /// As written.
        word: String,
        /// What it fits.
        names: String,
    },
    /// The same thing twice, or more than two things.
    #[error("ask for one quantity or for two different ones; a panel cannot tell more apart")]
    TooMany,
}

impl Wanted {
    /// Reads `edge-ratio` or `roundness:POWDER`; the powder may be a beginning of its name or its material where that leaves no
    /// doubt.
    ///
    /// # Errors
    /// [`WantedError`].
    pub fn read(all: &[String], scrubs: &[Scrub]) -> Result<Vec<Self>, WantedError> {
        let wanted: Vec<Self> = all.iter().map(|text| Self::read_one(text, scrubs)).collect::<Result<_, _>>()?;
        let twice = wanted.len() == 2 && wanted[0] == wanted[1];
        if wanted.len() > 2 || twice { Err(WantedError::TooMany) } else { Ok(wanted) }
    }

    fn read_one(text: &str, scrubs: &[Scrub]) -> Result<Self, WantedError> {
        let Some(word) = text.trim().strip_prefix("roundness:") else {
            return match text.trim() {
                "edge-ratio" => Ok(Self::EdgeRatio),
                "h-half" => Err(WantedError::Replaced),
                given => Err(WantedError::Unknown { given: given.to_owned() }),
            };
        };
        let name_in = |s: &Scrub| place_of(s, word).ok().map(|i| s.blend.components()[i].powder.name.clone());
        let mut names: Vec<String> = scrubs.iter().filter_map(name_in).collect();
        if let Some(exact) = names.iter().find(|n| n.eq_ignore_ascii_case(word.trim())) {
            names = vec![exact.clone()];
        }
        names.sort();
        names.dedup();
        match names.as_slice() {
            [one] => Ok(Self::Roundness(one.clone())),
            [] => {
                let mut known: Vec<&str> =
                    scrubs.iter().flat_map(|s| s.blend.components()).map(|c| c.powder.name.as_str()).collect();
                known.sort_unstable();
                known.dedup();
                Err(WantedError::NoPowder { word: word.to_owned(), hint: did_you_mean(word, known) })
            }
            several => Err(WantedError::Several { word: word.to_owned(), names: several.join("; ") }),
        }
    }

    /// What is known of it before the panel: its range in the tables.
    pub fn prior(&self, scrubs: &[Scrub], tables: &Tables) -> Option<Prior> {
        match self {
            Self::EdgeRatio => {
                let Known { value, low, high, .. } = tables.constants.edge_ratio;
                Some(Prior { value, low, high, most: f64::INFINITY })
            }
            Self::Roundness(name) => {
                let powder = scrubs.iter().flat_map(|s| s.blend.components()).map(|c| &c.powder);
                let powder = powder.into_iter().find(|p| p.name == *name)?;
                let value = powder.roundness.get();
                let of_class = || {
                    let class = tables.roundness.iter().find(|c| (c.low..=c.high).contains(&value))?;
                    Some((class.low, class.high))
                };
                let of_material = powder.material.as_ref().map(|m| (m.roundness.low, m.roundness.high));
                let from_table = powder.in_table(Property::Roundness).is_some();
                let (low, high) = of_material.filter(|_| from_table).or_else(of_class)?;
                Some(Prior { value, low, high, most: 1.0 })
            }
        }
    }
}

/// What the panel makes of each quantity, estimated together. `scrubs` stand in the panel's order. `None` as of
/// [`estimate`], or when a quantity has no range.
pub fn estimate_wanted(
    panel: &Panel,
    scrubs: &[Scrub],
    wanted: &[Wanted],
    tables: &Tables,
) -> Option<Vec<(Prior, Posterior)>> {
    if panel.scrubs.len() < FEWEST_SCRUBS {
        return None;
    }
    let priors = wanted.iter().map(|w| w.prior(scrubs, tables)).collect::<Option<Vec<Prior>>>()?;
    let indices = |values: &[f64]| {
        let mut constants = tables.constants.values();
        let mut roundness: Option<(&str, f64)> = None;
        for (wanted, value) in wanted.iter().zip(values) {
            match wanted {
                Wanted::EdgeRatio => constants.edge_ratio = *value,
                Wanted::Roundness(name) => roundness = Some((name, *value)),
            }
        }
        let Ok(model) = RubModel::with_constants(tables.site_values(), constants) else { return Vec::new() };
        scrubs.iter().map(|s| index(&model, s, roundness)).collect()
    };
    let found = estimate(panel, &priors, &indices)?;
    Some(priors.into_iter().zip(found).collect())
}

/// Index of a scrub, the roundness of one of its powders set to another value.
fn index(model: &RubModel, scrub: &Scrub, roundness: Option<(&str, f64)>) -> f64 {
    let grains = scrub.blend.components().iter().map(|c| {
        let p = &c.powder;
        let round = roundness.filter(|r| r.0 == p.name).map_or(p.roundness.get(), |r| r.1);
        let floor_um = model.reference_site().gap_um;
        Grains::new(&p.size.distribution, p.density.get(), p.hardness.get(), round, floor_um)
    });
    let population = Population::from_iter(grains);
    let volumes = population.volumes(&scrub.blend.mass_shares(), scrub.load.fraction());
    model.index(&model.rub_at(model.reference_position(), &population, &volumes))
}
