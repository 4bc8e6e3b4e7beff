//! Blends that shall hold their band in so many draws, against draws that the search never saw and against brute force; least shares;
//! and what stands beside a blend.

use crate::common::shelves::{judge, meets_all, read_aim, scrub_of};
use crate::common::{run_in, tables};
use assert_cmd::Command;
use gritwise::aim::{Request, Target, likely_blends};
use gritwise::confidence::{Sampling, sure};
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const REQUEST: Request<'static> = Request { top: 3, resolution_g: None, explain: true, watch: None };

/// A shelf of invented powders.
const SHELF: &str = r#"
[[powder]]
name = "Walnut grit"
material = "walnut-shell"
size = { range_um = [150, 300] }
price_per_kg = 5.4

[[powder]]
name = "Corn cob meal"
material = "corn-cob"
size = { mesh = "-60+100" }
price_per_kg = 2.4
"#;

const AIM: &str = "index = [180, 300]\nband = \"face\"\nload_pct = [2, 6]\ngoal = \"cheapest\"";

#[test]
fn a_sure_blend_is_borne_out_by_draws_of_other_seeds_and_nothing_on_a_grid_is_as_sure_and_much_cheaper() {
    let folder = TempDir::new().unwrap();
    let face = judge().rank_of("face").unwrap();
    let share =
        |scrub: &_, draws, seed| sure(scrub, judge(), tables(), Sampling::new(draws, seed).unwrap()).share(face);
    // As stated the cheapest is far from sure, so that the draws have something to say.
    let plain = read_aim(folder.path(), SHELF, AIM).solve(judge(), 1, None).unwrap();
    assert!(share(&plain.blends[0].scrub, 4096, 7) < 0.8);

    let aim = read_aim(folder.path(), SHELF, &format!("{AIM}\nsure = 90"));
    let likely = likely_blends(&aim, judge(), tables(), &REQUEST).unwrap();
    assert!(likely.drawn_in && !likely.answer.blends.is_empty());
    for found in &likely.answer.blends {
        // Three standard errors of 16 384 random draws are 0.7 %; those of a quasi-random sequence are smaller.
        let fresh = share(&found.scrub, 16_384, 77);
        assert!(fresh >= 0.893, "{:?}: {fresh}", found.shares);
        assert!(aim.targets().iter().all(|t| aim.misses_by(*t, found, judge()) == 0.0));
    }
    let best = likely.answer.blends[0].objective.unwrap();
    let mut told = 0;
    for point in 0..26 * 26 {
        let pct = [f64::from(point % 26) * 0.16, f64::from(point / 26) * 0.24];
        let cost = (pct[0] * 5.4 + pct[1] * 2.4) / 100.0;
        let is_tried = pct.iter().sum::<f64>() >= 2.0 && cost < 0.97 * best;
        if is_tried && pct.iter().all(|p| *p == 0.0 || *p >= aim.least_pct) && meets_all(&aim, &pct) {
            let found = share(&scrub_of(&aim, &pct), 1024, 3);
            assert!(found < 0.905, "{pct:?} costs {cost} instead of {best} and is as sure: {found}");
            told += 1;
        }
    }
    assert!(told > 10, "only {told} points could have been better");
}

#[test]
fn no_blend_is_said_to_be_sure_that_is_not() {
    let folder = TempDir::new().unwrap();
    let aim = read_aim(folder.path(), SHELF, &format!("{}\nsure = 99", AIM.replace("[180, 300]", "[280, 300]")));
    let likely = likely_blends(&aim, judge(), tables(), &REQUEST).unwrap();
    assert!(likely.answer.blends.is_empty());
    let conflict = likely.answer.conflict.unwrap();
    assert!(!conflict.is_proven);
    assert_eq!(conflict.set.iter().map(|c| c.target).collect::<Vec<_>>(), [Target::Sure]);
    let (nearest, short) = (conflict.nearest.unwrap(), conflict.misses[0].1);
    let share = sure(&nearest.scrub, judge(), tables(), Sampling::VERDICT).share(judge().rank_of("face").unwrap());
    // The lesser of two sets of draws is told.
    assert!(short >= 100.0 * (0.99 - share) - 1e-9 && short < 100.0 * (0.99 - share) + 5.0, "{short} short at {share}");
}

