//! What a result says: one structure per command, printed as text or as JSON from the same numbers.

mod aim;
mod ask;
mod batch;
pub mod blend;
mod cautions;
mod compare;
pub mod confidence;
pub mod document;
pub mod dossier;
pub mod formula;
pub mod grains;
mod grains_document;
mod label;
mod ladder;
mod layout;
mod lot;
mod lot_parts;
mod lot_words;
mod lots;
mod measured;
pub(crate) mod on_skin;
mod origins;
mod panel;
mod plan_panel;
pub mod sheet;
mod sieve_off;
pub mod size;
mod stability;
mod stand_in;
pub mod table_text;
mod trace;
mod wording;

pub use aim::AimReport;
pub use ask::AskReport;
pub use batch::BatchReport;
pub use blend::BlendReport;
pub use cautions::Caution;
pub use compare::CompareReport;
pub use confidence::ConfidenceReport;
pub use dossier::Dossier;
pub use formula::FormulaReport;
pub use grains::GrainsReport;
pub use label::LabelReport;
pub use ladder::WalkReport;
pub use layout::{Align, Grid};
pub use lot::{LotReport, LotReports};
pub use lots::LotsReport;
pub use measured::{LossPart, MeasuredPart, MeasuredTablesPart};
pub use origins::{OriginPart, OriginsPart};
pub use panel::{ExpectedScore, PanelReport};
pub use plan_panel::{ChoiceReport, Design, PanelPlanReport};
pub use sieve_off::SieveOffPart;
pub use size::{SievedPart, SizeReport};
pub use stability::StabilityReport;
pub use stand_in::StandInReport;
pub use trace::{BatchPart, TraceReport};

use crate::numerics::written::entries;
pub use crate::numerics::written::significant;
use crate::size::statistics::span;
use serde::{Serialize, Serializer};

/// The percentiles that every report lists, with the share that is finer.
const LISTED: [(&str, f64); 10] = [
    ("D5", 0.05),
    ("D10", 0.10),
    ("D16", 0.16),
    ("D25", 0.25),
    ("D50", 0.50),
    ("D75", 0.75),
    ("D84", 0.84),
    ("D90", 0.90),
    ("D95", 0.95),
    ("D99", 0.99),
];

/// The percentiles that every report lists, µm, and the span (D90 − D10) / D50; in JSON `d5_um` to `d99_um` and `span`.
#[derive(Debug, Clone, PartialEq)]
pub struct Percentiles {
    um: [f64; 10],
    /// (D90 − D10) / D50.
    pub span: f64,
}

impl Percentiles {
    /// From a quantile function (share finer, 0..1, to µm).
    pub fn of(quantile: impl Fn(f64) -> f64) -> Self {
        Self { um: LISTED.map(|(_, share)| quantile(share)), span: span(quantile) }
    }

    /// The size of a percentile by its name, µm.
    pub fn um_of(&self, name: &str) -> Option<f64> {
        self.listed().find(|(n, _)| *n == name).map(|(_, um)| um)
    }

    /// Names and sizes, µm, fine to coarse.
    fn listed(&self) -> impl Iterator<Item = (&'static str, f64)> {
        LISTED.iter().map(|(name, _)| *name).zip(self.um)
    }
}

impl Serialize for Percentiles {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let sizes = self.listed().map(|(name, um)| (percentile_key(name), um));
        entries(serializer, sizes.chain([("span".to_owned(), self.span)]))
    }
}

/// The key of a percentile: `D10` is `d10_um`.
fn percentile_key(name: &str) -> String {
    format!("{}_um", name.to_lowercase())
}
