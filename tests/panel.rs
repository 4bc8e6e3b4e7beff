//! `gritwise panel` as a maker would call it, its bad input, its picture, and the laws that a fit must obey.

use crate::common::{assert_clear, run_in, text_boxes};
use gritwise::numerics::mixed::{MixedLayout, Observation};
use gritwise::numerics::{normal, student};
use gritwise::panel::{Fitted, Panel, Posterior, Prior, Score, ScoreScale, Standing, Tested, analyse, estimate};
use proptest::prelude::*;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

/// The workshop's examples in a folder of their own.
pub(crate) fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    for entry in fs::read_dir(Path::new(env!("CARGO_MANIFEST_DIR")).join("examples")).unwrap() {
        let path = entry.unwrap().path();
        fs::copy(&path, folder.path().join(path.file_name().unwrap())).unwrap();
    }
    folder
}

pub(crate) fn json(folder: &Path, args: &[&str]) -> (i32, Value) {
    let (code, out, err) = run_in(folder, args);
    (code, serde_json::from_str(&out).unwrap_or_else(|_| panic!("{args:?}: {err}")))
}

pub(crate) fn number(value: &Value, path: &[&str]) -> f64 {
    path.iter().fold(value, |v, key| &v[*key]).as_f64().unwrap_or_else(|| panic!("no number {path:?} in {value}"))
}

#[test]
fn from_scores_to_a_calibration_to_a_blend_of_score_three() {
    let folder = workshop();
    let dir = folder.path();
    let (code, report) = json(dir, &["panel", "panel-scores.csv", "--json", "--write", "panel.toml"]);
    assert_eq!((code, report["status"].as_str()), (0, Some("calibrated")));
    let [value, low, high] = ["value", "low", "high"].map(|k| number(&report, &["exponent", k]));
    assert!(0.0 < low && low < value && value < high);
    for path in [["spearman", "rho"], ["spearman", "p"], ["kendall", "tau"], ["kendall", "p"], ["agreement", "w"]] {
        assert!((0.0..=1.0).contains(&number(&report, &path)), "{path:?}");
    }
    assert!(number(&report, &["r2"]) > 0.9 && number(&report, &["left_out_error"]) < 2.0);
    assert_eq!(number(&report, &["degrees_of_freedom"]), 4.0);

    // Blend says what the line says; the middle of the panel's scrubs lies within the interval.
    let blend = ["blend", "millrace-rice-polish.toml", "--calibration", "panel.toml"];
    let (_, blended) = json(dir, &[&blend[..], &["--json"]].concat());
    let expected = number(&blended, &["expected_score", "value"]);
    let of_panel = report["scrubs"].as_array().unwrap().iter().find(|s| s["name"] == "Millrace rice polish").unwrap();
    assert!((expected - number(of_panel, &["expected"])).abs() < 1e-9);
    let ends = ["low", "high"].map(|k| number(&blended, &["expected_score", k]));
    assert!(ends[0] < expected && expected < ends[1] && ends[0] < number(of_panel, &["score"]));
    assert!(run_in(dir, &blend).1.contains("Expected score of the panel: "));
    assert_eq!(json(dir, &["blend", "millrace-rice-polish.toml", "--json"]).1["expected_score"], Value::Null);

    // An aim for score 3 gives a blend that the calibration expects to score 3.
    let aim = "[aim]\nname = \"Three\"\nshelf = \"shelf.toml\"\nscore = 3\ncalibration = \"panel.toml\"\ngoal = \"cheapest\"\n";
    fs::write(dir.join("aim.toml"), aim).unwrap();
    let (code, text, _) = run_in(dir, &["aim", "aim.toml", "--top", "1", "--write", "found"]);
    assert_eq!(code, 0);
    assert!(text.contains("score 3 of 10 by panel.toml, which is index "), "{text}");
    let (_, again) = json(dir, &["blend", "found/aim-1.toml", "--calibration", "panel.toml", "--json"]);
    assert!((number(&again, &["expected_score", "value"]) - 3.0).abs() < 0.03);
    let range = aim.replace("= 3", "= [2, 4]").replace("shelf.toml\"", "shelf.toml\"\nmax_powders = 2");
    fs::write(dir.join("range.toml"), range).unwrap();
    let (_, text, _) = run_in(dir, &["aim", "range.toml", "--top", "1"]);
    assert!(text.contains("score 2 to 4 of 10"), "{text}");

    // Another model makes the calibration void.
    fs::create_dir(dir.join("ours")).unwrap();
    let constants = Path::new(env!("CARGO_MANIFEST_DIR")).join("grading-tables/constants.csv");
    let changed = fs::read_to_string(constants).unwrap().replace("edge_ratio,5", "edge_ratio,7");
    fs::write(dir.join("ours/constants.csv"), changed).unwrap();
    let (code, _, message) = run_in(dir, &[&blend[..], &["--tables", "ours"]].concat());
    assert_eq!(code, 2);
    assert!(message.contains("edge_ratio = 5") && message.contains("run gritwise panel again"), "{message}");
}

