//! A size distribution with the form of its data, what was read, and what is open in it.

use super::standards::Standards;
use super::statistics::Moments;
use super::table::{CLOSEST, TableKind};
use super::{OneFigure, Sieved, SizeDistribution, SizeError};
use crate::units::{LARGEST_UM, Micrometres};

/// A class of a measured table: volume share between two sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Class {
    /// Lower bound, µm.
    pub lower_um: f64,
    /// Upper bound, µm.
    pub upper_um: f64,
    /// Volume share, 0..1.
    pub share: f64,
    /// One bound is assumed, not measured.
    pub open: bool,
}

impl Class {
    /// Mean density by volume per unit of ln x in the class.
    pub fn density_ln(&self) -> f64 {
        self.share / (self.upper_um / self.lower_um).ln()
    }
}

/// A class above the coarsest sieve: it has no far bound, so one is assumed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OpenTop {
    /// Volume share in it, 0..1.
    pub share: f64,
    /// The coarsest opening, µm.
    pub from_um: f64,
    /// Where it is taken to end, µm.
    pub assumed_um: f64,
}

/// How far above the coarsest opening a stated top may lie, as a factor: beyond that, sieves are missing, not a bound.
const FARTHEST_TOP: f64 = 10.0;

/// How sizes are known, as far as their tolerance goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum SizeForm {
    /// A law or percentiles, as a supplier's sheet states them.
    Stated,
    /// Two bounds with a share outside each, in percent.
    Range {
        /// Finer than the lower bound, %.
        undersize_pct: f64,
        /// Coarser than the upper bound, %.
        oversize_pct: f64,
        /// Whether the user gave each; otherwise it is this program's assumption.
        stated: [bool; 2],
    },
    /// A grit of a standard.
    Grit,
    /// One figure; how wide the powder is was assumed.
    OneFigure(OneFigure),
    /// A measured table.
    Measured(TableKind),
}

/// A distribution with how it is known.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeRecord {
    /// The distribution by volume.
    pub distribution: SizeDistribution,
    /// How it is known.
    pub form: SizeForm,
    /// What it was made from, in words.
    pub basis: String,
    /// Classes of the table; empty when there was no table.
    pub classes: Vec<Class>,
    /// Measured points `(µm, Q3)`, without assumed ends: what a law is fitted to.
    pub points: Vec<(f64, f64)>,
    /// What was assumed to get from the data to the curve.
    pub assumptions: Vec<String>,
    /// Volume share in a class open downwards: above 1 %, means weighted by number hang on the assumed bound.
    pub open_below: f64,
    /// Volume share in a class open upwards.
    pub open_above: f64,
    /// The stated end of the class above the coarsest sieve, µm.
    pub stated_top_um: Option<f64>,
    /// How it was measured; absent when there was no table.
    pub measured: Option<Measured>,
    /// The maker's own sieves, where the powder goes through them first.
    pub sieved: Option<Sieved>,
    /// What was taken for what in a table that is not in the form of this program.
    pub understood: Option<String>,
}

/// The measurement behind a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// What the table holds.
    pub kind: TableKind,
    /// All that was weighed on the sieves and in the pan, g, where the table has grams.
    pub weighed_g: Option<f64>,
    /// What its row of losses says, g.
    pub lost_g: Option<f64>,
}

impl Measured {
    /// What was put on the top sieve by the table itself, g.
    pub fn charged_g(&self) -> Option<f64> {
        Some(self.weighed_g? + self.lost_g?)
    }
}

impl SizeRecord {
    /// A distribution without a table behind it.
    pub fn from_distribution(distribution: SizeDistribution, basis: impl Into<String>) -> Self {
        Self {
            distribution,
            form: SizeForm::Stated,
            basis: basis.into(),
            classes: Vec::new(),
            points: Vec::new(),
            assumptions: Vec::new(),
            open_below: 0.0,
            open_above: 0.0,
            stated_top_um: None,
            measured: None,
            sieved: None,
            understood: None,
        }
    }

    /// Moments by volume: within the classes of a table (ISO 9276-2), else of the distribution.
    pub fn moments(&self) -> Moments {
        match self.form {
            _ if self.classes.is_empty() => Moments::of(&self.distribution),
            form => Moments::of_classes(&self.classes, form == SizeForm::Measured(TableKind::Counts)),
        }
    }

    /// The class above the coarsest sieve, if powder stayed there and nothing says how far it reaches.
    pub fn open_top(&self) -> Option<OpenTop> {
        let class = self.classes.last().filter(|c| c.open && self.open_above > 0.0)?;
        Some(OpenTop { share: class.share, from_um: class.lower_um, assumed_um: class.upper_um })
    }

