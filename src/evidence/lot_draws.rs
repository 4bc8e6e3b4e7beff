//! How sure a lot's verdict is: what another measurement of the same lot would have said.
//!
//! A measurement repeats to so many percent only (`draws.csv`, by the form of the sizes). The curve of the lot is drawn again with
//! that repeatability, as a shift and a stretch of the ln x axis; every draw is judged as the lot is, with new parts of its own.
//! Conventions: the means of repeats stray less by the root of their number, as if each were made with sieves or a suspension of its
//! own (what the openings of one set of sieves are off does not go away by sieving again); repeats that differ by more than their
//! method does count as they differ.

use super::draws::{BLOCK, Drawing, DrawnFigures, Rubber};
use super::inputs::{Inputs, Vary};
use super::lot::{LotCase, LotJudged, LotTable, LotVerdict, Weighed};
use super::sizes::{SizeDraw, tolerance};
use crate::numerics::quasi::Sequence;
use crate::size::Warp;

/// Draws of a lot: a power of two, as its points want, and few enough to wait for nothing.
const LOT_DRAWS: usize = 512;
/// Everybody's draws are the same.
const SEED: u64 = 0;

/// How near the index is brought back, relative to its square.
const NEAR: f64 = 2e-4;
/// Steps that are given to that; in a shared rub the second one is there.
const STEPS: usize = 6;
/// Halvings of the parts between a limit of the band and beyond it.
const HALVINGS: usize = 10;
/// Most by which parts are changed, as a factor, as for the stated lot.
const REACH: f64 = 20.0;
/// A second amount to look at where the parts stand as designed.
const ASIDE: f64 = 0.8;

/// What repeats of the measurement would say.
#[derive(Debug, Clone, PartialEq)]
pub struct Sureness {
    /// How many were drawn.
    pub draws: usize,
    /// How many of them gave each verdict, in the order of [`LotVerdict::ALL`].
    pub counts: [usize; 3],
    /// Repeatability that was drawn, standard deviation in percent: of D50, and of D10 and D90.
    pub repeatability_pct: [f64; 2],
    /// Parts that bring the index back over the parts as designed, 5 and 95 % of the draws that have any; `None` for a lot that is
    /// refused, or without any.
    pub parts_factor: Option<[f64; 2]>,
    /// Share of draws from which a verdict is sure, %.
    pub least_pct: f64,
}

impl Sureness {
    /// Share of the draws with this verdict, %.
    pub fn pct(&self, verdict: LotVerdict) -> f64 {
        let place = LotVerdict::ALL.iter().position(|v| *v == verdict);
        100.0 * place.map_or(0.0, |i| self.counts[i] as f64) / self.draws as f64
    }

    /// Whether too few draws agree with this verdict.
    pub fn is_unsure(&self, verdict: LotVerdict) -> bool {
        self.pct(verdict) < self.least_pct
    }
}

