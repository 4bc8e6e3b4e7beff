//! `preservative` and `cool-down`.

use super::jar::{Jar, jar, oil};
use super::{State, Turn, state, turn};
use crate::common::tables;
use gritwise::formula::CheckVerdict::{self, Caution, NotJudged, Pass, Stop};
use gritwise::tables::Preservative;

/// A blend that guards against everything, from pH 3 to 12.
const WIDE: &str = "Phenoxyethanol + Ethylhexylglycerin";
/// Another, from pH 2 to 7.
const SOUR: &str = "Benzyl Alcohol + Dehydroacetic Acid";
const KEEPS: &str = "functions = [\"preservative\"]";

pub fn turns() -> Vec<Turn> {
    let single = tables().formula.preservatives.iter().filter(|row| !row.inci.contains(" + "));
    let of_rows =
        single.flat_map(|row| of_ph(row).into_iter().chain(of_law(row)).chain(of_dose(row)).chain(of_heat(row)));
    of_rows.chain(alone()).chain(of_water()).chain(of_spoiling()).collect()
}

/// A row's least usual dose: enough, and within the law.
fn dose(row: &Preservative) -> f64 {
    row.usual_low.unwrap()
}

/// So much of a preservative in what is rinsed off.
fn kept(inci: &str, pct: f64) -> Jar {
    jar().usage("rinse_off = true").with(inci, pct, KEEPS)
}

/// The same with a blend beside it that guards against whatever it does not.
fn guarded(row: &'static Preservative, pct: f64, ph: f64) -> Jar {
    kept(&row.inci, pct).with(WIDE, 0.5, KEEPS).base(format!("ph = {ph:?}"))
}

/// From where to where it works, and works well: the preservatives table, whose rows name their sources.
fn of_ph(row: &'static Preservative) -> Vec<Turn> {
    let made = move |ph| guarded(row, dose(row), ph);
    let end = |what: &str, ph: f64, verdicts: [CheckVerdict; 2]| {
        turn("preservative", format!("{}: {what}", row.key), ph, verdicts, made).within(1e-4).told(ph)
    };
    let mut turns = Vec::new();
    if row.ph_best < row.ph_high {
        turns.push(end("pH to which it works well", row.ph_best, [Pass, Caution]).at(Pass));
    } else {
        // Beside the other blend, which works to pH 12.
        let beyond = if row.ph_high < 12.0 { Caution } else { Stop };
        turns.push(end("highest pH", row.ph_high, [Pass, beyond]).at(Pass));
    }
    // Beside the other blend, which works from pH 2; of one that strong acid throws out, the blend would be a caution.
    if row.acid_sensitive == 0 {
        let made = move |ph: f64| kept(&row.inci, dose(row)).with(SOUR, 0.2, KEEPS).base(format!("ph = {ph:?}"));
        let beyond = if row.ph_low > 2.0 { Caution } else { Stop };
        let low = turn("preservative", format!("{}: lowest pH", row.key), row.ph_low, [beyond, Pass], made).at(Pass);
        turns.push(low.within(1e-4));
    }
    turns
}

/// Beyond the pH to which it works, it is no more than idle beside one that works there; without one it is a stop.
#[test]
fn what_works_no_more_is_a_caution_beside_one_that_does_and_a_stop_alone() {
    let rows = || {
        tables()
            .formula
            .preservatives
            .iter()
            .filter(|row| row.names.len() == 1 && row.ph_high < 7.0 && row.pka.is_some())
    };
    assert!(rows().count() > 4);
    for row in rows() {
        for (ph, beside, verdict) in [
            (row.ph_high - 1e-4, true, None),
            (row.ph_high + 1e-4, true, Some(Caution)),
            (row.ph_high + 1e-4, false, Some(Stop)),
        ] {
            let jar = if beside {
                guarded(row, dose(row), ph)
            } else {
                kept(&row.inci, dose(row)).base(format!("ph = {ph:?}"))
            };
            let check = jar.check("preservative");
            assert_eq!(check.why.contains(&format!("to {} only", row.ph_high)), verdict.is_some(), "{check:#?}");
            if let Some(verdict) = verdict {
                assert_eq!(check.verdict, verdict, "{check:#?}");
            }
        }
    }
}

/// What EU Annex V allows of it, as acid, where the table has it.
fn of_law(row: &'static Preservative) -> Vec<Turn> {
    let ph = 0.5 * (row.ph_low.max(3.0) + row.ph_best);
    // The blend brings the same substance; benzoate reaches yeast and mould as well.
    let beside = if row.key == "phenoxyethanol" { "Sodium Benzoate" } else { WIDE };
    let ph = if row.key == "phenoxyethanol" { 4.2 } else { ph };
    let made = move |rinse_off: &'static str| {
        move |pct: f64| {
            let jar = jar().usage(rinse_off).with(&row.inci, pct / row.acid_share, KEEPS);
            jar.with(beside, 0.5, KEEPS).base(format!("ph = {ph:?}"))
        }
    };
    let of = |what: &str, limit: Option<f64>, rinse_off| {
        let limit = limit.filter(|l| *l > 0.0)?;
        let what = format!("{}: EU Annex {}, {what}", row.key, row.entry);
        Some(turn("preservative", what, limit, [Pass, Stop], made(rinse_off)).told(limit))
    };
    let all = [
        of("rinsed off", row.max_rinse_pct, "rinse_off = true"),
        of("left on", row.max_leave_pct, "rinse_off = false"),
        // Without a word it counts as left on.
        of("unsaid", row.max_leave_pct, ""),
    ];
    all.into_iter().flatten().collect()
}

