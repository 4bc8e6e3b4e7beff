//! Nothing changes unseen, and the verdict is in sight: lists taken when they are confirmed, numbers as people write them, what is not
//! saved said truthfully, drafts that outlive the page, files that change on disk; colour of harm, meanings, print.

use super::desk::*;
use super::{PHONE, POLISH};
use fantoccini::Client;
use fantoccini::key::Key;
use serde_json::json;
use std::fs;

const BODY: &str = "millrace-body-scrub.toml";

pub async fn all(desk: &Desk, client: &Client) {
    lists_are_taken_when_confirmed(desk, client).await;
    forms_are_only_looked_at(desk, client).await;
    numbers_as_people_write_them(desk, client).await;
    what_is_not_saved(desk, client).await;
    drafts_outlive_the_page(desk, client).await;
    a_file_that_changes_on_disk(desk, client).await;
    the_verdict_stays_in_sight(desk, client).await;
    what_harms(desk, client).await;
    values_at_the_curve(desk, client).await;
    addresses(desk, client).await;
}

async fn addresses(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, &format!("[data-file=\"{BODY}\"]")).await;
    says(client, "news", "Millrace body scrub").await;
    assert_eq!(run(client, "return location.hash").await, json!(format!("#file={BODY}")));
    client.back().await.unwrap();
    says(client, "news", "Millrace rice polish").await;
    run(client, "document.body.tabIndex = -1; document.body.focus()").await;
    press(client, "?").await;
    until(client, "return document.getElementById('keys').open", "no keys").await;
    accessible(client, "keys").await;
}

/// Opens an example as it came.
pub async fn fresh(desk: &Desk, client: &Client, file: &str) {
    fs::copy(format!("{}/examples/{file}", env!("CARGO_MANIFEST_DIR")), desk.file(file)).unwrap();
    desk.open(client, file).await;
}

async fn file_text(client: &Client) -> String {
    text(client, "file-text").await
}

async fn key(client: &Client, key: Key) {
    press(client, &char::from(key).to_string()).await;
}

async fn lists_are_taken_when_confirmed(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 0).await;
    run(client, "document.getElementById('p0-grains').open = true").await;
    let before = file_text(client).await;
    // By the keyboard: what is typed only filters.
    write(client, "p0-material", "oat").await;
    until(client, "return document.querySelectorAll('#p0-material-list [role=option]').length > 0", "no list").await;
    assert_eq!(file_text(client).await, before);
    accessible(client, "a list that is open").await;
    shot(client, "materials").await;
    key(client, Key::Enter).await;
    says(client, "file-text", "material = \"oat\"").await;
    // Escape brings the old one back.
    write(client, "p0-material", "sea").await;
    key(client, Key::Escape).await;
    holds(client, "p0-material", "oat").await;
    assert!(file_text(client).await.contains("material = \"oat\""));
    // By INCI name, taken by leaving.
    write(client, "p0-material", "juglans").await;
    key(client, Key::Tab).await;
    says(client, "file-text", "material = \"walnut-shell\"").await;
    // Refused ones are there and cannot be chosen; those off the face are told.
    run(client, "const box = document.getElementById('p0-material'); box.focus(); box.click()").await;
    let nylon = "document.querySelector('#p0-material-list [data-value=nylon]')";
    assert!(run(client, &format!("return {nylon}.textContent")).await.as_str().unwrap().contains("not allowed"));
    run(client, &format!("{nylon}.click()")).await;
    assert!(
        run(client, "return document.getElementById('p0-material-list').textContent")
            .await
            .as_str()
            .unwrap()
            .contains("not for the face")
    );
    key(client, Key::Escape).await;
    assert!(file_text(client).await.contains("material = \"walnut-shell\""));
    // By the mouse.
    choose(client, "p0-material", "bamboo").await;
    says(client, "file-text", "material = \"bamboo\"").await;
}

async fn forms_are_only_looked_at(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    let before = file_text(client).await;
    assert!(before.contains("sieve = \"olive-stone-sieved.csv\""));
    for form in ["log-normal", "mesh", "grit", "words", "percentiles"] {
        choose(client, "p1-form", form).await;
        until(client, &format!("return document.getElementById('p1-fields').dataset.form === '{form}'"), form).await;
        assert_eq!(file_text(client).await, before, "{form}");
    }
    assert_eq!(text(client, "saved-said").await, "Saved");
    // Leaving it brings back the table.
    run(client, "document.getElementById('load').focus()").await;
    holds(client, "p1-form", "table").await;
    holds(client, "p1-size-table", "olive-stone-sieved.csv").await;
    // A value of the form takes it; the table is still one to choose, and undo brings it back.
    choose(client, "p1-form", "log-normal").await;
    until(client, "return document.getElementById('p1-size-gsd') !== null", "no form").await;
    fill(client, "p1-size-d50_um", "170").await;
    says(client, "file-text", "d50_um = 170").await;
    click(client, "#undo").await;
    until(client, &format!("return document.getElementById('file-text').textContent === {}", json!(before)), "no undo")
        .await;
}

