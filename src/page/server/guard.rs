//! Who may ask. A browser on this machine can be sent here by any site; what such a request cannot have is the token, nor,
//! after a name was pointed at this machine (DNS rebinding), this server's own name as its host.

use super::Served;
use super::wire::turned_away;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderName, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::Response;
use std::sync::Arc;

pub(super) const TOKEN: &str = "x-gritwise-token";

/// What the browser is told to hold the page to: nothing from elsewhere, no inline script, no frame, no form.
const HEADERS: [(HeaderName, &str); 7] = [
    (
        header::CONTENT_SECURITY_POLICY,
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; base-uri 'none'; \
         form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'",
    ),
    (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
    (header::X_FRAME_OPTIONS, "DENY"),
    (header::REFERRER_POLICY, "no-referrer"),
    (header::CACHE_CONTROL, "no-store"),
    (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
];

/// Before every request: its host, its origin, and for the API its token. After it: the headers.
pub(super) async fn guard(State(served): State<Arc<Served>>, request: Request, next: Next) -> Response {
    let mut response = match check(&served, &request) {
        Ok(()) => next.run(request).await,
        Err((status, problem)) => turned_away(status, problem),
    };
    for (name, value) in HEADERS {
        response.headers_mut().insert(name, HeaderValue::from_static(value));
    }
    response
}

fn check(served: &Served, request: &Request) -> Result<(), (StatusCode, String)> {
    let headers = request.headers();
    let elsewhere = |what| Err((StatusCode::FORBIDDEN, format!("{what}: this page answers to this machine only")));
    if !one(headers, header::HOST).is_some_and(|host| names(host, served.port)) {
        return elsewhere("another host is named");
    }
    if !request.uri().path().starts_with("/api/") {
        let reads = [Method::GET, Method::HEAD].contains(request.method());
        return if reads {
            Ok(())
        } else {
            Err((StatusCode::METHOD_NOT_ALLOWED, "the page itself is only read".to_owned()))
        };
    }
    let from_here = |origin: &str| origin.strip_prefix("http://").is_some_and(|host| names(host, served.port));
    if headers.contains_key(header::ORIGIN) && !one(headers, header::ORIGIN).is_some_and(from_here) {
        return elsewhere("the request comes from another site");
    }
    match one(headers, HeaderName::from_static(TOKEN)) {
        Some(token) if same(token, &served.token) => Ok(()),
        _ => Err((
            StatusCode::UNAUTHORIZED,
            "the token is missing or old; open the address that gritwise printed when it started".to_owned(),
        )),
    }
}

/// A header that stands exactly once.
fn one(headers: &HeaderMap, name: HeaderName) -> Option<&str> {
    let mut all = headers.get_all(name).iter();
    match (all.next(), all.next()) {
        (Some(value), None) => value.to_str().ok(),
        _ => None,
    }
}

/// Compares without telling by its time how much was right.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |off, (x, y)| off | (x ^ y)) == 0
}

/// Whether a host is the loopback address at a port; browsers leave out port 80.
fn names(host: &str, port: u16) -> bool {
    let (name, named) = host.rsplit_once(':').map_or((host, Some(80)), |(name, port)| (name, port.parse().ok()));
    ["127.0.0.1", "localhost"].contains(&name) && named == Some(port)
}

#[cfg(test)]
mod tests {
    use super::names;

    #[test]
    fn a_host_without_a_port_is_at_80() {
        assert!(names("127.0.0.1", 80) && names("localhost:80", 80) && names("localhost:8080", 8080));
        assert!(!names("127.0.0.1", 8080) && !names("127.0.0.1:80", 8080) && !names("evil.example", 80));
        assert!(!names("127.0.0.1:", 80) && !names("127.0.0.1:x", 80));
    }
}
