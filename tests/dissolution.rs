//! Grains that dissolve: the index over the rub against a plain integration over time, its interval against plain draws, and every
//! command on one jar.

use crate::common::{assert_close, assert_near, blend, log_normal, powder, run_in, tables, um};
use gritwise::blend::{Blend, Scrub};
use gritwise::formula::Weighed;
use gritwise::formula::dissolution::{DissolvingScrub, RubConditions, Shrinking, Solubility, mass_transfer_um_s};
use gritwise::powder::{GrainProperties, Powder};
use gritwise::rub::{Population, RubModel};
use gritwise::size::{SizeDistribution, SizeRecord};
use gritwise::tables::Tables;
use gritwise::units::{LoadPercent, Parts, Roundness};
use serde_json::Value;
use std::fs;
use std::path::Path;

fn of(key: &str, sizes: SizeDistribution) -> Powder {
    let material = tables().material(key);
    let record = SizeRecord::from_distribution(sizes, "test");
    Powder::new(
        format!("{key} {}", record.distribution.quantile(0.5)),
        material,
        &GrainProperties::default(),
        record,
        tables(),
    )
    .unwrap()
}

fn scrub(powders: Vec<(Powder, f64)>, load: f64) -> Scrub {
    Scrub { name: "test".into(), load: LoadPercent::new(load).unwrap(), load_range: None, blend: blend(powders) }
}

/// The conditions of a rub and what each powder needs to dissolve, by tables.
fn stated(scrub: &Scrub, own_water: f64, tables: &Tables) -> (Vec<Option<Solubility>>, RubConditions) {
    let constants = &tables.formula.constants;
    let powders = scrub.blend.components().iter().map(|c| {
        let material = c.powder.material.as_ref()?;
        let solute = tables.formula.solutes.iter().find(|s| s.material == material.key)?;
        Some(Solubility {
            jar_g_per_100g: material.soluble_g_per_100ml?,
            rub_g_per_l: solute.saturated_g_per_l,
            transfer_um_s: mass_transfer_um_s(
                c.powder.size.distribution.quantile(0.5),
                solute.diffusivity_1e9,
                constants.slip_speed_m_s.value,
                constants.skin_water_viscosity_mpa_s.value,
            ),
        })
    });
    let conditions = RubConditions {
        seconds: constants.rub_s.value,
        skin_water: constants.rub_water_g_per_g.value,
        own_water,
        corner_growth: constants.corner_growth.value,
    };
    (powders.collect(), conditions)
}

/// Grains of one powder in plain slices: sizes and shares of the volume.
fn slices(sizes: &SizeDistribution) -> Vec<(f64, f64)> {
    const COUNT: u32 = 800;
    let edge = |i: u32| {
        let (low, high) = (sizes.quantile(1e-7).ln(), sizes.quantile(1.0 - 1e-8).ln());
        (low + (high - low) * f64::from(i) / f64::from(COUNT)).exp()
    };
    let slice = |i| ((edge(i) * edge(i + 1)).sqrt(), sizes.undersize(edge(i + 1)) - sizes.undersize(edge(i)));
    (0..COUNT).map(slice).collect()
}

