//! `materials.csv`: exfoliants with their usual properties, each number with a status and a source of its own.

use super::known::{Known, Origin, Status};
use super::rows::{CautionRow, Ranged, RefusalRow};
use super::{TableError, TableFile, ranged, refuse_repeats};
use crate::source::did_you_mean;
use serde::Deserialize;

/// Flag of a material that the trade does not use on the face.
pub const NOT_ON_FACE: &str = "not-on-face";

/// A property of a grain that the rub depends on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Property {
    /// Envelope density, g/cm³.
    Density,
    /// Indentation hardness, GPa.
    Hardness,
    /// Wadell roundness.
    Roundness,
}

impl Property {
    /// All three, in the order of JSON.
    pub const ALL: [Self; 3] = [Self::Density, Self::Hardness, Self::Roundness];

    /// The word of JSON and of people.
    pub fn key(self) -> &'static str {
        match self {
            Self::Density => "density",
            Self::Hardness => "hardness",
            Self::Roundness => "roundness",
        }
    }
}

/// An exfoliant with its usual properties.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// The key that scrub files use.
    pub key: String,
    /// Name for people.
    pub name: String,
    /// INCI name.
    pub inci: String,
    /// `mineral`, `plant`, `wax`, `salt`, `sugar` or `polymer`.
    pub origin: String,
    /// Lowest and highest Mohs number that suppliers quote.
    pub mohs: [f64; 2],
    /// Indentation hardness, GPa.
    pub hardness_gpa: Known,
    /// Envelope density, g/cm³.
    pub density_g_cm3: Known,
    /// Wadell roundness.
    pub roundness: Known,
    /// Grams that dissolve in 100 mL of water.
    pub soluble_g_per_100ml: Option<f64>,
    /// Where that comes from; there whenever the number is.
    pub soluble_origin: Option<Origin>,
    /// Where it softens or melts, °C.
    pub softens_c: Option<f64>,
    /// Usual share of a face product, % w/w, as `low-high`.
    pub face_pct: String,
    /// Usual share of a body product, % w/w, as `low-high`.
    pub body_pct: String,
    /// Group of the refusals table that forbids it; empty when allowed.
    pub refused_by: String,
    /// Triggers of the cautions table, separated by spaces.
    pub flags: String,
    /// Why the trade does not use it on the face; empty when it does.
    not_on_face: String,
    /// Anything else.
    pub note: String,
}

impl Material {
    /// A property of its grains.
    pub fn known(&self, property: Property) -> &Known {
        match property {
            Property::Density => &self.density_g_cm3,
            Property::Hardness => &self.hardness_gpa,
            Property::Roundness => &self.roundness,
        }
    }

    /// Why the trade does not use it on the face, in words with their source; `None` when it does.
    pub fn not_on_face(&self) -> Option<&str> {
        Some(self.not_on_face.as_str()).filter(|reason| !reason.is_empty())
    }

    /// Whether it carries a flag.
    pub fn has_flag(&self, flag: &str) -> bool {
        self.flags.split_whitespace().any(|f| f == flag)
    }

    /// Whether Mohs scratches tell nothing of its hardness under an indenter: plants, waxes and polymers yield, salts and sugar cleave,
    /// all far below what a mineral of that Mohs number has.
    pub fn is_misjudged_by_mohs(&self) -> bool {
        matches!(self.origin.as_str(), "plant" | "wax" | "polymer" | "salt" | "sugar")
    }

    /// Whether it is a salt or a sugar, which are used by the half.
    pub fn is_soluble(&self) -> bool {
        matches!(self.origin.as_str(), "salt" | "sugar")
    }

    /// Whether it comes from a plant, and with it microbes.
    pub fn is_plant(&self) -> bool {
        self.origin == "plant"
    }

    /// Whether a word names this material: its key, name, origin or one of its flags, in any case.
    pub fn answers_to(&self, word: &str) -> bool {
        let same = |other: &str| other.eq_ignore_ascii_case(word.trim());
        same(&self.key) || same(&self.name) || same(&self.origin) || self.flags.split_whitespace().any(same)
    }

    /// The most that is usual in a face or body product, % w/w of the scrub.
    pub fn usual_top_pct(&self, face: bool) -> Option<f64> {
        let range = if face { &self.face_pct } else { &self.body_pct };
        range.split_once('-').and_then(|(_, high)| high.trim().parse().ok())
    }
}

/// A row as it is written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MaterialRow {
    key: String,
    name: String,
    inci: String,
    origin: String,
    mohs_low: f64,
    mohs_high: f64,
    hardness_gpa: f64,
    hardness_gpa_low: f64,
    hardness_gpa_high: f64,
    hardness_status: String,
    hardness_source: String,
    density_g_cm3: f64,
    density_g_cm3_low: f64,
    density_g_cm3_high: f64,
    density_status: String,
    density_source: String,
    roundness: f64,
    roundness_low: f64,
    roundness_high: f64,
    roundness_status: String,
    roundness_source: String,
    soluble_g_per_100ml: Option<f64>,
    soluble_status: String,
    soluble_source: String,
    softens_c: Option<f64>,
    face_pct: String,
    body_pct: String,
    refused_by: String,
    flags: String,
    not_on_face: String,
    note: String,
}

impl Ranged for MaterialRow {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![
            ("hardness_gpa", self.hardness_gpa, self.hardness_gpa_low, self.hardness_gpa_high),
            ("density_g_cm3", self.density_g_cm3, self.density_g_cm3_low, self.density_g_cm3_high),
            ("roundness", self.roundness, self.roundness_low, self.roundness_high),
            ("mohs", self.mohs_low, self.mohs_low, self.mohs_high),
        ]
    }
}