impl LotCase<'_> {
    /// How sure the verdict on a lot is, [`LotCase::judge`] having judged these tables.
    pub fn how_sure(&self, lot: &[LotTable], judged: &LotJudged) -> Sureness {
        let strays = self.strays(lot, judged);
        let sizes = SizeDraw::straying(&judged.scrub.blend.components()[self.place].powder.size, strays, self.tables);
        let inputs = Inputs::new(&judged.scrub, self.tables, self.judge.model().reference_position());
        let drawing = Drawing::new(self.judge, &judged.scrub, inputs);
        let mut rework = Rework::new(self, judged, drawing.rubber(Vary::Powders));
        let sequence = Sequence::new(SEED, 0);
        let mut point = [0.0; SizeDraw::COORDINATES];
        let (mut counts, mut factors) = ([0; 3], Vec::new());
        for block in 0..LOT_DRAWS / BLOCK {
            let warps: [Warp; BLOCK] = std::array::from_fn(|lane| {
                sequence.point(block * BLOCK + lane, &mut point);
                sizes.warp(&point)
            });
            for (verdict, amount) in self.drawn(lot, judged, &mut rework, &warps) {
                counts[LotVerdict::ALL.iter().position(|v| *v == verdict).unwrap_or(0)] += 1;
                factors.extend(amount);
            }
        }
        factors.sort_by(f64::total_cmp);
        let at = |share: f64| factors.get((share * (factors.len().max(1) - 1) as f64).round() as usize).copied();
        Sureness {
            draws: LOT_DRAWS,
            counts,
            repeatability_pct: strays.map(|sd| 100.0 * sd.exp_m1()),
            parts_factor: judged.rebalanced.as_ref().and_then(|_| Some([at(0.05)?, at(0.95)?])),
            least_pct: self.limits().sure_pct,
        }
    }

    /// The verdict on each draw, and how much of the powder brings its index back, over the design.
    fn drawn(
        &self,
        lot: &[LotTable],
        judged: &LotJudged,
        rework: &mut Rework,
        warps: &[Warp; BLOCK],
    ) -> [(LotVerdict, Option<f64>); BLOCK] {
        let as_designed = rework.at(warps, &[1.0; BLOCK]);
        let amounts = rework.amounts(warps, &as_designed);
        std::array::from_fn(|lane| {
            let weighed = self.weighed(lot, judged, &warps[lane], &as_designed[lane], amounts[lane].is_some());
            (judged.weigh(&weighed, self.limits().rework_factor).0, amounts[lane])
        })
    }

    /// Standard deviations of ln D50, and of ln D10 and ln D90, of the mean of the tables.
    fn strays(&self, lot: &[LotTable], judged: &LotJudged) -> [f64; 2] {
        let record = &judged.scrub.blend.components()[self.place].powder.size;
        let [median, outer] = tolerance(&record.distribution, record.form, self.tables);
        let [d10, d50, d90] = [0, 1, 2].map(|i| judged.figures[i].lot.cv_pct().unwrap_or(0.0) / 100.0);
        let seen = [d50, (0.5 * (d10 * d10 + d90 * d90)).sqrt()];
        let root = (lot.len() as f64).sqrt();
        [median.max(seen[0]) / root, outer.max(seen[1]) / root]
    }

    /// What the verdict on a draw hangs on.
    fn weighed(
        &self,
        lot: &[LotTable],
        judged: &LotJudged,
        warp: &Warp,
        figures: &DrawnFigures,
        has_parts: bool,
    ) -> Weighed {
        let mean = |of: &dyn Fn(&LotTable) -> f64| lot.iter().map(of).sum::<f64>() / lot.len() as f64;
        let off = |i: usize, share: f64| {
            let mut figure = judged.figures[i].clone();
            figure.lot.mean = mean(&|t| warp.forward(t.record.distribution.quantile(share).ln()).exp());
            figure.tolerances_off()
        };
        let top_ln = warp.back(judged.top_um.ln());
        Weighed {
            tolerances_off: [off(0, 0.1), off(1, 0.5), off(2, 0.9)],
            over_top_pct: 100.0 * (1.0 - mean(&|t| t.record.distribution.undersize_ln(top_ln))),
            change_pct: judged.change_pct(figures.index),
            rank: figures.rank,
            has_parts,
        }
    }
}

/// Finds for several draws at once how much of the powder brings the index back, as `design::rebalance` does for the stated lot,
/// but near what that found: the square of the index is linear in the amount as long as the rub is shared.
struct Rework<'a> {
    rubber: Rubber<'a>,
    place: usize,
    /// Index wanted.
    index: f64,
    /// Harshest band that will do.
    rank: usize,
    /// Whether that band has limits at which to stop.
    limited: bool,
    /// How far the index may be off where the band does not let it have all, relative.
    index_off: f64,
    /// Where to look first.
    guess: f64,
    most: f64,
}

type Amounts = [f64; BLOCK];

impl<'a> Rework<'a> {
    fn new(case: &LotCase, judged: &LotJudged, rubber: Rubber<'a>) -> Self {
        let share = judged.scrub.blend.components()[case.place].mass;
        let mass = |scrub: &crate::blend::Scrub| scrub.load.get() * scrub.blend.components()[case.place].mass;
        let found = judged.rebalanced.as_ref().map_or(1.0, |new| mass(&new.scrub) / mass(&judged.scrub));
        let rank = judged.before.verdict.rank;
        Self {
            rubber,
            place: case.place,
            index: judged.before.figures.index,
            rank,
            limited: rank < case.judge.bands().len(),
            index_off: judged.index_limit_pct / 100.0,
            guess: if (found - 1.0).abs() > 0.05 { found } else { ASIDE },
            // The scrub holds no more than 100 % of powder.
            most: REACH.min(1.0 + (100.0 / judged.scrub.load.get() - 1.0) / share),
        }
    }

