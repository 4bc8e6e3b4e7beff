//! The page in a real Chromium, as a maker would use it: by pointer, by keyboard, on a phone, in the dark. Needs Debian's
//! `chromium` and `chromium-driver`; without them it is skipped, unless GRITWISE_BROWSER=required (as `.ci/run` sets it).
//! Screenshots go to the `page` folder of the target directory. Accessibility by axe-core (MPL-2.0, `tests/axe-core/`).
#![cfg(feature = "page")]

mod alone;
mod compare;
mod desk;
mod more;
mod photo;
mod shelf;
mod slips;
mod traps;
mod unseen;
mod whole;

use desk::*;
use fantoccini::actions::{Actions, InputSource, MouseActions, PointerAction};
use fantoccini::key::Key;
use fantoccini::{Client, Locator};
use serde_json::json;
use std::fs;
use std::time::Duration;

const POLISH: &str = "millrace-rice-polish.toml";
const PHONE: (u32, u32) = (360, 740);

#[test]
fn the_page_in_a_browser() {
    let Some(desk) = desk() else { return };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let client = desk.browser((1280, 1500), false, false).await;
        opened_dragged_typed(&desk, &client).await;
        keyboard_alone(&desk, &client).await;
        tables_dropped(&desk, &client).await;
        saved_with_a_conflict(&desk, &client).await;
        kept_and_compared(&desk, &client).await;
        drawn(&desk, &client).await;
        sought(&desk, &client).await;
        names_stay_text(&desk, &client).await;
        taken_away(&desk, &client).await;
        traps::all(&desk, &client).await;
        unseen::all(&desk, &client).await;
        whole::all(&desk, &client).await;
        more::all(&desk, &client).await;
        shelf::all(&desk, &client).await;
        slips::all(&desk, &client).await;
        compare::all(&desk, &client).await;
        quick(&desk, &client).await;
        if let Some(empty) = desk::desk() {
            more::first_visit(&client, &empty).await;
        }
        client.close().await.unwrap();
        let client = desk.browser_in("de-DE").await;
        compare::with_commas(&desk, &client).await;
        client.close().await.unwrap();
        looks(&desk).await;
        forced_colours_and_paper(&desk).await;
    });
}

