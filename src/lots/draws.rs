//! How sure a lot's verdict is: what another measurement of the same lot would have said.
//!
//! A measurement repeats to so many percent only (`draws.csv`, by the form of the sizes). The curve of the lot is drawn again with
//! that repeatability, as a shift and a stretch of the ln x axis; every draw is judged as the lot is, with new parts of its own.
//! Conventions: the means of repeats stray less by the root of their number, as if each were made with sieves or a suspension of its
//! own (what the openings of one set of sieves are off does not go away by sieving again); repeats that differ by more than their
//! method does count as they differ. Of what the jar dissolves, mass and layer follow sizes and parts; how round it leaves the grains
//! stays as for the lot as measured.
//!
//! # How sure a lot's verdict is
//! `lots::draws` warps the measured curve by the repeatability of its method, 512 times, side by side as above, and judges each
//! draw by `LotJudged::weigh`, the rule that judged the tables. New parts of a draw are found by secants of the index's square,
//! which is linear in the grams of a powder while the rub is shared; a unit test holds verdicts and parts of draws to
//! `design::rebalance` on the full model (parts within 0.5 %, the step that `rebalance` keeps from a limit included). A debug
//! build takes some 40 ms for all.

use super::lot::{LotCase, LotFigures, LotJudged, LotTable, LotVerdict};
use crate::blend::Scrub;
use crate::confidence::{BLOCK, Drawing, DrawnFigures, Inputs, Rubber, SizeDraw, Vary, tolerance};
use crate::numerics::quasi::Sequence;
use crate::size::{SizeDistribution, Warp};

/// Draws of a lot: a power of two, as its points want, and few enough to wait for nothing.
const LOT_DRAWS: usize = 512;
/// Everybody's draws are the same.
const SEED: u64 = 0;

