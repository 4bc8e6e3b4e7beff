//! The powders and their blend.

use crate::blend::{Component, Scrub};
use crate::report::document::{Align, Grid, Section};
use crate::report::layout::{percent, significant};
use crate::report::origins::of_property;
use crate::report::{BlendReport, OriginPart, OriginsPart};
use crate::tables::Property;

pub fn powders(scrub: &Scrub, blend: &BlendReport) -> Section {
    let mut section = Section::new("powders", "The powders");
    let right = Align::Right;
    let mut grades = Grid::new(
        "Grades and shares",
        &[
            ("Powder", Align::Left),
            ("INCI", Align::Left),
            ("Sizes from", Align::Left),
            ("Lot", Align::Left),
            ("% of the scrub", right),
            ("D10 µm", right),
            ("D50 µm", right),
            ("D90 µm", right),
            ("D99 µm", right),
            ("Share of the index %", right),
        ],
    );
    let mut properties = Grid::new(
        "Grain properties",
        &[
            ("Powder", Align::Left),
            ("Property", Align::Left),
            ("Value", right),
            ("Range", right),
            ("Status", Align::Left),
            ("Source", Align::Left),
        ],
    );
    for (component, part) in scrub.blend.components().iter().zip(&blend.powders) {
        let powder = &component.powder;
        let d = &powder.size.distribution;
        grades.row(vec![
            part.name.clone(),
            powder.material.as_ref().map_or_else(|| "not stated".to_owned(), |m| m.inci.clone()),
            part.size_basis.clone(),
            powder.stock.lot.clone().unwrap_or_else(|| "not stated".to_owned()),
            significant(component.mass * blend.scrub.powder_load_pct, 3),
            significant(part.d10_um, 3),
            significant(part.d50_um, 3),
            significant(part.d90_um, 3),
            significant(d.quantile(0.99), 3),
            percent(part.index_share_pct),
        ]);
        property_rows(component, &mut properties);
    }
    section.table(grades);
    section.table(properties);
    let assumed = blend.powders.iter().flat_map(|p| p.assumptions.iter().map(move |a| format!("{}: {a}", p.name)));
    section.list(assumed.collect());
    section
}

fn property_rows(component: &Component, grid: &mut Grid) {
    let powder = &component.powder;
    let range = |low: f64, high: f64| format!("{} to {}", significant(low, 3), significant(high, 3));
    let mut row = |label: &str, range: String, part: OriginPart| {
        let value = significant(part.value, 3);
        grid.row(vec![powder.name.clone(), label.to_owned(), value, range, part.status.to_owned(), part.source]);
    };
    for (property, label, own) in [
        (Property::Density, "density, g/cm³", powder.density.range),
        (Property::Hardness, "hardness, GPa", powder.hardness.range),
        (Property::Roundness, "roundness (Wadell)", powder.roundness.range),
    ] {
        let known = powder.material.as_ref().map(|m| m.known(property));
        let in_table = known.filter(|_| powder.in_table(property).is_some());
        let range = match (own, in_table) {
            (Some(own), _) => format!("{} (scrub file)", range(own.low, own.high)),
            (None, Some(known)) => range(known.low, known.high),
            (None, None) => String::new(),
        };
        row(label, range, of_property(powder, property));
    }
    if let Some(soluble) = OriginsPart::new(powder).soluble_g_per_100ml {
        row("solubility, g per 100 mL of water", String::new(), soluble);
    }
}

pub fn sizes(blend: &BlendReport) -> Section {
    let mut section = Section::new("sizes", "The blend");
    let (by_volume, by_mass) = (&blend.blend.by_volume, &blend.blend.by_mass);
    let mut grid = Grid::new(
        "Sizes of the blend, µm",
        &[("Finer than it", Align::Left), ("by volume (laser)", Align::Right), ("by mass (sieves)", Align::Right)],
    );
    for ((name, volume), (_, mass)) in by_volume.listed().into_iter().zip(by_mass.listed()) {
        grid.row(vec![name.to_owned(), significant(volume, 3), significant(mass, 3)]);
    }
    grid.row(vec!["span".to_owned(), significant(by_volume.span, 3), significant(by_mass.span, 3)]);
    section.table(grid);
    let mean = |m: Option<f64>| m.map_or("-".to_owned(), |v| significant(v, 3));
    section.text(format!(
        "Means by volume: D[4,3] {} µm, D[3,2] {} µm (ISO 9276-2). Density of the blend's solid: {} g/cm³.",
        mean(blend.blend.mean_4_3_um),
        mean(blend.blend.mean_3_2_um),
        significant(blend.blend.density_g_cm3, 3)
    ));
    section
}
