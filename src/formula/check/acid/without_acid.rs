//! The pH that a formula without an acid exfoliant states, against what it lists.

use super::super::{CheckVerdict, Finding, Setting, known, number};
use super::{CHARGES, comes_to};
use crate::formula::content::Unplanned;
use crate::tables::Status;

/// Nothing where nothing that is listed moves a pH.
pub(super) fn findings(s: &Setting) -> Vec<Finding> {
    if !s.has_phases() || s.free_of_water().is_some() || s.is_dry() {
        return Vec::new();
    }
    let Some(listed) = &s.unplanned else { return Vec::new() };
    let ph = s.formula.ph();
    if let Some((_, row)) = listed.carbonates.first() {
        let names: Vec<&str> = listed.carbonates.iter().map(|(name, _)| name.as_str()).collect();
        return vec![with_carbonate(s, &names.join(", "), (row.status, &row.source))];
    }
    let oxides = if ph.is_none_or(|ph| ph < s.constants().chalk_ph.value) { listed.oxides.as_slice() } else { &[] };
    let unknown = [&listed.unknown, oxides].concat();
    match (unknown.is_empty(), listed.movers.is_empty()) {
        (false, _) => vec![untold(&unknown)],
        (true, true) => Vec::new(),
        (true, false) => reckoned(s, listed),
    }
}

fn untold(names: &[String]) -> Finding {
    Finding::missing(format!(
        "{}: how many protons are given or taken no table says, so the pH does not follow from what is listed: go by the one you measure \
         when all is in, and hold the preservative against that",
        names.join(", ")
    ))
}

fn with_carbonate(s: &Setting, names: &str, source: (Status, &str)) -> Finding {
    let least = s.constants().chalk_ph.value;
    match s.formula.ph() {
        Some(ph) if ph < least => {
            let why = format!(
                "{names} and pH {ph} do not stay together: it takes the acid up, fizzing, until the water is alkaline and the preservative \
                 fails"
            );
            Finding::stop(why, source).of(ph, least).unit("pH")
        }
        _ => Finding::missing(format!(
            "the pH with {names} in it does not follow from what is listed: measure it after a day"
        )),
    }
}

/// Where fatty acids, acrylates or, in a soap, oils may take up all the base that is too much, or give the acid that is too little.
fn taken_up(s: &Setting, listed: &Unplanned, ph: f64, base_too_much: f64) -> Option<Finding> {
    let is_soap = ph >= s.constants().soap_ph.value;
    let (weak, fats) = (&listed.weak, &listed.fats);
    let most = weak.most_mol + if is_soap { fats.most_mol } else { 0.0 };
    if base_too_much > most || (base_too_much <= 0.0 && weak.names.is_empty()) {
        return None;
    }
    if is_soap && base_too_much > 0.0 {
        let takers: Vec<&str> = listed.takers().collect();
        return Some(Finding::missing(format!(
            "{} makes soap of {}, how far no table says, so the pH does not follow from what is listed: reckon the lye by the saponification \
             values of the oils, and measure the pH when the soap has ripened",
            listed.movers.join(", "),
            takers.join(", ")
        )));
    }
    Some(untold(&[&listed.movers[..], &weak.names].concat()))
}

/// By how much acid or base the stated pH needs beside what is listed: a little moves it far where nothing buffers it.
fn reckoned(s: &Setting, listed: &Unplanned) -> Vec<Finding> {
    let balance = &listed.balance;
    let movers = listed.movers.join(", ");
    let Some((ideal, salty)) = balance.ideal_ph().zip(balance.ph_in_salt(s.constants())) else {
        return vec![Finding::missing(
            "the charges of what is listed balance at no pH: look for a slip in the amounts",
        )];
    };
    let Some(ph) = s.formula.ph() else {
        let is_soap = salty.ph >= s.constants().soap_ph.value;
        let takers: Vec<&str> = listed.takers().filter(|_| is_soap).collect();
        let taken = match takers.as_slice() {
            [] => String::new(),
            all => format!(", less what these take up, of which no table says how much: {}", all.join(", ")),
        };
        let why = format!(
            "the pH is not stated: give ph in [base]; as listed, with {movers}, it comes to some {}{taken}",
            number(salty.ph)
        );
        return vec![Finding::missing(why)];
    };
    let (comes, off) = comes_to(s, [ideal, salty.ph], ph);
    let needs = [balance.base_for(ph), balance.base_in_salt(ph, s.constants())].map(|mol| 1000.0 * mol);
    let needs = if needs[0].abs() < needs[1].abs() { needs[0] } else { needs[1] };
    let (tell, slip) = (&s.constants().ph_needs_mmol, &s.constants().ph_slip_mmol);
    if off <= 0.0 || needs.abs() <= tell.value {
        let why = format!("as listed, with {movers}, {comes}; measure at 25 °C when all is in");
        return vec![Finding::pass(why, CHARGES)];
    }
    if let Some(open) = taken_up(s, listed, ph, -needs / 1000.0) {
        return vec![open];
    }
    let verdict = if needs.abs() > slip.value { CheckVerdict::Stop } else { CheckVerdict::Caution };
    let what = if needs > 0.0 { "base" } else { "acid" };
    let why = format!(
        "as listed, with {movers}, {comes}; pH {ph} needs {} mmol of {what} in a kilogram that is not listed: look for a slip in the amounts, \
         and measure at 25 °C when all is in",
        number(needs.abs())
    );
    vec![
        Finding::new(verdict, why, known(if verdict == CheckVerdict::Stop { slip } else { tell }))
            .of(salty.ph, ph)
            .unit("pH"),
    ]
}
