//! Whole commands, as a maker would call them.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;
use tempfile::TempDir;

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn run_in(folder: &Path, args: &[&str]) -> Output {
    Command::cargo_bin("gritwise").unwrap().current_dir(folder).args(args).output().unwrap()
}

fn run(args: &[&str]) -> String {
    let output = run_in(root(), args);
    let message = String::from_utf8_lossy(&output.stderr).into_owned();
    assert!(output.status.success(), "{args:?}: {message}");
    String::from_utf8(output.stdout).unwrap()
}

fn json(args: &[&str]) -> Value {
    serde_json::from_str(&run(args)).unwrap()
}

fn examples() -> Vec<PathBuf> {
    let mut files: Vec<PathBuf> = fs::read_dir(root().join("examples"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "toml"))
        .collect();
    files.sort();
    files
}

fn assert_keys(value: &Value, path: &str, keys: &[&str]) {
    for key in keys {
        assert!(value.get(key).is_some(), "{path} has no {key}: {value}");
    }
}

const PERCENTILES: [&str; 11] =
    ["d5_um", "d10_um", "d16_um", "d25_um", "d50_um", "d75_um", "d84_um", "d90_um", "d95_um", "d99_um", "span"];

#[test]
fn every_example_does_what_its_name_says() {
    let bands = [
        ("ferry-walnut-scrub", "face"),
        ("millrace-acid-polish", "delicate face"),
        ("millrace-body-scrub", "body"),
        ("millrace-rice-polish", "delicate face"),
        ("osier-bamboo-polish", "face"),
        ("sluice-oat-cream", "delicate face"),
        ("weir-foot-scrub", "hands and feet"),
        ("weir-salt-scrub", "body"),
    ];
    let mut seen = 0;
    for file in examples() {
        let name = file.file_stem().unwrap().to_string_lossy().into_owned();
        let path = file.to_str().unwrap();
        if name.starts_with("aim-") || name == "shelf" {
            // tests/aim.rs runs these.
            continue;
        }
        if name.starts_with("refused") {
            assert_eq!(run_in(root(), &["blend", path]).status.code(), Some(2), "{name}");
            continue;
        }
        let wanted = bands.iter().find(|b| b.0 == name).unwrap_or_else(|| panic!("no band noted for {name}")).1;
        let result = json(&["blend", path, "--json"]);
        assert_eq!(result["band"]["name"], wanted, "{name}");
        seen += 1;
    }
    assert_eq!(seen, bands.len());
}

#[test]
fn blend_json_has_the_keys_that_others_rely_on() {
    let result = json(&["blend", "examples/weir-foot-scrub.toml", "--json"]);
    assert_keys(&result["index"], "index", &["value", "removal_um_per_m", "rub"]);
    let powder = ["name", "mass_pct", "volume_pct", "index_share_pct"];
    result["powders"].as_array().unwrap().iter().for_each(|p| assert_keys(p, "powder", &powder));
    for basis in ["by_volume", "by_mass"] {
        assert_keys(&result["blend"][basis], basis, &PERCENTILES);
    }
    assert_keys(&result["blend"], "blend", &["mean_4_3_um", "mean_3_2_um", "density_g_cm3"]);
    let site = ["site", "gap_um", "carried_pct", "groove_p50_um", "groove_p95_um", "groove_ratio", "rub"];
    result["sites"].as_array().unwrap().iter().for_each(|s| assert_keys(s, "site", &site));
    let band = ["name", "governed_by", "value", "limit", "margin_pct", "reasons", "nearest_change"];
    assert_keys(&result["band"], "band", &band);
    assert!(result["cautions"].as_array().unwrap()[0].as_str().unwrap().contains("not a clinical measure"));
    let sum =
        |key: &str| -> f64 { result["powders"].as_array().unwrap().iter().map(|p| p[key].as_f64().unwrap()).sum() };
    for key in ["mass_pct", "volume_pct", "index_share_pct"] {
        assert!((sum(key) - 100.0).abs() < 1e-9, "{key} sums to {}", sum(key));
    }
}

