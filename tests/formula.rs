//! `gritwise formula`: whole scrubs, what their checks say, and what becomes of wrong and hostile files.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const EXAMPLE: &str = include_str!("../examples/millrace-acid-polish.toml");
const KEYS: [&str; 18] = [
    "total",
    "acid-active",
    "acid-free",
    "ph-window",
    "preservative",
    "cool-down",
    "soluble",
    "suspension",
    "solids",
    "filling",
    "silica-dust",
    "allergens",
    "microbes",
    "microbeads",
    "double-exfoliation",
    "annexes",
    "traces",
    "frequency",
];

/// A folder with a scrub file of this text.
fn folder(text: &str) -> TempDir {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    let sieve = concat!(env!("CARGO_MANIFEST_DIR"), "/examples/olive-stone-sieved.csv");
    fs::copy(sieve, folder.path().join("olive-stone-sieved.csv")).unwrap();
    folder
}

fn json(text: &str) -> (i32, Value) {
    let (status, out, message) = run_in(folder(text).path(), &["formula", "scrub.toml", "--json"]);
    assert!(status < 2, "{message}");
    (status, serde_json::from_str(&out).unwrap())
}

fn check<'v>(report: &'v Value, key: &str) -> &'v Value {
    report["checks"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap()
}

/// The example with one piece replaced; the piece must be there.
fn with(old: &str, new: &str) -> String {
    assert!(EXAMPLE.contains(old), "{old}");
    EXAMPLE.replacen(old, new, 1)
}

#[test]
fn json_has_the_keys_that_others_rely_on() {
    let (status, report) = json(EXAMPLE);
    assert_eq!(status, 0);
    assert!((report["total_pct"].as_f64().unwrap() - 100.0).abs() < 1e-9);
    for ingredient in report["ingredients"].as_array().unwrap() {
        for key in ["name", "inci", "pct", "active_pct", "phase"] {
            assert!(ingredient.get(key).is_some(), "no {key} in {ingredient}");
        }
    }
    let keys: Vec<&str> = report["checks"].as_array().unwrap().iter().map(|c| c["key"].as_str().unwrap()).collect();
    assert_eq!(keys, KEYS);
    for c in report["checks"].as_array().unwrap() {
        for key in ["verdict", "value", "limit", "unit", "why", "open", "source", "status"] {
            assert!(c.get(key).is_some(), "no {key} in {c}");
        }
        assert!(!c["why"].as_str().unwrap().is_empty() && !c["source"].as_str().unwrap().is_empty(), "{c}");
    }
    let water = report["ingredients"].as_array().unwrap().iter().find(|i| i["name"] == "Water").unwrap();
    assert_eq!(water["fill"].as_bool(), Some(true));
    assert!((water["pct"].as_f64().unwrap() - 66.2).abs() < 1e-9);
    let acid = report["ingredients"].as_array().unwrap().iter().find(|i| i["inci"] == "Lactic Acid").unwrap();
    assert!((acid["active_pct"].as_f64().unwrap() - 2.4).abs() < 1e-9);
    // Powders take their % from parts and load and stand in their phase.
    let rice = report["ingredients"].as_array().unwrap().iter().find(|i| i["name"] == "Rice bran, fine").unwrap();
    assert!((rice["pct"].as_f64().unwrap() - 5.0 * 4.0 / 6.0).abs() < 1e-9);
    assert_eq!(rice["phase"], "Cool-down");
}

