//! A part of the search: a region, and which powders may still be used in it. The powders lie in clusters, from each of which
//! at most so many may be taken; to part a cluster whose powders the relaxation mixes is to forbid that mixture, and a cluster
//! of one powder decides it. That takes far fewer steps than deciding powder by powder: a catalogue's powders resemble each
//! other, and half of them at once are told to be no use.

use super::frame::Frame;
use super::region::GapRegion;
use crate::aim::statement::problem::Problem;
use std::sync::{Arc, OnceLock};

/// Powders of which at most `most` may be used.
#[derive(Debug, Clone)]
pub(in crate::aim) struct Cluster {
    /// Candidates, rising.
    pub members: Arc<[u16]>,
    pub most: usize,
}

/// A region with its rows, which are written when they are first asked for.
#[derive(Debug)]
pub(in crate::aim) struct Framed {
    pub region: GapRegion,
    members: Vec<u16>,
    frame: OnceLock<Frame>,
}

impl Framed {
    pub fn new(region: GapRegion, members: Vec<u16>) -> Arc<Self> {
        Arc::new(Self { region, members, frame: OnceLock::new() })
    }

    pub fn frame(&self, problem: &Problem) -> &Frame {
        self.frame.get_or_init(|| problem.frame(&self.region, &self.members))
    }
}

/// A start for the next relaxation: columns that stood between their bounds, and at the upper one, by name.
#[derive(Debug, Clone, Default)]
pub(in crate::aim) struct Keys {
    pub basic: Vec<u32>,
    pub at_high: Vec<u32>,
}

#[derive(Debug, Clone)]
pub(in crate::aim) struct Node {
    pub place: Arc<Framed>,
    pub clusters: Vec<Cluster>,
    /// Powders that are used, whatever else; rising.
    pub forced: Vec<u16>,
    /// No blend of this part is worth less.
    pub bound: f64,
    pub depth: u32,
    pub start: Arc<Keys>,
}

impl Node {
    /// All powders in a region, at most `most` of them.
    pub fn root(problem: &Problem, region: GapRegion, most: usize) -> Self {
        let all: Vec<u16> = (0..problem.candidates.len()).map(|m| m as u16).collect();
        let cluster = Cluster { members: all.clone().into(), most: most.min(all.len()) };
        Self {
            place: Framed::new(region, all),
            clusters: vec![cluster],
            forced: Vec::new(),
            bound: f64::NEG_INFINITY,
            depth: 0,
            start: Arc::default(),
        }
    }

    /// The same region with these powders only, all of them used.
    pub fn of_set(&self, set: &[u16]) -> Self {
        Self { clusters: Vec::new(), forced: set.to_vec(), ..self.clone() }
    }

    /// All powders that may be used, rising.
    pub fn members(&self) -> Vec<u16> {
        let open = self.clusters.iter().flat_map(|c| c.members.iter().copied());
        let mut members: Vec<u16> = open.chain(self.forced.iter().copied()).collect();
        members.sort_unstable();
        members
    }

    /// How many powders may be used at most.
    pub fn most(&self) -> usize {
        self.forced.len() + self.clusters.iter().map(|c| c.most).sum::<usize>()
    }

    fn child(&self, clusters: Vec<Cluster>, bound: f64, start: &Arc<Keys>) -> Self {
        let clusters = clusters.into_iter().filter(|c| c.most > 0 && !c.members.is_empty());
        let tight = |c: Cluster| Cluster { most: c.most.min(c.members.len()), ..c };
        Self {
            clusters: clusters.map(tight).collect(),
            bound,
            depth: self.depth + 1,
            start: start.clone(),
            ..self.clone()
        }
    }

    fn taken_out(&self, powder: u16, slots: usize) -> Vec<Cluster> {
        let out = |c: &Cluster| match c.members.binary_search(&powder) {
            Err(_) => c.clone(),
            Ok(_) => Cluster {
                members: c.members.iter().copied().filter(|m| *m != powder).collect(),
                most: c.most.saturating_sub(slots),
            },
        };
        self.clusters.iter().map(out).collect()
    }