#[test]
fn a_further_target_makes_no_sure_blend_cheaper() {
    // Which limit has to be drawn in hangs on the powders: a D99 asked for besides led to a blend of half the cost once.
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    let folder = TempDir::new().unwrap();
    for name in ["shelf.toml", "olive-stone-sieved.csv", "pumice-laser.csv", "bamboo-counts.csv"] {
        fs::copy(root.join(name), folder.path().join(name)).unwrap();
    }
    let shelf = fs::read_to_string(root.join("shelf.toml")).unwrap();
    let one = Request { top: 1, ..REQUEST };
    let cost = |more: &str| {
        let text = format!(
            "index = [150, 250]\nband = \"face\"\nload_pct = [2, 6]\nmax_powders = 3\nwithout = [\"nut\"]\ngoal = \"cheapest\"\n{more}"
        );
        let likely = likely_blends(&read_aim(folder.path(), &shelf, &text), judge(), tables(), &one).unwrap();
        likely.answer.blends[0].objective.unwrap()
    };
    let plain = cost("");
    let sure = cost("sure = 90");
    assert!(sure <= 1.01 * cost("sure = 90\nd99_um = 460"), "{sure}");
    // So many draws are met by one blend or another, and fewer of them cost less.
    let half = cost("sure = 50");
    assert!(plain <= half && half <= sure, "{plain} {half} {sure}");
}

#[test]
fn no_powder_is_a_trace() {
    // A pinch of a third powder would make each of these cheaper by a hair: it has to be worth weighing.
    let folder = TempDir::new().unwrap();
    let shelf = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/shelf.toml")).unwrap();
    let shelf: String =
        shelf.lines().filter(|l| !l.contains("min_pct") && !l.contains(".csv")).collect::<Vec<_>>().join("\n");
    let shelf = shelf.replace(
        "\n[[powder]]\nname = \"Olive stone, sieved\"\nmaterial = \"olive-stone\"",
        "\n[[powder]]\nname = \"Olive stone, sieved\"\nmaterial = \"olive-stone\"\nsize = { d50_um = 180, gsd = 1.5 }",
    );
    let shelf = shelf
        .replace("material = \"pumice-coarse\"", "material = \"pumice-coarse\"\nsize = { d50_um = 300, gsd = 1.5 }");
    for targets in [
        "index = [90, 95]\nload_pct = [3, 6]\nd99_um = 400",
        "index = [150, 150]\nload_pct = [2, 2.5]\nband = \"face\"",
    ] {
        let text = format!("{targets}\nmax_powders = 4\ngoal = \"cheapest\"");
        let aim = read_aim(folder.path(), &shelf, &text);
        let step_g = 0.4;
        for (resolution_g, least) in [(None, 0.1), (Some(step_g), 0.4)] {
            let answer = aim.solve(judge(), 5, resolution_g).unwrap();
            assert!(!answer.blends.is_empty(), "{text}");
            let shares = answer.blends.iter().flat_map(|b| b.shares.iter().map(|s| s.1));
            assert!(shares.clone().all(|pct| pct >= least - 1e-9), "{text}: {:?}", shares.collect::<Vec<_>>());
        }
    }
    // A balance too coarse for ten steps of every powder is told, and used.
    let text = "index = [90, 95]\nload_pct = [3, 6]\nmax_powders = 2\nbatch_g = 100\ngoal = \"cheapest\"";
    let answer = read_aim(folder.path(), &shelf, text).solve(judge(), 1, Some(0.5)).unwrap();
    assert!(answer.remarks.iter().any(|r| r.contains("10 steps of the balance")), "{:?}", answer.remarks);
}

