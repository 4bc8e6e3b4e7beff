//! What a careful user trips over: work that must not be lost, words that must not be false, errors that must be seen.

use super::desk::*;
use fantoccini::Client;
use fantoccini::key::Key;
use gritwise::report::significant;
use serde_json::json;
use std::fs;

const POLISH: &str = "millrace-rice-polish.toml";
const BODY: &str = "millrace-body-scrub.toml";
const COARSE: &[u8] = b"opening_um,retained_g\n500,1\n355,12\n200,20\npan,2\n";
const FINE: &[u8] = b"opening_um,retained_g\n120,1\n90,12\n50,20\npan,2\n";

pub async fn all(desk: &Desk, client: &Client) {
    numbers_as_in_the_reports(desk, client).await;
    boxes_after_undo(desk, client).await;
    boxes_that_are_emptied(desk, client).await;
    typed_and_left_at_once(desk, client).await;
    tables_of_one_name(desk, client).await;
    grades_asked_for(desk, client).await;
    saves_that_are_refused(desk, client).await;
    copies_and_undo(desk, client).await;
    taken_back(desk, client).await;
    kept_whatever_becomes_of_the_disk(desk, client).await;
    focus_stays(desk, client).await;
    loaded_again(desk, client).await;
    stops_of_a_formula(desk, client).await;
}

/// Opens an example as it came.
async fn fresh(desk: &Desk, client: &Client, file: &str) {
    fs::copy(format!("{}/examples/{file}", env!("CARGO_MANIFEST_DIR")), desk.file(file)).unwrap();
    desk.open(client, file).await;
}

async fn sizes(client: &Client, powder: usize) -> String {
    text(client, &format!("p{powder}-sizes")).await
}

async fn file_says(client: &Client, words: &str) {
    says(client, "file-text", words).await;
}

/// The rule of the reports, over all magnitudes, with halves that only exact digits tell apart.
async fn numbers_as_in_the_reports(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let mut values =
        vec![0.0, 112.5, 113.5, 12.25, 1.005, 0.125, 9.996, 99.96, 999.5, 999.6, 1928.0, 12345.0, 2500.5, -0.0355];
    values.extend((-80..=170).map(|i| 10f64.powf(f64::from(i) / 10.0)));
    let script = "const done = arguments[0]; import('/assets/make.js').then(({ number }) => done(VALUES.map((v) => [2, 3, 4].map((d) => number(v, d)))));";
    let written = client.execute_async(&script.replace("VALUES", &json!(values).to_string()), vec![]).await.unwrap();
    let wanted: Vec<[String; 3]> = values.iter().map(|&v| [2, 3, 4].map(|digits| significant(v, digits))).collect();
    assert_eq!(written, json!(wanted));
    // What the tables say is shown as it stands there.
    let placeholder = run(client, "return document.getElementById('p1-density_g_cm3').placeholder").await;
    assert_eq!(placeholder, "1.35");
    assert!(text(client, "p1-grains").await.contains("table 1.35 g/cm³ (1.25 to 1.45)"));
}

async fn boxes_after_undo(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    write(client, "load", "12").await;
    ctrl(client, 'z').await;
    holds(client, "load", "5").await;
    press(client, &char::from(Key::Tab).to_string()).await;
    file_says(client, "powder_load_pct = 5.0 ").await;
    ctrl(client, 'y').await;
    holds(client, "load", "12").await;
    write(client, "load", &format!("14{}", char::from(Key::Enter))).await;
    file_says(client, "powder_load_pct = 14 ").await;
    ctrl(client, 'z').await;
    holds(client, "load", "12").await;
    holds(client, "load-slide", "12").await;
    run(client, "document.getElementById('p1-share').focus()").await;
    for _ in 0..3 {
        press(client, &char::from(Key::Right).to_string()).await;
    }
    holds(client, "p1-pct", "33.6").await;
    for _ in 0..3 {
        ctrl(client, 'z').await;
    }
    holds(client, "p1-pct", "33.3").await;
    holds(client, "p1-share", "33.3").await;
}

