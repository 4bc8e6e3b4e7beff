//! What holds grains in their base, what becomes of them where nothing does, and scrubs without water.

use crate::common::{assert_near, run_in};
use gritwise::formula::settling::slump_stress;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

/// A scrub of `load` % of a powder in a base, with further lines of [base], [use] and ingredients.
fn scrub(load: f64, powder: &str, base: &str, usage: &str, ingredients: &str) -> String {
    format!(
        "[scrub]\nname = \"Weir\"\npowder_load_pct = {load}\n[base]\n{base}\n[fill]\ncontainer_ml = 200\njar = true\n[use]\n{usage}\n\
         [[phase]]\nname = \"All\"\n{ingredients}\n[[powder]]\n{powder}\nparts = 1\nphase = \"All\"\n"
    )
}

const OIL: &str = "[[phase.ingredient]]\nname = \"Oil\"\ninci = \"Helianthus Annuus Seed Oil\"\nfill = true";
const WATER: &str = "[[phase.ingredient]]\nname = \"Water\"\ninci = \"Aqua\"\nfill = true";
const SUGAR: &str = "material = \"sugar\"\nsize = { d50_um = 450, gsd = 1.4 }";
const PUMICE: &str = "material = \"pumice\"\nsize = { d50_um = 150, gsd = 1.4 }";

fn run(text: &str) -> (i32, String, String) {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), text).unwrap();
    run_in(folder.path(), &["formula", "scrub.toml", "--json"])
}

