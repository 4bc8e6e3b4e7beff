//! Soluble grains: what is left of them in the jar, and what the rub does with the rest.

use super::super::Formula;
use super::super::dissolution::{DissolvingScrub, RubConditions, Solubility, mass_transfer_um_s};
use super::{Check, Finding, OWN, Setting, Verdict, known, number};
use crate::blend::Component;
use crate::tables::Tables;

/// Solubility, g in 100 mL, under which grains are taken as insoluble.
const INSOLUBLE: f64 = 0.1;

/// Diffusivity of a solute that the table does not hold, 1e-9 m²/s: small molecules and salts have 0.5 to 2.
const USUAL_DIFFUSIVITY: f64 = 1.0;

/// What each powder needs to dissolve; `None` for insoluble grains.
pub(super) fn solubilities(formula: &Formula, tables: &Tables) -> Vec<Option<Solubility>> {
    let of = |c: &Component| {
        let material = c.powder.material.as_ref()?;
        let jar_g_per_100g = material.soluble_g_per_100ml.filter(|g| *g >= INSOLUBLE)?;
        let solute = tables.formula.solutes.iter().find(|s| s.material == material.key);
        // Without a row the solubility in the jar has to do: g in 100 g of water to g in a litre of solution.
        let from_jar = 1000.0 * jar_g_per_100g / (100.0 + jar_g_per_100g / c.powder.density.get());
        let transfer_um_s = mass_transfer_um_s(
            c.powder.size.distribution.quantile(0.5),
            solute.map_or(USUAL_DIFFUSIVITY, |s| s.diffusivity_1e9),
            tables.formula.constants.slip_speed_m_s.value,
            tables.formula.constants.skin_water_viscosity_mpa_s.value,
        );
        let rub_g_per_l = solute.map_or(from_jar, |s| s.saturated_g_per_l);
        Some(Solubility { jar_g_per_100g, rub_g_per_l, transfer_um_s })
    };
    formula.scrub().blend.components().iter().map(of).collect()
}

/// The scrub with what dissolves.
pub(super) fn dissolving<'a>(formula: &'a Formula, tables: &Tables) -> DissolvingScrub<'a> {
    let constants = &tables.formula.constants;
    let conditions = RubConditions {
        seconds: constants.rub_s.value,
        skin_water: constants.rub_water_g_per_g.value,
        own_water: formula.water_pct() / 100.0,
        corner_growth: constants.corner_growth.value,
    };
    DissolvingScrub::new(formula.scrub(), &solubilities(formula, tables), conditions)
}

pub(super) fn check(s: &Setting, index: Option<f64>) -> Check {
    let unknown = s.named(|p| p.material.is_none());
    let unknown =
        unknown.map(|names| Finding::missing(format!("whether {names} dissolves is not known; name its material")));
    if !s.soluble {
        let finding = unknown.unwrap_or_else(|| Finding::pass("no powder dissolves", OWN));
        return Check::from_findings("soluble", "% dissolved", vec![finding]);
    }
    if !s.has_phases() {
        let names = s.named(|p| p.material.as_ref().is_some_and(|m| m.soluble_g_per_100ml >= Some(INSOLUBLE)));
        let why = format!(
            "{} dissolves in water; add [[phase]] with its ingredients, so that the water in the jar is known",
            names.unwrap_or_default()
        );
        return Check::from_findings("soluble", "% dissolved", vec![Finding::missing(why)]);
    }
    let mut findings: Vec<Finding> = unknown.into_iter().collect();
    let mut some_left = false;
    for (place, solubility) in solubilities(s.formula, s.tables).into_iter().enumerate() {
        if let Some(solubility) = solubility {
            findings.push(powder(s, place, solubility));
            some_left |= s.jar[place].solid_pct > 0.0;
        }
    }
    let speed = &s.constants().slip_speed_m_s;
    if let Some(index) = index.filter(|_| some_left) {
        let why = format!(
            "over {} s of rubbing they shrink (cube-root law of Hixson and Crowell, rate by Ranz and Marshall at {} m/s, an \
             estimate): index {} with dissolution",
            number(s.constants().rub_s.value),
            number(speed.value),
            number(index)
        );
        findings.push(Finding::new(Verdict::Pass, why, known(speed)));
    }
    Check::from_findings("soluble", "% dissolved", findings)
}

fn powder(s: &Setting, place: usize, solubility: Solubility) -> Finding {
    let c = &s.formula.scrub().blend.components()[place];
    let jar = s.jar[place];
    let name = &c.powder.name;
    let share = 100.0 * jar.dissolved_pct / (jar.dissolved_pct + jar.solid_pct);
    let limit = &s.constants().dissolved_pct;
    let water = number(s.formula.water_pct());
    // The salts share the water; each is reckoned as if alone, which is on the safe side.
    let takes = format!("{} g in 100 g of water at 25 °C, {water} % water", number(solubility.jar_g_per_100g));
    let material = c.powder.material.as_ref();
    let source =
        material.and_then(|m| m.soluble_origin.as_ref()).map_or(OWN, |o| (o.status.label(), o.source.as_str()));
    if jar.solid_pct <= 0.0 {
        let why = format!("{name} dissolves in the jar whole ({takes}): no grains are left");
        return Finding::stop(why, source).of(share, limit.value);
    }
    let what = format!(
        "{name}: {} % of the scrub dissolves in the jar ({takes}), {} % stays, its grains {} µm smaller",
        number(jar.dissolved_pct),
        number(jar.solid_pct),
        number(jar.loss_um)
    );
    match share > limit.value {
        true => Finding::caution(what + "; weigh in more, or a saturated water phase", source).of(share, limit.value),
        false => Finding::pass(what, source).of(share, limit.value),
    }
}
