//! What several powders of a scrub have in common that is not known. A material's hardness is one number, however many lines of a file
//! are made of it; and what is stated alike of one material is one lot. Such an unknown is drawn once for all of them: drawn for each
//! by itself, a scrub would be the surer the more lines it is written in.

use crate::blend::Component;
use crate::powder::{Powder, Range, SizeRange, ValueOrigin};
use crate::size::{Sieves, SizeDistribution, SizeForm, SizeRecord};
use crate::tables::Property;
use std::cmp::Ordering;

/// What is not known of a powder. Where two powders have the same, there is one unknown for both.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum UnknownOf {
    /// A property of its grains.
    Grains(Kin, Property, KnownBy),
    /// Its sizes, before the maker's own sieves.
    Sizes(Kin, LotSizes),
    /// Where the maker's own sieves cut.
    Cuts(Kin, LotSizes, Sieves),
}

/// What a powder is made of: a material, or else what is said of the grains.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum Kin {
    Material(String),
    Grains { inci: Option<String>, values: [f64; 3], ranges: [Option<Range>; 3] },
}

/// How a property is known: a range of one's own is a measurement of just this; all else is as far off as its material may be.
#[derive(Debug, Clone, PartialEq)]
pub(super) enum KnownBy {
    Table,
    Given { by_mohs: bool },
    Measured(f64, Range),
}

/// Sizes as they are stated.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct LotSizes {
    distribution: SizeDistribution,
    form: SizeForm,
    ranges: Vec<SizeRange>,
}

impl Kin {
    fn of(powder: &Powder) -> Self {
        match powder.material_key() {
            Some(key) => Self::Material(key.to_owned()),
            None => {
                let known = Property::ALL.map(|property| powder.property(property));
                let inci = powder.inci().map(str::to_lowercase);
                Self::Grains { inci, values: known.map(|k| k.0), ranges: known.map(|k| k.2) }
            }
        }
    }
}

impl LotSizes {
    fn of(powder: &Powder) -> Self {
        let bought: &SizeRecord = powder.size.sieved.as_ref().map_or(&powder.size, |sieved| &sieved.of);
        Self { distribution: bought.distribution.clone(), form: bought.form, ranges: powder.size_ranges.clone() }
    }
}

impl UnknownOf {
    pub(super) fn grains(powder: &Powder, property: Property) -> Self {
        let known = match powder.property(property) {
            (value, _, Some(range)) => KnownBy::Measured(value, range),
            (_, ValueOrigin::Table(_), None) => KnownBy::Table,
            (_, ValueOrigin::Given, None) => {
                KnownBy::Given { by_mohs: property == Property::Hardness && powder.mohs.is_some() }
            }
        };
        Self::Grains(Kin::of(powder), property, known)
    }

    pub(super) fn sizes(powder: &Powder) -> Self {
        Self::Sizes(Kin::of(powder), LotSizes::of(powder))
    }

    /// `None` where the maker does not sieve it.
    pub(super) fn cuts(powder: &Powder) -> Option<Self> {
        let sieved = powder.size.sieved.as_ref()?;
        Some(Self::Cuts(Kin::of(powder), LotSizes::of(powder), sieved.by))
    }
}

/// Places of the powders in an order that does not hang on the file: what is made of, its sizes, its grains, and only then its name.
pub(super) fn in_order_of_kind(components: &[Component]) -> Vec<usize> {
    let mut places: Vec<usize> = (0..components.len()).collect();
    places.sort_by(|a, b| by_kind(&components[*a], &components[*b]));
    places
}

fn by_kind(a: &Component, b: &Component) -> Ordering {
    let numbers = |c: &Component| {
        let size = |p: f64| c.powder.size.distribution.quantile(p);
        let [density, hardness, roundness] = Property::ALL.map(|property| c.powder.property(property).0);
        [size(0.5), size(0.1), size(0.9), density, hardness, roundness, c.mass]
    };
    let by_numbers = || {
        let both = numbers(a).into_iter().zip(numbers(b));
        both.map(|(a, b)| a.total_cmp(&b)).find(|order| order.is_ne()).unwrap_or(Ordering::Equal)
    };
    a.powder
        .material_key()
        .cmp(&b.powder.material_key())
        .then_with(by_numbers)
        .then_with(|| a.powder.name.cmp(&b.powder.name))
}
