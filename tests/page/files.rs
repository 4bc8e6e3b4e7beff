//! Files of the page: what is read and written, under which names, within which limits.

use super::{POLISH, command};
use crate::common::served::served;
use serde_json::{Value, json};
use std::fs;
use std::time::{Duration, Instant};

#[test]
fn tables_keep_apart_and_are_named_when_something_is_wrong() {
    let page = served();
    let sieve = |top: u32| format!("opening_um,retained_g\n{top},1\n100,8\npan,1\n");
    let hand = json!([{ "name": "lot-9.csv", "text": sieve(200) }]);
    let table = |body: Value| page.post("table", &body);
    let name = |body: Value| table(body).json()["name"].as_str().unwrap().to_owned();
    // Another table of the same name gets a name of its own; the same one keeps it, in hand and on disk.
    assert_eq!(name(json!({ "name": "lot-9.csv", "text": sieve(300), "tables": hand })), "lot-9-2.csv");
    assert_eq!(name(json!({ "name": "lot-9.csv", "text": sieve(200), "tables": hand })), "lot-9.csv");
    assert_eq!(name(json!({ "name": "olive-stone-sieved.csv", "text": sieve(300) })), "olive-stone-sieved-2.csv");
    // One that is in hand only can be chosen.
    let chosen = table(json!({ "name": "lot-9.csv", "tables": hand })).json();
    assert_eq!((&chosen["name"], &chosen["text"]), (&json!("lot-9.csv"), &hand[0]["text"]));
    assert_eq!(table(json!({ "name": "lot-9.csv" })).status, 404);
    // Bytes of an older spreadsheet are read as text; those that are none are refused as the command line does.
    let bytes = b"# M\xfcller\nopening_um,retained_g\n300,3\npan,1\n";
    let read = table(json!({ "name": "latin.csv", "bytes": bytes.to_vec() })).json();
    assert_eq!(read["text"], "# Müller\nopening_um,retained_g\n300,3\npan,1\n");
    let bytes = b"opening_um,retained_g\n300,\0\npan,1\n";
    fs::write(page.folder.path().join("zero.csv"), bytes).unwrap();
    let refused = table(json!({ "name": "zero.csv", "bytes": bytes.to_vec() }));
    assert_eq!((refused.status, &refused.json()["line"]), (422, &json!(2)));
    assert_eq!(refused.json()["error"].as_str().unwrap(), command(&page, &["size", "zero.csv"]).1);
    let good = "# Müller\nopening_um,retained_g\n300,3\npan,1\n";
    assert_eq!(table(json!({ "name": "good.csv", "bytes": good.as_bytes() })).json()["text"], good);

    // Saved are the tables in use and no others; another one on disk is a conflict that says which, and writes nothing.
    let text =
        fs::read_to_string(page.folder.path().join(POLISH)).unwrap().replace("olive-stone-sieved.csv", "data-a.csv");
    let draft = json!({ "file": "new.toml", "text": text,
                        "tables": [{ "name": "data-a.csv", "text": sieve(200) }, { "name": "a.csv", "text": sieve(300) }] });
    let path = |name: &str| page.folder.path().join(name);
    fs::write(path("data-a.csv"), sieve(250)).unwrap();
    let taken = page.post("save", &json!({ "draft": draft, "base": null }));
    assert!(taken.status == 422 && taken.text.contains("data-a.csv: the folder holds another table"), "{}", taken.text);
    assert!(!path("new.toml").exists());
    fs::write(path("data-a.csv"), sieve(200)).unwrap();
    assert_eq!(page.post("save", &json!({ "draft": draft, "base": null })).status, 200);
    assert!(path("new.toml").exists() && !path("a.csv").exists());
    // Two of one name: nothing of it is left behind.
    let twice = json!([{ "name": "dd.csv", "text": sieve(200) }, { "name": "dd.csv", "text": sieve(300) }]);
    let twice = json!({ "file": "dd.toml", "text": text.replace("data-a.csv", "dd.csv"), "tables": twice });
    let refused = page.post("save", &json!({ "draft": twice, "base": null }));
    assert!(refused.status == 422 && refused.text.contains("dd.csv"), "{}", refused.text);
    assert!(!path("dd.csv").exists() && !path("dd.toml").exists());

    // The example is saved beside a sieve.csv of the folder's own.
    fs::write(path("sieve.csv"), sieve(400)).unwrap();
    let example = page.get("example").json();
    assert_eq!(page.post("save", &json!({ "draft": example, "base": null })).status, 200);
    assert_eq!(fs::read_to_string(path("sieve.csv")).unwrap(), sieve(400));
    assert_ne!(page.get("example").json()["file"], example["file"]);
    // A new one has no table that nobody measured.
    assert_eq!(page.get("start").json()["tables"], json!([]));
}

