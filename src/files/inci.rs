//! INCI names as people write them.

use super::ScrubFileError;
use super::reader::TomlSection;

/// An INCI name as the tables know it: one space between words, no mark of a footnote behind it. A strength does not belong into it.
pub(super) fn inci_name(section: &TomlSection) -> Result<Option<String>, ScrubFileError> {
    let Some(inci) = section.text("inci")? else { return Ok(None) };
    let tidy = inci.value.split_whitespace().collect::<Vec<_>>().join(" ");
    let tidy = tidy.trim_end_matches(['*', '†', '‡', '.', ',', ' ']);
    if let Some((before, _)) = tidy.split_once('%') {
        let name = before.trim_end_matches(|c: char| c.is_ascii_digit() || ".,( ".contains(c));
        let share = before[name.len()..].trim_matches(['(', ' ']);
        let problem =
            format!("inci = \"{tidy}\" holds a share; write inci = \"{name}\" and strength_pct = {share} beside it");
        return Err(section.error_at(inci.offset, problem));
    }
    Ok(Some(tidy.to_owned()))
}
