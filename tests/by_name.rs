//! What a powder is by its INCI name or its name: of what material where none is named, and whether it is plastic however that is spelt.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use tempfile::TempDir;

/// A scrub of one powder with numbers of its own.
fn scrub(lines: &str, numbers: &str) -> String {
    format!(
        "[scrub]\nname = \"S\"\npowder_load_pct = 2\n[[powder]]\n{lines}parts = 1\n{numbers}size = {{ d50_um = 90, gsd = 1.3 }}\n"
    )
}

const SOFT: &str = "density_g_cm3 = 2.16\nhardness_gpa = 0.2\nroundness = 0.5\n";

fn blend(text: &str, more: &[&str]) -> (i32, Value, String) {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("s.toml"), text).unwrap();
    let (status, out, error) = run_in(folder.path(), &[&["blend", "s.toml", "--json"], more].concat());
    (status, serde_json::from_str(&out).unwrap_or_default(), error)
}

#[test]
fn what_is_not_named_by_its_key_is_judged_as_if_it_were() {
    for (key, lines) in [
        ("salt", "name = \"Sea salt\"\n"),
        ("salt", "name = \"Coarse crystals\"\ninci = \"Sodium Chloride\"\n"),
        ("salt", "name = \"Crystals\"\ninci = \"SODIUM  CHLORIDE\"\n"),
        ("salt", "name = \"Salt in oil\"\ninci = \"Sodium Chloride (and) Glycine Soja Oil\"\n"),
        ("borate", "name = \"Borax\"\ninci = \"Sodium Borate\"\n"),
        ("silica-sand", "name = \"Quartz sand\"\n"),
        ("walnut-shell", "name = \"Grit\"\ninci = \"Juglans Regia (Walnut) Shell Powder\"\n"),
        ("walnut-shell", "name = \"Grit\"\ninci = \"Juglans Regia Shell Powder\"\n"),
    ] {
        let meant = "density_is_meant = true\nhardness_is_meant = true\n";
        let name = lines.lines().next().unwrap();
        let (_, named, error) = blend(&scrub(&format!("{name}\nmaterial = \"{key}\"\n{meant}"), SOFT), &[]);
        assert_eq!(error, "", "{key}");
        let (_, told, error) = blend(&scrub(lines, SOFT), &[]);
        assert_eq!(error, "", "{lines}");
        for place in ["/band/name", "/band/sure_pct", "/band/governed_by", "/index/value", "/cautions"] {
            assert_eq!(told.pointer(place), named.pointer(place), "{lines} {place}");
        }
        let required = |text: &str| blend(text, &["--quick", "--require", "face"]).0;
        let as_named = required(&scrub(&format!("{name}\nmaterial = \"{key}\"\n{meant}"), SOFT));
        assert_eq!(required(&scrub(lines, SOFT)), as_named, "{lines}");
        // Its numbers are its own.
        assert_eq!(told["powders"][0]["hardness_gpa"], 0.2);
        assert!(told["powders"][0]["assumptions"].to_string().contains(&format!("it is {key} of the materials table")));
        assert!(!named["powders"][0]["assumptions"].to_string().contains("no material is named"));
    }
}

#[test]
fn what_no_table_knows_is_said_to_be_unjudged() {
    let (status, told, _) = blend(&scrub("name = \"River crystals\"\n", SOFT), &[]);
    assert_eq!(status, 0);
    let assumed = told["powders"][0]["assumptions"].to_string();
    assert!(assumed.contains("what hangs on a material was not judged"), "{assumed}");
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("s.toml"), scrub("name = \"River crystals\"\n", SOFT)).unwrap();
    let (_, text, _) = run_in(folder.path(), &["blend", "s.toml"]);
    assert!(text.split("Assumed").nth(1).unwrap().contains("River crystals: no material is named"), "{text}");
    // A number that is missing is still asked for, and the name of nothing but a refused row is refused.
    let (status, _, error) = blend(&scrub("name = \"Sea salt\"\n", "density_g_cm3 = 2.16\nroundness = 0.5\n"), &[]);
    assert!(status == 2 && error.contains("hardness is missing"), "{error}");
    let (status, _, error) = blend(&scrub("name = \"Grit\"\ninci = \"Cellulose Acetate\"\n", SOFT), &[]);
    assert!(status == 2 && error.contains("refused"), "{error}");
}

#[test]
fn a_shelf_is_searched_without_what_is_called_so() {
    let folder = TempDir::new().unwrap();
    let shelf = format!(
        "[[powder]]\nname = \"Crystals\"\ninci = \"Sodium Chloride\"\nprice_per_kg = 1\n{SOFT}size = {{ d50_um = 90, gsd = 1.3 }}\n\
         [[powder]]\nname = \"Rice\"\nmaterial = \"rice-bran\"\nprice_per_kg = 9\nsize = {{ d50_um = 90, gsd = 1.3 }}\n"
    );
    fs::write(folder.path().join("shelf.toml"), shelf).unwrap();
    let aim = "[aim]\nname = \"A\"\nshelf = \"shelf.toml\"\ngoal = \"cheapest\"\nband = \"body\"\nload_pct = [2, 2]\nwithout = [\"salt\"]\n";
    fs::write(folder.path().join("aim.toml"), aim).unwrap();
    let (_, out, error) = run_in(folder.path(), &["aim", "aim.toml", "--json"]);
    assert!(out.contains("Rice") && !out.contains("Crystals"), "{out}{error}");
}

