//! Designs exfoliant powder blends for skin scrubs: each powder by its size distribution, hardness and roundness; the blend
//! by its combined distribution; an abrasiveness index from a model of the rub; and a band, face to feet, with reasons.
//!
//! Rooms, lower ones first; a room uses only those before it:
//! [`units`], [`source`] and [`numerics`] → [`size`] → [`tables`] → [`powder`] → [`blend`] → [`rub`] → [`band`] →
//! [`design`] → [`confidence`] → [`aim`] → [`lots`] → [`panel`] → [`formula`] → [`files`] → [`report`] → [`plot`] → [`tasks`] → `page` → `cli`.
//!
//! The index is a model under stated assumptions. It ranks scrubs; it is not a clinical measure.
//!
//! # Example
//! ```
//! use gritwise::{band::Judge, files, source::Source, tables::Tables};
//! use std::path::Path;
//!
//! let tables = Tables::built_in()?;
//! let text = r#"
//!     [scrub]
//!     name = "Millrace rice polish"
//!     powder_load_pct = 5.0
//!     [[powder]]
//!     material = "rice-bran"
//!     parts = 4
//!     size = { d50_um = 60, gsd = 1.6 }
//! "#;
//! let scrub = files::read_scrub(Source::text(text, "example.toml", Path::new(".")), &tables)?;
//! let judge = Judge::new(&tables)?;
//! let assessment = judge.assess(&scrub);
//! assert_eq!(judge.band_name(assessment.verdict.rank), "delicate face");
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), warn(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod aim;
pub mod band;
pub mod blend;
#[cfg(feature = "cli")]
pub mod cli;
pub mod confidence;
pub mod design;
pub mod files;
pub mod formula;
pub mod lots;
pub mod numerics;
#[cfg(feature = "page")]
pub mod page;
pub mod panel;
pub mod plot;
pub mod powder;
pub mod report;
pub mod rub;
pub mod size;
pub mod source;
pub mod tables;
pub mod tasks;
pub mod units;
