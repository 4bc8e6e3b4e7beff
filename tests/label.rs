//! `gritwise label`: the list of Regulation (EC) 1223/2009, Article 19(1)(g), blends split, allergens by date, precautions, what is
//! open.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

const HEAD: &str = "[scrub]\nname = \"Sluice test\"\npowder_load_pct = 4.0\n[[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\n\
                    parts = 1\nsize = { d50_um = 60, gsd = 1.6 }\n";

/// Without it a scrub of water is stopped.
const PRESERVED: &str = "[[phase.ingredient]]\nname = \"Preservative\"\ninci = \"Phenoxyethanol\"\npct = 0.8\n\
                         functions = [\"preservative\"]\n";

/// A scrub of one phase: lines `name | rest of the ingredient's keys`.
fn scrub(ingredients: &[(&str, &str)], more: &str) -> String {
    let one = |(name, keys): &(&str, &str)| {
        format!("[[phase.ingredient]]\nname = \"{name}\"\n{}\n", keys.replace(" | ", "\n"))
    };
    let ingredients: String = ingredients.iter().map(one).collect();
    format!(
        "{HEAD}{more}\n[[phase]]\nname = \"All\"\n[[phase.ingredient]]\nname = \"Water\"\ninci = \"Aqua\"\nfill = true\n{PRESERVED}{ingredients}"
    )
}

struct Shop(TempDir);

impl Shop {
    fn new(text: &str) -> Self {
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("scrub.toml"), text).unwrap();
        Self(folder)
    }

    fn run(&self, args: &[&str]) -> (i32, String, String) {
        run_in(self.0.path(), &[&["label", "scrub.toml"], args].concat())
    }

    fn json(&self, args: &[&str]) -> (i32, Value) {
        let (status, out, err) = self.run(&[args, &["--json"]].concat());
        (status, serde_json::from_str(&out).unwrap_or_else(|_| panic!("{err}")))
    }
}

/// What `key` holds, as words.
fn words(report: &Value, key: &str) -> String {
    report[key].to_string()
}

#[test]
fn the_list_falls_by_weight_with_the_one_percent_line_and_colours_last() {
    let text = scrub(
        &[
            ("Iron oxide", "inci = \"CI 77491\" | pct = 2 | functions = [\"colour\"]"),
            ("Glycerin", "inci = \"Glycerin\" | pct = 3"),
            ("Vitamin", "inci = \"Tocopherol\" | pct = 0.2"),
            ("Gum", "inci = \"Xanthan Gum\" | pct = 0.9"),
            ("Caustic soda", "inci = \"Sodium Hydroxide\" | pct = 20 | strength_pct = 10"),
        ],
        "",
    );
    let (status, report) = Shop::new(&text).json(&[]);
    assert_eq!(status, 0, "{report:#}");
    // By hand: water 96 - 26.9 + 18 = 87.1; lye 2; rice 4.
    let list = "Aqua, Oryza Sativa (Rice) Bran, Glycerin, Sodium Hydroxide, Xanthan Gum, Phenoxyethanol, \
                Tocopherol, CI 77491";
    assert_eq!(report["list"], list);
    let entries = report["ingredients"].as_array().unwrap();
    let groups: Vec<&str> = entries.iter().map(|e| e["group"].as_str().unwrap()).collect();
    assert_eq!(
        groups,
        ["falling", "falling", "falling", "falling", "under-1-pct", "under-1-pct", "under-1-pct", "colour"]
    );
    assert!((entries[0]["pct"].as_f64().unwrap() - 87.1).abs() < 1e-9);
    let sum: f64 = entries.iter().map(|e| e["pct"].as_f64().unwrap()).sum();
    assert!((sum - 100.0).abs() < 1e-9, "{sum}");
    assert!(words(&report, "assumed").contains("Caustic soda"));
}

