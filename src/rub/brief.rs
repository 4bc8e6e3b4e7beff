//! A rub worked out only as far as index and groove ratio need it: the balance as in [`super::solve`], the depth-weighted removal
//! of all powders together, and the one groove percentile that bands look at, found from the deep end. For thousands of draws.

use super::contact::{Contact, squeeze};
use super::groove::{bluntness, edge_keeping, groove_at, relative_depth, relative_section};
use super::population::Population;
use super::solve::{SPHERES, Squeezed, settled};
use crate::numerics::panel::{self, ORDER, Values};
use crate::numerics::roots::newton_bracketed;
use crate::tables::{ModelConstants, Site};
use std::array::from_fn;

/// Share of the load on grooves deeper than the percentile.
const DEEPER: f64 = 0.05;

/// Of the load beyond the percentile, how little may be left out at the deep end of a powder: the last grains of a law's tail.
const LEFT_OUT: f64 = 1e-4;

/// Last Newton step, relative, of the percentile's depth: the error left is of its square.
const DEPTH_STEP: f64 = 3e-3;

/// The same of the grain size at a depth.
const SIZE_STEP: f64 = 1e-3;

/// What draws need of the rub at one site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BriefRub {
    /// Depth-weighted removal of all powders together, µm².
    pub severity: f64,
    /// Groove depth below which 95 % of the load lies, µm; 0 when no grain touches.
    pub groove_p95_um: f64,
}

/// Which of them are asked for; the other is 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// [`BriefRub::severity`].
    pub severity: bool,
    /// [`BriefRub::groove_p95_um`].
    pub depth: bool,
}

/// The rub at a site, arguments as of [`super::rub`].
pub fn brief_rub(
    population: &Population,
    volumes: &[f64],
    site: &Site,
    constants: &ModelConstants,
    wanted: Wanted,
) -> BriefRub {
    let contact = Contact::at(site, constants);
    let layers: Vec<f64> = volumes.iter().map(|v| v * site.dose_g_m2).collect();
    let (squeezed, _, load_mpa) = settled(population, &layers, &contact, site);
    let severity = |(s, layer): (&Squeezed, &f64)| {
        layer * severity(s, bluntness(&contact, s.grains.roundness(), constants), constants)
    };
    let severity = squeezed.iter().zip(&layers).filter(|_| wanted.severity).map(severity);
    let groove_p95_um = match wanted.depth {
        true => deep_percentile(&squeezed, &layers, &contact, constants, load_mpa / (SPHERES * contact.stiffness())),
        false => 0.0,
    };
    BriefRub { severity: SPHERES * severity.sum::<f64>(), groove_p95_um }
}

/// η ∫ n A g² dx of a powder, for a layer of 1 / [`SPHERES`].
fn severity(squeezed: &Squeezed, bluntness: f64, constants: &ModelConstants) -> f64 {
    let gap = squeezed.gap_um;
    let panel_sum = |size: &Values, inverse_size: &Values, share: &Values| -> f64 {
        let u2: Values = from_fn(|k| bluntness * squeeze(gap, inverse_size[k]));
        let depth = u2.map(relative_depth);
        let section = u2.map(relative_section);
        let terms: Values = from_fn(|k| share[k] * size[k] * section[k] * depth[k] * depth[k]);
        terms.iter().sum()
    };
    let mut sum = squeezed.cut.as_ref().map_or(0.0, |c| panel_sum(&c.size, &c.inverse_size, &c.share));
    for i in squeezed.first_whole..squeezed.grains.panel_count() {
        let (size, inverse_size, share) = squeezed.grains.panel(i);
        sum += panel_sum(size, inverse_size, share);
    }
    let quarter = 0.25 * squeezed.grains.roundness().powi(2);
    edge_keeping(squeezed.grains.hardness_gpa(), constants) * quarter * quarter * sum
}

/// A panel on the deep end of a powder's grooves.
struct DeepPanel {
    /// Lower end and width on the ln x axis; of the cut panel, the gap and what is above it.
    start_ln: f64,
    width_ln: f64,
    is_cut: bool,
    size: Values,
    depth: Values,
    load: Values,
    /// Load on panels above it.
    above: f64,
}

/// The grooves of one powder from the deepest down, panel by panel as they are asked for.
struct DeepEnd<'a> {
    squeezed: &'a Squeezed<'a>,
    bluntness: f64,
    load_scale: f64,
    /// From above down.
    panels: Vec<DeepPanel>,
    /// Panels not yet taken, the cut one among them.
    left: usize,
    /// The node next to be met going down, counted from above.
    head: usize,
    /// Largest grain and the depth of its groove, µm.
    deepest: (f64, f64),
}

