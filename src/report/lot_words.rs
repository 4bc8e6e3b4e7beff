//! Why a lot has its verdict, and what to mind about its measurement, in a maker's words.

use super::layout::{percent, signed, significant};
use crate::blend::Component;
use crate::design::Rebalanced;
use crate::lots::Sureness;
use crate::lots::lot::{HeldFigure, LotCase, LotJudged, LotTable, LotVerdict, Reason};
use crate::lots::measurement::{Finding, Found};
use crate::size::table::TableKind;
use crate::tables::AcceptanceLimits;

/// Why.
pub(super) fn reasons(case: &LotCase, judged: &LotJudged) -> Vec<String> {
    let mut texts: Vec<String> = judged.reasons.iter().map(|r| reason(*r, case, judged)).collect();
    if texts.is_empty() {
        let change = significant(judged.index_change_pct().abs(), 2);
        texts.push("D10, D50, D90 and the top size are within their tolerances".to_owned());
        texts.push(format!("the scrub keeps its band, and its index within {change} %"));
    } else if judged.verdict == LotVerdict::AcceptWithNewParts {
        texts.extend(judged.rebalanced.as_ref().map(|r| {
            let parts = new_parts(case, r);
            let load = significant(r.scrub.load.get(), 4);
            let index = significant(r.assessment.figures.index, 3);
            let why = match r.restored {
                true => format!("bring the index back to {index}"),
                false => format!("bring the index to {index}, as near as the band lets it"),
            };
            format!("{parts} with powder_load_pct = {load} {why}, and the band is no harsher than designed")
        }));
    }
    texts
}

/// How far new parts of the powder of a lot are known.
#[derive(Debug, Clone, Copy)]
pub(super) struct PartsRange {
    /// Parts.
    pub parts: (f64, f64),
    /// In a kilogram of scrub, g.
    pub g_per_kg: (f64, f64),
}

/// How sure the verdict is, what would settle it, and how far the new parts are known.
pub(super) fn how_sure(
    lot: &[LotTable],
    judged: &LotJudged,
    sure: &Sureness,
    new_parts: Option<PartsRange>,
) -> Vec<String> {
    let [d50, outer] = sure.repeatability_pct.map(|pct| significant(pct, 2));
    let what = if lot.len() > 1 { format!("a mean of {} tables", lot.len()) } else { "one table".to_owned() };
    let shares: Vec<String> = LotVerdict::ALL.iter().map(|v| format!("{} {:.0} %", v.key(), sure.pct(*v))).collect();
    let mut texts = vec![format!(
        "{what} repeats to {d50} % at D50 and {outer} % at D10 and D90; of {} such measurements drawn: {}",
        sure.draws,
        shares.join(", ")
    )];
    if sure.is_unsure(judged.verdict) {
        let openings = match lot.iter().any(|t| t.record.measured.is_some_and(|m| m.kind == TableKind::Sieve)) {
            true => " (on other sieves: what the openings of one set are off does not go away by sieving again)",
            false => "",
        };
        texts.push(format!(
            "unsure: fewer than {} % agree with \"{}\". Measure the lot again{openings} and give the table as --repeat before \
             you decide",
            sure.least_pct,
            judged.verdict.key()
        ));
    }
    let said = |(low, high): (f64, f64)| (significant(low, 3), significant(high, 3));
    let range = new_parts.map(|p| (said(p.parts), said(p.g_per_kg)));
    texts.extend(range.map(|((low, high), (least, most))| {
        format!(
            "the new parts lie between {low} and {high}, {least} to {most} g in 1 kg of scrub (5 to 95 % of the draws)"
        )
    }));
    texts
}

/// The parts to write: of this powder alone, or of all where all had to be scaled.
fn new_parts(case: &LotCase, new: &Rebalanced) -> String {
    let (now, new) = (case.scrub.blend.components(), new.scrub.blend.components());
    let scaled = (0..now.len()).any(|i| i != case.place && now[i].parts != new[i].parts);
    let one = |c: &Component| format!("parts = {} of {}", significant(c.parts.get(), 4), c.powder.name);
    match scaled {
        true => new.iter().map(one).collect::<Vec<_>>().join(", "),
        false => format!("parts = {}", significant(new[case.place].parts.get(), 4)),
    }
}

