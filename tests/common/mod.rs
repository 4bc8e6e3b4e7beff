//! What several test files share: powders built by hand, and the reference numbers under `tests/reference/`.
#![allow(dead_code, reason = "each test file uses its own part")]

#[cfg(feature = "page")]
pub mod served;
pub mod shelves;
#[cfg(feature = "cli")]
pub mod workshop;

use gritwise::band::Quantity;
use gritwise::blend::{Blend, Scrub};
use gritwise::powder::{GrainProperties, Hardness, Powder};
use gritwise::rub::{Population, RubModel, Rubbed};
use gritwise::size::law::Law;
use gritwise::size::{SizeDistribution, SizeRecord};
use gritwise::tables::Tables;
use gritwise::units::{Gigapascals, GramsPerCm3, LoadPercent, Micrometres, Parts, Roundness};
use serde_json::Value;
use std::sync::LazyLock;

pub fn tables() -> &'static Tables {
    static TABLES: LazyLock<Tables> = LazyLock::new(|| Tables::built_in().unwrap());
    &TABLES
}

pub fn um(value: f64) -> Micrometres {
    Micrometres::new(value).unwrap()
}

pub fn log_normal(d50: f64, gsd: f64) -> SizeDistribution {
    Law::log_normal(um(d50), gsd).unwrap().into()
}

/// A powder with all its properties given.
pub fn powder(name: &str, density: f64, hardness: f64, roundness: f64, size: SizeDistribution) -> Powder {
    let given = GrainProperties {
        density: Some(GramsPerCm3::new(density).unwrap()),
        hardness: Some(Hardness::Indentation(Gigapascals::new(hardness).unwrap())),
        roundness: Some(Roundness::new(roundness).unwrap()),
    };
    let record = SizeRecord::from_distribution(size, "test");
    Powder::new(name.into(), None, &given, record, tables()).unwrap()
}

/// A powder with the grain properties of a row of the materials table, forbidden ones included.
pub fn of_material(key: &str, size: SizeDistribution) -> Powder {
    let tables = tables();
    let m = tables.material(key).unwrap();
    powder("under test", m.density_g_cm3.value, m.hardness_gpa.value, m.roundness.value, size)
}

pub fn blend(powders: Vec<(Powder, f64)>) -> Blend {
    Blend::new(powders.into_iter().map(|(p, parts)| (p, Parts::new(parts).unwrap())).collect()).unwrap()
}

pub fn rubbed(blend: &Blend, load_pct: f64) -> Rubbed {
    let model = RubModel::new(tables()).unwrap();
    let population = Population::new(blend, model.floor_um());
    let shares = blend.mass_shares();
    model.evaluate(&population, &shares, load_pct / 100.0)
}

/// Abrasiveness index of one powder alone.
pub fn index_of(powder: Powder, load_pct: f64) -> f64 {
    rubbed(&blend(vec![(powder, 1.0)]), load_pct).index
}

pub fn reference(name: &str) -> Value {
    let path = format!("{}/tests/reference/{name}", env!("CARGO_MANIFEST_DIR"));
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

pub fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

/// A distribution from the size object of a reference case.
pub fn size_of(size: &Value) -> SizeDistribution {
    let get = |key: &str| size.get(key).and_then(Value::as_f64);
    if let (Some(d50), Some(gsd)) = (get("d50_um"), get("gsd")) {
        log_normal(d50, gsd)
    } else if let (Some(x), Some(n)) = (get("rr_size_um"), get("rr_exponent")) {
        Law::rosin_rammler(um(x), n).unwrap().into()
    } else if let (Some(x), Some(m)) = (get("ggs_size_um"), get("ggs_exponent")) {
        Law::gates_gaudin_schuhmann(um(x), m).unwrap().into()
    } else {
        let knots: Vec<_> = numbers(&size["knots_um"]).into_iter().map(um).zip(numbers(&size["q3"])).collect();
        SizeDistribution::measured(&knots).unwrap()
    }
}

/// Within a relative tolerance; `floor` is the absolute one beside it, for what may be 0.
pub fn assert_near(what: &str, got: f64, want: f64, relative: f64, floor: f64) {
    let off = (got - want).abs();
    // Written so that a NaN fails.
    assert!(off <= relative * want.abs() + floor, "{what}: {got} is not {want} ({:.2e} off)", off / want.abs());
}

/// Within a relative tolerance.
pub fn assert_close(what: &str, got: f64, want: f64, relative: f64) {
    assert_near(what, got, want, relative, 0.0);
}

/// Both missing, or both there and within a relative tolerance.
pub fn assert_both(what: &str, got: Option<f64>, want: Option<f64>, relative: f64) {
    match (got, want) {
        (Some(got), Some(want)) => assert_close(what, got, want, relative),
        (got, want) => assert_eq!(got, want, "{what}"),
    }
}

/// What a table prints: a number rounded to so many decimals.
pub fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10.0_f64.powi(decimals);
    (value * scale).round() / scale
}

