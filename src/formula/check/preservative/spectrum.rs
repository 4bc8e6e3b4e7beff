//! Whether the preservatives are enough, and against what: dose against what is usual, and reach against bacteria, yeast and
//! mould.

use super::super::{Finding, Setting, number};
use super::held::{Dose, HeldPreservative, is_stranger, to_be_told};
use super::singles;
use crate::formula::Ingredient;
use crate::tables::{Preservative, Reach, Status};

pub(super) fn findings(s: &Setting, preservatives: &[(usize, &Ingredient)], held: &[HeldPreservative]) -> Vec<Finding> {
    let low_water = s.formula.base.water_activity.is_some_and(|aw| aw <= s.constants().water_activity.value);
    if s.is_dry() || low_water {
        return Vec::new();
    }
    let mut findings: Vec<Finding> = to_be_told(held).filter_map(dose).collect();
    let strangers = preservatives.iter().filter(|(_, i)| is_stranger(s, held, i)).map(|(_, i)| i.name.as_str());
    let silent = held.iter().filter(|h| h.row.reach().contains(&None)).map(|h| h.row.inci.as_str());
    let unknown: Vec<&str> = strangers.chain(silent).collect();
    findings.extend(reach(s, held, &unknown));
    findings
}

/// A dose beyond what is usual.
fn dose(held: &HeldPreservative) -> Option<Finding> {
    let HeldPreservative { row, pct, dose, .. } = held;
    let source = (row.usual_status.unwrap_or(Status::FromMemory), row.usual_source.as_str());
    let from = held.name();
    let usual = match (row.usual_low, row.usual_high) {
        (Some(low), Some(high)) => format!("{low} to {high} %"),
        (Some(low), None) => format!("{low} % or more"),
        _ => {
            return Some(Finding::missing(format!(
                "{from}: what dose of it is usual is not in the preservatives table"
            )));
        }
    };
    let said = |what: &str| format!("{from}: {} %, where {usual} are usual: {what}", number(*pct));
    let low = row.usual_low.unwrap_or_default();
    match dose {
        Dose::Trace => {
            Some(Finding::caution(said("a trace, which guards nothing"), source).of(*pct, low).unit("% w/w"))
        }
        Dose::Low => Some(Finding::caution(said("too little to rely on"), source).of(*pct, low).unit("% w/w")),
        Dose::Open => {
            let why = format!("{from}: how much of it is {} is not known; give its parts", row.inci.to_lowercase());
            Some(Finding::missing(why))
        }
        // Where the law says how much, that is said elsewhere.
        Dose::Usual if row.entry.is_empty() && row.usual_high.is_some_and(|high| *pct > high * (1.0 + 1e-9)) => {
            Some(Finding::caution(said("more than usual"), source).of(*pct, row.usual_high).unit("% w/w"))
        }
        Dose::Usual => None,
    }
}

/// In the order of [`Preservative::reach`].
const MICROBES: [&str; 3] = ["bacteria", "yeast", "mould"];

/// What the substances of a mixture may do beyond the pH at which it works as one, of which nobody knows how much there is.
fn of_its_substances(s: &Setting, mixture: &Preservative, kind: usize) -> Reach {
    let works = |row: &&Preservative| s.formula.ph().is_some_and(|ph| row.works_at(ph));
    let alone = singles(s, &mixture.names).into_iter().filter(|row| mixture.names.len() > 1 && works(row));
    alone.filter_map(|row| row.reach()[kind]).max().unwrap_or(Reach::None).min(Reach::Weak)
}

/// What is not guarded against, or hardly.
fn reach(s: &Setting, held: &[HeldPreservative], unknown: &[&str]) -> Vec<Finding> {
    let reaches = |h: &HeldPreservative, kind: usize| {
        if s.formula.ph().is_some_and(|ph| !h.row.works_at(ph)) {
            return of_its_substances(s, h.row, kind);
        }
        let most = match h.dose {
            Dose::Trace => Reach::None,
            Dose::Low => Reach::Weak,
            Dose::Usual | Dose::Open => Reach::Good,
        };
        h.row.reach()[kind].map_or(Reach::None, |reach| reach.min(most))
    };
    let best = |kind| held.iter().map(|h| reaches(h, kind)).max().unwrap_or(Reach::None);
    let short = |wanted: Reach| -> Vec<&str> {
        MICROBES.iter().enumerate().filter(|(kind, _)| best(*kind) == wanted).map(|(_, name)| *name).collect()
    };
    let source = held.iter().find(|h| h.row.spectrum_status.is_some()).map(|h| h.row);
    let source = source.map_or(super::PRACTICE, |row| {
        (row.spectrum_status.unwrap_or(Status::FromMemory), row.spectrum_source.as_str())
    });
    let mut findings = Vec::new();
    for (wanted, what) in [(Reach::None, "nothing here guards"), (Reach::Weak, "what is here guards hardly")] {
        let open = short(wanted);
        if open.is_empty() {
            continue;
        }
        let why = format!("{what} against {} at this dose and pH", open.join(", "));
        findings.push(match (unknown, wanted) {
            ([], Reach::None) => Finding::stop(why + ": add a preservative that does", source),
            ([], _) => Finding::caution(why + ": test it (ISO 11930), or add one that does", source),
            _ => Finding::missing(format!(
                "{why}, unless {} does, whose reach is not known; ask its supplier",
                unknown.join(", ")
            )),
        });
    }
    findings
}
