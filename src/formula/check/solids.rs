//! Whether the scrub still flows with its grains in.

use super::super::packing;
use super::{Check, Finding, OWN, Setting, known, listed, number};
use crate::blend::Blend;
use crate::formula::Kind;
use crate::units::Parts;

pub(super) fn check(s: &Setting) -> Check {
    let finding = match s.formula.usage.kind {
        Some(Kind::Dry) => Finding::pass("a dry scrub need not flow as a paste does", OWN),
        _ => finding(s),
    };
    let findings = [finding].into_iter().chain(listed::solid(s));
    Check::from_findings("solids", "% by volume", findings.collect())
}

fn finding(s: &Setting) -> Finding {
    let solids = s.solids_pct();
    let Some(share) = s.formula.solids_share(&solids) else {
        return Finding::missing("give density_g_cm3 in [base]");
    };
    let Some(blend) = in_jar(s, &solids) else {
        return Finding::pass("no solid grains are left in the jar", OWN);
    };
    let constants = s.constants();
    let densest = packing::of_blend(&blend, constants);
    let thicker = packing::relative_viscosity(share, densest, packing::intrinsic_viscosity(&blend, constants));
    let base = s.formula.base.viscosity.map_or(String::new(), |v| {
        format!(" (base {} Pa·s, scrub about {})", number(v.get()), number(v.get() * thicker))
    });
    let why = format!(
        "grains take {} % of the volume, of {} % at their densest (linear packing model); they thicken the base {} times{base}",
        number(100.0 * share),
        number(100.0 * densest),
        number(thicker)
    );
    let (stiff, full) = (&constants.stiff_share, &constants.full_share);
    let held = |limit: f64| (100.0 * share, Some(100.0 * densest * limit));
    let filled = share / densest;
    let (finding, (value, limit)) = if filled >= full.value {
        (Finding::stop(why + ": too dry to flow", known(full)), held(full.value))
    } else if filled >= stiff.value {
        (Finding::caution(why + ": stiff, for a jar and a spatula", known(stiff)), held(stiff.value))
    } else {
        (Finding::pass(why + ": it flows as its base does", known(stiff)), held(stiff.value))
    };
    finding.of(value, limit)
}

/// The grains that are solid in the jar, their sizes as weighed in; what little they shrink does not matter here.
pub(super) fn in_jar(s: &Setting, solids: &[f64]) -> Option<Blend> {
    let components = s.formula.scrub().blend.components().iter().zip(solids);
    let solid = components.filter_map(|(c, pct)| Some((c.powder.clone(), Parts::new(*pct).ok()?)));
    Blend::new(solid.collect()).ok()
}
