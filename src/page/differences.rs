//! What tells one text of a scrub file from another, in words: what is not saved yet, what a step did, both sides of a conflict.
//! Values are compared as they are written, so that comments and layout are none.

use super::answer::Refusal;
use crate::files::edit::definition;
use crate::numerics::written::trimmed;
use crate::tables::Material;
use serde::Serialize;
use serde_json::{Map, Value as Json};
use std::borrow::Cow;

/// One value that differs.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct DraftDifference {
    /// What it is, such as `Olive stone: parts`.
    what: String,
    /// In the first text; absent where it holds nothing of it.
    before: Option<String>,
    /// In the other.
    after: Option<String>,
}

impl DraftDifference {
    /// Of a text that cannot be read, from one that can.
    pub fn of_unreadable() -> Self {
        Self {
            what: "the file".to_owned(),
            before: Some("cannot be read".to_owned()),
            after: Some("can be read".to_owned()),
        }
    }
}

/// All that differs between two texts of a file, in its order. A powder without a name goes by that of its material in the `materials`
/// table, as on its card.
pub(super) fn differences(
    before: &str,
    after: &str,
    file: &str,
    materials: &[Material],
) -> Result<Vec<DraftDifference>, Refusal> {
    let (mut before, mut after) = (definition(before, file)?, definition(after, file)?);
    for root in [&mut before, &mut after] {
        name_powders(root, materials);
    }
    let mut all = Vec::new();
    compare(&mut all, "", Some(&before), Some(&after));
    // The names that were put in are no values of the files.
    Ok(all.into_iter().filter(|d| !d.what.ends_with(GIVEN)).collect())
}

/// The key of a name that was put in.
const GIVEN: &str = "(name in the table)";

fn name_powders(root: &mut Json, materials: &[Material]) {
    let powders = root.get_mut("powder").and_then(Json::as_array_mut).into_iter().flatten();
    for powder in powders.filter_map(Json::as_object_mut).filter(|p| !p.contains_key("name")) {
        let material = powder.get("material").and_then(Json::as_str);
        if let Some(known) = material.and_then(|key| materials.iter().find(|m| m.key == key)) {
            powder.insert(GIVEN.to_owned(), known.name.clone().into());
        }
    }
}

/// Digits that a number is told with: what a maker types has fewer.
const DIGITS: i32 = 7;

/// Keys whose names do not say what they are for people.
const WORDS: [(&str, &str); 42] = [
    ("powder_load_pct", "powder load, %"),
    ("pct", "% of the scrub"),
    ("fill", "takes what is left"),
    ("strength_pct", "strength, %"),
    ("temperature_c", "temperature, °C"),
    ("price_per_kg", "price per kg"),
    ("hardness_gpa", "hardness, GPa"),
    ("density_g_cm3", "density, g/cm³"),
    ("mohs", "Mohs hardness"),
    ("roundness_class", "roundness class"),
    ("cfu_per_g", "germs, CFU/g"),
    ("yield_stress_pa", "yield stress, Pa"),
    ("viscosity_pa_s", "viscosity, Pa·s"),
    ("water_activity", "water activity"),
    ("ph", "pH"),
    ("final_ph", "pH"),
    ("window", "pH window"),
    ("key", "which acid"),
    ("container_ml", "container, mL"),
    ("orifice_mm", "opening, mm"),
    ("net_g", "net content, g"),
    ("net_ml", "net content, mL"),
    ("shelf_days", "days on the shelf"),
    ("rinse_off", "rinsed off"),
    ("per_week", "uses a week"),
    ("salon", "for trained people"),
    ("inci", "INCI name"),
    ("gsd", "geometric standard deviation"),
    ("range_um", "range, µm"),
    ("undersize_pct", "finer, %"),
    ("oversize_pct", "coarser, %"),
    ("stock_g", "in stock, g"),
    ("min_pct", "at least, % of the scrub"),
    ("max_pct", "at most, % of the scrub"),
    ("owned_um", "sieves at hand, µm"),
    ("band_exactly", "exactly this band"),
    ("sure", "in so many of 100 draws"),
    ("load_pct", "powder load, %"),
    ("max_powders", "powders at most"),
    ("batch_g", "batch, g"),
    ("min", "at least, % finer"),
    ("max", "at most, % finer"),
];

/// Tables whose name goes before that of their keys; the others are told by their keys, or by the names of their entries.
const NAMED: [&str; 5] = ["base", "acid", "fill", "use", "label"];

fn word(key: &str) -> String {
    match WORDS.iter().find(|(k, _)| *k == key) {
        Some((_, word)) => (*word).to_owned(),
        // d50_um, passing_pct: a unit at the end.
        None => match key.rsplit_once('_') {
            Some((size, "um")) => format!("{}, µm", size.to_uppercase()),
            _ => key.replace('_', " "),
        },
    }
}

fn below(path: &str, name: &str) -> String {
    if path.is_empty() { name.to_owned() } else { format!("{path}: {name}") }
}