#[test]
fn a_table_that_is_gone_or_changed_on_disk_is_named() {
    let page = served();
    let table = page.folder.path().join("bamboo-counts.csv");
    let draft = page.draft("osier-bamboo-polish.toml");
    let first = page.post("assess", &json!({ "draft": draft })).json();
    assert!(first.get("changed").is_none());
    let text = fs::read_to_string(&table).unwrap();
    let same = page.post("assess", &json!({ "draft": draft, "tables_read": first["tables_read"] })).json();
    assert!(same.get("changed").is_none());
    fs::write(&table, text + "\n# another day\n").unwrap();
    let other = page.post("assess", &json!({ "draft": draft, "tables_read": first["tables_read"] })).json();
    assert!(
        other["changed"][0].as_str().unwrap().starts_with("bamboo-counts.csv changed on disk"),
        "{}",
        other["changed"]
    );
    fs::remove_file(&table).unwrap();
    let gone = page.post("assess", &json!({ "draft": draft }));
    assert_eq!(gone.status, 422);
    assert!(gone.json()["error"].as_str().unwrap().contains("bamboo-counts.csv: no such file"), "{}", gone.text);
}

#[test]
fn large_tables_are_taken_and_too_large_ones_refused_in_words() {
    let page = served();
    let sieve = "opening_um,retained_g\n200,1\n100,8\npan,1\n";
    let text =
        fs::read_to_string(page.folder.path().join(POLISH)).unwrap().replace("olive-stone-sieved.csv", "big.csv");
    let draft = |bytes: usize| {
        let big = format!("{sieve}{}", format!("# {}\n", "x".repeat(60)).repeat(bytes / 63));
        json!({ "file": "x.toml", "text": text, "tables": [{ "name": "big.csv", "text": big }] })
    };
    // As large as the command line reads them, six at once.
    let large = draft((8 << 20) - 1000);
    assert_eq!(page.post("compare", &json!({ "drafts": vec![&large; 6] })).status, 200);
    let beyond = page.post("assess", &json!({ "draft": draft(9 << 20) }));
    assert!(beyond.status == 422 && beyond.text.contains("big.csv: the file is larger than 8 MiB"), "{}", beyond.text);
    let body = format!("{{{}", " ".repeat(64 << 20));
    let refused = page.post_text("assess", &body);
    assert!(refused.status == 413 && refused.text.contains("64 MiB"), "{} {}", refused.status, refused.text);
}

#[cfg(unix)]
#[test]
fn files_of_odd_names_and_rights_are_treated_as_they_are() {
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::PermissionsExt;
    let page = served();
    let path = |name: &str| page.folder.path().join(name);
    let text = fs::read_to_string(path(POLISH)).unwrap();
    // Listed, opened, and saved in place; a new file gets no such name.
    for (file, encoded) in
        [("a?b.toml", "a%3Fb.toml"), ("<x>: y.toml", "%3Cx%3E%3A%20y.toml"), (" lead.toml", "%20lead.toml")]
    {
        fs::write(path(file), &text).unwrap();
        assert!(page.get("folder").json()["scrubs"].as_array().unwrap().iter().any(|s| s["file"] == file));
        let draft = page.get(&format!("scrub?file={encoded}")).json();
        assert_eq!(draft["text"], text, "{file}");
        assert_eq!(page.post("save", &json!({ "draft": draft, "base": text })).status, 200);
        fs::remove_file(path(file)).unwrap();
        assert_eq!(page.post("save", &json!({ "draft": draft, "base": null })).status, 422);
    }
    let mut draft = page.draft(POLISH);
    draft["file"] = json!("a003 \u{202e}lmot.toml");
    let refused = page.post("save", &json!({ "draft": draft, "base": null }));
    assert!(refused.status == 422 && refused.text.contains("[U+202E]"), "{}", refused.text);

    // What cannot be used is said to be there.
    fs::write(page.folder.path().join(std::ffi::OsStr::from_bytes(b"bad\xff.toml")), &text).unwrap();
    std::os::unix::fs::symlink("loop.toml", path("loop.toml")).unwrap();
    let broken = page.get("folder").json()["broken"].to_string();
    assert!(broken.contains("its name is not UTF-8") && broken.contains("loop.toml"), "{broken}");

    // A byte-order mark stays; a file that may only be read stays as it is.
    fs::write(path("mark.toml"), format!("\u{feff}{text}")).unwrap();
    let mut draft = page.draft("mark.toml");
    draft["text"] = json!(text.replace("parts = 4", "parts = 5"));
    assert_eq!(page.post("save", &json!({ "draft": draft, "base": text })).status, 200);
    assert!(fs::read_to_string(path("mark.toml")).unwrap().starts_with("\u{feff}#"));
    fs::set_permissions(path("mark.toml"), fs::Permissions::from_mode(0o444)).unwrap();
    let base = page.draft("mark.toml")["text"].clone();
    let refused = page.post("save", &json!({ "draft": draft, "base": base }));
    assert!(refused.status == 422 && refused.text.contains("may only be read"), "{}", refused.text);
}

