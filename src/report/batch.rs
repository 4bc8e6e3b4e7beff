//! The result of `gritwise batch`: a weigh sheet.

use super::document::{Block, Document, Section};
use super::layout::{Grid, WIDTH, bullets, hung, inset, inset_hung, listed, part, row, wrap};
use super::on_skin::figure;
use super::sheet::{Cell, Spreadsheet};
use super::{cautions, wording};
use crate::formula::batch::{BaseNeed, Batch, CheckAsWeighed, Draw, OverTheRubShift, Remedy, Shift, Weighing};
use crate::formula::{CheckVerdict, Checked, Formula};
use crate::numerics::written::{four, three, two};
use crate::powder::ShelfPowder;
use crate::source::CalendarDate;
use crate::tables::Tables;
use serde::Serialize;

/// A weigh sheet. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchReport {
    /// Name of the scrub.
    pub name: String,
    /// Code of the batch, and the day it is made, where they are stated.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub batch: Option<String>,
    /// See `batch`.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub date: Option<CalendarDate>,
    /// All that is weighed, g.
    pub total_g: f64,
    /// Step of the balance, g.
    pub resolution_g: f64,
    /// What stays in vessel and nozzle, %.
    pub loss_pct: f64,
    /// Units that it fills.
    pub units: Option<u32>,
    /// What goes into each, g.
    pub unit_g: Option<f64>,
    /// What all of it costs.
    pub cost: Option<f64>,
    /// What a unit costs, without its container.
    pub cost_per_unit: Option<f64>,
    /// Without a price, so that there is no cost.
    pub without_price: Vec<String>,
    /// The phases, in order.
    pub phases: Vec<PhaseStep>,
    /// What to weigh, in order.
    pub lines: Vec<BatchLine>,
    /// Abrasiveness index of the grains as they reach the skin.
    pub index: Shift,
    /// Whether the jar dissolves every grain; the index is then of what was weighed in.
    pub no_grains: bool,
    /// The index over the whole rub as grains dissolve, by the formula and as weighed; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRubShift>,
    /// pH as the acid and the bases listed make it, without salt effects.
    pub ph: Option<Shift>,
    /// The same by Davies' equation.
    pub ph_in_salt: Option<Shift>,
    /// pH to reach, as the file says, and the window around it.
    pub ph_wanted: Option<String>,
    /// The base that the pH needs; absent where that does not follow from what is listed.
    pub base: Option<BaseNeed>,
    /// What says stop: checks of the formula, checks as weighed, the pH reckoned; key and why.
    pub stops: Vec<String>,
    /// Checks of the formula that say caution: key and why.
    pub check_cautions: Vec<String>,
    /// The checks as weighed: those that stop, and those that are worse than by the formula.
    pub checks_as_weighed: Vec<CheckAsWeighed>,
    /// Lines of fewer steps of the balance than can be relied on.
    pub coarse: Vec<String>,
    /// What would do, where rounding brings a stop or lines are coarse.
    pub remedy: Option<Remedy>,
    /// What the powders draw from the shelf, when one was named.
    pub stock: Vec<Draw>,
    /// What the register of lots says against its lots short of a refusal; empty where none was named.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub lot_cautions: Vec<String>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// What to do before a phase is weighed.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhaseStep {
    /// Name.
    pub phase: String,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// Heat, or wait; in words.
    pub step: String,
    /// The maker's own note.
    pub note: Option<String>,
}

/// A line of the sheet.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchLine {
    /// Its phase; absent for what names none.
    pub phase: Option<String>,
    /// What to weigh.
    #[serde(flatten)]
    pub weighing: Weighing,
    /// What to mind when it is weighed.
    pub note: Option<String>,
}

