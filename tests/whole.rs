//! Commands that see the whole scrub: what tells two formulas apart, and what would go wrong with a stand-in.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

const EXAMPLE: &str = include_str!("../examples/millrace-acid-polish.toml");

fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = TempDir::new().unwrap();
    let sieve = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/olive-stone-sieved.csv");
    fs::copy(sieve, folder.path().join("olive-stone-sieved.csv")).unwrap();
    files.iter().for_each(|(name, text)| fs::write(folder.path().join(name), text).unwrap());
    folder
}

fn json(folder: &TempDir, args: &[&str]) -> Value {
    let (status, out, message) = run_in(folder.path(), args);
    assert_eq!(status, 0, "{message}");
    serde_json::from_str(&out).unwrap()
}

#[test]
fn compare_tells_every_difference_of_the_whole_scrub() {
    let other = EXAMPLE
        .replace("final_ph = 4.8", "final_ph = 5.2")
        .replace("pct = 0.4\n", "pct = 0.9\n")
        .replace("container_ml = 150", "container_ml = 200")
        .replace("inci = \"Xanthan Gum\"", "inci = \"Guar Gum\"")
        .replace("OS-2410", "OS-2411");
    let two = folder(&[("a.toml", EXAMPLE), ("b.toml", &other), ("same.toml", EXAMPLE)]);
    let report = json(&two, &["compare", "a.toml", "b.toml", "--json"]);
    let told: Vec<String> =
        report["whole"].as_array().unwrap().iter().map(|w| format!("{}: {}", w["about"], w["what"])).collect();
    for (about, what) in [
        ("acid", "pH: 4.8 to 5.2"),
        ("ingredient", "Sodium benzoate: 0.400 to 0.900 %"),
        ("ingredient", "Xanthan gum, 0.800 %, is left out"),
        ("ingredient", "Xanthan gum comes in with 0.800 %"),
        ("container", "container: 150 mL to 200 mL"),
        ("powder", "Olive stone, sieved: lot OS-2410 to OS-2411"),
        // The pH leaves its window.
        ("check", "check ph-window: caution to stop"),
    ] {
        assert!(told.contains(&format!("\"{about}\": \"{what}\"")), "no {about}: {what} in {told:#?}");
    }
    assert!(report["differences"].as_array().unwrap().is_empty(), "the grains are the same");
    let (_, out, _) = run_in(two.path(), &["compare", "a.toml", "b.toml"]);
    assert!(out.contains("pH: 4.8 to 5.2") && !out.contains("nothing differs"), "{out}");
    let (_, out, _) = run_in(two.path(), &["compare", "a.toml", "same.toml"]);
    assert!(out.contains("nothing differs"), "{out}");
    let two = folder(&[("a.toml", EXAMPLE), ("b.toml", &EXAMPLE.replace("\"Cool-down\"", "\"At last\""))]);
    let report = json(&two, &["compare", "a.toml", "b.toml", "--json"]);
    let of_phases = report["whole"].as_array().unwrap().iter().filter_map(|w| w["what"].as_str());
    let of_phases: Vec<&str> = of_phases.filter(|what| what.starts_with("phase ")).collect();
    assert_eq!(of_phases, ["phase Cool-down is left out", "phase At last comes in"]);
    // Whatever is stated tells them apart.
    for (from, to) in [
        ("temperature_c = 30", "temperature_c = 38"),
        ("rinse_off = true", "rinse_off = true\non_market = 2027-01-01"),
        ("[use]", "[label]\nmade_in = \"Weir\"\n[use]"),
        ("inci = \"Xanthan Gum\"", "inci = \"Xanthan Gum\"\nlot = \"XG-1\""),
        ("inci = \"Xanthan Gum\"", "inci = \"Xanthan Gum\"\nlists_checked = 2026-11-20"),
        ("inci = \"Xanthan Gum\"", "inci = \"Xanthan Gum\"\ncfu_per_g = 50"),
        ("until smooth", "for an hour"),
        ("material = \"olive-stone\"", "material = \"olive-stone\"\ninci = \"Olea Europaea Seed Powder, roasted\""),
        // Apart in more digits than are written otherwise: told with these.
        ("net_g = 140", "net_g = 140.0004"),
        ("pct = 0.8", "pct = 0.8004"),
    ] {
        assert!(EXAMPLE.contains(from), "{from}");
        let two = folder(&[("a.toml", EXAMPLE), ("b.toml", &EXAMPLE.replace(from, to))]);
        let (status, out, message) = run_in(two.path(), &["compare", "a.toml", "b.toml"]);
        assert!(status == 0 && !out.contains("nothing differs"), "{to}: {out}{message}");
        let from_itself = |line: &str| {
            line.rsplit_once(": ").and_then(|(_, said)| said.split_once(" to ")).is_some_and(|(a, b)| a == b)
        };
        assert!(!out.lines().any(from_itself), "{to}: {out}");
    }
}

