//! What a dossier is about, and what it says first.

use super::{Fingerprint, Subject};
use crate::band::BEYOND;
use crate::formula::Verdict;
use crate::report::document::{Align, Grid, Section};
use crate::report::layout::significant;
use crate::report::{BlendReport, FormulaReport, wording};

/// The verdict in a sentence or two.
pub fn verdict(subject: &Subject, blend: &BlendReport, whole: &FormulaReport) -> String {
    let found = &blend.band.name;
    let index = significant(blend.index.value, 3);
    let stands =
        if found == BEYOND { format!("is {BEYOND}") } else { format!("falls into the band {}", blend.band.said()) };
    let dissolved = match &whole.index {
        None => " with its grains undissolved; in the jar none of them stays solid".to_owned(),
        Some(i) => {
            let over = i.over_the_rub.map(|o| format!("; over the whole rub, as grains dissolve, {}", o.figure()));
            over.unwrap_or_default()
        }
    };
    let stands = format!("The scrub {stands} (index {index}, reference scrub 100{dissolved})");
    let stops: Vec<&str> =
        subject.checked.checks.iter().filter(|c| c.verdict == Verdict::Stop).map(|c| c.key).collect();
    let stopped = match stops.as_slice() {
        [] => String::new(),
        stops => format!(" As it stands it is stopped by: {}.", stops.join(", ")),
    };
    let Some(required) = subject.required else { return format!("{stands}.{stopped}") };
    let asked = subject.judge.band_name(required);
    let drawn = subject.drawn_pct(required);
    let answer = match (subject.assessment.verdict.rank <= required, stops.is_empty()) {
        (true, true) if subject.is_sure_of(required) => {
            format!("and so do {drawn:.0} of 100 draws of all that is uncertain: it meets what was asked for")
        }
        (true, true) => format!(
            "which is mild enough as stated, but only {drawn:.0} of 100 draws of all that is uncertain are, and {:.0} were asked for: \
             it is not shown to meet what was asked for",
            100.0 * subject.sure
        ),
        (true, false) => {
            let unsure = if subject.is_sure_of(required) {
                String::new()
            } else {
                format!(" as stated ({drawn:.0} of 100 draws; {:.0} were asked for)", 100.0 * subject.sure)
            };
            format!("which is mild enough{unsure}, but the checks stop it: it does not meet what was asked for")
        }
        (false, _) => "so it does not meet what was asked for".to_owned(),
    };
    format!("Asked for: {asked}, or milder. {stands}, {answer}.{stopped}")
}

/// How sure the verdict is and what the checks say, in two sentences.
pub fn doubts(blend: &BlendReport, whole: &FormulaReport) -> String {
    let counted = [Verdict::Stop, Verdict::Caution, Verdict::NotJudged].map(|verdict| {
        let count = whole.checks.iter().filter(|c| c.verdict == verdict).count();
        format!("{count} {}", verdict.label())
    });
    format!(
        "{}. Powders, model and skin were drawn over their ranges, the groove limits along with the reference scrub. Of the {} checks of \
         the whole scrub: {}.",
        wording::band_line(&blend.band),
        whole.checks.len(),
        counted.join(", ")
    )
}

pub fn product(subject: &Subject, blend: &BlendReport, fingerprint: &Fingerprint) -> Section {
    let mut section = Section::new("product", "Product and intended use");
    let mut facts = Grid::new("The product", &[("", Align::Left), ("", Align::Left)]);
    let mut fact = |what: &str, value: String| facts.row(vec![what.to_owned(), value]);
    fact("Name", blend.scrub.name.clone());
    if let Some(date) = &fingerprint.call.date {
        fact("Date", date.clone());
    }
    let intended = subject.required.map(|rank| format!("{}, or milder", subject.judge.band_name(rank)));
    fact("Intended for", intended.unwrap_or_else(|| "not stated".to_owned()));
    let (usage, fill) = (&subject.formula.usage, &subject.formula.fill);
    let rinsed = usage.rinse_off.map(|off| if off { "rinsed off" } else { "stays on the skin" }.to_owned());
    let often = usage.per_week.map(|n| format!("{n} times a week"));
    let by = usage.salon.then(|| "by trained people".to_owned());
    let said: Vec<String> = [rinsed, often, by].into_iter().flatten().collect();
    fact("Use", if said.is_empty() { "not stated".to_owned() } else { said.join(", ") });
    let sold = if usage.regions.is_empty() { "not stated".to_owned() } else { usage.regions.join(", ") };
    fact("Sold in", sold);
    if let Some(container) = fill.container {
        let opening = fill.orifice.map_or_else(String::new, |o| format!(", opening of {} mm", o.get()));
        fact("Container", format!("{} mL{opening}", container.get()));
    }
    fact("Band found", blend.band.said());
    if let Some(over_the_rub) = &blend.index.over_the_rub {
        fact("Index over the whole rub, as grains dissolve", over_the_rub.figure());
    }
    fact("Powders", format!("{} % of the scrub by mass", significant(blend.scrub.powder_load_pct, 3)));
    if let Some(cost) = blend.scrub.cost_per_kg {
        fact("Powders in a kilogram of scrub cost", significant(cost, 3));
    }
    section.table(facts);
    section
}
