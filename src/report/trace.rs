//! The results of `gritwise made` and `gritwise trace`: batches, what went in, what came of them.

use super::layout::{Grid, bullets, hung, inset, part, row};
use crate::numerics::written::{apart, counted, trimmed};
use crate::records::batches::{BatchOutcome, BatchRecord, Batches, Used};
use crate::records::fills::{Fills, Inspected, MOST_BELOW_T1_PCT};
use crate::source::CalendarDate;
use crate::tables::{Origin, PaperTables, SamplingKind};
use serde::Serialize;

/// What a code leads to. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct TraceReport {
    /// The code.
    pub code: String,
    /// The register.
    pub register: String,
    /// The batch of this code.
    pub batch: Option<BatchPart>,
    /// Batches that hold the lot of this code.
    pub batches: Vec<HoldingPart>,
    /// All their units; absent where those of one are not known.
    pub units: Option<u32>,
    /// Lines that a crash had cut short; they are passed over.
    pub torn_lines: Vec<usize>,
}

/// A batch with all that is known of it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchPart {
    /// Its code.
    pub batch: String,
    /// When it was weighed in.
    pub date: CalendarDate,
    /// Name of the scrub.
    pub product: String,
    /// SHA-256 of the formula file.
    pub sha256: String,
    /// All that was weighed in, with what was set right afterwards, g.
    pub total_g: f64,
    /// The same by the sheet, where that is another.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub total_by_sheet_g: Option<f64>,
    /// Units that it filled, or was to fill.
    pub units: Option<u32>,
    /// Nominal content of a unit, g.
    pub unit_g: Option<f64>,
    /// What went in, with what was set right afterwards.
    pub lines: Vec<Used>,
    /// What came of it; absent where nothing was noted.
    pub made: Option<MadePart>,
}

/// What came of a batch.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct MadePart {
    /// When.
    pub date: Option<CalendarDate>,
    /// Measured pH.
    pub ph: Option<f64>,
    /// Measured viscosity, Pa s.
    pub viscosity_pa_s: Option<f64>,
    /// What was had of it, g.
    pub yield_g: Option<f64>,
    /// The same of what was weighed in, %.
    pub yield_pct: Option<f64>,
    /// What was kept back.
    pub retained: Option<String>,
    /// Deviations, and anything else.
    pub note: Option<String>,
    /// What was weighed in other than by the sheet.
    pub corrected: Vec<Used>,
    /// Fill weights; absent where none were noted.
    pub fills: Option<FillPart>,
}

/// Fill weights against the law.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FillPart {
    /// Units weighed.
    pub count: usize,
    /// Whether the three rules are met, and an inspector's sample would be accepted; absent where they are not judged, or where too few
    /// units are weighed to decide.
    pub passes: Option<bool>,
    /// Nominal content, g.
    pub nominal_g: Option<f64>,
    /// Tolerable negative error, g.
    pub tolerable_error_g: Option<f64>,
    /// Mean content, g.
    pub mean_g: f64,
    /// Least content, g.
    pub least_g: f64,
    /// Units below T1.
    pub below_t1: Option<usize>,
    /// The same, % of those weighed.
    pub below_t1_pct: Option<f64>,
    /// Units below T2.
    pub below_t2: Option<usize>,
    /// Each rule with its answer, or why it is not judged.
    pub why: Vec<String>,
    /// Status and source of the error.
    pub origin: Option<Origin>,
    /// What an inspector's sample would come to; absent without a count of units.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspection: Option<InspectionPart>,
    /// The same where the units are opened for it; absent for a batch that is weighed whole, too.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub inspection_opened: Option<InspectionPart>,
    /// What it is and is not.
    pub note: &'static str,
}

/// A test of Directive 76/211/EEC, Annex II, of the units that were weighed first.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct InspectionPart {
    /// Whether the batch would be accepted; absent while too few units are weighed.
    pub accepted: Option<bool>,
    /// Why.
    pub says: String,
    /// Status and source of the plan.
    pub origin: Option<Origin>,
}

impl InspectionPart {
    fn new(fills: &Fills, units: u32, kind: SamplingKind, tables: &PaperTables) -> Self {
        let Inspected { accepted, says, origin } = fills.inspected(units, kind, tables);
        Self { accepted, says, origin }
    }

    fn said(&self, whose: &str) -> String {
        let answer = match self.accepted {
            Some(true) => "accepted",
            Some(false) => "refused",
            None => "not decided",
        };
        let source = self.origin.as_ref().map_or_else(String::new, |o| format!(" ({}, {})", o.source, o.status.key()));
        format!("{whose}: {answer}: {}{source}", self.says)
    }
}

/// A batch that holds a lot.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct HoldingPart {
    /// Its code.
    pub batch: String,
    /// When it was weighed in.
    pub date: CalendarDate,
    /// Name of the scrub.
    pub product: String,
    /// Units that it filled, or was to fill.
    pub units: Option<u32>,
    /// What the lot is of, and grams of it.
    pub lines: Vec<Used>,
}

