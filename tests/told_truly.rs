//! Small things that a maker would be misled by: what a stand-in brings, a lot that the jar dissolves some of, a verdict whose top is open,
//! a lever at a limit, tables of one's own that are damaged, and lines that run past the width.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).to_owned()
}

/// Exit status and all that is printed.
fn said(folder: &Path, args: &[&str]) -> (i32, String) {
    let (code, printed, complaint) = run_in(folder, args);
    (code, printed + &complaint)
}

fn json(folder: &Path, args: &[&str]) -> Value {
    let (_, printed, complaint) = run_in(folder, &[args, &["--json"]].concat());
    serde_json::from_str(&printed).unwrap_or_else(|e| panic!("{args:?}: {e} {complaint}"))
}

fn folder(files: &[(&str, &str)]) -> TempDir {
    let folder = TempDir::new().unwrap();
    files.iter().for_each(|(name, text)| fs::write(folder.path().join(name), text).unwrap());
    folder
}

const SALT: &str = "examples/weir-salt-scrub.toml";

#[test]
fn a_stand_in_tells_dust_dissolving_and_the_face() {
    let found = json(&root(), &["stand-in", SALT, "--for", "Sea", "--top", "40"]);
    let changes = |material: &str| {
        let all = found["stand_ins"].as_array().unwrap();
        let one = all.iter().find(|s| s["material"] == material).unwrap_or_else(|| panic!("no {material}"));
        one["changes"].as_array().unwrap().iter().map(|c| c.as_str().unwrap()).collect::<Vec<_>>().join("; ")
    };
    let pumice = changes("pumice");
    for word in
        ["silica in the dust", "no more grains that dissolve in water", "no more a material not used on the face"]
    {
        assert!(pumice.contains(word), "{pumice}");
    }
    let over = |material: &str| {
        let all = found["stand_ins"].as_array().unwrap();
        all.iter().find(|s| s["material"] == material).unwrap()["over_the_rub"].is_object()
    };
    assert!(over("sugar") && !over("pumice"));
    assert!(changes("silica-sand").contains("crystalline silica"), "{}", changes("silica-sand"));
}

#[test]
fn new_parts_of_a_powder_that_the_jar_dissolves_bring_the_index_back() {
    let shop = folder(&[
        ("lot.csv", "opening_um,retained_g\n600,4\n500,14\n400,30\n300,34\n212,15\npan,3\n"),
        ("scrub.toml", &fs::read_to_string(root().join(SALT)).unwrap()),
    ]);
    let told = json(shop.path(), &["lot", "lot.csv", "--powder", "Sea", "--in", "scrub.toml"]);
    let [designed, again] = [&told["index"], &told["index_rebalanced"]].map(|v| v.as_f64());
    let reasons = told["reasons"].to_string();
    match again {
        Some(again) if reasons.contains("bring the index back") => {
            assert!((again / designed.unwrap() - 1.0).abs() < 2e-4, "{designed:?} {again} {reasons}");
        }
        _ => assert!(!reasons.contains("bring the index back"), "{reasons}"),
    }
}

#[test]
fn an_open_top_passes_no_requirement_by_its_stated_band() {
    let table = "opening_um,retained_g\n212,4\n180,24\n150,40\n125,20\n106,8\n90,3\npan,1\n";
    let scrub = |size: &str| {
        format!(
            "[scrub]\nname = \"Open\"\npowder_load_pct = 0.4\n[[powder]]\nmaterial = \"rice-bran\"\nparts = 1\nsize = {size}\n"
        )
    };
    let (open, closed) = (scrub("{ sieve = \"t.csv\" }"), scrub("{ sieve = \"t.csv\", max_um = 240 }"));
    let shop = folder(&[("t.csv", table), ("open.toml", &open), ("closed.toml", &closed)]);
    let band = json(shop.path(), &["blend", "open.toml"])["band"]["name"].as_str().unwrap().replace(' ', "-");
    let require = |file: &str, more: &[&str]| said(shop.path(), &[&["blend", file, "--require", &band], more].concat());
    let (code, text) = require("open.toml", &["--quick"]);
    assert!(code == 1 && text.contains("max_um closes it"), "{code} {text}");
    assert_eq!(require("closed.toml", &["--quick"]).0, 0);
    let sure = json(shop.path(), &["blend", "open.toml"])["band"]["sure_pct"].as_f64().unwrap();
    assert_eq!(require("open.toml", &[]).0, i32::from(sure < 90.0), "{sure}");
}

#[test]
fn a_lever_at_the_limit_of_what_is_kept_off_the_face_tells_the_band_beyond() {
    let shop = folder(&[(
        "s.toml",
        "[scrub]\nname = \"S\"\npowder_load_pct = 1\n[[powder]]\nname = \"Sand\"\nmaterial = \"silica-sand\"\nparts = 1\nsize = { d50_um = 100, gsd \
         = 1.3 }\n[[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\nparts = 49\nsize = { d50_um = 60, gsd = 1.4 }\n",
    )]);
    let levers = json(shop.path(), &["blend", "s.toml"])["band"]["changes"].to_string();
    assert!(!levers.contains("Sand (now 1.00) would make it a face scrub"), "{levers}");
    // And one that is kept off the face alone says so, not that nothing is within reach.
    let text = said(&root(), &["blend", SALT]).1;
    assert!(text.contains("milder: none while 100 % of the powders are not used on the face"), "{text}");
}

