//! The tables behind a formula: acids and their limits, neutralisers, solutes, preservatives, allergens, constants.

use super::model::{constant_rows, missing_constant};
use super::rows::{ConstantRow, Ranged};
use super::{Material, TableError, TableFile, ranged, refuse_repeats, without_lines};
use crate::source::did_you_mean;
use serde::Deserialize;

/// `acids.csv`: an acid exfoliant.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Acid {
    /// The key that scrub files use.
    pub key: String,
    /// Name for people.
    pub name: String,
    /// INCI name.
    pub inci: String,
    /// `aha`, `bha` or `pha`.
    pub kind: String,
    /// Molar mass, g/mol.
    pub mw: f64,
    /// First pKa at 25 °C.
    pub pka1: f64,
    /// Low end of it, salts of the water phase included.
    pub pka1_low: f64,
    /// High end of it.
    pub pka1_high: f64,
    /// Second pKa, if there is one.
    pub pka2: Option<f64>,
    /// Third pKa, if there is one.
    pub pka3: Option<f64>,
    /// INCI name of its sodium salt; empty when none is sold.
    pub salt: String,
    /// Molar mass of the salt, g/mol.
    pub salt_mw: f64,
    /// Sodium ions in the salt.
    pub salt_charge: f64,
    /// Free acid that water takes, g in 100 mL, where that is little.
    pub soluble_g_per_100ml: Option<f64>,
    /// How well the values are known.
    pub status: String,
    /// Where they come from.
    pub source: String,
    /// Anything else.
    pub note: String,
}

impl Acid {
    /// The pKa, first to last.
    pub fn pkas(&self) -> Vec<f64> {
        [Some(self.pka1), self.pka2, self.pka3].into_iter().flatten().collect()
    }
}

impl Ranged for Acid {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        let positive = |name, value: f64| (name, value, 0.0, f64::INFINITY);
        let above_first = |name, value: Option<f64>| value.map(|v| (name, v, self.pka1, 14.0));
        let given = [("pka1", self.pka1, self.pka1_low, self.pka1_high), positive("mw", self.mw)];
        let salt = [positive("salt_mw", self.salt_mw), positive("salt_charge", self.salt_charge)];
        let later = [above_first("pka2", self.pka2), above_first("pka3", self.pka3)];
        given.into_iter().chain(salt).chain(later.into_iter().flatten()).collect()
    }
}

/// `acid-limits.csv`: what a region says of an acid.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct AcidLimit {
    /// `EU`, `US`, `CA`.
    pub region: String,
    /// The instrument.
    pub instrument: String,
    /// Kinds of acid it is about, separated by spaces.
    pub kinds: String,
    /// Keys of acids it is about, separated by spaces.
    pub keys: String,
    /// `consumer` or `salon`.
    pub r#use: String,
    /// Most of the acid, its salts counted as acid, % w/w.
    pub max_pct: f64,
    /// Lowest final pH, where one is said.
    pub min_ph: Option<f64>,
    /// What is to be known of that pH.
    pub ph_note: String,
    /// Verdict beyond it: `stop` for a limit, `caution` for an advice.
    pub beyond: String,
    /// What it says.
    pub says: String,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl AcidLimit {
    /// Whether it is about this acid.
    pub fn is_about(&self, acid: &Acid) -> bool {
        let holds = |list: &str, word: &str| list.split_whitespace().any(|w| w == word);
        holds(&self.kinds, &acid.kind) || holds(&self.keys, &acid.key)
    }
}

/// `neutralisers.csv`: what takes protons from an acid.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Neutraliser {
    /// INCI name.
    pub inci: String,
    /// Name for people.
    pub name: String,
    /// Molar mass, g/mol.
    pub mw: f64,
    /// Protons that a molecule takes.
    pub equivalents: f64,
    /// `base`, or `carbonate`, which fizzes and uses the acid up.
    pub kind: String,
    /// How salts of this base begin in INCI names; empty for a carbonate.
    pub cation: String,
    /// Mass of the cation, g per mol of charge.
    pub cation_mw: Option<f64>,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

/// `solutes.csv`: how much of a soluble exfoliant water of skin warmth takes.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Solute {
    /// Key of the material.
    pub material: String,
    /// Grams in a litre of saturated solution.
    pub saturated_g_per_l: f64,
    /// Low end of it.
    pub low: f64,
    /// High end of it.
    pub high: f64,
    /// Diffusivity in water, 1e-9 m²/s.
    pub diffusivity_1e9: f64,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

impl Ranged for Solute {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![
            ("saturated_g_per_l", self.saturated_g_per_l, self.low, self.high),
            ("diffusivity_1e9", self.diffusivity_1e9, 0.01, 10.0),
        ]
    }
}

