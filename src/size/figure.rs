//! A size of which one figure is known: a bound ("-100 mesh", "<45 µm"), or one percentile ("D50 45 µm"). How wide the powder is
//! has to be assumed, from how it was made, and is drawn as widely as that is known.

use super::law::Law;
use super::standards::{Making, MeshSeries, Standards};
use super::{SizeError, SizeForm, SizeRecord};
use crate::numerics::normal;
use crate::units::{Micrometres, plain, three_digits};

/// The share of the volume, percent, that lies outside each bound of a mesh or micron range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tails {
    /// Finer than the lower bound, %.
    pub undersize_pct: f64,
    /// Coarser than the upper bound, %.
    pub oversize_pct: f64,
    /// Whether the user gave the finer and the coarser one; otherwise it is this program's assumption and is said to be.
    pub stated: [bool; 2],
}

impl Tails {
    /// The same on either side, %, by this program's assumption.
    pub fn assumed(pct: f64) -> Self {
        Self { undersize_pct: pct, oversize_pct: pct, stated: [false; 2] }
    }

    /// Those that were stated, the others by this program's assumption.
    pub fn stated_or(undersize_pct: Option<f64>, oversize_pct: Option<f64>, assumed_pct: f64) -> Self {
        Self {
            undersize_pct: undersize_pct.unwrap_or(assumed_pct),
            oversize_pct: oversize_pct.unwrap_or(assumed_pct),
            stated: [undersize_pct.is_some(), oversize_pct.is_some()],
        }
    }

    /// The names of those that were stated.
    pub(super) fn stated_names(&self) -> impl Iterator<Item = &'static str> {
        ["undersize_pct", "oversize_pct"]
            .into_iter()
            .zip(self.stated)
            .filter(|(_, stated)| *stated)
            .map(|(name, _)| name)
    }

    /// How a share was come by.
    pub(super) fn taken(is_stated: bool) -> &'static str {
        if is_stated { "taken, as stated" } else { "assumed (convention)" }
    }
}

/// Shares, % by volume, that one figure may have on its finer side.
const SHARES_PCT: std::ops::RangeInclusive<f64> = 0.1..=99.9;

/// One figure of a size.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// As it was written.
    pub text: String,
    /// Where it stands.
    pub at: FigureAt,
    /// How much of the powder is finer.
    pub finer: Finer,
    /// How far off it may be, up and down, µm, where that was said.
    pub give_um: Option<f64>,
    /// How the powder was made, where that was said.
    pub made: Option<Making>,
}

/// The size at which a figure stands.
#[derive(Debug, Clone, PartialEq)]
pub enum FigureAt {
    /// µm.
    Um(f64),
    /// A sieve.
    Mesh(String, MeshSeries),
}

/// How much of a powder is finer than its one figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Finer {
    /// Nearly all: an upper bound.
    NearlyAll,
    /// Hardly any: a lower bound.
    HardlyAny,
    /// So much, % by volume.
    Percent(f64),
}

/// What is known of a size with one figure, and how far it is not.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneFigure {
    /// The size, µm.
    pub at_um: f64,
    /// How far off it may be, up and down, µm; 0 where nothing was said.
    pub give_um: f64,
    /// Coarser than that, % by volume.
    pub coarser_pct: f64,
    /// Whether that share was said: of bounds it is this program's assumption.
    pub share_stated: bool,
    /// The geometric standard deviation that is assumed, and the range it is taken to lie in.
    pub gsd: [f64; 3],
}

impl OneFigure {
    /// The least and the largest median that the assumed spread leaves, µm; `None` where the figure is the median.
    pub(crate) fn medians_um(&self) -> Option<[f64; 2]> {
        let z = normal::quantile(self.coarser_pct / 100.0);
        let ends = [self.gsd[0], self.gsd[2]].map(|gsd| self.median_um(gsd));
        (z != 0.0).then(|| [ends[0].min(ends[1]), ends[0].max(ends[1])])
    }

    /// The median, µm, of a log-normal of this geometric standard deviation through the figure.
    pub(crate) fn median_um(&self, gsd: f64) -> f64 {
        self.at_um * (gsd.ln() * normal::quantile(self.coarser_pct / 100.0)).exp()
    }