#[test]
fn size_json_has_the_keys_that_others_rely_on() {
    for source in [
        "examples/olive-stone-sieved.csv",
        "mesh -60+100",
        "-60+100",
        "50-150 µm",
        "50–150 µm",
        "0.05-0.15 mm",
        "No. 60/No. 100 mesh",
        "tyler -65+100",
        "f 220",
        "d10 = 20, d90 = 90 um",
        "F220",
        "P180",
        "d10=20 d50=45 d90=90",
    ] {
        let result = json(&["size", source, "--json"]);
        assert_keys(&result["percentiles"], source, &PERCENTILES[..10]);
        assert_keys(&result["means"], source, &["d_1_0_um", "d_2_0_um", "d_3_2_um", "d_4_3_um"]);
        assert_keys(&result, source, &["span", "specific_surface_m2_cm3", "number_median_um", "fits"]);
        let classes = result["classes"].as_array().unwrap();
        classes.iter().for_each(|c| assert_keys(c, source, &["lower_um", "upper_um", "volume_pct"]));
    }
    let result = json(&["size", "examples/olive-stone-sieved.csv", "--json"]);
    let fits = result["fits"].as_array().unwrap();
    assert_eq!(fits.len(), 6);
    let fit = ["law", "method", "size_um", "exponent", "median_um", "gsd", "r2", "rmse_pct"];
    fits.iter().for_each(|f| assert_keys(f, "fit", &fit));
    let stated = json(&["size", "d10=20 d50=45 d90=90", "--json"]);
    assert!((stated["percentiles"]["d90_um"].as_f64().unwrap() - 90.0).abs() < 1e-6);
}