async fn boxes_that_are_emptied(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 0).await;
    run(client, "document.getElementById('p0-grains').open = true").await;
    fill(client, "p0-hardness_gpa", "0.5").await;
    file_says(client, "hardness_gpa = 0.5").await;
    empty(client, "p0-hardness_gpa").await;
    until(client, "return !document.getElementById('file-text').textContent.includes('hardness')", "it stays").await;
    empty(client, "load").await;
    // What was refused stays there, marked, and the scrub holds what it did.
    says(client, "scrub-head", "a number is wanted; it is still 5").await;
    holds(client, "load", "").await;
    file_says(client, "powder_load_pct = 5.0 ").await;
    fill(client, "load", "6").await;
    until(client, "return document.querySelector('#scrub-head .error').textContent === ''", "the error stays").await;
}

async fn typed_and_left_at_once(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    write(client, "load", "12.5").await;
    run(
        client,
        &format!(
            "window.asked = 0; window.confirm = () => {{ asked += 1; return false; }}; \
             document.querySelector('[data-file=\"{BODY}\"]').click()"
        ),
    )
    .await;
    until(client, "return asked === 1", "what was typed goes without a question").await;
    file_says(client, "powder_load_pct = 12.5").await;
    // Cards that are built anew keep what is being typed.
    unfold(client, 0).await;
    choose(client, "p0-form", "range").await;
    until(client, "return document.getElementById('p0-take-form') !== null", "no range").await;
    click(client, "#p0-take-form").await;
    write(client, "load", "6").await;
    until(client, "return document.getElementById('p0-fields').dataset.form === 'range'", "no range").await;
    file_says(client, "range_um").await;
    holds(client, "load", "6").await;
    press(client, &char::from(Key::Tab).to_string()).await;
    file_says(client, "powder_load_pct = 6 ").await;
    run(client, "document.getElementById('save').click()").await;
    says(client, "news", "Saved").await;
    assert!(fs::read_to_string(desk.file(POLISH)).unwrap().contains("powder_load_pct = 6 "));
}

async fn tables_of_one_name(desk: &Desk, client: &Client) {
    fresh(desk, client, BODY).await;
    drop_on(client, 0, "lot-7.csv", COARSE).await;
    file_says(client, "\"lot-7.csv\"").await;
    let coarse = sizes(client, 0).await;
    drop_on(client, 1, "lot-7.csv", FINE).await;
    file_says(client, "\"lot-7-2.csv\"").await;
    assert_eq!(sizes(client, 0).await, coarse);
    let fine = sizes(client, 1).await;
    // One that is not on disk yet is chosen for another powder.
    unfold(client, 1).await;
    choose(client, "p1-form", "table").await;
    choose(client, "p1-size-table", "lot-7.csv").await;
    until(
        client,
        "return document.getElementById('p0-sizes').textContent === document.getElementById('p1-sizes').textContent",
        "not taken",
    )
    .await;
    ctrl_z_until(client, 1, &fine).await;
    ctrl_z_until(client, 0, &coarse).await;
    // A correction under the same name is a step of its own, which redo brings back.
    drop_on(client, 0, "lot-8.csv", COARSE).await;
    file_says(client, "\"lot-8.csv\"").await;
    drop_on(client, 0, "lot-8.csv", FINE).await;
    says(client, "p0-sizes", fine.trim_end_matches(" µm")).await;
    click(client, "#undo").await;
    says(client, "p0-sizes", coarse.trim_end_matches(" µm")).await;
    click(client, "#redo").await;
    says(client, "p0-sizes", fine.trim_end_matches(" µm")).await;
    // "Müller" as an old program writes it is read; a picture that is called a table is not.
    drop_on(client, 1, "old.csv", b"# M\xfcller\nopening_um,retained_g\n300,1.5\npan,2\n").await;
    says(client, "p1-table", "old.csv: all rows read").await;
    drop_on(client, 1, "none.csv", b"\x89PNG\r\n\x1a\n\0\0").await;
    says(client, "p1-table", "none.csv:").await;
    says(client, "p1-table", "not text from here on").await;
    // The example where the folder has a sieve.csv of its own.
    fs::write(desk.file("sieve.csv"), COARSE).unwrap();
    run(client, "window.confirm = () => true; document.getElementById('first-example').click()").await;
    until(client, "return document.getElementById('saved-said').textContent.includes('new scrub')", "no new scrub")
        .await;
    says(client, "news", "is in hand").await;
    click(client, "#save").await;
    fill(client, "copy-name", "fresh.toml").await;
    click(client, "#dialog button[type=submit]").await;
    says(client, "news", "Saved fresh.toml").await;
    assert!(fs::read_to_string(desk.file("fresh.toml")).unwrap().contains("\"sieve-2.csv\""));
    assert_eq!(fs::read(desk.file("sieve.csv")).unwrap(), COARSE);
}

