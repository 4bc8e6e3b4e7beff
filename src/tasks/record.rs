//! A batch that goes into the register: what of which lot goes in, and whether it may be made.

use super::{Means, TaskError};
use crate::files::read_formula;
use crate::formula::batch::{Content, Order};
use crate::lots::register::{LotCode, Register};
use crate::records::batches::{Used, WeighedBatch};
use crate::records::verdicts::{LotStanding, LotVerdictTold, Product, lots_told};
use crate::report::BatchReport;
use crate::source::{CalendarDate, Source};

/// What is asked.
pub struct RecordRequest<'a> {
    /// The scrub file.
    pub scrub: Source<'a>,
    /// SHA-256 of it, in hexadecimal.
    pub sha256: String,
    /// How much was to be made.
    pub order: &'a Order,
    /// The weigh sheet.
    pub sheet: &'a BatchReport,
    /// Code of the batch.
    pub batch: LotCode,
    /// When it is made.
    pub date: CalendarDate,
    /// The register of lots, and its name.
    pub lots: Option<(&'a Register, &'a str)>,
}

/// A batch as it goes into the register.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// It.
    pub weighed: WeighedBatch,
    /// Lots that the register of lots does not simply accept: with any that was refused the batch is not to be made.
    pub lots: Vec<LotVerdictTold>,
    /// What has no lot.
    pub without_lot: Vec<String>,
    /// Lots that the register of lots does not hold.
    pub not_judged: Vec<String>,
    /// Lines of the register of lots that a crash had cut short: what they said of a lot is not known.
    pub torn: Vec<usize>,
}

/// Makes the entry of a batch, and looks up its lots.
///
/// # Errors
/// [`TaskError`].
pub fn record(request: RecordRequest, means: Means) -> Result<Recorded, TaskError> {
    let formula = read_formula(request.scrub, means.tables)?;
    let sheet = request.sheet;
    let used: Vec<Used> = sheet
        .lines
        .iter()
        .map(|l| Used {
            name: l.weighing.name.clone(),
            lot: l.weighing.lot.as_deref().map(|lot| lot.trim().to_owned()),
            grams: l.weighing.grams,
        })
        .collect();
    let by_order = request.order.units.and_then(|u| u.content);
    let unit_ml = match by_order {
        Some(Content::Millilitres(ml)) => Some(ml),
        Some(Content::Grams(_)) => None,
        None if formula.fill.net_mass.is_some() => None,
        None => formula.fill.net_volume.map(|v| v.get()),
    };
    let weighed = WeighedBatch {
        batch: request.batch,
        date: request.date,
        product: sheet.name.clone(),
        sha256: request.sha256,
        total_g: sheet.total_g,
        units: sheet.units,
        unit_g: sheet.unit_g,
        unit_ml: unit_ml.filter(|_| sheet.unit_g.is_some()),
        used,
    };
    let without = weighed.used.iter().filter(|u| u.lot.is_none()).map(|u| u.name.clone());
    let without_lot = without.collect();
    let (mut told, mut not_judged, mut torn) = (Vec::new(), Vec::new(), Vec::new());
    if let Some((register, _)) = request.lots {
        torn = register.torn.clone();
        let components = formula.scrub().blend.components();
        let parts = |name: &str| components.iter().find(|c| c.powder.name == name).map(|c| c.parts.get());
        told = lots_told(&weighed.used, Product { name: &weighed.product, parts: &parts }, register);
        let is_there = |u: &Used, lot: &str| register.entries.iter().any(|(_, e)| e.is_of(&u.name, lot));
        let open = weighed.used.iter().filter(|u| parts(&u.name).is_some());
        let open =
            open.filter_map(|u| u.lot.as_deref().filter(|l| !is_there(u, l)).map(|l| format!("{l} ({})", u.name)));
        not_judged = open.collect();
    }
    Ok(Recorded { weighed, lots: told, without_lot, not_judged, torn })
}

impl Recorded {
    /// Lots that were refused.
    pub fn refused(&self) -> impl Iterator<Item = &LotVerdictTold> {
        self.lots.iter().filter(|lot| lot.standing == LotStanding::Refused)
    }

    /// What else there is to say of its lots; `register` is the name of the register of lots.
    pub fn reservations(&self, register: &str) -> Vec<String> {
        self.lots.iter().filter(|lot| lot.standing != LotStanding::Refused).map(|lot| lot.said(register)).collect()
    }
}
