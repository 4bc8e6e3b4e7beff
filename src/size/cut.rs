//! Grains between two sizes: what passes a sieve, what stays on one. The cut is ideal, each grain on the side of its size; a sieve of
//! the workshop leaves some near its opening on the wrong side.

use super::SizeDistribution;

/// The volume of another distribution between two sizes, as a whole.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Cut {
    of: SizeDistribution,
    /// ln (x / µm) of the ends; infinite where there is none.
    ends_ln: (f64, f64),
    /// Q3 of the uncut distribution at the ends.
    undersize: (f64, f64),
}

/// A share of the volume under this is nothing to go on.
const LEAST_SHARE: f64 = 1e-9;

impl Cut {
    /// The part between two sizes, µm, and its share of the volume, 0..1; `None` where next to nothing lies between them.
    pub fn new(of: &SizeDistribution, low_um: f64, high_um: f64) -> Option<(Self, f64)> {
        if low_um.is_nan() || high_um.is_nan() {
            return None;
        }
        let ends_ln = (low_um.max(0.0).ln(), high_um.max(0.0).ln());
        let at = |ln_x: f64| match ln_x {
            f64::NEG_INFINITY => 0.0,
            f64::INFINITY => 1.0,
            finite => of.undersize_ln(finite),
        };
        let undersize = (at(ends_ln.0), at(ends_ln.1));
        let share = undersize.1 - undersize.0;
        (share > LEAST_SHARE).then(|| (Self { of: of.clone(), ends_ln, undersize }, share))
    }

    fn share(&self) -> f64 {
        self.undersize.1 - self.undersize.0
    }

    pub fn undersize_ln(&self, ln_x: f64) -> f64 {
        let (low, high) = self.ends_ln;
        if ln_x <= low {
            0.0
        } else if ln_x >= high {
            1.0
        } else {
            ((self.of.undersize_ln(ln_x) - self.undersize.0) / self.share()).clamp(0.0, 1.0)
        }
    }

    pub fn density_ln(&self, ln_x: f64) -> f64 {
        let (low, high) = self.ends_ln;
        if (low..=high).contains(&ln_x) { self.of.density_ln(ln_x) / self.share() } else { 0.0 }
    }

    pub fn quantile(&self, p: f64) -> f64 {
        let (low, high) = self.ends_ln;
        let size = self.of.quantile(self.undersize.0 + p.clamp(0.0, 1.0) * self.share());
        size.clamp(low.exp(), high.exp())
    }

    pub fn scaled(&self, factor: f64) -> Self {
        let ends_ln = (self.ends_ln.0 + factor.ln(), self.ends_ln.1 + factor.ln());
        Self { of: self.of.scaled(factor), ends_ln, undersize: self.undersize }
    }

    pub fn edges_ln(&self) -> Vec<f64> {
        let (low, high) = self.ends_ln;
        let within = self.of.edges_ln().into_iter().filter(|edge| low < *edge && *edge < high);
        let end = |end: f64| end.is_finite().then_some(end);
        end(low).into_iter().chain(within).chain(end(high)).collect()
    }
}

#[cfg(test)]
mod tests {
    use crate::size::SizeDistribution;
    use crate::size::law::Law;
    use crate::units::Micrometres;
    use approx::assert_relative_eq;

    fn um(v: f64) -> Micrometres {
        Micrometres::new(v).unwrap()
    }

    fn shapes() -> Vec<SizeDistribution> {
        let knots = [(um(20.0), 0.0), (um(200.0), 0.4), (um(210.0), 0.4), (um(900.0), 1.0)];
        let worn = SizeDistribution::from(Law::log_normal(um(160.0), 1.5).unwrap());
        vec![
            SizeDistribution::from(Law::log_normal(um(143.0), 1.5).unwrap()),
            SizeDistribution::from(Law::rosin_rammler(um(200.0), 1.8).unwrap()),
            SizeDistribution::percentiles(&[(10.0, um(70.0)), (50.0, um(145.0)), (90.0, um(290.0))]).unwrap(),
            SizeDistribution::measured(&knots).unwrap(),
            worn.less_a_layer(&worn.panels_above(0.0), 20.0, 1e-6).unwrap(),
        ]
    }

    #[test]
    fn what_passes_a_sieve_and_what_stays_on_it_are_the_whole() {
        for of in shapes() {
            for opening in [90.0, 150.0, 205.0, 300.0] {
                let ((fine, through), (coarse, over)) = (of.through(opening).unwrap(), of.over(opening).unwrap());
                assert_relative_eq!(through + over, 1.0, max_relative = 1e-12);
                assert_relative_eq!(through, of.undersize(opening), max_relative = 1e-12);
                for x in [60.0, 120.0, 180.0, 260.0, 400.0] {
                    let both = through * fine.undersize(x) + over * coarse.undersize(x);
                    assert_relative_eq!(both, of.undersize(x), epsilon = 1e-9);
                }
                // Moments add up; the surface of a law with a long fine tail, closed for the whole, is summed over panels for its parts.
                for (k, within) in [(-1, 1e-3), (1, 1e-5), (3, 1e-5)] {
                    let [f, c, whole] = [&fine, &coarse, &of].map(|d| d.moment(k).unwrap());
                    assert_relative_eq!(through * f + over * c, whole, max_relative = within);
                }
                for one in [&fine, &coarse] {
                    // What panels miss of the whole, 4e-6 of grains less a layer, is ten times as much of a tenth.
                    assert_relative_eq!(one.panels_above(0.0).integrate(|_| 1.0), 1.0, max_relative = 1e-4);
                    for p in [0.02, 0.4, 0.97] {
                        assert_relative_eq!(one.undersize(one.quantile(p)), p, max_relative = 1e-6);
                    }
                    assert_relative_eq!(one.scaled(2.0).quantile(0.3), 2.0 * one.quantile(0.3), max_relative = 1e-9);
                }
                assert!(
                    fine.quantile(1.0) <= opening * (1.0 + 1e-12) && coarse.quantile(0.0) >= opening * (1.0 - 1e-12)
                );
            }
        }
    }

    #[test]
    fn a_truncated_log_normal_is_what_tables_of_the_normal_give() {
        // Median 100 µm, geometric standard deviation e^0.5, sieved at 164.872 µm, one standard deviation up: Phi(1) = 0.841345 passes. Its median
        // is at Phi(z) = 0.420672, z = -0.200174 (tables of the normal distribution): 100 e^(-0.100087) = 90.4759 µm. Its mean (ln x normal,
        // truncated above): 100 e^0.125 Phi(1 - 0.5)/Phi(1) = 113.3148 x 0.691462 / 0.841345 = 93.1281 µm.
        let of = SizeDistribution::from(Law::log_normal(um(100.0), 0.5_f64.exp()).unwrap());
        let (fine, through) = of.through(100.0 * 0.5_f64.exp()).unwrap();
        assert_relative_eq!(through, 0.841_345, max_relative = 1e-6);
        assert_relative_eq!(fine.quantile(0.5), 90.4759, max_relative = 1e-4);
        assert_relative_eq!(fine.moment(1).unwrap(), 93.1281, max_relative = 1e-5);
    }

    #[test]
    fn a_sieve_that_leaves_nothing_gives_nothing() {
        let of = SizeDistribution::measured(&[(um(20.0), 0.0), (um(900.0), 1.0)]).unwrap();
        assert!(of.through(20.0).is_none() && of.over(900.0).is_none());
        assert!(of.through(f64::NAN).is_none() && of.over(-1.0).is_some_and(|(_, share)| share == 1.0));
    }
}