#[test]
fn too_few_data_conclude_nothing() {
    let folder = workshop();
    let dir = folder.path();
    let all = fs::read_to_string(dir.join("panel-scores.csv")).unwrap();
    let keep = |wanted: &dyn Fn(&str) -> bool| -> String {
        all.lines().enumerate().filter(|(i, l)| *i < 2 || wanted(l)).map(|(_, l)| format!("{l}\n")).collect()
    };
    let three_scrubs = keep(&|l| ["sluice", "ferry", "weir"].iter().any(|s| l.starts_with(s)));
    let two_panellists = keep(&|l| l.contains(",Wren,") || l.contains(",Teal,"));
    for (text, wanted) in [(three_scrubs, "scrubs of different index: 3"), (two_panellists, "two scrubs or more: 2")] {
        fs::write(dir.join("few.csv"), text).unwrap();
        let (code, report) = json(dir, &["panel", "few.csv", "--write", "few.toml", "--plot", "few.svg", "--json"]);
        assert_eq!((code, report["status"].as_str()), (1, Some("too-few")));
        assert!(report["too_few"][0].as_str().unwrap().contains(wanted), "{report}");
        for key in ["exponent", "r2", "spearman", "kendall", "left_out_error", "agreement"] {
            assert_eq!(report[key], Value::Null, "{key}");
        }
        assert!(!dir.join("few.toml").exists());
        fs::remove_file(dir.join("few.svg")).unwrap();
    }
    let (_, text, remark) = run_in(dir, &["panel", "few.csv", "--write", "few.toml"]);
    assert!(text.contains("Nothing can be concluded yet") && remark.contains("was not written"));
    assert!(!text.contains("(p "), "{text}");
}

#[test]
fn zeros_and_low_scales_go_by_categories_and_come_back_from_their_file() {
    let folder = workshop();
    let dir = folder.path();
    let all = fs::read_to_string(dir.join("panel-scores.csv")).unwrap();
    // The mildest scrub felt like nothing to most.
    let zeros: String = all
        .lines()
        .map(|l| {
            let felt = !l.starts_with("sluice") || l.contains("Linnet");
            if felt { format!("{l}\n") } else { format!("{},0,\n", l.split(',').take(2).collect::<Vec<_>>().join(",")) }
        })
        .collect();
    fs::write(dir.join("zeros.csv"), zeros).unwrap();
    let (code, report) = json(dir, &["panel", "zeros.csv", "--json", "--write", "z.toml", "--plot", "z.svg"]);
    assert_eq!((code, report["law"].as_str(), &report["exponent"]), (0, Some("ordinal"), &Value::Null), "{report}");
    assert!(report["why_ordinal"].as_str().unwrap().contains("are 0"));
    assert!(number(&report, &["ordinal_slope", "value"]) > 0.0);
    for scrub in report["scrubs"].as_array().unwrap() {
        let file = if scrub["name"] == "Weir foot scrub" { "weir-foot-scrub.toml" } else { continue };
        let (_, blended) = json(dir, &["blend", file, "--calibration", "z.toml", "--json"]);
        let expected = number(&blended, &["expected_score", "value"]);
        assert!((expected - number(scrub, &["expected"])).abs() < 1e-9);
    }
    let aim = "[aim]\nname = \"T\"\nshelf = \"shelf.toml\"\nscore = 3\ncalibration = \"z.toml\"\nmax_powders = 1\ngoal = \"cheapest\"\n";
    fs::write(dir.join("aim.toml"), aim).unwrap();
    let (_, found) = json(dir, &["aim", "aim.toml", "--json", "--top", "1", "--write", "found"]);
    assert_eq!(found["status"], "found");
    let (_, again) = json(dir, &["blend", "found/aim-1.toml", "--calibration", "z.toml", "--json"]);
    assert!((number(&again, &["expected_score", "value"]) - 3.0).abs() < 0.1);

    let (_, report) = json(dir, &["panel", "panel-scores.csv", "--scale=-1..9.5", "--json"]);
    assert!(report["why_ordinal"].as_str().unwrap().contains("begins at -1"));
}

/// A panel that agrees perfectly cannot be told that its scores do not rise: of the 720 orders of six scrubs two are as far from
/// chance, p = 2/720 (M. G. Kendall, Rank Correlation Methods, 4th ed. 1970).
#[test]
fn perfect_agreement_by_categories_is_a_rise() {
    let mut perfect = panel(5, |_, s| [2.0, 5.0, 6.0, 8.0, 9.0, 10.0][s]);
    perfect.scale = ScoreScale::new(0.0, 10.0).unwrap();
    let found = analyse(&perfect, "test");
    assert_eq!(found.standing, Standing::Calibrated);
    assert!((found.spearman.unwrap().p - 2.0 / 720.0).abs() < 1e-12);
    let Some(Fitted::Ordinal { prior_holds, .. }) = found.fitted else { panic!("no categories") };
    assert!(prior_holds, "nothing else bounds the slope");
    let mut falling = perfect.clone();
    falling.scores.iter_mut().for_each(|s| s.score = 10.0 - s.score);
    assert_eq!(analyse(&falling, "test").standing, Standing::Falling);
    // Noise that no order explains stays in doubt.
    let shuffled = analyse(&panel(5, |t, s| ([3.0, 0.0, 4.0, 1.0, 5.0, 2.0][s] + t as f64) % 6.0), "test");
    assert_eq!(shuffled.standing, Standing::Unrelated);
    assert!(matches!(shuffled.fitted, Some(Fitted::Ordinal { prior_holds: false, .. })), "{:?}", shuffled.fitted);
}

