//! The calibration file: what a panel has taught, as TOML, with the model quantities that it was made with.

use super::ScrubFileError;
use super::reader::{TomlDocument, TomlSection};
use crate::numerics::ordinal::CumulativeLogit;
use crate::panel::{Calibration, ScoreLaw, ScoreScale};
use crate::source::Source;
use crate::tables::{REFERENCE_SITE, Site, Tables};

const KEYS: [&str; 18] = [
    "scores",
    "scale",
    "index_range",
    "scrubs",
    "tasters",
    "degrees_of_freedom",
    "law",
    "exponent",
    "exponent_se",
    "centre_index",
    "centre_score",
    "level_sd_ln",
    "scrub_sd_ln",
    "slope",
    "thresholds",
    "category_scores",
    "taster_sd_logit",
    "error_points",
];

const POWER: &str = "power";
const ORDINAL: &str = "ordinal";

/// The quantities that the index depends on, by the names that the file gives them.
fn model(tables: &Tables) -> Vec<(String, f64)> {
    let c = tables.constants.values();
    let mut model = vec![
        ("finger_modulus_mpa".to_owned(), c.finger_modulus_mpa),
        ("poisson_ratio".to_owned(), c.poisson_ratio),
        ("horn_hardness_mpa".to_owned(), c.horn_hardness_mpa),
        ("edge_ratio".to_owned(), c.edge_ratio),
        ("reference_load_pct".to_owned(), c.reference_load_pct),
        ("reference_d50_um".to_owned(), c.reference_d50_um),
        ("reference_gsd".to_owned(), c.reference_gsd),
        ("reference_density_g_cm3".to_owned(), c.reference_density_g_cm3),
        ("reference_hardness_gpa".to_owned(), c.reference_hardness_gpa),
        ("reference_roundness".to_owned(), c.reference_roundness),
    ];
    if let Some(site) = tables.site(REFERENCE_SITE).map(Site::values) {
        model.extend([
            ("skin_modulus_mpa".to_owned(), site.skin_modulus_mpa),
            ("pressure_kpa".to_owned(), site.pressure_kpa),
            ("dose_g_m2".to_owned(), site.dose_g_m2),
            ("gap_um".to_owned(), site.gap_um),
        ]);
    }
    model
}

/// The text of a calibration file.
pub fn write_calibration(calibration: &Calibration, tables: &Tables) -> String {
    let (c, number) = (calibration, |v: f64| format!("{v:?}"));
    let list = |values: &[f64]| format!("[{}]", values.iter().map(|v| number(*v)).collect::<Vec<_>>().join(", "));
    let scores = c.source.replace('\\', "/").replace(['"', '\''], "").replace(char::is_control, " ");
    let mut text = format!(
        "# What a panel of testers has taught about the abrasiveness index: written by gritwise panel, read by\n\
         # gritwise blend --calibration and by aim files. A feel on a scale, not a clinical measure.\n\n\
         [calibration]\nscores = \"{scores}\"\nscale = {}\nindex_range = {}\nscrubs = {}\ntasters = {}\n\
         degrees_of_freedom = {}\n",
        list(&[c.scale.low, c.scale.top]),
        list(&[c.index_range.0, c.index_range.1]),
        c.scrubs,
        c.panellists,
        number(c.df),
    );
    text += &match &c.law {
        ScoreLaw::Power { exponent, exponent_se, centre_index, centre_score, level_sd, scrub_sd } => format!(
            "law = \"{POWER}\"                # score = centre_score (index / centre_index)^exponent\n\
             exponent = {exponent:?}\nexponent_se = {exponent_se:?}\ncentre_index = {centre_index:?}\n\
             centre_score = {centre_score:?}\nlevel_sd_ln = {level_sd:?}\nscrub_sd_ln = {scrub_sd:?}\n"
        ),
        ScoreLaw::Ordinal { model, scores, error_points } => format!(
            "law = \"{ORDINAL}\"              # cumulative logit of ln index\nslope = {:?}\nthresholds = {}\n\
             category_scores = {}\ntaster_sd_logit = {:?}\nerror_points = {error_points:?}\n",
            model.slope,
            list(&model.thresholds),
            list(scores),
            model.block_sd,
        ),
    };
    text += "\n# The model that the indices came from; with other values the calibration does not hold.\n[model]\n";
    for (name, value) in model(tables) {
        text += &format!("{name} = {value:?}\n");
    }
    text
}