/// `preservatives.csv`: a preservative or a blend of them.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Preservative {
    /// The key that scrub files may use.
    pub key: String,
    /// INCI names, joined by ` + `.
    pub inci: String,
    /// Entries of EU Annex V, separated by spaces; empty when it is no preservative by law.
    pub entry: String,
    /// pKa of the acid that works, if it is an acid.
    pub pka: Option<f64>,
    /// Lowest pH at which it works.
    pub ph_low: f64,
    /// Highest pH at which it works.
    pub ph_high: f64,
    /// Highest pH at which it works well.
    pub ph_best: f64,
    /// Most of it in a product that is rinsed off, % w/w.
    pub max_rinse_pct: Option<f64>,
    /// Most of it in a product that stays on, % w/w.
    pub max_leave_pct: Option<f64>,
    /// Most of all substances of the entry together, where that is more than of one.
    pub max_total_pct: Option<f64>,
    /// Mass of acid in a gram, by which the limits count.
    pub acid_share: f64,
    /// It goes in below this, °C.
    pub add_below_c: f64,
    /// 1 when strong acid throws it out of solution.
    pub acid_sensitive: u8,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
    /// Anything else.
    pub note: String,
}

impl Ranged for Preservative {
    fn ranges(&self) -> Vec<(&'static str, f64, f64, f64)> {
        vec![
            ("ph_best", self.ph_best, self.ph_low, self.ph_high),
            ("acid_share", self.acid_share, 0.0, 1.0),
            ("add_below_c", self.add_below_c, 0.0, 150.0),
        ]
    }
}

/// `allergens.csv`: a word of an INCI name that tells of an allergen.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Allergen {
    /// The INCI name, or how it begins.
    pub word: String,
    /// `fragrance`, `nut`, `food`, `prohibited`, or `aromatic` of a plant whose oil brings fragrance allergens.
    pub kind: String,
    /// What to do.
    pub says: String,
    /// From this much it is to be named, product rinsed off, % w/w.
    pub rinse_pct: f64,
    /// The same, product left on.
    pub leave_pct: f64,
    /// How well it is known.
    pub status: String,
    /// Where it comes from.
    pub source: String,
}

