//! The result of `gritwise formula`.

use super::blend::ScrubPart;
use super::layout::{Grid, WIDTH, bullets, hung, inset_hung, par, part, row, wrap};
use super::on_skin::figure;
use super::{Caution, cautions, wording};
use crate::band::Judge;
use crate::formula::{AcidContent, Check, CheckVerdict, Checked, Formula, Function, Item, Line, OverTheRub, Reckoned};
use crate::numerics::written::{significant, three, two};
use crate::tables::Tables;
use serde::Serialize;

/// A whole scrub, checked. The field names are the keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FormulaReport {
    /// What it is called and what its powders come to.
    pub scrub: ScrubPart,
    /// Sum of all ingredients and powders, % w/w.
    pub total_pct: f64,
    /// What a kilogram of ingredients and powders costs; absent unless every one has a price.
    pub cost_per_kg: Option<f64>,
    /// Density, g/cm³, where that of the base is known.
    pub density_g_cm3: Option<f64>,
    /// The phases, in order.
    pub phases: Vec<PhasePart>,
    /// Every ingredient and powder, phase by phase.
    pub ingredients: Vec<IngredientPart>,
    /// The abrasiveness index; absent when every grain dissolves in the jar.
    pub index: Option<FormulaIndex>,
    /// The pH that acids, salts and bases listed come to; absent where it cannot be reckoned.
    pub ph_reckoned: Option<Reckoned>,
    /// The gravest verdict.
    pub verdict: CheckVerdict,
    /// The checks.
    pub checks: Vec<Check>,
    /// Cautions.
    pub cautions: Vec<Caution>,
}

/// A phase.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PhasePart {
    /// Name.
    pub name: String,
    /// Temperature, °C.
    pub temperature_c: Option<f64>,
    /// What to do.
    pub note: Option<String>,
    /// Its share of the scrub, % w/w.
    pub pct: f64,
}

/// An ingredient or a powder.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct IngredientPart {
    /// Name.
    pub name: String,
    /// INCI name.
    pub inci: Option<String>,
    /// Share of the scrub, % w/w.
    pub pct: f64,
    /// The same without the solvent of a solution.
    pub active_pct: f64,
    /// Its phase; absent for a powder that names none.
    pub phase: Option<String>,
    /// Whether it takes what is left to 100 %.
    pub fill: bool,
    /// Whether it is a powder of the blend.
    pub powder: bool,
    /// Lot at hand.
    pub lot: Option<String>,
    /// What a kilogram costs.
    pub price_per_kg: Option<f64>,
    /// What it is for.
    pub functions: Vec<&'static str>,
}

/// The abrasiveness index of the grains as they reach the skin.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct FormulaIndex {
    /// The index, as `blend` gives it.
    pub value: f64,
    /// Over the whole rub, as grains dissolve; absent when none do.
    pub over_the_rub: Option<OverTheRub>,
    /// Whether any powder dissolves.
    pub with_dissolution: bool,
    /// The band.
    pub band: String,
    /// Whether it hangs on an assumed top size.
    pub at_least: bool,
    /// The index of grains as they are weighed in.
    pub undissolved: f64,
    /// The band of that.
    pub undissolved_band: String,
    /// What the index is and is not.
    pub note: &'static str,
}

/// How much a remark weighs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// The scrub is not to be made as it stands.
    Stop,
    /// Something to mind.
    Warn,
    /// Something to know.
    Note,
}

/// What is said of a formula beside the scrub's powders.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Remark {
    /// How much it weighs.
    pub level: Level,
    /// It.
    pub text: String,
}

