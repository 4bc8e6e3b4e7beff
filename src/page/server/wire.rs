//! Calls as they come over HTTP. What one of them works out runs beside the server's own threads; a call that fails in a way nobody
//! foresaw is an answer too.

use super::Served;
use crate::page::answer::{JSON, Refusal, Reply};
use crate::source::MAX_FILE_BYTES;
use axum::Json;
use axum::body::to_bytes;
use axum::extract::{Request, State};
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode};
use axum::response::{IntoResponse, Response};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use tokio::task::JoinHandle;

/// Largest body of a call, bytes: a scrub of six powders, each with a table as large as any file may be, and room for what JSON makes
/// longer; or a dozen photographs of a phone, or one of 20 megapixels as PNG.
const MOST_BYTES: usize = (6 + 2) * MAX_FILE_BYTES as usize;

/// A request that never becomes a call.
pub(super) fn turned_away(status: StatusCode, error: impl Into<String>) -> Response {
    (status, Json(serde_json::json!({ "error": error.into() }))).into_response()
}

/// Work that waits for its turn or is done; whoever asked for it and has gone does not need it any more. Not begun, it never is;
/// once begun, draws and searches end where they next ask, and what is short runs to its end.
struct WaitingWork {
    work: JoinHandle<Reply>,
    is_gone: Arc<AtomicBool>,
}

impl Drop for WaitingWork {
    fn drop(&mut self) {
        self.is_gone.store(true, Ordering::Relaxed);
        self.work.abort();
    }
}

/// Any call of the API.
pub(super) async fn call(State(served): State<Arc<Served>>, request: Request) -> Response {
    let (head, sent) = request.into_parts();
    let asked = head.uri.path_and_query().map(|path| path.as_str().trim_start_matches("/api/1/").to_owned());
    let asked = asked.unwrap_or_default();
    let of = Sent::by(&asked);
    let body = match head.method {
        Method::GET | Method::HEAD => None,
        Method::POST if !of.is_named_by(&head.headers) => {
            let problem = format!("the body is to be sent as {}", of.media());
            return turned_away(StatusCode::UNSUPPORTED_MEDIA_TYPE, problem);
        }
        Method::POST => match to_bytes(sent, MOST_BYTES).await {
            Ok(body) => Some(body),
            Err(_) => return of.too_large(),
        },
        _ => return turned_away(StatusCode::BAD_REQUEST, "this call is made another way"),
    };
    let is_file = asked.starts_with("download/");
    let is_gone = Arc::<AtomicBool>::default();
    let gone = Arc::clone(&is_gone);
    let work = move || served.page.answer_while(&asked, body.as_deref(), &|| !gone.load(Ordering::Relaxed));
    let mut waiting = WaitingWork { work: tokio::task::spawn_blocking(work), is_gone };
    let done = (&mut waiting.work).await;
    let failed = || Refusal::failed("this could not be worked out; please report what was asked").into();
    let Reply { status, media, bytes } = done.unwrap_or_else(|_| failed());
    let status = StatusCode::from_u16(status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let mut response = (status, [(CONTENT_TYPE, media)], bytes).into_response();
    if is_file {
        response.headers_mut().insert(CONTENT_DISPOSITION, HeaderValue::from_static("attachment"));
    }
    response
}

/// What the body of a call is.
#[derive(Clone, Copy, PartialEq)]
enum Sent {
    Json,
    /// A line of JSON, then the bytes of pictures.
    Photographs,
}

impl Sent {
    fn by(call: &str) -> Self {
        if call == "grains" { Self::Photographs } else { Self::Json }
    }

    fn media(self) -> &'static str {
        match self {
            Self::Json => JSON,
            Self::Photographs => "application/octet-stream",
        }
    }

    fn is_named_by(self, headers: &HeaderMap) -> bool {
        let kind = headers.get(CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
        kind.split(';').next().is_some_and(|kind| kind.trim().eq_ignore_ascii_case(self.media()))
    }

    fn too_large(self) -> Response {
        let (most, of_file) = (MOST_BYTES >> 20, MAX_FILE_BYTES >> 20);
        let problem = match self {
            Self::Json => format!(
                "these scrubs and the size tables that are not in the folder yet come to more than {most} MiB, the most that is \
                 taken at once; one table may have {of_file} MiB: save the scrub with its tables first"
            ),
            Self::Photographs => format!(
                "the photographs come to more than {most} MiB, the most that is taken at once: save them as JPEG, or take fewer"
            ),
        };
        turned_away(StatusCode::PAYLOAD_TOO_LARGE, problem)
    }
}
