//! The dossier: the same inputs give the same bytes, whatever changes is found, and hostile names stay text.

use crate::common::run_in;
use serde_json::Value;
use std::fs;
use std::path::Path;
use tempfile::TempDir;

const EXAMPLE: &str = "millrace-rice-polish.toml";

/// A folder with the example and its table.
fn workshop() -> TempDir {
    let folder = TempDir::new().unwrap();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    for file in [EXAMPLE, "olive-stone-sieved.csv"] {
        fs::copy(examples.join(file), folder.path().join(file)).unwrap();
    }
    folder
}

fn all_files(folder: &Path) -> Vec<(String, Vec<u8>)> {
    let mut files = Vec::new();
    let mut folders = vec![folder.to_path_buf()];
    while let Some(next) = folders.pop() {
        for entry in fs::read_dir(next).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                folders.push(path);
            } else {
                let name = path.strip_prefix(folder).unwrap().to_string_lossy().into_owned();
                files.push((name, fs::read(&path).unwrap()));
            }
        }
    }
    files.sort();
    files
}

#[test]
fn the_same_inputs_give_the_same_bytes_and_any_change_is_found() {
    let shop = workshop();
    let call = ["dossier", EXAMPLE, "--out", "file", "--require", "face", "--date", "2026-11-25"];
    let (status, said, _) = run_in(shop.path(), &call);
    assert_eq!(status, 0);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("it meets what was asked for") && said.contains("not a clinical measure"), "{said}");
    // From elsewhere, under another name of the same path.
    let elsewhere = TempDir::new().unwrap();
    let (scrub, out) = (shop.path().join(EXAMPLE), elsewhere.path().join("again"));
    let (scrub, out) = (scrub.to_str().unwrap(), out.to_str().unwrap());
    let again = ["dossier", scrub, "--out", out, "--require", "face", "--date", "2026-11-25"];
    assert_eq!(run_in(elsewhere.path(), &again).0, 0);
    assert_eq!(all_files(&shop.path().join("file")), all_files(Path::new(out)));
    assert_eq!(run_in(shop.path(), &call).0, 2, "what is there is not replaced unasked");

    let verify = |extra: &[&str]| {
        let (status, said, _) = run_in(shop.path(), &[&["dossier", "--verify", "file", "--json"], extra].concat());
        let found: Value = serde_json::from_str(&said).unwrap();
        let differences = found["differences"].as_array().unwrap().iter().map(|d| d.as_str().unwrap().to_owned());
        assert_eq!(found["status"], if status == 0 { "same" } else { "differs" });
        (status, differences.collect::<Vec<_>>())
    };
    assert_eq!(verify(&[]), (0, vec![]));
    // The scrub at hand has moved on; the dossier itself has not.
    let text = fs::read_to_string(scrub).unwrap();
    fs::write(scrub, text.replace("parts = 2", "parts = 3")).unwrap();
    assert_eq!(verify(&[EXAMPLE]), (1, vec![format!("in the scrub at hand, {EXAMPLE} has changed")]));
    assert_eq!(verify(&[]).0, 0);
    // A word in the text, a number in a copy, a table of one's own, a file gone.
    let html = shop.path().join("file/dossier.html");
    let good = fs::read_to_string(&html).unwrap();
    fs::write(&html, good.replace("delicate face", "baby face")).unwrap();
    assert_eq!(verify(&[]), (1, vec!["dossier.html is not what comes out now".into()]));
    fs::write(&html, good).unwrap();
    let tables = TempDir::new().unwrap();
    let bands = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("grading-tables/bands.csv")).unwrap();
    fs::write(tables.path().join("bands.csv"), bands.replace("\nface,face,index,300,", "\nface,face,index,290,"))
        .unwrap();
    let (status, differences) = verify(&["--tables", tables.path().to_str().unwrap()]);
    assert!(status == 1 && differences.contains(&"the table bands is another one".to_owned()), "{differences:?}");
    let copy = shop.path().join("file/inputs/olive-stone-sieved.csv");
    let good = fs::read(&copy).unwrap();
    fs::write(&copy, String::from_utf8(good.clone()).unwrap().replace("125", "124")).unwrap();
    let (status, differences) = verify(&[]);
    assert!(status == 1 && differences.contains(&"olive-stone-sieved.csv has changed".to_owned()), "{differences:?}");
    fs::write(&copy, good).unwrap();
    fs::remove_file(shop.path().join("file/pictures/work.svg")).unwrap();
    assert_eq!(verify(&[]), (1, vec!["pictures/work.svg is missing or cannot be read".into()]));
}

