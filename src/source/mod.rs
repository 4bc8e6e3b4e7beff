//! Where a value came from, and how text is taken from a file: the place named in errors, the limits on what is read,
//! and the nearest known word for a mistyped one.

mod date;
mod fault;
mod ledger;
mod sheet;
mod spelled;
mod tabular;
mod text;
mod words;
#[cfg(feature = "xlsx")]
mod workbook;

pub use date::CalendarDate;
pub use fault::{Fault, Located};
pub(crate) use ledger::FORMULA;
pub use ledger::{Added, Ledger, LedgerError, Lines, guarded, unguarded};
pub(crate) use sheet::NEVER_WORKED_OUT;
use sheet::column_letters;
pub use sheet::{Row, Sheet};
pub use spelled::{Spelled, as_it_looks};
pub use tabular::{TableContent, Tabular, sheet_of};
use text::text_from;
pub use text::{table_text, text_of};
pub(crate) use words::words;
pub use words::{UnknownWord, did_you_mean, folded, nearest, same_word, substances_of, without_brackets};

use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::collections::BTreeSet;
use std::fmt;
use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::Mutex;

/// Whoever opens files: the disk, or something that lets out only some of it.
pub trait Files: Sync {
    /// A file of at most [`MAX_FILE_BYTES`] as it stands.
    ///
    /// # Errors
    /// [`ReadError`], of the kinds that do not ask for text.
    fn bytes(&self, path: &Path) -> Result<Vec<u8>, ReadError>;

    /// The text of a file.
    ///
    /// # Errors
    /// [`ReadError`], one kind for each thing that can be wrong with a file.
    fn read(&self, path: &Path) -> Result<String, ReadError> {
        text_from(self.bytes(path)?, path.display().to_string())
    }

    /// Where a file really lies, so that two names of one file are known for what they are.
    ///
    /// # Errors
    /// When the system cannot tell.
    fn real(&self, path: &Path) -> std::io::Result<PathBuf> {
        Ok(path.to_owned())
    }
}

/// Every file of the disk that the system lets the program read.
#[derive(Debug, Clone, Copy)]
pub struct Disk;

impl Files for Disk {
    fn bytes(&self, path: &Path) -> Result<Vec<u8>, ReadError> {
        read_bytes(path)
    }

    fn real(&self, path: &Path) -> std::io::Result<PathBuf> {
        path.canonicalize()
    }
}

/// Where a file looks for the files that it names.
#[derive(Clone, Copy)]
pub struct Beside<'a> {
    /// The folder in which names are looked up.
    pub folder: &'a Path,
    /// What opens them.
    pub files: &'a dyn Files,
}

impl<'a> Beside<'a> {
    /// Beside a file.
    pub fn of(file: &'a Path, files: &'a dyn Files) -> Self {
        Self { folder: file.parent().unwrap_or(Path::new("")), files }
    }

    /// The path of a file named here.
    pub fn path(&self, name: &str) -> PathBuf {
        self.folder.join(name)
    }
}

/// A file to be read: what opens it, or its text in hand, and where the files that it names lie.
#[derive(Clone, Copy)]
pub enum Source<'a> {
    /// A file. The files that it names are looked up beside it.
    File {
        /// Its path.
        path: &'a Path,
        /// What opens it, and those.
        files: &'a dyn Files,
    },
    /// A text.
    Text {
        /// The text.
        text: &'a str,
        /// What it is called in errors.
        name: &'a str,
        /// Where the files that it names are looked up.
        beside: Beside<'a>,
    },
}

impl<'a> Source<'a> {
    /// A text whose files lie in a folder of the disk.
    pub fn text(text: &'a str, name: &'a str, folder: &'a Path) -> Self {
        Self::Text { text, name, beside: Beside { folder, files: &Disk } }
    }

    /// A file that `files` opens.
    pub fn of(path: &'a Path, files: &'a dyn Files) -> Self {
        Self::File { path, files }
    }

    /// What it is called in errors.
    pub fn name(&self) -> String {
        match self {
            Self::File { path, .. } => path.display().to_string(),
            Self::Text { name, .. } => (*name).to_owned(),
        }
    }

    /// Opens it.
    ///
    /// # Errors
    /// [`ReadError`] when the file cannot be read.
    pub fn open(self) -> Result<Opened<'a>, ReadError> {
        let name = self.name();
        Ok(match self {
            Self::File { path, files } => {
                Opened { text: files.read(path)?.into(), name, beside: Beside::of(path, files) }
            }
            Self::Text { text, beside, .. } => Opened { text: text.into(), name, beside },
        })
    }
}

/// A file of the disk.
impl<'a, P: AsRef<Path> + ?Sized> From<&'a P> for Source<'a> {
    fn from(path: &'a P) -> Self {
        Self::File { path: path.as_ref(), files: &Disk }
    }
}