    /// Figures of each draw with so much of the powder, relative to the design.
    fn at(&mut self, warps: &[Warp; BLOCK], amounts: &Amounts) -> Vec<DrawnFigures> {
        let changes: [(Warp, f64); BLOCK] = std::array::from_fn(|lane| (warps[lane], amounts[lane]));
        self.rubber.changed(self.place, &changes).to_vec()
    }

    /// Square of the index over that of the index wanted.
    fn square(&self, figures: &DrawnFigures) -> f64 {
        (figures.index / self.index).powi(2)
    }

    /// The amount of each draw, where there is one. `first` are the figures with the amount as designed.
    fn amounts(&mut self, warps: &[Warp; BLOCK], first: &[DrawnFigures]) -> [Option<f64>; BLOCK] {
        let mut last: [(f64, f64); BLOCK] = std::array::from_fn(|lane| (1.0, self.square(&first[lane])));
        let mut next = [self.guess; BLOCK];
        // Amount, change of it per change of the square, rank.
        let mut found: [Option<(f64, f64, usize)>; BLOCK] = [None; BLOCK];
        let mut lost = [false; BLOCK];
        for _ in 0..STEPS {
            let figures = self.at(warps, &next);
            for lane in (0..BLOCK).filter(|&lane| found[lane].is_none() && !lost[lane]).collect::<Vec<_>>() {
                let (amount, square) = (next[lane], self.square(&figures[lane]));
                let slope = (amount - last[lane].0) / (square - last[lane].1);
                let better = amount + (1.0 - square) * slope;
                if (square - 1.0).abs() < NEAR {
                    found[lane] = Some((amount, slope, figures[lane].rank));
                } else if (1.0 / REACH..=self.most).contains(&better) {
                    (last[lane], next[lane]) = ((amount, square), better);
                } else {
                    lost[lane] = true;
                }
            }
            if (0..BLOCK).all(|lane| found[lane].is_some() || lost[lane]) {
                break;
            }
        }
        let stop = found.iter().flatten().any(|f| f.2 > self.rank) && self.limited;
        let limits = if stop { self.limits(warps, &found) } else { [None; BLOCK] };
        let one = |lane: usize| found[lane].and_then(|f| if f.2 <= self.rank { Some(f.0) } else { limits[lane] });
        std::array::from_fn(one)
    }

