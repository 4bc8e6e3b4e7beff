//! What a maker's own sieves leave of a powder: the part that goes through one and stays on another, known as the powder itself is known.

use super::{Class, SizeDistribution, SizeError, SizeRecord};
use crate::numerics::written::three;

/// Openings that a powder goes through and stays on, µm.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Sieves {
    /// What is kept went through this one.
    pub through_um: Option<f64>,
    /// And stayed on this one.
    pub over_um: Option<f64>,
}

impl Sieves {
    /// Both, where there is one.
    pub fn new(through_um: Option<f64>, over_um: Option<f64>) -> Option<Self> {
        (through_um.is_some() || over_um.is_some()).then_some(Self { through_um, over_um })
    }

    /// As a maker says it: "through 250 µm and over 90 µm".
    pub fn said(&self) -> String {
        let through = self.through_um.map(|um| format!("through {} µm", opening(um)));
        let over = self.over_um.map(|um| format!("over {} µm", opening(um)));
        through.into_iter().chain(over).collect::<Vec<_>>().join(" and ")
    }

    /// The finest and the coarsest grain that is kept, µm.
    pub(super) fn ends_um(&self) -> (f64, f64) {
        (self.over_um.unwrap_or(0.0), self.through_um.unwrap_or(f64::INFINITY))
    }

    /// One sieving after another.
    fn after(&self, first: &Self) -> Self {
        let both = |a: Option<f64>, b: Option<f64>, nearer: fn(f64, f64) -> f64| match (a, b) {
            (Some(a), Some(b)) => Some(nearer(a, b)),
            (a, b) => a.or(b),
        };
        Self {
            through_um: both(self.through_um, first.through_um, f64::min),
            over_um: both(self.over_um, first.over_um, f64::max),
        }
    }

    fn each(&self, change: impl Fn(f64) -> f64) -> Self {
        Self { through_um: self.through_um.map(&change), over_um: self.over_um.map(&change) }
    }
}

/// Sieves that are at hand.
#[derive(Debug, Clone, PartialEq)]
pub struct SieveSet {
    /// Openings, µm, coarse to fine.
    pub openings_um: Vec<f64>,
    /// Whether they are the maker's own, or those of the standard series.
    pub owned: bool,
}

/// Shares of a powder that are sieved off: under the least one nothing happens, over the most one it is another powder (convention).
const WORTH_SIEVING: std::ops::RangeInclusive<f64> = 0.001..=0.5;

/// Those of these openings, µm, that take off a share of the powder worth it, each with that share (0..1).
pub(crate) fn worth_sieving(openings_um: &[f64], sizes: &SizeDistribution) -> Vec<(f64, f64)> {
    let with_share = openings_um.iter().map(|um| (*um, 1.0 - sizes.undersize(*um)));
    with_share.filter(|(_, off)| WORTH_SIEVING.contains(off)).collect()
}

/// How a sieved powder came about.
#[derive(Debug, Clone, PartialEq)]
pub struct Sieved {
    /// The powder before.
    pub of: Box<SizeRecord>,
    /// The sieves.
    pub by: Sieves,
    /// Share of the powder (0..1) that is too coarse, and left over.
    pub too_coarse: f64,
    /// Share that is too fine.
    pub too_fine: f64,
}

impl Sieved {
    /// Share of the powder that is kept, 0..1.
    pub fn kept(&self) -> f64 {
        1.0 - self.too_coarse - self.too_fine
    }

    /// The same with every size multiplied by `factor`.
    pub(super) fn scaled(&self, factor: f64) -> Self {
        let Self { too_coarse, too_fine, .. } = *self;
        Self { of: Box::new(self.of.scaled(factor)), by: self.by.each(|um| um * factor), too_coarse, too_fine }
    }

    /// The same of grains that have lost a layer, `of` being the powder before as they leave it; `None` where no grain that stayed on a
    /// sieve is left.
    pub(crate) fn less(&self, of: SizeRecord, loss_um: f64) -> Option<Self> {
        let Self { too_coarse, too_fine, .. } = *self;
        let by = self.by.each(|um| um - loss_um);
        let left = [by.through_um, by.over_um].into_iter().flatten().all(|um| um > 0.0);
        left.then(|| Self { of: Box::new(of), by, too_coarse, too_fine })
    }
}

/// A powder of which less than this share is kept is not sieved but thrown away.
const LEAST_KEPT: f64 = 1e-3;

