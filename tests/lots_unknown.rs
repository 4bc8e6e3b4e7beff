//! Lots and grades of which no sieve told all: what is not known never passes, and nothing is held against it.

use crate::common::run_in;
use crate::common::workshop::*;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

#[test]
fn a_lot_whose_top_is_open_says_at_least_until_something_closes_it() {
    let shop = Workshop::new();
    shop.write("open.csv", "opening_um,retained_g\n212,6\n180,22\n150,40\n125,20\n106,8\n90,3\npan,1\n");
    let text = |more: &[&str]| {
        let call = [&["lot", "open.csv"], more, &["--powder", "olive", "--in", "scrub.toml"]].concat();
        String::from_utf8(run(shop.path(), &call).stdout).unwrap()
    };
    assert!(text(&[]).contains("at least "), "{}", text(&[]));
    assert!(
        !text(&["--max-um", "240"]).contains("at least face") && !text(&["--max-um", "240"]).contains("at least body")
    );
    let (_, json) = shop.lot(&["open.csv"]);
    assert_eq!((&json["at_least"], &json["at_least_with_lot"]), (&Value::Bool(false), &Value::Bool(true)));
    // A top that the grade states closes the lot's tables too, where it lies above their coarsest sieve.
    shop.write("grade.csv", "opening_um,retained_g\n212,4\n180,24\n150,40\n125,20\n106,8\n90,3\npan,1\n");
    let closed = |um: u32| {
        let size = format!("{{ sieve = \"grade.csv\", max_um = {um} }}");
        let scrub = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(POLISH)).unwrap();
        let scrub = scrub.replace("{ sieve = \"olive-stone-sieved.csv\" }", &size);
        assert!(scrub.contains(&size), "{scrub}");
        shop.write("scrub.toml", &scrub);
        shop.lot(&["open.csv"]).1["at_least_with_lot"].clone()
    };
    assert_eq!(closed(260), Value::Bool(false));
    for (max, wanted) in [("200", "above the coarsest opening"), ("-5", "--max-um"), ("many", "--max-um")] {
        let call = ["lot", "open.csv", "--max-um", max, "--powder", "olive", "--in", "scrub.toml"];
        let output = run(shop.path(), &call);
        let message = String::from_utf8(output.stderr).unwrap();
        assert!(output.status.code() == Some(2) && message.contains(wanted), "{max}: {message}");
    }
    // Every command that tells a band says so.
    let open = shop.read("scrub.toml").replace(", max_um = 260", "");
    shop.write("scrub.toml", &open);
    for call in [
        vec!["blend", "scrub.toml"],
        vec!["confidence", "scrub.toml", "--draws", "1000"],
        vec!["ladder", "scrub.toml", "--vary", "olive.parts=1..3"],
        vec!["stand-in", "scrub.toml", "--for", "olive"],
        vec!["compare", "scrub.toml", "scrub.toml"],
    ] {
        let text = String::from_utf8(run(shop.path(), &call).stdout).unwrap();
        assert!(text.contains("at least"), "{call:?}: {text}");
    }
}

