//! Sentences about bands, in a maker's words.

use super::blend::{BandPart, IndexPart};
use super::layout::{joined, listed};
use crate::band::{Assessment, BEYOND, Change, Direction, Held, Judge, Lever, Like, Quantity, Side};
use crate::blend::Scrub;
use crate::confidence::SURE;
use crate::numerics::written::{three, trimmed, two};
use crate::rub::Partition;
use crate::size::SizeForm;
use crate::tables::{Criterion, Tables};

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

/// Whether a powder of the scrub has a top that is assumed, and there is a harsher band that a higher one could bring.
pub(super) fn is_at_least(scrub: &Scrub, rank: usize, judge: &Judge, tables: &Tables) -> bool {
    rank < judge.bands().len() && !scrub.blend.open_topped(tables.draws.open_top_share()).is_empty()
}

/// Powders whose spread is assumed, as one figure of their sizes is all that is known.
pub(super) fn spread_assumed(scrub: &Scrub) -> Vec<String> {
    let powders = scrub.blend.components().iter().map(|c| &c.powder);
    let assumed = powders.filter(|p| matches!(p.size.form, SizeForm::OneFigure(_)));
    assumed.map(|p| p.name.clone()).collect()
}

/// What that means for the verdict.
pub(super) fn spread_line(powders: &[String]) -> Option<String> {
    let names: Vec<&str> = powders.iter().map(String::as_str).collect();
    (!names.is_empty()).then(|| {
        format!(
            "Spread assumed: one figure is all that is known of the sizes of {}; a sieve test would tell",
            listed(&names)
        )
    })
}

/// A band as it is said: "at least" where it hangs on an assumed top size.
pub(super) fn band_said(name: &str, at_least: bool) -> String {
    if at_least { format!("at least {name}") } else { name.to_owned() }
}

/// What "at least" means, where a command tells many bands of one scrub.
pub(super) fn open_top_note(scrub: &Scrub, tables: &Tables) -> Option<String> {
    let open = scrub.blend.open_topped(tables.draws.open_top_share());
    (!open.is_empty()).then(|| {
        format!(
            "Every band here is \"at least\" that one: nothing says where the coarse grains of {} end, as over {} % lies above the \
             coarsest sieve or only a lower bound is known; how far up they reach is assumed (max_um beside sieve, or an upper bound, \
             says where they end)",
            open.join(", "),
            two(100.0 * tables.draws.open_top_share())
        )
    })
}

/// The band and how sure it is, and what to label the scrub where the stated band is not sure.
pub(super) fn band_line(band: &BandPart) -> String {
    let stated = format!("Band: {}", band.said());
    let (Some(sure), Some(draws), Some(nine)) = (band.sure_pct, band.draws, band.nine_in_ten.as_deref()) else {
        return format!("{stated}, as the values are stated (how sure was not drawn)");
    };
    if band.name == BEYOND {
        return stated;
    }
    format!("Band: {}", how_sure_of(&format!("{} ({draws} drawn)", shares(&band.said(), sure)), sure, nine))
}

/// A band and how many draws bear it out, and what to label the scrub where it is not sure: "face; 93 of 100 draws ...".
pub(super) fn how_sure(band: &str, sure: f64, nine_in_ten: &str) -> String {
    how_sure_of(&shares(band, sure), sure, nine_in_ten)
}

fn shares(band: &str, sure: f64) -> String {
    format!("{band}; {sure:.0} of 100 draws fall into it or a milder one")
}

fn how_sure_of(shares: &str, sure: f64, nine_in_ten: &str) -> String {
    match nine_in_ten {
        _ if sure >= 100.0 * SURE => shares.to_owned(),
        BEYOND => format!("{shares}. No band is met by nine in ten: measure, or make it milder"),
        label => format!("{shares}. Label it {label}: that is met by nine in ten"),
    }
}

/// An index with the range of its draws: "82.3 (46.9 to 149 in nine of ten draws)".
pub(super) fn index_with_range(value: f64, range: Option<(f64, f64)>) -> String {
    let Some((low, high)) = range else { return three(value) };
    format!("{} ({} to {} in nine of ten draws)", three(value), three(low), three(high))
}

