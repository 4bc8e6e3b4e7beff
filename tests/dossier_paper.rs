//! What an assessor finds in a dossier: page one, the heads of Annex I, misuse in figures, gaps to write into.

use crate::common::{assert_near, run_in};
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const ACID: &str = "millrace-acid-polish.toml";

/// The heads of a cosmetic product safety report: Regulation (EC) No 1223/2009, Annex I, parts A and B.
const ANNEX_I: [(&str, &str); 14] = [
    ("A1", "Quantitative and qualitative composition"),
    ("A2", "Physical"),
    ("A3", "Microbiological quality"),
    ("A4", "Impurities, traces, information about the packaging material"),
    ("A5", "Normal and reasonably foreseeable use"),
    ("A6", "Exposure to the cosmetic product"),
    ("A7", "Exposure to the substances"),
    ("A8", "Toxicological profile of the substances"),
    ("A9", "Undesirable effects and serious undesirable effects"),
    ("A10", "Information on the cosmetic product"),
    ("B1", "Assessment conclusion"),
    ("B2", "Labelled warnings and instructions of use"),
    ("B3", "Reasoning"),
    ("B4", "Assessor's credentials and approval of part B"),
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// A dossier as it was written.
struct Paper {
    folder: TempDir,
    json: Value,
}

impl Paper {
    /// Of a scrub file's text, with the example's measured table beside it.
    fn of(text: &str, options: &[&str]) -> Self {
        let folder = TempDir::new().unwrap();
        fs::write(folder.path().join("scrub.toml"), text).unwrap();
        let table = "olive-stone-sieved.csv";
        fs::copy(root().join("examples").join(table), folder.path().join(table)).unwrap();
        let call = [&["dossier", "scrub.toml", "--out", "file", "--draws", "1000"], options].concat();
        let (status, said, complaint) = run_in(folder.path(), &call);
        assert_ne!(status, 2, "{said}{complaint}");
        assert_eq!(run_in(folder.path(), &["dossier", "--verify", "file"]).0, 0, "made again it is the same");
        let json = fs::read_to_string(folder.path().join("file/dossier.json")).unwrap();
        Self { json: serde_json::from_str(&json).unwrap(), folder }
    }

    fn of_example() -> Self {
        Self::of(&fs::read_to_string(root().join("examples").join(ACID)).unwrap(), &["--require", "face"])
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.folder.path().join("file").join(name)).unwrap()
    }

    fn sections(&self) -> &Vec<Value> {
        self.json["document"]["sections"].as_array().unwrap()
    }

    fn section(&self, key: &str) -> &Value {
        self.sections().iter().find(|s| s["key"] == key).unwrap_or_else(|| panic!("no section {key}"))
    }

    fn use_of(&self, rubbing: &str) -> &Value {
        self.json["misuse"]["uses"].as_array().unwrap().iter().find(|u| u["rubbing"] == rubbing).unwrap()
    }
}

#[test]
fn page_one_says_what_an_assessor_asks_first() {
    let paper = Paper::of_example();
    let first = &paper.sections()[0];
    assert_eq!(first["key"], "first");
    let rows = first["blocks"][0]["rows"].as_array().unwrap();
    let said = |head: &str| rows.iter().find(|r| r[0] == head).unwrap()[1].as_str().unwrap().to_owned();
    assert_eq!(said("Product"), "Millrace acid polish");
    let hash = paper.json["fingerprint"]["files"][0]["sha256"].as_str().unwrap();
    assert!(said("Version").contains(&hash[..12]) && said("Version").contains(env!("CARGO_PKG_VERSION")));
    assert!(said("Verdict").contains("delicate face") && said("Verdict").contains("it meets what was asked for"));
    assert!(said("How sure").contains("of 100 draws"));
    // Every check that is not passed is named, and so is every one with an open point.
    for check in paper.json["formula"]["checks"].as_array().unwrap() {
        let row = match check["verdict"].as_str().unwrap() {
            "stop" => "Stopped by",
            "caution" => "Cautions of checks",
            "not-judged" => "Not judged",
            _ => continue,
        };
        assert!(said(row).contains(check["key"].as_str().unwrap()), "{row}: {}", check["key"]);
        let open = check["open"].as_array().unwrap().len();
        let named = format!("{} ({open})", check["key"].as_str().unwrap());
        assert!(open == 0 || said("Open points").contains(&named), "{named}");
    }
    // Composition stands before the index, the index before what is open.
    let place = |key: &str| paper.sections().iter().position(|s| s["key"] == key).unwrap();
    let order = ["product", "formula", "powders", "index", "horn", "band", "misuse", "gaps", "sources", "fingerprint"];
    assert!(order.windows(2).all(|w| place(w[0]) < place(w[1])), "{order:?}");
}

