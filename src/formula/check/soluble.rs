//! Soluble grains: what is left of them in the jar, and what the rub does with the rest.

use super::super::dissolution::Solubility;
use super::super::on_skin::{OverTheRub, solubilities};
use super::{Check, CheckVerdict, Finding, OWN, Setting, known, listed, number};

pub(super) fn check(s: &Setting, over_the_rub: Option<OverTheRub>) -> Check {
    let mut findings = findings(s, over_the_rub);
    findings.extend(listed::soluble(s));
    Check::from_findings("soluble", "% dissolved", findings)
}

fn findings(s: &Setting, over_the_rub: Option<OverTheRub>) -> Vec<Finding> {
    let unknown = s.named(|p| p.material.is_none());
    let unknown =
        unknown.map(|names| Finding::missing(format!("whether {names} dissolves is not known; name its material")));
    if !s.soluble {
        let finding = unknown.unwrap_or_else(|| Finding::pass("no powder dissolves", OWN));
        return vec![finding];
    }
    if !s.has_phases() {
        let names = s.named(|p| p.solubility_g_per_100ml().is_some());
        let why = format!(
            "{} dissolves in water; add [[phase]] with its ingredients, so that the water in the jar is known",
            names.unwrap_or_default()
        );
        return vec![Finding::missing(why)];
    }
    let mut findings: Vec<Finding> = unknown.into_iter().chain(s.untold_water()).collect();
    let mut some_left = false;
    for (place, solubility) in solubilities(s.formula.scrub(), s.tables).into_iter().enumerate() {
        if let Some(solubility) = solubility {
            findings.push(powder(s, place, solubility));
            some_left |= s.jar[place].solid_pct > 0.0;
        }
    }
    let speed = &s.constants().slip_speed_m_s;
    if let Some(index) = over_the_rub.filter(|_| some_left) {
        let why = format!(
            "over {} s of rubbing they shrink (cube-root law of Hixson and Crowell, rate by Ranz and Marshall at {} m/s, an \
             estimate): index {} ({} to {}) over the whole rub",
            number(s.constants().rub_s.value),
            number(speed.value),
            number(index.value),
            number(index.low),
            number(index.high)
        );
        findings.push(Finding::new(CheckVerdict::Pass, why, known(speed)));
    }
    findings
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
    let source = material.and_then(|m| m.soluble_origin.as_ref()).map_or(OWN, |o| (o.status, o.source.as_str()));
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
    if share > limit.value {
        Finding::caution(what + "; weigh in more, or a saturated water phase", source).of(share, limit.value)
    } else {
        Finding::pass(what, source).of(share, limit.value)
    }
}
