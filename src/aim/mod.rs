//! From a target to a blend: the powders of a shelf, their shares solved as linear programs over every powder set, and every
//! blend verified with the full model.
//!
//! # The search for a blend
//! In a shared rub every target is linear in the shares of the scrub. Grain-borne, every row is linear at a *given* gap, and
//! each coefficient moves one way with the gap. So `region` cuts the search into boxes: each way to meet the band target, each
//! site shared or grain-borne with its gap between two values (and, to explain a conflict, each target missed by between two
//! amounts, since a limit that gives way moves its row one way too). `frame` writes for a box the rows that whatever lies in the
//! box meets; as the box narrows they become exact. `node` keeps, within a region, which powders may still be used: clusters, of
//! each at most so many. `relax` makes a program of both. `gritwise_kernel::simplex` has `microlp` solve it and reads the bound
//! from dual prices, so that rounding can only make it looser. The crate gives a vertex but neither prices, nor a proof that
//! there is no point, nor a start from a basis: so it is given the columns of the parent's basis, prices come from the vertex
//! (or, where several bases meet, from the dual program), proofs from the dual program, and columns that they favour are taken
//! in until there are none. A simplex method of our own, which this replaced, was four to fourteen times faster on the hard
//! questions; the 10 s are kept without it. `clarabel`, which gives no vertex, took ten times as long again. The closest curve
//! is a point of least norm in a hull whose corners linear programs give (`curve`).
//!
//! `search` takes the part with the least bound first, in chunks of fixed size, so that the number of cores does not show. What
//! the relaxation takes and a blend may not is cut: a cluster that it mixes is parted between the two powders it takes most of,
//! along the line through both in the space of the rows that count; a powder below its least share is decided; else the blend is
//! held against the full model, and the box cut where the two differ. Cutting powder by powder instead was far slower: half of a
//! catalogue is told to be no use by one program. `fewest-powders` asks for one powder, then two, and so on. Further blends are
//! what is left when a set and all that holds it is taken out. So the optimum, and that there is none, are proven over all rubs
//! (shared 1e-9, grain-borne 1e-5 of the objective), unless the search is stopped; then the bound says what is left.
//!
//! Where there is none, only targets whose rows are in the proofs can be part of the conflict (`conflict`); a deletion filter
//! makes the set irreducible, and least misses are found by the same search, by the full model's figures. `prices` reads from
//! the duals what the best blend pays for and solves again with that limit wider. `rounding` is the same program in whole steps.
//! What a band further asks of a blend becomes a row in `Builder::clause` of `frame` and in `clause_rows` of `rows` (there at
//! single gaps, for a blend that the full model finds just beyond a limit and that is solved again).
//!
//! How sure a band is cannot be a row: it is a share of draws. `likely` stands above the search and makes it again with narrower limits
//! (tightening, not scenario rows: those would be as many as draws, and grain-borne ones not linear). `tests/aim_likely.rs` holds it
//! against draws of other seeds and against a grid.
//!
//! `tests/aim.rs` holds 200 random problems against grids, ten against SciPy (`tests/reference/aim_reference.py`), and loads,
//! conflicts and limits that meet against brute force.

mod conflict;
mod curve;
mod frame;
mod frontier;
mod likely;
mod node;
mod prices;
mod problem;
mod program;
mod ranking;
mod region;
mod relax;
mod rounding;
mod rows;
mod search;
mod set;
mod target;

pub use conflict::{Conflict, Conflicting};
pub use frontier::{FrontierPoint, frontier};
pub use likely::{Likely, likely_blends};
pub use prices::{Price, Wider, prices};
pub use program::SharedProgram;
pub use search::{Progress, Watch};
pub use target::{
    Aim, BandAim, FREE_LOAD_PCT, Goal, IndexAim, MOST_POWDERS, PassingLimit, ScoreAim, Target, TargetCurve,
};

use crate::band::{Assessment, Judge};
use crate::blend::{Blend, Scrub};
use crate::rub::Partition;
use crate::units::{LoadPercent, Parts};
use problem::{Objective, Problem, pct_in};
use search::{Effort, Order, Search, search};
use set::SetBlend;

