//! Unknown never passes: open points, doses and reach of preservatives, actives outside the tables, grains among the ingredients,
//! lists, traces, markets and dates, plastic by its names; and sheets as they are weighed.
//!
//! Amounts that are usual, and what a preservative reaches, are facts of the trade: common practice, no source, as the tables say.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

const WATER: &str = "Aqua | fill = true";
const PHENOXYETHANOL: &str = "Phenoxyethanol | pct = 0.8 | functions = [\"preservative\"]";
const BENZOATE: &str = "Sodium Benzoate | pct = 0.5 | functions = [\"preservative\"]";
const PUMICE: &str =
    "[[powder]]\nname = \"Pumice\"\nmaterial = \"pumice\"\nparts = 1\nsize = { d50_um = 100, gsd = 1.4 }\n";
const CELLULOSE: &str =
    "[[powder]]\nname = \"Beads\"\nmaterial = \"cellulose-bead\"\nparts = 1\nsize = { d50_um = 200, gsd = 1.4 }\n";

/// A scrub file whose ingredients are each `INCI | key = value | ...`.
struct Scrub {
    usage: String,
    base: String,
    acid: String,
    powders: String,
    ingredients: Vec<String>,
}

fn scrub(ingredients: &[&str]) -> Scrub {
    Scrub {
        usage: "rinse_off = true\nper_week = 2".to_owned(),
        base: "density_g_cm3 = 1.03\nyield_stress_pa = 12\nph = 4.8".to_owned(),
        acid: String::new(),
        powders: PUMICE.to_owned(),
        ingredients: ingredients.iter().map(|i| (*i).to_owned()).collect(),
    }
}

/// Water, well preserved, and more.
fn sound(more: &[&str]) -> Scrub {
    scrub(&[&[WATER, PHENOXYETHANOL, BENZOATE], more].concat())
}

impl Scrub {
    fn text(&self) -> String {
        let mut text = format!("[scrub]\nname = \"T\"\npowder_load_pct = 5\n[base]\n{}\n", self.base);
        if !self.acid.is_empty() {
            text += &format!("[acid]\n{}\n", self.acid);
        }
        text += &format!("[use]\n{}\n[[phase]]\nname = \"P\"\ntemperature_c = 30\n", self.usage);
        for (place, ingredient) in self.ingredients.iter().enumerate() {
            let (inci, rest) = ingredient.split_once(" | ").unwrap();
            let keys = rest.replace(" | ", "\n");
            text += &format!("[[phase.ingredient]]\nname = \"No {place}\"\ninci = \"{inci}\"\n{keys}\n");
        }
        // A name without an INCI name stands in brackets.
        text.replace("inci = \"(none)\"\n", "") + &self.powders
    }

    fn run(&self, args: &[&str]) -> (i32, String, String) {
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("scrub.toml"), self.text()).unwrap();
        run_in(folder.path(), args)
    }

    fn json(&self, args: &[&str]) -> (i32, Value) {
        let (status, out, message) = self.run(&[args, &["--json"]].concat());
        assert!(status < 2, "{message}");
        (status, serde_json::from_str(&out).unwrap())
    }

    fn check(&self, key: &str) -> Value {
        let (_, report) = self.json(&["formula", "scrub.toml"]);
        report["checks"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap().clone()
    }

    /// Asserts a verdict, and words that `why` or `open` hold.
    fn expect(&self, key: &str, verdict: &str, words: &[&str]) -> Value {
        let check = self.check(key);
        assert_eq!(check["verdict"], verdict, "{check}");
        let said = format!("{} {}", check["why"], check["open"]);
        for word in words {
            assert!(said.contains(word), "no {word:?} in {check}");
        }
        check
    }

    fn batch(&self, args: &[&str]) -> (i32, Value) {
        self.json(&[&["batch", "scrub.toml"], args].concat())
    }
}

fn open(check: &Value) -> Vec<&str> {
    check["open"].as_array().unwrap().iter().map(|p| p.as_str().unwrap()).collect()
}

#[test]
fn a_check_has_a_verdict_and_its_open_points() {
    // A caution on silica dust beside a powder that nobody knows.
    let unknown = "[[powder]]\nname = \"Grit\"\nparts = 1\ndensity_g_cm3 = 1.4\nhardness_gpa = 0.1\nroundness = 0.4\n\
        size = { d50_um = 100, gsd = 1.4 }\n";
    let mut both = sound(&[]);
    both.powders = PUMICE.to_owned() + unknown;
    let dust = both.expect("silica-dust", "caution", &[]);
    assert_eq!(open(&dust).len(), 1, "{dust}");
    assert!(open(&dust)[0].contains("Grit") && !dust["why"].as_str().unwrap().contains("Grit"), "{dust}");
    let (_, text, _) = both.run(&["formula", "scrub.toml"]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("open silica-dust, not judged: crystalline silica of Grit is not known"), "{text}");
    // What is not judged alone stands in both.
    let annexes = both.expect("annexes", "not-judged", &["Pumice"]);
    assert!(!open(&annexes).is_empty());
    let (_, report) = both.json(&["formula", "scrub.toml"]);
    for check in report["checks"].as_array().unwrap() {
        assert!(check["verdict"] != "pass" || open(check).is_empty(), "{check} passes with open points");
        assert!(check["verdict"] != "not-judged" || !open(check).is_empty(), "{check}");
    }
}

#[test]
fn a_dossier_counts_cautions_and_open_points_by_name() {
    let out = TempDir::new().unwrap();
    let folder = out.path().join("dossier");
    let args = ["dossier", "scrub.toml", "--out", folder.to_str().unwrap(), "--draws", "1000"];
    let (status, text, message) = sound(&[]).run(&args);
    assert_eq!(status, 0, "{message}");
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("Stopped by: none Cautions of checks: "), "{flat}");
    assert!(flat.contains("Open points: 4: filling (2), annexes (1), traces (1)"), "{flat}");
    let markdown = fs::read_to_string(folder.join("dossier.md")).unwrap();
    assert!(markdown.contains("| traces | Pumice: ask for lead"), "{markdown}");
}

#[test]
fn a_trace_of_preservative_does_not_pass_and_sorbate_guards_against_no_bacteria() {
    let only =
        |inci: &str, pct: f64| scrub(&[WATER, &format!("{inci} | pct = {pct} | functions = [\"preservative\"]")]);
    only("Phenoxyethanol", 0.001).expect("preservative", "stop", &["a trace", "nothing here guards against bacteria"]);
    only("Phenoxyethanol", 0.3).expect("preservative", "caution", &["0.5 to 1 % are usual"]);
    only("Potassium Sorbate", 0.3).expect("preservative", "stop", &["against bacteria"]);
    only("Phenoxyethanol", 0.8).expect("preservative", "caution", &["hardly against yeast, mould"]);
    // Together they reach all three; the pH is another matter.
    let both = scrub(&[WATER, PHENOXYETHANOL, "Potassium Sorbate | pct = 0.3 | functions = [\"preservative\"]"]);
    both.expect("preservative", "pass", &[]);
    // One that the table does not hold may be the one that reaches.
    let strange = "Osier Bark Water | pct = 1 | functions = [\"preservative\"]";
    let unknown = scrub(&[WATER, "Potassium Sorbate | pct = 0.3 | functions = [\"preservative\"]", strange]);
    unknown.expect("preservative", "not-judged", &["unless No 2 does"]);
    // Stated parts count: 1 % of a blend of 90 % phenoxyethanol.
    let parts = "parts = [{ inci = \"Phenoxyethanol\", pct = 90 }, { inci = \"Osier Glycol\", pct = 10 }]";
    let blend = scrub(&[
        WATER,
        &format!("Phenoxyethanol + Osier Glycol | pct = 1 | functions = [\"preservative\"] | {parts}"),
        "Potassium Sorbate | pct = 0.3 | functions = [\"preservative\"]",
    ]);
    blend.expect("preservative", "pass", &[]);
    // Where nothing grows none is asked for.
    let mut dry = only("Potassium Sorbate", 0.3);
    dry.base += "\nwater_activity = 0.6";
    dry.expect("preservative", "pass", &[]);
}

