//! The folder that the page works in, wherever it is kept, and what may be read and written in it. Of two makers: the server opens
//! one of the disk, the module without a server keeps one in memory.

use super::answer::Refusal;
use super::draft::{Draft, TableText};
use crate::source::{Files, ReadError, acts, legible};
use std::fmt::Display;
use std::io;
use std::path::{Component, Path};

/// How scrub files and size tables end.
pub(super) const SCRUB_ENDINGS: [&str; 1] = ["toml"];
/// Tables that the page writes.
pub(super) const TABLE_ENDINGS: [&str; 3] = ["csv", "tsv", "txt"];
/// Tables that it reads.
pub(super) const READ_ENDINGS: [&str; 4] = ["csv", "tsv", "txt", "xlsx"];
/// The byte-order mark that some editors put in front.
const MARK: [u8; 3] = *b"\xef\xbb\xbf";
/// Longest name of a new file.
const LONGEST_NAME: usize = 200;
/// Names that a system keeps for its devices, whatever ending they have (naming files, Windows).
const RESERVED: [&str; 4] = ["con", "prn", "aux", "nul"];
/// The same with a number from 1 to 9 behind.
const RESERVED_NUMBERED: [&str; 2] = ["com", "lpt"];

/// Where the files of the page are. Nothing outside it is read or written, whatever dots or links a name holds.
pub(super) trait Folder: Files + Send {
    /// Names of what lies in the folder itself, sorted, those with a dot in front left out: what a name that is no text
    /// looks like is an error.
    fn names(&self) -> io::Result<Vec<Result<String, String>>>;

    /// Whether a name is that of a plain file that may be read here.
    ///
    /// # Errors
    /// Why it may not.
    fn is_file(&self, name: &str) -> Result<bool, ReadError>;

    /// Whether a plain file stands under a name.
    ///
    /// # Errors
    /// What stands there instead, or why that cannot be told.
    fn has(&self, name: &str) -> Result<bool, Refusal>;

    /// Writes files: all of them, or none. The one that replaces another, if any, comes last.
    fn write(&self, files: &[Writing]) -> Result<(), Refusal>;
}

/// A file to be written.
pub(super) struct Writing<'a> {
    /// Its name, in the folder itself.
    pub name: &'a str,
    pub bytes: Vec<u8>,
    /// A file of the name is there and is replaced; else none may be there.
    pub replaces: bool,
}

/// What is said of a file that the system does not let be written.
pub(super) fn not_written(name: &str, cause: impl Display) -> Refusal {
    Refusal::failed(format!("{name}: cannot be written: {cause}"))
}

/// The name itself, or with a number where a file of the folder or one of `others` has it; the same text may share it.
pub(super) fn free_name(
    folder: &dyn Folder,
    name: &str,
    text: Option<&str>,
    others: &[TableText],
) -> Result<String, Refusal> {
    let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "csv"));
    let numbered = (2..100).map(|i| format!("{stem}-{i}.{ending}"));
    let fits = |name: &String| {
        let here = match folder.read(Path::new(name)) {
            Ok(there) => text == Some(&there),
            Err(e) => matches!(e, ReadError::Missing { .. }),
        };
        here && others.iter().all(|t| t.name != *name || text == Some(&t.text))
    };
    let free = std::iter::once(name.to_owned()).chain(numbered).find(fits);
    free.ok_or_else(|| Refusal::wrong(format!("{name}: the folder is full of files of this name; give it another")))
}

/// Whether a draft can be written under a name: a file that is there keeps the name that it has.
pub(super) fn check_target(name: &str, base: Option<&str>) -> Result<(), Refusal> {
    match base {
        Some(_) => check_here(name, &SCRUB_ENDINGS),
        None => check_name(name, &SCRUB_ENDINGS, "river-polish.toml"),
    }
}

