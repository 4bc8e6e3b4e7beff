//! Where the numbers of a powder come from, as results show them.

use super::layout::listed;
use crate::blend::Component;
use crate::powder::{Powder, ValueOrigin};
use crate::tables::{Origin, Property};
use serde::Serialize;

/// The status of what the user stated.
pub const GIVEN: &str = "given";

/// A number of a powder and where it comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OriginPart {
    /// The number, in the unit of its key.
    pub value: f64,
    /// `given` by the user, or the status that the materials table states: `published`, `from memory`, `estimate` or `convention`.
    pub status: &'static str,
    /// Where it comes from.
    pub source: String,
}

/// Where each number of a powder comes from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct OriginsPart {
    /// Of the envelope density.
    pub density_g_cm3: OriginPart,
    /// Of the hardness.
    pub hardness_gpa: OriginPart,
    /// Of the roundness.
    pub roundness: OriginPart,
    /// Of the solubility; absent without a material that has one.
    pub soluble_g_per_100ml: Option<OriginPart>,
}

impl OriginsPart {
    /// Of a powder.
    pub fn new(powder: &Powder) -> Self {
        let part = |property| of_property(powder, property);
        let soluble = powder.material.as_ref().and_then(|m| m.soluble_g_per_100ml.zip(m.soluble_origin.as_ref()));
        Self {
            density_g_cm3: part(Property::Density),
            hardness_gpa: part(Property::Hardness),
            roundness: part(Property::Roundness),
            soluble_g_per_100ml: soluble.map(|(value, origin)| of_table(value, origin)),
        }
    }
}

fn of_table(value: f64, origin: &Origin) -> OriginPart {
    OriginPart { value, status: origin.status.key(), source: origin.source.clone() }
}

/// Of one property.
pub fn of_property(powder: &Powder, property: Property) -> OriginPart {
    let (value, origin, _) = powder.property(property);
    let source = match (origin, property) {
        (ValueOrigin::Table(origin), _) => return of_table(value, origin),
        (ValueOrigin::Given, Property::Hardness) => {
            powder.mohs.map(|mohs| format!("Mohs {mohs} as given with the powder, by the hardness table"))
        }
        (ValueOrigin::Given, Property::Roundness) => powder.roundness_source.clone(),
        (ValueOrigin::Given, Property::Density) => None,
    };
    OriginPart { value, status: GIVEN, source: source.unwrap_or_else(|| "given with the powder".to_owned()) }
}

/// What the powders rest on that is only estimated, a clause for each powder: "hardness and roundness of Rice bran; ...".
pub fn estimates(components: &[&Component]) -> String {
    let clause = |component: &&Component| {
        let powder = &component.powder;
        let properties: Vec<&str> = powder.estimates().into_iter().map(Property::key).collect();
        (!properties.is_empty()).then(|| format!("{} of {}", listed(&properties), powder.name))
    };
    components.iter().filter_map(clause).collect::<Vec<_>>().join("; ")
}