/// Why no search can be made.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum AimError {
    /// The cheapest is asked for and a price is missing.
    #[error("goal \"cheapest\" needs the price of every powder that may be used; add price_per_kg to: {names}")]
    NoPrice {
        /// Powders without one.
        names: String,
    },
    /// The step of the balance is too coarse for the batch.
    #[error(
        "a balance with steps of {resolution_g} g is too coarse for a batch of {batch_g} g; keep to a hundredth of it"
    )]
    Coarse {
        /// Step, g.
        resolution_g: f64,
        /// Batch, g.
        batch_g: f64,
    },
    /// All that is in stock is less than the batch needs.
    #[error(
        "the stock is too small for the batch: a load of {load_pct} % of {batch_g} g needs {needed_g} g of powder, and the \
         shelf has {stock_g} g that may be used; lower batch_g or load_pct, or add stock"
    )]
    Stock {
        /// Least load, % of the scrub.
        load_pct: f64,
        /// Batch, g.
        batch_g: f64,
        /// What it needs, g.
        needed_g: f64,
        /// What there is, g.
        stock_g: f64,
    },
}

/// A blend of shelf powders.
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Places on the shelf and shares, % w/w of the scrub.
    pub shares: Vec<(usize, f64)>,
    /// The blend as a scrub.
    pub scrub: Scrub,
    /// The scrub rubbed and judged by the full model.
    pub assessment: Assessment,
    /// What the goal makes least: cost per kg, number of powders, root mean square deviation of the curve in percentage points,
    /// or sum of changes in % of the scrub.
    pub objective: Option<f64>,
    /// What became of it when it was rounded to a balance.
    pub rounding: Rounding,
}

/// Whether the shares were rounded to what a balance can weigh.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rounding {
    /// Not asked for.
    No,
    /// Every powder of the batch is a multiple of so many grams, and all targets hold.
    To(f64),
    /// No rounding near the blend meets all targets; the shares are as solved.
    Impossible(f64),
}

impl Found {
    /// Who carries the rub where index and band look. Grain-borne, the shares were found by iteration.
    pub fn partition(&self, judge: &Judge) -> Partition {
        let rank = self.assessment.verdict.rank.min(judge.bands().len() - 1);
        let sites = [self.assessment.rubbed.reference_site, judge.site_of(rank)];
        let borne = sites.iter().any(|s| self.assessment.rubbed.sites[*s].partition == Partition::GrainBorne);
        if borne { Partition::GrainBorne } else { Partition::Shared }
    }
}

/// Blends that are rounded at least, and beyond those asked for: one of them may be weighed where a better one cannot.
const ROUNDED: usize = 10;
const SPARE: usize = 3;

/// Coarsest step of a balance, as a share of the batch (convention).
const COARSEST: f64 = 0.01;

/// What a search gives.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// The best blends, best first.
    pub blends: Vec<Found>,
    /// Why there is none.
    pub conflict: Option<Conflict>,
    /// What no blend beyond these can come below, in what [`Found::objective`] counts, when the search was stopped before its
    /// end; without it the first blend is proven the best there is, and no blend proven impossible.
    pub stopped_at: Option<f64>,
    /// Powder sets of which the search could not tell for certain whether they meet the targets.
    pub doubtful: usize,
    /// The least share that was kept to, % of the scrub.
    pub least_pct: f64,
    /// What the search has to say of itself: where it is not exact.
    pub remarks: Vec<String>,
}

/// What is asked of a search.
#[derive(Clone, Copy)]
pub struct Request<'w> {
    /// How many blends.
    pub top: usize,
    /// Step of the balance that the batch is weighed on, g.
    pub resolution_g: Option<f64>,
    /// Whether to say why there is none.
    pub explain: bool,
    /// Told how the search stands; without one it stops by itself after a great many steps.
    pub watch: Option<Watch<'w>>,
}

impl Aim {
    /// The best `top` blends, rounded to `resolution_g` of the batch when it is given; or what keeps every blend from
    /// meeting the targets.
    ///
    /// # Errors
    /// [`AimError`] when a price is missing, the whole stock is too small for the batch, or the balance too coarse for it.
    pub fn solve(&self, judge: &Judge, top: usize, resolution_g: Option<f64>) -> Result<Answer, AimError> {
        self.answer(judge, &Request { top, resolution_g, explain: true, watch: None })
    }