/// What each check says on either side of its figure is in `verdicts.rs`; here a stop ends the command with status 1, a caution does not.
#[test]
fn a_stop_is_exit_status_1() {
    let acid = |pct: f64| with("pct = 3\n  strength_pct = 80", &format!("pct = {pct}\n  strength_pct = 80"));
    let wax = with("material = \"rice-bran\"", "material = \"jojoba-wax\"");
    for (what, text, key, verdict) in [
        ("an advice passed", acid(5.0), "acid-active", "caution"),
        ("every limit passed", acid(25.0), "acid-active", "stop"),
        ("wax in a hot phase", wax.replace("temperature_c = 30", "temperature_c = 70"), "cool-down", "stop"),
        ("packed dry", with("powder_load_pct = 5.0", "powder_load_pct = 60.0"), "solids", "caution"),
        ("a narrow nozzle", with("orifice_mm = 5", "orifice_mm = 0.6"), "filling", "stop"),
        ("as it is", EXAMPLE.to_owned(), "double-exfoliation", "caution"),
    ] {
        let (status, report) = json(&text);
        let found = check(&report, key);
        assert_eq!(found["verdict"], verdict, "{what}: {found}");
        assert_eq!(status == 1, verdict == "stop", "{what}");
    }
    let (_, plain) = json(EXAMPLE);
    for key in ["total", "acid-active", "acid-free", "soluble", "suspension", "solids", "filling", "microbes"] {
        assert_eq!(check(&plain, key)["verdict"], "pass", "{key}");
    }
    // Grains make a scrub stiff from a share of their densest packing on: 0.6, stiff_share of formula-constants.csv.
    let solids = check(&plain, "solids");
    let densest = solids["why"].as_str().unwrap().split(" at their densest").next().unwrap();
    let densest_pct: f64 = densest.rsplit(' ').nth(1).unwrap().parse().unwrap();
    assert!((solids["limit"].as_f64().unwrap() / densest_pct - 0.6).abs() < 1e-3, "{solids}");
    // By hand from materials.csv: 3.3333 g of 1.4, 1.6667 g of 1.35 and 95 g of 1.03 g/cm³ take 95.8485 cm³.
    assert!((plain["density_g_cm3"].as_f64().unwrap() - 100.0 / 95.8485).abs() < 1e-5, "{}", plain["density_g_cm3"]);
}

/// An acid is known by its INCI name alone.
#[test]
fn a_preservative_beside_an_acid_is_told() {
    let lye = "name = \"Lye, 10 %\"\n  inci = \"Sodium Hydroxide\"\n  pct = 9.6\n  strength_pct = 10\n  functions = [\"neutraliser\"]";
    let sorbate = "name = \"Sorbate\"\n  inci = \"Potassium Sorbate\"\n  pct = 0.3\n  functions = [\"preservative\"]";
    let (_, beside) = json(&with(lye, sorbate).replace("functions = [\"acid\"]\n", ""));
    let why = check(&beside, "preservative")["why"].as_str().unwrap();
    assert!(why.contains("Sorbate stands in one phase with Lactic acid, 80 %"), "{why}");
}

/// A phase without acid, base or salt moves no pH, and none is told of it.
#[test]
fn only_phases_that_move_the_ph_are_told() {
    let last =
        "[[phase]]\nname = \"Last\"\n[[phase.ingredient]]\nname = \"More\"\ninci = \"Glycerin\"\npct = 1\n[[powder]]";
    let (_, report) = json(&with("[[powder]]", last));
    let phases: Vec<&str> =
        report["ph_reckoned"]["by_phase"].as_array().unwrap().iter().map(|p| p["phase"].as_str().unwrap()).collect();
    assert_eq!(phases, ["Acid", "Cool-down"]);
}

