//! How far a verdict can be trusted: scrub, skin and model drawn over all their ranges, what holds the variance, and what a measurement
//! would do.
//!
//! # How a verdict is drawn
//! `confidence::Inputs` lists what is not known exactly, with the conventions of how each is drawn; a draw is a point of the
//! unit cube, an Owen-scrambled Sobol point (`numerics::quasi`). Sixteen independent scrambles, each counted on its own, tell
//! the standard errors; they are the pieces of parallel work too, so the number of threads does not show. Quantiles come from a
//! histogram in steps of 0.2 % of ln, so memory does not grow with the draws. A powder's sizes are warped on the ln x axis
//! (`size::Warp`: a shift and a stretch about a pivot): percentiles keep their order, the volume at every node stays, and
//! nothing is sampled again. Where a sieve table has no top (`SizeRecord::open_top`), the pivot lies at its coarsest opening, so
//! that the end above it is drawn and nothing below moves with it.
//!
//! Eight draws are rubbed side by side in the kernel (`src/kernel/src/block.rs`), every quantity a vector over them
//! (`lanes.rs`): single precision, on whatever registers the machine turns out to have, by `fearless_simd`, and the same bits on
//! all of them. Code is made for AVX2 and for what every machine has. What runs inside `on_registers!` must be
//! `#\[inline(always)]`, closures too; a function called instead of inlined loses the registers and is ten times slower, unless
//! it opens with `on_registers_of!`: the large loops do, so that each is built once for each kind of registers and not wherever
//! it is used. All draws share their nodes: `StandingPanels` are eight or a few more panels whatever the form of the sizes, with
//! shares that integrate a polynomial of degree 5 over the distribution exactly. The panel that the gap cuts gets no nodes of
//! its own; what its nodes miss of the load's (x − h)^(3/2) depends on the place of the gap in the panel only, is tabulated, and
//! added. Gap, 95 % groove (`deep.rs`), sizes at a depth and D99 (`tail.rs`) are all found by one bracketed Newton iteration,
//! `lanes::newton`. `tests/confidence.rs` holds draws of every form of size to the full model: index within 0.1 %, groove ratio
//! within 0.3 % but for one in some thousands, D99 within 0.01 %; the largest errors of 2400 draws are 0.020, 0.58 and 0.0005 %. Scrubs that nobody would make are
//! held too.
//!
//! Groove limits were set by what the trade sells, on the same skin and with the same model; so where skin or model is drawn, a
//! ratio is moved back by the reference scrub's (`Rubber::moved_back`) before it is held against them, as the index is relative
//! by itself. How people's skins differ (`Vary::Skins`) is held against the limits as they stand, and told apart.
//! `confidence::sure` is the short run that a verdict opens with; `confidence::measuring` judges and draws the scrub again with
//! what a measurement might find; `confidence::beside_first` draws several scrubs together.

mod analysis;
mod bought;
mod compared;
mod draws;
mod inputs;
mod measuring;
mod outcome;
mod sampling;
mod shared;
mod sieving;
mod sizes;
mod sure;
#[cfg(test)]
mod tests;
mod variance;

pub use analysis::{Confidence, confidence, evaluations};
pub use bought::{Bought, RoundnessHeld};
pub use compared::{BesideFirst, beside_first};
pub use draws::{BLOCK, Drawing, DrawnFigures, Rubber};
pub(crate) use inputs::by_status;
pub use inputs::{Drawn, DrawnPowder, Input, Inputs, Measurand, Measures, Vary};
pub use measuring::{FoundValue, Measurement, measurement};
pub use outcome::{Interval, Outcome};
pub(crate) use sampling::at_all_points;
pub use sampling::{ConfidenceError, DEFAULT_DRAWS, FEWEST_DRAWS, MOST_DRAWS, Sampling};
pub(crate) use sizes::{SizeDraw, tolerance};
pub use sure::{SURE, Sure, sure};
pub use variance::Share;