    /// Without a powder.
    pub fn without(&self, powder: u16, bound: f64, start: &Arc<Keys>) -> Self {
        self.child(self.taken_out(powder, 0), bound, start)
    }

    /// With a powder that must be used.
    pub fn with(&self, powder: u16, bound: f64, start: &Arc<Keys>) -> Self {
        let mut child = self.child(self.taken_out(powder, 1), bound, start);
        if let Err(at) = child.forced.binary_search(&powder) {
            child.forced.insert(at, powder);
        }
        child
    }

    /// All that is here but a set and what holds it: without its first powder; with the first, without the second; and so on.
    pub fn others_than(&self, set: &[u16], bound: f64, start: &Arc<Keys>) -> Vec<Self> {
        let mut children = Vec::new();
        let mut kept = self.clone();
        for &powder in set.iter().filter(|m| self.forced.binary_search(m).is_err()) {
            children.push(kept.without(powder, bound, start));
            kept = kept.with(powder, bound, start);
        }
        children
    }

    /// The same powders in another region.
    pub fn within(&self, region: GapRegion, bound: f64, start: &Arc<Keys>) -> Self {
        let place = Framed::new(region, self.members());
        Self { place, bound, depth: self.depth + 1, start: start.clone(), ..self.clone() }
    }

    /// The cluster that these shares take more powders from than they may, where they do so most.
    pub fn overdrawn(&self, shares: &[(u16, f64)]) -> Option<usize> {
        let beyond = |c: &Cluster| {
            let mut own: Vec<f64> =
                shares.iter().filter(|(m, _)| c.members.binary_search(m).is_ok()).map(|s| s.1).collect();
            own.sort_by(|a, b| b.total_cmp(a));
            own.iter().skip(c.most).sum::<f64>()
        };
        let over = self.clusters.iter().map(beyond).enumerate().filter(|(_, over)| *over > 0.0);
        over.max_by(|a, b| a.1.total_cmp(&b.1)).map(|(i, _)| i)
    }

    /// An overdrawn cluster parted between the two powders that the shares take most of, along the line through both in the
    /// space of the rows (`weights` says how much each row counts); the count is shared out in every way.
    pub fn parted(
        &self,
        cluster: usize,
        shares: &[(u16, f64)],
        frame: &Frame,
        weights: &[f64],
        bound: f64,
        start: &Arc<Keys>,
    ) -> Vec<Self> {
        let Cluster { members, most } = &self.clusters[cluster];
        let mut own: Vec<(u16, f64)> =
            shares.iter().copied().filter(|(m, _)| members.binary_search(m).is_ok()).collect();
        own.sort_by(|a, b| b.1.total_cmp(&a.1));
        let terms = |m: u16| frame.place(m).map_or(&[][..], |place| frame.terms(place));
        let (first, second) = (own[0], own[1]);
        let line: Vec<f64> =
            terms(first.0).iter().zip(terms(second.0)).zip(weights).map(|((a, b), w)| w * w * (a - b)).collect();
        let along = |m: u16| terms(m).iter().zip(&line).map(|(a, d)| a * d).sum::<f64>();
        let (of_first, of_second) = (along(first.0), along(second.0));
        let middle = 0.5 * (of_first + of_second);
        let (mut near, mut far): (Vec<u16>, Vec<u16>) = members.iter().partition(|m| along(**m) > middle);
        if !(near.contains(&first.0) && far.contains(&second.0)) {
            // Alike in every row that counts: parted by their order on the shelf.
            let edge = first.0.max(second.0);
            (near, far) = members.iter().partition(|m| **m < edge);
        }
        let (near, far): (Arc<[u16]>, Arc<[u16]>) = (near.into(), far.into());
        let least = most.saturating_sub(far.len());
        (least..=(*most).min(near.len()))
            .map(|of_near| {
                let mut clusters = self.clusters.clone();
                clusters[cluster] = Cluster { members: near.clone(), most: of_near };
                clusters.push(Cluster { members: far.clone(), most: most - of_near });
                self.child(clusters, bound, start)
            })
            .collect()
    }
}
