//! A size distribution by volume, measured or a law.

use super::cut::Cut;
use super::law::{Law, TAIL_Z};
use super::table::CLOSEST;
use super::worn::Worn;
use super::{SizeError, SizePanels};
use crate::numerics::normal;
use crate::numerics::pchip::Pchip;
use crate::units::Micrometres;

/// A size distribution by volume.
#[derive(Debug, Clone, PartialEq)]
pub struct SizeDistribution {
    shape: CurveShape,
}

#[derive(Debug, Clone, PartialEq)]
enum CurveShape {
    Law(Law),
    /// Q3 on ln x, from exactly 0 to exactly 1.
    Measured(Pchip),
    /// The probit of Q3 on ln x, with straight (log-normal) tails beyond the outer percentiles.
    Percentiles(Pchip),
    /// Grains of another distribution that have lost a layer.
    Worn(Box<Worn>),
    /// Grains of another distribution between two sizes.
    Cut(Box<Cut>),
}

impl From<Worn> for SizeDistribution {
    fn from(worn: Worn) -> Self {
        Self { shape: CurveShape::Worn(Box::new(worn)) }
    }
}

impl From<Law> for SizeDistribution {
    fn from(law: Law) -> Self {
        Self { shape: CurveShape::Law(law) }
    }
}

impl SizeDistribution {
    /// A measured curve: knots (size in µm rising strictly, Q3 rising from 0 to 1), interpolated by a monotone cubic of
    /// Q3 on ln x.
    ///
    /// # Errors
    /// [`SizeError::Curve`] when sizes do not rise, [`SizeError::Percentiles`] when Q3 falls or does not run from 0 to 1.
    pub fn measured(knots: &[(Micrometres, f64)]) -> Result<Self, SizeError> {
        let falls = knots.windows(2).any(|w| w[1].1 < w[0].1);
        let ends = knots.first().is_some_and(|k| k.1 == 0.0) && knots.last().is_some_and(|k| k.1 == 1.0);
        if falls || !ends {
            return Err(SizeError::Percentiles("a measured curve must rise from 0 to 100 % undersize".into()));
        }
        let x = knots.iter().map(|k| k.0.get().ln()).collect();
        let y = knots.iter().map(|k| k.1).collect();
        Ok(Self { shape: CurveShape::Measured(Pchip::new(x, y)?) })
    }

    /// A curve through two or more percentiles `(percent finer, size)`. It is interpolated by a monotone cubic of the
    /// probit of Q3 on ln x and goes on straight beyond the outer ones, so two percentiles give a log-normal exactly.
    ///
    /// # Errors
    /// [`SizeError::Percentiles`] with fewer than two, one outside 0.1..99.9, or sizes that do not rise with them by a millionth.
    pub fn percentiles(points: &[(f64, Micrometres)]) -> Result<Self, SizeError> {
        let mut points = points.to_vec();
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        if points.len() < 2 {
            return Err(SizeError::Percentiles(
                "one percentile says nothing of the spread; give two or more, for example d10_um, d50_um and d90_um"
                    .into(),
            ));
        }
        if let Some(bad) = points.iter().find(|p| !(0.1..=99.9).contains(&p.0)) {
            return Err(SizeError::Percentiles(format!("d{} is not a percentile between d0.1 and d99.9", bad.0)));
        }
        if let Some(w) = points.windows(2).find(|w| w[0].1.get() >= w[1].1.get()) {
            return Err(SizeError::Percentiles(format!(
                "percentiles must rise, but d{} = {} µm is not above d{} = {} µm",
                w[1].0,
                w[1].1.get(),
                w[0].0,
                w[0].1.get()
            )));
        }
        if let Some(w) = points.windows(2).find(|w| w[1].1.get() < w[0].1.get() * (1.0 + CLOSEST)) {
            return Err(SizeError::Percentiles(format!(
                "d{} and d{} are next to the same size, {} µm; percentiles must lie a millionth apart at least",
                w[0].0,
                w[1].0,
                w[0].1.get()
            )));
        }
        let x = points.iter().map(|p| p.1.get().ln()).collect();
        let z = points.iter().map(|p| normal::quantile(p.0 / 100.0)).collect();
        Ok(Self { shape: CurveShape::Percentiles(Pchip::with_chord_ends(x, z)?) })
    }

