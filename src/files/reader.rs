//! TOML taken key by key, each value with its place, so that every error names file, line and column, and an unknown key
//! the nearest known one. Parsing itself is the `toml` crate's.

use super::ScrubFileError;
use super::typed::{is_entry, slip};
use crate::source::{CalendarDate, Fault, Located, Place, did_you_mean, wrong_in_line, wrong_in_name};
use crate::units::UnitError;
use std::collections::BTreeSet;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// Faults of one kind that are looked for in a file, most of which are counted only: each is sought from the start of the file.
const MOST_FAULTS: usize = 1_000;

/// A TOML text with the name it goes by in errors.
#[derive(Debug, Clone, Copy)]
pub struct TomlDocument<'t> {
    file: &'t str,
    text: &'t str,
}

/// A value with its byte offset in the document.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Byte offset.
    pub offset: usize,
}

impl<'t> TomlDocument<'t> {
    /// Names a text.
    pub fn new(file: &'t str, text: &'t str) -> Self {
        Self { file, text }
    }

    /// Parses the text into its root table.
    ///
    /// # Errors
    /// [`ScrubFileError::Value`] where the text is not TOML: the first such place, and every line with a slip that is known.
    pub fn parse(&self) -> Result<Spanned<DeTable<'t>>, ScrubFileError> {
        let (root, errors) = DeTable::parse_recoverable(self.text);
        let fault = |place: Place, problem: String| Located::new(place, format!("not valid TOML: {problem}"));
        let mut faults: Vec<Located> = Vec::new();
        for e in errors.iter().take(MOST_FAULTS) {
            let place = self.place(e.span().map_or(0, |s| s.start));
            let line = place.line.and_then(|line| self.text.lines().nth(line - 1)).unwrap_or("");
            let known = slip(line, e.message());
            // What the parser says behind its first trouble may be of it.
            if known.is_some() || faults.is_empty() {
                faults.push(fault(place, known.unwrap_or_else(|| said(e.message()))));
            }
        }
        // It does not go on behind every trouble, so the other lines are looked at one by one.
        for (i, line) in self.text.lines().enumerate().filter(|_| !errors.is_empty()) {
            if faults.len() > MOST_FAULTS {
                break;
            }
            let wrong = DeTable::parse(line).err().filter(|_| is_entry(line));
            let known = wrong.and_then(|e| Some((e.span().map_or(0, |s| s.start), slip(line, e.message())?)));
            faults.extend(
                known.map(|(at, known)| {
                    fault(Place { line: Some(i + 1), ..Place::at_byte(self.file, line, at) }, known)
                }),
            );
        }
        let mut seen = BTreeSet::new();
        faults.retain(|fault| seen.insert(fault.place.line));
        Located::all(faults).map_or(Ok(root), |all| Err(all.into()))
    }

    /// An error at a byte offset.
    pub fn error(&self, offset: usize, fault: impl Into<Fault>) -> ScrubFileError {
        Located::new(self.place(offset), fault).into()
    }

    /// The place of a byte offset.
    pub fn place(&self, offset: usize) -> Place {
        Place::at_byte(self.file, self.text, offset)
    }
}

/// A table being read. [`TomlSection::only`] refuses keys that nobody asks for, before anything is said to be missing: a
/// mistyped key is both.
pub struct TomlSection<'d, 't> {
    document: TomlDocument<'t>,
    name: String,
    offset: usize,
    table: &'d DeTable<'t>,
}

impl<'d, 't> TomlSection<'d, 't> {
    /// Starts reading a table that errors call `name`.
    pub fn new(document: TomlDocument<'t>, name: impl Into<String>, offset: usize, table: &'d DeTable<'t>) -> Self {
        Self { document, name: name.into(), offset, table }
    }

    /// Where the table starts.
    pub fn offset(&self) -> usize {
        self.offset
    }

    /// Where the value of a key stands; of a key that is not there, the table.
    pub fn offset_of(&self, key: &str) -> usize {
        self.get(key).map_or(self.offset, |at| at.offset)
    }

    fn get(&self, key: &str) -> Option<At<&'d DeValue<'t>>> {
        // The map is looked up by spanned keys, whose spans do not take part in comparison.
        let (_, value) = self.table.iter().find(|(k, _)| k.get_ref().as_ref() == key)?;
        Some(At { value: value.get_ref(), offset: value.span().start })
    }

