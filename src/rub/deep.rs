//! The groove percentile that bands look at, of one draw of a block, found from the deep end.

use super::block::{GrainBlock, Settled};
use super::groove::groove_at;
use crate::numerics::panel::{self, ORDER, Values};
use crate::numerics::roots::newton_bracketed;
use std::array::from_fn;

/// Share of the load on grooves deeper than the percentile.
const DEEPER: f64 = 0.05;

/// Of that load, how little of a powder may be left out.
const LEFT_OUT: f64 = 1e-4;

/// Last Newton step, relative, of the percentile's depth: the error left is of its square.
const DEPTH_STEP: f64 = 4e-3;

/// The same of the grain size at a depth.
const SIZE_STEP: f64 = 1e-3;

/// Newton steps of depth and sizes together, before a bracket is put round the depth.
const STEPS_TOGETHER: usize = 8;

impl<const W: usize> Settled<'_, '_, W> {
    /// Groove depth below which 95 % of the load lies in a draw, µm; 0 when no grain touches.
    pub fn groove_p95_um(&self, grains: &[GrainBlock<W>], lane: usize) -> f64 {
        let load = self.load[lane];
        if load.is_nan() || load <= 0.0 {
            return 0.0;
        }
        let wanted = DEEPER * load;
        let ends = grains.iter().filter(|g| g.volume[lane] > 0.0 && g.largest_um[lane] > self.gap_um(lane));
        let mut ends: Vec<DeepEnd<W>> = ends.map(|g| DeepEnd::new(self, g, lane, wanted)).collect();
        // All powders together reach at least as deep as any by itself.
        let least = ends.iter().map(|e| e.depth_at(e.size).0).fold(0.0, f64::max);
        ends.retain_mut(|e| e.move_to(least) && e.load_beyond().0 > LEFT_OUT * wanted);
        together(&mut ends, wanted, least).unwrap_or_else(|| bracketed(&mut ends, wanted, least))
    }
}

/// Depth beyond which `wanted` of the load lies: Newton's method for the depth and for the size of every powder at it, all at once.
fn together<const W: usize>(ends: &mut [DeepEnd<W>], wanted: f64, guess: f64) -> Option<f64> {
    let mut depth = guess;
    for _ in 0..STEPS_TOGETHER {
        // Beyond the depth `d` lies about load − by_depth · (d − own depth).
        let (mut over, mut by_depth) = (-wanted, 0.0);
        for end in ends.iter_mut() {
            let (own, by_size) = end.depth_at(end.size);
            let (load, by_ln) = end.load_beyond();
            let slope = by_ln / (end.size * by_size);
            (end.own_depth, end.by_size) = (own, by_size);
            over += load + slope * (own - depth);
            by_depth += slope;
        }
        let step = over / by_depth;
        let next = depth + step;
        if !(next > 0.5 * depth && next < 2.0 * depth) {
            return None;
        }
        let mut moved = (step / next).abs();
        for end in ends.iter_mut() {
            let size = end.size + (next - end.own_depth) / end.by_size;
            if !(size > end.smallest_um && size < end.grains.largest_um[end.lane]) {
                return None;
            }
            moved = moved.max((size / end.size - 1.0).abs());
            end.size = size;
        }
        depth = next;
        if moved < DEPTH_STEP {
            return Some(depth);
        }
    }
    None
}

/// The same with a bracket round the depth, and the sizes solved at every depth: slower, and sure.
fn bracketed<const W: usize>(ends: &mut [DeepEnd<W>], wanted: f64, guess: f64) -> f64 {
    let deepest = ends.iter().map(DeepEnd::deepest_um).fold(guess, f64::max);
    let beyond = |depth: f64| {
        ends.iter_mut().fold((wanted, 0.0), |(value, slope), end| {
            let (load, by_depth) = end.load_above(depth);
            (value - load, slope - by_depth)
        })
    };
    newton_bracketed(beyond, 0.0, deepest, guess, DEPTH_STEP)
}

/// The grooves of one powder, the deepest first.
struct DeepEnd<'b, 'a, const W: usize> {
    grains: &'b GrainBlock<'a, W>,
    lane: usize,
    gap_um: f64,
    bluntness: f64,
    /// Smallest size that touches.
    smallest_um: f64,
    /// Size last looked at, the depth of its groove and the slope of that by size.
    size: f64,
    own_depth: f64,
    by_size: f64,
    /// Panel last looked at, the load on panels above it, and the coefficients of the load in it.
    panel: usize,
    above: f64,
    coefficients: Values,
}

