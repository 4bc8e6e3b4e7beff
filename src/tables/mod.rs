//! Typed, validated access to `grading-tables/`: every constant the program uses, each row with its status and source.
//! The files are embedded; a folder of the user's own can stand in front, file by file.

mod bands;
mod constants;
mod error;
mod formula;
mod known;
mod landmarks;
mod materials;
mod papers;
mod rows;
mod sheet;
mod substances;

pub use bands::{BandLimits, Criterion};
pub use constants::{
    AcceptanceLimits, AimLimits, DrawTolerances, FormulaConstants, MisuseConstants, ModelConstants, REFERENCE_SITE,
    SievingConstants, Site,
};
pub use error::TableError;
pub use formula::{
    Acid, AcidKind, AcidLimit, AcidUse, Allergen, AllergenKind, Beyond, FormulaTables, Neutraliser, NeutraliserKind,
    Preservative, ProtolyteRow, ProtonKind, ProtonWord, Reach, Solute, Thickener,
};
pub use known::{Known, Origin, Status};
pub use landmarks::{Landmark, LandmarkPowder};
pub use materials::{Flag, Material, MaterialOrigin, Property};
pub use papers::{
    LabelText, PaperTables, PullKind, SamplingKind, SamplingPlan, StabilityPull, StabilityTest, SupplierQuestion,
    TolerableError,
};
pub use rows::{AssessorHeadRow, CautionRow, MohsRow, PolymerWordRow, RefusalRow, RoundnessRow};
pub use sheet::{BUILT_IN, Cells, OriginColumns, TableFile, origin_columns};
pub use substances::{
    ActiveKind, AnnexEntry, ExfoliatingActive, GrainKind, ListKind, NaturalGrain, Region, Substances, holds_on,
    is_mineral_colour,
};

use crate::size::SizeError;
use crate::size::headings::{Heading, folded_words};
use crate::size::law::Law;
use crate::size::standards::{Grit, GritSizes, Making, Sieve, Standards, UsualSpread};
use crate::source::{as_it_looks, did_you_mean, folded, read_text};
use rows::{
    AstmRow, HeadingRow, IsoRow, MacroGritRow, MicroGritRow, PaperGritRow, Ranged, SpreadRow, TylerRow, Within,
};
use serde::de::DeserializeOwned;
use std::collections::HashSet;
use std::path::Path;

macro_rules! embedded {
    ($($name:literal: $about:literal),+ $(,)?) => {
        [$(($name, $about, include_str!(concat!("../../grading-tables/", $name, ".csv")))),+]
    };
}

