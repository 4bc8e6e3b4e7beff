//! One `[[powder]]`.

use super::ScrubFileError;
use super::accept::lot_spec;
use super::faults::Faults;
use super::inci::inci_name;
use super::ranges::{RANGE_KEYS, ranged_key, read_ranges};
use super::reader::{At, TomlSection, unit};
use super::slips::{self, MEANT_KEYS};
use crate::powder::{GrainProperties, Hardness, Powder, Stock, of_class, refuse_forbidden, refuse_plastic};
use crate::size::spec::{LAW_KEYS, SizeSpec, Tails, percentile_of_key};
use crate::size::standards::{Making, MeshSeries};
use crate::size::table::{self, TableKind};
use crate::size::{Sieves, SizeError, SizeRecord};
use crate::source::{Beside, Tabular, did_you_mean};
use crate::tables::{Material, Tables};
use crate::units::{Gigapascals, GramsPerCm3, Micrometres, Mohs, Parts, Price, Roundness};

/// Keys by which a powder stands in the formula.
pub(super) const PLACE_KEYS: [&str; 4] = ["phase", "cfu_per_g", "traces_tested", "lists_checked"];

const SIZE_FORMS: &str = "give exactly one of: d50_um with gsd; two or more of d5_um to d95_um; rr_size_um with \
     rr_exponent; ggs_size_um with ggs_exponent; mesh = \"-60+100\"; range_um = [50, 150]; grit = \"F220\"; \
     grade = \"-100 mesh\" (any wording of a sheet); sieve (with max_um, if its top is known), laser or counts = \"table.csv\"; \
     through_um and over_um beside it where you sieve it yourself";

/// Keys of a powder wherever it stands; a scrub file adds `parts`, a shelf its own.
pub(super) const POWDER_KEYS: [&str; 13] = [
    "name",
    "material",
    "inci",
    "density_g_cm3",
    "hardness_gpa",
    "mohs",
    "roundness",
    "roundness_class",
    "roundness_source",
    "size",
    "price_per_kg",
    "lot",
    "accept",
];

/// Keys of a size that are no numbers of a law; `max_um` goes with a sieve table, the three before the last with a mesh
/// or a range, `made` with one figure, the last two with any.
const SIZE_KEYS: [&str; 14] = [
    "mesh",
    "range_um",
    "grit",
    "grade",
    "sieve",
    "laser",
    "counts",
    "max_um",
    "mesh_series",
    "undersize_pct",
    "oversize_pct",
    "made",
    "through_um",
    "over_um",
];

/// Those of them that may have a range.
const TAIL_KEYS: [&str; 2] = ["undersize_pct", "oversize_pct"];

/// Reads a powder of a scrub file, and its parts.
pub(super) fn read(section: &TomlSection, beside: Beside, tables: &Tables) -> Result<(Powder, Parts), ScrubFileError> {
    let known: Vec<&str> =
        POWDER_KEYS.into_iter().chain(["parts"]).chain(PLACE_KEYS).chain(RANGE_KEYS).chain(MEANT_KEYS).collect();
    let mut faults = Faults::default();
    let parts = faults.keep(parts(section));
    let powder = faults.keep(read_powder(section, beside, tables));
    faults.mistyped(section.only(&known, |_| false), section);
    faults.end_with(powder.zip(parts))
}

fn parts(section: &TomlSection) -> Result<Parts, ScrubFileError> {
    let parts = section.need(TomlSection::number, "parts", "parts = 1")?;
    Parts::new(parts.value).map_err(|e| section.error_at(parts.offset, e.to_string()))
}

