//! An acid in the water of a scrub: how much of it is free at a pH, what brings it there, and how firmly it stays.
//!
//! Amounts are mol per kg of scrub. The species of an acid with the constants K1, K2 … follow at once from the pH
//! (Henderson-Hasselbalch, step by step): HnA : H(n−1)A⁻ : … = 1 : K1/h : K1 K2/h² : …
//!
//! Davies' equation gives the constants in salty water, log γ = −A z² (√I/(1 + √I) − 0.3 I) (C. W. Davies, *Ion
//! Association*, 1962); it holds to I of about 0.5 mol/L. Van Slyke's buffer capacity is 2.303 C times the variance of the
//! acid's charge (D. D. Van Slyke, J. Biol. Chem. 52, 1922, for one proton: C K h / (K + h)²).

use crate::numerics::roots::brent;
use crate::tables::{Acid, FormulaConstants, Known};
use std::f64::consts::LN_10;

/// pKw of water at 25 °C.
const PKW: f64 = 13.995;

/// Rounds of solving ionic strength and constants in turn; they settle in a handful.
const ROUNDS: usize = 12;

/// Shares of an acid's species at a pH, the free acid first; they sum to 1.
pub fn species(pkas: &[f64], ph: f64) -> Vec<f64> {
    // From the largest term, so that no power overflows.
    let mut logs = vec![0.0];
    for pka in pkas {
        logs.push(logs[logs.len() - 1] + ph - pka);
    }
    let top = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let terms: Vec<f64> = logs.iter().map(|l| 10f64.powf(l - top)).collect();
    let sum: f64 = terms.iter().sum();
    terms.iter().map(|t| t / sum).collect()
}

/// Share of an acid that is free, 0..1.
pub fn free_share(pkas: &[f64], ph: f64) -> f64 {
    species(pkas, ph)[0]
}

/// Mean number of protons given away, and its variance.
pub fn charge(pkas: &[f64], ph: f64) -> (f64, f64) {
    let shares = species(pkas, ph);
    let moment = |power: i32| shares.iter().enumerate().map(|(z, s)| s * (z as f64).powi(power)).sum::<f64>();
    let mean = moment(1);
    (mean, moment(2) - mean * mean)
}

/// The pKa in water of an ionic strength, mol/L, the pH being read as activity (Davies).
pub fn davies_pkas(pkas: &[f64], ionic_strength: f64, constants: &FormulaConstants<Known>) -> Vec<f64> {
    let strength = ionic_strength.min(constants.davies_limit_m.value);
    let root = strength.sqrt();
    let shift = constants.davies_a.value * (root / (1.0 + root) - 0.3 * strength);
    // A step from charge −z to −(z + 1) changes z² by 2z + 1.
    pkas.iter().enumerate().map(|(z, pka)| pka - shift * (2 * z + 1) as f64).collect()
}

/// An acid and what stands against it, mol per kg of scrub.
#[derive(Debug, Clone, PartialEq)]
pub struct Solution {
    /// pKa, first to last.
    pub pkas: Vec<f64>,
    /// Acid, its salts included.
    pub acid_mol: f64,
    /// Strong base: sodium of salts, and neutraliser.
    pub base_mol: f64,
    /// Water, kg per kg of scrub.
    pub water_kg: f64,
}

impl Solution {
    /// Positive charge that is missing at a pH, mol per kg of scrub; it falls as the base comes up to what the pH needs.
    fn base_missing(&self, ph: f64) -> f64 {
        let (mean, _) = charge(&self.pkas, ph);
        let (h, oh) = (10f64.powf(-ph), 10f64.powf(ph - PKW));
        self.acid_mol * mean + self.water_kg * (oh - h) - self.base_mol
    }

    /// Base to be added for a pH, mol per kg of scrub; negative when there is too much already.
    pub fn base_for(&self, ph: f64) -> f64 {
        self.base_missing(ph)
    }

    /// The pH at which all charges balance.
    pub fn ph(&self) -> f64 {
        // What is missing rises with the pH throughout, from minus infinity to plus infinity for all practical purposes.
        brent(|ph| self.base_missing(ph), -2.0, 16.0, 1e-10).unwrap_or(f64::NAN)
    }

    /// Van Slyke's buffer capacity, mol per kg of scrub and pH.
    pub fn buffer_capacity(&self, ph: f64) -> f64 {
        let (_, variance) = charge(&self.pkas, ph);
        LN_10 * (self.acid_mol * variance + self.water_kg * (10f64.powf(-ph) + 10f64.powf(ph - PKW)))
    }

    /// Ionic strength at a pH, mol per kg of water, the acid being brought there by a strong base.
    pub fn ionic_strength(&self, ph: f64) -> f64 {
        if self.water_kg <= 0.0 {
            return f64::INFINITY;
        }
        let shares = species(&self.pkas, ph);
        let squares: f64 = shares.iter().enumerate().map(|(z, s)| s * (z * z) as f64).sum();
        let (mean, _) = charge(&self.pkas, ph);
        0.5 * self.acid_mol * (squares + mean) / self.water_kg
    }

    /// The same solution with the constants that hold in its own salt at a pH.
    pub fn in_salt(&self, ph: f64, constants: &FormulaConstants<Known>) -> Self {
        let mut salty = self.clone();
        for _ in 0..ROUNDS {
            salty.pkas = davies_pkas(&self.pkas, salty.ionic_strength(ph), constants);
        }
        salty
    }
}

/// Mass of salt and of acid that make the acid at a pH without a base, g per mol of both together.
pub fn buffer_pair(acid: &Acid, ph: f64) -> (f64, f64) {
    let (mean, _) = charge(&acid.pkas(), ph);
    let salt = (mean / acid.salt_charge).min(1.0);
    ((1.0 - salt) * acid.mw, salt * acid.salt_mw)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn species_sum_to_one_and_hold_at_any_ph() {
        for ph in [-2.0, 0.0, 4.75, 9.0, 16.0] {
            let shares = species(&[3.13, 4.76, 6.4], ph);
            assert_relative_eq!(shares.iter().sum::<f64>(), 1.0, max_relative = 1e-14);
            assert!(shares.iter().all(|s| (0.0..=1.0).contains(s)));
        }
        assert_relative_eq!(free_share(&[4.0], 4.0), 0.5, max_relative = 1e-14);
    }

    #[test]
    fn the_base_for_a_ph_gives_that_ph() {
        let mut solution = Solution { pkas: vec![3.13, 4.76, 6.4], acid_mol: 0.13, base_mol: 0.02, water_kg: 0.8 };
        for ph in [3.0, 4.2, 5.5, 7.0] {
            let start = solution.base_mol;
            solution.base_mol += solution.base_for(ph);
            assert_relative_eq!(solution.ph(), ph, max_relative = 1e-8);
            solution.base_mol = start;
        }
    }

    #[test]
    fn buffer_capacity_is_the_slope_of_the_titration() {
        let solution = Solution { pkas: vec![3.4, 5.2], acid_mol: 0.1, base_mol: 0.0, water_kg: 1.0 };
        for ph in [2.5, 3.4, 4.3, 5.2, 7.0] {
            let slope = (solution.base_for(ph + 1e-5) - solution.base_for(ph - 1e-5)) / 2e-5;
            assert_relative_eq!(solution.buffer_capacity(ph), slope, max_relative = 1e-6);
        }
    }
}