impl<'a> DeepEnd<'a> {
    fn new(
        squeezed: &'a Squeezed<'a>,
        layer: f64,
        contact: &Contact,
        constants: &ModelConstants,
        left_out: f64,
    ) -> Self {
        let grains = squeezed.grains;
        let (mut whole, mut load) = (grains.panel_count().saturating_sub(squeezed.first_whole), 0.0);
        while whole > 0 {
            let (_, inverse_size, share) = grains.panel(squeezed.first_whole + whole - 1);
            let loads: Values = from_fn(|k| share[k] * inverse_size[k] * squeeze(squeezed.gap_um, inverse_size[k]));
            load += layer * loads.iter().sum::<f64>();
            if load > left_out {
                break;
            }
            whole -= 1;
        }
        let largest = grains.edge_um(squeezed.first_whole + whole);
        let mut end = Self {
            squeezed,
            bluntness: bluntness(contact, grains.roundness(), constants),
            load_scale: layer,
            panels: Vec::with_capacity(4),
            left: whole + usize::from(squeezed.cut.is_some()),
            head: 0,
            deepest: (largest, 0.0),
        };
        if end.left > 0 {
            end.deepest.1 = end.depth_at(largest).0;
        }
        end
    }

    /// Takes the next panel down; `false` when there is none.
    fn take(&mut self) -> bool {
        let Some(left) = self.left.checked_sub(1) else { return false };
        self.left = left;
        let (grains, gap) = (self.squeezed.grains, self.squeezed.gap_um);
        let edges = &grains.panels().edges_ln;
        let (start_ln, width_ln, is_cut, (size, inverse_size, share)) = match &self.squeezed.cut {
            Some(cut) if left == 0 => (gap.ln(), cut.width_ln, true, (&cut.size, &cut.inverse_size, &cut.share)),
            cut => {
                let i = self.squeezed.first_whole + left - usize::from(cut.is_some());
                (edges[i], edges[i + 1] - edges[i], false, grains.panel(i))
            }
        };
        let tip = 0.5 * grains.roundness();
        let q: Values = from_fn(|k| squeeze(gap, inverse_size[k]));
        let above = self.panels.last().map_or(0.0, |p| p.above + p.load.iter().sum::<f64>());
        self.panels.push(DeepPanel {
            start_ln,
            width_ln,
            is_cut,
            size: *size,
            depth: from_fn(|k| tip * size[k] * relative_depth(self.bluntness * q[k])),
            load: from_fn(|k| self.load_scale * share[k] * inverse_size[k] * q[k]),
            above,
        });
        true
    }

    /// Size, depth and load of a node, counted from above; takes panels as needed.
    fn node(&mut self, i: usize) -> Option<(f64, f64, f64)> {
        let (panel, k) = (i / ORDER, ORDER - 1 - i % ORDER);
        while self.panels.len() <= panel {
            if !self.take() {
                return None;
            }
        }
        let p = &self.panels[panel];
        Some((p.size[k], p.depth[k], p.load[k]))
    }

    /// Depth of the groove of a grain, µm, and its slope by size.
    fn depth_at(&self, size: f64) -> (f64, f64) {
        groove_at(size, self.squeezed.gap_um, self.bluntness, 0.5 * self.squeezed.grains.roundness())
    }

    /// Load on grains whose grooves are deeper than `depth` µm, and its slope by depth.
    fn load_above(&mut self, depth: f64) -> (f64, f64) {
        if self.left == 0 && self.panels.is_empty() || depth >= self.deepest.1 {
            return (0.0, 0.0);
        }
        let mut upper = self.deepest;
        let mut i = 0;
        // The panels' nodes fall in depth one after another: whole panels are passed over first.
        while i / ORDER < self.panels.len() && self.panels[i / ORDER].depth[0] >= depth {
            let p = &self.panels[i / ORDER];
            (upper, i) = ((p.size[0], p.depth[0]), i + ORDER);
        }
        let lower = loop {
            match self.node(i) {
                Some((size, at, _)) if at >= depth => (upper, i) = ((size, at), i + 1),
                Some((size, at, _)) => break (size, at),
                None => break self.shallowest(),
            }
        };
        if lower.1 >= depth {
            let last = &self.panels[self.panels.len() - 1];
            return (last.above + last.load.iter().sum::<f64>(), 0.0);
        }
        let mut slope = 0.0;
        let off = |x: f64| {
            let (value, by_size) = self.depth_at(x);
            slope = by_size;
            (value - depth, by_size)
        };
        let guess = lower.0 + (upper.0 - lower.0) * (depth - lower.1) / (upper.1 - lower.1);
        let size = newton_bracketed(off, lower.0, upper.0, guess, SIZE_STEP);
        let (load, by_ln) = self.load_beyond(size, i / ORDER);
        (load, -by_ln / (size * slope))
    }

