//! The folder that the page works in. Nothing outside it is read or written, whatever dots or links a name holds: files are
//! opened beneath it by `cap-std`.

use super::answer::Refusal;
use super::draft::{Draft, TableText};
use crate::source::{Files, ReadError, acts, io_error, legible, read_bounded};
use cap_std::ambient_authority;
use cap_std::fs::{Dir, DirEntry, OpenOptions};
use std::io::{self, ErrorKind, Read, Write};
use std::path::{Component, Path};
use std::sync::{Mutex, PoisonError};

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
/// How files begin and end that are being written.
const PART: (&str, &str) = (".gritwise-", ".part");

pub(super) struct Workshop {
    dir: Dir,
    /// One save at a time: what is compared must still hold when the file is put in its place.
    saving: Mutex<()>,
}

impl Workshop {
    pub fn open(folder: &Path) -> io::Result<Self> {
        let workshop = Self { dir: Dir::open_ambient_dir(folder, ambient_authority())?, saving: Mutex::new(()) };
        workshop.clear_parts();
        Ok(workshop)
    }

    /// Takes away what a crash left half written. What cannot be taken away stays: it hinders nobody.
    fn clear_parts(&self) {
        let names = self.dir.entries().into_iter().flatten().flatten().map(|entry| entry.file_name());
        let is_part = |name: &str| name.starts_with(PART.0) && name.ends_with(PART.1);
        for name in names.filter(|name| name.to_str().is_some_and(is_part)) {
            let _ = self.dir.remove_file(&name);
        }
    }

    /// Names of what lies in the folder itself, sorted, those with a dot in front left out: what a name that is no text
    /// looks like is an error.
    pub fn names(&self) -> io::Result<Vec<Result<String, String>>> {
        let entries = self.dir.entries()?;
        let name = |entry: io::Result<DirEntry>| {
            let name = entry?.file_name();
            Ok(name.into_string().map_err(|odd| odd.to_string_lossy().into_owned()))
        };
        let mut names = entries.map(name).collect::<io::Result<Vec<_>>>()?;
        let shown = |name: &Result<String, String>| name.clone().unwrap_or_else(|odd| odd);
        names.retain(|name| !shown(name).starts_with('.'));
        names.sort_by_key(shown);
        Ok(names)
    }

    /// Whether a name is that of a plain file that may be read here.
    ///
    /// # Errors
    /// Why it may not.
    pub fn is_file(&self, name: &str) -> Result<bool, ReadError> {
        self.dir.metadata(name).map(|meta| meta.is_file()).map_err(|cause| refused(name, cause))
    }

    /// Waits until nothing is being written.
    pub fn settle(&self) {
        drop(self.saving.lock());
    }

    /// The name itself, or with a number where a file of the folder or one of `others` has it; the same text may share it.
    pub fn free_name(&self, name: &str, text: Option<&str>, others: &[TableText]) -> Result<String, Refusal> {
        let (stem, ending) = name.rsplit_once('.').unwrap_or((name, "csv"));
        let numbered = (2..100).map(|i| format!("{stem}-{i}.{ending}"));
        let fits = |name: &String| {
            let here = match self.read(Path::new(name)) {
                Ok(there) => text == Some(&there),
                Err(e) => matches!(e, ReadError::Missing { .. }),
            };
            here && others.iter().all(|t| t.name != *name || text == Some(&t.text))
        };
        let free = std::iter::once(name.to_owned()).chain(numbered).find(fits);
        free.ok_or_else(|| Refusal::wrong(format!("{name}: the folder is full of files of this name; give it another")))
    }

    /// Writes a draft and the tables that go with it: all under temporary names first, then renamed, the scrub last.
    /// `base` is what the file held when the draft began; `None` for a file that must not be there yet.
    pub fn save(&self, draft: &Draft, base: Option<&str>) -> Result<(), Refusal> {
        // A file that is there keeps the name that it has.
        match base {
            Some(_) => check_here(&draft.file, &SCRUB_ENDINGS)?,
            None => check_name(&draft.file, &SCRUB_ENDINGS, "river-polish.toml")?,
        }
        let _one = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.check_unchanged(&draft.file, base)?;
        let mut files = Vec::new();
        for TableText { name, text } in &draft.tables {
            match self.on_disk(name)? {
                Some(there) if there == *text => (),
                Some(_) => return Err(taken(name)),
                None => {
                    check_name(name, &TABLE_ENDINGS, "lot-7.csv")?;
                    files.push((name.as_str(), text.as_str(), false));
                }
            }
        }
        files.push((draft.file.as_str(), draft.text.as_str(), base.is_some()));
        self.write(&files)
    }

