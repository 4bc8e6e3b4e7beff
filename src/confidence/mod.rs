//! How far a verdict can be trusted: scrub, skin and model drawn over all their ranges, what holds the variance, and what a measurement
//! would do.

mod analysis;
mod compared;
mod draws;
mod inputs;
mod measuring;
mod sizes;
mod sure;

pub(crate) use analysis::at_all_points;
pub use analysis::{
    Confidence, ConfidenceError, DEFAULT_DRAWS, FEWEST_DRAWS, Interval, MOST_DRAWS, Outcome, Sampling, Share,
    confidence, evaluations,
};
pub use compared::milder_than_first;
pub use draws::{BLOCK, Drawing, DrawnFigures, Rubber};
pub(crate) use inputs::by_status;
pub use inputs::{Drawn, DrawnPowder, Input, Inputs, Measurand, Measures, Vary};
pub use measuring::{Finding, Measurement, measurement};
pub(crate) use sizes::{SizeDraw, tolerance};
pub use sure::{SURE, Sure, sure};
