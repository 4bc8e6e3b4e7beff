//! One quantity of a scrub walked from low to high: index, groove ratios and band at equal steps, and every point at which
//! the band changes, solved.
//!
//! Between steps nothing is read off a grid. The excess over each band's limits, and how near each site is to a
//! grain-borne rub, are followed on a grid that is finer than the steps, finer still where one of them changes sides and
//! where one dips towards its limit; every change of side is then solved.

use super::vary::Varied;
use crate::band::{Arrival, Assessment, Held, Judge, Variation};
use crate::blend::Scrub;
use crate::numerics::minimise::golden_section;
use crate::numerics::roots;
use crate::rub::Partition;
use std::iter::once;

/// The scrub at one value.
#[derive(Debug, Clone, PartialEq)]
pub struct LadderStep {
    /// The value, in the unit of what is varied.
    pub value: f64,
    /// Abrasiveness index.
    pub index: f64,
    /// Groove ratio at each site, in the order of the sites table.
    pub groove_ratios: Vec<f64>,
    /// Rank of the band, 0 the mildest.
    pub rank: usize,
}

/// Where the band changes.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// The value, in the unit of what is varied.
    pub value: f64,
    /// Rank of the band just below it.
    pub from: usize,
    /// Rank of the band just above it.
    pub to: usize,
    /// The figure that passes its limit, as it is at the crossing.
    pub held: Held,
}

/// A part of the way along which the grains carry all of the rub at a site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Borne {
    /// Position of the site in the sites table.
    pub site: usize,
    /// From here.
    pub from: f64,
    /// To here.
    pub to: f64,
}

/// A scrub along the way of one quantity.
#[derive(Debug, Clone, PartialEq)]
pub struct Ladder {
    /// What is varied.
    pub varied: Varied,
    /// Where the scrub itself stands.
    pub now: f64,
    /// Equal steps.
    pub steps: Vec<LadderStep>,
    /// All values that were tried, rising: what curves are drawn from.
    pub curve: Vec<LadderStep>,
    /// Every change of the band, rising.
    pub crossings: Vec<Crossing>,
    /// Where the rub is grain-borne, site by site.
    pub borne: Vec<Borne>,
}

/// Equal steps of the grid on which changes are looked for, and further ones by equal factors: near 0 a quantity does most.
const GRID: usize = 400;
const FACTORS: usize = 100;
/// The factors start at this part of the upper end.
const SMALLEST: f64 = 1e-5;
/// Parts into which a step of the grid is cut where something changes sides.
const FINER: usize = 8;
/// Steps towards the bottom of a dip, each to 0.62 of the one before.
const DIP_STEPS: usize = 30;
/// Changes closer than this, relative, are one.
const SAME: f64 = 1e-8;
/// How exactly a change is solved, relative.
const TOLERANCE: f64 = 1e-11;

impl Ladder {
    /// Walks a quantity of a scrub; `points` equal steps (at least 2) go into the table.
    pub fn new(judge: &Judge, scrub: &Scrub, varied: Varied, points: usize) -> Self {
        Self::on_its_way(judge, scrub, None, varied, points)
    }

    /// The same of a scrub as it is weighed in, by what arrives of it at the skin.
    pub fn on_its_way(judge: &Judge, weighed: &Scrub, arrives: Option<Arrival>, varied: Varied, points: usize) -> Self {
        let way = LadderWay { variation: Variation::on_its_way(judge, weighed, arrives), varied };
        let samples = way.explore();
        Self {
            varied,
            now: way.variation.stands(varied.quantity),
            steps: varied.values(points).into_iter().map(|v| way.sample(v).step).collect(),
            crossings: way.crossings(&samples),
            borne: way.borne(&samples),
            curve: samples.into_iter().map(|s| s.step).collect(),
        }
    }
}

/// Figures that change sides at 0 wherever something about the scrub changes, and are continuous there: the excess over each
/// band's limits, then for each site how far the rub is from being grain-borne. Before that the grains carry less than
/// all; beyond it they open the gap.
pub(super) fn watched(judge: &Judge, assessment: &Assessment) -> Vec<f64> {
    let excess = (0..judge.bands().len()).map(|rank| judge.excess_of(rank, &assessment.figures));
    let sites = assessment.rubbed.sites.iter().zip(judge.model().sites());
    let borne = sites.map(|(rub, site)| match rub.partition {
        Partition::Shared => rub.carried - 1.0,
        Partition::GrainBorne => rub.gap_um / site.gap_um - 1.0,
    });
    excess.chain(borne).collect()
}

/// Where `figure` changes sides between `a` and `b`.
pub(super) fn solved(figure: impl FnMut(f64) -> f64, a: f64, b: f64) -> Option<f64> {
    roots::brent(figure, a, b, TOLERANCE * a.abs().max(b.abs())).ok()
}

struct LadderSample {
    step: LadderStep,
    watched: Vec<f64>,
    assessment: Assessment,
}

impl LadderSample {
    fn beyond(&self, figure: usize) -> bool {
        self.watched[figure] > 0.0
    }
}

struct LadderWay<'a> {
    variation: Variation<'a>,
    varied: Varied,
}