#[cfg(unix)]
#[test]
fn nothing_outside_the_folder_is_read_or_written() {
    let page = served();
    let outside = tempfile::tempdir().unwrap();
    let secret = "opening_um,retained_g\n777,7\npan,3\n";
    let target = outside.path().join("secret.csv");
    fs::write(&target, secret).unwrap();
    let toml = outside.path().join("secret.toml");
    fs::copy(page.folder.path().join(POLISH), &toml).unwrap();
    let link =
        |to: &std::path::Path, name: &str| std::os::unix::fs::symlink(to, page.folder.path().join(name)).unwrap();
    link(&target, "link.csv");
    link(&toml, "link.toml");
    link(outside.path(), "way");
    let up = format!("../{}/secret.csv", outside.path().file_name().unwrap().to_str().unwrap());
    for table in ["link.csv", "way/secret.csv", up.as_str(), target.to_str().unwrap(), "a/../../x.csv"] {
        let text =
            fs::read_to_string(page.folder.path().join(POLISH)).unwrap().replace("olive-stone-sieved.csv", table);
        let reply = page.post("assess", &json!({ "draft": { "file": "x.toml", "text": text } }));
        assert_eq!(reply.status, 422, "{table}: {}", reply.text);
        assert!(!reply.text.contains("777"), "{}", reply.text);
    }
    for file in ["link.toml", "../secret.toml", "way/secret.toml", "%2e%2e%2fsecret.toml", "/etc/hostname", "x.csv"] {
        let reply = page.get(&format!("scrub?file={file}"));
        assert!((400..500).contains(&reply.status), "{file}: {} {}", reply.status, reply.text);
    }
    let draft = page.draft(POLISH);
    for file in ["link.toml", "../new.toml", "way/new.toml", "/etc/new.toml", ".hidden.toml", "new.sh", "a\\b.toml", ""]
    {
        let mut wanted = draft.clone();
        wanted["file"] = json!(file);
        for base in [Value::Null, draft["text"].clone()] {
            let reply = page.post("save", &json!({ "draft": wanted, "base": base }));
            // There could be a file of an odd name; there is none.
            let gone = reply.status == 409 && reply.json()["disk"].is_null() && !base.is_null();
            assert!(reply.status == 422 || gone, "{file}: {}", reply.text);
        }
    }
    let mut with_table = draft.clone();
    with_table["tables"] = json!([{ "name": "../olive-stone-sieved.csv", "text": secret }]);
    with_table["text"] =
        json!(draft["text"].as_str().unwrap().replace("olive-stone-sieved.csv", "../olive-stone-sieved.csv"));
    with_table["file"] = json!("new.toml");
    assert_eq!(page.post("save", &json!({ "draft": with_table, "base": null })).status, 422);
    assert_eq!(fs::read_to_string(&target).unwrap(), secret);
    assert_eq!(fs::read(&toml).unwrap(), fs::read(page.folder.path().join(POLISH)).unwrap());
    assert_eq!(fs::read_dir(outside.path()).unwrap().count(), 2);
    // Listed are plain files of the folder only; of a link that leads out it is said that it does.
    let listed = page.get("folder").json();
    let error = |file: &str| {
        let broken = listed["broken"].as_array().unwrap().iter().find(|b| b["file"] == file);
        broken.unwrap_or_else(|| panic!("{file}: {listed}"))["error"].as_str().unwrap().to_owned()
    };
    assert!(error("link.toml").contains("outside the folder") && error("link.csv").contains("outside the folder"));
    assert!(!listed["tables"].to_string().contains("link") && !listed["scrubs"].to_string().contains("link"));
}