    fn wrong(&self, key: &str, at: &At<&DeValue>, wanted: &str) -> ScrubFileError {
        self.document.error(at.offset, format!("{key} must be {wanted}, not {}", kind(at.value)))
    }

    /// A string; a name is one of [`LONGEST_NAME`](crate::source::LONGEST_NAME) characters at most.
    ///
    /// # Errors
    /// When the value is no string, is blank, too long, or holds what no line of text can.
    pub fn text(&self, key: &str) -> Result<Option<At<String>>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(None) };
        let DeValue::String(text) = at.value else { return Err(self.wrong(key, &at, "a text in quotes")) };
        if text.trim().is_empty() {
            return Err(self.document.error(at.offset, format!("{key} is blank; give it a text")));
        }
        let is_name = ["name", "inci", "lot"].contains(&key);
        if let Some(wrong) = if is_name { wrong_in_name(text) } else { wrong_in_line(text) } {
            let written = self.document.text[at.offset..].lines().next().unwrap_or("");
            // "C:\new\table.csv" is TOML, but not that path.
            let path = if written.contains(":\\") { " (a path is written with /, or in single quotes)" } else { "" };
            return Err(self.document.error(at.offset, format!("{key} {wrong}{path}")));
        }
        Ok(Some(At { value: text.trim().to_owned(), offset: at.offset }))
    }

    /// A number, written as an integer or a float.
    ///
    /// # Errors
    /// When the value is no number.
    pub fn number(&self, key: &str) -> Result<Option<At<f64>>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(None) };
        match number(at.value) {
            Some(value) => Ok(Some(At { value, offset: at.offset })),
            None => Err(self.wrong(key, &at, "a number")),
        }
    }

    /// A day, as a date of TOML or as a text.
    ///
    /// # Errors
    /// When the value is neither, or no day of the calendar.
    pub fn date(&self, key: &str) -> Result<Option<CalendarDate>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(None) };
        let text = match at.value {
            DeValue::String(text) => text.trim().to_owned(),
            DeValue::Datetime(day) => day.to_string(),
            _ => return Err(self.wrong(key, &at, "a date, such as 2026-11-20")),
        };
        let wrong = |fault: Fault| self.document.error(at.offset, format!("{key}: {fault}"));
        text.parse().map(Some).map_err(wrong)
    }

    /// True or false.
    ///
    /// # Errors
    /// When the value is neither.
    pub fn flag(&self, key: &str) -> Result<Option<bool>, ScrubFileError> {
        match self.get(key) {
            None => Ok(None),
            Some(At { value: DeValue::Boolean(flag), .. }) => Ok(Some(*flag)),
            Some(at) => Err(self.wrong(key, &at, "true or false")),
        }
    }

    /// Whether a key is there.
    pub fn has(&self, key: &str) -> bool {
        self.get(key).is_some()
    }

    /// Two numbers in brackets.
    ///
    /// # Errors
    /// When the value is anything else.
    pub fn pair(&self, key: &str) -> Result<Option<At<[f64; 2]>>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(None) };
        let DeValue::Array(items) = at.value else {
            return Err(self.wrong(key, &at, "two numbers in brackets, like [50, 150]"));
        };
        let numbers: Vec<f64> = items.iter().filter_map(|v| number(v.get_ref())).collect();
        match (items.len(), numbers.as_slice()) {
            (2, &[low, high]) => Ok(Some(At { value: [low, high], offset: at.offset })),
            _ => Err(self.document.error(at.offset, format!("{key} must be two numbers in brackets, like [50, 150]"))),
        }
    }

    /// A number, which stands for both, or two numbers in brackets.
    ///
    /// # Errors
    /// When the value is anything else.
    pub fn number_or_pair(&self, key: &str) -> Result<Option<At<[f64; 2]>>, ScrubFileError> {
        match self.get(key) {
            Some(At { value: DeValue::Array(_), .. }) => self.pair(key),
            _ => Ok(self.number(key)?.map(|at| At { value: [at.value; 2], offset: at.offset })),
        }
    }

    /// A list of numbers.
    ///
    /// # Errors
    /// When the value is anything else.
    pub fn numbers(&self, key: &str) -> Result<Option<At<Vec<f64>>>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(None) };
        let wanted = "a list of numbers, like [1.5, 2]";
        let DeValue::Array(items) = at.value else { return Err(self.wrong(key, &at, wanted)) };
        let one = |item: &Spanned<DeValue>| {
            let at = At { value: item.get_ref(), offset: item.span().start };
            number(at.value).ok_or_else(|| self.wrong(key, &at, wanted))
        };
        Ok(Some(At { value: items.iter().map(one).collect::<Result<_, _>>()?, offset: at.offset }))
    }

    /// A list of strings; empty when it is not there.
    ///
    /// # Errors
    /// When the value is anything else.
    pub fn texts(&self, key: &str) -> Result<Vec<String>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(Vec::new()) };
        let wanted = "a list of texts, like [\"nut\", \"plant\"]";
        let DeValue::Array(items) = at.value else { return Err(self.wrong(key, &at, wanted)) };
        let text = |item: &Spanned<DeValue>| match item.get_ref() {
            DeValue::String(text) => match wrong_in_name(text) {
                None => Ok(text.trim().to_owned()),
                Some(wrong) => Err(self.document.error(item.span().start, format!("{key}: a text {wrong}"))),
            },
            other => Err(self.wrong(key, &At { value: other, offset: item.span().start }, wanted)),
        };
        items.iter().map(text).collect()
    }

    /// The keys of `wanted` that are there, each with its value as it is written; a table is put on one line, whether it
    /// stood in braces or under a header of its own.
    pub fn written(&self, wanted: &[&str]) -> Vec<(String, String)> {
        let present = wanted.iter().filter_map(|key| self.table.iter().find(|(k, _)| k.get_ref().as_ref() == *key));
        present.map(|(k, v)| (k.get_ref().to_string(), self.literal(v))).collect()
    }

    fn literal(&self, value: &Spanned<DeValue>) -> String {
        let DeValue::Table(table) = value.get_ref() else { return self.document.text[value.span()].to_owned() };
        let mut entries: Vec<_> = table.iter().collect();
        entries.sort_by_key(|(k, _)| k.span().start);
        let entries: Vec<String> =
            entries.into_iter().map(|(k, v)| format!("{} = {}", k.get_ref(), self.literal(v))).collect();
        format!("{{ {} }}", entries.join(", "))
    }

    /// A table within this one.
    ///
    /// # Errors
    /// When the value is no table.
    pub fn section(&self, key: &str) -> Result<Option<TomlSection<'d, 't>>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(None) };
        match at.value {
            DeValue::Table(table) => Ok(Some(TomlSection::new(self.document, key, at.offset, table))),
            _ => Err(self.wrong(key, &at, &format!("a table ([{key}] or {{ … }})"))),
        }
    }

    /// A table or a text.
    ///
    /// # Errors
    /// When the value is neither.
    pub fn section_or_text(
        &self,
        key: &str,
    ) -> Result<Option<Result<TomlSection<'d, 't>, At<String>>>, ScrubFileError> {
        match self.get(key) {
            Some(At { value: DeValue::String(_), .. }) => Ok(self.text(key)?.map(Err)),
            Some(_) => Ok(self.section(key)?.map(Ok)),
            None => Ok(None),
        }
    }

    /// An array of tables.
    ///
    /// # Errors
    /// When the value is anything else.
    pub fn sections(&self, key: &str) -> Result<Vec<TomlSection<'d, 't>>, ScrubFileError> {
        let Some(at) = self.get(key) else { return Ok(Vec::new()) };
        let wanted = format!("a list of tables, each under its own [[{key}]]");
        let DeValue::Array(items) = at.value else { return Err(self.wrong(key, &at, &wanted)) };
        let one = |item: &'d Spanned<DeValue<'t>>| match item.get_ref() {
            DeValue::Table(table) => Ok(TomlSection::new(self.document, key, item.span().start, table)),
            other => Err(self.wrong(key, &At { value: other, offset: item.span().start }, &wanted)),
        };
        items.iter().map(one).collect()
    }

    /// All keys for which `wanted` holds, in the order of the file.
    pub fn keys_where(&self, wanted: impl Fn(&str) -> bool) -> Vec<String> {
        let mut keys: Vec<_> = self.table.keys().filter(|k| wanted(k.get_ref())).collect();
        keys.sort_by_key(|k| k.span().start);
        keys.into_iter().map(|k| k.get_ref().to_string()).collect()
    }

    /// All number keys for which `wanted` holds.
    ///
    /// # Errors
    /// When one of them is no number.
    pub fn numbers_where(&self, wanted: impl Fn(&str) -> bool) -> Result<Vec<(String, f64)>, ScrubFileError> {
        let mut numbers = Vec::new();
        for (key, value) in self.table.iter().filter(|(k, _)| wanted(k.get_ref())) {
            let at = At { value: value.get_ref(), offset: value.span().start };
            match number(at.value) {
                Some(n) => numbers.push((key.get_ref().to_string(), n)),
                None => return Err(self.wrong(key.get_ref(), &at, "a number")),
            }
        }
        Ok(numbers)
    }

    /// What a required value is missing.
    ///
    /// # Errors
    /// Always, when there is no value.
    pub fn require<T>(&self, key: &str, value: Option<T>, example: &str) -> Result<T, ScrubFileError> {
        value.ok_or_else(|| self.error(format!("{key} is missing in {}; add it, for example {example}", self.name)))
    }

    /// A value that has to be there; `read` is one of the readers above.
    ///
    /// # Errors
    /// As `read`, and when there is no value.
    pub fn need<'k, T>(
        &self,
        read: impl Fn(&Self, &'k str) -> Result<Option<T>, ScrubFileError>,
        key: &'k str,
        example: &str,
    ) -> Result<T, ScrubFileError> {
        self.require(key, read(self, key)?, example)
    }

    /// Refuses two keys of which either says it all.
    ///
    /// # Errors
    /// At the second, when both are there.
    pub fn not_both(&self, one: &str, other: &str) -> Result<(), ScrubFileError> {
        let both = self.has(one) && self.has(other);
        if both { Err(self.error_of(other, format!("{one} and {other} both stand here; keep one"))) } else { Ok(()) }
    }

    /// An error at the start of this table.
    pub fn error(&self, fault: impl Into<Fault>) -> ScrubFileError {
        self.document.error(self.offset, fault)
    }

    /// An error at the value of a key, or at the start of the table when the key is not there.
    pub fn error_of(&self, key: &str, fault: impl Into<Fault>) -> ScrubFileError {
        self.error_at(self.get(key).map_or(self.offset, |at| at.offset), fault)
    }

    /// An error at an offset.
    pub fn error_at(&self, offset: usize, fault: impl Into<Fault>) -> ScrubFileError {
        self.document.error(offset, fault)
    }

    /// The place of an offset.
    pub fn place(&self, offset: usize) -> Place {
        self.document.place(offset)
    }

    /// Refuses every key that is not in `known` and for which `also_known` does not hold.
    ///
    /// # Errors
    /// At every unknown key, naming the nearest known one.
    pub fn only(&self, known: &[&str], also_known: impl Fn(&str) -> bool) -> Result<(), ScrubFileError> {
        let is_known = |key: &str| known.contains(&key) || also_known(key);
        let mut unknown: Vec<_> = self.table.keys().filter(|k| !is_known(k.get_ref())).collect();
        unknown.sort_by_key(|key| key.span().start);
        let unknown = unknown.into_iter().take(MOST_FAULTS).map(|key| {
            let hint = did_you_mean(key.get_ref(), known.iter().copied());
            let problem = format!("unknown key \"{}\" in {}; {hint}", key.get_ref(), self.name);
            Located::new(self.document.place(key.span().start), problem)
        });
        Located::all(unknown).map_or(Ok(()), |all| Err(all.into()))
    }
}

/// What the parser says, on one line and in words for who writes the file.
fn said(message: &str) -> String {
    match message.contains("recurs") {
        true => "tables or lists lie more than 80 deep in each other; three are enough here".to_owned(),
        false => message.replace('\n', ", "),
    }
}

fn number(value: &DeValue) -> Option<f64> {
    match value {
        DeValue::Integer(i) if i.radix() == 10 => i.as_str().parse().ok(),
        DeValue::Float(f) => f.as_str().parse().ok(),
        _ => None,
    }
}

fn kind(value: &DeValue) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(number) if number.radix() != 10 => "a number in hexadecimal, octal or binary form",
        DeValue::Integer(_) | DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// A number with a unit of its own type.
pub(super) fn unit<T>(
    section: &TomlSection,
    key: &str,
    new: impl Fn(f64) -> Result<T, UnitError>,
) -> Result<Option<T>, ScrubFileError> {
    let Some(number) = section.number(key)? else { return Ok(None) };
    new(number.value).map(Some).map_err(|e| section.error_at(number.offset, format!("{key}: {e}")))
}