#[test]
fn a_scale_turned_round_and_a_scale_of_one_score_are_called_so() {
    let falls = analyse(&panel(4, |t, s| (1.0 + 0.01 * ((3 * t + s) % 4) as f64) * 900.0 / INDICES[s].sqrt()), "test");
    assert_eq!((&falls.standing, &falls.calibration), (&Standing::Falling, &None));
    let same = analyse(&panel(4, |_, _| 5.0), "test");
    assert!(matches!(same.standing, Standing::TooFew(why) if why == ["all scores are the same"]));

    let folder = workshop();
    let scores = fs::read_to_string(folder.path().join("panel-scores.csv")).unwrap();
    let turned: String = scores
        .lines()
        .map(|l| {
            let cells: Vec<&str> = l.split(',').collect();
            match cells.get(2).and_then(|c| c.parse::<f64>().ok()) {
                Some(score) => format!("{},{},{},{}\n", cells[0], cells[1], 10.0 - score, cells[3]),
                None => format!("{l}\n"),
            }
        })
        .collect();
    fs::write(folder.path().join("turned.csv"), turned).unwrap();
    let (code, text, _) = run_in(folder.path(), &["panel", "turned.csv"]);
    assert_eq!(code, 1);
    assert!(text.contains("The scores fall with the index") && text.contains("the other way round"), "{text}");
}

#[test]
fn only_what_differs_beyond_noise_is_swapped() {
    let folder = workshop();
    let (_, report) = json(folder.path(), &["panel", "panel-scores.csv", "--json"]);
    let pair = |list: &str, key: &str| -> Vec<String> {
        report[list].as_array().unwrap().iter().map(|p| p[key].as_str().unwrap().to_owned()).collect()
    };
    // Paired t of ln score by hand: 0.12 with 5 degrees of freedom, 2.96 with 4. Two pairs at 5 % together ask for 3.163 and 3.495
    // (t of 0.9875, tables).
    assert_eq!(pair("level", "milder_by_index"), ["Millrace rice polish", "Ferry walnut scrub"]);
    assert!(pair("swapped", "harsher_by_panel").is_empty());
    assert_eq!(report["same_order"], false);
    // A panellist more who feels as the others do settles the second.
    let felt = fs::read_to_string(folder.path().join("panel-scores.csv")).unwrap();
    let more = "ferry-walnut-scrub.toml,Teasel,4.6,2026-05-07\nmillrace-body-scrub.toml,Teasel,4,2026-05-07\n";
    fs::write(folder.path().join("more.csv"), felt + more).unwrap();
    let (_, report) = json(folder.path(), &["panel", "more.csv", "--json"]);
    assert_eq!(report["swapped"][0]["harsher_by_panel"], "Ferry walnut scrub", "{report}");
}

#[test]
fn grains_that_dissolve_are_named() {
    let folder = workshop();
    let scores = fs::read_to_string(folder.path().join("panel-scores.csv")).unwrap();
    fs::write(folder.path().join("salt.csv"), scores.replace("ferry-walnut-scrub", "weir-salt-scrub")).unwrap();
    let wanted = "of the grains as they reach the skin";
    let told =
        |args: &[&str]| run_in(folder.path(), args).1.split_whitespace().collect::<Vec<_>>().join(" ").contains(wanted);
    assert!(told(&["panel", "salt.csv"]) && !told(&["panel", "panel-scores.csv"]));
    assert!(told(&["confidence", "weir-salt-scrub.toml", "--draws", "1000"]));
}

#[test]
fn a_scrub_that_does_not_touch_has_no_score() {
    let folder = workshop();
    let dir = folder.path();
    run_in(dir, &["panel", "panel-scores.csv", "--write", "panel.toml"]);
    let flour = "[scrub]\nname = \"Flour\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"talc\"\nparts = 1\nsize = { range_um = [1, 4] }\n";
    fs::write(dir.join("flour.toml"), flour).unwrap();
    let call = ["blend", "flour.toml", "--calibration", "panel.toml"];
    let (_, text, _) = run_in(dir, &call);
    assert!(text.contains("no score, as next to no grain touches"), "{text}");
    assert_eq!(json(dir, &[&call[..], &["--json"]].concat()).1["expected_score"]["nothing_touches"], true);
}

