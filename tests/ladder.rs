//! `gritwise ladder`: what it states as a crossing or a border is one, to a millionth, and it finds those that lie between
//! the points of any grid.

use crate::common::{CASES, Case, assert_close, run_in, scrub, tables};
use assert_cmd::Command;
use gritwise::band::{Judge, Quantity};
use gritwise::design::{Ladder, Map, Varied};
use gritwise::tables::Criterion;
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use tempfile::TempDir;

const POLISH: &str = "examples/millrace-rice-polish.toml";

fn gritwise(args: &[&str]) -> Command {
    let mut command = Command::cargo_bin("gritwise").unwrap();
    command.current_dir(env!("CARGO_MANIFEST_DIR")).arg("ladder").args(args);
    command
}

fn json(args: &[&str]) -> Value {
    let output = gritwise(args).arg("--json").output().unwrap();
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap()
}

fn judge() -> Judge {
    Judge::new(tables()).unwrap()
}

fn rank(judge: &Judge, case: &Case, changes: &[(Quantity, f64)]) -> usize {
    judge.assess(&scrub(case, changes)).verdict.rank
}

/// Walks a case and holds every crossing against the scrub built anew just before and just after it. All values between
/// the crossings must have the band stated there.
fn proved(case: &Case, quantity: Quantity, low: f64, high: f64) -> Ladder {
    let judge = judge();
    let stated = scrub(case, &[]);
    let ladder = Ladder::new(&judge, &stated, Varied { quantity, low, high }, 25);
    for c in &ladder.crossings {
        assert_eq!(rank(&judge, case, &[(quantity, c.value * (1.0 - 1e-6))]), c.from, "{quantity:?} below {}", c.value);
        assert_eq!(rank(&judge, case, &[(quantity, c.value * (1.0 + 1e-6))]), c.to, "{quantity:?} above {}", c.value);
        assert!(c.held.excess().abs() < 1e-6, "{:?} is not at its limit", c.held);
    }
    for i in 0..=997 {
        let value = low + (high - low) * f64::from(i) / 997.0;
        let passed = ladder.crossings.iter().rev().find(|c| c.value < value);
        let expected = match (passed, ladder.crossings.first()) {
            (Some(c), _) => c.to,
            (None, Some(first)) => first.from,
            (None, None) => ladder.steps[0].rank,
        };
        assert_eq!(rank(&judge, case, &[(quantity, value)]), expected, "{quantity:?} at {value}");
    }
    ladder
}

#[test]
fn crossings_are_where_the_band_changes() {
    let mut seen = 0;
    for case in &CASES {
        seen += proved(case, Quantity::Load, 0.05, 100.0).crossings.len();
        for i in 0..case.0.len() {
            let low = if case.0.len() > 1 { 0.0 } else { 1.0 };
            seen += proved(case, Quantity::Parts(i), low, 60.0).crossings.len();
            seen += proved(case, Quantity::Median(i), 5.0, 3000.0).crossings.len();
        }
    }
    assert!(seen >= 40, "only {seen} crossings were seen");
}

#[test]
fn no_parts_are_the_scrub_without_the_powder() {
    let judge = judge();
    let case = &CASES[0];
    let varied = Varied { quantity: Quantity::Parts(1), low: 0.0, high: 3.0 };
    let ladder = Ladder::new(&judge, &scrub(case, &[]), varied, 4);
    for step in &ladder.steps {
        let alone = judge.assess(&scrub(case, &[(Quantity::Parts(1), step.value)]));
        assert_close("index", step.index, alone.figures.index, 1e-9);
        for (a, b) in step.groove_ratios.iter().zip(&alone.figures.groove_ratios) {
            assert_close("groove ratio", *a, *b, 1e-6);
        }
        assert_eq!(step.rank, alone.verdict.rank);
    }
}

/// Angular, hard and narrow: loads of it soon carry the whole rub.
const NARROW: Case = (&[("alumina", 1.0, 150.0, 1.2)], 4.0);

