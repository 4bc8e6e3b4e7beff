//! The rest of a scrub file: `[base]`, `[acid]`, `[fill]`, `[use]`, and `[[phase]]` with `[[phase.ingredient]]`.

use super::faults::Faults;
use super::inci::inci_name;
use super::reader::unit;
use super::reader::{At, TomlDocument, TomlSection};
use super::{ScrubFileError, read_scrub, scrub};
use crate::formula::{
    AcidPlan, Base, BeadTest, DeclaredAllergen, Fill, Formula, FormulaError, Function, Ingredient, Kind, LabelFacts,
    PartOfBlend, Phase, PowderPlace, SlumpTest, Stated, Use, Weighed, dissolves,
};
use crate::numerics::written::trimmed;
use crate::source::{Located, Place, Source, did_you_mean, nearest};
use crate::tables::{Acid, Tables};
use crate::units::{
    Celsius, Grams, GramsPerCm3, Millilitres, Millimetres, PascalSeconds, Pascals, PercentOfScrub, Ph, Price, Strength,
};

/// Tables of a scrub file beside `[scrub]` and `[[powder]]`.
pub(super) const FORMULA_TABLES: [&str; 6] = ["base", "acid", "fill", "use", "label", "phase"];

const BASE_KEYS: [&str; 7] =
    ["density_g_cm3", "yield_stress_pa", "bead", "slump", "viscosity_pa_s", "ph", "water_activity"];
const ACID_KEYS: [&str; 3] = ["key", "final_ph", "window"];
const FILL_KEYS: [&str; 6] = ["container_ml", "orifice_mm", "jar", "net_g", "net_ml", "shelf_days"];
const USE_KEYS: [&str; 6] = ["kind", "rinse_off", "per_week", "salon", "regions", "on_market"];
const LABEL_KEYS: [&str; 5] = ["responsible", "made_in", "function", "durability_months", "pao_months"];
const PHASE_KEYS: [&str; 4] = ["name", "temperature_c", "note", "ingredient"];
const INGREDIENT_KEYS: [&str; 15] = [
    "name",
    "inci",
    "pct",
    "fill",
    "strength_pct",
    "density_g_cm3",
    "price_per_kg",
    "lot",
    "functions",
    "preservative",
    "parts",
    "allergens",
    "cfu_per_g",
    "traces_tested",
    "lists_checked",
];
/// Keys of a substance within an ingredient.
const SHARE_KEYS: [&str; 2] = ["inci", "pct"];

/// Parts of a blend that sum to 100 % within this are all of it.
const WHOLE_WITHIN_PCT: f64 = 0.1;

/// More than these is a mistake.
const MOST_PHASES: usize = 30;
const MOST_INGREDIENTS: usize = 100;
const MOST_CFU: f64 = 1e12;

/// Reads a scrub file as it is judged: its powders, and the water that they lie in. The phases are looked at only where a powder
/// dissolves.
///
/// # Errors
/// As [`read_formula`].
pub fn read_weighed<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Weighed, ScrubFileError> {
    let opened = source.into().open()?;
    let scrub = read_scrub(opened.source(), tables)?;
    if dissolves(&scrub, tables) {
        return Ok(Weighed::from(&read_formula(opened.source(), tables)?));
    }
    Ok(Weighed::new(scrub, None))
}