#[test]
fn every_point_is_drawn_at_its_index() {
    let folder = workshop();
    let dir = folder.path();
    let polish = fs::read_to_string(dir.join("millrace-rice-polish.toml")).unwrap();
    let mut scores = "scrub,taster,score\n".to_owned();
    for i in 0..8 {
        let name = format!("Millrace polish of a very long name indeed, number {i}");
        let load = format!("_load_pct = {}", 5.0 + 0.1 * f64::from(i));
        let text = polish.replace("Millrace rice polish", &name).replace("_load_pct = 5.0", &load);
        fs::write(dir.join(format!("p{i}.toml")), text).unwrap();
        (0..3).for_each(|t| scores += &format!("p{i}.toml,T{t},{}\n", 3.0 + 0.2 * f64::from((i + t) % 3)));
    }
    fs::write(dir.join("close.csv"), scores).unwrap();
    run_in(dir, &["panel", "close.csv", "--plot", "p.svg"]);
    let svg = fs::read_to_string(dir.join("p.svg")).unwrap();
    assert_clear("close.csv", &svg, 480.0);
    let texts = text_boxes(&svg);
    for i in 0..8 {
        assert!(texts.iter().any(|t| t.0.starts_with("Millrace") && t.0.ends_with(&format!("number {i}"))));
        assert!(texts.iter().filter(|t| t.0 == (i + 1).to_string()).count() >= 2, "{i}");
    }
    // Each point stands over its own dots: the centre of a ring is a place across where a dot is.
    let across = |radius: &str| -> Vec<String> {
        let circles = svg.split("<circle ").skip(1).filter(|c| c.contains(radius));
        circles.map(|c| c.split("cx=\"").nth(1).unwrap().split('"').next().unwrap().to_owned()).collect()
    };
    let (dots, rings) = (across("r=\"3"), across("r=\"4"));
    assert!(rings.len() >= 8 && rings.iter().all(|x| dots.contains(x)), "{dots:?} {rings:?}");
}

#[test]
fn bad_scores_name_file_line_and_column() {
    let folder = workshop();
    let dir = folder.path();
    fs::write(dir.join("talc.toml"), "[scrub]\nname = \"Flour\"\npowder_load_pct = 5\n[[powder]]\nmaterial = \"talc\"\nparts = 1\nsize = { range_um = [1, 4] }\n").unwrap();
    fs::copy(dir.join("weir-foot-scrub.toml"), dir.join("copy.toml")).unwrap();
    let row = "weir-foot-scrub.toml,Wren,7\n";
    let table = |rows: &str| format!("scrub,taster,score\n{row}{rows}");
    let dated = |rows: &str| format!("scrub,taster,score,date\nweir-foot-scrub.toml,Wren,7,2026-05-04\n{rows}");
    let cases: Vec<(&str, String, Vec<&str>)> = vec![
        ("above the scale", table("ferry-walnut-scrub.toml,Wren,11\n"), vec!["s.csv:3:30:", "off the scale 0..10"]),
        ("below the scale", table("ferry-walnut-scrub.toml,Wren,-1\n"), vec!["s.csv:3:30:", "off the scale"]),
        ("no number", table("ferry-walnut-scrub.toml,Wren,seven\n"), vec!["s.csv:3:30:", "\"seven\" is not a number"]),
        ("not finite", table("ferry-walnut-scrub.toml,Wren,NaN\n"), vec!["s.csv:3:30:", "not a number"]),
        ("scored twice", table(row), vec!["s.csv:3:1:", "Wren scored", "line 2 too", "date"]),
        ("twice a day", dated("weir-foot-scrub.toml,Wren,6,2026-05-04\n"), vec!["s.csv:3:1:", "on 2026-05-04"]),
        ("two paths", table("./weir-foot-scrub.toml,Teal,7\n"), vec!["s.csv:3:1:", "line 2", "one way"]),
        ("two files of a name", table("copy.toml,Teal,7\n"), vec!["s.csv:3:1:", "both named \"Weir foot scrub\""]),
        ("empty taster", table("ferry-walnut-scrub.toml, ,5\n"), vec!["s.csv:3:", "the taster is empty"]),
        ("empty scrub", table(",Wren,5\n"), vec!["s.csv:3:1:", "the scrub file is empty"]),
        ("empty score", table("ferry-walnut-scrub.toml,Wren,\n"), vec!["s.csv:3:", "the score is empty"]),
        ("spelt two ways", table("ferry-walnut-scrub.toml,wren,5\n"), vec!["s.csv:3:25:", "is \"Wren\" in line 2"]),
        ("no such scrub", table("wier.toml,Wren,5\n"), vec!["s.csv:3:1:", "wier.toml: no such file"]),
        (
            "a bad scrub",
            table("shelf.toml,Wren,5\n"),
            vec!["s.csv:3:1:", "shelf.toml:3:1:", "a scrub file has [scrub]"],
        ),
        ("nothing touches", table("talc.toml,Wren,1\n"), vec!["s.csv:3:1:", "next to no grain of this scrub touches"]),
        ("no day", dated("ferry-walnut-scrub.toml,Wren,5,2026-02-30\n"), vec!["s.csv:3:32:", "2026-03-31"]),
        ("unknown column", "scrub,tester,score\na,b,1\n".into(), vec!["s.csv:1:7:", "did you mean \"taster\""]),
        ("column twice", "scrub,taster,score,score\na,b,1,2\n".into(), vec!["s.csv:1:20:", "stands twice"]),
        ("missing column", "scrub,score\na,1\n".into(), vec!["s.csv:1:1:", "column taster is missing"]),
        ("a cell short", table("ferry-walnut-scrub.toml,Wren\n"), vec!["s.csv:3:", "2 cells", "3 columns"]),
        ("header only", "scrub,taster,score\n".into(), vec!["s.csv:1:1:", "no scores"]),
        ("comments only", "# nothing\n".into(), vec!["s.csv:1:1:", "the table is empty"]),
        ("empty", String::new(), vec!["the file is empty"]),
    ];
    for (what, text, wanted) in cases {
        fs::write(dir.join("s.csv"), text).unwrap();
        let (code, out, message) = run_in(dir, &["panel", "s.csv", "--write", "new.toml", "--plot", "new.svg"]);
        assert_eq!((code, out.as_str()), (2, ""), "{what}: {message}");
        for part in wanted {
            assert!(message.contains(part), "{what}: no {part:?} in: {message}");
        }
        assert!(!dir.join("new.toml").exists() && !dir.join("new.svg").exists(), "{what}");
    }
}

