//! `materials.csv`: exfoliants with their usual properties, each number with a status and a source of its own.

use super::known::{Known, Origin, Status};
use super::rows::{CautionRow, Ranged, RefusalRow, Within, several};
use super::{TableError, TableFile, ranged, refuse_repeats, refuse_unknown_group};
use crate::source::{Spelled, did_you_mean, folded, same_word, without_brackets, words};
use serde::Deserialize;

/// Solubility, g in 100 mL, under which grains are taken as insoluble.
const INSOLUBLE: f64 = 0.1;

words! {
    /// A property of a grain that the rub depends on, by the word of JSON and of people, in the order of JSON.
    pub enum Property {
        /// Envelope density, g/cm³.
        Density = "density",
        /// Indentation hardness, GPa.
        Hardness = "hardness",
        /// Wadell roundness.
        Roundness = "roundness",
    }
}

words! {
    /// What a material is made of.
    pub enum MaterialOrigin {
        /// A mineral.
        Mineral = "mineral",
        /// A part of a plant, and with it microbes.
        Plant = "plant",
        /// A wax.
        Wax = "wax",
        /// A salt.
        Salt = "salt",
        /// A sugar.
        Sugar = "sugar",
        /// A plastic.
        Polymer = "polymer",
    }
}

words! {
    /// What is to be minded of a material, as far as more hangs on it than the caution that is printed.
    pub enum Flag {
        /// The trade does not use it on the face.
        NotOnFace = "not-on-face",
        /// It dissolves in water.
        Dissolves = "dissolves",
        /// It may hold a little crystalline silica.
        SilicaDustLow = "silica-dust-low",
        /// It may hold crystalline silica.
        SilicaDust = "silica-dust",
        /// It is crystalline silica.
        SilicaDustHigh = "silica-dust-high",
        /// It is a fine dust.
        Dust = "dust",
        /// It is of a nut.
        TreeNut = "tree-nut",
        /// It is of a seed or a stone.
        SeedProtein = "seed-protein",
        /// It is of a cereal.
        Gluten = "gluten",
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
    /// Other names that it goes by.
    pub also: Vec<String>,
    /// What it is made of.
    pub origin: MaterialOrigin,
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
    /// Lowest and highest usual share of a face product, % w/w.
    pub face_pct: Option<[f64; 2]>,
    /// Lowest and highest usual share of a body product, % w/w.
    pub body_pct: Option<[f64; 2]>,
    /// Group of the refusals table that forbids it; nothing when allowed.
    pub refused_by: Option<String>,
    /// Triggers of the cautions table, the user's own among them.
    pub flags: Vec<String>,
    /// Why the trade does not use it on the face; nothing when it does.
    not_on_face: Option<String>,
    /// Anything else.
    pub note: String,
}

impl Material {
    /// Where wax beads soften, °C. Rock softens at hundreds of degrees: no kettle reaches that.
    pub fn wax_softens_c(&self) -> Option<f64> {
        self.softens_c.filter(|_| self.origin == MaterialOrigin::Wax)
    }

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
        self.not_on_face.as_deref()
    }

    /// Whether it carries a flag.
    pub fn has_flag(&self, flag: Flag) -> bool {
        self.is_flagged(flag.key())
    }

    /// Whether a caution with this trigger is printed with it.
    pub fn is_flagged(&self, trigger: &str) -> bool {
        self.flags.iter().any(|f| f == trigger)
    }

    /// Whether Mohs scratches tell nothing of its hardness under an indenter: plants, waxes and polymers yield, salts and sugar cleave,
    /// all far below what a mineral of that Mohs number has.
    pub fn is_misjudged_by_mohs(&self) -> bool {
        self.origin != MaterialOrigin::Mineral
    }

    /// Whether it is a salt or a sugar, which are used by the half.
    pub fn is_soluble(&self) -> bool {
        matches!(self.origin, MaterialOrigin::Salt | MaterialOrigin::Sugar)
    }

    /// Whether it comes from a plant, and with it microbes.
    pub fn is_plant(&self) -> bool {
        self.origin == MaterialOrigin::Plant
    }

    /// A name as [`Material::is_called`] takes it: without the common name that an INCI name has in brackets.
    pub fn as_called(name: &str) -> Spelled {
        Spelled::new(&without_brackets(name))
    }

    /// Whether this is its INCI name, name, key or another name, however it is spaced or encoded.
    pub fn is_called(&self, name: &Spelled) -> bool {
        let Some(initial) = name.get(0).and_then(|word| word.chars().next()) else { return false };
        // Most names begin with another letter, which is soon seen.
        let begins = |own: &str| own.chars().next().is_some_and(|c| !c.is_ascii() || c.eq_ignore_ascii_case(&initial));
        let names = [&self.inci, &self.name, &self.key].into_iter().chain(&self.also).filter(|own| begins(own));
        names.map(|own| Self::as_called(own)).any(|own| own.has_words_of(name))
    }

    /// Whether water dissolves it.
    pub fn dissolves(&self) -> bool {
        self.soluble_g_per_100ml.is_some_and(|g| g >= INSOLUBLE)
    }

    /// Whether a word names this material: its key, name, origin, one of its flags or a word of one, in any case; of one or of many: `nuts` is
    /// answered by the flag `tree-nut`.
    pub fn answers_to(&self, word: &str) -> bool {
        let names = [&self.key, &self.name].into_iter().chain(&self.flags).map(String::as_str);
        let wanted = folded(word).replace(' ', "");
        let singular = wanted.strip_suffix('s').unwrap_or(&wanted);
        let by_flag = |flag: &String| {
            flag.replace('-', "") == singular || flag.split('-').any(|part| part == singular || part == wanted)
        };
        names.chain([self.origin.key()]).any(|name| same_word(name, word)) || self.flags.iter().any(by_flag)
    }

    /// The most that is usual in a face or body product, % w/w of the scrub.
    pub fn usual_top_pct(&self, face: bool) -> Option<f64> {
        let range = if face { self.face_pct } else { self.body_pct };
        range.map(|[_, high]| high)
    }
}