/// A file with its text.
pub struct Opened<'a> {
    /// The text.
    pub text: Cow<'a, str>,
    /// What it is called in errors.
    pub name: String,
    /// Where the files that it names are looked up.
    pub beside: Beside<'a>,
}

impl Opened<'_> {
    /// The same text, to be read by a further reader.
    pub fn source(&self) -> Source<'_> {
        Source::Text { text: &self.text, name: &self.name, beside: self.beside }
    }
}

/// A file and, where known, a line and a column (both counted from 1).
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Place {
    /// The file as the user named it.
    pub file: String,
    /// Line, from 1.
    pub line: Option<usize>,
    /// Column in characters, from 1; of a sheet of a workbook, which the file's name ends in, the place of the cell in its row.
    pub column: Option<usize>,
}

impl Place {
    /// A whole file.
    pub fn file(file: impl Into<String>) -> Self {
        Self { file: file.into(), ..Self::default() }
    }

    /// A line of a file.
    pub fn line(file: impl Into<String>, line: usize) -> Self {
        Self { file: file.into(), line: Some(line), ..Self::default() }
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
        if let (true, Some(row)) = (sheet_of(Path::new(&self.file)).1.is_some(), self.line) {
            return match self.column {
                Some(column) => write!(f, "!{}{row}", column_letters(column)),
                None => write!(f, ", row {row}"),
            };
        }
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
/// Pictures above this are refused.
pub const MAX_PICTURE_BYTES: u64 = 128 << 20;

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
    /// A picture of more than [`MAX_PICTURE_BYTES`].
    #[error("{file}: the picture is larger than {} MiB; save it as JPEG or PNG, or cut it", MAX_PICTURE_BYTES >> 20)]
    PictureTooLarge {
        /// The file.
        file: String,
    },
    /// More than [`MAX_FILE_BYTES`].
    #[error("{file}: the file is larger than {} MiB; a scrub file or a size table has some kilobytes, so this is probably another kind of file", MAX_FILE_BYTES >> 20)]
    TooLarge {
        /// The file as named.
        file: String,
    },
    /// Nothing but white space.
    #[error("{file}:1:1: the file is empty")]
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
    /// The file lies where whoever opens files does not go.
    #[error("{file}: lies outside the folder that is open here; copy the file into it")]
    Outside {
        /// The file as named.
        file: String,
    },
    /// A table that is no text either.
    #[error("{place}: not text from here on (a byte of zero); save the table as CSV or as .xlsx")]
    NotText {
        /// The first such byte.
        place: Place,
    },
    /// A workbook of a spreadsheet that cannot be taken.
    #[error("{file}: {why}")]
    Workbook {
        /// The file as named.
        file: String,
        /// What is wrong, and what would be right.
        why: String,
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
    read_hashed(path).map(|(text, _)| text)
}

/// As [`read_text`], with the SHA-256 of the very bytes that were read, in hexadecimal.
///
/// # Errors
/// As [`read_text`].
pub fn read_hashed(path: &Path) -> Result<(String, String), ReadError> {
    let file = path.display().to_string();
    let bytes = read_bytes(path)?;
    let hash = sha256_hex(&bytes);
    Ok((text_from(bytes, file)?, hash))
}

/// SHA-256 in hexadecimal (FIPS 180-4).
pub fn sha256_hex(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|b| format!("{b:02x}")).collect()
}

/// Reads a file of at most [`MAX_FILE_BYTES`] as it stands.
///
/// # Errors
/// [`ReadError`], of the kinds that do not ask for text.
pub fn read_bytes(path: &Path) -> Result<Vec<u8>, ReadError> {
    read_file(path, MAX_FILE_BYTES, |file| ReadError::TooLarge { file })
}

/// Reads a picture of at most [`MAX_PICTURE_BYTES`].
///
/// # Errors
/// [`ReadError`], of the kinds that do not ask for text.
pub fn read_picture(path: &Path) -> Result<Vec<u8>, ReadError> {
    let bytes = read_file(path, MAX_PICTURE_BYTES, |file| ReadError::PictureTooLarge { file })?;
    if bytes.is_empty() { Err(ReadError::Empty { file: path.display().to_string() }) } else { Ok(bytes) }
}

fn read_file(path: &Path, most: u64, too_large: fn(String) -> ReadError) -> Result<Vec<u8>, ReadError> {
    let file = path.display().to_string();
    let io = |cause| io_error(&file, cause);
    let meta = fs::metadata(path).map_err(io)?;
    if meta.is_dir() {
        return Err(ReadError::Folder { file });
    }
    if meta.len() > most {
        return Err(too_large(file));
    }
    let bytes = read_most(fs::File::open(path).map_err(io)?, &file, most, too_large)?;
    if let (Ok(mut read), Ok(real)) = (READ.lock(), path.canonicalize()) {
        read.insert(real);
    }
    Ok(bytes)
}

/// Where all files lie that were read so far, however they were named.
static READ: Mutex<BTreeSet<PathBuf>> = Mutex::new(BTreeSet::new());

/// Whether this program has read the file at `path`: whoever writes asks, since a result never replaces what it rests on.
pub fn was_read(path: &Path) -> bool {
    let real = path.canonicalize();
    READ.lock().is_ok_and(|read| real.is_ok_and(|real| read.contains(&real)))
}

/// All bytes of an open file, of at most [`MAX_FILE_BYTES`]. `file` names it in errors.
///
/// # Errors
/// [`ReadError::TooLarge`] and [`ReadError::Io`].
pub fn read_bounded(open: impl Read, file: &str) -> Result<Vec<u8>, ReadError> {
    read_most(open, file, MAX_FILE_BYTES, |file| ReadError::TooLarge { file })
}

/// Stops at `most` bytes: a pipe or a growing file tells no honest length.
fn read_most<E: From<ReadError>>(
    open: impl Read,
    file: &str,
    most: u64,
    too_large: fn(String) -> E,
) -> Result<Vec<u8>, E> {
    let mut bytes = Vec::new();
    let mut limited = open.take(most + 1);
    limited.read_to_end(&mut bytes).map_err(|cause| ReadError::Io { file: file.to_owned(), cause })?;
    if bytes.len() as u64 > most { Err(too_large(file.to_owned())) } else { Ok(bytes) }
}

pub(crate) fn io_error(file: &str, cause: std::io::Error) -> ReadError {
    match cause.kind() {
        std::io::ErrorKind::NotFound => ReadError::Missing { file: file.to_owned() },
        _ => ReadError::Io { file: file.to_owned(), cause },
    }
}

/// Whether a character is not seen itself but acts on what is around it: control characters, and the marks that turn the
/// direction of writing or hide in it (Unicode Standard Annex 9, and the invisible ones of the block General Punctuation).
/// The two that join letters or keep them apart are part of how some languages are written.
pub fn acts(c: char) -> bool {
    let turns = matches!(
        c,
        '\u{61c}' | '\u{200b}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2060}'..='\u{2069}' | '\u{feff}'
    );
    is_unwritable(c) || turns
}

/// Whether a character has no place in a text on one line: control characters, and the two that XML cannot hold (XML 1.0, production 2).
fn is_unwritable(c: char) -> bool {
    c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}')
}