impl BatchReport {
    /// Reports a batch of a checked formula; `shelf` is what the powders are drawn from.
    pub fn new(
        formula: &Formula,
        checked: &Checked,
        batch: &Batch,
        shelf: Option<&[ShelfPowder]>,
        tables: &Tables,
    ) -> Self {
        let line = |w: &Weighing| BatchLine {
            phase: w.phase.map(|p| formula.phases()[p].name.clone()),
            weighing: w.clone(),
            note: w.apart.then(|| apart_note(formula, batch.base.as_ref(), w)).or_else(|| sieve_note(formula, w)),
        };
        let no_price = batch.weighings.iter().filter(|w| w.cost.is_none()).map(|w| w.name.clone());
        Self {
            name: formula.scrub().name.clone(),
            batch: None,
            date: None,
            total_g: batch.total_g,
            resolution_g: batch.resolution_g,
            loss_pct: batch.loss_pct,
            units: batch.units.map(|u| u.0),
            unit_g: batch.units.map(|u| u.1),
            cost: batch.cost(),
            cost_per_unit: batch.cost_per_unit(),
            without_price: no_price.collect(),
            phases: steps(formula),
            lines: batch.weighings.iter().map(line).collect(),
            index: batch.index,
            no_grains: batch.no_grains,
            index_over_the_rub: batch.over_the_rub,
            ph: batch.ph.map(|p| p[0]),
            ph_in_salt: batch.ph.map(|p| p[1]),
            ph_wanted: ph_wanted(formula),
            base: batch.base.clone(),
            stops: stops(checked, batch).into_iter().chain(batch.ph_stop(formula, tables)).collect(),
            check_cautions: said(checked, CheckVerdict::Caution),
            checks_as_weighed: batch.checks_as_weighed.clone(),
            coarse: batch.coarse.clone(),
            remedy: batch.remedy,
            stock: shelf.map_or_else(Vec::new, |shelf| batch.draws(formula, shelf)),
            lot_cautions: Vec::new(),
            cautions: cautions::of_batch(formula, tables),
        }
    }

    /// Whether the shelf is known to hold less than is needed.
    pub fn is_short(&self) -> bool {
        self.stock.iter().any(|s| s.short)
    }

    /// Grams with as many decimals as the balance shows.
    fn grams(&self, grams: f64) -> String {
        let decimals = (0..=6).find(|d| {
            let scaled = self.resolution_g * 10f64.powi(*d);
            (scaled - scaled.round()).abs() < 1e-9 * scaled.max(1.0)
        });
        format!("{grams:.*}", decimals.unwrap_or(6) as usize)
    }

    /// The sums: mass, units, cost, what rounding does.
    fn facts(&self) -> Vec<(&'static str, String)> {
        let filled = self
            .units
            .zip(self.unit_g)
            .map(|(units, unit)| format!("{units} units of {} g, with a loss of {} %", four(unit), two(self.loss_pct)));
        let cost = match (self.cost, self.cost_per_unit) {
            (Some(cost), Some(unit)) => {
                let text = format!("{} in all, {} a unit without its container", money(cost), money(unit));
                ("Ingredients cost", text)
            }
            (Some(cost), None) => ("Ingredients cost", money(cost)),
            (None, _) => ("No cost", format!("no price for {}", self.without_price.join(", "))),
        };
        let shift = |s: &Shift| both_ways([s.formula, s.weighed].map(four));
        let of = if self.no_grains {
            "of the powders before the jar dissolves them: no grain is left to rub"
        } else {
            "of the grains as they reach the skin"
        };
        let index = format!("{}, {of}; {}", shift(&self.index), wording::INDEX_NOTE);
        let over = self.index_over_the_rub.map(|over| both_ways([over.formula, over.weighed].map(figure)));
        let reckoned = |(ideal, salty): (&Shift, &Shift)| {
            let (ideal, salty) = (shift(ideal), shift(salty));
            format!(
                "{salty} by Davies' equation, {ideal} without salt effects (what acids, salts and bases listed come to; measure it)"
            )
        };
        let facts = [
            ("To weigh", Some(format!("{} g", self.grams(self.total_g)))),
            ("Fills", filled),
            (cost.0, Some(cost.1)),
            ("Abrasiveness index", Some(index)),
            ("Index over the whole rub, as grains dissolve", over),
            (
                "pH to reach",
                self.ph_wanted.as_ref().map(|wanted| format!("{wanted}; measure again at 25 °C when all is in")),
            ),
            ("pH reckoned", self.ph.as_ref().zip(self.ph_in_salt.as_ref()).map(reckoned)),
            ("Base", self.base.as_ref().and_then(BaseNeed::unlisted)),
        ];
        facts.into_iter().filter_map(|(what, said)| Some((what, said?))).collect()
    }

