//! The powders and their blend.

use crate::blend::{Component, Scrub};
use crate::numerics::written::three;
use crate::powder::Powder;
use crate::report::confidence::BoughtPart;
use crate::report::document::{Grid, Section};
use crate::report::layout::{LaidRow, or_dash, row};
use crate::report::origins::of_property;
use crate::report::{BlendReport, ConfidenceReport, OriginPart, OriginsPart};
use crate::tables::Property;

pub fn powders(scrub: &Scrub, blend: &BlendReport) -> Section {
    let sizes = ["D10 µm", "D50 µm", "D90 µm", "D99 µm"];
    let named = ["Powder", "INCI", "Sizes from", "Lot", "% of the scrub"];
    let heads = [&named[..], &sizes, &["Share of the index %"]].concat();
    let grades = scrub.blend.components().iter().zip(&blend.powders).map(|(component, part)| {
        let powder = &component.powder;
        let inci = powder.inci().unwrap_or("not stated");
        let lot = powder.stock.lot.as_deref().unwrap_or("not stated");
        let share = component.mass * blend.scrub.powder_load_pct;
        let d99 = powder.size.distribution.quantile(0.99);
        let named = row(&part.name).and(inci).and(&part.size_basis).and(lot).three([share]);
        named.three([part.d10_um, part.d50_um, part.d90_um, d99]).percent([part.index_share_pct])
    });
    let grades = Grid::new("llllrrrrrr", &heads).captioned("Grades and shares").rows(grades);
    let heads = ["Powder", "Property", "Value", "Range", "Status", "Source"];
    let properties = Grid::new("llrrll", &heads).captioned("Grain properties");
    let properties = properties.rows(scrub.blend.components().iter().flat_map(property_rows));
    Section::new("powders", "The powders").table(grades).table(properties).list(blend.assumptions().collect())
}

/// A property as it is headed, with its unit.
pub fn label(property: Property) -> &'static str {
    match property {
        Property::Density => "density, g/cm³",
        Property::Hardness => "hardness, GPa",
        Property::Roundness => "roundness (Wadell)",
    }
}

/// A property and its range: the powder's own, or the materials table's where the value is.
pub fn value_and_range(powder: &Powder, property: Property) -> (String, String) {
    let range = |low, high| format!("{} to {}", three(low), three(high));
    let (value, _, own) = powder.property(property);
    let known = powder.material.as_ref().map(|m| m.known(property));
    let in_table = known.filter(|_| powder.in_table(property).is_some());
    let range = match (own, in_table) {
        (Some(own), _) => format!("{} (scrub file)", range(own.low, own.high)),
        (None, Some(known)) => range(known.low, known.high),
        (None, None) => String::new(),
    };
    (three(value), range)
}

fn property_rows(component: &Component) -> Vec<LaidRow> {
    let powder = &component.powder;
    let line = |label, range: String, part: OriginPart| {
        row(&powder.name).and(label).three([part.value]).and(range).and(part.status).and(part.source)
    };
    let own = Property::ALL
        .map(|property| line(label(property), value_and_range(powder, property).1, of_property(powder, property)));
    let soluble = OriginsPart::new(powder).soluble_g_per_100ml;
    let soluble = soluble.map(|s| line("solubility, g per 100 mL of water", String::new(), s));
    own.into_iter().chain(soluble).collect()
}

pub fn sizes(blend: &BlendReport) -> Section {
    let (by_volume, by_mass) = (&blend.blend.by_volume, &blend.blend.by_mass);
    let both = by_volume.listed().zip(by_mass.listed());
    let sizes = both.map(|((name, volume), (_, mass))| row(name).three([volume, mass]));
    let grid = Grid::new("lrr", &["Finer than it", "by volume (laser)", "by mass (sieves)"])
        .captioned("Sizes of the blend, µm")
        .rows(sizes.chain([row("span").three([by_volume.span, by_mass.span])]));
    let [mean_4_3, mean_3_2] = [blend.blend.mean_4_3_um, blend.blend.mean_3_2_um].map(|m| or_dash(m, 3));
    Section::new("sizes", "The blend").table(grid).text(format!(
        "Means by volume: D[4,3] {mean_4_3} µm, D[3,2] {mean_3_2} µm (ISO 9276-2). Density of the blend's solid: {} g/cm³.",
        three(blend.blend.density_g_cm3)
    ))
}

/// How roundness was found, of the powders whose file says so; none where none does.
pub fn roundness_found(scrub: &Scrub, sure: &ConfidenceReport) -> Option<Section> {
    let powders = scrub.blend.components().iter().map(|c| &c.powder);
    let line = |powder: &Powder| {
        let source = powder.roundness_source.as_ref()?;
        let (value, range) = value_and_range(powder, Property::Roundness);
        Some(row(&powder.name).and(value).and(range).and(source))
    };
    let rows: Vec<LaidRow> = powders.filter_map(line).collect();
    let heads = ["Powder", "Roundness", "Range", "Found by"];
    let grid = Grid::new("lrrl", &heads).captioned("Roundness that was measured").rows(rows);
    let section = Section::new("roundness", "How roundness was found").text(
        "A photograph is told by its SHA-256. It belongs into the product file, with the report that gritwise grains --report writes of it: \
         outlines, scale, counts and every grain.",
    );
    let is_told = !grid.rows.is_empty();
    is_told.then(|| section.table(grid).list(sure.bought.iter().map(BoughtPart::sentence).collect()))
}
