//! Where a value came from, and how text is taken from a file: the place named in errors, the limits on what is read,
//! and the nearest known word for a mistyped one.

use std::fmt;
use std::fs;
use std::io::Read;
use std::path::Path;

/// A file and, where known, a line and a column (both counted from 1).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// The file as the user named it.
    pub file: String,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column in characters, from 1.
    pub column: Option<usize>,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self { file: file.into(), line: None, column: None }
    }

    /// A line of a file.
    pub fn line(file: impl Into<String>, line: usize) -> Self {
        Self { file: file.into(), line: Some(line), column: None }
    }

    /// The place of byte `offset` in `text`.
    pub fn at_byte(file: impl Into<String>, text: &str, offset: usize) -> Self {
        let mut end = offset.min(text.len());
        while !text.is_char_boundary(end) {
            end -= 1;
        }
        let before = &text[..end];
        let line = before.matches('\n').count() + 1;
        let column = before.rsplit('\n').next().unwrap_or(before).chars().count() + 1;
        Self { file: file.into(), line: Some(line), column: Some(column) }
    }
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if let Some(line) = self.line {
            write!(f, ":{line}")?;
            if let Some(column) = self.column {
                write!(f, ":{column}")?;
            }
        }
        Ok(())
    }
}

/// The most that is read from one file. A scrub file has a few kilobytes and a laser table a hundred; anything near
/// this is a file of another kind.
pub const MAX_FILE_BYTES: u64 = 8 << 20;

/// Why a file could not be taken as text.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The file is not there.
    #[error("{file}: no such file; check the name and the folder")]
    Missing {
        /// The file as named.
        file: String,
    },
    /// A folder stands where a file is wanted.
    #[error("{file}: this is a folder; name a file inside it")]
    Folder {
        /// The path as named.
        file: String,
    },
    /// More than [`MAX_FILE_BYTES`].
    #[error("{file}: the file is larger than {} MiB; a scrub file or a size table has some kilobytes, so this is probably another kind of file", MAX_FILE_BYTES >> 20)]
    TooLarge {
        /// The file as named.
        file: String,
    },
    /// Nothing but white space.
    #[error("{file}: the file is empty")]
    Empty {
        /// The file as named.
        file: String,
    },
    /// Bytes that are not UTF-8.
    #[error("{place}: not UTF-8 text from here on; save the file as UTF-8 (or plain ASCII) and try again")]
    NotUtf8 {
        /// The first bad byte.
        place: Place,
    },
    /// The system refused.
    #[error("{file}: cannot be read: {cause}")]
    Io {
        /// The file as named.
        file: String,
        /// What the system said.
        cause: std::io::Error,
    },
}

/// Reads a text file of at most [`MAX_FILE_BYTES`]. A byte-order mark is dropped.
///
/// # Errors
/// [`ReadError`], one kind for each thing that can be wrong with a file.
pub fn read_text(path: &Path) -> Result<String, ReadError> {
    let file = path.display().to_string();
    let bytes = read_bytes(path, &file)?;
    let text = String::from_utf8(bytes).map_err(|e| {
        let good = e.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(&e.as_bytes()[..good]);
        ReadError::NotUtf8 { place: Place::at_byte(file.clone(), &before, good) }
    })?;
    let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
    if text.trim().is_empty() {
        return Err(ReadError::Empty { file });
    }
    Ok(text)
}

fn read_bytes(path: &Path, file: &str) -> Result<Vec<u8>, ReadError> {
    let io = |cause: std::io::Error| match cause.kind() {
        std::io::ErrorKind::NotFound => ReadError::Missing { file: file.to_owned() },
        _ => ReadError::Io { file: file.to_owned(), cause },
    };
    let meta = fs::metadata(path).map_err(io)?;
    if meta.is_dir() {
        return Err(ReadError::Folder { file: file.to_owned() });
    }
    if meta.len() > MAX_FILE_BYTES {
        return Err(ReadError::TooLarge { file: file.to_owned() });
    }
    // A pipe or a growing file tells no honest length, so the read itself is bounded too.
    let mut bytes = Vec::new();
    let mut limited = fs::File::open(path).map_err(io)?.take(MAX_FILE_BYTES + 1);
    limited.read_to_end(&mut bytes).map_err(io)?;
    if bytes.len() as u64 > MAX_FILE_BYTES {
        return Err(ReadError::TooLarge { file: file.to_owned() });
    }
    Ok(bytes)
}

/// The known word nearest to `word`, if one is near enough to be what was meant.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted = word.to_lowercase();
    known
        .into_iter()
        .map(|k| (k, strsim::jaro_winkler(&wanted, &k.to_lowercase())))
        .filter(|&(_, likeness)| likeness >= 0.7)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(k, _)| k)
}

/// `; did you mean …?` for the nearest known word, or a list of a few known words.
pub fn did_you_mean<'a>(word: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> String {
    match nearest(word, known.clone()) {
        Some(k) => format!("did you mean \"{k}\"?"),
        None => {
            let all: Vec<&str> = known.into_iter().collect();
            let shown = all.iter().take(12).copied().collect::<Vec<_>>().join(", ");
            let more = if all.len() > 12 { ", …" } else { "" };
            format!("known: {shown}{more}")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn place_counts_lines_and_characters() {
        let text = "a = 1\nµ = 2\n";
        let place = Place::at_byte("f.toml", text, text.find('2').unwrap());
        assert_eq!(place.to_string(), "f.toml:2:5");
        assert_eq!(Place::at_byte("f", text, 9999).line, Some(3));
    }

    #[test]
    fn nearest_word() {
        assert_eq!(nearest("prats", ["parts", "name"]), Some("parts"));
        assert_eq!(nearest("ricebran", ["rice-bran", "olive-stone"]), Some("rice-bran"));
        assert_eq!(nearest("qqq", ["parts", "name"]), None);
    }
}