#[test]
fn the_figures_are_those_of_blend() {
    let shop = workshop();
    assert_eq!(run_in(shop.path(), &["dossier", EXAMPLE, "--out", "file", "--require", "face"]).0, 0);
    let dossier: Value =
        serde_json::from_str(&fs::read_to_string(shop.path().join("file/dossier.json")).unwrap()).unwrap();
    let blend: Value = serde_json::from_str(&run_in(shop.path(), &["blend", EXAMPLE, "--json"]).1).unwrap();
    assert_eq!(dossier["blend"], blend);
    assert_eq!(dossier["meets_required"], true);
    // Hashes are those of the files that stand beside it; SHA-256 by another hand: the sha256sum of coreutils.
    let listed = &dossier["fingerprint"]["files"][0];
    if let Ok(output) = std::process::Command::new("sha256sum").arg(shop.path().join(EXAMPLE)).output() {
        let sum = String::from_utf8(output.stdout).unwrap();
        assert!(sum.starts_with(listed["sha256"].as_str().unwrap()), "{sum}");
    }
    // Every text of the document stands in the HTML and in the Markdown.
    let html = fs::read_to_string(shop.path().join("file/dossier.html")).unwrap();
    let markdown = fs::read_to_string(shop.path().join("file/dossier.md")).unwrap();
    let sections = dossier["document"]["sections"].as_array().unwrap();
    assert!(sections.len() >= 11);
    for (i, section) in sections.iter().enumerate() {
        let (number, title) = (i + 1, section["title"].as_str().unwrap());
        let head = format!("<h2>{number}. {title}</h2>");
        assert!(html.contains(&head) && markdown.contains(&format!("## {number}\\. {title}")), "{title}");
    }
    for text in ["A10", "B4", "Toxicological profile of the substances", "never its conclusion", "no safety assessment"]
    {
        assert!(html.contains(text) && markdown.contains(text), "{text}");
    }
    // Nothing is fetched and nothing runs.
    for word in ["<script", "http://", "https://", "@import", "url(", "<link", "<img"] {
        let found = html.replace("http://www.w3.org/2000/svg", "").contains(word);
        assert!(!found, "the HTML holds {word}");
    }
}

#[test]
fn a_scrub_that_is_too_harsh_is_written_down_as_that() {
    let shop = workshop();
    let text = fs::read_to_string(shop.path().join(EXAMPLE)).unwrap();
    fs::write(shop.path().join("coarse.toml"), text.replace("parts = 2", "parts = 40")).unwrap();
    let (status, said, _) =
        run_in(shop.path(), &["dossier", "coarse.toml", "--out", "file", "--require", "delicate-face"]);
    assert_eq!(status, 1);
    let said = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(said.contains("does not meet what was asked for"), "{said}");
    assert!(fs::read_to_string(shop.path().join("file/dossier.md")).unwrap().contains("not met"));
    assert_eq!(run_in(shop.path(), &["dossier", "--verify", "file"]).0, 0, "the dossier is as it was made");
}