    /// The same where it holds more than `share` (0..1) of the volume.
    pub fn open_top_above(&self, share: f64) -> Option<OpenTop> {
        // Percentages do not sum to the last bit.
        self.open_top().filter(|top| top.share > share + 1e-9)
    }

    /// Whether nothing says where its coarse grains end: more than `share` (0..1) of the volume lies above the coarsest sieve, or all that
    /// is known is a figure that most of the powder is coarser than.
    pub fn has_no_top(&self, share: f64) -> bool {
        self.open_top_above(share).is_some() || self.is_known_from_below()
    }

    fn is_known_from_below(&self) -> bool {
        let below = matches!(self.form, SizeForm::OneFigure(known) if known.coarser_pct > 50.0);
        below && self.sieved.as_ref().is_none_or(|sieved| sieved.by.through_um.is_none())
    }

    /// Whether a size lies where the table tells how much is finer: not in a class that has but one bound.
    pub fn tells_at(&self, um: f64) -> bool {
        let inside = |c: &&Class| c.lower_um * (1.0 + CLOSEST) < um && um < c.upper_um * (1.0 - CLOSEST);
        !self.classes.iter().filter(|c| c.open).any(|c| inside(&c))
    }

    /// Whether a percentile, of the share finer (0..1), is one that was measured or stated, and not the assumed spread about another.
    pub fn tells(&self, share: f64) -> bool {
        match self.form {
            SizeForm::OneFigure(known) => (known.coarser_pct / 100.0 - (1.0 - share)).abs() < CLOSEST,
            _ => self.tells_at(self.distribution.quantile(share)),
        }
    }

    /// The least and the most that may be coarser than a size (0..1): the same where the table tells it; where the size lies in a class
    /// with but one bound, what its other bound leaves open.
    pub fn coarser_than(&self, um: f64) -> (f64, f64) {
        let (first, last) = (self.classes.first().filter(|c| c.open), self.hides_above(um));
        match (first, last) {
            (_, Some(top)) => (0.0, top.share),
            (Some(lowest), _) if self.open_below > 0.0 && um < lowest.upper_um * (1.0 - CLOSEST) => {
                (1.0 - lowest.share, 1.0)
            }
            _ => {
                let over = 1.0 - self.distribution.undersize(um);
                (over, over)
            }
        }
    }

    /// The class above the coarsest sieve, where it hides how much is coarser than `um`. A powder that goes through a sieve before it is
    /// used has nothing above that one.
    fn hides_above(&self, um: f64) -> Option<OpenTop> {
        let through = self.sieved.as_ref().and_then(|sieved| sieved.by.through_um);
        let hides = |top: &OpenTop| top.from_um < um * (1.0 - CLOSEST) && through.is_none_or(|through| through > um);
        self.open_top_above(0.0).filter(hides)
    }

    /// The same sieve table with a stated top: no grain is coarser than `max`.
    ///
    /// # Errors
    /// [`SizeError::Range`] when this is no sieve table, nothing stayed on its coarsest sieve, or `max` lies not above the
    /// coarsest opening or over ten times as far.
    pub fn closed_at(&self, max: Micrometres, standards: &Standards) -> Result<Self, SizeError> {
        let refuse = |why: String| Err(SizeError::Range(format!("max_um = {} {why}", max.get())));
        if self.form != SizeForm::Measured(TableKind::Sieve) {
            return refuse(
                "says how far the powder on the coarsest sieve reaches; it goes with a sieve table only".into(),
            );
        }
        let Some(top) = self.open_top() else {
            return refuse(
                "closes nothing: all powder passed the coarsest sieve, which is the top; leave it out".into(),
            );
        };
        let most = (FARTHEST_TOP * top.from_um).min(LARGEST_UM);
        if max.get() <= top.from_um * (1.0 + CLOSEST) || max.get() > most {
            let coarsest = top.from_um;
            return refuse(format!("must lie above the coarsest opening, {coarsest} µm, and at most at {most} µm"));
        }
        let points: Vec<(f64, f64)> = self.points.iter().copied().chain([(max.get(), 1.0)]).collect();
        let closed = Self::from_points(&points, TableKind::Sieve, self.basis.clone(), standards)?;
        let (measured, understood) = (self.measured, self.understood.clone());
        Ok(Self { stated_top_um: Some(max.get()), measured, understood, ..closed })
    }

