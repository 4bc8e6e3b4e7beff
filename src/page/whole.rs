//! The whole scrub as the page shows it: every ingredient with what it comes to, and every check with what it is about.

use crate::formula::{Check, CheckVerdict, LimitBound, Part};
use crate::report::FormulaReport;
use crate::report::formula::IngredientPart;
use serde::Serialize;

/// Ingredients and checks of a formula.
#[derive(Debug, Serialize)]
pub(super) struct Whole {
    /// Sum of all ingredients and powders, % w/w.
    total_pct: f64,
    /// What a kilogram costs.
    cost_per_kg: Option<f64>,
    /// Ingredients and powders, phase by phase.
    lines: Vec<IngredientPart>,
    /// All checks, the gravest first.
    checks: Vec<ToldCheck>,
}

/// A check with what it is called and where it leads.
#[derive(Debug, Serialize)]
struct ToldCheck {
    #[serde(flatten)]
    check: Check,
    name: &'static str,
    part: Part,
    bound: Option<LimitBound>,
    mend: Option<&'static str>,
    /// The ingredients that it names, by their position among `lines`.
    lines: Vec<usize>,
}

pub(super) fn whole(report: FormulaReport) -> Whole {
    let FormulaReport { total_pct, cost_per_kg, ingredients: lines, mut checks, .. } = report;
    checks.sort_by_key(|check| std::cmp::Reverse(check.verdict));
    let checks = checks.into_iter().map(|check| told(check, &lines)).collect();
    Whole { total_pct, cost_per_kg, lines, checks }
}

fn told(check: Check, lines: &[IngredientPart]) -> ToldCheck {
    // What passes is about nothing in particular.
    let says = |name: &str| check.why.contains(name) || check.open.iter().any(|open| open.contains(name));
    let named = |line: &IngredientPart| check.verdict != CheckVerdict::Pass && says(&line.name);
    let lines = lines.iter().enumerate().filter(|(_, line)| named(line)).map(|(i, _)| i).collect();
    ToldCheck { name: check.name(), part: check.part(), bound: check.bound(), mend: check.mend(), lines, check }
}
