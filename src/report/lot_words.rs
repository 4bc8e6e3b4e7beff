//! Why a lot has its verdict, and what to mind about its measurement, in a maker's words.

use super::layout::{joined, listed};
use crate::design::Rebalanced;
use crate::lots::Sureness;
use crate::lots::lot::{HeldFigure, LotCase, LotJudged, LotTable, LotVerdict, Reason};
use crate::lots::measurement::{FoundOddity, Oddity};
use crate::numerics::written::{four, percent, signed, three, trimmed, two};
use crate::size::table::TableKind;
use crate::tables::AcceptanceLimits;

/// How the command line is told what is asked for; whoever asks by other means leaves it out.
const AS_REPEAT: &str = " and give the table as --repeat";
const AS_ANOTHER: &str = " and give it as --repeat";
const AS_CHARGE: &str = " as --charged-g";

/// The same words for who has no command line.
pub(super) fn without_options(text: &str) -> String {
    [AS_REPEAT, AS_ANOTHER, AS_CHARGE].iter().fold(text.to_owned(), |text, option| text.replace(option, ""))
}

/// Why.
pub(super) fn reasons(case: &LotCase, judged: &LotJudged) -> Vec<String> {
    let mut texts: Vec<String> = judged.reasons.iter().map(|r| reason(*r, case, judged)).collect();
    if texts.is_empty() {
        let change = two(judged.index_change_pct().abs());
        texts.push(match held(judged).as_slice() {
            [] => "nothing is held against the grade, which does not tell its sizes; the scrub made with it decides"
                .to_owned(),
            [one] => format!("{one} is within its tolerance"),
            several => format!("{} are within their tolerances", listed(several)),
        });
        texts.push(format!("the scrub keeps its band, and its index within {change} %"));
    } else if judged.verdict == LotVerdict::AcceptWithNewParts {
        texts.extend(judged.rebalanced.as_ref().map(|new| brought_back(case, new)));
    }
    texts
}

/// What new parts bring.
pub(super) fn brought_back(case: &LotCase, new: &Rebalanced) -> String {
    let (load, index) = (four(new.scrub.load.get()), three(new.assessment.figures.index));
    let why = if new.restored {
        format!("bring the index back to {index}")
    } else {
        format!("bring the index to {index}, as near as the band lets it")
    };
    let parts = new_parts(case, new);
    format!("{parts} with powder_load_pct = {load} {why}, and the band is no harsher than designed")
}