/// How near the index is brought back, relative to its square.
const NEAR: f64 = 2e-4;
/// Steps that are given to that; in a shared rub the second one is there.
const STEPS: usize = 6;
/// Steps of a walk to the end of the reach.
const WALK: i32 = 40;
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
        let grains = self.on_skin.0(&judged.scrub);
        let size = |scrub: &Scrub| scrub.blend.components()[self.place].powder.size.clone();
        let (weighed, on_skin) = (size(&judged.scrub), size(&grains));
        let sizes = SizeDraw::straying(&weighed, strays, self.tables);
        let worn = WornDraw::new(&weighed.distribution, &on_skin.distribution);
        let inputs = Inputs::new(&grains, self.tables, self.judge.model().reference_position());
        let drawing = Drawing::new(self.judge, &grains, inputs);
        let mut rework = Rework::new(self, judged, &grains, drawing.rubber(Vary::Powders));
        let sequence = Sequence::new(SEED, 0);
        let mut point = [0.0; SizeDraw::COORDINATES];
        let (mut counts, mut factors) = ([0; 3], Vec::new());
        for block in 0..LOT_DRAWS / BLOCK {
            let mut warps = Warps { tables: [Warp::NONE; BLOCK], on_skin: [Warp::NONE; BLOCK] };
            for lane in 0..BLOCK {
                sequence.point(block * BLOCK + lane, &mut point);
                warps.tables[lane] = sizes.warp(&point);
                warps.on_skin[lane] = worn.as_ref().map_or(warps.tables[lane], |worn| worn.warp(&warps.tables[lane]));
            }
            for (verdict, amount) in self.drawn(lot, judged, &mut rework, &warps) {
                counts[LotVerdict::ALL.iter().position(|v| *v == verdict).unwrap_or(0)] += 1;
                factors.extend(amount);
            }
        }
        factors.sort_by(f64::total_cmp);
        let at = |share: f64| factors.get((share * (factors.len().max(1) - 1) as f64).round() as usize).copied();
        // What the jar dissolves of the powder comes on top of what is left of it, whatever the parts are.
        let left = self.pct(&grains) / self.pct(&judged.scrub);
        let of_weighed = |factor: f64| 1.0 - left + factor * left;
        Sureness {
            draws: LOT_DRAWS,
            counts,
            repeatability_pct: strays.map(|sd| 100.0 * sd.exp_m1()),
            parts_factor: judged.rebalanced.as_ref().and_then(|_| Some([of_weighed(at(0.05)?), of_weighed(at(0.95)?)])),
            least_pct: self.limits().sure_pct,
        }
    }

    /// The powder, % of a scrub.
    pub(super) fn pct(&self, scrub: &Scrub) -> f64 {
        scrub.load.get() * scrub.blend.components()[self.place].mass
    }

    /// The verdict on each draw, and how much of the powder brings its index back, over the design.
    fn drawn(
        &self,
        lot: &[LotTable],
        judged: &LotJudged,
        rework: &mut Rework,
        warps: &Warps,
    ) -> [(LotVerdict, Option<f64>); BLOCK] {
        let as_designed = rework.at(&warps.on_skin, &[1.0; BLOCK]);
        let amounts = rework.amounts(&warps.on_skin, &as_designed);
        std::array::from_fn(|lane| {
            let warp = &warps.tables[lane];
            let weighed = self.weighed(lot, judged, warp, &as_designed[lane], amounts[lane].is_some());
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
    ) -> LotFigures {
        let mean = |of: &dyn Fn(&LotTable) -> f64| lot.iter().map(of).sum::<f64>() / lot.len() as f64;
        let off = |i: usize, share: f64| {
            let mut figure = judged.figures[i].clone();
            figure.lot.mean = mean(&|t| warp.forward(t.record.distribution.quantile(share).ln()).exp());
            figure.tolerances_off()
        };
        let top_ln = warp.back(judged.top.um.ln());
        LotFigures {
            tolerances_off: [off(0, 0.1), off(1, 0.5), off(2, 0.9)],
            over_top_pct: 100.0 * (1.0 - mean(&|t| t.record.distribution.undersize_ln(top_ln))),
            change_pct: judged.change_pct(figures.index),
            rank: figures.rank,
            has_parts,
        }
    }
}

/// How a curve that is drawn reaches the skin where the jar takes a layer off every grain. To dissolve as much of grains twice as large
/// takes a layer twice as thick: what a draw does to the median it does to that of what is left, and the layer stays the same share of
/// the median. So two percentiles on either side tell how far what is left stretches.
struct WornDraw {
    /// The layer, as a share of the median.
    layer: f64,
    /// ln of the median as measured, and of what is left.
    medians_ln: [f64; 2],
    /// Lower and upper percentile as measured, ln.
    outer_ln: [f64; 2],
}

impl WornDraw {
    /// `None` where the jar takes nothing.
    fn new(weighed: &SizeDistribution, on_skin: &SizeDistribution) -> Option<Self> {
        let [before, after] = [weighed, on_skin].map(|d| d.quantile(0.5));
        let layer = 1.0 - after / before;
        let outer_ln = [0.25, 0.9].map(|p| weighed.quantile(p).ln());
        (layer > 0.0).then(|| Self { layer, medians_ln: [before.ln(), after.ln()], outer_ln })
    }

    fn warp(&self, of_tables: &Warp) -> Warp {
        let [median_ln, pivot_ln] = self.medians_ln;
        let drawn_ln = of_tables.forward(median_ln);
        // What is left of a grain of so many ln above the median, in ln above the median of what is left.
        let left = |above: f64| ((above.exp() - self.layer) / (1.0 - self.layer)).max(f64::MIN_POSITIVE).ln();
        let stretch = |outer_ln: f64| left(of_tables.forward(outer_ln) - drawn_ln) / left(outer_ln - median_ln);
        let [below, above] = self.outer_ln.map(|outer_ln| stretch(outer_ln).clamp(0.2, 5.0));
        Warp { pivot_ln, shift: drawn_ln - median_ln, below, above }
    }
}

/// Draws of a curve, as it was measured and as its grains reach the skin.
struct Warps {
    tables: [Warp; BLOCK],
    on_skin: [Warp; BLOCK],
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
    /// Share of the powder that the jar leaves, 0..1, and ln of what is left of its median.
    left: f64,
    layer_ln: f64,
    /// Where to look first.
    guess: f64,
    most: f64,
}

type Amounts = [f64; BLOCK];

/// An amount that brings the index back, change of it per change of the square of the index, and rank of the band with it.
type Root = (f64, f64, usize);

impl<'a> Rework<'a> {
    /// `grains` are those of the scrub made with the lot that reach the skin.
    fn new(case: &LotCase, judged: &LotJudged, grains: &Scrub, rubber: Rubber<'a>) -> Self {
        let share = grains.blend.components()[case.place].mass;
        let rebalanced = judged.rebalanced.as_ref().map(|new| case.pct(&case.on_skin.0(&new.scrub)));
        let found = rebalanced.map_or(1.0, |pct| pct / case.pct(grains));
        let rank = judged.before.verdict.rank;
        let median = |scrub: &Scrub| scrub.blend.components()[case.place].powder.size.distribution.quantile(0.5);
        Self {
            rubber,
            place: case.place,
            index: judged.before.figures.index,
            rank,
            limited: rank < case.judge.bands().len(),
            index_off: judged.index_limit_pct / 100.0,
            left: (case.pct(grains) / case.pct(&judged.scrub)).min(1.0),
            layer_ln: median(grains).ln() - median(&judged.scrub).ln(),
            guess: if (found - 1.0).abs() > 0.05 { found } else { ASIDE },
            // The scrub holds no more than 100 % of powder.
            most: REACH.min(1.0 + (100.0 - judged.scrub.load.get()) / (grains.load.get() * share)),
        }
    }

    /// Figures of each draw with so much of the powder, relative to the design.
    fn at(&mut self, warps: &[Warp; BLOCK], amounts: &Amounts) -> Vec<DrawnFigures> {
        let changes: [(Warp, f64); BLOCK] = std::array::from_fn(|lane| {
            let warp = warps[lane];
            (Warp { shift: warp.shift + self.grown_ln(amounts[lane]), ..warp }, amounts[lane])
        });
        self.rubber.changed(self.place, &changes).to_vec()
    }

    /// By how much, ln, grains reach the skin larger with so much of the powder left on it: the jar takes the same mass, from a layer that
    /// is thinner the more grains there are. The layer goes with the share that dissolves by the power that it does as designed.
    fn grown_ln(&self, amount: f64) -> f64 {
        let share_left = amount * self.left / (1.0 - self.left + amount * self.left);
        if self.left < 1.0 { self.layer_ln * ((share_left / self.left).ln() / self.left.ln()) } else { 0.0 }
    }

    /// Square of the index over that of the index wanted.
    fn square(&self, figures: &DrawnFigures) -> f64 {
        (figures.index / self.index).powi(2)
    }

    /// The amount of each draw, where there is one. `first` are the figures with the amount as designed.
    fn amounts(&mut self, warps: &[Warp; BLOCK], first: &[DrawnFigures]) -> [Option<f64>; BLOCK] {
        let mut last: [(f64, f64); BLOCK] = std::array::from_fn(|lane| (1.0, self.square(&first[lane])));
        let mut next = [self.guess; BLOCK];
        let mut found: [Option<Root>; BLOCK] = [None; BLOCK];
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
        let left: Vec<usize> = (0..BLOCK).filter(|lane| found[*lane].is_none()).collect();
        if !left.is_empty() {
            let walked = self.walked(warps, first);
            left.into_iter().for_each(|lane| found[lane] = walked[lane]);
        }
        let stop = found.iter().flatten().any(|f| f.2 > self.rank) && self.limited;
        let limits = if stop { self.limits(warps, &found) } else { [None; BLOCK] };
        let one = |lane: usize| found[lane].and_then(|f| if f.2 <= self.rank { Some(f.0) } else { limits[lane] });
        std::array::from_fn(one)
    }

    /// The amount of each draw as `design::rebalance` finds it: walked outwards either way until the index changes sides, the nearer
    /// one taken. For rubs that grains bear, where the square is not linear and may turn.
    fn walked(&mut self, warps: &[Warp; BLOCK], first: &[DrawnFigures]) -> [Option<Root>; BLOCK] {
        let here: Vec<f64> = first.iter().map(|f| self.square(f) - 1.0).collect();
        let mut roots: [Option<Root>; BLOCK] = [None; BLOCK];
        for side in [-1.0, 1.0] {
            let mut inside: [(f64, f64); BLOCK] = std::array::from_fn(|lane| (1.0, here[lane]));
            let mut outside: [Option<(f64, f64)>; BLOCK] = [None; BLOCK];
            for step in 1..=WALK {
                let amount = REACH.powf(side * f64::from(step) / f64::from(WALK));
                if amount > self.most || outside.iter().all(Option::is_some) {
                    break;
                }
                let figures = self.at(warps, &[amount; BLOCK]);
                for lane in (0..BLOCK).filter(|lane| outside[*lane].is_none()).collect::<Vec<_>>() {
                    let off = self.square(&figures[lane]) - 1.0;
                    if (off > 0.0) == (here[lane] > 0.0) {
                        inside[lane] = (amount, off);
                    } else {
                        outside[lane] = Some((amount, off));
                    }
                }
            }
            let found = self.between(warps, &inside, &outside);
            for lane in 0..BLOCK {
                let way = |root: &Option<Root>| root.map_or(f64::INFINITY, |r| r.0.ln().abs());
                if way(&found[lane]) < way(&roots[lane]) {
                    roots[lane] = found[lane];
                }
            }
        }
        roots
    }

    /// The roots between amounts on either side of them, each with how far the square is off there: halved in the end that stays.
    fn between(
        &mut self,
        warps: &[Warp; BLOCK],
        inside: &[(f64, f64); BLOCK],
        outside: &[Option<(f64, f64)>; BLOCK],
    ) -> [Option<Root>; BLOCK] {
        let (mut near, mut far) = (*inside, outside.map(|end| end.unwrap_or((1.0, 0.0))));
        let mut roots: [Option<Root>; BLOCK] = [None; BLOCK];
        for _ in 0..WALK {
            let open: Vec<usize> =
                (0..BLOCK).filter(|lane| outside[*lane].is_some() && roots[*lane].is_none()).collect();
            if open.is_empty() {
                break;
            }
            let crossing = |lane: usize| {
                let ((a, off_a), (b, off_b)) = (near[lane], far[lane]);
                a - off_a * (b - a) / (off_b - off_a)
            };
            let tried: Amounts = std::array::from_fn(|lane| if open.contains(&lane) { crossing(lane) } else { 1.0 });
            let figures = self.at(warps, &tried);
            for lane in open {
                let off = self.square(&figures[lane]) - 1.0;
                let slope = (far[lane].0 - near[lane].0) / (far[lane].1 - near[lane].1);
                if off.abs() < NEAR {
                    roots[lane] = Some((tried[lane], slope, figures[lane].rank));
                } else if (off > 0.0) == (near[lane].1 > 0.0) {
                    near[lane] = (tried[lane], off);
                    far[lane].1 *= 0.5;
                } else {
                    far[lane] = (tried[lane], off);
                    near[lane].1 *= 0.5;
                }
            }
        }
        roots
    }

    /// The most of the powder that the band lets each draw have, if the index is then near enough.
    fn limits(&mut self, warps: &[Warp; BLOCK], found: &[Option<Root>; BLOCK]) -> [Option<f64>; BLOCK] {
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
    use crate::blend::Blend;
    use crate::lots::lot::OnSkinOf;
    use crate::powder::invented::{gpa, grains, log_normal};
    use crate::size::SizeRecord;
    use crate::tables::Tables;
    use crate::units::{LoadPercent, Parts};

    fn table(record: SizeRecord) -> [LotTable; 1] {
        [LotTable { file: "t.csv".into(), record, sha256: String::new(), charged_g: None }]
    }

    /// Four parts of a fine soft powder and so many of a coarse one.
    fn scrub(coarse_um: f64, parts: f64, load: f64, tables: &Tables) -> Scrub {
        let powder = |name: &str, hardness: f64, roundness: f64, size: SizeRecord| {
            grains(name, 1.35, gpa(hardness), roundness, size, tables)
        };
        let [fine, coarse] = [
            powder("fine", 0.12, 0.4, log_normal(60.0, 1.6)),
            powder("coarse", 0.25, 0.3, log_normal(coarse_um, 1.25)),
        ];
        let part = |p: f64| Parts::new(p).unwrap();
        let blend = Blend::new(vec![(fine, part(4.0)), (coarse, part(parts))]).unwrap();
        Scrub { name: "test".into(), load: LoadPercent::new(load).unwrap(), load_range: None, blend }
    }

    /// The second powder of a scrub, all of its grains on the skin.
    fn case_of<'a>(judge: &'a Judge, tables: &'a Tables, scrub: &'a Scrub) -> LotCase<'a> {
        LotCase { judge, tables, scrub, place: 1, sample_g: None, sieve_mm: None, on_skin: OnSkinOf::ALL }
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
            let case = case_of(&judge, &tables, &scrub);
            let lot = table(log_normal(coarse_um * scale, 1.25));
            let judged = case.judge(&lot).unwrap();
            let inputs = Inputs::new(&judged.scrub, &tables, judge.model().reference_position());
            let drawing = Drawing::new(&judge, &judged.scrub, inputs);
            let mut rework = Rework::new(&case, &judged, &judged.scrub, drawing.rubber(Vary::Powders));
            let pivot_ln = (coarse_um * scale).ln();
            let warps: [Warp; BLOCK] = std::array::from_fn(|lane| {
                let (shift, stretch) =
                    (step * (lane as f64 - 3.5), 1.0 + 1.5 * step * ((lane * 5 % BLOCK) as f64 - 3.5));
                Warp { pivot_ln, shift, below: stretch, above: stretch }
            });
            let drawn = case.drawn(&lot, &judged, &mut rework, &Warps { tables: warps, on_skin: warps });
            for (warp, (verdict, amount)) in warps.iter().zip(drawn) {
                let again = log_normal(coarse_um * scale * warp.shift.exp(), 1.25_f64.powf(warp.above));
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

    #[test]
    fn draws_are_told_as_shares_of_all() {
        // By hand: 384, 128 and 0 of 512.
        let sureness = Sureness {
            draws: 512,
            counts: [384, 128, 0],
            repeatability_pct: [3.0, 5.0],
            parts_factor: None,
            least_pct: 75.0,
        };
        let [first, second, third] = LotVerdict::ALL;
        assert_eq!([first, second, third].map(|verdict| sureness.pct(verdict)), [75.0, 25.0, 0.0]);
        assert_eq!([first, second, third].map(|verdict| sureness.is_unsure(verdict)), [false, true, true]);
    }

    #[test]
    fn a_draw_loses_a_layer_that_is_the_same_share_of_its_median() {
        // By hand: of a median of 100 µm the jar leaves 80, so of one drawn at 110 it takes 22 µm off every grain, the coarse ones and
        // the fine ones.
        let [before, after] = [log_normal(100.0, 1.3), log_normal(80.0, 1.3)].map(|record| record.distribution);
        let worn = WornDraw::new(&before, &after).unwrap();
        let drawn = Warp { pivot_ln: 100.0_f64.ln(), shift: 1.1_f64.ln(), below: 1.2, above: 1.2 };
        let on_skin = worn.warp(&drawn);
        for share in [0.25, 0.5, 0.9] {
            let size = before.quantile(share);
            let left = drawn.forward(size.ln()).exp() - 22.0;
            assert!((on_skin.forward((size - 20.0).ln()).exp() / left - 1.0).abs() < 1e-9, "{share}");
        }
        assert!(WornDraw::new(&before, &before).is_none());
    }

    /// In a shared rub the square of the index is linear in the amount: two assessments tell where it is 1, and how steep.
    #[test]
    fn a_walk_finds_amount_and_slope_of_a_shared_rub() {
        let tables = Tables::built_in().unwrap();
        let judge = Judge::new(&tables).unwrap();
        let scrub = scrub(165.0, 2.0, 5.0, &tables);
        let case = case_of(&judge, &tables, &scrub);
        let judged = case.judge(&table(log_normal(165.0 * 1.05, 1.25))).unwrap();
        let inputs = Inputs::new(&judged.scrub, &tables, judge.model().reference_position());
        let drawing = Drawing::new(&judge, &judged.scrub, inputs);
        let mut rework = Rework::new(&case, &judged, &judged.scrub, drawing.rubber(Vary::Powders));
        let warps = [Warp::NONE; BLOCK];
        let first = rework.at(&warps, &[1.0; BLOCK]);
        let walked = rework.walked(&warps, &first)[0].unwrap();
        let square = |load: f64, mass: f64| {
            let powders = judged.scrub.blend.components().iter().zip([1.0, mass]);
            let powders = powders.map(|(c, by)| (c.powder.clone(), Parts::new(c.parts.get() * by).unwrap()));
            let blend = Blend::new(powders.collect()).unwrap();
            let made = Scrub { blend, load: LoadPercent::new(load).unwrap(), ..judged.scrub.clone() };
            (judge.assess(&made).figures.index / judged.before.figures.index).powi(2)
        };
        // Two of six parts at 5 %: a tenth less of them is a thirtieth less of all.
        let (less, stated) = (square(5.0 * (1.0 - 0.1 / 3.0), 0.9), square(5.0, 1.0));
        let slope = -0.1 / (less - stated);
        let amount = 1.0 + (1.0 - stated) * slope;
        assert!((walked.0 / amount - 1.0).abs() < 1e-3, "{} {amount}", walked.0);
        assert!((walked.1 / slope - 1.0).abs() < 0.02, "{} {slope}", walked.1);
    }
}
