//! The page's API over real HTTP: the numbers of the command line, and nothing for those who may not ask.
#![cfg(feature = "page")]

mod files;
mod memory;

use crate::common::served::{Served, served, served_with};
use serde_json::{Value, json};
use std::fs;
use std::io::Write;
use std::net::TcpStream;
use std::process::Command;
use std::time::{Duration, Instant};

const POLISH: &str = "millrace-rice-polish.toml";

/// What the command line answers, run in the served folder: standard output, or the message on standard error.
fn command(page: &Served, args: &[&str]) -> (String, String) {
    let run = Command::new(env!("CARGO_BIN_EXE_gritwise")).current_dir(page.folder.path()).args(args).output().unwrap();
    let error = String::from_utf8(run.stderr).unwrap();
    (String::from_utf8(run.stdout).unwrap(), error.trim().trim_start_matches("gritwise: ").to_owned())
}

fn command_json(page: &Served, args: &[&str]) -> Value {
    let (out, error) = command(page, args);
    serde_json::from_str(&out).unwrap_or_else(|e| panic!("{args:?}: {e}: {error}"))
}

#[test]
fn numbers_are_those_of_the_command_line() {
    let page = served();
    let folder = page.get("folder").json();
    let scrubs = folder["scrubs"].as_array().unwrap();
    assert!(scrubs.len() >= 4);
    for scrub in scrubs {
        let file = scrub["file"].as_str().unwrap();
        let answer = page.post("assess", &json!({ "draft": page.draft(file) })).json();
        let printed = command_json(&page, &["blend", file, "--json"]);
        assert_eq!(answer["report"], printed, "{file}");
        assert_eq!(scrub["index"], printed["index"]["value"]);
        assert_eq!(
            answer["scale"]["bands"][answer["scale"]["rank"].as_u64().unwrap() as usize],
            printed["band"]["name"]
        );
        // What governs, and its limit, are those of the report.
        let governs: Vec<_> =
            answer["scale"]["figures"].as_array().unwrap().iter().filter(|f| f["governs"] == true).collect();
        assert_eq!(governs.len(), 1, "{file}");
        for (figure, printed) in [("criterion", "governed_by"), ("value", "value"), ("limit", "limit")]
            .map(|(f, p)| (f, &answer["report"]["band"][p]))
        {
            assert_eq!(&governs[0][figure], printed, "{file}: {figure}");
        }
        for chart in answer["charts"]["charts"].as_array().unwrap() {
            for curve in chart["curves"].as_array().unwrap() {
                assert_eq!(
                    curve["values"].as_array().unwrap().len(),
                    answer["charts"]["sizes_um"].as_array().unwrap().len()
                );
            }
        }
    }
    let drafts = json!({ "drafts": [page.draft(POLISH), page.draft("millrace-body-scrub.toml")] });
    let printed = command_json(&page, &["compare", POLISH, "millrace-body-scrub.toml", "--json"]);
    assert_eq!(page.post("compare", &drafts).json(), printed);
    // Salt dissolves, which both have to say.
    for file in [POLISH, "weir-salt-scrub.toml"] {
        let printed = command_json(&page, &["confidence", file, "--draws", "1000", "--json"]);
        assert_eq!(page.post("confidence", &json!({ "draft": page.draft(file), "draws": 1000 })).json(), printed);
        assert_eq!(printed.get("cautions").is_none(), file == POLISH);
    }
    let text = fs::read_to_string(page.folder.path().join("pumice-laser.csv")).unwrap();
    let table = page.post("table", &json!({ "name": "pumice-laser.csv", "text": text })).json();
    assert_eq!(table["report"], command_json(&page, &["size", "pumice-laser.csv", "--json"]));
    assert_eq!((&table["name"], &table["kind"]), (&json!("pumice-laser.csv"), &json!("laser")));
}

