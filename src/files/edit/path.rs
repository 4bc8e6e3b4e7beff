//! Tables and entries of lists by their path, such as `["phase", 1, "ingredient", 0]`: set, put in, taken out, moved.

use super::{set_all, toml_value};
use crate::source::Fault;
use serde::Deserialize;
use serde_json::{Map, Value as Json};
use toml_edit::{ArrayOfTables, Item, Table, TableLike, Value};

/// A step of a path.
#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
pub enum Step {
    /// A key of a table.
    Key(String),
    /// A position in a list, from 0.
    Position(usize),
}

/// A table, and whether it is written within a line.
struct TableAt<'a> {
    table: &'a mut dyn TableLike,
    inline: bool,
}

/// An entry of a list, out of its place.
enum ListEntry {
    Table(Table),
    Inline(Value),
}

/// The tables of a list, however it is written.
pub(super) fn entries(list: &mut Item) -> Vec<&mut dyn TableLike> {
    match list {
        Item::ArrayOfTables(tables) => tables.iter_mut().map(|t| t as &mut dyn TableLike).collect(),
        Item::Value(Value::Array(items)) => {
            items.iter_mut().filter_map(Value::as_inline_table_mut).map(|t| t as &mut dyn TableLike).collect()
        }
        _ => Vec::new(),
    }
}

fn find<'a>(from: TableAt<'a>, path: &[Step]) -> Result<TableAt<'a>, Fault> {
    let (key, at, rest) = match path {
        [] => return Ok(from),
        [Step::Key(key), Step::Position(at), rest @ ..] => (key, Some(*at), rest),
        [Step::Key(key), rest @ ..] => (key, None, rest),
        [Step::Position(at), ..] => return Err(format!("{at} stands in the path where a key is wanted").into()),
    };
    let missing = || match at {
        Some(at) => format!("there is no {key} at position {at} (from 0)"),
        None => format!("there is no table {key}"),
    };
    let item = from.table.get_mut(key).ok_or_else(missing)?;
    let inline = from.inline || item.is_value();
    let table = match at {
        Some(at) => entries(item).into_iter().nth(at),
        None => item.as_table_like_mut(),
    };
    find(TableAt { table: table.ok_or_else(missing)?, inline }, rest)
}

/// The table that holds what the last step names, and that step as a key.
fn holder<'a, 'p>(root: &'a mut Table, path: &'p [Step]) -> Result<(TableAt<'a>, &'p str), Fault> {
    match path {
        [parents @ .., Step::Key(key)] => Ok((find(TableAt { table: root, inline: false }, parents)?, key)),
        _ => Err("the path must end in a key".into()),
    }
}

/// The list and the position of an entry.
fn entry_of(path: &[Step]) -> Result<(&[Step], usize), Fault> {
    match path {
        [list @ .., Step::Position(at)] => Ok((list, *at)),
        _ => Err("the path must end in a position".into()),
    }
}

/// Sets keys of the table at a path; one named by its key alone comes and goes with its keys.
pub(super) fn set(root: &mut Table, path: &[Step], values: &Map<String, Json>) -> Result<(), Fault> {
    if let Some(Step::Position(_)) = path.last() {
        return set_all(find(TableAt { table: root, inline: false }, path)?.table, values);
    }
    let (holder, key) = holder(root, path)?;
    if !holder.table.contains_key(key) {
        let mut new = Table::new();
        new.decor_mut().set_prefix(if holder.table.is_empty() { "" } else { "\n" });
        holder.table.insert(key, Item::Table(new));
    }
    let table = holder.table.get_mut(key).and_then(Item::as_table_like_mut);
    let table = table.ok_or_else(|| format!("{key} is no table"))?;
    set_all(table, values)?;
    if table.is_empty() {
        holder.table.remove(key);
    }
    Ok(())
}

/// Puts a further entry into a list, last or at a position.
pub(super) fn put_in(
    root: &mut Table,
    path: &[Step],
    to: Option<usize>,
    values: &Map<String, Json>,
) -> Result<(), Fault> {
    let (holder, key) = holder(root, path)?;
    let inline = holder.inline || holder.table.get(key).is_some_and(Item::is_value);
    let entry = if inline {
        ListEntry::Inline(toml_value(key, &Json::Object(values.clone()))?)
    } else {
        let mut table = Table::new();
        set_all(&mut table, values)?;
        table.decor_mut().set_prefix("\n");
        ListEntry::Table(table)
    };
    insert(holder, key, to, entry)?;
    if to.is_some() {
        renumber(root, path);
    }
    Ok(())
}

