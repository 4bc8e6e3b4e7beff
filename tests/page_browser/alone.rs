//! The page without a server, as `.ci/page` builds it: opened from the disk in a real Chromium, and its module asked what the command
//! line is asked. Skipped where GRITWISE_PAGE_FILE does not name the built file.

use super::desk::*;
use super::photo;
use fantoccini::Client;
use fantoccini::wd::TimeoutConfiguration;
use gritwise::files::edit::definition;
use serde_json::{Value, json};
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

const POLISH: &str = "millrace-rice-polish.toml";

/// How far a number may be off the command line's, relative. Functions such as the exponential come from the system there and from the
/// compiler's library here, and differ in their last bit; all else is the same arithmetic.
const OFF: f64 = 1e-9;

#[test]
fn the_page_without_a_server() {
    let Ok(file) = std::env::var("GRITWISE_PAGE_FILE") else {
        eprintln!(
            "SKIPPED, the page without a server was not tested: GRITWISE_PAGE_FILE names none (.ci/page builds it)"
        );
        return;
    };
    let html = fs::read_to_string(&file).unwrap_or_else(|e| panic!("{file}: {e}"));
    let address = format!("file://{}", fs::canonicalize(&file).unwrap().display());
    let Some(desk) = desk() else { return };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let client = desk.browser((1280, 1500), false, false).await;
        first_visit(&client, &address).await;
        photographed(&client).await;
        changed_and_kept(&client, &address).await;
        stopped_and_drawn(&client).await;
        taken_away(&desk, &client).await;
        a_folder_of_the_machine(&client).await;
        nothing_from_elsewhere(&desk, &client).await;
        same_numbers(&desk, &client, &html).await;
        on_a_host(&client, &Path::new(&file).with_file_name("host")).await;
        client.close().await.unwrap();
        let phone = desk.browser((360, 740), false, true).await;
        opened(&phone, &address).await;
        bring_examples(&phone).await;
        click(&phone, &format!("[data-file='{POLISH}']")).await;
        says(&phone, "band-name", "delicate face").await;
        fits(&phone).await;
        accessible(&phone, "alone, phone").await;
        shot(&phone, "alone-phone").await;
        phone.close().await.unwrap();
    });
}

async fn opened(client: &Client, address: &str) {
    client.goto("about:blank").await.unwrap();
    client.goto(address).await.unwrap();
    until(client, "return document.body?.dataset.ready === 'yes'", "the page is not ready").await;
}

async fn bring_examples(client: &Client) {
    click(client, "#bring-examples").await;
    let there = format!("return document.querySelector(\"[data-file='{POLISH}']\") !== null");
    until(client, &there, "the examples do not come in").await;
}

/// From nothing to a verdict.
async fn first_visit(client: &Client, address: &str) {
    let began = Instant::now();
    opened(client, address).await;
    let ready = run(client, "return performance.now()").await;
    click(client, "#first-example").await;
    until(client, "return document.getElementById('band-name')?.textContent.length > 0", "no verdict").await;
    println!("alone: ready {ready} ms after the page was asked for; first verdict after {:?}", began.elapsed());
    assert!(text(client, "place").await.contains("In this browser"));
    bring_examples(client).await;
    click(client, &format!("[data-file='{POLISH}']")).await;
    until(client, "return document.getElementById('index-value').textContent === '82.3'", "it is not opened").await;
    assert_eq!(text(client, "band-name").await, "delicate face");
    accessible(client, "alone").await;
    shot(client, "alone").await;
}

/// Grains are measured within the page.
async fn photographed(client: &Client) {
    unfold(client, 1).await;
    photo::dropped_and_measured(client).await;
    accessible(client, "alone, grains").await;
    shot(client, "alone-grains").await;
    click(client, "#dialog .close").await;
}

/// A change is shown, saved, and there when the page is opened again.
async fn changed_and_kept(client: &Client, address: &str) {
    super::measured(client, 0).await;
    slide(client, "p1-share", 80.0).await;
    until(client, "return document.getElementById('band-name').textContent === 'face'", "no change").await;
    let index = text(client, "index-value").await;
    click(client, "#save").await;
    says(client, "news", "Saved").await;
    opened(client, &format!("{address}#file={POLISH}")).await;
    until(client, &format!("return document.getElementById('index-value')?.textContent === '{index}'"), "it is lost")
        .await;
    // Not saved, and offered back.
    slide(client, "p1-share", 30.0).await;
    until(client, "return document.title.startsWith('•')", "no change").await;
    opened(client, address).await;
    says(client, "offers", POLISH).await;
    click(client, &format!("[data-offer='{POLISH}'] button")).await;
    until(client, "return document.title.startsWith('•')", "not taken in hand").await;
}

