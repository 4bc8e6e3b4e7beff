//! From a target to a blend: the optimum against brute force, a published blend, known curves and another solver; what is
//! said when there is none; files that come out; and bad aim files.

use crate::common::shelves::{Random, judge, meets_all, random_shelf, read_aim, scrub_of, spread};
use crate::common::{assert_close, reference, run_in, tables};
use gritwise::aim::{Aim, Goal, PassingLimit, Rounding, SharedProgram, Target};
use gritwise::blend::Basis;
use gritwise::files;
use gritwise::numerics::linear::LinearProgram;
use gritwise::source::Source;
use gritwise::tables::Criterion;
use serde_json::Value;
use std::fmt::Write;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A feasible problem: targets around the figures of some blend of the whole shelf.
fn random_problem(random: &mut Random, folder: &Path, count: usize, goal: usize) -> (Aim, Vec<f64>) {
    let shelf = random_shelf(random, count);
    let draft = read_aim(folder, &shelf, "goal = \"cheapest\"");
    let pct: Vec<f64> = draft.shelf.iter().map(|s| random.between(s.min_pct.max(0.3), 5.0 / count as f64)).collect();
    let scrub = scrub_of(&draft, &pct);
    let assessment = judge().assess(&scrub);
    let (figures, load) = (&assessment.figures, scrub.load.get());
    let mut text = format!(
        "index = [{}, {}]\nload_pct = [{}, {}]\nd99_um = {}\nmax_powders = {count}\n",
        figures.index * random.between(0.8, 0.97),
        figures.index * random.between(1.03, 1.25),
        load * random.between(0.75, 0.97),
        load * random.between(1.03, 1.3),
        figures.d99_um * random.between(1.001, 1.2)
    );
    let band = judge().band_name(assessment.verdict.rank);
    match random.next() {
        r if r < 0.6 => writeln!(text, "band = \"{band}\"").unwrap(),
        r if r < 0.8 => writeln!(text, "band_exactly = \"{band}\"").unwrap(),
        _ => {}
    }
    let um = random.between(60.0, 200.0);
    let passing = 100.0 * scrub.blend.undersize(Basis::Mass, um);
    let limits = (passing - random.between(1.0, 10.0), passing + random.between(1.0, 10.0));
    writeln!(text, "passing_pct = [{{ um = {um}, min = {}, max = {} }}]", limits.0.max(0.0), limits.1.min(100.0))
        .unwrap();
    let goals = ["\"cheapest\"", "\"closest-curve\"\ncurve = { d10_um = 50, d50_um = 100, d90_um = 190 }"];
    writeln!(text, "goal = {}", goals[goal]).unwrap();
    (read_aim(folder, &shelf, &text), pct)
}

/// The objective, without the rub: cost or deviation of the curve, written out anew.
fn objective(aim: &Aim, pct: &[f64]) -> f64 {
    let load: f64 = pct.iter().sum();
    match &aim.goal {
        Goal::ClosestCurve(curve) => {
            let off = curve.points.iter().map(|(um, share)| {
                let finer: f64 =
                    aim.shelf.iter().zip(pct).map(|(s, p)| p * s.powder.size.distribution.undersize(*um)).sum();
                (finer / load - share).powi(2)
            });
            100.0 * (off.sum::<f64>() / curve.points.len() as f64).sqrt()
        }
        _ => aim.shelf.iter().zip(pct).map(|(s, p)| p / 100.0 * s.powder.stock.price_per_kg.unwrap()).sum(),
    }
}

/// Whether the targets that need no rub are met.
fn is_plausible(aim: &Aim, pct: &[f64]) -> bool {
    let load: f64 = pct.iter().sum();
    let [low, high] = aim.load_pct.unwrap();
    let used = || aim.shelf.iter().zip(pct).filter(|(_, p)| **p > 0.0);
    let passes = |limit: &PassingLimit| {
        let finer: f64 = used().map(|(s, p)| p * s.powder.size.distribution.undersize(limit.um)).sum();
        (limit.min..=limit.max).contains(&(100.0 * finer / load))
    };
    (low..=high).contains(&load)
        && used().all(|(s, p)| *p >= s.min_pct && *p <= s.max_pct)
        && aim.passing.iter().all(passes)
}

/// No point of a dense grid over all shares, 0 included, is feasible and more than 0.01 % better.
/// Returns how many points were so near that the full model had to tell.
fn assert_no_grid_point_is_better(aim: &Aim, best: f64, steps: usize, what: &str) -> usize {
    let mut told = 0;
    let count = aim.shelf.len();
    let most: Vec<f64> = aim.shelf.iter().map(|s| s.max_pct.min(aim.load_pct.unwrap()[1])).collect();
    for point in 0..(steps + 1).pow(count as u32) {
        let mut left = point;
        let pct: Vec<f64> = most
            .iter()
            .map(|m| {
                let step = left % (steps + 1);
                left /= steps + 1;
                m * step as f64 / steps as f64
            })
            .collect();
        let worth = || objective(aim, &pct) < best * (1.0 - 1e-4) - 1e-9;
        if pct.iter().sum::<f64>() > 0.0 && is_plausible(aim, &pct) && worth() {
            assert!(!meets_all(aim, &pct), "{what}: {pct:?} is worth {} and not {best}", objective(aim, &pct));
            told += 1;
        }
    }
    told
}