#[test]
fn saving_keeps_comments_and_refuses_a_file_that_changed() {
    let page = served();
    let path = page.folder.path().join(POLISH);
    let before = fs::read_to_string(&path).unwrap();
    let draft = page.draft(POLISH);
    let edits = json!([{ "do": "powder", "powder": 0, "values": { "parts": 4.5 } }]);
    let edited = page.post("assess", &json!({ "draft": draft, "edits": edits })).json()["draft"].clone();
    assert_eq!(page.post("save", &json!({ "draft": edited, "base": before })).status, 200);
    let after = fs::read_to_string(&path).unwrap();
    assert_eq!(after, before.replace("parts = 4 ", "parts = 4.5 "));

    // Someone else writes; what was begun before that is refused, and both sides are there.
    let theirs = after.replace("parts = 2", "parts = 3");
    fs::write(&path, &theirs).unwrap();
    let refused = page.post("save", &json!({ "draft": edited, "base": after }));
    assert_eq!(refused.status, 409);
    assert_eq!(refused.json()["disk"], json!(theirs));
    assert_eq!(fs::read_to_string(&path).unwrap(), theirs);
    assert_eq!(page.post("save", &json!({ "draft": edited, "base": null })).status, 409);
    assert_eq!(page.post("save", &json!({ "draft": edited, "base": theirs })).status, 200);
    fs::remove_file(&path).unwrap();
    let gone = page.post("save", &json!({ "draft": edited, "base": after }));
    assert_eq!((gone.status, &gone.json()["disk"]), (409, &Value::Null));
    assert!(!path.exists());

    // What cannot be read again is not written.
    let broken = json!({ "file": "broken.toml", "text": "[scrub]\nname = 3\n" });
    assert_eq!(page.post("save", &json!({ "draft": broken, "base": null })).status, 422);
    let start = page.get("example").json();
    assert_eq!(page.post("save", &json!({ "draft": start, "base": null })).status, 200);
    assert!(page.folder.path().join("sieve.csv").exists());
    let names: Vec<String> =
        fs::read_dir(page.folder.path()).unwrap().map(|e| e.unwrap().file_name().into_string().unwrap()).collect();
    assert!(!names.iter().any(|n| n.starts_with(".gritwise") || n == "broken.toml"), "{names:?}");
}

#[test]
fn a_new_file_takes_no_place_of_another_kind() {
    let page = served();
    let path = |name: &str| page.folder.path().join(name);
    let [draft, shelf, aim] = [POLISH, "shelf.toml", "aim-cheapest-face.toml"].map(|file| page.draft(file));
    fs::write(path("panel.toml"), "[calibration]\nslope = 1\n").unwrap();
    fs::write(path("torn.toml"), "[scrub\n").unwrap();
    fs::write(path("none.toml"), "").unwrap();
    let save = |draft: &Value, file: &str, base: &Value| {
        let mut draft = draft.clone();
        draft["file"] = json!(file);
        page.post("save", &json!({ "draft": draft, "base": base }))
    };
    for (draft, file, words) in [
        (&draft, "shelf.toml", "it is a shelf"),
        (&draft, "aim-cheapest-face.toml", "it is an aim"),
        (&draft, "panel.toml", "it cannot be read as a scrub"),
        (&draft, "torn.toml", "it cannot be read as a scrub"),
        (&draft, "none.toml", "it cannot be read as a scrub"),
        (&shelf, POLISH, "it is a scrub"),
        (&aim, "millrace-body-scrub.toml", "it is a scrub"),
    ] {
        let before = fs::read(path(file)).unwrap();
        let refused = save(draft, file, &Value::Null);
        let said = format!("{file}: a file of that name is there already, and {words}; nothing was written");
        assert!(refused.status == 422 && refused.text.contains(&said), "{file}: {}", refused.text);
        // Nor by saying that it is known what stands there, but for what is nothing yet and is mended.
        let base = json!(String::from_utf8(before.clone()).unwrap());
        if words.starts_with("it is") {
            assert_eq!(save(draft, file, &base).status, 422, "{file}");
        }
        assert_eq!(fs::read(path(file)).unwrap(), before, "{file}");
    }
    assert_eq!(save(&draft, "torn.toml", &json!("[scrub\n")).status, 200);
    // One of its own kind is shown first.
    let body = "millrace-body-scrub.toml";
    let there = save(&draft, body, &Value::Null);
    assert_eq!((there.status, &there.json()["disk"]), (409, &json!(fs::read_to_string(path(body)).unwrap())));
}

