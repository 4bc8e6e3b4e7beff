//! The result of `gritwise batch`: a weigh sheet.

use super::document::{Block, Document, Grid, Section};
use super::layout::{Align, TextTable, WIDTH, significant, wrap};
use super::on_skin::OverTheRubPart;
use super::sheet::{Cell, Sheet};
use super::{cautions, wording};
use crate::formula::batch::{Batch, Draw, Shift, Weighing};
use crate::formula::{Checked, Formula, Function, Verdict};
use crate::powder::ShelfPowder;
use crate::tables::Tables;
use serde::Serialize;

/// A weigh sheet. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct BatchReport {
    /// Name of the scrub.
    pub name: String,
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
    pub index: ShiftPart,
    /// Whether the jar dissolves every grain; the index is then of what was weighed in.
    pub no_grains: bool,
    /// The index over the whole rub as grains dissolve, by the formula and as weighed; absent when none do.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub index_over_the_rub: Option<OverTheRubShift>,
    /// pH as the acid and the bases listed make it.
    pub ph: Option<ShiftPart>,
    /// pH to reach, as the file says, and the window around it.
    pub ph_wanted: Option<String>,
    /// Checks of the formula that say stop: key and why.
    pub stops: Vec<String>,
    /// What the powders draw from the shelf, when one was named.
    pub stock: Vec<StockPart>,
    /// Cautions.
    pub cautions: Vec<String>,
}

/// The index over the rub, by the formula and as weighed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OverTheRubShift {
    /// By the formula.
    pub formula: OverTheRubPart,
    /// As weighed.
    pub weighed: OverTheRubPart,
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
    /// Name.
    pub name: String,
    /// INCI name.
    pub inci: Option<String>,
    /// What to weigh, g.
    pub grams: f64,
    /// Reading of the balance after it, set to zero once at the start of the phase, g.
    pub on_scale_g: f64,
    /// By the formula, before rounding, g.
    pub exact_g: f64,
    /// Lot at hand.
    pub lot: Option<String>,
    /// What it costs.
    pub cost: Option<f64>,
    /// What to mind when it is weighed.
    pub note: Option<String>,
}

/// A figure before and after rounding.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ShiftPart {
    /// By the formula.
    pub formula: f64,
    /// As weighed.
    pub weighed: f64,
    /// Difference.
    pub shift: f64,
}

