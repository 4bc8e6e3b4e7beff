//! Plans of a panel and of a stability test, and the request sheet to a supplier.

use super::{Means, TaskError, asked};
use crate::design::place_of;
use crate::files::{read_formula, read_scrub};
use crate::formula;
use crate::panel::discrimination::{ForcedChoice, MOST_ASSESSORS};
use crate::panel::plan::{MOST_TASTERS, Sought, servings, triangles, williams};
use crate::report::{AskReport, Design, PanelPlanReport, StabilityReport};
use crate::source::{CalendarDate, Source, did_you_mean};
use crate::tables::{Material, Tables};

/// What is asked of a panel's plan.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PanelPlanRequest {
    /// What it is to find.
    pub design: Design,
    /// Probability wanted of finding it, 0..1.
    pub power: f64,
    /// Tasters at hand; as many as are needed, in whole rounds, where it is not said.
    pub tasters: Option<usize>,
    /// Seed of orders and codes.
    pub seed: u64,
}

/// Plans a panel.
///
/// # Errors
/// [`TaskError`] when no panel is large enough.
pub fn plan_panel(request: &PanelPlanRequest, tables: &Tables) -> Result<PanelPlanReport, TaskError> {
    let too_small = |most: usize| {
        let problem = format!("so little is not found by {most} tasters; look for more, or be content with less power");
        TaskError::Wrong(problem)
    };
    let (needed, rows) = match request.design {
        Design::Scores(sought) => {
            (sought.tasters(request.power).ok_or_else(|| too_small(MOST_TASTERS))?, williams(sought.scrubs))
        }
        Design::Choice(test, alpha, distinguish) => {
            let needed = test.assessors(alpha, distinguish, request.power);
            let rows = if test == ForcedChoice::Paired { williams(2) } else { triangles() };
            (needed.ok_or_else(|| too_small(MOST_ASSESSORS as usize))? as usize, rows)
        }
    };
    let tasters = request.tasters.unwrap_or_else(|| whole_rounds(request, needed, rows.len()));
    let served = servings(&rows, tasters, request.seed);
    Ok(PanelPlanReport::new(request.design, request.power, needed, rows.len(), &served, request.seed, tables))
}

/// Tasters in whole rounds, as many as are needed; of a forced choice so many that the steps of whole answers do not take the power away
/// again.
fn whole_rounds(request: &PanelPlanRequest, needed: usize, round: usize) -> usize {
    let mut tasters = needed.next_multiple_of(round);
    if let Design::Choice(test, alpha, distinguish) = request.design {
        while test.power(tasters as u32, alpha, distinguish) < request.power && tasters < MOST_TASTERS {
            tasters += round;
        }
    }
    tasters
}

/// Checks what a test of scores is to find.
///
/// # Errors
/// [`TaskError`] naming the part that is wrong.
pub fn sought(scrubs: usize, difference: f64, sd: f64, alpha: f64) -> Result<Sought, TaskError> {
    if !(2..=12).contains(&scrubs) {
        return Err(asked("scrubs", format!("a taster compares 2 to 12 scrubs, not {scrubs}")));
    }
    for (part, value) in [("difference", difference), ("sd", sd)] {
        if !(value > 0.0 && value <= 1e6) {
            let wanted = if value > 1e6 { "at most 1 000 000" } else { "above 0" };
            return Err(asked(part, format!("it must be {wanted}, not {value}")));
        }
    }
    Ok(Sought { scrubs, difference, sd, alpha })
}

/// Plans the stability test of a scrub; with the day of its start the pulls have dates.
///
/// # Errors
/// [`TaskError`].
pub fn plan_stability(scrub: Source, start: Option<CalendarDate>, means: Means) -> Result<StabilityReport, TaskError> {
    let Means { tables, judge } = means;
    let formula = read_formula(scrub, tables)?;
    let checked = formula::checks(&formula, tables, judge);
    StabilityReport::new(&formula, &checked, start, tables)
        .ok_or_else(|| TaskError::Wrong("the pulls reach beyond the year 9999; give an earlier start".to_owned()))
}

/// The request sheet for a powder of a scrub.
///
/// # Errors
/// [`TaskError`].
pub fn ask_of_powder(scrub: Source, word: &str, means: Means) -> Result<AskReport, TaskError> {
    let scrub = read_scrub(scrub, means.tables)?;
    let place = place_of(&scrub, word).map_err(|e| TaskError::Wrong(e.to_string()))?;
    Ok(AskReport::of_powder(&scrub.blend.components()[place].powder, means.tables))
}

/// The request sheet for a material that nothing is known of yet.
///
/// # Errors
/// [`TaskError`] when the word names no material, or several.
pub fn ask_of_material(word: &str, tables: &Tables) -> Result<AskReport, TaskError> {
    let wanted = word.trim().to_lowercase();
    let allowed = || tables.materials.iter().filter(|m| m.refused_by.is_none());
    let fits: [&dyn Fn(&&Material) -> bool; 2] =
        [&|m| m.key.to_lowercase() == wanted || m.name.to_lowercase() == wanted, &|m| {
            !wanted.is_empty()
                && (m.key.to_lowercase().starts_with(&wanted) || m.name.to_lowercase().starts_with(&wanted))
        }];
    let meant = fits.iter().map(|fits| allowed().filter(|m| fits(m)).collect::<Vec<_>>());
    match meant.into_iter().find(|all| !all.is_empty()).unwrap_or_default().as_slice() {
        [material] => Ok(AskReport::of_material(material, tables)),
        [] => {
            let hint = did_you_mean(&wanted, allowed().map(|m| m.key.as_str()));
            let problem = format!("no material is named \"{}\"; {hint} (gritwise tables materials)", word.trim());
            Err(TaskError::Wrong(problem))
        }
        several => {
            let keys: Vec<&str> = several.iter().map(|m| m.key.as_str()).collect();
            Err(TaskError::Wrong(format!("\"{}\" may be {}; write more of it", word.trim(), keys.join(" or "))))
        }
    }
}
