//! What each command prints, whole, and every error message of `bad_input`: a change of a word is seen and meant.
//!
//! `INSTA_UPDATE=always cargo test --test suite -- snapshots:: bad_input::` writes them anew; read the difference before it is kept.

use assert_cmd::Command;
use std::path::Path;

const POLISH: &str = "examples/millrace-rice-polish.toml";
const ACID: &str = "examples/millrace-acid-polish.toml";
const SALT: &str = "examples/weir-salt-scrub.toml";
const BODY: &str = "examples/millrace-body-scrub.toml";

/// Name of the snapshot, and the call. Each report once on what it says most about; figures that need many draws with few.
const REPORTS: [(&str, &[&str]); 27] = [
    ("blend", &["blend", POLISH]),
    ("blend_stopped_by_a_use", &["blend", "examples/weir-foot-scrub.toml"]),
    ("blend_that_dissolves", &["blend", SALT]),
    ("blend_quick", &["blend", "--quick", BODY]),
    ("blend_refused", &["blend", "examples/refused-bead-wash.toml"]),
    ("formula", &["formula", ACID]),
    ("formula_that_dissolves", &["formula", SALT]),
    ("batch", &["batch", ACID, "--mass", "500g"]),
    ("batch_of_units", &["batch", POLISH, "--units", "12x100g"]),
    ("label", &["label", ACID]),
    ("confidence", &["confidence", POLISH, "--draws", "2000"]),
    ("compare", &["compare", POLISH, BODY, ACID]),
    ("ladder", &["ladder", POLISH, "--vary", "olive.parts=0..6", "--points", "4"]),
    ("map", &["ladder", POLISH, "--vary", "olive.parts=0..6", "--vary", "load=2..10", "--points", "5"]),
    ("stand_in", &["stand-in", POLISH, "--for", "olive", "--shelf", "examples/shelf.toml"]),
    ("aim_that_nothing_meets", &["aim", "examples/aim-too-much.toml"]),
    ("size_sieved", &["size", "examples/olive-stone-sieved.csv"]),
    ("size_counted", &["size", "examples/bamboo-counts.csv"]),
    ("size_of_a_grade", &["size", "-100 mesh"]),
    ("lots", &["lots", "examples/lots.csv"]),
    ("panel", &["panel", "examples/panel-scores.csv"]),
    ("plan_panel", &["plan", "panel", "--scrubs", "2"]),
    ("plan_stability", &["plan", "stability", ACID]),
    ("trace", &["trace", "OS-2410", "--in", "examples/batches.csv"]),
    ("tables", &["tables"]),
    ("tables_bands", &["tables", "bands"]),
    ("help", &["--help"]),
];

#[test]
fn every_report() {
    for (name, call) in REPORTS {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let output = Command::cargo_bin("gritwise").unwrap().current_dir(root).args(call).output().unwrap();
        let [said, complained] = [output.stdout, output.stderr].map(|text| String::from_utf8(text).unwrap());
        let status = output.status.code().unwrap();
        let version = concat!("gritwise ", env!("CARGO_PKG_VERSION"));
        let text = format!("$ gritwise {}\n{said}{complained}[{status}]", call.join(" ")).replace(version, "gritwise");
        insta::assert_snapshot!(name, text);
    }
}
