//! The grains of a blend, laid out for the rub: nodes of every powder's size distribution, taken once and used at every
//! site, share and load.

use crate::blend::Blend;
use crate::numerics::panel::Values;
use crate::powder::Powder;
use crate::size::{SizeDistribution, SizePanels};
use std::sync::Arc;

/// Grains of one powder.
#[derive(Debug, Clone, PartialEq)]
pub struct Grains {
    distribution: SizeDistribution,
    panels: SizePanels,
    /// 1 / size of each node, µm⁻¹.
    inverse_size: Vec<Values>,
    edge_um: Vec<f64>,
    density_g_cm3: f64,
    hardness_gpa: f64,
    roundness: f64,
}

impl Grains {
    /// Lays out the grains above `floor_um`; finer ones never touch both skin and finger.
    pub fn new(
        distribution: &SizeDistribution,
        density_g_cm3: f64,
        hardness_gpa: f64,
        roundness: f64,
        floor_um: f64,
    ) -> Self {
        let panels = distribution.panels_above(floor_um);
        let inverse_size = panels.size_um.iter().map(|panel| panel.map(|x| 1.0 / x)).collect();
        let edge_um = panels.edges_ln.iter().map(|e| e.exp()).collect();
        let distribution = distribution.clone();
        Self { distribution, panels, inverse_size, edge_um, density_g_cm3, hardness_gpa, roundness }
    }

    /// The same of a powder, as it stands.
    pub fn of(powder: &Powder, floor_um: f64) -> Self {
        Self::new(
            &powder.size.distribution,
            powder.density.get(),
            powder.hardness.get(),
            powder.roundness.get(),
            floor_um,
        )
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

    pub(super) fn distribution(&self) -> &SizeDistribution {
        &self.distribution
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

/// The grains of all powders of a blend. A copy shares what is laid out.
#[derive(Debug, Clone, PartialEq)]
pub struct Population {
    /// One entry per powder, in the blend's order.
    pub grains: Vec<Arc<Grains>>,
}

impl FromIterator<Grains> for Population {
    fn from_iter<I: IntoIterator<Item = Grains>>(grains: I) -> Self {
        Self { grains: grains.into_iter().map(Arc::new).collect() }
    }
}

impl Population {
    /// From a blend; `floor_um` is the least gap of all sites that will be asked for.
    pub fn new(blend: &Blend, floor_um: f64) -> Self {
        blend.components().iter().map(|c| Grains::of(&c.powder, floor_um)).collect()
    }

    /// The same with the grains of the powder at one place laid out anew.
    pub fn with_powder(&self, place: usize, powder: &Powder, floor_um: f64) -> Self {
        let mut grains = self.grains.clone();
        grains[place] = Arc::new(Grains::of(powder, floor_um));
        Self { grains }
    }

    /// Volume that each powder brings per mass of scrub, cm³/g: load · w / ρ. Times the dose in g/m² this is the powder's
    /// layer in µm.
    pub fn volumes(&self, mass_shares: &[f64], load: f64) -> Vec<f64> {
        self.grains.iter().zip(mass_shares).map(|(g, w)| load * w / g.density_g_cm3).collect()
    }
}
