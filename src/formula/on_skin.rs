//! A scrub as its grains reach the skin, after what the water in the jar dissolved of them, and what dissolves in the rub.
//!
//! Every command judges these grains, or those of them that are left when what dissolves is gone, whichever is graver
//! ([`crate::band::Judge::assess`]): soluble grains are harshest in the first seconds, but carry load for the others. The index over
//! the whole rub, as grains go on dissolving, stands beside, with the interval that its own constants leave it (`formula-constants.csv`, `solutes.csv`): duration,
//! speed of the grains in the water, viscosity, water on the skin, rounding of corners, solubility at skin warmth. They are drawn
//! as [`crate::confidence::Inputs`] says, at so many points of a Sobol sequence with a fixed seed; grains, skin and model stay as
//! stated, and so does what the jar dissolved.

use super::Formula;
use super::dissolution::{
    DissolvingScrub, GONE, InJar, RubConditions, Severities, Shrinking, Solubility, in_jar, mass_transfer_um_s,
    roundness_after, shares_of_water,
};
use crate::blend::{Blend, Component, Scrub};
use crate::confidence::by_status;
use crate::numerics::quasi::Sequence;
use crate::numerics::spread::Spread;
use crate::powder::{Powder, Range, SizeRange};
use crate::rub::RubModel;
use crate::size::{SizeDistribution, SizeForm, SizeRecord};
use crate::tables::Tables;
use crate::units::{LoadPercent, Parts};
use serde::Serialize;

/// Diffusivity of a solute that `solutes.csv` does not hold, 1e-9 m²/s: small molecules and salts have 0.5 to 2.
const USUAL_DIFFUSIVITY: Range = Range { low: 0.5, high: 2.0 };

/// By what factor the solubility of such a solute at skin warmth may differ from that in the jar.
const WARMER: f64 = 1.4;

/// Draws behind the interval of the index over the rub, a power of two, and their seed.
const DRAWS: usize = 128;
const SEED: u64 = 1;

/// What is left of the mass, and of the sizes, of a powder that the jar dissolves whole beside others: it keeps its place.
const TRACE: f64 = 1e-9;
const TRACE_SIZE: f64 = 1e-4;

/// A scrub as it is weighed in, with the water that its grains lie in.
#[derive(Debug, Clone, PartialEq)]
pub struct Weighed {
    /// The powders and their load.
    pub scrub: Scrub,
    /// Water in the scrub, % w/w; `None` where the file tells of no ingredients.
    pub water_pct: Option<f64>,
    /// Water in the ingredient that takes what the others leave, 0..1; 0 where none does. With the load it moves the water.
    pub fill_water: f64,
}

/// The index over the whole rub, as grains dissolve. The field names are keys of `--json`.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct OverTheRub {
    /// With all constants as stated.
    pub value: f64,
    /// 5 % of the draws of its own constants are lower.
    pub low: f64,
    /// 5 % are higher.
    pub high: f64,
}

/// A scrub as its grains reach the skin.
#[derive(Debug, Clone, PartialEq)]
pub struct OnSkin {
    /// As it is weighed in.
    pub weighed: Weighed,
    /// What reaches the skin, every powder in its place; `None` when the jar dissolves all.
    pub grains: Option<Scrub>,
    /// What the jar leaves of each powder.
    pub jar: Vec<InJar>,
    /// Whether any powder dissolves at all.
    pub dissolves: bool,
    /// Powders that dissolve and have no row in `solutes.csv`: what they do in the rub is an estimate by what they do in the jar.
    pub estimated: Vec<String>,
    /// The index over the whole rub; `None` when no powder dissolves, or none is left to.
    pub over_the_rub: Option<OverTheRub>,
}

/// The jar dissolves every powder.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error(
    "the {water_pct} % of water in the jar dissolve every powder of \"{scrub}\" whole: no grains reach the skin; weigh in more, or \
     saturate the water phase"
)]
pub struct NothingLeft {
    scrub: String,
    water_pct: f64,
}

/// What a powder needs to dissolve, and how well that is known.
struct Soluble {
    solubility: Solubility,
    median_um: f64,
    saturated: Spread,
    /// Diffusivity, 1e-9 m²/s; known to no range where the table holds it.
    diffusivity_1e9: Spread,
    estimated: bool,
}

