//! `acid-active`, `acid-free`, `ph-window`, `double-exfoliation`.

use super::jar::{Jar, jar};
use super::{State, Turn, state, turn};
use crate::common::tables;
use gritwise::formula::CheckVerdict::{Caution, NotJudged, Pass, Stop};
use gritwise::tables::{Acid, AcidLimit, AcidUse, Beyond};

pub fn turns() -> Vec<Turn> {
    let limits = tables().formula.acid_limits.iter().flat_map(of_limit);
    limits.chain(of_balance()).chain(of_window()).chain(of_exfoliants()).collect()
}

fn acid(key: &str) -> &'static Acid {
    tables().formula.acids.iter().find(|a| a.key == key).unwrap()
}

/// Acid of a key, with its plan.
fn sour(key: &str, pct: f64, plan: &str) -> Jar {
    jar().acid(format!("key = \"{key}\"\n{plan}")).with(&acid(key).inci, pct, "functions = [\"acid\"]")
}

/// The limits of every region as `acid-limits.csv` has them, on the amount and on the pH; each row names its instrument.
fn of_limit(row: &'static AcidLimit) -> Vec<Turn> {
    let is_about = |a: &&Acid| row.keys.contains(&a.key) || row.kinds.contains(&a.kind);
    let key = tables().formula.acids.iter().find(is_about).unwrap().key.clone();
    let day = row.from.or(row.until).map_or(String::new(), |day| format!("\non_market = \"{day}\""));
    let salon = row.r#use == AcidUse::Salon;
    let usage = format!("regions = [\"{}\"]\nsalon = {salon}{day}", row.region);
    let beyond = match row.beyond {
        Beyond::Stop => Stop,
        Beyond::Caution => Caution,
    };
    let what = format!("{}, {}, {key}", row.region, row.instrument);
    let (of_pct, by) = (usage.clone(), key.clone());
    let most = turn("acid-active", what.clone(), row.max_pct, [Pass, beyond], move |pct| {
        sour(&by, pct, "final_ph = 4").usage(&of_pct)
    });
    let least = row.min_ph.map(|ph| {
        let pct = 0.5 * row.max_pct;
        turn("ph-window", what, ph, [beyond, Pass], move |ph| {
            sour(&key, pct, &format!("final_ph = {ph:?}")).usage(&usage)
        })
        .at(Pass)
        .told(ph)
    });
    std::iter::once(most.told(row.max_pct)).chain(least).collect()
}

/// Mol of lactic acid in a kilogram of water where a scrub of 100 % less 5 % of powder holds so much of it, and of `base` beside it.
fn molality(pct: f64, base_pct: f64) -> (f64, f64) {
    let water_kg = (95.0 - pct - base_pct) / 100.0;
    (pct / 100.0 / acid("lactic").mw * 1000.0 / water_kg, base_pct / 100.0 / 39.997 * 1000.0 / water_kg)
}