    /// The same distribution with every size multiplied by `factor` (positive).
    pub fn scaled(&self, factor: f64) -> Self {
        let shift = factor.ln();
        let shape = match &self.shape {
            CurveShape::Law(law) => CurveShape::Law(law.shifted(shift)),
            CurveShape::Measured(curve) => CurveShape::Measured(curve.shifted(shift)),
            CurveShape::Percentiles(curve) => CurveShape::Percentiles(curve.shifted(shift)),
            CurveShape::Worn(worn) => CurveShape::Worn(Box::new(worn.scaled(factor))),
            CurveShape::Cut(cut) => CurveShape::Cut(Box::new(cut.scaled(factor))),
        };
        Self { shape }
    }

    /// What is left when every grain has lost a layer: diameters less by `loss_um`, grains up to that size gone. `panels` are
    /// those of this distribution above 0. `None` when less than the share `least` of the volume is left; a loss of 0 or
    /// less leaves all.
    pub fn less_a_layer(&self, panels: &SizePanels, loss_um: f64, least: f64) -> Option<Self> {
        if loss_um > 0.0 { Worn::new(self, panels, loss_um, least).map(Self::from) } else { Some(self.clone()) }
    }

    /// What passes an opening of this size, µm, as a whole, with its share of the volume (0..1): an ideal cut. `None` where next to nothing
    /// does.
    pub fn through(&self, opening_um: f64) -> Option<(Self, f64)> {
        self.between(0.0, opening_um)
    }

    /// What stays on it, likewise.
    pub fn over(&self, opening_um: f64) -> Option<(Self, f64)> {
        self.between(opening_um, f64::INFINITY)
    }

    /// What lies between two sizes, likewise.
    pub(super) fn between(&self, low_um: f64, high_um: f64) -> Option<(Self, f64)> {
        let (cut, share) = Cut::new(self, low_um, high_um)?;
        Some((Self { shape: CurveShape::Cut(Box::new(cut)) }, share))
    }

    /// The law, if the distribution is one.
    pub fn law(&self) -> Option<&Law> {
        match &self.shape {
            CurveShape::Law(law) => Some(law),
            _ => None,
        }
    }

    /// Undersize by volume Q3 (0..1) at `size_um`.
    pub fn undersize(&self, size_um: f64) -> f64 {
        if size_um.is_nan() || size_um <= 0.0 {
            return 0.0;
        }
        self.undersize_ln(size_um.ln())
    }

    /// The same at ln (x / µm).
    pub fn undersize_ln(&self, ln_x: f64) -> f64 {
        match &self.shape {
            CurveShape::Law(law) => law.undersize_ln(ln_x),
            CurveShape::Measured(curve) => curve.at(ln_x).0,
            CurveShape::Percentiles(curve) => normal::cdf(probit(curve, ln_x).0),
            CurveShape::Worn(worn) => worn.undersize_ln(ln_x),
            CurveShape::Cut(cut) => cut.undersize_ln(ln_x),
        }
    }

    /// Density by volume per unit of ln x at ln (x / µm).
    #[inline]
    pub fn density_ln(&self, ln_x: f64) -> f64 {
        match &self.shape {
            CurveShape::Law(law) => law.density_ln(ln_x),
            CurveShape::Measured(curve) => {
                let knots = curve.knots();
                if ln_x < knots[0] || ln_x > knots[knots.len() - 1] { 0.0 } else { curve.at(ln_x).1.max(0.0) }
            }
            CurveShape::Percentiles(curve) => {
                let (z, slope) = probit(curve, ln_x);
                slope * normal::pdf(z)
            }
            CurveShape::Worn(worn) => worn.density_ln(ln_x),
            CurveShape::Cut(cut) => cut.density_ln(ln_x),
        }
    }

