//! Where a number came from, number by number: no guess passes for published, in tables, results and dossiers.

use crate::common::run_in;
use crate::common::tables;

use gritwise::confidence::{Drawn, Inputs, Vary};
use gritwise::files;
use gritwise::report::BlendReport;
use gritwise::source::Source;
use gritwise::tables::{Flag, Material, Property, Status};
use gritwise_kernel::LANES;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

fn materials_csv() -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("grading-tables/materials.csv")).unwrap()
}

/// Two materials as the table has them, and one with numbers of its own.
const SCRUB: &str = "[scrub]\nname = \"Reach scrub\"\npowder_load_pct = 5\n\
    [[powder]]\nmaterial = \"macadamia-shell\"\nname = \"Shell, fine\"\nparts = 2\nsize = { d50_um = 150, gsd = 1.5 }\n\
    [[powder]]\nmaterial = \"apricot-shell\"\nparts = 1\nroundness = 0.25\nsize = { d50_um = 90, gsd = 1.5 }\n\
    [[powder]]\nmaterial = \"pumice\"\nname = \"Pumice\"\nparts = 1\nmohs = 6\ndensity_g_cm3 = 2.3\nroundness = 0.2\n\
    size = { d50_um = 45, gsd = 1.6 }\n";

#[test]
fn every_number_has_a_status_and_a_source_of_its_own() {
    for m in &tables().materials {
        let origins = Property::ALL.map(|p| &m.known(p).origin).into_iter().chain(m.soluble_origin.as_ref());
        let mut count = 0;
        for origin in origins {
            let source = origin.source.as_str();
            assert!(source.len() > 8, "{}: {source}", m.key);
            // The key of a list that nobody else has is no source.
            let is_key = |w: &str| w.len() > 1 && w.starts_with('S') && w[1..].chars().all(|c| c.is_ascii_digit());
            assert!(!source.split(|c: char| !c.is_alphanumeric()).any(is_key), "{}: {source}", m.key);
            match origin.status {
                Status::Published => assert!(!source.contains("recalled") && !source.contains("analogy"), "{source}"),
                Status::FromMemory => assert!(!source.contains("by analogy"), "{}: {source}", m.key),
                Status::Estimate => {
                    let words = ["analogy", "between", "taken as 0"];
                    assert!(words.iter().any(|w| source.contains(w)), "{}: an estimate says by what: {source}", m.key);
                }
                Status::Convention => panic!("{}: what a grain is like is no convention", m.key),
            }
            count += 1;
        }
        assert_eq!(count, 4, "{}", m.key);
    }
    // No roundness of any of them is published: the one measured grain (pumice, 0.13) is one grain.
    assert!(tables().materials.iter().all(|m| m.roundness.origin.status == Status::Estimate));
    let pumice = &tables().material("pumice").unwrap().roundness;
    assert!(pumice.low <= 0.13 && pumice.origin.source.contains("0.13"));
}

/// A factor of 1.4 either way, or as far as a number can go: roundness is at most 1, and no grain of a plant is denser than the
/// cell wall of wood and starch, about 1.5 g/cm3 (Kellogg and Wangaard 1969, Wood and Fiber 1, 180: 1.50 to 1.53; from memory).
#[test]
fn an_estimate_has_a_wide_range() {
    let most = |m: &Material, property: Property| match property {
        Property::Roundness => 1.0,
        Property::Density if m.is_plant() => 1.5,
        _ => f64::INFINITY,
    };
    let mut estimates = 0;
    for m in &tables().materials {
        for property in Property::ALL {
            let known = m.known(property);
            if known.origin.status != Status::Estimate {
                continue;
            }
            let what = format!("{}, {}: {} ({} to {})", m.key, property.key(), known.value, known.low, known.high);
            assert!(known.low <= known.value / 1.4 * (1.0 + 1e-9), "{what}");
            assert!(known.high * (1.0 + 1e-9) >= (known.value * 1.4).min(most(m, property)), "{what}");
            estimates += 1;
        }
    }
    assert!(estimates > 80, "{estimates}");
}

#[test]
fn tables_show_a_status_for_each_number() {
    let folder = TempDir::new().unwrap();
    let (_, text, _) = run_in(folder.path(), &["tables", "materials"]);
    for wanted in ["0.18 (0.15 to 0.21) p", "0.2 (0.14 to 0.3) e", "35.9 m", "p published, m from memory, e estimate"] {
        assert!(text.contains(wanted), "{wanted}: {text}");
    }
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(flat.contains("roundness, estimate: crushed shell, very angular to angular"), "{text}");
    assert!(flat.contains("hardness, published: Jennings and Macmillan 1986"), "{text}");
    let (_, text, _) = run_in(folder.path(), &["tables", "materials", "--json", "--row", "walnut-shell"]);
    let row = &serde_json::from_str::<Value>(&text).unwrap()["rows"][0];
    assert_eq!(row["hardness_status"], "published");
    assert_eq!(row["roundness_status"], "estimate");
    for key in
        ["hardness_source", "density_status", "density_source", "roundness_source", "soluble_status", "soluble_source"]
    {
        assert!(row[key].as_str().is_some_and(|s| !s.is_empty()), "{key}: {row}");
    }
    assert!(row.get("status").is_none() && row.get("source").is_none(), "{row}");
}

