//! Powders from the shelf, papers looked at first, a sieve test typed, files dropped anywhere, broken files as text, a first visit.

use super::desk::*;
use super::unseen::fresh;
use fantoccini::Client;
use fantoccini::key::Key;
use serde_json::json;
use std::fs;

const POLISH: &str = "millrace-rice-polish.toml";
const SIEVED: &str = "opening_um,retained_g\\n300,1.5\\n212,12\\n150,20\\npan,2\\n";

pub async fn all(desk: &Desk, client: &Client) {
    powders_of_the_shelf(desk, client).await;
    a_blend_tried_on(desk, client).await;
    papers_looked_at(desk, client).await;
    a_sieve_test_typed(desk, client).await;
    dropped_anywhere(desk, client).await;
    a_broken_file_as_text(desk, client).await;
    new_is_new(desk, client).await;
}

async fn powders_of_the_shelf(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    until(client, "return !document.getElementById('from-shelf').hidden", "no shelf").await;
    write(client, "shelf-powder", "pumice").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    says(client, "file-text", "name = \"Pumice flour\"").await;
    until(
        client,
        "return document.activeElement.id === 'p2-fold' && !document.getElementById('p2-body').hidden",
        "not shown",
    )
    .await;
    click(client, "#undo").await;
    says(client, "news", "Undone: Pumice flour put in").await;
}

async fn a_blend_tried_on(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let before = text(client, "file-text").await;
    click(client, "#seek").await;
    run(
        client,
        "document.getElementById('aim-goal').value = 'cheapest'; document.getElementById('aim-load-low').value = '3,5'",
    )
    .await;
    click(client, "#aim button[type=submit]").await;
    until(client, "return document.querySelectorAll('#found .card').length > 0", "nothing is found").await;
    click(client, "#found .try-on").await;
    says(client, "news", "undo brings back the scrub before").await;
    assert_ne!(text(client, "file-text").await, before);
    // The answer is still there, and undo goes back.
    click(client, "#seek").await;
    until(client, "return document.querySelectorAll('#found .card').length > 0", "the answer is gone").await;
    holds(client, "aim-load-low", "3,5").await;
    click(client, "#dialog .close").await;
    click(client, "#undo").await;
    until(client, &format!("return document.getElementById('file-text').textContent === {}", json!(before)), "no undo")
        .await;
}

async fn papers_looked_at(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let shown = async |words: &str| says(client, "preview", words).await;
    click(client, "#look-batch").await;
    shown("1000").await;
    accessible(client, "a paper looked at").await;
    click(client, "#dialog .close").await;
    click(client, "#look-ladder").await;
    fill(client, "vary-high", "7,5").await;
    click(client, "#preview-form button").await;
    shown("delicate face").await;
    shot(client, "ladder").await;
    click(client, "#dialog .close").await;
    click(client, "#look-stand-in").await;
    click(client, "#preview-form button").await;
    shown("In place of Rice bran, fine").await;
    click(client, "#dialog .close").await;
    fresh(desk, client, "millrace-acid-polish.toml").await;
    click(client, "#look-label").await;
    shown("Aqua").await;
    click(client, "#dialog .close").await;
}

async fn a_sieve_test_typed(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    click(client, "#p1-type").await;
    until(client, "return document.activeElement.closest('#sieve-rows') !== null", "it cannot be typed at once").await;
    // Two columns from elsewhere, with decimal commas.
    run(
        client,
        "const data = new DataTransfer(); data.setData('text', '300\\t1,5\\n212\\t12\\n150\\t20\\npan\\t2'); \
         document.querySelector('#sieve-rows input').dispatchEvent(new ClipboardEvent('paste', { clipboardData: data, bubbles: true, cancelable: true }))",
    )
    .await;
    says(client, "sieve-told", "D50 ").await;
    fill(client, "sieve-charge", "36").await;
    says(client, "sieve-told", "1.39 % was lost").await;
    accessible(client, "a sieve test").await;
    shot(client, "sieving").await;
    fill(client, "sieve-name", "typed.csv").await;
    click(client, "#sieving button[type=submit]").await;
    says(client, "file-text", "sieve = \"typed.csv\"").await;
    // The sieves are remembered.
    click(client, "#p1-type").await;
    let openings = "return [...document.querySelectorAll('#sieve-rows tr')].map((r) => r.querySelector('input').value)";
    assert_eq!(run(client, openings).await, json!(["300", "212", "150", "pan"]));
    click(client, "#dialog .close").await;
}

