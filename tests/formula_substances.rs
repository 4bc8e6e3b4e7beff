//! `gritwise formula`: what counts as which substance, and how its sum stands against limits of law and chemistry.

use assert_cmd::Command;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

const WATER: &str = "Aqua | fill = true";
const LACTIC: &str = "Lactic Acid | pct = 3 | strength_pct = 80 | functions = [\"acid\"]";
const LYE: &str = "Sodium Hydroxide | pct = 9.6 | strength_pct = 10";
const PHENOXYETHANOL: &str = "Phenoxyethanol | pct = 0.8 | functions = [\"preservative\"]";

/// A scrub of pumice with these ingredients, each `INCI | key = value | ...`.
struct Scrub {
    acid: &'static str,
    base: &'static str,
    powders: &'static str,
    ingredients: Vec<String>,
}

fn scrub(ingredients: &[&str]) -> Scrub {
    Scrub {
        acid: "key = \"lactic\"\nfinal_ph = 4.8",
        base: "density_g_cm3 = 1.03\nyield_stress_pa = 12",
        powders: "[[powder]]\nname = \"Pumice\"\nmaterial = \"pumice\"\nparts = 1\nsize = { d50_um = 100, gsd = 1.4 }\n",
        ingredients: ingredients.iter().map(|i| (*i).to_owned()).collect(),
    }
}

/// Lactic acid of 2.4 %, brought to pH 4.8 and preserved, and more.
fn acid_scrub(more: &[&str]) -> Scrub {
    scrub(&[&[WATER, LACTIC, LYE, PHENOXYETHANOL], more].concat())
}

impl Scrub {
    fn report(&self) -> Value {
        let mut text = format!("[scrub]\nname = \"T\"\npowder_load_pct = 5\n[base]\n{}\n", self.base);
        if !self.acid.is_empty() {
            text += &format!("[acid]\n{}\n", self.acid);
        }
        let has_use = text.contains("[use]");
        text += if has_use { "" } else { "[use]\n" };
        text += "rinse_off = true\nper_week = 2\n[[phase]]\nname = \"P\"\ntemperature_c = 30\n";
        for (place, ingredient) in self.ingredients.iter().enumerate() {
            let (inci, rest) = ingredient.split_once(" | ").unwrap();
            let keys = rest.replace(" | ", "\n");
            text += &format!("[[phase.ingredient]]\nname = \"No {place}\"\ninci = \"{inci}\"\n{keys}\n");
        }
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("scrub.toml"), text + self.powders).unwrap();
        let mut command = Command::cargo_bin("gritwise").unwrap();
        let output = command.current_dir(folder.path()).args(["formula", "scrub.toml", "--json"]).output().unwrap();
        assert!(output.status.code().unwrap() < 2, "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_slice(&output.stdout).unwrap()
    }

    fn check(&self, key: &str) -> Value {
        self.report()["checks"].as_array().unwrap().iter().find(|c| c["key"] == key).unwrap().clone()
    }

    /// Asserts a verdict, and words that `why` holds.
    fn expect(&self, key: &str, verdict: &str, words: &[&str]) -> Value {
        let check = self.check(key);
        assert_eq!(check["verdict"], verdict, "{check}");
        for word in words {
            assert!(check["why"].as_str().unwrap().contains(word), "no {word:?} in {check}");
        }
        check
    }
}

fn close(value: &Value, wanted: f64) {
    assert!((value.as_f64().unwrap() - wanted).abs() < 1e-3 * wanted, "{value} for {wanted}");
}

#[test]
fn every_acid_of_the_table_counts_against_the_limits() {
    // CIR 1998: 10 % for lactic and glycolic acid; 2.4 + 15 = 17.4 %.
    for functions in ["", " | functions = [\"acid\"]"] {
        let glycolic = format!("Glycolic Acid | pct = 15{functions}");
        let both = acid_scrub(&[&glycolic]);
        let active = both.expect("acid-active", "stop", &["2.4 % lactic acid, 15 % glycolic acid"]);
        close(&active["value"], 17.4);
        close(&active["limit"], 10.0);
        both.expect("acid-free", "caution", &["of glycolic acid", "the pH comes to 2.78 to 2.91"]);
    }
    acid_scrub(&["Sodium Glycolate | pct = 2"]).expect(
        "acid-active",
        "not-judged",
        &["EU: the tables hold no limit", "together"],
    );
    // A pinch that sets the pH is reckoned with.
    let pinch = acid_scrub(&["Citric Acid | pct = 0.1"]);
    pinch.expect("acid-active", "pass", &[]);
    pinch.expect("acid-free", "pass", &["of citric acid"]);
}

