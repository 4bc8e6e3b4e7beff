//! What leaves the program: standard output, complaints, and files that are whole or not there.

use super::held_back::signals_held_back;
use super::sets::{self, folder_of};
use crate::plot::Picture;
use crate::report::document::Document;
use crate::source::{Added, legible, was_read};
use anyhow::{Context, Result, bail};
use clap::builder::{PathBufValueParser, TypedValueParser};
use clap::{Arg, Args};
use serde::Serialize;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Prints a text on standard output. Whoever closed the pipe has seen enough: the answer stays what it is.
pub(super) fn print(text: &str) -> Result<()> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(e) if e.kind() != ErrorKind::BrokenPipe => Err(e).context("standard output"),
        _ => Ok(()),
    }
}

/// Prints a value as JSON.
pub(super) fn print_json(value: &impl Serialize) -> Result<()> {
    let text = serde_json::to_string_pretty(value).context("the result cannot be written as JSON")?;
    print(&format!("{text}\n"))
}

/// Prints a report: as JSON, or the text that people read.
pub(super) fn show(report: &impl Serialize, text: impl FnOnce() -> String, json: bool) -> Result<()> {
    if json { print_json(report) } else { print(&legible(&text())) }
}

// What the commands with a picture have in common. No doc comment: it would stand in for that of the command.
#[derive(Debug, Args)]
pub(super) struct PictureArgs {
    #[arg(long)]
    pub(super) plot: Option<PathBuf>,

    /// Replace the picture if it is there already
    #[arg(long, requires = "plot")]
    pub(super) force: bool,

    /// Print the result as JSON
    #[arg(long)]
    pub(super) json: bool,
}

// What the commands that make a paper have in common. No doc comment, as above.
#[derive(Debug, Args)]
pub(super) struct Paper {
    /// Write it into this file, by its ending: .html to print, .md, .txt; may be given more than once
    #[arg(long, value_name = "FILE")]
    write: Vec<PathBuf>,

    /// Replace files that are there already
    #[arg(long, requires = "write")]
    force: bool,

    /// Print the result as JSON
    #[arg(long)]
    json: bool,
}

impl Paper {
    /// Writes the paper where that is asked for, never over what it is made from, and prints it.
    pub(super) fn show(
        &self,
        inputs: impl IntoIterator<Item: AsRef<Path>>,
        report: &impl Serialize,
        document: &Document,
    ) -> Result<()> {
        self.show_and_keep(inputs, report, document, document)
    }

    /// The same, where what is kept holds more than what is shown.
    pub(super) fn show_and_keep(
        &self,
        inputs: impl IntoIterator<Item: AsRef<Path>>,
        report: &impl Serialize,
        shown: &Document,
        kept: &Document,
    ) -> Result<()> {
        let written: Vec<_> = self.write.iter().map(|path| paper(kept, "--write", path)).collect::<Result<_>>()?;
        write_results(&written.concat(), inputs, self.force)?;
        show(report, || shown.to_text(), self.json)
    }
}

/// What a picture that is one file is written into.
const SVG_FILE: &str = "FILE.svg";

const ONLY_SVG: &str = "pictures are written as SVG, which browsers, word processors and image editors open; give a name that ends in .svg";

/// Takes the name of a picture's file, which is an SVG document by whatever name it goes.
pub(super) fn svg_file() -> impl TypedValueParser<Value = PathBuf> {
    PathBufValueParser::new().try_map(|path| if ending_of(&path) == "svg" { Ok(path) } else { Err(ONLY_SVG) })
}

/// Takes the name of a folder for pictures; one that ends like a picture of another kind is no folder that anybody means, unless it is
/// there.
pub(super) fn picture_folder() -> impl TypedValueParser<Value = PathBuf> {
    const OTHERS: [&str; 9] = ["png", "jpg", "jpeg", "gif", "webp", "bmp", "tif", "tiff", "pdf"];
    let is_other = |path: &Path| OTHERS.contains(&ending_of(path).as_str()) && !path.is_dir();
    PathBufValueParser::new().try_map(move |path| if is_other(&path) { Err(ONLY_SVG) } else { Ok(path) })
}

/// A paper in the form that its file's ending asks for, with its pictures where they are files of their own.
pub(super) fn paper(document: &Document, option: &str, path: &Path) -> Result<Vec<(PathBuf, String)>> {
    let text = in_form_of(document, option, path)?;
    let beside = if is_markdown(path) { document.pictures().collect() } else { Vec::new() };
    let folder = folder_of(path).join("pictures");
    let pictures = beside.into_iter().map(|(name, svg)| (folder.join(format!("{name}.svg")), svg.to_owned()));
    Ok([(path.to_owned(), text)].into_iter().chain(pictures).collect())
}

fn ending_of(path: &Path) -> String {
    path.extension().map(|e| e.to_string_lossy().to_lowercase()).unwrap_or_default()
}

fn is_markdown(path: &Path) -> bool {
    ["md", "markdown"].contains(&ending_of(path).as_str())
}

/// A document in the form that a file's ending asks for.
fn in_form_of(document: &Document, option: &str, path: &Path) -> Result<String> {
    match ending_of(path).as_str() {
        "html" | "htm" => Ok(document.to_html()),
        _ if is_markdown(path) => Ok(document.to_markdown()),
        "txt" => Ok(document.to_text()),
        _ => bail!("{option} {}: a paper ends in .html, .md or .txt", path.display()),
    }
}

