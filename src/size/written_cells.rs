//! Numbers as cells of a spreadsheet have them: decimal commas, thousands marks, units behind them.

use super::headings::{Heading, Says, said};

/// What stands between the digits of the whole part where it is marked in threes, beside comma and point.
const SPACES: [char; 6] = [' ', '\u{a0}', '\u{202f}', '\u{2009}', '\'', '’'];

/// What the cells of a table tell of its decimal mark.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Marks {
    comma: bool,
    point: bool,
    /// The file is of a kind that has decimal commas, if nothing in it says otherwise.
    by_file: bool,
}

/// A number out of a cell.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct CellFigure {
    /// Its digits, with a point for the decimals.
    pub digits: String,
    /// The unit behind it, by what its words say.
    pub unit: Vec<Says>,
}

/// Digits, marks and the rest of a cell; `None` where it does not start with a number.
fn parted(cell: &str) -> Option<(String, &str)> {
    let cell = cell.trim();
    let mut end = 0;
    for (at, c) in cell.char_indices() {
        let digit_follows = || cell[at + c.len_utf8()..].starts_with(|c: char| c.is_ascii_digit());
        match c {
            '0'..='9' => end = at + 1,
            '+' | '-' if at == 0 && digit_follows() => {}
            ',' | '.' if at == 0 && !digit_follows() => return None,
            ',' | '.' => end = at + 1,
            'e' | 'E'
                if at == end
                    && end > 0
                    && cell[at + 1..].trim_start_matches(['+', '-']).starts_with(|c: char| c.is_ascii_digit()) =>
            {
                let rest = cell[at + 1..].trim_start_matches(['+', '-']);
                let digits = rest.find(|c: char| !c.is_ascii_digit()).unwrap_or(rest.len());
                end = cell.len() - rest.len() + digits;
                break;
            }
            c if SPACES.contains(&c) && at == end && digit_follows() => {}
            _ => break,
        }
    }
    (end > 0).then(|| (cell[..end].to_owned(), &cell[end..]))
}

/// The whole part and the decimals at the last mark of a kind, if there is one.
fn last_mark(digits: &str) -> Option<(char, &str, &str)> {
    let at = digits.rfind([',', '.'])?;
    Some((digits[at..].chars().next()?, &digits[..at], &digits[at + 1..]))
}

/// Whether a mark may be of thousands: three digits behind it, one to three before it, no zero at their head.
fn in_threes(whole: &str, decimals: &str) -> bool {
    let whole = whole.trim_start_matches(['+', '-']);
    decimals.len() == 3
        && (1..=3).contains(&whole.len())
        && !whole.starts_with('0')
        && whole.chars().all(|c| c.is_ascii_digit())
}

impl Marks {
    /// What all these cells tell together.
    pub fn of<'a>(cells: impl Iterator<Item = &'a str>, by_file: bool) -> Self {
        let mut marks = Self { by_file, ..Self::default() };
        for (digits, _) in cells.filter_map(parted) {
            let Some((mark, whole, decimals)) = last_mark(&digits) else { continue };
            let repeated = whole.contains(mark);
            if in_threes(whole, decimals) {
                continue;
            }
            // 1,250,000 has a point for decimals if it has any; 1,250.5 and 3.5 do.
            *(if (mark == '.') == repeated { &mut marks.comma } else { &mut marks.point }) = true;
        }
        marks
    }

    /// Whether commas are the decimal marks, as far as these cells say so.
    pub fn decimal_commas(self) -> bool {
        self.comma && !self.point
    }

    /// The number of a cell.
    ///
    /// # Errors
    /// What is wrong with it, and what would be right; both readings where there are two.
    pub fn read(self, cell: &str, headings: &[Heading]) -> Result<CellFigure, String> {
        let no_number = || match cell.trim() {
            "" => "no number stands here; write 0 if it is nothing".to_owned(),
            date if date.ends_with("(a date)") => format!(
                "\"{date}\" is not a number: the spreadsheet made a date of what was typed; format the cell as a number and type \
                 it again"
            ),
            cell => format!("\"{cell}\" is not a number; write it like 12.5"),
        };
        let (digits, rest) = parted(cell).ok_or_else(no_number)?;
        let unit = if rest.trim().is_empty() { Vec::new() } else { said(headings, rest) };
        if unit.is_empty() && !rest.trim().is_empty() {
            return Err(no_number());
        }
        let plain = self
            .with_point(&digits)
            .map_err(|[one, other]| format!("\"{}\" may be {one} or {other}; write one of them", cell.trim()))?;
        let plain = plain.filter(|plain| plain.parse::<f64>().is_ok_and(f64::is_finite)).ok_or_else(no_number)?;
        Ok(CellFigure { digits: plain, unit })
    }

    /// The digits with a point for the decimals, or both readings; `None` where the marks make no number.
    fn with_point(self, written: &str) -> Result<Option<String>, [String; 2]> {
        let Some(digits) = without_marks(written, &SPACES) else { return Ok(None) };
        let Some((mark, whole, decimals)) = last_mark(&digits) else { return Ok(Some(digits)) };
        let other = if mark == ',' { '.' } else { ',' };
        if whole.contains(mark) {
            return Ok(without_marks(&digits, &[mark]));
        }
        let decimal = without_marks(whole, &[other]).map(|whole| format!("{whole}.{decimals}"));
        if whole.contains(other) || !in_threes(whole, decimals) {
            return Ok(decimal);
        }
        let thousands = without_marks(&digits, &[mark]);
        let said = if mark == ',' { [self.comma, self.point] } else { [self.point, self.comma] };
        match said {
            [true, false] => Ok(decimal),
            [false, true] => Ok(thousands),
            // Nothing says it but the file: a point is one of decimals where columns are not kept apart by semicolons, and a comma
            // where they are.
            [false, false] if (mark == ',') == self.by_file => Ok(decimal),
            _ => Err([thousands, decimal].map(Option::unwrap_or_default)),
        }
    }
}