#[test]
fn a_grain_borne_rub_takes_the_band_back() {
    let ladder = proved(&NARROW, Quantity::Load, 0.1, 90.0);
    let ranks: Vec<(usize, usize)> = ladder.crossings.iter().map(|c| (c.from, c.to)).collect();
    let rises = ranks.iter().filter(|r| r.0 < r.1).count();
    assert!(rises > 0 && rises < ranks.len(), "{ranks:?} runs one way");
    // The turn itself is solved: shared just before, grain-borne just after.
    let judge = judge();
    assert!(!ladder.borne.is_empty());
    for borne in &ladder.borne {
        let at = |load: f64| {
            judge.assess(&scrub(&NARROW, &[(Quantity::Load, load)])).rubbed.sites[borne.site].partition.label()
        };
        assert_eq!(at(borne.from * (1.0 - 1e-6)), "shared");
        assert_eq!(at(borne.from * (1.0 + 1e-6)), "grain-borne");
        assert_eq!(borne.to, 90.0);
    }
}

#[test]
fn a_band_that_shows_between_two_grid_points_is_found() {
    // The index peaks where the rub at the face turns grain-borne. The size is set so that the peak is over the limit of
    // the delicate face by next to nothing: the band changes and changes back within a hundred-thousandth of the load.
    let judge = judge();
    let limit = judge.bands()[0].limit(Criterion::Index);
    let onset = |d50: f64| {
        let stated = scrub(&NARROW, &[(Quantity::Median(0), d50)]);
        let varied = Varied { quantity: Quantity::Load, low: 0.5, high: 80.0 };
        let ladder = Ladder::new(&judge, &stated, varied, 25);
        let turn = ladder.borne.iter().find(|b| b.site == 0).unwrap().from;
        let changes = [(Quantity::Median(0), d50), (Quantity::Load, turn)];
        (judge.assess(&scrub(&NARROW, &changes)).figures.index, turn, ladder)
    };
    let (mut fine, mut coarse) = (35.0, 150.0);
    for _ in 0..60 {
        let middle = 0.5 * (fine + coarse);
        if onset(middle).0 > limit * (1.0 + 1e-6) { coarse = middle } else { fine = middle }
    }
    let (peak, turn, ladder) = onset(coarse);
    assert!(peak > limit && peak < limit * 1.00001, "{peak} does not just pass {limit}");
    let values: Vec<f64> = ladder.crossings.iter().map(|c| c.value).collect();
    assert_eq!(values.len(), 2, "{values:?} around {turn}");
    assert!(values[0] < turn && turn < values[1] && values[1] - values[0] < 1e-5 * turn, "{values:?} around {turn}");
}

#[test]
fn borders_of_a_map_lie_between_their_bands() {
    let judge = judge();
    let parts = |i, low, high| Varied { quantity: Quantity::Parts(i), low, high };
    let load = Varied { quantity: Quantity::Load, low: 0.5, high: 60.0 };
    let median = |i, low, high| Varied { quantity: Quantity::Median(i), low, high };
    let maps = [
        (&CASES[0], [parts(1, 0.0, 6.0), load]),
        (&CASES[1], [median(1, 40.0, 900.0), load]),
        (&CASES[3], [median(0, 20.0, 600.0), parts(1, 0.0, 40.0)]),
        (&NARROW, [load, median(0, 40.0, 400.0)]),
    ];
    let mut seen = 0;
    for (case, varied) in maps {
        let map = Map::new(&judge, &scrub(case, &[]), varied, 13);
        assert_eq!((map.index.len(), map.index[0].len(), map.rank.len()), (13, 13, 13));
        let at = |x: f64, y: f64| rank(&judge, case, &[(varied[0].quantity, x), (varied[1].quantity, y)]);
        for (j, i) in [(0, 0), (3, 9), (12, 12)] {
            assert_eq!(map.rank[j][i], at(map.x[i], map.y[j]));
        }
        for border in &map.borders {
            assert!(border.from < border.to && border.points.len() > 1);
            for &(x, y) in &border.points {
                let around = [(1.0 - 1e-6, 1.0), (1.0 + 1e-6, 1.0), (1.0, 1.0 - 1e-6), (1.0, 1.0 + 1e-6)];
                let ranks: BTreeSet<usize> = around.iter().map(|(a, b)| at(x * a, y * b)).collect();
                assert!(ranks.contains(&border.from) && ranks.contains(&border.to), "{ranks:?} at {x}, {y}");
                seen += 1;
            }
        }
    }
    assert!(seen > 300, "only {seen} points of borders were seen");
}