/// The index with the range of its draws, and what it is.
pub(super) fn index_line(index: &IndexPart) -> String {
    format!("Abrasiveness index {}: {}", index_with_range(index.value, index.p5.zip(index.p95)), index.note)
}

/// What the index is like.
pub(super) fn like_line(like: &[Like]) -> Option<String> {
    let word = |side| if side == Side::Milder { "rougher than" } else { "milder than" };
    let said = like.iter().map(|l| format!("{} {} ({})", word(l.is), l.scrub, three(l.index)));
    (!like.is_empty()).then(|| format!("Among what the trade sells: {}", joined(said, ", ")))
}

/// "would make it a face scrub".
fn would(band: &str) -> String {
    match band {
        BEYOND => format!("would put it {BEYOND}"),
        many if many.contains(" and ") => format!("would make it a scrub for {many}"),
        one => format!("would make it a {one} scrub"),
    }
}

/// A lever as a sentence. `owned` says whether the sieve is the maker's own.
pub(super) fn lever(lever: &Lever, scrub: &Scrub, judge: &Judge, owned: bool) -> String {
    match lever {
        Lever::Change(of) => change(of, scrub, judge),
        Lever::Sieving(s) => {
            let (name, whose) = (&scrub.blend.components()[s.powder].powder.name, if owned { "your" } else { "a" });
            let (off, opening, now) = (two(100.0 * s.off), trimmed(s.through_um, 4), three(s.d99_um));
            let would = would(judge.band_name(s.rank));
            format!(
                "sieving {name} through {whose} {opening} µm sieve, {off} % of it stays on (D99 now {now} µm), {would}"
            )
        }
    }
}

/// A change as a sentence. The bound is rounded to the safe side, so that following the sentence reaches the band.
fn change(change: &Change, scrub: &Scrub, judge: &Judge) -> String {
    let less = change.to < change.from;
    let (word, below) = if less { ("less than", "below") } else { ("more than", "above") };
    let (to, from) = (bound(change.to, less), three(change.from));
    let name = |i: usize| &scrub.blend.components()[i].powder.name;
    let what = match change.quantity {
        Quantity::Parts(i) => format!("{word} {to} parts of {} (now {from})", name(i)),
        Quantity::Load => format!("a powder load {below} {to} % (now {from} %)"),
        Quantity::Median(i) => {
            let cut = if less { "finer" } else { "coarser" };
            format!("a {cut} cut of {}, D50 {below} {to} µm (now {from} µm),", name(i))
        }
    };
    format!("{what} {}", would(judge.band_name(change.rank)))
}

/// Why no lever was found.
pub(super) fn no_lever(direction: Direction, scrub: &Scrub, assessment: &Assessment, judge: &Judge) -> String {
    let kept_off = assessment.figures.not_on_face_pct;
    let milder = assessment.verdict.rank.checked_sub(1).and_then(|rank| judge.bands().get(rank));
    let barred = milder.filter(|b| direction == Direction::Milder && kept_off > b.limit(Criterion::NotOnFace));
    if let Some(band) = barred {
        let names = scrub.blend.components().iter().filter(|c| c.powder.not_on_face().is_some());
        let names = joined(names.map(|c| c.powder.name.clone()), ", ");
        let (kept_off, allowed) = (three(kept_off), two(band.limit(Criterion::NotOnFace)));
        let name = &band.name;
        return format!(
            "none while {kept_off} % of the powders are not used on the face ({names}): {name} allows {allowed} %"
        );
    }
    let none = if assessment.rubbed.sites.iter().any(|s| s.partition == Partition::GrainBorne) {
        "none that could be told: the grains carry the whole rub, where more powder cushions and a step either way may cut"
    } else {
        "no lever within reach does it alone (parts up to four times, half to twice the D50, a sieve, a load up to 20 %, 60 % of salt or sugar)"
    };
    none.to_owned()
}

