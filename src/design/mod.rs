//! Choosing between blends: comparing scrubs, walking a share, replacing a powder,
//! making up for a lot that is coarser or finer.

mod compare;
mod ladder;
mod map;
mod place;
mod rebalance;
mod stand_in;
mod vary;

pub use compare::{Difference, Quality, differences};
pub use ladder::{Borne, Crossing, Ladder, LadderStep};
pub use map::{Border, Map, Point};
pub use place::{PlaceError, place_of};
pub use rebalance::{Rebalanced, rebalance};
pub use stand_in::{StandIn, Substitute, stand_ins};
pub use vary::{Varied, VaryError};
