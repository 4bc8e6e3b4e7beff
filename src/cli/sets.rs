//! Sets of files, each written whole or not at all.
//!
//! A set waits in a folder beside its targets, and so on the same disk, until all of it is there. Then it is marked whole and put in its
//! place: a folder that was not there yet in one step, files among others one after another. What a crash cuts off is ended by the next
//! run that writes there: a set that was marked whole is put in its place, any other is taken away. A living program has the file
//! [`HELD`] of its own sets locked, so no other takes them for what a crash left.

use anyhow::{Context, Result, bail};
use std::fs::{self, File};
use std::io::{self, ErrorKind, Write};
use std::path::{Component, Path, PathBuf};
use tempfile::TempPath;

/// How the folders begin in which sets wait.
const WAITING: &str = ".gritwise-";
/// What a living program has locked, made first and taken away last.
const HELD: &str = "held";
/// The files as they are to stand, below the folder that the set waits in.
const SET: &str = "set";
/// What marks a set whole: one that replaces files, or one that does not.
const MARKS: [(&str, bool); 2] = [("whole-replaces", true), ("whole", false)];
/// How often a place to wait in is made, should another program each time take it for one that a crash left.
const TRIES: usize = 16;

/// Whether something in a folder is a set that waits there, or did when a crash came.
pub(super) fn is_waiting(name: &str, is_folder: bool) -> bool {
    is_folder && name.starts_with(WAITING)
}

/// Files that are written whole or not at all, below one folder.
pub(super) struct Set {
    /// The folder, which is there.
    base: PathBuf,
    held: Option<File>,
    /// Where it waits.
    folder: PathBuf,
}

/// The sets that files make: those of one disk below one folder are one set. What a crash left on the way to each is ended first, and
/// told where files come of it.
///
/// # Errors
/// When a folder cannot be written into.
pub(super) fn sets_of<'p>(paths: impl Iterator<Item = &'p Path>, remark: &dyn Fn(&str)) -> Result<Vec<Set>> {
    let mut sets: Vec<Set> = Vec::new();
    for path in paths {
        let base = base_of(path)?;
        if !sets.iter().any(|set| set.takes(path, &base)) {
            let set = Set::new(base).with_context(|| cannot(path))?;
            path.ancestors().skip(1).for_each(|folder| set.end_others(folder, remark));
            sets.push(set);
        }
    }
    Ok(sets)
}

/// Puts a file into the set that takes it.
///
/// # Errors
/// When it cannot be written.
pub(super) fn add(sets: &[Set], path: &Path, content: &[u8]) -> Result<()> {
    let base = base_of(path)?;
    let set = sets.iter().find(|set| set.takes(path, &base)).with_context(|| cannot(path))?;
    set.add(path, content).with_context(|| cannot(path))
}

impl Set {
    fn new(base: PathBuf) -> io::Result<Self> {
        for _ in 0..TRIES {
            let folder = tempfile::Builder::new().prefix(WAITING).tempdir_in(or_here(&base))?.keep();
            let held = match File::create_new(folder.join(HELD)) {
                Err(e) if e.kind() == ErrorKind::NotFound => continue,
                held => held?,
            };
            held.lock()?;
            // Between its making and its lock another program may have taken it away.
            if folder.join(HELD).exists() {
                fs::create_dir(folder.join(SET))?;
                return Ok(Self { base, held: Some(held), folder });
            }
        }
        Err(io::Error::other("other programs keep clearing this folder; try again"))
    }

    /// Whether a file whose nearest folder is `base` is of this set.
    fn takes(&self, path: &Path, base: &Path) -> bool {
        let below = path.strip_prefix(&self.base).is_ok_and(is_plain);
        below && (self.base == base || same_disk(or_here(&self.base), or_here(base)))
    }

    fn add(&self, path: &Path, content: &[u8]) -> Result<()> {
        let place = self.folder.join(SET).join(path.strip_prefix(&self.base)?);
        fs::create_dir_all(folder_of(&place))?;
        let mut file = File::create_new(&place)?;
        file.write_all(content)?;
        // One that is replaced keeps its mode.
        if let Ok(replaced) = path.metadata() {
            file.set_permissions(replaced.permissions())?;
        }
        Ok(file.sync_all()?)
    }

    /// Puts the set in its place.
    ///
    /// # Errors
    /// When the system refuses.
    pub(super) fn put(self, replace: bool) -> Result<()> {
        let mark = MARKS.iter().find(|mark| mark.1 == replace).map_or("", |mark| mark.0);
        File::create_new(self.folder.join(mark))
            .and_then(|mark| mark.sync_all())
            .with_context(|| cannot(&self.base))?;
        moved(&self.folder.join(SET), &self.base, &|from, to| {
            if replace { fs::rename(from, to) } else { kept(from, to) }
        })
    }

    /// Ends the sets that a crash left in a folder. What cannot be ended stays: it hinders nobody.
    fn end_others(&self, folder: &Path, remark: &dyn Fn(&str)) {
        for entry in fs::read_dir(or_here(folder)).into_iter().flatten().flatten() {
            let is_folder = entry.file_type().is_ok_and(|kind| kind.is_dir());
            // What somebody else left in a folder that all may write into is no concern of ours.
            if is_waiting(&entry.file_name().to_string_lossy(), is_folder) && same_owner(&entry.path(), &self.folder) {
                end(&entry.path(), folder, remark);
            }
        }
    }
}