/// Three significant digits, rounded down for an upper bound and up for a lower one.
fn bound(value: f64, down: bool) -> String {
    let scale = 10f64.powi(2 - value.abs().log10().floor() as i32);
    let scaled = value * scale;
    let rounded = if down { (scaled + 1e-9).floor() } else { (scaled - 1e-9).ceil() };
    three(rounded / scale)
}

/// Why the scrub has its band: every figure against its limit, what keeps it from the milder band, and what was assumed.
pub(super) fn reasons(scrub: &Scrub, assessment: &Assessment, judge: &Judge) -> Vec<String> {
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
        let gap = three(rub.gap_um);
        reasons.push(format!("no grain is wider than the gap of {gap} µm at the {}: nothing rubs there", judged.site));
    }
    let worked = |h: &&Held| rub.groove_p95_um > 0.0 || h.criterion == Criterion::D99;
    reasons.extend(verdict.held.iter().filter(worked).map(|h| figure(h, assessment, judge, &judged.site)));
    if let Some(milder) = verdict.rank.checked_sub(1).filter(|_| verdict.rank < bands.len()) {
        let held = judge.held(milder, &assessment.figures);
        let over = |h: &Held| format!("{} {} is over {}", h.criterion.label(), number(h.criterion, h.value), limit(h));
        let missed = joined(held.iter().filter(|h| !h.met()).map(over), ", ");
        reasons.push(format!("not {}: {missed}", bands[milder].name));
    }
    reasons.extend(kept_off_the_face(scrub, assessment, judge));
    let governing = verdict.governing();
    let side = if governing.met() { "least margin" } else { "furthest over" };
    reasons.push(format!("the {} governs ({side})", governing.criterion.label()));
    let sites = assessment.rubbed.sites.iter().zip(judge.model().sites());
    let borne = sites.filter(|(rub, _)| rub.partition == Partition::GrainBorne);
    let borne: Vec<&str> = borne.map(|(_, site)| site.name.as_str()).collect();
    if !borne.is_empty() {
        reasons.push(format!(
            "the rub is grain-borne at: {}; the grains carry all of it there, and more powder cushions rather than cuts",
            borne.join(", ")
        ));
    }
    reasons.push(BANDS_NOTE.to_owned());
    reasons
}

/// Which powders the trade keeps off the face, why, and the mildest band that is left for them.
fn kept_off_the_face(scrub: &Scrub, assessment: &Assessment, judge: &Judge) -> Option<String> {
    let pct = assessment.figures.not_on_face_pct;
    let allowed = judge.bands().iter().find(|band| pct <= band.limit(Criterion::NotOnFace))?;
    if judge.bands().first().is_some_and(|mildest| mildest.name == allowed.name) {
        return None;
    }
    let why =
        scrub.blend.components().iter().filter_map(|c| Some(format!("{}: {}", c.powder.name, c.powder.not_on_face()?)));
    let (name, pct, why) = (&allowed.name, three(pct), joined(why, "; "));
    Some(format!(
        "at mildest {name}, whatever its figures: {pct} % of the powders are not used on the face ({why}; convention)"
    ))
}

fn figure(held: &Held, assessment: &Assessment, judge: &Judge, site: &str) -> String {
    let margin = held.margin_pct();
    let room = if held.met() { format!("{margin:.0} % to spare") } else { format!("{:.0} % over", -margin) };
    let detail = match held.criterion {
        Criterion::GrooveRatio => {
            let sites = judge.model().sites();
            let i = sites.iter().position(|s| s.name == site).unwrap_or(0);
            let [groove, layer] = [assessment.rubbed.sites[i].groove_p95_um, sites[i].stratum_corneum_um].map(three);
            format!(" at the {site} (95 % of the load lies on grooves under {groove} µm; horny layer {layer} µm)")
        }
        Criterion::D99 => " of the blend by volume".to_owned(),
        Criterion::Index | Criterion::NotOnFace => String::new(),
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
    three(value) + unit(criterion)
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
