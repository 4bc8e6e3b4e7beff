//! `gritwise lot` and `gritwise lots`: verdicts, new parts, checks of the measurement, the register.

use crate::common::shelves::Random;
use crate::common::workshop::*;
use crate::common::{log_normal, powder, tables};
use gritwise::band::Judge;
use gritwise::blend::{Blend, Scrub};
use gritwise::design::rebalance;
use gritwise::formula::Weighed;
use gritwise::lots::lot::{LotCase, LotJudged, LotTable, LotVerdict, OnSkinOf};
use gritwise::numerics::normal;
use gritwise::powder::{GrainProperties, Powder};
use gritwise::size::SizeRecord;
use gritwise::units::{LoadPercent, Parts};
use proptest::prelude::*;
use serde_json::Value;

#[test]
fn a_coarser_lot_gets_new_parts_that_bring_the_index_back() {
    let shop = Workshop::new();
    let (status, result) = shop.lot(&["olive-stone-lot.csv", "--charged-g", "100"]);
    assert_eq!((status, result["verdict"].as_str()), (0, Some("accept with new parts")));
    for key in ["reasons", "deviation", "index_with_lot", "band_with_lot", "rebalanced_parts", "warnings"] {
        assert!(!result[key].is_null(), "{key}");
    }
    let sieved =
        |name: &str| -> Value { serde_json::from_slice(&run(shop.path(), &["size", name, "--json"]).stdout).unwrap() };
    let (grade, lot) = (sieved("olive-stone-sieved.csv"), sieved("olive-stone-lot.csv"));
    for d in ["d10", "d50", "d90"] {
        let of = |table: &Value| number(&table["percentiles"][format!("{d}_um")]);
        let wanted = 100.0 * (of(&lot) / of(&grade) - 1.0);
        assert!((number(&result["deviation"][format!("{d}_pct")]) - wanted).abs() < 1e-9, "{d}");
    }
    // The scrub file with the lot and the new parts in it is what the report says.
    let parts = number(&result["rebalanced_parts"][1]["parts"]);
    let load = number(&result["rebalanced_load_pct"]);
    let text = shop.read("scrub.toml").replace("olive-stone-sieved.csv", "olive-stone-lot.csv");
    shop.write("with-lot.toml", &text);
    let new = text
        .replace("parts = 2", &format!("parts = {parts}"))
        .replace("_load_pct = 5.0", &format!("_load_pct = {load}"));
    shop.write("new.toml", &new);
    let blend =
        |name: &str| -> Value { serde_json::from_slice(&run(shop.path(), &["blend", name, "--json"]).stdout).unwrap() };
    let index = |name: &str| number(&blend(name)["index"]["value"]);
    assert!((index("with-lot.toml") / number(&result["index_with_lot"]) - 1.0).abs() < 1e-12);
    assert!((index("new.toml") / index("scrub.toml") - 1.0).abs() < 1e-9);
    // The rice keeps its grams.
    let rice = &result["rebalanced_parts"][0];
    assert!((number(&rice["g_per_kg"]) / number(&rice["g_per_kg_now"]) - 1.0).abs() < 1e-12);
    assert!((load - 5.0 * (4.0 + parts) / 6.0).abs() < 1e-9);
}

#[test]
fn the_grade_itself_is_accepted_and_rubbish_refused() {
    let shop = Workshop::new();
    let (status, same) = shop.lot(&["olive-stone-sieved.csv", "--charged-g", "100"]);
    assert_eq!((status, same["verdict"].as_str()), (0, Some("accept")), "{same}");
    assert!((number(&same["rebalanced_parts"][1]["parts"]) - 2.0).abs() < 1e-9);
    // Half as coarse again: beyond three tolerances.
    shop.sieves("coarse.csv", [40.0, 30.0, 20.0, 7.0, 3.0, 0.0, 0.0, 0.0, 0.0]);
    let (status, coarse) = shop.lot(&["coarse.csv"]);
    assert_eq!((status, coarse["verdict"].as_str()), (1, Some("refuse")));
    let reasons = texts(&coarse["reasons"]);
    assert!(reasons.contains("that is another grade") && reasons.contains("above 250 µm"), "{reasons}");
    // The table of the rice: a warning that it is another powder's.
    shop.write("rice.csv", "size_um,cum_volume_pct\n20,1\n40,20\n60,50\n90,80\n150,98\n220,100\n");
    let (status, rice) = shop.lot(&["rice.csv"]);
    assert_eq!(status, 1);
    let warnings = texts(&rice["warnings"]);
    assert!(warnings.contains("another powder; it lies nearer to Rice bran, fine"), "{warnings}");
    assert!(warnings.contains("the grade comes from a sieve table, the lot from a laser table"), "{warnings}");
}

