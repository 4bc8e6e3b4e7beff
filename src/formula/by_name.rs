//! What names tell of acids, bases and carbonates where no table holds the substance itself.

use super::{Function, Item, Substance};
use crate::powder::Powder;
use crate::source::{Spelled, same_word, substances_of};
use crate::tables::{FormulaTables, Neutraliser, NeutraliserKind, ProtonKind};

/// What the longest of the known phrases in a name tells.
fn told_by(name: &str, tables: &FormulaTables) -> Option<ProtonKind> {
    let words = Spelled::new(name);
    let held = tables.proton_words.iter().filter(|row| words.holds(&row.word));
    held.max_by_key(|row| (row.word.split(' ').count(), row.kind)).map(|row| row.kind)
}

/// The most that one of the substances of an INCI name tells; without one, the name.
fn told(inci: Option<&str>, name: &str, tables: &FormulaTables) -> Option<ProtonKind> {
    match inci {
        Some(inci) => substances_of(inci).iter().filter_map(|name| told_by(name, tables)).max(),
        None => told_by(name, tables),
    }
}

/// What the name of a substance tells: its INCI name, or where it has none that of its line. What colours or smells is called after much
/// that it is not.
pub(super) fn proton_kind(substance: &Substance, tables: &FormulaTables) -> Option<ProtonKind> {
    let is_fancy = || substance.line.is(Function::Fragrance) || substance.line.is(Function::Colour);
    match substance.inci() {
        None if is_fancy() => None,
        inci => told(inci, substance.line.name(), tables),
    }
}

/// Whether a powder of no known material is called a carbonate.
pub(super) fn is_called_carbonate(powder: &Powder, tables: &FormulaTables) -> bool {
    told(powder.inci(), &powder.name, tables) == Some(ProtonKind::Carbonate)
}

/// The bases and carbonates of the table that an INCI name lists among others.
fn listed<'t>(inci: &str, tables: &'t FormulaTables) -> Vec<&'t Neutraliser> {
    let names = substances_of(inci);
    let is_listed = |row: &&Neutraliser| names.len() > 1 && names.iter().any(|name| same_word(&row.inci, name));
    tables.neutralisers.iter().filter(is_listed).collect()
}

/// Whether it is a blend, of shares that nobody has told, with a base among its INCI names.
pub(super) fn blends_a_base(substance: &Substance, tables: &FormulaTables) -> bool {
    let rows = substance.inci().map(|inci| listed(inci, tables)).unwrap_or_default();
    rows.iter().any(|row| row.kind == NeutraliserKind::Base)
}

/// The carbonate that a substance is, or is among its INCI names; one that the table does not hold counts as that of calcium.
pub(super) fn carbonate<'t>(substance: &Substance, tables: &'t FormulaTables) -> Option<&'t Neutraliser> {
    let mut rows = tables.neutralisers.iter().filter(|n| n.kind == NeutraliserKind::Carbonate);
    let first = rows.clone().next()?;
    let material = match substance.line.item {
        Item::Powder(component, _) => component.powder.material.as_ref(),
        Item::Ingredient(_) => None,
    };
    let is_it = |row: &&Neutraliser| {
        substance.is_inci(&row.inci) || material.is_some_and(|material| same_word(&material.inci, &row.inci))
    };
    let by_blend = || listed(substance.inci()?, tables).into_iter().find(|row| row.kind == NeutraliserKind::Carbonate);
    let by_flag = || material.is_some_and(|material| material.is_flagged("acid-reacts")).then_some(first);
    let by_word = || {
        let told = material.is_none() && proton_kind(substance, tables) == Some(ProtonKind::Carbonate);
        told.then_some(first)
    };
    rows.find(is_it).or_else(by_blend).or_else(by_flag).or_else(by_word)
}