#[test]
fn blends_are_split_and_what_is_the_same_is_summed() {
    let parts = "{ inci = \"Ethylhexylglycerin\", pct = 90 }, { inci = \"Glycerin\", pct = 10 }";
    let text = scrub(
        &[("Blend", &format!("parts = [{parts}] | pct = 1")), ("Glycerin", "inci = \"GLYCERIN\" | pct = 0.95")],
        "",
    );
    let (status, report) = Shop::new(&text).json(&[]);
    assert_eq!(status, 0);
    // 0.95 + 0.1 of the blend is over the line, what is 0.9 under it.
    let list = report["list"].as_str().unwrap();
    assert!(list.ends_with("Glycerin, Ethylhexylglycerin, Phenoxyethanol"), "{list}");
    // The checks know a blend by its parts, as the preservatives table names blends.
    let parts = "{ inci = \"Phenoxyethanol\", pct = 90 }, { inci = \"Ethylhexylglycerin\", pct = 10 }";
    let why = |keys: &str| {
        let shop = Shop::new(&scrub(&[("Blend", &format!("{keys} | pct = 1 | functions = [\"preservative\"]"))], ""));
        let (_, out, _) = run_in(shop.0.path(), &["formula", "scrub.toml", "--json"]);
        let report: Value = serde_json::from_str(&out).unwrap();
        let checks = report["checks"].as_array().unwrap();
        checks.iter().find(|c| c["key"] == "preservative").unwrap()["why"].to_string()
    };
    let unknown = "Blend is not in the preservatives table";
    assert!(!why(&format!("parts = [{parts}]")).contains(unknown));
    assert!(why("parts = [{ inci = \"Osier Extract\", pct = 100 }]").contains(unknown));
}

#[test]
fn what_has_no_name_stands_in_the_list_and_is_told() {
    for (keys, missing, told) in [
        ("pct = 5", "[INCI name missing: Mystery]", "Mystery: its INCI name is missing; give inci, or parts"),
        (
            "inci = \"Caprylyl Glycol + Hexanediol\" | pct = 5",
            "[INCI name missing: shares of Caprylyl Glycol + Hexanediol]",
            "is a blend whose shares are missing",
        ),
        (
            "inci = \"Glycerin (and) Aqua\" | pct = 5",
            "[INCI name missing: shares of Glycerin (and) Aqua]",
            "is a blend whose shares are missing",
        ),
    ] {
        let (status, report) = Shop::new(&scrub(&[("Mystery", keys)], "")).json(&[]);
        assert_eq!((status, &report["complete"]), (1, &Value::Bool(false)), "{keys}");
        assert!(report["list"].as_str().unwrap().contains(missing), "{}", report["list"]);
        assert!(words(&report, "open").contains(told), "{}", report["open"]);
    }
    // A file of powders alone has a base that nobody knows.
    let (status, report) = Shop::new(HEAD).json(&[]);
    assert_eq!(status, 1);
    assert!(report["list"].as_str().unwrap().starts_with("[INCI name missing: everything but the powders], "));
    // A powder without a material or a name.
    let bare = HEAD.replace("material = \"rice-bran\"", "density_g_cm3 = 1.3\nhardness_gpa = 0.2\nroundness = 0.4");
    let (_, report) = Shop::new(&bare).json(&[]);
    assert!(report["list"].as_str().unwrap().ends_with("[INCI name missing: Rice]"), "{}", report["list"]);
    let named = bare.replace("parts = 1", "parts = 1\ninci = \"Juglans Regia Shell Powder\"");
    let (_, report) = Shop::new(&named).json(&[]);
    assert!(report["list"].as_str().unwrap().ends_with("Juglans Regia Shell Powder"));
}

