//! `silica-dust`, `allergens`, `microbes`, `microbeads`, `annexes`, `traces`.

use super::jar::{Jar, jar};
use super::{State, Turn, state, turn};
use crate::common::tables;
use gritwise::formula::CheckVerdict::{Caution, NotJudged, Pass, Stop};
use gritwise::tables::{AnnexEntry, ListKind};

/// A powder of which no more is known than its numbers.
pub const UNKNOWN: &str = "density_g_cm3 = 1.4\nhardness_gpa = 0.1\nroundness = 0.4";

pub fn turns() -> Vec<Turn> {
    let lists = tables().substances.annexes.iter().flat_map(of_list);
    lists.chain(of_allergens()).chain(of_microbes()).collect()
}

/// Pumice whose maker looked it up, sold in the EU.
fn looked_up() -> Jar {
    jar().of_powder("lists_checked = 2026-11-20").usage("regions = [\"EU\"]")
}

/// Most of a restricted substance, rinsed off and left on, and the pH that one stays below: `annexes.csv`, whose rows name the entry.
fn of_list(entry: &'static AnnexEntry) -> Vec<Turn> {
    if entry.list != ListKind::Restricted || entry.region != "EU" {
        return Vec::new();
    }
    let day = entry.from.map_or(String::new(), |day| format!("\non_market = \"{day}\""));
    let of = |limit: Option<f64>, rinse_off: bool| {
        let limit = limit.filter(|l| *l > 0.0)?;
        let usage = format!("rinse_off = {rinse_off}{day}");
        let what = format!("{}, {}, rinsed off: {rinse_off}", entry.word, entry.reference);
        let made = move |pct| looked_up().usage(&usage).with(&entry.word, pct, "");
        // An ester reaches the limit where what is counted of it does.
        let at = limit / entry.counts_as.unwrap_or(1.0);
        Some(turn("annexes", what, at, [Pass, Stop], made).at(Pass).told(limit))
    };
    let ph = entry.max_ph.map(|ph| {
        let made = |ph: f64| looked_up().base(format!("ph = {ph:?}")).with(&entry.word, 0.1, "");
        turn("annexes", format!("{}, pH", entry.word), ph, [Pass, Stop], made).at(Stop).told(ph)
    });
    of(entry.max_rinse_pct, true).into_iter().chain(of(entry.max_leave_pct, false)).chain(ph).collect()
}

/// From how much a fragrance allergen is named: Regulation (EC) 1223/2009 Annex III, 0.01 % rinsed off and 0.001 % left on.
fn of_allergens() -> Vec<Turn> {
    let row = tables().formula.allergens.iter().find(|a| a.word == "Linalool").unwrap();
    let of = |rinse_off: bool, limit: f64| {
        let made = move |pct| jar().usage(format!("rinse_off = {rinse_off}")).with("Linalool", pct, "");
        let what = format!("linalool, rinsed off: {rinse_off}");
        turn("allergens", what, limit, [Pass, Caution], made).at(Pass).told(limit)
    };
    // Two ingredients bring it.
    let both = move |pct: f64| {
        let parfum = "allergens = [{ inci = \"Linalool\", pct = 50 }]";
        jar().usage("rinse_off = true").with("Linalool", 0.5 * pct, "").with("Parfum", pct, parfum)
    };
    let sum =
        turn("allergens", "linalool of two ingredients", row.rinse_pct, [Pass, Caution], both).told(row.rinse_pct);
    vec![of(true, row.rinse_pct), of(false, row.leave_pct), sum]
}

/// ISO 17516:2014, 1000 CFU/g; ISO 29621:2017, water activity 0.75.
fn of_microbes() -> [Turn; 2] {
    let constants = &tables().formula.constants;
    let (most, low) = (constants.cfu_per_g.value, constants.water_activity.value);
    [
        // 5 % of the powder are in the scrub.
        turn("microbes", "count of a lot", most / 0.05, [Pass, Stop], |cfu| {
            jar().powder("material = \"rice-bran\"").of_powder(format!("cfu_per_g = {cfu:?}"))
        })
        .at(Pass)
        .told(most),
        turn("microbes", "water activity", low, [Pass, Caution], |aw| jar().base(format!("water_activity = {aw:?}")))
            .at(Pass)
            .told(low),
    ]
}