async fn opened_dragged_typed(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    assert_eq!(text(client, "band-name").await, "delicate face");
    assert_eq!(text(client, "index-value").await, "82.3");
    assert!(!run(client, "return location.href").await.as_str().unwrap().contains(&desk.page.token));
    for words in [
        "a model under stated assumptions",
        "not a clinical measure",
        "once a week to start",
        "not a safety assessment",
        "would make it a face scrub",
    ] {
        assert!(text(client, "result").await.contains(words), "{words}");
    }
    accessible(client, "wide").await;
    shot(client, "wide").await;

    // The slider of the olive stone, dragged to the right: more of it, a harsher band, one step to undo.
    let box_of = "const r = document.getElementById('p1-share').getBoundingClientRect(); return [r.left, r.top + r.height / 2, r.width]";
    let at = run(client, box_of).await;
    let (left, y, width) = (at[0].as_f64().unwrap(), at[1].as_f64().unwrap(), at[2].as_f64().unwrap());
    let to = |share: f64, ms| PointerAction::MoveTo {
        duration: Some(Duration::from_millis(ms)),
        x: left + 8.0 + (width - 16.0) * share,
        y,
    };
    let down = PointerAction::Down { button: fantoccini::actions::MOUSE_BUTTON_LEFT };
    let up = PointerAction::Up { button: fantoccini::actions::MOUSE_BUTTON_LEFT };
    let drag =
        MouseActions::new("mouse".into()).then(to(0.333, 0)).then(down).then(to(0.5, 200)).then(to(0.8, 300)).then(up);
    client.perform_actions(drag).await.unwrap();
    until(client, "return document.getElementById('band-name').textContent === 'face'", "the band does not follow")
        .await;
    let share: f64 = run(client, "return document.getElementById('p1-share').valueAsNumber").await.as_f64().unwrap();
    assert!((75.0..85.0).contains(&share), "{share}");
    click(client, "#undo").await;
    until(
        client,
        "return document.getElementById('index-value').textContent === '82.3'",
        "undo does not bring it back",
    )
    .await;
    assert_eq!(run(client, "return document.getElementById('undo').ariaDisabled").await, json!("true"));
    click(client, "#redo").await;
    until(client, "return document.getElementById('band-name').textContent === 'face'", "redo does nothing").await;
    click(client, "#undo").await;
    says(client, "news", "From face to delicate face.").await;

    // Typed: the numbers of the command line for the same file.
    unfold(client, 1).await;
    fill(client, "p1-parts", "3").await;
    until(
        client,
        "return document.getElementById('file-text').textContent.includes('parts = 3\\n')",
        "parts are not taken",
    )
    .await;
    fill(client, "p1-parts", "1000").await;
    until(client, "return document.querySelector('#powders .error:not(:empty)') !== null", "no error is shown").await;
    let told = run(client, "return document.querySelector('#powders .error:not(:empty)').textContent").await;
    assert!(told.as_str().unwrap().contains("parts must be above 0 and at most 100"), "{told}");
    accessible(client, "with an error").await;
    click(client, "#undo").await;

    // Every form of a grade, looked at, and the pointer over the curves.
    unfold(client, 0).await;
    for form in ["log-normal", "percentiles", "mesh", "range", "grit", "words"] {
        choose(client, "p0-form", form).await;
        until(
            client,
            &format!(
                "return document.getElementById('p0-form').dataset.value === '{form}' \
              && document.getElementById('p0-fields').dataset.form === '{form}' \
              && document.querySelectorAll('#p0-fields .box').length > 0 \
              && document.querySelector('.error:not(:empty)') === null"
            ),
            form,
        )
        .await;
    }
    let middle = run(
        client,
        "const r = document.getElementById('plot').getBoundingClientRect(); scrollBy(0, r.top - 100); \
                              return r.left + r.width / 2",
    )
    .await;
    let hover = PointerAction::MoveTo { duration: None, x: middle.as_f64().unwrap(), y: 200.0 };
    client.perform_actions(Actions::from(MouseActions::new("mouse".into()).then(hover))).await.unwrap();
    until(
        client,
        "return /at [\\d.]+ µm/.test(document.getElementById('reading').textContent)",
        "the pointer reads nothing",
    )
    .await;
    click(client, "#legend button").await;
    until(
        client,
        "return document.querySelector('#legend button').getAttribute('aria-pressed') === 'false' \
                   && document.querySelector('#plot .curve.blend') === null",
        "the legend does not toggle",
    )
    .await;
    click(client, "#legend button").await;
}

async fn keyboard_alone(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    unfold(client, 0).await;
    run(client, "document.body.tabIndex = -1; document.body.focus()").await;
    let press = async |key: Key| press(client, &char::from(key).to_string()).await;
    let mut seen = Vec::new();
    for _ in 0..120 {
        press(Key::Tab).await;
        let id = run(client, "return document.activeElement.id || document.activeElement.tagName").await;
        seen.push(id.as_str().unwrap().to_owned());
        if seen.last().unwrap() == "p1-share" {
            break;
        }
    }
    for wanted in
        ["keep", "save-as", "scrub-name", "load-slide", "load", "p0-share", "p0-pct", "p0-parts", "p0-form", "p1-share"]
    {
        assert!(seen.iter().any(|s| s == wanted), "{wanted} is not reached: {seen:?}");
    }
    for _ in 0..5 {
        press(Key::Right).await;
    }
    until(client, "return document.getElementById('index-value').textContent !== '82.3'", "the arrows move nothing")
        .await;
    assert_eq!(run(client, "return document.activeElement.id").await, "p1-share");
    for _ in 0..5 {
        ctrl(client, 'z').await;
    }
    until(client, "return document.getElementById('index-value').textContent === '82.3'", "Ctrl+Z does not undo").await;
    run(client, "document.getElementById('cursor').focus()").await;
    press(Key::Right).await;
    until(
        client,
        "return /µm/.test(document.getElementById('cursor').getAttribute('aria-valuetext'))",
        "the cursor says nothing",
    )
    .await;
}