const FILL_NOTE: &str = "Said of the units that were weighed, by the average system of Directive 76/211/EEC, Annex I. An inspector draws \
     a sample of their own and decides by Annex II; where it is sold, the rules of that place hold.";

impl FillPart {
    fn new(record: &BatchRecord, fill_g: &[f64], tables: &PaperTables) -> Option<Self> {
        if fill_g.is_empty() {
            return None;
        }
        let mean_g = fill_g.iter().sum::<f64>() / fill_g.len() as f64;
        let least_g = fill_g.iter().copied().fold(f64::INFINITY, f64::min);
        let bare = Self {
            count: fill_g.len(),
            passes: None,
            nominal_g: record.weighed.unit_g,
            tolerable_error_g: None,
            mean_g,
            least_g,
            below_t1: None,
            below_t1_pct: None,
            below_t2: None,
            why: Vec::new(),
            origin: None,
            inspection: None,
            inspection_opened: None,
            note: FILL_NOTE,
        };
        Some(match Fills::new(&record.weighed, fill_g, tables) {
            Err(why) => Self { why: vec![format!("not judged: {why}")], ..bare },
            Ok(fills) => {
                let units = record.units();
                let inspection = |kind| units.map(|units| InspectionPart::new(&fills, units, kind, tables));
                let sample = inspection(SamplingKind::NonDestructive);
                // A rule that is broken stays broken; one that is met by some of the units may yet be broken by the others.
                let decided = sample.as_ref().map_or(Some(true), |sample| sample.accepted);
                Self {
                    passes: if fills.passes() { decided } else { Some(false) },
                    tolerable_error_g: Some(fills.error_g),
                    below_t1: Some(fills.below_t1),
                    below_t1_pct: Some(fills.below_t1_pct()),
                    below_t2: Some(fills.below_t2),
                    why: reasons(&fills),
                    inspection: sample,
                    // Only a plan has a source.
                    inspection_opened: inspection(SamplingKind::Destructive).filter(|i| i.origin.is_some()),
                    origin: Some(fills.origin),
                    ..bare
                }
            }
        })
    }
}

fn reasons(f: &Fills) -> Vec<String> {
    let answer = |met: bool| if met { "met" } else { "broken" };
    let [mean, t1, t2] = f.rules().map(answer);
    let grams = |g: f64| trimmed(g, 5);
    let (nominal, e) = (f.nominal_g, f.error_g);
    vec![
        format!("mean {} g, not below {} g: {mean}", apart(f.mean_g, nominal, 5), grams(nominal)),
        format!(
            "{} of {} units ({} %) below T1 = {} g, {MOST_BELOW_T1_PCT} % at most: {t1}",
            f.below_t1,
            f.count,
            trimmed(f.below_t1_pct(), 3),
            grams(nominal - e)
        ),
        format!("{} below T2 = {} g, none at all: {t2}", f.below_t2, grams(nominal - 2.0 * e)),
    ]
}

impl BatchPart {
    /// A batch of a register.
    pub fn new(record: &BatchRecord, tables: &PaperTables) -> Self {
        let w = &record.weighed;
        let total_g = record.total_g();
        let made = (!record.outcomes.is_empty()).then(|| {
            let BatchOutcome { date, ph, viscosity_pa_s, yield_g, fill_g, retained, note, corrected, .. } =
                record.outcome();
            let fills = FillPart::new(record, &fill_g, tables);
            let yield_pct = yield_g.map(|g| 100.0 * g / total_g);
            MadePart { date, ph, viscosity_pa_s, yield_g, yield_pct, retained, note, corrected, fills }
        });
        Self {
            batch: w.batch.as_str().to_owned(),
            date: w.date,
            product: w.product.clone(),
            sha256: w.sha256.clone(),
            total_g,
            total_by_sheet_g: Some(w.total_g).filter(|by_sheet| *by_sheet != total_g),
            units: record.units(),
            unit_g: w.unit_g,
            lines: record.used(),
            made,
        }
    }

    /// Whether fill weights are noted that do not tell yet whether they meet the law's rules.
    pub fn is_undecided(&self) -> bool {
        let fills = self.made.as_ref().and_then(|m| m.fills.as_ref());
        fills.is_some_and(|f| f.passes.is_none())
    }

    /// Whether its fill weights break the law's rules.
    pub fn is_short_filled(&self) -> bool {
        let fills = self.made.as_ref().and_then(|m| m.fills.as_ref());
        fills.is_some_and(|f| f.passes == Some(false))
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let grams = |g: f64| trimmed(g, 7);
        let units = match (self.units, self.unit_g) {
            (Some(units), Some(g)) => format!("{units} units of {} g", grams(g)),
            (Some(units), None) => format!("{units} units"),
            _ => "units not known".to_owned(),
        };
        let mut out = format!("Batch {}: {}, {}\n\n", self.batch, self.product, self.date);
        let by_sheet = self.total_by_sheet_g.map(|g| format!(" ({} g by the sheet)", grams(g)));
        out += &hung(format!("Weighed in: {} g{}, {units}", grams(self.total_g), by_sheet.unwrap_or_default()));
        out += &hung(format!("Formula file, SHA-256: {}", self.sha256));
        let line = |u: &Used| row(&u.name).and(grams(u.grams)).and(u.lot.as_deref().unwrap_or("not noted"));
        let grid = Grid::new("lrl", &["", "g", "lot"]).rows(self.lines.iter().map(line));
        out += &part("What went in", grid.render());
        let Some(made) = &self.made else { return out + &part("What came of it", inset("nothing noted yet")) };
        out + &made.to_text()
    }
}

