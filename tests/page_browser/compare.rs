//! Scrubs side by side in a view of their own, and draws that begin and end by themselves.

use super::desk::*;
use super::unseen::fresh;
use fantoccini::Client;
use fantoccini::key::Key;
use serde_json::json;

const POLISH: &str = "millrace-rice-polish.toml";

pub async fn all(desk: &Desk, client: &Client) {
    side_by_side(desk, client).await;
    drawn_at_rest(desk, client).await;
}

async fn side_by_side(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, "#keep").await;
    until(client, "return document.getElementById('drop-1') !== null", "nothing is kept").await;
    fill(client, "load", "7").await;
    says(client, "saved-said", "Not saved: 1 change").await;
    click(client, "#compare").await;
    // What is in hand and what was kept, at once.
    says(client, "compared", "powder load 5.00 to 7.00 %").await;
    let marked = "return [...document.querySelectorAll('#compared .differs-cell')].map((c) => c.closest('tr').cells[0].textContent)";
    let lines = run(client, marked).await;
    assert!(lines.as_array().unwrap().contains(&json!("powders, % of the scrub")), "{lines}");
    assert!(!lines.as_array().unwrap().contains(&json!("D50, µm")), "{lines}");
    accessible(client, "compared").await;
    holds(client, "compare-with", "kept 1").await;
    // A scrub of the folder, by the keyboard.
    let body = "[...document.querySelectorAll('#compare-what label')].find((l) => l.textContent.includes('millrace-body-scrub')).querySelector('input')";
    run(client, &format!("{body}.focus()")).await;
    press(client, " ").await;
    says(client, "compared", "to Millrace body scrub: index").await;
    // What moves the index most stands first.
    let effects = run(
        client,
        "return [...document.querySelectorAll('#compared .card:last-child li')].map((l) => parseFloat(l.textContent)).filter((v) => !isNaN(v))",
    )
    .await;
    let effects: Vec<f64> = effects.as_array().unwrap().iter().map(|v| v.as_f64().unwrap().abs()).collect();
    assert!(effects.len() > 2 && effects.is_sorted_by(|a, b| a >= b), "{effects:?}");
    accessible(client, "three compared").await;
    shot(client, "compare").await;
    // Held against another of them.
    let held = "const list = document.getElementById('compare-with'); list.value = 'in hand'; list.dispatchEvent(new Event('change'))";
    run(client, held).await;
    says(client, "compared", "From Millrace rice polish, in hand to Millrace rice polish, kept").await;
    press_escape(client).await;
    until(client, "return !document.getElementById('dialog').open", "it stays").await;
    click(client, "#undo").await;
}

async fn press_escape(client: &Client) {
    press(client, &char::from(Key::Escape).to_string()).await;
}

async fn drawn_at_rest(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    // Nobody asks for it; it comes when nothing is changed for a while, and goes with the next change.
    says(client, "drawn", "5 % of the draws below").await;
    fill(client, "load", "6").await;
    until(client, "return !document.getElementById('drawn').textContent.includes('5 % of')", "old draws stay").await;
    says(client, "drawn", "Drawing").await;
    click(client, "#drawn .stop").await;
    says(client, "drawn", "Stopped").await;
    click(client, "#draw").await;
    says(client, "drawn", "5 % of the draws below").await;
    click(client, "#undo").await;
}

/// The same at a phone's width.
pub async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    run(client, "document.getElementById('keep').click()").await;
    until(client, "return document.getElementById('drop-1') !== null", "nothing is kept").await;
    run(client, "document.getElementById('compare').click()").await;
    says(client, "compared", "From ").await;
    fits(client).await;
    let wide = run(client, "const d = document.getElementById('dialog'); return [d.scrollWidth, d.clientWidth]").await;
    assert!(wide[0].as_f64() <= wide[1].as_f64(), "{wide}");
    accessible(client, "phone, compared").await;
    shot(client, "phone-compare").await;
    run(client, "document.querySelector('#dialog .close').click()").await;
}

/// In a browser that writes a comma.
pub async fn with_commas(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    assert_eq!(text(client, "index-value").await, "82,3");
    says(client, "bar-verdict", "index 82,3").await;
    holds(client, "p1-share", "33.3").await;
    unfold(client, 1).await;
    holds(client, "p1-pct", "33,3").await;
    fill(client, "load", "6.5").await;
    holds(client, "load", "6,5").await;
    says(client, "file-text", "powder_load_pct = 6.5").await;
    fill(client, "p1-parts", "2,25").await;
    // Sentences too, but for what is quoted, to be typed into a file.
    let written = "const lines = [...document.querySelectorAll('#result li, #result p:not(.source)')].map((e) => e.textContent.replace(/\"[^\"]*\"/g, '')); \
                   const with_mark = (mark) => lines.filter((l) => new RegExp(`(?<![\\\\w.])\\\\d+${mark}\\\\d+(?![\\\\w.])`).test(l)); \
                   return [with_mark('\\\\.'), with_mark(',').length > 5]";
    assert_eq!(run(client, written).await, json!([[], true]));

    says(client, "file-text", "parts = 2.25").await;
    // Leaving a box changes nothing.
    press(client, &char::from(Key::Tab).to_string()).await;
    holds(client, "p1-parts", "2,25").await;
    slide(client, "load-slide", 7.25).await;
    holds(client, "load", "7,25").await;
    for _ in 0..3 {
        click(client, "#undo").await;
    }
    says(client, "saved-said", "Saved").await;
}

/// On a phone with its text twice as large: nothing sticks out, and nothing is cut off.
pub async fn with_large_text(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    run(client, "document.documentElement.style.fontSize = '200%'").await;
    unfold(client, 0).await;
    whole_at(client, "large").await;
    for (id, there) in
        [("edit-shelf", "shelf-add"), ("seek", "aim-more"), ("compare", "compare-what"), ("look-lot", "lot-of")]
    {
        run(client, &format!("document.getElementById('{id}').click()")).await;
        until(client, &format!("return document.getElementById('{there}') !== null"), there).await;
        whole_at(client, &format!("large-{id}")).await;
        run(client, "document.querySelector('#dialog .close').click()").await;
    }
}

async fn whole_at(client: &Client, name: &str) {
    fits(client).await;
    // Words that are wider than what holds them, where that does not let them be scrolled to; and words that stay as small as they were.
    let cut = "const shown = [...document.querySelectorAll('body *')].filter((e) => e.checkVisibility() && e.clientWidth > 0 \
               && !e.closest('.unseen, svg, .wide, pre, .skip') && !['INPUT', 'SELECT', 'TEXTAREA'].includes(e.tagName)); \
               const style = (e) => getComputedStyle(e); \
               const cut = shown.filter((e) => e.scrollWidth > e.clientWidth + 1 && style(e).overflowX !== 'visible' && style(e).display !== 'inline'); \
               const hasWords = (e) => [...e.childNodes].some((n) => n.nodeType === 3 && n.data.trim() !== ''); \
               const small = shown.filter((e) => hasWords(e) && parseFloat(style(e).fontSize) < 24); \
               const lists = [...document.querySelectorAll('select')].filter((e) => e.checkVisibility() \
               && (style(e).appearance !== 'base-select' || e.scrollWidth > e.clientWidth + 1)); \
               return [...cut, ...small, ...lists].map((e) => `${e.tagName}#${e.id}.${e.className}: ${e.textContent.slice(0, 40)}`)";
    let found = run(client, cut).await;
    shot(client, name).await;
    assert_eq!(found, json!([]), "{name}");
}