/// Scrubs to be varied: (material, parts, D50, gsd) of each powder, and the load.
pub type Case = (&'static [(&'static str, f64, f64, f64)], f64);

pub const CASES: [Case; 7] = [
    (&[("rice-bran", 4.0, 60.0, 1.6), ("bamboo", 1.0, 260.0, 1.4)], 5.0),
    (&[("pumice", 3.0, 45.0, 1.6), ("walnut-shell", 1.0, 200.0, 1.5)], 5.0),
    (&[("pumice-coarse", 1.0, 300.0, 1.5)], 6.0),
    (&[("alumina", 1.0, 120.0, 1.3), ("oat", 9.0, 90.0, 1.7)], 8.0),
    (&[("jojoba-wax", 1.0, 400.0, 1.25)], 4.0),
    (&[("peach-stone", 1.0, 700.0, 1.4), ("sugar", 5.0, 350.0, 1.5)], 50.0),
    (&[("rice-grain", 2.0, 80.0, 1.5), ("olive-stone", 2.0, 150.0, 1.3), ("perlite", 1.0, 60.0, 1.8)], 4.0),
];

/// The scrub of a case, with quantities set to other values. 0 parts leave a powder out.
pub fn scrub(case: &Case, changes: &[(Quantity, f64)]) -> Scrub {
    let (powders, load) = case;
    let value = |quantity: Quantity, stated: f64| changes.iter().find(|c| c.0 == quantity).map_or(stated, |c| c.1);
    let parts = |i: usize, stated: f64| value(Quantity::Parts(i), stated);
    let used = powders.iter().enumerate().filter(|(i, p)| parts(*i, p.1) > 0.0);
    let powders = used.map(|(i, (material, stated, d50, gsd))| {
        let size = log_normal(value(Quantity::Median(i), *d50), *gsd);
        (of_material(material, size), Parts::new(parts(i, *stated)).unwrap())
    });
    let load = LoadPercent::new(value(Quantity::Load, *load)).unwrap();
    Scrub { name: "test".into(), load, load_range: None, blend: Blend::new(powders.collect()).unwrap() }
}

/// Boxes (left, top, right, bottom) of the texts of a picture that are not turned.
pub fn text_boxes(svg: &str) -> Vec<(String, [f64; 4])> {
    let attribute = |element: &str, name: &str| -> String {
        let start = element.find(&format!(" {name}=\"")).unwrap() + name.len() + 3;
        element[start..].split('"').next().unwrap().to_owned()
    };
    svg.lines()
        .filter(|l| l.starts_with("<text") && !l.contains("rotate"))
        .map(|l| {
            let number = |name| attribute(l, name).parse::<f64>().unwrap();
            let (x, y, size) = (number("x"), number("y"), number("font-size"));
            let text = l.split('>').nth(1).unwrap().split('<').next().unwrap();
            let text = text.replace("&lt;", "<").replace("&gt;", ">").replace("&quot;", "\"").replace("&amp;", "&");
            let width = 0.6 * size * text.chars().count() as f64;
            let left = match attribute(l, "text-anchor").as_str() {
                "start" => x,
                "middle" => x - width / 2.0,
                _ => x - width,
            };
            (text, [left, y - 0.72 * size, left + width, y + 0.1 * size])
        })
        .collect()
}

/// No text leaves a picture of this height, and none lies on another.
pub fn assert_clear(name: &str, svg: &str, height: f64) {
    assert!(svg.contains("<title id=\"title\">") && svg.contains("<desc id=\"desc\">"), "{name}");
    let boxes = text_boxes(svg);
    assert!(boxes.len() > 10, "{name}");
    for (i, (text, a)) in boxes.iter().enumerate() {
        assert!(a[0] >= 0.0 && a[1] >= 0.0 && a[2] <= 800.0 && a[3] <= height, "{name}: {text} leaves the picture");
        for (other, b) in &boxes[i + 1..] {
            let apart = a[2] <= b[0] || b[2] <= a[0] || a[3] <= b[1] || b[3] <= a[1];
            assert!(apart, "{name}: {text:?} and {other:?} overlap");
        }
    }
}

/// Runs the program in a folder: exit status, standard output and standard error.
#[cfg(feature = "cli")]
pub fn run_in(folder: &std::path::Path, args: &[&str]) -> (i32, String, String) {
    let output = assert_cmd::Command::cargo_bin("gritwise").unwrap().current_dir(folder).args(args).output().unwrap();
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).unwrap();
    (output.status.code().unwrap(), text(output.stdout), text(output.stderr))
}
