//! Words: closed lists of them as enums, one way to fold what people type, and the nearest known word for a mistyped one.

use std::borrow::Cow;

/// A word that a closed list does not hold.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{given}\" must be one of: {known}")]
pub struct UnknownWord {
    /// As written.
    pub given: String,
    /// The words there are.
    pub known: String,
}

/// An enum each variant of which is a word of tables, files, JSON and people: read from it, written as it.
macro_rules! words {
    ($(#[$about:meta])* pub enum $name:ident { $($(#[$doc:meta])* $variant:ident = $word:literal),+ $(,)? }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize, serde::Deserialize)]
        #[serde(try_from = "String")]
        pub enum $name { $($(#[$doc])* #[serde(rename = $word)] $variant),+ }

        impl $name {
            /// All of them, in order.
            pub const ALL: [Self; [$($word),+].len()] = [$(Self::$variant),+];

            /// The word.
            pub const fn key(self) -> &'static str {
                match self { $(Self::$variant => $word),+ }
            }

            /// What a word stands for.
            pub fn of(word: &str) -> Option<Self> {
                Self::ALL.into_iter().find(|one| one.key() == word)
            }
        }

        impl TryFrom<String> for $name {
            type Error = $crate::source::UnknownWord;

            fn try_from(given: String) -> Result<Self, Self::Error> {
                let known = || Self::ALL.map(Self::key).join(", ");
                Self::of(&given).ok_or_else(|| $crate::source::UnknownWord { known: known(), given })
            }
        }
    };
}

pub(crate) use words;

/// A label as it is looked up: in lower case, with spaces for hyphens and underscores.
pub fn folded(label: &str) -> String {
    label.trim().to_lowercase().replace(['-', '_'], " ")
}

/// Whether two words are the same but for case and the white space around them.
pub fn same_word(a: &str, b: &str) -> bool {
    a.trim().eq_ignore_ascii_case(b.trim())
}

/// The known word nearest to `word`, if one is near enough to be what was meant.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted = word.to_lowercase();
    known
        .into_iter()
        .map(|k| (k, strsim::jaro_winkler(&wanted, &k.to_lowercase())))
        .filter(|&(_, likeness)| likeness >= 0.7)
        .max_by(|a, b| a.1.total_cmp(&b.1))
        .map(|(k, _)| k)
}

/// `did you mean …?` for the nearest known word, or a list of a few known words.
pub fn did_you_mean<'a>(word: &str, known: impl IntoIterator<Item = &'a str> + Clone) -> String {
    if let Some(k) = nearest(word, known.clone()) {
        return format!("did you mean \"{k}\"?");
    }
    let all: Vec<&str> = known.into_iter().collect();
    let shown = all.iter().take(12).copied().collect::<Vec<_>>().join(", ");
    let more = if all.len() > 12 { ", …" } else { "" };
    format!("known: {shown}{more}")
}

/// A name without what stands in brackets, such as the common name of a plant; "(and)" joins two names and stays.
pub fn without_brackets(name: &str) -> Cow<'_, str> {
    // Most names are without, and every row of a table is asked for each.
    let is_word = |word: &str| !word.is_empty() && !word.contains(char::is_whitespace);
    if !name.contains('(') && name.split(' ').all(is_word) {
        return Cow::Borrowed(name);
    }
    let joined = name.replace("(and)", " + ");
    let mut depth = 0_usize;
    let kept: String = joined
        .chars()
        .filter(|c| {
            depth += usize::from(*c == '(');
            let keeps = depth == 0;
            depth = depth.saturating_sub(usize::from(*c == ')'));
            keeps
        })
        .collect();
    Cow::Owned(kept.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// The substances that the INCI name of a blend lists, in lower case and in its order.
pub fn substances_of(inci: &str) -> Vec<String> {
    let inci = inci.to_lowercase().replace("(and)", "+");
    inci.split(['+', ',', ';', '/']).map(str::trim).filter(|w| !w.is_empty()).map(str::to_owned).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_stands_in_brackets_is_left_out_but_for_and() {
        for (name, bare) in [
            ("Lavandula Angustifolia (Lavender) Oil", "Lavandula Angustifolia Oil"),
            ("Glycerin (and) Aqua (Water)", "Glycerin + Aqua"),
            ("A ((B) C", "A"),
            ("A) B", "A) B"),
            ("A  B\tC ", "A B C"),
            ("", ""),
        ] {
            assert_eq!(without_brackets(name), bare);
        }
    }

    #[test]
    fn nearest_word() {
        assert_eq!(nearest("prats", ["parts", "name"]), Some("parts"));
        assert_eq!(nearest("ricebran", ["rice-bran", "olive-stone"]), Some("rice-bran"));
        assert_eq!(nearest("qqq", ["parts", "name"]), None);
    }
}