async fn drop_anywhere(client: &Client, name: &str, text: &str) {
    let script = format!(
        "const dt = new DataTransfer(); dt.items.add(new File(['{text}'], '{name}')); \
         document.querySelector('h1').dispatchEvent(new DragEvent('drop', {{ dataTransfer: dt, bubbles: true, cancelable: true }}))"
    );
    run(client, &script).await;
}

async fn dropped_anywhere(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    drop_anywhere(client, "lot-4.csv", SIEVED).await;
    says(client, "dialog-title", "Which powder is lot-4.csv of?").await;
    accessible(client, "where a table belongs").await;
    click(client, "#drop-to-0").await;
    says(client, "file-text", "size = { sieve = \"lot-4.csv\" }").await;
    drop_anywhere(client, "notes.pdf", "x").await;
    says(client, "trouble", "tables of sizes (CSV, TSV, TXT, XLSX)").await;
}

async fn a_broken_file_as_text(desk: &Desk, client: &Client) {
    let broken = "[scrub]\nname = \"Bad\"\npowder_load_pct = 500\n\n[[powder]]\nmaterial = \"oat\"\nparts = 1\nsize = \"F220\"\n";
    fs::write(desk.file("bad.toml"), broken).unwrap();
    desk.open(client, POLISH).await;
    run(client, "document.querySelector('#broken details').open = true").await;
    click(client, "[data-broken=\"bad.toml\"]").await;
    until(
        client,
        "return document.querySelector('#broken-told .bad')?.textContent === 'powder_load_pct = 500'",
        "not marked",
    )
    .await;
    accessible(client, "a broken file").await;
    shot(client, "broken").await;
    run(client, "const box = document.getElementById('broken-text'); box.value = box.value.replace('500', '5')").await;
    click(client, "#broken-again").await;
    says(client, "saved-list", "powder load, %: 500 on disk, 5 here").await;
    click(client, "#save").await;
    says(client, "news", "Saved bad.toml").await;
    assert_eq!(fs::read_to_string(desk.file("bad.toml")).unwrap(), broken.replace("500", "5"));
    fs::remove_file(desk.file("bad.toml")).unwrap();
}

async fn new_is_new(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, "#new-from").await;
    says(client, "saved-said", "a new scrub").await;
    holds(client, "scrub-name", "Millrace rice polish").await;
    click(client, "#new").await;
    holds(client, "scrub-name", "New scrub").await;
    assert!(!text(client, "file-text").await.contains(".csv"));
}

/// In a folder without scrubs.
pub async fn first_visit(client: &Client, empty: &Desk) {
    for entry in fs::read_dir(empty.page.folder.path()).unwrap() {
        let path = entry.unwrap().path();
        if path.extension().is_some_and(|e| e == "toml") {
            fs::remove_file(path).unwrap();
        }
    }
    client.goto("about:blank").await.unwrap();
    client.goto(&empty.page.address).await.unwrap();
    until(client, "return document.body.dataset.ready === 'yes'", "the page is not ready").await;
    says(client, "empty", "There is no scrub in this folder yet").await;
    accessible(client, "an empty folder").await;
    shot(client, "empty").await;
    click(client, "#first-example").await;
    says(client, "steps", "Choose what goes in").await;
    holds(client, "scrub-name", "My first scrub").await;
    accessible(client, "three steps").await;
    shot(client, "steps").await;
    click(client, "#steps-done").await;
    until(client, "return document.getElementById('steps').hidden", "it stays").await;
}

/// The same at a phone's width.
pub async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    run(client, "document.getElementById('p1-type').click()").await;
    until(client, "return document.getElementById('sieving') !== null", "no test").await;
    fits(client).await;
    accessible(client, "phone, a sieve test").await;
    shot(client, "phone-sieving").await;
    run(client, "document.querySelector('#dialog .close').click()").await;
    for look in ["batch", "ladder"] {
        run(client, &format!("document.getElementById('look-{look}').click()")).await;
        until(client, "return document.getElementById('dialog').open", "no paper").await;
        fits(client).await;
        run(client, "document.querySelector('#dialog .close').click()").await;
    }
}