#[test]
fn water_activity_in_which_microbes_grow_is_no_pass() {
    let mut wet = sound(&[]);
    wet.base += "\nwater_activity = 0.95";
    let check = wet.expect("microbes", "caution", &["water activity 0.95: microbes can grow"]);
    // ISO 29621:2017: low risk up to 0.75.
    assert_eq!((check["value"].as_f64(), check["limit"].as_f64()), (Some(0.95), Some(0.75)));
    wet.base = wet.base.replace("0.95", "0.6");
    wet.expect("microbes", "pass", &["low risk"]);
}

#[test]
fn actives_outside_the_tables_are_told() {
    for active in [
        "Retinol",
        "Retinyl Palmitate",
        "Hydroxypinacolone Retinoate",
        "Benzoyl Peroxide",
        "Papain",
        "Bromelain",
        "Hydroquinone",
        "Trichloroacetic Acid",
    ] {
        let check = sound(&[&format!("{active} | pct = 0.2")]).check("double-exfoliation");
        assert!(["caution", "not-judged"].contains(&check["verdict"].as_str().unwrap()), "{active}: {check}");
        assert!(check["why"].as_str().unwrap().contains("No 3 (0.2 %)"), "{active}: {check}");
    }
    for acid in ["Azelaic Acid", "Lactobionic Acid", "Trichloroacetic Acid"] {
        for key in ["acid-active", "acid-free", "ph-window", "double-exfoliation"] {
            sound(&[&format!("{acid} | pct = 5")]).expect(key, "not-judged", &["No 3 (5 %)"]);
        }
    }
    sound(&["Urea | pct = 12"]).expect("double-exfoliation", "caution", &["loosens horn"]);
    for none in ["Urea | pct = 3", "Diazolidinyl Urea | pct = 0.3", "Glycerin | pct = 5"] {
        sound(&[none]).expect("double-exfoliation", "pass", &[]);
    }
    // What may be anything is no pass, what says what it is for is.
    let mut bare = sound(&["(none) | pct = 1"]);
    for key in ["acid-active", "acid-free", "ph-window", "double-exfoliation", "allergens"] {
        bare.expect(key, "not-judged", &["No 3"]);
    }
    bare.ingredients[3] = "(none) | pct = 1 | functions = [\"oil\"]".to_owned();
    bare.expect("acid-active", "pass", &[]);
    bare.expect("allergens", "not-judged", &["No 3"]);
    // By name where there is no INCI name.
    let mut named = sound(&[]);
    named.ingredients.push("(none) | pct = 1".to_owned());
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("s.toml"), named.text().replace("No 3", "Retinol drops")).unwrap();
    let (_, out, _) = run_in(folder.path(), &["formula", "s.toml"]);
    assert!(out.contains("Retinol drops (1 %)") && out.contains("without an INCI name: Retinol drops"), "{out}");
}

#[test]
fn grains_among_the_ingredients_are_seen() {
    let words = ["neither index nor band", "[[powder]]"];
    // Water takes 200 g of sugar and 35.9 g of salt in 100 mL (handbooks): 20 % of sugar in 75 % of water are gone.
    sound(&["Sucrose | pct = 20"]).expect("soluble", "pass", &["the water takes all of it"]);
    sound(&["Sodium Chloride | pct = 40"]).expect("soluble", "caution", &words);
    scrub(&["Helianthus Annuus Seed Oil | fill = true", "Sucrose | pct = 60"]).expect("soluble", "caution", &words);
    let mut sugar = sound(&[]);
    sugar.ingredients[0] = "Helianthus Annuus Seed Oil | fill = true".to_owned();
    sugar.ingredients.push("(none) | pct = 40".to_owned());
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("s.toml"), sugar.text().replace("No 3", "Brown sugar")).unwrap();
    let (_, out, _) = run_in(folder.path(), &["formula", "s.toml"]);
    assert!(out.contains("Brown sugar is listed as an ingredient"), "{out}");
    for grain in ["Pumice", "Juglans Regia (Walnut) Shell Powder", "Kaolin"] {
        sound(&[&format!("{grain} | pct = 2")]).expect("solids", "caution", &words);
    }
    let grit = sound(&["Osier Grit | pct = 2 | functions = [\"abrasive\"]"]);
    grit.expect("solids", "caution", &words);
    grit.expect("microbes", "not-judged", &["No 3"]);
    grit.expect("traces", "not-judged", &["No 3"]);
    for none in ["Sucrose Stearate | pct = 3", "Oryza Sativa (Rice) Bran Oil | pct = 3", "Jojoba Esters | pct = 2"] {
        let scrub = sound(&[none]);
        scrub.expect("solids", "pass", &[]);
        scrub.expect("soluble", "pass", &[]);
    }
}

#[test]
fn clays_and_ground_plants_bring_microbes() {
    for dug in ["Kaolin", "Montmorillonite", "Oryza Sativa (Rice) Bran", "Avena Sativa (Oat) Kernel Flour"] {
        let open = sound(&[&format!("{dug} | pct = 3")]);
        open.expect("microbes", "not-judged", &["No 3", "cfu_per_g"]);
        // 3 % of 50 000 CFU/g are 1500, over the 1000 of ISO 17516:2014.
        let dirty = sound(&[&format!("{dug} | pct = 3 | cfu_per_g = 50000")]).expect("microbes", "stop", &[]);
        assert_eq!((dirty["value"].as_f64(), dirty["limit"].as_f64()), (Some(1500.0), Some(1000.0)));
    }
    let mut clay = sound(&[]);
    clay.powders = PUMICE.replace("\"pumice\"", "\"kaolin\"").replace("Pumice", "Clay");
    clay.expect("microbes", "not-judged", &["Clay"]);
}

#[test]
fn lists_of_prohibited_and_restricted_substances() {
    let glycerin = "Glycerin | pct = 5";
    sound(&[glycerin]).expect("annexes", "not-judged", &["No 3", "Pumice", "lists_checked"]);
    let mut stated = sound(&["Glycerin | pct = 5 | lists_checked = 2026-11-20"]);
    stated.powders += "lists_checked = \"2026-11-20\"\n";
    stated.expect("annexes", "pass", &["by the maker: No 3, Pumice"]);
    let hydroquinone = sound(&["Hydroquinone | pct = 2"]).expect("annexes", "stop", &["Annex II/1339"]);
    assert_eq!(hydroquinone["value"].as_f64(), Some(2.0));
    assert_eq!(sound(&["Hydroquinone | pct = 2"]).json(&["formula", "scrub.toml"]).0, 1);
    // Names of a salt and of a plant are other names.
    sound(&["Urea | pct = 3"]).expect("annexes", "not-judged", &["No 3"]);
    // Retinol at most 0.3 % in the European Union, for new products from 2025-11-01 (Regulation (EU) 2024/996, from memory).
    let retinol = |day: &str| {
        let mut scrub = sound(&["Retinol | pct = 0.5"]);
        scrub.usage += &format!("\non_market = {day}");
        scrub.check("annexes")
    };
    assert_eq!(retinol("2026-12-01")["verdict"], "stop");
    assert_eq!(retinol("2025-10-31")["verdict"], "not-judged");
    // Lye is allowed below pH 11.
    sound(&["Sodium Hydroxide | pct = 0.1"]).expect("annexes", "not-judged", &["Annex III/15a"]);
    let mut strong = sound(&["Sodium Hydroxide | pct = 0.1"]);
    strong.base = strong.base.replace("ph = 4.8", "ph = 12");
    strong.expect("annexes", "stop", &["below 11"]);
    let mut nameless = sound(&[]);
    nameless.ingredients.push("(none) | pct = 1".to_owned());
    nameless.expect("annexes", "not-judged", &["without an INCI name: No 3"]);
}