async fn tables_dropped(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    let bad = b"opening_um,retained_g\n300,1.5\n212,twelve\n150,20\npan,2\n";
    drop_on(client, 1, "bad.csv", bad).await;
    until(
        client,
        "return document.querySelector('#p1-table .bad')?.textContent === '212,twelve'",
        "the bad row is not shown",
    )
    .await;
    assert!(text(client, "p1-table").await.contains("bad.csv:3: retained_g = \"twelve\" is not a number"));
    assert_eq!(text(client, "index-value").await, "82.3");
    shot(client, "bad-table").await;
    drop_on(client, 1, "lot-9.csv", b"opening_um,retained_g\n300,1.5\n212,12\n150,20\npan,2\n").await;
    until(
        client,
        "return document.getElementById('file-text').textContent.includes('sieve = \"lot-9.csv\"')",
        "the table is not taken",
    )
    .await;
    until(
        client,
        "return document.getElementById('p1-table').textContent.includes('all rows read')",
        "no word about the table",
    )
    .await;
    assert!(!desk.file("lot-9.csv").exists());
    click(client, "#save").await;
    until(
        client,
        "return document.getElementById('news').textContent === 'Saved millrace-rice-polish.toml.'",
        "not saved",
    )
    .await;
    assert!(desk.file("lot-9.csv").exists());
    // By the keyboard a file is chosen instead of dropped.
    unfold(client, 1).await;
    fs::write(desk.taken.path().join("chosen.csv"), "lower_um,upper_um,count\n100,150,30\n150,220,10\n").unwrap();
    let file = client.find(Locator::Id("p1-file")).await.unwrap();
    file.send_keys(desk.taken.path().join("chosen.csv").to_str().unwrap()).await.unwrap();
    until(
        client,
        "return document.getElementById('file-text').textContent.includes('counts = \"chosen.csv\"')",
        "the file is not taken",
    )
    .await;
    click(client, "#undo").await;
}

async fn saved_with_a_conflict(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    let before = fs::read_to_string(desk.file(POLISH)).unwrap();
    fill(client, "load", "6").await;
    until(client, "return document.title.startsWith('•')", "the change is not marked").await;
    let theirs = before.replace("# parts by mass of the powder blend", "# weighed by another hand");
    assert_ne!(before, theirs);
    fs::write(desk.file(POLISH), &theirs).unwrap();
    click(client, "#save").await;
    until(client, "return document.getElementById('dialog').open", "no conflict is shown").await;
    let told = text(client, "dialog").await;
    for words in ["changed on disk", "weighed by another hand", "powder_load_pct = 6"] {
        assert!(told.contains(words), "{words}: {told}");
    }
    accessible(client, "the conflict").await;
    shot(client, "conflict").await;
    assert_eq!(fs::read_to_string(desk.file(POLISH)).unwrap(), theirs);
    click(client, "#keep-mine").await;
    until(client, "return !document.getElementById('dialog').open", "mine is not saved").await;
    assert_eq!(
        fs::read_to_string(desk.file(POLISH)).unwrap(),
        before.replace("powder_load_pct = 5.0", "powder_load_pct = 6")
    );
}

async fn kept_and_compared(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    click(client, "#keep").await;
    until(
        client,
        "return document.querySelectorAll('#plot .curve.kept-1').length === 3",
        "what is kept is not laid over",
    )
    .await;
    slide(client, "p1-share", 70.0).await;
    until(client, "return document.querySelectorAll('#kept tbody tr td').length > 10", "nothing is compared").await;
    until(
        client,
        "return document.getElementById('kept').textContent.includes('makes the difference')",
        "no differences are named",
    )
    .await;
    run(client, "document.getElementById('result').scrollIntoView()").await;
    accessible(client, "kept").await;
    shot(client, "kept").await;
    click(client, "#drop-1").await;
    until(client, "return document.querySelectorAll('#plot .curve.kept-1').length === 0", "it does not go").await;
}

