//! Sheets of a spreadsheet's workbook (.xlsx), read through `calamine` cell by cell, so that a cell at the far corner costs one cell.
//!
//! A workbook is a zip file from anywhere. All its parts are unpacked once into nothing before it is read, so that neither what it
//! unpacks to nor what it says of itself is more than a table needs; what the reader still trips over is told as damage.

use super::{NEVER_WORKED_OUT, ReadError, Row, Sheet, did_you_mean};
use calamine::{Cell, DataRef, Reader, SheetType, SheetVisible, Xlsx};
use std::collections::HashSet;
use std::io::{Cursor, Read};
use std::panic::{AssertUnwindSafe, catch_unwind};
use zip::ZipArchive;

/// Parts of a workbook; one of a table has a dozen.
const MOST_PARTS: usize = 2_000;
/// What all of them unpack to, bytes.
const MOST_UNPACKED: u64 = 32 << 20;
/// Cells with something in them, of one sheet.
const MOST_CELLS: usize = 500_000;
/// Formulas that were never worked out, of which that many are told.
const MOST_UNWORKED: usize = 1_000;
/// Columns of a sheet that are looked at.
const MOST_COLUMNS: u32 = 256;

/// The sheets that show and hold something, or the one that is wanted, with their names.
///
/// # Errors
/// [`ReadError::Workbook`].
pub(super) fn sheets(bytes: &[u8], file: &str, wanted: Option<&str>) -> Result<Vec<Sheet>, ReadError> {
    let wrong = |why: String| ReadError::Workbook { file: file.to_owned(), why };
    check_parts(bytes).map_err(wrong)?;
    let read = || read(bytes, file, wanted);
    // The reader is another's and the file from anywhere: what it cannot take is damage, not the end of the program.
    catch_unwind(AssertUnwindSafe(read)).unwrap_or_else(|_| Err(damaged("it contradicts itself"))).map_err(wrong)
}

fn damaged(cause: impl std::fmt::Display) -> String {
    format!("cannot be read as a workbook ({cause}); open it in the spreadsheet and save it again as .xlsx, or as CSV")
}

/// Unpacks every part into nothing.
fn check_parts(bytes: &[u8]) -> Result<(), String> {
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(damaged)?;
    if archive.len() > MOST_PARTS {
        return Err(format!("{} parts; a workbook with a size table has a few dozen", archive.len()));
    }
    let (mut left, mut part) = (MOST_UNPACKED, Vec::new());
    for i in 0..archive.len() {
        let packed = archive.by_index(i).map_err(damaged)?;
        part.clear();
        let unpacked = packed.take(left + 1).read_to_end(&mut part).map_err(damaged)? as u64;
        left = left.checked_sub(unpacked).ok_or_else(|| {
            format!("unpacks to more than {} MiB; copy the size table into a workbook of its own", MOST_UNPACKED >> 20)
        })?;
        check_count(&part)?;
    }
    Ok(())
}

/// How many texts a part says it holds, which the reader makes room for unseen.
fn check_count(part: &[u8]) -> Result<(), String> {
    const COUNT: &[u8] = b"uniqueCount";
    // A part in UTF-16 is that text with a zero beside each letter.
    let letters: Vec<u8> = part.iter().copied().filter(|b| *b != 0).take(4096).collect();
    let Some(at) = letters.windows(COUNT.len()).position(|w| w == COUNT) else { return Ok(()) };
    let digits = letters[at..].iter().skip_while(|b| !b.is_ascii_digit()).take_while(|b| b.is_ascii_digit());
    let count = digits.fold(0_usize, |n, digit| n.saturating_mul(10).saturating_add(usize::from(digit - b'0')));
    if count <= part.len() { Ok(()) } else { Err(damaged("it says to hold more texts than fit into it")) }
}

fn read(bytes: &[u8], file: &str, wanted: Option<&str>) -> Result<Vec<Sheet>, String> {
    let mut book: Xlsx<_> = Xlsx::new(Cursor::new(bytes)).map_err(damaged)?;
    let pages = book.sheets_metadata().iter().filter(|s| s.typ == SheetType::WorkSheet);
    let names: Vec<(String, bool)> = pages.map(|s| (s.name.clone(), s.visible == SheetVisible::Visible)).collect();
    let is_wanted = |name: &(String, bool)| wanted.map_or(name.1, |wanted| name.0.trim() == wanted.trim());
    let chosen: Vec<&String> = names.iter().filter(|n| is_wanted(n)).map(|n| &n.0).collect();
    if let (Some(wanted), []) = (wanted, chosen.as_slice()) {
        return Err(format!("no sheet \"{wanted}\"; {}", did_you_mean(wanted, names.iter().map(|n| n.0.as_str()))));
    }
    let mut sheets = Vec::new();
    for name in chosen {
        let rows = rows(&mut book, name)?;
        if !rows.is_empty() {
            sheets.push(Sheet::of_cells(file, name, rows));
        }
    }
    if sheets.is_empty() { Err("the workbook holds no cells".to_owned()) } else { Ok(sheets) }
}