    /// What rounding does beyond index and pH, and what would do instead.
    fn weighed_lines(&self) -> Vec<String> {
        let figure = |v: Option<f64>| v.map_or_else(|| "no figure".to_owned(), three);
        let worse = self
            .checks_as_weighed
            .iter()
            .filter(|c| !c.by_rounding())
            .filter(|c| c.check.verdict != CheckVerdict::Stop || c.value_by_formula != c.check.value);
        let worse = worse.map(|c| {
            let limit = c.check.limit.map_or(String::new(), |limit| format!(", limit {}", three(limit)));
            format!(
                "{}: {} {} as weighed, {} by the formula{limit}: {} ({} by the formula)",
                c.check.key,
                figure(c.check.value),
                c.check.unit,
                figure(c.value_by_formula),
                c.check.verdict.label(),
                c.verdict_by_formula.label()
            )
        });
        let coarse = (!self.coarse.is_empty()).then(|| {
            let told = self.lines.iter().map(|l| &l.weighing).filter(|w| self.coarse.contains(&w.name)).map(|w| {
                format!(
                    "{} ({} g, a step is {} %, off by {:+.1} %)",
                    w.name,
                    self.grams(w.grams),
                    two(w.step_pct),
                    w.rounding_pct
                )
            });
            let told: Vec<String> = told.collect();
            format!("too few steps of the balance to be relied on: {}", told.join(", "))
        });
        worse.chain(coarse).chain(self.remedy_said()).collect()
    }

    /// What would do, in words.
    fn remedy_said(&self) -> Option<String> {
        let remedy = self.remedy?;
        let batch = remedy.mass_g.map(|mass| format!("a batch of {} g on this balance", four(mass)));
        let balance = remedy.resolution_g.map(|step| format!("this batch on a balance with steps of {step} g"));
        let both: Vec<String> = batch.into_iter().chain(balance).collect();
        Some(match both.is_empty() {
            true => {
                "no usual batch on this balance and no usual balance would do: the formula stands at a limit".to_owned()
            }
            false => format!("this would do: {}", both.join(", or ")),
        })
    }

    fn stock_lines(&self) -> Vec<String> {
        let line = |s: &Draw| {
            let needed_g = s.needed_g();
            let sieved = s.as_bought_g.map(|_| format!(" as bought ({} g sieved)", self.grams(s.grams)));
            let needed = format!("{}: {} g{}", s.name, self.grams(needed_g), sieved.unwrap_or_default());
            match s.stock_g {
                None if !s.on_shelf => format!("{needed}; it is not on the shelf"),
                None => format!("{needed}; the shelf does not say how much there is"),
                Some(stock) if s.short => {
                    let (has, lacks) = (self.grams(stock), self.grams(needed_g - stock));
                    format!("{needed}, but the shelf has {has} g: {lacks} g are missing")
                }
                Some(stock) => {
                    format!("{needed} of {} g; {} g are left", self.grams(stock), self.grams(stock - needed_g))
                }
            }
        };
        self.stock.iter().map(line).collect()
    }

