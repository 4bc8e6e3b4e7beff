//! Powders of no material, for unit tests.

use super::{GrainProperties, Hardness, Powder};
use crate::size::{SizeRecord, law::Law};
use crate::tables::Tables;
use crate::units::{Gigapascals, GramsPerCm3, Micrometres, Roundness};

/// A hardness by indentation, GPa.
pub fn gpa(value: f64) -> Hardness {
    Hardness::Indentation(Gigapascals::new(value).unwrap())
}

/// Log-normal sizes by their median, µm, and geometric standard deviation.
pub fn log_normal(median_um: f64, gsd: f64) -> SizeRecord {
    let law = Law::log_normal(Micrometres::new(median_um).unwrap(), gsd).unwrap();
    SizeRecord::from_distribution(law.into(), "test")
}

/// Grains with all their properties given; density in g/cm³.
pub fn grains(
    name: &str,
    density: f64,
    hardness: Hardness,
    roundness: f64,
    size: SizeRecord,
    tables: &Tables,
) -> Powder {
    let given = GrainProperties {
        density: Some(GramsPerCm3::new(density).unwrap()),
        hardness: Some(hardness),
        roundness: Some(Roundness::new(roundness).unwrap()),
    };
    Powder::new(name.into(), None, &given, size, tables).unwrap()
}
