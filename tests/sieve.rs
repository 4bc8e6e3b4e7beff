//! What a maker's own sieves make of a powder: in a size, by `size`, drawn, for a lot, as a lever.

use crate::common::{assert_close, log_normal, powder, run_in, tables};
use gritwise::band::Judge;
use gritwise::blend::{Blend, Scrub};
use gritwise::confidence::{Drawing, Inputs, Vary};
use gritwise::powder::Powder;
use gritwise::size::{Sieves, SizeDistribution, SizeRecord};
use gritwise::units::{LoadPercent, Parts};
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

fn workshop(files: &[(&str, &str)]) -> TempDir {
    let folder = TempDir::new().unwrap();
    for name in ["olive-stone-sieved.csv", "olive-stone-lot.csv", "pumice-laser.csv", "shelf.toml"] {
        let from = format!("{}/examples/{name}", env!("CARGO_MANIFEST_DIR"));
        fs::copy(from, folder.path().join(name)).unwrap();
    }
    files.iter().for_each(|(name, text)| fs::write(folder.path().join(name), text).unwrap());
    folder
}

fn json(folder: &TempDir, args: &[&str]) -> Value {
    let (status, out, message) = run_in(folder.path(), args);
    assert!(status < 2, "{args:?}: {message}");
    serde_json::from_str(&out).unwrap_or_else(|e| panic!("{args:?}: {e}: {out}{message}"))
}

fn number(value: &Value, path: &str) -> f64 {
    value.pointer(path).and_then(Value::as_f64).unwrap_or_else(|| panic!("no {path} in {value}"))
}

/// A scrub of one powder.
fn scrub(size: &str, more: &str) -> String {
    format!(
        "[scrub]\nname = \"Weir polish\"\npowder_load_pct = 4\n[[powder]]\nname = \"Shell\"\nmaterial = \"walnut-shell\"\nparts = 1\n\
         size = {size}\n{more}"
    )
}

/// A log-normal of sigma 0.5 cut one standard deviation to either side keeps Phi(1) - Phi(-1) = 0.682689 (tables of the normal
/// distribution). Its mean is 100 e^(s²/2) [Phi(1 - s) - Phi(-1 - s)] / 0.682689 (truncated log-normal: Aitchison and Brown, The Lognormal
/// Distribution, 1957): 113.3148 x (0.691462 - 0.066807) / 0.682689 = 103.682 µm.
#[test]
fn a_sieved_log_normal_is_the_truncated_one() {
    let folder = workshop(&[]);
    let args = ["size", "d50=100 gsd=1.6487212707", "--through", "164.8721", "--over", "60.65307", "--json"];
    let report = json(&folder, &args);
    assert_close("coarse", number(&report, "/sieved/too_coarse_pct"), 15.8655, 1e-5);
    assert_close("fine", number(&report, "/sieved/too_fine_pct"), 15.8655, 1e-5);
    assert_close("kept", number(&report, "/sieved/kept_pct"), 68.2689, 1e-5);
    assert_close("D50", number(&report, "/percentiles/d50_um"), 100.0, 1e-5);
    assert_close("D[4,3]", number(&report, "/means/d_4_3_um"), 103.682, 1e-5);
    assert_close("before", number(&report, "/sieved/before_d50_um"), 100.0, 1e-9);
    let (_, text, _) = run_in(folder.path(), &args[..6]);
    assert!(text.contains("sieved through 164.872 µm and over 60.653 µm"), "{text}");
    assert!(text.contains("stays on 164.9 µm") && text.contains("falls through 60.65 µm"), "{text}");
}

/// A sieve that is in the stack loses what was weighed on it and above: 250 µm of the table.
#[test]
fn sieving_a_table_at_its_own_openings_loses_what_was_weighed_there() {
    let folder = workshop(&[("t.csv", "opening_um,retained_g\n355,0\n250,12\n180,40\n125,30\n90,10\npan,8\n")]);
    let report = json(&folder, &["size", "t.csv", "--through", "250", "--over", "90", "--json", "--plot", "t.svg"]);
    assert_close("coarse", number(&report, "/sieved/too_coarse_pct"), 12.0, 1e-9);
    assert_close("fine", number(&report, "/sieved/too_fine_pct"), 8.0, 1e-9);
    let classes = report["classes"].as_array().unwrap();
    let shares: Vec<f64> = classes.iter().map(|c| c["volume_pct"].as_f64().unwrap()).collect();
    let wanted = [12.5, 37.5, 50.0];
    assert_eq!(shares.len(), 3, "{classes:?}");
    shares.iter().zip(wanted).for_each(|(got, want)| assert_close("class", *got, want, 1e-9));
    assert!(classes.iter().all(|c| c["open"] == false), "the pan is gone: {classes:?}");
    let picture = fs::read_to_string(folder.path().join("t.svg")).unwrap();
    assert!(picture.contains("before sieving") && picture.contains("kept"), "both curves are drawn");
}