#[test]
fn a_limit_holds_for_the_acids_that_it_names() {
    // The CIR conclusion of 1998 is on glycolic and lactic acid, their salts and simple esters; the Hotlist on all.
    for (acid, inci) in [("mandelic", "Mandelic Acid"), ("citric", "Citric Acid")] {
        let mut one = scrub(&[WATER, &format!("{inci} | pct = 12 | functions = [\"acid\"]"), PHENOXYETHANOL]);
        one.acid =
            if acid == "mandelic" { "key = \"mandelic\"\nfinal_ph = 4" } else { "key = \"citric\"\nfinal_ph = 4" };
        let check = one.expect("acid-active", "not-judged", &["US, EU: the tables hold no limit for", "Hotlist"]);
        assert!(!check["why"].as_str().unwrap().contains("CIR"), "{check}");
        let window = one.expect("ph-window", "pass", &["pH 3.5 or more (text before 2024)"]);
        assert!(window["source"].as_str().unwrap().contains("Hotlist"), "{window}");
    }
}

#[test]
fn an_acid_is_known_by_name_and_its_salts_by_their_cation() {
    for strange in ["Azelaic Acid", "Phytic Acid", "Zinc Lactate"] {
        let beside = acid_scrub(&[&format!("{strange} | pct = 2 | functions = [\"acid\"]")]);
        beside.expect("acid-active", "not-judged", &["acids table does not know"]);
        beside.expect("acid-free", "not-judged", &["acids table does not know"]);
        let alone = scrub(&[WATER, &format!("{strange} | pct = 10 | functions = [\"acid\"]"), PHENOXYETHANOL]);
        for key in ["acid-active", "acid-free", "ph-window", "double-exfoliation"] {
            alone.expect(key, "not-judged", &["no ingredient is it", "No 1"]);
        }
    }
    // 3 % of a salt as acid by molar masses: 90.08 / 107.11 and 90.08 / 128.17.
    let ammonium = scrub(&[WATER, "Ammonium Lactate | pct = 3 | functions = [\"acid\"]", PHENOXYETHANOL]);
    close(&ammonium.check("acid-active")["value"], 2.523);
    // Textbooks: a salt of a weak acid and a weak base has half the sum of both pKa, (3.86 + 9.25) / 2.
    ammonium.expect("acid-free", "caution", &["as listed, with its salts, the pH comes to 6.56 to 6.56"]);
    let potassium = scrub(&[
        WATER,
        "Lactic Acid | pct = 0.3 | functions = [\"acid\"]",
        "Potassium Lactate | pct = 3",
        PHENOXYETHANOL,
    ]);
    close(&potassium.check("acid-active")["value"], 2.408);
    // An ester is no salt.
    close(&acid_scrub(&["Triethyl Citrate | pct = 3"]).check("acid-active")["value"], 2.4);
}

#[test]
fn carbonates_and_unknown_bases_are_not_overlooked() {
    for carbonate in ["Sodium Bicarbonate | pct = 3", "Calcium Carbonate | pct = 3"] {
        let check = acid_scrub(&[carbonate]).expect("acid-free", "stop", &["No 4 neutralises the acid, fizzing"]);
        assert!(!check["why"].as_str().unwrap().contains("the pH comes to"), "{check}");
    }
    let soda = scrub(&[WATER, LACTIC, "Sodium Carbonate | pct = 1 | functions = [\"neutraliser\"]", PHENOXYETHANOL]);
    soda.expect("acid-free", "stop", &["No 2 neutralises"]);
    let unknown = scrub(&[WATER, LACTIC, "Osier Ash Water | pct = 5 | functions = [\"neutraliser\"]", PHENOXYETHANOL]);
    unknown.expect("acid-free", "not-judged", &["No 2 is not in the neutralisers table"]);
    // Two protons to magnesium hydroxide, 58.32 g/mol: 0.68 % take 0.233 mol of 0.266 mol of acid, log(0.233/0.033) + 3.86 = 4.7.
    let magnesia = scrub(&[WATER, LACTIC, "Magnesium Hydroxide | pct = 0.68", PHENOXYETHANOL]);
    magnesia.expect("acid-free", "pass", &["as listed, with No 2, the pH comes to 4."]);
}

#[test]
fn an_acid_without_water_has_no_ph() {
    let oil = scrub(&[
        "Helianthus Annuus Seed Oil | fill = true",
        "Lactic Acid | pct = 2 | functions = [\"acid\"]",
        PHENOXYETHANOL,
    ]);
    for key in ["acid-active", "acid-free", "ph-window", "preservative"] {
        oil.expect(key, "not-judged", &["no watery phase"]);
    }
}