impl Soluble {
    /// `None` for what does not dissolve, or of which nothing is known.
    fn of(c: &Component, tables: &Tables) -> Option<Self> {
        let material = c.powder.material.as_ref()?;
        let jar_g_per_100g = c.powder.solubility_g_per_100ml()?;
        let solute = tables.formula.solutes.iter().find(|s| s.material == material.key);
        // Without a row the solubility in the jar has to do: g in 100 g of water to g in a litre of solution.
        let from_jar = 1000.0 * jar_g_per_100g / (100.0 + jar_g_per_100g / c.powder.density.get());
        let constants = &tables.formula.constants;
        let median_um = c.powder.size.distribution.quantile(0.5);
        let (speed, viscosity) = (constants.slip_speed_m_s.value, constants.skin_water_viscosity_mpa_s.value);
        let exact = |value| Spread::log_uniform(value, value, value);
        let (rub_g_per_l, saturated, diffusivity_1e9) = match solute {
            Some(s) => (s.saturated_g_per_l, by_status(&s.known(), false), exact(s.diffusivity_1e9)),
            None => {
                let Range { low, high } = USUAL_DIFFUSIVITY;
                let saturated = Spread::log_uniform(from_jar, from_jar / WARMER, from_jar * WARMER);
                (from_jar, saturated, Spread::log_uniform((low * high).sqrt(), low, high))
            }
        };
        Some(Self {
            solubility: Solubility {
                jar_g_per_100g,
                rub_g_per_l,
                transfer_um_s: mass_transfer_um_s(median_um, diffusivity_1e9.at(0.5), speed, viscosity),
            },
            median_um,
            saturated,
            diffusivity_1e9,
            estimated: solute.is_none(),
        })
    }
}

/// What each powder needs to dissolve; `None` for insoluble grains.
pub(super) fn solubilities(scrub: &Scrub, tables: &Tables) -> Vec<Option<Solubility>> {
    bare(&solubles(scrub, tables))
}

fn solubles(scrub: &Scrub, tables: &Tables) -> Vec<Option<Soluble>> {
    scrub.blend.components().iter().map(|c| Soluble::of(c, tables)).collect()
}

fn bare(solubles: &[Option<Soluble>]) -> Vec<Option<Solubility>> {
    solubles.iter().map(|s| Some(s.as_ref()?.solubility)).collect()
}

/// Whether any powder of a scrub dissolves in water.
pub fn dissolves(scrub: &Scrub, tables: &Tables) -> bool {
    scrub.blend.components().iter().any(|c| Soluble::of(c, tables).is_some())
}

impl From<&Formula> for Weighed {
    fn from(formula: &Formula) -> Self {
        let water_pct = (!formula.phases().is_empty()).then(|| formula.water_pct());
        let fill = formula.ingredients().map(|(_, i)| i).find(|i| i.fill && i.pct.get() > 0.0);
        let fill_water = fill.map_or(0.0, |i| i.water_pct() / i.pct.get());
        Self { fill_water, ..Self::new(formula.scrub().clone(), water_pct) }
    }
}

impl Weighed {
    /// A scrub in so much water, % w/w, whatever its load.
    pub fn new(scrub: Scrub, water_pct: Option<f64>) -> Self {
        Self { scrub, water_pct, fill_water: 0.0 }
    }

    /// Another scrub weighed in like this one, with other powders, parts or load.
    pub fn with(&self, scrub: Scrub) -> Self {
        let more = self.fill_water * (self.scrub.load.get() - scrub.load.get());
        let water_pct = self.water_pct.map(|water| (water + more).clamp(0.0, 100.0));
        Self { scrub, water_pct, fill_water: self.fill_water }
    }

    /// What becomes on its way to the skin of a scrub weighed in like this one.
    pub fn arrival<'t>(&'t self, tables: &'t Tables) -> impl Fn(&Scrub) -> Option<Scrub> + 't {
        |scrub| self.with(scrub.clone()).grains(tables)
    }

    /// The grains as they reach the skin, and the index over the rub.
    pub fn on_skin(self, tables: &Tables, model: &RubModel) -> OnSkin {
        let solubles = solubles(&self.scrub, tables);
        let jar = self.in_jar(bare(&solubles));
        let grains = self.less_dissolved(&jar, tables);
        let dissolves = solubles.iter().any(Option::is_some);
        let over_the_rub = grains.as_ref().filter(|_| dissolves).map(|_| self.over_the_rub(&solubles, tables, model));
        let powders = self.scrub.blend.components().iter().zip(&solubles);
        let estimated = powders.filter(|(_, s)| s.as_ref().is_some_and(|s| s.estimated));
        let estimated = estimated.map(|(c, _)| c.powder.name.clone()).collect();
        OnSkin { grains, jar, dissolves, estimated, over_the_rub, weighed: self }
    }

