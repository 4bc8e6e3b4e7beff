//! Blends that fall into the band asked for in so many of 100 draws.
//!
//! A search knows figures as stated only. So it is made again with the limits of the bands drawn in: all of them, each by how far the draws
//! of a found blend carry that figure beyond its stated value, or one alone, since other powders stray otherwise. Each way is drawn in by a
//! power that is halved down to the least whose best blend is sure by the draws that every command shows and by as many fresh ones.
//! What is given is the best that was met on any of these ways: that no other blend is as sure and better is not proven, and not said to be.

use super::answer::{AimError, AimSolution, Request};
use super::mend::conflict::{Conflict, Conflicting};
use super::statement::found::{Found, Rounding};
use super::statement::target::{Aim, Target};
use crate::band::Judge;
use crate::confidence::{Drawing, DrawnFigures, Inputs, SURE, Sampling, Sure, Vary, at_all_points, sure};
use crate::tables::{Criterion, Tables};
use std::cmp::Ordering;
use std::rc::Rc;

/// Which limits are drawn in: all, or one alone.
const WAYS: [Option<Criterion>; 4] = [None, Some(Criterion::Index), Some(Criterion::GrooveRatio), Some(Criterion::D99)];
/// By what factor one alone is drawn in at a power of 1.
const ALONE: f64 = 1.25;
/// Powers tried one after another until the best blend is sure, or there is none.
const POWERS: [f64; 4] = [1.0, 1.6, 2.5, 4.0];
/// How often the way between a power too small and one large enough is halved.
const HALVINGS: usize = 6;
/// How far below the share that is asked for a few draws have to be to be believed.
const FAR: f64 = 0.06;
/// Objectives closer than this, as a share, are not told apart by further halving.
const CLOSE: f64 = 2e-3;

/// The answer to an aim, drawn.
#[derive(Debug, Clone)]
pub struct Likely {
    /// The blends, as the stated limits judge them.
    pub answer: AimSolution,
    /// How sure the band of each is.
    pub sure: Vec<Sure>,
    /// The limits that the first blend was found under.
    pub judge: Judge,
    /// Whether those are drawn in.
    pub drawn_in: bool,
}

/// Solves an aim and draws every blend; where [`Aim::sure_pct`] is asked for, only blends that are so sure.
///
/// # Errors
/// As [`Aim::answer`].
pub fn likely_blends(aim: &Aim, judge: &Judge, tables: &Tables, request: &Request) -> Result<Likely, AimError> {
    let answer = aim.answer(judge, request)?;
    let asked = aim.sure_pct.zip(aim.band).filter(|_| !answer.blends.is_empty());
    let Some((sure_pct, band)) = asked else {
        let drawn = |found: &Found| sure(&found.scrub, judge, tables, Sampling::VERDICT);
        let sure = answer.blends.iter().map(drawn).collect();
        return Ok(Likely { answer, sure, judge: judge.clone(), drawn_in: false });
    };
    let share = sure_pct / 100.0;
    let mut hunt =
        Hunt { aim, judge, tables, request, rank: band.rank(), share, looked_at: Vec::new(), stopped_at: None };
    hunt.run(answer)
}

/// Blends of other powders that are drawn beside the best under each limits: figures of other powders stray less or more.
const AT_LEAST: usize = 6;

/// A blend that was found under some limits, with the draws of the verdict, and the least share of either draws that meets the band.
struct DrawnBlend {
    found: Found,
    under: Rc<Judge>,
    sure: Sure,
    share: f64,
}

impl DrawnBlend {
    fn worth(&self) -> f64 {
        self.found.objective.unwrap_or(f64::INFINITY)
    }

    /// What is better comes first: what can be weighed, then by the goal.
    fn order(&self, other: &Self) -> Ordering {
        let cannot_be_weighed = |l: &Self| matches!(l.found.rounding, Rounding::Impossible(_));
        cannot_be_weighed(self).cmp(&cannot_be_weighed(other)).then(self.worth().total_cmp(&other.worth()))
    }
}

struct Hunt<'a, 'w> {
    aim: &'a Aim,
    judge: &'a Judge,
    tables: &'a Tables,
    request: &'a Request<'w>,
    rank: usize,
    share: f64,
    looked_at: Vec<DrawnBlend>,
    /// Bound of a search that was stopped.
    stopped_at: Option<f64>,
}

/// What limits drawn in by a power lead to.
enum Led {
    /// The best blend is sure.
    Sure,
    /// It is not; what it is worth.
    Unsure(f64),
    /// There is none.
    None,
}

