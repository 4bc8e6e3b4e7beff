//! Slips of the hand, and of another hand on the same folder: a name typed that is taken, a table that changes under a verdict, a
//! double click, a number that is none. Nothing false is said of them, and nothing is lost.

use super::desk::*;
use super::unseen::fresh;
use fantoccini::Client;
use fantoccini::key::Key;
use serde_json::json;
use std::fs;

const POLISH: &str = "millrace-rice-polish.toml";
const BODY: &str = "millrace-body-scrub.toml";

pub async fn all(desk: &Desk, client: &Client) {
    a_name_that_is_taken(desk, client).await;
    tables_that_change_under_a_verdict(desk, client).await;
    buttons_keep_their_place(desk, client).await;
    the_limit_of_its_own_band(desk, client).await;
    answers_go_with_what_was_asked(desk, client).await;
    trouble_is_put_away(desk, client).await;
    a_typed_test_is_kept(desk, client).await;
    numbers_that_are_none(desk, client).await;
    the_focus_goes_on(desk, client).await;
    forward_and_cancelled(desk, client).await;
    dropped_on_a_closed_card(desk, client).await;
    batches_with_commas(desk, client).await;
}

async fn is(client: &Client, script: &str, wanted: serde_json::Value) {
    assert_eq!(run(client, &format!("return {script}")).await, wanted, "{script}");
}

async fn new_scrub(client: &Client) {
    run(client, "window.confirm = () => true; document.getElementById('new').click()").await;
    says(client, "saved-said", "new scrub").await;
}

async fn save_as(client: &Client, name: &str) {
    fill(client, "copy-name", name).await;
    click(client, "#dialog button[type=submit]").await;
}

async fn a_name_that_is_taken(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let [shelf, polish] = ["shelf.toml", POLISH].map(|name| fs::read_to_string(desk.file(name)).unwrap());
    new_scrub(client).await;
    click(client, "#save").await;
    save_as(client, "shelf.toml").await;
    says(client, "dialog-trouble", "a file of that name is there already, and it is a shelf; nothing was written")
        .await;
    save_as(client, POLISH).await;
    says(client, "dialog-title", "A file of that name is there already").await;
    let told = text(client, "dialog").await;
    assert!(!told.contains("changed on disk"), "{told}");
    is(client, "document.getElementById('take-theirs') === null", json!(true)).await;
    is(client, "document.getElementById('dialog').contains(document.activeElement)", json!(true)).await;
    accessible(client, "a name that is taken").await;
    shot(client, "taken").await;
    click(client, "#keep-mine").await;
    says(client, "news", "Saved millrace-rice-polish.toml").await;
    assert_ne!(fs::read_to_string(desk.file(POLISH)).unwrap(), polish);
    click(client, "#undo").await;
    holds(client, "scrub-name", "Millrace rice polish").await;
    run(client, "document.getElementById('news').textContent = ''").await;
    click(client, "#save").await;
    says(client, "news", "Saved millrace-rice-polish.toml").await;
    assert_eq!(["shelf.toml", POLISH].map(|name| fs::read_to_string(desk.file(name)).unwrap()), [shelf, polish]);
}

async fn tables_that_change_under_a_verdict(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    is(client, "document.getElementById('index-value').textContent", json!("82.3")).await;
    let table = desk.file("olive-stone-sieved.csv");
    let before = fs::read_to_string(&table).unwrap();
    fs::copy(desk.file("olive-stone-lot.csv"), &table).unwrap();
    click(client, "#again").await;
    says(client, "news", "olive-stone-sieved.csv changed on disk and was read again.").await;
    is(client, "document.getElementById('index-value').textContent", json!("89.2")).await;
    is(client, "document.querySelector('[aria-current=true] .source').textContent.endsWith('89.2')", json!(true)).await;
    // Gone, that is said where the verdict is; back, it is read by itself.
    fs::remove_file(&table).unwrap();
    click(client, "#again").await;
    says(client, "disk", "olive-stone-sieved.csv cannot be read any more").await;
    says(client, "bar-verdict", "as before: olive-stone-sieved.csv").await;
    accessible(client, "a table that is gone").await;
    shot(client, "gone").await;
    fs::write(&table, before).unwrap();
    until(client, "return document.getElementById('disk').hidden", "the message stays").await;
    is(client, "document.getElementById('index-value').textContent", json!("82.3")).await;
    let told = text(client, "bar-verdict").await;
    assert!(!told.contains("as before"), "{told}");
}