#[test]
fn grains_that_dissolve_and_checks_that_stop_are_told_at_once() {
    let folder = TempDir::new().unwrap();
    let examples = Path::new(env!("CARGO_MANIFEST_DIR")).join("examples");
    fs::copy(examples.join("weir-salt-scrub.toml"), folder.path().join("salt.toml")).unwrap();
    fs::copy(examples.join("olive-stone-sieved.csv"), folder.path().join("olive-stone-sieved.csv")).unwrap();
    let (_, said, complaint) = run_in(folder.path(), &["dossier", "salt.toml", "--out", "salt"]);
    let unwrapped = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unwrapped.contains("over the whole rub, as grains dissolve"), "{said}{complaint}");
    // The grains as they reach the skin are held against what was asked for.
    assert_eq!(run_in(folder.path(), &["dossier", "salt.toml", "--out", "face", "--require", "face"]).0, 1);
    let text = fs::read_to_string(examples.join("millrace-acid-polish.toml")).unwrap();
    fs::write(folder.path().join("sour.toml"), text.replace("final_ph = 4.8", "final_ph = 3.0")).unwrap();
    let (status, said, _) = run_in(folder.path(), &["dossier", "sour.toml", "--out", "sour", "--require", "face"]);
    assert_eq!(status, 1);
    let unwrapped = said.split_whitespace().collect::<Vec<_>>().join(" ");
    assert!(unwrapped.contains("stopped by: ") && unwrapped.contains("does not meet"), "{said}");
}

#[test]
fn what_does_not_rub_has_no_picture_of_how_sure_its_index_is() {
    let shop = TempDir::new().unwrap();
    let dust = "[scrub]\nname = \"Dust\"\npowder_load_pct = 1\n[[powder]]\nmaterial = \"rice-bran\"\nparts = 1\n\
                size_is_meant = true\nsize = { d50_um = 1.5, gsd = 1.1 }\n";
    fs::write(shop.path().join("dust.toml"), dust).unwrap();
    let (status, said, _) = run_in(shop.path(), &["dossier", "dust.toml", "--out", "file"]);
    assert_eq!(status, 0, "{said}");
    let names: Vec<_> = all_files(&shop.path().join("file")).into_iter().map(|f| f.0).collect();
    assert!(names.iter().any(|n| n.contains("frequency")), "{names:?}");
    assert!(names.iter().all(|n| !n.contains("confidence.svg")), "{names:?}");
}

#[test]
fn a_strangers_dossier_is_read_from_plain_files_of_its_own() {
    let shop = workshop();
    assert_eq!(run_in(shop.path(), &["dossier", EXAMPLE, "--out", "file"]).0, 0);
    let file = shop.path().join("file");
    fs::write(shop.path().join("secret.csv"), "secret words\n").unwrap();
    let (scrub, json) = (file.join("inputs").join(EXAMPLE), file.join("dossier.json"));
    let (good_scrub, good_json) = (fs::read_to_string(&scrub).unwrap(), fs::read_to_string(&json).unwrap());
    let verify = || run_in(shop.path(), &["dossier", "--verify", "file"]);
    let assert_kept_in = |wanted: i32, word: &str| {
        let (status, said, complaint) = verify();
        assert_eq!(status, wanted, "{said}{complaint}");
        assert!(!said.contains("secret") && !complaint.contains("secret words"), "{said}{complaint}");
        assert!(format!("{said}{complaint}").contains(word), "{said}{complaint}");
    };
    // A table beyond the folder, a listed name beyond it, more draws than anybody waits for.
    fs::write(&scrub, good_scrub.replace("\"olive-stone-sieved.csv\"", "\"../../secret.csv\"")).unwrap();
    assert_kept_in(1, "other files than the dossier lists");
    fs::write(&scrub, &good_scrub).unwrap();
    fs::write(&json, good_json.replace("\"olive-stone-sieved.csv\"", "\"../../secret.csv\"")).unwrap();
    assert_kept_in(2, "no plain name");
    fs::write(&json, good_json.replace("\"draws\": 4096", "\"draws\": 100000000")).unwrap();
    assert_kept_in(2, "1000000 at most");
    fs::write(&json, &good_json).unwrap();
    // Something that was never part of it.
    fs::write(file.join("more.html"), "x").unwrap();
    assert_kept_in(1, "more.html is no part of it");
    fs::remove_file(file.join("more.html")).unwrap();
    #[cfg(unix)]
    {
        let table = file.join("inputs/olive-stone-sieved.csv");
        fs::remove_file(&table).unwrap();
        std::os::unix::fs::symlink(shop.path().join("secret.csv"), &table).unwrap();
        assert_kept_in(2, "a link or a special file");
    }
}