#[test]
fn every_head_of_annex_i_leads_to_its_sections_or_says_who_gives_it() {
    let paper = Paper::of_example();
    let guide = &paper.sections()[0]["blocks"][1];
    assert_eq!(guide["kind"], "guide");
    let rows = guide["grid"]["rows"].as_array().unwrap();
    assert_eq!(rows.len(), ANNEX_I.len());
    let (html, markdown) = (paper.read("dossier.html"), paper.read("dossier.md"));
    for (i, (number, head)) in ANNEX_I.into_iter().enumerate() {
        assert_eq!(rows[i][0], number);
        assert!(rows[i][1].as_str().unwrap().starts_with(head), "{number}: {}", rows[i][1]);
        assert_ne!(rows[i][2], "", "{number}: nobody is named who gives the rest");
        let keys = guide["sections"][i].as_array().unwrap();
        for key in keys {
            let key = key.as_str().unwrap();
            let place = paper.sections().iter().position(|s| s["key"] == key).unwrap_or_else(|| panic!("{key}")) + 1;
            assert!(html.contains(&format!("<a href=\"#{key}\">{place}</a>")), "{key}");
            assert!(html.contains(&format!("<section id=\"{key}\"><h2>{place}. ")), "{key}");
        }
        let row = markdown.lines().find(|l| l.starts_with(&format!("| {number} |"))).unwrap();
        assert_eq!(row.ends_with("| not in here |"), keys.is_empty(), "{row}");
    }
    // What only the assessor can say is not in here.
    for number in ["A8", "A9", "B1", "B4"] {
        let i = ANNEX_I.iter().position(|h| h.0 == number).unwrap();
        assert_eq!(guide["sections"][i].as_array().unwrap().len(), 0, "{number}");
    }
}

#[test]
fn misuse_is_what_blend_says_of_the_same_scrub_under_such_a_rub() {
    let paper = Paper::of_example();
    // The same by other means: tables of one's own, and the first site of `blend`.
    let rubbed = |changes: &[(&str, &str, &str)]| {
        let mine = paper.folder.path().join("mine");
        _ = fs::remove_dir_all(&mine);
        fs::create_dir(&mine).unwrap();
        for (table, from, to) in changes {
            let name = format!("{table}.csv");
            let own = mine.join(&name);
            let from_file = if own.exists() { own.clone() } else { root().join("grading-tables").join(&name) };
            let text = fs::read_to_string(from_file).unwrap();
            assert!(text.contains(from), "{table} has no {from}");
            fs::write(own, text.replace(from, to)).unwrap();
        }
        let call = ["--tables", "mine", "blend", "scrub.toml", "--quick", "--json"];
        let blend: Value = serde_json::from_str(&run_in(paper.folder.path(), &call).1).unwrap();
        blend["sites"][0].clone()
    };
    let pressure = ("sites", "face,pressure_kpa,3,", "face,pressure_kpa,6,");
    let thin = ("sites", "face,gap_um,30,", "face,gap_um,15,");
    let dry = ("constants", "horn_hardness_mpa,10,5,40,", "horn_hardness_mpa,100,50,400,");
    for (rubbing, changes) in [
        ("as-stated", vec![("sites", "face,pressure_kpa,3,", "face,pressure_kpa,3,")]),
        ("pressed-harder", vec![pressure]),
        ("pressed-thin", vec![pressure, thin]),
        ("dry-skin", vec![dry]),
        ("dry-skin-thin", vec![dry, thin]),
    ] {
        let (found, wanted) = (paper.use_of(rubbing), rubbed(&changes));
        let number = |v: &Value| v.as_f64().unwrap();
        assert_eq!(found["site"], "face");
        assert_eq!(found["rub"], wanted["rub"], "{rubbing}");
        // A lower floor of sizes lays the panels out anew: they agree as closely as percentiles are solved.
        for key in ["groove_p95_um", "groove_ratio"] {
            assert_near(rubbing, number(&found[key]), number(&wanted[key]), 0.003, 0.0);
        }
        // One metre of sliding a use.
        let per_use = number(&found["removal_um_per_use"]);
        assert_near(rubbing, per_use, number(&wanted["removal_um_per_m"]), 0.001, 0.0);
        assert_near(rubbing, number(&found["removal_um_per_week"]), number(&found["per_week"]) * per_use, 1e-12, 0.0);
    }
    let uses = paper.json["misuse"]["uses"].as_array().unwrap();
    let daily = uses.iter().find(|u| u["how"].as_str().unwrap().starts_with("every day")).unwrap();
    assert_eq!(daily["per_week"], 7.0);
    assert_eq!(daily["removal_um_per_use"], paper.use_of("as-stated")["removal_um_per_use"]);
    let text = paper.section("misuse").to_string();
    assert!(text.contains("not a clinical measure") && text.contains("estimate"), "{text}");
}

