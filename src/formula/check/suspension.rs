//! Whether the largest grains stay where they are on the shelf; and, of a bed of grains, what stands above it.

use super::super::settling::{Fall, share_of_yield_number, slump_stress, yield_stress};
use super::{Check, CheckVerdict, Finding, OWN, Setting, known, number};
use crate::blend::Component;
use crate::formula::{Function, Ingredient, Kind};
use crate::tables::{Status, Thickener};

const SECONDS_PER_HOUR: f64 = 3_600.0;
const HOURS_PER_DAY: f64 = 24.0;

/// The grains of a powder that move first: its D99 as it lies in the jar.
struct FirstToMove<'a> {
    component: &'a Component,
    diameter: f64,
    /// Density beyond that of the base, kg/m³.
    excess: f64,
}

impl FirstToMove<'_> {
    fn goes(&self) -> &'static str {
        if self.excess < 0.0 { "rises" } else { "sinks" }
    }
}

/// A yield stress, Pa, with its range and what it was made from.
struct Stress<'a> {
    value: f64,
    low: f64,
    high: f64,
    says: String,
    /// Whether it was measured, by whatever means; what a gum usually gives is no more than a reason to try.
    is_measured: bool,
    known: (Status, &'a str),
}

/// The source of the two home tests.
const BEAD: (Status, &str) = (
    Status::Published,
    "a bead that just does not sink: yield number 0.143 (Beris and others 1985) up to the 0.2 d |drho| g of experiments",
);
const SLUMP: (Status, &str) =
    (Status::Published, "slump of a cylinder (Pashias, Boger, Summers and Glenister 1996, J. Rheol. 40, 1179)");

pub(super) fn check(s: &Setting) -> Check {
    let findings = match (s.formula.usage.kind, s.is_no_solid()) {
        (_, Some(contradiction)) if s.is_dry() => vec![contradiction],
        (_, Some(contradiction)) => vec![contradiction, finding(s)],
        (Some(Kind::Dry), None) => vec![Finding::pass("a dry scrub: nothing goes down or up in it", OWN)],
        (Some(Kind::Balm), None) => {
            vec![Finding::pass("a balm, solid at rest, holds its grains; stir while it sets", OWN)]
        }
        _ => vec![finding(s)],
    };
    Check::from_findings("suspension", "Pa", findings)
}

fn finding(s: &Setting) -> Finding {
    let Some(density) = s.formula.base_density_g_cm3() else {
        return Finding::missing("give density_g_cm3 and yield_stress_pa (or viscosity_pa_s) in [base]");
    };
    let solids = s.jar.iter().zip(s.formula.scrub().blend.components());
    let grains = solids.filter(|(jar, _)| jar.solid_pct > 0.0).map(|(jar, component)| FirstToMove {
        component,
        diameter: (component.powder.size.distribution.quantile(0.99) - jar.loss_um).max(0.0) * 1e-6,
        excess: 1000.0 * (component.powder.density.get() - density),
    });
    let grains: Vec<FirstToMove> = grains.collect();
    let pull = |g: &&FirstToMove| g.diameter * g.excess.abs();
    let Some(worst) = grains.iter().max_by(|a, b| pull(a).total_cmp(&pull(b))) else {
        return Finding::pass("no solid grains are left in the jar", OWN);
    };
    let moves = moving(s, &grains, density);
    match (stress(s, density), moves) {
        (Some(stress), moves) => held(s, worst, &stress, moves),
        (None, Some(moves)) => match unknown_thickener(s).filter(|_| moves.verdict == CheckVerdict::Stop) {
            Some(name) => Finding::missing(format!(
                "what yield stress {name} gives is not in the thickeners table; {}: measure yield_stress_pa, or try a bead",
                moves.why
            )),
            None => moves,
        },
        (None, None) => Finding::missing(
            "give yield_stress_pa, or viscosity_pa_s, in [base]; without a rheometer bead = { mm, density_g_cm3 } of one that just \
             does not sink, or slump = { height_mm, slump_mm }",
        ),
    }
}

