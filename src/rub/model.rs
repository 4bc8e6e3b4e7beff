//! The whole rub of a scrub: the reference rub, which gives the abrasiveness index, and the rub at every site.

use super::population::{Grains, Population};
use super::solve::{SiteRub, rub};
use crate::size::SizeDistribution;
use crate::size::SizeError;
use crate::size::law::Law;
use crate::tables::{ModelConstants, REFERENCE_SITE, Site, Tables};
use crate::units::Micrometres;

/// Sites and constants in force, and the reference scrub's depth-weighted removal.
#[derive(Debug, Clone)]
pub struct RubModel {
    sites: Vec<Site>,
    constants: ModelConstants,
    reference_site: usize,
    reference_sizes: SizeDistribution,
    reference_severity: f64,
    /// Groove ratio of the reference scrub at each site.
    reference_ratios: Vec<f64>,
}

/// A scrub's rub at all sites.
#[derive(Debug, Clone, PartialEq)]
pub struct Rubbed {
    /// The grains that were rubbed.
    pub population: Population,
    /// What each powder brings of them, as of [`Population::volumes`].
    pub volumes: Vec<f64>,
    /// AI = 100 √(S / S_ref), both at the reference rub.
    pub index: f64,
    /// Each powder's share of the index, that is of S, 0..1; zeros when nothing rubs.
    pub index_shares: Vec<f64>,
    /// The rub at each site, in the order of [`RubModel::sites`].
    pub sites: Vec<SiteRub>,
    /// Which of them is the reference rub.
    pub reference_site: usize,
}

impl Rubbed {
    /// The reference rub.
    pub fn reference(&self) -> &SiteRub {
        &self.sites[self.reference_site]
    }
}

impl RubModel {
    /// From the tables in force.
    ///
    /// # Errors
    /// [`SizeError`] when the reference scrub's constants make no distribution.
    pub fn new(tables: &Tables) -> Result<Self, SizeError> {
        Self::with_constants(tables.site_values(), tables.constants.values())
    }

    /// From sites, the reference site among them, and constants.
    ///
    /// # Errors
    /// As [`RubModel::new`].
    pub fn with_constants(sites: Vec<Site>, constants: ModelConstants) -> Result<Self, SizeError> {
        let reference_site = sites.iter().position(|s| s.name == REFERENCE_SITE).unwrap_or(0);
        let law = Law::log_normal(Micrometres::new(constants.reference_d50_um)?, constants.reference_gsd)?;
        let reference_sizes = SizeDistribution::from(law);
        let floor_um = sites.iter().map(|s| s.gap_um).fold(f64::INFINITY, f64::min);
        let population = Population::from_iter([reference_grains(&reference_sizes, &constants, floor_um)]);
        let volumes = population.volumes(&[1.0], constants.reference_load_pct / 100.0);
        let rubs: Vec<SiteRub> = sites.iter().map(|site| rub(&population, &volumes, site, &constants)).collect();
        let reference_severity = rubs[reference_site].total_severity();
        let ratios = rubs.iter().zip(&sites).map(|(rub, site)| rub.groove_p95_um / site.stratum_corneum_um);
        let reference_ratios = ratios.collect();
        Ok(Self { sites, constants, reference_site, reference_sizes, reference_severity, reference_ratios })
    }

    /// The sites in force.
    pub fn sites(&self) -> &[Site] {
        &self.sites
    }

    /// The constants in force.
    pub fn constants(&self) -> &ModelConstants {
        &self.constants
    }

    /// The least gap of all sites, µm: grains finer than this never rub.
    pub fn floor_um(&self) -> f64 {
        self.sites.iter().map(|s| s.gap_um).fold(f64::INFINITY, f64::min)
    }

    /// The site of the reference rub.
    pub fn reference_site(&self) -> &Site {
        &self.sites[self.reference_site]
    }

    /// The sizes of the reference scrub.
    pub(crate) fn reference_sizes(&self) -> &SizeDistribution {
        &self.reference_sizes
    }

    /// Groove ratio of the reference scrub at each site, as stated.
    pub(crate) fn reference_ratios(&self) -> &[f64] {
        &self.reference_ratios
    }

    /// Position of the reference rub's site in [`RubModel::sites`].
    pub(crate) fn reference_position(&self) -> usize {
        self.reference_site
    }

    /// The rub at one site. `volumes` as of [`Population::volumes`].
    pub(crate) fn rub_at(&self, site: usize, population: &Population, volumes: &[f64]) -> SiteRub {
        rub(population, volumes, &self.sites[site], &self.constants)
    }

    /// AI of a scrub from its reference rub.
    pub(crate) fn index(&self, reference: &SiteRub) -> f64 {
        100.0 * (reference.total_severity() / self.reference_severity).sqrt()
    }

    /// The depth-weighted removal at which a scrub has this index, µm²: [`RubModel::index`] the other way.
    pub(crate) fn severity_at(&self, index: f64) -> f64 {
        self.reference_severity * (index / 100.0).powi(2)
    }

    /// Rubs a scrub at every site. `mass_shares` are the powders' shares of the blend, `load` the blend's mass fraction of
    /// the scrub.
    pub fn evaluate(&self, population: &Population, mass_shares: &[f64], load: f64) -> Rubbed {
        let volumes = population.volumes(mass_shares, load);
        let sites: Vec<SiteRub> = (0..self.sites.len()).map(|i| self.rub_at(i, population, &volumes)).collect();
        let reference = &sites[self.reference_site];
        let total = reference.total_severity();
        let share = |s: &f64| if total > 0.0 { s / total } else { 0.0 };
        Rubbed {
            population: population.clone(),
            index: self.index(reference),
            index_shares: reference.severity.iter().map(share).collect(),
            sites,
            reference_site: self.reference_site,
            volumes,
        }
    }
}

fn reference_grains(sizes: &SizeDistribution, constants: &ModelConstants, floor_um: f64) -> Grains {
    Grains::new(
        sizes,
        constants.reference_density_g_cm3,
        constants.reference_hardness_gpa,
        constants.reference_roundness,
        floor_um,
    )
}