#[test]
fn an_edit_is_what_the_edited_file_would_give() {
    let page = served();
    let edits = json!([{ "do": "share", "powder": 1, "pct": 50 },
                       { "do": "scrub", "values": { "powder_load_pct": 6 } },
                       { "do": "powder", "powder": 0, "values": { "size": { "d50_um": 75, "gsd": 1.6 } } }]);
    let answer = page.post("assess", &json!({ "draft": page.draft(POLISH), "edits": edits })).json();
    let text = answer["draft"]["text"].as_str().unwrap();
    assert!(text.contains("parts = 4\nsize = { sieve") && text.contains("d50_um = 75, gsd = 1.6 }"), "{text}");
    let saved = page.post("save", &json!({ "draft": answer["draft"], "base": page.draft(POLISH)["text"] }));
    assert_eq!(saved.status, 200, "{}", saved.text);
    assert_eq!(answer["report"], command_json(&page, &["blend", POLISH, "--json"]));
}

#[test]
fn the_same_blends_as_aim() {
    let page = served();
    let aim = json!({ "name": "Cheapest face polish", "shelf": "shelf.toml", "index": [60, 120], "band": "face",
                      "load_pct": [3, 6], "d99_um": 400, "max_powders": 3, "without": ["nut"], "goal": "cheapest", "batch_g": 1000,
                      "passing_pct": [{ "um": 63, "max": 45 }, { "um": 150, "min": 40, "max": 90 }] });
    let answer = page.post("aim", &json!({ "aim": aim, "draft": page.draft(POLISH) })).json();
    assert_eq!(answer["report"], command_json(&page, &["aim", "aim-cheapest-face.toml", "--json"]));
    for (i, draft) in answer["drafts"].as_array().unwrap().iter().enumerate() {
        let found = page.post("assess", &json!({ "draft": draft })).json();
        let index = |v: &Value| v.as_f64().unwrap();
        let (got, wanted) = (index(&found["report"]["index"]["value"]), index(&answer["report"]["blends"][i]["index"]));
        assert!((got / wanted - 1.0).abs() < 1e-9, "{got} {wanted}");
    }
    let from = json!({ "name": "near", "shelf": "shelf.toml", "goal": "least-change", "from": POLISH, "band": "face" });
    assert_eq!(page.post("aim", &json!({ "aim": from, "draft": page.draft(POLISH) })).status, 200);
    let wrong =
        json!({ "aim": { "name": "x", "shelf": "../shelf.toml", "goal": "cheapest" }, "draft": page.draft(POLISH) });
    let reply = page.post("aim", &wrong);
    assert_eq!(reply.status, 422);
    assert!(reply.text.contains("outside the folder"), "{}", reply.text);
}

#[test]
fn every_size_can_be_said_in_every_form() {
    let page = served();
    for form in ["log-normal", "percentiles", "rosin-rammler", "gates-gaudin-schuhmann", "mesh", "range", "grit"] {
        let body = json!({ "draft": page.draft(POLISH), "restate": { "powder": 1, "form": form } });
        let answer = page.post("assess", &body);
        assert_eq!(answer.status, 200, "{form}: {}", answer.text);
        assert_eq!(answer.json()["forms"][1], form);
    }
}