/// Name, description and text of every embedded table.
const EMBEDDED: [(&str, &str, &str); 44] = embedded![
    "materials": "exfoliants: density, hardness, roundness, solubility, flags; polymers that are refused",
    "hardness": "Mohs scale to indentation hardness",
    "roundness": "Powers roundness classes",
    "sites": "skin sites: horny layer, modulus, pressure, dose, least gap",
    "bands": "suitability bands and their limits, mild to harsh",
    "landmarks": "scrubs that the trade sells, to compare a scrub with",
    "constants": "constants of the rub model and of the reference scrub",
    "misuse": "foreseeable misuse of a scrub, and the one treatment measured on skin",
    "draws": "how far drawn properties stray where no range is given",
    "sieving": "how sharply a sieve of the maker's cuts",
    "sieves-astm-e11": "US sieve numbers and openings",
    "sieves-iso-3310-1": "ISO test sieve openings and their series",
    "sieves-tyler": "Tyler mesh numbers and openings",
    "grits-fepa-f-macro": "F grits sieved, F4 to F220",
    "grits-fepa-f-micro": "F grits by sedimentation, F230 to F2000",
    "grits-fepa-p": "P grits, P12 to P2500",
    "spreads": "how wide powders are of which one figure is known",
    "headings": "words above the columns of size tables, in English, German, French, Spanish",
    "acceptance": "tolerances of a powder's lots, limits of their measurements",
    "aims": "what a search for a blend keeps to: the least share of a powder",
    "cautions": "texts printed with a result, and when",
    "refusals": "rules that forbid a material",
    "polymer-words": "words in the name of a powder or ingredient that tell of plastic grains",
    "assessor-heads": "heads of a cosmetic product safety report, and what a dossier gives to each",
    "acids": "acid exfoliants: molar mass, pKa, salt",
    "acid-limits": "what regions say of acid exfoliants: most acid, lowest pH",
    "neutralisers": "bases and their salts, and carbonates that use an acid up",
    "protolytes": "preservatives, weak bases, chelators: what else takes or gives protons",
    "proton-words": "words of acids, bases and carbonates that the other tables do not hold",
    "thickeners": "yield stress that gums give water",
    "solutes": "soluble exfoliants: saturated solution at skin warmth",
    "preservatives": "preservatives: pH, limits, temperature, order of addition",
    "allergens": "fragrance allergens, aromatic plants, nuts and foods by INCI name",
    "exfoliating-actives": "substances that exfoliate beside grains and acids of the table",
    "annexes": "substances that lists prohibit or restrict",
    "natural-grains": "words of grains that are dug or ground: clays, stones, plants, sugar, salt",
    "regions": "regions by whose law the tables go, and their names",
    "formula-constants": "constants of the checks of a formula",
    "label-texts": "precautions of a label, and when",
    "prepackages": "how far a fill weight may fall short of the nominal content",
    "prepackage-sampling": "how many units of a batch an inspector weighs, and when it is accepted",
    "stability-pulls": "where stability samples stand, and when they are taken",
    "stability-tests": "what a stability plan tests, and what calls for it",
    "supplier-questions": "what a supplier is asked for a powder",
];

/// All tables in force.
#[derive(Debug, Clone)]
pub struct Tables {
    files: Vec<TableFile>,
    /// Sieve and grit series.
    pub standards: Standards,
    /// Exfoliants.
    pub materials: Vec<Material>,
    /// Mohs scale, rising.
    pub mohs: Vec<MohsRow>,
    /// Powers classes.
    pub roundness: Vec<RoundnessRow>,
    /// Skin sites, in the order of the table.
    pub sites: Vec<Site<Known>>,
    /// Bands, mild to harsh.
    pub bands: Vec<BandLimits>,
    /// Constants of the model.
    pub constants: ModelConstants<Known>,
    /// Foreseeable misuse, and the one treatment measured on skin.
    pub misuse: MisuseConstants<Known>,
    /// Limits for lots of a powder.
    pub acceptance: AcceptanceLimits,
    /// What a search for a blend keeps to.
    pub aims: AimLimits,
    /// How far drawn properties stray where no range is given.
    pub draws: DrawTolerances,
    /// How sharply the maker's sieves cut.
    pub sieving: SievingConstants,
    /// Caution texts.
    pub cautions: Vec<CautionRow>,
    /// Rules that forbid.
    pub refusals: Vec<RefusalRow>,
    /// Words that tell of plastic grains.
    pub polymer_words: Vec<PolymerWordRow>,
    /// Heads of a safety report.
    pub assessor_heads: Vec<AssessorHeadRow>,
    /// Substances by name, and regions.
    pub substances: Substances,
    /// What a formula is checked by.
    pub formula: FormulaTables,
    /// What a maker's papers go by.
    pub papers: PaperTables,
    /// Scrubs that the trade sells.
    pub landmarks: Vec<Landmark>,
}

impl Tables {
    /// The embedded tables.
    ///
    /// # Errors
    /// [`TableError`] if they were damaged before the build; the tests make sure that they are not.
    pub fn built_in() -> Result<Self, TableError> {
        Self::from_files(embedded_files())
    }

