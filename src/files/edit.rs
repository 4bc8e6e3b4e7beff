//! A scrub file changed value by value, with its comments, its order and all that nobody asked to change left as they are.
//! Parsing and writing are `toml_edit`'s.

mod path;

use super::ScrubFileError;
use super::formula::FORMULA_TABLES;
use super::powder::PLACE_KEYS;
use super::reader::TomlDocument;
use crate::source::{Fault, Located, Place};
use serde::Deserialize;
use serde_json::{Map, Value as Json};
use toml_edit::{Array, DocumentMut, InlineTable, Item, Table, TableLike, Value};

pub use path::Step;

/// One change. Values are JSON; `null` takes a key out.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(tag = "do", rename_all = "kebab-case", deny_unknown_fields)]
pub enum Edit {
    /// Keys of `[scrub]`.
    Scrub {
        /// Key and new value.
        values: Map<String, Json>,
    },
    /// Keys of a powder.
    Powder {
        /// Its position, from 0.
        powder: usize,
        /// Key and new value.
        values: Map<String, Json>,
    },
    /// The share of a powder, % of all powders by mass; the other powders keep their parts.
    Share {
        /// Its position, from 0.
        powder: usize,
        /// The share, above 0 and below 100.
        pct: f64,
    },
    /// A further powder, last.
    Add {
        /// Key and value.
        values: Map<String, Json>,
    },
    /// Takes a powder out.
    Remove {
        /// Its position, from 0.
        powder: usize,
    },
    /// Keys of the table at a path; a table of the file itself comes with its first key and goes with its last.
    Set {
        /// Keys and positions, such as `["acid"]` or `["phase", 1, "ingredient", 0]`.
        at: Vec<Step>,
        /// Key and new value.
        values: Map<String, Json>,
    },
    /// A further entry of a list of tables.
    PutIn {
        /// The list, such as `["phase", 1, "ingredient"]`.
        list: Vec<Step>,
        /// Its position, from 0; last where it is absent.
        to: Option<usize>,
        /// Key and value.
        values: Map<String, Json>,
    },
    /// Takes a table or an entry out.
    TakeOut {
        /// Its path.
        at: Vec<Step>,
    },
    /// Moves an entry, with its comments.
    Move {
        /// Its path.
        at: Vec<Step>,
        /// The list that it goes into; absent for its own.
        into: Option<Vec<Step>>,
        /// Its position there, from 0, without itself.
        to: usize,
    },
}

/// Shares that a slider may ask for, %.
const SHARES: std::ops::RangeInclusive<f64> = 0.01..=99.99;
/// Most parts that a powder can have.
const MOST_PARTS: f64 = 100.0;

/// The text with changes made, one after the other. Whether the result is a scrub is for the reader to say.
///
/// # Errors
/// [`ScrubFileError`] when the text is not TOML, or a change names a powder that is not there or a value that no TOML file
/// can hold.
pub fn edited(text: &str, file: &str, edits: &[Edit]) -> Result<String, ScrubFileError> {
    let mut document = open(text, file)?;
    for edit in edits {
        make(&mut document, edit).map_err(|fault| Located::new(Place::file(file), fault))?;
    }
    let new = document.to_string();
    // New lines end as the file's own do.
    Ok(if text.contains("\r\n") { new.replace("\r\n", "\n").replace('\n', "\r\n") } else { new })
}

/// `[scrub]` and every powder as they are written, in JSON.
///
/// # Errors
/// [`ScrubFileError`] when the text is not TOML.
pub fn definition(text: &str, file: &str) -> Result<Json, ScrubFileError> {
    let document = open(text, file)?;
    Ok(json_of_table(document.as_table()))
}

/// Whether a definition says anything that the checks of a formula look at.
pub fn has_formula(definition: &Json) -> bool {
    let has = |of: &Json, keys: &[&str]| keys.iter().any(|key| of.get(key).is_some());
    let places = |powders: &Vec<Json>| powders.iter().any(|p| has(p, &PLACE_KEYS));
    has(definition, &FORMULA_TABLES) || definition["powder"].as_array().is_some_and(places)
}

/// An object as the text of a TOML file with one table.
///
/// # Errors
/// [`ScrubFileError`] for a value that no TOML file can hold.
pub fn as_toml(table: &str, values: &Map<String, Json>, file: &str) -> Result<String, ScrubFileError> {
    let wrong = |fault: Fault| Located::new(Place::file(file), fault);
    let mut section = Table::new();
    for (key, value) in values.iter().filter(|(_, v)| !v.is_null()) {
        section.insert(key, Item::Value(toml_value(key, value).map_err(wrong)?));
    }
    let mut document = DocumentMut::new();
    document.insert(table, Item::Table(section));
    Ok(document.to_string())
}

fn open(text: &str, file: &str) -> Result<DocumentMut, ScrubFileError> {
    text.parse::<DocumentMut>().map_err(|e| {
        let offset = e.span().map_or(0, |s| s.start);
        TomlDocument::new(file, text).error(offset, format!("not valid TOML: {}", e.message().replace('\n', ", ")))
    })
}