#[test]
fn tables_are_told_by_what_they_hold_now() {
    let page = served();
    let folder = page.get("folder").json();
    let has = |key: &str, name: &str| folder[key].as_array().unwrap().contains(&json!(name));
    for (name, of_sizes) in [
        ("olive-stone-sieved.csv", true),
        ("pumice-laser.csv", true),
        ("bamboo-counts.csv", true),
        ("lots.csv", false),
        ("batches.csv", false),
        ("panel-scores.csv", false),
    ] {
        assert!(has("tables", name), "{name}");
        assert_eq!(has("size_tables", name), of_sizes, "{name}");
    }
    let answer = page.post("assess", &json!({ "draft": page.draft(POLISH) })).json();
    let table = "olive-stone-sieved.csv";
    let now = || page.post("beside", &json!({ "names": [table, "../secret.csv"] })).json();
    assert_eq!((&now()[table], &now()["../secret.csv"]), (&answer["tables_read"][table], &Value::Null));
    let path = page.folder.path().join(table);
    fs::write(&path, fs::read_to_string(&path).unwrap().replace("pan,", "0,")).unwrap();
    assert!(now()[table].is_string() && now()[table] != answer["tables_read"][table]);
    fs::remove_file(&path).unwrap();
    assert_eq!(now()[table], Value::Null);
}

#[test]
fn what_differs_is_said_in_words() {
    let page = served();
    let draft = page.draft(POLISH);
    let edits = json!([{ "do": "scrub", "values": { "powder_load_pct": 7 } }]);
    let asked = json!({ "draft": draft, "edits": edits, "base": draft["text"], "since": draft["text"] });
    let answer = page.post("assess", &asked).json();
    let wanted = json!([{ "what": "powder load, %", "before": "5", "after": "7" }]);
    assert_eq!((&answer["unsaved"], &answer["step"]), (&wanted, &wanted));
    // A file that cannot be read on disk is mended here.
    let mended = page.post("assess", &json!({ "draft": draft, "base": "[scrub" })).json();
    assert_eq!(mended["unsaved"][0]["before"], "cannot be read");
    let sides = json!({ "file": POLISH, "here": draft["text"], "there": answer["draft"]["text"] });
    assert_eq!(page.post("differences", &sides).json(), wanted);
    assert_eq!(page.post("differences", &json!({ "file": "x", "here": "[", "there": "" })).status, 422);
}

#[test]
fn the_whole_scrub_is_edited_and_its_checks_say_where() {
    let page = served();
    let draft = page.draft("millrace-acid-polish.toml");
    let edits = json!([
        { "do": "set", "at": ["acid"], "values": { "final_ph": 2 } },
        { "do": "move", "at": ["phase", 1], "to": 0 },
    ]);
    let answer = page.post("assess", &json!({ "draft": draft, "edits": edits })).json();
    let (whole, text) = (&answer["whole"], answer["draft"]["text"].as_str().unwrap());
    assert!(text.contains("final_ph = 2\n") && text.find("name = \"Oil\"") < text.find("name = \"Water\""), "{text}");
    let printed = |file: &str| serde_json::from_str::<Value>(&command(&page, &["formula", file, "--json"]).0).unwrap();
    fs::write(page.folder.path().join("moved.toml"), text).unwrap();
    let printed = printed("moved.toml");
    assert_eq!((&whole["lines"], &whole["total_pct"]), (&printed["ingredients"], &printed["total_pct"]));
    let checks = whole["checks"].as_array().unwrap();
    assert_eq!(checks.len(), printed["checks"].as_array().unwrap().len());
    let of = |key: &str| checks.iter().find(|c| c["key"] == key).unwrap();
    let window = of("ph-window");
    assert_eq!(
        (&window["name"], &window["part"], &window["bound"]),
        (&json!("pH in its window"), &json!("acid"), &json!("at-least"))
    );
    assert!(window["mend"].is_string() && of("total")["mend"].is_null());
    assert_eq!(checks[0]["verdict"], "stop");
    let wrong = json!({ "draft": draft, "edits": [{ "do": "take-out", "at": ["phase", 9] }] });
    assert_eq!(page.post("assess", &wrong).status, 422);
}