/// The yield stress of the base: as stated, by a home test, or by its thickener.
fn stress<'a>(s: &'a Setting, density: f64) -> Option<Stress<'a>> {
    let base = &s.formula.base;
    let constants = s.constants();
    let gravity = constants.gravity_m_s2.value;
    if let Some(stated) = base.yield_stress {
        let value = stated.get();
        return Some(Stress { value, low: value, high: value, says: String::new(), is_measured: true, known: OWN });
    }
    // One that is lighter than the base would not sink in water.
    if let Some(bead) = base.bead.filter(|bead| bead.density.get() > density) {
        let excess = 1000.0 * (bead.density.get() - density);
        let at = |share: f64| yield_stress(share, 1e-3 * bead.diameter.get(), excess, gravity);
        let low = at(share_of_yield_number(constants.beris_number.value));
        let (value, high) = (at(constants.practical_yield.value), at(constants.practical_yield.high));
        let says = format!("by the bead that just stays {} to {} Pa", number(low), number(high));
        return Some(Stress { value, low, high, says, is_measured: true, known: BEAD });
    }
    if let Some(test) = base.slump {
        let value = slump_stress(1000.0 * density, 1e-3 * test.height.get(), 1e-3 * test.slump.get(), gravity)?;
        let says = format!("by its slump {} Pa", number(value));
        let off = 1.0 + constants.slump_off_pct.value / 100.0;
        return Some(Stress { value, low: value / off, high: value * off, says, is_measured: true, known: SLUMP });
    }
    of_thickener(s)
}

/// A thickener that the table does not hold.
fn unknown_thickener<'a>(s: &'a Setting) -> Option<&'a str> {
    let known = |i: &Ingredient| s.tables.formula.thickeners.iter().any(|row| i.is_inci(&row.inci));
    let mut all = s.formula.ingredients().map(|(_, i)| i).filter(|i| i.is(Function::Thickener));
    all.find(|i| !known(i)).map(|i| i.name.as_str())
}

/// What the strongest thickener of the table gives its water.
fn of_thickener<'a>(s: &'a Setting) -> Option<Stress<'a>> {
    let water = s.formula.water_pct();
    let of = |row: &'a Thickener| {
        let own = s.formula.substances().filter(|i| i.is_inci(&row.inci));
        let pct = 100.0 * own.map(|i| i.pct()).sum::<f64>() / water;
        if pct.is_nan() || pct <= 0.0 {
            return None;
        }
        // Beyond what was measured it gives no less.
        let counted = pct.min(row.most_pct);
        let holds = s.formula.ph().is_none_or(|ph| (row.ph_low..=row.ph_high).contains(&ph)) && pct >= row.least_pct;
        let [value, low, high] = [row.yield_pa, row.low, row.high].map(|of_one| of_one * counted.powf(row.exponent));
        let (value, low) = if holds { (value, low) } else { (0.0, 0.0) };
        let note = if row.note.is_empty() { String::new() } else { format!(" ({})", row.note) };
        let says = format!(
            "{} % of {} in the water gives some {} Pa, {} to {}{note}: an estimate, measure it or try a bead",
            number(pct),
            row.inci.to_lowercase(),
            number(value),
            number(low),
            number(high)
        );
        Some(Stress { value, low, high, says, is_measured: false, known: (row.status, &row.source) })
    };
    let rows = s.tables.formula.thickeners.iter().filter_map(of);
    rows.max_by(|a, b| a.value.total_cmp(&b.value))
}

fn held(s: &Setting, worst: &FirstToMove, stress: &Stress, moves: Option<Finding>) -> Finding {
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
    let says = if stress.says.is_empty() { String::new() } else { format!("; {}", stress.says) };
    let is_stated = stress.says.is_empty();
    let of = |finding: Finding, limit: f64| finding.of(stress.value, limit);
    let from = |own| if is_stated { own } else { stress.known };
    if stress.high < theory {
        let why = format!("{what}; {needs}{says}");
        let Some(moves) = moves.filter(|_| is_stated || stress.value < theory) else {
            return of(Finding::stop(why, from(known(&constants.beris_number))), theory);
        };
        let why = format!("{why}; {}", moves.why);
        let finding = if is_bed(s) { Finding::caution } else { Finding::stop };
        of(finding(why, from(known(&constants.beris_number))), theory)
    } else if let Some(moves) = moves.filter(|moves| {
        // What its thickener may give at best would hold it; what it gives as a rule does not, and the viscosity says what follows.
        !stress.is_measured && stress.value < theory && moves.verdict > CheckVerdict::Pass
    }) {
        Finding { why: format!("{what}; {needs}{says}; {}", moves.why), ..moves }
    } else if stress.low < practice || !stress.is_measured {
        let why = format!("{what}; {needs}{says}: store it at 40 °C upright and upside down before you rely on it");
        of(Finding::caution(why, from(known(&constants.practical_yield))), practice)
    } else {
        let why = format!("{what}; {needs}{says}. Yield stress falls in the heat: test at 40 °C");
        of(Finding::pass(why, from(known(&constants.practical_yield))), practice)
    }
}

