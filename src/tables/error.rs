//! What can be wrong with tables.

use crate::source::{Located, ReadError};

/// What can be wrong with the grading tables.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TableError {
    /// A line that does not hold what its table needs.
    #[error(transparent)]
    Row(#[from] Located),
    /// A table file that cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// A file in the user's folder that is no table of ours.
    #[error("{file}: no grading table has this name; {hint}")]
    UnknownFile {
        /// The file.
        file: String,
        /// The nearest name.
        hint: String,
    },
    /// A table name that does not exist.
    #[error("there is no table \"{name}\"; {hint}")]
    UnknownTable {
        /// The name as typed.
        name: String,
        /// The nearest name.
        hint: String,
    },
    /// The folder itself cannot be listed.
    #[error("{folder}: the folder of tables cannot be read: {cause}")]
    Folder {
        /// The folder.
        folder: String,
        /// What the system said.
        cause: std::io::Error,
    },
}