/// Reads a scrub file with its formula.
///
/// # Errors
/// [`ScrubFileError`] with file, line and column, what is wrong and what would be right.
pub fn read_formula<'a>(source: impl Into<Source<'a>>, tables: &Tables) -> Result<Formula, ScrubFileError> {
    let opened = source.into().open()?;
    let document = TomlDocument::new(&opened.name, &opened.text);
    let root = document.parse()?;
    let root = TomlSection::new(document, "the scrub file", 0, root.get_ref());
    let mut faults = Faults::default();
    let scrub = faults.keep(scrub(&root, opened.beside, tables));
    let phases = faults.keep(phases(&root, tables));
    let places = phases.as_ref().and_then(|phases| faults.keep(places(&root, phases)));
    let base = faults.keep(optional(&root, "base", base));
    let acid = faults.keep(optional(&root, "acid", |section| acid(section, tables).map(Some)));
    let fill = faults.keep(optional(&root, "fill", fill));
    let usage = faults.keep(optional(&root, "use", |section| usage(section, tables)));
    let label = faults.keep(optional(&root, "label", label));
    faults.keep(one_ph(&root));
    let read = || Some((scrub?, phases?, places?, base?, acid?, fill?, usage?, label?));
    let (scrub, phases, places, base, acid, fill, usage, label) = faults.end_with(read())?;
    let load_pct = scrub.load.get();
    let sections = root.sections("phase")?;
    let mut formula = Formula::new(scrub, phases, places).map_err(|e| located(&sections, load_pct, &e))?;
    (formula.base, formula.acid, formula.fill, formula.usage, formula.label) = (base, acid, fill, usage, label);
    Ok(formula)
}

/// The pH of the jar stands in one place.
fn one_ph(root: &TomlSection) -> Result<(), ScrubFileError> {
    match (root.section("base")?, root.section("acid")?) {
        (Some(base), Some(acid)) if base.has("ph") && acid.has("final_ph") => {
            Err(base.error_of("ph", "ph in [base] and final_ph in [acid] both stand here; keep final_ph"))
        }
        _ => Ok(()),
    }
}

fn phases(root: &TomlSection, tables: &Tables) -> Result<Vec<Phase>, ScrubFileError> {
    let sections = root.sections("phase")?;
    if sections.len() > MOST_PHASES {
        return Err(root.error(format!("{} phases; a scrub has {MOST_PHASES} at most", sections.len())));
    }
    let (mut faults, mut phases) = (Faults::default(), Vec::<Phase>::new());
    for section in &sections {
        let Some(phase) = faults.keep(phase(section, tables)) else { continue };
        if phases.iter().any(|p| p.name == phase.name) {
            let problem = format!("two phases are named \"{}\"; give each its own name", phase.name);
            faults.keep::<()>(Err(section.error_of("name", problem)));
        }
        phases.push(phase);
    }
    faults.end().map(|()| phases)
}

/// Where each powder stands in the formula.
fn places(root: &TomlSection, phases: &[Phase]) -> Result<Vec<PowderPlace>, ScrubFileError> {
    let mut faults = Faults::default();
    let places: Vec<PowderPlace> =
        root.sections("powder")?.iter().filter_map(|powder| faults.keep(place(powder, phases))).collect();
    faults.end().map(|()| places)
}

/// Refuses keys of the formula's tables that nobody asks for: what a command does that does not look at them.
pub(super) fn only_known_keys(root: &TomlSection) -> Result<(), ScrubFileError> {
    for (name, keys) in [
        ("base", &BASE_KEYS[..]),
        ("acid", &ACID_KEYS[..]),
        ("fill", &FILL_KEYS[..]),
        ("use", &USE_KEYS[..]),
        ("label", &LABEL_KEYS[..]),
    ] {
        if let Some(section) = root.section(name)? {
            section.only(keys, |_| false)?;
        }
    }
    for phase in root.sections("phase")? {
        phase.only(&PHASE_KEYS, |_| false)?;
        for ingredient in phase.sections("ingredient")? {
            ingredient.only(&INGREDIENT_KEYS, |_| false)?;
            for key in ["allergens", "parts"] {
                for share in ingredient.sections(key)? {
                    share.only(&SHARE_KEYS, |_| false)?;
                }
            }
        }
    }
    Ok(())
}

fn optional<T: Default>(
    root: &TomlSection,
    key: &'static str,
    read: impl FnOnce(&TomlSection) -> Result<T, ScrubFileError>,
) -> Result<T, ScrubFileError> {
    root.section(key)?.map_or_else(|| Ok(T::default()), |section| read(&section))
}

