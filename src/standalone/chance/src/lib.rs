//! No chance at all. The zip library asks `getrandom` for what an encrypted archive begins with, and none is made here; that crate would
//! tie the module to a browser for it. This refuses whoever asks, and holds what the library uses of it.

use std::fmt;

/// There is no chance here.
#[derive(Debug, Clone, Copy)]
pub struct Error;

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("there is no source of chance here")
    }
}

impl std::error::Error for Error {}

impl From<Error> for std::io::Error {
    fn from(e: Error) -> Self {
        Self::other(e)
    }
}

/// Refuses to fill.
///
/// # Errors
/// Always.
pub fn fill(_: &mut [u8]) -> Result<(), Error> {
    Err(Error)
}

/// Refuses a number.
///
/// # Errors
/// Always.
pub fn u64() -> Result<u64, Error> {
    Err(Error)
}
