//! What tells one whole scrub from another beyond its grains: ingredients, base, acid, container, use, checks, cost.

use super::{Check, Formula, Ingredient, Item, Line, Phase, PowderPlace};
use crate::numerics::written::{apart, from_to, three};
use serde::Serialize;

/// A difference. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct WholeDifference {
    /// What it is about: `ingredient`, `phase`, `base`, `acid`, `container`, `use`, `powder`, `check` or `cost`.
    pub about: &'static str,
    /// In words, from the first scrub to the other.
    pub what: String,
}

/// Shares closer than this, % w/w, are the same.
const SAME_PCT: f64 = 1e-6;

/// Costs closer than this share of them are the same.
const SAME_COST: f64 = 1e-9;

/// All differences between two checked formulas, in the order of a file.
pub fn whole_differences([first, other]: [&Formula; 2], checks: [&[Check]; 2]) -> Vec<WholeDifference> {
    let mut all = Vec::new();
    let mut tell = |about, what: Option<String>| all.extend(what.map(|what| WholeDifference { about, what }));
    let listed = [first, other].map(|f| !f.phases().is_empty());
    match listed {
        [true, true] => ingredients(first, other).into_iter().for_each(|what| tell("ingredient", Some(what))),
        [false, true] => tell("ingredient", Some("only the other lists its ingredients".to_owned())),
        [true, false] => tell("ingredient", Some("only the first lists its ingredients".to_owned())),
        [false, false] => {}
    }
    let number = |label: &str, unit: &str, of: &dyn Fn(&Formula) -> Option<f64>| {
        let [a, b] = [first, other].map(of);
        let said = |v: Option<f64>, beside: Option<f64>| {
            v.map_or("not stated".to_owned(), |v| apart(v, beside.unwrap_or_default(), 4) + unit)
        };
        (a != b).then(|| format!("{label}: {} to {}", said(a, b), said(b, a)))
    };
    tell("base", number("density of the base", " g/cm³", &|f| f.base.density.map(|d| d.get())));
    tell("base", number("yield stress", " Pa", &|f| f.base.yield_stress.map(|p| p.get())));
    tell("base", number("viscosity", " Pa·s", &|f| f.base.viscosity.map(|v| v.get())));
    tell("base", number("water activity", "", &|f| f.base.water_activity));
    let word = |label: &str, of: &dyn Fn(&Formula) -> String| {
        let [a, b] = [first, other].map(of);
        (a != b).then(|| format!("{label}: {a} to {b}"))
    };
    let none = || "none".to_owned();
    tell("acid", word("acid exfoliant", &|f| f.acid.as_ref().map_or_else(none, |a| a.acid.name.to_lowercase())));
    tell("acid", number("pH", "", &|f| f.ph()));
    let window = |f: &Formula| f.acid.as_ref().and_then(|a| a.window).map_or_else(none, |[l, h]| format!("{l} to {h}"));
    tell("acid", word("pH window", &window));
    tell("container", number("container", " mL", &|f| f.fill.container.map(|c| c.get())));
    tell("container", number("opening", " mm", &|f| f.fill.orifice.map(|o| o.get())));
    tell("container", word("jar", &|f| yes(f.fill.jar)));
    tell("container", number("net content", " g", &|f| f.fill.net_mass.map(|m| m.get())));
    tell("container", number("net content", " mL", &|f| f.fill.net_volume.map(|v| v.get())));
    tell("container", number("days on the shelf", "", &|f| f.fill.shelf_days));
    tell("use", word("kind", &|f| f.usage.kind.map_or_else(none, |k| k.key().to_owned())));
    tell("use", word("rinsed off", &|f| f.usage.rinse_off.map_or_else(|| "not stated".to_owned(), yes)));
    tell("use", number("times a week", "", &|f| f.usage.per_week));
    tell("use", word("for trained people", &|f| yes(f.usage.salon)));
    let regions = |f: &Formula| if f.usage.regions.is_empty() { "all".to_owned() } else { f.usage.regions.join(", ") };
    tell("use", word("regions", &regions));
    let day = |f: &Formula| f.usage.on_market.map_or_else(|| "not stated".to_owned(), |day| day.to_string());
    tell("use", word("on the market", &day));
    tell("use", (first.label != other.label).then(|| "what the label says beside: not the same".to_owned()));
    tell("base", (first.base.bead != other.base.bead).then(|| "bead test: not the same".to_owned()));
    tell("base", (first.base.slump != other.base.slump).then(|| "slump test: not the same".to_owned()));
    if listed == [true, true] {
        phases(first, other).into_iter().for_each(|what| tell("phase", Some(what)));
    }
    stated(first, other).into_iter().for_each(|what| tell("ingredient", Some(what)));
    powders(first, other).into_iter().for_each(|what| tell("powder", Some(what)));
    if listed == [true, true] {
        for (a, b) in checks[0].iter().zip(checks[1]) {
            tell("check", check(a, b));
        }
    }
    let cost = |f: &Formula| f.cost_per_kg();
    if let (Some(a), Some(b)) = (cost(first), cost(other)) {
        tell("cost", ((a - b).abs() > SAME_COST * a).then(|| format!("all of it costs {} per kg", from_to(a, b))));
    }
    all
}

