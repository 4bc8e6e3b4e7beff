//! The charges in the water of a scrub: what every acid, salt and base of it does to the pH, one balance over all.
//!
//! Amounts are mol per kg of scrub. A protolyte with the constants K1, K2 … stands in forms that follow at once from the pH
//! (Henderson-Hasselbalch, step by step): HnA : H(n−1)A : … = 1 : K1/h : K1 K2/h² : …, each with a charge one lower than the
//! last. The pH is where all charges sum to nothing; the sum falls with the pH throughout, so there is one at most.
//!
//! Davies' equation gives activity coefficients in salty water, log γ = −A z² f, f = √I/(1 + √I) − 0.3 I (C. W. Davies, *Ion
//! Association*, 1962); it holds to I of about 0.5 mol/L. The pH is the activity of hydrogen, as an electrode reads it. I is that of
//! all ions at that pH, those that salts and lye brought among them, found together with it. Van Slyke's buffer
//! capacity is 2.303 times the sum of C times the variance of each charge (D. D. Van Slyke, J. Biol. Chem. 52, 1922, for one proton: C K h /
//! (K + h)²). `tests/published_balance.rs` holds both against another program's root finder.

use crate::numerics::roots::brent;
use crate::tables::{Acid, FormulaConstants, Known, Origin};
use std::f64::consts::LN_10;

/// pKw of water at 25 °C.
const PKW: f64 = 13.995;
/// Where a pH is looked for.
const PH: (f64, f64) = (-2.0, 16.0);
/// Rounds of solving pH and ionic strength in turn, and when they have settled, relative.
const ROUNDS: usize = 60;
const SETTLED: f64 = 1e-10;

/// Shares of a protolyte's forms at a pH, the one with all protons first; they sum to 1.
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

/// −log γ of a single charge in water of an ionic strength, mol/kg (Davies); that of the charge z is z² times as much.
pub fn davies(ionic_strength: f64, constants: &FormulaConstants<Known>) -> f64 {
    let strength = ionic_strength.min(constants.davies_limit_m.value);
    let root = strength.sqrt();
    constants.davies_a.value * (root / (1.0 + root) - 0.3 * strength)
}

/// The pKa that hold where a single charge has this −log γ, the pH being an activity; `top` is the charge with all protons.
pub fn pkas_in_salt(pkas: &[f64], top: i32, single: f64) -> Vec<f64> {
    // A step from the charge z to z − 1 changes z² by 1 − 2z.
    let step = |(i, pka): (usize, &f64)| pka + single * f64::from(2 * (top - i as i32) - 1);
    pkas.iter().enumerate().map(step).collect()
}

/// What gives or takes protons.
#[derive(Debug, Clone, PartialEq)]
pub struct Protolyte {
    /// pKa at 25 °C, first to last.
    pub pkas: Vec<f64>,
    /// Charge of the form that has all its protons.
    pub top: i32,
    /// Amount, mol per kg of scrub, dissolved or not.
    pub mol: f64,
    /// Of an acid that water hardly takes.
    pub sparing: Option<Sparing>,
}

/// How much of an acid water takes.
#[derive(Debug, Clone, PartialEq)]
pub struct Sparing {
    /// What it is, for people.
    pub name: String,
    /// What stays undissociated in a saturated solution at 25 °C, mol per kg of water.
    pub most: f64,
    /// How well that is known.
    pub origin: Origin,
}

impl Sparing {
    /// From what pure water takes in all, mol per kg. Some of it is dissociated there: all = s + √(K s), the ions being as many as the protons.
    pub fn new(name: impl Into<String>, in_all: f64, pka: f64, origin: Origin) -> Self {
        let k = 10f64.powf(-pka);
        let root = 0.5 * ((k + 4.0 * in_all).sqrt() - k.sqrt());
        Self { name: name.into(), most: root * root, origin }
    }
}

impl Protolyte {
    /// What of it is dissolved at a pH, mol per kg of scrub with so much water: the undissociated form is at most what the water takes, and
    /// what ions there are stand to it as at any pH. The rest lies in the scrub as a solid.
    pub fn dissolved(&self, free_share: f64, water_kg: f64) -> f64 {
        self.sparing.as_ref().map_or(self.mol, |sparing| self.mol.min(sparing.most * water_kg / free_share))
    }
}

/// An ion that keeps its charge, such as the sodium of salts and lye.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ion {
    /// Its charge.
    pub charge: i32,
    /// Amount, mol per kg of scrub, dissolved or not.
    pub mol: f64,
    /// −log10 of the solubility product of its hydroxide at 25 °C, mol per kg of water, where water takes little of that.
    pub hydroxide_pk: Option<f64>,
}

