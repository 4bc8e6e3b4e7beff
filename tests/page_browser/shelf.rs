//! Shelves and aims: changed, saved and opened on the page; a lot looked at.

use super::desk::*;
use super::unseen::fresh;
use fantoccini::Client;
use fantoccini::key::Key;
use serde_json::json;
use std::fs;

const POLISH: &str = "millrace-rice-polish.toml";
const SHELF: &str = "shelf.toml";

pub async fn all(desk: &Desk, client: &Client) {
    prices_stock_and_tags(desk, client).await;
    powders_put_on(desk, client).await;
    a_shelf_that_changed_on_disk(desk, client).await;
    aims_opened_and_saved(desk, client).await;
    every_target(desk, client).await;
    left_unsaved_and_taken_up_again(desk, client).await;
    a_lot_looked_at(desk, client).await;
}

async fn open_shelf(client: &Client) {
    click(client, "#edit-shelf").await;
    until(client, "return document.querySelectorAll('#shelf-powders > li').length > 5", "no shelf").await;
}

async fn shelf_says(desk: &Desk, wanted: &str) {
    for _ in 0..500 {
        if fs::read_to_string(desk.file(SHELF)).unwrap().contains(wanted) {
            return;
        }
        tokio::time::sleep(std::time::Duration::from_millis(20)).await;
    }
    panic!("the shelf does not hold {wanted}: {}", fs::read_to_string(desk.file(SHELF)).unwrap());
}

async fn prices_stock_and_tags(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let before = fs::read_to_string(desk.file(SHELF)).unwrap();
    open_shelf(client).await;
    says(client, "shelf-said", "Saved").await;
    accessible(client, "the shelf").await;
    shot(client, "shelf").await;
    click(client, "#s0-fold").await;
    fill(client, "s0-price_per_kg", "4,8").await;
    says(client, "shelf-unsaved", "Rice bran, fine: price per kg: 4.2 on disk, 4.8 here").await;
    fill(client, "s0-tags", "cereal, local").await;
    says(client, "shelf-said", "Not saved: 2 changes").await;
    // What is refused stays in its box while another value is taken.
    fill(client, "s0-stock_g", "-5").await;
    until(client, "return document.querySelector('#shelf-powders .error').textContent.includes('stock_g')", "no error")
        .await;
    fill(client, "s0-max_pct", "7").await;
    says(client, "shelf-said", "Not saved: 3 changes").await;
    holds(client, "s0-stock_g", "-5").await;
    assert!(text(client, "shelf-powders").await.contains("stock_g"));
    accessible(client, "the shelf with an error").await;
    shot(client, "shelf-open").await;
    press_in(client, "s0-stock_g", Key::Escape).await;
    holds(client, "s0-stock_g", "2500").await;
    assert_eq!(run(client, "return document.querySelector('#shelf-powders .error').textContent").await, json!(""));
    // Closed, nothing is lost; undo takes the last step back.
    click(client, "#dialog .close").await;
    click(client, "#edit-shelf").await;
    says(client, "shelf-said", "Not saved: 3 changes").await;
    click(client, "#shelf-undo").await;
    says(client, "shelf-said", "Not saved: 2 changes").await;
    assert_eq!(fs::read_to_string(desk.file(SHELF)).unwrap(), before);
    click(client, "#shelf-save").await;
    says(client, "shelf-said", "Saved").await;
    // Comments and order stay.
    let wanted = before.replace("price_per_kg = 4.2", "price_per_kg = 4.8").replacen(
        "[\"cereal\"]",
        "[\"cereal\", \"local\"]",
        1,
    );
    assert_eq!(fs::read_to_string(desk.file(SHELF)).unwrap(), wanted);
    click(client, "#dialog .close").await;
}

async fn press_in(client: &Client, id: &str, key: Key) {
    run(client, &format!("document.getElementById('{id}').focus()")).await;
    press(client, &char::from(key).to_string()).await;
}