#[test]
fn every_form_of_a_size_takes_the_sieves_and_says_so() {
    let forms = [
        "d50_um = 160, gsd = 1.6",
        "d10_um = 80, d50_um = 160, d90_um = 300",
        "mesh = \"-45+140\"",
        "range_um = [80, 300]",
        "grit = \"F80\"",
        "grade = \"-50 mesh\"",
        "sieve = \"olive-stone-sieved.csv\"",
        "laser = \"pumice-laser.csv\"",
        "rr_size_um = 200, rr_exponent = 2.2",
    ];
    for form in forms {
        let size = format!("{{ {form}, through_um = 212, over_um = 90 }}");
        let folder = workshop(&[("s.toml", &scrub(&size, "")), ("whole.toml", &scrub(&format!("{{ {form} }}"), ""))]);
        let report = json(&folder, &["blend", "s.toml", "--json"]);
        let powder = &report["powders"][0];
        assert!(powder["size_basis"].as_str().unwrap().ends_with("sieved through 212 µm and over 90 µm"), "{powder}");
        let lost = number(powder, "/sieved/too_coarse_pct") + number(powder, "/sieved/too_fine_pct");
        assert_close(form, lost + number(powder, "/sieved/kept_pct"), 100.0, 1e-12);
        assert!(number(powder, "/d10_um") > 90.0 && number(powder, "/d90_um") < 212.0, "{form}");
        assert!(number(&report, "/blend/by_volume/d99_um") <= 212.0, "{form}");
        let whole = json(&folder, &["blend", "whole.toml", "--json"]);
        assert!(whole["powders"][0].get("sieved").is_none(), "{form}: JSON without sieves stays as it was");
        let (_, text, _) = run_in(folder.path(), &["blend", "s.toml"]);
        assert!(text.contains("sieved by the maker"), "{text}");
    }
}

#[test]
fn a_dossier_names_the_sieves() {
    let folder = workshop(&[("s.toml", &scrub("{ d50_um = 160, gsd = 1.6, through_um = 250 }", ""))]);
    let (status, _, message) = run_in(folder.path(), &["dossier", "s.toml", "--out", "paper"]);
    assert!(status < 2, "{message}");
    let texts: String = fs::read_dir(folder.path().join("paper"))
        .unwrap()
        .map(|f| f.unwrap().path())
        .filter(|f| f.extension().is_some_and(|e| e == "md" || e == "html"))
        .map(|f| fs::read_to_string(f).unwrap())
        .collect();
    assert!(texts.contains("sieved through 250 µm"), "the dossier says how the sizes came about");
}

/// What is bought by the kilogram is weighed in sieved: a kilogram of it costs its price over the share that is kept.
#[test]
fn what_is_sieved_off_is_paid_for() {
    let size = "{ d50_um = 100, gsd = 1.6487212707, through_um = 164.8721, over_um = 60.65307 }";
    let folder = workshop(&[("s.toml", &scrub(size, "price_per_kg = 10\n"))]);
    let report = json(&folder, &["blend", "s.toml", "--json"]);
    assert_close("cost", number(&report, "/scrub/cost_per_kg"), 0.04 * 10.0 / 0.682_689, 1e-5);
}

#[test]
fn sieves_that_leave_nothing_or_make_no_sense_are_refused_where_they_stand() {
    for (size, wrong) in [
        ("{ d50_um = 160, gsd = 1.6, through_um = 90, over_um = 250 }", "must be the coarser one"),
        ("{ d50_um = 160, gsd = 1.6, through_um = 90, over_um = 90 }", "must be the coarser one"),
        ("{ d50_um = 160, gsd = 1.2, through_um = 20 }", "next to nothing"),
        ("{ d50_um = 160, gsd = 1.2, over_um = 2000 }", "next to nothing"),
        ("{ d50_um = 160, gsd = 1.2, through_um = -3 }", "through_um"),
        ("{ d50_um = 160, gsd = 1.2, over_um = nan }", "over_um"),
        ("{ d50_um = 160, gsd = 1.2, over_um = \"90\" }", "over_um must be a number"),
        ("{ through_um = 250 }", "size says nothing"),
        ("{ d50_um = 160, gsd = 1.2, trough_um = 250 }", "through_um"),
    ] {
        let folder = workshop(&[("s.toml", &scrub(size, ""))]);
        let (status, out, message) = run_in(folder.path(), &["blend", "s.toml"]);
        assert_eq!((status, out.as_str()), (2, ""), "{size}");
        assert!(message.contains(wrong) && message.contains("s.toml:8:"), "{size}: {message}");
    }
    let folder = workshop(&[]);
    for (args, wrong) in [
        (vec!["--through", "20"], "next to nothing"),
        (vec!["--through", "100", "--over", "200"], "coarser one"),
        (vec!["--through", "0"], "through"),
        (vec!["--over", "inf"], "over"),
    ] {
        let args = [vec!["size", "d50=160 gsd=1.2"], args].concat();
        let (status, out, message) = run_in(folder.path(), &args);
        assert_eq!((status, out.as_str()), (2, ""), "{args:?}");
        assert!(message.contains(wrong), "{args:?}: {message}");
    }
}

