//! Sentences about bands, in a maker's words.

use super::layout::significant;
use crate::band::{Assessment, BEYOND, Change, Held, Judge, Quantity};
use crate::blend::Scrub;
use crate::rub::Partition;
use crate::tables::Criterion;

/// What the index is and is not.
pub(super) const INDEX_NOTE: &str =
    "a model under stated assumptions, relative to a reference scrub of 100; not a clinical measure";

/// What the limits of the bands are.
pub(super) const BANDS_NOTE: &str = "band limits are a convention of this program, not a published threshold";

/// Who decides.
pub(super) const ASSESSOR_NOTE: &str =
    "This is no safety assessment: local rules and a qualified safety assessor decide";

/// What a dossier is and is not.
pub(super) const DOSSIER_NOTE: &str = "This is an input to the product file (in the European Union to part A of the cosmetic \
     product safety report), made by a model under stated assumptions. It is not a clinical measure, no safety assessment and never \
     its conclusion: local rules and a qualified safety assessor decide.";

/// "would make it a face scrub".
fn would(band: &str) -> String {
    match band {
        BEYOND => format!("would put it {BEYOND}"),
        many if many.contains(" and ") => format!("would make it a scrub for {many}"),
        one => format!("would make it a {one} scrub"),
    }
}

/// A change as a sentence. The bound is rounded to the safe side, so that following the sentence reaches the band.
pub(super) fn change(change: &Change, scrub: &Scrub, judge: &Judge) -> String {
    let less = change.to < change.from;
    let (word, below) = if less { ("less than", "below") } else { ("more than", "above") };
    let (to, from) = (bound(change.to, less), significant(change.from, 3));
    let name = |i: usize| &scrub.blend.components()[i].powder.name;
    let what = match change.quantity {
        Quantity::Parts(i) => format!("{word} {to} parts of {} (now {from})", name(i)),
        Quantity::Load => format!("a powder load {below} {to} % (now {from} %)"),
        Quantity::Median(i) => format!("a D50 of {} {below} {to} µm (now {from} µm)", name(i)),
    };
    format!("{what} {}", would(judge.band_name(change.rank)))
}

/// Three significant digits, rounded down for an upper bound and up for a lower one.
fn bound(value: f64, down: bool) -> String {
    let scale = 10f64.powi(2 - value.abs().log10().floor() as i32);
    let scaled = value * scale;
    let rounded = if down { (scaled + 1e-9).floor() } else { (scaled - 1e-9).ceil() };
    significant(rounded / scale, 3)
}

/// Why the scrub has its band: every figure against its limit, what keeps it from the milder band, and what was assumed.
pub(super) fn reasons(assessment: &Assessment, judge: &Judge) -> Vec<String> {
    let verdict = &assessment.verdict;
    let bands = judge.bands();
    let judged = &bands[verdict.rank.min(bands.len() - 1)];
    let mut reasons: Vec<String> = Vec::new();
    if verdict.rank == bands.len() {
        reasons.push(format!("no band allows it; held against the harshest, {}:", judged.name));
    }
    let site = judge.model().sites().iter().position(|s| s.name == judged.site).unwrap_or(0);
    let rub = &assessment.rubbed.sites[site];
    if rub.groove_p95_um == 0.0 {
        let gap = significant(rub.gap_um, 3);
        reasons.push(format!("no grain is wider than the gap of {gap} µm at the {}: nothing rubs there", judged.site));
    }
    let worked = |h: &&Held| rub.groove_p95_um > 0.0 || h.criterion == Criterion::D99;
    reasons.extend(verdict.held.iter().filter(worked).map(|h| figure(h, assessment, judge, &judged.site)));
    if let Some(milder) = verdict.rank.checked_sub(1).filter(|_| verdict.rank < bands.len()) {
        let missed: Vec<String> = judge
            .held(milder, &assessment.figures)
            .iter()
            .filter(|h| !h.met())
            .map(|h| format!("{} {} is over {}", h.criterion.label(), number(h.criterion, h.value), limit(h)))
            .collect();
        reasons.push(format!("not {}: {}", bands[milder].name, missed.join(", ")));
    }
    let governing = verdict.governing();
    let side = if governing.met() { "least margin" } else { "furthest over" };
    reasons.push(format!("the {} governs ({side})", governing.criterion.label()));
    let borne: Vec<&str> = assessment
        .rubbed
        .sites
        .iter()
        .zip(judge.model().sites())
        .filter(|(rub, _)| rub.partition == Partition::GrainBorne)
        .map(|(_, site)| site.name.as_str())
        .collect();
    if !borne.is_empty() {
        reasons.push(format!(
            "the rub is grain-borne at: {}; the grains carry all of it there, and more powder cushions rather than cuts",
            borne.join(", ")
        ));
    }
    reasons.push(BANDS_NOTE.to_owned());
    reasons
}

fn figure(held: &Held, assessment: &Assessment, judge: &Judge, site: &str) -> String {
    let margin = held.margin_pct();
    let room = if held.met() { format!("{margin:.0} % to spare") } else { format!("{:.0} % over", -margin) };
    let detail = match held.criterion {
        Criterion::GrooveRatio => {
            let sites = judge.model().sites();
            let i = sites.iter().position(|s| s.name == site).unwrap_or(0);
            format!(
                " at the {site} (95 % of the load lies on grooves under {} µm; horny layer {} µm)",
                significant(assessment.rubbed.sites[i].groove_p95_um, 3),
                significant(sites[i].stratum_corneum_um, 3)
            )
        }
        Criterion::Index => String::new(),
        Criterion::D99 => " of the blend by volume".to_owned(),
        Criterion::NotOnFace => String::new(),
    };
    let value = number(held.criterion, held.value);
    format!("{}{detail}: {value}, limit {} ({room})", held.criterion.label(), limit(held))
}

/// "the groove ratio at the face passes 0.25".
pub(super) fn passes(held: &Held, site: &str) -> String {
    let at = if held.criterion == Criterion::GrooveRatio { format!(" at the {site}") } else { String::new() };
    format!("the {}{at} passes {}", held.criterion.label(), limit(held))
}

fn number(criterion: Criterion, value: f64) -> String {
    significant(value, 3) + unit(criterion)
}

fn limit(held: &Held) -> String {
    format!("{}{}", held.limit, unit(held.criterion))
}

fn unit(criterion: Criterion) -> &'static str {
    match criterion {
        Criterion::D99 => " µm",
        Criterion::NotOnFace => " %",
        Criterion::GrooveRatio | Criterion::Index => "",
    }
}

#[cfg(test)]
mod tests {
    use super::bound;

    #[test]
    fn bounds_round_to_the_safe_side() {
        assert_eq!(bound(0.6789, true), "0.678");
        assert_eq!(bound(0.6781, false), "0.679");
        assert_eq!(bound(12.0, true), "12.0");
        assert_eq!(bound(12.0, false), "12.0");
    }
}