/// Index over the rub by marching through time in plain steps, close together at the start: the loss of every powder by Runge and
/// Kutta's method from the rate that the cube-root law gives, and the full rub of what is left at every twentieth step.
fn marched(scrub: &Scrub, solubilities: &[Option<Solubility>], conditions: &RubConditions, model: &RubModel) -> f64 {
    const STEPS: u32 = 6000;
    const STRIDE: u32 = 10;
    let load = scrub.load.get();
    let time = |i: u32| conditions.seconds * (f64::from(i) / f64::from(STEPS)).powi(3);
    let powders = scrub.blend.components();
    let sliced: Vec<_> = powders.iter().map(|c| slices(&c.powder.size.distribution)).collect();
    let left = |p: usize, loss: f64| -> f64 {
        sliced[p].iter().map(|(x, share)| share * (1.0 - loss / x).max(0.0).powi(3)).sum()
    };
    // Lines of one material share the water by their masses (convention).
    let alike = |p: usize, q: usize| powders[p].powder.material == powders[q].powder.material;
    let of_material = |p: usize| (0..powders.len()).filter(|q| alike(p, *q)).map(|q| powders[q].mass).sum::<f64>();
    let rate = |p: usize, loss: f64| -> f64 {
        let Some(s) = solubilities[p] else { return 0.0 };
        let water = (conditions.own_water + conditions.skin_water) * powders[p].mass / of_material(p);
        let (density, pct) = (powders[p].powder.density.get(), powders[p].mass * load);
        let dissolved = pct / 100.0 * (1.0 - left(p, loss));
        let saturated = s.rub_g_per_l / 1000.0;
        2.0 * s.transfer_um_s * (saturated - dissolved / (water + dissolved / density)).max(0.0) / density
    };
    let mut losses: Vec<f64> =
        DissolvingScrub::new(scrub, solubilities, *conditions).in_jar().iter().map(|j| j.loss_um).collect();
    let grains: Vec<Shrinking> = powders.iter().map(|c| Shrinking::new(&c.powder.size.distribution)).collect();
    let square = |losses: &[f64]| -> f64 {
        let mut found: Vec<(Powder, f64)> = Vec::new();
        for (p, c) in powders.iter().enumerate() {
            let median = c.powder.size.distribution.quantile(0.5);
            let Some(distribution) = grains[p].shrunk(losses[p]) else { continue };
            let mut powder = c.powder.clone();
            powder.size.distribution = distribution;
            let grown = powder.roundness.get() * median + conditions.corner_growth * losses[p];
            powder.roundness.value = Roundness::new((grown / (median - losses[p]).max(1e-9)).min(1.0)).unwrap();
            found.push((powder, c.mass * load * left(p, losses[p])));
        }
        let load: f64 = found.iter().map(|f| f.1).sum();
        if found.is_empty() {
            return 0.0;
        }
        let blend = Blend::new(found.into_iter().map(|(p, pct)| (p, Parts::new(pct).unwrap())).collect()).unwrap();
        let population = Population::new(&blend, model.reference_site().gap_um);
        model.evaluate(&population, &blend.mass_shares(), load / 100.0).index.powi(2)
    };
    let (mut sum, mut before, mut since) = (0.0, square(&losses), 0.0);
    for i in 0..STEPS {
        let step = time(i + 1) - time(i);
        for (p, loss) in losses.iter_mut().enumerate().filter(|(p, _)| solubilities[*p].is_some()) {
            let a = rate(p, *loss);
            let b = rate(p, *loss + 0.5 * step * a);
            let c = rate(p, *loss + 0.5 * step * b);
            let d = rate(p, *loss + step * c);
            *loss += step * (a + 2.0 * b + 2.0 * c + d) / 6.0;
        }
        if (i + 1) % STRIDE == 0 {
            let (now, at) = (square(&losses), time(i + 1));
            sum += 0.5 * (now + before) * (at - since);
            (before, since) = (now, at);
        }
    }
    (sum / conditions.seconds).sqrt()
}

/// Numbers that are as good as thrown (Lehmer's generator, Park and Miller 1988).
struct Lot(u64);

impl Lot {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0 * 16_807 % 2_147_483_647;
        low + (high - low) * self.0 as f64 / 2_147_483_647.0
    }
}

/// One to three powders, of which one at least dissolves, on their own or in a water phase.
fn random(lot: &mut Lot) -> (&'static str, Scrub, f64) {
    let keys = ["salt", "sugar", "epsom", "soda", "pumice"];
    let count = lot.between(1.0, 3.99) as usize;
    let powders = (0..count).map(|i| {
        let key = keys[lot.between(0.0, if i == 0 { 3.99 } else { 4.99 }) as usize];
        let sizes = log_normal(20.0 * 30.0_f64.powf(lot.between(0.0, 1.0)), lot.between(1.03, 1.9));
        (of(key, sizes), lot.between(1.0, 5.0))
    });
    let powders = powders.collect();
    let scrub = scrub(powders, lot.between(4.0, 60.0));
    let water = if lot.between(0.0, 1.0) < 0.5 { 0.0 } else { lot.between(0.0, 0.1) };
    ("random", scrub, water)
}