#[test]
fn horn_of_one_use_stands_against_horny_layer_and_the_measured_treatment() {
    // The reference scrub. By an independent implementation in NumPy and SciPy it takes off 1.533 µm per metre; the horny layer of the face is
    // 14 µm in the sites table, of which that is 10.9 %. Loden and Bengtsson, J. Soc. Cosmet. Chem. 41, 1990: one treatment took off 2.4-2.9 tape strips, of 0.3-0.7 µm
    // each (from memory).
    let reference = "[scrub]\nname = \"Reference\"\npowder_load_pct = 5\n[[powder]]\nname = \"Grit\"\nparts = 1\ndensity_g_cm3 = 2.3\n\
                     hardness_gpa = 5\nroundness = 0.25\nsize = { d50_um = 100, gsd = 1.5 }\n";
    let paper = Paper::of(reference, &[]);
    let horn = paper.section("horn");
    let [sentence, treatment] = [0, 1].map(|i| horn["blocks"][i]["text"].as_str().unwrap().to_owned());
    assert!(
        sentence.contains("takes off 1.53 µm of horn") && sentence.contains("10.9 % of the horny layer"),
        "{sentence}"
    );
    assert!(sentence.contains("published: Egawa 2007") && sentence.contains("convention"), "{sentence}");
    assert!(
        treatment.contains("2.4 to 2.9 tape strips (published") && treatment.contains("from memory"),
        "{treatment}"
    );
    assert!(treatment.contains("that is 0.72 to 2.0 µm"), "{treatment}");
    // Everything is stated: what is left open are the checks and what the powder is called.
    let gaps = paper.json["gaps"].as_array().unwrap();
    assert!(gaps.iter().all(|g| !g["what"].as_str().unwrap().contains("estimate")), "{gaps:?}");
}

#[test]
fn gaps_are_this_products_own_with_room_to_write() {
    let paper = Paper::of_example();
    let gaps = paper.json["gaps"].as_array().unwrap();
    let has =
        |of: &Value, what: &str| gaps.iter().any(|g| g["of"] == *of && g["what"].as_str().unwrap().contains(what));
    for check in paper.json["formula"]["checks"].as_array().unwrap() {
        for point in check["open"].as_array().unwrap() {
            assert!(has(&check["key"], point.as_str().unwrap()), "{point}");
        }
    }
    // What the materials table only estimates is a gap, is called so, and is no published source.
    let sources = paper.section("sources").to_string();
    let mut estimates = 0;
    for powder in paper.json["blend"]["powders"].as_array().unwrap() {
        for (key, label) in [("density_g_cm3", "density"), ("hardness_gpa", "hardness"), ("roundness", "roundness")] {
            let origin = &powder["origins"][key];
            let is_estimate = origin["status"] == "estimate";
            assert_eq!(is_estimate, has(&powder["name"], label), "{label} of {}", powder["name"]);
            let rows = paper.section("powders")["blocks"][1]["rows"].as_array().unwrap();
            let row =
                rows.iter().find(|r| r[0] == powder["name"] && r[1].as_str().unwrap().starts_with(label)).unwrap();
            assert_eq!((&row[4], &row[5]), (&origin["status"], &origin["source"]));
            if is_estimate {
                estimates += 1;
                assert!(!sources.contains(origin["source"].as_str().unwrap()), "{origin}");
            }
        }
    }
    assert!(estimates > 2);
    let written = format!("| {0} | {0} |", "\\_".repeat(12));
    assert_eq!(paper.read("dossier.md").matches(&written).count(), gaps.len() + 2, "and two rows to sign");
    assert_eq!(paper.read("dossier.html").matches("<td class=\"hand\"></td>").count(), 2 * gaps.len() + 6);
}

