//! What a measurement of a powder would do for the verdict, told as its outcomes: the scrub judged and drawn again with what might be
//! found.

use super::inputs::{Inputs, Measurand, Measures};
use super::sampling::Sampling;
use super::sure::{SURE, Sure, sure};
use crate::band::Judge;
use crate::blend::{Blend, Scrub};
use crate::numerics::spread::Z95;
use crate::powder::{Powder, Range, Sourced, ValueOrigin};
use crate::size::SizeForm;
use crate::size::table::TableKind;
use crate::tables::{DrawTolerances, Known, Tables};
use crate::units::{Gigapascals, GramsPerCm3, Parts, Roundness};

/// A measurement that could be made, and what it might find.
#[derive(Debug, Clone, PartialEq)]
pub struct Measurement {
    /// Place of the powder in the blend.
    pub powder: usize,
    /// What would be measured.
    pub property: Measurand,
    /// It was measured already: this would be doing it again, more closely.
    pub made: bool,
    /// The sizes have no top: a coarser sieve would tell more than the same ones again.
    pub open_top: bool,
    /// What it might find: the value as stated first, then one towards the low end of its range and one towards the high end.
    pub findings: Vec<FoundValue>,
}

/// One outcome.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FoundValue {
    /// What is found, in the property's unit (the median for sizes, µm).
    pub value: f64,
    /// Rank of the band then.
    pub rank: usize,
    /// Share of the draws in it or a milder one.
    pub sure: f64,
    /// Mildest rank that nine in ten draws meet.
    pub nine_in_ten: usize,
}

/// How far off an outcome is that is told, of the way to the end of the range on the ln axis: half of it, so a quarter of the draws lie
/// beyond.
const HALF_WAY: f64 = 0.5;

/// What measuring a property of a powder might find, of all powders that share it; `None` for what is known no better afterwards.
pub fn measurement(
    scrub: &Scrub,
    judge: &Judge,
    tables: &Tables,
    measures: Measures,
    sampling: Sampling,
) -> Option<Measurement> {
    let Measures::Powder(place, property) = measures else { return None };
    let powder = &scrub.blend.components()[place].powder;
    let range = range_of(powder, property, &tables.draws)?;
    let stated = value_of(powder, property);
    let sharing = Inputs::new(scrub, tables, judge.model().reference_position()).sharing(place, property);
    let towards = |end: f64| stated * (end / stated).powf(HALF_WAY);
    let mut values = vec![stated, towards(range.low), towards(range.high)];
    values.dedup_by(|a, b| (*a / *b - 1.0).abs() < 1e-6);
    let findings = values.into_iter().filter_map(|value| {
        let found = with_measured(scrub, &sharing, property, value / stated, &tables.draws)?;
        let rank = judge.assess(&found).verdict.rank;
        let sure: Sure = sure(&found, judge, tables, sampling);
        Some(FoundValue { value, rank, sure: sure.share(rank), nine_in_ten: sure.rank_met_by(SURE) })
    });
    let open = property == Measurand::Size && powder.size.open_top_above(tables.draws.open_top_share()).is_some();
    let made = is_made(powder, property);
    Some(Measurement { powder: place, property, made, open_top: open, findings: findings.collect() })
}

fn value_of(powder: &Powder, property: Measurand) -> f64 {
    match property {
        Measurand::Size => powder.size.distribution.quantile(0.5),
        Measurand::Hardness => powder.hardness.get(),
        Measurand::Roundness => powder.roundness.get(),
        Measurand::Density => powder.density.get(),
    }
}

/// Whether the maker has measured it: a range of their own stands beside the value, or a table of sizes.
fn is_made(powder: &Powder, property: Measurand) -> bool {
    match property {
        // A table of the powder before the maker sieves it is none of what is kept.
        Measurand::Size => !powder.size.classes.is_empty() && powder.size.sieved.is_none(),
        Measurand::Hardness => powder.hardness.range.is_some(),
        Measurand::Roundness => powder.roundness.range.is_some(),
        Measurand::Density => powder.density.range.is_some(),
    }
}

/// The range that holds nine in ten of what strays about a value by a standard deviation of ln.
fn around(value: f64, sd: f64) -> Range {
    Range { low: value * (-Z95 * sd).exp(), high: value * (Z95 * sd).exp() }
}

