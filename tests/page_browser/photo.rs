//! Grains on a photograph: chosen or dropped, measured, shown, taken into the scrub and taken back.

use super::desk::*;
use super::unseen::fresh;
use fantoccini::key::Key;
use fantoccini::{Client, Locator};
use serde_json::json;
use std::fs;
use std::path::{Path, PathBuf};

const POLISH: &str = "millrace-rice-polish.toml";

fn photo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("examples/olive-stone-grains.jpg")
}

/// Drops the example's photograph on what a selector finds.
async fn drop_photo(client: &Client, css: &str) {
    let bytes = fs::read(photo()).unwrap();
    let script = "const [css, bytes] = arguments; const dt = new DataTransfer(); \
        dt.items.add(new File([new Uint8Array(bytes)], 'olive.jpg', { type: 'image/jpeg' })); \
        document.querySelector(css).dispatchEvent(new DragEvent('drop', { dataTransfer: dt, bubbles: true, cancelable: true }))";
    client.execute(script, vec![json!(css), json!(bytes)]).await.unwrap();
}

#[test]
fn photographs_on_the_page() {
    let Some(desk) = desk() else { return };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let client = desk.browser((1280, 1500), false, false).await;
        by_keyboard(&desk, &client).await;
        dropped(&desk, &client).await;
        client.close().await.unwrap();
        let phone = desk.browser(super::PHONE, false, true).await;
        on_a_phone(&desk, &phone).await;
        phone.close().await.unwrap();
    });
}

async fn by_keyboard(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    run(client, "document.getElementById('p1-grains').open = true; document.getElementById('p1-photo').focus()").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    until(client, "return document.activeElement.id === 'photo-file'", "the photograph is not asked for").await;
    // A phone offers its camera for this one.
    let camera = "const c = document.getElementById('photo-camera'); return [c.accept, c.getAttribute('capture')]";
    assert_eq!(run(client, camera).await, json!(["image/*", "environment"]));
    accessible(client, "asking for a photograph").await;
    // Without a picture, and with no scale that can be read, it says what is wanted.
    fill(client, "photo-scale", "five").await;
    run(client, "document.getElementById('photo-measure').focus()").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    says(client, "photo-told", "Choose a photograph first.").await;
    client.find(Locator::Id("photo-file")).await.unwrap().send_keys(photo().to_str().unwrap()).await.unwrap();
    says(client, "photo-names", "olive-stone-grains.jpg").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    run(client, "document.getElementById('photo-measure').click()").await;
    says(client, "photo-told", "a number is wanted, such as 2.5").await;
    // A scale that no picture of grains has is refused by the program.
    fill(client, "photo-scale", "50000").await;
    run(client, "document.getElementById('photo-measure').click()").await;
    says(client, "photo-told", "none of a picture of grains").await;
    run(client, "const s = document.getElementById('photo-by'); s.value = 'bar'; s.dispatchEvent(new Event('change'))")
        .await;
    write(client, "photo-scale", "200 px = 1 mm").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    measured(client).await;
    accessible(client, "grains found").await;
    shot(client, "grains").await;
    run(client, "document.querySelector('.outlines').scrollIntoView()").await;
    shot(client, "grains-outlines").await;

    let before = text(client, "file-text").await;
    run(client, "document.getElementById('photo-take').focus()").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    says(client, "file-text", "roundness_source = \"photograph, ").await;
    for key in ["roundness = 0.", "roundness_low = 0.", "roundness_high = 0.", "SHA-256 "] {
        assert!(text(client, "file-text").await.contains(key), "{key}");
    }
    says(client, "news", "undo brings back the one before").await;
    says(client, "p1-roundness-from", "Roundness: photograph, ").await;
    fits(client).await;
    // A roundness typed over it is none that was measured.
    fill(client, "p1-roundness", "0.3").await;
    says(client, "file-text", "roundness = 0.3").await;
    assert!(!text(client, "file-text").await.contains("roundness_source"));
    click(client, "#undo").await;
    says(client, "file-text", "roundness_source").await;
    click(client, "#undo").await;
    until(client, &format!("return document.getElementById('file-text').textContent === {}", json!(before)), "no undo")
        .await;
}

/// Until outlines are seen: an SVG with the photograph under them, of the size that it has.
async fn measured(client: &Client) {
    says(client, "photo-told", "Roundness 0.").await;
    let seen =
        "const i = document.querySelector('.outlines img'); return i !== null && i.complete && i.naturalWidth > 1000";
    until(client, seen, "no outlines are seen").await;
    for words in ["5.000 µm a pixel", "90 % between", "Powers class", "by volume D10"] {
        assert!(text(client, "photo-told").await.contains(words), "{words}");
    }
}

async fn dropped(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    // On its powder, wherever: this one has a sieve table, and the picture is of a coarser powder.
    for css in ["#p1-grade", "#p1-facts"] {
        drop_photo(client, css).await;
        says(client, "dialog-title", "Roundness of Olive stone").await;
        says(client, "photo-names", "olive.jpg").await;
        click(client, "#dialog .close").await;
    }
    dropped_and_measured(client).await;
    says(client, "photo-cautions", "The sizes do not agree").await;
    // What was found is of the scale that was said; a photograph can be left out of the choice again.
    fill(client, "photo-scale", "250 px = 1 mm").await;
    assert_eq!(text(client, "photo-told").await, "");
    run(client, "document.querySelector('#photo-names button').focus()").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    assert_eq!(text(client, "photo-names").await, "");
    assert_eq!(run(client, "return document.activeElement.id").await, json!("photo-file"));
    click(client, "#photo-measure").await;
    says(client, "photo-told", "Choose a photograph first.").await;
    click(client, "#dialog .close").await;
    drop_photo(client, "h1").await;
    says(client, "dialog-title", "Which powder is olive.jpg of?").await;
    click(client, "#drop-to-1").await;
    says(client, "photo-names", "olive.jpg").await;
    // The scale of last time is still there.
    holds(client, "photo-scale", "200 px = 1 mm").await;
    assert_eq!(run(client, "return document.getElementById('photo-by').value").await, json!("bar"));
    click(client, "#dialog .close").await;
}

/// Dropped on the olive stone of the example, with a bar for scale.
pub async fn dropped_and_measured(client: &Client) {
    drop_photo(client, "#p1-grade").await;
    run(client, "const s = document.getElementById('photo-by'); s.value = 'bar'; s.dispatchEvent(new Event('change'))")
        .await;
    fill(client, "photo-scale", "200 px = 1 mm").await;
    click(client, "#photo-measure").await;
    measured(client).await;
}

/// The same at a phone's width.
async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    drop_photo(client, "#p1-grade").await;
    until(client, "return document.getElementById('photo') !== null", "not asked for").await;
    fits(client).await;
    run(
        client,
        "const s = document.getElementById('photo-by'); s.value = 'pixel'; s.dispatchEvent(new Event('change')); \
         document.getElementById('photo-scale').value = '5,0'; document.getElementById('photo-measure').click()",
    )
    .await;
    measured(client).await;
    fits(client).await;
    let wide = run(client, "const d = document.getElementById('dialog'); return d.scrollWidth <= d.clientWidth").await;
    assert_eq!(wide, json!(true));
    accessible(client, "phone, grains found").await;
    shot(client, "phone-grains").await;
    run(client, "document.querySelector('#dialog .close').click()").await;
}
