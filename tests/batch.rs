//! Weigh sheets: sums that are exact, units that are filled, what rounding does, and calls that cannot be weighed.

use crate::common;
use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const EXAMPLE: &str = "examples/millrace-acid-polish.toml";

fn run_in(folder: &Path, args: &[&str]) -> (i32, String, String) {
    common::run_in(folder, &[&["batch"], args].concat())
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn json(args: &[&str]) -> Value {
    let (status, said, complaint) = run_in(root(), &[args, &["--json"]].concat());
    assert_eq!(status, 0, "{complaint}");
    serde_json::from_str(&said).unwrap()
}

fn grams(sheet: &Value) -> Vec<f64> {
    sheet["lines"].as_array().unwrap().iter().map(|l| l["grams"].as_f64().unwrap()).collect()
}

#[test]
fn whole_steps_sum_exactly_to_the_batch() {
    for (mass, resolution, step) in
        [("2.5kg", "0.1g", 0.1), ("777g", "1g", 1.0), ("60kg", "5 g", 5.0), ("1kg", "10mg", 0.01)]
    {
        let sheet = json(&[EXAMPLE, "--mass", mass, "--resolution", resolution]);
        let in_steps: Vec<f64> = grams(&sheet).iter().map(|g| g / step).collect();
        assert!(in_steps.iter().all(|s| (s - s.round()).abs() < 1e-6), "{mass} {resolution}: {in_steps:?}");
        let sum: f64 = in_steps.iter().map(|s| s.round()).sum();
        assert_eq!(sum, (sheet["total_g"].as_f64().unwrap() / step).round(), "{mass} in steps of {resolution}");
        for line in sheet["lines"].as_array().unwrap() {
            let off = line["grams"].as_f64().unwrap() - line["exact_g"].as_f64().unwrap();
            assert!(off.abs() < step * (1.0 + 1e-6), "{line}");
        }
        // The last reading of each phase is what stands on the scale of it: acid and base are weighed apart.
        let lines = sheet["lines"].as_array().unwrap();
        for phase in ["Water", "Oil", "Cool-down"] {
            let held: Vec<f64> =
                lines.iter().filter(|l| l["phase"] == phase).map(|l| l["grams"].as_f64().unwrap()).collect();
            let last = lines.iter().rfind(|l| l["phase"] == phase).unwrap()["on_scale_g"].as_f64().unwrap();
            assert!(held.len() > 1 && (last - held.iter().sum::<f64>()).abs() < 1e-6, "{phase}: {last}, {held:?}");
        }
        for line in lines {
            let [grams, exact, told] = ["grams", "exact_g", "rounding_pct"].map(|key| line[key].as_f64().unwrap());
            assert!((told - 100.0 * (grams - exact) / exact).abs() < 1e-9, "{line}");
        }
    }
}

#[test]
fn units_loss_and_cost() {
    // By hand: 12 units of 100 g are 1200 g; with 4 % lost, 1250 g have to be weighed in.
    let sheet = json(&[EXAMPLE, "--units", "12x100g", "--loss", "4%"]);
    assert_eq!((sheet["total_g"].as_f64(), sheet["units"].as_u64()), (Some(1250.0), Some(12)));
    let (cost, unit) = (sheet["cost"].as_f64().unwrap(), sheet["cost_per_unit"].as_f64().unwrap());
    assert!((cost - 12.0 * unit).abs() < 1e-9);
    let dearest = sheet["lines"].as_array().unwrap().iter().find(|l| l["name"] == "Osier blossom scent").unwrap();
    assert!((dearest["cost"].as_f64().unwrap() - 95.0 * dearest["grams"].as_f64().unwrap() / 1000.0).abs() < 1e-9);
    // By volume the density decides: 1000 mL of a scrub of 5 % powder in a base of 1.03 g/mL.
    let by_volume = json(&[EXAMPLE, "--units", "10x100mL", "--loss", "0"]);
    let grains = 5.0 / (6.0 / (4.0 / 1.4 + 2.0 / 1.35));
    let density = 100.0 / (grains + 95.0 / 1.03);
    assert!((by_volume["unit_g"].as_f64().unwrap() - 100.0 * density).abs() < 1e-9);
    // Units as asked for are held against the container, not those of the file: 150 mL in 150 mL leave no headspace.
    let full = json(&[EXAMPLE, "--units", "12x150mL"]);
    let told = full["checks_as_weighed"].as_array().unwrap().iter().find(|c| c["key"] == "filling").unwrap();
    assert_eq!((told["verdict"].as_str(), told["verdict_by_formula"].as_str()), (Some("caution"), Some("pass")));
    // What does not go in is no batch.
    let (status, _, complaint) = run_in(root(), &[EXAMPLE, "--units", "12x151mL"]);
    assert!(status == 2 && complaint.contains("151 mL does not go into container_ml = 150"), "{complaint}");
    // A mass alone fills what [fill] says, rounded down: 1000 g less 3 % in jars of 140 g.
    assert_eq!(json(&[EXAMPLE, "--mass", "1kg"])["units"], 6);
}

/// Weighed to a milligram nothing comes nearer to a limit by what is told of; where lines are coarse, the batch that would do gives
/// every line the least steps of the balance (conventions).
#[test]
fn only_rounding_that_matters_is_told() {
    let fine = json(&[EXAMPLE, "--mass", "280g", "--resolution", "1mg"]);
    assert_eq!(fine["checks_as_weighed"].as_array().unwrap().len(), 0, "{}", fine["checks_as_weighed"]);
    assert!(fine["remedy"].is_null(), "{}", fine["remedy"]);
    let coarse = json(&[EXAMPLE, "--mass", "280g", "--resolution", "0.1g"]);
    let steps = common::tables().formula.constants.balance_steps.value;
    let shares: Vec<f64> =
        coarse["lines"].as_array().unwrap().iter().map(|l| l["exact_g"].as_f64().unwrap() / 280.0).collect();
    let least = shares.iter().copied().fold(f64::INFINITY, f64::min);
    let (mass, resolution) = (coarse["remedy"]["mass_g"].as_f64(), coarse["remedy"]["resolution_g"].as_f64());
    assert!(least * 280.0 / 0.1 < steps, "the scent is coarse");
    assert!(least * mass.unwrap() / 0.1 >= steps * (1.0 - 1e-9), "{mass:?}");
    assert!(least * 280.0 / resolution.unwrap() >= steps * (1.0 - 1e-9), "{resolution:?}");
}

#[test]
fn rounding_shows_in_index_and_ph() {
    let coarse = json(&[EXAMPLE, "--mass", "280g", "--resolution", "0.5g"]);
    let fine = json(&[EXAMPLE, "--mass", "280g", "--resolution", "1mg"]);
    let shift = |sheet: &Value, what: &str| sheet[what]["shift"].as_f64().unwrap().abs();
    for what in ["index", "ph"] {
        assert!(shift(&coarse, what) > 10.0 * shift(&fine, what), "{what}: {coarse}");
        assert!(shift(&fine, what) < 0.01);
    }
    // The index as weighed is that of a scrub with these very grams.
    let of = |name: &str| {
        let lines = coarse["lines"].as_array().unwrap();
        lines.iter().find(|l| l["name"] == name).unwrap()["grams"].as_f64().unwrap()
    };
    let (rice, olive) = (of("Rice bran, fine"), of("Olive stone, sieved"));
    let scrub = fs::read_to_string(root().join("examples/millrace-rice-polish.toml")).unwrap();
    let load = format!("powder_load_pct = {}", 100.0 * (rice + olive) / 280.0);
    let scrub = scrub.replace("powder_load_pct = 5.0", &load);
    let scrub =
        scrub.replace("parts = 4", &format!("parts = {rice}")).replace("parts = 2", &format!("parts = {olive}"));
    let folder = TempDir::new().unwrap();
    fs::copy(root().join("examples/olive-stone-sieved.csv"), folder.path().join("olive-stone-sieved.csv")).unwrap();
    fs::write(folder.path().join("weighed.toml"), scrub).unwrap();
    let mut blend = Command::cargo_bin("gritwise").unwrap();
    let output = blend.current_dir(folder.path()).args(["blend", "weighed.toml", "--json"]).output().unwrap();
    let blend: Value = serde_json::from_slice(&output.stdout).unwrap();
    let weighed = coarse["index"]["weighed"].as_f64().unwrap();
    assert!((blend["index"]["value"].as_f64().unwrap() / weighed - 1.0).abs() < 1e-9, "{coarse}");
}

#[test]
fn a_scrub_of_powders_alone_gets_a_line_for_the_rest() {
    let sheet = json(&["examples/millrace-rice-polish.toml", "--mass", "1kg"]);
    assert_eq!(grams(&sheet), [950.0, 33.3, 16.7]);
    assert!(sheet["ph"].is_null() && sheet["units"].is_null() && sheet["cost_per_unit"].is_null());
}

#[test]
fn acid_and_lye_are_weighed_apart() {
    let sheet = json(&[EXAMPLE, "--mass", "1kg"]);
    let of = |name: &str| sheet["lines"].as_array().unwrap().iter().find(|l| l["name"] == name).unwrap();
    for (name, word) in [("Lactic acid, 80 %", "a vessel of its own"), ("Lye, 10 %", "of it: add 84.00 g, measure")] {
        let line = of(name);
        assert_eq!(line["grams"], line["on_scale_g"], "{line}");
        assert!(line["note"].as_str().unwrap().contains(word), "{line}");
    }
    assert!(of("Lye, 10 %")["note"].as_str().unwrap().ends_with("pH 4.8 (4.5 to 5 allowed)"));
    assert!(of("Glycerin")["note"].is_null());
}

/// On the scale of a phase stands what was weighed into it; an acid or a base beside other things has a vessel of its own.
#[test]
fn an_acid_within_a_phase_is_weighed_apart() {
    let folder = TempDir::new().unwrap();
    let text = fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let (before, rest) = text.split_once("[[phase]]\nname = \"Acid\"").unwrap();
    let (_, acids) = rest.split_once("  [[phase.ingredient]]").unwrap();
    fs::write(folder.path().join("scrub.toml"), format!("{before}  [[phase.ingredient]]{acids}")).unwrap();
    let sieve = "olive-stone-sieved.csv";
    fs::copy(root().join("examples").join(sieve), folder.path().join(sieve)).unwrap();
    let (status, said, complaint) = run_in(folder.path(), &["scrub.toml", "--mass", "1kg", "--json"]);
    assert_eq!(status, 0, "{complaint}");
    let sheet: Value = serde_json::from_str(&said).unwrap();
    let line = |name: &str| sheet["lines"].as_array().unwrap().iter().find(|l| l["name"] == name).unwrap();
    for name in ["Lactic acid, 80 %", "Lye, 10 %"] {
        assert_eq!((line(name)["phase"].as_str(), &line(name)["on_scale_g"]), (Some("Oil"), &line(name)["grams"]));
    }
    let oil = ["Sunflower oil", "Sugar emulsifier"].map(|name| line(name)["grams"].as_f64().unwrap());
    let on_scale = line("Sugar emulsifier")["on_scale_g"].as_f64().unwrap();
    assert!((on_scale - oil[0] - oil[1]).abs() < 1e-6, "{on_scale}");
}

#[test]
fn sheets_as_files() {
    let folder = TempDir::new().unwrap();
    let text = fs::read_to_string(root().join(EXAMPLE)).unwrap();
    let text = text.replace("name = \"Glycerin\"", "name = \"=cmd|'x' <script>\"");
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    fs::copy(root().join("examples/olive-stone-sieved.csv"), folder.path().join("olive-stone-sieved.csv")).unwrap();
    let call = ["scrub.toml", "--mass", "1kg", "--write", "a.html", "--write", "a.csv", "--write", "a.xlsx"];
    assert_eq!(run_in(folder.path(), &call).0, 0);
    assert_eq!(run_in(folder.path(), &call).0, 2, "nothing is replaced unasked");
    let html = fs::read_to_string(folder.path().join("a.html")).unwrap();
    assert!(!html.contains("<script") && html.contains("☐") && html.contains("ISO 22716"));
    let csv = fs::read_to_string(folder.path().join("a.csv")).unwrap();
    assert!(csv.contains(",'=cmd|'x' <script>,"), "{csv}");
    assert!(csv.lines().last().unwrap().starts_with("total,,,,1000,,,,,"), "{csv}");
    // A spreadsheet is a zip archive (ISO/IEC 29500).
    assert!(fs::read(folder.path().join("a.xlsx")).unwrap().starts_with(b"PK"));
}

#[test]
fn what_cannot_be_weighed() {
    let folder = TempDir::new().unwrap();
    let text = fs::read_to_string(root().join(EXAMPLE)).unwrap();
    fs::copy(root().join("examples/olive-stone-sieved.csv"), folder.path().join("olive-stone-sieved.csv")).unwrap();
    fs::write(folder.path().join("scrub.toml"), &text).unwrap();
    fs::write(folder.path().join("short.toml"), text.replace("fill = true ", "pct = 50 ")).unwrap();
    fs::write(folder.path().join("light.toml"), text.replace("density_g_cm3 = 1.03", "")).unwrap();
    fs::write(folder.path().join("bare.toml"), text.replace("net_g = 140", "")).unwrap();
    fs::create_dir(folder.path().join("folder.csv")).unwrap();
    let shelf = "[[powder]]\nname = \"Olive stone, sieved\"\nmaterial = \"olive-stone\"\nsize = \"mesh -60+100\"\nstock_g = 10\n";
    fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
    fs::write(folder.path().join("lot.csv"), shelf).unwrap();
    fs::write(folder.path().join("sour.toml"), text.replace("final_ph = 4.8", "final_ph = 3.0")).unwrap();
    for (args, status, wanted) in [
        (vec!["scrub.toml"], 2, "--mass"),
        (vec!["scrub.toml", "--mass", "heavy"], 2, "2.5kg"),
        (vec!["scrub.toml", "--mass", "0g"], 2, "above 0"),
        (vec!["scrub.toml", "--mass", "100g", "--resolution", "1g"], 2, "round to nothing"),
        (vec!["scrub.toml", "--mass", "1kg", "--resolution", "0"], 2, "above 0"),
        (vec!["scrub.toml", "--mass", "1kg", "--units", "12x145mL"], 2, "not 12; weigh in"),
        (vec!["scrub.toml", "--units", "12 pots"], 2, "12x200mL"),
        (vec!["scrub.toml", "--mass", "1kg", "--loss", "95%"], 2, "below 90"),
        (vec!["scrub.toml", "--mass", "1kg", "--write", "sheet.pdf"], 2, ".html, .csv or .xlsx"),
        (vec!["short.toml", "--mass", "1kg"], 2, "not 100; mark one ingredient"),
        (vec!["light.toml", "--units", "12x145mL"], 2, "density_g_cm3"),
        (vec!["bare.toml", "--units", "12"], 2, "net_ml or net_g"),
        (vec!["scrub.toml", "--mass", "1kg", "--resolution", "0.0000015"], 2, "whole micrograms"),
        (vec!["scrub.toml", "--mass", "1kg", "--write", "a.csv", "--write", "./a.csv"], 2, "named twice"),
        (vec!["scrub.toml", "--mass", "1kg", "--write", "folder.csv", "--force"], 2, "is a folder"),
        (vec!["scrub.toml", "--mass", "1kg", "--shelf", "lot.csv", "--write", "lot.csv", "--force"], 2, "made from"),
        (vec!["scrub.toml", "--mass", "1kg", "--shelf", "shelf.toml"], 1, ""),
        (vec!["sour.toml", "--mass", "1kg"], 1, ""),
    ] {
        let (got, said, complaint) = run_in(folder.path(), &args);
        assert_eq!(got, status, "{args:?}: {complaint}");
        assert!(complaint.contains(wanted), "{args:?}: {complaint}");
        let reason = if args[0] == "sour.toml" { "Stop: ph-window" } else { "are missing" };
        assert!(status == 2 || said.contains(reason), "{said}");
        assert!(!folder.path().join("sheet.pdf").exists());
    }
}

#[test]
fn the_index_over_the_rub_stands_beside_the_index() {
    let sheet = |file: &str| -> Value {
        let mut command = Command::cargo_bin("gritwise").unwrap();
        let command = command.current_dir(env!("CARGO_MANIFEST_DIR"));
        serde_json::from_slice(&command.args(["batch", file, "--mass", "5kg", "--json"]).output().unwrap().stdout)
            .unwrap()
    };
    let salt = sheet("examples/weir-salt-scrub.toml");
    let over = &salt["index_over_the_rub"]["weighed"];
    let [value, low, high, first] =
        [&over["value"], &over["low"], &over["high"], &salt["index"]["weighed"]].map(|v| v.as_f64().unwrap());
    assert!(low < value && value < high && value < first, "{salt}");
    assert!(sheet("examples/millrace-acid-polish.toml")["index_over_the_rub"].is_null());
}