#[test]
fn tolerances_come_from_the_spec_in_percent_or_micrometres() {
    let shop = Workshop::new();
    let with = |shop: &Workshop, line: &str| {
        let text = shop.read("scrub.toml");
        shop.write("scrub.toml", &text.replace("d50_pct = 6", line));
    };
    with(&shop, "d50_pct = 9.2");
    assert_eq!(shop.lot(&["olive-stone-lot.csv"]).1["verdict"], "accept");
    let shop = Workshop::new();
    with(&shop, "d50_um = 14.8");
    let (_, result) = shop.lot(&["olive-stone-lot.csv"]);
    let d50 = &result["figures"][1];
    assert_eq!((d50["tolerance_from"].as_str(), d50["within"].as_bool()), (Some("spec"), Some(false)));
    assert!((number(&d50["tolerance_pct"]) * number(&d50["grade_um"]) / 100.0 - 14.8).abs() < 1e-9);
    // A top size that too much lies above cannot be made up for.
    let shop = Workshop::new();
    with(&shop, "index_pct = 1");
    shop.write("scrub.toml", &shop.read("scrub.toml").replace("over_top_pct = 5", "over_top_pct = 4"));
    let (status, result) = shop.lot(&["olive-stone-lot.csv"]);
    assert_eq!(status, 1);
    assert!(texts(&result["reasons"]).contains("sieve it off yourself"), "{result}");
    assert!(texts(&result["reasons"]).contains("1.00 % is let pass"), "{result}");
}

#[test]
fn sieve_tests_are_checked() {
    let shop = Workshop::new();
    let good = [0.0, 1.8, 9.6, 22.7, 31.4, 20.9, 8.3, 3.6, 1.5];
    type Case<'a> = (&'a str, [f64; 9], &'a [&'a str], i32, &'a str);
    let cases: [Case; 6] = [
        ("lost 1 %", good, &["--charged-g", "100.8"], 0, ""),
        ("lost 3 %", good, &["--charged-g", "102.9"], 0, "3.0 % was lost on the sieves, limit 2 %"),
        ("lost 6 %", good, &["--charged-g", "106.2"], 1, "limit 5 % (measure again)"),
        ("gained", good, &["--charged-g", "94"], 1, "was gained on the sieves"),
        ("empty", [0.0, 1.8, 9.6, 0.1, 53.9, 20.9, 8.3, 3.6, 1.5], &[], 1, "the 180 µm sieve holds next to nothing"),
        ("overloaded", good.map(|g| 10.0 * g), &[], 0, "the 150 µm sieve holds 314 g and can sort 220 g"),
    ];
    for (what, retained, args, status, wanted) in cases {
        shop.sieves("t.csv", retained);
        let (code, result) = shop.lot(&[&["t.csv"], args].concat());
        let warnings = texts(&result["warnings"]);
        assert!(warnings.contains(wanted), "{what}: {warnings}");
        assert_eq!(code, status, "{what}: {result}");
        // A measurement that cannot be relied on is refused, and no parts are worked out from it.
        assert_eq!(status == 1, warnings.contains("(measure again)"), "{what}: {warnings}");
        for key in ["rebalanced_parts", "rebalanced_load_pct", "index_rebalanced", "band_rebalanced"] {
            assert_eq!(status == 1, result[key].is_null(), "{what}: {key}");
        }
        assert_eq!(what.starts_with("lost 1"), warnings.lines().count() == 1, "{what}: {warnings}");
    }
    // 76 mm sieves can sort a seventh, and a sample for them is smaller.
    shop.sieves("t.csv", good.map(|g| 0.1 * g));
    let warnings = |args: &[&str]| texts(&shop.lot(args).1["warnings"]);
    assert!(warnings(&["t.csv"]).contains("a sample of 10 g is too small to speak for the lot: take 25 g"));
    assert!(!warnings(&["t.csv", "--sieve-mm", "76"]).contains("too small"));
    shop.sieves("t.csv", good);
    assert!(!warnings(&["t.csv", "--sieve-mm", "76"]).contains("can sort"));
    assert!(warnings(&["t.csv", "--sieve-mm", "75"]).contains("the 150 µm sieve holds 31.4 g and can sort 30.9 g"));
    assert!(warnings(&["t.csv", "--sample-g", "5"]).contains("a sample of 5.0 g is too small"));
    // A sieve of the series left out where a quarter or more lies.
    shop.write(
        "t.csv",
        "opening_um,retained_g\n300,0\n250,1.8\n212,9.6\n180,22.7\n125,52.3\n106,8.3\n90,3.6\npan,1.5\n",
    );
    assert!(warnings(&["t.csv"]).contains("52.4 % lies between two sieves where the series has 150 µm"));
    let every_second = "opening_um,retained_g\n300,0\n212,11.4\n150,54.1\n106,29.2\n75,4\npan,1.3\n";
    shop.write("t.csv", every_second);
    assert!(!warnings(&["t.csv"]).contains("the series has"));
}

