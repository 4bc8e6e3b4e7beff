//! What goes in cool, against the temperature of its phase.

use super::super::allergens::{is_perfume, is_scented_plant};
use super::super::{Function, Item, Line};
use super::{Check, Finding, OWN, Setting, known, no_phases, number, preservative};
use crate::tables::Status;

pub(super) fn check(s: &Setting) -> Check {
    let findings = if s.has_phases() {
        let lines = s.formula.lines();
        let mut found: Vec<Finding> = lines.iter().filter_map(|line| judged(s, line)).collect();
        // Of one verdict, the least ceiling gives the figures.
        let ceiling = |finding: &Finding| finding.limit.unwrap_or(f64::INFINITY);
        found.sort_by(|a, b| ceiling(a).total_cmp(&ceiling(b)));
        if found.is_empty() { vec![Finding::pass("nothing in the formula has to go in cool", OWN)] } else { found }
    } else {
        vec![no_phases()]
    };
    Check::from_findings("cool-down", "°C", findings)
}

/// Highest temperature of a line, what makes it so, and whether more spoils it outright.
struct Ceiling<'a> {
    celsius: f64,
    known: (Status, &'a str),
    melts: bool,
}

fn ceiling<'a>(s: &'a Setting, line: &Line) -> Option<Ceiling<'a>> {
    let cool = &s.constants().cool_down_c;
    let cool_down = || Ceiling { celsius: cool.value, known: known(cool), melts: false };
    match line.item {
        Item::Ingredient(i) if preservative::is_preservative(s, i) => {
            let lowest = preservative::rows(s, i).into_iter().min_by(|a, b| a.add_below_c.total_cmp(&b.add_below_c));
            Some(match lowest {
                Some(row) => Ceiling { celsius: row.add_below_c, ..cool_down() },
                None => cool_down(),
            })
        }
        Item::Ingredient(i) => {
            let mut names = line.substances().filter_map(|s| s.inci());
            let spoils = i.is(Function::Fragrance) || i.is(Function::HeatSensitive);
            let rows = &s.tables.formula.allergens;
            let is_oil = |inci: &str| inci.trim().to_lowercase().ends_with("oil") && is_scented_plant(inci, rows);
            (spoils || names.any(|inci| is_perfume(inci) || is_oil(inci))).then(cool_down)
        }
        Item::Powder(c, _) => {
            let softens = c.powder.material.as_ref()?.wax_softens_c()?;
            let margin = &s.constants().wax_margin_c;
            Some(Ceiling { celsius: softens - margin.value, known: known(margin), melts: true })
        }
    }
}

fn judged(s: &Setting, line: &Line) -> Option<Finding> {
    let Ceiling { celsius, known, melts } = ceiling(s, line)?;
    let name = line.name();
    let Some(phase) = line.phase.map(|p| &s.formula.phases()[p]) else {
        return Some(Finding::missing(format!("{name} goes in below {celsius} °C; give its phase")));
    };
    let Some(temperature) = phase.temperature.map(|t| t.get()) else {
        let why = format!("{name} goes in below {celsius} °C; give temperature_c of phase {}", phase.name);
        return Some(Finding::missing(why));
    };
    let softens = celsius + s.constants().wax_margin_c.value;
    Some(if melts && temperature >= softens {
        let why = format!("{name} softens near {} °C; phase {} has {temperature} °C", number(softens), phase.name);
        Finding::stop(why, known).of(temperature, celsius)
    } else if temperature > celsius {
        let why = format!("{name} goes in below {celsius} °C; phase {} has {temperature} °C", phase.name);
        Finding::caution(why, known).of(temperature, celsius)
    } else {
        let why = format!("{name} goes in at {temperature} °C, below {celsius} °C");
        Finding::pass(why, known).of(temperature, celsius)
    })
}