/// Another verdict of a check, or another number of open points.
fn check(a: &Check, b: &Check) -> Option<String> {
    if a.verdict != b.verdict {
        return Some(format!("check {}: {} to {}", a.key, a.verdict.label(), b.verdict.label()));
    }
    // Their words name ingredients in their order, which says nothing.
    let (before, after) = (a.open.len(), b.open.len());
    (before != after).then(|| format!("check {}: {before} open points to {after}", a.key))
}

/// Phases that both have, by name, at another temperature; and in which phase a powder goes in.
fn phases(first: &Formula, other: &Formula) -> Vec<String> {
    let degrees = |phase: &Phase| phase.temperature.map_or("not stated".to_owned(), |t| format!("{} °C", t.get()));
    let mut told = Vec::new();
    for a in first.phases() {
        let Some(b) = other.phases().iter().find(|b| b.name == a.name) else {
            told.push(format!("phase {} is left out", a.name));
            continue;
        };
        if a.temperature != b.temperature {
            told.push(format!("phase {}: {} to {}", a.name, degrees(a), degrees(b)));
        }
        if a.note != b.note {
            told.push(format!("phase {}: what to do, not the same", a.name));
        }
    }
    let new = other.phases().iter().filter(|b| !first.phases().iter().any(|a| a.name == b.name));
    told.extend(new.map(|b| format!("phase {} comes in", b.name)));
    let phase_of = |f: &Formula, line: &Line| {
        line.phase.and_then(|i| f.phases().get(i)).map_or("no phase".to_owned(), |phase| phase.name.clone())
    };
    for a in first.lines() {
        let Some(b) = other.lines().into_iter().find(|b| same_line(&a, b)) else { continue };
        let (from, to) = (phase_of(first, &a), phase_of(other, &b));
        if from != to {
            told.push(format!("{}: goes in with {to}, not {from}", a.name()));
        }
    }
    told
}

fn same_line(a: &Line, b: &Line) -> bool {
    a.name() == b.name()
        && matches!((a.item, b.item), (Item::Powder(..), Item::Powder(..)) | (Item::Ingredient(_), Item::Ingredient(_)))
}

/// What differs of something that both have; nothing where nothing does.
fn unlike(name: &str, differs: &[(bool, &str)]) -> Option<String> {
    let words: Vec<&str> = differs.iter().filter(|(is, _)| *is).map(|(_, what)| *what).collect();
    (!words.is_empty()).then(|| format!("{name}, not the same: {}", words.join(", ")))
}

/// What is stated otherwise of ingredients that both have by name, beside share and parts, and of powders.
fn stated(first: &Formula, other: &Formula) -> Vec<String> {
    let mut told = Vec::new();
    for (_, a) in first.ingredients() {
        let Some((_, b)) = other.ingredients().find(|(_, b)| b.name == a.name) else { continue };
        let differs = [
            (a.inci != b.inci, "INCI name"),
            (a.functions != b.functions, "what it is for"),
            (a.preservative != b.preservative, "which preservative it is"),
            (a.allergens != b.allergens, "fragrance allergens"),
            (a.lot != b.lot, "lot"),
            (a.price_per_kg != b.price_per_kg, "price"),
            (a.density != b.density, "density"),
            (a.cfu_per_g != b.cfu_per_g, "microbes"),
            (a.stated != b.stated, "traces tested or lists looked up"),
        ];
        told.extend(unlike(&a.name, &differs));
    }
    let placed = |f: &Formula| -> Vec<(String, PowderPlace)> {
        let names = f.powders().map(|(c, _)| c.powder.name.clone());
        names.zip(f.places().iter().cloned()).collect()
    };
    let others = placed(other);
    for (name, before) in placed(first) {
        let Some((_, after)) = others.iter().find(|(own, _)| *own == name) else { continue };
        let differs = [
            (before.cfu_per_g != after.cfu_per_g, "microbes"),
            (before.stated != after.stated, "traces tested or lists looked up"),
        ];
        told.extend(unlike(&name, &differs));
    }
    told
}

fn yes(holds: bool) -> String {
    if holds { "yes" } else { "no" }.to_owned()
}