impl<'b, 'a, const W: usize> DeepEnd<'b, 'a, W> {
    /// The deep end of a powder, at a size near that beyond which the load `wanted` lies.
    fn new(settled: &Settled<W>, grains: &'b GrainBlock<'a, W>, lane: usize, wanted: f64) -> Self {
        let mut end = Self {
            grains,
            lane,
            gap_um: settled.gap_um(lane),
            bluntness: settled.bluntness(grains.roundness[lane], lane),
            smallest_um: grains.smallest_um(lane, settled.gap_um(lane)),
            size: 0.0,
            own_depth: 0.0,
            by_size: 0.0,
            panel: grains.panels.share().len(),
            above: 0.0,
            coefficients: [0.0; ORDER],
        };
        end.size = end.size_beyond(wanted);
        end
    }

    fn load_of(&self, panel: usize) -> Values {
        from_fn(|k| self.grains.volume[self.lane] * self.grains.load[panel * ORDER + k][self.lane])
    }

    fn deepest_um(&self) -> f64 {
        self.depth_at(self.grains.largest_um[self.lane]).0
    }

    /// Depth of the groove of a grain, µm, and its slope by size.
    fn depth_at(&self, size: f64) -> (f64, f64) {
        groove_at(size, self.gap_um, self.bluntness, 0.5 * self.grains.roundness[self.lane])
    }

    /// A size near that beyond which a load lies; the least that touches if there is not as much.
    fn size_beyond(&mut self, wanted: f64) -> f64 {
        for panel in (self.grains.first..self.panel).rev() {
            let loads = self.load_of(panel);
            let whole: f64 = loads.iter().sum();
            if self.above + whole < wanted {
                self.above += whole;
                continue;
            }
            self.enter(panel, &loads);
            return self.size_in_panel(panel, &loads, wanted);
        }
        self.panel = self.grains.panels.share().len();
        self.smallest_um
    }

    fn size_in_panel(&self, panel: usize, loads: &Values, wanted: f64) -> f64 {
        let node = |k: usize| self.grains.size_um(panel * ORDER + k, self.lane);
        let mut sum = self.above;
        let mut k = ORDER - 1;
        while k > 0 && sum + loads[k] < wanted {
            (sum, k) = (sum + loads[k], k - 1);
        }
        // A node stands for the load on both its sides.
        let (size, part) = (node(k), 0.5 - (wanted - sum) / loads[k]);
        let next = if part > 0.0 { (k + 1).min(ORDER - 1) } else { k.saturating_sub(1) };
        (size + part.abs().min(0.5) * (node(next) - size)).max(self.smallest_um)
    }

    fn enter(&mut self, panel: usize, loads: &Values) {
        let rule = panel::rule();
        self.panel = panel;
        self.coefficients = rule.coefficients(&from_fn(|k| loads[k] / rule.weight[k]));
    }

    /// Goes to the size whose groove has this depth; `false` if no groove is as deep.
    fn move_to(&mut self, depth: f64) -> bool {
        let (own, slope) = self.depth_at(self.size);
        if own == depth {
            return true;
        }
        let largest = self.grains.largest_um[self.lane];
        if depth >= self.deepest_um() {
            return false;
        }
        let off = |x: f64| {
            let (value, by_size) = self.depth_at(x);
            (value - depth, by_size)
        };
        let guess = self.size + (depth - own) / slope;
        self.size = newton_bracketed(off, self.smallest_um, largest, guess, SIZE_STEP);
        true
    }

    /// Load on grains whose grooves are deeper than `depth` µm, and its slope by depth.
    fn load_above(&mut self, depth: f64) -> (f64, f64) {
        if !self.move_to(depth) {
            return (0.0, 0.0);
        }
        let (_, by_size) = self.depth_at(self.size);
        let (load, by_ln) = self.load_beyond();
        (load, -by_ln / (self.size * by_size))
    }

    /// Load on grains larger than the size last looked at, and its density per ln x.
    fn load_beyond(&mut self) -> (f64, f64) {
        let (stated, stretch) = self.grains.warps[self.lane].back(self.size.ln());
        let (panel, part) = self.grains.panels.place(stated);
        let panel = panel.max(self.grains.first);
        if panel != self.panel {
            let panels = panel + 1..self.grains.panels.share().len();
            self.above = panels.map(|p| self.load_of(p).iter().sum::<f64>()).sum();
            let loads = self.load_of(panel);
            self.enter(panel, &loads);
        }
        let edges = self.grains.panels.edges_ln();
        let width = stretch * (edges[panel + 1] - edges[panel]);
        let (below, density) = panel::running(&self.coefficients, part.clamp(0.0, 1.0));
        (self.above + self.coefficients[0] - below, density.max(0.0) / width)
    }
}
