//! What acid a formula holds, and which bases stand against it.

use super::acid::Solution;
use super::{AcidPlan, Formula, Function, Ingredient};
use crate::tables::{Acid, FormulaTables, Neutraliser, NeutraliserKind};

/// Mass of a proton, g/mol.
const PROTON: f64 = 1.008;

/// Mass of the sodium that stands for a proton, g/mol.
const SODIUM: f64 = 22.990;

/// The acid of a formula.
#[derive(Debug, Clone)]
pub struct AcidContent<'f> {
    /// Which acid, and what is intended with it.
    pub plan: &'f AcidPlan,
    /// Acid, its salts counted as acid as limits do, % w/w of the scrub.
    pub as_acid_pct: f64,
    /// Acid and bases of the formula, mol per kg of scrub.
    pub solution: Solution,
    /// Names of the ingredients that are such bases; salts of the acid are none.
    pub neutralised_with: Vec<String>,
    /// Ingredients that are another acid of the table, or its salt, with that acid.
    pub others: Vec<(&'f Ingredient, Brought<'f>)>,
    /// Ingredients with the function of an acid, or named as a salt of one, that the table does not hold.
    pub foreign: Vec<&'f Ingredient>,
    /// Ingredients with the function of a neutraliser that the table does not hold.
    pub unknown_bases: Vec<&'f Ingredient>,
    /// Carbonates, grains among them: their names, mol of protons that they take, and the row.
    pub carbonates: Vec<(&'f str, f64, &'f Neutraliser)>,
    /// Other acids from which they are more than a pinch, % w/w.
    pinch_pct: f64,
}

/// mol per kg of scrub from % w/w and g/mol.
fn mol(pct: f64, mw: f64) -> f64 {
    10.0 * pct / mw
}

/// An acid of the table that an ingredient brings, mol per kg of scrub.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Brought<'t> {
    /// The acid.
    pub acid: &'t Acid,
    /// How much of it, its salt counted as acid.
    pub mol: f64,
    /// Base that came with it as a salt.
    pub base: f64,
}

impl Brought<'_> {
    /// As acid, % w/w of the scrub.
    pub fn as_acid_pct(&self) -> f64 {
        self.mol * self.acid.mw / 10.0
    }
}

/// What an INCI name is to an acid.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Form {
    Acid,
    /// Its charge, and g/mol of acid.
    Salt(f64, f64),
    UnknownSalt,
}

fn form(inci: &str, acid: &Acid, neutralisers: &[Neutraliser]) -> Option<Form> {
    let inci = inci.trim();
    if inci.eq_ignore_ascii_case(&acid.inci) {
        return Some(Form::Acid);
    }
    let (_, anion) = acid.salt.split_once(' ')?;
    let lower = inci.to_lowercase();
    let (cation, last) = lower.rsplit_once([' ', '-'])?;
    // "Ethyl Lactate" is an ester: INCI names of those end in -yl before the acid.
    let is_salt = last.eq_ignore_ascii_case(anion) && !cation.contains([' ', '-']) && !cation.ends_with("yl");
    is_salt.then(|| salt(cation, acid, neutralisers).unwrap_or(Form::UnknownSalt))
}

/// A salt by its cation, such as `potassium` or `disodium`.
fn salt(cation: &str, acid: &Acid, neutralisers: &[Neutraliser]) -> Option<Form> {
    let counts = [("mono", 1.0), ("di", 2.0), ("tri", 3.0)];
    let counted = counts.iter().find_map(|(prefix, n)| Some((*n, cation.strip_prefix(prefix)?)));
    let mass =
        |name: &str| neutralisers.iter().find(|n| n.cation.to_lowercase() == name && !name.is_empty())?.cation_mw;
    let (charge, cation_mw) = match (mass(cation), counted) {
        (Some(mw), _) => (acid.salt_charge, mw),
        (None, Some((n, name))) => (n, mass(name)?),
        (None, None) => return None,
    };
    // The salt of a lactone is that of its acid, so the mass comes from the sodium salt.
    let free = acid.salt_mw - acid.salt_charge * (SODIUM - PROTON);
    Some(Form::Salt(charge, free + charge * (cation_mw - PROTON)))
}

