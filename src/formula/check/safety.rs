//! Dust, allergens, microbes, plastic grains.

use super::super::{Function, Ingredient, Item};
use super::{Check, Finding, Named, OWN, Setting, known, no_phases, number};
use crate::powder::plastic_word;
use crate::tables::{Allergen, AllergenKind, Flag, GrainKind, Material, Status, holds_on};

const SILICA: (Status, &str) = (
    Status::Published,
    "29 CFR 1910.1053 (respirable crystalline silica 0.05 mg/m3); directive 2004/37/EC (0.1 mg/m3)",
);

fn unknown(s: &Setting, what: &str) -> Option<Finding> {
    let names = s.named(|p| p.material.is_none())?;
    Some(Finding::missing(format!("{what} of {names} is not known; name the material")))
}

/// `silica-dust`
pub(super) fn silica_dust(s: &Setting) -> Check {
    let flags = [
        (Flag::SilicaDustHigh, "is crystalline silica, whose dust scars lungs: take another powder, or a fitted mask"),
        (Flag::SilicaDust, "may hold crystalline silica: weigh it under extraction with a P2 or N95 mask"),
        (Flag::SilicaDustLow, "may hold a little crystalline silica: ask the supplier, weigh it with a P2 or N95 mask"),
        (Flag::Dust, "is a fine dust: weigh it with a mask"),
    ];
    let told = flags.iter().filter_map(|(flag, says)| {
        let names = s.named(|p| p.has_flag(*flag))?;
        let source = if *flag == Flag::Dust { (Status::FromMemory, "common practice, no source") } else { SILICA };
        Some(Finding::caution(format!("{names} {says}"), source))
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
        let ingredients: Vec<&Ingredient> = s.formula.ingredients().map(|(_, i)| i).collect();
        let nameless =
            ingredients.iter().filter(|i| i.inci.is_none() && !i.is(Function::Water) && i.allergens.is_none());
        let nameless: Vec<&str> = nameless.map(|i| i.name.as_str()).collect();
        if !nameless.is_empty() {
            let why = format!("{}: allergens are known by INCI name; give inci", nameless.join(", "));
            findings.push(Finding::missing(why));
        }
        findings.extend(ingredients.iter().flat_map(|i| in_ingredient(s, i)));
        findings.extend(fragrance(s, &ingredients));
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

/// Whether an INCI name begins with these whole words.
pub(crate) fn begins(inci: &str, word: &str) -> bool {
    let inci = inci.trim_start();
    let same = inci.get(..word.len()).is_some_and(|start| start.eq_ignore_ascii_case(word));
    same && !inci[word.len()..].starts_with(char::is_alphanumeric)
}

/// Rows of a kind with which the INCI name begins.
fn begun<'t>(s: &'t Setting, ingredient: &Ingredient, kinds: &'t [AllergenKind]) -> impl Iterator<Item = &'t Allergen> {
    let inci = ingredient.inci.clone().unwrap_or_default();
    let rows = s.tables.formula.allergens.iter();
    rows.filter(move |a| kinds.contains(&a.kind) && begins(&inci, &a.word))
}

fn in_ingredient(s: &Setting, ingredient: &Ingredient) -> Vec<Finding> {
    begun(s, ingredient, &FOODS).map(|a| told(&ingredient.name, a)).collect()
}

fn told(name: &str, allergen: &Allergen) -> Finding {
    let source = (allergen.status, allergen.source.as_str());
    let why = format!("{name}: {}", allergen.says);
    if allergen.kind == AllergenKind::Prohibited { Finding::stop(why, source) } else { Finding::caution(why, source) }
}

/// Kinds of rows that are one substance.
const SUBSTANCES: [AllergenKind; 2] = [AllergenKind::Fragrance, AllergenKind::Prohibited];

/// Kinds of rows that are eaten.
const FOODS: [AllergenKind; 2] = [AllergenKind::Nut, AllergenKind::Food];

/// Fragrance allergens summed over all ingredients, against what has to be named.
fn fragrance(s: &Setting, ingredients: &[&Ingredient]) -> Vec<Finding> {
    let rinsed = s.is_rinsed();
    let mut findings = Vec::new();
    let substances = s.tables.formula.allergens.iter().filter(|a| SUBSTANCES.contains(&a.kind));
    for allergen in substances.clone() {
        let pct: f64 = ingredients.iter().map(|i| share_of(i, allergen)).sum();
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
    let declared = ingredients.iter().flat_map(|i| i.allergens.iter().flatten()).filter(|d| d.pct.get() > 0.0);
    let strange = declared.filter(|d| !substances.clone().any(|a| d.inci.trim().eq_ignore_ascii_case(&a.word)));
    let strange: Vec<&str> = strange.map(|d| d.inci.as_str()).collect();
    if !strange.is_empty() {
        let why = format!(
            "{}: not in the allergens table; look up whether the name is to be on the label",
            strange.join(", ")
        );
        findings.push(Finding::missing(why));
    }
    findings.extend(undeclared(s, ingredients));
    if s.formula.usage.rinse_off.is_none() && findings.iter().any(|f| f.value.is_some()) {
        findings.push(Finding::missing("reckoned as left on; say rinse_off in [use]"));
    }
    findings
}

/// Fragrances and aromatic plants without a word on their allergens; an empty list is no statement.
fn undeclared(s: &Setting, ingredients: &[&Ingredient]) -> Option<Finding> {
    let scented = |i: &Ingredient| {
        let named = ["Parfum", "Fragrance", "Parfum (Fragrance)", "Aroma"].iter().any(|name| i.is_inci(name));
        // Fixed oils pressed from seeds hold no fragrance.
        let pressed = i.inci.as_ref().is_some_and(|inci| inci.to_lowercase().contains("seed oil"));
        i.is(Function::Fragrance) || named || (!pressed && begun(s, i, &[AllergenKind::Aromatic]).next().is_some())
    };
    let is_substance = |i: &Ingredient| s.tables.formula.allergens.iter().any(|a| i.is_inci(&a.word));
    let open =
        ingredients.iter().filter(|i| scented(i) && !is_substance(i) && i.allergens.as_ref().is_none_or(Vec::is_empty));
    let names: Vec<&str> = open.map(|i| i.name.as_str()).collect();
    (!names.is_empty()).then(|| {
        let give =
            "ask for its allergens and give allergens = [{ inci, pct }], pct = 0 for what its certificate denies";
        Finding::missing(format!("{}: {give}", names.join(", ")))
    })
}

/// How much of an allergen an ingredient brings, % w/w of the scrub: as itself, as a part of a blend, or as declared.
pub(crate) fn share_of(ingredient: &Ingredient, allergen: &Allergen) -> f64 {
    if ingredient.is_inci(&allergen.word) {
        return ingredient.active_pct();
    }
    if let Some(part) = ingredient.parts.iter().find(|p| p.inci.trim().eq_ignore_ascii_case(&allergen.word)) {
        return ingredient.pct.get() * part.pct.get() / 100.0;
    }
    let all = ingredient.allergens.iter().flatten();
    let declared = all.filter(|d| d.inci.trim().eq_ignore_ascii_case(&allergen.word));
    declared.map(|d| ingredient.pct.get() * d.pct.get() / 100.0).sum()
}

/// `microbes`
pub(super) fn microbes(s: &Setting) -> Check {
    let limit = &s.constants().cfu_per_g;
    let mut brought = 0.0;
    let (mut counted, mut open) = (Vec::new(), Vec::new());
    for Named { line, grain, .. } in &s.lines {
        let grown = [GrainKind::Clay, GrainKind::Plant];
        let carries = || grain.is_some_and(|kind| grown.contains(&kind));
        let (count, carries) = match line.item {
            // Grains of which nothing more is known may be of a plant.
            Item::Ingredient(i) => (i.cfu_per_g, carries() || (grain.is_none() && i.is(Function::Abrasive))),
            Item::Powder(c, place) => {
                let plant = c.powder.material.as_ref().is_none_or(Material::is_plant);
                (s.formula.places()[place].cfu_per_g, plant || carries())
            }
        };
        match count {
            Some(count) => {
                brought += count * line.pct / 100.0;
                counted.push(line.name());
            }
            None if carries => open.push(line.name()),
            None => {}
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

/// `microbeads`
pub(super) fn microbeads(s: &Setting) -> Check {
    let rules = s.tables.refusals.first().map_or(OWN, |r| (r.status, r.reference.as_str()));
    let plastic = |i: &Ingredient| {
        s.tables.materials.iter().any(|m| m.refused_by.is_some() && (i.is_inci(&m.inci) || i.is_inci(&m.name)))
    };
    let mut findings = Vec::new();
    for Named { line, words, .. } in &s.lines {
        let Item::Ingredient(i) = line.item else { continue };
        let word = plastic_word(words, s.tables);
        let name = &i.name;
        if plastic(i) || word.is_some_and(|word| word.solid == 1 || i.is(Function::Abrasive)) {
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
