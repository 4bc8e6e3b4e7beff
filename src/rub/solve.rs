//! The balance of one rub: the gap, the load the grains carry, and what their grooves come to.

use super::contact::{Contact, squeeze};
use super::groove::{bluntness, edge_keeping, relative_depth, relative_depth_slope, relative_section};
use super::population::{Grains, Population};
use crate::numerics::panel::{self, ORDER, Values};
use crate::numerics::roots;
use crate::tables::{ModelConstants, Site};
use serde::Serialize;
use std::f64::consts::PI;

/// Who carries the rub.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Partition {
    /// At the least gap the grains carry less than the rub; product film and skin carry the rest.
    Shared,
    /// The grains carry all of it and hold the bodies further apart.
    GrainBorne,
}

impl Partition {
    /// As people write it.
    pub fn label(self) -> &'static str {
        match self {
            Self::Shared => "shared",
            Self::GrainBorne => "grain-borne",
        }
    }
}

/// The rub at one site.
#[derive(Debug, Clone, PartialEq)]
pub struct SiteRub {
    /// Gap between finger pad and skin, µm.
    pub gap_um: f64,
    /// Share of the rub pressure that the grains carry, 0..1.
    pub carried: f64,
    /// Who carries the rub.
    pub partition: Partition,
    /// Median groove depth, weighted by load, µm; 0 when no grain touches.
    pub groove_p50_um: f64,
    /// Groove depth below which 95 % of the load lies, µm.
    pub groove_p95_um: f64,
    /// Horn removed per sliding distance, µm per m.
    pub removal_um_per_m: f64,
    /// Depth-weighted removal S of each powder, µm² (removal per length, times depth squared).
    pub severity: Vec<f64>,
}

impl SiteRub {
    /// Depth-weighted removal of all powders together.
    pub fn total_severity(&self) -> f64 {
        self.severity.iter().sum()
    }
}

/// Grains in a volume V of spheres of size x: V / (π x³ / 6).
const SPHERES: f64 = 6.0 / PI;

/// How closely the gap is solved, relative to itself.
const GAP_TOLERANCE: f64 = 1e-11;

/// Solves the rub at a site. `volumes` holds the volume of each powder per mass of scrub, cm³/g
/// ([`Population::volumes`]).
pub fn rub(population: &Population, volumes: &[f64], site: &Site, constants: &ModelConstants) -> SiteRub {
    let contact = Contact::at(site, constants);
    let layers: Vec<f64> = volumes.iter().map(|v| v * site.dose_g_m2).collect();
    let pressure = site.pressure_kpa * 1e-3;
    let at_least_gap = carried_mpa(population, &layers, &contact, site.gap_um);
    let (gap_um, partition) = if at_least_gap <= pressure {
        (site.gap_um, Partition::Shared)
    } else {
        (balance_gap(population, &layers, &contact, site.gap_um, pressure), Partition::GrainBorne)
    };
    let mut ploughed: Vec<Ploughing> = Vec::with_capacity(layers.len());
    let mut severity = Vec::with_capacity(layers.len());
    let mut removal = 0.0;
    for (grains, layer) in population.grains.iter().zip(&layers) {
        let powder = Ploughing::new(grains, *layer, &contact, gap_um, constants);
        let edge = edge_keeping(grains.hardness_gpa(), constants);
        removal += edge * powder.section;
        severity.push(edge * powder.section_depth2);
        ploughed.push(powder);
    }
    let load: f64 = ploughed.iter().map(|p| p.load).sum();
    let (groove_p50_um, groove_p95_um) = groove_percentiles(&ploughed, load);
    let carried = if partition == Partition::GrainBorne { 1.0 } else { load / pressure };
    SiteRub {
        gap_um,
        carried,
        partition,
        groove_p50_um,
        groove_p95_um,
        removal_um_per_m: constants.debris_share * removal * 1e6,
        severity,
    }
}

/// Pressure that the grains carry at a gap, MPa. `layers` holds each powder's layer, µm.
pub fn carried_mpa(population: &Population, layers: &[f64], contact: &Contact, gap_um: f64) -> f64 {
    let sum: f64 = population.grains.iter().zip(layers).map(|(g, layer)| layer * squeezed(g, gap_um)).sum();
    SPHERES * contact.stiffness() * sum
}

/// ∫ q/x dQ3 over one powder, µm⁻¹: whole panels from their nodes, the panel cut by the gap from nodes of its own.
fn squeezed(grains: &Grains, gap_um: f64) -> f64 {
    let first = grains.first_whole_panel(gap_um);
    let (inverse_size, share) = grains.nodes_from(first);
    let whole: f64 = inverse_size.iter().zip(share).map(|(&i, &v)| v * i * squeeze(gap_um, i)).sum();
    match CutPanel::new(grains, first, gap_um) {
        Some(cut) => {
            let parts = (0..ORDER).map(|k| cut.share[k] * cut.inverse_size[k] * squeeze(gap_um, cut.inverse_size[k]));
            whole + parts.sum::<f64>()
        }
        None => whole,
    }
}