#[test]
fn a_table_that_does_not_say_it_is_refused_with_file_and_line() {
    let folder = TempDir::new().unwrap();
    let good = materials_csv();
    let header = good.lines().next().unwrap();
    let old_header = "key,name,inci,origin,mohs_low,mohs_high,hardness_gpa,hardness_gpa_low,hardness_gpa_high,density_g_cm3,\
        density_g_cm3_low,density_g_cm3_high,roundness,roundness_low,roundness_high,soluble_g_per_100ml,softens_c,face_pct,\
        body_pct,refused_by,flags,status,source,note";
    let old = format!(
        "{old_header}\ngrit,Grit,Grit,mineral,5,6,5,4,6,2.3,2.2,2.5,0.3,0.2,0.4,0,,1-5,1-5,,,published,a book,\n"
    );
    let line_of = |key: &str| 1 + good.lines().position(|l| l.starts_with(key)).unwrap();
    let sand = format!("materials.csv:{}: ", line_of("silica-sand,"));
    let changed = |from: &str, to: &str| {
        assert!(good.contains(from), "{from}");
        good.replacen(from, to, 1)
    };
    for (text, wanted) in [
        (
            old,
            vec![
                "materials.csv:1: the columns status and source tell of a whole row",
                "hardness_status",
                "soluble_source",
                "--csv",
            ],
        ),
        (
            changed(header, &header.replace("roundness_source", "roundness_sauce")),
            vec!["materials.csv:2: ", "roundness_sauce"],
        ),
        (
            changed(",published,", ",seen,"),
            vec!["materials.csv:2: density_status \"seen\" must be one of: published, from memory"],
        ),
        (
            changed(
                ",from memory,\"indentation of silicate glass (the walls, not the foam), material handbooks, recalled\"",
                ",,",
            ),
            vec!["materials.csv:2: hardness_status must say", "estimate"],
        ),
        (
            changed("quartz sand is not sold for the face (common practice, no source)", ""),
            vec![&sand, "flag not-on-face needs its reason"],
        ),
        (changed("silica-dust-high not-on-face", "silica-dust-high"), vec![&sand, "the flag not-on-face is missing"]),
        (
            changed("silica-dust-high not-on-face", "silica-dust-high not-on-fase"),
            vec![&sand, "no trigger of the cautions table"],
        ),
        (
            changed(",0.15,0.25,", ",0.35,0.25,").replacen(",0.25,0.12,0.35,estimate", ",0.25,0.3,0.35,estimate", 1),
            vec!["materials.csv:2: roundness = 0.25 must be positive and lie within its range"],
        ),
        (changed(",35.9,", ",,"), vec!["soluble_source tell of soluble_g_per_100ml, which is empty"]),
        (changed(",35.9,", ",-1,"), vec!["soluble_g_per_100ml must be 0 or more"]),
    ] {
        fs::write(folder.path().join("materials.csv"), text).unwrap();
        let (status, _, complaint) = run_in(folder.path(), &["tables", "materials", "--tables", "."]);
        assert_eq!(status, 2, "{complaint}");
        for word in wanted {
            assert!(complaint.contains(word), "{word}: {complaint}");
        }
    }
    // An empty solubility needs no origin, and the table as it is printed is read.
    fs::write(folder.path().join("materials.csv"), &good).unwrap();
    assert_eq!(run_in(folder.path(), &["tables", "materials", "--tables", "."]).0, 0);
}

