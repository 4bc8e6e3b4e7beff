//! The preservative against the pH, its limits, and the acid it is mixed with.

mod held;
mod limits;
mod spectrum;

use super::super::content::{acids_in, is_acid, is_named, is_named_acid};
use super::super::{Function, Ingredient, Substance};
use super::acid::undissolved;
use super::{Check, Finding, OWN, Setting, known, no_phases, number};
use crate::formula::balance::free_share;
use crate::source::{same_word, substances_of};
use crate::tables::{Known, Preservative, Status};
use held::HeldPreservative;

/// Common practice that no table row holds.
const PRACTICE: (Status, &str) = (Status::FromMemory, "common practice, no source");

pub(super) fn check(s: &Setting) -> Check {
    let preservatives: Vec<(usize, &Ingredient)> =
        s.formula.ingredients().filter(|(_, i)| is_preservative(s, i)).collect();
    let findings = match (s.has_phases(), preservatives.is_empty()) {
        (false, _) => vec![no_phases()],
        (true, true) => vec![without(s)],
        _ => {
            let held = held::held(s, &preservatives);
            let each = judged(s, &preservatives, &held).into_iter();
            let doses = spectrum::findings(s, &preservatives, &held);
            each.chain(limits::findings(s, &preservatives)).chain(doses).chain(crystals(s)).collect()
        }
    };
    Check::of_furthest("preservative", "pH", findings)
}

/// By its function or key; or, where it is for no other use, as a preservative of the law by its INCI name, or that of a part.
pub(super) fn is_preservative(s: &Setting, ingredient: &Ingredient) -> bool {
    if ingredient.is_to_preserve() {
        return true;
    }
    // A blend of acids may be preserved; what it preserves it with counts.
    let is_acid = ingredient.is(Function::Acid) && ingredient.parts.is_empty();
    let other = is_acid || ingredient.is(Function::Fragrance);
    let acids = acids_in(ingredient, &s.tables.formula);
    let is_other = |row: &Preservative| acids.iter().any(|acid| same_word(&acid.inci, &row.inci));
    let mut of_law = rows(s, ingredient).into_iter().filter(|row| !row.entry.is_empty());
    let is_of_mixture = || ingredient.inci_names().iter().any(|name| is_of_mixture(s, name));
    !other && ingredient.inci.is_some() && (of_law.any(|row| !is_other(row)) || is_of_mixture())
}

/// Whether a substance is one that the law limits in a mixture of its own.
fn is_of_mixture(s: &Setting, name: &String) -> bool {
    let is_limited = |row: &Preservative| row.max_rinse_pct.or(row.max_leave_pct).is_some();
    s.tables.formula.preservatives.iter().any(|row| row.names.len() > 1 && is_limited(row) && row.names.contains(name))
}

/// What preserves is dissolved. With [acid] the check of its acids tells it.
fn crystals(s: &Setting) -> Vec<Finding> {
    match s.unplanned.as_ref().zip(s.formula.ph()) {
        Some((listed, ph)) if s.free_of_water().is_none() && !s.is_dry() => {
            undissolved(s, &listed.balance, ph, "the rest crystallises and preserves nothing")
        }
        _ => Vec::new(),
    }
}

/// INCI names of alcohol: common practice, no source.
const ALCOHOLS: [&str; 4] = ["Alcohol", "Alcohol Denat", "Alcohol Denat.", "Ethanol"];

/// What microbes hardly grow in, in words: a pH that high, or that much alcohol.
fn hostile<'s>(s: &'s Setting) -> Option<(String, &'s Known)> {
    let (high, most) = (&s.constants().hostile_ph, &s.constants().hostile_alcohol_pct);
    let ph = s.formula.ph().filter(|ph| *ph >= high.value).map(|ph| (format!("pH {ph}"), high));
    let is_alcohol = |i: &Substance| i.inci().is_some_and(|inci| ALCOHOLS.iter().any(|name| same_word(name, inci)));
    let pct: f64 = s.formula.substances().filter(is_alcohol).map(|i| i.pct()).sum();
    ph.or_else(|| (pct > most.value).then(|| (format!("{} % alcohol", number(pct)), most)))
}