    /// The most of the powder that the band lets each draw have, if the index is then near enough.
    fn limits(&mut self, warps: &[Warp; BLOCK], found: &[Option<(f64, f64, usize)>; BLOCK]) -> [Option<f64>; BLOCK] {
        let least = (1.0 - self.index_off).powi(2) - 1.0;
        let mut high: Amounts = std::array::from_fn(|lane| found[lane].map_or(1.0, |f| f.0));
        let mut low: Amounts =
            std::array::from_fn(|lane| found[lane].map_or(1.0, |f| (f.0 + least * f.1).max(1.0 / REACH)));
        let rank = self.rank;
        let allowed: Vec<bool> = self.at(warps, &low).iter().map(|f| f.rank <= rank).collect();
        for _ in 0..HALVINGS {
            let middle: Amounts = std::array::from_fn(|lane| 0.5 * (low[lane] + high[lane]));
            for (lane, figures) in self.at(warps, &middle).iter().enumerate() {
                *(if figures.rank <= rank { &mut low[lane] } else { &mut high[lane] }) = middle[lane];
            }
        }
        std::array::from_fn(|lane| allowed[lane].then_some(low[lane]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::band::Judge;
    use crate::blend::{Blend, Scrub};
    use crate::evidence::lot::OnSkinOf;
    use crate::powder::{GrainProperties, Hardness, Powder};
    use crate::size::{SizeRecord, law::Law};
    use crate::tables::Tables;
    use crate::units::{Gigapascals, GramsPerCm3, LoadPercent, Micrometres, Parts, Roundness};

    fn law(median_um: f64, gsd: f64) -> SizeRecord {
        let law = Law::log_normal(Micrometres::new(median_um).unwrap(), gsd).unwrap();
        SizeRecord::from_distribution(law.into(), "test")
    }

    fn table(record: SizeRecord) -> [LotTable; 1] {
        [LotTable { file: "t.csv".into(), record, sha256: String::new(), charged_g: None }]
    }

    /// Four parts of a fine soft powder and so many of a coarse one.
    fn scrub(coarse_um: f64, parts: f64, load: f64, tables: &Tables) -> Scrub {
        let powder = |name: &str, hardness: f64, roundness: f64, size: SizeRecord| {
            let given = GrainProperties {
                density: Some(GramsPerCm3::new(1.35).unwrap()),
                hardness: Some(Hardness::Indentation(Gigapascals::new(hardness).unwrap())),
                roundness: Some(Roundness::new(roundness).unwrap()),
            };
            Powder::new(name.into(), None, &given, size, tables).unwrap()
        };
        let [fine, coarse] =
            [powder("fine", 0.12, 0.4, law(60.0, 1.6)), powder("coarse", 0.25, 0.3, law(coarse_um, 1.25))];
        let part = |p: f64| Parts::new(p).unwrap();
        let blend = Blend::new(vec![(fine, part(4.0)), (coarse, part(parts))]).unwrap();
        Scrub { name: "test".into(), load: LoadPercent::new(load).unwrap(), load_range: None, blend }
    }

    /// A log-normal law warped is another one: each draw is judged anew as a lot of that law, by the model in full and by the walk of
    /// `design::rebalance`. In the second scrub the groove ratio governs, so that parts stop at the limit of the band.
    #[test]
    fn draws_are_judged_as_lots_are() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let (mut seen, mut stopped) = ([0; 3], 0);
        let cases = [
            (165.0, 2.0, 5.0, 1.05, 0.03),
            (195.0, 4.0, 2.0, 1.072, 0.003),
            (165.0, 2.0, 5.0, 0.9, 0.03),
            (165.0, 3.0, 40.0, 1.1, 0.03),
        ];
        for (coarse_um, parts, load, scale, step) in cases {
            let scrub = scrub(coarse_um, parts, load, &tables);
            let case = LotCase {
                judge: &judge,
                tables: &tables,
                scrub: &scrub,
                place: 1,
                sample_g: None,
                sieve_mm: None,
                on_skin: OnSkinOf::ALL,
            };
            let lot = table(law(coarse_um * scale, 1.25));
            let judged = case.judge(&lot).unwrap();
            let inputs = Inputs::new(&judged.scrub, &tables, judge.model().reference_position());
            let drawing = Drawing::new(&judge, &judged.scrub, inputs);
            let mut rework = Rework::new(&case, &judged, drawing.rubber(Vary::Powders));
            let pivot_ln = (coarse_um * scale).ln();
            let warps: [Warp; BLOCK] = std::array::from_fn(|lane| {
                let (shift, stretch) =
                    (step * (lane as f64 - 3.5), 1.0 + 1.5 * step * ((lane * 5 % BLOCK) as f64 - 3.5));
                Warp { pivot_ln, shift, below: stretch, above: stretch }
            });
            for (warp, (verdict, amount)) in warps.iter().zip(case.drawn(&lot, &judged, &mut rework, &warps)) {
                let again = law(coarse_um * scale * warp.shift.exp(), 1.25_f64.powf(warp.above));
                let wanted = case.judge(&table(again)).unwrap();
                assert_eq!(verdict, wanted.verdict, "{parts} {load} {scale} {warp:?}: {:?}", wanted.reasons);
                seen[LotVerdict::ALL.iter().position(|v| *v == verdict).unwrap()] += 1;
                if let Some(new) = wanted.rebalanced {
                    let mass = |s: &Scrub| s.load.get() * s.blend.components()[1].mass;
                    let off = amount.unwrap() / (mass(&new.scrub) / mass(&scrub)) - 1.0;
                    stopped += u32::from(!new.restored);
                    assert!(off.abs() < 0.005, "{parts} {load} {scale} {warp:?}: {off}");
                }
            }
        }
        assert!(seen.iter().all(|n| *n > 0) && stopped > 0, "{seen:?} {stopped}");
    }
}