/// Reads what makes a powder, whatever else stands beside it.
pub(super) fn read_powder(section: &TomlSection, beside: Beside, tables: &Tables) -> Result<Powder, ScrubFileError> {
    let mut faults = Faults::default();
    let material = faults.keep(material(section, tables));
    let name = faults.keep(section.text("name"));
    let density = faults.keep(unit(section, "density_g_cm3", GramsPerCm3::new));
    let hardness = faults.keep(hardness(section));
    let roundness = faults.keep(roundness(section, tables));
    let roundness_source = faults.keep(roundness_source(section));
    let price_per_kg = faults.keep(unit(section, "price_per_kg", Price::new));
    let size = faults.keep(size(section, beside, tables));
    let inci = faults.keep(own_inci(section, tables));
    let lot = faults.keep(section.text("lot"));
    let accept = faults.keep(lot_spec(section));
    let read = || Some((material?, name?, density?, hardness?, roundness?, size?, inci?, lot?));
    let (material, name, density, hardness, roundness, size, inci, lot) = faults.end_with(read())?;
    let name = match (name, material) {
        (Some(name), _) => name.value,
        (None, Some(m)) => m.name.clone(),
        (None, None) => section.require("name", None, "name = \"Rice bran, fine\"")?,
    };
    let mut asked = Faults::default();
    asked.keep(slips::density(section, density, material));
    asked.keep(slips::hardness(section, hardness, material));
    asked.keep(slips::size(section, &size));
    asked.end()?;
    let given = GrainProperties { density, hardness, roundness };
    let kept = size.kept();
    let mut powder = Powder::new(name, material, &given, size, tables).map_err(|e| section.error(e))?;
    powder.own_inci = inci;
    powder.recognise(tables).map_err(|e| section.error_of(if section.has("inci") { "inci" } else { "name" }, e))?;
    powder.roundness_source = roundness_source.flatten();
    powder.stock = Stock {
        price_per_kg: price_per_kg.flatten().map(|price| price.get() / kept),
        lot: lot.map(|lot| lot.value),
        accept: accept.unwrap_or_default(),
    };
    read_ranges(section, &mut powder, tables)?;
    Ok(powder)
}

fn size(section: &TomlSection, beside: Beside, tables: &Tables) -> Result<SizeRecord, ScrubFileError> {
    let size = section.section_or_text("size")?;
    match section.require("size", size, "size = { d50_um = 60, gsd = 1.6 }")? {
        Ok(size) => size_record(&size, beside, tables),
        Err(name) if is_table_name(&name.value) => {
            let problem = format!(
                "a table is named by how it was measured: size = {{ sieve = \"{0}\" }}, or {{ laser = \"{0}\" }}, {{ counts = \"{0}\" }}",
                name.value
            );
            Err(section.error_at(name.offset, problem))
        }
        Err(grade) => SizeSpec::parse(&grade.value)
            .and_then(|spec| spec.resolve(&tables.standards, default_tails(tables)))
            .map_err(|e| section.error_at(grade.offset, e.to_string())),
    }
}

/// Whether a text ends as a file of a table does.
fn is_table_name(text: &str) -> bool {
    let ending = text.trim().rsplit_once('.').map(|(_, ending)| ending.to_lowercase());
    ending.is_some_and(|ending| ["csv", "tsv", "txt", "xlsx"].contains(&ending.as_str()))
}

fn own_inci(section: &TomlSection, tables: &Tables) -> Result<Option<String>, ScrubFileError> {
    let Some(inci) = inci_name(section)? else { return Ok(None) };
    refuse_plastic("INCI name", &inci, tables).map_err(|e| section.error_of("inci", e))?;
    Ok(Some(inci))
}

fn material<'t>(section: &TomlSection, tables: &'t Tables) -> Result<Option<&'t Material>, ScrubFileError> {
    let Some(key) = section.text("material")? else { return Ok(None) };
    let Some(material) = tables.material(&key.value) else {
        let hint = did_you_mean(&key.value, tables.materials.iter().map(|m| m.key.as_str()));
        let problem = format!("unknown material \"{}\"; {hint} (gritwise tables materials lists them)", key.value);
        return Err(section.error_at(key.offset, problem));
    };
    refuse_forbidden(material, &tables.refusals).map_err(|e| section.error_at(key.offset, e))?;
    Ok(Some(material))
}

fn hardness(section: &TomlSection) -> Result<Option<Hardness>, ScrubFileError> {
    let indentation = unit(section, "hardness_gpa", Gigapascals::new)?.map(Hardness::Indentation);
    let mohs = unit(section, "mohs", Mohs::new)?.map(Hardness::Mohs);
    if indentation.is_some() && mohs.is_some() {
        return Err(section.error("hardness_gpa and mohs both stand here; keep one (hardness_gpa if it was measured)"));
    }
    Ok(indentation.or(mohs))
}