const BEAD: &str = "bead = { mm = 2.0, density_g_cm3 = 2.5 }, the largest bead that just does not sink";
const SLUMP: &str =
    "slump = { height_mm = 50, slump_mm = 12 }, how much lower a cylinder is once its wall is lifted off";

fn bead(test: &TomlSection) -> Result<BeadTest, ScrubFileError> {
    test.only(&["mm", "density_g_cm3"], |_| false)?;
    let diameter = test.require("mm", unit(test, "mm", Millimetres::new)?, BEAD)?;
    let density = test.require("density_g_cm3", unit(test, "density_g_cm3", GramsPerCm3::new)?, BEAD)?;
    Ok(BeadTest { diameter, density })
}

fn slump(test: &TomlSection) -> Result<SlumpTest, ScrubFileError> {
    test.only(&["height_mm", "slump_mm"], |_| false)?;
    let height = test.require("height_mm", unit(test, "height_mm", Millimetres::new)?, SLUMP)?;
    let slump = test.require("slump_mm", unit(test, "slump_mm", Millimetres::new)?, SLUMP)?;
    if slump.get() >= height.get() {
        return Err(test.error_of("slump_mm", "slump_mm must be less than height_mm: how much lower the cylinder is"));
    }
    Ok(SlumpTest { height, slump })
}

fn kind(section: &TomlSection) -> Result<Option<Kind>, ScrubFileError> {
    let Some(word) = section.text("kind")? else { return Ok(None) };
    let known = Kind::ALL.map(Kind::key).join(", ");
    let unknown = || section.error_at(word.offset, format!("unknown kind \"{}\"; known: {known}", word.value));
    Kind::of(&word.value).ok_or_else(unknown).map(Some)
}

fn base(section: &TomlSection) -> Result<Base, ScrubFileError> {
    let mut faults = Faults::default();
    for (one, other) in [("yield_stress_pa", "bead"), ("yield_stress_pa", "slump"), ("bead", "slump")] {
        faults.keep(section.not_both(one, other));
    }
    let density = faults.keep(unit(section, "density_g_cm3", GramsPerCm3::new));
    let bead = faults.keep(optional(section, "bead", |test| bead(test).map(Some)));
    let slump = faults.keep(optional(section, "slump", |test| slump(test).map(Some)));
    let yield_stress = faults.keep(unit(section, "yield_stress_pa", Pascals::new));
    let viscosity = faults.keep(unit(section, "viscosity_pa_s", PascalSeconds::new));
    let ph = faults.keep(unit(section, "ph", Ph::new));
    let water_activity = faults.keep(within(section, "water_activity", 0.0, 1.0));
    let read = || {
        Some(Base {
            density: density?,
            bead: bead?,
            slump: slump?,
            yield_stress: yield_stress?,
            viscosity: viscosity?,
            ph: ph?,
            water_activity: water_activity?,
        })
    };
    faults.end_with(read())
}

fn acid(section: &TomlSection, tables: &Tables) -> Result<AcidPlan, ScrubFileError> {
    let mut faults = Faults::default();
    let acid = faults.keep(which_acid(section, tables));
    let window = faults.keep(window(section));
    let final_ph = faults.keep(unit(section, "final_ph", Ph::new));
    faults.mistyped(section.only(&ACID_KEYS, |_| false), section);
    let read = || Some(AcidPlan { acid: acid?, final_ph: final_ph?, window: window? });
    faults.end_with(read())
}

