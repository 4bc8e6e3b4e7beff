//! Speed of the search for a blend: invented shelves of 40 to 500 powders, all targets on, every answer proven.
//!
//! Medians on a shared two-core x86-64 server, both cores free, thin link-time optimisation:
//!
//! | powders, at most | goal | limit | measured |
//! |---|---|--:|--:|
//! | 60, 4 | `cheapest` | 10 s | 2.6 ms |
//! | 60, 4 | `closest-curve` | 10 s | 0.40 s |
//! | 60, 4, narrow limits that nothing meets | `fewest-powders` | 10 s | 4.0 s, conflict and least misses proven |
//! | 200, 3 | `cheapest` | 10 s | 8.5 ms |
//! | 200, 3 | `closest-curve` | 10 s | 1.7 s |
//! | 200, 3, narrow limits that nothing meets | `fewest-powders` | 10 s | 5.4 s, conflict and least misses proven |
//! | 500, 3 | `cheapest` | 10 s | 6.8 ms |
//! | 500, 3 | `closest-curve` | 10 s | 3.9 s |
//! | 500, 3, narrow limits that one blend meets | `fewest-powders` | 10 s | 0.72 s |
//! | 500, 6 | `cheapest` | 10 s | 9.9 ms |
//! | all 10 700 programs of one to three of 40 powders, none discarded, on one core | | - | 0.80 s |
//! | the same 10 700 programs through SciPy 1.17.1 `linprog` (HiGHS), `aim_scipy.py` | | - | 24 s |
//!
//! Both find the cost [`SCIPY_COST`].

use divan::{Bencher, black_box};
use gritwise::aim::{Aim, SharedProgram};
use gritwise::band::Judge;
use gritwise::files;
use gritwise::numerics::linear::LinearProgram;
use gritwise::tables::Tables;
use std::fmt::Write;

fn main() {
    // AIM_PROGRAMS=programs.json cargo bench --bench aim: writes the linear programs for aim_scipy.py instead.
    if let Some(path) = std::env::var_os("AIM_PROGRAMS") {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let programs = read("cheapest", &tables, &judge).shared_programs(&judge);
        std::fs::write(path, serde_json::to_string(&programs).unwrap()).unwrap();
        return;
    }
    divan::main();
}

/// Least cost that SciPy finds for the same programs.
const SCIPY_COST: f64 = 0.089_213_529;

/// Grain kinds of the invented shelf: material and price of the first grade.
const KINDS: [(&str, f64); 8] = [
    ("rice-bran", 4.2),
    ("olive-stone", 6.5),
    ("pumice", 3.8),
    ("bamboo", 9.0),
    ("corn-cob", 2.4),
    ("jojoba-wax", 30.0),
    ("walnut-shell", 5.4),
    ("silica-hydrated", 7.7),
];

/// Medians of the five grades of each, µm.
const GRADES: [f64; 5] = [45.0, 80.0, 130.0, 200.0, 320.0];

/// The invented shelf of `benches/aim_scipy.py`: 40 powders.
fn shelf() -> String {
    let mut text = String::new();
    for (i, (material, price)) in KINDS.iter().enumerate() {
        for (j, d50) in GRADES.iter().enumerate() {
            let price = price * (1.0 + 0.07 * j as f64) + 0.013 * (i * 5 + j) as f64;
            writeln!(
                text,
                "[[powder]]\nname = \"{material} {d50}\"\nmaterial = \"{material}\"\nsize = {{ d50_um = {d50}, gsd = {} }}\n\
                 price_per_kg = {price:.3}\nstock_g = 600\nmin_pct = 0.3\nmax_pct = 5",
                1.35 + 0.05 * ((i + j) % 4) as f64
            )
            .unwrap();
        }
    }
    text
}

fn aim_text(goal: &str) -> String {
    format!(
        "[aim]\nname = \"Bench\"\nshelf = \"shelf.toml\"\nindex = [100, 140]\nband = \"face\"\nload_pct = [3, 7]\nd99_um = \
         600\nmax_powders = 3\ngoal = \"{goal}\"\nbatch_g = 2000\npassing_pct = [{{ um = 63, min = 10, \
         max = 45 }}, {{ um = 150, min = 40, max = 75 }}, {{ um = 300, min = 80 }}]\n"
    )
}

fn read(goal: &str, tables: &Tables, judge: &Judge) -> Aim {
    read_texts(&shelf(), &aim_text(goal), tables, judge)
}

fn read_texts(shelf: &str, aim: &str, tables: &Tables, judge: &Judge) -> Aim {
    let folder = tempfile::TempDir::new().unwrap();
    std::fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
    let path = folder.path().join("aim.toml");
    std::fs::write(&path, aim).unwrap();
    files::read_aim(&path, tables, judge).unwrap()
}

#[divan::bench(args = ["cheapest", "closest-curve", "fewest-powders"], sample_count = 10)]
fn forty_powders_at_most_three(bencher: Bencher, goal: &str) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let aim = read(goal, &tables, &judge);
    bencher.bench(|| {
        let answer = black_box(&aim).solve(&judge, 3, None).unwrap();
        let cost = answer.blends[0].scrub.cost_per_kg().unwrap();
        assert!(goal != "cheapest" || (cost / SCIPY_COST - 1.0).abs() < 1e-5, "{cost}");
        answer
    });
}