#[test]
fn two_hundred_random_problems_against_a_grid() {
    let folder = TempDir::new().unwrap();
    let mut random = Random(7);
    let (mut grain_borne, mut told) = (0, 0);
    for i in 0..200 {
        let count = 2 + i % 2;
        let (aim, start) = random_problem(&mut random, folder.path(), count, usize::from(i % 5 == 4));
        let what = format!("problem {i}");
        assert!(meets_all(&aim, &start), "{what}: its own start");
        let answer = aim.solve(judge(), 2, None).unwrap();
        assert!(!answer.blends.is_empty(), "{what}: a feasible problem has a blend; {start:?}");
        for found in &answer.blends {
            // Read back as a scrub file and judged again: the same figures, all targets met.
            let shares: Vec<_> = found.shares.iter().map(|&(place, pct)| (&aim.shelf[place], pct)).collect();
            let text = files::write_scrub("again", "", &shares, "").unwrap().text;
            let again = files::read_scrub(Source::text(&text, "again.toml", folder.path()), tables()).unwrap();
            let (figures, wanted) = (judge().assess(&again).figures, &found.assessment.figures);
            assert_eq!((figures.index, figures.d99_um), (wanted.index, wanted.d99_um), "{what}");
            assert!(meets_all(&aim, &spread(found, count)), "{what}");
        }
        let best = &answer.blends[0];
        grain_borne += usize::from(best.assessment.rubbed.sites.iter().any(|s| s.carried >= 1.0));
        let value = objective(&aim, &spread(best, count));
        assert_close(&format!("{what}: objective"), best.objective.unwrap(), value, 1e-9);
        assert!(value <= objective(&aim, &start) * (1.0 + 1e-4) + 1e-9, "{what}: not even its start");
        told += assert_no_grid_point_is_better(&aim, value, if count == 2 { 90 } else { 24 }, &what);
    }
    assert!(told > 5000, "only {told} points of the grids were held against the full model");
    assert!(grain_borne < 40, "{grain_borne} problems are grain-borne: most should not be");
}

#[test]
fn the_published_85_to_15_blend_lies_in_the_interval_found_and_worked_by_hand() {
    // Gradation report of a public road authority, 2025-12-01: opening in µm, % passing of stock A and B, limits.
    const REPORT: [(f64, f64, f64, f64, f64); 6] = [
        (75.0, 4.379, 13.69, 2.7, 6.7),
        (600.0, 14.74, 32.65, 12.0, 20.0),
        (2360.0, 32.83, 56.21, 29.0, 39.0),
        (4750.0, 52.78, 79.47, 48.0, 58.0),
        (12_500.0, 87.36, 100.0, 80.0, 92.0),
        (19_000.0, 98.76, 100.0, 91.0, 100.0),
    ];
    // By hand: a A + (1 − a) B within the limits of every opening. No. 4 governs: a ≥ (79.47 − 58) / (79.47 − 52.78).
    let (mut least, mut most) = (0.0_f64, 1.0_f64);
    for (_, a, b, low, high) in REPORT {
        // a A + (1 - a) B falls with a: B is the finer stock.
        least = least.max((b - high) / (b - a));
        most = most.min((b - low) / (b - a));
    }
    assert_close("by hand", least, 0.804_421, 1e-6);
    assert_close("by hand", most, 1.0, 1e-12);

    let folder = TempDir::new().unwrap();
    let table = |stock: fn(&(f64, f64, f64, f64, f64)) -> f64| {
        let rows = REPORT.iter().map(|r| format!("{},{}\n", r.0, stock(r))).collect::<String>();
        format!("size_um,cum_volume_pct\n1,0\n{rows}25000,100\n")
    };
    fs::write(folder.path().join("a.csv"), table(|r| r.1)).unwrap();
    fs::write(folder.path().join("b.csv"), table(|r| r.2)).unwrap();
    let limits: String = REPORT.iter().map(|r| format!("{{ um = {}, min = {}, max = {} }},", r.0, r.3, r.4)).collect();
    let share_of_a = |price_a: f64, price_b: f64| {
        let stock = |name: &str, price: f64| {
            format!(
                "[[powder]]\nname = \"{name}\"\ndensity_g_cm3 = 2.65\nhardness_gpa = 5\nroundness = 0.3\nprice_per_kg = \
                 {price}\nmin_pct = 0.0001\nsize = {{ laser = \"{}.csv\" }}\n",
                name.to_lowercase()
            )
        };
        let shelf = stock("A", price_a) + &stock("B", price_b);
        let aim = format!("load_pct = [10, 10]\nmax_powders = 2\ngoal = \"cheapest\"\npassing_pct = [{limits}]");
        let answer = read_aim(folder.path(), &shelf, &aim).solve(judge(), 1, None).unwrap();
        spread(&answer.blends[0], 2)[0] / 10.0
    };
    assert_close("by linear program, B cheap", share_of_a(2.0, 1.0), least, 1e-5);
    assert_close("by linear program, A cheap", share_of_a(1.0, 2.0), most, 1e-4);
    assert!((least..=most).contains(&0.85), "the published share");
}

