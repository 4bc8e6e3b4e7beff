//! The search for the best blends.

pub mod best;
pub mod frame;
pub mod node;
pub mod program;
mod ranking;
pub mod region;
pub mod relax;
mod screen;
pub mod search;
pub mod set;
