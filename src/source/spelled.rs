//! The words of a name as people write it, and whether it holds a phrase.

use std::borrow::Cow;
use unicode_normalization::UnicodeNormalization;
use unicode_normalization::char::is_combining_mark;

/// The words of a name, in small letters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spelled {
    words: Vec<String>,
    /// Which of them are written in capitals alone.
    capitals: Vec<bool>,
}

impl Spelled {
    /// Takes a name apart at all that is no letter and no digit. Full-width letters, ligatures and accents set apart are what they stand
    /// for (Unicode's form NFKC); what has no width is nothing.
    pub fn new(name: &str) -> Self {
        let name = if name.is_ascii() {
            Cow::Borrowed(name)
        } else {
            Cow::Owned(name.nfkc().filter(|c| !has_no_width(*c)).collect::<String>())
        };
        let written = || name.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty());
        let in_capitals = |word: &str| word.chars().any(char::is_uppercase) && !word.chars().any(char::is_lowercase);
        Self { words: written().map(str::to_lowercase).collect(), capitals: written().map(in_capitals).collect() }
    }

    /// Whether it has the same words as another.
    pub fn has_words_of(&self, other: &Self) -> bool {
        self.words == other.words
    }

    /// The words that are meant: "plastic-free" and "no plastic" name no plastic.
    pub fn meant(&self) -> impl Iterator<Item = (usize, &str)> {
        let all = self.words.iter().map(String::as_str).enumerate();
        all.filter(|(i, _)| !self.is_denied(*i, 1))
    }

    /// The word at a place.
    pub fn get(&self, place: usize) -> Option<&str> {
        self.words.get(place).map(String::as_str)
    }

    /// All words, those that are denied too.
    pub fn words(&self) -> &[String] {
        &self.words
    }

    /// Whether the word at a place stands in capitals among others that do not: where all do they say nothing.
    pub fn stands_out_in_capitals(&self, place: usize) -> bool {
        let has_small = |(word, capitals): (&String, &bool)| !capitals && word.chars().any(char::is_alphabetic);
        self.capitals.get(place) == Some(&true) && self.words.iter().zip(&self.capitals).any(has_small)
    }

    /// A word in which letters of another script stand among Latin ones: they look alike, and no table knows it.
    pub fn in_mixed_scripts(&self) -> Option<&str> {
        let strange = |(i, c): (usize, char)| looks_latin_but_is_not(c) && !(i == 0 && PREFIXES.contains(&c));
        let is_mixed =
            |word: &&String| word.chars().any(|c| c.is_ascii_alphabetic()) && word.chars().enumerate().any(strange);
        self.words.iter().find(is_mixed).map(String::as_str)
    }

    /// Whether it holds these whole words in a row, and means them.
    pub fn holds(&self, phrase: &str) -> bool {
        // Most phrases of a table begin with a letter that none of these words does.
        let initial = phrase.as_bytes().first().filter(|byte| byte.is_ascii_alphanumeric());
        if initial.is_some_and(|byte| !self.words.iter().any(|word| word.as_bytes()[0].eq_ignore_ascii_case(byte))) {
            return false;
        }
        let mut words = words_of(phrase);
        let Some(first) = words.next() else { return false };
        let mut begins = self.words.iter().enumerate().filter(|(_, word)| word.eq_ignore_ascii_case(first));
        begins.any(|(start, _)| {
            let (rest, count) = (&self.words[start + 1..], words.clone().count());
            let goes_on = words.clone().zip(rest).all(|(word, own)| own.eq_ignore_ascii_case(word));
            count <= rest.len() && goes_on && !self.is_denied(start, count + 1)
        })
    }

    /// Whether it is these words and no more.
    pub fn is(&self, phrase: &str) -> bool {
        self.words.len() == words_of(phrase).count() && self.holds(phrase)
    }

    /// Whether so many words from a place on are said not to be in it.
    pub fn is_denied(&self, start: usize, count: usize) -> bool {
        // "Free flowing" denies nothing, and "free of dust" nothing that stands before it.
        let (next, beyond) = (self.get(start + count), self.get(start + count + 1));
        let is_without = next == Some("free") && !beyond.is_some_and(|word| DENIES_NOTHING.contains(&word));
        // What is nothing but what it is said not to be has no other name.
        let is_all = self.words.len() == count + 1;
        is_without || !is_all && self.is_denied_before(start)
    }

    /// "No plastic", "free of plastic", and what goes on from there: "free of plastic and nylon".
    fn is_denied_before(&self, start: usize) -> bool {
        let before = |back: usize| start.checked_sub(back).and_then(|i| self.get(i));
        match (before(2), before(1)) {
            (_, Some("no" | "non" | "not" | "without" | "0")) | (Some("free"), Some("of" | "from")) => true,
            (Some(_), Some("and" | "or")) => self.is_denied_before(start - 2),
            _ => false,
        }
    }
}

