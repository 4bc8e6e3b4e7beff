//! Whether the scrub still flows with its grains in.

use super::super::packing;
use super::{Check, Finding, OWN, Setting, known, listed, number};
use crate::blend::{Blend, Component};
use crate::formula::Kind;
use crate::formula::dissolution::InJar;
use crate::tables::{FormulaConstants, Known};
use crate::units::Parts;

pub(super) fn check(s: &Setting) -> Check {
    let finding = match (s.formula.usage.kind, s.is_no_solid()) {
        (Some(Kind::Dry), Some(contradiction)) if s.is_dry() => contradiction,
        (Some(Kind::Dry), None) => Finding::pass("a dry scrub need not flow as a paste does", OWN),
        _ => finding(s),
    };
    let findings = [finding].into_iter().chain(listed::solid(s));
    Check::from_findings("solids", "% by volume", findings.collect())
}

fn finding(s: &Setting) -> Finding {
    let Some(share) = s.formula.solids_share(&s.solids_pct()) else {
        return Finding::missing("give density_g_cm3 in [base]");
    };
    let Some(Bed { blend, densest }) = &s.bed else {
        return Finding::pass("no solid grains are left in the jar", OWN);
    };
    let constants = s.constants();
    let thicker = packing::relative_viscosity(share, *densest, packing::intrinsic_viscosity(blend, constants));
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
pub(super) struct Bed {
    blend: Blend,
    /// Its densest random packing, 0..1.
    pub densest: f64,
}

impl Bed {
    /// `None` where no grains are left.
    pub fn new(blend: &Blend, jar: &[InJar], constants: &FormulaConstants<Known>) -> Option<Self> {
        let solid = |(c, jar): (&Component, &InJar)| Some((c.powder.clone(), Parts::new(jar.solid_pct).ok()?));
        let blend = Blend::new(blend.components().iter().zip(jar).filter_map(solid).collect()).ok()?;
        Some(Self { densest: packing::of_blend(&blend, constants), blend })
    }
}
