//! The words of a name as people write it, and whether it holds a phrase.

/// The words of a name, in small letters.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spelled(Vec<String>);

impl Spelled {
    /// Takes a name apart at all that is no letter and no digit.
    pub fn new(name: &str) -> Self {
        let lower = name.to_lowercase();
        Self(lower.split(|c: char| !c.is_alphanumeric()).filter(|w| !w.is_empty()).map(str::to_owned).collect())
    }

    /// The words that are meant: "plastic-free" and "no plastic" name no plastic.
    pub fn meant(&self) -> impl Iterator<Item = (usize, &str)> {
        let all = self.0.iter().map(String::as_str).enumerate();
        all.filter(|(i, _)| !self.is_denied(*i, 1))
    }

    /// The word at a place.
    pub fn get(&self, place: usize) -> Option<&str> {
        self.0.get(place).map(String::as_str)
    }

    /// Whether it holds these whole words in a row, and means them.
    pub fn holds(&self, phrase: &str) -> bool {
        // Most phrases of a table begin with a letter that none of these words does.
        let initial = phrase.as_bytes().first().filter(|byte| byte.is_ascii_alphanumeric());
        if initial.is_some_and(|byte| !self.0.iter().any(|word| word.as_bytes()[0].eq_ignore_ascii_case(byte))) {
            return false;
        }
        let mut words = words_of(phrase);
        let Some(first) = words.next() else { return false };
        let mut begins = self.0.iter().enumerate().filter(|(_, word)| word.eq_ignore_ascii_case(first));
        begins.any(|(start, _)| {
            let (rest, count) = (&self.0[start + 1..], words.clone().count());
            let goes_on = words.clone().zip(rest).all(|(word, own)| own.eq_ignore_ascii_case(word));
            count <= rest.len() && goes_on && !self.is_denied(start, count + 1)
        })
    }

    /// Whether it is these words and no more.
    pub fn is(&self, phrase: &str) -> bool {
        self.0.len() == words_of(phrase).count() && self.holds(phrase)
    }

    fn is_denied(&self, start: usize, count: usize) -> bool {
        // "Free flowing" denies nothing.
        let is_without = self.get(start + count) == Some("free") && self.get(start + count + 1) != Some("flowing");
        is_without || start > 0 && ["no", "non"].contains(&self.0[start - 1].as_str())
    }
}

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
}
