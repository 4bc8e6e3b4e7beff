//! A batch: what to weigh in, in whole steps of the balance, and what the rounding does to index and pH.

mod weighed;

pub use super::bases::{BaseLine, BaseNeed, base_needed};
pub use weighed::{CheckAsWeighed, Remedy};

use super::{AcidContent, CheckVerdict, Checked, Formula, Function, OnSkin, OverTheRub, Weighed, bases, content};
use crate::band::Judge;
use crate::blend::{Blend, Scrub};
use crate::numerics::written::{three, trimmed};
use crate::powder::ShelfPowder;
use crate::tables::{FormulaTables, Tables};
use crate::units::{Grams, LoadPercent, Millilitres, Parts, PercentOfScrub};
use serde::Serialize;

/// Why a batch cannot be weighed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum BatchError {
    /// Neither a mass nor units.
    #[error("say how much to make: a mass, or units to fill")]
    Nothing,
    /// The formula does not come to 100 %.
    #[error("the formula sums to {sum} %, not 100; mark one ingredient with fill = true, or correct the shares")]
    NotWhole {
        /// Sum of all lines, %.
        sum: f64,
    },
    /// An ingredient is lost in the balance's step.
    #[error(
        "{name}: {grams} g of it round to nothing on a balance with steps of {resolution_g} g; take a finer balance or a larger batch"
    )]
    Vanishes {
        /// The ingredient.
        name: String,
        /// What is wanted of it, g.
        grams: f64,
        /// The balance's step, g.
        resolution_g: f64,
    },
    /// The batch is too large for whole steps to be counted.
    #[error("{mass_g} g in steps of {resolution_g} g is more than can be counted; take a coarser step")]
    TooFine {
        /// The batch, g.
        mass_g: f64,
        /// The balance's step, g.
        resolution_g: f64,
    },
    /// Units are asked for by volume and the density is not known.
    #[error("units by volume need the density of the scrub: give density_g_cm3 in [base], or state the units in g")]
    NoDensity,
    /// Units are asked for without their content.
    #[error("how much goes into a unit? write 12x200mL or 12x180g, or give net_ml or net_g in [fill]")]
    NoContent,
    /// More than the container holds.
    #[error("a unit of {} mL does not go into container_ml = {container_ml} of [fill]; ask for less, or set the container", three(*.unit_ml))]
    Overfull {
        /// A unit, mL.
        unit_ml: f64,
        /// The container, mL.
        container_ml: f64,
    },
    /// The mass asked for does not fill the units asked for.
    #[error(
        "{mass_g} g less {loss_pct} % fill {fills} units of {unit_g} g, not {wanted}; weigh in {needed_g} g or more"
    )]
    TooLittle {
        /// Mass asked for, g.
        mass_g: f64,
        /// Loss, %.
        loss_pct: f64,
        /// Units that it fills.
        fills: u32,
        /// Content of a unit, g.
        unit_g: f64,
        /// Units asked for.
        wanted: u32,
        /// What they need, g.
        needed_g: f64,
    },
}

/// What goes into a unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Content {
    /// By mass, g.
    Grams(f64),
    /// By volume, mL.
    Millilitres(f64),
}

/// Units to fill.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Units {
    /// How many.
    pub count: u32,
    /// What goes into each; what the formula's `[fill]` says when it is not stated.
    pub content: Option<Content>,
}

/// What is to be made.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// Mass to weigh in, g.
    pub mass_g: Option<f64>,
    /// Units to fill.
    pub units: Option<Units>,
    /// What stays in the vessel and in the nozzle, % of the batch, below 100.
    pub loss_pct: f64,
    /// Step of the balance, g, above 0.
    pub resolution_g: f64,
}