async fn buttons_keep_their_place(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let places = "return JSON.stringify(['undo', 'redo', 'save'].map((id) => { \
                  const r = document.getElementById(id).getBoundingClientRect(); return [r.left, r.top, r.width, r.height]; }))";
    run(client, "scrollTo(0, 0)").await;
    let before = run(client, places).await;
    fill(client, "load", "7").await;
    until(client, "return document.title.startsWith('•')", "the change is not marked").await;
    run(client, "scrollTo(0, 0)").await;
    assert_eq!(run(client, places).await, before);
    let double =
        "const r = document.getElementById('undo').getBoundingClientRect(); return [r.right - 8, r.top + r.height / 2]";
    let at = run(client, double).await;
    let lies = format!("return document.elementFromPoint({}, {}).closest('button').id", at[0], at[1]);
    click(client, "#undo").await;
    until(client, "return !document.title.startsWith('•')", "no undo").await;
    run(client, "scrollTo(0, 0)").await;
    assert_eq!(run(client, places).await, before);
    assert_eq!(run(client, &lies).await, json!("undo"));
}

async fn the_limit_of_its_own_band(desk: &Desk, client: &Client) {
    fresh(desk, client, BODY).await;
    says(client, "bar-verdict", "governs: D99 of the blend by volume 683 µm, limit 1500").await;
    is(
        client,
        "document.querySelector('#scale .governs .source').textContent",
        json!("by itself face; body: limit 1500"),
    )
    .await;
    says(client, "words", "limit 1500").await;
}

async fn answers_go_with_what_was_asked(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, "#look-lot").await;
    let offered = "[...document.getElementById('lot-table').options].map((o) => o.value)\
                   .filter((name) => ['lots.csv', 'batches.csv', 'panel-scores.csv'].includes(name))";
    is(client, offered, json!([])).await;
    let choose_table = async |name: &str| {
        let script = format!(
            "const t = document.getElementById('lot-table'); t.value = '{name}'; t.dispatchEvent(new Event('change', {{ bubbles: true }}))"
        );
        run(client, &script).await;
    };
    let gone = "return document.getElementById('preview') === null";
    choose_table("olive-stone-lot.csv").await;
    click(client, "#preview-form button").await;
    says(client, "preview", "Table olive-stone-lot.csv").await;
    choose_table("pumice-laser.csv").await;
    until(client, gone, "the lot's stays").await;
    fill(client, "lot-charge", "much").await;
    click(client, "#preview-form button").await;
    says(client, "dialog-trouble", "a number is wanted, not \"much\"").await;
    click(client, "#dialog .close").await;
    click(client, "#look-ladder").await;
    click(client, "#preview-form button").await;
    until(client, "return document.getElementById('preview') !== null", "no ladder").await;
    fill(client, "vary-high", "12").await;
    until(client, gone, "the ladder's stays").await;
    click(client, "#dialog .close").await;
    click(client, "#seek").await;
    run(client, "document.getElementById('aim-goal').value = 'cheapest'").await;
    click(client, "#aim button[type=submit]").await;
    until(client, "return document.querySelectorAll('#found .card').length > 0", "nothing is found").await;
    fill(client, "aim-load-low", "3").await;
    says(client, "found", "find again").await;
    is(client, "document.querySelectorAll('#found .card').length", json!(0)).await;
    fill(client, "aim-sure", "1e400").await;
    click(client, "#aim button[type=submit]").await;
    says(client, "dialog-trouble", "must be a number").await;
    fill(client, "aim-sure", "").await;
    click(client, "#dialog .close").await;
}

async fn trouble_is_put_away(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    let tell = "const done = arguments[0]; import('/assets/talk.js').then(({ complain }) => { complain('That went wrong.'); done(); })";
    for by in ["button", "Escape"] {
        client.execute_async(tell, vec![]).await.unwrap();
        for scrolled in [0, 700] {
            run(client, &format!("scrollTo(0, {scrolled})")).await;
            let below = "document.getElementById('trouble').getBoundingClientRect().top >= \
                         document.getElementById('bar').getBoundingClientRect().bottom";
            is(client, below, json!(true)).await;
        }
        accessible(client, "trouble").await;
        match by {
            "button" => run(client, "document.getElementById('trouble-close').click()").await,
            _ => {
                run(
                    client,
                    "document.body.dispatchEvent(new KeyboardEvent('keydown', { key: 'Escape', bubbles: true }))",
                )
                .await
            }
        };
        is(client, "document.getElementById('trouble').hidden", json!(true)).await;
    }
}

