//! `gritwise page`

use super::sets::folder_of;
use super::{YesNo, output};
use crate::page::Server;
use crate::tables::Tables;
use anyhow::{Result, bail};
use clap::Args;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// Design a scrub by hand in a browser, on this machine only
///
/// Serves a page on 127.0.0.1, prints its address and opens it: move shares, grades and materials and see curves, index and
/// band change at once. Files are read and written in one folder only, and written only when you say so. Ctrl-C ends it.
///
/// The address holds a token that lets the page in; keep it to yourself. The index is a model, not a clinical measure.
#[derive(Debug, Args)]
#[command(
    after_help = "Examples:\n  gritwise page my-scrub\n  gritwise page my-scrub/scrub.toml --port 8800 --no-open"
)]
pub(super) struct PageCommand {
    /// A folder of scrub files, or one scrub file in it
    #[arg(value_name = "PATH", default_value = ".")]
    path: PathBuf,

    /// The port; one of the folder's own if it is left out, or any free one where that is taken
    #[arg(long, value_name = "N", default_value_t = 0, hide_default_value = true)]
    port: u16,

    /// Only print the address
    #[arg(long)]
    no_open: bool,
}

impl PageCommand {
    pub(super) fn run(&self, tables: Tables) -> Result<YesNo> {
        let judge = super::judge(&tables)?;
        let (folder, file) = self.folder_and_file()?;
        let page = Server::new(folder, self.port, tables, judge)?;
        let address = page.address(file.as_deref());
        output::print(&format!("{address}\n"))?;
        output::remark("Open this address in a browser on this machine; Ctrl-C ends the page.");
        let door = (!self.no_open).then(|| opened(&address));
        if let Some(Err(_)) = door {
            output::remark("No browser could be started; open the address yourself.");
        }
        page.serve()?;
        // It is of no use without the page.
        drop(door);
        Ok(YesNo::Yes)
    }

    fn folder_and_file(&self) -> Result<(&Path, Option<String>)> {
        let path = &self.path;
        if path.is_dir() {
            return Ok((path, None));
        }
        if !path.exists() {
            bail!("{}: no such file or folder; check the name", path.display());
        }
        let file = match path.file_name().map(|n| n.to_str()) {
            Some(None) => bail!("{}: its name is not UTF-8; give it another", path.display()),
            name => name.flatten().map(str::to_owned),
        };
        if !path.extension().is_some_and(|e| e.eq_ignore_ascii_case("toml")) {
            bail!("{}: is no scrub file; name a folder or a file that ends in .toml", path.display());
        }
        Ok((folder_of(path), file))
    }
}

/// The file that sends a browser to the page.
const DOOR: &str = "gritwise.html";

/// Starts the browser with a file that sends it on to an address, and gives the folder of that file. Every user of the machine can
/// see what a browser is started with, but none save the owner can read the file.
fn opened(address: &str) -> std::io::Result<TempDir> {
    let (mut place, mut options) = (tempfile::Builder::new(), OpenOptions::new());
    options.write(true).create_new(true);
    #[cfg(unix)]
    {
        use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
        place.permissions(std::fs::Permissions::from_mode(0o700));
        options.mode(0o600);
    }
    let folder = place.prefix("gritwise-").tempdir()?;
    // Of what HTML reads as its own, a percent-encoded address holds this alone.
    let address = address.replace('&', "&amp;");
    let text = format!(
        "<!DOCTYPE html>\n<meta charset=\"utf-8\">\n<meta name=\"referrer\" content=\"no-referrer\">\n\
         <meta http-equiv=\"refresh\" content=\"0; url={address}\">\n<title>gritwise</title>\n\
         <p><a href=\"{address}\">Open the page</a></p>\n"
    );
    let door = folder.path().join(DOOR);
    options.open(&door)?.write_all(text.as_bytes())?;
    open::that_detached(&door)?;
    Ok(folder)
}