    /// As [`Aim::solve`], watched: what is found so far is given when the watch stops the search. On a balance too coarse for what the
    /// targets leave, powders may be fewer steps of it than [`Aim::least_steps`], and the answer says so.
    ///
    /// # Errors
    /// As [`Aim::solve`].
    pub fn answer(&self, judge: &Judge, request: &Request) -> Result<Answer, AimError> {
        self.check_prices()?;
        self.check_stock()?;
        if let Some(resolution_g) = request.resolution_g.filter(|step| *step > COARSEST * self.batch_g) {
            return Err(AimError::Coarse { resolution_g, batch_g: self.batch_g });
        }
        let aim = self.for_balance(request.resolution_g);
        if aim.least_pct == self.least_pct {
            return Ok(self.searched(judge, request, request.explain));
        }
        let answer = aim.searched(judge, request, false);
        if !answer.blends.is_empty() || answer.stopped_at.is_some() {
            return Ok(answer);
        }
        let mut answer = self.searched(judge, request, request.explain);
        if !answer.blends.is_empty() {
            answer.remarks.push(format!(
                "no blend whose powders are all {} steps of the balance meets the targets; a weighing of fewer is off by more than {} %",
                self.least_steps,
                50.0 / self.least_steps
            ));
        }
        Ok(answer)
    }

    fn searched(&self, judge: &Judge, request: &Request, explain: bool) -> Answer {
        let effort = Effort::watched(request.watch);
        let top = if request.resolution_g.is_some() { request.top.max(ROUNDED) + SPARE } else { request.top };
        let (search, mut blends) = self.best(judge, top, effort);
        if let Some(resolution_g) = request.resolution_g {
            blends = self.weighable_first(judge, &blends, resolution_g);
        }
        blends.truncate(request.top);
        self.number(&mut blends);
        let is_none = blends.is_empty() && search.stopped_at.is_none();
        let conflict = (is_none && explain).then(|| conflict::explain(self, judge, &search, effort));
        let remarks = remarks(&search);
        let (stopped_at, doubtful) = (search.stopped_at, search.doubtful);
        Answer { blends, conflict, stopped_at, doubtful, least_pct: self.least_pct, remarks }
    }

    /// Names blends by their place.
    pub(crate) fn number(&self, blends: &mut [Found]) {
        for (i, found) in blends.iter_mut().enumerate() {
            found.scrub.name = match i {
                0 => self.name.clone(),
                i => format!("{}, choice {}", self.name, i + 1),
            };
        }
    }

    /// The blends rounded, those that can be weighed first.
    fn weighable_first(&self, judge: &Judge, blends: &[Found], resolution_g: f64) -> Vec<Found> {
        let mut rounded: Vec<Found> =
            blends.iter().map(|found| rounding::rounded(self, judge, found, resolution_g)).collect();
        let key = |f: &Found| (f.rounding == Rounding::Impossible(resolution_g), f.objective.unwrap_or(f64::INFINITY));
        rounded.sort_by(|a, b| key(a).0.cmp(&key(b).0).then(key(a).1.total_cmp(&key(b).1)));
        rounded
    }

    fn check_prices(&self) -> Result<(), AimError> {
        let allowed = self.shelf.iter().filter(|s| !self.excludes(s));
        let names: Vec<&str> =
            allowed.filter(|s| s.powder.stock.price_per_kg.is_none()).map(|s| s.powder.name.as_str()).collect();
        if self.goal == Goal::Cheapest && !names.is_empty() {
            return Err(AimError::NoPrice { names: names.join(", ") });
        }
        Ok(())
    }

    fn check_stock(&self) -> Result<(), AimError> {
        let Some([load_pct, _]) = self.load_pct else { return Ok(()) };
        let grams = |s: &crate::powder::ShelfPowder| s.stock_g.unwrap_or(f64::INFINITY);
        let stock_g: f64 = self.shelf.iter().filter(|s| !self.excludes(s)).map(grams).sum();
        let needed_g = load_pct / 100.0 * self.batch_g;
        // An empty choice is a conflict of targets, not of stock.
        let any = self.shelf.iter().any(|s| !self.excludes(s));
        if any && stock_g < needed_g {
            return Err(AimError::Stock { load_pct, batch_g: self.batch_g, needed_g, stock_g });
        }
        Ok(())
    }

    /// The linear programs of the cheapest blend in a shared rub, over all powders that may be used, one for each way to meet
    /// the band target: for checks by other solvers.
    pub fn shared_programs(&self, judge: &Judge) -> Vec<SharedProgram> {
        let problem = Problem::new(self, judge, Objective::Cost, &self.targets(), &[]);
        (0..problem.variants.len()).map(|v| problem.shared_program(v)).collect()
    }