fn make(document: &mut DocumentMut, edit: &Edit) -> Result<(), Fault> {
    match edit {
        Edit::Scrub { values } => {
            let head = document.get_mut("scrub").and_then(Item::as_table_like_mut).ok_or("there is no [scrub]")?;
            set_all(head, values)
        }
        Edit::Powder { powder, values } => set_all(powder_at(document, *powder)?, values),
        Edit::Share { powder, pct } => share(document, *powder, *pct),
        Edit::Add { values } => path::put_in(document.as_table_mut(), &[Step::Key("powder".to_owned())], None, values),
        Edit::Remove { powder } => {
            path::take_out(document.as_table_mut(), &[Step::Key("powder".to_owned()), Step::Position(*powder)])
        }
        Edit::Set { at, values } => path::set(document.as_table_mut(), at, values),
        Edit::PutIn { list, to, values } => path::put_in(document.as_table_mut(), list, *to, values),
        Edit::TakeOut { at } => path::take_out(document.as_table_mut(), at),
        Edit::Move { at, into, to } => path::move_to(document.as_table_mut(), at, into.as_deref(), *to),
    }
}

fn powders(document: &mut DocumentMut) -> Vec<&mut dyn TableLike> {
    document.get_mut("powder").map_or_else(Vec::new, path::entries)
}

fn no_powder(powder: usize) -> Fault {
    format!("there is no powder at position {powder} (from 0)").into()
}

fn powder_at(document: &mut DocumentMut, powder: usize) -> Result<&mut dyn TableLike, Fault> {
    powders(document).into_iter().nth(powder).ok_or_else(|| no_powder(powder))
}

fn set_all(table: &mut dyn TableLike, values: &Map<String, Json>) -> Result<(), Fault> {
    values.iter().try_for_each(|(key, value)| set(table, key, value))
}

fn set(table: &mut dyn TableLike, key: &str, value: &Json) -> Result<(), Fault> {
    if value.is_null() {
        table.remove(key);
        return Ok(());
    }
    // A table is changed key by key, so that its own comments and layout stay.
    if let (Some(old), Json::Object(new)) = (table.get_mut(key).and_then(Item::as_table_like_mut), value) {
        let gone: Vec<String> = old.iter().map(|(k, _)| k.to_owned()).filter(|k| !new.contains_key(k)).collect();
        for key in gone {
            old.remove(&key);
        }
        return set_all(old, new);
    }
    let mut new = toml_value(key, value)?;
    match table.get_mut(key) {
        Some(Item::Value(old)) => {
            *new.decor_mut() = old.decor().clone();
            *old = new;
        }
        Some(other) => *other = Item::Value(new),
        None => {
            table.insert(key, Item::Value(new));
        }
    }
    Ok(())
}

fn toml_value(key: &str, value: &Json) -> Result<Value, Fault> {
    match value {
        Json::String(text) => Ok(text.as_str().into()),
        Json::Bool(yes) => Ok((*yes).into()),
        Json::Number(number) => match (number.as_i64(), number.as_f64()) {
            (Some(whole), _) => Ok(whole.into()),
            (None, Some(float)) if float.is_finite() => Ok(float.into()),
            _ => Err(format!("{key}: {number} is no number that a file can hold").into()),
        },
        Json::Array(items) => {
            items.iter().map(|item| toml_value(key, item)).collect::<Result<Array, _>>().map(Value::Array)
        }
        Json::Object(entries) => {
            let mut table = InlineTable::new();
            for (key, value) in entries.iter().filter(|(_, v)| !v.is_null()) {
                table.insert(key, toml_value(key, value)?);
            }
            Ok(Value::InlineTable(table))
        }
        Json::Null => Err(format!("{key}: null stands where a value is wanted").into()),
    }
}

/// Sets the parts of one powder so that it has this share, with those of the others left as they are.
fn share(document: &mut DocumentMut, powder: usize, pct: f64) -> Result<(), Fault> {
    if !SHARES.contains(&pct) {
        let (low, high) = (SHARES.start(), SHARES.end());
        return Err(format!("a share must be between {low} and {high} % of the powders, not {pct}").into());
    }
    let mut all = powders(document);
    let parts = |table: &dyn TableLike| {
        let item = table.get("parts")?;
        item.as_float().or_else(|| item.as_integer().map(|i| i as f64))
    };
    let stated: Option<Vec<f64>> = all.iter().map(|p| parts(*p)).collect();
    let stated = stated.ok_or("every powder needs parts before one can be given a share")?;
    if powder >= stated.len() {
        return Err(no_powder(powder));
    }
    if stated.len() == 1 {
        return Err("the only powder has all of it; add another one to share with".into());
    }
    let others: f64 = stated.iter().enumerate().filter(|(i, _)| *i != powder).map(|(_, p)| p).sum();
    let wanted = others * pct / (100.0 - pct);
    // Parts end at 100: beyond it the others give way instead.
    let scale = (MOST_PARTS / wanted).min(1.0);
    for (i, table) in all.iter_mut().enumerate() {
        let new = if i == powder { wanted * scale } else { stated[i] * scale };
        if i == powder || scale < 1.0 {
            set(*table, "parts", &tidy(new))?;
        }
    }
    Ok(())
}