#[test]
fn bad_calls_and_calibrations() {
    let folder = workshop();
    let dir = folder.path();
    let scores = "panel-scores.csv";
    let (code, _, _) = run_in(dir, &["panel", scores, "--write", "panel.toml"]);
    assert_eq!(code, 0);
    let good = fs::read_to_string(dir.join("panel.toml")).unwrap();
    let aim =
        "[aim]\nname = \"T\"\nshelf = \"shelf.toml\"\nscore = 3\ncalibration = \"panel.toml\"\ngoal = \"cheapest\"\n";
    let exponent = good.lines().find(|l| l.starts_with("exponent =")).unwrap();
    for (name, text) in [
        ("negative.toml", good.replace(exponent, "exponent = -0.5")),
        ("mistyped.toml", good.replace("centre_index", "center_index")),
        ("lawless.toml", good.replace("law = \"power\"", "law = \"linear\"")),
        ("models.toml", good.replace("gap_um = 30.0\n", "")),
        ("aim-off.toml", aim.replace("= 3", "= 11")),
        ("aim-zero.toml", aim.replace("= 3", "= 0")),
        ("aim-falls.toml", aim.replace("= 3", "= [4, 2]")),
        ("aim-alone.toml", aim.replace("calibration = \"panel.toml\"\n", "")),
        ("aim-unscored.toml", aim.replace("score = 3\n", "")),
        ("aim-both.toml", aim.replace("score = 3", "score = 3\nindex = [60, 80]")),
        ("aim-lost.toml", aim.replace("panel.toml", "lost.toml")),
    ] {
        fs::write(dir.join(name), text).unwrap();
    }
    let blend = |file: &'static str| vec!["blend", "millrace-rice-polish.toml", "--calibration", file];
    let cases: Vec<(Vec<&str>, Vec<&str>)> = vec![
        (vec!["panel", scores, "--scale", "10..0"], vec!["--scale", "0..10"]),
        (vec!["panel", scores, "--scale", "ten"], vec!["--scale", "0..10"]),
        (vec!["panel", scores, "--scale", "0..5"], vec!["panel-scores.csv:6:28:", "off the scale 0..5"]),
        (vec!["panel", scores, "--estimate", "hardness"], vec!["edge-ratio or roundness:POWDER"]),
        (
            vec!["panel", scores, "--estimate", "roundness:sand"],
            vec!["no scrub of the panel holds the powder \"sand\""],
        ),
        (vec!["panel", scores, "--estimate", "roundness:olive"], vec!["Olive stone, coarse; Olive stone, sieved"]),
        (vec!["panel", scores, "--estimate", "edge-ratio", "--estimate", "edge-ratio"], vec!["two different ones"]),
        (vec!["panel", scores, "--estimate", "h-half"], vec!["write edge-ratio"]),
        (vec!["panel", scores, "--write", "panel.toml"], vec!["panel.toml", "--force"]),
        (vec!["panel", scores, "--write", "a.svg", "--plot", "a.svg"], vec!["name the same file"]),
        (vec!["panel", "lost.csv"], vec!["lost.csv: no such file"]),
        (blend("lost.toml"), vec!["lost.toml: no such file"]),
        (blend("negative.toml"), vec!["negative.toml:12:12:", "exponent must lie between"]),
        (blend("mistyped.toml"), vec!["unknown key \"center_index\"", "\"centre_index\""]),
        (blend("lawless.toml"), vec!["lawless.toml:11:7:", "unknown law \"linear\""]),
        (blend("models.toml"), vec!["models.toml:", "gap_um is missing"]),
        (blend("shelf.toml"), vec!["shelf.toml:", "unknown key \"powder\""]),
        (vec!["aim", "aim-off.toml"], vec!["aim-off.toml:4:9:", "at most at 10, not 11"]),
        (vec!["aim", "aim-zero.toml"], vec!["aim-zero.toml:4:9:", "above 0"]),
        (vec!["aim", "aim-falls.toml"], vec!["aim-falls.toml:4:9:", "4, is above the second, 2"]),
        (vec!["aim", "aim-alone.toml"], vec!["aim-alone.toml:4:9:", "needs the panel's calibration"]),
        (vec!["aim", "aim-unscored.toml"], vec!["aim-unscored.toml:4:15:", "goes with score"]),
        (vec!["aim", "aim-both.toml"], vec!["aim-both.toml:4:9:", "keep one"]),
        (vec!["aim", "aim-lost.toml"], vec!["aim-lost.toml:5:15:", "lost.toml: no such file"]),
    ];
    for (args, wanted) in cases {
        let (code, out, message) = run_in(dir, &args);
        assert_eq!((code, out.as_str()), (2, ""), "{args:?}: {message}");
        for part in wanted {
            assert!(message.contains(part), "{args:?}: no {part:?} in: {message}");
        }
    }
    assert_eq!(fs::read_to_string(dir.join("panel.toml")).unwrap(), good);
}