#[test]
fn known_curves_are_found_again() {
    let folder = TempDir::new().unwrap();
    let powder = |name: &str, size: &str, price: f64| {
        format!("[[powder]]\nname = \"{name}\"\nmaterial = \"pumice\"\nprice_per_kg = {price}\nsize = {size}\n")
    };
    // Fuller's curve is the power law of exponent 0.5, the 0.45-power curve that of 0.45.
    let shelf = powder("Fuller", "{ ggs_size_um = 300, ggs_exponent = 0.5 }", 9.0)
        + &powder("Power", "{ ggs_size_um = 300, ggs_exponent = 0.45 }", 9.0)
        + &powder("fine", "{ d50_um = 40, gsd = 1.5 }", 1.0)
        + &powder("middle", "{ d50_um = 90, gsd = 1.5 }", 1.0)
        + &powder("coarse", "{ d50_um = 200, gsd = 1.4 }", 1.0);
    for (exponent, name) in [(0.5, "Fuller"), (0.45, "Power")] {
        let goal = format!("goal = \"closest-curve\"\ncurve = {{ ggs_size_um = 300, ggs_exponent = {exponent} }}");
        let aim = format!("load_pct = [3, 5]\nmax_powders = 3\n{goal}");
        let answer = read_aim(folder.path(), &shelf, &aim).solve(judge(), 1, None).unwrap();
        let best = &answer.blends[0];
        assert_eq!(best.scrub.blend.components()[0].powder.name, name);
        assert!(best.objective.unwrap() < 1e-6, "{name}: off by {:?}", best.objective);
        // Without the curve itself the three others come as near as a grid of their shares does.
        let aim = format!("load_pct = [4, 4]\nmax_powders = 3\nwithout = [\"Fuller\", \"Power\"]\n{goal}");
        let aim = read_aim(folder.path(), &shelf, &aim);
        let nearest = aim.solve(judge(), 1, None).unwrap().blends[0].objective.unwrap();
        let mut best = f64::INFINITY;
        for i in 0..=200 {
            for j in 0..=200 - i {
                let part = |n: i32| 4.0 * f64::from(n) / 200.0;
                best = best.min(objective(&aim, &[0.0, 0.0, part(i), part(j), part(200 - i - j)]));
            }
        }
        assert!(nearest <= best * (1.0 + 1e-4) && nearest > 0.98 * best, "{name}: {nearest}, grid {best}");
    }
    // A scrub's own curve gives its own shares back.
    let scrub = "[scrub]\nname = \"Old\"\npowder_load_pct = 4\n".to_owned()
        + &powder("fine", "{ d50_um = 40, gsd = 1.5 }\nparts = 3", 1.0)
        + &powder("coarse", "{ d50_um = 200, gsd = 1.4 }\nparts = 1", 1.0);
    fs::write(folder.path().join("old.toml"), scrub).unwrap();
    let aim = "load_pct = [4, 4]\nmax_powders = 2\nlike = \"old.toml\"\ngoal = \"closest-curve\"\ncurve = \"old.toml\"";
    let answer = read_aim(folder.path(), &shelf, aim).solve(judge(), 1, None).unwrap();
    let pct = spread(&answer.blends[0], 5);
    assert_close("fine", pct[2], 3.0, 1e-5);
    assert_close("coarse", pct[4], 1.0, 1e-5);
    // And the least change from it, under its own targets, is none.
    let aim = "load_pct = [3, 5]\nlike = \"old.toml\"\ngoal = \"least-change\"\nfrom = \"old.toml\"";
    let answer = read_aim(folder.path(), &shelf, aim).solve(judge(), 1, None).unwrap();
    assert!(answer.blends[0].objective.unwrap() < 1e-6);
    // Without its coarse powder, all of that has to go at least.
    let aim =
        "load_pct = [3, 5]\nwithout = [\"coarse\"]\nlike = \"old.toml\"\ngoal = \"least-change\"\nfrom = \"old.toml\"";
    let answer = read_aim(folder.path(), &shelf, aim).solve(judge(), 1, None).unwrap();
    assert!(answer.blends[0].objective.unwrap() >= 1.0);
}

#[test]
fn textbook_programs_through_the_same_solver() {
    // Stigler-type diet problem of Chvátal's textbook (1983, chapter 1): the cheapest day is 92.5 cents with 4 servings of
    // oatmeal, 4.5 of milk and 2 of pie, as its text works out.
    let mut diet = LinearProgram::new();
    // oatmeal, chicken, eggs, milk, cherry pie, pork with beans: cents, most servings; kcal, g protein, mg calcium.
    let foods = [
        (3.0, 4.0, [110.0, 4.0, 2.0]),
        (24.0, 3.0, [205.0, 32.0, 12.0]),
        (13.0, 2.0, [160.0, 13.0, 54.0]),
        (9.0, 8.0, [160.0, 8.0, 285.0]),
        (20.0, 2.0, [420.0, 4.0, 22.0]),
        (19.0, 2.0, [260.0, 14.0, 80.0]),
    ];
    for (cents, most, _) in foods {
        diet.variable(cents, 0.0, most);
    }
    for (i, need) in [2000.0, 55.0, 800.0].into_iter().enumerate() {
        diet.row(foods.iter().enumerate().map(|(j, f)| (j, f.2[i] / need)).collect(), 1.0, f64::INFINITY);
    }
    let least = diet.minimise().unwrap();
    assert_close("diet, cents", least.cost, 92.5, 1e-7);
    assert_close("diet, milk", least.at[3], 4.5, 1e-7);
    // Least absolute deviations: of a constant it is the median, whatever the outlier.
    let mut median = LinearProgram::new();
    median.variable(0.0, -100.0, 100.0);
    for y in [1.0, 2.0, 4.0, 7.0, 90.0] {
        let (over, under) = (median.variable(1.0, 0.0, 200.0), median.variable(1.0, 0.0, 200.0));
        median.row(vec![(0, 1.0), (over, -1.0), (under, 1.0)], y, y);
    }
    assert_close("median", median.minimise().unwrap().at[0], 4.0, 1e-7);
}