fn roundness(section: &TomlSection, tables: &Tables) -> Result<Option<Roundness>, ScrubFileError> {
    section.not_both("roundness", "roundness_class")?;
    let Some(class) = section.text("roundness_class")? else { return unit(section, "roundness", Roundness::new) };
    let of_class = of_class(&tables.roundness, &class.value);
    of_class.map(Some).map_err(|e| section.error_at(class.offset, e.to_string()))
}

/// How roundness was found; a source of nothing is a mistake.
fn roundness_source(section: &TomlSection) -> Result<Option<String>, ScrubFileError> {
    let Some(source) = section.text("roundness_source")? else { return Ok(None) };
    if !section.has("roundness") {
        return Err(section
            .error_at(source.offset, "roundness_source says where roundness comes from, which is missing; add it"));
    }
    Ok(Some(source.value))
}

fn default_tails(tables: &Tables) -> Tails {
    Tails::assumed(tables.constants.range_tail_pct.value)
}

/// The ways a size can be stated, as far as they are there.
struct SizeKeys {
    numbers: Vec<(String, f64)>,
    mesh: Option<At<String>>,
    range: Option<At<[f64; 2]>>,
    grit: Option<At<String>>,
    grade: Option<At<String>>,
    table: Vec<(TableKind, At<String>)>,
}

impl SizeKeys {
    fn read(size: &TomlSection) -> Result<Self, ScrubFileError> {
        let mut table = Vec::new();
        for kind in TableKind::ALL {
            table.extend(size.text(kind.key())?.map(|file| (kind, file)));
        }
        Ok(Self {
            numbers: size.numbers_where(is_number_key)?,
            mesh: size.text("mesh")?,
            range: size.pair("range_um")?,
            grit: size.text("grit")?,
            grade: size.text("grade")?,
            table,
        })
    }

    fn names(&self) -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        if !self.numbers.is_empty() {
            names.push(self.numbers.iter().map(|n| n.0.as_str()).collect::<Vec<_>>().join(", "));
        }
        names.extend(self.mesh.iter().map(|_| "mesh".to_owned()));
        names.extend(self.range.iter().map(|_| "range_um".to_owned()));
        names.extend(self.grit.iter().map(|_| "grit".to_owned()));
        names.extend(self.grade.iter().map(|_| "grade".to_owned()));
        names.extend(self.table.iter().map(|(kind, _)| kind.label().to_owned()));
        names
    }
}

fn is_number_key(key: &str) -> bool {
    LAW_KEYS.contains(&key) || (key.ends_with("_um") && percentile_of_key(key).is_some())
}

/// Reads a size, stated in any of its forms, and what the maker's own sieves leave of it.
pub(super) fn size_record(size: &TomlSection, beside: Beside, tables: &Tables) -> Result<SizeRecord, ScrubFileError> {
    let record = bought(size, beside, tables)?;
    let [through, over] = ["through_um", "over_um"].map(|key| unit(size, key, Micrometres::new));
    let Some(by) = Sieves::new(through?.map(Micrometres::get), over?.map(Micrometres::get)) else { return Ok(record) };
    let at = ["through_um", "over_um"].into_iter().find(|key| size.has(key)).unwrap_or("through_um");
    record.sieved(by).map_err(|e| size.error_of(at, format!("size: {e}")))
}