/// No preservative: right only where nothing grows.
fn without(s: &Setting) -> Finding {
    if let Some((why, constant)) = hostile(s).filter(|_| !s.is_dry()) {
        let why =
            format!("no preservative, and {why}, in which few microbes grow: test it (ISO 11930) with the powders in");
        return Finding::caution(why, known(constant));
    }
    let limit = &s.constants().water_activity;
    // What preserves beside another use, which no law calls a preservative.
    let may = s.formula.ingredients().map(|(_, i)| i).filter(|i| i.inci.is_some() && !rows(s, i).is_empty());
    let may: Vec<&str> = may.filter(|i| !i.is(Function::Acid)).map(|i| i.name.as_str()).collect();
    match s.formula.base.water_activity {
        Some(aw) if aw <= limit.value => {
            let why = format!("no preservative, and none needed in the jar at a water activity of {aw}");
            Finding::pass(why + "; wet fingers bring water in", known(limit))
        }
        None if s.is_dry() => s.untold_water().unwrap_or_else(|| {
            let why = "no preservative and no water in the jar; wet fingers bring water in, so pack a spatula";
            Finding::caution(why, known(limit))
        }),
        _ if !may.is_empty() => Finding::missing(format!(
            "{} may preserve it: give functions = [\"preservative\"] if that is what it is for",
            may.join(", ")
        )),
        _ => Finding::stop(
            format!("{} % water and no ingredient with the function preservative", number(s.formula.water_pct())),
            known(limit),
        ),
    }
}

/// Rows that an ingredient is: by its key and by what its INCI name has besides, its INCI names as a blend, each of its INCI names; of
/// stated parts those that they are.
pub(super) fn rows<'t>(s: &'t Setting, ingredient: &Ingredient) -> Vec<&'t Preservative> {
    let table = &s.tables.formula.preservatives;
    let mut wanted = ingredient.inci_names();
    wanted.sort_unstable();
    if !ingredient.parts.is_empty() {
        return singles(s, &wanted);
    }
    if let Some(row) = table.iter().find(|p| ingredient.preservative.as_ref() == Some(&p.key)) {
        let others =
            singles(s, &wanted).into_iter().filter(|p| p.entry != row.entry && !row.names.contains(&p.names[0]));
        let others: Vec<_> = others.collect();
        // What its one INCI name says is what it is.
        return if !others.is_empty() && wanted.len() == 1 {
            others
        } else {
            std::iter::once(row).chain(others).collect()
        };
    }
    match table.iter().find(|p| p.names == wanted) {
        Some(whole) => vec![whole],
        None => singles(s, &wanted),
    }
}

/// Rows of one substance that are among these names.
fn singles<'t>(s: &'t Setting, wanted: &[String]) -> Vec<&'t Preservative> {
    let is_wanted = |p: &&Preservative| matches!(p.names.as_slice(), [one] if wanted.contains(one));
    s.tables.formula.preservatives.iter().filter(is_wanted).collect()
}

/// How much of a row's substance, or of all those of its mixture, an ingredient brings by its stated parts, % w/w of the scrub.
fn part_pct(ingredient: &Ingredient, row: &Preservative) -> Option<f64> {
    if ingredient.parts.is_empty() {
        return None;
    }
    let each = || row.names.iter().map(|name| part_of(ingredient, std::slice::from_ref(name))).sum::<Option<f64>>();
    Some(ingredient.active_pct() * part_of(ingredient, &row.names).or_else(each)? / 100.0)
}

/// The share of an ingredient, %, that is a substance or a mixture by these names: of its stated parts, or all of it.
fn part_of(ingredient: &Ingredient, names: &[String]) -> Option<f64> {
    let is_it = |mut own: Vec<String>| {
        own.sort_unstable();
        own == names
    };
    if ingredient.parts.is_empty() {
        return is_it(ingredient.inci_names()).then_some(100.0);
    }
    ingredient.parts.iter().find(|part| is_it(substances_of(&part.inci))).map(|part| part.pct.get())
}