#[test]
fn json_has_the_keys_that_others_rely_on() {
    let result = json(&[POLISH, "--vary", "olive.parts=0..6"]);
    let points = result["points"].as_array().unwrap();
    assert_eq!(points.len(), 25);
    for point in points {
        for key in ["value", "index", "ratio_face", "ratio_body", "ratio_foot"] {
            assert!(point[key].is_f64(), "{key}: {point}");
        }
        assert!(point["band"].is_string());
    }
    assert_eq!((number(&points[0]["value"]), number(&points[24]["value"])), (0.0, 6.0));
    let crossings = result["crossings"].as_array().unwrap();
    assert_eq!(crossings.len(), 1);
    assert_eq!((&crossings[0]["from"], &crossings[0]["to"]), (&"delicate face".into(), &"face".into()));
    assert_eq!(crossings[0]["criterion"], "index");
    assert!(result["note"].as_str().unwrap().contains("not a clinical measure"));
    let borne = json(&["examples/osier-bamboo-polish.toml", "--vary", "LOAD=1..90", "--points", "3"]);
    assert_eq!(borne["points"].as_array().unwrap().len(), 3);
    assert_eq!(borne["grain_borne"][0]["site"], "face");
}

#[test]
fn a_crossing_is_one_for_the_whole_command_too() {
    let text = fs::read_to_string(format!("{}/{POLISH}", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let sieve = fs::read(format!("{}/examples/olive-stone-sieved.csv", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("olive-stone-sieved.csv"), sieve).unwrap();
    let crossing = number(&json(&[POLISH, "--vary", "olive-stone.parts=0..6"])["crossings"][0]["value"]);
    for (factor, band) in [(1.0 - 1e-6, "delicate face"), (1.0 + 1e-6, "face")] {
        let changed = text.replace("parts = 2", &format!("parts = {}", crossing * factor));
        assert_ne!(changed, text);
        fs::write(folder.path().join("scrub.toml"), changed).unwrap();
        let mut command = Command::cargo_bin("gritwise").unwrap();
        let output = command.current_dir(folder.path()).args(["blend", "scrub.toml", "--json"]).output().unwrap();
        let result: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(result["band"]["name"], band);
    }
}

#[test]
fn a_map_has_its_keys() {
    let result = json(&[POLISH, "--vary", "olive.parts=0..6", "--vary", "load=1..40", "--points", "9"]);
    let map = &result["map"];
    for key in ["x", "y", "index", "band"] {
        assert_eq!(map[key].as_array().unwrap().len(), 9, "{key}");
    }
    assert_eq!(map["index"][8].as_array().unwrap().len(), 9);
    assert!(map["band"][0][0].is_string());
    let border = &map["borders"][0];
    assert_eq!((&border["from"], &border["to"]), (&"delicate face".into(), &"face".into()));
    assert!(border["points"].as_array().unwrap().iter().all(|p| p[0].is_f64() && p[1].is_f64()));
}

#[test]
fn names_are_taken_in_any_spelling_that_leaves_no_doubt() {
    let mut found = BTreeSet::new();
    for name in ["Olive stone, sieved", "OLIVE STONE, SIEVED", "olive-stone", "Olive-Stone", "o"] {
        found.insert(json(&[POLISH, "--vary", &format!("{name}.parts=1..4")]).to_string());
    }
    assert_eq!(found.len(), 1);
    let folder = TempDir::new().unwrap();
    let powder = |name: &str| {
        format!(
            "[[powder]]\nname = \"{name}\"\nmaterial = \"bamboo\"\nparts = 1\nsize = {{ d50_um = 90, gsd = 1.4 }}\n"
        )
    };
    let file = folder.path().join("scrub.toml");
    let head = "[scrub]\nname = \"Two cuts\"\npowder_load_pct = 3\n";
    fs::write(&file, format!("{head}{}{}", powder("Cut No. 1"), powder("Cut No. 1=coarse"))).unwrap();
    let file = file.to_str().unwrap();
    for (name, message) in
        [("cut", "may be \"Cut No. 1\" or \"Cut No. 1=coarse\""), ("bamboo", "write more of the name")]
    {
        let output = gritwise(&[file, "--vary", &format!("{name}.parts=1..4")]).output().unwrap();
        assert_eq!(output.status.code(), Some(2));
        assert!(String::from_utf8_lossy(&output.stderr).contains(message));
    }
    // A whole name counts before a beginning, and a name may hold the signs of the spelling.
    for (name, place) in [("Cut No. 1", "Cut No. 1"), ("cut no. 1=c", "Cut No. 1=coarse")] {
        let result = json(&[file, "--vary", &format!("{name}.d50=50..150")]);
        assert_eq!(result["vary"][0]["powder"], place);
    }
}

#[test]
fn pictures_are_the_same_on_every_run_and_never_replaced_unasked() {
    let folder = TempDir::new().unwrap();
    let path = |name: &str| folder.path().join(name);
    let into = folder.path().to_str().unwrap();
    let one = [POLISH, "--vary", "olive.parts=0..6", "--plot"];
    let two = [POLISH, "--vary", "olive.parts=0..6", "--vary", "load=1..40", "--plot"];
    let with = |call: &[&str], target: &str| [call, &[target]].concat().join("\n");
    let run = |call: String| gritwise(&call.split('\n').collect::<Vec<_>>()).assert();
    run(with(&one, into)).success();
    run(with(&two, into)).success();
    let own = path("own.svg");
    run(with(&one, own.to_str().unwrap())).success();
    let read = |name: &str| fs::read_to_string(path(name)).unwrap();
    let drawn = read("millrace-rice-polish-ladder.svg");
    assert_eq!(drawn, read("own.svg"));
    for svg in [&drawn, &read("millrace-rice-polish-map.svg")] {
        assert!(svg.contains("<title id=\"title\">") && svg.contains("<desc id=\"desc\">") && svg.contains("(model)"));
        assert!(!svg.contains("NaN"));
    }
    assert!(drawn.contains(">2.734<") && drawn.contains(">delicate face<"));
    run(with(&one, into)).code(2);
    run(with(&one, into) + "\n--force").success();
}

/// A few large grains in a fine powder: the scrub keeps to the limits of the face, but not to those of the body, whose grooves hang on the
/// deepest grains alone. The lever leads to the first band that is milder, where the ladder changes.
#[test]
fn a_lever_leads_where_the_ladder_changes() {
    let folder = TempDir::new().unwrap();
    let text = "[scrub]\nname = \"L\"\npowder_load_pct = 1.7\n[[powder]]\nname = \"Pumice\"\nmaterial = \"pumice\"\nparts = 0.99\n\
                size = { d50_um = 771.7, gsd = 1.35 }\n[[powder]]\nname = \"Olive\"\nmaterial = \"olive-stone\"\nparts = 4.1\n\
                size = { d50_um = 13, gsd = 1.38 }\n";
    fs::write(folder.path().join("l.toml"), text).unwrap();
    let told = |args: &[&str]| -> Value {
        let (_, out, message) = run_in(folder.path(), args);
        serde_json::from_str(&out).unwrap_or_else(|_| panic!("{message}"))
    };
    let blend = told(&["blend", "l.toml", "--json"]);
    let levers = blend["band"]["changes"].as_array().unwrap();
    let is_wanted = |l: &&Value| l["direction"] == "milder" && l["what"] == "parts";
    let lever = levers.iter().find(is_wanted).unwrap_or_else(|| panic!("{levers:?}"));
    let ladder = told(&["ladder", "l.toml", "--vary", "pumice.parts=0.00001..1", "--json"]);
    let last = ladder["crossings"].as_array().unwrap().last().unwrap();
    let [to, at] = [&lever["to"], &last["value"]].map(|v| v.as_f64().unwrap());
    assert!((to / at - 1.0).abs() < 1e-5, "{lever} {last}");
    assert_eq!((lever["band"].as_str(), last["from"].as_str()), (Some("face"), Some("face")));
}

/// What the jar dissolves is worked out anew at every step: the rows are those of the file with that value, and so is a lever.
#[test]
fn ladders_levers_and_stand_ins_follow_what_the_jar_dissolves() {
    let file = |load: f64, sugar: f64, shell: f64| {
        format!(
            "[scrub]\nname = \"S\"\npowder_load_pct = {load}\n[[phase]]\nname = \"W\"\n[[phase.ingredient]]\nname = \"Water\"\n\
             inci = \"Aqua\"\npct = 15\nfunctions = [\"water\"]\n[[phase.ingredient]]\nname = \"Gel\"\ninci = \"Aqua\"\nfill = true\n\
             functions = [\"water\"]\n[[powder]]\nname = \"Sugar\"\nmaterial = \"sugar\"\nparts = {sugar}\nphase = \"W\"\n\
             size = {{ d50_um = 400.0, gsd = 1.4 }}\n[[powder]]\nname = \"Shell\"\nmaterial = \"apricot-shell\"\nparts = {shell}\n\
             phase = \"W\"\nsize = {{ d50_um = 150.0, gsd = 1.4 }}\n"
        )
    };
    let folder = tempfile::TempDir::new().unwrap();
    let json = |text: &str, args: &[&str]| -> Value {
        std::fs::write(folder.path().join("s.toml"), text).unwrap();
        let (status, out, message) = run_in(folder.path(), &[args, &["--json"]].concat());
        assert_eq!(status, 0, "{args:?}: {message}");
        serde_json::from_str(&out).unwrap()
    };
    let index = |text: &str| json(text, &["blend", "s.toml", "--quick"])["index"]["value"].as_f64().unwrap();
    let load_70 = file(70.0, 9.0, 1.0);
    let ladder = |vary: &str| json(&load_70, &["ladder", "s.toml", "--vary", vary, "--points", "3"]);
    let rows = |ladder: &Value| -> Vec<(f64, f64)> {
        let of = |row: &Value| (row["value"].as_f64().unwrap(), row["index"].as_f64().unwrap());
        ladder["points"].as_array().unwrap().iter().map(of).collect()
    };
    // With the load the water rises that takes what is left.
    for (value, found) in rows(&ladder("load=60..80")) {
        let wanted = index(&file(value, 9.0, 1.0));
        assert!((found / wanted - 1.0).abs() < 1e-9, "load {value}: {found} for {wanted}");
    }
    for (value, found) in rows(&ladder("Shell.parts=1..4")) {
        let wanted = index(&file(70.0, 9.0, value));
        assert!((found / wanted - 1.0).abs() < 1e-9, "{value} parts: {found} for {wanted}");
    }
    // A lever's way out of the band: a thousandth on either side.
    let report = json(&load_70, &["blend", "s.toml", "--quick"]);
    let levers = report["band"]["changes"].as_array().unwrap().iter();
    let mut tried = 0;
    for lever in levers.filter(|l| ["parts", "load"].contains(&l["what"].as_str().unwrap().trim_end_matches("_pct"))) {
        let to = lever["to"].as_f64().unwrap();
        let with = |to: f64| match (lever["what"].as_str().unwrap(), lever["powder"].as_str()) {
            ("parts", Some("Shell")) => file(70.0, 9.0, to),
            ("parts", _) => file(70.0, to, 1.0),
            _ => file(to, 9.0, 1.0),
        };
        let band = |to: f64| json(&with(to), &["blend", "s.toml", "--quick"])["band"]["name"].clone();
        let step = 1e-3 * (to - lever["from"].as_f64().unwrap()).signum() * to;
        assert_eq!(band(to - step), report["band"]["name"], "{lever}");
        assert_eq!(band(to + step), lever["band"], "{lever}");
        tried += 1;
    }
    assert!(tried > 0, "{report}");
    // The powder that the jar dissolves whole is replaced by its share as it is weighed in.
    let text = file(20.0, 1.0, 1.0);
    let report = json(&text, &["stand-in", "s.toml", "--for", "Sugar"]);
    assert!((report["pct_of_scrub"].as_f64().unwrap() - 10.0).abs() < 1e-9, "{}", report["pct_of_scrub"]);
}