#[test]
fn a_top_that_no_sieve_told_is_never_met() {
    let shop = Workshop::new();
    let accept = |shop: &Workshop| shop.read("scrub.toml").contains("top_um = 250");
    assert!(accept(&shop));
    // 30 % lie on the coarsest sieve, 212 µm; of these anything may be above 250 µm, where 5 % may be.
    shop.write("open.csv", "opening_um,retained_g\n212,30\n180,22\n150,28\n125,10\n106,5\n90,3\npan,2\n");
    let (status, lot) = shop.lot(&["open.csv"]);
    assert_eq!((status, lot["verdict"].as_str()), (1, Some("refuse")));
    assert!(lot["over_top_pct"].is_null() && lot["deviation"]["over_top_points"].is_null(), "{lot}");
    assert!(lot["rebalanced_parts"].is_null() && lot["figures"][2]["lot_um"].is_null(), "{lot}");
    assert!(lot["figures"][2]["within"].is_null() && lot["figures"][1]["lot_um"].is_number(), "{lot}");
    let why = texts(&lot["reasons"]);
    assert!(
        why.contains("30.0 % lies above 212 µm") && why.contains("Sieve on 250 µm too")
            || why.contains("sieve on 250 µm too"),
        "{why}"
    );
    assert!(why.contains("D90 is not known") && why.contains("--max-um"), "{why}");
    // Every draw of the measurement has the same gap.
    assert_eq!(lot["verdict_sure_pct"], 100.0);
    // Who says how far up it reaches is judged by that, who sieves on 250 µm by what lies there.
    let (status, lot) = shop.lot(&["open.csv", "--max-um", "400"]);
    assert!(status == 1 && number(&lot["over_top_pct"]) > 5.0, "{lot}");
    shop.write("closed.csv", "opening_um,retained_g\n250,0\n212,4\n180,28\n150,40\n125,17\n106,6\n90,3\npan,2\n");
    let (status, lot) = shop.lot(&["closed.csv"]);
    assert_eq!((status, lot["over_top_pct"].as_f64()), (0, Some(0.0)), "{lot}");
    // One sieve alone tells none of D10, D50 and D90; no new parts follow from it.
    shop.write("two.csv", "opening_um,retained_g\n150,65\npan,35\n");
    let (status, lot) = shop.lot(&["two.csv", "--register", "new.csv", "--lot", "T-1", "--date", "2026-11-20"]);
    assert!(status == 1 && lot["rebalanced_parts"].is_null(), "{lot}");
    let unknown = lot["figures"].as_array().unwrap().iter().filter(|f| f["lot_um"].is_null()).count();
    assert_eq!(unknown, 3, "{lot}");
    assert!(texts(&lot["reasons"]).contains("D10 is not known: it lies below the finest size"), "{lot}");
    // The register holds no figure that is not known, and is read again.
    assert!(shop.read("new.csv").contains(",refuse,,,,,"), "{}", shop.read("new.csv"));
    assert!(run(shop.path(), &["lots", "new.csv"]).status.code().is_some_and(|code| code < 2));
}

/// A repeat on other sieves tells what the first table leaves open; a stated top is of the open table alone.
#[test]
fn a_repeat_on_more_sieves_counts_for_what_it_tells() {
    let folder = TempDir::new().unwrap();
    for name in ["millrace-rice-polish.toml", "olive-stone-sieved.csv"] {
        fs::copy(Path::new(env!("CARGO_MANIFEST_DIR")).join("examples").join(name), folder.path().join(name)).unwrap();
    }
    let write = |name: &str, rows: &str| {
        let rows: String = rows.split('/').map(|row| row.to_owned() + "\n").collect();
        fs::write(folder.path().join(name), format!("opening_um,retained_g\n{rows}")).unwrap();
    };
    write("a.csv", "212,11/180,25/150,30/125,20/106,8/90,4/pan,2");
    write("b.csv", "300,0/250,1.5/212,9.5/180,25/150,30/125,20/106,8/90,4/pan,2");
    let lot = |more: &[&str]| {
        let own = ["lot", "--powder", "olive", "--in", "millrace-rice-polish.toml", "--json"];
        let (status, out, error) = run_in(folder.path(), &[&own[..], more].concat());
        assert!(status < 2, "{error}");
        serde_json::from_str::<Value>(&out).unwrap()
    };
    assert_eq!(lot(&["a.csv"])["verdict"], "refuse");
    let (alone, both) = (lot(&["b.csv"]), lot(&["a.csv", "--repeat", "b.csv"]));
    assert_eq!((&both["verdict"], &both["over_top_pct"]), (&alone["verdict"], &alone["over_top_pct"]));
    assert!(both["over_top_pct"].as_f64().unwrap() > 1.0, "{both}");
    lot(&["a.csv", "--repeat", "b.csv", "--max-um", "300"]);
}

/// The polish with another grade of the olive stone, and without tolerances of its own.
fn with_grade(shop: &Workshop, size: &str) {
    let scrub = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join(POLISH)).unwrap();
    let (scrub, _) = scrub.split_once("[powder.accept]").unwrap();
    shop.write("scrub.toml", &scrub.replace("{ sieve = \"olive-stone-sieved.csv\" }", size));
}

