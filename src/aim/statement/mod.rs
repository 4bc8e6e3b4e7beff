//! What is asked: targets, the problem they make of a shelf, its rows, and a blend held against them.

pub mod found;
pub mod problem;
pub mod rows;
pub mod target;
