//! A folder of the disk. Nothing outside it is read or written, whatever dots or links a name holds: files are opened beneath it by
//! `cap-std`.

use crate::page::answer::Refusal;
use crate::page::folder::{Folder, Writing, not_written};
use crate::source::{Files, ReadError, io_error, read_bounded};
use cap_std::ambient_authority;
use cap_std::fs::{Dir, DirEntry, OpenOptions};
use std::io::{self, ErrorKind, Write};
use std::path::Path;

/// How files begin and end that are being written.
const PART: (&str, &str) = (".gritwise-", ".part");

pub(super) struct OnDisk {
    dir: Dir,
}

impl OnDisk {
    pub fn open(folder: &Path) -> io::Result<Self> {
        let opened = Self { dir: Dir::open_ambient_dir(folder, ambient_authority())? };
        opened.clear_parts();
        Ok(opened)
    }

    /// Takes away what a crash left half written. What cannot be taken away stays: it hinders nobody.
    fn clear_parts(&self) {
        let names = self.dir.entries().into_iter().flatten().flatten().map(|entry| entry.file_name());
        let is_part = |name: &str| name.starts_with(PART.0) && name.ends_with(PART.1);
        for name in names.filter(|name| name.to_str().is_some_and(is_part)) {
            let _ = self.dir.remove_file(&name);
        }
    }

    /// Writes a file that is to stand in the place of another, with its rights.
    fn write_new(&self, beside: &str, file: &Writing) -> io::Result<()> {
        let mut new = self.dir.open_with(beside, OpenOptions::new().write(true).create_new(true))?;
        if let Ok(meta) = self.dir.metadata(file.name) {
            new.set_permissions(meta.permissions())?;
        }
        new.write_all(&file.bytes)?;
        new.sync_all()
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

impl Folder for OnDisk {
    fn names(&self) -> io::Result<Vec<Result<String, String>>> {
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

    fn is_file(&self, name: &str) -> Result<bool, ReadError> {
        self.dir.metadata(name).map(|meta| meta.is_file()).map_err(|cause| refused(name, cause))
    }

    fn has(&self, name: &str) -> Result<bool, Refusal> {
        match self.dir.symlink_metadata(name) {
            Err(e) if e.kind() == ErrorKind::NotFound => Ok(false),
            Ok(meta) if meta.is_file() => Ok(true),
            Ok(_) => Err(Refusal::wrong(format!("{name}: a link or folder of this name is there; choose another"))),
            Err(e) => Err(io_error(name, e).into()),
        }
    }

    /// All under temporary names first, then renamed.
    fn write(&self, files: &[Writing]) -> Result<(), Refusal> {
        for Writing { name, .. } in files {
            if self.dir.metadata(name).is_ok_and(|meta| meta.permissions().readonly()) {
                let problem = "the file may only be read; nothing was written: save a copy, or make it writable first";
                return Err(Refusal::wrong(format!("{name}: {problem}")));
            }
        }
        let mut waiting: Vec<(String, &Writing)> = Vec::new();
        let mut put = 0;
        let written = (|| {
            for file in files {
                let beside = format!("{}{}{}", PART.0, random_hex::<8>().map_err(|e| (file.name, e))?, PART.1);
                waiting.push((beside.clone(), file));
                self.write_new(&beside, file).map_err(|e| (file.name, e))?;
            }
            waiting.iter().try_for_each(|(beside, file)| {
                self.put(beside, file.name, file.replaces).map_err(|e| (file.name, e))?;
                put += 1;
                Ok(())
            })
        })();
        if written.is_err() {
            // The scrub, which alone replaces a file, comes last.
            waiting[..put].iter().for_each(|(_, file)| drop(self.dir.remove_file(file.name)));
        }
        for (beside, _) in &waiting {
            // What was renamed is not there any more.
            let _ = self.dir.remove_file(beside);
        }
        written.map_err(|(name, cause)| not_written(name, cause))
    }
}

impl Files for OnDisk {
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

/// So many random bytes of the system, in hexadecimal.
pub(super) fn random_hex<const N: usize>() -> io::Result<String> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|e| io::Error::other(e.to_string()))?;
    Ok(bytes.iter().map(|b| format!("{b:02x}")).collect())
}
