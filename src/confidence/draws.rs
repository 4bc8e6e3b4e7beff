//! One block of drawn scrubs after another, rubbed and judged: index, groove ratios, band.

use super::inputs::{Drawn, Inputs, Vary};
use crate::band::{Judge, LookedAt};
use crate::blend::Scrub;
use crate::rub::skin_at;
use crate::size::Warp;
use gritwise_kernel::{
    GrainBlock, LANES, LaneRow, SkinBlock, StandingPanels, d99_um, grooves_and_severities, grooves_p95_um,
    lane_by_lane, severities as severities_of,
};
use std::array::from_fn;

/// Draws that are worked out side by side.
pub const BLOCK: usize = LANES;

/// Of the least gap of all sites, below which no sizes are laid out: gaps are drawn, and sizes move.
const FLOOR: f64 = 1.0 / 3.0;

/// A point at which every input is off its stated value.
const OFF_CENTRE: f64 = 0.3;

/// What is laid out once for all draws of a scrub.
pub struct Drawing<'a> {
    judge: &'a Judge,
    /// The inputs.
    pub inputs: Inputs,
    /// In the order that the powders are added up in.
    panels: Vec<StandingPanels>,
    reference: StandingPanels,
    /// Shares of what rubs at first and, where some of it dissolves, of what is left then: each draw is judged by the graver.
    moments: Vec<Vec<f64>>,
    /// Whether the trade keeps a powder off the face.
    kept_off: Vec<bool>,
    /// How much of what is there at each moment, % by mass.
    not_on_face_pct: Vec<f64>,
    sites_of_bands: Vec<usize>,
}

/// What a drawn scrub is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnFigures {
    /// Abrasiveness index.
    pub index: f64,
    /// Groove ratio at each site.
    pub groove_ratios: Vec<f64>,
    /// The same as it is judged: where limits move along with the reference scrub, the ratio moved back (at sites that a rank hung on).
    pub judged_ratios: Vec<f64>,
    /// D99 of the blend by volume, µm.
    pub d99_um: f64,
    /// Rank of its band.
    pub rank: usize,
}

impl<'a> Drawing<'a> {
    /// Lays out a scrub.
    pub fn new(judge: &'a Judge, scrub: &'a Scrub, inputs: Inputs) -> Self {
        let components = scrub.blend.components();
        let floor_um = FLOOR * judge.model().floor_um();
        let mut drawn = from_fn(|_| inputs.stated().clone());
        inputs.draw(&vec![OFF_CENTRE; inputs.dimensions()], Vary::All, &mut drawn);
        let panels = inputs.order().iter().map(|place| {
            let (sizes, warp) = (&components[*place].powder.size.distribution, &drawn[0].powders[*place].warp);
            sizes.standing_panels(floor_um, (warp.below != warp.above).then_some(warp.pivot_ln))
        });
        let shares = scrub.blend.mass_shares();
        let left = scrub.blend.undissolved(&shares);
        let moments: Vec<Vec<f64>> = std::iter::once(shares).chain(left).collect();
        Self {
            judge,
            panels: panels.collect(),
            reference: judge.model().reference_sizes().standing_panels(floor_um, None),
            kept_off: components.iter().map(|c| c.powder.not_on_face().is_some()).collect(),
            not_on_face_pct: moments.iter().map(|there| scrub.blend.not_on_face_pct(there)).collect(),
            moments,
            sites_of_bands: (0..judge.bands().len()).map(|rank| judge.site_of(rank)).collect(),
            inputs,
        }
    }

    /// Something that draws the inputs that vary.
    pub fn rubber(&self, vary: Vary) -> Rubber<'_> {
        let mut reference = GrainBlock::new(&self.reference);
        (0..BLOCK).for_each(|lane| reference.set(lane, 1.0, 1.0, 0.0, &Warp::NONE));
        reference.lay_out();
        let figures = DrawnFigures {
            index: 0.0,
            groove_ratios: vec![0.0; self.judge.model().sites().len()],
            judged_ratios: vec![0.0; self.judge.model().sites().len()],
            d99_um: 0.0,
            rank: 0,
        };
        Rubber {
            drawing: self,
            vary,
            grains: self.panels.iter().map(GrainBlock::new).collect(),
            moment: 0,
            reference: [reference],
            drawn: from_fn(|_| self.inputs.stated().clone()),
            figures: vec![figures.clone(); BLOCK],
            gravest: vec![figures; BLOCK],
            reference_depths: None,
        }
    }
}