/// ISO 3310-1 and ASTM E11: an opening of a 180 µm sieve may be 47 µm larger at most (as test houses publish it), of 250 µm 58 µm and of
/// 90 µm 32 µm (from memory).
#[test]
fn the_largest_opening_is_that_of_the_standard() {
    for (nominal, more) in [(180.0, 47.0), (250.0, 58.0), (90.0, 32.0)] {
        assert_eq!((tables().sieving.largest_um(nominal) - nominal).round(), more);
    }
}

/// Where the site of the index stands.
fn face() -> usize {
    tables().sites.iter().position(|s| s.name == "face").unwrap()
}

fn one(size: SizeRecord) -> Scrub {
    let grains = Powder { size, ..powder("shell", 1.3, 0.2, 0.2, log_normal(100.0, 1.5)) };
    let blend = Blend::new(vec![(grains, Parts::new(1.0).unwrap())]).unwrap();
    Scrub { name: "s".into(), load: LoadPercent::new(4.0).unwrap(), load_range: None, blend }
}

/// A draw of what is kept is the part, between the openings as they cut, of a draw of the powder before: made anew from a log-normal of
/// that draw, cut there.
#[test]
fn a_drawn_sieving_is_a_sieving_of_the_drawn_powder() {
    let before = SizeRecord::from_distribution(log_normal(160.0, 1.6), "test");
    for (through_um, over_um) in [(Some(212.0), Some(90.0)), (Some(180.0), None), (None, Some(125.0))] {
        let by = Sieves::new(through_um, over_um).unwrap();
        let (kept, whole) = (one(before.sieved(by).unwrap()), one(before.clone()));
        let place = face();
        let [of_kept, of_whole] = [&kept, &whole].map(|s| Inputs::new(s, tables(), place));
        assert_eq!(of_kept.list()[0].label, "shell: how sharp the sieve cuts");
        assert_eq!(of_kept.dimensions(), of_whole.dimensions() + 2, "the cuts have coordinates of their own");
        let mut moved = Vec::new();
        for i in 0..40 {
            let mut point: Vec<f64> = vec![0.5; of_kept.dimensions()];
            for (k, u) in point.iter_mut().enumerate().take(5) {
                *u = (0.5 + f64::from(i) * [0.754_877, 0.569_84, 0.414_2, 0.236_07, 0.732_05][k]).fract();
            }
            let mut drawn = std::array::from_fn(|_| of_kept.stated().clone());
            let mut raw = std::array::from_fn(|_| of_whole.stated().clone());
            of_kept.draw(&point, Vary::All, &mut drawn);
            of_whole.draw(&point[2..], Vary::All, &mut raw);
            let (warp, raw) = (drawn[0].powders[0].warp, raw[0].powders[0].warp);
            let [over_off, through_off] = drawn[0].powders[0].cuts_off_ln;
            let exact: SizeDistribution = log_normal(
                160.0 * raw.shift.exp() * ((raw.pivot_ln - 160.0_f64.ln()) * (1.0 - raw.above)).exp(),
                1.6_f64.powf(raw.above),
            );
            let exact = through_um.map_or(exact.clone(), |um| exact.through(um * through_off.exp()).unwrap().0);
            let exact = over_um.map_or(exact.clone(), |um| exact.over(um * over_off.exp()).unwrap().0);
            let stated = &kept.blend.components()[0].powder.size.distribution;
            let got = |p: f64| warp.forward(stated.quantile(p).ln()).exp();
            for (p, near) in
                [(0.1, 1e-6), (0.25, 0.05), (0.5, 1e-6), (0.75, 0.04), (0.9, 0.03), (0.95, 1e-6), (0.99, 0.05)]
            {
                assert_close(&format!("D{p} of draw {i}, {by:?}"), got(p), exact.quantile(p), near);
            }
            moved.push(through_off);
        }
        let within = |off: &f64| (0.75_f64.ln()..=(1.0_f64 + 58.0 / 180.0).ln()).contains(off);
        assert!(moved.iter().all(within), "{moved:?}");
        assert_eq!(moved.iter().any(|off| *off != 0.0), through_um.is_some());
    }
}