/// Thresholds and days of Regulation (EU) 2023/1545: 0.001 % left on, 0.01 % rinsed off; new products from 31 July 2026, all from 31
/// July 2028 (read in a commentary, see the allergens table; that vanillin is among the new ones is from memory).
#[test]
fn allergens_over_their_threshold_stand_by_name_from_their_day_on() {
    let scent = "inci = \"Parfum\" | pct = 0.1 | functions = [\"fragrance\"] | allergens = [{ inci = \"Linalool\", pct = 10 }, \
                 { inci = \"Limonene\", pct = 9.9 }, { inci = \"Vanillin\", pct = 20 }, { inci = \"Citral\", pct = 0 }]";
    let rinsed = "[use]\nrinse_off = true\nper_week = 2";
    let named = |more: &str, date: &str| -> (String, Value) {
        let (_, report) = Shop::new(&scrub(&[("Scent", scent)], more)).json(&["--date", date]);
        (report["list"].as_str().unwrap().split_once("Parfum").unwrap().1.to_owned(), report)
    };
    // 0.1 % of 10 % is 0.01 %, which is not over 0.01 %.
    assert_eq!(named(rinsed, "2026-07-31").0, ", Vanillin");
    assert_eq!(named(rinsed, "2026-07-30").0, "");
    assert_eq!(named("[use]\nrinse_off = false", "2026-07-30").0, ", Linalool, Limonene");
    let (list, report) = named("", "2026-07-31");
    assert_eq!(list, ", Vanillin, Linalool, Limonene", "left on, unless it is said to be rinsed off");
    let vanillin = &report["allergens"][0];
    assert_eq!((vanillin["from"].as_str(), vanillin["until"].as_str()), (Some("2026-07-31"), Some("2028-07-31")));
    assert_eq!(vanillin["limit_pct"], 0.001);
    assert!(words(&report, "open").contains("say rinse_off"));
    // A scent of which nothing is said is open; so is an allergen that the table lacks.
    let (_, report) = Shop::new(&scrub(&[("Scent", "inci = \"Parfum\" | pct = 0.1")], rinsed)).json(&[]);
    assert!(words(&report, "open").contains("Scent: nothing is said of its fragrance allergens"));
    let strange = "inci = \"Parfum\" | pct = 0.1 | allergens = [{ inci = \"Osier Lactone\", pct = 10 }]";
    let (_, report) = Shop::new(&scrub(&[("Scent", strange)], rinsed)).json(&[]);
    assert!(words(&report, "open").contains("Osier Lactone: not in the allergens table"));
    // An allergen of its own, and as a part of a blend, is summed.
    let own = [
        ("Alcohol", "inci = \"Benzyl Alcohol\" | pct = 0.008"),
        ("Blend", "parts = [{ inci = \"Benzyl Alcohol\", pct = 50 }, { inci = \"Glycerin\", pct = 50 }] | pct = 0.006"),
    ];
    let (_, report) = Shop::new(&scrub(&own, rinsed)).json(&[]);
    let found = &report["allergens"][0];
    assert_eq!((found["inci"].as_str(), found["listed"].as_bool()), (Some("Benzyl Alcohol"), Some(true)));
    assert!((found["pct"].as_f64().unwrap() - 0.011).abs() < 1e-12);
}

#[test]
fn precautions_are_called_for_by_what_is_in_it() {
    let triggers = |text: &str| -> Vec<String> {
        let (_, report) = Shop::new(text).json(&[]);
        let all = report["warnings"].as_array().unwrap();
        all.iter().map(|w| w["trigger"].as_str().unwrap().to_owned()).collect()
    };
    let plain = scrub(&[], "[use]\nrinse_off = true");
    assert_eq!(triggers(&plain), ["eyes", "grains", "face"]);
    let has = |text: &str, wanted: &str| {
        let all = triggers(text);
        assert!(all.iter().any(|t| t == wanted), "{wanted}: {all:?}");
    };
    has(&scrub(&[("Acid", "inci = \"Lactic Acid\" | pct = 1")], ""), "aha");
    has(&scrub(&[("Acid", "inci = \"Sodium Lactate\" | pct = 1")], ""), "aha");
    has(&scrub(&[("Acid", "inci = \"Salicylic Acid\" | pct = 0.4")], ""), "bha");
    // A pinch that sets the pH is none; vitamin A and what releases formaldehyde are to be told (recalled).
    assert!(!triggers(&scrub(&[("Acid", "inci = \"Citric Acid\" | pct = 0.1")], "")).contains(&"aha".to_owned()));
    has(&scrub(&[("A", "inci = \"Retinyl Palmitate\" | pct = 0.1")], ""), "vitamin-a");
    has(&scrub(&[("D", "inci = \"DMDM Hydantoin\" | pct = 0.4")], ""), "formaldehyde");
    has(&scrub(&[("Oil", "inci = \"Juglans Regia Seed Oil\" | pct = 1")], ""), "nut");
    has(&scrub(&[("Oat", "inci = \"Avena Sativa Kernel Extract\" | pct = 1")], ""), "food");
    has(&scrub(&[], "[use]\nrinse_off = false"), "leave-on");
    has(&scrub(&[], "[use]\nsalon = true"), "salon");
    has(&plain.replace("rice-bran", "walnut-shell"), "tree-nut");
    has(&plain.replace("rice-bran", "walnut-shell").replace("d50_um = 60", "d50_um = 400"), "not-face");
    has(&plain.replace("inci = \"Aqua\"", "inci = \"Helianthus Annuus Seed Oil\""), "no-water");
    assert!(!triggers(&scrub(&[], "[use]\nrinse_off = false")).contains(&"grains".to_owned()));
}