async fn numbers_as_people_write_them(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    fill(client, "load", "6,5").await;
    says(client, "file-text", "powder_load_pct = 6.5").await;
    write(client, "load", "9").await;
    key(client, Key::Escape).await;
    holds(client, "load", "6.5").await;
    // A wheel over the box in use changes nothing.
    run(
        client,
        "const box = document.getElementById('load'); box.focus(); \
                 box.dispatchEvent(new WheelEvent('wheel', { deltaY: -120, bubbles: true }))",
    )
    .await;
    holds(client, "load", "6.5").await;
    // Sliders reach what the boxes hold.
    fill(client, "load", "80").await;
    holds(client, "load-slide", "80").await;
    // A slider is put back by Escape.
    fill(client, "load", "6").await;
    holds(client, "load-slide", "6").await;
    run(client, "document.getElementById('load-slide').focus()").await;
    key(client, Key::Right).await;
    says(client, "file-text", "powder_load_pct = 6.5").await;
    key(client, Key::Escape).await;
    says(client, "file-text", "powder_load_pct = 6 ").await;
    fill(client, "load", "six").await;
    says(client, "scrub-head", "a number is wanted; it is still 6").await;
}

async fn what_is_not_saved(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let saved = async |words: &str| {
        until(client, &format!("return document.getElementById('saved-said').textContent === '{words}'"), words).await
    };
    saved("Saved").await;
    fill(client, "load", "6").await;
    saved("Not saved: 1 change").await;
    says(client, "saved-list", "powder load, %: 5 on disk, 6 here").await;
    fill(client, "scrub-name", "Another").await;
    saved("Not saved: 2 changes").await;
    let title = run(client, "return document.getElementById('undo').title").await;
    assert!(title.as_str().unwrap().starts_with("Undo: name, Millrace rice polish to Another"), "{title}");
    click(client, "#undo").await;
    saved("Not saved: 1 change").await;
    says(client, "news", "Undone: name").await;
    // The steps survive a save, and what they undo is not saved then.
    click(client, "#save").await;
    saved("Saved").await;
    click(client, "#undo").await;
    saved("Not saved: 1 change").await;
    says(client, "saved-list", "powder load, %: 6 on disk, 5 here").await;
    click(client, "#redo").await;
    saved("Saved").await;
    click(client, "#saved-said").await;
    click(client, "#redo").await;
    saved("Not saved: 1 change").await;
    run(client, "document.getElementById('saved').open = true").await;
    accessible(client, "what is not saved").await;
    shot(client, "not-saved").await;
}

async fn drafts_outlive_the_page(desk: &Desk, client: &Client) {
    fresh(desk, client, BODY).await;
    click(client, "#keep").await;
    until(client, "return document.getElementById('drop-1') !== null", "not kept").await;
    let on_disk = fs::read_to_string(desk.file(BODY)).unwrap();
    fill(client, "load", "11").await;
    says(client, "file-text", "_pct = 11").await;
    // Left without a word, and opened again: offered back, and nothing saved.
    desk.open_again(client, BODY).await;
    says(client, "offers", "millrace-body-scrub.toml: 1 change").await;
    assert!(!file_text(client).await.contains("_pct = 11"));
    until(client, "return document.getElementById('drop-1') !== null", "what was kept is gone").await;
    accessible(client, "work offered back").await;
    shot(client, "offered").await;
    // A change of the file as it is does not write over what is offered.
    fill(client, "load", "12").await;
    says(client, "file-text", "_pct = 12").await;
    desk.open_again(client, BODY).await;
    assert_eq!(run(client, "return document.querySelectorAll('#offers li').length").await, json!(2));
    click(client, "#offers li button").await;
    says(client, "file-text", "_pct = 11").await;
    assert_eq!(fs::read_to_string(desk.file(BODY)).unwrap(), on_disk);
    assert_eq!(run(client, "return document.querySelectorAll('#offers li').length").await, json!(1));
    click(client, "#save").await;
    says(client, "news", "Saved").await;
    click(client, "#offers li button.quiet").await;
    until(client, "return document.getElementById('offers').hidden", "it stays").await;
}

