//! Lots of a powder: one held against its grade and how sure that is, the measurement behind it, the register, control charts.

pub mod charts;
pub mod control;
mod draws;
pub mod lot;
pub mod measurement;
pub mod register;
pub mod repeats;
pub mod sampling;
pub mod sieve_off;

pub use draws::Sureness;