#[test]
fn papers_and_shelf_are_those_of_the_command_line() {
    let page = served();
    let draft = page.draft(POLISH);
    let text = |asked: &Value| page.post("preview", asked).json()["text"].as_str().unwrap().to_owned();
    let ladder = text(&json!({ "what": "ladder", "draft": draft, "vary": "load=1..10" }));
    assert_eq!(ladder.trim(), command(&page, &["ladder", POLISH, "--vary", "load=1..10"]).0.trim());
    let stand_in = text(&json!({ "what": "stand-in", "draft": draft, "powder": "olive", "shelf": "shelf.toml" }));
    assert_eq!(
        stand_in.trim(),
        command(&page, &["stand-in", POLISH, "--for", "olive", "--shelf", "shelf.toml"]).0.trim()
    );
    for (asked, status) in [
        (json!({ "what": "ladder", "draft": draft, "vary": "load" }), 422),
        (json!({ "what": "label", "draft": page.draft("millrace-acid-polish.toml") }), 200),
        (json!({ "what": "stand-in", "draft": draft, "powder": "x", "shelf": "../shelf.toml" }), 422),
        (json!({ "what": "secret", "draft": draft }), 400),
    ] {
        let reply = page.post("preview", &asked);
        assert_eq!(reply.status, status, "{asked}: {}", reply.text);
    }
    let shelf = page.get("shelf?file=shelf.toml").json();
    let first = &shelf[0];
    assert!(first["values"]["size"].is_object() || first["values"]["size"].is_string(), "{first}");
    assert!(first["values"].get("stock_g").is_none() && first["d50_um"].as_f64().unwrap() > 0.0);
    assert_eq!(page.get("shelf?file=../shelf.toml").status, 422);
    // What is lost on the sieves is said of a charge.
    let sieve = "opening_um,retained_g\n300,10\n200,80\npan,5\n";
    let table = page.post("table", &json!({ "name": "t.csv", "text": sieve, "charge_g": 100 })).json();
    assert!((table["loss_pct"].as_f64().unwrap() - 5.0).abs() < 1e-9);
}

#[cfg(feature = "xlsx")]
#[test]
fn a_workbook_is_read_in_the_folder_and_kept_as_text_when_it_is_dropped() {
    use rust_xlsxwriter::Workbook;
    let page = served();
    let mut book = Workbook::new();
    let sheet = book.add_worksheet();
    for (row, cells) in [["Sieve (µm)", "Retained (g)"], ["300", "5,5"], ["200", "80"], ["pan", "5"]].iter().enumerate()
    {
        sheet.write_row(row as u32, 0, *cells).unwrap();
    }
    let bytes = book.save_to_buffer().unwrap();
    fs::write(page.folder.path().join("lot.xlsx"), &bytes).unwrap();
    let kept = page.post("table", &json!({ "name": "lot.xlsx" })).json();
    assert_eq!((&kept["name"], &kept["text"], &kept["kind"]), (&json!("lot.xlsx"), &Value::Null, &json!("sieve")));
    let dropped = page.post("table", &json!({ "name": "Lot 7.XLSX", "bytes": bytes })).json();
    assert_eq!(dropped["name"], "Lot 7.csv");
    assert_eq!(dropped["report"]["percentiles"], kept["report"]["percentiles"]);
    // The text says the same by itself.
    let again = page.post("table", &json!({ "name": "again.csv", "text": dropped["text"] })).json();
    assert_eq!(again["report"]["percentiles"], kept["report"]["percentiles"], "{}", dropped["text"]);
    let torn = page.post("table", &json!({ "name": "torn.xlsx", "bytes": bytes[..200] }));
    assert!(torn.status == 422 && torn.text.contains("torn.xlsx"), "{}", torn.text);
}

#[test]
fn names_that_some_system_keeps_are_refused_and_what_a_crash_left_goes() {
    let page = served();
    let draft = |file: &str| json!({ "draft": { "file": file, "text": page.draft(POLISH)["text"] }, "base": null });
    // Naming files, paths and namespaces (Windows): CON, PRN, AUX, NUL, COM1 to COM9, LPT1 to LPT9, whatever ending follows.
    for name in ["con.toml", "NUL.toml", "Com7.toml", "lpt1.old.toml", "aux .toml"] {
        let reply = page.post("save", &draft(name));
        assert!(reply.status == 422 && reply.text.contains("is no name for a new file"), "{name}: {}", reply.text);
    }
    let long = |length: usize| format!("{}.toml", "a".repeat(length - 5));
    for (name, status) in
        [("console.toml".to_owned(), 200), ("com10.toml".to_owned(), 200), (long(200), 200), (long(201), 422)]
    {
        assert_eq!(page.post("save", &draft(&name)).status, status, "{name}");
    }
    let folder = tempfile::tempdir().unwrap();
    let part = |name: &str| folder.path().join(name);
    for name in [".gritwise-1a2b.part", "mine.part"] {
        fs::write(part(name), "x").unwrap();
    }
    let tables = gritwise::tables::Tables::built_in().unwrap();
    let judge = gritwise::band::Judge::new(&tables).unwrap();
    gritwise::page::Server::new(folder.path(), 0, tables, judge).unwrap();
    assert_eq!([".gritwise-1a2b.part", "mine.part"].map(|name| part(name).exists()), [false, true]);
}