/// By the keyboard alone.
async fn powders_put_on(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    press_in(client, "edit-shelf", Key::Enter).await;
    until(client, "return document.getElementById('shelf-add') !== null", "no shelf").await;
    // By search: of a material its size is asked for.
    write(client, "shelf-add", "jojoba").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    until(client, "return document.activeElement.id === 'new-size'", "no form").await;
    accessible(client, "a powder put on the shelf").await;
    press(client, "twice as fine").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    until(
        client,
        "return document.getElementById('dialog-trouble').textContent.includes('twice as fine')",
        "not refused",
    )
    .await;
    write(client, "new-size", &format!("300; 1,3{}", char::from(Key::Enter))).await;
    until(client, "return document.activeElement.id.endsWith('-price_per_kg')", "it is not put on").await;
    press(client, &format!("12{}", char::from(Key::Tab))).await;
    says(client, "shelf-unsaved", "Jojoba").await;
    // By hand: its grains are asked for too.
    write(client, "shelf-add", "by hand").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    until(client, "return document.activeElement.id === 'new-name'", "no form").await;
    for (key, typed) in [("name", "Own silt"), ("size", "60-100 mesh"), ("density_g_cm3", "2,6"), ("roundness", "0,4")]
    {
        write(client, &format!("new-{key}"), typed).await;
    }
    press(client, &char::from(Key::Enter).to_string()).await;
    until(
        client,
        "return document.getElementById('dialog-trouble').textContent.includes('hardness')",
        "nothing is missing",
    )
    .await;
    write(client, "new-hardness_gpa", &format!("1,1{}", char::from(Key::Enter))).await;
    until(client, "return document.activeElement.id.endsWith('-price_per_kg')", "it is not put on").await;
    run(client, "document.getElementById('shelf-powder').dataset.old = 'yes'").await;
    press_in(client, "shelf-save", Key::Enter).await;
    shelf_says(desk, "name = \"Own silt\"").await;
    shelf_says(desk, "price_per_kg = 12").await;
    says(client, "shelf-said", "Saved").await;
    shot(client, "shelf-more").await;
    click(client, "#dialog .close").await;
    // It can be put into the scrub at once.
    until(client, "return document.getElementById('shelf-powder').dataset.old !== 'yes'", "the shelf is as it was")
        .await;
    write(client, "shelf-powder", "Own silt").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    says(client, "file-text", "name = \"Own silt\"").await;
    click(client, "#undo").await;
    fs::copy(concat!(env!("CARGO_MANIFEST_DIR"), "/examples/shelf.toml"), desk.file(SHELF)).unwrap();
}

async fn a_shelf_that_changed_on_disk(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    open_shelf(client).await;
    click(client, "#s1-fold").await;
    fill(client, "s1-stock_g", "750").await;
    says(client, "shelf-said", "Not saved: 1 change").await;
    let theirs = fs::read_to_string(desk.file(SHELF)).unwrap().replace("price_per_kg = 3.1", "price_per_kg = 3.3");
    fs::write(desk.file(SHELF), &theirs).unwrap();
    click(client, "#shelf-save").await;
    says(client, "dialog", "shelf.toml changed on disk").await;
    let told = text(client, "differences").await;
    assert!(told.contains("in stock, g: 750 here, 800 there") && told.contains("3.1 here, 3.3 there"), "{told}");
    accessible(client, "a conflict of the shelf").await;
    assert_eq!(fs::read_to_string(desk.file(SHELF)).unwrap(), theirs);
    click(client, "#take-theirs").await;
    says(client, "shelf-said", "Saved").await;
    // Mine is a step back.
    click(client, "#shelf-undo").await;
    says(client, "shelf-unsaved", "in stock, g: 800 on disk, 750 here").await;
    click(client, "#shelf-undo").await;
    click(client, "#dialog .close").await;
}

/// Chooses an aim file from the list.
async fn open_aim(client: &Client, file: &str) {
    let script = format!(
        "const list = document.getElementById('aim-file'); list.value = '{file}'; list.dispatchEvent(new Event('change'))"
    );
    run(client, &script).await;
}