#[test]
fn a_stand_in_that_would_go_wrong_here_says_so_and_comes_last() {
    let one = folder(&[("a.toml", EXAMPLE)]);
    let report = json(&one, &["stand-in", "a.toml", "--for", "olive", "--top", "60", "--json"]);
    // Nuts by any word; a word that rules nothing out is a slip.
    for word in ["nut", "nuts", "tree-nut", "treenut", "tree nut"] {
        let left = json(&one, &["stand-in", "a.toml", "--for", "olive", "--top", "60", "--without", word, "--json"]);
        let names = left["stand_ins"].to_string();
        assert!(
            !names.contains("walnut") && !names.contains("almond") && names.contains("rice-husk"),
            "{word}: {names}"
        );
    }
    let (status, _, message) = run_in(one.path(), &["stand-in", "a.toml", "--for", "olive", "--without", "nutz"]);
    assert!(status == 2 && message.contains("nothing goes by \"nutz\""), "{message}");
    let all = report["stand_ins"].as_array().unwrap();
    let wrong = |key: &str| {
        let part = all.iter().find(|s| s["material"] == key).unwrap();
        part["wrong_here"]
            .as_array()
            .unwrap()
            .iter()
            .map(|w| w.as_str().unwrap().to_owned())
            .collect::<Vec<_>>()
            .join("; ")
    };
    assert!(wrong("calcium-carbonate").contains("fizzes with the acid"));
    assert!(wrong("salt").contains("dissolves in the 75 % of water"));
    assert!(wrong("rice-grain").contains("swells and softens"));
    assert_eq!(wrong("bamboo"), "");
    let is_wrong: Vec<bool> = all.iter().map(|s| !s["wrong_here"].as_array().unwrap().is_empty()).collect();
    assert!(is_wrong.is_sorted() && is_wrong.contains(&true), "{is_wrong:?}");
    // In a scrub of which no water and no acid is known nothing of it goes wrong.
    let dry = folder(&[("rice.toml", include_str!("../examples/millrace-rice-polish.toml"))]);
    let report = json(&dry, &["stand-in", "rice.toml", "--for", "olive", "--top", "60", "--json"]);
    let chalk = report["stand_ins"].as_array().unwrap().iter().find(|s| s["material"] == "calcium-carbonate").unwrap();
    assert!(chalk["wrong_here"].as_array().unwrap().is_empty(), "{chalk}");
}

#[test]
fn a_certificate_of_percentiles_is_held_against_the_grade_like_a_table() {
    let one = folder(&[("rice.toml", include_str!("../examples/millrace-rice-polish.toml"))]);
    let lot = |source: &str| run_in(one.path(), &["lot", source, "--powder", "olive", "--in", "rice.toml", "--json"]);
    let (status, out, message) = lot("d10=118 d50=165 d90=216");
    assert_eq!(lot("D10: 118 µm, D50: 165 µm, D90: 216 µm").0, status);
    assert_eq!(status, 0, "{message}");
    let report: Value = serde_json::from_str(&out).unwrap();
    for (key, um) in [("d10_um", 118.0), ("d50_um", 165.0), ("d90_um", 216.0)] {
        assert!((report["tables"][0][key].as_f64().unwrap() / um - 1.0).abs() < 1e-6, "{report}");
    }
    let (status, out, _) = lot("d10=90 d50=150 d90=320");
    assert_eq!(status, 1, "{out}");
    for (source, word) in [
        ("50-150 um", "a grade is what"),
        ("D50 170 µm", "one percentile"),
        ("d50=170", "one percentile"),
        ("d10=300 d50=170 d90=230", "percentiles must rise"),
        ("d50=x d90=3", "d50"),
    ] {
        let (status, _, message) = lot(source);
        assert!(status == 2 && message.contains(word), "{source}: {status} {message}");
    }
}

#[test]
fn a_sure_band_of_an_unsafe_scrub_says_what_stops_it() {
    let sour = EXAMPLE.replace("final_ph = 4.8", "final_ph = 2.0");
    let two = folder(&[("sour.toml", &sour), ("sound.toml", EXAMPLE)]);
    let checks = |file: &str, verdict: &str| -> Vec<String> {
        let (_, out, _) = run_in(two.path(), &["formula", file, "--json"]);
        let report: Value = serde_json::from_str(&out).unwrap();
        let all = report["checks"].as_array().unwrap().iter().filter(|c| c["verdict"] == verdict);
        all.map(|c| c["key"].as_str().unwrap().to_owned()).collect()
    };
    for file in ["sour.toml", "sound.toml"] {
        let report = json(&two, &["confidence", file, "--draws", "1000", "--json"]);
        for (key, verdict) in [("stop", "stop"), ("caution", "caution")] {
            let keys: Vec<&str> =
                report["whole_scrub"][key].as_array().unwrap().iter().filter_map(Value::as_str).collect();
            assert_eq!(keys, checks(file, verdict), "{file}");
        }
        let open = report["whole_scrub"]["open"].to_string();
        checks(file, "not-judged").iter().for_each(|key| assert!(open.contains(key.as_str()), "{file}: {open}"));
    }
    assert!(checks("sour.toml", "stop").contains(&"ph-window".to_owned()));
    let (_, text, _) = run_in(two.path(), &["confidence", "sour.toml", "--draws", "1000"]);
    assert!(text.split_whitespace().collect::<Vec<_>>().join(" ").contains("whose checks tell: stop"), "{text}");
    // Of powders alone nothing is told.
    let bare = "[scrub]\nname = \"B\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"pumice\"\nparts = 1\nsize = { d50_um = 90, gsd = 1.5 }\n";
    fs::write(two.path().join("bare.toml"), bare).unwrap();
    assert!(json(&two, &["confidence", "bare.toml", "--draws", "1000", "--json"]).get("whole_scrub").is_none());
}