macro_rules! formula_constants {
    ($($(#[$doc:meta])* $name:ident),+ $(,)?) => {
        /// `formula-constants.csv`: constants of the checks of a formula, each with its status and source.
        #[derive(Debug, Clone, PartialEq)]
        pub struct FormulaConstants {
            $($(#[$doc])* pub $name: ConstantRow),+
        }

        const NAMES: &[&str] = &[$(stringify!($name)),+];

        fn constants(file: &TableFile) -> Result<FormulaConstants, TableError> {
            let rows = constant_rows(file, NAMES, "a check")?;
            let get = |name: &str| {
                let row = rows.iter().find(|r| r.constant == name).cloned();
                row.ok_or_else(|| missing_constant(file, name))
            };
            Ok(FormulaConstants { $($name: get(stringify!($name))?),+ })
        }
    };
}

formula_constants! {
    /// Acceleration of free fall, m/s².
    gravity_m_s2,
    /// How far a formula may be from 100 %.
    total_tolerance_pct,
    /// Slope A of the Davies equation.
    davies_a,
    /// Ionic strength up to which it is used, mol/L.
    davies_limit_m,
    /// How far a pH worked out may be from the one stated.
    ph_agreement,
    /// Buffer capacity below which a pH moves easily, mmol/kg per pH.
    weak_buffer_mmol,
    /// Cool-down, °C.
    cool_down_c,
    /// How far below their softening point wax beads go in, °C.
    wax_margin_c,
    /// Critical yield number of a sphere.
    beris_number,
    /// Yield stress over d |Δρ| g that holds grains in practice.
    practical_yield,
    /// Days on the shelf.
    shelf_days,
    /// Way that grains may settle on the shelf, mm.
    settled_mm,
    /// Random close packing of equal spheres.
    packing_sphere,
    /// The same of angular grains.
    packing_angular,
    /// Roundness from which grains count as spheres.
    roundness_sphere,
    /// Roundness down from which they count as angular.
    roundness_angular,
    /// Intrinsic viscosity of spheres.
    intrinsic_sphere,
    /// The same of angular grains.
    intrinsic_angular,
    /// Share of the densest packing from which a scrub is stiff.
    stiff_share,
    /// The same from which it does not flow.
    full_share,
    /// Orifice over D99 below which grains clog.
    clogging_ratio,
    /// Orifice over D99 from which clogging is rare.
    orifice_ratio,
    /// The same for angular grains.
    orifice_ratio_angular,
    /// Solids from which a jar is better, % w/w.
    orifice_solids_pct,
    /// Room above the fill, % of the container.
    headspace_pct,
    /// Duration of a rub, s.
    rub_s,
    /// Speed of a grain against the water around it, m/s.
    slip_speed_m_s,
    /// Viscosity of that water, mPa·s.
    skin_water_viscosity_mpa_s,
    /// Growth of a corner's radius over the layer dissolved.
    corner_growth,
    /// Water that wet skin brings, g per g of scrub.
    rub_water_g_per_g,
    /// Share of a powder gone in the jar from which it is said, %.
    dissolved_pct,
    /// Most microbes in a finished product, CFU/g.
    cfu_per_g,
    /// Water activity up to which a product is at low risk.
    water_activity,
    /// Uses a week on the face.
    per_week_face,
    /// Acid from which the cautions for acids are printed, % w/w.
    aha_pct,
}

/// The tables behind a formula.
#[derive(Debug, Clone)]
pub struct FormulaTables {
    /// Acid exfoliants.
    pub acids: Vec<Acid>,
    /// What regions say of them.
    pub acid_limits: Vec<AcidLimit>,
    /// What takes protons from an acid.
    pub neutralisers: Vec<Neutraliser>,
    /// Soluble exfoliants at skin warmth.
    pub solutes: Vec<Solute>,
    /// Preservatives.
    pub preservatives: Vec<Preservative>,
    /// Allergens.
    pub allergens: Vec<Allergen>,
    /// Constants of the checks.
    pub constants: FormulaConstants,
}

impl FormulaTables {
    pub(super) fn read<'a>(
        find: &impl Fn(&'static str) -> &'a TableFile,
        materials: &[Material],
    ) -> Result<Self, TableError> {
        let acids = find("acids");
        let acid_rows: Vec<(usize, Acid)> = ranged(acids)?;
        refuse_repeats(acids, &acid_rows, |r| r.key.clone())?;
        let preservatives = find("preservatives");
        let preservative_rows: Vec<(usize, Preservative)> = ranged(preservatives)?;
        refuse_repeats(preservatives, &preservative_rows, |r| r.key.clone())?;
        one_of(acids, &acid_rows, "kind", |r| &r.kind, &["aha", "bha", "pha"])?;
        Ok(Self {
            acids: without_lines(acid_rows),
            acid_limits: limits(find("acid-limits"))?,
            neutralisers: neutralisers(find("neutralisers"))?,
            solutes: solutes(find("solutes"), materials)?,
            preservatives: without_lines(preservative_rows),
            allergens: allergens(find("allergens"))?,
            constants: constants(find("formula-constants"))?,
        })
    }

    /// An acid by key.
    pub fn acid(&self, key: &str) -> Option<&Acid> {
        self.acids.iter().find(|a| a.key == key)
    }
}

/// Refuses a word in a column that has a few words only.
fn one_of<T>(
    file: &TableFile,
    rows: &[(usize, T)],
    column: &str,
    word: impl Fn(&T) -> &str,
    words: &[&str],
) -> Result<(), TableError> {
    match rows.iter().find(|(_, row)| !words.contains(&word(row))) {
        Some((line, row)) => {
            let problem = format!("{column} \"{}\" must be one of: {}", word(row), words.join(", "));
            Err(file.error(*line, problem))
        }
        None => Ok(()),
    }
}

fn limits(file: &TableFile) -> Result<Vec<AcidLimit>, TableError> {
    let rows: Vec<(usize, AcidLimit)> = file.rows()?;
    one_of(file, &rows, "beyond", |r| &r.beyond, &["stop", "caution"])?;
    one_of(file, &rows, "use", |r| &r.r#use, &["consumer", "salon"])?;
    Ok(without_lines(rows))
}

fn neutralisers(file: &TableFile) -> Result<Vec<Neutraliser>, TableError> {
    let rows: Vec<(usize, Neutraliser)> = file.rows()?;
    one_of(file, &rows, "kind", |r| &r.kind, &["base", "carbonate"])?;
    match rows.iter().find(|(_, r)| r.mw.is_nan() || r.mw <= 0.0) {
        Some((line, row)) => Err(file.error(*line, format!("mw = {} must be positive", row.mw))),
        None => Ok(without_lines(rows)),
    }
}

fn allergens(file: &TableFile) -> Result<Vec<Allergen>, TableError> {
    let rows: Vec<(usize, Allergen)> = file.rows()?;
    one_of(file, &rows, "kind", |r| &r.kind, &["fragrance", "nut", "food", "prohibited", "aromatic"])?;
    Ok(without_lines(rows))
}

fn solutes(file: &TableFile, materials: &[Material]) -> Result<Vec<Solute>, TableError> {
    let rows: Vec<(usize, Solute)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.material.clone())?;
    for (line, row) in &rows {
        if !materials.iter().any(|m| m.key == row.material) {
            let hint = did_you_mean(&row.material, materials.iter().map(|m| m.key.as_str()));
            return Err(file.error(*line, format!("there is no material \"{}\"; {hint}", row.material)));
        }
    }
    Ok(without_lines(rows))
}