#[test]
fn repeats_give_spread_and_interval() {
    let shop = Workshop::new();
    shop.sieves("a.csv", [0.0, 1.8, 9.6, 22.7, 31.4, 20.9, 8.3, 3.6, 1.5]);
    shop.sieves("b.csv", [0.0, 2.0, 10.4, 23.3, 30.9, 20.3, 8.0, 3.5, 1.4]);
    shop.sieves("c.csv", [0.0, 1.6, 9.0, 22.1, 31.8, 21.4, 8.6, 3.7, 1.6]);
    let (_, result) = shop.lot(&["a.csv", "--repeat", "b.csv", "--repeat", "c.csv"]);
    let d50: Vec<f64> = result["tables"].as_array().unwrap().iter().map(|t| number(&t["d50_um"])).collect();
    let mean = d50.iter().sum::<f64>() / 3.0;
    let sd = (d50.iter().map(|d| (d - mean).powi(2)).sum::<f64>() / 2.0).sqrt();
    let figure = &result["figures"][1];
    assert!((number(&figure["lot_um"]) - mean).abs() < 1e-9);
    assert!((number(&figure["cv_pct"]) - 100.0 * sd / mean).abs() < 1e-9);
    // t of 0.975 with two degrees of freedom: 4.302653 (tables; SciPy).
    let half = 4.302_652_729_7 * sd / 3.0_f64.sqrt();
    assert!((number(&figure["high_um"]) - mean - half).abs() < 1e-6);
    assert!(number(&result["index_with_lot_cv_pct"]) > 0.0);
    assert_eq!(result["verdict"], "accept");
    // A table and its copy have the curve of the table.
    shop.write("copy.csv", &("# measured again\n".to_owned() + &shop.read("a.csv")));
    let (_, twice) = shop.lot(&["a.csv", "--repeat", "copy.csv"]);
    let (_, once) = shop.lot(&["a.csv"]);
    assert!((number(&twice["index_with_lot"]) / number(&once["index_with_lot"]) - 1.0).abs() < 1e-9);
    assert_eq!(number(&twice["figures"][1]["cv_pct"]), 0.0);
    // ISO 13320: 3 % at the median. 163 and 173 differ by 4.2 %; USP <429> still lets that pass, but not 163 and 205.
    shop.sieves("b.csv", [0.0, 4.5, 14.2, 24.7, 28.4, 17.9, 6.3, 2.6, 1.4]);
    let (_, result) = shop.lot(&["a.csv", "--repeat", "b.csv"]);
    let warnings = texts(&result["warnings"]);
    assert!(
        warnings.contains("repeats of D50 differ by a coefficient of variation of 3.")
            && warnings.contains("limit 3 %")
    );
    shop.sieves("b.csv", [9.0, 34.5, 30.2, 14.7, 8.4, 2.9, 0.3, 0.0, 0.0]);
    let (status, result) = shop.lot(&["a.csv", "--repeat", "b.csv"]);
    assert_eq!(status, 1);
    assert!(texts(&result["warnings"]).contains("limit 10 % (measure again)"), "{result}");
    // A laser table beside a sieve table is no repeat.
    shop.write("laser.csv", "size_um,cum_volume_pct\n90,1\n125,14\n150,35\n180,66\n212,89\n250,98\n300,100\n");
    let (_, result) = shop.lot(&["a.csv", "--repeat", "laser.csv"]);
    let wanted = "one table of the lot is a sieve table, another a laser table";
    assert!(texts(&result["warnings"]).contains(wanted), "{result}");
    // Below 10 µm the limits double.
    shop.write(
        "scrub.toml",
        &shop.read("scrub.toml").replace("{ sieve = \"olive-stone-sieved.csv\" }", "{ d50_um = 8, gsd = 1.5 }"),
    );
    shop.write("a.csv", "size_um,cum_volume_pct\n2,0\n4,5\n8,50\n16,96\n30,100\n");
    shop.write("b.csv", "size_um,cum_volume_pct\n2,0\n4.2,5\n8.5,50\n17,96\n30,100\n");
    let (_, result) = shop.lot(&["a.csv", "--repeat", "b.csv"]);
    assert!(number(&result["figures"][1]["cv_pct"]) > 4.0);
    assert!(!texts(&result["warnings"]).contains("repeats of D50"), "{result}");
}