impl SizeRecord {
    /// What is kept of the powder. Each grain goes by its size (an ideal cut); what goes astray near an opening is for draws.
    ///
    /// # Errors
    /// [`SizeError::Range`] when nothing can go through one sieve and stay on the other, or less than a thousandth is kept.
    pub fn sieved(&self, by: Sieves) -> Result<Self, SizeError> {
        if let Some(first) = &self.sieved {
            return first.of.sieved(by.after(&first.by));
        }
        let (low_um, high_um) = by.ends_um();
        if low_um >= high_um {
            return Err(SizeError::Range(format!(
                "through {} µm and over {} µm leaves nothing: the sieve that the powder goes through must be the coarser one",
                opening(high_um),
                opening(low_um)
            )));
        }
        let d = &self.distribution;
        let too_fine = if low_um > 0.0 { d.undersize(low_um) } else { 0.0 };
        let too_coarse = if high_um.is_finite() { 1.0 - d.undersize(high_um) } else { 0.0 };
        let part = d.between(low_um, high_um).filter(|(_, kept)| *kept >= LEAST_KEPT);
        let Some((distribution, kept)) = part else {
            return Err(SizeError::Range(format!(
                "{} leaves next to nothing of the powder, whose D10 to D90 are {} to {} µm: check the openings",
                by.said(),
                three(d.quantile(0.1)),
                three(d.quantile(0.9))
            )));
        };
        let inside = |x: f64| low_um < x && x < high_um;
        let points = self.points.iter().filter(|p| inside(p.0)).map(|p| (p.0, distribution.undersize(p.0))).collect();
        let open = |was: f64, beyond: bool| if beyond { 0.0 } else { (was / kept).min(1.0) };
        let [lowest, highest] = [self.classes.first().map(|c| c.lower_um), self.classes.last().map(|c| c.upper_um)];
        let sieved = Sieved { of: Box::new(self.clone()), by, too_coarse, too_fine };
        let mut assumptions = self.assumptions.clone();
        assumptions.push(sieved.said());
        Ok(Self {
            classes: self.classes.iter().filter_map(|c| within(c, low_um, high_um, &distribution, highest)).collect(),
            points,
            open_below: open(self.open_below, lowest.is_none_or(|um| low_um > um)),
            open_above: open(self.open_above, highest.is_none_or(|um| high_um < um)),
            stated_top_um: self.stated_top_um.map(|top| top.min(high_um)),
            basis: format!("{}, sieved {}", self.basis, by.said()),
            assumptions,
            distribution,
            form: self.form,
            measured: self.measured,
            sieved: Some(sieved),
            understood: self.understood.clone(),
        })
    }

    /// Share of the powder (0..1) that the maker's own sieves leave; 1 where it is not sieved.
    pub fn kept(&self) -> f64 {
        self.sieved.as_ref().map_or(1.0, Sieved::kept)
    }
}

impl Sieved {
    fn said(&self) -> String {
        let coarse = self.by.through_um.map(|um| {
            let (least, most) = self.of.coarser_than(um);
            format!("{} stays on {} µm", percent(self.too_coarse, [least, most]), opening(um))
        });
        let fine = self.by.over_um.map(|um| {
            let (least, most) = self.of.coarser_than(um);
            format!("{} falls through {} µm", percent(self.too_fine, [1.0 - most, 1.0 - least]), opening(um))
        });
        let lost = coarse.into_iter().chain(fine).collect::<Vec<_>>().join(" and ");
        format!(
            "sieved by the maker, each grain taken to go by its size: {lost}, {} % is kept; parts and shares are of what is kept",
            three(100.0 * self.kept())
        )
    }
}

/// The part of a class between two sizes. One above the coarsest sieve, which reaches to the `highest` size, stays open while that end stands;
/// one below the finest while its lower end does.
fn within(class: &Class, low_um: f64, high_um: f64, kept: &SizeDistribution, highest: Option<f64>) -> Option<Class> {
    let (lower_um, upper_um) = (class.lower_um.max(low_um), class.upper_um.min(high_um));
    let share = kept.undersize(upper_um) - kept.undersize(lower_um);
    let is_top = highest == Some(class.upper_um);
    let stands = if is_top { upper_um == class.upper_um } else { lower_um == class.lower_um };
    (lower_um < upper_um).then_some(Class { lower_um, upper_um, share, open: class.open && stands })
}

/// A share that is taken, and where its size lies in a class with but one bound, what the table leaves open.
fn percent(taken: f64, [least, most]: [f64; 2]) -> String {
    let [taken, least, most] = [taken, least, most].map(|share| three(100.0 * share));
    if least == most {
        format!("{taken} %")
    } else {
        format!("{taken} % (assumed; the table tells {least} to {most} %)")
    }
}

/// An opening as it stands on a sieve's plate.
fn opening(um: f64) -> String {
    crate::units::plain((um * 1000.0).round() / 1000.0)
}