#[test]
fn traces_of_minerals_are_asked_for() {
    sound(&[]).expect("traces", "not-judged", &["Pumice", "lead", "crystalline silica", "traces_tested = true"]);
    let mut tested = sound(&[]);
    tested.powders += "traces_tested = true\n";
    tested.expect("traces", "pass", &["Pumice"]);
    for mineral in ["Kaolin", "Titanium Dioxide", "CI 77491", "Bentonite"] {
        tested.ingredients.push(format!("{mineral} | pct = 1"));
        tested.expect("traces", "not-judged", &["No 3"]);
        tested.ingredients.pop();
        tested.ingredients.push(format!("{mineral} | pct = 1 | traces_tested = true"));
        tested.expect("traces", "pass", &["No 3"]);
        tested.ingredients.pop();
    }
    let mut plant = sound(&[]);
    plant.powders = CELLULOSE.to_owned();
    plant.expect("traces", "pass", &["no mineral grains"]);
}

#[test]
fn frequency_is_held_against_band_and_acid() {
    let often = |per_week: f64, powders: &str| {
        let mut scrub = sound(&[]);
        scrub.usage = format!("rinse_off = true\nper_week = {per_week}");
        scrub.powders = powders.to_owned();
        scrub.check("frequency")
    };
    let soft = CELLULOSE.replace("d50_um = 200", "d50_um = 60");
    assert_eq!(often(2.0, &soft)["verdict"], "pass");
    let daily = often(7.0, &soft);
    assert_eq!((daily["verdict"].as_str(), daily["limit"].as_f64()), (Some("caution"), Some(2.0)));
    let body = PUMICE.replace("d50_um = 100", "d50_um = 300");
    let on_body = often(3.0, &body);
    assert_eq!(on_body["limit"].as_f64().map(|l| l >= 3.0), Some(true), "{on_body}");
    let mut silent = sound(&[]);
    silent.usage = "rinse_off = true".to_owned();
    silent.expect("frequency", "not-judged", &["give per_week"]);
    let mut acid = sound(&["Lactic Acid | pct = 3 | functions = [\"acid\"]", "Sodium Hydroxide | pct = 1.1"]);
    acid.acid = "key = \"lactic\"\nfinal_ph = 4.8".to_owned();
    acid.base = "density_g_cm3 = 1.03\nyield_stress_pa = 12".to_owned();
    acid.usage = "rinse_off = true\nper_week = 3".to_owned();
    acid.powders = body;
    let with_acid = acid.expect("frequency", "caution", &["with acid beside the grains"]);
    assert_eq!(with_acid["limit"].as_f64(), Some(2.0));
}

#[test]
fn any_market_is_taken_and_what_no_table_covers_is_not_judged() {
    let sold = |regions: &str| {
        let mut scrub = sound(&["Lactic Acid | pct = 2.4 | functions = [\"acid\"]", "Sodium Hydroxide | pct = 0.9"]);
        scrub.acid = "key = \"lactic\"\nfinal_ph = 4.8".to_owned();
        scrub.base = "density_g_cm3 = 1.03\nyield_stress_pa = 12".to_owned();
        scrub.usage += &format!("\nregions = [{regions}]");
        scrub
    };
    let uk = sold("\"EU\", \"United Kingdom\", \"Japan\"");
    for (key, words) in [
        ("acid-active", "not judged for UK, Japan"),
        ("preservative", "not judged for UK, Japan"),
        ("allergens", "not judged for UK, Japan"),
        // The United Kingdom's ban of plastic grains is in the table of refusals.
        ("microbeads", "not judged for Japan"),
        ("annexes", "not judged for UK, Japan"),
    ] {
        let check = uk.check(key);
        assert!(open(&check).iter().any(|p| p.contains(words)), "{key}: {check}");
        assert_ne!(check["verdict"], "pass", "{key}");
    }
    // A country of the European Union is under its law; advice of its committee is the strictest (2.5 %).
    let germany = sold("\"Germany\"").expect("acid-active", "pass", &["SCCNFP"]);
    assert_eq!(germany["limit"].as_f64(), Some(2.5));
    assert!(open(&germany).is_empty(), "{germany}");
    // The strictest of several gives figure and limit: 2.5 % beside 10 and 18 %, pH 5 beside 3.5.
    let all = sold("\"CA\", \"US\", \"EU\"");
    assert_eq!(all.check("acid-active")["limit"].as_f64(), Some(2.5));
    assert_eq!(all.check("ph-window")["limit"].as_f64(), Some(5.0));
}

#[test]
fn rules_go_by_the_day_on_the_market() {
    // New fragrance allergens from 2026-07-31 (Regulation (EU) 2023/1545).
    let scented = |allergen: &str, day: &str| {
        let perfume = "Parfum | pct = 1 | functions = [\"fragrance\"] | allergens = ";
        let mut scrub = sound(&[&format!("{perfume}[{{ inci = \"{allergen}\", pct = 30 }}]")]);
        scrub.usage += day;
        scrub.check("allergens")
    };
    assert_eq!(scented("Menthol", "\non_market = 2026-12-01")["verdict"], "caution");
    assert_eq!(scented("Menthol", "\non_market = \"2026-07-31\"")["verdict"], "caution");
    let before = scented("Menthol", "\non_market = 2026-07-30");
    assert_eq!(before["verdict"], "pass");
    assert!(before["why"].as_str().unwrap().contains("from 2026-07-31 on"), "{before}");
    // Without a day the rules to come hold, and those of old are always there.
    assert_eq!(scented("Menthol", "")["verdict"], "caution");
    assert_eq!(scented("Linalool", "\non_market = 2020-01-01")["verdict"], "caution");
    // Polymer particles that do not scrub: rinsed off from 2027-10-17 (Regulation (EU) 2023/2055).
    let film = |day: &str| {
        let mut scrub = sound(&["Acrylates Copolymer | pct = 1"]);
        scrub.usage += &format!("\non_market = {day}");
        scrub.expect("microbeads", "caution", &["from 2027-10-17 on"])["why"].as_str().unwrap().to_owned()
    };
    assert!(!film("2027-10-16").contains("in force then") && film("2027-10-17").contains("in force then"));
    // Canada: 10 % of acids before May 2024, 18 % since.
    let canada = |day: &str| {
        let mut scrub = sound(&["Mandelic Acid | pct = 12 | functions = [\"acid\"]"]);
        scrub.acid = "key = \"mandelic\"\nfinal_ph = 4".to_owned();
        scrub.base = "density_g_cm3 = 1.03\nyield_stress_pa = 12".to_owned();
        scrub.usage += &format!("\nregions = [\"Canada\"]{day}");
        scrub.check("acid-active")
    };
    let limit = |check: &Value| check["limit"].as_f64();
    assert_eq!(limit(&canada("\non_market = 2024-04-30")), Some(10.0));
    assert_eq!(limit(&canada("\non_market = 2024-05-01")), Some(18.0));
    assert_eq!(limit(&canada("")), Some(18.0));
}