/// Draws are stopped while the page stays live, and then run to their end.
async fn stopped_and_drawn(client: &Client) {
    click(client, "#draw").await;
    click(client, "#drawn .stop").await;
    says(client, "drawn", "Stopped.").await;
    click(client, "#undo").await;
    click(client, "#draw").await;
    says(client, "drawn", "half below").await;
}

async fn taken_away(desk: &Desk, client: &Client) {
    click(client, "#take-scrub").await;
    says(client, "taken", "among the browser's downloads").await;
    let text = arrived(desk, POLISH).await;
    assert!(text.starts_with(b"# ") || text.starts_with(b"[scrub]"), "{}", String::from_utf8_lossy(&text));
    click(client, "#take-all").await;
    let zip = arrived(desk, "gritwise-files.zip").await;
    assert!(zip.starts_with(b"PK\x03\x04"));
    let holds = |name: &str| zip.windows(name.len()).any(|bytes| bytes == name.as_bytes());
    assert!(holds(POLISH) && holds("olive-stone-sieved.csv"));
}

/// A file among the browser's downloads.
async fn arrived(desk: &Desk, name: &str) -> Vec<u8> {
    for _ in 0..200 {
        match fs::read(desk.taken.path().join(name)) {
            Ok(bytes) if !bytes.is_empty() => return bytes,
            _ => tokio::time::sleep(Duration::from_millis(50)).await,
        }
    }
    let there: Vec<_> = fs::read_dir(desk.taken.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    panic!("{name} does not arrive among {there:?}");
}

/// A folder as the browser hands it out; a real one is chosen in a window of the system, which no test can reach.
const FOLDER: &str = r#"
    const held = new Map([["found.toml", arguments[0]]]); const at = new Map([["found.toml", 1]]);
    const file = (name) => ({ kind: "file", name,
      getFile: async () => new File([held.get(name)], name, { lastModified: at.get(name) }),
      createWritable: async () => ({ write: async (b) => { held.set(name, b); at.set(name, (at.get(name) ?? 0) + 1); }, close: async () => {} }) });
    window.showDirectoryPicker = async () => ({ name: "mill", getFileHandle: async (name) => file(name),
      async *values() { for (const name of held.keys()) yield file(name); } });
    window.heldInFolder = async (name) => (held.has(name) ? new Blob([held.get(name)]).text() : null);
"#;

async fn a_folder_of_the_machine(client: &Client) {
    let scrub = "[scrub]\nname = \"Found\"\npowder_load_pct = 5\n\n[[powder]]\nmaterial = \"rice-grain\"\nparts = 1\n\
                 size = { d50_um = 90, gsd = 1.5 }\n\n[[powder]]\nmaterial = \"pumice\"\nparts = 1\nsize = { d50_um = 60, gsd = 1.5 }\n";
    client.execute(FOLDER, vec![json!(scrub)]).await.unwrap();
    click(client, "#open-folder").await;
    says(client, "where", "mill").await;
    says(client, "place", "saving writes there").await;
    click(client, "[data-file='found.toml']").await;
    until(client, "return document.title.startsWith('Found')", "it is not opened").await;
    slide(client, "p1-share", 75.0).await;
    until(client, "return document.title.startsWith('•')", "no change").await;
    click(client, "#save").await;
    says(client, "news", "Saved found.toml").await;
    let written = client.execute_async("heldInFolder('found.toml').then(arguments[0])", vec![]).await.unwrap();
    assert!(written.as_str().unwrap().contains("parts = 3"), "{written}");
    click(client, "#to-browser").await;
    says(client, "where", "in this browser").await;
}

/// What the page is held to lets nothing out, and nothing was asked for.
async fn nothing_from_elsewhere(desk: &Desk, client: &Client) {
    let asked =
        "return performance.getEntriesByType('resource').map((e) => e.name).filter((n) => !/^(blob|data):/.test(n))";
    assert_eq!(run(client, asked).await, json!([]));
    let address = format!("http://{}/", desk.page.host());
    let tries = "const [address, done] = arguments; const broken = new Set(); \
        document.addEventListener('securitypolicyviolation', (e) => broken.add(e.effectiveDirective)); \
        const image = new Image(); image.src = address; \
        fetch(address).then(() => done('it got out'), () => setTimeout(() => done([...broken].sort()), 100))";
    let broken = client.execute_async(tries, vec![json!(address)]).await.unwrap();
    assert_eq!(broken, json!(["connect-src", "img-src"]));
}

/// From a static host, opened again when that is gone.
async fn on_a_host(client: &Client, folder: &Path) {
    let host = Host::of(folder.to_owned());
    let address = format!("http://127.0.0.1:{}/", host.port);
    opened(client, &address).await;
    let kept = "const done = arguments[0]; navigator.serviceWorker.ready.then(() => caches.keys()).then(done)";
    let caches = client.execute_async(kept, vec![]).await.unwrap();
    assert!(caches[0].as_str().unwrap().starts_with("gritwise-"), "{caches}");
    drop(host);
    opened(client, &address).await;
    click(client, "#first-example").await;
    until(client, "return document.getElementById('band-name')?.textContent.length > 0", "no verdict").await;
}

/// A static host of a folder, until it is dropped.
struct Host {
    port: u16,
    is_open: Arc<AtomicBool>,
    serving: Option<JoinHandle<()>>,
}

impl Host {
    fn of(folder: PathBuf) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).unwrap();
        let port = listener.local_addr().unwrap().port();
        let is_open = Arc::new(AtomicBool::new(true));
        let open = is_open.clone();
        let serving = std::thread::spawn(move || {
            for stream in listener.incoming().map_while(Result::ok).take_while(|_| open.load(Ordering::SeqCst)) {
                let _ = answered(stream, &folder);
            }
        });
        Self { port, is_open, serving: Some(serving) }
    }
}