fn which_acid(section: &TomlSection, tables: &Tables) -> Result<Acid, ScrubFileError> {
    let key = section.need(TomlSection::text, "key", "key = \"lactic\"")?;
    let acids = &tables.formula;
    let unknown = || {
        // All of them: another acid that is spelt alike is none to be proposed.
        let known: Vec<&str> = acids.acids.iter().map(|a| a.key.as_str()).collect();
        let slip = known.iter().find(|acid| strsim::osa_distance(acid, &key.value.to_lowercase()) <= 2);
        let hint =
            slip.map_or_else(|| format!("known: {}", known.join(", ")), |near| format!("did you mean \"{near}\"?"));
        let problem = format!("unknown acid \"{}\"; {hint} (gritwise tables acids)", key.value);
        section.error_at(key.offset, problem)
    };
    acids.acid(&key.value).cloned().ok_or_else(unknown)
}

/// The pH that is aimed at, from one to the other.
fn window(section: &TomlSection) -> Result<Option<[f64; 2]>, ScrubFileError> {
    let window = section.pair("window")?;
    if let Some(At { value: [low, high], offset }) = window {
        let sound = |v: f64| Ph::new(v).map_err(|e| section.error_at(offset, format!("window: {e}")));
        sound(low)?;
        sound(high)?;
        if low >= high {
            let problem = format!("window: {low} is not below {high}; write window = [4.5, 5.0]");
            return Err(section.error_at(offset, problem));
        }
    }
    Ok(window.map(|w| w.value))
}

fn fill(section: &TomlSection) -> Result<Fill, ScrubFileError> {
    let mut faults = Faults::default();
    let container = faults.keep(unit(section, "container_ml", Millilitres::new));
    let orifice = faults.keep(unit(section, "orifice_mm", Millimetres::new));
    let jar = faults.keep(section.flag("jar")).map(|jar| jar.unwrap_or(false));
    let net_mass = faults.keep(unit(section, "net_g", Grams::new));
    let net_volume = faults.keep(unit(section, "net_ml", Millilitres::new));
    for key in ["net_g", "net_ml", "container_ml"] {
        if section.number(key).is_ok_and(|n| n.is_some_and(|n| n.value == 0.0)) {
            faults.keep::<()>(Err(section.error_of(key, format!("{key} must be above 0; write {key} = 150"))));
        }
    }
    let shelf_days = faults.keep(within(section, "shelf_days", 1.0, 3650.0));
    faults.keep(section.not_both("net_g", "net_ml"));
    if let (Some(true), Some(Some(_))) = (jar, orifice) {
        let problem = "jar = true and orifice_mm both stand here; keep one";
        faults.keep::<()>(Err(section.error_of("jar", problem)));
    }
    let read = || {
        Some(Fill {
            container: container?,
            orifice: orifice?,
            jar: jar?,
            net_mass: net_mass?,
            net_volume: net_volume?,
            shelf_days: shelf_days?,
        })
    };
    faults.end_with(read())
}

fn usage(section: &TomlSection, tables: &Tables) -> Result<Use, ScrubFileError> {
    let mut faults = Faults::default();
    let regions = faults.keep(regions(section, tables));
    let kind = faults.keep(kind(section));
    let on_market = faults.keep(section.date("on_market"));
    let rinse_off = faults.keep(section.flag("rinse_off"));
    let per_week = faults.keep(within(section, "per_week", 0.0, 100.0));
    let salon = faults.keep(section.flag("salon"));
    let read = || {
        Some(Use {
            kind: kind?,
            on_market: on_market?,
            rinse_off: rinse_off?,
            per_week: per_week?,
            salon: salon?.unwrap_or(false),
            regions: regions?,
        })
    };
    faults.end_with(read())
}

/// Where it is sold, each region once.
fn regions(section: &TomlSection, tables: &Tables) -> Result<Vec<String>, ScrubFileError> {
    let mut regions: Vec<String> = Vec::new();
    for name in section.texts("regions")? {
        if name.is_empty() {
            let problem = "regions: a name is blank; write regions = [\"EU\", \"UK\"]";
            return Err(section.error_of("regions", problem));
        }
        let region = tables.substances.region(&name).map_or(name.clone(), str::to_owned);
        if !regions.contains(&region) {
            regions.push(region);
        }
    }
    Ok(regions)
}