    /// The embedded tables with those of `folder` in front, file by file.
    ///
    /// # Errors
    /// [`TableError`] when the folder cannot be read, holds a CSV that is no table of ours, or a table is malformed.
    pub fn with_folder(folder: &Path) -> Result<Self, TableError> {
        let mut files = embedded_files();
        let unreadable = |cause| TableError::Folder { folder: folder.display().to_string(), cause };
        let mut paths = Vec::new();
        for entry in std::fs::read_dir(folder).map_err(unreadable)? {
            paths.push(entry.map_err(unreadable)?.path());
        }
        paths.sort();
        for path in paths.iter().filter(|p| p.extension().is_some_and(|e| e == "csv")) {
            let stem = path.file_stem().map(|s| s.to_string_lossy().into_owned()).unwrap_or_default();
            let Some(file) = files.iter_mut().find(|f| f.name == stem) else {
                let hint = did_you_mean(&stem, EMBEDDED.map(|e| e.0));
                return Err(TableError::UnknownFile { file: path.display().to_string(), hint });
            };
            file.text = read_text(path)?;
            file.origin = path.display().to_string();
        }
        let tables = Self::from_files(files)?;
        for (own, built_in) in tables.files.iter().zip(&embedded_files()).filter(|(own, _)| own.origin != BUILT_IN) {
            own.in_units_of(built_in)?;
        }
        Ok(tables)
    }

    fn from_files(files: Vec<TableFile>) -> Result<Self, TableError> {
        let find = |name: &str| -> &TableFile { &files[EMBEDDED.iter().position(|e| e.0 == name).unwrap_or(0)] };
        let sites = Site::read(find("sites"))?;
        let refusals = plain(find("refusals"))?;
        let cautions = plain(find("cautions"))?;
        let materials = materials::read(find("materials"), &refusals, &cautions)?;
        let bands = bands::read(find("bands"), &sites)?;
        let allowed = materials.iter().filter(|m| m.refused_by.is_none());
        let materials_known: Vec<String> = allowed.map(|m| m.key.clone()).collect();
        let tables = Self {
            standards: standards(&find)?,
            formula: FormulaTables::read(&find, &materials)?,
            papers: PaperTables::read(&find)?,
            substances: Substances::read(&find)?,
            materials,
            mohs: mohs_scale(find("hardness"))?,
            roundness: roundness(find("roundness"))?,
            constants: ModelConstants::read(find("constants"))?,
            misuse: MisuseConstants::read(find("misuse"))?,
            acceptance: AcceptanceLimits::read(find("acceptance"))?.values(),
            aims: AimLimits::read(find("aims"))?.values(),
            draws: DrawTolerances::read(find("draws"))?.values(),
            sieving: SievingConstants::read(find("sieving"))?.values(),
            landmarks: landmarks::read(find("landmarks"), &materials_known, &bands)?,
            bands,
            sites,
            polymer_words: polymer_words(find("polymer-words"), &refusals)?,
            assessor_heads: plain(find("assessor-heads"))?,
            cautions,
            refusals,
            files: Vec::new(),
        };
        Ok(Self { files, ..tables })
    }

    /// All table files.
    pub fn files(&self) -> &[TableFile] {
        &self.files
    }

    /// A table file by name.
    ///
    /// # Errors
    /// [`TableError::UnknownTable`], naming the nearest.
    pub fn file(&self, name: &str) -> Result<&TableFile, TableError> {
        let wanted = name.trim_end_matches(".csv");
        self.files.iter().find(|f| f.name == wanted).ok_or_else(|| TableError::UnknownTable {
            name: name.to_owned(),
            hint: did_you_mean(wanted, EMBEDDED.map(|e| e.0)),
        })
    }

    /// A material by key.
    pub fn material(&self, key: &str) -> Option<&Material> {
        self.materials.iter().find(|m| m.key == key)
    }

    /// The sites without the ranges of their numbers.
    pub fn site_values(&self) -> Vec<Site> {
        self.sites.iter().map(Site::values).collect()
    }

    /// A site by name.
    pub fn site(&self, name: &str) -> Option<&Site<Known>> {
        self.sites.iter().find(|s| s.name == name)
    }
}