#[test]
fn photographs_that_cannot_be_looked_at_are_refused() {
    let page = served();
    let host = page.host();
    let own = [("Host", host.as_str()), ("X-Gritwise-Token", page.token.as_str())];
    let headers = [own[0], own[1], ("Content-Type", "application/octet-stream")];
    let ask = |body: &str| page.request("POST", "/api/1/grains", &headers, Some(body));
    assert_eq!(page.request("POST", "/api/1/grains", &own, Some("{}")).status, 415, "JSON alone");
    let of = |scale: Value, bytes: usize| json!({ "photos": [{ "name": "a.png", "bytes": bytes }], "scale": scale });
    let um = || json!({ "um_per_pixel": 2.5 });
    for (body, status, wrong) in [
        ("no line".to_owned(), 400, "a line of JSON is wanted"),
        ("{}\n".to_owned(), 400, "photos"),
        (format!("{}\nabc", of(um(), 9)), 400, "9 bytes are promised and 3 are left"),
        (format!("{}\nabc", of(um(), 2)), 400, "1 bytes are left"),
        (format!("{}\n", json!({ "photos": [], "scale": um() })), 400, "no picture is named"),
        (format!("{}\nabc", of(um(), 3)), 422, "a.png: this is no picture that can be read"),
        (format!("{}\nabc", of(json!({ "um_per_pixel": 0 }), 3)), 422, "scale: 0 is no size"),
        (format!("{}\nabc", of(json!({ "bar": "1 mm" }), 3)), 422, "500 px = 1 mm"),
        (format!("{}\nabc", of(json!({ "metres": 1 }), 3)), 400, "metres"),
    ] {
        let reply = ask(&body);
        assert!(reply.status == status && reply.text.contains(wrong), "{body}: {} {}", reply.status, reply.text);
    }
    let draft = page.draft(POLISH);
    let powder = json!({ "photos": [{ "name": "a.png", "bytes": 3 }], "scale": um(), "draft": draft, "powder": 7 });
    assert!(ask(&format!("{powder}\nabc")).text.contains("no powder at position 7"));
    let large = "x".repeat((64 << 20) + 1);
    let reply = ask(&large);
    assert!(reply.status == 413 && reply.text.contains("the photographs come to more than 64 MiB"), "{}", reply.text);
}

