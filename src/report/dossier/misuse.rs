//! Horn taken off by one use, and what foreseeable misuse makes of it.

use super::Subject;
use crate::band::{BEYOND, Misused, Rubbing};
use crate::numerics::written::{percent, three, trimmed, two};
use crate::report::BlendReport;
use crate::report::document::{Grid, Section};
use crate::report::layout::{joined, listed, row};
use crate::rub::Partition;
use crate::tables::{Criterion, Known, REFERENCE_SITE};
use serde::Serialize;

/// Days of a week.
const WEEK: f64 = 7.0;

/// The scrub as it is meant to be used and otherwise. The field names are keys of the dossier's JSON.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MisusePart {
    /// Uses a week as it is meant.
    pub per_week: f64,
    /// Whether its file states them; else they are what is usual for its band.
    pub per_week_stated: bool,
    /// Every way to use it, the one that is meant first.
    pub uses: Vec<UsePart>,
}

/// One way to use it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct UsePart {
    /// In words.
    pub how: String,
    /// The rub.
    #[serde(flatten)]
    pub rubbed: Misused,
    /// Uses a week.
    pub per_week: f64,
    /// Horn removed in a week, µm.
    pub removal_um_per_week: f64,
    /// Horn that grows anew in a week, µm.
    pub renewed_um_per_week: f64,
}

/// A number of a table, as it stands there.
fn plain(value: f64) -> String {
    trimmed(value, 3)
}

/// A number with its range, status and source.
fn told(known: &Known, unit: &str) -> String {
    let [value, low, high] = [known.value, known.low, known.high].map(plain);
    format!("{value} {unit} ({low} to {high}; {})", of(known))
}

/// "estimate: by what analogy"
fn of(known: &Known) -> String {
    format!("{}: {}", known.origin.status.key(), known.origin.source)
}

impl MisusePart {
    /// Rubs the scrub as meant and otherwise, at the site of its band.
    pub fn new(subject: &Subject) -> Self {
        let Subject { judge, tables, assessment, checked, formula, .. } = *subject;
        let constants = &tables.misuse;
        let rubbed = judge.misused(checked.on_skin.scrub_or_weighed(), assessment, tables);
        let on_face = rubbed.first().is_some_and(|r| r.site == REFERENCE_SITE);
        let usual = &tables.formula.constants;
        let usual = if on_face { usual.per_week_face.value } else { usual.per_week_body.value };
        let stated = formula.usage.per_week;
        let per_week = stated.unwrap_or(usual);
        let renewed = |site: &str| {
            tables.site(site).map_or(0.0, |s| WEEK * s.stratum_corneum_um.value / constants.renewal_days.value)
        };
        let part = |how: String, rubbed: Misused, per_week: f64| UsePart {
            how,
            removal_um_per_week: per_week * rubbed.removal_um_per_use,
            renewed_um_per_week: renewed(&rubbed.site),
            per_week,
            rubbed,
        };
        let daily = constants.daily_per_week.value;
        let daily =
            rubbed.first().cloned().map(|r| part(format!("every day, {} times a week", plain(daily)), r, daily));
        let [harder, dry] = [&constants.pressure_times, &constants.dry_horn_times].map(|known| plain(known.value));
        let how = |rubbing| match rubbing {
            Rubbing::AsStated => "as it is meant".to_owned(),
            Rubbing::PressedHarder => format!("pressed {harder} times as hard"),
            Rubbing::PressedThin => format!("pressed {harder} times as hard, the film thin"),
            Rubbing::DrySkin => format!("on dry skin, horn {dry} times as hard"),
            Rubbing::DrySkinThin => "on dry skin, the film thin".to_owned(),
            Rubbing::OnReferenceSite => format!("on the {}", judge.model().reference_site().name),
        };
        let uses = rubbed.into_iter().map(|r| part(how(r.rubbing), r, per_week)).chain(daily).collect();
        Self { per_week, per_week_stated: stated.is_some(), uses }
    }
}

pub fn horn(subject: &Subject, blend: &BlendReport, misuse: &MisusePart) -> Section {
    let Subject { tables, .. } = *subject;
    let distance = &tables.constants.sliding_distance_m;
    let measured = &tables.misuse;
    let heads = ["Site", "µm per m", "µm per use", "from", "to", "Horny layer µm", "% of it per use"];
    let lines = blend.sites.iter().map(|site| {
        let per_use = [distance.value, distance.low, distance.high].map(|m| m * site.removal_um_per_m);
        let share = 100.0 * per_use[0] / site.stratum_corneum_um;
        let removed = row(&site.site).three([site.removal_um_per_m]).three(per_use);
        removed.three([site.stratum_corneum_um]).percent([share])
    });
    let grid = Grid::new("lrrrrrr", &heads).captioned("Horn taken off (model)").rows(lines);
    let of_use = misuse.uses.first().map(|u| &u.rubbed);
    let layer = of_use.and_then(|u| tables.site(&u.site)).map(|site| &site.stratum_corneum_um);
    let sentence = of_use.zip(layer).map(|(used, layer)| {
        let removed = used.removal_um_per_use;
        let range = [distance.low, distance.high].map(|m| three(removed * m / distance.value));
        format!(
            "By the model, which is no measurement on skin, one use on the {} takes off {} µm of horn ({} to {} µm for {} to {} m of \
             sliding), {} % of the horny layer there. Sliding of one use: {}. Horny layer: {}.",
            used.site,
            three(removed),
            range[0],
            range[1],
            plain(distance.low),
            plain(distance.high),
            percent(100.0 * removed / layer.value),
            told(distance, "m"),
            told(layer, "µm")
        )
    });
    let um = |strips: f64, strip: f64| strips * strip;
    let (strips, strip) = (&measured.measured_strips, &measured.strip_um);
    let middle = um(strips.value, strip.value);
    let beside = of_use.map_or(String::new(), |used| {
        let times = two(used.removal_um_per_use / middle);
        format!(" One use of this product takes off {times} times the middle of that, {} µm.", two(middle))
    });
    let treatment = format!(
        "Measured on skin, one scrub treatment took off {} to {} tape strips ({}). With {} to {} µm on a strip ({}) \
         that is {} to {} µm.{beside}",
        plain(strips.low),
        plain(strips.high),
        of(strips),
        plain(strip.low),
        plain(strip.high),
        of(strip),
        two(um(strips.low, strip.low)),
        two(um(strips.high, strip.high)),
    );
    Section::new("horn", "Horn taken off by one use").texts(sentence).text(treatment).table(grid)
}

