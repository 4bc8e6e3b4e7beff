//! Index, rub, band, and how sure they are.

use super::Subject;
use crate::band::Judge;
use crate::confidence::Interval;
use crate::numerics::sensitivity::Indices;
use crate::numerics::written::{percent, three, two};
use crate::report::blend::WorkPart;
use crate::report::confidence::most;
use crate::report::document::{Grid, Section};
use crate::report::layout::{joined, row};
use crate::report::on_skin::{graver_later, over_the_rub};
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
const OVER_THE_RUB: &str = "Band and abrasiveness index are of the grains as they reach the skin, or of those that are left when what \
     dissolves is gone, whichever is graver. In brackets the 5 and 95 % points when duration, water on the skin, its viscosity, the speed of grains in it, rounding of corners and \
     solubility are drawn from their ranges, all else as stated.";

pub fn index(blend: &BlendReport) -> Section {
    let index = &blend.index;
    let removal = format!(
        "Abrasiveness index {}: {}. At the reference rub the scrub takes off {} µm of horn per metre of sliding; one use is about {} m \
         (convention).",
        three(index.value),
        index.note,
        three(index.removal_um_per_m),
        two(index.sliding_distance_m)
    );
    let mut section = Section::new("index", "The abrasiveness index").text(removal);
    section = section.texts(graver_later(index.at_first).map(|said| said + "."));
    if let Some(over) = index.over_the_rub {
        section = section.text(format!("{}. {OVER_THE_RUB}", over_the_rub(over)));
        section = section.texts(blend.in_the_jar.iter().map(|said| format!("{said}.")));
    }
    section.text(INDEX_DEFINITION).text(INDEX_LIMITS).texts(blend.work.as_ref().map(WorkPart::sentence))
}

pub fn sites(judge: &Judge, blend: &BlendReport) -> Section {
    let site = ["Site", "Horny layer µm", "Pressure kPa", "Dose g/m²", "Gap µm", "Carried by grains %"];
    let grooves = ["Groove, 50 % of the load, µm", "Groove, 95 %, µm", "Groove ratio", "Rub"];
    let lines = blend.sites.iter().zip(judge.model().sites()).map(|(part, site)| {
        let known = [part.stratum_corneum_um, site.pressure_kpa, site.dose_g_m2, part.gap_um];
        let grooves = [part.groove_p50_um, part.groove_p95_um, part.groove_ratio];
        row(&part.site).three(known).percent([part.carried_pct]).three(grooves).and(part.rub.label())
    });
    let grid = Grid::new("lrrrrrrrrl", &[&site[..], &grooves].concat());
    Section::new("sites", "The rub at each site")
        .table(grid.captioned("Grooves under the rub of each site (model)").rows(lines))
        .text(
            "The groove ratio is the groove depth under which 95 % of the load lies, over the thickness of the horny layer. A rub is \
             shared when film and skin carry part of the load, grain-borne when the grains carry all of it.",
        )
}

pub fn band(subject: &Subject, blend: &BlendReport) -> Section {
    let Subject { assessment, judge, .. } = *subject;
    let heads = ["Band", "Judged at", "Criterion", "Value", "Limit", "Margin %", "", "The limit is"];
    let mut notes: Vec<String> = Vec::new();
    let caption = "The figures against the limits of every band, mild to harsh";
    let mut grid = Grid::new("lllrrrll", &heads).captioned(caption);
    for (rank, limits) in judge.bands().iter().enumerate() {
        for held in judge.held(rank, &assessment.figures) {
            let limit = limits.limits[held.criterion as usize].as_ref();
            let (status, source) = limit.map_or(("", ""), |l| (l.origin.status.key(), l.origin.source.as_str()));
            let unit = if held.criterion == Criterion::D99 { " µm" } else { "" };
            let held_at = row(&limits.name).and(&limits.site).and(held.criterion.label());
            let figures = held_at.and(three(held.value) + unit).and(format!("{}{unit}", held.limit));
            let met = if held.met() { "met" } else { "not met" };
            let known = format!("{status} ({})", number_of(&mut notes, source));
            grid.row(figures.and(format!("{:.0}", held.margin_pct())).and(met).and(known));
        }
    }
    let numbered = notes.iter().enumerate().map(|(i, note)| format!("({}) {note}", i + 1));
    Section::new("band", "Why this band")
        .list(blend.band.reasons.clone())
        .table(grid)
        .text(format!("Where the limits come from: {}.", joined(numbered, "; ")))
        .text("What would move the band:")
        .list(blend.band.levers.clone())
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
    let outcomes = sure.outcomes();
    let heads = ["", "All drawn", "Powders alone", "Skin and model alone", "People's skins"];
    let bands = sure.all.bands.iter().enumerate().map(|(i, band)| {
        row(&band.name).all(outcomes.map(|o| format!("{} %", percent(100.0 * o.bands[i].probability))))
    });
    let all_three = |of: Interval| of.values().map(three).join(" / ");
    let index = row("abrasiveness index").all(outcomes.map(|o| all_three(o.index.of)));
    let sites = sure.all.sites.iter().enumerate().map(|(i, site)| {
        row(format!("groove ratio, {}", site.site)).all(outcomes.map(|o| all_three(o.sites[i].ratio)))
    });
    let variance = sure.variance.iter().filter(|s| most(s) >= WORTH_A_LINE).map(|share| {
        let who = if share.measurable { "the maker, by measuring" } else { "nobody" };
        let pct = |share: Indices| format!("{:.0}", 100.0 * share.total.value.max(0.0));
        row(&share.input).all([share.of_band, share.of_index].map(pct)).and(who)
    });
    let of = |aligns, heads: &[&str], caption| Grid::new(aligns, heads).captioned(caption);
    let inputs = ["Input", "Of the band %", "Of ln index %", "Who can know it"];
    Section::new("confidence", "How sure the verdict is")
        .table(of("lrrrr", &heads, "Probability of each band").rows(bands))
        .table(of("lrrrr", &heads, "5, 50 and 95 % of the draws").rows([index]).rows(sites))
        .table(of("lrrl", &inputs, "What holds the variance, interactions included").rows(variance))
        .list(sure.advice.clone())
        .texts(&sure.notes)
}
