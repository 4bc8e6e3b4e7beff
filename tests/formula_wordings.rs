//! `gritwise formula`, `batch`, `label`, `stand-in`: a fact is the same fact in whatever words a file puts it, and what a file leaves out
//! does not pass.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

const OIL: &str = "Helianthus Annuus (Sunflower) Seed Oil | fill = true";
const WATER: &str = "Aqua | fill = true";
const KEPT: &str = "Phenoxyethanol | pct = 0.8 | functions = [\"preservative\"]";

/// A scrub of these ingredients, each `INCI | key = value | ...`, in one phase at 30 °C; `head` is what stands before it.
fn scrub(head: &str, ingredients: &[&str], powder: &str) -> String {
    let mut text =
        format!("[scrub]\nname = \"T\"\npowder_load_pct = 20\n{head}\n[[phase]]\nname = \"P\"\ntemperature_c = 30\n");
    for line in ingredients {
        let (inci, rest) = line.split_once(" | ").unwrap();
        let inci = if inci.is_empty() {
            "name = \"A blend\"".to_owned()
        } else {
            format!("name = \"{inci}\"\ninci = \"{inci}\"")
        };
        text += &format!("[[phase.ingredient]]\n{inci}\n{}\n", rest.replace(" | ", "\n"));
    }
    text + &format!("[[powder]]\nname = \"Grains\"\nparts = 1\nphase = \"P\"\n{powder}\n")
}

const PUMICE: &str = "material = \"pumice\"\nsize = { d50_um = 100, gsd = 1.4 }";
const SUGAR: &str = "material = \"sugar\"\nsize = { d50_um = 350, gsd = 1.4 }";
const RINSED: &str = "[base]\nph = 5.5\n[use]\nrinse_off = true\nregions = [\"EU\"]";

fn run(text: &str, args: &[&str]) -> (i32, String) {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    let (status, out, error) = run_in(folder.path(), args);
    assert!(status < 2, "{error}");
    (status, out)
}