/// What "free" denies nothing before.
const DENIES_NOTHING: [&str; 5] = ["flowing", "flow", "running", "of", "from"];

/// Letters that chemists set before a name.
const PREFIXES: [char; 5] = ['α', 'β', 'γ', 'δ', 'ω'];

/// Letters of the scripts that have some which look like Latin ones: Greek, Cyrillic, Armenian, Cherokee, Lisu. "μm" is no such word.
fn looks_latin_but_is_not(c: char) -> bool {
    let greek = ('\u{370}'..='\u{3ff}').contains(&c) && c != 'μ';
    let others = matches!(c, '\u{400}'..='\u{58f}' | '\u{13a0}'..='\u{13ff}' | '\u{ab70}'..='\u{abbf}' | '\u{a4d0}'..='\u{a4ff}');
    greek || others
}

/// Characters that are not seen: joiners, marks of direction, soft hyphens, selectors of a form.
fn has_no_width(c: char) -> bool {
    matches!(c,
        '\u{ad}' | '\u{34f}' | '\u{61c}' | '\u{115f}' | '\u{1160}' | '\u{17b4}' | '\u{17b5}' | '\u{180b}'..='\u{180f}'
        | '\u{200b}'..='\u{200f}' | '\u{202a}'..='\u{202e}' | '\u{2060}'..='\u{206f}' | '\u{3164}' | '\u{fe00}'..='\u{fe0f}'
        | '\u{feff}' | '\u{ffa0}' | '\u{fff9}'..='\u{fffb}' | '\u{e0000}'..='\u{e0fff}')
}

/// A word without its accents, Cyrillic letters that look like Latin ones as these, where all of its letters do.
pub fn as_it_looks(word: &str) -> Cow<'_, str> {
    if word.is_ascii() {
        return Cow::Borrowed(word);
    }
    let bare: String = word.nfd().filter(|c| !is_combining_mark(*c)).collect();
    let latin =
        |c: char| if c.is_ascii() { Some(c) } else { LOOKS.iter().find(|(own, _)| *own == c).map(|(_, as_)| *as_) };
    Cow::Owned(bare.chars().map(latin).collect::<Option<String>>().unwrap_or(bare))
}

/// Small Cyrillic letters, and the Latin ones that they look like.
const LOOKS: [(char, char); 12] = [
    ('а', 'a'),
    ('е', 'e'),
    ('о', 'o'),
    ('р', 'p'),
    ('с', 'c'),
    ('у', 'y'),
    ('х', 'x'),
    ('і', 'i'),
    ('ј', 'j'),
    ('ѕ', 's'),
    ('м', 'm'),
    ('т', 't'),
];

fn words_of(phrase: &str) -> impl Iterator<Item = &str> + Clone {
    phrase.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whole_words_that_are_meant() {
        let name = Spelled::new("Zinc oxide, non-nano; PE-free, Nylon-12 powder");
        for held in ["zinc oxide", "Nylon-12", "powder", "12 powder"] {
            assert!(name.holds(held), "{held}");
        }
        for not in ["oxid", "pe", "nano", "oxide powder", "", "powder more"] {
            assert!(!name.holds(not), "{not}");
        }
        assert!(Spelled::new("Sodium chloride").is("Sodium Chloride") && !name.is("zinc oxide"));
    }

    #[test]
    fn one_word_however_it_is_encoded() {
        // Full-width letters, a space of no width, an accent set apart, a subscript.
        for (written, plain) in [
            ("ＰＥ　ｂｅａｄｓ", "pe beads"),
            ("poly\u{200b}ethyl\u{ad}ene", "polyethylene"),
            ("polye\u{301}thyle\u{300}ne", "polyéthylène"),
            ("H₂O", "h2o"),
        ] {
            assert!(Spelled::new(written).has_words_of(&Spelled::new(plain)), "{written}");
        }
        assert_eq!(["polyéthylène", "\u{440}\u{435}"].map(as_it_looks), ["polyethylene", "pe"]);
        assert_eq!(Spelled::new("P\u{43e}lyethylene, 50 µm").in_mixed_scripts(), Some("p\u{43e}lyethylene"));
        for plain in ["β-Glucan", "Оливка", "50 µm", "Rice", "α-Cellulose"] {
            assert_eq!(Spelled::new(plain).in_mixed_scripts(), None, "{plain}");
        }
    }

    #[test]
    fn what_denies_a_word_and_what_does_not() {
        for denied in ["Plastic-free beads", "no plastic beads", "Non-plastic beads", "plastic free"] {
            assert!(!Spelled::new(denied).holds("plastic"), "{denied}");
        }
        for meant in ["plastic, free flowing", "plastic free of dust", "non plastic", "plastic free from dust"] {
            assert!(Spelled::new(meant).holds("plastic"), "{meant}");
        }
    }
}
