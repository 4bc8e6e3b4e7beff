//! A scrub is what it is, however its file writes it: lines split or in another order, ranges beside, sizes by a bound.

use crate::common::{run_in, tables};
use gritwise::band::Judge;
use gritwise::blend::Scrub;
use gritwise::confidence::{Drawing, Inputs, Sampling, Vary, confidence, sure};
use gritwise::files;
use gritwise::source::Source;
use proptest::prelude::*;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const WALNUT: &str = "material = \"walnut-shell\"\nsize = { range_um = [120, 220] }\n";
const COB: &str =
    "[[powder]]\nname = \"Corn cob meal\"\nmaterial = \"corn-cob\"\nparts = 3\nsize = { mesh = \"-60+100\" }\n";

fn head(load: f64) -> String {
    format!("[scrub]\nname = \"Ferry walnut scrub\"\npowder_load_pct = {load}\n")
}

/// The Ferry walnut scrub with its walnut in so many equal lines.
fn ferry(lines: usize, load: f64) -> String {
    let line = |i: usize| format!("[[powder]]\nname = \"Walnut {i}\"\nparts = {}\n{WALNUT}", 1.0 / lines as f64);
    format!("{}{}{COB}", head(load), (0..lines).map(line).collect::<String>())
}

fn read(text: &str) -> Scrub {
    files::read_scrub(Source::text(text, "test.toml", Path::new(".")), tables()).unwrap()
}

fn at_most(scrub: &Scrub) -> Vec<f64> {
    let judge = Judge::new(tables()).unwrap();
    sure(scrub, &judge, tables(), Sampling::VERDICT).at_most.iter().map(|estimate| estimate.value).collect()
}

/// Single precision: a draw in some thousands may lie on a limit.
fn assert_same(what: &str, a: &[f64], b: &[f64]) {
    assert!(a.iter().zip(b).all(|(a, b)| (a - b).abs() < 1e-3), "{what}: {a:?} {b:?}");
}

#[test]
fn a_scrub_is_as_sure_in_many_lines_as_in_one() {
    let one = at_most(&read(&ferry(1, 6.0)));
    for lines in [2, 4, 8] {
        assert_same(&format!("{lines} lines"), &one, &at_most(&read(&ferry(lines, 6.0))));
    }
    // Exit status: what one line is refused for, eight are too.
    let folder = TempDir::new().unwrap();
    let status = |lines: usize| {
        fs::write(folder.path().join("s.toml"), ferry(lines, 6.0)).unwrap();
        run_in(folder.path(), &["blend", "s.toml", "--require", "face", "--sure", "90"]).0
    };
    assert_eq!([1, 2, 8].map(status), [1, 1, 1]);
}

