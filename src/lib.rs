//! Designs exfoliant powder blends for skin scrubs: each powder by its size distribution, hardness and roundness; the blend
//! by its combined distribution; an abrasiveness index from a model of the rub; and a band, face to feet, with reasons.
//!
//! Rooms, lower ones first; a room uses only those before it:
//! [`units`], [`source`] and `numerics` → [`size`] → [`tables`] → [`powder`] → [`blend`] → [`rub`] → [`band`] →
//! [`design`] → [`confidence`] → [`aim`] → [`lots`] → [`panel`] → [`formula`] → [`records`] → [`files`] → [`report`] → [`plot`] → [`tasks`] → `page` → `cli`.
//!
//! The index is a model under stated assumptions. It ranks scrubs; it is not a clinical measure.
//!
//! # For another crate
//! [`Tables`](tables::Tables) hold every constant, a [`Judge`](band::Judge) is made of them, a file or a text is a
//! [`Source`](source::Source), and [`tasks`] has a function for each thing that a person asks, whose report has text and JSON. Below them stand
//! [`size`] for a powder's sizes, [`blend`] for mixtures, and [`band`], which assesses. `numerics` and what is hidden here may change.
//!
//! A verdict, drawn from the ranges of all that is not known:
//! ```
//! use gritwise::{band::Judge, source::Source, tables::Tables, tasks};
//! use std::path::Path;
//!
//! let tables = Tables::built_in()?;
//! let judge = Judge::new(&tables)?;
//! let text = r#"
//!     [scrub]
//!     name = "Millrace rice polish"
//!     powder_load_pct = 5.0
//!     [[powder]]
//!     material = "rice-bran"
//!     parts = 4
//!     size = { d50_um = 60, gsd = 1.6 }
//! "#;
//! let scrub = Source::text(text, "example.toml", Path::new("."));
//! let asked = tasks::BlendRequest {
//!     scrub,
//!     shelf: None,
//!     draws: true,
//!     calibration: None,
//!     pictures: true,
//!     require: None,
//! };
//! let told = tasks::blend(&asked, tasks::Means { tables: &tables, judge: &judge })?;
//! assert_eq!(told.report.band.name, "delicate face");
//! assert!(told.report.band.sure_pct > Some(50.0) && told.pictures[0].svg.starts_with("<svg"));
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A blend designed from a shelf of powders:
//! ```
//! # use gritwise::{band::Judge, source::Source, tables::Tables, tasks};
//! # let tables = Tables::built_in()?;
//! # let judge = Judge::new(&tables)?;
//! let aim = Source::from("examples/aim-cheapest-face.toml");
//! let asked = tasks::AimRequest { aim, top: 3, resolution_g: None, watch: None, pictures: false };
//! let found = tasks::aim(&asked, tasks::Means { tables: &tables, judge: &judge })?;
//! let best = &found.report.blends[0];
//! assert!(found.report.proven && ["delicate face", "face"].contains(&best.band.as_str()));
//! for powder in &best.powders {
//!     println!("{:>6.1} g {}", powder.grams, powder.name);
//! }
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! A lot held against the grade that a scrub was designed with:
//! ```
//! # use gritwise::{band::Judge, lots::lot::LotTable, source::Source, tables::Tables, tasks};
//! # use std::path::Path;
//! # let tables = Tables::built_in()?;
//! # let judge = Judge::new(&tables)?;
//! let lot = LotTable::read(Path::new("examples/olive-stone-lot.csv"), &tables)?;
//! let scrub = Source::from("examples/millrace-rice-polish.toml");
//! let asked =
//!     tasks::LotRequest {
//!         scrub,
//!         powder: "olive",
//!         lot: vec![lot],
//!         max: None,
//!         sample_g: None,
//!         sieve_mm: None,
//!         shelf: None,
//!         picture: false,
//!     };
//! let told = tasks::lot(asked, tasks::Means { tables: &tables, judge: &judge })?;
//! assert!(told.report.index_with_lot > 0.0);
//! println!("{}", told.report.to_text());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

#![cfg_attr(not(test), warn(clippy::unwrap_used, clippy::expect_used, clippy::panic, clippy::todo))]

pub mod aim;
pub mod band;
pub mod blend;
#[cfg(feature = "cli")]
#[doc(hidden)]
pub mod cli;
pub mod confidence;
pub mod design;
pub mod files;
pub mod formula;
pub mod lots;
#[doc(hidden)]
pub mod numerics;
#[cfg(feature = "page-calls")]
#[doc(hidden)]
pub mod page;
pub mod panel;
pub mod plot;
pub mod powder;
pub mod records;
pub mod report;
pub mod rub;
pub mod size;
pub mod source;
pub mod tables;
pub mod tasks;
pub mod units;
