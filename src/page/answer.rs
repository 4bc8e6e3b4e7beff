//! What a call is answered with: JSON or a file, or a refusal with the message that the command line would print.

use crate::files::ScrubFileError;
use crate::size::SizeError;
use crate::source::{Located, Place, ReadError};
use crate::tasks::TaskError;
use serde::Serialize;
use serde::de::DeserializeOwned;
use std::fmt;

pub(super) const JSON: &str = "application/json";

/// Whether whoever made a call still waits for its answer.
pub type IsWanted<'a> = &'a (dyn Fn() -> bool + Sync);

/// What goes back to whoever asked.
pub struct Reply {
    /// A number of HTTP, which the page's script knows both ways of asking by: 200, or that of a refusal.
    pub status: u16,
    /// The media type of the bytes.
    pub media: &'static str,
    /// JSON in UTF-8, or a file.
    pub bytes: Vec<u8>,
}

impl Reply {
    /// A file, or anything else that was made.
    pub(super) fn of(media: &'static str, bytes: Vec<u8>) -> Self {
        Self { status: 200, media, bytes }
    }

    /// An answer as JSON.
    pub(super) fn json(answer: &impl Serialize) -> Result<Self, Refusal> {
        let bytes = serde_json::to_vec(answer);
        bytes.map(|bytes| Self::of(JSON, bytes)).map_err(|e| Refusal::failed(e.to_string()))
    }
}

impl From<Refusal> for Reply {
    fn from(refusal: Refusal) -> Self {
        // Texts and numbers can always be written.
        let bytes = serde_json::to_vec(&refusal).unwrap_or_default();
        Self { status: refusal.kind as u16, media: JSON, bytes }
    }
}

/// What a body says.
pub(super) fn body<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Refusal> {
    let wrong = |e| Refusal::malformed(format!("the body is not what this call takes: {e}"));
    serde_json::from_slice(bytes).map_err(wrong)
}

/// Kinds of refusals, with the numbers of HTTP.
#[derive(Debug, Clone, Copy)]
enum RefusalKind {
    /// No such call, or a body that it does not take.
    Malformed = 400,
    /// There is no such file.
    Missing = 404,
    /// The folder does not hold what was expected.
    Conflict = 409,
    /// The input is wrong.
    Wrong = 422,
    /// The machine could not do it.
    Failed = 500,
}

/// Why a request is not done.
#[derive(Debug, Serialize)]
pub(super) struct Refusal {
    #[serde(skip)]
    kind: RefusalKind,
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

impl Refusal {
    fn new(kind: RefusalKind, error: impl Into<String>) -> Self {
        Self { kind, error: error.into(), file: None, line: None, column: None, disk: None }
    }

    /// No such call, or one that says something else than it takes.
    pub fn malformed(error: impl Into<String>) -> Self {
        Self::new(RefusalKind::Malformed, error)
    }

    /// The input is wrong.
    pub fn wrong(error: impl Into<String>) -> Self {
        Self::new(RefusalKind::Wrong, error)
    }

    /// The disk does not hold what was expected.
    pub fn conflict(error: String, disk: Option<String>) -> Self {
        Self { disk: Some(disk), ..Self::new(RefusalKind::Conflict, error) }
    }

    /// The machine could not do it.
    pub fn failed(error: impl Into<String>) -> Self {
        Self::new(RefusalKind::Failed, error)
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
        let kind = match e {
            ReadError::Missing { .. } => RefusalKind::Missing,
            _ => RefusalKind::Wrong,
        };
        let refusal = Self::new(kind, e.to_string());
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
