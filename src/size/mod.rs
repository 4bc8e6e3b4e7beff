//! Size distributions: how they are read, fitted and summarised.
//!
//! A distribution is the cumulative undersize by volume Q3(x) at grain diameter x (ISO 9276-1). It comes from a law, from
//! percentiles, or from a measured table; [`SizeRecord`] adds how it is known: the classes, the measured points, what was
//! assumed. Sizes are in micrometres throughout.

mod cut;
mod distribution;
mod error;
mod figure;
pub mod fit;
mod grade;
pub mod headings;
mod integral;
pub mod law;
mod record;
mod restate;
mod sieved;
pub mod spec;
pub mod standards;
mod standing;
pub mod statistics;
pub mod table;
mod understood;
mod worn;
mod written_cells;

pub use distribution::SizeDistribution;
pub use error::SizeError;
pub use figure::{Figure, FigureAt, Finer, OneFigure};
pub use gritwise_kernel::Warp;
pub use integral::SizePanels;
pub use record::{Class, Measured, OpenTop, SizeForm, SizeRecord};
pub use restate::{SaidAs, Written};
pub(crate) use sieved::worth_sieving;
pub use sieved::{SieveSet, Sieved, Sieves};
