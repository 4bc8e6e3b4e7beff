//! A lot held against its grade.

use super::{Means, TaskError, asked};
use crate::blend::{Blend, Scrub};
use crate::design::place_of;
use crate::files::{is_shelf, read_shelf};
use crate::formula::{OnSkin, Weighed};
use crate::lots::lot::{LotCase, LotJudged, LotTable, OnSkinOf};
use crate::plot::{Picture, lot_picture};
use crate::powder::Powder;
use crate::report::LotReport;
use crate::size::{SizeError, SizeRecord};
use crate::source::Source;
use crate::tables::Tables;
use crate::units::{LoadPercent, Micrometres, Parts};

/// What is asked.
pub struct LotRequest<'a> {
    /// The scrub file with the powder's grade; or a shelf file with it, the powder then judged alone at the reference scrub's load.
    pub scrub: Source<'a>,
    /// The powder: its name, its material, or a beginning of either.
    pub powder: &'a str,
    /// The measured tables of the lot.
    pub lot: Vec<LotTable>,
    /// How far the powder on the coarsest sieve reaches; else as the grade says.
    pub max: Option<Micrometres>,
    /// Mass of the sample that was measured, g; else what lay on the sieves.
    pub sample_g: Option<f64>,
    /// Frame of the sieves, mm; the table's where it is not said.
    pub sieve_mm: Option<f64>,
    /// The shelf file whose `[sieves]` are at hand; else those of the standard series are.
    pub shelf: Option<Source<'a>>,
    /// Draw lot and grade.
    pub picture: bool,
}

/// What is told of a lot.
#[derive(Debug)]
pub struct LotTold {
    /// The report.
    pub report: LotReport,
    /// What it was made from.
    pub judged: LotJudged,
    /// Lot and grade, if asked for.
    pub picture: Option<Picture>,
}

/// Judges a lot.
///
/// # Errors
/// [`TaskError`].
pub fn lot(request: LotRequest, means: Means) -> Result<LotTold, TaskError> {
    let Means { tables, judge } = means;
    let of_shelf = is_shelf(request.scrub).unwrap_or(false);
    let on_skin = if of_shelf { alone(&request, means)? } else { means.on_skin(request.scrub)? };
    let sieves = means.sieves(request.shelf.or(of_shelf.then_some(request.scrub)))?;
    let scrub = &on_skin.weighed.scrub;
    let place = place_of(scrub, request.powder).map_err(|e| asked("powder", e))?;
    let powder = &scrub.blend.components()[place].powder;
    // A stated top is of the tables that leave theirs open.
    let leaves_open = |table: &LotTable| table.record.open_top().is_some();
    let some_open = request.lot.iter().any(leaves_open);
    let close = |table: LotTable| {
        let max = request.max.filter(|_| !some_open || leaves_open(&table));
        let record = closed(table.record, max, powder, tables);
        let record =
            record.map_err(|e| TaskError::Of { file: format!("{}: --max-um", table.file), cause: e.into() })?;
        // Whoever sieves the grade sieves the lot; one that was sieved before it was measured stays as it is.
        let record = match &powder.size.sieved {
            Some(grade) => {
                record.sieved(grade.by).map_err(|e| TaskError::Of { file: table.file.clone(), cause: e.into() })?
            }
            None => record,
        };
        Ok::<_, TaskError>(LotTable { record, ..table })
    };
    let lot = request.lot.into_iter().map(close).collect::<Result<Vec<_>, _>>()?;
    // What the jar takes does not hang on sizes: where it leaves some of the grade, it leaves some of the lot.
    let arrives = on_skin.weighed.arrival(tables);
    let grains = |s: &Scrub| arrives(s).unwrap_or_else(|| s.clone());
    let (sample_g, sieve_mm) = (request.sample_g, request.sieve_mm);
    let case = LotCase { judge, tables, scrub, place, sample_g, sieve_mm, on_skin: OnSkinOf(&grains) };
    let judged = case.judge(&lot).map_err(|e| TaskError::Wrong(e.to_string()))?;
    let report = LotReport::new(&case, &lot, &judged, &case.how_sure(&lot, &judged), &on_skin);
    let report = report.with_sieves(&case, &lot, &judged, &sieves);
    let picture = request.picture.then(|| lot_picture(&case, &judged)).transpose()?;
    Ok(LotTold { report, judged, picture })
}

/// A powder of a shelf alone in a scrub, as a shelf holds none: at the load of the reference scrub (convention).
fn alone(request: &LotRequest, means: Means) -> Result<OnSkin, TaskError> {
    let Means { tables, judge } = means;
    let wrong = |e: &dyn std::fmt::Display| TaskError::Wrong(format!("{}: {e}", request.scrub.name()));
    let load = LoadPercent::new(tables.constants.reference_load_pct.value).map_err(|e| wrong(&e))?;
    let part = Parts::new(1.0).map_err(|e| wrong(&e))?;
    let scrub = |name: String, powders: Vec<Powder>| {
        let blend = Blend::new(powders.into_iter().map(|powder| (powder, part)).collect()).map_err(|e| wrong(&e))?;
        Ok::<_, TaskError>(Scrub { name, load, load_range: None, blend })
    };
    let shelf = read_shelf(request.scrub, tables)?;
    let all = scrub(String::new(), shelf.into_iter().map(|s| s.powder).collect())?;
    let place = place_of(&all, request.powder).map_err(|e| asked("powder", e))?;
    let powder = all.blend.components()[place].powder.clone();
    let name = format!("{} alone, {} % of a scrub (the shelf names none)", powder.name, load.get());
    let weighed = Weighed::new(scrub(name, vec![powder])?, None);
    Ok(weighed.on_skin(tables, judge.model()))
}

/// A table whose top is stated: by the request, or by the grade where that lies above the lot's coarsest sieve.
fn closed(
    record: SizeRecord,
    max: Option<Micrometres>,
    powder: &Powder,
    tables: &Tables,
) -> Result<SizeRecord, SizeError> {
    if let Some(max) = max {
        return record.closed_at(max, &tables.standards);
    }
    let grade = powder.size.sieved.as_ref().map_or(&powder.size, |sieved| &sieved.of);
    let of_grade = grade.stated_top_um.and_then(|um| Micrometres::new(um).ok());
    let closed = of_grade.and_then(|max| record.closed_at(max, &tables.standards).ok());
    Ok(closed.unwrap_or(record))
}