#[test]
fn what_the_acids_table_notes_is_said() {
    let mut salicylic = scrub(&[
        WATER,
        "Salicylic Acid | pct = 2 | functions = [\"acid\"]",
        "Sodium Hydroxide | pct = 0.3",
        PHENOXYETHANOL,
    ]);
    salicylic.acid = "key = \"salicylic\"\nfinal_ph = 3.2";
    let check =
        salicylic.expect("acid-free", "caution", &["of salicylic acid does not dissolve at pH 3.2", "crystallises"]);
    // 0.22 g in 100 g of water (handbook of chemistry and physics, recalled) is 15.9 mmol/kg, of which K = 10^-2.97 leaves 12.3 undissociated.
    assert!(check["why"].as_str().unwrap().contains("water takes 12.3 mmol/kg undissociated"), "{check}");
    // 95 % less 5 % of powder, soda and preservative leave 91.9 % water: 12.3 mmol/kg of 138.12 g/mol are 0.156 % of the scrub.
    assert!(check["why"].as_str().unwrap().contains("0.156 to 0.156 % of the scrub"), "{check}");
    // What carries it may hold it, and nobody knows the pH then.
    salicylic.ingredients.push("Propanediol | pct = 20".to_owned());
    let open = salicylic.check("acid-free")["open"].to_string();
    assert!(open.contains("whether No 4 holds salicylic acid in solution is not known"), "{open}");
    // Salts of preservatives give their acid back at low pH: 1 % benzoate at pH 3.5 is more than the 0.34 g that 100 g of water take.
    let sour = |pct: f64| {
        let mut one = acid_scrub(&[&format!("Sodium Benzoate | pct = {pct} | functions = [\"preservative\"]")]);
        one.acid = "key = \"lactic\"\nfinal_ph = 3.5";
        one.check("acid-free")["why"].as_str().unwrap().contains("of the acid of sodium benzoate does not dissolve")
    };
    assert!(sour(1.0) && !sour(0.3));
    let mut lactone = scrub(&[
        WATER,
        "Gluconolactone | pct = 5 | functions = [\"acid\"]",
        "Sodium Hydroxide | pct = 0.6",
        PHENOXYETHANOL,
    ]);
    lactone.acid = "key = \"gluconic\"\nfinal_ph = 4";
    lactone.expect("acid-free", "pass", &["within hours: the pH falls"]);
}

#[test]
fn the_ph_of_the_base_serves_an_acid() {
    let mut scrub = acid_scrub(&[]);
    scrub.acid = "key = \"lactic\"\nwindow = [4.5, 5]";
    scrub.base = "density_g_cm3 = 1.03\nph = 4.8";
    assert_eq!(scrub.expect("ph-window", "caution", &["within the window"])["value"], 4.8);
}

#[test]
fn preservatives_are_summed_by_substance() {
    // EU Annex V: V/29 phenoxyethanol 1 %; V/12 parabens 0.4 % each and 0.8 % together, as acid; V/1 and V/4 as acid.
    let stop = |more: &[&str], words: &[&str]| acid_scrub(more).expect("preservative", "stop", words);
    let twice = stop(&["Phenoxyethanol | pct = 0.8 | functions = [\"preservative\"]"], &["1.6 % phenoxyethanol"]);
    assert_eq!((twice["unit"].as_str(), twice["limit"].as_f64()), (Some("% w/w"), Some(1.0)));
    // By INCI name alone.
    stop(&["Phenoxyethanol | pct = 0.8"], &["1.6 % phenoxyethanol"]);
    let paraben = |name: &str, pct: f64| format!("{name} | pct = {pct} | functions = [\"preservative\"]");
    let (methyl, ethyl) = (paraben("Methylparaben", 0.4), paraben("Ethylparaben", 0.42));
    stop(&[&methyl, &methyl, &ethyl], &["0.726 % methylparaben is over the 0.4 %", "together is over the 0.8 %"]);
    acid_scrub(&[&methyl, &ethyl]).expect("preservative", "pass", &[]);
    // The figure is that of the limit that is furthest off, whatever is listed first.
    let twice = "Phenoxyethanol | pct = 0.8 | functions = [\"preservative\"]";
    for lines in [[&*methyl, &*methyl, twice], [twice, &*methyl, &*methyl]] {
        assert_eq!(stop(&lines, &["1.6 % phenoxyethanol", "methylparaben"])["limit"], 0.4);
    }
    stop(&["Sodium Benzoate | pct = 2", "Benzoic Acid | pct = 1"], &["2.69 % benzoic acid (EU Annex V/1)"]);
    // Blends: over the law in any split, or open.
    let blend = |inci: &str, pct: f64| format!("{inci} | pct = {pct} | functions = [\"preservative\"]");
    stop(&[&blend("Sodium Benzoate (and) Potassium Sorbate", 8.0)], &["over the law in any split"]);
    let open = blend("Phenoxyethanol (and) Ethylhexylglycerin", 5.0);
    acid_scrub(&[&open]).expect("preservative", "not-judged", &["up to 5.8 % phenoxyethanol", "give the parts"]);
    let little = scrub(&[WATER, LACTIC, LYE, &blend("Phenoxyethanol (and) Ethylhexylglycerin", 1.0)]);
    little.expect("preservative", "pass", &[]);
    let mixture =
        stop(&[&blend("Methylchloroisothiazolinone (and) Methylisothiazolinone", 0.5)], &["0.0015 % allowed"]);
    assert_eq!(mixture["unit"], "% w/w");
    // A preservative by INCI name goes in cool like any other.
    acid_scrub(&["Potassium Sorbate | pct = 0.3"]).expect("cool-down", "pass", &["No 4 goes in at 30"]);
}