impl Drop for Set {
    fn drop(&mut self) {
        // No system lets a file go that is still open on every one.
        drop(self.held.take());
        taken_away(&self.folder);
    }
}

/// Ends a set that waits, if no living program holds it.
fn end(waiting: &Path, base: &Path, remark: &dyn Fn(&str)) {
    let held = match File::open(waiting.join(HELD)) {
        // A crash, or another program, is between the making of it and that of its first file.
        Err(e) if e.kind() == ErrorKind::NotFound => return drop(fs::remove_dir(waiting)),
        Err(_) => return,
        Ok(held) => held,
    };
    if held.try_lock().is_err() {
        return;
    }
    for (mark, replace) in MARKS {
        let Ok(marked) = waiting.join(mark).metadata().and_then(|m| m.modified()) else { continue };
        // A file that was changed since is left as it is.
        let is_newer = |to: &Path| to.metadata().and_then(|m| m.modified()).is_ok_and(|at| at > marked);
        let put = moved(&waiting.join(SET), base, &|from, to| match replace && !is_newer(to) {
            true => fs::rename(from, to),
            false => kept(from, to).or_else(|e| if e.kind() == ErrorKind::AlreadyExists { Ok(()) } else { Err(e) }),
        });
        if put.is_ok() {
            remark(&format!(
                "{}: files that an earlier run had not put in their place are there now",
                or_here(base).display()
            ));
        }
    }
    drop(held);
    taken_away(waiting);
}

/// Moves what lies in a folder into another: a folder that is not there in one step, files by `put`.
fn moved(from: &Path, to: &Path, put: &dyn Fn(&Path, &Path) -> io::Result<()>) -> Result<()> {
    let mut entries = fs::read_dir(from)?.collect::<io::Result<Vec<_>>>()?;
    entries.sort_by_key(fs::DirEntry::file_name);
    for entry in entries {
        let (from, to) = (entry.path(), to.join(entry.file_name()));
        match entry.file_type()?.is_dir() {
            true if to.is_dir() => moved(&from, &to, put)?,
            true => fs::rename(&from, &to).with_context(|| cannot(&to))?,
            false => put(&from, &to).with_context(|| cannot(&to))?,
        }
    }
    Ok(())
}

/// Moves a file where none is.
fn kept(from: &Path, to: &Path) -> io::Result<()> {
    TempPath::try_from_path(from)?.persist_noclobber(to).map_err(|e| e.error)
}

/// Takes away a folder in which a set waited. Were it cut off here, what it is known by would still be there.
fn taken_away(waiting: &Path) {
    let _ = fs::remove_dir_all(waiting.join(SET));
    for (mark, _) in MARKS {
        let _ = fs::remove_file(waiting.join(mark));
    }
    let _ = fs::remove_file(waiting.join(HELD));
    let _ = fs::remove_dir(waiting);
}

/// The folder that a file lies in.
pub(super) fn folder_of(path: &Path) -> &Path {
    or_here(path.parent().unwrap_or(Path::new("")))
}

/// The nearest folder on the way to a file that is there.
fn base_of(path: &Path) -> Result<PathBuf> {
    let folder = path.parent().unwrap_or(Path::new(""));
    let base = folder.ancestors().find(|a| or_here(a).is_dir()).unwrap_or(Path::new(""));
    let rest = path.strip_prefix(base)?;
    let in_the_way = rest.parent().and_then(|r| r.iter().next()).map(|first| base.join(first)).filter(|p| p.exists());
    if let Some(file) = in_the_way {
        bail!("{}: the folder cannot be made: a file is there", file.display());
    }
    if is_plain(rest) {
        return Ok(base.to_owned());
    }
    fs::create_dir_all(folder).with_context(|| format!("{}: the folder cannot be made", folder.display()))?;
    Ok(folder.to_owned())
}

/// Whether a path only leads down.
fn is_plain(path: &Path) -> bool {
    path.components().all(|part| matches!(part, Component::Normal(_)))
}

fn or_here(folder: &Path) -> &Path {
    if folder.as_os_str().is_empty() { Path::new(".") } else { folder }
}

fn cannot(path: &Path) -> String {
    format!("{}: cannot be written", path.display())
}

/// A file is renamed within one disk only.
#[cfg(unix)]
fn same_disk(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    a.metadata().and_then(|a| Ok(a.dev() == b.metadata()?.dev())).unwrap_or(false)
}

#[cfg(not(unix))]
fn same_disk(a: &Path, b: &Path) -> bool {
    a == b
}

#[cfg(unix)]
fn same_owner(a: &Path, b: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    a.symlink_metadata().and_then(|a| Ok(a.uid() == b.symlink_metadata()?.uid())).unwrap_or(false)
}

#[cfg(not(unix))]
fn same_owner(_: &Path, _: &Path) -> bool {
    true
}
