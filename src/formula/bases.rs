//! How much base the pH needs: what is listed is a guess, nine tenths of what is needed goes in at once.

use crate::formula::balance::charge;
use crate::formula::{AcidContent, Formula, Function, Line, Substance};
use crate::numerics::written::four;
use crate::tables::{FormulaConstants, FormulaTables, Known, Neutraliser, NeutraliserKind};
use serde::Serialize;

/// What the base is when the formula lists none.
const LYE: &str = "Sodium hydroxide, 10 % solution";
const LYE_STRENGTH: f64 = 0.1;
const LYE_MW: f64 = 39.997;

/// Protons that a molecule takes at least where it is a base.
const LEAST_TAKEN: f64 = 0.5;

/// The base for the pH of a formula. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BaseNeed {
    /// pH to reach.
    pub ph: f64,
    /// Whether the formula lists a base.
    pub listed: bool,
    /// What each base comes to, those listed in the proportion in which they are; sodium hydroxide when there is none.
    pub lines: Vec<BaseLine>,
}

/// A base of the formula, or the one to take. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BaseLine {
    /// Name.
    pub name: String,
    /// What the pH needs of it, g.
    pub needed_g: f64,
    /// What goes in at once, g.
    pub first_g: f64,
}

/// Base that a formula still needs for a pH, mol per kg of scrub, beyond all that it lists; negative when it lists too much. The
/// lesser of what the constants in pure and in salty water say: the rest goes in drop by drop.
pub fn base_needed(content: &AcidContent, ph: f64, constants: &FormulaConstants<Known>) -> f64 {
    content.balance.base_for(ph).min(content.balance.base_in_salt(ph, constants))
}

/// The base for the pH that is wanted, for so much scrub; nothing without a pH, or where the pH does not follow from what is listed.
pub(super) fn need(formula: &Formula, total_g: f64, tables: &FormulaTables) -> Option<BaseNeed> {
    let ph = formula.ph()?;
    let content = AcidContent::new(formula, tables)?;
    let missing = base_needed(&content, ph, &tables.constants);
    if !missing.is_finite() {
        return None;
    }
    let first = tables.constants.base_first_share.value;
    let line = |name: &str, needed_g: f64| BaseLine { name: name.to_owned(), needed_g, first_g: first * needed_g };
    let listed = listed(formula, ph, tables);
    let mol: f64 = listed.iter().map(|base| base.mol).sum();
    let lines = if listed.is_empty() {
        let grams = (missing * total_g / 1000.0 * LYE_MW / LYE_STRENGTH).max(0.0);
        vec![line(LYE, grams)]
    } else {
        let times = ((mol + missing) / mol).max(0.0);
        listed.iter().map(|base| line(base.name, times * base.pct / 100.0 * total_g)).collect()
    };
    Some(BaseNeed { ph, listed: mol > 0.0, lines })
}

/// A base that a formula lists.
pub(super) struct ListedBase<'f> {
    name: &'f str,
    pct: f64,
    /// Protons that it takes, mol per kg of scrub.
    pub mol: f64,
}

/// The bases of the tables that a formula lists, with the protons that they take at a pH.
pub(super) fn listed<'f>(formula: &'f Formula, ph: f64, tables: &FormulaTables) -> Vec<ListedBase<'f>> {
    let mol = |substance: Substance| {
        substance.ingredient()?;
        let (equivalents, mw) = match base_row(&substance, tables) {
            Some(row) => (row.equivalents, row.mw),
            None => {
                let mut rows = tables.protolytes.iter().filter(|_| may_be_for_ph(&substance));
                let row = rows.find(|p| p.charge > 0 && substance.is_inci(&p.inci))?;
                // From its uncharged form; an amino acid that takes next to none is no base here.
                let taken = f64::from(row.charge) - charge(&row.pkas, ph).0;
                (Some(taken).filter(|taken| *taken >= LEAST_TAKEN)?, row.mw)
            }
        };
        Some(equivalents * 10.0 * substance.pct() / mw)
    };
    let base = |line: Line<'f>| {
        let mol: f64 = line.substances().filter_map(mol).sum();
        (mol > 0.0 && !line.is(Function::Acid)).then_some(ListedBase { name: line.name(), pct: line.pct, mol })
    };
    formula.lines().into_iter().filter_map(base).collect()
}

/// The base of the table of neutralisers that a substance is.
fn base_row<'t>(substance: &Substance, tables: &'t FormulaTables) -> Option<&'t Neutraliser> {
    tables.neutralisers.iter().find(|n| n.kind == NeutraliserKind::Base && substance.is_inci(&n.inci))
}

/// Whether it is there to set the pH, as far as its functions tell: without any it may be.
fn may_be_for_ph(substance: &Substance) -> bool {
    substance.line.is(Function::Neutraliser) || substance.ingredient().is_some_and(|i| i.functions.is_empty())
}

/// Whether a line is there to bring the pH up: by its function, or as a base of the tables.
pub(super) fn is_base(line: Line, tables: &FormulaTables) -> bool {
    let of_table = |s: Substance| s.ingredient().is_some() && base_row(&s, tables).is_some();
    line.is(Function::Neutraliser) || line.substances().any(of_table)
}

impl BaseNeed {
    /// What to do with a base that is listed, in words.
    pub fn said_of(&self, name: &str) -> Option<String> {
        let line = self.lines.iter().find(|line| self.listed && line.name == name)?;
        Some(match line.needed_g > 0.0 {
            true => format!(
                "pH {} needs about {} g of it: add {} g, measure, and finish drop by drop",
                self.ph,
                four(line.needed_g),
                four(line.first_g)
            ),
            false => format!("pH {} needs none of it: measure before any is added", self.ph),
        })
    }

    /// The base to have at hand when the formula lists none, in words; nothing when none is needed.
    pub fn unlisted(&self) -> Option<String> {
        let line = self.lines.first().filter(|line| !self.listed && line.needed_g > 0.0)?;
        Some(format!(
            "no base is listed, and pH {} needs about {} g of {}: weigh it into a vessel of its own, add {} g, measure, and finish \
             drop by drop; it comes on top of the batch",
            self.ph,
            four(line.needed_g),
            line.name.to_lowercase(),
            four(line.first_g)
        ))
    }
}