/// A number of four digits, whole where it is one.
fn tidy(value: f64) -> Json {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    if rounded.fract() == 0.0 { Json::from(rounded as i64) } else { Json::from(rounded) }
}

fn json_of_table(table: &dyn TableLike) -> Json {
    Json::Object(table.iter().map(|(key, item)| (key.to_owned(), json_of(item))).collect())
}

fn json_of(item: &Item) -> Json {
    match item {
        Item::None => Json::Null,
        Item::Table(table) => json_of_table(table),
        Item::ArrayOfTables(tables) => tables.iter().map(|t| json_of_table(t)).collect(),
        Item::Value(value) => json_of_value(value),
    }
}

fn json_of_value(value: &Value) -> Json {
    match value {
        Value::String(text) => text.value().as_str().into(),
        Value::Integer(whole) => (*whole.value()).into(),
        Value::Float(float) => (*float.value()).into(),
        Value::Boolean(yes) => (*yes.value()).into(),
        Value::Datetime(date) => date.value().to_string().into(),
        Value::Array(items) => items.iter().map(json_of_value).collect(),
        Value::InlineTable(table) => json_of_table(table),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use serde_json::json;

    const TEXT: &str = "# head\n[scrub]\nname = \"Weir\" # name\npowder_load_pct = 5.0   # load\n\n# first\n[[powder]]\n\
                        parts = 4 # parts\nmaterial = \"rice-bran\"\nsize = { d50_um = 60, gsd = 1.6 } # sheet\n\n# second\n\
                        [[powder]]\nmaterial = \"pumice\"\nparts = 2\n[powder.size]\n# from the sheet\nd50_um = 45\ngsd = 1.5\n";

    fn edit(edits: serde_json::Value) -> Result<String, ScrubFileError> {
        let edits: Vec<Edit> = serde_json::from_value(edits).unwrap();
        edited(TEXT, "weir.toml", &edits)
    }

    #[test]
    fn one_value_changes_and_nothing_else() {
        assert_eq!(edit(json!([])).unwrap(), TEXT);
        let load = edit(json!([{ "do": "scrub", "values": { "powder_load_pct": 6.5 } }])).unwrap();
        assert_eq!(load, TEXT.replace("5.0", "6.5"));
        let size = json!([{ "do": "powder", "powder": 0, "values": { "size": { "d50_um": 70, "gsd": 1.6 } } }]);
        assert_eq!(edit(size).unwrap(), TEXT.replace("d50_um = 60", "d50_um = 70"));
        let under_its_header =
            json!([{ "do": "powder", "powder": 1, "values": { "size": { "d50_um": 50, "gsd": 1.5 } } }]);
        assert_eq!(edit(under_its_header).unwrap(), TEXT.replace("d50_um = 45", "d50_um = 50"));
        let own = json!([{ "do": "powder", "powder": 0, "values": { "hardness_gpa": 0.2 } },
                         { "do": "powder", "powder": 0, "values": { "hardness_gpa": null } }]);
        assert_eq!(edit(own).unwrap(), TEXT);
    }

    #[test]
    fn line_ends_stay_as_they_are() {
        let (dos, edit) = (TEXT.replace('\n', "\r\n"), json!([{ "do": "remove", "powder": 1 }]));
        let edits: Vec<Edit> = serde_json::from_value(edit).unwrap();
        let text = edited(&dos, "weir.toml", &edits).unwrap();
        assert_eq!(text, TEXT.split("\n# second").next().unwrap().replace('\n', "\r\n"));
    }

    #[test]
    fn a_share_moves_one_powder() {
        assert_eq!(
            edit(json!([{ "do": "share", "powder": 1, "pct": 50 }])).unwrap(),
            TEXT.replace("parts = 2", "parts = 4")
        );
        let nearly_all = edit(json!([{ "do": "share", "powder": 0, "pct": 99 }])).unwrap();
        assert!(nearly_all.contains("parts = 100 # parts") && nearly_all.contains("parts = 1.01"), "{nearly_all}");
        for pct in [json!(0), json!(100), json!(-3)] {
            assert!(edit(json!([{ "do": "share", "powder": 0, "pct": pct }])).is_err());
        }
    }

    #[test]
    fn powders_come_and_go() {
        let added =
            edit(json!([{ "do": "add", "values": { "material": "oat", "parts": 1, "size": "F220" } }])).unwrap();
        assert_eq!(added, format!("{TEXT}\n[[powder]]\nmaterial = \"oat\"\nparts = 1\nsize = \"F220\"\n"));
        let removed = edit(json!([{ "do": "remove", "powder": 1 }])).unwrap();
        assert_eq!(removed, TEXT.split("\n# second").next().unwrap());
        assert!(edit(json!([{ "do": "remove", "powder": 2 }])).is_err());
    }
}