    /// The phases with what to do before each, their lines, and what to mind of these; last what names no phase.
    fn by_phase(&self) -> impl Iterator<Item = (&str, Vec<&String>, Vec<&BatchLine>, Vec<String>)> {
        let phases = self.phases.iter().map(Some).chain([None]).map(|step| {
            let name = step.map(|p| p.phase.as_str());
            let said = step.into_iter().flat_map(|p| [Some(&p.step), p.note.as_ref()]).flatten().collect();
            let lines: Vec<&BatchLine> = self.lines.iter().filter(|l| l.phase.as_deref() == name).collect();
            let noted = lines.iter().filter_map(|l| Some(format!("{}: {}", l.weighing.name, l.note.as_ref()?)));
            (name.unwrap_or("Without a phase"), said, noted.collect(), lines)
        });
        phases.map(|(name, said, notes, lines)| (name, said, lines, notes)).filter(|(_, _, lines, _)| !lines.is_empty())
    }

    /// "Batch B-2611, made on 2026-11-30", as far as it is stated.
    fn called(&self) -> Option<String> {
        let batch = self.batch.as_ref().map(|code| format!("Batch {code}"));
        let made = self.date.map(|date| format!("made on {date}"));
        let said: Vec<String> = batch.into_iter().chain(made).collect();
        (!said.is_empty()).then(|| said.join(", "))
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let mut out = format!("{}: weigh sheet\n\n", self.name);
        out.extend(self.called().map(|called| called + "\n\n"));
        out.extend(self.stops.iter().map(|stop| wrap(stop, WIDTH, "Stop: ", "  ")));
        out.extend(self.facts().into_iter().map(|(what, value)| hung(format!("{what}: {value}"))));
        for (name, said, lines, notes) in self.by_phase() {
            let line = |BatchLine { weighing: w, .. }: &&BatchLine| {
                let lot = w.lot.as_deref().unwrap_or("________");
                row("[ ]").all([w.grams, w.on_scale_g].map(|g| self.grams(g))).and(&w.name).and(lot)
            };
            let table = Grid::new("lrrll", &["", "g", "on the scale", "", "lot"]).rows(lines.iter().map(line));
            let apart = apart_said(&lines).map(|said| inset(format!("At the balance: {said}."))).into_iter();
            let body = [
                said.into_iter().map(inset).chain(apart).collect(),
                table.render(),
                notes.iter().map(inset_hung).collect(),
            ];
            out += &part(name, body.concat());
        }
        out += &part("As weighed", bullets(self.weighed_lines()));
        out += &part("The lots", bullets(&self.lot_cautions));
        out += &part("From the shelf", bullets(self.stock_lines()));
        out += &part("Cautions of the checks", bullets(&self.check_cautions));
        out + &part("Cautions", bullets(&self.cautions))
    }