#[test]
fn sieves_laser_and_counts_of_one_powder_agree() {
    let folder = TempDir::new().unwrap();
    let write = |name: &str, text: &str| fs::write(folder.path().join(name), text).unwrap();
    write("a.csv", "opening_um,retained_g\n250,0\n125,30\n63,50\npan,20\n");
    write(
        "b.csv",
        "# same by percent, semicolons and decimal commas\nopening_um;retained_pct\n250;0,0\n125;30,0\n63;50,0\n0;20,0\n",
    );
    write("c.csv", "opening_um,cum_passing_pct\n250,100\n125,70\n63,20\n");
    write("d.csv", "mesh,cum_retained_pct,note\n60,0,top\n#120,30,\nNo. 230,80,\nPAN,100,\n");
    let tabs = "# tabs\r\nopening_um\tretained_g\r\n250\t0\r\n125\t30,0\r\n# 63 is new\r\n63\t50\r\npan\t20\r\n";
    write("h.csv", tabs);
    write("e.csv", "size_um,cum_volume_pct\n63,20\n125,70\n250,100\n");
    write("f.csv", "lower_um,upper_um,volume_pct\n31.5,63,20\n63,125,50\n125,250,30\n");
    // Counts that hold the same volumes: share over the mean cube of each class.
    let cube = |a: f64, b: f64| (b.powi(4) - a.powi(4)) / (4.0 * (b - a));
    let n = |share: f64, a: f64, b: f64| share / cube(a, b) * 1e9;
    write(
        "g.csv",
        &format!(
            "lower_um,upper_um,count\n31.5,63,{}\n63,125,{}\n125,250,{}\n",
            n(20.0, 31.5, 63.0),
            n(50.0, 63.0, 125.0),
            n(30.0, 125.0, 250.0)
        ),
    );
    let median = |name: &str| -> f64 {
        let output = run_in(folder.path(), &["size", name, "--json"]);
        assert!(output.status.success(), "{name}: {}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice::<Value>(&output.stdout).unwrap()["percentiles"]["d50_um"].as_f64().unwrap()
    };
    let first = median("a.csv");
    for name in ["b.csv", "c.csv", "d.csv", "e.csv", "f.csv", "g.csv", "h.csv"] {
        assert!((median(name) / first - 1.0).abs() < 1e-9, "{name}: {} is not {first}", median(name));
    }
}

#[test]
fn require_answers_with_the_exit_status() {
    let polish = "examples/millrace-rice-polish.toml";
    let body = "examples/millrace-body-scrub.toml";
    for (file, band, status) in [
        (polish, "face", 0),
        (polish, "delicate-face", 0),
        (body, "face", 1),
        (body, "body", 0),
        (body, "hands and feet", 0),
    ] {
        let output = run_in(root(), &["blend", file, "--require", band]);
        assert_eq!(output.status.code(), Some(status), "{file} {band}");
        assert!(!output.stdout.is_empty(), "the result is printed either way");
    }
}

#[test]
fn the_shipped_examples_can_be_had_from_the_program() {
    let folder = TempDir::new().unwrap();
    let output = run_in(folder.path(), &["examples", "workshop"]);
    assert!(output.status.success(), "{output:?}");
    let shipped = fs::read_dir(concat!(env!("CARGO_MANIFEST_DIR"), "/examples")).unwrap().map(|e| e.unwrap());
    for file in shipped.filter(|file| file.file_name() != "README.md") {
        let written = fs::read(folder.path().join("workshop").join(file.file_name())).unwrap();
        assert!(written == fs::read(file.path()).unwrap(), "{:?}", file.file_name());
    }
    let blend = run_in(folder.path(), &["blend", "workshop/millrace-rice-polish.toml"]);
    assert!(blend.status.success());
    // Nothing is replaced, and nothing written beside it.
    fs::remove_file(folder.path().join("workshop/shelf.toml")).unwrap();
    assert_eq!(run_in(folder.path(), &["examples", "workshop"]).status.code(), Some(2));
    assert!(!folder.path().join("workshop/shelf.toml").exists());
}

#[test]
fn start_writes_files_that_work_and_never_overwrites() {
    let folder = TempDir::new().unwrap();
    assert!(run_in(folder.path(), &["start", "new/place"]).status.success());
    let scrub = folder.path().join("new/place/scrub.toml");
    assert!(run_in(folder.path(), &["blend", scrub.to_str().unwrap()]).status.success());
    fs::write(&scrub, "mine").unwrap();
    fs::remove_file(folder.path().join("new/place/sieve.csv")).unwrap();
    assert_eq!(run_in(folder.path(), &["start", "new/place"]).status.code(), Some(2));
    assert_eq!(fs::read_to_string(&scrub).unwrap(), "mine");
    assert!(!folder.path().join("new/place/sieve.csv").exists(), "half of the pair was written");
}

#[test]
fn tables_show_sources_and_a_folder_of_ones_own_counts() {
    let files = fs::read_dir(root().join("grading-tables")).unwrap().map(|f| f.unwrap().path());
    for file in files.filter(|f| f.extension().is_some_and(|e| e == "csv")) {
        let name = file.file_stem().unwrap().to_string_lossy().into_owned();
        assert!(run(&["tables", &name]).contains("Sources"), "{name}");
        assert!(json(&["tables", &name, "--json"])["rows"].as_array().unwrap().len() >= 3, "{name}");
    }
    let folder = TempDir::new().unwrap();
    let bands = run(&["tables", "bands", "--csv"])
        .replace("delicate face,face,index,90,67.5", "delicate face,face,index,40,30");
    fs::write(folder.path().join("bands.csv"), bands).unwrap();
    let own = folder.path().to_str().unwrap();
    let result = json(&["blend", "examples/millrace-rice-polish.toml", "--json", "--tables", own]);
    assert_eq!(result["band"]["name"], "face");
}

#[test]
fn completions_and_manual_are_generated() {
    for shell in ["bash", "zsh", "fish"] {
        assert!(run(&["completions", shell]).contains("gritwise"));
    }
    let page = run(&["man"]);
    assert!(page.contains(".TH") && page.contains("gritwise\\-blend"), "{page}");
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let args = ["blend", "examples/osier-bamboo-polish.toml", "--json"];
    assert_eq!(run(&args), run(&args));
}

#[test]
fn compare_says_what_makes_the_difference() {
    let (polish, body) = ("examples/millrace-rice-polish.toml", "examples/millrace-body-scrub.toml");
    let result = json(&["compare", polish, body, "examples/osier-bamboo-polish.toml", "--json"]);
    let scrubs = result["scrubs"].as_array().unwrap();
    assert_eq!(scrubs.len(), 3);
    scrubs.iter().for_each(|s| assert_keys(s, "scrub", &["index", "powders", "blend", "sites", "band", "cautions"]));
    let differences = result["differences"].as_array().unwrap();
    differences.iter().for_each(|d| assert_keys(d, "difference", &["what", "effect_on_index"]));
    assert!(differences[0]["what"].as_str().unwrap().contains("sizes, D50 165 to 387"));
    // A scrub differs in nothing from itself, and a change of one thing alone is all of the difference.
    let text = run(&["compare", polish, polish]);
    assert!(text.contains("nothing differs"), "{text}");
    let folder = TempDir::new().unwrap();
    let more =
        fs::read_to_string(root().join(polish)).unwrap().replace("powder_load_pct = 5.0", "powder_load_pct = 7.5");
    fs::write(folder.path().join("more.toml"), more).unwrap();
    fs::copy(root().join("examples/olive-stone-sieved.csv"), folder.path().join("olive-stone-sieved.csv")).unwrap();
    let more = folder.path().join("more.toml");
    let result = json(&["compare", polish, more.to_str().unwrap(), "--json"]);
    let index = |i: usize| result["scrubs"][i]["index"]["value"].as_f64().unwrap();
    let differences = result["differences"].as_array().unwrap();
    assert_eq!(differences.len(), 1);
    let effect = differences[0]["effect_on_index"].as_f64().unwrap();
    assert!((effect - (index(1) - index(0))).abs() < 1e-9);
    // In a shared rub the index goes as the square root of the load.
    assert!((index(1) / index(0) - 1.5_f64.sqrt()).abs() < 1e-9);
}

#[test]
fn stand_ins_keep_the_index() {
    let polish = "examples/millrace-rice-polish.toml";
    let stone = "olive stone, sieved";
    let result = json(&["stand-in", polish, "--for", stone, "--without", "salt", "--without", "mineral", "--json"]);
    let index = result["index"].as_f64().unwrap();
    let found = result["stand_ins"].as_array().unwrap();
    assert_eq!(found.len(), 5);
    for s in found {
        assert_keys(s, "stand-in", &["rank", "name", "pct_of_scrub", "index", "band", "curve_off_pct", "changes"]);
        assert!((s["index"].as_f64().unwrap() / index - 1.0).abs() < 0.05, "{s}");
    }
    // The powder itself, offered again under another name, is the best stand-in at the share it had.
    let folder = TempDir::new().unwrap();
    let shelf = "[[powder]]\nname = \"Same again\"\nmaterial = \"olive-stone\"\n\
                 size = { sieve = \"olive-stone-sieved.csv\" }\n\
                 [[powder]]\nname = \"Finer\"\nmaterial = \"olive-stone\"\nsize = \"F150\"\ntags = [\"spare\"]\n";
    fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
    fs::copy(root().join("examples/olive-stone-sieved.csv"), folder.path().join("olive-stone-sieved.csv")).unwrap();
    let shelf = folder.path().join("shelf.toml");
    let shelf = shelf.to_str().unwrap();
    let result = json(&["stand-in", polish, "--for", stone, "--shelf", shelf, "--json"]);
    let best = &result["stand_ins"][0];
    assert_eq!(best["name"], "Same again");
    assert!((best["pct_of_scrub"].as_f64().unwrap() / (5.0 / 3.0) - 1.0).abs() < 1e-3, "{best}");
    let result = json(&["stand-in", polish, "--for", stone, "--shelf", shelf, "--without", "SPARE", "--json"]);
    assert_eq!(result["stand_ins"].as_array().unwrap().len(), 1);
}

/// A scrub of one powder, beside a sieve table of it, blended.
fn sieved(table: &str, size: &str, more: &str) -> Value {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("lot.csv"), format!("opening_um,retained_g\n{table}\n")).unwrap();
    let text = format!(
        "[scrub]\nname = \"S\"\npowder_load_pct = 5\n[[powder]]\nname = \"P\"\nparts = 1\nsize = {{ {size} }}\n{more}\n"
    );
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    let output = run_in(folder.path(), &["blend", "scrub.toml", "--json"]);
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap()
}