impl Ion {
    /// One whose hydroxide water takes whole.
    pub fn free(charge: i32, mol: f64) -> Self {
        Self { charge, mol, hydroxide_pk: None }
    }

    /// What of it is dissolved at a pH, mol per kg of scrub with so much water: `[M] γz a(OH)^z` is at most the product. The rest lies in
    /// the scrub as the hydroxide.
    fn dissolved(&self, ph: f64, single: f64, water_kg: f64) -> f64 {
        let z = f64::from(self.charge);
        let most = |pk: f64| water_kg * 10f64.powf(z * (PKW - ph) - pk + z * z * single);
        self.hydroxide_pk.map_or(self.mol, |pk| self.mol.min(most(pk)))
    }
}

/// All charges in a scrub.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Balance {
    /// What gives or takes protons.
    pub protolytes: Vec<Protolyte>,
    /// Ions that keep their charge.
    pub ions: Vec<Ion>,
    /// Water, kg per kg of scrub.
    pub water_kg: f64,
}

/// A pH with the ionic strength at it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Settled {
    /// pH.
    pub ph: f64,
    /// mol per kg of water.
    pub ionic_strength: f64,
}

impl Balance {
    /// Sum of `f(charge) * mol` over the dissolved ions that keep theirs, per kg of scrub.
    fn sum_of_ions(&self, ph: f64, single: f64, f: impl Fn(f64) -> f64) -> f64 {
        let of = |ion: &Ion| f(f64::from(ion.charge)) * ion.dissolved(ph, single, self.water_kg);
        self.ions.iter().map(of).sum()
    }

    /// What of a protolyte is dissolved at a pH, mol per kg of scrub.
    fn dissolved(&self, p: &Protolyte, pkas: &[f64], ph: f64) -> f64 {
        if p.sparing.is_some() { p.dissolved(free_share(pkas, ph), self.water_kg) } else { p.mol }
    }

    /// Acids that do not dissolve whole at a pH, with the share that does not, 0..1.
    pub fn undissolved(&self, ph: f64) -> Vec<(&Sparing, f64)> {
        let of = |p: &'_ Protolyte| 1.0 - self.dissolved(p, &p.pkas, ph) / p.mol;
        let sparing = self.protolytes.iter().filter_map(|p| Some((p.sparing.as_ref()?, of(p))));
        sparing.filter(|(_, share)| *share > 1e-9).collect()
    }

    /// Adds a protolyte. Of an acid that water hardly takes all that is there shares the water, salts of it among the rest.
    pub fn add_protolyte(&mut self, new: Protolyte) {
        let is_same = |p: &&mut Protolyte| {
            p.sparing.is_some()
                && p.pkas == new.pkas
                && p.sparing.as_ref().map(|s| s.most) == new.sparing.as_ref().map(|s| s.most)
        };
        match self.protolytes.iter_mut().find(is_same) {
            Some(same) => same.mol += new.mol,
            None => self.protolytes.push(new),
        }
    }

    /// Sum of all charges at a pH where a single charge has this −log γ, mol per kg of scrub; it falls with the pH.
    fn sum(&self, ph: f64, single: f64) -> f64 {
        let of = |p: &Protolyte| {
            let pkas = pkas_in_salt(&p.pkas, p.top, single);
            let (given, _) = charge(&pkas, ph);
            self.dissolved(p, &pkas, ph) * (f64::from(p.top) - given)
        };
        let [h, oh] = [-ph, ph - PKW].map(|log| self.water_kg * 10f64.powf(log + single));
        self.sum_of_ions(ph, single, |z| z) + self.protolytes.iter().map(of).sum::<f64>() + h - oh
    }

    /// Ionic strength at a pH, mol per kg of water, where a single charge has this −log γ; `more` are further single charges, mol per kg of
    /// scrub.
    fn strength(&self, ph: f64, single: f64, more: f64) -> f64 {
        if self.water_kg <= 0.0 {
            return f64::INFINITY;
        }
        let of = |p: &Protolyte| {
            let pkas = pkas_in_salt(&p.pkas, p.top, single);
            let forms = species(&pkas, ph);
            let squares = forms.iter().enumerate().map(|(i, s)| s * f64::from(p.top - i as i32).powi(2));
            self.dissolved(p, &pkas, ph) * squares.sum::<f64>()
        };
        let water: f64 = [-ph, ph - PKW].map(|log| self.water_kg * 10f64.powf(log + single)).iter().sum();
        let ions = self.sum_of_ions(ph, single, |z| z * z);
        0.5 * (self.protolytes.iter().map(of).sum::<f64>() + ions + water + more) / self.water_kg
    }