/// How sure the verdict is, what would settle it, and how far the new parts are known: the ends of their range, then in a kilogram, g.
pub(super) fn how_sure(
    lot: &[LotTable],
    judged: &LotJudged,
    sure: &Sureness,
    new_parts: Option<[f64; 4]>,
) -> Vec<String> {
    let [d50, outer] = sure.repeatability_pct.map(two);
    let what = if lot.len() > 1 { format!("a mean of {} tables", lot.len()) } else { "one table".to_owned() };
    let shares = LotVerdict::ALL.map(|v| format!("{} {:.0} %", v.key(), sure.pct(v)));
    let mut texts = vec![format!(
        "{what} repeats to {d50} % at D50 and {outer} % at D10 and D90; of {} such measurements drawn: {}",
        sure.draws,
        shares.join(", ")
    )];
    if sure.is_unsure(judged.verdict) {
        let sieved = lot.iter().any(|t| t.record.measured.is_some_and(|m| m.kind == TableKind::Sieve));
        let other = " (on other sieves: what the openings of one set are off does not go away by sieving again)";
        let openings = if sieved { other } else { "" };
        texts.push(format!(
            "unsure: fewer than {} % agree with \"{}\". Measure the lot again{openings}{AS_REPEAT} before you decide",
            sure.least_pct,
            judged.verdict.key()
        ));
    }
    texts.extend(new_parts.map(|ends| {
        let [low, high, least, most] = ends.map(three);
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
    if !scaled {
        return format!("parts = {}", four(new[case.place].parts.get()));
    }
    joined(new.iter().map(|c| format!("parts = {} of {}", four(c.parts.get()), c.powder.name)), ", ")
}

fn reason(reason: Reason, case: &LotCase, judged: &LotJudged) -> String {
    let figure = |i: usize| {
        let f = &judged.figures[i];
        let side = if f.deviation_pct() > 0.0 { "above" } else { "below" };
        let [lot, off, grade, tolerance] =
            [f.lot.mean, f.deviation_pct().abs(), f.grade_um, f.tolerance_pct()].map(three);
        format!("{} of {lot} µm lies {off} % {side} the grade's {grade} µm, tolerance {tolerance} %", f.name)
    };
    let [before, with_lot] = [&judged.before, &judged.with_lot];
    let [from, to] = [before, with_lot].map(|a| three(a.figures.index));
    let [band, band_with_lot] = [before, with_lot].map(|a| case.judge.band_name(a.verdict.rank));
    match reason {
        Reason::Measurement => "the measurement cannot be relied on (below): measure again before deciding".to_owned(),
        Reason::TopNotKnown => top_not_known(case, judged),
        Reason::NotKnown(i) => not_known(&judged.figures[i], case, judged),
        Reason::OverTop => {
            let (over, top) = (percent(judged.top.lot_pct[0]), three(judged.top.um));
            let least = if judged.top.lot.is_none() { " or more" } else { "" };
            format!(
                "{over} %{least} is above {top} µm, limit {} %: ask for it sieved, or sieve it off yourself and measure again",
                three(judged.top.limit_pct.unwrap_or(f64::NAN))
            )
        }
        Reason::Beyond(i) => figure(i),
        Reason::OtherGrade(i) => {
            let off = two(judged.figures[i].tolerances_off());
            format!("{}: {off} tolerances off, that is another grade", figure(i))
        }
        Reason::Index(change) if !change.is_finite() => {
            format!("the index of the scrub goes from 0, where nothing touches, to {to}")
        }
        Reason::Index(change) => {
            let (change, passes) = (signed(change), three(judged.index_limit_pct));
            format!("the index of the scrub goes from {from} to {to} ({change} %, {passes} % is let pass)")
        }
        Reason::Band => format!("the scrub goes from {band} to {band_with_lot}"),
        Reason::NoParts => "no parts of it bring the index back within the band as designed".to_owned(),
    }
}

/// What is above the top size, where no sieve told it.
fn top_not_known(case: &LotCase, judged: &LotJudged) -> String {
    let top = three(judged.top.um);
    let limit = three(judged.top.limit_pct.unwrap_or(f64::NAN));
    let not_known = format!("what is above {top} µm is not known, limit {limit} %");
    let size = &judged.scrub.blend.components()[case.place].powder.size;
    match size.open_top().filter(|open| open.from_um < judged.top.um) {
        Some(open) => format!(
            "{not_known}: {} % lies above {} µm, the coarsest size that was measured; sieve on {top} µm too, or say with --max-um how far up \
             it reaches",
            three(100.0 * open.share),
            trimmed(open.from_um, 4)
        ),
        None => format!("{not_known}: it lies below the finest size that was measured; measure finer ones too"),
    }
}

/// A percentile that no sieve told.
fn not_known(figure: &HeldFigure, case: &LotCase, judged: &LotJudged) -> String {
    let size = &judged.scrub.blend.components()[case.place].powder.size;
    let is_above = size.classes.last().is_some_and(|top| top.open && figure.lot.mean > top.lower_um);
    let side = if is_above { "above the coarsest size" } else { "below the finest size" };
    let more = match size.measured.map(|m| m.kind) {
        Some(TableKind::Sieve) if is_above => "sieve on coarser ones too, or say with --max-um how far up it reaches",
        Some(TableKind::Sieve) => "sieve on finer ones too, or measure by laser diffraction",
        _ => "give the table to its end",
    };
    format!("{} is not known: it lies {side} that was measured; {more}", figure.name)
}

/// What to mind about the measurement.
pub(super) fn warnings(lot: &[LotTable], judged: &LotJudged, limits: &AcceptanceLimits) -> Vec<String> {
    let mut texts: Vec<String> = judged.findings.iter().map(|f| finding_said(f, lot)).collect();
    let asked = |t: &&LotTable| t.charged_g.is_none() && t.record.measured.is_some_and(|m| m.weighed_g.is_some());
    if lot.iter().any(|t| asked(&t)) {
        texts.push(format!("sieve loss was not checked: give what was put on the sieves{AS_CHARGE}"));
    }
    texts.extend(not_held(judged));
    let unsure = |f: &&HeldFigure| {
        if !f.is_held() {
            return false;
        }
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
            "tables: {count}, wanted for repeatability {wanted} (ISO 13320, USP <429>): measure the lot again{AS_ANOTHER}"
        ));
    }
    texts
}

/// What of a lot is held against its grade.
fn held(judged: &LotJudged) -> Vec<&'static str> {
    let figures = judged.figures.iter().filter(|f| f.is_within().is_some()).map(|f| f.name);
    figures.chain(judged.top.limit_pct.map(|_| "the top size")).collect()
}

