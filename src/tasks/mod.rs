//! One function for each thing that a person asks: a request in, a report out, with the pictures and files that go with it as texts.
//! No HTTP, no terminal, no clock; files are opened through the [`Source`] of a request alone. The command line and the page turn
//! arguments or JSON into a request, and show what comes of it.

mod aim;
mod batch;
mod blend;
mod compare;
mod confidence;
mod dossier;
#[cfg(feature = "photos")]
mod grains;
mod label;
mod ladder;
mod lot;
mod panel;
mod plan;
mod record;
mod size;
mod stand_in;
mod trace;

pub use aim::{AimRequest, Aimed, aim};
pub use batch::{BatchRequest, batch};
pub use blend::{BlendRequest, Blended, blend};
pub use compare::compare;
pub use confidence::confidence;
pub use dossier::{DossierError, dossier};
#[cfg(feature = "photos")]
pub use grains::{GrainsRequest, GrainsTold, Photo, Scale, grains, roundness_values};
pub use label::{LabelRequest, label};
pub use ladder::{LadderRequest, USUAL_POINTS, ladder};
pub use lot::{LotRequest, LotTold, lot};
pub use panel::{PanelRequest, Scored, panel};
pub use plan::{PanelPlanRequest, ask_of_material, ask_of_powder, plan_panel, plan_stability, sought};
pub use record::{RecordRequest, Recorded, record};
pub use size::measured;
pub use stand_in::{StandInRequest, USUAL_TOP, stand_in};
pub use trace::{Traced, trace};

use crate::band::Judge;
use crate::files::{ScrubFileError, read_formula, read_sieves, read_weighed};
use crate::formula::{Formula, OnSkin, Weighed};
use crate::plot::{Picture, PlotError};
use crate::size::SieveSet;
use crate::source::{ReadError, Source};
use crate::tables::Tables;
use std::error::Error;
use std::fmt;

/// What every task works with.
#[derive(Debug, Clone, Copy)]
pub struct Means<'a> {
    /// The tables in force.
    pub tables: &'a Tables,
    /// The judge that they make.
    pub judge: &'a Judge,
}

/// What comes of a task.
#[derive(Debug)]
pub struct Done<R> {
    /// The report.
    pub report: R,
    /// The picture, if asked for.
    pub picture: Option<Picture>,
}

/// Why a task is not done.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TaskError {
    /// A file that is wrong, and where.
    #[error(transparent)]
    File(#[from] ScrubFileError),
    /// A file that cannot be read.
    #[error(transparent)]
    Read(#[from] ReadError),
    /// What a file asks for cannot be had.
    #[error("{file}: {cause}")]
    Of {
        /// What the file is called.
        file: String,
        /// Why.
        cause: Cause,
    },
    /// A part of the request that is wrong: which, and why.
    #[error("{part}: {cause}")]
    Asked {
        /// Its name.
        part: &'static str,
        /// Why.
        cause: Cause,
    },
    /// Anything else that is wrong with what was asked.
    #[error("{0}")]
    Wrong(String),
    /// Whoever asked does not want it any more.
    #[error("this was stopped")]
    Stopped,
    /// A picture cannot be drawn.
    #[error(transparent)]
    Picture(#[from] PlotError),
}

/// An error of another room.
pub struct Cause(Box<dyn Error + Send + Sync>);

impl<E: Into<Box<dyn Error + Send + Sync>>> From<E> for Cause {
    fn from(cause: E) -> Self {
        Self(cause.into())
    }
}

impl fmt::Display for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

impl fmt::Debug for Cause {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.fmt(f)
    }
}

/// An error about a part of the request.
fn asked(part: &'static str, cause: impl Into<Cause>) -> TaskError {
    TaskError::Asked { part, cause: cause.into() }
}

impl Means<'_> {
    /// The grains of a scrub file as they reach the skin.
    ///
    /// # Errors
    /// [`TaskError`] when the file is wrong, or the jar dissolves all grains.
    pub fn on_skin(&self, source: Source) -> Result<OnSkin, TaskError> {
        self.left(source.name(), read_weighed(source, self.tables)?)
    }

    /// The whole of a scrub file, and its grains as they reach the skin.
    ///
    /// # Errors
    /// As [`Means::on_skin`].
    fn whole(&self, source: Source) -> Result<(Formula, OnSkin), TaskError> {
        let formula = read_formula(source, self.tables)?;
        let on_skin = self.left(source.name(), Weighed::from(&formula))?;
        Ok((formula, on_skin))
    }

    /// The sieves that a shelf file says its maker owns; those of the standard series where there is no file, or it says nothing of them.
    ///
    /// # Errors
    /// [`TaskError`] when the file is wrong.
    fn sieves(&self, shelf: Option<Source>) -> Result<SieveSet, TaskError> {
        let owned = shelf.map(read_sieves).transpose()?.flatten();
        Ok(owned.unwrap_or_else(|| self.tables.standards.sieve_set()))
    }

    fn left(&self, file: String, weighed: Weighed) -> Result<OnSkin, TaskError> {
        let on_skin = weighed.on_skin(self.tables, self.judge.model());
        on_skin.scrub().map_err(|e| TaskError::Of { file, cause: e.into() })?;
        Ok(on_skin)
    }
}
