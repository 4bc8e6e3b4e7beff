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
    /// With new parts, and these are what the file has; whether the load that goes with them does, the register does not keep.
    NewPartsTaken,
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

/// A product that lots go into.
#[derive(Clone, Copy)]
pub struct Product<'a> {
    /// The name of its scrub.
    pub name: &'a str,
    /// The parts of a powder in its file, by the powder's name.
    pub parts: &'a dyn Fn(&str) -> Option<f64>,
}

/// What there is to say of the lots that go into a product: by the last verdict on this scrub, or where there is none by the last of all;
/// the latest date is last, of one date the lowest line.
pub fn lots_told(used: &[Used], product: Product, lots: &Register) -> Vec<LotVerdictTold> {
    used.iter().flat_map(|u| told_of(u, product, lots)).collect()
}

/// Of several verdicts the one that holds for a product: the last on it, or where there is none the last of all.
fn holding<'e>(verdicts: &[&'e (usize, Entry)], product: &str) -> Option<&'e (usize, Entry)> {
    let all = || verdicts.iter().copied();
    last_of(all().filter(|(_, e)| e.scrub == product)).or_else(|| last_of(all()))
}

/// Digits to which the parts of a file are those that were found: what is told to be written down.
const AS_WRITTEN: f64 = 5e-4;

fn told_of(used: &Used, product: Product, lots: &Register) -> Vec<LotVerdictTold> {
    let of_code = || lots.entries.iter().filter(|(_, e)| used.is_of(e.lot.as_str()));
    let (own, others): (Vec<_>, Vec<_>) = of_code().partition(|(_, e)| same_word(&e.powder, &used.name));
    let under = |powder: &str| others.iter().copied().filter(|(_, e)| same_word(&e.powder, powder)).collect::<Vec<_>>();
    let holds_under = |other: &(usize, Entry)| holding(&under(&other.1.powder), product.name) == Some(other);
    let elsewhere = others.iter().copied().find(|other| other.1.verdict == LotVerdict::Refuse && holds_under(other));
    let told = |(line, entry): &(usize, Entry), standing| LotVerdictTold {
        name: used.name.clone(),
        standing,
        verdict: entry.clone(),
        line: *line,
    };
    let Some(holds) = holding(&own, product.name) else {
        return elsewhere.map(|other| told(other, LotStanding::Refused)).into_iter().collect();
    };
    let of_holds = match holds.1.verdict {
        LotVerdict::Refuse => vec![LotStanding::Refused],
        verdict => {
            let is_taken =
                |new: f64| (product.parts)(&used.name).is_some_and(|now| (now / new - 1.0).abs() <= AS_WRITTEN);
            let taken = holds.1.scrub == product.name && holds.1.new_parts.is_some_and(is_taken);
            let standing = if taken { LotStanding::NewPartsTaken } else { LotStanding::NewParts };
            let new_parts = (verdict == LotVerdict::AcceptWithNewParts).then_some(standing);
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
            LotStanding::NewPartsTaken => {
                format!(
                    "{lot} was accepted on {date} for {scrub} with the parts that this file has ({place}): see that its powder_load_pct is \
                     the one that gritwise lot told with them"
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
