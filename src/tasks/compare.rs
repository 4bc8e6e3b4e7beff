//! Scrubs side by side.

use super::{Done, Means, TaskError};
use crate::blend::Scrub;
use crate::confidence::{Sampling, milder_than_first};
use crate::files::read_formula;
use crate::formula::{Checked, Formula, OnSkin, WholeDifference, checks, whole_differences};
use crate::plot::compare_picture;
use crate::report::{BlendReport, CompareReport};
use crate::source::Source;
use std::ops::RangeInclusive;

/// How many scrubs are compared.
const SCRUBS: RangeInclusive<usize> = 2..=6;

/// Compares scrubs with the first of them, if asked for with all curves in one picture. Each comes with what tells it from another of the same name.
///
/// # Errors
/// [`TaskError`].
pub fn compare(sources: &[(Source, String)], picture: bool, means: Means) -> Result<Done<CompareReport>, TaskError> {
    let Means { tables, judge } = means;
    if !SCRUBS.contains(&sources.len()) {
        return Err(TaskError::Wrong(format!("two to six scrubs are compared, not {}", sources.len())));
    }
    let mut all: Vec<OnSkin> = Vec::new();
    for (source, apart) in sources {
        let mut one = means.on_skin(*source)?;
        let name = one.name().to_owned();
        if all.iter().any(|s| s.name() == name) {
            one.rename(&format!("{name} ({apart})"));
        }
        all.push(one);
    }
    let scrubs: Vec<Scrub> = all.iter().map(|s| s.scrub_or_weighed().clone()).collect();
    let reports = all.iter().map(|s| BlendReport::drawn(s, judge, tables)).collect();
    let milder = milder_than_first(&scrubs, judge, tables, Sampling::VERDICT);
    let whole = whole(sources, means)?;
    let report = CompareReport::new(judge, &scrubs, reports, &milder, whole);
    let assessed = || scrubs.iter().map(|s| judge.assess(s)).collect::<Vec<_>>();
    let picture = picture.then(|| compare_picture(&scrubs, &assessed(), judge)).transpose()?;
    Ok(Done { report, picture })
}

/// What tells each of the others from the first beyond the grains.
fn whole(sources: &[(Source, String)], means: Means) -> Result<Vec<Vec<WholeDifference>>, TaskError> {
    let formulas: Vec<Formula> =
        sources.iter().map(|(source, _)| read_formula(*source, means.tables)).collect::<Result<_, _>>()?;
    let checked: Vec<Checked> = formulas.iter().map(|f| checks(f, means.tables, means.judge)).collect();
    let others = formulas.iter().zip(&checked).skip(1);
    Ok(others.map(|(f, c)| whole_differences([&formulas[0], f], [&checked[0], c])).collect())
}