/// A sieve that cuts where it is told makes a verdict surer than one that does not: the same scrub with a `sieving.csv` of next to no
/// tolerance.
#[test]
fn an_imperfect_sieve_makes_the_verdict_less_sure() {
    let folder = workshop(&[("s.toml", &scrub("{ d50_um = 160, gsd = 1.7, through_um = 212 }", ""))]);
    let sharp = include_str!("../grading-tables/sieving.csv");
    let sharp = sharp.replace("0.66667", "0.00001").replace("largest_025,4,4,4", "largest_025,0.00001,0.00001,0.00001");
    let sharp = sharp.replace("near_mesh_least,0.75,0.6,0.9", "near_mesh_least,1,1,1");
    fs::create_dir(folder.path().join("sharp")).unwrap();
    fs::write(folder.path().join("sharp/sieving.csv"), sharp).unwrap();
    let drawn = |more: &[&str]| json(&folder, &[&["confidence", "s.toml", "--draws", "1024", "--json"], more].concat());
    let (as_it_is, ideal) = (drawn(&[]), drawn(&["--tables", "sharp"]));
    let share = |report: &Value| {
        let all = report["variance"].as_array().unwrap();
        let own = all.iter().find(|v| v["input"] == "Shell: how sharp the sieve cuts");
        own.map(|v| v["total"].as_f64().unwrap())
    };
    assert!(share(&as_it_is).unwrap() > 0.05, "{:?}", share(&as_it_is));
    assert!(share(&ideal).unwrap_or(0.0) < 0.01, "{:?}", share(&ideal));
    assert!(as_it_is["notes"].to_string().contains("ISO 3310-1"), "the note says how a sieve is drawn");
}

/// The panels that a draw works on hold all of what is kept.
#[test]
fn a_hard_end_loses_nothing_in_the_draws() {
    let by = Sieves::new(Some(150.0), Some(140.0)).unwrap();
    let kept = one(SizeRecord::from_distribution(log_normal(160.0, 1.6), "test").sieved(by).unwrap());
    let judge = Judge::new(tables()).unwrap();
    let inputs = Inputs::new(&kept, tables(), face());
    let centre = vec![0.5; inputs.dimensions()];
    let drawing = Drawing::new(&judge, &kept, inputs);
    let figures = drawing.rubber(Vary::Powders).figures(&centre)[0].clone();
    assert_close("index", figures.index, judge.assess(&kept).figures.index, 2e-3);
}

/// Coarse walnut in rice bran: what keeps it from the face is its coarse end.
fn coarse(size: &str) -> String {
    format!(
        "[scrub]\nname = \"Lock polish\"\npowder_load_pct = 4\n[[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\nparts = 5\n\
         size = {{ d50_um = 60, gsd = 1.6 }}\n[[powder]]\nname = \"Shell\"\nmaterial = \"walnut-shell\"\nparts = 1\nsize = {size}\n"
    )
}

fn rank(report: &Value) -> usize {
    ["delicate face", "face", "body", "hands and feet", "beyond skin use"]
        .iter()
        .position(|band| report["band"]["name"] == *band)
        .unwrap_or_else(|| panic!("{}", report["band"]["name"]))
}

/// Of a lever by sieve: with the opening in the scrub file the band is there, with the next coarser sieve it is not, and what is said to stay
/// on the sieve does.
#[test]
fn a_sieve_that_is_at_hand_is_a_lever_and_holds_what_it_says() {
    let owned = "[sieves]\nowned_um = [150, 500, 355, 250, 212]\n";
    let sizes = [
        "{ d50_um = 130, gsd = 2.2 }",
        "{ d50_um = 110, gsd = 2.6 }",
        "{ d50_um = 160, gsd = 2.0 }",
        "{ d50_um = 250, gsd = 1.5 }",
    ];
    let mut seen = 0;
    for size in sizes {
        let folder = workshop(&[("s.toml", &coarse(size)), ("own.toml", owned)]);
        for (more, openings) in [
            (&["--shelf", "own.toml"][..], vec![500.0, 355.0, 250.0, 212.0, 150.0]),
            (&[], vec![1400.0, 1000.0, 710.0, 500.0, 355.0, 250.0, 180.0, 125.0, 90.0, 63.0, 45.0]),
        ] {
            let report = json(&folder, &[&["blend", "s.toml", "--quick", "--json"], more].concat());
            let changes = report["band"]["changes"].as_array().unwrap();
            assert!(changes.len() <= 3);
            let relative = |c: &Value| {
                let (from, to) = (number(c, "/from"), number(c, "/to"));
                c["sieved_off_pct"].as_f64().map_or((to - from).abs() / from, |pct| pct / 100.0)
            };
            let milder: Vec<f64> = changes.iter().filter(|c| c["direction"] == "milder").map(relative).collect();
            assert!(milder.windows(2).all(|w| w[0] <= w[1]), "the smallest first: {milder:?}");
            let Some(sieve) = changes.iter().find(|c| c["what"] == "through_um") else { continue };
            let opening = number(sieve, "/to");
            let place =
                openings.iter().position(|um| *um == opening).unwrap_or_else(|| panic!("{opening} is no sieve"));
            let through = |um: f64| {
                let sieved = coarse(&size.replace(" }", &format!(", through_um = {um} }}")));
                fs::write(folder.path().join("sieved.toml"), sieved).unwrap();
                json(&folder, &["blend", "sieved.toml", "--quick", "--json"])
            };
            let there = through(opening);
            assert!(rank(&there) < rank(&report), "{sieve}");
            assert_eq!(there["band"]["name"], sieve["band"]);
            let off = number(&there, "/powders/1/sieved/too_coarse_pct");
            assert_close("off", number(sieve, "/sieved_off_pct"), off, 1e-9);
            if place > 0 {
                assert_eq!(rank(&through(openings[place - 1])), rank(&report), "a coarser sieve would do: {sieve}");
            }
            let sentence = sieve["sentence"].as_str().unwrap();
            assert!(sentence.contains(if more.is_empty() { "through a " } else { "through your " }), "{sentence}");
            let (_, text, _) = run_in(folder.path(), &[&["blend", "s.toml", "--quick"], more].concat());
            assert!(text.contains("milder: sieving Shell"), "{text}");
            seen += 1;
        }
    }
    assert!(seen >= 4, "only {seen} sieves were levers");
}

