//! The whole scrub on the page: phases, ingredients, acid, base, container and use edited, checks that lead to what they are about.

use super::desk::*;
use super::unseen::fresh;
use fantoccini::Client;
use fantoccini::key::Key;
use serde_json::json;

const ACID: &str = "millrace-acid-polish.toml";
const POLISH: &str = "millrace-rice-polish.toml";

pub async fn all(desk: &Desk, client: &Client) {
    shown_and_edited(desk, client).await;
    reordered_and_filled_up(desk, client).await;
    checks_lead_to_what_they_are_about(desk, client).await;
    from_powders_to_a_whole_scrub(desk, client).await;
    every_key_of_a_scrub_has_a_box(desk, client).await;
}

async fn open_parts(client: &Client) {
    run(client, "document.querySelectorAll('#whole > details').forEach((d) => (d.open = true))").await;
}

async fn file_says(client: &Client, words: &str) {
    says(client, "file-text", words).await;
}

async fn shown_and_edited(desk: &Desk, client: &Client) {
    fresh(desk, client, ACID).await;
    open_parts(client).await;
    says(client, "total", "100.0 % in all").await;
    says(client, "f0-2-left", "66").await;
    says(client, "now-acid", "Lactic acid").await;
    accessible(client, "the whole scrub").await;
    shot(client, "whole").await;
    fill(client, "f0-0-pct", "4,5").await;
    file_says(client, "pct = 4.5\n").await;
    fill(client, "acid-final_ph", "4.7").await;
    file_says(client, "final_ph = 4.7\n").await;
    fill(client, "acid-window", "4,4 to 5").await;
    file_says(client, "window = [4.4, 5]").await;
    fill(client, "fill-orifice_mm", "6").await;
    file_says(client, "orifice_mm = 6").await;
    choose(client, "use-rinse_off", "no").await;
    file_says(client, "rinse_off = false").await;
    choose(client, "acid-key", "glycolic").await;
    file_says(client, "key = \"glycolic\"").await;
    // A comment that nobody touched is where it was.
    file_says(client, "# gritwise tables acids").await;
    fill(client, "fill-orifice_mm", "wide").await;
    says(client, "part-fill", "a number is wanted").await;
    // A wrong value is told at its section.
    fill(client, "base-water_activity", "7").await;
    says(client, "part-base", "water_activity must be between 0 and 1").await;
}

async fn reordered_and_filled_up(desk: &Desk, client: &Client) {
    fresh(desk, client, ACID).await;
    open_parts(client).await;
    let names = "return [...document.querySelectorAll('.ingredients:first-of-type .who > :first-child')].slice(0, 3).map((e) => e.textContent)";
    // By the keyboard, and the focus goes along.
    run(client, "document.getElementById('f0-0-down').focus()").await;
    press(client, &char::from(Key::Enter).to_string()).await;
    until(client, "return document.activeElement.id === 'f0-1-fold'", "the focus is lost").await;
    assert_eq!(run(client, names).await, json!(["Xanthan gum", "Glycerin", "Water"]));
    click(client, "#undo").await;
    until(client, &format!("return (() => {{ {names} }})()[0] === 'Glycerin'"), "no undo").await;
    // Another one takes what is left; the water keeps what it came to.
    click(client, "#f0-0-fold").await;
    click(client, "#f0-0-fill").await;
    says(client, "f0-0-left", "5.00 %").await;
    holds(client, "f0-2-pct", "66.2").await;
    says(client, "total", "100.0 % in all").await;
    click(client, "#undo").await;
    says(client, "f0-2-left", "66.2 %").await;
    // Into another phase, and phases among each other.
    choose(client, "f0-0-phase", "1").await;
    until(client, "return document.getElementById('f1-2-title')?.textContent === 'Glycerin'", "not moved").await;
    click(client, "#f1-up").await;
    until(client, "return document.getElementById('f0-name').value === 'Oil'", "the phase stays").await;
    // Renamed, the powders go with it.
    fill(client, "f3-name", "Cool").await;
    until(
        client,
        "return document.getElementById('file-text').textContent.split('phase = \"Cool\"').length === 3",
        "the powders are left behind",
    )
    .await;
    // In, named, out.
    let count = run(client, "return document.querySelectorAll('.ingredient').length").await;
    click(client, "#f1-add").await;
    until(client, "return document.activeElement.id === 'f1-2-name'", "it cannot be named at once").await;
    press(client, &format!("Panthenol{}", char::from(Key::Enter))).await;
    file_says(client, "name = \"Panthenol\"").await;
    click(client, "#f1-2-out").await;
    until(client, &format!("return document.querySelectorAll('.ingredient').length === {count}"), "it stays").await;
}