#[test]
fn a_preservative_system_is_one_as_a_blend_by_its_parts_and_as_single_lines() {
    // The usual splits: common practice, no source.
    let systems = [
        ("Benzyl Alcohol", 92.0, "Dehydroacetic Acid", 8.0, 0.55),
        ("Phenoxyethanol", 90.0, "Ethylhexylglycerin", 10.0, 1.0),
        ("Sodium Benzoate", 50.0, "Potassium Sorbate", 50.0, 1.0),
    ];
    for (one, share, other, rest, pct) in systems {
        let preserves = "functions = [\"preservative\"]";
        let blend = format!("{one} (and) {other} | pct = {pct} | {preserves}");
        let split = format!("parts = [{{ inci = \"{one}\", pct = {share} }}, {{ inci = \"{other}\", pct = {rest} }}]");
        let parts = format!("Blend | pct = {pct} | {split} | {preserves}");
        let first = format!("{one} | pct = {} | {preserves}", pct * share / 100.0);
        let second = format!("{other} | pct = {} | {preserves}", pct * rest / 100.0);
        // Where the mixture works well, where it works, and beyond, where each is by itself.
        for base in ["ph = 4.8", "ph = 5.4", "ph = 7.2"] {
            let verdict = |lines: &[&str]| {
                let mut scrub = scrub(&[&[WATER], lines].concat());
                (scrub.acid, scrub.base) = ("", base);
                let check = scrub.check("preservative");
                let why = check["why"].as_str().unwrap().to_owned();
                assert!(base.contains('7') || !why.contains("too little"), "{check}");
                check["verdict"].as_str().unwrap().to_owned()
            };
            let whole = verdict(&[&blend]);
            assert_eq!(verdict(&[&parts]), whole, "{one} and {other} by parts, {base}");
            assert_eq!(verdict(&[&first, &second]), whole, "{one} and {other} apart, {base}");
        }
        // A trace of the second is no mixture.
        let mut trace = scrub(&[WATER, &first, &format!("{other} | pct = 0.001 | {preserves}")]);
        (trace.acid, trace.base) = ("", "ph = 4.8");
        assert!(trace.check("preservative")["why"].as_str().unwrap().contains("a trace"), "{other}");
    }
}

#[test]
fn lye_that_makes_soap_of_oil_is_no_slip_in_a_soap_alone() {
    // 60 % of oil takes 8.3 % of NaOH by the usual saponification value of olive oil (0.135 g/g, handbooks, from memory).
    let soap = |oil: &str, lye: f64, base: &'static str| {
        let lye = format!("Sodium Hydroxide | pct = {lye}");
        let mut soap = scrub(&[WATER, oil, &lye, PHENOXYETHANOL]);
        (soap.acid, soap.base) = ("", base);
        soap
    };
    let oil = "Olea Europaea Fruit Oil | pct = 60 | functions = [\"oil\"]";
    soap(oil, 8.1, "ph = 9.8").expect("acid-free", "not-judged", &["makes soap of No 1", "saponification"]);
    // By its name alone; and beside no pH it is not taken for a figure.
    soap("Cocos Nucifera (Coconut) Oil | pct = 30", 5.0, "ph = 9.8").expect(
        "acid-free",
        "not-judged",
        &["makes soap of No 1"],
    );
    soap(oil, 8.1, "").expect("acid-free", "not-judged", &["less what these take up", "No 1"]);
    // 20 % of stearic acid (284.5 g/mol) take 2.81 % of NaOH; three times as much is lye that is left.
    let acid = "Stearic Acid | pct = 20";
    soap(acid, 2.8, "ph = 9.8").expect("acid-free", "not-judged", &["makes soap of No 1"]);
    soap(acid, 8.4, "ph = 9.8").expect("acid-free", "stop", &["look for a slip"]);
    // More lye than any oil takes, no oil or one of terpenes, or the pH of a cream: a slip.
    soap("Melaleuca Alternifolia Leaf Oil | pct = 20", 2.5, "ph = 9.8").expect(
        "acid-free",
        "stop",
        &["look for a slip"],
    );
    soap(oil, 14.0, "ph = 9.8").expect("acid-free", "stop", &["look for a slip"]);
    soap("Glycerin | pct = 60", 8.1, "ph = 9.8").expect("acid-free", "stop", &["look for a slip"]);
    soap(oil, 8.1, "ph = 5.5").expect("acid-free", "stop", &["look for a slip"]);
}

