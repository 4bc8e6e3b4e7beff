//! What the pickers of the page offer, from the tables in force.

use crate::formula::{Function, Kind};
use crate::tables::{Known, Material, Tables};
use serde::Serialize;

#[derive(Debug, Serialize)]
pub(super) struct Pickers {
    materials: Vec<MaterialPart>,
    sieves: Vec<SievePart>,
    grits: Vec<String>,
    roundness: Vec<ClassShown>,
    bands: Vec<String>,
    acids: Vec<NamePart>,
    preservatives: Vec<NamePart>,
    functions: Vec<&'static str>,
    kinds: Vec<&'static str>,
    regions: Vec<String>,
}

#[derive(Debug, Serialize)]
struct NamePart {
    key: String,
    name: String,
}

#[derive(Debug, Serialize)]
struct MaterialPart {
    key: String,
    name: String,
    inci: String,
    origin: &'static str,
    /// What else it is known by: flags of the materials table.
    tags: Vec<String>,
    /// Why the trade keeps it off the face, where it does.
    not_on_face: Option<String>,
    hardness_gpa: Known,
    density_g_cm3: Known,
    roundness: Known,
    refused: bool,
    note: String,
}

#[derive(Debug, Serialize)]
struct SievePart {
    mesh: String,
    opening_um: f64,
}

#[derive(Debug, Serialize)]
struct ClassShown {
    class: String,
    roundness: f64,
}

impl Pickers {
    pub fn new(tables: &Tables) -> Self {
        let sieves = tables.standards.astm.iter();
        Self {
            materials: tables.materials.iter().map(material).collect(),
            sieves: sieves.map(|s| SievePart { mesh: s.mesh.clone(), opening_um: s.opening_um }).collect(),
            grits: tables.standards.grits.iter().map(|g| g.name.clone()).collect(),
            roundness: tables
                .roundness
                .iter()
                .map(|c| ClassShown { class: c.class.clone(), roundness: c.roundness })
                .collect(),
            bands: tables.bands.iter().map(|b| b.name.clone()).collect(),
            acids: tables.formula.acids.iter().map(|a| NamePart { key: a.key.clone(), name: a.name.clone() }).collect(),
            preservatives: tables
                .formula
                .preservatives
                .iter()
                .map(|p| NamePart { key: p.key.clone(), name: p.inci.clone() })
                .collect(),
            functions: Function::ALL.iter().map(|f| f.key()).collect(),
            kinds: Kind::ALL.iter().map(|k| k.key()).collect(),
            regions: tables.substances.regions.iter().map(|r| r.region.clone()).collect(),
        }
    }
}

fn material(m: &Material) -> MaterialPart {
    MaterialPart {
        key: m.key.clone(),
        name: m.name.clone(),
        inci: m.inci.clone(),
        origin: m.origin.key(),
        tags: m.flags.clone(),
        not_on_face: m.not_on_face().map(str::to_owned),
        hardness_gpa: m.hardness_gpa.clone(),
        density_g_cm3: m.density_g_cm3.clone(),
        roundness: m.roundness.clone(),
        refused: m.refused_by.is_some(),
        note: m.note.clone(),
    }
}