#[test]
fn the_index_over_the_rub_is_that_of_a_plain_march_through_time() {
    let model = RubModel::new(tables()).unwrap();
    let measured = SizeDistribution::measured(&[
        (um(63.0), 0.0),
        (um(125.0), 0.12),
        (um(180.0), 0.5),
        (um(250.0), 0.85),
        (um(355.0), 1.0),
    ])
    .unwrap();
    let cases: Vec<(&str, Scrub, f64)> = vec![
        ("fine sugar", scrub(vec![(of("sugar", log_normal(143.0, 1.5)), 1.0)], 24.0), 0.0),
        ("fine salt", scrub(vec![(of("salt", log_normal(188.0, 1.4)), 1.0)], 29.0), 0.0),
        ("sugar", scrub(vec![(of("sugar", log_normal(428.0, 1.4)), 1.0)], 40.0), 0.0),
        ("sieved sugar in water", scrub(vec![(of("sugar", measured), 1.0)], 35.0), 0.08),
        ("wide salt in water", scrub(vec![(of("salt", log_normal(350.0, 1.9)), 1.0)], 50.0), 0.1),
        ("much salt, grain-borne", scrub(vec![(of("salt", log_normal(600.0, 1.1)), 1.0)], 60.0), 0.0),
        ("one size of epsom", scrub(vec![(of("epsom", log_normal(300.0, 1.03)), 1.0)], 10.0), 0.0),
        ("very fine soda", scrub(vec![(of("soda", log_normal(60.0, 1.6)), 1.0)], 20.0), 0.0),
        (
            "soda and pumice",
            scrub(vec![(of("soda", log_normal(120.0, 1.5)), 3.0), (of("pumice", log_normal(60.0, 1.6)), 1.0)], 8.0),
            0.0,
        ),
        ("borate", scrub(vec![(powder("borate", 1.73, 0.9, 0.3, log_normal(200.0, 1.5)), 1.0)], 5.0), 0.0),
        (
            "two speeds, shared",
            scrub(vec![(of("salt", log_normal(250.0, 1.5)), 1.0), (of("soda", log_normal(90.0, 1.5)), 2.0)], 6.0),
            0.0,
        ),
        (
            "two speeds, grain-borne",
            scrub(vec![(of("salt", log_normal(300.0, 1.4)), 1.0), (of("sugar", log_normal(500.0, 1.4)), 1.0)], 55.0),
            0.02,
        ),
    ];
    let mut cases = cases;
    let mut lot = Lot(7);
    cases.extend((0..12).map(|_| random(&mut lot)));
    let mut worst: f64 = 0.0;
    for (name, scrub, own_water) in &cases {
        let (mut solubilities, conditions) = stated(scrub, *own_water, tables());
        if *name == "borate" {
            // The material is forbidden; its solubility is not.
            let (row, solute) = (
                tables().material("borate").unwrap(),
                tables().formula.solutes.iter().find(|s| s.material == "borate").unwrap(),
            );
            let transfer_um_s = mass_transfer_um_s(200.0, solute.diffusivity_1e9, 0.03, 0.7);
            let jar_g_per_100g = row.soluble_g_per_100ml.unwrap();
            solubilities =
                vec![Some(Solubility { jar_g_per_100g, rub_g_per_l: solute.saturated_g_per_l, transfer_um_s })];
        }
        let found = DissolvingScrub::new(scrub, &solubilities, conditions).index(&model);
        let wanted = marched(scrub, &solubilities, &conditions, &model);
        println!("{name}: {found} {wanted} {:.2e}", found / wanted - 1.0);
        // An index of next to nothing need not be known to 0.1 %.
        worst = worst.max((found - wanted).abs() / wanted.max(0.1));
    }
    assert!(worst < 1e-3, "{worst}");
}

#[test]
fn what_water_fills_up_with_is_reached_and_never_passed() {
    // A scrub with more salt than its water takes: the loss nears that of saturation as the exponential that it must be near its end.
    let scrub = scrub(vec![(of("salt", log_normal(300.0, 1.4)), 1.0)], 50.0);
    let (solubilities, conditions) = stated(&scrub, 0.0, tables());
    let slow = RubConditions { skin_water: 0.5, seconds: 3600.0, ..conditions };
    let dissolving = DissolvingScrub::new(&scrub, &solubilities, slow);
    // 0.5 g of water at 318 g/L in a solution whose volumes add up.
    let saturated = 318.0 / 1000.0;
    let most = 0.5 * saturated / (1.0 - saturated / scrub.blend.components()[0].powder.density.get());
    assert_near("salt left in the end", dissolving.at(3600.0).unwrap().load.get(), 50.0 - 100.0 * most, 1e-5, 0.0);
    let mut last = 50.0;
    for seconds in [0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 30.0, 100.0] {
        let left = dissolving.at(seconds).unwrap().load.get();
        assert!(
            (left < last || seconds > 5.0) && left <= last && left >= 50.0 - 100.0 * most - 1e-6,
            "{seconds}: {left}"
        );
        last = left;
    }
}