const SHELL: &str = "material = \"walnut-shell\"";

#[test]
fn a_top_that_is_assumed_makes_the_band_the_mildest_that_it_can_be() {
    let said = |result: &Value, what: &str| {
        result["cautions"].as_array().unwrap().iter().any(|c| c.as_str().unwrap().contains(what))
    };
    let open = sieved("250,20\n180,30\n125,30\npan,20", "sieve = \"lot.csv\"", SHELL);
    assert_eq!(open["band"]["at_least"], true);
    assert!(said(&open, "max_um"), "the caution says what closes it");
    // The next opening of ISO 3310-1 R20/3 is 355 µm: stated, it is the same powder with nothing assumed.
    let closed = sieved("250,20\n180,30\n125,30\npan,20", "sieve = \"lot.csv\", max_um = 355", SHELL);
    assert_eq!(closed["band"]["at_least"], false);
    assert!(!said(&closed, "max_um"));
    let index = |result: &Value| result["index"]["value"].as_f64().unwrap();
    assert!((index(&closed) / index(&open) - 1.0).abs() < 1e-12);
    let wider = sieved("250,20\n180,30\n125,30\npan,20", "sieve = \"lot.csv\", max_um = 600", SHELL);
    assert!(index(&wider) > index(&closed), "coarser grains are harsher");
    // Two per cent on the coarsest sieve are a top.
    let little = sieved("250,2\n180,30\n125,48\npan,20", "sieve = \"lot.csv\"", SHELL);
    assert_eq!(little["band"]["at_least"], false);
    assert_eq!(sieved("250,2.1\n180,30\n125,47.9\npan,20", "sieve = \"lot.csv\"", SHELL)["band"]["at_least"], true);
}

