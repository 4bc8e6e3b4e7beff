//! What a result says: one structure per command, printed as text or as JSON from the same numbers.

mod aim;
mod batch;
pub mod blend;
mod cautions;
mod compare;
pub mod confidence;
pub mod document;
pub mod dossier;
pub mod formula;
mod ladder;
mod layout;
mod lot;
mod lot_words;
mod lots;
pub(crate) mod on_skin;
mod origins;
mod panel;
mod scale;
pub mod sheet;
pub mod size;
mod stand_in;
pub mod table_text;
mod wording;

pub use aim::AimReport;
pub use batch::BatchReport;
pub use blend::BlendReport;
pub use cautions::Caution;
pub use compare::CompareReport;
pub use confidence::ConfidenceReport;
pub use dossier::Dossier;
pub use formula::FormulaReport;
pub use ladder::{LadderReport, MapReport};
pub(crate) use layout::percent;
pub use layout::{Align, TextTable, significant};
pub use lot::LotReport;
pub use lots::{ChartFigure, ChartPart, LotsReport};
pub use on_skin::OverTheRubPart;
pub use origins::{OriginPart, OriginsPart};
pub use panel::{ExpectedScore, PanelReport};
pub use scale::{FigurePart, ScaleReport, StepPart};
pub use size::SizeReport;
pub use stand_in::StandInReport;

use crate::size::statistics::span;
use serde::Serialize;

/// The percentiles that every report lists, µm, and the span.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Percentiles {
    /// 5 % finer.
    pub d5_um: f64,
    /// 10 % finer.
    pub d10_um: f64,
    /// 16 % finer.
    pub d16_um: f64,
    /// 25 % finer.
    pub d25_um: f64,
    /// Median.
    pub d50_um: f64,
    /// 75 % finer.
    pub d75_um: f64,
    /// 84 % finer.
    pub d84_um: f64,
    /// 90 % finer.
    pub d90_um: f64,
    /// 95 % finer.
    pub d95_um: f64,
    /// 99 % finer.
    pub d99_um: f64,
    /// (D90 − D10) / D50.
    pub span: f64,
}

impl Percentiles {
    /// From a quantile function (share finer, 0..1, to µm).
    pub fn of(quantile: impl Fn(f64) -> f64) -> Self {
        Self {
            d5_um: quantile(0.05),
            d10_um: quantile(0.10),
            d16_um: quantile(0.16),
            d25_um: quantile(0.25),
            d50_um: quantile(0.50),
            d75_um: quantile(0.75),
            d84_um: quantile(0.84),
            d90_um: quantile(0.90),
            d95_um: quantile(0.95),
            d99_um: quantile(0.99),
            span: span(quantile),
        }
    }

    fn listed(&self) -> [(&'static str, f64); 10] {
        [
            ("D5", self.d5_um),
            ("D10", self.d10_um),
            ("D16", self.d16_um),
            ("D25", self.d25_um),
            ("D50", self.d50_um),
            ("D75", self.d75_um),
            ("D84", self.d84_um),
            ("D90", self.d90_um),
            ("D95", self.d95_um),
            ("D99", self.d99_um),
        ]
    }
}
