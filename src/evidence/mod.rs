//! How far a verdict can be trusted: its uncertainty, the lot at hand, and what testers felt.

mod common;
mod confidence;
pub mod control;
mod draws;
mod inputs;
mod likely;
pub mod lot;
mod lot_draws;
pub mod measurement;
mod measuring;
pub mod panel;
pub mod register;
pub mod sampling;
mod sizes;
mod sure;

pub use common::milder_than_first;
pub use confidence::{
    Confidence, ConfidenceError, DEFAULT_DRAWS, FEWEST_DRAWS, Interval, MOST_DRAWS, Outcome, Sampling, Share,
    confidence, evaluations,
};
pub use draws::{BLOCK, Drawing, DrawnFigures, Rubber};
pub(crate) use inputs::by_status;
pub use inputs::{Drawn, DrawnPowder, Input, Inputs, Measurand, Measures, Vary};
pub use likely::{Likely, likely_blends};
pub use measuring::{Finding, Measurement, measurement};
pub use sure::{SURE, Sure, sure};
