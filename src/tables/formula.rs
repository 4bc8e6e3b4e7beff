//! The tables behind a formula: acids and their limits, neutralisers, solutes, preservatives, allergens, constants.

use super::constants::FormulaConstants;
use super::known::Known;
use super::rows::{Ranged, Within, rows, several, several_numbers};
use super::substances::holds_on;
use super::{Material, Status, TableError, TableFile, ranged, refuse_repeats, within, without_lines};
use crate::source::{CalendarDate, same_word, substances_of, without_brackets, words};
use serde::de::DeserializeOwned;

words! {
    /// What an acid exfoliant is.
    pub enum AcidKind {
        /// An alpha hydroxy acid.
        Aha = "aha",
        /// A beta hydroxy acid.
        Bha = "bha",
        /// A poly hydroxy acid.
        Pha = "pha",
    }
}

words! {
    /// In whose hands a limit holds.
    pub enum AcidUse {
        /// Anybody's.
        Consumer = "consumer",
        /// A trained person's.
        Salon = "salon",
    }
}

words! {
    /// What is said beyond a limit.
    pub enum Beyond {
        /// It is the law.
        Stop = "stop",
        /// It is an advice.
        Caution = "caution",
    }
}

words! {
    /// What a name tells of protons, the least first.
    pub enum ProtonKind {
        /// It neither takes nor gives any, whatever a word within says.
        None = "none",
        /// An oil or butter, of which lye makes soap.
        Fat = "fat",
        /// A fatty acid, which takes up lye at once.
        FattyAcid = "fatty-acid",
        /// It takes or gives some where a base or an acid is beside it.
        Weak = "weak",
        /// It may give some.
        Acid = "acid",
        /// It takes them from an acid, and hardly dissolves otherwise.
        Oxide = "oxide",
        /// It takes them.
        Base = "base",
        /// It takes them, and fizzes.
        Carbonate = "carbonate",
        /// It gives them all, and a little of it moves the pH far.
        StrongAcid = "strong-acid",
    }
}

words! {
    /// What takes protons from an acid.
    pub enum NeutraliserKind {
        /// A base.
        Base = "base",
        /// A carbonate, which fizzes and uses the acid up.
        Carbonate = "carbonate",
    }
}

words! {
    /// How far a preservative reaches.
    pub enum Reach {
        /// Not at all.
        None = "none",
        /// A little.
        Weak = "weak",
        /// Well.
        Good = "good",
    }
}

words! {
    /// What an allergen is.
    pub enum AllergenKind {
        /// A fragrance allergen.
        Fragrance = "fragrance",
        /// A nut or a seed.
        Nut = "nut",
        /// A food.
        Food = "food",
        /// What no cosmetic product may hold.
        Prohibited = "prohibited",
        /// A plant whose oil brings fragrance allergens.
        Aromatic = "aromatic",
    }
}