#[test]
fn sieves_of_a_shelf_are_read_with_care() {
    for (sieves, wrong) in [
        ("[sieves]\n", "owned_um"),
        ("[sieves]\nowned_um = []\n", "no sieve is named"),
        ("[sieves]\nowned_um = 250\n", "a list of numbers"),
        ("[sieves]\nowned_um = [250, -3]\n", "-3"),
        ("[sieves]\nowned_um = [250, 90, 250]\n", "250 µm stands twice"),
        ("[sieves]\nowned = [250]\n", "owned_um"),
        ("[sieve]\nowned_um = [250]\n", "sieves"),
    ] {
        let folder = workshop(&[("s.toml", &coarse("{ d50_um = 200, gsd = 1.8 }")), ("own.toml", sieves)]);
        let (status, out, message) = run_in(folder.path(), &["blend", "s.toml", "--shelf", "own.toml"]);
        assert_eq!((status, out.as_str()), (2, ""), "{sieves}");
        assert!(message.contains(wrong) && message.contains("own.toml:"), "{sieves}: {message}");
    }
    let folder = workshop(&[("s.toml", &coarse("{ d50_um = 200, gsd = 1.8 }"))]);
    let (status, _, message) = run_in(folder.path(), &["blend", "shelf.toml"]);
    assert!(status == 2 && message.contains("shelf.toml:3:") && message.contains("--shelf"), "{message}");
    let (status, _, message) = run_in(folder.path(), &["blend", "s.toml", "--shelf", "none.toml"]);
    assert!(status == 2 && message.contains("none.toml"), "{message}");
}

const POLISH: &str = include_str!("../examples/millrace-rice-polish.toml");

/// 1000 g of a lot of the polish's olive stone with so much on the 300 and the 250 µm sieve.
fn lot_with_tail(on_300: f64, on_250: f64) -> String {
    // The rest as the grade has it, olive-stone-sieved.csv.
    let rest =
        [("212", 9.62), ("180", 22.75), ("150", 31.46), ("125", 20.94), ("106", 8.32), ("90", 3.61), ("pan", 1.5)];
    let sum: f64 = rest.iter().map(|r| r.1).sum();
    let left = 1000.0 - on_300 - on_250;
    let rows: String = rest.iter().map(|(um, share)| format!("{um},{}\n", left * share / sum)).collect();
    format!("opening_um,retained_g\n355,0\n300,{on_300}\n250,{on_250}\n{rows}")
}

