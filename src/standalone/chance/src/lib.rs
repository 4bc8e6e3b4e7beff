//! No chance at all. The zip library asks `getrandom` for what an encrypted archive begins with, the library of pictures for noise, and
//! neither is made here; that crate would tie the module to a browser for it. This refuses whoever asks, and holds what they use of it.

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

/// Refuses a number.
///
/// # Errors
/// Always.
pub fn u32() -> Result<u32, Error> {
    Err(Error)
}

/// A source that refuses whoever asks.
#[cfg(feature = "sys_rng")]
#[derive(Debug, Clone, Copy, Default)]
pub struct SysRng;

#[cfg(feature = "sys_rng")]
impl rand_core::TryRng for SysRng {
    type Error = Error;

    fn try_next_u32(&mut self) -> Result<u32, Error> {
        u32()
    }

    fn try_next_u64(&mut self) -> Result<u64, Error> {
        u64()
    }

    fn try_fill_bytes(&mut self, bytes: &mut [u8]) -> Result<(), Error> {
        fill(bytes)
    }
}

#[cfg(feature = "sys_rng")]
impl rand_core::TryCryptoRng for SysRng {}
