//! The equations of a rub, each written once for one number or several side by side, and the loops over grain sizes that run them for
//! eight draws at once on vector registers.
//!
//! This is a package of its own for the sake of building: it is optimised in every profile, so that everything above it need not be, and
//! it rarely changes. It knows numbers only: no powders, no tables, no text.
//!
//! A [`StandingPanels`] is a distribution of sizes on nodes that all draws share; [`GrainBlock`] what a powder is like in each of eight
//! draws; [`SkinBlock`] the skin of each. [`severities`], [`grooves_p95_um`] and [`d99_um`] are what a verdict looks at. [`simplex`] stands here
//! for the same reason: a search for a blend solves thousands of small programs.

mod block;
mod contact;
mod deep;
pub mod groove;
pub mod hulls;
mod lanes;
pub mod nearest;
pub mod rule;
pub mod simplex;
mod spread;
pub mod square;
mod standing;
mod tail;
mod warp;

pub use block::{GrainBlock, SPHERES, Skin, SkinBlock, d99_um, grooves_and_severities, grooves_p95_um, severities};
pub use contact::{Contact, squeeze};
pub use lanes::{LANES, LaneRow, Real, lane_by_lane};
pub use spread::{normal_spread, uniform_spread};
pub use standing::{StandingCurve, StandingPanels};
pub use warp::{Warp, WarpBlock};
