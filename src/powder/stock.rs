//! What a maker has of a powder: price, lot, and how far a lot may stray.

/// How far a percentile of a lot may lie from the grade's, either way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Tolerance {
    /// % of the grade's percentile.
    Percent(f64),
    /// µm.
    Micrometres(f64),
}

impl Tolerance {
    /// The tolerance in % of a size in µm.
    pub fn pct_of(self, size_um: f64) -> f64 {
        match self {
            Self::Percent(pct) => pct,
            Self::Micrometres(um) => 100.0 * um / size_um,
        }
    }
}

/// What lots of a powder are held to; what it leaves open comes from the acceptance table.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct LotSpec {
    /// Tolerances of D10, D50 and D90.
    pub percentiles: [Option<Tolerance>; 3],
    /// The top size, µm.
    pub top_um: Option<f64>,
    /// Most above the top size, % by volume.
    pub over_top_pct: Option<f64>,
    /// Change of the scrub's index that is let pass without new parts, %.
    pub index_pct: Option<f64>,
    /// Most that may be lost on the sieves, %.
    pub loss_pct: Option<f64>,
}

/// The powder at hand: what it costs, which lot it is, and what lots are held to. Nothing of this touches the skin.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Stock {
    /// What a kilogram costs, in the user's currency, if it was said: of what is kept, where the maker sieves it.
    pub price_per_kg: Option<f64>,
    /// Supplier's code of the lot, if it was said.
    pub lot: Option<String>,
    /// What lots of it are held to.
    pub accept: LotSpec,
}