/// What a powder draws from the shelf.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct StockPart {
    /// The powder.
    pub name: String,
    /// What is needed, g.
    pub grams: f64,
    /// Whether the shelf has the powder at all.
    pub on_shelf: bool,
    /// What the shelf holds, g; absent when it is not known.
    pub stock_g: Option<f64>,
    /// Whether it holds less than is needed.
    pub short: bool,
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
        let phase = |place: Option<usize>| place.map(|p| formula.phases()[p].name.clone());
        let line = |w: &Weighing| BatchLine {
            phase: phase(w.phase),
            name: w.name.clone(),
            inci: w.inci.clone(),
            grams: w.grams,
            on_scale_g: w.on_scale_g,
            exact_g: w.exact_g,
            lot: w.lot.clone(),
            cost: w.cost,
            note: w.apart.then(|| apart_note(formula, w)),
        };
        let draws = shelf.map_or_else(Vec::new, |shelf| batch.draws(formula, shelf));
        let no_price = batch.weighings.iter().filter(|w| w.cost.is_none()).map(|w| w.name.clone());
        Self {
            name: formula.scrub().name.clone(),
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
            index: batch.index.into(),
            no_grains: batch.no_grains,
            index_over_the_rub: batch
                .over_the_rub
                .map(|[formula, weighed]| OverTheRubShift { formula: formula.into(), weighed: weighed.into() }),
            ph: batch.ph.map(ShiftPart::from),
            ph_wanted: ph_wanted(formula),
            stops: stops(checked),
            stock: draws.into_iter().map(StockPart::from).collect(),
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
        let mut facts = vec![("To weigh", format!("{} g", self.grams(self.total_g)))];
        if let (Some(units), Some(unit)) = (self.units, self.unit_g) {
            let loss = significant(self.loss_pct, 2);
            facts.push(("Fills", format!("{units} units of {} g, with a loss of {loss} %", significant(unit, 4))));
        }
        match (self.cost, self.cost_per_unit) {
            (Some(cost), Some(unit)) => {
                let text = format!("{} in all, {} a unit without its container", money(cost), money(unit));
                facts.push(("Ingredients cost", text));
            }
            (Some(cost), None) => facts.push(("Ingredients cost", money(cost))),
            (None, _) => facts.push(("No cost", format!("no price for {}", self.without_price.join(", ")))),
        }
        let shift = |s: &ShiftPart, digits| {
            format!("{} by the formula, {} as weighed", significant(s.formula, digits), significant(s.weighed, digits))
        };
        let index = shift(&self.index, 4);
        let of = match self.no_grains {
            true => "of the powders before the jar dissolves them: no grain is left to rub",
            false => "of the grains as they reach the skin",
        };
        facts.push(("Abrasiveness index", format!("{index}, {of}; {}", wording::INDEX_NOTE)));
        if let Some(over) = &self.index_over_the_rub {
            let text = format!("{} by the formula, {} as weighed", over.formula.figure(), over.weighed.figure());
            facts.push(("Index over the whole rub, as grains dissolve", text));
        }
        if let Some(wanted) = &self.ph_wanted {
            facts.push(("pH to reach", wanted.clone()));
        }
        if let Some(ph) = &self.ph {
            let text = format!("{} (what acid and bases listed come to by pKa; measure it)", shift(ph, 4));
            facts.push(("pH reckoned", text));
        }
        facts
    }

    fn stock_lines(&self) -> Vec<String> {
        let line = |s: &StockPart| match s.stock_g {
            None if !s.on_shelf => format!("{}: {} g; it is not on the shelf", s.name, self.grams(s.grams)),
            None => format!("{}: {} g; the shelf does not say how much there is", s.name, self.grams(s.grams)),
            Some(stock) if s.short => {
                let lacks = self.grams(s.grams - stock);
                format!(
                    "{}: {} g, but the shelf has {} g: {lacks} g are missing",
                    s.name,
                    self.grams(s.grams),
                    self.grams(stock)
                )
            }
            Some(stock) => {
                let left = self.grams(stock - s.grams);
                format!("{}: {} g of {} g; {left} g are left", s.name, self.grams(s.grams), self.grams(stock))
            }
        };
        self.stock.iter().map(line).collect()
    }

    /// The phases with their lines; last what names no phase.
    fn by_phase(&self) -> Vec<(Option<&PhaseStep>, Vec<&BatchLine>)> {
        let of = |phase: Option<&str>| self.lines.iter().filter(|l| l.phase.as_deref() == phase).collect::<Vec<_>>();
        let phases = self.phases.iter().map(|p| (Some(p), of(Some(&p.phase))));
        phases.chain([(None, of(None))]).filter(|(_, lines)| !lines.is_empty()).collect()
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let mut out = format!("{}: weigh sheet\n\n", self.name);
        for stop in &self.stops {
            out += &wrap(stop, WIDTH, "Stop: ", "  ");
        }
        for (what, value) in self.facts() {
            out += &wrap(&format!("{what}: {value}"), WIDTH, "", "  ");
        }
        for (phase, lines) in self.by_phase() {
            let name = phase.map_or("Without a phase", |p| &p.phase);
            out += &format!("\n{name}\n");
            for text in phase.into_iter().flat_map(|p| [Some(&p.step), p.note.as_ref()]).flatten() {
                out += &wrap(text, WIDTH, "  ", "  ");
            }
            let notes = notes(&lines);
            let mut table = TextTable::new(&[
                ("", Align::Left),
                ("g", Align::Right),
                ("on the scale", Align::Right),
                ("", Align::Left),
                ("lot", Align::Left),
            ]);
            for l in lines {
                let lot = l.lot.clone().unwrap_or_else(|| "________".to_owned());
                table.row(vec!["[ ]".to_owned(), self.grams(l.grams), self.grams(l.on_scale_g), l.name.clone(), lot]);
            }
            out += &table.render();
            for note in notes {
                out += &wrap(&note, WIDTH, "  ", "    ");
            }
        }
        if !self.stock.is_empty() {
            out += "\nFrom the shelf\n";
            for line in self.stock_lines() {
                out += &wrap(&line, WIDTH, "  - ", "    ");
            }
        }
        out += "\nCautions\n";
        for caution in &self.cautions {
            out += &wrap(caution, WIDTH, "  - ", "    ");
        }
        out
    }

    /// To print, with boxes to tick and lines to write on.
    pub fn to_document(&self) -> Document {
        let mut sums = Section::new("sums", "The batch");
        let mut facts = Grid::new("Sums", &[("", Align::Left), ("", Align::Left)]);
        self.facts().into_iter().for_each(|(what, value)| facts.row(vec![what.to_owned(), value]));
        for blank in ["Batch number", "Made on", "Made by", "Checked by", "pH measured, at °C"] {
            facts.row(vec![blank.to_owned(), String::new()]);
        }
        for stop in &self.stops {
            sums.text(format!("Stop: {stop}"));
        }
        sums.table(facts);
        let mut sections = vec![sums];
        let mut weigh = Section::new("weigh", "To weigh");
        for (phase, lines) in self.by_phase() {
            let name = phase.map_or("Without a phase", |p| &p.phase);
            weigh.blocks.push(Block::Heading { text: name.to_owned() });
            for text in phase.into_iter().flat_map(|p| [Some(&p.step), p.note.as_ref()]).flatten() {
                weigh.text(text.clone());
            }
            let columns = [
                ("Ingredient", Align::Left),
                ("INCI", Align::Left),
                ("g", Align::Right),
                ("On the scale g", Align::Right),
                ("Lot", Align::Left),
                ("Weighed g", Align::Left),
                ("Done", Align::Left),
            ];
            let notes = notes(&lines);
            let mut grid = Grid::new(format!("{name}: set the balance to zero once, then add in this order"), &columns);
            for l in lines {
                grid.row(vec![
                    l.name.clone(),
                    l.inci.clone().unwrap_or_default(),
                    self.grams(l.grams),
                    self.grams(l.on_scale_g),
                    l.lot.clone().unwrap_or_default(),
                    String::new(),
                    "☐".to_owned(),
                ]);
            }
            weigh.table(grid);
            weigh.list(notes);
        }
        sections.push(weigh);
        if !self.stock.is_empty() {
            let mut stock = Section::new("stock", "From the shelf");
            stock.list(self.stock_lines());
            sections.push(stock);
        }
        let mut minded = Section::new("cautions", "Cautions");
        minded.list(self.cautions.clone());
        sections.push(minded);
        Document { title: format!("{}: weigh sheet", self.name), lead: Vec::new(), sections }
    }

    /// For other programs.
    pub fn to_sheet(&self) -> Sheet {
        let text = |t: &Option<String>| Cell::Text(t.clone().unwrap_or_default());
        let blank = || Cell::Text(String::new());
        let row = |l: &BatchLine| {
            let step = self.phases.iter().find(|p| Some(&p.phase) == l.phase.as_ref());
            let number = |n: Option<f64>| n.map_or_else(blank, Cell::Number);
            let weighed = [Cell::Number(l.grams), Cell::Number(l.on_scale_g), text(&l.lot), blank(), blank()];
            let named =
                [text(&l.phase), number(step.and_then(|p| p.temperature_c)), Cell::Text(l.name.clone()), text(&l.inci)];
            named.into_iter().chain(weighed).chain([number(l.cost), text(&l.note)]).collect::<Vec<_>>()
        };
        let stop = |stop: &String| {
            let named = [blank(), blank(), Cell::Text(format!("Stop: {stop}"))];
            named.into_iter().chain((0..8).map(|_| blank())).collect()
        };
        let mut rows: Vec<Vec<Cell>> = self.stops.iter().map(stop).collect();
        rows.extend(self.lines.iter().map(row));
        let cost = self.cost.map_or_else(blank, Cell::Number);
        let total = [Cell::Text("total".to_owned()), blank(), blank(), blank(), Cell::Number(self.total_g)];
        rows.push(total.into_iter().chain((0..4).map(|_| blank())).chain([cost, blank()]).collect());
        let header = vec![
            "phase",
            "temperature_c",
            "name",
            "inci",
            "grams",
            "on_scale_g",
            "lot",
            "weighed_g",
            "done",
            "cost",
            "note",
        ];
        Sheet { name: "Weigh sheet", header, rows }
    }
}