fn label(section: &TomlSection) -> Result<LabelFacts, ScrubFileError> {
    let mut faults = Faults::default();
    let [responsible, made_in, function] =
        ["responsible", "made_in", "function"].map(|key| faults.keep(section.text(key)));
    let durability_months = faults.keep(whole_months(section, "durability_months"));
    let pao_months = faults.keep(whole_months(section, "pao_months"));
    let read = || {
        Some(LabelFacts {
            responsible: responsible?.map(|t| t.value),
            made_in: made_in?.map(|t| t.value),
            function: function?.map(|t| t.value),
            durability_months: durability_months?,
            pao_months: pao_months?,
        })
    };
    faults.end_with(read())
}

/// Months without a fraction: a label has none.
fn whole_months(section: &TomlSection, key: &'static str) -> Result<Option<f64>, ScrubFileError> {
    let months = within(section, key, 1.0, 120.0)?;
    match months.filter(|m| m.fract() != 0.0) {
        Some(m) => {
            Err(section.error_of(key, format!("{key} must be whole months, not {m}; write {key} = {}", m.floor())))
        }
        None => Ok(months),
    }
}

fn phase(section: &TomlSection, tables: &Tables) -> Result<Phase, ScrubFileError> {
    let mut faults = Faults::default();
    let name = faults.keep(section.need(TomlSection::text, "name", "name = \"Water\""));
    let temperature = faults.keep(unit(section, "temperature_c", Celsius::new));
    let note = faults.keep(section.text("note"));
    let ingredients = faults.keep(ingredients(section, tables));
    faults.mistyped(section.only(&PHASE_KEYS, |_| false), section);
    let read = || {
        Some(Phase {
            name: name?.value,
            temperature: temperature?,
            note: note?.map(|n| n.value),
            ingredients: ingredients?,
        })
    };
    faults.end_with(read())
}

fn ingredients(phase: &TomlSection, tables: &Tables) -> Result<Vec<Ingredient>, ScrubFileError> {
    let sections = phase.sections("ingredient")?;
    if sections.len() > MOST_INGREDIENTS {
        let problem = format!("{} ingredients; a phase has {MOST_INGREDIENTS} at most", sections.len());
        return Err(phase.error(problem));
    }
    let mut faults = Faults::default();
    let ingredients = sections.iter().filter_map(|section| faults.keep(ingredient(section, tables))).collect();
    faults.end().map(|()| ingredients)
}

fn ingredient(section: &TomlSection, tables: &Tables) -> Result<Ingredient, ScrubFileError> {
    let mut faults = Faults::default();
    let name = faults.keep(section.need(TomlSection::text, "name", "name = \"Glycerin\""));
    let share = faults.keep(share(section));
    let parts = faults.keep(parts(section));
    faults.keep(section.not_both("parts", "strength_pct"));
    let inci = faults.keep(inci_name(section));
    let strength = faults.keep(unit(section, "strength_pct", Strength::new));
    let density = faults.keep(unit(section, "density_g_cm3", GramsPerCm3::new));
    let price_per_kg = faults.keep(unit(section, "price_per_kg", Price::new));
    let lot = faults.keep(section.text("lot"));
    let functions = faults.keep(functions(section));
    let preservative = faults.keep(preservative(section, tables));
    let allergens = faults.keep(allergens(section));
    let cfu_per_g = faults.keep(within(section, "cfu_per_g", 0.0, MOST_CFU));
    let stated = faults.keep(stated(section));
    faults.mistyped(section.only(&INGREDIENT_KEYS, |_| false), section);
    let read = || {
        let (parts, (pct, fill)) = (parts?, share?);
        // Without a name of its own a blend goes by those of its parts, as the preservatives table writes blends.
        let joined = || parts.iter().map(|p| p.inci.as_str()).collect::<Vec<_>>().join(" + ");
        Some(Ingredient {
            name: name?.value,
            inci: inci?.or_else(|| (!parts.is_empty()).then(joined)),
            pct,
            fill,
            strength: strength?,
            density: density?,
            price_per_kg: price_per_kg?.map(Price::get),
            lot: lot?.map(|l| l.value),
            functions: functions?,
            preservative: preservative?,
            parts,
            allergens: allergens?,
            cfu_per_g: cfu_per_g?,
            stated: stated?,
        })
    };
    faults.end_with(read())
}