#[test]
fn the_order_of_powders_says_nothing() {
    let split = ferry(3, 5.07);
    let mut blocks: Vec<&str> = split.split("[[powder]]\n").collect();
    let head = blocks.remove(0);
    let orders = [[0, 1, 2, 3], [3, 0, 1, 2], [1, 3, 2, 0], [3, 2, 1, 0]];
    let written = |order: [usize; 4]| {
        let powders =
            order.map(|i| format!("[[powder]]\n{}{}", blocks[i], if blocks[i].ends_with('\n') { "" } else { "\n" }));
        read(&format!("{head}{}", powders.concat()))
    };
    let first = at_most(&written(orders[0]));
    for order in &orders[1..] {
        // To the last bit: the powders are added up in one order too.
        assert_eq!(first, at_most(&written(*order)), "{order:?}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, failure_persistence: None, ..ProptestConfig::default() })]

    /// Lines that are equal in every property draw what one line draws: the same coordinates, and every figure to the last digits.
    #[test]
    fn equal_lines_draw_as_one_does(
        lines in 2..6_usize,
        load in 1.0..20.0_f64,
        which in 0..4_usize,
        u in prop::collection::vec(0.01..0.99_f64, 64),
    ) {
        let own = [
            "material = \"walnut-shell\"\nsize = { range_um = [120, 220] }\n",
            "material = \"pumice\"\nroundness = 0.2\nroundness_low = 0.15\nroundness_high = 0.3\nsize = \"F180\"\n",
            "material = \"bamboo\"\nmohs = 3\nhardness_is_meant = true\nsize = { d50_um = 160, gsd = 1.6, through_um = 212 }\n",
            "density_g_cm3 = 1.3\nhardness_gpa = 0.2\nroundness = 0.3\nsize = { d50_um = 160, gsd = 1.5, d50_um_low = 150, d50_um_high = 170 }\n",
        ][which];
        let text = |lines: usize| {
            let line = |i: usize| format!("[[powder]]\nname = \"Grit {i}\"\nparts = {}\n{own}", 1.0 / lines as f64);
            format!("{}{}{COB}", head(load), (0..lines).map(line).collect::<String>())
        };
        let judge = Judge::new(tables()).unwrap();
        let scrubs = [read(&text(1)), read(&text(lines))];
        let [one, many] = scrubs.each_ref().map(|s| {
            let inputs = Inputs::new(s, tables(), 0);
            let point: Vec<f64> = u.iter().cycle().take(inputs.dimensions()).copied().collect();
            let drawing = Drawing::new(&judge, s, inputs);
            let figures = drawing.rubber(Vary::All).figures(&point)[0].clone();
            (point.len(), figures)
        });
        prop_assert_eq!(one.0, many.0);
        prop_assert!((one.1.index / many.1.index - 1.0).abs() < 1e-5, "{:?} {:?}", one, many);
        prop_assert!((one.1.d99_um / many.1.d99_um - 1.0).abs() < 1e-5);
        prop_assert_eq!(one.1.rank, many.1.rank);
    }
}

/// What several lines share is named once, holds what the one line held, and is measured for all of them.
#[test]
fn what_lines_share_is_named_and_measured_once() {
    let judge = Judge::new(tables()).unwrap();
    let of = |lines| {
        confidence(&read(&ferry(lines, 6.0)), &judge, tables(), Sampling::new(2048, 1).unwrap(), |_| true).unwrap()
    };
    let (one, four) = (of(1), of(4));
    assert_eq!(one.variance.len(), four.variance.len());
    let held = |c: &gritwise::confidence::Confidence, name: &str| {
        let share = c.variance.iter().filter(|s| s.input == name).collect::<Vec<_>>();
        assert_eq!(share.len(), 1, "{name}: {:?}", c.variance.iter().map(|s| &s.input).collect::<Vec<_>>());
        share[0].of_index.total.value
    };
    for what in ["size", "hardness", "roundness"] {
        let [a, b] = [held(&one, &format!("Walnut 0: {what}")), held(&four, &format!("Walnut 0 and 3 more: {what}"))];
        assert!((a - b).abs() < 1e-3, "{what}: {a} {b}");
    }
    let findings = |c: &gritwise::confidence::Confidence| {
        c.measurements.iter().flat_map(|m| m.findings.iter().map(|f| (f.value, f.sure))).collect::<Vec<_>>()
    };
    let (a, b) = (findings(&one), findings(&four));
    assert!(!a.is_empty() && a.len() == b.len(), "{a:?} {b:?}");
    for ((value, sure), (other, others)) in a.iter().zip(&b) {
        assert!((value / other - 1.0).abs() < 1e-9 && (sure - others).abs() < 1e-2, "{a:?} {b:?}");
    }
}

/// Other sizes of one material are another lot, but not another material.
#[test]
fn lots_of_one_material_share_what_the_material_is() {
    let text = format!(
        "{}[[powder]]\nname = \"A\"\nparts = 1\n{WALNUT}[[powder]]\nname = \"B\"\nparts = 1\n{}[[powder]]\nname = \"C\"\nparts = 1\n\
         roundness = 0.2\nroundness_low = 0.15\nroundness_high = 0.3\n{WALNUT}",
        head(5.0),
        WALNUT.replace("120", "100")
    );
    let scrub = read(&text);
    let inputs = Inputs::new(&scrub, tables(), 0);
    let mut labels: Vec<&str> =
        inputs.list().iter().filter(|i| i.measures.is_some()).map(|i| i.label.as_str()).collect();
    labels.sort_unstable();
    // C's roundness was measured for itself; its sizes are those of A.
    assert_eq!(
        labels,
        [
            "A and C: size",
            "B and 2 more: density",
            "B and 2 more: hardness",
            "B and A: roundness",
            "B: size",
            "C: roundness"
        ]
    );
}

fn compared(a: &str, b: &str) -> (Value, String) {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("a.toml"), a).unwrap();
    fs::write(folder.path().join("b.toml"), b).unwrap();
    let (status, json, error) = run_in(folder.path(), &["compare", "a.toml", "b.toml", "--json"]);
    assert_eq!(status, 0, "{error}");
    let (_, text, _) = run_in(folder.path(), &["compare", "a.toml", "b.toml"]);
    (serde_json::from_str(&json).unwrap(), text)
}

#[test]
fn the_same_scrub_in_one_line_and_in_four_is_not_told_apart() {
    let (json, text) = compared(&ferry(1, 6.0), &ferry(4, 6.0));
    assert_eq!(json["differences"].as_array().unwrap().len(), 0, "{json}");
    assert_eq!((&json["milder_than_first_pct"][0], &json["apart_from_first_pct"][0]), (&0.0.into(), &0.0.into()));
    assert!(text.contains("no draw tells them apart") && text.contains("nothing differs"), "{text}");
}

#[test]
fn ranges_that_differ_are_told_and_tell_draws_apart() {
    let with = |range: &str, size: &str, load: &str| {
        format!(
            "[scrub]\nname = \"S\"\npowder_load_pct = 5\n{load}[[powder]]\nmaterial = \"bamboo\"\nparts = 1\nroundness = 0.3\n{range}\
             size = {{ d50_um = 160, gsd = 1.6{size} }}\n"
        )
    };
    let plain = with("", "", "");
    for (other, what) in [
        (
            with("roundness_low = 0.1\nroundness_high = 0.8\n", "", ""),
            "roundness: no range of its own before, 0.1 to 0.8 then",
        ),
        (with("", ", d50_um_low = 120, d50_um_high = 220", ""), "d50_um: no range of its own before, 120 to 220 then"),
        (
            with("", "", "powder_load_pct_low = 3\npowder_load_pct_high = 8\n"),
            "powder load: no range of its own before, 3 to 8 then",
        ),
    ] {
        let (json, text) = compared(&plain, &other);
        let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
        assert!(flat.contains(what), "{text}");
        assert!(!flat.contains("nothing differs") && !flat.contains("no draw tells"), "{text}");
        assert_eq!(json["differences"][0]["quality"], "known");
        assert_eq!(json["differences"][0]["effect_on_index"], 0.0);
        assert!(json["apart_from_first_pct"][0].as_f64().unwrap() > 90.0, "{json}");
    }
    let (json, text) = compared(&plain, &plain);
    assert!(json["apart_from_first_pct"][0] == 0.0 && text.contains("no draw tells them apart"), "{text}");
}

/// A size of which only a lower bound is known ends nowhere, as a sieve table with an open top does.
#[test]
fn a_lower_bound_alone_is_at_least() {
    let folder = TempDir::new().unwrap();
    let blend = |size: &str| {
        let text = format!("{}[[powder]]\nmaterial = \"olive-stone\"\nparts = 1\nsize = {size}\n", head(1.0));
        fs::write(folder.path().join("s.toml"), text).unwrap();
        let (status, ..) = run_in(folder.path(), &["blend", "s.toml", "--quick", "--require", "body"]);
        let (_, json, error) = run_in(folder.path(), &["blend", "s.toml", "--quick", "--json"]);
        let report: Value = serde_json::from_str(&json).unwrap_or_else(|_| panic!("{size}: {error}"));
        (status, report["band"]["at_least"].as_bool().unwrap())
    };
    for open in ["\"+325 mesh\"", "\">50 um\"", "{ grade = \"+325 mesh\", over_um = 63 }"] {
        assert_eq!(blend(open), (1, true), "{open}");
    }
    for closed in ["\"-200+325 mesh\"", "\"<75 um\"", "{ grade = \"+325 mesh\", through_um = 106 }"] {
        assert_eq!(blend(closed), (0, false), "{closed}");
    }
}

/// The shelf's least share is kept as its largest is; where there is no room for it, the powder is not offered.
#[test]
fn a_stand_in_keeps_its_least_share() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("s.toml"), ferry(1, 0.6).replace("parts = 3", "parts = 1")).unwrap();
    let offered = |limits: &str| {
        let shelf = format!(
            "[[powder]]\nname = \"Apricot\"\nmaterial = \"apricot-shell\"\nsize = {{ range_um = [120, 220] }}\n{limits}\n[[powder]]\n\
             name = \"Olive\"\nmaterial = \"olive-stone\"\nsize = {{ range_um = [120, 220] }}\n"
        );
        fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
        let call = ["stand-in", "s.toml", "--for", "Walnut 0", "--shelf", "shelf.toml", "--json"];
        let (status, json, error) = run_in(folder.path(), &call);
        assert_eq!(status, 0, "{error}");
        let report: Value = serde_json::from_str(&json).unwrap();
        let found = report["stand_ins"].as_array().unwrap().iter().find(|s| s["name"] == "Apricot").cloned();
        found.map(|s| s["pct_of_scrub"].as_f64().unwrap())
    };
    let free = offered("").unwrap();
    assert!(free < 0.5, "{free}");
    let held = offered("min_pct = 0.5").unwrap();
    assert!((0.5..0.5001).contains(&held), "{held}");
    assert!(offered("min_pct = 12").unwrap() >= 12.0);
    assert_eq!(offered("min_pct = 99.9"), None);
}