    /// Size in µm below which the share `p` (0..1) of the volume lies. At 0 and 1 a law may give 0 or infinity.
    pub fn quantile(&self, p: f64) -> f64 {
        match &self.shape {
            CurveShape::Law(law) => law.quantile(p),
            CurveShape::Measured(curve) => curve.inverse(p).exp(),
            CurveShape::Percentiles(curve) => {
                let z = normal::quantile(p);
                let (x, y) = (curve.knots(), curve.values());
                let (last, (first_slope, last_slope)) = (x.len() - 1, curve.end_slopes());
                if z <= y[0] {
                    (x[0] + (z - y[0]) / first_slope).exp()
                } else if z >= y[last] {
                    (x[last] + (z - y[last]) / last_slope).exp()
                } else {
                    curve.inverse(z).exp()
                }
            }
            CurveShape::Worn(worn) => worn.quantile(p),
            CurveShape::Cut(cut) => cut.quantile(p),
        }
    }

    /// The moment M_k,3 = ∫ x^k dQ3 (ISO 9276-2), µm^k, integrated within the classes; `None` where it diverges.
    pub fn moment(&self, k: i32) -> Option<f64> {
        let [moment] = self.moments([k]);
        moment
    }

    /// Several moments from one pass over the sizes.
    pub fn moments<const N: usize>(&self, orders: [i32; N]) -> [Option<f64>; N] {
        match &self.shape {
            CurveShape::Law(law) => orders.map(|k| law.moment(k)),
            _ => {
                let panels = self.panels_above(0.0);
                orders.map(|k| Some(panels.integrate(|x| x.powi(k))))
            }
        }
    }

    /// Sizes in µm below which the shares `p` (0..1) of the number of grains lie; `None` where the number is infinite.
    pub fn number_quantiles<const N: usize>(&self, p: [f64; N]) -> [Option<f64>; N] {
        match &self.shape {
            CurveShape::Law(law) => p.map(|p| law.number_quantile(p)),
            _ => {
                let numbers = self.panels_above(0.0).cumulative(|x| x.powi(-3));
                p.map(|p| numbers.quantile(p).map(f64::exp))
            }
        }
    }

    /// Size in µm below which the share `p` (0..1) of the number of grains lies; `None` where the number is infinite.
    pub fn number_quantile(&self, p: f64) -> Option<f64> {
        let [size] = self.number_quantiles([p]);
        size
    }

    /// Gauss nodes over all sizes, less the panels that lie wholly below `floor_um`.
    pub fn panels_above(&self, floor_um: f64) -> SizePanels {
        SizePanels::above(self, floor_um)
    }

    /// Edges on the ln x axis between which the density is smooth.
    pub(super) fn edges_ln(&self) -> Vec<f64> {
        match &self.shape {
            CurveShape::Law(law) => law.edges_ln(),
            CurveShape::Measured(curve) => curve.knots().to_vec(),
            CurveShape::Percentiles(curve) => percentile_edges(curve),
            CurveShape::Worn(worn) => worn.edges_ln(),
            CurveShape::Cut(cut) => cut.edges_ln(),
        }
    }
}

/// Probit of Q3 and its slope at ln x, straight beyond the knots.
fn probit(curve: &Pchip, ln_x: f64) -> (f64, f64) {
    let (x, y) = (curve.knots(), curve.values());
    let (first, last) = curve.end_slopes();
    let end = x.len() - 1;
    if ln_x < x[0] {
        (y[0] + first * (ln_x - x[0]), first)
    } else if ln_x > x[end] {
        (y[end] + last * (ln_x - x[end]), last)
    } else {
        curve.at(ln_x)
    }
}