pub fn states() -> Vec<State> {
    let of = |material: &str| jar().powder(format!("material = \"{material}\""));
    let on = |inci: &'static str, pct: f64, day: &str| {
        looked_up().usage(format!("rinse_off = true\non_market = \"{day}\"")).with(inci, pct, "")
    };
    let late = tables().formula.allergens.iter().find(|a| a.from.is_some()).unwrap();
    let due = late.from.unwrap().to_string();
    vec![
        // Supplier sheets and mineral handbooks: which powders hold crystalline silica; 29 CFR 1910.1053.
        state("silica-dust", Caution, "whose dust scars lungs", of("silica-sand")),
        state("silica-dust", Caution, "under extraction", of("volcanic-ash")),
        state("silica-dust", Caution, "a little crystalline silica", of("pumice")),
        state("silica-dust", Caution, "a fine dust", of("kaolin")),
        state("silica-dust", Pass, "no powder is known", of("jojoba-wax")),
        state("silica-dust", NotJudged, "is not known", jar().powder(UNKNOWN)),
        state("allergens", Pass, "none of the", jar()),
        state("allergens", Caution, "nut shell", of("walnut-shell")),
        state("allergens", Caution, "residual protein", of("olive-stone")),
        state("allergens", Caution, "cereal", of("oat")),
        state("allergens", NotJudged, "protein", jar().powder(UNKNOWN)),
        state("allergens", NotJudged, "ask for its allergens", jar().with("Parfum", 0.2, "")),
        state("allergens", Stop, "prohibited", jar().with("Butylphenyl Methylpropional", 0.01, "")),
        state("allergens", Pass, "from 2026", on(&late.word, 1.0, "2026-01-01")),
        state("allergens", Caution, "name it", on(&late.word, 1.0, &due)),
        state("microbes", Pass, "no plant grains", jar()),
        state("microbes", NotJudged, "give cfu_per_g", of("rice-bran")),
        state("microbes", NotJudged, "give cfu_per_g", jar().powder(UNKNOWN)),
        state("microbes", NotJudged, "give cfu_per_g", jar().with("Kaolin", 1.0, "")),
        state("microbeads", Pass, "is known as plastic", jar()),
        state("microbeads", Caution, "if it is in solid grains", jar().with("Acrylates Copolymer", 1.0, "")),
        state("microbeads", Stop, "prohibited", jar().with("Polyethylene", 1.0, "")),
        state("microbeads", NotJudged, "lists no ingredients", jar().without_phases()),
        state("annexes", Pass, "held against the lists by the maker", looked_up()),
        state("annexes", NotJudged, "look each up", jar().usage("regions = [\"EU\"]")),
        state("annexes", Caution, "denaturant", looked_up().with("Methanol", 1.0, "")),
        state("annexes", Stop, "prohibited", looked_up().with("Phenol", 0.1, "")),
        state("annexes", NotJudged, "give the pH", looked_up().with("Sodium Hydroxide", 0.1, "")),
        // Regulation (EU) 2024/996, from November 2025.
        state("annexes", NotJudged, "look each up", on("Retinol", 1.0, "2025-10-31")),
        state("annexes", Stop, "at most 0.3 %", on("Retinol", 1.0, "2025-11-01")),
        state("traces", NotJudged, "ask for lead", jar()),
        state("traces", NotJudged, "is a mineral is not known", jar().powder(UNKNOWN)),
        state("traces", Pass, "were measured", jar().of_powder("traces_tested = true")),
        state("traces", Pass, "no mineral grains", of("rice-bran")),
    ]
}