/// A row as it is written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MaterialRow {
    key: String,
    name: String,
    inci: String,
    origin: MaterialOrigin,
    mohs_low: f64,
    mohs_high: f64,
    hardness_gpa: f64,
    hardness_gpa_low: f64,
    hardness_gpa_high: f64,
    hardness_status: Option<Status>,
    hardness_source: String,
    density_g_cm3: f64,
    density_g_cm3_low: f64,
    density_g_cm3_high: f64,
    density_status: Option<Status>,
    density_source: String,
    roundness: f64,
    roundness_low: f64,
    roundness_high: f64,
    roundness_status: Option<Status>,
    roundness_source: String,
    soluble_g_per_100ml: Option<f64>,
    soluble_status: Option<Status>,
    soluble_source: String,
    softens_c: Option<f64>,
    face_pct: String,
    body_pct: String,
    refused_by: Option<String>,
    #[serde(deserialize_with = "several")]
    flags: Vec<String>,
    not_on_face: Option<String>,
    note: String,
    #[serde(default)]
    also: String,
}

impl Ranged for MaterialRow {
    fn ranges(&self) -> Vec<Within> {
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
    fn material(self) -> Result<Material, MaterialError> {
        let known = |value, low, high, origin| Known { value, low, high, origin };
        let [hardness, density, roundness] = [
            origin("hardness", self.hardness_status, self.hardness_source)?,
            origin("density", self.density_status, self.density_source)?,
            origin("roundness", self.roundness_status, self.roundness_source)?,
        ];
        let soluble = self.soluble_g_per_100ml.map(|_| origin("soluble", self.soluble_status, self.soluble_source));
        Ok(Material {
            hardness_gpa: known(self.hardness_gpa, self.hardness_gpa_low, self.hardness_gpa_high, hardness),
            density_g_cm3: known(self.density_g_cm3, self.density_g_cm3_low, self.density_g_cm3_high, density),
            roundness: known(self.roundness, self.roundness_low, self.roundness_high, roundness),
            soluble_origin: soluble.transpose()?,
            soluble_g_per_100ml: self.soluble_g_per_100ml,
            key: self.key,
            name: self.name,
            inci: self.inci,
            also: self.also.split(';').map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned).collect(),
            origin: self.origin,
            mohs: [self.mohs_low, self.mohs_high],
            softens_c: self.softens_c,
            face_pct: usual("face_pct", &self.face_pct)?,
            body_pct: usual("body_pct", &self.body_pct)?,
            refused_by: self.refused_by,
            flags: self.flags,
            not_on_face: self.not_on_face,
            note: self.note,
        })
    }
}

