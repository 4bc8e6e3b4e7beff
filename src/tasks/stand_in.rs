//! What could stand in for a powder.

use super::{Means, TaskError, asked};
use crate::band::Arrival;
use crate::blend::Scrub;
use crate::design::{StandIn, Substitute, place_of, stand_ins};
use crate::files::read_shelf;
use crate::formula::{Formula, misfits, too_full};
use crate::powder::{GrainProperties, Powder};
use crate::report::StandInReport;
use crate::source::{Source, nearest};
use crate::tables::{Material, Tables};
use std::collections::BTreeSet;

/// How many where nothing is said.
pub const USUAL_TOP: u16 = 5;

/// What is asked.
pub struct StandInRequest<'a> {
    /// The scrub file.
    pub scrub: Source<'a>,
    /// The powder to replace: its name, its material, or a beginning of either.
    pub powder: &'a str,
    /// A shelf to choose from; else the materials table.
    pub shelf: Option<Source<'a>>,
    /// What must not stand in: names, materials, tags, flags.
    pub without: &'a [String],
    /// How many.
    pub top: usize,
}

/// Finds stand-ins.
///
/// # Errors
/// [`TaskError`].
pub fn stand_in(request: &StandInRequest, means: Means) -> Result<StandInReport, TaskError> {
    let Means { tables, judge } = means;
    let (formula, on_skin) = means.whole(request.scrub)?;
    let (scrub, arrives) = (&on_skin.weighed.scrub, on_skin.weighed.arrival(tables));
    let place = place_of(scrub, request.powder).map_err(|e| asked("for", e))?;
    let candidates = match request.shelf {
        Some(shelf) => of_shelf(shelf, scrub, request.without, tables)?,
        None => of_table(scrub, place, request.without, tables)?,
    };
    if candidates.is_empty() {
        let problem = "nothing is left to choose from; name a fuller --shelf, or fewer words --without";
        return Err(TaskError::Wrong(problem.to_owned()));
    }
    let candidates = within_the_rest(candidates, &formula, place);
    let arrives = on_skin.dissolves.then_some(&arrives as Arrival);
    let mut found: Vec<(StandIn, Vec<String>)> = stand_ins(judge, scrub, place, &candidates, arrives)
        .into_iter()
        .map(|s| {
            let mut wrong = misfits(&formula, &s.scrub.blend.components()[s.place].powder, place, tables);
            wrong.extend(too_full(&formula, &s.scrub, tables));
            (s, wrong)
        })
        .collect();
    if found.is_empty() {
        let problem =
            "no powder fits between its own min_pct and max_pct and what the others leave; name a fuller --shelf";
        return Err(TaskError::Wrong(problem.to_owned()));
    }
    // What would go wrong here comes after what would not, each nearest first.
    found.sort_by_key(|(_, wrong)| !wrong.is_empty());
    found.truncate(request.top);
    Ok(StandInReport::new(judge, &on_skin, &judge.assess(on_skin.scrub_or_weighed()), place, &found, tables))
}

/// No more of a candidate than the powder that goes and the ingredient that takes what is left make room for.
fn within_the_rest(candidates: Vec<Substitute>, formula: &Formula, place: usize) -> Vec<Substitute> {
    let scrub = formula.scrub();
    let now = scrub.load.get() * scrub.blend.components()[place].mass;
    let fill = formula.ingredients().find(|(_, i)| i.fill).map(|(_, i)| i.pct.get());
    let Some(room) = fill.map(|fill| now + fill) else { return candidates };
    candidates.into_iter().map(|c| Substitute { max_pct: c.max_pct.min(room), ..c }).collect()
}

fn of_shelf(shelf: Source, scrub: &Scrub, without: &[String], tables: &Tables) -> Result<Vec<Substitute>, TaskError> {
    let used: Vec<&str> = scrub.blend.components().iter().map(|c| c.powder.name.as_str()).collect();
    let all = read_shelf(shelf, tables)?;
    known(without, tables, |word| all.iter().any(|s| s.answers_to(word)))?;
    let fits = all.into_iter().filter(|s| !used.contains(&s.powder.name.as_str()));
    let fits = fits.filter(|s| !without.iter().any(|w| s.answers_to(w)));
    Ok(fits.map(|s| Substitute { powder: s.powder, min_pct: s.min_pct, max_pct: s.max_pct }).collect())
}

/// Refuses a word that rules nothing out because nothing goes by it.
fn known(without: &[String], tables: &Tables, of_shelf: impl Fn(&str) -> bool) -> Result<(), TaskError> {
    let is_known = |word: &String| of_shelf(word) || tables.materials.iter().any(|m| m.answers_to(word));
    let Some(strange) = without.iter().find(|word| !is_known(word)) else { return Ok(()) };
    let flags = tables.materials.iter().flat_map(|m| &m.flags).map(String::as_str);
    let words: BTreeSet<&str> = tables.materials.iter().map(|m| m.key.as_str()).chain(flags).collect();
    let hint = nearest(strange, words).map_or_else(String::new, |near| format!("; did you mean \"{near}\"?"));
    Err(asked("without", format!("nothing goes by \"{strange}\": a name, a material, a tag or a flag is wanted{hint}")))
}

/// Every material that the scrub does not hold, ground to the sizes of the powder to replace.
fn of_table(scrub: &Scrub, place: usize, without: &[String], tables: &Tables) -> Result<Vec<Substitute>, TaskError> {
    known(without, tables, |_| false)?;
    let size = &scrub.blend.components()[place].powder.size;
    let of_scrub =
        |key: &str| scrub.blend.components().iter().any(|c| c.powder.material.as_ref().is_some_and(|m| m.key == key));
    let allowed = tables.materials.iter().filter(|m| m.refused_by.is_none() && !of_scrub(&m.key));
    let allowed = allowed.filter(|m| !without.iter().any(|w| m.answers_to(w)));
    let candidate = |material: &Material| {
        let given = GrainProperties::default();
        let powder = Powder::new(material.name.clone(), Some(material), &given, size.clone(), tables);
        let powder = powder.map_err(|e| TaskError::Wrong(e.to_string()))?;
        Ok(Substitute { powder, min_pct: 0.0, max_pct: 100.0 })
    };
    allowed.map(candidate).collect()
}
