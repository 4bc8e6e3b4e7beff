//! Blends that fall into the band asked for in so many of 100 draws.
//!
//! A search knows figures as stated only. So it is made again with the limits of the bands drawn in: each by how far the draws of a found
//! blend carry that figure beyond its stated value, all to one power, which is halved down to the least whose best blend is sure by the
//! draws that every command shows and by as many fresh ones. The answer is the best within limits so drawn in: that no other blend is as
//! sure and better is not proven, and is not said to be.

use super::{Aim, AimError, Answer, Conflict, Conflicting, Found, Request, Rounding, Target};
use crate::band::Judge;
use crate::confidence::{Drawing, DrawnFigures, Inputs, Sampling, Sure, Vary, at_all_points, sure};
use crate::tables::{Criterion, Tables};
use std::cmp::Ordering;
use std::rc::Rc;

/// Powers tried one after another until the best blend is sure, or there is none.
const POWERS: [f64; 4] = [1.0, 1.6, 2.5, 4.0];
/// How often the way between a power too small and one large enough is halved.
const HALVINGS: usize = 6;
/// Objectives closer than this, as a share, are not told apart by further halving.
const CLOSE: f64 = 2e-3;

/// The answer to an aim, drawn.
#[derive(Debug, Clone)]
pub struct Likely {
    /// The blends, as the stated limits judge them.
    pub answer: Answer,
    /// How sure the band of each is.
    pub sure: Vec<Sure>,
    /// The limits that the blends were found under.
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
        let sure = answer.blends.iter().map(|f| drawn(f, judge, tables)).collect();
        return Ok(Likely { answer, sure, judge: judge.clone(), drawn_in: false });
    };
    let share = sure_pct / 100.0;
    let mut hunt = Hunt {
        aim,
        judge,
        tables,
        request,
        rank: band.rank(),
        share,
        looked_at: Vec::new(),
        impossible: None,
        stopped_at: None,
    };
    hunt.run(answer)
}

fn drawn(found: &Found, judge: &Judge, tables: &Tables) -> Sure {
    sure(&found.scrub, judge, tables, Sampling::VERDICT)
}

/// Blends of other powders that are drawn beside the best under each limits: figures of other powders stray less or more.
const AT_LEAST: usize = 6;

/// A blend that was found under some limits, with the draws of the verdict, and the least share of either draws that meets the band.
struct LookedAt {
    found: Found,
    under: Rc<Judge>,
    sure: Sure,
    share: f64,
}

impl LookedAt {
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
    looked_at: Vec<LookedAt>,
    /// The widest limits under which there was no blend.
    impossible: Option<Judge>,
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
    fn run(&mut self, stated: Answer) -> Result<Likely, AimError> {
        let best = stated.blends[0].clone();
        if matches!(self.take(&stated, self.judge), Led::Sure) {
            if self.sure_ones().count() < stated.blends.len() && stated.stopped_at.is_none() {
                // Others that are sure, beside the best.
                self.draw_in(&self.strays(&best), POWERS[0])?;
            }
            return Ok(self.likely(stated, false));
        }
        let mut strays = self.strays(&best);
        let (mut low, mut high) = (0.0, None);
        let mut low_worth = best.objective.unwrap_or(0.0);
        for (i, power) in POWERS.into_iter().enumerate() {
            match self.draw_in(&strays, power)? {
                Led::Unsure(worth) => (low, low_worth) = (power, worth),
                Led::Sure | Led::None => high = Some(power),
            }
            if high.is_some() || self.stopped_at.is_some() {
                break;
            }
            // The figures of a blend under narrower limits stray otherwise than those of the first.
            if let (0, Some(last)) = (i, self.looked_at.last()) {
                strays = self.strays(&last.found);
            }
        }
        for _ in 0..HALVINGS {
            let Some(end) = high.filter(|_| self.stopped_at.is_none()) else { break };
            let best = self.sure_ones().map(LookedAt::worth).fold(f64::INFINITY, f64::min);
            if best.is_finite() && best - low_worth <= CLOSE * best.abs() {
                break;
            }
            let power = 0.5 * (low + end);
            match self.draw_in(&strays, power)? {
                Led::Unsure(worth) => (low, low_worth) = (power, worth),
                Led::Sure | Led::None => high = Some(power),
            }
        }
        let stated = Answer { stopped_at: self.stopped_at.or(stated.stopped_at), ..stated };
        if self.sure_ones().next().is_some() { Ok(self.likely(stated, true)) } else { self.none(stated) }
    }

    fn sure_ones(&self) -> impl Iterator<Item = &LookedAt> {
        self.looked_at.iter().filter(|l| l.share >= self.share)
    }

