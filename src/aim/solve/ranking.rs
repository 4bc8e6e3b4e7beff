//! The best blends so far.

use super::set::SetBlend;
use std::collections::HashMap;

/// Objectives closer than this, relative, are the same.
const TIE: f64 = 1e-9;

/// The best blends found, best first, none of which merely adds powders to a better one.
#[derive(Debug, Clone, Default)]
pub(in crate::aim) struct Ranking {
    pub blends: Vec<SetBlend>,
    /// Blends of fewer powders that come before all others, whatever they are worth.
    pub ahead: Vec<SetBlend>,
    /// The best objective of every powder set that was looked at.
    seen: HashMap<Vec<usize>, f64>,
    top: usize,
}

impl Ranking {
    pub fn new(top: usize, ahead: Vec<SetBlend>) -> Self {
        Self { top, ahead, ..Self::default() }
    }

    pub fn is_full(&self) -> bool {
        self.blends.len() >= self.top
    }

    pub fn top(&self) -> usize {
        self.top
    }

    /// What a further blend has to be better than.
    pub fn cutoff(&self) -> f64 {
        self.blends.last().filter(|_| self.is_full()).map_or(f64::INFINITY, |b| b.objective)
    }

    /// The best objective found for a set.
    pub fn best_of(&self, members: &[usize]) -> Option<f64> {
        self.seen.get(members).copied()
    }

    /// A set that comes before `members` and lies within it: what holds it has no place here.
    pub fn blocking(&self, members: &[usize], objective: f64) -> Option<&SetBlend> {
        let within = |b: &&SetBlend| b.members.iter().all(|m| members.contains(m));
        let as_good = |b: &&SetBlend| b.objective <= objective + TIE * objective.abs();
        self.ahead.iter().find(within).or_else(|| self.blends.iter().filter(as_good).find(within))
    }

    /// Takes a blend in if it is among the best and does not merely add powders to a better one.
    pub fn offer(&mut self, blend: SetBlend) {
        let best = self.seen.entry(blend.members.clone()).or_insert(f64::INFINITY);
        *best = best.min(blend.objective);
        if self.blocking(&blend.members, blend.objective).is_some() {
            return;
        }
        let adds = |b: &SetBlend| b.objective >= blend.objective && blend.members.iter().all(|m| b.members.contains(m));
        self.blends.retain(|b| b.members != blend.members && !adds(b));
        let at = self.blends.partition_point(|b| b.objective <= blend.objective);
        self.blends.insert(at, blend);
        self.blends.truncate(self.top);
    }
}