/// The shipped lot with its openings 3 % off either way, as a good set of sieves may be (ASTM E11, from memory): three verdicts, none of
/// which a single table can settle.
#[test]
fn a_verdict_that_a_repeat_would_overturn_is_unsure() {
    let shop = Workshop::new();
    let text = shop.read("olive-stone-lot.csv");
    let mut verdicts = Vec::new();
    for factor in [0.97, 1.0, 1.03] {
        let moved = text.lines().map(|l| match l.split_once(',') {
            Some((opening, grams)) => match opening.parse::<f64>() {
                Ok(opening) => format!("{},{grams}\n", factor * opening),
                Err(_) => format!("{l}\n"),
            },
            None => format!("{l}\n"),
        });
        shop.write("moved.csv", &moved.collect::<String>());
        let (status, result) = shop.lot(&["moved.csv"]);
        let verdict = result["verdict"].as_str().unwrap().to_owned();
        assert_eq!(status, i32::from(verdict == "refuse"), "an unsure verdict keeps its status");
        assert_eq!(result["unsure"], true, "{result}");
        let shares = result["verdict_shares"].as_array().unwrap();
        assert!((shares.iter().map(|s| number(&s["pct"])).sum::<f64>() - 100.0).abs() < 1e-9);
        let own = shares.iter().find(|s| s["verdict"] == verdict.as_str()).unwrap();
        assert_eq!(number(&own["pct"]), number(&result["verdict_sure_pct"]));
        let call = ["lot", "moved.csv", "--powder", "olive", "--in", "scrub.toml"];
        let text = String::from_utf8(run(shop.path(), &call).stdout).unwrap();
        assert!(text.contains(&format!(": unsure, {verdict}\n")), "{text}");
        let words = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(words.contains("Measure the lot again") && words.contains("give the table as --repeat"), "{text}");
        // A refused lot has no parts, and no range of them.
        assert_eq!(text.contains("the new parts lie between"), verdict != "refuse", "{text}");
        if verdict != "refuse" {
            let stone = &result["rebalanced_parts"][1];
            let [parts, low, high] = ["parts", "parts_low", "parts_high"].map(|k| number(&stone[k]));
            assert!(low < parts && parts < high, "{stone}");
            let [grams, least, most] = ["g_per_kg", "g_per_kg_low", "g_per_kg_high"].map(|k| number(&stone[k]));
            assert!((least / grams - low / parts).abs() < 1e-9 && (most / grams - high / parts).abs() < 1e-9);
            assert!(result["rebalanced_parts"][0]["parts_low"].is_null());
        }
        verdicts.push(verdict);
    }
    assert_eq!(verdicts, ["accept", "accept with new parts", "refuse"]);
    // Another grade stays one, whatever the sieves are off.
    shop.sieves("coarse.csv", [40.0, 30.0, 20.0, 7.0, 3.0, 0.0, 0.0, 0.0, 0.0]);
    let (_, coarse) = shop.lot(&["coarse.csv"]);
    assert_eq!((coarse["unsure"].as_bool(), number(&coarse["verdict_sure_pct"])), (Some(false), 100.0));
}