    /// The same with every size multiplied by `factor` (positive).
    pub(crate) fn scaled(&self, factor: f64) -> Self {
        let class = |c: &Class| Class { lower_um: c.lower_um * factor, upper_um: c.upper_um * factor, ..*c };
        Self {
            distribution: self.distribution.scaled(factor),
            classes: self.classes.iter().map(class).collect(),
            points: self.points.iter().map(|(x, q)| (x * factor, *q)).collect(),
            sieved: self.sieved.as_ref().map(|s| s.scaled(factor)),
            ..self.clone()
        }
    }

    /// The measured classes, or twenty equal steps of ln x over the central 99.8 % of the volume.
    pub fn classes_or_steps(&self) -> Vec<Class> {
        const STEPS: usize = 20;
        if !self.classes.is_empty() {
            return self.classes.clone();
        }
        let d = &self.distribution;
        let (lo, hi) = (d.quantile(0.001).ln(), d.quantile(0.999).ln());
        let edge = |i: usize| (lo + (hi - lo) * i as f64 / STEPS as f64).exp();
        (0..STEPS)
            .map(|i| {
                let (lower_um, upper_um) = (edge(i), edge(i + 1));
                Class { lower_um, upper_um, share: d.undersize(upper_um) - d.undersize(lower_um), open: false }
            })
            .collect()
    }

    /// From cumulative points `(µm, Q3)` rising in size. An open class below the first point reaches down to half its
    /// size; one above the last point reaches up to the next opening of its series.
    pub(super) fn from_points(
        points: &[(f64, f64)],
        kind: TableKind,
        basis: String,
        standards: &Standards,
    ) -> Result<Self, SizeError> {
        let (Some(&first), Some(&last)) = (points.first(), points.last()) else {
            return Err(SizeError::Percentiles("a table needs at least one size with an amount".into()));
        };
        let mut knots = points.to_vec();
        let mut assumptions = Vec::new();
        if first.1 > 0.0 {
            let bound = first.0 / 2.0;
            knots.insert(0, (bound, 0.0));
            assumptions.push(format!(
                "the {:.2} % finer than {} µm is taken to start at {} µm (half of it; convention)",
                100.0 * first.1,
                first.0,
                bound
            ));
        }
        if last.1 < 1.0 {
            let openings: Vec<f64> = points.iter().map(|p| p.0).collect();
            let bound = standards.next_coarser_um(&openings);
            knots.push((bound, 1.0));
            assumptions.push(format!(
                "the {:.2} % coarser than {} µm is taken to reach {} µm (the next opening; convention)",
                100.0 * (1.0 - last.1),
                last.0,
                bound
            ));
        }
        let classes = knots
            .windows(2)
            .map(|w| Class {
                lower_um: w[0].0,
                upper_um: w[1].0,
                share: w[1].1 - w[0].1,
                open: w[0].0 < first.0 || w[1].0 > last.0,
            })
            .collect();
        let typed: Result<Vec<_>, SizeError> = knots.iter().map(|k| Ok((Micrometres::new(k.0)?, k.1))).collect();
        Ok(Self {
            distribution: SizeDistribution::measured(&typed?)?,
            form: SizeForm::Measured(kind),
            basis,
            classes,
            points: points.to_vec(),
            assumptions,
            open_below: first.1,
            open_above: 1.0 - last.1,
            stated_top_um: None,
            measured: None,
            sieved: None,
            understood: None,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::law::Law;
    use approx::assert_relative_eq;

    #[test]
    fn a_law_is_shown_in_twenty_equal_steps_of_its_middle() {
        let law = Law::log_normal(Micrometres::new(100.0).unwrap(), 1.5).unwrap();
        let classes = SizeRecord::from_distribution(law.into(), "test").classes_or_steps();
        assert_eq!(classes.len(), 20);
        // Normal tables: a thousandth lies below -3.090232 standard deviations, and as much above 3.090232.
        let step = 2.0 * 3.090_232 * 1.5_f64.ln() / 20.0;
        for (i, class) in classes.iter().enumerate() {
            let lower_ln = 100.0_f64.ln() + step * (i as f64 - 10.0);
            assert_relative_eq!(class.lower_um, lower_ln.exp(), max_relative = 1e-5);
            assert_relative_eq!(class.upper_um, (lower_ln + step).exp(), max_relative = 1e-5);
        }
        assert_relative_eq!(classes.iter().map(|class| class.share).sum::<f64>(), 0.998, max_relative = 1e-6);
    }
}