#[test]
fn one_sieve_is_a_table_with_both_ends_assumed() {
    let one = sieved("125,40\npan,60", "sieve = \"lot.csv\"", SHELL);
    assert_eq!(one["band"]["at_least"], true);
    let assumed = one["powders"][0]["assumptions"].as_array().unwrap();
    assert!(
        assumed[0].as_str().unwrap().contains("60.00 % finer than 125 µm is taken to start at 62.5 µm"),
        "{assumed:?}"
    );
    assert!(
        assumed[1].as_str().unwrap().contains("40.00 % coarser than 125 µm is taken to reach 180 µm"),
        "{assumed:?}"
    );
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("lot.csv"), "opening_um,retained_g\n125,40\npan,60\n").unwrap();
    let size = |args: &[&str]| String::from_utf8(run_in(folder.path(), args).stdout).unwrap();
    let text = size(&["size", "lot.csv"]);
    assert!(text.contains("The sizes have no top: 40.0 % stayed on the coarsest sieve, 125.0 µm."), "{text}");
    let text = size(&["size", "lot.csv", "--max-um", "200"]);
    assert!(!text.contains("no top"), "{text}");
}

#[test]
fn where_mohs_misleads_the_tables_hardness_and_its_index_are_said() {
    let d50 = "d50_um = 150, gsd = 1.5";
    for (material, gpa) in [("walnut-shell", 0.25), ("salt", 0.2), ("sugar", 0.6), ("jojoba-wax", 0.01)] {
        let material = format!("material = \"{material}\"");
        let by_mohs = sieved("125,1\npan,1", d50, &format!("{material}\nmohs = 2.5"));
        let by_table = sieved("125,1\npan,1", d50, &material);
        assert_eq!(by_table["powders"][0]["hardness_gpa"], gpa, "the row of the materials table");
        let caution = |result: &Value| {
            let all = result["cautions"].as_array().unwrap().iter().filter_map(Value::as_str);
            all.filter(|c| c.contains("Mohs misleads")).map(str::to_owned).next()
        };
        assert_eq!(caution(&by_table), None, "{material}: nothing to say without a Mohs number");
        let said = caution(&by_mohs).unwrap_or_else(|| panic!("{material}: no caution"));
        assert!(said.contains(&format!("the materials table has {gpa} GPa")), "{said}");
        let index = said.split("with which the index would be ").nth(1).unwrap().split(' ').next().unwrap();
        let wanted = by_table["index"]["value"].as_f64().unwrap();
        assert!((index.parse::<f64>().unwrap() / wanted - 1.0).abs() < 0.006, "{said}; by the table {wanted}");
    }
    let mineral = sieved("125,1\npan,1", d50, "material = \"pumice\"\nmohs = 6");
    assert!(mineral["cautions"].as_array().unwrap().iter().all(|c| !c.as_str().unwrap().contains("Mohs")));
}