/// Takes an entry out of its list; the last one takes the list with it.
pub(super) fn take_out(root: &mut Table, path: &[Step]) -> Result<(), Fault> {
    match path.last() {
        Some(Step::Position(_)) => remove(root, path).map(drop),
        _ => {
            let (holder, key) = holder(root, path)?;
            let gone = holder.table.remove(key);
            gone.map(drop).ok_or_else(|| format!("there is no table {key}").into())
        }
    }
}

/// Moves an entry to a position of its own list, or of another one.
pub(super) fn move_to(root: &mut Table, path: &[Step], into: Option<&[Step]>, to: usize) -> Result<(), Fault> {
    let (own, _) = entry_of(path)?;
    let list = into.unwrap_or(own);
    // Before anything moves: a list that is not there.
    holder(root, list)?;
    let entry = remove(root, path)?;
    let (holder, key) = holder(root, list)?;
    insert(holder, key, Some(to), entry)?;
    renumber(root, list);
    Ok(())
}

fn remove(root: &mut Table, path: &[Step]) -> Result<ListEntry, Fault> {
    let (list, at) = entry_of(path)?;
    let (holder, key) = holder(root, list)?;
    let missing = || format!("there is no {key} at position {at} (from 0)");
    let item = holder.table.get_mut(key).ok_or_else(missing)?;
    let (entry, left) = match item {
        Item::ArrayOfTables(tables) if at < tables.len() => (ListEntry::Table(tables.remove(at)), tables.len()),
        Item::Value(Value::Array(items)) if at < items.len() => (ListEntry::Inline(items.remove(at)), items.len()),
        _ => return Err(missing().into()),
    };
    if left == 0 {
        holder.table.remove(key);
    }
    Ok(entry)
}

/// An entry takes the form of the list that it comes into.
fn insert(holder: TableAt, key: &str, to: Option<usize>, entry: ListEntry) -> Result<(), Fault> {
    if !holder.table.contains_key(key) {
        let inline = holder.inline || matches!(entry, ListEntry::Inline(_));
        let list =
            if inline { Item::Value(Value::Array(toml_edit::Array::new())) } else { ArrayOfTables::new().into() };
        holder.table.insert(key, list);
    }
    match (holder.table.get_mut(key), entry) {
        (Some(Item::ArrayOfTables(tables)), entry) => {
            let table = match entry {
                ListEntry::Table(table) => table,
                ListEntry::Inline(Value::InlineTable(table)) => table.into_table(),
                ListEntry::Inline(_) => return Err(format!("an entry of {key} is no table").into()),
            };
            tables.insert(to.unwrap_or(usize::MAX).min(tables.len()), table);
        }
        (Some(Item::Value(Value::Array(items))), entry) => {
            let value = match entry {
                ListEntry::Table(table) => Value::InlineTable(table.into_inline_table()),
                ListEntry::Inline(value) => value,
            };
            items.insert(to.unwrap_or(usize::MAX).min(items.len()), value);
        }
        _ => return Err(format!("{key} is no list of tables").into()),
    }
    Ok(())
}

/// A file writes its tables by the places that they came from: those of a list are dealt out anew in the order that it has now.
fn renumber(root: &mut Table, path: &[Step]) {
    let Some(Step::Key(key)) = path.first() else { return };
    let Some(item) = root.get_mut(key) else { return };
    let mut places = Vec::new();
    let mut last = None;
    visit(item, &mut |table| {
        last = table.position().or(last);
        places.push(last);
    });
    places.sort();
    let mut places = places.into_iter();
    visit(item, &mut |table| table.set_position(places.next().flatten()));
}

fn visit(item: &mut Item, work: &mut dyn FnMut(&mut Table)) {
    let mut within = |table: &mut Table| {
        work(table);
        table.iter_mut().for_each(|(_, item)| visit(item, work));
    };
    match item {
        Item::Table(table) => within(table),
        Item::ArrayOfTables(tables) => tables.iter_mut().for_each(within),
        _ => (),
    }
}

#[cfg(test)]
mod tests {
    use crate::files::edit::{Edit, edited};
    use serde_json::{Value as Json, json};

    const TEXT: &str = "[scrub]\nname = \"Weir\"\n\n[acid]  # mild\nkey = \"lactic\"\n\n[[phase]]\nname = \"Water\"\n\n  # sweet\n  \
                        [[phase.ingredient]]\n  name = \"Glycerin\"\n  pct = 5 # of it\n\n  [[phase.ingredient]]\n  name = \"Aqua\"\n  \
                        fill = true\n\n[[phase]]\nname = \"Oil\"\n\n  [[phase.ingredient]]\n  name = \"Sunflower\"\n  pct = 6\n\n\
                        [[powder]]\nmaterial = \"oat\"\n";