rows! {
    /// `acids.csv`: an acid exfoliant.
    pub struct Acid {
        /// The key that scrub files use.
        pub key: String,
        /// Name for people.
        pub name: String,
        /// INCI name.
        pub inci: String,
        /// What it is.
        pub kind: AcidKind,
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
        /// Anything else.
        pub note: String,
    }

    /// `acid-limits.csv`: what a region says of an acid.
    pub struct AcidLimit {
        /// `EU`, `US`, `CA`.
        pub region: String,
        /// The instrument.
        pub instrument: String,
        /// Kinds of acid it is about.
        #[serde(deserialize_with = "several")]
        pub kinds: Vec<AcidKind>,
        /// Keys of acids it is about.
        #[serde(deserialize_with = "several")]
        pub keys: Vec<String>,
        /// In whose hands it holds.
        pub r#use: AcidUse,
        /// Most of the acid, its salts counted as acid, % w/w.
        pub max_pct: f64,
        /// Lowest final pH, where one is said.
        pub min_ph: Option<f64>,
        /// What is to be known of that pH.
        pub ph_note: String,
        /// Verdict beyond it.
        pub beyond: Beyond,
        /// What it says.
        pub says: String,
        /// First day on which it holds.
        #[serde(default)]
        pub from: Option<CalendarDate>,
        /// Last day on which it holds.
        #[serde(default)]
        pub until: Option<CalendarDate>,
    }

    /// `neutralisers.csv`: what takes protons from an acid.
    pub struct Neutraliser {
        /// INCI name.
        pub inci: String,
        /// Name for people.
        pub name: String,
        /// Molar mass, g/mol.
        pub mw: f64,
        /// Protons that a molecule takes.
        pub equivalents: f64,
        /// What it is.
        pub kind: NeutraliserKind,
        /// How salts of this base begin in INCI names; empty for a carbonate.
        pub cation: String,
        /// Mass of the cation, g per mol of charge.
        pub cation_mw: Option<f64>,
        /// −log10 of the solubility product of the hydroxide at 25 °C, where water takes little of it.
        #[serde(default)]
        pub hydroxide_pk: Option<f64>,
    }

    /// `protolytes.csv`: what else of a formula takes or gives protons.
    pub struct ProtolyteRow {
        /// INCI name.
        pub inci: String,
        /// Molar mass, g/mol.
        pub mw: f64,
        /// Charge of the form that has all its protons.
        pub charge: i32,
        /// pKa at 25 °C, rising; none where it has no constant of its own.
        #[serde(deserialize_with = "several_numbers")]
        pub pkas: Vec<f64>,
        /// Single positive ions that keep their charge, such as the sodium of a salt, in a molecule.
        pub ions: i32,
        /// How much of the free acid pure water takes at 25 °C, mmol per kg, where that is little.
        #[serde(default)]
        pub soluble_mmol_per_kg: Option<f64>,
        /// How well that is known.
        #[serde(default)]
        pub soluble_status: Option<Status>,
        /// Where it is from.
        #[serde(default)]
        pub soluble_source: String,
        /// Anything else.
        pub note: String,
    }

    /// `thickeners.csv`: the yield stress that a thickener gives water.
    pub struct Thickener of yield_pa {
        /// INCI name.
        pub inci: String,
        /// Power of its % by which the yield stress rises; the row's value is that of 1 %.
        pub exponent: f64,
        /// Below this % of the water it gives none.
        pub least_pct: f64,
        /// Beyond this % nothing is known.
        pub most_pct: f64,
        /// It holds from this pH.
        pub ph_low: f64,
        /// And up to this.
        pub ph_high: f64,
        /// Anything else.
        pub note: String,
    }

    /// `solutes.csv`: how much of a soluble exfoliant water of skin warmth takes.
    pub struct Solute of saturated_g_per_l {
        /// Key of the material.
        pub material: String,
        /// Diffusivity in water, 1e-9 m²/s.
        pub diffusivity_1e9: f64,
    }

    /// `proton-words.csv`: a word by which acids, bases and carbonates are known that no other table holds.
    pub struct ProtonWord {
        /// Whole words of a name or INCI name, in lower case.
        pub word: String,
        /// What it tells.
        pub kind: ProtonKind,
    }

    /// `preservatives.csv`: a preservative or a blend of them.
    pub struct Preservative {
        /// The key that scrub files may use.
        pub key: String,
        /// INCI names, joined by ` + `.
        pub inci: String,
        /// The same one by one, in lower case and sorted.
        #[serde(skip)]
        pub names: Vec<String>,
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
        /// Key of the row that it counts with where each has a limit of its own, as a salt with its ester; empty for itself.
        #[serde(default)]
        pub counts_with: String,
        /// Mass of acid in a gram, by which the limits count.
        pub acid_share: f64,
        /// It goes in below this, °C.
        pub add_below_c: f64,
        /// 1 when strong acid throws it out of solution.
        pub acid_sensitive: u8,
        /// Least of it that is usual, % w/w; not known when empty.
        #[serde(default)]
        pub usual_low: Option<f64>,
        /// Most of it that is usual, % w/w.
        #[serde(default)]
        pub usual_high: Option<f64>,
        /// How well that is known.
        #[serde(default)]
        pub usual_status: Option<Status>,
        /// Where that comes from.
        #[serde(default)]
        pub usual_source: String,
        /// What it does to bacteria.
        #[serde(default)]
        pub bacteria: Option<Reach>,
        /// What it does to yeast.
        #[serde(default)]
        pub yeast: Option<Reach>,
        /// What it does to mould.
        #[serde(default)]
        pub mould: Option<Reach>,
        /// How well that is known.
        #[serde(default)]
        pub spectrum_status: Option<Status>,
        /// Where that comes from.
        #[serde(default)]
        pub spectrum_source: String,
        /// Anything else.
        pub note: String,
    }

    /// `allergens.csv`: a word of an INCI name that tells of an allergen.
    pub struct Allergen {
        /// The INCI name, or how it begins; of a fragrance allergen the name that a label bears.
        pub word: String,
        /// Other INCI names under the same name of a label, with semicolons between.
        #[serde(default)]
        pub names: String,
        /// CAS numbers, with semicolons between.
        #[serde(default)]
        pub cas: String,
        /// What it is.
        pub kind: AllergenKind,
        /// What to do.
        pub says: String,
        /// From this much it is to be named, product rinsed off, % w/w.
        pub rinse_pct: f64,
        /// The same, product left on.
        pub leave_pct: f64,
        /// The day from which it holds for products that are new on the market; always where there is none.
        #[serde(default)]
        pub from: Option<CalendarDate>,
        /// The last day on which a product that was on the market before may be sold without it.
        #[serde(default)]
        pub until: Option<CalendarDate>,
    }
}

