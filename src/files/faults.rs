//! All faults of one file, gathered while its parts are read one by one.

use super::ScrubFileError;
use super::reader::TomlSection;
use crate::source::{Located, Place};

/// What was found wrong so far.
#[derive(Debug, Default)]
pub(super) struct Faults(Vec<ScrubFileError>);

impl Faults {
    /// Keeps what was wrong, or gives what was read.
    pub fn keep<T>(&mut self, read: Result<T, ScrubFileError>) -> Option<T> {
        read.map_err(|e| self.0.push(e)).ok()
    }

    /// Keeps keys that a table does not know. One of them may be what another key is missed for: what is said of that table as a
    /// whole is left for when they are mended.
    pub fn mistyped(&mut self, known: Result<(), ScrubFileError>, section: &TomlSection) {
        if let Err(unknown) = known {
            let start = section.place(section.offset());
            self.0.retain(|e| place(e) != Some(&start));
            self.0.push(unknown);
        }
    }

    /// All that was wrong, in the order of the file.
    ///
    /// # Errors
    /// The fault as it is where it is the only one.
    pub fn end(mut self) -> Result<(), ScrubFileError> {
        match self.0.len() {
            0 => Ok(()),
            1 => self.0.pop().map_or(Ok(()), Err),
            _ => Located::all(self.0.into_iter().map(located)).map_or(Ok(()), |all| Err(all.into())),
        }
    }

    /// What was read, where nothing was wrong.
    ///
    /// # Errors
    /// As [`Faults::end`].
    pub fn end_with<T>(self, read: Option<T>) -> Result<T, ScrubFileError> {
        self.end()?;
        // Nothing is unread of which no fault was kept.
        read.ok_or_else(|| Located::new(Place::default(), "a part of the file was not read").into())
    }
}

fn place(error: &ScrubFileError) -> Option<&Place> {
    match error {
        ScrubFileError::Value(located) => Some(&located.place),
        ScrubFileError::SizeTable { place, .. } => Some(place),
        ScrubFileError::Read(_) => None,
    }
}

fn located(error: ScrubFileError) -> Located {
    match error {
        ScrubFileError::Value(located) => located,
        ScrubFileError::SizeTable { place, cause } => Located::new(place, cause.to_string()),
        ScrubFileError::Read(e) => Located::new(Place::default(), e.to_string()),
    }
}