/// The rows of a sheet that hold something, each as wide as its last such cell.
fn rows(book: &mut Xlsx<Cursor<&[u8]>>, name: &str) -> Result<Vec<Row>, String> {
    let mut cells = book.worksheet_cells_reader(name).map_err(damaged)?;
    // A share that is shown as 3.1 % is kept as 0.031.
    let shows_percent = |code: &str| code.contains('%');
    let formats = cells.styles().iter().map(|style| style.number_format.as_ref());
    let percent: Vec<bool> = formats.map(|f| f.is_some_and(|f| shows_percent(&f.format_code))).collect();
    let (mut found, mut rows, mut blank): (usize, Vec<Row>, HashSet<(u32, u32)>) = (0, Vec::new(), HashSet::new());
    while let Some((cell, style)) = cells.next_cell_with_style_id().map_err(damaged)? {
        let text = text(&cell, percent.get(style) == Some(&true));
        if text.is_empty() {
            blank.extend(matches!(cell.get_value(), DataRef::Empty).then(|| cell.get_position()));
            continue;
        }
        let (row, column) = cell.get_position();
        found += 1;
        if found > MOST_CELLS || column >= MOST_COLUMNS {
            return Err(format!(
                "sheet \"{name}\" has more than {MOST_CELLS} cells or {MOST_COLUMNS} columns, which is no size table; copy the \
                 table into a sheet of its own"
            ));
        }
        let (line, place) = (row as usize + 1, column as usize);
        if rows.last().is_some_and(|r| r.line > line) {
            return Err(damaged("its rows are out of order"));
        }
        put(&mut rows, line, place, text);
    }
    drop(cells);
    if !blank.is_empty() {
        put_unworked(&mut rows, book, name, &blank)?;
    }
    Ok(rows)
}

/// Puts a text into a cell; its row is the last one, mostly.
fn put(rows: &mut Vec<Row>, line: usize, place: usize, text: String) {
    let at = rows.partition_point(|row| row.line < line);
    if rows.get(at).is_none_or(|row| row.line != line) {
        rows.insert(at, Row { line, cells: Vec::new() });
    }
    let cells = &mut rows[at].cells;
    while cells.len() <= place {
        cells.push((cells.len() + 1, String::new()));
    }
    cells[place].1 = text;
}

/// Formulas that a program wrote and no spreadsheet has worked out stand for themselves, so that no one takes them for empty cells.
fn put_unworked(
    rows: &mut Vec<Row>,
    book: &mut Xlsx<Cursor<&[u8]>>,
    name: &str,
    blank: &HashSet<(u32, u32)>,
) -> Result<(), String> {
    let mut cells = book.worksheet_cells_reader(name).map_err(damaged)?;
    let mut found = 0;
    while let Some(cell) = cells.next_formula().map_err(damaged)? {
        let (row, column) = cell.get_position();
        if !blank.contains(&(row, column)) || cell.get_value().is_empty() || column >= MOST_COLUMNS {
            continue;
        }
        found += 1;
        if found > MOST_UNWORKED {
            break;
        }
        let text = format!("={} {NEVER_WORKED_OUT}", cell.get_value());
        put(rows, row as usize + 1, column as usize, text);
    }
    Ok(())
}

/// What a cell says, as it would be typed with a point for the decimals.
fn text(cell: &Cell<DataRef>, percent: bool) -> String {
    match cell.get_value() {
        DataRef::Float(number) if percent => format!("{} %", plain(100.0 * number)),
        DataRef::Float(number) => plain(*number),
        DataRef::Int(number) if percent => format!("{} %", 100.0 * *number as f64),
        DataRef::Int(number) => number.to_string(),
        DataRef::String(text) => text.trim().to_owned(),
        DataRef::SharedString(text) => text.trim().to_owned(),
        DataRef::Bool(flag) => flag.to_string(),
        DataRef::DateTime(day) if !day.is_duration() => {
            let (year, month, day, ..) = day.to_ymd_hms_milli();
            format!("{year:04}-{month:02}-{day:02} (a date)")
        }
        DataRef::DateTime(time) => format!("{} (a time)", time.as_f64()),
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => format!("{text} (a date)"),
        DataRef::Error(error) => error.to_string(),
        DataRef::Empty => String::new(),
    }
}

/// A number of a cell, without the noise of its last bits. Three decimals get a zero behind them, so that their point is not taken
/// for the thousands mark of a sheet with decimal commas.
fn plain(number: f64) -> String {
    let rounded = format!("{number:.14e}").parse().unwrap_or(number);
    let text = format!("{rounded}");
    match text.split_once('.') {
        Some((_, decimals)) if decimals.len() == 3 => text + "0",
        _ => text,
    }
}
