//! Whether the formula is whole.

use super::{Check, Finding, OWN, Setting, known, no_phases, number};

pub(super) fn check(s: &Setting) -> Check {
    let sum = s.formula.total_pct();
    let tolerance = &s.constants().total_tolerance_pct;
    let fill = s.formula.ingredients().find(|(_, i)| i.fill);
    let finding = if !s.has_phases() {
        no_phases().of(sum, 100.0)
    } else if let Some((_, fill)) = fill {
        let why = format!("{} takes what is left, {} %", fill.name, number(fill.pct.get()));
        Finding::pass(why, OWN).of(sum, 100.0)
    } else if (sum - 100.0).abs() <= tolerance.value {
        Finding::pass("all ingredients and powders sum to 100 %", known(tolerance)).of(sum, 100.0)
    } else {
        let why = format!("{} % are missing; mark one ingredient with fill = true", number(100.0 - sum));
        Finding::stop(why, known(tolerance)).of(sum, 100.0)
    };
    Check::from_findings("total", "% w/w", vec![finding])
}
