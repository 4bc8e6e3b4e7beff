//! `gritwise plan`, `gritwise ask`, `gritwise panel --paired` and `--triangle`.

use crate::common::run_in;
use serde_json::Value;
use std::collections::HashMap;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn json(args: &[&str]) -> (i32, Value) {
    let (status, out, err) = run_in(root(), &[args, &["--json"]].concat());
    (status, serde_json::from_str(&out).unwrap_or_else(|_| panic!("{args:?}: {err}")))
}

fn refused(args: &[&str], wanted: &str) {
    let (status, _, err) = run_in(root(), args);
    assert!(status == 2 && err.contains(wanted), "{args:?}: {err}");
}

fn servings(plan: &Value) -> Vec<Vec<(String, u64)>> {
    let cup = |s: &Value| (s["scrub"].as_str().unwrap().to_owned(), s["code"].as_u64().unwrap());
    let all = plan["servings"].as_array().unwrap();
    all.iter().map(|t| t["served"].as_array().unwrap().iter().map(cup).collect()).collect()
}

#[test]
fn a_panel_has_the_power_wanted_in_whole_rounds() {
    // A difference of half the standard deviation of differences: 34 tasters (Cohen 1988, from memory).
    let sd = format!("{}", 2.0 / 2f64.sqrt());
    let (status, plan) = json(&["plan", "panel", "--difference", "1", "--sd", &sd]);
    assert_eq!((status, plan["needed"].as_u64(), plan["tasters"].as_u64()), (0, Some(34), Some(34)));
    assert!((plan["power"].as_f64().unwrap() - 0.807_777_5).abs() < 1e-6);
    let (_, plan) = json(&["plan", "panel", "--scrubs", "3", "--difference", "1", "--sd", "1.5"]);
    assert_eq!(
        (plan["needed"].as_u64(), plan["tasters"].as_u64(), plan["round"].as_u64()),
        (Some(49), Some(54), Some(6))
    );
    // In whole rounds each scrub follows each other equally often.
    let mut follows: HashMap<(String, String), usize> = HashMap::new();
    let served = servings(&plan);
    for cups in &served {
        cups.windows(2).for_each(|w| *follows.entry((w[0].0.clone(), w[1].0.clone())).or_default() += 1);
    }
    assert!(follows.len() == 6 && follows.values().all(|n| *n == 18), "{follows:?}");
    let mut codes: Vec<u64> = served.iter().flatten().map(|c| c.1).collect();
    codes.sort_unstable();
    codes.dedup();
    assert!(codes.len() == 162 && codes.iter().all(|c| (100..=999).contains(c)));
    // Fewer tasters at hand have less power, and that is said.
    let few = ["plan", "panel", "--scrubs", "3", "--difference", "1", "--sd", "1.5", "--tasters", "8"];
    let (status, plan) = json(&few);
    assert_eq!((status, plan["tasters"].as_u64()), (1, Some(8)));
    assert!(plan["power"].as_f64().unwrap() < 0.2);
    let (_, out, _) = run_in(root(), &few);
    assert!(out.contains("Fewer than needed") && out.contains("no whole rounds"), "{out}");
    // The same seed, the same plan; another, another.
    let again = |seed: &str| json(&[&few[..], &["--seed", seed]].concat()).1["servings"].clone();
    assert!(again("1") == plan["servings"] && again("2") != plan["servings"]);
}

