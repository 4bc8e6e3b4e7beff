//! A browser that looks at a served page, and what is done and seen there.

use crate::common::served::{Served, served};
use fantoccini::key::Key;
use fantoccini::{Client, ClientBuilder, Locator};
use serde_json::{Value, json};
use std::fs;
use std::io::{Read, Write};
use std::net::{TcpListener, TcpStream};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::Duration;

/// A driver with the page it looks at.
pub struct Desk {
    driver: Child,
    port: u16,
    pub page: Served,
    /// Where downloads go.
    pub taken: tempfile::TempDir,
}

impl Drop for Desk {
    fn drop(&mut self) {
        // Killed, it would leave its browsers behind; asked, it ends them first.
        let asked = TcpStream::connect(("127.0.0.1", self.port)).and_then(|mut driver| {
            driver.set_read_timeout(Some(Duration::from_secs(10)))?;
            driver.write_all(b"GET /shutdown HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n")?;
            driver.read_to_end(&mut Vec::new())
        });
        if asked.is_ok() {
            let ended = |driver: &mut Child| !matches!(driver.try_wait(), Ok(None));
            (0..50).any(|_| {
                ended(&mut self.driver) || {
                    thread::sleep(Duration::from_millis(100));
                    false
                }
            });
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

fn on_path(name: &str) -> bool {
    std::env::var_os("PATH").is_some_and(|path| std::env::split_paths(&path).any(|folder| folder.join(name).is_file()))
}

/// `None`, with a word about it, where there is no browser to test in.
pub fn desk() -> Option<Desk> {
    if !(on_path("chromedriver") && on_path("chromium")) {
        let message = "chromium and chromedriver are not installed (Debian: chromium, chromium-driver)";
        assert!(std::env::var("GRITWISE_BROWSER").as_deref() != Ok("required"), "{message}");
        eprintln!("SKIPPED, the page was not tested in a browser: {message}");
        return None;
    }
    let port = TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap().port();
    let driver = Command::new("chromedriver").arg(format!("--port={port}")).stdout(Stdio::null()).spawn().unwrap();
    Some(Desk { driver, port, page: served(), taken: tempfile::tempdir().unwrap() })
}

impl Desk {
    /// A browser of this size; `dark` as the system would ask for it, `phone` with a finger.
    pub async fn browser(&self, (width, height): (u32, u32), dark: bool, phone: bool) -> Client {
        self.with(&[], (width, height), dark, phone).await
    }

    /// One that shows the few colours that the system is set to.
    pub async fn browser_of_high_contrast(&self, size: (u32, u32)) -> Client {
        self.with(&["--force-high-contrast"], size, false, false).await
    }

    /// One of another language.
    pub async fn browser_in(&self, language: &str) -> Client {
        self.with(&[&format!("--accept-lang={language}")], (1280, 1200), false, false).await
    }

    async fn with(&self, flags: &[&str], (width, height): (u32, u32), dark: bool, phone: bool) -> Client {
        let scheme = format!("--blink-settings=preferredColorScheme={}", if dark { 0 } else { 1 });
        let size = format!("--window-size={width},{height}");
        let usual = ["--headless=new", "--no-sandbox", "--disable-dev-shm-usage", "--hide-scrollbars", &scheme, &size];
        let args = [&usual[..], flags].concat();
        let mut options = json!({
            "args": args,
            "prefs": { "download.default_directory": self.taken.path() },
        });
        if phone {
            let metrics = json!({ "width": width, "height": height, "pixelRatio": 2.0, "mobile": true, "touch": true });
            options["mobileEmulation"] = json!({ "deviceMetrics": metrics });
        }
        let mut wanted = serde_json::Map::new();
        wanted.insert("goog:chromeOptions".into(), options);
        wanted.insert("unhandledPromptBehavior".into(), json!("accept"));
        let mut told = String::new();
        for _ in 0..100 {
            let mut builder = ClientBuilder::new(hyper_util::client::legacy::connect::HttpConnector::new());
            match builder.capabilities(wanted.clone()).connect(&format!("http://127.0.0.1:{}", self.port)).await {
                Ok(client) => return client,
                // The driver takes a moment to start.
                Err(e) => told = e.to_string(),
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        panic!("no browser: {told}");
    }

    /// Opens a file as in a browser that remembers nothing.
    pub async fn open(&self, client: &Client, file: &str) {
        // Cleared where no page of ours is: one that is left remembers what is not saved of it.
        client.goto(&format!("http://{}/assets/page.css", self.page.host())).await.unwrap();
        run(client, "localStorage.clear()").await;
        self.open_again(client, file).await;
    }

    /// The same in a browser that was here before.
    pub async fn open_again(&self, client: &Client, file: &str) {
        client.goto("about:blank").await.unwrap();
        client.goto(&format!("{}&file={file}", self.page.address)).await.unwrap();
        until(client, "return document.body.dataset.ready === 'yes'", "the page is not ready").await;
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.page.folder.path().join(name)
    }
}

pub async fn run(client: &Client, script: &str) -> Value {
    client.execute(script, vec![]).await.unwrap_or_else(|e| panic!("{script}: {e}"))
}

pub async fn until(client: &Client, script: &str, otherwise: &str) {
    for _ in 0..500 {
        if run(client, script).await == json!(true) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    let told = run(
        client,
        "return [...document.querySelectorAll('#trouble, #dialog-trouble')].map((e) => e.textContent).join(' ')",
    )
    .await;
    panic!("{otherwise} ({script}; {told})");
}

pub async fn text(client: &Client, id: &str) -> String {
    run(client, &format!("return document.getElementById('{id}').textContent")).await.as_str().unwrap().to_owned()
}

pub async fn click(client: &Client, css: &str) {
    // What lies under the bar that stays in sight is scrolled to first, as a maker would.
    let script = format!("document.querySelector({})?.scrollIntoView({{ block: 'center' }})", json!(css));
    run(client, &script).await;
    client.find(Locator::Css(css)).await.unwrap_or_else(|e| panic!("{css}: {e}")).click().await.unwrap();
}

pub async fn shot(client: &Client, name: &str) {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().unwrap().join("page");
    fs::create_dir_all(&folder).unwrap();
    tokio::time::sleep(Duration::from_millis(150)).await;
    fs::write(folder.join(format!("{name}.png")), client.screenshot().await.unwrap()).unwrap();
}

/// axe-core's findings of the two upper grades: there must be none.
pub async fn accessible(client: &Client, what: &str) {
    let Ok(axe) = fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/tests/axe-core/axe.min.js")) else {
        println!("axe, {what}: skipped, since the published package does not hold it");
        return;
    };
    let script = format!(
        "const done = arguments[0]; {axe}; axe.run(document, {{ resultTypes: ['violations'] }}).then((r) => done(r.violations.map(\
         (v) => `${{v.impact}} ${{v.id}}: ${{v.nodes.map((n) => n.target.join(' ') + ' ' + (n.any[0]?.message ?? '')).join('; ')}}`)), \
         (e) => done(['critical ' + e]));"
    );
    let found = client.execute_async(&script, vec![]).await.unwrap();
    let all: Vec<&str> = found.as_array().unwrap().iter().filter_map(Value::as_str).collect();
    println!("axe, {what}: {} finding(s) {all:?}", all.len());
    let grave: Vec<_> = all.iter().filter(|v| v.starts_with("serious") || v.starts_with("critical")).collect();
    assert!(grave.is_empty(), "{what}: {grave:#?}");
}

/// Nothing sticks out sideways.
pub async fn fits(client: &Client) {
    let wide = run(client, "return [document.documentElement.scrollWidth, innerWidth]").await;
    assert!(wide[0].as_f64() <= wide[1].as_f64(), "{wide}");
}

/// Selects what is in a box and types over it, without leaving the box; once more where the page made the box anew meanwhile.
pub async fn write(client: &Client, id: &str, typed: &str) {
    for _ in 0..5 {
        run(client, &format!("document.getElementById('{id}').focus()")).await;
        // Selected with the same breath: a box that is made anew meanwhile has nothing selected.
        let all = format!("{}a{}{typed}", char::from(Key::Control), char::from(Key::Null));
        match client.find(Locator::Id(id)).await.unwrap().send_keys(&all).await {
            Err(e) if e.to_string().contains("stale element") => (),
            sent => return sent.unwrap(),
        }
    }
    panic!("#{id} is made anew again and again");
}

/// The same, and leaves it.
pub async fn fill(client: &Client, id: &str, typed: &str) {
    write(client, id, &format!("{typed}{}", char::from(Key::Tab))).await;
}

/// Empties a box and leaves it.
pub async fn empty(client: &Client, id: &str) {
    fill(client, id, &char::from(Key::Delete).to_string()).await;
}

pub async fn press(client: &Client, keys: &str) {
    client.active_element().await.unwrap().send_keys(keys).await.unwrap();
}

/// Ctrl and a key.
pub async fn ctrl(client: &Client, key: char) {
    press(client, &format!("{}{key}{}", char::from(Key::Control), char::from(Key::Null))).await;
}

/// Until an element holds these words.
pub async fn says(client: &Client, id: &str, words: &str) {
    let script = format!("return document.getElementById('{id}')?.textContent.includes({}) === true", json!(words));
    until(client, &script, &format!("#{id} does not say: {words}")).await;
}

/// Until a control holds this value; of a list to choose from, the value that its text stands for.
pub async fn holds(client: &Client, id: &str, value: &str) {
    let script = format!(
        "const c = document.getElementById('{id}'); return (c.role === 'combobox' ? c.dataset.value : c.value) === {}",
        json!(value)
    );
    until(client, &script, &format!("#{id} does not hold {value}")).await;
}

/// Chooses as a pointer would.
pub async fn choose(client: &Client, id: &str, value: &str) {
    let script = format!(
        "const box = document.getElementById('{id}'); box.focus(); box.click(); \
         document.querySelector(`#{id}-list [data-value=\"{value}\"]`).click()"
    );
    run(client, &script).await;
}

/// Opens the card of a powder.
pub async fn unfold(client: &Client, powder: usize) {
    let script = format!(
        "const fold = document.getElementById('p{powder}-fold'); if (fold.ariaExpanded !== 'true') fold.click(); return fold.ariaExpanded === 'true'"
    );
    until(client, &script, "the card does not open").await;
}

/// Moves a slider and lets it go.
pub async fn slide(client: &Client, id: &str, value: f64) {
    let script = format!(
        "const s = document.getElementById('{id}'); s.value = {value}; s.dispatchEvent(new Event('input')); \
         s.dispatchEvent(new Event('change'))"
    );
    run(client, &script).await;
}

/// Drops a file of these bytes on a powder's grade.
pub async fn drop_on(client: &Client, powder: usize, name: &str, bytes: &[u8]) {
    let script = format!(
        "const dt = new DataTransfer(); dt.items.add(new File([new Uint8Array({})], '{name}')); document.getElementById('p{powder}-grade')\
         .dispatchEvent(new DragEvent('drop', {{ dataTransfer: dt, bubbles: true, cancelable: true }}))",
        json!(bytes)
    );
    run(client, &script).await;
}
