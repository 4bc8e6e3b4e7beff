//! One block of drawn scrubs after another, rubbed and judged: index, groove ratios, band.

use super::inputs::{Drawn, Inputs, Vary};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::rub::{GrainBlock, Lanes, Settled, SkinBlock};
use crate::size::{SizeDistribution, StandingPanels, Warp, Warped, mixture_quantile_ln};
use std::array::from_fn;

/// Draws that are worked out side by side.
pub const BLOCK: usize = 8;

/// Last Newton step of ln D99, relative.
const D99_STEP: f64 = 1e-4;

/// Of the least gap of all sites, below which no sizes are laid out: gaps are drawn, and sizes move.
const FLOOR: f64 = 1.0 / 3.0;

/// A point at which every input is off its stated value.
const OFF_CENTRE: f64 = 0.3;

/// What is laid out once for all draws of a scrub.
pub struct Drawing<'a> {
    judge: &'a Judge,
    /// The inputs.
    pub inputs: Inputs,
    sizes: Vec<&'a SizeDistribution>,
    panels: Vec<StandingPanels>,
    reference: StandingPanels,
    mass_shares: Vec<f64>,
    /// ln D99 of each powder as stated.
    d99_ln: Vec<f64>,
    sites_of_bands: Vec<usize>,
}

/// What a drawn scrub is judged by.
#[derive(Debug, Clone, PartialEq)]
pub struct DrawnFigures {
    /// Abrasiveness index.
    pub index: f64,
    /// Groove ratio at each site.
    pub groove_ratios: Vec<f64>,
    /// D99 of the blend by volume, µm.
    pub d99_um: f64,
    /// Rank of its band.
    pub rank: usize,
}

impl<'a> Drawing<'a> {
    /// Lays out a scrub.
    pub fn new(judge: &'a Judge, scrub: &'a Scrub, inputs: Inputs) -> Self {
        let sizes: Vec<_> = scrub.blend.components().iter().map(|c| &c.powder.size.distribution).collect();
        let floor_um = FLOOR * judge.model().floor_um();
        let mut drawn = inputs.stated().clone();
        inputs.draw(&vec![OFF_CENTRE; inputs.dimensions()], Vary::All, &mut drawn);
        let panels = sizes.iter().zip(&drawn.powders).map(|(sizes, powder)| {
            let warp = &powder.warp;
            StandingPanels::new(sizes, floor_um, (warp.below != warp.above).then_some(warp.pivot_ln))
        });
        Self {
            judge,
            panels: panels.collect(),
            reference: StandingPanels::new(judge.model().reference_sizes(), floor_um, None),
            mass_shares: scrub.blend.mass_shares(),
            d99_ln: sizes.iter().map(|d| d.quantile(0.99).ln()).collect(),
            sites_of_bands: (0..judge.bands().len()).map(|rank| judge.site_of(rank)).collect(),
            sizes,
            inputs,
        }
    }

    /// Something that draws the inputs that vary.
    pub fn rubber(&self, vary: Vary) -> Rubber<'_> {
        let mut reference = GrainBlock::new(&self.reference);
        (0..BLOCK).for_each(|lane| reference.set(lane, 1.0, 1.0, 0.0, Warp::NONE));
        reference.lay_out();
        let figures = DrawnFigures {
            index: 0.0,
            groove_ratios: vec![0.0; self.judge.model().sites().len()],
            d99_um: 0.0,
            rank: 0,
        };
        Rubber {
            drawing: self,
            vary,
            grains: self.panels.iter().map(GrainBlock::new).collect(),
            reference: [reference],
            drawn: vec![self.inputs.stated().clone(); BLOCK],
            figures: vec![figures; BLOCK],
        }
    }
}

