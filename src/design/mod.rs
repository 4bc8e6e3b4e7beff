//! Choosing between blends: comparing scrubs, replacing a powder.

mod compare;
mod stand_in;

pub use compare::{Difference, Quality, differences};
pub use stand_in::{Candidate, StandIn, StandInError, place_of, stand_ins};