#[test]
fn estimates_stay_within_reason_and_say_when_the_panel_is_silent() {
    let folder = workshop();
    let call = ["panel", "panel-scores.csv", "--json", "--estimate", "edge-ratio", "--estimate", "roundness:osier"];
    assert_eq!(run_in(folder.path(), &call).0, 2);
    let call =
        ["panel", "panel-scores.csv", "--json", "--estimate", "edge-ratio", "--estimate", "roundness:Rice bran, fine"];
    let (_, report) = json(folder.path(), &call);
    let estimates = report["estimates"].as_array().unwrap();
    assert_eq!(estimates.len(), 2);
    for e in estimates {
        let [value, low, high] = ["value", "p5", "p95"].map(|k| number(e, &[k]));
        let prior: Vec<f64> = e["prior"].as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect();
        assert!(low < value && value < high && low > prior[1] / 3.0 && high < prior[2] * 3.0, "{e}");
        assert!(number(e, &["narrowed"]) < 1.2, "{e}");
    }
}

#[test]
fn the_picture_names_every_scrub_and_no_label_lies_on_another() {
    let folder = workshop();
    let dir = folder.path();
    // Two scrubs that feel and count the same, and one with a hostile name.
    let polish = fs::read_to_string(dir.join("millrace-rice-polish.toml")).unwrap();
    fs::write(dir.join("twin.toml"), polish.replace("Millrace rice polish", "<b>Twin</b> & more")).unwrap();
    let scores = fs::read_to_string(dir.join("panel-scores.csv")).unwrap();
    let twins: String = scores
        .lines()
        .filter(|l| l.starts_with("millrace-rice"))
        .map(|l| l.replace("millrace-rice-polish", "twin") + "\n")
        .collect();
    fs::write(dir.join("twins.csv"), scores + &twins).unwrap();
    for (table, names) in [("panel-scores.csv", 6), ("twins.csv", 7)] {
        let (code, _, message) = run_in(dir, &["panel", table, "--plot", "p.svg", "--force"]);
        assert_eq!(code, 0, "{message}");
        let svg = fs::read_to_string(dir.join("p.svg")).unwrap();
        assert!(!svg.contains("NaN") && !svg.contains("<b>"));
        assert!(svg.contains("Weir foot scrub") && svg.contains("95 % interval"));
        assert_clear(table, &svg, 480.0);
        // Each number stands in its ring and in the legend.
        let boxes = text_boxes(&svg);
        assert!((1..=names).all(|n| boxes.iter().filter(|b| b.0 == n.to_string()).count() >= 2));
    }
}

pub(crate) const INDICES: [f64; 6] = [12.0, 40.0, 75.0, 130.0, 260.0, 600.0];

/// A panel of scores made by `score` of panellist and scrub.
pub(crate) fn panel(panellists: usize, score: impl Fn(usize, usize) -> f64) -> Panel {
    let scrubs = INDICES.iter().enumerate().map(|(i, &index)| Tested { name: format!("scrub {i}"), index });
    let pairs = (0..panellists).flat_map(|t| (0..INDICES.len()).map(move |s| (t, s)));
    Panel {
        scale: ScoreScale::new(0.0, 1000.0).unwrap(),
        scrubs: scrubs.collect(),
        panellists: (0..panellists).map(|t| format!("taster {t}")).collect(),
        days: Vec::new(),
        scores: pairs
            .map(|(panellist, scrub)| Score { scrub, panellist, day: 0, score: score(panellist, scrub) })
            .collect(),
    }
}

