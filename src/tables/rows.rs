//! The rows of the tables, typed. Field names are the columns; units are in the names.

use crate::size::headings::Says;
use crate::size::standards::Making;
use crate::source::CalendarDate;
use serde::de::{Deserialize, Deserializer, Error};

/// A column with its value, and the low and the high end that it lies between.
pub(super) type Within = (&'static str, f64, f64, f64);

/// A row with numbers within ranges.
pub(super) trait Ranged {
    /// The numbers to check.
    fn ranges(&self) -> Vec<Within>;
}

/// Rows of tables: the columns of each, and at the end how well it is known and where it comes from. `of NUMBER` adds a number with the
/// columns `low` and `high`.
macro_rules! rows {
    ($($(#[$about:meta])* $vis:vis struct $name:ident $(of $value:ident)? { $($fields:tt)* })+) => {$(
        $(#[$about])*
        #[derive(Debug, Clone, PartialEq, serde::Deserialize)]
        #[serde(deny_unknown_fields)]
        #[allow(dead_code, reason = "all columns are read, so that a table without one is refused")]
        $vis struct $name {
            $($fields)*
            $(
                /// The number of the row, in the unit of its name or of the column `unit`.
                pub $value: f64,
                /// Low end of it.
                pub low: f64,
                /// High end of it.
                pub high: f64,
            )?
            /// How well it is known.
            pub status: $crate::tables::Status,
            /// Where it comes from.
            pub source: String,
        }

        #[allow(dead_code, reason = "not every row is asked for it")]
        impl $name {
            /// Status and source.
            pub fn origin(&self) -> $crate::tables::Origin {
                $crate::tables::Origin { status: self.status, source: self.source.clone() }
            }

            $(
                /// The number with its range and origin.
                pub fn known(&self) -> $crate::tables::Known {
                    $crate::tables::Known { value: self.$value, low: self.low, high: self.high, origin: self.origin() }
                }
            )?
        }

        $(
            impl Ranged for $name {
                fn ranges(&self) -> Vec<Within> {
                    vec![(stringify!($value), self.$value, self.low, self.high)]
                }
            }
        )?
    )+};
}

pub(super) use rows;

/// Words of one cell, with spaces between.
pub(super) fn several<'de, D: Deserializer<'de>, T: TryFrom<String, Error: std::fmt::Display>>(
    cell: D,
) -> Result<Vec<T>, D::Error> {
    let text = String::deserialize(cell)?;
    text.split_whitespace().map(|word| T::try_from(word.to_owned()).map_err(D::Error::custom)).collect()
}

/// Numbers of one cell, with spaces between.
pub(super) fn several_numbers<'de, D: Deserializer<'de>>(cell: D) -> Result<Vec<f64>, D::Error> {
    let text = String::deserialize(cell)?;
    let number = |word: &str| word.parse::<f64>().ok().filter(|v| v.is_finite());
    let read = |word: &str| number(word).ok_or_else(|| D::Error::custom(format!("\"{word}\" is not a number")));
    text.split_whitespace().map(read).collect()
}

rows! {
    /// `sieves-astm-e11.csv`
    pub(super) struct AstmRow {
        pub mesh: String,
        pub opening_um: f64,
        pub tolerance_um: f64,
    }

    /// `sieves-iso-3310-1.csv`
    pub(super) struct IsoRow {
        pub opening_um: f64,
        pub tolerance_um: f64,
        pub r20_3: u8,
        pub r20: u8,
        pub r40_3: u8,
        pub r10_fine: u8,
    }

    /// `sieves-tyler.csv`
    pub(super) struct TylerRow {
        pub tyler_mesh: String,
        pub us_mesh: String,
        pub opening_um: f64,
    }

    /// `grits-fepa-f-macro.csv`
    pub(super) struct MacroGritRow {
        pub grit: String,
        pub sieve1_um: f64,
        pub sieve2_um: f64,
        pub sieve3_um: f64,
        pub sieve4_um: f64,
        pub sieve5_um: f64,
        pub finest_pct: f64,
        pub mean_um: f64,
    }

    /// `grits-fepa-f-micro.csv`
    pub(super) struct MicroGritRow {
        pub grit: String,
        pub ds3_max_um: f64,
        pub ds50_um: f64,
        pub ds50_tol_um: f64,
        pub ds94_min_um: f64,
    }

    /// `grits-fepa-p.csv`
    pub(super) struct PaperGritRow {
        pub grit: String,
        pub ds50_um: f64,
        pub ds50_tol_um: Option<f64>,
        pub ds3_max_um: Option<f64>,
        pub ds95_min_um: Option<f64>,
        pub gsd: Option<f64>,
        pub tolerance_status: String,
    }

    /// `hardness.csv`: a mineral of the Mohs scale.
    pub struct MohsRow of hardness_gpa {
        /// Mohs number.
        pub mohs: f64,
        /// The mineral.
        pub mineral: String,
    }

    /// `roundness.csv`: a Powers class.
    pub struct RoundnessRow of roundness {
        /// Class name.
        pub class: String,
    }

    /// `sites.csv`: one parameter of one site.
    pub(super) struct SiteRow of value {
        /// Site, such as `face`.
        pub site: String,
        /// Parameter, with its unit in the name.
        pub parameter: String,
        /// Unit.
        pub unit: String,
    }

    /// `bands.csv`: one limit of one band, bands from mild to harsh.
    pub(super) struct BandRow of value {
        /// Band.
        pub band: String,
        /// Site at which it is judged.
        pub site: String,
        /// `groove_ratio`, `index` or `d99_um`.
        pub criterion: String,
        /// Unit.
        pub unit: String,
    }

    /// `constants.csv`: one constant of the model.
    pub(super) struct ConstantRow of value {
        /// Its name, with the unit in it.
        pub constant: String,
        /// Unit.
        pub unit: String,
    }

    /// `cautions.csv`: a text printed when its trigger holds.
    pub struct CautionRow {
        /// When it is printed.
        pub trigger: String,
        /// The text; `{names}`, `{estimates}`, `{not_on_face}`, `{soluble}` and `{softens}` are filled in.
        pub text: String,
    }

    /// `polymer-words.csv`: a word in the name of a powder or ingredient that tells of plastic grains.
    pub struct PolymerWordRow {
        /// The word, in lower case.
        pub word: String,
        /// The same as it looks: without accents, in Latin letters where it could be.
        #[serde(skip)]
        pub looks: String,
        /// Group of the refusals table that forbids what it names.
        pub group: String,
        /// 1 when it comes as solid grains only, 0 when it may be dissolved.
        #[serde(default)]
        pub solid: u8,
    }

    /// `refusals.csv`: a rule that forbids a group of materials.
    pub struct RefusalRow {
        /// Group that materials name in `refused_by`.
        pub group: String,
        /// Where it holds.
        pub jurisdiction: String,
        /// The instrument.
        pub reference: String,
        /// What it says.
        pub says: String,
        /// First day on which it holds for new products; always before `until` when empty.
        #[serde(default)]
        pub from: Option<CalendarDate>,
        /// Last day on which it holds; it has not ended when empty.
        #[serde(default)]
        pub until: Option<CalendarDate>,
    }

    /// `assessor-heads.csv`: a head of a cosmetic product safety report.
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
        /// Who gives that; empty in a table of the user's own that does not say.
        #[serde(default)]
        pub given_by: String,
    }

    /// `draws.csv`: one tolerance.
    pub(super) struct DrawRow {
        pub tolerance: String,
        pub value: f64,
        pub unit: String,
    }

    /// `spreads.csv`: how wide powders are of which one figure is known.
    pub(super) struct SpreadRow of gsd {
        pub made: Making,
    }

    /// `headings.csv`: a word above a column of a size table, or in its first one.
    pub(super) struct HeadingRow {
        pub word: String,
        pub says: Says,
        pub language: String,
    }

    /// `landmarks.csv`: a row for every powder of a scrub.
    pub(super) struct LandmarkRow {
        pub scrub: String,
        pub load_pct: f64,
        pub bands: String,
        pub material: String,
        pub parts: f64,
        pub d50_um: Option<f64>,
        pub gsd: Option<f64>,
        pub low_um: Option<f64>,
        pub high_um: Option<f64>,
    }
}
