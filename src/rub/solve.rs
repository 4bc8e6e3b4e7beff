//! The balance of one rub: the gap, the load the grains carry, and what their grooves come to.

use super::contact::contact_at;
use super::population::{Grains, Population};
use crate::numerics::panel::{self, ORDER, Values};
use crate::numerics::roots;
use crate::tables::{ModelConstants, Site};
use gritwise_kernel::groove::{edge_keeping, groove_at, keenness, relative_depth, relative_section};
use gritwise_kernel::{Contact, SPHERES, squeeze};
use serde::Serialize;
use std::array::from_fn;

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

/// Last Newton step, relative, when the gap is solved.
const GAP_TOLERANCE: f64 = 1e-5;

/// Last Newton step, relative, when a groove percentile is solved: the error left is of its square.
const DEPTH_STEP: f64 = 3e-4;

/// The same for the grain size of a groove depth. Near the gap the depth goes as (x − h)^(3/2), so that a loose size there
/// would be a looser depth.
const SIZE_STEP: f64 = 1e-5;

/// Solves the rub at a site. `volumes` holds the volume of each powder per mass of scrub, cm³/g
/// ([`Population::volumes`]).
pub fn rub(population: &Population, volumes: &[f64], site: &Site, constants: &ModelConstants) -> SiteRub {
    let contact = contact_at(site, constants);
    let layers: Vec<f64> = volumes.iter().map(|v| v * site.dose_g_m2).collect();
    let (squeezed, partition, _) = settled(population, &layers, &contact, site);
    let gap_um = squeezed.first().map_or(site.gap_um, |s| s.gap_um);
    let mut ploughed: Vec<Ploughing> = Vec::with_capacity(layers.len());
    let mut severity = Vec::with_capacity(layers.len());
    let mut removal = 0.0;
    for (grains, layer) in squeezed.into_iter().zip(&layers) {
        let edge = edge_keeping(grains.grains.hardness_gpa(), constants.half_kept_gpa());
        let powder = Ploughing::new(grains, *layer, &contact, constants);
        removal += edge * powder.section;
        severity.push(edge * powder.section_depth2);
        ploughed.push(powder);
    }
    let load: f64 = ploughed.iter().map(|p| p.load).sum();
    let (groove_p50_um, groove_p95_um) = groove_percentiles(&ploughed, load);
    let carried = if partition == Partition::GrainBorne { 1.0 } else { load / (site.pressure_kpa * 1e-3) };
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

/// The grains squeezed at the gap at which the rub settles, who carries it, and how much the grains carry, MPa.
pub(super) fn settled<'a>(
    population: &'a Population,
    layers: &[f64],
    contact: &Contact,
    site: &Site,
) -> (Vec<Squeezed<'a>>, Partition, f64) {
    let pressure = site.pressure_kpa * 1e-3;
    let squeezed = squeeze_all(population, site.gap_um);
    let load = load_mpa(&squeezed, layers, contact);
    if load <= pressure {
        return (squeezed, Partition::Shared, load);
    }
    let gap_um = balance_gap(population, layers, contact, site.gap_um, pressure);
    (squeeze_all(population, gap_um), Partition::GrainBorne, pressure)
}

/// What a powder does in a shared rub, per unit of its volume per mass of scrub (1 cm³/g). There everything is linear in
/// these volumes, so the responses of several powders add up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Response {
    /// Pressure carried at the least gap, MPa.
    pub load_mpa: f64,
    /// Depth-weighted removal, µm².
    pub severity: f64,
    /// Part of the load that lies on grooves deeper than the depth asked for, MPa.
    pub load_deeper_mpa: f64,
}

/// The response of a powder at a site's least gap; `depth_um` is the groove depth beyond which load is counted apart.
pub fn response(grains: &Grains, site: &Site, constants: &ModelConstants, depth_um: f64) -> Response {
    let contact = contact_at(site, constants);
    let ploughing = Ploughing::new(Squeezed::new(grains, site.gap_um), site.dose_g_m2, &contact, constants);
    let (shallower, _) = ploughing.load_below(depth_um);
    Response {
        load_mpa: ploughing.load,
        severity: edge_keeping(grains.hardness_gpa(), constants.half_kept_gpa()) * ploughing.section_depth2,
        load_deeper_mpa: (ploughing.load - shallower).max(0.0),
    }
}

/// Pressure that the grains carry at a gap, MPa. `layers` holds each powder's layer, µm.
pub fn carried_mpa(population: &Population, layers: &[f64], contact: &Contact, gap_um: f64) -> f64 {
    load_mpa(&squeeze_all(population, gap_um), layers, contact)
}

fn squeeze_all<'a>(population: &'a Population, gap_um: f64) -> Vec<Squeezed<'a>> {
    population.grains.iter().map(|g| Squeezed::new(g, gap_um)).collect()
}