/// Shares of the volume: of the grains, and where they rest on each other.
fn shares(s: &Setting) -> Option<(f64, f64)> {
    let share = s.formula.solids_share(&s.solids_pct())?;
    Some((share, s.constants().loose_share.value * s.bed.as_ref()?.densest))
}

/// Whether so many grains lie in the base that those which go down are soon a bed.
fn is_bed(s: &Setting) -> bool {
    shares(s).is_some_and(|(share, loose)| share >= s.constants().bed_share.value * loose)
}

/// Height of the scrub in its container, m: as high as wide where only a volume is known, of 200 mL where none is.
fn height(s: &Setting) -> f64 {
    let millilitres = s.formula.fill.container.map_or(200.0, |c| c.get());
    (4.0 * millilitres * 1e-6 / std::f64::consts::PI).cbrt()
}

/// Without a yield stress that holds them the grains move, however thick the base is, until they rest on each other; the fastest are
/// told.
fn moving(s: &Setting, grains: &[FirstToMove], density: f64) -> Option<Finding> {
    let constants = s.constants();
    let viscosity = s.formula.base.viscosity?.get();
    let (solids, loose) = shares(s)?;
    let speed_at = |g: &FirstToMove, diameter: f64| {
        let gravity = constants.gravity_m_s2.value;
        let fall = Fall { diameter, excess: g.excess, base: 1000.0 * density, viscosity, gravity };
        1000.0 * fall.hindered(solids) * SECONDS_PER_HOUR
    };
    let speeds = grains.iter().map(|g| (g, speed_at(g, g.diameter)));
    let (fastest, mm_an_hour) = speeds.max_by(|a, b| a.1.total_cmp(&b.1))?;
    let days = s.formula.fill.shelf_days.unwrap_or(constants.shelf_days.value);
    let limit = &constants.settled_mm;
    // The top of the grains goes no farther than to where they rest.
    let most = 1000.0 * height(s) * (1.0 - solids / loose).max(0.0);
    let way = (mm_an_hour * HOURS_PER_DAY * days).min(most);
    let (name, goes) = (&fastest.component.powder.name, fastest.goes());
    if way <= limit.value && most > limit.value {
        let why = format!(
            "without a yield stress {name} {goes} {} mm a day at {viscosity} Pa·s, where {} mm in {} days may pass",
            number(mm_an_hour * HOURS_PER_DAY),
            number(limit.value),
            number(days)
        );
        return Some(Finding::pass(why, known(limit)).of(way, limit.value).unit("mm"));
    }
    let clear = 100.0 * way / (1000.0 * height(s));
    let side = if fastest.excess < 0.0 { "below" } else { "above" };
    // What the liquid above waits for are the finest.
    let finest = speed_at(fastest, 1e-6 * fastest.component.powder.size.distribution.quantile(0.1));
    let hours = (most / finest.max(f64::MIN_POSITIVE)).min(HOURS_PER_DAY * days);
    let settles = format!(
        "without a yield stress {name} {goes}, {} mm an hour at {viscosity} Pa·s: after {} some {} % of the height is clear liquid {side} \
         the grains ({} mm of {})",
        number(mm_an_hour),
        in_time(hours),
        number(clear),
        number(way),
        number(1000.0 * height(s))
    );
    let rests = format!(
        "; grains take {} % of the volume and rest on each other at about {} %",
        number(100.0 * solids),
        number(100.0 * loose)
    );
    Some(if is_bed(s) {
        let why = format!("a bed of grains: {settles}{rests}; write \"stir before use\" on it");
        Finding::caution(why, known(&constants.bed_share)).of(way, limit.value).unit("mm")
    } else {
        Finding::stop(format!("{settles}{rests}"), known(limit)).of(way, limit.value).unit("mm")
    })
}

fn in_time(hours: f64) -> String {
    match hours {
        h if h < 1.0 => format!("{} minutes", number(60.0 * h)),
        h if h < 2.0 * HOURS_PER_DAY => format!("{} hours", number(h)),
        h => format!("{} days", number(h / HOURS_PER_DAY)),
    }
}
