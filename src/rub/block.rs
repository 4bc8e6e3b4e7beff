//! The rubs of several draws side by side, worked out only as far as index and groove ratio need them. Every quantity is held for all
//! draws of a block together, so that the loops over grain sizes run on vector registers; nothing in them hangs on the draw, since
//! all draws have the same nodes ([`StandingPanels`]), moved along with the warped sizes.

use super::contact::Contact;
use super::groove::{bluntness, depth_weighted_section, edge_keeping};
use super::solve::SPHERES;
use crate::numerics::panel::{self, ORDER};
use crate::size::{StandingPanels, Warp};
use crate::tables::{ModelConstants, Site};
use std::array::from_fn;
use std::sync::LazyLock;

/// One number for each draw.
pub type Lanes<const W: usize> = [f64; W];

/// A Newton step of the gap, relative, below which a draw is done: the error left is of its square.
const GAP_STEP: f64 = 4e-3;
const MOST_STEPS: usize = 60;

/// What a powder is like in each draw of a block, and its nodes.
#[derive(Debug, Clone)]
pub struct GrainBlock<'a, const W: usize> {
    pub(super) panels: &'a StandingPanels,
    pub(super) warps: [Warp; W],
    /// Volume per mass of scrub, cm³/g.
    pub volume: Lanes<W>,
    pub(super) hardness_gpa: Lanes<W>,
    pub(super) roundness: Lanes<W>,
    size: Vec<Lanes<W>>,
    inverse: Vec<Lanes<W>>,
    /// Load at each node at the last gap, for a layer of 1 / [`SPHERES`] and a stiffness of 1.
    pub(super) load: Vec<Lanes<W>>,
    /// First panel that any draw of the block has above its gap; the loads below it are not set.
    pub(super) first: usize,
    pub(super) largest_um: Lanes<W>,
}

impl<'a, const W: usize> GrainBlock<'a, W> {
    /// Room for the grains of one powder.
    pub fn new(panels: &'a StandingPanels) -> Self {
        let nodes = vec![[0.0; W]; panels.share().len() * ORDER];
        Self {
            panels,
            warps: [Warp::NONE; W],
            volume: [0.0; W],
            hardness_gpa: [1.0; W],
            roundness: [1.0; W],
            size: nodes.clone(),
            inverse: nodes.clone(),
            load: nodes,
            first: 0,
            largest_um: [0.0; W],
        }
    }

    /// Sets density-free properties of one draw: hardness (GPa), roundness, volume per mass of scrub (cm³/g) and warp.
    pub fn set(&mut self, lane: usize, hardness_gpa: f64, roundness: f64, volume: f64, warp: Warp) {
        (self.hardness_gpa[lane], self.roundness[lane]) = (hardness_gpa, roundness);
        (self.volume[lane], self.warps[lane]) = (volume, warp);
    }

    /// Lays out the sizes of all draws after [`GrainBlock::set`].
    pub fn lay_out(&mut self) {
        let rule = panel::rule();
        let edges = self.panels.edges_ln();
        let (mut last_width, mut start, mut ratio, mut steps) = (0.0_f64, [0.0; W], [1.0; W], [[1.0; W]; ORDER]);
        for (i, edge) in edges.windows(2).enumerate() {
            let width = edge[1] - edge[0];
            if (width - last_width).abs() > 1e-12 || self.panels.is_knee(edge[0]) {
                // Panels of one width are steps of one ratio; a node and its mirror image together make a whole step.
                last_width = width;
                for lane in 0..W {
                    let from = self.warps[lane].forward(edge[0]);
                    let width = self.warps[lane].forward(edge[1]) - from;
                    (start[lane], ratio[lane]) = (from.exp(), width.exp());
                    for k in 0..ORDER / 2 {
                        steps[k][lane] = (width * rule.node[k]).exp();
                        steps[ORDER - 1 - k][lane] = ratio[lane] / steps[k][lane];
                    }
                }
            }
            for (k, step) in steps.iter().enumerate() {
                let (size, inverse) = (&mut self.size[i * ORDER + k], &mut self.inverse[i * ORDER + k]);
                for lane in 0..W {
                    size[lane] = start[lane] * step[lane];
                    inverse[lane] = 1.0 / size[lane];
                }
            }
            start = from_fn(|lane| start[lane] * ratio[lane]);
        }
        self.largest_um = start;
    }

    /// Smallest size that touches in a draw, µm.
    pub(super) fn smallest_um(&self, lane: usize, gap_um: f64) -> f64 {
        gap_um.max(self.size[0][lane])
    }

    /// Size at a node, µm.
    pub(super) fn size_um(&self, node: usize, lane: usize) -> f64 {
        self.size[node][lane]
    }