/// Ordinary spellings of what Regulation (EU) 2023/2055 and others forbid.
#[test]
fn plastic_is_refused_however_it_is_spelt() {
    let refused = |lines: &str| {
        let (status, _, error) = blend(&scrub(lines, SOFT), &["--quick"]);
        status == 2
            && ["refused", "mixes letters", "does not say what its beads"].iter().any(|what| error.contains(what))
    };
    let names = [
        "PA-6",
        "PEHD",
        "PBT beads",
        "Polymethylmethacrylat",
        "Poliuretano",
        "聚乙烯",
        "Polyethylene and nylon",
        "Beads (PE)",
        "Beads, PE",
        "beads PE",
        "PE/PP",
        "PE 300",
        "PE wax",
        "UHMW-PE",
        "LLDPE",
        "PEbeads",
        "P.E. beads",
        "Poly-ethylene",
        "Poly ethylene",
        "poly.ethylene",
        "poly_ethylene",
        "Polyethylenes",
        "Nylons",
        "polymers",
        "polyethylenebeads",
        "plasticbeads",
        "Polyethene",
        "polypropene",
        "Microbeads",
        "PA12",
        "PA 12",
        "PETG",
        "TPU",
        "POM",
        "ABS",
        "bioplastic",
        "Polyethylene free of dust",
        "non polyethylene",
        "poly\u{200b}ethylene",
        "ＰＥ　ｂｅａｄｓ",
        "Ｐｏｌｙｅｔｈｙｌｅｎｅ",
        "P\u{43e}lyethylene",
        "polye\u{301}thyle\u{300}ne",
        "pólyethylene",
        "\u{420}\u{415} beads",
        "Scrub grains of PE",
        "Fine PE",
        "polymers, fine",
        "Nylon-12 powder",
        "pe beads",
        "PE",
        "plastic, free flowing",
        "Silicone beads",
        "Silicone resin powder",
        "Rubber crumb",
        "PC beads",
        "Microspheres 200",
    ];
    for name in names {
        assert!(refused(&format!("name = \"{name}\"\n")), "{name}");
    }
    for inci in ["Polyethene", "Poly-ethylene", "Polyethylenes"] {
        assert!(refused(&format!("name = \"White beads\"\ninci = \"{inci}\"\n")), "{inci}");
    }
    // The table of another material does not hide it.
    assert!(refused("name = \"Poly-ethylene\"\nmaterial = \"cellulose-bead\"\ndensity_is_meant = true\n"));
}

#[test]
fn what_only_sounds_like_plastic_passes() {
    for name in [
        "Plastic clay",
        "Ball clay, plastic",
        "Pumice PP40",
        "Luffa, free of PE and PP",
        "Rice wax beads without polyethylene or nylon",
        "Bamboo (not plastic)",
        "0 % plastic rice",
        "Pearl powder",
        "Polishing grit",
        "Pea hulls",
        "Peas",
        "Aloe",
        "Rice bran (PP bag)",
        "Cellulose beads, plastic-free",
        "PE free",
        "Polyethylene glycol coated cellulose",
        "Bamboo powder",
        "PEARL POWDER",
        "Bamboo in a PET bottle",
        "Cellulose, PE-free",
        "Petal powder",
        "Apple seed",
        "Polenta",
        "Non-plastic beads",
        "Beads, no plastic",
        "Grit 50 µm",
        "β-Glucan grains",
        "Опилки",
        "Éclats d'amande",
        "Pumice F220",
        "Cellulose microbeads",
        "Eva's sugar",
        "APPLE AND PEAR GRIT",
        "Silicon carbide, fine",
        "Glass microspheres",
        "Rice bran, silicone-free",
        "San Juan pumice",
    ] {
        let (status, _, error) = blend(&scrub(&format!("name = \"{name}\"\n"), SOFT), &["--quick"]);
        assert_eq!((status, error.as_str()), (0, ""), "{name}");
    }
    let (status, _, error) = blend(&scrub("name = \"Microbeads\"\nmaterial = \"jojoba-wax\"\n", ""), &["--quick"]);
    assert_eq!((status, error.as_str()), (0, ""));
}

/// Names that the trade uses for a row of the table (handbooks, from memory).
#[test]
fn rows_are_known_by_their_other_names() {
    for (name, key) in [
        ("Sea salt, fine", "salt"),
        ("Maris Sal", "salt"),
        ("Aluminum Oxide", "alumina"),
        ("Magnesium sulphate", "epsom"),
        ("Kieselguhr", "diatomite"),
    ] {
        let (_, out, error) = blend(&scrub(&format!("name = \"{name}\"\n"), SOFT), &["--quick"]);
        assert!(out.to_string().contains(&format!("by its name it is {key} of")), "{name}: {out} {error}");
    }
    // Borax is a row that is kept off the face and dissolves.
    let (status, _, error) = blend(&scrub("name = \"Borax\"\n", SOFT), &["--quick", "--require", "face"]);
    assert!(status > 0, "{error}");
}