async fn a_typed_test_is_kept(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    click(client, "#p1-type").await;
    let first = "document.querySelectorAll('#sieve-rows input')[0].value";
    let masses =
        "[...document.querySelectorAll('#sieve-rows input')].filter((_, i) => i % 2).map((box) => box.value).join(' ')";
    let opening = async |um: &str| {
        let script = format!(
            "const box = document.querySelector('#sieve-rows input'); box.value = '{um}'; box.dispatchEvent(new Event('input', {{ bubbles: true }}))"
        );
        run(client, &script).await;
    };
    run(client, "[...document.querySelectorAll('#sieve-rows input')].filter((_, i) => i % 2).forEach((box, i) => (box.value = i + 5))").await;
    opening("425000").await;
    click(client, "#sieving button[type=submit]").await;
    says(client, "sieve-told", "coarser than").await;
    let kept = run(client, &format!("return {masses}")).await;
    is(client, "document.getElementById('dialog').open", json!(true)).await;
    // Left by Escape, it is there again.
    press(client, &char::from(Key::Escape).to_string()).await;
    until(client, "return !document.getElementById('dialog').open", "it does not close").await;
    click(client, "#p1-type").await;
    is(client, first, json!("425000")).await;
    is(client, masses, kept).await;
    opening("425").await;
    click(client, "#sieving button[type=submit]").await;
    says(client, "p1-table", "all rows read").await;
    // Taken, the next one begins anew.
    click(client, "#p1-type").await;
    is(client, &format!("{masses}.trim()"), json!("")).await;
    click(client, "#dialog .close").await;
}

async fn numbers_that_are_none(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 0).await;
    let gsd = text(client, "file-text").await;
    for (id, typed) in [("p0-size-gsd", "1e400"), ("load", "1e400"), ("load", "5 %"), ("load", "abc")] {
        fill(client, id, typed).await;
        until(client, &format!("return document.getElementById('{id}').ariaInvalid === 'true'"), typed).await;
        holds(client, id, typed).await;
    }
    assert_eq!(text(client, "file-text").await, gsd);
    press_escape(client, "load").await;
    holds(client, "load", "5").await;
    // Two wrong boxes of one card are told apart.
    run(client, "document.getElementById('p0-grains').open = true").await;
    fill(client, "p0-hardness_gpa", "-5").await;
    fill(client, "p0-density_g_cm3", "99").await;
    says(client, "p0-card", "density must be between").await;
    let told = run(client, "return document.querySelector('#p0-card .error').textContent").await;
    is(
        client,
        "document.querySelector('label[for=p0-density_g_cm3] .wrong-here').textContent.startsWith('a density must be')",
        json!(true),
    )
    .await;
    for words in ["geometric standard deviation: a number", "Hardness, GPa: ", "Density, g/cm³: "] {
        assert!(told.as_str().unwrap().contains(words), "{words}: {told}");
    }
    // Of a scrub without a file no line of one is cited.
    new_scrub(client).await;
    unfold(client, 0).await;
    fill(client, "p0-size-through_um", "-5").await;
    says(client, "p0-card", "through_um: a size must be").await;
    let told = run(client, "return document.querySelector('#p0-card .error').textContent").await;
    assert!(!told.as_str().unwrap().contains(".toml"), "{told}");
}

async fn press_escape(client: &Client, id: &str) {
    run(client, &format!("document.getElementById('{id}').focus()")).await;
    press(client, &char::from(Key::Escape).to_string()).await;
}

