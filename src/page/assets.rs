//! The page itself, embedded.

use super::answer::Refusal;
use axum::extract::Path;
use axum::http::StatusCode;
use axum::http::header::CONTENT_TYPE;
use axum::response::{IntoResponse, Response};

const HTML: &str = "text/html; charset=utf-8";
const CSS: &str = "text/css; charset=utf-8";
const SCRIPT: &str = "text/javascript; charset=utf-8";
const SVG: &str = "image/svg+xml";

/// Name, kind and text.
const ASSETS: [(&str, &str, &str); 22] = [
    ("page.css", CSS, include_str!("assets/page.css")),
    ("parts.css", CSS, include_str!("assets/parts.css")),
    ("result.css", CSS, include_str!("assets/result.css")),
    ("strips.css", CSS, include_str!("assets/strips.css")),
    ("mark.svg", SVG, include_str!("assets/mark.svg")),
    ("main.js", SCRIPT, include_str!("assets/main.js")),
    ("call.js", SCRIPT, include_str!("assets/call.js")),
    ("make.js", SCRIPT, include_str!("assets/make.js")),
    ("talk.js", SCRIPT, include_str!("assets/talk.js")),
    ("bench.js", SCRIPT, include_str!("assets/bench.js")),
    ("controls.js", SCRIPT, include_str!("assets/controls.js")),
    ("powders.js", SCRIPT, include_str!("assets/powders.js")),
    ("grade.js", SCRIPT, include_str!("assets/grade.js")),
    ("tables.js", SCRIPT, include_str!("assets/tables.js")),
    ("grains.js", SCRIPT, include_str!("assets/grains.js")),
    ("strips.js", SCRIPT, include_str!("assets/strips.js")),
    ("kept.js", SCRIPT, include_str!("assets/kept.js")),
    ("sure.js", SCRIPT, include_str!("assets/sure.js")),
    ("seek.js", SCRIPT, include_str!("assets/seek.js")),
    ("files.js", SCRIPT, include_str!("assets/files.js")),
    ("takeaway.js", SCRIPT, include_str!("assets/takeaway.js")),
    ("verdict.js", SCRIPT, include_str!("assets/verdict.js")),
];

pub(super) async fn index() -> Response {
    ([(CONTENT_TYPE, HTML)], include_str!("assets/index.html")).into_response()
}

pub(super) async fn asset(Path(name): Path<String>) -> Result<Response, Refusal> {
    match ASSETS.iter().find(|a| a.0 == name) {
        Some((_, kind, text)) => Ok(([(CONTENT_TYPE, *kind)], *text).into_response()),
        None => Err(Refusal::new(StatusCode::NOT_FOUND, format!("{name}: the page has no such part"))),
    }
}
