//! The page's calls over a folder in memory: the answers are those of the server over the same files on disk.

use super::POLISH;
use crate::common::served::{Served, served};
use gritwise::band::Judge;
use gritwise::page::{Memory, Page};
use gritwise::tables::Tables;
use serde_json::{Value, json};
use std::fs;
use std::io::{Cursor, Read};
use std::sync::Arc;

/// The files of a served folder, in memory.
fn in_memory(served: &Served) -> (Page, Arc<Memory>) {
    let memory = Arc::new(Memory::default());
    for entry in fs::read_dir(served.folder.path()).unwrap() {
        let path = entry.unwrap().path();
        memory.put(path.file_name().unwrap().to_str().unwrap(), fs::read(&path).unwrap());
    }
    let tables = Tables::built_in().unwrap();
    let judge = Judge::new(&tables).unwrap();
    (Page::in_memory(memory.clone(), tables, judge), memory)
}

fn answer(page: &Page, path: &str, body: Option<&Value>) -> (u16, Value) {
    let body = body.map(Value::to_string);
    let reply = page.answer(path, body.as_ref().map(String::as_bytes));
    (
        reply.status,
        serde_json::from_slice(&reply.bytes).unwrap_or_else(|_| json!(String::from_utf8_lossy(&reply.bytes))),
    )
}

#[test]
fn answers_are_those_of_the_server() {
    let served = served();
    let (page, _) = in_memory(&served);
    let draft = served.draft(POLISH);
    let body = served.draft("millrace-body-scrub.toml");
    let asked = [
        ("tables", None),
        ("start", None),
        ("example", None),
        ("examples", None),
        ("downloads", None),
        ("nowhere", None),
        ("assess", None),
        ("scrub", None),
        ("shelf?file=shelf.toml", None),
        ("scrub?file=nowhere.toml", None),
        ("scrub?file=..%2Fshelf.toml", None),
        ("scrub?file=millrace%2Drice-polish.toml", None),
        ("assess", Some(json!({ "draft": draft }))),
        ("assess", Some(json!({ "draft": draft, "edits": [{ "do": "share", "powder": 1, "pct": 50 }] }))),
        ("assess", Some(json!({ "draft": draft, "edits": 7 }))),
        ("nowhere", Some(json!({}))),
        ("compare", Some(json!({ "drafts": [draft, body] }))),
        ("table", Some(json!({ "name": "pumice-laser.csv" }))),
        ("table", Some(json!({ "name": "../x.csv", "text": "a" }))),
        ("preview", Some(json!({ "what": "label", "draft": draft }))),
        ("download/work", Some(json!({ "draft": draft }))),
        ("download/scrub", Some(json!({ "draft": draft }))),
    ];
    for (path, body) in asked {
        let over_http = body.as_ref().map_or_else(|| served.get(path), |body| served.post(path, body));
        let wanted = serde_json::from_str(&over_http.text).unwrap_or_else(|_| json!(over_http.text));
        assert_eq!(answer(&page, path, body.as_ref()), (over_http.status, wanted), "{path}");
    }
    let listed = |listing: &Value| ["scrubs", "shelves", "aims", "tables", "broken"].map(|key| listing[key].clone());
    let here = answer(&page, "folder", None).1;
    assert_eq!(listed(&here), listed(&served.get("folder").json()));
}

#[test]
fn saved_as_on_disk() {
    let served = served();
    let (page, memory) = in_memory(&served);
    let draft = served.draft(POLISH);
    let changed = draft["text"].as_str().unwrap().replace("parts = 4", "parts = 5");
    let save = |file: &str, base: &Value, tables: Value| {
        let draft = json!({ "file": file, "text": changed, "tables": tables });
        json!({ "draft": draft, "base": base })
    };
    let asked = [
        (200, save(POLISH, &draft["text"], json!([]))),
        (409, save(POLISH, &draft["text"], json!([]))),
        (409, save(POLISH, &Value::Null, json!([]))),
        (409, save("gone.toml", &draft["text"], json!([]))),
        (422, save("con.toml", &Value::Null, json!([]))),
        (422, save("new.toml", &Value::Null, json!([{ "name": "olive-stone-sieved.csv", "text": "other" }]))),
        (200, save("new.toml", &Value::Null, json!([{ "name": "not-used.csv", "text": "other" }]))),
    ];
    for (status, body) in asked {
        let over_http = served.post("save", &body);
        assert_eq!(over_http.status, status, "{body}: {}", over_http.text);
        assert_eq!(answer(&page, "save", Some(&body)), (status, over_http.json()));
    }
    for name in [POLISH, "new.toml", "not-used.csv"] {
        assert_eq!(memory.get(name), fs::read(served.folder.path().join(name)).ok(), "{name}");
    }
    // A byte-order mark stays.
    memory.put("marked.toml", format!("\u{feff}{changed}").into_bytes());
    let body = save("marked.toml", &json!(changed), json!([]));
    assert_eq!(answer(&page, "save", Some(&body)).0, 200);
    assert_eq!(memory.get("marked.toml"), Some(format!("\u{feff}{changed}").into_bytes()));
}

#[test]
fn all_files_in_one() {
    let served = served();
    let (page, memory) = in_memory(&served);
    let made = page.answer("download/all", None);
    assert_eq!((made.status, made.media), (200, "application/zip"));
    assert_eq!(made.bytes, page.answer("download/all", None).bytes);
    let mut zip = zip::ZipArchive::new(Cursor::new(made.bytes)).unwrap();
    assert!(zip.len() >= 20);
    for i in 0..zip.len() {
        let mut file = zip.by_index(i).unwrap();
        let mut bytes = Vec::new();
        file.read_to_end(&mut bytes).unwrap();
        let name = file.name().unwrap();
        assert_eq!(Some(bytes), memory.get(&name), "{name}");
    }
}