async fn the_focus_goes_on(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    unfold(client, 1).await;
    run(client, "document.getElementById('p1-grains').open = true").await;
    let on_summary =
        "return document.activeElement.tagName === 'SUMMARY' && document.activeElement.closest('#p1-card') !== null";
    for (id, typed, written) in [("p1-size-over_um", "90", "over_um = 90"), ("p1-roundness", "0.5", "roundness = 0.5")]
    {
        fill(client, id, typed).await;
        says(client, "file-text", written).await;
        until(client, on_summary, id).await;
    }
    // From an offer to the next, and from the last one to the scrub in hand.
    new_scrub(client).await;
    fill(client, "scrub-name", "Evening silt").await;
    until(client, "return document.title.includes('Evening silt')", "no name").await;
    run(client, &format!("document.querySelector('[data-file=\"{BODY}\"]').click()")).await;
    says(client, "offers", "Evening silt: a new scrub").await;
    let offers = "document.querySelectorAll('#offers li').length";
    for left in [1, 0] {
        run(client, "document.querySelector('#offers li:last-child .quiet').focus()").await;
        press(client, &char::from(Key::Enter).to_string()).await;
        until(client, &format!("return {offers} === {left}"), "it is offered still").await;
        let at = if left == 0 {
            "document.activeElement.id === 'scrub-name'"
        } else {
            "document.activeElement.closest('#offers') !== null"
        };
        is(client, at, json!(true)).await;
    }
}

async fn forward_and_cancelled(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    click(client, &format!("[data-file=\"{BODY}\"]")).await;
    holds(client, "scrub-name", "Millrace body scrub").await;
    run(client, "history.back()").await;
    holds(client, "scrub-name", "Millrace rice polish").await;
    fill(client, "load", "7").await;
    until(client, "return document.title.startsWith('•')", "the change is not marked").await;
    run(client, "window.asked = 0; window.confirm = () => { asked += 1; return false; }; history.forward()").await;
    until(client, "return asked === 1", "nobody asks").await;
    until(client, &format!("return location.hash === '#file={POLISH}'"), "the address is that of the other").await;
    holds(client, "scrub-name", "Millrace rice polish").await;
}

async fn dropped_on_a_closed_card(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    run(
        client,
        "const dt = new DataTransfer(); dt.items.add(new File(['opening_um,retained_g\\n300,1.5\\n212,12\\n150,20\\npan,2\\n'], 'lot-4.csv')); \
         document.getElementById('p1-title').dispatchEvent(new DragEvent('drop', { dataTransfer: dt, bubbles: true, cancelable: true }))",
    )
    .await;
    says(client, "p1-table", "lot-4.csv: all rows read").await;
    is(client, "document.getElementById('p1-body').hidden", json!(false)).await;
    // A phase that powders go in with says so.
    fresh(desk, client, "millrace-acid-polish.toml").await;
    run(client, "document.getElementById('part-phases').open = true; document.getElementById('f3-out').click()").await;
    says(client, "phases", "go in with this phase: first choose another phase").await;
}

async fn batches_with_commas(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    for (id, typed) in [("batch", "2,5kg"), ("loss", "3,5 %"), ("step", "0,5 g")] {
        fill(client, id, typed).await;
    }
    click(client, "#take-batch").await;
    says(client, "taken", "is among the browser's downloads").await;
    fill(client, "loss", "some").await;
    click(client, "#take-batch").await;
    says(client, "not-taken", "Stays in the vessel: a loss is written like 3%").await;
    is(client, "document.getElementById('loss').ariaInvalid", json!("true")).await;
}

/// Two scrubs beside each other are both in sight, and the strip at the foot takes no click.
pub async fn on_a_phone(desk: &Desk, client: &Client) {
    fresh(desk, client, POLISH).await;
    run(client, "document.getElementById('compare').click()").await;
    until(client, "return document.getElementById('compare-1') !== null", "no compare").await;
    run(client, "document.getElementById('compare-1').click()").await;
    until(client, "return document.querySelectorAll('#compared thead th').length === 2", "nothing is compared").await;
    let inside = "return [...document.querySelectorAll('#compared thead th')].every((h) => \
                  h.getBoundingClientRect().right <= document.querySelector('#compared .wide').getBoundingClientRect().right + 1)";
    assert_eq!(run(client, inside).await, json!(true));
    shot(client, "phone-two").await;
    run(client, "document.querySelector('#dialog .close').click()").await;
    let under = "const r = document.getElementById('glance').getBoundingClientRect(); \
                 return document.elementFromPoint(r.left + r.width / 2, r.top + r.height / 2)?.id !== 'glance'";
    assert_eq!(run(client, under).await, json!(true));
}
