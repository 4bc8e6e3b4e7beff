//! Scrubs side by side.

use super::{Done, Means, TaskError};
use crate::band::Assessment;
use crate::blend::Scrub;
use crate::confidence::{Sampling, beside_first};
use crate::formula::{Formula, OnSkin, checks_at, whole_differences};
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
    let (mut formulas, mut all): (Vec<Formula>, Vec<OnSkin>) = Default::default();
    for (source, apart) in sources {
        let (formula, mut one) = means.whole(*source)?;
        formulas.push(formula);
        let name = one.name().to_owned();
        if all.iter().any(|s| s.name() == name) {
            one.rename(&format!("{name} ({apart})"));
        }
        all.push(one);
    }
    let scrubs: Vec<Scrub> = all.iter().map(|s| s.scrub_or_weighed().clone()).collect();
    let reports = all.iter().map(|s| BlendReport::drawn(s, judge, tables)).collect();
    let drawn = beside_first(&scrubs, judge, tables, Sampling::VERDICT);
    let assessed: Vec<Assessment> = scrubs.iter().map(|s| judge.assess(s)).collect();
    let checks = |i: usize| checks_at(&formulas[i], &all[i], assessed[i].verdict.clone(), tables, judge);
    let first = checks(0);
    let others = (1..all.len()).map(|i| whole_differences([&formulas[0], &formulas[i]], [&first, &checks(i)]));
    let report = CompareReport::new(judge, &scrubs, reports, &drawn, others.collect());
    let picture = picture.then(|| compare_picture(&scrubs, &assessed, judge)).transpose()?;
    Ok(Done { report, picture })
}
