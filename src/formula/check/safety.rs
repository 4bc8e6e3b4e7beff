//! Dust, allergens, microbes, plastic grains.

use super::super::{Function, Item, Substance, allergens as known_allergens};
use super::{Check, Finding, NamedSubstance, OWN, Setting, known, listed, names_of, no_phases, number};
use crate::formula::allergens::FOODS;
use crate::powder::{plastic_word, refused_material};
use crate::source::Spelled;
use crate::tables::{Allergen, AllergenKind, Flag, GrainKind, Material, Status, holds_on};

const SILICA: (Status, &str) = (
    Status::Published,
    "29 CFR 1910.1053 (respirable crystalline silica 0.05 mg/m3); directive 2004/37/EC (0.1 mg/m3)",
);

fn unknown(s: &Setting, what: &str) -> Option<Finding> {
    let names = s.named(|p| p.material.is_none())?;
    Some(Finding::missing(format!("{what} of {names} is not known; name the material")))
}

/// What crystalline silica is called (29 CFR 1910.1053).
const CRYSTALLINE: [&str; 3] = ["quartz", "cristobalite", "tridymite"];

/// `silica-dust`
pub(super) fn silica_dust(s: &Setting) -> Check {
    let flags = [
        (Flag::SilicaDustHigh, "is crystalline silica, whose dust scars lungs: take another powder, or a fitted mask"),
        (Flag::SilicaDust, "may hold crystalline silica: weigh it under extraction with a P2 or N95 mask"),
        (Flag::SilicaDustLow, "may hold a little crystalline silica: ask the supplier, weigh it with a P2 or N95 mask"),
        (Flag::Dust, "is a fine dust: weigh it with a mask"),
    ];
    // An ingredient that is a material of the table is as dusty as that.
    let is_flagged = |n: &NamedSubstance, flag: Flag| match n.is.line.item {
        Item::Powder(c, _) => c.powder.has_flag(flag),
        Item::Ingredient(_) => listed::material(s, &n.is).is_some_and(|m| m.is_flagged(flag.key())),
    };
    let is_told = |n: &NamedSubstance| flags.iter().any(|(flag, _)| is_flagged(n, *flag));
    let is_crystalline = |n: &NamedSubstance| CRYSTALLINE.iter().any(|w| n.words.holds(w)) && !is_told(n);
    let is_dug = |n: &NamedSubstance| {
        let dug = [GrainKind::Clay, GrainKind::Mineral];
        let is_of_none = n.ingredient().is_some() && listed::material(s, &n.is).is_none();
        is_of_none && n.grain.is_some_and(|kind| dug.contains(&kind)) && !is_crystalline(n)
    };
    let by_flag = flags.iter().map(|(flag, says)| (names_of(&s.substances, |n| is_flagged(n, *flag)), *flag, *says));
    let by_name = [(names_of(&s.substances, is_crystalline), flags[0]), (names_of(&s.substances, is_dug), flags[1])];
    let all = by_flag.chain(by_name.map(|(names, (flag, says))| (names, flag, says)));
    let told = all.filter(|(names, ..)| !names.is_empty()).map(|(names, flag, says)| {
        let source = if flag == Flag::Dust { (Status::FromMemory, "common practice, no source") } else { SILICA };
        Finding::caution(format!("{names} {says}"), source)
    });
    let mut findings: Vec<Finding> = told.chain(unknown(s, "crystalline silica")).collect();
    if findings.is_empty() {
        findings.push(Finding::pass("no powder is known to hold crystalline silica", SILICA));
    }
    Check::from_findings("silica-dust", "", findings)
}