fn check(text: &str, key: &str) -> Value {
    let (status, out, message) = run(text);
    assert!(status < 2, "{message}");
    let report: Value = serde_json::from_str(&out).unwrap();
    report["checks"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap().clone()
}

fn says(check: &Value, verdict: &str, words: &[&str]) {
    assert_eq!(check["verdict"], verdict, "{check}");
    words.iter().for_each(|w| assert!(check["why"].as_str().unwrap().contains(w), "no {w:?} in {check}"));
}

#[test]
fn a_bed_of_grains_is_stirred_and_never_sinks_farther_than_its_jar() {
    let thin = "density_g_cm3 = 0.92\nviscosity_pa_s = 0.06";
    // 60 / 1.59 of sugar beside 40 / 0.92 of oil: 46.5 % of the volume, of some 53 % where grains rest on each other.
    let bed = check(&scrub(60.0, SUGAR, thin, "kind = \"oil\"", OIL), "suspension");
    says(&bed, "caution", &["a bed of grains", "stir before use", "46.5 % of the volume", "clear liquid above"]);
    // Few grains in the same oil are a suspension that failed; and the way ends at the bottom of 200 mL, 63 mm.
    let few = check(&scrub(5.0, SUGAR, thin, "kind = \"oil\"", OIL), "suspension");
    says(&few, "stop", &["clear liquid above"]);
    let way = few["value"].as_f64().unwrap();
    assert!(way > 40.0 && way < 63.4, "{way}");
}

#[test]
fn a_yield_stress_comes_from_home_tests_and_from_the_gum() {
    // Pashias, Boger, Summers and Glenister 1996: s/H = 1 - 2t (1 - ln 2t); t = 0.2 gives 0.2335.
    let slump = 1.0 - 0.4 * (1.0 - 0.4_f64.ln());
    assert_near("slump, dimensionless", slump, 0.2335, 0.0, 5e-5);
    let stress = slump_stress(1000.0, 0.05, 0.05 * slump, 9.806_65).unwrap();
    assert_near("slump of a cylinder", stress, 0.2 * 1000.0 * 9.806_65 * 0.05, 1e-9, 0.0);
    let with = |base: &str, more: &str| {
        let text = scrub(5.0, PUMICE, &format!("density_g_cm3 = 1.0\n{base}"), "", &format!("{WATER}\n{more}"));
        check(&text, "suspension")
    };
    says(&with("slump = { height_mm = 50, slump_mm = 20 }", ""), "pass", &["by its slump"]);
    // 0.143/3 and 0.2 of d drho g, of a bead of 2 mm and 2.5 g/cm3: 1.40 to 5.88 Pa.
    says(&with("bead = { mm = 2, density_g_cm3 = 2.5 }", ""), "pass", &["by the bead that just stays 1.4 to 5.88 Pa"]);
    let gum = |inci: &str, pct: f64| format!("[[phase.ingredient]]\nname = \"Gum\"\ninci = \"{inci}\"\npct = {pct}");
    says(&with("", &gum("Xanthan Gum", 0.9)), "caution", &["xanthan gum in the water gives some", "an estimate"]);
    // Below 0.4 % none was measured; a cellulose thickens without a yield stress; carbomer needs its pH.
    for (inci, pct, base) in
        [("Xanthan Gum", 0.2, ""), ("Hydroxyethylcellulose", 1.0, ""), ("Carbomer", 0.3, "ph = 4.0")]
    {
        assert_ne!(with(base, &gum(inci, pct))["verdict"], "pass", "{inci}");
        assert!(with(base, &gum(inci, pct))["value"].as_f64().unwrap() < 1e-9, "{inci}");
    }
    // What gives no yield stress as a rule does not make a stop of the viscosity a caution: 1 % of it at 0.3 Pa s holds no pumice.
    for more in [gum("Hydroxyethylcellulose", 1.0), gum("Carbomer", 0.3), String::new()] {
        says(&with("viscosity_pa_s = 0.3\nph = 4.0", &more), "stop", &["mm an hour at 0.3 Pa·s"]);
    }
    // More gum than was measured gives no less; of one that the table lacks nobody knows.
    for pct in [1.5, 1.9, 5.0] {
        says(&with("viscosity_pa_s = 0.3", &gum("Xanthan Gum", pct)), "caution", &["an estimate"]);
    }
    let gellan = gum("Gellan Gum", 0.1) + "\nfunctions = [\"thickener\"]";
    says(&with("viscosity_pa_s = 0.3", &gellan), "not-judged", &["what yield stress Gum gives"]);
    says(&with("", ""), "not-judged", &["bead = {", "slump = {"]);
}

#[test]
fn kinds_without_water_are_not_asked_for_what_they_do_not_have() {
    let acid = "[[phase.ingredient]]\nname = \"Citric acid\"\ninci = \"Citric Acid\"\npct = 10\nfunctions = [\"acid\"]\n\
                [[phase.ingredient]]\nname = \"Soda\"\ninci = \"Sodium Bicarbonate\"\npct = 12\n\
                [[phase.ingredient]]\nname = \"Rice starch\"\ninci = \"Oryza Sativa Starch\"\nfill = true\n\
                [[phase.ingredient]]\nname = \"Benzoate\"\ninci = \"Sodium Benzoate\"\npct = 0.3\nfunctions = [\"preservative\"]";
    let plan = "[acid]\nkey = \"citric\"\nfinal_ph = 4\n[[phase]]";
    let dry = scrub(20.0, SUGAR, "", "kind = \"dry\"", acid).replace("[[phase]]", plan);
    let acid_free = check(&dry, "acid-free");
    says(&acid_free, "caution", &["fizz as soon as they are wet"]);
    assert!(acid_free["open"][0].as_str().unwrap().contains("nine parts of water"), "{acid_free}");
    says(&check(&dry, "suspension"), "pass", &["dry scrub"]);
    says(&check(&dry, "solids"), "pass", &["dry scrub"]);
    says(&check(&dry, "preservative"), "caution", &["its pH is not asked for", "in one phase with Citric acid"]);
    // Nor is a pH asked for, with a plan or without one; what fizzes does so in any case.
    says(&check(&dry.replace("final_ph = 4\n", ""), "ph-window"), "not-judged", &["no pH of its own"]);
    assert!(!check(&dry, "double-exfoliation").to_string().contains("watery phase"));
    let unplanned = check(&dry.replace("[acid]\nkey = \"citric\"\nfinal_ph = 4\n", ""), "acid-free");
    says(&unplanned, "caution", &["fizz as soon as they are wet"]);
    assert!(unplanned["open"].to_string().contains("add [acid] with key\""), "{unplanned}");
    // The same without a word of what it is cannot be judged.
    let unsaid = dry.replace("kind = \"dry\"", "");
    says(&check(&unsaid, "acid-free"), "stop", &["fizz"]);
    assert!(check(&unsaid, "preservative")["open"].to_string().contains("no watery phase"));
}

#[test]
fn wrong_tests_and_kinds_are_refused_with_place_and_remedy() {
    for (base, usage, words) in [
        ("", "kind = \"paste\"", "unknown kind \"paste\"; known: cream, gel, oil, balm, dry"),
        ("bead = { mm = 2 }", "", "density_g_cm3"),
        ("slump = { height_mm = 50, slump_mm = 60 }", "", "must be less than height_mm"),
        ("yield_stress_pa = 3\nbead = { mm = 2, density_g_cm3 = 2 }", "", "bead"),
        ("bead = { mm = 2, density_g_cm3 = 2, weight = 1 }", "", "weight"),
    ] {
        let (status, _, message) = run(&scrub(5.0, PUMICE, base, usage, WATER));
        assert_eq!(status, 2, "{base} {usage}: {message}");
        assert!(message.contains(words) && message.contains("scrub.toml:"), "{base} {usage}: {message}");
    }
}
