//! What becomes of an answer: whole steps of a balance, why there is none, what targets cost.

pub mod conflict;
pub mod frontier;
pub mod prices;
pub mod rounding;