/// What to weigh of an ingredient or powder. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Weighing {
    /// Place of its phase; `None` for what names none.
    #[serde(skip)]
    pub phase: Option<usize>,
    /// Name.
    pub name: String,
    /// INCI name.
    pub inci: Option<String>,
    /// In whole steps of the balance, g.
    pub grams: f64,
    /// Reading of the balance after it, when it is set to zero once at the start of the phase, g.
    pub on_scale_g: f64,
    /// By the formula, before rounding, g.
    pub exact_g: f64,
    /// Step of the balance, % of it.
    pub step_pct: f64,
    /// What rounding adds to it, % of what the formula has.
    pub rounding_pct: f64,
    /// Lot at hand.
    pub lot: Option<String>,
    /// What it costs, in the user's currency, when its price is known.
    pub cost: Option<f64>,
    /// Whether it is weighed into a vessel of its own: acid and what neutralises it.
    #[serde(skip)]
    pub apart: bool,
    /// Whether it brings the pH up.
    #[serde(skip)]
    pub is_base: bool,
}

/// A figure as the formula has it and as it is weighed. The field names are keys of `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Shift {
    /// By the formula.
    pub formula: f64,
    /// As weighed.
    pub weighed: f64,
    /// Difference.
    pub shift: f64,
}

impl Shift {
    fn new(formula: f64, weighed: f64) -> Self {
        Self { formula, weighed, shift: weighed - formula }
    }
}

/// The index over the rub, by the formula and as weighed. The field names are keys of `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OverTheRubShift {
    /// By the formula.
    pub formula: OverTheRub,
    /// As weighed.
    pub weighed: OverTheRub,
}

/// What a batch draws from the shelf. The field names are keys of `--json`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Draw {
    /// The powder.
    pub name: String,
    /// What is weighed in, g.
    pub grams: f64,
    /// What that takes of the powder as bought, g, where its maker sieves it first; it is this that the shelf must hold.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub as_bought_g: Option<f64>,
    /// Whether the shelf has the powder at all.
    pub on_shelf: bool,
    /// What the shelf holds, g; `None` when it is not known.
    pub stock_g: Option<f64>,
    /// Whether the shelf does not have it, or is known to hold less.
    pub short: bool,
}

impl Draw {
    /// What is taken off the shelf, g: as bought.
    pub fn needed_g(&self) -> f64 {
        self.as_bought_g.unwrap_or(self.grams)
    }
}

/// A batch to weigh.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// Everything to weigh, in order.
    pub weighings: Vec<Weighing>,
    /// Their sum, g.
    pub total_g: f64,
    /// Step of the balance, g.
    pub resolution_g: f64,
    /// Loss, %.
    pub loss_pct: f64,
    /// Units that it fills, and what goes into each, g; `None` when no content is known.
    pub units: Option<(u32, f64)>,
    /// Abrasiveness index of the grains as they reach the skin, by the formula and as weighed.
    pub index: Shift,
    /// Whether the jar dissolves every grain, so that the index is of what was weighed in.
    pub no_grains: bool,
    /// The index over the whole rub as grains dissolve, by the formula and as weighed, each with its interval; `None` when none do.
    pub over_the_rub: Option<OverTheRubShift>,
    /// pH as the acid and bases listed make it, without salt effects and by Davies' equation; `None` without an acid.
    pub ph: Option<[Shift; 2]>,
    /// The base that the pH needs; `None` where that does not follow from what is listed.
    pub base: Option<BaseNeed>,
    /// The checks as weighed: those that stop, and those that are worse than by the formula.
    pub checks_as_weighed: Vec<CheckAsWeighed>,
    /// Lines of too few steps of the balance.
    pub coarse: Vec<String>,
    /// What would do, where rounding brings a stop or lines are coarse.
    pub remedy: Option<Remedy>,
}

/// The name of what the file does not list.
const REST: &str = "Base (everything but the powders)";

/// A formula that sums to 100 % within this is whole.
const WHOLE_WITHIN_PCT: f64 = 0.01;

/// More steps than this are a mistake, and could not be counted exactly.
const MOST_STEPS: f64 = 1e9;