#[test]
fn shelves_and_aims_are_changed_and_saved_as_scrubs_are() {
    let page = served();
    let path = |name: &str| page.folder.path().join(name);
    let draft = page.draft("shelf.toml");
    let base = draft["text"].as_str().unwrap().to_owned();
    let edits = json!([
        { "do": "set", "at": ["powder", 0], "values": { "price_per_kg": 4.8, "tags": ["cereal", "local"] } },
        { "do": "put-in", "list": ["powder"], "values": { "name": "Silt", "material": "pumice", "size": { "d50_um": 40, "gsd": 1.5 } } },
    ]);
    let changed = page.post("file", &json!({ "draft": draft, "edits": edits, "base": base })).json();
    let wanted =
        base.replace("price_per_kg = 4.2", "price_per_kg = 4.8").replacen("[\"cereal\"]", "[\"cereal\", \"local\"]", 1);
    assert!(changed["draft"]["text"].as_str().unwrap().starts_with(&wanted), "{}", changed["draft"]["text"]);
    let powders = changed["powders"].as_array().unwrap();
    assert_eq!((&powders[0]["price_per_kg"], &powders.last().unwrap()["name"]), (&json!(4.8), &json!("Silt")));
    assert_eq!(
        changed["unsaved"][0],
        json!({ "what": "Rice bran, fine: price per kg", "before": "4.2", "after": "4.8" })
    );
    // Nothing is written before it is saved, and nothing over what another hand wrote.
    assert_eq!(fs::read_to_string(path("shelf.toml")).unwrap(), base);
    let save = |base: &str| page.post("save", &json!({ "draft": changed["draft"], "base": base }));
    assert_eq!(save(&base.replace("800", "801")).status, 409);
    assert_eq!(save(&base).status, 200);
    assert_eq!(fs::read_to_string(path("shelf.toml")).unwrap(), changed["draft"]["text"]);
    // As the command line refuses it.
    let wrong = json!([{ "do": "set", "at": ["powder", 0], "values": { "stock_g": -1 } }]);
    let refused = page.post("file", &json!({ "draft": changed["draft"], "edits": wrong }));
    assert!(refused.status == 422 && refused.text.contains("shelf.toml:"), "{}", refused.text);

    // An aim, and a shelf that is not there yet.
    let draft = page.draft("aim-cheapest-face.toml");
    let edits = json!([{ "do": "set", "at": ["aim"], "values": { "d99_um": 380, "max_powders": null,
                         "passing_pct": [{ "um": 63, "max": 40 }] } }]);
    let changed = page.post("file", &json!({ "draft": draft, "edits": edits, "base": draft["text"] })).json();
    let told: Vec<&str> = changed["unsaved"].as_array().unwrap().iter().map(|d| d["what"].as_str().unwrap()).collect();
    assert_eq!(told, ["D99, µm", "powders at most", "63 µm: at most, % finer", "150 µm"]);
    assert!(changed["draft"]["text"].as_str().unwrap().contains("# all powders together, % of the scrub"));
    let new = json!({ "draft": { "file": "own.toml", "text": "" }, "edits": [
        { "do": "put-in", "list": ["powder"], "values": { "material": "oat", "size": "F220" } }] });
    let begun = page.post("file", &new).json();
    assert_eq!(page.post("save", &json!({ "draft": begun["draft"], "base": null })).status, 200);
    assert!(page.get("folder").json()["shelves"].to_string().contains("own.toml"));
    assert_eq!(page.post("file", &json!({ "draft": { "file": "own.toml", "text": "" } })).status, 422);
    // What names a material that may be in no scrub is told apart from what is only wrong.
    fs::write(path("bead-shelf.toml"), "[[powder]]\nmaterial = \"polyethylene\"\nsize = \"F220\"\n").unwrap();
    fs::write(path("wrong.toml"), "[[powder]]\nmaterial = \"refused: oat\"\nsize = \"F220\"\n").unwrap();
    let broken = page.get("folder").json()["broken"].clone();
    let refused =
        |file: &str| broken.as_array().unwrap().iter().find(|b| b["file"] == file).unwrap()["refused"].clone();
    assert_eq!(
        (refused("bead-shelf.toml"), refused("wrong.toml"), refused("refused-bead-wash.toml")),
        (json!(true), json!(false), json!(true))
    );
}

#[test]
fn a_lot_is_looked_at_as_the_command_line_tells_it() {
    let page = served();
    let asked = json!({ "what": "lot", "draft": page.draft(POLISH), "powder": "olive", "table": "olive-stone-lot.csv", "shelf": "shelf.toml" });
    let told =
        command(&page, &["lot", "olive-stone-lot.csv", "--powder", "olive", "--in", POLISH, "--shelf", "shelf.toml"]).0;
    // In the same words, but for the options that a page has not; and it says of which table.
    let words = |text: &str| text.split_whitespace().collect::<Vec<_>>().join(" ");
    let without = [" and give the table as --repeat", " and give it as --repeat", " as --charged-g"];
    let plain = without.iter().fold(words(&told), |text, option| text.replace(option, ""));
    assert!(words(&told).contains("--charged-g") && !plain.contains("--"), "{plain}");
    let shown = page.post("preview", &asked).json()["text"].as_str().unwrap().to_owned();
    assert_eq!(words(&shown), format!("Table olive-stone-lot.csv {plain}"));
    let outside = json!({ "what": "lot", "draft": page.draft(POLISH), "powder": "olive", "table": "../x.csv" });
    assert_eq!(page.post("preview", &outside).status, 422);
}

#[test]
fn what_nobody_waits_for_any_more_ends() {
    let page = served();
    let body = json!({ "draft": page.draft(POLISH), "draws": 32768 }).to_string();
    let start = Instant::now();
    assert_eq!(page.post_text("confidence", &body).status, 200);
    let whole = start.elapsed();
    // As many as are worked out at once, and half as many that wait, all given up; then one that is not.
    let gone: Vec<_> = (0..12).map(|_| page.send("confidence", &body)).collect();
    std::thread::sleep(Duration::from_millis(300));
    drop(gone);
    let start = Instant::now();
    assert_eq!(page.post_text("confidence", &body).status, 200);
    // Had they gone on, six times as much would have been in its way, on however many cores.
    assert!(start.elapsed() < 3 * whole, "{:?} after {whole:?}", start.elapsed());
}
