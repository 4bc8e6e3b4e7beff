//! Grains, acid and other exfoliating actives together.

use super::super::content::AcidContent;
use super::{Check, Finding, OWN, Setting, actives, known, number};
use crate::tables::{AcidKind, Status};

/// What the trade says of grains with acid.
const TWICE: (Status, &str) = (Status::FromMemory, "double exfoliation: common practice, no source");

/// What the caution about sun rests on.
const SUN: (Status, &str) =
    (Status::Published, "FDA guidance on labels of cosmetics with alpha hydroxy acids, January 2005; SCCNFP/0370/00");

pub(super) fn check(s: &Setting) -> Check {
    let mut findings = Vec::new();
    match &s.acid {
        Err(lack) => findings.push(Finding::missing(lack)),
        Ok(None) => findings.push(Finding::pass("grains only: there is no acid exfoliant", OWN)),
        Ok(Some(content)) => findings.extend(with_acid(s, content)),
    }
    findings.extend(actives::findings(s));
    Check::from_findings("double-exfoliation", "% free acid", findings)
}

/// All acids of the table count.
fn with_acid(s: &Setting, content: &AcidContent) -> Vec<Finding> {
    let unreckoned = if s.free_of_water().is_some() { Vec::new() } else { content.unreckoned() };
    let free = s.formula.ph().filter(|_| unreckoned.is_empty() && !s.is_dry()).map(|ph| content.free_pct(ph));
    let acids = content.acids();
    let pct: f64 = acids.iter().map(|(_, pct)| pct).sum();
    let names: Vec<String> = acids.iter().map(|(acid, _)| acid.name.to_lowercase()).collect();
    let why = format!(
        "grains and {} % {} exfoliate twice{}: keep the acid mild and the grains fine, not on days of other exfoliation, and \
         say so on the label",
        number(pct),
        names.join(" and "),
        free.map_or(String::new(), |f| format!(" ({} % as free acid in solution)", number(f))),
    );
    let enough = pct >= s.constants().aha_pct.value;
    let finding = if enough {
        Finding::caution(why, TWICE)
    } else {
        Finding::pass("too little acid to exfoliate", known(&s.constants().aha_pct))
    };
    let burns = enough && acids.iter().any(|(acid, _)| acid.kind != AcidKind::Bha);
    let sun = burns.then(|| Finding::caution("sunscreen during use and a week after", SUN));
    let finding = match free {
        Some(free) => finding.of(free, None),
        None => finding,
    };
    std::iter::once(finding).chain(sun).chain(unreckoned.into_iter().map(Finding::missing)).collect()
}
