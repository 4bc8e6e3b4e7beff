//! Every ingredient and powder against lists of prohibited and restricted substances, as far as the tables hold them; all others
//! by name.

use super::{Check, Finding, NamedSubstance, OWN, Setting, market, names_of, no_phases, number, preservative};
use crate::formula::content::is_named;
use crate::tables::{AnnexEntry, ListKind, Status};

pub(super) fn check(s: &Setting) -> Check {
    let mut findings: Vec<Finding> = entries(s).filter_map(|entry| against(s, entry)).collect();
    if !s.has_phases() {
        findings.push(no_phases());
    }
    let names = |wanted: &dyn Fn(&NamedSubstance) -> bool| names_of(&s.substances, wanted);
    let nameless = names(&|n| n.is.inci().is_none() && !is_stated(s, n));
    if !nameless.is_empty() {
        let why = format!("without an INCI name: {nameless}; give inci (of a powder, its material)");
        findings.push(Finding::missing(why));
    }
    let open = names(&|n| n.is.inci().is_some() && !is_held(s, n) && !is_stated(s, n));
    if !open.is_empty() {
        let why = format!(
            "not held against the lists of prohibited and restricted substances: {open}; look each up and give \
             lists_checked = 2026-11-20, the day you did"
        );
        findings.push(Finding::missing(why));
    }
    let stated = names(&|n| is_stated(s, n));
    if !stated.is_empty() {
        findings.push(Finding::pass(format!("held against the lists by the maker: {stated}"), OWN));
    }
    if findings.is_empty() {
        findings.push(Finding::pass("every ingredient is held against the lists of the tables", OWN));
    }
    Check::from_findings("annexes", "% w/w", findings).and_open(market::lists(s))
}

/// The entries in force where it is sold.
fn entries<'s>(s: &'s Setting) -> impl Iterator<Item = &'s AnnexEntry> {
    s.tables.substances.in_force(&s.formula.usage.regions, s.day())
}

fn against(s: &Setting, entry: &AnnexEntry) -> Option<Finding> {
    let most = if s.is_rinsed() { entry.max_rinse_pct } else { entry.max_leave_pct };
    // What one entry limits is counted together, and told with the first of it.
    let is_together = |e: &&AnnexEntry| {
        std::ptr::eq(*e, entry)
            || (most.is_some() && e.region == entry.region && e.reference == entry.reference && e.says == entry.says)
    };
    let members: Vec<&AnnexEntry> = entries(s).filter(is_together).collect();
    let member = |n: &NamedSubstance| members.iter().find(|e| e.is(&n.words)).copied();
    let is_it = |n: &NamedSubstance| member(n).is_some();
    let names = names_of(&s.substances, is_it);
    if names.is_empty() || !members.first().is_some_and(|first| std::ptr::eq(*first, entry)) {
        return None;
    }
    let counted = |n: &NamedSubstance| member(n).map(|e| n.is.pct() * e.counts_as.unwrap_or(1.0));
    let pct: f64 = s.substances.iter().filter_map(counted).sum();
    let source = (entry.status, entry.source.as_str());
    let why = format!("{names}: {} ({}): {}", entry.region, entry.reference, entry.says);
    Some(match (entry.list, most, entry.max_ph) {
        (ListKind::Prohibited, ..) => Finding::stop(why, source).of(pct, None),
        (_, Some(most), _) if pct > most * (1.0 + 1e-9) => {
            Finding::stop(format!("{why}; here {} %", number(pct)), source).of(pct, most)
        }
        (_, Some(most), _) => Finding::pass(format!("{why}; here {} %", number(pct)), source).of(pct, most),
        (_, None, Some(most)) => match s.formula.ph() {
            Some(ph) if ph < most => Finding::pass(why, source),
            Some(ph) => Finding::stop(why, source).of(ph, most).unit("pH"),
            None => Finding::missing(format!("{why}; give the pH")),
        },
        (_, None, None) if entry.max_rinse_pct.is_some() || entry.max_leave_pct.is_some() => {
            Finding::pass(why, (Status::FromMemory, &entry.source))
        }
        (_, None, None) => Finding::caution(why, source),
    })
}

/// Whether a list of the tables speaks of it: water, an acid of the table, a preservative of the law, an entry in force.
fn is_held(s: &Setting, named: &NamedSubstance) -> bool {
    let listed = || entries(s).any(|entry| entry.is(&named.words));
    let is_of_law = |ingredient| {
        let mut rows = preservative::rows(s, ingredient).into_iter().filter(|row| !row.entry.is_empty());
        preservative::is_preservative(s, ingredient)
            && rows.any(|row| named.is.part.is_none() || named.is.is_inci(&row.inci))
    };
    named.is.is_water()
        || is_named(&named.is, &s.tables.formula)
        || named.ingredient().is_some_and(is_of_law)
        || listed()
}

/// Whether its maker looked it up.
fn is_stated(s: &Setting, named: &NamedSubstance) -> bool {
    s.stated(&named.is.line).lists_checked.is_some()
}