impl Batch {
    /// Works out what to weigh of a checked formula. A file without `[[phase]]` gets one line for everything but the powders.
    ///
    /// # Errors
    /// [`BatchError`].
    pub fn new(
        formula: &Formula,
        checked: &Checked,
        order: &Order,
        judge: &Judge,
        tables: &Tables,
    ) -> Result<Self, BatchError> {
        let mut weighings = lines(formula, &tables.formula)?;
        let unit_g = unit_grams(formula, order)?;
        let mass_g = mass(order, unit_g)?;
        let too_fine = BatchError::TooFine { mass_g, resolution_g: order.resolution_g };
        let steps = steps_of(mass_g, order.resolution_g).ok_or(too_fine)?;
        let total: f64 = weighings.iter().map(|w| w.exact_g).sum();
        let quotas: Vec<f64> = weighings.iter().map(|w| w.exact_g / total * steps).collect();
        let grams = |steps: u64| clean(steps as f64 * order.resolution_g);
        let mut on_scale: (Option<usize>, u64) = (None, 0);
        for ((w, quota), own) in weighings.iter_mut().zip(&quotas).zip(largest_remainder(&quotas)) {
            w.exact_g = quota * order.resolution_g;
            if own == 0 {
                let resolution_g = order.resolution_g;
                return Err(BatchError::Vanishes { name: w.name.clone(), grams: clean(w.exact_g), resolution_g });
            }
            let before = if on_scale.0 == w.phase && !w.apart { on_scale.1 } else { 0 };
            if !w.apart {
                on_scale = (w.phase, before + own);
            }
            (w.grams, w.on_scale_g) = (grams(own), grams(before + own));
            w.step_pct = 100.0 * order.resolution_g / w.grams;
            w.rounding_pct = 100.0 * (w.grams / w.exact_g - 1.0);
            w.cost = w.cost.map(|price| price * w.grams / 1000.0);
        }
        let total_g = grams(steps as u64);
        let mut weighed = as_weighed(formula, &weighings, total_g);
        if let Some(content) = order.units.and_then(|units| units.content) {
            fill_with(&mut weighed, content);
        }
        // When the jar takes all, what is left to tell is what was weighed in.
        let (by_formula, as_weighed) = (&checked.on_skin, &Weighed::from(&weighed).on_skin(tables, judge.model()));
        let over_the_rub = by_formula.over_the_rub.zip(as_weighed.over_the_rub);
        let index = |on_skin: &OnSkin| judge.assess(on_skin.scrub_or_weighed()).figures.index;
        let ph = |formula: &Formula| {
            let content = AcidContent::new(formula, &tables.formula)?;
            Some([content.balance.ideal_ph()?, content.balance.ph_in_salt(&tables.formula.constants)?.ph])
        };
        let ph = ph(formula).zip(ph(&weighed));
        let assessed = judge.assess(as_weighed.scrub_or_weighed());
        let judged = weighed::Judged {
            formula,
            checks: &checked.checks,
            on_skin: as_weighed,
            band: assessed.verdict,
            judge,
            tables,
        };
        let coarse = weighings.iter().filter(|w| weighed::is_coarse(order, w.grams, tables));
        let coarse = coarse.map(|w| w.name.clone()).collect();
        let checks_as_weighed = weighed::again(&judged, &weighed);
        let mut batch = Self {
            base: bases::need(formula, total_g, &tables.formula),
            checks_as_weighed,
            coarse,
            remedy: None,
            index: Shift::new(index(by_formula), assessed.figures.index),
            no_grains: as_weighed.grains.is_none(),
            over_the_rub: over_the_rub.map(|(formula, weighed)| OverTheRubShift { formula, weighed }),
            ph: ph.map(|(formula, weighed)| [0, 1].map(|i| Shift::new(formula[i], weighed[i]))),
            units: units(order, unit_g, total_g)?,
            loss_pct: order.loss_pct,
            resolution_g: order.resolution_g,
            weighings,
            total_g,
        };
        if !batch.coarse.is_empty() || batch.checks_as_weighed.iter().any(CheckAsWeighed::by_rounding) {
            batch.remedy = Some(weighed::remedy(&judged, &batch));
        }
        Ok(batch)
    }

