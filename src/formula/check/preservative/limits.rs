//! The most of each preservative that the law allows, summed over all ingredients that bring it.

use super::super::market::is_sold;
use super::super::{Finding, Setting};
use super::{part_of, part_pct, rows, singles};
use crate::formula::Ingredient;
use crate::numerics::written::apart;
use crate::tables::Preservative;

/// What a substance, or all substances of an entry, come to, % w/w as the law counts.
#[derive(Default)]
struct Sum<'a> {
    /// What is listed alone.
    known: f64,
    /// What blends without a known split may add.
    open: f64,
    /// Ingredients that bring it.
    from: Vec<&'a str>,
}

impl<'a> Sum<'a> {
    fn add(&mut self, other: &Sum<'a>) {
        (self.known, self.open) = (self.known + other.known, self.open + other.open);
        let new: Vec<&str> = other.from.iter().copied().filter(|name| !self.from.contains(name)).collect();
        self.from.extend(new);
    }

    fn against(&self, s: &Setting, what: &str, row: &Preservative, limit: f64) -> Option<Finding> {
        let from = self.from.join(", ");
        let over = |pct: f64| pct > limit * (1.0 + 1e-9);
        let assumed = match s.formula.usage.rinse_off {
            None => " (taken as left on: say rinse_off in [use])",
            Some(_) => "",
        };
        if over(self.known) {
            let why =
                format!("{from}: {} % {what} is over the {limit} % allowed{assumed}", apart(self.known, limit, 3));
            let finding = Finding::stop(why, (row.status, &row.source));
            return Some(finding.of(self.known, limit).unit("% w/w"));
        }
        over(self.known + self.open).then(|| {
            let why = format!(
                "{from}: up to {} % {what}, where {limit} % is allowed{assumed}; give the parts of the blend as ingredients of \
                 their own",
                apart(self.known + self.open, limit, 3)
            );
            Finding::missing(why).of(self.known + self.open, limit).unit("% w/w")
        })
    }
}

fn most(s: &Setting, row: &Preservative) -> Option<f64> {
    if s.formula.usage.rinse_off == Some(true) { row.max_rinse_pct } else { row.max_leave_pct }
}

/// What the law counts together.
fn group(row: &Preservative) -> &str {
    if row.entry.is_empty() { &row.key } else { &row.entry }
}

/// What it counts together beyond entries: V/12a with V/12.
fn family(row: &Preservative) -> &str {
    group(row).trim_end_matches(|c: char| c.is_ascii_lowercase())
}

/// What has one limit of its own within an entry.
fn single(row: &Preservative) -> &str {
    if row.counts_with.is_empty() { &row.key } else { &row.counts_with }
}

/// The limits are those of EU Annex V, and hold where the scrub is sold there.
pub(super) fn findings(s: &Setting, preservatives: &[(usize, &Ingredient)]) -> Vec<Finding> {
    if !is_sold(s, "EU") {
        return Vec::new();
    }
    let limited = s.tables.formula.preservatives.iter().filter(|row| most(s, row).is_some());
    let sums: Vec<(&Preservative, Sum)> = limited.map(|row| (row, sum(s, row, preservatives))).collect();
    let mut findings: Vec<Finding> = preservatives.iter().filter_map(|(_, i)| blend(s, i)).collect();
    for (place, (row, _)) in sums.iter().enumerate() {
        let is_first = |same: fn(&Preservative) -> &str| !sums[..place].iter().any(|(r, _)| same(r) == same(row));
        // Where the entry allows more together, each has its own limit besides.
        if row.max_total_pct.is_some() && is_first(single) {
            let (own, _) = together(&sums, |r| single(r) == single(row));
            findings.extend(most(s, row).and_then(|limit| own.against(s, &row.inci.to_lowercase(), row, limit)));
        }
        if is_first(group) {
            let (all, what) = match row.max_total_pct {
                Some(_) => together(&sums, |r| family(r) == family(row)),
                None => together(&sums, |r| group(r) == group(row)),
            };
            // A salt counts as its acid, whose row has all of itself as acid.
            let what = match what {
                Some(acid) => format!("{} (EU Annex {})", acid.inci.to_lowercase(), group(row)),
                None => format!("of EU Annex {} together", group(row)),
            };
            let limit = row.max_total_pct.or_else(|| most(s, row));
            findings.extend(limit.and_then(|limit| all.against(s, &what, row, limit)));
        }
    }
    findings
}