/// Ten problems on invented shelves of eight: shelf, aim.
fn ten_problems() -> Vec<(String, String)> {
    let mut random = Random(2026);
    let problem = |i: usize| {
        let shelf = random_shelf(&mut random, 8);
        let index = 60.0 + 12.0 * i as f64;
        let aim = format!(
            "index = [{index}, {}]\nband = \"{}\"\nload_pct = [{}, 7]\nd99_um = {}\nmax_powders = {}\npassing_pct = [{{ um = 125, \
             min = {}, max = 80 }}]\ngoal = \"cheapest\"",
            index * 1.3,
            if i < 7 { "face" } else { "delicate-face" },
            2.0 + 0.2 * i as f64,
            350 + 20 * i,
            2 + i % 2,
            20 + 2 * i
        );
        (shelf, aim)
    };
    (0..10).map(problem).collect()
}

/// The programs of the ten problems, for `tests/reference/aim_reference.py`.
fn ten_programs() -> Value {
    let folder = TempDir::new().unwrap();
    let program = |(shelf, aim): (String, String)| {
        let aim = read_aim(folder.path(), &shelf, &aim);
        serde_json::json!({ "max_powders": aim.max_powders, "programs": aim.shared_programs(judge()) })
    };
    ten_problems().into_iter().map(program).collect()
}

#[test]
#[ignore = "writes tests/reference/aim_programs.json for the Python script"]
fn write_the_ten_programs() {
    let path = root().join("tests/reference/aim_programs.json");
    fs::write(path, serde_json::to_string_pretty(&ten_programs()).unwrap() + "\n").unwrap();
}

#[test]
fn ten_optima_are_those_of_scipy() {
    let (kept, optima) = (reference("aim_programs.json"), reference("aim_optima.json"));
    let now = ten_programs();
    let folder = TempDir::new().unwrap();
    let mut feasible = 0;
    for (i, (shelf, aim)) in ten_problems().into_iter().enumerate() {
        for (a, b) in numbers_in(&kept[i]).iter().zip(numbers_in(&now[i])) {
            crate::common::assert_near(&format!("program {i}"), b, *a, 1e-9, 1e-12);
        }
        let answer = read_aim(folder.path(), &shelf, &aim).solve(judge(), 1, None).unwrap();
        let found = answer.blends.first().map(|f| f.objective.unwrap());
        crate::common::assert_both(&format!("problem {i}"), found, optima[i]["cost"].as_f64(), 1e-5);
        feasible += usize::from(found.is_some());
    }
    assert!((5..10).contains(&feasible), "{feasible} of ten are feasible: both kinds should be there");
}

/// All numbers of a JSON value, in order.
fn numbers_in(value: &Value) -> Vec<f64> {
    match value {
        Value::Array(items) => items.iter().flat_map(numbers_in).collect(),
        Value::Object(items) => items.values().flat_map(numbers_in).collect(),
        other => other.as_f64().into_iter().collect(),
    }
}

/// Least cost of a set of a program's powders, all of them used.
fn cost_of(program: &SharedProgram, set: &[usize]) -> Option<f64> {
    let mut linear = LinearProgram::new();
    for &m in set {
        linear.variable(program.cost[m], program.least_pct[m], program.most_pct[m]);
    }
    linear.row((0..set.len()).map(|j| (j, 1.0)).collect(), program.load_pct[0], program.load_pct[1]);
    for (row, (low, high)) in program.rows.iter().zip(program.low.iter().zip(&program.high)) {
        let terms = set.iter().enumerate().map(|(j, m)| (j, row[*m])).collect();
        linear.row(terms, low.unwrap_or(f64::NEG_INFINITY), high.unwrap_or(f64::INFINITY));
    }
    linear.minimise().ok().map(|m| m.cost)
}

#[test]
fn branch_and_bound_finds_what_enumeration_finds() {
    // Every set of at most 3 of 16 powders solved on its own: the best, the second and the third that is no mere addition.
    let folder = TempDir::new().unwrap();
    let (mut compared, mut none) = (0, 0);
    for seed in 0..12 {
        let shelf = random_shelf(&mut Random(99 + seed), 16);
        let narrow = if seed % 3 == 2 { (50.0, 50.4) } else { (30.0, 60.0) };
        let aim = format!(
            "index = [70, 100]\nband = \"face\"\nload_pct = [3, 5]\nd99_um = 500\nmax_powders = 3\npassing_pct = [{{ um = 100, min \
             = {}, max = {} }}]\ngoal = \"cheapest\"",
            narrow.0, narrow.1
        );
        let aim = read_aim(folder.path(), &shelf, &aim);
        let answer = aim.solve(judge(), 3, None).unwrap();
        let programs = aim.shared_programs(judge());
        let best_of = |set: &[usize]| programs.iter().filter_map(|p| cost_of(p, set)).reduce(f64::min);
        let mut sets: Vec<(f64, Vec<usize>)> = Vec::new();
        for i in 0..16 {
            sets.extend(best_of(&[i]).map(|c| (c, vec![i])));
            for j in i + 1..16 {
                sets.extend(best_of(&[i, j]).map(|c| (c, vec![i, j])));
                sets.extend((j + 1..16).filter_map(|k| Some((best_of(&[i, j, k])?, vec![i, j, k]))));
            }
        }
        sets.sort_by(|a, b| a.0.total_cmp(&b.0));
        let adds = |(at, (_, set)): (usize, &(f64, Vec<usize>))| {
            sets[..at].iter().any(|(_, s)| s.iter().all(|m| set.contains(m)))
        };
        let own: Vec<f64> = sets.iter().enumerate().filter(|s| !adds((s.0, s.1))).map(|(_, s)| s.0).collect();
        assert_eq!(answer.blends.len(), own.len().min(3), "seed {seed}");
        assert!(answer.stopped_at.is_none() && answer.doubtful == 0, "seed {seed}: {:?}", answer.remarks);
        for (i, found) in answer.blends.iter().enumerate() {
            assert_close(&format!("seed {seed}, rank {}", i + 1), found.objective.unwrap(), own[i], 2e-6);
            compared += 1;
        }
        none += usize::from(own.is_empty());
        // The fewest powders are as many as the smallest set that has any shares.
        let fewest = Aim { goal: Goal::FewestPowders, ..aim.clone() }.solve(judge(), 1, None).unwrap();
        let least = sets.iter().map(|s| s.1.len()).min();
        assert_eq!(fewest.blends.first().map(|f| f.shares.len()), least, "seed {seed}");
    }
    assert!(compared >= 15, "only {compared} blends compared, {none} shelves without one");
}

