//! One powder: a size distribution plus what its grains are like, and where each property comes from.

mod hardness;
#[cfg(test)]
pub(crate) mod invented;
mod kind;
mod plastic;
mod roundness;
pub mod sample;
mod shelf;
mod sourced;
mod stock;

pub use hardness::from_mohs;
pub use plastic::{plastic_word, refuse_plastic, refused_material};
pub use roundness::of_class;
pub use shelf::ShelfPowder;
pub use sourced::{Range, SizeRange, Sourced, ValueOrigin};
pub use stock::{LotSpec, Stock, Tolerance};

use crate::size::SizeRecord;
use crate::source::Fault;
use crate::tables::{Flag, Material, Property, RefusalRow, Tables};
use crate::units::{Gigapascals, GramsPerCm3, Mohs, Roundness};

/// What can be wrong with a powder.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PowderError {
    /// The material is forbidden.
    #[error("refused: {name}. {reasons}")]
    Refused {
        /// The material.
        name: String,
        /// Every rule that forbids it.
        reasons: String,
    },
    /// A name that may be read otherwise than it is written.
    #[error(
        "the {what} \"{name}\": \"{word}\" mixes letters of two scripts that look alike, so that no table knows it; write it in letters of \
         one"
    )]
    MixedScripts {
        /// Which name it is.
        what: String,
        /// The name.
        name: String,
        /// The word.
        word: String,
    },
    /// Beads of which nothing says what they are made of.
    #[error(
        "\"{name}\" does not say what its beads are made of, and of plastic they are prohibited; name it by its material or INCI name \
         (material = \"...\" of the materials table, or inci = \"...\")"
    )]
    OfWhat {
        /// The name.
        name: String,
    },
    /// No value and no material to take it from.
    #[error("{property} is missing; give {keys}, or a material of the materials table")]
    Missing {
        /// What is missing.
        property: &'static str,
        /// The keys that would give it.
        keys: &'static str,
    },
    /// A roundness class that is none of Powers'.
    #[error("unknown roundness class \"{class}\"; {hint}")]
    Class {
        /// As written.
        class: String,
        /// The nearest class.
        hint: String,
    },
}

impl From<PowderError> for Fault {
    fn from(error: PowderError) -> Self {
        let fault = Self::from(error.to_string());
        if matches!(error, PowderError::Refused { .. }) { fault.forbidding() } else { fault }
    }
}

/// Hardness as the user gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Hardness {
    /// Measured by indentation.
    Indentation(Gigapascals),
    /// A Mohs number, converted through the table.
    Mohs(Mohs),
}

/// What the user says of the grains; what is left out comes from the material.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct GrainProperties {
    /// Envelope density.
    pub density: Option<GramsPerCm3>,
    /// Hardness.
    pub hardness: Option<Hardness>,
    /// Roundness.
    pub roundness: Option<Roundness>,
}

/// A powder ready to be blended.
#[derive(Debug, Clone, PartialEq)]
pub struct Powder {
    /// Its name in the scrub.
    pub name: String,
    /// The material it is made of, when one was named, or recognised.
    pub material: Option<Material>,
    /// Whether the material was not named, but recognised by INCI name or name.
    pub recognised: bool,
    /// INCI name of its own, where the material's does not say it all.
    pub own_inci: Option<String>,
    /// Envelope density of a grain.
    pub density: Sourced<GramsPerCm3>,
    /// Indentation hardness.
    pub hardness: Sourced<Gigapascals>,
    /// Wadell roundness.
    pub roundness: Sourced<Roundness>,
    /// How the user's roundness was found, in their words or those of `gritwise grains`.
    pub roundness_source: Option<String>,
    /// The Mohs number that the hardness was converted from, if it was.
    pub mohs: Option<f64>,
    /// Sizes.
    pub size: SizeRecord,
    /// The ranges that the user gave for numbers of the size.
    pub size_ranges: Vec<SizeRange>,
    /// What is at hand of it.
    pub stock: Stock,
}

impl Powder {
    /// INCI name: its own, or the material's.
    pub fn inci(&self) -> Option<&str> {
        self.own_inci.as_deref().or(self.material.as_ref().map(|m| m.inci.as_str())).filter(|inci| !inci.is_empty())
    }