    fn check_unchanged(&self, name: &str, base: Option<&str>) -> Result<(), Refusal> {
        let disk = self.on_disk(name)?;
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
    fn on_disk(&self, name: &str) -> Result<Option<String>, Refusal> {
        match self.dir.symlink_metadata(name) {
            Err(e) if e.kind() == ErrorKind::NotFound => return Ok(None),
            Ok(meta) if meta.is_file() => (),
            Ok(_) => {
                return Err(Refusal::wrong(format!("{name}: a link or folder of this name is there; choose another")));
            }
            Err(e) => return Err(io_error(name, e).into()),
        }
        match self.read(Path::new(name)) {
            Err(ReadError::Empty { .. }) => Ok(Some(String::new())),
            other => Ok(Some(other?)),
        }
    }

    /// Name, text, and whether a file of the name is replaced. All of them, or none.
    fn write(&self, files: &[(&str, &str, bool)]) -> Result<(), Refusal> {
        for (name, ..) in files {
            if self.dir.metadata(name).is_ok_and(|meta| meta.permissions().readonly()) {
                let problem = "the file may only be read; nothing was written: save a copy, or make it writable first";
                return Err(Refusal::wrong(format!("{name}: {problem}")));
            }
        }
        let mut waiting: Vec<(String, &str, bool)> = Vec::new();
        let mut put = 0;
        let written = (|| {
            for (name, text, replace) in files {
                let beside = format!("{}{}{}", PART.0, random_hex::<8>().map_err(|e| (*name, e))?, PART.1);
                waiting.push((beside.clone(), name, *replace));
                self.write_new(&beside, text, name).map_err(|e| (*name, e))?;
            }
            waiting.iter().try_for_each(|(beside, name, replace)| {
                self.put(beside, name, *replace).map_err(|e| (*name, e))?;
                put += 1;
                Ok(())
            })
        })();
        if written.is_err() {
            // The scrub, which alone replaces a file, comes last.
            waiting[..put].iter().for_each(|(_, name, _)| drop(self.dir.remove_file(name)));
        }
        for (beside, ..) in &waiting {
            // What was renamed is not there any more.
            let _ = self.dir.remove_file(beside);
        }
        written.map_err(|(name, cause)| Refusal::failed(format!("{name}: cannot be written: {cause}")))
    }

    /// Writes a file that is to stand in the place of another: with its rights, and its byte-order mark if it has one.
    fn write_new(&self, beside: &str, text: &str, name: &str) -> io::Result<()> {
        let mut file = self.dir.open_with(beside, OpenOptions::new().write(true).create_new(true))?;
        if let Ok(meta) = self.dir.metadata(name) {
            file.set_permissions(meta.permissions())?;
        }
        let mut start = [0; MARK.len()];
        let marked = self.dir.open(name).and_then(|mut old| old.read_exact(&mut start)).is_ok();
        if marked && start == MARK {
            file.write_all(&MARK)?;
        }
        file.write_all(text.as_bytes())?;
        file.sync_all()
    }

    fn put(&self, beside: &str, name: &str, replace: bool) -> io::Result<()> {
        if replace {
            return self.dir.rename(beside, &self.dir, name);
        }
        match self.dir.hard_link(beside, &self.dir, name) {
            // A file system without links.
            Err(e) if e.kind() != ErrorKind::AlreadyExists && !self.dir.exists(name) => {
                self.dir.rename(beside, &self.dir, name)
            }
            done => done,
        }
    }
}

impl Files for Workshop {
    fn bytes(&self, path: &Path) -> Result<Vec<u8>, ReadError> {
        let file = path.display().to_string();
        let meta = self.dir.metadata(path).map_err(|cause| refused(&file, cause))?;
        if meta.is_dir() {
            return Err(ReadError::Folder { file });
        }
        if !meta.is_file() {
            return Err(io_error(&file, io::Error::other("it is no plain file")));
        }
        read_bounded(self.dir.open(path).map_err(|cause| refused(&file, cause))?, &file)
    }
}

/// Why a file is not opened.
fn refused(file: &str, cause: io::Error) -> ReadError {
    match cause.kind() {
        // The system has a number for what it refuses; a path that leads out is refused before it is asked.
        ErrorKind::PermissionDenied if cause.raw_os_error().is_none() => ReadError::Outside { file: file.to_owned() },
        _ => io_error(file, cause),
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

/// So many random bytes of the system, in hexadecimal.
pub(super) fn random_hex<const N: usize>() -> io::Result<String> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| io::Error::other(e.to_string()))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}
