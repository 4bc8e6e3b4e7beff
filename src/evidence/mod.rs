//! How far a verdict can be trusted: its uncertainty, the lot at hand, and what testers felt.

mod confidence;
pub mod control;
mod draws;
mod inputs;
pub mod lot;
pub mod measurement;
pub mod panel;
pub mod register;
pub mod sampling;
mod sizes;

pub use confidence::{
    Confidence, ConfidenceError, DEFAULT_DRAWS, FEWEST_DRAWS, Interval, MOST_DRAWS, Outcome, Sampling, Share,
    confidence, evaluations,
};
pub use draws::{BLOCK, Drawing, DrawnFigures, Rubber};
pub(crate) use inputs::by_status;
pub use inputs::{Drawn, DrawnPowder, Input, Inputs, Vary};
