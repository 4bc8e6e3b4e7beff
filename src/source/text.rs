//! Bytes of a file as text: UTF-8 for what people write in an editor; for tables also what spreadsheets write.

use super::{Place, ReadError, read_bounded};
use std::io::Read;

/// The text of an open file that goes by the name `file`.
///
/// # Errors
/// As [`super::read_text`].
pub fn text_of(opened: impl Read, file: String) -> Result<String, ReadError> {
    text_from(read_bounded(opened, &file)?, file)
}

pub(super) fn text_from(bytes: Vec<u8>, file: String) -> Result<String, ReadError> {
    let text = String::from_utf8(bytes).map_err(|e| {
        let good = e.utf8_error().valid_up_to();
        let before = String::from_utf8_lossy(&e.as_bytes()[..good]);
        ReadError::NotUtf8 { place: Place::at_byte(file.clone(), &before, good) }
    })?;
    let text = text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text);
    if text.trim().is_empty() {
        return Err(ReadError::Empty { file });
    }
    Ok(text)
}

/// The text of a table as spreadsheets save it: UTF-8, UTF-16 with its byte-order mark, else Windows-1252, of which Latin-1 is the
/// part that people type.
///
/// # Errors
/// [`ReadError::Empty`], and [`ReadError::NotText`] where a byte of zero stands.
pub fn table_text(bytes: &[u8], file: &str) -> Result<String, ReadError> {
    let text = match bytes {
        [0xff, 0xfe, rest @ ..] => utf16(rest, u16::from_le_bytes),
        [0xfe, 0xff, rest @ ..] => utf16(rest, u16::from_be_bytes),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => text.strip_prefix('\u{feff}').unwrap_or(text).to_owned(),
            Err(_) => bytes.iter().map(|b| windows_1252(*b)).collect(),
        },
    };
    if let Some(at) = text.find('\0') {
        return Err(ReadError::NotText { place: Place::at_byte(file, &text, at) });
    }
    if text.trim().is_empty() {
        return Err(ReadError::Empty { file: file.to_owned() });
    }
    Ok(text)
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> String {
    let units = bytes.chunks(2).map(|pair| pair.try_into().map_or(u16::from(u8::MAX), unit));
    char::decode_utf16(units).map(|c| c.unwrap_or(char::REPLACEMENT_CHARACTER)).collect()
}

/// Windows-1252 where it is not Latin-1 (the table of the WHATWG Encoding Standard), from 0x80 on.
const OWN: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}', '\u{90}', '‘', '’',
    '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
];

fn windows_1252(byte: u8) -> char {
    match byte {
        0x80..=0x9f => OWN[usize::from(byte - 0x80)],
        _ => char::from(byte),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tables_come_in_four_encodings() {
        let text = "Sieb (µm);Rückstand\n";
        let utf16 = |order: fn(u16) -> [u8; 2], mark: [u8; 2]| -> Vec<u8> {
            mark.into_iter().chain(text.encode_utf16().flat_map(order)).collect()
        };
        let latin = text.chars().map(|c| u8::try_from(u32::from(c)).unwrap()).collect();
        let marked = [b"\xef\xbb\xbf", text.as_bytes()].concat();
        for bytes in [utf16(u16::to_le_bytes, [0xff, 0xfe]), utf16(u16::to_be_bytes, [0xfe, 0xff]), latin, marked] {
            assert_eq!(table_text(&bytes, "t.csv").unwrap(), text);
        }
        assert_eq!(table_text(b"\x80\xa0\xb5", "t.csv").unwrap(), "€\u{a0}µ");
    }

    #[test]
    fn what_is_no_text_is_refused_where_it_starts() {
        let message = |bytes: &[u8]| table_text(bytes, "t.csv").unwrap_err().to_string();
        assert!(message(b"a,b\n1,\x002").starts_with("t.csv:2:3: not text"));
        assert!(message(b"\xff\xfe").contains("empty"));
        assert!(!table_text(b"\xff\xfea\0b", "t.csv").unwrap().is_empty());
    }
}
