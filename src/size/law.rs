//! The three laws that powders are described by, each with two parameters.
//!
//! | law | Q3(x) |
//! |---|---|
//! | log-normal | Φ(ln(x / median) / ln gsd) |
//! | Rosin-Rammler (DIN 66145; Weibull) | 1 − exp(−(x / size)^exponent) |
//! | Gates-Gaudin-Schuhmann | (x / size)^exponent up to x = size |

use super::SizeError;
use crate::numerics::{normal, roots};
use crate::source::words;
use crate::units::Micrometres;
use statrs::function::gamma::{gamma_lr, ln_gamma};

words! {
    /// Which law.
    pub enum LawName {
        /// Log-normal by volume.
        LogNormal = "log-normal",
        /// Rosin-Rammler.
        RosinRammler = "rosin-rammler",
        /// Gates-Gaudin-Schuhmann.
        GatesGaudinSchuhmann = "gates-gaudin-schuhmann",
    }
}

impl LawName {
    /// The keys of scrub files: of the size, and of the width.
    pub fn keys(self) -> [&'static str; 2] {
        match self {
            Self::LogNormal => ["d50_um", "gsd"],
            Self::RosinRammler => ["rr_size_um", "rr_exponent"],
            Self::GatesGaudinSchuhmann => ["ggs_size_um", "ggs_exponent"],
        }
    }

    /// As people write it.
    pub fn label(self) -> &'static str {
        match self {
            Self::LogNormal => "log-normal",
            Self::RosinRammler => "Rosin-Rammler",
            Self::GatesGaudinSchuhmann => "Gates-Gaudin-Schuhmann",
        }
    }
}

/// A law with its parameters: a location on the ln x axis and a slope. For the log-normal the location is the median and
/// the slope 1 / ln gsd; for the other two they are ln size and the exponent.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Law {
    name: LawName,
    location: f64,
    slope: f64,
}

/// Φ is below 1e-15 beyond this many standard deviations, so nothing outside is integrated.
pub(super) const TAIL_Z: f64 = 8.0;
const NORMAL_EDGES: [f64; 11] = [-TAIL_Z, -6.0, -4.5, -3.0, -1.5, 0.0, 1.5, 3.0, 4.5, 6.0, TAIL_Z];
/// Rosin-Rammler in y = exponent · ln(x / size): the density is exp(y − e^y), flat on the left, a cliff on the right.
const RR_EDGES: [f64; 17] =
    [-18.0, -14.0, -11.0, -8.5, -6.5, -5.0, -3.6, -2.4, -1.4, -0.5, 0.2, 0.8, 1.3, 1.8, 2.3, 2.8, 3.4];
/// Gates-Gaudin-Schuhmann in exponent · ln(x / size): a plain exponential.
const GGS_EDGES: [f64; 9] = [-18.0, -14.0, -11.0, -8.5, -6.5, -4.5, -2.9, -1.4, 0.0];

impl Law {
    /// The narrowest log-normal, a geometric standard deviation.
    pub const LEAST_GSD: f64 = 1.0 + 1e-6;
    /// The widest.
    pub const MOST_GSD: f64 = 20.0;

    /// A law by its size in µm and its width: of the log-normal the median and the geometric standard deviation, above 1 and at most 20;
    /// of the others the size parameter (63.2 % finer, or the top) and the exponent, 0.05 to 100.
    ///
    /// # Errors
    /// [`SizeError::Parameter`] when the width is out of range.
    pub fn new(name: LawName, size: Micrometres, width: f64) -> Result<Self, SizeError> {
        let (fits, slope, allowed) = match name {
            LawName::LogNormal => (is_gsd(width), 1.0 / width.ln(), "above 1 (1.5 is a usual powder) and at most 20"),
            _ => (is_exponent(width), width, "between 0.05 and 100"),
        };
        let [_, key] = name.keys();
        let law = fits.then(|| Self { name, location: size.get().ln(), slope });
        law.ok_or(SizeError::Parameter { name: key, allowed, given: width })
    }