#[test]
fn a_grain_borne_blend_is_corrected_and_said_to_be() {
    // A salt scrub at a load at which the grains carry all of the rub: with 40 % of this salt alone the index is 353, and
    // more of it cushions.
    let folder = TempDir::new().unwrap();
    let shelf = "[[powder]]\nname = \"Salt\"\nmaterial = \"salt\"\nprice_per_kg = 1\nsize = { d50_um = 350, gsd = 1.3 }\n\
                 [[powder]]\nname = \"Pumice\"\nmaterial = \"pumice\"\nprice_per_kg = 4\nsize = { d50_um = 150, gsd = 1.4 }\n";
    let aim = "index = [250, 300]\nload_pct = [40, 60]\ngoal = \"cheapest\"";
    let aim = read_aim(folder.path(), shelf, aim);
    let answer = aim.solve(judge(), 1, None).unwrap();
    let best = &answer.blends[0];
    assert_eq!(best.partition(judge()).label(), "grain-borne");
    assert!(meets_all(&aim, &spread(best, 2)));
    assert_no_grid_point_is_better(&aim, best.objective.unwrap(), 120, "salt");
}

#[test]
fn no_blend_names_an_irreducible_set() {
    let folder = TempDir::new().unwrap();
    let mut random = Random(5);
    let shelf = random_shelf(&mut random, 5);
    let aim = read_aim(
        folder.path(),
        &shelf,
        "index = [300, 320]\nband = \"delicate-face\"\nload_pct = [2, 6]\nmax_powders = 3\ngoal = \"cheapest\"",
    );
    let answer = aim.solve(judge(), 3, None).unwrap();
    assert!(answer.blends.is_empty());
    let conflict = answer.conflict.unwrap();
    let set: Vec<Target> = conflict.set.iter().map(|c| c.target).collect();
    assert_eq!(set, [Target::Index, Target::Band], "an index of 300 is beyond the band's limit, whatever else");
    // Alone, the index would have to come down to the band's limit, and that to rise to 300.
    let limit = judge().bands()[judge().rank_of("delicate face").unwrap()].limit(Criterion::Index);
    assert_close("index gives way", conflict.set[0].off_by.unwrap(), 300.0 - limit, 1e-3);
    assert!(conflict.set[1].off_by.unwrap() >= 100.0 * (300.0 / limit - 1.0) * 0.999);
    assert!(conflict.is_proven);
    let nearest = conflict.nearest.unwrap();
    assert!(!conflict.misses.is_empty());
    assert!(conflict.misses.iter().all(|(t, by)| aim.misses_by(*t, &nearest, judge()) == *by));
    // One target alone that the shelf cannot meet, and a count that is too small.
    let aim = read_aim(folder.path(), &shelf, "load_pct = [12, 14]\nmax_powders = 1\ngoal = \"cheapest\"");
    let conflict = aim.solve(judge(), 1, None).unwrap().conflict.unwrap();
    let set: Vec<Target> = conflict.set.iter().map(|c| c.target).collect();
    assert_eq!(set, [Target::Load, Target::MaxPowders, Target::Shelf]);
    assert_eq!(conflict.set[1].off_by, Some(1.0), "two powders would do");
}

#[test]
fn band_exactly_is_not_met_by_a_milder_blend() {
    let folder = TempDir::new().unwrap();
    let mut random = Random(11);
    let shelf = random_shelf(&mut random, 6);
    for band in ["face", "body", "hands-and-feet"] {
        let aim = format!("band_exactly = \"{band}\"\nload_pct = [1, 9]\nmax_powders = 2\ngoal = \"cheapest\"");
        let aim = read_aim(folder.path(), &shelf, &aim);
        for found in aim.solve(judge(), 3, None).unwrap().blends {
            assert_eq!(judge().band_name(found.assessment.verdict.rank), band.replace('-', " "));
        }
        let best = aim.solve(judge(), 1, None).unwrap();
        assert!(band != "face" || !best.blends.is_empty());
    }
}

#[test]
fn rounding_keeps_every_target() {
    let folder = TempDir::new().unwrap();
    let mut random = Random(21);
    for i in 0..20 {
        let (mut aim, _) = random_problem(&mut random, folder.path(), 2 + i % 2, 0);
        aim.batch_g = 200.0;
        let answer = aim.solve(judge(), 1, Some(0.01)).unwrap();
        let found = &answer.blends[0];
        let exact = aim.solve(judge(), 1, None).unwrap();
        assert_eq!(found.rounding, Rounding::To(0.01), "problem {i}");
        assert!(meets_all(&aim, &spread(found, aim.shelf.len())), "problem {i}");
        for (_, pct) in &found.shares {
            let steps = pct / 100.0 * 200.0 / 0.01;
            assert!((steps - steps.round()).abs() < 1e-6, "problem {i}: {steps}");
        }
        let (rounded, best) = (found.objective.unwrap(), exact.blends[0].objective.unwrap());
        assert!(rounded >= best * (1.0 - 1e-6) && rounded < best * 1.02, "problem {i}: {rounded} against {best}");
    }
}