/// Digits without the marks that part their whole part in threes; `None` where they part it otherwise.
fn without_marks(digits: &str, marks: &[char]) -> Option<String> {
    let whole = digits.trim_start_matches(['+', '-']);
    let end = whole.find(|c: char| !c.is_ascii_digit() && !marks.contains(&c)).unwrap_or(whole.len());
    let (whole, rest) = whole.split_at(end);
    let mut groups = whole.split(marks);
    let first = groups.next()?;
    let rest_of_groups: Vec<&str> = groups.collect();
    if !rest_of_groups.is_empty()
        && (first.is_empty() || first.len() > 3 || rest_of_groups.iter().any(|g| g.len() != 3))
    {
        return None;
    }
    let sign = if digits.starts_with('-') { "-" } else { "" };
    let plain = format!("{sign}{first}{}{rest}", rest_of_groups.concat());
    (!plain.contains(marks)).then_some(plain)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn digits(cells: &[&str], by_file: bool, cell: &str) -> Result<String, String> {
        let percent = Heading { word: "%".to_owned(), says: Says::Percent };
        Marks::of(cells.iter().copied().chain([cell]), by_file).read(cell, &[percent]).map(|figure| figure.digits)
    }

    #[test]
    fn marks_are_told_apart_by_all_cells() {
        let cases: [(&[&str], bool, &str, &str); 15] = [
            (&[], false, "3,1 %", "3.1"),
            (&[], false, "1 250", "1250"),
            (&[], false, "1\u{a0}250,5", "1250.5"),
            (&[], false, "1'250", "1250"),
            (&[], false, "1,250.5", "1250.5"),
            (&[], false, "1.250,5", "1250.5"),
            (&[], false, "1,250,000", "1250000"),
            (&["0.5"], false, "1,250", "1250"),
            (&["0,5"], false, "1,250", "1.250"),
            (&["0,5"], false, "1.250", "1250"),
            (&[], false, "1.250", "1.250"),
            (&[], true, "1,250", "1.250"),
            (&[], false, "0,250", "0.250"),
            (&[], false, "1e3", "1e3"),
            (&[], false, "-5", "-5"),
        ];
        for (others, by_file, cell, wanted) in cases {
            assert_eq!(digits(others, by_file, cell).as_deref(), Ok(wanted), "{cell} beside {others:?}");
        }
    }

    #[test]
    fn what_may_be_two_numbers_is_asked() {
        for (others, by_file, cell) in
            [(&[][..], false, "1,250"), (&["0,5", "0.5"], false, "1.250"), (&[], true, "1.250")]
        {
            let asked = digits(others, by_file, cell).unwrap_err();
            assert!(asked.contains("may be 1250 or 1.250; write one of them"), "{asked}");
        }
        for cell in ["", "sixty", "1.2.3,4,5", "12 parsecs", "--5", ",", "NaN", "1e999", "2026-03-12 (a date)"] {
            assert!(digits(&[], false, cell).is_err(), "{cell}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_cell_makes_it_panic(cell in "[0-9,.eE+ µ%'’-]{0,12}") {
            let _ = digits(&[], false, &cell);
        }
    }

    #[test]
    fn an_e_is_of_the_number_only_between_digits() {
        for (cell, digits, rest) in
            [("1e3 um", "1e3", " um"), ("2.5E-1", "2.5E-1", ""), ("12em", "12", "em"), ("12e", "12", "e")]
        {
            assert_eq!(parted(cell), Some((digits.to_owned(), rest)), "{cell}");
        }
        assert_eq!((parted("e5"), parted("em 5")), (None, None));
    }
}