    /// Log-normal by volume, as of [`Law::new`].
    ///
    /// # Errors
    /// As [`Law::new`].
    pub fn log_normal(median: Micrometres, gsd: f64) -> Result<Self, SizeError> {
        Self::new(LawName::LogNormal, median, gsd)
    }

    /// Rosin-Rammler, as of [`Law::new`].
    ///
    /// # Errors
    /// As [`Law::new`].
    pub fn rosin_rammler(size: Micrometres, exponent: f64) -> Result<Self, SizeError> {
        Self::new(LawName::RosinRammler, size, exponent)
    }

    /// Gates-Gaudin-Schuhmann, as of [`Law::new`].
    ///
    /// # Errors
    /// As [`Law::new`].
    pub fn gates_gaudin_schuhmann(size: Micrometres, exponent: f64) -> Result<Self, SizeError> {
        Self::new(LawName::GatesGaudinSchuhmann, size, exponent)
    }

    /// From the location (ln µm) and slope that a fit found; `None` when they make no law.
    pub(super) fn from_location_and_slope(name: LawName, location: f64, slope: f64) -> Option<Self> {
        (location.is_finite() && slope.is_finite() && slope > 0.0).then_some(Self { name, location, slope })
    }

    /// Whether its parameters are those of a powder: within the limits that the constructors set.
    pub(super) fn is_of_a_powder(&self) -> bool {
        let width = self.gsd().map_or_else(|| is_exponent(self.slope), is_gsd);
        width && Micrometres::new(self.size_um()).is_ok()
    }

    /// The same law moved along the ln x axis.
    pub(super) fn shifted(&self, shift_ln: f64) -> Self {
        Self { location: self.location + shift_ln, ..*self }
    }

    /// Which law this is.
    pub fn name(&self) -> LawName {
        self.name
    }

    /// ln of the median (log-normal) or of the size parameter, and the slope.
    pub(crate) fn location_and_slope(&self) -> (f64, f64) {
        (self.location, self.slope)
    }

    /// Median of the log-normal, or the size parameter of the other two, µm.
    pub fn size_um(&self) -> f64 {
        self.location.exp()
    }

    /// The exponent of Rosin-Rammler or Gates-Gaudin-Schuhmann.
    pub fn exponent(&self) -> Option<f64> {
        (self.name != LawName::LogNormal).then_some(self.slope)
    }

    /// The geometric standard deviation of the log-normal.
    pub fn gsd(&self) -> Option<f64> {
        (self.name == LawName::LogNormal).then(|| (1.0 / self.slope).exp())
    }

    /// Undersize by volume at ln x.
    #[inline]
    pub fn undersize_ln(&self, ln_x: f64) -> f64 {
        let y = (ln_x - self.location) * self.slope;
        match self.name {
            LawName::LogNormal => normal::cdf(y),
            LawName::RosinRammler => -(-y.exp()).exp_m1(),
            LawName::GatesGaudinSchuhmann => y.min(0.0).exp(),
        }
    }

    /// Density by volume per unit of ln x.
    #[inline]
    pub fn density_ln(&self, ln_x: f64) -> f64 {
        let y = (ln_x - self.location) * self.slope;
        self.slope
            * match self.name {
                LawName::LogNormal => normal::pdf(y),
                LawName::RosinRammler => (y - y.exp()).exp(),
                LawName::GatesGaudinSchuhmann if y > 0.0 => 0.0,
                LawName::GatesGaudinSchuhmann => y.exp(),
            }
    }

    /// Size in µm below which the share `p` of the volume lies.
    pub fn quantile(&self, p: f64) -> f64 {
        let p = p.clamp(0.0, 1.0);
        let y = match self.name {
            LawName::LogNormal => normal::quantile(p),
            LawName::RosinRammler => (-(-p).ln_1p()).ln(),
            LawName::GatesGaudinSchuhmann => p.ln(),
        };
        (self.location + y / self.slope).exp()
    }