    /// To print, with boxes to tick and lines to write on.
    pub fn to_document(&self) -> Document {
        let facts = self.facts().into_iter().map(|(what, value)| [what.to_owned(), value]);
        let stated = [self.batch.clone(), self.date.map(|date| date.to_string())];
        let stated = stated.into_iter().map(Option::unwrap_or_default).chain(std::iter::repeat(String::new()));
        let blanks = ["Batch number", "Made on", "Made by", "Checked by", "pH measured, at °C"];
        let blanks = blanks.into_iter().zip(stated).map(|(blank, stated)| [blank.to_owned(), stated]);
        let sums = Grid::new("ll", &["", ""]).captioned("Sums").rows(facts.chain(blanks));
        let stops = self.stops.iter().map(|stop| format!("Stop: {stop}"));
        let mut sections = vec![Section::new("sums", "The batch").texts(stops).table(sums)];
        let mut weigh = Section::new("weigh", "To weigh");
        let heads = ["Ingredient", "INCI", "g", "On the scale g", "A step is %", "Lot", "Weighed g", "Done"];
        for (name, said, lines, notes) in self.by_phase() {
            let line = |BatchLine { weighing: w, .. }: &&BatchLine| {
                let named = row(&w.name).and(w.inci.as_deref().unwrap_or_default());
                let weighed = named.all([w.grams, w.on_scale_g].map(|g| self.grams(g)));
                weighed.and(two(w.step_pct)).and(w.lot.as_deref().unwrap_or_default()).and("").and("☐")
            };
            let caption = match apart_said(&lines) {
                Some(said) => format!("{name}: {said}"),
                None => format!("{name}: {TOGETHER}"),
            };
            let grid = Grid::new("llrrrlll", &heads).captioned(caption).rows(lines.iter().map(line));
            weigh = weigh.block(Block::Heading { text: name.to_owned() }).texts(said).table(grid).list(notes);
        }
        sections.push(weigh);
        let weighed = Section::new("weighed", "As weighed").list(self.weighed_lines());
        sections.extend(Some(weighed).filter(|s| !s.blocks.is_empty()));
        let lots = Section::new("lots", "The lots").list(self.lot_cautions.clone());
        sections.extend(Some(lots).filter(|s| !s.blocks.is_empty()));
        let stock = Section::new("stock", "From the shelf").list(self.stock_lines());
        sections.extend(Some(stock).filter(|s| !s.blocks.is_empty()));
        let checks = Section::new("checks", "Cautions of the checks").list(self.check_cautions.clone());
        sections.extend(Some(checks).filter(|s| !s.blocks.is_empty()));
        sections.push(Section::new("cautions", "Cautions").list(self.cautions.clone()));
        Document { title: format!("{}: weigh sheet", self.name), lead: Vec::new(), sections, numbered: false }
    }

    /// For other programs.
    pub fn to_sheet(&self) -> Spreadsheet {
        let text = |t: &Option<String>| Cell::Text(t.clone().unwrap_or_default());
        let blank = || Cell::Text(String::new());
        let number = |n: Option<f64>| n.map_or_else(blank, Cell::Number);
        let line = |BatchLine { phase, weighing: w, note }: &BatchLine| {
            let step = self.phases.iter().find(|p| Some(&p.phase) == phase.as_ref());
            let temperature = number(step.and_then(|p| p.temperature_c));
            let named = [text(phase), temperature, Cell::Text(w.name.clone()), text(&w.inci)];
            let weighed = [Cell::Number(w.grams), Cell::Number(w.on_scale_g), text(&w.lot), blank(), blank()];
            let off = [number(w.cost), text(note), Cell::Number(w.step_pct), Cell::Number(w.rounding_pct)];
            named.into_iter().chain(weighed).chain(off).collect()
        };
        let said = |said: String| {
            let named = [blank(), blank(), Cell::Text(said)];
            named.into_iter().chain((0..10).map(|_| blank())).collect()
        };
        let total = [Cell::Text("total".to_owned()), blank(), blank(), blank(), Cell::Number(self.total_g)];
        let rest = [number(self.cost), blank(), blank(), blank()];
        let total = total.into_iter().chain((0..4).map(|_| blank())).chain(rest).collect();
        let stops = self.stops.iter().map(|stop| format!("Stop: {stop}"));
        let cautions = self
            .check_cautions
            .iter()
            .chain(&self.lot_cautions)
            .chain(&self.weighed_lines())
            .map(|c| format!("Caution: {c}"))
            .collect::<Vec<_>>();
        let base = self.base.as_ref().and_then(BaseNeed::unlisted).map(|base| format!("Base: {base}"));
        let called = self.called().into_iter();
        let mut rows: Vec<Vec<Cell>> = called.chain(stops).chain(cautions).chain(base).map(said).collect();
        rows.extend(self.lines.iter().map(line));
        rows.push(total);
        let header =
            "phase,temperature_c,name,inci,grams,on_scale_g,lot,weighed_g,done,cost,note,step_pct,rounding_pct";
        Spreadsheet { name: "Weigh sheet", header: header.split(',').collect(), rows }
    }
}

/// "100.4 by the formula, 100.3 as weighed".
fn both_ways([formula, weighed]: [String; 2]) -> String {
    format!("{formula} by the formula, {weighed} as weighed")
}

