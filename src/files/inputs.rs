//! Every file that a scrub file rests on, with its bytes, under names that keep its references true.

use super::{ScrubFileError, size_tables};
use crate::source::{Located, Place, ReadError, read_bytes, read_text};
use std::path::{Component, Path, PathBuf};

/// The files that a scrub was read from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReadInputs {
    /// Names relative to the nearest folder that holds them all, with `/` between, and bytes; the scrub file first.
    pub files: Vec<(String, Vec<u8>)>,
}

impl ReadInputs {
    /// Reads a scrub file and the measured tables that it names.
    ///
    /// # Errors
    /// [`ScrubFileError`] when one of them cannot be read, or a table is not named relative to the scrub file.
    pub fn gather(path: &Path) -> Result<Self, ScrubFileError> {
        let label = path.display().to_string();
        refuse_special(path)?;
        let text = read_text(path)?;
        let mut named = vec![path.file_name().map(PathBuf::from).unwrap_or_default()];
        for table in size_tables(&text, &label)? {
            if !fits_a_copy(Path::new(&table)) {
                let problem = format!(
                    "copies of the scrub file and of {table} have to fit together: name it relative to the scrub file, with any .. \
                     first"
                );
                return Err(Located::new(Place::file(label), problem).into());
            }
            named.push(PathBuf::from(table));
        }
        let folder = path.parent().unwrap_or(Path::new(""));
        // Names that climb out of the folder need its own name, and those above it.
        let climbs = named.iter().map(|n| n.components().filter(|c| *c == Component::ParentDir).count()).max();
        let above = names_above(folder, climbs.unwrap_or(0))?;
        let placed: Vec<Vec<String>> = named.iter().map(|n| parts(&above.join(n))).collect();
        let shared = (0..).take_while(|&i| {
            let first = placed[0].get(i);
            placed.iter().all(|p| p.len() > i + 1 && p.get(i) == first)
        });
        let shared = shared.count();
        let mut files: Vec<(String, Vec<u8>)> = Vec::new();
        for (name, parts) in named.iter().zip(&placed) {
            let name = (parts[shared..].join("/"), folder.join(name));
            if !files.iter().any(|f| f.0 == name.0) {
                refuse_special(&name.1)?;
                files.push((name.0, read_bytes(&name.1)?));
            }
        }
        Ok(Self { files })
    }
}

/// What is kept is a file that can be read again: no pipe and no device.
fn refuse_special(path: &Path) -> Result<(), ScrubFileError> {
    match path.metadata() {
        Ok(meta) if !meta.is_file() && !meta.is_dir() => {
            let problem = "not a plain file; a copy of it cannot be kept";
            Err(Located::new(Place::file(path.display().to_string()), problem).into())
        }
        _ => Ok(()),
    }
}

/// Whether a name holds from any folder: relative, and going up only before it goes down.
fn fits_a_copy(name: &Path) -> bool {
    let down = name.components().skip_while(|c| matches!(c, Component::ParentDir | Component::CurDir));
    down.into_iter().all(|c| matches!(c, Component::Normal(_)))
}

/// The last names of a folder's path: as many as `count`, fewer at the root.
fn names_above(folder: &Path, count: usize) -> Result<PathBuf, ScrubFileError> {
    if count == 0 {
        return Ok(PathBuf::new());
    }
    let folder = if folder.as_os_str().is_empty() { Path::new(".") } else { folder };
    let whole = folder.canonicalize().map_err(|cause| ReadError::Io { file: folder.display().to_string(), cause })?;
    let names = parts(&whole);
    Ok(names[names.len().saturating_sub(count)..].iter().collect())
}

/// The names of a path, without those that `..` takes back.
fn parts(path: &Path) -> Vec<String> {
    let mut parts = Vec::new();
    for component in path.components() {
        match component {
            Component::Normal(name) => parts.push(name.to_string_lossy().into_owned()),
            Component::ParentDir => _ = parts.pop(),
            _ => {}
        }
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::fs;

    #[test]
    fn copies_fit_together_as_the_files_did() {
        let shop = tempfile::tempdir().unwrap();
        let write = |name: &str, text: &str| {
            let path = shop.path().join(name);
            fs::create_dir_all(path.parent().unwrap()).unwrap();
            fs::write(path, text).unwrap();
        };
        let scrub = |table: &str| format!("[[powder]]\nsize = {{ sieve = \"{table}\" }}\n");
        write("scrubs/a.toml", &scrub("../tables/lot.csv"));
        write("scrubs/b.toml", &scrub("lots/./lot.csv"));
        write("tables/lot.csv", "x");
        write("scrubs/lots/lot.csv", "y");
        let names = |file: &str| -> Vec<String> {
            let gathered = ReadInputs::gather(&shop.path().join(file)).unwrap();
            gathered.files.into_iter().map(|f| f.0).collect()
        };
        assert_eq!(names("scrubs/a.toml"), ["scrubs/a.toml", "tables/lot.csv"]);
        assert_eq!(names("scrubs/b.toml"), ["b.toml", "lots/lot.csv"]);
        for table in ["/etc/lot.csv", "none/../lots/lot.csv"] {
            write("scrubs/c.toml", &scrub(table));
            let refused = ReadInputs::gather(&shop.path().join("scrubs/c.toml")).unwrap_err().to_string();
            assert!(refused.contains("name it relative to the scrub file"), "{refused}");
        }
    }
}