/// Writes a draft, whose name was checked, and the tables that go with it. `base` is what the file held when the draft began; `None`
/// for a file that must not be there yet. Whoever calls sees to it that nobody else writes meanwhile.
pub(super) fn save(folder: &dyn Folder, draft: &Draft, base: Option<&str>) -> Result<(), Refusal> {
    check_unchanged(folder, &draft.file, base)?;
    let mut files = Vec::new();
    for TableText { name, text } in &draft.tables {
        match held(folder, name)? {
            Some(there) if there == *text => (),
            Some(_) => return Err(taken(name)),
            None => {
                check_name(name, &TABLE_ENDINGS, "lot-7.csv")?;
                files.push(Writing { name, bytes: text.clone().into_bytes(), replaces: false });
            }
        }
    }
    let bytes = marked(folder, &draft.file, &draft.text);
    files.push(Writing { name: &draft.file, bytes, replaces: base.is_some() });
    folder.write(&files)
}

/// A text as it stands in the place of a file: with its byte-order mark, if that has one.
fn marked(folder: &dyn Folder, name: &str, text: &str) -> Vec<u8> {
    let has_mark = folder.bytes(Path::new(name)).is_ok_and(|old| old.starts_with(&MARK));
    let mark: &[u8] = if has_mark { &MARK } else { &[] };
    [mark, text.as_bytes()].concat()
}

fn check_unchanged(folder: &dyn Folder, name: &str, base: Option<&str>) -> Result<(), Refusal> {
    let disk = held(folder, name)?;
    if disk.as_deref() == base {
        return Ok(());
    }
    let problem = match (base, &disk) {
        (Some(_), Some(_)) => "the file changed on disk since it was opened here; nothing was written",
        (Some(_), None) => "the file is not there any more; nothing was written",
        (None, _) => "a file of this name is there already; nothing was written",
    };
    Err(Refusal::conflict(format!("{name}: {problem}"), disk))
}

/// What a file holds, but for a byte-order mark; `None` when there is none.
pub(super) fn held(folder: &dyn Folder, name: &str) -> Result<Option<String>, Refusal> {
    if !folder.has(name)? {
        return Ok(None);
    }
    match folder.read(Path::new(name)) {
        Err(ReadError::Empty { .. }) => Ok(Some(String::new())),
        other => Ok(Some(other?)),
    }
}

fn taken(name: &str) -> Refusal {
    Refusal::wrong(format!(
        "{name}: the folder holds another table of this name already; nothing was written: give the table in hand \
         another name, or put the other one elsewhere"
    ))
    .about(name)
}

/// A name for a new file in the folder itself that every system takes, with one of these endings.
pub(super) fn check_name(name: &str, endings: &[&str], example: &str) -> Result<(), Refusal> {
    let odd = |c: char| acts(c) || "/\\:*?\"<>|".contains(c);
    let plain =
        !name.starts_with(['.', ' ']) && !name.contains(odd) && name.len() <= LONGEST_NAME && !is_reserved(name);
    if plain && ends(name, endings) {
        return Ok(());
    }
    let (name, endings) = (legible(name), endings.join(", ."));
    Err(Refusal::wrong(format!(
        "\"{name}\" is no name for a new file here; give a plain name that ends in .{endings}, such as {example}"
    )))
}

/// Whether some system keeps a name for a device: con.toml, LPT1.csv.
fn is_reserved(name: &str) -> bool {
    let stem = name.split('.').next().unwrap_or_default().trim_end().to_lowercase();
    let numbered = |word: &&str| stem.strip_prefix(*word).is_some_and(|n| matches!(n.as_bytes(), [b'1'..=b'9']));
    RESERVED.contains(&stem.as_str()) || RESERVED_NUMBERED.iter().any(numbered)
}

/// A name that a file of the folder itself can have, with one of these endings.
pub(super) fn check_here(name: &str, endings: &[&str]) -> Result<(), Refusal> {
    let mut parts = Path::new(name).components();
    let one = matches!((parts.next(), parts.next()), (Some(Component::Normal(part)), None) if part == name);
    if one && ends(name, endings) {
        return Ok(());
    }
    let (name, endings) = (legible(name), endings.join(", ."));
    Err(Refusal::wrong(format!("\"{name}\" is no file of this folder; name one that ends in .{endings}")))
}

/// Whether a name has one of these endings, which are in lower case.
pub(super) fn ends(name: &str, endings: &[&str]) -> bool {
    name.rsplit_once('.').is_some_and(|(_, ending)| endings.contains(&ending.to_lowercase().as_str()))
}