    /// Solves again with the limits drawn in by a power of how far figures stray.
    fn draw_in(&mut self, strays: &[[f64; 4]], power: f64) -> Result<Led, AimError> {
        let judge = self.judge.with_room(|rank, criterion| strays[rank][criterion as usize].powf(power));
        let request = Request { top: self.request.top.max(AT_LEAST), explain: false, ..*self.request };
        let answer = self.aim.answer(&judge, &request)?;
        self.stopped_at = answer.stopped_at;
        let led = self.take(&answer, &judge);
        if matches!(led, Led::None) {
            self.impossible = Some(judge);
        }
        Ok(led)
    }

    /// Draws the blends of an answer, keeps them, and says what the best came to.
    fn take(&mut self, answer: &Answer, under: &Judge) -> Led {
        let under = Rc::new(under.clone());
        for found in &answer.blends {
            if self.looked_at.iter().any(|l| l.found.shares == found.shares) {
                continue;
            }
            let found = Found { assessment: self.judge.assess(&found.scrub), ..found.clone() };
            let sure = drawn(&found, self.judge, self.tables);
            let share = sure.share(self.rank).min(fresh_share(&found, self.judge, self.tables, self.rank));
            self.looked_at.push(LookedAt { found, under: Rc::clone(&under), sure, share });
        }
        let Some(first) = answer.blends.first() else { return Led::None };
        let is_sure = self.sure_ones().any(|l| l.found.shares == first.shares);
        if is_sure { Led::Sure } else { Led::Unsure(first.objective.unwrap_or(0.0)) }
    }

    /// For every band, by what factor each figure of a blend passes its stated value in a share of the draws.
    fn strays(&self, found: &Found) -> Vec<[f64; 4]> {
        let scrub = &found.scrub;
        let drawing =
            Drawing::new(self.judge, scrub, Inputs::new(scrub, self.tables, self.judge.model().reference_position()));
        let mut all = Vec::new();
        let mut rubber = drawing.rubber(Vary::All);
        at_all_points(&drawing, Sampling::VERDICT, |points| all.extend_from_slice(rubber.figures(points)));
        let stated = &self.judge.assess(scrub).figures;
        let factor = |of: &dyn Fn(&DrawnFigures) -> f64, stated: f64| {
            let mut values: Vec<f64> = all.iter().map(of).collect();
            values.sort_by(f64::total_cmp);
            let at = values[((values.len() - 1) as f64 * self.share).ceil() as usize];
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
    fn likely(&mut self, answer: Answer, drawn_in: bool) -> Likely {
        let share = self.share;
        let mut kept: Vec<LookedAt> = self.looked_at.drain(..).filter(|l| l.share >= share).collect();
        kept.sort_by(LookedAt::order);
        let mut best: Vec<LookedAt> = Vec::new();
        for looked_at in kept {
            let places = |l: &LookedAt| l.found.shares.iter().map(|s| s.0).collect::<Vec<_>>();
            if best.len() < self.request.top && best.iter().all(|b| places(b) != places(&looked_at)) {
                best.push(looked_at);
            }
        }
        let judge = best.first().map_or_else(|| self.judge.clone(), |b| Judge::clone(&b.under));
        let sure = best.iter().map(|l| l.sure.clone()).collect();
        let mut blends: Vec<Found> = best.into_iter().map(|l| l.found).collect();
        self.aim.number(&mut blends);
        Likely { answer: Answer { blends, ..answer }, sure, judge, drawn_in }
    }

    /// No blend was found that is so sure: what else is in the way, the surest, and by how much it falls short.
    fn none(&mut self, stated: Answer) -> Result<Likely, AimError> {
        let surest = self.looked_at.iter().max_by(|a, b| a.share.total_cmp(&b.share));
        let short = surest.map(|l| 100.0 * (self.share - l.share));
        let mut nearest: Vec<Found> = surest.map(|l| l.found.clone()).into_iter().collect();
        self.aim.number(&mut nearest);
        let sure = Conflicting { target: Target::Sure, off_by: short };
        let explained = match &self.impossible {
            Some(judge) => self.aim.answer(judge, self.request)?.conflict,
            None => None,
        };
        let others = explained.into_iter().flat_map(|c| c.set).filter(|c| c.target != Target::Band);
        let conflict = Conflict {
            set: std::iter::once(sure).chain(others).collect(),
            is_proven: false,
            nearest: nearest.pop(),
            misses: short.map(|by| (Target::Sure, by)).into_iter().collect(),
        };
        let answer = Answer { blends: Vec::new(), conflict: Some(conflict), ..stated };
        Ok(Likely { answer, sure: Vec::new(), judge: self.judge.clone(), drawn_in: true })
    }
}

/// The share of fresh draws in a band or a milder one.
fn fresh_share(found: &Found, judge: &Judge, tables: &Tables, rank: usize) -> f64 {
    sure(&found.scrub, judge, tables, Sampling::FRESH).share(rank)
}