impl FormulaReport {
    /// Reports a checked formula.
    pub fn new(formula: &Formula, checked: &Checked, judge: &Judge, tables: &Tables) -> Self {
        let lines = formula.lines();
        let phases = formula.phases().iter().enumerate().map(|(i, phase)| PhasePart {
            name: phase.name.clone(),
            temperature_c: phase.temperature.map(|t| t.get()),
            note: phase.note.clone(),
            pct: lines.iter().filter(|l| l.phase == Some(i)).map(|l| l.pct).sum(),
        });
        let index = checked.figures.as_ref().zip(checked.band.as_ref()).map(|(figures, band)| FormulaIndex {
            value: figures.index,
            over_the_rub: checked.on_skin.over_the_rub,
            with_dissolution: checked.on_skin.dissolves,
            band: judge.band_name(band.rank).to_owned(),
            at_least: wording::is_at_least(checked.on_skin.scrub_or_weighed(), band.rank, judge, tables),
            undissolved: checked.undissolved.0,
            undissolved_band: judge.band_name(checked.undissolved.1.rank).to_owned(),
            note: wording::INDEX_NOTE,
        });
        Self {
            ph_reckoned: AcidContent::new(formula, &tables.formula).and_then(|c| c.reckoned(formula, &tables.formula)),
            scrub: ScrubPart::new(formula.scrub()),
            total_pct: formula.total_pct(),
            cost_per_kg: formula.cost_per_kg(),
            density_g_cm3: formula.density_g_cm3(),
            phases: phases.collect(),
            ingredients: lines.iter().map(|line| ingredient_part(formula, line)).collect(),
            index,
            verdict: checked.checks.iter().map(|c| c.verdict).max().unwrap_or(CheckVerdict::NotJudged),
            checks: checked.checks.clone(),
            cautions: cautions::of_formula(formula, checked, tables),
        }
    }

    /// What there is to say of it to someone who sees the scrub's powders: the gravest checks first, then how grains that
    /// dissolve change the index, then the cautions that are not among those `said` already. Checks that pass say nothing.
    pub fn remarks(&self, said: &[Caution]) -> Vec<Remark> {
        let levels = [
            (CheckVerdict::Stop, Level::Stop),
            (CheckVerdict::Caution, Level::Warn),
            (CheckVerdict::NotJudged, Level::Note),
        ];
        let mut remarks = Vec::new();
        for (verdict, level) in levels {
            let checks = self.checks.iter().filter(|c| c.verdict == verdict);
            remarks.extend(checks.map(|c| Remark { level, text: check_text(c) }));
        }
        let open = self.checks.iter().filter(|c| !c.beside().is_empty());
        remarks.extend(open.map(|c| Remark { level: Level::Note, text: open_text(c) }));
        let dissolves = self.index.as_ref().is_none_or(|i| i.with_dissolution).then(|| self.index_text());
        let cautions = self.cautions.iter().filter(|c| !said.contains(c)).map(|c| c.text.clone());
        remarks.extend(dissolves.into_iter().chain(cautions).map(|text| Remark { level: Level::Note, text }));
        remarks
    }

    /// How many points are open, over all checks.
    pub fn open_points(&self) -> usize {
        self.checks.iter().map(|c| c.open.len()).sum()
    }

    /// The checks alone, a line each.
    pub fn to_brief(&self) -> String {
        let line = |c: &Check| {
            let figures = [c.value, c.limit].map(|v| v.map_or(String::new(), three));
            let open = if c.open.is_empty() { String::new() } else { format!("{} open", c.open.len()) };
            row(c.key).and(c.verdict.label()).all(figures).and(c.unit).and(open)
        };
        let table = Grid::new("llrrll", &["check", "", "figure", "limit", "", ""]).rows(self.checks.iter().map(line));
        let note = "The checks are arithmetic on the figures given, no safety assessment: local rules and a qualified safety \
                    assessor decide. Without --brief: why, and from which source.";
        format!("{}\n\n{}\n{}\n{}", self.title(), table.render(), hung(self.index_text()), par(note))
    }

    fn title(&self) -> String {
        let powders = format!("{}: {} % powders", self.scrub.name, three(self.scrub.powder_load_pct));
        if self.phases.is_empty() { powders } else { format!("{powders}, {} % in all", significant(self.total_pct, 5)) }
    }

    /// For a terminal.
    pub fn to_text(&self) -> String {
        let noted = |p: &PhasePart| Some(inset_hung(format!("{}: {}", p.name, p.note.as_ref()?)));
        let density = self.density_g_cm3.map(|d| format!("  Density of the scrub about {} g/cm³\n", three(d)));
        let cost = self.cost_per_kg.map(|cost| format!("  A kilogram costs {}\n", three(cost)));
        let order = [CheckVerdict::Stop, CheckVerdict::Caution, CheckVerdict::NotJudged, CheckVerdict::Pass];
        let checks = order.iter().flat_map(|v| self.checks.iter().filter(move |c| c.verdict == *v)).map(check_lines);
        [
            format!("{}\n\n{}", self.title(), self.line_table()),
            self.phases.iter().filter_map(noted).collect(),
            density.unwrap_or_default() + &cost.unwrap_or_default(),
            format!("\n{}", hung(self.index_text())),
            part("Checks", checks.collect::<String>()),
            part("Cautions", bullets(&self.cautions)),
        ]
        .concat()
    }