/// Two powders of one shelf of which no material is stated: what one is called tells that the acid here dissolves it, the other is asked for.
#[test]
fn a_stand_in_that_is_called_a_carbonate_is_told_as_one_beside_an_acid() {
    let folder = TempDir::new().unwrap();
    let sour = "[base]\nph = 4.2\n[[phase]]\nname = \"P\"\n[[phase.ingredient]]\nname = \"Water\"\ninci = \"Aqua\"\nfill = true\n\
                [[phase.ingredient]]\nname = \"Acid\"\ninci = \"Lactic Acid\"\npct = 5\n";
    fs::write(folder.path().join("s.toml"), ferry(1, 5.0) + sour).unwrap();
    let flour = |name: &str| {
        format!(
            "[[powder]]\nname = \"{name}\"\ndensity_g_cm3 = 2.7\nhardness_gpa = 1.4\nroundness = 0.3\nsize = {{ range_um = [120, 220] }}\n"
        )
    };
    fs::write(folder.path().join("shelf.toml"), flour("Limestone flour") + &flour("Flint flour")).unwrap();
    let call = ["stand-in", "s.toml", "--for", "Walnut 0", "--shelf", "shelf.toml", "--json"];
    let (status, json, error) = run_in(folder.path(), &call);
    assert_eq!(status, 0, "{error}");
    let report: Value = serde_json::from_str(&json).unwrap();
    let wrong = |name: &str| {
        let found = report["stand_ins"].as_array().unwrap().iter().find(|s| s["name"] == name).unwrap();
        found["wrong_here"].as_array().unwrap().iter().map(|w| w.as_str().unwrap().to_owned()).collect::<Vec<_>>()
    };
    let (limestone, flint) = (wrong("Limestone flour"), wrong("Flint flour"));
    assert!(limestone.len() == 1 && limestone[0].starts_with("a carbonate by its name: fizzes"), "{limestone:?}");
    assert!(flint.len() == 1 && flint[0].starts_with("of no material of the table"), "{flint:?}");
}