fn embedded_files() -> Vec<TableFile> {
    EMBEDDED
        .iter()
        .map(|&(name, about, text)| TableFile { name, about, origin: BUILT_IN.to_owned(), text: text.to_owned() })
        .collect()
}

fn plain<T: DeserializeOwned>(file: &TableFile) -> Result<Vec<T>, TableError> {
    Ok(without_lines(file.rows()?))
}

fn without_lines<T>(rows: Vec<(usize, T)>) -> Vec<T> {
    rows.into_iter().map(|(_, row)| row).collect()
}

/// Rows whose values are positive and lie within their ranges.
fn ranged<T: DeserializeOwned + Ranged>(file: &TableFile) -> Result<Vec<(usize, T)>, TableError> {
    let rows = file.rows::<T>()?;
    for (line, row) in &rows {
        row.ranges().into_iter().try_for_each(|number| within(file, *line, number))?;
    }
    Ok(rows)
}

/// Refuses a number that is not positive or lies outside its range.
fn within(file: &TableFile, line: usize, (column, value, low, high): Within) -> Result<(), TableError> {
    if low > high {
        return Err(file.error(line, format!("{column}: its range {low} to {high} falls; write the lower end first")));
    }
    if value.is_finite() && value > 0.0 && low <= value && value <= high {
        return Ok(());
    }
    let problem = format!("{column} = {value} must be positive and lie within its range {low} to {high}");
    Err(file.error(line, problem))
}

fn roundness(file: &TableFile) -> Result<Vec<RoundnessRow>, TableError> {
    let mut rows: Vec<(usize, RoundnessRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.class.clone())?;
    // Classes are looked up by their folded name.
    rows.iter_mut().for_each(|(_, r)| r.class = folded(&r.class));
    Ok(without_lines(rows))
}

/// Refuses two rows that say they are the same thing.
fn refuse_repeats<T>(file: &TableFile, rows: &[(usize, T)], key: impl Fn(&T) -> String) -> Result<(), TableError> {
    let mut seen = HashSet::new();
    match rows.iter().find(|(_, row)| !seen.insert(key(row).to_ascii_lowercase())) {
        Some((line, row)) => Err(file.error(*line, format!("\"{}\" stands twice", key(row)))),
        None => Ok(()),
    }
}

fn mohs_scale(file: &TableFile) -> Result<Vec<MohsRow>, TableError> {
    let rows: Vec<(usize, MohsRow)> = ranged(file)?;
    let rises = |w: &[(usize, MohsRow)]| w[0].1.mohs < w[1].1.mohs && w[0].1.hardness_gpa < w[1].1.hardness_gpa;
    match rows.windows(2).find(|w| !rises(w)) {
        Some(w) => Err(file.error(w[1].0, "mohs and hardness_gpa must both rise from row to row")),
        None if rows.len() < 2 => Err(file.error(1, "a scale needs two rows at least")),
        None => Ok(without_lines(rows)),
    }
}

fn polymer_words(file: &TableFile, refusals: &[RefusalRow]) -> Result<Vec<PolymerWordRow>, TableError> {
    let mut rows: Vec<(usize, PolymerWordRow)> = file.rows()?;
    for (line, row) in &mut rows {
        refuse_unknown_group(file, *line, "group", &row.group, refusals)?;
        row.looks = as_it_looks(&row.word).into_owned();
    }
    Ok(without_lines(rows))
}

/// Refuses a group that no rule forbids.
fn refuse_unknown_group(
    file: &TableFile,
    line: usize,
    column: &str,
    group: &str,
    refusals: &[RefusalRow],
) -> Result<(), TableError> {
    if refusals.iter().any(|r| r.group == group) {
        return Ok(());
    }
    Err(file.error(line, format!("{column} \"{group}\" is no group of the refusals table")))
}