#[test]
fn what_is_free_and_what_is_said_are_of_all_acids() {
    // Henderson and Hasselbalch with pKa 2.97 and 3.86 (the acids table): at pH 3.9 10.5 % of 1 % salicylic and 47.7 % of 2 % lactic acid.
    let both = |key: &'static str| {
        let mut both = scrub(&[
            WATER,
            "Salicylic Acid | pct = 1 | functions = [\"acid\"]",
            "Lactic Acid | pct = 2.5 | strength_pct = 80 | functions = [\"acid\"]",
            "Sodium Hydroxide | pct = 7 | strength_pct = 10",
            "Sodium Benzoate | pct = 0.4 | functions = [\"preservative\"]",
            PHENOXYETHANOL,
        ]);
        both.acid = key;
        both
    };
    for key in ["key = \"salicylic\"\nfinal_ph = 3.9", "key = \"lactic\"\nfinal_ph = 3.9"] {
        let twice = both(key).expect("double-exfoliation", "caution", &["sunscreen", "as free acid"]);
        let by_hand = 1.0 / (1.0 + 10f64.powf(3.9 - 2.97)) + 2.0 / (1.0 + 10f64.powf(3.9 - 3.86));
        assert!((twice["value"].as_f64().unwrap() - by_hand).abs() < 0.02, "{twice}");
        let cautions = both(key).report()["cautions"].to_string();
        assert!(cautions.contains("aspirin") && cautions.contains("under three"), "{key}: {cautions}");
        let free = both(key).expect("acid-free", "pass", &["Salicylic acid: water takes", "Lactic acid: strong stock"]);
        // As the weigh sheet has it: the lye beyond what the salts bring, 27.8 mmol/kg of sodium benzoate among them.
        let why = free["why"].as_str().unwrap();
        let needs = why.split("In 100 g it needs ").nth(1).unwrap();
        let least: f64 = needs.split(' ').next().unwrap().parse().unwrap();
        // Its own balance: Na = lactate, salicylate, benzoate and OH less H, all by these pKa, less 27.8 mmol/kg: 0.649 g.
        assert!((0.64..0.66).contains(&least), "{why}");
    }
}

#[test]
fn a_salt_in_place_of_lye_is_offered_where_water_takes_the_acid() {
    let with = |acid: &'static str, inci: &str, pct: f64| {
        let mut one = scrub(&[WATER, &format!("{inci} | pct = {pct} | functions = [\"acid\"]"), PHENOXYETHANOL]);
        one.acid = acid;
        one.check("acid-free")["why"].as_str().unwrap().contains("or no base but")
    };
    assert!(with("key = \"lactic\"\nfinal_ph = 4", "Lactic Acid", 2.0));
    // Salicylic acid: some 0.2 g in 100 g of water (handbooks).
    assert!(!with("key = \"salicylic\"\nfinal_ph = 3.5", "Salicylic Acid", 2.0));
}