    fn line_table(&self) -> String {
        let mut last = None;
        let line = |line: &IngredientPart| {
            let phase = self.phases.iter().find(|p| Some(&p.name) == line.phase.as_ref());
            let temperature = phase.and_then(|p| p.temperature_c).map_or(String::new(), |t| format!(", {t} °C"));
            let named = line.phase.clone().unwrap_or_else(|| "(no phase)".to_owned()) + &temperature;
            let shown = if last.as_ref() == Some(&named) { String::new() } else { named.clone() };
            last = Some(named);
            let active = if line.active_pct < line.pct { hundredths(line.active_pct) } else { String::new() };
            let named = row(shown).and(&line.name).and(hundredths(line.pct));
            named.and(active).and(if line.fill { "what is left" } else { "" })
        };
        let heads = ["phase", "ingredient", "% w/w", "active %", ""];
        Grid::new("llrrl", &heads).rows(self.ingredients.iter().map(line)).render()
    }

    fn index_text(&self) -> String {
        let Some(index) = &self.index else {
            return "No solid grains are left in the jar: there is nothing to rub.".to_owned();
        };
        let over = index.over_the_rub.map(|o| format!("; over the whole rub, as grains dissolve, {}", figure(o)));
        let weighed = (index.undissolved != index.value)
            .then(|| format!(" (as weighed in {}, {})", three(index.undissolved), index.undissolved_band));
        let [over, weighed] = [over, weighed].map(Option::unwrap_or_default);
        let (value, band) = (three(index.value), wording::band_said(&index.band, index.at_least));
        format!("Abrasiveness index {value}, {band}{weighed}{over}: {}", index.note)
    }
}

fn ingredient_part(formula: &Formula, line: &Line) -> IngredientPart {
    let ingredient = match line.item {
        Item::Ingredient(i) => Some(i),
        Item::Powder(..) => None,
    };
    let functions = Function::ALL.iter().filter(|f| ingredient.is_some_and(|i| i.is(**f)));
    IngredientPart {
        name: line.name().to_owned(),
        inci: line.inci().map(str::to_owned),
        pct: line.pct,
        active_pct: line.active_pct(),
        phase: line.phase.map(|p| formula.phases()[p].name.clone()),
        fill: ingredient.is_some_and(|i| i.fill),
        powder: ingredient.is_none(),
        lot: line.lot().map(str::to_owned),
        price_per_kg: line.price_per_kg(),
        functions: functions.map(|f| f.key()).collect(),
    }
}

/// A share with two decimals, or two digits where these show nothing.
pub(super) fn hundredths(pct: f64) -> String {
    if pct < 0.1 { two(pct) } else { format!("{pct:.2}") }
}

fn check_lines(check: &Check) -> String {
    let first = format!("  {:<10}  ", check.verdict.label());
    let wrapped = |text: &str, first: &str| wrap(text, WIDTH, first, &" ".repeat(first.chars().count()));
    let said = wrapped(&check_text(check), &first);
    match check.beside() {
        [] => said,
        _ => said + &wrapped(&open_text(check), &format!("  {:<10}  ", "open")),
    }
}

/// What is open beside a graver verdict.
fn open_text(check: &Check) -> String {
    format!("{}, not judged: {}", check.key, check.beside().join("; "))
}

fn check_text(check: &Check) -> String {
    let unit = if check.unit.is_empty() { String::new() } else { format!(" {}", check.unit) };
    let limit = check.limit.map_or(String::new(), |limit| format!(", limit {}", three(limit)));
    let figure = check.value.map_or(String::new(), |value| format!(" {}{unit}{limit}", three(value)));
    format!("{}{figure}: {} [{}: {}]", check.key, check.why, check.status, check.source)
}