#[test]
fn the_whole_command() {
    let folder = TempDir::new().unwrap();
    let into = folder.path().join("found");
    let into = into.to_str().unwrap();
    let example = "examples/aim-cheapest-face.toml";
    let (code, out, _) =
        run_in(root(), &["aim", example, "--json", "--write", into, "--resolution", "0.1g", "--plot", into]);
    assert_eq!(code, 0);
    let result: Value = serde_json::from_str(&out).unwrap();
    assert_eq!(result["status"], "found");
    let blends = result["blends"].as_array().unwrap();
    assert_eq!(blends.len(), 3);
    assert!(result["conflicts"].as_array().unwrap().is_empty());
    for (i, blend) in blends.iter().enumerate() {
        assert_eq!(blend["rank"], i + 1);
        let file = format!("{into}/aim-cheapest-face-{}.toml", i + 1);
        let (code, out, _) = run_in(root(), &["blend", &file, "--json", "--require", "face"]);
        assert_eq!(code, 0, "{file}");
        let again: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(again["index"]["value"], blend["index"]);
        assert_eq!(again["scrub"]["cost_per_kg"], blend["cost_per_kg"]);
        assert_eq!(again["scrub"]["powder_load_pct"], blend["load_pct"]);
        assert_eq!(again["band"]["name"], blend["band"]);
        let d99 = |value: &Value| value.as_f64().unwrap();
        assert_close("D99", d99(&blend["d99_um"]), d99(&again["blend"]["by_volume"]["d99_um"]), 1e-10);
        assert_eq!(blend["rub"], "shared");
        for powder in blend["powders"].as_array().unwrap() {
            let tenths = powder["grams"].as_f64().unwrap() * 10.0;
            assert!((tenths - tenths.round()).abs() < 1e-6, "{powder}");
            assert!(powder["pct_of_scrub"].is_number() && powder["name"].is_string());
        }
    }
    let pictures = fs::read_dir(into).unwrap().filter(|e| {
        let path = e.as_ref().unwrap().path();
        path.extension().is_some_and(|e| e == "svg")
    });
    assert_eq!(pictures.count(), 2);
    // Nothing is replaced unasked.
    let (code, out, message) = run_in(root(), &["aim", example, "--write", into]);
    assert_eq!((code, out.as_str()), (2, ""), "{message}");
    assert_eq!(run_in(root(), &["aim", example, "--write", into, "--force"]).0, 0);
    // No blend.
    let (code, out, _) = run_in(root(), &["aim", "examples/aim-too-much.toml", "--json"]);
    let result: Value = serde_json::from_str(&out).unwrap();
    assert_eq!((code, &result["status"]), (1, &Value::from("none")));
    assert_eq!(result["conflicts"].as_array().unwrap().len(), 2);
    assert!(result["conflicts"][0]["target"].is_string() && result["conflicts"][0]["off_by"].is_number());
    assert!(result["nearest"]["misses"].as_array().unwrap().iter().all(|m| m["off_by"].is_number()));
    let (code, out, _) = run_in(root(), &["aim", "examples/aim-too-much.toml"]);
    assert!(code == 1 && out.contains("a model") && out.contains("cannot hold together"));
}