/// Draws and rubs, with room of its own to work in.
pub struct Rubber<'d> {
    drawing: &'d Drawing<'d>,
    vary: Vary,
    grains: Vec<GrainBlock<'d>>,
    /// The place in [`Drawing::moments`] of what is laid out.
    moment: usize,
    reference: [GrainBlock<'d>; 1],
    drawn: [Drawn; BLOCK],
    /// Of the moment that is laid out.
    figures: Vec<DrawnFigures>,
    /// Of the graver of all moments.
    gravest: Vec<DrawnFigures>,
    /// Grooves of the reference scrub at the reference site, where they came along with the index.
    reference_depths: Option<LaneRow>,
}

impl Rubber<'_> {
    /// The last draws.
    pub fn drawn(&self) -> &[Drawn] {
        &self.drawn
    }

    /// Index of the scrub at many points of the unit cube, one after another in `points`.
    pub fn indices(&mut self, points: &[f64], indices: &mut [f64]) {
        let dimensions = self.drawing.inputs.dimensions();
        for (points, indices) in points.chunks(BLOCK * dimensions).zip(indices.chunks_mut(BLOCK)) {
            self.draw(points);
            let skin = skin(&self.drawn, self.drawing.judge.model().reference_position());
            indices.fill(0.0);
            for moment in 0..self.drawing.moments.len() {
                self.lay_out(moment);
                let found = severities_of(&mut self.grains, &skin);
                let found = self.index(found, &skin);
                indices.iter_mut().zip(found).for_each(|(index, found)| *index = index.max(f64::from(found)));
            }
        }
    }

    /// All figures of the scrub at up to [`BLOCK`] points of the unit cube, one after another in `points`.
    pub fn figures(&mut self, points: &[f64]) -> &[DrawnFigures] {
        let count = self.draw(points);
        self.judged(count, false)
    }

    /// The same, with the groove ratios of every site as they are judged, whatever ranks hung on.
    pub(crate) fn moved_figures(&mut self, points: &[f64]) -> &[DrawnFigures] {
        let count = self.draw(points);
        self.judged(count, true)
    }

    /// All figures of the stated scrub with one powder, `place`, changed: up to [`BLOCK`] warps of its sizes, each with the powder's
    /// mass relative to the stated one, while all others keep theirs in the scrub. For a rubber that draws nothing else.
    pub(crate) fn changed(&mut self, place: usize, changes: &[(Warp, f64)]) -> &[DrawnFigures] {
        for (lane, drawn) in self.drawn.iter_mut().enumerate() {
            let (warp, amount) = changes[lane.min(changes.len() - 1)];
            (drawn.powders[place].warp, drawn.powders[place].amount) = (warp, amount);
        }
        self.judged(changes.len().min(BLOCK), false)
    }

    /// Rank and index of the scrub at up to [`BLOCK`] points: only the sites are rubbed that the bands left to ask look at.
    pub fn verdicts(&mut self, points: &[f64], mut each: impl FnMut(usize, f64)) {
        let count = self.draw(points);
        for moment in 0..self.drawing.moments.len() {
            self.lay_out(moment);
            self.rub_as_asked(count);
            self.keep_gravest(count);
        }
        self.gravest[..count].iter().for_each(|figures| each(figures.rank, figures.index));
    }

    fn rub_as_asked(&mut self, count: usize) {
        self.measure(count);
        let reference = self.drawing.judge.model().reference_position();
        let mut rubbed = vec![false; self.drawing.judge.model().sites().len()];
        self.rub_at(reference, count);
        rubbed[reference] = true;
        self.rank(count, |rubber, site| {
            if !std::mem::replace(&mut rubbed[site], true) {
                rubber.rub_at(site, count);
            }
        });
    }

    /// All figures of the first draws. `move_all` limits, or only those that a rank hangs on.
    fn judged(&mut self, count: usize, move_all: bool) -> &[DrawnFigures] {
        let sites = self.drawn[0].sites.len();
        for moment in 0..self.drawing.moments.len() {
            self.lay_out(moment);
            self.measure(count);
            (0..sites).for_each(|site| self.rub_at(site, count));
            self.rank(count, |_, _| {});
            if move_all {
                (0..sites).for_each(|site| self.move_limits(site, count));
            }
            self.keep_gravest(count);
        }
        &self.gravest[..count]
    }

    /// The mildest band of each draw; `ready` rubs a site before it is looked at.
    fn rank(&mut self, count: usize, mut ready: impl FnMut(&mut Self, usize)) {
        let bands = self.drawing.sites_of_bands.len();
        self.figures[..count].iter_mut().for_each(|figures| figures.rank = bands);
        // Limits are moved where a draw is still to be held against them: most are decided at the first site.
        let mut moved = vec![false; self.drawing.judge.model().sites().len()];
        for rank in 0..bands {
            if self.figures[..count].iter().all(|figures| figures.rank < rank) {
                break;
            }
            let site = self.drawing.sites_of_bands[rank];
            ready(self, site);
            if !std::mem::replace(&mut moved[site], true) {
                self.move_limits(site, count);
            }
            self.decide(rank, count);
        }
    }

    /// Of each figure the graver of all moments, as [`Judge::assess`] has it.
    fn keep_gravest(&mut self, count: usize) {
        let is_first = self.moment == 0;
        for (gravest, figures) in self.gravest[..count].iter_mut().zip(&self.figures) {
            let most = |own: &mut f64, other: f64| *own = if is_first { other } else { own.max(other) };
            most(&mut gravest.index, figures.index);
            most(&mut gravest.d99_um, figures.d99_um);
            gravest.groove_ratios.iter_mut().zip(&figures.groove_ratios).for_each(|(own, other)| most(own, *other));
            gravest.judged_ratios.iter_mut().zip(&figures.judged_ratios).for_each(|(own, other)| most(own, *other));
            gravest.rank = if is_first { figures.rank } else { gravest.rank.max(figures.rank) };
        }
    }

    /// Gives the rank of a band to the draws that meet it and no milder one.
    fn decide(&mut self, rank: usize, count: usize) {
        let bands = self.drawing.sites_of_bands.len();
        for lane in 0..count {
            if self.figures[lane].rank == bands && self.meets(rank, lane) {
                self.figures[lane].rank = rank;
            }
        }
    }

    /// Figures that need no rub.
    fn measure(&mut self, count: usize) {
        let d99 = d99_um(&self.grains);
        self.figures[..count].iter_mut().zip(d99).for_each(|(figures, d99)| figures.d99_um = f64::from(d99));
    }

    /// Groove ratios at a site, and the index where that is the reference site.
    fn rub_at(&mut self, site: usize, count: usize) {
        let skin = skin(&self.drawn, site);
        let (depths, indices) = if site == self.drawing.judge.model().reference_position() {
            let (depths, severities) = grooves_and_severities(&mut self.grains, &skin);
            let of_reference = if self.limits_move() {
                let (depths, severities) = grooves_and_severities(&mut self.reference, &skin);
                self.reference_depths = Some(depths);
                severities
            } else {
                severities_of(&mut self.reference, &skin)
            };
            (depths, Some(indices(severities, of_reference)))
        } else {
            (grooves_p95_um(&mut self.grains, &skin), None)
        };
        for (lane, figures) in self.figures[..count].iter_mut().enumerate() {
            let ratio = f64::from(depths[lane]) / self.drawn[lane].sites[site].stratum_corneum_um;
            figures.groove_ratios[site] = ratio;
            figures.judged_ratios[site] = ratio;
            figures.index = indices.map_or(figures.index, |indices| f64::from(indices[lane]));
        }
    }

    /// Moves the groove ratios at a site back by what the reference scrub does on the drawn skin, for the limits as they are stated.
    fn move_limits(&mut self, site: usize, count: usize) {
        if !self.limits_move() {
            return;
        }
        let at_reference = site == self.drawing.judge.model().reference_position();
        let known = self.reference_depths.take().filter(|_| at_reference);
        let depths = match known {
            Some(depths) => depths,
            None => grooves_p95_um(&mut self.reference, &skin(&self.drawn, site)),
        };
        let moved = self.moved_back(site, depths);
        let figures = self.figures[..count].iter_mut().zip(moved);
        figures.for_each(|(figures, moved)| figures.judged_ratios[site] = moved * figures.groove_ratios[site]);
    }

    /// Draws the grains and the skin; a block that is not full goes on with its last point. How many there are.
    fn draw(&mut self, points: &[f64]) -> usize {
        self.drawing.inputs.draw(points, self.vary, &mut self.drawn)
    }

    /// Lays out the grains of what is drawn, as they are at a moment.
    fn lay_out(&mut self, moment: usize) {
        self.moment = moment;
        let shares = &self.drawing.moments[moment];
        for (lane, drawn) in self.drawn.iter().enumerate() {
            for (grains, place) in self.grains.iter_mut().zip(self.drawing.inputs.order()) {
                let (powder, share) = (&drawn.powders[*place], shares[*place]);
                let volume = drawn.load * share * powder.amount / powder.density_g_cm3;
                grains.set(lane, powder.hardness_gpa, powder.roundness, volume, &powder.warp);
            }
            let constants = &drawn.constants;
            let volume = constants.reference_load_pct / 100.0 / constants.reference_density_g_cm3;
            let (hardness, roundness) = (constants.reference_hardness_gpa, constants.reference_roundness);
            self.reference[0].set(lane, hardness, roundness, volume, &Warp::NONE);
        }
        for grains in &mut self.grains {
            grains.lay_out();
        }
    }

    /// Index of every draw from its depth-weighted removal at the reference site. The reference scrub is rubbed on the same skin.
    fn index(&mut self, removal: LaneRow, skin: &SkinBlock) -> LaneRow {
        indices(removal, severities_of(&mut self.reference, skin))
    }

    /// Whether groove limits move along with the reference scrub.
    fn limits_move(&self) -> bool {
        self.vary.moves_limits() && self.vary != Vary::Powders
    }

    /// What a groove ratio of each draw is multiplied by to be held against the stated limits: the stated ratio of the reference scrub over
    /// the one that its groove depths have on the drawn skin.
    fn moved_back(&self, site: usize, depths: LaneRow) -> [f64; BLOCK] {
        let stated = self.drawing.judge.model().reference_ratios()[site];
        lane_by_lane(|lane| {
            let drawn = f64::from(depths[lane]) / self.drawn[lane].sites[site].stratum_corneum_um;
            if drawn > 0.0 { stated / drawn } else { 1.0 }
        })
    }

    /// What the trade keeps off the face, % of the powders of a draw that are there at the moment.
    fn not_on_face_pct(&self, lane: usize) -> f64 {
        let (drawing, powders) = (self.drawing, &self.drawn[lane].powders);
        if powders.iter().all(|p| p.amount == 1.0) {
            return drawing.not_on_face_pct[self.moment];
        }
        let shares = &drawing.moments[self.moment];
        let masses: Vec<f64> = powders.iter().zip(shares).map(|(p, share)| p.amount * share).collect();
        let kept_off = masses.iter().zip(&drawing.kept_off).filter(|(_, off)| **off);
        100.0 * kept_off.map(|(mass, _)| mass).sum::<f64>() / masses.iter().sum::<f64>()
    }

    /// Whether a draw meets a band, whose site is rubbed.
    fn meets(&self, rank: usize, lane: usize) -> bool {
        let (drawing, figures) = (self.drawing, &self.figures[lane]);
        let at = LookedAt {
            groove_ratio: figures.judged_ratios[drawing.sites_of_bands[rank]],
            index: figures.index,
            d99_um: figures.d99_um,
            not_on_face_pct: self.not_on_face_pct(lane),
        };
        drawing.judge.meets(rank, &at)
    }
}

/// Index of every draw from its depth-weighted removal and that of the reference scrub.
fn indices(removal: LaneRow, of_reference: LaneRow) -> LaneRow {
    lane_by_lane(|lane| (removal[lane] / of_reference[lane]).sqrt() * 100.0)
}

fn skin(drawn: &[Drawn; BLOCK], site: usize) -> SkinBlock {
    SkinBlock::new(drawn.iter().map(|drawn| skin_at(&drawn.sites[site], &drawn.constants)))
}