fn reason(reason: Reason, case: &LotCase, judged: &LotJudged) -> String {
    let figure = |i: usize| {
        let f = &judged.figures[i];
        let side = if f.deviation_pct() > 0.0 { "above" } else { "below" };
        format!(
            "{} of {} µm lies {} % {side} the grade's {} µm, tolerance {} %",
            f.name,
            significant(f.lot.mean, 3),
            significant(f.deviation_pct().abs(), 3),
            significant(f.grade_um, 3),
            significant(f.tolerance_pct(), 3)
        )
    };
    let band = |rank: usize| case.judge.band_name(rank);
    match reason {
        Reason::Measurement => "the measurement cannot be relied on (below): measure again before deciding".to_owned(),
        Reason::OverTop => format!(
            "{} % is above {} µm, limit {} %: ask for it sieved, or sieve it off yourself and measure again",
            percent(judged.over_top.mean),
            significant(judged.top_um, 3),
            significant(judged.over_top_limit_pct, 3)
        ),
        Reason::Beyond(i) => figure(i),
        Reason::OtherGrade(i) => format!(
            "{}: {} tolerances off, that is another grade",
            figure(i),
            significant(judged.figures[i].tolerances_off(), 2)
        ),
        Reason::Index(change) if !change.is_finite() => format!(
            "the index of the scrub goes from 0, where nothing touches, to {}",
            significant(judged.with_lot.figures.index, 3)
        ),
        Reason::Index(change) => format!(
            "the index of the scrub goes from {} to {} ({} %, {} % is let pass)",
            significant(judged.before.figures.index, 3),
            significant(judged.with_lot.figures.index, 3),
            signed(change),
            significant(judged.index_limit_pct, 3)
        ),
        Reason::Band => format!(
            "the scrub goes from {} to {}",
            band(judged.before.verdict.rank),
            band(judged.with_lot.verdict.rank)
        ),
        Reason::NoParts => "no parts of it bring the index back within the band as designed".to_owned(),
    }
}

/// What to mind about the measurement.
pub(super) fn warnings(lot: &[LotTable], judged: &LotJudged, limits: &AcceptanceLimits) -> Vec<String> {
    let mut texts: Vec<String> = judged.findings.iter().map(|f| warning(f, lot)).collect();
    let asked = |t: &&LotTable| t.charged_g.is_none() && t.record.measured.is_some_and(|m| m.weighed_g.is_some());
    if lot.iter().any(|t| asked(&t)) {
        texts.push("sieve loss was not checked: give what was put on the sieves as --charged-g".to_owned());
    }
    let unsure = |f: &&HeldFigure| {
        let edge = f.grade_um * f.tolerance_pct() / 100.0;
        let off = (f.lot.mean - f.grade_um).abs();
        f.lot.half_width(limits.interval_pct / 100.0).is_some_and(|half| (off - edge).abs() < half)
    };
    let names: Vec<&str> = judged.figures.iter().filter(unsure).map(|f| f.name).collect();
    if !names.is_empty() {
        texts.push(format!(
            "the {} % interval of {} tables holds the edge of a tolerance ({}): more repeats would settle it",
            limits.interval_pct,
            lot.len(),
            names.join(", ")
        ));
    }
    let (count, wanted) = (lot.len(), limits.repeat_tables);
    if (count as f64) < wanted {
        texts.push(format!(
            "tables: {count}, wanted for repeatability {wanted} (ISO 13320, USP <429>): measure the lot again and give it as \
             --repeat"
        ));
    }
    texts
}

fn warning(found: &Found, lot: &[LotTable]) -> String {
    let text = match &found.finding {
        Finding::Loss { pct, limit_pct } => {
            let word = if *pct < 0.0 { "gained" } else { "lost" };
            format!("{} % was {word} on the sieves, limit {limit_pct} %", significant(pct.abs(), 2))
        }
        Finding::EmptySieve { opening_um } => format!(
            "the {opening_um} µm sieve holds next to nothing between two full ones: torn, not in the stack, or the sieve \
             above it blinded"
        ),
        Finding::LeftOut { missing_um, share_pct } => {
            let missing: Vec<String> = missing_um.iter().map(f64::to_string).collect();
            format!(
                "{} % lies between two sieves where the series has {} µm: put it in, the percentiles there are interpolated",
                significant(*share_pct, 3),
                missing.join(", ")
            )
        }
        Finding::Overloaded { opening_um, held_g, most_g } => format!(
            "the {opening_um} µm sieve holds {} g and can sort {} g: sieve less at a time",
            significant(*held_g, 3),
            significant(*most_g, 3)
        ),
        Finding::Spread { figure, cv_pct, limit_pct } => format!(
            "repeats of {figure} differ by a coefficient of variation of {} %, limit {limit_pct} %",
            significant(*cv_pct, 2)
        ),
        Finding::SmallSample { sample_g, least_g } => format!(
            "a sample of {} g is too small to speak for the lot: take {} g or more",
            significant(*sample_g, 2),
            significant(*least_g, 2)
        ),
        Finding::OtherMethod { grade, lot } => format!(
            "the grade comes from a {}, the lot from a {}: for grains that are no spheres the two methods differ",
            grade.label(),
            lot.label()
        ),
        Finding::MixedMethods { first, other } => format!(
            "one table of the lot is a {}, another a {}: their mean is neither's, as the two methods differ for grains that are \
             no spheres; repeats belong to one method",
            first.label(),
            other.label()
        ),
        Finding::OtherPowder { factor, nearer } => {
            let nearer = nearer.as_ref().map_or(String::new(), |n| format!("; it lies nearer to {n}"));
            format!(
                "D50 is {} times the grade's: this may be the table of another powder{nearer}",
                significant(*factor, 3)
            )
        }
    };
    let grave = if found.grave { " (measure again)" } else { "" };
    match found.table.filter(|_| lot.len() > 1) {
        Some(i) => format!("{}: {text}{grave}", lot[i].file),
        None => format!("{text}{grave}"),
    }
}