#[test]
fn a_check_without_its_data_never_passes() {
    let without_acid_table = EXAMPLE.replace(
        "[acid]\nkey = \"lactic\"                   # gritwise tables acids\nfinal_ph = 4.8\nwindow = [4.5, 5.0]\n",
        "",
    );
    assert_ne!(without_acid_table, EXAMPLE);
    let unknown_powder = with("material = \"rice-bran\"", "density_g_cm3 = 1.4\nhardness_gpa = 0.1\nroundness = 0.4");
    // By its name it would be known.
    let unknown_powder = unknown_powder.replace("Rice bran, fine", "Mill dust");
    for (text, keys) in [
        (without_acid_table, &["acid-active", "acid-free", "ph-window", "preservative", "double-exfoliation"][..]),
        (with("final_ph = 4.8\n", ""), &["acid-free", "ph-window", "preservative"]),
        (with("density_g_cm3 = 1.03\n", ""), &["suspension", "solids", "filling"]),
        (with("yield_stress_pa = 12\nviscosity_pa_s = 30\n", ""), &["suspension"]),
        (with("orifice_mm = 5\n", ""), &["filling"]),
        (with("container_ml = 150\n", ""), &["filling"]),
        (with("name = \"Cool-down\"\ntemperature_c = 30\n", "name = \"Cool-down\"\n"), &["cool-down"]),
        (with("cfu_per_g = 300                  # from the lot's certificate\n", ""), &["microbes"]),
        (unknown_powder, &["silica-dust", "soluble"]),
        (
            with("functions = [\"acid\"]", "functions = []").replace("inci = \"Lactic Acid\"", ""),
            &["acid-active", "acid-free"],
        ),
    ] {
        let (_, report) = json(&text);
        for key in keys {
            let found = check(&report, key);
            let verdict = found["verdict"].as_str().unwrap();
            assert!(verdict != "pass", "{key} passes without its data: {found}");
            let says = found["why"].as_str().unwrap();
            let asks = ["give", "name ", "add [acid]"].iter().any(|w| says.contains(w));
            assert!(verdict != "not-judged" || asks, "{key} does not say what to give: {says}");
        }
    }
    // No limit speaks of two acids together; a pinch of one to set the pH is reckoned with.
    let glycolic = |pct: f64, rest: &str| {
        let second = format!(
            "name = \"Glycolic acid\"\n  inci = \"Glycolic Acid\"\n  pct = {pct}\n{rest}\n  [[phase.ingredient]]\n  name = \"Lye"
        );
        with("name = \"Lye", &second)
    };
    let (_, report) = json(&glycolic(2.0, "  functions = [\"acid\"]\n"));
    assert_eq!(check(&report, "acid-active")["verdict"], "not-judged");
    let (_, report) = json(&glycolic(0.2, ""));
    assert_eq!(check(&report, "acid-free")["verdict"], "pass");
    // A file of powders alone: nothing that needs the rest passes.
    let powders_alone = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/examples/millrace-rice-polish.toml"));
    let (status, report) = json(&powders_alone.unwrap());
    assert_eq!(status, 0);
    for key in KEYS.iter().filter(|k| !["soluble", "silica-dust"].contains(k)) {
        assert_ne!(check(&report, key)["verdict"], "pass", "{key}");
    }
}

#[test]
fn dissolving_grains_weaken_the_index() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let (status, text, _) = run_in(root, &["formula", "examples/weir-salt-scrub.toml"]);
    assert_eq!(status, 0, "{text}");
    assert!(text.contains("over the whole rub"), "{text}");
    let (_, out, _) = run_in(root, &["formula", "examples/weir-salt-scrub.toml", "--json"]);
    let report: Value = serde_json::from_str(&out).unwrap();
    let index = &report["index"];
    let number = |v: &Value| v.as_f64().unwrap();
    assert!(number(&index["value"]) < number(&index["undissolved"]));
    assert!(number(&index["over_the_rub"]["value"]) < number(&index["value"]));
    // 8 % water take 35.9 g of salt per 100 g (handbook): 2.87 % of the scrub, 5.74 % of the salt.
    let soluble = check(&report, "soluble");
    assert!((soluble["value"].as_f64().unwrap() - 5.744).abs() < 1e-3, "{soluble}");
}

#[test]
fn other_commands_read_the_file_and_ignore_the_formula() {
    let folder = folder(EXAMPLE);
    let (status, with_formula, message) = run_in(folder.path(), &["blend", "scrub.toml", "--json"]);
    assert_eq!(status, 0, "{message}");
    let cut = EXAMPLE.find("[base]").unwrap();
    let powders = EXAMPLE[EXAMPLE.find("[[powder]]").unwrap()..].replace("phase = \"Cool-down\"\n", "");
    fs::write(folder.path().join("scrub.toml"), format!("{}{powders}", &EXAMPLE[..cut])).unwrap();
    let (_, plain, _) = run_in(folder.path(), &["blend", "scrub.toml", "--json"]);
    assert_eq!(with_formula, plain);
    // What the formula alone minds is nothing to them, a slip of a key is.
    fs::write(folder.path().join("scrub.toml"), with("pct = 6\n", "pct = 96\n")).unwrap();
    assert_eq!(run_in(folder.path(), &["blend", "scrub.toml"]).0, 0);
}