fn aim_json(folder: &Path, text: &str) -> (i32, Value, String) {
    fs::write(folder.join("aim.toml"), text).unwrap();
    let (_, json, _) = run_in(folder, &["aim", "aim.toml", "--json"]);
    let (code, printed, complaint) = run_in(folder, &["aim", "aim.toml"]);
    (code, serde_json::from_str(&json).unwrap_or(Value::Null), printed + &complaint)
}

#[test]
fn beside_every_blend_stands_how_sure_it_is_and_what_to_mind() {
    let folder = TempDir::new().unwrap();
    let shelf = format!(
        "{SHELF}\n[[powder]]\nname = \"Pan salt\"\nmaterial = \"salt\"\nsize = {{ range_um = [200, 500] }}\nprice_per_kg = 1\n"
    );
    fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
    let head = "[aim]\nname = \"Beside\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\n";
    let (code, json, said) =
        aim_json(folder.path(), &format!("{head}band = \"body\"\nload_pct = [4, 8]\nindex = [300, 900]"));
    assert_eq!(code, 0, "{said}");
    for blend in json["blends"].as_array().unwrap() {
        let (sure, asked) = (blend["sure_pct"].as_f64().unwrap(), blend["asked_sure_pct"].as_f64().unwrap());
        assert!((0.0..=100.0).contains(&sure) && asked >= sure, "{blend}");
        assert!(blend["index_p5"].as_f64() < blend["index"].as_f64() && blend["nine_in_ten"].is_string());
        let names: Vec<&str> =
            blend["powders"].as_array().unwrap().iter().map(|p| p["name"].as_str().unwrap()).collect();
        let mind = blend["mind"].as_array().unwrap();
        let minds = |word: &str| mind.iter().any(|m| m.as_str().unwrap().contains(word));
        assert_eq!(names.contains(&"Walnut grit"), minds("nut allergy"), "{blend}");
        let over = &blend["over_the_rub"];
        assert_eq!(names.contains(&"Pan salt"), over.is_object(), "{blend}");
        if over.is_object() {
            assert!(over["low"].as_f64() < over["high"].as_f64() && over["value"].as_f64() < blend["index"].as_f64());
        }
    }
    assert!(
        said.contains("dissolves in water: Pan salt. Shares, index and band are of the powders as weighed"),
        "{said}"
    );
    let (code, _, said) = aim_json(
        folder.path(),
        &format!("{head}band = \"face\"\nload_pct = [5, 6]\nindex = [80, 200]\nwithout = [\"salt\"]"),
    );
    assert_eq!(code, 0, "{said}");
    assert!(said.contains("1. Band face; ") && said.contains(" of 100 draws fall into it or a milder one"), "{said}");
    assert!(!said.contains("dissolves in water"), "{said}");

    for (line, wrong) in [
        ("sure = 90", "sure is how many of 100 draws fall into the band asked for; add band = \"face\""),
        ("band = \"face\"\nsure = 0", "sure must lie above 0 and below 100"),
        ("band = \"face\"\nsure = 100", "sure must lie above 0 and below 100"),
        ("band = \"face\"\nsure = \"high\"", "sure"),
    ] {
        let (code, _, said) = aim_json(folder.path(), &format!("{head}{line}"));
        assert!(code == 2 && said.contains(wrong) && said.contains("aim.toml:"), "{line}: {code} {said}");
    }
}

#[test]
fn the_shipped_example_of_a_sure_band() {
    let output = Command::cargo_bin("gritwise")
        .unwrap()
        .current_dir(env!("CARGO_MANIFEST_DIR"))
        .args(["aim", "examples/aim-sure-face.toml", "--json"])
        .output()
        .unwrap();
    assert_eq!(output.status.code(), Some(0), "{}", String::from_utf8_lossy(&output.stderr));
    let json: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert!(json["blends"].as_array().unwrap().iter().all(|b| b["asked_sure_pct"].as_f64().unwrap() >= 90.0), "{json}");
    assert_eq!(json["proven"], false);
    assert!(
        json["targets"].as_array().unwrap().iter().any(|t| t.as_str().unwrap().contains("at least 90 of 100 draws"))
    );
}
