//! Plastic, by what a powder or an ingredient is called.

use super::{PowderError, reasons, refuse_forbidden};
use crate::source::{Spelled, as_it_looks};
use crate::tables::{Material, PolymerWordRow, Tables};
use std::borrow::Cow;

/// Refuses what is plastic by a name of it, whatever else is said of it. `what` is which name: its name, its INCI name.
///
/// # Errors
/// [`PowderError::Refused`], with the word and every rule that forbids what it names; [`PowderError::MixedScripts`] for a word that no table
/// can know.
pub fn refuse_plastic(what: &str, name: &str, tables: &Tables) -> Result<(), PowderError> {
    if let Some(material) = refused_material(name, tables) {
        refuse_forbidden(material, &tables.refusals)?;
    }
    let spelled = Spelled::new(name);
    if let Some(row) = plastic_word(&spelled, tables) {
        return Err(PowderError::Refused {
            name: format!("{name} (\"{}\" in its {what})", row.word),
            reasons: reasons(&tables.refusals, &row.group),
        });
    }
    let mixed = |word: &str| PowderError::MixedScripts { what: what.into(), name: name.into(), word: word.into() };
    spelled.in_mixed_scripts().map_or(Ok(()), |word| Err(mixed(word)))
}

/// The material of the table that is refused and goes by this name or INCI name.
pub fn refused_material<'t>(name: &str, tables: &'t Tables) -> Option<&'t Material> {
    let name = Material::as_called(name);
    tables.materials.iter().find(|m| m.refused_by.is_some() && m.is_called(&name))
}

/// Words of plastic up to this length are abbreviations, which stand for other things too.
const LONGEST_ABBREVIATION: usize = 3;

/// What grains are called.
const GRAINS: [&str; 20] = [
    "microbeads",
    "microbead",
    "microspheres",
    "micropowder",
    "beads",
    "bead",
    "grains",
    "grain",
    "granules",
    "granule",
    "granulate",
    "particles",
    "pellets",
    "powder",
    "spheres",
    "scrub",
    "exfoliant",
    "pearls",
    "pearl",
    "perlen",
];

/// What a plastic comes as, beside grains.
const FORMS: [&str; 4] = ["wax", "fine", "micronised", "micronized"];

/// What a powder is packed in says nothing of it.
const PACKS: [&str; 14] = [
    "bag",
    "bags",
    "bottle",
    "box",
    "bucket",
    "container",
    "drum",
    "film",
    "jar",
    "lid",
    "liner",
    "pack",
    "sack",
    "tub",
];

/// Whether a name says nothing but that these are beads.
pub(super) fn says_beads_alone(name: &str) -> bool {
    let name = Spelled::new(name);
    let is_micro = |word: &String| word.starts_with("microbead") || word.starts_with("microsphere");
    name.words().iter().any(is_micro) && name.words().iter().all(|word| says_nothing(word))
}

/// Whether a word tells of grains, their form or a number, and of no material.
fn says_nothing(word: &str) -> bool {
    GRAINS.contains(&word) || FORMS.contains(&word) || word.chars().all(|c| c.is_ascii_digit())
}

/// The word of a name that tells of plastic, alone or with a number behind it (nylon12), or with grains (nylonbeads), or in pieces
/// (poly-ethylene, P.E.); one that means solid grains before others. "Plastic-free" is no plastic, and polyethylene glycol no polyethylene.
pub fn plastic_word<'t>(name: &Spelled, tables: &'t Tables) -> Option<&'t PolymerWordRow> {
    let looks: Vec<Cow<str>> = name.words().iter().map(|word| as_it_looks(word)).collect();
    let found: Vec<PlasticAt> = (0..looks.len()).filter_map(|start| plastic_at(&looks, start, tables)).collect();
    let is_told = |i: usize| found.iter().any(|f| (f.start..f.end).contains(&i));
    // Nothing else is said than plastic and grains.
    let is_all = (0..looks.len()).all(|i| is_told(i) || says_nothing(&looks[i]));
    let is_plastic = |found: &PlasticAt| {
        let (before, next) = (found.start.checked_sub(1).map(|i| &*looks[i]), looks.get(found.end).map(|word| &**word));
        if name.is_denied(found.start, found.end - found.start) {
            return false;
        }
        // Clay is called plastic that can be shaped.
        if found.row.word == "plastic" && looks.iter().any(|word| word == "clay") {
            return false;
        }
        // Glycols and sulfonates dissolve, oils flow.
        if next.is_some_and(|next| ["glycol", "glycols", "sulfonate", "oil", "oils", "fluid"].contains(&next)) {
            return false;
        }
        if found.row.word.len() > LONGEST_ABBREVIATION || found.with_grains || is_all {
            return true;
        }
        if next.is_some_and(|next| GRAINS.contains(&next)) {
            return true;
        }
        // "Pumice PP40" is a supplier's code.
        let is_code = looks[found.start..found.end].iter().any(|word| word.len() > found.row.word.len());
        let stands_out = !is_code && (found.start..found.end).all(|i| name.stands_out_in_capitals(i));
        stands_out && ![before, next].into_iter().flatten().any(|word| PACKS.contains(&word))
    };
    let rows = || found.iter().filter(|found| is_plastic(found)).map(|found| found.row);
    rows().find(|row| row.solid == 1).or_else(|| rows().next())
}

/// A word of the table in a name, from one of its words up to before another.
struct PlasticAt<'t> {
    start: usize,
    end: usize,
    row: &'t PolymerWordRow,
    /// The word goes on with what grains are called.
    with_grains: bool,
}

/// Most pieces that a word is written in.
const PIECES: usize = 4;

/// The word of the table that begins at a place of a name, in the most pieces.
fn plastic_at<'t>(looks: &[Cow<str>], start: usize, tables: &'t Tables) -> Option<PlasticAt<'t>> {
    (1..=PIECES.min(looks.len() - start)).rev().find_map(|count| {
        let pieces = &looks[start..start + count];
        let word = pieces.concat();
        let is_number = |piece: &Cow<str>| piece.chars().all(|c| c.is_ascii_digit());
        // A number behind a word is one of its own, but "PA 12" is known by it.
        let (row, with_grains) = row_of(&word, count == 1 || is_number(&pieces[count - 1]), tables)?;
        let is_spelt_out = pieces.iter().all(|piece| piece.chars().count() == 1);
        // "PA-6" is PA6.
        let ends_in_number = count == 2 && is_number(&pieces[1]) && row.looks == word;
        let fits = count == 1 || is_spelt_out || ends_in_number || row.word.len() > LONGEST_ABBREVIATION;
        fits.then_some(PlasticAt { start, end: start + count, row, with_grains })
    })
}

/// The row of a word: as it is, of several, with a number behind it, or with grains where it may be.
fn row_of<'t>(word: &str, may_go_on: bool, tables: &'t Tables) -> Option<(&'t PolymerWordRow, bool)> {
    let of = |word: &str| tables.polymer_words.iter().find(|row| row.looks == word);
    let of_several = |word: &str| {
        let one = word.strip_suffix('s').filter(|one| one.len() > LONGEST_ABBREVIATION);
        of(word).or_else(|| of(one?))
    };
    let bare = word.trim_end_matches(|c: char| c.is_ascii_digit());
    let with_grains = || GRAINS.iter().find_map(|grains| of(word.strip_suffix(grains)?));
    let plain = of_several(word).or_else(|| of_several(bare).filter(|_| may_go_on)).map(|row| (row, false));
    plain.or_else(|| Some((with_grains().filter(|_| may_go_on)?, true)))
}