    /// The pH in water without salt effects; none where no pH balances the charges.
    pub fn ideal_ph(&self) -> Option<f64> {
        self.ph_at(0.0)
    }

    fn ph_at(&self, single: f64) -> Option<f64> {
        if self.water_kg <= 0.0 {
            return None;
        }
        brent(|ph| self.sum(ph, single), PH.0, PH.1, 1e-10).ok().filter(|ph| ph.is_finite())
    }

    /// The pH by Davies' equation, with the ionic strength that goes with it.
    pub fn ph_in_salt(&self, constants: &FormulaConstants<Known>) -> Option<Settled> {
        let mut at = Settled { ph: self.ideal_ph()?, ionic_strength: 0.0 };
        for _ in 0..ROUNDS {
            let single = davies(at.ionic_strength, constants);
            let ph = self.ph_at(single)?;
            let ionic_strength = self.strength(ph, single, 0.0);
            let moved = (ionic_strength - at.ionic_strength).abs() > SETTLED * ionic_strength;
            at = Settled { ph, ionic_strength };
            if !moved {
                break;
            }
        }
        Some(at)
    }

    /// The ionic strength at a pH that a strong base, or acid, brings the scrub to, mol per kg of water.
    pub fn strength_at(&self, ph: f64, constants: &FormulaConstants<Known>) -> f64 {
        let mut strength = 0.0;
        for _ in 0..ROUNDS {
            let single = davies(strength, constants);
            let next = self.strength(ph, single, self.sum(ph, single).abs());
            let moved = (next - strength).abs() > SETTLED * next;
            strength = next;
            if !moved {
                break;
            }
        }
        strength
    }

    /// Strong base to be added for a pH in water without salt effects, mol per kg of scrub; negative when there is too much already.
    pub fn base_for(&self, ph: f64) -> f64 {
        -self.sum(ph, 0.0)
    }

    /// The same by Davies' equation.
    pub fn base_in_salt(&self, ph: f64, constants: &FormulaConstants<Known>) -> f64 {
        -self.sum(ph, davies(self.strength_at(ph, constants), constants))
    }

