//! One drawn scrub after another, rubbed and judged: index, groove ratios, band.

use super::inputs::{Drawn, Inputs, Vary};
use crate::band::Judge;
use crate::blend::Scrub;
use crate::rub::{Population, Wanted, brief_rub};
use crate::size::{Warped, mixture_quantile_ln};

/// Last Newton step of ln D99, relative.
const D99_STEP: f64 = 1e-5;

/// Below any gap, µm: the reference scrub is laid out once for all of them.
const LEAST_FLOOR_UM: f64 = 1e-3;

/// What is laid out once for all draws of a scrub.
pub struct Drawing<'a> {
    judge: &'a Judge,
    /// The inputs.
    pub inputs: Inputs,
    stated: Population<'a>,
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
        let powders = scrub.blend.components().iter().map(|c| &c.powder);
        Self {
            judge,
            inputs,
            // All sizes: where the gap will be is not known yet.
            stated: Population::new(&scrub.blend, 0.0),
            mass_shares: scrub.blend.mass_shares(),
            d99_ln: powders.map(|p| p.size.distribution.quantile(0.99).ln()).collect(),
            sites_of_bands: (0..judge.bands().len()).map(|rank| judge.site_of(rank)).collect(),
        }
    }

    /// Something that draws the inputs that vary.
    pub fn rubber(&self, vary: Vary) -> Rubber<'_> {
        let judge = self.judge;
        Rubber {
            drawing: self,
            vary,
            population: Population { grains: self.stated.grains.clone() },
            reference: Population { grains: vec![judge.model().reference_grains(LEAST_FLOOR_UM)] },
            drawn: self.inputs.stated().clone(),
            figures: DrawnFigures {
                index: 0.0,
                groove_ratios: vec![0.0; judge.model().sites().len()],
                d99_um: 0.0,
                rank: 0,
            },
        }
    }
}

/// Draws and rubs, with room of its own to work in.
pub struct Rubber<'d> {
    drawing: &'d Drawing<'d>,
    vary: Vary,
    population: Population<'d>,
    reference: Population<'d>,
    drawn: Drawn,
    figures: DrawnFigures,
}

impl Rubber<'_> {
    /// The last draw.
    pub fn drawn(&self) -> &Drawn {
        &self.drawn
    }

    /// Index of the scrub at a point of the unit cube.
    pub fn index(&mut self, u: &[f64]) -> f64 {
        self.drawing.inputs.draw(u, self.vary, &mut self.drawn);
        let floor = self.drawn.sites[self.drawing.judge.model().reference_position()].gap_um;
        let volumes = self.lay_out(floor);
        self.index_of(&volumes, false).0
    }

    /// All figures of the scrub at a point of the unit cube.
    pub fn figures(&mut self, u: &[f64]) -> &DrawnFigures {
        let drawing = self.drawing;
        drawing.inputs.draw(u, self.vary, &mut self.drawn);
        let floor = self.drawn.sites.iter().map(|s| s.gap_um).fold(f64::INFINITY, f64::min);
        let volumes = self.lay_out(floor);
        let reference = drawing.judge.model().reference_position();
        let (index, depth) = self.index_of(&volumes, true);
        self.figures.index = index;
        for (i, site) in self.drawn.sites.iter().enumerate() {
            let wanted = Wanted { severity: false, depth: true };
            let depth = match i == reference {
                true => depth,
                false => brief_rub(&self.population, &volumes, site, &self.drawn.constants, wanted).groove_p95_um,
            };
            self.figures.groove_ratios[i] = depth / site.stratum_corneum_um;
        }
        self.figures.d99_um = self.d99_um(&volumes);
        let figures = &self.figures;
        let meets = |rank: &usize| {
            let ratio = figures.groove_ratios[drawing.sites_of_bands[*rank]];
            drawing.judge.meets(*rank, ratio, figures.index, figures.d99_um)
        };
        self.figures.rank = (0..drawing.sites_of_bands.len()).find(meets).unwrap_or(drawing.sites_of_bands.len());
        &self.figures
    }

    /// Lays out the drawn grains above a size and returns the volume of each powder, cm³ per g of scrub.
    fn lay_out(&mut self, floor_um: f64) -> Vec<f64> {
        let drawing = self.drawing;
        let grains = self.population.grains.iter_mut().zip(&drawing.stated.grains).zip(&self.drawn.powders);
        for ((grains, stated), powder) in grains {
            let properties = [powder.density_g_cm3, powder.hardness_gpa, powder.roundness];
            grains.become_warped(stated, powder.warp, properties, floor_um);
        }
        self.population.volumes(&drawing.mass_shares, self.drawn.load)
    }

    /// Index, and groove depth at the reference site if `depth` is asked for. The reference scrub is rubbed on the same skin.
    fn index_of(&mut self, volumes: &[f64], depth: bool) -> (f64, f64) {
        let model = self.drawing.judge.model();
        let (site, constants) = (&self.drawn.sites[model.reference_position()], &self.drawn.constants);
        let rub = brief_rub(&self.population, volumes, site, constants, Wanted { severity: true, depth });
        let load = self.reference.volumes(&[1.0], constants.reference_load_pct / 100.0);
        let wanted = Wanted { severity: true, depth: false };
        let reference = brief_rub(&self.reference, &load, site, constants, wanted).severity;
        (100.0 * (rub.severity / reference).sqrt(), rub.groove_p95_um)
    }

    fn d99_um(&self, volumes: &[f64]) -> f64 {
        let powders = self.drawing.stated.grains.iter().zip(&self.drawn.powders);
        let parts = powders.zip(volumes).zip(&self.drawing.d99_ln).map(|(((grains, powder), volume), d99_ln)| {
            (*volume, Warped::new(grains.stated_sizes(), powder.warp), powder.warp.forward(*d99_ln))
        });
        mixture_quantile_ln(0.99, &parts.collect::<Vec<_>>(), D99_STEP).exp()
    }
}