fn load_mpa(squeezed: &[Squeezed], layers: &[f64], contact: &Contact) -> f64 {
    SPHERES * contact.stiffness() * squeezed.iter().zip(layers).map(|(s, layer)| layer * s.integral()).sum::<f64>()
}

/// The gap above `least` at which the grains carry `pressure`. The carried load falls strictly with the gap; to the power
/// 2/3 it is nearly straight in it, so Newton's steps are good from the start.
fn balance_gap(population: &Population, layers: &[f64], contact: &Contact, least: f64, pressure: f64) -> f64 {
    let scale = SPHERES * contact.stiffness();
    let short = |gap: f64| {
        let parts = population.grains.iter().zip(layers).map(|(g, layer)| {
            let (load, slope) = Squeezed::new(g, gap).integral_and_slope();
            (layer * load, layer * slope)
        });
        let (load, slope) = parts.fold((0.0, 0.0), |sum, part| (sum.0 + part.0, sum.1 + part.1));
        let root = (scale * load).cbrt();
        (pressure.cbrt().powi(2) - root * root, -2.0 / 3.0 * scale * slope / root)
    };
    let largest = population.grains.iter().map(|g| g.largest_um()).fold(least, f64::max);
    let (value, slope) = short(least);
    roots::newton_bracketed(short, least, largest, least - value / slope, GAP_TOLERANCE)
}

/// The grains of one powder that a gap squeezes: whole panels above it, and the panel that it cuts.
pub(super) struct Squeezed<'a> {
    pub grains: &'a Grains,
    pub gap_um: f64,
    pub first_whole: usize,
    pub cut: Option<CutPanel>,
}

/// The nodes of the panel that the gap cuts, in ln x = ln h + w s²: with this the load's (x − h)^(3/2) becomes s³, which
/// Gauss nodes integrate and interpolate without loss.
pub(super) struct CutPanel {
    pub width_ln: f64,
    pub size: Values,
    pub inverse_size: Values,
    pub share: Values,
}

impl<'a> Squeezed<'a> {
    fn new(grains: &'a Grains, gap_um: f64) -> Self {
        let first_whole = grains.first_whole_panel(gap_um);
        // No panel is cut when the gap lies below the first or above the last.
        let is_cut = first_whole > 0 && first_whole <= grains.panel_count();
        let cut = is_cut.then(|| CutPanel::new(grains, grains.panels().edges_ln[first_whole], gap_um));
        Self { grains, gap_um, first_whole, cut }
    }

    /// ∫ q/x dQ3, µm⁻¹.
    fn integral(&self) -> f64 {
        self.sum_over_nodes(|inverse_size| squeeze(self.gap_um, inverse_size))
    }

    /// The integral and its slope by the gap, −3/2 ∫ √(1 − h/x) / x² dQ3. The moving end adds nothing: q is 0 there.
    fn integral_and_slope(&self) -> (f64, f64) {
        let root = |inverse_size: f64| (1.0 - self.gap_um * inverse_size).max(0.0).sqrt();
        (self.integral(), -1.5 * self.sum_over_nodes(|inverse_size| inverse_size * root(inverse_size)))
    }

    /// ∫ f(1/x) / x dQ3 over the grains wider than the gap.
    fn sum_over_nodes(&self, f: impl Fn(f64) -> f64) -> f64 {
        let panel_sum = |inverse_size: &Values, share: &Values| -> f64 {
            let terms: Values = from_fn(|k| share[k] * inverse_size[k] * f(inverse_size[k]));
            terms.iter().sum()
        };
        let cut = self.cut.as_ref().map_or(0.0, |c| panel_sum(&c.inverse_size, &c.share));
        let whole = (self.first_whole..self.grains.panel_count()).map(|i| {
            let (_, inverse_size, share) = self.grains.panel(i);
            panel_sum(inverse_size, share)
        });
        cut + whole.sum::<f64>()
    }
}

impl CutPanel {
    fn new(grains: &Grains, upper_ln: f64, gap_um: f64) -> Self {
        let rule = panel::rule();
        let gap_ln = gap_um.ln();
        let width_ln = upper_ln - gap_ln;
        let mut cut = Self { width_ln, size: [0.0; ORDER], inverse_size: [0.0; ORDER], share: [0.0; ORDER] };
        for k in 0..ORDER {
            let s = rule.node[k];
            let above = width_ln * s * s;
            cut.size[k] = gap_um * above.exp();
            cut.inverse_size[k] = 1.0 / cut.size[k];
            cut.share[k] = 2.0 * width_ln * s * rule.weight[k] * grains.distribution().density_ln(gap_ln + above);
        }
        cut
    }
}

