//! What a dossier is about, and what it says first.

use super::Subject;
use crate::band::BEYOND;
use crate::formula::{Check, CheckVerdict};
use crate::numerics::written::three;
use crate::report::document::{Grid, Section};
use crate::report::on_skin::figure;
use crate::report::{BlendReport, FormulaReport, wording};

/// The verdict in a sentence or two.
pub fn verdict(subject: &Subject, blend: &BlendReport, whole: &FormulaReport) -> String {
    let found = &blend.band.name;
    let index = three(blend.index.value);
    let stands =
        if found == BEYOND { format!("is {BEYOND}") } else { format!("falls into the band {}", blend.band.said()) };
    let over = |o| format!("; over the whole rub, as grains dissolve, {}", figure(o));
    let dissolved = match &whole.index {
        None => " with its grains undissolved; in the jar none of them stays solid".to_owned(),
        Some(i) => i.over_the_rub.map_or(String::new(), over),
    };
    let stands = format!("The scrub {stands} (index {index}, reference scrub 100{dissolved})");
    let stops = subject.checked.checks.iter().filter(|c| c.verdict == CheckVerdict::Stop);
    let stops: Vec<&str> = stops.map(|c| c.key).collect();
    let stopped = (!stops.is_empty()).then(|| format!(" As it stands it is stopped by: {}.", stops.join(", ")));
    let stopped = stopped.unwrap_or_default();
    let Some(required) = subject.required else { return format!("{stands}.{stopped}") };
    let asked = subject.judge.band_name(required);
    let drawn = subject.drawn_pct(required);
    let (is_sure, wanted) = (subject.is_sure_of(required), 100.0 * subject.sure);
    let answer = if subject.assessment.verdict.rank > required {
        "so it does not meet what was asked for".to_owned()
    } else if !stops.is_empty() {
        let drawn = format!(" as stated ({drawn:.0} of 100 draws; {wanted:.0} were asked for)");
        let unsure = if is_sure { "" } else { &drawn };
        format!("which is mild enough{unsure}, but the checks stop it: it does not meet what was asked for")
    } else if is_sure {
        format!("and so do {drawn:.0} of 100 draws of all that is uncertain: it meets what was asked for")
    } else {
        format!(
            "which is mild enough as stated, but only {drawn:.0} of 100 draws of all that is uncertain are, and {wanted:.0} were asked for: \
             it is not shown to meet what was asked for"
        )
    };
    format!("Asked for: {asked}, or milder. {stands}, {answer}.{stopped}")
}

/// How sure the verdict is.
pub fn how_sure(blend: &BlendReport) -> String {
    format!(
        "{}. Powders, model and skin were drawn over their ranges, the groove limits along with the reference scrub.",
        wording::band_line(&blend.band)
    )
}

/// For which skin it is intended, where that is stated.
pub fn intended(subject: &Subject) -> Option<String> {
    subject.required.map(|rank| format!("{}, or milder", subject.judge.band_name(rank)))
}

/// "3: annexes (2), traces (1)"
pub fn open_points(whole: &FormulaReport) -> String {
    let of = |c: &Check| format!("{} ({})", c.key, c.open.len());
    let open: Vec<String> = whole.checks.iter().filter(|c| !c.open.is_empty()).map(of).collect();
    if open.is_empty() { "none".to_owned() } else { format!("{}: {}", whole.open_points(), open.join(", ")) }
}

pub fn product(subject: &Subject, blend: &BlendReport) -> Section {
    let stated = |said: Vec<String>| if said.is_empty() { "not stated".to_owned() } else { said.join(", ") };
    let (usage, fill) = (&subject.formula.usage, &subject.formula.fill);
    let rinsed = usage.rinse_off.map(|off| if off { "rinsed off" } else { "stays on the skin" }.to_owned());
    let often = usage.per_week.map(|n| format!("{n} times a week"));
    let by = usage.salon.then(|| "by trained people".to_owned());
    let container = fill.container.map(|container| {
        let opening = fill.orifice.map_or_else(String::new, |o| format!(", opening of {} mm", o.get()));
        format!("{} mL{opening}", container.get())
    });
    let load = three(blend.scrub.powder_load_pct);
    let facts = [
        ("Kind", usage.kind.map(|kind| kind.key().to_owned())),
        ("Use", Some(stated([rinsed, often, by].into_iter().flatten().collect()))),
        ("Sold in", Some(stated(usage.regions.clone()))),
        ("On the market from", usage.on_market.map(|day| day.to_string())),
        ("Container", container),
        ("Index over the whole rub, as grains dissolve", blend.index.over_the_rub.map(figure)),
        ("Powders", Some(format!("{load} % of the scrub by mass"))),
        ("Powders in a kilogram of scrub cost", blend.scrub.cost_per_kg.map(three)),
    ];
    let facts = facts.into_iter().filter_map(|(what, said)| Some([what.to_owned(), said?]));
    let facts = Grid::new("ll", &["", ""]).captioned("The product").rows(facts);
    Section::new("product", "Product and intended use").table(facts)
}