    fn edit(text: &str, edits: Json) -> Result<String, String> {
        let edits: Vec<Edit> = serde_json::from_value(edits).unwrap();
        edited(text, "weir.toml", &edits).map_err(|e| e.to_string())
    }

    fn names(text: &str) -> Vec<String> {
        let all = text.lines().filter_map(|l| l.trim().strip_prefix("name = "));
        all.map(|n| n.trim_matches('"').to_owned()).collect()
    }

    #[test]
    fn values_of_a_path() {
        let pct = edit(TEXT, json!([{ "do": "set", "at": ["phase", 0, "ingredient", 0], "values": { "pct": 4 } }]));
        assert_eq!(pct.unwrap(), TEXT.replace("pct = 5", "pct = 4"));
        let new = edit(TEXT, json!([{ "do": "set", "at": ["use"], "values": { "per_week": 2 } }])).unwrap();
        assert_eq!(new, format!("{TEXT}\n[use]\nper_week = 2\n"));
        assert_eq!(edit(&new, json!([{ "do": "set", "at": ["use"], "values": { "per_week": null } }])).unwrap(), TEXT);
        for at in
            [json!(["phase", 2]), json!([0]), json!(["phase", 0, "ingredient", 9]), json!([]), json!(["scrub", 0])]
        {
            assert!(edit(TEXT, json!([{ "do": "set", "at": at, "values": { "x": 1 } }])).is_err(), "{at}");
        }
    }

    #[test]
    fn entries_move_with_their_comments() {
        let move_to = |at: Json, to: usize| json!([{ "do": "move", "at": at, "to": to }]);
        let swapped = edit(TEXT, move_to(json!(["phase", 0, "ingredient", 0]), 1)).unwrap();
        assert_eq!(names(&swapped), ["Weir", "Water", "Aqua", "Glycerin", "Oil", "Sunflower"]);
        assert!(
            swapped.contains("  # sweet\n  [[phase.ingredient]]\n  name = \"Glycerin\"\n  pct = 5 # of it"),
            "{swapped}"
        );
        assert_eq!(edit(&swapped, move_to(json!(["phase", 0, "ingredient", 1]), 0)).unwrap(), TEXT);
        let oil_first = edit(TEXT, move_to(json!(["phase", 1]), 0)).unwrap();
        assert_eq!(names(&oil_first), ["Weir", "Oil", "Sunflower", "Water", "Glycerin", "Aqua"]);
        assert!(oil_first.ends_with("[[powder]]\nmaterial = \"oat\"\n"), "{oil_first}");
        let into =
            json!([{ "do": "move", "at": ["phase", 0, "ingredient", 0], "into": ["phase", 1, "ingredient"], "to": 9 }]);
        assert_eq!(names(&edit(TEXT, into).unwrap()), ["Weir", "Water", "Aqua", "Oil", "Sunflower", "Glycerin"]);
    }

    #[test]
    fn entries_come_and_go() {
        let put =
            json!([{ "do": "put-in", "list": ["phase", 0, "ingredient"], "values": { "name": "Gum", "pct": 1 } }]);
        let more = edit(TEXT, put).unwrap();
        assert_eq!(names(&more), ["Weir", "Water", "Glycerin", "Aqua", "Gum", "Oil", "Sunflower"]);
        assert_eq!(edit(&more, json!([{ "do": "take-out", "at": ["phase", 0, "ingredient", 2] }])).unwrap(), TEXT);
        let first = json!([{ "do": "put-in", "list": ["phase"], "to": 0, "values": { "name": "Cold" } }]);
        assert_eq!(names(&edit(TEXT, first).unwrap())[1], "Cold");
        assert!(!edit(TEXT, json!([{ "do": "take-out", "at": ["acid"] }])).unwrap().contains("acid"));
        let short = "phase = [{ name = \"Water\" }]\n";
        let put = json!([{ "do": "put-in", "list": ["phase", 0, "ingredient"], "values": { "name": "Gum" } }]);
        assert_eq!(edit(short, put).unwrap(), "phase = [{ name = \"Water\" , ingredient = [{ name = \"Gum\" }] }]\n");
        for wrong in [json!({ "do": "take-out", "at": ["phase", 7] }), json!({ "do": "move", "at": ["acid"], "to": 0 })]
        {
            assert!(edit(TEXT, json!([wrong])).is_err());
        }
    }
}