#[test]
fn tables_of_ones_own_are_kept_with_it() {
    let shop = workshop();
    let tables = shop.path().join("mine");
    fs::create_dir(&tables).unwrap();
    let bands = fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("grading-tables/bands.csv")).unwrap();
    fs::write(tables.join("bands.csv"), bands.replace("face,face,index,180,", "face,face,index,170,")).unwrap();
    let call = ["--tables", "mine", "dossier", EXAMPLE, "--out", "file", "--require", "hands and feet"];
    assert_eq!(run_in(shop.path(), &call).0, 0);
    fs::remove_dir_all(&tables).unwrap();
    assert_eq!(run_in(shop.path(), &["dossier", "--verify", "file"]).0, 0);
    // And the call that it names makes it again.
    let text = fs::read_to_string(shop.path().join("file/dossier.md")).unwrap();
    assert!(text.contains("--require hands-and-feet --tables tables"), "{text}");
}

#[test]
fn hostile_names_stay_text() {
    let shop = workshop();
    let text = fs::read_to_string(shop.path().join(EXAMPLE)).unwrap();
    let name = format!("<script>alert('x')</script> | `a` [b](c) & {}", "x".repeat(150));
    let text = text.replace("Millrace rice polish\"", &format!("{name}\""));
    let text = text.replace("\"Rice bran, fine\"", "\"<img src=x onerror=y> | \u{5d0}\"");
    fs::write(shop.path().join(EXAMPLE), text).unwrap();
    let (status, _, complaint) = run_in(shop.path(), &["dossier", EXAMPLE, "--out", "file"]);
    assert_eq!(status, 0, "{complaint}");
    let html = fs::read_to_string(shop.path().join("file/dossier.html")).unwrap();
    assert!(!html.contains("<script") && !html.contains("<img"));
    let markdown = fs::read_to_string(shop.path().join("file/dossier.md")).unwrap();
    assert!(!markdown.contains("<script") && !markdown.contains("<img"));
    assert_eq!(run_in(shop.path(), &["dossier", "--verify", "file"]).0, 0);
}

#[test]
fn bad_calls() {
    let shop = workshop();
    fs::create_dir(shop.path().join("other")).unwrap();
    fs::write(shop.path().join("other/dossier.json"), "{\"fingerprint\": 3}").unwrap();
    for (args, wanted) in [
        (vec!["dossier", EXAMPLE], "--out"),
        (vec!["dossier", "--out", "x"], "FILE.toml"),
        (vec!["dossier", EXAMPLE, "--out", "x", "--verify", "y"], "cannot be used with"),
        (vec!["dossier", EXAMPLE, "--out", "x", "--date", "2026-02-30"], "28 days"),
        (vec!["dossier", EXAMPLE, "--out", "x", "--require", "fase"], "did you mean \"face\""),
        (vec!["dossier", "--verify", "nowhere"], "no such file"),
        (vec!["dossier", "--verify", "other"], "this is no dossier of gritwise"),
    ] {
        let (status, _, complaint) = run_in(shop.path(), &args);
        assert_eq!(status, 2, "{args:?}: {complaint}");
        assert!(complaint.contains(wanted), "{args:?}: {complaint}");
        assert!(!shop.path().join("x").exists());
    }
}