#[test]
fn damaged_tables_of_ones_own_are_refused() {
    let cases = [
        ("materials", "pumice,", 25, "abc", "no range of % w/w"),
        ("materials", "pumice,", 26, "9-1", "no range of % w/w"),
        ("aims", "least_share_pct,", 1, "100", "lie within its range"),
        ("aims", "least_steps,", 3, "2", "its range 5 to 2 falls"),
    ];
    for (table, row, column, value, wanted) in cases {
        let text = fs::read_to_string(root().join(format!("grading-tables/{table}.csv"))).unwrap();
        let mut reader = csv::Reader::from_reader(text.as_bytes());
        let mut writer = csv::Writer::from_writer(Vec::new());
        writer.write_record(reader.headers().unwrap()).unwrap();
        for record in reader.records() {
            let record = record.unwrap();
            let hit = record.iter().next().is_some_and(|key| format!("{key},") == row);
            let cells = record.iter().enumerate().map(|(i, cell)| if hit && i == column { value } else { cell });
            writer.write_record(cells).unwrap();
        }
        let own = folder(&[(&format!("{table}.csv"), &String::from_utf8(writer.into_inner().unwrap()).unwrap())]);
        let (code, text) = said(&root(), &["tables", "--tables", own.path().to_str().unwrap()]);
        assert!(
            code == 2 && text.contains(wanted) && text.contains(&format!("{table}.csv:")),
            "{table} {value}: {code} {text}"
        );
    }
}

#[test]
fn text_keeps_to_a_hundred_columns() {
    let calls: [&[&str]; 9] = [
        &["blend", SALT],
        &["confidence", "examples/millrace-rice-polish.toml", "--draws", "1000"],
        &[
            "compare",
            "examples/millrace-rice-polish.toml",
            "examples/ferry-walnut-scrub.toml",
            SALT,
            "examples/weir-foot-scrub.toml",
        ],
        &["aim", "examples/aim-cheapest-face.toml"],
        &["lot", "examples/olive-stone-lot.csv", "--powder", "olive", "--in", "examples/millrace-rice-polish.toml"],
        &["lots", "examples/lots.csv"],
        &["panel", "examples/panel-scores.csv"],
        &["stand-in", SALT, "--for", "Sea"],
        &["ladder", "examples/millrace-rice-polish.toml", "--vary", "olive.parts=0..6"],
    ];
    for call in calls {
        let (_, text) = said(&root(), call);
        let wide: Vec<&str> = text.lines().filter(|l| l.chars().count() > 100).collect();
        assert!(wide.is_empty(), "{call:?}: {wide:?}");
    }
}

#[test]
fn a_price_is_what_solving_again_gives() {
    // Rounded to a coarse balance, a wider limit may bring nothing at all.
    let root = root();
    let shop = folder(&[]);
    for name in
        ["shelf.toml", "olive-stone-sieved.csv", "pumice-laser.csv", "bamboo-counts.csv", "aim-cheapest-face.toml"]
    {
        fs::copy(root.join("examples").join(name), shop.path().join(name)).unwrap();
    }
    let aim = fs::read_to_string(root.join("examples/aim-cheapest-face.toml")).unwrap();
    for more in [&[][..], &["--resolution", "5g"]] {
        let told = json(shop.path(), &[&["aim", "aim-cheapest-face.toml"], more].concat());
        let before = told["blends"][0]["objective"].as_f64().unwrap();
        for price in told["prices"].as_array().unwrap() {
            let words = price["words"].as_str().unwrap();
            if let Some(load) = words.strip_prefix("powder load at least ").and_then(|w| w.split(' ').next()) {
                fs::write(
                    shop.path().join("wider.toml"),
                    aim.replace("load_pct = [3, 6]", &format!("load_pct = [{load}, 6]")),
                )
                .unwrap();
                let again = json(shop.path(), &[&["aim", "wider.toml", "--top", "1"], more].concat());
                let saved = 100.0 * (1.0 - again["blends"][0]["objective"].as_f64().unwrap() / before);
                assert!((saved - price["saves_pct"].as_f64().unwrap()).abs() < 0.1, "{words}: {saved}");
            }
        }
    }
}

#[test]
fn a_curve_that_is_met_exactly_ends_the_search() {
    let shop = folder(&[
        ("old.toml", &fs::read_to_string(root().join(SALT)).unwrap()),
        (
            "shelf.toml",
            "[[powder]]\nname = \"Sea salt, fine\"\nmaterial = \"salt\"\nsize = { range_um = [200, 500] }\nprice_per_kg = 1\n[[powder]]\nname = \
             \"Sugar\"\nmaterial = \"sugar\"\nsize = { d50_um = 400, gsd = 1.4 }\nprice_per_kg = 2\n",
        ),
        (
            "aim.toml",
            "[aim]\nname = \"Same\"\nshelf = \"shelf.toml\"\ncurve = \"old.toml\"\ngoal = \"closest-curve\"\nload_pct = [20, 60]\nmax_powders = 1\n",
        ),
    ]);
    let told = json(shop.path(), &["aim", "aim.toml", "--seconds", "30"]);
    assert_eq!(told["proven"], true, "{told}");
}