/// What the grade does not tell, so that nothing was held against it.
fn not_held(judged: &LotJudged) -> Option<String> {
    let figures = judged.figures.iter().filter(|f| !f.grade_known).map(|f| f.name);
    let names: Vec<&str> = figures.chain(judged.top.limit_pct.is_none().then_some("top size")).collect();
    (!names.is_empty()).then(|| {
        format!(
            "the grade does not tell its {}: what is taken for {} is assumed, and nothing was held against it; ask for the figures, or \
             measure the grade from end to end",
            listed(&names),
            if names.len() == 1 { "it" } else { "them" }
        )
    })
}

/// What was found of a measurement.
pub(super) fn finding_said(found: &FoundOddity, lot: &[LotTable]) -> String {
    let text = match &found.finding {
        Oddity::Loss { pct, limit_pct } => {
            let (pct, word) = (two(pct.abs()), if *pct < 0.0 { "gained" } else { "lost" });
            format!("{pct} % was {word} on the sieves, limit {limit_pct} %")
        }
        Oddity::EmptySieve { opening_um } => format!(
            "the {opening_um} µm sieve holds next to nothing between two full ones: torn, not in the stack, or the sieve \
             above it blinded"
        ),
        Oddity::LeftOut { missing_um, share_pct } => {
            let (share, missing) = (three(*share_pct), joined(missing_um.iter().map(f64::to_string), ", "));
            format!(
                "{share} % lies between two sieves where the series has {missing} µm: put it in, the percentiles there are interpolated"
            )
        }
        Oddity::Overloaded { opening_um, held_g, most_g } => {
            let [held, most] = [*held_g, *most_g].map(three);
            format!("the {opening_um} µm sieve holds {held} g and can sort {most} g: sieve less at a time")
        }
        Oddity::Spread { figure, cv_pct, limit_pct } => {
            let cv = two(*cv_pct);
            format!("repeats of {figure} differ by a coefficient of variation of {cv} %, limit {limit_pct} %")
        }
        Oddity::SampleBelowSieves { sample_g, weighed_g } => {
            let [sample, weighed] = [*sample_g, *weighed_g].map(three);
            format!(
                "--sample-g says {sample} g, but {weighed} g lay on the sieves: one of the two is wrong; the sample is all that was taken \
                 of the lot to be measured"
            )
        }
        Oddity::SmallSample { sample_g, least_g } => {
            let [sample, least] = [*sample_g, *least_g].map(two);
            format!("a sample of {sample} g is too small to speak for the lot: take {least} g or more")
        }
        Oddity::OtherMethod { grade, lot } => format!(
            "the grade comes from a {}, the lot from a {}: for grains that are no spheres the two methods differ",
            grade.label(),
            lot.label()
        ),
        Oddity::MixedMethods { first, other } => format!(
            "one table of the lot is a {}, another a {}: their mean is neither's, as the two methods differ for grains that are \
             no spheres; repeats belong to one method",
            first.label(),
            other.label()
        ),
        Oddity::OtherPowder { factor, nearer } => {
            let nearer = nearer.as_ref().map_or(String::new(), |n| format!("; it lies nearer to {n}"));
            let factor = three(*factor);
            format!("D50 is {factor} times the grade's: this may be the table of another powder{nearer}")
        }
    };
    let grave = if found.grave { " (measure again)" } else { "" };
    match found.table.filter(|_| lot.len() > 1) {
        Some(i) => format!("{}: {text}{grave}", lot[i].file),
        None => format!("{text}{grave}"),
    }
}