fn standards<'a>(find: &impl Fn(&'static str) -> &'a TableFile) -> Result<Standards, TableError> {
    let file = find("sieves-astm-e11");
    let rows = file.rows::<AstmRow>()?;
    refuse_repeats(file, &rows, |r| r.mesh.clone())?;
    let astm = falling(file, rows.into_iter().map(|(l, r)| (l, Sieve { mesh: r.mesh, opening_um: r.opening_um })))?;
    let file = find("sieves-tyler");
    let rows = file.rows::<TylerRow>()?;
    refuse_repeats(file, &rows, |r| r.tyler_mesh.clone())?;
    let tyler =
        falling(file, rows.into_iter().map(|(l, r)| (l, Sieve { mesh: r.tyler_mesh, opening_um: r.opening_um })))?;
    let file = find("sieves-iso-3310-1");
    let rows = file.rows::<IsoRow>()?;
    let sieves = rows.iter().map(|(l, r)| (*l, Sieve { mesh: String::new(), opening_um: r.opening_um }));
    falling(file, sieves)?;
    let series = |name: &str, member: fn(&IsoRow) -> u8| {
        let openings = rows.iter().filter(|(_, r)| member(r) == 1).map(|(_, r)| r.opening_um).collect();
        (name.to_owned(), openings)
    };
    let iso = vec![
        series("R20/3", |r| r.r20_3),
        series("R40/3", |r| r.r40_3),
        series("R20", |r| r.r20),
        series("fine supplementary", |r| r.r10_fine),
    ];
    Ok(Standards {
        astm,
        tyler,
        iso,
        grits: grits(find)?,
        spreads: spreads(find("spreads"))?,
        headings: headings(find("headings"))?,
    })
}

/// How wide a powder is of which one figure is known: a row for each way that it may have been made.
fn spreads(file: &TableFile) -> Result<Vec<UsualSpread>, TableError> {
    let rows: Vec<(usize, SpreadRow)> = ranged(file)?;
    refuse_repeats(file, &rows, |r| r.made.to_string())?;
    let of = |made: Making| {
        let row = rows.iter().find(|(_, r)| r.made == made);
        let missing =
            || file.error(1, format!("the row \"{made}\" is missing; gritwise tables spreads --csv shows it"));
        let (line, r) = row.ok_or_else(missing)?;
        if r.low < Law::LEAST_GSD || r.high > Law::MOST_GSD {
            let problem = format!("gsd must lie above 1 and at most at {}, its range too", Law::MOST_GSD);
            return Err(file.error(*line, problem));
        }
        Ok(UsualSpread { made, gsd: r.gsd, low: r.low, high: r.high, status: r.status.key() })
    };
    Making::ALL.into_iter().map(of).collect()
}

/// Words are looked up as they are folded, so they stand in the table that way.
fn headings(file: &TableFile) -> Result<Vec<Heading>, TableError> {
    let rows: Vec<(usize, HeadingRow)> = file.rows()?;
    refuse_repeats(file, &rows, |r| format!("{} for {}", r.word, r.says.key()))?;
    let of = |(line, row): (usize, HeadingRow)| {
        let bare = row.word.trim_matches('*');
        if bare.is_empty() || folded_words(bare).trim() != bare {
            let problem = format!("word = \"{}\" must be in lower case, without accents and signs", row.word);
            return Err(file.error(line, problem));
        }
        Ok(Heading { word: row.word, says: row.says })
    };
    rows.into_iter().map(of).collect()
}

/// Sieves whose openings fall from row to row.
fn falling(file: &TableFile, rows: impl Iterator<Item = (usize, Sieve)>) -> Result<Vec<Sieve>, TableError> {
    let mut sieves: Vec<Sieve> = Vec::new();
    for (line, sieve) in rows {
        let above = sieves.last().map_or(f64::INFINITY, |s| s.opening_um);
        if sieve.opening_um.is_nan() || sieve.opening_um <= 0.0 || sieve.opening_um >= above {
            return Err(file.error(line, "openings must be positive and fall from row to row"));
        }
        sieves.push(sieve);
    }
    Ok(sieves)
}

