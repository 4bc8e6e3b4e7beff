//! The pH that a formula without an acid exfoliant states, against what it lists.

use super::super::{Finding, Setting, known};
use super::{CHARGES, comes_to, verdict_off};
use crate::formula::content::Unplanned;
use crate::tables::Status;

/// Chalk and its like dissolve below this, fizzing, and are only slowly taken up above.
const NEUTRAL: f64 = 7.0;

/// Nothing where nothing that is listed moves a pH.
pub(super) fn findings(s: &Setting) -> Vec<Finding> {
    let Some(ph) = s.formula.ph().filter(|_| s.free_of_water().is_none() && !s.is_dry()) else { return Vec::new() };
    let listed = Unplanned::new(s.formula, &s.tables.formula);
    if let Some((_, row)) = listed.carbonates.first() {
        let names: Vec<&str> = listed.carbonates.iter().map(|(name, _)| name.as_str()).collect();
        return vec![with_carbonate(&names.join(", "), ph, (row.status, &row.source))];
    }
    // What cannot be counted hides what a base or an acid does.
    let hidden = if listed.movers.is_empty() { &[] } else { listed.uncounted.as_slice() };
    let open = [&listed.unknown, hidden].concat();
    match (open.is_empty(), listed.movers.is_empty()) {
        (false, _) => vec![Finding::missing(format!(
            "{} takes or gives protons, by how much no table says, so the pH does not follow from what is listed: go by the one you \
             measure when all is in, and hold the preservative against that",
            open.join(", ")
        ))],
        (true, true) => Vec::new(),
        (true, false) => vec![reckoned(s, &listed, ph)],
    }
}

fn with_carbonate(names: &str, ph: f64, source: (Status, &str)) -> Finding {
    if ph < NEUTRAL {
        let why = format!(
            "{names} and pH {ph} do not stay together: it takes the acid up, fizzing, until the water is alkaline and the preservative fails"
        );
        return Finding::stop(why, source).of(ph, NEUTRAL).unit("pH");
    }
    Finding::missing(format!("the pH with {names} in it does not follow from what is listed: measure it after a day"))
}

fn reckoned(s: &Setting, listed: &Unplanned, ph: f64) -> Finding {
    let salty = listed.balance.ph_in_salt(s.constants());
    let Some((ideal, salty)) = listed.balance.ideal_ph().zip(salty) else {
        return Finding::missing("the charges of what is listed balance at no pH: look for a slip in the amounts");
    };
    let (comes, off) = comes_to(s, [ideal, salty.ph], ph);
    let (verdict, far) = verdict_off(s, off, ph);
    let why =
        format!("as listed, with {}, {comes}{far}; measure again at 25 °C when all is in", listed.movers.join(", "));
    let source = if off > 0.0 { known(&s.constants().ph_agreement) } else { CHARGES };
    Finding::new(verdict, why, source).of(salty.ph, ph).unit("pH")
}