/// Materials of the invented catalogue.
const MATERIALS: [&str; 8] =
    ["rice-bran", "olive-stone", "pumice", "bamboo", "corn-cob", "jojoba-wax", "walnut-shell", "silica-hydrated"];

/// A supplier's catalogue of invented powders, from a fixed seed.
fn catalogue(count: usize) -> String {
    let mut state = 17_u64;
    let mut between = |low: f64, high: f64| {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        low + (high - low) * ((state >> 11) as f64 / (1_u64 << 53) as f64)
    };
    let mut text = String::new();
    for i in 0..count {
        let material = MATERIALS[between(0.0, 8.0) as usize];
        let (price, d50, gsd) = (between(2.0, 30.0), between(35.0, 260.0), between(1.25, 1.8));
        let (min, max) = (between(0.1, 0.4), between(3.0, 8.0));
        writeln!(
            text,
            "[[powder]]\nname = \"P{i}\"\nmaterial = \"{material}\"\nsize = {{ d50_um = {d50:.2}, gsd = {gsd:.3} }}\nprice_per_kg = \
             {price:.3}\nmin_pct = {min:.3}\nmax_pct = {max:.3}"
        )
        .unwrap();
    }
    text
}

/// Passing limits that many blends keep to, and such as next to none does.
const WIDE: &str = "{ um = 63, min = 10, max = 45 }, { um = 150, min = 40, max = 75 }, { um = 300, min = 80 }";
const NARROW: &str = "{ um = 63, min = 20, max = 20.06 }, { um = 90, min = 35, max = 35.06 }, { um = 125, min = 50, max = 50.06 }, \
                      { um = 180, min = 70, max = 70.06 }, { um = 250, min = 90, max = 90.06 }";

/// The best three blends proven the best, or proven impossible with the conflict explained: powders, at most, passing limits, goal.
#[divan::bench(
    args = [
        (60, 4, WIDE, "cheapest"),
        (60, 4, WIDE, "closest-curve"),
        (60, 4, NARROW, "fewest-powders"),
        (200, 3, WIDE, "cheapest"),
        (200, 3, WIDE, "closest-curve"),
        (200, 3, NARROW, "fewest-powders"),
        (500, 3, WIDE, "cheapest"),
        (500, 3, WIDE, "closest-curve"),
        (500, 3, NARROW, "fewest-powders"),
        (500, 6, WIDE, "cheapest"),
    ],
    sample_count = 3,
    sample_size = 1
)]
fn catalogue_to_proof(bencher: Bencher, (count, most, limits, goal): (usize, usize, &str, &str)) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let curve = if goal == "closest-curve" { "curve = { d10_um = 40, d50_um = 100, d90_um = 190 }\n" } else { "" };
    let index = if limits == WIDE { "[100, 140]" } else { "[100, 102]" };
    let text = format!(
        "[aim]\nname = \"Catalogue\"\nshelf = \"shelf.toml\"\nindex = {index}\nband = \"face\"\nload_pct = [3, 7]\nd99_um = 600\n\
         max_powders = {most}\ngoal = \"{goal}\"\n{curve}passing_pct = [{limits}]\n"
    );
    let aim = read_texts(&catalogue(count), &text, &tables, &judge);
    bencher.bench(|| {
        let answer = black_box(&aim).solve(&judge, 3, None).unwrap();
        assert!(answer.stopped_at.is_none() && answer.doubtful == 0);
        answer
    });
}

/// Every set of one to three powders solved, none discarded by what is known already: the same programs as `aim_scipy.py`
/// solves, on one core.
#[divan::bench(sample_count = 5)]
fn all_10_700_programs(bencher: Bencher) {
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    let program = read("cheapest", &tables, &judge).shared_programs(&judge).remove(0);
    bencher.bench(|| {
        let n = program.cost.len();
        let mut best = f64::INFINITY;
        for i in 0..n {
            best = best.min(cost_of(&program, &[i]));
            for j in i + 1..n {
                best = best.min(cost_of(&program, &[i, j]));
                for k in j + 1..n {
                    best = best.min(cost_of(&program, &[i, j, k]));
                }
            }
        }
        assert!(best.is_finite());
        best
    });
}

fn cost_of(program: &SharedProgram, set: &[usize]) -> f64 {
    let mut linear = LinearProgram::new();
    for &m in set {
        linear.variable(program.cost[m], program.least_pct[m], program.most_pct[m]);
    }
    linear.row((0..set.len()).map(|j| (j, 1.0)).collect(), program.load_pct[0], program.load_pct[1]);
    for (row, (low, high)) in program.rows.iter().zip(program.low.iter().zip(&program.high)) {
        let terms = set.iter().enumerate().map(|(j, m)| (j, row[*m])).collect();
        linear.row(terms, low.unwrap_or(f64::NEG_INFINITY), high.unwrap_or(f64::INFINITY));
    }
    linear.minimise().map_or(f64::INFINITY, |m| m.cost)
}