async fn a_file_that_changes_on_disk(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let text = fs::read_to_string(desk.file(POLISH)).unwrap();
    let look = async || run(client, "dispatchEvent(new Event('focus'))").await;
    // Unchanged here: read again.
    fs::write(desk.file(POLISH), text.replace("powder_load_pct = 5.0", "powder_load_pct = 6.0")).unwrap();
    look().await;
    holds(client, "load", "6").await;
    says(client, "news", "was read again").await;
    assert_eq!(self::text(client, "saved-said").await, "Saved");
    // Changed here: said at once, and what differs in words.
    fill(client, "load", "7").await;
    says(client, "file-text", "_pct = 7").await;
    fs::write(desk.file(POLISH), text.replace("powder_load_pct = 5.0", "powder_load_pct = 8.0")).unwrap();
    look().await;
    says(client, "disk", "Nothing is lost").await;
    click(client, "#see-differences").await;
    says(client, "differences", "powder load, %: 7 here, 8 there").await;
    accessible(client, "differences in words").await;
    shot(client, "differences").await;
    // The disk's is taken; undo brings back what was here.
    click(client, "#take-theirs").await;
    holds(client, "load", "8").await;
    until(client, "return document.getElementById('saved-said').textContent === 'Saved'", "not said").await;
    click(client, "#undo").await;
    holds(client, "load", "7").await;
    // Mine is written over the disk's; that one is the step before.
    fs::write(desk.file(POLISH), text.replace("powder_load_pct = 5.0", "powder_load_pct = 9.0")).unwrap();
    click(client, "#save").await;
    says(client, "differences", "powder load, %: 7 here, 9 there").await;
    click(client, "#keep-mine").await;
    until(client, "return !document.getElementById('dialog').open", "mine is not saved").await;
    click(client, "#undo").await;
    holds(client, "load", "9").await;
    // Gone from the disk.
    fs::remove_file(desk.file(POLISH)).unwrap();
    look().await;
    says(client, "disk", "not on disk any more").await;
    fs::write(desk.file(POLISH), &text).unwrap();
}

const IN_SIGHT: &str = "const r = document.getElementById('ID').getBoundingClientRect(); \
                        return r.height > 0 && r.top >= 0 && r.bottom <= innerHeight + 1";

async fn the_verdict_stays_in_sight(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    client.set_window_size(720, 900).await.unwrap();
    run(client, "document.getElementById('take-away').scrollIntoView()").await;
    for id in ["bar-verdict", "saved-said", "undo", "save"] {
        until(client, &IN_SIGHT.replace("ID", id), id).await;
    }
    let said = text(client, "bar-verdict").await;
    for words in ["delicate face", "of 100 sure", "index 82.3", "governs: abrasiveness index 82.3, limit 90"] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // What gets the focus is not under it.
    run(client, "document.getElementById('scrub-name').focus()").await;
    for _ in 0..25 {
        key(client, Key::Tab).await;
        let under = run(
            client,
            "const r = document.activeElement.getBoundingClientRect(); const bar = document.getElementById('bar').getBoundingClientRect(); \
             return document.activeElement.closest('#bar') ? null : r.top < bar.bottom - 1 ? document.activeElement.id : null",
        )
        .await;
        assert!(under.is_null(), "{under} is under the bar");
    }
    shot(client, "bar").await;
    client.set_window_size(1280, 1500).await.unwrap();
    // One card is open at a time.
    unfold(client, 0).await;
    unfold(client, 1).await;
    assert_eq!(
        run(client, "return [...document.querySelectorAll('#powders .body')].map((b) => b.hidden)").await,
        json!([true, false])
    );
    let facts = text(client, "p1-card").await;
    for words in ["Olive stone, sieved", "33.3 %", "D50 165 µm", "93.0 % of the index"] {
        assert!(facts.contains(words), "{words}: {facts}");
    }
}

