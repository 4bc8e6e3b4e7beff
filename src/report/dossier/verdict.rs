//! Index, rub, band, and how sure they are.

use super::Subject;
use crate::band::Judge;
use crate::report::confidence::OutcomePart;
use crate::report::document::{Align, Grid, Section};
use crate::report::layout::{percent, significant};
use crate::report::{BlendReport, ConfidenceReport};
use crate::tables::Criterion;

/// What the index is, in one paragraph each: how it is made, and what it cannot say.
const INDEX_DEFINITION: &str = "The index is 100 √(S / S of the reference scrub). S, the depth-weighted removal, sums over all grains \
     the section that a grain ploughs in wet horn, times the square of the groove's depth, times how well the grain keeps its edge. A \
     grain is pressed by what it stands above the gap between finger pad and skin (Hertz contact on both sides), and its tip is as sharp \
     as its roundness says. Both scrubs rub under the conditions of the face row of the sites table.";
const INDEX_LIMITS: &str = "Its limits: that harm grows with the square of the depth, and that softer grains round off, are conventions of \
     this program. No published series of skin removal by grain size and powder was found to test it against; ranks from teeth or metal need \
     not transfer to skin; surfactants, pressure and habit confound irritation. It ranks scrubs; it is not a clinical measure.";

/// What the interval of the index over the rub is.
const OVER_THE_RUB: &str = "Band and abrasiveness index are of the grains as they reach the skin: the first seconds are the harshest. In \
     brackets the 5 and 95 % points when duration, water on the skin, its viscosity, the speed of grains in it, rounding of corners and \
     solubility are drawn from their ranges, all else as stated.";

pub fn index(blend: &BlendReport) -> Section {
    let mut section = Section::new("index", "The abrasiveness index");
    let index = &blend.index;
    section.text(format!(
        "Abrasiveness index {}: {}. At the reference rub the scrub takes off {} µm of horn per metre of sliding; one use is about {} m \
         (convention).",
        significant(index.value, 3),
        index.note,
        significant(index.removal_um_per_m, 3),
        significant(index.sliding_distance_m, 2)
    ));
    if let Some(over_the_rub) = &index.over_the_rub {
        section.text(format!("{}. {OVER_THE_RUB}", over_the_rub.sentence()));
        blend.in_the_jar.iter().for_each(|said| section.text(format!("{said}.")));
    }
    section.text(INDEX_DEFINITION);
    section.text(INDEX_LIMITS);
    if let Some(work) = &blend.work {
        section.text(format!(
            "Grains of {} to {} µm give the middle 80 % of the index, half of it below {} µm.",
            significant(work.index_p10_um, 3),
            significant(work.index_p90_um, 3),
            significant(work.index_p50_um, 3)
        ));
    }
    section
}

pub fn sites(judge: &Judge, blend: &BlendReport) -> Section {
    let mut section = Section::new("sites", "The rub at each site");
    let right = Align::Right;
    let columns = [
        ("Site", Align::Left),
        ("Horny layer µm", right),
        ("Pressure kPa", right),
        ("Dose g/m²", right),
        ("Gap µm", right),
        ("Carried by grains %", right),
        ("Groove, 50 % of the load, µm", right),
        ("Groove, 95 %, µm", right),
        ("Groove ratio", right),
        ("Rub", Align::Left),
    ];
    let mut grid = Grid::new("Grooves under the rub of each site (model)", &columns);
    for (part, site) in blend.sites.iter().zip(judge.model().sites()) {
        grid.row(vec![
            part.site.clone(),
            significant(part.stratum_corneum_um, 3),
            significant(site.pressure_kpa, 3),
            significant(site.dose_g_m2, 3),
            significant(part.gap_um, 3),
            percent(part.carried_pct),
            significant(part.groove_p50_um, 3),
            significant(part.groove_p95_um, 3),
            significant(part.groove_ratio, 3),
            part.rub.label().to_owned(),
        ]);
    }
    section.table(grid);
    section.text(
        "The groove ratio is the groove depth under which 95 % of the load lies, over the thickness of the horny layer. A rub is shared \
         when film and skin carry part of the load, grain-borne when the grains carry all of it.",
    );
    section
}