/// What is told of a lot sieved at 250 µm is what `lot` says of the table without what stayed on the sieves from there up.
#[test]
fn a_lot_with_a_coarse_tail_is_sieved_off() {
    let tail = lot_with_tail(40.0, 60.0);
    let kept = tail.replace("300,40\n250,60\n", "300,0\n250,0\n");
    let folder = workshop(&[("s.toml", POLISH), ("tail.csv", &tail), ("kept.csv", &kept)]);
    let own = "[sieves]\nowned_um = [250, 212, 500]\n";
    fs::write(folder.path().join("own.toml"), own).unwrap();
    let lot = |table: &str, more: &[&str]| {
        json(&folder, &[&["lot", table, "--powder", "olive", "--in", "s.toml", "--json"], more].concat())
    };
    let (refused, by_hand) = (lot("tail.csv", &["--shelf", "own.toml"]), lot("kept.csv", &[]));
    assert_eq!(refused["verdict"], "refuse");
    assert!(refused["rebalanced_parts"].is_null(), "no parts for a lot that must not be used as it is");
    let sieved = &refused["sieve_it_off"];
    assert_eq!((number(sieved, "/through_um"), &sieved["owned"]), (250.0, &Value::Bool(true)));
    assert_close("off", number(sieved, "/sieved_off_pct"), 10.0, 1e-9);
    assert_eq!(sieved["verdict"], by_hand["verdict"]);
    assert_close("index", number(sieved, "/index"), number(&by_hand, "/index_with_lot"), 2e-3);
    for (i, key) in ["d10_um", "d50_um", "d90_um"].iter().enumerate() {
        let wanted = number(&by_hand, &format!("/figures/{i}/lot_um"));
        assert_close(key, number(sieved, &format!("/{key}")), wanted, 5e-3);
    }
    assert_eq!(number(sieved, "/over_top_pct"), 0.0);
    let args = ["lot", "tail.csv", "--powder", "olive", "--in", "s.toml", "--shelf", "own.toml"];
    let (status, text, _) = run_in(folder.path(), &args);
    assert_eq!(status, 1);
    assert!(
        text.contains("Sieve it off") && text.contains("your 250 µm sieve: 10.0 % of the lot stays on it"),
        "{text}"
    );
    // A lot that is fine has nothing to be sieved off; one whose tail no sieve at hand takes off says so.
    assert!(by_hand.get("sieve_it_off").is_none());
    fs::write(folder.path().join("own.toml"), "[sieves]\nowned_um = [90]\n").unwrap();
    let (_, text, _) = run_in(folder.path(), &args);
    assert!(text.contains("none of your sieves (90 µm) brings verdict and band back"), "{text}");
}

#[test]
fn a_lot_of_a_powder_that_is_sieved_is_sieved_before_it_is_judged() {
    let sieving =
        POLISH.replace("sieve = \"olive-stone-sieved.csv\"", "sieve = \"olive-stone-sieved.csv\", through_um = 250");
    assert_ne!(sieving, POLISH);
    let tail = lot_with_tail(40.0, 60.0);
    let folder = workshop(&[("s.toml", &sieving), ("tail.csv", &tail), ("again.csv", &lot_with_tail(41.0, 58.0))]);
    let args = ["lot", "tail.csv", "--powder", "olive", "--in", "s.toml", "--json"];
    let report = json(&folder, &args);
    assert_ne!(report["verdict"], "refuse", "{}", report["reasons"]);
    assert_eq!(number(&report, "/over_top_pct"), 0.0);
    // The mean of repeats is cut, not a mean of cuts; both tables are the same but for their tails.
    let both = json(&folder, &[&args[..], &["--repeat", "again.csv"]].concat());
    assert_close("index", number(&both, "/index_with_lot"), number(&report, "/index_with_lot"), 1e-3);
}

#[test]
fn a_lot_is_judged_in_every_scrub_that_is_named() {
    let second = POLISH.replace("Millrace rice polish", "Second polish").replace("parts = 2", "parts = 3");
    let folder = workshop(&[("a.toml", POLISH), ("b.toml", &second), ("tail.csv", &lot_with_tail(40.0, 60.0))]);
    let args = ["lot", "olive-stone-lot.csv", "--powder", "olive", "--in", "a.toml", "--in", "b.toml"];
    let both = json(&folder, &[&args[..], &["--json"]].concat());
    let lots = both["lots"].as_array().unwrap();
    assert_eq!(lots.len(), 2);
    for (lot, scrub) in lots.iter().zip(["a.toml", "b.toml"]) {
        let alone = json(&folder, &["lot", "olive-stone-lot.csv", "--powder", "olive", "--in", scrub, "--json"]);
        assert_eq!(*lot, alone, "{scrub}: the same as by itself");
    }
    let (status, text, _) = run_in(folder.path(), &args);
    assert!(status < 2 && text.contains("for Millrace rice polish:") && text.contains("for Second polish:"), "{text}");
    let (status, ..) =
        run_in(folder.path(), &["lot", "tail.csv", "--powder", "olive", "--in", "a.toml", "--in", "b.toml"]);
    assert_eq!(status, 1, "refused in either");
    for (more, wrong) in [
        (vec!["--in", "a.toml"], "named twice"),
        (vec!["--plot", "x.svg"], "--plot draws a lot in one scrub"),
        (vec!["--in", "gone.toml"], "gone.toml"),
    ] {
        let (status, out, message) = run_in(folder.path(), &[&args[..], &more].concat());
        assert_eq!((status, out.as_str()), (2, ""), "{more:?}");
        assert!(message.contains(wrong), "{more:?}: {message}");
    }
}

