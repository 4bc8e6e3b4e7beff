//! What the pickers of the page offer, from the tables in force.

use crate::tables::{Known, Material, Tables};
use serde::Serialize;

#[derive(Debug, Serialize)]
pub(super) struct Pickers {
    materials: Vec<MaterialPart>,
    sieves: Vec<SievePart>,
    grits: Vec<String>,
    roundness: Vec<ClassPart>,
    bands: Vec<String>,
}

#[derive(Debug, Serialize)]
struct MaterialPart {
    key: String,
    name: String,
    origin: &'static str,
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
struct ClassPart {
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
                .map(|c| ClassPart { class: c.class.clone(), roundness: c.roundness })
                .collect(),
            bands: tables.bands.iter().map(|b| b.name.clone()).collect(),
        }
    }
}

fn material(m: &Material) -> MaterialPart {
    MaterialPart {
        key: m.key.clone(),
        name: m.name.clone(),
        origin: m.origin.key(),
        hardness_gpa: m.hardness_gpa.clone(),
        density_g_cm3: m.density_g_cm3.clone(),
        roundness: m.roundness.clone(),
        refused: m.refused_by.is_some(),
        note: m.note.clone(),
    }
}