/// Reads a calibration file.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column: what is missing, unknown or out of range, and a model other than the one in
/// force.
pub fn read_calibration<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Calibration, ScrubFileError> {
    let opened = source.into().open()?;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the calibration file", 0, root.get_ref());
    root.only(&["calibration", "model"], |_| false)?;
    let head = root.section("calibration")?;
    let head = root.require("[calibration]", head, "one written by gritwise panel SCORES.csv --write panel.toml")?;
    head.only(&KEYS, |_| false)?;
    let written = root.section("model")?;
    let written = root.require("[model]", written, "edge_ratio = 5 and the others")?;
    check_model(&written, tables)?;
    let [low, top] = pair(&head, "scale")?;
    let scale = ScoreScale::new(low, top)
        .ok_or_else(|| head.error_of("scale", format!("scale must rise, not [{low}, {top}]; write scale = [0, 10]")))?;
    let [least, most] = pair(&head, "index_range")?;
    if !(least > 0.0 && most > least) {
        return Err(head.error_of("index_range", format!("index_range must rise above 0, not [{least}, {most}]")));
    }
    let source = head.text("scores")?;
    Ok(Calibration {
        source: head.require("scores", source, "scores = \"panel-scores.csv\"")?.value,
        scale,
        index_range: (least, most),
        scrubs: within(&head, "scrubs", 1.0, 1e6)? as usize,
        panellists: within(&head, "tasters", 1.0, 1e6)? as usize,
        df: within(&head, "degrees_of_freedom", 0.5, 1e9)?,
        law: law(&head, scale)?,
    })
}

fn check_model(written: &TomlSection, tables: &Tables) -> Result<(), ScrubFileError> {
    let now = model(tables);
    let there = written.numbers_where(|_| true)?;
    if there.iter().any(|t| t.0 == "half_hardness_gpa") {
        let message = "half_hardness_gpa belongs to the model's first edition; edge_ratio stands in its place now: run gritwise panel again";
        return Err(written.error_of("half_hardness_gpa", message.to_owned()));
    }
    let names: Vec<&str> = now.iter().map(|n| n.0.as_str()).collect();
    written.only(&names, |_| false)?;
    for (name, value) in &now {
        let then = there.iter().find(|t| t.0 == *name).map(|t| t.1);
        let then = written.require(name, then, &format!("{name} = {value:?}"))?;
        if (then - value).abs() > 1e-9 * value.abs() {
            return Err(written.error(format!(
                "the panel was read with {name} = {then}, and the tables in force have {value}: run gritwise panel again with \
                 them"
            )));
        }
    }
    Ok(())
}

fn law(head: &TomlSection, scale: ScoreScale) -> Result<ScoreLaw, ScrubFileError> {
    let named = head.need(TomlSection::text, "law", "law = \"power\"")?;
    match named.value.as_str() {
        POWER => Ok(ScoreLaw::Power {
            exponent: within(head, "exponent", 1e-6, 1e3)?,
            exponent_se: within(head, "exponent_se", 0.0, 1e3)?,
            centre_index: within(head, "centre_index", 1e-9, 1e9)?,
            centre_score: within(head, "centre_score", 1e-9, 1e9)?,
            level_sd: within(head, "level_sd_ln", 0.0, 1e3)?,
            scrub_sd: within(head, "scrub_sd_ln", 0.0, 1e3)?,
        }),
        ORDINAL => {
            let (thresholds, scores) = (rising(head, "thresholds")?, rising(head, "category_scores")?);
            if scores.len() != thresholds.len() + 1 || !scores.iter().all(|s| scale.holds(*s)) {
                let problem = "category_scores must be one more than thresholds, all on the scale";
                return Err(head.error_of("category_scores", problem));
            }
            let (slope, block_sd) = (within(head, "slope", 1e-6, 1e3)?, within(head, "taster_sd_logit", 0.0, 1e3)?);
            let model = CumulativeLogit { thresholds, slope, block_sd, log_likelihood: f64::NAN };
            Ok(ScoreLaw::Ordinal { model, scores, error_points: within(head, "error_points", 0.0, 1e6)? })
        }
        other => {
            let problem = format!("unknown law \"{other}\"; write \"{POWER}\" or \"{ORDINAL}\"");
            Err(head.error_at(named.offset, problem))
        }
    }
}

fn within(head: &TomlSection, key: &'static str, least: f64, most: f64) -> Result<f64, ScrubFileError> {
    let at = head.need(TomlSection::number, key, &format!("{key} = {}", least.max(1.0)))?;
    if !(least..=most).contains(&at.value) {
        let problem = format!("{key} must lie between {least} and {most}, not {}", at.value);
        return Err(head.error_at(at.offset, problem));
    }
    Ok(at.value)
}

fn pair(head: &TomlSection, key: &'static str) -> Result<[f64; 2], ScrubFileError> {
    Ok(head.need(TomlSection::pair, key, &format!("{key} = [0, 10]"))?.value)
}

fn rising(head: &TomlSection, key: &'static str) -> Result<Vec<f64>, ScrubFileError> {
    let at = head.need(TomlSection::numbers, key, &format!("{key} = [1.0, 2.0]"))?;
    let rises = !at.value.is_empty() && at.value.windows(2).all(|w| w[0] < w[1]);
    let finite = at.value.iter().all(|v| v.is_finite());
    if rises && finite { Ok(at.value) } else { Err(head.error_at(at.offset, format!("{key} must rise"))) }
}
