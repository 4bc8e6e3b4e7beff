//! Whether the largest grains stay where they are on the shelf.

use super::super::settling::{Fall, share_of_yield_number, yield_stress};
use super::{Check, Finding, OWN, Setting, known, number};
use crate::blend::Component;

const SECONDS_PER_DAY: f64 = 86_400.0;

/// The grains of a powder that move first: its D99 as it lies in the jar.
struct Grains<'a> {
    component: &'a Component,
    diameter: f64,
    /// Density beyond that of the base, kg/m³.
    excess: f64,
}

impl Grains<'_> {
    fn goes(&self) -> &'static str {
        if self.excess < 0.0 { "rises" } else { "sinks" }
    }
}

pub(super) fn check(s: &Setting) -> Check {
    Check::from_findings("suspension", "Pa", vec![finding(s)])
}

fn finding(s: &Setting) -> Finding {
    let base = &s.formula.base;
    let Some(density) = s.formula.base_density_g_cm3() else {
        return Finding::missing("give density_g_cm3 and yield_stress_pa (or viscosity_pa_s) in [base]");
    };
    let solids = s.jar.iter().zip(s.formula.scrub().blend.components());
    let grains = solids.filter(|(jar, _)| jar.solid_pct > 0.0).map(|(jar, component)| Grains {
        component,
        diameter: (component.powder.size.distribution.quantile(0.99) - jar.loss_um).max(0.0) * 1e-6,
        excess: 1000.0 * (component.powder.density.get() - density),
    });
    let grains: Vec<Grains> = grains.collect();
    let pull = |g: &&Grains| g.diameter * g.excess.abs();
    let Some(worst) = grains.iter().max_by(|a, b| pull(a).total_cmp(&pull(b))) else {
        return Finding::pass("no solid grains are left in the jar", OWN);
    };
    let moves = moving(s, &grains, density);
    match (base.yield_stress, moves) {
        (Some(stress), moves) => held(s, worst, stress.get(), moves),
        (None, Some(moves)) => moves,
        (None, None) => Finding::missing("give yield_stress_pa, or viscosity_pa_s, in [base]"),
    }
}

fn held(s: &Setting, worst: &Grains, stress: f64, moves: Option<Finding>) -> Finding {
    let constants = s.constants();
    let gravity = constants.gravity_m_s2.value;
    let needed = |share: f64| yield_stress(share, worst.diameter, worst.excess, gravity);
    let theory = needed(share_of_yield_number(constants.beris_number.value));
    let practice = needed(constants.practical_yield.value);
    let name = &worst.component.powder.name;
    let what = format!(
        "worst is {name}: D99 {} µm, {} g/cm³ {} than the base, {}",
        number(1e6 * worst.diameter),
        number(worst.excess.abs() / 1000.0),
        if worst.excess < 0.0 { "lighter" } else { "heavier" },
        worst.goes()
    );
    let needs = format!("it takes {} Pa by theory and {} Pa in practice to hold it", number(theory), number(practice));
    if stress < theory {
        let moves = moves.map_or(String::new(), |f| format!("; {}", f.why));
        Finding::stop(format!("{what}; {needs}{moves}"), known(&constants.beris_number)).of(stress, theory)
    } else if stress < practice {
        let why = format!("{what}; {needs}: store it at 40 °C upright and upside down before you rely on it");
        Finding::caution(why, known(&constants.practical_yield)).of(stress, practice)
    } else {
        let why = format!("{what}; {needs}. Yield stress falls in the heat: test at 40 °C");
        Finding::pass(why, known(&constants.practical_yield)).of(stress, practice)
    }
}

/// Without a yield stress that holds them the grains move, however thick the base is; the fastest are told.
fn moving(s: &Setting, grains: &[Grains], density: f64) -> Option<Finding> {
    let constants = s.constants();
    let viscosity = s.formula.base.viscosity?.get();
    let solids = s.formula.solids_share(&s.solids_pct())?;
    let mm_a_day = |g: &Grains| {
        let gravity = constants.gravity_m_s2.value;
        let fall = Fall { diameter: g.diameter, excess: g.excess, base: 1000.0 * density, viscosity, gravity };
        1000.0 * fall.hindered(solids) * SECONDS_PER_DAY
    };
    let speeds = grains.iter().map(|g| (g, mm_a_day(g)));
    let (fastest, speed) = speeds.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let days = s.formula.fill.shelf_days.unwrap_or(constants.shelf_days.value);
    let limit = &constants.settled_mm;
    let why = format!(
        "without a yield stress {} {} {} mm a day at {viscosity} Pa·s, where {} mm in {} days may pass",
        fastest.component.powder.name,
        fastest.goes(),
        number(speed),
        number(limit.value),
        number(days)
    );
    let way = speed * days;
    let finding = if way > limit.value { Finding::stop } else { Finding::pass };
    Some(finding(why, known(limit)).of(way, limit.value).unit("mm"))
}
