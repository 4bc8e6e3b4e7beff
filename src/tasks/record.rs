//! A batch that goes into the register: what of which lot goes in, and whether it may be made.

use super::{Means, TaskError};
use crate::files::read_formula;
use crate::formula::batch::{Content, Order};
use crate::lots::register::{LotCode, Register};
use crate::records::batches::{Refused, Used, WeighedBatch, refused};
use crate::report::BatchReport;
use crate::source::{CalendarDate, Source, did_you_mean, same_word};

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
    /// Lots that are in hand, by the name of what they are of; they go before those of the file.
    pub in_hand: &'a [(String, LotCode)],
    /// The register of lots, and its name.
    pub lots: Option<(&'a Register, &'a str)>,
}

/// A batch as it goes into the register.
#[derive(Debug, Clone, PartialEq)]
pub struct Recorded {
    /// It.
    pub weighed: WeighedBatch,
    /// Lots that were refused: with any the batch is not to be made.
    pub refused: Vec<Refused>,
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
    let names = || sheet.lines.iter().map(|l| l.weighing.name.as_str());
    if let Some((strange, _)) = request.in_hand.iter().find(|(name, _)| !names().any(|n| n == name)) {
        let hint = did_you_mean(strange, names());
        return Err(super::asked("lot-of", format!("nothing in the batch is named \"{strange}\"; {hint}")));
    }
    let twice = |(i, (name, _)): (usize, &(String, LotCode))| request.in_hand[..i].iter().any(|(n, _)| n == name);
    if let Some((_, (name, _))) = request.in_hand.iter().enumerate().find(|own| twice(*own)) {
        return Err(super::asked("lot-of", format!("two lots of \"{name}\": give one for each name")));
    }
    let lot_of = |name: &str| request.in_hand.iter().find(|(n, _)| n == name).map(|(_, lot)| lot.as_str());
    let used: Vec<Used> = sheet
        .lines
        .iter()
        .map(|l| Used {
            name: l.weighing.name.clone(),
            lot: lot_of(&l.weighing.name).or(l.weighing.lot.as_deref()).map(|lot| lot.trim().to_owned()),
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
    let (mut refused_lots, mut not_judged, mut torn) = (Vec::new(), Vec::new(), Vec::new());
    if let Some((register, _)) = request.lots {
        torn = register.torn.clone();
        refused_lots = refused(&weighed.used, &weighed.product, register);
        let is_there = |lot: &str| register.entries.iter().any(|(_, e)| same_word(e.lot.as_str(), lot));
        let powder = |name: &str| formula.scrub().blend.components().iter().any(|c| c.powder.name == name);
        let open = weighed.used.iter().filter(|u| powder(&u.name));
        let told = open.filter_map(|u| u.lot.as_deref().filter(|l| !is_there(l)).map(|l| format!("{l} ({})", u.name)));
        not_judged = told.collect();
    }
    Ok(Recorded { weighed, refused: refused_lots, without_lot, not_judged, torn })
}