/// Each preservative at the pH, and how each ingredient goes in.
fn judged(s: &Setting, preservatives: &[(usize, &Ingredient)], held: &[HeldPreservative]) -> Vec<Finding> {
    let mut findings: Vec<Finding> = held::to_be_told(held).map(|told| at_ph(s, told, held)).collect();
    for (phase, ingredient) in preservatives {
        if held::is_stranger(s, held, ingredient) {
            findings.push(Finding::missing(format!(
                "{} is not in the preservatives table by its INCI name; give preservative = \"key\" (gritwise tables preservatives)",
                ingredient.name
            )));
        }
        findings.extend(rows(s, ingredient).iter().filter_map(|row| order(s, row, ingredient, *phase)));
    }
    findings
}

fn at_ph(s: &Setting, told: &HeldPreservative, held: &[HeldPreservative]) -> Finding {
    let name = told.name();
    match s.formula.ph() {
        _ if s.free_of_water().is_some() => {
            let why = format!("{name}: without water its pH is not asked for; it guards what wet fingers bring in");
            Finding::pass(why, PRACTICE)
        }
        _ if s.is_dry() => s.untold_water().unwrap_or_else(|| s.no_ph()),
        Some(ph) => against_ph(s, told, held, ph),
        None => {
            let works = format!("{name} works from pH {} to {}", told.row.ph_low, told.row.ph_high);
            Finding::missing(works + "; the pH is not known: give final_ph in [acid], or ph in [base]")
        }
    }
}

/// One that another preservative of the formula stands in for at a pH is no stop; how well all of them guard is told besides.
fn against_ph(s: &Setting, told: &HeldPreservative, held: &[HeldPreservative], ph: f64) -> Finding {
    let (row, name) = (told.row, told.name());
    let source = (row.status, row.source.as_str());
    let undissociated = row.pka.map_or(String::new(), |pka| {
        format!(", {} % of it undissociated (pKa {pka})", number(100.0 * free_share(&[pka], ph)))
    });
    let note = if row.note.is_empty() { String::new() } else { format!("; {}", row.note) };
    if !row.works_at(ph) {
        let bound = if ph > row.ph_high { row.ph_high } else { row.ph_low };
        let why = format!("{name} works from pH {} to {} only{undissociated}{note}", row.ph_low, row.ph_high);
        // Of a mixture that does nothing there, a substance of it may.
        let is_helped = held.iter().any(|other| other.row.key != row.key && other.row.works_at(ph))
            || (row.names.len() > 1 && singles(s, &row.names).iter().any(|own| own.works_at(ph)));
        let finding = if is_helped { Finding::caution } else { Finding::stop };
        finding(why, source).of(ph, bound)
    } else if ph > row.ph_best {
        let why = format!(
            "{name} works to pH {} but well to pH {} only{undissociated}: test it (ISO 11930) with the powders in{note}",
            row.ph_high, row.ph_best
        );
        Finding::caution(why, source).of(ph, row.ph_best)
    } else {
        let why = format!("{name} works well to pH {}{undissociated}; test it with the powders in{note}", row.ph_best);
        Finding::pass(why, source).of(ph, row.ph_best)
    }
}

/// One that strong acid throws out of solution goes in apart from the acid.
fn order(s: &Setting, row: &Preservative, ingredient: &Ingredient, phase: usize) -> Option<Finding> {
    if row.acid_sensitive == 0 {
        return None;
    }
    let is_other_acid = |i: &Substance| {
        let is_own = i.ingredient().is_some_and(|i| std::ptr::eq(i, ingredient));
        // A salt of one throws nothing out.
        let tables = &s.tables.formula;
        !is_own && is_acid(i, tables) && (is_named_acid(i, tables) || !is_named(i, tables))
    };
    let with = s.formula.substances().find(|i| i.line.phase == Some(phase) && is_other_acid(i));
    let name = &ingredient.name;
    Some(match with {
        Some(acid) => {
            let why =
                format!("{name} stands in one phase with {}: strong acid throws it out, so add it apart", acid.name());
            Finding::caution(why, PRACTICE)
        }
        None if s.formula.substances().any(|i| is_other_acid(&i)) => {
            Finding::pass(format!("{name} goes in apart from the acid"), PRACTICE)
        }
        None => Finding::pass(format!("no acid stands beside {name}"), OWN),
    })
}
