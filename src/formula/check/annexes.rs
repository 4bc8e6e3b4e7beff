//! Every ingredient and powder against lists of prohibited and restricted substances, as far as the tables hold them; all others
//! by name.

use super::super::{Item, Line};
use super::{Check, Finding, Named, OWN, Setting, market, no_phases, number, preservative};
use crate::formula::content::is_named;
use crate::tables::{AnnexEntry, ListKind, Status, holds_on};

pub(super) fn check(s: &Setting) -> Check {
    let mut findings: Vec<Finding> = entries(s).filter_map(|entry| against(s, entry)).collect();
    if !s.has_phases() {
        findings.push(no_phases());
    }
    let names = |wanted: &dyn Fn(&Named) -> bool| {
        let named = s.lines.iter().filter(|named| wanted(named)).map(|named| &named.line);
        named.map(Line::name).collect::<Vec<_>>().join(", ")
    };
    let nameless = names(&|n| n.line.inci().is_none() && !is_stated(s, &n.line));
    if !nameless.is_empty() {
        let why = format!("without an INCI name: {nameless}; give inci (of a powder, its material)");
        findings.push(Finding::missing(why));
    }
    let open = names(&|n| n.line.inci().is_some() && !is_held(s, n) && !is_stated(s, &n.line));
    if !open.is_empty() {
        let why = format!(
            "not held against the lists of prohibited and restricted substances: {open}; look each up and give \
             lists_checked = 2026-11-20, the day you did"
        );
        findings.push(Finding::missing(why));
    }
    let stated = names(&|n| is_stated(s, &n.line));
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
    let regions = &s.formula.usage.regions;
    let all = s.tables.substances.annexes.iter();
    all.filter(move |e| holds_on(e.from, e.until, s.day()) && (regions.is_empty() || regions.contains(&e.region)))
}

fn against(s: &Setting, entry: &AnnexEntry) -> Option<Finding> {
    let lines: Vec<&Line> = s.lines.iter().filter(|n| n.words.holds(&entry.word)).map(|n| &n.line).collect();
    if lines.is_empty() {
        return None;
    }
    let pct: f64 = lines.iter().map(|line| line.active_pct()).sum();
    let names = lines.iter().map(|line| line.name()).collect::<Vec<_>>().join(", ");
    let source = (entry.status, entry.source.as_str());
    let why = format!("{names}: {} ({}): {}", entry.region, entry.reference, entry.says);
    let most = if s.is_rinsed() { entry.max_rinse_pct } else { entry.max_leave_pct };
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
fn is_held(s: &Setting, named: &Named) -> bool {
    let listed = || entries(s).any(|entry| named.words.holds(&entry.word));
    match named.line.item {
        Item::Ingredient(i) => {
            let rows = || preservative::rows(s, i);
            i.is_water()
                || is_named(i, &s.tables.formula)
                || (preservative::is_preservative(s, i) && rows().iter().any(|row| !row.entry.is_empty()))
                || listed()
        }
        Item::Powder(..) => listed(),
    }
}

/// Whether its maker looked it up.
fn is_stated(s: &Setting, line: &Line) -> bool {
    s.stated(line).lists_checked.is_some()
}