/// What some rows come to, and the one of them that is the acid as which they count.
fn together<'a, 't>(
    sums: &[(&'t Preservative, Sum<'a>)],
    counts: impl Fn(&Preservative) -> bool,
) -> (Sum<'a>, Option<&'t Preservative>) {
    let mut all = Sum::default();
    let members = || sums.iter().filter(|(row, _)| counts(row));
    members().for_each(|(_, own)| all.add(own));
    (all, members().map(|(row, _)| *row).find(|row| row.acid_share >= 1.0))
}

/// What all ingredients bring of a row's substance.
fn sum<'a>(s: &Setting, row: &Preservative, preservatives: &[(usize, &'a Ingredient)]) -> Sum<'a> {
    if row.names.len() > 1 {
        return of_mixture(s, row, preservatives);
    }
    let mut sum = Sum::default();
    for (_, ingredient) in preservatives {
        let pct = ingredient.active_pct() * row.acid_share;
        if whole(s, ingredient).is_some_and(|r| r.key == row.key) {
            sum.known += pct;
        } else if let Some(pct) = part_pct(ingredient, row) {
            sum.known += pct * row.acid_share;
        } else if parts(s, ingredient).iter().any(|r| r.key == row.key) {
            sum.open += pct;
        } else {
            continue;
        }
        sum.from.push(&ingredient.name);
    }
    sum
}

/// What all ingredients bring of a mixture that has a limit of its own: all of its substances, once one is there that the law allows in
/// this mixture alone.
fn of_mixture<'a>(s: &Setting, row: &Preservative, preservatives: &[(usize, &'a Ingredient)]) -> Sum<'a> {
    let is_its_own = |name: &String| singles(s, std::slice::from_ref(name)).is_empty();
    let (mut sum, mut is_there) = (Sum::default(), false);
    for (_, ingredient) in preservatives {
        let pct = ingredient.active_pct() * row.acid_share;
        let names: Vec<String> = ingredient.inci_names().into_iter().filter(|name| row.names.contains(name)).collect();
        if whole(s, ingredient).is_some_and(|r| r.key == row.key) {
            (sum.known, is_there) = (sum.known + pct, true);
        } else if names.is_empty() {
            continue;
        } else if ingredient.parts.is_empty() && ingredient.inci_names().len() > 1 {
            sum.open += pct;
        } else {
            let part = |name: &String| part_of(ingredient, std::slice::from_ref(name)).map(|share| share / 100.0);
            sum.known += pct * names.iter().filter_map(part).sum::<f64>();
        }
        is_there |= names.iter().any(is_its_own);
        sum.from.push(&ingredient.name);
    }
    if is_there { sum } else { Sum::default() }
}

/// The row that an ingredient is as a whole, its parts not being stated: one substance, or a mixture with a limit of its own.
fn whole<'t>(s: &'t Setting, ingredient: &Ingredient) -> Option<&'t Preservative> {
    let is_blend = ingredient.preservative.is_none() && ingredient.inci_names().len() > 1;
    match rows(s, ingredient).as_slice() {
        _ if !ingredient.parts.is_empty() => None,
        [row] if most(s, row).is_some() && (!is_blend || row.names.len() > 1) => Some(row),
        _ => None,
    }
}

/// What a blend consists of, as far as the table holds it; nothing for one that is judged whole.
fn parts<'t>(s: &'t Setting, ingredient: &Ingredient) -> Vec<&'t Preservative> {
    match (whole(s, ingredient), rows(s, ingredient).as_slice()) {
        (Some(_), _) => Vec::new(),
        (None, [row]) if row.names.len() > 1 => singles(s, &row.names),
        (None, rows) => rows.to_vec(),
    }
}

/// A blend that is over the law in any split.
fn blend(s: &Setting, ingredient: &Ingredient) -> Option<Finding> {
    let parts = if ingredient.parts.is_empty() { parts(s, ingredient) } else { Vec::new() };
    let row = parts.first()?;
    let listed = match &ingredient.preservative {
        Some(_) => rows(s, ingredient).first().map_or(0, |row| row.names.len()),
        None => ingredient.inci_names().len(),
    };
    let most: Option<f64> = parts.iter().map(|p| Some(most(s, p)? / p.acid_share)).sum();
    let limit = most.filter(|_| parts.len() == listed)?;
    let pct = ingredient.active_pct();
    (pct > limit * (1.0 + 1e-9)).then(|| {
        let why = format!("{}: {} % of the blend is over the law in any split", ingredient.name, apart(pct, limit, 3));
        Finding::stop(why, (row.status, &row.source)).of(pct, limit).unit("% w/w")
    })
}