fn exponent(panel: &Panel) -> f64 {
    match analyse(panel, "test").fitted {
        Some(Fitted::Power(p)) => p.trend.slope,
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_exact_power_law_is_found_exactly() {
    let levels = [0.7, 1.0, 1.6];
    let exact = panel(3, |t, s| 0.3 * levels[t] * INDICES[s].powf(0.8));
    let found = analyse(&exact, "test");
    assert!((exponent(&exact) - 0.8).abs() < 1e-9);
    assert!(found.left_out_error.unwrap() < 1e-6 && (found.r2.unwrap() - 1.0).abs() < 1e-12);
    assert!(found.outliers.is_empty() && found.swapped.is_empty() && found.scrubs.iter().all(|s| !s.outlying));
    assert_eq!(found.standing, Standing::Calibrated);
    let c = found.calibration.unwrap();
    for index in [5.0, 80.0, 400.0] {
        let score = c.expected(index).score;
        assert!((c.index_at(score).unwrap() / index - 1.0).abs() < 1e-9);
        let mean = levels.iter().product::<f64>().cbrt();
        assert!((score / (0.3 * mean * f64::powf(index, 0.8)) - 1.0).abs() < 1e-9);
    }
}

#[test]
fn scores_that_do_not_follow_the_index_calibrate_nothing() {
    let shuffled = [130.0, 600.0, 12.0, 260.0, 40.0, 75.0];
    let found = analyse(&panel(5, |t, s| (1.0 + 0.1 * t as f64) * f64::powf(shuffled[s], 0.5)), "test");
    assert_eq!((&found.standing, &found.calibration), (&Standing::Unrelated, &None));
    assert!(found.spearman.unwrap().p > 0.05 && !found.swapped.is_empty());

    // Two groups of panellists without a scrub in common.
    let mut apart = panel(6, |t, s| (1.0 + 0.1 * t as f64) * INDICES[s].sqrt());
    apart.scores.retain(|s| (s.panellist < 3) == (s.scrub < 3));
    assert!(matches!(analyse(&apart, "test").standing, Standing::TooFew(why) if why[0].contains("share no taster")));

    let folder = workshop();
    let scores = fs::read_to_string(folder.path().join("panel-scores.csv")).unwrap();
    let turned = scores
        .replace("weir-foot", "x")
        .replace("sluice-oat-cream", "weir-foot-scrub")
        .replace("x-scrub", "sluice-oat-cream");
    fs::write(folder.path().join("turned.csv"), turned).unwrap();
    let (code, out, remark) = run_in(folder.path(), &["panel", "turned.csv", "--write", "t.toml"]);
    assert_eq!(code, 1, "{out}");
    assert!(
        out.contains("It cannot be said that the scores rise with the index") && remark.contains("was not written")
    );
}

#[test]
fn scrubs_with_one_score_are_level_and_ties_are_counted() {
    // The fourth and the fifth scrub are felt exactly alike, so the panel does not rank them as the index does.
    let even = |s: usize| INDICES[if s == 4 { 3 } else { s }].sqrt();
    let found = analyse(&panel(6, |_, s| even(s)), "test");
    assert_eq!((found.swapped, found.level), (Vec::new(), vec![(3, 4)]));
    // Of the 720 orders of six with one pair of equals two each way are as far out: 4 of 720.
    let spearman = found.spearman.unwrap();
    assert!(spearman.exact && (spearman.p - 4.0 / 720.0).abs() < 1e-12, "{spearman:?}");
}

#[test]
fn a_scrub_and_a_score_that_stand_apart_are_named() {
    let wobble = |t: usize, s: usize| 1.0 + 0.02 * ((7 * t + 5 * s) % 6) as f64;
    let lone =
        analyse(&panel(6, |t, s| wobble(t, s) * INDICES[s].sqrt() * if (t, s) == (2, 3) { 3.0 } else { 1.0 }), "test");
    assert!(matches!(lone.outliers.as_slice(), [o] if (o.panellist, o.scrub) == (2, 3)), "{:?}", lone.outliers);
    let off = analyse(&panel(6, |t, s| wobble(t, s) * INDICES[s].sqrt() * if s == 3 { 4.0 } else { 1.0 }), "test");
    let outlying: Vec<usize> = (0..6).filter(|i| off.scrubs[*i].outlying).collect();
    assert_eq!(outlying, [3]);
    assert!(off.outliers.is_empty(), "{:?}", off.outliers);
    assert_eq!(off.swapped, [(3, 4), (3, 5)]);
}

/// Pseudo-random standard normal numbers (the multiplier and increment of Knuth's MMIX).
pub(crate) struct Noise(pub(crate) u64);

impl Noise {
    pub(crate) fn next(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        normal::quantile(((self.0 >> 11) as f64 + 0.5) / (1_u64 << 53) as f64)
    }
}

/// The 95 % interval of the exponent holds the true one in 95 % of simulated panels when scrubs lie off the line, where an
/// interval that counted every score would hold it in far fewer; and in more when they lie on it.
#[test]
fn the_interval_of_the_exponent_covers_as_it_says() {
    const PANELS: usize = 2000;
    let x: Vec<f64> = INDICES.iter().map(|i| i.ln()).collect();
    let mut noise = Noise(2026);
    for (scrub_sd, score_sd, most) in [(0.3, 0.1, 0.96), (0.2, 0.25, 0.97), (0.05, 0.3, 1.0)] {
        let (mut held, mut naive) = (0, 0);
        for _ in 0..PANELS {
            let levels: Vec<f64> = (0..6).map(|_| 0.3 * noise.next()).collect();
            let deviations: Vec<f64> = (0..6).map(|_| scrub_sd * noise.next()).collect();
            let pairs = (0..6).flat_map(|t| (0..6).map(move |s| (t, s))).filter(|(t, s)| (t + 2 * s) % 9 != 4);
            let cells: Vec<Observation> = pairs
                .map(|(t, s)| {
                    let value = levels[t] + 0.6 * x[s] + deviations[s] + score_sd * noise.next();
                    Observation { block: t, group: s, value }
                })
                .collect();
            let count = cells.len() as f64;
            let trend = MixedLayout::new(cells, 6, 6).trend(&x).unwrap();
            let off = (trend.slope - 0.6).abs();
            held += usize::from(off <= student::quantile(0.975, trend.df) * trend.slope_se);
            let spread: f64 = x.iter().map(|v| (v - x.iter().sum::<f64>() / 6.0).powi(2)).sum();
            naive += usize::from(
                off <= student::quantile(0.975, count - 7.0) * (trend.noise_var / (spread * count / 6.0)).sqrt(),
            );
        }
        let share = held as f64 / PANELS as f64;
        assert!((0.94..=most).contains(&share), "{scrub_sd}, {score_sd}: held in {share}");
        if scrub_sd > score_sd {
            assert!((naive as f64 / PANELS as f64) < 0.6);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// What scale a panellist keeps to, and the order of the rows, change nothing about the exponent.
    #[test]
    fn a_panellists_level_does_not_count(
        factor in 0.2_f64..5.0,
        wobble in prop::collection::vec(0.7_f64..1.4, 24),
        turn in 0_usize..24,
    ) {
        let plain = panel(4, |t, s| 0.5 * wobble[6 * t + s] * INDICES[s].powf(0.7));
        let mut other = panel(4, |t, s| 0.5 * wobble[6 * t + s] * INDICES[s].powf(0.7) * if t == 1 { factor } else { 1.0 });
        other.scores.rotate_left(turn);
        prop_assert!((exponent(&plain) - exponent(&other)).abs() < 1e-7);
    }

    /// The expected score rises with the index and lies within its interval; and the way back leads home.
    #[test]
    fn calibrations_rise_and_turn_back(wobble in prop::collection::vec(0.8_f64..1.25, 24), coarse in any::<bool>()) {
        let felt = |t: usize, s: usize| 0.5 * wobble[6 * t + s] * INDICES[s].powf(0.5);
        let scores = panel(4, |t, s| if coarse { (felt(t, s) / 3.0).floor() } else { felt(t, s) });
        if let Some(c) = analyse(&scores, "test").calibration {
            let mut last = f64::NEG_INFINITY;
            for index in [15.0, 30.0, 60.0, 120.0, 240.0, 480.0] {
                let e = c.expected(index);
                prop_assert!(e.low <= e.score && e.score <= e.high && e.score > last);
                prop_assert!((c.index_at(e.score).unwrap() / index - 1.0).abs() < 1e-6);
                last = e.score;
            }
        }
    }
}

/// Scores of four panellists who go by an index that a quantity of the model, z, moves by `pull` of each scrub.
fn estimated(z: f64, pull: [f64; 6]) -> Posterior {
    let index = |s: usize, z: f64| INDICES[s] * z.powf(pull[s]);
    let noise = |t: usize, s: usize| 1.0 + 0.01 * ((5 * t + 3 * s) % 7) as f64;
    let scores = panel(4, |t, s| 0.5 * noise(t, s) * index(s, z).powf(0.6));
    let prior = Prior { value: 1.0, low: 0.5, high: 2.0, most: f64::INFINITY };
    let found = estimate(&scores, &[prior], &|v| (0..6).map(|s| index(s, v[0])).collect()).unwrap();
    found[0].clone()
}

#[test]
fn a_quantity_that_turns_scrubs_against_each_other_is_found_and_one_that_moves_all_alike_is_not() {
    let told = estimated(1.5, [0.0, 1.0, 0.0, 1.0, 0.0, 1.0]);
    assert!((told.mean / 1.5 - 1.0).abs() < 0.05 && told.low < 1.5 && 1.5 < told.high, "{told:?}");
    assert!(told.speaks() && told.narrowed < 0.3);
    // All indices moved by one factor leave the power law as good as it was: the range stands.
    let silent = estimated(1.5, [1.0; 6]);
    assert!(!silent.speaks(), "{silent:?}");
    let ends = [(silent.mean, 1.0), (silent.low, 0.5), (silent.high, 2.0)];
    assert!(ends.iter().all(|(got, want)| (got / want - 1.0).abs() < 0.02), "{silent:?}");
}
