//! Numbers as people write them: so many significant digits, shares in percent, differences with their sign; and as JSON has them.

use serde::ser::SerializeMap;
use serde::{Serialize, Serializer};

/// Numbers from here to there are written without an exponent.
const PLAIN: std::ops::Range<f64> = 1e-6..1e15;

/// A number with `digits` significant digits, without an exponent unless it is next to nothing or beyond counting.
pub fn significant(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_owned() } else { "-".to_owned() };
    }
    if !PLAIN.contains(&value.abs()) {
        return format!("{value:.*e}", (digits - 1).max(0) as usize);
    }
    let magnitude = value.abs().log10().floor() as i32;
    let decimals = (digits - 1 - magnitude).max(0) as usize;
    let text = format!("{value:.decimals$}");
    // 9.996 with three digits is 10.0, one digit too many.
    let grown = text.trim_start_matches('-').parse::<f64>().is_ok_and(|v| v.log10().floor() as i32 > magnitude);
    if grown && decimals > 0 { format!("{value:.*}", decimals - 1) } else { text }
}

/// A number with two significant digits.
pub fn two(value: f64) -> String {
    significant(value, 2)
}

/// A number with three significant digits.
pub fn three(value: f64) -> String {
    significant(value, 3)
}

/// A number with four significant digits.
pub fn four(value: f64) -> String {
    significant(value, 4)
}

/// A number with at most so many significant digits, without needless zeros.
pub fn trimmed(value: f64, digits: i32) -> String {
    without_zeros(significant(value, digits))
}

/// A number with at least so many significant digits, and as many more as it takes to tell it from another written so: 1.004 beside a limit of 1.
pub fn apart(value: f64, from: f64, digits: i32) -> String {
    let all = (digits..15).map(|n| (trimmed(value, n), trimmed(from, n)));
    let told = all.into_iter().find(|(value, from)| value != from);
    told.map_or_else(|| trimmed(value, digits), |(value, _)| value)
}

/// Two numbers that differ, with three significant digits or as many as tell them apart: "12.0 to 12.5", "4.2001 to 4.2004".
pub fn from_to(from: f64, to: f64) -> String {
    match (three(from), three(to)) {
        (a, b) if a != b => format!("{a} to {b}"),
        _ => format!("{} to {}", apart(from, to, 4), apart(to, from, 4)),
    }
}

/// So many of a thing: "1 unit", "2 units".
pub fn counted(n: usize, one: &str) -> String {
    format!("{n} {one}{}", if n == 1 { "" } else { "s" })
}

/// A written number without needless zeros.
pub fn without_zeros(text: String) -> String {
    if text.contains('.') && !text.contains('e') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// A share in percent with three significant digits; what is next to nothing is said to be.
pub fn percent(value: f64) -> String {
    if value > 0.0 && value < 0.01 { "<0.01".to_owned() } else { three(value) }
}

/// What a figure is off by; what is next to nothing is said to be.
pub fn off_by(value: f64, digits: i32) -> String {
    if value.abs() < 0.005 { "0".to_owned() } else { significant(value, digits) }
}

/// A number with its sign; what is next to nothing is none.
pub fn signed(value: f64) -> String {
    let text = if value.abs() < 1e-6 { "0".to_owned() } else { three(value) };
    if value > 1e-6 { format!("+{text}") } else { text }
}

/// A value with its range: "42.0 (15.2 to 120)".
pub fn ranged(value: f64, low: f64, high: f64) -> String {
    format!("{} ({} to {})", three(value), three(low), three(high))
}

/// Numbers by their keys, an object of JSON.
#[derive(Debug, Clone, PartialEq)]
pub struct Keyed<V = f64>(pub Vec<(String, V)>);

impl<V: Serialize + Clone> Serialize for Keyed<V> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        entries(serializer, self.0.iter().cloned())
    }
}

/// Keys and values as an object of JSON.
///
/// # Errors
/// Those of the serializer.
pub fn entries<S: Serializer, V: Serialize>(
    serializer: S,
    entries: impl IntoIterator<Item = (String, V)>,
) -> Result<S::Ok, S::Error> {
    let mut map = serializer.serialize_map(None)?;
    entries.into_iter().try_for_each(|(key, value)| map.serialize_entry(&key, &value))?;
    map.end()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn significant_digits() {
        for (value, text) in
            [(1234.5, "1234"), (12.345, "12.3"), (0.001_234, "0.00123"), (9.996, "10.0"), (0.0, "0"), (-0.5, "-0.500")]
        {
            assert_eq!(three(value), text);
        }
        assert_eq!(three(f64::INFINITY), "-");
        assert_eq!([trimmed(1e-10, 3), trimmed(0.250_04, 4)], ["1.00e-10", "0.25"]);
        assert_eq!([two(4.4e-16), three(-1e300)], ["4.4e-16", "-1.00e300"]);
    }
}