impl Allergen {
    /// Whether it is the substance of an INCI name, with or without a common name in brackets.
    pub fn is(&self, inci: &str) -> bool {
        let inci = &without_brackets(inci);
        same_word(inci, &self.word) || self.names.split(';').any(|name| !name.is_empty() && same_word(inci, name))
    }

    /// Whether it has to be named on what was new on the market on one day and is made on another. Without a day it has to be: every
    /// rule counts.
    pub fn is_named_on(&self, on_market: Option<CalendarDate>, made: Option<CalendarDate>) -> bool {
        let is_over = self.until.zip(made).is_some_and(|(until, made)| until < made);
        is_over || holds_on(self.from, None, on_market.or(made))
    }
}

impl Acid {
    /// The pKa, first to last.
    pub fn pkas(&self) -> Vec<f64> {
        [Some(self.pka1), self.pka2, self.pka3].into_iter().flatten().collect()
    }
}

impl Ranged for Acid {
    fn ranges(&self) -> Vec<Within> {
        let positive = |name, value: f64| (name, value, 0.0, f64::INFINITY);
        let above_first = |name, value: Option<f64>| value.map(|v| (name, v, self.pka1, 14.0));
        let given = [("pka1", self.pka1, self.pka1_low, self.pka1_high), positive("mw", self.mw)];
        let salt = [positive("salt_mw", self.salt_mw), positive("salt_charge", self.salt_charge)];
        let later = [above_first("pka2", self.pka2), above_first("pka3", self.pka3)];
        given.into_iter().chain(salt).chain(later.into_iter().flatten()).collect()
    }
}

impl AcidLimit {
    /// Whether it holds for what is new on the market on a day; see [`holds_on`].
    pub fn holds_on(&self, day: Option<CalendarDate>) -> bool {
        holds_on(self.from, self.until, day)
    }

    /// Whether it is about this acid.
    pub fn is_about(&self, acid: &Acid) -> bool {
        self.kinds.contains(&acid.kind) || self.keys.contains(&acid.key)
    }
}

impl Preservative {
    /// Whether it does anything at a pH.
    pub fn works_at(&self, ph: f64) -> bool {
        (self.ph_low..=self.ph_high).contains(&ph)
    }

    /// What it does to bacteria, yeast and mould; nothing where the table does not say.
    pub fn reach(&self) -> [Option<Reach>; 3] {
        [self.bacteria, self.yeast, self.mould]
    }
}

impl Ranged for Preservative {
    fn ranges(&self) -> Vec<Within> {
        let usual = self.usual_low.map(|low| ("usual_low", low, 0.0, self.usual_high.unwrap_or(100.0)));
        let given = [
            ("ph_best", self.ph_best, self.ph_low, self.ph_high),
            ("acid_share", self.acid_share, 0.0, 1.0),
            ("add_below_c", self.add_below_c, 0.0, 150.0),
        ];
        given.into_iter().chain(usual).collect()
    }
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
    /// What else takes or gives protons.
    pub protolytes: Vec<ProtolyteRow>,
    /// Words that tell of what does and is in no table.
    pub proton_words: Vec<ProtonWord>,
    /// Yield stresses of thickeners.
    pub thickeners: Vec<Thickener>,
    /// Soluble exfoliants at skin warmth.
    pub solutes: Vec<Solute>,
    /// Preservatives.
    pub preservatives: Vec<Preservative>,
    /// Allergens.
    pub allergens: Vec<Allergen>,
    /// Constants of the checks.
    pub constants: FormulaConstants<Known>,
}