/// The gap above `least` at which the grains carry `pressure`. The carried load falls strictly with the gap.
fn balance_gap(population: &Population, layers: &[f64], contact: &Contact, least: f64, pressure: f64) -> f64 {
    let largest = population.grains.iter().map(Grains::largest_um).fold(least, f64::max);
    // To the power 2/3 the load is nearly straight in the gap, which makes the root finder's steps good.
    let off = |gap: f64| carried_mpa(population, layers, contact, gap).cbrt().powi(2) - pressure.cbrt().powi(2);
    roots::brent(off, least, largest, GAP_TOLERANCE * least).unwrap_or(least)
}

/// The nodes of the panel that the gap cuts, in ln x = ln h + w s²: with this the load's (x − h)^(3/2) becomes s³, which
/// Gauss nodes integrate and interpolate without loss.
struct CutPanel {
    width_ln: f64,
    inverse_size: Values,
    size: Values,
    share: Values,
}

impl CutPanel {
    fn new(grains: &Grains, first_whole: usize, gap_um: f64) -> Option<Self> {
        // No panel is cut when the gap lies below the first or above the last.
        if first_whole == 0 || first_whole > grains.panel_count() {
            return None;
        }
        let rule = panel::rule();
        let gap_ln = gap_um.ln();
        let width_ln = grains.panels().edges_ln[first_whole] - gap_ln;
        let mut cut = Self { width_ln, inverse_size: [0.0; ORDER], size: [0.0; ORDER], share: [0.0; ORDER] };
        for k in 0..ORDER {
            let s = rule.node[k];
            let above = width_ln * s * s;
            cut.size[k] = gap_um * above.exp();
            cut.inverse_size[k] = 1.0 / cut.size[k];
            cut.share[k] = 2.0 * width_ln * s * rule.weight[k] * grains.distribution().density_ln(gap_ln + above);
        }
        Some(cut)
    }
}

/// The grooves of one powder at the solved gap: sums, and depth and load along its sizes for the percentiles.
struct Ploughing<'a> {
    grains: &'a Grains<'a>,
    gap_um: f64,
    /// K of u² = K (1 − h/x)^(3/2).
    bluntness: f64,
    first_whole: usize,
    cut_width_ln: Option<f64>,
    /// Groove depth at each node, µm, rising.
    depth: Vec<f64>,
    /// Node sizes, µm.
    size: Vec<f64>,
    /// Load density per unit of the panel's own coordinate, MPa; one entry per panel (the cut one first).
    load_density: Vec<Values>,
    /// Load below each panel, MPa.
    load_before: Vec<f64>,
    load: f64,
    /// ∫ n A dx, dimensionless.
    section: f64,
    /// ∫ n A g² dx, µm².
    section_depth2: f64,
}

impl<'a> Ploughing<'a> {
    fn new(grains: &'a Grains<'a>, layer: f64, contact: &Contact, gap_um: f64, constants: &ModelConstants) -> Self {
        let roundness = grains.roundness();
        let bluntness = bluntness(contact, roundness, constants);
        let first_whole = grains.first_whole_panel(gap_um);
        let panels = grains.panel_count().saturating_sub(first_whole) + 1;
        let mut ploughing = Self {
            grains,
            gap_um,
            bluntness,
            first_whole,
            cut_width_ln: None,
            depth: Vec::with_capacity(panels * ORDER),
            size: Vec::with_capacity(panels * ORDER),
            load_density: Vec::with_capacity(panels),
            load_before: Vec::with_capacity(panels),
            load: 0.0,
            section: 0.0,
            section_depth2: 0.0,
        };
        let count = layer * SPHERES;
        let load_scale = count * contact.stiffness();
        if let Some(cut) = CutPanel::new(grains, first_whole, gap_um) {
            ploughing.cut_width_ln = Some(cut.width_ln);
            ploughing.add_panel(&cut.size, &cut.inverse_size, &cut.share, load_scale);
        }
        let (inverse_size, share) = grains.nodes_from(first_whole);
        let size = &grains.panels().size_um[grains.panels().size_um.len() - inverse_size.len()..];
        let nodes = size.chunks_exact(ORDER).zip(inverse_size.chunks_exact(ORDER)).zip(share.chunks_exact(ORDER));
        for ((size, inverse_size), share) in nodes {
            ploughing.add_panel(size, inverse_size, share, load_scale);
        }
        // r² = (R_w x / 2)² was left out of the sums, and so was the number of grains per volume.
        let quarter = 0.25 * roundness * roundness;
        ploughing.section *= count * quarter;
        ploughing.section_depth2 *= count * quarter * quarter;
        ploughing
    }

