//! The grains of a blend, laid out for the rub: nodes of every powder's size distribution, taken once and used at every
//! site, share and load.

use crate::blend::Blend;
use crate::numerics::panel::Values;
use crate::size::{SizeDistribution, SizePanels};

/// Grains of one powder.
#[derive(Debug, Clone)]
pub struct Grains<'a> {
    distribution: &'a SizeDistribution,
    panels: SizePanels,
    /// 1 / size of each node, µm⁻¹.
    inverse_size: Vec<Values>,
    edge_um: Vec<f64>,
    density_g_cm3: f64,
    hardness_gpa: f64,
    roundness: f64,
}

impl<'a> Grains<'a> {
    /// Lays out the grains above `floor_um`; finer ones never touch both skin and finger.
    pub fn new(
        distribution: &'a SizeDistribution,
        density_g_cm3: f64,
        hardness_gpa: f64,
        roundness: f64,
        floor_um: f64,
    ) -> Self {
        let panels = distribution.panels_above(floor_um);
        let inverse_size = panels.size_um.iter().map(|panel| panel.map(|x| 1.0 / x)).collect();
        let edge_um = panels.edges_ln.iter().map(|e| e.exp()).collect();
        Self { distribution, panels, inverse_size, edge_um, density_g_cm3, hardness_gpa, roundness }
    }

    /// Envelope density, g/cm³.
    pub fn density_g_cm3(&self) -> f64 {
        self.density_g_cm3
    }

    pub(super) fn hardness_gpa(&self) -> f64 {
        self.hardness_gpa
    }

    pub(super) fn roundness(&self) -> f64 {
        self.roundness
    }

    pub(super) fn distribution(&self) -> &'a SizeDistribution {
        self.distribution
    }

    pub(super) fn panels(&self) -> &SizePanels {
        &self.panels
    }

    /// Largest size with any grains, µm; 0 when all are below the floor.
    pub(super) fn largest_um(&self) -> f64 {
        self.edge_um.last().copied().unwrap_or(0.0)
    }

    /// Lower end of the lowest panel, µm; 0 when all grains are below the floor.
    pub(super) fn smallest_um(&self) -> f64 {
        self.edge_um.first().copied().unwrap_or(0.0)
    }

    /// First panel that lies wholly above the gap.
    pub(super) fn first_whole_panel(&self, gap_um: f64) -> usize {
        self.edge_um.partition_point(|&e| e < gap_um)
    }

    /// Number of panels.
    pub(super) fn panel_count(&self) -> usize {
        self.edge_um.len().saturating_sub(1)
    }

    /// Sizes, their inverses and volume shares at the nodes of a panel.
    pub(super) fn panel(&self, i: usize) -> (&Values, &Values, &Values) {
        (&self.panels.size_um[i], &self.inverse_size[i], &self.panels.share[i])
    }
}

/// The grains of all powders of a blend.
#[derive(Debug, Clone)]
pub struct Population<'a> {
    /// One entry per powder, in the blend's order.
    pub grains: Vec<Grains<'a>>,
}

impl<'a> Population<'a> {
    /// From a blend; `floor_um` is the least gap of all sites that will be asked for.
    pub fn new(blend: &'a Blend, floor_um: f64) -> Self {
        let grains = blend.components().iter().map(|c| {
            let p = &c.powder;
            Grains::new(&p.size.distribution, p.density.get(), p.hardness.get(), p.roundness.get(), floor_um)
        });
        Self { grains: grains.collect() }
    }

    /// Volume that each powder brings per mass of scrub, cm³/g: load · w / ρ. Times the dose in g/m² this is the powder's
    /// layer in µm.
    pub fn volumes(&self, mass_shares: &[f64], load: f64) -> Vec<f64> {
        self.grains.iter().zip(mass_shares).map(|(g, w)| load * w / g.density_g_cm3).collect()
    }
}