/// Least right answers of ISO 4120, table A.1, and ISO 5495, table A.1: from memory.
#[test]
fn two_scrubs_are_told_apart_by_the_standards() {
    let (status, plan) = json(&["plan", "panel", "--test", "triangle", "--distinguish", "50%", "--tasters", "24"]);
    assert_eq!((status, plan["least_right"].as_u64(), plan["needed"].as_u64()), (0, Some(13), Some(16)));
    let orders: HashMap<String, usize> = servings(&plan).iter().fold(HashMap::new(), |mut all, cups| {
        *all.entry(cups.iter().map(|c| c.0.as_str()).collect()).or_default() += 1;
        all
    });
    assert!(orders.len() == 6 && orders.values().all(|n| *n == 4), "{orders:?}");
    let (_, plan) = json(&["plan", "panel", "--test", "paired", "--distinguish", "40", "--power", "0.9"]);
    assert_eq!(plan["needed"], 53);
    assert!(plan["power"].as_f64().unwrap() >= 0.9 && plan["tasters"].as_u64().unwrap() % 2 == 0);
    for (args, status, needed) in [
        (["panel", "--paired", "18/25"], 0, 18),
        (["panel", "--paired", "17/25"], 1, 18),
        (["panel", "--triangle", "15/30"], 0, 15),
        (["panel", "--triangle", "14/30"], 1, 15),
        (["panel", "--triangle", "0/30"], 1, 15),
        (["panel", "--paired", "3/3"], 1, 0),
    ] {
        let (found, report) = json(&args);
        assert_eq!(
            (found, report["needed"].as_u64(), report["yes"].as_bool()),
            (status, Some(needed).filter(|n| *n > 0), Some(status == 0))
        );
    }
    // Chance alone makes five of five right in 1 of 32, and three of three in a triangle test in 1 of 27; fewer are never under 5 %.
    for (args, wanted) in [
        (["panel", "--triangle", "1/1"], "no number of right answers is enough of so few: ask 3 tasters or more"),
        (["panel", "--paired", "3/3"], "no number of right answers is enough of so few: ask 5 tasters or more"),
        (["panel", "--paired", "5/25"], "The answers point to the other: 20 of 25 felt it as milder than B"),
        (["panel", "--triangle", "2/30"], "were codes swapped, or right answers counted as wrong"),
        (["panel", "--triangle", "0/10"], "were codes swapped"),
    ] {
        let (found, report) = json(&args);
        let said = report["answer"].as_str().unwrap();
        assert!(found == 1 && said.contains(wanted), "{said}");
        // Of the last three the exact upper end lies below chance (Clopper and Pearson, by hand for 0 of 10: 1 - 0.025^0.1 = 0.308), so
        // that no share of people who can tell goes with them.
        let below = !said.contains("enough of so few");
        assert_eq!(report["distinguish_high_pct"].is_null(), below, "{args:?}");
        let text = run_in(Path::new("."), &args).1;
        assert_eq!(text.contains("Of people"), !below, "{text}");
        assert!(!text.contains("0 % can tell (0 to 0") && !text.contains("up to 0 %"), "{text}");
    }
    // Fewer right than by chance, if not by far, do not say that nobody can tell.
    for args in [["panel", "--paired", "8/25"], ["panel", "--triangle", "8/25"]] {
        let text = run_in(Path::new("."), &args).1;
        assert!(text.contains("No more are right than by chance: of people up to") && !text.contains(" 0 %"), "{text}");
    }
    // scipy.stats.binom: P(18 or more of 25).
    let (_, report) = json(&["panel", "--paired", "18/25"]);
    assert!((report["p_one_sided"].as_f64().unwrap() - 0.021_642_6).abs() < 1e-7);
    assert!((report["p_two_sided"].as_f64().unwrap() - 0.043_285_3).abs() < 1e-7);
    assert!(report["answer"].as_str().unwrap().starts_with("Yes: they feel B as milder"));
    let (_, report) = json(&["panel", "--triangle", "14/30"]);
    assert!(report["p_two_sided"].is_null());
    assert!(report["notes"].to_string().contains("does not mean that there is none"));
}

#[test]
fn a_plan_that_is_kept_has_score_sheets() {
    let folder = TempDir::new().unwrap();
    let args = ["plan", "panel", "--test", "paired", "--distinguish", "60%", "--write", "p.html", "--write", "p.txt"];
    let (status, out, err) = run_in(folder.path(), &args);
    assert_eq!(status, 0, "{err}");
    let kept = fs::read_to_string(folder.path().join("p.txt")).unwrap();
    assert!(!out.contains("Score sheets") && kept.contains("Score sheets") && kept.contains("Taster 2\n"));
    assert!(kept.contains("Which one feels milder?"));
    let page = fs::read_to_string(folder.path().join("p.html")).unwrap();
    assert!(page.contains("<h3>Taster 1</h3>") && page.contains("written consent"));
}