/// Where D50 alone decides, the share of draws is a normal probability: ISO 13320 has laser diffraction repeat to a coefficient of
/// variation of 3 % at the median; the mean of n strays by 3 % / √n.
#[test]
fn shares_of_verdicts_are_those_of_the_repeatability() {
    let shop = Workshop::new();
    let laser = "size_um,cum_volume_pct\n90,1\n125,14\n150,35\n180,66\n212,89\n250,98\n300,100\n";
    shop.write("grade.csv", laser);
    let accept = "d10_pct = 90\nd50_pct = 5\nd90_pct = 90\nover_top_pct = 100\nindex_pct = 100";
    let text = shop.read("scrub.toml").replace("olive-stone-sieved.csv", "grade.csv").replace("sieve =", "laser =");
    let text =
        text.replace("d50_pct = 6", accept).replace("over_top_pct = 5\n", "").replace("_pct = 5.0", "_pct = 0.5");
    shop.write("scrub.toml", &text);
    let moved = |factor: f64| -> String {
        let lines = laser.lines().skip(1).map(|l| l.split_once(',').unwrap());
        let rows: String = lines.map(|(x, p)| format!("{},{p}\n", factor * x.parse::<f64>().unwrap())).collect();
        format!("size_um,cum_volume_pct\n{rows}")
    };
    for (off, repeats) in [(1.03, 1), (1.0, 1), (0.97, 1), (1.03, 4)] {
        let names: Vec<String> = (0..repeats).map(|i| format!("r{i}.csv")).collect();
        names.iter().for_each(|name| shop.write(name, &format!("# {name}\n{}", moved(off))));
        let args =
            names.iter().enumerate().flat_map(|(i, n)| if i == 0 { vec![n.as_str()] } else { vec!["--repeat", n] });
        let (_, result) = shop.lot(&args.collect::<Vec<_>>());
        let sd = 1.03_f64.ln() / f64::from(repeats).sqrt();
        let below = |edge: f64| normal::cdf((edge / off).ln() / sd);
        let wanted = 100.0 * (below(1.05) - below(0.95));
        let accept = number(&result["verdict_shares"][0]["pct"]);
        assert!((accept - wanted).abs() < 0.5, "{off} {repeats}: {accept}, {wanted}: {result}");
        assert_eq!(result["unsure"], accept.min(wanted) < 90.0, "{result}");
        assert!((number(&result["repeatability_d50_pct"]) - 100.0 * sd.exp_m1()).abs() < 1e-9);
    }
    // Repeats that differ by more than the method does count as they differ.
    ["r0.csv", "r1.csv"].iter().zip([0.95, 1.05]).for_each(|(name, off)| shop.write(name, &moved(off)));
    let (_, result) = shop.lot(&["r0.csv", "--repeat", "r1.csv"]);
    let cv = number(&result["figures"][1]["cv_pct"]) / 100.0;
    assert!(cv > 0.06);
    assert!((number(&result["repeatability_d50_pct"]) - 100.0 * (cv / 2.0_f64.sqrt()).exp_m1()).abs() < 1e-9);
}

#[test]
fn a_scrub_in_which_nothing_touched_has_no_percentage() {
    let shop = Workshop::new();
    let text = shop.read("scrub.toml");
    let stone = text.rfind("[[powder]]").unwrap();
    let head = "[scrub]\nname = \"Flour\"\npowder_load_pct = 5\n";
    let fine = text[stone..].replace("{ sieve = \"olive-stone-sieved.csv\" }", "{ d50_um = 4, gsd = 1.2 }");
    shop.write("scrub.toml", &format!("{head}{fine}"));
    let (_, result) = shop.lot(&[LOT_FILE]);
    let reasons = texts(&result["reasons"]);
    assert!(reasons.contains("goes from 0, where nothing touches, to ") && !reasons.contains("+-"), "{reasons}");
}