/// The verdict and the words of a check.
fn check(text: &str, key: &str) -> (String, String) {
    let report: Value = serde_json::from_str(&run(text, &["formula", "scrub.toml", "--json"]).1).unwrap();
    let check = report["checks"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap();
    (check["verdict"].as_str().unwrap().to_owned(), format!("{} {}", check["why"], check["open"]))
}

/// EU Annex V/39: 0.0015 % of the mixture, from memory.
#[test]
fn the_isothiazolinone_mixture_is_limited_in_every_wording() {
    let mixture = "Methylchloroisothiazolinone (and) Methylisothiazolinone | pct = 0.2 | strength_pct = 1.5";
    let parts = " | pct = 0.2 | parts = [{ inci = \"Methylchloroisothiazolinone\", pct = 1.1 }, \
                 { inci = \"Methylisothiazolinone\", pct = 0.4 }, { inci = \"Aqua\", pct = 98.5 }]";
    let lines = ["Methylchloroisothiazolinone | pct = 0.0022", "Methylisothiazolinone | pct = 0.0008"];
    for brings in [vec![mixture], vec![parts], lines.to_vec()] {
        let (verdict, why) = check(&scrub(RINSED, &[&[WATER, KEPT], &brings[..]].concat(), PUMICE), "preservative");
        assert!(verdict == "stop" && why.contains("0.003 %") && why.contains("V/39"), "{brings:?}: {why}");
    }
    let half = ["Methylchloroisothiazolinone | pct = 0.001", "Methylisothiazolinone | pct = 0.0004", WATER, KEPT];
    assert_ne!(check(&scrub(RINSED, &half, PUMICE), "preservative").0, "stop");
}

/// EU Annex V/12 and V/12a, from memory: as acid 0.4 % of an ester, 0.14 % of propyl and butyl, 0.8 % of all. Shares by molar masses:
/// C8H8O3 152.15, its sodium salt 174.13, C10H12O3 180.20, C7H6O3 138.12 g/mol.
#[test]
fn parabens_count_with_their_salts() {
    let judged = |lines: &[&str]| check(&scrub(RINSED, &[&[WATER, KEPT], lines].concat(), PUMICE), "preservative");
    let (verdict, why) = judged(&["Methylparaben | pct = 0.3", "Sodium Methylparaben | pct = 0.2"]);
    let pct = 0.3 * 138.12 / 152.15 + 0.2 * 138.12 / 174.13;
    assert!(verdict == "stop" && why.contains(&format!("{pct:.3} % methylparaben")), "{why}");
    assert_ne!(judged(&["Methylparaben | pct = 0.2", "Sodium Methylparaben | pct = 0.2"]).0, "stop");
    let (verdict, why) = judged(&["Propylparaben | pct = 0.19"]);
    assert!(verdict == "stop" && why.contains("V/12a"), "{why}");
    let all = ["Methylparaben | pct = 0.43", "Ethylparaben | pct = 0.4", "Propylparaben | pct = 0.17"];
    assert!(judged(&all).1.contains("of EU Annex V/12 together is over the 0.8 %"), "{:?}", judged(&all));
    assert!(!judged(&all[..2]).1.contains("together"));
}

#[test]
fn water_that_nobody_told_of_is_asked_for_with_a_preservative_too() {
    let oil = "[use]\nrinse_off = true\nregions = [\"EU\"]\nkind = \"oil\"";
    for wet in ["Cocamidopropyl Betaine", "Decyl Glucoside", "Mel", "Lac (Milk)", "Persea Gratissima (Avocado) Fruit"] {
        for kept in [&[][..], &[KEPT]] {
            let text = scrub(oil, &[&[OIL, &format!("{wet} | pct = 15")], kept].concat(), SUGAR);
            for key in ["preservative", "soluble"] {
                let (verdict, why) = check(&text, key);
                assert!(verdict == "not-judged" && why.contains("holds water is not known"), "{wet}, {key}: {why}");
            }
        }
    }
    for dry in ["Persea Gratissima (Avocado) Oil", "Theobroma Cacao (Cocoa) Seed Butter"] {
        let (verdict, why) = check(&scrub(oil, &[OIL, &format!("{dry} | pct = 15"), KEPT], SUGAR), "preservative");
        assert_eq!(verdict, "pass", "{dry}: {why}");
    }
}

/// CIR 1998 (pH 3.5 or more, 10 %), EU Annex III/98 (2 %).
#[test]
fn limits_of_acids_hold_without_a_plan_for_one() {
    let us = "[base]\nph = 3.1\n[use]\nrinse_off = true\nregions = [\"US\"]";
    let (verdict, why) = check(&scrub(us, &[WATER, KEPT, "Glycolic Acid | pct = 0.45"], PUMICE), "ph-window");
    assert!(verdict == "stop" && why.contains("taken to set the pH"), "{why}");
    let mild = us.replace("3.1", "4.2");
    assert_eq!(check(&scrub(&mild, &[WATER, KEPT, "Glycolic Acid | pct = 0.45"], PUMICE), "ph-window").0, "pass");
    for (pct, wanted) in [(1.9, "not-judged"), (2.1, "stop")] {
        let text = scrub(RINSED, &[WATER, KEPT, &format!("Salicylic Acid | pct = {pct}")], PUMICE);
        assert_eq!(check(&text, "acid-active").0, wanted, "{pct}");
    }
    // Advice is about exfoliants.
    let (verdict, _) =
        check(&scrub(&RINSED.replace("5.5", "4.6"), &[WATER, KEPT, "Lactic Acid | pct = 0.1"], PUMICE), "ph-window");
    assert_eq!(verdict, "pass");
}

/// Sodium hydroxide for lactic acid at its pKa: half a mole of 90.08 g/mol, 40.0 g/mol.
#[test]
fn acid_and_lye_without_functions_go_into_vessels_of_their_own() {
    let head = "[acid]\nkey = \"lactic\"\nfinal_ph = 3.86\n[use]\nrinse_off = true\nregions = [\"US\"]";
    let with = |functions: [&str; 2]| {
        let acid = format!("Lactic Acid | pct = 4{}", functions[0]);
        let lye = format!("Sodium Hydroxide | pct = 1{}", functions[1]);
        run(&scrub(head, &[WATER, KEPT, &acid, &lye], PUMICE), &["batch", "scrub.toml", "--mass", "1kg"]).1
    };
    let plain = with(["", ""]);
    assert_eq!(plain, with([" | functions = [\"acid\"]", " | functions = [\"neutraliser\"]"]));
    assert!(plain.contains("Lactic Acid: weigh it into a vessel of its own"), "{plain}");
    let needs = plain.split("needs about ").nth(1).unwrap().split(' ').next().unwrap().parse::<f64>().unwrap();
    let half = 0.5 * 40.0 / 90.08 * 40.0;
    assert!((needs / half - 1.0).abs() < 0.1, "{needs} for some {half}: {plain}");
}

#[test]
fn scented_oils_are_known_by_more_names() {
    let told = |inci: &str| check(&scrub(RINSED, &[WATER, KEPT, &format!("{inci} | pct = 1")], PUMICE), "allergens").0;
    for inci in [
        "Elettaria Cardamomum Seed Oil",
        "Foeniculum Vulgare (Fennel) Seed Oil",
        "Matricaria Recutita Flower Oil",
        "Aniba Rosaeodora Wood Oil",
        "Natural Fragrance",
    ] {
        assert_eq!(told(inci), "not-judged", "{inci}");
    }
    for inci in ["Citrus Grandis (Grapefruit) Seed Oil", "Salvia Hispanica Seed Oil"] {
        assert_ne!(told(inci), "not-judged", "{inci}");
    }
    let hot = scrub(RINSED, &[WATER, KEPT, "Lavandula Angustifolia Oil | pct = 1"], PUMICE);
    assert_eq!(check(&hot.replace("temperature_c = 30", "temperature_c = 75"), "cool-down").0, "caution");
}

#[test]
fn what_a_file_contradicts_does_not_pass() {
    for kind in ["dry", "balm"] {
        let head = format!(
            "[base]\ndensity_g_cm3 = 1.02\nviscosity_pa_s = 0.5\nph = 5.5\n[use]\nrinse_off = true\nkind = \"{kind}\""
        );
        let (verdict, why) = check(&scrub(&head, &[WATER, KEPT], PUMICE), "suspension");
        assert!(verdict == "stop" && why.contains("leave out what does not hold"), "{kind}: {why}");
    }
    // ISO 29621, recalled: pH 10 and more, or over 20 % alcohol, is low risk, and no reason to stop.
    let soap = "[base]\nph = 10.2\n[use]\nrinse_off = true";
    assert_eq!(check(&scrub(soap, &[WATER], PUMICE), "preservative").0, "caution");
    assert_eq!(check(&scrub(&soap.replace("10.2", "9.8"), &[WATER], PUMICE), "preservative").0, "stop");
    for (pct, wanted) in [(21, "caution"), (19, "stop")] {
        let text = scrub(&soap.replace("10.2", "6"), &[WATER, &format!("Alcohol Denat. | pct = {pct}")], PUMICE);
        assert_eq!(check(&text, "preservative").0, wanted, "{pct}");
    }
}

#[test]
fn one_substance_is_one_entry_of_a_label() {
    let text = scrub(
        RINSED,
        &[
            WATER,
            KEPT,
            "Glycerin | pct = 3",
            "Butyrospermum Parkii Butter | pct = 2",
            "Butyrospermum Parkii (Shea) Butter | pct = 2",
            "CI 19140 | pct = 5",
        ],
        PUMICE,
    );
    let label: Value = serde_json::from_str(&run(&text, &["label", "scrub.toml", "--json"]).1).unwrap();
    let list = label["list"].as_str().unwrap_or_else(|| panic!("{label}")).to_owned();
    assert!(list.contains("Butyrospermum Parkii (Shea) Butter, Glycerin") && list.ends_with("CI 19140"), "{list}");
    assert_eq!(list.matches("Butyrospermum").count(), 1, "{list}");
}

/// Perlite so soft that its share is solved to four fifths of the scrub: too much to be a paste.
#[test]
fn a_stand_in_that_leaves_no_base_comes_last() {
    let text = "[scrub]\nname = \"T\"\npowder_load_pct = 5\n[[powder]]\nname = \"Walnut\"\nmaterial = \"walnut-shell\"\nparts = 1\n\
                size = { d50_um = 300, gsd = 1.4 }\n";
    let call = ["stand-in", "scrub.toml", "--for", "walnut", "--top", "60", "--json"];
    let report: Value = serde_json::from_str(&run(text, &call).1).unwrap();
    let all = report["stand_ins"].as_array().unwrap();
    let wrong = |s: &Value| s["wrong_here"].to_string();
    let full: Vec<usize> = (0..all.len()).filter(|i| wrong(&all[*i]).contains("too dry to flow")).collect();
    assert!(!full.is_empty() && full.iter().all(|i| all[*i]["pct_of_scrub"].as_f64().unwrap() > 50.0), "{report}");
    assert!(all[..full[0]].iter().all(|s| s["pct_of_scrub"].as_f64().unwrap() < 90.0), "{report}");
}