async fn aims_opened_and_saved(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let file = "aim-cheapest-face.toml";
    let before = fs::read_to_string(desk.file(file)).unwrap();
    click(client, "#seek").await;
    open_aim(client, file).await;
    holds(client, "aim-name", "Cheapest face polish").await;
    for (id, value) in [
        ("goal", "cheapest"),
        ("band", "face"),
        ("index-low", "60"),
        ("load-high", "6"),
        ("d99", "400"),
        ("without", "nut"),
        ("passing-1-max", "90"),
    ] {
        holds(client, &format!("aim-{id}"), value).await;
    }
    says(client, "aim-said", "Saved").await;
    fill(client, "aim-d99", "380").await;
    says(client, "aim-said", "Not saved: 1 change").await;
    run(client, "document.getElementById('aim-more').open = true").await;
    accessible(client, "an aim").await;
    shot(client, "aim").await;
    click(client, "#aim button[type=submit]").await;
    until(client, "return document.querySelectorAll('#found .card').length > 0", "nothing is found").await;
    click(client, "#aim-save").await;
    says(client, "aim-said", "Saved").await;
    assert_eq!(fs::read_to_string(desk.file(file)).unwrap(), before.replace("d99_um = 400", "d99_um = 380"));
    // The answer stays; under another name it is a file of its own.
    until(client, "return document.querySelectorAll('#found .card').length > 0", "the answer is gone").await;
    fill(client, "aim-as", "aim-other.toml").await;
    fill(client, "aim-powders", "2").await;
    click(client, "#aim-save").await;
    says(client, "news", "Saved aim-other.toml").await;
    let other = fs::read_to_string(desk.file("aim-other.toml")).unwrap();
    assert!(other.contains("max_powders = 2\n") && other.contains("# all powders together"), "{other}");
    holds(client, "aim-file", "aim-other.toml").await;
    click(client, "#dialog .close").await;
}

async fn every_target(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, "#seek").await;
    run(client, "document.getElementById('aim-more').open = true").await;
    let set = |id: &str, value: &str| format!("document.getElementById('aim-{id}').value = '{value}';");
    let chosen = [
        ("goal", "closest-curve"),
        ("band-how", "band_exactly"),
        ("band", "face"),
        ("into", "millrace-acid-polish.toml"),
    ];
    run(client, &chosen.map(|(id, value)| set(id, value)).concat()).await;
    run(client, "document.getElementById('aim-avoid').checked = true").await;
    for (id, typed) in [
        ("name", "By a curve"),
        ("d50_um", "90"),
        ("d90_um", "180"),
        ("sure", "60"),
        ("batch", "500"),
        ("load-low", "2,5"),
    ] {
        fill(client, &format!("aim-{id}"), typed).await;
    }
    click(client, "#aim-passing-more").await;
    until(client, "return document.activeElement.id === 'aim-passing-0-um'", "no limit").await;
    press(client, &format!("150{0}{0}95", char::from(Key::Tab))).await;
    fill(client, "aim-as", "aim-curve.toml").await;
    click(client, "#aim-save").await;
    says(client, "news", "Saved aim-curve.toml").await;
    let written = fs::read_to_string(desk.file("aim-curve.toml")).unwrap();
    for line in [
        "band_exactly = \"face\"",
        "into = \"millrace-acid-polish.toml\"",
        "avoid_wrong = true",
        "curve = { d50_um = 90, d90_um = 180 }",
        "passing_pct = [{ max = 95, um = 150 }]",
        "load_pct = [2.5, 100]",
        "sure = 60",
    ] {
        assert!(written.contains(line), "{line}: {written}");
    }
    // What cannot be is said in the words of the command line.
    run(client, &set("score-low", "3")).await;
    click(client, "#aim button[type=submit]").await;
    says(client, "dialog-trouble", "score needs the panel's calibration").await;
    click(client, "#dialog .close").await;
    for file in ["aim-curve.toml", "aim-other.toml"] {
        fs::remove_file(desk.file(file)).unwrap();
    }
}