    /// Why the pH stops it: what is weighed in comes out of the window that the file allows by more than the reckoning may be off.
    /// A formula that lists no base is brought there by the one on the sheet.
    pub fn ph_stop(&self, formula: &Formula, tables: &Tables) -> Option<String> {
        let [low, high] = formula.acid.as_ref()?.window?;
        let [ideal, salty] = self.ph?.map(|shift| shift.weighed);
        let (least, most) = (ideal.min(salty), ideal.max(salty));
        let agreement = tables.formula.constants.ph_agreement.value;
        let comes = self.base.as_ref().is_some_and(|base| base.unlisted().is_some());
        let outside = most < low - agreement || least > high + agreement;
        (outside && !(comes && most < low)).then(|| {
            format!(
                "pH: what is weighed in comes to pH {} to {}, outside the window of {low} to {high} by more than the {agreement} that \
                 the reckoning may be off; correct acid or base first",
                trimmed(least, 3),
                trimmed(most, 3)
            )
        })
    }

    /// Whether a check stops as weighed.
    pub fn stops_as_weighed(&self) -> bool {
        self.checks_as_weighed.iter().any(|c| c.check.verdict == CheckVerdict::Stop)
    }

    /// What all of it costs; `None` unless every price is known.
    pub fn cost(&self) -> Option<f64> {
        self.weighings.iter().map(|w| w.cost).sum()
    }

    /// What a unit costs, without its container.
    pub fn cost_per_unit(&self) -> Option<f64> {
        let (count, _) = self.units.filter(|(count, _)| *count > 0)?;
        Some(self.cost()? / f64::from(count))
    }

    /// What the powders draw from a shelf; others are not on it.
    pub fn draws(&self, formula: &Formula, shelf: &[ShelfPowder]) -> Vec<Draw> {
        let draw = |w: &Weighing| {
            let powder = formula.scrub().blend.components().iter().map(|c| &c.powder).find(|p| p.name == w.name)?;
            let as_bought_g = powder.size.sieved.as_ref().map(|sieved| w.grams / sieved.kept());
            let entry = shelf.iter().find(|s| s.powder.name == w.name);
            let stock_g = entry.and_then(|s| s.stock_g);
            let on_shelf = entry.is_some();
            let mut draw =
                Draw { name: w.name.clone(), grams: w.grams, as_bought_g, on_shelf, stock_g, short: !on_shelf };
            draw.short |= stock_g.is_some_and(|stock| stock < draw.needed_g());
            Some(draw)
        };
        self.weighings.iter().filter_map(draw).collect()
    }
}

/// Whole steps of the balance in a batch; nothing for more than can be counted.
fn steps_of(mass_g: f64, resolution_g: f64) -> Option<f64> {
    let steps = (mass_g / resolution_g - 1e-9).ceil();
    (steps <= MOST_STEPS).then_some(steps)
}