#[test]
fn law_holds_for_whom_and_where_it_is_made() {
    // Annex III/98 of Regulation (EC) 1223/2009 knows no exception for professional use.
    let mut salon = scrub(&[WATER, "Salicylic Acid | pct = 5 | functions = [\"acid\"]", LYE, PHENOXYETHANOL]);
    salon.acid = "key = \"salicylic\"\nfinal_ph = 4.5\n[use]\nsalon = true\nregions = [\"EU\"]";
    salon.expect("acid-active", "stop", &["entry 98", "breathe"]);
    // Annex V is law in the EU alone.
    let mut abroad = scrub(&[WATER, "Phenoxyethanol | pct = 1.2 | functions = [\"preservative\"]"]);
    (abroad.acid, abroad.base) = ("", "ph = 5\n[use]\nregions = [\"US\"]");
    let told = abroad.check("preservative");
    assert!(told["verdict"] != "stop" && told["open"].to_string().contains("not judged for US"), "{told}");
    // Annex V/42 counts as chlorhexidine: 20 % digluconate at 2 % are 0.4 x 505.4 / 897.8 = 0.225 %, under 0.3 %.
    let digluconate = "Chlorhexidine Digluconate | pct = 2 | strength_pct = 20 | functions = [\"preservative\"]";
    let chlorhexidine = "Chlorhexidine | pct = 0.4 | functions = [\"preservative\"]";
    let mut over = scrub(&[WATER, chlorhexidine]);
    (over.acid, over.base) = ("", "ph = 6");
    over.expect("preservative", "stop", &["0.4 % chlorhexidine", "over the 0.3 %"]);
    let mut chlorhexidine = scrub(&[WATER, digluconate]);
    (chlorhexidine.acid, chlorhexidine.base) = ("", "ph = 6");
    let why = chlorhexidine.check("preservative")["why"].to_string();
    assert!(!why.contains("over the"), "{why}");
}

#[test]
fn a_preservative_that_crystallises_is_told_without_an_acid_too() {
    // Sorbic acid, pKa 4.76: water at 25 °C takes 0.19 g in 100 mL (handbook figure, from memory), some 14 mmol/kg undissociated; 0.8 % of the
    // sorbate are 53 mmol/kg, of which 85 % are undissociated at pH 4.
    let mut plain = scrub(&[WATER, "Potassium Sorbate | pct = 0.8 | functions = [\"preservative\"]"]);
    (plain.acid, plain.base) = ("", "ph = 4.0");
    let told = plain.check("preservative")["why"].to_string();
    assert!(
        told.contains("does not dissolve at pH 4") && told.contains("crystallises and preserves nothing"),
        "{told}"
    );
    plain.base = "ph = 5.6";
    assert!(!plain.check("preservative")["why"].as_str().unwrap().contains("crystallises"));
}

#[test]
fn allergens_that_the_table_lacks_do_not_pass() {
    let verdict = |more: &str, verdict: &str, words: &[&str]| acid_scrub(&[more]).expect("allergens", verdict, words);
    let parfum =
        |allergens: &str| format!("Parfum | pct = 1 | functions = [\"fragrance\"] | allergens = [{allergens}]");
    verdict(
        &parfum("{ inci = \"Osier Lactone\", pct = 1 }"),
        "not-judged",
        &["Osier Lactone: not in the allergens table"],
    );
    verdict(&parfum("{ inci = \"Menthol\", pct = 30 }"), "caution", &["Menthol 0.3 %"]);
    verdict(&parfum(""), "not-judged", &["ask for its allergens"]);
    verdict(&parfum("{ inci = \"Linalool\", pct = 0 }"), "pass", &["none of the 82 fragrance allergens"]);
    verdict("Salvia Sclarea Oil | pct = 1", "not-judged", &["ask for its allergens"]);
    verdict("Rosa Canina Seed Oil | pct = 1", "pass", &[]);
    for nut in [
        "Juglans Nigra Seed Oil",
        "Prunus Dulcis Oil",
        "Bertholletia Excelsa Seed Oil",
        "Triticum Vulgare Germ Oil",
        "Carya Illinoinensis Seed Oil",
    ] {
        verdict(&format!("{nut} | pct = 1"), "caution", &["name it on the label"]);
    }
    // Each finding keeps its source: the legal duty beside the voluntary one.
    let both = acid_scrub(&["Linalool | pct = 0.1", "Juglans Regia Seed Oil | pct = 1"]).check("allergens");
    assert_eq!(both["status"], "from memory; published");
    for source in ["no duty to label", "Regulation (EC) 1223/2009 Annex III"] {
        assert!(both["source"].as_str().unwrap().contains(source), "{both}");
    }
}

#[test]
fn polymers_among_the_ingredients_are_seen() {
    for inci in ["Acrylates Copolymer", "Styrene/Acrylates Copolymer", "Polyester-11"] {
        let words = ["if it is in solid grains"];
        acid_scrub(&[&format!("{inci} | pct = 1")]).expect("microbeads", "caution", &words);
        acid_scrub(&[&format!("{inci} | pct = 1 | functions = [\"abrasive\"]")]).expect("microbeads", "stop", &[]);
    }
    // What comes as solid grains only is no thickener, whatever its function says.
    for inci in [
        "Polybutylene Terephthalate",
        "Polycaprolactone",
        "Polyhydroxybutyrate",
        "Polymethylsilsesquioxane",
        "Nylon-12",
        "Polyethylene",
    ] {
        acid_scrub(&[&format!("{inci} | pct = 1 | functions = [\"thickener\"]")]).expect("microbeads", "stop", &[]);
    }
}

