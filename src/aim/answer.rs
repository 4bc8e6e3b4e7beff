//! An aim answered: the best blends, or why there is none.

use super::mend::conflict::{self, Conflict};
use super::mend::rounding;
use super::solve::program::SharedProgram;
use super::solve::search::{Effort, Search, Watch};
use super::statement::found::{Found, Rounding};
use super::statement::problem::{Objective, Problem};
use super::statement::target::{Aim, Goal};
use crate::band::Judge;

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

/// Blends that are rounded at least, and beyond those asked for: one of them may be weighed where a better one cannot.
const ROUNDED: usize = 10;
const SPARE: usize = 3;

/// Coarsest step of a balance, as a share of the batch (convention).
const COARSEST: f64 = 0.01;

/// What a search gives.
#[derive(Debug, Clone, PartialEq)]
pub struct AimSolution {
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
    pub fn solve(&self, judge: &Judge, top: usize, resolution_g: Option<f64>) -> Result<AimSolution, AimError> {
        self.answer(judge, &Request { top, resolution_g, explain: true, watch: None })
    }

    /// As [`Aim::solve`], watched: what is found so far is given when the watch stops the search. On a balance too coarse for what the
    /// targets leave, powders may be fewer steps of it than [`Aim::least_steps`], and the answer says so.
    ///
    /// # Errors
    /// As [`Aim::solve`].
    pub fn answer(&self, judge: &Judge, request: &Request) -> Result<AimSolution, AimError> {
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

    fn searched(&self, judge: &Judge, request: &Request, explain: bool) -> AimSolution {
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
        AimSolution { blends, conflict, stopped_at, doubtful, least_pct: self.least_pct, remarks }
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
}

fn remarks(search: &Search) -> Vec<String> {
    let doubt =
        "of {} powder sets the search could not tell for certain whether they meet the targets; they were left out";
    (search.doubtful > 0).then(|| doubt.replace("{}", &search.doubtful.to_string())).into_iter().collect()
}

#[cfg(test)]
mod tests {
    use crate::aim::invented;

    #[test]
    fn blends_are_called_by_their_place() {
        let (aim, judge) = invented::aim(&[(160.0, 2.0), (90.0, 3.0)], "load_pct = [4, 8]\ngoal = \"cheapest\"");
        let blends = aim.solve(&judge, 2, None).unwrap().blends;
        let names: Vec<&str> = blends.iter().map(|blend| blend.scrub.name.as_str()).collect();
        assert_eq!(names, ["Test", "Test, choice 2"]);
    }
}
