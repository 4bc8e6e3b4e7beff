//! One block of drawn scrubs after another, rubbed and judged: index, groove ratios, band.

use super::inputs::{Drawn, Inputs, Vary};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::numerics::lanes::{LANES, Lanes, Level, Simd, on_registers};
use crate::rub::{GrainBlock, Settled, SkinBlock};
use crate::size::{StandingPanels, Warp, d99_um};
use fearless_simd::prelude::*;
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
    panels: Vec<StandingPanels>,
    reference: StandingPanels,
    mass_shares: Vec<f64>,
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
        let mut drawn = from_fn(|_| inputs.stated().clone());
        inputs.draw(&vec![OFF_CENTRE; inputs.dimensions()], Vary::All, &mut drawn);
        let panels = sizes.iter().zip(&drawn[0].powders).map(|(sizes, powder)| {
            let warp = &powder.warp;
            StandingPanels::new(sizes, floor_um, (warp.below != warp.above).then_some(warp.pivot_ln))
        });
        Self {
            judge,
            panels: panels.collect(),
            reference: StandingPanels::new(judge.model().reference_sizes(), floor_um, None),
            mass_shares: scrub.blend.mass_shares(),
            sites_of_bands: (0..judge.bands().len()).map(|rank| judge.site_of(rank)).collect(),
            inputs,
        }
    }

    /// Something that draws the inputs that vary.
    pub fn rubber(&self, vary: Vary) -> Rubber<'_> {
        let mut reference = GrainBlock::new(&self.reference);
        (0..BLOCK).for_each(|lane| reference.set(lane, 1.0, 1.0, 0.0, &Warp::NONE));
        on_registers!(Level::new(), simd => reference.lay_out(simd));
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
            drawn: from_fn(|_| self.inputs.stated().clone()),
            figures: vec![figures; BLOCK],
        }
    }
}

/// Draws and rubs, with room of its own to work in.
pub struct Rubber<'d> {
    drawing: &'d Drawing<'d>,
    vary: Vary,
    grains: Vec<GrainBlock<'d>>,
    reference: [GrainBlock<'d>; 1],
    drawn: [Drawn; BLOCK],
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
            let found = on_registers!(Level::new(), simd => {
                let rub = Settled::new(simd, &mut self.grains, &skin);
                self.index(&rub, &skin).to_array()
            });
            indices.iter_mut().zip(found).for_each(|(index, found)| *index = f64::from(found));
        }
    }

    /// All figures of the scrub at up to [`BLOCK`] points of the unit cube, one after another in `points`.
    pub fn figures(&mut self, points: &[f64]) -> &[DrawnFigures] {
        let count = self.draw(points);
        let d99 =
            on_registers!(Level::new(), simd => d99_um(simd, self.grains.iter().map(GrainBlock::sizes)).to_array());
        let reference = self.drawing.judge.model().reference_position();
        for site in 0..self.drawn[0].sites.len() {
            let skin = skin(&self.drawn, site);
            let (depths, indices) = on_registers!(Level::new(), simd => {
                let rub = Settled::new(simd, &mut self.grains, &skin);
                let depths = rub.groove_p95_um(&self.grains).to_array();
                (depths, if site == reference { Some(self.index(&rub, &skin).to_array()) } else { None })
            });
            for (lane, figures) in self.figures[..count].iter_mut().enumerate() {
                figures.groove_ratios[site] = f64::from(depths[lane]) / self.drawn[lane].sites[site].stratum_corneum_um;
                figures.index = indices.map_or(figures.index, |indices| f64::from(indices[lane]));
            }
        }
        for (lane, d99) in d99.into_iter().enumerate().take(count) {
            self.figures[lane].d99_um = f64::from(d99);
            self.figures[lane].rank = self.rank(&self.figures[lane]);
        }
        &self.figures[..count]
    }

    /// Draws the grains and the skin, and lays out the grains; a block that is not full goes on with its last point. How many there are.
    fn draw(&mut self, points: &[f64]) -> usize {
        let drawing = self.drawing;
        let count = drawing.inputs.draw(points, self.vary, &mut self.drawn);
        for (lane, drawn) in self.drawn.iter().enumerate() {
            for ((grains, powder), share) in self.grains.iter_mut().zip(&drawn.powders).zip(&drawing.mass_shares) {
                let volume = drawn.load * share / powder.density_g_cm3;
                grains.set(lane, powder.hardness_gpa, powder.roundness, volume, &powder.warp);
            }
            let constants = &drawn.constants;
            let volume = constants.reference_load_pct / 100.0 / constants.reference_density_g_cm3;
            let (hardness, roundness) = (constants.reference_hardness_gpa, constants.reference_roundness);
            self.reference[0].set(lane, hardness, roundness, volume, &Warp::NONE);
        }
        for grains in &mut self.grains {
            on_registers!(Level::new(), simd => grains.lay_out(simd));
        }
        count
    }

    /// Index of every draw from its rub at the reference site. The reference scrub is rubbed on the same skin.
    #[inline(always)]
    fn index<S: Simd>(&mut self, rub: &Settled<S>, skin: &SkinBlock) -> Lanes<S> {
        let severity = rub.severity(&self.grains);
        let of_reference = Settled::new(severity.simd, &mut self.reference, skin).severity(&self.reference);
        (severity / of_reference).sqrt() * 100.0
    }

    fn rank(&self, figures: &DrawnFigures) -> usize {
        let drawing = self.drawing;
        let meets = |rank: &usize| {
            let ratio = figures.groove_ratios[drawing.sites_of_bands[*rank]];
            drawing.judge.meets(*rank, ratio, figures.index, figures.d99_um)
        };
        (0..drawing.sites_of_bands.len()).find(meets).unwrap_or(drawing.sites_of_bands.len())
    }
}

fn skin(drawn: &[Drawn; BLOCK], site: usize) -> SkinBlock {
    SkinBlock::new(drawn.iter().map(|drawn| (&drawn.sites[site], &drawn.constants)))
}