#[test]
fn plastic_by_name_is_refused_whatever_its_material_says() {
    for name in ["Nylon-12 powder", "Polymethylsilsesquioxane", "PE beads", "Nylon12", "PMMA pearls"] {
        let mut scrub = sound(&[]);
        scrub.powders = CELLULOSE.replace("Beads", name);
        for command in ["blend", "formula"] {
            let (status, out, message) = scrub.run(&[command, "scrub.toml"]);
            assert_eq!((status, out.as_str()), (2, ""), "{name}");
            assert!(message.contains("refused") && message.contains("scrub.toml:"), "{name}: {message}");
        }
        let folder = TempDir::new().unwrap();
        let shelf = scrub.powders.replace("parts = 1", "price_per_kg = 1");
        fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
        let aim = "[aim]\nname = \"A\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\nband = \"face\"\nload_pct = 5\n";
        fs::write(folder.path().join("aim.toml"), aim).unwrap();
        let (status, _, message) = run_in(folder.path(), &["aim", "aim.toml"]);
        assert!(status == 2 && message.contains("refused"), "{name}: {message}");
    }
    let mut by_inci = sound(&[]);
    by_inci.powders = CELLULOSE.to_owned() + "inci = \"Polymethylsilsesquioxane\"\n";
    let (status, _, message) = by_inci.run(&["blend", "scrub.toml"]);
    assert!(status == 2 && message.contains("\"polymethylsilsesquioxane\" in its INCI name"), "{message}");
    for name in ["Cellulose beads, plastic-free", "Beads without microbes", "Polyethylene glycol coated cellulose"] {
        let mut scrub = sound(&[]);
        scrub.powders = CELLULOSE.replace("Beads", name);
        assert_eq!(scrub.run(&["blend", "scrub.toml", "--quick"]).0, 0, "{name}");
    }
    // An ingredient by its name, with no INCI name or another one.
    for inci in ["(none)", "Cellulose"] {
        let mut scrub = sound(&[&format!("{inci} | pct = 1")]);
        scrub.powders = CELLULOSE.to_owned();
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("s.toml"), scrub.text().replace("No 3", "Nylon-12 powder")).unwrap();
        let (status, out, _) = run_in(folder.path(), &["formula", "s.toml"]);
        assert!(status == 1 && out.contains("Nylon-12 powder: solid plastic grains are prohibited"), "{out}");
    }
    sound(&["PEG-8 | pct = 1"]).expect("microbeads", "pass", &[]);
}

const LYE: &str = "Sodium Hydroxide | pct = 9.6 | strength_pct = 10 | functions = [\"neutraliser\"]";

/// An acid scrub; the lye listed as it is asked for.
fn sour(lye: &str) -> Scrub {
    let mut scrub = sound(&["Lactic Acid | pct = 3 | strength_pct = 80 | functions = [\"acid\"]", lye]);
    scrub.acid = "key = \"lactic\"\nfinal_ph = 4.8\nwindow = [4.5, 5.0]".to_owned();
    scrub.base = "density_g_cm3 = 1.03\nyield_stress_pa = 12".to_owned();
    scrub
}

fn line<'v>(sheet: &'v Value, name: &str) -> &'v Value {
    sheet["lines"].as_array().unwrap().iter().find(|l| l["name"] == name).unwrap()
}

#[test]
fn the_base_is_what_the_ph_needs_and_not_what_is_listed() {
    // By hand: 24 g of lactic acid in a kilogram are 0.26643 mol; at pH 4.8 10^(4.8 - 3.86) / (1 + 10^(4.8 - 3.86)) = 0.8970 of
    // it has given its proton: 0.2390 mol, 95.6 g of 10 % sodium hydroxide. Of 5 g of sodium benzoate, 0.0347 mol, 1 / (1 + 10^(4.8 -
    // 4.204)) = 0.2023 has taken one: 2.8 g less. Salty water needs more, so this is the lesser.
    for listed in [96.0, 150.0, 50.0] {
        let lye =
            format!("Sodium Hydroxide | pct = {} | strength_pct = 10 | functions = [\"neutraliser\"]", listed / 10.0);
        let (_, sheet) = sour(&lye).batch(&["--mass", "1kg", "--resolution", "0.01g"]);
        let need = &sheet["base"]["lines"][0];
        let needed = need["needed_g"].as_f64().unwrap();
        assert!((needed - 92.8).abs() < 0.3, "{listed}: {need}");
        assert!((need["first_g"].as_f64().unwrap() - 0.9 * needed).abs() < 1e-9);
        let note = line(&sheet, "No 4")["note"].as_str().unwrap();
        assert!(note.contains("pH 4.8 needs about 92.") && note.contains("add 83."), "{note}");
    }
    // None is listed: as sodium hydroxide in a 10 % solution, with the same figure.
    let (_, sheet) = sour("Glycerin | pct = 3").batch(&["--mass", "1kg"]);
    assert_eq!(sheet["base"]["listed"], false);
    assert_eq!(sheet["base"]["lines"][0]["name"], "Sodium hydroxide, 10 % solution");
    assert!((sheet["base"]["lines"][0]["needed_g"].as_f64().unwrap() - 92.8).abs() < 0.3, "{}", sheet["base"]);
    let (_, text, _) = sour("Glycerin | pct = 3").run(&["batch", "scrub.toml", "--mass", "1kg"]);
    assert!(text.contains("Base: no base is listed, and pH 4.8 needs about 92."), "{text}");
    // Where the pH does not follow no share of what is listed is named.
    let strange = sour("Osier Ash Water | pct = 5 | functions = [\"neutraliser\"]").batch(&["--mass", "1kg"]).1;
    assert!(strange["base"].is_null());
    assert!(line(&strange, "No 4")["note"].as_str().unwrap().contains("in small portions"), "{strange}");
}

#[test]
fn a_ph_out_of_its_window_stops_the_sheet() {
    let lye = |pct: f64| format!("Sodium Hydroxide | pct = {pct} | strength_pct = 10 | functions = [\"neutraliser\"]");
    let (status, sheet) = sour(&lye(15.0)).batch(&["--mass", "1kg"]);
    assert_eq!(status, 1);
    let stops = sheet["stops"].as_array().unwrap();
    assert!(stops.iter().any(|s| s.as_str().unwrap().starts_with("pH: what is weighed in comes to pH 1")), "{stops:?}");
    let (_, text, _) = sour(&lye(15.0)).run(&["batch", "scrub.toml", "--mass", "1kg"]);
    assert!(text.lines().nth(2).unwrap().starts_with("Stop: "), "{text}");
    let (status, sheet) = sour(&lye(9.6)).batch(&["--mass", "1kg"]);
    assert_eq!((status, sheet["stops"].as_array().unwrap().len()), (0, 0), "{}", sheet["stops"]);
    assert!(sheet["check_cautions"].as_array().unwrap().iter().any(|c| c.as_str().unwrap().starts_with("ph-window")));
    // On either side it stops where both reckonings are out by more than they may be off, and not before.
    let agreement = crate::common::tables().formula.constants.ph_agreement.value;
    let mut seen = [false; 3];
    for pct in [6.0, 7.0, 7.6, 8.0, 8.4, 9.6, 10.2, 10.6, 11.0] {
        let sheet = sour(&lye(pct)).batch(&["--mass", "1kg", "--resolution", "1mg"]).1;
        let [a, b] = ["ph", "ph_in_salt"].map(|key| sheet[key]["weighed"].as_f64().unwrap());
        let (below, above) = (a.max(b) < 4.5 - agreement, a.min(b) > 5.0 + agreement);
        let stops = sheet["stops"].as_array().unwrap();
        let stopped = stops.iter().any(|s| s.as_str().unwrap().starts_with("pH: what is weighed in"));
        assert_eq!(stopped, below || above, "{pct} % of lye: pH {a} and {b}: {stops:?}");
        seen[usize::from(above) + 2 * usize::from(below)] = true;
    }
    assert_eq!(seen, [true; 3]);
}