/// Draws and rubs, with room of its own to work in.
pub struct Rubber<'d> {
    drawing: &'d Drawing<'d>,
    vary: Vary,
    grains: Vec<GrainBlock<'d, BLOCK>>,
    reference: [GrainBlock<'d, BLOCK>; 1],
    drawn: Vec<Drawn>,
    figures: Vec<DrawnFigures>,
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
            let rub = Settled::new(&mut self.grains, &skin);
            let found = index(&rub, &self.grains, &mut self.reference, &skin);
            indices.copy_from_slice(&found[..indices.len()]);
        }
    }

    /// All figures of the scrub at up to [`BLOCK`] points of the unit cube, one after another in `points`.
    pub fn figures(&mut self, points: &[f64]) -> &[DrawnFigures] {
        let count = self.draw(points);
        let reference = self.drawing.judge.model().reference_position();
        for site in 0..self.drawn[0].sites.len() {
            let skin = skin(&self.drawn, site);
            let rub = Settled::new(&mut self.grains, &skin);
            for (lane, figures) in self.figures[..count].iter_mut().enumerate() {
                let depth = rub.groove_p95_um(&self.grains, lane);
                figures.groove_ratios[site] = depth / self.drawn[lane].sites[site].stratum_corneum_um;
            }
            if site == reference {
                let indices = index(&rub, &self.grains, &mut self.reference, &skin);
                self.figures.iter_mut().zip(indices).for_each(|(figures, index)| figures.index = index);
            }
        }
        for lane in 0..count {
            self.figures[lane].d99_um = self.d99_um(lane);
            self.figures[lane].rank = self.rank(&self.figures[lane]);
        }
        &self.figures[..count]
    }

    /// Draws and lays out the grains; a block that is not full goes on with its last point. How many there are.
    fn draw(&mut self, points: &[f64]) -> usize {
        let drawing = self.drawing;
        let dimensions = drawing.inputs.dimensions();
        let count = (points.len() / dimensions).min(BLOCK);
        for (lane, drawn) in self.drawn.iter_mut().enumerate() {
            let point = dimensions * lane.min(count - 1);
            drawing.inputs.draw(&points[point..point + dimensions], self.vary, drawn);
            for ((grains, powder), share) in self.grains.iter_mut().zip(&drawn.powders).zip(&drawing.mass_shares) {
                let volume = drawn.load * share / powder.density_g_cm3;
                grains.set(lane, powder.hardness_gpa, powder.roundness, volume, powder.warp);
            }
            let constants = &drawn.constants;
            let volume = constants.reference_load_pct / 100.0 / constants.reference_density_g_cm3;
            let (hardness, roundness) = (constants.reference_hardness_gpa, constants.reference_roundness);
            self.reference[0].set(lane, hardness, roundness, volume, Warp::NONE);
        }
        self.grains.iter_mut().for_each(GrainBlock::lay_out);
        count
    }

    fn rank(&self, figures: &DrawnFigures) -> usize {
        let drawing = self.drawing;
        let meets = |rank: &usize| {
            let ratio = figures.groove_ratios[drawing.sites_of_bands[*rank]];
            drawing.judge.meets(*rank, ratio, figures.index, figures.d99_um)
        };
        (0..drawing.sites_of_bands.len()).find(meets).unwrap_or(drawing.sites_of_bands.len())
    }

    fn d99_um(&self, lane: usize) -> f64 {
        let powders = self.drawing.sizes.iter().zip(&self.drawn[lane].powders);
        let parts = powders.zip(&self.grains).zip(&self.drawing.d99_ln).map(|(((sizes, powder), grains), d99_ln)| {
            (grains.volume[lane], Warped::new(sizes, powder.warp), powder.warp.forward(*d99_ln))
        });
        mixture_quantile_ln(0.99, &parts.collect::<Vec<_>>(), D99_STEP).exp()
    }
}

fn skin(drawn: &[Drawn], site: usize) -> SkinBlock<'_, BLOCK> {
    SkinBlock::new(from_fn(|lane| (&drawn[lane].sites[site], &drawn[lane].constants)))
}

/// Index of every draw of a block from its rub at the reference site. The reference scrub is rubbed on the same skin.
fn index(
    rub: &Settled<BLOCK>,
    grains: &[GrainBlock<BLOCK>],
    reference: &mut [GrainBlock<BLOCK>; 1],
    skin: &SkinBlock<BLOCK>,
) -> Lanes<BLOCK> {
    let severity = rub.severity(grains);
    let of_reference = Settled::new(reference, skin).severity(reference);
    from_fn(|lane| 100.0 * (severity[lane] / of_reference[lane]).sqrt())
}