#[test]
fn bad_aim_files() {
    let good = "[aim]\nname = \"A\"\nshelf = \"shelf.toml\"\nindex = [60, 100]\nload_pct = [2, 6]\nmax_powders = 2\ngoal = \
                \"cheapest\"\n";
    let shelf = "[[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\nsize = { d50_um = 60, gsd = 1.6 }\nprice_per_kg = 4\n\
                 [[powder]]\nname = \"Olive\"\nmaterial = \"olive-stone\"\nsize = { d50_um = 160, gsd = 1.4 }\nprice_per_kg = 6\n";
    let aim = |from: &str, to: &str| (good.replace(from, to), shelf.to_owned());
    let shelved = |from: &str, to: &str| (good.to_owned(), shelf.replace(from, to));
    let cases: Vec<(&str, (String, String), Vec<&str>)> = vec![
        ("unknown key", aim("load_pct", "laod_pct"), vec!["aim.toml:5:1", "did you mean \"load_pct\""]),
        ("no shelf", aim("shelf = \"shelf.toml\"\n", ""), vec!["shelf is missing"]),
        ("missing shelf", aim("shelf.toml", "selfh.toml"), vec!["aim.toml:3:", "no such file"]),
        ("no name", aim("name = \"A\"\n", ""), vec!["name is missing"]),
        ("no goal", aim("goal = \"cheapest\"\n", ""), vec!["goal is missing"]),
        ("unknown goal", aim("\"cheapest\"", "\"cheapset\""), vec!["aim.toml:7:", "did you mean \"cheapest\""]),
        ("index the wrong way", aim("[60, 100]", "[100, 60]"), vec!["aim.toml:4:", "above the second"]),
        ("index of text", aim("[60, 100]", "\"x\""), vec!["two numbers"]),
        ("index nan", aim("[60, 100]", "[nan, 100]"), vec!["aim.toml:4:", "must lie between"]),
        ("load over 100", aim("[2, 6]", "[2, 600]"), vec!["must lie between 0 and 100"]),
        ("load the wrong way", aim("[2, 6]", "[6, 2]"), vec!["aim.toml:5:", "above the second"]),
        ("k of 7", aim("max_powders = 2", "max_powders = 7"), vec!["aim.toml:6:", "1 to 6"]),
        ("k of 0", aim("max_powders = 2", "max_powders = 0"), vec!["1 to 6"]),
        ("k of 1.5", aim("max_powders = 2", "max_powders = 1.5"), vec!["whole number"]),
        ("index and like", aim("load_pct", "like = \"old.toml\"\nload_pct"), vec!["index and like"]),
        ("missing like", aim("index = [60, 100]", "like = \"gone.toml\""), vec!["aim.toml:4:", "no such file"]),
        ("unknown band", aim("load_pct", "band = \"fase\"\nload_pct"), vec!["no band \"fase\"", "\"face\""]),
        (
            "two bands",
            aim("load_pct", "band = \"face\"\nband_exactly = \"face\"\nload_pct"),
            vec!["band and band_exactly"],
        ),
        (
            "unknown without",
            aim("load_pct", "without = [\"olvie-stone\"]\nload_pct"),
            vec!["did you mean \"olive-stone\""],
        ),
        ("negative d99", aim("load_pct", "d99_um = -3\nload_pct"), vec!["d99_um", "a size must be"]),
        ("batch of nothing", aim("load_pct", "batch_g = 0\nload_pct"), vec!["batch_g must be above 0"]),
        (
            "passing the wrong way",
            aim("load_pct", "passing_pct = [{ um = 100, min = 60, max = 40 }]\nload_pct"),
            vec!["min = 60 is above max = 40"],
        ),
        ("passing nothing", aim("load_pct", "passing_pct = [{ um = 100 }]\nload_pct"), vec!["min, max or both"]),
        (
            "passing key",
            aim("load_pct", "passing_pct = [{ um = 100, maks = 3 }]\nload_pct"),
            vec!["unknown key \"maks\"", "\"max\""],
        ),
        (
            "curve without its goal",
            aim("load_pct", "curve = { d50_um = 60, gsd = 2 }\nload_pct"),
            vec!["closest-curve"],
        ),
        ("closest to nothing", aim("\"cheapest\"", "\"closest-curve\""), vec!["needs a curve"]),
        ("change of nothing", aim("\"cheapest\"", "\"least-change\""), vec!["needs the scrub"]),
        ("no price", shelved("price_per_kg = 6\n", ""), vec!["price_per_kg to: Olive"]),
        (
            "powder without size",
            shelved("size = { d50_um = 160, gsd = 1.4 }\n", ""),
            vec!["shelf.toml:6:", "size is missing"],
        ),
        (
            "min over max",
            shelved("price_per_kg = 6", "price_per_kg = 6\nmin_pct = 5\nmax_pct = 1"),
            vec!["min_pct = 5"],
        ),
        (
            "stock too small",
            (
                good.replace("load_pct = [2, 6]", "load_pct = [2, 6]\nbatch_g = 10000"),
                shelf.replace("price_per_kg", "stock_g = 50\nprice_per_kg"),
            ),
            vec!["stock is too small", "200 g"],
        ),
        ("not TOML", ("[aim".to_owned(), shelf.to_owned()), vec!["not valid TOML"]),
    ];
    for (what, (aim, shelf), wanted) in cases {
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("aim.toml"), aim).unwrap();
        fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
        fs::write(folder.path().join("old.toml"), shelf_scrub()).unwrap();
        let (code, out, message) = run_in(folder.path(), &["aim", "aim.toml"]);
        assert_eq!((code, out.as_str()), (2, ""), "{what}: {message}");
        assert!(!message.contains("panicked"), "{what}: {message}");
        for part in wanted {
            assert!(message.contains(part), "{what}: {part:?} is not in {message:?}");
        }
    }
    for call in [
        &["aim"][..],
        &["aim", "gone.toml"],
        &["aim", "examples/aim-cheapest-face.toml", "--resolution", "x"],
        &["aim", "examples/aim-cheapest-face.toml", "--resolution", "50g"],
    ] {
        assert_eq!(run_in(root(), call).0, 2, "{call:?}");
    }
}

#[test]
fn every_way_to_state_a_size_survives_being_written() {
    let folder = TempDir::new().unwrap();
    fs::create_dir(folder.path().join("lots")).unwrap();
    let lot = "opening_um,retained_g\n212,0\n150,30\n106,50\npan,20\n";
    fs::write(folder.path().join("lots/lot.csv"), lot).unwrap();
    let shelf = "[[powder]]\nname = \"A \\\"quoted\\\"\"\nmaterial = \"rice-bran\"\nsize = \"mesh -100+200\"\nprice_per_kg = 1\n\
                 min_pct = 1\n[[powder]]\nname = \"B\"\nmaterial = \"bamboo\"\nprice_per_kg = 1\nmin_pct = 1\n[powder.size]\nsieve = \
                 'lots/lot.csv'\n[[powder]]\nname = \"C\"\nmohs = 6\ndensity_g_cm3 = 2.3\nroundness_class = \"angular\"\nsize = { \
                 laser = \"laser.csv\" }\nprice_per_kg = 1\nmin_pct = 1\n";
    fs::write(folder.path().join("laser.csv"), "size_um,cum_volume_pct\n20,0\n50,40\n90,100\n").unwrap();
    let aim = read_aim(folder.path(), shelf, "load_pct = [4, 4]\ngoal = \"fewest-powders\"");
    let shares: Vec<_> = aim.shelf.iter().map(|s| (s, 4.0 / 3.0)).collect();
    let written = files::write_scrub("All \"three\"", "note", &shares, "x-").unwrap();
    let out = TempDir::new().unwrap();
    for (table, name) in &written.tables {
        fs::copy(table, out.path().join(name)).unwrap();
    }
    let again = files::read_scrub(Source::text(&written.text, "x.toml", out.path()), tables())
        .unwrap_or_else(|e| panic!("{e}\n{}", written.text));
    for (component, shelf) in again.blend.components().iter().zip(&aim.shelf) {
        // Only the path in the description of the sizes differs.
        let (again, before) = (&component.powder, &shelf.powder);
        assert_eq!(again.size.distribution, before.size.distribution);
        let rest = |p: &gritwise::powder::Powder| {
            (p.name.clone(), p.density.value, p.hardness.value, p.roundness.value, p.stock.price_per_kg)
        };
        assert_eq!(rest(again), rest(before));
    }
}