impl Hunt<'_, '_> {
    fn run(&mut self, stated: AimSolution) -> Result<Likely, AimError> {
        let best = stated.blends[0].clone();
        let is_proven =
            matches!(self.take(&stated, Rc::new(self.judge.clone())), Led::Sure) && stated.stopped_at.is_none();
        if !is_proven || self.sure_ones().count() < stated.blends.len() {
            for way in WAYS {
                self.hunt(way, &best)?;
                if self.stopped_at.is_some() || is_proven {
                    break;
                }
            }
        }
        let stated = AimSolution { stopped_at: self.stopped_at.or(stated.stopped_at), ..stated };
        if self.sure_ones().next().is_some() { Ok(self.likely(stated, !is_proven)) } else { Ok(self.none(stated)) }
    }

    /// Draws limits in, one way, as little as makes the best blend sure.
    fn hunt(&mut self, way: Option<Criterion>, stated: &Found) -> Result<(), AimError> {
        // Where one limit alone is drawn in, how far figures stray is of no use.
        let mut strays = if way.is_none() { self.strays(stated) } else { Vec::new() };
        let (mut low, mut high) = (0.0, None);
        let mut low_worth = stated.objective.unwrap_or(0.0);
        for (i, power) in POWERS.into_iter().enumerate() {
            let (led, first) = self.draw_in(way, &strays, power)?;
            match led {
                Led::Unsure(worth) => (low, low_worth) = (power, worth),
                Led::Sure | Led::None => high = Some(power),
            }
            if high.is_some() || self.stopped_at.is_some() || self.is_beaten(low_worth) {
                break;
            }
            // The figures of a blend under narrower limits stray otherwise than those of the first.
            if let (0, None, Some(first)) = (i, way, first) {
                strays = self.strays(&first);
            }
        }
        for _ in 0..HALVINGS {
            let Some(end) = high.filter(|_| self.stopped_at.is_none() && !self.is_beaten(low_worth)) else { break };
            let power = 0.5 * (low + end);
            match self.draw_in(way, &strays, power)?.0 {
                Led::Unsure(worth) => (low, low_worth) = (power, worth),
                Led::Sure | Led::None => high = Some(power),
            }
        }
        Ok(())
    }

    fn sure_ones(&self) -> impl Iterator<Item = &DrawnBlend> {
        self.looked_at.iter().filter(|l| l.share >= self.share)
    }

    /// Whether a sure blend is known that narrower limits, under which nothing is worth less than this, cannot better by much.
    fn is_beaten(&self, worth: f64) -> bool {
        let best = self.sure_ones().map(DrawnBlend::worth).fold(f64::INFINITY, f64::min);
        best.is_finite() && best - worth <= CLOSE * best.abs()
    }

    /// Solves again with limits drawn in by a power of how far figures stray, or of a factor; gives the best blend of it.
    fn draw_in(
        &mut self,
        way: Option<Criterion>,
        strays: &[[f64; 4]],
        power: f64,
    ) -> Result<(Led, Option<Found>), AimError> {
        let judge = self.judge.with_room(|rank, criterion| match way {
            None => strays[rank][criterion as usize].powf(power),
            Some(alone) if alone == criterion => ALONE.powf(power),
            Some(_) => 1.0,
        });
        let request = Request { top: self.request.top.max(AT_LEAST), explain: false, ..*self.request };
        let mut answer = self.aim.answer(&judge, &request)?;
        self.stopped_at = answer.stopped_at;
        let led = self.take(&answer, Rc::new(judge));
        let first = (!answer.blends.is_empty()).then(|| answer.blends.swap_remove(0));
        Ok((led, first))
    }

    /// Draws the blends of an answer that may be given, keeps them, and says what the best came to.
    fn take(&mut self, answer: &AimSolution, under: Rc<Judge>) -> Led {
        for (i, found) in answer.blends.iter().enumerate() {
            let is_known = self.looked_at.iter().any(|l| l.found.shares == found.shares);
            if is_known || i > 0 && found.objective.unwrap_or(f64::INFINITY) >= self.worth_of_last() {
                continue;
            }
            let found = Found { assessment: self.judge.assess(&found.scrub), ..found.clone() };
            let (sure, share) = self.drawn(&found);
            self.looked_at.push(DrawnBlend { found, under: Rc::clone(&under), sure, share });
        }
        let Some(first) = answer.blends.first() else { return Led::None };
        let is_sure = self.sure_ones().any(|l| l.found.shares == first.shares);
        if is_sure { Led::Sure } else { Led::Unsure(first.objective.unwrap_or(0.0)) }
    }