impl Drop for Host {
    fn drop(&mut self) {
        self.is_open.store(false, Ordering::SeqCst);
        // Wakes it, so that it sees.
        let _ = TcpStream::connect(("127.0.0.1", self.port));
        let _ = self.serving.take().unwrap().join();
    }
}

fn answered(mut stream: TcpStream, folder: &Path) -> std::io::Result<()> {
    let mut lines = BufReader::new(stream.try_clone()?).lines();
    let first = lines.next().transpose()?.unwrap_or_default();
    lines.map_while(Result::ok).take_while(|line| !line.is_empty()).for_each(drop);
    let name = match first.split(' ').nth(1) {
        Some("/") | None => "index.html",
        Some(path) => path.trim_start_matches('/'),
    };
    let kind = match name.rsplit('.').next() {
        Some("html") => "text/html",
        Some("js") => "text/javascript",
        Some("svg") => "image/svg+xml",
        _ => "application/manifest+json",
    };
    let (status, body) = match fs::read(folder.join(name)) {
        Ok(body) => ("200 OK", body),
        Err(_) => ("404 Not Found", Vec::new()),
    };
    let head = format!(
        "HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {}\r\nConnection: close\r\n\r\n",
        body.len()
    );
    stream.write_all(head.as_bytes())?;
    stream.write_all(&body)
}

/// Asks the module of the file itself, as its interface is told: `[path, body]`, or `[name, text]` of a file to be put in.
const ASK: &str = r#"
    const [packed, files, calls, done] = arguments;
    const text = new TextEncoder(), plain = new TextDecoder();
    (async () => {
      const bytes = Uint8Array.from(atob(packed), (c) => c.charCodeAt(0));
      const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
      const module = await WebAssembly.compile(await new Response(stream).arrayBuffer());
      const { exports: m } = await WebAssembly.instantiate(module);
      const fill = (first, second) => {
        const [a, b] = [text.encode(first), text.encode(second ?? "")];
        const at = m.room(a.length + b.length);
        new Uint8Array(m.memory.buffer, at).set(a);
        new Uint8Array(m.memory.buffer, at + a.length).set(b);
        return a.length;
      };
      for (const [name, held] of files) m.put(fill(name, held));
      const ask = ([path, body]) => {
        const status = m.call(fill(path, body), body === null ? 0 : 1);
        const answer = plain.decode(new Uint8Array(m.memory.buffer, m.place(), m.length()).slice());
        return [status, answer.slice(answer.indexOf("\n") + 1)];
      };
      return { imports: WebAssembly.Module.imports(module).length, answers: calls.map(ask) };
    })().then(done, (e) => done(String(e)));
"#;

/// One question to both: a call of the page, and a command that prints the same.
struct Both {
    call: (String, Value),
    command: Vec<String>,
}