/// How much of the scrub, and whether it is what is left.
fn share(section: &TomlSection) -> Result<(PercentOfScrub, bool), ScrubFileError> {
    let fill = section.flag("fill")?.unwrap_or(false);
    let pct = unit(section, "pct", PercentOfScrub::new)?;
    let pct = match (pct, fill) {
        (Some(_), true) => return Err(section.error_of("pct", "pct and fill = true both stand here; keep one")),
        (pct, false) => section.require("pct", pct, "pct = 3.0 (% w/w), or fill = true for what is left")?,
        (None, true) => PercentOfScrub::new(0.0).map_err(|e| section.error(e.to_string()))?,
    };
    Ok((pct, fill))
}

fn functions(section: &TomlSection) -> Result<Vec<Function>, ScrubFileError> {
    let one = |word: &String| {
        Function::of(word).ok_or_else(|| {
            let names = Function::ALL.map(Function::key);
            let hint = match nearest(word, names) {
                Some(name) => format!("did you mean \"{name}\"?"),
                None => format!("known: {}", names.join(", ")),
            };
            section.error_of("functions", format!("unknown function \"{word}\"; {hint}"))
        })
    };
    section.texts("functions")?.iter().map(one).collect()
}

fn preservative(section: &TomlSection, tables: &Tables) -> Result<Option<String>, ScrubFileError> {
    let Some(key) = section.text("preservative")? else { return Ok(None) };
    let known = tables.formula.preservatives.iter().map(|p| p.key.as_str());
    if !known.clone().any(|k| k == key.value) {
        let problem = format!("unknown preservative \"{}\"; {}", key.value, did_you_mean(&key.value, known));
        return Err(section.error_at(key.offset, problem));
    }
    Ok(Some(key.value))
}

fn allergens(section: &TomlSection) -> Result<Option<Vec<DeclaredAllergen>>, ScrubFileError> {
    if !section.has("allergens") {
        return Ok(None);
    }
    let declared = |(inci, pct)| DeclaredAllergen { inci, pct };
    let declared: Vec<DeclaredAllergen> =
        shares(section, "allergens", "{ inci = \"Linalool\", pct = 12 }")?.into_iter().map(declared).collect();
    let sum: f64 = declared.iter().map(|a| a.pct.get()).sum();
    if sum > 100.0 + WHOLE_WITHIN_PCT {
        let problem = format!("allergens sum to {} % of the ingredient, more than all of it", trimmed(sum, 5));
        return Err(section.error_of("allergens", problem));
    }
    Ok(Some(declared))
}

/// Substances within an ingredient: INCI name, and % of the ingredient.
fn shares(section: &TomlSection, key: &str, example: &str) -> Result<Vec<(String, PercentOfScrub)>, ScrubFileError> {
    let one = |entry: &TomlSection| {
        let inci = entry.require("inci", inci_name(entry)?, example)?;
        let pct = unit(entry, "pct", PercentOfScrub::new)?;
        Ok((inci, entry.require("pct", pct, &format!("{example}, % of the ingredient"))?))
    };
    section.sections(key)?.iter().map(one).collect()
}

