//! What would go wrong with a powder in a scrub that is otherwise as it is.

use super::by_name::is_called_carbonate;
use super::content::is_acid;
use super::{Formula, Kind, packing, volume_share};
use crate::blend::Scrub;
use crate::powder::Powder;
use crate::source::Spelled;
use crate::tables::{ListKind, Tables};

/// What would go wrong with powders that go into a scrub, each with its name. A powder that the scrub holds goes in with its own phase, others with that
/// of the first powder.
pub fn misfits_of(formula: &Formula, powders: &Scrub, tables: &Tables) -> Vec<String> {
    let all = powders.blend.components().iter().map(|c| &c.powder);
    let wrong = |powder: &Powder| {
        let name = powder.name.clone();
        misfits_of_powder(formula, powder, tables).into_iter().map(move |what| format!("{name}: {what}"))
    };
    all.flat_map(wrong).collect()
}

/// The same of one powder, without its name.
pub fn misfits_of_powder(formula: &Formula, powder: &Powder, tables: &Tables) -> Vec<String> {
    let own = formula.powders().position(|(c, _)| c.powder.name == powder.name);
    misfits(formula, powder, own.unwrap_or(0), tables)
}

/// Each thing that would go wrong in words, where the powder went in with the phase of the powder at `place`; empty where nothing is known to.
pub fn misfits(formula: &Formula, powder: &Powder, place: usize, tables: &Tables) -> Vec<String> {
    let water = formula.water_pct();
    let has_acid = formula.acid.is_some() || formula.substances().any(|s| is_acid(&s, &tables.formula));
    let is_sour = has_acid || formula.ph().is_some_and(|ph| ph < 6.0);
    let flagged = |flag: &str| powder.is_flagged(flag);
    let mut wrong = Vec::new();
    let mut tell = |holds: bool, what: String| holds.then(|| wrong.push(what));
    tell(flagged("acid-reacts") && is_sour, "fizzes with the acid here and uses it up".to_owned());
    // By its name, where nothing is known of its material.
    let by_name = powder.material.is_none() && is_called_carbonate(powder, &tables.formula);
    tell(by_name && is_sour, "a carbonate by its name: fizzes with the acid here and uses it up".to_owned());
    tell(
        powder.material.is_none() && !by_name && is_sour,
        "of no material of the table: whether it takes up acid, dissolves or swells here is not known".to_owned(),
    );
    tell(flagged("alkaline") && is_sour, "makes the water here alkaline: pH and preservative fail".to_owned());
    tell(flagged("dissolves") && water > 0.0, format!("dissolves in the {water:.0} % of water here"));
    tell(flagged("swells") && water > 0.0, "swells and softens in the water here".to_owned());
    tell(flagged("silica-dust-high"), "crystalline silica in its dust".to_owned());
    let phase = formula.places().get(place).and_then(|p| p.phase).and_then(|i| formula.phases().get(i));
    let softens = powder.material.as_ref().and_then(|m| m.wax_softens_c());
    if let Some((softens, temperature)) = softens.zip(phase.and_then(|p| p.temperature)) {
        let temperature = temperature.get();
        let margin = tables.formula.constants.wax_margin_c.value;
        tell(
            temperature > softens - margin,
            format!("softens near {softens:.0} °C, its phase here has {temperature:.0} °C"),
        );
    }
    wrong.extend(prohibited(formula, powder, tables));
    wrong
}

/// That a scrub with these powders in place of its own would not flow, in words. Without the density of its base that of water is taken.
pub fn too_full(formula: &Formula, powders: &Scrub, tables: &Tables) -> Option<String> {
    const WATER_G_CM3: f64 = 1.0;
    let constants = &tables.formula.constants;
    let grains = powders.blend.components().iter().map(|c| (c, powders.load.get() * c.mass));
    let share = volume_share(grains, formula.base_density_g_cm3().unwrap_or(WATER_G_CM3));
    let densest = packing::of_blend(&powders.blend, constants);
    let is_dry = formula.usage.kind == Some(Kind::Dry);
    (!is_dry && share >= constants.full_share.value * densest).then(|| {
        format!(
            "too dry to flow: grains would take {:.0} % of the volume, of {:.0} % at their densest",
            100.0 * share,
            100.0 * densest
        )
    })
}

/// The lists that prohibit a powder where the scrub is sold.
fn prohibited(formula: &Formula, powder: &Powder, tables: &Tables) -> Option<String> {
    let words = Spelled::new(&format!("{} {}", powder.name, powder.inci().unwrap_or_default()));
    let entries = tables.substances.in_force(&formula.usage.regions, formula.usage.on_market);
    let prohibiting = entries.filter(|e| e.list == ListKind::Prohibited && e.is(&words));
    let mut regions: Vec<&str> = prohibiting.map(|e| e.region.as_str()).collect();
    regions.dedup();
    (!regions.is_empty()).then(|| format!("prohibited in cosmetics: {}", regions.join(", ")))
}