impl MaterialRow {
    /// The material, its reader having looked at flags and groups.
    fn material(self) -> Result<Material, String> {
        Ok(Material {
            hardness_gpa: Known {
                value: self.hardness_gpa,
                low: self.hardness_gpa_low,
                high: self.hardness_gpa_high,
                origin: origin("hardness", &self.hardness_status, self.hardness_source)?,
            },
            density_g_cm3: Known {
                value: self.density_g_cm3,
                low: self.density_g_cm3_low,
                high: self.density_g_cm3_high,
                origin: origin("density", &self.density_status, self.density_source)?,
            },
            roundness: Known {
                value: self.roundness,
                low: self.roundness_low,
                high: self.roundness_high,
                origin: origin("roundness", &self.roundness_status, self.roundness_source)?,
            },
            soluble_origin: match self.soluble_g_per_100ml {
                Some(_) => Some(origin("soluble", &self.soluble_status, self.soluble_source)?),
                None => None,
            },
            soluble_g_per_100ml: self.soluble_g_per_100ml,
            key: self.key,
            name: self.name,
            inci: self.inci,
            origin: self.origin,
            mohs: [self.mohs_low, self.mohs_high],
            softens_c: self.softens_c,
            face_pct: self.face_pct,
            body_pct: self.body_pct,
            refused_by: self.refused_by,
            flags: self.flags,
            not_on_face: self.not_on_face,
            note: self.note,
        })
    }
}

/// Where a number that is there comes from.
fn origin(number: &str, status: &str, source: String) -> Result<Origin, String> {
    let status = Status::of(status).ok_or_else(|| {
        let words = Status::ALL.map(Status::label).join(", ");
        format!(
            "{number}_status must say how well the number is known ({words}) and {number}_source where it comes from"
        )
    })?;
    Ok(Origin { status, source })
}

/// Reads the materials. `refusals` and `cautions` hold the groups and triggers that they may name.
pub(super) fn read(
    file: &TableFile,
    refusals: &[RefusalRow],
    cautions: &[CautionRow],
) -> Result<Vec<Material>, TableError> {
    refuse_one_origin_for_all(file)?;
    let rows: Vec<(usize, MaterialRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.key.clone())?;
    let read = |(line, row): (usize, MaterialRow)| {
        let checked = check(&row, refusals, cautions).and_then(|()| row.material());
        checked.map_err(|problem| file.error(line, problem))
    };
    rows.into_iter().map(read).collect()
}

/// The form before this one: a row had one status and one source for all its numbers, so that a guess passed for published.
fn refuse_one_origin_for_all(file: &TableFile) -> Result<(), TableError> {
    let header = file.header()?;
    let has = |name: &str| header.iter().any(|h| h == name);
    if !(has("status") || has("source")) {
        return Ok(());
    }
    Err(file.error(
        1,
        "the columns status and source tell of a whole row; each number has its own now: write hardness_status, \
         hardness_source, density_status, density_source, roundness_status, roundness_source, soluble_status, \
         soluble_source instead, and not_on_face (why the trade keeps it off the face, or nothing); gritwise tables \
         materials --csv shows the form"
            .into(),
    ))
}

fn check(row: &MaterialRow, refusals: &[RefusalRow], cautions: &[CautionRow]) -> Result<(), String> {
    if !row.refused_by.is_empty() && !refusals.iter().any(|r| r.group == row.refused_by) {
        return Err(format!("refused_by \"{}\" is no group of the refusals table", row.refused_by));
    }
    // What the band goes by is a flag in its own right, whether or not a caution is printed with it.
    let is_known = |flag: &str| flag == NOT_ON_FACE || cautions.iter().any(|c| c.trigger == flag);
    if let Some(flag) = row.flags.split_whitespace().find(|f| !is_known(f)) {
        let hint = did_you_mean(flag, cautions.iter().map(|c| c.trigger.as_str()));
        return Err(format!("flag \"{flag}\" is no trigger of the cautions table; {hint}"));
    }
    if row.soluble_g_per_100ml.is_some_and(|g| !(g.is_finite() && g >= 0.0)) {
        return Err("soluble_g_per_100ml must be 0 or more".into());
    }
    if row.soluble_g_per_100ml.is_none() && !row.soluble_status.is_empty() {
        return Err("soluble_status and soluble_source tell of soluble_g_per_100ml, which is empty".into());
    }
    for (column, range) in [("face_pct", &row.face_pct), ("body_pct", &row.body_pct)] {
        let is_range = || {
            let (low, high) = range.split_once('-')?;
            let (low, high) = (low.trim().parse::<f64>().ok()?, high.trim().parse::<f64>().ok()?);
            (0.0 <= low && low <= high && high <= 100.0).then_some(())
        };
        if !range.is_empty() && is_range().is_none() {
            return Err(format!(
                "{column} = \"{range}\" is no range of % w/w of the scrub; write 2-6, or leave it empty"
            ));
        }
    }
    let flagged = row.flags.split_whitespace().any(|f| f == NOT_ON_FACE);
    match (flagged, row.not_on_face.is_empty()) {
        (true, true) => Err(format!("flag {NOT_ON_FACE} needs its reason in the column not_on_face")),
        (false, false) => Err(format!("not_on_face gives a reason, but the flag {NOT_ON_FACE} is missing")),
        _ => Ok(()),
    }
}
