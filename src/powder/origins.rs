use super::Powder;
use crate::tables::{Origin, Property, Status};

/// Where a property of a powder comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ValueOrigin {
    /// The user gave it.
    Given,
    /// The materials table, with its status and source there.
    Table(Origin),
}

/// Where the properties of a powder come from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origins {
    /// Of the envelope density.
    pub density: ValueOrigin,
    /// Of the hardness.
    pub hardness: ValueOrigin,
    /// Of the roundness.
    pub roundness: ValueOrigin,
}

impl Origins {
    /// Where a property comes from.
    pub fn of(&self, property: Property) -> &ValueOrigin {
        match property {
            Property::Density => &self.density,
            Property::Hardness => &self.hardness,
            Property::Roundness => &self.roundness,
        }
    }

    /// The origin that the table states, of a property that was taken from there.
    pub fn in_table(&self, property: Property) -> Option<&Origin> {
        match self.of(property) {
            ValueOrigin::Given => None,
            ValueOrigin::Table(origin) => Some(origin),
        }
    }

    /// The properties that were taken from the table.
    pub fn from_table(&self) -> Vec<Property> {
        Property::ALL.into_iter().filter(|p| self.in_table(*p).is_some()).collect()
    }

    /// Those of them that the table only estimates.
    pub fn estimates(&self) -> Vec<Property> {
        let is_estimate = |p: &Property| self.in_table(*p).is_some_and(|o| o.status == Status::Estimate);
        Property::ALL.into_iter().filter(is_estimate).collect()
    }
}

impl Powder {
    /// The value of a property, in the unit of the tables.
    pub fn value(&self, property: Property) -> f64 {
        match property {
            Property::Density => self.density.get(),
            Property::Hardness => self.hardness.get(),
            Property::Roundness => self.roundness.get(),
        }
    }
}