#[test]
fn calls_that_are_wrong() {
    let shop = Workshop::new();
    shop.write("pct.csv", "opening_um,retained_pct\n250,10\n125,80\npan,10\n");
    let call = ["lot", LOT_FILE, "--powder", "olive", "--in", "scrub.toml"];
    shop.write("copy.csv", &shop.read(LOT_FILE));
    let cases: [(&[&str], &str); 13] = [
        (&["--register", "new.csv"], "--lot"),
        (&["--register", "new.csv", "--lot", "A"], "--date"),
        (&["--lot", "A"], "--register"),
        (&["--charged-g", "0"], "above 0"),
        (&["--charged-g", "-1"], "--charged-g"),
        (&["--charged-g", "100", "--charged-g", "100"], "masses 2, tables 1"),
        (&["--repeat", LOT_FILE], "named twice"),
        (&["--repeat", "copy.csv"], "copy.csv: the same bytes as olive-stone-lot.csv"),
        (&["--repeat", "./olive-stone-lot.csv"], "./olive-stone-lot.csv: the same bytes"),
        (&["--repeat", "missing.csv"], "missing.csv: no such file"),
        (&["--sieve-mm", "0.2"], "20 to 1000 mm"),
        (&["--repeat", "pct.csv", "--charged-g", "100", "--charged-g", "100"], "pct.csv has no column retained_g"),
        (&["--plot", "lot.png"], "a name that ends in .svg"),
    ];
    for (more, wanted) in cases {
        let output = run(shop.path(), &[&call[..], more].concat());
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!((output.status.code(), output.stdout.len()), (Some(2), 0), "{more:?}: {message}");
        assert!(message.contains(wanted), "{more:?}: {message}");
    }
    assert!(!shop.path().join("new.csv").exists());
    for (args, wanted) in [
        (
            vec!["lot", LOT_FILE, "--powder", "olvie stone", "--in", "scrub.toml"],
            "did you mean \"Olive stone, sieved\"",
        ),
        (vec!["lots", "none.csv"], "none.csv: no such file"),
        (vec!["lots", "scrub.toml"], "scrub.toml:4: this is no register of lots"),
        (vec!["lots", "lots.csv", "--powder", "pumice"], "the register has no powder \"pumice\""),
        (vec!["lots", "lots.csv", "--figure", "d60"], "did you mean \"d"),
    ] {
        let output = run(shop.path(), &args);
        let message = String::from_utf8(output.stderr).unwrap();
        assert_eq!(output.status.code(), Some(2), "{args:?}");
        assert!(message.contains(wanted), "{args:?}: {message}");
    }
    let scrub = shop.read("scrub.toml");
    for (line, wanted) in [
        ("d50_pct = 0", ":21:11: d50_pct must be above 0 to 100 %"),
        ("d50_pct = 6\nd50_um = 5", "d50_pct and d50_um both stand here"),
        ("d60_pct = 6", "did you mean \"d"),
        ("over_top_pct = 120", "over_top_pct must be 0 to 100 %"),
    ] {
        shop.write("scrub.toml", &scrub.replace("over_top_pct = 5\n", "").replace("d50_pct = 6", line));
        let message = String::from_utf8(run(shop.path(), &call).stderr).unwrap();
        assert!(message.contains(wanted), "{line}: {message}");
    }
}

#[test]
fn parts_that_cannot_grow_are_scaled_together() {
    let shop = Workshop::new();
    let hundred = |shop: &Workshop, parts: &str| {
        let text = shop.read("scrub.toml").replace("parts = 4  ", "parts = 60 ").replace("parts = 2", parts);
        shop.write("scrub.toml", &text.replace("olive-stone-sieved.csv", "olive-stone-lot.csv"));
    };
    hundred(&shop, "parts = 95");
    // The finer lot needs more of it: 100 parts, and fewer of the rice for the same grams.
    let (status, result) = shop.lot(&["olive-stone-sieved.csv"]);
    assert_eq!((status, result["verdict"].as_str()), (0, Some("accept with new parts")), "{result}");
    let parts: Vec<f64> = (0..2).map(|i| number(&result["rebalanced_parts"][i]["parts"])).collect();
    assert!(parts[1] == 100.0 && parts[0] < 60.0, "{parts:?}");
    let rice = &result["rebalanced_parts"][0];
    assert!((number(&rice["g_per_kg"]) / number(&rice["g_per_kg_now"]) - 1.0).abs() < 1e-9);
    assert!(
        texts(&result["reasons"]).contains("of Rice bran, fine, parts = 100.0 of Olive stone, sieved with"),
        "{result}"
    );
    // A scrub of one powder keeps its parts; its load is what changes.
    let text = shop.read("scrub.toml");
    let alone = text.replace(&text[text.find("[[powder]]").unwrap()..text.rfind("[[powder]]").unwrap()], "");
    shop.write("scrub.toml", &alone.replace("parts = 95", "parts = 100"));
    let (status, result) = shop.lot(&["olive-stone-sieved.csv"]);
    assert_eq!((status, number(&result["rebalanced_parts"][0]["parts"])), (0, 100.0), "{result}");
    assert!(number(&result["rebalanced_load_pct"]) > 5.0);
}