/// Heat up, or wait until it has cooled, before each phase.
fn steps(formula: &Formula) -> Vec<PhaseStep> {
    let mut hottest: Option<f64> = None;
    let step = |phase: &crate::formula::Phase| {
        let temperature = phase.temperature.map(|t| t.get());
        let step = match (temperature, hottest) {
            (None, _) => "No temperature is stated.".to_owned(),
            (Some(t), Some(before)) if t < before => {
                format!("Wait until all that was mixed before has cooled to {t} °C; measure it.")
            }
            (Some(t), _) => format!("At {t} °C."),
        };
        hottest = temperature.or(hottest);
        PhaseStep { phase: phase.name.clone(), temperature_c: temperature, step, note: phase.note.clone() }
    };
    formula.phases().iter().map(step).collect()
}

/// How what is weighed together is weighed.
const TOGETHER: &str = "set the balance to zero once, then add in this order";

/// How the lines of a phase are weighed of which some go into a vessel of their own; nothing when none does.
fn apart_said(lines: &[&BatchLine]) -> Option<String> {
    let apart: Vec<&str> = lines.iter().filter(|l| l.weighing.apart).map(|l| l.weighing.name.as_str()).collect();
    match apart.len() {
        0 => None,
        n if n == lines.len() => {
            Some("weigh each into a vessel of its own, with the balance set to zero before it".to_owned())
        }
        _ => {
            Some(format!("{TOGETHER}, all but {}: a vessel of its own for each, set to zero before it", listed(&apart)))
        }
    }
}

/// That a powder is sieved before it is weighed, and how much of it that takes.
fn sieve_note(formula: &Formula, w: &Weighing) -> Option<String> {
    let component = formula.scrub().blend.components().iter().find(|c| c.powder.name == w.name)?;
    let sieved = component.powder.size.sieved.as_ref()?;
    let bought = three(w.grams / sieved.kept());
    Some(format!("sieve it first and weigh what is kept, {}: about {bought} g of it as bought", sieved.by.said()))
}

/// How an acid, or what neutralises it, is weighed.
fn apart_note(formula: &Formula, base: Option<&BaseNeed>, w: &Weighing) -> String {
    if !w.is_base {
        return "weigh it into a vessel of its own".to_owned();
    }
    let to = ph_wanted(formula).map_or_else(String::new, |wanted| format!(" to {wanted}"));
    match base.and_then(|base| base.said_of(&w.name)) {
        Some(needs) => format!("weigh it into a vessel of its own; {needs}{to}"),
        // What it needs is not known, so no share of what is listed is safe.
        None => format!(
            "weigh it into a vessel of its own; add it in small portions, measure after each, and finish drop by drop{to}"
        ),
    }
}

/// "pH 4.8 (4.5 to 5 allowed)".
fn ph_wanted(formula: &Formula) -> Option<String> {
    let ph = formula.ph()?;
    let window = formula.acid.as_ref().and_then(|a| a.window);
    let allowed = window.map_or_else(String::new, |[low, high]| format!(" ({low} to {high} allowed)"));
    Some(format!("pH {ph}{allowed}"))
}

/// Checks with a verdict: key and why.
fn said(checked: &Checked, verdict: CheckVerdict) -> Vec<String> {
    let found = checked.checks.iter().filter(|c| c.verdict == verdict);
    found.map(|c| format!("{}: {}", c.key, c.why)).collect()
}

/// Checks that say stop, by the formula or as weighed.
fn stops(checked: &Checked, batch: &Batch) -> Vec<String> {
    let weighed = batch.checks_as_weighed.iter().filter(|c| c.by_rounding());
    let weighed = weighed.map(|c| format!("{}, as weighed: {}", c.check.key, c.check.why));
    said(checked, CheckVerdict::Stop).into_iter().chain(weighed).collect()
}

/// An amount of money, in the user's currency.
fn money(amount: f64) -> String {
    format!("{amount:.2}")
}
