//! Which powder of a scrub a word means.

use crate::blend::Scrub;
use crate::source::{did_you_mean, nearest};

/// Why a word names no powder of a scrub.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum PlaceError {
    /// No powder of this name.
    #[error("the scrub has no powder \"{wanted}\"; {hint}")]
    NoSuchPowder {
        /// The name as typed.
        wanted: String,
        /// The nearest name.
        hint: String,
    },
    /// No name at all.
    #[error("name the powder that is meant: {names}")]
    Unnamed {
        /// All that there are.
        names: String,
    },
    /// More than one powder.
    #[error("\"{wanted}\" may be {names}; write more of the name")]
    Ambiguous {
        /// The name as typed.
        wanted: String,
        /// All that it may be.
        names: String,
    },
}

/// Place of the powder that a word names: its name or its material's key in any case, or a beginning of either that leaves
/// no doubt.
///
/// # Errors
/// [`PlaceError`], naming the nearest powder or all that are meant.
pub fn place_of(scrub: &Scrub, word: &str) -> Result<usize, PlaceError> {
    let wanted = word.trim().to_lowercase();
    let components = scrub.blend.components();
    let names: Vec<String> = components.iter().map(|c| c.powder.name.to_lowercase()).collect();
    let keys: Vec<String> = components
        .iter()
        .map(|c| c.powder.material.as_ref().map_or_else(String::new, |m| m.key.to_lowercase()))
        .collect();
    if wanted.is_empty() {
        let all: Vec<&str> = components.iter().map(|c| c.powder.name.as_str()).collect();
        return Err(PlaceError::Unnamed { names: all.join("; ") });
    }
    let begins = |s: &String| s.starts_with(&wanted);
    let fits: [&dyn Fn(usize) -> bool; 3] =
        [&|i| names[i] == wanted, &|i| keys[i] == wanted, &|i| begins(&names[i]) || begins(&keys[i])];
    let meant = fits.iter().map(|fits| (0..components.len()).filter(|&i| fits(i)).collect::<Vec<_>>());
    let name = |i: usize| components[i].powder.name.as_str();
    match meant.into_iter().find(|places| !places.is_empty()).unwrap_or_default().as_slice() {
        [place] => Ok(*place),
        [] => {
            let by_key =
                nearest(&wanted, keys.iter().map(String::as_str)).and_then(|k| keys.iter().position(|s| s == k));
            let by_name = nearest(&wanted, names.iter().map(String::as_str)).is_some();
            let hint = match by_key.filter(|_| !by_name) {
                Some(i) => format!("did you mean \"{}\"?", name(i)),
                None => did_you_mean(&wanted, components.iter().map(|c| c.powder.name.as_str())),
            };
            Err(PlaceError::NoSuchPowder { wanted: word.trim().to_owned(), hint })
        }
        several => {
            let names: Vec<String> = several.iter().map(|&i| format!("\"{}\"", name(i))).collect();
            Err(PlaceError::Ambiguous { wanted: word.trim().to_owned(), names: names.join(" or ") })
        }
    }
}