#[test]
fn only_this_machine_with_the_token_is_answered() {
    let page = served();
    let (host, evil) = (page.host(), format!("evil.example:{}", page.port));
    let own = |host: &str, origin: &str, token: &str| {
        let headers = [("Host", host), ("Origin", origin), ("X-Gritwise-Token", token)];
        let sent: Vec<_> = headers.into_iter().filter(|h| !h.1.is_empty()).collect();
        page.request("GET", "/api/1/folder", &sent, None)
    };
    let here = format!("http://{host}");
    assert_eq!(own(&host, &here, &page.token).status, 200);
    assert_eq!(own(&format!("localhost:{}", page.port), "", &page.token).status, 200);
    assert_eq!(own(&host, "", "").status, 401);
    assert_eq!(own(&host, "", &"0".repeat(page.token.len())).status, 401);
    assert_eq!(own(&host, "", &page.token[1..]).status, 401);
    for (host, origin) in
        [(evil.as_str(), ""), ("127.0.0.1:1", ""), ("127.0.0.1", ""), (&host, "http://evil.example"), (&host, "null")]
    {
        let reply = own(host, origin, &page.token);
        assert_eq!(reply.status, 403, "{host} {origin}: {}", reply.text);
    }
    let twice = page.request("GET", "/", &[("Host", &host), ("Host", &evil)], None);
    assert!((400..500).contains(&twice.status), "{}", twice.status);
    assert_eq!(page.request("GET", "/", &[("Host", &evil)], None).status, 403);
    assert_eq!(page.request("POST", "/", &[("Host", &host)], Some("{}")).status, 405);
    let index = page.request("GET", "/", &[("Host", &host)], None);
    assert_eq!(index.status, 200);
    for reply in [&index, &own(&host, "", "")] {
        for header in
            ["content-security-policy: default-src 'none'; script-src 'self'", "nosniff", "no-store", "no-referrer"]
        {
            assert!(reply.head.contains(header), "{header}: {}", reply.head);
        }
        assert!(!reply.head.contains("access-control-allow"));
    }
    assert!(!index.text.contains(&page.token));
    assert_eq!(page.request("GET", "/assets/../Cargo.toml", &[("Host", &host)], None).status, 404);
}

#[test]
fn a_bad_file_is_told_as_the_command_line_tells_it() {
    let page = served();
    let polish = fs::read_to_string(page.folder.path().join(POLISH)).unwrap();
    let bad = [
        polish.replace("parts = 4", "prats = 4"),
        polish.replace("rice-bran", "polyethylene"),
        polish.replace("5.0  ", "500  "),
        polish.replace("gsd = 1.6", "gsd = 0.5"),
        polish.replace("olive-stone-sieved.csv", "nowhere.csv"),
        polish.replace("[scrub]", "[scrub"),
        "\n".to_owned(),
    ];
    for text in bad {
        fs::write(page.folder.path().join("bad.toml"), &text).unwrap();
        let reply = page.post("assess", &json!({ "draft": { "file": "bad.toml", "text": text } }));
        let (_, printed) = command(&page, &["blend", "bad.toml"]);
        assert_eq!((reply.status, reply.json()["error"].as_str().unwrap()), (422, printed.as_str()));
    }
    let table = "opening_um,retained_g\n300,3\n212,x\npan,1\n";
    fs::write(page.folder.path().join("bad.csv"), table).unwrap();
    let reply = page.post("table", &json!({ "name": "bad.csv", "text": table }));
    assert_eq!(reply.status, 422);
    assert_eq!(reply.json()["error"].as_str().unwrap(), command(&page, &["size", "bad.csv"]).1);
    assert_eq!(reply.json()["line"], 3);
}

