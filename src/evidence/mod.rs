//! How far a verdict can be trusted: its uncertainty, the lot at hand, and what testers felt.

pub mod control;
pub mod lot;
pub mod measurement;
pub mod register;
pub mod sampling;

pub mod panel;