    /// Adds one panel's nodes. A is r² times its relative section and n is V / (π x³ / 6), so n A goes as 1/x and n A g²
    /// as x.
    fn add_panel(&mut self, size: &[f64], inverse_size: &[f64], share: &[f64], load_scale: f64) {
        let rule = panel::rule();
        let tip = 0.5 * self.grains.roundness();
        let mut density = [0.0; ORDER];
        let mut load = 0.0;
        for k in 0..ORDER {
            let q = squeeze(self.gap_um, inverse_size[k]);
            let u2 = self.bluntness * q;
            let (depth, section) = (relative_depth(u2), relative_section(u2));
            let weighted = share[k] * inverse_size[k];
            self.section += weighted * section;
            self.section_depth2 += share[k] * size[k] * section * depth * depth;
            load += weighted * q;
            density[k] = load_scale * weighted * q / rule.weight[k];
            self.depth.push(tip * size[k] * depth);
            self.size.push(size[k]);
        }
        self.load_before.push(self.load);
        self.load_density.push(density);
        self.load += load_scale * load;
    }

    /// Depth of the groove of a grain, µm, and its slope by size.
    fn depth_at(&self, size: f64) -> (f64, f64) {
        let ratio = self.gap_um / size;
        let q = (1.0 - ratio).max(0.0);
        let u2 = self.bluntness * q * q.sqrt();
        let tip = 0.5 * self.grains.roundness();
        let depth = relative_depth(u2);
        let u2_slope = 1.5 * self.bluntness * q.sqrt() * ratio / size;
        (tip * size * depth, tip * (depth + size * relative_depth_slope(u2) * u2_slope))
    }

    /// Load on grains whose grooves are shallower than `depth` µm, MPa, and its slope by depth.
    fn load_below(&self, depth: f64) -> (f64, f64) {
        let Some(&deepest) = self.depth.last() else { return (0.0, 0.0) };
        let largest = self.grains.largest_um();
        if depth > deepest && depth >= self.depth_at(largest).0 {
            return (self.load, 0.0);
        }
        let node = self.depth.partition_point(|&d| d < depth);
        let lo = if node == 0 { self.lowest_size() } else { self.size[node - 1] };
        let hi = if node == self.size.len() { largest } else { self.size[node] };
        let size = roots::newton_bracketed(
            |x| {
                let (value, slope) = self.depth_at(x);
                (value - depth, slope)
            },
            lo,
            hi,
            0.5 * (lo + hi),
            1e-10,
        );
        let (panel, s, stretch) = self.locate(size);
        let (integral, density) = panel::rule().running(&self.load_density[panel], s);
        // d(load)/d(depth) = density per coordinate · d(coordinate)/d(ln x) / (x d(depth)/dx).
        let slope = density.max(0.0) / stretch / (size * self.depth_at(size).1);
        (self.load_before[panel] + integral, slope)
    }

    fn lowest_size(&self) -> f64 {
        match self.cut_width_ln {
            Some(_) => self.gap_um,
            None => self.grains.panels().edges_ln.first().map_or(self.gap_um, |e| e.exp()),
        }
    }

    /// Panel (counted from the cut one), coordinate in it, and d(ln x)/d(coordinate) there.
    fn locate(&self, size: f64) -> (usize, f64, f64) {
        let edges = &self.grains.panels().edges_ln;
        let ln_x = size.ln();
        if let Some(width) = self.cut_width_ln.filter(|_| ln_x < edges[self.first_whole]) {
            let s = ((ln_x - self.gap_um.ln()).max(0.0) / width).sqrt().clamp(1e-9, 1.0);
            return (0, s, 2.0 * width * s);
        }
        let last = edges.len() - 2;
        let i = edges.partition_point(|&e| e <= ln_x).saturating_sub(1).clamp(self.first_whole.min(last), last);
        let width = edges[i + 1] - edges[i];
        let cut = usize::from(self.cut_width_ln.is_some());
        (i - self.first_whole + cut, ((ln_x - edges[i]) / width).clamp(0.0, 1.0), width)
    }
}

/// Median and 95th percentile of groove depth, weighted by load, over all powders.
fn groove_percentiles(ploughed: &[Ploughing], load: f64) -> (f64, f64) {
    if load.is_nan() || load <= 0.0 {
        return (0.0, 0.0);
    }
    // Mean and spread place the first guesses; both cost one pass.
    let rule = panel::rule();
    let (mut first, mut second, mut deepest) = (0.0, 0.0, 0.0_f64);
    for p in ploughed {
        for (i, d) in p.depth.iter().enumerate() {
            let part = p.load_density[i / ORDER][i % ORDER] * rule.weight[i % ORDER];
            first += part * d;
            second += part * d * d;
        }
        if !p.depth.is_empty() {
            deepest = deepest.max(p.depth_at(p.grains.largest_um()).0);
        }
    }
    let mean = first / load;
    let spread = (second / load - mean * mean).max(0.0).sqrt();
    let percentile = |share: f64, guess: f64| {
        let target = share * load;
        let below = |depth: f64| {
            ploughed.iter().fold((-target, 0.0), |(value, slope), p| {
                let (v, s) = p.load_below(depth);
                (value + v, slope + s)
            })
        };
        roots::newton_bracketed(below, 0.0, deepest, guess, 1e-7)
    };
    (percentile(0.5, mean), percentile(0.95, mean + 1.6 * spread))
}
