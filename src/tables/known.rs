//! A number of the tables: its value, its range, how well it is known and where it comes from.

use crate::source::words;
use serde::Serialize;

words! {
    /// How well a number is known. The words are those of the tables and of JSON.
    pub enum Status {
        /// Seen in the named source.
        Published = "published",
        /// Believed, not checked against its source.
        FromMemory = "from memory",
        /// By analogy; the source says with what.
        Estimate = "estimate",
        /// Chosen by this program.
        Convention = "convention",
    }
}

impl Status {
    /// Whether somebody saw or measured it: it is no guess and no choice.
    pub fn is_seen(self) -> bool {
        matches!(self, Self::Published | Self::FromMemory)
    }
}

/// Status and source of one number.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Origin {
    /// How well it is known.
    pub status: Status,
    /// Where it comes from; of an estimate, the analogy.
    pub source: String,
}

impl Origin {
    /// The origin that a row of a table states; `None` when the word is no status.
    pub fn of_row(status: &str, source: &str) -> Option<Self> {
        Status::of(status).map(|status| Self { status, source: source.to_owned() })
    }
}

/// A number within its range, and where both come from.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Known {
    /// Value in force.
    pub value: f64,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Status and source.
    #[serde(flatten)]
    pub origin: Origin,
}
