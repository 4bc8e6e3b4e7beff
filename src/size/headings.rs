//! The words that people write above the columns of a size table, and in its first column. The words themselves are data
//! (`grading-tables/headings.csv`).

use crate::source::words;

words! {
    /// What a word says of a column or of a row.
    pub enum Says {
        /// The opening of a sieve.
        Sieve = "sieve",
        /// A size of grains.
        Size = "size",
        /// A mesh number.
        Mesh = "mesh",
        /// A mesh number of the Tyler series.
        Tyler = "tyler",
        /// Where a class starts.
        Lower = "lower",
        /// Where a class ends.
        Upper = "upper",
        /// What stayed on a sieve.
        Retained = "retained",
        /// What went through.
        Passing = "passing",
        /// From one end of the table to here.
        Cumulative = "cumulative",
        /// A share by volume.
        Volume = "volume",
        /// A mass, or a share of it: of what, it does not say.
        Mass = "mass",
        /// A number of grains.
        Count = "count",
        /// The pan under the sieves.
        Pan = "pan",
        /// The sum of the rows.
        Total = "total",
        /// What was lost in sieving.
        Loss = "loss",
        /// A sieve weighed empty.
        Tare = "tare",
        /// A sieve weighed with what lies on it.
        Gross = "gross",
        /// Nothing that sizes are read from.
        Aside = "aside",
        /// Micrometres.
        Micrometre = "um",
        /// Millimetres.
        Millimetre = "mm",
        /// Grams.
        Gram = "g",
        /// Milligrams.
        Milligram = "mg",
        /// Kilograms.
        Kilogram = "kg",
        /// Percent.
        Percent = "percent",
    }
}

/// A word and what it says.
#[derive(Debug, Clone, PartialEq)]
pub struct Heading {
    /// As [`folded_words`] leaves it; an asterisk at an end stands for more letters there.
    pub word: String,
    /// What it says.
    pub says: Says,
}

/// A text for looking words up: in lower case, without accents, words and signs apart and a space at both ends.
pub fn folded_words(text: &str) -> String {
    let mut folded = String::from(" ");
    for c in text.chars().flat_map(char::to_lowercase) {
        match c {
            'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => folded.push('a'),
            'ç' => folded.push('c'),
            'è' | 'é' | 'ê' | 'ë' => folded.push('e'),
            'ì' | 'í' | 'î' | 'ï' => folded.push('i'),
            'ñ' => folded.push('n'),
            'ò' | 'ó' | 'ô' | 'õ' | 'ö' => folded.push('o'),
            'ù' | 'ú' | 'û' | 'ü' => folded.push('u'),
            'ß' => folded.push_str("ss"),
            // The micro sign, and the Greek letter that looks like it.
            'µ' | 'μ' => folded.push('u'),
            '%' => folded.push_str(" % "),
            c if c.is_alphanumeric() => folded.push(c),
            _ => folded.push(' '),
        }
    }
    let words: Vec<&str> = folded.split_whitespace().collect();
    format!(" {} ", words.join(" "))
}

/// What a text says, by all the words that it holds.
pub fn said(headings: &[Heading], text: &str) -> Vec<Says> {
    let folded = folded_words(text);
    if !folded.contains(|c: char| c.is_alphabetic() || c == '%') {
        return Vec::new();
    }
    let holds = |heading: &&Heading| {
        let word = heading.word.trim_matches('*');
        let [before, after] = [heading.word.starts_with('*'), heading.word.ends_with('*')].map(|open| !open);
        let stands = |at: usize| {
            (!before || folded[..at].ends_with(' ')) && (!after || folded[at + word.len()..].starts_with(' '))
        };
        // Asked first, because it is many times as quick and hardly a word is held.
        folded.contains(word) && folded.match_indices(word).any(|(at, _)| stands(at))
    };
    let mut said: Vec<Says> = headings.iter().filter(holds).map(|heading| heading.says).collect();
    said.sort();
    said.dedup();
    said
}