    /// Van Slyke's buffer capacity, mol per kg of scrub and pH.
    pub fn buffer_capacity(&self, ph: f64) -> f64 {
        let of = |p: &Protolyte| {
            let ((mean, variance), dissolved) = (charge(&p.pkas, ph), self.dissolved(p, &p.pkas, ph));
            // A saturated acid is replaced from the solid as it gives protons: all of each form but the first follows the pH.
            dissolved * if dissolved < p.mol { variance + mean * mean } else { variance }
        };
        // Each unit of pH takes an undissolved hydroxide's ions down by as many powers of ten as they have charges.
        let solid = |ion: &&Ion| ion.dissolved(ph, 0.0, self.water_kg) < ion.mol;
        let hydroxides = self.ions.iter().filter(solid);
        let hydroxides = hydroxides.map(|i| f64::from(i.charge * i.charge) * i.dissolved(ph, 0.0, self.water_kg));
        let buffers = self.protolytes.iter().map(of).sum::<f64>() + hydroxides.sum::<f64>();
        LN_10 * (buffers + self.water_kg * (10f64.powf(-ph) + 10f64.powf(ph - PKW)))
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

    fn citrate_and_amine(sodium: f64) -> Balance {
        let citric = Protolyte { pkas: vec![3.13, 4.76, 6.4], top: 0, mol: 0.13, sparing: None };
        let amine = Protolyte { pkas: vec![7.76], top: 1, mol: 0.05, sparing: None };
        Balance { protolytes: vec![citric, amine], ions: vec![Ion::free(1, sodium)], water_kg: 0.8 }
    }

    #[test]
    fn the_base_for_a_ph_gives_that_ph() {
        let tables = crate::tables::Tables::built_in().unwrap();
        let constants = &tables.formula.constants;
        let start = citrate_and_amine(0.0);
        for ph in [3.3, 4.2, 5.5, 7.0] {
            assert_relative_eq!(citrate_and_amine(start.base_for(ph)).ideal_ph().unwrap(), ph, max_relative = 1e-8);
            let salty = citrate_and_amine(start.base_in_salt(ph, constants)).ph_in_salt(constants).unwrap();
            assert_relative_eq!(salty.ph, ph, max_relative = 1e-7);
            assert_relative_eq!(salty.ionic_strength, start.strength_at(ph, constants), max_relative = 1e-6);
        }
    }

    #[test]
    fn buffer_capacity_is_the_slope_of_the_titration() {
        let balance = citrate_and_amine(0.0);
        for ph in [2.5, 3.4, 4.3, 5.2, 7.0, 8.5] {
            let slope = (balance.base_for(ph + 1e-5) - balance.base_for(ph - 1e-5)) / 2e-5;
            assert_relative_eq!(balance.buffer_capacity(ph), slope, max_relative = 1e-6);
        }
    }

    #[test]
    fn an_acid_that_hardly_dissolves_gives_the_ph_of_its_saturated_water_however_much_there_is() {
        // Salicylic acid, 0.22 g in 100 g: pH 2.4 is told of a saturated solution (Merck index, recalled).
        let origin = Origin { status: crate::tables::Status::FromMemory, source: String::new() };
        let of = |mol: f64| {
            let sparing = Some(Sparing::new("salicylic acid", 2.2 / 138.12, 2.97, origin.clone()));
            let acid = Protolyte { pkas: vec![2.97], top: 0, mol, sparing };
            Balance { protolytes: vec![acid], ions: Vec::new(), water_kg: 1.0 }
        };
        let [just, more] = [2.2 / 138.12, 0.2].map(|mol| of(mol).ideal_ph().unwrap());
        assert_relative_eq!(just, more, epsilon = 1e-6);
        assert_relative_eq!(more, 2.43, epsilon = 0.05);
        assert!(of(0.2).undissolved(more)[0].1 > 0.9 && of(2.0 / 138.12).undissolved(more).is_empty());
        // The slope of the titration, saturated.
        let balance = of(0.2);
        for ph in [2.2, 3.0, 3.5] {
            let slope = (balance.base_for(ph + 1e-5) - balance.base_for(ph - 1e-5)) / 2e-5;
            assert_relative_eq!(balance.buffer_capacity(ph), slope, max_relative = 1e-6);
        }
    }

    #[test]
    fn an_acid_that_hardly_dissolves_shares_its_water_with_its_like_alone() {
        let origin = Origin { status: crate::tables::Status::FromMemory, source: String::new() };
        let salicylic = |mol: f64| {
            let sparing = Some(Sparing::new("salicylic acid", 2.2 / 138.12, 2.97, origin.clone()));
            Protolyte { pkas: vec![2.97], top: 0, mol, sparing }
        };
        let mut balance = Balance { water_kg: 1.0, ..Balance::default() };
        balance.add_protolyte(salicylic(0.1));
        // Water takes as much of another acid, which is one of its own.
        balance.add_protolyte(Protolyte { pkas: vec![4.2], ..salicylic(0.05) });
        balance.add_protolyte(Protolyte { sparing: None, ..salicylic(0.02) });
        balance.add_protolyte(salicylic(0.2));
        let found: Vec<f64> = balance.protolytes.iter().map(|p| p.mol).collect();
        assert_relative_eq!(found.as_slice(), [0.3, 0.05, 0.02].as_slice(), max_relative = 1e-12);
    }

    #[test]
    fn milk_of_magnesia_and_lime_water_have_the_ph_of_handbooks_however_much_lies_undissolved() {
        // Solubility products 5.61e-12 and 5.02e-6 (CRC Handbook, recalled); pH 10.5 of milk of magnesia and 12.4 of saturated lime water
        // are told everywhere. In pure water, ideal: 2 [M] = [OH], so [OH] = (2 Ksp)^(1/3).
        for (pk, told) in [(11.25, 10.5), (5.30, 12.4)] {
            let of = |mol: f64| Balance {
                protolytes: Vec::new(),
                ions: vec![Ion { charge: 2, mol, hydroxide_pk: Some(pk) }],
                water_kg: 1.0,
            };
            let ph = of(0.5).ideal_ph().unwrap();
            assert_relative_eq!(ph, PKW + (2.0 * 10f64.powf(-pk)).log10() / 3.0, epsilon = 1e-6);
            assert_relative_eq!(ph, told, epsilon = 0.2);
            assert_relative_eq!(of(0.1).ideal_ph().unwrap(), ph, epsilon = 1e-6);
            let balance = of(0.5);
            let slope = (balance.base_for(ph + 1e-5) - balance.base_for(ph - 1e-5)) / 2e-5;
            assert_relative_eq!(balance.buffer_capacity(ph), slope, max_relative = 1e-6);
            // An acid that takes all of it up dissolves it whole.
            assert_relative_eq!(balance.base_for(5.0), -1.0, epsilon = 2e-5);
        }
    }

    #[test]
    fn no_water_and_no_root_give_no_ph() {
        assert_eq!(Balance { water_kg: 0.0, ..citrate_and_amine(0.1) }.ideal_ph(), None);
        assert_eq!(citrate_and_amine(900.0).ideal_ph(), None);
    }
}
