//! The rows of the tables, typed. Field names are the columns; units are in the names.

use serde::Deserialize;

/// A row that has a value within a range.
pub trait Ranged {
    /// The triples (column, value, low, high) to check.
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)>;
}

/// `sieves-astm-e11.csv`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "status, source and tolerance are read so that a table without them is refused")]
pub(super) struct AstmRow {
    pub mesh: String,
    pub opening_um: f64,
    pub tolerance_um: f64,
    pub status: String,
    pub source: String,
}

/// `sieves-iso-3310-1.csv`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
pub(super) struct IsoRow {
    pub opening_um: f64,
    pub tolerance_um: f64,
    pub r20_3: u8,
    pub r20: u8,
    pub r40_3: u8,
    pub r10_fine: u8,
    pub status: String,
    pub source: String,
}

/// `sieves-tyler.csv`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
pub(super) struct TylerRow {
    pub tyler_mesh: String,
    pub us_mesh: String,
    pub opening_um: f64,
    pub status: String,
    pub source: String,
}

/// `grits-fepa-f-macro.csv`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above; the upper sieves document the test set")]
pub(super) struct MacroGritRow {
    pub grit: String,
    pub sieve1_um: f64,
    pub sieve2_um: f64,
    pub sieve3_um: f64,
    pub sieve4_um: f64,
    pub sieve5_um: f64,
    pub finest_pct: f64,
    pub mean_um: f64,
    pub status: String,
    pub source: String,
}

/// `grits-fepa-f-micro.csv`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
pub(super) struct MicroGritRow {
    pub grit: String,
    pub ds3_max_um: f64,
    pub ds50_um: f64,
    pub ds50_tol_um: f64,
    pub ds94_min_um: f64,
    pub status: String,
    pub source: String,
}

/// `grits-fepa-p.csv`
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
#[allow(dead_code, reason = "as above")]
pub(super) struct PaperGritRow {
    pub grit: String,
    pub ds50_um: f64,
    pub ds50_tol_um: Option<f64>,
    pub ds3_max_um: Option<f64>,
    pub ds95_min_um: Option<f64>,
    pub gsd: Option<f64>,
    pub status: String,
    pub tolerance_status: String,
    pub source: String,
}

/// `hardness.csv`: a mineral of the Mohs scale.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MohsRow {
    /// Mohs number.
    pub mohs: f64,
    /// The mineral.
    pub mineral: String,
    /// Indentation hardness, GPa.
    pub hardness_gpa: f64,
    /// Low end of it.
    pub low: f64,
    /// High end of it.
    pub high: f64,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl Ranged for MohsRow {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![("hardness_gpa", self.hardness_gpa, self.low, self.high)]
    }
}

/// `roundness.csv`: a Powers class.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RoundnessRow {
    /// Class name.
    pub class: String,
    /// Geometric mean of its bounds.
    pub roundness: f64,
    /// Lower bound.
    pub low: f64,
    /// Upper bound.
    pub high: f64,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl Ranged for RoundnessRow {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![("roundness", self.roundness, self.low, self.high)]
    }
}

/// `sites.csv`: one parameter of one site.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SiteRow {
    /// Site, such as `face`.
    pub site: String,
    /// Parameter, with its unit in the name.
    pub parameter: String,
    /// Value in force.
    pub value: f64,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Unit.
    pub unit: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl Ranged for SiteRow {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![("value", self.value, self.low, self.high)]
    }
}

/// `bands.csv`: one limit of one band, bands from mild to harsh.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BandRow {
    /// Band.
    pub band: String,
    /// Site at which it is judged.
    pub site: String,
    /// `groove_ratio`, `index` or `d99_um`.
    pub criterion: String,
    /// The limit.
    pub value: f64,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Unit.
    pub unit: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl Ranged for BandRow {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![("value", self.value, self.low, self.high)]
    }
}

/// `constants.csv`: one constant of the model.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ConstantRow {
    /// Its name, with the unit in it.
    pub constant: String,
    /// Value in force.
    pub value: f64,
    /// Low end.
    pub low: f64,
    /// High end.
    pub high: f64,
    /// Unit.
    pub unit: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl Ranged for ConstantRow {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![("value", self.value, self.low, self.high)]
    }
}

/// `cautions.csv`: a text printed when its trigger holds.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CautionRow {
    /// When it is printed.
    pub trigger: String,
    /// The text; `{names}`, `{estimates}`, `{not_on_face}`, `{soluble}` and `{softens}` are filled in.
    pub text: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

/// `polymer-words.csv`: a word in a powder's name that tells of plastic grains.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PolymerWordRow {
    /// The word, in lower case.
    pub word: String,
    /// Group of the refusals table that forbids what it names.
    pub group: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

/// `refusals.csv`: a rule that forbids a group of materials.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RefusalRow {
    /// Group that materials name in `refused_by`.
    pub group: String,
    /// Where it holds.
    pub jurisdiction: String,
    /// The instrument.
    pub reference: String,
    /// What it says.
    pub says: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

/// `assessor-heads.csv`: a head of a cosmetic product safety report.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AssessorHeadRow {
    /// Part of the report, `A` or `B`.
    pub part: String,
    /// Number within the part.
    pub number: u8,
    /// The head.
    pub head: String,
    /// What a dossier gives to it.
    pub found_here: String,
    /// What is left for others to fill in.
    pub still_open: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}