pub fn band(subject: &Subject, blend: &BlendReport) -> Section {
    let Subject { assessment, judge, .. } = *subject;
    let mut section = Section::new("band", "Why this band");
    section.list(blend.band.reasons.clone());
    let right = Align::Right;
    let columns = [
        ("Band", Align::Left),
        ("Judged at", Align::Left),
        ("Criterion", Align::Left),
        ("Value", right),
        ("Limit", right),
        ("Margin %", right),
        ("", Align::Left),
        ("The limit is", Align::Left),
    ];
    let mut notes: Vec<String> = Vec::new();
    let mut grid = Grid::new("The figures against the limits of every band, mild to harsh", &columns);
    for (rank, limits) in judge.bands().iter().enumerate() {
        for held in judge.held(rank, &assessment.figures) {
            let limit = limits.limits[held.criterion as usize].as_ref();
            let (status, source) = limit.map_or(("", ""), |l| (l.origin.status.key(), l.origin.source.as_str()));
            let unit = if held.criterion == Criterion::D99 { " µm" } else { "" };
            grid.row(vec![
                limits.name.clone(),
                limits.site.clone(),
                held.criterion.label().to_owned(),
                significant(held.value, 3) + unit,
                format!("{}{unit}", held.limit),
                format!("{:.0}", held.margin_pct()),
                if held.met() { "met" } else { "not met" }.to_owned(),
                format!("{status} ({})", number_of(&mut notes, source)),
            ]);
        }
    }
    section.table(grid);
    let numbered = notes.iter().enumerate().map(|(i, note)| format!("({}) {note}", i + 1));
    section.text(format!("Where the limits come from: {}.", numbered.collect::<Vec<_>>().join("; ")));
    section.text("What would move the band:");
    section.list(blend.band.levers.clone());
    section
}

/// The number that a note goes by, from 1.
fn number_of(notes: &mut Vec<String>, note: &str) -> usize {
    let at = notes.iter().position(|n| n == note).unwrap_or_else(|| {
        notes.push(note.to_owned());
        notes.len() - 1
    });
    at + 1
}

/// Inputs that hold less of the variance than this are not listed.
const WORTH_A_LINE: f64 = 0.02;

pub fn confidence(sure: &ConfidenceReport) -> Section {
    let mut section = Section::new("confidence", "How sure the verdict is");
    let right = Align::Right;
    let outcomes = [&sure.all, &sure.powders_alone, &sure.skin_and_model_alone, &sure.skins_alone];
    let heads = [
        ("", Align::Left),
        ("All drawn", right),
        ("Powders alone", right),
        ("Skin and model alone", right),
        ("People's skins", right),
    ];
    let mut bands = Grid::new("Probability of each band", &heads);
    for (i, band) in sure.all.bands.iter().enumerate() {
        let cell = |o: &OutcomePart| format!("{} %", percent(100.0 * o.bands[i].probability));
        bands.row(std::iter::once(band.name.clone()).chain(outcomes.map(cell)).collect());
    }
    let mut figures = Grid::new("5, 50 and 95 % of the draws", &heads);
    let three = |values: [f64; 3]| values.map(|v| significant(v, 3)).join(" / ");
    let index = |o: &OutcomePart| three([o.index.p5, o.index.p50, o.index.p95]);
    figures.row(std::iter::once("abrasiveness index".to_owned()).chain(outcomes.map(index)).collect());
    for (i, site) in sure.all.sites.iter().enumerate() {
        let ratio = |o: &OutcomePart| three([o.sites[i].ratio_p5, o.sites[i].ratio_p50, o.sites[i].ratio_p95]);
        let label = format!("groove ratio, {}", site.site);
        figures.row(std::iter::once(label).chain(outcomes.map(ratio)).collect());
    }
    let columns =
        [("Input", Align::Left), ("Of the band %", right), ("Of ln index %", right), ("Who can know it", Align::Left)];
    let mut variance = Grid::new("What holds the variance, interactions included", &columns);
    for share in sure.variance.iter().filter(|s| s.total.max(s.band_total) >= WORTH_A_LINE) {
        let who = if share.measurable { "the maker, by measuring" } else { "nobody" };
        let pct = |share: f64| format!("{:.0}", 100.0 * share.max(0.0));
        variance.row(vec![share.input.clone(), pct(share.band_total), pct(share.total), who.to_owned()]);
    }
    section.table(bands);
    section.table(figures);
    section.table(variance);
    section.list(sure.advice.clone());
    sure.notes.iter().for_each(|note| section.text(note.clone()));
    section
}