fn grits<'a>(find: &impl Fn(&'static str) -> &'a TableFile) -> Result<Vec<Grit>, TableError> {
    let mut grits = Vec::new();
    let file = find("grits-fepa-f-macro");
    for (line, r) in file.rows::<MacroGritRow>()? {
        let sizes = GritSizes::Sieved { median_um: r.mean_um, finest_sieve_um: r.sieve5_um, finest_pct: r.finest_pct };
        push_grit(&mut grits, file, line, r.grit, sizes)?;
    }
    let file = find("grits-fepa-f-micro");
    for (line, r) in file.rows::<MicroGritRow>()? {
        // ds3 is the size that 3 % is coarser than, so 97 % finer.
        let points = vec![(6.0, r.ds94_min_um), (50.0, r.ds50_um), (97.0, r.ds3_max_um)];
        push_grit(&mut grits, file, line, r.grit, GritSizes::Percentiles(points))?;
    }
    let file = find("grits-fepa-p");
    for (line, r) in file.rows::<PaperGritRow>()? {
        let sizes = match (r.ds3_max_um, r.ds95_min_um, r.gsd) {
            (Some(ds3), Some(ds95), None) => GritSizes::Percentiles(vec![(5.0, ds95), (50.0, r.ds50_um), (97.0, ds3)]),
            (None, None, Some(gsd)) => GritSizes::Median { median_um: r.ds50_um, gsd },
            _ => return Err(file.error(line, "give ds3_max_um and ds95_min_um, or gsd alone")),
        };
        push_grit(&mut grits, file, line, r.grit, sizes)?;
    }
    Ok(grits)
}

/// Adds a grit after making sure that it resolves to a distribution.
fn push_grit(
    grits: &mut Vec<Grit>,
    file: &TableFile,
    line: usize,
    name: String,
    sizes: GritSizes,
) -> Result<(), TableError> {
    let grit = Grit { name, sizes };
    grit.record().map_err(|e: SizeError| file.error(line, format!("grit {}: {e}", grit.name)))?;
    grits.push(grit);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn embedded_tables_are_sound() {
        let tables = Tables::built_in().unwrap();
        let allowed = tables.materials.iter().filter(|m| m.refused_by.is_none());
        assert!(allowed.count() >= 30);
        for origin in MaterialOrigin::ALL {
            assert!(tables.materials.iter().any(|m| m.origin == origin), "{origin:?}");
        }
        assert_eq!(tables.bands.len(), 4);
        assert_eq!(tables.sites.len(), 3);
    }

    #[test]
    fn a_users_table_stands_in_front_and_its_faults_name_file_and_line() {
        let folder = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| std::fs::write(folder.path().join(name), text).unwrap();
        let good = "class,roundness,low,high,status,source\nriver worn,0.5,0.4,0.6,estimate,our own chart\n";
        write("roundness.csv", good);
        let tables = Tables::with_folder(folder.path()).unwrap();
        assert_eq!(tables.roundness[0].class, "river worn");
        assert!(tables.file("roundness").unwrap().origin.ends_with("roundness.csv"));

        for (text, wanted) in [
            (good.replace("0.5,", "0.9,"), "roundness.csv:2: roundness = 0.9 must be positive and lie within"),
            (good.replace("0.5,", "half,"), "roundness.csv:2: roundness"),
            (good.replace("estimate", "guess"), "roundness.csv:2: status \"guess\" must be one of"),
            (good.replace(",our own chart", ","), "roundness.csv:2: the source is empty"),
            (good.replace(",our own chart", ""), "roundness.csv:2: 5 cells, but the header has 6 columns"),
            (good.replace("class", "klass"), "roundness.csv:2"),
        ] {
            write("roundness.csv", &text);
            let message = Tables::with_folder(folder.path()).unwrap_err().to_string();
            assert!(message.contains(wanted), "{message}");
        }
        std::fs::remove_file(folder.path().join("roundness.csv")).unwrap();
        write("roundnes.csv", good);
        let message = Tables::with_folder(folder.path()).unwrap_err().to_string();
        assert!(message.contains("did you mean \"roundness\""), "{message}");
    }
}