/// The acid of the table that an ingredient is by its INCI name, or salt of, and no preservative; its amount is `None` for
/// a salt that the table does not hold.
fn named<'t>(ingredient: &Ingredient, tables: &'t FormulaTables) -> Option<(&'t Acid, Option<Brought<'t>>)> {
    if ingredient.is(Function::Preservative) || ingredient.preservative.is_some() {
        return None;
    }
    let inci = ingredient.inci.as_deref()?;
    let (acid, form) = tables.acids.iter().find_map(|a| Some((a, form(inci, a, &tables.neutralisers)?)))?;
    let (charge, mw) = match form {
        Form::Acid => (0.0, acid.mw),
        Form::Salt(charge, mw) => (charge, mw),
        Form::UnknownSalt => return Some((acid, None)),
    };
    let mol = mol(ingredient.active_pct(), mw);
    Some((acid, Some(Brought { acid, mol, base: mol * charge })))
}

/// Whether an ingredient is an acid of the table or its salt by its INCI name, and no preservative.
pub(super) fn is_named(ingredient: &Ingredient, tables: &FormulaTables) -> bool {
    named(ingredient, tables).is_some()
}

/// Acids of the table in a formula without a plan for one, as acid, % w/w.
pub(super) fn named_pct(formula: &Formula, tables: &FormulaTables) -> f64 {
    formula.ingredients().filter_map(|(_, i)| named(i, tables)?.1).map(|b| b.as_acid_pct()).sum()
}

impl<'f> AcidContent<'f> {
    /// Of a formula that names an acid and holds it, where the pH follows from what is listed.
    pub fn new(formula: &'f Formula, tables: &'f FormulaTables) -> Option<Self> {
        let content = Self::listed(formula, tables)?;
        let clear = content.unreckoned().is_empty() && content.carbonates.is_empty();
        (clear && content.solution.acid_mol > 0.0).then_some(content)
    }

    /// What is listed, whether or not it can be reckoned with; `None` when no acid is planned. An ingredient is the acid by
    /// its INCI name or, where it has none, by its function.
    pub(super) fn listed(formula: &'f Formula, tables: &'f FormulaTables) -> Option<Self> {
        let plan = formula.acid.as_ref()?;
        let water_kg = formula.water_pct() / 100.0;
        let mut content = Self {
            plan,
            as_acid_pct: 0.0,
            solution: Solution { pkas: plan.acid.pkas(), acid_mol: 0.0, base_mol: 0.0, water_kg },
            neutralised_with: Vec::new(),
            others: Vec::new(),
            foreign: Vec::new(),
            unknown_bases: Vec::new(),
            carbonates: Vec::new(),
            pinch_pct: tables.constants.aha_pct.value,
        };
        for (_, ingredient) in formula.ingredients() {
            content.add(ingredient, tables);
        }
        for line in formula.lines() {
            let rows = tables.neutralisers.iter().filter(|n| n.kind == NeutraliserKind::Carbonate);
            let is = |inci: &str, n: &Neutraliser| n.inci.eq_ignore_ascii_case(inci.trim());
            let found = line.inci().and_then(|inci| rows.into_iter().find(|n| is(inci, n)));
            content.carbonates.extend(found.map(|n| (line.name(), n.equivalents * mol(line.active_pct(), n.mw), n)));
        }
        content.as_acid_pct = content.solution.acid_mol * plan.acid.mw / 10.0;
        Some(content)
    }

    fn add(&mut self, ingredient: &'f Ingredient, tables: &'f FormulaTables) {
        let acid = &self.plan.acid;
        let row = tables.neutralisers.iter().find(|n| ingredient.is_inci(&n.inci));
        match named(ingredient, tables) {
            Some((a, Some(brought))) if a.key == acid.key => {
                self.solution.acid_mol += brought.mol;
                self.solution.base_mol += brought.base;
            }
            Some((_, Some(brought))) => self.others.push((ingredient, brought)),
            Some((_, None)) if !ingredient.is(Function::Acid) && ingredient.active_pct() < self.pinch_pct => {}
            Some((_, None)) => self.foreign.push(ingredient),
            None if ingredient.is(Function::Acid) && ingredient.inci.is_none() => {
                self.solution.acid_mol += mol(ingredient.active_pct(), acid.mw);
            }
            None if ingredient.is(Function::Acid) => self.foreign.push(ingredient),
            None => match row {
                Some(n) if n.kind == NeutraliserKind::Base => {
                    self.solution.base_mol += n.equivalents * mol(ingredient.active_pct(), n.mw);
                    self.neutralised_with.push(ingredient.name.clone());
                }
                None if ingredient.is(Function::Neutraliser) => self.unknown_bases.push(ingredient),
                _ => {}
            },
        }
    }