/// Knots, their subdivisions at about one standard deviation, and the tails out to where nothing is left.
fn percentile_edges(curve: &Pchip) -> Vec<f64> {
    let (x, z) = (curve.knots(), curve.values());
    let (first, last) = curve.end_slopes();
    let end = x.len() - 1;
    let mut edges = Vec::new();
    // Moments weighted by number live in the fine tail, three times the tail's standard deviation of ln x further down.
    let mut down = -TAIL_Z - 3.0 / first;
    while down < z[0] - 0.3 {
        edges.push(x[0] + (down - z[0]) / first);
        down += 1.5;
    }
    edges.push(x[0]);
    for i in 0..end {
        let pieces = ((z[i + 1] - z[i]) / 1.0).ceil().max(1.0) as usize;
        edges.extend((1..=pieces).map(|k| x[i] + (x[i + 1] - x[i]) * k as f64 / pieces as f64));
    }
    let mut up = z[end] + 1.5;
    while up < TAIL_Z + 1.0 {
        edges.push(x[end] + (up - z[end]) / last);
        up += 1.5;
    }
    edges
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn um(v: f64) -> Micrometres {
        Micrometres::new(v).unwrap()
    }

    #[test]
    fn two_percentiles_are_a_log_normal() {
        let by_percentiles = SizeDistribution::percentiles(&[(15.865_525_393, um(50.0)), (50.0, um(80.0))]).unwrap();
        let law = SizeDistribution::from(Law::log_normal(um(80.0), 1.6).unwrap());
        for x in [10.0, 40.0, 80.0, 300.0] {
            assert_relative_eq!(by_percentiles.undersize(x), law.undersize(x), max_relative = 1e-7);
        }
        for k in [-3, -1, 1, 3] {
            let (a, b) = (by_percentiles.moment(k).unwrap(), law.moment(k).unwrap());
            assert_relative_eq!(a, b, max_relative = 1e-6);
        }
    }

    #[test]
    fn percentiles_are_kept_exactly() {
        let d = SizeDistribution::percentiles(&[(90.0, um(90.0)), (10.0, um(20.0)), (50.0, um(45.0))]).unwrap();
        for (p, x) in [(0.1, 20.0), (0.5, 45.0), (0.9, 90.0)] {
            assert_relative_eq!(d.quantile(p), x, max_relative = 1e-10);
            assert_relative_eq!(d.undersize(x), p, max_relative = 1e-10);
        }
        let text = SizeDistribution::percentiles(&[(10.0, um(50.0)), (50.0, um(45.0))]).unwrap_err().to_string();
        assert!(text.contains("must rise") && text.contains("d50 = 45"), "{text}");
    }

    #[test]
    fn panels_hold_the_whole_volume_and_drop_only_what_is_below_the_floor() {
        let shapes = [
            SizeDistribution::from(Law::log_normal(um(60.0), 1.6).unwrap()),
            SizeDistribution::from(Law::rosin_rammler(um(60.0), 1.1).unwrap()),
            SizeDistribution::from(Law::gates_gaudin_schuhmann(um(60.0), 2.0).unwrap()),
            SizeDistribution::percentiles(&[(10.0, um(20.0)), (50.0, um(45.0)), (90.0, um(90.0))]).unwrap(),
            SizeDistribution::measured(&[(um(20.0), 0.0), (um(50.0), 0.4), (um(51.0), 0.4), (um(900.0), 1.0)]).unwrap(),
        ];
        for shape in shapes {
            assert_relative_eq!(shape.panels_above(0.0).integrate(|_| 1.0), 1.0, max_relative = 2e-7);
            let panels = shape.panels_above(40.0);
            let above = panels.cumulative(|_| 1.0);
            let kept = above.total() - above.below(40.0_f64.ln());
            assert_relative_eq!(kept, 1.0 - shape.undersize(40.0), max_relative = 1e-4);
        }
    }
}