#[test]
fn sources_are_rows_that_say_published() {
    let paper = Paper::of_example();
    let mut published: Vec<String> = Vec::new();
    for entry in fs::read_dir(root().join("grading-tables")).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_none_or(|e| e != "csv") {
            continue;
        }
        let mut reader = csv::Reader::from_path(path).unwrap();
        let heads = reader.headers().unwrap().clone();
        let place = |name: &str| heads.iter().position(|h| h == name);
        let reference = place("reference").zip(place("status"));
        let pairs = heads.iter().filter_map(|h| Some((place(h)?, place(&h.replace("source", "status"))?)));
        let pairs: Vec<_> = pairs.filter(|(source, status)| source != status).chain(reference).collect();
        for row in reader.records().map(Result::unwrap) {
            published.extend(pairs.iter().filter(|p| &row[p.1] == "published").map(|p| row[p.0].to_owned()));
        }
    }
    // A check may rest on a rule that the program knows without a table; it says so of each of its grounds.
    for check in paper.json["formula"]["checks"].as_array().unwrap() {
        let grounds = check["grounds"].as_array().unwrap().iter().filter(|g| g["status"] == "published");
        published.extend(grounds.map(|g| g["source"].as_str().unwrap().to_owned()));
    }
    let block = &paper.section("sources")["blocks"][1];
    let listed = block["items"].as_array().unwrap();
    assert!(listed.len() > 5);
    for source in listed {
        let source = source.as_str().unwrap();
        assert!(published.iter().any(|p| p == source), "no row is published from {source}");
        assert!(!source.contains("no source"), "{source}");
    }
}

#[test]
fn it_prints_with_page_numbers_and_a_running_title() {
    let text = fs::read_to_string(root().join("examples").join(ACID)).unwrap();
    let hostile = text.replace("Millrace acid polish", "A\\\"}</style><script>x</script>\\\\");
    assert_ne!(text, hostile);
    for (text, title) in [
        (&text, "content:\"Millrace acid polish\\3a  suitability dossier\""),
        (
            &hostile,
            "content:\"A\\22 \\7d \\3c \\2f style\\3e \\3c script\\3e x\\3c \\2f script\\3e \\5c \\3a  suitability dossier\"",
        ),
    ] {
        let html = Paper::of(text, &[]).read("dossier.html");
        assert!(html.contains("counter(page) \" / \" counter(pages)"));
        assert!(html.contains(title), "{}", &html[..html.find("<body").unwrap()]);
        assert_eq!(html.matches("</style>").count(), 1);
        // Words of 12 units in a picture 800 wide are drawn at 9.6 px or more.
        assert!(html.contains("figure svg{width:100%;min-width:40rem"));
    }
}

#[test]
fn any_scrub_makes_a_dossier() {
    let powder = |i: usize| {
        format!(
            "[[powder]]\nmaterial = \"rice-bran\"\nname = \"P{i}\"\nparts = 1\nsize = {{ d50_um = {}, gsd = 1.4 }}\n",
            60 + i
        )
    };
    let head = "[scrub]\nname = \"Many\"\npowder_load_pct = 5\n";
    let feet = "[scrub]\nname = \"Feet\"\npowder_load_pct = 8\n[[powder]]\nmaterial = \"pumice\"\nparts = 1\n\
                size = { d50_um = 900, gsd = 1.3 }\n";
    let kinds = [(20, ""), (1, "[use]\nkind = \"dry\"\n"), (2, "[use]\nkind = \"oil\"\nper_week = 14\n")];
    for (count, kind) in kinds {
        let powders: String = (0..count).map(powder).collect();
        let paper = Paper::of(&format!("{head}{kind}{powders}"), &[]);
        assert_eq!(paper.json["misuse"]["per_week_stated"], kind.contains("per_week"));
    }
    // What is judged at the foot is rubbed on the face too.
    let paper = Paper::of(feet, &[]);
    let (meant, face) = (paper.use_of("as-stated"), paper.use_of("on-reference-site"));
    assert_ne!(meant["site"], "face");
    assert_eq!(face["site"], "face");
    assert_eq!(face["groove_ratio"], paper.json["blend"]["sites"][0]["groove_ratio"]);
}
