//! What the server answers: JSON, or a refusal with a status and the message that the command line would print.

use crate::files::ScrubFileError;
use crate::size::SizeError;
use crate::source::{Located, MAX_FILE_BYTES, Place, ReadError};
use crate::tasks::TaskError;
use axum::extract::{FromRequest, Request};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fmt;

/// Why a request is not done.
#[derive(Debug, Serialize)]
pub(super) struct Refusal {
    #[serde(skip)]
    status: StatusCode,
    error: String,
    #[serde(skip_serializing_if = "Option::is_none")]
    file: Option<String>,
    #[serde(skip_serializing_if = "Option::is_none")]
    line: Option<usize>,
    #[serde(skip_serializing_if = "Option::is_none")]
    column: Option<usize>,
    /// What the disk holds instead of what was expected.
    #[serde(skip_serializing_if = "Option::is_none")]
    disk: Option<Option<String>>,
}

pub(super) type Answer<T> = Result<axum::Json<T>, Refusal>;

impl Refusal {
    pub fn new(status: StatusCode, error: impl Into<String>) -> Self {
        Self { status, error: error.into(), file: None, line: None, column: None, disk: None }
    }

    /// The input is wrong.
    pub fn wrong(error: impl Into<String>) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, error)
    }

    /// The disk does not hold what was expected.
    pub fn conflict(error: String, disk: Option<String>) -> Self {
        Self { disk: Some(disk), ..Self::new(StatusCode::CONFLICT, error) }
    }

    /// The machine could not do it.
    pub fn failed(error: impl Into<String>) -> Self {
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, error)
    }

    /// With the file that it is about.
    pub fn about(mut self, file: &str) -> Self {
        self.file = Some(file.to_owned());
        self
    }

    fn at(mut self, place: &Place) -> Self {
        self.file = Some(place.file.clone());
        self.line = place.line;
        self.column = place.column;
        self
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.error)
    }
}

impl From<ReadError> for Refusal {
    fn from(e: ReadError) -> Self {
        let status = match e {
            ReadError::Missing { .. } => StatusCode::NOT_FOUND,
            _ => StatusCode::UNPROCESSABLE_ENTITY,
        };
        let refusal = Self::new(status, e.to_string());
        match e {
            ReadError::NotUtf8 { place } | ReadError::NotText { place } => refusal.at(&place),
            _ => refusal,
        }
    }
}

impl From<ScrubFileError> for Refusal {
    fn from(e: ScrubFileError) -> Self {
        let text = e.to_string();
        match e {
            ScrubFileError::Read(e) => e.into(),
            ScrubFileError::Value(Located { place, .. }) | ScrubFileError::SizeTable { place, .. } => {
                Self::wrong(text).at(&place)
            }
        }
    }
}

impl From<TaskError> for Refusal {
    fn from(e: TaskError) -> Self {
        match e {
            TaskError::File(e) => e.into(),
            TaskError::Read(e) => e.into(),
            TaskError::Picture(e) => Self::failed(e.to_string()),
            e => Self::wrong(e.to_string()),
        }
    }
}

impl From<SizeError> for Refusal {
    fn from(e: SizeError) -> Self {
        let text = e.to_string();
        match e {
            SizeError::Table(Located { place, .. }) => Self::wrong(text).at(&place),
            _ => Self::wrong(text),
        }
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.status, axum::Json(self)).into_response()
    }
}

/// Largest body of a call, bytes: a scrub of six powders, each with a table as large as any file may be, and room for what JSON makes
/// longer.
pub(super) const MOST_BYTES: usize = (6 + 2) * MAX_FILE_BYTES as usize;

fn too_large() -> Refusal {
    let problem = format!(
        "these scrubs and the size tables that are not in the folder yet come to more than {} MiB, the most that is taken at \
         once; one table may have {} MiB: save the scrub with its tables first",
        MOST_BYTES >> 20,
        MAX_FILE_BYTES >> 20
    );
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, problem)
}

/// A JSON body; one that cannot be read is refused in the server's own way.
pub(super) struct Body<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Body<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, state: &S) -> Result<Self, Refusal> {
        match axum::Json::from_request(request, state).await {
            Ok(axum::Json(value)) => Ok(Self(value)),
            Err(e) if e.status() == StatusCode::UNPROCESSABLE_ENTITY => {
                Err(Refusal::new(StatusCode::BAD_REQUEST, e.body_text()))
            }
            Err(e) if e.status() == StatusCode::PAYLOAD_TOO_LARGE => Err(too_large()),
            Err(e) => Err(Refusal::new(e.status(), e.body_text())),
        }
    }
}