/// Where the value may lie today.
fn range_of(powder: &Powder, property: Measurand, tolerances: &DrawTolerances) -> Option<Range> {
    let (value, material) = (value_of(powder, property), powder.material.as_ref());
    let moved = |known: &Known| Range { low: value * known.low / known.value, high: value * known.high / known.value };
    Some(match property {
        Measurand::Size => {
            let grade = around(value, tolerances.sizes(powder.size.form)[0]);
            match powder.size.form {
                SizeForm::OneFigure(known) if powder.size.sieved.is_none() => known
                    .medians_um()
                    .map_or(grade, |[least, most]| Range { low: grade.low.min(least), high: grade.high.max(most) }),
                _ => grade,
            }
        }
        Measurand::Hardness => match (powder.hardness.range, material) {
            (Some(own), _) => own,
            (None, Some(m)) => moved(&m.hardness_gpa),
            (None, None) => around(value, DrawTolerances::ln(tolerances.hardness_pct)),
        },
        Measurand::Roundness => {
            let range = match (powder.roundness.range, material) {
                (Some(own), _) => own,
                (None, Some(m)) => moved(&m.roundness),
                (None, None) => around(value, DrawTolerances::ln(tolerances.roundness_pct)),
            };
            Range { low: range.low, high: range.high.min(1.0) }
        }
        // No density moves a band that another property does not move more.
        Measurand::Density => return None,
    })
}

/// The scrub with a property of all powders that share it found to be `times` the stated one, as well as it can be known then.
fn with_measured(
    scrub: &Scrub,
    sharing: &[usize],
    property: Measurand,
    times: f64,
    tolerances: &DrawTolerances,
) -> Option<Scrub> {
    let around = |value: f64, pct: f64| Some(around(value, DrawTolerances::ln(pct)));
    let measure = |powder: &mut Powder| {
        let value = times * value_of(powder, property);
        match property {
            Measurand::Size => {
                powder.size = powder.size.scaled(times);
                (powder.size.form, powder.size_ranges) = (SizeForm::Measured(TableKind::Sieve), Vec::new());
                powder.size.sieved = None;
            }
            Measurand::Hardness => {
                powder.hardness.value = Gigapascals::new(value).ok()?;
                powder.hardness.range = around(value, tolerances.measured_hardness_pct);
            }
            Measurand::Roundness => {
                let value = value.min(1.0);
                powder.roundness.value = Roundness::new(value).ok()?;
                powder.roundness.range = around(value, tolerances.measured_roundness_pct);
            }
            Measurand::Density => powder.density.value = GramsPerCm3::new(value).ok()?,
        }
        Some(())
    };
    Some(Scrub { blend: with_powders(&scrub.blend, sharing, measure)?, ..scrub.clone() })
}

/// A blend with some of its powders changed; none where one cannot be.
fn with_powders(blend: &Blend, places: &[usize], change: impl Fn(&mut Powder) -> Option<()>) -> Option<Blend> {
    let mut powders: Vec<(Powder, Parts)> =
        blend.components().iter().map(|component| (component.powder.clone(), component.parts)).collect();
    places.iter().try_for_each(|place| change(&mut powders.get_mut(*place)?.0))?;
    Blend::new(powders).ok()
}

/// The roundness of a powder before anybody measured it: that of its material's row, with its range there.
pub(super) struct Unmeasured {
    pub roundness: f64,
    pub range: Range,
    /// The scrub with it.
    pub scrub: Scrub,
}

/// A scrub as it stood before the roundness that some powders share was measured; none where its file does not say that it was, or where
/// no material had one before.
pub(super) fn before_measured(scrub: &Scrub, sharing: &[usize]) -> Option<Unmeasured> {
    let powder = &scrub.blend.components().get(*sharing.first()?)?.powder;
    powder.roundness_source.as_ref().filter(|_| powder.roundness.range.is_some())?;
    let Known { value, low, high, origin } = powder.material.as_ref()?.roundness.clone();
    let blend = with_powders(&scrub.blend, sharing, |powder| {
        let origin = ValueOrigin::Table(origin.clone());
        powder.roundness = Sourced { value: Roundness::new(value).ok()?, origin, range: None };
        Some(())
    })?;
    Some(Unmeasured { roundness: value, range: Range { low, high }, scrub: Scrub { blend, ..scrub.clone() } })
}