/// Of a shelf the powder's grade counts, in a scrub of it alone at the reference scrub's load (`constants.csv`).
#[test]
fn a_lot_is_held_against_its_grade_on_a_shelf() {
    let folder = workshop(&[]);
    let report = json(&folder, &["lot", "olive-stone-lot.csv", "--powder", "olive", "--in", "shelf.toml", "--json"]);
    let load = tables().constants.reference_load_pct.value;
    let alone = format!(
        "[scrub]\nname = \"x\"\npowder_load_pct = {load}\n[[powder]]\nname = \"Olive stone, sieved\"\nmaterial = \"olive-stone\"\nparts = 1\n\
         size = {{ sieve = \"olive-stone-sieved.csv\" }}\n"
    );
    fs::write(folder.path().join("alone.toml"), alone).unwrap();
    let wanted = json(&folder, &["lot", "olive-stone-lot.csv", "--powder", "olive", "--in", "alone.toml", "--json"]);
    for path in ["/index", "/index_with_lot", "/figures/1/deviation_pct", "/verdict_sure_pct"] {
        assert_eq!(number(&report, path), number(&wanted, path), "{path}");
    }
    assert_eq!(report["verdict"], wanted["verdict"]);
    assert!(report["scrub"].as_str().unwrap().contains("the shelf names none"), "{}", report["scrub"]);
    let (status, _, message) =
        run_in(folder.path(), &["lot", "olive-stone-lot.csv", "--powder", "marble", "--in", "shelf.toml"]);
    assert!(status == 2 && message.contains("--powder"), "{message}");
}

const ACID: &str = include_str!("../examples/millrace-acid-polish.toml");

const SOLUBLE_SHELF: &str = "[[powder]]\nname = \"Salt\"\nmaterial = \"salt\"\nsize = { d50_um = 150, gsd = 1.4 }\nprice_per_kg = 1\n\
     [[powder]]\nname = \"Olive\"\nmaterial = \"olive-stone\"\nsize = { d50_um = 150, gsd = 1.5 }\nprice_per_kg = 5\n\
     [[powder]]\nname = \"Chalk\"\nmaterial = \"calcium-carbonate\"\nsize = { d50_um = 100, gsd = 1.5 }\nprice_per_kg = 2\n";

#[test]
fn an_aim_says_what_would_go_wrong_in_the_whole_scrub() {
    let aim = "[aim]\nname = \"Cheap\"\nshelf = \"soluble.toml\"\nload_pct = [3, 6]\nd99_um = 600\nmax_powders = 1\ngoal = \"cheapest\"\n";
    let files = [("soluble.toml", SOLUBLE_SHELF), ("acid.toml", ACID), ("aim.toml", aim)];
    let folder = workshop(&files);
    fs::write(folder.path().join("into.toml"), format!("{aim}into = \"acid.toml\"\n")).unwrap();
    fs::write(folder.path().join("avoid.toml"), format!("{aim}into = \"acid.toml\"\navoid_wrong = true\n")).unwrap();
    let names = |report: &Value| -> Vec<String> {
        let blends = report["blends"].as_array().unwrap();
        blends.iter().map(|b| b["powders"][0]["name"].as_str().unwrap().to_owned()).collect()
    };
    let (plain, into) = (json(&folder, &["aim", "aim.toml", "--json"]), json(&folder, &["aim", "into.toml", "--json"]));
    assert_eq!(names(&plain), ["Salt", "Chalk", "Olive"]);
    assert_eq!(names(&into), names(&plain), "what goes wrong does not change what is proven");
    assert!(plain["blends"].as_array().unwrap().iter().all(|b| b.get("wrong_here").is_none()));
    let wrong = |i: usize| into["blends"][i]["wrong_here"].to_string();
    assert!(
        wrong(0).contains("Salt: dissolves in the") && wrong(1).contains("Chalk: fizzes with the acid here"),
        "{into}"
    );
    assert!(into["blends"][2].get("wrong_here").is_none(), "{into}");
    assert_eq!(names(&json(&folder, &["aim", "avoid.toml", "--json"])), ["Olive"]);
    let (_, text, _) = run_in(folder.path(), &["aim", "into.toml"]);
    assert!(text.contains("Wrong here: Salt: dissolves") && text.contains("avoid_wrong = true"), "{text}");
    // With nothing left it is said what would go wrong, and where to change it.
    let salt_only = SOLUBLE_SHELF.split("[[powder]]").nth(1).unwrap();
    fs::write(folder.path().join("soluble.toml"), format!("[[powder]]{salt_only}")).unwrap();
    let (status, _, message) = run_in(folder.path(), &["aim", "avoid.toml"]);
    assert_eq!(status, 2);
    assert!(message.contains("avoid.toml:9:1") && message.contains("(Salt: dissolves in the"), "{message}");
    for (more, wrong) in [
        ("avoid_wrong = true\n", "into = \"scrub.toml\""),
        ("avoid_wrong = \"yes\"\ninto = \"acid.toml\"\n", "true or false"),
        ("into = \"gone.toml\"\n", "gone.toml"),
        ("into = 3\n", "into must be a text"),
    ] {
        fs::write(folder.path().join("bad.toml"), format!("{aim}{more}")).unwrap();
        let (status, out, message) = run_in(folder.path(), &["aim", "bad.toml"]);
        assert_eq!((status, out.as_str()), (2, ""), "{more}");
        assert!(message.contains(wrong) && message.contains("bad.toml:"), "{more}: {message}");
    }
    let wrong_only = SOLUBLE_SHELF.split("[[powder]]\nname = \"Olive\"").next().unwrap().to_owned();
    fs::write(folder.path().join("soluble.toml"), wrong_only).unwrap();
    let (status, _, message) = run_in(folder.path(), &["aim", "avoid.toml"]);
    assert!(status == 2 && message.contains("every powder of the shelf would go wrong"), "{message}");
}

