//! All tests outside the library in one program: linking is most of the time that building tests takes.

mod common;

#[cfg(feature = "cli")]
mod aim;
#[cfg(feature = "cli")]
mod aim_likely;
#[cfg(feature = "cli")]
mod aim_proofs;
#[cfg(feature = "cli")]
mod as_written;
#[cfg(feature = "cli")]
mod bad_input;
#[cfg(feature = "cli")]
mod batch;
#[cfg(feature = "cli")]
mod by_name;
#[cfg(feature = "cli")]
mod commands;
#[cfg(feature = "cli")]
mod confidence;
#[cfg(feature = "cli")]
mod dissolution;
#[cfg(feature = "cli")]
mod dossier;
#[cfg(feature = "cli")]
mod dossier_paper;
#[cfg(feature = "cli")]
mod formula;
#[cfg(feature = "cli")]
mod formula_substances;
#[cfg(feature = "cli")]
mod formula_wordings;
#[cfg(feature = "cli")]
mod grades;
#[cfg(all(feature = "cli", feature = "photos"))]
mod grains;
#[cfg(feature = "cli")]
mod hardship;
#[cfg(feature = "cli")]
mod label;
#[cfg(feature = "cli")]
mod ladder;
#[cfg(feature = "cli")]
mod laws;
mod layers;
#[cfg(feature = "cli")]
mod lots;
#[cfg(feature = "cli")]
mod lots_register;
#[cfg(feature = "cli")]
mod lots_unknown;
mod measurement;
mod model_checks;
mod model_reference;
mod nearest_change;
#[cfg(feature = "cli")]
mod origins;
#[cfg(feature = "page")]
mod page;
#[cfg(feature = "page")]
mod page_browser;
#[cfg(feature = "cli")]
mod panel;
#[cfg(feature = "cli")]
mod panel_days;
#[cfg(feature = "cli")]
mod pictures;
#[cfg(feature = "cli")]
mod plan;
mod published_balance;
mod published_blend;
mod published_distributions;
mod published_fits;
mod published_formula;
mod published_mechanics;
mod published_panel;
mod published_sieves_and_grits;
#[cfg(feature = "cli")]
mod readme;
#[cfg(feature = "cli")]
mod records;
#[cfg(feature = "cli")]
mod results;
#[cfg(feature = "cli")]
mod safe;
#[cfg(feature = "cli")]
mod sheets;
#[cfg(feature = "cli")]
mod sieve;
#[cfg(feature = "cli")]
mod snapshots;
#[cfg(feature = "cli")]
mod suspension;
#[cfg(feature = "cli")]
mod told_truly;
mod verdicts;
#[cfg(feature = "cli")]
mod whole;