fn preservatives(file: &TableFile) -> Result<Vec<Preservative>, TableError> {
    let mut rows = keyed(file, |p: &Preservative| &p.key)?;
    for row in &mut rows {
        row.names = substances_of(&row.inci);
        row.names.sort_unstable();
    }
    Ok(rows)
}

impl FormulaTables {
    pub(super) fn read<'a>(
        find: &impl Fn(&'static str) -> &'a TableFile,
        materials: &[Material],
    ) -> Result<Self, TableError> {
        let acids = keyed(find("acids"), |a: &Acid| &a.key)?;
        Ok(Self {
            acid_limits: limits(find("acid-limits"), &acids)?,
            acids,
            neutralisers: neutralisers(find("neutralisers"))?,
            protolytes: protolytes(find("protolytes"))?,
            proton_words: without_lines(find("proton-words").rows()?),
            thickeners: without_lines(find("thickeners").rows()?),
            solutes: solutes(find("solutes"), materials)?,
            preservatives: preservatives(find("preservatives"))?,
            allergens: without_lines(find("allergens").rows()?),
            constants: FormulaConstants::read(find("formula-constants"))?,
        })
    }

    /// An acid by key.
    pub fn acid(&self, key: &str) -> Option<&Acid> {
        self.acids.iter().find(|a| a.key == key)
    }
}

/// Rows of which each has a key of its own.
fn keyed<T: DeserializeOwned + Ranged>(file: &TableFile, key: impl Fn(&T) -> &String) -> Result<Vec<T>, TableError> {
    let rows = ranged(file)?;
    refuse_repeats(file, &rows, |row| key(row).clone())?;
    Ok(without_lines(rows))
}

fn limits(file: &TableFile, acids: &[Acid]) -> Result<Vec<AcidLimit>, TableError> {
    let rows: Vec<(usize, AcidLimit)> = file.rows()?;
    for (line, row) in &rows {
        for key in &row.keys {
            file.known(*line, "acid", key, acids.iter().map(|a| a.key.as_str()))?;
        }
    }
    Ok(without_lines(rows))
}

fn neutralisers(file: &TableFile) -> Result<Vec<Neutraliser>, TableError> {
    let rows: Vec<(usize, Neutraliser)> = file.rows()?;
    match rows.iter().find(|(_, r)| r.mw.is_nan() || r.mw <= 0.0) {
        Some((line, row)) => Err(file.error(*line, format!("mw = {} must be positive", row.mw))),
        None => Ok(without_lines(rows)),
    }
}

/// Of a molecule.
const MOST_CHARGES: i32 = 8;

fn protolytes(file: &TableFile) -> Result<Vec<ProtolyteRow>, TableError> {
    let rows: Vec<(usize, ProtolyteRow)> = file.rows()?;
    refuse_repeats(file, &rows, |r| r.inci.to_lowercase())?;
    for (line, row) in &rows {
        within(file, *line, ("mw", row.mw, 1.0, 1e6))?;
        let rises = row.pkas.windows(2).all(|w| w[0] <= w[1]);
        if !rises || row.pkas.iter().any(|pka| !(-5.0..=20.0).contains(pka)) {
            return Err(file.error(*line, "pkas must rise and lie between -5 and 20".to_owned()));
        }
        if row.charge.abs() > MOST_CHARGES || row.ions.abs() > MOST_CHARGES {
            return Err(
                file.error(*line, format!("charge and ions must lie between -{MOST_CHARGES} and {MOST_CHARGES}"))
            );
        }
    }
    Ok(without_lines(rows))
}

fn solutes(file: &TableFile, materials: &[Material]) -> Result<Vec<Solute>, TableError> {
    let rows: Vec<(usize, Solute)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.material.clone())?;
    for (line, row) in &rows {
        within(file, *line, ("diffusivity_1e9", row.diffusivity_1e9, 0.01, 10.0))?;
        file.known(*line, "material", &row.material, materials.iter().map(|m| m.key.as_str()))?;
    }
    Ok(without_lines(rows))
}