    /// Smallest grain that touches and the depth of its groove.
    fn shallowest(&self) -> (f64, f64) {
        let size = self.squeezed.grains.smallest_um().max(self.squeezed.gap_um);
        (size, self.depth_at(size).0)
    }

    /// Load on grains larger than `size`, which lies in the panel that the place between two nodes tells or in the one above, and
    /// its density per ln x.
    fn load_beyond(&self, size: f64, panel: usize) -> (f64, f64) {
        let ln_x = size.ln();
        let panel = panel.min(self.panels.len() - 1);
        let p = match panel.checked_sub(1) {
            Some(above) if ln_x >= self.panels[above].start_ln => &self.panels[above],
            _ => &self.panels[panel],
        };
        let part = ((ln_x - p.start_ln) / p.width_ln).clamp(0.0, 1.0);
        let (s, stretch) = match p.is_cut {
            true => (part.sqrt().max(1e-9), 2.0 * p.width_ln * part.sqrt().max(1e-9)),
            false => (part, p.width_ln),
        };
        let weight = &panel::rule().weight;
        let (below, density) = panel::rule().running(&from_fn(|k| p.load[k] / weight[k]), s);
        (p.above + p.load.iter().sum::<f64>() - below, density.max(0.0) / stretch)
    }
}

/// Groove depth beyond which [`DEEPER`] of the load lies, over all powders; `load` is Σ layer ∫ q/x dQ3.
fn deep_percentile(
    squeezed: &[Squeezed],
    layers: &[f64],
    contact: &Contact,
    constants: &ModelConstants,
    load: f64,
) -> f64 {
    if load.is_nan() || load <= 0.0 {
        return 0.0;
    }
    let wanted = DEEPER * load;
    let ends = squeezed.iter().zip(layers).filter(|(_, layer)| **layer > 0.0);
    let mut ends: Vec<DeepEnd> =
        ends.map(|(s, layer)| DeepEnd::new(s, *layer, contact, constants, LEFT_OUT * wanted)).collect();
    let deepest = ends.iter().map(|e| e.deepest.1).fold(0.0, f64::max);
    let guess = rough_percentile(&mut ends, wanted).min(deepest);
    let beyond = |depth: f64| {
        ends.iter_mut().fold((wanted, 0.0), |(value, slope), end| {
            let (load, by_depth) = end.load_above(depth);
            (value - load, slope - by_depth)
        })
    };
    newton_bracketed(beyond, 0.0, deepest, guess, DEPTH_STEP)
}

/// A depth near that beyond which `wanted` of the load lies: the nodes of all powders, taken from the deepest down.
fn rough_percentile(ends: &mut [DeepEnd], wanted: f64) -> f64 {
    let mut heads: Vec<Option<(f64, f64, f64)>> = ends.iter_mut().map(|e| e.node(0)).collect();
    let (mut sum, mut last_depth, mut last_middle) = (0.0, f64::NAN, 0.0);
    loop {
        let depth_of = |head: &Option<(f64, f64, f64)>| head.map_or(-1.0, |h| h.1);
        let next = (0..heads.len()).max_by(|a, b| depth_of(&heads[*a]).total_cmp(&depth_of(&heads[*b])));
        let Some((next, (_, depth, load))) = next.and_then(|i| Some((i, heads[i]?))) else { return last_depth };
        // A node stands for the load on both its sides.
        let middle = sum + 0.5 * load;
        if middle >= wanted {
            let part = if middle > last_middle { (wanted - last_middle) / (middle - last_middle) } else { 1.0 };
            return if last_depth.is_nan() { depth } else { last_depth + (depth - last_depth) * part };
        }
        (sum, last_depth, last_middle) = (sum + load, depth, middle);
        ends[next].head += 1;
        heads[next] = {
            let i = ends[next].head;
            ends[next].node(i)
        };
    }
}
