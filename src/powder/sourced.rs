//! A property of a powder with where it comes from, and what is known of how far off it may be.

use super::Powder;
use crate::tables::{Known, Origin, Property, Status};

/// A value, where it comes from, and the range that the user gave for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Sourced<T> {
    /// The value in force.
    pub value: T,
    /// Whether the user gave it or the table.
    pub origin: ValueOrigin,
    /// The range that the user gave; of a roundness, the bounds of the class that was named, too.
    pub range: Option<Range>,
}

impl<T: Copy + Into<f64>> Sourced<T> {
    /// The number, in the unit of its type.
    pub fn get(&self) -> f64 {
        self.value.into()
    }
}

impl Sourced<f64> {
    /// The user's own value or the table's; `None` when there is neither.
    pub(super) fn own_or_table(own: Option<f64>, table: Option<&Known>) -> Option<Self> {
        match (own, table) {
            (Some(value), _) => Some(Self { value, origin: ValueOrigin::Given, range: None }),
            (None, Some(known)) => {
                Some(Self { value: known.value, origin: ValueOrigin::Table(known.origin.clone()), range: None })
            }
            (None, None) => None,
        }
    }

    /// The same as a quantity with its unit.
    pub(super) fn typed<T, E>(self, new: impl FnOnce(f64) -> Result<T, E>) -> Result<Sourced<T>, E> {
        Ok(Sourced { value: new(self.value)?, origin: self.origin, range: self.range })
    }
}

/// Where a property of a powder comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ValueOrigin {
    /// The user gave it.
    Given,
    /// The materials table, with its status and source there.
    Table(Origin),
}

/// A range that the user gave for a value: 5 % is taken to lie below it and 5 % above (convention).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Range {
    /// Low end, positive.
    pub low: f64,
    /// High end, not below the value.
    pub high: f64,
}

/// A number of a size with its range.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeRange {
    /// Key of the number, such as `d50_um` or `gsd`.
    pub key: String,
    /// The number.
    pub value: f64,
    /// Its range.
    pub range: Range,
}

impl Powder {
    /// The value of a property, in the unit of the tables, where it comes from, and the user's range.
    pub fn property(&self, property: Property) -> (f64, &ValueOrigin, Option<Range>) {
        match property {
            Property::Density => (self.density.get(), &self.density.origin, self.density.range),
            Property::Hardness => (self.hardness.get(), &self.hardness.origin, self.hardness.range),
            Property::Roundness => (self.roundness.get(), &self.roundness.origin, self.roundness.range),
        }
    }

    /// The origin that the table states, of a property that was taken from there.
    pub fn in_table(&self, property: Property) -> Option<&Origin> {
        match self.property(property).1 {
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