/// 4.7 % lie on the coarsest sieve, 212 µm, so that at most as much is above 250 µm, where 5 % may be.
#[test]
fn a_top_that_is_let_pass_whatever_it_is_stays_unknown() {
    let shop = Workshop::new();
    shop.write("open.csv", "opening_um,retained_g\n212,4.7\n180,26\n150,32\n125,22\n106,10\n90,4\npan,1.3\n");
    let (status, lot) = shop.lot(&["open.csv", "--register", "new.csv", "--lot", "T-1", "--date", "2026-11-20"]);
    assert_eq!((status, lot["verdict"].as_str()), (0, Some("accept")), "{lot}");
    assert!(lot["over_top_pct"].is_null() && (number(&lot["over_top_most_pct"]) - 4.7).abs() < 1e-9, "{lot}");
    // Nor is a figure of it kept.
    let register = shop.read("new.csv");
    let (_, text, _) = run_in(shop.path(), &["lots", "new.csv", "--figure", "over-top"]);
    assert!(text.contains("not known of T-1"), "{text}");
    let row = register.lines().nth(1).unwrap();
    let d90 = number(&lot["figures"][2]["lot_um"]);
    assert!(row.contains(&format!(",{d90:.3},,")), "{register}");
}

/// What a grade does not tell is assumed, and a lot is neither refused on it nor sieved for it.
#[test]
fn a_lot_is_not_held_against_what_is_assumed_of_its_grade() {
    let shop = Workshop::new();
    with_grade(&shop, "{ sieve = \"grade.csv\" }");
    shop.write("grade.csv", "opening_um,retained_g\n150,65.5\n125,22\n106,8\n90,3\npan,1.5\n");
    let (status, lot) = shop.lot(&["grade.csv", "--max-um", "355"]);
    let figures = lot["figures"].as_array().unwrap();
    let known: Vec<bool> = figures.iter().map(|f| f["grade_um"].is_number()).collect();
    assert_eq!((status, known), (0, vec![true, false, false]), "{lot}");
    assert!(figures[2]["within"].is_null() && lot["over_top_limit_pct"].is_null(), "{lot}");
    assert!(texts(&lot["warnings"]).contains("does not tell its D50, D90 and top size"), "{lot}");
    let why = texts(&lot["reasons"]);
    assert!(!why.contains("another grade") && !why.contains("is above"), "{why}");
    // One figure of a grade tells its own share alone: D50 is held, and of a bound what lies above it.
    with_grade(&shop, "\"D50 165 um\"");
    let (_, lot) = shop.lot(&[LOT_FILE]);
    let known: Vec<bool> = lot["figures"].as_array().unwrap().iter().map(|f| f["grade_um"].is_number()).collect();
    assert_eq!(known, [false, true, false], "{lot}");
    with_grade(&shop, "\"325 mesh 99 % passing\"");
    let (status, lot) = shop.lot(&["d10=4 d50=12 d90=30"]);
    assert_eq!((status, lot["top_um"].as_f64()), (0, Some(45.0)), "{lot}");
    assert!(texts(&lot["reasons"]).starts_with("the top size is within its tolerance"), "{lot}");
    // Of what goes through one sieve alone, nothing tells how fine it is.
    shop.write("pan.csv", "mesh,cum_passing_pct\n200,100\n325,99.2\n");
    let (status, lot) = shop.lot(&["pan.csv"]);
    assert!(status == 1 && (number(&lot["over_top_pct"]) - 0.8).abs() < 1e-9, "{lot}");
    assert!(texts(&lot["reasons"]).contains("measure by laser diffraction"), "{lot}");
}

/// Where any size below the finest sieve is within the tolerance, it need not be known.
#[test]
fn a_fine_end_that_may_be_anything_is_within() {
    let shop = Workshop::new();
    let flour = "opening_um,retained_g\n125,2\n106,20\n90,30\n75,20\npan,28\n";
    with_grade(&shop, "{ d10_um = 60, d50_um = 92, d90_um = 115 }");
    let loose = shop.read("scrub.toml");
    shop.write("flour.csv", flour);
    let (status, lot) = shop.lot(&["flour.csv"]);
    assert!(status == 1 && texts(&lot["reasons"]).contains("D10 is not known"), "{lot}");
    shop.write("scrub.toml", &format!("{loose}\n[powder.accept]\nd10_pct = 100\n"));
    let (status, lot) = shop.lot(&["flour.csv"]);
    assert_eq!((status, &lot["figures"][0]["within"]), (0, &Value::Bool(true)), "{lot}");
    assert!(lot["figures"][0]["lot_um"].is_null(), "{lot}");
    // 99 % leave open whether it is above 0.6 µm.
    shop.write("scrub.toml", &format!("{loose}\n[powder.accept]\nd10_pct = 99\n"));
    assert_eq!(shop.lot(&["flour.csv"]).0, 1);
}