/// Article 19(1)(c): a date up to 30 months, beyond it the period after opening.
#[test]
fn a_date_up_to_thirty_months_and_the_open_jar_beyond() {
    let told = |label: &str, args: &[&str]| {
        let (_, report) = Shop::new(&scrub(&[], &format!("[label]\n{label}"))).json(args);
        (report["best_before"].clone(), report["pao_months"].clone(), words(&report, "open"))
    };
    let dated = ["--date", "2026-11-30"];
    assert_eq!(told("durability_months = 30", &dated).0, "2029-04", "30 May is not the end of May");
    assert_eq!(told("durability_months = 7", &["--date", "2026-11-30"]).0, "2027-06");
    assert_eq!(told("durability_months = 24", &["--date", "2026-11-10"]).0, "2028-10");
    assert!(told("durability_months = 30", &[]).2.contains("give --date"));
    let (before, pao, _) = told("durability_months = 31\npao_months = 6", &dated);
    assert_eq!((before, pao), (Value::Null, 6.0.into()));
    assert!(told("durability_months = 31", &dated).2.contains("give pao_months"));
    assert!(told("", &dated).2.contains("give durability_months"));
    assert!(told("pao_months = 6", &dated).2.contains("pao_months is for what keeps over 30 months"));
}

#[test]
fn a_stop_of_the_formula_is_on_the_label_and_in_the_status() {
    let beads = scrub(&[("Polyethylene beads", "inci = \"Polyethylene\" | pct = 2 | functions = [\"abrasive\"]")], "");
    let (status, out, _) = Shop::new(&beads).run(&[]);
    assert_eq!(status, 1);
    assert!(out.contains("Not to be sold as it stands") && out.contains("microbeads"), "{out}");
}

#[test]
fn it_is_written_as_a_page_as_markdown_and_as_text() {
    let hostile = scrub(&[("<script>alert(1)</script>", "inci = \"Glycerin <b>\" | pct = 5")], "[fill]\nnet_g = 140");
    let shop = Shop::new(&hostile);
    let (status, out, err) = shop.run(&["--write", "l.html", "--write", "l.md", "--write", "l.txt"]);
    assert_eq!(status, 0, "{err}");
    let read = |name: &str| fs::read_to_string(shop.0.path().join(name)).unwrap();
    assert_eq!(read("l.txt"), out);
    for file in [read("l.html"), read("l.md")] {
        assert!(file.contains("Glycerin &lt;b&gt;") && !file.contains("<script"), "{file}");
    }
    assert!(out.contains("A draft for an assessor") && out.contains("140 g, figures 3 mm high or more"));
    // Never over what is there, nor over what it is made from.
    let (status, _, err) = shop.run(&["--write", "l.txt"]);
    assert!(status == 2 && err.contains("--force"), "{err}");
    let (status, _, err) = shop.run(&["--write", "l.pdf"]);
    assert!(status == 2 && err.contains("a paper ends in .html, .md or .txt"), "{err}");
}