async fn ctrl_z_until(client: &Client, powder: usize, sizes: &str) {
    click(client, "#undo").await;
    says(client, &format!("p{powder}-sizes"), sizes.trim_end_matches(" µm")).await;
}

async fn grades_asked_for(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 0).await;
    let before = text(client, "file-text").await;
    choose(client, "p0-form", "table").await;
    says(client, "p0-looking", "stays as it was").await;
    slide(client, "p1-share", 40.0).await;
    until(client, "return document.getElementById('p0-form').dataset.value === 'log-normal' && document.getElementById('p0-size-d50_um') !== null", "the grade lies").await;
    choose(client, "p0-form", "mesh").await;
    until(client, "return document.getElementById('p0-take-form') !== null", "no sieves").await;
    click(client, "#p0-take-form").await;
    file_says(client, "mesh = \"").await;
    // The wrong way round until the second sieve is chosen.
    choose(client, "p0-size-through", "635").await;
    until(client, "return document.querySelector('#powders .error:not(:empty)') !== null", "no error").await;
    choose(client, "p0-size-through", "30").await;
    file_says(client, "mesh = \"-30+").await;
    choose(client, "p0-size-on", "60").await;
    file_says(client, "mesh = \"-30+60\"").await;
    choose(client, "p0-size-through", "140").await;
    until(client, "return document.querySelector('#powders .error:not(:empty)') !== null", "no error").await;
    choose(client, "p0-size-on", "200").await;
    file_says(client, "mesh = \"-140+200\"").await;
    assert_ne!(before, text(client, "file-text").await);
}

#[cfg(unix)]
async fn saves_that_are_refused(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    slide(client, "load-slide", 8.0).await;
    let (path, real) = (desk.file(POLISH), desk.file("real.toml"));
    fs::rename(&path, &real).unwrap();
    std::os::unix::fs::symlink("real.toml", &path).unwrap();
    run(client, "document.getElementById('take-away').scrollIntoView(); document.body.focus()").await;
    ctrl(client, 's').await;
    says(client, "trouble", "a link").await;
    in_sight(client, "trouble").await;
    fs::remove_file(&path).unwrap();
    fs::rename(&real, &path).unwrap();
    slide(client, "load-slide", 9.0).await;
    until(client, "return document.getElementById('trouble').hidden", "the trouble stays").await;
    // What cannot be taken away is told there.
    run(client, "document.getElementById('batch').value = '0g'").await;
    click(client, "#take-batch").await;
    says(client, "not-taken", "a mass is written like").await;
    in_sight(client, "not-taken").await;
    // In a dialog, trouble is told in the dialog.
    fs::write(&path, "[scrub\n").unwrap();
    click(client, "#save").await;
    until(client, "return document.getElementById('dialog').open", "no conflict").await;
    click(client, "#take-theirs").await;
    says(client, "dialog-trouble", "not valid TOML").await;
    in_sight(client, "dialog-trouble").await;
    shot(client, "refused").await;
    click(client, "#keep-mine").await;
    says(client, "news", "Saved").await;
}

#[cfg(not(unix))]
async fn saves_that_are_refused(_: &Desk, _: &Client) {}