fn compare(all: &mut Vec<DraftDifference>, path: &str, before: Option<&Json>, after: Option<&Json>) {
    match (before, after) {
        (Some(Json::Object(a)), Some(Json::Object(b))) => tables(all, path, a, b),
        (Some(Json::Array(a)), Some(Json::Array(b))) if is_list(a) && is_list(b) => lists(all, path, a, b),
        (Some(a), Some(b)) if is_same(a, b) => (),
        _ => all.push(DraftDifference { what: path.to_owned(), before: before.map(said), after: after.map(said) }),
    }
}

/// Whether two values say the same: 5 and 5.0 do.
fn is_same(a: &Json, b: &Json) -> bool {
    match (a, b) {
        (Json::Number(a), Json::Number(b)) => a.as_f64() == b.as_f64(),
        (Json::Array(a), Json::Array(b)) => a.len() == b.len() && a.iter().zip(b).all(|(a, b)| is_same(a, b)),
        _ => a == b,
    }
}

fn tables(all: &mut Vec<DraftDifference>, path: &str, before: &Map<String, Json>, after: &Map<String, Json>) {
    let new = after.keys().filter(|key| !before.contains_key(*key));
    for key in before.keys().chain(new) {
        let (a, b) = (before.get(key), after.get(key));
        let either = a.or(b);
        let name = match either {
            // The head of the file, lists of tables and sizes say themselves what they are.
            Some(Json::Object(_)) if !NAMED.contains(&key.as_str()) => path.to_owned(),
            Some(Json::Array(items)) if is_list(items) => path.to_owned(),
            Some(Json::Object(_)) => below(path, key),
            _ => below(path, &word(key)),
        };
        let none = Json::Object(Map::new());
        let nothing = Json::Array(Vec::new());
        match (a, b, either) {
            // A table that comes or goes is told key by key, a list entry by entry.
            (None, _, Some(Json::Object(_))) if key != "size" => compare(all, &name, Some(&none), b),
            (_, None, Some(Json::Object(_))) if key != "size" => compare(all, &name, a, Some(&none)),
            (None, _, Some(Json::Array(items))) if is_list(items) => compare(all, &name, Some(&nothing), b),
            (_, None, Some(Json::Array(items))) if is_list(items) => compare(all, &name, a, Some(&nothing)),
            (Some(Json::Object(x)), Some(Json::Object(y)), _) if key == "size" => sizes(all, path, x, y),
            _ if key == "size" => compare(all, &below(path, "size"), a, b),
            _ => compare(all, &name, a, b),
        }
    }
}

/// A size stated another way is one difference.
fn sizes(all: &mut Vec<DraftDifference>, path: &str, before: &Map<String, Json>, after: &Map<String, Json>) {
    let is_same_form = before.keys().all(|key| after.contains_key(key));
    if is_same_form {
        return tables(all, path, before, after);
    }
    let [a, b] = [before, after].map(|size| Json::Object(size.clone()));
    all.push(DraftDifference { what: below(path, "size"), before: Some(said(&a)), after: Some(said(&b)) });
}

fn is_list(items: &[Json]) -> bool {
    items.iter().all(Json::is_object)
}

/// What an entry of a list goes by: a limit on what is finer by its size.
fn name(entry: &Json) -> Cow<'_, str> {
    let named = ["name", GIVEN, "material", "inci"].iter().find_map(|key| entry[*key].as_str());
    match (named, entry["um"].as_f64()) {
        (Some(name), _) => name.into(),
        (None, Some(um)) => format!("{} µm", trimmed(um, DIGITS)).into(),
        (None, None) => "without a name".into(),
    }
}

/// Entries are the same that have the same name; of lists equally long also those that changed it in their place.
fn lists(all: &mut Vec<DraftDifference>, path: &str, before: &[Json], after: &[Json]) {
    let mut free: Vec<usize> = (0..after.len()).collect();
    let mut pairs: Vec<Option<usize>> =
        before.iter().map(|entry| take(&mut free, |i| name(&after[i]) == name(entry))).collect();
    if before.len() == after.len() {
        for (i, pair) in pairs.iter_mut().enumerate().filter(|(_, pair)| pair.is_none()) {
            *pair = take(&mut free, |j| j == i);
        }
    }
    for (entry, pair) in before.iter().zip(&pairs) {
        let what = below(path, &name(entry));
        match pair {
            Some(i) => compare(all, &what, Some(entry), Some(&after[*i])),
            None => all.push(DraftDifference { what, before: Some("in it".to_owned()), after: None }),
        }
    }
    let come = |i: usize| DraftDifference {
        what: below(path, &name(&after[i])),
        before: None,
        after: Some("in it".to_owned()),
    };
    all.extend(free.iter().copied().map(come));
    let kept: Vec<usize> = pairs.into_iter().flatten().collect();
    if !kept.is_sorted() {
        let order = |list: &[Json]| list.iter().map(name).collect::<Vec<_>>().join(", ");
        let (before, after) = (Some(order(before)), Some(order(after)));
        all.push(DraftDifference { what: below(path, "order"), before, after });
    }
}