/// What a blend is made of, % of it by INCI name in lower case, over all lines of one key; `None` where a line of it does not say.
fn made_of(formula: &Formula, key: &str) -> Option<Vec<(String, f64)>> {
    let lines: Vec<&Ingredient> = formula.ingredients().map(|(_, i)| i).filter(|i| key_of(i) == key).collect();
    let whole: f64 = lines.iter().map(|i| i.pct.get()).sum();
    let mut sums: Vec<(String, f64)> = Vec::new();
    for line in lines {
        if line.parts.is_empty() {
            return None;
        }
        for part in &line.parts {
            let (name, pct) = (part.inci.trim().to_lowercase(), part.pct.get() * line.pct.get() / whole);
            match sums.iter_mut().find(|s| s.0 == name) {
                Some(sum) => sum.1 += pct,
                None => sums.push((name, pct)),
            }
        }
    }
    Some(sums)
}

/// How a blend that both hold under one INCI name is made otherwise.
fn parts(name: &str, before: Option<Vec<(String, f64)>>, after: Option<Vec<(String, f64)>>) -> Option<String> {
    let (before, after) = match (before, after) {
        (None, None) => return None,
        (None, Some(_)) => return Some(format!("{name}: only the other says what it is made of")),
        (Some(_), None) => return Some(format!("{name}: only the first says what it is made of")),
        (Some(before), Some(after)) => (before, after),
    };
    let of = |all: &[(String, f64)], part: &str| all.iter().find(|p| p.0 == part).map_or(0.0, |p| p.1);
    let new = after.iter().filter(|p| !before.iter().any(|b| b.0 == p.0));
    let names: Vec<&str> = before.iter().chain(new).map(|p| p.0.as_str()).collect();
    let changed = names.iter().map(|part| (part, of(&before, part), of(&after, part)));
    let changed = changed.filter(|(_, from, to)| (from - to).abs() > SAME_PCT);
    let told: Vec<String> = changed.map(|(part, from, to)| format!("{part} {} %", from_to(from, to))).collect();
    (!told.is_empty()).then(|| format!("{name}, what it is made of: {}", told.join(", ")))
}

/// What tells an ingredient from others: its INCI name, else its name.
fn key_of(ingredient: &Ingredient) -> String {
    ingredient.inci.as_deref().unwrap_or(&ingredient.name).trim().to_lowercase()
}

/// Ingredients that come in, go out, have another share, or are blends made otherwise; the same by INCI name, else by name.
fn ingredients(first: &Formula, other: &Formula) -> Vec<String> {
    let sums = |f: &Formula| {
        let mut sums: Vec<(String, String, f64, f64)> = Vec::new();
        for (_, i) in f.ingredients() {
            match sums.iter_mut().find(|s| s.0 == key_of(i)) {
                Some(sum) => (sum.2, sum.3) = (sum.2 + i.pct.get(), sum.3 + i.active_pct()),
                None => sums.push((key_of(i), i.name.clone(), i.pct.get(), i.active_pct())),
            }
        }
        sums
    };
    let (before, after) = (sums(first), sums(other));
    let find = |key: &str| after.iter().find(|s| s.0 == key);
    let mut told: Vec<String> = before
        .iter()
        .filter_map(|(key, name, pct, active)| match find(key) {
            None => Some(format!("{name}, {} %, is left out", three(*pct))),
            Some(new) if (new.2 - pct).abs() > SAME_PCT => Some(format!("{name}: {} %", from_to(*pct, new.2))),
            Some(new) if (new.3 - active).abs() > SAME_PCT => {
                Some(format!("{name}: {} % without its solvent", from_to(*active, new.3)))
            }
            Some(_) => None,
        })
        .collect();
    let both = before.iter().filter(|(key, ..)| find(key).is_some());
    told.extend(both.filter_map(|(key, name, ..)| parts(name, made_of(first, key), made_of(other, key))));
    let new = after.iter().filter(|(key, ..)| !before.iter().any(|s| s.0 == *key));
    told.extend(new.map(|(_, name, pct, _)| format!("{name} comes in with {} %", three(*pct))));
    told
}

/// What is said of powders that both hold, beside their grains.
fn powders(first: &Formula, other: &Formula) -> Vec<String> {
    let mut told = Vec::new();
    for (a, _) in first.powders() {
        let Some((b, _)) = other.powders().find(|(b, _)| b.powder.name == a.powder.name) else { continue };
        let [lot_a, lot_b] = [a, b].map(|c| c.powder.stock.lot.as_deref().unwrap_or("not stated"));
        if lot_a != lot_b {
            told.push(format!("{}: lot {lot_a} to {lot_b}", a.powder.name));
        }
        let [inci_a, inci_b] = [a, b].map(|c| c.powder.inci().unwrap_or("not stated"));
        if inci_a != inci_b {
            told.push(format!("{}: INCI name {inci_a} to {inci_b}", a.powder.name));
        }
        let prices = [a, b].map(|c| c.powder.stock.price_per_kg);
        let said = match prices {
            [Some(from), Some(to)] => from_to(from, to),
            _ => prices.map(|price| price.map_or("not stated".to_owned(), three)).join(" to "),
        };
        if prices[0] != prices[1] {
            told.push(format!("{}: price per kg {said}", a.powder.name));
        }
    }
    told
}