#[test]
fn all_checks_run_again_as_weighed() {
    // By hand: 0.30 % of 120 g are 0.36 g, on a balance of 0.1 g 0.4 g, that is 0.333 %; EU Annex V/50 allows 0.3 %.
    let scrub = sound(&["Chlorphenesin | pct = 0.3 | functions = [\"preservative\"]"]);
    assert_eq!(scrub.json(&["formula", "scrub.toml"]).0, 0);
    let (status, sheet) = scrub.batch(&["--mass", "120g"]);
    assert_eq!(status, 1, "{sheet}");
    let worse = sheet["checks_as_weighed"].as_array().unwrap();
    let preservative = worse.iter().find(|c| c["key"] == "preservative").unwrap();
    assert_eq!(preservative["verdict"], "stop");
    assert_ne!(preservative["verdict_by_formula"], "stop");
    assert!((preservative["value"].as_f64().unwrap() - 0.4 / 1.2).abs() < 1e-9, "{preservative}");
    assert!(sheet["stops"][0].as_str().unwrap().starts_with("preservative, as weighed: "), "{}", sheet["stops"]);
    let own = line(&sheet, "No 3");
    assert!((own["step_pct"].as_f64().unwrap() - 25.0).abs() < 1e-9, "{own}");
    assert!((own["rounding_pct"].as_f64().unwrap() - 100.0 * (0.4 / 0.36 - 1.0)).abs() < 1e-6, "{own}");
    assert!(sheet["coarse"].as_array().unwrap().iter().any(|name| name == "No 3"), "{}", sheet["coarse"]);
    // What would do, does: no stop, no line under twenty steps.
    for (mass, step) in
        [(sheet["remedy"]["mass_g"].as_f64().unwrap(), 0.1), (120.0, sheet["remedy"]["resolution_g"].as_f64().unwrap())]
    {
        let (status, again) = scrub.batch(&["--mass", &format!("{mass}g"), "--resolution", &format!("{step}g")]);
        assert_eq!(status, 0, "{mass} g in steps of {step} g: {}", again["stops"]);
        assert!(again["coarse"].as_array().unwrap().is_empty() && again["remedy"].is_null(), "{again}");
    }
    // A dose that rounding takes down by a fifth: 0.5 % of 500 g are 2.5 g, 2 or 3 on a balance of 1 g.
    let coarse = scrub.batch(&["--mass", "480g", "--resolution", "1g"]).1;
    let least = coarse["lines"].as_array().unwrap().iter().map(|l| l["rounding_pct"].as_f64().unwrap().abs());
    assert!(least.fold(0.0, f64::max) > 15.0, "{coarse}");
    let (_, text, _) = scrub.run(&["batch", "scrub.toml", "--mass", "120g"]);
    for words in ["As weighed", "this would do: a batch of", "a balance with steps of"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    // What stops by the formula stops as weighed, though no rounding makes it worse, and no other balance is a remedy.
    let (status, exact) =
        sound(&["Chlorphenesin | pct = 0.5 | functions = [\"preservative\"]"]).batch(&["--mass", "10kg"]);
    assert_eq!((status, exact["remedy"].is_null()), (1, true), "{exact}");
    let stopped = exact["checks_as_weighed"].as_array().unwrap();
    let told =
        stopped.iter().map(|c| [&c["key"], &c["verdict"], &c["verdict_by_formula"]].map(|v| v.as_str().unwrap()));
    assert_eq!(told.collect::<Vec<_>>(), [["preservative", "stop", "stop"]]);
    // A large batch has nothing to tell.
    let fine = sound(&[]).batch(&["--mass", "10kg"]).1;
    assert!(fine["checks_as_weighed"].as_array().unwrap().is_empty() && fine["remedy"].is_null(), "{fine}");
}

#[test]
fn sheets_show_it() {
    let folder = TempDir::new().unwrap();
    let scrub = sour("Sodium Hydroxide | pct = 9.6 | strength_pct = 10 | functions = [\"neutraliser\"]");
    fs::write(folder.path().join("scrub.toml"), scrub.text()).unwrap();
    let args = ["batch", "scrub.toml", "--mass", "120g", "--write", "a.html", "--write", "a.csv", "--write", "a.xlsx"];
    run_in(folder.path(), &args);
    let html = fs::read_to_string(folder.path().join("a.html")).unwrap();
    for words in
        ["A step is %", "As weighed", "all but No 3 and No 4: a vessel of its own for each", "Cautions of the checks"]
    {
        assert!(html.contains(words), "{words}");
    }
    let csv = fs::read_to_string(folder.path().join("a.csv")).unwrap();
    let header = csv.lines().next().unwrap();
    assert!(header.ends_with("cost,note,step_pct,rounding_pct"), "{header}");
    assert!(csv.contains("Caution: ph-window"), "{csv}");
    let widths: Vec<usize> = csv::Reader::from_reader(csv.as_bytes()).records().map(|r| r.unwrap().len()).collect();
    assert!(widths.iter().all(|w| *w == 13), "{widths:?}");
}

#[test]
fn an_acid_that_is_spelt_otherwise_does_not_pass_for_none() {
    for (name, sounds) in
        [("L-Lactic Acid", "lactic acid"), ("Salicylsäure", "salicylic acid"), ("Acide glycolique", "glycolic acid")]
    {
        let acid = sound(&[&format!("{name} | pct = 5")]);
        acid.expect("acid-active", "not-judged", &["sounds like", sounds]);
    }
    for name in ["Salicylic Acid (BHA)", "Gluconolactone (PHA)"] {
        sound(&[&format!("{name} | pct = 1.5")]).expect("acid-active", "not-judged", &["is an acid"]);
    }
    for name in ["Milchsäure", "Glykolsäure", "Fruchtsäure"] {
        assert_ne!(sound(&[&format!("{name} | pct = 5")]).check("acid-active")["verdict"], "pass", "{name}");
    }
    // Beside the acid that is planned too.
    let mut planned = sound(&["Lactic Acid | pct = 2", "Salicylsäure | pct = 3"]);
    planned.acid = "key = \"lactic\"\nfinal_ph = 4.2".to_owned();
    planned.base = "density_g_cm3 = 1.03\nyield_stress_pa = 12".to_owned();
    planned.expect("acid-active", "not-judged", &["No 4 is an acid"]);
    // Spaces and the mark of a footnote are no part of a name; a strength is asked for as one.
    let spaced = sound(&["Glycolic \u{a0} Acid* | pct = 12"]);
    assert_eq!(spaced.check("acid-active")["why"], sound(&["Glycolic Acid | pct = 12"]).check("acid-active")["why"]);
    let (status, _, error) = sound(&["Glycolic Acid (70%) | pct = 12"]).run(&["formula", "scrub.toml"]);
    assert!(status == 2 && error.contains("inci = \"Glycolic Acid\" and strength_pct = 70"), "{error}");
    // What only begins alike is none.
    for name in ["Lactose", "Propylene Glycol", "Stearic Acid", "Citrus Limon Peel Oil"] {
        sound(&[&format!("{name} | pct = 5")]).expect("acid-active", "pass", &[]);
    }
}

fn named_powder(name: &str) -> (i32, String, String) {
    let powders = PUMICE.replace("\"Pumice\"", &format!("\"{name}\""));
    Scrub { powders, ..scrub(&[WATER]) }.run(&["blend", "--quick", "scrub.toml"])
}

#[test]
fn waters_of_plants_are_water_and_quartz_among_the_ingredients_is_silica() {
    for water in ["Hamamelis Virginiana Water", "Aloe Barbadensis Leaf Juice", "Eau", "Wasser"] {
        let wet = scrub(&["Helianthus Annuus Seed Oil | fill = true", &format!("{water} | pct = 8")]);
        wet.expect("preservative", "stop", &[]);
    }
    sound(&["Quartz | pct = 2"]).expect("silica-dust", "caution", &["crystalline silica"]);
    for plastic in ["Polyethylen", "Polyéthylène", "Kunststoffperlen"] {
        let (status, _, error) = named_powder(plastic);
        assert!(status == 2 && error.contains("scrub.toml:"), "{plastic}: {error}");
    }
}

const CHALK: &str =
    "[[powder]]\nname = \"Chalk\"\nmaterial = \"calcium-carbonate\"\nparts = 1\nsize = { d50_um = 60, gsd = 1.4 }\n";

/// By hand: 2 % of sodium hydroxide is 0.5 mol/kg, pH 13.6; the pKa of triethanolamine is 7.8, of carbonates 6.4 and 10.3.
#[test]
fn a_stated_ph_is_held_against_what_is_listed_without_an_acid_too() {
    sound(&[]).expect("acid-free", "pass", &["no acid exfoliant"]);
    let lye = "Sodium Hydroxide | pct = 2 | functions = [\"neutraliser\"]";
    // 500 mmol of base stand against 4.8, less what benzoate takes up there.
    let stop = sound(&[lye]).expect("acid-free", "stop", &["the pH comes to 13.", "pH 4.8 needs 50", "mmol of acid"]);
    assert!((stop["value"].as_f64().unwrap() - 13.6).abs() < 0.2, "{stop}");
    sound(&["Triethanolamine | pct = 2"]).expect("acid-free", "stop", &["look for a slip"]);
    sound(&["Tetrasodium EDTA | pct = 3"]).expect("acid-free", "stop", &["look for a slip"]);
    for inci in ["Hydrochloric Acid", "Aqua/Potassium Hydroxide", "Stearic Acid (and) Sulfuric Acid", "Lye"] {
        sound(&[&format!("{inci} | pct = 2")]).expect("acid-free", "not-judged", &["does not follow"]);
    }
    for inci in ["Trolamine", "NaOH", "Osier Brightener"] {
        let neutraliser = format!("{inci} | pct = 2 | functions = [\"neutraliser\"]");
        sound(&[&neutraliser]).expect("acid-free", "not-judged", &["does not follow"]);
    }
    // What takes base or acid up, by how much nobody knows.
    for inci in ["Carbomer", "Acrylates Copolymer", "Stearic Acid", "Decyl Glucoside"] {
        let some = "Sodium Hydroxide | pct = 0.4";
        sound(&[some, &format!("{inci} | pct = 2")]).expect("acid-free", "not-judged", &["does not follow"]);
        // 2 % of acrylic acid itself, 72 g/mol, take 278 mmol of the 500 that 2 % of lye are.
        sound(&[lye, &format!("{inci} | pct = 2")]).expect("acid-free", "stop", &["look for a slip"]);
        sound(&[&format!("{inci} | pct = 2")]).expect("acid-free", "pass", &[]);
    }
    // So little base or acid is drift.
    for little in ["Citric Acid | pct = 0.0005", "Sodium Hydroxide | pct = 0.001", "Niacinamide | pct = 4"] {
        let mut scrub = scrub(&[WATER, PHENOXYETHANOL, little]);
        scrub.base = scrub.base.replace("ph = 4.8", "ph = 6");
        scrub.expect("acid-free", "pass", &[]);
    }
    // By hand: of 67.03 mmol in 10 g 1 / (1 + 10^(8 - 7.76)) = 0.3653 has taken a proton, 24.5 mmol. Salty water takes 27.1: the lesser counts, and
    // that is no slip yet (ph_slip_mmol, 25).
    let mut amine = scrub(&[WATER, PHENOXYETHANOL, "Triethanolamine | pct = 1"]);
    amine.base = amine.base.replace("ph = 4.8", "ph = 8");
    amine.expect("acid-free", "caution", &["pH 8 needs 24.5 mmol of acid"]);
    let mut silent = sound(&[lye]);
    silent.base = silent.base.replace("ph = 4.8", "");
    silent.expect("acid-free", "not-judged", &["give ph in [base]"]);
    let mut grains = sound(&[]);
    grains.powders = PUMICE.replace("parts", "inci = \"Sodium Hydroxide\"\nparts");
    grains.expect("acid-free", "not-judged", &["does not follow"]);
    let mut soda = sound(&["Sodium Carbonate | pct = 3"]);
    soda.expect("acid-free", "stop", &["do not stay together"]);
    soda.base = soda.base.replace("ph = 4.8", "ph = 9.5");
    soda.expect("acid-free", "not-judged", &["measure it after a day"]);
    let mut chalk = sound(&[]);
    chalk.powders = CHALK.to_owned();
    chalk.expect("acid-free", "stop", &["Chalk and pH 4.8 do not stay together"]);
    for args in [&["formula", "scrub.toml"][..], &["batch", "scrub.toml", "--mass", "1kg"]] {
        assert!(sound(&[lye]).run(args).1.contains("goggles"), "{args:?}");
        assert!(!sound(&[]).run(args).1.contains("goggles"), "{args:?}");
    }
}

#[test]
fn what_takes_or_gives_protons_by_its_name_does_not_pass_beside_an_acid() {
    let with = |inci: &str, pct: f64| {
        let mut scrub = sour(LYE);
        scrub.ingredients.push(format!("{inci} | pct = {pct}"));
        scrub
    };
    for inci in ["Hydrochloric Acid", "Magnesium Oxide", "Sodium Silicate", "Sodium Stearate", "Diethanolamine"] {
        with(inci, 1.0).expect("acid-free", "not-judged", &[]);
    }
    with("Sodium Hydroxide (and) Aqua", 1.0).expect("acid-free", "not-judged", &["of a blend its parts"]);
    with("Chalk, free flowing", 2.0).expect("acid-free", "stop", &[]);
    with("CI 77220 | functions = [\"colour\"]", 2.0).expect("acid-free", "stop", &[]);
    for inci in ["CI 77220", "Calcium Carbonate (CI 77220)", "Zinc Carbonate", "Calcium Carbonate (and) Glycerin"] {
        with(inci, 2.0).expect("acid-free", "stop", &["neutralises the acid"]);
    }
    // Esters, fats and plants are neither.
    let alone = sour(LYE).expect("acid-free", "pass", &[]);
    for inci in [
        "Propylene Carbonate",
        "Di-C12-13 Alkyl Carbonate",
        "Stearic Acid",
        "Hyaluronic Acid",
        "Jatropha Multifida (Coral Plant) Extract",
        "Eggshell Membrane",
        "Juglans Regia (Walnut) Shell Powder",
        "Quillaja Saponaria (Soap Bark) Extract",
    ] {
        let beside = with(inci, 1.0).expect("acid-free", "pass", &[]);
        assert_eq!(beside["open"], alone["open"], "{inci}");
    }
    for more in ["inci = \"CI 77220\"\n", "inci = \"Limestone\"\n", ""] {
        let mut chalk = sour(LYE);
        chalk.powders = CHALK.replace("parts", &format!("{more}parts"));
        chalk.expect("acid-free", "stop", &["Chalk neutralises the acid"]);
    }
    let mut unknown = sour(LYE);
    unknown.powders =
        "[[powder]]\nname = \"Limestone flour\"\nparts = 1\ndensity_g_cm3 = 2.7\nhardness_gpa = 1.4\nroundness = 0.3\n\
        size = { d50_um = 60, gsd = 1.4 }\n"
            .to_owned();
    unknown.expect("acid-free", "stop", &["Limestone flour neutralises the acid"]);
    // What else takes up acid by its name, among the powders too; of a stone that says nothing nobody is asked.
    for (name, verdict) in [("Magnesia grit", "not-judged"), ("Quicklime grit", "not-judged"), ("Flint grit", "pass")] {
        let mut grit = sour(LYE);
        grit.powders = unknown.powders.replace("Limestone flour", name);
        grit.expect("acid-free", verdict, &[]);
    }
    // An acid that no table has leaves the pH open from the half per cent on that makes an acid exfoliant (aha_pct).
    for (pct, verdict) in [(0.49, "caution"), (0.5, "not-judged"), (2.0, "not-judged")] {
        with("Fumaric Acid", pct).expect("acid-free", verdict, &["No 5"]);
    }
}

/// Soaps: a fatty acid takes lye up too, no table says how much (no constant of it in water).
#[test]
fn lye_beside_fatty_acids_is_no_slip_of_the_acids_ph() {
    let mut scrub = sour("Sodium Hydroxide | pct = 16 | strength_pct = 10 | functions = [\"neutraliser\"]");
    scrub.expect("acid-free", "stop", &["look for a slip"]);
    scrub.ingredients.push("Stearic Acid | pct = 4".to_owned());
    scrub.expect("acid-free", "not-judged", &["less what No", "takes up"]);
    // 0.01 % of it takes up no more than 1.4 mmol/kg, were it all acrylic acid.
    let last = scrub.ingredients.last_mut().unwrap();
    *last = "Stearic Acid | pct = 0.01".to_owned();
    scrub.expect("acid-free", "stop", &["look for a slip"]);
}

/// Milk of magnesia has pH 10.5 (handbooks), however much of it there is.
#[test]
fn what_lies_undissolved_of_a_hydroxide_takes_the_ph_no_higher() {
    let mut scrub = sound(&["Magnesium Hydroxide | pct = 3"]);
    scrub.base = scrub.base.replace("4.8", "10.3");
    let check = scrub.expect("acid-free", "pass", &["the pH comes to 10."]);
    assert!(
        check["why"].as_str().unwrap().contains("Magnesium") || check["why"].as_str().unwrap().contains("No 3"),
        "{check}"
    );
}

/// A weak base that the balance counts is a base that is listed. Ethanolamine has pKa 9.5 (handbooks): at pH 4.8 it takes one proton.
#[test]
fn a_weak_base_is_the_base_of_the_sheet() {
    let mut scrub = sour(LYE);
    scrub.ingredients.retain(|i| !i.starts_with("Sodium Hydroxide"));
    scrub.ingredients.push("Ethanolamine | pct = 1.2 | functions = [\"neutraliser\"]".to_owned());
    let (_, sheet) = scrub.batch(&["--mass", "1kg"]);
    assert_eq!(sheet["base"]["listed"], true, "{}", sheet["base"]);
    assert_eq!(sheet["base"]["lines"].as_array().unwrap().len(), 1);
}

#[test]
fn stated_parts_of_a_preservative_count_before_its_name() {
    let of = |pct: f64, more: &str| {
        let inci = "Phenoxyethanol (and) Ethylhexylglycerin";
        scrub(&[WATER, &format!("{inci} | pct = {pct} | functions = [\"preservative\"] | {more}")])
    };
    let parts = |list: &[(&str, f64)]| {
        let all: Vec<String> = list.iter().map(|(inci, pct)| format!("{{ inci = \"{inci}\", pct = {pct} }}")).collect();
        format!("parts = [{}]", all.join(", "))
    };
    // 0.01 % of phenoxyethanol guards nothing; 0.4 of 2 % is no more than 1 %, 0.9 of 3 % is.
    let little = of(1.0, &parts(&[("Phenoxyethanol", 1.0), ("Ethylhexylglycerin", 99.0)]));
    assert_ne!(little.check("preservative")["verdict"], "pass");
    let key = "preservative = \"phenoxyethanol\" | ";
    let within = of(2.0, &(key.to_owned() + &parts(&[("Phenoxyethanol", 40.0), ("Aqua", 60.0)])));
    assert_ne!(within.check("preservative")["verdict"], "stop", "{}", within.check("preservative"));
    let over = of(3.0, &parts(&[("Phenoxyethanol", 90.0), ("Glycerin", 10.0)]));
    over.expect("preservative", "stop", &["2.7 % phenoxyethanol"]);
    // The shares within a part that is a blend are not known.
    let blend = of(3.0, &parts(&[("Phenoxyethanol + Ethylhexylglycerin", 90.0), ("Glycerin", 10.0)]));
    assert!(["not-judged", "stop", "caution"].contains(&blend.check("preservative")["verdict"].as_str().unwrap()));
    // A key that is not what the INCI name says does not take its limit away.
    let other = scrub(&[WATER, "Phenoxyethanol | pct = 3 | preservative = \"levulinic-acid\""]);
    assert_ne!(other.check("preservative")["verdict"], "pass");
    let salt = scrub(&[WATER, PHENOXYETHANOL, "Potassium Benzoate | pct = 5"]);
    salt.expect("preservative", "stop", &["benzoic acid"]);
}

/// Whatever brings it: a powder of no material of the table is what its own INCI name says.
#[test]
fn the_inci_name_of_a_powder_is_asked_as_that_of_an_ingredient() {
    let powder = |more: &str| {
        let mut scrub = sound(&[]);
        scrub.powders = format!(
            "[[powder]]\nname = \"P\"\nparts = 1\nsize = {{ d50_um = 100, gsd = 1.4 }}\ndensity_g_cm3 = 1.3\nhardness_gpa = 0.2\n\
             roundness = 0.4\n{more}\n"
        );
        scrub
    };
    let (status, _, message) = powder("inci = \"Cellulose Acetate\"").run(&["blend", "scrub.toml"]);
    assert!(status == 2 && message.contains("Cellulose acetate grains"), "{message}");
    for inci in ["Salicylic Acid", "Citric Acid", "Sodium Lactate"] {
        let scrub = powder(&format!("inci = \"{inci}\""));
        scrub.expect("acid-active", "not-judged", &["among the powders"]);
        scrub.expect("double-exfoliation", "not-judged", &["among the powders"]);
    }
    powder("inci = \"Carica Papaya Fruit Powder\"").expect("double-exfoliation", "caution", &["an enzyme"]);
    let nut = powder("inci = \"Corylus Avellana (Hazelnut) Shell Powder\"");
    nut.expect("allergens", "caution", &["P: ground nut shell"]);
    let (_, label) = nut.json(&["label", "scrub.toml"]);
    assert!(label["warnings"].to_string().contains("nut"), "{label}");
    for (more, key, words) in [
        ("material = \"rice-bran\"\ninci = \"Juglans Regia (Walnut) Shell Powder\"", "allergens", "P: walnut"),
        ("material = \"rice-bran\"\ninci = \"Quartz\"", "silica-dust", "P is crystalline silica"),
    ] {
        powder(more).expect(key, "caution", &[words]);
    }
}

/// Handbooks: bitartrate and hydrogen citrate are salts, glucono-delta-lactone and gluconic acid one substance in water, hydroxyacetic
/// acid is glycolic; review panels count simple esters of lactic acid with it (recalled).
#[test]
fn acids_by_other_names_and_their_salts_and_esters_pass_nothing() {
    for inci in [
        "Betaine Salicylate",
        "Zinc Salicylate",
        "MEA-Salicylate",
        "Zinc Lactate",
        "Gluconic Acid",
        "Glucono-Delta-Lactone",
        "Potassium Bitartrate",
        "Sodium Hydrogen Citrate",
        "Hydroxyacetic Acid",
        "Alpha Hydroxy Acid",
        "Tartronic Acid",
        "Sodium Lactobionate",
        "Ethyl Lactate",
    ] {
        let bare = sound(&[&format!("{inci} | pct = 5")]);
        let mut beside = sour(LYE);
        beside.ingredients.push(format!("{inci} | pct = 5"));
        for scrub in [bare, beside] {
            let check = scrub.check("acid-active");
            assert!(check["verdict"] != "pass" && check["open"] != serde_json::json!([]), "{inci}: {check}");
        }
    }
}

#[test]
fn what_a_law_counts_as_something_else_is_counted_so() {
    // Molar masses from atomic weights: retinol 286.45, its palmitate 524.86, acetate 328.49; ammonia 17.03, its hydroxide 35.05.
    sound(&["Retinyl Palmitate | pct = 0.5"]).expect("annexes", "not-judged", &["here 0.273 %"]);
    sound(&["Retinol | pct = 0.25", "Retinyl Palmitate | pct = 0.25"]).expect("annexes", "stop", &["here 0.387 %"]);
    let ammonia = |pct: f64| sound(&[&format!("Ammonium Hydroxide | pct = {pct}")]).check("annexes");
    assert!(ammonia(10.0)["verdict"] != "stop" && ammonia(12.5)["verdict"] == "stop", "{}", ammonia(12.5));
}

#[test]
fn a_ph_that_what_is_listed_does_not_come_to_is_in_no_window() {
    // 5 % of lactic acid, 0.53 mol/kg of water, and a hundredth as much lye: pH 2.5, whatever is stated.
    let mut scrub = sour("Sodium Hydroxide | pct = 0.1 | functions = [\"neutraliser\"]");
    scrub.acid = "key = \"lactic\"\nfinal_ph = 3.6".to_owned();
    scrub.ingredients.iter_mut().for_each(|i| *i = i.replace("Lactic Acid | pct = 3", "Lactic Acid | pct = 6.25"));
    scrub.usage += "\nregions = [\"US\"]";
    scrub.expect("ph-window", "not-judged", &["as listed the pH comes to 2."]);
}

#[test]
fn water_that_is_not_told_of_is_asked_for() {
    for inci in ["Maris Aqua", "Lac", "Yogurt", "Vinegar", "Aloe Barbadensis Leaf Gel", "H2O", "Sodium Laureth Sulfate"]
    {
        let scrub = scrub(&[&format!("{inci} | fill = true")]);
        scrub.expect("preservative", "not-judged", &["holds water is not known"]);
        let (_, label) = scrub.json(&["label", "scrub.toml"]);
        assert!(!label["warnings"].to_string().contains("Keep water out"), "{label}");
    }
    scrub(&["Helianthus Annuus Seed Oil | fill = true"]).expect("preservative", "caution", &["no water in the jar"]);
}

#[test]
fn common_names_in_brackets_and_colour_numbers_hide_nothing() {
    let told = "| pct = 0.3 | allergens = [{ inci = \"Linalool\", pct = 0 }]";
    for inci in
        ["Lavandula Angustifolia (Lavender) Oil", "Mentha Piperita (Peppermint) Oil", "Citrus Limon (Lemon) Peel Oil"]
    {
        let mut scrub = sound(&[&format!("{inci} {told}")]);
        scrub.usage += "\non_market = 2026-12-01";
        assert_ne!(scrub.check("allergens")["verdict"], "pass", "{inci}");
    }
    for colour in ["CI 77288", "CI 77007", "CI77491", "Diatomite", "Solum Fullonum"] {
        assert_ne!(sound(&[&format!("{colour} | pct = 1")]).check("traces")["verdict"], "pass", "{colour}");
    }
    assert_eq!(sound(&["CI 19140 | pct = 0.1"]).check("traces")["verdict"], sound(&[]).check("traces")["verdict"]);
    for dug in ["Diatomaceous Earth", "Pumice", "Moroccan Lava Clay"] {
        let mut scrub = sound(&[&format!("{dug} | pct = 2")]);
        scrub.powders = CELLULOSE.to_owned();
        scrub.expect("silica-dust", "caution", &["mask"]);
    }
    for nut in ["Peanut Oil", "Hazelnut Shell Powder", "Almond meal", "Wheat Germ Oil"] {
        sound(&[&format!("{nut} | pct = 1")]).expect("allergens", "caution", &["name it on the label"]);
    }
}

/// What a word within a name does not mean: another substance, a bag, an extract, a colour that dissolves.
#[test]
fn words_within_other_names_stop_nothing() {
    let stops = |inci: &str, key: &str| sound(&[&format!("{inci} | pct = 0.5")]).check(key)["verdict"] == "stop";
    for (inci, key) in [
        ("Kojic Acid", "annexes"),
        ("Phenylethyl Resorcinol", "annexes"),
        ("Sodium Polystyrene Sulfonate", "microbeads"),
    ] {
        assert!(!stops(inci, key), "{inci}");
    }
    let both = sound(&["Kojic Acid | pct = 0.2", "Retinol | pct = 0.2"]);
    assert_ne!(both.check("annexes")["verdict"], "stop", "each has a limit of its own");
    for extract in ["Peat Extract", "Maris Limus Extract"] {
        let check = sound(&[&format!("{extract} | pct = 1")]).check("silica-dust");
        assert!(!check["why"].to_string().contains("No 3"), "{extract}: {check}");
    }
    let mut bag = sound(&[]);
    bag.powders = CELLULOSE.replace("Beads", "Rice bran (PP bag)");
    assert!(bag.run(&["blend", "scrub.toml"]).0 < 2);
    let named = |name: &str| {
        let mut scrub = sound(&["Methylparaben | pct = 0.1"]).text();
        scrub = scrub.replace("name = \"No 3\"", &format!("name = \"{name}\""));
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("s.toml"), scrub).unwrap();
        run_in(folder.path(), &["formula", "s.toml"]).1
    };
    for name in ["PHB", "PE 9010", "Extract in PBS"] {
        assert!(!named(name).contains("solid plastic grains are prohibited"), "{name}");
    }
    // Little salt in much water is no grain.
    for salt in ["Maris Sal", "Potassium Chloride", "Xylitol"] {
        assert_ne!(sound(&[&format!("{salt} | pct = 1")]).check("soluble")["verdict"], "caution", "{salt}");
    }
    let mut dry = scrub(&["Oryza Sativa Starch | fill = true", "Aloe Barbadensis Leaf Juice | pct = 2"]);
    dry.usage += "\nkind = \"dry\"";
    let text = dry.text().replace("name = \"No 1\"", "name = \"Aloe powder 200:1\"");
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("s.toml"), text).unwrap();
    assert!(!run_in(folder.path(), &["formula", "s.toml"]).1.contains("2 % water"));
}