    /// The moment M_k,3 = ∫ x^k dQ3 (ISO 9276-2), µm^k; `None` where it diverges.
    pub fn moment(&self, k: i32) -> Option<f64> {
        let k = f64::from(k);
        let log = match self.name {
            LawName::LogNormal => 0.5 * (k / self.slope).powi(2),
            LawName::RosinRammler if 1.0 + k / self.slope > 0.0 => ln_gamma(1.0 + k / self.slope),
            LawName::GatesGaudinSchuhmann if self.slope + k > 0.0 => (self.slope / (self.slope + k)).ln(),
            _ => return None,
        };
        Some((k * self.location + log).exp())
    }

    /// Size in µm below which the share `p` of the number of grains lies; `None` where the number is infinite (the
    /// exponent of a power-law tail must pass 3).
    pub fn number_quantile(&self, p: f64) -> Option<f64> {
        match self.name {
            // Hatch and Choate 1929: the number median is the volume median times exp(-3 ln² gsd).
            LawName::LogNormal => {
                let sigma = 1.0 / self.slope;
                Some((self.location - 3.0 * sigma * sigma + sigma * normal::quantile(p)).exp())
            }
            LawName::RosinRammler if self.slope > 3.0 => {
                let a = 1.0 - 3.0 / self.slope;
                let y = roots::brent(|y: f64| gamma_lr(a, y.exp()) - p, -200.0, 4.0, 1e-13).ok()?;
                Some((self.location + y / self.slope).exp())
            }
            LawName::GatesGaudinSchuhmann if self.slope > 3.0 => {
                Some((self.location + p.ln() / (self.slope - 3.0)).exp())
            }
            _ => None,
        }
    }

    /// Panel edges in ln x that resolve the density.
    pub(super) fn edges_ln(&self) -> Vec<f64> {
        let edges: &[f64] = match self.name {
            LawName::LogNormal => &NORMAL_EDGES,
            LawName::RosinRammler => &RR_EDGES,
            LawName::GatesGaudinSchuhmann => &GGS_EDGES,
        };
        edges.iter().map(|y| self.location + y / self.slope).collect()
    }
}

fn is_gsd(gsd: f64) -> bool {
    (Law::LEAST_GSD..=Law::MOST_GSD).contains(&gsd)
}

fn is_exponent(exponent: f64) -> bool {
    (0.05..=100.0).contains(&exponent)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    fn um(v: f64) -> Micrometres {
        Micrometres::new(v).unwrap()
    }

    #[test]
    fn quantile_inverts_undersize_and_density_is_its_slope() {
        let laws = [
            Law::log_normal(um(80.0), 1.7).unwrap(),
            Law::rosin_rammler(um(120.0), 1.4).unwrap(),
            Law::gates_gaudin_schuhmann(um(300.0), 0.8).unwrap(),
        ];
        for law in laws {
            for p in [0.01, 0.2, 0.5, 0.9, 0.999] {
                let x = law.quantile(p).ln();
                assert_relative_eq!(law.undersize_ln(x), p, max_relative = 1e-9);
                let slope = (law.undersize_ln(x + 1e-5) - law.undersize_ln(x - 1e-5)) / 2e-5;
                assert_relative_eq!(law.density_ln(x), slope, max_relative = 1e-6);
            }
        }
    }

    #[test]
    fn number_moments_exist_only_where_they_converge() {
        let law = Law::rosin_rammler(um(100.0), 2.0).unwrap();
        assert!(law.moment(1).is_some() && law.moment(-1).is_some());
        assert!(law.moment(-2).is_none() && law.number_quantile(0.5).is_none());
    }

    #[test]
    fn refuses_parameters_out_of_range() {
        assert!(Law::log_normal(um(50.0), 1.0).is_err());
        assert!(Law::rosin_rammler(um(50.0), -2.0).is_err());
        assert!(Law::gates_gaudin_schuhmann(um(50.0), f64::NAN).is_err());
    }
}
