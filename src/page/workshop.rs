//! The folder that the page works in. Nothing outside it is read or written, whatever dots or links a name holds: files are
//! opened beneath it by `cap-std`.

use super::answer::Refusal;
use super::draft::{Draft, TableText};
use crate::source::{Files, ReadError, io_error, text_of};
use cap_std::ambient_authority;
use cap_std::fs::{Dir, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::Path;
use std::sync::{Mutex, PoisonError};

/// Longest name of a file that is written.
const LONGEST_NAME: usize = 120;

pub(super) struct Workshop {
    dir: Dir,
    /// One save at a time: what is compared must still hold when the file is put in its place.
    saving: Mutex<()>,
}

impl Workshop {
    pub fn open(folder: &Path) -> io::Result<Self> {
        Ok(Self { dir: Dir::open_ambient_dir(folder, ambient_authority())?, saving: Mutex::new(()) })
    }

    /// Names of the plain files in the folder itself, sorted; at most `most`.
    pub fn names(&self, most: usize) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in self.dir.entries()? {
            if let Ok(name) = entry?.file_name().into_string()
                && !name.starts_with('.')
            {
                names.push(name);
            }
        }
        names.sort();
        names.retain(|n| self.dir.metadata(n).is_ok_and(|m| m.is_file()));
        names.truncate(most);
        Ok(names)
    }

    /// Writes a draft and the tables that go with it: all under temporary names first, then renamed, the scrub last.
    /// `base` is what the file held when the draft began; `None` for a file that must not be there yet.
    pub fn save(&self, draft: &Draft, base: Option<&str>) -> Result<(), Refusal> {
        check_name(&draft.file, &["toml"], "river-polish.toml")?;
        let _one = self.saving.lock().unwrap_or_else(PoisonError::into_inner);
        self.check_unchanged(&draft.file, base)?;
        let mut files = Vec::new();
        for TableText { name, text } in &draft.tables {
            check_name(name, &["csv", "tsv", "txt"], "lot-7.csv")?;
            match self.on_disk(name)? {
                Some(there) if there == *text => (),
                Some(_) => {
                    let problem = format!("{name}: another table of this name is there already; nothing was written");
                    return Err(Refusal::wrong(problem));
                }
                None => files.push((name.as_str(), text.as_str(), false)),
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

    /// What a file holds, byte for byte; `None` when there is none.
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

    /// Name, text, and whether a file of the name is replaced.
    fn write(&self, files: &[(&str, &str, bool)]) -> Result<(), Refusal> {
        let mut waiting: Vec<(String, &str, bool)> = Vec::new();
        let written = (|| {
            for (name, text, replace) in files {
                let beside = format!(".gritwise-{}.part", random_hex::<8>().map_err(|e| (*name, e))?);
                waiting.push((beside.clone(), name, *replace));
                self.write_new(&beside, text, name).map_err(|e| (*name, e))?;
            }
            waiting
                .iter()
                .try_for_each(|(beside, name, replace)| self.put(beside, name, *replace).map_err(|e| (*name, e)))
        })();
        for (beside, ..) in &waiting {
            // What was renamed is not there any more.
            let _ = self.dir.remove_file(beside);
        }
        written.map_err(|(name, cause)| Refusal::failed(format!("{name}: cannot be written: {cause}")))
    }

    fn write_new(&self, beside: &str, text: &str, name: &str) -> io::Result<()> {
        let mut file = self.dir.open_with(beside, OpenOptions::new().write(true).create_new(true))?;
        if let Ok(meta) = self.dir.metadata(name) {
            file.set_permissions(meta.permissions())?;
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
    fn read(&self, path: &Path) -> Result<String, ReadError> {
        let file = path.display().to_string();
        let refused = |cause: io::Error| match cause.kind() {
            // The system has a number for what it refuses; a path that leads out is refused before it is asked.
            ErrorKind::PermissionDenied if cause.raw_os_error().is_none() => ReadError::Outside { file: file.clone() },
            _ => io_error(&file, cause),
        };
        let meta = self.dir.metadata(path).map_err(refused)?;
        if meta.is_dir() {
            return Err(ReadError::Folder { file });
        }
        if !meta.is_file() {
            return Err(io_error(&file, io::Error::other("it is no plain file")));
        }
        text_of(self.dir.open(path).map_err(refused)?, file)
    }
}

/// A plain name in the folder itself, with one of these endings.
pub(super) fn check_name(name: &str, endings: &[&str], example: &str) -> Result<(), Refusal> {
    let ending = name.rsplit_once('.').map_or("", |(_, e)| e).to_lowercase();
    let odd = |c: char| c.is_control() || "/\\:*?\"<>|".contains(c);
    let plain = !name.starts_with('.') && !name.starts_with(' ') && !name.contains(odd) && name.len() <= LONGEST_NAME;
    if plain && endings.contains(&ending.as_str()) {
        return Ok(());
    }
    let endings = endings.join(", .");
    Err(Refusal::wrong(format!(
        "\"{name}\" is no name for a file here; give a plain name that ends in .{endings}, such as {example}"
    )))
}

/// So many random bytes of the system, in hexadecimal.
pub(super) fn random_hex<const N: usize>() -> io::Result<String> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| io::Error::other(e.to_string()))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}