#[test]
fn the_interval_is_that_of_plain_draws() {
    let model = RubModel::new(tables()).unwrap();
    for (scrub, water) in [
        (scrub(vec![(of("salt", log_normal(350.0, 1.4)), 1.0)], 50.0), 8.0),
        (scrub(vec![(of("sugar", log_normal(143.0, 1.5)), 1.0)], 24.0), 0.0),
    ] {
        let over = Weighed::new(scrub.clone(), Some(water)).on_skin(tables(), &model).over_the_rub.unwrap();
        assert!(over.low < over.value && over.value < over.high, "{over:?}");
        let (solubilities, conditions) = stated(&scrub, water / 100.0, tables());
        let stated_index = DissolvingScrub::new(&scrub, &solubilities, conditions).index(&model);
        assert_close("as stated", over.value, stated_index, 1e-9);
        // A lattice of the additive recurrence (R. Kronecker's, with the roots of a generalised golden ratio), not Sobol's points.
        const DRAWS: usize = 160;
        let ratio = 1.111_323_f64;
        let constants = &tables().formula.constants;
        let solute = tables()
            .formula
            .solutes
            .iter()
            .find(|s| scrub.blend.components()[0].powder.name.starts_with(&s.material))
            .unwrap();
        let u = |i: usize, d: i32| (0.5 + (i + 1) as f64 * ratio.powi(-(d + 1))).fract();
        let two_sided = |u: f64, [value, low, high]: [f64; 3]| {
            let part = 2.0 * u - 1.0;
            value * if part < 0.0 { (low / value).powf(-part) } else { (high / value).powf(part) }
        };
        // Log-normal with 5 % beyond either end, for what is published or from memory; log-uniform within the ends for estimates.
        let seen = |u: f64, [value, low, high]: [f64; 3]| {
            let z = normal_quantile(u) / 1.644_853_6;
            value * if z < 0.0 { (low / value).powf(-z) } else { (high / value).powf(z) }
        };
        let row = |r: &gritwise::tables::Known| [r.value, r.low, r.high];
        let mut drawn: Vec<f64> = (0..DRAWS)
            .map(|i| {
                let speed = two_sided(u(i, 0), row(&constants.slip_speed_m_s));
                let viscosity = seen(u(i, 1), row(&constants.skin_water_viscosity_mpa_s));
                let rub_g_per_l = seen(u(i, 2), [solute.saturated_g_per_l, solute.low, solute.high]);
                let median = scrub.blend.components()[0].powder.size.distribution.quantile(0.5);
                let transfer_um_s = mass_transfer_um_s(median, solute.diffusivity_1e9, speed, viscosity);
                let solubility = Solubility { rub_g_per_l, transfer_um_s, ..solubilities[0].unwrap() };
                let conditions = RubConditions {
                    seconds: seen(u(i, 3), row(&constants.rub_s)),
                    skin_water: two_sided(u(i, 4), row(&constants.rub_water_g_per_g)),
                    corner_growth: two_sided(u(i, 5), row(&constants.corner_growth)),
                    ..conditions
                };
                DissolvingScrub::new(&scrub, &[Some(solubility)], conditions).index(&model)
            })
            .collect();
        drawn.sort_by(f64::total_cmp);
        let quantile = |p: f64| drawn[(p * DRAWS as f64) as usize];
        println!("{over:?} {} {}", quantile(0.05), quantile(0.95));
        // Two samples of 128 and 160 points: their 5 and 95 % points differ by more than the draws themselves do.
        assert_near("low end", over.low, quantile(0.05), 0.25, 0.0);
        assert_near("high end", over.high, quantile(0.95), 0.25, 0.0);
    }
}

