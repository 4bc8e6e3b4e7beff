//! What people type on the first day where TOML wants something else, and what to write instead.

/// Whether a line is an entry or a heading by itself, not a part of a value that goes over several lines.
pub(super) fn is_entry(line: &str) -> bool {
    let line = line.trim_start();
    let key = line.find(|c: char| !c.is_alphanumeric() && c != '_' && c != '-' && c != '.').unwrap_or(line.len());
    line.starts_with('[') || key > 0 && line[key..].trim_start().starts_with(['=', ':'])
}

/// What is wrong with a line that is not TOML, and what would be right; `None` where nothing known is.
pub(super) fn slip(line: &str, message: &str) -> Option<String> {
    let line = line.split(" #").next().unwrap_or(line).trim();
    if message.contains("duplicate key") {
        return Some(twice(line));
    }
    if let Some(heading) = line.strip_prefix('[') {
        let (open, name) = heading.strip_prefix('[').map_or(("[", heading), |name| ("[[", name));
        let close = open.replace('[', "]");
        let name = name.trim_end_matches(']').trim();
        return (!line.ends_with(&close)).then(|| format!("the bracket is not closed; write {open}{name}{close}"));
    }
    let Some((key, value)) = line.split_once('=') else { return without_equals(line) };
    let (key, value) = (key.trim(), value.trim());
    match value.strip_prefix('{') {
        Some(inside) => in_braces(inside.trim_end_matches('}')),
        None => of_value(key, value),
    }
}

fn twice(line: &str) -> String {
    match line.strip_prefix('[').filter(|rest| !rest.starts_with('[')) {
        Some(name) => {
            let name = name.trim_end_matches(']');
            format!(
                "the table [{name}] stands twice; keep one, or write [[{name}]] above each where there may be several"
            )
        }
        None => {
            let key = line.split('=').next().unwrap_or(line).trim();
            format!("duplicate key, {key} stands twice in its table; keep one of the two")
        }
    }
}

/// `name: "Rice"`
fn without_equals(line: &str) -> Option<String> {
    let (key, value) = line.split_once(':')?;
    let (key, value) = (key.trim(), value.trim());
    let is_key = !key.is_empty() && key.chars().all(|c| c.is_alphanumeric() || c == '_' || c == '-');
    is_key.then(|| format!("a value stands behind =, not a colon; write {key} = {value}"))
}

/// The entries of a table on one line.
fn in_braces(inside: &str) -> Option<String> {
    if inside.contains(';') {
        return Some("entries in braces are kept apart by commas; write , in place of ;".to_owned());
    }
    // A comma behind a number may be of its decimals: what follows it up to the next one has no key.
    let parts: Vec<&str> = inside.split(',').map(str::trim).collect();
    let decimals = parts.windows(2).find(|w| ends_in_digits(w[0]) && w[0].contains('=') && all_digits(w[1]));
    if let Some(w) = decimals {
        let number = format!("{},{}", w[0].rsplit('=').next().unwrap_or_default().trim(), w[1]);
        return Some(format!("{number} has a decimal comma; write {}", number.replace(',', ".")));
    }
    parts.iter().find_map(|part| match part.split_once('=') {
        Some((key, value)) => of_value(key.trim(), value.trim()),
        None => without_equals(part),
    })
}

fn ends_in_digits(text: &str) -> bool {
    text.ends_with(|c: char| c.is_ascii_digit())
}

fn all_digits(text: &str) -> bool {
    !text.is_empty() && text.chars().all(|c| c.is_ascii_digit())
}

/// Quotation marks that are not those of a keyboard.
const CURLED: [char; 8] = ['“', '”', '„', '«', '»', '‘', '’', '‚'];