#[test]
fn trade_names_hide_neither_scent_nor_grains_nor_poison() {
    for oil in [
        "Lavender Oil",
        "Clove Bud Oil",
        "Tea Tree Oil",
        "Perfume",
        "Fragrance Oil",
        "Essential Oil Blend",
        "Balsam of Peru",
    ] {
        assert_ne!(sound(&[&format!("{oil} | pct = 0.3")]).check("allergens")["verdict"], "pass", "{oil}");
    }
    for grains in [
        "Aluminum Oxide",
        "Corundum",
        "Glass Beads",
        "Volcanic Rock Powder",
        "Ground Walnut Shells",
        "Crushed Apricot Kernels",
    ] {
        let report = sound(&[&format!("{grains} | pct = 3")]).json(&["formula", "scrub.toml"]).1;
        assert!(report.to_string().contains("list it as a [[powder]]"), "{grains}");
    }
    for nut in ["Bitter Almond Oil", "PEG-60 Almond Glycerides", "Lecithin (Soy)", "Ground Walnut Shells"] {
        sound(&[&format!("{nut} | pct = 1")]).expect("allergens", "caution", &["name it on the label"]);
    }
    for poison in
        ["Borax", "Calomel", "Lead Carbonate", "Trichloracetic Acid", "Vitamin A Acid", "Hydro-quinone", "Formalin"]
    {
        sound(&[&format!("{poison} | pct = 1 | lists_checked = 2026-11-20")]).expect("annexes", "stop", &[]);
    }
    for water in ["Rose Hydrolate", "Banana puree", "Buttermilk", "Cocamidopropyl Betaine"] {
        let oil = scrub(&["Helianthus Annuus Seed Oil | fill = true", &format!("{water} | pct = 20")]);
        assert!(!oil.check("preservative")["why"].to_string().contains("no water in the jar"), "{water}");
    }
}