    fn objective(&self) -> Objective<'_> {
        match &self.goal {
            Goal::Cheapest | Goal::FewestPowders => Objective::Cost,
            Goal::ClosestCurve(curve) => Objective::Curve(&curve.points),
            Goal::LeastChange(_) => Objective::Change,
        }
    }

    /// At most so many powders.
    fn most_powders(&self) -> usize {
        self.max_powders.unwrap_or(MOST_POWDERS)
    }

    /// The best blends as solved, and what the search has to say of itself.
    fn best(&self, judge: &Judge, top: usize, effort: Effort) -> (Search, Vec<Found>) {
        let targets = self.targets();
        let problem = Problem::new(self, judge, self.objective(), &targets, &[]);
        let order = if self.goal == Goal::FewestPowders { Order::FewestFirst } else { Order::Best };
        let check = |b: &SetBlend| self.verified(&problem, b, &targets);
        let search = search(&problem, self.most_powders(), top, order, &check, effort);
        let blends = search.blends.iter().filter_map(|b| self.found(judge, &shares(&problem, b))).collect();
        (search, blends)
    }

    /// The blend as the full model confirms it. The solver stops at a limit within its tolerance; a blend that the full
    /// model finds beyond one is solved again with every limit tightened a little.
    fn verified(&self, problem: &Problem, blend: &SetBlend, targets: &[Target]) -> Option<SetBlend> {
        const MARGINS: [f64; 3] = [3e-6, 3e-5, 3e-4];
        let holds = |b: &SetBlend| {
            let found = self.found(problem.judge, &shares(problem, b));
            found.is_some_and(|f| targets.iter().all(|t| self.misses_by(*t, &f, problem.judge) == 0.0))
        };
        if holds(blend) {
            return Some(blend.clone());
        }
        MARGINS.iter().find_map(|m| problem.tightened(blend, *m).filter(|b| holds(b)))
    }

    /// How far a blend is from a target, in [`Target::unit`]; 0 when it is met.
    pub fn misses_by(&self, target: Target, found: &Found, judge: &Judge) -> f64 {
        self.off_by(target, &found.shares, &found.scrub, &found.assessment, judge)
    }

    /// The scrub that shares make, rubbed and judged.
    fn found(&self, judge: &Judge, shares: &[(usize, f64)]) -> Option<Found> {
        let powders = shares.iter().map(|&(i, pct)| Some((self.shelf[i].powder.clone(), Parts::new(pct).ok()?)));
        let blend = Blend::new(powders.collect::<Option<Vec<_>>>()?).ok()?;
        let load: f64 = shares.iter().map(|s| s.1).sum();
        // A scrub of powder alone is 100 % but for the solver's rounding.
        let load = LoadPercent::new(if load > 100.0 && load < 100.0 + 1e-6 { 100.0 } else { load }).ok()?;
        let scrub = Scrub { name: self.name.clone(), load, load_range: None, blend };
        let assessment = judge.assess(&scrub);
        let objective = self.objective_of(&scrub, shares);
        Some(Found { shares: shares.to_vec(), scrub, assessment, objective, rounding: Rounding::No })
    }

    fn objective_of(&self, scrub: &Scrub, shares: &[(usize, f64)]) -> Option<f64> {
        match &self.goal {
            Goal::Cheapest => scrub.cost_per_kg(),
            Goal::FewestPowders => Some(shares.len() as f64),
            Goal::ClosestCurve(curve) => Some(curve.deviation_pct(scrub)),
            Goal::LeastChange(from) => Some(change_pct(from, scrub)),
        }
    }
}

/// Sum of the changes of all powders, by name, % of the scrub.
fn change_pct(from: &Scrub, to: &Scrub) -> f64 {
    let kept = from.blend.components().iter().map(|c| c.powder.name.as_str());
    let new = to.blend.components().iter().map(|c| c.powder.name.as_str()).filter(|n| pct_in(from, n) == 0.0);
    kept.chain(new).map(|n| (pct_in(from, n) - pct_in(to, n)).abs()).sum()
}

fn shares(problem: &Problem, blend: &SetBlend) -> Vec<(usize, f64)> {
    blend.members.iter().zip(&blend.pct).map(|(&m, pct)| (problem.candidates[m].place, *pct)).collect()
}

fn remarks(search: &Search) -> Vec<String> {
    let doubt =
        "of {} powder sets the search could not tell for certain whether they meet the targets; they were left out";
    (search.doubtful > 0).then(|| doubt.replace("{}", &search.doubtful.to_string())).into_iter().collect()
}