/// The parts of a blend, which are all of it.
fn parts(section: &TomlSection) -> Result<Vec<PartOfBlend>, ScrubFileError> {
    let parts = shares(section, "parts", "{ inci = \"Phenoxyethanol\", pct = 90 }")?;
    let sum = parts.iter().fold(0.0, |sum, (_, pct)| sum + pct.get());
    if section.has("parts") && (sum - 100.0).abs() > WHOLE_WITHIN_PCT {
        let sum = (sum * 1e4).round() / 1e4;
        let problem = format!("parts sum to {sum} % of the ingredient, not 100; list all of it, its water too");
        return Err(section.error_of("parts", problem));
    }
    let repeats = |i: usize| parts[..i].iter().any(|(inci, _)| inci.eq_ignore_ascii_case(&parts[i].0));
    if let Some(twice) = (0..parts.len()).find(|i| repeats(*i)) {
        let problem = format!("parts: \"{}\" stands twice; give its shares as one", parts[twice].0);
        return Err(section.error_of("parts", problem));
    }
    Ok(parts.into_iter().map(|(inci, pct)| PartOfBlend { inci, pct }).collect())
}

/// Where a powder stands in the formula.
fn place(powder: &TomlSection, phases: &[Phase]) -> Result<PowderPlace, ScrubFileError> {
    let phase = match powder.text("phase")? {
        None => None,
        Some(name) => {
            let found = phases.iter().position(|p| p.name == name.value);
            let hint = || match phases {
                [] => "the file has no [[phase]]".to_owned(),
                _ => did_you_mean(&name.value, phases.iter().map(|p| p.name.as_str())),
            };
            let problem = || format!("there is no phase \"{}\"; {}", name.value, hint());
            Some(found.ok_or_else(|| powder.error_at(name.offset, problem()))?)
        }
    };
    Ok(PowderPlace { phase, cfu_per_g: within(powder, "cfu_per_g", 0.0, MOST_CFU)?, stated: stated(powder)? })
}

/// What its maker states of an ingredient or powder.
fn stated(section: &TomlSection) -> Result<Stated, ScrubFileError> {
    Ok(Stated {
        traces_tested: section.flag("traces_tested")?.unwrap_or(false),
        lists_checked: section.date("lists_checked")?,
    })
}

/// A number between two bounds.
fn within(section: &TomlSection, key: &'static str, low: f64, high: f64) -> Result<Option<f64>, ScrubFileError> {
    let Some(number) = section.number(key)? else { return Ok(None) };
    if (low..=high).contains(&number.value) {
        return Ok(Some(number.value));
    }
    Err(section.error_at(number.offset, format!("{key} must be between {low} and {high}, not {}", number.value)))
}

/// An error of the whole formula, at the ingredient it is about: the second that takes what is left, the one that takes it,
/// or the one that brings the sum, begun with the powders, past 100 %.
fn located(phases: &[TomlSection], load_pct: f64, error: &FormulaError) -> ScrubFileError {
    let ingredients: Vec<TomlSection> = phases.iter().filter_map(|p| p.sections("ingredient").ok()).flatten().collect();
    let is_fill = |i: &&TomlSection| i.flag("fill").ok().flatten() == Some(true);
    let pct = |i: &TomlSection| i.number("pct").ok().flatten().map_or(0.0, |p| p.value);
    let mut sum = load_pct;
    let mut passes = |i: &&TomlSection| {
        sum += pct(i);
        sum > 100.0
    };
    let at = match error {
        FormulaError::TwoFills { .. } => ingredients.iter().filter(is_fill).nth(1).map(|i| (i, "fill")),
        FormulaError::NothingLeft { .. } => ingredients.iter().find(is_fill).map(|i| (i, "fill")),
        FormulaError::Over { .. } => ingredients.iter().find(|i| passes(i)).map(|i| (i, "pct")),
    };
    match at {
        Some((ingredient, key)) => ingredient.error_of(key, error.to_string()),
        None => Located::new(Place::default(), error.to_string()).into(),
    }
}