async fn drawn(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    click(client, "#draw").await;
    until(client, "return document.querySelectorAll('#drawn tr').length === 5", "nothing is drawn").await;
    assert!(text(client, "drawn").await.contains("5 % of the draws below"));
    accessible(client, "draws").await;
    run(client, "document.getElementById('sure').scrollIntoView()").await;
    shot(client, "draws").await;
    slide(client, "load-slide", 7.0).await;
    until(client, "return document.querySelectorAll('#drawn tr').length === 0", "old draws stay").await;
    desk.open(client, "weir-salt-scrub.toml").await;
    click(client, "#draw").await;
    says(client, "drawn", "dissolves in water").await;
}

async fn sought(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    click(client, "#seek").await;
    run(client, "document.getElementById('aim-goal').value = 'cheapest'; document.getElementById('aim-load-low').value = 3; \
                 document.getElementById('aim-without').value = 'nut'; document.getElementById('aim-index-low').value = 30")
    .await;
    click(client, "#aim button[type=submit]").await;
    until(client, "return document.querySelectorAll('#found .card').length > 0", "nothing is found").await;
    accessible(client, "blends found").await;
    shot(client, "found").await;
    click(client, "#found .card button").await;
    until(client, "return !document.getElementById('dialog').open && document.getElementById('file-text').textContent.includes('[scrub]') \
                   && document.title.startsWith('•')", "the blend is not in hand").await;
    click(client, "#save").await;
    click(client, "#dialog button[type=submit]").await;
    until(
        client,
        "return /^Saved found.toml/.test(document.getElementById('news').textContent)",
        "the blend is not saved",
    )
    .await;
    assert!(desk.file("found.toml").exists());
}

async fn names_stay_text(desk: &Desk, client: &Client) {
    let evil = "<img src=x onerror=document.title='out'><script>1</script>";
    let text = fs::read_to_string(desk.file(POLISH)).unwrap();
    let text = text
        .replace("\"Millrace rice polish\"", &format!("'''{evil}'''"))
        .replace("\"Rice bran, fine\"", &format!("'''{evil}2'''"));
    fs::write(desk.file("evil.toml"), text).unwrap();
    desk.open(client, "evil.toml").await;
    click(client, "#keep").await;
    until(client, "return document.querySelectorAll('#kept tbody tr td').length > 10", "nothing is compared").await;
    assert_eq!(run(client, "return document.querySelectorAll('img, main script').length").await, json!(0));
    assert!(run(client, "return document.title").await.as_str().unwrap().starts_with("<img src=x"));
    assert!(self::text(client, "scrubs").await.contains(evil));
    fs::remove_file(desk.file("evil.toml")).unwrap();
}

async fn taken_away(desk: &Desk, client: &Client) {
    desk.open(client, POLISH).await;
    click(client, "#take-dossier").await;
    let file = desk.taken.path().join("millrace-rice-polish-dossier.html");
    for _ in 0..200 {
        if fs::read_to_string(&file).is_ok_and(|t| t.contains("Millrace rice polish")) {
            return;
        }
        tokio::time::sleep(Duration::from_millis(50)).await;
    }
    panic!("the dossier does not arrive");
}

/// From the input to the painted change, five powders, in this build.
async fn quick(desk: &Desk, client: &Client) {
    let powder = |(i, (material, d50)): (usize, (&str, u32))| {
        format!(
            "\n[[powder]]\nname = \"Powder {i}\"\nmaterial = \"{material}\"\nparts = {}\nsize = {{ d50_um = {d50}, gsd = 1.6 }}\n",
            i + 1
        )
    };
    let five = [("rice-bran", 60), ("olive-stone", 165), ("pumice", 45), ("bamboo", 200), ("walnut-shell", 250)];
    let text = format!(
        "[scrub]\nname = \"Five\"\npowder_load_pct = 6\n{}",
        five.into_iter().enumerate().map(powder).collect::<String>()
    );
    fs::write(desk.file("five.toml"), text).unwrap();
    desk.open(client, "five.toml").await;
    for kept in [0, 4] {
        for slot in 1..=kept {
            click(client, "#keep").await;
            until(client, &format!("return document.getElementById('drop-{slot}') !== null"), "not kept").await;
        }
        measured(client, kept).await;
    }
}