    /// Key of its material, where one was named or recognised.
    pub fn material_key(&self) -> Option<&str> {
        self.material.as_ref().map(|material| material.key.as_str())
    }

    /// What water takes of it, g in 100 mL; `None` for what does not dissolve, or of which nothing is known.
    pub fn solubility_g_per_100ml(&self) -> Option<f64> {
        self.material.as_ref().filter(|m| m.dissolves())?.soluble_g_per_100ml
    }

    /// Why the trade keeps it off the face, when it does.
    pub fn not_on_face(&self) -> Option<&str> {
        self.material.as_ref()?.not_on_face()
    }

    /// Whether its material carries a flag.
    pub fn has_flag(&self, flag: Flag) -> bool {
        self.is_flagged(flag.key())
    }

    /// Whether a caution with this trigger is printed with its material.
    pub fn is_flagged(&self, trigger: &str) -> bool {
        self.material.as_ref().is_some_and(|m| m.is_flagged(trigger))
    }

    /// Puts a powder together, taking from `material` what `given` leaves out.
    ///
    /// # Errors
    /// [`PowderError::Refused`] for a forbidden material, [`PowderError::Missing`] when a property has no source.
    pub fn new(
        name: String,
        material: Option<&Material>,
        given: &GrainProperties,
        size: SizeRecord,
        tables: &Tables,
    ) -> Result<Self, PowderError> {
        // What it is called outweighs what its material says: plastic is plastic by any other row.
        refuse_plastic("name", &name, tables)?;
        if let Some(material) = material {
            refuse_forbidden(material, &tables.refusals)?;
            refuse_plastic("material's name", &material.name, tables)?;
            refuse_plastic("INCI name", &material.inci, tables)?;
        }
        let table = |property: Property| material.map(|m| m.known(property));
        let or_missing =
            |sourced: Option<Sourced<f64>>, property, keys| sourced.ok_or(PowderError::Missing { property, keys });
        let missing = |property, keys| move |_| PowderError::Missing { property, keys };
        let density = Sourced::own_or_table(given.density.map(GramsPerCm3::get), table(Property::Density));
        let density = or_missing(density, "density", "density_g_cm3")?;
        let own = given.hardness.map(|hardness| match hardness {
            Hardness::Indentation(h) => h.get(),
            Hardness::Mohs(m) => from_mohs(&tables.mohs, m),
        });
        let hardness = Sourced::own_or_table(own, table(Property::Hardness));
        let hardness = or_missing(hardness, "hardness", "hardness_gpa or mohs")?;
        let roundness = Sourced::own_or_table(given.roundness.map(Roundness::get), table(Property::Roundness));
        let roundness = or_missing(roundness, "roundness", "roundness or roundness_class")?;
        Ok(Self {
            name,
            material: material.cloned(),
            recognised: false,
            own_inci: None,
            density: density.typed(GramsPerCm3::new).map_err(missing("a usable density", "density_g_cm3"))?,
            hardness: hardness.typed(Gigapascals::new).map_err(missing("a usable hardness", "hardness_gpa"))?,
            roundness: roundness.typed(Roundness::new).map_err(missing("a usable roundness", "roundness"))?,
            roundness_source: None,
            mohs: match given.hardness {
                Some(Hardness::Mohs(m)) => Some(m.get()),
                _ => None,
            },
            size,
            size_ranges: Vec::new(),
            stock: Stock::default(),
        })
    }
}

/// Refuses a material that the refusals table forbids, with every rule that does.
///
/// # Errors
/// [`PowderError::Refused`].
pub fn refuse_forbidden(material: &Material, refusals: &[RefusalRow]) -> Result<(), PowderError> {
    let Some(group) = &material.refused_by else { return Ok(()) };
    Err(PowderError::Refused { name: material.name.clone(), reasons: reasons(refusals, group) })
}

fn reasons(refusals: &[RefusalRow], group: &str) -> String {
    let rules = refusals.iter().filter(|r| r.group == group);
    rules.map(|r| format!("{}, {}: {}", r.jurisdiction, r.reference, r.says)).collect::<Vec<_>>().join("; ")
}