    /// ∫ q/x dQ3 of every draw at its gap, and its slope by the gap, both in the unit of 1/x; sets the loads of the nodes.
    fn carry(&mut self, gap: &Gap<W>) -> (Lanes<W>, Lanes<W>) {
        let places: [(usize, f64); W] = from_fn(|l| self.panels.place(self.warps[l].back(gap.ln[l]).0));
        self.first = places.iter().map(|p| p.0).min().unwrap_or(0);
        let first = self.first * ORDER;
        let shares = &self.panels.share().as_flattened()[first..];
        let (mut sum, slope) = node_loads(shares, &self.inverse[first..], &mut self.load[first..], gap.um);
        for lane in 0..W {
            sum[lane] += self.missed(places[lane], self.warps[lane], gap.um[lane]);
        }
        (sum, slope)
    }

    /// What the nodes of the panel that the gap cuts miss of the load: there it starts as (x − h)^(3/2).
    fn missed(&self, (panel, part): (usize, f64), warp: Warp, gap_um: f64) -> f64 {
        if !(0.0..1.0).contains(&part) {
            return 0.0;
        }
        let edges = self.panels.edges_ln();
        let (lower, upper) = (warp.forward(edges[panel]), warp.forward(edges[panel + 1]));
        let (stated, width) = (edges[panel + 1] - edges[panel], upper - lower);
        self.panels.density(panel, part) * stated * width * width.sqrt() / gap_um * missed_of_kink(part)
    }

    /// η ∫ n A g² dx of every draw for its volume as layer, over [`SPHERES`].
    fn severity(&self, gap: &Gap<W>, skin: &SkinBlock<W>) -> Lanes<W> {
        let blunt: Lanes<W> = from_fn(|l| bluntness(&skin.contact[l], self.roundness[l], skin.constants[l]));
        let mut sum = [0.0; W];
        let first = self.first * ORDER;
        let shares = &self.panels.share().as_flattened()[first..];
        for ((share, size), inverse) in shares.iter().zip(&self.size[first..]).zip(&self.inverse[first..]) {
            let q = squeezed(inverse, &gap.um);
            let section: Lanes<W> = from_fn(|l| depth_weighted_section(blunt[l] * q[l] * q[l].sqrt()));
            sum = from_fn(|l| sum[l] + share * size[l] * section[l]);
        }
        from_fn(|l| {
            let quarter = 0.25 * self.roundness[l] * self.roundness[l];
            edge_keeping(self.hardness_gpa[l], skin.constants[l]) * quarter * quarter * self.volume[l] * sum[l]
        })
    }
}

/// Load of every node, and the sums of these and of their slopes by the gap. Quantity by quantity over the draws, and slices walked
/// together: so the compiler uses vector registers.
fn node_loads<const W: usize>(
    shares: &[f64],
    inverse: &[Lanes<W>],
    load: &mut [Lanes<W>],
    gap_um: Lanes<W>,
) -> (Lanes<W>, Lanes<W>) {
    let (mut sum, mut slope) = ([0.0; W], [0.0; W]);
    for ((share, inverse), load) in shares.iter().zip(inverse).zip(load) {
        let q = squeezed(inverse, &gap_um);
        let root = q.map(f64::sqrt);
        let weighted = inverse.map(|i| share * i);
        *load = from_fn(|l| weighted[l] * q[l] * root[l]);
        sum = from_fn(|l| sum[l] + load[l]);
        slope = from_fn(|l| slope[l] + weighted[l] * inverse[l] * root[l]);
    }
    (sum, slope.map(|s| -1.5 * s))
}

/// 1 − h/x, 0 where the grain is no wider than the gap.
#[inline]
fn squeezed<const W: usize>(inverse: &Lanes<W>, gap_um: &Lanes<W>) -> Lanes<W> {
    from_fn(|l| {
        let q = 1.0 - gap_um[l] * inverse[l];
        if q > 0.0 { q } else { 0.0 }
    })
}

/// Places of [`MISSED`].
const KINK_STEPS: usize = 512;

/// ∫ (t − s)^(3/2) dt from s to 1, less what the six nodes make of it, at equal steps of s.
static MISSED: LazyLock<[f64; KINK_STEPS + 2]> = LazyLock::new(|| {
    let rule = panel::rule();
    from_fn(|i| {
        let s = (i as f64 / KINK_STEPS as f64).min(1.0);
        let nodes = rule.node.iter().zip(&rule.weight);
        0.4 * (1.0 - s).powf(2.5) - nodes.map(|(t, w)| w * (t - s).max(0.0).powf(1.5)).sum::<f64>()
    })
});

fn missed_of_kink(part: f64) -> f64 {
    let place = part * KINK_STEPS as f64;
    let i = place as usize;
    let (below, above) = (MISSED[i], MISSED[i + 1]);
    below + (above - below) * (place - i as f64)
}