#[test]
fn a_stability_plan_is_drawn_from_what_is_open() {
    let polish = "examples/millrace-acid-polish.toml";
    let (status, plan) = json(&["plan", "stability", polish, "--date", "2026-12-01"]);
    assert_eq!(status, 0);
    let tests = plan["tests"].as_array().unwrap();
    let because = |word: &str| {
        let test = tests.iter().find(|t| t["test"].as_str().unwrap().contains(word));
        test.map_or_else(String::new, |t| t["because"].to_string())
    };
    assert!(because("ISO 11930").contains("water") && because("aerobic").contains("water"));
    assert!(because("cap and orifice").contains("every scrub"));
    assert!(because("grains washed out").contains("Rice bran"));
    assert!(because("smell against").contains("Osier blossom scent"));
    assert_eq!(because("colour against"), "", "there is no colour in it");
    // 84 days after 2026-12-01 is 2027-02-23 (by hand).
    let pulls = plan["pulls"].as_array().unwrap();
    let day = |week: u64| pulls.iter().find(|p| p["week"] == week).unwrap()["date"].clone();
    assert_eq!((day(0), day(12)), ("2026-12-01".into(), "2027-02-23".into()));
    assert_eq!(plan["packs"].as_u64().unwrap() as usize, pulls.len() + 2);
    // The challenge test is made at the start and at the end, no more.
    let challenge = tests.iter().find(|t| t["test"].to_string().contains("ISO 11930")).unwrap()["number"].clone();
    let made = pulls.iter().filter(|p| p["tests"].as_array().unwrap().contains(&challenge));
    assert_eq!(made.map(|p| p["week"].as_u64().unwrap()).collect::<Vec<_>>(), [0, 52]);
    // Every check that is open is either called for, or named as left open.
    let (_, formula) = json(&["formula", polish]);
    for check in formula["checks"].as_array().unwrap().iter().filter(|c| c["verdict"] != "pass") {
        let key = check["key"].as_str().unwrap();
        let told =
            plan["left_open"].to_string().contains(key) || plan["tests"].to_string().contains(&format!("check {key}:"));
        assert!(told, "{key}");
    }
    // A file of powders alone may hold water; of a scrub in oil nobody asks the pH.
    let (_, bare) = json(&["plan", "stability", "examples/millrace-rice-polish.toml"]);
    assert!(
        bare["tests"].to_string().contains("a base that the file does not list") && bare["pulls"][0]["date"].is_null()
    );
    let (_, out, _) = run_in(root(), &["plan", "stability", polish]);
    assert!(!out.contains('…'), "no cell is cut");
}