#[test]
fn without_a_yield_stress_the_fastest_grains_decide() {
    // Stokes goes with d² Δρ: wax of 400 µm outruns pumice of 30 µm, though that pulls harder by d Δρ.
    let mut both = scrub(&[WATER]);
    (both.acid, both.base) = ("", "density_g_cm3 = 1.0\nviscosity_pa_s = 1500");
    both.powders = "[[powder]]\nname = \"Fines\"\nmaterial = \"pumice\"\nparts = 1\nsize = { d50_um = 30, gsd = 1.1 }\n\
        [[powder]]\nname = \"Beads\"\nmaterial = \"jojoba-wax\"\nparts = 1\nsize = { d50_um = 400, gsd = 1.05 }\n";
    let check = both.expect("suspension", "stop", &["Beads rises"]);
    assert_eq!((check["unit"].as_str(), check["limit"].as_f64()), (Some("mm"), Some(5.0)));
    assert!(check["value"].as_f64().unwrap() > 5.0, "{check}");
    both.base = "density_g_cm3 = 1.0\nviscosity_pa_s = 500000";
    assert!(both.expect("suspension", "pass", &["Beads"])["value"].as_f64().unwrap() < 5.0);
}

#[test]
fn densities_of_all_ingredients_make_that_of_the_base() {
    // 47.5 g of 0.9 and 47.5 g of 1.26 g/cm³ take 90.48 cm³: 1.05; pumice aside, volumes add up.
    let oil = "Helianthus Annuus Seed Oil | pct = 47.5 | density_g_cm3 = 0.9";
    let glycerin = "Glycerin | pct = 47.5";
    let mut two = scrub(&[oil, &format!("{glycerin} | density_g_cm3 = 1.26")]);
    (two.acid, two.base) = ("", "yield_stress_pa = 12");
    let reckoned = two.report()["density_g_cm3"].as_f64().unwrap();
    two.base = "yield_stress_pa = 12\ndensity_g_cm3 = 1.05";
    assert!((reckoned - two.report()["density_g_cm3"].as_f64().unwrap()).abs() < 1e-9);
    let mut one = scrub(&[oil, glycerin]);
    (one.acid, one.base) = ("", "yield_stress_pa = 12");
    one.expect("suspension", "not-judged", &["give density_g_cm3"]);
}

#[test]
fn no_caution_is_said_twice() {
    let mut salt = scrub(&[WATER]);
    (salt.acid, salt.base) = ("", "density_g_cm3 = 1.0");
    salt.powders = "[[powder]]\nname = \"Salt\"\nmaterial = \"salt\"\nparts = 1\nsize = { d50_um = 300, gsd = 1.3 }\n";
    let report = salt.report();
    let said = report["cautions"].as_array().unwrap();
    let dissolving = said.iter().filter(|c| c.as_str().unwrap().contains("with dissolution"));
    assert_eq!(dissolving.count(), 1, "{said:?}");
}

