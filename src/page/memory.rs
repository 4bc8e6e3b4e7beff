//! A folder in memory: files are put into it and taken out of it by whoever keeps them.

use super::answer::Refusal;
use super::folder::{Folder, Writing, not_written};
use crate::source::{Files, ReadError, read_bounded};
use std::collections::BTreeMap;
use std::io;
use std::path::{Component, Path};
use std::sync::{Mutex, MutexGuard, PoisonError};

/// Files by their names.
#[derive(Debug, Default)]
pub struct Memory {
    files: Mutex<BTreeMap<String, Vec<u8>>>,
}

impl Memory {
    /// Puts a file in, in the place of one of the same name.
    pub fn put(&self, name: &str, bytes: Vec<u8>) {
        self.files().insert(name.to_owned(), bytes);
    }

    /// Takes a file out.
    pub fn remove(&self, name: &str) {
        self.files().remove(name);
    }

    /// What a file holds.
    pub fn get(&self, name: &str) -> Option<Vec<u8>> {
        self.files().get(name).cloned()
    }

    fn files(&self) -> MutexGuard<'_, BTreeMap<String, Vec<u8>>> {
        // No panic leaves a file half put in.
        self.files.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// The name that a path comes to beneath the folder; none for one that leads out of it.
fn beneath(path: &Path) -> Option<String> {
    let mut parts = Vec::new();
    for part in path.components() {
        match part {
            Component::Normal(part) => parts.push(part.to_str()?),
            Component::CurDir => (),
            Component::ParentDir => drop(parts.pop()?),
            Component::Prefix(_) | Component::RootDir => return None,
        }
    }
    Some(parts.join("/"))
}

impl Files for Memory {
    fn bytes(&self, path: &Path) -> Result<Vec<u8>, ReadError> {
        let file = path.display().to_string();
        match beneath(path).map(|name| self.get(&name)) {
            Some(Some(bytes)) => read_bounded(bytes.as_slice(), &file),
            Some(None) => Err(ReadError::Missing { file }),
            None => Err(ReadError::Outside { file }),
        }
    }
}

impl Folder for Memory {
    fn names(&self) -> io::Result<Vec<Result<String, String>>> {
        let files = self.files();
        let shown = files.keys().filter(|name| !name.starts_with('.') && !name.contains('/'));
        Ok(shown.cloned().map(Ok).collect())
    }

    fn is_file(&self, name: &str) -> Result<bool, ReadError> {
        Ok(self.files().contains_key(name))
    }

    fn has(&self, name: &str) -> Result<bool, Refusal> {
        Ok(self.files().contains_key(name))
    }

    fn write(&self, files: &[Writing]) -> Result<(), Refusal> {
        let mut all = self.files();
        let there = files.iter().find(|file| !file.replaces && all.contains_key(file.name));
        if let Some(Writing { name, .. }) = there {
            return Err(not_written(name, "a file of this name is there already"));
        }
        all.extend(files.iter().map(|file| (file.name.to_owned(), file.bytes.clone())));
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_lead_nowhere_else() {
        let memory = Memory::default();
        memory.put("sieve.csv", b"a,b\n".to_vec());
        for name in ["sieve.csv", "./sieve.csv", "lots/../sieve.csv"] {
            assert!(memory.bytes(Path::new(name)).is_ok(), "{name}");
        }
        for name in ["../sieve.csv", "lots/../../sieve.csv", "/sieve.csv"] {
            assert!(matches!(memory.bytes(Path::new(name)), Err(ReadError::Outside { .. })), "{name}");
        }
        assert!(matches!(memory.bytes(Path::new("lots/sieve.csv")), Err(ReadError::Missing { .. })));
    }

    #[test]
    fn what_is_there_is_not_written_over_unasked() {
        let memory = Memory::default();
        let file = |name, replaces| Writing { name, bytes: b"x".to_vec(), replaces };
        assert!(memory.write(&[file("a.csv", false), file("b.toml", false)]).is_ok());
        assert!(memory.write(&[file("c.csv", false), file("b.toml", false)]).is_err());
        assert_eq!(memory.get("c.csv"), None);
        assert!(memory.write(&[file("b.toml", true)]).is_ok());
    }
}