#[test]
fn what_is_wrong_in_the_file_is_told_with_its_place() {
    for (ingredient, wanted) in [
        ("parts = [{ inci = \"Glycerin\", pct = 60 }] | pct = 1", "parts sum to 60 % of the ingredient, not 100"),
        (
            "allergens = [{ inci = \"Linalool\", pct = 60 }, { inci = \"Limonene\", pct = 50 }] | pct = 1",
            "allergens sum to 110 % of the ingredient, more than all of it",
        ),
        ("parts = [] | pct = 1", "parts sum to 0 % of the ingredient, not 100"),
        (
            "parts = [{ inci = \"Glycerin\", pct = 60 }, { inci = \"glycerin\", pct = 40 }] | pct = 1",
            "\"glycerin\" stands twice",
        ),
        ("parts = [{ inci = \"Glycerin\" }] | pct = 1", "pct is missing in parts"),
        ("parts = [{ name = \"Glycerin\", pct = 100 }] | pct = 1", "unknown key \"name\" in parts"),
        ("parts = \"Glycerin\" | pct = 1", "parts must be a list of tables"),
    ] {
        let (status, _, err) = Shop::new(&scrub(&[("Blend", ingredient)], "")).run(&[]);
        assert!(status == 2 && err.contains("scrub.toml:") && err.contains(wanted), "{err}");
    }
    for (label, wanted) in [
        ("durability_months = 6.5", "durability_months must be whole months, not 6.5"),
        ("pao_months = 0", "pao_months must be between 1 and 120"),
        ("responsable = \"x\"", "unknown key \"responsable\" in label; did you mean \"responsible\"?"),
    ] {
        let (status, _, err) = Shop::new(&scrub(&[], &format!("[label]\n{label}"))).run(&[]);
        assert!(status == 2 && err.contains("scrub.toml:") && err.contains(wanted), "{err}");
    }
    let (status, _, err) = Shop::new(HEAD).run(&["--date", "2026-02-30"]);
    assert!(status == 2 && err.contains("that month has 28 days"), "{err}");
}

/// Regulation (EU) 2023/1545: plant oils stand by a group name, and from 31 July 2028 on whatever was on the market before; the names are
/// from memory, see the allergens table.
#[test]
fn the_file_says_when_and_where_it_is_sold() {
    let oil =
        ("Oil", "inci = \"Osier Oil\" | pct = 0.5 | allergens = [{ inci = \"Lavandula Angustifolia Oil\", pct = 50 }]");
    let report = |usage: &str, date: &[&str]| {
        let usage = format!("[use]\nrinse_off = true\nper_week = 2\n{usage}");
        Shop::new(&scrub(&[oil], &usage)).json(date).1
    };
    let listed =
        |usage: &str, date: &[&str]| report(usage, date)["list"].as_str().unwrap().contains("Lavandula Oil/Extract");
    for (usage, date, named) in [
        ("on_market = 2026-07-30", vec![], false),
        ("on_market = 2026-07-31", vec![], true),
        ("on_market = 2026-07-30", vec!["--date", "2028-07-31"], false),
        ("on_market = 2026-07-30", vec!["--date", "2028-08-01"], true),
        ("on_market = 2027-01-01", vec!["--date", "2026-07-01"], true),
        ("", vec!["--date", "2026-07-30"], false),
        ("", vec![], true),
    ] {
        assert_eq!(listed(usage, &date), named, "{usage} {date:?}");
    }
    let open = |usage: &str| words(&report(usage, &[]), "open");
    let (list, order) = ("the tables hold no list of allergens", "the tables hold no rules for a list of ingredients");
    assert!(!open("regions = [\"EU\"]").contains("not judged for"));
    let canada = open("regions = [\"EU\", \"Canada\"]");
    assert!(canada.contains(&format!("not judged for CA: {order}")) && !canada.contains(list), "{canada}");
    let far = open("regions = [\"UK\", \"Japan\"]");
    assert!(far.contains(&format!("not judged for UK, Japan: {list}")), "{far}");
    assert!(far.contains(&format!("not judged for UK, Japan: {order}")), "{far}");
}

/// What stands in the list under a name of its own is not listed a second time under that of its group.
#[test]
fn a_plant_oil_is_listed_once_and_its_own_allergens_are_asked_for() {
    let oil = ("Oil", "inci = \"Lavandula Angustifolia Oil\" | pct = 0.5");
    let (_, report) = Shop::new(&scrub(&[oil], "[use]\nrinse_off = true\nper_week = 2")).json(&[]);
    let list = report["list"].as_str().unwrap();
    assert!(list.contains("Lavandula Angustifolia Oil") && !list.contains("Lavandula Oil/Extract"), "{list}");
    assert_eq!(report["allergens"][0]["inci"], "Lavandula Oil/Extract");
    assert!(words(&report, "open").contains("Oil: nothing is said of its fragrance allergens"));
}