/// The least of it that is usual, and the most where the law says nothing.
fn of_dose(row: &'static Preservative) -> Vec<Turn> {
    let ph = (0.5 * (row.ph_low.max(3.0) + row.ph_best)).min(5.5);
    // What the wide blend brings of phenoxyethanol would be too much beside it.
    let (beside, its) = if row.key == "phenoxyethanol" { (SOUR, 0.2) } else { (WIDE, 0.5) };
    let made = move |pct| kept(&row.inci, pct).with(beside, its, KEEPS).base(format!("ph = {ph:?}"));
    let low = turn("preservative", format!("{}: least dose", row.key), dose(row), [Caution, Pass], made);
    let most = row.usual_high.filter(|_| row.entry.is_empty());
    let high = most.map(|most| {
        turn("preservative", format!("{}: most", row.key), most, [Pass, Caution], made).at(Pass).told(most)
    });
    std::iter::once(low.at(Pass).told(dose(row))).chain(high).collect()
}

/// One that guards against everything, alone: too little guards hardly, a trace (convention) not at all.
fn alone() -> [Turn; 2] {
    let rows = &tables().formula.preservatives;
    let low = dose(rows.iter().find(|row| row.inci == WIDE).unwrap());
    let tenth = tables().formula.constants.usual_tenth.value;
    let made = |pct: f64| kept(WIDE, pct).base("ph = 5");
    [
        turn("preservative", "a trace alone", tenth * low, [Stop, Caution], made),
        turn("preservative", "too little alone", low, [Caution, Pass], made).at(Pass).told(low),
    ]
}

/// ISO 29621:2017: no preservative is needed up to this water activity.
fn of_water() -> [Turn; 1] {
    let limit = tables().formula.constants.water_activity.value;
    [turn("preservative", "water activity", limit, [Pass, Stop], |aw| jar().base(format!("water_activity = {aw:?}")))
        .at(Pass)]
}

/// Below which temperature it goes in; handbooks and supplier practice, recalled.
fn of_heat(row: &'static Preservative) -> [Turn; 1] {
    let made = |celsius| kept(&row.inci, dose(row)).at_celsius(celsius);
    let below = row.add_below_c;
    [turn("cool-down", format!("{} in the heat", row.key), below, [Pass, Caution], made).at(Pass).told(below)]
}

/// What else the heat spoils: scent at 40 °C, wax a margin below where it softens (common practice, no source), and altogether where
/// it does (softening points of the materials table).
fn of_spoiling() -> Vec<Turn> {
    let constants = &tables().formula.constants;
    let (cool, margin) = (constants.cool_down_c.value, constants.wax_margin_c.value);
    let spoils = |what: &'static str, inci: &'static str, function: &'static str| {
        let made = move |c| jar().at_celsius(c).with(inci, 0.5, &format!("functions = [{function}]"));
        turn("cool-down", what, cool, [Pass, Caution], made).at(Pass).told(cool)
    };
    let wax = tables().materials.iter().filter_map(|m| Some((m.key.clone(), m.wax_softens_c()?)));
    let of_wax = wax.flat_map(move |(key, softens)| {
        let powder = format!("material = \"{key}\"");
        let made = move |celsius| jar().powder(powder.clone()).at_celsius(celsius);
        let warm = turn("cool-down", format!("{key}, warm"), softens - margin, [Pass, Caution], made.clone());
        let soft = turn("cool-down", format!("{key}, soft"), softens, [Caution, Stop], made);
        [warm.at(Pass).told(softens - margin), soft.at(Stop).told(softens - margin)]
    });
    let others = [
        spoils("scent by its function", "Osier Blossom Water", "\"fragrance\""),
        spoils("scent by its name", "Parfum", ""),
        spoils("what the heat spoils", "Osier Bark Extract", "\"heat-sensitive\""),
    ];
    others.into_iter().chain(of_wax).collect()
}

pub fn states() -> Vec<State> {
    let at = |inci: &str, pct: f64| kept(inci, pct).base("ph = 4.4");
    vec![
        state("preservative", Caution, "no water in the jar", oil()),
        state("preservative", Stop, "no ingredient with the function preservative", jar()),
        // Reach: sorbate none against bacteria, benzoate a little; preservative tables and handbooks, recalled.
        state("preservative", Stop, "nothing here guards against bacteria", at("Potassium Sorbate", 0.3)),
        state("preservative", Caution, "guards hardly against bacteria", at("Sodium Benzoate", 0.5)),
        state("preservative", NotJudged, "not in the preservatives table", at("Osier Bark Water", 1.0)),
        state("preservative", NotJudged, "the pH is not known", kept(WIDE, 1.0)),
        state("preservative", Stop, "in any split", at("Sodium Benzoate + Potassium Sorbate", 9.0)),
        state(
            "preservative",
            Caution,
            "strong acid throws it out",
            at("Sodium Benzoate", 0.5).with("Lactic Acid", 0.2, "functions = [\"acid\"]"),
        ),
        state("cool-down", Pass, "nothing in the formula has to go in cool", jar()),
        state("cool-down", NotJudged, "give temperature_c", jar().with("Parfum", 0.2, "")),
    ]
}
