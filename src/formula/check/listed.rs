//! Grains that are listed as an ingredient and not as a powder: neither index nor band knows of them.

use super::super::{Function, Substance};
use super::{Finding, NamedSubstance, Setting, number};
use crate::tables::{GrainKind, Material, MaterialOrigin, Status};

/// By what grains are known.
const BY_NAME: (Status, &str) = (Status::FromMemory, "words of natural grains; common practice, no source");

/// The ingredients and parts that are grains, with what kind they are, as far as their names tell.
fn grains<'s>(s: &'s Setting) -> impl Iterator<Item = (&'s Substance<'s>, Option<GrainKind>)> {
    let ingredients = s.substances.iter().filter(|n| n.ingredient().is_some());
    ingredients.map(|NamedSubstance { is, grain, .. }| (is, *grain))
}

/// The material of the table that an ingredient is by its INCI name.
pub(super) fn material<'s>(s: &'s Setting, substance: &Substance) -> Option<&'s Material> {
    let materials = s.tables.materials.iter().filter(|m| m.refused_by.is_none());
    materials.into_iter().find(|m| substance.is_inci(&m.inci) || substance.is_inci(&m.name))
}

fn is_soluble(kind: Option<GrainKind>) -> bool {
    matches!(kind, Some(GrainKind::Sugar | GrainKind::Salt))
}

/// Sugar and salt: what the water does not take stays as grains.
pub(super) fn soluble(s: &Setting) -> Vec<Finding> {
    let water = s.formula.water_pct();
    let finding = |substance: &Substance| {
        let pct = substance.pct();
        let known = material(s, substance).and_then(|m| m.soluble_g_per_100ml);
        let takes = known.unwrap_or(s.constants().soluble_g_per_100ml.value) * water / 100.0;
        let name = substance.name();
        if pct <= takes {
            return Finding::pass(format!("{name} is listed as an ingredient: the water takes all of it"), BY_NAME);
        }
        let why = format!(
            "{name} is listed as an ingredient (the water takes {} of {} %): its grains are in neither index nor band; list it as a [[powder]]",
            number(takes),
            number(pct)
        );
        Finding::caution(why, BY_NAME)
    };
    grains(s).filter(|(_, kind)| is_soluble(*kind)).map(|(substance, _)| finding(substance)).collect()
}

/// Stone, clay that is a material of the table, ground plants, and what is said to be an abrasive.
pub(super) fn solid(s: &Setting) -> Option<Finding> {
    let hard = |i: &Substance| {
        let origins = [MaterialOrigin::Mineral, MaterialOrigin::Plant];
        material(s, i).is_some_and(|m| origins.contains(&m.origin))
    };
    let is_grain = |(i, kind): &(&Substance, Option<GrainKind>)| match kind {
        _ if i.line.is(Function::Abrasive) => !is_soluble(*kind),
        Some(GrainKind::Mineral | GrainKind::Plant) => true,
        kind => !is_soluble(*kind) && hard(i),
    };
    let names: Vec<_> = grains(s).filter(is_grain).map(|(i, _)| i.name()).collect();
    (!names.is_empty()).then(|| {
        let why = format!(
            "{}: listed as an ingredient; its grains are in neither index nor band nor solids: list it as a [[powder]]",
            names.join(", ")
        );
        Finding::caution(why, BY_NAME)
    })
}