/// `allergens`
pub(super) fn allergens(s: &Setting) -> Check {
    let memory = (Status::FromMemory, "no duty to label, evidence thin: name it voluntarily");
    let mut findings: Vec<Finding> = [
        (Flag::TreeNut, "ground nut shell: name it on the label; not for users with a nut allergy"),
        (Flag::SeedProtein, "ground seed or stone: ask for residual protein, name it on the label"),
        (Flag::Gluten, "cereal: name it on the label"),
    ]
    .iter()
    .filter_map(|(flag, says)| Some(Finding::caution(format!("{}: {says}", s.named(|p| p.has_flag(*flag))?), memory)))
    .collect();
    findings.extend(unknown(s, "nut or seed protein"));
    if s.has_phases() {
        let ingredients = s.formula.ingredients().map(|(_, i)| i);
        let nameless = ingredients.filter(|i| i.inci.is_none() && !i.is(Function::Water) && i.allergens.is_none());
        let nameless: Vec<&str> = nameless.map(|i| i.name.as_str()).collect();
        if !nameless.is_empty() {
            let why = format!("{}: allergens are known by INCI name; give inci", nameless.join(", "));
            findings.push(Finding::missing(why));
        }
        findings.extend(foods(s));
        findings.extend(fragrance(s));
    } else {
        findings.push(no_phases());
    }
    if findings.is_empty() {
        let count =
            |kinds: &[AllergenKind]| s.tables.formula.allergens.iter().filter(|a| kinds.contains(&a.kind)).count();
        let why = format!(
            "none of the {} fragrance allergens and {} nuts, seeds, cereals and pulses of the table is known in it; the law \
             has more",
            count(&SUBSTANCES),
            count(&FOODS)
        );
        findings.push(Finding::pass(
            why,
            (Status::Published, "Regulation (EC) 1223/2009 Annex III, as in the allergens table"),
        ));
    }
    Check::from_findings("allergens", "% w/w", findings)
}

/// Nuts, seeds, cereals and pulses by the INCI names.
fn foods(s: &Setting) -> Vec<Finding> {
    let of = |named: &NamedSubstance| {
        let rows = known_allergens::foods(&named.is, &FOODS, &s.tables.formula.allergens);
        rows.into_iter().map(|a| told(&named.is.name(), a)).collect::<Vec<_>>()
    };
    s.substances.iter().flat_map(of).collect()
}

fn told(name: &str, allergen: &Allergen) -> Finding {
    let source = (allergen.status, allergen.source.as_str());
    let why = format!("{name}: {}", allergen.says);
    if allergen.kind == AllergenKind::Prohibited { Finding::stop(why, source) } else { Finding::caution(why, source) }
}

/// Kinds of rows that are one substance.
const SUBSTANCES: [AllergenKind; 2] = [AllergenKind::Fragrance, AllergenKind::Prohibited];

/// Fragrance allergens summed over all ingredients, against what has to be named.
fn fragrance(s: &Setting) -> Vec<Finding> {
    let rinsed = s.is_rinsed();
    let mut findings = Vec::new();
    let rows = &s.tables.formula.allergens;
    for allergen in rows.iter().filter(|a| SUBSTANCES.contains(&a.kind)) {
        let pct = known_allergens::pct(s.formula, allergen);
        let limit = if rinsed { allergen.rinse_pct } else { allergen.leave_pct };
        if pct <= limit {
            continue;
        }
        let what = format!("{} {} %", allergen.word, number(pct));
        if holds_on(allergen.from, None, s.day()) {
            findings.push(told(&what, allergen).of(pct, limit));
        } else if let Some(from) = allergen.from.filter(|from| s.day().is_none_or(|day| day < *from)) {
            let why = format!("{what}: from {from} on, {}", allergen.says);
            findings.push(Finding::pass(why, (allergen.status, &allergen.source)));
        }
    }
    let strange = known_allergens::strangers(s.formula, rows);
    if !strange.is_empty() {
        let why = format!(
            "{}: not in the allergens table; look up whether the name is to be on the label",
            strange.join(", ")
        );
        findings.push(Finding::missing(why));
    }
    let untold = known_allergens::untold(s.formula, rows);
    if !untold.is_empty() {
        let give =
            "ask for its allergens and give allergens = [{ inci, pct }], pct = 0 for what its certificate denies";
        findings.push(Finding::missing(format!("{}: {give}", untold.join(", "))));
    }
    if s.formula.usage.rinse_off.is_none() && findings.iter().any(|f| f.value.is_some()) {
        findings.push(Finding::missing("reckoned as left on; say rinse_off in [use]"));
    }
    findings
}