#[test]
fn limits_are_those_of_the_standards() {
    // ISO 13320: repeatability 3 % at the median, 5 % at D10 and D90; USP <429>: 10 % and 15 %; both doubled below 10 µm.
    // USP <786>: losses of at most 5 % (from memory), at least 25 g on 200 mm sieves. ASTM C136: 7 kg/m² on a fine sieve.
    let limits = &tables().acceptance;
    assert_eq!([limits.cv_d50_pct, limits.cv_tail_pct], [3.0, 5.0]);
    assert_eq!([limits.cv_most_d50_pct, limits.cv_most_tail_pct], [10.0, 15.0]);
    assert_eq!([limits.fine_um, limits.fine_factor], [10.0, 2.0]);
    assert_eq!([limits.loss_most_pct, limits.sieve_sample_g, limits.sieve_load_kg_m2], [5.0, 25.0, 7.0]);
}

/// Judges the second powder of a scrub by a lot with all its sizes multiplied.
fn scaled_lot(judge: &Judge, scrub: &Scrub, scale: f64) -> LotJudged {
    let case =
        LotCase { judge, tables: tables(), scrub, place: 1, sample_g: None, sieve_mm: None, on_skin: OnSkinOf::ALL };
    let record =
        SizeRecord::from_distribution(scrub.blend.components()[1].powder.size.distribution.scaled(scale), "test");
    case.judge(&[LotTable { file: "t.csv".into(), record, sha256: String::new(), charged_g: None }]).unwrap()
}

/// Four parts of rice and so many of stone.
fn rice_and_stone(fine: f64, coarse: f64, parts: f64, load: f64) -> Scrub {
    let part = |p: f64| Parts::new(p).unwrap();
    let soft = powder("rice", 1.4, 0.12, 0.4, log_normal(fine, 1.6));
    let hard = powder("stone", 1.35, 0.25, 0.3, log_normal(coarse, 1.25));
    let blend = Blend::new(vec![(soft, part(4.0)), (hard, part(parts))]).unwrap();
    Scrub { name: "test".into(), load: LoadPercent::new(load).unwrap(), load_range: None, blend }
}