#[test]
fn a_blend_says_what_each_number_rests_on() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), SCRUB).unwrap();
    let (_, text, complaint) = run_in(folder.path(), &["blend", "scrub.toml", "--json"]);
    let result: Value = serde_json::from_str(&text).expect(&complaint);
    let powder = |i: usize| &result["powders"][i];
    let status = |i: usize, key: &str| powder(i)["origins"][key]["status"].as_str().unwrap().to_owned();
    for i in 0..3 {
        for key in ["density_g_cm3", "hardness_gpa", "roundness"] {
            assert_eq!(powder(i)["origins"][key]["value"], powder(i)[key], "{key}");
            assert!(!powder(i)["origins"][key]["source"].as_str().unwrap().is_empty());
        }
    }
    let all = |i: usize| ["density_g_cm3", "hardness_gpa", "roundness"].map(|key| status(i, key));
    assert_eq!(all(0), ["published", "published", "estimate"]);
    assert_eq!(all(1), ["estimate", "estimate", "given"]);
    assert_eq!(all(2), ["given", "given", "given"]);
    assert_eq!(powder(0)["from_table"], serde_json::json!(["density", "hardness", "roundness"]));
    assert_eq!(powder(1)["from_table"], serde_json::json!(["density", "hardness"]));
    assert_eq!(powder(2)["from_table"], serde_json::json!([]));
    let mohs = powder(2)["origins"]["hardness_gpa"]["source"].as_str().unwrap();
    assert_eq!(mohs, "Mohs 6 as given with the powder, by the hardness table");
    assert_eq!(powder(0)["origins"]["soluble_g_per_100ml"]["status"], "estimate");
    let wanted = "Rests on estimates, not measurements: roundness of Shell, fine; density and hardness of Apricot kernel shell. ";
    let cautions: Vec<&str> = result["cautions"].as_array().unwrap().iter().map(|c| c.as_str().unwrap()).collect();
    assert_eq!(cautions.iter().filter(|c| c.starts_with("Rests on")).count(), 1, "{cautions:?}");
    assert!(cautions.iter().any(|c| c.starts_with(wanted)), "{cautions:?}");

    // With the estimates measured, what is left of the table is named without the word.
    let measured = SCRUB.replace("parts = 2\n", "parts = 2\nroundness = 0.2\n");
    let measured =
        measured.replace("parts = 1\nroundness", "parts = 1\ndensity_g_cm3 = 1.3\nhardness_gpa = 0.25\nroundness");
    fs::write(folder.path().join("scrub.toml"), measured).unwrap();
    let (_, text, _) = run_in(folder.path(), &["blend", "scrub.toml"]);
    assert!(text.contains("Rests on table values, not measurements of the lot, for: Shell, fine."), "{text}");
    assert!(!text.contains("Rests on estimates"), "{text}");
}

/// Numbers that were seen are log-normal and can lie beyond their range; an estimate stays within it. Each by its own status,
/// not by that of its row.
#[test]
fn each_property_is_drawn_by_its_own_status() {
    let scrub = files::read_scrub(Source::text(SCRUB, "test.toml", Path::new(".")), tables()).unwrap();
    let inputs = Inputs::new(&scrub, tables(), 0);
    let mut drawn: [Drawn; LANES] = std::array::from_fn(|_| inputs.stated().clone());
    let (low, high) = (vec![0.001; inputs.dimensions()], vec![0.999; inputs.dimensions()]);
    inputs.draw(&[low, high].concat(), Vary::All, &mut drawn);
    let [macadamia, apricot] = ["macadamia-shell", "apricot-shell"].map(|key| tables().material(key).unwrap());
    let beyond = |known: &gritwise::tables::Known, low: f64, high: f64| low < known.low && high > known.high;
    let hardness = |i: usize| [drawn[0].powders[i].hardness_gpa, drawn[1].powders[i].hardness_gpa];
    let density = |i: usize| [drawn[0].powders[i].density_g_cm3, drawn[1].powders[i].density_g_cm3];
    let [low, high] = hardness(0);
    assert!(beyond(&macadamia.hardness_gpa, low, high), "{low} {high}");
    let [low, high] = density(0);
    assert!(beyond(&macadamia.density_g_cm3, low, high), "{low} {high}");
    for (known, [low, high]) in [(&apricot.hardness_gpa, hardness(1)), (&apricot.density_g_cm3, density(1))] {
        assert!(known.low <= low && low < known.low * 1.02, "{low} {known:?}");
        assert!(known.high >= high && high > known.high * 0.98, "{high} {known:?}");
    }
}