impl From<Shift> for ShiftPart {
    fn from(s: Shift) -> Self {
        Self { formula: s.formula, weighed: s.weighed, shift: s.weighed - s.formula }
    }
}

impl From<Draw> for StockPart {
    fn from(d: Draw) -> Self {
        Self { short: d.is_short(), name: d.name, grams: d.grams, on_shelf: d.on_shelf, stock_g: d.stock_g }
    }
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

/// What to mind of these lines, with their names.
fn notes(lines: &[&BatchLine]) -> Vec<String> {
    lines.iter().filter_map(|l| Some(format!("{}: {}", l.name, l.note.as_ref()?))).collect()
}

/// How an acid, or what neutralises it, is weighed.
fn apart_note(formula: &Formula, w: &Weighing) -> String {
    let own = |i: &&crate::formula::Ingredient| i.name == w.name;
    let is_base = formula.ingredients().map(|(_, i)| i).find(own).is_some_and(|i| i.is(Function::Neutraliser));
    if !is_base {
        return "weigh it into a vessel of its own".to_owned();
    }
    let nine_tenths = significant(0.9 * w.grams, 4);
    let to = ph_wanted(formula).map_or_else(String::new, |wanted| format!(" to {wanted}"));
    format!("weigh it into a vessel of its own; add {nine_tenths} g of it, measure, and finish drop by drop{to}")
}

/// "pH 4.8 (4.5 to 5 allowed)".
fn ph_wanted(formula: &Formula) -> Option<String> {
    let ph = formula.ph()?;
    let window = formula.acid.as_ref().and_then(|a| a.window);
    let allowed = window.map_or_else(String::new, |[low, high]| format!(" ({low} to {high} allowed)"));
    Some(format!("pH {ph}{allowed}"))
}

/// Checks that say stop: key and why.
fn stops(checked: &Checked) -> Vec<String> {
    let stopped = checked.checks.iter().filter(|c| c.verdict == Verdict::Stop);
    stopped.map(|c| format!("{}: {}", c.key, c.why)).collect()
}

/// An amount of money, in the user's currency.
fn money(amount: f64) -> String {
    format!("{amount:.2}")
}