async fn in_sight(client: &Client, id: &str) {
    let script = format!(
        "const r = document.getElementById('{id}').getBoundingClientRect(); return r.height > 0 && r.top >= 0 && r.bottom <= innerHeight"
    );
    until(client, &script, &format!("#{id} is out of sight")).await;
}

async fn copies_and_undo(desk: &Desk, client: &Client) {
    fresh(desk, client, BODY).await;
    let before = fs::read_to_string(desk.file(BODY)).unwrap();
    slide(client, "load-slide", 11.0).await;
    file_says(client, "powder_load_pct = 11").await;
    click(client, "#save-as").await;
    fill(client, "copy-name", "copy-b.toml").await;
    click(client, "#dialog button[type=submit]").await;
    says(client, "news", "Saved copy-b.toml").await;
    click(client, "#undo").await;
    until(client, "return !document.getElementById('file-text').textContent.includes('_pct = 11')", "no undo").await;
    click(client, "#save").await;
    until(client, "return !document.title.startsWith('•')", "the copy is not saved").await;
    assert_eq!(fs::read_to_string(desk.file("copy-b.toml")).unwrap(), before);
    assert_eq!(fs::read_to_string(desk.file(BODY)).unwrap(), before);
}

async fn taken_back(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, "#keep").await;
    until(client, "return document.getElementById('back-1') !== null", "not kept").await;
    slide(client, "load-slide", 13.0).await;
    file_says(client, "_pct = 13").await;
    click(client, "#back-1").await;
    until(client, "return !document.getElementById('file-text').textContent.includes('_pct = 13')", "not in hand")
        .await;
    click(client, "#undo").await;
    file_says(client, "_pct = 13").await;
    // That of another file takes its place, and that is asked first.
    run(client, "window.asked = 0; window.confirm = () => { asked += 1; return true; }").await;
    click(client, &format!("[data-file=\"{BODY}\"]")).await;
    says(client, "news", "Millrace body scrub").await;
    slide(client, "load-slide", 13.0).await;
    file_says(client, "_pct = 13").await;
    run(client, "window.confirm = () => { asked += 1; return false; }").await;
    click(client, "#back-1").await;
    until(client, "return asked === 2", "nobody asks").await;
    file_says(client, "_pct = 13").await;
}

async fn kept_whatever_becomes_of_the_disk(desk: &Desk, client: &Client) {
    fresh(desk, client, "osier-bamboo-polish.toml").await;
    click(client, "#keep").await;
    until(client, "return document.getElementById('drop-1') !== null", "not kept").await;
    run(client, "window.confirm = () => true").await;
    click(client, &format!("[data-file=\"{BODY}\"]")).await;
    says(client, "news", "Millrace body scrub").await;
    says(client, "why", ": ").await;
    fs::rename(desk.file("bamboo-counts.csv"), desk.taken.path().join("bamboo-counts.csv")).unwrap();
    slide(client, "load-slide", 7.0).await;
    file_says(client, "_pct = 7").await;
    says(client, "why", "bamboo-counts.csv: no such file").await;
    until(client, "return document.querySelectorAll('#plot .curve.kept-1').length === 3", "its curves go").await;
    fs::rename(desk.taken.path().join("bamboo-counts.csv"), desk.file("bamboo-counts.csv")).unwrap();
    // With a large table in it, kept again and again; the scrub goes on.
    let large = [COARSE, "# a remark of the laboratory\n".repeat(50_000).as_bytes()].concat();
    fs::write(desk.taken.path().join("large.csv"), large).unwrap();
    let file = client.find(fantoccini::Locator::Id("p0-file"));
    if file.await.is_err() {
        unfold(client, 0).await;
        choose(client, "p0-form", "table").await;
    }
    let file = client.find(fantoccini::Locator::Id("p0-file")).await.unwrap();
    file.send_keys(desk.taken.path().join("large.csv").to_str().unwrap()).await.unwrap();
    file_says(client, "\"large.csv\"").await;
    for kept in 2..=5 {
        click(client, "#keep").await;
        until(client, &format!("return document.getElementById('drop-{kept}') !== null"), "not kept").await;
    }
    slide(client, "load-slide", 6.0).await;
    file_says(client, "_pct = 6").await;
    assert_eq!(text(client, "trouble").await, "");
}