/// Every example, by whatever the page and the command line both tell.
async fn same_numbers(desk: &Desk, client: &Client, html: &str) {
    let packed = html.split("id=\"module\">").nth(1).and_then(|rest| rest.split('<').next()).unwrap();
    let mut files = Vec::new();
    for entry in fs::read_dir(desk.page.folder.path()).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if name.ends_with(".toml") || name.ends_with(".csv") {
            files.push((name, fs::read_to_string(path).unwrap()));
        }
    }
    let asked = questions(&files);
    let calls: Vec<_> = asked.iter().map(|both| (&both.call.0, both.call.1.to_string())).collect();
    let arguments = vec![json!(packed.trim()), json!(files), json!(calls)];
    let patient = TimeoutConfiguration::new(Some(Duration::from_secs(600)), None, None);
    client.update_timeouts(patient).await.unwrap();
    let told = client.execute_async(ASK, arguments).await.unwrap();
    assert_eq!(told["imports"], 0, "{told}");
    let (mut worst, mut other, mut all) = (0.0_f64, 0, 0);
    for (both, answer) in asked.iter().zip(told["answers"].as_array().unwrap()) {
        let mut program = Command::new(env!("CARGO_BIN_EXE_gritwise"));
        let run = program.current_dir(desk.page.folder.path()).args(&both.command).output().unwrap();
        let said = format!("{:?}: {}", both.command, answer);
        let text = answer[1].as_str().unwrap();
        if !run.stdout.starts_with(b"{") {
            // Refused by both, in the same words.
            let error = String::from_utf8_lossy(&run.stderr).trim().trim_start_matches("gritwise: ").to_owned();
            assert_ne!(answer[0], 200, "{said}");
            assert_eq!(serde_json::from_str::<Value>(text).unwrap()["error"], error, "{said}");
            continue;
        }
        assert_eq!(answer[0], 200, "{said}");
        let (mut here, mut there): (Value, Value) =
            (serde_json::from_str(text).unwrap(), serde_json::from_slice(&run.stdout).unwrap());
        if both.call.0 == "aim" {
            here = here["report"].take();
            // Of blends that are equally far from an aim that none meets, the last bit decides which is told of.
            [&mut here, &mut there].into_iter().for_each(|report| drop(report["nearest"].take()));
        }
        let mut off = Vec::new();
        compare("", &here, &there, &mut off);
        all += 1;
        other += usize::from(off.iter().any(|o| *o > 0.0));
        worst = off.into_iter().fold(worst, f64::max);
    }
    println!("alone: {all} reports as the command line's, {other} of them with a number off, at most by {worst:.1e}");
    assert!(all >= 20 && worst < OFF);
}

fn questions(files: &[(String, String)]) -> Vec<Both> {
    let draft = |(file, text): &(String, String)| json!({ "file": file, "text": text });
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
    let mut all = Vec::new();
    for pair in files {
        let (file, text) = pair;
        let body = json!({ "draft": draft(pair) });
        if text.contains("[scrub]") {
            all.push(Both { call: ("download/report-json".into(), body), command: words(&["blend", file, "--json"]) });
            all.push(Both {
                call: ("confidence".into(), json!({ "draft": draft(pair), "draws": 2000 })),
                command: words(&["confidence", file, "--draws", "2000", "--json"]),
            });
        }
    }
    let polish = files.iter().find(|pair| pair.0 == POLISH).unwrap();
    let body = files.iter().find(|pair| pair.0 == "millrace-body-scrub.toml").unwrap();
    all.push(Both {
        call: ("compare".into(), json!({ "drafts": [draft(polish), draft(body)] })),
        command: words(&["compare", POLISH, "millrace-body-scrub.toml", "--json"]),
    });
    for aim in ["aim-cheapest-face.toml", "aim-sure-face.toml", "aim-too-much.toml"] {
        let text = &files.iter().find(|pair| pair.0 == aim).unwrap().1;
        let keys = &definition(text, aim).unwrap()["aim"];
        all.push(Both {
            call: ("aim".into(), json!({ "aim": keys, "draft": draft(polish) })),
            command: words(&["aim", aim, "--json"]),
        });
    }
    all
}

/// The same keys, texts and whole numbers; how far each other number is off, relative.
fn compare(at: &str, here: &Value, there: &Value, off: &mut Vec<f64>) {
    match (here, there) {
        (Value::Object(a), Value::Object(b)) => {
            assert_eq!(a.keys().collect::<Vec<_>>(), b.keys().collect::<Vec<_>>(), "{at}");
            a.iter().for_each(|(key, value)| compare(&format!("{at}.{key}"), value, &b[key], off));
        }
        (Value::Array(a), Value::Array(b)) => {
            assert_eq!(a.len(), b.len(), "{at}");
            a.iter().zip(b).enumerate().for_each(|(i, (a, b))| compare(&format!("{at}[{i}]"), a, b, off));
        }
        (Value::Number(a), Value::Number(b)) if a.is_f64() && b.is_f64() => {
            let (a, b) = (a.as_f64().unwrap(), b.as_f64().unwrap());
            off.push((a - b).abs() / a.abs().max(b.abs()).max(f64::MIN_POSITIVE));
        }
        _ => assert_eq!(here, there, "{at}"),
    }
}
