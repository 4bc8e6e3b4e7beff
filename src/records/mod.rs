//! A maker's papers, as far as they are more than text: what a label lists, which batches were made of which lots and what came of
//! them, what they drew from the shelf, whether fill weights meet the law.

pub mod batches;
pub mod fills;
pub mod label;
mod sealed;
pub mod stock;
pub mod verdicts;