pub fn section(subject: &Subject, misuse: &MisusePart) -> Section {
    let known = &subject.tables.misuse;
    let set_up = ["How it is used", "Site", "Pressure kPa", "Horn MPa", "Least gap µm"];
    let found = ["Groove, 95 %, µm", "Groove ratio", "Horn off per use µm", "Uses a week", "Horn off a week µm"];
    let heads = [&set_up[..], &found, &["Grown in a week µm"]].concat();
    let lines = misuse.uses.iter().map(|part| {
        let UsePart { how, rubbed, per_week, removal_um_per_week, renewed_um_per_week } = part;
        let set = [rubbed.pressure_kpa, rubbed.horn_hardness_mpa, rubbed.least_gap_um];
        let found = [rubbed.groove_p95_um, rubbed.groove_ratio, rubbed.removal_um_per_use];
        row(how).and(&rubbed.site).three(set).three(found).three([
            *per_week,
            *removal_um_per_week,
            *renewed_um_per_week,
        ])
    });
    let grid = Grid::new("llrrrrrrrrr", &heads).captioned("Used as it is meant and otherwise (model)").rows(lines);
    let often = if misuse.per_week_stated { "as the scrub file states" } else { "usual for its band, not stated" };
    let factors = [
        ("pressure, times", &known.pressure_times),
        ("hardness of dry horn, times", &known.dry_horn_times),
        ("every day, uses a week", &known.daily_per_week),
        ("days in which the horny layer grows anew", &known.renewal_days),
    ];
    let factors = Grid::new("lrrrll", &["Taken", "Value", "Low", "High", "Status", "Source"])
        .captioned("What the figures of misuse rest on")
        .rows(factors.map(|(what, k)| {
            row(what).all([k.value, k.low, k.high].map(plain)).and(k.origin.status.key()).and(&k.origin.source)
        }));
    Section::new("misuse", "Foreseeable misuse in figures")
        .text(format!(
            "The same rub, solved again with other numbers of hand and skin, at the site where the scrub is judged; {} uses a week ({often}). \
             These are figures of a model, not a clinical measure. Thin film: the least gap at the low end of its range. Horny layers keep \
             their thickness: it was measured on skin that was not soaked.",
            plain(misuse.per_week)
        ))
        .table(grid)
        .texts(beyond_limit(subject, misuse))
        .texts(faster_than_grown(misuse))
        .texts(remarks(subject, misuse))
        .table(factors)
}

/// Which uses plough deeper than the band allows at its site.
fn beyond_limit(subject: &Subject, misuse: &MisusePart) -> Option<String> {
    let band = subject.judge.bands().get(subject.assessment.verdict.rank)?;
    let limit = band.limit(Criterion::GrooveRatio);
    let at_site = misuse.uses.iter().filter(|u| u.rubbed.site == band.site);
    let deeper: Vec<&str> = at_site.filter(|u| u.rubbed.groove_ratio > limit).map(|u| u.how.as_str()).collect();
    let limit =
        format!("The band {} allows a groove ratio of {} at the {} (a convention)", band.name, limit, band.site);
    Some(match deeper.as_slice() {
        [] => format!("{limit}; none of these uses there is beyond it."),
        some => format!("{limit}; beyond it: {}.", listed(some)),
    })
}

/// Which uses take off more in a week than grows.
fn faster_than_grown(misuse: &MisusePart) -> Option<String> {
    let faster = misuse.uses.iter().filter(|u| u.removal_um_per_week > u.renewed_um_per_week);
    let faster = joined(faster.map(|u| u.how.clone()), "; ");
    Some(match faster.as_str() {
        "" => "None of these uses takes off more horn in a week than grows in it.".to_owned(),
        some => format!("More horn than grows in a week is taken off by these uses: {some}."),
    })
}

/// How the figures are to be read.
fn remarks(subject: &Subject, misuse: &MisusePart) -> Vec<String> {
    let harder = misuse.uses.iter().find(|u| u.rubbed.rubbing == Rubbing::PressedHarder);
    let shared = harder.filter(|u| u.rubbed.rub == Partition::Shared).map(|_| {
        "Pressing harder changes nothing by itself here: film and skin take up what the grains do not carry. What it does to skin is that \
         it squeezes the film thin, which is the row after it."
    });
    let dry = "On harder horn the model ploughs shallower grooves. It knows nothing of friction, cracks and soreness of dry skin: a lower \
               figure does not say that dry skin bears the scrub better.";
    let dissolves = subject.checked.on_skin.dissolves.then_some(
        "Grains that dissolve do so while they rub: horn taken off is what it would be if they stayed as they reach the skin, the most it \
         can be.",
    );
    let is_beyond = subject.judge.band_name(subject.assessment.verdict.rank) == BEYOND;
    let beyond = is_beyond.then_some("No band allows the scrub: it is rubbed at the site of the harshest one.");
    shared.into_iter().chain([dry]).chain(dissolves).chain(beyond).map(str::to_owned).collect()
}