async fn focus_stays(desk: &Desk, client: &Client) {
    let at = async |id: &str| {
        until(client, &format!("return document.activeElement.id === '{id}'"), "the focus is lost").await
    };
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    click(client, "#p1-remove").await;
    at("add").await;
    click(client, "#undo").await;
    until(client, "return document.getElementById('p1-remove') !== null", "no undo").await;
    at("undo").await;
    assert_eq!(run(client, "return document.getElementById('undo').ariaDisabled").await, json!("true"));
    for kept in 1..=2 {
        click(client, "#keep").await;
        until(client, &format!("return document.getElementById('drop-{kept}') !== null"), "not kept").await;
    }
    click(client, "#drop-1").await;
    at("drop-2").await;
    click(client, "#drop-2").await;
    at("keep").await;
}

async fn loaded_again(desk: &Desk, client: &Client) {
    let ready = async || until(client, "return document.body.dataset.ready === 'yes'", "not ready").await;
    fresh(desk, client, BODY).await;
    client.refresh().await.unwrap();
    ready().await;
    holds(client, "scrub-name", "Millrace body scrub").await;
    // The address of a server that was started anew, pasted into the old tab.
    run(client, "sessionStorage.setItem('gritwise-token', 'old'); document.body.dataset.ready = 'no'").await;
    run(client, &format!("location.hash = '#token={}&file={POLISH}'", desk.page.token)).await;
    ready().await;
    holds(client, "scrub-name", "Millrace rice polish").await;
    // A file that comes is seen when the window is looked at again.
    fs::copy(desk.file(BODY), desk.file("late.toml")).unwrap();
    run(client, "dispatchEvent(new Event('focus'))").await;
    until(client, "return document.querySelector('[data-file=\"late.toml\"]') !== null", "the list is old").await;
}

async fn stops_of_a_formula(desk: &Desk, client: &Client) {
    let acid = format!("{}/examples/millrace-acid-polish.toml", env!("CARGO_MANIFEST_DIR"));
    let strong = fs::read_to_string(acid).unwrap().replace("final_ph = 4.8", "final_ph = 2.0");
    fs::write(desk.file("strong.toml"), strong.replace("window = [4.5, 5.0]", "window = [1.9, 2.1]")).unwrap();
    desk.open(client, "strong.toml").await;
    says(client, "verdict", "Stop pH in its window 2.00 pH, at least 3.50").await;
    says(client, "verdict", "Caution Acid and grains together").await;
    says(client, "glance", "Stop · ").await;
    says(client, "news", "pH in its window 2.00 pH").await;
    says(client, "words", "Add acid to water").await;
    says(client, "batch-stop", "before weighing").await;
    accessible(client, "a stop").await;
    shot(client, "stop").await;
    desk.open(client, POLISH).await;
    assert_eq!(text(client, "batch-stop").await, "");
}

/// At a phone's width, with as much as there can be.
pub async fn on_a_phone(client: &Client) {
    for kept in 1..=5 {
        run(client, "document.getElementById('keep').click()").await;
        until(client, &format!("return document.getElementById('drop-{kept}') !== null"), "not kept").await;
        fits(client).await;
    }
    let rows = "return [...document.querySelectorAll('#parts tbody tr, #kept tbody tr')].map((r) => r.offsetHeight)";
    let heights = run(client, rows).await;
    assert!(heights.as_array().unwrap().iter().all(|h| h.as_f64().unwrap() < 90.0), "{heights}");
    let outside = "const edge = document.getElementById('plot').getBoundingClientRect().right; \
        return [...document.querySelectorAll('#plot text')].filter((t) => t.getBoundingClientRect().right > edge + 1).map((t) => t.textContent)";
    assert_eq!(run(client, outside).await, json!([]));
    accessible(client, "phone, five kept").await;
    for part in ["parts", "kept", "strips", "take-away"] {
        run(client, &format!("document.getElementById('{part}').scrollIntoView()")).await;
        shot(client, &format!("phone-{part}")).await;
    }
}