impl LadderWay<'_> {
    fn judge(&self) -> &Judge {
        self.variation.judge()
    }

    fn sample(&self, value: f64) -> LadderSample {
        let assessment = self.variation.assess(&[(self.varied.quantity, value)]);
        let step = LadderStep {
            value,
            index: assessment.figures.index,
            groove_ratios: assessment.figures.groove_ratios.clone(),
            rank: assessment.verdict.rank,
        };
        LadderSample { step, watched: watched(self.judge(), &assessment), assessment }
    }

    /// Samples along the whole way, dense enough that every change of side lies between two of them.
    fn explore(&self) -> Vec<LadderSample> {
        let mut values = self.varied.values(GRID + 2);
        let (low, high) = (self.varied.low.max(SMALLEST * self.varied.high), self.varied.high);
        values.extend((0..FACTORS).map(|i| low * (high / low).powf(i as f64 / FACTORS as f64)));
        let mut samples: Vec<LadderSample> = values.into_iter().map(|v| self.sample(v)).collect();
        in_order(&mut samples);
        let dips: Vec<LadderSample> =
            (0..samples[0].watched.len()).flat_map(|figure| self.dips(&samples, figure)).collect();
        samples.extend(dips);
        in_order(&mut samples);
        let finer = samples.windows(2).filter(|w| (0..w[0].watched.len()).any(|k| w[0].beyond(k) != w[1].beyond(k)));
        let finer: Vec<f64> = finer
            .flat_map(|w| {
                let (a, b) = (w[0].step.value, w[1].step.value);
                (1..FINER).map(move |i| a + (b - a) * i as f64 / FINER as f64)
            })
            .collect();
        samples.extend(finer.into_iter().map(|v| self.sample(v)));
        in_order(&mut samples);
        samples
    }

    /// Points where a figure has changed sides and comes back before the next sample.
    fn dips(&self, samples: &[LadderSample], figure: usize) -> Vec<LadderSample> {
        let turns = samples.windows(3).filter(|w| {
            let [a, b, c] = [0, 1, 2].map(|i| w[i].watched[figure].abs());
            let one_side = w[0].beyond(figure) == w[1].beyond(figure) && w[1].beyond(figure) == w[2].beyond(figure);
            // It falls no further within a step than it fell over the step before.
            one_side && b < a && b < c && b <= (a - b).max(c - b)
        });
        turns.filter_map(|w| self.dip(figure, w[0].step.value, w[2].step.value)).collect()
    }

    /// Goes down to the bottom of a dip between `lo` and `hi`, and stops as soon as the figure has changed sides.
    fn dip(&self, figure: usize, lo: f64, hi: f64) -> Option<LadderSample> {
        let side = self.sample(lo).beyond(figure);
        let mut across = None;
        let height = |value| {
            let sample = self.sample(value);
            let height = sample.watched[figure].abs();
            if sample.beyond(figure) != side {
                across = Some(sample);
            }
            across.is_none().then_some(height)
        };
        golden_section(height, lo, hi, DIP_STEPS);
        across
    }

    /// Every value at which a figure changes sides, rising.
    fn changes(&self, samples: &[LadderSample], figure: usize) -> Vec<f64> {
        let sides = samples.windows(2).filter(|w| w[0].beyond(figure) != w[1].beyond(figure));
        let at = |v: f64| self.sample(v).watched[figure];
        sides.filter_map(|w| solved(at, w[0].step.value, w[1].step.value)).collect()
    }

    /// What holds between two changes, from a sample in the middle.
    fn between<T>(&self, changes: &[f64], what: impl Fn(&LadderSample) -> T) -> Vec<T> {
        let ends: Vec<f64> =
            once(self.varied.low).chain(changes.iter().copied()).chain(once(self.varied.high)).collect();
        ends.windows(2).map(|w| what(&self.sample(0.5 * (w[0] + w[1])))).collect()
    }

    fn crossings(&self, samples: &[LadderSample]) -> Vec<Crossing> {
        let bands = self.judge().bands().len();
        let mut changes: Vec<f64> = (0..bands).flat_map(|rank| self.changes(samples, rank)).collect();
        changes.sort_by(f64::total_cmp);
        changes.dedup_by(|b, a| *b - *a <= SAME * b.abs());
        let ranks = self.between(&changes, |s| s.step.rank);
        let moved = changes.iter().zip(ranks.windows(2)).filter(|(_, r)| r[0] != r[1]);
        moved.filter_map(|(&value, r)| self.crossing(value, r[0], r[1])).collect()
    }

    fn crossing(&self, value: f64, from: usize, to: usize) -> Option<Crossing> {
        // The milder of the two bands has the limits that are crossed.
        let held = self.judge().held(from.min(to), &self.sample(value).assessment.figures);
        let held = held.into_iter().max_by(|a, b| a.excess().total_cmp(&b.excess()))?;
        Some(Crossing { value, from, to, held })
    }

    fn borne(&self, samples: &[LadderSample]) -> Vec<Borne> {
        let mut found = Vec::new();
        for site in 0..self.judge().model().sites().len() {
            let figure = self.judge().bands().len() + site;
            let changes = self.changes(samples, figure);
            let ends = once(self.varied.low).chain(changes.iter().copied());
            let ends: Vec<f64> = ends.chain(once(self.varied.high)).collect();
            let beyond = self.between(&changes, |s| s.beyond(figure));
            let spans = ends.windows(2).zip(beyond).filter(|(_, beyond)| *beyond);
            found.extend(spans.map(|(w, _)| Borne { site, from: w[0], to: w[1] }));
        }
        found
    }
}

fn in_order(samples: &mut Vec<LadderSample>) {
    samples.sort_by(|a, b| a.step.value.total_cmp(&b.step.value));
    samples.dedup_by(|b, a| b.step.value == a.step.value);
}