impl MadePart {
    fn to_text(&self) -> String {
        let number = |what: &str, value: Option<f64>, unit: &str| Some(format!("{what} {}{unit}", trimmed(value?, 6)));
        let of =
            self.yield_pct.map_or_else(String::new, |pct| format!(" g, {} % of what was weighed in", trimmed(pct, 3)));
        let corrected = self.corrected.iter().map(|u| match &u.lot {
            None => format!("weighed other than by the sheet: {}, {} g", u.name, u.grams),
            Some(lot) => format!("set right: {}, {} g of lot {lot}", u.name, u.grams),
        });
        let text = |what: &str, text: &Option<String>| text.as_ref().map(|t| format!("{what}: {t}"));
        let facts = [
            self.date.map(|d| format!("noted on {d}")),
            number("pH", self.ph, ""),
            number("viscosity", self.viscosity_pa_s, " Pa s"),
            number("yield", self.yield_g, &of),
            text("kept back", &self.retained),
            text("note", &self.note),
        ];
        let facts: Vec<String> = facts.into_iter().flatten().chain(corrected).collect();
        let out = part("What came of it", bullets(facts));
        let Some(fills) = &self.fills else { return out };
        let verdict = match fills.passes {
            None if fills.nominal_g.is_some() && fills.inspection.is_some() => "not decided",
            None => "not judged",
            Some(true) => "in order",
            Some(false) => "not in order",
        };
        let title = format!("Fill weights of {}: {verdict}", counted(fills.count, "unit"));
        let source = fills.origin.as_ref().map(|o| format!("tolerable error: {} ({})", o.source, o.status.key()));
        let sealed = fills.inspection.iter().map(|i| i.said("an inspector's sample"));
        let opened =
            fills.inspection_opened.iter().map(|i| i.said("the same where units must be opened to be weighed"));
        out + &part(
            title,
            bullets(fills.why.iter().cloned().chain(sealed).chain(opened).chain(source)) + &inset(fills.note),
        )
    }
}

impl TraceReport {
    /// What a code leads to in a register.
    pub fn new(code: &str, register: &str, batches: &Batches, tables: &PaperTables) -> Self {
        let code = code.trim().to_owned();
        let holding = |r: &&BatchRecord| HoldingPart {
            batch: r.weighed.batch.as_str().to_owned(),
            date: r.weighed.date,
            product: r.weighed.product.clone(),
            units: r.units(),
            lines: r.used().into_iter().filter(|u| u.is_of(&code)).collect(),
        };
        let found: Vec<HoldingPart> = batches.holding(&code).iter().map(holding).collect();
        let units: Option<u32> = found.iter().map(|h| h.units).sum();
        Self {
            batch: batches.find(&code).map(|record| BatchPart::new(record, tables)),
            register: register.to_owned(),
            units: units.filter(|_| !found.is_empty()),
            batches: found,
            torn_lines: batches.torn.clone(),
            code,
        }
    }

    /// Whether it leads anywhere.
    pub fn is_found(&self) -> bool {
        self.batch.is_some() || !self.batches.is_empty()
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let mut out = self.batch.as_ref().map_or_else(String::new, BatchPart::to_text);
        if !self.batches.is_empty() {
            let gap = if out.is_empty() { "" } else { "\n" };
            let all = match self.units {
                Some(units) => format!("{units} units in all"),
                None => "units not known of all".to_owned(),
            };
            out += &format!("{gap}Lot {}: in {} of the batches, {all}\n", self.code, self.batches.len());
            let line = |h: &HoldingPart| {
                let of: Vec<String> = h.lines.iter().map(|u| format!("{} {} g", u.name, trimmed(u.grams, 7))).collect();
                let units = h.units.map_or_else(|| "-".to_owned(), |u| u.to_string());
                row(&h.batch).and(h.date.to_string()).and(&h.product).and(units).and(of.join(", "))
            };
            out += &Grid::new("lllrl", &["batch", "date", "product", "units", "holds"])
                .rows(self.batches.iter().map(line))
                .render();
        }
        if !self.is_found() {
            out += &hung(format!("{}: neither a batch nor a lot of {}", self.code, self.register));
        }
        let torn =
            |line: &usize| hung(format!("{}:{line} was cut short by a crash; it is passed over.", self.register));
        out + &self.torn_lines.iter().map(torn).collect::<String>()
    }
}