#[test]
fn a_bad_request_is_refused_and_the_server_goes_on() {
    let page = served();
    let draft = page.draft(POLISH);
    let assess = |more: Value| {
        let mut body = json!({ "draft": draft });
        body.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        body.to_string()
    };
    let deep = format!("{{\"draft\": {}{}}}", "[".repeat(5000), "]".repeat(5000));
    let edit = |values: &str| assess(json!({ "edits": [] })).replace("\"edits\":[]", &format!("\"edits\":[{values}]"));
    let bodies = [
        ("assess", String::new()),
        ("assess", "{".to_owned()),
        ("assess", "[]".to_owned()),
        ("assess", deep),
        ("assess", assess(json!({ "nonsense": 1 }))),
        ("assess", edit(r#"{"do":"format-the-disk"}"#)),
        ("assess", edit(r#"{"do":"share","powder":-1,"pct":5}"#)),
        ("assess", edit(r#"{"do":"share","powder":99,"pct":5}"#)),
        ("assess", edit(r#"{"do":"share","powder":0,"pct":1e999}"#)),
        ("assess", edit(r#"{"do":"remove","powder":18446744073709551615}"#)),
        ("assess", edit(r#"{"do":"powder","powder":0,"values":{"parts":1e308}}"#)),
        ("assess", edit(r#"{"do":"powder","powder":0,"values":{"name":"\u0000"}}"#)),
        ("assess", edit(r#"{"do":"powder","powder":0,"values":{"size":{"d50_um":{"a":[]}}}}"#)),
        ("assess", edit(r#"{"do":"scrub","values":{"name":null}}"#)),
        ("assess", assess(json!({ "restate": { "powder": 7, "form": "grit" } }))),
        ("assess", assess(json!({ "range_um": [1e300, 5] }))),
        ("compare", json!({ "drafts": [draft] }).to_string()),
        ("table", json!({ "name": "../x.csv", "text": "a" }).to_string()),
        ("table", json!({ "name": "x.csv", "text": "" }).to_string()),
        ("aim", json!({ "aim": { "goal": [null] }, "draft": draft }).to_string()),
        ("aim", json!({ "aim": {}, "draft": draft }).to_string()),
        ("download/everything", json!({ "draft": draft }).to_string()),
        ("confidence", json!({ "draft": draft, "draws": 3 }).to_string()),
        ("nowhere", "{}".to_owned()),
    ];
    for (path, body) in bodies {
        let reply = page.post_text(path, &body);
        assert!(
            (400..500).contains(&reply.status),
            "{path} {}: {} {}",
            &body[..body.len().min(90)],
            reply.status,
            reply.text
        );
        assert!(reply.json()["error"].is_string());
    }
    assert_eq!(
        page.request("POST", "/api/1/assess", &[("Host", &page.host()), ("X-Gritwise-Token", &page.token)], None)
            .status,
        415
    );
    assert_eq!(page.get("assess").status, 400);
    assert_eq!(page.raw(b"nonsense\r\n\r\n").status, 400);
    assert_eq!(page.get("folder").status, 200);
}

#[test]
fn the_checks_of_a_formula_are_told() {
    let page = served();
    let formula = |draft: &Value| {
        let answer = page.post("assess", &json!({ "draft": draft })).json();
        let remarks = answer["formula"].as_array().cloned().unwrap_or_default();
        let part = |r: &Value, key: &str| r[key].as_str().unwrap().to_owned();
        let pairs: Vec<_> = remarks.iter().map(|r| (part(r, "level"), part(r, "text"))).collect();
        (answer, pairs)
    };
    // Powders alone are no formula.
    assert!(formula(&page.draft(POLISH)).0.get("formula").is_none());

    let acid = "millrace-acid-polish.toml";
    let mut draft = page.draft(acid);
    let (_, said) = formula(&draft);
    assert!(!said.iter().any(|(level, _)| level == "stop"));
    // The usual cautions of an acid, which the report of the powders does not have.
    for caution in command_json(&page, &["formula", acid, "--json"])["cautions"].as_array().unwrap() {
        let report = page.post("download/report", &json!({ "draft": draft })).text.replace("\n    ", " ");
        let caution = caution.as_str().unwrap();
        assert!(report.contains(caution) || said.iter().any(|(_, text)| text == caution), "{caution}");
    }

    // Too acid: the same stops as the command's, and the sheets say them too.
    let sour =
        draft["text"].as_str().unwrap().replace("final_ph = 4.8", "final_ph = 2.0").replace("[4.5, 5.0]", "[1.9, 2.1]");
    fs::write(page.folder.path().join("sour.toml"), &sour).unwrap();
    draft["text"] = json!(sour);
    let (_, said) = formula(&draft);
    let printed = command_json(&page, &["formula", "sour.toml", "--json"]);
    let stops: Vec<&Value> = printed["checks"].as_array().unwrap().iter().filter(|c| c["verdict"] == "stop").collect();
    assert!(!stops.is_empty());
    for stop in &stops {
        let (key, why) = (stop["key"].as_str().unwrap(), stop["why"].as_str().unwrap());
        assert!(said.iter().any(|(level, text)| level == "stop" && text.starts_with(key) && text.contains(why)));
        for sheet in ["download/batch", "download/batch-csv"] {
            let sheet = page.post(sheet, &json!({ "draft": draft })).text;
            assert!(sheet.contains(&format!("Stop: {key}")), "{sheet}");
        }
    }
    assert_eq!(said.iter().filter(|(level, _)| level == "stop").count(), stops.len());

    // A formula that cannot be read keeps nobody from seeing the powders.
    draft["text"] = json!(sour.replace("pct = 5\n", "pct = 95\n"));
    fs::write(page.folder.path().join("sour.toml"), draft["text"].as_str().unwrap()).unwrap();
    draft["file"] = json!("sour.toml");
    let (answer, said) = formula(&draft);
    assert_eq!(answer["report"], command_json(&page, &["blend", "sour.toml", "--json"]));
    assert_eq!(said, [("stop".to_owned(), command(&page, &["formula", "sour.toml"]).1)]);
}

#[test]
fn downloads_are_what_the_command_line_prints() {
    let page = served();
    let draft = json!({ "draft": page.draft(POLISH) });
    let all = page.get("downloads").json();
    for download in all.as_array().unwrap() {
        let reply = page.post(&format!("download/{}", download["key"].as_str().unwrap()), &draft);
        assert_eq!(reply.status, 200);
        assert!(reply.head.contains("content-disposition: attachment"));
    }
    assert_eq!(page.post("download/report", &draft).text, command(&page, &["blend", POLISH]).0);
    let drawn =
        fs::read_to_string(format!("{}/plots/millrace-rice-polish-work.svg", env!("CARGO_MANIFEST_DIR"))).unwrap();
    assert_eq!(page.post("download/work", &draft).text, drawn);
    let told = [
        command(&page, &["batch", POLISH, "--mass", "2kg", "--write", "sheet.html"]),
        command(&page, &["dossier", POLISH, "--out", "papers"]),
    ];
    let written = |name: &str| {
        fs::read_to_string(page.folder.path().join(name)).unwrap_or_else(|e| panic!("{name}: {e}: {told:?}"))
    };
    let two = json!({ "draft": page.draft(POLISH), "batch_g": 2000 });
    assert_eq!(page.post("download/batch", &two).text, written("sheet.html"));
    assert_eq!(page.post("download/dossier", &draft).text, written("papers/dossier.html"));
    assert_eq!(page.post("download/batch", &json!({ "draft": page.draft(POLISH), "batch_g": -1 })).status, 422);

    // What is to be made is said as on the command line, and refused as there.
    let acid = "millrace-acid-polish.toml";
    let own = ["--units", "12x145g", "--loss", "5%", "--resolution", "0.5g", "--shelf", "shelf.toml"];
    command(&page, &[&["batch", acid, "--write", "filled.html"], &own[..]].concat());
    let filled = json!({ "draft": page.draft(acid), "units": "12x145g", "loss": "5%", "resolution": "0.5g", "shelf": "shelf.toml" });
    assert_eq!(page.post("download/batch", &filled).text, written("filled.html"));
    let refused = page.post("download/batch", &json!({ "draft": page.draft(acid), "units": "12x200" }));
    assert!(refused.status == 422 && refused.text.contains("units are written like 12x200mL"), "{}", refused.text);
    let outside = json!({ "draft": page.draft(acid), "shelf": "../shelf.toml" });
    assert_eq!(page.post("download/batch", &outside).status, 422);
}

#[test]
fn two_hundred_at_once() {
    let page = served();
    let body = json!({ "draft": page.draft(POLISH), "edits": [{ "do": "share", "powder": 1, "pct": 42 }] });
    // Each is answered, all with the same.
    let answers: Vec<String> = std::thread::scope(|scope| {
        let one = || {
            let reply = page.post("assess", &body);
            assert_eq!(reply.status, 200, "{}", reply.text);
            reply.text
        };
        let calls: Vec<_> = (0..200).map(|_| scope.spawn(one)).collect();
        calls.into_iter().map(|c| c.join().unwrap()).collect()
    });
    assert!(answers.len() == 200 && answers.iter().all(|answer| *answer == answers[0]));
}

#[cfg(unix)]
#[test]
fn an_interrupt_ends_it_cleanly() {
    let mut page = served();
    // A browser keeps connections open; others break off within the head or the body of a request.
    let head = "POST /api/1/assess HTTP/1.1\r\nHost: ";
    let body = format!(
        "{head}{}\r\nX-Gritwise-Token: {}\r\nContent-Type: application/json\r\nContent-Length: 99\r\n\r\n{{",
        page.host(),
        page.token
    );
    let sent = ["", head, &body].map(|part| {
        let mut stream = TcpStream::connect(("127.0.0.1", page.port)).unwrap();
        stream.write_all(part.as_bytes()).unwrap();
        stream
    });
    assert_eq!(page.get("folder").status, 200);
    let began = Instant::now();
    interrupt(&page);
    let status = page.child.wait().unwrap();
    assert!(status.success() && began.elapsed() < Duration::from_secs(5), "{status} {:?}", began.elapsed());
    drop(sent);
}

#[cfg(unix)]
fn interrupt(page: &Served) {
    assert!(Command::new("kill").args(["-INT", &page.child.id().to_string()]).status().unwrap().success());
}

#[cfg(unix)]
#[test]
fn a_browser_is_started_without_the_token() {
    use std::os::unix::fs::PermissionsExt;
    let tools = tempfile::tempdir().unwrap();
    let (opener, said) = (tools.path().join("xdg-open"), tools.path().join("said"));
    fs::write(&opener, format!("#!/bin/sh\nprintf %s \"$*\" > {0}.part && mv {0}.part {0}\n", said.display())).unwrap();
    fs::set_permissions(&opener, fs::Permissions::from_mode(0o755)).unwrap();
    let paths = format!("{}:{}", tools.path().display(), std::env::var("PATH").unwrap());
    let page = served_with(&[], &[("PATH", paths.as_str())]);
    let began = Instant::now();
    while !said.exists() && began.elapsed() < Duration::from_secs(20) {
        std::thread::sleep(Duration::from_millis(20));
    }
    let opened = fs::read_to_string(&said).unwrap();
    assert!(!opened.contains(&page.token), "{opened}");
    let rights = |path: &std::path::Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
    let file = std::path::Path::new(&opened);
    assert_eq!((rights(file), rights(file.parent().unwrap())), (0o600, 0o700));
    assert!(fs::read_to_string(&opened).unwrap().contains(&format!("url={}", page.address)));
    let mut page = page;
    assert_eq!(page.get("folder").status, 200);
    interrupt(&page);
    page.child.wait().unwrap();
    assert!(!file.parent().unwrap().exists());
}

#[test]
fn a_wrong_call_says_what_is_wrong() {
    let page = served();
    for (args, wanted) in [
        (vec!["page", "nowhere"], "nowhere: no such file or folder"),
        (vec!["page", "pumice-laser.csv"], "is no scrub file"),
    ] {
        let (_, error) = command(&page, &args);
        assert!(error.contains(wanted), "{args:?}: {error}");
    }
    let port = page.port.to_string();
    let (_, error) = command(&page, &["page", ".", "--no-open", "--port", &port]);
    assert!(error.contains("--port"), "{error}");
}