fn shelf_scrub() -> &'static str {
    "[scrub]\nname = \"Old\"\npowder_load_pct = 4\n[[powder]]\nmaterial = \"rice-bran\"\nparts = 1\nsize = { d50_um = 60, gsd = \
     1.6 }\n"
}

/// Two clashes at once: to let one target go is enough only where it is in both; how far it has to give way is what the nearest blend, which
/// misses it alone, misses.
#[test]
fn what_would_have_to_give_way_is_told_for_all_others_to_hold() {
    let folder = tempfile::tempdir().unwrap();
    let shelf = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/");
    for name in ["shelf.toml", "olive-stone-sieved.csv", "pumice-laser.csv", "bamboo-counts.csv"] {
        std::fs::copy(format!("{shelf}{name}"), folder.path().join(name)).unwrap();
    }
    let text = "[aim]\nname = \"Clash\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\nindex = [60, 100]\nload_pct = [3, 6]\n\
                passing_pct = [{ um = 150, min = 40, max = 90 }, { um = 100, min = 95 }]\n";
    std::fs::write(folder.path().join("clash.toml"), text).unwrap();
    let (status, out, message) = run_in(folder.path(), &["aim", "clash.toml", "--json"]);
    assert_eq!(status, 1, "{message}");
    let report: Value = serde_json::from_str(&out).unwrap();
    let (conflicts, misses) =
        (report["conflicts"].as_array().unwrap(), report["nearest"]["misses"].as_array().unwrap());
    let enough: Vec<&Value> = conflicts.iter().filter(|c| c["enough"] == true).collect();
    assert!(enough.len() == 1 && conflicts.len() > 1 && misses.len() == 1, "{conflicts:?} {misses:?}");
    assert_eq!(enough[0]["target"], misses[0]["target"]);
    let [by, missed] = [&enough[0], &&misses[0]].map(|c| c["off_by"].as_f64().unwrap());
    assert!((by / missed - 1.0).abs() < 0.01, "{by} and {missed}");
    assert!(conflicts.iter().all(|c| c["enough"] == true || c["off_by"].is_null()), "{conflicts:?}");
}

/// While film and skin share the rub the index rises as the root of the load: by hand, an index of 200 needs (200 / i)² times the load of i.
#[test]
fn how_far_a_load_is_short_of_an_index_is_told() {
    let folder = tempfile::tempdir().unwrap();
    let powder = |name: &str, um: f64| {
        format!(
            "[[powder]]\nname = \"{name}\"\nmaterial = \"olive-stone\"\nsize = {{ d50_um = {um}, gsd = 1.3 }}\nprice_per_kg = 2\n"
        )
    };
    std::fs::write(folder.path().join("shelf.toml"), powder("A", 120.0) + &powder("B", 200.0)).unwrap();
    let text = "[aim]\nname = \"Thin\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\nindex = [200, 260]\nload_pct = [0.4, 0.5]\n";
    std::fs::write(folder.path().join("thin.toml"), text).unwrap();
    let (status, out, message) = run_in(folder.path(), &["aim", "thin.toml", "--json"]);
    assert_eq!(status, 1, "{message}");
    let report: Value = serde_json::from_str(&out).unwrap();
    let nearest = &report["nearest"]["blend"];
    let (load, index) = (nearest["load_pct"].as_f64().unwrap(), nearest["index"].as_f64().unwrap());
    assert!((load - 0.5).abs() < 1e-6 && nearest["rub"] == "shared", "{nearest}");
    let conflicts = report["conflicts"].as_array().unwrap();
    let of_load = conflicts.iter().find(|c| c["target"].as_str().unwrap().starts_with("powder load")).unwrap();
    let short = load * ((200.0 / index).powi(2) - 1.0);
    assert!((of_load["off_by"].as_f64().unwrap() / short - 1.0).abs() < 1e-3, "{of_load}, not {short}");
}

/// Blends that the balance cannot weigh with all targets met are no answer: 0.5 g on a balance of 1 g.
#[test]
fn what_a_coarse_balance_cannot_weigh_is_a_no() {
    let folder = TempDir::new().unwrap();
    for entry in fs::read_dir(root().join("examples")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    let aim = "[aim]\nname = \"A\"\nshelf = \"shelf.toml\"\nindex = [150, 315]\nband = \"body\"\nload_pct = [1, 1.5]\nmax_powders = 2\n\
               goal = \"fewest-powders\"\nwithout = [\"cereal\"]\nbatch_g = 100\npassing_pct = [{ um = 63, min = 40, max = 80 }]\n";
    fs::write(folder.path().join("aim.toml"), aim).unwrap();
    let (code, out, message) = run_in(folder.path(), &["aim", "aim.toml", "--resolution", "1g"]);
    assert_eq!(code, 1, "{message}");
    assert!(out.contains("its shares are not rounded") && !out.contains("then rounded"), "{out}");
    assert_eq!(run_in(folder.path(), &["aim", "aim.toml"]).0, 0);
}
