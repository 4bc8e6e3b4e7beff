//! The preservatives of a formula, each once, whatever ingredients bring it: a mixture of the table is known as a blend, by its parts,
//! and by ingredients of their own alike.

use std::collections::BTreeMap;

use super::super::Setting;
use super::{is_preservative, part_pct, rows};
use crate::formula::Ingredient;
use crate::source::substances_of;
use crate::tables::Preservative;

/// How a dose stands against what is usual.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Dose {
    Usual,
    Low,
    Trace,
    /// A blend whose parts are not known.
    Open,
}

/// A preservative of the table with all that the formula holds of it.
pub(super) struct HeldPreservative<'a> {
    pub(super) row: &'a Preservative,
    pub(super) pct: f64,
    pub(super) dose: Dose,
    pub(super) from: Vec<&'a str>,
    /// A mixture that others of the list make together.
    is_made: bool,
}

impl<'a> HeldPreservative<'a> {
    fn new(row: &'a Preservative) -> HeldPreservative<'a> {
        HeldPreservative { row, pct: 0.0, dose: Dose::Usual, from: Vec::new(), is_made: false }
    }

    /// Names of the ingredients that bring it.
    pub(super) fn name(&self) -> String {
        self.from.join(", ")
    }

    fn weigh(&mut self, tenth: f64) {
        if self.dose != Dose::Open {
            self.dose = match self.row.usual_low {
                Some(low) if self.pct < tenth * low => Dose::Trace,
                Some(low) if self.pct < low * (1.0 - 1e-9) => Dose::Low,
                _ => Dose::Usual,
            };
        }
    }
}

/// What substances do together is told of their mixture, not of each besides.
pub(super) fn to_be_told<'h, 'a>(held: &'h [HeldPreservative<'a>]) -> impl Iterator<Item = &'h HeldPreservative<'a>> {
    let is_within = |row: &Preservative, mixture: &Preservative| {
        mixture.names.len() > row.names.len() && row.names.iter().all(|name| mixture.names.contains(name))
    };
    held.iter().filter(move |h| !held.iter().any(|other| other.is_made && is_within(h.row, other.row)))
}

/// Whether the table does not know an ingredient, neither by itself nor as part of a mixture that several make together.
pub(super) fn is_stranger(s: &Setting, held: &[HeldPreservative], ingredient: &Ingredient) -> bool {
    let is_in = |h: &HeldPreservative| h.is_made && h.from.contains(&ingredient.name.as_str());
    rows(s, ingredient).is_empty() && !held.iter().any(is_in)
}

pub(super) fn held<'a>(s: &'a Setting, preservatives: &[(usize, &'a Ingredient)]) -> Vec<HeldPreservative<'a>> {
    let tenth = s.constants().usual_tenth.value;
    let mut all: Vec<HeldPreservative> = Vec::new();
    for (_, ingredient) in preservatives {
        by_itself(s, ingredient, &mut all);
    }
    all.iter_mut().for_each(|h| h.weigh(tenth));
    let mut mixed = mixtures(s, &all);
    mixed.iter_mut().for_each(|h| h.weigh(tenth));
    all.extend(mixed);
    all
}

/// Adds what one ingredient brings.
fn by_itself<'a>(s: &'a Setting, ingredient: &'a Ingredient, all: &mut Vec<HeldPreservative<'a>>) {
    let rows = rows(s, ingredient);
    let whole = ingredient.parts.is_empty()
        && rows.len() == 1
        && (ingredient.preservative.is_some() || ingredient.inci_names().len() <= rows[0].names.len());
    for row in rows {
        let place = all.iter().position(|h| h.row.key == row.key).unwrap_or_else(|| {
            all.push(HeldPreservative::new(row));
            all.len() - 1
        });
        let known = &mut all[place];
        known.from.push(&ingredient.name);
        match part_pct(ingredient, row) {
            _ if whole => known.pct += ingredient.active_pct(),
            Some(pct) => known.pct += pct,
            None => known.dose = Dose::Open,
        }
    }
}

/// Mixtures of the table whose substances are all there, none as a trace, at a pH at which the mixture works: beyond it each is what it
/// is by itself.
fn mixtures<'a>(s: &'a Setting, held: &[HeldPreservative<'a>]) -> Vec<HeldPreservative<'a>> {
    let amounts = amounts(s);
    let is_trace = |name: &String| held.iter().any(|h| h.dose == Dose::Trace && h.row.names == [name.as_str()]);
    let mut mixed = Vec::new();
    for row in s.tables.formula.preservatives.iter().filter(|row| row.names.len() > 1) {
        let mut mixture = HeldPreservative { is_made: true, ..HeldPreservative::new(row) };
        let each: Option<Vec<_>> = row.names.iter().map(|name| amounts.get(name)).collect();
        let is_known = held.iter().any(|h| h.row.key == row.key) || row.names.iter().any(is_trace);
        let Some(each) = each.filter(|_| !is_known && s.formula.ph().is_none_or(|ph| row.works_at(ph))) else {
            continue;
        };
        for (pct, from) in each {
            mixture.pct += pct;
            mixture.from.extend(from);
        }
        mixture.from.dedup();
        mixed.push(mixture);
    }
    mixed
}

/// How much of each substance there is, % w/w, and what brings it, as far as the split is known: of preservatives, and of what helps
/// them and is none by law.
fn amounts<'a>(s: &'a Setting) -> BTreeMap<String, (f64, Vec<&'a str>)> {
    let helps = |i: &Ingredient| {
        let rows = rows(s, i);
        !rows.is_empty() && rows.iter().all(|row| row.entry.is_empty())
    };
    let mut amounts: BTreeMap<String, (f64, Vec<&str>)> = BTreeMap::new();
    for (_, i) in s.formula.ingredients().filter(|(_, i)| is_preservative(s, i) || helps(i)) {
        let parts: Vec<(Vec<String>, f64)> = match (i.parts.as_slice(), rows(s, i).as_slice()) {
            ([], [row]) if i.preservative.is_some() => vec![(row.names.clone(), 100.0)],
            ([], _) => vec![(i.inci_names(), 100.0)],
            (parts, _) => parts.iter().map(|part| (substances_of(&part.inci), part.pct.get())).collect(),
        };
        for (mut names, pct) in parts {
            if let (Some(name), true) = (names.pop(), names.is_empty()) {
                let amount = amounts.entry(name).or_default();
                amount.0 += i.active_pct() * pct / 100.0;
                amount.1.push(&i.name);
            }
        }
    }
    amounts
}
