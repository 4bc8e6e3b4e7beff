//! What acid a formula holds, and which bases stand against it.

use super::acid::Solution;
use super::{AcidPlan, Formula, Function, Ingredient};
use crate::tables::{Acid, FormulaTables};

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
    /// Ingredients that are another acid of the table.
    pub others: Vec<&'f Ingredient>,
}

/// mol per kg of scrub from % w/w and g/mol.
pub(super) fn mol(pct: f64, mw: f64) -> f64 {
    10.0 * pct / mw
}

/// Whether an ingredient is an acid or its salt by its INCI name, and no preservative.
pub(super) fn is_named(ingredient: &Ingredient, acid: &Acid) -> bool {
    let salt = !acid.salt.is_empty() && ingredient.is_inci(&acid.salt);
    (salt || ingredient.is_inci(&acid.inci)) && !ingredient.is(Function::Preservative)
}

/// Acid and its sodium, mol per kg of scrub, that an ingredient brings; `None` when it is not this acid.
fn brought(ingredient: &Ingredient, acid: &Acid) -> Option<(f64, f64)> {
    let active = ingredient.active_pct();
    if !acid.salt.is_empty() && ingredient.is_inci(&acid.salt) {
        let mol = mol(active, acid.salt_mw);
        return Some((mol, mol * acid.salt_charge));
    }
    (is_named(ingredient, acid) || ingredient.is(Function::Acid)).then(|| (mol(active, acid.mw), 0.0))
}

impl<'f> AcidContent<'f> {
    /// Of a formula that names an acid and holds it. An ingredient is the acid by its INCI name or, where that names no other
    /// acid, by its function.
    pub fn new(formula: &'f Formula, tables: &FormulaTables) -> Option<Self> {
        let plan = formula.acid.as_ref()?;
        let water_kg = formula.water_pct() / 100.0;
        let solution = Solution { pkas: plan.acid.pkas(), acid_mol: 0.0, base_mol: 0.0, water_kg };
        let (neutralised_with, others) = (Vec::new(), Vec::new());
        let mut content = Self { plan, as_acid_pct: 0.0, solution, neutralised_with, others };
        for (_, ingredient) in formula.ingredients() {
            content.add(ingredient, tables);
        }
        content.as_acid_pct = content.solution.acid_mol * plan.acid.mw / 10.0;
        (content.solution.acid_mol > 0.0).then_some(content)
    }

    fn add(&mut self, ingredient: &'f Ingredient, tables: &FormulaTables) {
        let acid = &self.plan.acid;
        if tables.acids.iter().any(|a| a.key != acid.key && is_named(ingredient, a)) {
            self.others.push(ingredient);
        } else if let Some((mol, sodium)) = brought(ingredient, acid) {
            self.solution.acid_mol += mol;
            self.solution.base_mol += sodium;
        } else if let Some(n) = tables.neutralisers.iter().find(|n| n.kind == "base" && ingredient.is_inci(&n.inci)) {
            self.solution.base_mol += n.equivalents * mol(ingredient.active_pct(), n.mw);
            self.neutralised_with.push(ingredient.name.clone());
        }
    }
}
