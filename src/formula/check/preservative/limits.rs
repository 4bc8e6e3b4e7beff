//! The most of each preservative that the law allows, summed over all ingredients that bring it.

use super::super::market::is_sold;
use super::super::{Finding, Setting};
use super::{part_pct, rows, singles};
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

/// The limits are those of EU Annex V, and hold where the scrub is sold there.
pub(super) fn findings(s: &Setting, preservatives: &[(usize, &Ingredient)]) -> Vec<Finding> {
    if !is_sold(s, "EU") {
        return Vec::new();
    }
    let limited = s.tables.formula.preservatives.iter().filter(|row| most(s, row).is_some());
    let sums: Vec<(&Preservative, Sum)> = limited.map(|row| (row, sum(s, row, preservatives))).collect();
    let mut findings: Vec<Finding> = preservatives.iter().filter_map(|(_, i)| blend(s, i)).collect();
    for (place, (row, _)) in sums.iter().enumerate() {
        if sums[..place].iter().any(|(r, _)| group(r) == group(row)) {
            continue;
        }
        let members: Vec<&(&Preservative, Sum)> = sums.iter().filter(|(r, _)| group(r) == group(row)).collect();
        let mut together = Sum::default();
        for (member, own) in &members {
            together.add(own);
            // Where the entry allows more together, each has its own limit besides.
            let single = member.max_total_pct.and(most(s, member));
            findings.extend(single.and_then(|limit| own.against(s, &member.inci.to_lowercase(), member, limit)));
        }
        // A salt counts as its acid, whose row has all of itself as acid.
        let what = match members.iter().find(|(r, _)| r.acid_share >= 1.0) {
            Some((r, _)) => format!("{} (EU Annex {})", r.inci.to_lowercase(), group(row)),
            None => format!("of EU Annex {} together", group(row)),
        };
        let limit = row.max_total_pct.or_else(|| most(s, row));
        findings.extend(limit.and_then(|limit| together.against(s, &what, row, limit)));
    }
    findings
}

/// What all ingredients bring of a row's substance.
fn sum<'a>(s: &Setting, row: &Preservative, preservatives: &[(usize, &'a Ingredient)]) -> Sum<'a> {
    let mut sum = Sum::default();
    for (_, ingredient) in preservatives {
        // Parts that have limits of their own are counted by these.
        let is_apart = row.names.len() > 1 && singles(s, &row.names).iter().any(|single| most(s, single).is_some());
        if !ingredient.parts.is_empty() && is_apart {
            continue;
        }
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