/// The longest name, in characters: what goes on a label or into a table.
pub const LONGEST_NAME: usize = 200;

/// What is wrong with a text that is to stand on one line, in words that go on from what it is.
pub fn wrong_in_line(text: &str) -> Option<String> {
    let found = text.chars().find(|c| is_unwritable(*c))?;
    Some(match found {
        '\u{fffe}' | '\u{ffff}' => format!("holds U+{:04X}, which is no character; leave it out", u32::from(found)),
        _ => "holds control characters; keep to plain text".to_owned(),
    })
}

/// As [`wrong_in_line`], of a name.
pub fn wrong_in_name(text: &str) -> Option<String> {
    let count = text.chars().count();
    let long = || (count > LONGEST_NAME).then(|| format!("has {count} characters; a name has {LONGEST_NAME} at most"));
    wrong_in_line(text).or_else(long)
}

/// A text to be shown, in a terminal or a document: what [`acts`] in it is written out, but for line ends and tabs.
pub fn legible(text: &str) -> Cow<'_, str> {
    let hidden = |c: char| acts(c) && c != '\n' && c != '\t';
    if !text.contains(hidden) {
        return Cow::Borrowed(text);
    }
    let shown = |c: char| if hidden(c) { format!("[U+{:04X}]", u32::from(c)) } else { c.to_string() };
    Cow::Owned(text.replace("\r\n", "\n").chars().map(shown).collect())
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
    fn what_acts_is_written_out() {
        assert_eq!(legible("Räucher\r\nPolish"), "Räucher\nPolish");
        assert_eq!(legible("a\u{202e}b\u{1b}[2J\tc"), "a[U+202E]b[U+001B][2J\tc");
        assert!(!acts('\u{200c}') && acts('\u{2066}') && acts('\r') && acts('\u{ffff}'));
    }

    #[test]
    fn hashes_of_the_standard() {
        // FIPS 180-4, examples of SHA-256: the message "abc", and the empty one.
        assert_eq!(sha256_hex(b"abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
        assert_eq!(sha256_hex(b""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    }
}