fn of_value(key: &str, value: &str) -> Option<String> {
    let first = value.chars().next();
    if value.contains(CURLED) && !value.starts_with(['"', '\'']) {
        let text = value.trim_matches(|c| CURLED.contains(&c) || c == '"').trim();
        return Some(format!("curled quotation marks; write straight ones: {key} = \"{text}\""));
    }
    match first {
        None => Some(format!("{key} has no value; write one behind =, or leave the line out")),
        Some('"') if value.contains('\\') => {
            let text = value.trim_matches('"');
            Some(format!(
                "a \\ in double quotes begins a sign of its own; write the path with /, or in single quotes: {key} = '{text}'"
            ))
        }
        Some(quote @ ('"' | '\''))
            if value.len() == 1 || !value.ends_with(quote) && value.matches(quote).count() == 1 =>
        {
            Some(format!("the text does not end; close it: {key} = {value}{quote}"))
        }
        Some('0'..='9' | '+' | '-' | '.') if !IN_WORDS.contains(&key) => of_number(key, value),
        Some(c) if c.is_alphabetic() || c.is_ascii_digit() || "+-.".contains(c) => {
            Some(format!("a text stands in quotes; write {key} = \"{value}\""))
        }
        _ => None,
    }
}

/// Keys of sizes in words, which begin with a number or a sign.
const IN_WORDS: [&str; 3] = ["grade", "mesh", "size"];

/// `5,0`, `5 %`, `60 µm`
fn of_number(key: &str, value: &str) -> Option<String> {
    let end = value.find(|c: char| !c.is_ascii_digit() && !"+-.,_eE".contains(c)).unwrap_or(value.len());
    let (number, unit) = value.split_at(end);
    let plain = number.trim_end_matches(['e', 'E']).replace(',', ".");
    let is_number = plain.parse::<f64>().is_ok();
    match (is_number, number.contains(','), unit.trim()) {
        (true, true, _) => Some(format!("{value} has a decimal comma; write {key} = {plain}")),
        (true, false, "") => None,
        (true, false, unit) if unit.chars().all(|c| c.is_alphabetic() || "%°/³".contains(c)) => {
            Some(format!("a number stands without a unit, which the key names; write {key} = {plain}"))
        }
        // "60-100 mesh", "12.03.2026"
        _ => Some(format!("neither a number nor a text in quotes; write {key} = \"{value}\" if it is a text")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn first_day_slips_are_told_what_to_write() {
        for (line, wanted) in [
            ("powder_load_pct = 5,0", "write powder_load_pct = 5.0"),
            ("powder_load_pct = 5 %", "write powder_load_pct = 5"),
            ("powder_load_pct = 5,5 %  # of the scrub", "write powder_load_pct = 5.5"),
            ("name = River polish", "write name = \"River polish\""),
            ("name = “River polish”", "name = \"River polish\""),
            ("name = „Fluss“", "name = \"Fluss\""),
            ("name: \"Rice\"", "write name = \"Rice\""),
            ("name = \"Rice", "close it: name = \"Rice\""),
            ("name =", "has no value"),
            ("size = { sieve = \"C:\\Users\\lot.csv\" }", "sieve = 'C:\\Users\\lot.csv'"),
            ("size = { d50_um = 60,5, gsd = 1.6 }", "write 60.5"),
            ("size = { d50_um = 60; gsd = 1.6 }", "write , in place of ;"),
            ("size = { d50_um: 60 }", "write d50_um = 60"),
            ("size = { grade = -100 mesh }", "write grade = \"-100 mesh\""),
            ("size = { d50_um = 60 µm, gsd = 1.6 }", "write d50_um = 60"),
            ("size = 60-100 mesh", "write size = \"60-100 mesh\""),
            ("[scrub", "write [scrub]"),
            ("[[powder]", "write [[powder]]"),
        ] {
            let said = slip(line, "").unwrap_or_default();
            assert!(said.contains(wanted), "{line}: {said}");
        }
        assert!(slip("parts = 5", "duplicate key").is_some_and(|said| said.contains("parts stands twice")));
        assert!(slip("[powder]", "duplicate key").is_some_and(|said| said.contains("[[powder]]")));
        for fine in ["parts = 5", "size = { d50_um = 60, gsd = 1.6 }", "", "]"] {
            assert_eq!(slip(fine, ""), None, "{fine}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_line_makes_it_panic(line in "[a=:;,{}\\[\\]\"'“%5. \\\\#]{0,16}") {
            let _ = slip(&line, "duplicate key");
            let _ = slip(&line, "");
        }
    }
}