    /// The grains alone; `None` when the jar dissolves all.
    pub fn grains(&self, tables: &Tables) -> Option<Scrub> {
        self.less_dissolved(&self.in_jar(solubilities(&self.scrub, tables)), tables)
    }

    /// What the jar leaves of each powder; without word of water, all.
    fn in_jar(&self, solubilities: Vec<Option<Solubility>>) -> Vec<InJar> {
        let load = self.scrub.load.get();
        let water_pct = self.water_pct.unwrap_or(0.0);
        let powders = self.scrub.blend.components().iter().zip(solubilities).zip(shares_of_water(&self.scrub));
        powders.map(|((c, s), share)| in_jar(&c.powder, c.mass * load, s, water_pct * share)).collect()
    }

    fn less_dissolved(&self, jar: &[InJar], tables: &Tables) -> Option<Scrub> {
        let scrub = &self.scrub;
        let solid_pct: f64 = jar.iter().map(|j| j.solid_pct).sum();
        if jar.iter().all(|j| j.dissolved_pct <= 0.0) {
            return Some(scrub.clone());
        }
        let share = solid_pct / scrub.load.get();
        let growth = tables.formula.constants.corner_growth.value;
        let powders = scrub.blend.components().iter().zip(jar).map(|(c, jar)| {
            let left = jar.solid_pct / (jar.solid_pct + jar.dissolved_pct);
            let (powder, left) = match worn(&c.powder, jar.loss_um, growth).filter(|_| left > GONE) {
                Some(powder) => (powder, left),
                None => (trace(&c.powder), TRACE),
            };
            Some((powder, Parts::new(left * c.parts.get()).ok()?))
        });
        let load = LoadPercent::new(solid_pct).ok().filter(|_| share > GONE)?;
        let load_range = scrub.load_range.map(|r| Range { low: share * r.low, high: share * r.high });
        let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
        Some(Scrub { name: scrub.name.clone(), load, load_range, blend })
    }

    fn over_the_rub(&self, soluble: &[Option<Soluble>], tables: &Tables, model: &RubModel) -> OverTheRub {
        let constants = &tables.formula.constants;
        let stated = bare(soluble);
        let own_water = self.water_pct.unwrap_or(0.0) / 100.0;
        let conditions = RubConditions {
            seconds: constants.rub_s.value,
            skin_water: constants.rub_water_g_per_g.value,
            own_water,
            corner_growth: constants.corner_growth.value,
        };
        let dissolving = DissolvingScrub::new(&self.scrub, &stated, conditions);
        let growth = &constants.corner_growth;
        let mut growths = vec![growth.low, 0.5 * (growth.low + growth.value), growth.value, growth.high];
        growths.dedup();
        let severities = Severities::new(&dissolving, model, &growths);
        let value = dissolving.index_under(&severities, &stated, &conditions);
        let path = severities.along_a_path(&growths);
        let drawn_of = path.as_ref().unwrap_or(&severities);
        // Draws along a path are off by about as much as the stated values are there.
        let there = path.as_ref().map(|path| dissolving.index_under(path, &stated, &conditions));
        let scale = there.filter(|there| *there > 0.0).map_or(1.0, |there| value / there);
        let [seconds, water, growth, speed, viscosity] = [
            &constants.rub_s,
            &constants.rub_water_g_per_g,
            &constants.corner_growth,
            &constants.slip_speed_m_s,
            &constants.skin_water_viscosity_mpa_s,
        ]
        .map(|constant| by_status(constant, false));
        // Powders of one material share what is not known of it.
        let keys: Vec<_> = self.scrub.blend.components().iter().map(|c| c.powder.material_key()).collect();
        let first = |k: usize| keys.iter().position(|key| *key == keys[k]).unwrap_or(k);
        let mut drawn: Vec<f64> = (0..DRAWS)
            .map(|i| {
                let mut u = vec![0.5; 5 + 2 * soluble.len()];
                Sequence::new(SEED, 0).point(i, &mut u);
                let (speed, viscosity) = (speed.at(u[3]), viscosity.at(u[4]));
                let powder = |(k, s): (usize, &Option<Soluble>)| {
                    let s = s.as_ref()?;
                    let diffusivity_1e9 = s.diffusivity_1e9.at(u[5 + soluble.len() + first(k)]);
                    let transfer_um_s = mass_transfer_um_s(s.median_um, diffusivity_1e9, speed, viscosity);
                    Some(Solubility { rub_g_per_l: s.saturated.at(u[5 + first(k)]), transfer_um_s, ..s.solubility })
                };
                let solubilities: Vec<_> = soluble.iter().enumerate().map(powder).collect();
                let conditions = RubConditions {
                    seconds: seconds.at(u[0]),
                    skin_water: water.at(u[1]),
                    own_water,
                    corner_growth: growth.at(u[2]),
                };
                scale * dissolving.index_under(drawn_of, &solubilities, &conditions)
            })
            .collect();
        drawn.sort_by(f64::total_cmp);
        OverTheRub { value, low: quantile(&drawn, 0.05), high: quantile(&drawn, 0.95) }
    }
}