#[test]
fn compare_tells_how_blends_of_one_name_are_made() {
    let blend = |parts: &str| {
        ACID.replacen("name = \"Xanthan gum\"\n", &format!("name = \"Xanthan gum\"\nparts = [{parts}]\n"), 1)
    };
    let part = |inci: &str, pct: f64| format!("{{ inci = \"{inci}\", pct = {pct} }}");
    let (a, b) =
        ([part("Xanthan Gum", 90.0), part("Glucose", 10.0)], [part("Xanthan Gum", 70.0), part("Sucrose", 30.0)]);
    let (a, b) = (blend(&a.join(", ")), blend(&b.join(", ")));
    assert_ne!(a, ACID);
    let folder = workshop(&[("a.toml", &a), ("b.toml", &b), ("plain.toml", ACID), ("same.toml", &a)]);
    let told = |other: &str| {
        let report = json(&folder, &["compare", "a.toml", other, "--json"]);
        let whole = report["whole"].as_array().unwrap().clone();
        whole.iter().map(|w| w["what"].as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let made = "Xanthan gum, what it is made of: xanthan gum 90.0 to 70.0 %, glucose 10.0 to 0 %, sucrose 0 to 30.0 %";
    assert!(told("b.toml").iter().any(|what| what == made), "{:?}", told("b.toml"));
    let only = "Xanthan gum: only the first says what it is made of";
    assert!(told("plain.toml").iter().any(|what| what == only), "{:?}", told("plain.toml"));
    assert!(told("same.toml").is_empty(), "{:?}", told("same.toml"));
}

/// A sieve parts the same grains whether they lose a layer before it or after it, at an opening less that layer: what draws of a powder that
/// the jar dissolves hang on.
#[test]
fn grains_lose_a_layer_before_a_sieve_as_after_it() {
    let whole = log_normal(350.0, 1.4);
    let loss = 14.0;
    let sieved = whole.through(420.0).unwrap().0;
    let after = sieved.less_a_layer(&sieved.panels_above(0.0), loss, 1e-6).unwrap();
    let before = whole.less_a_layer(&whole.panels_above(0.0), loss, 1e-6).unwrap().through(420.0 - loss).unwrap().0;
    for p in [0.01, 0.1, 0.5, 0.9, 0.99] {
        assert_close(&format!("D{p}"), after.quantile(p), before.quantile(p), 1e-4);
    }
}

/// What lies above the coarsest sieve is as open when the fines are sieved off; a sieve that all goes through ends it.
#[test]
fn fines_sieved_off_close_no_top() {
    let grade = "opening_um,retained_g\n250,60\n212,20\n180,10\n150,8\npan,2\n";
    let at_least = |more: &str| {
        let size = format!("{{ sieve = \"open.csv\"{more} }}");
        let text = format!(
            "[scrub]\nname = \"T\"\npowder_load_pct = 5\n[[powder]]\nname = \"P\"\nmaterial = \"olive-stone\"\nparts = 1\nsize = {size}\n"
        );
        let folder = workshop(&[("open.csv", grade), ("t.toml", &text)]);
        json(&folder, &["blend", "t.toml", "--quick", "--json"])["band"]["at_least"].clone()
    };
    for (more, wanted) in [
        ("", true),
        (", over_um = 200", true),
        (", over_um = 255", true),
        (", over_um = 280", true),
        (", through_um = 280", false),
    ] {
        assert_eq!(at_least(more), Value::Bool(wanted), "{more}");
    }
}