/// Names what a command's picture is written into, and says what it shows.
pub(super) fn draws(into: &'static str, shows: &'static str) -> impl FnMut(Arg) -> Arg {
    move |arg| match arg.get_id().as_str() {
        "plot" if into == SVG_FILE => arg.value_name(into).help(shows).value_parser(svg_file()),
        "plot" => arg.value_name(into).help(shows).value_parser(picture_folder()),
        _ => arg,
    }
}

impl PictureArgs {
    /// Writes the picture where one is asked for, never over what it is made from, and prints the report.
    pub(super) fn show(
        &self,
        picture: Option<Picture>,
        inputs: impl IntoIterator<Item: AsRef<Path>>,
        report: &impl Serialize,
        text: impl FnOnce() -> String,
    ) -> Result<()> {
        if let (Some(path), Some(picture)) = (&self.plot, picture) {
            write_results(&[(path.clone(), picture.svg)], inputs, self.force)?;
        }
        show(report, text, self.json)
    }
}

/// Prints a remark on standard error; nobody there to read it is no fault.
pub(super) fn remark(text: &str) {
    let _ = writeln!(std::io::stderr(), "{}", legible(text));
}

/// Says of lines that a crash cut short what is lost with them.
pub(super) fn tell_torn(path: &Path, lines: &[usize], lost: &str) {
    for line in lines {
        remark(&format!("{}:{line}: this line was cut short, by a crash it seems: {lost}", path.display()));
    }
}

/// Says what is to be known of a register that a line was added to.
pub(super) fn tell_added(register: &Path, added: &Added) {
    added.remarks(register).iter().for_each(|told| remark(told));
}

/// Prints an error with all its causes on standard error.
pub(super) fn complain(error: &anyhow::Error) {
    remark(&format!("gritwise: {error:#}"));
}

/// Writes a set of files, whole or not at all, also where a signal comes meanwhile. An existing file is replaced only with `force`.
pub(super) fn write_files<T: AsRef<[u8]>>(files: &[(PathBuf, T)], force: bool) -> Result<()> {
    signals_held_back(|| put_files(files, force))
}

fn put_files<T: AsRef<[u8]>>(files: &[(PathBuf, T)], force: bool) -> Result<()> {
    refuse_existing(files, force)?;
    let sets = sets::sets_of(files.iter().map(|(path, _)| path.as_path()), &remark)?;
    // What a crash had left may be in its place only now.
    refuse_existing(files, force)?;
    files.iter().try_for_each(|(path, content)| sets::add(&sets, path, content.as_ref()))?;
    sets.into_iter().try_for_each(|set| set.put(force))
}

/// Errs if one of the files to write is a file that the command has read, or one of `inputs`, which it may be about to read: `--force`
/// replaces results, never what they rest on.
fn refuse_inputs<T>(files: &[(PathBuf, T)], inputs: impl IntoIterator<Item: AsRef<Path>>) -> Result<()> {
    let inputs: Vec<_> = inputs.into_iter().collect();
    let is_input = |path: &Path| was_read(path) || inputs.iter().any(|input| is_same(input.as_ref(), path));
    match files.iter().find(|(path, _)| is_input(path)) {
        Some((path, _)) => bail!("{}: the result would replace a file that it is made from", path.display()),
        None => Ok(()),
    }
}

/// Whether two paths lead to the same file, which need not be there yet.
pub(super) fn is_same(a: &Path, b: &Path) -> bool {
    let place = |path: &Path| {
        let there = path.canonicalize().ok();
        there.or_else(|| Some(folder_of(path).canonicalize().ok()?.join(path.file_name()?)))
    };
    a == b || place(a).zip(place(b)).is_some_and(|(a, b)| a == b)
}

/// Errs if one of the files is named twice, is a folder, or is there already; with `force`, if it is no plain file or may not be written.
pub(super) fn refuse_existing<T>(files: &[(PathBuf, T)], force: bool) -> Result<()> {
    for (i, (path, _)) in files.iter().enumerate() {
        if files[..i].iter().any(|(earlier, _)| is_same(earlier, path)) {
            bail!("{}: named twice; nothing was written", path.display());
        }
        match path.symlink_metadata() {
            Ok(meta) if meta.is_dir() => bail!("{}: this is a folder; nothing was written", path.display()),
            Ok(meta) if force && !meta.is_file() => {
                bail!(
                    "{}: this is a link or a device, which --force does not replace; nothing was written",
                    path.display()
                )
            }
            Ok(meta) if force && meta.permissions().readonly() => {
                bail!("{}: the file is write-protected; nothing was written", path.display())
            }
            Ok(_) if !force => {
                bail!("{}: the file exists already; nothing was written (--force replaces it)", path.display())
            }
            _ => {}
        }
    }
    Ok(())
}

/// Writes results as [`write_files`] does, never over what they are made from, and says which.
pub(super) fn write_results<T: AsRef<[u8]>>(
    files: &[(PathBuf, T)],
    inputs: impl IntoIterator<Item: AsRef<Path>>,
    force: bool,
) -> Result<()> {
    refuse_inputs(files, inputs)?;
    write_and_tell(files, force)
}

/// Writes files as [`write_files`] does, and says which.
pub(super) fn write_and_tell<T: AsRef<[u8]>>(files: &[(PathBuf, T)], force: bool) -> Result<()> {
    write_files(files, force)?;
    for (path, _) in files {
        remark(&format!("wrote {}", path.display()));
    }
    Ok(())
}
