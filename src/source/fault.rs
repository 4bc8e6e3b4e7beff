//! What is wrong with what a person wrote, what would be right, and where it stands.

use super::Place;
use std::fmt;

/// What is wrong, and what would be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// What is wrong.
    pub what: String,
    /// What would be right; empty where `what` says it already.
    pub hint: String,
}

impl Fault {
    /// Both, each in words of its own.
    pub fn new(what: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { what: what.into(), hint: hint.into() }
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

/// A fault and where it stands.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{place}: {fault}")]
pub struct Located {
    /// File and, where known, line and column.
    pub place: Place,
    /// What is wrong and what would be right.
    pub fault: Fault,
}

impl Located {
    /// A fault at a place.
    pub fn new(place: Place, fault: impl Into<Fault>) -> Self {
        Self { place, fault: fault.into() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sentence_falls_in_two_outside_quotation_marks() {
        let fault = Fault::from("unknown key \"a; b\" in powder; did you mean \"a\"? known: b; c");
        assert_eq!(
            (fault.what.as_str(), fault.hint.as_str()),
            ("unknown key \"a; b\" in powder", "did you mean \"a\"? known: b; c")
        );
        for whole in ["parts must rise", "", "a; b; c", "\"; "] {
            assert_eq!(Fault::from(whole).to_string(), whole);
        }
    }
}