/// What can be wrong with a material beyond numbers out of their range.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
enum MaterialError {
    #[error("{number}_status must say how well the number is known ({words}) and {number}_source where it comes from",
        words = Status::ALL.map(Status::key).join(", "))]
    NoOrigin { number: &'static str },
    #[error("flag \"{flag}\" is no trigger of the cautions table; {hint}")]
    UnknownFlag { flag: String, hint: String },
    #[error("soluble_g_per_100ml must be 0 or more")]
    Solubility,
    #[error("soluble_status and soluble_source tell of soluble_g_per_100ml, which is empty")]
    NoSolubility,
    #[error("{column} = \"{given}\" is no range of % w/w of the scrub; write 2-6, or leave it empty")]
    NoRange { column: &'static str, given: String },
    #[error("flag {} needs its reason in the column not_on_face", Flag::NotOnFace.key())]
    NoReason,
    #[error("not_on_face gives a reason, but the flag {} is missing", Flag::NotOnFace.key())]
    NoFlag,
}

/// Where a number that is there comes from.
fn origin(number: &'static str, status: Option<Status>, source: String) -> Result<Origin, MaterialError> {
    status.map(|status| Origin { status, source }).ok_or(MaterialError::NoOrigin { number })
}

/// A usual share, written `low-high`.
fn usual(column: &'static str, text: &str) -> Result<Option<[f64; 2]>, MaterialError> {
    if text.is_empty() {
        return Ok(None);
    }
    let ends = text.split_once('-').and_then(|(a, b)| Some([a.trim().parse().ok()?, b.trim().parse().ok()?]));
    let range = ends.filter(|[low, high]: &[f64; 2]| 0.0 <= *low && low <= high && *high <= 100.0);
    range.map(Some).ok_or_else(|| MaterialError::NoRange { column, given: text.to_owned() })
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
        if let Some(group) = &row.refused_by {
            refuse_unknown_group(file, line, "refused_by", group, refusals)?;
        }
        let checked = check(&row, cautions).and_then(|()| row.material());
        checked.map_err(|problem| file.error(line, problem.to_string()))
    };
    rows.into_iter().map(read).collect()
}

/// The form before this one: a row had one status and one source for all its numbers, so that a guess passed for published.
fn refuse_one_origin_for_all(file: &TableFile) -> Result<(), TableError> {
    let header = file.header();
    let has = |name: &str| header.iter().any(|h| h == name);
    if !(has("status") || has("source")) {
        return Ok(());
    }
    Err(file.error(
        1,
        "the columns status and source tell of a whole row; each number has its own now: write hardness_status, \
         hardness_source, density_status, density_source, roundness_status, roundness_source, soluble_status, \
         soluble_source instead, and not_on_face (why the trade keeps it off the face, or nothing); gritwise tables \
         materials --csv shows the form",
    ))
}

fn check(row: &MaterialRow, cautions: &[CautionRow]) -> Result<(), MaterialError> {
    // What the program itself goes by is a flag in its own right, whether or not a caution is printed with it.
    let is_known = |flag: &str| Flag::of(flag).is_some() || cautions.iter().any(|c| c.trigger == flag);
    if let Some(flag) = row.flags.iter().find(|f| !is_known(f)) {
        let hint = did_you_mean(flag, cautions.iter().map(|c| c.trigger.as_str()));
        return Err(MaterialError::UnknownFlag { flag: flag.clone(), hint });
    }
    if row.soluble_g_per_100ml.is_some_and(|g| !(g.is_finite() && g >= 0.0)) {
        return Err(MaterialError::Solubility);
    }
    if row.soluble_g_per_100ml.is_none() && row.soluble_status.is_some() {
        return Err(MaterialError::NoSolubility);
    }
    match (row.flags.iter().any(|f| f == Flag::NotOnFace.key()), row.not_on_face.is_some()) {
        (true, false) => Err(MaterialError::NoReason),
        (false, true) => Err(MaterialError::NoFlag),
        _ => Ok(()),
    }
}