    /// Acids of the table in the formula with their share as acid, % w/w, the planned one first.
    pub fn acids(&self) -> Vec<(&Acid, f64)> {
        let mut all = vec![(&self.plan.acid, self.as_acid_pct)];
        for (_, brought) in &self.others {
            match all.iter_mut().find(|(acid, _)| acid.key == brought.acid.key) {
                Some((_, pct)) => *pct += brought.as_acid_pct(),
                None => all.push((brought.acid, brought.as_acid_pct())),
            }
        }
        all
    }

    /// Whether the other acids are more than a pinch that sets the pH.
    pub fn is_mixed(&self) -> bool {
        let pct: f64 = self.others.iter().map(|(_, b)| b.as_acid_pct()).sum();
        pct >= self.pinch_pct || self.others.iter().any(|(i, _)| i.is(Function::Acid))
    }

    /// Acids and salts that the table does not hold, in words.
    pub(super) fn unknown_acids(&self) -> Vec<String> {
        let told = |i: &&Ingredient| {
            let what =
                "is an acid or a salt that the acids table does not know by its INCI name (gritwise tables acids)";
            format!("{} {what}: give a known one, or hold it against its limits yourself", i.name)
        };
        self.foreign.iter().map(told).collect()
    }

    /// What keeps pH and free acid from following from what is listed, carbonates apart, in words.
    pub(super) fn unreckoned(&self) -> Vec<String> {
        let mut all = self.unknown_acids();
        if self.is_mixed() {
            let names: Vec<&str> = self.others.iter().map(|(i, _)| i.name.as_str()).collect();
            let name = self.plan.acid.name.to_lowercase();
            all.push(format!(
                "{} beside {name}: two acids are not reckoned together; go by the pH you measure",
                names.join(", ")
            ));
        }
        all.extend(self.unknown_bases.iter().map(|i| {
            let give = "give the name of one that it holds (gritwise tables neutralisers)";
            format!("{} is not in the neutralisers table by its INCI name; {give}", i.name)
        }));
        if self.solution.water_kg <= 0.0 {
            all.push(NO_WATER.to_owned());
        }
        all
    }
}

/// Why nothing is said about a pH.
pub(super) const NO_WATER: &str =
    "there is no watery phase, without which a pH means nothing; give what is watery functions = [\"water\"]";

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tables::Tables;
    use approx::assert_relative_eq;

    #[test]
    fn salts_are_known_by_cation_and_weigh_what_handbooks_say() {
        // Molar masses per mol of acid from atomic weights: calcium lactate 218.22 / 2, tripotassium citrate 306.39, calcium
        // gluconate 430.37 / 2, disodium citrate 236.09.
        let tables = Tables::built_in().unwrap().formula;
        for (key, inci, charge, mw) in [
            ("lactic", "Sodium Lactate", 1.0, 112.06),
            ("lactic", "Potassium Lactate", 1.0, 128.17),
            ("lactic", "AMMONIUM LACTATE", 1.0, 107.11),
            ("lactic", "Calcium Lactate", 1.0, 109.11),
            ("lactic", "TEA-Lactate", 1.0, 239.27),
            ("citric", "Potassium Citrate", 3.0, 306.39),
            ("citric", "Disodium Citrate", 2.0, 236.09),
            ("gluconic", "Calcium Gluconate", 1.0, 215.19),
        ] {
            match form(inci, tables.acid(key).unwrap(), &tables.neutralisers) {
                Some(Form::Salt(z, mass)) => {
                    assert_eq!(z, charge, "{inci}");
                    assert_relative_eq!(mass, mw, max_relative = 2e-4);
                }
                other => panic!("{inci}: {other:?}"),
            }
        }
        let lactic = tables.acid("lactic").unwrap();
        assert_eq!(form("Lactic Acid", lactic, &tables.neutralisers), Some(Form::Acid));
        assert_eq!(form("Zinc Lactate", lactic, &tables.neutralisers), Some(Form::UnknownSalt));
        for ester in ["Ethyl Lactate", "LAURYL LACTATE", "C12-13 Alkyl Lactate", "Lactic Acid/Glycolic Acid", "Lactate"]
        {
            assert_eq!(form(ester, lactic, &tables.neutralisers), None, "{ester}");
        }
    }
}