#[test]
fn a_supplier_is_asked_for_what_no_measurement_is_known_of() {
    let keys = |args: &[&str]| -> Vec<String> {
        let (status, sheet) = json(args);
        assert_eq!(status, 0);
        sheet["questions"].as_array().unwrap().iter().map(|q| q["key"].as_str().unwrap().to_owned()).collect()
    };
    let has = |all: &[String], key: &str| all.iter().any(|k| k == key);
    // The olive stone has a sieve table, but nothing else of its own.
    let olive = keys(&["ask", "examples/millrace-rice-polish.toml", "olive"]);
    assert!(!has(&olive, "sizes") && has(&olive, "hardness") && has(&olive, "roundness") && has(&olive, "protein"));
    assert!(has(&olive, "microbes") && !has(&olive, "silica"));
    let rice = keys(&["ask", "examples/millrace-rice-polish.toml", "Rice bran, fine"]);
    assert!(has(&rice, "sizes") && !has(&rice, "protein"));
    // A mineral is asked for silica; what was measured is not asked again, but for a hardness by Mohs.
    let folder = TempDir::new().unwrap();
    let text = "[scrub]\nname = \"x\"\npowder_load_pct = 5\n[[powder]]\nname = \"Stone\"\nmaterial = \"pumice\"\nparts = 1\nmohs = 6\n\
                density_g_cm3 = 2.3\nroundness = 0.2\nsize = { d50_um = 60, gsd = 1.6 }\n[[powder]]\nname = \"Unknown\"\nparts = 1\n\
                density_g_cm3 = 1.3\nhardness_gpa = 0.2\nroundness = 0.4\nsize = { d50_um = 60, gsd = 1.6 }\n";
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    let file = folder.path().join("scrub.toml").display().to_string();
    let stone = keys(&["ask", &file, "stone"]);
    assert!(has(&stone, "silica") && has(&stone, "hardness") && !has(&stone, "density") && !has(&stone, "microbes"));
    // Of an unknown material all is asked but what was measured.
    let unknown = keys(&["ask", &file, "unknown"]);
    assert!(["silica", "microbes", "protein", "sizes"].iter().all(|k| has(&unknown, k)) && !has(&unknown, "hardness"));
    // Nothing in hand: a material alone.
    let material = keys(&["ask", "olive"]);
    assert!(["sizes", "density", "hardness", "roundness", "metals", "sheet", "lot"].iter().all(|k| has(&material, k)));
    for args in [&["ask", "pumice-coarse"][..], &["ask", "examples/millrace-rice-polish.toml", "rice"]] {
        let (_, out, _) = run_in(root(), args);
        assert!(!out.contains('…'), "no cell is cut: {out}");
    }
}

#[test]
fn what_is_wrong_is_told() {
    let panel = ["plan", "panel"];
    let with = |more: &[&'static str]| [&panel[..], more].concat();
    refused(&with(&[]), "--difference");
    refused(&with(&["--difference", "1", "--sd", "0"]), "--sd: it must be above 0, not 0");
    refused(&with(&["--difference", "-1", "--sd", "1"]), "--difference: it must be above 0");
    refused(&with(&["--difference", "1", "--sd", "1", "--scrubs", "1"]), "--scrubs: a taster compares 2 to 12 scrubs");
    refused(&with(&["--difference", "1", "--sd", "1", "--power", "1"]), "between 0 and 1");
    refused(&with(&["--difference", "1", "--sd", "1", "--tasters", "1"]), "--tasters: 2 to 10000");
    refused(&with(&["--difference", "0.0001", "--sd", "1"]), "so little is not found by 10000 tasters");
    refused(&with(&["--test", "triangle"]), "--distinguish");
    refused(&with(&["--test", "paired", "--distinguish", "40%", "--scrubs", "3"]), "compares two scrubs, not 3");
    refused(&with(&["--test", "paired", "--distinguish", "40%", "--sd", "1"]), "go with scores");
    refused(&["panel", "--paired", "26/25"], "26 of 25 cannot be");
    refused(&["panel", "--paired", "18 of 25"], "write it like 18/25");
    refused(&["panel", "--paired", "0/0"], "1 to 10000 answers");
    refused(&["panel", "--paired", "1/2", "--triangle", "1/2"], "cannot be used with");
    refused(&["panel"], "required");
    refused(&["ask", "oliv e"], "did you mean \"olive-stone\"?");
    refused(&["ask", "pum"], "may be pumice or pumice-coarse");
    refused(&["ask", ""], "no material is named");
    refused(&["ask", "examples/millrace-rice-polish.toml", "sand"], "the scrub has no powder \"sand\"");
    refused(&["ask", "polyethylene"], "no material is named");
    refused(&["plan", "stability", "examples/none.toml"], "no such file");
    refused(
        &["plan", "stability", "examples/millrace-rice-polish.toml", "--date", "9999-12-01"],
        "beyond the year 9999",
    );
}
