//! One powder: a size distribution plus what its grains are like, and where each property comes from.

mod accept;
mod hardness;
mod origins;
mod ranges;
mod roundness;
mod shelf;

pub use accept::{LotSpec, Tolerance};
pub use hardness::from_mohs;
pub use origins::{Origins, ValueOrigin};
pub use ranges::{PropertyRanges, Range, SizeRange};
pub use roundness::of_class;
pub use shelf::ShelfPowder;

use crate::size::SizeRecord;
use crate::tables::{Known, Material, Property, RefusalRow, Tables};
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
    /// The material it is made of, when one was named.
    pub material: Option<Material>,
    /// Envelope density of a grain.
    pub density: GramsPerCm3,
    /// Indentation hardness.
    pub hardness: Gigapascals,
    /// Wadell roundness.
    pub roundness: Roundness,
    /// Sizes.
    pub size: SizeRecord,
    /// Where density, hardness and roundness come from.
    pub origins: Origins,
    /// The Mohs number that the hardness was converted from, if it was.
    pub mohs: Option<f64>,
    /// What a kilogram costs, in the user's currency, if it was said.
    pub price_per_kg: Option<f64>,
    /// Supplier's code of the lot at hand, if it was said.
    pub lot: Option<String>,
    /// What lots of it are held to.
    pub accept: LotSpec,
    /// The ranges that the user gave.
    pub ranges: PropertyRanges,
}

impl Powder {
    /// Why the trade keeps it off the face, when it does.
    pub fn not_on_face(&self) -> Option<&str> {
        self.material.as_ref()?.not_on_face()
    }

    /// Whether its material carries a flag.
    pub fn has_flag(&self, flag: &str) -> bool {
        self.material.as_ref().is_some_and(|m| m.has_flag(flag))
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
        match material {
            Some(material) => refuse_forbidden(material, &tables.refusals)?,
            None => refuse_plastic_names(&name, tables)?,
        }
        let from_table = |property: Property| material.map(|m| m.known(property));
        let (density, of_density) = own_or_table(given.density.map(GramsPerCm3::get), from_table(Property::Density))
            .ok_or(PowderError::Missing { property: "density", keys: "density_g_cm3" })?;
        let own = given.hardness.map(|hardness| match hardness {
            Hardness::Indentation(h) => h.get(),
            Hardness::Mohs(m) => from_mohs(&tables.mohs, m),
        });
        let (hardness, of_hardness) = own_or_table(own, from_table(Property::Hardness))
            .ok_or(PowderError::Missing { property: "hardness", keys: "hardness_gpa or mohs" })?;
        let (roundness, of_roundness) =
            own_or_table(given.roundness.map(Roundness::get), from_table(Property::Roundness))
                .ok_or(PowderError::Missing { property: "roundness", keys: "roundness or roundness_class" })?;
        let missing = |property, keys| move |_| PowderError::Missing { property, keys };
        Ok(Self {
            name,
            material: material.cloned(),
            density: GramsPerCm3::new(density).map_err(missing("a usable density", "density_g_cm3"))?,
            hardness: Gigapascals::new(hardness).map_err(missing("a usable hardness", "hardness_gpa"))?,
            roundness: Roundness::new(roundness).map_err(missing("a usable roundness", "roundness"))?,
            size,
            origins: Origins { density: of_density, hardness: of_hardness, roundness: of_roundness },
            mohs: match given.hardness {
                Some(Hardness::Mohs(m)) => Some(m.get()),
                _ => None,
            },
            price_per_kg: None,
            lot: None,
            accept: LotSpec::default(),
            ranges: PropertyRanges::default(),
        })
    }
}

/// The user's own value, or the table's, and which of the two it is; `None` when there is neither.
fn own_or_table(own: Option<f64>, table: Option<&Known>) -> Option<(f64, ValueOrigin)> {
    let given = own.map(|value| (value, ValueOrigin::Given));
    given.or_else(|| table.map(|known| (known.value, ValueOrigin::Table(known.origin.clone()))))
}

/// Refuses a material that the refusals table forbids, with every rule that does.
///
/// # Errors
/// [`PowderError::Refused`].
pub fn refuse_forbidden(material: &Material, refusals: &[RefusalRow]) -> Result<(), PowderError> {
    if material.refused_by.is_empty() {
        return Ok(());
    }
    Err(PowderError::Refused { name: material.name.clone(), reasons: reasons(refusals, &material.refused_by) })
}

/// Refuses a powder without a material whose name tells of plastic: typing its properties by hand does not make it anything
/// else. "Plastic-free" is no plastic.
fn refuse_plastic_names(name: &str, tables: &Tables) -> Result<(), PowderError> {
    let lower = name.to_lowercase();
    let words: Vec<&str> = lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).collect();
    let freed = |i: usize| words.get(i + 1) == Some(&"free") || i > 0 && ["no", "non"].contains(&words[i - 1]);
    let mut told = words.iter().enumerate().filter(|(i, _)| !freed(*i)).map(|(_, w)| w);
    match told.find_map(|w| tables.polymer_words.iter().find(|row| row.word == *w)) {
        Some(row) => Err(PowderError::Refused {
            name: format!("{name} (\"{}\" in its name)", row.word),
            reasons: reasons(&tables.refusals, &row.group),
        }),
        None => Ok(()),
    }
}

fn reasons(refusals: &[RefusalRow], group: &str) -> String {
    let rules = refusals.iter().filter(|r| r.group == group);
    rules.map(|r| format!("{}, {}: {}", r.jurisdiction, r.reference, r.says)).collect::<Vec<_>>().join("; ")
}