/// Every line with its share of the scrub in place of its mass, and its price in place of its cost.
fn lines(formula: &Formula, tables: &FormulaTables) -> Result<Vec<Weighing>, BatchError> {
    let weighing = |phase, name: &str, inci: Option<&str>, lot, pct, price, apart| Weighing {
        phase,
        name: name.to_owned(),
        inci: inci.map(str::to_owned),
        lot,
        exact_g: pct,
        grams: 0.0,
        on_scale_g: 0.0,
        step_pct: 0.0,
        rounding_pct: 0.0,
        cost: price,
        apart,
        is_base: false,
    };
    let mut all = Vec::new();
    if formula.phases().is_empty() {
        all.push(weighing(None, REST, None, None, 100.0 - formula.scrub().load.get(), None, false));
    }
    for line in formula.lines() {
        let lot = line.lot().map(str::to_owned);
        let is_base = bases::is_base(line, tables);
        let is_acid = line.is(Function::Acid) || line.substances().any(|s| content::is_named_acid(&s, tables));
        let weighing =
            weighing(line.phase, line.name(), line.inci(), lot, line.pct, line.price_per_kg(), is_acid || is_base);
        all.push(Weighing { is_base, ..weighing });
    }
    all.retain(|w| w.exact_g > 0.0);
    let sum: f64 = all.iter().map(|w| w.exact_g).sum();
    if (sum - 100.0).abs() > WHOLE_WITHIN_PCT {
        return Err(BatchError::NotWhole { sum: clean(sum) });
    }
    Ok(all)
}

/// Content of a unit, g: as asked for, else as the formula's `[fill]` says.
fn unit_grams(formula: &Formula, order: &Order) -> Result<Option<f64>, BatchError> {
    let fill = &formula.fill;
    let stated = order.units.and_then(|u| u.content);
    let of_file =
        fill.net_mass.map(|m| Content::Grams(m.get())).or(fill.net_volume.map(|v| Content::Millilitres(v.get())));
    if let Some(content) = stated {
        refuse_overfull(formula, content)?;
    }
    match stated.or(of_file) {
        Some(Content::Grams(grams)) => Ok(Some(grams)),
        Some(Content::Millilitres(volume)) => match formula.density_g_cm3() {
            Some(density) => Ok(Some(volume * density)),
            None if order.units.is_some() => Err(BatchError::NoDensity),
            None => Ok(None),
        },
        None if order.units.is_some() => Err(BatchError::NoContent),
        None => Ok(None),
    }
}

/// Units as asked for stand in for those of the file.
fn fill_with(formula: &mut Formula, content: Content) {
    let (mass, volume) = match content {
        Content::Grams(grams) => (Grams::new(grams).ok(), None),
        Content::Millilitres(volume) => (None, Millilitres::new(volume).ok()),
    };
    (formula.fill.net_mass, formula.fill.net_volume) = (mass, volume);
}

/// Refuses units that hold more than the container of the file; how full that gets by the file's own content is a check of the formula.
fn refuse_overfull(formula: &Formula, content: Content) -> Result<(), BatchError> {
    let unit_ml = match content {
        Content::Millilitres(ml) => Some(ml),
        Content::Grams(grams) => formula.density_g_cm3().map(|density| grams / density),
    };
    match formula.fill.container.map(|c| c.get()).zip(unit_ml) {
        Some((container_ml, unit_ml)) if unit_ml > container_ml => Err(BatchError::Overfull { unit_ml, container_ml }),
        _ => Ok(()),
    }
}

/// Mass to weigh in, g.
fn mass(order: &Order, unit_g: Option<f64>) -> Result<f64, BatchError> {
    let needed = order.units.zip(unit_g).map(|(u, g)| f64::from(u.count) * g / (1.0 - order.loss_pct / 100.0));
    order.mass_g.or(needed).ok_or(BatchError::Nothing)
}

/// Units that the batch fills.
fn units(order: &Order, unit_g: Option<f64>, total_g: f64) -> Result<Option<(u32, f64)>, BatchError> {
    let Some(unit_g) = unit_g else { return Ok(None) };
    let kept = 1.0 - order.loss_pct / 100.0;
    let fills = (total_g * kept / unit_g + 1e-9).floor().min(f64::from(u32::MAX)) as u32;
    match order.units {
        Some(Units { count, .. }) if fills < count => Err(BatchError::TooLittle {
            mass_g: total_g,
            loss_pct: order.loss_pct,
            fills,
            unit_g: clean(unit_g),
            wanted: count,
            needed_g: (f64::from(count) * unit_g / kept / order.resolution_g).ceil() * order.resolution_g,
        }),
        Some(Units { count, .. }) => Ok(Some((count, unit_g))),
        None => Ok(Some((fills, unit_g))),
    }
}