/// Skin, finger and rub of each draw at one site.
#[derive(Debug, Clone)]
pub struct SkinBlock<'a, const W: usize> {
    pub(super) constants: [&'a ModelConstants; W],
    pub(super) contact: [Contact; W],
    least_gap_um: Lanes<W>,
    pressure_mpa: Lanes<W>,
    dose_g_m2: Lanes<W>,
}

impl<'a, const W: usize> SkinBlock<'a, W> {
    /// From what each draw has at the site.
    pub fn new(of: [(&Site, &'a ModelConstants); W]) -> Self {
        Self {
            constants: of.map(|(_, c)| c),
            contact: of.map(|(site, c)| Contact::at(site, c)),
            least_gap_um: of.map(|(site, _)| site.gap_um),
            pressure_mpa: of.map(|(site, _)| site.pressure_kpa * 1e-3),
            dose_g_m2: of.map(|(site, _)| site.dose_g_m2),
        }
    }
}

/// A gap, and its logarithm.
#[derive(Debug, Clone, Copy)]
struct Gap<const W: usize> {
    um: Lanes<W>,
    ln: Lanes<W>,
}

impl<const W: usize> Gap<W> {
    fn new(um: Lanes<W>) -> Self {
        Self { um, ln: um.map(f64::ln) }
    }
}

/// The rub of a block at its site, settled: the nodes' loads of every powder are those of its gaps.
#[derive(Debug, Clone)]
pub struct Settled<'s, 'a, const W: usize> {
    skin: &'s SkinBlock<'a, W>,
    gap: Gap<W>,
    /// Σ volume · ∫ q/x dQ3.
    pub(super) load: Lanes<W>,
}

impl<'s, 'a, const W: usize> Settled<'s, 'a, W> {
    /// Finds the gap at which every draw settles. The carried load falls strictly with the gap; to the power 2/3 it is nearly
    /// straight in it, so Newton's steps are good from the start.
    pub fn new(grains: &mut [GrainBlock<W>], skin: &'s SkinBlock<'a, W>) -> Self {
        let mut gap = Gap::new(skin.least_gap_um);
        let scale: Lanes<W> = from_fn(|l| SPHERES * skin.contact[l].stiffness() * skin.dose_g_m2[l]);
        let (mut load, mut slope) = carried(grains, &gap);
        let mut open: [bool; W] = from_fn(|l| scale[l] * load[l] > skin.pressure_mpa[l]);
        let mut lower = gap.um;
        let mut upper: Lanes<W> = from_fn(|l| grains.iter().map(|g| g.largest_um[l]).fold(lower[l], f64::max));
        let mut steps = 0;
        while open.contains(&true) && steps < MOST_STEPS {
            for lane in 0..W {
                if !open[lane] {
                    continue;
                }
                let (at, root) = (gap.um[lane], (scale[lane] * load[lane]).cbrt());
                let short = skin.pressure_mpa[lane].cbrt().powi(2) - root * root;
                *if short > 0.0 { &mut upper[lane] } else { &mut lower[lane] } = at;
                let newton = at + 1.5 * short * root / (scale[lane] * slope[lane]);
                let inside = newton > lower[lane] && newton < upper[lane];
                let next = if inside { newton } else { 0.5 * (lower[lane] + upper[lane]) };
                open[lane] = (next - at).abs() > GAP_STEP * next;
                (gap.um[lane], gap.ln[lane]) = (next, next.ln());
            }
            (load, slope) = carried(grains, &gap);
            steps += 1;
        }
        Self { skin, gap, load }
    }

    /// Depth-weighted removal of all powders together, µm².
    pub fn severity(&self, grains: &[GrainBlock<W>]) -> Lanes<W> {
        let each = grains.iter().map(|g| g.severity(&self.gap, self.skin));
        let sum = each.fold([0.0; W], |sum, s| from_fn(|l| sum[l] + s[l]));
        from_fn(|l| SPHERES * self.skin.dose_g_m2[l] * sum[l])
    }

    pub(super) fn gap_um(&self, lane: usize) -> f64 {
        self.gap.um[lane]
    }

    pub(super) fn bluntness(&self, roundness: f64, lane: usize) -> f64 {
        bluntness(&self.skin.contact[lane], roundness, self.skin.constants[lane])
    }
}

/// Σ volume · ∫ q/x dQ3 of every draw, and its slope by the gap.
fn carried<const W: usize>(grains: &mut [GrainBlock<W>], gap: &Gap<W>) -> (Lanes<W>, Lanes<W>) {
    let (mut load, mut slope) = ([0.0; W], [0.0; W]);
    for powder in grains {
        let (own, by_gap) = powder.carry(gap);
        for lane in 0..W {
            load[lane] += powder.volume[lane] * own[lane];
            slope[lane] += powder.volume[lane] * by_gap[lane];
        }
    }
    (load, slope)
}