async fn what_harms(desk: &Desk, client: &Client) {
    let harsh = "[scrub]\nname = \"Grit\"\npowder_load_pct = 40\n\n[[powder]]\nmaterial = \"silica-sand\"\nparts = 1\n\
                 size = { d50_um = 1500, gsd = 1.5 }\n";
    fs::write(desk.file("harsh.toml"), harsh).unwrap();
    let refused = fs::read_to_string(desk.file(POLISH)).unwrap().replace("\"rice-bran\"", "\"nylon\"");
    fs::write(desk.file("refused.toml"), refused).unwrap();
    desk.open(client, "harsh.toml").await;
    assert_eq!(text(client, "band-name").await, "beyond skin use");
    let colour = |css: &str| format!("return getComputedStyle(document.querySelector('{css}')).color");
    let harm = run(client, &colour("#verdict .band")).await;
    assert_ne!(harm, run(client, &colour("#verdict .index")).await);
    for css in
        ["#bar-verdict .name", "[data-file=\"harsh.toml\"] .tag", ".ladder .harm", ".figure.harm", "#broken .harm"]
    {
        assert_eq!(run(client, &colour(css)).await, harm, "{css}");
    }
    accessible(client, "beyond skin use").await;
    shot(client, "harsh").await;
    for file in ["harsh.toml", "refused.toml"] {
        fs::remove_file(desk.file(file)).unwrap();
    }
}

async fn values_at_the_curve(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    says(client, "percentiles", "D10 37.0 · D50 82.8 · D90 187 µm").await;
    until(client, "return document.querySelectorAll('#cursor-values .value').length >= 9", "no values").await;
    let at = "return [...document.querySelectorAll('#cursor-values .value')].map((t) => t.textContent)";
    let before = run(client, at).await;
    assert!(before.as_array().unwrap().contains(&json!("50.0 %")), "{before}");
    run(client, "document.getElementById('cursor').focus()").await;
    key(client, Key::End).await;
    until(client, &format!("const now = (() => {{ {at} }})(); return !now.includes('50.0 %')"), "it stays").await;
    assert!(
        run(client, "return document.querySelector('#plot svg').textContent").await.as_str().unwrap().contains("D50")
    );
    // What a figure means, by one key.
    run(client, "document.querySelector('.figure .what summary').focus()").await;
    key(client, Key::Enter).await;
    says(client, "scale", "How deep 95 % of the grooves stay, against the horny layer").await;
    // It stays open while the scrub changes.
    slide(client, "load-slide", 6.0).await;
    says(client, "file-text", "_pct = 6").await;
    assert_eq!(run(client, "return document.querySelector('.figure .what').open").await, json!(true));
    // Five that are kept differ in hue and dash.
    for kept in 1..=5 {
        click(client, "#keep").await;
        until(client, &format!("return document.getElementById('drop-{kept}') !== null"), "not kept").await;
    }
    let pens = run(
        client,
        "return [1, 2, 3, 4, 5].map((n) => { const s = getComputedStyle(document.querySelector(`#plot .curve.kept-${n}`)); \
         return [s.stroke, s.strokeDasharray]; })",
    )
    .await;
    let pens = pens.as_array().unwrap();
    for (i, a) in pens.iter().enumerate() {
        assert!(pens[..i].iter().all(|b| a[0] != b[0] && a[1] != b[1]), "{pens:?}");
    }
    accessible(client, "a meaning that is open").await;
}

/// The same by a finger, at a phone's width.
pub async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    assert_eq!(run(client, "return innerWidth").await, json!(PHONE.0));
    unfold(client, 0).await;
    run(client, "document.getElementById('p0-grains').open = true").await;
    write(client, "p0-material", "oat").await;
    fits(client).await;
    run(client, "document.querySelector('#p0-material-list [data-value=oat]').click()").await;
    says(client, "file-text", "material = \"oat\"").await;
    fill(client, "load", "6,5").await;
    until(client, "return document.getElementById('saved-said').textContent === 'Not saved: 2 changes'", "not said")
        .await;
    says(client, "saved-list", "powder load, %: 5 on disk, 6.5 here").await;
    fits(client).await;
    // The strip hides nothing that has the focus.
    for _ in 0..25 {
        key(client, Key::Tab).await;
        let under = run(
            client,
            "const r = document.activeElement.getBoundingClientRect(); const strip = document.getElementById('glance').getBoundingClientRect(); \
             return r.bottom > strip.top + 1 && r.height < 300 ? document.activeElement.id || document.activeElement.outerHTML : null",
        )
        .await;
        assert!(under.is_null(), "{under} is under the strip");
    }
    // The bars say what they say on a wide page.
    let bars = run(
        client,
        "return [...document.querySelectorAll('#parts .track, .rule, .ladder li')].map((e) => e.getBoundingClientRect()).every((r) => r.width > 30 && r.height > 8)",
    )
    .await;
    assert_eq!(bars, json!(true));
    run(client, "document.getElementById('scale').scrollIntoView()").await;
    shot(client, "phone-scale").await;
}
