//! What the register of lots says of the lots that go into a batch.
//!
//! A lot is a code of one powder: suppliers number as they like, so the same code of another powder is another lot, and what was said in
//! favour of that one says nothing of this. Against it, it may.

use super::batches::Used;
use crate::lots::lot::LotVerdict;
use crate::lots::register::{Entry, Register, last_of};
use crate::numerics::written::trimmed;
use crate::source::same_word;

/// How a lot stands that is not simply accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LotStanding {
    /// It was refused; or it was not judged under this name, and a lot of the code was refused under another.
    Refused,
    /// It was accepted, but a lot of the same code was refused under the name of another powder.
    RefusedElsewhere,
    /// It was accepted with new parts only.
    NewParts,
    /// It was accepted, and the verdict was unsure.
    Unsure,
}

/// What the register of lots says of a lot.
#[derive(Debug, Clone, PartialEq)]
pub struct LotVerdictTold {
    /// What it is of.
    pub name: String,
    /// How it stands.
    pub standing: LotStanding,
    /// The verdict that says so.
    pub verdict: Entry,
    /// Its line in the register of lots.
    pub line: usize,
}

/// What there is to say of the lots that go into a product: by the last verdict on this scrub, or where there is none by the last of all;
/// the latest date is last, of one date the lowest line.
pub fn lots_told(used: &[Used], product: &str, lots: &Register) -> Vec<LotVerdictTold> {
    used.iter().flat_map(|u| told_of(u, product, lots)).collect()
}

fn told_of(used: &Used, product: &str, lots: &Register) -> Vec<LotVerdictTold> {
    let of_code = || lots.entries.iter().filter(|(_, e)| used.is_of(e.lot.as_str()));
    let (own, others): (Vec<_>, Vec<_>) = of_code().partition(|(_, e)| same_word(&e.powder, &used.name));
    let here = last_of(own.iter().copied().filter(|(_, e)| e.scrub == product));
    let holds = here.or_else(|| last_of(own.iter().copied()));
    let last_under = |powder: &str| last_of(others.iter().copied().filter(|(_, e)| e.powder == powder));
    let elsewhere = others.iter().filter(|own| last_under(&own.1.powder) == Some(**own));
    let elsewhere = elsewhere.copied().find(|(_, e)| e.verdict == LotVerdict::Refuse);
    let told = |(line, entry): &(usize, Entry), standing| LotVerdictTold {
        name: used.name.clone(),
        standing,
        verdict: entry.clone(),
        line: *line,
    };
    let Some(holds) = holds else {
        return elsewhere.map(|other| told(other, LotStanding::Refused)).into_iter().collect();
    };
    let of_holds = match holds.1.verdict {
        LotVerdict::Refuse => vec![LotStanding::Refused],
        verdict => {
            let new_parts = (verdict == LotVerdict::AcceptWithNewParts).then_some(LotStanding::NewParts);
            let unsure = (holds.1.unsure == Some(true)).then_some(LotStanding::Unsure);
            new_parts.into_iter().chain(unsure).collect()
        }
    };
    let elsewhere = elsewhere.filter(|_| holds.1.verdict != LotVerdict::Refuse);
    let elsewhere = elsewhere.map(|other| told(other, LotStanding::RefusedElsewhere));
    of_holds.into_iter().map(|standing| told(holds, standing)).chain(elsewhere).collect()
}

impl LotVerdictTold {
    /// In words; `register` is the name of the register of lots.
    pub fn said(&self, register: &str) -> String {
        let Entry { lot, powder, date, scrub, .. } = &self.verdict;
        let lot = format!("lot {} of {}", lot.as_str(), self.name);
        let place = format!("{register}:{}", self.line);
        let name = if same_word(powder, &self.name) { String::new() } else { format!(", as {powder}") };
        match self.standing {
            LotStanding::Refused => {
                format!("{lot} was refused on {date} for {scrub}{name} ({place})")
            }
            LotStanding::RefusedElsewhere => {
                format!(
                    "{lot} was accepted, but one of this code was refused on {date} for {scrub}{name} ({place}): is it the same lot?"
                )
            }
            LotStanding::NewParts => {
                let parts = self.verdict.new_parts;
                let parts = parts.map_or_else(String::new, |parts| format!(" (parts = {})", trimmed(parts, 4)));
                format!(
                    "{lot} was accepted on {date} for {scrub} with new parts only{parts}, {place}: it is weighed here by the parts of this \
                     file; see gritwise lot for the new ones"
                )
            }
            LotStanding::Unsure => {
                format!(
                    "{lot} was accepted on {date} for {scrub}, but the verdict was unsure ({place}): measure it again"
                )
            }
        }
    }
}