/// Whole numbers near these quotas with the same sum, which must be whole: each rounded down, then one more for those with
/// the largest remainders (Hamilton's method), the earlier first among equals.
fn largest_remainder(quotas: &[f64]) -> Vec<u64> {
    let mut whole: Vec<u64> = quotas.iter().map(|q| q.floor() as u64).collect();
    let sum = quotas.iter().sum::<f64>().round() as u64;
    let left = sum.saturating_sub(whole.iter().sum()) as usize;
    let mut order: Vec<usize> = (0..quotas.len()).collect();
    order.sort_by(|&a, &b| quotas[b].fract().total_cmp(&quotas[a].fract()));
    for &i in order.iter().take(left) {
        whole[i] += 1;
    }
    whole
}

/// The formula with the shares that were weighed.
fn as_weighed(formula: &Formula, weighings: &[Weighing], total_g: f64) -> Formula {
    let mut weighed = formula.clone();
    let mut left: Vec<&Weighing> = weighings.iter().collect();
    let mut pct = |name: &str, phase: Option<usize>| {
        let own = left.iter().position(|w| w.name == name && w.phase == phase)?;
        Some(100.0 * left.remove(own).grams / total_g)
    };
    for (i, phase) in weighed.phases.iter_mut().enumerate() {
        for ingredient in &mut phase.ingredients {
            let share = pct(&ingredient.name, Some(i)).and_then(|p| PercentOfScrub::new(p).ok());
            ingredient.pct = share.unwrap_or(ingredient.pct);
        }
    }
    let components = formula.scrub.blend.components().iter().zip(&formula.places);
    let shares: Option<Vec<f64>> = components.map(|(c, place)| pct(&c.powder.name, place.phase)).collect();
    let powders = shares.iter().flatten().zip(formula.scrub.blend.components());
    let parts =
        powders.map(|(share, c)| Some((c.powder.clone(), Parts::new(*share).ok()?))).collect::<Option<Vec<_>>>();
    let load = shares.and_then(|s| LoadPercent::new(s.iter().sum()).ok());
    if let (Some(Ok(blend)), Some(load)) = (parts.map(Blend::new), load) {
        weighed.scrub = Scrub { name: formula.scrub.name.clone(), load, load_range: formula.scrub.load_range, blend };
    }
    weighed
}

/// Without the noise of binary fractions: to a millionth of a gram.
fn clean(grams: f64) -> f64 {
    (grams * 1e6).round() / 1e6
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_largest_remainders_get_the_steps_that_are_left() {
        // The usual worked example with Hare's quota (encyclopedias; from memory): 100 000 votes for 10 seats.
        let quotas = [47_000.0, 16_000.0, 15_800.0, 12_000.0, 6_100.0, 3_100.0].map(|votes| votes / 10_000.0);
        assert_eq!(largest_remainder(&quotas), [5, 2, 1, 1, 1, 0]);
        assert_eq!(largest_remainder(&[0.5, 0.5, 1.0]), [1, 0, 1]);
    }

    proptest! {
        #[test]
        fn steps_sum_exactly_and_none_is_a_step_off(parts in prop::collection::vec(0.01_f64..100.0, 1..30), steps in 1_u32..1_000_000) {
            let sum: f64 = parts.iter().sum();
            let quotas: Vec<f64> = parts.iter().map(|p| p / sum * f64::from(steps)).collect();
            let whole = largest_remainder(&quotas);
            prop_assert_eq!(whole.iter().sum::<u64>(), u64::from(steps));
            prop_assert!(whole.iter().zip(&quotas).all(|(w, q)| (*w as f64 - q).abs() < 1.0 + 1e-6));
        }
    }
}