/// What is not saved of a shelf and an aim outlives a reload.
async fn left_unsaved_and_taken_up_again(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    open_shelf(client).await;
    click(client, "#s0-fold").await;
    fill(client, "s0-price_per_kg", "4,8").await;
    says(client, "shelf-said", "Not saved: 1 change").await;
    desk.open_again(client, POLISH).await;
    says(client, "offers", "shelf.toml: 1 change").await;
    accessible(client, "a shelf offered back").await;
    shot(client, "offered").await;
    click(client, "[data-offer='shelf.toml'] button").await;
    says(client, "shelf-unsaved", "price per kg: 4.2 on disk, 4.8 here").await;
    click(client, "#dialog .close").await;
    until(client, "return document.getElementById('offers').hidden", "it is offered still").await;
    // An aim that is in no file yet, and one of a file.
    click(client, "#seek").await;
    fill(client, "aim-name", "Left").await;
    fill(client, "aim-d99", "300,5").await;
    desk.open_again(client, POLISH).await;
    says(client, "offers", "aim.toml: 2 changes").await;
    click(client, "[data-offer='aim.toml'] button").await;
    holds(client, "aim-name", "Left").await;
    assert_eq!(run(client, "return document.getElementById('aim-d99').value").await, json!("300.5"));
    run(client, "window.confirm = () => true").await;
    open_aim(client, "aim-cheapest-face.toml").await;
    says(client, "aim-said", "Saved").await;
    fill(client, "aim-powders", "2").await;
    says(client, "aim-said", "Not saved: 1 change").await;
    desk.open_again(client, POLISH).await;
    says(client, "offers", "aim-cheapest-face.toml: 1 change").await;
    assert_eq!(run(client, "return document.querySelectorAll('#offers li').length").await, json!(2), "the shelf too");
    click(client, "[data-offer='aim-cheapest-face.toml'] button").await;
    says(client, "aim-said", "Not saved: 1 change").await;
    holds(client, "aim-powders", "2").await;
    fill(client, "aim-powders", "3").await;
    says(client, "aim-said", "Saved").await;
    click(client, "#dialog .close").await;
    click(client, "[data-offer='shelf.toml'] button.quiet").await;
    until(client, "return document.getElementById('offers').hidden", "it is offered still").await;
}

async fn a_lot_looked_at(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, "#look-lot").await;
    run(client, "document.getElementById('lot-of').value = 'Olive stone, sieved'; document.getElementById('lot-table').value = 'olive-stone-lot.csv'; \
                 document.getElementById('lot-shelf').value = 'shelf.toml'").await;
    press_in(client, "lot-table", Key::Enter).await;
    click(client, "#preview-form button").await;
    says(client, "preview", "Olive stone, sieved").await;
    says(client, "preview", "above the grade").await;
    accessible(client, "a lot").await;
    shot(client, "lot").await;
    click(client, "#dialog .close").await;
}

/// The same at a phone's width.
pub async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    run(client, "document.getElementById('edit-shelf').click()").await;
    until(client, "return document.getElementById('s0-fold') !== null", "no shelf").await;
    run(client, "document.getElementById('s0-fold').click()").await;
    until(client, "return document.getElementById('s0-price_per_kg') !== null", "it does not open").await;
    fits(client).await;
    within_the_dialog(client).await;
    accessible(client, "phone, the shelf").await;
    shot(client, "phone-shelf").await;
    run(client, "document.querySelector('#dialog .close').click(); document.getElementById('seek').click()").await;
    until(client, "return document.getElementById('aim-more') !== null", "no aim").await;
    run(client, "document.getElementById('aim-more').open = true; document.getElementById('aim-passing-more').click()")
        .await;
    fits(client).await;
    within_the_dialog(client).await;
    accessible(client, "phone, an aim").await;
    shot(client, "phone-aim").await;
    run(client, "document.querySelector('#dialog .close').click()").await;
}

/// Nothing sticks out of the dialog sideways.
async fn within_the_dialog(client: &Client) {
    let wide = run(client, "const d = document.getElementById('dialog'); return [d.scrollWidth, d.clientWidth]").await;
    assert!(wide[0].as_f64() <= wide[1].as_f64(), "{wide}");
}