#[test]
fn new_parts_stop_at_the_limit_of_the_band() {
    // At 0.8 % load the groove ratio governs; a lot a little coarser may not have all of the index back.
    let judge = Judge::new(tables()).unwrap();
    let scrub = rice_and_stone(60.0, 193.0, 12.0, 0.8);
    let lots = (0..400).map(|i| scaled_lot(&judge, &scrub, 1.0 + f64::from(i) * 5e-4));
    let stopped: Vec<LotJudged> = lots.filter(|l| l.rebalanced.as_ref().is_some_and(|r| !r.restored)).collect();
    assert!(stopped.len() > 2, "{}", stopped.len());
    for lot in stopped {
        let (new, before) = (lot.rebalanced.unwrap().assessment, lot.before);
        assert_eq!(new.verdict.rank, before.verdict.rank);
        assert!(new.verdict.governing().margin_pct() < 0.1, "{:?}", new.verdict);
        let back = new.figures.index / before.figures.index;
        assert!((0.9..1.0).contains(&back), "{back}");
        assert_eq!(lot.verdict, LotVerdict::AcceptWithNewParts);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn new_parts_restore_the_index_and_a_coarser_lot_needs_fewer(
        fine in 30.0..90.0_f64,
        coarse in 100.0..250.0_f64,
        parts in 0.5..4.0_f64,
        load in 1.0..8.0_f64,
        scale in 0.8..1.3_f64,
    ) {
        let judge = Judge::new(tables()).unwrap();
        let scrub = rice_and_stone(fine, coarse, parts, load);
        let judged = scaled_lot(&judge, &scrub, scale);
        prop_assert!((judged.figures[1].deviation_pct() - 100.0 * (scale - 1.0)).abs() < 1e-6);
        if let Some(new) = judged.rebalanced.filter(|r| r.restored) {
            let index = judged.before.figures.index;
            prop_assert!((new.assessment.figures.index / index - 1.0).abs() < 1e-7);
            prop_assert!(new.assessment.verdict.rank <= judged.before.verdict.rank);
            let stone = new.scrub.blend.components()[1].parts.get();
            prop_assert!((stone < parts) == (scale > 1.0), "{stone} of {parts} at {scale}");
            let rice = |s: &Scrub| s.load.get() * s.blend.components()[0].mass;
            prop_assert!((rice(&new.scrub) / rice(&scrub) - 1.0).abs() < 1e-9);
        }
    }
}

/// A syrup of one sugar, so much of the scrub, of which water takes some. Draws of a lot against brute force: lots with the repeatability
/// that the draws say, each dissolved and judged as a lot of its own, with new parts of its own.
fn assert_drawn_as_it_reaches_the_skin(load_pct: f64, water_pct: f64, within: f64) {
    const DRAWS: usize = 400;
    let judge = Judge::new(tables()).unwrap();
    let size = SizeRecord::from_distribution(log_normal(220.0, 1.35), "test");
    let sugar = tables().material("sugar");
    let sugar = Powder::new("sugar".into(), sugar, &GrainProperties::default(), size, tables()).unwrap();
    let blend = Blend::new(vec![(sugar, Parts::new(1.0).unwrap())]).unwrap();
    let scrub = Scrub { name: "syrup".into(), load: LoadPercent::new(load_pct).unwrap(), load_range: None, blend };
    let grains = |s: &Scrub| Weighed::new(s.clone(), Some(water_pct)).grains(tables()).unwrap_or(s.clone());
    let case = LotCase {
        judge: &judge,
        tables: tables(),
        scrub: &scrub,
        place: 0,
        sample_g: None,
        sieve_mm: None,
        on_skin: OnSkinOf(&grains),
    };
    let lot = |median: f64, gsd: f64| {
        let record = SizeRecord::from_distribution(log_normal(median, gsd), "test");
        [LotTable { file: "t.csv".into(), record, sha256: String::new(), charged_g: None }]
    };
    let (median, gsd) = (231.0, 1.35_f64);
    let judged = case.judge(&lot(median, gsd)).unwrap();
    let sure = case.how_sure(&lot(median, gsd), &judged);
    let [shift, outer] = sure.repeatability_pct.map(|pct| (pct / 100.0).ln_1p());
    let stretch = (outer * outer - shift * shift).sqrt() / (normal::quantile(0.9) * gsd.ln());
    let (mut random, mut counts, mut factors) = (Random(3), [0_usize; 3], Vec::new());
    let before = &judged.before;
    for _ in 0..DRAWS {
        let [a, b] = [0; 2].map(|_| normal::quantile(random.next()));
        let drawn = case.judge(&lot(median * (shift * a).exp(), gsd.powf((stretch * b).exp()))).unwrap();
        counts[LotVerdict::ALL.iter().position(|v| *v == drawn.verdict).unwrap()] += 1;
        let left = grains(&drawn.scrub);
        let new =
            rebalance(&judge, &left, 0, before.figures.index, before.verdict.rank, judged.index_limit_pct / 100.0);
        factors.extend(new.map(|new| 1.0 + (new.scrub.load.get() - left.load.get()) / load_pct));
    }
    for (drawn, found) in counts.into_iter().zip(sure.counts) {
        let [drawn, found] = [(drawn, DRAWS), (found, sure.draws)].map(|(n, of)| n as f64 / of as f64);
        assert!((drawn - found).abs() < within, "{counts:?} of {DRAWS}, {:?} of {}", sure.counts, sure.draws);
    }
    assert!(counts.iter().filter(|n| **n > DRAWS / 20).count() > 1, "{counts:?}: nothing flips");
    factors.sort_by(f64::total_cmp);
    let Some(found) = sure.parts_factor else { return };
    for (p, found) in [0.05, 0.95].into_iter().zip(found) {
        let end = factors[(p * (factors.len() - 1) as f64) as usize];
        // The 20th of 400 draws strays by some 3 % itself.
        assert!((found / end - 1.0).abs() < 0.08, "{p}: {end}, drawn {found}");
    }
}

#[test]
fn draws_of_a_lot_are_of_the_grains_that_reach_the_skin() {
    assert_drawn_as_it_reaches_the_skin(12.0, 2.0, 0.06);
}

#[test]
fn draws_of_a_lot_that_bears_the_rub_find_their_parts() {
    assert_drawn_as_it_reaches_the_skin(40.0, 0.0, 0.06);
    // New parts leave the jar less rounded grains, which draws do not follow: some find parts where the lot itself has none.
    assert_drawn_as_it_reaches_the_skin(40.0, 7.0, 0.14);
}
