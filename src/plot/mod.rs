//! The pictures: SVG drawn through `plotters`, on a logarithmic size axis or along what a ladder varies, from the numbers that the reports print. The
//! same input gives the same bytes.

mod aim;
mod chart;
mod confidence;
mod control;
mod grains;
mod ground;
mod ladder;
mod lot;
mod panel;
mod pictures;
mod plane;
mod series;
mod svg;

pub use aim::aim_pictures;
pub use chart::Mark;
pub use confidence::confidence_picture;
pub use control::control_picture;
pub use grains::{DrawnGrain, Under, grains_picture};
pub use ladder::{ladder_picture, map_picture};
pub use lot::lot_picture;
pub use panel::panel_picture;
pub use pictures::{Picture, blend_pictures, compare_picture, size_picture};
pub use series::{ChartPart, CurvePart, SizeCharts, TickPart, blend_series};

/// Why a picture could not be drawn.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PlotError {
    /// The chart library refused.
    #[error("the picture cannot be drawn: {0}")]
    Chart(String),
}