fn take(free: &mut Vec<usize>, wanted: impl Fn(usize) -> bool) -> Option<usize> {
    let at = free.iter().position(|i| wanted(*i))?;
    Some(free.remove(at))
}

fn said(value: &Json) -> String {
    match value {
        Json::Null => "nothing".to_owned(),
        Json::Bool(yes) => if *yes { "yes" } else { "no" }.to_owned(),
        Json::Number(number) => number.as_f64().map_or_else(|| number.to_string(), |v| trimmed(v, DIGITS)),
        Json::String(text) => text.clone(),
        Json::Array(items) => items.iter().map(said).collect::<Vec<_>>().join(", "),
        Json::Object(entries) => {
            let one = |(key, value): (&String, &Json)| format!("{} {}", word(key), said(value));
            entries.iter().map(one).collect::<Vec<_>>().join(", ")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TEXT: &str = "[scrub]\nname = \"Weir\"\npowder_load_pct = 7.0\n\n[[phase]]\nname = \"Water\"\n[[phase.ingredient]]\n\
                        name = \"Glycerin\"\npct = 5\n[[phase.ingredient]]\nname = \"Aqua\"\nfill = true\n\n[[powder]]\n\
                        material = \"oat\"\nparts = 1\nsize = { d50_um = 60, gsd = 1.6 }\n";

    fn told(from: &str, to: &str) -> Vec<String> {
        let all = differences(TEXT, &TEXT.replace(from, to), "weir.toml", &[]).unwrap();
        let side = |s: &Option<String>| s.clone().unwrap_or_else(|| "-".to_owned());
        all.iter().map(|d| format!("{} | {} | {}", d.what, side(&d.before), side(&d.after))).collect()
    }

    #[test]
    fn values_in_words() {
        assert!(told("7.0", "7 # the same").is_empty());
        assert_eq!(told("7.0", "6.5"), ["powder load, % | 7 | 6.5"]);
        assert_eq!(told("gsd = 1.6", "gsd = 1.7"), ["oat: geometric standard deviation | 1.6 | 1.7"]);
        assert_eq!(
            told("{ d50_um = 60, gsd = 1.6 }", "\"F220\""),
            ["oat: size | D50, µm 60, geometric standard deviation 1.6 | F220"]
        );
        assert_eq!(
            told("{ d50_um = 60, gsd = 1.6 }", "{ sieve = \"a.csv\" }")[0].split(" | ").last(),
            Some("sieve a.csv")
        );
        assert_eq!(told("pct = 5", "pct = 4"), ["Water: Glycerin: % of the scrub | 5 | 4"]);
        assert_eq!(
            told("fill = true", "pct = 80"),
            ["Water: Aqua: takes what is left | yes | -", "Water: Aqua: % of the scrub | - | 80"]
        );
    }

    #[test]
    fn entries_that_come_go_and_move() {
        let more = format!("{TEXT}\n[[powder]]\nmaterial = \"pumice\"\nparts = 1\n\n[use]\nper_week = 2\n");
        let all = differences(TEXT, &more, "weir.toml", &[]).unwrap();
        let whats: Vec<&str> = all.iter().map(|d| d.what.as_str()).collect();
        assert_eq!(whats, ["pumice", "use: uses a week"]);
        assert_eq!(differences(&more, TEXT, "weir.toml", &[]).unwrap()[0].after, None);
        assert_eq!(told("material = \"oat\"", "material = \"rice-bran\""), ["oat: material | oat | rice-bran"]);
        let glycerin = "[[phase.ingredient]]\nname = \"Glycerin\"\npct = 5\n";
        let aqua = "[[phase.ingredient]]\nname = \"Aqua\"\nfill = true\n";
        let moved = told(&format!("{glycerin}{aqua}"), &format!("{aqua}{glycerin}"));
        assert_eq!(moved, ["Water: order | Glycerin, Aqua | Aqua, Glycerin"]);
        assert!(differences(TEXT, "[scrub\n", "weir.toml", &[]).is_err());
        // With the table at hand it goes by the name that its card has.
        let tables = crate::tables::Tables::built_in().unwrap();
        let name = &tables.materials.iter().find(|m| m.key == "oat").unwrap().name;
        let finer = TEXT.replace("gsd = 1.6", "gsd = 1.7");
        let all = differences(TEXT, &finer, "weir.toml", &tables.materials).unwrap();
        assert_eq!(all[0].what, format!("{name}: geometric standard deviation"));
        let bran = TEXT.replace("material = \"oat\"", "material = \"rice-bran\"");
        let all = differences(TEXT, &bran, "weir.toml", &tables.materials).unwrap();
        assert_eq!((all.len(), all[0].what.as_str()), (1, format!("{name}: material").as_str()));
    }
}