/// `microbes`
pub(super) fn microbes(s: &Setting) -> Check {
    let limit = &s.constants().cfu_per_g;
    let mut brought = 0.0;
    let (mut counted, mut open) = (Vec::new(), Vec::new());
    for line in s.formula.lines() {
        let count = match line.item {
            Item::Ingredient(i) => i.cfu_per_g,
            Item::Powder(_, place) => s.formula.places()[place].cfu_per_g,
        };
        if let Some(count) = count {
            brought += count * line.pct / 100.0;
            counted.push(line.name());
        }
    }
    for named in s.substances.iter().filter(|n| carries_microbes(n)) {
        let name = named.is.line.name();
        if !counted.contains(&name) && !open.contains(&name) {
            open.push(name);
        }
    }
    let mut findings = Vec::new();
    if !counted.is_empty() {
        let why = format!("{} bring {} CFU/g into the scrub", counted.join(", "), number(brought));
        let finding = if brought > limit.value { Finding::stop } else { Finding::pass };
        findings.push(finding(why, known(limit)).of(brought, limit.value));
    }
    if !open.is_empty() {
        let why = format!(
            "{}: plant grains and clays carry microbes; give cfu_per_g from the lot's certificate. The finished scrub may hold {} \
             CFU/g and none of P. aeruginosa, S. aureus, C. albicans, E. coli",
            open.join(", "),
            number(limit.value)
        );
        findings.push(Finding::missing(why));
    }
    if !s.has_phases() {
        findings.push(no_phases());
    }
    if findings.is_empty() {
        findings.push(Finding::pass("no plant grains and no clays", OWN));
    }
    if let Some(aw) = s.formula.base.water_activity {
        let low = &s.constants().water_activity;
        findings.push(if aw <= low.value {
            Finding::pass(format!("water activity {aw}: low risk"), known(low))
        } else {
            let why = format!(
                "water activity {aw}: microbes can grow; it needs a preservative that is tested with the powders in"
            );
            Finding::caution(why, known(low)).of(aw, low.value).unit("water activity")
        });
    }
    Check::from_findings("microbes", "CFU/g", findings)
}

/// Whether it is of a plant or a clay, or may be.
fn carries_microbes(named: &NamedSubstance) -> bool {
    let grown = [GrainKind::Clay, GrainKind::Plant];
    let is_grown = named.grain.is_some_and(|kind| grown.contains(&kind));
    is_grown
        || match named.is.line.item {
            // Grains of which nothing more is known may be of a plant.
            Item::Ingredient(i) => named.grain.is_none() && i.is(Function::Abrasive),
            Item::Powder(c, _) => c.powder.material.as_ref().is_none_or(Material::is_plant),
        }
}

/// `microbeads`
pub(super) fn microbeads(s: &Setting) -> Check {
    let rules = s.tables.refusals.first().map_or(OWN, |r| (r.status, r.reference.as_str()));
    let plastic = |i: &Substance| i.inci().is_some_and(|inci| refused_material(inci, s.tables).is_some());
    let mut findings = Vec::new();
    for NamedSubstance { is, words, .. } in s.substances.iter().filter(|n| n.ingredient().is_some()) {
        // An INCI name says what it is; what it is called besides may abbreviate anything.
        let by_inci = is.inci().and_then(|inci| plastic_word(&Spelled::new(inci), s.tables));
        let word =
            by_inci.or_else(|| plastic_word(words, s.tables).filter(|row| is.inci().is_none() || row.word.len() > 4));
        let name = is.name();
        if plastic(is) || word.is_some_and(|word| word.solid == 1 || is.line.is(Function::Abrasive)) {
            let why = format!("{name}: solid plastic grains are prohibited in rinse-off scrubs");
            findings.push(Finding::stop(why, rules));
        } else if word.is_some() {
            let why = format!("{name}: a polymer; if it is in solid grains it is prohibited, dissolved it is not");
            findings.push(Finding::caution(why + &particles(s), rules));
        }
    }
    if let Some(names) = s.named(|p| p.name.to_lowercase().contains("microbead")) {
        findings.push(Finding::caution(format!("{names}: if these beads are plastic they are prohibited"), rules));
    }
    if !s.has_phases() {
        findings.push(no_phases());
    }
    if findings.is_empty() {
        findings.push(Finding::pass("no powder and no ingredient is known as plastic grains", rules));
    }
    Check::from_findings("microbeads", "", findings)
}

/// What holds for polymer particles that do not scrub: film formers, opacifiers.
fn particles(s: &Setting) -> String {
    let group = if s.is_rinsed() { "microparticles-rinse" } else { "microparticles-leave" };
    let rule = s.tables.refusals.iter().find(|r| r.group == group);
    rule.map_or(String::new(), |rule| {
        let from = rule.from.map_or(String::new(), |from| format!(" from {from} on"));
        let now =
            if s.day().is_some_and(|day| rule.from.is_none_or(|from| from <= day)) { ", in force then" } else { "" };
        format!("; {}{from}{now}: {}", rule.jurisdiction, rule.says)
    })
}