impl OnSkin {
    /// A scrub of which nothing dissolves.
    pub fn unchanged(scrub: Scrub) -> Self {
        let load = scrub.load.get();
        let whole = |c: &Component| InJar { dissolved_pct: 0.0, solid_pct: c.mass * load, loss_um: 0.0 };
        let jar = scrub.blend.components().iter().map(whole).collect();
        let grains = Some(scrub.clone());
        Self {
            weighed: Weighed::new(scrub, None),
            grains,
            jar,
            dissolves: false,
            estimated: Vec::new(),
            over_the_rub: None,
        }
    }

    /// What the scrub is called.
    pub fn name(&self) -> &str {
        &self.weighed.scrub.name
    }

    /// Calls it something else.
    pub fn rename(&mut self, name: &str) {
        for scrub in std::iter::once(&mut self.weighed.scrub).chain(&mut self.grains) {
            name.clone_into(&mut scrub.name);
        }
    }

    /// The scrub that is judged.
    ///
    /// # Errors
    /// [`NothingLeft`] when the jar dissolves every powder.
    pub fn scrub(&self) -> Result<&Scrub, NothingLeft> {
        self.grains.as_ref().ok_or_else(|| NothingLeft {
            scrub: self.weighed.scrub.name.clone(),
            water_pct: (100.0 * self.weighed.water_pct.unwrap_or(0.0)).round() / 100.0,
        })
    }

    /// The same, or the scrub as it is weighed in where nothing is left to judge.
    pub fn scrub_or_weighed(&self) -> &Scrub {
        self.grains.as_ref().unwrap_or(&self.weighed.scrub)
    }

    /// Whether the jar takes anything of the powders.
    pub fn jar_dissolves(&self) -> bool {
        self.jar.iter().any(|j| j.dissolved_pct > 0.0)
    }
}

/// Quantile of values in order, by interpolation between the middles of their steps.
fn quantile(sorted: &[f64], p: f64) -> f64 {
    let place = (p * sorted.len() as f64 - 0.5).clamp(0.0, (sorted.len() - 1) as f64);
    let below = place.floor() as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (place - below as f64) * (sorted[above] - sorted[below])
}

/// A powder whose grains have lost a layer; `None` when all but nothing is gone.
fn worn(powder: &Powder, loss_um: f64, corner_growth: f64) -> Option<Powder> {
    if loss_um <= 0.0 {
        return Some(powder.clone());
    }
    let median_um = powder.size.distribution.quantile(0.5);
    let distribution = Shrinking::new(&powder.size.distribution).shrunk(loss_um)?;
    let mut worn = powder.clone();
    worn.roundness.value = roundness_after(powder, median_um, loss_um, corner_growth);
    worn.size_ranges = powder.size_ranges.iter().filter_map(|r| range_less(r, loss_um)).collect();
    worn.size = sizes_less(&powder.size, &worn.size_ranges, distribution, loss_um);
    Some(worn)
}

/// Sizes less a layer, with what is known of them. `distribution` is theirs.
fn sizes_less(size: &SizeRecord, ranges: &[SizeRange], distribution: SizeDistribution, loss_um: f64) -> SizeRecord {
    // A sieve parts the same grains whether they lost the layer before or after it, at an opening less that layer.
    let sieved = size.sieved.as_ref().and_then(|sieved| {
        let before = Shrinking::new(&sieved.of.distribution).shrunk(loss_um)?;
        sieved.less(sizes_less(&sieved.of, ranges, before, loss_um), loss_um)
    });
    SizeRecord {
        points: points_less(size, ranges, loss_um),
        // The shares outside two bounds say nothing of what is left of the grains.
        form: match size.form {
            SizeForm::Range { .. } => SizeForm::Stated,
            SizeForm::OneFigure(known) => known.less(loss_um).map_or(SizeForm::Stated, SizeForm::OneFigure),
            form => form,
        },
        distribution,
        sieved,
        ..size.clone()
    }
}

