//! Where a number came from, number by number.

use serde::{Deserialize, Serialize};

/// How well a number is known. The words are those of the tables and of JSON.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Status {
    /// Seen in the named source.
    Published,
    /// Believed, not checked against its source.
    #[serde(rename = "from memory")]
    FromMemory,
    /// By analogy; the source says with what.
    Estimate,
    /// Chosen by this program.
    Convention,
}

impl Status {
    /// All four.
    pub const ALL: [Self; 4] = [Self::Published, Self::FromMemory, Self::Estimate, Self::Convention];

    /// The word of tables, JSON and people.
    pub fn label(self) -> &'static str {
        match self {
            Self::Published => "published",
            Self::FromMemory => "from memory",
            Self::Estimate => "estimate",
            Self::Convention => "convention",
        }
    }

    /// The status of that word.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|status| status.label() == word)
    }

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