    /// How sure a blend is, and the least share of its draws that meets the band. A few draws tell of most that they are far from it.
    fn drawn(&self, found: &Found) -> (Sure, f64) {
        let draw = |sampling| sure(&found.scrub, self.judge, self.tables, sampling);
        let few = draw(Sampling::FEW);
        let share = few.share(self.rank);
        if share < self.share - FAR {
            return (few, share);
        }
        let sure = draw(Sampling::VERDICT);
        let share = sure.share(self.rank);
        let fresh = if share < self.share { share } else { draw(Sampling::FRESH).share(self.rank) };
        (sure, share.min(fresh))
    }

    /// What the last of the sure blends that will be given is worth.
    fn worth_of_last(&self) -> f64 {
        let mut worth: Vec<f64> = self.sure_ones().map(DrawnBlend::worth).collect();
        worth.sort_by(f64::total_cmp);
        worth.get(self.request.top - 1).copied().unwrap_or(f64::INFINITY)
    }

    /// For every band, by what factor each figure of a blend passes its stated value in a share of the draws.
    fn strays(&self, found: &Found) -> Vec<[f64; 4]> {
        let scrub = &found.scrub;
        let drawing =
            Drawing::new(self.judge, scrub, Inputs::new(scrub, self.tables, self.judge.model().reference_position()));
        let mut all = Vec::new();
        let mut rubber = drawing.rubber(Vary::All);
        at_all_points(&drawing, Sampling::VERDICT, |points| all.extend_from_slice(rubber.moved_figures(points)));
        let stated = &self.judge.assess(scrub).figures;
        // Under nine in ten a figure need not pass its stated value at all, and nothing would be drawn in.
        let share = self.share.max(SURE);
        let factor = |of: &dyn Fn(&DrawnFigures) -> f64, stated: f64| {
            let mut values: Vec<f64> = all.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            let at = values[((values.len() - 1) as f64 * share).ceil() as usize];
            if stated > 0.0 && at > stated { at / stated } else { 1.0 }
        };
        let index = factor(&|f| f.index, stated.index);
        let d99 = factor(&|f| f.d99_um, stated.d99_um);
        let of_band = |rank: usize| {
            let site = self.judge.site_of(rank);
            let groove = factor(&|f| f.judged_ratios[site], stated.groove_ratios[site]);
            Criterion::ALL.map(|criterion| match criterion {
                Criterion::GrooveRatio => groove,
                Criterion::Index => index,
                Criterion::D99 => d99,
                Criterion::NotOnFace => 1.0,
            })
        };
        (0..self.judge.bands().len()).map(of_band).collect()
    }

    /// The best of all that is sure.
    fn likely(&mut self, answer: AimSolution, drawn_in: bool) -> Likely {
        let share = self.share;
        let mut kept: Vec<DrawnBlend> = self.looked_at.drain(..).filter(|l| l.share >= share).collect();
        kept.sort_by(DrawnBlend::order);
        let mut best: Vec<DrawnBlend> = Vec::new();
        for looked_at in kept {
            let places = |l: &DrawnBlend| l.found.shares.iter().map(|s| s.0).collect::<Vec<_>>();
            if best.len() < self.request.top && best.iter().all(|b| places(b) != places(&looked_at)) {
                best.push(looked_at);
            }
        }
        let judge = best.first().map_or_else(|| self.judge.clone(), |b| Judge::clone(&b.under));
        let sure = best.iter().map(|l| l.sure.clone()).collect();
        let mut blends: Vec<Found> = best.into_iter().map(|l| l.found).collect();
        self.aim.number(&mut blends);
        Likely { answer: AimSolution { blends, ..answer }, sure, judge, drawn_in }
    }

    /// No blend was found that is so sure: the surest, and by how much it falls short.
    fn none(&mut self, stated: AimSolution) -> Likely {
        let surest = self.looked_at.iter().max_by(|a, b| a.share.total_cmp(&b.share));
        let share = |l: &DrawnBlend| sure(&l.found.scrub, self.judge, self.tables, Sampling::VERDICT).share(self.rank);
        let short = surest.map(|l| 100.0 * (self.share - share(l).min(l.share)).max(0.0));
        let mut nearest: Vec<Found> = surest.map(|l| l.found.clone()).into_iter().collect();
        self.aim.number(&mut nearest);
        let conflict = Conflict {
            set: vec![Conflicting { target: Target::Sure, is_enough: Some(true), off_by: short }],
            is_proven: false,
            nearest: nearest.pop(),
            misses: short.map(|by| (Target::Sure, by)).into_iter().collect(),
        };
        let answer = AimSolution { blends: Vec::new(), conflict: Some(conflict), ..stated };
        Likely { answer, sure: Vec::new(), judge: self.judge.clone(), drawn_in: true }
    }
}