#[test]
fn bad_formulas_are_refused_with_place_and_remedy() {
    let line = |text: &str, piece: &str| text[..text.find(piece).unwrap()].matches('\n').count() + 1;
    let two_fills = with("pct = 6\n", "fill = true\n");
    let cases: Vec<(&str, String, &str, Vec<&str>)> = vec![
        ("over 100 %", with("pct = 5\n", "pct = 95\n"), "pct = 0.8", vec!["sums to 123.8 %", "100 % at most"]),
        (
            "nothing left for the fill",
            with("pct = 5\n", "pct = 71.2\n"),
            "fill = true",
            vec!["nothing is left for \"Water\"", "the others sum to 100 %"],
        ),
        (
            "over 100 % without a fill",
            with("fill = true                    # takes what is left to 100 %", "pct = 90"),
            "pct = 90",
            vec!["sums to 123.8 %", "100 % at most"],
        ),
        (
            "two fills",
            two_fills.clone(),
            "fill = true\n  functions",
            vec!["\"Water\" and \"Sunflower oil\"", "fill = true"],
        ),
        ("both pct and fill", with("fill = true ", "pct = 5\n  fill = true "), "pct = 5\n  fill", vec!["keep one"]),
        ("no pct", with("  pct = 6\n", ""), "[[phase.ingredient]]\n  name = \"Sunflower", vec!["pct is missing"]),
        ("negative pct", with("pct = 6\n", "pct = -6\n"), "pct = -6", vec!["between 0 and 100 %", "-6"]),
        ("pct over 100", with("pct = 6\n", "pct = 600\n"), "pct = 600", vec!["between 0 and 100 %"]),
        ("pct not a number", with("pct = 6\n", "pct = nan\n"), "pct = nan", vec!["NaN"]),
        (
            "pH of 15",
            with("final_ph = 4.8", "final_ph = 15"),
            "final_ph",
            vec!["a pH must be between 0 and 14, not 15"],
        ),
        ("negative pH", with("final_ph = 4.8", "final_ph = -1"), "final_ph", vec!["between 0 and 14"]),
        ("window of 15", with("[4.5, 5.0]", "[4.5, 15]"), "window =", vec!["between 0 and 14"]),
        ("window that falls", with("[4.5, 5.0]", "[5.0, 4.5]"), "window =", vec!["5 is not below 4.5"]),
        ("two pH", with("density_g_cm3 = 1.03", "ph = 5"), "ph = 5", vec!["keep final_ph"]),
        (
            "unknown acid",
            with("key = \"lactic\"", "key = \"latic\""),
            "key = \"latic\"",
            vec!["did you mean \"lactic\"?"],
        ),
        (
            "unknown function",
            with("[\"humectant\"]", "[\"humektant\"]"),
            "functions = [\"humek",
            vec!["did you mean \"humectant\"?"],
        ),
        (
            "unknown preservative",
            with("functions = [\"fragrance\"]", "preservative = \"sorbat\""),
            "preservative = \"sorbat\"",
            vec!["unknown preservative"],
        ),
        (
            "unknown phase",
            with("phase = \"Cool-down\"", "phase = \"Cooldown\""),
            "phase = \"Cooldown\"",
            vec!["no phase \"Cooldown\"", "did you mean \"Cool-down\"?"],
        ),
        (
            "phase twice",
            with("name = \"Oil\"", "name = \"Water\""),
            "name = \"Water\"\ntemperature_c = 70\n\n",
            vec!["two phases are named \"Water\""],
        ),
        (
            "strength over 100",
            with("strength_pct = 80", "strength_pct = 101"),
            "strength_pct = 101",
            vec!["at most 100 %"],
        ),
        ("strength of nothing", with("strength_pct = 80", "strength_pct = 0"), "strength_pct = 0", vec!["above 0"]),
        (
            "a text for a flag",
            with("rinse_off = true", "rinse_off = \"yes\""),
            "rinse_off",
            vec!["true or false, not a text"],
        ),
        (
            "hot as fire",
            with("temperature_c = 70", "temperature_c = 700"),
            "temperature_c = 700",
            vec!["between -20 and 150"],
        ),
        ("region", with("per_week = 2", "regions = [\"\"]"), "regions", vec!["a name is blank"]),
        ("no day", with("per_week = 2", "on_market = \"2026-12\""), "on_market", vec!["on_market"]),
        (
            "a day of no month",
            with("per_week = 2", "on_market = \"2026-13-01\""),
            "on_market",
            vec!["there are twelve months"],
        ),
        ("a number for a day", with("per_week = 2", "on_market = 2026"), "on_market", vec!["must be a date"]),
        ("both fills", with("net_g = 140", "net_g = 140\nnet_ml = 130"), "net_ml", vec!["keep one"]),
        ("jar with a nozzle", with("net_g = 140", "jar = true"), "jar", vec!["keep one"]),
        (
            "water activity",
            with("viscosity_pa_s = 30", "water_activity = 2"),
            "water_activity",
            vec!["between 0 and 1"],
        ),
        (
            "a phase as table",
            "[scrub]\nname = \"x\"\npowder_load_pct = 5\n[phase]\n".to_owned(),
            "[phase]",
            vec!["[[phase]]"],
        ),
    ];
    for (what, text, piece, wanted) in cases {
        let folder = folder(&text);
        let (status, out, message) = run_in(folder.path(), &["formula", "scrub.toml"]);
        assert_eq!((status, out.as_str()), (2, ""), "{what}: {message}");
        let place = format!("scrub.toml:{}:", line(&text, piece));
        for part in wanted.iter().copied().chain([place.as_str()]) {
            assert!(message.contains(part), "{what}: no {part:?} in: {message}");
        }
        assert!(!message.contains("panicked"), "{message}");
    }
    // Slips of keys are told by every command that reads the file.
    for (old, new, hint) in [
        ("yield_stress_pa", "yeild_stress_pa", "yield_stress_pa"),
        ("final_ph", "finalph", "final_ph"),
        ("orifice_mm", "orifise_mm", "orifice_mm"),
        ("per_week", "perweek", "per_week"),
        ("temperature_c", "temprature_c", "temperature_c"),
        ("strength_pct", "strenght_pct", "strength_pct"),
        ("[fill]", "[fil]", "fill"),
    ] {
        let text = with(old, new);
        let folder = folder(&text);
        for command in ["formula", "blend"] {
            let (status, _, message) = run_in(folder.path(), &[command, "scrub.toml"]);
            assert_eq!(status, 2, "{new}");
            let place = format!("scrub.toml:{}:", line(&text, new));
            for part in [place.as_str(), "unknown key", &format!("did you mean \"{hint}\"?")] {
                assert!(message.contains(part), "{command}: no {part:?} in: {message}");
            }
        }
    }
}

#[test]
fn hostile_names_stay_text() {
    let longest = "x".repeat(200);
    for name in ["<script>alert(1)</script>", "it's \\\"so\\\" called & more", "abc\\u202Efed\\u2066", longest.as_str()]
    {
        let text = EXAMPLE
            .replace("\"Glycerin\"", &format!("\"{name}\""))
            .replace("\"Millrace acid polish\"", &format!("\"{name}\""));
        let folder = folder(&text);
        for command in ["formula", "blend"] {
            let (status, out, message) = run_in(folder.path(), &[command, "scrub.toml"]);
            assert_eq!(status, 0, "{message}");
            assert!(
                !out.chars().any(|c| (c.is_control() && c != '\n') || ('\u{202a}'..='\u{2069}').contains(&c)),
                "{name}"
            );
            assert!(out.len() < 60_000, "{command}: one long name makes {} bytes", out.len());
        }
        let (_, out, _) = run_in(folder.path(), &["formula", "scrub.toml", "--json"]);
        let report: Value = serde_json::from_str(&out).unwrap();
        assert_eq!(report["ingredients"][0]["name"], report["scrub"]["name"], "JSON keeps the name");
    }
}