#[test]
fn a_dossier_never_calls_an_estimate_published() {
    let folder = TempDir::new().unwrap();
    fs::write(folder.path().join("scrub.toml"), SCRUB).unwrap();
    let call = ["dossier", "scrub.toml", "--out", "file", "--draws", "1000"];
    let (status, _, complaint) = run_in(folder.path(), &call);
    assert_eq!(status, 0, "{complaint}");
    let dossier: Value =
        serde_json::from_str(&fs::read_to_string(folder.path().join("file/dossier.json")).unwrap()).unwrap();
    let sections = dossier["document"]["sections"].as_array().unwrap();
    let section = |key: &str| sections.iter().find(|s| s["key"] == key).unwrap().to_string();
    let markdown = fs::read_to_string(folder.path().join("file/dossier.md")).unwrap();
    let row = |name: &str, property: &str| {
        let is_it = |l: &&str| l.starts_with(&format!("| {name} | {property}"));
        markdown.lines().find(is_it).unwrap_or_else(|| panic!("{name}, {property}: {markdown}")).to_owned()
    };
    for (name, property, status) in [
        ("Shell, fine", "hardness", "published"),
        ("Shell, fine", "density", "published"),
        ("Shell, fine", "roundness", "estimate"),
        ("Shell, fine", "solubility", "estimate"),
        ("Apricot kernel shell", "hardness", "estimate"),
        ("Apricot kernel shell", "density", "estimate"),
        ("Apricot kernel shell", "roundness", "given"),
        ("Pumice", "hardness", "given"),
    ] {
        let row = row(name, property);
        assert!(row.contains(&format!("| {status} |")), "{status}: {row}");
    }
    let [macadamia, apricot] = ["macadamia-shell", "apricot-shell"].map(|key| tables().material(key).unwrap());
    let listed = section("sources");
    let sources = |text: &str| serde_json::to_string(text).unwrap().trim_matches('"').to_owned();
    assert!(listed.contains(&sources(&macadamia.hardness_gpa.origin.source)), "{listed}");
    // Not one of the table's estimates stands among the published sources; nor does what the user's own number replaced.
    for m in &tables().materials {
        for known in Property::ALL.map(|p| m.known(p)).into_iter().filter(|k| k.origin.status != Status::Published) {
            assert!(!listed.contains(&sources(&known.origin.source)), "{}", known.origin.source);
        }
    }
    assert!(!listed.contains(&sources(&tables().material("pumice").unwrap().density_g_cm3.origin.source)), "{listed}");
    assert!(!listed.contains(&sources(&apricot.density_g_cm3.origin.source)), "{listed}");
}

#[test]
fn sources_of_checks_and_cautions_are_those_of_rows() {
    // A source that itself holds "; " is one source: it is not cut at its semicolon.
    let rows = tables().cautions.iter().filter(|c| c.status == Status::Published && c.source.contains("; "));
    let microbes = rows.filter(|c| c.trigger == "microbes").map(|c| c.source.clone()).next().unwrap();
    let scrub = files::read_scrub(Source::text(SCRUB, "test.toml", Path::new(".")), tables()).unwrap();
    let judge = gritwise::band::Judge::new(tables()).unwrap();
    let report = BlendReport::of_insoluble(&scrub, &judge.assess(&scrub), &judge, tables());
    let told = report.cautions.iter().filter_map(|c| c.origin.as_ref()).find(|o| o.source == microbes);
    assert_eq!(told.map(|o| o.status), Some(Status::Published));
    let json = serde_json::to_value(&report).unwrap();
    assert!(json["cautions"].as_array().unwrap().iter().all(Value::is_string), "a caution is its text");

    let folder = TempDir::new().unwrap();
    let acid = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/millrace-acid-polish.toml");
    let (_, text, _) = run_in(folder.path(), &["formula", acid.to_str().unwrap(), "--json"]);
    let result: Value = serde_json::from_str(&text).unwrap();
    let mut several = 0;
    for check in result["checks"].as_array().unwrap() {
        let grounds = check["grounds"].as_array().unwrap();
        assert!(!grounds.is_empty(), "{check}");
        for ground in grounds {
            assert!(check["source"].as_str().unwrap().contains(ground["source"].as_str().unwrap()), "{check}");
            assert!(check["status"].as_str().unwrap().contains(ground["status"].as_str().unwrap()), "{check}");
        }
        several += usize::from(grounds.len() > 1);
    }
    assert!(several > 0, "{result}");
}

/// Common practice, no source: quartz sand is not sold for the face, sea and Epsom salt sting, borate is restricted.
#[test]
fn what_the_trade_keeps_off_the_face_says_why() {
    let mut kept_off: Vec<&str> = Vec::new();
    for m in &tables().materials {
        assert_eq!(m.not_on_face().is_some(), m.has_flag(Flag::NotOnFace), "{}", m.key);
        if m.not_on_face().is_some_and(|reason| reason.contains("no source") || reason.contains("from memory")) {
            kept_off.push(&m.key);
        }
    }
    assert_eq!(kept_off, ["silica-sand", "salt", "epsom", "borate"]);
    let folder = TempDir::new().unwrap();
    let sand = SCRUB.replace("material = \"pumice\"", "material = \"silica-sand\"\ndensity_is_meant = true");
    fs::write(folder.path().join("scrub.toml"), sand).unwrap();
    let (_, text, _) = run_in(folder.path(), &["blend", "scrub.toml"]);
    let flat = text.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(
        flat.contains("Pumice: not used on the face: quartz sand is not sold for the face (common practice"),
        "{text}"
    );
}