/// z of the normal distribution, by bisection of the error function's series (Abramowitz and Stegun 26.2.10).
fn normal_quantile(p: f64) -> f64 {
    let cdf = |z: f64| {
        let (mut term, mut sum) = (z, z);
        for n in 1..200 {
            term *= -z * z / (2.0 * f64::from(n));
            sum += term / f64::from(2 * n + 1);
        }
        0.5 + sum / (2.0 * std::f64::consts::PI).sqrt()
    };
    let (mut low, mut high) = (-5.0, 5.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if cdf(middle) < p { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}

#[test]
fn ranges_without_width_leave_no_interval_and_wider_ones_a_wider_one() {
    let model = RubModel::new(tables()).unwrap();
    let weighed = || Weighed::new(scrub(vec![(of("salt", log_normal(300.0, 1.4)), 1.0)], 40.0), Some(5.0));
    let usual = weighed().on_skin(tables(), &model).over_the_rub.unwrap();
    let mut exact = tables().clone();
    {
        let c = &mut exact.formula.constants;
        for row in [
            &mut c.rub_s,
            &mut c.slip_speed_m_s,
            &mut c.skin_water_viscosity_mpa_s,
            &mut c.corner_growth,
            &mut c.rub_water_g_per_g,
        ] {
            (row.low, row.high) = (row.value, row.value);
        }
    }
    exact.formula.solutes.iter_mut().for_each(|s| (s.low, s.high) = (s.saturated_g_per_l, s.saturated_g_per_l));
    let none = weighed().on_skin(&exact, &model).over_the_rub.unwrap();
    assert_close("value", none.value, usual.value, 1e-9);
    assert_close("low", none.low, none.value, 1e-6);
    assert_close("high", none.high, none.value, 1e-6);
    let mut speed = exact.clone();
    (speed.formula.constants.slip_speed_m_s.low, speed.formula.constants.slip_speed_m_s.high) = (0.01, 0.06);
    let speed = weighed().on_skin(&speed, &model).over_the_rub.unwrap();
    assert!(usual.low < speed.low && speed.low < speed.value && speed.value < speed.high && speed.high < usual.high);
}

#[test]
fn a_solute_that_no_table_holds_is_estimated_widely_and_said_so() {
    let model = RubModel::new(tables()).unwrap();
    let weighed = || Weighed::new(scrub(vec![(of("salt", log_normal(300.0, 1.4)), 1.0)], 40.0), Some(5.0));
    let known = weighed().on_skin(tables(), &model);
    assert!(known.estimated.is_empty());
    let mut fewer = tables().clone();
    fewer.formula.solutes.retain(|s| s.material != "salt");
    let unknown = weighed().on_skin(&fewer, &model);
    assert_eq!(unknown.estimated, [known.weighed.scrub.blend.components()[0].powder.name.clone()]);
    let [known, unknown] = [known, unknown].map(|on_skin| on_skin.over_the_rub.unwrap());
    let width = |over: gritwise::formula::OverTheRub| (over.high / over.low).ln();
    assert!(width(unknown) > width(known), "{unknown:?} {known:?}");
    let folder = tempfile::tempdir().unwrap();
    let table: String = include_str!("../grading-tables/solutes.csv")
        .lines()
        .filter(|l| !l.starts_with("salt"))
        .fold(String::new(), |text, line| text + line + "\n");
    std::fs::write(folder.path().join("solutes.csv"), table).unwrap();
    let tables = folder.path().to_str().unwrap();
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (_, said, _) = run_in(root, &["blend", "--quick", "examples/weir-salt-scrub.toml", "--tables", tables]);
    assert!(said.split_whitespace().collect::<Vec<_>>().join(" ").contains("no row in solutes.csv"), "{said}");
}

#[test]
fn grains_on_the_skin_are_what_the_jar_leaves() {
    let model = RubModel::new(tables()).unwrap();
    let salt = || of("salt", log_normal(350.0, 1.4));
    // 8 % water take 35.9 g of salt per 100 g (handbook).
    let weighed = Weighed::new(scrub(vec![(salt(), 3.0), (of("pumice", log_normal(60.0, 1.6)), 1.0)], 40.0), Some(8.0));
    let on_skin = weighed.clone().on_skin(tables(), &model);
    let grains = on_skin.scrub().unwrap();
    assert_close("load", grains.load.get(), 40.0 - 0.08 * 35.9, 1e-3);
    assert_close("pumice stays", grains.load.get() * grains.blend.components()[1].mass, 10.0, 1e-9);
    let before = &weighed.scrub.blend.components()[0].powder.size.distribution;
    let after = &grains.blend.components()[0].powder.size.distribution;
    assert!(
        after.quantile(0.5) < before.quantile(0.5)
            && grains.blend.components()[1].powder == weighed.scrub.blend.components()[1].powder
    );
    // Without word of water, or without any, the grains are as they are weighed in.
    for water_pct in [None, Some(0.0)] {
        let on_skin = Weighed { water_pct, ..weighed.clone() }.on_skin(tables(), &model);
        assert_eq!(on_skin.scrub().unwrap(), &weighed.scrub);
        assert!(on_skin.over_the_rub.is_some() && !on_skin.jar_dissolves());
    }
    // A powder that the jar takes whole keeps its place; when it takes all, nothing reaches the skin.
    let some = Weighed::new(scrub(vec![(salt(), 1.0), (of("pumice", log_normal(60.0, 1.6)), 9.0)], 10.0), Some(60.0));
    let on_skin = some.on_skin(tables(), &model);
    let grains = on_skin.scrub().unwrap();
    assert_eq!(grains.blend.components().len(), 2);
    assert_close("pumice alone", grains.load.get(), 9.0, 1e-6);
    let pumice = Weighed::new(scrub(vec![(of("pumice", log_normal(60.0, 1.6)), 1.0)], 9.0), None);
    let judge = gritwise::band::Judge::new(tables()).unwrap();
    let (both, alone) = (judge.assess(grains), judge.assess(&pumice.scrub));
    assert_close("what is left alone rubs", both.figures.index, alone.figures.index, 1e-6);
    assert_close("groove ratio", both.figures.groove_ratios[0], alone.figures.groove_ratios[0], 1e-4);
    assert_close("D99", both.figures.d99_um, alone.figures.d99_um, 1e-6);
    let all = Weighed::new(scrub(vec![(salt(), 1.0)], 10.0), Some(60.0)).on_skin(tables(), &model);
    let error = all.scrub().unwrap_err().to_string();
    assert!(
        error.contains("60 % of water") && error.contains("no grains reach the skin") && all.over_the_rub.is_none(),
        "{error}"
    );
    // Nothing dissolves, nothing is said.
    assert!(pumice.on_skin(tables(), &model).over_the_rub.is_none());
}

/// Water takes so much of a salt, in however many lines of the file it stands.
#[test]
fn lines_of_one_material_share_the_water() {
    let model = RubModel::new(tables()).unwrap();
    let salt = || of("salt", log_normal(350.0, 1.4));
    let arrives =
        |powders: Vec<(Powder, f64)>| Weighed::new(scrub(powders, 40.0), Some(20.0)).on_skin(tables(), &model);
    let one = arrives(vec![(salt(), 1.0)]);
    let many = arrives(vec![(salt(), 1.0), (salt(), 2.0), (salt(), 1.0)]);
    // 20 % of water take 35.9 g of salt per 100 g (handbook).
    assert_close("in one line", one.scrub().unwrap().load.get(), 40.0 - 0.2 * 35.9, 1e-3);
    assert_close("in three", many.scrub().unwrap().load.get(), one.scrub().unwrap().load.get(), 1e-9);
    let judge = gritwise::band::Judge::new(tables()).unwrap();
    let index = |s: &gritwise::formula::OnSkin| judge.assess(s.scrub().unwrap()).figures.index;
    assert_close("index", index(&many), index(&one), 1e-6);
    let over = |s: &gritwise::formula::OnSkin| s.over_the_rub.unwrap();
    assert_close("over the rub", over(&many).value, over(&one).value, 5e-3);
}

/// Two contacts in parallel share a load by their stiffness (any text of contact mechanics): a powder that dissolves carries its share only
/// until it is gone, so that beside it no other may be judged milder than alone.
#[test]
fn what_dissolves_hides_nothing_that_stays() {
    let judge = gritwise::band::Judge::new(tables()).unwrap();
    let walnut = || of("walnut-shell", log_normal(250.0, 1.25));
    let alone = judge.assess(&scrub(vec![(walnut(), 1.0)], 8.0));
    assert_eq!(judge.band_name(alone.verdict.rank), "body");
    let mut hidden = 0;
    for (soluble, d50, pct) in
        [("sugar", 150.0, 50.0), ("sugar", 90.0, 30.0), ("salt", 200.0, 40.0), ("sugar", 900.0, 50.0)]
    {
        let mixed = scrub(vec![(of(soluble, log_normal(d50, 1.3)), pct), (walnut(), 8.0)], pct + 8.0);
        let both = judge.assess(&mixed);
        let grave = |a: &gritwise::band::Assessment| (a.verdict.rank, a.figures.index);
        assert!(
            grave(&both) >= (alone.verdict.rank, alone.figures.index * (1.0 - 1e-9)),
            "{soluble} {d50}: {:?}",
            both.figures
        );
        let Some(first) = &both.at_first else { continue };
        hidden += 1;
        assert_close("what is left rubs alone", both.figures.index, alone.figures.index, 1e-9);
        assert!(judge.verdict(first).rank <= both.verdict.rank && first.index < both.figures.index);
        // Draws see the same: none falls below what the walnut alone would give.
        let report = |s: &Scrub| {
            let on_skin = Weighed::new(s.clone(), None).on_skin(tables(), judge.model());
            gritwise::report::BlendReport::drawn(&on_skin, &judge, tables())
        };
        let (told, walnut_alone) = (report(&mixed), report(&scrub(vec![(walnut(), 1.0)], 8.0)));
        assert_eq!((told.band.name.as_str(), told.index.at_first), ("body", Some(first.index)));
        assert!(told.band.sure_pct <= Some(walnut_alone.band.sure_pct.unwrap() + 2.0), "{:?}", told.band.sure_pct);
        assert!(told.index.p5.unwrap() > 0.9 * walnut_alone.index.p5.unwrap(), "{:?}", told.index);
    }
    assert!(hidden >= 2);
    // What the trade keeps off the face (bands.csv: over 2 % of the powders) is kept off it by what is left, too: 0.24 of 4.63 % is sand.
    let oat_and_sand =
        || vec![(of("oat", log_normal(60.0, 1.5)), 4.39), (of("silica-sand", log_normal(60.0, 1.2)), 0.24)];
    let sugared = [oat_and_sand(), vec![(of("sugar", log_normal(60.0, 1.5)), 11.52)]].concat();
    for (powders, load) in [(oat_and_sand(), 4.63), (sugared, 16.15)] {
        let told = judge.assess(&scrub(powders.clone(), load));
        assert_eq!(judge.band_name(told.verdict.rank), "body");
        assert_close("sand among what is left", told.figures.not_on_face_pct, 100.0 * 0.24 / 4.63, 1e-9);
        let on_skin = Weighed::new(scrub(powders, load), None).on_skin(tables(), judge.model());
        let sure = gritwise::report::BlendReport::drawn(&on_skin, &judge, tables());
        assert_eq!(sure.band.nine_in_ten.as_deref(), Some("body"), "{:?}", sure.band);
    }
}

fn json(folder: &Path, args: &[&str]) -> Value {
    let (status, out, message) = run_in(folder, &[args, &["--json"]].concat());
    assert!(status < 2, "{args:?}: {message}");
    serde_json::from_str(&out).unwrap()
}

/// A sugar scrub of which the jar takes some beside a powder that it does not.
const SUGAR: &str = r#"
[scrub]
name = "Osier sugar scrub"
powder_load_pct = 45
[base]
density_g_cm3 = 1.1
[[phase]]
name = "All"
  [[phase.ingredient]]
  name = "Water"
  inci = "Aqua"
  pct = 4
  functions = ["water"]
  [[phase.ingredient]]
  name = "Oil"
  inci = "Helianthus Annuus (Sunflower) Seed Oil"
  fill = true
[[powder]]
name = "Sugar"
material = "sugar"
parts = 8
size = { d50_um = 320, gsd = 1.4 }
[[powder]]
name = "Pumice"
material = "pumice"
parts = 1
size = { d50_um = 60, gsd = 1.6 }
"#;

#[test]
fn one_jar_has_one_pair_of_numbers_in_every_command() {
    let folder = tempfile::TempDir::new().unwrap();
    let dir = folder.path();
    let salt = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/weir-salt-scrub.toml");
    fs::copy(salt, dir.join("salt.toml")).unwrap();
    fs::write(dir.join("sugar.toml"), SUGAR).unwrap();
    // The same without water: nothing dissolves in the jar, and the rub all the same.
    let water = SUGAR.find("  [[phase.ingredient]]\n  name = \"Water\"").unwrap();
    let oil = SUGAR.find("  [[phase.ingredient]]\n  name = \"Oil\"").unwrap();
    let dry = format!("{}{}", &SUGAR[..water], &SUGAR[oil..]);
    fs::write(dir.join("dry.toml"), dry).unwrap();
    for (file, powder, takes) in
        [("salt.toml", "salt", true), ("sugar.toml", "sugar", true), ("dry.toml", "sugar", false)]
    {
        let blend = json(dir, &["blend", file]);
        let (index, over, band) = (&blend["index"]["value"], &blend["index"]["over_the_rub"], &blend["band"]["name"]);
        let number = |v: &Value| v.as_f64().unwrap();
        assert!(
            number(&over["low"]) < number(&over["value"]) && number(&over["value"]) < number(&over["high"]),
            "{over}"
        );
        assert!(number(&over["value"]) < number(index), "grains are harshest at the start: {blend}");
        assert_eq!(blend["powders"][0]["dissolved_in_jar_pct"].is_number(), takes);
        let (_, text, _) = run_in(dir, &["blend", file]);
        assert!(text.contains("Index over the whole rub, as grains dissolve: "), "{text}");

        let compare = json(dir, &["compare", file, "salt.toml"]);
        assert_eq!(compare["scrubs"][0]["index"]["over_the_rub"], *over, "compare {file}");
        assert_eq!((&compare["scrubs"][0]["index"]["value"], &compare["scrubs"][0]["band"]["name"]), (index, band));
        assert!(run_in(dir, &["compare", file, "salt.toml"]).1.contains("over the whole rub"));

        let formula = json(dir, &["formula", file]);
        assert_eq!(formula["index"]["over_the_rub"], *over, "formula {file}");
        assert_eq!((&formula["index"]["value"], &formula["index"]["band"]), (index, band));
        assert!(run_in(dir, &["formula", file]).1.contains("over the whole rub"));

        // Draws take their time; what they are drawn about is the same with water and without.
        if takes {
            drawn(dir, file, &blend);
        }

        // A lot that is the grade itself.
        let sizes = |x: f64| -> f64 {
            let d50: f64 = if file == "salt.toml" { 350.0 } else { 320.0 };
            100.0 * 0.5 * (1.0 + erf((x / d50).ln() / 1.4_f64.ln() / std::f64::consts::SQRT_2))
        };
        let edges: Vec<f64> = (0..40).map(|i| 60.0 * 1.09_f64.powi(i)).collect();
        let rows: Vec<String> = edges.iter().map(|x| format!("{x:.4},{:.6}", sizes(*x))).collect();
        fs::write(dir.join("lot.csv"), format!("size_um,cum_volume_pct\n{}\n", rows.join("\n"))).unwrap();
        let lot = json(dir, &["lot", "lot.csv", "--powder", powder, "--in", file]);
        assert_eq!(lot["index_over_the_rub"], *over, "lot {file}");
        assert_eq!((&lot["index"], &lot["band"]), (index, band));
        assert_near("the same grains", number(&lot["index_with_lot"]), number(index), 0.01, 0.0);

        let ladder = json(dir, &["ladder", file, "--vary", "load=20..60"]);
        assert_eq!(ladder["index_over_the_rub"], *over, "ladder {file}");
        let other = json(dir, &["stand-in", file, "--for", powder]);
        assert_eq!(
            (&other["index_over_the_rub"], &other["index"], &other["band"]),
            (over, index, band),
            "stand-in {file}"
        );
        let batch = json(dir, &["batch", file, "--mass", "10kg"]);
        assert_eq!(batch["index"]["formula"], *index, "batch {file}");
    }
}

/// What `confidence` and `dossier` say of a file against what `blend` does.
fn drawn(dir: &Path, file: &str, blend: &Value) {
    let (index, over, band) = (&blend["index"]["value"], &blend["index"]["over_the_rub"], &blend["band"]["name"]);
    let sure = json(dir, &["confidence", file, "--draws", "1000"]);
    assert_eq!(sure["index"]["over_the_rub"], *over, "confidence {file}");
    assert_eq!((&sure["index_as_stated"], &sure["band"]), (index, band));

    let papers = format!("papers-{file}");
    let dossier = json(dir, &["dossier", file, "--out", &papers, "--draws", "1000"]);
    for part in [&dossier["blend"]["index"], &dossier["formula"]["index"], &dossier["confidence"]["index"]] {
        assert_eq!(part["over_the_rub"], *over, "dossier {file}");
    }
    assert_eq!((&dossier["blend"]["index"]["value"], &dossier["blend"]["band"]["name"]), (index, band));
    assert_eq!((&dossier["confidence"]["index_as_stated"], &dossier["confidence"]["band"]), (index, band));
    let written = fs::read_to_string(dir.join(&papers).join("dossier.md")).unwrap();
    assert!(written.contains("Index over the whole rub, as grains dissolve"), "{written}");
}

/// Abramowitz and Stegun 7.1.26, to 1.5e-7.
fn erf(x: f64) -> f64 {
    let t = 1.0 / (1.0 + 0.327_591_1 * x.abs());
    let poly =
        t * (0.254_829_592 + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    x.signum() * (1.0 - poly * (-x * x).exp())
}

#[test]
fn what_cannot_be_judged_is_told_and_why() {
    let folder = tempfile::TempDir::new().unwrap();
    let dir = folder.path();
    // The water takes all of the sugar and there is no other powder.
    let syrup = SUGAR.replace("pct = 4\n", "pct = 40\n").replace("powder_load_pct = 45", "powder_load_pct = 20");
    let syrup = &syrup[..syrup.find("[[powder]]\nname = \"Pumice\"").unwrap()];
    fs::write(dir.join("syrup.toml"), syrup).unwrap();
    for command in
        [&["blend", "syrup.toml"][..], &["confidence", "syrup.toml"], &["compare", "syrup.toml", "syrup.toml"]]
    {
        let (status, _, message) = run_in(dir, command);
        assert_eq!(status, 2);
        assert!(message.contains("syrup.toml") && message.contains("no grains reach the skin"), "{message}");
    }
    assert_eq!(run_in(dir, &["formula", "syrup.toml"]).0, 1, "the check stops it");
    // A file that tells nothing of the water says so.
    let start = SUGAR.find("[base]").unwrap();
    let end = SUGAR.find("[[powder]]").unwrap();
    fs::write(dir.join("plain.toml"), format!("{}{}", &SUGAR[..start], &SUGAR[end..])).unwrap();
    let (_, text, _) = run_in(dir, &["blend", "plain.toml"]);
    assert!(text.contains("tells nothing of the water in the jar"), "{text}");
    assert!(json(dir, &["blend", "plain.toml"])["index"]["over_the_rub"]["value"].is_number());
    // A formula that cannot be read is told with its place.
    fs::write(dir.join("full.toml"), SUGAR.replace("pct = 4\n", "pct = 70\n")).unwrap();
    let (status, _, message) = run_in(dir, &["blend", "full.toml"]);
    assert!(status == 2 && message.contains("full.toml:") && message.contains("100 %"), "{message}");
    // Nothing dissolves: no line, no key filled.
    let rice = "[scrub]\nname = \"Rice\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"rice-bran\"\nparts = 1\nsize = { d50_um = 60, gsd = 1.5 }\n";
    fs::write(dir.join("rice.toml"), rice).unwrap();
    assert!(json(dir, &["blend", "rice.toml"])["index"]["over_the_rub"].is_null());
    assert!(!run_in(dir, &["blend", "rice.toml"]).1.contains("over the whole rub"));
}

#[test]
fn several_soluble_powders_in_a_grain_borne_rub_have_an_interval_too() {
    // There the draws go along one path. Held against draws of one constant with the full rub.
    let model = RubModel::new(tables()).unwrap();
    let both =
        || scrub(vec![(of("salt", log_normal(300.0, 1.4)), 1.0), (of("sugar", log_normal(500.0, 1.4)), 1.0)], 55.0);
    let mut duration = tables().clone();
    let c = &mut duration.formula.constants;
    for row in
        [&mut c.slip_speed_m_s, &mut c.skin_water_viscosity_mpa_s, &mut c.corner_growth, &mut c.rub_water_g_per_g]
    {
        (row.low, row.high) = (row.value, row.value);
    }
    duration.formula.solutes.iter_mut().for_each(|s| (s.low, s.high) = (s.saturated_g_per_l, s.saturated_g_per_l));
    let over = Weighed::new(both(), Some(2.0)).on_skin(&duration, &model).over_the_rub.unwrap();
    let (solubilities, conditions) = stated(&both(), 0.02, tables());
    let index = |seconds: f64| {
        DissolvingScrub::new(&both(), &solubilities, RubConditions { seconds, ..conditions }).index(&model)
    };
    assert_close("as stated", over.value, index(30.0), 1e-9);
    // A published range is log-normal with 5 % beyond either end: 15 and 60 s are the 5 and 95 % points.
    assert_near("long rubs", over.low, index(60.0), 0.06, 0.0);
    assert_near("short rubs", over.high, index(15.0), 0.06, 0.0);
}