/// A grain size at which grooves were worked out.
struct SizeNode {
    size_um: f64,
    /// Groove depth, µm; it rises with the size.
    depth_um: f64,
    /// Load that the node stands for, MPa.
    load_mpa: f64,
}

/// A panel's load: below it, and its density per unit of the panel's own coordinate at the nodes, MPa.
struct PanelLoad {
    before: f64,
    density: Values,
}

/// The grooves of one powder at the solved gap: sums, and depth and load along its sizes for the percentiles.
struct Ploughing<'a> {
    squeezed: Squeezed<'a>,
    /// K of u² = K (1 − h/x)^(3/2).
    keenness: f64,
    nodes: Vec<SizeNode>,
    /// The cut panel first, if there is one.
    panels: Vec<PanelLoad>,
    /// Smallest grain that touches and the depth of its groove, µm.
    shallowest: (f64, f64),
    /// Largest grain and the depth of its groove, µm.
    deepest: (f64, f64),
    load: f64,
    /// ∫ n A dx, dimensionless.
    section: f64,
    /// ∫ n A g² dx, µm².
    section_depth2: f64,
}

impl<'a> Ploughing<'a> {
    fn new(squeezed: Squeezed<'a>, layer: f64, contact: &Contact, constants: &ModelConstants) -> Self {
        let grains = squeezed.grains;
        let roundness = grains.roundness();
        let panels = grains.panel_count().saturating_sub(squeezed.first_whole) + 1;
        let mut ploughing = Self {
            keenness: keenness(contact, roundness, constants.horn_hardness_mpa),
            nodes: Vec::with_capacity(panels * ORDER),
            panels: Vec::with_capacity(panels),
            shallowest: (squeezed.gap_um, 0.0),
            deepest: (squeezed.gap_um, 0.0),
            load: 0.0,
            section: 0.0,
            section_depth2: 0.0,
            squeezed,
        };
        let count = layer * SPHERES;
        let load_scale = count * contact.stiffness();
        if let Some(cut) = ploughing.squeezed.cut.take() {
            ploughing.add_panel(&cut.size, &cut.inverse_size, &cut.share, load_scale);
            ploughing.squeezed.cut = Some(cut);
        }
        for panel in ploughing.squeezed.first_whole..grains.panel_count() {
            let (size, inverse_size, share) = grains.panel(panel);
            ploughing.add_panel(size, inverse_size, share, load_scale);
        }
        let gap_um = ploughing.squeezed.gap_um;
        let groove = |size: f64| (size, ploughing.depth_at(size).0);
        let (smallest, largest) = (groove(grains.smallest_um().max(gap_um)), groove(grains.largest_um().max(gap_um)));
        if ploughing.squeezed.cut.is_none() {
            ploughing.shallowest = smallest;
        }
        ploughing.deepest = largest;
        // r² = (R_w x / 2)² was left out of the sums, and so was the number of grains per volume.
        let quarter = 0.25 * roundness * roundness;
        ploughing.section *= count * quarter;
        ploughing.section_depth2 *= count * quarter * quarter;
        ploughing
    }

    /// Adds one panel's nodes. A is r² times its relative section and n is V / (π x³ / 6), so n A goes as 1/x and n A g²
    /// as x.
    fn add_panel(&mut self, size: &Values, inverse_size: &Values, share: &Values, load_scale: f64) {
        let (gap, keenness) = (self.squeezed.gap_um, self.keenness);
        let tip = 0.5 * self.squeezed.grains.roundness();
        // One quantity at a time over the nodes: these loops run two nodes at once.
        let q: Values = from_fn(|k| squeeze(gap, inverse_size[k]));
        let depth = q.map(|q| relative_depth(keenness * q));
        let section = q.map(|q| relative_section(keenness * q));
        let weighted: Values = from_fn(|k| share[k] * inverse_size[k]);
        let load: Values = from_fn(|k| load_scale * weighted[k] * q[k]);
        let before = self.load;
        for k in 0..ORDER {
            self.section += weighted[k] * section[k];
            self.section_depth2 += share[k] * size[k] * section[k] * depth[k] * depth[k];
            self.nodes.push(SizeNode { size_um: size[k], depth_um: tip * size[k] * depth[k], load_mpa: load[k] });
            self.load += load[k];
        }
        let weight = &panel::rule().weight;
        let panel = PanelLoad { before, density: from_fn(|k| load[k] / weight[k]) };
        self.panels.push(panel);
    }

    /// Number of nodes whose grooves are shallower than `depth` µm.
    fn nodes_below(&self, depth: f64) -> usize {
        self.nodes.partition_point(|n| n.depth_um < depth)
    }

