//! What is wrong with what a person wrote, what would be right, and where it stands.

use super::Place;
use std::fmt;

/// What is wrong, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// What is wrong.
    pub what: String,
    /// What would be right; empty where `what` says it already.
    pub hint: Box<str>,
    /// Nothing that is written another way would be right: it names what may be in no scrub.
    pub forbids: bool,
}

impl Fault {
    /// Both, each in words of its own.
    pub fn new(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { what: what.into(), hint: hint.into().into(), forbids: false }
    }

    /// The same, of what may be in no scrub.
    pub fn forbidding(self) -> Self {
        Self { forbids: true, ..self }
    }
}

/// A sentence of the form `what is wrong; what would be right`. What stands in quotation marks is the user's own and not looked into.
impl<T: Into<String>> From<T> for Fault {
    fn from(sentence: T) -> Self {
        let sentence = sentence.into();
        let is_outside = |at: &usize| sentence[..*at].matches('"').count().is_multiple_of(2);
        let cut = sentence.match_indices("; ").map(|(at, _)| at).find(is_outside);
        match cut {
            Some(at) => Self::new(&sentence[..at], &sentence[at + 2..]),
            None => Self::new(sentence, ""),
        }
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.what)?;
        if self.hint.is_empty() { Ok(()) } else { write!(f, "; {}", self.hint) }
    }
}

impl std::error::Error for Fault {}

/// More faults of one file than this are counted, not told.
const MOST_TOLD: usize = 20;

/// A fault and where it stands, with all others of the same file behind it, each on a line of its own.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Located {
    /// File and, where known, line and column.
    pub place: Place,
    /// What is wrong and what would be right.
    pub fault: Fault,
    /// What else is wrong with the file, in its order.
    pub also: Box<[Located]>,
}

impl Located {
    /// A fault at a place.
    pub fn new(place: Place, fault: impl Into<Fault>) -> Self {
        Self { place, fault: fault.into(), also: Box::default() }
    }

    /// All faults of a file as one, the first in the file first; `None` where there is none.
    pub fn all(faults: impl IntoIterator<Item = Self>) -> Option<Self> {
        let apart = |mut fault: Self| {
            let also = std::mem::take(&mut fault.also);
            std::iter::once(fault).chain(also)
        };
        let mut faults: Vec<Self> = faults.into_iter().flat_map(apart).collect();
        // Faults of one place keep the order in which they were found.
        faults.sort_by(|a, b| {
            (&a.place.file, a.place.line, a.place.column).cmp(&(&b.place.file, b.place.line, b.place.column))
        });
        faults.dedup();
        let mut faults = faults.into_iter();
        let first = faults.next()?;
        Some(Self { also: faults.collect(), ..first })
    }

    /// Whether one of the faults [forbids](Fault::forbids) what the file names.
    pub fn forbids(&self) -> bool {
        self.fault.forbids || self.also.iter().any(Self::forbids)
    }
}

impl fmt::Display for Located {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.fault)?;
        for other in self.also.iter().take(MOST_TOLD - 1) {
            write!(f, "\n{}: {}", other.place, other.fault)?;
        }
        match self.also.len().saturating_sub(MOST_TOLD - 1) {
            0 => Ok(()),
            more => write!(f, "\nand {more} more"),
        }
    }
}

impl std::error::Error for Located {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_falls_in_two_outside_quotation_marks() {
        let fault = Fault::from("unknown key \"a; b\" in powder; did you mean \"a\"? known: b; c");
        assert_eq!(
            (fault.what.as_str(), &*fault.hint),
            ("unknown key \"a; b\" in powder", "did you mean \"a\"? known: b; c")
        );
        for whole in ["parts must rise", "", "a; b; c", "\"; "] {
            assert_eq!(Fault::from(whole).to_string(), whole);
        }
    }
}