async fn measured(client: &Client, kept: usize) {
    // The page marks when all is in place; the frame after that is on the screen once a task runs behind it.
    let script = "const done = arguments[0]; const slider = document.getElementById('p1-share'); const took = []; let told; \
        performance.mark = () => { const shown = performance.now(); \
        requestAnimationFrame(() => setTimeout(() => told([shown, performance.now()]))); }; \
        (async () => { for (let i = 0; i < 6; i += 1) { const painted = new Promise((r) => (told = r)); \
        slider.value = 20 + i; const began = performance.now(); slider.dispatchEvent(new Event('input')); \
        took.push((await painted).map((at) => at - began)); } done(took); })()";
    let took = client.execute_async(script, vec![]).await.unwrap();
    let sorted = |column: usize| {
        let mut all: Vec<f64> = took.as_array().unwrap().iter().map(|t| t[column].as_f64().unwrap()).collect();
        all.sort_by(f64::total_cmp);
        all
    };
    let (shown, painted) = (sorted(0), sorted(1));
    println!(
        "{kept} kept; input to change in place: median {:.1} ms, most {:.1} ms; on the screen: median {:.1} ms, most {:.1} ms",
        shown[3], shown[5], painted[3], painted[5]
    );
    // A release build on a quiet machine is held against the limit of 50 ms by hand: this one is not optimised.
}

/// With the system's own few colours, and on paper: what harms is told by rim and words, and all of it is on one page.
async fn forced_colours_and_paper(desk: &Desk) {
    let client = desk.browser_of_high_contrast((1280, 1500)).await;
    unseen::fresh(desk, &client, "millrace-acid-polish.toml").await;
    run(&client, "document.getElementById('part-acid').open = true").await;
    fill(&client, "acid-final_ph", "2").await;
    says(&client, "verdict", "Stop pH in its window").await;
    accessible(&client, "forced colours").await;
    shot(&client, "forced").await;
    let rim = "const s = getComputedStyle(document.querySelector('ul.checks > .stop')); return s.borderTopStyle";
    assert_eq!(run(&client, rim).await, json!("double"));
    let printed = client.print(fantoccini::wd::PrintConfiguration::default()).await.unwrap();
    fs::write(desk.taken.path().join("page.pdf"), &printed).unwrap();
    // Every page is an object of its own: "/Type /Page", against "/Type /Pages" of their list.
    let text = String::from_utf8_lossy(&printed);
    assert_eq!(text.matches("/Type /Page\n").count(), 1);
    client.close().await.unwrap();
}

async fn looks(desk: &Desk) {
    for (name, size, dark, phone) in [
        ("dark", (1280, 1500), true, false),
        ("very-wide", (1920, 1200), false, false),
        ("phone", PHONE, false, true),
        ("phone-dark", (PHONE.0, 4200), true, true),
    ] {
        let client = desk.browser(size, dark, phone).await;
        desk.open(&client, "osier-bamboo-polish.toml").await;
        let is_dark = run(&client, "return matchMedia('(prefers-color-scheme: dark)').matches").await;
        assert_eq!(is_dark, json!(dark));
        fits(&client).await;
        accessible(&client, name).await;
        shot(&client, name).await;
        if name == "phone" {
            traps::on_a_phone(&client).await;
            unseen::on_a_phone(desk, &client).await;
            whole::on_a_phone(desk, &client).await;
            more::on_a_phone(desk, &client).await;
            shelf::on_a_phone(desk, &client).await;
            compare::on_a_phone(desk, &client).await;
            compare::with_large_text(desk, &client).await;
            slips::on_a_phone(desk, &client).await;
        }
        client.close().await.unwrap();
    }
}
