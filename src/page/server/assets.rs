//! The page itself, embedded.

use super::wire::turned_away;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";

/// Name, kind and text.
const ASSETS: [(&str, &str, &str); 53] = [
    ("page.css", CSS, include_str!("../assets/page.css")),
    ("parts.css", CSS, include_str!("../assets/parts.css")),
    ("making.css", CSS, include_str!("../assets/making.css")),
    ("result.css", CSS, include_str!("../assets/result.css")),
    ("strips.css", CSS, include_str!("../assets/strips.css")),
    ("paper.css", CSS, include_str!("../assets/paper.css")),
    ("mark.svg", SVG, include_str!("../assets/mark.svg")),
    ("main.js", SCRIPT, include_str!("../assets/main.js")),
    ("alone.js", SCRIPT, include_str!("../assets/alone.js")),
    ("call.js", SCRIPT, include_str!("../assets/call.js")),
    ("make.js", SCRIPT, include_str!("../assets/make.js")),
    ("talk.js", SCRIPT, include_str!("../assets/talk.js")),
    ("bench.js", SCRIPT, include_str!("../assets/bench.js")),
    ("controls.js", SCRIPT, include_str!("../assets/controls.js")),
    ("place.js", SCRIPT, include_str!("../assets/place.js")),
    ("places.js", SCRIPT, include_str!("../assets/places.js")),
    ("powders.js", SCRIPT, include_str!("../assets/powders.js")),
    ("grade.js", SCRIPT, include_str!("../assets/grade.js")),
    ("tables.js", SCRIPT, include_str!("../assets/tables.js")),
    ("grains.js", SCRIPT, include_str!("../assets/grains.js")),
    ("strips.js", SCRIPT, include_str!("../assets/strips.js")),
    ("kept.js", SCRIPT, include_str!("../assets/kept.js")),
    ("sure.js", SCRIPT, include_str!("../assets/sure.js")),
    ("seek.js", SCRIPT, include_str!("../assets/seek.js")),
    ("files.js", SCRIPT, include_str!("../assets/files.js")),
    ("takeaway.js", SCRIPT, include_str!("../assets/takeaway.js")),
    ("verdict.js", SCRIPT, include_str!("../assets/verdict.js")),
    ("bar.js", SCRIPT, include_str!("../assets/bar.js")),
    ("checks.js", SCRIPT, include_str!("../assets/checks.js")),
    ("disk.js", SCRIPT, include_str!("../assets/disk.js")),
    ("edits.js", SCRIPT, include_str!("../assets/edits.js")),
    ("meaning.js", SCRIPT, include_str!("../assets/meaning.js")),
    ("offer.js", SCRIPT, include_str!("../assets/offer.js")),
    ("paper.js", SCRIPT, include_str!("../assets/paper.js")),
    ("photo.js", SCRIPT, include_str!("../assets/photo.js")),
    ("picker.js", SCRIPT, include_str!("../assets/picker.js")),
    ("refused.js", SCRIPT, include_str!("../assets/refused.js")),
    ("store.js", SCRIPT, include_str!("../assets/store.js")),
    ("whole.js", SCRIPT, include_str!("../assets/whole.js")),
    ("broken.js", SCRIPT, include_str!("../assets/broken.js")),
    ("drops.js", SCRIPT, include_str!("../assets/drops.js")),
    ("fields.js", SCRIPT, include_str!("../assets/fields.js")),
    ("first.js", SCRIPT, include_str!("../assets/first.js")),
    ("onshelf.js", SCRIPT, include_str!("../assets/onshelf.js")),
    ("previews.js", SCRIPT, include_str!("../assets/previews.js")),
    ("onfile.js", SCRIPT, include_str!("../assets/onfile.js")),
    ("saved.js", SCRIPT, include_str!("../assets/saved.js")),
    ("shelf.js", SCRIPT, include_str!("../assets/shelf.js")),
    ("aims.js", SCRIPT, include_str!("../assets/aims.js")),
    ("wish.js", SCRIPT, include_str!("../assets/wish.js")),
    ("columns.js", SCRIPT, include_str!("../assets/columns.js")),
    ("compare.js", SCRIPT, include_str!("../assets/compare.js")),
    ("sieving.js", SCRIPT, include_str!("../assets/sieving.js")),
];

pub(super) async fn index() -> Response {
    ([(CONTENT_TYPE, HTML)], include_str!("../assets/index.html")).into_response()
}

pub(super) async fn asset(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|a| a.0 == name) {
        Some((_, kind, text)) => ([(CONTENT_TYPE, *kind)], *text).into_response(),
        None => turned_away(StatusCode::NOT_FOUND, format!("{name}: the page has no such part")),
    }
}

#[cfg(test)]
mod tests {
    use super::{ASSETS, SCRIPT};

    /// Names of the scripts that one imports.
    fn imports(text: &str) -> Vec<&str> {
        let from = text.split("from \"./").skip(1);
        from.filter_map(|rest| rest.split('"').next()).collect()
    }

    /// Follows every import: back to a script on the way is a circle.
    fn follow<'a>(name: &'a str, way: &mut Vec<&'a str>) {
        assert!(!way.contains(&name), "a circle of imports: {} -> {name}", way.join(" -> "));
        let (.., text) = ASSETS.iter().find(|a| a.0 == name).unwrap_or_else(|| panic!("{name} is no asset"));
        way.push(name);
        imports(text).into_iter().for_each(|next| follow(next, way));
        way.pop();
    }

    #[test]
    fn no_circle_of_imports_and_no_script_left_over() {
        follow("main.js", &mut Vec::new());
        for (name, ..) in ASSETS.iter().filter(|a| a.1 == SCRIPT && a.0 != "main.js") {
            let is_used = ASSETS.iter().any(|(_, _, text)| imports(text).contains(name));
            assert!(is_used, "{name} is imported by none");
        }
    }
}