    /// Depth of the groove of a grain, µm, and its slope by size.
    fn depth_at(&self, size: f64) -> (f64, f64) {
        groove_at(size, self.squeezed.gap_um, self.keenness, 0.5 * self.squeezed.grains.roundness())
    }

    /// Load on grains whose grooves are shallower than `depth` µm, MPa, and its slope by depth.
    fn load_below(&self, depth: f64) -> (f64, f64) {
        if self.nodes.is_empty() || depth <= self.shallowest.1 {
            return (0.0, 0.0);
        }
        if depth >= self.deepest.1 {
            return (self.load, 0.0);
        }
        let i = self.nodes_below(depth);
        let groove = |n: &SizeNode| (n.size_um, n.depth_um);
        let (lo, at_lo) = if i == 0 { self.shallowest } else { groove(&self.nodes[i - 1]) };
        let (hi, at_hi) = self.nodes.get(i).map_or(self.deepest, groove);
        let mut last_slope = 0.0;
        let off = |x: f64| {
            let (value, slope) = self.depth_at(x);
            last_slope = slope;
            (value - depth, slope)
        };
        let guess = lo + (hi - lo) * (depth - at_lo) / (at_hi - at_lo);
        let size = roots::newton_bracketed(off, lo, hi, guess, SIZE_STEP);
        let (panel, s, stretch) = self.locate(size);
        let (integral, density) = panel::rule().running(&self.panels[panel].density, s);
        // d(load)/d(depth) = density per coordinate · d(coordinate)/d(ln x) / (x d(depth)/dx).
        (self.panels[panel].before + integral, density.max(0.0) / (stretch * size * last_slope))
    }

    /// Panel (counted from the cut one), coordinate in it, and d(ln x)/d(coordinate) there.
    fn locate(&self, size: f64) -> (usize, f64, f64) {
        let edges = &self.squeezed.grains.panels().edges_ln;
        let first = self.squeezed.first_whole;
        let ln_x = size.ln();
        if let Some(cut) = self.squeezed.cut.as_ref().filter(|_| ln_x < edges[first]) {
            let s = ((ln_x - self.squeezed.gap_um.ln()).max(0.0) / cut.width_ln).sqrt().clamp(1e-9, 1.0);
            return (0, s, 2.0 * cut.width_ln * s);
        }
        let last = edges.len() - 2;
        let i = edges.partition_point(|&e| e <= ln_x).saturating_sub(1).clamp(first.min(last), last);
        let width = edges[i + 1] - edges[i];
        let cut = usize::from(self.squeezed.cut.is_some());
        (i - first + cut, ((ln_x - edges[i]) / width).clamp(0.0, 1.0), width)
    }
}

/// Median and 95th percentile of groove depth, weighted by load, over all powders.
fn groove_percentiles(ploughed: &[Ploughing], load: f64) -> (f64, f64) {
    if load.is_nan() || load <= 0.0 {
        return (0.0, 0.0);
    }
    let deepest = ploughed.iter().map(|p| p.deepest.1).fold(0.0, f64::max);
    let targets = [0.5 * load, 0.95 * load];
    let guesses = rough_percentiles(ploughed, targets);
    let percentile = |i: usize| {
        let below = |depth: f64| {
            ploughed.iter().fold((-targets[i], 0.0), |(value, slope), p| {
                let (v, s) = p.load_below(depth);
                (value + v, slope + s)
            })
        };
        roots::newton_bracketed(below, 0.0, deepest, guesses[i], DEPTH_STEP)
    };
    (percentile(0), percentile(1))
}

/// Depths near those below which each of `targets` (rising, MPa) of the load lies: the nodes of all powders are taken in
/// order of depth until their loads add up to it.
fn rough_percentiles(ploughed: &[Ploughing], targets: [f64; 2]) -> [f64; 2] {
    let mut heads: Vec<std::slice::Iter<SizeNode>> = ploughed.iter().map(|p| p.nodes.iter()).collect();
    let mut guesses = [0.0; 2];
    let (mut sum, mut last_depth, mut found) = (0.0, 0.0, 0);
    while found < targets.len() {
        let depth_of =
            |head: &std::slice::Iter<SizeNode>| head.as_slice().first().map_or(f64::INFINITY, |n| n.depth_um);
        let nearest = heads.iter_mut().min_by(|a, b| depth_of(a).total_cmp(&depth_of(b)));
        let Some(node) = nearest.and_then(Iterator::next) else { break };
        // A node stands for the load on both its sides.
        let middle = sum + 0.5 * node.load_mpa;
        while found < targets.len() && middle >= targets[found] {
            guesses[found] = 0.5 * (last_depth + node.depth_um);
            found += 1;
        }
        sum += node.load_mpa;
        last_depth = node.depth_um;
    }
    for guess in &mut guesses[found..] {
        *guess = last_depth;
    }
    guesses
}
