//! What came of making a dossier again.

use crate::report::layout::bullets;
use serde::Serialize;

/// Whether a dossier made again is the same. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Verification {
    /// `same` or `differs`.
    pub status: &'static str,
    /// What differs, in sentences.
    pub differences: Vec<String>,
}

impl Default for Verification {
    fn default() -> Self {
        Self { status: "same", differences: Vec::new() }
    }
}

impl Verification {
    /// Takes in what differs.
    pub fn add(&mut self, differences: impl IntoIterator<Item = String>) {
        self.differences.extend(differences);
        if !self.differences.is_empty() {
            self.status = "differs";
        }
    }

    /// Holds a file of the dossier against the same file made again.
    pub fn compare(&mut self, name: &str, there: Option<&[u8]>, again: &[u8]) {
        self.add(match there {
            None => Some(format!("{name} is missing or cannot be read")),
            Some(bytes) if bytes != again => Some(format!("{name} is not what comes out now")),
            Some(_) => None,
        });
    }

    /// Whether nothing differs.
    pub fn is_same(&self) -> bool {
        self.differences.is_empty()
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        if self.is_same() {
            return "The same: files, tables, version and every byte of the dossier.\n".to_owned();
        }
        format!("It differs:\n{}", bullets(&self.differences))
    }
}