/// pH of lactic acid with sodium hydroxide: its charges balance, sodium + H = lactate + OH (textbooks of analytical chemistry).
fn ph_of(acid_m: f64, sodium_m: f64) -> f64 {
    let k = 10.0_f64.powf(-acid("lactic").pka1);
    let (mut low, mut high) = (0.0, 14.0);
    for _ in 0..200 {
        let middle: f64 = 0.5 * (low + high);
        let h = 10.0_f64.powf(-middle);
        let positive = sodium_m + h - acid_m * k / (k + h) - 1e-14 / h;
        if positive > 0.0 { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

/// Buffer capacity, mol per kg of water and pH (Van Slyke 1922).
fn capacity(acid_m: f64, ph: f64) -> f64 {
    let (k, h) = (10.0_f64.powf(-acid("lactic").pka1), 10.0_f64.powf(-ph));
    std::f64::consts::LN_10 * (acid_m * k * h / (k + h).powi(2) + h + 1e-14 / h)
}

/// 2 % of lactic acid, half of it neutralised, said to be of a pH.
fn half_neutralised(pct: f64, ph: f64) -> Jar {
    let base = half_of(pct);
    sour("lactic", pct, &format!("final_ph = {ph:?}")).with("Sodium Hydroxide", base, "")
}

fn half_of(pct: f64) -> f64 {
    0.5 * pct / acid("lactic").mw * 39.997
}

fn half_neutralised_ph(pct: f64) -> f64 {
    let (acid_m, sodium_m) = molality(pct, half_of(pct));
    ph_of(acid_m, sodium_m)
}

/// How far the pH stated may be off the one reckoned, and what buffers too little: conventions.
fn of_balance() -> Vec<Turn> {
    let constants = &tables().formula.constants;
    let (agreement, far) = (constants.ph_agreement.value, constants.ph_far.value);
    let reckoned = half_neutralised_ph(2.0);
    let bare = ph_of(molality(2.0, 0.0).0, 0.0);
    let off = |what: &str, limit: f64, verdicts| {
        turn("acid-free", what, limit, verdicts, |ph| half_neutralised(2.0, ph)).within(1e-3)
    };
    let weak = constants.weak_buffer_mmol.value / 1000.0;
    // The check tells it of a kilogram of scrub.
    let water_kg = |pct: f64| (95.0 - pct - half_of(pct)) / 100.0;
    let strength = |pct: f64| water_kg(pct) * capacity(molality(pct, half_of(pct)).0, half_neutralised_ph(pct));
    let (mut low, mut high) = (1e-3, 1.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if strength(middle) < weak { low = middle } else { high = middle }
    }
    vec![
        off("pH above what comes of the ingredients", reckoned + agreement, [Pass, Caution]),
        off("far above it", reckoned + agreement + far, [Caution, Stop]),
        turn("acid-free", "sourer than the acid alone", bare - agreement, [Stop, Pass], |ph| {
            sour("lactic", 2.0, &format!("final_ph = {ph:?}"))
        }),
        turn("acid-free", "a weak buffer", low, [Caution, Pass], |pct| half_neutralised(pct, half_neutralised_ph(pct)))
            .within(5e-3),
    ]
}

/// A window is the file's own.
fn of_window() -> [Turn; 2] {
    let made =
        |ph: f64| sour("lactic", 2.0, &format!("final_ph = {ph:?}\nwindow = [4.5, 5.0]")).usage("regions = [\"US\"]");
    [
        turn("ph-window", "window, low end", 4.5, [Stop, Pass], made).at(Pass).told(4.5),
        turn("ph-window", "window, high end", 5.0, [Pass, Stop], made).at(Pass).told(5.0),
    ]
}

/// Acid from which it exfoliates (convention), and others from the table of actives.
fn of_exfoliants() -> Vec<Turn> {
    let least = tables().formula.constants.aha_pct.value;
    let acid = turn("double-exfoliation", "acid beside grains", least, [Pass, Caution], |pct| {
        sour("lactic", pct, "final_ph = 4")
    });
    let urea = tables().substances.actives.iter().find(|a| a.word == "Urea").unwrap();
    let urea = turn("double-exfoliation", "urea beside grains", urea.from_pct, [Pass, Caution], |pct| {
        jar().with("Urea", pct, "")
    });
    let named = turn("acid-active", "an acid that no plan names", least, [Pass, NotJudged], |pct| {
        jar().with("Lactic Acid", pct, "")
    });
    // A salt of an acid by a base that no table holds: a pinch is reckoned without, more is open.
    let salt = turn("acid-active", "a salt of an unknown base", least, [Pass, NotJudged], |pct| {
        sour("lactic", 2.0, "final_ph = 4").with("Zinc Lactate", pct, "")
    });
    vec![acid, urea.at(Caution), named.at(NotJudged), salt.at(NotJudged)]
}

pub fn states() -> Vec<State> {
    let canada =
        |day: &str| sour("lactic", 12.0, "final_ph = 4").usage(format!("regions = [\"CA\"]\non_market = \"{day}\""));
    vec![
        state("acid-active", Pass, "no acid exfoliant", jar()),
        state("acid-free", Pass, "no acid exfoliant", jar()),
        state("ph-window", Pass, "no acid exfoliant", jar()),
        state("double-exfoliation", Pass, "no acid exfoliant", jar()),
        // Health Canada's Cosmetic Ingredient Hotlist: 10 % to April 2024, 18 % from May on.
        state("acid-active", Stop, "at most 10 %", canada("2024-04-30")),
        state("acid-active", Pass, "at most 18 %", canada("2024-05-01")),
        state(
            "acid-active",
            NotJudged,
            "hold no limit",
            sour("mandelic", 1.0, "final_ph = 4").usage("regions = [\"US\"]"),
        ),
        state("acid-active", NotJudged, "no ingredient is it", jar().acid("key = \"lactic\"\nfinal_ph = 4")),
        state(
            "acid-active",
            NotJudged,
            "no limits for acids of that market",
            sour("lactic", 2.0, "final_ph = 4").usage("regions = [\"EU\", \"Brazil\"]"),
        ),
        state("acid-free", NotJudged, "give final_ph", sour("lactic", 2.0, "")),
        state("ph-window", NotJudged, "give final_ph", sour("lactic", 2.0, "")),
        state("acid-free", Stop, "fizzing", sour("lactic", 2.0, "final_ph = 4").with("Calcium Carbonate", 1.0, "")),
        state("double-exfoliation", Caution, "a retinoid", jar().with("Retinol", 0.1, "")),
        state("double-exfoliation", NotJudged, "is an acid", jar().with("Lactic Acid", 2.0, "")),
    ]
}