/// The size as the powder is bought.
fn bought(size: &TomlSection, beside: Beside, tables: &Tables) -> Result<SizeRecord, ScrubFileError> {
    let known: Vec<&str> = SIZE_KEYS.into_iter().chain(LAW_KEYS).chain(["d10_um", "d90_um"]).collect();
    let ranges = |key: &str| ranged_key(key).is_some_and(|k| is_number_key(k) || TAIL_KEYS.contains(&k));
    size.only(&known, |key| is_number_key(key) || ranges(key))?;
    let keys = SizeKeys::read(size)?;
    let series = mesh_series(size)?;
    let tails = tails(size, tables)?;
    let names = keys.names();
    if names.len() != 1 {
        let problem = match names.len() {
            0 => format!("size says nothing; {SIZE_FORMS}"),
            _ => format!("size is stated {} ways ({}); {SIZE_FORMS}", names.len(), names.join("; ")),
        };
        return Err(size.error(problem));
    }
    if tails.stated.contains(&true) && !keys.table.is_empty() {
        return Err(size.error("undersize_pct and oversize_pct go with a bound or a range in mesh or microns only"));
    }
    let max = size.number("max_um")?;
    if let Some(max) = max.filter(|_| !keys.table.iter().any(|t| t.0 == TableKind::Sieve)) {
        let problem = "max_um says how far the powder on the coarsest sieve reaches; it goes with sieve only";
        return Err(size.error_at(max.offset, problem));
    }
    let (spec, offset) = match keys {
        SizeKeys { mesh: Some(m), .. } => (Ok(SizeSpec::mesh(m.value, series)), m.offset),
        SizeKeys { range: Some(r), .. } => {
            (Ok(SizeSpec::Range { lower_um: r.value[0], upper_um: r.value[1] }), r.offset)
        }
        SizeKeys { grit: Some(g), .. } => (Ok(SizeSpec::Grit(g.value)), g.offset),
        SizeKeys { grade: Some(g), .. } => (SizeSpec::parse(&g.value), g.offset),
        SizeKeys { numbers, table, .. } => match table.into_iter().next() {
            Some((kind, file)) => {
                let record = table_record(size, kind, &file, beside, tables)?;
                return match max {
                    Some(max) => closed(size, &record, max, tables),
                    None => Ok(record),
                };
            }
            None => (SizeSpec::from_numbers(&numbers), size.offset()),
        },
    };
    let spec = spec.map_err(|e| size.error_at(offset, format!("size: {e}")))?;
    let spec = with_made(size, spec)?;
    spec.resolve(&tables.standards, tails).map_err(|e| size.error_at(offset, format!("size: {e}")))
}

/// A size of one figure with how the powder was made.
fn with_made(size: &TomlSection, spec: SizeSpec) -> Result<SizeSpec, ScrubFileError> {
    let Some(word) = size.text("made")? else { return Ok(spec) };
    let Some(made) = Making::of(&word.value) else {
        let hint = did_you_mean(&word.value, Making::ALL.iter().map(|m| m.key()));
        return Err(size.error_at(word.offset, format!("unknown made \"{}\"; {hint}", word.value)));
    };
    spec.made(made).map_err(|e| size.error_at(word.offset, e.to_string()))
}

/// The measured table that a powder's size names, as it is written.
pub(super) fn size_table(section: &TomlSection) -> Result<Option<String>, ScrubFileError> {
    let Some(Ok(size)) = section.section_or_text("size")? else { return Ok(None) };
    Ok(SizeKeys::read(&size)?.table.into_iter().next().map(|(_, at)| at.value))
}

fn mesh_series(size: &TomlSection) -> Result<MeshSeries, ScrubFileError> {
    let Some(word) = size.text("mesh_series")? else { return Ok(MeshSeries::default()) };
    MeshSeries::of(&word.value).ok_or_else(|| {
        let problem = format!("unknown mesh_series \"{}\"; write \"astm-e11\" or \"tyler\"", word.value);
        size.error_at(word.offset, problem)
    })
}

fn tails(size: &TomlSection, tables: &Tables) -> Result<Tails, ScrubFileError> {
    let [under, over] = TAIL_KEYS.map(|key| size.number(key).map(|pct| pct.map(|pct| pct.value)));
    Ok(Tails::stated_or(under?, over?, tables.constants.range_tail_pct.value))
}

/// A sieve table whose top is stated.
fn closed(
    size: &TomlSection,
    record: &SizeRecord,
    max: At<f64>,
    tables: &Tables,
) -> Result<SizeRecord, ScrubFileError> {
    let bound = Micrometres::new(max.value).map_err(|e| size.error_at(max.offset, format!("max_um: {e}")))?;
    record.closed_at(bound, &tables.standards).map_err(|e| size.error_at(max.offset, e.to_string()))
}

fn table_record(
    size: &TomlSection,
    kind: TableKind,
    file: &At<String>,
    beside: Beside,
    tables: &Tables,
) -> Result<SizeRecord, ScrubFileError> {
    let path = beside.path(&file.value);
    let wrap = |cause| ScrubFileError::SizeTable { place: size.place(file.offset), cause };
    let table = Tabular::read(&path, beside.files).map_err(|e| wrap(Box::new(e)))?;
    table::read_tabular(&table, Some(kind), &tables.standards).map_err(|e| match e {
        // A table's own place says more than the line that names it.
        SizeError::Table(located) => located.into(),
        other => wrap(Box::new(other)),
    })
}