/// A substance is the same to a check whether it is listed as an ingredient or as a part of a blend: 2 % of it, and 4 % of a blend
/// that is half of it.
#[test]
fn every_check_sees_the_parts_of_a_blend() {
    let told = |check: &Value| {
        let open = check["open"].as_array().unwrap().iter().filter_map(|o| o.as_str());
        let all = open.chain(check["why"].as_str()).collect::<Vec<_>>().join("; ");
        (check["verdict"].as_str().unwrap().to_owned(), all)
    };
    for (key, inci, word) in [
        ("acid-active", "Glycolic Acid", "2 % glycolic acid"),
        ("acid-free", "Calcium Carbonate", "neutralises the acid"),
        ("acid-free", "Sodium Citrate", "of citric acid"),
        ("acid-free", "Lactobionic Acid", "outside the acids table"),
        ("allergens", "Parfum", "ask for its allergens"),
        ("allergens", "Fragrance", "ask for its allergens"),
        ("allergens", "Salvia Sclarea Oil", "ask for its allergens"),
        ("allergens", "Lavandula Angustifolia Oil", "Lavandula Oil/Extract 2 %"),
        ("allergens", "Linalool", "Linalool 2 %"),
        ("allergens", "Juglans Regia Seed Oil", "walnut"),
        ("annexes", "Hydroquinone", "prohibited on skin"),
        ("cool-down", "Parfum", "No 4 goes in"),
        ("double-exfoliation", "Retinol", "a retinoid"),
        ("microbeads", "Nylon-12", "solid plastic grains"),
        ("microbes", "Kaolin", "carry microbes"),
        ("preservative", "Phenoxyethanol", "over the 1 % allowed"),
        ("soluble", "Sucrose", "listed as an ingredient"),
        ("solids", "Silica", "listed as an ingredient"),
        ("traces", "Kaolin", ", Pumice: ask for lead"),
    ] {
        let whole = told(&acid_scrub(&[&format!("{inci} | pct = 2")]).check(key));
        let parts = format!("parts = [{{ inci = \"{inci}\", pct = 50 }}, {{ inci = \"Glycerin\", pct = 50 }}]");
        let part = told(&acid_scrub(&[&format!("Osier Blend | pct = 4 | {parts}")]).check(key));
        assert_eq!(whole.0, part.0, "{key}, {inci}: {whole:?} {part:?}");
        for (_, told) in [&whole, &part] {
            assert!(told.contains(word), "{key}, {inci}: no {word:?} in {told}");
        }
        let clean = told(&acid_scrub(&["Glycerin | pct = 2"]).check(key));
        assert!(!clean.1.contains(word), "{key}: {word:?} stands without {inci}: {}", clean.1);
    }
    // A thickener within a blend holds grains as one of its own does.
    let thick = |line: &str| {
        let mut one = acid_scrub(&[line]);
        one.base = "density_g_cm3 = 1.03";
        one.check("suspension")["why"].as_str().unwrap().contains("xanthan gum in the water")
    };
    assert!(thick("Xanthan Gum | pct = 0.5"));
    let parts = "parts = [{ inci = \"Xanthan Gum\", pct = 50 }, { inci = \"Glycerin\", pct = 50 }]";
    assert!(thick(&format!("Osier Gum | pct = 1 | {parts}")));
}

#[test]
fn acids_bases_and_water_within_blends_are_in_the_charge_balance() {
    let ph = |ingredients: &[&str]| {
        let report = scrub(ingredients).report();
        let reckoned = &report["ph_reckoned"];
        assert!(reckoned["in_salt"].is_f64(), "{reckoned}");
        reckoned["in_salt"].as_f64().unwrap()
    };
    let alone = ph(&[WATER, LACTIC, LYE, PHENOXYETHANOL]);
    let acid = "Osier Acid | pct = 3 | functions = [\"acid\"] | parts = [{ inci = \"Lactic Acid\", pct = 80 }, \
                { inci = \"Aqua\", pct = 20 }]";
    let lye =
        "Osier Lye | pct = 9.6 | functions = [\"neutralizer\"] | parts = [{ inci = \"Sodium Hydroxide\", pct = 10 }, \
               { inci = \"Aqua\", pct = 90 }]"
            .replace("neutralizer", "neutraliser");
    let blended = ph(&[WATER, acid, &lye, PHENOXYETHANOL]);
    assert!((alone - blended).abs() < 1e-9, "{alone} {blended}");
    // Blends for acid or base that hold none that is known are open, and so is a blend of acids that is not split.
    let parts = "parts = [{ inci = \"Osier Extract\", pct = 100 }]";
    let foreign = format!("Osier Acid | pct = 3 | functions = [\"acid\"] | {parts}");
    acid_scrub(&[&foreign]).expect("acid-free", "not-judged", &["the acids table does not know"]);
    let base = format!("Osier Lye | pct = 3 | functions = [\"neutraliser\"] | {parts}");
    acid_scrub(&[&base]).expect("acid-free", "not-judged", &["not in the neutralisers table"]);
    let unsplit = "Glycolic Acid + Malic Acid | pct = 9";
    acid_scrub(&[unsplit]).expect("acid-active", "not-judged", &["the acids table does not know"]);
    let mut without = scrub(&[WATER, unsplit, PHENOXYETHANOL]);
    without.acid = "";
    without.expect("acid-active", "not-judged", &["is an acid: add [acid]"]);
}

#[test]
fn blends_that_are_not_split_hide_no_allergen() {
    for inci in ["Glycerin + Parfum", "Linalool + Limonene", "Glycerin (and) Salvia Sclarea Oil"] {
        acid_scrub(&[&format!("{inci} | pct = 2")]).expect("allergens", "not-judged", &["ask for its allergens"]);
    }
    let nut = acid_scrub(&["Glycerin + Corylus Avellana Seed Oil | pct = 2"]).check("allergens");
    assert!(nut["why"].as_str().unwrap().contains("hazelnut"), "{nut}");
}
