//! What mineral grains may carry: metals, and crystalline silica. No table knows a lot; its certificate does.

use super::super::{Function, Item};
use super::{Check, Finding, NamedSubstance, OWN, Setting, names_of};
use crate::tables::{GrainKind, MaterialOrigin, Status};

/// What is orientation for the finished product.
const METALS: (Status, &str) = (
    Status::Published,
    "Regulation (EC) 1223/2009 Article 17; technically avoidable traces, BVL 2017 (excerpt); crystalline silica: 29 CFR \
     1910.1053",
);

pub(super) fn check(s: &Setting) -> Check {
    let mut findings = Vec::new();
    let is_tested = |n: &NamedSubstance| s.stated(&n.is.line).traces_tested;
    let names = |tested: bool| names_of(&s.substances, |n| is_mineral(n) && is_tested(n) == tested);
    let (open, tested) = (names(false), names(true));
    if !open.is_empty() {
        let why = format!(
            "{open}: ask for lead, cadmium, mercury, arsenic, antimony, nickel (in a product up to 2, 0.1, 0.1, 0.5, 0.5 and 10 \
             mg/kg are held unavoidable) and crystalline silica of the lot, and give traces_tested = true"
        );
        let (status, source) = METALS;
        findings.push(Finding { status, source: source.to_owned(), ..Finding::missing(why) });
    }
    let unknown = |n: &NamedSubstance| {
        let bare = match n.is.line.item {
            Item::Powder(c, _) => c.powder.material.is_none(),
            Item::Ingredient(i) => n.grain.is_none() && i.is(Function::Abrasive),
        };
        bare && !is_mineral(n) && !is_tested(n)
    };
    let unknown = names_of(&s.substances, unknown);
    if !unknown.is_empty() {
        let why =
            format!("whether {unknown} is a mineral is not known; name its material (of an ingredient, its INCI name)");
        findings.push(Finding::missing(why));
    }
    if !tested.is_empty() {
        findings.push(Finding::pass(format!("{tested}: metals and crystalline silica were measured, as stated"), OWN));
    }
    if findings.is_empty() {
        findings.push(Finding::pass("no mineral grains, clays or mineral colours are known in it", OWN));
    }
    if !s.has_phases() {
        findings.push(super::no_phases());
    }
    Check::from_findings("traces", "", findings)
}

fn is_mineral(named: &NamedSubstance) -> bool {
    let dug = [GrainKind::Clay, GrainKind::Mineral, GrainKind::Pigment];
    match named.is.line.item {
        Item::Powder(c, _) if c.powder.material.as_ref().is_some_and(|m| m.origin == MaterialOrigin::Mineral) => true,
        _ => named.grain.is_some_and(|kind| dug.contains(&kind)),
    }
}