    /// The same for grains that have lost a layer, µm; `None` where none of that size is left.
    pub(crate) fn less(self, loss_um: f64) -> Option<Self> {
        let at_um = self.at_um - loss_um;
        (at_um - self.give_um > 0.0).then_some(Self { at_um, ..self })
    }
}

impl Figure {
    pub(super) fn record(&self, standards: &Standards, tails: Tails) -> Result<SizeRecord, SizeError> {
        let (at_um, place) = match &self.at {
            FigureAt::Um(um) => (Micrometres::new(*um)?.get(), format!("{um} µm")),
            FigureAt::Mesh(mesh, series) => {
                let um = standards.opening_um(*series, mesh)?;
                (um, format!("{um} µm ({mesh} mesh)"))
            }
        };
        let give_um = self.give_um.unwrap_or(0.0);
        if give_um < 0.0 || give_um >= 0.9 * at_um {
            let problem = format!("\"{}\": ± {give_um} µm leaves nothing of {at_um} µm; check both", self.text);
            return Err(SizeError::Range(problem));
        }
        self.refuse_other(tails)?;
        let (coarser_pct, share_stated) = match self.finer {
            Finer::NearlyAll => (tails.oversize_pct, tails.stated[1]),
            Finer::HardlyAny => (100.0 - tails.undersize_pct, tails.stated[0]),
            Finer::Percent(pct) if SHARES_PCT.contains(&pct) => (100.0 - pct, true),
            Finer::Percent(pct) => {
                let problem =
                    format!("\"{}\": {pct} % is no share of a powder; it lies between 0.1 and 99.9", self.text);
                return Err(SizeError::Range(problem));
            }
        };
        let made = self.made.unwrap_or(Making::Milled);
        let spread = standards.spread(made);
        let gsd = [spread.low, spread.gsd, spread.high];
        let known = OneFigure { at_um, give_um, coarser_pct, share_stated, gsd };
        let law = Law::log_normal(Micrometres::new(known.median_um(spread.gsd))?, spread.gsd)?;
        let mut record = SizeRecord::from_distribution(law.into(), format!("{}: one figure", self.text));
        record.form = SizeForm::OneFigure(known);
        record.assumptions.extend(self.taken(&place, coarser_pct, share_stated));
        let why = if self.made.is_some() { "as stated" } else { "as nothing else is said" };
        record.assumptions.push(format!(
            "one figure says nothing of how wide a powder is: a log-normal of gsd {} ({} to {}) is taken, as of a {made} powder, {why} \
             (spreads, {}); a second figure or a sieve test would settle it",
            gsd[1], gsd[0], gsd[2], spread.status
        ));
        Ok(record)
    }

    /// Refuses a stated share that a figure of this kind has no place for.
    fn refuse_other(&self, tails: Tails) -> Result<(), SizeError> {
        let own = match self.finer {
            Finer::NearlyAll => "oversize_pct",
            Finer::HardlyAny => "undersize_pct",
            Finer::Percent(_) => "",
        };
        let Some(other) = tails.stated_names().find(|name| *name != own) else { return Ok(()) };
        let says = if own.is_empty() { "says itself which share is finer" } else { "is a bound on the other side" };
        Err(SizeError::Range(format!("{other} has no place beside \"{}\", which {says}; leave it out", self.text)))
    }

    /// How the figure was understood where it can be understood in two ways.
    fn taken(&self, place: &str, coarser_pct: f64, share_stated: bool) -> Option<String> {
        let assumed = Tails::taken(share_stated);
        match self.finer {
            Finer::NearlyAll => {
                Some(format!("an upper bound alone: {coarser_pct} % coarser than {place} is {assumed}"))
            }
            Finer::HardlyAny => {
                let finer = plain(three_digits(100.0 - coarser_pct));
                Some(format!(
                    "a lower bound alone: {finer} % finer than {place} is {assumed}; nothing says where the grains end"
                ))
            }
            Finer::Percent(50.0) => {
                let give = self.give_um.map_or(String::new(), |give| format!(", ± {give} µm as that of the median"));
                Some(format!("{place} is taken as the median{give}; write \"<\" before it if it is the largest size"))
            }
            Finer::Percent(_) => None,
        }
    }
}
