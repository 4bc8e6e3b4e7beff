//! How often it is used, against what is usual for its band and for grains with acid.

use super::{Check, CheckVerdict, Finding, Setting, known, number};
use crate::numerics::written::apart;
use crate::tables::REFERENCE_SITE;

pub(super) fn check(s: &Setting) -> Check {
    Check::from_findings("frequency", "uses a week", vec![finding(s)])
}

fn finding(s: &Setting) -> Finding {
    let Some(per_week) = s.formula.usage.per_week else {
        return Finding::missing("give per_week in [use]: how often it is used");
    };
    let constants = s.constants();
    let site = s.judge.bands().get(s.band.rank).map(|band| band.site.as_str());
    let Some(site) = site else {
        let why = format!("{} times a week, but it is harsher than every band", number(per_week));
        return Finding::caution(why, known(&constants.per_week_body)).of(per_week, None);
    };
    let (of_band, place) = match site == REFERENCE_SITE {
        true => (&constants.per_week_face, "on the face"),
        false => (&constants.per_week_body, "on the body"),
    };
    let acid = s.acid.as_ref().ok().and_then(Option::as_ref).map(|c| c.acids().iter().map(|(_, pct)| pct).sum::<f64>());
    let with_acid = acid.is_some_and(|pct| pct >= constants.aha_pct.value);
    let most =
        if with_acid && constants.per_week_acid.value < of_band.value { &constants.per_week_acid } else { of_band };
    let what = if with_acid { format!("{place}, with acid beside the grains") } else { place.to_owned() };
    let verdict = if per_week > most.value { CheckVerdict::Caution } else { CheckVerdict::Pass };
    let why = format!(
        "{} times a week, where {} at most are usual {what}",
        apart(per_week, most.value, 3),
        number(most.value)
    );
    Finding::new(verdict, why, known(most)).of(per_week, most.value)
}