/// The range of a size less a layer; a width has none any more.
fn range_less(range: &SizeRange, loss_um: f64) -> Option<SizeRange> {
    let [value, low, high] = [range.value, range.range.low, range.range.high].map(|v| v - loss_um);
    (range.key.ends_with("_um") && low > 0.0).then(|| SizeRange {
        key: range.key.clone(),
        value,
        range: Range { low, high },
    })
}

/// Measured points less a layer. A law has none; where a range is given for its median, that is one.
fn points_less(size: &SizeRecord, ranges: &[SizeRange], loss_um: f64) -> Vec<(f64, f64)> {
    let median = ranges.iter().find(|r| r.key == "d50_um").map(|r| (r.value, 0.5));
    match size.points.as_slice() {
        [] => median.into_iter().collect(),
        points => points.iter().map(|p| (p.0 - loss_um, p.1)).filter(|p| p.0 > 0.0).collect(),
    }
}

/// A powder of which nothing is left beside others: too fine to rub.
fn trace(powder: &Powder) -> Powder {
    let mut trace = powder.clone();
    trace.size.distribution = powder.size.distribution.scaled(TRACE_SIZE);
    trace.size.sieved = None;
    trace.size_ranges.clear();
    trace
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::size::law::Law;
    use crate::units::Micrometres;

    #[test]
    fn quantiles_lie_between_their_neighbours() {
        let values: Vec<f64> = (0..100).map(|i| f64::from(i) + 0.5).collect();
        assert!((quantile(&values, 0.05) - 5.0).abs() < 1e-12 && (quantile(&values, 0.95) - 95.0).abs() < 1e-12);
        assert_eq!((quantile(&[3.0], 0.05), quantile(&values, 0.0), quantile(&values, 1.0)), (3.0, 0.5, 99.5));
    }

    #[test]
    fn a_scrub_of_which_nothing_dissolves_has_all_its_powder_in_the_jar() {
        // landmarks.csv: 5 % of three parts pumice with one of walnut shell. By hand: 3.75 % and 1.25 %.
        let tables = Tables::built_in().unwrap();
        let landmark = tables.landmarks.iter().find(|l| l.powders.len() == 2 && l.powders[0].parts == 3.0).unwrap();
        let whole = OnSkin::unchanged(crate::band::landmarks::scrub(landmark, &tables).unwrap());
        let solid: Vec<f64> = whole.jar.iter().map(|powder| powder.solid_pct).collect();
        assert!((solid[0] - 3.75).abs() < 1e-12 && (solid[1] - 1.25).abs() < 1e-12, "{solid:?}");
        assert!(!whole.dissolves && whole.jar.iter().all(|powder| powder.dissolved_pct == 0.0));
    }

    #[test]
    fn a_size_keeps_its_range_less_the_layer_where_all_of_it_is_left() {
        let less = |key: &str, value: f64, low: f64, high: f64| {
            let range = SizeRange { key: key.into(), value, range: Range { low, high } };
            range_less(&range, 50.0).map(|r| (r.key, r.value, r.range.low, r.range.high))
        };
        assert_eq!(less("d50_um", 180.0, 150.0, 220.0), Some(("d50_um".into(), 130.0, 100.0, 170.0)));
        // The finest may be gone; a width has no layer to lose.
        for (key, low) in [("d50_um", 50.0), ("d50_um", 40.0), ("gsd", 150.0)] {
            assert_eq!(less(key, 180.0, low, 220.0), None, "{key} {low}");
        }
    }

    #[test]
    fn what_is_not_known_of_a_solute_is_drawn_about_the_middle_of_its_usual_range() {
        // Sugar under a key that solutes.csv does not hold.
        let tables = Tables::built_in().unwrap();
        let mut other = tables.material("sugar").unwrap().clone();
        other.key = "other-sugar".into();
        let law = Law::log_normal(Micrometres::new(300.0).unwrap(), 1.5).unwrap();
        let size = SizeRecord::from_distribution(law.into(), "test");
        let powder = Powder::new("Other".into(), Some(&other), &Default::default(), size, &tables).unwrap();
        let blend = Blend::new(vec![(powder, Parts::new(1.0).unwrap())]).unwrap();
        let soluble = Soluble::of(&blend.components()[0], &tables).unwrap();
        assert!(soluble.estimated);
        let at = |u: f64| soluble.diffusivity_1e9.at(u);
        assert!((at(0.5) / at(0.0) - at(1.0) / at(0.5)).abs() < 1e-9, "{} {} {}", at(0.0), at(0.5), at(1.0));
        assert!((at(0.0) - USUAL_DIFFUSIVITY.low).abs() < 1e-9 && (at(1.0) - USUAL_DIFFUSIVITY.high).abs() < 1e-9);
    }
}
