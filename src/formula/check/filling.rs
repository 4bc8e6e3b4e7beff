//! Whether grains pass the opening, and whether the fill goes into the container.

use super::{Check, Finding, OWN, Setting, known, number};
use crate::blend::Basis;

pub(super) fn check(s: &Setting) -> Check {
    Check::from_findings("filling", "times D99", vec![orifice(s), volume(s)])
}

fn orifice(s: &Setting) -> Finding {
    let fill = &s.formula.fill;
    let constants = s.constants();
    let Some(orifice) = fill.orifice.map(|o| o.get()) else {
        return if fill.jar {
            Finding::pass("a jar: no opening that grains could clog", OWN)
        } else {
            Finding::missing("give orifice_mm, or jar = true, in [fill]")
        };
    };
    let scrub = s.formula.scrub();
    let d99 = scrub.blend.quantile(Basis::Volume, 0.99);
    let ratio = 1000.0 * orifice / d99;
    let round: f64 = scrub.blend.components().iter().map(|c| c.volume * c.powder.roundness.get()).sum();
    let angular = round < 0.5 * (constants.roundness_angular.value + constants.roundness_sphere.value);
    let free = if angular { &constants.orifice_ratio_angular } else { &constants.orifice_ratio };
    let clogs = &constants.clogging_ratio;
    let grains = if angular { "angular" } else { "round" };
    let what = format!("{orifice} mm is {} times the D99 of {} µm, {grains} grains", number(ratio), number(d99));
    let solids: f64 = s.solids_pct().iter().sum();
    let many = &constants.orifice_solids_pct;
    if ratio < clogs.value {
        Finding::stop(format!("{what}: it clogs"), known(clogs)).of(ratio, clogs.value)
    } else if ratio < free.value {
        Finding::caution(format!("{what}: it may clog; {} times is safe", number(free.value)), known(free))
            .of(ratio, free.value)
    } else if solids >= many.value {
        let why = format!("{what}, but {} % solids bridge more easily: a jar is better", number(solids));
        Finding::caution(why, known(many)).of(ratio, free.value)
    } else {
        Finding::pass(format!("{what}: clogging is rare"), known(free)).of(ratio, free.value)
    }
}

fn volume(s: &Setting) -> Finding {
    let fill = &s.formula.fill;
    let headspace = &s.constants().headspace_pct;
    let Some(container) = fill.container.map(|c| c.get()) else {
        return Finding::missing("give container_ml in [fill]");
    };
    let room = container * (1.0 - headspace.value / 100.0);
    let density = s.formula.density_g_cm3();
    let holds = density.map_or(String::new(), |d| format!(", {} g", number(room * d)));
    let room_for = format!(
        "{} mL to the brim hold {} mL{holds} under {} % of headspace",
        number(container),
        number(room),
        number(headspace.value)
    );
    let net = match (fill.net_volume, fill.net_mass, density) {
        (Some(volume), _, _) => Some(volume.get()),
        (None, Some(mass), Some(density)) => Some(mass.get() / density),
        (None, Some(_), None) => return Finding::missing("give density_g_cm3 in [base], so that net_g has a volume"),
        (None, None, _) => None,
    };
    match net {
        None => Finding::pass(room_for, known(headspace)),
        Some(net) if net > container => Finding::stop(format!("{} mL do not go into {container} mL", number(net)), OWN),
        Some(net) if net > room => Finding::caution(format!("{} mL: {room_for}", number(net)), known(headspace)),
        Some(net) => Finding::pass(format!("{} mL go in: {room_for}", number(net)), known(headspace)),
    }
}