async fn checks_lead_to_what_they_are_about(desk: &Desk, client: &Client) {
    fresh(desk, client, ACID).await;
    open_parts(client).await;
    fill(client, "acid-final_ph", "2").await;
    says(client, "verdict", "Stop pH in its window 2.00 pH, at least 3.50").await;
    says(client, "verdict", "What would mend it: bring the pH within the limits").await;
    says(client, "verdict", "Checks that pass").await;
    says(client, "verdict", "Adds up to 100 % 100 % w/w, to be 100").await;
    assert!(!text(client, "verdict").await.contains("ph-window"));
    says(client, "bar-verdict", "Stop: ").await;
    run(client, "document.querySelectorAll('#whole > details').forEach((d) => (d.open = false))").await;
    click(client, "#to-ph-window-acid").await;
    until(
        client,
        "return document.getElementById('part-acid').open && document.activeElement.id === 'acid-key'",
        "it leads nowhere",
    )
    .await;
    run(client, "document.querySelectorAll('.checks details').forEach((d) => (d.open = true))").await;
    accessible(client, "every check open").await;
    shot(client, "checks").await;
    // One that names an ingredient leads to it.
    let lead = run(client, "return [...document.querySelectorAll('.leads button')].find((b) => b.textContent === 'Go to Sodium benzoate')?.id").await;
    click(client, &format!("#{}", lead.as_str().unwrap())).await;
    until(
        client,
        "return document.activeElement.id === 'f3-0-fold' && document.activeElement.ariaExpanded === 'true'",
        "it is not shown",
    )
    .await;
}

async fn from_powders_to_a_whole_scrub(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    says(client, "total", "none stated").await;
    open_parts(client).await;
    click(client, "#add-phase").await;
    until(client, "return document.activeElement.id === 'f0-name'", "no phase").await;
    press(client, &format!("Water{}", char::from(Key::Enter))).await;
    file_says(client, "name = \"Water\"").await;
    click(client, "#f0-add").await;
    until(client, "return document.activeElement.id === 'f0-0-name'", "no ingredient").await;
    press(client, &format!("Water{}", char::from(Key::Enter))).await;
    file_says(client, "pct = 0").await;
    click(client, "#f0-0-fill").await;
    says(client, "f0-0-left", "95.0 %").await;
    fill(client, "f0-0-inci", "Aqua").await;
    says(client, "total", "100.0 % in all").await;
    fill(client, "use-per_week", "2").await;
    file_says(client, "[use]\nper_week = 2").await;
    fill(client, "use-per_week", &char::from(Key::Delete).to_string()).await;
    until(client, "return !document.getElementById('file-text').textContent.includes('[use]')", "an empty table stays")
        .await;
}

async fn every_key_of_a_scrub_has_a_box(desk: &Desk, client: &Client) {
    fresh(desk, client, ACID).await;
    open_parts(client).await;
    // A home test in place of a rheometer's figure: refused beside it, taken without it.
    fill(client, "base-bead", "2; 2,5").await;
    says(client, "part-base", "both stand here; keep one").await;
    empty(client, "base-yield_stress_pa").await;
    until(client, "return !document.getElementById('file-text').textContent.includes('yield_stress_pa')", "it stays")
        .await;
    fill(client, "base-bead", "2; 2,5").await;
    file_says(client, "bead = { density_g_cm3 = 2.5, mm = 2 }").await;
    holds(client, "base-bead", "2; 2.5").await;
    fill(client, "use-on_market", "2026-12-01").await;
    file_says(client, "on_market = \"2026-12-01\"").await;
    fill(client, "label-pao_months", "6").await;
    file_says(client, "[label]\npao_months = 6").await;
    // What a scent holds, and what a powder is in the scrub.
    run(client, "document.getElementById('f3-2-fold').click()").await;
    fill(client, "f3-2-allergens", "Linalool 12 %; Citral 1,5").await;
    file_says(client, "allergens = [{ inci = \"Linalool\", pct = 12 }, { inci = \"Citral\", pct = 1.5 }]").await;
    fill(client, "f3-2-allergens", "Linalool").await;
    says(client, "part-phases", "allergens").await;
    run(client, "document.getElementById('p0-fold').click(); document.getElementById('p0-place').open = true").await;
    choose(client, "p0-phase", "Oil").await;
    file_says(client, "phase = \"Oil\"").await;
    fill(client, "p0-cfu_per_g", "200").await;
    file_says(client, "cfu_per_g = 200").await;
    accessible(client, "all boxes").await;
    shot(client, "boxes").await;
}

/// The same at a phone's width.
pub async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, ACID).await;
    open_parts(client).await;
    run(client, "document.getElementById('f0-0-fold').click()").await;
    fill(client, "f0-0-pct", "4,5").await;
    file_says(client, "pct = 4.5\n").await;
    run(client, "document.querySelectorAll('.checks details').forEach((d) => (d.open = true))").await;
    fits(client).await;
    accessible(client, "phone, the whole scrub").await;
    for part in ["whole", "verdict"] {
        run(client, &format!("document.getElementById('{part}').scrollIntoView()")).await;
        shot(client, &format!("phone-{part}")).await;
    }
}
