//! All files of the folder in one.

use super::answer::{Refusal, Reply};
use super::folder::{READ_ENDINGS, SCRUB_ENDINGS, ends};
use super::held::Page;
use std::io::{Cursor, Write};
use std::path::Path;
use zip::write::{SimpleFileOptions, ZipWriter};
use zip::{CompressionMethod, DateTime};

/// A zip of the scrub files, shelves, aims and tables. The same files make the same bytes: none has a date.
pub(super) fn archive(page: &Page) -> Result<Reply, Refusal> {
    let failed = |e: &dyn std::error::Error| Refusal::failed(format!("the files cannot be put together: {e}"));
    let names = page.folder.names().map_err(|e| failed(&e))?;
    let ours = |name: &String| ends(name, &SCRUB_ENDINGS) || ends(name, &READ_ENDINGS);
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Deflated)
        .last_modified_time(DateTime::default());
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for name in names.into_iter().flatten().filter(ours) {
        // A folder may be called like a file.
        if !page.folder.is_file(&name)? {
            continue;
        }
        let bytes = page.folder.bytes(Path::new(&name))?;
        zip.start_file(name, options).map_err(|e| failed(&e))?;
        zip.write_all(&bytes).map_err(|e| failed(&e))?;
    }
    let done = zip.finish().map_err(|e| failed(&e))?;
    Ok(Reply::of("application/zip", done.into_inner()))
}
